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
    from_photo,
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


@given(st.floats(0.7, 64), st.floats(1e-4, 30), st.floats(12, 25_600))
def test_photo_reading_is_exact_as_it_stands(aperture, shutter, iso):
    """A photo's figures are measured and not marked: each stop of each is a stop of light, with nothing rounded."""
    light = from_photo(aperture, shutter, iso).ev100
    assert from_photo(aperture * math.sqrt(2), shutter, iso).ev100 == pytest.approx(light + 1)
    assert from_photo(aperture, shutter / 2, iso).ev100 == pytest.approx(light + 1)
    assert from_photo(aperture, shutter, iso * 2).ev100 == pytest.approx(light - 1)
    assert from_photo(1, 1, 100).ev100 == 0


def test_photo_reading_keeps_what_a_camera_reading_moves_to_a_mark():
    """f/5.6 in a photo is 5.6, on a dial it stands for 5.657; ISO 125 is 125, on a dial 125.99."""
    assert from_photo(5.6, 1, 100).ev100 == pytest.approx(2 * math.log2(5.6), abs=1e-12)
    assert from_camera(5.6, 1, 100).ev100 == pytest.approx(5, abs=1e-12)
    assert from_photo(1, 1, 125).ev100 == pytest.approx(-math.log2(1.25), abs=1e-12)


@given(st.floats(-5, 5), st.floats(0, 15), st.floats(-5, 5))
def test_what_a_photo_was_told_and_taken_through_is_counted(bias, filter_stops, meter):
    """Told to expose a stop more, through glass that took a stop, or looking a stop too bright: each is more light."""
    plain = from_photo(5.6, 1 / 50, 400).ev100
    assert from_photo(5.6, 1 / 50, 400, bias, filter_stops, meter).ev100 == pytest.approx(
        plain + bias + filter_stops + meter
    )


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


PHOTO = {"aperture": 1.8, "shutter": 0.02, "iso": 64, "bias": 0, "filter_stops": 0, "meter": 0}


@pytest.mark.parametrize(
    ("field", "came"),
    [
        *((field, came) for field in PHOTO for came in NOT_FIGURES),
        *((field, 0) for field in ("aperture", "shutter", "iso")),
        *((field, -1) for field in ("aperture", "shutter", "iso", "filter_stops")),
        ("aperture", 0.49), ("aperture", 129), ("shutter", 9e-6), ("shutter", 3601), ("iso", 0.9), ("iso", 10_000_001),
        ("bias", -20.1), ("bias", 20.1), ("filter_stops", 40.1), ("meter", 20.1),
    ],
)  # fmt: skip
def test_photo_figures_that_are_none_are_refused(field, came):
    """Each by its own name, with the limits that a camera's have."""
    with pytest.raises(OutOfRange) as refused:
        from_photo(**PHOTO | {field: came})
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
        lambda: from_photo(value, other, 100),
        lambda: from_photo(4, other, value),
        lambda: from_photo(4, 0.02, 100, value, other),
    )
    for read in reads:
        try:
            light = read()
        except OutOfRange:
            continue
        assert EV100_DIMMEST <= light.ev100 <= EV100_BRIGHTEST
