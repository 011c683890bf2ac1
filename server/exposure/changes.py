"""
What it takes to change from one rig to another: between two of them, and from all rigs of one stop to all of the next.

The hand time of a change is a sum over parts that do not know of each other: the plates in the holder, the holder, the
filters screwed on, the built-in step, a variable ND's turn, iris, ISO, shutter. So the least cost of every rig that may
follow is found part by part, in arrays with an axis for each part, and never pair by pair: along a dial by running
along it both ways, from any set of filters to any other one piece at a time.

Between two stops another lens may come on. What fits it stays, the rest comes off with the old lens; from there the
changes count as always (`nearest`, `on_another_lens`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import reduce
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from server.language import say

from .glass import STACKED_MOST, screws_on
from .refused import OutOfRange
from .scales import aperture_position, iso_position

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from .glass import Filter
    from .moves import BestRigs
    from .rig import Kit, Rig

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]
    Bits = NDArray[np.int64]
    Bools = NDArray[np.bool_]

SETS_MOST = 20_000  # ways to fill the holder, or to screw filters on, of a whole day
CELLS_AT_ONCE = 100_000  # of an array that is only passed through; more would leave the processor's cache


@dataclass(frozen=True, slots=True, eq=False)
class Rigs:
    """
    Some rigs, by what a change between them is reckoned from; every array is (rigs,).

    held               whether the holder is on
    content, screwed   the filters in the holder, on or off, and those screwed on: bits by their places in the kit
    variable, turned   which filter on the lens is a variable ND, -1 for none, and what it is turned to [stops]
    built_in           by its place in the body's list
    iris [clicks];  iso, by its position;  shutter [s]
    """

    held: Bools
    content: Bits
    screwed: Bits
    variable: Ints
    turned: Floats
    built_in: Ints
    iris: Ints
    iso: Ints
    shutter: Floats

    @classmethod
    def of(cls, kit: Kit, rig: Rig) -> Rigs:
        """One rig, which must be one of this kit."""
        place = {piece.id: number for number, piece in enumerate(kit.filters)}
        variable = next((place[f] for f in rig.on_lens if kit.filter(f).kind == "variable_nd"), -1)
        content = (*rig.slots, *(() if rig.front is None else (rig.front,)))
        return cls(
            np.array([rig.holder_on]),
            np.array([sum(1 << place[f] for f in content)]),
            np.array([sum(1 << place[f] for f in rig.threads)]),
            np.array([variable]),
            np.array([rig.turned or 0.0]),
            np.array([kit.body.built_in_nd.index(rig.built_in)]),
            np.array([aperture_position(rig.aperture, kit.body.clicks_per_stop)]),
            np.array([iso_position(rig.iso)]),
            np.array([rig.shutter]),
        )

    @classmethod
    def together(cls, parts: Sequence[Rigs]) -> Rigs:
        """All of these, one after another."""
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in cls.__slots__))

    def __getitem__(self, which: Ints | Bools | slice) -> Rigs:
        return Rigs(*(getattr(self, name)[which] for name in self.__slots__))

    def __len__(self) -> int:
        return len(self.held)


def seconds(kit: Kit, now: Rigs, then: Rigs) -> tuple[Floats, Floats]:
    """
    What the hand needs for every change [s], and the part of it spent on glass: (now, then) each.

    The same as the seconds of `rig.actions`.
    """
    hands = kit.hands
    front = _those(kit, lambda piece: piece.mount == "front")
    a, b = now.content[:, None], then.content[None, :]
    gone, come = a & ~b, b & ~a
    glass = _count(gone & ~front) * hands.pull + _count(come & ~front) * hands.drop_in
    glass += _count(gone & front) * hands.front_off + _count(come & front) * hands.front_on
    a, b = now.screwed[:, None], then.screwed[None, :]
    glass += _count(a & ~b) * hands.unscrew + _count(b & ~a) * hands.screw_on
    on, then_on = now.held[:, None], then.held[None, :]
    glass += (on & ~then_on) * hands.holder_off + (then_on & ~on) * hands.holder_on
    hand = glass + np.abs(now.built_in[:, None] - then.built_in) * hands.built_in
    kept = (now.variable[:, None] == then.variable) & (then.variable >= 0)
    hand += kept * np.abs(now.turned[:, None] - then.turned) * hands.turn
    hand += np.abs(now.iris[:, None] - then.iris) * (hands.iris / kit.body.clicks_per_stop)
    hand += (now.iso[:, None] != then.iso) * hands.iso + (now.shutter[:, None] != then.shutter) * hands.shutter
    return hand, glass


def _count(bits: Bits) -> Floats:
    return np.bitwise_count(bits).astype(np.float64)  # which counts in bytes, and a byte times a whole number is a byte


def _those(kit: Kit, which: Callable[[Filter], bool]) -> int:
    """Some of the kit's filters, as bits by their places."""
    return sum(1 << number for number, piece in enumerate(kit.filters) if which(piece))


