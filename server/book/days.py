"""A shooting day: its places and looks, the kit that is used, its log, and the state the log gives."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from threading import Lock
from typing import TYPE_CHECKING, Any

from cachetools import LRUCache, cached
from sqlalchemy import Row, Select, bindparam, func, select, update

from server.exposure.moves import best_pictures, cannot_wear
from server.exposure.rig import Kit, Look, Rig, check_rig, nearest_rig

from . import tables
from .crews import NotThere
from .kits import Carried, carried
from .log import Event, Kind, PlaceLight, Reading, State, fold, rig_data, rig_from

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

DAYS_KNOWN = 500  # days that are remembered; a stamp is new with every change, so what was read for it stays true


@dataclass(frozen=True, slots=True)
class Stop:
    """A place of the day: its number, name, kind of light, the look wanted there, and the light if it was read."""

    place: int
    name: str
    kind: str
    look: Look
    light: PlaceLight | None
    distance_m: float | None = None


@dataclass(frozen=True, slots=True)
class Day:
    """
    A day as its page needs it.

    moved_by_kit: the log's rig no longer fits the kit, and was cut down to it; or the body or lens chosen for the day
    has left the kit, and another one stands in for it.
    """

    id: int
    name: str
    venue: str
    time_zone: str
    used: Carried
    rig: Rig
    state: State
    stops: tuple[Stop, ...]
    moved_by_kit: bool

    @property
    def kit(self) -> Kit:
        """The kit as the engine knows it."""
        return self.used.kit

    @property
    def here(self) -> Stop | None:
        """The place where the shooter stands."""
        return next((stop for stop in self.stops if stop.place == self.state.here), None)

    def stop(self, place: int) -> Stop:
        """The stop at a place, by its number. Raises NotThere where the place is none of the day's."""
        for stop in self.stops:
            if stop.place == place:
                return stop
        raise NotThere("places")


def open_day(session: Session, crew_id: int, day_id: int) -> Day:
    """The day with its state. Raises NotThere, or KitIncomplete where the kit lacks a body or a lens."""
    return _read_day(session, day_id, _row(session, crew_id, day_id))


def _row(session: Session, crew_id: int, day_id: int) -> Row[Any]:
    """The crew's own day as `_DAY` has it. Raises NotThere for any other, another crew's included."""
    row = session.execute(_DAY, {"day": day_id, "crew": crew_id}).first()
    if row is None:
        raise NotThere("days")
    return row


def changed(session: Session, day_id: int) -> None:
    """Say that a day is not what it was. Every change of a day or its log calls this."""
    session.execute(update(tables.Day).where(tables.Day.id == day_id).values(stamp=tables.new_stamp()))


def changed_at(session: Session, venue_id: int) -> None:
    """Say that the days at a venue are not what they were. Every change of a venue, place or reading calls this."""
    for day_id in session.scalars(select(tables.Day.id).where(tables.Day.venue_id == venue_id)):
        changed(session, day_id)


@cached(LRUCache(DAYS_KNOWN), key=lambda _session, _day_id, row: (row.stamp, row.kit_stamp), lock=Lock())
def _read_day(session: Session, day_id: int, row: Row[Any]) -> Day:
    events = [Event(*each) for each in session.execute(_LOG, {"day": day_id})]
    newest = session.execute(_NEWEST_READINGS, {"day": day_id})
    readings = {each.place_id: Reading(each.ev100, each.taken_at, each.kind, each.who) for each in newest}
    state = fold(events, rig_from(row.start), readings)
    used = carried(session, row.kit_stamp, row.kit_id, (row.body_id, state.lens or row.lens_id, row.holder_id))
    rig = nearest_rig(used.kit, state.rig)
    stops = tuple(
        Stop(each.place_id, each.name, each.light, _look(each), state.lights.get(each.place_id), each.distance_m)
        for each in session.execute(_PLACES, {"day": day_id})
    )
    moved_by_kit = rig != state.rig or used.stood_in
    return Day(day_id, row.name, row.venue, row.time_zone, used, rig, state, stops, moved_by_kit)


def shortfalls(day: Day) -> tuple[tuple[str, float], ...]:
    """
    The places that even the whole kit misses, by how many stops; 0 for one whose look cannot be worn.

    Raises OutOfRange for a kit that is too large to work out (`moves.RIGS_MOST`).
    """
    lit = [stop for stop in day.stops if stop.light is not None]
    stuck = [stop for stop in lit if cannot_wear(day.kit, stop.look.worn)]
    asked = [(stop.light.light, stop.look) for stop in lit if stop not in stuck and stop.light is not None]
    misses = iter(found.parts[0] for found in best_pictures(day.kit, asked))
    clicks = day.kit.body.clicks_per_stop
    short = [(stop.name, 0.0 if stop in stuck else next(misses) / clicks, stop in stuck) for stop in lit]
    return tuple((name, stops) for name, stops, is_stuck in short if is_stuck or stops > 0)


