"""
The table of a running order, kept or not: what its lines show, how they are moved and shifted, and when each one is.

A line whose time was not touched stays at the moment that it had, however its hour reads: only a time that was typed is
read by what stands above it.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated

from pydantic import BeforeValidator
from sqlalchemy import select
from starlette.datastructures import FormData

from server.book import tables
from server.book.order import (
    FIRST,
    LAST,
    SHIFT_MOST,
    Clock,
    Stop,
    When,
    check_asked,
    clock_words,
    end_of,
    instant,
    later,
    moment_of,
    when_of,
    whens,
)
from server.exposure.days import STOPS_MOST
from server.exposure.refused import OutOfRange, shown
from server.language import say, say_many

from . import order_words
from .forms import Form, MaybeFNumber, MaybeWhole, figure, text

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy.orm import Session

    from server.book.days import Day

LINES_MOST = 4 * STOPS_MOST  # with those that are empty
FIELDS = ("at", "until", "name", "place", "wanted", "widest", "narrowest", "lens", "notes", "number", "known")


@dataclass(frozen=True, slots=True)
class Line:
    """
    A line of the table, as its fields show it.

    place, lens, number  ids as text, of the place, the lens and the stop that it changes; empty: none
    known                the moment that `at` stands for, where nobody has typed it: "1470.0 00:30", minutes after the
                         day's midnight, whether it is the second of two equal ones, and how it reads
    said                 the place that came with it, where it is none of the day's
    """

    at: str = ""
    until: str = ""
    name: str = ""
    place: str = ""
    wanted: str = ""
    widest: str = ""
    narrowest: str = ""
    lens: str = ""
    notes: str = ""
    number: str = ""
    known: str = ""
    said: str = ""

    @property
    def empty(self) -> bool:
        """Whether nothing was typed in it."""
        return not any(getattr(self, name) for name in FIELDS if name not in ("number", "known"))

    def when(self) -> When | Clock:
        """
        The moment that its time stands for; where the time was typed, that, with the moment that it was typed over.

        Raises OutOfRange for a time that is none.
        """
        found = re.fullmatch(r"(-?\d{1,4})\.([01]) (.+)", self.known, re.ASCII)
        if found is None:
            return order_words.clock(self.at)
        if found[3] == self.at:
            return When(int(found[1]), found[2] == "1")
        return replace(order_words.clock(self.at), near=int(found[1]))


@dataclass(slots=True)
class Draft:
    """
    The table before it is kept.

    errors  a word beside each field that is wrong, as "at_3";  said, notes  what has happened, and what to look at
    moved   the line to show, and the button that moved it;  shift_from  the line that the shift goes from
    """

    lines: list[Line]
    errors: dict[str, str] = field(default_factory=dict)
    said: str = ""
    notes: list[str] = field(default_factory=list)
    moved: tuple[int, str] | None = None
    shift_from: int | None = None


Placed = dict[int, tuple[datetime, datetime | None]]  # when each line with a time starts, and ends


def lines_of(day: Day) -> list[Line]:
    """The running order as it stands."""
    return [
        with_start(
            Line(
                until="" if stop.ends is None else clock_words(stop.ends), name=stop.name, place=figure_of(stop.place),
                wanted=figure_of(stop.wanted), widest=figure_of(stop.widest), narrowest=figure_of(stop.narrowest),
                lens=figure_of(stop.lens), notes=stop.notes, number=str(stop.number),
            ),
            stop.at,
            day,
        )
        for stop in day.order
    ]  # fmt: skip


def figure_of(value: float | None) -> str:
    """A figure as a field shows it, empty for none."""
    return "" if value is None else figure(value)


def with_start(line: Line, start: datetime, day: Day) -> Line:
    """A line that starts at this moment."""
    when, words = when_of(day.on, start, day.time_zone), clock_words(start)
    return replace(line, at=words, known=f"{when.minutes}.{int(when.second)} {words}")


def typed_lines(came: FormData) -> list[Line]:
    """The lines as they were sent, empty ones too: each keeps its place until the table is kept."""
    count = 1 + max((int(found[1]) for key in came if (found := re.fullmatch(r"at_(\d{1,4})", key))), default=-1)
    return [
        Line(**{name: text(came.get(f"{name}_{n}", "")) for name in FIELDS}) for n in range(min(count, LINES_MOST))
    ]  # fmt: skip


def stamp_of(day: Day) -> str:
    """A word for the order as it stands: another one once anything in it is not what it was."""
    return hashlib.sha256(repr(day.order).encode()).hexdigest()[:16]


# Moving and shifting.


def rearrange(draft: Draft, do: str, came: FormData, day: Day) -> None:
    """What a button of the table asks for. One that this page does not have changes nothing."""
    what, _, rest = do.partition(":")
    numbers = [int(each) for each in rest.split(":") if re.fullmatch(r"\d{1,4}", each, re.ASCII)]
    for number, (start, _) in placed(draft, day, check=False).items():
        draft.lines[number] = with_start(draft.lines[number], start, day)  # whatever goes from above it, it stays
    filled = [number for number, line in enumerate(draft.lines) if not line.empty]
    inside = [filled.index(number) for number in numbers if number in filled]
    match what, inside:
        case "more", _:
            draft.lines += [Line()] * min(5, max(0, STOPS_MOST - len(draft.lines)))
        case "up", [at] if at > 0:
            _move(draft, day, filled, at, at - 1, what)
        case "down", [at] if at + 1 < len(filled):
            _move(draft, day, filled, at, at + 1, what)
        case "drop", [at, to]:
            _move(draft, day, filled, at, to, "up")
        case "remove", [at]:
            draft.said = say("{stop} is out. Not kept yet.", stop=draft.lines[filled[at]].name or say("The stop"))
            del draft.lines[filled[at]]
        case "shift", _:
            _shift(draft, came, day)


def _move(draft: Draft, day: Day, filled: Sequence[int], start: int, to: int, way: str) -> None:
    """One stop goes to another's time, and those between move up: the times stay where they are, the stops move."""
    moments = placed(draft, day, check=False)
    lines = list(draft.lines)
    order = [number for number in filled if number != filled[start]]
    order.insert(to, filled[start])
    for slot, number in zip(filled, order, strict=True):
        until = lines[number].until
        start_, end = moments.get(number, (None, None))
        if start_ is not None and end is not None and slot in moments:
            until = clock_words(later(moments[slot][0], minutes_between(start_, end)))
        draft.lines[slot] = replace(lines[number], at=lines[slot].at, known=lines[slot].known, until=until)
    draft.moved = filled[to], way
    draft.said = say("Moved: the times stay, the stops move. Not kept yet.")


