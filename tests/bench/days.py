"""
A day planned, timed: the design's day, how it grows, and beside a graph library's shortest path.

    python -m tests.bench.days

Budgets, cold: a day of 24 stops with 12 filters in 3 slots under 0.1 s with looks of two stops' width, and under 0.5 s
with looks as wide as the lens. A budget that is broken, or a graph that finds other sums, fails the run. Processor time,
so that what else runs on the machine does not count; everything runs on one core.

The graph cannot have the design's day: its legal rigs, 1.7 million a stop, would be 3 million million edges a stop. It
gets smaller ones: every legal rig of a few filters and settings, as the contract defines the day; and a larger kit where
it is told what the engine knows, that only rigs with a stop's best picture can be in the best plan. Nearly all of its time
goes into making the graph, an edge for every change; that is what the engine is spared.
"""

from __future__ import annotations

import math
import resource
import statistics
import sys
import time
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import networkx as nx

from server.exposure.days import Stop, best_day
from server.exposure.glass import Filter, Holder
from server.exposure.light import Light
from server.exposure.rig import Body, Kit, Lens, Look, Rig
from tests.bench.moves import CACHES, KIT, TWO_STOPS, WHOLE_LENS, forget
from tests.exposure.plain_day import every_rig, picture, sums, unpacked, way, whole, worth
from tests.exposure.plain_loop import how_many_rigs

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

CALLS = 15
LOOKS = (TWO_STOPS, WHOLE_LENS)
START = Rig(False, (), (), 0, 2.8, 0.02, 100)
RINGS = tuple(Filter(f"round {density}", "thread", density, thread=77) for density in (0.6, 0.9, 1.2, 1.8))
VARIABLE_PLATE = Filter("variable plate", "slot", 0.6, kind="variable_nd", density_to=2.4)
VARIABLE_RING = Filter("variable ring", "thread", 0.6, thread=77, kind="variable_nd", density_to=2.4)
WHEEL = replace(KIT.body, built_in_nd=(0.0, 2.0, 4.0, 6.0))
SAME_THREAD = (KIT.lens, Lens(1.4, 22, 77, 0.3), Lens(2, 29, 77), KIT.lens)  # the holder goes from one to the next
OTHER_THREAD = (KIT.lens, Lens(1.4, 22, 67), Lens(2, 29, 77), Lens(1.4, 22, 82))  # and fits only two of these
SMALL_BODY = Body(3, iso_base=(100,), iso_allowed=(100, 200), shutters=(0.02,), iso_quiet=200)


def running_order(stops: int, look: Look) -> list[Stop]:
    """Stops from candle light to full sun and back, in no order, with a hurry of their own each."""
    return [Stop(Light(4 + 0.47 * (7 * n % 24)), look, (1, 1, 3, 0.5)[n % 4]) for n in range(stops)]


