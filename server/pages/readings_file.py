"""
The readings of a venue as a file for a spreadsheet (RFC 4180): the figures as they were typed, and what they gave.

A cell that a spreadsheet would run is guarded; figures are written by us, and are figures.
"""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC
from typing import TYPE_CHECKING

from fastapi import Response

from server.book import tables
from server.book.crews import owned
from server.book.venues import places_of
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure.light import Light

from .drawing import PART_WORDS, SKY_WORDS, attached, zone
from .forms import figure, text
from .numbers import Number
from .order_words import guarded
from .readings import METHODS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

router = door_router()

FIRST = ("place", "taken", "zone", "part", "sky", "method", "ev100", "lux", "who", "written")
# The figures as they came, by their names in the book: what was read, the camera's settings, the glass in front of it.
RAW = (
    "value", "iso", "aperture", "shutter", "bias", "meter", "filter_stops", "glass_stops", "clicks", "focal_mm",
    "latitude", "longitude",
)  # fmt: skip


@router.get("/venues/{venue_id}/readings.csv")
def write_readings(book: TheBook, visitor: TheVisitor, venue_id: Number) -> Response:
    """Every reading of the venue, place by place, the oldest first."""
    with book.reading() as session:
        venue = owned(session, tables.Venue, visitor.crew, venue_id)
        content = csv_of_readings(venue, places_of(session, venue))
        safe = re.sub(r"[^A-Za-z0-9]+", "-", venue.name).strip("-").lower() or "venue"
    return attached(content.encode(), "text/csv; charset=utf-8", f"{safe}-readings.csv")


def csv_of_readings(venue: tables.Venue, places: Sequence[tables.Place]) -> str:
    """
    A row a reading. taken, written: by the venue's clock with its offset, as ISO 8601 has it; lux of a flat receptor.

    written is when it was written down, where that was later than it was taken.
    """
    table = io.StringIO(newline="")
    writer = csv.writer(table, lineterminator="\r\n")
    writer.writerow((*FIRST, *RAW))
    for place in places:
        for row in reversed(place.readings):
            first = (
                place.name, _by_the_clock(row.taken_at, venue.time_zone), venue.time_zone, PART_WORDS[row.part],
                "" if row.sky is None else SKY_WORDS[row.sky], METHODS.get(row.kind, row.kind),
            )  # fmt: skip
            written = "" if row.logged_at is None else _by_the_clock(row.logged_at, venue.time_zone)
            writer.writerow(
                [
                    *map(_cell, first), figure(row.ev100), f"{Light(row.ev100).lux:.6g}", _cell(row.who), written,
                    *(_figure(row.raw.get(name)) for name in RAW),
                ]
            )  # fmt: skip
    return table.getvalue()


def _by_the_clock(at: datetime, time_zone: str) -> str:
    return at.astimezone(UTC).astimezone(zone(time_zone)).isoformat(timespec="seconds")


def _cell(words: str) -> str:
    return guarded(text(words))


def _figure(came: object) -> str:
    """A raw figure; what is none is a guarded word."""
    if isinstance(came, int | float) and not isinstance(came, bool):
        return figure(came)
    return "" if came is None else _cell(str(came))
