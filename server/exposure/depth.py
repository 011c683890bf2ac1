"""
Depth of field, background blur, and what a second camera must set to match the look of the first.

The exact thin-lens forms, with every distance measured from the lens. The f-number counts here, never the T-number:
how wide the cone of light is decides the blur, and a lens's loss dims the cone without making it narrower.

With s the focus distance, f the focal length, N the f-number and c the circle of confusion, two lengths say it all:
the gap g = s - f and the span A = f^2/(N c). The limits are s A/(A + g) and s A/(A - g), so the depth at a distance
depends on A/g alone; and the blur of the far background is c A/g, so it depends on the same ratio.

Sources: encyclopedic "Hyperfocal distance" and "Depth of field" (limits), "Circle of confusion" (blur). Checked in
tests/published/test_depth_of_field.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from server.language import noted, say

from .refused import OutOfRange, refuse, within
from .scales import (
    F_NUMBER_SMALLEST,
    F_NUMBER_WIDEST,
    ClicksPerStop,
    aperture_position,
    clicks_per_stop,
    exact_f_number,
    f_number_at,
    marked_f_number,
)

FOCAL_SHORTEST, FOCAL_LONGEST = 1.0, 2000.0  # mm
DISTANCE_MOST = 10_000.0  # m; any lens that is carried is at infinity long before
OTHER_NEAREST = 0.001  # m
CIRCLE_SMALLEST, CIRCLE_LARGEST = 0.001, 0.2  # mm
SENSOR_SMALLEST, SENSOR_LARGEST = 2.0, 200.0  # mm, a side

DIAGONAL_PER_CIRCLE = 1500.0  # a convention, one of several: no standard fixes the circle of confusion


@dataclass(frozen=True, slots=True)
class Focus:
    """
    A lens, focused.

    focal_mm    [mm]
    aperture    [f-number]  as it is, not snapped to a dial
    distance_m  [m]         from the lens to what is in focus
    circle_mm   [mm]        circle of confusion: the largest blur on the sensor that still passes for a point
    """

    focal_mm: float
    aperture: float
    distance_m: float
    circle_mm: float

    def __post_init__(self) -> None:
        _optics(self.focal_mm, self.aperture, self.distance_m)
        within("circle_mm", self.circle_mm, CIRCLE_SMALLEST, CIRCLE_LARGEST, "mm")

    @property
    def gap_mm(self) -> float:
        """How much farther than the focal length the subject is: g [mm]."""
        return _gap_mm(self.focal_mm, self.distance_m)

    @property
    def span_mm(self) -> float:
        """The hyperfocal distance less the focal length, f^2/(N c): A [mm]."""
        return self.focal_mm**2 / (self.aperture * self.circle_mm)


@dataclass(frozen=True, slots=True)
class Depth:
    """
    What is sharp.

    near_m            [m]   nearest distance that passes for sharp
    far_m             [m]   farthest; None: infinity
    hyperfocal_m      [m]   focused there, everything from half of it to infinity passes for sharp
    infinity_blur_mm  [mm]  on the sensor: the disc that a point in the far background becomes
    """

    near_m: float
    far_m: float | None
    hyperfocal_m: float
    infinity_blur_mm: float


def depth(focus: Focus) -> Depth:
    """
    What is sharp, and how soft the far background is.

    With H = f^2/(N c) + f: near = s (H - f)/(H + s - 2f), far = s (H - f)/(H - s), infinity from s = H on;
    blur at infinity = f^2/(N (s - f)).

    >>> sharp = depth(Focus(50, 8, 5, 0.03))
    >>> round(sharp.near_m, 3), round(sharp.far_m, 3), round(sharp.hyperfocal_m, 3)
    (3.389, 9.527, 10.467)
    """
    span, gap, s = focus.span_mm, focus.gap_mm, focus.distance_m
    return Depth(
        near_m=s * span / (span + gap),
        far_m=s * span / (span - gap) if gap < span else None,
        hyperfocal_m=(span + focus.focal_mm) / 1000,
        infinity_blur_mm=focus.circle_mm * span / gap,
    )


def blur_at(focus: Focus, other_m: float) -> float:
    """
    The disc [mm] on the sensor that a point at another distance becomes: |d - s|/d f^2/(N (s - f)).

    other_m  [m]  d, from the lens; infinity may be asked for

    >>> round(blur_at(Focus(85, 1.4, 3, 0.029), 5), 4)
    0.7082
    """
    within("other_m", other_m, OTHER_NEAREST, math.inf, "m")
    return abs(1 - focus.distance_m / other_m) * focus.focal_mm**2 / (focus.aperture * focus.gap_mm)


def blur_ratio(aperture_before: float, aperture_after: float, clicks: ClicksPerStop = 3) -> float:
    """
    How soft the background is after turning the iris, as a part of what it was; focus and lens untouched.

    aperture_before, aperture_after  [f-number]  as marked on a dial of so many clicks [1/stop]
    returns                          [1]         N before over N after, exact: a blur disc goes with 1/N

    A stop down leaves 0.71 of the blur, two stops half of it:

    >>> round(blur_ratio(2.8, 4), 2), blur_ratio(2, 4)
    (0.71, 0.5)
    """
    before = exact_f_number(aperture_before, clicks, "aperture_before")
    return before / exact_f_number(aperture_after, clicks, "aperture_after")


@dataclass(frozen=True, slots=True)
class Format:
    """
    The part of a sensor that makes the picture.

    id                   what the JSON calls it
    name                 what the trade calls it
    width_mm, height_mm  [mm]
    """

    id: str
    name: str
    width_mm: float
    height_mm: float

    def __post_init__(self) -> None:
        within("width_mm", self.width_mm, SENSOR_SMALLEST, SENSOR_LARGEST, "mm")
        within("height_mm", self.height_mm, SENSOR_SMALLEST, SENSOR_LARGEST, "mm")

    @property
    def diagonal_mm(self) -> float:
        """From corner to corner [mm]."""
        return math.hypot(self.width_mm, self.height_mm)

    @property
    def circle_mm(self) -> float:
        """Circle of confusion [mm]: a 1500th of the diagonal. A convention: no standard fixes it."""
        return self.diagonal_mm / DIAGONAL_PER_CIRCLE


# Common sizes in trade terms, largest first; single models differ by some tenths of a millimetre.
FORMATS = (
    Format("medium_44x33", noted("medium format 43.8 × 32.9"), 43.8, 32.9),
    Format("full_frame", noted("full frame 36 × 24"), 36, 24),
    Format("super_35", noted("super 35 24.89 × 18.66"), 24.89, 18.66),
    Format("aps_c_24x16", "APS-C 23.6 × 15.7", 23.6, 15.7),
    Format("aps_c_22x15", "APS-C 22.3 × 14.9", 22.3, 14.9),
    Format("four_thirds", noted("four thirds 17.3 × 13"), 17.3, 13),
    Format("one_inch", noted("1 inch 13.2 × 8.8"), 13.2, 8.8),
    Format("super_16", noted("super 16 12.52 × 7.41"), 12.52, 7.41),
    Format("two_thirds_inch", noted("2/3 inch 8.8 × 6.6"), 8.8, 6.6),
)
_FORMAT_OF = {each.id: each for each in FORMATS}


def format_of(came: str, field: str = "format") -> Format:
    """The format with this id. Raises OutOfRange for any that is not in FORMATS."""
    found = _FORMAT_OF.get(came)
    return found if found is not None else refuse(field, came, ", ".join(_FORMAT_OF))


@dataclass(frozen=True, slots=True)
class Camera:
    """
    The camera whose look is to be matched.

    format
    focal_mm         [mm]
    aperture         [f-number]  as marked on its dial
    distance_m       [m]         from the lens to what is in focus
    clicks_per_stop  [1/stop]    of its aperture dial
    """

    format: Format
    focal_mm: float
    aperture: float
    distance_m: float
    clicks_per_stop: ClicksPerStop = 3

    def __post_init__(self) -> None:
        clicks_per_stop(self.clicks_per_stop)
        _optics(self.focal_mm, self.aperture, self.distance_m)

    @property
    def focus(self) -> Focus:
        """Its lens, focused, with the exact f-number and the circle of confusion of its format."""
        exact = exact_f_number(self.aperture, self.clicks_per_stop)
        return Focus(self.focal_mm, exact, self.distance_m, self.format.circle_mm)


@dataclass(frozen=True, slots=True)
class SecondCamera:
    """
    The camera that is to match.

    format
    focal_mm         [mm]        of the lens that is on it; None: only the lens that would match is asked for
    distance_m       [m]         from its lens to the same subject; None: it stands beside the first camera
    clicks_per_stop  [1/stop]    of its aperture dial
    widest           [f-number]  the lens's ends, as marked; left out: those of any lens
    smallest         [f-number]
    """

    format: Format
    focal_mm: float | None = None
    distance_m: float | None = None
    clicks_per_stop: ClicksPerStop = 3
    widest: float = F_NUMBER_WIDEST
    smallest: float = F_NUMBER_SMALLEST

    def __post_init__(self) -> None:
        clicks_per_stop(self.clicks_per_stop)
        if self.focal_mm is not None:
            within("focal_mm", self.focal_mm, FOCAL_SHORTEST, FOCAL_LONGEST, "mm")
        if self.distance_m is not None:
            _distance(self.focal_mm or 0, self.distance_m)
        widest, smallest = self.ends
        if widest > smallest:
            raise OutOfRange(
                "smallest", self.smallest, say("an f-number no wider than f/{widest}", widest=f"{self.widest:g}")
            )

    @property
    def ends(self) -> tuple[int, int]:
        """Positions [clicks] of its widest and its smallest iris."""
        clicks = self.clicks_per_stop
        return aperture_position(self.widest, clicks, "widest"), aperture_position(self.smallest, clicks, "smallest")


@dataclass(frozen=True, slots=True)
class Iris:
    """
    The iris that a match wants, and the one that the lens has for it.

    exact          [f-number]  what would match exactly
    marked         [f-number]  the nearest that the dial has, between the lens's ends
    remains_stops  [stops]     from marked to exact; above 0: a smaller opening would match
    reached        whether the lens goes that far
    """

    exact: float
    marked: float
    remains_stops: float
    reached: bool

    @property
    def short_stops(self) -> float:
        """How far [stops] the match lies beyond the lens's end; 0 where the lens reaches it."""
        return 0.0 if self.reached else abs(self.remains_stops)


