"""
A running order: the exact best sequence of rigs, looking ahead over the whole day.

What a rig is worth at a stop does not depend on how it was reached, so only rigs with a stop's best picture can be in
the best plan (`moves.best_rigs`), and the day is the cheapest way through them. A change's hand time is a sum over
parts that do not know of each other, so the least cost of every rig of the next stop is found part by part, in arrays
with an axis for each part, and never pair by pair:

1. forwards over the stops: the least effort to have each rig there, in doubles;
2. backwards from the best end: the few rigs that a best plan may have, give or take the rounding of its parts;
3. among those, pair by pair in whole millionths: effort, then residual, then the ties.

A holder that is off with its plates in it is a rig of its own, and its plates may be changed at any stop on the way.
Where another lens comes on, a stretch of stops with arrays of its own begins, and every rig becomes the nearest one
that the lens allows: what fits stays, the rest comes off with the old lens.
Held to every sequence of legal rigs, and to a shortest path through all of them, in tests/exposure/test_days.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields, replace
from datetime import timedelta
from functools import lru_cache
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

import numpy as np

from server.language import noted, say

from .changes import Case, Layer, Rigs, Uses, cases, nearest, on_another_lens, onward, seconds
from .moves import MILLION, BestRigs, Move, best_rigs, check_worn, kept_first, millionths, summed
from .packing import chain
from .refused import OutOfRange, within
from .rig import check_rig, nearest_rig

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from .light import Light
    from .rig import Kit, Look, Rig

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]
    Bits = NDArray[np.int64]
    Bools = NDArray[np.bool_]

STOPS_MOST = 100
HURRY_MOST = 10.0
CALM = timedelta(minutes=10)  # between two stops: the hand seconds count once. Common practice, no source
FIRST = timedelta(hours=1)  # what the first arrival counts as, since nobody knows how early they come
SHARED = ("body", "filters", "hands", "step_ups")  # what all kits of a day have in common
# A day is planned exactly or refused; at these limits one takes some seconds and some hundreds of megabytes.
SETUPS_A_STOP_MOST = 60_000
CELLS_A_STOP_MOST = 5_000_000  # of the arrays with every rig of one stop, and gaps: 300 MB
CELLS_A_DAY_MOST = 120_000_000  # over all stops: 6 s
RIGS_A_DAY_MOST = 10_000_000  # that have the best picture, over all stops: 130 MB
PAIRS_MOST = 50_000_000  # changes looked at one by one, those of plans that are nearly as good as the best: 4 s
PAIRS_AT_ONCE = 200_000


@dataclass(frozen=True, slots=True)
class Stop:
    """
    A stop of the running order.

    light, look  what is found there, and what is wanted
    hurry        how many times the hand seconds spent on arriving count in its effort; 0: there is all the time
    kit          the kit with the lens, and the holder that goes with it, that is on for this stop; None: the day's own
    """

    light: Light
    look: Look
    hurry: float = 1.0
    kit: Kit | None = None

    def __post_init__(self) -> None:
        within("hurry", self.hurry, 0, HURRY_MOST)


def hurry_of(gap: timedelta | None) -> float:
    """
    How many times the hand seconds of an arrival count, by the time between leaving the stop before and being ready.

    gap: None for the first arrival, which counts as FIRST. Once for CALM, twice for half of it and so on in proportion,
    at most HURRY_MOST; hundredths, so that a day and more counts nothing. Common practice, no source.

    >>> hurry_of(timedelta(minutes=5)), hurry_of(timedelta(hours=1)), hurry_of(timedelta(0))
    (2.0, 0.17, 10.0)
    """
    gap = FIRST if gap is None else gap
    return HURRY_MOST if gap <= CALM / HURRY_MOST else round(CALM / gap, 2)


@dataclass(frozen=True, slots=True)
class DayScore:
    """
    The sums over a day's stops, each of parts rounded to 1e-6; the plan has the smallest (miss, off_look, shutter_off,
    iso_lift, effort, residual).

    miss, off_look, residual (of its sizes), off_wanted  [clicks];  shutter_off, iso_lift  [thirds of a stop]
    effort, with hurry;  hand_seconds, glass_seconds, without  [s]
    """

    miss: float
    off_look: int
    shutter_off: float
    iso_lift: int
    effort: float
    residual: float
    hand_seconds: float
    glass_seconds: float
    off_wanted: int


@dataclass(frozen=True, slots=True)
class DayPlan:
    """
    The best day: one move a stop, its effort counted with that stop's hurry, and the sums.

    What each stop is asked with is kept, so that what it is compared with is worked out only where somebody asks.
    """

    moves: tuple[Move, ...]
    score: DayScore
    _kits: tuple[Kit, ...] = field(compare=False, repr=False)
    _stops: tuple[Stop, ...] = field(compare=False, repr=False)
    _start: Rig = field(compare=False, repr=False)

    @property
    def stop_by_stop(self) -> tuple[Move, ...]:
        """The clean move to each stop from the last one's, its effort counted with that stop's hurry."""
        return _stop_by_stop(self._kits, self._stops, self._start)

    @property
    def stop_by_stop_effort(self) -> float:
        """What taking each stop as it comes would cost in effort [s]."""
        return _sums(self.stop_by_stop).effort


def best_day(kit: Kit, rig: Rig, stops: Sequence[Stop]) -> DayPlan:
    """
    The sequence of rigs, one a stop, with the smallest sums, from the rig on the camera, which is one of this kit.

    Where a stop has another kit than the one before, its move starts from the nearest rig that this kit allows
    (`rig.nearest_rig`): changing the lens costs nothing, since it is the same for every plan. The ISO and shutter that
    the day starts with are legal at every stop. Of plans that tie, the one with the least glass seconds in all, and of
    those the one that spends them earliest; then fewest filters and the kit's order, stop by stop.

    Raises OutOfRange where the rig is not one of this kit, a stop's kit differs from it in more than lens and holder, a
    look wears what cannot be mounted, there are no stops or more than STOPS_MOST, or the day goes past another of the
    limits above: it stays exact, or says no.
    """
    if not 1 <= len(stops) <= STOPS_MOST:
        raise OutOfRange("stops", say("{count} stops", count=len(stops)), say("1 to {most}", most=STOPS_MOST))
    kits = [kit if stop.kit is None else stop.kit for stop in stops]
    for number, (own, stop) in enumerate(zip(kits, stops, strict=True)):
        _check_shared(kit, own, f"stops.{number}.kit")
        check_worn(own, stop.look.worn, f"stops.{number}.look.worn")
    check_rig(kit, rig)
    day = _Day.of(kits, _with_lens(kit, kits[0], rig), stops)
    moves: list[Move] = []
    for number, ((before, own), reached) in enumerate(zip(pairwise((kit, *kits)), day.best(), strict=True)):
        now = _with_lens(before, own, moves[-1].rig if moves else rig)
        moves.append(day.move(number, now, reached))
    return DayPlan(tuple(moves), _sums(moves), tuple(kits), tuple(stops), rig)


@lru_cache(maxsize=64)
def _stop_by_stop(kits: tuple[Kit, ...], stops: tuple[Stop, ...], rig: Rig) -> tuple[Move, ...]:
    walked = chain([(kit, stop.light, stop.look) for kit, stop in zip(kits, stops, strict=True)], rig)
    return tuple(_hurried(kit, stop, move) for kit, stop, move in zip(kits, stops, walked, strict=True))


def _check_shared(kit: Kit, own: Kit, field: str) -> None:
    if own is not kit and (others := [name for name in SHARED if getattr(own, name) != getattr(kit, name)]):
        came = say("other {parts}", parts=", ".join(others).replace("_", "-"))
        raise OutOfRange(field, came, say("the day's own kit with another lens and holder"))


def _with_lens(before: Kit, own: Kit, rig: Rig) -> Rig:
    """A rig once the lens of a kit is on, which may be the one that was on before."""
    return rig if own == before else nearest_rig(own, rig)


def _hurried(kit: Kit, stop: Stop, move: Move) -> Move:
    """The move with its effort as the stop's hurry counts it."""
    score = move.score
    effort = stop.hurry * score.hand_seconds + kit.hands.stray * score.off_wanted / kit.body.clicks_per_stop
    return replace(move, score=replace(score, effort=effort))


