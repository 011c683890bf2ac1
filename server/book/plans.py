"""
The plan of a day: the exact best rigs for the stops of its running order, in the light of each stop's own time.

It is worked out three times: for the forecast, and for the least and the most light that the sky may make of it. Where
the glass would differ, the stop says what to have ready.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from server.exposure.days import Stop as LitLook
from server.exposure.days import best_day, hurry_of
from server.exposure.light import Light
from server.exposure.moves import cannot_wear
from server.exposure.packing import chain
from server.exposure.rig import GLASS_ACTIONS, actions

from .order import gaps

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime, timedelta

    from server.exposure.days import DayPlan, DayScore
    from server.exposure.moves import Move
    from server.exposure.rig import Action, Kit, Look, Rig
    from server.exposure.trust import Level

    from .days import Day, LitStop
    from .kits import Carried


@dataclass(frozen=True, slots=True)
class Ready:
    """
    What the hand would do besides, if the sky made another light of a stop.

    brighter  whether the light is more than forecast, or less;  ev100 [stops]  how much there is then
    actions   on the glass, from the planned rig;  filters  the ids of the glass to have ready in the hand
    """

    brighter: bool
    ev100: float
    actions: tuple[Action, ...]
    filters: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Planned:
    """
    A stop of the running order with its part of the plan.

    gap    the time there is before it, None where that is not known;  hurry  how often its hand seconds count
    before, move  what was on the camera on arriving, and the move;  None where it is not planned, and why not
    """

    lit: LitStop
    used: Carried
    gap: timedelta | None
    hurry: float
    before: Rig | None = None
    move: Move | None = None
    ready: tuple[Ready, ...] = ()
    why: str = ""

    @property
    def touched(self) -> bool:
        """Whether the hand touches glass on arriving."""
        return self.move is not None and any(action.do in GLASS_ACTIONS for action in self.move.actions)


@dataclass(frozen=True, slots=True)
class Plan:
    """
    The plan of some stops of a day, in order.

    start  what is on the camera before the first;  score, stop_by_stop_effort  as in `DayPlan`; None without any stop
    stop_by_stop  the clean move to each of the planned stops from the last one's, without looking ahead
    """

    stops: tuple[Planned, ...]
    start: Rig
    start_used: Carried
    score: DayScore | None
    stop_by_stop_effort: float
    stop_by_stop: tuple[Move, ...] = ()

    @property
    def moves(self) -> tuple[Move, ...]:
        """The moves to the stops that are planned."""
        return tuple(each.move for each in self.stops if each.move is not None)


def plan_of(day: Day, now: datetime, *, whole: bool = False) -> Plan:
    """
    The plan from where the day stands: of the stops to come, from what is on the camera; or of the whole day, from what
    was on the camera before the first move.

    Raises OutOfRange for a day that is too large to plan (`exposure.days`).
    """
    start, used = (day.began, day.began_used) if whole else (day.rig, day.used)
    stops = day.order if whole else day.ahead()
    lit = day.lit_stops(stops, used.lens, now)
    since = now if day.has_come(now) and not whole else None
    waits = gaps(stops, since)
    planned = [
        Planned(each, day.used_with(each.lens), gap, hurry_of(gap), why=_why_not(each, day.used_with(each.lens)))
        for each, gap in zip(lit, waits, strict=True)
    ]
    asked = [each for each in planned if not each.why]
    if not asked:
        return Plan(tuple(planned), start, used, None, 0.0)
    best = _best(used.kit, start, asked)
    others = [(brighter, _best(used.kit, start, asked, brighter=brighter)) for brighter in (True, False)]
    found = iter(_with_moves(start, asked, best, others))
    walked = chain([(stop.kit or used.kit, stop.light, stop.look) for stop in _stops(asked)], start)
    return Plan(
        tuple(each if each.why else next(found) for each in planned), start, used,
        best.score, best.stop_by_stop_effort, tuple(walked),
    )  # fmt: skip


def _why_not(lit: LitStop, used: Carried) -> str:
    """Why a stop is not planned; empty where it is."""
    if lit.place is None:
        return "no place" if lit.stop.place is None else "its place is not used on this day"
    if lit.level is None:
        return "no reading"
    missing = cannot_wear(used.kit, lit.place.look.worn)
    return f"its look cannot be worn: {missing}" if missing else ""


def _best(kit: Kit, start: Rig, asked: Sequence[Planned], *, brighter: bool | None = None) -> DayPlan:
    return _best_day(kit, start, tuple(_stops(asked, brighter=brighter)))


def _stops(asked: Sequence[Planned], *, brighter: bool | None = None) -> Iterator[LitLook]:
    """The stops as the engine has them: in the light of the forecast, or the most or least that the sky makes of it."""
    for each in asked:
        level, place = each.lit.level, each.lit.place
        if level is not None and place is not None:
            light = level.light if brighter is None else Light(level.high if brighter else level.low)
            yield LitLook(light, place.look, each.hurry, each.used.kit)


@lru_cache(maxsize=64)
def _best_day(kit: Kit, start: Rig, stops: tuple[LitLook, ...]) -> DayPlan:
    """Remembered: the plan, its card and its packing list ask the same."""
    return best_day(kit, start, stops)


def _with_moves(
    start: Rig, asked: Sequence[Planned], best: DayPlan, others: Sequence[tuple[bool, DayPlan]]
) -> list[Planned]:
    found = []
    before = start
    for number, (each, move) in enumerate(zip(asked, best.moves, strict=True)):
        ready = [_ready(each, move.rig, brighter, other.moves[number].rig) for brighter, other in others]
        found.append(
            Planned(
                each.lit,
                each.used,
                each.gap,
                each.hurry,
                before,
                move,
                tuple(some for some in ready if some is not None),
            )
        )
        before = move.rig
    return found


def _ready(planned: Planned, rig: Rig, brighter: bool, other: Rig) -> Ready | None:  # noqa: FBT001 - one of two skies
    """What another sky would ask of the hands; None where the glass on the lens is the same."""
    if set(rig.on_lens) == set(other.on_lens) or planned.lit.level is None:
        return None
    done = tuple(action for action in actions(planned.used.kit, rig, other) if action.do in GLASS_ACTIONS)
    level = planned.lit.level
    return Ready(
        brighter, level.high if brighter else level.low, done, tuple(f for f in other.on_lens if f not in rig.on_lens)
    )


@dataclass(frozen=True, slots=True)
class ToPackFor:
    """What a bag is packed for: a stop or a place by its name, with the kit in use and the look wanted there."""

    name: str
    kit: Kit
    look: Look
    level: Level


def to_pack_for(day: Day, now: datetime) -> tuple[list[ToPackFor], list[str]]:
    """
    Every stop of the running order in the light of its time, and every place that none is at in the light of the
    moment; and the names of those that nothing can be packed for: without a reading, or a look that cannot be worn.
    """
    stops = day.lit_stops(day.order, day.began_used.lens, now)
    at = {each.place.number for each in stops if each.place is not None}
    asked = [
        (each.stop.name, day.used_with(each.lens).kit, each.place.look, each.level)
        for each in stops
        if each.place is not None
    ]
    asked += [
        (each.place.name, day.kit, each.place.look, each.level) for each in day.lit(now) if each.place.number not in at
    ]
    found, left_out = [], []
    for name, kit, look, level in asked:
        if level is None or cannot_wear(kit, look.worn):
            left_out.append(name)
        else:
            found.append(ToPackFor(name, kit, look, level))
    return found, left_out
