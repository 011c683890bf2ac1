"""The running order at the desk: typed in a table, pasted, read from a file, moved, shifted, kept, written out."""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator
from sqlalchemy import select
from starlette.datastructures import FormData

from server.book import tables
from server.book.days import changed, open_day
from server.book.order import LASTS_MOST, NIGHT, SHIFT_MOST, Clock, Stop, clock_words, later, moment_of, when_of, whens
from server.door.calendars import read_calendar
from server.door.visitor import TheBook, TheVisitor
from server.exposure.days import STOPS_MOST
from server.exposure.refused import OutOfRange, shown
from server.exposure.rig import Look

from . import order_calendar, order_words
from .drawing import draw, zone
from .forms import Form, MaybeFNumber, MaybeWhole, TheFileForm, TheForm, Typed, figure, text
from .numbers import Number as RowNumber
from .order_words import Row

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy.orm import Session

    from server.book.days import Day

router = APIRouter()

SPARE = 3  # empty lines to type in
FIELDS = ("at", "until", "name", "place", "wanted", "widest", "narrowest", "lens", "notes", "number")


@dataclass(frozen=True, slots=True)
class Line:
    """
    A line of the table, as its fields show it.

    place, lens, number  ids as text, of the place, the lens and the stop that it changes; empty: none
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
    said: str = ""

    @property
    def empty(self) -> bool:
        """Whether nothing was typed in it."""
        return not any(getattr(self, name) for name in FIELDS if name != "number")


@dataclass(slots=True)
class Draft:
    """The table before it is kept. errors: a word beside each wrong field, as "at_3";  moved: the line to show."""

    lines: list[Line]
    errors: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    moved: int | None = None
    kept: bool = False


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
            raise OutOfRange("name", f"{len(self.name)} characters", f"at most {tables.NAME_LONGEST}")
        if len(self.notes) > tables.NOTES_LONGEST:
            raise OutOfRange("notes", f"{len(self.notes)} characters", f"at most {tables.NOTES_LONGEST}")
        ends = [n for n in (self.widest, self.wanted, self.narrowest) if n is not None]
        if ends:
            wide, small = self.widest or ends[0], self.narrowest or ends[-1]
            Look(self.wanted or wide, wide, small, 0.02)


@router.get("/days/{day_id}/order")
def show_order(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The running order in a table, with room for more."""
    with book.reading() as session:
        day = open_day(session, visitor.crew, day_id)
    kept = "kept" in request.query_params
    draft = Draft([*_lines(day.order), *(Line() for _ in range(SPARE))], kept=kept)
    draft.notes = _overlaps(day.order)
    return _page(request, day, draft)


