"""
Flicker and shutter angles, held to what is published and to hand calculations.

Sources
- Shutter angle: the encyclopedic article "Shutter speed", cinematographic formula, t = angle / (360 fps): at 24 frames a
  second 1/50 s is 172.8 degrees and 1/60 s is 144. D. Mullen ASC, cinematography.com 24017: 6 frames at 180 degrees is
  1/12 s. xdcam-user.com and cinematography.com 21785: 25 frames at 180 degrees is 1/50 s, at 90 it is 1/100 s.
- "Flicker free equation", tumgag.com/tag/setlights: 25 frames under 120 pulses a second: 75, 150, 225, 300 degrees; and
  under 50 Hz the frame rates 100, 50, 25, 20, 10, 5.
- Lamps pulse at twice the mains, 100 and 120 times a second: dial.de, and papers of the LRC and of Lehman.
- "A multiple of 1/50 in 50 Hz areas, of 1/60 in 60 Hz countries": xdcam-user.com.
- Frame rates that keep step with 60 Hz at any shutter, 120/n: cinematography.com 13437.
- The table of ripple, and the angles of the other frame rates: calculations from the formulas, to their digits.

That 180 degrees looks natural is common practice, no source, and no figure here. What IEEE 1789 says of modulated light is
about health and not about cameras, and is left out, as is whatever was not read.
"""

from __future__ import annotations

import pytest

from server.exposure.flicker import is_steady, ripple, steady_rate, steady_times


def angle_of(frame_rate: float, seconds: float, mains: int) -> float | None:
    """The shutter angle of a safe time at a frame rate; None where it is none, or longer than the frame."""
    found = [time.angle for time in steady_times(mains, frame_rate) if time.seconds == pytest.approx(seconds)]
    return found[0] if found else None


@pytest.mark.parametrize(
    ("frame_rate", "shutter", "mains", "degrees"),
    [
        (24, 1 / 50, 50, 172.8),  # the encyclopedia
        (24, 1 / 60, 60, 144),
        (6, 1 / 12, 60, 180),  # Mullen
        (25, 1 / 50, 50, 180),  # xdcam-user.com
        (25, 1 / 100, 50, 90),
    ],
)
def test_shutter_angles_in_print(frame_rate, shutter, mains, degrees):
    """The angle that stands in print for that time at that frame rate."""
    assert angle_of(frame_rate, shutter, mains) == pytest.approx(degrees)


def test_setlights_angles_of_25_frames_under_60_hz():
    """Worked in print: 25 frames under 120 pulses a second are steady at 75, 150, 225 and 300 degrees."""
    assert [time.angle for time in steady_times(60, 25)] == pytest.approx([300, 225, 150, 75])


# Calculated from the formula, to a thousandth of a degree: for 1/50 and 1/100 s, and for 1/60 and 1/120 s.
@pytest.mark.parametrize(
    ("frame_rate", "under_50", "under_60"),
    [
        (23.976, (172.627, 86.314), (143.856, 71.928)),
        (24, (172.8, 86.4), (144, 72)),
        (25, (180, 90), (150, 75)),
        (29.97, (215.784, 107.892), (179.82, 89.91)),
        (30, (216, 108), (180, 90)),
        (50, (360, 180), (300, 150)),
        (59.94, (None, 215.784), (359.64, 179.82)),
        (60, (None, 216), (360, 180)),
    ],
)
def test_shutter_angles_calculated(frame_rate, under_50, under_60):
    """A time longer than the frame is not offered."""
    for mains, (longer, shorter), time in ((50, under_50, 1 / 50), (60, under_60, 1 / 60)):
        assert angle_of(frame_rate, time, mains) == (None if longer is None else pytest.approx(longer, abs=5.1e-4))
        assert angle_of(frame_rate, time / 2, mains) == pytest.approx(shorter, abs=5.1e-4)


@pytest.mark.parametrize(("mains", "pulses"), [(50, 100), (60, 120)])
def test_lamps_pulse_at_twice_the_mains(mains, pulses):
    """dial.de, LRC, Lehman: the shortest time that holds a whole pulse is a hundredth, or a hundred-and-twentieth."""
    assert steady_times(mains, 25)[-1].seconds == pytest.approx(1 / pulses)


@pytest.mark.parametrize("mains", [50, 60])
def test_multiples_of_a_fiftieth_and_of_a_sixtieth_are_safe(mains):
    """xdcam-user.com's advice, for each country's mains, and not for the other one's."""
    assert all(is_steady(n / mains, mains) for n in range(1, 13))
    assert not is_steady(1 / mains, 110 - mains)


@pytest.mark.parametrize("frame_rate", [120, 60, 40, 30, 24, 20, 15, 12, 10, 8, 6, 5, 4, 3, 2, 1])
def test_frame_rates_that_keep_step_with_60_hz(frame_rate):
    """cinematography.com 13437: at these frame rates any shutter will do."""
    assert steady_rate(frame_rate, 60)


@pytest.mark.parametrize("frame_rate", [100, 50, 25, 20, 10, 5])
def test_frame_rates_that_keep_step_with_50_hz(frame_rate):
    """setlights: at these frame rates any shutter will do."""
    assert steady_rate(frame_rate, 50)


# Calculated from |sin(pi 2f t)/(pi 2f t)|, to four places.
@pytest.mark.parametrize(
    ("time", "under_50", "under_60"),
    [
        (1 / 25, 0, None),
        (1 / 48, 0.0395, 0.1273),
        (1 / 50, 0, 0.1261),
        (2 ** (-17 / 3), 0.0159, None),  # 1/50.797, a third-stop dial's 1/50
        (1 / 60, 0.1654, 0),
        (1 / 64, 0.1998, 0.0650),
        (1 / 100, 0, 0.1559),
        (1 / 125, 0.2339, None),
        (1 / 250, 0.7568, 0.6618),
    ],
)
def test_ripple_calculated(time, under_50, under_60):
    """The share of the lamp's swing that is left, from frame to frame."""
    for mains, left in ((50, under_50), (60, under_60)):
        if left is not None:
            assert ripple(time, mains) == pytest.approx(left, abs=5.1e-5)