class ShiftForm(Form):
    """From which line on, and by how much."""

    shift_from: MaybeWhole = None
    shift_by: Annotated[int, BeforeValidator(order_words.minutes)]

    def check(self) -> None:
        """A shift within the day."""
        if not 0 < abs(self.shift_by) <= SHIFT_MOST:
            raise OutOfRange(
                "shift_by",
                f"{self.shift_by} min",
                say("1 to {most} minutes, either way", most=SHIFT_MOST),
            )


def _shift(draft: Draft, came: FormData, day: Day) -> None:
    """Everything from a line on, so much later or earlier, by the clock that counts real time."""
    form, typed = ShiftForm.read(came)
    if form is None:
        draft.errors |= typed.errors
        return
    draft.shift_from = form.shift_from or 0
    moments = placed(draft, day, check=False)
    shifted = [number for number in range(draft.shift_from, len(draft.lines)) if number in moments]
    for number in shifted:
        start, end = moments[number]
        line = with_start(draft.lines[number], later(start, form.shift_by), day)
        draft.lines[number] = line if end is None else replace(line, until=clock_words(later(end, form.shift_by)))
    minutes = abs(form.shift_by)
    draft.said = (
        say_many("{count} stop {minutes} min later. Not kept yet.", "{count} stops {minutes} min later. Not kept yet.",
                 len(shifted), minutes=minutes)
        if form.shift_by > 0
        else say_many("{count} stop {minutes} min earlier. Not kept yet.",
                      "{count} stops {minutes} min earlier. Not kept yet.", len(shifted), minutes=minutes)
    )  # fmt: skip
    first = draft.lines[shifted[0]] if shifted else None
    draft.lines = by_time(day, draft.lines)
    draft.shift_from = draft.lines.index(first) if first is not None else None


