"""
True values, from readings of one's own: what a filter really takes, and what a lens loses.

A filter's mark is a name. What it takes is the difference of two readings of the same wall, without it and with it, and
is as sure as the meter's steps are fine.

Sources: ISO 5 (density); JCGM 100:2008 (GUM) for the uncertainty: 4.3.7 a rounded reading lies anywhere in its step
(F.2.2.1: 0.29 of the step), 5.1.2 independent readings combine in quadrature, 6.2 expanded uncertainty. T-numbers: the
encyclopedic article "F-number", T-stop. Checked in tests/published/test_t_number.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import fmean
from typing import TYPE_CHECKING

from server.language import noted, say

from .glass import DENSITY_MOST, STOPS_PER_DENSITY
from .light import EV100_BRIGHTEST, EV100_DIMMEST
from .refused import refuse, within
from .scales import exact_f_number

if TYPE_CHECKING:
    from collections.abc import Sequence

STOPS_MOST = DENSITY_MOST * STOPS_PER_DENSITY  # stops, exact: 19.93
STEP_FINEST, STEP_COARSEST = 0.01, 1.0  # stops; no meter that is carried shows finer
COVERAGE = 2.0  # k: about 95 % of the values that could be true. GUM 6.2, 6.3.3

PAIRS_MOST = 100
LOSS_MOST = 5.0  # stops, as for a lens of the rig
MARK_ROUNDS = 1 / 6  # stops: half a third-stop click, which a mark may be from the number it stands for


@dataclass(frozen=True, slots=True)
class Measured:
    """
    What a filter really takes.

    stops, density                          [stops], [D]  never below 0
    stops_uncertainty, density_uncertainty  [stops], [D]  standard uncertainty (one standard deviation), GUM 2.3.1
    """

    stops: float
    stops_uncertainty: float
    density: float
    density_uncertainty: float

    def __post_init__(self) -> None:
        within("stops", self.stops, 0, STOPS_MOST, noted("stops"))
        within("stops_uncertainty", self.stops_uncertainty, 0, STOPS_MOST, noted("stops"))
        for field, came, stops in (
            ("density", self.density, self.stops),
            ("density_uncertainty", self.density_uncertainty, self.stops_uncertainty),
        ):
            if not abs(came * STOPS_PER_DENSITY - stops) <= 1e-9:
                refuse(
                    field,
                    came,
                    say(
                        "{density} D, what {stops} stops are",
                        density=f"{stops / STOPS_PER_DENSITY:.10g}",
                        stops=f"{stops:.10g}",
                    ),
                )

    @property
    def expanded(self) -> float:
        """The expanded uncertainty [stops], k = 2: the true value is hardly ever further off."""
        return COVERAGE * self.stops_uncertainty


def density_of(without: float, with_glass: float, meter_step: float = 1 / 3) -> Measured:
    """
    What a filter takes, from two light levels of the same wall in the same light.

    without, with_glass  [stops]  ev100 as read without the filter and through it, not corrected for it
    meter_step           [stops]  what the readings are rounded to: a third for a camera's settings, 0.1 for many meters

    Each reading lies anywhere within half a step, u = step/(2 sqrt 3); the difference of two has sqrt 2 of that. It is
    the rounding alone: a cloud between the readings is not in it. A difference outside 0 to DENSITY_MOST by no more
    than the expanded uncertainty is taken as that end; beyond it, OutOfRange.

    >>> taken = density_of(12, 9)
    >>> round(taken.stops, 3), round(taken.density, 3), round(taken.stops_uncertainty, 3)
    (3.0, 0.903, 0.136)
    """
    within("without", without, EV100_DIMMEST, EV100_BRIGHTEST, noted("stops"))
    within("with_glass", with_glass, EV100_DIMMEST, EV100_BRIGHTEST, noted("stops"))
    within("meter_step", meter_step, STEP_FINEST, STEP_COARSEST, noted("stops"))
    uncertainty = math.hypot(_rounded(meter_step), _rounded(meter_step))
    spare = COVERAGE * uncertainty
    if not -spare <= without - with_glass <= STOPS_MOST + spare:
        least, most = without - STOPS_MOST - spare, without + spare
        refuse(
            "with_glass",
            with_glass,
            say(
                "{least} to {most} stops: less light than the {without} without it",
                least=f"{least:.4g}",
                most=f"{most:.4g}",
                without=f"{without:g}",
            ),
        )
    return _measured(without - with_glass, uncertainty)


def _rounded(step: float) -> float:
    """Standard uncertainty of a reading rounded to steps: half-width step/2 over sqrt 3. GUM 4.3.7."""
    return step / 2 / math.sqrt(3)


def _measured(stops: float, uncertainty: float) -> Measured:
    held = min(max(float(stops), 0.0), STOPS_MOST)
    return Measured(held, uncertainty, held / STOPS_PER_DENSITY, uncertainty / STOPS_PER_DENSITY)


def combined(measurements: Sequence[Measured]) -> Measured:
    """
    Several pairs of readings of one filter as one value: their mean, whose uncertainty is smaller by the root of n.

    Source: GUM 5.1.2 for a mean; measurements of unlike uncertainty weigh the same. True only where the pairs were
    taken in different light: the same pair twice is rounded the same way twice, and tells nothing new.

    >>> round(combined([density_of(12, 9), density_of(13, 10)]).stops_uncertainty, 4)
    0.0962
    """
    count = len(measurements)
    if not 1 <= count <= PAIRS_MOST:
        refuse(
            "measurements",
            say("{count} pairs of readings", count=count),
            say("1 to {most} pairs of readings", most=PAIRS_MOST),
        )
    uncertainty = math.hypot(*(one.stops_uncertainty for one in measurements)) / count
    return _measured(fmean(one.stops for one in measurements), uncertainty)


def off_mark(marked_density: float, measured: Measured) -> float:
    """
    How much more (+) or less (−) a filter takes than its mark says.

    marked_density  [D]
    returns         [stops]  against the exact stops of the mark: a 0.9 should take 2.99

    >>> round(off_mark(1.8, density_of(14, 7.5)), 2)
    0.52
    """
    within("marked_density", marked_density, 0, DENSITY_MOST, "D")
    return measured.stops - marked_density * STOPS_PER_DENSITY


def beyond_doubt(marked_density: float, measured: Measured) -> bool:
    """
    Whether a filter is off its mark [D] by more than the readings' own expanded uncertainty (k = 2, GUM 6.2).

    >>> beyond_doubt(0.9, density_of(12, 9)), beyond_doubt(1.8, density_of(14, 7.5))
    (False, True)
    """
    return abs(off_mark(marked_density, measured)) > measured.expanded


def loss_of_t_number(f_number: float, t_number: float) -> float:
    """
    What a lens loses, from the two numbers engraved on it.

    f_number, t_number  [f-number]  as marked; both stand for exact numbers of the third-stop series, or for themselves
    returns             [stops]     2 log2(T/N), 0 to LOSS_MOST; past an end by less than marks are rounded, that end

    Raises OutOfRange, field "t_number", where a lens would pass more light than reaches it, or almost none.
    Source: T = N/sqrt(transmission), encyclopedic "F-number", T-stop; ISO 517 for the marks.

    >>> round(loss_of_t_number(4, 5.6), 3), round(loss_of_t_number(2, 2.3), 3)
    (1.0, 0.403)
    """
    exact, passes = exact_f_number(f_number, field="f_number"), exact_f_number(t_number, field="t_number")
    loss = 2 * math.log2(passes / exact)
    if not -MARK_ROUNDS <= loss <= LOSS_MOST + MARK_ROUNDS:
        refuse(
            "t_number",
            t_number,
            say(
                "{f_number} or more: a lens takes light, and {most} stops at most",
                f_number=f"{f_number:g}",
                most=f"{LOSS_MOST:g}",
            ),
        )
    return min(max(0.0, loss), LOSS_MOST)


def transmission_of(loss_stops: float) -> float:
    """
    The share of the light [0 to 1] that a lens passes which loses so much [stops]: 2^-loss.

    >>> transmission_of(1)
    0.5
    """
    within("loss_stops", loss_stops, 0, LOSS_MOST, noted("stops"))
    return float(2.0**-loss_stops)
