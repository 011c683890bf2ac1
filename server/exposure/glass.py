"""
Glass: filters and holders, what fits where, and the stops it costs.

A *setup* is one way the glass can sit: what is in a mounted holder, or screwed on, and the built-in step.
`setups` lists every one that a body, lens, holder and set of filters allow, as arrays that the solver works on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import TYPE_CHECKING, Literal

import numpy as np

from .refused import OutOfRange, within

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import ArrayLike, NDArray

STOPS_PER_DENSITY = math.log2(10)  # stops/D. ISO 5: density is -log10 of the transmittance
MARKED_DENSITY_PER_CLICK = 0.1  # D. The trade's rule, for display only: common practice, no source

DENSITY_MOST = 6.0  # D; 20 stops
STACKED_MOST = 2  # screwed-on filters; a third one vignettes and jams
SLOTS_MOST = 4
FILTERS_MOST = 40
SETUPS_MOST = 200_000

Mount = Literal["slot", "thread"]


def stops_of_density(density: ArrayLike) -> NDArray[np.float64]:
    """
    How much light a filter takes, in stops, from its optical density.

    density  [D]      any shape; 0.6 D lets 10^-0.6 of the light through
    returns  [stops]  the same shape

    The marked rule "0.3 D is one stop" is for display (`wording`), never for sums.
    Source: ISO 5. Checked in tests/published/test_density.py.

    >>> round(float(stops_of_density(0.6)), 4)
    1.9932
    """
    return np.asarray(density, dtype=np.float64) * STOPS_PER_DENSITY


@dataclass(frozen=True, slots=True)
class Filter:
    """
    One piece of neutral grey glass.

    id       what rigs and actions call it, unique in the kit
    mount    "slot" (a plate for a holder) or "thread" (a ring screwed on)
    density  [D]   of the glass itself
    width    [mm]  of a plate; None: whatever the holder takes
    thread   [mm]  of a ring; None for a plate
    name     what the shooter calls it; None: its density says enough
    """

    id: str
    mount: Mount
    density: float
    width: float | None = None
    thread: float | None = None
    kind: Literal["nd"] = "nd"
    name: str | None = None

    def __post_init__(self) -> None:
        if not 1 <= len(self.id) <= 80:
            raise OutOfRange("id", self.id, "1 to 80 characters")
        if self.kind != "nd":
            raise OutOfRange("kind", self.kind, "nd")
        if self.mount not in ("slot", "thread"):
            raise OutOfRange("mount", self.mount, "slot or thread")
        within("density", self.density, 0, DENSITY_MOST, "D")
        if self.width is not None:
            within("width", self.width, 10, 300, "mm")
        if self.thread is not None:
            within("thread", self.thread, 10, 200, "mm")
        if self.mount == "thread" and self.thread is None:
            raise OutOfRange("thread", self.thread, "10 to 200 mm, since it is screwed on")

    @property
    def stops(self) -> float:
        """The light it takes [stops]."""
        return self.density * STOPS_PER_DENSITY


@dataclass(frozen=True, slots=True)
class Holder:
    """
    A frame for plates, put on the lens by an adapter ring.

    width [mm] of the plates; slots, how many plates; rings [mm], the lens threads it has adapter rings for.
    """

    width: float
    slots: int
    rings: tuple[float, ...]

    def __post_init__(self) -> None:
        within("width", self.width, 10, 300, "mm")
        within("slots", self.slots, 1, SLOTS_MOST)
        if len(self.rings) > 20:
            raise OutOfRange("rings", f"{len(self.rings)} rings", "at most 20")
        for ring in self.rings:
            within("rings", ring, 10, 200, "mm")

    def takes(self, plate: Filter) -> bool:
        """Whether this filter slides into the holder's slots."""
        return plate.mount == "slot" and plate.width in (None, self.width)

    def mounts_on(self, thread: float | None) -> bool:
        """Whether there is an adapter ring for a lens with this thread [mm]."""
        return thread is not None and thread in self.rings


@dataclass(frozen=True, slots=True, eq=False)
class Setups:
    """
    Every way the glass can sit on one lens, in the order that breaks ties: fewest filters first, then the kit's order.

    on        bool (setups, filters)  which filters take light
    holder    bool (setups,)          whether the holder is mounted
    built_in  int (setups,)           which position of the body's list
    stops     float (setups,)         [stops] what all of it takes
    """

    on: NDArray[np.bool_]
    holder: NDArray[np.bool_]
    built_in: NDArray[np.intp]
    stops: NDArray[np.float64]


def slot_filters(filters: Sequence[Filter], holder: Holder | None, thread: float | None) -> list[int]:
    """Which filters, by their place in the kit, can go in front of a lens with this thread [mm] in the holder."""
    if holder is None or not holder.mounts_on(thread):
        return []
    return [index for index, piece in enumerate(filters) if holder.takes(piece)]


def thread_filters(filters: Sequence[Filter], thread: float | None) -> list[int]:
    """Which filters, by their place in the kit, screw onto a lens with this thread [mm]."""
    return [index for index, f in enumerate(filters) if f.mount == "thread" and f.thread == thread is not None]


@lru_cache(maxsize=64)
def setups(
    filters: tuple[Filter, ...], holder: Holder | None, thread: float | None, built_in: tuple[float, ...]
) -> Setups:
    """
    Every setup for a lens with this thread [mm] on a body with these built-in steps [stops].

    Raises OutOfRange where there would be more than SETUPS_MOST.
    """
    mounted = holder is not None and holder.mounts_on(thread)
    plates, rings = slot_filters(filters, holder, thread), thread_filters(filters, thread)
    slots = holder.slots if holder is not None else 0
    count = (_choices(len(plates), slots) if mounted else 0) + _choices(len(rings), STACKED_MOST)
    if count * len(built_in) > SETUPS_MOST:
        raise OutOfRange("filters", f"{count * len(built_in)} ways to set them", f"at most {SETUPS_MOST} ways")

    ways: list[tuple[tuple[int, ...], bool]] = [(chosen, False) for chosen in _chosen(rings, STACKED_MOST)]
    if mounted:
        ways += [(chosen, True) for chosen in _chosen(plates, slots)]
    ways.sort(key=lambda way: (len(way[0]), way[0], way[1]))

    on = np.zeros((len(ways), len(filters)), dtype=bool)
    for row, (chosen, _) in enumerate(ways):
        on[row, list(chosen)] = True
    stops = on @ stops_of_density([f.density for f in filters]) if filters else np.zeros(len(ways))
    steps = len(built_in)
    return Setups(
        on=np.repeat(on, steps, axis=0),
        holder=np.repeat(np.array([is_on for _, is_on in ways], dtype=bool), steps),
        built_in=np.tile(np.arange(steps), len(ways)),
        stops=np.repeat(stops, steps) + np.tile(np.asarray(built_in, dtype=np.float64), len(ways)),
    )


def _chosen(indices: Sequence[int], most: int) -> Iterator[tuple[int, ...]]:
    for count in range(most + 1):
        yield from combinations(indices, count)


def _choices(n: int, most: int) -> int:
    return sum(math.comb(n, count) for count in range(most + 1))