# When each line is.


def placed(draft: Draft, day: Day, *, check: bool = True) -> Placed:
    """When the lines start and end. A word beside each time that is none, where that is to be checked."""
    filled = [number for number, line in enumerate(draft.lines) if not line.empty]
    if len(filled) > STOPS_MOST:
        draft.errors["stops"] = say("{count} stops came; a day has {most} at most", count=len(filled), most=STOPS_MOST)
        return {}
    clocks: dict[int, Clock | When] = {}
    errors: dict[str, str] = {}
    for number in filled:
        line = draft.lines[number]
        try:
            clocks[number] = line.when()
        except OutOfRange as refused:
            errors[f"at_{number}"] = _word(refused) if line.at else say("When?")
    found: Placed = {}
    for number, start in _starts(clocks, day, errors).items():
        until = draft.lines[number].until
        found[number] = start, None
        try:
            found[number] = start, end_of(day.on, start, order_words.clock(until), day.time_zone) if until else None
        except OutOfRange as refused:
            errors[f"until_{number}"] = _word(refused)
    if check:
        draft.errors |= errors
    return found


def _word(refused: OutOfRange) -> str:
    return say("{came} came; it needs {allowed}", came=shown(refused.came), allowed=refused.allowed)


def _starts(clocks: dict[int, Clock | When], day: Day, errors: dict[str, str]) -> dict[int, datetime]:
    """When the lines start; those whose time the clocks go over that night are left out, with a word in the errors."""
    lines = list(clocks)
    while True:
        try:
            found = whens(day.on, [clocks[number] for number in lines], day.time_zone)
        except OutOfRange as refused:
            errors[f"at_{lines.pop(int(refused.field.rpartition('.')[2]))}"] = _word(refused)
            continue
        return {number: moment_of(day.on, when, day.time_zone) for number, when in zip(lines, found, strict=True)}


def minutes_between(start: datetime, end: datetime) -> float:
    """How much real time lies between."""
    return (instant(end) - instant(start)) / timedelta(minutes=1)


def by_time(day: Day, lines: Sequence[Line]) -> list[Line]:
    """Lines in the order of their times; those without one that can be read stay at the end."""
    moments = placed(Draft(list(lines)), day, check=False)
    timed = sorted(moments, key=lambda number: (instant(moments[number][0]), number))
    return [
        *(with_start(lines[number], moments[number][0], day) for number in timed),
        *(line for number, line in enumerate(lines) if number not in moments),
    ]


def overlaps(lines: Sequence[Line], moments: Placed) -> list[str]:
    """A word on every stop that begins before one above it is over."""
    found: list[str] = []
    until: tuple[datetime, str] | None = None
    for number, (start, end) in sorted(moments.items(), key=lambda each: instant(each[1][0])):
        name = lines[number].name or say("A stop")
        if until is not None and instant(start) < instant(until[0]):
            found.append(
                say(
                    "{stop} begins at {time}, before {until} is over.",
                    stop=name,
                    time=clock_words(start),
                    until=until[1],
                )
            )
        if end is not None and (until is None or instant(end) > instant(until[0])):
            until = end, name
    return found


# From the table to what is kept.


