"""
The part of `calendars` that runs in a process of its own: a stranger's calendar, worked out under hard limits.

A rule of a few letters can keep a library busy for ever or fill the memory, and a thread that does so cannot be
stopped; a process can. `calendars` starts this one, gives it one line of JSON and then the file on its standard input,
and reads one JSON object from its standard output. Nothing of the web is imported here: starting costs as much as the
libraries.

Two libraries do the hard parts: one reads the file and its time zones, one knows the dates of a rule. What is put
together from them here is an event with its additions, exceptions and changes. Considered: a library for that too.
It took an exception at noon for one an hour before noon where the clock is an hour ahead of UTC.

Source: RFC 5545. Where files are known to stray from it, the reading is said beside the line.
"""

from __future__ import annotations

import contextlib
import json
import sys
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import icalendar
from dateutil.rrule import rrulestr

from server.language import Manner, say, speak

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

MEMORY_MOST = 512 * 1024 * 1024  # bytes of address space; the libraries alone take some 60 MB
TEXT_LONGEST = 2000  # characters of a name, a place or notes; an entry may come a thousand times
UNREAD_MOST = 20  # entries that could not be read and are told one by one
TIMES = ("DTSTART", "DTEND", "DURATION", "RECURRENCE-ID", "RRULE", "RDATE", "EXDATE")
SLACK = timedelta(hours=3)  # two times of one clock are compared as it shows them, an hour off where it changes
FAR_ZONES = timedelta(hours=26)  # between the clocks furthest apart

Answer = dict[str, Any]


class Refused(Exception):
    """What came in the file, and what is allowed."""

    def __init__(self, came: str, allowed: str) -> None:
        super().__init__(came)
        self.came, self.allowed = came, allowed


class Unreadable(Exception):
    """Why one entry cannot be read; it is left out and told of."""


def main() -> None:
    """One calendar from standard input; the answer, or the refusal, to standard output."""
    header = json.loads(sys.stdin.buffer.readline(10_000))
    limit(header["seconds"])
    speak(Manner(header["language"]))
    try:
        answer = answer_for(sys.stdin.buffer.read(), header)
    except Refused as refused:
        answer = {"refused": [refused.came, refused.allowed]}
    sys.stdout.write(json.dumps(answer))


def limit(seconds: float) -> None:
    """Hold this process to its memory and to whole seconds of a processor, where the system can."""
    try:
        import resource  # noqa: PLC0415  # not every system has it
    except ImportError:
        return
    for what, most in (
        (resource.RLIMIT_AS, MEMORY_MOST),
        (resource.RLIMIT_CPU, int(seconds) + 2),  # the clock ends it first; this holds if nobody is left to
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_CORE, 0),
    ):
        with contextlib.suppress(ValueError, OSError):  # a system may have the name and not the limit
            resource.setrlimit(what, (most, most))


def answer_for(data: bytes, header: Answer) -> Answer:
    """
    What of a calendar is in the window of header: "first" and "last" (ISO), "zone", "events_most", "entries_most".

    returns  "entries" ([start, end or None] in UTC, name, place, notes), "elsewhere", "whole_days", "unread"
    Raises Refused.
    """
    window = Window(header)
    components = events_of(data)
    if len(components) > header["events_most"]:
        raise Refused(
            say("{count} events", count=f"{len(components):,}"),
            say("at most {most}", most=f"{header['events_most']:,}"),
        )
    unread: list[str] = []
    for group in series_of(components):
        named = words(group[0], "SUMMARY")[:60] or say("an entry with no name")
        try:
            window.take(group)
        except Unreadable as why:
            unread.append(f"{named}: {why}")
        except (Refused, MemoryError):
            raise  # where the memory ends this process ends, and `calendars` has a word for it
        except Exception:  # noqa: BLE001  # two libraries on a stranger's file: anything may come, and the rest is good
            unread.append(say("{entry}: its times cannot be worked out", entry=named))
    if len(unread) > UNREAD_MOST:
        unread[UNREAD_MOST:] = [say("and {count} more", count=f"{len(unread) - UNREAD_MOST:,}")]
    return {
        "entries": sorted(window.entries, key=lambda entry: entry[0]),
        "elsewhere": window.elsewhere,
        "whole_days": window.whole_days,
        "unread": unread,
    }


