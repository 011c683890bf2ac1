"""
A sheet as a document: a venue and its day, written for another Lychgate, which makes a new venue of it, exactly.

The format is our own, and named in it. In it is what light and order need: the places with all that their drift depends
on, their readings with the figures as they were typed, the looks, and the running order as it comes now. Not in it is
what belongs to a crew: its people, its kit (with the lenses of the stops, and the glass that a look wears), its log.
"""

from __future__ import annotations

import zoneinfo
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import AwareDatetime, Field, model_validator

from server.exposure import daylight, flicker, sun
from server.exposure.days import STOPS_MOST
from server.exposure.light import Light
from server.exposure.refused import OutOfRange, within
from server.exposure.rig import Look
from server.exposure.scales import (
    F_NUMBER_SMALLEST,
    F_NUMBER_WIDEST,
    ISO_HIGHEST,
    ISO_LOWEST,
    SHUTTER_LONGEST,
    SHUTTER_SHORTEST,
)
from server.exposure.sun import Site
from server.language import say

from . import log, tables
from .days import Day, log_of, spot_of, start_rig, usual_look, venue_of
from .kit_document import ONE_LINE, Name, Part, check_line
from .kits import KitIncomplete
from .order import FIRST, LAST, LASTS_MOST, Stop, When, check_asked, comes, instant, moment_of, when_of
from .people import SOMEBODY
from .venues import places_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from sqlalchemy.orm import Session

PLACES_MOST = 200  # of a venue
READINGS_MOST = 100  # of a place: the newest
READINGS_IN_ALL = 1000  # so that the largest sheet is a file that may be sent
AHEAD = timedelta(days=1)  # clocks differ; beyond that a reading of tomorrow is a mistake
COARSE = 1  # decimals of a degree: a tenth is 11 km at most

Kind = Literal["ev", "lux", "luminance", "camera", "eye", "photo", "nudges"]
FIGURES: dict[str, tuple[float, float]] = {
    "value": (-30, 5e9), "iso": (ISO_LOWEST, ISO_HIGHEST), "aperture": (F_NUMBER_WIDEST, F_NUMBER_SMALLEST),
    "shutter": (SHUTTER_SHORTEST, SHUTTER_LONGEST), "meter": (-20, 20), "bias": (-20, 20),
    "filter_stops": (-100, 100), "glass_stops": (-100, 100), "focal_mm": (0, 10_000), "clicks": (-1000, 1000),
    "latitude": (-90, 90), "longitude": (-180, 180),
}  # fmt: skip
WHERE = ("latitude", "longitude")
Figure = Literal[
    "value", "iso", "aperture", "shutter", "meter", "bias", "filter_stops", "glass_stops", "focal_mm", "clicks",
    "latitude", "longitude",
]  # fmt: skip
NEEDED: dict[Kind, tuple[str, ...]] = {
    "ev": ("value",), "lux": ("value",), "luminance": ("value",),
    "camera": ("aperture", "shutter", "iso"), "eye": ("aperture", "shutter", "iso"),
    "photo": ("aperture", "shutter", "iso"), "nudges": (),
}  # fmt: skip


class ReadingPart(Part):
    """A light level."""

    kind: Kind = Field(description="How it was read; nudges: found from a day's corrections")
    raw: dict[Figure, float] = Field(description="The figures as they were typed or read, by the method's own names")
    ev100: float = Field(description="The level that they gave, EV at ISO 100")
    taken_at: AwareDatetime = Field(description="When it was taken, with an offset from UTC")
    logged_at: AwareDatetime | None = Field(None, description="When it was written down; null: when it was taken")
    sky: daylight.Sky | None = Field(None, description="As it stood; null: not noted")
    part: log.Part = Field("face", description="What was metered: the lit face, the bright or the dark of the place")


class PlacePart(Part):
    """A spot at the venue with its own light."""

    name: Name
    light: daylight.LightKind = Field(description="What lights it")
    lit_from: daylight.LitFrom = Field("side", description="For open sun: where it stands to what it lights")
    faces: float | None = Field(None, description="Bearing that a window looks to, degrees; null: not known")
    lamps: float = Field(0.0, description="Share that lamps gave at the readings, 0 to 1")
    sun_over: float = Field(0.0, description="How high the horizon stands where the sun comes up, degrees")
    sun_behind: float = Field(0.0, description="How high it stands where the sun goes, degrees")
    lasers: bool = Field(default=False, description="Whether stage lasers may be on")
    readings: list[ReadingPart] = Field(
        default=[], description="Oldest first; of more, the newest", max_length=READINGS_MOST
    )


