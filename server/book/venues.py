"""A venue as its pages need it: every place with its readings and the light there at a moment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import select
from sqlalchemy.orm import selectinload

from server.exposure.trust import Level, Read, levels

from . import tables
from .days import site_of, spot_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from sqlalchemy.orm import Session

    from server.exposure.daylight import Spot
    from server.exposure.sun import Site

    from .log import Part, Reading


@dataclass(frozen=True, slots=True)
class PlaceNow:
    """
    A place at a moment.

    newest    the newest reading of each part that was read;  level  the light on the lit face, None where it was not
    contrast  how much brighter than the lit face each other part is [stops], both carried to the moment
    """

    place: tables.Place
    spot: Spot
    newest: Mapping[Part, tables.Reading]
    level: Level | None
    contrast: Mapping[Part, float]

    @property
    def face(self) -> tables.Reading | None:
        """The reading that the light is forecast from."""
        return self.newest.get("face")


def places_of(session: Session, venue: tables.Venue) -> Sequence[tables.Place]:
    """A venue's places in order, with all their readings, newest first."""
    return session.scalars(
        select(tables.Place)
        .where(tables.Place.venue_id == venue.id)
        .order_by(tables.Place.position, tables.Place.id)
        .options(selectinload(tables.Place.readings))
    ).all()


def places_at(venue: tables.Venue, places: Sequence[tables.Place], at: datetime) -> list[PlaceNow]:
    """Every place with its light at a moment; all of the venue's readings are carried there in one pass."""
    spots = [spot_of(place) for place in places]
    # They come newest first, so that the one which is put in last is the newest.
    newest = [{row.part: row for row in reversed(place.readings)} for place in places]
    asked = [(n, part, row) for n, parts in enumerate(newest) for part, row in parts.items()]
    found = levels(site_of(venue), [_read(spots[n], row) for n, _, row in asked], at)
    level: list[dict[Part, Level]] = [{} for _ in places]
    for (n, part, _), each in zip(asked, found, strict=True):
        level[n][part] = each
    return [
        PlaceNow(place, spots[n], newest[n], level[n].get("face"), _over_the_face(level[n]))
        for n, place in enumerate(places)
    ]


def contrast(
    site: Site | None, spot: Spot, face: Reading, others: Sequence[tuple[Part, Reading]], at: datetime
) -> dict[Part, float]:
    """How much brighter than the lit face each other part is [stops], all carried to one moment."""
    parts: dict[Part, Reading] = {"face": face, **dict(others)}
    found = levels(site, [_read(spot, reading) for reading in parts.values()], at)
    return _over_the_face(dict(zip(parts, found, strict=True)))


def _over_the_face(level: Mapping[Part, Level]) -> dict[Part, float]:
    face = level.get("face")
    if face is None:
        return {}
    return {part: each.light.ev100 - face.light.ev100 for part, each in level.items() if part != "face"}


def _read(spot: Spot, reading: tables.Reading | Reading) -> Read:
    return Read(spot, reading.ev100, reading.taken_at, reading.sky)
