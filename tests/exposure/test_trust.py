"""
The light when it is used, and how far it can be trusted.

The limits (20 minutes, a third of a stop, 12 hours of lamps, 45 days, 2 stops too bright) are common practice, with no
source. At Greenwich on 2026-06-20 the sun stands at 61.96 degrees at 12:00 UTC and at -3.58 at 20:45, rises at 03:42:34
and sets at 20:20:39, and civil twilight ends at 21:08:21 (skyfield, check-values 4.7).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.exposure.daylight import SKIES, Spot
from server.exposure.light import EV100_BRIGHTEST, EV100_DIMMEST
from server.exposure.refused import OutOfRange
from server.exposure.sun import Site
from server.exposure.trust import FRESH_FOR, Level, Read, carried_to, courses, levels, levels_then

GREENWICH = Site(51.4769, 0)
LONDON = ZoneInfo("Europe/London")
NOON = datetime(2026, 6, 20, 12, tzinfo=UTC)
MIDNIGHT = datetime(2026, 6, 20, 0, tzinfo=UTC)  # the sun at -15
WINTER_NIGHT = datetime(2026, 12, 20, 0, tzinfo=UTC)
MINUTE, HOUR, SECOND = timedelta(minutes=1), timedelta(hours=1), timedelta(seconds=1)

SHADE, SUN, WINDOW, LAMPS = Spot("shade"), Spot("sun"), Spot("window"), Spot("lamps")


def at_clock(hour, minute=0, second=0):
    """That day, UTC."""
    return datetime(2026, 6, 20, hour, minute, second, tzinfo=UTC)


def one(spot, ev100, read_at, at, *, sky="clear", sky_now=None, nudge=0, site=GREENWICH) -> Level:
    """One reading, at one time."""
    (level,) = levels(site, [Read(spot, ev100, read_at, sky, nudge)], at, sky_now)
    return level


def says(level):
    return level.trust, level.doubt


# Fresh


@pytest.mark.parametrize("spot", [SUN, SHADE, WINDOW, Spot("window", faces=180, lamps=0.5)])
@pytest.mark.parametrize("since", [timedelta(0), 19 * MINUTE, 20 * MINUTE, -20 * MINUTE])
def test_a_reading_is_fresh_for_20_minutes(spot, since):
    """At noon the sun hardly moves. A reading may also be newer than the time that is asked about."""
    assert says(one(spot, 10, NOON, NOON + since)) == ("fresh", "")


@pytest.mark.parametrize("since", [20 * MINUTE + SECOND, HOUR, 30 * HOUR, -20 * MINUTE - SECOND, -3 * HOUR])
def test_older_than_that_it_is_a_forecast(since):
    """Until there is a reason to doubt it."""
    assert says(one(SHADE, 10, NOON, NOON + since)) == ("forecast", "")


@pytest.mark.parametrize(("since", "trust"), [(MINUTE, "fresh"), (5 * MINUTE, "forecast"), (-MINUTE, "fresh"), (-5 * MINUTE, "forecast")])  # fmt: skip
def test_in_twilight_it_is_fresh_for_a_third_of_a_stop(since, trust):
    """
    Between -3 and -6 degrees published twilight falls by 1.51 stops a degree (check-values 4.4), and that evening's sun
    sinks by 15 cos 51.5 sin 316 degrees an hour, 0.11 a minute: a sixth of a stop in one, most of a stop in five.
    """
    level = one(SHADE, 4, at_clock(20, 45), at_clock(20, 45) + since)
    assert says(level) == (trust, "")
    assert abs(level.drift) == pytest.approx(abs(since / MINUTE) * 0.165, rel=0.15)


def test_the_fall_from_sunset_to_civil_dusk_is_the_polynomials():
    """453.6 lx at -0.833 and 3.412 at -6: 7.05 stops, less the 0.05 of the first 20 seconds. The sun had set already."""
    level = one(SHADE, 9, at_clock(20, 21), at_clock(21, 8, 21))
    assert says(level) == ("forecast", "")
    assert level.drift == pytest.approx(-7.0, abs=0.1)
    assert level.light.ev100 == pytest.approx(9 - 7.0, abs=0.1)


# Every doubt


@pytest.mark.parametrize("sky", SKIES)
@pytest.mark.parametrize("sky_now", [*SKIES, None])
def test_another_sky_now_makes_it_stale(sky, sky_now):
    """However fresh; the same sky, or nobody saying, does not."""
    changed = sky_now not in (sky, None)
    expected = ("stale", "sky") if changed else ("fresh", "")
    assert says(one(SHADE, 10, NOON, NOON + MINUTE, sky=sky, sky_now=sky_now)) == expected


@pytest.mark.parametrize("sky_now", [*SKIES, None])
def test_a_sky_that_nobody_noted_cannot_have_changed(sky_now):
    """Readings from before skies were noted."""
    assert one(SHADE, 10, NOON, NOON + MINUTE, sky=None, sky_now=sky_now).doubt == ""


@given(st.integers(-600, 600))
@settings(deadline=None)
def test_a_sky_that_nobody_noted_is_taken_for_the_middle_one(minutes):
    """Partly cloudy: neither end of what it may have been."""
    at = NOON + minutes * MINUTE
    assert one(SUN, 10, NOON, at, sky=None) == one(SUN, 10, NOON, at, sky="partly")


@pytest.mark.parametrize(
    ("read_at", "at", "doubt"),
    [
        (at_clock(20, 5), at_clock(20, 20, 30), ""),  # nine seconds before sunset
        (at_clock(20, 5), at_clock(20, 20, 50), "set"),  # eleven after it
        (at_clock(20, 20, 50), at_clock(20, 30), ""),
        (at_clock(12), WINTER_NIGHT, "set"),
        (at_clock(3, 30), at_clock(3, 42, 24), ""),  # ten seconds before sunrise
        (at_clock(3, 30), at_clock(3, 42, 44), "risen"),
        (at_clock(3, 42, 44), at_clock(4), ""),
        (at_clock(12), NOON + 24 * HOUR, ""),  # it has set and risen again
        # For planning, the reading may be the later one: what counts is the sun at the one and at the other.
        (at_clock(3, 50), at_clock(3, 40), "set"),
        (at_clock(20, 30), at_clock(20, 10), "risen"),
    ],
)
def test_the_sun_has_set_or_risen(read_at, at, doubt):
    """By skyfield's sunset and sunrise."""
    level = one(SHADE, 8 if read_at == at_clock(12) else 5, read_at, at)
    assert level.doubt == doubt
    assert (level.trust == "stale") == bool(doubt)


