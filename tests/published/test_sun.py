"""
Where the sun stands, when it comes and goes, and where it leaves the sky darkest.

Held to the NREL SPA worked example (NREL/TP-560-34302, rev. 2008, Table A5.1) without its refraction, to figures from
SPA and skyfield (DE421) as check-values tables them, to the times that NREL's SPA site and USNO give for Golden CO and
timeanddate for London (through astral's own tests), and to the astral library as an independent second.
"""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import astral
import astral.sun
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.refused import OutOfRange
from server.exposure.sun import SUN_GONE, Site, blue_sky, compass, direct_light, sun_day, sun_path

GREENWICH = Site(51.4769, 0)
TROMSO = Site(69.6492, 18.9553)
RISING, SETTING = astral.SunDirection.RISING, astral.SunDirection.SETTING


def local_day(zone, year, month, day):
    """A day's two midnights where the clocks go by this zone."""
    noon = datetime(year, month, day, 12, tzinfo=ZoneInfo(zone))
    return noon.replace(hour=0), (noon + timedelta(days=1)).replace(hour=0)


def events_of(site, zone, *on):
    """A local day's events as (time in UTC, kind)."""
    return [(event.at.astimezone(UTC), event.kind) for event in sun_day(site, *local_day(zone, *on)).events]


def seconds(one, other):
    return abs((one - other) / timedelta(seconds=1))


# Its place


def test_nrel_spa_worked_example():
    """2003-10-17 12:30:30 at UTC-7: e0 = 39.872046 degrees. It has the parallax of a height of 1830 m; ours is at sea level."""
    at = datetime(2003, 10, 17, 12, 30, 30, tzinfo=timezone(timedelta(hours=-7)))
    elevation, bearing = sun_path(Site(39.742476, -105.1786), [at])
    assert elevation[0] == pytest.approx(39.872046, abs=1e-3)
    # Skyfield has 194.3382 for SPA's 194.340241, since it counts UT1-UTC (check-values 4.7); two thousandths it is.
    assert bearing[0] == pytest.approx(194.340241, abs=3e-3)


@pytest.mark.parametrize(
    ("latitude", "longitude", "at", "altitude", "azimuth"),
    [
        (51.4769, 0, datetime(2026, 6, 20, 12, 0, tzinfo=UTC), 61.9558, 179.2203),
        (51.4769, 0, datetime(2026, 6, 20, 20, 45, tzinfo=UTC), -3.5827, 315.9267),
        (51.4769, 0, datetime(2026, 12, 19, 14, 0, tzinfo=UTC), 10.3907, 208.4637),
        (-33.8688, 151.2093, datetime(2026, 11, 14, 8, 30, tzinfo=UTC), 0.1416, 247.9324),
        (-0.1807, -78.4678, datetime(2026, 3, 21, 17, 20, tzinfo=UTC), 89.3380, 20.9282),
        (69.6492, 18.9553, datetime(2026, 12, 21, 10, 40, tzinfo=UTC), -3.0892, 179.4913),
    ],
)
def test_true_altitudes_and_azimuths_of_skyfield(latitude, longitude, at, altitude, azimuth):
    """
    To a thousandth of a degree; SPA gives the same to that. Near the zenith a bearing means little (SPA and skyfield part
    by 0.009 degrees there), so it is held to a thousandth of a degree of sky.
    """
    elevation, bearing = sun_path(Site(latitude, longitude), [at])
    assert elevation[0] == pytest.approx(altitude, abs=1e-3)
    assert (bearing[0] - azimuth) * math.cos(math.radians(altitude)) == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("latitude", [-55, -23.4, 0, 35.7, 51.5, 69.6])
