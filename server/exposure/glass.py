"""
Glass: filters and holders, what fits where, and the stops it costs.

A *setup* is one way the glass can sit: what is in a mounted holder, or screwed on, how far a variable ND is turned,
and the built-in step. `setups` lists every one that a body, lens, holder, rings and set of filters allow, as arrays
that the solver works on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from server.language import say

from .refused import OutOfRange, within
from .remembered import remembered

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
RINGS_MOST = 20

Kind = Literal["nd", "variable_nd", "grad", "polariser", "diffusion", "colour"]
Mount = Literal["slot", "thread", "front"]
Edge = Literal["soft", "hard"]

# What is on the lens for its look, not to take light: it is on where a look wears it, and nowhere else.
WORN_KINDS: frozenset[Kind] = frozenset({"grad", "polariser", "diffusion", "colour"})
VARIABLE_CLICK = 1 / 3  # stops; a variable ND is continuous, and set in clicks


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
    One piece of glass.

    id          what rigs and actions call it, unique in the kit
    mount       "slot" (a plate for a holder), "thread" (a ring screwed on) or "front" (the holder's front ring)
    density     [D]   marked: what it takes from the whole picture; a grad's is that of its dark half
    width       [mm]  of a plate; None: whatever the holder takes
    thread      [mm]  of a ring, or of what the front ring takes; None for a plate
    kind        plain or variable ND; the others are worn for their look
    density_to  [D]   the dark end of a variable ND, as far as it is usable; density is its clear end
    measured    [D]   its true density; None: only the mark is known
    edge        of a grad
    name        what the shooter calls it; None: its density says enough
    """

    id: str
    mount: Mount
    density: float
    width: float | None = None
    thread: float | None = None
    kind: Kind = "nd"
    density_to: float | None = None
    measured: float | None = None
    edge: Edge | None = None
    name: str | None = None

    def __post_init__(self) -> None:
        if not 1 <= len(self.id) <= 80:
            raise OutOfRange("id", self.id, say("1 to 80 characters"))
        if self.kind not in get_args(Kind):
            raise OutOfRange("kind", self.kind, ", ".join(get_args(Kind)))
        if self.mount not in get_args(Mount):
            raise OutOfRange("mount", self.mount, say("slot, thread or front"))
        within("density", self.density, 0, DENSITY_MOST, "D")
        for field, value, least, most in (("width", self.width, 10, 300), ("thread", self.thread, 10, 200)):
            if value is not None:
                within(field, value, least, most, "mm")
        if self.mount != "slot" and self.thread is None:
            raise OutOfRange("thread", self.thread, say("10 to 200 mm, since it is screwed on"))
        self._check_kind()

    def _check_kind(self) -> None:
        if self.measured is not None:
            within("measured", self.measured, 0, DENSITY_MOST, "D")
        if self.mount == "front" and self.kind not in WORN_KINDS:
            raise OutOfRange("mount", self.mount, say("slot or thread; the front ring is for a polariser or the like"))
        if self.kind == "variable_nd":
            if self.density_to is None or not self.density < self.density_to <= DENSITY_MOST:
                raise OutOfRange(
                    "density_to",
                    self.density_to,
                    say("more than {density}, up to {most} D", density=f"{self.density:g}", most=f"{DENSITY_MOST:g}"),
                )
            if self.measured is not None:
                raise OutOfRange("measured", self.measured, say("none; a variable ND is measured at its ends"))
        elif self.density_to is not None:
            raise OutOfRange("density_to", self.density_to, say("none; only a variable ND has a dark end"))
        if (self.edge is not None) != (self.kind == "grad") or self.edge not in (None, *get_args(Edge)):
            raise OutOfRange("edge", self.edge, say("soft or hard for a grad, none for the others"))

    @property
    def worn(self) -> bool:
        """Whether it is on for its look alone."""
        return self.kind in WORN_KINDS

    @property
    def stops(self) -> float:
        """The light it takes from the whole picture [stops]: none for a grad; the clear end of a variable ND."""
        if self.kind == "grad":
            return 0.0
        return (self.density if self.measured is None else self.measured) * STOPS_PER_DENSITY

    @property
    def dark_end(self) -> float:
        """What it takes at its dark end [stops], which need not be a whole click; plain glass has one end."""
        return self.stops if self.density_to is None else self.density_to * STOPS_PER_DENSITY

    @property
    def positions(self) -> tuple[float, ...]:
        """What it takes at each of its positions [stops]: one for plain glass, a third apart for a variable ND."""
        if self.density_to is None:
            return (self.stops,)
        clicks = math.floor((self.density_to - self.density) * STOPS_PER_DENSITY / VARIABLE_CLICK + 1e-9)
        return tuple(self.stops + click * VARIABLE_CLICK for click in range(clicks + 1))


