"""
Reading a stranger's calendar: what counts as an entry, whose clock it goes by, and that no file can hold the server up.

Held to RFC 5545 by the section that a test names; its own examples are in tests/published/test_rfc_5545.py.
"""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from server.door import calendars
from server.door.calendars import read_calendar
from server.exposure.refused import OutOfRange
from server.settings import CHECKOUT

LONDON = ZoneInfo("Europe/London")
MIDSUMMER = datetime(2026, 6, 20, tzinfo=LONDON)  # a Saturday
AT_NOON = "DTSTART:20260620T120000Z"  # 13:00 in London


def event(*lines, uid="one"):
    return ["BEGIN:VEVENT", f"UID:{uid}", "DTSTAMP:20260101T000000Z", *lines, "END:VEVENT"]


def file_of(*parts):
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Example//EN"]
    for part in parts:
        lines += part
    return "\r\n".join([*lines, "END:VCALENDAR", ""]).encode()


def day_of(data, on=MIDSUMMER, zone="Europe/London", days=1):
    return read_calendar(data, on, on + timedelta(days=days), zone)


def hours(found):
    return [f"{entry.start:%H:%M}" for entry in found.entries]


def spans(found):
    return [f"{entry.name} {entry.start:%H:%M}-{entry.end:%H:%M}" for entry in found.entries]


# What an entry is


def test_an_entry_has_its_times_by_the_clock_that_was_asked_for_and_its_texts():
    data = file_of(
        event(
            "DTSTART;TZID=America/New_York:20260620T083000",
            "DTEND:20260620T130000Z",
            r"SUMMARY:Vows\, rings",
            "LOCATION;LANGUAGE=en:Chapel",
            r"DESCRIPTION:first\nsecond",
        )
    )
    (entry,) = day_of(data).entries
    assert entry.start == datetime(2026, 6, 20, 13, 30, tzinfo=LONDON)
    assert entry.end == datetime(2026, 6, 20, 14, 0, tzinfo=LONDON)
    assert (entry.start.tzinfo, entry.end.tzinfo) == (LONDON, LONDON)
    assert (entry.name, entry.place, entry.notes) == ("Vows, rings", "Chapel", "first\nsecond")


def test_the_window_begins_with_its_first_moment_and_ends_before_its_last_and_entries_are_in_order():
    data = file_of(
        event("DTSTART;TZID=Europe/London:20260621T000000", "SUMMARY:next day", uid="1"),
        event("DTSTART;TZID=Europe/London:20260620T235959", "SUMMARY:last", uid="2"),
        event("DTSTART;TZID=Europe/London:20260620T000000", "SUMMARY:first", uid="3"),
        event("DTSTART;TZID=Europe/London:20260619T235959", "DTEND;TZID=Europe/London:20260620T120000", uid="4"),
    )
    found = day_of(data)
    assert [entry.name for entry in found.entries] == ["first", "last"]
    assert found.elsewhere == 2


def test_a_time_without_a_zone_is_meant_by_the_clock_that_was_asked_for():
    """RFC 5545, 3.3.5, form 1."""
    data = file_of(event("DTSTART:20260620T133000"))
    for zone in ("Europe/London", "America/New_York", "Etc/GMT-5"):
        on = MIDSUMMER.replace(tzinfo=ZoneInfo(zone))
        assert [entry.start for entry in day_of(data, on, zone).entries] == [on.replace(hour=13, minute=30)]


@pytest.mark.parametrize(
    ("lines", "end"),
    [
        (["DTEND:20260620T123000Z"], "13:30"),
        (["DURATION:PT45M"], "13:45"),
        (["DURATION:P1D"], "13:00"),
        ([], None),
        (["DTEND:20260620T120000Z"], None),
    ],
)
def test_an_end_is_said_or_worked_out_from_a_length_or_not_known(lines, end):
    (entry,) = day_of(file_of(event(AT_NOON, *lines))).entries
    assert (entry.end and f"{entry.end:%H:%M}") == end