@pytest.mark.parametrize("month", [1, 4, 6, 9, 12])
def test_astral_agrees_to_two_hundredths_of_a_degree(latitude, month):
    """Around the clock, without refraction; the library states its own precision as a hundredth."""
    observer = astral.Observer(latitude, 12.5, 0)
    times = [datetime(2026, month, 15, hour, 7, tzinfo=UTC) for hour in range(24)]
    for time, up, toward in zip(times, *sun_path(Site(latitude, 12.5), times), strict=True):
        assert up == pytest.approx(astral.sun.elevation(observer, time, with_refraction=False), abs=0.02)
        turn = (toward - astral.sun.azimuth(observer, time) + 180) % 360 - 180
        assert turn * math.cos(math.radians(up)) == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("at", [datetime(9999, 1, 1, tzinfo=UTC), datetime(1, 1, 1, tzinfo=UTC), datetime(2026, 1, 1)])  # noqa: DTZ001 - a naive time is the point
def test_times_that_cannot_be_are_refused(at):
    """Beyond the ephemeris, or without an offset."""
    with pytest.raises(OutOfRange):
        sun_path(Site(0, 0), [at])[0]


@pytest.mark.parametrize(
    ("latitude", "longitude", "field"),
    [(90.1, 0, "latitude"), (-91, 0, "latitude"), (math.nan, 0, "latitude"), (0, 180.1, "longitude"), (0, math.inf, "longitude")],
)  # fmt: skip
def test_places_off_the_globe_are_refused(latitude, longitude, field):
    """With the field's name."""
    with pytest.raises(OutOfRange) as refused:
        Site(latitude, longitude)
    assert refused.value.field == field


# Its day: USNO's definition, sunrise and sunset at -50', civil twilight to -6, nautical to -12, all geometric

CITIES = [
    ("London, clocks go forward", 51.5074, -0.1278, "Europe/London", (2026, 3, 29)),
    ("London, clocks go back", 51.5074, -0.1278, "Europe/London", (2026, 10, 25)),
    ("New York, clocks go forward", 40.7128, -74.0060, "America/New_York", (2026, 3, 8)),
    ("New York, clocks go back", 40.7128, -74.0060, "America/New_York", (2026, 11, 1)),
    ("Sydney, clocks go back", -33.8688, 151.2093, "Australia/Sydney", (2026, 4, 5)),
    ("Sydney, clocks go forward", -33.8688, 151.2093, "Australia/Sydney", (2026, 10, 4)),
    ("Lord Howe, clocks go back half an hour", -31.5553, 159.0821, "Australia/Lord_Howe", (2026, 4, 5)),
    ("Santiago, a day without its midnight", -33.4489, -70.6693, "America/Santiago", (2026, 9, 6)),
    ("Cairo, a day without its midnight", 30.0444, 31.2357, "Africa/Cairo", (2026, 4, 24)),
    ("Auckland, summer solstice", -36.8509, 174.7645, "Pacific/Auckland", (2026, 12, 21)),
    ("Suva, west of the date line", -18.1248, 178.4501, "Pacific/Fiji", (2026, 1, 15)),
    ("Chatham, east of it, by western time", -43.9535, -176.5597, "Pacific/Chatham", (2026, 7, 7)),
    ("Apia, east of it, by western time", -13.8506, -171.7513, "Pacific/Apia", (2026, 7, 1)),
    ("Kiritimati, 14 hours ahead", 1.8721, -157.4278, "Pacific/Kiritimati", (2026, 9, 23)),
    ("Adak, east of it", 51.8800, -176.6581, "America/Adak", (2026, 6, 1)),
    ("Honolulu", 21.3069, -157.8583, "Pacific/Honolulu", (2026, 2, 2)),
    ("Tokyo", 35.6762, 139.6503, "Asia/Tokyo", (2026, 5, 5)),
    ("Reykjavik, equinox", 64.1466, -21.9426, "Atlantic/Reykjavik", (2026, 9, 23)),
    ("Tromso, clocks go back", 69.6492, 18.9553, "Europe/Oslo", (2026, 10, 25)),
    ("Tromso, clocks go forward in twilight", 69.6492, 18.9553, "Europe/Oslo", (2026, 3, 29)),
    ("Longyearbyen, clocks go forward in twilight", 78.2232, 15.6267, "Arctic/Longyearbyen", (2026, 3, 29)),
    ("Ushuaia, winter solstice", -54.8019, -68.3030, "America/Argentina/Ushuaia", (2026, 6, 21)),
    ("Ushuaia, summer", -54.8019, -68.3030, "America/Argentina/Ushuaia", (2026, 12, 1)),
    ("Cape Town", -33.9249, 18.4241, "Africa/Johannesburg", (2026, 8, 8)),
    ("Nairobi, equinox", -1.2921, 36.8219, "Africa/Nairobi", (2026, 3, 20)),
    ("Quito, the year's last day", -0.1807, -78.4678, "America/Guayaquil", (2026, 12, 31)),
    ("Singapore", 1.3521, 103.8198, "Asia/Singapore", (2026, 10, 10)),
    ("Delhi", 28.6139, 77.2090, "Asia/Kolkata", (2026, 11, 20)),
    ("Anchorage, a leap day", 61.2181, -149.9003, "America/Anchorage", (2028, 2, 29)),
    ("McMurdo, dusk and no night", -77.8419, 166.6863, "Antarctica/McMurdo", (2026, 3, 10)),
    ("Beijing, 2100", 39.9042, 116.4074, "Asia/Shanghai", (2100, 6, 1)),
    ("Rome, 1975", 41.9028, 12.4964, "Europe/Rome", (1975, 8, 15)),
]
ZENITHS = {
    "nautical_dawn": (102, RISING),
    "civil_dawn": (96, RISING),
    "sunrise": (90 + 50 / 60, RISING),
    "sunset": (90 + 50 / 60, SETTING),
    "civil_dusk": (96, SETTING),
    "nautical_dusk": (102, SETTING),
}


