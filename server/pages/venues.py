"""The venue page: its places, and their readings."""

from __future__ import annotations

import zoneinfo
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator
from sqlalchemy import select
from sqlalchemy.orm import selectinload

from server.book import tables
from server.book.crews import NotThere, all_owned, owned
from server.book.days import changed_at
from server.book.kits import filter_of
from server.door.visitor import TheBook, TheVisitor
from server.exposure.refused import OutOfRange, within

from .drawing import KINDS_OF_LIGHT, draw, wants_fragment
from .forms import Form, MaybeNumber, Name, TheForm, Typed, text
from .numbers import Number
from .readings import METHODS, raw_figures, read_reading, stops_of

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

router = APIRouter()

PLACES_MOST = 200
KNOWN_ZONES = zoneinfo.available_timezones()
# Those by place are offered; the others ("Factory", "EST5EDT") are understood, and help nobody in a list.
ZONES = sorted(zone for zone in KNOWN_ZONES if zone == "UTC" or ("/" in zone and not zone.startswith("Etc/")))


def _zone(came: object) -> str:
    line = text(came)
    if line not in KNOWN_ZONES:
        message = "a time zone, such as Europe/London"
        raise ValueError(message)
    return line


def _kind_of_light(came: object) -> str:
    line = text(came)
    if line not in KINDS_OF_LIGHT:
        message = "one of " + ", ".join(KINDS_OF_LIGHT.values())
        raise ValueError(message)
    return line


class VenueForm(Form):
    """A venue's own fields."""

    name: Name
    latitude: MaybeNumber = None
    longitude: MaybeNumber = None
    time_zone: Annotated[str, BeforeValidator(_zone)]

    def check(self) -> None:
        """Hold the coordinates to the globe; one without the other says nothing."""
        if self.latitude is not None:
            within("latitude", self.latitude, -90, 90, "degrees")
        if self.longitude is not None:
            within("longitude", self.longitude, -180, 180, "degrees")
        if (self.latitude is None) != (self.longitude is None):
            missing = "latitude" if self.latitude is None else "longitude"
            raise OutOfRange(missing, "nothing", "both coordinates, or neither")


class PlaceForm(Form):
    """A place's own fields."""

    name: Name
    light: Annotated[str, BeforeValidator(_kind_of_light)]


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
    with book.writing() as session:
        venue = tables.Venue(crew_id=visitor.crew, **form.model_dump())
        session.add(venue)
        session.flush()
        number = venue.id
    return _to(request, number)


@router.get("/venues/{venue_id}")
def show_venue(request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number) -> Response:
    """The venue with its places and their readings."""
    with book.reading() as session:
        return _venue_page(request, session, visitor.crew, venue_id)


@router.post("/venues/{venue_id}")
def change_venue(
    request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number, came: TheForm
) -> Response:  # fmt: skip
    """Change a venue's own fields."""
    form, typed = VenueForm.read(came)
    with book.writing() as session:
        venue = owned(session, tables.Venue, visitor.crew, venue_id)
        if form is None:
            return _venue_page(request, session, visitor.crew, venue_id, status=422, venue_typed=typed)
        for field, value in form.model_dump().items():
            setattr(venue, field, value)
        changed_at(session, venue_id)
    return _to(request, venue_id)