class VenuePart(Part):
    """Where it is, and its places."""

    name: Name
    latitude: float | None = Field(None, description="Degrees, north positive; null: not known", ge=-90, le=90)
    longitude: float | None = Field(None, description="Degrees, east positive; null: not known", ge=-180, le=180)
    time_zone: str = Field(description="Name in the IANA time zone database", max_length=tables.NAME_LONGEST)
    mains: flicker.Mains | None = Field(None, description="Frequency of its lamps, Hz; null: not known")
    places: list[PlacePart] = Field(description="In their order", max_length=PLACES_MOST)

    @model_validator(mode="after")
    def not_too_many(self) -> Self:
        """A bound on the whole: every reading is a row."""
        if sum(len(place.readings) for place in self.places) > READINGS_IN_ALL:
            raise ValueError(say("at most {most} readings in all", most=READINGS_IN_ALL))
        return self


Where = Annotated[int, Field(ge=0, lt=PLACES_MOST)]


class LookPart(Part):
    """A place that the day uses, and the iris wanted there."""

    place: Where = Field(description="Which of the venue's places, counted from 0")
    wanted: float = Field(description="f-number as marked")
    widest: float = Field(description="f-number as marked: how far it may open")
    narrowest: float = Field(description="f-number as marked: how far it may close")
    shutter: float = Field(description="Exposure time, s")
    tolerance: float = Field(description="Error in the picture that nobody minds, stops")
    rush_tolerance: float = Field(description="Error that is rather mended afterwards than touched for, stops")
    long_end: bool = Field(default=False, description="Whether a zoom is at its long end")
    distance_m: float | None = Field(None, description="Distance of the subject, m; null: not said")


class StopPart(Part):
    """A stop of the running order, with what the day has shifted."""

    name: Name
    minutes: int = Field(description="Minutes after the day's midnight, by the venue's clock", ge=FIRST, lt=LAST)
    second: bool = Field(default=False, description="Of an hour that comes twice, the second")
    lasts: int | None = Field(None, description="How long, minutes; null: not known", ge=1, le=LASTS_MOST)
    place: Where | None = Field(None, description="Which of the venue's places, counted from 0; null: none of them")
    wanted: float | None = Field(None, description="f-number as marked, where it is not the place's look")
    widest: float | None = Field(None, description="f-number as marked, where it is not the place's look")
    narrowest: float | None = Field(None, description="f-number as marked, where it is not the place's look")
    notes: str = Field("", description=f"{ONE_LINE[0].upper()}{ONE_LINE[1:]}", max_length=tables.NOTES_LONGEST)


class DayPart(Part):
    """The day."""

    name: Name
    on: date = Field(description="Its date")
    seen_at: str = Field(
        "14:00", description="Hour that its light is shown for until it has come", pattern=r"^([01]\d|2[0-3]):[0-5]\d$"
    )
    steady: bool = Field(default=False, description="Whether only shutters that its lamps do not flicker with are used")
    looks: list[LookPart] = Field(default=[], description="The places that it uses, in order", max_length=PLACES_MOST)
    order: list[StopPart] = Field(default=[], description="The running order, by time", max_length=STOPS_MOST)


class SheetDocument(Part):
    """A venue and its day."""

    format: Literal["lychgate-sheet"] = Field(description="What says that it is such a file")
    version: Literal[1] = Field(description="Of the format")
    venue: VenuePart
    day: DayPart


SCHEMA = SheetDocument.model_json_schema() | {"$schema": "https://json-schema.org/draft/2020-12/schema"}


def coarse(site: Site | None) -> Site | None:
    """
    Where a venue lies, to a tenth of a degree: 11 km at most, which the light does not mind.

    >>> coarse(Site(51.4779, -0.0015))
    Site(latitude=51.5, longitude=0.0)
    """
    # Zero is added for what is left of a minus: -0.0 would say west.
    return None if site is None else Site(*(round(each, COARSE) + 0.0 for each in (site.latitude, site.longitude)))


# Written.


