"""
The kit's longer questions, timed: packing a day, other ways to a place, and what a variable ND adds to one move.

    python -m tests.bench.kit

Budgets: packing a 12-filter kit for a day of 24 stops under 2 s, other ways on the big kit under 20 ms; one that is
broken fails the run. "cold" empties the engine's caches before each call. The kit is the one of `tests.bench.moves`;
"no slack" is a day that only glass can save: one ISO, one iris, and a light of its own at each of the 24 stops.
"""

from __future__ import annotations

import statistics
import sys
import time
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from server.exposure.glass import Filter
from server.exposure.light import Light
from server.exposure.moves import best_moves, other_ways
from server.exposure.packing import gains, pack
from server.exposure.rig import Look, Rig
from tests.bench.moves import CACHES, KIT, forget
from tests.exposure.plain_loop import how_many_rigs

if TYPE_CHECKING:
    from collections.abc import Callable

CALLS = 31
LOOKS = (Look(2.8, 2, 4, 0.02), Look(2.8, 2.5, 3.2, 0.02), Look(4, 2.8, 5.6, 0.02))
DAY = [(Light(4 + 0.47 * (7 * n % 24)), LOOKS[n % 3]) for n in range(24)]
START = Rig(False, (), (), 0, 2.8, 0.02, 100)
ONE_IRIS = Look(2.8, 2.8, 2.8, 0.02)
NO_SLACK = replace(KIT, body=replace(KIT.body, iso_allowed=(100,), shutters=(0.02,)))

PLATE = Filter("variable plate", "slot", 0.6, kind="variable_nd", density_to=2.4)
RING = Filter("variable ring", "thread", 0.6, thread=77, kind="variable_nd", density_to=2.4)
WHEEL = replace(KIT.body, built_in_nd=(0.0, 2.0, 4.0, 6.0))


def main() -> int:
    """Print the table. 1: a budget was broken."""
    stops = [(KIT, light, look) for light, look in DAY]
    hard = [(NO_SLACK, Light(8.7 + 0.41 * n), ONE_IRIS) for n in range(24)]
    kits = {
        "": KIT,
        ", with a variable ND to screw on": replace(KIT, filters=(*KIT.filters, RING)),
        ", with a variable ND to slide in": replace(KIT, filters=(*KIT.filters, PLATE)),
        ", with a wheel of 4 steps": replace(KIT, body=WHEEL),
        ", with the wheel and a variable ND to slide in": replace(KIT, filters=(*KIT.filters, PLATE), body=WHEEL),
    }
    rows: list[tuple[str, Callable[[], object], float]] = [
        ("packing 12 filters in 3 slots for 24 stops", lambda: pack(stops), 2),
        ("the same with no slack", lambda: pack(hard), 2),
        ("what one more filter would gain", lambda: gains(stops, START), 0),
        *(
            (f"other ways{name}", partial(other_ways, kit, START, *DAY[0]), 0 if name else 0.02)
            for name, kit in kits.items()
        ),
        *((f"one move{name}", partial(best_moves, kit, START, DAY[:1]), 0) for name, kit in kits.items()),
    ]
    print(
        f"{how_many_rigs(KIT, START):,} legal rigs without the extras. Python {sys.version.split()[0]}. "
        f"Medians of {CALLS} calls; {len(CACHES)} caches emptied for a cold call. "
        f"Pieces packed: {len(pack(stops).pieces)}, with no slack {len(pack(hard).pieces)}.\n"
    )
    print("| question | cold | warm | budget |\n|---|---:|---:|---:|")
    broken = []
    for name, ask, budget in rows:
        cold, warm = median(ask, forget), median(ask, lambda: None)
        print(f"| {name} | {cold * 1e3:.1f} ms | {warm * 1e3:.1f} ms | {f'{budget * 1e3:g} ms' if budget else ''} |")
        if budget and cold > budget:
            broken.append(name)
    print("\n" + (f"OVER BUDGET: {', '.join(broken)}" if broken else "Within the budgets."))
    return 1 if broken else 0


def median(ask: Callable[[], object], before: Callable[[], object]) -> float:
    """The median time of the calls [s], each after `before`, which is not counted."""
    taken = []
    for _ in range(CALLS):
        before()
        start = time.perf_counter()
        ask()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


if __name__ == "__main__":
    sys.exit(main())
