"""
Daylight: what sun and sky give, and how a reading drifts from one time to another.

Drift is a ratio of two model values, so every meter's constants cancel: ev100(t) = ev100(read) + log2(M(t) / M(read)).
M is built from published models only:

- the IES daylight availability equations (IES RP-21, J. Illum. Eng. Soc. 13(4), 1984; IESNA Lighting Handbook, 9th ed.)
  for the sun's normal illuminance and the sky's on the level, clear, partly cloudy and overcast; the partly cloudy
  sky's constants are from memory;
- the air mass by Kasten and Young (Applied Optics 28, 4735, 1989), over the apparent altitude;
- below the horizon, the natural illuminance polynomial of the Explanatory Supplement to the Astronomical Almanac;
- for a window whose bearing is known, the CIE standard general sky (ISO 15469:2004, CIE S 011) says what share of the
  sky it sees; its types 12 (clear), 7 (partly cloudy) and 1 (overcast).

Between the horizon and 15 degrees the IES and the twilight models are blended, since they part by up to a stop there
and a switch would show. Checked in tests/published/test_daylight.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from server.language import noted, say

from .light import EV100_BRIGHTEST, EV100_DIMMEST
from .refused import OutOfRange, within
from .sun import SUN_GONE, SUN_RADIUS, Site, horizon, instant, refraction, sun_path

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

Sky = Literal["clear", "partly", "overcast"]
LightKind = Literal["sun", "shade", "window", "lamps"]
LitFrom = Literal["front", "side", "back", "above"]

SKIES: tuple[Sky, ...] = get_args(Sky)
LIT_FROM: tuple[LitFrom, ...] = get_args(LitFrom)
TIMES_MOST = 5000
READINGS_MOST = 1000
CELLS_MOST = 400_000  # levels of one call: some 30 MB

SOLAR_ILLUMINANCE = 127_500.0  # lx beyond the air, at the mean distance: IES
_EXTINCTION: dict[Sky, float] = {"clear": 0.21, "partly": 0.80, "overcast": math.inf}  # IES; overcast has no beam
_SKY: dict[Sky, tuple[float, float, float]] = {  # klx: A + B sin(h)^C. IES
    "clear": (0.80, 15.5, 0.5),
    "partly": (0.30, 45.0, 1.0),  # from memory
    "overcast": (0.30, 21.0, 1.0),
}
_GENERAL_SKY: dict[Sky, tuple[float, float, float, float, float]] = {  # a, b, c, d, e. ISO 15469
    "clear": (-1.0, -0.32, 10.0, -3.0, 0.45),
    "partly": (0.0, -1.0, 5.0, -2.5, 0.30),
    "overcast": (4.0, -0.70, 0.0, -1.0, 0.0),
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

HALF_STOP, WHOLE_STOP = 0.5, 1.0  # by how much published models differ, under a clear sky and under cloud


@dataclass(frozen=True, slots=True)
class Spot:
    """
    A place under the sky, as far as its drift goes.

    light       what lights it;  lit_from  where the sun stands to whom it lights, for open sun
    faces       [degrees]  the bearing that a window looks to; None where it is not known
    lamps       [0..1]     the share that lamps gave at the reading, in a mixture; they do not drift
    sun_over, sun_behind  [degrees]  how high the horizon stands where the sun comes up and where it goes; 0 is level
    """

    light: LightKind
    lit_from: LitFrom = "side"
    faces: float | None = None
    lamps: float = 0.0
    sun_over: float = 0.0
    sun_behind: float = 0.0

    def __post_init__(self) -> None:
        for field, value, known in (
            ("light", self.light, get_args(LightKind)),
            ("lit_from", self.lit_from, LIT_FROM),
        ):
            if value not in known:
                raise OutOfRange(field, value, ", ".join(known))
        if self.faces is not None:
            within("faces", self.faces, 0, 360, noted("degrees from north"))
        within("lamps", self.lamps, 0, 1, noted("of the light"))
        within("sun_over", self.sun_over, 0, 60, noted("degrees"))
        within("sun_behind", self.sun_behind, 0, 60, noted("degrees"))

    @property
    def under_lamps(self) -> bool:
        """Whether lamps give any of its light."""
        return self.light == "lamps" or self.lamps > 0

    @property
    def drifts(self) -> bool:
        """Whether any of its light is the sky's."""
        return self.light != "lamps" and self.lamps < 1


