"""
The contract's day in plain words: every legal rig of every stop, what a change between any two costs, and sums that
compare as tuples do. To hold the engine to; it imports nothing that searches, scores or lists setups.

A rig is all that is on the camera, the plates of a holder that is off included: unlike a single move's list in
`plain_kit`, a day's must have every way to fill it.
"""

from __future__ import annotations

import math
from itertools import combinations, pairwise, product
from typing import TYPE_CHECKING, NamedTuple

from tests.exposure.plain_kit import takes, threads_of, turns
from tests.exposure.plain_loop import iris_of, irises_of, iso_of, isos_of, lift_of, off_look_of, shutters_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from server.exposure.days import Stop
    from server.exposure.rig import Kit, Look, Rig

PARTS = ("miss", "off_look", "shutter_off", "iso_lift", "effort", "residual")
WIDE = 64  # bits of one sum among others: no sum of whole millionths comes near it


class Whole(NamedTuple):
    """A rig, all of it. turned in stops, iris and iso as positions."""

    held: bool
    slots: frozenset[str]
    front: str | None
    threads: frozenset[str]
    turned: float | None
    built_in: float
    iris: int
    shutter: float
    iso: int

    @property
    def on(self) -> frozenset[str]:
        """What is in front of the lens."""
        if not self.held:
            return self.threads
        return self.slots | (frozenset() if self.front is None else {self.front})


def whole(kit: Kit, rig: Rig) -> Whole:
    """A rig as the engine has it."""
    return Whole(
        rig.holder_on,
        frozenset(rig.slots),
        rig.front,
        frozenset(rig.threads),
        None if rig.turned is None else round(rig.turned, 9),
        rig.built_in,
        iris_of(rig.aperture, kit.body.clicks_per_stop),
        rig.shutter,
        iso_of(rig.iso),
    )


def sets_of(pieces: Sequence[str], most: int) -> list[frozenset[str]]:
    return [frozenset(some) for n in range(most + 1) for some in combinations(pieces, n)]


def every_rig(kit: Kit, start: Rig, look: Look) -> Iterator[Whole]:
    """Every legal rig at a stop with this look, on a day that starts with this rig."""
    holder, reached = kit.holder, threads_of(kit)
    plates = [f.id for f in kit.filters if holder and f.mount == "slot" and f.width in (None, holder.width)]
    fronts = [f.id for f in kit.filters if f.mount == "front" and holder and holder.front == f.thread]
    rings = [f.id for f in kit.filters if f.mount == "thread" and f.thread in reached]
    insides = list(product(sets_of(plates, holder.slots if holder else 0), (None, *fronts)))
    glass = [(False, *inside, some) for inside in insides for some in sets_of(rings, 2)]
    if holder is not None and reached & set(holder.rings):
        glass += [(True, *inside, frozenset[str]()) for inside in insides]
    lens = kit.lens
    irises = irises_of(kit)
    if look.long_end and lens.widest_long is not None:
        irises = range(iris_of(lens.widest_long, kit.body.clicks_per_stop), irises.stop)
    kinds = {f.id: f.kind for f in kit.filters}
    by_id = {f.id: f for f in kit.filters}
    for held, slots, front, threads in glass:
        bare = Whole(held, slots, front, threads, None, 0, 0, 0, 0)
        variable = [f for f in bare.on if kinds[f] == "variable_nd"]
        if {f for f in bare.on if kinds[f] not in ("nd", "variable_nd")} != look.worn or len(variable) > 1:
            continue
        for turned in turns(by_id[variable[0]]) if variable else [None]:
            settings = product(kit.body.built_in_nd, irises, shutters_of(kit, start), isos_of(kit, start))
            for step, iris, shutter, iso in settings:
                yield Whole(
                    held, slots, front, threads, None if turned is None else round(turned, 9), step, iris, shutter, iso
                )


def change(kit: Kit, now: Whole, then: Whole) -> tuple[float, float]:
    """Hand seconds, and the part spent on glass."""
    hands, wheel = kit.hands, kit.body.built_in_nd
    glass = len(now.slots - then.slots) * hands.pull + len(then.slots - now.slots) * hands.drop_in
    glass += len(now.threads - then.threads) * hands.unscrew + len(then.threads - now.threads) * hands.screw_on
    if now.front != then.front:
        glass += (hands.front_off if now.front else 0) + (hands.front_on if then.front else 0)
    if now.held != then.held:
        glass += hands.holder_off if now.held else hands.holder_on
    hand = glass + hands.built_in * abs(wheel.index(now.built_in) - wheel.index(then.built_in))
    variable = {f.id for f in kit.filters if f.kind == "variable_nd"}
    if now.on & then.on & variable:
        hand += hands.turn * abs(now.turned - then.turned)
    hand += hands.iris * abs(now.iris - then.iris) / kit.body.clicks_per_stop
    hand += (hands.iso if now.iso != then.iso else 0) + (hands.shutter if now.shutter != then.shutter else 0)
    return hand, glass


def own(kit: Kit, stop: Stop) -> Kit:
    """The kit with the lens that is on for a stop."""
    return stop.kit or kit