@router.post("/days/{day_id}/order")
def change_order(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """Keep the whole table, or nothing of it; or change the table as a button says, and keep nothing yet."""
    draft = Draft(_typed_lines(came))
    do = text(came.get("do", "keep"))
    if do != "keep":
        with book.reading() as session:
            day = open_day(session, visitor.crew, day_id)
        _rearrange(draft, do, came, day)
        return _page(request, day, draft)
    with book.writing() as session:
        day = open_day(session, visitor.crew, day_id)
        stops = _read_lines(draft, day)
        if draft.errors:
            return _page(request, day, draft, status=422)
        _keep(session, day_id, stops)
        changed(session, day_id)
    return RedirectResponse(f"{request.app.url_path_for('show_order', day_id=day_id)}?kept=1", status_code=303)


class BringForm(Form):
    """What to do with the stops that are pasted or read from a file."""

    lines: Annotated[str, BeforeValidator(str)] = ""
    replaces: Annotated[bool, BeforeValidator(lambda came: text(came) == "replace")] = False


@router.post("/days/{day_id}/order/brought")
def bring_order(
    request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheFileForm
) -> Response:  # fmt: skip
    """A running order that was pasted, or came as a file: into the table, to be looked through before it is kept."""
    fields, content = came
    form, typed = BringForm.read(fields)
    with book.reading() as session:
        day = open_day(session, visitor.crew, day_id)
    here = _lines(day.order)
    draft = Draft([*here, *(Line() for _ in range(SPARE))])
    if form is None:
        return _page(request, day, draft, typed, status=422)
    field = "file" if content is not None else "lines"
    try:
        brought = _brought(day, form.lines, content, draft)
    except OutOfRange as refused:
        typed.errors[field] = f"{refused.came}: it needs {refused.allowed}"
        return _page(request, day, draft, typed, status=422)
    lines = brought if form.replaces else _by_time(day, [*here, *brought])
    if len(lines) > STOPS_MOST:
        typed.errors[field] = f"{len(lines)} stops came; a day has {STOPS_MOST} at most"
        return _page(request, day, draft, typed, status=422)
    draft.lines = [*lines, Line()]
    return _page(request, day, draft)


@router.get("/days/{day_id}/order.csv")
def write_csv(book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The running order as a file for a spreadsheet, which reads back as it was."""
    with book.reading() as session:
        day = open_day(session, visitor.crew, day_id)
    places = {place.number: place.name for place in day.places}
    lenses = dict(day.used.lenses)
    rows = [
        Row(
            on=stop.at.date(), at=clock_words(stop.at), until="" if stop.ends is None else clock_words(stop.ends),
            name=stop.name, place=places.get(stop.place or 0, ""), wanted=_figure(stop.wanted),
            widest=_figure(stop.widest), narrowest=_figure(stop.narrowest), lens=lenses.get(stop.lens or 0, ""),
            notes=stop.notes,
        )
        for stop in day.order
    ]  # fmt: skip
    return _file(order_words.csv_of_rows(rows).encode(), "text/csv; charset=utf-8", f"{day.on}-running-order.csv")


@router.get("/days/{day_id}/order.ics")
def write_calendar(book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The running order as a calendar (RFC 5545)."""
    with book.reading() as session:
        day = open_day(session, visitor.crew, day_id)
    places = {place.number: place.name for place in day.places}
    events = [
        order_calendar.Event(
            stop.uid, stop.at, stop.ends, stop.name,
            ", ".join(each for each in (places.get(stop.place or 0, ""), day.venue) if each), stop.notes,
        )
        for stop in day.order
    ]  # fmt: skip
    content = order_calendar.calendar_of(events, name=day.name, time_zone=day.time_zone, stamp=datetime.now(UTC))
    return _file(content, "text/calendar; charset=utf-8", f"{day.on}-running-order.ics")


def _file(content: bytes, kind: str, name: str) -> Response:
    return Response(content, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'})


# What the table shows, and what was typed in it.


def _lines(order: Iterable[Stop]) -> list[Line]:
    return [
        Line(
            at=clock_words(stop.at), until="" if stop.ends is None else clock_words(stop.ends), name=stop.name,
            place=_figure(stop.place), wanted=_figure(stop.wanted), widest=_figure(stop.widest),
            narrowest=_figure(stop.narrowest), lens=_figure(stop.lens), notes=stop.notes, number=str(stop.number),
        )
        for stop in order
    ]  # fmt: skip


def _figure(value: float | None) -> str:
    return "" if value is None else figure(value)


def _typed_lines(came: FormData) -> list[Line]:
    """The lines as they were sent, empty ones too: each keeps its place until the table is kept."""
    count = 1 + max((int(found[1]) for key in came if (found := re.fullmatch(r"at_(\d{1,4})", key))), default=-1)
    return [
        Line(**{name: str(came.get(f"{name}_{n}", "")).strip() for name in FIELDS}) for n in range(min(count, 1000))
    ]  # fmt: skip


def _rearrange(draft: Draft, do: str, came: FormData, day: Day) -> None:
    """What a button of the table asks for. One that this page does not have changes nothing."""
    what, _, rest = do.partition(":")
    numbers = [int(each) for each in rest.split(":") if re.fullmatch(r"\d{1,4}", each)]
    filled = 1 + max((number for number, line in enumerate(draft.lines) if not line.empty), default=-1)
    inside = [number for number in numbers if number < filled]
    match what, inside:
        case "more", _:
            draft.lines += [Line()] * min(5, max(0, STOPS_MOST - len(draft.lines)))
        case "up", [number] if number > 0:
            _move(draft, number, number - 1)
        case "down", [number] if number + 1 < filled:
            _move(draft, number, number + 1)
        case "drop", [start, to]:
            _move(draft, start, to)
        case "remove", [number]:
            del draft.lines[number]
        case "shift", _:
            _shift(draft, came, day)


def _move(draft: Draft, start: int, to: int) -> None:
    """One stop goes to another's time, and those between move up: the times stay where they are, the stops move."""
    lines = draft.lines
    times = [line.at for line in lines]
    lasts = [_lasts(line) for line in lines]
    order = [n for n in range(len(lines)) if n != start]
    order.insert(to, start)
    draft.lines = []
    for at, n in zip(times, order, strict=True):
        long = lasts[n]
        draft.lines.append(replace(lines[n], at=at, until=lines[n].until if long is None else _until(at, long)))
    draft.moved = to


def _lasts(line: Line) -> int | None:
    """How long a line lasts [min] by its own two times; None where one of them is missing or none."""
    try:
        start, end = order_words.clock(line.at), order_words.clock(line.until)
    except OutOfRange:
        return None
    return (end.minutes - start.minutes) % (24 * 60)


def _until(at: str, lasts: int) -> str:
    try:
        minutes = (order_words.clock(at).minutes + lasts) % (24 * 60)
    except OutOfRange:
        return ""
    return f"{minutes // 60:02}:{minutes % 60:02}"


class ShiftForm(Form):
    """From which line on, and by how much."""

    shift_from: MaybeWhole = None
    shift_by: Annotated[int, BeforeValidator(order_words.minutes)]

    def check(self) -> None:
        """A shift within the day."""
        if not 0 < abs(self.shift_by) <= SHIFT_MOST:
            raise OutOfRange("shift_by", f"{self.shift_by} min", f"1 to {SHIFT_MOST} minutes, either way")


def _shift(draft: Draft, came: FormData, day: Day) -> None:
    """Everything from a line on, so much later or earlier, by the clock that counts real time."""
    form, typed = ShiftForm.read(came)
    if form is None:
        draft.errors |= typed.errors
        return
    placed = _placed(draft, day, check=False)
    for number in range(form.shift_from or 0, len(draft.lines)):
        if number in placed:
            line, (start, end) = draft.lines[number], placed[number]
            at = later(start, form.shift_by)
            until = line.until if end is None else clock_words(later(end, form.shift_by))
            draft.lines[number] = replace(line, at=clock_words(at), until=until)
    draft.lines = _by_time(day, draft.lines)


# From the table to what is kept.


Placed = dict[int, tuple[datetime, datetime | None]]  # when each line with a time starts, and ends


def _placed(draft: Draft, day: Day, *, check: bool = True) -> Placed:
    """When the lines start and end. A word beside each time that is none, where that is to be checked."""
    clocks: dict[int, Clock] = {}
    errors: dict[str, str] = {}
    for number, line in enumerate(draft.lines):
        if line.empty:
            continue
        try:
            clocks[number] = order_words.clock(line.at)
        except OutOfRange as refused:
            errors[f"at_{number}"] = _word(refused) if line.at else "When?"
    found: Placed = {}
    for number, start in _starts(clocks, day, errors).items():
        until = draft.lines[number].until
        found[number] = start, None
        try:
            found[number] = start, _end(start, order_words.clock(until), day) if until else None
        except OutOfRange as refused:
            errors[f"until_{number}"] = _word(refused)
    if check:
        draft.errors |= errors
    return found


def _word(refused: OutOfRange) -> str:
    return f"{shown(refused.came)} came; it needs {refused.allowed}"


def _starts(clocks: dict[int, Clock], day: Day, errors: dict[str, str]) -> dict[int, datetime]:
    """When the lines start; those whose time the clocks go over that night are left out, with a word in the errors."""
    lines = list(clocks)
    while True:
        try:
            found = whens(day.on, [clocks[number] for number in lines], day.time_zone)
        except OutOfRange as refused:
            errors[f"at_{lines.pop(int(refused.field.rpartition('.')[2]))}"] = _word(refused)
            continue
        return {number: moment_of(day.on, when, day.time_zone) for number, when in zip(lines, found, strict=True)}


def _end(start: datetime, clock: Clock, day: Day) -> datetime:
    """The first moment after the start that the clock shows this time."""
    begins = when_of(day.on, start, day.time_zone)
    minutes = begins.minutes + (clock.minutes - begins.minutes) % (24 * 60)
    for second in (False, True):
        end = moment_of(day.on, replace(begins, minutes=minutes, second=second), day.time_zone)
        if 0 < _minutes(start, end) <= LASTS_MOST and (
            not clock.zone or clock.zone.casefold() == (end.tzname() or "").casefold()
        ):
            return end
    raise OutOfRange(
        "until", f"{clock.minutes // 60:02}:{clock.minutes % 60:02}", "an end in the 12 hours after its start"
    )


def _minutes(start: datetime, end: datetime) -> float:
    """How much real time lies between."""
    return (end.astimezone(UTC) - start.astimezone(UTC)) / timedelta(minutes=1)


def _read_lines(draft: Draft, day: Day) -> list[tables.Stop]:
    """The lines as rows to keep, with a word in the draft beside each field that is wrong."""
    placed = _placed(draft, day)
    places = {place.number: place.name for place in day.places}
    lenses = {lens for lens, _ in day.used.lenses}
    known = {stop.number for stop in day.order}
    rows = []
    for number, line in enumerate(draft.lines):
        if line.empty:
            continue
        form, typed = LineForm.read(FormData([(name, getattr(line, name)) for name in FIELDS]))
        draft.errors |= {f"{name}_{number}": word for name, word in typed.errors.items()}
        if form is None:
            continue
        if form.place is not None and form.place not in places:
            draft.errors[f"place_{number}"] = "This day has no such place any more"
        if form.lens is not None and form.lens not in lenses:
            draft.errors[f"lens_{number}"] = "This kit has no such lens any more"
        name = form.name or places.get(form.place or 0, "")
        if not name:
            draft.errors[f"name_{number}"] = "What, or where?"
        if number not in placed or draft.errors:
            continue
        start, end = placed[number]
        id_ = form.number if form.number in known else None
        planned = when_of(day.on, later(start, -day.state.shifts.get(id_ or 0, 0)), day.time_zone)
        rows.append(
            tables.Stop(
                id=id_, name=name, place_id=form.place, wanted=form.wanted, widest=form.widest,
                narrowest=form.narrowest, lens_id=form.lens, notes=form.notes,
                minutes=planned.minutes, second=planned.second,
                lasts=None if end is None else round(_minutes(start, end)),
            )
        )  # fmt: skip
    if len(rows) > STOPS_MOST:
        draft.errors["stops"] = f"{len(rows)} stops came; a day has {STOPS_MOST} at most"
    return rows


KEPT = ("name", "place_id", "wanted", "widest", "narrowest", "lens_id", "notes", "minutes", "second", "lasts")


def _keep(session: Session, day_id: int, rows: Sequence[tables.Stop]) -> None:
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


# What was pasted, or came as a file.


def _brought(day: Day, lines: str, content: bytes | None, draft: Draft) -> list[Line]:
    """The stops of a paste or a file, in order, as lines of the table."""
    names = [place.name for place in day.places]
    if content is None:
        return _lines_of_rows(day, order_words.rows_of_text(lines, names), draft)
    if b"BEGIN:VCALENDAR" not in content[:4096].upper():
        return _lines_of_rows(day, order_words.rows_of_csv(content, names), draft)
    midnight = datetime.combine(day.on, time(), zone(day.time_zone))
    morning = datetime.combine(day.on + timedelta(days=1), time(NIGHT // 60), zone(day.time_zone))
    calendar = read_calendar(content, midnight, morning, day.time_zone)
    rows = [
        Row(
            on=each.start.date(), at=clock_words(each.start), until="" if each.end is None else clock_words(each.end),
            name=textwrap.shorten(each.name, tables.NAME_LONGEST, placeholder="…"), place=each.place,
            wanted="", widest="", narrowest="", lens="",
            notes=textwrap.shorten(each.notes, tables.NOTES_LONGEST, placeholder="…"),
        )
        for each in calendar.entries
    ]  # fmt: skip
    if not rows:
        raise OutOfRange("calendar", f"A calendar with {calendar.elsewhere} events on other days",
                         f"events on {day.on:%-d %B %Y}")  # fmt: skip
    if calendar.elsewhere:
        draft.notes.append(f"Left out: {calendar.elsewhere} on other days.")
    if calendar.whole_days:
        draft.notes.append(f"Left out: {calendar.whole_days} that last the whole day.")
    draft.notes += [f"Not read: {each}" for each in calendar.unread[:5]]
    return _lines_of_rows(day, rows, draft)


def _lines_of_rows(day: Day, rows: Sequence[Row], draft: Draft) -> list[Line]:
    """Rows of a file or a paste as lines; those of other dates are left out, and that is said."""
    evening = day.on + timedelta(days=1)
    mine = [row for row in rows if row.on in (None, day.on) or (row.on == evening and _is_night(row))]
    if others := len(rows) - len(mine):
        draft.notes.append(f"Left out: {others} on other dates.")
    # A date says what the order of the lines says in the table: those of the next morning come last.
    mine.sort(key=lambda row: row.on == evening)
    return [_line(day, row) for row in mine]


def _is_night(row: Row) -> bool:
    try:
        return order_words.clock(row.at).minutes < NIGHT
    except OutOfRange:
        return False


def _line(day: Day, row: Row) -> Line:
    place, name = order_words.place_in(row.place, [each.name for each in day.places]), row.name
    if not place and row.place:
        place = order_words.place_in(row.name, [each.name for each in day.places])
    ids = {each.name: each.number for each in day.places}
    lenses = {name.casefold(): str(number) for number, name in day.used.lenses}
    return Line(
        at=row.at, until=row.until, name=name or row.place, place=str(ids[place]) if place else "",
        wanted=row.wanted, widest=row.widest, narrowest=row.narrowest, lens=lenses.get(row.lens.casefold(), ""),
        notes=row.notes, said="" if place else row.place,
    )  # fmt: skip


def _by_time(day: Day, lines: list[Line]) -> list[Line]:
    """Lines in the order of their times; those without one that can be read stay at the end."""
    placed = _placed(Draft(lines), day, check=False)
    timed = sorted(placed, key=lambda number: (placed[number][0].astimezone(UTC), number))
    return [*(lines[n] for n in timed), *(line for n, line in enumerate(lines) if n not in placed)]


def _overlaps(order: Sequence[Stop]) -> list[str]:
    """A word on every stop that begins before the one above it is over."""
    found = []
    until: tuple[datetime, Stop] | None = None
    for stop in order:
        if until is not None and stop.at.astimezone(UTC) < until[0].astimezone(UTC):
            found.append(f"{stop.name} begins at {clock_words(stop.at)}, before {until[1].name} is over.")
        if stop.ends is not None and (until is None or stop.ends.astimezone(UTC) > until[0].astimezone(UTC)):
            until = stop.ends, stop
    return found


def _page(request: Request, day: Day, draft: Draft, typed: Typed | None = None, status: int = 200) -> Response:
    evening: date = day.on + timedelta(days=1)
    placed = _placed(draft, day, check=False)
    return draw(
        request, "order/page.html", status=status, day=day, draft=draft, typed=typed or Typed(),
        wrong=Typed(errors=draft.errors), lenses=day.used.lenses,
        mornings={number for number, (start, _) in placed.items() if start.date() == evening},
        unread=[place.number for place in day.places if place.light is None],
    )  # fmt: skip
