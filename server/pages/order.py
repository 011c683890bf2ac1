"""The running order at the desk: shown, kept, brought in as text or a file, and written out."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Annotated

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator

from server.book import tables
from server.book.days import changed, open_day
from server.book.order import LASTS_MOST, NIGHT, clock_figures, clock_words, moment_of, whens
from server.book.people import first_camera
from server.door.calendars import Entry, read_calendar
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure.days import STOPS_MOST
from server.exposure.refused import OutOfRange
from server.language import day as date_words
from server.language import noted, say, say_many

from . import order_calendar, order_words
from .drawing import attached, draw, zone
from .forms import Form, TheFileForm, TheForm, Typed, text
from .numbers import Number as RowNumber
from .order_table import (
    Draft,
    Line,
    by_time,
    figure_of,
    keep,
    lines_of,
    minutes_between,
    overlaps,
    placed,
    read_lines,
    rearrange,
    stamp_of,
    typed_lines,
    with_start,
)
from .order_words import Row

if TYPE_CHECKING:
    from collections.abc import Sequence

    from server.book.days import Day

router = door_router()

SPARE = 3  # empty lines to type in
MEANWHILE = noted(
    "The order was changed meanwhile, on another page or a phone. Look at it there; keep once more to let this stand"
)


@router.get("/days/{day_id}/order")
def show_order(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The running order in a table, with room for more."""
    with book.reading() as session:
        day = open_day(session, first_camera(visitor.crew), day_id)
    said = say("Kept.") if "kept" in request.query_params else ""
    return _page(request, day, Draft([*lines_of(day), *(Line() for _ in range(SPARE))], said=said))