class LineForm(Form):
    """What one line says, apart from its times."""

    name: Annotated[str, BeforeValidator(text)] = ""
    place: MaybeWhole = None
    wanted: MaybeFNumber = None
    widest: MaybeFNumber = None
    narrowest: MaybeFNumber = None
    lens: MaybeWhole = None
    notes: Annotated[str, BeforeValidator(text)] = ""
    number: MaybeWhole = None

    def check(self) -> None:
        """Hold the look and the lengths to what is kept."""
        if len(self.name) > tables.NAME_LONGEST:
            raise OutOfRange(
                "name",
                say("{count} characters", count=len(self.name)),
                say("at most {longest}", longest=tables.NAME_LONGEST),
            )
        if len(self.notes) > tables.NOTES_LONGEST:
            raise OutOfRange(
                "notes",
                say("{count} characters", count=len(self.notes)),
                say("at most {longest}", longest=tables.NOTES_LONGEST),
            )
        check_asked(self.wanted, self.widest, self.narrowest)


def read_lines(draft: Draft, day: Day) -> list[tables.Stop]:
    """The lines as rows to keep, with a word in the draft beside each field that is wrong."""
    moments = placed(draft, day)
    places = {place.number: place.name for place in day.places}
    lenses = {lens for lens, _ in day.used.lenses}
    known = {stop.number: stop for stop in day.order}
    rows = []
    for number, line in enumerate(draft.lines):
        if line.empty or "stops" in draft.errors:
            continue
        form, typed = LineForm.read(FormData([(name, getattr(line, name)) for name in FIELDS]))
        draft.errors |= {f"{name}_{number}": word for name, word in typed.errors.items()}
        if form is None:
            continue
        old = known.get(form.number or 0)
        # A place that the day uses no more, and a stop that had it: nothing is taken from it unasked.
        if form.place is not None and form.place not in places and (old is None or old.place != form.place):
            draft.errors[f"place_{number}"] = say("This day has no such place any more")
        if form.lens is not None and form.lens not in lenses:
            draft.errors[f"lens_{number}"] = say("This kit has no such lens any more")
        name = form.name or places.get(form.place or 0, "")
        if not name:
            draft.errors[f"name_{number}"] = say("What, or where?")
        if number in moments and not FIRST <= when_of(day.on, moments[number][0], day.time_zone).minutes < LAST:
            draft.errors[f"at_{number}"] = say("That is not on this day, nor in the night after it")
        if number in moments and not draft.errors:
            rows.append(_row(form, name, old, moments[number], day))
    return rows


def _row(
    form: LineForm, name: str, old: Stop | None, moment: tuple[datetime, datetime | None], day: Day
) -> tables.Stop:  # fmt: skip
    start, end = moment
    # What the day has shifted is in the log, and stays there: the time that was typed is when the stop comes, with it.
    shifted = 0 if old is None else day.state.shifts.get(old.number, 0)
    planned = when_of(day.on, later(start, -shifted), day.time_zone)
    return tables.Stop(
        id=None if old is None else old.number, name=name, place_id=form.place, wanted=form.wanted, widest=form.widest,
        narrowest=form.narrowest, lens_id=form.lens, notes=form.notes,
        minutes=planned.minutes, second=planned.second,
        lasts=None if end is None else round(minutes_between(start, end)),
    )  # fmt: skip


KEPT = ("name", "place_id", "wanted", "widest", "narrowest", "lens_id", "notes", "minutes", "second", "lasts")


def keep(session: Session, day_id: int, rows: Iterable[tables.Stop]) -> None:
    """These stops and no others; one that was there before stays the same one, to calendars and to the log."""
    there = {row.id: row for row in session.scalars(select(tables.Stop).where(tables.Stop.day_id == day_id))}
    for row in rows:
        old = there.pop(row.id, None) if row.id is not None else None
        if old is None:
            row.id, row.day_id = None, day_id  # type: ignore[assignment]  # the database numbers it
            session.add(row)
            continue
        for name in KEPT:
            setattr(old, name, getattr(row, name))
    for gone in there.values():
        session.delete(gone)
