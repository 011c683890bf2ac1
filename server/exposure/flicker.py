"""
Flicker: which shutters and frame rates are steady under lamps on the mains, and what nobody can promise.

A lamp on the mains pulses at twice its frequency, 100 or 120 times a second. A shutter that holds whole pulses takes
the same light in every frame, and on every line of a rolling shutter. Any other one takes the same light only where
the frames keep step with the pulses. Held to published figures in tests/published/test_flicker.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

from server.language import noted, say

from .refused import OutOfRange, within
from .scales import FRAMES_FEWEST, FRAMES_MOST, shutter_time

Mains = Literal[50, 60]

MAINS: tuple[Mains, ...] = get_args(Mains)  # Hz

# The share of the lamp's swing that may be left. Beside a safe time it is how far off the time is: 0.02 is 2 %. So the
# true times of a third-stop dial pass beside 1/50, 1/100 and 1/25, which they miss by 1.6 %; 1/48 under 50 Hz, which is
# 4 % off, does not. Even a lamp that goes dark between its pulses then keeps within 0.03 stop, log2 of 1.02.
RIPPLE_MOST = 0.02
# A band that takes a minute to roll through is not seen to move in a shot. Common practice, no source: the mains
# themselves stray by more. 23.976 frames a second under 60 Hz roll in 8.3 s, and are seen.
BEAT_MOST = 1 / 60  # Hz

# Common practice, no source. Each is two lines on a phone at most.
NOT_KNOWN = (
    noted("LED panels and walls may pulse at any rate: no shutter is sure to be safe."),
    noted("Dimmers cut the wave: a lamp that is steady may pulse when it is dimmed."),
)
TEST_ON_THE_SPOT = (
    noted("Film a few seconds at the shutter and frame rate that you'll use."),
    noted("Play it back: look for rolling bands and for pulsing."),
    noted("Turn the dimmer through its range, and look again."),
    noted("If it shows, try another time."),
)


@dataclass(frozen=True, slots=True)
class SteadyTime:
    """
    An exposure time that holds whole pulses.

    seconds [s];  angle [degrees] of the shutter at the frame rate that was asked for, 360 being the whole frame
    """

    seconds: float
    angle: float


def mains_frequency(came: int, field: str = "mains") -> Mains:
    """The same number [Hz], known to be one that mains have. Raises OutOfRange for any other."""
    for known in MAINS:
        if came == known:
            return known
    raise OutOfRange(field, came, say("50 or 60 Hz"))


def ripple(shutter: float, mains: int) -> float:
    """
    The share of a lamp's own swing that is left in the picture: from frame to frame, and as bands inside one frame
    where the shutter rolls. 0: none of it; near 1: all of it.

    shutter  [s]   the true exposure time. Video cameras run the marked one; a still camera's 1/60 is 1/64
    mains    [Hz]  MAINS
    returns        |sin(pi 2f t) / (pi 2f t)|, no unit: how a mean over the time t shrinks a wave of 2f

    A lamp that swings by 30 % about its mean leaves 0.3 times this. Raises OutOfRange for other mains, and for times
    outside SHUTTER_SHORTEST to SHUTTER_LONGEST. Source: the mean of a sine wave over a time, worked out; lamps pulse at
    twice the mains by dial.de.

    >>> round(ripple(1 / 48, 50), 4), round(ripple(1 / 50, 50), 4)
    (0.0395, 0.0)
    """
    turns = math.pi * 2 * mains_frequency(mains) * shutter_time(shutter)
    return abs(math.sin(turns) / turns)


def is_steady(shutter: float, mains: int) -> bool:
    """
    Whether lamps on these mains [Hz] leave at most RIPPLE_MOST of their swing in a picture of this time [s].

    Raises OutOfRange as `ripple`.

    >>> is_steady(1 / 50, 50), is_steady(1 / 48, 50), is_steady(1 / 50, 60)
    (True, False, False)
    """
    return ripple(shutter, mains) <= RIPPLE_MOST


def steady_times(mains: int, frame_rate: float) -> tuple[SteadyTime, ...]:
    """
    The times n/(2f) that are not longer than one frame, longest first; none where a frame is shorter than a pulse.

    mains       [Hz]   MAINS
    frame_rate  [1/s]  frames a second; the angle of a time t is 360 fps t
    Raises OutOfRange for other mains, and for frame rates outside FRAMES_FEWEST to FRAMES_MOST.
    Source: the cinematographic formula of the encyclopedic article "Shutter speed".

    >>> [(round(1 / time.seconds), round(time.angle)) for time in steady_times(50, 25)]
    [(25, 360), (33, 270), (50, 180), (100, 90)]
    """
    pulses = _pulses(mains)
    most = math.floor(pulses / _frames(frame_rate) + 1e-9)  # 50 frames of 1/50 s are not cut short by a last digit
    return tuple(SteadyTime(n / pulses, min(360.0, 360 * frame_rate * n / pulses)) for n in range(most, 0, -1))


def nearest_steady(shutter: float, mains: int) -> tuple[float, ...]:
    """
    The times n/(2f) [s] on either side of this one [s], shorter first; the time alone where it is one of them.

    Raises OutOfRange as `ripple`.

    >>> nearest_steady(1 / 48, 60) == (1 / 60, 1 / 40), nearest_steady(1 / 1000, 50) == (1 / 100,)
    (True, True)
    """
    pulses = _pulses(mains)
    held = shutter_time(shutter) * pulses
    if math.isclose(held, round(held)):
        return (round(held) / pulses,)
    return tuple(n / pulses for n in (math.floor(held), math.ceil(held)) if n)


def beat(frame_rate: float, mains: int) -> float:
    """
    How often in a second the brightness, or a band, comes round where the shutter lets ripple through [Hz].

    frame_rate [1/s];  mains [Hz]. The smallest |2f - k fps| of any whole k: what sampling makes of a wave of 2f. At 0
    every frame catches the same part of the pulses. Raises OutOfRange as `steady_times`. Source: the sampling theorem.

    >>> round(1 / beat(23.976, 60), 1)  # s
    8.3
    """
    pulses, frames = _pulses(mains), _frames(frame_rate)
    return abs(math.remainder(pulses, frames))


def steady_rate(frame_rate: float, mains: int) -> bool:
    """
    Whether every frame catches the same part of the pulses, so that no shutter pulses: 2f is a whole multiple of it.

    Counted as such where the beat rolls through in a minute or more (BEAT_MOST). The bands of a rolling shutter stand
    still then; they are not gone. Raises OutOfRange as `beat`.

    >>> steady_rate(25, 50), steady_rate(24, 50), steady_rate(30, 60), steady_rate(29.97, 60)
    (True, False, True, False)
    """
    return beat(frame_rate, mains) <= BEAT_MOST


def _pulses(mains: int) -> int:
    """The pulses of a lamp in a second."""
    return 2 * mains_frequency(mains)


def _frames(frame_rate: float) -> float:
    within("frame_rate", frame_rate, FRAMES_FEWEST, FRAMES_MOST, noted("frames a second"))
    return frame_rate