@dataclass(frozen=True, slots=True)
class Known:
    """A reading as a forecast needs it: ev100 [stops] at a spot, when (aware), and under which sky."""

    spot: Spot
    ev100: float
    read_at: datetime
    sky: Sky

    def __post_init__(self) -> None:
        within("ev100", self.ev100, EV100_DIMMEST, EV100_BRIGHTEST, noted("stops"))
        # In UTC, since a clock that goes back names two moments alike, and what is remembered goes by the name.
        object.__setattr__(self, "read_at", instant("read_at", self.read_at))
        if self.sky not in SKIES:
            raise OutOfRange("sky", self.sky, ", ".join(SKIES))


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """
    Readings at each time asked for.

    ev100, low, high  [stops] (readings, times): the level, and what the sky may make of it
    sun_elevation, sun_bearing  [degrees] (times,)
    """

    ev100: Floats
    low: Floats
    high: Floats
    sun_elevation: Floats
    sun_bearing: Floats


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
    through = np.exp(-_EXTINCTION[sky] * air_mass(up + refraction(up)))
    beam: Floats = SOLAR_ILLUMINANCE * through * np.clip(1 + h / SUN_GONE, 0.0, 1.0)
    return beam


def _sky(h: Floats, sky: Sky) -> Floats:
    """The sky's illuminance on a level plane [lx]. IES."""
    a, b, c = _SKY[sky]
    level: Floats = 1000 * (a + b * np.sin(np.radians(np.maximum(h, 0.0))) ** c)
    return level


@cache
def _cloud(sky: Sky) -> float:
    """What cloud leaves of twilight: as much as it leaves of sun and sky where the models are blended."""
    h = np.array(BLENDED_FROM)
    sine = math.sin(math.radians(BLENDED_FROM))
    return float((_beam(h, sky) * sine + _sky(h, sky)) / (_beam(h, "clear") * sine + _sky(h, "clear")))


def upright_share(sky: Sky, elevation: ArrayLike, away: ArrayLike) -> Floats:
    """
    What an upright opening gets of the sky, as a share of what a level plane gets.

    elevation  [degrees]  the sun's; below the horizon the sky's bright side fades, and is gone at DARKEST
    away       [degrees]  between the opening's bearing and the sun's;  any shapes that broadcast

    Source: ISO 15469:2004, integrated over the half of the sky that the opening sees. Under a high sun:

    >>> [round(float(upright_share(sky, 60.0, 0.0)), 2) for sky in SKIES]
    [0.74, 0.55, 0.38]
    """
    shares = _shares(sky)
    night = np.clip(np.asarray(elevation, dtype=np.float64) / DARKEST, 0.0, 1.0)
    h = np.clip(np.asarray(elevation, dtype=np.float64), 0.0, 90.0) / _SHARE_STEP
    turn = np.asarray(away, dtype=np.float64) % 360
    turn = np.minimum(turn, 360 - turn) / _SHARE_STEP
    row, column = (
        np.minimum(each.astype(np.intp), most - 2) for each, most in zip((h, turn), shares.shape, strict=True)
    )
    along, across = h - row, turn - column
    upper = shares[row, column] * (1 - across) + shares[row, column + 1] * across
    lower = shares[row + 1, column] * (1 - across) + shares[row + 1, column + 1] * across
    share: Floats = (upper * (1 - along) + lower * along) * (1 - night) + 0.5 * night
    return share


_SHARE_STEP = 7.5  # degrees between the suns that the sky is integrated for; the share is straight between them
_PATCH = 2.5  # degrees, a patch of the sky


