"""
The pocket: what a phone without a signal answers from, worked out before it goes where there is none.

Answers depend on the rig that is on the camera, so there is a table for each rig that the shooter is likely to have:
the present one, those that its answers lead to, and so on, the likeliest first (`likely`, then each nudge). A table has
the answers at every tenth of a stop over what the light at a look's places may be. A rig that has no table takes that
of the nearest one: which picture an answer gives does not depend on the present rig, only the hand's effort does.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from itertools import count, islice
from typing import TYPE_CHECKING

from .glass import setups
from .light import Light
from .moves import PLACES_MOST, answering_rigs

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from .rig import Kit, Look, Rig

TENTHS = 10  # of a stop: less than a reading is good for, and what the page shows of a level
NUDGES_MOST = 9  # clicks of a third of a stop that a place may be nudged by
TABLES_MOST = 40
CELLS_MOST = 4_000_000  # levels times setups of the glass: what a phone may have a server work at


@dataclass(frozen=True, slots=True)
class Span:
    """A look, and the levels [tenths of a stop] from low to high that its places may have."""

    look: Look
    low: int
    high: int


Runs = tuple[tuple[int, int], ...]  # (the first level [tenths of a stop], the number of the rig from there on)


@dataclass(frozen=True, slots=True)
class Pocket:
    """
    rigs    every rig that is named, the present one first
    tables  for the rig of each number, a pair for each span: clean, and fast with -1 where no rush is worth it
    """

    rigs: tuple[Rig, ...]
    tables: dict[int, tuple[tuple[Runs, Runs], ...]]


def pocket(kit: Kit, rig: Rig, spans: Sequence[Span], likely: Sequence[tuple[int, int]]) -> Pocket:
    """
    The tables for a present rig, as many as are worth their time.

    likely  the places' levels as they are now: the number of a span and a level [tenths of a stop], likeliest first
    Raises OutOfRange as `moves.best_moves`.
    """
    rigs: dict[Rig, int] = {rig: 0}
    tables: dict[int, tuple[tuple[Runs, Runs], ...]] = {}
    cells = sum(_setups(kit, span.look) * (span.high - span.low + 1) for span in spans)
    tables_most = min(TABLES_MOST, max(1, CELLS_MOST // max(1, cells)))
    serial = count()
    waiting = [(0, next(serial), rig)]
    while waiting and len(tables) < tables_most:
        far, _, now = heapq.heappop(waiting)
        if rigs[now] in tables:
            continue
        answers = _answers(kit, now, spans)
        tables[rigs[now]] = tuple(
            (
                _runs(span, [rigs.setdefault(clean, len(rigs)) for clean, _ in its]),
                _runs(span, [-1 if fast is None else rigs.setdefault(fast, len(rigs)) for _, fast in its]),
            )
            for span, its in zip(spans, answers, strict=True)
        )
        for step, (number, level) in enumerate(likely):
            for clicks in range(-NUDGES_MOST, NUDGES_MOST + 1):
                span, nudged = spans[number], level + round(clicks * TENTHS / 3)
                then = answers[number][min(max(nudged, span.low), span.high) - span.low][0]
                if rigs[then] not in tables:
                    heapq.heappush(waiting, (far + 1 + 2 * abs(clicks) + (step > 0), next(serial), then))
    return Pocket(tuple(rigs), tables)


def _answers(kit: Kit, now: Rig, spans: Sequence[Span]) -> list[list[tuple[Rig, Rig | None]]]:
    asked = (
        (Light(level / TENTHS), span.look) for span in spans for level in range(span.low, span.high + 1)
    )  # fmt: skip
    found: Iterator[tuple[Rig, Rig | None]] = (
        answer
        for some in iter(lambda: list(islice(asked, PLACES_MOST)), [])
        for answer in answering_rigs(kit, now, some)
    )
    return [list(islice(found, span.high - span.low + 1)) for span in spans]


def _setups(kit: Kit, look: Look) -> int:
    """How many setups of the glass each question about a look goes through."""
    return len(setups(kit.filters, kit.holder, kit.lens.thread, kit.body.built_in_nd, kit.step_ups, look.worn).stops)


def _runs(span: Span, numbers: Sequence[int]) -> Runs:
    starts = (at for at, number in enumerate(numbers) if at == 0 or numbers[at - 1] != number)
    return tuple((span.low + at, numbers[at]) for at in starts)
