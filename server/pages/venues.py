"""The venue page: its places, and their readings."""

from __future__ import annotations

import re
import zoneinfo
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator
from sqlalchemy import select
from starlette.datastructures import FormData, QueryParams

from server.book import tables
from server.book.crews import NotThere, all_owned, owned
from server.book.days import changed_at
from server.book.kits import filter_of
from server.book.venues import places_at, places_of
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure.cautions import place_cautions
from server.exposure.daylight import LIT_FROM, Spot
from server.exposure.flicker import MAINS
from server.exposure.refused import OutOfRange, within
from server.language import noted, say

from .drawing import KINDS_OF_LIGHT, draw, wants_fragment
from .forms import Form, MaybeNumber, Name, NumberOrZero, TheForm, Ticked, Typed, one_of, text
from .numbers import Number
from .photos import ThePhoto
from .readings import METHODS, Reading, last_noted, method_of, read_photo_reading, read_reading, stops_of, with_method
from .seen import is_another

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from server.door.visitor import Visitor

    from .readings import PhotoForm, ThroughGlass

router = door_router()

PLACES_MOST = 200
KNOWN_ZONES = zoneinfo.available_timezones()
# Those by place are offered; the others ("Factory", "EST5EDT") are understood, and help nobody in a list.
ZONES = sorted(zone for zone in KNOWN_ZONES if zone == "UTC" or ("/" in zone and not zone.startswith("Etc/")))


def _zone(came: object) -> str:
    line = text(came)
    if line not in KNOWN_ZONES:
        message = say("a time zone, such as Europe/London")
        raise ValueError(message)
    return line


def _mains(came: object) -> int | None:
    line = text(came)
    if line in ("", "None"):
        return None
    if line not in {str(each) for each in MAINS}:
        message = say("50 or 60 Hz, or not known")
        raise ValueError(message)
    return int(line)


_kind_of_light = one_of(KINDS_OF_LIGHT, noted("one of open sun, open shade, window light, lamps"))
_lit_from = one_of(LIT_FROM, noted("the front, the side, behind or above"), otherwise="side")


Zone = Annotated[str, BeforeValidator(_zone)]
Light = Annotated[str, BeforeValidator(_kind_of_light)]


class VenueForm(Form):
    """A venue's own fields. mains [Hz] of its lamps."""

    name: Name
    latitude: MaybeNumber = None
    longitude: MaybeNumber = None
    time_zone: Zone
    mains: Annotated[int | None, BeforeValidator(_mains)] = None

    @classmethod
    def _given(cls, came: FormData | QueryParams) -> dict[str, object]:
        """A pair that was pasted into one field, as maps give it, is two."""
        given = super()._given(came)
        pair = re.fullmatch(r"\s*([+−-]?\d+\.\d+)\s*,\s*([+−-]?\d+\.\d+)\s*", str(given.get("latitude", "")))
        if pair and not str(given.get("longitude") or "").strip():
            given |= {"latitude": pair[1], "longitude": pair[2]}
        return given

    def check(self) -> None:
        """Hold the coordinates to the globe; one without the other says nothing."""
        if self.latitude is not None:
            within("latitude", self.latitude, -90, 90, "degrees")
        if self.longitude is not None:
            within("longitude", self.longitude, -180, 180, "degrees")
        if (self.latitude is None) != (self.longitude is None):
            missing = "latitude" if self.latitude is None else "longitude"
            raise OutOfRange(missing, "nothing", say("both coordinates, or neither"))


class NewPlaceForm(Form):
    """A new place: its name, and what lights it."""

    name: Name
    light: Light


class PlaceForm(NewPlaceForm):
    """A place's own fields. lamps_percent: the share of its light that lamps gave at the reading."""

    lit_from: Annotated[str, BeforeValidator(_lit_from)] = "side"
    faces: MaybeNumber = None
    lamps_percent: NumberOrZero = 0.0
    sun_over: NumberOrZero = 0.0
    sun_behind: NumberOrZero = 0.0
    lasers: Ticked = False

    def check(self) -> None:
        """Hold the figures to what the engine forecasts with."""
        within("lamps_percent", self.lamps_percent, 0, 100, "%")
        Spot("sun", "side", self.faces, self.lamps_percent / 100, self.sun_over, self.sun_behind)

    def figures(self) -> dict[str, Any]:
        """As the book keeps them."""
        return self.model_dump(exclude={"lamps_percent"}) | {"lamps": self.lamps_percent / 100}


@router.get("/venues/new")
def new_venue(request: Request) -> Response:
    """An empty venue form."""
    return draw(request, "venue/new.html", typed=Typed(), zones=ZONES)


