"""
One move, timed: the engine beside a plain loop over every legal rig, on the same questions in the same run.

    python -m tests.bench.moves

The kit is the design's big one: 12 filters in 3 slots, 30 irises, 19 ISOs, 5 shutters. Budget: 5,000 times faster
than the loop. "warm" is a server that has seen the kit; "cold" empties the engine's caches before every call. A wrong
answer fails the run.

Half of the legal rigs have the holder off with its plates changed, which costs time and gains nothing by ordinary
hands. The contract has them legal, so the loop looks at them; one that knew better would take half as long.
"""

from __future__ import annotations

import statistics
import sys
import time
from functools import partial
from typing import TYPE_CHECKING

from server.exposure import glass, light, moves, rig, scales
from server.exposure.glass import Filter, Holder
from server.exposure.light import Light
from server.exposure.moves import best_moves
from server.exposure.rig import Body, Kit, Lens, Look, Rig
from tests.exposure.plain_loop import how_many_rigs, plain_loop, score_of

if TYPE_CHECKING:
    from collections.abc import Callable

BUDGET = 5_000
CALLS = 201
DENSITIES = (0.3, 0.45, 0.6, 0.75, 0.9, 1.2, 1.5, 1.8, 2.1, 2.4, 2.7, 3.0)
SPEEDS = (100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400)
SHUTTERS = (1 / 50, 1 / 100, 1 / 200, 1 / 500, 1 / 1000)

KIT = Kit(
    Body(3, iso_base=(100, 800), iso_allowed=SPEEDS, shutters=SHUTTERS, iso_quiet=160),
    Lens(1, 29, 77),
    Holder(100, 3, (77,)),
    tuple(Filter(f"grey {density}", "slot", density) for density in DENSITIES),
)
RIG = Rig(True, ("grey 0.6", "grey 1.2"), (), 0, 2.8, 1 / 50, 100)
TWO_STOPS = Look(2.8, 2, 4, 1 / 50)
WHOLE_LENS = Look(2.8, 1, 29, 1 / 50)
QUESTIONS = [
    ("out of the sun into a hall", 6.0, TWO_STOPS),
    ("open shade", 12.0, TWO_STOPS),
    ("full sun", 15.0, TWO_STOPS),
    ("full sun, any iris", 15.0, WHOLE_LENS),
    ("candles", 1.5, WHOLE_LENS),
]


def caches() -> list:
    """Whatever the engine remembers between calls, wherever it keeps it."""
    owners = [scales, light, glass, rig, moves]
    owners += [each for owner in list(owners) for each in vars(owner).values() if isinstance(each, type)]
    named = [each for owner in owners for each in vars(owner).values()]
    found = [getattr(each, "__func__", each) for each in named]
    return list({id(each): each for each in found if hasattr(each, "cache_clear")}.values())


def forget() -> None:
    """Empty the engine's caches, so that a call starts from nothing."""
    for each in CACHES:
        each.cache_clear()


CACHES = caches()


def median_seconds(call: Callable[[], object], before: Callable[[], object] = lambda: None) -> float:
    """The median time of many calls [s], each after `before`, which is not counted."""
    times = []
    for _ in range(CALLS):
        before()
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def same(ev100: float, look: Look, found: tuple, best: tuple) -> bool:
    """Whether the engine's two answers score what the loop's do, ties included."""
    return all(
        all(abs(a - b) < 1.5e-6 for a, b in zip(ours.score, theirs.score, strict=True)) and ours.ties == theirs.ties
        for which, theirs in enumerate(best)
        for ours in (score_of(KIT, RIG, ev100, look, found[which].rig)[which],)
    )


def main() -> int:
    """Print the table. 1: an answer was wrong."""
    rigs = how_many_rigs(KIT, RIG)
    irises = len(KIT.irises())
    print(
        f"{len(KIT.filters)} filters, {KIT.holder.slots} slots, {irises} irises, {len(SPEEDS)} ISOs, "
        f"{len(SHUTTERS)} shutters: {rigs:,} legal rigs. Python {sys.version.split()[0]}. "
        f"Medians of {CALLS} calls, the loop once a question; {len(CACHES)} caches emptied for a cold call.\n"
    )
    print("| question | plain loop | a rig | engine, warm | ratio | engine, cold | ratio |")
    print("|---|---:|---:|---:|---:|---:|---:|")
    wrong = []
    loops, warms, colds = [], [], []
    for name, ev100, look in QUESTIONS:
        ask = partial(best_moves, KIT, RIG, [(Light(ev100), look)])

        start = time.perf_counter()
        best = plain_loop(KIT, RIG, ev100, look)
        loop = time.perf_counter() - start
        answers = ask()[0]
        if not same(ev100, look, (answers.clean, answers.fast), best):
            wrong.append(name)
        warm, cold = median_seconds(ask), median_seconds(ask, forget)
        loops, warms, colds = [*loops, loop], [*warms, warm], [*colds, cold]
        print(row(name, rigs, loop, warm, cold))
    print(row("median", rigs, *(statistics.median(times) for times in (loops, warms, colds))))
    print(f"\nBudget: {BUDGET:,} times. " + ("WRONG: " + ", ".join(wrong) if wrong else "Both give the same answers."))
    return 1 if wrong else 0


def row(name: str, rigs: int, loop: float, warm: float, cold: float) -> str:
    """One line of the table."""
    return (
        f"| {name} | {loop:.2f} s | {1e6 * loop / rigs:.2f} µs | {1e3 * warm:.2f} ms | {loop / warm:,.0f} "
        f"| {1e3 * cold:.2f} ms | {loop / cold:,.0f} |"
    )


if __name__ == "__main__":
    sys.exit(main())
