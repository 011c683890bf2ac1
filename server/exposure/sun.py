"""
Where the sun stands: its height and bearing, when it crosses a height, and where it leaves the sky darkest.

Its place is worked out by the ephem library, to a thousandth of a degree, and held to NREL's worked example, to
skyfield's figures and to astral in tests/published/test_sun.py. Heights are geometric, without refraction, unless a
name says apparent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import ephem
import numpy as np

from server.language import noted, say

from .refused import OutOfRange, within

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

FIRST_YEAR, LAST_YEAR = 1950, 2150  # where the ephemeris and a recce both make sense

SUN_GONE = 0.833  # degrees below the horizon: 34' of refraction and 16' of the sun's half width. USNO's definition
SUN_RADIUS = 16 / 60  # degrees
EventKind = Literal["nautical_dawn", "civil_dawn", "sunrise", "sunset", "civil_dusk", "nautical_dusk"]
EVENTS: dict[float, tuple[EventKind, EventKind]] = {  # height [degrees]: what it is called on the way up, and down
    -12.0: ("nautical_dawn", "nautical_dusk"),
    -6.0: ("civil_dawn", "civil_dusk"),
    -SUN_GONE: ("sunrise", "sunset"),
}
_STEP = timedelta(minutes=5)  # a sun that is up for less than this, at the edge of a polar night, is not found


@dataclass(frozen=True, slots=True)
class Site:
    """Where a venue lies. latitude, longitude [degrees], north and east positive. Raises OutOfRange off the globe."""

    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        within("latitude", self.latitude, -90, 90, noted("degrees"))
        within("longitude", self.longitude, -180, 180, noted("degrees"))


@dataclass(frozen=True, slots=True)
class SunEvent:
    """A moment of the sun's day, and what it is called."""

    at: datetime
    kind: EventKind


@dataclass(frozen=True, slots=True)
class SunDay:
    """A day's dawns, sunrise, sunset and dusks in order; never: the sun stays "up" or "down" all day, "" otherwise."""

    events: tuple[SunEvent, ...]
    never: Literal["", "up", "down"]


def instant(field: str, came: datetime) -> datetime:
    """The same moment in UTC. Raises OutOfRange for one without its offset, or outside FIRST_YEAR to LAST_YEAR."""
    if came.tzinfo is None:
        raise OutOfRange(field, came.isoformat(), say("a time with its offset from UTC"))
    within(field, came.year, FIRST_YEAR, LAST_YEAR)
    return came.astimezone(UTC)


def check_date(field: str, on: date) -> None:
    """Raises OutOfRange for a date whose sun is not worked out, at any place on the globe."""
    within(field, on.year, FIRST_YEAR + 1, LAST_YEAR - 1, "")


def sun_path(site: Site, times: Sequence[datetime]) -> tuple[Floats, Floats]:
    """
    The height of the sun's centre [degrees], geometric, and its bearing [degrees] from north over east.

    times  aware, FIRST_YEAR to LAST_YEAR;  returns two arrays (times,). Raises OutOfRange for any other time.
    """
    watcher = ephem.Observer()
    watcher.lat, watcher.lon = math.radians(site.latitude), math.radians(site.longitude)
    watcher.pressure = 0  # no refraction
    sun = ephem.Sun()
    found = np.empty((2, len(times)))
    for number, time in enumerate(times):
        watcher.date = instant("at", time).replace(tzinfo=None)
        sun.compute(watcher)
        found[:, number] = sun.alt, sun.az
    elevation, bearing = np.degrees(found)
    return elevation, bearing


@lru_cache(maxsize=4096)
def sun_height(site: Site, moment: datetime) -> float:
    """The height of the sun's centre [degrees], geometric, at one moment in UTC. Remembered: every tap asks again."""
    (elevation, *_), _ = sun_path(site, [moment])
    return float(elevation)


def refraction(elevation: Floats) -> Floats:
    """
    How much higher the sun seems than it stands [degrees], by its geometric height, down to a degree under the horizon.

    Source: Meeus, Astronomical Algorithms, 16.4, from memory.

    >>> round(float(refraction(np.array(0.0))), 2)
    0.48
    """
    h = np.maximum(elevation, -1.0)
    lifted: Floats = 1.02 / 60 / np.tan(np.radians(h + 10.3 / (h + 5.11)))
    return np.maximum(lifted, 0.0)


def horizon(bearing: Floats, over: Floats | float, behind: Floats | float) -> Floats:
    """
    How high the horizon stands [degrees] under a sun at this bearing [degrees].

    over, behind  [degrees]  in the east, where the sun comes up, and in the west, where it goes
    It changes from the one to the other around north and south, so that no light jumps as the sun passes there.
    """
    east = np.clip(np.sin(np.radians(bearing)) / math.sin(math.radians(_TURNS_WITHIN)), -1.0, 1.0)
    height: Floats = behind + (over - behind) * (1 + east) / 2
    return height


_TURNS_WITHIN = 20.0  # degrees to either side of north and south


