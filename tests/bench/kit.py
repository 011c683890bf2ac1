"""
The kit's longer questions, timed: packing a day, other ways to a place, and what a variable ND adds to one move.

    python -m tests.bench.kit

Budgets: packing a 12-filter kit for a day of 24 stops under 2 s, other ways on the big kit under 20 ms. Every cache is
emptied before each call. The kit is the one of `tests.bench.moves`.
"""

from __future__ import annotations

import statistics
import time
from dataclasses import replace
from typing import TYPE_CHECKING

from server.exposure.glass import Filter
from server.exposure.light import Light
from server.exposure.moves import best_moves, other_ways
from server.exposure.packing import gains, pack
from server.exposure.rig import Look, Rig
from tests.bench.moves import KIT, forget

if TYPE_CHECKING:
    from collections.abc import Callable

CALLS = 15
LOOKS = (Look(2.8, 2, 4, 0.02), Look(2.8, 2.5, 3.2, 0.02), Look(4, 2.8, 5.6, 0.02))
DAY = [(Light(4 + 0.47 * (7 * n % 24)), LOOKS[n % 3]) for n in range(24)]
START = Rig(False, (), (), 0, 2.8, 0.02, 100)


def main() -> None:
    """Print the table."""
    stops = [(KIT, light, look) for light, look in DAY]
    variable = Filter("variable", "thread", 0.6, thread=77, kind="variable_nd", density_to=2.4)
    more = replace(KIT, filters=(*KIT.filters, variable), body=replace(KIT.body, built_in_nd=(0.0, 2.0, 4.0, 6.0)))
    rows: list[tuple[str, Callable[[], object], str]] = [
        ("packing 12 filters in 3 slots for 24 stops", lambda: pack(stops), "2 s"),
        ("what one more filter would gain there", lambda: gains(stops, START), ""),
        ("other ways to one place, big kit", lambda: other_ways(KIT, START, *DAY[0]), "20 ms"),
        ("one move, big kit", lambda: best_moves(KIT, START, DAY[:1]), ""),
        ("the same with a variable ND and a built-in wheel", lambda: best_moves(more, START, DAY[:1]), ""),
    ]
    print("| question | median, cold | budget |\n|---|---:|---:|")
    for name, ask, budget in rows:
        taken = []
        for _ in range(CALLS):
            forget()
            start = time.perf_counter()
            ask()
            taken.append(time.perf_counter() - start)
        print(f"| {name} | {statistics.median(taken) * 1e3:.1f} ms | {budget} |")


if __name__ == "__main__":
    main()
