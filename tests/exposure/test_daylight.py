"""
How a reading drifts: what must hold for any place, sky and time, whatever the models say.

The models themselves are held to their sources in tests/published/test_daylight.py. Times are Greenwich's where none is
said: on 2026-06-20 the sun stands at 61.96 degrees at noon and sets at 20:20:39 UTC, on 2026-12-19 it rises at 08:01:56
(skyfield, check-values 4.7).
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.exposure.daylight import LIT_FROM, READINGS_MOST, SKIES, TIMES_MOST, Known, Spot, forecast, twilight
from server.exposure.light import EV100_BRIGHTEST, EV100_DIMMEST
from server.exposure.refused import OutOfRange
from server.exposure.sun import Site, direct_light

GREENWICH = Site(51.4769, 0)
NOON = datetime(2026, 6, 20, 12, tzinfo=UTC)
SUNSET = datetime(2026, 6, 20, 20, 20, 39, tzinfo=UTC)
WINTER_NIGHT = datetime(2026, 12, 20, 0, tzinfo=UTC)

UNDER_THE_SKY = [
    *(Spot("sun", lit) for lit in LIT_FROM),
    Spot("shade"),
    Spot("window"),
    *(Spot("window", faces=bearing) for bearing in (0, 90, 200, 315)),
]


def named(spot):
    facing = "" if spot.faces is None else f" to {spot.faces}"
    return f"{spot.light} {spot.lit_from}{facing}"


sites = st.builds(Site, st.floats(-90, 90), st.floats(-180, 180))
skies = st.sampled_from(SKIES)
offsets = st.integers(-12, 14).map(lambda hours: timezone(timedelta(hours=hours)))
times = st.datetimes(datetime(1950, 1, 2), datetime(2150, 12, 30), timezones=offsets)  # noqa: DTZ001 - hypothesis adds the offsets
shares = st.one_of(st.just(0.0), st.floats(0, 1))
horizons = st.one_of(st.just(0.0), st.floats(0, 60))
lights = st.sampled_from(("sun", "shade", "window"))


def spots(lamps=shares):
    return st.builds(
        Spot, lights, st.sampled_from(LIT_FROM), st.one_of(st.none(), st.floats(0, 360)), lamps, horizons, horizons
    )


def readings(lamps=shares):
    return st.builds(Known, spots(lamps), st.integers(-600, 1800).map(lambda n: n / 100), times, skies)


def at_once(site, known, at, sky_now=None):
    """One reading at one time: ev100, low, high."""
    found = forecast(site, [known], [at], sky_now)
    return float(found.ev100[0, 0]), float(found.low[0, 0]), float(found.high[0, 0])


def level(site, known, at, sky_now=None):
    return at_once(site, known, at, sky_now)[0]


def through(start, count, **step):
    """So many times, this far apart."""
    return [start + number * timedelta(**step) for number in range(count)]


# A reading and itself


@given(sites, readings())
@settings(deadline=None)
def test_a_reading_at_its_own_time_is_itself(site, known):
    """Nothing has drifted yet."""
    assert level(site, known, known.read_at) == pytest.approx(known.ev100, abs=1e-9)


@given(sites, readings(), offsets)
@settings(deadline=None)
def test_it_does_not_matter_by_which_clock_a_time_is_told(site, known, offset):
    """The same moment by another clock; the date alone may differ, and with it the sun's distance by a thousandth of a stop."""
    assert level(site, known, known.read_at.astimezone(offset)) == pytest.approx(known.ev100, abs=1e-3)


@given(sites, readings(lamps=st.just(0.0)), times)
@settings(deadline=None)
def test_there_and_back_is_where_it_started(site, known, at):
    """Carried to any time, and from there to its own."""
    there = level(site, known, at)
    assume(EV100_DIMMEST <= there <= EV100_BRIGHTEST)
    assert level(site, Known(known.spot, there, at, known.sky), known.read_at) == pytest.approx(known.ev100, abs=1e-6)


@given(sites, readings(lamps=st.just(0.0)), times, times, skies)
@settings(deadline=None)
def test_a_stop_on_the_way_changes_nothing(site, known, over, at, sky):
    """Carried in one leap or in two, the second under another sky."""
    between = level(site, known, over, sky)
    assume(EV100_DIMMEST <= between <= EV100_BRIGHTEST)
    in_two = level(site, Known(known.spot, between, over, sky), at, sky)
    assert in_two == pytest.approx(level(site, known, at, sky), abs=1e-6)