def crossings(site: Site, start: datetime, stop: datetime, height: float) -> list[tuple[datetime, bool]]:
    """
    When the sun's centre passes a geometric height [degrees], to a second, and whether on its way up; in order, in UTC.

    start, stop  aware times, at most two days apart. Raises OutOfRange for any other.
    """
    return _passings(site, start, stop, lambda elevation, _: elevation - height)


def direct_light(
    site: Site, start: datetime, stop: datetime, over: float = 0.0, behind: float = 0.0, faces: float | None = None
) -> list[tuple[datetime, bool]]:
    """
    When the sun's last light leaves, or its first comes (True), over a horizon that is level or raised; in UTC.

    over, behind  [degrees]  how high the horizon stands where the sun comes up, and where it goes
    faces         [degrees]  the bearing of a window, which has the sun only while it stands before it; None: no window
    A raised horizon is as high as the sun seems there, refraction counted, and the upper limb is what is seen of it.
    """

    def clear(elevation: Floats, bearing: Floats) -> Floats:
        """How far the upper limb stands over the horizon [degrees]."""
        raised, limb = horizon(bearing, over, behind), elevation + SUN_RADIUS
        shows = np.where(raised > 0, limb + refraction(limb) - raised, elevation + SUN_GONE)
        return shows if faces is None else np.minimum(shows, np.cos(np.radians(bearing - faces)))

    return _passings(site, start, stop, clear)


def _passings(
    site: Site, start: datetime, stop: datetime, clear: Callable[[Floats, Floats], Floats]
) -> list[tuple[datetime, bool]]:
    """When what is asked about the sun's height and bearing changes its sign, and whether it becomes positive."""
    # By the clock of a zone, hours would be left out and counted twice where it changes.
    start, stop = instant("start", start), instant("stop", stop)
    within("stop", (stop - start) / timedelta(hours=1), 0, 48, noted("hours after the start"))
    count = math.ceil((stop - start) / _STEP)
    times = [min(start + number * _STEP, stop) for number in range(count + 1)]
    up = clear(*sun_path(site, times)) > 0
    found = []
    for number in np.flatnonzero(up[1:] != up[:-1]).tolist():
        before, after = times[number], times[number + 1]
        while after - before > timedelta(seconds=1):
            middle = before + (after - before) / 2
            if bool(clear(*sun_path(site, [middle]))[0] > 0) == bool(up[number]):
                before = middle
            else:
                after = middle
        found.append((before + (after - before) / 2, bool(up[number + 1])))
    return found


def sun_day(site: Site, start: datetime, stop: datetime) -> SunDay:
    """
    The sun's moments between two times, a local day as a rule, on a level horizon and on the clock of start.

    Sunrise and sunset are the upper limb's (centre at -0.833 degrees); civil and nautical twilight end at -6 and -12.
    Source: USNO, Rise, Set, and Twilight Definitions.
    """
    found = _sun_day(site, instant("start", start), instant("stop", stop))
    return SunDay(tuple(SunEvent(each.at.astimezone(start.tzinfo), each.kind) for each in found.events), found.never)


@lru_cache(maxsize=512)
def _sun_day(site: Site, start: datetime, stop: datetime) -> SunDay:
    """The same in UTC: two clocks that name one moment must not share an answer on either."""
    found = [
        SunEvent(at, EVENTS[height][0 if rises else 1])
        for height in EVENTS
        for at, rises in crossings(site, start, stop, height)
    ]
    never: Literal["", "up", "down"] = ""
    if not any(event.kind in ("sunrise", "sunset") for event in found):
        (first, *_), _ = sun_path(site, [start])
        never = "up" if first > -SUN_GONE else "down"
    return SunDay(tuple(sorted(found, key=lambda event: event.at)), never)


@dataclass(frozen=True, slots=True)
class BlueSky:
    """
    Where a polariser darkens a clear sky most: 90 degrees from the sun.

    left, right  [degrees]  bearings where that band meets the horizon
    top          [degrees]  how high it stands, opposite the sun;  top_bearing  [degrees]  where
    """

    left: float
    right: float
    top: float
    top_bearing: float


def blue_sky(elevation: float, bearing: float) -> BlueSky | None:
    """
    The band of sky 90 degrees from the sun, by its elevation and bearing [degrees]; None once it has set.

    Scattered light is polarised most at a right angle to the sun's rays: Rayleigh scattering, 1871.

    >>> blue_sky(30, 200)
    BlueSky(left=110, right=290, top=60, top_bearing=20)
    """
    if elevation < -SUN_GONE:
        return None
    return BlueSky((bearing - 90) % 360, (bearing + 90) % 360, 90 - max(elevation, 0), (bearing + 180) % 360)


COMPASS = (
    noted("north"), noted("north-east"), noted("east"), noted("south-east"),
    noted("south"), noted("south-west"), noted("west"), noted("north-west"),
)  # fmt: skip


def compass(bearing: float) -> str:
    """
    The nearest of eight directions.

    >>> compass(338), compass(200)
    ('north', 'south')
    """
    return say(COMPASS[round(bearing / 45) % 8])
