"""The kit page: bodies, lenses, holders and filters, each with a small form of its own."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, timedelta
from functools import reduce
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator, ValidationInfo
from sqlalchemy import select

from server.book import kits, tables
from server.book.crews import NotThere, owned
from server.book.days import open_day, shortfalls
from server.book.kit_document import THINGS_MOST
from server.book.people import first_camera
from server.book.starters import starters
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import glass, measuring, notation
from server.exposure.refused import OutOfRange
from server.exposure.rig import Hands
from server.language import decimal, noted, say

from .drawing import draw
from .forms import (
    FNumber,
    Form,
    MaybeFNumber,
    MaybeNumber,
    Name,
    Number,
    Numbers,
    Pairs,
    Speeds,
    TheForm,
    Typed,
    Unclear,
    Whole,
    f_number,
    numbers,
    optional,
    or_zero,
    sensor,
    text,
    times_at,
)
from .numbers import Number as RowNumber
from .seen import is_another

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.orm import Session

router = door_router()

USUAL_HANDS = Hands()


def _times(came: object, info: ValidationInfo) -> list[float]:
    """Exposure times; at a frame rate, the 180 degree shutter where nothing was typed."""
    frame_rate = info.data.get("frame_rate")
    return times_at(came if optional(came) is not None or not frame_rate else "180°", frame_rate)


def _sensor_id(came: object) -> str | None:
    return None if optional(came) is None else sensor(came).id


def _loss(came: object, info: ValidationInfo) -> float:
    """A lens's loss in stops, or from its T-number: "T2" on an f/1.8 lens."""
    line = text(came)
    widest = info.data.get("widest")
    if line[:1] in ("T", "t") and widest is not None:
        return measuring.loss_of_t_number(widest, f_number(line))
    return or_zero(line)


def _meaning(engraving: notation.Engraving) -> str:
    value = f"{engraving.value:g}"
    return (
        say("{value} stops", value=decimal(value))
        if engraving.notation == "stops"
        else say("a density of {value}", value=value)
        if engraving.notation == "density"
        else say("a factor of {value}", value=value)
    )


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
    frame_rate: MaybeNumber = None
    shutters: Annotated[list[float], BeforeValidator(_times)]
    format: Annotated[str | None, BeforeValidator(_sensor_id)] = None
    built_in_nd: Annotated[list[float], BeforeValidator(lambda came: numbers(came) or [0.0])]


class LensForm(Form):
    """A lens."""

    name: Name
    widest: FNumber
    smallest: FNumber
    widest_long: MaybeFNumber = None
    focal_mm: MaybeNumber = None
    focal_long_mm: MaybeNumber = None
    thread: MaybeNumber = None
    loss_stops: Annotated[float, BeforeValidator(_loss)] = 0.0


class HolderForm(Form):
    """A filter holder."""

    name: Name
    width: Number
    slots: Whole
    rings: Numbers
    front: MaybeNumber = None


class FilterForm(Form):
    """A filter, by what is engraved on it; meant says which, where an engraving could be several things."""

    name: Name
    kind: glass.Kind
    mount: glass.Mount
    engraved: Annotated[str, BeforeValidator(text)]
    meant: Annotated[str, BeforeValidator(text)] = ""
    engraved_to: Annotated[str, BeforeValidator(text)] = ""
    edge: Annotated[glass.Edge | None, BeforeValidator(optional)] = None
    width: MaybeNumber = None
    thread: MaybeNumber = None

    def check(self) -> None:
        """Understand the engraving."""
        self.density("engraved")
        if self.kind == "variable_nd":
            self.density("engraved_to")

    def density(self, field: str) -> float:
        """
        What the engraving in a field stands for [D].

        Raises OutOfRange where it could be several things and nobody said which.
        """
        typed = getattr(self, field)
        try:
            found = notation.readings(typed)
        except OutOfRange as refused:
            raise OutOfRange(field, refused.came, refused.allowed) from refused
        chosen = [each for each in found if each.notation == self.meant] or list(found)
        if not self.meant and found[0].notation == "factor" and found[0].value in notation.MARKED_FACTORS:
            chosen = [found[0]]  # ND8 is the standard's own name for a 0.9; it needs no question
        if len({each.density for each in chosen}) > 1:
            meanings = reduce(
                lambda some, last: say("{some} or {last}", some=some, last=last), [_meaning(each) for each in chosen]
            )
            raise Unclear(
                field, typed, say("{typed} may be {meanings}: say which, below", typed=typed, meanings=meanings)
            )
        return chosen[0].density

    def figures(self) -> dict[str, Any]:
        """The table's columns."""
        figures = self.model_dump(exclude={"meant", "engraved_to"})
        figures["density"] = self.density("engraved")
        figures["density_to"] = self.density("engraved_to") if self.kind == "variable_nd" else None
        return figures


