"""
A running order as a calendar file.

Held to RFC 5545 by the section that a test names, and to the reader in `door.calendars`, which is held to the
standard's own examples. The zones' rules are the zone database's.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.door.calendar_child import answer_for
from server.door.calendars import ENTRIES_MOST, EVENTS_MOST, read_calendar
from server.pages.order_calendar import Event, calendar_of

STAMP = datetime(2026, 5, 1, 12, 30, tzinfo=UTC)
ZONES = (
    "Etc/GMT-5",
    "Europe/London",
    "America/New_York",
    "UTC",
    "Etc/UTC",
    "Australia/Lord_Howe",
    "Asia/Kathmandu",
    "Africa/Casablanca",
)


def at(zone, *when):
    return datetime(*when, tzinfo=ZoneInfo(zone))


def written(*stops, zone="Europe/London", name="Day"):
    return calendar_of(stops, name=name, time_zone=zone, stamp=STAMP)


def lines_of(data):
    """Content lines, unfolded (RFC 5545, 3.1)."""
    return data.decode().replace("\r\n ", "").split("\r\n")


VOWS = Event(
    "uid-1", at("Europe/London", 2026, 6, 20, 14), at("Europe/London", 2026, 6, 20, 14, 45), "Vows", "Chapel", "Rings"
)


def test_rfc_5545_3_6_a_stop_is_an_event_with_all_that_one_must_have():
    lines = lines_of(written(VOWS, name="A day; ours"))
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-2:] == ["END:VCALENDAR", ""]
    assert {"VERSION:2.0", "PRODID:-//Lychgate//Running order//EN", r"NAME:A day\; ours"} < set(lines)
    event = lines[lines.index("BEGIN:VEVENT") + 1 : lines.index("END:VEVENT")]
    assert sorted(event) == [
        "DESCRIPTION:Rings",
        "DTEND;TZID=Europe/London:20260620T144500",
        "DTSTAMP:20260501T123000Z",
        "DTSTART;TZID=Europe/London:20260620T140000",
        "LOCATION:Chapel",
        "SUMMARY:Vows",
        "UID:uid-1",
    ]


def test_what_is_not_known_is_not_written():
    """RFC 5545, 3.8.2.2: an end is later than the start."""
    start = at("Europe/London", 2026, 6, 20, 14)
    for end in (None, start, start - timedelta(hours=1)):
        text = written(Event("1", start, end, "Vows", "", "")).decode()
        assert not re.search("DTEND|DURATION|LOCATION|DESCRIPTION", text)


def test_a_running_order_with_no_stop_is_a_calendar_with_no_event():
    assert "BEGIN:V" not in written().decode().removeprefix("BEGIN:VCALENDAR")


def test_rfc_5545_3_1_lines_are_folded_at_75_octets_between_characters():
    data = written(Event("1", VOWS.start, None, "é" * 200, "😀" * 100, "a" * 1000))
    assert max(map(len, data.split(b"\r\n"))) <= 75
    for line in data.split(b"\r\n"):
        line.decode()
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert f"LOCATION:{'😀' * 100}" in lines_of(data)


@pytest.mark.parametrize(
    ("text", "escaped"),
    [
        ("a, b; c: d", r"a\, b\; c: d"),
        ("C:\\New\\name", r"C:\\New\\name"),
        ("one\ntwo\r\nthree\rfour", r"one\ntwo\nthree\nfour"),
        ('"quoted"', '"quoted"'),
        ("bell\x07, null\0, half \ud83d", r"bell \, null \, half  "),
    ],
)
def test_rfc_5545_3_3_11_a_text_is_escaped(text, escaped):
    assert f"SUMMARY:{escaped}" in lines_of(written(Event("1", VOWS.start, None, text, "", "")))


def test_rfc_5545_3_6_5_the_zones_clock_is_described_around_the_day():
    """London's clocks went forward on 29 March 2026 at 01:00 and go back on 25 October at 02:00."""
    lines = lines_of(written(VOWS))
    zone = lines[lines.index("BEGIN:VTIMEZONE") + 1 : lines.index("END:VTIMEZONE")]
    assert zone[0] == "TZID:Europe/London"
    parts = [
        sorted(part.split("\r\n"))
        for part in re.findall(r"BEGIN:(?:DAYLIGHT|STANDARD)\r\n.*?\r\nEND", "\r\n".join(zone), re.DOTALL)
    ]
    assert [
        "BEGIN:DAYLIGHT",
        "DTSTART:20260329T010000",
        "END",
        "TZNAME:BST",
        "TZOFFSETFROM:+0000",
        "TZOFFSETTO:+0100",
    ] in parts
    assert [
        "BEGIN:STANDARD",
        "DTSTART:20261025T020000",
        "END",
        "TZNAME:GMT",
        "TZOFFSETFROM:+0100",
        "TZOFFSETTO:+0000",
    ] in parts


