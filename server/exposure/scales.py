"""
Aperture, shutter and ISO as positions on their dials, and the numbers marked beside them.

Arithmetic is always on positions or exact values. Marked numbers are rounded (f/5.6 is 5.657) and are
read once, where they come in, and written once, where they go out.

Sources: ISO 517 (aperture series), ISO 12232 and ISO 5800 (speed series); the marks are the third-stop and
half-stop series as engraved. Checked in tests/published/test_marked_series.py.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal

from server.language import say

from .refused import OutOfRange, within

ClicksPerStop = Literal[1, 2, 3, 10]

CLICKS_PER_STOP: tuple[ClicksPerStop, ...] = (3, 2, 1, 10)
STEPLESS: ClicksPerStop = 10  # a stepless iris, counted and shown in tenths of a stop

F_NUMBER_WIDEST, F_NUMBER_SMALLEST = 0.5, 128.0  # beyond any lens that is carried
SHUTTER_SHORTEST, SHUTTER_LONGEST = 1e-5, 3600.0  # s
FRAMES_FEWEST, FRAMES_MOST = 1.0, 1000.0  # frames a second
ISO_LOWEST, ISO_HIGHEST = 1.0, 1e7

# fmt: off
THIRD_STOP_MARKS = (
    0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9, 10, 11,
    13, 14, 16, 18, 20, 22, 25, 29, 32, 36, 40, 45, 51, 57, 64,
)
HALF_STOP_MARKS = (
    0.7, 0.8, 1, 1.2, 1.4, 1.7, 2, 2.4, 2.8, 3.3, 4, 4.8, 5.6, 6.7, 8, 9.5, 11, 13, 16, 19, 22, 27, 32, 38, 45, 54, 64,
)
ISO_MARKS = (
    12, 16, 20, 25, 32, 40, 50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500,
    3200, 4000, 5000, 6400, 8000, 10000, 12800, 16000, 20000, 25600, 32000, 40000, 51200, 64000, 80000, 102400,
)
# fmt: on
_MARK_AT: dict[int, dict[int, float]] = {
    3: {round(6 * math.log2(mark)): mark for mark in THIRD_STOP_MARKS},
    2: {round(4 * math.log2(mark)): mark for mark in HALF_STOP_MARKS},
}
_IS_MARKED = frozenset(THIRD_STOP_MARKS)


# A dial has few positions and they are asked for often.
_remembered = lru_cache(maxsize=4096)


def clicks_per_stop(came: int, field: str = "clicks_per_stop") -> ClicksPerStop:
    """The same number, known to be one that a dial can have. Raises OutOfRange for any other."""
    for known in CLICKS_PER_STOP:
        if came == known:
            return known
    raise OutOfRange(field, came, say("3, 2, 1 or 10 (a stepless iris)"))


@_remembered
def exact_f_number(n: float, clicks: ClicksPerStop = 3, field: str = "aperture") -> float:
    """
    The exact f-number that a marked one stands for.

    n        [f-number]  as marked, or any number between the marks, which stands for itself
    clicks   [1/stop]    of the dial it is marked on: "1.2" is 1.260 in thirds, 1.189 in halves
    returns  [f-number]

    Raises OutOfRange outside f/0.5 to f/128. Source: ISO 517.

    >>> round(exact_f_number(5.6), 4)
    5.6569
    """
    within(field, n, F_NUMBER_WIDEST, F_NUMBER_SMALLEST)
    if clicks == 2:
        return float(2.0 ** (round(4 * math.log2(n)) / 4))
    if n in _IS_MARKED:
        return float(2.0 ** (round(6 * math.log2(n)) / 6))
    return float(n)


@_remembered
def aperture_position(n: float, clicks: ClicksPerStop, field: str = "aperture") -> int:
    """
    Where an f-number sits on a dial: position i is the exact f-number 2^(i/2c).

    n        [f-number]  as marked
    clicks   [1/stop]    c, clicks per stop
    returns  [clicks]    0 is f/1; larger closes the iris

    >>> aperture_position(20, 3) - aperture_position(10, 3)
    6
    """
    return round(2 * clicks * math.log2(exact_f_number(n, clicks, field)))


def f_number_at(position: int, clicks: ClicksPerStop) -> float:
    """The exact f-number [f-number] at a position [clicks] of a dial with that many clicks a stop."""
    return float(2.0 ** (position / (2 * clicks)))


@_remembered
def marked_f_number(position: int, clicks: ClicksPerStop) -> float:
    """
    The number written beside a position: the engraved mark on third-stop and half-stop dials, else three decimals.

    position  [clicks]
    returns   [f-number]  `aperture_position` of it is the same position again

    >>> marked_f_number(14, 3), marked_f_number(5, 1)
    (5.0, 5.657)
    """
    mark = _MARK_AT.get(clicks, {}).get(position)
    return float(mark) if mark is not None else round(f_number_at(position, clicks), 3)


def clicks_between(n: float, to: float, clicks: ClicksPerStop = 3) -> int:
    """How many clicks [clicks] lie between two marked f-numbers, whichever is the wider."""
    return abs(aperture_position(n, clicks) - aperture_position(to, clicks))


@_remembered
def iso_position(iso: float, field: str = "iso") -> int:
    """
    Where an ISO speed sits in the third-stop series: k = round(3 log2(S/100)), so ISO 100 is 0.

    Raises OutOfRange outside ISO 1 to 10,000,000. Source: ISO 12232, ISO 5800.

    >>> iso_position(800), iso_position(1250)
    (9, 11)
    """
    within(field, iso, ISO_LOWEST, ISO_HIGHEST)
    return round(3 * math.log2(iso / 100))


def exact_iso(iso: float, field: str = "iso") -> float:
    """The exact speed that a marked ISO stands for: 100 2^(k/3)."""
    return float(100 * 2.0 ** (iso_position(iso, field) / 3))


@_remembered
def shutter_time(seconds: float, field: str = "shutter") -> float:
    """The exposure time [s] as given; video cameras run the marked time. OutOfRange outside 0.00001 to 3600 s."""
    within(field, seconds, SHUTTER_SHORTEST, SHUTTER_LONGEST, "s")
    return float(seconds)


def marked_shutter(seconds: float) -> str:
    """
    An exposure time [s] as it is marked.

    >>> marked_shutter(0.02), marked_shutter(1 / 47.952), marked_shutter(0.5), marked_shutter(2)
    ('1/50', '1/48', '0.5 s', '2 s')
    """
    if seconds > 0.3:
        return f"{seconds:.3g} s"
    return f"1/{1 / seconds:.0f}"
