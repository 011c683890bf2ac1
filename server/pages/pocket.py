"""
The pocket: the document that a phone answers from while the server does not.

What it says is worked out here, with the one engine; the script that reads it (`static/pocket.js`) picks a row, adds
stops and says how two rigs differ.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from threading import Lock
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from cachetools import LRUCache
from fastapi import Response
from fastapi.responses import JSONResponse

from server.book.days import open_day
from server.book.order import NIGHT, instant
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import light, wording
from server.exposure.cautions import Sight, cautions, flicker_caution, place_cautions
from server.exposure.glass import MARKED_DENSITY_PER_CLICK, STOPS_PER_DENSITY
from server.exposure.moves import WORTH_SAVING, cannot_wear
from server.exposure.pockets import TENTHS, Pocket, Span, pocket
from server.exposure.scales import STEPLESS, aperture_position, iso_position, marked_f_number, marked_shutter

from .day_view import sun_at
from .drawing import KINDS_OF_LIGHT, trusted
from .numbers import Number as RowNumber
from .phone_state import EPOCH, FORMAT, MILLISECOND, milliseconds, pocket_mark

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from server.book.days import Day, Lit, LitStop
    from server.exposure.glass import Filter
    from server.exposure.rig import Kit, Look, Rig

router = door_router()

STEP = timedelta(minutes=15)  # of a course: light seldom bends within it
STEPS_MOST = 150
BEFORE, AFTER = timedelta(hours=2), timedelta(hours=4)  # of the running order, that the light is known for
AROUND = 4 * TENTHS  # what a place may turn out brighter or darker than its forecast
DIMMEST, BRIGHTEST = -2 * TENTHS, 18 * TENTHS
WIDE = Sight(14, 43.27)  # any lens that the cautions about wide ones hold for

_known: LRUCache[Any, Pocket] = LRUCache(32)
_lock = Lock()


@router.get("/days/{day_id}/pocket.json")
def show_pocket(book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The day's pocket."""
    now = datetime.now(UTC)
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    return JSONResponse(pocket_of(day, now), headers={"cache-control": "no-store"})