def test_the_hour_that_comes_twice():
    """
    Troll station puts its clocks back from 03:00 to 01:00, in twilight all night: two readings at 01:30 are two hours
    apart, and each drifts from its own sun, as it does by UTC.
    """
    site, zone = Site(-72.0114, 2.5350), ZoneInfo("Antarctica/Troll")
    first = datetime(2026, 10, 25, 1, 30, tzinfo=zone)
    noon = datetime(2026, 10, 25, 12, tzinfo=UTC)
    for read_at in (first, first.replace(fold=1)):
        by_utc = level(site, Known(Spot("shade"), 2.5, read_at.astimezone(UTC), "clear"), noon)
        assert level(site, Known(Spot("shade"), 2.5, read_at, "clear"), noon) == pytest.approx(by_utc, abs=1e-3)


# What the sky may do


@given(sites, readings(), st.lists(times, max_size=4), st.one_of(st.none(), skies))
@settings(deadline=None)
def test_the_level_lies_within_what_the_sky_may_do(site, known, at, sky_now):
    """low <= ev100 <= high, and figures all of them."""
    found = forecast(site, [known], at, sky_now)
    assert found.ev100.shape == found.low.shape == found.high.shape == (1, len(at))
    assert np.isfinite(found.ev100).all()
    assert (found.low <= found.ev100 + 1e-9).all()
    assert (found.ev100 <= found.high + 1e-9).all()


@given(sites, readings(lamps=st.just(0.0)), times, st.one_of(st.none(), skies))
@settings(deadline=None)
def test_daylight_is_never_claimed_closer_than_models_agree(site, known, at, sky_now):
    """The contract's band: half a stop to either side under a clear sky, a whole stop under cloud."""
    ev100, low, high = at_once(site, known, at, sky_now)
    least = 0.5 if (sky_now or known.sky) == "clear" else 1.0
    assert ev100 - low >= least - 1e-9
    assert high - ev100 >= least - 1e-9


@given(sites, readings(), times, st.one_of(st.none(), skies), skies)
@settings(deadline=None)
def test_whatever_the_sky_does_stays_within(site, known, at, sky_now, turns):
    """Clear to overcast: the level under any sky lies between the low and the high of any other."""
    _, low, high = at_once(site, known, at, sky_now)
    assert low - 1e-9 <= level(site, known, at, turns) <= high + 1e-9


@given(sites, readings(), times)
@settings(deadline=None)
def test_the_reading_s_own_sky_is_what_stands_where_nobody_says(site, known, at):
    """sky_now left out."""
    assert at_once(site, known, at) == at_once(site, known, at, known.sky)


def test_another_sky_now_is_the_ratio_of_ies():
    """
    IES at 60 degrees, level: 101,880 lx clear, 18,487 overcast, 83,135 partly (its constants from memory): 2.46 and 0.29
    stops. At 61.96 degrees the ratios are the same to a twentieth, and June's greater distance takes as little again.
    """
    place = Spot("sun", "above")
    clear = Known(place, 15.0, NOON, "clear")
    assert level(GREENWICH, clear, NOON, "overcast") == pytest.approx(15 - 2.46, abs=0.1)
    assert level(GREENWICH, clear, NOON, "partly") == pytest.approx(15 - 0.29, abs=0.1)
    assert level(GREENWICH, Known(place, 12.5, NOON, "overcast"), NOON, "clear") == pytest.approx(12.5 + 2.46, abs=0.1)


# Lamps, and mixtures


@given(
    sites, st.floats(EV100_DIMMEST, EV100_BRIGHTEST), times, st.lists(times, max_size=3), st.one_of(st.none(), skies)
)
@settings(deadline=None)
def test_lamps_never_drift(site, ev100, read_at, at, sky_now):
    """To the last digit, alone and beside places that do; all of the light of a place may be lamps, too."""
    lamps = [
        Known(Spot("lamps"), ev100, read_at, "clear"),
        Known(Spot("window", lamps=1.0), ev100, read_at, "overcast"),
    ]
    beside = Known(Spot("sun"), 10, read_at, "partly")
    for known in (lamps, [*lamps, beside]):
        found = forecast(site, known, at, sky_now)
        for figures in (found.ev100, found.low, found.high):
            assert (figures[:2] == ev100).all()