def on_lens(kit: Kit, now: Whole) -> Whole:
    """
    What is on the camera once this kit's lens is on, with the holder that goes with it.

    What fits stays where it is and as it is: in the holder the plates of its width, as many as it has slots and those
    that come first in the kit, and what its front ring takes; on the thread the rings that screw on. The holder stays
    on where there is an adapter ring. The rest comes off with the old lens, and nobody's hand is counted.
    """
    holder, reached = kit.holder, threads_of(kit)
    plates = [f.id for f in kit.filters if f.id in now.slots and holder and f.width in (None, holder.width)]
    then = now._replace(
        held=now.held and holder is not None and bool(reached & set(holder.rings)),
        slots=frozenset(plates[: holder.slots] if holder else ()),
        front=next((f.id for f in kit.filters if f.id == now.front and holder and f.thread == holder.front), None),
        threads=frozenset(f.id for f in kit.filters if f.id in now.threads and f.thread in reached),
    )
    variable = {f.id for f in kit.filters if f.kind == "variable_nd"}
    return then if then.on & variable else then._replace(turned=None)


def changes(kit: Kit, start: Whole, stops: Sequence[Stop], plan: Sequence[Whole]) -> Iterator[tuple[Whole, Whole]]:
    """Every stop's change: from what is on the camera, by then on the stop's own lens, to the plan's rig."""
    for stop, (now, then) in zip(stops, pairwise((start, *plan)), strict=True):
        yield on_lens(own(kit, stop), now), then


def millionths(part: float) -> int:
    return round(part * 1e6)


def picture(kit: Kit, stop: Stop, rig: Whole) -> tuple[int, int, int, int]:
    """miss, off_look, shutter_off and iso_lift in whole millionths."""
    c, look = kit.body.clicks_per_stop, stop.look
    return (
        millionths(max(0.0, abs(residual(kit, stop, rig)) - c * look.tolerance)),
        millionths(off_look_of(kit, look, rig.iris)),
        millionths(3 * abs(math.log2(rig.shutter / look.shutter))),
        millionths(lift_of(kit, rig.iso)),
    )


def residual(kit: Kit, stop: Stop, rig: Whole) -> float:
    """Clicks; above 0 too bright."""
    c = kit.body.clicks_per_stop
    by_id = {f.id: f for f in kit.filters}
    glass = sum(takes(by_id[f]) for f in rig.on if by_id[f].kind != "variable_nd") + (rig.turned or 0.0)
    light = stop.light.ev100 - glass - rig.built_in - kit.lens.loss_stops
    return (light - (rig.iris / c - math.log2(rig.shutter) - rig.iso / 3)) * c


def effort(kit: Kit, stop: Stop, now: Whole, then: Whole) -> int:
    """The hand's seconds as often as the stop counts them, and what the distance from the wanted iris is worth."""
    c = kit.body.clicks_per_stop
    stray = kit.hands.stray * abs(then.iris - iris_of(stop.look.wanted, c)) / c
    return millionths(stop.hurry * change(kit, now, then)[0] + stray)


def packed(parts: Sequence[int]) -> int:
    """Sums in one whole number that compares as their tuple does, and adds as they do."""
    number = 0
    for part in parts:
        number = (number << WIDE) + part
    return number


def unpacked(number: int) -> tuple[int, ...]:
    return tuple(number >> WIDE * n & (1 << WIDE) - 1 for n in reversed(range(len(PARTS))))


def worth(kit: Kit, stop: Stop, then: Whole) -> int:
    """What having a rig at a stop adds to the sums, however it was reached."""
    return packed((*picture(kit, stop, then), 0, millionths(abs(residual(kit, stop, then)))))


def way(kit: Kit, stop: Stop, now: Whole, then: Whole) -> int:
    """What getting to it adds."""
    return packed((effort(kit, stop, now, then), 0))


def sums(kit: Kit, start: Whole, stops: Sequence[Stop], plan: Sequence[Whole]) -> tuple[int, ...]:
    """The day's tuple of a plan, in whole millionths."""
    return unpacked(
        sum(
            worth(own(kit, stop), stop, then) + way(kit, stop, now, then)
            for stop, (now, then) in zip(stops, changes(kit, start, stops, plan), strict=True)
        )
    )


def ties(kit: Kit, start: Whole, stops: Sequence[Stop], plan: Sequence[Whole]) -> tuple:
    """What breaks ties: glass seconds in all, then as early as can be, then fewest filters and the kit's order."""
    place = {f.id: n for n, f in enumerate(kit.filters)}
    glass = [millionths(change(kit, *both)[1]) for both in changes(kit, start, stops, plan)]
    return (
        sum(glass),
        [-each for each in glass],
        [(len(rig.on), tuple(sorted(place[f] for f in rig.on))) for rig in plan],
    )


def best_of_every_plan(kit: Kit, start: Rig, stops: Sequence[Stop]) -> tuple[tuple[int, ...], tuple]:
    """The smallest tuple of every sequence of legal rigs, and the ties of the best of those that have it."""
    first = whole(kit, start)
    kits = [own(kit, stop) for stop in stops]
    layers = [list(every_rig(lens, start, stop.look)) for lens, stop in zip(kits, stops, strict=True)]
    worths = [[worth(lens, stop, rig) for rig in layer] for lens, stop, layer in zip(kits, stops, layers, strict=True)]
    ways = [
        [[way(kit, stop, now, then) for then in layer] for now in (on_lens(own(kit, stop), each) for each in before)]
        for stop, before, layer in zip(stops, ([first], *layers[:-1]), layers, strict=True)
    ]
    least, best = math.inf, []
    for plan in product(*(range(len(layer)) for layer in layers)):
        cost, now = 0, 0
        for n, then in enumerate(plan):
            cost += worths[n][then] + ways[n][now][then]
            now = then
        if cost < least:
            least, best = cost, []
        if cost == least:
            best.append([layer[n] for layer, n in zip(layers, plan, strict=True)])
    return unpacked(least), min(ties(kit, first, stops, plan) for plan in best)
