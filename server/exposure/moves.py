"""
One move: the exact best rigs for the light at a place, from the rig that is on the camera now.

The parts of a score separate: glass (`glass.Setups`) takes stops and hand time; settings (iris, ISO, shutter)
give an exposure and the rest. So the best of every legal rig is found without listing them:

1. sort the settings by exposure, and look up for every setup how near it can come: the smallest miss of all;
2. keep the setups that reach it, for the fast answer only those with the least glass time;
3. in each one's window of settings, ask a range-minimum table for the best look, shutter and ISO;
4. list only the settings of that one class, and take the least effort, then the least residual.

Every place is two questions, clean and fast, and all questions are answered in one pass over arrays.
Held to a plain loop over every rig in tests/exposure/test_moves.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from server.language import listed, say

from .flicker import is_steady, nearest_steady
from .glass import Setups, setups, why_not
from .refused import OutOfRange
from .remembered import remembered
from .rig import GLASS_ACTIONS, Action, Kit, Look, Rig, actions, check_rig
from .scales import ClicksPerStop, aperture_position, iso_position, marked_f_number, marked_shutter

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from .light import Light
    from .rig import Body

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]
    Bits = NDArray[np.int64]

DECIMALS = 6  # parts of a score are compared at 1e-6, and sums are of such parts
MILLION = 10**DECIMALS
EDGE = 0.5 * 10.0**-DECIMALS + 1e-9  # what rounds down to a bound still keeps it, and a last digit more
RIGS_MOST = 50_000_000  # legal rigs a call may ask about
PLACES_MOST = 400
CELLS_MOST = 2_000_000  # of one array; what is larger is worked through in parts


@dataclass(frozen=True, slots=True)
class Score:
    """
    How good a rig is for a place, smallest best, as the contract's tuples compare it.

    miss, off_look, off_wanted  [clicks];  shutter_off, iso_lift  [thirds of a stop]
    hand_seconds, glass_seconds, effort  [s]
    """

    miss: float
    off_look: int
    shutter_off: float
    iso_lift: int
    hand_seconds: float
    glass_seconds: float
    off_wanted: int
    effort: float


@dataclass(frozen=True, slots=True)
class Move:
    """An answer: the rig to have, the actions that make it, and residual [clicks], above 0 too bright."""

    rig: Rig
    actions: tuple[Action, ...]
    residual: float
    score: Score


WORTH_SAVING = 1.0  # s; a rush that saves less is not worth its worse picture


@dataclass(frozen=True, slots=True)
class Answers:
    """clean: the best picture. fast: without touching the glass where that can be."""

    clean: Move
    fast: Move

    @property
    def saved(self) -> float:
        """What the fast one saves the hand [s]; to a millionth, as parts of a score are compared."""
        return round(self.clean.score.hand_seconds - self.fast.score.hand_seconds, DECIMALS)

    @property
    def worth_rushing(self) -> bool:
        """Whether the fast one saves touching the glass, and enough for its worse picture."""
        return self.fast.score.glass_seconds < self.clean.score.glass_seconds and self.saved >= WORTH_SAVING


def best_moves(kit: Kit, rig: Rig, places: Sequence[tuple[Light, Look]]) -> list[Answers]:
    """
    For each place's light and look, the exact best clean and fast rigs from this one.

    Raises OutOfRange where the rig is not one of this kit, a look wears what cannot be mounted (`cannot_wear`) or has
    lamps that no shutter is steady under (`no_steady_shutter`), or more than RIGS_MOST or PLACES_MOST are asked about.
    """
    answers: dict[int, Answers] = {}
    for some, questions in _all_at_once(kit, rig, places):
        answers |= zip(some, questions.answers(), strict=True)
    return [answers[number] for number in range(len(places))]


def answering_rigs(kit: Kit, rig: Rig, places: Sequence[tuple[Light, Look]]) -> list[tuple[Rig, Rig | None]]:
    """
    The rigs of `best_moves`, clean and fast, and no more of them: for many levels, in a third of the time.

    fast is None where it is not `worth_rushing`. Raises OutOfRange as `best_moves`.
    """
    found: dict[int, tuple[Rig, Rig | None]] = {}
    for some, questions in _all_at_once(kit, rig, places):
        found |= zip(some, questions.rigs(), strict=True)
    return [found[number] for number in range(len(places))]


def _all_at_once(
    kit: Kit, rig: Rig, places: Sequence[tuple[Light, Look]]
) -> Iterator[tuple[list[int], _Questions]]:  # fmt: skip
    """The questions of all these places, in as few parts as the memory holds, each with its places by number."""
    if len(places) > PLACES_MOST:
        raise OutOfRange("places", say("{count} places", count=len(places)), say("at most {most}", most=PLACES_MOST))
    check_rig(kit, rig)
    for numbers in _alike(places):
        look = places[numbers[0]][1]
        glass, dials = _Glass.of(kit, rig, look.worn), _Dials.of(kit, rig, look)
        _check_size(glass, dials)
        for some in _together(numbers, [places[number][1] for number in numbers], glass, dials):
            yield some, _Questions.of(kit, rig, glass, dials, [places[number] for number in some])


def other_ways(kit: Kit, rig: Rig, light: Light, look: Look) -> list[Move]:
    """
    The rigs that no other beats on hand seconds, clicks from the wanted iris and ISO lift at once, quickest first.

    Of the rigs with the smallest miss (clean's) and, among those, the shutter nearest to the look's. The set is exact;
    of rigs that are equal in all three, the one with the least residual. Raises as `best_moves`.
    """
    check_rig(kit, rig)
    glass, dials = _Glass.of(kit, rig, look.worn), _Dials.of(kit, rig, look)
    _check_size(glass, dials)
    questions = _Questions.of(kit, rig, glass, dials, [(light, look)])
    return [questions.move(0, way, setting) for way, setting in questions.unbeaten()]


def best_pictures(kit: Kit, places: Sequence[tuple[Light, Look]]) -> list[Pictures]:
    """
    For each place, the best picture that the kit allows, and every setup that gets it, whatever is on the camera now.

    Raises OutOfRange where a look wears what cannot be mounted, or has lamps that no shutter of the body is steady
    under (`no_steady_shutter` without a rig).
    """
    bare = Rig(
        holder_on=False, slots=(), threads=(), built_in=kit.body.built_in_nd[0],
        aperture=kit.lens.widest, shutter=kit.body.shutters[0], iso=kit.body.iso_allowed[0],
    )  # fmt: skip
    found: dict[int, Pictures] = {}
    known: dict[frozenset[str], tuple[_Glass, _Glass, Ints]] = {}  # a large pouch's are not remembered between calls
    for numbers in _alike(places):
        look = places[numbers[0]][1]
        if look.worn not in known:
            glass = _Glass.of(kit, bare, look.worn)
            # A picture knows of the glass only what it takes: setups that take the same are one question.
            stops, same = np.unique(glass.stops, return_inverse=True)
            known[look.worn] = glass, replace(glass, stops=stops), same
        glass, takes, same = known[look.worn]
        dials = _Dials.of(kit, bare, look)
        _check_size(glass, dials)
        for some in _together(numbers, [places[number][1] for number in numbers], takes, dials):
            questions = _Questions.of(kit, bare, takes, dials, [places[number] for number in some])
            found |= zip(some, questions.pictures(same), strict=True)
    return [found[number] for number in range(len(places))]


def best_rigs(kit: Kit, rig: Rig, places: Sequence[tuple[Light, Look]]) -> Iterator[BestRigs]:
    """
    For each place, one after another, every rig with the best picture, whatever is on the camera by then.

    The ISO and shutter of this rig are legal at every place. Raises OutOfRange as `best_moves`.
    """
    check_rig(kit, rig)
    for questions in _one_by_one(kit, rig, places):
        yield questions.best_rigs()


def _one_by_one(kit: Kit, rig: Rig, places: Sequence[tuple[Light, Look]]) -> Iterator[_Questions]:
    """Each place's questions alone."""
    known: dict[frozenset[str], _Glass] = {}  # a large pouch's setups are not remembered between calls
    for light, look in places:
        if look.worn not in known:
            known[look.worn] = _Glass.of(kit, rig, look.worn)
        glass = known[look.worn]
        dials = _Dials.of(kit, rig, look)
        _check_size(glass, dials)
        yield _Questions.of(kit, rig, glass, dials, [(light, look)])


@dataclass(frozen=True, slots=True, eq=False)
class Pictures:
    """
    The best picture at a place: parts as in `Score`, and the setups that get it.

    parts  (miss, off_look, shutter_off, iso_lift);  setups: all of them;  able: the numbers of those that get it
    too_bright (able,): whether what each of them misses is on the bright side
    """

    parts: tuple[float, int, float, int]
    setups: Setups
    able: Ints
    too_bright: NDArray[np.bool_]


def _alike(places: Sequence[tuple[Light, Look]]) -> list[list[int]]:
    """The places by what their looks allow: those of one group share their setups and dials."""
    alike: dict[tuple[frozenset[str], bool, int | None], list[int]] = {}
    for number, (_, look) in enumerate(places):
        alike.setdefault((look.worn, look.long_end, look.mains), []).append(number)
    return list(alike.values())


@dataclass(frozen=True, slots=True, eq=False)
class BestRigs:
    """
    Every rig with the best picture at a place: the setups that get it, each with the settings that are near enough.

    setups, able       all setups for what the look wears, and the numbers of those that get it (rows,)
    isos, shutters [s], irises [clicks]
                       the settings with the best look, shutter and ISO, a product of three dials; ISOs by position
    off_wanted [clicks] (irises,)
    """

    setups: Setups
    able: Ints
    isos: Ints
    shutters: Floats
    irises: Ints
    off_wanted: Ints
    _questions: _Questions
    _settings: Ints
    _low: Ints
    _high: Ints

    @property
    def there(self) -> NDArray[np.bool_]:
        """Which settings get the best picture with which setup: (rows, isos, shutters, irises)."""
        low, high = (each[:, None, None, None] for each in (self._low, self._high))
        return (low <= self._settings) & (self._settings < high)

    def residual(self, row: Ints, iso: Ints, shutter: Ints, iris: Ints) -> Floats:
        """What is left wrong [clicks] with these setups and settings, above 0 too bright; all of one shape."""
        left: Floats = (
            self._questions.target[0, row] - self._questions.dials.exposure[self._settings[iso, shutter, iris]]
        )
        return left

    def rig(self, now: Rig, row: int, iso: int, shutter: int, iris: int) -> Rig:
        """The rig of a setup and a setting, the glass put on from a present rig."""
        return self._questions.rig_of(now, int(self.able[row]), int(self._settings[iso, shutter, iris]))

    def move(self, now: Rig, then: Rig, row: int, iso: int, shutter: int, iris: int) -> Move:
        """The move from a present rig to that of a setup and a setting, which may hold other plates while it is off."""
        return self._questions.scored(0, row, int(self._settings[iso, shutter, iris]), now, then)


def _together(numbers: list[int], looks: list[Look], glass: _Glass, dials: _Dials) -> Iterator[list[int]]:
    """The places in parts whose arrays, and whose looks' tables, the memory can hold at once; like looks together."""
    places_most = max(1, CELLS_MOST // len(glass.stops) // 2)
    looks_most = max(1, CELLS_MOST // 4 // len(dials.exposure))
    by_look: dict[Look, list[int]] = {}
    for number, look in zip(numbers, looks, strict=True):
        by_look.setdefault(look, []).append(number)
    part: list[int] = []
    looks_in = 0
    for alike in by_look.values():
        if part and (looks_in == looks_most or len(part) + len(alike) > places_most):
            yield part
            part, looks_in = [], 0
        for start in range(0, len(alike) - places_most, places_most):
            yield alike[start : start + places_most]
        part += alike[(len(alike) - 1) // places_most * places_most :]
        looks_in += 1
    if part:
        yield part


def _check_size(glass: _Glass, dials: _Dials) -> None:
    if (rigs := len(glass.stops) * len(dials.exposure)) > RIGS_MOST:
        raise OutOfRange(
            "filters", say("{rigs} rigs", rigs=rigs), say("a body and a kit with at most {most} rigs", most=RIGS_MOST)
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Glass:
    """
    The setups seen from the present rig.

    stops [stops]; seconds [s], of the glass alone; wheel [s], of the built-in step and a variable ND that is turned.
    """

    setups: Setups
    stops: Floats
    seconds: Floats
    wheel: Floats

    @classmethod
    def of(cls, kit: Kit, rig: Rig, worn: frozenset[str] = frozenset()) -> _Glass:
        check_worn(kit, worn)
        ways = setups(kit.filters, kit.holder, kit.lens.thread, kit.body.built_in_nd, kit.step_ups, worn)
        hands = kit.hands
        in_front = np.array([f.mount == "front" for f in kit.filters], dtype=bool)
        in_holder = np.array([f.id in rig.slots or f.id == rig.front for f in kit.filters], dtype=bool)
        screwed = np.array([f.id in rig.threads for f in kit.filters], dtype=bool)
        plates = ways.on & ways.holder[:, None]
        rings = ways.on & ~ways.holder[:, None]
        # A holder that comes off keeps what is in it: its plates change only where it ends up mounted.
        goes, comes = in_holder & ~plates, plates & ~in_holder
        swaps = _count(goes & ~in_front) * hands.pull + _count(comes & ~in_front) * hands.drop_in
        swaps = swaps + _count(goes & in_front) * hands.front_off + _count(comes & in_front) * hands.front_on
        seconds = np.where(ways.holder, swaps, 0.0)
        seconds += _count(screwed & ~rings) * hands.unscrew + _count(rings & ~screwed) * hands.screw_on
        seconds += ~ways.holder * hands.holder_off if rig.holder_on else ways.holder * hands.holder_on
        here = kit.body.built_in_nd.index(rig.built_in)
        wheel = np.abs(ways.built_in - here) * hands.built_in
        if rig.turned is not None:
            variable = next(n for n, f in enumerate(kit.filters) if f.kind == "variable_nd" and f.id in rig.on_lens)
            wheel += np.where(ways.variable == variable, np.abs(ways.turned - rig.turned) * hands.turn, 0.0)
        return cls(ways, ways.stops, seconds, wheel)


@dataclass(frozen=True, slots=True, eq=False)
class _Dials:
    """
    Every setting of iris, ISO and shutter, in the order of exposure.

    irises [clicks], isos [speed] and iso_positions, shutters [s]: the three dials
    iris, iso, shutter (settings,): each setting's place on them
    exposure [clicks] (settings,): i - c log2 t - c k/3, sorted
    """

    clicks: ClicksPerStop
    irises: Ints
    isos: tuple[float, ...]
    iso_positions: Ints
    shutters: tuple[float, ...]
    iris: Ints
    iso: Ints
    shutter: Ints
    exposure: Floats

    @classmethod
    def of(cls, kit: Kit, rig: Rig, look: Look) -> _Dials:
        """
        The dials of a kit, as far as a look may use them.

        The present ISO and shutter are legal even where the body's lists lack them; of all the shutters, only those
        that are steady under the look's lamps.
        """
        isos = legal_isos(kit, rig)
        irises = kit.irises(long_end=look.long_end)
        return _dials(
            kit.body.clicks_per_stop, irises, tuple(isos[k] for k in sorted(isos)), legal_shutters(kit, rig, look)
        )


@remembered(lambda found: 4 * len(found.exposure))
def _dials(clicks: ClicksPerStop, irises: range, isos: tuple[float, ...], shutters: tuple[float, ...]) -> _Dials:
    i, k = np.array(irises), np.array([iso_position(speed) for speed in isos])
    t = np.log2(np.array(shutters))
    exposure = (i[:, None, None] - clicks * k[None, :, None] / 3 - clicks * t[None, None, :]).ravel()
    order = np.argsort(exposure, kind="stable")
    iris, iso, shutter = np.unravel_index(order, (len(i), len(k), len(t)))
    return _Dials(clicks, i, isos, k, shutters, iris, iso, shutter, exposure[order])


@dataclass(frozen=True, slots=True, eq=False)
class _Wish:
    """
    A look, against the dials: how far each iris, ISO and shutter is off it, and the rank of every setting.

    off_look, off_wanted [clicks] (irises,);  iso_lift [thirds of a stop] (isos,);  shutter_off [thirds] (shutters,)
    ranks: range-minimum tables of the settings' rank by (off_look, shutter_off, iso_lift), 0 the best
    """

    off_look: Ints
    off_wanted: Ints
    iso_lift: Ints
    shutter_off: Floats
    ranks: tuple[Ints, ...]
    _of_rank: dict[int, Ints] = field(default_factory=dict)

    @classmethod
    def of(cls, kit: Kit, dials: _Dials, look: Look) -> _Wish:
        return _wish(
            dials,
            look.shutter,
            tuple(aperture_position(n, dials.clicks) for n in (look.wanted, look.widest, look.narrowest)),
            *quiet_positions(kit.body),
        )

    def of_rank(self, rank: int) -> Ints:
        """The settings that have this rank, by their number."""
        if rank not in self._of_rank:
            self._of_rank[rank] = np.flatnonzero(self.ranks[0] == rank)
        return self._of_rank[rank]


@remembered(lambda found: sum(len(table) for table in found.ranks))
def _wish(
    dials: _Dials, look_shutter: float, look_irises: tuple[int, ...], bases: tuple[int, ...], quiet: int | None
) -> _Wish:
    wanted, widest, narrowest = look_irises
    off_look = np.maximum(0, np.maximum(widest - dials.irises, dials.irises - narrowest))
    iso_lift = np.array([iso_lift_at(k, bases, quiet) for k in dials.iso_positions.tolist()])
    shutter_off = 3 * np.abs(np.log2(np.array(dials.shutters)) - np.log2(look_shutter))
    shutter_class, shutter_classes = _ranked(np.round(shutter_off, DECIMALS))
    iso_class, iso_classes = _ranked(iso_lift)
    rank = off_look[dials.iris] * shutter_classes + shutter_class[dials.shutter]
    rank = rank * iso_classes + iso_class[dials.iso]
    return _Wish(off_look, np.abs(dials.irises - wanted), iso_lift, shutter_off, _range_minimum_tables(rank))


@dataclass(frozen=True, slots=True, eq=False)
class _Questions:
    """
    Some places against every setup; each place asks twice, first all for clean, then all for fast.

    wishes, wish: the different looks, and which of them each question has (questions,)
    target [clicks] (questions, setups): the exposure that would be exact
    allowed [clicks] (questions,): the error that is not minded
    """

    kit: Kit
    rig: Rig
    glass: _Glass
    dials: _Dials
    wishes: list[_Wish]
    wish: Ints
    target: Floats
    allowed: Floats

    @classmethod
    def of(cls, kit: Kit, rig: Rig, glass: _Glass, dials: _Dials, places: Sequence[tuple[Light, Look]]) -> _Questions:
        clicks = dials.clicks
        looks = {look: number for number, look in enumerate(dict.fromkeys(look for _, look in places))}
        ev100 = np.array([light.ev100 for light, _ in places])
        target = (ev100[:, None] - kit.lens.loss_stops - glass.stops) * clicks
        tolerances = [look.tolerance for _, look in places] + [look.rush_tolerance for _, look in places]
        return cls(
            kit,
            rig,
            glass,
            dials,
            wishes=[_Wish.of(kit, dials, look) for look in looks],
            wish=np.array([looks[look] for _, look in places] * 2),
            target=np.concatenate((target, target)),
            allowed=clicks * np.array(tolerances),
        )

    def answers(self) -> list[Answers]:
        found = list(self._best())
        half = len(found) // 2
        cleans = [self.move(number, *found[number]) for number in range(half)]
        fasts = [
            self._again(clean, number + half)
            if found[number] == found[number + half]
            else self.move(number + half, *found[number + half])
            for number, clean in enumerate(cleans)
        ]
        return [Answers(*both) for both in zip(cleans, fasts, strict=True)]

    def rigs(self) -> list[tuple[Rig, Rig | None]]:
        """Each place's clean and fast rig, the fast one where it is worth it; see `answering_rigs`."""
        found = list(self._best())
        half = len(found) // 2
        way, setting = np.array(found).T
        hand, glass = np.empty(len(found)), self.glass.seconds[way]
        for number, wish in enumerate(self.wishes):
            mine = self.wish == number
            hand[mine] = self._hand_seconds(wish, way[mine], setting[mine])
        saved = np.round(hand[:half] - hand[half:], DECIMALS)
        worth_it = (glass[half:] < glass[:half]) & (saved >= WORTH_SAVING)
        rigs = {pair: self.rig_of(self.rig, *pair) for pair in dict.fromkeys(found)}
        return [
            (rigs[clean], rigs[fast] if worth else None)
            for clean, fast, worth in zip(found[:half], found[half:], worth_it.tolist(), strict=True)
        ]

    def _again(self, move: Move, question: int) -> Move:
        """The same move as the answer to another question, which may mind its error less."""
        miss = self._miss(move.residual, question)
        return move if miss == move.score.miss else replace(move, score=replace(move.score, miss=miss))

    def _miss(self, residual: float, question: int) -> float:
        return max(0.0, abs(residual) - float(self.allowed[question]))

    def _best(self) -> Iterator[tuple[int, int]]:
        """Each question's best setup and setting, by their numbers."""
        distance = self._distance()
        miss = np.round(np.maximum(0.0, distance.min(axis=1) - self.allowed), DECIMALS)
        reach = miss + self.allowed + EDGE
        able = distance <= reach[:, None]
        fast = slice(len(miss) // 2, None)
        seconds = np.round(self.glass.seconds, DECIMALS)
        least = np.where(able[fast], seconds, np.inf).min(axis=1)
        able[fast] &= seconds <= least[:, None]

        question, way = np.nonzero(able)
        low, high = self._windows(self.target[question, way], reach[question])
        rank = self._best_rank(self.wish[question], low, high)
        best = np.minimum.reduceat(rank, np.searchsorted(question, np.arange(len(miss))))
        keep = rank == best[question]
        return self._least_effort(question[keep], way[keep], best, reach)

    def _distance(self) -> Floats:
        """How near [clicks] any setting comes to each target."""
        half = self.target[: len(self.target) // 2]
        row = self.dials.exposure
        above = np.searchsorted(row, half)
        to_above = np.abs(row[np.minimum(above, len(row) - 1)] - half)
        to_below = np.abs(row[np.maximum(above - 1, 0)] - half)
        nearest = np.minimum(to_above, to_below)
        return np.concatenate((nearest, nearest))

    def _windows(self, target: Floats, reach: Floats | np.float64) -> tuple[Ints, Ints]:
        """Where the settings start and end that are within reach of each target; each has one at least."""
        row = self.dials.exposure
        low = np.searchsorted(row, target - reach, side="left")
        high = np.searchsorted(row, target + reach, side="right")
        empty = np.flatnonzero(low == high)
        if len(empty):  # an end was rounded past the setting that is only just within reach: it is a neighbour
            below, above = np.maximum(low[empty] - 1, 0), np.minimum(low[empty], len(row) - 1)
            nearer = np.abs(row[below] - target[empty]) <= np.abs(row[above] - target[empty])
            low[empty] = np.where(nearer, below, above)
            high[empty] = low[empty] + 1
        return low, high

    def _best_rank(self, wish: Ints, low: Ints, high: Ints) -> Ints:
        """The smallest rank among the settings low <= n < high, by each one's wish; no window may be empty."""
        level = np.frexp(high - low)[1] - 1  # floor(log2(length)), exact for integers
        best = np.empty(len(low), dtype=np.intp)
        for number, asked in enumerate(self.wishes):
            mine = wish == number
            for each in set(level[mine].tolist()):
                at = np.flatnonzero(mine & (level == each))
                row = asked.ranks[each]
                best[at] = np.minimum(row[low[at]], row[high[at] - (1 << each)])
        return best

    def _least_effort(self, question: Ints, way: Ints, best: Ints, reach: Floats) -> Iterator[tuple[int, int]]:
        """Among each question's setups, and the settings of its best rank: the least effort, then least residual."""
        kinds = list(dict.fromkeys(zip(self.wish.tolist(), best.tolist(), strict=True)))
        cells = [self.wishes[wish].of_rank(rank) for wish, rank in kinds]
        costs = [self._setting_cost(self.wishes[wish], some) for (wish, _), some in zip(kinds, cells, strict=True)]
        cell, cost = np.concatenate(cells), np.concatenate(costs)
        sizes = np.array([len(some) for some in cells])
        number_of = {kind: number for number, kind in enumerate(kinds)}
        kind = np.array([number_of[each] for each in zip(self.wish.tolist(), best.tolist(), strict=True)])
        size, first = sizes[kind][question], (np.cumsum(sizes) - sizes)[kind][question]

        way_cost = self.glass.seconds + self.glass.wheel
        known = np.full((2, len(best)), np.inf)  # effort and residual of the best so far
        chosen = np.zeros((2, len(best)), dtype=np.intp)  # its setup and setting
        for rows in _batches(size):
            row = np.repeat(np.arange(rows.start, rows.stop), size[rows])
            ends = np.cumsum(size[rows])
            at = np.arange(ends[-1]) - np.repeat(ends - size[rows] - first[rows], size[rows])
            asked = question[row]
            residual = np.abs(self.target[asked, way[row]] - self.dials.exposure[cell[at]])
            effort = np.round(way_cost[way[row]] + cost[at], DECIMALS)
            effort[residual > reach[asked]] = np.inf
            residual = np.round(residual, DECIMALS)
            # Stable, so that the order of the setups breaks the last ties.
            order = np.lexsort((residual, effort, asked))
            here, winners = np.unique(asked[order], return_index=True)
            top = order[winners]
            better = (effort[top] < known[0, here]) | (
                (effort[top] == known[0, here]) & (residual[top] < known[1, here])
            )
            here, top = here[better], top[better]
            known[:, here] = effort[top], residual[top]
            chosen[:, here] = way[row[top]], cell[at[top]]
        yield from zip(*chosen.tolist(), strict=True)

    def _setting_cost(self, wish: _Wish, some: Ints) -> Floats:
        """What the hand needs for these settings [s], and what their distance from the wanted iris is worth."""
        hands, dials = self.kit.hands, self.dials
        turned = np.abs(dials.irises - aperture_position(self.rig.aperture, dials.clicks))
        iris = (turned * hands.iris + wish.off_wanted * hands.stray) / dials.clicks
        iso = np.where(dials.iso_positions == iso_position(self.rig.iso), 0.0, hands.iso)
        shutter = np.where(np.array(dials.shutters) == self.rig.shutter, 0.0, hands.shutter)
        cost: Floats = iris[dials.iris[some]] + iso[dials.iso[some]] + shutter[dials.shutter[some]]
        return cost

    def _hand_seconds(self, wish: _Wish, way: Ints, setting: Ints) -> Floats:
        """What the hand needs in all [s] for setups, each with a setting."""
        stray = self.kit.hands.stray * wish.off_wanted[self.dials.iris[setting]] / self.dials.clicks
        seconds: Floats = (self.glass.seconds + self.glass.wheel)[way] + self._setting_cost(wish, setting) - stray
        return seconds

    def unbeaten(self) -> list[tuple[int, int]]:
        """The setup and setting of every rig of the first question that no other beats; see `other_ways`."""
        way, setting = self._within_reach()
        wish, dials = self.wishes[self.wish[0]], self.dials
        off = np.round(wish.shutter_off[dials.shutter[setting]], DECIMALS)
        way, setting = way[off == off.min()], setting[off == off.min()]
        seconds = np.round(self._hand_seconds(wish, way, setting), DECIMALS)
        residual = np.round(np.abs(self.target[0, way] - dials.exposure[setting]), DECIMALS)
        measures = np.stack((seconds, wish.off_wanted[dials.iris[setting]], wish.iso_lift[dials.iso[setting]]))
        # The quickest for each iris and ISO lift; only these can be unbeaten, and they are few.
        order = np.lexsort((residual, measures[0], measures[2], measures[1]))
        first = np.flatnonzero(np.any(np.diff(measures[1:, order], axis=1, prepend=-1), axis=0))
        few = order[first]
        few = few[np.argsort(measures[0, few], kind="stable")]
        ours, theirs = measures[:, few, None], measures[:, None, few]
        beaten = np.any(np.all(theirs <= ours, axis=0) & np.any(theirs < ours, axis=0), axis=1)
        return list(zip(way[few[~beaten]].tolist(), setting[few[~beaten]].tolist(), strict=True))

    def pictures(self, same: Ints) -> list[Pictures]:
        """
        Each place's best picture, by clean's question, and the setups that get it.

        same (setups,): which of the glass's stops each setup takes
        """
        places = len(self.wish) // 2
        distance, allowed = self._distance()[:places], self.allowed[:places]
        miss = np.round(np.maximum(0.0, distance.min(axis=1) - allowed), DECIMALS)
        reach = miss + allowed + EDGE
        place, way = np.nonzero(distance <= reach[:, None])
        target = self.target[place, way]
        low, high = self._windows(target, reach[place])
        rank = self._best_rank(self.wish[place], low, high)
        best = np.minimum.reduceat(rank, np.searchsorted(place, np.arange(places)))
        keep = np.flatnonzero(rank == best[place])
        place, way, low = place[keep], way[keep], low[keep]

        # Settings below the target let in too much light. Where nothing is missed there are no sides.
        below = np.minimum(np.searchsorted(self.dials.exposure, target[keep]), high[keep])
        too_bright = (miss[place] > 0) & (low < below)
        at = np.flatnonzero(too_bright)
        too_bright[at] = self._best_rank(self.wish[place[at]], low[at], below[at]) == best[place[at]]

        found = []
        sides = np.zeros((2, len(self.glass.stops)), dtype=bool)  # what gets the picture, and what is too bright then
        for number, pair in enumerate(pairwise(np.searchsorted(place, np.arange(places + 1)).tolist())):
            mine = slice(*pair)
            sides[:] = False
            sides[0, way[mine]], sides[1, way[mine]] = True, too_bright[mine]
            able = np.flatnonzero(sides[0, same])
            parts = self._parts(number, float(miss[number]), int(best[number]))
            found.append(Pictures(parts, self.glass.setups, able, sides[1, same[able]]))
        return found

    def _parts(self, question: int, miss: float, rank: int) -> tuple[float, int, float, int]:
        """What the settings of this rank are worth to a question's look; see `Pictures`."""
        wish, dials = self.wishes[self.wish[question]], self.dials
        setting = wish.of_rank(rank)[0]
        return (
            miss,
            int(wish.off_look[dials.iris[setting]]),
            round(float(wish.shutter_off[dials.shutter[setting]]), DECIMALS),
            int(wish.iso_lift[dials.iso[setting]]),
        )

    def best_rigs(self) -> BestRigs:
        """Every rig with the best picture of the first question."""
        _, able, low, high, rank = self._best_picture()
        wish, dials = self.wishes[self.wish[0]], self.dials
        some = wish.of_rank(rank)
        if len(able) * len(some) > CELLS_MOST:
            raise OutOfRange(
                "filters",
                say("{count} rigs at one stop", count=len(able) * len(some)),
                say("at most {most}", most=CELLS_MOST),
            )
        # A rank is one off_look, one shutter_off and one iso_lift, so its settings are a product of three dials.
        some = some[np.lexsort((dials.iris[some], dials.shutter[some], dials.iso[some]))]
        iso, shutter, iris = (np.unique(dial[some]) for dial in (dials.iso, dials.shutter, dials.iris))
        settings = some.reshape(len(iso), len(shutter), len(iris))
        return BestRigs(
            self.glass.setups,
            able,
            dials.iso_positions[iso],
            np.array(dials.shutters)[shutter],
            dials.irises[iris],
            wish.off_wanted[iris],
            replace(self, target=self.target[:1, able]),  # a day keeps one of these for each of its stops
            settings,
            low,
            high,
        )

    def _best_picture(self) -> tuple[float, Ints, Ints, Ints, int]:
        """
        The smallest miss of the first question; the setups that get its best picture, each with its window of
        settings, low <= n < high; and the rank of that picture.
        """
        distance = self._distance()[0]
        miss = float(np.round(max(0.0, distance.min() - self.allowed[0]), DECIMALS))
        reach = miss + self.allowed[0] + EDGE
        able = np.flatnonzero(distance <= reach)
        low, high = self._windows(self.target[0, able], np.full(len(able), reach))
        rank = self._best_rank(np.broadcast_to(self.wish[0], len(able)), low, high)
        best = int(rank.min())
        mine = rank == best
        return miss, able[mine], low[mine], high[mine], best

    def _within_reach(self) -> tuple[Ints, Ints]:
        """Every setup and setting with the smallest miss of the first question."""
        distance = self._distance()[0]
        reach = np.round(max(0.0, distance.min() - self.allowed[0]), DECIMALS) + self.allowed[0] + EDGE
        able = np.flatnonzero(distance <= reach)
        low, high = self._windows(self.target[0, able], reach)
        size = high - low
        starts = np.repeat(np.cumsum(size) - size - low, size)
        return np.repeat(able, size), np.arange(size.sum()) - starts

    def move(self, question: int, way: int, setting: int) -> Move:
        return self.scored(question, way, setting, self.rig, self.rig_of(self.rig, way, setting))

    def rig_of(self, now: Rig, way: int, setting: int) -> Rig:
        """The rig of a setup and a setting, the glass put on from a present rig."""
        dials, kit = self.dials, self.kit
        return replace(
            glass_on(kit, now, self.glass.setups, way),
            built_in=kit.body.built_in_nd[self.glass.setups.built_in[way]],
            aperture=marked_f_number(int(dials.irises[dials.iris[setting]]), dials.clicks),
            shutter=dials.shutters[dials.shutter[setting]],
            iso=dials.isos[dials.iso[setting]],
        )

    def scored(self, question: int, way: int, setting: int, now: Rig, then: Rig) -> Move:
        """The move from one rig to another, which is that of a setup and a setting, as an answer to a question."""
        dials, kit, wish = self.dials, self.kit, self.wishes[self.wish[question]]
        iris, iso, shutter = int(dials.iris[setting]), int(dials.iso[setting]), int(dials.shutter[setting])
        done = actions(kit, now, then)
        residual = float(self.target[question, way] - dials.exposure[setting])
        hand_seconds = sum(action.seconds for action in done)
        off_wanted = int(wish.off_wanted[iris])
        score = Score(
            miss=self._miss(residual, question),
            off_look=int(wish.off_look[iris]),
            shutter_off=float(wish.shutter_off[shutter]),
            iso_lift=int(wish.iso_lift[iso]),
            hand_seconds=hand_seconds,
            glass_seconds=sum(action.seconds for action in done if action.do in GLASS_ACTIONS),
            off_wanted=off_wanted,
            effort=hand_seconds + kit.hands.stray * off_wanted / dials.clicks,
        )
        return Move(then, done, residual, score)


def check_worn(kit: Kit, worn: frozenset[str], field: str = "look.worn") -> None:
    """Raise OutOfRange, which names this field, unless a look's own glass can be worn on this kit's lens."""
    if missing := cannot_wear(kit, worn):
        raise OutOfRange(field, sorted(worn), say("glass that can be mounted together: {missing}", missing=missing))


def cannot_wear(kit: Kit, worn: frozenset[str]) -> str:
    """What is missing for a look's own glass on this kit's lens; empty where it can be worn."""
    if any(piece.id in worn and not piece.worn for piece in kit.filters):
        return say("grey glass is the solver's to choose")
    return why_not(kit.filters, kit.holder, kit.lens.thread, kit.step_ups, worn)


def no_steady_shutter(kit: Kit, rig: Rig | None, look: Look) -> str:
    """
    What is missing for shutters that are steady under the look's lamps; empty where there is one, or any will do.

    rig: the one on the camera, whose shutter counts too; None: the body's list alone, as for `best_pictures`.
    """
    if look.mains is None:
        return ""
    shutters = kit.body.shutters if rig is None else (rig.shutter, *kit.body.shutters)
    if _steady(shutters, look.mains):
        return ""
    has = ", ".join(dict.fromkeys(marked_shutter(seconds) for seconds in sorted(shutters, reverse=True)))
    steady = listed([marked_shutter(seconds) for seconds in reversed(nearest_steady(look.shutter, look.mains))])
    return say("none of {has} is steady at {mains} Hz, as {steady} would be", has=has, mains=look.mains, steady=steady)


@lru_cache(maxsize=1024)
def _steady(shutters: tuple[float, ...], mains: int) -> tuple[float, ...]:
    return tuple(seconds for seconds in shutters if is_steady(seconds, mains))


def glass_on(kit: Kit, now: Rig, ways: Setups, way: int) -> Rig:
    """The present rig with the glass of a setup: what stays keeps its slot, what comes takes the free ones."""
    chosen = [kit.filters[number] for number in np.flatnonzero(ways.on[way])]
    turned = float(ways.turned[way]) if ways.variable[way] >= 0 else None
    if not ways.holder[way]:
        threads = kept_first(now.threads, [piece.id for piece in chosen])
        return replace(now, holder_on=False, threads=threads, turned=turned)
    front = next((piece.id for piece in chosen if piece.mount == "front"), None)
    slots = kept_first(now.slots, [piece.id for piece in chosen if piece.mount != "front"])
    return replace(now, holder_on=True, slots=slots, threads=(), front=front, turned=turned)


def kept_first(now: tuple[str, ...], chosen: list[str]) -> tuple[str, ...]:
    """The chosen filters, by id: those that are there already in their present order, then the others."""
    return (*(f for f in now if f in chosen), *(f for f in chosen if f not in now))


def legal_isos(kit: Kit, rig: Rig) -> dict[int, float]:
    """The ISOs by their position: the body's, and the present one even where its list lacks it."""
    isos = {iso_position(rig.iso): rig.iso}
    for speed in kit.body.iso_allowed:
        isos.setdefault(iso_position(speed), speed)
    return isos


def legal_shutters(kit: Kit, rig: Rig, look: Look, field: str = "look.mains") -> tuple[float, ...]:
    """
    The shutters [s], in order, that are steady under the look's lamps: the body's, and the present one.

    Raises OutOfRange with this field where none is.
    """
    shutters = tuple(sorted({rig.shutter, *kit.body.shutters}))
    if look.mains is None:
        return shutters
    if missing := no_steady_shutter(kit, rig, look):
        raise OutOfRange(field, look.mains, say("lamps that a shutter is steady under: {missing}", missing=missing))
    return _steady(shutters, look.mains)


def quiet_positions(body: Body) -> tuple[tuple[int, ...], int | None]:
    """Where the ISO shows no noise, as `iso_lift_at` asks for it: the bases in order, and up to where above them."""
    bases = tuple(sorted(iso_position(base) for base in body.iso_base))
    return bases, None if body.iso_quiet is None else iso_position(body.iso_quiet)


def millionths(part: Floats) -> Bits:
    """Parts of a score in whole millionths, which add up exactly."""
    whole: Bits = np.rint(part * MILLION).astype(np.int64)
    return whole


def summed(parts: Iterable[float]) -> float:
    """The sum of a score's rounded parts, as the contract has it."""
    return round(math.fsum(round(part, DECIMALS) for part in parts), DECIMALS)


def iso_lift_at(position: int, bases: tuple[int, ...], quiet: int | None) -> int:
    """Thirds of a stop above where the ISO shows no noise; below every base, the distance to the lowest."""
    below = [position - base for base in bases if base <= position]
    if not below:
        return bases[0] - position
    if quiet is not None:
        below.append(max(0, position - quiet))
    return min(below)


def _ranked(values: Floats | Ints) -> tuple[Ints, int]:
    """Each value's rank among the different ones, from 0, and how many there are."""
    different, rank = np.unique(values, return_inverse=True)
    return rank.astype(np.intp), len(different)


def _range_minimum_tables(values: Ints) -> tuple[Ints, ...]:
    """Table j holds the minimum of the 2^j values from each place on: any range is covered by two of them."""
    tables = [values]
    while len(tables[-1]) > (half := 1 << (len(tables) - 1)):
        tables.append(np.minimum(tables[-1][:-half], tables[-1][half:]))
    return tuple(tables)


def _batches(size: Ints) -> Iterator[slice]:
    """Runs of rows that together hold few enough cells for the memory; a row is never divided."""
    ends = np.cumsum(size)
    start, done = 0, 0
    while start < len(size):
        stop = max(start + 1, int(np.searchsorted(ends, done + CELLS_MOST, side="right")))
        yield slice(start, stop)
        start, done = stop, int(ends[stop - 1])


def _count(mask: NDArray[np.bool_]) -> Ints:
    counted: Ints = mask.sum(axis=1, dtype=np.intp)
    return counted
