"""
The camera report: a day's log read back line by line, with what was known at each moment; and what the day teaches.

The venue's readings are laid among the day's events at the time they became known, so that no line knows what was only
read later. Those that the day itself taught are left out: the day has them already.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from server.exposure.rig import nearest_rig
from server.exposure.trust import levels_then

from . import tables
from .days import log_of, read_of, under_sky
from .log import Event, retold

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from sqlalchemy.orm import Session

    from server.exposure.daylight import Sky
    from server.exposure.rig import Rig
    from server.exposure.sun import Site
    from server.exposure.trust import Level

    from .days import Day, DayPlace
    from .kits import Carried
    from .log import Kind, PlaceLight, State
    from .order import Stop

REPORTED: frozenset[Kind] = frozenset({"moved", "rig_corrected", "lens_changed", "clip_noted"})
OFF_LEAST = 0.3  # stops; less is a third at most, which no meter tells from none
NUDGED = "nudges"  # the kind of a venue's reading that a day's nudges taught


@dataclass(frozen=True, slots=True)
class Line:
    """
    What was on the camera from a moment on, and where.

    event  its id;  kind  what the shooter did;  stop  of the running order, where the shooter was for it
    camera  the number of the camera, None for the day's first;  camera_name  who is behind it, empty for the first
    called  the stop's name, also of one that is not in the order any more
    used   the body and lens, with the rest of the kit in use;  lens  its name, empty where the kit has it no more
    level  the light there as it was known then
    """

    event: str
    at: datetime
    kind: Kind
    who: str
    camera: int | None
    camera_name: str
    place: DayPlace | None
    stop: Stop | None
    called: str
    used: Carried
    lens: str
    rig: Rig
    level: Level | None
    clip: str
    notes: str


@dataclass(frozen=True, slots=True)
class Lesson:
    """
    Where the forecast of a place was off.

    event            the reading, or the last of the nudges, that says so
    forecast, found  [stops]  at that moment: without any nudge, and as it was
    kind, raw, sky   as a reading of the venue would have them;  kept  whether it is one already
    """

    event: str
    at: datetime
    place: DayPlace
    forecast: float
    found: float
    kind: str
    raw: Mapping[str, Any]
    sky: Sky | None
    kept: bool

    @property
    def key(self) -> str:
        """What it is called in a form: one event may teach of several places."""
        return f"{self.event}:{self.place.number}"

    @property
    def off(self) -> float:
        """How much brighter it was than forecast [stops]."""
        return self.found - self.forecast


@dataclass(frozen=True, slots=True)
class Report:
    """A day read back: its lines in the order of time, and what it teaches, in the same order."""

    lines: tuple[Line, ...]
    lessons: tuple[Lesson, ...]


@dataclass(frozen=True, slots=True)
class _Light:
    """A place's light as it was known at a moment, to be worked out."""

    place: DayPlace
    known: PlaceLight
    at: datetime
    sky: Sky | None


def report_of(session: Session, crew_id: int, day: Day) -> Report:
    """The report of a day that `open_day` has let through."""
    log = log_of(session, crew_id, day.id)
    rows = _rows(session, day)
    ours = {event.id for event in log.events}
    venue = [_as_event(row) for row in rows if row.raw.get("event") not in ours]
    told = list(retold([*log.events, *venue], log.starts, under_sky(day.site, day.places)))
    places = {place.number: place for place in day.places}
    reported = [(event, state) for event, _, state in told if event.kind in REPORTED]
    there = [_there(day, places, state, event) for event, state in reported]
    taught = _taught(day, told, places)
    levels = _levels(day.site, [*there, *(light for _, light in taught)])
    stops = {stop.number: stop for stop in day.order}
    names = {event.data["stop"]: event.data.get("stop_name", "") for event, _ in reported if "stop" in event.data}
    names |= {number: stop.name for number, stop in stops.items()}
    in_use = {on: log.used(*on) for on in {(event.camera, state.lens) for event, state in reported}}
    lines = []
    for (event, state), level in zip(reported, levels[: len(there)], strict=True):
        used = in_use[event.camera, state.lens]
        gone = state.lens is not None and used.lens != state.lens
        lines.append(
            Line(
                event.id, event.made_at, event.kind, event.who, event.camera, log.names[event.camera],
                places.get(state.here or 0),
                stops.get(state.at_stop or 0), names.get(state.at_stop or 0, ""),
                used, "" if gone else dict(used.lenses)[used.lens], nearest_rig(used.kit, state.rig), level,
                event.data["name"] if event.kind == "clip_noted" else "", event.data.get("notes", ""),
            )
        )  # fmt: skip
    kept = frozenset((str(row.raw["event"]), row.place_id) for row in rows if "event" in row.raw)
    lessons = [
        _lesson(event, light, level, kept)
        for (event, light), level in zip(taught, levels[len(there) :], strict=True)
        if level is not None
    ]
    return Report(tuple(lines), tuple(each for each in lessons if abs(each.off) >= OFF_LEAST))


