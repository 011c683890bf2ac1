"""Flicker by what a camera would record of a lamp that pulses, frame by frame, and what is refused."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.flicker import (
    MAINS,
    NOT_KNOWN,
    TEST_ON_THE_SPOT,
    beat,
    is_steady,
    mains_frequency,
    nearest_steady,
    ripple,
    steady_rate,
    steady_times,
)
from server.exposure.refused import OutOfRange

PHONE_LINE = 40  # characters
RATES = (1, 8, 12, 23.976, 24000 / 1001, 24, 25, 29.97, 30, 33.3, 48, 50, 59.94, 60, 99.5, 100, 119.88, 120, 200, 240)

mains = st.sampled_from(MAINS)
rates = st.one_of(st.sampled_from(RATES), st.floats(1, 1000))


def swing(frequency: float, exposure: float, starts: np.ndarray) -> float:
    """Half of what the frames that start then differ by, of a lamp that swings by 1 about its mean: summed up plainly."""
    within = (np.arange(4000) + 0.5) / 4000 * exposure
    light = np.cos(2 * np.pi * 2 * frequency * (starts[:, None] + within))
    frames = light.mean(axis=1)
    return float(frames.max() - frames.min()) / 2


@given(mains, st.floats(1e-4, 0.2))
def test_ripple_is_what_frames_of_a_pulsing_lamp_differ_by(f, exposure):
    """Frames that start anywhere in the lamp's pulse, each the sum of the light while the shutter is open."""
    starts = np.arange(48) / 48 / (2 * f)
    assert ripple(exposure, f) == pytest.approx(swing(f, exposure, starts), abs=3e-3)


@given(mains, st.integers(1, 2000))
def test_whole_pulses_leave_nothing(f, pulses):
    """However many they are; and half a pulse more leaves the more, the fewer they are."""
    assert ripple(pulses / (2 * f), f) == pytest.approx(0, abs=1e-9)
    assert is_steady(pulses / (2 * f), f)
    assert ripple((pulses + 1.5) / (2 * f), f) < ripple((pulses + 0.5) / (2 * f), f)


def test_the_shortest_time_keeps_the_whole_swing():
    """In 1/100,000 s a lamp on the mains hardly moves."""
    assert ripple(1e-5, 50) == pytest.approx(1, abs=1e-4)


@pytest.mark.parametrize(
    ("shutter", "f", "steady"),
    [
        (1 / 50, 50, True),
        (2 ** (-17 / 3), 50, True),  # what a third-stop dial really runs for 1/50: 1/50.797
        (2 ** (-20 / 3), 50, True),  # for 1/100: 1/101.59
        (2 ** (-14 / 3), 50, True),  # for 1/25: 1/25.4
        (1 / 48, 50, False),
        (1 / 60, 50, False),
        (1 / 125, 50, False),
        (1 / 60, 60, True),
        (1 / 59.94, 60, True),
        (1 / 64, 60, False),  # what a still camera runs for 1/60
        (1 / 50, 60, False),
        (1 / 125, 60, False),  # near 1/120, and 4 % off it
        (1 / 120, 60, True),
        (1 / 1000, 50, False),
        (0.505, 50, True),  # fifty pulses and a half: what is left of one is nothing beside them
        (3600, 60, True),
    ],
)
def test_which_shutters_are_steady(shutter, f, steady):
    """A safe time that a dial's rounding has moved is one still; the next mark is not."""
    assert is_steady(shutter, f) is steady


@given(mains, st.integers(1, 8), st.sampled_from((-1, 1)), st.floats(0, 0.018), st.floats(0.0225, 0.03))
def test_beside_a_safe_time_a_shutter_is_steady_as_far_as_two_in_a_hundred(f, pulses, side, nearer, further):
    """The limit in words: how far off, as a share of the time itself."""
    safe = pulses / (2 * f)
    assert is_steady(safe * (1 + side * nearer), f)
    assert not is_steady(safe * (1 + side * further), f)


@given(mains, rates)
def test_steady_times_are_all_that_fit_into_a_frame(f, rate):
    """Every whole number of pulses that is not longer than the frame, longest first, with its share of the frame."""
    times = steady_times(f, rate)
    frame = 1 / Fraction(rate)
    fits = [n for n in range(1, 2 * f + 1) if Fraction(n, 2 * f) <= frame * (1 + Fraction(1, 10**9))]
    assert [time.seconds for time in times] == [n / (2 * f) for n in reversed(fits)]
    for time in times:
        assert is_steady(time.seconds, f)
        assert time.angle == pytest.approx(float(360 * Fraction(time.seconds) / frame))
        assert 0 < time.angle <= 360


