"""A kit as a file: saved, read, or started from a common one."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import Path, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import ValidationError

from server.book import tables
from server.book.crews import owned
from server.book.kit_document import SCHEMA, KitDocument, document_of, kit_from
from server.book.starters import STARTERS, starters
from server.door.entrance import door_router
from server.door.problems import Problem
from server.door.visitor import TheBook, TheVisitor
from server.exposure.refused import OutOfRange, shown
from server.language import say

from .drawing import attached, draw
from .forms import TheFile, Typed, text
from .numbers import Number as RowNumber

router = door_router()

FILE_MOST = 200_000  # bytes
ERRORS_SAID = 8
MARK = b"\xef\xbb\xbf"  # some editors put it before UTF-8; it is no part of the JSON


@router.get("/kits/new")
def new_kit(request: Request) -> Response:
    """A common kit, an empty one, or one from a file."""
    return draw(request, "kit/new.html", typed=Typed(), starters=starters())


@router.get("/kits/{kit_id}/document")
def save_kit(book: TheBook, visitor: TheVisitor, kit_id: RowNumber) -> Response:
    """The kit as a file."""
    with book.reading() as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        document = document_of(kit)
    safe = re.sub(r"[^A-Za-z0-9]+", "-", document.name).strip("-").lower() or "kit"
    return attached(document.model_dump_json(indent=1) + "\n", "application/json", f"{safe}.kit.json")


@router.post("/kits/document")
def read_kit(request: Request, book: TheBook, visitor: TheVisitor, content: TheFile) -> Response:
    """A new kit from a file."""
    typed = Typed()
    if not content:
        typed.errors["file"] = say("It needs a file that was saved from a kit page")
    elif len(content) > FILE_MOST:
        typed.errors["file"] = say("It is more than {most} kB; a kit is much less", most=FILE_MOST // 1000)
    else:
        try:
            kit = kit_from(KitDocument.model_validate_json(content.removeprefix(MARK)), visitor.crew)
            with book.writing(visitor.crew) as session:
                session.add(kit)
                session.flush()
                return _to(request, kit.id)
        except ValidationError as refused:
            typed.errors["file"] = say("It is not a kit. {why}", why=refusal_said(refused))
        except OutOfRange as refused:
            typed.errors["file"] = say(
                "It is no kit that can be. {why}", why=refusal_word(refused.field, refused.came, refused.allowed)
            )
    return draw(request, "kit/new.html", status=422, typed=typed, starters=starters())


@router.post("/kits/starters/{number}")
def start_kit(
    request: Request,
    book: TheBook,
    visitor: TheVisitor,
    number: Annotated[int, Path(ge=1, le=STARTERS)],
) -> Response:
    """A common kit, to be put right."""
    with book.writing(visitor.crew) as session:
        kit = kit_from(starters()[number - 1].kit, visitor.crew)
        session.add(kit)
        session.flush()
        return _to(request, kit.id)


@router.get("/api/kit.schema.json")
def show_schema() -> Response:
    """What a kit's file may hold, as a JSON Schema."""
    return JSONResponse(SCHEMA, media_type="application/schema+json")


def refusal_said(refused: ValidationError) -> str:
    """The first of what is wrong with a file."""
    problem = Problem.of_validation([dict(error) for error in refused.errors()], None)
    return "; ".join(refusal_word(each.field, each.came, each.allowed) for each in problem.errors[:ERRORS_SAID])


def refusal_word(field: str, came: str, allowed: str) -> str:
    """Path, what came, what is allowed; path and what came are out of a stranger's file."""
    path = say("the file") if field == "(body)" else shown(field)
    what = text(came) or say("only blanks")
    return say("{field}: {came} came, allowed is {allowed}", field=text(path), came=what, allowed=allowed)


def _to(request: Request, kit_id: int) -> Response:
    return RedirectResponse(request.app.url_path_for("show_kit", kit_id=kit_id), status_code=303)