def nearest(kit: Kit, rigs: Rigs) -> Rigs:
    """
    What rigs become when this kit's lens comes on, with the holder that goes with it.

    The same as `rig.nearest_rig`, for rigs of a kit with the same body, filters and rings.
    """
    holder, thread = kit.holder, kit.lens.thread
    screwed = rigs.screwed & _those(kit, lambda piece: screws_on(piece, thread, kit.step_ups))
    held, content = np.zeros_like(rigs.held), np.zeros_like(rigs.content)
    if holder is not None:
        held = rigs.held & holder.mounts_on(thread, kit.step_ups)
        content = _lowest(rigs.content & _those(kit, holder.takes), holder.slots)
        content |= rigs.content & _those(kit, holder.takes_in_front)
    on = np.where(held, content, screwed)
    stays = (rigs.variable >= 0) & (on >> np.maximum(rigs.variable, 0) & 1).astype(bool)
    variable, turned = np.where(stays, rigs.variable, -1), np.where(stays, rigs.turned, 0.0)
    return replace(rigs, held=held, content=content, screwed=screwed, variable=variable, turned=turned)


def _lowest(bits: Bits, most: int) -> Bits:
    """So many of each one's bits at most, the lowest: the first in the kit's order."""
    kept = np.zeros_like(bits)
    for _ in range(most):
        left = bits & ~kept
        kept |= left & -left
    return kept


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """Sets of one size (rows), and for each the others (rows, n) that one piece makes it of; -1 for no piece."""

    rows: slice
    others: Ints
    piece: Ints

    @classmethod
    def of(cls, rows: slice, others: Ints, pieces: Ints) -> _Step:
        """From the sets that each piece leads to (rows, pieces), -1 for none: as narrow as they can be written."""
        there = others >= 0
        first = np.argsort(~there, axis=1, kind="stable")[:, : there.sum(axis=1).max(initial=0)]
        there = np.take_along_axis(there, first, axis=1)
        others = np.take_along_axis(others, first, axis=1)
        itself = np.arange(rows.start, rows.stop)[:, None]
        return cls(rows, np.where(there, others, itself), np.where(there, pieces[first], -1))


