"""
The day plan's picture: the light of every place on one scale, the way of the running order through it, and what is on
the lens at each stop.

How it is drawn, for every width at once, is in `axis`. A place is told from another by the dashes and the weight of its
line, and by its name or its letter beside it where there is room; never by colour. The page has all figures in a table.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from math import ceil

import numpy as np
from numpy.typing import NDArray

from server.exposure.days import STOPS_MOST
from server.exposure.refused import OutOfRange, within
from server.exposure.sun import EventKind, SunEvent
from server.exposure.wording import minus
from server.language import clock, day, listed, say, say_as, say_many

from .axis import (
    ABOVE,
    BELOW,
    FLOOR,
    GUTTER,
    LANE_HIGH,
    MARGIN,
    PLOTS,
    ROW_HIGH,
    SUN_EVENTS,
    WIDE_PLOT,
    WIDTHS,
    Axis,
    Dot,
    Keyed,
    Label,
    Letters,
    Point,
    Run,
    Scale,
    Span,
    Text,
    Width,
    above_and_dark,
    aware,
    band,
    both,
    box,
    check_curve,
    check_drifted,
    coordinate,
    crossed,
    drawn,
    letters_of,
    moment_of,
    moments,
    only_on,
    path,
    placed,
    posts,
    tenth,
    text_width,
    value_at,
)

LINES_MOST = 200

PLOT_HIGH = 200.0  # px, the EV scale
HEAD_HIGH = 18.0  # px, the hours over everything
ROW_DOWN = 12.0  # px, from the top of a row to the foot of its letters
NUMBER_HIGH = 14.0  # px, a row of the stops' numbers
NUMBER_ROWS_MOST = 9  # as many as 100 stops need on a phone, evenly spread
BOLD = 1.1  # times as wide as letters that are not
NUMBER_GAP = 3.0  # px, the least between two numbers of a row
TAB = 8.0  # px, how high the mark of a hand on the glass stands on its lane
NAME_SLOPE = 20.0  # px, the most that a line may rise or fall under its name
LETTER_SLOPE = 24.0  # px, the same for a letter
NAME_AWAY = 3.0  # px, between a line and its name
NAME_HIGH, NAME_DOWN = 12.0, 9.5  # px, of letters with what hangs under them; from their top to their foot
CELL_WIDE, CELL_HIGH = 4.0, 2.0  # px, how finely room for names is looked for
HOUR_STEPS = (15, 30, 60, 120, 180, 240, 360, 720, 1440)  # minutes
HOUR_GAP = 8.0  # px, the least between two times

DASHES = ("", "8 3", "2 2.5", "12 3 2 3", "5 6", "8 3 2 3 2 3")  # px, drawn and left out by turns
WEIGHTS = (1.25, 2.0)  # px; the way is heavier than both
RISINGS: tuple[EventKind, EventKind] = ("sunrise", "sunset")

Floats = NDArray[np.float64]
Counts = NDArray[np.int32]


# What comes in.


@dataclass(frozen=True, slots=True)
class Line:
    """
    The light of a place over the picture's span.

    times           aware, in order; none where nothing is known of the place
    ev100, low, high  [stops] at those times: the level, and what the sky may make of it
    lamps           whether lamps alone light it
    """

    name: str
    times: tuple[datetime, ...]
    ev100: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    lamps: bool = False

    def __post_init__(self) -> None:
        check_curve(self.times, self.ev100, self.low, self.high)


@dataclass(frozen=True, slots=True)
class At:
    """
    A stop of the running order.

    number     1 for the first;  at, until  aware: its start, and its own end or the next one's start
    place      the name of its line, None where it has none
    ev100, low, high  [stops] at its start; all None where there is no reading
    glass      on the lens, in words, "" where that is not planned;  touched  whether hands touch glass on arrival
    iris, iso  as marked, "" where not planned;  lens  its name where it is changed at this stop, else ""
    ready      what to have ready if the sky changes, in words, "" for nothing;  done  whether it is over
    """

    number: int
    at: datetime
    until: datetime
    name: str
    place: str | None
    ev100: float | None
    low: float | None
    high: float | None
    glass: str = ""
    touched: bool = False
    iris: str = ""
    iso: str = ""
    lens: str = ""
    ready: str = ""
    done: bool = False

    def __post_init__(self) -> None:
        within("stops.number", self.number, 1, STOPS_MOST)
        aware("stops.at", self.at)
        aware("stops.until", self.until)
        if not moment_of(self.at) <= moment_of(self.until):
            raise OutOfRange("stops.until", self.until.isoformat(), say("no time before its start"))
        for name, value in (("ev100", self.ev100), ("low", self.low), ("high", self.high)):
            if (value is None) != (self.ev100 is None):
                raise OutOfRange(f"stops.{name}", value, say("a figure where ev100 is one, and none where it is none"))
            if value is not None:
                check_drifted(f"stops.{name}", value)
        known = [value for value in (self.low, self.ev100, self.high) if value is not None]
        if not all(less <= more + 1e-6 for less, more in pairwise(known)):
            raise OutOfRange(
                "stops.ev100", self.ev100, say("{low} to {high}, the band around it", low=self.low, high=self.high)
            )


# What goes out.


@dataclass(frozen=True, slots=True)
class Place:
    """
    A place's line.

    line      `d` of a path, "" where it is too dark all the time
    dash, weight  of its stroke [px];  letter  beside it where its name has no room;  only  where that is
    """

    name: str
    lamps: bool
    line: str
    dash: str
    weight: float
    letter: str
    only: Width


@dataclass(frozen=True, slots=True)
class Lane:
    """A row of boxes under the scale. boxes  `d` of a path;  top [px]"""

    name: str
    top: float
    boxes: str
    texts: tuple[Text, ...]

    @property
    def foot(self) -> float:
        """[px] where it ends."""
        return self.top + LANE_HIGH


@dataclass(frozen=True, slots=True)
class Ready:
    """What to have ready, and at which stops."""

    stops: str
    said: str


@dataclass(frozen=True, slots=True)
class PlanPicture:
    """
    The whole picture. key_id  what its ids begin with: two pictures on a page need two

    date          from when to when;  said  the essential, in a sentence or two;  notes  what else goes for all of it
    high, head_high  [px] of the picture, and of its head
    ticks, gridlines, sun, now, band, hops, way, dark, touches  `d` of a path: see `_Way`
    leaders       from the numbers to their stops: `d` of a path, and on which width
    names         beside the places' lines;  dots, done  the stops' starts, those to come and those that are over
    lanes         under the scale;  more  those that only a desk has room for, from y = 0 again
    keyed         the lanes' letters;  slivers  where a run is too narrow even for one
    crowded       where numbers are left out;  floor  the darkest EV that is drawn
    """

    key_id: str
    date: str
    said: str
    notes: tuple[str, ...]
    high: float
    head_high: float
    head: tuple[Text, ...]
    head_now: tuple[Text, ...]
    hours: tuple[Text, ...]
    scale: tuple[Text, ...]
    numbers: tuple[Text, ...]
    names: tuple[Text, ...]
    ticks: str
    gridlines: str
    sun: str
    now: str
    leaders: tuple[tuple[str, Width], ...]
    places: tuple[Place, ...]
    band: str
    hops: str
    way: str
    dark: str
    dots: tuple[Dot, ...]
    done: tuple[Dot, ...]
    touches: str
    lanes: tuple[Lane, ...]
    more: tuple[Lane, ...]
    keyed: tuple[Keyed, ...]
    readies: tuple[Ready, ...]
    slivers: Width | None
    crowded: Width | None
    floor: str


def plan_picture(
    lines: Sequence[Line],
    stops: Sequence[At],
    start: datetime,
    stop: datetime,
    sun: Sequence[SunEvent] = (),
    now: datetime | None = None,
    key_id: str = "plan",
) -> PlanPicture:
    """
    The picture of a running order from start to stop, aware, in the time zone of start.

    lines   of the places that the stops are at; of two with one name, a stop is at the one that has its light
    stops   in order of their numbers and of time, inside the span, as the lines are
    sun     of the days that the span touches; sunrise and sunset inside it are drawn
    now     drawn where it is inside the span
    key_id  what the picture's ids begin with
    """
    axis = Axis(start, stop)
    _check(lines, stops, axis)
    numbers = _Numbers.of(stops, axis, HEAD_HIGH)
    hung = _Posts.of(axis, sun, now, HEAD_HIGH + numbers.high)
    stretches = _stretches(lines, stops, axis)
    scale = _scale(lines, stops, stretches, hung.foot + ABOVE)
    way = _Way.of(stretches, scale)
    dots = [None if each.ev100 is None else Dot(axis.along(each.at), tenth(scale.y(each.ev100))) for each in stops]
    lanes, letters = _lanes(stops, axis, scale.foot + BELOW + TAB)
    foot = lanes[-1].foot if lanes else scale.foot
    places, names = _places(lines, axis, scale, way, [dot for dot in dots if dot], (*hung.sun, *hung.now))
    return PlanPicture(
        key_id=key_id,
        date=_date(axis),
        said=_said(stops, axis),
        notes=_notes(stops, axis),
        high=foot + 1,
        head_high=HEAD_HIGH,
        head=hung.sun_texts,
        head_now=hung.now_texts,
        hours=tuple(_hours(axis, HEAD_HIGH - 5)),
        scale=scale.texts(),
        numbers=numbers.texts,
        names=names,
        ticks="".join(f"M{coordinate(axis.along(hour))} {coordinate(HEAD_HIGH - 3)}v3" for hour in axis.hours),
        gridlines=scale.gridlines(),
        sun=posts(hung.sun, hung.sun_top, foot),
        now=posts(hung.now, hung.now_top, foot),
        leaders=numbers.leaders(foot),
        places=places,
        band=way.band,
        hops=way.hops,
        way=way.line,
        dark=way.dark,
        dots=tuple(dot for dot, each in zip(dots, stops, strict=True) if dot and not each.done),
        done=tuple(dot for dot, each in zip(dots, stops, strict=True) if dot and each.done),
        touches=_touches(stops, axis, scale.foot + BELOW) if lanes else "",
        lanes=lanes,
        more=_more(stops, axis),
        keyed=letters.keyed(),
        readies=_readies(stops),
        slivers=only_on(letters.slivers) if letters.slivers else None,
        crowded=only_on(numbers.crowded) if numbers.crowded else None,
        floor=minus(FLOOR, "g"),
    )


def _check(lines: Sequence[Line], stops: Sequence[At], axis: Axis) -> None:
    within("lines", len(lines), 0, LINES_MOST)
    within("stops", len(stops), 1, STOPS_MOST)
    for line in lines:
        for time in (*line.times[:1], *line.times[-1:]):
            _check_inside("times", time, axis)
    for number, each in enumerate(stops, 1):
        if each.number != number:
            raise OutOfRange("stops.number", each.number, say("{number}, its place in the order", number=number))
        _check_inside("stops.at", each.at, axis)
        _check_inside("stops.until", each.until, axis)
    for before, after in pairwise(stops):
        if moment_of(before.at) > moment_of(after.at):
            raise OutOfRange("stops.at", after.at.isoformat(), say("no time before the stop that comes first"))


def _check_inside(field: str, at: datetime, axis: Axis) -> None:
    if not axis.has(at):
        raise OutOfRange(
            field,
            at.isoformat(),
            say("{low} to {high}", low=axis.start.isoformat(), high=axis.stop.isoformat()),
        )


# The head.


@dataclass(frozen=True, slots=True)
class _Posts:
    """
    The sun's times and now: their words, under the numbers, and what hangs from them.

    sun, now  [percent of the axis];  sun_top, now_top  where they begin;  foot  of the words [px]
    """

    sun: tuple[float, ...]
    now: tuple[float, ...]
    sun_top: float
    now_top: float
    foot: float
    sun_texts: tuple[Text, ...]
    now_texts: tuple[Text, ...]

    @classmethod
    def of(cls, axis: Axis, events: Sequence[SunEvent], now: datetime | None, top: float) -> _Posts:
        for event in events:
            aware("sun.at", event.at)
        risings = sorted((event for event in events if event.kind in RISINGS), key=lambda event: moment_of(event.at))
        suns = [
            Label(axis.along(event.at), SUN_EVENTS[event.kind], axis.nearest(event.at), event.kind == "sunrise")
            for event in risings
            if axis.has(event.at)
        ]
        sun = tuple(label.x for label in suns)
        foot = top + (ROW_HIGH if suns else 0)
        texts = both(*(placed(suns, plot, top + ROW_DOWN) for plot in PLOTS))
        if now is None or not axis.has(now):
            return cls(sun, (), top + 2, foot + 2, foot, tuple(texts), ())
        words = say("now {time}", time=axis.nearest(now))
        now_texts = both(*(_now(words, axis.along(now), plot, foot + ROW_DOWN, sun) for plot in PLOTS))
        return cls(sun, (axis.along(now),), top + 2, foot + 2, foot + ROW_HIGH, tuple(texts), tuple(now_texts))


def _now(words: str, x: float, plot: float, y: float, sun: Sequence[float]) -> list[Text]:
    """What stands beside the post of now, on a side where no post of the sun goes through it."""
    at = x / 100 * plot
    for text in (words, say("now")):
        size = text_width(text) + 4
        for begins, there in ((at, Text(text, x, y, "start", 4.0)), (at - size, Text(text, x, y, "end", -4.0))):
            free = not any(begins < post / 100 * plot < begins + size for post in sun)
            if free and begins >= -GUTTER and begins + size <= plot + MARGIN:
                return [there]
    return []


def _hours(axis: Axis, y: float) -> list[Text]:
    """The times that have room. Bare hours would be taken for numbers of stops."""
    return both(*(_hours_on(axis, plot, y) for plot in PLOTS))


def _hours_on(axis: Axis, plot: float, y: float) -> list[Text]:
    half = text_width(clock(datetime(2000, 1, 1, 22, 30, tzinfo=UTC))) / 2  # as wide as any
    px_per_minute = plot / (moment_of(axis.stop) - moment_of(axis.start)) * 60
    step = next(each for each in HOUR_STEPS if each * px_per_minute >= 2 * half + HOUR_GAP)
    found, until = [], -GUTTER
    for at in axis.quarters:
        middle = axis.exactly(moment_of(at)) / 100 * plot
        # Where the clocks change, two of these are closer than they look.
        fits = until <= middle - half and middle + half <= plot + MARGIN
        if (60 * at.hour + at.minute) % step == 0 and fits and not axis.twice(at):
            until = middle + half + HOUR_GAP / 2
            found.append(Text(clock(at), axis.along(at), y))
    return found


# The stops' numbers.


@dataclass(frozen=True, slots=True)
class _Numbers:
    """
    The numbers over the scale, in rows.

    high     [px] of all rows;  crowded  where some are left out
    starts   for each width, where the line down from a number begins [px], by its x [percent of the axis]
    """

    high: float
    texts: tuple[Text, ...]
    starts: tuple[dict[float, float], ...]
    crowded: set[Width]

    @classmethod
    def of(cls, stops: Sequence[At], axis: Axis, top: float) -> _Numbers:
        words = [f"{each.number}{'*' if each.ready else ''}" for each in stops]
        at = [axis.along(each.at) for each in stops]
        texts, starts, most, crowded = [], [], 0, set()
        for width, plot in zip(WIDTHS, PLOTS, strict=True):
            spans = [_spread(x / 100 * plot, BOLD * text_width(word), plot) for x, word in zip(at, words, strict=True)]
            rows = staggered(spans)
            most = max(most, *(row + 1 for row in rows if row is not None))
            texts.append(
                [
                    _number(word, x, plot, top + NUMBER_HIGH * row + ROW_DOWN)
                    for word, x, row in zip(words, at, rows, strict=True)
                    if row is not None
                ]
            )
            starts.append({x: top + NUMBER_HIGH * _rows_over(x / 100 * plot, spans, rows) + 1 for x in at})
            if None in rows:
                crowded.add(width)
        return cls(NUMBER_HIGH * most, tuple(both(*texts)), tuple(starts), crowded)

    def leaders(self, foot: float) -> tuple[tuple[str, Width], ...]:
        """From each number down to the foot, `d` of a path, and on which width."""
        narrow, wide = (
            "".join(f"M{coordinate(x)} {coordinate(y)}V{coordinate(foot)}" for x, y in starts.items())
            for starts in self.starts
        )
        return ((narrow, ""),) if narrow == wide else ((narrow, "narrow"), (wide, "wide"))


def _spread(middle: float, size: float, plot: float) -> tuple[float, float]:
    """From where to where a number is [px]: around its time, but inside the picture."""
    ends = min(middle + size / 2, plot + MARGIN)
    return ends - size, ends


def _number(word: str, x: float, plot: float, y: float) -> Text:
    over = x / 100 * plot + BOLD * text_width(word) / 2 > plot + MARGIN
    return Text(word, 100.0, y, "end", MARGIN) if over else Text(word, x, y)


def staggered(spans: Sequence[tuple[float, float]], most: int = NUMBER_ROWS_MOST) -> list[int | None]:
    """
    A row for each span, from and to [px], so that none touch: the first row that has room, None where `most` have none.

    >>> staggered([(0, 10), (5, 15), (20, 30)])
    [0, 1, 0]
    """
    until: list[float] = []
    found: list[int | None] = []
    for begins, ends in spans:
        row = next((number for number, end in enumerate(until) if end + NUMBER_GAP <= begins), len(until))
        if row < most:
            until[row : row + 1] = [ends]
        found.append(row if row < most else None)
    return found


def _rows_over(x: float, spans: Sequence[tuple[float, float]], rows: Sequence[int | None]) -> int:
    """How many rows down a line at x [px] may begin so that it crosses no number."""
    over = [row for (begins, ends), row in zip(spans, rows, strict=True) if row is not None and begins <= x <= ends]
    return max(over, default=0) + 1


# The way through the day.


@dataclass(frozen=True, slots=True)
class _Stretch:
    """The light where the shooter is, while they are there. at [percent of the axis], the others [stops]"""

    at: tuple[float, ...]
    ev100: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


def _stretches(lines: Sequence[Line], stops: Sequence[At], axis: Axis) -> list[_Stretch | None]:
    """For each stop, up to its end or the next one's start; None where no light is known."""
    found: list[_Stretch | None] = []
    for each, after in zip(stops, (*stops[1:], None), strict=True):
        start, stop = moment_of(each.at), moment_of(each.until)
        if after is not None:
            stop = min(stop, moment_of(after.at))
        if each.ev100 is None or each.low is None or each.high is None:
            found.append(None)
        else:
            ends = axis.exactly(start), axis.exactly(stop)
            level = _Stretch(ends, (each.ev100,) * 2, (each.low,) * 2, (each.high,) * 2)
            parts = [_part(line, start, stop, axis) for line in lines if line.times and line.name == each.place]
            # A venue may have two places with one name.
            found.append(min(filter(None, parts), key=lambda part: abs(part.ev100[0] - level.ev100[0]), default=level))
    return found


