"""
One move: the exact best rigs for the light at a place, from the rig that is on the camera now.

The parts of a score separate: glass (`glass.Setups`) takes stops and hand time; settings (iris, ISO, shutter)
give an exposure and the rest. So the best of every legal rig is found without listing them:

1. sort the settings by exposure, and look up for every setup how near it can come: the smallest miss of all;
2. keep the setups that reach it, for the fast answer only those with the least glass time;
3. in each one's window of settings, ask a range-minimum table for the best look, shutter and ISO;
4. list only the settings of that one class, and take the least effort.

All places are answered in one pass. Held to a plain loop over every rig in tests/exposure/test_moves.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from .glass import Setups, setups
from .refused import OutOfRange
from .rig import GLASS_ACTIONS, Action, Kit, Look, Rig, actions, check_rig
from .scales import aperture_position, iso_position, marked_f_number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from .light import Light

DECIMALS = 6  # parts of a score are compared at 1e-6
EDGE = 0.5 * 10.0**-DECIMALS  # what rounds down to a bound still keeps it
SLACK = 1e-9  # clicks; far above what a double errs by, far below what a score shows
RIGS_MOST = 50_000_000  # legal rigs a call may ask about
PLACES_MOST = 400


@dataclass(frozen=True, slots=True)
class Score:
    """
    How good a rig is for a place, smallest best. Clean compares `clean`, fast compares `fast`, part by part.

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


@dataclass(frozen=True, slots=True)
class Answers:
    """clean: the best picture. fast: without touching the glass where that can be."""

    clean: Move
    fast: Move

    @property
    def differ(self) -> bool:
        """Whether the two answers are different rigs."""
        return self.clean.rig != self.fast.rig


def best_moves(kit: Kit, rig: Rig, places: Sequence[tuple[Light, Look]]) -> list[Answers]:
    """
    For each place's light and look, the exact best clean and fast rigs from this one.

    Raises OutOfRange where the rig is not one of this kit, or the call asks for more than RIGS_MOST or PLACES_MOST.
    """
    if len(places) > PLACES_MOST:
        raise OutOfRange("places", f"{len(places)} places", f"at most {PLACES_MOST}")
    check_rig(kit, rig)
    glass = _Glass.of(kit, rig)
    answers: list[Answers | None] = [None] * len(places)
    by_look: dict[Look, list[int]] = {}
    for index, (_, look) in enumerate(places):
        by_look.setdefault(look, []).append(index)
    for look, indices in by_look.items():
        settings = _Settings.of(kit, look, rig.iso, rig.shutter)
        if len(glass.stops) * len(settings.exposure) > RIGS_MOST:
            came = f"{len(glass.stops) * len(settings.exposure)} rigs"
            raise OutOfRange("filters", came, f"a kit and body with at most {RIGS_MOST} rigs")
        ev100 = np.array([places[index][0].ev100 for index in indices])
        search = _Search.of(kit, rig, look, glass, settings, ev100)
        for index, answer in zip(indices, search.answers(), strict=True):
            answers[index] = answer
    return [answer for answer in answers if answer is not None]


@dataclass(frozen=True, slots=True, eq=False)
class _Glass:
    """The setups seen from the present rig. stops [stops], seconds [s] (glass alone), wheel [s] (built-in)."""

    setups: Setups
    stops: NDArray[np.float64]
    seconds: NDArray[np.float64]
    wheel: NDArray[np.float64]

    @classmethod
    def of(cls, kit: Kit, rig: Rig) -> _Glass:
        ways = setups(kit.filters, kit.holder, kit.lens.thread, kit.body.built_in_nd)
        hands = kit.hands
        in_holder = np.array([f.id in rig.slots for f in kit.filters], dtype=bool)
        screwed = np.array([f.id in rig.threads for f in kit.filters], dtype=bool)
        plates = ways.on & ways.holder[:, None]
        rings = ways.on & ~ways.holder[:, None]
        # A holder that comes off keeps what is in it: its plates change only where it ends up mounted.
        swaps = _count(in_holder & ~plates) * hands.pull + _count(plates & ~in_holder) * hands.drop_in
        seconds = np.where(ways.holder, swaps, 0.0)
        seconds += _count(screwed & ~rings) * hands.unscrew + _count(rings & ~screwed) * hands.screw_on
        seconds += np.where(ways.holder, 0.0, hands.holder_off) if rig.holder_on else ways.holder * hands.holder_on
        here = kit.body.built_in_nd.index(rig.built_in)
        return cls(ways, ways.stops, seconds, np.abs(ways.built_in - here) * hands.built_in)


