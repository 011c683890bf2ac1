"""
Grads: which graduated filter brings a bright sky and a dark ground nearer to each other.

A grad is grey over one half and clear over the other. It darkens the brighter part of the picture; what lies behind its
clear half is exposed as before, so the iris, the shutter and the ISO stay as they are set for that part.

The amounts are exact. The rest is common practice, no source: to leave the sky a stop brighter than the ground, a hard
edge for a flat skyline and a soft one for an uneven one, the slot nearest the subject, upside down over bright ground.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain, combinations
from typing import TYPE_CHECKING, Literal

from server.language import listed, noted, say

from . import wording
from .glass import DENSITY_MOST, FILTERS_MOST, SLOTS_MOST, STOPS_PER_DENSITY
from .light import EV100_BRIGHTEST, EV100_DIMMEST
from .refused import OutOfRange, within

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

Edge = Literal["hard", "soft"]
Skyline = Literal["flat", "uneven"]

WANTED_STOPS = 1.0  # stops: a sky that is no brighter than the ground looks wrong; common practice, no source
WANTED_MOST = 10.0  # stops
STACKED_MOST = 2  # grads; the edges of more never meet on one line
_EDGE_FOR: dict[Skyline, Edge] = {"flat": "hard", "uneven": "soft"}  # common practice, no source
_SAME = 1e-9  # stops: below it two differences are one, and only the rounding of sums parts them


@dataclass(frozen=True, slots=True)
class Grad:
    """
    One graduated plate for a holder.

    id       unique among those at hand
    density  [D]  of its grey half
    edge     "hard" or "soft": how sharply grey turns into clear
    name     what the shooter calls it; None: its density and edge say enough
    """

    id: str
    density: float
    edge: Edge
    name: str | None = None

    def __post_init__(self) -> None:
        if not 1 <= len(self.id) <= 80:
            raise OutOfRange("id", self.id, say("1 to 80 characters"))
        within("density", self.density, 0, DENSITY_MOST, "D")
        if self.edge not in ("hard", "soft"):
            raise OutOfRange("edge", self.edge, say("hard or soft"))

    @property
    def stops(self) -> float:
        """The light its grey half takes [stops]. Source: ISO 5 (density)."""
        return self.density * STOPS_PER_DENSITY

    @property
    def label(self) -> str:
        """What to call it: "0.6 hard grad"."""
        if self.name:
            return self.name
        grey = wording.density(self.density)
        return (
            say("{density} soft grad", density=grey)
            if self.edge == "soft"
            else say("{density} hard grad", density=grey)
        )


@dataclass(frozen=True, slots=True)
class Skies:
    """
    A picture with a sky in it.

    sky_ev100, ground_ev100  [stops]  a reading of each
    skyline                  "flat" or "uneven", as the shooter sees it
    wanted_stops             [stops]  how much brighter the brighter part may stay
    """

    sky_ev100: float
    ground_ev100: float
    skyline: Skyline
    wanted_stops: float = WANTED_STOPS

    def __post_init__(self) -> None:
        within("sky_ev100", self.sky_ev100, EV100_DIMMEST, EV100_BRIGHTEST, noted("stops"))
        within("ground_ev100", self.ground_ev100, EV100_DIMMEST, EV100_BRIGHTEST, noted("stops"))
        if self.skyline not in ("flat", "uneven"):
            raise OutOfRange("skyline", self.skyline, say("flat or uneven"))
        within("wanted_stops", self.wanted_stops, 0, WANTED_MOST, noted("stops"))

    @property
    def difference(self) -> float:
        """How much brighter the brighter part is [stops]; never below 0."""
        return abs(self.sky_ev100 - self.ground_ev100)

    @property
    def ground_brighter(self) -> bool:
        """Snow, water, sand: whether the grey belongs below."""
        return self.ground_ev100 > self.sky_ev100

    @property
    def edge(self) -> Edge:
        """The edge that suits the skyline."""
        return _EDGE_FOR[self.skyline]


@dataclass(frozen=True, slots=True)
class GradAdvice:
    """
    What to slide in front of the lens.

    grads        none, one or two, in the kit's order
    slots        the slot of each, counted from the subject: 1 is the front one, where it can be moved and turned
    upside_down  the grey half below, since the ground is the brighter part
    remains      [stops]  how much brighter than the other the brighter part still is; below 0: it became the darker
    needed       whether the difference was more than what is wanted
    wrong_edge   whether the edge is not the one that suits the skyline, because none that suits would help
    say          the advice as a sentence or two
    """

    grads: tuple[Grad, ...]
    slots: tuple[int, ...]
    upside_down: bool
    remains: float
    needed: bool
    wrong_edge: bool
    say: str


def advise(skies: Skies, at_hand: Sequence[Grad], free_slots: int) -> GradAdvice:
    """
    The grad, or the two stacked, that leave the difference nearest to the one wanted.

    at_hand     in the kit's order
    free_slots  how many plates the holder still takes; what already stands in the front one moves back

    Exact over every choice of at most two. Grads whose edge suits the skyline come first; others are taken only where
    none of those comes nearer than no grad at all. Ties go to fewer grads, then to the kit's order.

    A sky at EV 15 over ground at EV 12, and a flat sea between them:

    >>> advice = advise(Skies(15, 12, "flat"), [Grad("a", 0.3, "hard"), Grad("b", 0.6, "hard")], free_slots=2)
    >>> [grad.id for grad in advice.grads], round(advice.remains, 2)
    (['b'], 1.01)
    >>> advice.say.partition(". ")[0]
    '0.6 hard grad in the front slot, edge on the skyline: the sky stays 1 stop brighter than the ground'
    """
    if len(at_hand) > FILTERS_MOST:
        raise OutOfRange("grads", say("{count} grads", count=len(at_hand)), say("at most {most}", most=FILTERS_MOST))
    if len({grad.id for grad in at_hand}) < len(at_hand):
        raise OutOfRange("grads", [grad.id for grad in at_hand], say("each id once"))
    within("free_slots", free_slots, 0, SLOTS_MOST)

    needed = skies.difference > skies.wanted_stops + _SAME
    most = min(STACKED_MOST, free_slots)
    chosen = _nearest(skies, [grad for grad in at_hand if grad.edge == skies.edge], most)
    if not chosen:
        chosen = _nearest(skies, at_hand, most)
    remains = skies.difference - _stops(chosen)
    wrong_edge = any(grad.edge != skies.edge for grad in chosen)
    return GradAdvice(
        grads=chosen,
        slots=tuple(range(1, len(chosen) + 1)),
        upside_down=bool(chosen) and skies.ground_brighter,
        remains=remains,
        needed=needed,
        wrong_edge=wrong_edge,
        say=_with_grads(skies, chosen, remains, wrong_edge=wrong_edge)
        if chosen
        else f"{_why_none(at_hand, free_slots, needed=needed)}: {_left(skies, remains)}.",
    )


def _nearest(skies: Skies, grads: Sequence[Grad], most: int) -> tuple[Grad, ...]:
    """The choice of at most so many that leaves the difference nearest to the one wanted."""
    choices = chain.from_iterable(combinations(grads, count) for count in range(most + 1))
    best: tuple[Grad, ...] = ()
    least = float("inf")
    for choice in choices:  # fewest first, then the kit's order; the first that comes wins a tie
        off = abs(skies.difference - _stops(choice) - skies.wanted_stops)
        if off < least - _SAME:
            best, least = choice, off
    return best


def _stops(grads: Iterable[Grad]) -> float:
    return sum(grad.stops for grad in grads)


def _why_none(at_hand: Sequence[Grad], free_slots: int, *, needed: bool) -> str:
    if not needed:
        return say("No grad needed")
    if not at_hand:
        return say("No grad at hand")
    return say("Every grad at hand takes too much") if free_slots else say("No slot free for a grad")


def _with_grads(skies: Skies, chosen: tuple[Grad, ...], remains: float, *, wrong_edge: bool) -> str:
    grads = listed([grad.label for grad in chosen])
    if len(chosen) == 1:
        text = (
            say("{grad} in the front slot, upside down, edge on the skyline", grad=grads)
            if skies.ground_brighter
            else say("{grad} in the front slot, edge on the skyline", grad=grads)
        )
    else:
        text = (
            say("{grads} in the two front slots, upside down, edge on the skyline", grads=grads)
            if skies.ground_brighter
            else say("{grads} in the two front slots, edge on the skyline", grads=grads)
        )
    expose = say("Expose for the sky as before.") if skies.ground_brighter else say("Expose for the ground as before.")
    text += f": {_left(skies, remains)}. {expose}"
    if wrong_edge:
        text += " " + (
            say("A hard edge suits a flat skyline better, but none at hand would help.")
            if skies.edge == "hard"
            else say("A soft edge suits an uneven skyline better, but none at hand would help.")
        )
    return text


def _left(skies: Skies, remains: float) -> str:
    """What is left of the difference, in words: "the sky stays 1 stop brighter than the ground"."""
    size = wording.stops_of(remains)
    if skies.ground_brighter:
        if not wording.thirds(remains):
            return say("the ground comes out as bright as the sky")
        if remains < 0:
            return say("the ground turns {size} darker than the sky", size=size)
        return say("the ground stays {size} brighter than the sky", size=size)
    if not wording.thirds(remains):
        return say("the sky comes out as bright as the ground")
    if remains < 0:
        return say("the sky turns {size} darker than the ground", size=size)
    return say("the sky stays {size} brighter than the ground", size=size)