class Window:
    """The time that is asked about, and what was found in it."""

    def __init__(self, header: Answer) -> None:
        self.zone = ZoneInfo(header["zone"])
        self.first = datetime.fromisoformat(header["first"]).astimezone(UTC)
        self.last = datetime.fromisoformat(header["last"]).astimezone(UTC)
        self.entries_most: int = header["entries_most"]
        self.entries: list[tuple[str, str | None, str, str, str]] = []
        self.whole_days = 0
        self.elsewhere = 0

    def take(self, group: list[icalendar.Event]) -> None:
        """Keep what an event, with all that was changed of it, has in the window. Raises Unreadable, Refused."""
        for event in group:
            check(event)
        unknown = next(filter(None, map(unknown_zone, group)), "")
        wide = FAR_ZONES if unknown else timedelta(0)
        series = Series(group, self.zone)
        found = []  # kept only when all of it could be worked out
        for one in series.between(self.first - wide, self.last + wide):
            if one.cancelled or not one.touches(self.first - wide, self.last + wide):
                continue
            if unknown:
                raise Refused(
                    say("the time zone {unknown}", unknown=unknown),
                    say("a zone that the file describes, or a known one such as Europe/London"),
                )
            found.append(one)
            if len(self.entries) + len(found) > self.entries_most:
                most = f"{self.entries_most:,}"
                raise Refused(
                    say("more than {most} entries in the time asked about", most=most), say("at most {most}", most=most)
                )
        self.whole_days += sum(one.whole for one in found)
        self.entries += [_told(one) for one in found if not one.whole]
        self.elsewhere += not found and not series.cancelled


def _told(one: Happening) -> tuple[str, str | None, str, str, str]:
    """An entry as it goes to `calendars`."""
    start, end = one.start.astimezone(UTC), one.end
    until = end.isoformat() if end > start else None
    name, place, notes = (words(one.event, name) for name in ("SUMMARY", "LOCATION", "DESCRIPTION"))
    return start.isoformat(), until, name, place, notes


# One event, and when it happens


@dataclass(frozen=True, slots=True)
class Length:
    """How long an event lasts: days by the clock, then hours that are exact (RFC 5545, 3.3.6)."""

    days: int = 0
    exact: timedelta = timedelta(0)


@dataclass(frozen=True, slots=True)
class Happening:
    """
    An event at one of its times.

    start  aware, by the event's own clock
    whole  it is days and has no times; its days begin at midnight of the clock that is asked for
    """

    event: icalendar.Event
    start: datetime
    length: Length
    whole: bool

    @property
    def end(self) -> datetime:
        """In UTC; the start where nothing is said."""
        return (self.start + timedelta(days=self.length.days)).astimezone(UTC) + self.length.exact

    @property
    def cancelled(self) -> bool:
        """Whether it will not be after all."""
        return words(self.event, "STATUS").upper() == "CANCELLED"

    def touches(self, first: datetime, last: datetime) -> bool:
        """Whether it starts in a window; days need only reach into it."""
        return self.start.astimezone(UTC) < last and (self.end > first if self.whole else self.start >= first)

    def at(self, start: datetime, length: Length | None = None) -> Happening:
        """The same at another time."""
        return Happening(self.event, start, length or self.length, self.whole)


def happening(event: icalendar.Event, zone: ZoneInfo) -> Happening:
    """An event at its own time. Raises Unreadable."""
    begins = came(event, "DTSTART").dt
    start, whole = moment(begins, zone), not isinstance(begins, datetime)
    length = Length(days=int(whole))  # a date alone is all of its day (3.6.1)
    if "DTEND" in event:
        ends = came(event, "DTEND").dt
        if whole is isinstance(ends, datetime):
            raise Unreadable(say("of its beginning and its end, one is a date and one is a time"))
        end = moment(ends, zone)
        # Of an end, the exact length goes for all repetitions; of a length, the nominal one (3.8.5.3).
        length = (
            Length(days=(ends - begins).days) if whole else Length(exact=end.astimezone(UTC) - start.astimezone(UTC))
        )
    elif "DURATION" in event:
        lasts = came(event, "DURATION").dt
        length = Length(lasts.days, timedelta(seconds=lasts.seconds))
    one = Happening(event, start, length, whole)
    if one.end < start:
        raise Unreadable(say("it ends before it begins"))
    return one


def moment(at: date, zone: tzinfo) -> datetime:
    """A date or time of a file. One without a clock is meant by the clock of whoever reads it (3.3.5)."""
    if not isinstance(at, datetime):
        return datetime(at.year, at.month, at.day, tzinfo=zone)
    return at if at.tzinfo else at.replace(tzinfo=zone)