@dataclass(frozen=True, slots=True)
class Match:
    """
    How a second camera has the look of the first.

    same_field_mm    [mm]  the focal length with the same field of view, by diagonal
    same_field_iris  with that lens, beside the first camera: the iris with the same depth of field

    With the lens that is on the second camera, where it stands (None where that lens was not given):
    same_blur        the far background is as soft, as a share of the picture's diagonal
    same_depth       the same depth of field
    """

    same_field_mm: float
    same_field_iris: Iris
    same_blur: Iris | None
    same_depth: Iris | None


def matching(first: Camera, second: SecondCamera) -> Match:
    """
    What the second camera must set to match the first.

    Same field of view (2 atan(d/2f), focused far off): focal length and f-number go with the ratio r of the
    diagonals d, so that the opening f/N stays. The same limits to the last digit would need N r (s - f)/(s - r f),
    0.02 stop from it for a 50 mm at 2 m on full frame and its match on super 35, and less from farther off.

    With another lens, both answers are exact. Beside the first camera they are one and the same: the limits and the
    far blur both hang on A/g (see above), as long as the circle of confusion is the same share of either diagonal.
    From another distance they part, and "the same depth" is the same length from the near to the far limit; where the
    first camera's has no end, it is the widest iris at which the second's has none either.

    A 50 mm at f/2.8 on full frame is a 25 mm at f/1.4 on four thirds:

    >>> match = matching(Camera(format_of("full_frame"), 50, 2.8, 3), SecondCamera(format_of("four_thirds")))
    >>> round(match.same_field_mm, 1), match.same_field_iris.marked
    (25.0, 1.4)
    """
    seen, ratio = first.focus, second.format.diagonal_mm / first.format.diagonal_mm
    same_blur = same_depth = None
    if second.focal_mm is not None:
        same_blur, same_depth = _irises(seen, first.format, second, second.focal_mm)
    return Match(
        same_field_mm=first.focal_mm * ratio,
        same_field_iris=_iris(seen.aperture * ratio, second),
        same_blur=same_blur,
        same_depth=same_depth,
    )


