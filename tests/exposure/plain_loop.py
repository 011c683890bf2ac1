"""
The contract's move as a plain loop over every legal rig, to hold the engine to.

Written from the contract's words alone: it imports nothing of the engine and works positions, densities and
scores out for itself. Deliberately without a trick: every legal rig is scored in full and compared. What does
not change in an inner loop is worked out before it, as anyone would.
"""

from __future__ import annotations

import cmath
import math
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

    from server.exposure.rig import Kit, Look, Rig

# fmt: off
MARKS = (
    0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9, 10, 11,
    13, 14, 16, 18, 20, 22, 25, 29, 32, 36, 40, 45, 51, 57, 64,
)
# fmt: on


class Glass(NamedTuple):
    """One legal way for the glass to sit, the built-in step apart. order: the kit's, of what is on the lens."""

    holder_on: bool
    slots: frozenset[str]
    threads: frozenset[str]
    stops: float
    seconds: float
    order: tuple[int, ...]


class PlainRig(NamedTuple):
    """A legal rig by what the contract counts: sets of filters, stops of the built-in step, positions."""

    holder_on: bool
    slots: frozenset[str]
    threads: frozenset[str]
    built_in: float
    iris: int
    shutter: float
    iso: int


class Best(NamedTuple):
    """score: the contract's tuple, rounded; ties: filters on the lens and their order in the kit; one such rig."""

    score: tuple[float, ...]
    ties: tuple[int, tuple[int, ...]]
    rig: PlainRig


def iris_of(n: float, c: int) -> int:
    """The aperture position [clicks] of a marked f-number."""
    if c == 2:
        exact = 2 ** (round(4 * math.log2(n)) / 4)
    elif n in MARKS:
        exact = 2 ** (round(6 * math.log2(n)) / 6)
    else:
        exact = n
    return round(2 * c * math.log2(exact))


def iso_of(speed: float) -> int:
    """The ISO position of a speed."""
    return round(3 * math.log2(speed / 100))


def plain_rig(kit: Kit, rig: Rig) -> PlainRig:
    """A rig as the contract counts it."""
    return PlainRig(
        rig.holder_on,
        frozenset(rig.slots),
        frozenset(rig.threads),
        rig.built_in,
        iris_of(rig.aperture, kit.body.clicks_per_stop),
        rig.shutter,
        iso_of(rig.iso),
    )


def lift_of(kit: Kit, k: int) -> int:
    """How far an ISO position is above where it shows no noise [thirds of a stop]."""
    bases = [iso_of(base) for base in kit.body.iso_base]
    if k < min(bases):
        return min(bases) - k
    lifts = [k - b for b in bases if b <= k]
    if kit.body.iso_quiet is not None:
        lifts.append(max(0, k - iso_of(kit.body.iso_quiet)))
    return min(lifts)


def off_look_of(kit: Kit, look: Look, i: int) -> int:
    """Aperture positions outside the look's window [clicks]."""
    c = kit.body.clicks_per_stop
    widest, narrowest = iris_of(look.widest, c), iris_of(look.narrowest, c)
    return widest - i if i < widest else i - narrowest if i > narrowest else 0


def sets_of(ids: list[str], most: int) -> list[frozenset[str]]:
    """Every set of at most so many."""
    return [frozenset(some) for n in range(min(most, len(ids)) + 1) for some in combinations(ids, n)]


def every_glass(kit: Kit, rig: Rig) -> Iterator[Glass]:
    """Every legal way for the glass to sit, a holder that is off filled anew included, from the present rig."""
    hands, thread = kit.hands, kit.lens.thread
    place = {f.id: n for n, f in enumerate(kit.filters)}
    stops = {f.id: f.density * math.log2(10) for f in kit.filters}
    threaded = [f.id for f in kit.filters if f.mount == "thread" and thread is not None and f.thread == thread]
    plates = [
        f.id
        for f in kit.filters
        if kit.holder is not None and f.mount == "slot" and (f.width is None or f.width == kit.holder.width)
    ]
    fillings = sets_of(plates, kit.holder.slots) if kit.holder is not None else [frozenset[str]()]
    ways = [(False, slots, threads) for slots in fillings for threads in sets_of(threaded, 2)]
    if kit.holder is not None and thread is not None and thread in kit.holder.rings:
        ways += [(True, slots, frozenset[str]()) for slots in fillings]
    was_in, was_on = frozenset(rig.slots), frozenset(rig.threads)
    for holder_on, slots, threads in ways:
        on = slots if holder_on else threads
        seconds = len(was_in - slots) * hands.pull + len(slots - was_in) * hands.drop_in
        seconds += len(was_on - threads) * hands.unscrew + len(threads - was_on) * hands.screw_on
        if rig.holder_on and not holder_on:
            seconds += hands.holder_off
        if holder_on and not rig.holder_on:
            seconds += hands.holder_on
        order = tuple(sorted(place[f] for f in on))
        yield Glass(holder_on, slots, threads, sum(stops[f] for f in on), seconds, order)


def irises_of(kit: Kit) -> range:
    """Every aperture position between the lens's ends."""
    c = kit.body.clicks_per_stop
    return range(iris_of(kit.lens.widest, c), iris_of(kit.lens.smallest, c) + 1)


def isos_of(kit: Kit, rig: Rig) -> list[int]:
    """Every ISO position: the body's, and the present one."""
    return sorted({iso_of(speed) for speed in (*kit.body.iso_allowed, rig.iso)})


def is_steady(t: float, mains: int) -> bool:
    """
    Whether lamps on mains of so many hertz leave 2 % of their swing at most in a picture of so many seconds.

    They pulse twice a cycle: the mean of a hand that goes round so fast, from where the shutter opens to where it shuts.
    """
    round_and_round = 2j * math.pi * 2 * mains * t
    return abs((cmath.exp(round_and_round) - 1) / round_and_round) <= 0.02


