"""Making a day and setting it up: the venue, the kit, the places in order, and the look wanted at each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator
from starlette.datastructures import FormData

from server.book import tables
from server.book.crews import all_owned, owned
from server.book.days import USUAL_LOOK, changed, start_rig, usual_look
from server.book.kits import KitIncomplete
from server.book.watching import revision
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import sun
from server.exposure.flicker import SteadyTime, is_steady, steady_times
from server.exposure.glass import WORN_KINDS
from server.exposure.refused import OutOfRange, within
from server.exposure.rig import RUSH_TOLERANCE, TOLERANCE, Look
from server.language import length, manner, say

from .camera import NOT_IN_KIT
from .drawing import draw
from .forms import (
    FNumber,
    Form,
    MaybeDistance,
    MaybeWhole,
    Name,
    Number,
    Seconds,
    TheForm,
    Ticked,
    Typed,
    Whole,
    day_of,
    hour,
)
from .numbers import Number as RowNumber
from .seen import is_another

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

router = door_router()

NEAREST_M, FARTHEST_M = 0.05, 10_000.0  # of a subject


class DayForm(Form):
    """A new day."""

    name: Name
    on: Annotated[date, BeforeValidator(day_of)]
    venue: Whole
    kit: Whole

    def check(self) -> None:
        """Hold the date to what the sun is worked out for."""
        sun.check_date("on", self.on)


class CarriedForm(Form):
    """What of the kit is used on the day, and the errors that are not minded."""

    name: Name
    on: Annotated[date, BeforeValidator(day_of)]
    body: Whole
    lens: Whole
    holder: MaybeWhole = None
    tolerance: Number = TOLERANCE
    rush_tolerance: Number = RUSH_TOLERANCE
    seen_at: Annotated[str, BeforeValidator(hour)] = "14:00"
    steady: Ticked = False

    def check(self) -> None:
        """Hold the date and the tolerances to the engine's limits."""
        sun.check_date("on", self.on)
        Look(*USUAL_LOOK, 0.02, self.tolerance, self.rush_tolerance)


class PlaceForm(Form):
    """A place of the day."""

    used: Ticked = False
    position: Whole
    wanted: FNumber
    widest: FNumber
    narrowest: FNumber
    shutter: Seconds
    distance_m: MaybeDistance = None
    long_end: Ticked = False
    worn: tuple[Whole, ...] = ()

    def check(self) -> None:
        """Hold the look to the engine's limits."""
        Look(self.wanted, self.widest, self.narrowest, self.shutter)
        if self.distance_m is None:
            return
        if manner().feet and not NEAREST_M <= self.distance_m <= FARTHEST_M:
            allowed = say("{low} to {high}", low=length(NEAREST_M), high=length(FARTHEST_M))
            raise OutOfRange("distance_m", length(self.distance_m), allowed)
        within("distance_m", self.distance_m, NEAREST_M, FARTHEST_M, "m")


@router.get("/days/new")
def new_day(request: Request, book: TheBook, visitor: TheVisitor, venue: int | None = None) -> Response:
    """An empty day form."""
    with book.reading() as session:
        return _new_page(request, session, visitor.crew, Typed(), chosen=venue)


@router.post("/days")
def make_day(request: Request, book: TheBook, visitor: TheVisitor, came: TheForm) -> Response:
    """Make a day with every place of the venue, and the usual look at each."""
    form, typed = DayForm.read(came)
    with book.writing(visitor.crew) as session:
        if form is None:
            return _new_page(request, session, visitor.crew, typed, status=422)
        venue = owned(session, tables.Venue, visitor.crew, form.venue)
        kit = owned(session, tables.Kit, visitor.crew, form.kit)
        body, lens = next(iter(kit.bodies), None), next(iter(kit.lenses), None)
        if body is None or lens is None:
            typed.errors["kit"] = (
                say("This kit has no body yet; add one on the kit page first")
                if body is None
                else say("This kit has no lens yet; add one on the kit page first")
            )
            return _new_page(request, session, visitor.crew, typed, status=422)
        day = day_at(venue, kit, form.name, form.on)
        session.add(day)
        session.flush()
        number = day.id
    return RedirectResponse(request.app.url_path_for("set_up_day", day_id=number), status_code=303)


def day_at(venue: tables.Venue, kit: tables.Kit, name: str, on: date) -> tables.Day:
    """A day at every place of a venue, with the first body, lens and holder of a kit and the usual look everywhere."""
    body, lens = kit.bodies[0], kit.lenses[0]
    look = usual_look(body, lens)
    return tables.Day(
        crew_id=venue.crew_id, venue=venue, kit=kit, name=name, on=on, body_id=body.id, lens_id=lens.id,
        holder_id=kit.holders[0].id if kit.holders else None, start=start_rig(body, look),
        places=[_day_place(place.id, number, look) for number, place in enumerate(venue.places, 1)],
    )  # fmt: skip