def test_rfc_5545_3_3_6_a_length_in_hours_is_exact_while_the_clocks_change():
    """Clocks go from 01:00 to 02:00: two hours after midnight they show three, a day later they show midnight."""
    night = datetime(2026, 3, 29, tzinfo=LONDON)
    data = file_of(
        event("DTSTART;TZID=Europe/London:20260329T000000", "DURATION:PT2H", "SUMMARY:hours", uid="1"),
        event("DTSTART;TZID=Europe/London:20260329T000000", "DURATION:P1D", "SUMMARY:day", uid="2"),
        event("DTSTART:20260329T000000", "DURATION:PT2H", "SUMMARY:no zone", uid="3"),
    )
    ends = {entry.name: f"{entry.end:%d %H:%M}" for entry in day_of(data, night).entries}
    assert ends == {"hours": "29 03:00", "day": "30 00:00", "no zone": "29 03:00"}


def test_rfc_5545_3_3_5_a_time_that_comes_twice_is_its_first_and_one_that_does_not_come_is_by_the_old_clock():
    autumn, spring = datetime(2026, 10, 25, tzinfo=LONDON), datetime(2026, 3, 29, tzinfo=LONDON)
    twice = file_of(event("DTSTART;TZID=Europe/London:20261025T013000"))
    never = file_of(event("DTSTART;TZID=Europe/London:20260329T013000"))
    assert [entry.start.astimezone(UTC).hour for entry in day_of(twice, autumn).entries] == [0]
    assert hours(day_of(never, spring)) == ["02:30"]


def test_all_day_events_of_the_window_are_counted_and_left_out():
    data = file_of(
        event("DTSTART;VALUE=DATE:20260620", uid="1"),
        event("DTSTART;VALUE=DATE:20260619", "DTEND;VALUE=DATE:20260621", uid="2"),
        event("DTSTART;VALUE=DATE:20260619", "DTEND;VALUE=DATE:20260620", uid="yesterday"),
        event("DTSTART;VALUE=DATE:20200101", "RRULE:FREQ=WEEKLY;BYDAY=SA", uid="3"),
    )
    found = day_of(data)
    assert (found.entries, found.whole_days, found.elsewhere) == ((), 3, 1)


def test_cancelled_entries_are_left_out():
    data = file_of(
        event(AT_NOON, "STATUS:CANCELLED", uid="1"),
        event("DTSTART:20260620T130000Z", "STATUS:CONFIRMED", uid="2"),
        event("DTSTART:20260613T140000Z", "RRULE:FREQ=WEEKLY", uid="3"),
        event("DTSTART:20260620T140000Z", "RECURRENCE-ID:20260620T140000Z", "STATUS:CANCELLED", uid="3"),
    )
    found = day_of(data)
    assert hours(found) == ["14:00"]
    assert found.elsewhere == 1, "the one that repeats has other days; the cancelled one has none"


# Repetitions


def test_rfc_5545_3_8_4_4_a_repetition_that_was_changed_is_as_it_was_changed():
    """Moved within the day, moved into it from another, and moved out of it; by the clock in winter and summer."""
    every_saturday = ["DTSTART;TZID=Europe/London:20260103T090000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY"]
    data = file_of(
        event(*every_saturday, "SUMMARY:as ever", uid="a"),
        event(*every_saturday, "SUMMARY:was nine", uid="b"),
        event(
            "RECURRENCE-ID;TZID=Europe/London:20260620T090000", "DTSTART:20260620T100000Z", "DURATION:PT2H",
            "SUMMARY:now eleven", uid="b",
        ),
        event(*every_saturday, "SUMMARY:also its own", uid="c"),
        event("RECURRENCE-ID;TZID=Europe/London:20260613T090000", "DTSTART:20260620T150000Z", "DTEND:20260620T153000Z", "SUMMARY:from last week", uid="c"),
        event(*every_saturday, "SUMMARY:away", uid="d"),
        event("RECURRENCE-ID;TZID=Europe/London:20260620T090000", "DTSTART:20260621T150000Z", "SUMMARY:away", uid="d"),
    )  # fmt: skip
    found = day_of(data)
    assert spans(found) == [
        "as ever 09:00-10:00",
        "also its own 09:00-10:00",
        "now eleven 11:00-13:00",
        "from last week 16:00-16:30",
    ]
    assert found.elsewhere == 1