def with_lens(session: Session, crew_id: int, day_id: int, lens: int) -> Carried:
    """What would be in use with another lens of the day's kit. Raises NotThere for one that the kit has not."""
    row = _row(session, crew_id, day_id)
    used = carried(session, row.kit_stamp, row.kit_id, (row.body_id, lens, row.holder_id))
    if used.lens != lens:
        raise NotThere("lenses")
    return used


def _look(row: Any) -> Look:
    return Look(
        wanted=row.wanted,
        widest=row.widest,
        narrowest=row.narrowest,
        shutter=row.shutter,
        tolerance=row.tolerance,
        rush_tolerance=row.rush_tolerance,
        worn=frozenset(str(number) for number in row.worn),
        long_end=row.long_end,
    )


# The questions that every tap asks, put together once: putting them together takes longer than answering them.
_DAY = (
    select(
        tables.Day.name,
        tables.Day.start,
        tables.Day.body_id,
        tables.Day.lens_id,
        tables.Day.holder_id,
        tables.Kit.id.label("kit_id"),
        tables.Kit.stamp.label("kit_stamp"),
        tables.Day.stamp,
        tables.Venue.name.label("venue"),
        tables.Venue.time_zone,
    )
    .join(tables.Kit, tables.Kit.id == tables.Day.kit_id)
    .join(tables.Venue, tables.Venue.id == tables.Day.venue_id)
    .where(tables.Day.id == bindparam("day"), tables.Day.crew_id == bindparam("crew"))
)
_PLACES = (
    select(
        tables.DayPlace.place_id,
        tables.Place.name,
        tables.Place.light,
        tables.DayPlace.wanted,
        tables.DayPlace.widest,
        tables.DayPlace.narrowest,
        tables.DayPlace.shutter,
        tables.DayPlace.tolerance,
        tables.DayPlace.rush_tolerance,
        tables.DayPlace.long_end,
        tables.DayPlace.worn,
        tables.DayPlace.distance_m,
    )
    .join(tables.Place, tables.Place.id == tables.DayPlace.place_id)
    .where(tables.DayPlace.day_id == bindparam("day"))
    .order_by(tables.DayPlace.position, tables.DayPlace.id)
)
_LOG = select(
    tables.Event.id, tables.Event.kind, tables.Event.made_at, tables.Event.who, tables.Event.data
).where(tables.Event.day_id == bindparam("day"))  # fmt: skip


def _newest_readings() -> Select[tuple[int, float, datetime, str, str]]:
    """The newest reading of each of a day's places that has one."""
    reading, each = tables.Reading, tables.DayPlace
    age = func.row_number().over(partition_by=reading.place_id, order_by=(reading.taken_at.desc(), reading.id.desc()))
    aged = (
        select(reading.place_id, reading.ev100, reading.taken_at, reading.kind, reading.who, age.label("age"))
        .join(each, each.place_id == reading.place_id)
        .where(each.day_id == bindparam("day"))
        .subquery()
    )
    found = aged.c
    return select(found.place_id, found.ev100, found.taken_at, found.kind, found.who).where(found.age == 1)


_NEWEST_READINGS = _newest_readings()


def append(
    session: Session,
    day_id: int,
    event_id: str,
    kind: Kind,
    data: dict[str, Any],
    who: str,
    made_at: datetime | None = None,
) -> bool:
    """
    Add one event to the day's log. False, and nothing changed, where the log has an event with this id already.

    The session must be a writing one of this crew, after `open_day` has let the day through.
    """
    event = tables.Event
    known = session.scalars(select(event.sequence).where(event.day_id == day_id, event.id == event_id)).first()
    if known is not None:
        return False
    now = datetime.now(UTC)
    session.add(
        event(day_id=day_id, id=event_id, kind=kind, made_at=made_at or now, received_at=now, who=who, data=data)
    )
    changed(session, day_id)
    return True


def start_rig(body: tables.Body, look: Look) -> dict[str, Any]:
    """What a day starts with until the shooter says otherwise: no glass, the look's iris, the lowest base ISO."""
    bare = Rig(
        holder_on=False,
        slots=(),
        threads=(),
        built_in=body.built_in_nd[0],
        aperture=look.wanted,
        shutter=look.shutter,
        iso=min(body.iso_base),
    )
    return rig_data(bare)


def checked_rig(kit: Kit, rig: Rig) -> dict[str, Any]:
    """A rig that this kit allows, in its JSON form; OutOfRange where it does not."""
    check_rig(kit, rig)
    return rig_data(rig)