@pytest.mark.parametrize("years", [-2, -1, 0, 1, 5])
@pytest.mark.parametrize(("days", "season"), [(-46, True), (-45, False), (0, False), (45, False), (46, True), (182, True)])  # fmt: skip
def test_another_season(years, days, season):
    """More than 45 days apart in the year's round, whichever year it was; March to May, so that no leap day lies between."""
    at = datetime(2026, 5, 15, 12, tzinfo=UTC)
    read_at = (at + timedelta(days=days)).replace(year=at.year + years)
    expected = ("stale", "season") if season else ("fresh" if read_at == at else "forecast", "")
    assert says(one(SHADE, 10, read_at, at)) == expected


@pytest.mark.parametrize(
    ("one_day", "other", "season"),
    [
        ((2026, 12, 31), (2027, 1, 1), False),  # a day apart
        ((2026, 12, 31), (2027, 2, 14), False),  # 45 days
        ((2026, 12, 31), (2027, 2, 15), True),  # 46
        ((2026, 12, 10), (2027, 1, 24), False),
        ((2026, 12, 10), (2027, 1, 25), True),
        ((2027, 12, 31), (2028, 2, 14), False),  # into a leap year
        ((2027, 12, 31), (2028, 2, 15), True),
        ((2028, 12, 31), (2029, 1, 1), False),  # out of one
        ((2028, 12, 31), (2029, 2, 14), False),
        ((2028, 12, 31), (2029, 2, 15), True),
        ((2028, 1, 20), (2028, 3, 5), False),  # over its leap day
        ((2028, 1, 20), (2028, 3, 6), True),
        ((2028, 2, 29), (2029, 2, 28), False),  # a year, less or more a day
        ((2028, 2, 29), (2029, 3, 1), False),
    ],
)
def test_the_year_is_round(one_day, other, season):
    """New Year's Eve is a day before New Year's Day, in leap years too, whichever of them is the reading's."""
    days = [datetime(*day, 12, tzinfo=UTC) for day in (one_day, other)]
    for read_at, at in (days, reversed(days)):
        assert says(one(SHADE, 10, read_at, at)) == (("stale", "season") if season else ("forecast", ""))