def test_rfc_5545_3_2_13_a_change_of_this_and_future_moves_what_comes_after_it():
    data = file_of(
        event("DTSTART;TZID=Europe/London:20260606T090000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY", "SUMMARY:old"),
        event(
            "RECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Europe/London:20260613T090000",
            "DTSTART;TZID=Europe/London:20260613T110000", "DURATION:PT2H", "SUMMARY:new",
        ),
    )  # fmt: skip
    spans_by_day = [spans(day_of(data, MIDSUMMER + timedelta(days=days))) for days in (-14, -7, 0)]
    assert spans_by_day == [["old 09:00-10:00"], ["new 11:00-13:00"], ["new 11:00-13:00"]]


def test_the_newest_change_of_a_repetition_holds_and_none_of_one_that_was_left_out():
    """RFC 5545, 3.8.7.4 and 3.8.5.1."""
    weekly = ["DTSTART;TZID=Europe/London:20260103T090000", "RRULE:FREQ=WEEKLY"]
    which = "RECURRENCE-ID;TZID=Europe/London:20260620T090000"
    data = file_of(
        event(*weekly, uid="1"),
        event(which, "DTSTART:20260620T100000Z", "SEQUENCE:2", "SUMMARY:newest", uid="1"),
        event(which, "DTSTART:20260620T110000Z", "SEQUENCE:1", "SUMMARY:older", uid="1"),
        event(*weekly, "EXDATE;TZID=Europe/London:20260620T090000", uid="2"),
        event(which, "DTSTART:20260620T120000Z", "SUMMARY:left out", uid="2"),
    )
    assert [entry.name for entry in day_of(data).entries] == ["newest"]


def test_rfc_5545_3_8_5_dates_that_are_added_come_and_dates_that_are_left_out_do_not():
    data = file_of(
        event(
            "DTSTART;TZID=Europe/London:20260101T100000",
            "RDATE;TZID=Europe/London:20260620T110000,20260620T120000",
            "RDATE;VALUE=PERIOD:20260620T150000Z/PT30M",
            "EXDATE;TZID=Europe/London:20260620T120000",  # 11:00 in UTC, which is no exception for 11:00 here
            uid="1",
        ),
        event("DTSTART:20260101T080000Z", "RRULE:FREQ=DAILY", "EXDATE:20260620T080000Z", uid="2"),
        event("DTSTART:20260101T220000", "DURATION:PT4H", "RRULE:FREQ=DAILY", "EXDATE;VALUE=DATE:20260620", uid="3"),
    )
    assert hours(day_of(data)) == ["11:00", "16:00"]


@pytest.mark.parametrize(
    ("begins", "until", "comes"),
    [
        # 3.3.10: in UTC where the event has a zone. 18:00 in New York is 22:00Z.
        (";TZID=America/New_York:20260618T180000", "20260620T220000Z", True),
        (";TZID=America/New_York:20260618T180000", "20260620T215959Z", False),
        # Against the standard, and often met: by the event's own clock; a bare date is all of its day.
        (";TZID=America/New_York:20260618T180000", "20260620T180000", True),
        (";TZID=America/New_York:20260618T180000", "20260620", True),
        (";TZID=America/New_York:20260618T180000", "20260619", False),
        (":20260618T180000", "20260620T180000", True),
        (":20260618T180000", "20260620T165959Z", False),
        (":20260618T180000", "20260620T170000Z", True),
    ],
)
def test_the_end_of_a_rule_is_meant_by_the_events_clock(begins, until, comes):
    data = file_of(event(f"DTSTART{begins}", f"RRULE:FREQ=DAILY;UNTIL={until}"))
    assert bool(day_of(data).entries) is comes


def test_rfc_5545_a_rule_keeps_the_hour_of_its_own_clock_when_others_change():
    """09:00 in New York, while London's summer has begun and New York's has for three weeks: one hour earlier here."""
    data = file_of(event("DTSTART;TZID=America/New_York:20260105T090000", "RRULE:FREQ=DAILY"))
    day = datetime(2026, 3, 1, tzinfo=LONDON)
    assert hours(day_of(data, day)) == ["14:00"]
    assert hours(day_of(data, day + timedelta(days=14))) == ["13:00"]
    assert hours(day_of(data, day + timedelta(days=31))) == ["14:00"]