@cache
def _shares(sky: Sky) -> Floats:
    """Upright over level illuminance, by the sun's elevation (0 to 90) and its turn from the opening (0 to 180)."""
    a, b, c, d, e = _GENERAL_SKY[sky]
    up = np.radians(np.arange(_PATCH / 2, 90, _PATCH))[:, None]
    round_ = np.radians(np.arange(_PATCH / 2, 360, _PATCH))[None, :]
    gradation = 1 + a * np.exp(b / np.sin(up))
    level = np.sin(up) * np.cos(up)
    upright = np.maximum(np.cos(up) * np.cos(round_), 0.0) * np.cos(up)
    shares = np.empty((round(90 / _SHARE_STEP) + 1, round(180 / _SHARE_STEP) + 1))
    for row in range(shares.shape[0]):
        h = math.radians(row * _SHARE_STEP)
        for column in range(shares.shape[1]):
            turn = math.radians(column * _SHARE_STEP)
            cosine = np.sin(up) * math.sin(h) + np.cos(up) * math.cos(h) * np.cos(round_ - turn)
            away = np.arccos(np.clip(cosine, -1.0, 1.0))
            luminance = gradation * (1 + c * (np.exp(d * away) - math.exp(d * math.pi / 2)) + e * cosine**2)
            shares[row, column] = (luminance * upright).sum() / (luminance * level).sum()
    return shares


def received(
    spots: Sequence[Spot], elevation: ArrayLike, bearing: ArrayLike, sky: Sky, day_of_year: ArrayLike = 2
) -> Floats:
    """
    The light that counts for a subject at each spot [lx], up to a factor that drift does not see.

    elevation, bearing, day_of_year  the sun's, (times,) or (spots, times);  returns (spots, times)

    An upright subject is a dome (cardioid) that faces the camera: the beam counts (1 + cos psi)/2, psi being the angle
    between the sun and the level line from subject to camera; the sky counts half. From above: a level plane. Shade and
    windows have the sky alone; a window that faces somewhere has its share of it.
    """
    found: Floats = _received(spots, elevation, bearing, day_of_year, (sky,))[0]
    return found


def _received(
    spots: Sequence[Spot], elevation: ArrayLike, bearing: ArrayLike, day_of_year: ArrayLike, skies: Sequence[Sky]
) -> Floats:
    """The same under several skies (skies, spots, times)."""
    elevation, bearing = np.asarray(elevation, dtype=np.float64), np.asarray(bearing, dtype=np.float64)
    counts = _beam_counts(spots, elevation, bearing)
    found = np.empty((len(skies), *np.broadcast_shapes(counts.shape, np.shape(day_of_year))))
    for sky, level in zip(skies, found, strict=True):
        beam, of_sky = sun_and_sky(elevation, sky, day_of_year)
        level[:] = beam * counts + of_sky * _sky_counts(spots, elevation, bearing, sky)
    return found


_FACING: dict[LitFrom, float] = {"front": 1.0, "side": 0.0, "back": -1.0}  # cos psi, in parts of cos h


def _beam_counts(spots: Sequence[Spot], elevation: Floats, bearing: Floats) -> Floats:
    """How much of the beam counts at each spot (spots, times)."""
    h = np.radians(elevation)
    in_sun = _column(spot.light == "sun" for spot in spots)
    level = _column(spot.lit_from == "above" for spot in spots)
    facing = _column(_FACING.get(spot.lit_from, 0.0) for spot in spots)
    counts = in_sun * np.where(level, np.maximum(np.sin(h), 0.0), (1 + facing * np.cos(h)) / 2)
    over, behind = _column(spot.sun_over for spot in spots), _column(spot.sun_behind for spot in spots)
    if not over.any() and not behind.any():
        return counts
    raised = horizon(bearing, over, behind)
    seems = elevation + refraction(elevation)
    # Over a raised horizon the disc's share is counted here; on a level one the beam has it already.
    shown = np.clip((seems - raised + SUN_RADIUS) / (2 * SUN_RADIUS), 0.0, 1.0)
    return counts * np.where(raised > 0, shown, 1.0)


