"""
The shot through the door, in one take: the camera runs while the shooter walks from one light into another.

No glass can be touched during a take, and the shutter stays, since it is tied to the frame rate. So a way to take it is
a pair of rigs that differ in one dial, which the hand rides: the iris, a variable ND's turn, or the ISO. For each of
the three the best of every pair of legal rigs is found without listing them:

1. what stays (glass, and the two other dials) says how much light is left for the ridden dial at each end, and there
   the two ends know nothing of each other: each has its nearest position, and so its miss, by itself;
2. where the sum of both misses is the smallest, each end has a window of positions that get it, and a table says how
   little the best of them costs of the look, or of the quiet ISOs;
3. only the hand ties the ends together, as it has to get from one to the other: for the best pictures alone, the
   cheapest pairs of each two windows are looked up, and the few that no other can beat are compared as they are.

Setups that take the same light are one, with the least hand time that any of them has. Held to every pair of legal rigs
in tests/exposure/test_takes.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from server.language import say

from .changes import Rigs, bits_of, seconds
from .glass import Setups, setups
from .moves import (
    EDGE,
    MILLION,
    RIGS_MOST,
    Move,
    Score,
    check_worn,
    glass_on,
    iso_lift_at,
    legal_isos,
    legal_shutters,
    millionths,
    quiet_positions,
    summed,
)
from .refused import OutOfRange
from .rig import GLASS_ACTIONS, actions, check_rig, glass_stops
from .scales import aperture_position, iso_position, marked_f_number

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .light import Light
    from .rig import Kit, Look, Rig

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]
    Bits = NDArray[np.int64]

Kind = Literal["iris", "variable_nd", "iso"]

SLACK = 2 / MILLION + 1e-8  # s: what two rounded parts may hide of a sum, and a long sum's last digits
# A take is answered exactly or refused, past this and past `moves.RIGS_MOST` for the rigs of one end.
PAIRS_MOST = 1_000_000  # pairs as good as the best in all but the last parts, which are compared one by one
CELLS_MOST = 300_000  # of one array; what is larger is worked through in parts


@dataclass(frozen=True, slots=True, order=True)
class TakeScore:
    """
    The sums over both ends of a take, each of parts rounded to 1e-6; compared in this order, smallest best.

    miss, off_look, residual (of its sizes)  [clicks];  shutter_off, iso_lift  [thirds of a stop];  effort  [s]
    """

    miss: float
    off_look: int
    shutter_off: float
    iso_lift: int
    effort: float
    residual: float


@dataclass(frozen=True, slots=True)
class Ride:
    """
    A way to take it: the move from the rig on the camera to that of the first frame, and the ride to that of the last.

    kind: the dial that is ridden. The end's actions are the ride: one at most, none where the dial may stay.
    """

    kind: Kind
    start: Move
    end: Move
    score: TakeScore


@dataclass(frozen=True, slots=True)
class Takes:
    """The best of the rides, and the others, the next best first; one that is not possible is left out."""

    best: Ride
    others: tuple[Ride, ...]


def best_takes(kit: Kit, rig: Rig, start: tuple[Light, Look], end: tuple[Light, Look]) -> Takes:
    """
    For each dial that can be ridden, the exact best pair of rigs for the first and the last frame of one take.

    rig         what is on the camera before the take, when there is time to set up
    start, end  the light and the look at either end

    Best is the smallest `TakeScore`. Effort counts the hand seconds to set up at the start and those of the ride at the
    end, and at each what the distance from the wanted iris is worth. Pairs that tie: fewest filters on the lens, then
    the kit's order; rides that tie: iris, variable ND, ISO.

    Where the two looks have a zoom at different ends, an iris that is ridden keeps to each end's own positions, one
    that stays to those that both have. Only shutters that are steady under the lamps of both ends are used.

    Raises OutOfRange where the rig is not one of this kit, the looks do not wear the same ("end.worn") or wear what
    cannot be mounted ("start.worn"), no shutter is steady ("start.mains", "end.mains"), and past the limits above.
    """
    check_rig(kit, rig)
    check_worn(kit, start[1].worn, "start.worn")
    if end[1].worn != start[1].worn:
        same = ", ".join(sorted(start[1].worn)) or say("nothing")
        raise OutOfRange(
            "end.worn", sorted(end[1].worn), say("what the start wears, {same}: no glass changes in a take", same=same)
        )
    take = _Take.of(kit, rig, start, end)
    rides = [take.ride_iris(), *take.ride_variable_nd(), take.ride_iso()]
    best, *others = sorted(rides, key=lambda ride: ride.score)  # stable: those that tie stay in this order
    return Takes(best, tuple(others))


@dataclass(frozen=True, slots=True, eq=False)
class _Dial:
    """
    The dial that is ridden, in the order of the light that its positions take; a pair is one for each end.

    takes   [clicks] (positions,)
    off     (positions,) what each costs of the picture: clicks outside the look for the iris, lift for the ISO
    to      [s] (positions,) what the hand needs to set it before the take, and what it strays from the first look
    onward  [s] (positions of the start, of the end) the ride, and what it strays from the last look
    part    which of `_Rest.parts` off belongs to
    """

    takes: tuple[Floats, Floats]
    off: tuple[Ints, Ints]
    to: Floats
    onward: Floats
    part: int


@dataclass(frozen=True, slots=True, eq=False)
class _Rest:
    """
    Every setting of the dials that stay; all arrays are (settings,).

    iris [clicks], iso by its position, shutter [s];  0 for the one that is ridden
    takes   [clicks]
    parts   off_look [clicks], shutter_off [millionths of a third of a stop], iso_lift [thirds]: sums over both ends
    to      [s] what the hand needs to set them before the take, and what they stray from the first look
    stray   [s] what they stray from the last look
    """

    iris: Ints
    iso: Ints
    shutter: Floats
    takes: Floats
    parts: tuple[Bits, Bits, Bits]
    to: Floats
    stray: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Sets:
    """
    The setups in groups that take the same light, and of those only what the least hand time leaves in the running.

    takes [clicks], least [s] (groups,)   the light, and the least hand time
    first, count (groups,)                where a group's setups start in these arrays, and how many they are
    way, to [s] (setups,)                 which setup it is, and its hand time
    """

    takes: Floats
    least: Floats
    first: Ints
    count: Ints
    way: Ints
    to: Floats

    @classmethod
    def of(cls, takes: Floats, to: Floats, way: Ints) -> _Sets:
        """
        Setups (setups,) by what they take [clicks] and the hand's seconds [s]; way: which they are.

        Those of one group are alike in all but the hand's seconds, so the first with the least of them is the best;
        the next ones are kept as far as a rounding may hide how much later they are.
        """
        takes, group = np.unique(np.round(takes, 12), return_inverse=True)
        to = np.round(to, 12)
        least = np.full(len(takes), np.inf)
        np.minimum.at(least, group, to)
        near = np.flatnonzero(to <= least[group] + SLACK)
        near = near[np.lexsort((way[near], to[near], group[near]))]
        new = np.ones(len(near), dtype=bool)
        new[1:] = (group[near[1:]] != group[near[:-1]]) | (to[near[1:]] != to[near[:-1]])
        near = near[new]
        count = np.bincount(group[near], minlength=len(takes))
        return cls(takes, least, np.cumsum(count) - count, count, way[near], to[near])


@dataclass(frozen=True, slots=True, order=True)
class _Found:
    """
    The best pair of one search, and how it compares.

    score    miss, off_look, shutter_off, iso_lift, effort, residual; whole numbers, or millionths of one
    way      the setup; setting, its place in `_Rest`; one, other: the ridden dial's places at the two ends
    """

    score: tuple[int, ...]
    way: int
    setting: int
    one: int
    other: int


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """
    The pairs of rigs with the best picture of some setups, as windows on the ridden dial.

    score                    `_Found.score` as far as iso_lift
    group, setting (pairs,)  what stays, by its place in `_Sets` and `_Rest`
    low, high (2, pairs)     the positions that get it at each end: low <= position < high
    """

    score: tuple[int, ...]
    group: Ints
    setting: Ints
    low: Ints
    high: Ints


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """
    The best of all pairs that ride one dial; a pair is one for each end.

    target   [clicks]  what the glass and the dials should take
    allowed  [clicks]  the error that is not minded
    least    (positions, positions + 1)  the smallest of the dial's `off` in any window low <= position < high
    """

    dial: _Dial
    rest: _Rest
    sets: _Sets
    target: tuple[float, float]
    allowed: tuple[float, float]
    least: tuple[Ints, Ints]

    def best(self) -> _Found:
        """The best pair. Raises OutOfRange where more than PAIRS_MOST have to be compared one by one."""
        found: list[_Found] = []
        compared = 0
        at_once = max(1, CELLS_MOST // len(self.rest.takes))
        for first in range(0, len(self.sets.takes), at_once):
            pairs = self._pictures(first, first + at_once)
            # A picture's score is the start of a pair's; where the two tie as far as that, the shorter is the smaller.
            if any(pairs.score > each.score for each in found):
                continue
            best, count = self._least_effort(pairs, PAIRS_MOST - compared)
            compared += count
            found.append(best)
        return min(found)  # there is a setup always: what is worn can be mounted

    def _pictures(self, first: int, last: int) -> _Pairs:
        """The pairs with the best picture of some groups of setups, first <= group < last."""
        takes = self.sets.takes[first:last, None] + self.rest.takes
        misses = [self._miss(end, takes) for end in (0, 1)]
        miss = misses[0] + misses[1]
        score = [int(miss.min())]
        group, setting = np.nonzero(miss == score[0])
        windows = [self._window(end, takes[group, setting], misses[end][group, setting]) for end in (0, 1)]
        low, high = (np.stack(each) for each in zip(*windows, strict=True))
        keep = np.arange(len(group))
        for number, part in enumerate(self.rest.parts):
            costs = part[setting[keep]]
            if number == self.dial.part:
                for end, least in enumerate(self.least):
                    costs = costs + least[low[end, keep], high[end, keep]]
            score.append(int(costs.min()))
            keep = keep[costs == score[-1]]
        return _Pairs(tuple(score), first + group[keep], setting[keep], low[:, keep], high[:, keep])

    def _miss(self, end: int, takes: Floats) -> Bits:
        """What the dial's nearest position misses at one end, beside what the rest takes [millionths of a click]."""
        want = self.target[end] - takes
        off = np.abs(self.dial.takes[end][self._nearest(end, want)] - want)
        return millionths(np.maximum(0.0, off - self.allowed[end]))

    def _nearest(self, end: int, want: Floats) -> Ints:
        """The dial's position at one end that takes most nearly what is wanted [clicks]."""
        row = self.dial.takes[end]
        return np.searchsorted((row[:-1] + row[1:]) / 2, want)

    def _window(self, end: int, takes: Floats, miss: Bits) -> tuple[Ints, Ints]:
        """Where the dial's positions start and end that miss no more than this at one end."""
        row, want = self.dial.takes[end], self.target[end] - takes
        reach = miss / MILLION + self.allowed[end] + EDGE
        nearest = self._nearest(end, want)  # always inside: an end may be rounded past what is only just within reach
        low = np.minimum(nearest, np.searchsorted(row, want - reach, side="left"))
        high = np.maximum(nearest + 1, np.searchsorted(row, want + reach, side="right"))
        return low, high

    def _least_effort(self, pairs: _Pairs, most: int) -> tuple[_Found, int]:
        """Of the pairs with the best picture the least effort, then the least residual; and how many were compared."""
        (low, high), base = (pairs.low, pairs.high), 1 + max(map(len, self.dial.takes))
        code = ((low[0] * base + high[0]) * base + low[1]) * base + high[1]
        _, some, window = np.unique(code, return_index=True, return_inverse=True)
        cheapest = [self._cheapest(low[:, number], high[:, number]) for number in some.tolist()]
        cost = np.array([least for least, _ in cheapest])
        cells = np.concatenate([places for _, places in cheapest], axis=1)
        size = np.array([places.shape[1] for _, places in cheapest])

        rest = self.rest.to + self.rest.stray
        bound = self.sets.least[pairs.group] + rest[pairs.setting] + cost[window]
        keep = np.flatnonzero(bound <= bound.min() + SLACK)
        group, setting, window = pairs.group[keep], pairs.setting[keep], window[keep]
        sizes = self.sets.count[group] * size[window]
        if (count := int(sizes.sum())) > most:
            allowed = say("fewer filters or narrower looks: at most {most} can be compared", most=PAIRS_MOST)
            raise OutOfRange("filters", say("too many takes that are as good as the best"), allowed)
        # Each row of what stays with each of its group's setups and each of its window's positions.
        row = np.repeat(np.arange(len(keep)), sizes)
        setup, cell = np.divmod(np.arange(count) - np.repeat(np.cumsum(sizes) - sizes, sizes), size[window[row]])
        setup += self.sets.first[group[row]]
        one, other = cells[:, (np.cumsum(size) - size)[window[row]] + cell]
        return self._compared(pairs.score, setup, group[row], setting[row], one, other), count

    def _cheapest(self, low: Ints, high: Ints) -> tuple[float, Ints]:
        """
        What the ridden dial costs the hand at least [s] in the windows of both ends, and the positions (2, cells) that
        a rounding may leave with it.
        """
        one, other = (
            low[end] + np.flatnonzero(off[low[end] : high[end]] == least[low[end], high[end]])
            for end, (off, least) in enumerate(zip(self.dial.off, self.least, strict=True))
        )
        cost = self.dial.to[one, None] + self.dial.onward[np.ix_(one, other)]
        near = np.nonzero(cost <= cost.min() + SLACK)
        return float(cost.min()), np.stack((one[near[0]], other[near[1]]))

    def _compared(
        self, picture: tuple[int, ...], setup: Ints, group: Ints, setting: Ints, one: Ints, other: Ints
    ) -> _Found:
        """The best of some pairs with the same picture; every array is (pairs,)."""
        dial, rest, sets = self.dial, self.rest, self.sets
        effort = millionths(sets.to[setup] + rest.to[setting] + dial.to[one])
        effort += millionths(dial.onward[one, other] + rest.stray[setting])
        takes = sets.takes[group] + rest.takes[setting]
        residual = np.zeros_like(effort)
        for target, row, place in zip(self.target, dial.takes, (one, other), strict=True):
            residual += millionths(np.abs(target - takes - row[place]))
        keep = np.arange(len(group))
        for part in (effort, residual, sets.way[setup], setting, one, other):
            keep = keep[part[keep] == part[keep].min()]
        best = keep[0]
        return _Found(
            (*picture, int(effort[best]), int(residual[best])),
            int(sets.way[setup[best]]),
            int(setting[best]),
            int(one[best]),
            int(other[best]),
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Take:
    """
    A take to be answered; a pair is one for each end.

    irises [clicks], each end's own; both [clicks], those that are there at both ends
    isos, the speeds by their positions;  shutters [s];  ways, every setup
    """

    kit: Kit
    rig: Rig
    ends: tuple[tuple[Light, Look], tuple[Light, Look]]
    irises: tuple[Ints, Ints]
    both: Ints
    isos: dict[int, float]
    shutters: Floats
    ways: Setups

    @classmethod
    def of(cls, kit: Kit, rig: Rig, start: tuple[Light, Look], end: tuple[Light, Look]) -> _Take:
        here, there = (kit.irises(long_end=look.long_end) for _, look in (start, end))
        both = range(max(here.start, there.start), here.stop)  # zoomed in or not, a lens closes to the same
        isos = legal_isos(kit, rig)
        shutters = _shutters(kit, rig, start[1], end[1])
        ways = setups(kit.filters, kit.holder, kit.lens.thread, kit.body.built_in_nd, kit.step_ups, start[1].worn)
        rigs = len(ways.stops) * max(len(here), len(there)) * len(isos) * len(shutters)
        if rigs > RIGS_MOST:
            raise OutOfRange(
                "filters",
                say("{rigs} rigs", rigs=rigs),
                say("a body and a kit with at most {most} rigs", most=RIGS_MOST),
            )
        irises = np.array(here), np.array(there)
        return cls(kit, rig, (start, end), irises, np.array(both), isos, np.array(shutters), ways)

    def ride_iris(self) -> Ride:
        """The glass, the variable ND's turn, ISO and shutter stay."""
        here, there = self.irises
        ridden = np.abs(here[:, None] - there) * self.kit.hands.iris / self.kit.body.clicks_per_stop
        dial = _Dial(
            takes=(here.astype(np.float64), there.astype(np.float64)),
            off=(self._off_look(0, here), self._off_look(1, there)),
            to=self._to_iris(here) + self._stray(0, here),
            onward=ridden + self._stray(1, there),
            part=0,
        )
        rest = self._rest(np.zeros(1, dtype=np.intp), self._iso_positions(), ridden="iris")
        found = self._search(dial, rest, self._sets()).best()
        first = self._rig(rest, found, iris=int(here[found.one]))
        return self._ride("iris", first, replace(first, aperture=self._marked(int(there[found.other]))))

    def ride_iso(self) -> Ride:
        """The glass, the variable ND's turn, iris and shutter stay."""
        hands, positions = self.kit.hands, self._iso_positions()[::-1]  # the slowest takes most
        takes = -positions * self.kit.body.clicks_per_stop / 3
        lift = self._iso_lift(positions)
        dial = _Dial(
            takes=(takes, takes),
            off=(lift, lift),
            to=self._to_iso(positions),
            onward=(positions[:, None] != positions) * hands.iso,
            part=2,
        )
        rest = self._rest(self.both, np.zeros(1, dtype=np.intp), ridden="iso")
        found = self._search(dial, rest, self._sets()).best()
        first = self._rig(rest, found, iso=int(positions[found.one]))
        return self._ride("iso", first, replace(first, iso=self.isos[int(positions[found.other])]))

    def ride_variable_nd(self) -> tuple[Ride, ...]:
        """Iris, ISO, shutter and all other glass stay. None where no variable ND can be mounted."""
        rest = self._rest(self.both, self._iso_positions(), ridden="variable_nd")
        tried: list[tuple[_Found, tuple[float, ...]]] = []
        for number in np.unique(self.ways.variable[self.ways.variable >= 0]).tolist():
            positions = self.kit.filters[number].positions
            turned = np.array(positions)
            takes = turned * self.kit.body.clicks_per_stop
            on_now = self.kit.filters[number].id in self.rig.on_lens  # else it is set on its way to the lens
            to = np.abs(turned - (self.rig.turned or 0.0)) * self.kit.hands.turn if on_now else np.zeros(len(turned))
            nothing = np.zeros(len(turned), dtype=np.intp)
            dial = _Dial(
                takes=(takes, takes),
                off=(nothing, nothing),
                to=to,
                onward=np.abs(turned[:, None] - turned) * self.kit.hands.turn,
                part=0,
            )
            tried.append((self._search(dial, rest, self._sets(number)).best(), positions))
        if not tried:
            return ()
        found, positions = min(tried, key=lambda each: each[0])
        first = replace(self._rig(rest, found), turned=positions[found.one])
        return (self._ride("variable_nd", first, replace(first, turned=positions[found.other])),)

    def _search(self, dial: _Dial, rest: _Rest, sets: _Sets) -> _Search:
        clicks, loss = self.kit.body.clicks_per_stop, self.kit.lens.loss_stops
        start, end = ((clicks * (light.ev100 - loss), clicks * look.tolerance) for light, look in self.ends)
        least = _least_between(dial.off[0]), _least_between(dial.off[1])
        return _Search(dial, rest, sets, (start[0], end[0]), (start[1], end[1]), least)

    def _sets(self, turned: int | None = None) -> _Sets:
        """Every setup; or those with one variable ND, by its place in the kit, with what its turn takes left out."""
        ways, clicks = self.ways, self.kit.body.clicks_per_stop
        if turned is None:
            every = np.arange(len(ways.stops))
            return _Sets.of(clicks * ways.stops, self._seconds(ways.turned), every)
        clear = self.kit.filters[turned].positions[0]
        some = np.flatnonzero((ways.variable == turned) & (ways.turned == clear))
        as_now = np.full(len(ways.stops), self.rig.turned or 0.0)
        return _Sets.of(clicks * (ways.stops[some] - clear), self._seconds(as_now)[some], some)

    def _seconds(self, turned: Floats) -> Floats:
        """What the hand needs for every setup's glass and built-in step, and its variable ND turned to this [s]."""
        ways, count = self.ways, len(self.ways.stops)
        on = bits_of(ways.on)
        now = Rigs.of(self.kit, self.rig)
        then = Rigs(
            held=ways.holder,
            content=np.where(ways.holder, on, now.content),  # one that comes off keeps what is in it
            screwed=np.where(ways.holder, 0, on),
            variable=ways.variable,
            turned=turned,
            built_in=ways.built_in,
            iris=np.repeat(now.iris, count),
            iso=np.repeat(now.iso, count),
            shutter=np.repeat(now.shutter, count),
        )
        hand: Floats = seconds(self.kit, now, then)[0][0]
        return hand

    def _rest(self, irises: Ints, isos: Ints, ridden: Kind) -> _Rest:
        """Every setting of these irises and ISOs and all shutters; those of the dial that is ridden count nothing."""
        clicks = self.kit.body.clicks_per_stop
        numbers = np.arange(len(self.shutters))
        iris, iso, number = (each.ravel() for each in np.meshgrid(irises, isos, numbers, indexing="ij"))
        shutter = self.shutters[number]
        stays_iris, stays_iso = ridden != "iris", ridden != "iso"
        shutter_off = [millionths(3 * np.abs(np.log2(shutter / look.shutter))) for _, look in self.ends]
        to = np.where(shutter == self.rig.shutter, 0.0, self.kit.hands.shutter)
        return _Rest(
            iris,
            iso,
            shutter,
            takes=stays_iris * iris - stays_iso * clicks * iso / 3 - clicks * np.log2(shutter),
            parts=(
                stays_iris * (self._off_look(0, iris) + self._off_look(1, iris)),
                shutter_off[0] + shutter_off[1],
                stays_iso * 2 * self._iso_lift(iso),
            ),
            to=to + stays_iris * (self._to_iris(iris) + self._stray(0, iris)) + stays_iso * self._to_iso(iso),
            stray=stays_iris * self._stray(1, iris),
        )

    def _iso_positions(self) -> Ints:
        return np.array(sorted(self.isos))

    def _off_look(self, end: int, irises: Ints) -> Ints:
        """Clicks outside the look's window at one end."""
        look, clicks = self.ends[end][1], self.kit.body.clicks_per_stop
        widest, narrowest = aperture_position(look.widest, clicks), aperture_position(look.narrowest, clicks)
        return np.maximum(0, np.maximum(widest - irises, irises - narrowest))

    def _stray(self, end: int, irises: Ints) -> Floats:
        """What the distance from the wanted iris of one end is worth [s]."""
        clicks = self.kit.body.clicks_per_stop
        off = np.abs(irises - aperture_position(self.ends[end][1].wanted, clicks))
        stray: Floats = off * self.kit.hands.stray / clicks
        return stray

    def _to_iris(self, irises: Ints) -> Floats:
        """What the hand needs to set the iris before the take [s]."""
        clicks = self.kit.body.clicks_per_stop
        turned: Floats = np.abs(irises - aperture_position(self.rig.aperture, clicks)) * self.kit.hands.iris / clicks
        return turned

    def _to_iso(self, positions: Ints) -> Floats:
        """What the hand needs to set the ISO before the take [s]."""
        return np.where(positions == iso_position(self.rig.iso), 0.0, self.kit.hands.iso)

    def _iso_lift(self, positions: Ints) -> Ints:
        bases, quiet = quiet_positions(self.kit.body)
        return np.array([iso_lift_at(position, bases, quiet) for position in positions.tolist()])

    def _marked(self, iris: int) -> float:
        return marked_f_number(iris, self.kit.body.clicks_per_stop)

    def _rig(self, rest: _Rest, found: _Found, *, iris: int | None = None, iso: int | None = None) -> Rig:
        """The rig of the first frame; iris and ISO by their positions, for a ride of which they are a part."""
        return replace(
            glass_on(self.kit, self.rig, self.ways, found.way),
            built_in=self.kit.body.built_in_nd[self.ways.built_in[found.way]],
            aperture=self._marked(int(rest.iris[found.setting]) if iris is None else iris),
            shutter=float(rest.shutter[found.setting]),
            iso=self.isos[int(rest.iso[found.setting]) if iso is None else iso],
        )

    def _ride(self, kind: Kind, first: Rig, last: Rig) -> Ride:
        moves = self._move(0, self.rig, first), self._move(1, first, last)
        scores = [move.score for move in moves]
        score = TakeScore(
            miss=summed(score.miss for score in scores),
            off_look=sum(score.off_look for score in scores),
            shutter_off=summed(score.shutter_off for score in scores),
            iso_lift=sum(score.iso_lift for score in scores),
            effort=summed(score.effort for score in scores),
            residual=summed(abs(move.residual) for move in moves),
        )
        return Ride(kind, *moves, score)

    def _move(self, end: int, now: Rig, then: Rig) -> Move:
        """The move from one rig to another, as an answer to what is wanted at one end."""
        (light, look), kit, clicks = self.ends[end], self.kit, self.kit.body.clicks_per_stop
        done = actions(kit, now, then)
        iris, iso = np.array([aperture_position(then.aperture, clicks)]), np.array([iso_position(then.iso)])
        settings = float(iris[0]) / clicks - math.log2(then.shutter) - float(iso[0]) / 3
        residual = (light.ev100 - glass_stops(kit, then) - settings) * clicks
        hand_seconds = math.fsum(action.seconds for action in done)
        score = Score(
            miss=max(0.0, abs(residual) - clicks * look.tolerance),
            off_look=int(self._off_look(end, iris)[0]),
            shutter_off=3 * abs(math.log2(then.shutter / look.shutter)),
            iso_lift=int(self._iso_lift(iso)[0]),
            hand_seconds=hand_seconds,
            glass_seconds=math.fsum(action.seconds for action in done if action.do in GLASS_ACTIONS),
            off_wanted=abs(int(iris[0]) - aperture_position(look.wanted, clicks)),
            effort=hand_seconds + float(self._stray(end, iris)[0]),
        )
        return Move(then, done, residual, score)


def _shutters(kit: Kit, rig: Rig, start: Look, end: Look) -> list[float]:
    """The shutters [s] that are steady under the lamps of both ends: the body's, and the present one."""
    here, there = legal_shutters(kit, rig, start, "start.mains"), legal_shutters(kit, rig, end, "end.mains")
    shutters = [shutter for shutter in here if shutter in there]
    if not shutters:
        allowed = say("{mains} as at the start: no shutter that there is is steady under both", mains=start.mains)
        raise OutOfRange("end.mains", end.mains, allowed)
    return shutters


def _least_between(values: Ints) -> Ints:
    """The smallest of the values low <= place < high, at (low, high)."""
    count = len(values)
    least = np.full((count, count + 1), np.iinfo(np.intp).max)
    for low in range(count):
        least[low, low + 1 :] = np.minimum.accumulate(values[low:])
    return least
