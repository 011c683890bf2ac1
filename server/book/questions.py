"""The questions about a day that every tap asks, put together once: that takes longer than answering them."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Select, and_, bindparam, func, select

from . import tables
from .watching import STAMPS

DAY = (
    select(
        tables.Day.name,
        tables.Day.start,
        tables.Day.body_id,
        tables.Day.lens_id,
        tables.Day.holder_id,
        tables.Kit.id.label("kit_id"),
        tables.Kit.stamp.label("kit_stamp"),
        STAMPS,
        tables.Camera.id.label("camera"),
        tables.Venue.name.label("venue"),
        tables.Venue.id.label("venue_id"),
        tables.Venue.time_zone,
        tables.Venue.latitude,
        tables.Venue.longitude,
        tables.Venue.mains,
        tables.Day.on,
        tables.Day.seen_at,
        tables.Day.steady,
    )
    .join(tables.Kit, tables.Kit.id == tables.Day.kit_id)
    .join(tables.Venue, tables.Venue.id == tables.Day.venue_id)
    .outerjoin(
        tables.Camera, and_(tables.Camera.day_id == tables.Day.id, tables.Camera.person_id == bindparam("person"))
    )
    .where(tables.Day.id == bindparam("day"), tables.Day.crew_id == bindparam("crew"))
)
CAMERAS = (
    select(
        tables.Camera.id, tables.Camera.name, tables.Camera.matches, tables.Camera.kit_id, tables.Camera.body_id,
        tables.Camera.lens_id, tables.Camera.holder_id, tables.Camera.start, tables.Kit.stamp.label("kit_stamp"),
    )
    .join(tables.Kit, tables.Kit.id == tables.Camera.kit_id)
    .where(tables.Camera.day_id == bindparam("day"))
    .order_by(tables.Camera.id)
)  # fmt: skip
PLACES = (
    select(
        tables.DayPlace.place_id,
        tables.Place.name,
        tables.Place.light,
        tables.Place.lit_from,
        tables.Place.faces,
        tables.Place.lamps,
        tables.Place.sun_over,
        tables.Place.sun_behind,
        tables.Place.lasers,
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
STOPS = (
    select(
        tables.Stop.id, tables.Stop.uid, tables.Stop.name, tables.Stop.minutes, tables.Stop.second, tables.Stop.lasts,
        tables.Stop.place_id, tables.Stop.wanted, tables.Stop.widest, tables.Stop.narrowest, tables.Stop.lens_id,
        tables.Stop.notes,
    )
    .where(tables.Stop.day_id == bindparam("day"))
    .order_by(tables.Stop.id)
)  # fmt: skip
LOG = select(
    tables.Event.id, tables.Event.kind, tables.Event.made_at, tables.Event.who, tables.Event.data, tables.Event.camera
).where(tables.Event.day_id == bindparam("day"))  # fmt: skip


def _newest_readings() -> Select[Any]:
    """The newest reading of each part of each of a day's places that has one."""
    reading, each = tables.Reading, tables.DayPlace
    newest_first = (reading.taken_at.desc(), reading.id.desc())
    age = func.row_number().over(partition_by=(reading.place_id, reading.part), order_by=newest_first)
    aged = (
        select(*(getattr(reading, name) for name in _READ), age.label("age"))
        .join(each, each.place_id == reading.place_id)
        .where(each.day_id == bindparam("day"))
        .subquery()
    )
    return select(*(aged.c[name] for name in _READ)).where(aged.c.age == 1)


_READ = ("place_id", "part", "ev100", "taken_at", "kind", "who", "sky", "logged_at")
NEWEST_READINGS = _newest_readings()