def _sky_counts(spots: Sequence[Spot], elevation: Floats, bearing: Floats, sky: Sky) -> Floats:
    """How much of the sky's level illuminance counts at each spot (spots, times)."""
    counts = _column(0.5 if spot.light == "sun" and spot.lit_from != "above" else 1.0 for spot in spots)
    facing = [number for number, spot in enumerate(spots) if spot.light == "window" and spot.faces is not None]
    if not facing:
        return counts
    counts = np.broadcast_to(counts, np.broadcast_shapes(counts.shape, elevation.shape)).copy()
    up, toward = (np.broadcast_to(each, counts.shape)[facing] for each in (elevation, bearing))
    counts[facing] = upright_share(sky, up, toward - _column(spots[number].faces or 0.0 for number in facing))
    return counts


def _column(values: Iterable[float]) -> Floats:
    """A number for each spot, beside its times (spots, 1)."""
    return np.array(list(values), dtype=np.float64)[:, None]


def forecast(site: Site, known: Sequence[Known], at: Sequence[datetime], sky_now: Sky | None = None) -> Forecast:
    """
    Every reading at a site, carried to every time, in one pass.

    sky_now  the sky that is known to stand at those times; None: each reading's own
    at       aware times

    low and high hold what the sky may do, clear to overcast, and at least what published models differ by. Where lamps
    gave a share of a reading, they go on giving it. Raises OutOfRange for times and numbers that cannot be.
    """
    if len(at) > TIMES_MOST:
        raise OutOfRange("at", say("{count} times", count=len(at)), say("at most {most} times", most=TIMES_MOST))
    if len(known) > READINGS_MOST:
        raise OutOfRange(
            "readings", say("{count} readings", count=len(known)), say("at most {most} readings", most=READINGS_MOST)
        )
    if len(at) * len(known) > CELLS_MOST:
        raise OutOfRange(
            "at",
            say("{times} times of {readings} readings", times=len(at), readings=len(known)),
            say("at most {most} levels in all", most=CELLS_MOST),
        )
    if sky_now is not None and sky_now not in SKIES:
        raise OutOfRange("sky", sky_now, ", ".join(SKIES))
    moments = [instant("at", time) for time in at]
    elevation, bearing = sun_path(site, moments)
    spots = [each.spot for each in known]
    ev100 = np.array([each.ev100 for each in known], dtype=np.float64)[:, None]
    shape = (len(known), len(at))
    if not any(spot.drifts for spot in spots):
        level = np.broadcast_to(ev100, shape).copy()
        return Forecast(level, level, level, elevation, bearing)
    then = np.array([_at_reading(site, each) for each in known])[:, None]
    days = np.array([moment.timetuple().tm_yday for moment in moments])
    made = np.log2(_received(spots, elevation, bearing, days, SKIES)) - then
    base = np.array([SKIES.index(sky_now or each.sky) for each in known], dtype=np.intp)
    drift = made[base, np.arange(len(known))]
    least = np.where(base == SKIES.index("clear"), HALF_STOP, WHOLE_STOP)[:, None]
    low, high = np.minimum(made.min(axis=0), drift - least), np.maximum(made.max(axis=0), drift + least)
    steady = np.array([1.0 if spot.light == "lamps" else spot.lamps for spot in spots])[:, None]
    level, lowest, highest = (ev100 + np.log2(steady + (1 - steady) * 2.0**part) for part in (drift, low, high))
    return Forecast(level, lowest, highest, elevation, bearing)


@lru_cache(maxsize=4096)
def _at_reading(site: Site, known: Known) -> float:
    """log2 of what the model gives at a reading [log2 lx]."""
    elevation, bearing = sun_path(site, [known.read_at])
    made = received([known.spot], elevation, bearing, known.sky, known.read_at.timetuple().tm_yday)
    return float(np.log2(made[0, 0]))
