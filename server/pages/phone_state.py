"""What the day page hands the phone to go on from, where the server does not answer."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from server.book.log import rig_data
from server.book.order import instant
from server.language import manner

if TYPE_CHECKING:
    from server.book.days import Day

FORMAT = 1  # of the pocket and of this: counted up with every change that an older script would misread
MILLISECOND = timedelta(milliseconds=1)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def milliseconds(moment: datetime) -> int:
    """A moment as a browser counts: milliseconds since 1970."""
    return (instant(moment) - EPOCH) // MILLISECOND


def pocket_mark(day: Day, now: datetime) -> str:
    """A short word for all that a pocket is made of but the light and the log: another one where a new one is due."""
    places = [(place.number, place.name, place.spot, place.look, place.lasers, place.matched) for place in day.places]
    order = [(stop.number, stop.name, stop.place, stop.planned, stop.lens, stop.notes) for stop in day.order]
    looks = [(number, each.look) for number, each in day.at_stops.items()]
    seen = (day.used, day.name, day.on, day.seen_at, day.site, day.mains, day.sky(now), places, order, looks)
    made_of = (FORMAT, manner(), *seen)
    return hashlib.blake2s(repr(made_of).encode(), digest_size=6).hexdigest()


def state_of(day: Day, now: datetime) -> dict[str, Any]:
    """
    Where the shooter stands.

    made [ms]  when this was drawn;  at [ms]  the moment of the levels;  levels [EV]  by place, where one was read
    last     the event that undo takes back;  done  the stops that were gone to, in order;  shifts [min]  by stop
    """
    return {
        "made": milliseconds(now),
        "at": milliseconds(day.moment(now)),
        "here": None if day.here is None else day.here.number,
        "stop": None if day.at_stop is None else day.at_stop.number,
        "rig": rig_data(day.rig),
        "levels": {each.place.number: round(each.level.light.ev100, 3) for each in day.lit(now) if each.level},
        "last": "" if day.state.last is None else day.state.last.id,
        "done": list(day.state.done),
        "shifts": dict(day.state.shifts),
        "clip": day.state.clip,
    }
