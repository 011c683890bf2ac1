"""True values from one's own readings: what comes out is between sense and the readings, and as sure as they are."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.glass import DENSITY_MOST
from server.exposure.light import from_camera
from server.exposure.measuring import (
    LOSS_MOST,
    PAIRS_MOST,
    Measured,
    beyond_doubt,
    combined,
    density_of,
    loss_of_t_number,
    off_mark,
    transmission_of,
)
from server.exposure.refused import OutOfRange
from server.exposure.scales import marked_f_number

NOT_FIGURES = (math.nan, math.inf, -math.inf, 1e308, -1e308)

LIGHTS = st.floats(4, 20)
DENSITIES = st.floats(0, 5.9)
STEPS = st.sampled_from((1 / 3, 0.5, 0.1, 1.0))


def rounded(ev100, step):
    return round(ev100 / step) * step


@given(LIGHTS, DENSITIES, STEPS)
def test_a_filter_is_found_to_the_steps_of_the_meter(light, density, step):
    """Whatever the light, two rounded readings give the density that dimmed it, to one step at the very most."""
    dimmed = light - density * math.log2(10)
    try:
        taken = density_of(rounded(light, step), rounded(dimmed, step), step)
    except OutOfRange:  # clear glass that by rounding seems to add a whole step of light
        assert density * math.log2(10) < step
        return
    assert taken.stops == pytest.approx(density * math.log2(10), abs=step + 1e-9)
    assert taken.density == pytest.approx(taken.stops * math.log10(2))
    assert taken.density_uncertainty == pytest.approx(taken.stops_uncertainty * math.log10(2))


@given(LIGHTS, DENSITIES, STEPS)
def test_a_filter_that_is_as_marked_is_never_called_off_when_read_exactly(light, density, step):
    """Readings that happen to be exact leave no doubt to raise."""
    taken = density_of(light, light - density * math.log2(10), step)
    assert off_mark(density, taken) == pytest.approx(0, abs=1e-9)
    assert not beyond_doubt(density, taken)


def test_camera_readings_of_a_wall_as_a_shooter_takes_them():
    """A wall at f/8 and 1/50 s, ISO 100; with a 0.9 on, the same picture at f/2.8: 3 stops, 0.903 D, as marked."""
    taken = density_of(from_camera(8, 1 / 50, 100).ev100, from_camera(2.8, 1 / 50, 100).ev100)
    assert (taken.stops, taken.density) == (pytest.approx(3), pytest.approx(0.9031, abs=5e-5))
    assert off_mark(0.9, taken) == pytest.approx(3 - 2.9897, abs=5e-5)
    assert not beyond_doubt(0.9, taken)


# Worked by hand: 1.8 D is 5.9795 stops; k = 2 on thirds is 0.2722 stop, on tenths 0.0816.
@pytest.mark.parametrize(
    ("with_glass", "step", "off", "sure"),
    [
        (14 - 6, 1 / 3, 0.0205, False),
        (14 - 19 / 3, 1 / 3, 0.3538, True),
        (14 - 17 / 3, 1 / 3, -0.3128, True),
        (14 - 6.2, 1 / 3, 0.2205, False),
        (14 - 6.2, 0.1, 0.2205, True),
    ],
)
def test_off_the_mark_of_a_1_8(with_glass, step, off, sure):
    """More than marked is +, less is −; a finer meter makes sure of what a coarse one leaves open."""
    taken = density_of(14, with_glass, step)
    assert off_mark(1.8, taken) == pytest.approx(off, abs=1e-4)
    assert beyond_doubt(1.8, taken) is sure


def test_a_touch_below_nothing_is_clear_glass():
    """By a tenth of a stop glass cannot add light: that is the meter's rounding, and is taken as none."""
    taken = density_of(10, 10.1)
    assert (taken.stops, taken.density) == (0, 0)
    assert taken.stops_uncertainty == pytest.approx(0.1361, abs=5e-5)


def test_a_touch_beyond_the_densest_is_the_densest():
    """6 D are 19.93 stops; read as 20 on thirds it is still 6 D."""
    assert density_of(14, -6).density == pytest.approx(6)


@pytest.mark.parametrize("with_glass", [10.3, 10 + 1 / 3, 15, -10.3, -15, *NOT_FIGURES, -17, 37])
def test_readings_that_no_glass_explains_are_refused(with_glass):
    """More light through the glass than without it, or next to none: the light changed, or a digit is wrong."""
    with pytest.raises(OutOfRange) as refused:
        density_of(10, with_glass)
    assert refused.value.field == "with_glass"


@pytest.mark.parametrize("without", [*NOT_FIGURES, -17, 37])
def test_a_first_reading_that_is_no_light_is_refused(without):
    """The reading without the filter is a light level like any other."""
    with pytest.raises(OutOfRange) as refused:
        density_of(without, 9)
    assert refused.value.field == "without"


@pytest.mark.parametrize("step", [*NOT_FIGURES, 0, -1 / 3, 1.1])
def test_steps_that_no_meter_has_are_refused(step):
    """A step of nothing would make a measurement without doubt."""
    with pytest.raises(OutOfRange) as refused:
        density_of(12, 9, step)
    assert refused.value.field == "meter_step"


