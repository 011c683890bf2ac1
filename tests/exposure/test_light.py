"""Light levels: how readings relate, and what is no reading at all."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.light import (
    EV100_BRIGHTEST,
    EV100_DIMMEST,
    Light,
    from_camera,
    from_ev,
    from_luminance,
    from_lux,
)
from server.exposure.refused import OutOfRange
from server.exposure.scales import marked_f_number

NOT_FIGURES = (math.nan, math.inf, -math.inf, 1e308, -1e308)


@given(st.floats(1e-3, 1e8))
def test_twice_the_light_is_one_stop(value):
    """Incident or reflected, a doubled reading is one stop more."""
    assert from_lux(2 * value).ev100 - from_lux(value).ev100 == pytest.approx(1)
    assert from_luminance(2 * value).ev100 - from_luminance(value).ev100 == pytest.approx(1)


@given(st.floats(-5, 25), st.integers(-6, 27))
def test_ev_at_another_iso_counts_thirds(value, position):
    """An EV shown at a faster ISO means less light, by the exact stops between the speeds."""
    assert from_ev(value, iso=100 * 2 ** (position / 3)).ev100 == pytest.approx(value - position / 3)


@given(st.integers(-2, 35), st.sampled_from((1, 0.5, 0.02, 1 / 48, 0.001)), st.integers(-3, 27))
def test_camera_reading_is_exact_from_marked_settings(iris, shutter, iso):
    """Marked f-numbers and speeds are read as the exact ones behind them; the shutter is what it says."""
    marked_iso = round(100 * 2 ** (iso / 3), 1)
    ours = from_camera(marked_f_number(iris, 3), shutter, marked_iso).ev100
    assert ours == pytest.approx(iris / 3 - math.log2(shutter) - iso / 3)


@given(st.floats(-5, 20), st.integers(-9, 9))
def test_nudge_counts_in_thirds_and_can_be_taken_back(ev100, clicks):
    """Three clicks are a stop, brighter is more, and the same clicks the other way lead back."""
    nudged = Light(ev100).nudged(clicks)
    assert nudged.ev100 == pytest.approx(ev100 + clicks / 3)
    assert nudged.nudged(-clicks).ev100 == pytest.approx(ev100)


@given(st.floats(EV100_DIMMEST, EV100_BRIGHTEST), st.integers(-1000, 1000))
def test_nudge_stops_at_the_ends(ev100, clicks):
    """A thumb that does not let go leads to the end of what may be, never to an error."""
    nudged = Light(ev100).nudged(clicks).ev100
    assert EV100_DIMMEST <= nudged <= EV100_BRIGHTEST
    if abs(clicks) > 3 * (EV100_BRIGHTEST - EV100_DIMMEST):
        assert nudged == (EV100_BRIGHTEST if clicks > 0 else EV100_DIMMEST)


@pytest.mark.parametrize("came", [*NOT_FIGURES, -17, 37])
def test_light_that_is_nowhere_is_refused(came):
    """NaN, infinities and levels beyond the sun's own disc are no light level."""
    with pytest.raises(OutOfRange) as refused:
        Light(came)
    assert (refused.value.field, refused.value.came) == ("ev100", repr(came))


@pytest.mark.parametrize("came", [*NOT_FIGURES, 0, -1, 5e-324])
@pytest.mark.parametrize("read", [from_lux, from_luminance])
def test_reading_of_no_light_is_refused(read, came):
    """Light has no logarithm at zero; the refusal names the field."""
    with pytest.raises(OutOfRange) as refused:
        read(came)
    assert refused.value.field == "value"


@pytest.mark.parametrize("came", NOT_FIGURES)
def test_ev_that_is_no_figure_is_refused(came):
    """The same for an EV, which may be zero and below."""
    with pytest.raises(OutOfRange) as refused:
        from_ev(came)
    assert refused.value.field == "value"
    assert from_ev(0).ev100 == 0


@pytest.mark.parametrize("came", [*NOT_FIGURES, 0])
@pytest.mark.parametrize("field", ["aperture", "shutter", "iso"])
def test_camera_settings_that_no_camera_has_are_refused(field, came):
    """Each setting is refused by its own name."""
    settings = {"aperture": 5.6, "shutter": 0.02, "iso": 400, field: came}
    with pytest.raises(OutOfRange) as refused:
        from_camera(**settings)
    assert refused.value.field == field


@pytest.mark.parametrize("came", NOT_FIGURES)
@pytest.mark.parametrize("field", ["filter_stops", "meter"])
def test_corrections_that_are_no_figures_are_refused(field, came):
    """And so is each correction."""
    with pytest.raises(OutOfRange) as refused:
        from_camera(5.6, 0.02, 400, **{field: came})
    assert refused.value.field == field


@pytest.mark.parametrize("came", [math.nan, math.inf, 0, 1e308])
def test_ev_at_an_iso_that_no_meter_has_is_refused(came):
    """The speed a meter is set to is held to the same limits as a camera's."""
    with pytest.raises(OutOfRange) as refused:
        from_ev(12, iso=came)
    assert refused.value.field == "iso"


@given(st.floats(allow_nan=True, allow_infinity=True), st.floats(allow_nan=True, allow_infinity=True))
def test_any_float_gives_a_light_or_a_refusal(value, other):
    """No number at all gets past a reading as anything but a finite light level or a sentence."""
    reads = (
        lambda: from_ev(value, other),
        lambda: from_lux(value),
        lambda: from_luminance(value),
        lambda: from_camera(value, other, 100),
        lambda: from_camera(4, other, value),
        lambda: from_camera(4, 0.02, 100, value, other),
    )
    for read in reads:
        try:
            light = read()
        except OutOfRange:
            continue
        assert EV100_DIMMEST <= light.ev100 <= EV100_BRIGHTEST