@given(sites, readings(lamps=st.floats(0, 1)), times, st.one_of(st.none(), skies))
@settings(deadline=None)
def test_a_mixture_lies_between_lamps_and_daylight(site, known, at, sky_now):
    """Its daylight drifts and its lamps stay, so that it moves less than daylight, and the same way."""
    spot = known.spot
    bare = Spot(spot.light, spot.lit_from, spot.faces, 0.0, spot.sun_over, spot.sun_behind)
    by_day = level(site, Known(bare, known.ev100, known.read_at, known.sky), at, sky_now)
    mixed = level(site, known, at, sky_now)
    assert min(by_day, known.ev100) - 1e-9 <= mixed <= max(by_day, known.ev100) + 1e-9


@pytest.mark.parametrize("share", [0.02, 0.25, 0.5, 0.9, 1.0])
@pytest.mark.parametrize("light", ["sun", "shade", "window"])
def test_at_night_the_lamps_share_is_what_is_left(light, share):
    """Half of the light by lamps at noon is one stop down at midnight, a quarter two: log2 of the share."""
    known = Known(Spot(light, lamps=share), 9.0, NOON, "clear")
    assert level(GREENWICH, known, WINTER_NIGHT) == pytest.approx(9 + math.log2(share), abs=1e-3)


def test_half_lamps_when_the_daylight_doubles():
    """By hand: where daylight alone rises by one stop, half lamps and half daylight rise by log2(1.5)."""
    morning = datetime(2026, 6, 20, 5, tzinfo=UTC)
    for at in through(morning, 12, minutes=20):
        by_day = level(GREENWICH, Known(Spot("shade"), 9, morning, "clear"), at) - 9
        mixed = level(GREENWICH, Known(Spot("shade", lamps=0.5), 9, morning, "clear"), at) - 9
        assert 2**mixed == pytest.approx(0.5 + 0.5 * 2**by_day, rel=1e-9)


# Many at once


@given(sites, st.lists(readings(), max_size=5), st.lists(times, max_size=4), st.one_of(st.none(), skies))
@settings(deadline=None)
def test_all_at_once_is_one_at_a_time(site, known, at, sky_now):
    """Every reading at every time, in the order asked for."""
    found = forecast(site, known, at, sky_now)
    assert found.ev100.shape == (len(known), len(at))
    assert found.sun_elevation.shape == found.sun_bearing.shape == (len(at),)
    for row, each in enumerate(known):
        for column, time in enumerate(at):
            alone = at_once(site, each, time, sky_now)
            together = found.ev100[row, column], found.low[row, column], found.high[row, column]
            assert together == pytest.approx(alone, abs=1e-9)


def test_a_venue_s_whole_day_is_one_call():
    """Twelve places, five minutes apart from midnight to midnight."""
    places = [*UNDER_THE_SKY, Spot("lamps"), Spot("sun", "back", lamps=0.3, sun_behind=12)]
    known = [Known(spot, 8 + row / 2, NOON, SKIES[row % 3]) for row, spot in enumerate(places)]
    day = through(NOON.replace(hour=0), 289, minutes=5)
    found = forecast(GREENWICH, known, day)
    assert found.ev100.shape == found.low.shape == found.high.shape == (12, 289)
    assert found.ev100[:, 144] == pytest.approx([each.ev100 for each in known], abs=1e-9)  # noon
    for row in (0, 5, 11):
        assert found.ev100[row] == pytest.approx(forecast(GREENWICH, [known[row]], day).ev100[0], abs=1e-9)


# From minute to minute


@pytest.mark.parametrize("sky", SKIES)
@pytest.mark.parametrize("latitude", [0, 51.5, -69.6])
def test_no_second_of_an_evening_is_a_jump(latitude, sky):
    """
    A second at a time through sunset, and through 15 degrees, where the models are blended. The polynomial's own steps at
    its joins are up to 0.014 stop (check-values 4.4); no real evening falls by more than a hundredth of a stop a second.
    """
    site = Site(latitude, 0)
    day = datetime(2026, 3, 20, tzinfo=UTC)
    known = [Known(spot, 9, day + timedelta(hours=12), sky) for spot in UNDER_THE_SKY]
    for behind in (0.0, 15.0):
        (middle,) = (at for at, rises in direct_light(site, day, day + timedelta(days=1), behind=behind) if not rises)
        found = forecast(site, known, through(middle - timedelta(minutes=35), 4200, seconds=1))
        assert np.abs(np.diff(found.ev100, axis=1)).max() < 0.014 + 0.01


