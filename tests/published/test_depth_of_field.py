"""
Depth of field and blur against what is in print.

Sources
- The encyclopedic article "Hyperfocal distance": H = f^2/(N c) + f, and its example of a 50 mm at f/8 with c 0.03 mm.
  Its limits are of the approximate form H s/(H + s) and H s/(H - s); ours are exact and differ by less than half a per
  cent there.
- The encyclopedic article "Depth of field": near = s (H - f)/(H + s - 2f), far = s (H - f)/(H - s), and that the
  depth in front of the subject is half of that behind it only at a third of the hyperfocal distance.
- US Navy training course NAVEDTRA 14209, Photography (Basic), chapter 1: a 6.1 inch (155 mm) lens at f/2.8, with a
  circle of confusion of 0.002 in; and the focus distance for two given limits, 2 D d/(D + d).
- The encyclopedic article "Circle of confusion": blur = |d - s|/d f^2/(N (s - f)).
- The circle of confusion as a 1500th of the diagonal, and the round values beside it, are widespread conventions in
  secondary texts, without a standard. Sizes of formats are common ones; their diagonals are calculated by hand.

Rows marked "calculated" are the formulas above, worked out apart from our code.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.depth import FORMATS, Focus, blur_at, depth

FOOT = 0.3048  # m


def test_hyperfocal_example():
    """ "Hyperfocal distance", example: H 10 467 mm, f^2/(N c) 10 417 mm, and near half of it, 5233 mm."""
    sharp = depth(Focus(50, 8, 3, 0.03))
    assert sharp.hyperfocal_m * 1000 == pytest.approx(10_467, abs=0.5)
    assert sharp.hyperfocal_m * 1000 - 50 == pytest.approx(10_417, abs=0.5)
    at_hyperfocal = depth(Focus(50, 8, sharp.hyperfocal_m * (1 + 1e-12), 0.03))
    assert at_hyperfocal.near_m * 1000 == pytest.approx(5233, abs=0.5)
    assert at_hyperfocal.far_m is None


def test_hyperfocal_example_focused_at_half_of_it():
    """The same, focused at H/2: 3489 and 10 467 mm in print, by the approximate form; the exact one is calculated."""
    hyperfocal = depth(Focus(50, 8, 3, 0.03)).hyperfocal_m
    s = hyperfocal / 2
    assert 1000 * hyperfocal * s / (hyperfocal + s) == pytest.approx(3489, abs=0.5)
    assert 1000 * hyperfocal * s / (hyperfocal - s) == pytest.approx(10_467, abs=0.5)
    sharp = depth(Focus(50, 8, s, 0.03))
    assert sharp.near_m == pytest.approx(3.489, rel=0.005)
    assert sharp.far_m == pytest.approx(10.467, rel=0.005)
    assert sharp.near_m * 1000 == pytest.approx(3494.48, abs=0.005)  # calculated
    assert sharp.far_m * 1000 == pytest.approx(10_416.65, abs=0.05)  # calculated; s is not rounded here


@pytest.mark.parametrize("focal_mm", [155, 6.1 * 25.4], ids=["155 mm", "6.1 in"])
def test_navedtra_example(focal_mm):
    """NAVEDTRA 14209: f/2.8 gives 554 ft; focused at 10 ft, 9.8 to 10.2 ft are sharp."""
    sharp = depth(Focus(focal_mm, 2.8, 10 * FOOT, 0.002 * 25.4))
    # The course leaves the focal length out of the hyperfocal distance.
    assert (sharp.hyperfocal_m - focal_mm / 1000) / FOOT == pytest.approx(554, abs=0.5)
    assert sharp.near_m / FOOT == pytest.approx(9.8, abs=0.05)
    assert sharp.far_m / FOOT == pytest.approx(10.2, abs=0.05)
    # The 0.4 ft in print is the difference of the rounded limits; by its approximate form it is 0.36, exactly 0.34.
    assert round(sharp.far_m / FOOT, 1) - round(sharp.near_m / FOOT, 1) == pytest.approx(0.4)


def test_navedtra_focus_for_two_limits():
    """NAVEDTRA 14209: for limits of 9.8 and 10.2 ft, focus at 2 D d/(D + d), which is 10 ft; and so it is with ours."""
    near, far = 9.8, 10.2
    assert 2 * far * near / (far + near) == pytest.approx(10, abs=0.05)
    sharp = depth(Focus(155, 2.8, 10 * FOOT, 0.002 * 25.4))
    assert 2 * sharp.far_m * sharp.near_m / (sharp.far_m + sharp.near_m) == pytest.approx(10 * FOOT)


# Calculated: focal length, f-number, circle, focus; hyperfocal, near and far, all in mm.
# fmt: off
CALCULATED = [
    (24, 2.8, 0.029, 3000, 7117.60, 2113.37, 5168.26),
    (35, 1.8, 0.029, 2000, 23_502.43, 1845.47, 2182.77),
    (85, 1.4, 0.029, 3000, 178_040.67, 2951.65, 3049.96),
    (50, 2.8, 0.019, 2500, 47_042.48, 2376.12, 2637.51),
    (200, 2.8, 0.029, 10_000, 492_810.84, 9804.94, 10_202.98),
    (100, 2.8, 0.029, 500, 123_252.71, 498.38, 501.63),
]
# fmt: on


@pytest.mark.parametrize(("f", "n", "c", "s", "hyperfocal", "near", "far"), CALCULATED)
def test_exact_forms(f, n, c, s, hyperfocal, near, far):
    """The exact limits of "Depth of field", calculated, to the digits given. The f-number counts as it is given."""
    sharp = depth(Focus(f, n, s / 1000, c))
    assert sharp.hyperfocal_m * 1000 == pytest.approx(hyperfocal, abs=0.0051)
    assert sharp.near_m * 1000 == pytest.approx(near, abs=0.0051)
    assert sharp.far_m * 1000 == pytest.approx(far, abs=0.0051)


# Calculated by the formula of "Circle of confusion": mm, f-number, m; the blur in mm at another distance in m.
@pytest.mark.parametrize(
    ("f", "n", "s", "other", "blur"),
    [(85, 1.4, 3, 5, 0.7082), (85, 1.4, 3, float("inf"), 1.7704), (50, 2.8, 2.5, 4, 0.1367)],
)
def test_blur_disc(f, n, s, other, blur):
    """The disc that a point out of focus becomes."""
    focus = Focus(f, n, s, 0.029)
    assert blur_at(focus, other) == pytest.approx(blur, abs=5e-5)
    if other == float("inf"):
        assert depth(focus).infinity_blur_mm == pytest.approx(blur, abs=5e-5)


def test_blur_identity_at_the_hyperfocal_distance():
    """Focused at H, both infinity and H/2 are blurred to just the circle of confusion: that is what H means."""
    hyperfocal = depth(Focus(50, 8, 3, 0.03)).hyperfocal_m
    focus = Focus(50, 8, hyperfocal, 0.03)
    assert depth(focus).infinity_blur_mm == pytest.approx(0.03)
    assert blur_at(focus, hyperfocal / 2) == pytest.approx(0.03)


@given(st.floats(10, 200), st.floats(1.4, 11), st.floats(0.01, 0.04))
def test_doubled_f_number_halves_the_hyperfocal_distance(f, n, c):
    """Exactly so, for the distance less the focal length."""
    span = depth(Focus(f, n, 5, c)).hyperfocal_m - f / 1000
    assert depth(Focus(f, 2 * n, 5, c)).hyperfocal_m - f / 1000 == pytest.approx(span / 2)


def test_one_third_in_front_only_at_a_third_of_the_hyperfocal_distance():
    """ "Depth of field": front to back is 1 to 2 at s = H/3, nearer to 1 to 1 closer up, and without end at H."""
    lens = (24, 5.6, 0.03)
    hyperfocal = depth(Focus(lens[0], lens[1], 1, lens[2])).hyperfocal_m

    def front_to_back(s: float) -> float:
        sharp = depth(Focus(lens[0], lens[1], s, lens[2]))
        return (s - sharp.near_m) / (sharp.far_m - s)

    focal = lens[0] / 1000
    assert front_to_back(focal + (hyperfocal - focal) / 3) == pytest.approx(1 / 2)
    assert front_to_back(hyperfocal / 3) == pytest.approx(1 / 2, rel=0.02)  # as in print: without the focal length
    assert front_to_back(hyperfocal / 30) > 0.9
    assert front_to_back(hyperfocal * 0.9) < 0.1


# Width and height in mm; diagonal calculated by hand, to 0.01 mm; a 1500th of it, to 0.0001 mm; the usual round value.
# fmt: off
CIRCLES = [
    (36, 24, 43.27, 0.0288, 0.030),
    (24.89, 18.66, 31.11, 0.0207, None),  # 0.025 in cine tables, which is no 1500th
    (23.6, 15.7, 28.35, 0.0189, 0.020),
    (22.3, 14.9, 26.82, 0.0179, 0.018),
    (17.3, 13, 21.64, 0.0144, 0.015),
    (13.2, 8.8, 15.86, 0.0106, 0.011),
    (8.8, 6.6, 11.00, 0.0073, None),
    (43.8, 32.9, 54.78, 0.0365, None),
    (12.52, 7.41, 14.55, 0.0097, None),
]
# fmt: on


@pytest.mark.parametrize(("width", "height", "diagonal", "circle", "usual"), CIRCLES)
def test_circle_of_confusion_by_diagonal(width, height, diagonal, circle, usual):
    """Each format has the circle of a 1500th of its diagonal, within 6 per cent of the round value in use."""
    (of,) = [each for each in FORMATS if (each.width_mm, each.height_mm) == (width, height)]
    assert of.diagonal_mm == pytest.approx(diagonal, abs=0.0051)
    assert of.circle_mm == pytest.approx(circle, abs=0.000051)
    if usual is not None:
        assert of.circle_mm == pytest.approx(usual, rel=0.06)
    assert of.name.endswith(f"{width:g} × {height:g}")