@pytest.mark.parametrize(
    ("read_at", "ev100", "bright"),
    [
        # IES, clear, facing: 100.1 + 15.2 klx at 60 degrees is EV 15.5 by C 250, and two stops are allowed.
        (NOON, 17.3, False),
        (NOON, 17.8, True),
        # The polynomial at -3.58 degrees: 46 lx, EV 4.2.
        (at_clock(20, 45), 6.0, False),
        (at_clock(20, 45), 6.5, True),
        # Below -18 degrees: 6.4e-4 lx, EV -11.9. A town's lamps, or the moon, are brighter than that.
        (WINTER_NIGHT, -10.2, False),
        (WINTER_NIGHT, -9.6, True),
        (WINTER_NIGHT, 3.0, True),
    ],
)
@pytest.mark.parametrize("spot", [SUN, SHADE, WINDOW])
def test_brighter_than_the_sun_can_make_it(spot, read_at, ev100, bright):
    """A slip of the finger, or a light that is not the sun's, which will not drift with it."""
    assert says(one(spot, ev100, read_at, read_at)) == (("stale", "bright") if bright else ("fresh", ""))


@pytest.mark.parametrize("at", [WINTER_NIGHT, at_clock(4), NOON, at_clock(20, 45)])
def test_what_the_sun_cannot_have_made_does_not_go_with_it(at):
    """A floodlit wall at night stays as it was read, by day too: it would be thousands of times the noon."""
    level = one(SHADE, 8, WINTER_NIGHT, at, sky_now="overcast")
    assert says(level) == ("stale", "bright")
    assert (level.low, level.light.ev100, level.high, level.drift) == (8, 8, 8, 0)


@pytest.mark.parametrize("sky_now", ["clear", None])
def test_nothing_is_carried_beyond_what_the_sun_can_make(sky_now):
    """
    An overcast EV 17 is two stops too bright, if not bright enough to doubt; the clear sky that may follow is 2.46 stops
    more by IES at 60 degrees. Full sun is EV 15.5, and two stops over it are the end.
    """
    level = one(SUN, 17, NOON, NOON, sky="overcast", sky_now=sky_now)
    assert level.high == pytest.approx(17.5, abs=0.1)
    assert level.light.ev100 == pytest.approx(17.5 if sky_now else 17, abs=0.1)
    assert level.low <= level.light.ev100 <= level.high


def test_lamps_may_be_brighter_than_the_sun():
    """Alone or in a mixture."""
    for spot in (LAMPS, Spot("shade", lamps=0.3), Spot("sun", lamps=1.0)):
        assert one(spot, 19, NOON, NOON).doubt == ""


def test_the_gravest_doubt_is_the_one_that_is_said():
    """A reading that cannot be; then another sky; then the sun gone or come; then the season."""
    winter_noon = datetime(2026, 12, 20, 12, tzinfo=UTC)
    assert one(SHADE, 19, NOON, WINTER_NIGHT, sky_now="overcast").doubt == "bright"
    assert one(SHADE, 10, NOON, WINTER_NIGHT, sky_now="overcast").doubt == "sky"
    assert one(SHADE, 10, NOON, WINTER_NIGHT).doubt == "set"
    assert one(SHADE, -11, at_clock(0), winter_noon).doubt == "risen"
    assert one(SHADE, 10, NOON, winter_noon, sky_now="clear").doubt == "season"
    for at, sky_now in ((WINTER_NIGHT, "overcast"), (WINTER_NIGHT, None), (winter_noon, None), (NOON, "partly")):
        assert one(SHADE, 10, NOON, at, sky_now=sky_now).trust == "stale"


def test_a_mixture_is_doubted_as_daylight_is():
    """Some of it drifts."""
    spot = Spot("window", lamps=0.5)
    assert says(one(spot, 8, NOON, NOON + MINUTE, sky_now="overcast")) == ("stale", "sky")
    assert says(one(spot, 8, NOON, MIDNIGHT)) == ("stale", "set")
    assert says(one(spot, 8, NOON, NOON + timedelta(days=100))) == ("stale", "season")
    level = one(spot, 8, NOON, WINTER_NIGHT)
    assert level.light.ev100 == pytest.approx(7, abs=1e-3)  # half of the light is left: a stop down


