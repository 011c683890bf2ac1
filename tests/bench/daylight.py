"""
The light of a venue through a day: 12 places at 5-minute steps in one pass, beside a call for each place and each level.

    python -m tests.bench.daylight

The glass of the light picture is timed with it. Medians of one run; the ratios are what counts.
"""

from __future__ import annotations

import statistics
import time
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING

from server.exposure.daylight import Known, Spot, forecast
from server.exposure.rig import Look
from server.exposure.stretches import stretches
from server.exposure.sun import Site
from tests.bench.moves import KIT

if TYPE_CHECKING:
    from collections.abc import Callable

SITE = Site(51.75, -1.26)
READ = datetime(2026, 6, 20, 10, 7, tzinfo=UTC)
DAY = [datetime(2026, 6, 20, tzinfo=UTC) + timedelta(minutes=5 * step) for step in range(289)]
SPOTS = (
    *(Spot("sun", lit) for lit in ("front", "side", "back", "above")), Spot("shade"), Spot("window"),
    *(Spot("window", faces=bearing) for bearing in (0.0, 90.0, 180.0, 270.0)), Spot("window", lamps=0.5), Spot("lamps"),
)  # fmt: skip
PLACES = [Known(spot, 12.0, READ + timedelta(minutes=number), "clear") for number, spot in enumerate(SPOTS)]
LOOK = Look(2.8, 2.0, 4.0, 0.02)


def main() -> None:
    """Print the table."""
    levels = forecast(SITE, PLACES, DAY).ev100
    pass_ = timed(partial(forecast, SITE, PLACES, DAY), 30)
    each_place = timed(lambda: [forecast(SITE, [place], DAY) for place in PLACES], 10)
    each_level = timed(lambda: [forecast(SITE, [place], [at]) for place in PLACES[:1] for at in DAY], 3) * len(PLACES)
    glass = timed(lambda: [stretches(KIT, LOOK, row[:-1:3].clip(-16, 36).tolist()) for row in levels], 5)
    print(f"| {len(PLACES)} places, {len(DAY)} times | time | beside one pass |\n|---|---:|---:|")
    for name, taken in (
        ("one pass", pass_),
        ("a call for each place", each_place),
        ("a call for each level", each_level),
        ("which of 12 filters keeps the look, every quarter of an hour", glass),
    ):
        print(f"| {name} | {taken * 1e3:.1f} ms | {taken / pass_:.1f} |")


def timed(what: Callable[[], object], rounds: int) -> float:
    """The median time [s] of so many rounds, after one that does not count."""
    what()
    taken = []
    for _ in range(rounds):
        start = time.perf_counter()
        what()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


if __name__ == "__main__":
    main()