def _irises(seen: Focus, of: Format, second: SecondCamera, focal_mm: float) -> tuple[Iris, Iris]:
    """The irises with the same share of background blur and with the same depth of field."""
    away_m = seen.distance_m if second.distance_m is None else second.distance_m
    if focal_mm / 1000 >= away_m:  # only where it stands beside the first camera; else it was checked at birth
        raise OutOfRange(
            "second.focal_mm", focal_mm, say("less than the first camera's distance, {away_m} m", away_m=f"{away_m:g}")
        )
    # The far blur is f^2/(N g): what it would be at f/1, over what it should be.
    at_f1 = focal_mm**2 / _gap_mm(focal_mm, away_m)
    blur = depth(seen).infinity_blur_mm / of.diagonal_mm * second.format.diagonal_mm
    # A/g, and as the far blur is c A/g, the blur that gives that depth.
    spans = _spans_for_depth(seen.span_mm / seen.gap_mm, seen.distance_m, away_m)
    return _iris(at_f1 / blur, second), _iris(at_f1 / (spans * second.format.circle_mm), second)


def _spans_for_depth(spans: float, from_m: float, away_m: float) -> float:
    """
    The A/g [1] that has, from away_m, the depth that A/g = spans has from from_m.

    The length from near to far is T = 2 s (A/g)/((A/g)^2 - 1); that is solved for A/g.
    """
    if away_m == from_m:
        return spans
    if spans <= 1:
        return 1.0
    half = away_m / from_m * (spans - 1) * (spans + 1) / (2 * spans)  # s/T
    return half + math.hypot(half, 1)


