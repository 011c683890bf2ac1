"""
The day as one file: every pair of its places with the answer between them, to be read where there is no signal.

It holds all that it needs, and needs no script: a phone opens it from its own storage, and any messenger carries it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from fastapi import Request, Response

from server.book.days import open_day
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.language import clock

from .day_view import Around, Asked, Row, answered, first_at_each_place, sun_at
from .drawing import attached, draw
from .numbers import Number as RowNumber

if TYPE_CHECKING:
    from server.book.days import Day
    from server.exposure.rig import Rig

router = door_router()


@dataclass(frozen=True, slots=True)
class From:
    """
    A place to stand at: the rig that the answer for it left on the camera, and every other place from there.

    at_stop  the name of the stop that it is next used for;  clock  when that comes
    is_here  whether the shooter stands there
    """

    row: Row
    rig: Rig
    rows: tuple[Row, ...]
    at_stop: str
    clock: str
    is_here: bool


@router.get("/days/{day_id}/pocket.html")
def save_pocket_file(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The day as a file."""
    now = datetime.now(UTC)
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    page = draw(request, "pocket/file.html", day=day, moment=day.moment(now), froms=froms_of(day, now))
    return attached(bytes(page.body), "text/html; charset=utf-8", f"{day.on}-day.html")


def froms_of(day: Day, now: datetime) -> tuple[From, ...]:
    """
    Every place that has a reading and a look that can be worn, to stand at, in the order in which the day uses them.

    Each in the light of the time when it is used next, as on the day page; with the lens that is on now.
    """
    coming = first_at_each_place(day.lit_stops(day.ahead(now), day.used.lens, now))
    stops = {each.place.number: each for each in coming if each.place is not None}
    asked = []
    for lit in day.lit(now):
        stop = stops.get(lit.place.number)
        place, level, moment = lit.place, lit.level, day.moment(now)
        if stop is not None and stop.place is not None:
            place, level, moment = stop.place, stop.level, stop.moment
        if day.here is not None and day.here.number == place.number:
            place, level, moment = day.here, lit.level, day.moment(now)
        asked.append(Asked(place, level, Around(day.mains, sun_at(day.site, moment))))
    order = {number: at for at, number in enumerate(stops)}
    asked.sort(key=lambda each: (day.here is None or each.place.number != day.here.number,
                                 order.get(each.place.number, len(order))))  # fmt: skip
    found = []
    for row in answered(day.used, day.rig, tuple(asked)):
        if row.clean is None:
            continue
        is_here = day.here is not None and row.place.number == day.here.number
        rig = day.rig if is_here else row.clean.rig
        others = tuple(each for each in asked if each.place.number != row.place.number)
        stop = stops.get(row.place.number)
        found.append(
            From(
                replace(row, fast=None), rig, answered(day.used, rig, others),
                "" if stop is None or is_here else stop.stop.name,
                "" if stop is None or is_here else clock(stop.stop.at), is_here,
            )
        )  # fmt: skip
    return tuple(found)