def test_events_that_share_a_name_are_versions_of_one_or_each_its_own():
    """RFC 5545, 3.8.7.4: the higher SEQUENCE holds. One UID for all is against 3.8.4.7, and must lose nobody's stop."""
    data = file_of(
        event("DTSTART:20260620T080000Z", "SEQUENCE:1", "SUMMARY:old", uid="1"),
        event("DTSTART:20260620T090000Z", "SEQUENCE:2", "SUMMARY:new", uid="1"),
        event("DTSTART:20260620T100000Z", "SUMMARY:a", uid="same"),
        event("DTSTART:20260620T110000Z", "SUMMARY:b", uid="same"),
        event("DTSTART:20260620T110000Z", "SUMMARY:b", uid="same"),
        event("DTSTART:20260620T120000Z", "SUMMARY:c", uid=""),
        event("DTSTART:20260620T130000Z", "SUMMARY:d", uid=""),
    )
    assert [entry.name for entry in day_of(data).entries] == ["new", "a", "b", "c", "d"]


# Time zones


def test_a_zone_may_be_described_under_a_name_of_the_files_own():
    """RFC 5545, 3.6.5: half past four hours ahead, under names that mean nothing elsewhere; quotes and folds too."""
    zone = [
        "BEGIN:VTIMEZONE", "TZID:The Valley, summer", "BEGIN:STANDARD", "DTSTART:19700101T000000",
        "TZOFFSETFROM:+0430", "TZOFFSETTO:+0430", "END:STANDARD", "END:VTIMEZONE",
    ]  # fmt: skip
    data = file_of(zone, event('DTSTART;TZID="The Valley, ', ' summer":20260620T133000'))
    assert [entry.start.astimezone(UTC).strftime("%H:%M") for entry in day_of(data).entries] == ["09:00"]


@pytest.mark.parametrize("tzid", ["Nowhere/Known", "../../etc/passwd", "/etc/passwd", "..", "Ürgendwo"])
def test_a_zone_that_nobody_knows_is_refused_where_it_matters(tzid):
    refused = file_of(event(f"DTSTART;TZID={tzid}:20260620T133000"))
    with pytest.raises(OutOfRange, match="time zone") as word:
        day_of(refused)
    assert word.value.field == "calendar"
    assert tzid in word.value.came
    assert day_of(file_of(event(f"DTSTART;TZID={tzid}:20260601T133000"))).elsewhere == 1


def test_a_zone_that_nobody_knows_matters_as_far_as_clocks_may_differ():
    """The furthest are 26 hours apart: noon of the next day there may be this day here, that of the day after may not."""
    next_day, day_after = (file_of(event(f"DTSTART;TZID=Nowhere:202606{on}T120000")) for on in (21, 22))
    with pytest.raises(OutOfRange, match="the time zone Nowhere"):
        day_of(next_day)
    assert day_of(day_after).elsewhere == 1


@pytest.mark.parametrize("tzid", ["Europe", "Europe/", "A" * 5000])
def test_a_zone_whose_name_is_a_folders_or_endless_is_refused(tzid):
    with pytest.raises(OutOfRange, match="time zone whose name is none"):
        day_of(file_of(event(f"DTSTART;TZID={tzid}:20260620T133000")))


def test_the_clock_that_is_asked_for_must_be_known():
    for zone in ("Nowhere/Known", "../../etc/passwd", "", "a\0b", "Europe"):
        with pytest.raises(OutOfRange) as word:
            read_calendar(file_of(event(AT_NOON)), MIDSUMMER, MIDSUMMER + timedelta(days=1), zone)
        assert word.value.field == "time_zone"