class RingsForm(Form):
    """The step-up rings."""

    step_ups: Pairs


class HandsForm(Form):
    """Seconds for each action; those left empty, or as usual, follow the usual ones."""

    pull: MaybeNumber = None
    drop_in: MaybeNumber = None
    holder_off: MaybeNumber = None
    holder_on: MaybeNumber = None
    unscrew: MaybeNumber = None
    screw_on: MaybeNumber = None
    front_off: MaybeNumber = None
    front_on: MaybeNumber = None
    turn: MaybeNumber = None
    built_in: MaybeNumber = None
    iris: MaybeNumber = None
    iso: MaybeNumber = None
    shutter: MaybeNumber = None
    stray: MaybeNumber = None

    def figures(self) -> dict[str, float]:
        """The seconds that are this shooter's own."""
        typed = self.model_dump(exclude_none=True)
        return {name: seconds for name, seconds in typed.items() if seconds != getattr(USUAL_HANDS, name)}

    def check(self) -> None:
        """Hold the seconds to the engine's limits."""
        Hands(**self.figures())


@dataclass(frozen=True, slots=True)
class Thing:
    """One kind of thing in a kit: its table, its form, the engine's check, and the word where its name is taken."""

    table: Any
    form: type[Form]
    check: Callable[[Any], object]
    taken: str


Things = Literal["bodies", "lenses", "holders", "filters"]
THINGS: dict[Things, Thing] = {
    "bodies": Thing(
        tables.Body,
        BodyForm,
        kits.check_body,
        noted("This kit has a body “{name}” already; it needs a name of its own"),
    ),
    "lenses": Thing(
        tables.Lens,
        LensForm,
        kits.check_lens,
        noted("This kit has a lens “{name}” already; it needs a name of its own"),
    ),
    "holders": Thing(
        tables.Holder,
        HolderForm,
        kits.holder_of,
        noted("This kit has a holder “{name}” already; it needs a name of its own"),
    ),
    "filters": Thing(
        tables.Filter,
        FilterForm,
        kits.filter_of,
        noted("This kit has a filter “{name}” already; it needs a name of its own"),
    ),
}


@router.post("/kits")
def make_kit(request: Request, book: TheBook, visitor: TheVisitor, came: TheForm) -> Response:
    """Make a kit; what is in it comes next."""
    form, typed = KitForm.read(came)
    if form is None:
        return draw(request, "kit/new.html", status=422, typed=typed, starters=starters())
    with book.writing(visitor.crew) as session:
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
    with book.writing(visitor.crew) as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        if is_another(came, typed, _address(request, kit_id), kit, only="name") or form is None:
            return _kit_page(request, session, visitor.crew, kit_id, ("kit", None, typed))
        kit.name = form.name
        kits.changed(kit)
    return _to(request, kit_id)


@router.post("/kits/{kit_id}/rings")
def change_rings(request: Request, book: TheBook, visitor: TheVisitor, kit_id: RowNumber, came: TheForm) -> Response:
    """Keep the step-up rings."""
    form, typed = RingsForm.read(came)
    with book.writing(visitor.crew) as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        if form is not None and len(form.step_ups) > glass.RINGS_MOST:
            form, typed.errors["step_ups"] = None, say("At most {most} rings", most=glass.RINGS_MOST)
        if form is not None:
            new = [start for start, to in form.step_ups if [start, to] not in kit.step_ups]
            typed.errors |= _rings_for_no_lens(kit, new, "step_ups")
        is_another(came, typed, _address(request, kit_id, "rings"), kit, only="step_ups")
        if form is None or typed.errors or typed.meanwhile:
            return _kit_page(request, session, visitor.crew, kit_id, ("rings", None, typed))
        kit.step_ups = form.step_ups
        kits.changed(kit)
    return _to(request, kit_id, "rings")


