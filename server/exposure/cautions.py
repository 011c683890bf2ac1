"""
What may show in the picture though the exposure is right: dark corners, and the cross of a variable ND.

Both are common practice, with no source: from what angle on, and how near the dark end, differs between filters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .refused import within

if TYPE_CHECKING:
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


def cautions(kit: Kit, rig: Rig, sight: Sight | None) -> tuple[str, ...]:
    """What to look out for with this rig on a wide lens; nothing where the lens's angle is not known or not wide."""
    if sight is None or sight.degrees < WIDE:
        return ()
    said = []
    held = len(rig.slots) + (rig.front is not None) if rig.holder_on else 0
    if len(rig.threads) > 1 or held > 2:
        said.append("look at the corners: this stack may darken them")
    variable = next((piece for f in rig.on_lens if (piece := kit.filter(f)).kind == "variable_nd"), None)
    if variable is not None and rig.turned is not None and variable.positions[-1] - rig.turned < NEAR_DARK_END:
        said.append("look for a cross: the variable ND is near its dark end")
    return tuple(said)
