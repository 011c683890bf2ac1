"""
Running orders as people keep them: lines of text, and tables of a spreadsheet (CSV).

What is read goes into a form to be looked through before anything is kept. So a place is found where it can be, and
whatever could be meant otherwise stays in the name or the notes; only what cannot be a stop is refused, with its line.

Source: RFC 4180 for CSV; ISO 8601 for dates.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING, Never

from server.book.order import Clock
from server.book.tables import NAME_LONGEST, NOTES_LONGEST
from server.exposure.days import STOPS_MOST
from server.exposure.refused import OutOfRange
from server.language import noted, say

from .forms import text as one_line

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

LINES_MOST = 500
LINE_LONGEST = 1000  # characters
QUOTED_MOST = 40  # characters of a line that a refusal quotes
COLUMNS = ("date", "time", "until", "stop", "place", "wanted", "widest", "narrowest", "lens", "notes")
# What other people's tables call ours. Where there are several, our own name comes first, then in this order.
ALSO_CALLED = {
    "date": ("day",),
    "time": ("start", "start time", "from", "begin"),
    "until": ("end", "end time", "finish", "to"),
    "stop": ("event", "what", "what happens", "activity", "title", "name", "item"),
    "place": ("location", "where", "venue"),
    "notes": ("description", "comment", "comments", "remarks"),
}


@dataclass(frozen=True, slots=True)
class Row:
    """
    A stop as the fields of a form show it; empty where nothing is said.

    on         the day that the file says, if it says one
    at, until  "13:30", by a clock of 24 hours; "01:30 GMT" where a table says which of two equal times
    place      one of the places that were given, where it is known; else as the file has it
    wanted, widest, narrowest, lens  as a table has them: whether they fit is for the form to say
    guessed    12 hours were added to a time that does not say which half of the day it is in; no table has this
    """

    on: date | None
    at: str
    until: str
    name: str
    place: str
    wanted: str
    widest: str
    narrowest: str
    lens: str
    notes: str
    guessed: bool = False


@dataclass(frozen=True, slots=True)
class _Where:
    """Where something stands, for the word that refuses it: the field, and the line or row of it."""

    field: str
    line: str = ""

    def refuse(self, came: str, allowed: str) -> Never:
        """Raise OutOfRange."""
        came = one_line(came)
        if self.line:
            quoted = f"“{came[:QUOTED_MOST]}…”" if len(came) > QUOTED_MOST else f"“{came}”"
            came = f"{self.line}: {quoted if came else say('nothing')}"
        raise OutOfRange(self.field, came, allowed)

    def check(self, row: Row) -> Row:
        """The row, if all of it is short enough to be kept."""
        for name in ("name", "place", "wanted", "widest", "narrowest", "lens", "notes"):
            most = NOTES_LONGEST if name == "notes" else NAME_LONGEST
            if len(came := getattr(row, name)) > most:
                self.refuse(
                    came, say("{most} characters of {name}, and not {count}", most=most, name=name, count=len(came))
                )
        return row


# Times and dates

TIME_ALLOWED = noted("a time of the day, such as 13:30 or 1:30 pm")
_TO = r"\s* (?: [-–—−→>]+ | \b(?: to | till | until )\b ) \s*"
# What makes a number a measurement. In small letters only, and no "in" or "foot": "10.15 Miles arrives", "4.30 M&G".
_UNIT = rf"""
    (?: {_TO} \d+ (?: [.,]\d+ )? )? \s?
    (?: [%°€£$]
      | (?-i: [mlgs] (?! \w | \s?& | ['’] )
          | (?: mm | cm | km | ft | feet | inches | yards | miles | metres? | meters? | kg | lx | lux | fps
              | mins? | minutes | secs? | seconds | euros? ) \b )
    )
"""
# A crowd is counted where nothing happens to it: "2000 guests" and "2000 people at most", but "1330 guests arrive".
_CROWD = r"""
    \s? (?-i: guests | people | persons | pax | seats | chairs | steps )
    \s* (?: $ | [,;.!()] | (?: at\smost | in\s(?: all | total ) | max(?:imum)? | only | expected | invited ) \b )
"""
_ISH = r"(?: [\s-]? ish\b )?"
_CLOCK = rf"""
    (?: (?P<hour>\d{{1,2}}) (?: (?P<parted> \s?[:.]\s? ) | \s?h\s? ) (?P<minute>\d\d) (?: :\d\d )? (?! \d | [./]\d )
        (?! (?<= \.\d\d ) {_UNIT} )
      | (?P<four>\d{{4}})
        (?! \d | [./:]\d | -\d\d- | \s? (?: k | lx | lux | iso | mm | m | fps | ev ) \b | {_UNIT} | {_CROWD} )
      | (?P<whole>\d{{1,2}}) (?= h\b | \s?[ap]\.?\s?m (?: \b | ish\b ) )
      | (?: 12\s )? (?P<word> noon | midday | midnight ) (?: \b | (?= ish\b ) )
    )
    (?: \s? (?P<half>[ap])\.?\s?m (?: \b\.? | (?= ish\b ) ) | (?P<hours> h\b | \s? (?: hours | hrs ) \b ) )? {_ISH}
"""
_FLAGS = re.VERBOSE | re.IGNORECASE | re.ASCII
_START, _END = re.compile(_CLOCK, _FLAGS), re.compile(_TO + _CLOCK, _FLAGS)
# "1-2 pm": a bare hour is a time only where the end says which half of the day it is in ...
_BARE_START = re.compile(rf"(?P<whole>\d{{1,2}}) (?= {_TO} \d{{1,2}} (?: [:.]\d\d )? \s? [ap]\.?\s?m\b )", _FLAGS)
# ... and, in a text by a clock of 12 hours, after "at" or as an end: "at 5", "11.30-1". "1.30 - 2 rings" has no end.
_HOUR = rf"""
    (?P<bare> 1[0-2] | [1-9] ) (?! \d | (?! ish\b )\w | [.,:/]\d | {_UNIT} | {_CROWD} )
    (?: \s? o['’]?clock\b )? {_ISH}
"""
_AT_HOUR = re.compile(_HOUR, _FLAGS)
_TO_HOUR = [
    re.compile(rf"(?: [-–—−→]+ | \s* \b(?: to | till | until )\b \s* ) {_HOUR}", _FLAGS),
    re.compile(rf"{_TO} {_HOUR} (?= \s*$ | \s*[:|\t] | \s+[-–—−]+\s )", _FLAGS),
]
_WORDS = {"noon": "12:00", "midday": "12:00", "midnight": "00:00"}


@dataclass(frozen=True, slots=True)
class _Time:
    """
    A time as it was written.

    at      "HH:MM"
    opened  it may as well be 12 hours later: nothing in it says which half of the day it is in
    beyond  only a clock of 24 hours says it like this
    """

    at: str
    opened: bool = False
    beyond: bool = False

    def after(self, above: str) -> str:
        """
        When it is, below another time: an open one that would come before that is 12 hours later, if this helps.

        >>> _Time("01:15", opened=True).after("12:30"), _Time("01:00", opened=True).after("23:30")
        ('13:15', '01:00')
        >>> _Time("12:30", opened=True).after("23:30"), _Time("12:30", opened=True).after("09:30")
        ('00:30', '12:30')
        """
        later = f"{int(self.at[:2]) + 12}{self.at[2:]}"
        noon = self.at >= "12:00" and above < "18:00"  # half past twelve is midnight's only below an evening
        if self.opened and self.at < above <= later and not noon:
            return later.replace("24:", "00:")
        return self.at


@dataclass(frozen=True, slots=True)
class _Span:
    """The time that a line begins with, its end if it has one, and the rest of the line."""

    start: _Time
    end: _Time | None
    rest: str

    @property
    def until(self) -> str:
        """The end as it was written, or ""."""
        return self.end.at if self.end else ""


def _span(line: str, where: _Where, *, at_hour: bool = False, to_hour: bool = False) -> _Span | None:
    """
    What a line says of time at its beginning; None where it begins with no time.

    at_hour, to_hour  whether it may begin, and end, with a bare hour
    """
    start = _START.match(line) or _BARE_START.match(line) or (_AT_HOUR.match(line) if at_hour else None)
    if start is None:
        return None
    ends = [_END, *_TO_HOUR] if to_hour else [_END]
    end = next((found for each in ends if (found := each.match(line, start.end()))), None)
    until = _clock(end, None, where) if end else None
    half = end.groupdict().get("half") if end and until else None
    at = _clock(start, half, where)
    if at is None:
        return None
    if until and half and at.at > until.at:
        at = _clock(start, "a", where) or at  # "11-1 pm" begins in the morning
    return _Span(at, until, line[(end if end and until else start).end() :])


def _clock(found: re.Match[str], half: str | None, where: _Where) -> _Time | None:
    """
    A time; None for four digits that are none, which are a number of something.

    half  "a" or "p": of the day, for a time that does not say it itself and may need it
    """
    came = found.groupdict()
    if word := came.get("word"):
        return _Time(_WORDS[word.lower()])
    four = came.get("four")
    written = four[:2] if four else came.get("hour") or came.get("whole") or came["bare"]
    hour, minute = int(written), int(four[2:] if four else came.get("minute") or 0)
    own = (came.get("half") or "").lower()
    half = own or ((half or "").lower() if 1 <= hour <= 12 and not four else "")
    zero = written.startswith("0")
    plain = came.get("parted") and not came["hours"] and 1 <= hour <= 12 and not zero
    opened, beyond = not half and bool(plain or came.get("bare")), hour > 12 or (zero and not half)
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half == "p" else 0)
    elif own == "a" or (own and hour == 0):
        where.refuse(found.string, say(TIME_ALLOWED))
    if (hour, minute) == (24, 0):
        hour = 0
    if hour > 23 or minute > 59:
        if four:
            return None
        where.refuse(found.string, say(TIME_ALLOWED))
    return _Time(f"{hour:02}:{minute:02}", opened, beyond)


def clock(came: str) -> Clock:
    """
    A time as it is typed in a field; of two equal ones the zone's short name may say which.

    Raises OutOfRange (field "time").

    >>> clock("1.30 pm") == Clock(minutes=13 * 60 + 30), clock("01:30 GMT") == Clock(minutes=90, zone="GMT")
    (True, True)
    """
    where = _Where("time")
    at, until, zone = _cell(came, where)
    if until:
        where.refuse(came, say(TIME_ALLOWED))
    return Clock(int(at[:2]) * 60 + int(at[3:5]), zone)


def minutes(came: object) -> int:
    """
    A length, either way, in whole minutes. Raises ValueError that says what is allowed, as `forms` has it.

    >>> minutes("20"), minutes("−5 min"), minutes("1:30"), minutes("+2 h")
    (20, -5, 90, 120)
    """
    found = _LENGTH.fullmatch(one_line(came).replace("−", "-"))
    if not found:
        message = say("minutes, such as 20 or -5, or hours and minutes, such as 1:30")
        raise ValueError(message)
    length = int(found["hours"] or 0) * 60 + int(found["over"] or found["more"] or found["few"] or 0)
    return -length if found["sign"] == "-" else length


_LENGTH = re.compile(
    r"(?P<sign>[+-]?) \s? (?: (?P<hours>\d{1,2}) (?: : (?P<over>\d\d) | \s?h (?: \s?(?P<more>\d{1,2}) (?:\s?min)? )? )"
    r" | (?P<few>\d{1,4}) (?:\s?min(?:utes)?)? )",
    _FLAGS,
)
_ZONE = re.compile(r"\s ( [A-Z]{2,5} | [+-]\d\d (?: :?\d\d )? )", re.VERBOSE | re.ASCII)  # as %Z has it


def _cell(came: str, where: _Where) -> tuple[str, str, str]:
    """A field's time, its end or "", and the zone or ""; nothing else may be in it."""
    line = one_line(came)
    span = _span(line, where)
    if span is None:
        where.refuse(line, say(TIME_ALLOWED))
    zone = _ZONE.fullmatch(span.rest)
    if not zone and span.rest.strip(_AROUND):
        where.refuse(line, say(TIME_ALLOWED))
    return span.start.at, span.until, zone[1] if zone else ""


def _day(came: str, where: _Where) -> date:
    try:
        return date.fromisoformat(came)
    except ValueError:
        where.refuse(came, say("a date such as 2026-06-20"))


# Places

_AFTER = re.compile(r"\s*[:;,.|/()\t]+\s*|\s+[-–—−]+\s*|\s*[-–—−]+\s+")  # a place, then what happens there
_AROUND = " \t:;,.|/-–—−"


class _Places:
    """The names of the day's places, to be found in a line whatever their case and accents."""

    def __init__(self, places: Sequence[str]) -> None:
        ways = [(" ".join(_folded(place)[0].split()), place) for place in places]
        self._known = {way: place for way, place in reversed(ways) if way}
        longest = sorted(self._known, key=len, reverse=True)
        self._patterns = [
            (re.compile(r"(?<!\w)" + r"\s+".join(map(re.escape, way.split())) + r"(?!\w)"), self._known[way])
            for way in longest
        ]

    def same(self, name: str) -> str:
        """A place as it is known, else the name as it is."""
        return self._known.get(" ".join(_folded(name)[0].split()), name)

    def found_in(self, line: str) -> tuple[str, str]:
        """
        What a stop is called, and its place: the longest one that the line begins with, else the longest in it.

        The place is taken out of the name only where something stands between the two, or "at"; else it stays as it is.

        >>> _Places(["Chapel", "Chapel inside"]).found_in("Vows at the chapel inside")
        ('Vows', 'Chapel inside')
        >>> _Places(["Chapel", "Chapel inside"]).found_in("Chapel bells ring")
        ('Chapel bells ring', 'Chapel')
        """
        whole = one_line(line)
        folded, at = _folded(line)
        for pattern, place in self._patterns:
            if found := pattern.match(folded):
                rest = line[at[found.end()] :]
                between = _AFTER.match(rest)
                name = one_line(rest[between.end() :]).strip(_AROUND) if between else ""
                return _unbracketed(name) or whole, place
        for pattern, place in self._patterns:
            if found := pattern.search(folded):
                before, after = line[: at[found.start()]], line[at[found.end()] :]
                name = "" if after.strip(_AROUND + ")") else one_line(_said_before(before)).strip(_AROUND)
                return name or whole, place
        return whole, ""


def _said_before(line: str) -> str:
    """What stands before a place that ends a line; nothing where it is one sentence with the place."""
    said = line.rstrip(_AROUND + "(@")
    between = line[len(said) :]
    words = said.casefold().split()
    if "at" in {*words[-1:], *(words[-2:-1] if words[-1:] == ["the"] else ())}:
        return said[: said.casefold().rindex("at")]
    return said if between.strip("-–—−. ") or (between.strip(" .") and " " in between) else ""


def place_in(line: str, places: Sequence[str]) -> str:
    """
    The place that a line names, "" where it names none: the one that it begins with, else the longest in it.

    >>> place_in("drinks, chapel garden", ["Chapel", "Chapel garden"])
    'Chapel garden'
    """
    return _known(tuple(places)).found_in(line)[1]


@lru_cache(maxsize=8)
def _known(places: tuple[str, ...]) -> _Places:
    """Remembered: a paste asks for every line, and each place has a pattern to be made."""
    return _Places(places)


def _folded(line: str) -> tuple[str, list[int]]:
    """A line with no case and no accents, and where each of its characters, and its end, stood in the line."""
    folded, at = [], []
    for number, character in enumerate(line):
        for plain in unicodedata.normalize("NFKD", character.casefold()):
            if not unicodedata.combining(plain):
                folded.append(_PLAIN.get(plain, plain))
                at.append(number)
    return "".join(folded), [*at, len(line)]


_PLAIN = dict.fromkeys("’‘ʼ`", "'") | dict.fromkeys("‐‑‒–—−", "-")


def _unbracketed(name: str) -> str:
    """A name without the bracket that was opened before it."""
    return name if name.count(")") <= name.count("(") else name.removesuffix(")").rstrip()


# Lines of text

_MARKS = re.compile(r"(?: [\s\-–—−*•·▪◦‣>#|_]+ | \[[ xX]?\] | \(?\d{1,3}[.)](?=\s) )+", re.VERBOSE)
_LEAD = re.compile(
    r"(?: (?: at | from | by | about | around | approx(?:imately|\.)? | circa | ca?\.? | [@~≈(] ) \s* ){1,3}"
    r"(?= \d | noon | midday | midnight )",
    re.VERBOSE | re.IGNORECASE,
)
_AT = re.compile(r"\(?\s*(?:@|at)", re.IGNORECASE)  # the lead that makes a bare hour a time
_DAY_BEGINS = "06:00"  # a first time before it that may be the afternoon's is: "1:30 Bride arrives"
_DATE = re.compile(r"(\d{4}-\d\d-\d\d)(?:T(?=\d)|[\s,:;]+|$)", re.ASCII)


def rows_of_text(text: str, places: Sequence[str]) -> list[Row]:
    """
    The stops of a pasted text, one a line: "13:30 Chapel door: couple arrives".

    A line that begins with no time belongs to the stop above it: it is its name where it has none yet, else its notes;
    above the first stop it is a heading, and left out. A line with nothing but an ISO date says the day of those below.

    A time that does not say its half of the day, "6.15", is the afternoon's where it would come before the one above it
    and is then after that; so are an end before its start, and a day's first time from 1 to 5. The row says that it is
    guessed. Not so in a text with a time such as 13:00 or 09:00 in it: there all are by a clock of 24 hours.

    places  the names of the day's places
    Raises OutOfRange for a text with no stop in it, and with the line for a time that is none and for what is too long.

    >>> [(row.at, row.until, row.name, row.place) for row in rows_of_text("1.30-2 pm Vows (Chapel)", ["Chapel"])]
    [('13:30', '14:00', 'Vows', 'Chapel')]
    """
    lines = text.removeprefix("\ufeff").splitlines()
    if not any(line.strip() for line in lines):
        raise OutOfRange("text", "", say("a running order, one stop a line: 13:30 Chapel door"))
    if len(lines) > LINES_MOST:
        raise OutOfRange("text", say("{count} lines", count=f"{len(lines):,}"), say("at most {most}", most=LINES_MOST))
    wheres = [_Where("text", say("line {number}", number=number)) for number in range(1, len(lines) + 1)]
    beyond = [_beyond(raw, where) for raw, where in zip(lines, wheres, strict=True)]  # all of them: each is checked
    by_12 = not any(beyond)
    known = _known(tuple(places))
    on: date | None = None
    rows: list[Row] = []
    for raw, where in zip(lines, wheres, strict=True):
        day, span, rest, bulleted = _line(raw, where, by_12=by_12)
        on = day or on
        if span:
            if len(rows) == STOPS_MOST:
                where.refuse(raw, say("at most {most} stops", most=STOPS_MOST))
            at, until = _halved(span, rows[-1].at if rows and rows[-1].on == on else _DAY_BEGINS, by_12=by_12)
            name, place = known.found_in(rest)
            guessed = (at, until) != (span.start.at, span.until)
            rows.append(where.check(Row(on, at, until, name, place, "", "", "", "", "", guessed=guessed)))
        elif rows and rest:
            rows[-1] = where.check(_with_line(rows[-1], rest, known, bulleted=bulleted))
    if not rows:
        raise OutOfRange("text", one_line(text), say("lines that begin with a time: 13:30 Chapel door"))
    return rows


def _beyond(raw: str, where: _Where) -> bool:
    """Whether a line's times are by a clock of 24 hours for certain. Raises OutOfRange for a line that is too long."""
    if len(raw) > LINE_LONGEST:
        where.refuse(raw, say("a line of at most {longest} characters", longest=f"{LINE_LONGEST:,}"))
    _, span, _, _ = _line(raw, where, by_12=False)
    return span is not None and (span.start.beyond or (span.end is not None and span.end.beyond))


def _halved(span: _Span, above: str, *, by_12: bool) -> tuple[str, str]:
    """When a stop begins and its end or "", each in its half of the day; above is when the stop above it begins."""
    if not by_12:
        return span.start.at, span.until
    at = span.start.after(above)
    return at, span.end.after(at) if span.end else ""


def _line(raw: str, where: _Where, *, by_12: bool) -> tuple[date | None, _Span | None, str, bool]:
    """
    The day that a line says, its time and end, the rest of it, and whether it had a mark before it.

    by_12  whether the text may be by a clock of 12 hours, which alone has bare hours
    """
    line = "\t".join(filter(None, map(one_line, raw.split("\t"))))  # tabs stay: they part a table's cells
    marks = _MARKS.match(line)
    line = line[marks.end() :] if marks else line
    dated = _DATE.match(line)
    timed = line[dated.end() :] if dated else line
    at_hour = False
    if lead := _LEAD.match(timed):
        at_hour = by_12 and bool(_AT.match(timed))
        timed = timed[lead.end() :]
    span = _span(timed, where, at_hour=at_hour, to_hour=by_12)
    day = _day(dated[1], where) if dated and (span or not timed) else None
    if span:
        return day, span, span.rest.lstrip(_AROUND + ")]*_").rstrip(_AROUND), bool(marks)
    return day, None, "" if day else one_line(line), bool(marks)


def _with_line(row: Row, line: str, known: _Places, *, bulleted: bool) -> Row:
    """A stop with a line that stood below it; a list's items stay apart, a wrapped sentence is one again."""
    if not row.name:
        name, place = known.found_in(line)
        return replace(row, name=name, place=place)
    return replace(row, notes=f"{row.notes}{'; ' if bulleted else ' '}{line}" if row.notes else line)


# Tables

# What a spreadsheet would take for a formula and run, also behind space, which some skip. One apostrophe makes it a
# text, there and here.
_RUNS = r"\s*[=+\-@＝＋－＠]"
_WRITTEN, _READ = re.compile(rf"'*{_RUNS}"), re.compile(rf"'+{_RUNS}")


def rows_of_csv(data: bytes | str, places: Sequence[str]) -> list[Row]:
    """
    The stops of a table whose first row names its columns: COLUMNS, in any order, "time" at least; others are left out.
    ALSO_CALLED has what else they may be called.

    data    UTF-8, UTF-16 with its mark, else Windows-1252; commas, semicolons or tabs between the cells
    places  the names of the day's places. Without a column for it, the place is looked for in the stop
    Raises OutOfRange, with the row for whatever is in one.
    """
    table = _text_of(data)
    table = table.lstrip("\r\n")
    if not table.strip():
        raise OutOfRange("file", "", say("a table with a row for each stop"))
    header, cells = _table(table)
    known = _known(tuple(places))
    rows: list[Row] = []
    for number, came in cells:
        where = _Where("file", say("row {number}", number=number))
        cell = {name: _plain(came[at]) if at < len(came) else "" for name, at in header.items()}
        if not any(cell.values()):
            continue
        if len(rows) == STOPS_MOST:
            where.refuse(" ".join(came), say("at most {most} stops", most=STOPS_MOST))
        on = _day(cell["date"], where) if cell.get("date") else None
        at, until = _times(cell, where)
        name, place = cell.get("stop", ""), known.same(cell.get("place", ""))
        if "place" not in header:
            name, place = known.found_in(name)
        wanted, widest, narrowest, lens, notes = (cell.get(column, "") for column in COLUMNS[5:])
        rows.append(where.check(Row(on, at, until, name, place, wanted, widest, narrowest, lens, notes)))
    if not rows:
        raise OutOfRange("file", say("a table with no stop"), say("a row for each, below the names of the columns"))
    return rows


def csv_of_rows(rows: Sequence[Row]) -> str:
    r"""
    A table that `rows_of_csv` reads back to the same rows, and that no spreadsheet runs (RFC 4180).

    To be sent as UTF-8; some spreadsheets take it for something else unless it begins with a byte order mark.

    >>> print(csv_of_rows([Row(None, "13:30", "", "=Vows", "Hall", "2.8", "", "", "", "rings, flash")]).splitlines()[1])
    ,13:30,,'=Vows,Hall,2.8,,,,"rings, flash"
    """
    table = io.StringIO(newline="")
    writer = csv.writer(table, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in rows:
        on = row.on.isoformat() if row.on else ""
        cells = (row.at, row.until, row.name, row.place, row.wanted, row.widest, row.narrowest, row.lens, row.notes)
        writer.writerow([on, *(guarded(one_line(cell)) for cell in cells)])
    return table.getvalue()


def guarded(cell: str) -> str:
    """
    A cell that no spreadsheet runs: with an apostrophe before what begins a formula. Reading a table takes it off.

    >>> guarded("=1+1"), guarded("Vows = rings")
    ("'=1+1", 'Vows = rings')
    """
    return f"'{cell}" if _WRITTEN.match(cell) else cell


def _plain(cell: str) -> str:
    cell = one_line(cell)
    return cell[1:] if _READ.match(cell) else cell


def _text_of(data: bytes | str) -> str:
    if isinstance(data, str):
        return data.removeprefix("\ufeff")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")  # it has no sign of its own: what spreadsheets wrote for decades


def _table(table: str) -> tuple[dict[str, int], Iterator[tuple[int, list[str]]]]:
    """Where each of our columns stands, and the rows below with their numbers in the file."""
    first = table.partition("\n")[0].strip()
    if separator := re.fullmatch(r"sep=([,;\t])", first, re.IGNORECASE):  # some spreadsheets write it above the header
        table = table.partition("\n")[2]
    best: dict[str, int] = {}
    between = ","
    for delimiter in separator[1] if separator else ",;\t":
        names = next(_cells(table, delimiter, strict=False), [])
        header = _header(names)
        if len(header) > len(best):
            best, between = header, delimiter
    if "time" not in best:
        _Where("file", say("first row")).refuse(
            first,
            say(
                "a calendar file, which begins with BEGIN:VCALENDAR, or a table whose first row names its columns, "
                "time among them: {columns}",
                columns=", ".join(COLUMNS),
            ),
        )
    rows = enumerate(_cells(table, between, strict=True), 2 if separator else 1)
    next(rows)
    return best, rows


def _header(names: list[str]) -> dict[str, int]:
    """
    Where each of our columns stands in a first row that has it, whatever it is called there.

    >>> _header(["Name", "Event", "Start", "Time"])
    {'time': 3, 'stop': 1}
    """
    there = {one_line(name).casefold(): at for at, name in reversed(list(enumerate(names)))}
    called = {ours: [name for name in (ours, *ALSO_CALLED.get(ours, ())) if name in there] for ours in COLUMNS}
    return {ours: there[found[0]] for ours, found in called.items() if found}


def _cells(table: str, delimiter: str, *, strict: bool) -> Iterator[list[str]]:
    """Rows of cells. Raises OutOfRange where quotes are not closed, or a cell is endless."""
    rows = csv.reader(io.StringIO(table.replace("\0", " "), newline=""), delimiter=delimiter, strict=strict)
    try:
        yield from rows
    except csv.Error as error:
        _Where("file", say("line {number}", number=rows.line_num)).refuse(
            "", say("cells whose quotes are closed, and no longer ones ({error})", error=error)
        )


def _times(cell: dict[str, str], where: _Where) -> tuple[str, str]:
    """When a row's stop begins, and its end or ""; each with its zone where it has one."""
    at, until, zone = _cell(cell["time"], where)
    if came := cell.get("until"):
        until, more, its_zone = _cell(came, where)
        if more:
            where.refuse(came, say(TIME_ALLOWED))
        until = f"{until} {its_zone}".rstrip()
    return f"{at} {zone}".rstrip(), until