StepUps = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Holder:
    """
    A frame for plates, put on the lens by an adapter ring.

    width [mm] of the plates; slots, how many plates; rings [mm], the lens threads it has adapter rings for;
    front [mm], the thread of its front ring, None without one.
    """

    width: float
    slots: int
    rings: tuple[float, ...]
    front: float | None = None

    def __post_init__(self) -> None:
        within("width", self.width, 10, 300, "mm")
        within("slots", self.slots, 1, SLOTS_MOST)
        if len(self.rings) > RINGS_MOST:
            raise OutOfRange(
                "rings", say("{count} rings", count=len(self.rings)), say("at most {most}", most=RINGS_MOST)
            )
        for ring in self.rings:
            within("rings", ring, 10, 200, "mm")
        if self.front is not None:
            within("front", self.front, 10, 200, "mm")

    def takes(self, plate: Filter) -> bool:
        """Whether this filter slides into the holder's slots."""
        return plate.mount == "slot" and plate.width in (None, self.width)

    def takes_in_front(self, piece: Filter) -> bool:
        """Whether this filter goes into the holder's front ring."""
        return piece.mount == "front" and self.front is not None and piece.thread == self.front

    def mounts_on(self, thread: float | None, step_ups: StepUps = ()) -> bool:
        """Whether there is an adapter ring for a lens with this thread [mm], a step-up ring between them or not."""
        return any(reached in self.rings for reached in _reached(thread, step_ups))


def screws_on(piece: Filter, thread: float | None, step_ups: StepUps = ()) -> bool:
    """Whether a filter screws onto a lens with this thread [mm], by a step-up ring (from, to) or as it is."""
    return piece.mount == "thread" and piece.thread in _reached(thread, step_ups)


def _reached(thread: float | None, step_ups: StepUps) -> set[float]:
    """The threads that a lens offers: its own, and what one step-up ring makes of it."""
    if thread is None:
        return set()
    return {thread, *(to for start, to in step_ups if start == thread)}


@dataclass(frozen=True, slots=True, eq=False)
class Setups:
    """
    Every way the glass can sit on one lens, in the order that breaks ties: fewest filters first, then the kit's order.

    on        bool (setups, filters)  which filters are in front of the lens
    holder    bool (setups,)          whether the holder is mounted
    variable  int (setups,)           which filter, by its place in the kit, is a variable ND; -1 for none
    turned    float (setups,)         [stops] what that one is turned to
    built_in  int (setups,)           which position of the body's list
    stops     float (setups,)         [stops] what all of it takes
    """

    on: NDArray[np.bool_]
    holder: NDArray[np.bool_]
    variable: NDArray[np.intp]
    turned: NDArray[np.float64]
    built_in: NDArray[np.intp]
    stops: NDArray[np.float64]


@remembered(lambda found: found.on.size + 4 * len(found.stops))
def setups(
    filters: tuple[Filter, ...],
    holder: Holder | None,
    thread: float | None,
    built_in: tuple[float, ...],
    step_ups: StepUps = (),
    worn: frozenset[str] = frozenset(),
) -> Setups:
    """
    Every setup for a lens with this thread [mm] on a body with these built-in steps [stops].

    worn: ids of the glass that the look wears: on in every setup, and nothing else of its kinds. There may be no
    setup that can do that; `why_not` says what is missing. Raises OutOfRange for more than SETUPS_MOST.
    """
    ways = [*_held(filters, holder, thread, step_ups, worn), *_screwed(filters, thread, step_ups, worn)]
    settled = [
        (len(chosen), chosen, mounted, variable, turned)
        for chosen, mounted in ways
        for variable, turned in _turned(filters, chosen)
    ]
    if len(settled) * len(built_in) > SETUPS_MOST:
        raise OutOfRange(
            "filters",
            say("{count} ways to set them", count=len(settled) * len(built_in)),
            say("at most {most} ways", most=SETUPS_MOST),
        )
    settled.sort()
    on = np.zeros((len(settled), len(filters)), dtype=bool)
    for row, (_, chosen, *_) in enumerate(settled):
        on[row, list(chosen)] = True
    plain = np.array([0.0 if piece.kind == "variable_nd" else piece.stops for piece in filters])
    turned_to = np.array([turned for *_, turned in settled], dtype=np.float64)
    stops = (on @ plain if filters else np.zeros(len(settled))) + turned_to
    steps = len(built_in)
    return Setups(
        on=np.repeat(on, steps, axis=0),
        holder=np.repeat(np.array([mounted for _, _, mounted, _, _ in settled], dtype=bool), steps),
        variable=np.repeat(np.array([variable for *_, variable, _ in settled], dtype=np.intp), steps),
        turned=np.repeat(turned_to, steps),
        built_in=np.tile(np.arange(steps), len(settled)),
        stops=np.repeat(stops, steps) + np.tile(np.asarray(built_in, dtype=np.float64), len(settled)),
    )


Chosen = tuple[int, ...]


