"""
Taking a day, a venue or a kit out of the crew: a page that says what goes with it, and a button.

A day and a venue take along what others have logged, and nothing brings it back: that is a lead's. A kit goes alone,
and only when no day needs it: whoever may make one may remove one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from sqlalchemy import or_, select

from server.book import tables, whole
from server.book.crews import owned
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.language import say

from .crew_data import counted
from .drawing import draw
from .numbers import Number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

router = door_router()


@router.get("/days/{day_id}/removal")
def ask_day_removal(request: Request, book: TheBook, visitor: TheVisitor, day_id: Number) -> Response:
    """What goes with a day."""
    with book.reading() as session:
        day = owned(session, tables.Day, visitor.crew, day_id)
        return _asks(request, session, "day", day, stays=say("The venue with its readings, and the kit, stay."))


@router.post("/days/{day_id}/removal")
def remove_day(request: Request, book: TheBook, visitor: TheVisitor, day_id: Number) -> Response:
    """The day goes, with its running order and its log."""
    with book.writing(visitor.crew) as session:
        whole.remove(session, tables.Day, owned(session, tables.Day, visitor.crew, day_id).id)
    return _home(request)


@router.get("/venues/{venue_id}/removal")
def ask_venue_removal(request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number) -> Response:
    """What goes with a venue, its days above all."""
    with book.reading() as session:
        venue = owned(session, tables.Venue, visitor.crew, venue_id)
        there = _days(session, tables.Day.venue_id == venue.id)
        return _asks(request, session, "venue", venue, days=there, stays=say("Kits stay."))


@router.post("/venues/{venue_id}/removal")
def remove_venue(request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number) -> Response:
    """The venue goes, with its places, their readings, and every day there."""
    with book.writing(visitor.crew) as session:
        whole.remove(session, tables.Venue, owned(session, tables.Venue, visitor.crew, venue_id).id)
    return _home(request)


@router.get("/kits/{kit_id}/removal")
def ask_kit_removal(request: Request, book: TheBook, visitor: TheVisitor, kit_id: Number) -> Response:
    """What is in a kit, or the days that it is needed for."""
    with book.reading() as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        return _kit_asks(request, session, kit, _days_with(session, kit_id))


@router.post("/kits/{kit_id}/removal")
def remove_kit(request: Request, book: TheBook, visitor: TheVisitor, kit_id: Number) -> Response:
    """The kit goes, unless a day uses it."""
    with book.writing(visitor.crew) as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        days = _days_with(session, kit_id)
        if days:
            return _kit_asks(request, session, kit, days, status=409)
        whole.remove(session, tables.Kit, kit.id)
    return _home(request)


def _kit_asks(
    request: Request, session: Session, kit: tables.Kit, days: Sequence[tables.Day], status: int = 200
) -> Response:
    return _asks(request, session, "kit", kit, days=days, is_needed=bool(days), status=status)


def _asks(
    request: Request, session: Session, what: str, row: tables.Day | tables.Venue | tables.Kit, *, status: int = 200,
    days: Sequence[tables.Day] = (), is_needed: bool = False, stays: str = "",
) -> Response:  # fmt: skip
    goes: dict[str, Any] = whole.count(session, type(row), row.id)
    own = {row.__tablename__, "days"} if days else {row.__tablename__}
    return draw(
        request, "removal/page.html", status=status, what=what, row=row, days=days, is_needed=is_needed, stays=stays,
        goes=counted({table: number for table, number in goes.items() if table not in own}),
    )  # fmt: skip


def _days(session: Session, which: Any) -> Sequence[tables.Day]:
    return session.scalars(select(tables.Day).where(which).order_by(tables.Day.on, tables.Day.id)).unique().all()


def _days_with(session: Session, kit_id: int) -> Sequence[tables.Day]:
    """The days that use a kit, the first camera or another one. A kit and its days are of one crew."""
    others = select(tables.Camera.day_id).where(tables.Camera.kit_id == kit_id)
    return _days(session, or_(tables.Day.kit_id == kit_id, tables.Day.id.in_(others)))


def _home(request: Request) -> Response:
    return RedirectResponse(request.app.url_path_for("show_home"), status_code=303)