def document_of(session: Session, crew_id: int, day: Day, *, exact: bool) -> SheetDocument:
    """
    A crew's day as a document.

    exact  else the coordinates are coarse, and the photos' own are left out
    """
    venue = session.get_one(tables.Venue, venue_of(session, crew_id, day.id))
    row = session.get_one(tables.Day, day.id)
    site = day.site if exact else coarse(day.site)
    places = places_of(session, venue)
    numbers = {place.id: number for number, place in enumerate(places)}
    most = min(READINGS_MOST, READINGS_IN_ALL // max(1, len(places)))
    taken = _readings(session, crew_id, day, places)
    return SheetDocument(
        format="lychgate-sheet",
        version=1,
        venue=VenuePart(
            name=venue.name,
            latitude=None if site is None else site.latitude,
            longitude=None if site is None else site.longitude,
            time_zone=venue.time_zone,
            mains=None if venue.mains is None else flicker.mains_frequency(venue.mains),
            places=[
                PlacePart(
                    **{name: getattr(place, name) for name in PLACE_FIELDS},
                    readings=[_reading_part(each, exact=exact) for each in taken[place.id][-most:]],
                )
                for place in places
            ],
        ),
        day=DayPart(
            name=row.name,
            on=row.on,
            seen_at=row.seen_at,
            steady=row.steady,
            looks=[
                LookPart(place=numbers[each.place_id], **{name: getattr(each, name) for name in LOOK_FIELDS})
                for each in row.places
                if each.place_id in numbers
            ],
            order=[_stop_part(day, stop, numbers) for stop in day.order],
        ),
    )


PLACE_FIELDS = tuple(set(PlacePart.model_fields) - {"readings"})
LOOK_FIELDS = tuple(set(LookPart.model_fields) - {"place"})
ASKED = ("wanted", "widest", "narrowest")


def _readings(
    session: Session, crew_id: int, day: Day, places: Sequence[tables.Place]
) -> dict[int, list[tables.Reading]]:  # fmt: skip
    """Every reading of each place, oldest first: the venue's, and those of the day's log that are not among them."""
    events = log_of(session, crew_id, day.id).events
    found = {place.id: list(reversed(place.readings)) for place in places}
    kept = {row.raw.get("event") for rows in found.values() for row in rows}
    for event, reading in log.readings_taken(events):
        said = event.data
        if said["place"] in found and event.id not in kept:
            row = tables.Reading(
                taken_at=reading.taken_at, logged_at=reading.logged_at, kind=reading.kind, raw=said["raw"],
                ev100=reading.ev100, sky=reading.sky, part=said.get("part", "face"),
            )  # fmt: skip
            found[said["place"]].append(row)
    return {place: sorted(rows, key=lambda row: row.taken_at) for place, rows in found.items()}


def _reading_part(row: tables.Reading, *, exact: bool) -> ReadingPart:
    hidden = () if exact else WHERE
    return ReadingPart.model_validate({
        "kind": row.kind,
        "raw": {name: row.raw[name] for name in FIGURES if row.raw.get(name) is not None and name not in hidden},
        "ev100": row.ev100,
        "taken_at": instant(row.taken_at),
        "logged_at": None if row.logged_at is None else instant(row.logged_at),
        "sky": row.sky,
        "part": row.part,
    })  # fmt: skip


def _stop_part(day: Day, stop: Stop, numbers: dict[int, int]) -> StopPart:
    at = _when(day, stop.at)
    if not FIRST <= at.minutes < LAST:  # days of shifts have torn it out of its day
        at = _when(day, stop.planned)
    return StopPart(
        name=stop.name, minutes=at.minutes, second=at.second, lasts=stop.lasts,
        place=None if stop.place is None else numbers.get(stop.place),
        wanted=stop.wanted, widest=stop.widest, narrowest=stop.narrowest, notes=stop.notes,
    )  # fmt: skip


def _when(day: Day, moment: datetime) -> When:
    # By way of UTC: an hour that the clocks go over is shown as the one that comes.
    return when_of(day.on, instant(moment), day.time_zone)


# Read.


def check(document: SheetDocument, now: datetime) -> None:
    """Raises OutOfRange, with the path of the field, for what no venue or day can be."""
    venue, day = document.venue, document.day
    for path, line in _lines(document):
        check_line(path, line)
    if (venue.latitude is None) != (venue.longitude is None):
        raise OutOfRange("venue", say("one coordinate"), say("both coordinates, or neither"))
    if venue.time_zone not in zoneinfo.available_timezones():
        raise OutOfRange("venue.time_zone", venue.time_zone, say("a time zone that is known here"))
    for number, place in enumerate(venue.places):
        with _at(f"venue.places.{number}"):
            spot_of(place)
        for count, reading in enumerate(place.readings):
            with _at(f"venue.places.{number}.readings.{count}"):
                _check_reading(reading, now)
    sun.check_date("day.on", day.on)
    for number, look in enumerate(day.looks):
        with _at(f"day.looks.{number}"):
            _check_place(look.place, venue)
            _check_look(look)
    if len({look.place for look in day.looks}) < len(day.looks):
        raise OutOfRange("day.looks", say("one place twice"), say("each place once"))
    for number, stop in enumerate(day.order):
        with _at(f"day.order.{number}"):
            _check_place(stop.place, venue)
            check_asked(stop.wanted, stop.widest, stop.narrowest)
            if not comes(moment_of(day.on, When(stop.minutes, stop.second), venue.time_zone)):
                raise OutOfRange("minutes", stop.minutes, say("a time that comes; the clocks go over it that night"))


def _lines(document: SheetDocument) -> Iterator[tuple[str, str]]:
    """Every text that was typed, with its path."""
    venue, day = document.venue, document.day
    yield "venue.name", venue.name
    yield "day.name", day.name
    yield from ((f"venue.places.{number}.name", place.name) for number, place in enumerate(venue.places))
    for number, stop in enumerate(day.order):
        yield f"day.order.{number}.name", stop.name
        yield f"day.order.{number}.notes", stop.notes


class _at:  # noqa: N801 - reads as a word of the sentence
    """What is refused inside is named by this path."""

    def __init__(self, path: str) -> None:
        self.path = path

    def __enter__(self) -> None:
        """Begin."""

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        """Raises OutOfRange anew, with the path before its field."""
        if isinstance(error, OutOfRange):
            raise OutOfRange(f"{self.path}.{error.field.removeprefix('look.')}", error.came, error.allowed) from error


def _check_place(number: int | None, venue: VenuePart) -> None:
    if number is not None and number >= len(venue.places):
        raise OutOfRange("place", number, say("0 to {last}, as the venue has places", last=len(venue.places) - 1))


def _check_look(look: LookPart) -> None:
    Look(look.wanted, look.widest, look.narrowest, look.shutter, look.tolerance, look.rush_tolerance)
    if look.distance_m is not None:
        within("distance_m", look.distance_m, 0.05, 10_000, "m")


def _check_reading(reading: ReadingPart, now: datetime) -> None:
    Light(reading.ev100)
    for name, value in reading.raw.items():
        within(f"raw.{name}", value, *FIGURES[name])
    missing = [name for name in NEEDED[reading.kind] if name not in reading.raw]
    if missing or (WHERE[0] in reading.raw) != (WHERE[1] in reading.raw):
        raise OutOfRange(
            "raw", ", ".join(reading.raw), say("{what} too", what=", ".join(missing) or say("both coordinates"))
        )
    for field, moment in (("taken_at", reading.taken_at), ("logged_at", reading.logged_at)):
        if moment is not None and sun.instant(field, moment) > now + AHEAD:
            raise OutOfRange(field, moment.isoformat(), say("a time that has come"))


def venue_from(document: SheetDocument, crew_id: int) -> tables.Venue:
    """A new venue of a crew from a document that was checked."""
    said = document.venue
    return tables.Venue(
        crew_id=crew_id,
        **said.model_dump(exclude={"places"}),
        places=[
            tables.Place(
                position=number,
                **place.model_dump(exclude={"readings"}),
                readings=[
                    tables.Reading(who=SOMEBODY, **reading.model_dump())
                    # In the order of their numbers, which is what tells two readings of one moment apart.
                    for reading in sorted(place.readings, key=lambda reading: reading.taken_at)
                ],
            )
            for number, place in enumerate(said.places, 1)
        ],
    )


def day_from(document: SheetDocument, venue: tables.Venue, kit: tables.Kit) -> tables.Day:
    """
    The day of a document that was checked, at its new venue with one of the crew's kits.

    Raises KitIncomplete where that has no body or no lens.
    """
    body, lens = next(iter(kit.bodies), None), next(iter(kit.lenses), None)
    if body is None or lens is None:
        raise KitIncomplete(kit.name)
    said, places = document.day, venue.places
    return tables.Day(
        crew_id=venue.crew_id, venue=venue, kit=kit, name=said.name, on=said.on, seen_at=said.seen_at,
        steady=said.steady, body_id=body.id, lens_id=lens.id, holder_id=kit.holders[0].id if kit.holders else None,
        start=start_rig(body, usual_look(body, lens)),
        places=[
            tables.DayPlace(
                place=places[look.place], position=number, worn=[], **look.model_dump(exclude={"place"})
            )
            for number, look in enumerate(said.looks, 1)
        ],
        stops=[_stop_from(document, stop, places) for stop in said.order],
    )  # fmt: skip


def _stop_from(document: SheetDocument, stop: StopPart, places: Sequence[tables.Place]) -> tables.Stop:
    said = stop.model_dump(exclude={"place", "minutes", "second"})
    zone = document.venue.time_zone
    # As the clock says it: of a time that comes once there is no second.
    moment = instant(moment_of(document.day.on, When(stop.minutes, stop.second), zone)).astimezone(ZoneInfo(zone))
    at = when_of(document.day.on, moment, zone)
    return tables.Stop(
        place_id=None if stop.place is None else places[stop.place].id, minutes=at.minutes, second=at.second, **said
    )
