"""
Light levels, and the ways to read one.

Everything becomes `ev100` [stops], the log2(N^2/t) that exposes the subject correctly at ISO 100.
Sources: ISO 2720:1974 (C = 250, K = 12.5) and APEX (ASA PH2.5-1960). Checked in tests/published/.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from server.language import noted

from .refused import within
from .scales import (
    F_NUMBER_SMALLEST,
    F_NUMBER_WIDEST,
    ISO_HIGHEST,
    ISO_LOWEST,
    exact_f_number,
    exact_iso,
    iso_position,
    shutter_time,
)

# Starlight on dark ground is about EV -12; the sun's own disc, 1.6e9 cd/m2, is EV 33.6.
EV100_DIMMEST, EV100_BRIGHTEST = -16.0, 36.0
STARLIGHT, SUN_DISC = -12.0, 33.6  # stops; nobody meters beyond them

INCIDENT_C = 250.0  # lx s, flat receptor: ISO 2720:1974
REFLECTED_K = 12.5  # cd/m2 s: ISO 2720:1974

NUDGE_STOPS = 1 / 3  # stops/click: a nudge counts in thirds on every dial, as meters and readings do


@dataclass(frozen=True, slots=True)
class Light:
    """A light level. ev100 [stops]: the log2(N^2/t) that exposes it correctly at ISO 100."""

    ev100: float

    def __post_init__(self) -> None:
        within("ev100", self.ev100, EV100_DIMMEST, EV100_BRIGHTEST, noted("stops"))

    def nudged(self, clicks: int) -> Light:
        """
        The same place after the shooter's correction; + is brighter. Held at the ends of what may be.

        >>> Light(9.0).nudged(-3)
        Light(ev100=8.0)
        """
        ev100 = self.ev100 + clicks * NUDGE_STOPS
        return Light(min(max(ev100, EV100_DIMMEST), EV100_BRIGHTEST))

    @property
    def lux(self) -> float:
        """
        What a flat receptor reads in this light [lx]; 2^EV C/100, ISO 2720:1974.

        >>> Light(8.0).lux
        640.0
        """
        return math.exp2(self.ev100) * INCIDENT_C / 100


def from_ev(value: float, iso: float = 100) -> Light:
    """
    A meter's EV. value [stops] at the ISO [speed] the meter was set to.

    >>> from_ev(15, iso=400).ev100
    13.0
    """
    within("value", value, -30, 60, "EV")
    return Light(value - iso_position(iso) / 3)


def from_lux(value: float) -> Light:
    """
    Incident light on a flat receptor. value [lx]; log2(E 100/C), ISO 2720:1974.

    >>> from_lux(640).ev100
    8.0
    """
    within("value", value, 1e-4, 1e9, "lx")
    return Light(math.log2(value * 100 / INCIDENT_C))


def from_luminance(value: float) -> Light:
    """
    Reflected light. value [cd/m2]; log2(L 100/K), ISO 2720:1974.

    >>> from_luminance(64).ev100
    9.0
    """
    within("value", value, 1e-5, 5e9, "cd/m²")
    return Light(math.log2(value * 100 / REFLECTED_K))


def from_camera(aperture: float, shutter: float, iso: float, filter_stops: float = 0, meter: float = 0) -> Light:
    """
    The camera's own settings as a light meter.

    aperture      [f-number]  as marked
    shutter       [s]
    iso           [speed]     as marked
    filter_stops  [stops]     of everything on the lens, its own loss included
    meter         [stops]     what the camera's meter shows; +1: the picture would be one stop too bright

    Source: APEX. f/16, 1/125 s at ISO 100 is sunny ground:

    >>> round(from_camera(16, 1 / 125, 100).ev100, 2)
    14.97
    """
    within("filter_stops", filter_stops, 0, 40, noted("stops"))
    within("meter", meter, -20, 20, noted("stops"))
    settings = math.log2(exact_f_number(aperture) ** 2 / shutter_time(shutter)) - math.log2(exact_iso(iso) / 100)
    return Light(settings + filter_stops + meter)


def from_photo(
    aperture: float, shutter: float, iso: float, bias: float = 0, filter_stops: float = 0, meter: float = 0
) -> Light:
    """
    A photo's Exif figures as a light meter: log2(N^2/t) - log2(S/100) + bias.

    aperture      [f-number]  FNumber, or 2^(Av/2) of ApertureValue
    shutter       [s]         ExposureTime, or 2^-Tv of ShutterSpeedValue
    iso           [speed]     PhotographicSensitivity
    bias          [stops]     ExposureBiasValue; +1: the camera was told to expose one stop more than it metered
    filter_stops  [stops]     of everything in front of the lens
    meter         [stops]     how many stops too bright the picture looks

    The figures are exact as they stand: nothing is moved to a mark, a phone's f/1.78 is no f/1.8.
    Sources: Exif 2.32 (CIPA DC-008-2019) for the tags, APEX for the sum. Checked in tests/published/test_exif.py.

    >>> round(from_photo(1.8, 1 / 120, 64).ev100, 4)
    9.2467
    """
    within("aperture", aperture, F_NUMBER_WIDEST, F_NUMBER_SMALLEST)
    within("iso", iso, ISO_LOWEST, ISO_HIGHEST)
    within("bias", bias, -20, 20, noted("stops"))
    within("filter_stops", filter_stops, 0, 40, noted("stops"))
    within("meter", meter, -20, 20, noted("stops"))
    settings = math.log2(aperture**2 / shutter_time(shutter)) - math.log2(iso / 100)
    return Light(settings + bias + filter_stops + meter)