def with_lenses(kit: Kit, stops: list[Stop], lenses: Sequence[Lens]) -> list[Stop]:
    """The stops with each of these lenses on for as many of them, one lens after another."""
    each = len(stops) // len(lenses)
    return [replace(stop, kit=replace(kit, lens=lenses[number // each])) for number, stop in enumerate(stops)]


def pouch(filters: int) -> Kit:
    """The kit with so many plates from 0.15 D up."""
    return replace(KIT, filters=tuple(Filter(f"plate {n + 1}", "slot", 0.15 * (n + 1)) for n in range(filters)))


def seconds(ask: Callable[[], object], before: Callable[[], object] = lambda: None) -> float:
    """The median processor time of some calls [s], each after `before`, which is not counted."""
    taken = []
    for _ in range(CALLS):
        before()
        start = time.process_time()
        ask()
        taken.append(time.process_time() - start)
    return statistics.median(taken)


def answered(kit: Kit, stops: Sequence[Stop]) -> float:
    """A day as the JSON call answers it: planned, with what taking each stop as it comes would cost."""
    return best_day(kit, START, stops).stop_by_stop_effort


def graph(kit: Kit, stops: Sequence[Stop], *, best_pictures: bool) -> nx.DiGraph:
    """A graph of legal rigs, a layer for each stop, from the node "start" to the node "end"."""
    made = nx.DiGraph()
    before, nodes = [whole(kit, START)], ["start"]
    for number, stop in enumerate(stops):
        layer = list(every_rig(kit, START, stop.look))
        if best_pictures:
            pictures = [picture(kit, stop, rig) for rig in layer]
            best = min(pictures)
            layer = [rig for rig, its in zip(layer, pictures, strict=True) if its == best]
        worths = [worth(kit, stop, then) for then in layer]
        made.add_weighted_edges_from(
            (node, (number, n), way(kit, stop, now, then) + own)
            for node, now in zip(nodes, before, strict=True)
            for n, (then, own) in enumerate(zip(layer, worths, strict=True))
        )
        before, nodes = layer, [(number, n) for n in range(len(layer))]
    made.add_weighted_edges_from((node, "end", 0) for node in nodes)
    return made


def design() -> list[str]:
    """The design's day, and what other glass and lenses add to it; the names of those over their budget."""
    ringed = replace(KIT, filters=(*KIT.filters, *RINGS))
    rows = {
        "12 filters in 3 slots": (KIT, ()),
        "the same, no noise up to ISO 6400": (replace(KIT, body=replace(KIT.body, iso_quiet=6400)), ()),
        "the same, a stepless iris": (replace(KIT, body=replace(KIT.body, clicks_per_stop=10)), ()),
        "the same, a wheel of 4 steps": (replace(KIT, body=WHEEL), ()),
        "the same, 4 rings to screw on": (ringed, ()),
        "the same, a variable ND to slide in": (replace(KIT, filters=(*KIT.filters, VARIABLE_PLATE)), ()),
        "the same, a variable ND to screw on": (replace(KIT, filters=(*KIT.filters, VARIABLE_RING)), ()),
        "the same, 4 rings and the wheel": (replace(ringed, body=WHEEL), ()),
        "the same, three changes of lens": (KIT, SAME_THREAD),
        "the same, three changes of thread": (KIT, OTHER_THREAD),
        "the same, 4 rings and three changes of thread": (ringed, OTHER_THREAD),
    }
    print("| 24 stops | looks | cold | warm | budget | effort | stop by stop |\n|---|---|---:|---:|---:|---:|---:|")
    broken = []
    for name, (kit, lenses) in rows.items():
        for look, wide, most in ((TWO_STOPS, "two stops", 0.1), (WHOLE_LENS, "the whole lens", 0.5)):
            stops = running_order(24, look)
            if lenses:
                stops = with_lenses(kit, stops, lenses)
            budget = most if kit is KIT and not lenses else 0
            ask = partial(answered, kit, stops)
            cold, warm = seconds(ask, forget), seconds(ask)
            plan = best_day(kit, START, stops)
            print(
                f"| {name} | {wide} | {1e3 * cold:.0f} ms | {1e3 * warm:.0f} ms "
                f"| {f'{1e3 * budget:.0f} ms' if budget else ''} | {plan.score.effort:.1f} s "
                f"| {plan.stop_by_stop_effort:.1f} s |",
                flush=True,
            )
            if budget and cold > budget:
                broken.append(f"{name}, {wide}")
    return broken


def growth() -> None:
    """How the time grows with the stops, and with the filters."""
    print("\n| stops | two stops | a stop | the whole lens | a stop |\n|---:|---:|---:|---:|---:|")
    for count in (6, 12, 24, 48, 96):
        taken = [seconds(partial(best_day, KIT, START, running_order(count, look))) for look in LOOKS]
        print(f"| {count} | " + " | ".join(f"{1e3 * s:.0f} ms | {1e3 * s / count:.2f} ms" for s in taken) + " |")
    print("\n| filters in 3 slots | ways to fill them | two stops | the whole lens |\n|---:|---:|---:|---:|")
    for count in (3, 6, 12, 18, 24, 36):
        ways = sum(math.comb(count, size) for size in range(4))
        taken = [seconds(partial(best_day, pouch(count), START, running_order(24, look))) for look in LOOKS]
        print(f"| {count} | {ways:,} | " + " | ".join(f"{1e3 * s:.0f} ms" for s in taken) + " |", flush=True)


def beside_a_graph() -> list[str]:
    """The engine beside a shortest path by a graph library; the names of those where they part."""
    few = Kit(SMALL_BODY, Lens(2, 4, 77), Holder(100, 1, (77,)), KIT.filters[2:6:3])
    some = Kit(SMALL_BODY, Lens(2, 8, 77), Holder(100, 2, (77,)), KIT.filters[1:9:2])
    more = Kit(SMALL_BODY, Lens(2, 8, 77), Holder(100, 3, (77,)), KIT.filters[1:7])
    all_of_them = replace(more, filters=KIT.filters)
    rows = {
        "all legal rigs: 2 filters, 1 slot": (few, 24, False),
        "all legal rigs: 4 filters, 2 slots": (some, 3, False),
        "best pictures: 4 filters, 2 slots": (some, 24, True),
        "best pictures: 6 filters, 3 slots": (more, 24, True),
        "best pictures: 12 filters, 3 slots": (all_of_them, 12, True),
    }
    print("\n| nodes of the graph | stops | legal rigs a stop | edges | made | searched | engine | ratio |")
    print("|---|---:|---:|---:|---:|---:|---:|---:|")
    parted = []
    for name, (kit, count, best_pictures) in rows.items():
        stops = running_order(count, TWO_STOPS)
        start = time.process_time()
        made = graph(kit, stops, best_pictures=best_pictures)
        ready = time.process_time()
        found = unpacked(nx.dijkstra_path_length(made, "start", "end"))
        done = time.process_time()
        plan = best_day(kit, START, stops)
        if sums(kit, whole(kit, START), stops, [whole(kit, move.rig) for move in plan.moves]) != found:
            parted.append(name)
        ours = seconds(partial(best_day, kit, START, stops))
        print(
            f"| {name} | {count} | {how_many_rigs(kit, START):,} | {made.number_of_edges():,} | {ready - start:.1f} s "
            f"| {done - ready:.2f} s | {1e3 * ours:.1f} ms | {(done - start) / ours:,.0f} |",
            flush=True,
        )
    return parted


def main() -> int:
    """Print the tables. 1: a budget was broken, or the graph found other sums."""
    print(
        f"{how_many_rigs(KIT, START):,} legal rigs a stop. Python {sys.version.split()[0]}. Medians of {CALLS} calls, "
        f"the graphs once; {len(CACHES)} caches emptied for a cold call.\n"
    )
    broken = design()
    growth()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024  # which is in KiB on Linux
    print(f"\nThe engine's largest day here had the process at {peak:.0f} MB.")
    parted = beside_a_graph()
    print("\n" + (f"OVER BUDGET: {', '.join(broken)}" if broken else "Within the budgets."))
    print(f"WRONG: {', '.join(parted)}" if parted else "The graphs find the same sums.")
    return 1 if broken or parted else 0


if __name__ == "__main__":
    sys.exit(main())
