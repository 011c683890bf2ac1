"""The first five minutes: a venue with a few places, a common kit and a day, made in one form."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator

from server.book import tables
from server.book.kit_document import kit_from
from server.book.starters import STARTERS, starters
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import light, sun
from server.language import say

from .day_setup import day_at
from .drawing import draw
from .forms import Form, MaybeNumber, Name, TheForm, Typed, Whole, day_of
from .venues import ZONES, Light, Zone

if TYPE_CHECKING:
    from starlette.datastructures import FormData

router = door_router()

ROWS = (1, 2, 3, 4)


class StartForm(Form):
    """The day, its venue and its kit, the number of a starter."""

    name: Name
    on: Annotated[date, BeforeValidator(day_of)]
    venue: Name
    time_zone: Zone
    kit: Whole

    def check(self) -> None:
        """Hold the date to what the sun is worked out for."""
        sun.check_date("on", self.on)


class StartPlace(Form):
    """A place, and the light there [stops at ISO 100] where it was metered."""

    place: Name
    light: Light
    ev: MaybeNumber = None

    def check(self) -> None:
        """Hold the light to the engine's limits."""
        if self.ev is not None:
            light.Light(self.ev)


@dataclass(frozen=True, slots=True)
class Started:
    """What was asked for."""

    day: StartForm
    places: tuple[StartPlace, ...]


@router.get("/start")
def show_start(request: Request) -> Response:
    """The form."""
    return draw(request, "start/page.html", **start_fields())


@router.post("/start")
def make_start(request: Request, book: TheBook, visitor: TheVisitor, came: TheForm) -> Response:
    """Make all of it, or nothing."""
    asked, typed = _read(came)
    if asked is None:
        return draw(request, "start/page.html", status=422, **start_fields(typed))
    now = datetime.now(UTC)
    with book.writing(visitor.crew) as session:
        venue = tables.Venue(crew_id=visitor.crew, name=asked.day.venue, time_zone=asked.day.time_zone)
        venue.places = [
            tables.Place(name=each.place, light=each.light, position=number)
            for number, each in enumerate(asked.places, 1)
        ]
        kit = kit_from(starters()[asked.day.kit - 1].kit, visitor.crew)
        session.add_all([venue, kit])
        session.flush()
        for place, each in zip(venue.places, asked.places, strict=True):
            if each.ev is not None:
                raw = {"value": each.ev, "iso": 100.0}
                session.add(tables.Reading(place_id=place.id, taken_at=now, logged_at=now, who=visitor.name, kind="ev",
                                           raw=raw, ev100=light.from_ev(each.ev).ev100))  # fmt: skip
        day = day_at(venue, kit, asked.day.name, asked.day.on)
        session.add(day)
        session.flush()
        number = day.id
    return RedirectResponse(request.app.url_path_for("show_day", day_id=number), status_code=303)


def _read(came: FormData) -> tuple[Started | None, Typed]:
    form, typed = StartForm.read(came)
    if form is not None and not 1 <= form.kit <= STARTERS:
        typed.errors["kit"] = say("a kit of the list")
    places = []
    for number in ROWS:
        fields = type(came)([(name, came.get(f"{name}_{number}", "")) for name in ("place", "light", "ev")])
        if not str(fields["place"]).strip() and not str(fields["ev"]).strip() and number > 1:
            continue
        place, wrong = StartPlace.read(fields)
        names = {"ev100": "ev"}
        typed.errors |= {f"{names.get(name, name)}_{number}": word for name, word in wrong.errors.items()}
        if place is not None:
            places.append(place)
    if form is None or typed.errors:
        return None, typed
    return Started(form, tuple(places)), typed


def start_fields(typed: Typed | None = None) -> dict[str, Any]:
    """What the form is drawn with."""
    return {
        "typed": typed or Typed(), "today": datetime.now(UTC).date(), "starters": starters(), "rows": ROWS,
        "zones": ZONES,
    }  # fmt: skip