@router.post("/venues/{venue_id}/places")
def make_place(
    request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number, came: TheForm
) -> Response:  # fmt: skip
    """Add a place at the end."""
    form, typed = PlaceForm.read(came)
    with book.writing() as session:
        venue = owned(session, tables.Venue, visitor.crew, venue_id)
        if form is not None and len(venue.places) >= PLACES_MOST:
            form, typed.errors["name"] = (
                None,
                f"This venue has {PLACES_MOST} places already; that is all it can keep",
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
    with book.writing() as session:
        place = _place(owned(session, tables.Venue, visitor.crew, venue_id), place_id)
        if form is None:
            return _venue_page(
                request, session, visitor.crew, venue_id, status=422, changed=place_id, changed_typed=typed
            )
        place.name, place.light = form.name, form.light
        changed_at(session, venue_id)
    return _to(request, venue_id, place_id)


@router.post("/venues/{venue_id}/places/{place_id}/readings")
def log_reading(
    request: Request, book: TheBook, visitor: TheVisitor, venue_id: Number, place_id: Number, came: TheForm
) -> Response:  # fmt: skip
    """Log a reading taken just now."""
    form, typed = read_reading(came)
    with book.writing() as session:
        place = _place(owned(session, tables.Venue, visitor.crew, venue_id), place_id)
        if form is not None:
            stops = stops_of(getattr(form, "glass", ()), _filter_stops(session, visitor.crew))
            try:
                ev100 = form.light(stops).ev100
            except OutOfRange as refused:
                typed.refuse(refused)
                form = None
        if form is None:
            return _place_again(request, session, visitor.crew, venue_id, place_id, typed)
        reading = tables.Reading(
            place_id=place.id, taken_at=datetime.now(UTC), who=visitor.name, kind=form.kind,
            raw=raw_figures(form, stops), ev100=ev100,
        )  # fmt: skip
        session.add(reading)
        changed_at(session, venue_id)
        session.flush()
        if wants_fragment(request):
            return _place_fragment(request, session, visitor.crew, venue_id, place_id)
    return _to(request, venue_id, place_id)


def _place_again(
    request: Request, session: Session, crew: int, venue_id: int, place_id: int, typed: Typed
) -> Response:  # fmt: skip
    if wants_fragment(request):
        return _place_fragment(request, session, crew, venue_id, place_id, status=422, reading_typed=typed)
    return _venue_page(request, session, crew, venue_id, status=422, read=place_id, reading_typed=typed)


def _venue_page(
    request: Request, session: Session, crew: int, venue_id: int, *, status: int = 200, **more: Any
) -> Response:
    return draw(request, "venue/page.html", status=status, **_venue_view(session, crew, venue_id, **more))


def _place_fragment(
    request: Request, session: Session, crew: int, venue_id: int, place_id: int, *, status: int = 200, **more: Any
) -> Response:  # fmt: skip
    view = _venue_view(session, crew, venue_id, read=place_id, **more)
    place = next(each for each in view["places"] if each.id == place_id)
    return draw(request, "venue/_place.html", status=status, **view, place=place)


def _venue_view(session: Session, crew: int, venue_id: int, **more: Any) -> dict[str, Any]:
    """All that the venue page and its fragments may draw."""
    venue = owned(session, tables.Venue, crew, venue_id)
    places = session.scalars(
        select(tables.Place)
        .where(tables.Place.venue_id == venue.id)
        .order_by(tables.Place.position, tables.Place.id)
        .options(selectinload(tables.Place.readings))
    ).all()
    last = max((r for p in places for r in p.readings), key=lambda r: (r.taken_at, r.id), default=None)
    return {
        "venue": venue,
        "places": places,
        "zones": ZONES,
        "methods": METHODS,
        "last_method": last.kind if last is not None and last.kind in METHODS else "ev",
        "kits": all_owned(session, tables.Kit, crew),
        "days": session.scalars(select(tables.Day).where(tables.Day.venue_id == venue.id)).unique().all(),
        "venue_typed": Typed(), "place_typed": Typed(), "reading_typed": Typed(), "changed_typed": Typed(),
        "read": None, "changed": None,
    } | more  # fmt: skip


def _filter_stops(session: Session, crew: int) -> dict[str, float]:
    kits = all_owned(session, tables.Kit, crew)
    return {str(row.id): filter_of(row).stops for kit in kits for row in kit.filters}


def _place(venue: tables.Venue, place_id: int) -> tables.Place:
    place = next((each for each in venue.places if each.id == place_id), None)
    if place is None:
        raise NotThere("places")
    return place


def _to(request: Request, venue_id: int, place_id: int | None = None) -> Response:
    path = request.app.url_path_for("show_venue", venue_id=venue_id)
    return RedirectResponse(f"{path}#place-{place_id}" if place_id else path, status_code=303)
