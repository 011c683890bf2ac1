"""
The light at the moment it is used: a reading carried there, and how far it can be trusted.

The limits of trust are common practice, with no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from .daylight import Forecast, Known, Sky, Spot, forecast, sun_and_sky
from .light import EV100_BRIGHTEST, EV100_DIMMEST, INCIDENT_C, NUDGE_STOPS, Light
from .sun import SUN_GONE, Site, instant, sun_height

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from numpy.typing import NDArray

Trust = Literal["fresh", "forecast", "stale"]
Doubt = Literal["", "sky", "unnoted", "set", "risen", "season", "nowhere", "bright", "dim"]

FRESH_FOR = timedelta(minutes=20)
FRESH_DRIFT = NUDGE_STOPS  # stops
LAMPS_FRESH_FOR = timedelta(hours=12)  # lamps are dimmed and switched, if not by the sun
SEASON = 45  # days in the year's round: leaves come and fall, and the sun goes behind another roof
TOO_DIM = 6.0  # stops under what an overcast sky gives; below a yew or in a porch it is dark, but not so dark
DIM_FROM = 10.0  # degrees of sun; lower down the light changes too fast to say
TOO_BRIGHT = 2.0  # stops over what a clear sky and a facing sun give: snow and white walls do that
AT_ONCE = 100  # readings with a time of their own that are carried in one pass
SKY_UNKNOWN: Sky = "partly"  # the middle one, for a reading whose sky was not noted


@dataclass(frozen=True, slots=True)
class Read:
    """
    A reading, and the shooter's correction of it.

    ev100  [stops]  at read_at (aware);  sky  as it stood then, where it was noted;  nudge  [clicks]
    Raises OutOfRange for a time that cannot be.
    """

    spot: Spot
    ev100: float
    read_at: datetime
    sky: Sky | None
    nudge: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "read_at", instant("read_at", self.read_at))

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
    trust      fresh, forecast or stale;  doubt  why it is stale: the "sky" has changed, or was not noted
               ("unnoted"), the sun has "set" or "risen", another "season", no coordinates ("nowhere"), brighter than
               sun and sky can make it ("bright"), darker than any sky leaves it ("dim")
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
    return levels_then(site, readings, [at] * len(readings), sky_now)


def levels_then(
    site: Site | None, readings: Sequence[Read], at: Sequence[datetime], sky_now: Sky | None = None
) -> list[Level]:
    """
    The light of each reading at a time of its own, in one pass; else as `levels`.

    at  one time for each reading;  sky_now  the sky that stands at all of them
    """
    asked = [(read, instant("at", time)) for read, time in zip(readings, at, strict=True)]
    if site is None:
        return [_without_a_site(read, time) for read, time in asked]
    # A pass is as wide as it is long; of many, most of it would be thrown away.
    some = [asked[start : start + AT_ONCE] for start in range(0, len(asked), AT_ONCE)]
    return [level for part in some for level in _levels_then(site, part, sky_now)]


def _levels_then(site: Site, asked: Sequence[tuple[Read, datetime]], sky_now: Sky | None) -> list[Level]:
    # A sky that was not noted is the one that stands just after.
    asked = [
        (replace(read, sky=sky_now) if read.sky is None and abs(time - read.read_at) <= FRESH_FOR else read, time)
        for read, time in asked
    ]
    column = {time: number for number, time in enumerate(dict.fromkeys(time for _, time in asked))}
    found = carried_to(site, [read for read, _ in asked], list(column), sky_now)
    mine = np.arange(len(asked)), [column[time] for _, time in asked]
    ev100, low, high = (part[mine].tolist() for part in (found.ev100, found.low, found.high))
    sun = found.sun_elevation[mine[1]].tolist()
    return [
        _level(read, there, least, most, *_trust(site, read, time, sky_now, there - read.ev100, sun_then))
        for (read, time), there, least, most, sun_then in zip(asked, ev100, low, high, sun, strict=True)
    ]


def carried_to(site: Site, readings: Sequence[Read], at: Sequence[datetime], sky_now: Sky | None = None) -> Forecast:
    """
    Readings carried to other times as far as they say anything about them, without their nudges.

    One that is brighter than the sun and the sky could make it says nothing about them: lamps, or a wrong time. It
    stays as it was read. No other is carried beyond what they can make.
    """
    found = forecast(site, [each.known for each in readings], at, sky_now)
    read = np.array([each.ev100 for each in readings])[:, None]
    said_nothing = np.array([_too_bright(site, each) for each in readings])[:, None]
    drifts = np.array([each.spot.drifts and each.spot.lamps == 0 for each in readings])[:, None]
    most = np.where(drifts, _brightest(found.sun_elevation) + TOO_BRIGHT, np.inf)
    ev100, low, high = (
        np.where(said_nothing, read, np.minimum(part, most)) for part in (found.ev100, found.low, found.high)
    )
    return replace(found, ev100=ev100, low=low, high=high)


def courses(site: Site, readings: Sequence[Read], at: Sequence[datetime], sky_now: Sky | None = None) -> Forecast:
    """The course of the light at each reading's place, as `carried_to`, but with the nudges."""
    found = carried_to(site, readings, at, sky_now)
    nudge = np.array([read.nudge * NUDGE_STOPS for read in readings])[:, None]
    ev100, low, high = (
        np.clip(part + nudge, EV100_DIMMEST, EV100_BRIGHTEST) for part in (found.ev100, found.low, found.high)
    )
    return replace(found, ev100=ev100, low=low, high=high)