def test_one_pair_combined_is_itself():
    """The mean of one is that one."""
    taken = density_of(12, 9)
    assert combined([taken]) == taken


@given(st.lists(st.tuples(LIGHTS, DENSITIES, STEPS), min_size=1, max_size=20))
def test_combined_lies_between_and_is_no_less_sure(pairs):
    """The mean lies between its pairs, and is at least as sure as the least sure of them."""
    each = [density_of(light, light - density * math.log2(10), step) for light, density, step in pairs]
    together = combined(each)
    low, high = min(one.stops for one in each), max(one.stops for one in each)
    assert low - 1e-9 <= together.stops <= high + 1e-9
    assert together.stops_uncertainty <= max(one.stops_uncertainty for one in each) / math.sqrt(len(each)) + 1e-12


def test_unlike_pairs_by_hand():
    """3 and 3.5 stops on thirds and tenths: 3.25, and the root of 0.13608² + 0.04082², halved: 0.07104."""
    together = combined([density_of(12, 9), density_of(12, 8.5, 0.1)])
    assert together.stops == pytest.approx(3.25)
    assert together.stops_uncertainty == pytest.approx(0.07104, abs=5e-6)


@pytest.mark.parametrize("count", [0, PAIRS_MOST + 1])
def test_no_pairs_or_too_many_are_refused(count):
    """There is no mean of nothing, and the count is bounded."""
    with pytest.raises(OutOfRange) as refused:
        combined([density_of(12, 9)] * count)
    assert refused.value.field == "measurements"


@pytest.mark.parametrize(
    ("field", "figures"),
    [
        ("stops", (-0.1, 0.1, -0.03, 0.03)),
        ("stops", (math.nan, 0.1, 0.9, 0.03)),
        ("stops_uncertainty", (3, -0.1, 0.9031, -0.03)),
        ("density", (3, 0.1, 0.9, 0.03)),
        ("density", (3, 0.1, math.nan, 0.03)),
        ("density_uncertainty", (3, 0.1, 3 * math.log10(2), 0.03)),
    ],
)
def test_a_measurement_that_contradicts_itself_cannot_be_made(field, figures):
    """Stops and density are one figure twice, and none is below 0."""
    with pytest.raises(OutOfRange) as refused:
        Measured(*figures)
    assert refused.value.field == field


@pytest.mark.parametrize("marked", [*NOT_FIGURES, -0.3, DENSITY_MOST + 1])
def test_a_mark_that_no_filter_has_is_refused(marked):
    """The mark is a density like any other."""
    with pytest.raises(OutOfRange) as refused:
        off_mark(marked, density_of(12, 9))
    assert refused.value.field == "marked_density"


@given(st.integers(-3, 36), st.integers(0, 15))
def test_clicks_between_the_two_numbers_are_thirds_of_a_stop(position, clicks):
    """Both numbers are read off the same series, so a T-number so many marks on is exactly so many thirds of a stop."""
    if position + clicks <= 36:
        n, t = marked_f_number(position, 3), marked_f_number(position + clicks, 3)
        assert loss_of_t_number(n, t) == pytest.approx(clicks / 3)


@given(st.floats(0.5, 128), st.floats(0.5, 128))
def test_a_loss_is_a_loss_or_refused(f_number, t_number):
    """No two numbers make a lens that adds light or passes nothing."""
    try:
        loss = loss_of_t_number(f_number, t_number)
    except OutOfRange:
        stops = 2 * math.log2(t_number / f_number)  # marks and the numbers they stand for part by 0.141 at most, each
        assert stops < -1 / 6 + 0.3 or stops > LOSS_MOST - 0.3
        return
    assert 0 <= loss <= LOSS_MOST
    assert 2**-LOSS_MOST <= transmission_of(loss) <= 1


def test_a_t_number_rounded_below_its_f_number_is_no_loss():
    """An f/1.2 is 1.2599 by its mark; a T1.25 on it loses nothing. A whole click less is no T-number of that lens."""
    assert loss_of_t_number(1.2, 1.25) == 0
    with pytest.raises(OutOfRange) as refused:
        loss_of_t_number(4, 3.5)
    assert refused.value.field == "t_number"


@pytest.mark.parametrize("came", [*NOT_FIGURES, 0, -2, 0.4, 129])
def test_numbers_that_no_lens_has_are_refused(came):
    """Each of the two is refused by its own name."""
    with pytest.raises(OutOfRange) as refused:
        loss_of_t_number(came, 4)
    assert refused.value.field == "f_number"
    with pytest.raises(OutOfRange) as refused:
        loss_of_t_number(4, came)
    assert refused.value.field == "t_number"


@pytest.mark.parametrize("came", [*NOT_FIGURES, -0.1, LOSS_MOST + 0.1])
def test_a_loss_that_no_lens_has_is_refused(came):
    """A loss below nothing would make light."""
    with pytest.raises(OutOfRange) as refused:
        transmission_of(came)
    assert refused.value.field == "loss_stops"