def astral_events(latitude, longitude, zone, *on):
    """What astral has between a local day's midnights, at USNO's heights."""
    start, stop = (time.astimezone(UTC) for time in local_day(zone, *on))
    observer = astral.Observer(latitude, longitude, 0)
    found = []
    for kind, (zenith, direction) in ZENITHS.items():
        for day in (-1, 0, 1, 2):  # astral goes by the date in UTC, and may answer with a neighbour of it
            around = date(*on) + timedelta(days=day)
            try:
                at = astral.sun.time_of_transit(observer, around, zenith, direction, with_refraction=False)
            except ValueError:  # the sun does not pass that height on that date
                continue
            if start <= at < stop:
                found.append((at, kind))
    return sorted(found)


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "on"), [pytest.param(*each, id=name) for name, *each in CITIES]
)
def test_a_day_by_astral(latitude, longitude, zone, on):
    """
    Both hemispheres, all seasons, both sides of the date line, days on which the clocks change.

    Astral is asked for USNO's heights as they are: its own sunrise() counts refraction by another formula, and its
    dawn() counts refraction below the horizon, which puts them 20 to 60 s off the definition. What is left is its place
    of the sun, good to 0.01 degree: 4 s where the sun climbs 10 degrees an hour, 15 s where it climbs 2.5.
    """
    ours, theirs = events_of(Site(latitude, longitude), zone, *on), astral_events(latitude, longitude, zone, *on)
    assert [kind for _, kind in ours] == [kind for _, kind in theirs]
    for (at, kind), (by_astral, _) in zip(ours, theirs, strict=True):
        assert seconds(at, by_astral) <= 15, kind


@pytest.mark.parametrize(
    ("on", "times"),
    [
        ((2026, 6, 20), "01:40:29 02:54:53 03:42:34 20:20:39 21:08:21 22:22:47"),
        ((2026, 12, 19), "06:38:29 07:21:39 08:01:56 15:52:11 16:32:28 17:15:37"),
    ],
)
def test_a_day_at_greenwich_by_skyfield(on, times):
    """Skyfield with DE421, to the second; SPA agrees to 1 s. A second of ours and half of theirs are rounding."""
    found = events_of(GREENWICH, "UTC", *on)
    for (at, kind), clock, expected in zip(found, times.split(), ZENITHS, strict=True):
        assert kind == expected
        assert seconds(at, datetime.combine(date(*on), datetime.strptime(clock, "%H:%M:%S").time(), UTC)) <= 2  # noqa: DTZ007 - a clock's hands only