# Files that are not as they should be


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "nothing came"),
        (b" \r\n\r\n", "nothing came"),
        (b"13:30 Chapel", "begins with BEGIN:VCALENDAR"),
        (bytes(range(256)) * 4000, "begins with BEGIN:VCALENDAR"),
        (b"BEGIN:VEVENT\r\nEND:VEVENT\r\n", "begins with BEGIN:VCALENDAR"),
        (b"BEGIN:VCALENDAR\r\n" + bytes(range(256)) * 4000, "none of a calendar's"),
        (b"BEGIN:VCALENDAR\r\nhello\r\nEND:VCALENDAR\r\n", "none of a calendar's"),
        (b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", "breaks off"),
        (file_of(event(AT_NOON))[:-20], "breaks off"),
        (b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\nEND:VCALENDAR\r\n", "none of a calendar's"),
        (b"BEGIN:VCALENDAR\r\nCALSCALE:JULIAN\r\nEND:VCALENDAR\r\n", "JULIAN came, allowed is the Gregorian"),
        (file_of(*[event(AT_NOON)] * 10_000), "10,000 events came"),
        (file_of(event(AT_NOON, "RRULE:FREQ=SECONDLY;COUNT=2000")), "more than 1,000 entries"),
    ],
)
def test_what_is_no_calendar_or_too_much_of_one_is_told_so(data, word):
    with pytest.raises(OutOfRange, match=word) as refused:
        day_of(data)
    assert refused.value.field == "calendar"


def test_folds_do_not_hide_how_many_events_there_are():
    """A line may be folded anywhere (RFC 5545, 3.1), also within the word that is counted first."""
    lines = event(AT_NOON)
    hidden = file_of(*[["BEGIN:VEV", " ENT", *lines[1:]]] * 5001)
    with pytest.raises(OutOfRange, match="5,001 events came"):
        day_of(hidden)


UNREAD = [
    (["SUMMARY:no time"], "no time: it does not say when it begins"),
    (["SUMMARY:dashes", "DTSTART:2026-06-20 13:30"], "dashes: its DTSTART cannot be read"),
    (["DTSTART:20260620T250000"], "an entry with no name: its DTSTART cannot be read"),
    ([AT_NOON, "DTSTART:20260620T130000Z"], "an entry with no name: it has DTSTART more than once"),
    ([AT_NOON, "DTEND:later"], "an entry with no name: its DTEND cannot be read"),
    ([AT_NOON, "DTEND:20260620T110000Z"], "an entry with no name: it ends before it begins"),
    ([AT_NOON, "DURATION:-PT1H"], "an entry with no name: it ends before it begins"),
    ([AT_NOON, "DTEND;VALUE=DATE:20260621"], "an entry with no name: of its beginning and its end, one is a date and one is a time"),
    ([AT_NOON, "RRULE:FREQ=SOMETIMES"], "an entry with no name: its RRULE cannot be read"),
    ([AT_NOON, "RRULE:BYDAY=MO"], "an entry with no name: its times cannot be worked out"),
    ([AT_NOON, "RRULE:FREQ=DAILY;INTERVAL=0"], "an entry with no name: its rule goes on by nothing"),
    ([AT_NOON, "RRULE:FREQ=DAILY", "EXRULE:FREQ=DAILY"], "an entry with no name: it has a rule for what it leaves out"),
    (["DTSTART:99991231T235959Z", "DURATION:P1W"], "an entry with no name: its times cannot be worked out"),
]  # fmt: skip


def test_an_entry_that_cannot_be_read_is_told_and_the_others_are_read():
    data = file_of(
        event(AT_NOON, uid="good"), *(event(*lines, uid=str(number)) for number, (lines, _) in enumerate(UNREAD))
    )
    found = day_of(data)
    assert found.unread == tuple(word for _, word in UNREAD)
    assert hours(found) == ["13:00"]


def test_a_crowd_of_entries_that_cannot_be_read_is_told_in_few_words():
    found = day_of(file_of(*(event("SUMMARY:" + "x" * 500, uid=str(number)) for number in range(200))))
    assert len(found.unread) == 21
    assert found.unread[-1] == "and 180 more"
    assert max(map(len, found.unread)) < 120


