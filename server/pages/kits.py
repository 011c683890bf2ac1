"""The kit page: bodies, lenses, holders and filters, each with a small form of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator

from server.book import kits, tables
from server.book.crews import NotThere, owned
from server.door.visitor import TheBook, TheVisitor
from server.exposure.refused import OutOfRange

from .drawing import draw
from .forms import (
    FNumber,
    Form,
    MaybeNumber,
    Name,
    Number,
    NumberOrZero,
    Numbers,
    Speeds,
    TheForm,
    Times,
    Typed,
    Whole,
    numbers,
)
from .numbers import Number as RowNumber

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.orm import Session

router = APIRouter()

THINGS_MOST = 40  # of a kind in a kit; as many filters as the engine takes


class KitForm(Form):
    """A kit's name."""

    name: Name


class BodyForm(Form):
    """A camera body."""

    name: Name
    clicks_per_stop: Whole
    iso_base: Speeds
    iso_allowed: Speeds
    iso_quiet: MaybeNumber = None
    shutters: Times
    built_in_nd: Annotated[list[float], BeforeValidator(lambda came: numbers(came) or [0.0])]


class LensForm(Form):
    """A lens."""

    name: Name
    widest: FNumber
    smallest: FNumber
    thread: MaybeNumber = None
    loss_stops: NumberOrZero = 0.0


class HolderForm(Form):
    """A filter holder."""

    name: Name
    width: Number
    slots: Whole
    rings: Numbers


class FilterForm(Form):
    """A filter."""

    name: Name
    mount: Literal["slot", "thread"]
    density: Number
    width: MaybeNumber = None
    thread: MaybeNumber = None


@dataclass(frozen=True, slots=True)
class Thing:
    """One kind of thing in a kit: its table, its form, and the engine's check of it."""

    one: str
    table: Any
    form: type[Form]
    check: Callable[[Any], object]


Things = Literal["bodies", "lenses", "holders", "filters"]
THINGS: dict[Things, Thing] = {
    "bodies": Thing("body", tables.Body, BodyForm, kits.body_of),
    "lenses": Thing("lens", tables.Lens, LensForm, kits.lens_of),
    "holders": Thing("holder", tables.Holder, HolderForm, kits.holder_of),
    "filters": Thing("filter", tables.Filter, FilterForm, kits.filter_of),
}


@router.get("/kits/new")
def new_kit(request: Request) -> Response:
    """An empty kit form."""
    return draw(request, "kit/new.html", typed=Typed())


@router.post("/kits")
def make_kit(request: Request, book: TheBook, visitor: TheVisitor, came: TheForm) -> Response:
    """Make a kit; what is in it comes next."""
    form, typed = KitForm.read(came)
    if form is None:
        return draw(request, "kit/new.html", status=422, typed=typed)
    with book.writing() as session:
        kit = tables.Kit(crew_id=visitor.crew, name=form.name, hands={})
        session.add(kit)
        session.flush()
        number = kit.id
    return _to(request, number)


@router.get("/kits/{kit_id}")
def show_kit(request: Request, book: TheBook, visitor: TheVisitor, kit_id: RowNumber) -> Response:
    """The kit and everything in it."""
    with book.reading() as session:
        return _kit_page(request, session, visitor.crew, kit_id)


@router.post("/kits/{kit_id}")
def change_kit(request: Request, book: TheBook, visitor: TheVisitor, kit_id: RowNumber, came: TheForm) -> Response:
    """Rename a kit."""
    form, typed = KitForm.read(came)
    with book.writing() as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        if form is None:
            return _kit_page(request, session, visitor.crew, kit_id, ("kit", None, typed))
        kit.name = form.name
        kits.changed(kit)
    return _to(request, kit_id)


@router.post("/kits/{kit_id}/{things}")
def add_thing(
    request: Request, book: TheBook, visitor: TheVisitor, kit_id: RowNumber, things: Things, came: TheForm
) -> Response:
    """Put one more body, lens, holder or filter in the kit."""
    return _keep(request, book, visitor, kit_id, things, None, came)


@router.post("/kits/{kit_id}/{things}/{thing_id}")
def change_thing(
    request: Request, book: TheBook, visitor: TheVisitor, kit_id: RowNumber, things: Things, thing_id: RowNumber,
    came: TheForm,
) -> Response:  # fmt: skip
    """Change one of them."""
    return _keep(request, book, visitor, kit_id, things, thing_id, came)


@router.post("/kits/{kit_id}/{things}/{thing_id}/removal")
def remove_thing(
    request: Request,
    book: TheBook,
    visitor: TheVisitor,
    kit_id: RowNumber,
    things: Things,
    thing_id: RowNumber,
) -> Response:
    """Take one of them out of the kit. A log that mentions it keeps its own figures."""
    with book.writing() as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        rows = getattr(kit, things)
        rows.remove(_one_of(rows, thing_id))
        kits.changed(kit)
    return _to(request, kit_id, things)


def _keep(
    request: Request,
    book: TheBook,
    visitor: TheVisitor,
    kit_id: int,
    things: Things,
    thing_id: int | None,
    came: TheForm,
) -> Response:
    """Keep one thing of a kit, new or changed, if the engine can work with it."""
    thing = THINGS[things]
    form, typed = thing.form.read(came)
    with book.writing() as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        rows = getattr(kit, things)
        row = thing.table() if thing_id is None else _one_of(rows, thing_id)
        if form is not None:
            typed.errors |= _refusals(thing, rows, thing_id, form)
        if form is None or typed.errors:
            return _kit_page(request, session, visitor.crew, kit_id, (things, thing_id, typed))
        for field, value in form.model_dump().items():
            setattr(row, field, value)
        if thing_id is None:
            rows.append(row)
        kits.changed(kit)
    return _to(request, kit_id, things)


def _refusals(thing: Thing, rows: list[Any], thing_id: int | None, form: Form) -> dict[str, str]:
    """What is wrong with it beyond its form: the engine's limits, a name that is taken, a kit that is full."""
    values = form.model_dump()
    if any(row.name == values["name"] and row.id != thing_id for row in rows):
        return {"name": f"This kit has a {thing.one} “{values['name']}” already; it needs a name of its own"}
    if thing_id is None and len(rows) >= THINGS_MOST:
        return {"name": f"This kit has {THINGS_MOST} of them already; that is all it can keep"}
    typed = Typed()
    try:
        thing.check(thing.table(**values))
    except OutOfRange as refused:
        typed.refuse(refused)
    return {FIELDS.get(field, field): word for field, word in typed.errors.items()}


FIELDS = {
    "base": "iso_base",
    "allowed": "iso_allowed",
    "quiet": "iso_quiet",
}  # the engine's names for form fields


def _kit_page(
    request: Request,
    session: Session,
    crew: int,
    kit_id: int,
    wrong: tuple[str, int | None, Typed] | None = None,
) -> Response:
    """The kit page; wrong: which form was refused, of which thing, and what was typed in it."""
    kit = owned(session, tables.Kit, crew, kit_id)
    return draw(request, "kit/page.html", status=422 if wrong else 200, kit=kit, wrong=wrong, empty=Typed())


def _one_of(rows: list[Any], number: int) -> Any:
    row = next((each for each in rows if each.id == number), None)
    if row is None:
        raise NotThere("things")
    return row


def _to(request: Request, kit_id: int, things: str | None = None) -> Response:
    path = request.app.url_path_for("show_kit", kit_id=kit_id)
    return RedirectResponse(f"{path}#{things}" if things else path, status_code=303)