@pytest.mark.parametrize("zone", ["UTC", "Etc/UTC"])
def test_rfc_5545_3_2_19_times_in_utc_name_no_zone(zone):
    text = written(Event("1", at(zone, 2026, 6, 20, 14), None, "Vows", "", ""), zone=zone).decode()
    assert "DTSTART:20260620T140000Z" in text
    assert "TZID" not in text


@pytest.mark.parametrize("zone", sorted(set(ZONES) - {"UTC", "Etc/UTC"}))
def test_the_description_of_a_clock_is_right_every_hour_of_its_year(zone):
    """Read by somebody who does not know the zone by its name, and so goes by what the file says. Held to the zone database."""
    begin, every = datetime(2026, 1, 1, tzinfo=UTC), timedelta(hours=11)
    whens = [begin + number * every for number in range(800)]
    clock = [when.astimezone(ZoneInfo(zone)).utcoffset() for when in whens]
    changes = [when for when, now, then in zip(whens, clock, clock[1:], strict=False) if now != then]
    whens += [change + timedelta(minutes=30 * number) for change in changes for number in range(1, 22)]
    stops = [Event(str(number), when, None, when.isoformat(), "", "") for number, when in enumerate(whens)]
    data = written(*stops, zone=zone).replace(zone.encode(), b"The Valley")
    found = read_calendar(data, begin, begin + timedelta(days=400), "UTC")
    assert [entry for entry in found.entries if entry.start.isoformat() != entry.name] == []
    assert len(found.entries) == len(stops)


# All letters but the byte order mark, which a reader of files takes away.
texts = st.text(
    st.one_of(
        st.sampled_from(",;:\\nN\n\t \"'^😀é\u2028"),
        st.characters(exclude_categories=["Cc", "Cs"], exclude_characters="\ufeff"),
    ),
    max_size=120,
)


@st.composite
def days(draw):
    """Stops of a day on either side of a clock's change, or of none."""
    zone = draw(st.sampled_from(ZONES))
    begin = draw(
        st.sampled_from([(2026, 3, 29), (2026, 10, 25), (2026, 3, 8), (2026, 11, 1), (2026, 4, 5), (2026, 6, 20)])
    )
    midnight = at(zone, *begin).astimezone(UTC)
    stops = []
    for number in range(draw(st.integers(1, 12))):
        start = midnight + timedelta(minutes=draw(st.integers(0, 23 * 60)))
        lasts = draw(st.none() | st.integers(1, 600))
        stops.append(
            Event(
                f"{number}@example.com", start, None if lasts is None else start + timedelta(minutes=lasts),
                draw(texts), draw(texts), draw(texts),
            )
        )  # fmt: skip
    return zone, midnight, stops


@settings(max_examples=100, deadline=None)
@given(days())
def test_what_is_written_is_read_back(day):
    """
    To the minute on both sides of a clock's change, in the hour that comes twice too, and to the letter.

    By what the reader's process runs, without starting one for each. It takes the space around a text away.
    """
    zone, midnight, stops = day
    header = {
        "zone": zone, "first": midnight.isoformat(), "last": (midnight + timedelta(days=1)).isoformat(),
        "events_most": EVENTS_MOST, "entries_most": ENTRIES_MOST,
    }  # fmt: skip
    answer = answer_for(written(*stops, zone=zone), header)
    assert (answer["elsewhere"], answer["whole_days"], answer["unread"]) == (0, 0, [])
    found = [(start, end or "", *texts) for start, end, *texts in answer["entries"]]
    assert sorted(found) == sorted(
        (
            stop.start.isoformat(), stop.end.isoformat() if stop.end else "",
            stop.name.strip(), stop.place.strip(), stop.notes.strip(),
        )
        for stop in stops
    )  # fmt: skip


def test_an_end_that_reads_earlier_on_a_clock_that_goes_back_is_an_end():
    """01:45 British summer time to 01:15 GMT on 25 October 2026: half an hour."""
    london = ZoneInfo("Europe/London")
    start = datetime(2026, 10, 25, 1, 45, tzinfo=london)
    end = datetime(2026, 10, 25, 1, 15, tzinfo=london, fold=1)
    content = calendar_of([Event("u", start, end, "Owls", "", "")], name="x", time_zone="Europe/London", stamp=start)
    (event,) = icalendar.Calendar.from_ical(content).walk("VEVENT")
    lasts = event.decoded("DTEND").astimezone(UTC) - event.decoded("DTSTART").astimezone(UTC)
    assert lasts == timedelta(minutes=30)