@pytest.mark.parametrize(
    ("on", "rise", "sets", "within"),
    [
        (
            (2015, 1, 2),
            "07:21:55",
            "16:47:43",
            3,
        ),  # NREL's SPA site: a horizon at -0.8333, ours at -0.833, and parallax
        ((2015, 1, 1), "07:22:00", "16:47:00", 60),  # USNO, to the minute; it may round or cut off
    ],
)
def test_a_day_at_golden_by_nrel_and_usno(on, rise, sets, within):
    """Golden CO, Mountain time, as pvlib's tests quote them."""
    found = {kind: at for at, kind in events_of(Site(39.742476, -105.1786), "America/Denver", *on)}
    for kind, clock in (("sunrise", rise), ("sunset", sets)):
        at = datetime.fromisoformat(f"{date(*on)}T{clock}-07:00")
        assert seconds(found[kind], at) <= within


@pytest.mark.parametrize(
    ("on", "times"),
    [
        ((2015, 12, 1), "06:22 07:04 07:43 15:55 16:34 17:16"),
        ((2015, 12, 25), "06:41 07:25 08:05 15:55 16:36 17:19"),
    ],
)
def test_a_day_in_london_by_timeanddate(on, times):
    """To the minute, as astral's tests quote it; they do not say whether it rounds or cuts off, so a minute is allowed."""
    found = events_of(Site(51.5074, -0.1278), "Europe/London", *on)
    for (at, kind), clock, expected in zip(found, times.split(), ZENITHS, strict=True):
        assert kind == expected
        assert seconds(at, datetime.fromisoformat(f"{date(*on)}T{clock}+00:00")) <= 60


@pytest.mark.parametrize(
    ("site", "zone", "on", "never"),
    [
        (TROMSO, "Europe/Oslo", (2026, 6, 21), "up"),
        (TROMSO, "Europe/Oslo", (2026, 12, 21), "down"),
        (TROMSO, "Europe/Oslo", (2026, 3, 20), ""),
        (Site(-77.8419, 166.6863), "Antarctica/McMurdo", (2026, 12, 21), "up"),
        (Site(-77.8419, 166.6863), "Antarctica/McMurdo", (2026, 6, 21), "down"),
        (Site(90, 0), "UTC", (2026, 6, 21), "up"),
        (Site(90, 0), "UTC", (2026, 12, 21), "down"),
        (Site(-90, 0), "UTC", (2026, 6, 21), "down"),
    ],
)
def test_polar_day_and_polar_night(site, zone, on, never):
    """The sun of a polar day neither rises nor sets; astral's height of the sun says so hour by hour."""
    start, stop = local_day(zone, *on)
    day = sun_day(site, start, stop)
    assert day.never == never
    assert bool({event.kind for event in day.events} & {"sunrise", "sunset"}) == (never == "")
    observer = astral.Observer(max(min(site.latitude, 89.9), -89.9), site.longitude, 0)
    over = {
        astral.sun.elevation(observer, start.astimezone(UTC) + timedelta(minutes=20 * n), with_refraction=False)
        > -50 / 60
        for n in range(72)
    }
    assert over == {"up": {True}, "down": {False}, "": {True, False}}[never]


def test_a_polar_night_has_its_twilight():
    """Tromso at the winter solstice: civil and nautical twilight around noon, as astral has them, and no sun."""
    assert [kind for _, kind in events_of(TROMSO, "Europe/Oslo", 2026, 12, 21)] == [
        "nautical_dawn", "civil_dawn", "civil_dusk", "nautical_dusk",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("site", "zone", "ends"),
    [
        # At the summer solstice the sun of midnight stands 90 - latitude - 23.44 degrees under the horizon.
        (Site(59.9139, 10.7522), "Europe/Oslo", ["civil_dawn", "civil_dusk"]),  # Oslo, 6.6: nautical twilight all night
        (Site(64.1466, -21.9426), "Atlantic/Reykjavik", []),  # Reykjavik, 2.4: civil twilight all night
    ],
)
def test_twilight_that_never_ends(site, zone, ends):
    """By spherical astronomy: no dusk that the sun does not go down to, and still a sunrise and a sunset."""
    kinds = [kind for _, kind in events_of(site, zone, 2026, 6, 21)]
    assert sorted(kinds) == sorted([*ends, "sunrise", "sunset"])


