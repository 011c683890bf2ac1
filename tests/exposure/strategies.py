"""
Random kits, rigs and looks, as odd as they may legally be, and small enough for a loop over every rig.

Figures are drawn in hundredths and thousandths: two right answers may part where a part of a score lies within a
double's last digit of half a millionth, and nobody sets a hand's time or a light level that finely. Densities and
filter sizes come from short lists, so that ties are common.
"""

from __future__ import annotations

import math
from dataclasses import replace

from hypothesis import assume
from hypothesis import strategies as st

from server.exposure.glass import Filter, Holder
from server.exposure.rig import Body, Hands, Kit, Lens, Look, Rig
from tests.exposure.plain_loop import MARKS, how_many_rigs, iris_of, shutters_of

DIALS = (3, 2, 1, 10)
RIGS_A_LOOP_TAKES = 20_000  # legal rigs of one question; a loop takes 1.5 µs for each

HALF_STOPS = (1.7, 2.4, 3.3, 4.8, 6.7, 9.5, 19, 27)
BETWEEN_MARKS = (0.95, 1.25, 1.414, 2.3, 3.0, 5.3, 12.5, 17.5)
F_NUMBERS = (*MARKS, *HALF_STOPS, *BETWEEN_MARKS)
SPEEDS = (50, 64, 100, 101, 125, 160, 200, 320, 400, 640, 800, 1250, 1600, 3200, 12800)
TIMES = (1 / 25, 1 / 48, 1 / 50, 0.02, 0.0201, 1 / 60, 1 / 100, 1 / 120, 1 / 125, 1 / 250, 0.5)
STEPS = (0, 1 / 3, 1, 2, 4, 6, 7)
THREADS, WIDTHS = (67, 77, 82), (75, 100)
DENSITIES = (0, 0.3, 0.3, 0.6, 0.6, 0.75, 0.9, 1.2, 1.8, 3.0)


def exactly(n: float) -> float:
    """What a marked f-number stands for, as the contract has it, on a third-stop dial."""
    return 2 ** (round(6 * math.log2(n)) / 6) if n in MARKS else n


def hundredths(most: float) -> st.SearchStrategy[float]:
    return st.integers(0, round(100 * most)).map(lambda n: n / 100)


def light_levels() -> st.SearchStrategy[float]:
    """ev100 [stops], from moonlight to snow in the sun and beyond."""
    return st.integers(-3000, 20000).map(lambda n: n / 1000)


@st.composite
def lights_within_reach(draw: st.DrawFn, kit: Kit) -> float:
    """ev100 [stops] near what some setting of the kit exposes, so that there is a choice between good answers."""
    body = kit.body
    n, t = draw(st.sampled_from((kit.lens.widest, kit.lens.smallest))), draw(st.sampled_from(body.shutters))
    glass = draw(st.sampled_from((0, *(f.density * math.log2(10) for f in kit.filters))))
    settings = math.log2(n**2 / t) - math.log2(draw(st.sampled_from(body.iso_allowed)) / 100)
    built_in = draw(st.sampled_from(body.built_in_nd))
    ev100 = settings + glass + built_in + kit.lens.loss_stops + draw(st.integers(-2000, 2000)) / 1000
    return round(min(max(ev100, -3), 20), 3)


def some(of: tuple, least: int, most: int, *, once: bool = True) -> st.SearchStrategy[tuple]:
    return st.lists(st.sampled_from(of), min_size=least, max_size=most, unique=once).map(tuple)


def hands() -> st.SearchStrategy[Hands]:
    each = st.one_of(st.just(0.0), hundredths(20))
    names = Hands.__dataclass_fields__
    return st.one_of(
        st.just(Hands()),
        st.builds(Hands, **dict.fromkeys(names, each)),
        st.just(Hands(**dict.fromkeys(names, 0.0))),  # everything ties
    )


@st.composite
def filters(draw: st.DrawFn) -> tuple[Filter, ...]:
    plates, rings = draw(st.sampled_from((3, 2, 4, 1, 0))), draw(st.sampled_from((2, 1, 0, 3, 4)))
    pieces = [("slot", n) for n in range(plates)] + [("thread", n) for n in range(rings)]
    made = []
    for mount, n in draw(st.permutations(pieces)):
        density = draw(st.one_of(st.sampled_from(DENSITIES), hundredths(4)))
        if mount == "slot":
            width = draw(st.sampled_from((None, 100, *WIDTHS)))
            made.append(Filter(f"plate {n}", "slot", density, width=width))
        else:
            made.append(Filter(f"round {n}", "thread", density, thread=draw(st.sampled_from((77, *THREADS)))))
    return tuple(made)


