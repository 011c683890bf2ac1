"""The first page: the days, the venues and the kits of a crew."""

from __future__ import annotations

from fastapi import Request, Response

from server.book import tables
from server.book.crews import all_owned
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor

from .drawing import draw
from .start import start_fields

router = door_router()


@router.get("/")
def show_home(request: Request, book: TheBook, visitor: TheVisitor) -> Response:
    """Everything the crew has, the newest day first."""
    with book.reading() as session:
        days = sorted(all_owned(session, tables.Day, visitor.crew), key=lambda day: (day.on, day.id), reverse=True)
        venues, kits = all_owned(session, tables.Venue, visitor.crew), all_owned(session, tables.Kit, visitor.crew)
        begins = not (days or venues or kits)
        return draw(
            request, "home/page.html", days=days, venues=venues, kits=kits, begins=begins,
            **(start_fields() if begins else {}),
        )  # fmt: skip
