"""The running order's clock: what is typed, across midnight and both changes of the clocks, and what the day shifts."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.book.order import Clock, When, clock_words, end_of, gaps, later, moment_of, order_of, when_of, whens
from server.exposure.refused import OutOfRange
from server.exposure.rig import Look

LONDON = "Europe/London"
SUMMER = date(2026, 6, 20)
FORWARD, BACK = date(2026, 3, 29), date(2026, 10, 25)  # 01:00 GMT, both: the EU's and the UK's rule


def clocks(*typed):
    return [Clock(int(hour) * 60 + int(minute), zone) for hour, minute, zone in (
        (*each.partition(" ")[0].split(":"), each.partition(" ")[2]) for each in typed)]  # fmt: skip


def utc(on, when, zone=LONDON):
    return f"{moment_of(on, when, zone).astimezone(UTC):%d %H:%M}"


def row(number, minutes, **more):
    return SimpleNamespace(**{
        "id": number, "uid": f"u{number}", "name": f"Stop {number}", "place_id": None, "minutes": minutes,
        "second": False, "lasts": None, "wanted": None, "widest": None, "narrowest": None, "lens_id": None, "notes": "",
    } | more)  # fmt: skip


def test_hours_after_midnight_under_later_ones_are_the_next_morning_s():
    """23:30, then 00:30 and 01:00: the dance floor is the same day."""
    found = whens(SUMMER, clocks("14:00", "23:30", "00:30", "01:00"), LONDON)
    assert [utc(SUMMER, each) for each in found] == ["20 13:00", "20 22:30", "20 23:30", "21 00:00"]


def test_a_dawn_start_is_the_day_s_own():
    found = whens(SUMMER, clocks("04:30", "05:15", "13:00"), LONDON)
    assert [each.minutes for each in found] == [270, 315, 780]


def test_an_hour_from_six_on_is_never_the_next_day_s():
    """14:00, then 09:00: typed out of order, not tomorrow."""
    assert [each.minutes for each in whens(SUMMER, clocks("14:00", "09:00"), LONDON)] == [840, 540]


def test_a_time_that_the_clocks_go_over_is_refused():
    """On 29 March 2026 British clocks went from 01:00 to 02:00."""
    with pytest.raises(OutOfRange) as refused:
        whens(FORWARD, clocks("00:30", "01:30"), LONDON)
    assert refused.value.field == "at.1"
    assert [utc(FORWARD, each) for each in whens(FORWARD, clocks("00:59", "02:00"), LONDON)] == ["29 00:59", "29 01:00"]


def test_of_two_equal_hours_the_first_that_follows_is_meant():
    """On 25 October 2026 there were two of 01:00 to 02:00. 01:45, then 01:15: half an hour later, not earlier."""
    found = whens(BACK, clocks("01:45", "01:15", "02:10"), LONDON)
    assert [utc(BACK, each) for each in found] == ["25 00:45", "25 01:15", "25 02:10"]


def test_of_two_equal_hours_the_one_that_is_said_is_meant():
    found = whens(BACK, clocks("01:15 GMT", "01:30 BST"), LONDON)
    assert [utc(BACK, each) for each in found] == ["25 01:15", "25 00:30"]


def test_equal_hours_are_shown_as_they_are_typed():
    both = [moment_of(BACK, When(75, second), LONDON) for second in (False, True)]
    assert [clock_words(each) for each in both] == ["01:15 BST", "01:15 GMT"]
    assert clock_words(moment_of(BACK, When(150), LONDON)) == "02:30"


@given(
    on=st.sampled_from((SUMMER, FORWARD, BACK)), minutes=st.integers(0, 30 * 60 - 1),
    zone=st.sampled_from((LONDON, "America/New_York", "Australia/Lord_Howe", "Etc/GMT-5")),
)  # fmt: skip
def test_any_moment_is_kept_and_found_again(on, minutes, zone):
    midnight = moment_of(on, When(0), zone)
    moment = later(midnight, minutes)
    assert moment_of(on, when_of(on, moment, zone), zone).astimezone(UTC) == moment.astimezone(UTC)


def test_times_that_are_known_stay_and_the_others_are_read_by_them():
    """23:00 of the evening is known; 00:30 is typed under it. And one of the next morning that stands alone stays there."""
    typed = [When(1380), Clock(30), When(1500), Clock(90)]
    assert [each.minutes for each in whens(SUMMER, typed, LONDON)] == [1380, 1470, 1500, 1530]
    assert whens(SUMMER, [When(1470)], LONDON) == [When(1470)]
    assert whens(SUMMER, [When(-20)], LONDON) == [When(-20)], "a shift may take the first one back over midnight"


@pytest.mark.parametrize(
    ("on", "start", "until", "lasts"),
    [
        (SUMMER, When(780), Clock(810), 30),
        (SUMMER, When(1430), Clock(10), 20),
        (SUMMER, When(1470), Clock(60), 30),
        (FORWARD, When(30), Clock(150), 60),
        (BACK, When(45), Clock(75), 30),
        (BACK, When(45), Clock(75, "GMT"), 90),
        (BACK, When(105), Clock(75), 30),
        (BACK, When(105), Clock(75, "GMT"), 30),
        (BACK, When(75, second=True), Clock(105), 30),
    ],
)
def test_an_end_is_the_first_moment_after_the_start_that_the_clock_shows_so(on, start, until, lasts):
    """British clocks: forward at 01:00 on 29 March 2026, back at 02:00 BST on 25 October; by hand, in real minutes."""
    begins = moment_of(on, start, LONDON)
    assert (end_of(on, begins, until, LONDON).astimezone(UTC) - begins.astimezone(UTC)) == timedelta(minutes=lasts)


@pytest.mark.parametrize(
    ("on", "start", "until"), [(SUMMER, 780, Clock(780)), (SUMMER, 780, Clock(770)), (FORWARD, 30, Clock(90))]
)
def test_an_end_that_does_not_come_is_refused(on, start, until):
    with pytest.raises(OutOfRange) as refused:
        end_of(on, moment_of(on, When(start), LONDON), until, LONDON)
    assert refused.value.field == "until"


def test_later_counts_real_time():
    """20 minutes after 00:50 GMT the British clock shows 02:10 on the morning it goes forward."""
    assert f"{later(moment_of(FORWARD, When(50), LONDON), 20):%H:%M}" == "02:10"


def test_a_shift_moves_what_comes_and_leaves_what_was_planned():
    order = order_of([row(1, 840), row(2, 870)], SUMMER, LONDON, {2: 20})
    assert [(f"{stop.planned:%H:%M}", f"{stop.at:%H:%M}") for stop in order] == [("14:00", "14:00"), ("14:30", "14:50")]


def test_a_shift_can_change_the_order():
    order = order_of([row(1, 840), row(2, 870), row(3, 880)], SUMMER, LONDON, {1: 60})
    assert [stop.number for stop in order] == [2, 3, 1]


def test_gaps_run_from_the_end_where_it_is_known():
    """14:00 for 20 minutes, 14:30, 14:20 late and overlapping: the first is waited for from now."""
    order = order_of([row(1, 840, lasts=20), row(2, 870), row(3, 900, lasts=10), row(4, 905)], SUMMER, LONDON, {})
    now = datetime(2026, 6, 20, 13, 30, tzinfo=ZoneInfo(LONDON))
    minutes = [None if each is None else each / timedelta(minutes=1) for each in gaps(order)]
    assert minutes == [None, 10, 30, -5]
    assert gaps(order, now)[0] == timedelta(minutes=30)


def test_a_gap_over_a_change_of_the_clocks_is_real_time():
    """00:30 and 02:30 lie an hour apart on the night that British clocks go forward."""
    order = order_of([row(1, 30), row(2, 150)], FORWARD, LONDON, {})
    assert gaps(order)[1] == timedelta(hours=1)


PLACE = Look(2.8, 2.0, 4.0, 0.02)


@pytest.mark.parametrize(
    ("asked", "wanted", "widest", "narrowest"),
    [
        ({}, 2.8, 2.0, 4.0),
        ({"wanted": 4.0}, 4.0, 2.0, 4.0),
        ({"wanted": 8.0}, 8.0, 2.0, 8.0),
        ({"wanted": 1.4}, 1.4, 1.4, 4.0),
        ({"widest": 4.0, "narrowest": 8.0}, 4.0, 4.0, 8.0),
        ({"narrowest": 2.2}, 2.2, 2.0, 2.2),
        ({"wanted": 5.6, "widest": 4.0, "narrowest": 8.0}, 5.6, 4.0, 8.0),
        ({"widest": 5.6}, 5.6, 5.6, 5.6),
    ],
)
def test_a_stop_s_own_look(asked, wanted, widest, narrowest):
    """What the stop asks for stands; the place's window gives way where it must."""
    (stop,) = order_of([row(1, 840, **asked)], SUMMER, LONDON, {})
    look = stop.look(PLACE)
    assert (look.wanted, look.widest, look.narrowest, look.shutter) == (wanted, widest, narrowest, 0.02)