@st.composite
def lenses(draw: st.DrawFn, clicks: int) -> Lens:
    """A lens with at most a dozen positions between its ends, on a dial with so many clicks a stop."""
    widest = draw(st.sampled_from(F_NUMBERS))
    smaller = [
        n for n in F_NUMBERS if exactly(n) >= exactly(widest) and iris_of(n, clicks) - iris_of(widest, clicks) < 12
    ]
    return Lens(
        widest,
        draw(st.sampled_from(smaller)),
        draw(st.sampled_from((77, None, *THREADS, 77, 77))),
        draw(hundredths(1)),
    )


@st.composite
def kits(draw: st.DrawFn) -> Kit:
    clicks = draw(st.sampled_from(DIALS))
    body = Body(
        clicks,
        iso_base=draw(some(SPEEDS, 1, 2)),
        iso_allowed=draw(some(SPEEDS, 1, 5)),
        shutters=draw(some(TIMES, 1, 3)),
        iso_quiet=draw(st.sampled_from((None, *SPEEDS))),
        built_in_nd=draw(some(STEPS, 1, 3)),
    )
    holder = draw(
        st.one_of(
            st.builds(Holder, st.just(100), st.sampled_from((3, 2, 4, 1)), st.just(THREADS)),
            st.builds(Holder, st.sampled_from(WIDTHS), st.integers(1, 4), some(THREADS, 0, 3)),
            st.none(),
        )
    )
    return Kit(body, draw(lenses(clicks)), holder, draw(filters()), draw(hands()))


@st.composite
def rigs(draw: st.DrawFn, kit: Kit) -> Rig:
    """Any rig that may be on the camera now: its iris, ISO and shutter need not be ones that an answer may have."""
    holder, thread = kit.holder, kit.lens.thread
    slots: tuple[str, ...] = ()
    threads: tuple[str, ...] = ()
    on = holder is not None and thread in holder.rings and draw(st.booleans())
    if holder is not None:
        fitting = tuple(f.id for f in kit.filters if f.mount == "slot" and f.width in (None, holder.width))
        if fitting:
            slots = draw(some(fitting, 0, holder.slots))
    if not on:
        fitting = tuple(f.id for f in kit.filters if f.mount == "thread" and f.thread == thread)
        if fitting:
            threads = draw(some(fitting, 0, 2))
    return Rig(
        holder_on=on,
        slots=slots,
        threads=threads,
        built_in=draw(st.sampled_from(kit.body.built_in_nd)),
        aperture=draw(st.sampled_from(F_NUMBERS)),
        shutter=draw(st.sampled_from((*kit.body.shutters, *TIMES))),
        iso=draw(st.sampled_from((*kit.body.iso_allowed, *SPEEDS))),
    )


@st.composite
def looks(draw: st.DrawFn) -> Look:
    widest, wanted, narrowest = sorted((draw(st.sampled_from(F_NUMBERS)) for _ in range(3)), key=exactly)
    return Look(wanted, widest, narrowest, draw(st.sampled_from(TIMES)), draw(hundredths(0.33)), draw(hundredths(1)))


@st.composite
def kits_and_rigs(draw: st.DrawFn) -> tuple[Kit, Rig]:
    """A kit and the rig that is on the camera, with no more legal rigs than a loop takes in a moment."""
    kit = draw(kits())
    rig = draw(rigs(kit))
    assume(how_many_rigs(kit, rig) <= RIGS_A_LOOP_TAKES)
    return kit, rig


@st.composite
def questions(draw: st.DrawFn) -> tuple[Kit, Rig, list[tuple[float, Look]]]:
    """
    A kit, the rig that is on the camera, and one to three places: ev100 and look. Some share their look, and some are
    lit by lamps that a shutter is steady under.
    """
    kit, rig = draw(kits_and_rigs())
    asked = st.lists(st.one_of(lights_within_reach(kit), light_levels()), min_size=1, max_size=3)
    lights, wants = draw(asked), draw(st.lists(looks(), min_size=1, max_size=2))
    lamps = st.sampled_from([None, *(mains for mains in (50, 60) if shutters_of(kit, rig, mains))])
    wants += [replace(look, mains=draw(lamps)) for look in wants]
    return kit, rig, [(ev100, draw(st.sampled_from(wants))) for ev100 in lights]