def _level(read: Read, ev100: float, low: float, high: float, trust: Trust, doubt: Doubt) -> Level:
    nudge = read.nudge * NUDGE_STOPS
    level, low, high = (min(max(each + nudge, EV100_DIMMEST), EV100_BRIGHTEST) for each in (ev100, low, high))
    return Level(Light(level), low, high, ev100 - read.ev100, trust, doubt)


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
    if _too_bright(site, read):
        return "stale", "bright"
    if _too_dim(site, read):
        return "stale", "dim"
    sun_then = sun_height(site, read.read_at)
    if sky_now is not None and sky_now != read.sky:
        return "stale", "unnoted" if read.sky is None else "sky"
    if sun_then > -SUN_GONE >= sun_now:
        return "stale", "set"
    if sun_now > -SUN_GONE >= sun_then:
        return "stale", "risen"
    if _days_apart(read.read_at, at) > SEASON:
        return "stale", "season"
    if age <= FRESH_FOR and abs(drift) <= FRESH_DRIFT:
        return "fresh", ""
    return "forecast", ""


@lru_cache(maxsize=4096)
def _too_bright(site: Site, read: Read) -> bool:
    """Whether a reading is brighter than the sun and the sky could make it; lamps in it may do that."""
    if not read.spot.drifts or read.spot.lamps > 0:
        return False
    return read.ev100 > float(_brightest(np.array(sun_height(site, read.read_at)))) + TOO_BRIGHT


@lru_cache(maxsize=4096)
def _too_dim(site: Site, read: Read) -> bool:
    """Whether a reading in the open is darker than any sky leaves it; a window may be as small as it likes."""
    if read.spot.light not in ("sun", "shade") or read.spot.lamps > 0:
        return False
    sun = sun_height(site, read.read_at)
    _, of_sky = sun_and_sky(sun, "overcast")
    return sun > DIM_FROM and read.ev100 < float(np.log2(of_sky * 100 / INCIDENT_C)) - TOO_DIM


def _brightest(elevation: NDArray[np.float64]) -> NDArray[np.float64]:
    """The most that a clear sky and a sun that is faced can give [stops], by the sun's elevation [degrees]."""
    beam, of_sky = sun_and_sky(elevation, "clear")
    most: NDArray[np.float64] = np.log2((beam + of_sky) * 100 / INCIDENT_C)
    return most


def _days_apart(one: datetime, other: datetime) -> int:
    """How far apart two dates lie in the year's round [days], whatever the years."""
    # The last day of February stands in for a leap day in a year that has none.
    day = min(one.day, 28) if one.month == 2 else one.day
    near = (one.replace(year=other.year + years, day=day) for years in (-1, 0, 1))
    return min(abs((each.date() - other.date()).days) for each in near)