@router.post("/venues")
def make_venue(request: Request, book: TheBook, visitor: TheVisitor, came: TheForm) -> Response:
    """Make a venue."""
    form, typed = VenueForm.read(came)
    if form is None:
        return draw(request, "venue/new.html", status=422, typed=typed, zones=ZONES)
    with book.writing(visitor.crew) as session:
        venue = tables.Venue(crew_id=visitor.crew, **form.model_dump())
        session.add(venue)
        session.flush()
        number = venue.id
    return _to(request, number)


@router.get("/venues/{venue_id}")
def show_venue(request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number) -> Response:
    """The venue with its places and their readings."""
    with book.reading() as session:
        return _venue_page(request, session, visitor.crew, venue_id, older_said="older" in request.query_params)


@router.post("/venues/{venue_id}")
def change_venue(
    request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number, came: TheForm
) -> Response:  # fmt: skip
    """Change a venue's own fields."""
    form, typed = VenueForm.read(came)
    with book.writing(visitor.crew) as session:
        venue = owned(session, tables.Venue, visitor.crew, venue_id)
        if is_another(came, typed, _address(request, venue_id), venue) or form is None:
            return _venue_page(request, session, visitor.crew, venue_id, status=typed.status, venue_typed=typed)
        for field, value in form.model_dump().items():
            setattr(venue, field, value)
        changed_at(session, venue_id)
    return _to(request, venue_id)


@router.post("/venues/{venue_id}/places")
def make_place(
    request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number, came: TheForm
) -> Response:  # fmt: skip
    """Add a place at the end."""
    form, typed = NewPlaceForm.read(came)
    with book.writing(visitor.crew) as session:
        venue = owned(session, tables.Venue, visitor.crew, venue_id)
        if form is not None and len(venue.places) >= PLACES_MOST:
            form, typed.errors["name"] = (
                None,
                say("This venue has {most} places already; that is all it can keep", most=PLACES_MOST),
            )
        if form is None:
            return _venue_page(request, session, visitor.crew, venue_id, status=422, place_typed=typed)
        position = max((place.position for place in venue.places), default=0) + 1
        place = tables.Place(venue_id=venue.id, name=form.name, light=form.light, position=position)
        session.add(place)
        session.flush()
        number = place.id
    return _to(request, venue_id, number)


@router.post("/venues/{venue_id}/places/{place_id}")
def change_place(
    request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number, place_id: Number, came: TheForm
) -> Response:  # fmt: skip
    """Change a place's own fields."""
    form, typed = PlaceForm.read(came)
    with book.writing(visitor.crew) as session:
        venue = owned(session, tables.Venue, visitor.crew, venue_id)
        place = _place(venue, place_id)
        if is_another(came, typed, _address(request, venue_id, place_id), place) or form is None:
            return _venue_page(
                request, session, visitor.crew, venue_id, status=typed.status, changed=place_id, changed_typed=typed
            )
        for field, value in form.figures().items():
            setattr(place, field, value)
        changed_at(session, venue_id)
    return _to(request, venue_id, place_id)


@router.post("/venues/{venue_id}/places/{place_id}/readings")
def log_reading(
    request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number, place_id: Number, came: TheForm
) -> Response:  # fmt: skip
    """Log a reading, taken just now or when the form says."""
    with book.writing(visitor.crew) as session:
        venue = owned(session, tables.Venue, visitor.crew, venue_id)
        known = _filter_stops(session, visitor.crew)

        def stops(form: ThroughGlass) -> float:
            return stops_of(form.glass, known)

        reading, typed = read_reading(came, venue.time_zone, datetime.now(UTC), stops)
        return _log(request, session, visitor, venue, place_id, reading, typed)


@router.post("/venues/{venue_id}/places/{place_id}/photo")
def log_photo(
    request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number, place_id: Number, came: ThePhoto
) -> Response:  # fmt: skip
    """Log the light that a photo was taken in."""
    fields, data = came
    with book.writing(visitor.crew) as session:
        venue = owned(session, tables.Venue, visitor.crew, venue_id)
        known = _filter_stops(session, visitor.crew)

        def stops(form: PhotoForm) -> float:
            return stops_of(form.glass, known)

        reading, typed = read_photo_reading(fields, data, venue.time_zone, datetime.now(UTC), stops)
        return _log(request, session, visitor, venue, place_id, reading, typed)


@router.post("/venues/{venue_id}/places/{place_id}/readings/{reading_id}/removal")
def remove_reading(
    request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number, place_id: Number, reading_id: Number
) -> Response:  # fmt: skip
    """Take a reading that was wrong out of the venue."""
    with book.writing(visitor.crew) as session:
        place = _place(owned(session, tables.Venue, visitor.crew, venue_id), place_id)
        reading = next((row for row in place.readings if row.id == reading_id), None)
        if reading is None:
            raise NotThere("readings")
        place.readings.remove(reading)
        changed_at(session, venue_id)
    return _to(request, venue_id, place_id)


