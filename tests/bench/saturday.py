"""
A simulation: ten thousand weddings on one Saturday, and how many processes keep a tap's answer quick.

    python -m tests.bench.saturday

Taps are random, five times as many in the ten minutes around each ceremony, and ceremonies begin at the full and half
hours; whoever else films the same wedding asks for the page after each. A wedding is one process's, by its crew's
number. What a tap and a page take is what `tests.bench.load` measured, on one processor. A process works on one thing
after the other, in the order in which they came: real ones share their time between four, which delays the short
behind the long a little less. The database is not in it: see "Past one machine" in DEVELOPERS.md.
"""

from __future__ import annotations

import numpy as np

WEDDINGS = 10_000
PHONES = 2.5  # on a wedding, on average: one, two, or a crew of five
TAP, PAGE = 1 / 23, 1 / 109  # s of one processor: 46 taps and 218 pages a second on two
PER_PHONE = 1 / 300  # taps a second, in a quiet hour
RUSH = 5.0  # times as many around the ceremony
RUSH_SECONDS = 600.0
HOUR = 3600.0
PROCESSES = (8, 10, 12, 16, 24, 32)


def arrivals(random: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Every tap of the busiest hour: when [s], and of which wedding. A third of the ceremonies begin in it."""
    begins = np.where(random.random(WEDDINGS) < 1 / 3, random.choice([0.0, 1800.0], WEDDINGS), -HOUR)
    phones = random.choice([1, 2, 2, 5], WEDDINGS)
    quiet = random.poisson(phones * PER_PHONE * HOUR)
    rush = np.where(begins >= 0, random.poisson(phones * PER_PHONE * (RUSH - 1) * RUSH_SECONDS), 0)
    of = np.repeat(np.arange(WEDDINGS), quiet + rush)
    in_rush = np.concatenate([np.r_[np.zeros(q, bool), np.ones(r, bool)] for q, r in zip(quiet, rush, strict=True)])
    at = np.where(in_rush, begins[of] + random.random(of.size) * RUSH_SECONDS, random.random(of.size) * HOUR)
    order = np.argsort(at)
    return at[order], of[order]


def waits(at: np.ndarray, seconds: np.ndarray) -> np.ndarray:
    """How long each is under way in one process that takes one after the other (Lindley's recursion, unrolled)."""
    done = np.cumsum(seconds)
    return done + np.maximum.accumulate(at - (done - seconds)) - at


def main() -> None:
    """Print the table."""
    random = np.random.default_rng(1)
    at, of = arrivals(random)
    others = random.choice([0, 1, 1, 4], WEDDINGS)
    per_second = np.bincount(at.astype(int), minlength=int(HOUR))
    print(f"{at.size} taps in the hour; the busiest second has {per_second.max()}, the busiest minute "
          f"{np.add.reduceat(per_second, np.arange(0, per_second.size, 60)).max() / 60:.0f} a second")  # fmt: skip
    print("| processes | busy | p50 | p95 | p99 |\n|---:|---:|---:|---:|---:|")
    for processes in PROCESSES:
        found = []
        busy = 0.0
        for process in range(processes):
            mine = of % processes == process
            seconds = random.exponential(TAP, mine.sum()) + PAGE * others[of[mine]]
            found.append(waits(at[mine], seconds))
            busy = max(busy, seconds.sum() / HOUR)
        p50, p95, p99 = (1000 * np.quantile(np.concatenate(found), q) for q in (0.5, 0.95, 0.99))
        print(f"| {processes} | {100 * busy:.0f} % | {p50:.0f} ms | {p95:.0f} ms | {p99:.0f} ms |")


if __name__ == "__main__":
    main()