def _part(line: Line, start: float, stop: float, axis: Axis) -> _Stretch | None:
    """A line between two moments; None where it does not reach as far."""
    times = moments(line.times)
    if not times[0] <= start <= stop <= times[-1]:
        return None
    inside = slice(bisect_right(times, start), bisect_left(times, stop))
    at = tuple(axis.exactly(moment) for moment in (start, *times[inside], stop))
    return _Stretch(at, *(_cut(values, inside, times, (start, stop)) for values in (line.ev100, line.low, line.high)))


def _cut(
    values: tuple[float, ...], inside: slice, times: Sequence[float], ends: tuple[float, float]
) -> tuple[float, ...]:
    first, last = (value_at(moment, times, values) for moment in ends)
    if first is None or last is None:
        raise AssertionError("the line reaches as far")
    return (first, *values[inside], last)


def _scale(lines: Sequence[Line], stops: Sequence[At], stretches: Sequence[_Stretch | None], above: float) -> Scale:
    """Around the lines, the stops, and what the sky may make of the light on the way."""
    known = [each for each in stretches if each is not None]
    level = [ev for line in lines for ev in line.ev100] + [each.ev100 for each in stops if each.ev100 is not None]
    lows, highs = [ev for each in known for ev in each.low], [ev for each in known for ev in each.high]
    return Scale.of(level + lows, level + highs, PLOT_HIGH, above)