def _log(
    request: Request,
    session: Session,
    visitor: Visitor,
    venue: tables.Venue,
    place_id: int,
    reading: Reading | None,
    typed: Typed,
) -> Response:
    place = _place(venue, place_id)
    if reading is None:
        return _place_again(request, session, visitor.crew, venue.id, place_id, typed)
    session.add(
        tables.Reading(
            place_id=place.id, taken_at=reading.taken_at or datetime.now(UTC), who=visitor.name, kind=reading.kind,
            raw=reading.raw, ev100=reading.ev100, sky=reading.sky, part=reading.part, logged_at=datetime.now(UTC),
        )
    )  # fmt: skip
    newest = max((row.taken_at for row in place.readings if row.part == reading.part), default=None)
    older = place.id if newest is not None and reading.taken_at is not None and reading.taken_at < newest else None
    changed_at(session, venue.id)
    session.flush()
    if wants_fragment(request):
        seen: dict[str, Any] = {"older": older, "kept": reading.ev100, "last_method": reading.kind}
        response = _place_fragment(request, session, visitor.crew, venue.id, place_id, **seen)
    else:
        response = _to(request, venue.id, place_id, "?older" if older else "")
    return with_method(request, response, reading.kind)


def _place_again(
    request: Request, session: Session, crew: int, venue_id: int, place_id: int, typed: Typed
) -> Response:  # fmt: skip
    if wants_fragment(request):
        return _place_fragment(request, session, crew, venue_id, place_id, status=422, reading_typed=typed)
    return _venue_page(request, session, crew, venue_id, status=422, read=place_id, reading_typed=typed)


def _venue_page(
    request: Request, session: Session, crew: int, venue_id: int, *, status: int = 200, **more: Any
) -> Response:
    return draw(request, "venue/page.html", status=status, **_venue_view(request, session, crew, venue_id, **more))


def _place_fragment(
    request: Request, session: Session, crew: int, venue_id: int, place_id: int, *, status: int = 200, **more: Any
) -> Response:  # fmt: skip
    view = _venue_view(request, session, crew, venue_id, read=place_id, **more)
    there = next(each for each in view["places"] if each.place.id == place_id)
    return draw(request, "venue/_place.html", status=status, **view, there=there)


def _venue_view(request: Request, session: Session, crew: int, venue_id: int, **more: Any) -> dict[str, Any]:
    """All that the venue page and its fragments may draw."""
    venue = owned(session, tables.Venue, crew, venue_id)
    places = places_of(session, venue)
    now = datetime.now(UTC)
    there = places_at(venue, places, now)
    readings = sorted((r for p in places for r in p.readings), key=lambda r: (r.taken_at, r.id), reverse=True)
    spotted = next((r for r in readings if "latitude" in r.raw), None) if venue.latitude is None else None
    return {
        "venue": venue,
        "places": there,
        "cautions": {each.place.id: place_cautions(each.spot, None, lasers=each.place.lasers) for each in there},
        "zones": ZONES,
        "methods": METHODS,
        "last_method": method_of(request, readings[0].kind if readings else None),
        "last_sky": last_noted([(r.taken_at, r.sky) for r in readings], now),
        "spotted": spotted,
        "kits": all_owned(session, tables.Kit, crew),
        "days": session.scalars(select(tables.Day).where(tables.Day.venue_id == venue.id)).unique().all(),
        "venue_typed": Typed(), "place_typed": Typed(), "reading_typed": Typed(), "changed_typed": Typed(),
        "read": None, "changed": None, "older": None, "kept": None, "older_said": False,
    } | more  # fmt: skip


def _filter_stops(session: Session, crew: int) -> dict[str, float]:
    kits = all_owned(session, tables.Kit, crew)
    return {str(row.id): filter_of(row).stops for kit in kits for row in kit.filters}


def _place(venue: tables.Venue, place_id: int) -> tables.Place:
    place = next((each for each in venue.places if each.id == place_id), None)
    if place is None:
        raise NotThere("places")
    return place


def _to(request: Request, venue_id: int, place_id: int | None = None, query: str = "") -> Response:
    return RedirectResponse(_address(request, venue_id, place_id, query), status_code=303)


def _address(request: Request, venue_id: int, place_id: int | None = None, query: str = "") -> str:
    path = f"{request.app.url_path_for('show_venue', venue_id=venue_id)}{query}"
    return f"{path}#place-{place_id}" if place_id else path
