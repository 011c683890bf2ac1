"""What is kept of a crew, all of it as a file, and all of it deleted."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from tempfile import SpooledTemporaryFile
from typing import IO, TYPE_CHECKING, Annotated

from fastapi import Request, Response
from fastapi.responses import RedirectResponse, StreamingResponse
from pydantic import BeforeValidator
from sqlalchemy import select

from server.book import tables, whole
from server.book.crews import first_crew
from server.book.invites import SESSION_IDLE, SESSION_LASTS
from server.book.people import SOMEBODY
from server.door.entrance import door_router
from server.door.heard import heard
from server.door.visitor import TheBook, TheVisitor, forget, let_out
from server.language import say, say_many

from .drawing import draw
from .forms import Form, TheForm, Typed, text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from sqlalchemy.orm import Session

    from server.book.store import Book
    from server.door.visitor import Visitor

router = door_router()

IN_MEMORY = 1_000_000  # bytes of a file to be, before it goes on in a temporary one
PIECE = 65_536  # bytes


class DeletionForm(Form):
    """The crew's name, typed by somebody who means it."""

    crew: Annotated[str, BeforeValidator(text)] = ""


class NameForm(Form):
    """The name of somebody who left."""

    name: Annotated[str, BeforeValidator(text)] = ""


# How many rows of each table there are, in words.
KINDS: dict[str, Callable[[int], str]] = {
    "crews": lambda n: say_many("{count} crew", "{count} crews", n),
    "people": lambda n: say_many("{count} person", "{count} people", n),
    "sessions": lambda n: say_many("{count} phone or browser that is in", "{count} phones and browsers that are in", n),
    "invites": lambda n: say_many("{count} open invite", "{count} open invites", n),
    "pairing_codes": lambda n: say_many("{count} short code", "{count} short codes", n),
    "kits": lambda n: say_many("{count} kit", "{count} kits", n),
    "bodies": lambda n: say_many("{count} body", "{count} bodies", n),
    "lenses": lambda n: say_many("{count} lens", "{count} lenses", n),
    "holders": lambda n: say_many("{count} holder", "{count} holders", n),
    "filters": lambda n: say_many("{count} filter", "{count} filters", n),
    "venues": lambda n: say_many("{count} venue", "{count} venues", n),
    "places": lambda n: say_many("{count} place", "{count} places", n),
    "readings": lambda n: say_many("{count} reading", "{count} readings", n),
    "days": lambda n: say_many("{count} day", "{count} days", n),
    "day_places": lambda n: say_many("{count} look at a place", "{count} looks at places", n),
    "stops": lambda n: say_many("{count} stop of a running order", "{count} stops of running orders", n),
    "events": lambda n: say_many("{count} tap or note on a day", "{count} taps and notes on days", n),
    "cameras": lambda n: say_many("{count} second camera on a day", "{count} second cameras on days", n),
    "links": lambda n: say_many("{count} shared link", "{count} shared links", n),
}


def counted(rows: Mapping[str, int]) -> list[str]:
    """How many there are of each kind, in words and in the order of KINDS."""
    return [said(rows[table]) for table, said in KINDS.items() if table in rows]


@router.get("/crew/data")
def show_crew_data(request: Request, book: TheBook, visitor: TheVisitor) -> Response:
    """What is kept, for how long, and what can be done with all of it."""
    with book.reading() as session:
        return _data_page(request, session, book, visitor, Typed())


@router.get("/crew/data/file")
def export_crew(book: TheBook, visitor: TheVisitor) -> Response:
    """Everything the crew has kept, as one JSON file. It is written first: a slow phone holds no connection."""
    now = datetime.now(UTC)
    spool = SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - the answer closes it
    try:
        with book.reading() as session:
            for piece in whole.export(session, visitor.crew, now):
                spool.write(piece.encode("utf-8", "replace"))
        spool.seek(0)
    except BaseException:
        spool.close()
        raise
    heard("data-taken", crew=visitor.crew, person=visitor.person)
    safe = re.sub(r"[^A-Za-z0-9]+", "-", visitor.crew_name).strip("-").lower() or "crew"
    headers = {
        "content-disposition": f'attachment; filename="{safe}-{now:%Y-%m-%d}.json"', "cache-control": "no-store",
    }  # fmt: skip
    return StreamingResponse(_pieces(spool), media_type="application/json", headers=headers)


@router.post("/crew/data/deletion")
def delete_crew(request: Request, book: TheBook, visitor: TheVisitor, came: TheForm) -> Response:
    """The crew goes whole: in one piece of work, and out of the files."""
    form, typed = DeletionForm.read(came)
    with book.writing() as session:
        if form is None or form.crew.casefold() != text(visitor.crew_name).casefold():
            typed.errors["crew"] = say("It needs the crew’s name: {name}", name=visitor.crew_name)
            return _data_page(request, session, book, visitor, typed, status=422)
        whole.remove(session, tables.Crew, visitor.crew)
        is_anew = request.app.state.settings.open_here and session.scalar(select(tables.Crew.id).limit(1)) is None
        if is_anew:
            first_crew(session)
    heard("data-deleted", crew=visitor.crew, person=visitor.person)
    is_wiped = book.wipe()
    let_out(request.scope)
    response = draw(
        request, "crew/gone.html", name=visitor.crew_name, is_anew=is_anew, is_a_file=book.is_a_file, is_wiped=is_wiped
    )
    forget(request, response)
    response.headers["cache-control"] = "no-store"
    return response


@router.post("/crew/data/names")
def forget_name(request: Request, book: TheBook, visitor: TheVisitor, came: TheForm) -> Response:
    """Write "somebody" for somebody who left."""
    form, _ = NameForm.read(came)
    with book.writing(visitor.crew) as session:
        whole.forget_name(session, visitor.crew, "" if form is None else form.name)
    book.wipe()
    return RedirectResponse(f"{request.app.url_path_for('show_crew_data')}#names", status_code=303)


def _data_page(
    request: Request, session: Session, book: Book, visitor: Visitor, typed: Typed, status: int = 200
) -> Response:
    kept = whole.count(session, tables.Crew, visitor.crew)
    page = draw(
        request, "crew/data.html", status=status, typed=typed, visitor=visitor, is_a_file=book.is_a_file,
        kept=counted({table: rows for table, rows in kept.items() if table != "crews"}),
        names=whole.names_left(session, visitor.crew), somebody=SOMEBODY,
        idle=SESSION_IDLE.days, lasts=SESSION_LASTS.days,
    )  # fmt: skip
    page.headers["cache-control"] = "no-store"
    return page


def _pieces(spool: IO[bytes]) -> Iterator[bytes]:
    with spool:
        while piece := spool.read(PIECE):
            yield piece