@pytest.mark.parametrize("sky", SKIES)
@pytest.mark.parametrize(
    ("latitude", "day"),
    [(51.4769, (2026, 6, 20)), (51.4769, (2026, 12, 19)), (69.6492, (2026, 4, 20)), (-33.8688, (2026, 11, 14))],
)
def test_no_minute_falls_much_faster_than_twilight_itself(latitude, day, sky):
    """
    From noon through sunset to noon, no place falls or rises much faster than the polynomial does at the same sun, which
    is 0.17 stop a minute in a June dusk at Greenwich. What the sun itself adds, by hand: at the horizon its beam, through
    31 air masses, is some 190 lx on a face that sees half of 759 lx of sky; gone in 0.83 degrees, that is log2(1.5) in
    them, 0.7 stop a degree. One stop a degree is allowed, and 0.02 for a window that the sun's bearing sweeps past.
    """
    start = datetime(*day, 12, tzinfo=UTC)
    known = [Known(spot, 9, start, sky) for spot in UNDER_THE_SKY]
    found = forecast(Site(latitude, 0), known, through(start, 1441, minutes=1))
    seen = np.flatnonzero(found.sun_elevation[:-1] > -18)
    ours = np.abs(np.diff(found.ev100, axis=1))[:, seen]
    own = np.abs(np.diff(np.log2(twilight(found.sun_elevation))))[seen]
    assert (ours - own - np.abs(np.diff(found.sun_elevation))[seen]).max() < 0.02


@pytest.mark.parametrize("spot", UNDER_THE_SKY, ids=named)
def test_after_astronomical_twilight_nothing_of_the_sun_is_left(spot):
    """From -18 degrees to -18 degrees a winter night stands still at every place, whichever way it faces."""
    found = forecast(
        GREENWICH, [Known(spot, 10, NOON, "clear")], through(WINTER_NIGHT - timedelta(hours=7), 169, minutes=5)
    )
    night = found.ev100[0, found.sun_elevation < -18]
    assert night.size > 130  # 17:56 to 05:58, skyfield: some twelve hours
    assert night.max() - night.min() < 0.02


@given(st.floats(-89, 89), st.floats(-180, 180), times, skies)
@settings(deadline=None, max_examples=60)
def test_a_level_place_never_falls_while_the_sun_rises(latitude, longitude, start, sky):
    """
    Under one sky, over a day of ten minutes; 0.015 stop is allowed for the polynomial's steps at its joins (check-values
    4.4 says why), and that once in a rise.
    """
    known = Known(Spot("sun", "above"), 10, start, sky)
    found = forecast(Site(latitude, longitude), [known], through(start, 145, minutes=10))
    most, before = -math.inf, -math.inf
    for up, ev100 in zip(found.sun_elevation.tolist(), found.ev100[0].tolist(), strict=True):
        most = max(most, ev100) if up >= before else ev100
        assert ev100 >= most - 0.015
        before = up


# Behind a hill


@pytest.mark.parametrize("lit", LIT_FROM)
@pytest.mark.parametrize("sky", SKIES)
def test_once_the_sun_is_behind_its_hill_the_sky_is_all_there_is(lit, sky):
    """A place in the open drifts as the shade beside it, from when the sun has gone until it has set, and on into dusk."""
    hill = Spot("sun", lit, sun_behind=20)
    gone = datetime(2026, 6, 20, 18, 15, tzinfo=UTC)  # the sun of 20:20 sinks some 9 degrees an hour: it stands at 16
    open_, shade = (Known(spot, 10, gone, sky) for spot in (hill, Spot("shade")))
    found = forecast(GREENWICH, [open_, shade], through(gone, 40, minutes=5))
    assert 12 < found.sun_elevation[0] < 19
    assert found.sun_elevation[-1] < -5
    assert found.ev100[0] == pytest.approx(found.ev100[1], abs=1e-9)