class Series:
    """An event, its repetitions, and what was changed of them. Raises Unreadable."""

    def __init__(self, group: list[icalendar.Event], zone: ZoneInfo) -> None:
        self.zone = zone
        self.core = next((happening(event, zone) for event in group if "RECURRENCE-ID" not in event), None)
        self.changed: dict[datetime, Happening] = {}
        self.from_then_on: list[tuple[datetime, Happening]] = []  # ordered
        for event in sorted((event for event in group if "RECURRENCE-ID" in event), key=sequence):
            which = came(event, "RECURRENCE-ID")
            instant, one = moment(which.dt, zone).astimezone(UTC), happening(event, zone)
            self.changed[instant] = one
            if str(which.params.get("RANGE", "")).upper() == "THISANDFUTURE":
                self.from_then_on = sorted([*self.from_then_on, (instant, one)], key=lambda each: each[0])
        self.left_out, self.left_out_days = self._left_out()

    @property
    def cancelled(self) -> bool:
        """Whether none of it will be."""
        return all(one.cancelled for one in (self.core, *self.changed.values()) if one)

    def between(self, first: datetime, last: datetime) -> Iterator[Happening]:
        """All that touches a window, and some that does not."""
        seen = self.changed.keys() | self.left_out
        for one in self._as_planned(first, last):
            instant = one.start.astimezone(UTC)
            if instant not in seen and one.start.date() not in self.left_out_days:
                seen.add(instant)
                yield self._as_changed(one, instant)
        yield from (one for instant, one in self.changed.items() if instant not in self.left_out)

    def _as_planned(self, first: datetime, last: datetime) -> Iterator[Happening]:
        """What the event, its rules and its additions say; some of it twice."""
        core = self.core
        if core is None:
            return
        yield core
        for added in several(came(core.event, "RDATE", [])):
            for each in added.dts:
                begins, ends = each.dt if isinstance(each.dt, tuple) else (each.dt, None)
                start = moment(begins, self.zone).astimezone(core.start.tzinfo)
                exact = ends if ends is None or isinstance(ends, timedelta) else ends - begins
                yield core.at(start, None if exact is None else Length(exact=exact))
        moved = max((abs(one.start - instant) for instant, one in self.from_then_on), default=timedelta(0))
        reach = SLACK + moved + timedelta(days=core.length.days if core.whole else 0)
        begin, stop = (at.astimezone(core.start.tzinfo) for at in (first - reach, last + reach))
        for rule in several(came(core.event, "RRULE", [])):
            settle(rule, core.start.tzinfo or UTC)
            for start in rrulestr(rule.to_ical().decode(), dtstart=core.start):
                if start > stop:
                    break
                if start >= begin:
                    yield core.at(start)

    def _as_changed(self, one: Happening, instant: datetime) -> Happening:
        """A repetition after the last change that goes for all that follow: moved by as much (3.2.13)."""
        last = next((each for each in reversed(self.from_then_on) if each[0] < instant), None)
        if last is None:
            return one
        since, change = last
        clock = one.start.tzinfo
        by = change.start.astimezone(clock).replace(tzinfo=None) - since.astimezone(clock).replace(tzinfo=None)
        return change.at(one.start + by)

    def _left_out(self) -> tuple[set[datetime], set[date]]:
        """The instants of the exceptions; and where they are dates of an event that has times, the days."""
        instants, days = set(), set()
        for exception in several(came(self.core.event, "EXDATE", [])) if self.core else []:
            for each in exception.dts:
                if isinstance(each.dt, datetime) or (self.core and self.core.whole):
                    instants.add(moment(each.dt, self.zone).astimezone(UTC))
                else:
                    days.add(each.dt)
        return instants, days


def settle(rule: Any, clock: tzinfo) -> None:
    """
    Put the end of a rule in UTC, as it must be (3.3.10) and as the library wants it.

    Where it is not, it is meant by the event's own clock; a bare date means all of that day.
    """
    ends = []
    for until in rule.get("UNTIL", []):
        if isinstance(until, datetime):
            ends.append(moment(until, clock).astimezone(UTC))
        else:
            ends.append((moment(until, clock) + timedelta(days=1)).astimezone(UTC) - timedelta(seconds=1))
    if ends:
        rule["UNTIL"] = ends


# What is in the file