@router.post("/kits/{kit_id}/hands")
def change_hands(request: Request, book: TheBook, visitor: TheVisitor, kit_id: RowNumber, came: TheForm) -> Response:
    """Keep the shooter's own seconds."""
    form, typed = HandsForm.read(came)
    with book.writing(visitor.crew) as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        if is_another(came, typed, _address(request, kit_id, "hands"), kit, only="hands") or form is None:
            return _kit_page(request, session, visitor.crew, kit_id, ("hands", None, typed))
        kit.hands = form.figures()
        kits.changed(kit)
    return _to(request, kit_id, "hands")


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
    came: TheForm,
) -> Response:
    """Take one of them out of the kit. A log that mentions it keeps its own figures."""
    with book.writing(visitor.crew) as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        rows = getattr(kit, things)
        row, typed = _one_of(rows, thing_id), Typed()
        if is_another(came, typed, _address(request, kit_id, things), row):
            return _kit_page(request, session, visitor.crew, kit_id, (things, thing_id, typed))
        rows.remove(row)
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
    with book.writing(visitor.crew) as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        rows = getattr(kit, things)
        row = thing.table() if thing_id is None else _one_of(rows, thing_id)
        figures = {} if form is None else _figures(form)
        if form is not None:
            typed.errors |= _refusals(thing, rows, thing_id, figures)
            if isinstance(form, HolderForm):
                new = [ring for ring in form.rings if ring not in (row.rings or [])]
                typed.errors |= _rings_for_no_lens(kit, new, "rings")
        if thing_id is not None:
            is_another(came, typed, _address(request, kit_id, things), row)
        if form is None or typed.errors or typed.meanwhile:
            return _kit_page(request, session, visitor.crew, kit_id, (things, thing_id, typed))
        if thing_id is not None and isinstance(row, tables.Filter) and _is_other_glass(row, figures):
            row.measured = row.measured_spread = None
        for field, value in figures.items():
            setattr(row, field, value)
        if thing_id is None:
            rows.append(row)
        kits.changed(kit)
    return _to(request, kit_id, things)


def _is_other_glass(row: tables.Filter, figures: dict[str, Any]) -> bool:
    """Whether what is typed now is not the glass that was measured: its measure would not be this one's."""
    return any(getattr(row, field) != figures[field] for field in ("kind", "density", "density_to"))


def _figures(form: Form) -> dict[str, Any]:
    """What a form says, as the table's columns."""
    figures: dict[str, Any] = form.figures() if isinstance(form, FilterForm) else form.model_dump()
    return figures


def _refusals(thing: Thing, rows: list[Any], thing_id: int | None, values: dict[str, Any]) -> dict[str, str]:
    """What is wrong with it beyond its form: the engine's limits, a name that is taken, a kit that is full."""
    typed = Typed()
    try:
        thing.check(thing.table(**values))
    except OutOfRange as refused:
        typed.refuse(refused)
    words = {FIELDS.get(field, field): word for field, word in typed.errors.items()}
    if any(row.name == values["name"] and row.id != thing_id for row in rows):
        words["name"] = say(thing.taken, name=values["name"])
    elif thing_id is None and len(rows) >= THINGS_MOST:
        words["name"] = say("This kit has {most} of them already; that is all it can keep", most=THINGS_MOST)
    return words


