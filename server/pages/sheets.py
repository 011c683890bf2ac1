"""A day's sheet for its crew: to see, to print, and to hand on by links that can be ended."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlsplit

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator

from server.book import links
from server.book.days import open_day
from server.book.links import LINKS_MOST, Lasts, LinkKind
from server.book.people import first_camera
from server.book.sheet_document import document_of
from server.door.addresses import address_of
from server.door.entrance import door_router
from server.door.heard import heard
from server.door.visitor import TheBook, TheVisitor
from server.language import Worded, noted, say
from server.settings import LOOPBACK

from .drawing import attached, draw, qr
from .forms import Form, Name, TheForm, Ticked, Typed, one_of
from .numbers import Number as RowNumber
from .sheet_pdf import Paper, pdf_of
from .sheet_view import SheetView, sheet_of

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from server.book.store import Book
    from server.door.visitor import Visitor

router = door_router()

LASTS_WORDS: Worded[Lasts] = Worded({
    "after": noted("a week after the day"), "month": noted("30 days from now"),
    "ended": noted("until somebody ends it"),
})  # fmt: skip
KIND_WORDS: Worded[LinkKind] = Worded(
    {"sheet": noted("the sheet"), "calendar": noted("the running order, for a calendar")}
)


class LinkForm(Form):
    """A new link. exact: with the venue's coordinates."""

    kind: Annotated[LinkKind, BeforeValidator(one_of(KIND_WORDS, noted("one of the list"), otherwise="sheet"))] = (
        "sheet"
    )
    name: Name
    exact: Ticked = False
    lasts: Annotated[Lasts, BeforeValidator(one_of(LASTS_WORDS, noted("a time of the list"), otherwise="after"))] = (
        "after"
    )


@router.get("/days/{day_id}/sheet")
def show_sheet(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The sheet as its readers get it, and the links to it."""
    with book.reading() as session:
        return _page(request, session, visitor, day_id, Typed())


@router.get("/days/{day_id}/sheet.pdf")
def print_sheet(book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The sheet on A4."""
    return as_pdf(_sheet(book, visitor, day_id), "", "a4")


@router.get("/days/{day_id}/card.pdf")
def print_card(book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """Its running order on an A6 card."""
    return as_pdf(_sheet(book, visitor, day_id), "", "a6")


@router.get("/days/{day_id}/sheet.json")
def save_sheet(book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The sheet as a file that another Lychgate takes in."""
    with book.reading() as session:
        day = open_day(session, first_camera(visitor.crew), day_id)
        document = document_of(session, visitor.crew, day, exact=True)
    return attached(document.model_dump_json() + "\n", "application/json", f"{_safe(day.name)}.sheet.json")


@router.post("/days/{day_id}/links")
def make_link(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """A new link, shown once: nobody can look its secret up again."""
    form, typed = LinkForm.read(came)
    with book.writing(visitor.crew) as session:
        day = open_day(session, first_camera(visitor.crew), day_id)
        if form is not None and len(links.links_of(session, visitor.crew, day_id)) >= LINKS_MOST:
            form, typed.errors["name"] = None, say("This day has {most} links already; end some first", most=LINKS_MOST)
        if form is None:
            return _page(request, session, visitor, day_id, typed, status=422)
        until = links.lasts_until(form.lasts, day.on, day.time_zone, datetime.now(UTC))
        token = links.make_link(session, day_id, form.kind, form.name, visitor.name, until, exact=form.exact)
    heard("link-made", crew=visitor.crew, person=visitor.person, day=day_id, kind=form.kind)
    link = address_of(request, "show_shared_sheet" if form.kind == "sheet" else "subscribe_to_order", token=token)
    response = draw(
        request, "sheet/link.html", day=day, form=form, link=link, qr=qr(link), token=token,
        webcal=f"webcal{link[link.index(':') :]}", until=until, only_here=urlsplit(link).hostname in LOOPBACK,
    )  # fmt: skip
    response.headers["cache-control"] = "no-store"
    return response


@router.post("/days/{day_id}/links/{link_id}/end")
def end_link(
    request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, link_id: RowNumber
) -> Response:  # fmt: skip
    """Nobody reads by this link any more."""
    with book.writing(visitor.crew) as session:
        links.end_link(session, visitor.crew, day_id, link_id)
    heard("link-ended", crew=visitor.crew, person=visitor.person, day=day_id, link=link_id)
    return RedirectResponse(f"{request.app.url_path_for('show_sheet', day_id=day_id)}#links", status_code=303)


def as_pdf(view: SheetView, address: str, paper: Paper) -> Response:
    """A sheet as a file that browsers show."""
    name = f"{_safe(view.name)}-{'sheet' if paper == 'a4' else 'card'}.pdf"
    return Response(
        pdf_of(view, address, paper),
        media_type="application/pdf",
        headers={"content-disposition": f'inline; filename="{name}"'},
    )


def _sheet(book: Book, visitor: Visitor, day_id: int) -> SheetView:
    with book.reading() as session:
        day = open_day(session, first_camera(visitor.crew), day_id)
        return sheet_of(session, visitor.crew, day, datetime.now(UTC), exact=True)


def _page(
    request: Request, session: Session, visitor: Visitor, day_id: int, typed: Typed, status: int = 200
) -> Response:  # fmt: skip
    day = open_day(session, first_camera(visitor.crew), day_id)
    return draw(
        request, "sheet/page.html", status=status, day=day, typed=typed, lasts=LASTS_WORDS, kinds=KIND_WORDS,
        view=sheet_of(session, visitor.crew, day, datetime.now(UTC), exact=True),
        links=links.links_of(session, visitor.crew, day_id),
    )  # fmt: skip


def _safe(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-").lower() or "day"
