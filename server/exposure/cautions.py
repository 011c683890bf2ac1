"""
What to look out for: what may show in the picture though the exposure is right, and what may hurt.

Dark corners, the cross of a variable ND and the uneven blue of a polariser are common practice, with no source: from
what angle on, and how near the dark end, differs between filters. ISO 12312-2 is the standard for looking at the sun.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from server.language import listed, noted, say

from .flicker import is_steady, nearest_steady
from .refused import within
from .scales import marked_shutter
from .sun import SUN_GONE

if TYPE_CHECKING:
    from .daylight import Spot
    from .rig import Kit, Rig

WIDE = 70.0  # degrees across the diagonal: a 30 mm lens on full frame
NEAR_DARK_END = 1.0  # stop


@dataclass(frozen=True, slots=True)
class Sight:
    """What a lens sees: focal_mm [mm] at the end that is used, diagonal_mm [mm] of the sensor."""

    focal_mm: float
    diagonal_mm: float

    def __post_init__(self) -> None:
        within("focal_mm", self.focal_mm, 1, 2000, "mm")
        within("diagonal_mm", self.diagonal_mm, 1, 200, "mm")

    @property
    def degrees(self) -> float:
        """
        The angle of view across the diagonal [degrees], focused far off.

        >>> round(Sight(24, 43.27).degrees)
        84
        """
        return math.degrees(2 * math.atan(self.diagonal_mm / 2 / self.focal_mm))

    @property
    def is_wide(self) -> bool:
        """Whether a stack of glass may show in the picture."""
        return self.degrees >= WIDE


def cautions(kit: Kit, rig: Rig, sight: Sight | None) -> tuple[str, ...]:
    """What to look out for with this rig on a wide lens; nothing where the lens's angle is not known or not wide."""
    if sight is None or not sight.is_wide:
        return ()
    said = []
    held = len(rig.slots) + (rig.front is not None) if rig.holder_on else 0
    if len(rig.threads) > 1 or held > 2:
        said.append(say("look at the corners: this stack may darken them"))
    variable = next((piece for f in rig.on_lens if (piece := kit.filter(f)).kind == "variable_nd"), None)
    if any(kit.filter(f).kind == "polariser" for f in rig.on_lens):
        said.append(say("look at the sky: on so wide a lens a polariser darkens the blue unevenly"))
    if variable is not None and rig.turned is not None and variable.positions[-1] - rig.turned < NEAR_DARK_END:
        said.append(say("look for a cross: the variable ND is near its dark end"))
    return tuple(said)


SUN_AHEAD = noted(
    "the sun is ahead: never look at it through an optical finder or a lens; ND and polarisers are no eye protection"
)
LASERS_HERE = noted("stage lasers: a beam can destroy a sensor, and eyes; the venue's rules come first")


def place_cautions(spot: Spot, sun: float | None, *, lasers: bool, ahead: bool = False) -> tuple[str, ...]:
    """
    What may hurt at a place: the sun that it looks towards, and stage lasers.

    sun  its elevation [degrees], None where it is not known;  ahead  short words, for a place that is not reached yet
    """
    said = []
    if spot.light == "sun" and spot.lit_from == "back" and (sun is None or sun > -SUN_GONE):
        said.append(say("it looks towards the sun: keep off an optical finder") if ahead else say(SUN_AHEAD))
    if lasers:
        said.append(say("stage lasers: keep lens and eyes out of the beams") if ahead else say(LASERS_HERE))
    return tuple(said)


def flicker_caution(shutter: float, mains: int | None) -> tuple[str, ...]:
    """Whether a shutter [s] may flicker under lamps; mains [Hz], None where there are none or it is not known."""
    if mains is None or is_steady(shutter, mains):
        return ()
    steady = listed([marked_shutter(each) for each in reversed(nearest_steady(shutter, mains))])
    return (
        say("{shutter} may flicker under {mains} Hz lamps: {steady} would not",
            shutter=marked_shutter(shutter), mains=mains, steady=steady),
    )  # fmt: skip
