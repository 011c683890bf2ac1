"""A day's running order: stops, each at a time of the venue's clock, as planned and as the day's log shifted it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from server.exposure.refused import OutOfRange
from server.exposure.rig import Look
from server.exposure.scales import exact_f_number
from server.language import clock, noted, say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

DAY = 24 * 60  # min
NIGHT = 6 * 60  # min; what comes after midnight and before this hour is still the evening's
LASTS_MOST = 12 * 60  # min
SHIFT_MOST = 12 * 60  # min
# What the clock may show, in minutes after the day's midnight, with half a day of shifts either way.
FIRST, LAST = -SHIFT_MOST, DAY + NIGHT + SHIFT_MOST


@dataclass(frozen=True, slots=True)
class Stop:
    """
    A stop of the running order.

    at, planned  aware, at the venue's clock: when it comes, and when it was meant to before the day shifted it
    lasts        [min]  None: not known
    place, lens  by number;  None: at no place of the venue, and with the lens that is on
    wanted, widest, narrowest  [f-number]  where the look differs from the place's
    """

    number: int
    uid: str
    name: str
    place: int | None
    planned: datetime
    at: datetime
    lasts: int | None
    wanted: float | None
    widest: float | None
    narrowest: float | None
    lens: int | None
    notes: str

    @property
    def shifted(self) -> bool:
        """Whether the day has moved it."""
        return instant(self.at) != instant(self.planned)

    @property
    def ends(self) -> datetime | None:
        """When it is over, where that is known."""
        return None if self.lasts is None else later(self.at, self.lasts)

    def look(self, there: Look) -> Look:
        """
        The look that is wanted at it: the place's own, with what the stop asks for instead.

        What the place has gives way: whoever asks for f/8 once means f/8.
        """
        widest = self.widest or min(there.widest, self.narrowest or there.widest, key=exact_f_number)
        narrowest = self.narrowest or max(there.narrowest, widest, key=exact_f_number)
        wanted = self.wanted or min(max(there.wanted, widest, key=exact_f_number), narrowest, key=exact_f_number)
        return replace(
            there,
            wanted=wanted,
            widest=min(widest, wanted, key=exact_f_number),
            narrowest=max(narrowest, wanted, key=exact_f_number),
        )


@dataclass(frozen=True, slots=True)
class Clock:
    """
    A time as it is typed: minutes after midnight, and of two equal ones which (the zone's short name), if said.

    near: minutes after the day's midnight of the time that was typed over, which says what day is meant; None: none was
    """

    minutes: int
    zone: str = ""
    near: int | None = None


@dataclass(frozen=True, slots=True)
class When:
    """A time as it is kept: minutes after the day's midnight as the clock shows them, and of two equal ones which."""

    minutes: int
    second: bool = False


def later(moment: datetime, minutes: float) -> datetime:
    """So many minutes of real time later, at the same place's clock."""
    return (instant(moment) + timedelta(minutes=minutes)).astimezone(moment.tzinfo)


def moment_of(on: date, when: When, time_zone: str) -> datetime:
    """The moment that a clock shows this time on a day, or in the night after it."""
    wall = datetime.combine(on, time()) + timedelta(minutes=when.minutes)
    return wall.replace(tzinfo=ZoneInfo(time_zone), fold=when.second)


def when_of(on: date, moment: datetime, time_zone: str) -> When:
    """The other way round: how a moment of the day, or of the night after it, is kept."""
    local = moment.astimezone(ZoneInfo(time_zone))
    wall = local.replace(tzinfo=None, fold=0)
    return When((wall - datetime.combine(on, time())) // timedelta(minutes=1), bool(local.fold))


def clock_words(moment: datetime) -> str:
    """
    A moment as it is shown and typed: "13:30", or "1:30 pm"; of two equal hours each with its zone, "01:30 GMT".

    The moment's own zone counts.
    """
    return f"{clock(moment)} {moment:%Z}" if is_twice(moment) else clock(moment)


def clock_figures(moment: datetime) -> str:
    """The same for a file, by the clock of 24 hours for everybody."""
    return f"{moment:%H:%M %Z}" if is_twice(moment) else f"{moment:%H:%M}"


def is_twice(moment: datetime) -> bool:
    """Whether the clock of the moment's zone shows this time twice."""
    return moment.replace(fold=1 - moment.fold).utcoffset() != moment.utcoffset()


def instant(moment: datetime) -> datetime:
    """In UTC: by the clock of a zone, two moments may have one name, and compare as it shows them."""
    return moment.astimezone(UTC)


def whens(on: date, clocks: Sequence[Clock | When], time_zone: str) -> list[When]:
    """
    Times in the order they were typed, as they are kept; those that are known stay as they are.

    After midnight is still the day: an hour before six, under one from six on, is the next morning's. One that was
    typed over another time is as near to that as can be. Of two equal hours it is the one that was said, else the first
    that is not before the one above.

    Raises OutOfRange (field "at.N") for a time that the clocks go over that night.
    """
    found: list[When] = []
    before: datetime | None = None
    latest = -1
    for number, typed in enumerate(clocks):
        if isinstance(typed, When):
            found.append(typed)
            latest, before = max(latest, typed.minutes), moment_of(on, typed, time_zone)
            continue
        if typed.near is None:
            minutes = typed.minutes + DAY * (typed.minutes < NIGHT <= latest)
        else:
            minutes = typed.minutes + DAY * round((typed.near - typed.minutes) / DAY)
        latest = max(latest, minutes)
        choices = [When(minutes, second) for second in (False, True)]
        first, second = (moment_of(on, each, time_zone) for each in choices)
        if not comes(first):
            raise OutOfRange(f"at.{number}", clock(first), say(NEVER_COMES))
        is_second = first.utcoffset() != second.utcoffset() and (
            typed.zone.casefold() == (second.tzname() or "").casefold()
            if typed.zone
            else before is not None and instant(first) < instant(before)
        )
        found.append(choices[is_second])
        before = second if is_second else first
    return found


NEVER_COMES = noted("a time that comes; the clocks go over it that night")


def comes(moment: datetime) -> bool:
    """Whether the clocks do not go over it."""
    return instant(moment).astimezone(moment.tzinfo).replace(tzinfo=None) == moment.replace(tzinfo=None)


def end_of(on: date, start: datetime, clock: Clock, time_zone: str) -> datetime:
    """
    The first moment after a start that the clock shows a time, in the LASTS_MOST minutes after it.

    Raises OutOfRange (field "until") where there is none.
    """
    begins = when_of(on, start, time_zone)
    minutes = begins.minutes + (clock.minutes - begins.minutes) % DAY
    found = []
    for each in (minutes - DAY, minutes):  # the day before: on a clock that goes back, an end may read earlier
        for second in (False, True):
            end = moment_of(on, When(each, second), time_zone)
            lasts = (instant(end) - instant(start)) / timedelta(minutes=1)
            meant = not clock.zone or clock.zone.casefold() == (end.tzname() or "").casefold()
            if 0 < lasts <= LASTS_MOST and meant:
                found.append(end)
    word = f"{clock.minutes // 60:02}:{clock.minutes % 60:02}"
    if not found:
        raise OutOfRange("until", word, say("an end in the 12 hours after its start"))
    end = min(found, key=instant)
    if not comes(end):
        raise OutOfRange("until", word, say(NEVER_COMES))
    return end


def check_asked(wanted: float | None, widest: float | None, narrowest: float | None) -> None:
    """Raises OutOfRange for irises [f-numbers] that no look of a stop can ask for; None: as the place has it."""
    asked = {"widest": widest, "wanted": wanted, "narrowest": narrowest}
    given = {name: n for name, n in asked.items() if n is not None}
    if not given:
        return
    exact = {name: exact_f_number(n, field=name) for name, n in given.items()}
    ends = sorted(given, key=lambda name: exact[name])
    widest, narrowest = widest or given[ends[0]], narrowest or given[ends[-1]]
    Look(wanted or widest, widest, narrowest, 0.02)


def order_of(rows: Iterable[Any], on: date, time_zone: str, shifts: Mapping[int, int]) -> tuple[Stop, ...]:
    """Rows as stops, in the order they come now; of two at one time, as they were planned."""
    stops = []
    for row in rows:
        planned = moment_of(on, When(row.minutes, row.second), time_zone)
        at = later(planned, shifts.get(row.id, 0))
        stops.append(
            Stop(
                row.id, row.uid, row.name, row.place_id, planned, at, row.lasts,
                row.wanted, row.widest, row.narrowest, row.lens_id, row.notes,
            )
        )  # fmt: skip
    return tuple(sorted(stops, key=lambda stop: (instant(stop.at), instant(stop.planned), stop.number)))


def gaps(order: Sequence[Stop], now: datetime | None = None) -> list[timedelta | None]:
    """
    The time there is before each stop: since the one before it ends, or began where nobody said how long it lasts.

    Below zero where they overlap. The first one's is from now; None where that is not known.
    """
    free: list[timedelta | None] = []
    since = now
    for stop in order:
        free.append(None if since is None else instant(stop.at) - instant(since))
        since = stop.ends or stop.at
    return free
