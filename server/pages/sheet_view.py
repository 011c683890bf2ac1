"""
All that a sheet says, for the page, the print and the PDF alike: a venue and its day, for somebody without an account.

It is made of the sheet's document and of the whole day's plan for the first camera, and of nothing else of the crew's.
Where the coordinates are not to be told, all of it is worked out from the coarse ones: what was never put in cannot
leak.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING

from server.book.order import clock_words, instant
from server.book.plans import plan_of
from server.book.sheet_document import coarse, document_of
from server.exposure import sun, wording
from server.exposure.cautions import place_cautions
from server.exposure.daylight import Spot
from server.exposure.refused import OutOfRange
from server.exposure.scales import marked_shutter
from server.language import Worded, decimal, noted, say

from .axis import SUN_EVENTS
from .drawing import DOUBTS, KINDS_OF_LIGHT, PART_WORDS, SKY_WORDS, as_typed, when, zone
from .plan import packed_for

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.orm import Session

    from server.book.days import Day
    from server.book.plans import Plan, Planned
    from server.book.sheet_document import Kind, PlacePart, ReadingPart, SheetDocument

HOW: Worded[Kind] = Worded({
    "ev": noted("EV meter"), "lux": noted("lux meter"), "luminance": noted("spot meter"), "camera": noted("camera"),
    "eye": noted("looked right at"),
    "photo": noted("photo"), "nudges": noted("a day’s corrections"),
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class SheetStop:
    """
    A stop in words.

    until, light, span, doubt  empty where not known;  light  forecast for its time;  span  what the sky may make of it
    lens  where another one is put on for it;  glass, iris, iso, shutter  on the camera there, as planned
    why   why no rig is planned
    """

    clock: str
    until: str
    name: str
    place: str
    notes: str
    light: str
    span: str
    doubt: str
    lens: str
    glass: str
    iris: str
    iso: str
    shutter: str
    why: str

    @property
    def rig(self) -> str:
        """The dials, in the order of the hands."""
        return ", ".join(each for each in (self.iris, self.iso, self.shutter) if each)


@dataclass(frozen=True, slots=True)
class SheetPlace:
    """
    A place in words.

    lit  what lights it;  level, read  the newest reading of the lit face, and when, under which sky and how it was made
    others  what was read of its bright and dark parts;  cautions  what may hurt there
    """

    name: str
    lit: str
    level: str
    read: str
    others: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetView:
    """
    A whole sheet.

    clock     the time zone that its times are in;  suns  sunrise and sunset of the day, by the clock
    where     latitude and longitude [degrees], where they may be told
    packed    what the plan uses;  refused  why the day could not be planned
    """

    name: str
    venue: str
    on: date
    clock: str
    suns: tuple[str, ...]
    where: tuple[float, float] | None
    stops: tuple[SheetStop, ...]
    places: tuple[SheetPlace, ...]
    packed: tuple[str, ...]
    refused: str

    @property
    def at(self) -> str:
        """Where it is, with five decimals: a metre."""
        return "" if self.where is None else ", ".join(wording.minus(each, ".5f") for each in self.where)


def sheet_of(session: Session, crew_id: int, day: Day, now: datetime, *, exact: bool) -> SheetView:
    """A crew's day, as its first camera films it, as a sheet. exact: with the venue's coordinates."""
    document = document_of(session, crew_id, day, exact=exact)
    if not exact:
        day = replace(day, site=coarse(day.site))
    seen = datetime.combine(day.on, time(12), zone(day.time_zone))
    ahead = seen.isoformat()[-6:].replace("-", "−")
    try:
        plan, refused = plan_of(day, now, whole=True), ""
    except OutOfRange as too_large:
        plan, refused = None, say("{came}; it needs {allowed}", came=too_large.came, allowed=too_large.allowed)
    return SheetView(
        name=day.name,
        venue=day.venue,
        on=day.on,
        clock=f"{day.time_zone}, UTC{ahead}",
        suns=_suns(day),
        where=None if day.site is None or not exact else (day.site.latitude, day.site.longitude),
        stops=_stops(day, plan, document),
        places=tuple(_place(place, document, seen) for place in document.venue.places),
        packed=() if plan is None else tuple(name for name, _ in packed_for(day, plan)),
        refused=refused,
    )


def _stops(day: Day, plan: Plan | None, document: SheetDocument) -> tuple[SheetStop, ...]:
    """Every stop of the order, with its part of the plan where there is one."""
    planned = {} if plan is None else {each.lit.stop.number: each for each in plan.stops}
    lens = day.began_used.lens
    found = []
    for stop, said in zip(day.order, document.day.order, strict=True):
        each = planned.get(stop.number)
        place = "" if said.place is None else document.venue.places[said.place].name
        found.append(
            SheetStop(
                clock=clock_words(stop.at),
                until="" if stop.ends is None else clock_words(stop.ends),
                name=stop.name,
                place="" if place == stop.name else place,
                notes=stop.notes,
                **_light(each),
                **_rig(each, lens),
            )
        )
        lens = lens if each is None or each.move is None else each.lit.lens
    return tuple(found)


def _light(planned: Planned | None) -> dict[str, str]:
    level = None if planned is None else planned.lit.level
    if level is None:
        return {"light": "", "span": "", "doubt": ""}
    spans = level.high - level.low >= 0.05
    return {
        "light": wording.ev(level.light.ev100),
        "span": say(
            "{low} to {high}",
            low=decimal(wording.minus(level.low, ".1f")),
            high=decimal(wording.minus(level.high, ".1f")),
        )
        if spans
        else "",
        "doubt": DOUBTS[level.doubt] if level.trust == "stale" else "",
    }


def _rig(planned: Planned | None, lens: int) -> dict[str, str]:
    move = None if planned is None else planned.move
    if planned is None or move is None:
        nothing = dict.fromkeys(("lens", "glass", "iris", "iso", "shutter"), "")
        return nothing | {"why": "" if planned is None or planned.lit.stop.place is None else planned.why}
    return {
        "lens": "" if planned.lit.lens == lens else dict(planned.used.lenses)[planned.lit.lens],
        "glass": wording.on_the_lens(planned.used.kit, move.rig),
        "iris": wording.f_number(move.rig.aperture),
        "iso": wording.iso(move.rig.iso),
        "shutter": marked_shutter(move.rig.shutter),
        "why": "",
    }


def _place(place: PlacePart, document: SheetDocument, seen: datetime) -> SheetPlace:
    newest: dict[str, ReadingPart] = {reading.part: reading for reading in place.readings}  # the oldest comes first
    face = newest.get("face")
    spot = Spot(place.light, place.lit_from, place.faces, place.lamps, place.sun_over, place.sun_behind)
    return SheetPlace(
        name=place.name,
        lit=KINDS_OF_LIGHT[place.light],
        level="" if face is None else wording.ev(face.ev100),
        read="" if face is None else _read(face, document.venue.time_zone, seen),
        others=tuple(
            f"{PART_WORDS[part]} {wording.ev(newest[part].ev100)}"
            for part in PART_WORDS
            if part in newest and part != "face"
        ),
        cautions=place_cautions(spot, None, lasers=place.lasers, ahead=True),
    )


def _read(reading: ReadingPart, time_zone: str, seen: datetime) -> str:
    """When, under which sky and how: "20 Jun 11:05, sky clear, lux meter 6400 lx"."""
    sky = () if reading.sky is None else (say("sky {sky_words}", sky_words=SKY_WORDS[reading.sky]),)
    figures = {str(name): value for name, value in reading.raw.items()}
    how = f"{HOW[reading.kind]}{as_typed(reading.kind, figures)}"
    return ", ".join((when(reading.taken_at, time_zone, seen), *sky, how))


def _suns(day: Day) -> tuple[str, ...]:
    """When the sun comes and goes by the venue's clock, to the minute."""
    if day.site is None:
        return ()
    midnights = [datetime.combine(day.on + timedelta(days=each), time(), zone(day.time_zone)) for each in (0, 1)]
    found = sun.sun_day(day.site, *midnights)
    if found.never:
        return (say("the sun stays up all day") if found.never == "up" else say("the sun stays down all day"),)
    return tuple(
        f"{SUN_EVENTS[event.kind]} {clock_words(event.at.astimezone(zone(day.time_zone)))}"
        for event in sorted(found.events, key=lambda event: instant(event.at))
        if event.kind in ("sunrise", "sunset")
    )
