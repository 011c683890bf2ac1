"""
A running order as a calendar file, for the calendars of everybody else on the day.

Source: RFC 5545, and RFC 7986 for the calendar's name and for how often to look again. Held to the reader,
`door.calendars`, in tests/pages.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import icalendar
from icalendar.prop import vDuration, vText

if TYPE_CHECKING:
    from collections.abc import Sequence

PRODUCT = "-//Lychgate//Running order//EN"
AROUND = timedelta(
    days=366
)  # of the clock that is described before the first stop and after the last: both its seasons


EVERY = timedelta(minutes=15)  # how often a subscriber is asked to look again


@dataclass(frozen=True, slots=True)
class Feed:
    """
    What makes a calendar one to subscribe to.

    sequence  how often what it says has changed;  changed  since when it says so, aware
    where     latitude and longitude [degrees] of its stops, where they may be told
    """

    sequence: int
    changed: datetime
    where: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Event:
    """
    A stop as a calendar tells it.

    uid         names the stop for ever: a calendar that reads the file again changes the entry that it has
    start, end  aware; end is None where it is not known
    name, place, notes  empty where there is none; notes may have several lines
    """

    uid: str
    start: datetime
    end: datetime | None
    name: str
    place: str
    notes: str


def calendar_of(
    stops: Sequence[Event], *, name: str, time_zone: str, stamp: datetime, feed: Feed | None = None
) -> bytes:  # fmt: skip
    """
    A calendar with one entry for each stop, told by the clock of time_zone.

    name   of the running order
    stamp  when it was last changed, aware: calendars take the newer of two
    feed   where it is one to subscribe to
    """
    zone = ZoneInfo(time_zone)
    calendar = icalendar.Calendar()
    calendar.add("PRODID", PRODUCT)
    calendar.add("VERSION", "2.0")
    calendar["NAME"] = _Text(name)
    if feed is not None:
        calendar["X-WR-CALNAME"] = _Text(name)  # what most calendars read instead, though no standard has it
        calendar.add("REFRESH-INTERVAL", vDuration(EVERY), parameters={"VALUE": "DURATION"})
        calendar["X-PUBLISHED-TTL"] = vDuration(EVERY)  # the same, from before the standard
    for stop in stops:
        event = icalendar.Event()
        event["UID"] = _Text(stop.uid)
        event.add("DTSTAMP", stamp.astimezone(UTC))
        event.add("DTSTART", _by_the_clock(stop.start, zone))
        if stop.end is not None and stop.end.astimezone(UTC) > stop.start.astimezone(UTC):  # no other is one (3.8.2.2)
            event.add("DTEND", _by_the_clock(stop.end, zone))
        for field, text in (("SUMMARY", stop.name), ("LOCATION", stop.place), ("DESCRIPTION", stop.notes)):
            if text:
                event[field] = _Text(text)
        if feed is not None:
            event.add("SEQUENCE", feed.sequence)
            event.add("LAST-MODIFIED", feed.changed.astimezone(UTC))
            if feed.where is not None:
                event.add("GEO", feed.where)
        calendar.add_component(event)
    if calendar.get_missing_tzids():  # times in UTC name no zone
        days = [stop.start.date() for stop in stops]
        calendar.subcomponents.insert(0, _description(zone, time_zone, min(days), max(days)))
    content: bytes = calendar.to_ical()
    return content


class _Text(vText):
    r"""
    A text as RFC 5545, 3.3.11 writes it. The library takes a backslash before a capital N for a line's end.

    >>> _Text("Bar; C:\\Notes,\r\nice").to_ical()
    b'Bar\\; C:\\\\Notes\\,\\nice'
    """

    __slots__ = ()

    def to_ical(self) -> bytes:
        text = "\n".join(str(self).replace("\r\n", "\n").split("\r"))
        # Control characters are none of a text's, and half a pair of surrogates has no bytes.
        text = "".join(c if c in "\n\t" or unicodedata.category(c) not in {"Cc", "Cs"} else " " for c in text)
        for plain, escaped in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
            text = text.replace(plain, escaped)
        return text.encode()


def _by_the_clock(at: datetime, zone: ZoneInfo) -> datetime:
    """A time by the zone's clock; in UTC where the clock shows it a second time, for which 3.3.5 has no other way."""
    local = at.astimezone(zone)
    return local.astimezone(UTC) if local.utcoffset() != local.replace(fold=0).utcoffset() else local


def _description(zone: ZoneInfo, time_zone: str, first: date, last: date) -> icalendar.Timezone:
    """
    The zone's clock around the days of the stops, for calendars that do not know it by its name.

    Not the library's own: it has a clock go forward an hour late, and steps over changes that are soon taken back, as
    where a month of fasting has a clock of its own.
    """
    described = icalendar.Timezone()
    described.add("TZID", time_zone)
    begins = datetime(first.year, first.month, first.day, tzinfo=UTC) - AROUND
    described.add_component(_change(begins, begins, zone))
    for day in range((last - first + 2 * AROUND).days):
        before, after = begins + timedelta(days=day), begins + timedelta(days=day + 1)
        if _offset(before, zone) == _offset(after, zone):
            continue
        while after - before > timedelta(seconds=1):
            between = before + (after - before) // 2
            before, after = (between, after) if _offset(between, zone) == _offset(before, zone) else (before, between)
        described.add_component(_change(before, after.replace(microsecond=0), zone))
    return described


def _offset(at: datetime, zone: ZoneInfo) -> timedelta:
    return at.astimezone(zone).utcoffset() or timedelta(0)


def _change(
    before: datetime, after: datetime, zone: ZoneInfo
) -> icalendar.TimezoneStandard | icalendar.TimezoneDaylight:
    """What the clock goes to; its DTSTART is by the clock as it went until then (3.6.5)."""
    new = after.astimezone(zone)
    change = icalendar.TimezoneDaylight() if new.dst() else icalendar.TimezoneStandard()
    old = _offset(before, zone)
    change.add("DTSTART", (after + old).replace(tzinfo=None))
    change.add("TZOFFSETFROM", old)
    change.add("TZOFFSETTO", _offset(after, zone))
    change.add("TZNAME", new.tzname())
    return change
