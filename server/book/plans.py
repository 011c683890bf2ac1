"""
The plan of a day: the exact best rigs for the stops of its running order, in the light of each stop's own time.

It is worked out for the forecast, and for the most and the least light that the sky may make of it all day. And where
the glass that is planned for a stop would not do in such light, it says what to have ready.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING

from server.exposure.days import Stop as LitLook
from server.exposure.days import best_day, hurry_of
from server.exposure.light import Light
from server.exposure.moves import best_moves, cannot_wear
from server.exposure.refused import OutOfRange
from server.exposure.rig import GLASS_ACTIONS
from server.language import manner, say

from .order import gaps

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from server.exposure.days import DayPlan, DayScore
    from server.exposure.moves import Move
    from server.exposure.rig import Kit, Look, Rig
    from server.exposure.trust import Level

    from .days import Day, LitStop
    from .kits import Carried


EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
STEADY = timedelta(minutes=5)  # how long a plan from here on stays the same


@dataclass(frozen=True, slots=True)
class Ready:
    """
    The least that the hand would do from the planned rig, if the sky made so much or little of a stop's light that iris
    and ISO alone would give a worse picture.

    brighter  whether the light is more than forecast, or less;  ev100 [stops]  how much there is then
    move      to the best picture in that light;  filters  the ids of the glass to have ready in the hand
    """

    brighter: bool
    ev100: float
    move: Move
    filters: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Planned:
    """
    A stop of the running order with its part of the plan.

    gap    the time there is before it, None where that is not known;  hurry  how often its hand seconds count
    move   None where it is not planned, and why not
    """

    lit: LitStop
    used: Carried
    gap: timedelta | None
    hurry: float
    move: Move | None = None
    ready: tuple[Ready, ...] = ()
    why: str = ""

    @property
    def touched(self) -> bool:
        """Whether the hand touches glass on arriving."""
        return self.move is not None and touches_glass(self.move)


@dataclass(frozen=True, slots=True)
class Plan:
    """
    The plan of some stops of a day, in order.

    start  what is on the camera before the first;  score, stop_by_stop_effort  as in `DayPlan`; None without any stop
    stop_by_stop  the clean move to each of the planned stops from the last one's, without looking ahead
    skies  the plans as if the sky made the most of the light all day (True), and the least
    """

    stops: tuple[Planned, ...]
    start: Rig
    start_used: Carried
    score: DayScore | None
    stop_by_stop_effort: float
    stop_by_stop: tuple[Move, ...] = ()
    skies: Mapping[bool, DayPlan] = field(default_factory=dict)

    @property
    def moves(self) -> tuple[Move, ...]:
        """The moves to the stops that are planned."""
        return tuple(each.move for each in self.stops if each.move is not None)


def touches_glass(move: Move) -> bool:
    """Whether a hand is on the glass in it."""
    return any(action.do in GLASS_ACTIONS for action in move.actions)


def plan_of(day: Day, now: datetime, *, whole: bool = False) -> Plan:
    """
    The plan from where the day stands: of the stops to come, from what is on the camera; or of the whole day, from what
    was on the camera before the first move.

    Raises OutOfRange for a day that is too large to plan (`exposure.days`).
    """
    start, used = (day.began, day.began_used) if whole else (day.rig, day.used)
    stops = day.order if whole else day.ahead(now)
    planned = _to_plan(day, day.lit_stops(stops, used.lens, now, as_planned=whole), now, whole=whole)
    asked = [each for each in planned if not each.why]
    if not asked:
        return Plan(tuple(planned), start, used, None, 0.0)
    best = _best_day(used.kit, start, _stops(asked))
    found = iter(_with_moves(asked, best))
    return Plan(
        tuple(each if each.why else next(found) for each in planned), start, used,
        best.score, best.stop_by_stop_effort, best.stop_by_stop,
        {brighter: _best_day(used.kit, start, _stops(asked, brighter=brighter)) for brighter in (True, False)},
    )  # fmt: skip


def next_planned(day: Day, ahead: Sequence[LitStop], now: datetime) -> Move | None:
    """
    The move to the first of the stops ahead that can be planned, by the plan from here on.

    None where nothing can be planned, or the day is too large to.
    """
    asked = [each for each in _to_plan(day, ahead, now, whole=False) if not each.why]
    if not asked:
        return None
    try:
        best = _best_day(day.kit, day.rig, _stops(asked))
    except OutOfRange:  # its own page says so
        return None
    return best.moves[0]


def _to_plan(day: Day, lit: Sequence[LitStop], now: datetime, *, whole: bool) -> list[Planned]:
    """The stops to plan, each with the time there is before it, and why not where one cannot be."""
    # From the last five minutes on: else a plan would hold for one minute, and be worked out anew for each page.
    since = now - (now - EPOCH) % STEADY if day.has_come(now) and not whole else None
    return [
        Planned(each, day.used_with(each.lens), gap, hurry_of(gap), why=_why_not(each, day.used_with(each.lens)))
        for each, gap in zip(lit, gaps([each.stop for each in lit], since), strict=True)
    ]


def _why_not(lit: LitStop, used: Carried) -> str:
    """Why a stop is not planned; empty where it is."""
    if lit.place is None:
        return say("no place") if lit.stop.place is None else say("its place is not used on this day")
    if lit.level is None:
        return say("no reading")
    missing = cannot_wear(used.kit, lit.place.look.worn)
    return say("its look cannot be worn: {missing}", missing=missing) if missing else ""


def _stops(asked: Sequence[Planned], *, brighter: bool | None = None) -> tuple[LitLook, ...]:
    """The stops as the engine has them: in the light of the forecast, or the most or least that the sky makes of it."""
    found = []
    for each in asked:
        level, place = each.lit.level, each.lit.place
        if level is not None and place is not None:
            light = level.light if brighter is None else Light(level.high if brighter else level.low)
            found.append(LitLook(light, place.look, each.hurry, each.used.kit))
    return tuple(found)


def _best_day(kit: Kit, start: Rig, stops: tuple[LitLook, ...]) -> DayPlan:
    found = _best_or_refused(kit, start, stops, manner().language)
    if isinstance(found, OutOfRange):
        raise OutOfRange(found.field, found.came, found.allowed)
    return found


@lru_cache(maxsize=64)
def _best_or_refused(
    kit: Kit, start: Rig, stops: tuple[LitLook, ...], _language: str
) -> DayPlan | OutOfRange:  # fmt: skip
    """Remembered, a refusal with its words too: the plan, its card, its packing list and the day page ask the same."""
    try:
        return best_day(kit, start, stops)
    except OutOfRange as refused:
        return refused.with_traceback(None)


def _with_moves(asked: Sequence[Planned], best: DayPlan) -> list[Planned]:
    return [
        replace(each, move=move, ready=_ready(each, move.rig)) for each, move in zip(asked, best.moves, strict=True)
    ]


def _ready(planned: Planned, rig: Rig) -> tuple[Ready, ...]:
    """What another sky would ask of the hands on the glass."""
    level, place = planned.lit.level, planned.lit.place
    if level is None or place is None:
        return ()
    skies = ((True, level.high), (False, level.low))
    others = tuple((brighter, ev) for brighter, ev in skies if ev != level.light.ev100)
    return _corrections(planned.used.kit, rig, place.look, others)


@lru_cache(maxsize=1024)
def _corrections(kit: Kit, rig: Rig, look: Look, skies: tuple[tuple[bool, float], ...]) -> tuple[Ready, ...]:
    found = []
    answers = best_moves(kit, rig, [(Light(ev), look) for _, ev in skies])
    for (brighter, ev), answer in zip(skies, answers, strict=True):
        move = answer.clean
        if touches_glass(move):
            held = tuple(each for each in move.rig.on_lens if each not in rig.on_lens)
            found.append(Ready(brighter, ev, move, held))
    return tuple(found)


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
    stops = day.lit_stops(day.order, day.began_used.lens, now, as_planned=True)
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