@pytest.mark.parametrize("lit", LIT_FROM)
@pytest.mark.parametrize("noon", [NOON, datetime(2026, 12, 19, 12, tzinfo=UTC)], ids=["June", "December"])
@pytest.mark.parametrize(("over", "behind", "comes"), [(0, 8, False), (8, 0, True)])
def test_a_hill_takes_the_sun_when_it_says(lit, noon, over, behind, comes):
    """
    Until the disc touches the hill, as on a level horizon; from direct_light's moment on, as the shade. The disc, half a
    degree, takes three minutes in June and five in December. In the morning the other way round, and the other horizon
    plays no part, whether the sun comes up north of east or south of it.
    """
    day = noon.replace(hour=0)
    hill = Spot("sun", lit, sun_over=over, sun_behind=behind)
    moments = direct_light(GREENWICH, day, day + timedelta(days=1), over=over, behind=behind)
    (moment,) = (at for at, rises in moments if rises is comes)
    sign = 1 if comes else -1  # towards the sun's side of the moment
    known = [Known(spot, 12, noon, "clear") for spot in (hill, Spot("sun", lit), Spot("shade"))]
    minutes = np.array([20, 7, 1, -1, -7, -20])
    found = forecast(GREENWICH, known, [moment + sign * timedelta(minutes=n) for n in minutes.tolist()]).ev100
    assert found[0, :2] == pytest.approx(found[1, :2], abs=1e-6)
    assert np.diff(found[0, 3:]) == pytest.approx(np.diff(found[2, 3:]), abs=1e-6)
    if lit != "back":  # behind the subject a low sun gives next to nothing
        assert found[0, 2] - found[2, 2] > found[0, 3] - found[2, 3] + 0.02
        assert found[0, 3] < found[1, 3] - 0.3


def test_the_other_hill_is_behind_one_s_back():
    """A hill in the west leaves the morning alone; one in the east the evening."""
    morning, evening = (through(NOON.replace(hour=hour), 40, minutes=5) for hour in (4, 17))
    for spot, at in ((Spot("sun", sun_behind=30), morning), (Spot("sun", sun_over=30), evening)):
        found = forecast(GREENWICH, [Known(spot, 12, NOON, "clear"), Known(Spot("sun"), 12, NOON, "clear")], at)
        assert found.ev100[0] == pytest.approx(found.ev100[1], abs=1e-9)


# The ends of the earth


def test_a_window_to_the_east_has_the_morning():
    """
    The sky is brighter on the sun's side: at equal heights of the sun, each has its half day. In March the sun climbs by a
    sixth of a degree in between, hence a twentieth of a stop.
    """
    noon = datetime(2026, 3, 20, 12, 7, tzinfo=UTC)  # the equation of time: seven minutes late
    for hours in (3, 5):
        known = [Known(Spot("window", faces=faces), 9, noon, "clear") for faces in (90, 270, 0, 180, None)]
        found = forecast(GREENWICH, known, [noon - hours * timedelta(hours=1), noon + hours * timedelta(hours=1)]).ev100
        assert found[0, 0] > found[0, 1] + 0.5
        assert found[1, 1] > found[1, 0] + 0.5
        assert found[0] == pytest.approx(found[1, ::-1], abs=0.05)
        for row in (2, 3, 4):
            assert found[row, 0] == pytest.approx(found[row, 1], abs=0.05)


@pytest.mark.parametrize("latitude", [90, -90])
def test_at_a_pole_a_day_has_no_hours(latitude):
    """The sun goes round at one height: its declination moves by 0.4 degrees a day at most. Level ground sees no change."""
    for month in (3, 6, 9, 12):
        start = datetime(2026, month, 21, tzinfo=UTC)
        known = [Known(Spot("sun", "above"), 10, start, "clear"), Known(Spot("window", faces=90), 10, start, "clear")]
        found = forecast(Site(latitude, 0), known, through(start, 25, hours=1))
        assert np.isfinite(found.ev100).all()
        assert np.ptp(found.sun_elevation) < 0.45
        if month in (6, 12):  # at the solstices the height itself stands still
            assert np.ptp(found.ev100[0]) < 0.01


@given(st.floats(-90, 90), readings(), times)
@settings(deadline=None)
def test_the_date_line_is_no_line(latitude, known, at):
    """180 degrees east is 180 degrees west."""
    east, west = (level(Site(latitude, longitude), known, at) for longitude in (180, -180))
    assert east == pytest.approx(west, abs=1e-6)


