"""
The light at the moment it is used: a reading carried there, and how far it can be trusted.

The limits of trust are common practice, with no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Literal

import numpy as np

from .daylight import Forecast, Known, Sky, Spot, forecast, sun_and_sky
from .light import EV100_BRIGHTEST, EV100_DIMMEST, INCIDENT_C, NUDGE_STOPS, Light
from .sun import SUN_GONE, Site, sun_path

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

Trust = Literal["fresh", "forecast", "stale"]
Doubt = Literal["", "sky", "set", "risen", "season", "nowhere", "bright"]

FRESH_FOR = timedelta(minutes=20)
FRESH_DRIFT = NUDGE_STOPS  # stops
LAMPS_FRESH_FOR = timedelta(hours=12)  # lamps are dimmed and switched, if not by the sun
SEASON = 45  # days in the year's round: leaves come and fall, and the sun goes behind another roof
TOO_BRIGHT = 2.0  # stops over what a clear sky and a facing sun give: snow and white walls do that
SKY_UNKNOWN: Sky = "partly"  # the middle one, for a reading whose sky was not noted


@dataclass(frozen=True, slots=True)
class Read:
    """
    A reading, and the shooter's correction of it.

    ev100  [stops]  at read_at (aware);  sky  as it stood then, where it was noted;  nudge  [clicks]
    """

    spot: Spot
    ev100: float
    read_at: datetime
    sky: Sky | None
    nudge: int = 0

    @property
    def known(self) -> Known:
        """As a forecast needs it."""
        return Known(self.spot, self.ev100, self.read_at, self.sky or SKY_UNKNOWN)


@dataclass(frozen=True, slots=True)
class Level:
    """
    The light at the moment it is used.

    light      the forecast, with the nudge
    low, high  [stops]  what the sky may make of it, with the nudge
    drift      [stops]  the daylight's change since the reading, forecast; the nudge is not in it
    trust      fresh, forecast or stale;  doubt  why it is stale: the sky has changed, the sun has "set" or "risen"
               since, another season, no coordinates ("nowhere"), brighter than the sun can make it ("bright")
    """

    light: Light
    low: float
    high: float
    drift: float
    trust: Trust
    doubt: Doubt = ""


def levels(site: Site | None, readings: Sequence[Read], at: datetime, sky_now: Sky | None = None) -> list[Level]:
    """
    The light of each reading at one time, in one pass.

    site     where they were taken; None: not known, and what daylight does since cannot be
    sky_now  the sky that stands at that time, where somebody has said so
    """
    if site is None:
        return [_without_a_site(each, at) for each in readings]
    if not readings:
        return []
    found = forecast(site, [each.known for each in readings], [at], sky_now)
    (sun_now,) = found.sun_elevation.tolist()
    return [_level(site, each, at, sky_now, _Moment.of(found, row, sun_now)) for row, each in enumerate(readings)]


@dataclass(frozen=True, slots=True)
class _Moment:
    """One reading's forecast for one time [stops], and the sun's elevation then [degrees]."""

    ev100: float
    low: float
    high: float
    sun: float

    @classmethod
    def of(cls, found: Forecast, row: int, sun: float) -> _Moment:
        return cls(float(found.ev100[row, 0]), float(found.low[row, 0]), float(found.high[row, 0]), sun)


def _level(site: Site, read: Read, at: datetime, sky_now: Sky | None, there: _Moment) -> Level:
    drift = there.ev100 - read.ev100
    trust, doubt = _trust(site, read, at, sky_now, drift, there.sun)
    nudge = read.nudge * NUDGE_STOPS
    return Level(_held(there.ev100).nudged(read.nudge), there.low + nudge, there.high + nudge, drift, trust, doubt)


def _held(ev100: float) -> Light:
    """A forecast as a light level, held at the ends of what may be."""
    return Light(min(max(ev100, EV100_DIMMEST), EV100_BRIGHTEST))


def _without_a_site(read: Read, at: datetime) -> Level:
    fresh_for = FRESH_FOR if read.spot.drifts else LAMPS_FRESH_FOR
    fresh = abs(at - read.read_at) <= fresh_for
    lost = read.spot.drifts and not fresh
    light = Light(read.ev100).nudged(read.nudge)
    trust: Trust = "fresh" if fresh else "stale" if lost else "forecast"
    return Level(light, light.ev100, light.ev100, 0.0, trust, "nowhere" if lost else "")


def _trust(
    site: Site, read: Read, at: datetime, sky_now: Sky | None, drift: float, sun_now: float
) -> tuple[Trust, Doubt]:
    age = abs(at - read.read_at)
    if not read.spot.drifts:
        return ("fresh" if age <= LAMPS_FRESH_FOR else "forecast"), ""
    (sun_then,), _ = sun_path(site, [read.read_at])
    if read.spot.lamps == 0 and read.ev100 > _brightest(float(sun_then)) + TOO_BRIGHT:
        return "stale", "bright"
    if sky_now is not None and read.sky is not None and sky_now != read.sky:
        return "stale", "sky"
    if sun_then > -SUN_GONE >= sun_now:
        return "stale", "set"
    if sun_now > -SUN_GONE >= sun_then:
        return "stale", "risen"
    if _days_apart(read.read_at, at) > SEASON:
        return "stale", "season"
    if age <= FRESH_FOR and abs(drift) <= FRESH_DRIFT:
        return "fresh", ""
    return "forecast", ""


def _brightest(sun: float) -> float:
    """The most that a clear sky and a sun that is faced can give [stops], by the sun's elevation [degrees]."""
    beam, of_sky = sun_and_sky(sun, "clear")
    return float(np.log2((beam + of_sky) * 100 / INCIDENT_C))


def _days_apart(one: datetime, other: datetime) -> int:
    """How far apart two dates lie in the year's round [days], whatever the years."""
    apart = abs(one.timetuple().tm_yday - other.timetuple().tm_yday)
    return min(apart, max(365 - apart, 0))