@dataclass(frozen=True, slots=True)
class _Way:
    """
    `d` of paths: the light where the shooter is, its runs under the floor, what the sky may make of it, and the hops
    from a stop to the next.

    points, jumps  [percent of the axis, px]: the same, for names to keep clear of
    """

    line: str
    dark: str
    band: str
    hops: str
    points: tuple[tuple[Point, ...], ...]
    jumps: tuple[tuple[Point, Point], ...]

    @classmethod
    def of(cls, stretches: Sequence[_Stretch | None], scale: Scale) -> _Way:
        long = [each for each in stretches if each is not None and each.at[0] < each.at[-1]]
        runs = [run for each in long for run in above_and_dark(crossed(each.at, each.ev100))]
        points = [drawn(run, scale) for run, _ in runs]
        jumps = []
        for before, after in pairwise(stretches):
            if before is not None and after is not None:
                ends = (before.at[-1], before.ev100[-1]), (after.at[0], after.ev100[0])
                leaves, comes = ((round(x, 2), tenth(scale.y(ev))) for x, ev in ends)
                jumps += [(leaves, comes)] if leaves != comes else []
        return cls(
            line="".join(path(each) for each, (_, is_dark) in zip(points, runs, strict=True) if not is_dark),
            dark="".join(path(each) for each, (_, is_dark) in zip(points, runs, strict=True) if is_dark),
            band="".join(band(each.at, each.low, each.high, scale) for each in long),
            hops="".join(path(jump) for jump in jumps),
            points=tuple(tuple(each) for each in points),
            jumps=tuple(jumps),
        )