def test_texts_in_other_coats_are_read():
    """Windows-1252 in place of UTF-8, a byte order mark, NUL, bare line feeds, and properties that nobody knows."""
    named = event(AT_NOON, "SUMMARY:Café\0", "X-COLOUR;X-A=b:blue", "GEO:nowhere", "SEQUENCE:first")
    assert [entry.name for entry in day_of(file_of(named).decode().encode("cp1252")).entries] == ["Café"]
    assert [entry.name for entry in day_of(b"\xef\xbb\xbf" + file_of(named)).entries] == ["Café"]
    assert [entry.name for entry in day_of(file_of(named).replace(b"\r\n", b"\n")).entries] == ["Café"]


def test_several_calendars_in_one_file_are_all_read():
    """RFC 5545, 3.4."""
    one, other = file_of(event(AT_NOON)), file_of(event("DTSTART:20260620T140000Z", uid="two"))
    assert hours(day_of(one + other)) == ["13:00", "15:00"]


def test_a_long_text_is_cut():
    (entry,) = day_of(file_of(event(AT_NOON, "DESCRIPTION:" + "😀" * 250_000))).entries
    assert entry.notes == "😀" * 1999 + "…"


# Files that are meant to hold the server up

ZONE = "BEGIN:VTIMEZONE|TZID:Odd|BEGIN:STANDARD|DTSTART:19700101T000000|TZOFFSETFROM:+0100|TZOFFSETTO:+0000|RRULE:{}|END:STANDARD|END:VTIMEZONE"
IN_ODD_ZONE = event("DTSTART;TZID=Odd:20260620T120000")
HOSTILE = {
    "a count without end": file_of(event(AT_NOON, "RRULE:FREQ=DAILY;COUNT=999999999")),
    "a huge interval": file_of(event(AT_NOON, "RRULE:FREQ=YEARLY;INTERVAL=999999999")),
    "an interval of many digits": file_of(event(AT_NOON, "RRULE:FREQ=DAILY;INTERVAL=" + "9" * 5000)),
    "100,000 added dates": file_of(event(AT_NOON, "RDATE:" + ",".join(["20260620T120000Z"] * 100_000))),
    "the year 1": file_of(event("DTSTART:00010101T000000Z")),
    "the year 1, yearly": file_of(event("DTSTART:00010101T000000", "RRULE:FREQ=YEARLY")),
    "the year 9999": file_of(event("DTSTART:99991231T235959Z", "RRULE:FREQ=DAILY")),
    "a line of 1 MB": file_of(event(AT_NOON, "LOCATION:" + "x" * 1_000_000)),
    "a parameter of 1 MB of spaces": file_of(event(AT_NOON, "X;A=" + " " * 1_000_000 + ":1")),
    "a line in 300,000 folds": file_of(event(AT_NOON, "LOCATION:a" + "\r\n b" * 300_000)),
    "1 MB of empty lines": file_of(event(AT_NOON, "\n" * 1_000_000)),
    "components 10,000 deep": b"BEGIN:VCALENDAR\r\n" + b"BEGIN:X\r\n" * 10_000 + b"END:X\r\n" * 10_000 + b"END:VCALENDAR\r\n",
    "events within events": b"BEGIN:VCALENDAR\r\n" + b"BEGIN:VEVENT\r\n" * 4000 + b"END:VEVENT\r\n" * 4000 + b"END:VCALENDAR\r\n",
    "a zone's name of 100 kB": file_of(event("DTSTART;TZID=" + "A" * 100_000 + ":20260620T120000")),
    "a zone that is a folder": file_of(event("DTSTART;TZID=America:20260620T120000")),
    "a zone that changes every second": file_of(ZONE.format("FREQ=SECONDLY").split("|"), IN_ODD_ZONE),
    "a zone that never changes": file_of(ZONE.format("FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30").split("|"), IN_ODD_ZONE),
    "a zone that is told by itself": file_of(ZONE.format("FREQ=YEARLY").replace("DTSTART", "DTSTART;TZID=Odd").split("|"), IN_ODD_ZONE),
    "every choice of a rule at once": file_of(
        event(
            "DTSTART:20200101T000000Z",
            "RRULE:FREQ=YEARLY;BYHOUR=1,2,3;BYMONTHDAY=1,2,3,4;BYSETPOS=1;" + ";".join(f"BY{part}=" + ",".join(map(str, range(60))) for part in ("MINUTE", "SECOND")),
        )
    ),
}  # fmt: skip