def test_nobody_else_changes_what_a_day_says():
    """The same day, asked for by another clock before: its times are told as they are where nobody asked before."""
    start, stop = local_day("Asia/Tokyo", 2026, 2, 3)
    alone = sun_day(Site(51.4, 0.1), start, stop).events
    beside = Site(51.4, 0.1 + 1e-7)  # a centimetre away, where nobody has asked yet
    sun_day(beside, start.astimezone(UTC), stop.astimezone(UTC))
    for one, other in zip(sun_day(beside, start, stop).events, alone, strict=True):
        assert one.at.utcoffset() == other.at.utcoffset()


def test_a_day_may_be_of_any_two_days_length():
    """Not backwards, not a month."""
    start = datetime(2026, 6, 20, tzinfo=UTC)
    for stop in (start - timedelta(hours=1), start + timedelta(days=31)):
        with pytest.raises(OutOfRange) as refused:
            sun_day(GREENWICH, start, stop)
        assert refused.value.field == "stop"


# Direct light


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "on"),
    [each[1:] for each in CITIES if each[0].startswith(("London", "Sydney", "Adak", "Tromso", "Quito"))],
)
def test_direct_light_on_a_level_horizon_is_sunrise_and_sunset(latitude, longitude, zone, on):
    """By astral at USNO's height, within the same 15 s as the day itself."""
    found = direct_light(Site(latitude, longitude), *local_day(zone, *on))
    theirs = [(at, kind) for at, kind in astral_events(latitude, longitude, zone, *on) if kind in ("sunrise", "sunset")]
    assert [comes for _, comes in found] == [kind == "sunrise" for _, kind in theirs]
    for (at, _), (by_astral, _) in zip(found, theirs, strict=True):
        assert seconds(at.astimezone(UTC), by_astral) <= 15


@pytest.mark.parametrize("raised", [0.2, 0.5, 1, 2, 5, 10, 20, 40, 55])
@pytest.mark.parametrize("site", [GREENWICH, Site(-33.8688, 151.2093), Site(0, 0)])
def test_over_a_raised_horizon_the_upper_limb_is_what_is_seen(site, raised):
    """
    Astral's height of the sun and 16' of half width, lifted by astral's refraction, make the horizon: to 0.015 degrees,
    of which 0.01 is astral's own place of the sun.
    """
    start = datetime(2026, 12, 10, tzinfo=UTC) if site.latitude < 0 else datetime(2026, 6, 10, tzinfo=UTC)
    level = direct_light(site, start, start + timedelta(days=1))
    found = direct_light(site, start, start + timedelta(days=1), over=raised, behind=raised)
    assert sorted(comes for _, comes in found) == [False, True]
    observer = astral.Observer(site.latitude, site.longitude, 0)
    for at, comes in found:
        limb = astral.sun.elevation(observer, at, with_refraction=False) + 16 / 60
        seems = limb + astral.sun.refraction_at_zenith(90 - limb)
        assert seems == pytest.approx(raised, abs=0.015)
        (usual,) = (time for time, rises in level if rises is comes)
        assert at > usual if comes else at < usual


def test_each_horizon_is_its_own():
    """A hill in the west takes the evening and leaves the morning alone, and the other way round."""
    start = datetime(2026, 6, 20, tzinfo=UTC)
    (rise, _), (sets, _) = direct_light(GREENWICH, start, start + timedelta(days=1))
    (morning, _), (evening, _) = direct_light(GREENWICH, start, start + timedelta(days=1), behind=10)
    assert morning == rise
    assert evening < sets - timedelta(
        hours=1
    )  # the sun of a June evening sinks some 8 degrees an hour at 51 degrees north
    (morning, _), (evening, _) = direct_light(GREENWICH, start, start + timedelta(days=1), over=10)
    assert evening == sets
    assert morning > rise + timedelta(hours=1)