# The places' lines and names.


def _places(
    lines: Sequence[Line], axis: Axis, scale: Scale, way: _Way, dots: Sequence[Dot], blocked: Sequence[float]
) -> tuple[tuple[Place, ...], tuple[Text, ...]]:
    """The places, and what stands beside their lines. blocked  the posts' x"""
    known = [line for line in lines if line.times]
    along: dict[tuple[datetime, ...], list[float]] = {}
    for line in known:  # which share their times, as a rule
        if line.times not in along:
            along[line.times] = [axis.exactly(moment) for moment in moments(line.times)]
    at = [along[line.times] for line in known]
    shown: list[set[Width]] = [set() for _ in known]
    texts: list[list[Text]] = []
    for width, plot in zip(WIDTHS, PLOTS, strict=True):
        room = _Room(plot, scale)
        curves = [room.curve(x, line.ev100) for x, line in zip(at, known, strict=True)]
        for points in (*way.points, *way.jumps):
            room.take_points(points)
        for dot in dots:
            x = dot.x / 100 * plot
            room.take_box(x, x, dot.y, dot.y, 5.0)
        for x in (each / 100 * plot for each in blocked):
            room.take_box(x, x, scale.above, scale.foot, 1.0)
        found = _named(room, curves, [line.name for line in known])
        texts.append(list(found.values()))
        for number, text in found.items():
            if text.text != known[number].name:
                shown[number].add(width)
    places = tuple(
        Place(
            name=line.name,
            lamps=line.lamps,
            line=_line(x, line.ev100, scale),
            dash=DASHES[number % len(DASHES)],
            weight=WEIGHTS[number // len(DASHES) % len(WEIGHTS)],
            letter=_letter(number) if shown[number] else "",
            only=only_on(shown[number]) if shown[number] else "",
        )
        for number, (line, x) in enumerate(zip(known, at, strict=True))
    )
    return places, tuple(both(*texts))


def _named(room: _Room, curves: Sequence[Floats], names: Sequence[str]) -> dict[int, Text]:
    """Each curve's name where it has room, and then the letters of others; by the curve's number."""
    if not curves:
        return {}
    # All curves at once: most of a full picture have no room for a letter, let alone for a name.
    hopeful = sorted({int(number) for number in room.spots(np.array(curves), _letter(0), LETTER_SLOPE)[0]})
    found: dict[int, Text] = {}
    for words, slope in ((names, NAME_SLOPE), ([_letter(number) for number in range(len(names))], LETTER_SLOPE)):
        for number in hopeful:
            text = room.beside(curves[number], words[number], slope) if number not in found else None
            if text is not None:
                found[number] = text
    return found


def _letter(number: int) -> str:
    """Of a place: large, since those of the lanes are small."""
    return letters_of(number).upper()


def _line(at: Sequence[float], ev100: Sequence[float], scale: Scale) -> str:
    runs = above_and_dark(crossed(at, ev100))
    return "".join(path(drawn(points, scale)) for points, is_dark in runs if not is_dark)


class _Room:
    """
    Where on one width names have room: the scale in small cells, each free or taken.

    A curve is its least and its largest y in every column [px], NaN where it is not drawn.
    """

    def __init__(self, plot: float, scale: Scale) -> None:
        self.plot, self.scale = plot, scale
        self.rows, self.columns = int(scale.high / CELL_HIGH), int(plot / CELL_WIDE)
        self.edges = np.arange(self.columns + 1) * CELL_WIDE
        self.middles = scale.above + (np.arange(self.rows) + 0.5) * CELL_HIGH
        self.taken = np.zeros((self.rows, self.columns), dtype=bool)
        self.counted: Counts | None = None
        self.windows: dict[int, NDArray[np.intp]] = {}

    def curve(self, at: Sequence[float], ev100: Sequence[float]) -> Floats:
        """A line of the picture [percent of the axis, stops]; what lies under it is taken."""
        x, ev = np.array(at) * (self.plot / 100), np.maximum(ev100, FLOOR)
        at_edges = np.maximum(np.interp(self.edges, x, ev100, left=np.nan, right=np.nan), FLOOR)
        dimmest, brightest = np.fmin(at_edges[:-1], at_edges[1:]), np.fmax(at_edges[:-1], at_edges[1:])
        inside = x < self.columns * CELL_WIDE
        column = (x[inside] / CELL_WIDE).astype(np.intp)
        np.fmin.at(dimmest, column, ev[inside])  # a peak may stand between two edges
        np.fmax.at(brightest, column, ev[inside])
        brightest[brightest <= FLOOR] = np.nan
        per_stop, above = self.scale.px_per_stop, self.scale.above
        least, most = (above + (self.scale.top - each) * per_stop for each in (brightest, dimmest))
        down = self.middles[:, None]
        self.taken |= (down >= least - CELL_HIGH) & (down <= most + CELL_HIGH)
        self.counted = None
        return np.array((least, most))

    def take_points(self, points: Sequence[Point]) -> None:
        """Take what lies under a part of the way, or under a hop; its px are given away by the box."""
        for (x0, y0), (x1, y1) in pairwise(points):
            steps = max(1, ceil((x1 - x0) / 100 * self.plot / (4 * CELL_WIDE)))  # a slope in boxes
            for step in range(steps):
                ends = [(y0 + (y1 - y0) * part / steps) for part in (step, step + 1)]
                x = [(x0 + (x1 - x0) * part / steps) / 100 * self.plot for part in (step, step + 1)]
                self.take_box(x[0], x[1], min(ends), max(ends), 2.5)

    def take_box(self, x0: float, x1: float, y0: float, y1: float, around: float) -> None:
        """Take what lies between [px], and so much around it."""
        left, right = (x0 - around) // CELL_WIDE, (x1 + around) // CELL_WIDE + 1
        upper, lower = ((y - self.scale.above) // CELL_HIGH for y in (y0 - around, y1 + around))
        self.taken[max(int(upper), 0) : max(int(lower) + 1, 0), max(int(left), 0) : max(int(right), 0)] = True
        self.counted = None

    def counts(self) -> Counts:
        """How many cells are taken over and left of each corner."""
        if self.counted is None:
            self.counted = np.zeros((self.rows + 1, self.columns + 1), dtype=np.int32)
            self.taken.cumsum(axis=0, dtype=np.int32).cumsum(axis=1, out=self.counted[1:, 1:])
        return self.counted

    def spots(self, curves: Floats, text: str, slope: float) -> tuple[Counts, Counts, Floats, Floats]:
        """
        Where the text is free, over and under curves: the curve's number, the column, the text's top [px], and how much
        the curve rises or falls along it [px], which is `slope` at most.
        """
        wide, high = self.cells(text)
        if wide not in self.windows:
            self.windows[wide] = np.arange(wide)[:, None] + np.arange(0, self.columns + 1 - wide, 2)
        under = self.windows[wide]  # the columns under the text, one below the other for each place to try
        least, most = curves[:, 0, under].min(axis=1), curves[:, 1, under].max(axis=1)
        line, place = np.nonzero(most - least <= slope)  # never where the curve is not drawn: NaN compares as false
        least, most, left = least[line, place], most[line, place], under[0, place]
        top = np.concatenate((least - NAME_AWAY - NAME_HIGH, most + NAME_AWAY))
        line, left, rise = (np.concatenate((each, each)) for each in (line, left, most - least))
        row = np.floor((top - self.scale.above) / CELL_HIGH).astype(np.intp)
        inside = np.flatnonzero((row >= 0) & (row + high <= self.rows))
        x, upper, count = left[inside], row[inside], self.counts()
        taken = count[upper + high, x + wide] - count[upper, x + wide] + count[upper, x] - count[upper + high, x]
        free = inside[taken == 0]
        return line[free], left[free], top[free], rise[free]

    def beside(self, curve: Floats, text: str, slope: float) -> Text | None:
        """The text where the curve is flattest, taken by it; None where there is no room."""
        wide, _ = self.cells(text)
        if wide > self.columns:
            return None
        _, left, top, rise = self.spots(curve[None], text, slope)
        if not len(left):
            return None
        best = rise.argmin()
        x, y = float(left[best]) * CELL_WIDE, float(top[best])
        self.take_box(x, x + wide * CELL_WIDE, y, y + NAME_HIGH, 0)
        return Text(text, round(x / self.plot * 100, 2), tenth(y + NAME_DOWN), "start", 1.0)

    def cells(self, text: str) -> tuple[int, int]:
        """How many cells a text needs, along and down."""
        return ceil((text_width(text) + 2) / CELL_WIDE), ceil(NAME_HIGH / CELL_HIGH) + 1


# The lanes.


def _lanes(stops: Sequence[At], axis: Axis, top: float) -> tuple[tuple[Lane, ...], Letters]:
    """What is on the lens, and which lens, from y = top [px]; a lane that has nothing is left out."""
    lens, lenses = "", []
    for each in stops:
        lens = each.lens or lens
        lenses.append(lens)
    runs = {say("glass"): _runs(stops, [each.glass for each in stops], axis), say("lens"): _runs(stops, lenses, axis)}
    letters = Letters.of(run for lane in runs.values() for run in lane)
    named = [(name, lane) for name, lane in runs.items() if lane]
    return tuple(
        Lane(
            name=name,
            top=y,
            boxes="".join(box(run.span, y) for run in lane),
            texts=tuple(text for run in lane for text in letters.written(run, y)),
        )
        for (name, lane), y in zip(named, (top, top + LANE_HIGH + BELOW), strict=False)
    ), letters


def _more(stops: Sequence[At], axis: Axis) -> tuple[Lane, ...]:
    """The iris and the ISO, which only a desk has room for; what does not fit its box is left out."""
    named = {say("iris"): [each.iris for each in stops], "ISO": [each.iso.removeprefix("ISO ") for each in stops]}
    lanes: list[Lane] = []
    for name, said in named.items():
        top = len(lanes) * (LANE_HIGH + BELOW) + 0.5
        runs = _runs(stops, said, axis)
        fit = [run for run in runs if text_width(run.said) + 4 <= run.span.width / 100 * WIDE_PLOT]
        texts = tuple(Text(run.said, round(run.span.x + run.span.width / 2, 2), tenth(top + 14.5)) for run in fit)
        if runs:
            lanes.append(Lane(name, top, "".join(box(run.span, top) for run in runs), texts))
    return tuple(lanes)


def _runs(stops: Sequence[At], said: Sequence[str], axis: Axis) -> list[Run]:
    """
    What stays the same from stop to stop, as one run: up to the next stop's start, since nothing is changed between
    two, and to the end of the last. What is "" has no run.
    """
    ends = [*(axis.along(each.at) for each in stops[1:]), axis.along(stops[-1].until)]
    found: list[Run] = []
    for each, words, to in zip(stops, said, ends, strict=True):
        x = axis.along(each.at)
        if not words or not x < to:
            continue
        last = found[-1] if found else None
        if last is not None and last.said == words and last.span.x + last.span.width > x - 0.005:
            found[-1] = Run(Span(last.span.x, round(to - last.span.x, 2)), words)
        else:
            found.append(Run(Span(x, round(to - x, 2)), words))
    return found


def _touches(stops: Sequence[At], axis: Axis, top: float) -> str:
    """A mark where hands touch the glass, on top of the lane: inside it might cover a letter."""
    at = dict.fromkeys(axis.along(each.at) for each in stops if each.touched)
    return posts(at, top, top + TAB)


# Said.


def _date(axis: Axis) -> str:
    first, last = axis.start, axis.local(axis.stop.astimezone(UTC) - timedelta(microseconds=1))
    if first.date() == last.date():
        return day(first, "EEEE d MMMM y")
    begins = day(first, "EEEE d MMMM" if first.year == last.year else "EEEE d MMMM y")
    return say_as("of two days", "{first} to {last}", first=begins, last=day(last, "EEEE d MMMM y"))


def _said(stops: Sequence[At], axis: Axis) -> str:
    """The essential: how many stops, from when to when, and how often glass is touched."""
    first, last = (f"{_time(each.at, axis)}{f', {each.name}' if each.name else ''}" for each in (stops[0], stops[-1]))
    said = (
        say("1 stop, at {first}.", first=first)
        if len(stops) == 1
        else say("{count} stops, from {first}, to {last}.", count=len(stops), first=first, last=last)
    )
    touched = [each.number for each in stops if each.touched]
    if not touched:
        times = say("Hands never touch the glass.")
    else:
        times = say_many(
            "Hands touch the glass once, at {stops}.", "Hands touch the glass {count} times, at {stops}.", len(touched),
            stops=_stops(touched),
        )  # fmt: skip
    return f"{said} {times}"


def _notes(stops: Sequence[At], axis: Axis) -> tuple[str, ...]:
    first, last = axis.start, axis.local(axis.stop)
    notes = []
    if first.utcoffset() != last.utcoffset():
        notes.append(say("The clocks change from {first} to {last}.", first=f"{first:%Z}", last=f"{last:%Z}"))
    if unlit := [each.number for each in stops if each.ev100 is None]:
        notes.append(say("No light is known at {stops}.", stops=_stops(unlit)))
    return tuple(notes)


def _time(at: datetime, axis: Axis) -> str:
    """By the clock, with its weekday where that is not the first one's."""
    local = axis.local(at)
    return axis.nearest(at) if local.date() == axis.start.date() else f"{day(local, 'EEEE')} {axis.nearest(at)}"


def _stops(numbers: Sequence[int]) -> str:
    """
    Stops by their numbers, in words.

    >>> _stops([3]), _stops([1, 2, 5])
    ('stop 3', 'stops 1, 2 and 5')
    """
    return say_many("stop {numbers}", "stops {numbers}", len(numbers), numbers=listed([str(each) for each in numbers]))


def _readies(stops: Sequence[At]) -> tuple[Ready, ...]:
    """What to have ready, each once with all its stops."""
    numbers: dict[str, list[str]] = {}
    for each in stops:
        if each.ready:
            numbers.setdefault(each.ready, []).append(f"{each.number}*")
    return tuple(Ready(", ".join(those), said) for said, those in numbers.items())