def pocket_of(day: Day, now: datetime) -> dict[str, Any]:
    """The whole document."""
    kit, zone = day.kit, ZoneInfo(day.time_zone)
    midnight = datetime.combine(day.on, time(), zone)
    ends = instant(midnight) + timedelta(days=1, minutes=NIGHT)
    moment = day.moment(now)
    sun = sun_at(day.site, moment)
    times = _times(day, now)
    courses = _levels(day, times, now)
    stops = day.lit_stops(day.order, day.used.lens, now)
    looks = list(dict.fromkeys([place.look for place in day.places] + [s.place.look for s in stops if s.place]))
    worn = {look: cannot_wear(kit, look.worn) for look in looks}
    spans = _spans(day, stops, courses, [look for look in looks if not worn[look]])
    numbers = {span.look: number for number, span in enumerate(spans)}
    likely = _likely(day, stops, numbers, now)
    its = _tables(kit, day.rig, spans, likely)
    return {
        "format": FORMAT,
        "mark": pocket_mark(day, now),
        "name": day.name,
        "venue": day.venue,
        "zone": day.time_zone,
        "opens": milliseconds(midnight),
        "ends": milliseconds(ends),
        "moment": milliseconds(moment) if not day.has_come(now) else None,
        **kit_document(kit, its.rigs, day.mains),
        "tables": {
            number: [[[each for run in runs for each in run] for runs in pair] for pair in table]
            for number, table in its.tables.items()
        },
        "looks": [_look(look, numbers.get(look), worn[look], kit) for look in looks],
        "times": [milliseconds(times[0]), STEP // MILLISECOND],
        "places": [_place(day, each, looks, courses[each.place.number], sun) for each in day.lit(now)],
        "order": [_stop(day, each, looks) for each in stops],
    }


def kit_document(kit: Kit, rigs: Sequence[Rig], mains: int | None) -> dict[str, Any]:
    """
    What the phone needs to know of a kit to say how any of these rigs differ, and what each of them exposes.

    rigs of the document: four numbers each, of its glass, aperture, ISO and shutter in the lists
    """
    dials = _Dials(kit, rigs, mains)
    glass = {_glass_of(rig): rig for rig in rigs}
    number_of = {each: number for number, each in enumerate(glass)}
    return {
        "clicks": kit.body.clicks_per_stop,
        "stepless": kit.body.clicks_per_stop == STEPLESS,
        "loss": kit.lens.loss_stops,
        "hands": {name: getattr(kit.hands, name) for name in kit.hands.__slots__},
        "worth": WORTH_SAVING,
        "seen": wording.SEEN,
        "units": {"lux": light.from_lux(1.0).ev100, "luminance": light.from_luminance(1.0).ev100},
        "density": [MARKED_DENSITY_PER_CLICK, STOPS_PER_DENSITY],
        "filters": [_filter(kit, piece) for piece in kit.filters],
        "slots": None if kit.holder is None else kit.holder.slots,
        "builtIn": list(kit.body.built_in_nd),
        "scale": [kit.irises()[0], kit.irises()[-1]],
        **dials.lists,
        "glass": [[*each, cautions(kit, rig, WIDE)] for each, rig in glass.items()],
        "rigs": [each for rig in rigs for each in (number_of[_glass_of(rig)], *dials.of(rig))],
    }


def _times(day: Day, now: datetime) -> list[datetime]:
    """When the light is known: through the running order with some time around, or through the day."""
    zone = ZoneInfo(day.time_zone)
    midnight = datetime.combine(day.on, time(), zone)
    first, last = instant(midnight.replace(hour=5)), instant(midnight) + timedelta(days=1, minutes=NIGHT)
    if day.order:
        first, last = instant(day.order[0].at) - BEFORE, instant(day.order[-1].at) + AFTER
    moment = instant(day.moment(now))
    first, last = min(first, moment), max(last, moment + AFTER)
    if day.has_come(now):
        first = moment
    first -= (first - EPOCH) % STEP
    return [first + n * STEP for n in range(min((last - first) // STEP + 2, STEPS_MOST))]


def _levels(day: Day, times: Sequence[datetime], now: datetime) -> dict[int, list[int]]:
    """The light [hundredths of a stop] at each place with a reading, at each of these times."""
    levels = day.levels_through(times, now)
    return {place: [round(100 * level.light.ev100) for level in its] for place, its in levels.items()}


def _spans(day: Day, stops: Sequence[LitStop], courses: Mapping[int, list[int]], looks: Sequence[Look]) -> list[Span]:
    """For each look, what the light at its places may be through the day."""
    levels: dict[Look, list[int]] = {look: [] for look in looks}
    for place in (*day.places, *(stop.place for stop in stops if stop.place is not None)):
        if place.look in levels:
            levels[place.look] += courses[place.number]
    spans = []
    for look, its in levels.items():
        if its:
            # In whole stops, so that what was worked out for a minute serves the next.
            low, high = min(its) // 100 * TENTHS - AROUND, -(-max(its) // 100) * TENTHS + AROUND
            spans.append(Span(look, min(max(low, DIMMEST), BRIGHTEST - 1), max(min(high, BRIGHTEST), DIMMEST + 1)))
    return spans


def _likely(day: Day, stops: Sequence[LitStop], spans: Mapping[Look, int], now: datetime) -> list[tuple[int, int]]:
    """The light of what comes, in the order of the day, then that of every place as it is."""
    lit = [(stop.place, stop.level) for stop in stops] + [(each.place, each.level) for each in day.lit(now)]
    found = (
        (spans[place.look], round(TENTHS * level.light.ev100))
        for place, level in lit
        if place is not None and level is not None and place.look in spans
    )
    return list(dict.fromkeys(found))


def _tables(kit: Kit, rig: Rig, spans: Sequence[Span], likely: Sequence[tuple[int, int]]) -> Pocket:
    """The tables for a rig; those that were worked out for another one serve where they know this one."""
    key = (kit, tuple(spans))
    with _lock:  # one at a time: the second phone of a crew takes what was worked out for the first
        known = _known.get(key)
        if known is None or rig not in {known.rigs[number] for number in known.tables}:
            known = _known[key] = pocket(kit, rig, spans, likely)
    return known


_Glass = tuple[bool, tuple[str, ...], tuple[str, ...], str | None, float | None, float]


def _glass_of(rig: Rig) -> _Glass:
    return rig.holder_on, rig.slots, rig.threads, rig.front, rig.turned, rig.built_in


class _Dials:
    """The three dials, with what each mark on them is worth, and where a rig stands on them."""

    def __init__(self, kit: Kit, rigs: Sequence[Rig], mains: int | None) -> None:
        clicks = kit.body.clicks_per_stop
        positions = {*kit.irises(), *kit.irises(long_end=True)}
        positions |= {aperture_position(rig.aperture, clicks) for rig in rigs}
        self.clicks = clicks
        self.irises = {position: number for number, position in enumerate(sorted(positions))}
        speeds = {iso_position(speed): speed for speed in (*(rig.iso for rig in rigs), *kit.body.iso_allowed)}
        self.isos = {position: number for number, position in enumerate(sorted(speeds))}
        shutters = sorted({*(rig.shutter for rig in rigs), *kit.body.shutters})
        self.shutters = {seconds: number for number, seconds in enumerate(shutters)}
        self.lists: dict[str, Any] = {
            "irises": [(marked_f_number(each, clicks), each) for each in self.irises],
            "isos": [(speeds[each], each, wording.iso(speeds[each])) for each in self.isos],
            "shutters": [
                (each, -math.log2(each), marked_shutter(each), flicker_caution(each, mains)) for each in shutters
            ],
        }

    def of(self, rig: Rig) -> tuple[int, int, int]:
        """The numbers of a rig's marks in the lists."""
        return (
            self.irises[aperture_position(rig.aperture, self.clicks)],
            self.isos[iso_position(rig.iso)],
            self.shutters[rig.shutter],
        )


def _filter(kit: Kit, piece: Filter) -> dict[str, Any]:
    return {
        "id": piece.id,
        "label": wording.labels(kit.filters)[piece.id],
        "mark": wording.mark(piece)[:4],
        "stops": piece.stops,
        "kind": piece.kind,
    }


def _look(look: Look, span: int | None, cannot: str, kit: Kit) -> dict[str, Any]:
    clicks = kit.body.clicks_per_stop
    return {
        "span": span,
        "cannot": cannot,
        "tolerance": look.tolerance,
        "rush": look.rush_tolerance,
        "widest": aperture_position(look.widest, clicks),
        "narrowest": aperture_position(look.narrowest, clicks),
    }


def _place(day: Day, lit: Lit, looks: Sequence[Look], course: Sequence[int], sun: float | None) -> dict[str, Any]:
    """A place. course: its first level [hundredths of a stop], and by how much each differs from the one before."""
    place, level, read = lit.place, lit.level, lit.place.light
    sight = day.used.sight(place.focal(day.used))
    stale = level is not None and read is not None and level.trust == "stale"
    return {
        "number": place.number,
        "name": place.name,
        "look": looks.index(place.look),
        "lamps": place.spot.light == "lamps",
        "underLamps": place.spot.under_lamps,
        "wide": sight is not None and sight.is_wide,
        "kind": KINDS_OF_LIGHT[place.spot.light],
        "course": [after - before for before, after in pairwise((0, *course))],
        "mind": trusted(level, read.reading.taken_at, day.time_zone) if stale and level and read else "",
        "here": place_cautions(place.spot, sun, lasers=place.lasers),
        "ahead": place_cautions(place.spot, sun, lasers=place.lasers, ahead=True),
        "matching": wording.match_words(place.matched) if place.matched is not None else (),
    }


def _stop(day: Day, each: LitStop, looks: Sequence[Look]) -> dict[str, Any]:
    other = each.lens != day.used.lens
    return {
        "number": each.stop.number,
        "name": each.stop.name,
        "planned": milliseconds(each.stop.planned),
        "place": None if each.place is None else each.place.number,
        "look": None if each.place is None else looks.index(each.place.look),
        "lens": dict(day.used.lenses).get(each.lens, "") if other else "",
        "notes": each.stop.notes,
    }