# Lamps


@pytest.mark.parametrize("site", [GREENWICH, None])
@pytest.mark.parametrize("spot", [LAMPS, Spot("window", lamps=1.0)])
@pytest.mark.parametrize(
    ("since", "trust"),
    [(timedelta(0), "fresh"), (12 * HOUR, "fresh"), (-12 * HOUR, "fresh"), (12 * HOUR + SECOND, "forecast"), (timedelta(days=183), "forecast")],
)  # fmt: skip
def test_lamps_are_fresh_for_12_hours_and_never_stale(site, spot, since, trust):
    """Day or night, whatever the sky and the season, with coordinates or without."""
    level = one(spot, 7.2, NOON, NOON + since, sky_now="overcast", site=site)
    assert says(level) == (trust, "")
    assert (level.low, level.light.ev100, level.high, level.drift) == (7.2, 7.2, 7.2, 0)


# No coordinates


@pytest.mark.parametrize("spot", [SUN, SHADE, WINDOW, Spot("sun", lamps=0.9)])
@pytest.mark.parametrize(
    ("since", "said"),
    [
        (timedelta(0), ("fresh", "")),
        (20 * MINUTE, ("fresh", "")),
        (-20 * MINUTE, ("fresh", "")),
        (20 * MINUTE + SECOND, ("stale", "nowhere")),
        (-HOUR, ("stale", "nowhere")),
        (timedelta(days=200), ("stale", "nowhere")),
    ],
)
def test_without_coordinates_daylight_is_known_for_20_minutes(spot, since, said):
    """What the sun does since cannot be known; the reading stands as it is."""
    level = one(spot, 9.5, NOON, NOON + since, sky_now="overcast", site=None)
    assert says(level) == said
    assert (level.low, level.light.ev100, level.high, level.drift) == (9.5, 9.5, 9.5, 0)


# Nudges, and the ends of what is light


@given(st.integers(-9, 9), st.integers(-500, 500), st.sampled_from([GREENWICH, None]))
@settings(deadline=None)
def test_three_clicks_are_a_stop(nudge, minutes, site):
    """On the light and on what the sky may make of it; the drift, the trust and the doubt are the reading's."""
    at = NOON + minutes * MINUTE
    plain, nudged = (one(SUN, 10, NOON, at, nudge=clicks, site=site) for clicks in (0, nudge))
    for name in ("low", "high"):
        assert (getattr(nudged, name) - getattr(plain, name)) * 3 == pytest.approx(nudge)
    assert (nudged.light.ev100 - plain.light.ev100) * 3 == pytest.approx(nudge)
    assert (nudged.drift, says(nudged)) == (plain.drift, says(plain))


@pytest.mark.parametrize(
    ("spot", "ev100", "read_at", "at", "nudge", "end"),
    [
        (SHADE, -10, NOON, WINTER_NIGHT, 0, EV100_DIMMEST),  # noon to night takes more than 20 stops
        (SHADE, -10, NOON, NOON, -90, EV100_DIMMEST),
        (Spot("shade", lamps=0.1), 20, WINTER_NIGHT, NOON, 0, EV100_BRIGHTEST),
        (SHADE, 20, NOON, NOON, 90, EV100_BRIGHTEST),
        (LAMPS, 20, NOON, NOON, 90, EV100_BRIGHTEST),
    ],
)
def test_what_is_no_light_any_more_is_held_at_the_ends(spot, ev100, read_at, at, nudge, end):
    """The level, and with it what the sky may make of it: low, light and high stay in their order."""
    level = one(spot, ev100, read_at, at, nudge=nudge)
    assert level.light.ev100 == end
    assert EV100_DIMMEST <= level.low <= level.light.ev100 <= level.high <= EV100_BRIGHTEST


def test_a_nudge_past_the_end_without_coordinates():
    """Held there too."""
    level = one(SHADE, 30, NOON, NOON, nudge=30, site=None)
    assert level.low == level.light.ev100 == level.high == EV100_BRIGHTEST


