"""
Daylight: where the sun stands, what it and the sky give, and how a reading drifts from one time to another.

Drift is a ratio of two model values, so every meter's constants cancel: ev100(t) = ev100(read) + log2(M(t) / M(read)).
M is built from published models only:

- the IES daylight availability equations (IES RP-21, J. Illum. Eng. Soc. 13(4), 1984; IESNA Lighting Handbook, 9th ed.)
  for the sun's normal illuminance and the sky's on the level, clear, partly cloudy and overcast; the partly cloudy
  sky's constants are from memory;
- the air mass by Kasten and Young (Applied Optics 28, 4735, 1989), over the apparent altitude;
- below the horizon, the natural illuminance polynomial of the Explanatory Supplement to the Astronomical Almanac.

Between the horizon and 15 degrees the two are blended, since they part by up to a stop there and a switch would show.
The sun's place is worked out by the ephem library. Checked in tests/published/test_daylight.py and test_sun.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Literal, get_args

import ephem
import numpy as np

from .light import EV100_BRIGHTEST, EV100_DIMMEST
from .refused import OutOfRange, within

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

Sky = Literal["clear", "partly", "overcast"]
LightKind = Literal["sun", "shade", "window", "lamps"]
LitFrom = Literal["front", "side", "back", "above"]

SKIES: tuple[Sky, ...] = get_args(Sky)
TIMES_MOST = 5000
FIRST_YEAR, LAST_YEAR = 1950, 2150  # where the ephemeris and a recce both make sense

SOLAR_ILLUMINANCE = 127_500.0  # lx beyond the air, at the mean distance: IES
_EXTINCTION: dict[Sky, float] = {"clear": 0.21, "partly": 0.80, "overcast": math.inf}  # IES; overcast has no beam
_SKY: dict[Sky, tuple[float, float, float]] = {  # klx: A + B sin(h)^C. IES
    "clear": (0.80, 15.5, 0.5),
    "partly": (0.30, 45.0, 1.0),  # from memory
    "overcast": (0.30, 21.0, 1.0),
}
_TWILIGHT = (  # upper end [degrees], then log10 lx = l0 + l1 x + l2 x^2 + l3 x^3, x = h/90. Explanatory Supplement
    (-12.0, (13.84, 262.72, 1447.42, 2797.93)),
    (-5.0, (2.70, 12.17, -431.69, -1899.83)),
    (-0.8, (2.88, 21.81, -258.11, -858.36)),
    (5.0, (2.88, 22.26, -207.64, 1034.30)),
    (20.0, (3.05, 13.28, -45.98, 64.33)),
    (90.0, (3.74, 3.97, -4.07, 1.47)),
)
DARKEST = -18.0  # degrees; below it nothing of the sun is left, and the level is held
BLENDED_FROM = 15.0  # degrees
SUN_GONE = 0.833  # degrees below the horizon: refraction and the sun's half width

HALF_STOP, WHOLE_STOP = 0.5, 1.0  # by how much published models differ, under a clear sky and under cloud


@dataclass(frozen=True, slots=True)
class Spot:
    """
    A place under the sky.

    latitude, longitude  [degrees]  north and east positive
    light                what lights it;  lit_from  where the sun stands to whom it lights, for open sun
    """

    latitude: float
    longitude: float
    light: LightKind
    lit_from: LitFrom = "side"

    def __post_init__(self) -> None:
        within("latitude", self.latitude, -90, 90, "degrees")
        within("longitude", self.longitude, -180, 180, "degrees")
        if self.light not in get_args(LightKind):
            raise OutOfRange("light", self.light, ", ".join(get_args(LightKind)))
        if self.lit_from not in get_args(LitFrom):
            raise OutOfRange("lit_from", self.lit_from, ", ".join(get_args(LitFrom)))


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """The light at each time asked for: ev100, and the low and high of what the sky may do [stops] (times,)."""

    ev100: Floats
    low: Floats
    high: Floats
    sun_elevation: Floats


def sun_elevation(latitude: float, longitude: float, times: Sequence[datetime]) -> Floats:
    """
    How high the sun's centre stands [degrees], geometric, as seen from the ground, without refraction.

    times  aware, FIRST_YEAR to LAST_YEAR;  returns (times,). Raises OutOfRange for any other time.
    """
    watcher = ephem.Observer()
    watcher.lat, watcher.lon = math.radians(latitude), math.radians(longitude)
    watcher.pressure = 0  # no refraction
    sun = ephem.Sun()
    found = np.empty(len(times))
    for number, time in enumerate(times):
        if time.tzinfo is None:
            raise OutOfRange("at", time.isoformat(), "a time with its offset from UTC")
        within("at", time.year, FIRST_YEAR, LAST_YEAR)
        watcher.date = time.astimezone(UTC).replace(tzinfo=None)
        sun.compute(watcher)
        found[number] = math.degrees(sun.alt)
    return found


def air_mass(apparent: ArrayLike) -> Floats:
    """
    The air that the sun's light goes through, 1 at the zenith, by its apparent altitude [degrees].

    Source: Kasten and Young 1989.

    >>> round(float(air_mass(30.0)), 4)
    1.9943
    """
    h = np.asarray(apparent, dtype=np.float64)
    air: Floats = 1 / (np.sin(np.radians(h)) + 0.50572 * (h + 6.07995) ** -1.6364)
    return air


def twilight(elevation: ArrayLike) -> Floats:
    """
    The level illuminance of sun and clear sky [lx] by the sun's true elevation [degrees]. Explanatory Supplement.

    >>> round(float(twilight(-6.0)), 3)
    3.412
    """
    h = np.clip(np.asarray(elevation, dtype=np.float64), DARKEST, 90.0)
    x = h / 90
    ends = [end for end, _ in _TWILIGHT]
    terms = np.array([coefficients for _, coefficients in _TWILIGHT])[np.searchsorted(ends[:-1], h, side="right")]
    log10 = terms[..., 0] + x * (terms[..., 1] + x * (terms[..., 2] + x * terms[..., 3]))
    lux: Floats = 10.0**log10
    return lux


def sun_and_sky(elevation: ArrayLike, sky: Sky, day_of_year: ArrayLike = 2) -> tuple[Floats, Floats]:
    """
    What sun and sky give.

    elevation    [degrees]  the sun's true elevation, any shape;  day_of_year  1 to 366, for the sun's distance
    returns      [lx]       the sun's illuminance on a plane that faces it, and the sky's on a level plane

    Continuous from noon through sunset and twilight; see the module for its sources.
    """
    h = np.asarray(elevation, dtype=np.float64)
    distance = 1 + 0.034 * np.cos(2 * np.pi / 365 * (np.asarray(day_of_year, dtype=np.float64) - 2))
    beam = _beam(h, sky) * distance
    level = _beam(h, sky) * np.sin(np.radians(np.maximum(h, 0.0)))
    of_night = np.maximum(twilight(h) * _cloud(sky) - level, 1e-6)
    share = np.clip(h / BLENDED_FROM, 0.0, 1.0)
    share = share * share * (3 - 2 * share)
    of_sky: Floats = _sky(h, sky) ** share * of_night ** (1 - share)
    return beam, of_sky


def _beam(h: Floats, sky: Sky) -> Floats:
    """The sun's illuminance on a plane that faces it [lx], at its mean distance. IES; fades as the disc goes under."""
    up = np.maximum(h, 0.0)
    through = np.exp(-_EXTINCTION[sky] * air_mass(up + _refraction(up)))
    beam: Floats = SOLAR_ILLUMINANCE * through * np.clip(1 + h / SUN_GONE, 0.0, 1.0)
    return beam