def test_a_horizon_raised_by_next_to_nothing_is_level():
    """A hundredth of a degree is five seconds of a June evening at Greenwich; twenty are allowed for another refraction."""
    start = datetime(2026, 6, 20, tzinfo=UTC)
    level = direct_light(GREENWICH, start, start + timedelta(days=1))
    raised = direct_light(GREENWICH, start, start + timedelta(days=1), over=0.01, behind=0.01)
    for (at, comes), (other, still) in zip(level, raised, strict=True):
        assert comes is still
        assert seconds(at, other) <= 20


def test_a_sun_that_stays_behind_its_hill_gives_no_direct_light():
    """Greenwich at the winter solstice: noon at 90 - 51.48 - 23.44 = 15.1 degrees."""
    start = datetime(2026, 12, 21, tzinfo=UTC)
    assert direct_light(GREENWICH, start, start + timedelta(days=1), over=16, behind=16) == []
    assert len(direct_light(GREENWICH, start, start + timedelta(days=1), over=14, behind=14)) == 2


# The sky's darkest band


def toward(elevation, bearing):
    """A direction as a vector: north, east, up."""
    up, round_ = math.radians(elevation), math.radians(bearing)
    return math.cos(up) * math.cos(round_), math.cos(up) * math.sin(round_), math.sin(up)


@given(st.floats(0, 90), st.floats(0, 360))
def test_the_darkest_band_is_90_degrees_from_the_sun(elevation, bearing):
    """Rayleigh: light scattered at a right angle is polarised most. Where the band is said to be, the angle is right."""
    band = blue_sky(elevation, bearing)
    sun = toward(elevation, bearing)
    for there in (toward(0, band.left), toward(0, band.right), toward(band.top, band.top_bearing)):
        assert sum(a * b for a, b in zip(sun, there, strict=True)) == pytest.approx(0, abs=1e-9)
    assert all(0 <= each <= 360 for each in (band.left, band.right, band.top_bearing))
    assert 0 <= band.top <= 90


@given(st.floats(1, 89), st.floats(0, 360))
def test_nothing_in_the_band_stands_higher_than_its_top(elevation, bearing):
    """Along the great circle through left, top and right, height is greatest at the top; left is at the left hand."""
    band = blue_sky(elevation, bearing)
    east, up = toward(0, band.right), toward(band.top, band.top_bearing)
    for turn in range(0, 181, 10):
        along = [
            math.cos(math.radians(turn)) * a + math.sin(math.radians(turn)) * b for a, b in zip(east, up, strict=True)
        ]
        assert math.degrees(math.asin(min(along[2], 1))) <= band.top + 1e-9
    assert (bearing - band.left) % 360 == pytest.approx(90)


@given(st.floats(-SUN_GONE, 0), st.floats(0, 360))
def test_a_setting_sun_has_its_band_still(elevation, bearing):
    """To within the width of the sun and its refraction."""
    band = blue_sky(elevation, bearing)
    apart = sum(a * b for a, b in zip(toward(elevation, bearing), toward(band.top, band.top_bearing), strict=True))
    assert abs(math.degrees(math.asin(apart))) <= SUN_GONE + 1e-9


def test_no_band_without_the_sun():
    """None once it has set."""
    assert blue_sky(-1, 300) is None
    assert blue_sky(-30, 0) is None


@pytest.mark.parametrize(
    ("bearing", "name"),
    [(0, "north"), (22, "north"), (23, "north-east"), (90, "east"), (135, "south-east"), (180, "south"),
     (225, "south-west"), (270, "west"), (292, "west"), (293, "north-west"), (337, "north-west"), (338, "north"), (360, "north")],
)  # fmt: skip
def test_compass_points_reach_22_and_a_half_degrees_to_either_side(bearing, name):
    """The eight-wind rose."""
    assert compass(bearing) == name