# Planning, clocks, and many at once


def test_a_reading_from_the_afternoon_serves_the_morning():
    """Taken at 16:00, asked for at 8:00 the same day, the sun as high as then: 8:00 and 15:57 are alike about 11:58."""
    level = one(Spot("sun", "above"), 14, at_clock(16), at_clock(8))
    assert says(level) == ("forecast", "")
    assert level.drift == pytest.approx(0, abs=0.05)
    early = one(Spot("sun", "above"), 14, at_clock(16), at_clock(6))
    back = one(Spot("sun", "above"), early.light.ev100, at_clock(6), at_clock(16))
    assert early.drift < -0.5
    assert back.light.ev100 == pytest.approx(14, abs=1e-9)


@pytest.mark.parametrize("site", [GREENWICH, None])
@pytest.mark.parametrize(
    ("read_at", "at", "fresh"),
    [
        # Clocks go back at 02:00 BST, 01:00 UTC: 01:55 BST and 01:05 GMT are ten minutes apart, 01:30 and 01:40 seventy.
        (datetime(2026, 10, 25, 1, 55, tzinfo=LONDON), datetime(2026, 10, 25, 1, 5, tzinfo=LONDON, fold=1), True),
        (datetime(2026, 10, 25, 1, 30, tzinfo=LONDON), datetime(2026, 10, 25, 1, 40, tzinfo=LONDON, fold=1), False),
        # They go forward at 01:00 GMT: 00:55 and 02:05 are ten minutes apart.
        (datetime(2026, 3, 29, 0, 55, tzinfo=LONDON), datetime(2026, 3, 29, 2, 5, tzinfo=LONDON), True),
    ],
)
def test_age_is_time_and_not_what_the_clock_shows(site, read_at, at, fresh):
    """In the night when the clocks change."""
    assert (one(WINDOW, -11, read_at, at, site=site).trust == "fresh") is fresh


@pytest.mark.parametrize("site", [GREENWICH, None])
@pytest.mark.parametrize("spot", [SHADE, LAMPS])
@pytest.mark.parametrize(
    ("read_at", "at", "field"),
    [
        (datetime(2026, 6, 20, 12), NOON, "read_at"),  # noqa: DTZ001 - a naive time is the point
        (NOON, datetime(2026, 6, 20, 12), "at"),  # noqa: DTZ001 - and here
    ],
)
def test_a_time_without_its_offset_is_refused(site, spot, read_at, at, field):
    """By its name, and not by an error in a sum."""
    with pytest.raises(OutOfRange) as refused:
        one(spot, 5, read_at, at, site=site)
    assert refused.value.field == field


reads = st.builds(
    Read,
    st.builds(
        Spot,
        st.sampled_from(("sun", "shade", "window", "lamps")),
        st.sampled_from(("front", "side", "back", "above")),
        st.one_of(st.none(), st.floats(0, 360)),
        st.one_of(st.just(0.0), st.floats(0, 1)),
        st.floats(0, 60),
        st.floats(0, 60),
    ),
    st.integers(-150, 350).map(lambda n: n / 10),
    st.datetimes(datetime(2025, 1, 1), datetime(2028, 12, 31), timezones=st.just(UTC)),  # noqa: DTZ001 - hypothesis adds it
    st.one_of(st.none(), st.sampled_from(SKIES)),
    st.integers(-20, 20),
)


@given(
    st.builds(Site, st.floats(-90, 90), st.floats(-180, 180)),
    st.lists(reads, max_size=4),
    st.lists(st.datetimes(datetime(2025, 1, 1), datetime(2028, 12, 31), timezones=st.just(UTC)), max_size=3),  # noqa: DTZ001 - hypothesis adds it
    st.one_of(st.none(), st.sampled_from(SKIES)),
)
@settings(deadline=None)
def test_many_times_are_one_at_a_time(site, readings, at, sky_now):
    """Carried to many times in one pass, the level is the one at each time, but for its nudge and the ends of light."""
    found = carried_to(site, readings, at, sky_now)
    assert found.ev100.shape == found.low.shape == found.high.shape == (len(readings), len(at))
    for column, time in enumerate(at):
        for row, (read, level) in enumerate(zip(readings, levels(site, readings, time, sky_now), strict=True)):
            if read.sky is None and abs(time - read.read_at) <= FRESH_FOR:
                continue  # levels takes the sky that stands then
            assert found.ev100[row, column] - read.ev100 == pytest.approx(level.drift, abs=1e-9)
            assert found.low[row, column] <= found.ev100[row, column] + 1e-9
            assert found.ev100[row, column] <= found.high[row, column] + 1e-9