@dataclass(frozen=True, slots=True, eq=False)
class Sets:
    """
    Sets of filters as bits by their places in the kit, the smallest first, and with two every set between them.

    fewer, more: how each is reached by taking a piece out, the largest first, or by putting one in, the smallest first
    """

    bits: Bits
    fewer: tuple[_Step, ...]
    more: tuple[_Step, ...]

    @classmethod
    def of(cls, bits: Bits) -> Sets:
        """These sets."""
        size = np.bitwise_count(bits)
        order = np.lexsort((bits, size))
        bits, size = bits[order], size[order]
        pieces = np.flatnonzero([np.bitwise_or.reduce(bits, initial=0) >> n & 1 for n in range(63)])
        piece = np.int64(1) << pieces.astype(np.int64)
        here = bits[:, None]
        larger = np.where(here & piece == 0, _place(bits, here | piece), -1)
        smaller = np.where(here & piece != 0, _place(bits, here & ~piece), -1)
        rows = [slice(int(start), int(stop)) for start, stop in _runs(size)]
        return cls(
            bits,
            tuple(_Step.of(some, larger[some], pieces) for some in rows[-2::-1]),
            tuple(_Step.of(some, smaller[some], pieces) for some in rows[1:]),
        )

    def __len__(self) -> int:
        return len(self.bits)

    def place(self, bits: Bits) -> Ints:
        """Where each of these is among the sets; -1 for one that is not."""
        return _place(self.bits, bits)

    def take_out(self, cost: Floats, values: Floats) -> None:
        """Let every set be reached from those that hold more: values (sets, …), cost [s] (filters,) of a piece."""
        self._least(self.fewer, cost, values)

    def put_in(self, cost: Floats, values: Floats) -> None:
        """Let every set be reached from those that hold fewer."""
        self._least(self.more, cost, values)

    @staticmethod
    def _least(steps: tuple[_Step, ...], cost: Floats, values: Floats) -> None:
        cost = np.append(cost, 0.0)  # for no piece
        flat = values.reshape(len(values), -1)
        for step in steps:
            at_once = max(1, CELLS_AT_ONCE // max(1, step.others.shape[1] * flat.shape[1]))
            for start in range(0, len(step.others), at_once):
                others, piece = step.others[start : start + at_once], step.piece[start : start + at_once]
                reached = flat[others]
                reached += cost[piece][:, :, None]
                rows = flat[step.rows][start : start + at_once]
                np.minimum(rows, reached.min(axis=1), out=rows)


def _place(among: Bits, bits: Bits) -> Ints:
    order = np.argsort(among)
    at = order[np.minimum(np.searchsorted(among, bits, sorter=order), len(among) - 1)]
    return np.where(among[at] == bits, at, -1)


def _runs(values: NDArray[np.uint8]) -> NDArray[np.intp]:
    """Start and end of each run of equal values."""
    edges = np.flatnonzero(np.diff(values, prepend=-1, append=-1))
    return np.stack((edges[:-1], edges[1:]), axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """
    The rigs that have one variable ND on the lens, or none: the axes of their arrays.

    Axes: contents (of the holder, on or off), seats (the holder on, if held, then each set that is screwed on), turns,
    built-in steps; then ISOs, shutters and irises of a stop's own.

    variable: its place in the kit, -1 for none;  turns [stops]: what it can be turned to
    """

    variable: int
    contents: Sets
    held: bool
    screwed: Sets
    turns: Floats
    steps: int

    @property
    def shape(self) -> tuple[int, int, int, int]:
        """How long the axes are that all stops share."""
        return len(self.contents), self.held + len(self.screwed), len(self.turns), self.steps

    @property
    def setups(self) -> int:
        """How many ways there are to set what is on the lens."""
        return (self.held * len(self.contents) + len(self.screwed)) * len(self.turns) * self.steps

    def place(self, rigs: Rigs) -> Ints:
        """Where rigs of this case are on the axes that all stops share, as one number; ValueError for another rig."""
        seat = np.zeros(len(rigs), dtype=np.intp)
        off = ~rigs.held
        seat[off] = self.held + self.screwed.place(rigs.screwed[off])
        turn = np.abs(rigs.turned[:, None] - self.turns).argmin(axis=1)
        return np.ravel_multi_index((self.contents.place(rigs.content), seat, turn, rigs.built_in), self.shape)


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """
    A case's array at one stop: the case's axes, then the stop's ISOs, shutters and irises.

    on, off: which of the stop's setups each place is, -1 for none: with the holder on (contents, turns, steps), and off
    (screwed, turns, steps), where the contents are of no account
    """

    case: Case
    best: BestRigs
    on: Ints
    off: Ints

    @classmethod
    def of(cls, case: Case, best: BestRigs) -> Layer:
        """The stop's setups, each in its place."""
        setups, able = best.setups, best.able
        bits = bits_of(setups.on[able])
        turn = np.abs(setups.turned[able][:, None] - case.turns).argmin(axis=1)
        step, held = setups.built_in[able], setups.holder[able]
        mine = setups.variable[able] == case.variable
        found = []
        for sets, row in ((case.contents, np.flatnonzero(mine & held)), (case.screwed, np.flatnonzero(mine & ~held))):
            rows = np.full((len(sets), *case.shape[2:]), -1)
            rows[sets.place(bits[row]), turn[row], step[row]] = row
            found.append(rows)
        return cls(case, best, *found)

    @property
    def shape(self) -> tuple[int, ...]:
        """How long the axes are."""
        best = self.best
        return *self.case.shape, len(best.isos), len(best.shutters), len(best.irises)

    def spread(self, own: Floats) -> Floats:
        """A value of each setup and setting, (setups + 1, …) with that of no setup last, over the array."""
        values = np.empty(self.shape)
        if self.case.held:
            values[:, 0] = own[self.on]
        values[:, self.case.held :] = own[self.off]
        return values

    def rigs(self, cells: NDArray[np.integer]) -> Rigs:
        """The rigs of some cells."""
        case, best = self.case, self.best
        content, seat, turn, step, iso, shutter, iris = np.unravel_index(cells, self.shape)
        held = seat < case.held
        screwed = np.append(case.screwed.bits, 0)  # the last for a holder that is on
        return Rigs(
            held,
            case.contents.bits[content],
            screwed[np.where(held, -1, seat - case.held)],
            np.full(len(cells), case.variable),
            case.turns[turn],
            step,
            best.irises[iris],
            best.isos[iso],
            best.shutters[shutter],
        )

    def where(self, cells: NDArray[np.integer]) -> tuple[Ints, ...]:
        """Setup and setting of some cells, as `BestRigs` numbers them: row, ISO, shutter, iris."""
        content, seat, turn, step, *setting = np.unravel_index(cells, self.shape)
        turns, steps = self.case.shape[2:]
        first = np.where(seat < self.case.held, content, len(self.on) + seat - self.case.held)
        rows = np.concatenate((self.on, self.off)).ravel()
        return rows[(first * turns + turn) * steps + step], *setting


@dataclass(frozen=True, slots=True)
class Uses:
    """
    What a day can use of the glass, as bits by the places in the kit: in the holder, and screwed on.

    held: whether any stop can use the holder
    """

    held: bool
    in_holder: int
    screwed: int

    @classmethod
    def of(cls, kits: Sequence[Kit], start: Rigs, bests: Sequence[BestRigs]) -> Uses:
        """From each stop's kit and best rigs, and the rig on the first lens."""
        on = np.concatenate([bits_of(best.setups.on[best.able]) for best in bests])
        held = np.concatenate([best.setups.holder[best.able] for best in bests])
        # A plate that no stop can use, and that is not in the holder, is only worth putting there to be in the way.
        in_holder = int(np.bitwise_or.reduce(on[held], initial=start.content[0])) | _in_the_way(kits)
        return cls(bool(held.any()), in_holder, int(np.bitwise_or.reduce(on[~held], initial=0)))


def _in_the_way(kits: Sequence[Kit]) -> int:
    """
    Plates that may be worth putting in the holder though no stop can use them.

    Where the next lens's holder has fewer slots, a plate that comes first in the kit keeps another out of it, and falls
    out by itself where a later holder is of another width. Dropping it in may be quicker than pulling the other.
    """
    holders = {kit.holder for kit in kits if kit.holder is not None}
    if len({holder.slots for holder in holders}) < 2:
        return 0
    return _those(kits[0], lambda piece: len({holder.takes(piece) for holder in holders}) > 1)


def cases(kit: Kit, content: Bits, uses: Uses, bests: Sequence[BestRigs]) -> list[Case]:
    """
    The cases of some stops with one lens: first that of no variable ND, then one for each that is of use at them.

    content (1,): what is in the holder by then if nobody touches it;  uses: what the whole day can use, since what is
    in the holder may have been put there for a lens that comes later. Raises OutOfRange for more than SETS_MOST.
    """
    holder, steps = kit.holder, len(kit.body.built_in_nd)
    contents, held = content, False
    if uses.held and holder is not None:
        plates, fronts = _those(kit, holder.takes), _those(kit, holder.takes_in_front)
        contents = _up_to(_places(uses.in_holder & plates), holder.slots, _places(uses.in_holder & fronts))
        held = holder.mounts_on(kit.lens.thread, kit.step_ups)
    screwed_on = _those(kit, lambda piece: screws_on(piece, kit.lens.thread, kit.step_ups))
    rings = _up_to(_places(uses.screwed & screwed_on), STACKED_MOST)
    found = [Case(-1, Sets.of(contents), held, Sets.of(rings), np.zeros(1), steps)]
    plain = found[0]
    for number in sorted({int(n) for best in bests for n in np.unique(best.setups.variable[best.able])} - {-1}):
        piece, bit = kit.filters[number], 1 << number
        if piece.mount == "slot":
            with_it, no_rings = Sets.of(contents[contents & bit != 0]), Sets.of(rings[:0])
            case = replace(plain, variable=number, contents=with_it, held=True, screwed=no_rings)
        else:
            case = replace(plain, variable=number, held=False, screwed=Sets.of(rings[rings & bit != 0]))
        found.append(replace(case, turns=np.array(piece.positions)))
    return found


def bits_of(on: Bools) -> Bits:
    """Sets of filters, a row each, as numbers: a bit for each filter in the kit's order."""
    bits: Bits = on.astype(np.int64) @ (np.int64(1) << np.arange(on.shape[1]))
    return bits


def _places(bits: int) -> list[int]:
    return [number for number in range(bits.bit_length()) if bits >> number & 1]


def _up_to(pieces: Sequence[int], most: int, one_of: Sequence[int] = ()) -> Bits:
    """Every set of so many of these pieces at most, with one of the others or none."""
    sets = sum(math.comb(len(pieces), size) for size in range(most + 1)) * (len(one_of) + 1)
    if sets > SETS_MOST:
        raise OutOfRange(
            "filters",
            say("{sets} ways to fill the holder or to screw filters on", sets=sets),
            say("at most {most}", most=SETS_MOST),
        )
    return np.array([
        sum(1 << n for n in (*some, *other))
        for size in range(most + 1)
        for some in combinations(pieces, size)
        for other in ((), *((n,) for n in one_of))
    ], dtype=np.int64)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Cost:
    """The hands' seconds on the way to one stop, as often as they count there; a piece's are (filters,)."""

    pull: Floats
    drop_in: Floats
    unscrew: Floats
    screw_on: Floats
    holder_off: float
    holder_on: float
    built_in: float
    turn: float
    iris: float
    iso: float
    shutter: float

    @classmethod
    def of(cls, kit: Kit, hurry: float) -> _Cost:
        hands = kit.hands
        front = np.array([piece.mount == "front" for piece in kit.filters], dtype=bool)
        every = np.ones(len(kit.filters))
        return cls(
            hurry * np.where(front, hands.front_off, hands.pull),
            hurry * np.where(front, hands.front_on, hands.drop_in),
            hurry * hands.unscrew * every,
            hurry * hands.screw_on * every,
            hurry * hands.holder_off,
            hurry * hands.holder_on,
            hurry * hands.built_in,
            hurry * hands.turn,
            hurry * hands.iris / kit.body.clicks_per_stop,
            hurry * hands.iso,
            hurry * hands.shutter,
        )


def on_another_lens(
    kit: Kit, before: Sequence[Layer], after: Sequence[Layer], values: Sequence[Floats]
) -> list[Floats]:
    """
    The least value of having each rig once this kit's lens has come on, from that of having each one at the last stop;
    inf for never.

    before, after: the layers of the last stop and of the next one;  values: arrays of those before. Returns arrays of
    the cases of those after, with the ISOs, shutters and irises of the last stop.
    """
    dials = values[0].shape[4:]
    known = [layer.case.variable for layer in after]
    found = [np.full((math.prod(layer.case.shape), *dials), np.inf) for layer in after]
    for layer, value in zip(before, values, strict=True):
        rigs = nearest(kit, layer.rigs(np.arange(0, value.size, math.prod(dials))))
        # A variable ND that no stop of the new lens can use is a filter like any other there.
        variable = np.where(np.isin(rigs.variable, known), rigs.variable, -1)
        rows = value.reshape(len(rigs), *dials)
        for new, least in zip(after, found, strict=True):
            mine = np.flatnonzero(variable == new.case.variable)
            np.minimum.at(least, new.case.place(rigs[mine]), rows[mine])
    return [least.reshape(*new.case.shape, *dials) for new, least in zip(after, found, strict=True)]


def onward(kit: Kit, before: BestRigs, after: Sequence[Layer], values: Sequence[Floats], hurry: float) -> list[Floats]:
    """
    The least value of having each rig at the next stop, from that of having each one at the last; inf for never.

    values: arrays of the cases of the layers after, with the ISOs, shutters and irises of the best rigs before; what is
    returned are arrays of the layers after.
    """
    cost = _Cost.of(kit, hurry)
    was, will = before, after[0].best
    plain, *variable = (layer.case for layer in after)
    loose = [values[0], *(_loose(plain, case, each) for case, each in zip(variable, values[1:], strict=True))]
    found = [_changed(plain, _dialled(reduce(np.minimum, loose), was, will, cost), cost)]
    for number, case in enumerate(variable, 1):
        # One that is only now mounted is set on its way to the lens; one that stays is turned.
        others = reduce(np.minimum, loose[:number] + loose[number + 1 :])
        mounted = _changed(plain, _dialled(others, was, will, cost), cost)[_among(plain, case)]
        kept = _dialled(values[number], was, will, cost)
        _run(kept, 2, np.diff(case.turns) * cost.turn)
        found.append(np.minimum(_changed(case, kept, cost), mounted))
    return found


def _among(plain: Case, case: Case) -> tuple[Ints, Ints]:
    """A case's places on the first two axes of the plain one's arrays."""
    seats = np.zeros(1, dtype=np.intp) if case.held else plain.held + plain.screwed.place(case.screwed.bits)
    return plain.contents.place(case.contents.bits)[:, None], seats[None, :]


def _loose(plain: Case, case: Case, values: Floats) -> Floats:
    """Whatever the variable ND is turned to, on the axes of the plain case."""
    spread = np.full((*plain.shape, *values.shape[4:]), np.inf)
    spread[_among(plain, case)] = values.min(axis=2, keepdims=True)
    return spread


def _dialled(values: Floats, before: BestRigs, after: BestRigs, cost: _Cost) -> Floats:
    """With ISO, shutter and iris changed from one stop's to the next one's."""
    values = _switched(values, 4, before.isos, after.isos, cost.iso)
    values = _switched(values, 5, before.shutters, after.shutters, cost.shutter)
    first = min(before.irises[0], after.irises[0])
    dial = np.full((max(before.irises[-1], after.irises[-1]) - first + 1, *values.shape[:6]), np.inf)
    dial[before.irises - first] = np.moveaxis(values, 6, 0)
    _run(dial, 0, np.full(len(dial) - 1, cost.iris))
    return np.ascontiguousarray(np.moveaxis(dial[after.irises - first], 0, 6))


def _switched(values: Floats, axis: int, before: Ints | Floats, after: Ints | Floats, cost: float) -> Floats:
    """With a dial, on this axis, changed at one cost however far."""
    if len(before) == 1 and np.array_equal(before, after):
        return values
    values = np.moveaxis(values, axis, 0)
    changed = values.min(axis=0) + cost
    was = {place: number for number, place in enumerate(before.tolist())}
    switched = [np.minimum(changed, values[was[to]]) if to in was else changed for to in after.tolist()]
    return np.stack(switched, axis=axis)


def _changed(case: Case, values: Floats, cost: _Cost) -> Floats:
    """With the glass and the built-in step changed, in place."""
    case.contents.take_out(cost.pull, values)
    case.contents.put_in(cost.drop_in, values)
    if len(case.screwed):
        seats = np.moveaxis(values, 1, 0)
        screwed = np.ascontiguousarray(seats[case.held :])
        case.screwed.take_out(cost.unscrew, screwed)
        if case.held:  # then the first of the sets is none: the holder leaves a bare thread, and goes on one
            np.minimum(screwed[0], seats[0] + cost.holder_off, out=screwed[0])
            np.minimum(seats[0], screwed[0] + cost.holder_on, out=seats[0])  # off and on again is never less
        case.screwed.put_in(cost.screw_on, screwed)
        seats[case.held :] = screwed
    _run(values, 3, np.full(case.steps - 1, cost.built_in))
    return values


def _run(values: Floats, axis: int, cost: Floats) -> None:
    """Along an axis both ways, each place from the one beside it, in place; cost (places - 1,) between two."""
    places = np.moveaxis(values, axis, 0)
    for n, each in enumerate(cost.tolist(), 1):
        np.minimum(places[n], places[n - 1] + each, out=places[n])
    for n, each in zip(range(len(cost) - 1, -1, -1), cost[::-1].tolist(), strict=True):
        np.minimum(places[n], places[n + 1] + each, out=places[n])
