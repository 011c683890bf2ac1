"""Depth of field, blur and matching looks: what they mean by the lens equation, and what is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from server.exposure.depth import (
    FORMATS,
    Camera,
    Focus,
    Format,
    SecondCamera,
    blur_at,
    blur_ratio,
    depth,
    format_of,
    matching,
)
from server.exposure.refused import OutOfRange
from server.exposure.scales import aperture_position, exact_f_number, marked_f_number

NOT_FIGURES = (math.nan, math.inf, -math.inf, 1e308, -1, 0)
FULL_FRAME, SUPER_35, FOUR_THIRDS = (format_of(each) for each in ("full_frame", "super_35", "four_thirds"))

focals = st.floats(4, 800)
f_numbers = st.floats(0.7, 64)
formats = st.sampled_from(FORMATS)


@st.composite
def focuses(draw: st.DrawFn) -> Focus:
    """A lens focused anywhere from twice its focal length to 1 km."""
    focal = draw(focals)
    return Focus(focal, draw(f_numbers), focal / 1000 * draw(st.floats(2, 1000)), draw(st.floats(0.005, 0.05)))


@st.composite
def cameras(draw: st.DrawFn) -> Camera:
    clicks = draw(st.sampled_from((3, 2, 1, 10)))
    marked = marked_f_number(draw(st.integers(0, 9 * clicks)), clicks)
    return Camera(draw(formats), draw(st.floats(10, 400)), marked, draw(st.floats(1, 50)), clicks)


def disc_by_the_lens_equation(focus: Focus, other_m: float) -> float:
    """The blur [mm] by 1/f = 1/s + 1/v and similar triangles behind the lens: none of the formulas of our code."""
    f, s, d = focus.focal_mm, focus.distance_m * 1000, other_m * 1000
    sensor, image = 1 / (1 / f - 1 / s), 1 / (1 / f - 1 / d)
    return f / focus.aperture * abs(image - sensor) / abs(image)


@given(focuses(), st.floats(0.01, 1000))
def test_blur_is_that_of_the_lens_equation(focus, other):
    """The disc where the cone from a point crosses the sensor, for points on either side of the focus."""
    assume(abs(other / (focus.focal_mm / 1000) - 1) > 1e-3)  # its image is at infinity: the triangles need it nearer
    assert blur_at(focus, other) == pytest.approx(disc_by_the_lens_equation(focus, other), rel=1e-6, abs=1e-9)


@given(focuses())
def test_limits_are_where_the_blur_is_the_circle_of_confusion(focus):
    """Sharp is what is blurred to no more than the circle of confusion: at both limits it is just that."""
    sharp = depth(focus)
    assert sharp.near_m < focus.distance_m
    assert blur_at(focus, max(sharp.near_m, 0.001)) <= focus.circle_mm * (1 + 1e-9)
    if sharp.near_m >= 0.001:
        assert blur_at(focus, sharp.near_m) == pytest.approx(focus.circle_mm)
    if sharp.far_m is None:
        assert sharp.infinity_blur_mm <= focus.circle_mm * (1 + 1e-9)
    else:
        assert sharp.far_m > focus.distance_m
        assert sharp.infinity_blur_mm >= focus.circle_mm
        assume(sharp.far_m < 1e6)  # beyond, the blur hardly changes and rounding is all that is left
        assert blur_at(focus, sharp.far_m) == pytest.approx(focus.circle_mm)


@given(focuses())
def test_infinity_begins_at_the_hyperfocal_distance(focus):
    """Focused nearer than that there is a far limit, and farther off there is none."""
    hyperfocal = depth(focus).hyperfocal_m
    assume(abs(focus.distance_m / hyperfocal - 1) > 1e-9)
    assert (depth(focus).far_m is None) == (focus.distance_m > hyperfocal)


@given(focuses())
def test_blur_at_infinity_is_the_far_background(focus):
    """The blur of the far background is what the blur of a point tends to as it walks away."""
    assert blur_at(focus, math.inf) == pytest.approx(depth(focus).infinity_blur_mm)
    assert blur_at(focus, 1e9) == pytest.approx(depth(focus).infinity_blur_mm, rel=1e-5)


@pytest.mark.parametrize("field", ["focal_mm", "aperture", "distance_m", "circle_mm"])
@pytest.mark.parametrize("came", NOT_FIGURES)
def test_what_is_no_focus_is_refused(field, came):
    """Each figure is held to its limits, and the refusal names it."""
    good = {"focal_mm": 50, "aperture": 2.8, "distance_m": 3, "circle_mm": 0.03}
    with pytest.raises(OutOfRange) as refusal:
        Focus(**{**good, field: came})
    assert refusal.value.field == field


@pytest.mark.parametrize(
    ("field", "inside", "outside"),
    [
        ("focal_mm", (1, 2000), (0.99, 2001)),
        ("aperture", (0.5, 128), (0.49, 129)),
        ("distance_m", (0.0501, 10_000), (0.05, 0.049, 10_001)),
        ("circle_mm", (0.001, 0.2), (0.0009, 0.21)),
    ],
)
def test_limits_of_a_focus(field, inside, outside):
    """The stated limits belong to what may be asked; a focus at the focal length or nearer has no image."""
    good = {"focal_mm": 50, "aperture": 2.8, "distance_m": 3, "circle_mm": 0.03}
    for value in inside:
        assert depth(Focus(**{**good, field: value})).near_m > 0
    for value in outside:
        with pytest.raises(OutOfRange) as refusal:
            Focus(**{**good, field: value})
        assert refusal.value.field == field


@pytest.mark.parametrize("focal_mm", [1, 7, 50, 70, 135, 2000])
def test_a_hair_beyond_the_focal_length_is_a_figure(focal_mm):
    """The nearest distance that passes has limits like any other: nothing is divided by nothing."""
    focus = Focus(focal_mm, 0.5, math.nextafter(focal_mm / 1000, math.inf), 0.001)
    sharp = depth(focus)
    assert 0 < sharp.near_m <= focus.distance_m <= sharp.far_m < math.inf
    assert 0 < sharp.infinity_blur_mm < math.inf


@pytest.mark.parametrize("came", [math.nan, 0, -1, -math.inf, 1e-9])
def test_no_point_at_or_behind_the_lens(came):
    """A point to be blurred lies in front of the lens."""
    with pytest.raises(OutOfRange) as refusal:
        blur_at(Focus(50, 2.8, 3, 0.03), came)
    assert refusal.value.field == "other_m"


# Calculated by hand: positions i of 2^(i/2c), so the ratio is 2^(-clicks/2c).
@pytest.mark.parametrize(
    ("before", "after", "clicks", "ratio"),
    [
        (2.8, 4, 3, 2**-0.5),
        (2.8, 4.5, 3, 2 ** (-4 / 6)),  # four clicks: "0.63 of what you had"
        (1.8, 16, 3, 2 ** (-19 / 6)),
        (16, 1.8, 3, 2 ** (19 / 6)),
        (1.2, 2.4, 2, 0.5),  # 1.2 is 2^(1/4) on a half-stop dial and 2.4 is 2^(5/4)
        (5.6, 5.6, 3, 1),
    ],
)
def test_blur_ratio(before, after, clicks, ratio):
    """The blur goes with 1/N, by the exact f-numbers behind the marks."""
    assert blur_ratio(before, after, clicks) == pytest.approx(ratio, rel=1e-12)


@given(focuses(), st.integers(0, 36), st.integers(0, 36), st.floats(0.01, 1000))
def test_blur_ratio_is_the_ratio_of_the_discs(focus, before, after, other):
    """At any distance, not only far off."""
    n = [marked_f_number(position, 3) for position in (before, after)]
    discs = [blur_at(Focus(focus.focal_mm, exact_f_number(each), focus.distance_m, 0.03), other) for each in n]
    assume(discs[0] > 1e-9)
    assert blur_ratio(*n) == pytest.approx(discs[1] / discs[0])


@pytest.mark.parametrize(("before", "after", "field"), [(0, 4, "aperture_before"), (4, math.nan, "aperture_after")])
def test_blur_ratio_names_the_iris_that_is_none(before, after, field):
    with pytest.raises(OutOfRange) as refusal:
        blur_ratio(before, after)
    assert refusal.value.field == field


def test_formats_have_ids_and_names_of_their_own():
    """Each is found by its id, and what is not there is refused with the ids that are."""
    assert len({each.name for each in FORMATS}) == len({each.id for each in FORMATS}) == len(FORMATS)
    for each in FORMATS:
        assert format_of(each.id) == each
    with pytest.raises(OutOfRange, match="full_frame, super_35"):
        format_of("postage stamp")
    for bad in (0, -1, math.nan, 1e308):
        with pytest.raises(OutOfRange):
            Format("odd", "odd", bad, 24)
        with pytest.raises(OutOfRange):
            Format("odd", "odd", 36, bad)


def test_same_field_by_hand():
    """Full frame to four thirds: the diagonals are 43.267 and 21.640 mm, so a 50 mm at f/2.8 is a 25 mm at f/1.4."""
    match = matching(Camera(FULL_FRAME, 50, 2.8, 3), SecondCamera(FOUR_THIRDS))
    assert match.same_field_mm == pytest.approx(50 * 21.640 / 43.267, abs=1e-3)
    iris = match.same_field_iris
    assert iris.exact == pytest.approx(8**0.5 * 21.640 / 43.267, abs=1e-4)
    assert (iris.marked, iris.reached, iris.short_stops) == (1.4, True, 0)
    assert iris.remains_stops == pytest.approx(0, abs=2e-3)
    assert match.same_blur is None
    assert match.same_depth is None


def test_this_lens_by_hand():
    """
    85 mm at f/2.8 on full frame at 3 m, beside it a 50 mm on super 35.

    By hand: the far blur is 7225/(2.8284 · 2915) = 0.8763 mm, a share 0.020254 of 43.267 mm; of 31.108 mm that is
    0.6301 mm, which 2500/(N · 2950) gives at N = 1.3451: position 2.57 on a third-stop dial.
    """
    first = Camera(FULL_FRAME, 85, 2.8, 3)
    match = matching(first, SecondCamera(SUPER_35, 50))
    assert match.same_blur.exact == pytest.approx(1.3451, abs=1e-4)
    assert match.same_blur.marked == 1.4
    assert match.same_blur.remains_stops == pytest.approx((2.566 - 3) / 3, abs=1e-3)
    assert match.same_blur.reached

    at_f18 = matching(first, SecondCamera(SUPER_35, 50, widest=1.8, smallest=16)).same_blur  # position 5 is its end
    assert at_f18.exact == match.same_blur.exact
    assert (at_f18.marked, at_f18.reached) == (1.8, False)
    assert at_f18.short_stops == pytest.approx((5 - 2.566) / 3, abs=1e-3)
    assert at_f18.remains_stops == -at_f18.short_stops


def test_too_small_an_opening_falls_short_as_well():
    """Four thirds at f/16 wants f/32 on full frame, by the ratio 1.9994; a lens that ends at f/22 is a stop short."""
    match = matching(Camera(FOUR_THIRDS, 25, 16, 3), SecondCamera(FULL_FRAME, smallest=22))
    assert match.same_field_iris.marked == 22
    assert not match.same_field_iris.reached
    assert match.same_field_iris.remains_stops == pytest.approx(1, abs=2e-3)  # f/22 is f/22.63, by its position 27
    assert match.same_field_iris.short_stops == match.same_field_iris.remains_stops


@given(cameras(), formats, st.floats(10, 400))
def test_beside_the_first_camera_blur_and_depth_are_matched_by_one_iris(first, of, focal):
    """The same limits to the last digit, and the same share of blur: from one spot they cannot be had apart."""
    match = matching(first, SecondCamera(of, focal))
    assert match.same_blur.exact == pytest.approx(match.same_depth.exact)
    exact = match.same_depth.exact
    assume(0.5 <= exact <= 128)
    theirs, ours = depth(first.focus), depth(Focus(focal, exact, first.distance_m, of.circle_mm))
    assert ours.near_m == pytest.approx(theirs.near_m)
    assert ours.infinity_blur_mm / of.diagonal_mm == pytest.approx(theirs.infinity_blur_mm / first.format.diagonal_mm)
    if theirs.far_m is not None and theirs.far_m < 1e4:
        assert ours.far_m == pytest.approx(theirs.far_m)


@given(cameras(), formats, st.floats(10, 400), st.floats(1, 50))
def test_from_another_distance_depth_keeps_its_length_and_blur_its_share(first, of, focal, distance):
    """Each iris does what it says where that camera stands."""
    assume(distance != first.distance_m)
    match = matching(first, SecondCamera(of, focal, distance))
    theirs = depth(first.focus)
    if 0.5 <= match.same_blur.exact <= 128:
        ours = depth(Focus(focal, match.same_blur.exact, distance, of.circle_mm))
        share = theirs.infinity_blur_mm / first.format.diagonal_mm
        assert ours.infinity_blur_mm / of.diagonal_mm == pytest.approx(share)
    assume(0.5 <= match.same_depth.exact <= 128)
    ours = depth(Focus(focal, match.same_depth.exact, distance, of.circle_mm))
    if theirs.far_m is None:  # just as endless: its far limit is at infinity, give or take the last digit
        assert ours.hyperfocal_m == pytest.approx(distance)
    elif theirs.far_m < 1e4:
        assert ours.far_m - ours.near_m == pytest.approx(theirs.far_m - theirs.near_m, rel=1e-6)


@given(cameras(), formats)
def test_same_field_has_the_same_depth_far_from_the_lens(first, of):
    """The ratio of the diagonals is exact for a far subject, and by (s - f)/(s - r f) for a near one."""
    match = matching(first, SecondCamera(of))
    focal = match.same_field_mm
    assert of.diagonal_mm / focal == pytest.approx(first.format.diagonal_mm / first.focal_mm)
    assume(focal < 1000 * first.distance_m)
    exact = matching(first, SecondCamera(of, focal)).same_depth.exact
    near = (first.distance_m * 1000 - first.focal_mm) / (first.distance_m * 1000 - focal)
    assert exact == pytest.approx(match.same_field_iris.exact * near)


@given(cameras(), formats, st.sampled_from((3, 2, 1, 10)), st.integers(-1, 6), st.integers(0, 7))
def test_marked_iris_is_the_nearest_between_the_ends(first, of, clicks, widest, more):
    """What remains is the distance to the exact iris, less than half a click unless the lens ends before."""
    ends = [marked_f_number(position, clicks) for position in (widest, widest + more)]
    iris = matching(first, SecondCamera(of, None, None, clicks, *ends)).same_field_iris
    held = aperture_position(iris.marked, clicks)
    assert widest <= held <= widest + more
    assert iris.remains_stops == pytest.approx(2 * math.log2(iris.exact) - held / clicks)
    if iris.reached:
        assert abs(iris.remains_stops) <= 0.5 / clicks + 1e-9
        assert iris.short_stops == 0
    else:
        assert held == (widest if iris.remains_stops < 0 else widest + more)
        assert iris.short_stops >= 0.5 / clicks - 1e-9


def test_second_camera_cannot_focus_inside_its_lens():
    """A long lens beside a camera that is very near, or with a distance of its own that is."""
    with pytest.raises(OutOfRange) as refusal:
        matching(Camera(FULL_FRAME, 50, 2.8, 0.2), SecondCamera(SUPER_35, 300))
    assert refusal.value.field == "second.focal_mm"
    with pytest.raises(OutOfRange) as refusal:
        SecondCamera(SUPER_35, 300, 0.3)
    assert refusal.value.field == "distance_m"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"focal_mm": 0}, "focal_mm"),
        ({"focal_mm": math.nan}, "focal_mm"),
        ({"distance_m": -1}, "distance_m"),
        ({"distance_m": 1e308}, "distance_m"),
        ({"clicks_per_stop": 4}, "clicks_per_stop"),
        ({"widest": 0}, "widest"),
        ({"smallest": math.inf}, "smallest"),
        ({"widest": 16, "smallest": 2}, "smallest"),
    ],
)
def test_what_is_no_second_camera_is_refused(changes, field):
    with pytest.raises(OutOfRange) as refusal:
        SecondCamera(SUPER_35, **changes)
    assert refusal.value.field == field


@pytest.mark.parametrize("field", ["focal_mm", "aperture", "distance_m"])
@pytest.mark.parametrize("came", NOT_FIGURES)
def test_what_is_no_camera_is_refused(field, came):
    good = {"format": FULL_FRAME, "focal_mm": 50, "aperture": 2.8, "distance_m": 3}
    with pytest.raises(OutOfRange) as refusal:
        Camera(**{**good, field: came})
    assert refusal.value.field == field