def _sums(moves: Sequence[Move]) -> DayScore:
    scores = [move.score for move in moves]
    return DayScore(
        miss=summed(score.miss for score in scores),
        off_look=sum(score.off_look for score in scores),
        shutter_off=summed(score.shutter_off for score in scores),
        iso_lift=sum(score.iso_lift for score in scores),
        effort=summed(score.effort for score in scores),
        residual=summed(abs(move.residual) for move in moves),
        hand_seconds=summed(score.hand_seconds for score in scores),
        glass_seconds=summed(score.glass_seconds for score in scores),
        off_wanted=sum(score.off_wanted for score in scores),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Reached:
    """
    Some of a stop's rigs: which case, and which cell of the case's array. In the order of both.

    least [s]: the least effort, over all stops so far, to have each one here
    """

    case: NDArray[np.int8]
    cell: NDArray[np.int32]
    least: Floats

    @classmethod
    def of(cls, values: Sequence[Floats]) -> _Reached:
        """The rigs that can be had at all, from each case's array."""
        cells = [np.flatnonzero(np.isfinite(value)) for value in values]
        return cls(
            np.repeat(np.arange(len(cells), dtype=np.int8), [len(some) for some in cells]),
            np.concatenate(cells, dtype=np.int32),
            np.concatenate([value.ravel()[some] for value, some in zip(values, cells, strict=True)]),
        )

    def __getitem__(self, which: Ints | Bools) -> _Reached:
        return _Reached(self.case[which], self.cell[which], self.least[which])

    def __len__(self) -> int:
        return len(self.cell)


@dataclass(frozen=True, slots=True, eq=False)
class _Day:
    """
    A day to be planned: at every stop the rigs with the best picture, in the arrays of the cases.

    kits: each stop's own;  kit: one of them, for what they share;  start: what is on the first one's lens
    """

    kit: Kit
    kits: Sequence[Kit]
    start: Rigs
    stops: Sequence[Stop]
    layers: list[list[Layer]]

    @classmethod
    def of(cls, kits: Sequence[Kit], rig: Rig, stops: Sequence[Stop]) -> _Day:
        """From a rig that is on the first kit's lens."""
        stretches = [list(some) for _, some in groupby(range(len(stops)), key=kits.__getitem__)]
        bests: list[BestRigs] = []
        for some in stretches:
            kit = kits[some[0]]
            places = [(stops[number].light, stops[number].look) for number in some]
            for best in best_rigs(kit, _with_lens(kits[0], kit, rig), places):
                _allow(
                    "filters", len(best.setups.stops), SETUPS_A_STOP_MOST, noted("{count} ways to set them at one stop")
                )
                bests.append(best)
        start = left = Rigs.of(kits[0], rig)
        uses = Uses.of(kits, start, bests)
        found: list[list[Case]] = []
        for some in stretches:
            kit = kits[some[0]]
            left = nearest(kit, left)
            found += [cases(kit, left.content, uses, bests[some[0] : some[-1] + 1])] * len(some)
        _allow_cells(found, bests)
        layers = [[Layer.of(case, best) for case in own] for own, best in zip(found, bests, strict=True)]
        return cls(kits[0], kits, start, stops, layers)

    def best(self) -> list[_Reached]:
        """The best plan: at every stop the one rig."""
        near, ways, glass = self._best_ways(self._near_best(self._forwards()))
        ways = _first(ways, [-each for each in glass])
        order = [self._order(number, rigs) for number, rigs in enumerate(near)]
        ways = _first(ways, [np.broadcast_to(key, way.shape) for key, way in zip(order, ways, strict=True)])
        chosen, at = [], 0
        for rigs, way in zip(near, ways, strict=True):
            at = int(way[at].argmax())
            chosen.append(rigs[np.array([at])])
        return chosen

    def move(self, number: int, now: Rig, reached: _Reached) -> Move:
        """The move to a rig of a stop from whatever is on the camera by then."""
        best = self._best(number)
        where = [int(each[0]) for each in self._where(number, reached)]
        then = best.rig(now, *where)
        if not then.holder_on:
            inside = int(self._rigs(number, reached).content[0])
            held = [piece for n, piece in enumerate(self.kit.filters) if inside >> n & 1]
            then = replace(
                then,
                slots=kept_first(then.slots, [piece.id for piece in held if piece.mount == "slot"]),
                front=next((piece.id for piece in held if piece.mount == "front"), None),
            )
        return _hurried(self.kit, self.stops[number], best.move(now, then, *where))

    def _best(self, number: int) -> BestRigs:
        return self.layers[number][0].best

    def _forwards(self) -> list[_Reached]:
        """Every rig of every stop that has its best picture, with the least effort to have it there."""
        values = self._stray(0)
        first = _Reached.of(values)
        first.least[:] += self.stops[0].hurry * seconds(self.kit, self.start, self._rigs(0, first))[0][0]
        for case, value in enumerate(values):
            mine = first.case == case
            value.ravel()[first.cell[mine]] = first.least[mine]
        reached = [first]
        for number in range(1, len(self.stops)):
            before, after = self.layers[number - 1 : number + 1]
            if self._changes_lens(number):
                values = on_another_lens(self.kits[number], before, after, values)
            values = onward(self.kit, self._best(number - 1), after, values, self.stops[number].hurry)
            for value, stray in zip(values, self._stray(number), strict=True):
                np.add(value, stray, out=value)
            reached.append(_Reached.of(values))
            _allow(
                "stops",
                sum(map(len, reached)),
                RIGS_A_DAY_MOST,
                noted("{count} rigs with the best picture at all stops"),
            )
        return reached

    def _changes_lens(self, number: int) -> bool:
        """Whether another lens comes on between a stop and the one before it."""
        return number > 0 and self.kits[number] != self.kits[number - 1]

    def _arriving(self, number: int, now: Rigs) -> Rigs:
        """What is on the camera before a stop's move, from what was on it at the stop before."""
        return nearest(self.kits[number], now) if self._changes_lens(number) else now

    def _stray(self, number: int) -> list[Floats]:
        """
        What the distance from the wanted iris is worth at a stop [s], for the rigs that may be in the best plan, in the
        cases' arrays; inf for the others.
        """
        best = self._best(number)
        there = self._alone(number) if self._free(number) else best.there
        stray = self.kit.hands.stray * best.off_wanted / self.kit.body.clicks_per_stop
        own = np.full((len(there) + 1, *there.shape[1:]), np.inf)  # the last row for no setup
        own[:-1][there] = np.broadcast_to(stray, there.shape)[there]
        return [layer.spread(own) for layer in self.layers[number]]

    def _free(self, number: int) -> bool:
        """Whether a stop is reached from any rig, and left to any, for nothing."""
        hands = self.kit.hands
        idle = not any(getattr(hands, each.name) for each in fields(hands) if each.name != "stray")
        return idle or not any(stop.hurry for stop in self.stops[number : number + 2])

    def _alone(self, number: int) -> Bools:
        """Of the rigs with the best picture, those with the least stray and residual: all that a free stop may have."""
        best = self._best(number)
        able = np.nonzero(best.there)
        stray = self.kit.hands.stray * best.off_wanted[able[-1]] / self.kit.body.clicks_per_stop
        _, least = _smallest([millionths(part)[None, :] for part in (stray, np.abs(best.residual(*able)))])
        there = np.zeros(best.there.shape, dtype=bool)
        there[able] = least[0]
        return there

    def _rigs(self, number: int, reached: _Reached) -> Rigs:
        parts = [layer.rigs(reached.cell[reached.case == n]) for n, layer in enumerate(self.layers[number])]
        return Rigs.together(parts)

    def _where(self, number: int, reached: _Reached) -> tuple[Ints, ...]:
        """Rigs' setup and setting, as `BestRigs` numbers them: row, ISO, shutter, iris."""
        parts = [layer.where(reached.cell[reached.case == n]) for n, layer in enumerate(self.layers[number])]
        return tuple(np.concatenate(each) for each in zip(*parts, strict=True))

    def _near_best(self, reached: list[_Reached]) -> list[_Reached]:
        """
        The rigs that a best plan may have.

        A sum of rounded parts is at most half a millionth a stop from the sum of the parts, so the best plan by the one
        is within a millionth a stop of the best by the other. The rest of the slack is for the doubles' last digits.
        """
        best = reached[-1].least.min()
        left = np.full(len(reached[-1]), best + len(reached) / MILLION + 1e-9 + 1e-12 * best)  # may be spent by then
        near: list[_Reached] = []
        pairs = 0
        for number in range(len(reached) - 1, -1, -1):
            keep = reached[number].least <= left
            here, left = reached[number][keep], left[keep]
            near.append(here)
            if number == 0:
                break
            then, left = self._rigs(number, here), left - self._stray_of(number, here)
            some = np.flatnonzero(reached[number - 1].least <= left.max())
            now = self._arriving(number, self._rigs(number - 1, reached[number - 1][some]))
            _allow_pairs(pairs := pairs + len(now) * len(then))
            spent = np.full(len(reached[number - 1]), -np.inf)
            for rows in _in_parts(len(now), len(then)):
                hand, _ = seconds(self.kit, now[rows], then)
                spent[some[rows]] = (left - self.stops[number].hurry * hand).max(axis=1)
            left = spent
        return near[::-1]

    def _stray_of(self, number: int, reached: _Reached) -> Floats:
        best = self._best(number)
        off_wanted = best.off_wanted[self._where(number, reached)[-1]]
        stray: Floats = self.kit.hands.stray * off_wanted / self.kit.body.clicks_per_stop
        return stray

    def _best_ways(self, near: list[_Reached]) -> tuple[list[_Reached], list[Bools], list[Bits]]:
        """
        The rigs of the plans with the smallest sums of effort, residual and glass seconds; at every stop which changes
        to them are in such a plan, (rigs before, rigs), and the glass seconds of each in millionths.
        """
        to_go = [np.zeros((3, len(near[-1])), dtype=np.int64)]
        pairs = 0
        for number in range(len(near) - 1, 0, -1):
            now = self._arriving(number, self._rigs(number - 1, near[number - 1]))
            _allow_pairs(pairs := pairs + len(now) * len(near[number]))
            parts = [
                _smallest(self._sums(number, now[rows], near[number], to_go[-1]))[0]
                for rows in _in_parts(len(now), len(near[number]))
            ]
            to_go.append(np.concatenate(parts, axis=1))
        rigs: list[_Reached] = []
        ways: list[Bools] = []
        glass: list[Bits] = []
        now = self.start
        for number, (here, left) in enumerate(zip(near, to_go[::-1], strict=True)):
            now = self._arriving(number, now)
            way = np.concatenate([
                _smallest(self._sums(number, now[rows], here, left))[1] for rows in _in_parts(len(now), len(here))
            ])  # fmt: skip
            reached = np.flatnonzero(way.any(axis=0))
            rigs.append(here[reached])
            ways.append(way[:, reached])
            then = self._rigs(number, rigs[-1])
            glass.append(millionths(seconds(self.kit, now, then)[1]))
            now = then
        return rigs, ways, glass

    def _sums(self, number: int, now: Rigs, then: _Reached, to_go: Bits) -> tuple[Bits, Bits, Bits]:
        """
        Effort, residual and glass seconds of every change to a stop's rigs and of the best plan from there, in whole
        millionths: (now, then) each.
        """
        hand, glass = seconds(self.kit, now, self._rigs(number, then))
        effort = self.stops[number].hurry * hand + self._stray_of(number, then)
        residual = np.abs(self._best(number).residual(*self._where(number, then)))
        return (
            millionths(effort) + to_go[0],
            np.broadcast_to(millionths(residual) + to_go[1], effort.shape),
            millionths(glass) + to_go[2],
        )

    def _order(self, number: int, reached: _Reached) -> Ints:
        """Rigs' rank by how few filters are on the lens, then by the kit's order."""
        best = self._best(number)
        way = best.able[self._where(number, reached)[0]]
        order = np.argsort(way, kind="stable")  # setups are in this order
        on = best.setups.on[way[order]]
        rank = np.zeros(len(way), dtype=np.intp)
        rank[order[1:]] = np.cumsum(np.any(on[1:] != on[:-1], axis=1))
        return rank


def _smallest(sums: Sequence[Bits]) -> tuple[Bits, Bools]:
    """Each row's smallest tuple, (sums, rows), and which of the row's have it."""
    best = np.ones(sums[0].shape, dtype=bool)
    least = []
    for part in sums:
        least.append(np.where(best, part, np.iinfo(np.int64).max).min(axis=1))
        best &= part == least[-1][:, None]
    return np.stack(least), best


def _first(ways: Sequence[Bools], keys: Sequence[Bits | Ints]) -> list[Bools]:
    """The changes that are on a way with the smallest keys, those of the earliest stop first."""
    kept: list[Bools] = []
    reached = np.ones(1, dtype=bool)
    for way, key in zip(ways, keys, strict=True):
        still = way & reached.reshape(-1, 1)
        kept.append(still & (key == key[still].min()))
        reached = np.any(kept[-1], axis=0)
    for number in range(len(kept) - 1, 0, -1):
        kept[number - 1] &= kept[number].any(axis=1)
    return kept


def _in_parts(rows: int, each: int) -> list[slice]:
    """The rows in parts that the memory can hold at once."""
    at_once = max(1, PAIRS_AT_ONCE // max(1, each))
    return [slice(start, start + at_once) for start in range(0, rows, at_once)]


def _allow(field: str, came: int, most: int, of_them: str) -> None:
    if came > most:
        raise OutOfRange(
            field, say(of_them, count=came), say("at most {most}: fewer filters, or narrower looks", most=most)
        )


def _allow_cells(found: Sequence[Sequence[Case]], bests: Sequence[BestRigs]) -> None:
    """Raise OutOfRange unless the arrays of every stop, and those between two lenses, are as large as they may be."""
    made = list(zip(found, bests, strict=True))
    made += [(after[0], before[1]) for before, after in pairwise(made) if after[0] is not before[0]]
    cells = []
    for own, best in made:
        _allow(
            "filters",
            sum(case.setups for case in own),
            SETUPS_A_STOP_MOST,
            noted("{count} ways to set them at one stop"),
        )
        rigs = sum(math.prod(case.shape) for case in own)
        cells.append(rigs * len(best.isos) * len(best.shutters) * len(best.irises))
    _allow("stops", max(cells), CELLS_A_STOP_MOST, noted("{count} rigs and gaps at one stop"))
    _allow("stops", sum(cells), CELLS_A_DAY_MOST, noted("{count} rigs and gaps at all stops"))


def _allow_pairs(pairs: int) -> None:
    if pairs > PAIRS_MOST:
        raise OutOfRange(
            "stops", say("too many plans that are as good as the best"), say("fewer stops, or fewer filters")
        )
