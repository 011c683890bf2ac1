"""A sheet from another Lychgate, taken in: a new venue, and its day where that is wanted."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator, ValidationError

from server.book import tables
from server.book.crews import NotThere, all_owned, owned
from server.book.kits import KitIncomplete
from server.book.sheet_document import SheetDocument, check, day_from, venue_from
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure.refused import OutOfRange
from server.language import say

from .drawing import draw
from .forms import Form, MaybeWhole, TheFileForm, Typed
from .kit_files import MARK, refusal_said, refusal_word

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

router = door_router()

FILE_MOST = 900_000  # bytes; what a sheet with all that it may hold comes to


class SheetForm(Form):
    """A sheet that was pasted, and the kit that its day is filmed with; None: the venue alone."""

    lines: Annotated[str, BeforeValidator(str)] = ""
    kit: MaybeWhole = None


@router.get("/sheets/new")
def bring_sheet(request: Request, book: TheBook, visitor: TheVisitor) -> Response:
    """Where a sheet is brought in."""
    with book.reading() as session:
        return _page(request, session, visitor.crew, Typed())


@router.post("/sheets")
def read_sheet(request: Request, book: TheBook, visitor: TheVisitor, came: TheFileForm) -> Response:
    """A new venue of a sheet, and its day; all of it, or nothing."""
    fields, content = came
    form, typed = SheetForm.read(fields)
    document = None
    if form is not None:
        field = "lines" if content is None and form.lines.strip() else "file"
        document = _read(form.lines.encode("utf-8", "replace") if content is None else content, typed, field)
    with book.writing(visitor.crew) as session:
        kit = None if form is None or form.kit is None else _kit(session, visitor.crew, form.kit, typed)
        if document is not None and kit is not None and not document.day.looks:
            typed.errors["kit"] = say("The sheet’s day uses none of the places, so there is no day to make of it")
        if document is None or typed.errors:
            return _page(request, session, visitor.crew, typed, status=422)
        venue = venue_from(document, visitor.crew)
        session.add(venue)
        session.flush()
        if kit is None:
            return RedirectResponse(request.app.url_path_for("show_venue", venue_id=venue.id), status_code=303)
        day = day_from(document, venue, kit)
        session.add(day)
        session.flush()
        return RedirectResponse(request.app.url_path_for("set_up_day", day_id=day.id), status_code=303)


def _read(content: bytes, typed: Typed, field: str) -> SheetDocument | None:
    """What was brought, or None with a word beside its field."""
    if not content.strip():
        typed.errors["file"] = say("It needs a file, or its text below")
        return None
    if len(content) > FILE_MOST:
        typed.errors[field] = say("It is more than {most} kB; a sheet is less", most=FILE_MOST // 1000)
        return None
    try:
        document = SheetDocument.model_validate_json(content.removeprefix(MARK))
        check(document, datetime.now(UTC))
    except ValidationError as refused:
        typed.errors[field] = say("It is not a sheet. {why}", why=refusal_said(refused))
        return None
    except OutOfRange as refused:
        word = refusal_word(refused.field, refused.came, refused.allowed)
        typed.errors[field] = say("It is no sheet that can be. {why}", why=word)
        return None
    return document


def _kit(session: Session, crew: int, number: int, typed: Typed) -> tables.Kit | None:
    """The kit that was chosen, or None with a word beside its field."""
    try:
        kit = owned(session, tables.Kit, crew, number)
        if not kit.bodies or not kit.lenses:
            raise KitIncomplete(kit.name)
    except NotThere:
        typed.errors["kit"] = say("There is no such kit any more")
        return None
    except KitIncomplete:
        typed.errors["kit"] = say("This kit has no body or no lens yet; add them on the kit page first")
        return None
    return kit


def _page(request: Request, session: Session, crew: int, typed: Typed, status: int = 200) -> Response:
    kits = all_owned(session, tables.Kit, crew)
    wanted = [
        ("", say("not wanted, only the venue")),
        *((kit.id, say("wanted, filmed with {name}", name=kit.name)) for kit in kits),
    ]
    return draw(request, "sheet/bring.html", status=status, typed=typed, kits=kits, wanted=wanted)