def _there(day: Day, places: Mapping[int, DayPlace], state: State, event: Event) -> _Light | None:
    """The light where the shooter stood when something happened; None where nobody had read it."""
    place = places.get(state.here or 0)
    known = state.lights.get(state.here or 0)
    return None if place is None or known is None else _Light(place, known, event.made_at, _sky(day, state))


def _sky(day: Day, state: State) -> Sky | None:
    """The sky as it had been said on the day itself."""
    return state.sky if state.sky_at is not None and day.has_come(state.sky_at) else None


def _taught(
    day: Day, told: Sequence[tuple[Event, State, State]], places: Mapping[int, DayPlace]
) -> list[tuple[Event, _Light]]:
    """
    What was found at a place, and the light that had been forecast there: every reading of the day after another one,
    and at each place the nudges that nothing has taken back since.
    """
    found: list[tuple[Event, _Light]] = []
    nudged: dict[int, tuple[Event, PlaceLight, State]] = {}
    for event, before, after in told:
        if event.kind == "reading_taken" and not event.id.startswith(OF_VENUE):
            place, known = places.get(event.data["place"]), before.lights.get(event.data["place"])
            read = after.lights.get(event.data["place"])
            if place is not None and known is not None and read is not None and known.reading != read.reading:
                found.append((event, _Light(place, known, read.reading.taken_at, _sky(day, before))))
        for number, light in after.lights.items():
            if not light.nudge:
                nudged.pop(number, None)
            elif number not in nudged or nudged[number][1].nudge != light.nudge:
                nudged[number] = event, light, after
    found += [
        (event, _Light(places[number], light, event.made_at, _sky(day, state)))
        for number, (event, light, state) in nudged.items()
        if number in places
    ]
    return sorted(found, key=lambda each: (each[1].at, each[0].id))


def _levels(site: Site | None, lights: Sequence[_Light | None]) -> list[Level | None]:
    """All of these, in one pass for each sky that was said."""
    found: dict[int, Level] = {}
    for sky in {light.sky for light in lights if light is not None}:
        mine = [(number, light) for number, light in enumerate(lights) if light is not None and light.sky == sky]
        reads = [read_of(light.place.spot, light.known) for _, light in mine]
        levels = levels_then(site, reads, [light.at for _, light in mine], sky)
        found |= zip((number for number, _ in mine), levels, strict=True)
    return [found.get(number) for number in range(len(lights))]


def _lesson(event: Event, light: _Light, level: Level, kept: frozenset[tuple[str, int]]) -> Lesson:
    """What an event says against the forecast, as the reading that a venue would have of it."""
    # What was read is compared with what had been forecast before any nudge; a nudge is the shooter's, not the sky's.
    forecast = light.known.reading.ev100 + level.drift
    if event.kind == "reading_taken":
        found, kind, raw = event.data["ev100"], event.data["kind"], event.data["raw"]
        sky = event.data.get("sky")
    else:
        found, kind, raw = level.light.ev100, NUDGED, {"clicks": light.known.nudge}
        sky = light.sky or light.known.reading.sky
    is_kept = (event.id, light.place.number) in kept
    return Lesson(event.id, light.at, light.place, forecast, found, kind, {**raw, "event": event.id}, sky, is_kept)


def keep_lesson(session: Session, lesson: Lesson, who: str, now: datetime) -> None:
    """Make a lesson one of the venue's readings; nothing where it is one already."""
    if lesson.kept:
        return
    session.add(
        tables.Reading(
            place_id=lesson.place.number, taken_at=lesson.at, logged_at=now, who=who, kind=lesson.kind,
            raw=dict(lesson.raw), ev100=lesson.found, sky=lesson.sky,
        )
    )  # fmt: skip


OF_VENUE = "venue:"  # how the ids begin that the venue's readings have among the events


def _as_event(row: tables.Reading) -> Event:
    """A reading of the venue, as an event of the time when it became known."""
    data = {
        "place": row.place_id, "kind": row.kind, "ev100": row.ev100, "part": row.part,
        "taken_at": row.taken_at.isoformat(),
    }  # fmt: skip
    data |= {} if row.sky is None else {"sky": row.sky}
    return Event(f"{OF_VENUE}{row.id}", "reading_taken", row.logged_at or row.taken_at, row.who, data)


def _rows(session: Session, day: Day) -> Sequence[tables.Reading]:
    """The readings of the venue at the day's places; those that the day itself taught, too."""
    numbers = [place.number for place in day.places]
    return session.scalars(select(tables.Reading).where(tables.Reading.place_id.in_(numbers))).all()