@router.get("/days/{day_id}/setup")
def set_up_day(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """What is carried, and the places with their looks."""
    with book.reading() as session:
        return _setup_page(request, session, owned(session, tables.Day, visitor.crew, day_id), Typed())


@router.post("/days/{day_id}/setup")
def change_day(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """Keep the whole set-up, or nothing of it."""
    form, typed = CarriedForm.read(came)
    with book.writing(visitor.crew) as session:
        day = owned(session, tables.Day, visitor.crew, day_id)
        places: dict[int, PlaceForm] = {}
        for place in day.venue.places:
            one, wrong = PlaceForm.read(_fields_of(came, place.id))
            typed.errors |= {f"{field}_{place.id}": word for field, word in wrong.errors.items()}
            if one is not None:
                places[place.id] = one
                if not set(one.worn) <= {row.id for row in _worn(day.kit)}:
                    typed.errors[f"worn_{place.id}"] = say("This kit has no such glass any more")
        if form is not None:
            typed.errors |= _unknown(day.kit, form)
        if not typed.errors and not any(one.used for one in places.values()):
            typed.errors["places"] = say("A day needs at least one place")
        is_another(came, typed, request.app.url_path_for("set_up_day", day_id=day_id), day, *day.places)
        if form is None or typed.errors or typed.meanwhile:
            return _setup_page(request, session, day, typed, status=typed.status)
        day.name, day.on = form.name, form.on
        day.seen_at, day.steady = form.seen_at, form.steady
        day.body_id, day.lens_id, day.holder_id = form.body, form.lens, form.holder
        _keep_places(day, form, places)
        changed(session, day_id)
    return RedirectResponse(request.app.url_path_for("show_day", day_id=day_id), status_code=303)


def _keep_places(day: tables.Day, form: CarriedForm, places: dict[int, PlaceForm]) -> None:
    there = {row.place_id: row for row in day.places}
    for place_id, one in places.items():
        row = there.get(place_id)
        if not one.used:
            if row is not None:
                day.places.remove(row)
            continue
        if row is None:
            row = tables.DayPlace(place_id=place_id)
            day.places.append(row)
        for field, value in one.model_dump(exclude={"used", "worn"}).items():
            setattr(row, field, value)
        row.worn = list(one.worn)
        row.tolerance, row.rush_tolerance = form.tolerance, form.rush_tolerance


def _worn(kit: tables.Kit) -> list[tables.Filter]:
    """The glass of a kit that is worn for a look."""
    return [row for row in kit.filters if row.kind in WORN_KINDS]


def _unknown(kit: tables.Kit, form: CarriedForm) -> dict[str, str]:
    """A word beside each choice that the kit does not have (any more)."""
    chosen = {
        "body": (form.body, [row.id for row in kit.bodies]),
        "lens": (form.lens, [row.id for row in kit.lenses]),
        "holder": (form.holder, [row.id for row in kit.holders] if form.holder is not None else [None]),
    }
    return {name: NOT_IN_KIT[name] for name, (number, known) in chosen.items() if number not in known}


def _fields_of(came: FormData, place_id: int) -> FormData:
    """One place's fields, under their own names."""
    end = f"_{place_id}"
    return FormData([(key.removesuffix(end), value) for key, value in came.multi_items() if key.endswith(end)])


def _day_place(place_id: int, position: int, look: Look) -> tables.DayPlace:
    return tables.DayPlace(
        place_id=place_id, position=position, wanted=look.wanted, widest=look.widest, narrowest=look.narrowest,
        shutter=look.shutter, tolerance=look.tolerance, rush_tolerance=look.rush_tolerance, worn=[], long_end=False,
    )  # fmt: skip


def _usual_place(kit: tables.Kit) -> tables.DayPlace:
    if not kit.bodies or not kit.lenses:
        raise KitIncomplete(kit.name)
    return _day_place(0, 1, usual_look(kit.bodies[0], kit.lenses[0]))


@dataclass(frozen=True, slots=True)
class PlaceLine:
    """A place's line of the set-up table."""

    place: tables.Place
    used: bool
    position: int
    look: tables.DayPlace


def _setup_page(
    request: Request, session: Session, day: tables.Day, typed: Typed, status: int = 200
) -> Response:  # fmt: skip
    there = {row.place_id: row for row in day.places}
    usual = next(iter(day.places), None) or _usual_place(day.kit)
    last = max((row.position for row in day.places), default=0)
    lines = []
    for number, place in enumerate(day.venue.places, 1):
        row = there.get(place.id)
        position = last + number if row is None else row.position
        lines.append(PlaceLine(place, used=row is not None, position=position, look=row or usual))
    lines.sort(key=lambda line: (not line.used, line.position))
    steady, has_steady = _steady(day)
    return draw(
        request,
        "day/setup.html",
        status=status,
        day=day,
        revision=revision(session, day.crew_id, day.id),
        lines=lines,
        usual=usual,
        typed=typed,
        worn=_worn(day.kit),
        steady=steady,
        has_steady=has_steady,
        zooms=any(row.widest_long is not None or row.focal_long_mm is not None for row in day.kit.lenses),
    )


def _steady(day: tables.Day) -> tuple[tuple[SteadyTime, ...], bool]:
    """
    The shutters that do not flicker under the venue's lamps at the body's frame rate, and whether the body has one.

    None, and True, where nothing is known of the lamps or the body.
    """
    body = next((row for row in day.kit.bodies if row.id == day.body_id), None)
    mains = day.venue.mains
    if body is None or mains is None:
        return (), True
    times = () if body.frame_rate is None else steady_times(mains, body.frame_rate)
    return times, any(is_steady(each, mains) for each in body.shutters)


def _new_page(
    request: Request,
    session: Session,
    crew: int,
    typed: Typed,
    *,
    chosen: int | None = None,
    status: int = 200,
) -> Response:
    return draw(
        request, "day/new.html", status=status, typed=typed, chosen=chosen, today=datetime.now(UTC).date(),
        venues=all_owned(session, tables.Venue, crew), kits=all_owned(session, tables.Kit, crew),
    )  # fmt: skip