def _iris(exact: float, second: SecondCamera) -> Iris:
    clicks = second.clicks_per_stop
    widest, smallest = second.ends
    nearest = round(2 * clicks * math.log2(exact))
    held = min(max(nearest, widest), smallest)
    remains = 2 * math.log2(exact / f_number_at(held, clicks))
    return Iris(exact, marked_f_number(held, clicks), remains, reached=held == nearest)


def _optics(focal_mm: float, aperture: float, distance_m: float) -> None:
    within("focal_mm", focal_mm, FOCAL_SHORTEST, FOCAL_LONGEST, "mm")
    within("aperture", aperture, F_NUMBER_WIDEST, F_NUMBER_SMALLEST)
    _distance(focal_mm, distance_m)


def _distance(focal_mm: float, distance_m: float) -> None:
    if not focal_mm / 1000 < distance_m <= DISTANCE_MOST:
        most = f"{DISTANCE_MOST:g}"
        allowed = (
            say("more than the focal length of {focal} mm, up to {most} m", focal=f"{focal_mm:g}", most=most)
            if focal_mm
            else say("more than 0, up to {most} m", most=most)
        )
        raise OutOfRange("distance_m", distance_m, allowed)


def _gap_mm(focal_mm: float, distance_m: float) -> float:
    # Taken in metres, as it is checked: in millimetres, rounding could make a gap of nothing out of one that passed.
    return (distance_m - focal_mm / 1000) * 1000