def _sky(h: Floats, sky: Sky) -> Floats:
    """The sky's illuminance on a level plane [lx]. IES."""
    a, b, c = _SKY[sky]
    level: Floats = 1000 * (a + b * np.sin(np.radians(np.maximum(h, 0.0))) ** c)
    return level


def _cloud(sky: Sky) -> float:
    """What cloud leaves of twilight: as much as it leaves of sun and sky where the models are blended."""
    h = np.array(BLENDED_FROM)
    sine = math.sin(math.radians(BLENDED_FROM))
    return float((_beam(h, sky) * sine + _sky(h, sky)) / (_beam(h, "clear") * sine + _sky(h, "clear")))


def received(spot: Spot, elevation: ArrayLike, sky: Sky, day_of_year: ArrayLike = 2) -> Floats:
    """
    The light that counts for a subject at a spot [lx], up to a factor that drift does not see.

    An upright subject is a dome (cardioid) that faces the camera: the beam counts (1 + cos psi)/2, psi being the angle
    between the sun and the level line from subject to camera; the sky counts half. From above: a level plane.
    """
    h = np.radians(np.asarray(elevation, dtype=np.float64))
    beam, of_sky = sun_and_sky(elevation, sky, day_of_year)
    if spot.light in ("shade", "window"):
        return of_sky
    if spot.lit_from == "above":
        above: Floats = beam * np.maximum(np.sin(h), 0.0) + of_sky
        return above
    facing = {"front": np.cos(h), "side": np.zeros_like(h), "back": -np.cos(h)}[spot.lit_from]
    upright: Floats = beam * (1 + facing) / 2 + of_sky / 2
    return upright


def forecast(spot: Spot, sky: Sky, read_at: datetime, ev100: float, at: Sequence[datetime]) -> Forecast:
    """
    A reading [stops], carried to other times under the same sky; low and high hold what the sky may do.

    read_at, at: aware times. Raises OutOfRange for times, levels and skies that cannot be.
    """
    within("ev100", ev100, EV100_DIMMEST, EV100_BRIGHTEST, "stops")
    if sky not in SKIES:
        raise OutOfRange("sky", sky, ", ".join(SKIES))
    if len(at) > TIMES_MOST:
        raise OutOfRange("at", f"{len(at)} times", f"at most {TIMES_MOST} times")
    elevation = sun_elevation(spot.latitude, spot.longitude, at)
    if spot.light == "lamps":
        level = np.full(len(at), ev100)
        return Forecast(level, level, level, elevation)
    (then,) = sun_elevation(spot.latitude, spot.longitude, [read_at])
    reading = np.log2(received(spot, then, sky, read_at.timetuple().tm_yday))
    days = np.array([time.timetuple().tm_yday for time in at])
    may_be = {each: ev100 + np.log2(received(spot, elevation, each, days)) - reading for each in SKIES}
    level = may_be[sky]
    least = HALF_STOP if sky == "clear" else WHOLE_STOP
    every = np.stack([*may_be.values(), level - least, level + least])
    return Forecast(level, every.min(axis=0), every.max(axis=0), elevation)


def _refraction(elevation: Floats) -> Floats:
    """
    How much higher the sun seems than it stands [degrees], on or above the horizon.

    Source: Meeus, Astronomical Algorithms, 16.4, from memory.

    >>> round(float(_refraction(np.array(0.0))), 2)
    0.48
    """
    lifted: Floats = 1.02 / 60 / np.tan(np.radians(elevation + 10.3 / (elevation + 5.11)))
    return np.maximum(lifted, 0.0)