def _held(
    filters: Sequence[Filter], holder: Holder | None, thread: float | None, step_ups: StepUps, worn: frozenset[str]
) -> Iterator[tuple[Chosen, bool]]:
    """The choices with the holder mounted: what is worn, and grey plates in the slots that are left."""
    if holder is None or not holder.mounts_on(thread, step_ups):
        return
    wear = [n for n, piece in enumerate(filters) if piece.id in worn]
    in_front = [n for n in wear if holder.takes_in_front(filters[n])]
    in_slots = [n for n in wear if holder.takes(filters[n])]
    free = holder.slots - len(in_slots)
    if len(in_front) + len(in_slots) < len(worn) or len(in_front) > 1 or free < 0:
        return
    grey = [n for n, piece in enumerate(filters) if not piece.worn and holder.takes(piece)]
    for chosen in _chosen(filters, grey, free):
        yield tuple(sorted((*chosen, *wear))), True


def _screwed(
    filters: Sequence[Filter], thread: float | None, step_ups: StepUps, worn: frozenset[str]
) -> Iterator[tuple[Chosen, bool]]:
    """The choices with the holder off, or none: what is worn, and grey rings as far as they stack."""
    wear = [n for n, piece in enumerate(filters) if piece.id in worn and screws_on(piece, thread, step_ups)]
    free = STACKED_MOST - len(wear)
    if len(wear) < len(worn) or free < 0:
        return
    grey = [n for n, piece in enumerate(filters) if not piece.worn and screws_on(piece, thread, step_ups)]
    for chosen in _chosen(filters, grey, free):
        yield tuple(sorted((*chosen, *wear))), False


def _chosen(filters: Sequence[Filter], grey: Sequence[int], most: int) -> Iterator[Chosen]:
    """Every choice of so many at most, with one variable ND at most: two of them make a cross of two crosses."""
    if sum(math.comb(len(grey), count) for count in range(most + 1)) > SETUPS_MOST:
        raise OutOfRange(
            "filters",
            say("{count} that fit {most} at a time", count=len(grey), most=most),
            say("at most {most} ways to set them", most=SETUPS_MOST),
        )
    for count in range(most + 1):
        for chosen in combinations(grey, count):
            if sum(filters[n].kind == "variable_nd" for n in chosen) <= 1:
                yield chosen


def _turned(filters: Sequence[Filter], chosen: Chosen) -> Iterator[tuple[int, float]]:
    """Which of these is a variable ND, and each position it can be turned to [stops]."""
    variable = next((n for n in chosen if filters[n].kind == "variable_nd"), -1)
    if variable < 0:
        yield -1, 0.0
    else:
        yield from ((variable, turned) for turned in filters[variable].positions)


def why_not(
    filters: Sequence[Filter], holder: Holder | None, thread: float | None, step_ups: StepUps, worn: frozenset[str]
) -> str:
    """
    What is missing for wearing this glass on a lens with this thread [mm]; empty where it can be done.

    "no 72 mm adapter ring", "no free slot for 0.6 soft grad", "no step-up ring from 67 to 77 mm".
    """
    if any(True for _ in _held(filters, holder, thread, step_ups, worn)):
        return ""
    if any(True for _ in _screwed(filters, thread, step_ups, worn)):
        return ""
    wear = [piece for piece in filters if piece.id in worn]
    if len(wear) < len(worn):
        return say("it is not in the kit")
    missing = [word for piece in wear if (word := why_not_alone(piece, holder, thread, step_ups))]
    if missing:
        return missing[0]
    if len({piece.mount == "thread" for piece in wear}) > 1:
        return say("nothing is screwed on while the holder is mounted")
    if sum(piece.mount == "front" for piece in wear) > 1:
        return say("the front ring takes one")
    return (
        say("not enough free slots")
        if wear[0].mount == "slot"
        else say("at most {most} are screwed on", most=STACKED_MOST)
    )


def why_not_alone(piece: Filter, holder: Holder | None, thread: float | None, step_ups: StepUps) -> str:
    """What is missing for one piece of glass on a lens with this thread [mm]; empty where it fits."""
    if thread is None:
        return say("this lens has no front thread")
    if piece.mount == "thread":
        if screws_on(piece, thread, step_ups):
            return ""
        wanted = say("{start} to {end} mm", start=f"{thread:g}", end=f"{piece.thread:g}")
        return (
            say("no step-up ring, {wanted}", wanted=wanted)
            if piece.thread and piece.thread > thread
            else say("it is too small for this lens")
        )
    if holder is None:
        return say("no holder")
    if not holder.mounts_on(thread, step_ups):
        return say("no {thread} mm adapter ring", thread=f"{thread:g}")
    if piece.mount == "front":
        if holder.front is None:
            return say("the holder has no front ring")
        return (
            ""
            if holder.takes_in_front(piece)
            else say(
                "the front ring is {front} mm, it is {thread} mm", front=f"{holder.front:g}", thread=f"{piece.thread:g}"
            )
        )
    return (
        ""
        if holder.takes(piece)
        else say(
            "the holder takes {width} mm plates, it is {own} mm", width=f"{holder.width:g}", own=f"{piece.width:g}"
        )
    )
