"""A shooting day: its places and looks, the kit that is used, its log, and the state the log gives."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select

from server.exposure.rig import Kit, Look, Rig, check_rig, nearest_rig

from . import tables
from .crews import NotThere, owned
from .kits import kit_of
from .log import Event, Kind, PlaceLight, Reading, State, fold, rig_data, rig_from

if TYPE_CHECKING:
    from sqlalchemy.orm import Session


class KitIncomplete(LookupError):
    """The day's kit has no body or no lens, so nothing can be worked out."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A place of the day: its number, name, kind of light, the look wanted there, and the light if it was read."""

    place: int
    name: str
    kind: str
    look: Look
    light: PlaceLight | None


@dataclass(frozen=True, slots=True)
class Day:
    """A day as its page needs it. moved_by_kit: the log's rig no longer fits the kit, and was cut down to it."""

    id: int
    name: str
    venue: str
    time_zone: str
    kit: Kit
    rig: Rig
    state: State
    stops: tuple[Stop, ...]
    moved_by_kit: bool

    @property
    def here(self) -> Stop | None:
        """The place where the shooter stands."""
        return next((stop for stop in self.stops if stop.place == self.state.here), None)


def open_day(session: Session, crew_id: int, day_id: int) -> Day:
    """The day with its state. Raises NotThere, or KitIncomplete where the kit lacks a body or a lens."""
    row = owned(session, tables.Day, crew_id, day_id)
    kit = day_kit(row)
    state = state_of(session, row)
    rig = nearest_rig(kit, state.rig)
    stops = tuple(
        Stop(each.place_id, each.place.name, each.place.light, look_of(each), state.lights.get(each.place_id))
        for each in row.places
    )
    venue = row.venue
    return Day(row.id, row.name, venue.name, venue.time_zone, kit, rig, state, stops, moved_by_kit=rig != state.rig)


def day_kit(row: tables.Day) -> Kit:
    """The kit of a day, with the body, lens and holder chosen for it."""
    kit = row.kit
    body = next((each for each in kit.bodies if each.id == row.body_id), None) or next(iter(kit.bodies), None)
    lens = next((each for each in kit.lenses if each.id == row.lens_id), None) or next(iter(kit.lenses), None)
    if body is None or lens is None:
        raise KitIncomplete(kit.name)
    return kit_of(kit, body, lens, next((each for each in kit.holders if each.id == row.holder_id), None))


def look_of(row: tables.DayPlace) -> Look:
    """The look wanted at a place of the day."""
    return Look(row.wanted, row.widest, row.narrowest, row.shutter, row.tolerance, row.rush_tolerance)


def state_of(session: Session, row: tables.Day) -> State:
    """The state folded from the day's log, over the venue's newest readings."""
    events = session.execute(
        select(
            tables.Event.id, tables.Event.kind, tables.Event.made_at, tables.Event.who, tables.Event.data
        ).where(tables.Event.day_id == row.id)
    )  # fmt: skip
    places = [each.place_id for each in row.places]
    return fold((Event(*each) for each in events), rig_from(row.start), newest_readings(session, places))


def newest_readings(session: Session, places: list[int]) -> dict[int, Reading]:
    """The newest reading of each of these places that has one."""
    reading = tables.Reading
    age = func.row_number().over(partition_by=reading.place_id, order_by=(reading.taken_at.desc(), reading.id.desc()))
    newest = select(reading, age.label("age")).where(reading.place_id.in_(places)).subquery()
    rows = session.execute(
        select(newest.c.place_id, newest.c.ev100, newest.c.taken_at, newest.c.kind, newest.c.who).where(
            newest.c.age == 1
        )
    )
    return {place: Reading(*rest) for place, *rest in rows}


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

    The session must be a writing one of this crew, after `owned` has let the day through.
    """
    event = tables.Event
    known = session.scalars(select(event.sequence).where(event.day_id == day_id, event.id == event_id)).first()
    if known is not None:
        return False
    now = datetime.now(UTC)
    session.add(
        event(day_id=day_id, id=event_id, kind=kind, made_at=made_at or now, received_at=now, who=who, data=data)
    )
    return True


def check_place(row: tables.Day, place: int) -> None:
    """Raise NotThere unless the place is one of the day's."""
    if all(each.place_id != place for each in row.places):
        raise NotThere("places")


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