@given(
    st.one_of(st.none(), st.builds(Site, st.floats(-90, 90), st.floats(-180, 180))),
    st.lists(reads, max_size=5),
    st.datetimes(datetime(2025, 1, 1), datetime(2028, 12, 31), timezones=st.just(UTC)),  # noqa: DTZ001 - hypothesis adds it
    st.one_of(st.none(), st.sampled_from(SKIES)),
)
@settings(deadline=None)
def test_all_at_once_is_one_at_a_time(site, readings, at, sky_now):
    """In their order; a doubt goes with stale and with nothing else."""
    together = levels(site, readings, at, sky_now)
    assert len(together) == len(readings)
    for read, level in zip(readings, together, strict=True):
        (alone,) = levels(site, [read], at, sky_now)
        assert says(level) == says(alone)
        assert (level.trust == "stale") == (level.doubt != "")
        assert (level.doubt == "nowhere") == (site is None and level.trust == "stale")
        for name in ("low", "high", "drift"):
            assert getattr(level, name) == pytest.approx(getattr(alone, name), abs=1e-9)
        assert level.light.ev100 == pytest.approx(alone.light.ev100, abs=1e-9)


MOMENTS = st.datetimes(datetime(2025, 1, 1), datetime(2028, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001 - hypothesis adds it


@given(
    st.one_of(st.none(), st.builds(Site, st.floats(-90, 90), st.floats(-180, 180))),
    st.lists(st.tuples(reads, st.one_of(MOMENTS, st.just(NOON))), max_size=5),
    st.one_of(st.none(), st.sampled_from(SKIES)),
)
@settings(deadline=None)
def test_each_at_its_own_time_is_one_at_a_time(site, asked, sky_now):
    """The stops of a day, every one in the light of its hour, in one pass."""
    together = levels_then(site, [read for read, _ in asked], [at for _, at in asked], sky_now)
    alone = [levels(site, [read], at, sky_now)[0] for read, at in asked]
    assert [says(level) for level in together] == [says(level) for level in alone]
    for one_of_them, other in zip(together, alone, strict=True):
        assert (one_of_them.light.ev100, one_of_them.low, one_of_them.high) == pytest.approx(
            (other.light.ev100, other.low, other.high), abs=1e-9
        )


def test_a_course_has_the_nudge_and_ends_where_light_ends():
    """Three clicks are a stop; lamps do not drift, and EV 36 is the brightest there is."""
    readings = [Read(LAMPS, 6, NOON, None, -3), Read(LAMPS, EV100_BRIGHTEST - 0.5, NOON, None, 3)]
    found = courses(GREENWICH, readings, [NOON, NOON + HOUR])
    assert found.ev100.ravel().tolist() == pytest.approx([5, 5, EV100_BRIGHTEST, EV100_BRIGHTEST])


def test_a_reading_in_the_open_that_is_darker_than_any_sky_leaves_it_is_doubted():
    """IES overcast at 62 degrees: about 18.8 klx, EV 12.9; six stops under it no porch is at noon. Windows may be."""
    assert one(SHADE, 6.5, NOON, NOON).doubt == "dim"
    assert one(SHADE, 7.5, NOON, NOON).doubt == ""
    assert one(Spot("window"), 2.0, NOON, NOON).doubt == ""
    assert one(Spot("shade", lamps=0.5), 2.0, NOON, NOON).doubt == ""


def test_an_unnoted_sky_is_the_one_said_just_after_and_no_longer():
    fresh = one(SUN, 12, NOON, NOON + 5 * MINUTE, sky=None, sky_now="overcast")
    assert (fresh.doubt, fresh.light.ev100) == ("", pytest.approx(12, abs=0.1))
    assert one(SUN, 12, NOON, NOON + 40 * MINUTE, sky=None, sky_now="overcast").doubt == "unnoted"