def shutters_of(kit: Kit, rig: Rig, mains: int | None = None) -> list[float]:
    """Every shutter [s]: the body's, and the present one; under lamps on these mains, those of them that are steady."""
    return sorted(t for t in {*kit.body.shutters, rig.shutter} if mains is None or is_steady(t, mains))


def how_many_rigs(kit: Kit, rig: Rig) -> int:
    """How many rigs are legal."""
    settings = len(irises_of(kit)) * len(isos_of(kit, rig)) * len(shutters_of(kit, rig))
    return sum(1 for _ in every_glass(kit, rig)) * len(kit.body.built_in_nd) * settings


def plain_loop(kit: Kit, rig: Rig, ev100: float, look: Look) -> tuple[Best, Best]:
    """The best rig for clean and for fast, of every legal one."""
    hands, c = kit.hands, kit.body.clicks_per_stop
    tolerance, rush = c * look.tolerance, c * look.rush_tolerance
    now, wanted = plain_rig(kit, rig), iris_of(look.wanted, c)
    wheel = list(kit.body.built_in_nd)
    # Each axis with what depends on it alone. The hand's seconds are added where a rig is put together.
    irises = [
        (
            i,
            i / c,
            off_look_of(kit, look, i),
            hands.iris * abs(i - now.iris) / c,
            hands.stray * abs(i - wanted) / c,
        )
        for i in irises_of(kit)
    ]
    isos = [(k, k / 3, lift_of(kit, k), 0.0 if k == now.iso else hands.iso) for k in isos_of(kit, rig)]
    shutters = [
        (
            t,
            math.log2(t),
            round(3 * abs(math.log2(t / look.shutter)), 6),
            0.0 if t == now.shutter else hands.shutter,
        )
        for t in shutters_of(kit, rig, look.mains)
    ]
    best_clean = best_fast = (math.inf,)
    clean_rig = fast_rig = None
    for glass in every_glass(kit, rig):
        glass_seconds, ties = round(glass.seconds, 6), (len(glass.order), glass.order)
        for step in wheel:
            light = ev100 - (glass.stops + step) - kit.lens.loss_stops
            wheel_seconds = hands.built_in * abs(wheel.index(step) - wheel.index(now.built_in))
            for t, log2_t, shutter_off, shutter_seconds in shutters:
                for k, iso_stops, lift, iso_seconds in isos:
                    for i, iris_stops, off_look, iris_seconds, stray in irises:
                        residual = (light - (iris_stops - log2_t - iso_stops)) * c
                        off = residual if residual > 0 else -residual
                        hand_seconds = glass.seconds + wheel_seconds + iris_seconds + iso_seconds + shutter_seconds
                        effort, exactness = round(hand_seconds + stray, 6), round(off, 6)
                        miss = round(off - tolerance, 6) if off > tolerance else 0.0
                        clean = (miss, off_look, shutter_off, lift, effort, exactness, ties)
                        if clean < best_clean:
                            best_clean, clean_rig = clean, (glass, step, i, t, k)
                        miss = round(off - rush, 6) if off > rush else 0.0
                        fast = (miss, glass_seconds, off_look, shutter_off, lift, effort, exactness, ties)
                        if fast < best_fast:
                            best_fast, fast_rig = fast, (glass, step, i, t, k)
    return _best(best_clean, clean_rig), _best(best_fast, fast_rig)


def _best(score: tuple, found: tuple[Glass, float, int, float, int]) -> Best:
    glass, step, i, t, k = found
    return Best(score[:-1], score[-1], PlainRig(glass.holder_on, glass.slots, glass.threads, step, i, t, k))


def score_of(kit: Kit, rig: Rig, ev100: float, look: Look, then: Rig) -> tuple[Best, Best]:
    """The clean and the fast score of one rig, looked up among the legal ones. StopIteration: it is none of them."""
    hands, c = kit.hands, kit.body.clicks_per_stop
    now, to = plain_rig(kit, rig), plain_rig(kit, then)
    glass = next(g for g in every_glass(kit, rig) if (g.holder_on, g.slots, g.threads) == to[:3])
    next(i for i in irises_of(kit) if i == to.iris)
    next(k for k in isos_of(kit, rig) if k == to.iso)
    next(t for t in shutters_of(kit, rig, look.mains) if t == to.shutter)
    wheel = list(kit.body.built_in_nd)
    turned = abs(wheel.index(to.built_in) - wheel.index(now.built_in))
    seconds = glass.seconds + hands.built_in * turned + hands.iris * abs(to.iris - now.iris) / c
    seconds += (hands.iso if to.iso != now.iso else 0) + (hands.shutter if to.shutter != now.shutter else 0)
    light = ev100 - (glass.stops + to.built_in) - kit.lens.loss_stops
    off = abs(light - (to.iris / c - math.log2(to.shutter) - to.iso / 3)) * c
    picture = (
        off_look_of(kit, look, to.iris),
        round(3 * abs(math.log2(to.shutter / look.shutter)), 6),
        lift_of(kit, to.iso),
    )
    effort = round(seconds + hands.stray * abs(to.iris - iris_of(look.wanted, c)) / c, 6)
    miss, rushed = (max(0.0, off - c * each) for each in (look.tolerance, look.rush_tolerance))
    ties = (len(glass.order), glass.order)
    return (
        Best((round(miss, 6), *picture, effort, round(off, 6)), ties, to),
        Best((round(rushed, 6), round(glass.seconds, 6), *picture, effort, round(off, 6)), ties, to),
    )