def events_of(data: bytes) -> list[icalendar.Event]:
    """Every event of a file. Raises Refused."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", "replace")  # the standard says UTF-8; old programs wrote what they had
    try:
        calendars = icalendar.Calendar.from_ical(text.replace("\0", ""), multiple=True)
    except MemoryError:
        raise
    except OSError as error:  # the one thing that is looked up is a zone's name, among files
        raise Refused(say("a time zone whose name is none"), say("a name such as Europe/London")) from error
    except Exception as error:
        raise Refused(
            say("a file with lines that are none of a calendar's"), say("a calendar as RFC 5545 has it")
        ) from error
    calendars = [calendar for calendar in calendars if calendar.name == "VCALENDAR"]
    if not calendars:
        raise Refused(say("a calendar that breaks off"), say("a whole file, up to END:VCALENDAR"))
    for calendar in calendars:
        if words(calendar, "CALSCALE").upper() not in {"", "GREGORIAN"}:
            raise Refused(
                say("the calendar scale {scale}", scale=words(calendar, "CALSCALE")), say("the Gregorian one")
            )
    return [part for calendar in calendars for part in calendar.subcomponents if isinstance(part, icalendar.Event)]


def series_of(events: Iterable[icalendar.Event]) -> Iterator[list[icalendar.Event]]:
    """
    An event and what was changed of its repetitions, by their UID.

    Events that share a UID should be versions of one, and the newest holds. Some programs give one UID to all, or an
    empty one; as long as they also share the version, each of them is taken for itself, so that none is lost.
    """
    groups: dict[object, list[icalendar.Event]] = defaultdict(list)
    for number, event in enumerate(events):
        groups[words(event, "UID") or number].append(event)
    for group in groups.values():
        if len(group) == 1:
            yield group
            continue
        cores = [event for event in group if "RECURRENCE-ID" not in event]
        newest = max(map(sequence, cores), default=0)
        alike = {repr((event.get("DTSTART"), event.get("RRULE"), words(event, "SUMMARY"))): event for event in cores}
        apart = [event for event in alike.values() if sequence(event) == newest]
        yield apart[:1] + [event for event in group if "RECURRENCE-ID" in event]
        yield from ([event] for event in apart[1:])


def sequence(event: icalendar.Event) -> int:
    """An event's version; 0 where it has none, as the standard has it."""
    version = came(event, "SEQUENCE", 0)
    return version if isinstance(version, int) else 0


def came(component: icalendar.Component, name: str, otherwise: Any = None) -> Any:
    """A property as the library has it: a type of its own for each kind, which only the name tells."""
    return component.get(name, otherwise)


def several(value: Any) -> list[Any]:
    """A property that may come more than once."""
    return value if isinstance(value, list) else [value]


def words(component: icalendar.Component, name: str) -> str:
    """A text of a component, the first where there are several, cut at TEXT_LONGEST."""
    text = str(next(iter(several(came(component, name, ""))), "")).strip()
    return text if len(text) <= TEXT_LONGEST else text[: TEXT_LONGEST - 1] + "…"


def check(event: icalendar.Event) -> None:
    """Raise Unreadable for what would have to be guessed, or would never come to an end."""
    broken = {str(name).upper() for name, _ in event.errors}
    for name in TIMES:
        if name in broken:
            raise Unreadable(say("its {name} cannot be read", name=name))
        if name not in {"RRULE", "RDATE", "EXDATE"} and isinstance(event.get(name), list):
            raise Unreadable(say("it has {name} more than once", name=name))
    if "DTSTART" not in event:
        raise Unreadable(say("it does not say when it begins"))
    if "EXRULE" in event:  # of the standard before this one; without it there would be too many entries
        raise Unreadable(say("it has a rule for what it leaves out"))
    if any(interval < 1 for rule in several(came(event, "RRULE", [])) for interval in rule.get("INTERVAL", [])):
        raise Unreadable(say("its rule goes on by nothing"))


def unknown_zone(event: icalendar.Event) -> str:
    """A time zone that an event names and nobody knows; empty where there is none."""
    for name in ("DTSTART", "DTEND", "RECURRENCE-ID", "RDATE", "EXDATE"):
        for each in several(came(event, name, [])):
            # A time whose zone is not known comes as if it had none.
            times = [one.dt[0] if isinstance(one.dt, tuple) else one.dt for one in getattr(each, "dts", [each])]
            if (tzid := each.params.get("TZID")) and any(isinstance(at, datetime) and not at.tzinfo for at in times):
                return str(tzid)
    return ""


if __name__ == "__main__":
    main()