def _rings_for_no_lens(kit: tables.Kit, rings: list[float], field: str) -> dict[str, str]:
    """
    A word for a new ring that goes on no lens of the kit, by itself or on a step-up ring; none while it has no lens.

    A ring that was kept already may have lost its lens since; that is no reason to refuse the rest of a form.
    """
    threads = {lens.thread for lens in kit.lenses if lens.thread is not None}
    reached = threads | ({to for start, to in kit.step_ups if start in threads} if field == "rings" else set())
    lost = [ring for ring in rings if ring not in reached]
    if not kit.lenses or not lost:
        return {}
    allowed = " ".join(f"{thread:g}" for thread in sorted(reached)) or say("none, as no lens has a thread")
    return {
        field: say(
            "{lost} mm is a ring for no lens of this kit; allowed is {allowed}", lost=f"{lost[0]:g}", allowed=allowed
        )
    }


# The engine's names for form fields.
FIELDS = {
    "base": "iso_base",
    "allowed": "iso_allowed",
    "quiet": "iso_quiet",
    "density": "engraved",
    "density_to": "engraved_to",
}


def _kit_page(
    request: Request,
    session: Session,
    crew: int,
    kit_id: int,
    wrong: tuple[str, int | None, Typed] | None = None,
) -> Response:
    """The kit page; wrong: which form was refused, of which thing, and what was typed in it."""
    kit = owned(session, tables.Kit, crew, kit_id)
    return draw(
        request,
        "kit/page.html",
        status=wrong[2].status if wrong else 200,
        kit=kit,
        wrong=wrong,
        empty=Typed(),
        usual_hands=asdict(USUAL_HANDS),
        fits=_what_fits(kit),
        days=_days_ahead(session, crew, kit_id),
    )


DAYS_SHOWN = 10


@dataclass(frozen=True, slots=True)
class DayAhead:
    """
    A day with this kit, and the places where even all of it falls short, by how many stops.

    too_large: what came where the kit is too large to work that out; its page must open all the same, to be mended
    """

    id: int
    name: str
    on: date
    short: tuple[tuple[str, float], ...] = ()
    too_large: str = ""


def _days_ahead(session: Session, crew: int, kit_id: int) -> list[DayAhead]:
    """The next days with this kit."""
    day = tables.Day
    yesterday = datetime.now(UTC).date() - timedelta(days=1)
    asked = (
        select(day.id, day.name, day.on)
        .where(day.crew_id == crew, day.kit_id == kit_id, day.on >= yesterday)
        .order_by(day.on, day.id)
        .limit(DAYS_SHOWN)
    )
    found = []
    for number, name, on in session.execute(asked).all():
        try:
            found.append(
                DayAhead(number, name, on, shortfalls(open_day(session, first_camera(crew), number), datetime.now(UTC)))
            )
        except kits.KitIncomplete:
            found.append(DayAhead(number, name, on))
        except OutOfRange as refused:
            found.append(
                DayAhead(
                    number,
                    name,
                    on,
                    too_large=say("{came}; it needs {allowed}", came=refused.came, allowed=refused.allowed),
                )
            )
    return found


@dataclass(frozen=True, slots=True)
class Fit:
    """A piece of glass on a lens, by whichever holder is best: nothing missing, or what is."""

    glass: str
    lens: str
    missing: str


def _what_fits(kit: tables.Kit) -> list[Fit]:
    """Every piece of glass against every lens, with the part that is missing."""
    rings = tuple((start, to) for start, to in kit.step_ups)
    holders = [kits.holder_of(holder) for holder in kit.holders] or [None]
    found = []
    for row in kit.filters:
        piece = kits.filter_of(row)
        for lens in kit.lenses:
            missing = [glass.why_not_alone(piece, holder, lens.thread, rings) for holder in holders]
            found.append(Fit(row.name, lens.name, "" if "" in missing else missing[0]))
    return found


def _one_of(rows: list[Any], number: int) -> Any:
    row = next((each for each in rows if each.id == number), None)
    if row is None:
        raise NotThere("things")
    return row


def _to(request: Request, kit_id: int, things: str | None = None) -> Response:
    return RedirectResponse(_address(request, kit_id, things), status_code=303)


def _address(request: Request, kit_id: int, things: str | None = None) -> str:
    path = request.app.url_path_for("show_kit", kit_id=kit_id)
    return f"{path}#{things}" if things else path