@pytest.fixture
def children(monkeypatch):
    """The processes that were started, to see that none is left."""
    started = []

    class Watched(subprocess.Popen):
        def __init__(self, *args, **kwargs):
            super().__init__(*args, **kwargs)
            started.append(self)

    monkeypatch.setattr(calendars.subprocess, "Popen", Watched)
    return started


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_gives_entries_or_a_word_in_time(name, children):
    begun = time.monotonic()
    try:
        found = day_of(HOSTILE[name])
    except OutOfRange as refused:
        assert refused.field == "calendar"
        assert "Traceback" not in str(refused)
        assert "/" not in refused.came
    else:
        assert len(found.entries) + found.elsewhere + len(found.unread) <= 1
    assert time.monotonic() - begun < calendars.SECONDS_MOST + 1
    assert [child.poll() is None for child in children] == [False]


NEVER = file_of(event("DTSTART:20200101T000000Z", "RRULE:FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30"))
SECONDS = file_of(event("DTSTART:19700101T000000Z", "RRULE:FREQ=SECONDLY"))


@pytest.mark.parametrize("data", [NEVER, SECONDS], ids=["a rule that never matches", "every second since 1970"])
def test_what_would_run_for_ever_is_ended_with_its_process(data, children, monkeypatch):
    monkeypatch.setattr(calendars, "SECONDS_MOST", 1.5)
    begun = time.monotonic()
    with pytest.raises(OutOfRange, match="too intricate.*within 1.5 seconds"):
        day_of(data)
    assert time.monotonic() - begun < 4
    assert [child.returncode for child in children] == [-9]


def test_no_more_than_two_files_are_read_at_once(children, monkeypatch):
    """The third waits its turn, and says so where none comes."""
    monkeypatch.setattr(calendars, "SECONDS_MOST", 1.5)
    words = []

    def read():
        try:
            day_of(NEVER)
        except OutOfRange as refused:
            words.append(refused.came)

    readers = [threading.Thread(target=read) for _ in range(5)]
    for reader in readers:
        reader.start()
    time.sleep(0.7)
    assert len(children) == 2
    for reader in readers:
        reader.join()
    assert set(words) <= {"one that is too intricate", "one of many files"}
    assert len(words) == 5
    monkeypatch.setattr(calendars, "SECONDS_MOST", 5.0)
    assert hours(day_of(file_of(event(AT_NOON)))) == ["13:00"], "every turn was given back"


@pytest.mark.skipif(sys.platform != "linux", reason="other systems need not hold a process to its memory")
def test_the_process_is_held_to_its_memory_and_writes_no_file(tmp_path):
    programme = (
        "from server.door.calendar_child import limit; limit(5)\n"
        "try: bytearray(600_000_000)\n"
        "except MemoryError: print('no memory')\n"
        f"try: open({str(tmp_path / 'file')!r}, 'w').write('x' * 100_000)\n"
        "except OSError: print('no file')\n"
    )
    ran = subprocess.run([sys.executable, "-c", programme], cwd=CHECKOUT, capture_output=True, text=True, check=True)
    assert ran.stdout.split("\n") == ["no memory", "no file", ""]


def test_the_process_brings_nothing_of_the_web():
    """It is started for every file: what it imports is waited for."""
    programme = "import sys, server.door.calendar_child; print({'fastapi', 'sqlalchemy', 'numpy'} & set(sys.modules))"
    ran = subprocess.run([sys.executable, "-c", programme], cwd=CHECKOUT, capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "set()"


def test_five_hundred_events_are_read():
    repeat = "RRULE:FREQ=WEEKLY;BYDAY=SA"
    at = [f"DTSTART;TZID=Europe/London:20250621T{number % 24:02}{number % 60:02}00" for number in range(500)]
    data = file_of(*(event(begins, "DURATION:PT20M", repeat, f"SUMMARY:{number}", uid=str(number)) for number, begins in enumerate(at)))  # fmt: skip
    found = day_of(data)
    assert {entry.name for entry in found.entries} == {str(number) for number in range(500)}