@router.post("/days/{day_id}/order")
def change_order(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """Keep the whole table, or nothing of it; or change the table as a button says, and keep nothing yet."""
    draft = Draft(typed_lines(came))
    do, stamp = text(came.get("do", "keep")), text(came.get("stamp", ""))
    if do != "keep":
        with book.reading() as session:
            day = open_day(session, first_camera(visitor.crew), day_id)
        rearrange(draft, do, came, day)
        return _page(request, day, draft, stamp=stamp)
    with book.writing(visitor.crew) as session:
        day = open_day(session, first_camera(visitor.crew), day_id)
        stops = read_lines(draft, day)
        if stamp not in ("", stamp_of(day)):
            draft.errors["meanwhile"] = say(MEANWHILE)
            stamp = ""  # it is said now: the next one is that of the order as it stands
        if draft.errors:
            return _page(request, day, draft, status=422, stamp=stamp)
        keep(session, day_id, stops)
        changed(session, day_id)
    return RedirectResponse(f"{request.app.url_path_for('show_order', day_id=day_id)}?kept=1", status_code=303)


class BringForm(Form):
    """What is pasted, and what becomes of the stops that are there."""

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
        day = open_day(session, first_camera(visitor.crew), day_id)
    here = typed_lines(fields) or lines_of(day)  # the table comes along, with what is typed in it and not kept yet
    draft = Draft(here if any(line.empty for line in here) else [*here, Line()])
    stamp = text(fields.get("stamp", ""))
    if form is None:
        return _page(request, day, draft, typed, status=422, stamp=stamp)
    field = "file" if content is not None else "lines"
    try:
        brought = _brought(day, form.lines, content, draft)
    except OutOfRange as refused:
        typed.errors[field] = (
            say("{came}: it needs {allowed}", came=refused.came, allowed=refused.allowed)
            if refused.came
            else refused.allowed
        )
        return _page(request, day, draft, typed, status=422, stamp=stamp)
    brought = by_time(day, brought)  # on their own first: what is there already says nothing of their hours
    there = [] if form.replaces else [line for line in here if not line.empty]
    if len(there) + len(brought) > STOPS_MOST:
        typed.errors[field] = say(
            "{count} stops came; a day has {most} at most", count=len(there) + len(brought), most=STOPS_MOST
        )
        return _page(request, day, draft, typed, status=422, stamp=stamp)
    draft.lines = [*by_time(day, [*there, *brought]), Line()]
    draft.said = say_many(
        "{count} stop came in. Not kept yet: look the order through, then keep it.",
        "{count} stops came in. Not kept yet: look the order through, then keep it.",
        len(brought),
    )
    return _page(request, day, draft, stamp=stamp)


@router.get("/days/{day_id}/order.csv")
def write_csv(book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The running order as a file for a spreadsheet, which reads back as it was."""
    with book.reading() as session:
        day = open_day(session, first_camera(visitor.crew), day_id)
    places = {place.number: place.name for place in day.places}
    lenses = dict(day.used.lenses)
    rows = [
        Row(
            on=stop.at.date(), at=clock_figures(stop.at), until="" if stop.ends is None else clock_figures(stop.ends),
            name=stop.name, place=places.get(stop.place or 0, ""), wanted=figure_of(stop.wanted),
            widest=figure_of(stop.widest), narrowest=figure_of(stop.narrowest), lens=lenses.get(stop.lens or 0, ""),
            notes=stop.notes,
        )
        for stop in day.order
    ]  # fmt: skip
    return attached(order_words.csv_of_rows(rows).encode(), "text/csv; charset=utf-8", f"{day.on}-running-order.csv")


@router.get("/days/{day_id}/order.ics")
def write_calendar(book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The running order as a calendar (RFC 5545)."""
    with book.reading() as session:
        day = open_day(session, first_camera(visitor.crew), day_id)
    events = events_of(day)
    content = order_calendar.calendar_of(events, name=day.name, time_zone=day.time_zone, stamp=datetime.now(UTC))
    return attached(content, "text/calendar; charset=utf-8", f"{day.on}-running-order.ics")


def events_of(day: Day) -> list[order_calendar.Event]:
    """The running order as it comes now, as a calendar tells it."""
    places = {place.number: place.name for place in day.places}
    return [
        order_calendar.Event(
            stop.uid, stop.at, stop.ends, stop.name,
            ", ".join(each for each in (places.get(stop.place or 0, ""), day.venue) if each), stop.notes,
        )
        for stop in day.order
    ]  # fmt: skip


# What was pasted, or came as a file.


def _brought(day: Day, lines: str, content: bytes | None, draft: Draft) -> list[Line]:
    """The stops of a paste or a file, in order, as lines of the table."""
    names = [place.name for place in day.places]
    if content is None:
        rows = order_words.rows_of_text(lines, names)
        guessed = [f"{row.at} {row.name or row.place}" for row in rows if row.guessed]
        if guessed:
            draft.notes.append(say("Read as the times run on: {stops}.", stops=", ".join(guessed)))
        return _lines_of_rows(day, rows, draft)
    if b"BEGIN:VCALENDAR" not in content[:4096].upper():
        return _lines_of_rows(day, order_words.rows_of_csv(content, names), draft)
    midnight = datetime.combine(day.on, time(), zone(day.time_zone))
    morning = datetime.combine(day.on + timedelta(days=1), time(NIGHT // 60), zone(day.time_zone))
    calendar = read_calendar(content, midnight, morning, day.time_zone)
    if not calendar.entries:
        raise OutOfRange("calendar", say("A calendar with {number} events on other days", number=calendar.elsewhere),
                         say("events on {day}", day=date_words(day.on, "d MMMM y")))  # fmt: skip
    if calendar.elsewhere:
        draft.notes.append(say("Left out: {number} on other days.", number=calendar.elsewhere))
    if calendar.whole_days:
        draft.notes.append(say("Left out: {number} that last the whole day.", number=calendar.whole_days))
    draft.notes += [say("Not read: {each}", each=each) for each in calendar.unread[:5]]
    return [
        with_start(
            _line(
                day,
                Row(
                    on=None, at="", until=_end(each, draft),
                    name=_cut(each.name, tables.NAME_LONGEST), place=each.place,
                    wanted="", widest="", narrowest="", lens="", notes=_cut(each.notes, tables.NOTES_LONGEST),
                ),
                draft,
            ),
            each.start,
            day,
        )
        for each in calendar.entries
    ]  # fmt: skip


def _end(entry: Entry, draft: Draft) -> str:
    """When an entry ends, as a field shows it; empty, and said, for one that lasts longer than any stop."""
    if entry.end is None:
        return ""
    if minutes_between(entry.start, entry.end) <= LASTS_MOST:
        return clock_words(entry.end)
    draft.notes.append(say("{name}: its end is more than 12 hours on, and left out.", name=entry.name))
    return ""


def _cut(words: str, most: int) -> str:
    """What a field holds of a stranger's text."""
    line = text(words)
    return line if len(line) <= most else f"{line[: most - 1]}…"


def _lines_of_rows(day: Day, rows: Sequence[Row], draft: Draft) -> list[Line]:
    """Rows of a file or a paste as lines; those of other dates are left out, and that is said."""
    evening = day.on + timedelta(days=1)
    lines = []
    for row in rows:
        is_night = row.on == evening and _is_night(row)
        if row.on not in (None, day.on) and not is_night:
            continue
        line = _line(day, row, draft)
        if row.on is not None:
            # The file says the date, and what stands above a line says nothing against it.
            line = _dated(day, line, row.on)
        lines.append(line)
    if others := len(rows) - len(lines):
        draft.notes.append(say("Left out: {number} on other dates.", number=others))
    return lines


def _is_night(row: Row) -> bool:
    try:
        return order_words.clock(row.at).minutes < NIGHT
    except OutOfRange:
        return False


def _dated(day: Day, line: Line, on: date) -> Line:
    """A line at its time on a date that its file has; one whose time is none shows it as it came."""
    try:
        (when,) = whens(on, [order_words.clock(line.at)], day.time_zone)
    except OutOfRange:
        return line
    return with_start(line, moment_of(on, when, day.time_zone), day)


def _line(day: Day, row: Row, draft: Draft) -> Line:
    names = [each.name for each in day.places]
    place = order_words.place_in(row.place, names) or order_words.place_in(row.name, names)
    ids = {each.name: each.number for each in day.places}
    lenses = {name.casefold(): str(number) for number, name in day.used.lenses}
    if row.lens and row.lens.casefold() not in lenses:
        draft.notes.append(say("This kit has no lens “{lens}”, for {stop}.", lens=row.lens, stop=row.name or row.place))
    return Line(
        at=row.at, until=row.until, name=row.name or row.place, place=str(ids[place]) if place else "",
        wanted=row.wanted, widest=row.widest, narrowest=row.narrowest, lens=lenses.get(row.lens.casefold(), ""),
        notes=row.notes, said="" if place else row.place,
    )  # fmt: skip


def _page(
    request: Request, day: Day, draft: Draft, typed: Typed | None = None, status: int = 200, stamp: str = ""
) -> Response:  # fmt: skip
    moments = placed(draft, day, check=False)
    evening = day.on + timedelta(days=1)
    return draw(
        request, "order/page.html", status=status, day=day, draft=draft, typed=typed or Typed(),
        wrong=Typed(errors=draft.errors), lenses=day.used.lenses, stamp=stamp or stamp_of(day),
        notes=[*draft.notes, *overlaps(draft.lines, moments)],
        mornings={number for number, (start, _) in moments.items() if start.date() == evening},
        unread=[place.number for place in day.places if place.light is None],
        unused=[each.place for each in day.order if each.place not in {place.number for place in day.places}],
    )  # fmt: skip