@dataclass(frozen=True, slots=True, eq=False)
class _Settings:
    """
    Every iris, ISO and shutter of a body and lens, as a grid and, by exposure, in a row.

    irises [clicks], isos [speed], iso_positions, shutters [s]: the three axes
    grid_exposure [clicks] (irises, isos, shutters): i - c log2 t - c k/3
    iris_class, iso_class, shutter_class: the axes' parts of the score, ranked from 0
    exposure [clicks] (settings,): sorted;  ranks: (levels, settings), a range-minimum table of the combined rank
    """

    irises: NDArray[np.int64]
    isos: tuple[float, ...]
    iso_positions: NDArray[np.int64]
    shutters: tuple[float, ...]
    grid_exposure: NDArray[np.float64]
    off_look: NDArray[np.int64]
    iso_lift: NDArray[np.int64]
    shutter_off: NDArray[np.float64]
    iris_class: NDArray[np.int64]
    iso_class: NDArray[np.int64]
    shutter_class: NDArray[np.int64]
    exposure: NDArray[np.float64]
    ranks: tuple[NDArray[np.int64], ...]

    @staticmethod
    @lru_cache(maxsize=64)
    def _of(
        clicks: int, irises: range, isos: tuple[float, ...], shutters: tuple[float, ...], look_ends: tuple[int, int],
        look_shutter: float, bases: tuple[int, ...], quiet: int | None,
    ) -> _Settings:  # fmt: skip
        i = np.arange(irises.start, irises.stop)
        k = np.array([iso_position(iso) for iso in isos])
        t = np.log2(np.array(shutters))
        off_look = np.maximum(0, np.maximum(look_ends[0] - i, i - look_ends[1]))
        iso_lift = np.array([_iso_lift(position, bases, quiet) for position in k.tolist()])
        shutter_off = 3 * np.abs(t - np.log2(look_shutter))
        iris_class, _ = _ranked(off_look)
        shutter_class, shutters_ranked = _ranked(np.round(shutter_off, DECIMALS))
        iso_class, isos_ranked = _ranked(iso_lift)
        grid = i[:, None, None] - clicks * k[None, :, None] / 3 - clicks * t[None, None, :]
        rank = iris_class[:, None, None] * shutters_ranked + shutter_class[None, None, :]
        rank = rank * isos_ranked + iso_class[None, :, None]
        exposure = grid.ravel()
        order = np.argsort(exposure, kind="stable")
        return _Settings(
            i, isos, k, shutters, grid, off_look, iso_lift, shutter_off, iris_class, iso_class, shutter_class,
            exposure[order], _range_minimum_table(rank.ravel()[order]),
        )  # fmt: skip

    @classmethod
    def of(cls, kit: Kit, look: Look, iso: float, shutter: float) -> _Settings:
        """The settings for a look. The present ISO and shutter are legal even where the body's lists lack them."""
        body = kit.body
        clicks = body.clicks_per_stop
        isos = {iso_position(iso): iso}
        for speed in body.iso_allowed:
            isos.setdefault(iso_position(speed), speed)
        return cls._of(
            clicks, kit.irises, tuple(isos[k] for k in sorted(isos)), tuple(sorted({shutter, *body.shutters})),
            (aperture_position(look.widest, clicks), aperture_position(look.narrowest, clicks)), look.shutter,
            tuple(sorted(iso_position(base) for base in body.iso_base)),
            None if body.iso_quiet is None else iso_position(body.iso_quiet),
        )  # fmt: skip

    def best_rank(self, low: NDArray[np.intp], high: NDArray[np.intp]) -> NDArray[np.int64]:
        """The smallest rank among the settings low <= n < high, for each pair of ends; none may be empty."""
        level = np.frexp(high - low)[1] - 1  # floor(log2(length)), exact for integers
        best = np.empty(len(low), dtype=np.int64)
        for each in np.unique(level):
            at = level == each
            row = self.ranks[each]
            best[at] = np.minimum(row[low[at]], row[high[at] - (1 << each)])
        return best

    def of_rank(self, rank: int) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
        """The irises, ISOs and shutters, by their index, whose combined rank this is."""
        rank, iso = divmod(rank, int(self.iso_class.max()) + 1)
        iris, shutter = divmod(rank, int(self.shutter_class.max()) + 1)
        return (
            np.flatnonzero(self.iris_class == iris),
            np.flatnonzero(self.iso_class == iso),
            np.flatnonzero(self.shutter_class == shutter),
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """
    One look's places against every setup. target [clicks] (places, setups) is the exposure that would be exact;
    distance [clicks] is how near the nearest setting comes to it.
    """

    kit: Kit
    rig: Rig
    look: Look
    glass: _Glass
    settings: _Settings
    target: NDArray[np.float64]
    distance: NDArray[np.float64]
    cost_of_iris: NDArray[np.float64]
    cost_of_iso: NDArray[np.float64]
    cost_of_shutter: NDArray[np.float64]
    off_wanted: NDArray[np.int64]

    @classmethod
    def of(
        cls, kit: Kit, rig: Rig, look: Look, glass: _Glass, settings: _Settings, ev100: NDArray[np.float64]
    ) -> _Search:
        clicks, hands = kit.body.clicks_per_stop, kit.hands
        target = (ev100[:, None] - kit.lens.loss_stops - glass.stops[None, :]) * clicks
        row = settings.exposure
        above = np.searchsorted(row, target)
        nearest_above = np.abs(row[np.minimum(above, len(row) - 1)] - target)
        nearest_below = np.abs(row[np.maximum(above - 1, 0)] - target)
        off_wanted = np.abs(settings.irises - aperture_position(look.wanted, clicks))
        turned = np.abs(settings.irises - aperture_position(rig.aperture, clicks))
        return cls(
            kit, rig, look, glass, settings, target, np.minimum(nearest_above, nearest_below),
            cost_of_iris=turned / clicks * hands.iris,
            cost_of_iso=np.where(settings.iso_positions == iso_position(rig.iso), 0.0, hands.iso),
            cost_of_shutter=np.where(np.array(settings.shutters) == rig.shutter, 0.0, hands.shutter),
            off_wanted=off_wanted,
        )  # fmt: skip

    def answers(self) -> list[Answers]:
        clean = self._best(self.look.tolerance, least_glass=False)
        fast = self._best(self.look.rush_tolerance, least_glass=True)
        return [Answers(*both) for both in zip(clean, fast, strict=True)]

    def _best(self, tolerance: float, *, least_glass: bool) -> list[Move]:
        allowed = self.kit.body.clicks_per_stop * tolerance
        miss = np.round(np.maximum(0.0, self.distance.min(axis=1) - allowed), DECIMALS)
        reach = miss + allowed + EDGE + SLACK
        able = self.distance <= reach[:, None]
        reach += SLACK  # so that no able setup finds its window empty by a last digit
        if least_glass:
            seconds = np.round(self.glass.seconds, DECIMALS)
            least = np.where(able, seconds, np.inf).min(axis=1)
            able &= seconds <= least[:, None]
        place, setup = np.nonzero(able)
        target = self.target[place, setup]
        low = np.searchsorted(self.settings.exposure, target - reach[place], side="left")
        high = np.searchsorted(self.settings.exposure, target + reach[place], side="right")
        rank = self.settings.best_rank(low, high)
        ends = np.searchsorted(place, np.arange(len(miss) + 1))
        moves = []
        for each in range(len(miss)):
            mine = slice(ends[each], ends[each + 1])
            best = int(rank[mine].min())
            moves.append(self._least_effort(each, setup[mine][rank[mine] == best], best, float(reach[each]), allowed))
        return moves

    def _least_effort(self, place: int, ways: NDArray[np.intp], rank: int, reach: float, allowed: float) -> Move:
        """Among settings of one rank and setups that allow it: the least effort, then the least residual."""
        iris, iso, shutter = self.settings.of_rank(rank)
        grid = self.settings.grid_exposure[np.ix_(iris, iso, shutter)]
        residual = np.abs(self.target[place, ways][:, None, None, None] - grid)
        stray = self.kit.hands.stray * self.off_wanted / self.kit.body.clicks_per_stop
        setting_cost = (
            (self.cost_of_iris + stray)[iris][:, None, None]
            + self.cost_of_iso[iso][None, :, None]
            + self.cost_of_shutter[shutter][None, None, :]
        )  # fmt: skip
        way_cost = (self.glass.seconds + self.glass.wheel)[ways]
        effort = np.where(residual <= reach, way_cost[:, None, None, None] + setting_cost, np.inf)
        effort = np.round(effort, DECIMALS).ravel()
        tied = np.flatnonzero(effort == effort.min())
        # argmin takes the first: the setups stand in the order that breaks the last ties.
        chosen = tied[np.argmin(np.round(residual.ravel()[tied], DECIMALS))]
        way, i, k, t = (int(n) for n in np.unravel_index(chosen, residual.shape))
        return self._move(place, int(ways[way]), int(iris[i]), int(iso[k]), int(shutter[t]), allowed)

    def _move(self, place: int, way: int, iris: int, iso: int, shutter: int, allowed: float) -> Move:
        settings, kit = self.settings, self.kit
        holder_on, slots, threads = _glass_on(kit, self.rig, self.glass.setups, way)
        rig = Rig(
            holder_on,
            slots,
            threads,
            built_in=kit.body.built_in_nd[self.glass.setups.built_in[way]],
            aperture=marked_f_number(int(settings.irises[iris]), kit.body.clicks_per_stop),
            shutter=settings.shutters[shutter],
            iso=settings.isos[iso],
        )
        done = actions(kit, self.rig, rig)
        residual = float(self.target[place, way] - settings.grid_exposure[iris, iso, shutter])
        hand_seconds = sum(action.seconds for action in done)
        off_wanted = int(self.off_wanted[iris])
        score = Score(
            miss=max(0.0, abs(residual) - allowed),
            off_look=int(settings.off_look[iris]),
            shutter_off=float(settings.shutter_off[shutter]),
            iso_lift=int(settings.iso_lift[iso]),
            hand_seconds=hand_seconds,
            glass_seconds=sum(action.seconds for action in done if action.do in GLASS_ACTIONS),
            off_wanted=off_wanted,
            effort=hand_seconds + kit.hands.stray * off_wanted / kit.body.clicks_per_stop,
        )
        return Move(rig, done, residual, score)


def _glass_on(kit: Kit, now: Rig, ways: Setups, way: int) -> tuple[bool, tuple[str, ...], tuple[str, ...]]:
    """A setup as a rig's holder_on, slots and threads: what stays keeps its slot, what comes takes the free ones."""
    chosen = [f.id for f, on in zip(kit.filters, ways.on[way], strict=True) if on]
    if not ways.holder[way]:
        return False, now.slots, _kept_first(now.threads, chosen)
    return True, _kept_first(now.slots, chosen), ()


def _kept_first(now: tuple[str, ...], chosen: list[str]) -> tuple[str, ...]:
    return (*(f for f in now if f in chosen), *(f for f in chosen if f not in now))


def _iso_lift(position: int, bases: tuple[int, ...], quiet: int | None) -> int:
    """Thirds of a stop above where the ISO shows no noise; below every base, the distance to the lowest."""
    below = [position - base for base in bases if base <= position]
    if not below:
        return bases[0] - position
    if quiet is not None:
        below.append(max(0, position - quiet))
    return min(below)


def _ranked(values: NDArray[np.float64] | NDArray[np.int64]) -> tuple[NDArray[np.int64], int]:
    """Each value's rank among the different ones, from 0, and how many there are."""
    different, rank = np.unique(values, return_inverse=True)
    return rank.astype(np.int64), len(different)


def _range_minimum_table(values: NDArray[np.int64]) -> tuple[NDArray[np.int64], ...]:
    """Row j holds the minimum of the 2^j values from each place on: any range is covered by two of them."""
    rows = [values]
    while len(rows[-1]) > (half := 1 << (len(rows) - 1)):
        rows.append(np.minimum(rows[-1][:-half], rows[-1][half:]))
    return tuple(rows)


def _count(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    counted: NDArray[np.intp] = mask.sum(axis=1, dtype=np.intp)
    return counted
