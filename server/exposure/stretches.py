"""
Which glass keeps the look in each stretch of a day: the light's steps cut into the fewest runs that one setup serves.

A setup serves a step where it gets the best picture that the whole kit allows there (`moves.best_pictures`); iris, ISO
and shutter may follow the light within a run, the glass may not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from server.language import say

from .light import Light
from .moves import best_pictures
from .refused import OutOfRange

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .moves import Pictures
    from .rig import Kit, Look

LEVELS_A_STOP = 20  # a level is asked to the nearest 0.05 EV: less than a reading is good for, and many steps share one
STEPS_MOST = 400


@dataclass(frozen=True, slots=True)
class Stretch:
    """
    A run of steps, and the glass for it.

    start, stop  the first step, and the one after the last
    filters      ids of what is in front of the lens, in the kit's order: what the look wears included
    built_in     [stops]  the built-in step
    turned       [stops]  what a variable ND is turned to; None without one
    miss         [stops]  the largest error beyond the look's tolerance; > 0 is too bright, 0: the exposure is kept
    off_look     [stops]  the furthest that the iris leaves the look's window; with a miss of 0 too, the look is kept
    """

    start: int
    stop: int
    filters: tuple[str, ...]
    built_in: float
    turned: float | None
    miss: float
    off_look: float


def stretches(kit: Kit, look: Look, ev100: Sequence[float]) -> tuple[Stretch, ...]:
    """
    The steps of a day, in order, in the fewest runs that one setup serves from end to end, with the look kept at every
    step of a run or missed at every one: a night that is too dark says nothing against the day before it.

    ev100  [stops]  the light at equal steps of time (steps,), each taken to the nearest 0.05 EV

    Every run reaches as far as any setup carries it from its start. That is the fewest: a setup that serves a run also
    serves every part of it, so a cut that ends its first run earlier can put the end off to there with no run more, and
    each run after it in turn. Of the setups that carry a run to its end: the fewest filters on the lens, then the kit's
    order.

    Raises OutOfRange for more than STEPS_MOST, for light that there is not, and as `best_pictures`.
    """
    if len(ev100) > STEPS_MOST:
        raise OutOfRange("ev100", say("{count} steps", count=len(ev100)), say("at most {most}", most=STEPS_MOST))
    levels = [round(Light(each).ev100 * LEVELS_A_STOP) for each in ev100]
    if not levels:
        return ()
    different = sorted(set(levels))
    found = best_pictures(kit, [(Light(level / LEVELS_A_STOP), look) for level in different])
    pictures = dict(zip(different, found, strict=True))
    serves = {level: _serves(picture) for level, picture in pictures.items()}
    kept = {level: picture.parts[:2] == (0, 0) for level, picture in pictures.items()}
    runs: list[Stretch] = []
    start, able = 0, serves[levels[0]]
    for step, level in enumerate(levels):
        both = able & serves[level]
        if not both.any() or kept[level] != kept[levels[start]]:
            runs.append(_stretch(kit, [pictures[each] for each in levels[start:step]], start, able))
            start, both = step, serves[level]
        able = both
    runs.append(_stretch(kit, [pictures[each] for each in levels[start:]], start, able))
    return tuple(runs)


def _serves(picture: Pictures) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Of every setup, whether it gets this picture."""
    serves = np.zeros(len(picture.setups.stops), dtype=bool)
    serves[picture.able] = True
    return serves


def _stretch(
    kit: Kit, pictures: Sequence[Pictures], start: int, able: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> Stretch:
    """The run of these pictures, with the first of the setups that get them all."""
    way = int(np.argmax(able))
    setups = pictures[0].setups
    clicks = kit.body.clicks_per_stop
    return Stretch(
        start=start,
        stop=start + len(pictures),
        filters=tuple(kit.filters[number].id for number in np.flatnonzero(setups.on[way])),
        built_in=kit.body.built_in_nd[setups.built_in[way]],
        turned=float(setups.turned[way]) if setups.variable[way] >= 0 else None,
        miss=max((_miss(picture, way) for picture in pictures), key=abs) / clicks,
        off_look=max(picture.parts[1] for picture in pictures) / clicks,
    )


def _miss(picture: Pictures, way: int) -> float:
    """What a setup misses [clicks], above 0 too bright."""
    miss = picture.parts[0]
    return miss if picture.too_bright[np.searchsorted(picture.able, way)] else -miss
