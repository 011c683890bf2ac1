"""Positions and marks: what every dial must keep, whatever the numbers."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.refused import OutOfRange
from server.exposure.scales import (
    aperture_position,
    clicks_between,
    clicks_per_stop,
    exact_f_number,
    exact_iso,
    f_number_at,
    iso_position,
    marked_f_number,
    shutter_time,
)
from tests.exposure.plain_loop import MARKS, iris_of, iso_of

DIALS = (1, 2, 3, 10)
NOT_FIGURES = (math.nan, math.inf, -math.inf, 1e308, -1e308, 0, -0.0, -1, 5e-324)


def every_position(clicks: int) -> range:
    """All positions from f/0.5 to f/128, which are 2 stops below f/1 and 14 above."""
    return range(-2 * clicks, 14 * clicks + 1)


@pytest.mark.parametrize("clicks", DIALS)
def test_marked_number_leads_back_to_its_position(clicks):
    """What an answer writes beside a position is read as that position again, everywhere on every dial."""
    for position in every_position(clicks):
        assert aperture_position(marked_f_number(position, clicks), clicks) == position


@pytest.mark.parametrize("clicks", DIALS)
def test_marked_numbers_grow_with_the_position(clicks):
    """One click further closes the iris: no two positions share a number."""
    marks = [marked_f_number(position, clicks) for position in every_position(clicks)]
    assert all(wider < narrower for wider, narrower in pairwise(marks))


@pytest.mark.parametrize("clicks", DIALS)
def test_marked_number_is_near_the_exact_one(clicks):
    """A mark is rounded by less than half a third-stop click, 1/6 stop; three decimals by far less."""
    allowed = 1 / 6 if clicks in (2, 3) else 0.003  # half a thousandth at f/0.5
    for position in every_position(clicks):
        off = 2 * math.log2(marked_f_number(position, clicks)) - position / clicks
        assert abs(off) < allowed


@given(st.sampled_from(DIALS), st.one_of(st.floats(0.5, 128), st.sampled_from(MARKS)))
def test_position_of_any_f_number_is_the_contracts(clicks, n):
    """The one rule for marked and unmarked numbers, worked out a second time from the contract's words."""
    assert aperture_position(n, clicks) == iris_of(n, clicks)


@given(st.sampled_from((1, 3, 10)), st.floats(0.5, 128).filter(lambda n: n not in MARKS))
def test_a_number_between_the_marks_stands_for_itself(clicks, n):
    """An unmarked f-number is exact, and its position is the nearest: no more than half a click away."""
    assert exact_f_number(n, clicks) == n
    nearest = f_number_at(aperture_position(n, clicks), clicks)
    assert abs(2 * clicks * math.log2(n / nearest)) <= 0.5 + 1e-9


@given(st.sampled_from(DIALS), st.floats(0.5, 128), st.floats(0.5, 128))
def test_a_smaller_opening_is_never_a_wider_position(clicks, n, to):
    """Positions keep the order of the numbers, and the clicks between two are the same both ways."""
    wider, narrower = sorted((n, to))
    assert clicks_between(n, to, clicks) == clicks_between(to, n, clicks) >= 0
    if all(each not in MARKS for each in (n, to)):
        assert aperture_position(wider, clicks) <= aperture_position(narrower, clicks)


@given(st.sampled_from(DIALS), st.integers(-1, 12))
def test_a_stop_is_as_many_clicks_as_the_dial_says(clicks, stop):
    """Twice the area, half the light: a factor of the square root of 2 in the f-number is a stop of clicks."""
    assert clicks_between(2 ** (stop / 2), 2 ** ((stop + 1) / 2), clicks) == clicks


@given(st.floats(1, 1e7))
def test_iso_position_is_the_contracts_and_nearest(speed):
    """Positions count thirds of a stop from ISO 100; the exact speed behind one is within half a third."""
    assert iso_position(speed) == iso_of(speed)
    assert abs(math.log2(exact_iso(speed) / speed)) <= 1 / 6 + 1e-9


@given(st.integers(-19, 49))
def test_exact_iso_leads_back_to_its_position(position):
    """The speed a position stands for is read as that position."""
    speed = 100 * 2 ** (position / 3)
    assert iso_position(speed) == position
    assert exact_iso(speed) == pytest.approx(speed)


@given(st.floats(1e-5, 3600))
def test_shutter_is_taken_as_given(seconds):
    """No shutter is snapped to a series."""
    assert shutter_time(seconds) == seconds


@pytest.mark.parametrize("came", NOT_FIGURES)
@pytest.mark.parametrize("read", [aperture_position, exact_f_number])
@pytest.mark.parametrize("clicks", DIALS)
def test_f_number_that_no_lens_has_is_refused(read, clicks, came):
    """NaN, infinities, zero and the absurd are refused, and the refusal names the field and what came."""
    with pytest.raises(OutOfRange) as refused:
        read(came, clicks, "look.wanted")
    assert refused.value.field == "look.wanted"
    assert refused.value.came == repr(came)


@pytest.mark.parametrize("came", NOT_FIGURES)
@pytest.mark.parametrize(("read", "field"), [(iso_position, "iso"), (exact_iso, "iso"), (shutter_time, "shutter")])
def test_speed_or_time_that_no_camera_has_is_refused(read, field, came):
    """The same for speeds and shutters, by the field's own name and by one that is given."""
    for named in ((), ("rig.field",)):
        with pytest.raises(OutOfRange) as refused:
            read(came, *named)
        assert refused.value.field == (named[0] if named else field)


@pytest.mark.parametrize(
    ("read", "lowest", "highest"),
    [
        (lambda n: aperture_position(n, 3), 0.5, 128),
        (iso_position, 1, 1e7),
        (shutter_time, 1e-5, 3600),
    ],
)
def test_limits_themselves_are_allowed(read, lowest, highest):
    """What is said to be allowed is: the ends are taken, and the next double beyond is not."""
    read(lowest)
    read(highest)
    for beyond in (math.nextafter(lowest, -math.inf), math.nextafter(highest, math.inf)):
        with pytest.raises(OutOfRange):
            read(beyond)


@pytest.mark.parametrize("came", [0, -3, 4, 5, 9, 11, 100, 2.5, math.nan, math.inf])
def test_dial_that_nobody_makes_is_refused(came):
    """Only 3, 2 and 1 clicks a stop, and 10 for a stepless iris."""
    with pytest.raises(OutOfRange) as refused:
        clicks_per_stop(came)
    assert refused.value.field == "clicks_per_stop"
