"""
What a second camera wants where the first has its look: the same field of view or the same blur, across formats.

The optics are `depth.matching`; here they are held to what the lens can do, and what it cannot is told. Beside the
first camera the same far blur is the same depth of field too, so one iris is both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, get_args

from .depth import Camera, SecondCamera, matching

if TYPE_CHECKING:
    from .depth import Format, Iris
    from .glass import Filter
    from .rig import Kit, Look

How = Literal["field", "blur", "own"]
HOWS: tuple[How, ...] = get_args(How)

FAR_M = 100.0  # stands for a subject of which nobody said how far it is: the ratio of two far blurs no longer changes
SAME_FIELD = 1.05  # focal lengths that differ by less frame the same; lenses are marked no better


@dataclass(frozen=True, slots=True)
class Taking:
    """
    What a camera takes its picture with.

    kit                      with the body and the lens that are in use
    sensor                   None: not known
    focal_mm, focal_long_mm  [mm]  of the lens; of a zoom, its ends;  None: not known, or no zoom
    """

    kit: Kit
    sensor: Format | None
    focal_mm: float | None
    focal_long_mm: float | None

    def focal(self, *, long_end: bool) -> float | None:
        """The focal length in use [mm], if it is known."""
        return self.focal_long_mm if long_end and self.focal_long_mm is not None else self.focal_mm


@dataclass(frozen=True, slots=True)
class Matched:
    """
    A look for the second camera.

    look       the one that its answers are for
    field_mm   [mm]     the focal length with the first camera's field of view; None: not known, or not asked for
    in_field   whether the lens has that focal length
    focal_mm   [mm]     what the lens is set to, where that is not one of its ends
    off_stops  [stops]  how far the iris that would match lies beyond the lens: above 0, the lens does not open that
               far, and the background is sharper than the first camera's; below 0 it does not close that far
    missing    glass that the first camera's look wears and that this kit has nothing like
    unknown    what would have to be known for a match: "sensor", "focal length"; the f-numbers are the first's then
    """

    look: Look
    field_mm: float | None = None
    in_field: bool = True
    focal_mm: float | None = None
    off_stops: float = 0.0
    missing: tuple[Filter, ...] = ()
    unknown: tuple[str, ...] = ()


def matched(look: Look, first: Taking, second: Taking, how: How, distance_m: float | None = None) -> Matched:
    """
    The second camera's look where the first has this one.

    how         "field": the second's zoom is set to the first's field of view, or as near as it goes, and its iris to
                the same blur there;  "blur": the lens is left as it is;  "own": the same f-numbers
    distance_m  [m]  of the subject from both; None: far

    A 50 mm at f/2.8 on full frame asks a zoom on four thirds for 25 mm and f/1.4 (see `depth.matching`).
    """
    worn, missing = _worn(look, first.kit, second.kit)
    own = Matched(replace(look, worn=worn, mains=None), missing=missing)
    if how == "own":
        return own
    if first.sensor is None or second.sensor is None:
        return replace(own, unknown=("sensor",))
    seen = first.focal(long_end=look.long_end)
    if how == "blur" and (seen is None or second.focal_mm is None):
        return replace(own, unknown=("focal length",))
    ratio = second.sensor.diagonal_mm / first.sensor.diagonal_mm
    field = seen * ratio if how == "field" and seen is not None else None
    focal = second.focal(long_end=look.long_end) if field is None else _nearest(field, second)
    long_end = _at_long_end(focal, second, otherwise=look.long_end)
    # Where a focal length is not known the two are taken to frame alike; any one says the same then.
    framed = focal if seen is not None else None
    seen_mm = 50.0 if seen is None else seen
    nearest_m = 2 * max(seen_mm, framed or 0) / 1000
    away = distance_m if distance_m is not None and distance_m > nearest_m else FAR_M
    lens = second.kit.lens
    widest = lens.widest_long if long_end and lens.widest_long is not None else lens.widest
    beside = SecondCamera(second.sensor, framed, None, second.kit.body.clicks_per_stop, widest, lens.smallest)

    def iris(aperture: float, sensor: Format = first.sensor) -> Iris:
        seen_from = Camera(sensor, seen_mm, aperture, away, first.kit.body.clicks_per_stop)
        match = matching(seen_from, beside)
        return match.same_blur or match.same_field_iris

    wanted = iris(look.wanted)
    its = replace(
        own.look, long_end=long_end, wanted=wanted.marked, widest=iris(look.widest).marked,
        narrowest=iris(look.narrowest).marked,
    )  # fmt: skip
    return replace(
        own,
        look=its,
        field_mm=field,
        in_field=field is None or focal is None or 1 / SAME_FIELD < focal / field < SAME_FIELD,
        focal_mm=focal if field is not None else None,
        off_stops=wanted.short_stops if wanted.exact < wanted.marked else -wanted.short_stops,
    )


def _nearest(field: float, lens: Taking) -> float | None:
    """The focal length of a lens that is nearest to one [mm]; None where its own is not known."""
    if lens.focal_mm is None:
        return None
    return min(max(field, lens.focal_mm), lens.focal_long_mm or lens.focal_mm)


def _at_long_end(focal: float | None, lens: Taking, *, otherwise: bool) -> bool:
    """Whether a zoom set to a focal length has the aperture of its long end: from the middle of its range on."""
    if focal is None or lens.focal_mm is None or lens.focal_long_mm is None:
        return otherwise
    return focal >= math.sqrt(lens.focal_mm * lens.focal_long_mm)


def _worn(look: Look, first: Kit, second: Kit) -> tuple[frozenset[str], tuple[Filter, ...]]:
    """The second kit's glass that is most like what a look wears, and what it has nothing like."""
    found, missing = set(), []
    for each in sorted(look.worn):
        its = next((f for f in first.filters if f.id == each), None)
        if its is None:
            continue
        alike = [f for f in second.filters if (f.kind, f.edge) == (its.kind, its.edge) and f.id not in found]
        if alike:
            found.add(min(alike, key=lambda f: (abs(f.density - its.density), f.id)).id)
        else:
            missing.append(its)
    return frozenset(found), tuple(missing)