def test_a_frame_shorter_than_a_pulse_has_no_steady_time():
    """At 120 frames a second under 50 Hz the shutter would have to stay open longer than the frame."""
    assert steady_times(50, 120) == ()
    assert [time.angle for time in steady_times(50, 100)] == [360]


@given(mains, st.floats(1e-4, 1))
def test_nearest_steady_times_are_the_ones_beside_it(f, shutter):
    """The nearest multiples below and above; below the first pulse there is only that one."""
    found = nearest_steady(shutter, f)
    multiples = [n / (2 * f) for n in range(1, 2 * f + 2)]
    below, above = [t for t in multiples if t <= shutter * (1 + 1e-9)], [t for t in multiples if t >= shutter]
    assert set(found) <= {*below[-1:], *above[:1]}
    assert found == tuple(sorted(found))
    if not any(math.isclose(t, shutter) for t in multiples):
        assert found == (*below[-1:], *above[:1])
    assert all(is_steady(each, f) for each in found)


@given(mains, rates)
def test_frames_of_a_steady_rate_keep_step_with_the_lamp(f, rate):
    """Short exposures of a lamp at its brightest: they hold that for ten seconds, or they have left it in a minute."""
    light = np.cos(2 * np.pi * 2 * f * np.arange(int(60 * rate) + 2) / rate)
    if steady_rate(rate, f):
        assert light[: int(10 * rate)].min() > 0.4
    else:
        assert light.min() < 0


@given(mains, rates)
def test_beat_is_the_slowest_wave_through_the_frames(f, rate):
    """The lamp's wave and a wave of that frequency give every frame the same light."""
    at = np.arange(200) / rate
    assert np.cos(2 * np.pi * beat(rate, f) * at) == pytest.approx(np.cos(2 * np.pi * 2 * f * at), abs=1e-6)
    assert 0 <= beat(rate, f) <= rate / 2


@pytest.mark.parametrize("rate", [23.976, 29.97, 59.94])
def test_the_rates_of_television_do_not_keep_step_with_60_hz(rate):
    """They are a thousandth slow: 120 pulses less 119.88 roll through every 8.3 s, which is seen."""
    assert not steady_rate(rate, 60)
    assert 1 / beat(rate, 60) == pytest.approx(1 / 0.12, rel=1e-3)


NO_TIME = (0, -1, 1e-6, 4000, 1e308, math.nan, math.inf, -math.inf)
NO_RATE = (0, -25, 0.5, 1001, 1e308, math.nan, math.inf, -math.inf)
NO_MAINS = (0, 49, 55, 59.94, 100, -50, True, math.nan, math.inf)


@pytest.mark.parametrize("came", NO_TIME, ids=repr)
@pytest.mark.parametrize("call", [ripple, is_steady, nearest_steady])
def test_a_time_that_no_shutter_has_is_refused(call, came):
    with pytest.raises(OutOfRange) as refused:
        call(came, 50)
    assert refused.value.field == "shutter"


@pytest.mark.parametrize("came", NO_RATE, ids=repr)
def test_a_rate_that_no_camera_has_is_refused(came):
    for call in (lambda: steady_times(50, came), lambda: steady_rate(came, 50), lambda: beat(came, 50)):
        with pytest.raises(OutOfRange) as refused:
            call()
        assert refused.value.field == "frame_rate"


@pytest.mark.parametrize("came", NO_MAINS, ids=repr)
def test_other_mains_are_refused(came):
    """The field is named, and both that there are."""
    for call in (
        lambda: ripple(0.02, came),
        lambda: is_steady(0.02, came),
        lambda: nearest_steady(0.02, came),
        lambda: steady_times(came, 25),
        lambda: steady_rate(25, came),
        lambda: mains_frequency(came),
    ):
        with pytest.raises(OutOfRange) as refused:
            call()
        assert refused.value.field == "mains"
        assert all(str(each) in refused.value.allowed for each in MAINS)


@pytest.mark.parametrize("line", [*NOT_KNOWN, *TEST_ON_THE_SPOT])
def test_what_cannot_be_known_is_said_in_two_lines_of_a_phone(line):
    """Words of one line and a half at most, since lines break between words."""
    assert len(line) <= 2 * PHONE_LINE - 4
    assert line.endswith(".")