def test_a_minute_across_the_date_line():
    """Neighbours on both sides, at the same moment: the same light, whatever their calendars say."""
    moment = datetime(2026, 3, 20, 23, tzinfo=UTC)  # towards noon
    fiji, samoa = timezone(timedelta(hours=12)), timezone(timedelta(hours=-11))
    known = Known(Spot("sun"), 12, moment, "clear")
    west = level(Site(-17, 179.99), known, (moment + timedelta(hours=2)).astimezone(fiji))
    east = level(Site(-17, -179.99), known, (moment + timedelta(hours=2)).astimezone(samoa))
    assert west == pytest.approx(east, abs=0.01)


# Limits


def test_as_many_as_are_allowed():
    """Five thousand times; a thousand readings; none."""
    assert TIMES_MOST == 5000
    assert READINGS_MOST == 1000
    known = Known(Spot("shade"), 10, NOON, "clear")
    assert forecast(GREENWICH, [known], [NOON] * 5000).ev100.shape == (1, 5000)
    assert forecast(GREENWICH, [known] * 1000, [NOON]).ev100.shape == (1000, 1)
    assert forecast(GREENWICH, [], [NOON]).ev100.shape == (0, 1)
    assert forecast(GREENWICH, [known], []).ev100.shape == (1, 0)


@pytest.mark.parametrize("spot", [Spot("shade"), Spot("lamps")], ids=["shade", "lamps"])
@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"at": [NOON] * 5001}, "at"),
        ({"readings": 1001}, "readings"),
        ({"at": [NOON, datetime(9999, 12, 31, 23, 59, tzinfo=UTC)]}, "at"),
        ({"at": [datetime(9999, 12, 31, 23, 59, tzinfo=timezone(timedelta(hours=-12)))]}, "at"),
        ({"at": [datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=14)))]}, "at"),
        ({"at": [datetime(1949, 12, 31, tzinfo=UTC)]}, "at"),
        ({"at": [datetime(2151, 1, 1, tzinfo=UTC)]}, "at"),
        ({"at": [datetime(2026, 6, 20, 12)]}, "at"),  # noqa: DTZ001 - a naive time is the point
        ({"read_at": datetime(2026, 6, 20, 12)}, "read_at"),  # noqa: DTZ001 - and here
        ({"read_at": datetime(9999, 12, 31, 23, 59, tzinfo=UTC)}, "read_at"),
        ({"read_at": datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=14)))}, "read_at"),
        ({"ev100": math.nan}, "ev100"),
        ({"ev100": math.inf}, "ev100"),
        ({"ev100": 37}, "ev100"),
        ({"ev100": -17}, "ev100"),
        ({"sky": "hazy"}, "sky"),
        ({"sky": ""}, "sky"),
        ({"sky_now": "hazy"}, "sky"),
        ({"sky_now": ""}, "sky"),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(spot, change, field):
    """Whatever lights the place."""
    asked = {"read_at": NOON, "ev100": 10, "sky": "clear", "at": [NOON], "readings": 1, "sky_now": None} | change
    with pytest.raises(OutOfRange) as refused:
        forecast(
            GREENWICH,
            [Known(spot, asked["ev100"], asked["read_at"], asked["sky"])] * asked["readings"],
            asked["at"],
            asked["sky_now"],
        )
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"light": "moon"}, "light"),
        ({"light": ""}, "light"),
        ({"lit_from": "below"}, "lit_from"),
        ({"faces": 360.1}, "faces"),
        ({"faces": -1}, "faces"),
        ({"faces": math.nan}, "faces"),
        ({"lamps": 1.01}, "lamps"),
        ({"lamps": -0.01}, "lamps"),
        ({"lamps": math.nan}, "lamps"),
        ({"sun_over": 60.1}, "sun_over"),
        ({"sun_over": -0.1}, "sun_over"),
        ({"sun_behind": math.nan}, "sun_behind"),
        ({"sun_behind": 90}, "sun_behind"),
    ],
)
def test_a_spot_that_cannot_be_is_refused_by_its_field(change, field):
    """NaN is outside every range."""
    with pytest.raises(OutOfRange) as refused:
        Spot(**({"light": "window"} | change))
    assert refused.value.field == field
