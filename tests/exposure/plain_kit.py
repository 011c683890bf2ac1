"""
Every legal rig of a kit with any glass, listed plainly: variable ND, worn glass, front rings, step-up rings, zooms.

Written from the words of DEVELOPERS.md and the docstrings alone, beside `plain_loop`, which holds the contract's own
kit. It imports nothing that searches, scores or lists setups.
"""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

from tests.exposure.plain_loop import iris_of, iso_of, lift_of, off_look_of, shutters_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from server.exposure.glass import Filter
    from server.exposure.rig import Kit, Look, Rig

D = math.log2(10)  # stops a density


class Way(NamedTuple):
    """The glass in front of the lens: which, held or screwed on, what a variable ND is turned to, and what it costs."""

    held: bool
    on: frozenset[str]
    turned: float | None
    built_in: float
    stops: float
    glass_seconds: float
    other_seconds: float
    order: tuple[int, ...]


class Scored(NamedTuple):
    """One legal rig and the parts of its score."""

    way: Way
    iris: int
    iso: int
    shutter: float
    residual: float
    off_look: int
    shutter_off: float
    iso_lift: int
    hand_seconds: float
    off_wanted: int


def takes(piece: Filter) -> float:
    """What it takes from the whole picture [stops], a variable ND at its clear end."""
    if piece.kind == "grad":
        return 0.0
    return (piece.measured if piece.measured is not None else piece.density) * D


def turns(piece: Filter) -> list[float]:
    """The positions of a variable ND [stops]: from its clear end in thirds, as far as its dark end."""
    found, n = [], 0
    while piece.density * D + n / 3 <= piece.density_to * D + 1e-6:
        found.append(piece.density * D + n / 3)
        n += 1
    return found


def threads_of(kit: Kit) -> set[float]:
    """What screws onto the lens: its own thread, or the far side of one step-up ring."""
    own = kit.lens.thread
    return set() if own is None else {own, *(to for start, to in kit.step_ups if start == own)}


def sets_of(kit: Kit) -> list[tuple[bool, frozenset[str]]]:
    """Every set of glass that fits, in a mounted holder or screwed on."""
    holder, threads = kit.holder, threads_of(kit)
    sets = []
    if holder is not None and threads & set(holder.rings):
        plates = [f.id for f in kit.filters if f.mount == "slot" and f.width in (None, holder.width)]
        fronts = [f.id for f in kit.filters if f.mount == "front" and f.thread == holder.front]
        for n in range(holder.slots + 1):
            for slots in combinations(plates, n):
                sets += [(True, frozenset(slots)), *((True, frozenset((*slots, front))) for front in fronts)]
    rings = [f.id for f in kit.filters if f.mount == "thread" and f.thread in threads]
    return sets + [(False, frozenset(some)) for n in range(3) for some in combinations(rings, n)]


def every_way(kit: Kit, rig: Rig, worn: frozenset[str]) -> Iterator[Way]:
    """Every way for the glass to sit that wears exactly this, from the present rig. A holder that is off is left alone."""
    hands = kit.hands
    piece = {f.id: f for f in kit.filters}
    place = {f.id: n for n, f in enumerate(kit.filters)}
    was_held = {*rig.slots, *(() if rig.front is None else (rig.front,))}
    was_screwed = set(rig.threads)
    for held, on in sets_of(kit):
        special = {f for f in on if piece[f].kind not in ("nd", "variable_nd")}
        variable = [f for f in on if piece[f].kind == "variable_nd"]
        if special != worn or len(variable) > 1:
            continue
        glass = 0.0
        if held:
            for f in was_held - on:
                glass += hands.front_off if piece[f].mount == "front" else hands.pull
            for f in on - was_held:
                glass += hands.front_on if piece[f].mount == "front" else hands.drop_in
            glass += (0 if rig.holder_on else hands.holder_on) + len(was_screwed) * hands.unscrew
        else:
            glass += hands.holder_off if rig.holder_on else 0
            glass += len(was_screwed - on) * hands.unscrew + len(on - was_screwed) * hands.screw_on
        was_there = (rig.holder_on and variable and variable[0] in was_held) or (
            variable and variable[0] in was_screwed
        )
        for turned in turns(piece[variable[0]]) if variable else [None]:
            other = abs(turned - rig.turned) * hands.turn if turned is not None and was_there else 0.0
            plain = sum(takes(piece[f]) for f in on if f not in variable) + (turned or 0.0)
            for n, step in enumerate(kit.body.built_in_nd):
                wheel = abs(n - kit.body.built_in_nd.index(rig.built_in)) * hands.built_in
                order = tuple(sorted(place[f] for f in on))
                yield Way(held, on, turned, step, plain + step, glass, other + wheel, order)


def every_rig(kit: Kit, rig: Rig, ev100: float, look: Look) -> Iterator[Scored]:
    """Every legal rig, scored."""
    c, hands, lens = kit.body.clicks_per_stop, kit.hands, kit.lens
    widest = lens.widest_long if look.long_end and lens.widest_long is not None else lens.widest
    isos = {iso_of(rig.iso), *(iso_of(speed) for speed in kit.body.iso_allowed)}
    for way in every_way(kit, rig, look.worn):
        for t in shutters_of(kit, rig, look.mains):
            for k in isos:
                for i in range(iris_of(widest, c), iris_of(lens.smallest, c) + 1):
                    seconds = way.glass_seconds + way.other_seconds + abs(i - iris_of(rig.aperture, c)) / c * hands.iris
                    seconds += (hands.iso if k != iso_of(rig.iso) else 0) + (hands.shutter if t != rig.shutter else 0)
                    yield Scored(
                        way,
                        i,
                        k,
                        t,
                        (ev100 - way.stops - lens.loss_stops - (i / c - math.log2(t) - k / 3)) * c,
                        off_look_of(kit, look, i),
                        round(3 * abs(math.log2(t / look.shutter)), 6),
                        lift_of(kit, k),
                        seconds,
                        abs(i - iris_of(look.wanted, c)),
                    )


def score_of(kit: Kit, look: Look, one: Scored, *, fast: bool) -> tuple:
    """The contract's tuple of a rig, and what breaks ties."""
    c = kit.body.clicks_per_stop
    miss = round(max(0.0, abs(one.residual) - c * (look.rush_tolerance if fast else look.tolerance)), 6)
    effort = round(one.hand_seconds + kit.hands.stray * one.off_wanted / c, 6)
    glass = (round(one.way.glass_seconds, 6),) if fast else ()
    return (
        (miss, *glass, one.off_look, one.shutter_off, one.iso_lift, effort, round(abs(one.residual), 6)),
        (len(one.way.on), one.way.order),
    )
