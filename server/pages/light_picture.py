"""
The light picture: EV over one local day, a strip for each place, all on one time axis.

One drawing for every width: how far along the day something is, is a percentage, and only that stretches. Two drawings,
one for the phone and one for the desk, would be twice the bytes, and letters that scale with a drawing are too small on
the one or too large on the other. What has room on one width only, a label as a rule, says so (`Width`).

Along is [percent of the day], in real time: an hour is as wide on the day of a clock change as on any other. Down is
[px]. Points of a curve are thinned to what shows.
"""

from __future__ import annotations

import math
import unicodedata
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import pairwise, product
from typing import Literal

from server.exposure.light import EV100_BRIGHTEST, EV100_DIMMEST
from server.exposure.refused import OutOfRange, within
from server.exposure.sun import EventKind, SunDay, SunEvent
from server.exposure.wording import minus

Width = Literal["", "narrow", "wide"]  # where something is shown: everywhere, on a phone, at a desk and on paper
Point = tuple[float, float]  # (percent of the day, px); (percent of the day, EV) before it is scaled

FLOOR = -2.0  # EV; f/1.4 and 1/50 at ISO 25,600 expose EV -1.4. Below it the picture says so and draws no cliff
CURVES_MOST = 200
TIMES_MOST = 2000  # a point a minute
DRIFT_MOST = 40.0  # stops, from the brightest reading into the night
HOURS_FEWEST, HOURS_MOST = 1, 49  # of a day; a country that changed sides of the date line had one of 48

ONE_HIGH, MANY_HIGH = 180.0, 72.0  # px, the EV scale of the only strip, and of one among others
ABOVE, BELOW, GLASS_HIGH = 8.0, 5.0, 20.0  # px, over the scale, under it, and the glass
ROW_HIGH = 16.0  # px, a row of the head
EV_SPAN_LEAST = 6  # stops; a hall's steady light is not blown up to a mountain range
STEP_HIGH = 15.0  # px, the least between two labels of the scale
TOLERANCE = 0.3  # px, how far a thinned curve may lie beside the true one
POINTS_MOST = 120  # of one drawn curve; one that needs more is thinned until it has no more

LETTERS = 12.0  # px, the font's size in the picture
NARROW_PLOT, WIDE_PLOT = 276.0, 608.0  # px, the day's width on a small phone, and where a desk begins
GUTTER, MARGIN = 40.0, 10.0  # px, left and right of the day; the stylesheet has the same

_ROWS: tuple[tuple[EventKind, EventKind], ...] = (
    ("nautical_dawn", "nautical_dusk"),
    ("civil_dawn", "civil_dusk"),
    ("sunrise", "sunset"),
)  # of the head, the outermost at the top
_SHORT: dict[EventKind, str] = {
    "nautical_dawn": "nautical",
    "civil_dawn": "civil",
    "sunrise": "sunrise",
    "sunset": "sunset",
    "civil_dusk": "civil",
    "nautical_dusk": "nautical",
}
RISINGS = ("sunrise", "sunset")
_MORNING = frozenset({"nautical_dawn", "civil_dawn", "sunrise"})
_NIGHT_BELOW = -6.0  # degrees: civil twilight's end


# What comes in.


@dataclass(frozen=True, slots=True)
class Mark:
    """A reading: when, ev100 [stops], and how it was taken."""

    at: datetime
    ev100: float
    label: str = ""

    def __post_init__(self) -> None:
        _aware("readings.at", self.at)
        within("readings.ev100", self.ev100, EV100_DIMMEST, EV100_BRIGHTEST, "stops")


@dataclass(frozen=True, slots=True)
class GlassRun:
    """What is on the lens from one time to another; short says where the look is missed: "1.3 stops too dark"."""

    start: datetime
    stop: datetime
    label: str
    short: str = ""

    def __post_init__(self) -> None:
        _aware("glass.start", self.start)
        _aware("glass.stop", self.stop)
        if not self.start.timestamp() < self.stop.timestamp():
            raise OutOfRange("glass.stop", self.stop.isoformat(), "a time after the start")

    @property
    def said(self) -> str:
        """The glass, and what it misses."""
        return f"{self.label}: {self.short}" if self.short else self.label


@dataclass(frozen=True, slots=True)
class Curve:
    """
    The light at a place over the day.

    times           aware, in order; none where nothing is known of the place
    ev100, low, high  [stops] at those times: the level, and what the sky may make of it
    readings, glass  those outside the day are left out;  lamps  whether lamps alone light it
    """

    name: str
    times: tuple[datetime, ...]
    ev100: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    readings: tuple[Mark, ...] = ()
    glass: tuple[GlassRun, ...] = ()
    lamps: bool = False

    def __post_init__(self) -> None:
        if len(self.times) == 1 or len(self.times) > TIMES_MOST:
            raise OutOfRange("times", f"{len(self.times)} times", f"none, or 2 to {TIMES_MOST} times")
        for field, values in (("ev100", self.ev100), ("low", self.low), ("high", self.high)):
            if len(values) != len(self.times):
                raise OutOfRange(field, f"{len(values)} figures", f"{len(self.times)}, one for each time")
            for value in values:
                within(field, value, EV100_DIMMEST - DRIFT_MOST, EV100_BRIGHTEST + DRIFT_MOST, "stops")
        for low, level, high in zip(self.low, self.ev100, self.high, strict=True):
            if not low - 1e-6 <= level <= high + 1e-6:
                raise OutOfRange("ev100", level, f"{low:g} to {high:g}, the band around it")
        _moments(self.times)
        for before, after in pairwise(self.glass):
            if before.stop.timestamp() > after.start.timestamp():
                raise OutOfRange("glass", after.start.isoformat(), "runs in order that do not overlap")


# What goes out.


@dataclass(frozen=True, slots=True)
class Text:
    """Letters in the picture. x [percent of the day], dx and y [px]."""

    text: str
    x: float
    y: float
    anchor: Literal["start", "middle", "end"] = "middle"
    dx: float = 0.0
    only: Width = ""


@dataclass(frozen=True, slots=True)
class Span:
    """From x, so wide. [percent of the day]"""

    x: float
    width: float


@dataclass(frozen=True, slots=True)
class Dot:
    """A reading's mark. x [percent of the day], y [px]."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the table. what: the sun's event, or the reading, at that time; figures as they are read."""

    time: str
    what: str
    sun: str
    ev: str
    low: str
    high: str
    glass: str


@dataclass(frozen=True, slots=True)
class Strip:
    """
    A place. line, band, dark, glass  `d` of a path: the level, what the sky may make of it, the runs under the floor,
    the runs of glass that keep the look

    aside   beside the name: when it is brightest;  said  the essential, in a sentence or two
    misses  the runs of glass that miss the look;  texts  what is written in runs of any kind, where it has room
    worn    what is on the lens until when, in words
    """

    name: str
    aside: str
    said: str
    line: str
    band: str
    dark: str
    glass: str
    misses: tuple[Span, ...]
    texts: tuple[Text, ...]
    dots: tuple[Dot, ...]
    rows: tuple[Row, ...]
    worn: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Keyed:
    """A letter in the glass, and what it stands for."""

    letter: str
    said: str
    only: Width


@dataclass(frozen=True, slots=True)
class Key:
    """Which signs the picture has, for the key under it."""

    line: bool
    band: bool
    readings: bool
    dark: bool
    night: bool
    misses: bool
    slivers: Width | None  # where a run of glass is too narrow even for a letter


@dataclass(frozen=True, slots=True)
class LightPicture:
    """
    The whole picture. key_id  what its ids begin with: two pictures on a page need two

    said        what goes for all places: sunrise and sunset, a change of the clocks
    head_high, high, plot_high, floor_y, glass_top, glass_high  [px] of the head; of a strip, the scale in it, its foot,
    the glass under it
    ticks, gridlines, sun, twilight, now  `d` of a path; those of the head begin beside their label
    floor       the darkest EV that is drawn
    """

    key_id: str
    date: str
    said: tuple[str, ...]
    head_high: float
    high: float
    plot_high: float
    glass_top: float
    glass_high: float
    floor_y: float
    head: tuple[Text, ...]
    head_now_texts: tuple[Text, ...]
    hours: tuple[Text, ...]
    scale: tuple[Text, ...]
    ticks: str
    gridlines: str
    head_sun: str
    head_twilight: str
    head_now: str
    sun: str
    twilight: str
    now: str
    nights: tuple[Span, ...]
    strips: tuple[Strip, ...]
    key: Key
    keyed: tuple[Keyed, ...]
    sun_known: bool
    floor: str


def light_picture(
    curves: Sequence[Curve],
    start: datetime,
    stop: datetime,
    sun: SunDay | None = None,
    heights: Sequence[float] | None = None,
    now: datetime | None = None,
    key_id: str = "light",
) -> LightPicture:
    """
    The picture of a day from start to stop, aware, the local midnights, in the time zone of start.

    sun      None where nobody knows where on the globe the venue lies
    heights  [degrees] of the sun, at the times of the curves, which are the same for all then; for the table
    now      drawn where it is inside the day
    key_id   what the picture's ids begin with
    """
    within("curves", len(curves), 1, CURVES_MOST)
    day = _Day(start, stop)
    for height in heights or ():
        within("heights", height, -90, 90, "degrees")
    for curve in curves:
        for time in (*curve.times[:1], *curve.times[-1:]):
            if not day.has(time):
                raise OutOfRange("times", time.isoformat(), f"{start.isoformat()} to {stop.isoformat()}")
        if heights is not None and curve.times and len(curve.times) != len(heights):
            raise OutOfRange("heights", f"{len(heights)} figures", f"{len(curve.times)}, one for each time")
    scale = _Scale.of(curves, day)
    sky = _Sky.over(day, sun, heights)
    nights = sky.nights(day)
    here = now if now is not None and day.has(now) else None
    head = _Head.of(day, sky.events, here)
    letters = _Letters.of(curves, day)
    strips = tuple(_strip(curve, day, scale, letters, sky, alone=len(curves) == 1) for curve in curves)
    glass = any(strip.worn for strip in strips)
    plot_foot = ABOVE + scale.high
    foot = plot_foot + BELOW + (GLASS_HIGH + BELOW if glass else 0)
    suns = [day.along(event.at) for event in sky.events if event.kind in RISINGS]
    twilights = [day.along(event.at) for event in sky.events if event.kind not in RISINGS]
    return LightPicture(
        key_id=key_id,
        date=f"{day.start:%A} {day.start.day} {day.start:%B %Y}",
        said=tuple(each for each in (sky.said(day), _clock_said(day)) if each),
        head_high=head.high,
        high=foot,
        plot_high=scale.high,
        glass_top=plot_foot + BELOW,
        glass_high=GLASS_HIGH,
        floor_y=_tenth(plot_foot),
        head=head.texts,
        head_now_texts=head.now_texts,
        hours=_hours(day, head.high - 5),
        scale=scale.texts(),
        ticks="".join(f"M{_figure(day.along(hour))} {_figure(head.high - 3)}v3" for hour in day.hours),
        gridlines="".join(f"M0 {_figure(scale.y(ev))}H100" for ev in scale.steps()),
        head_sun=head.lines["sun"],
        head_twilight=head.lines["twilight"],
        head_now=head.lines["now"],
        sun=_posts(suns, foot),
        twilight=_posts(twilights, foot),
        now=_posts([] if here is None else [day.along(here)], foot),
        nights=nights,
        strips=strips,
        key=Key(
            line=any(strip.line for strip in strips),
            band=any(strip.band for strip in strips),
            readings=any(strip.dots for strip in strips),
            dark=any(strip.dark for strip in strips),
            night=bool(nights),
            misses=any(strip.misses for strip in strips),
            slivers=_only_on(letters.slivers) if letters.slivers else None,
        ),
        keyed=letters.keyed(),
        sun_known=bool(sky.heights),
        floor=minus(FLOOR, "g"),
    )


# The day's axis.


class _Day:
    """
    From midnight to midnight. Sums go through UTC: two times of one zone subtract as its clock shows them.

    hours: each whole hour that the local clock shows, both of two equal ones, but not the end.
    """

    def __init__(self, start: datetime, stop: datetime) -> None:
        _aware("start", start)
        _aware("stop", stop)
        self.start, self.stop, self.zone = start, stop, start.tzinfo
        self._from, self._to = start.timestamp(), stop.timestamp()
        within("stop", (self._to - self._from) / 3600, HOURS_FEWEST, HOURS_MOST, "hours after the start")
        quarter = timedelta(minutes=15)  # clocks change by whole quarters
        first = start.astimezone(UTC)
        count = math.ceil((self._to - self._from) / quarter.total_seconds())
        quarters = (self.local(first + number * quarter) for number in range(count))
        self.hours = tuple(each for each in quarters if each.minute == each.second == 0)
        self._said: dict[float, str] = {}

    def has(self, at: datetime) -> bool:
        return self._from <= at.timestamp() <= self._to

    def along(self, at: datetime) -> float:
        """[percent of the day], to a hundredth."""
        return round(self.exactly(at.timestamp()), 2)

    def exactly(self, moment: float) -> float:
        return 100 * (moment - self._from) / (self._to - self._from)

    def local(self, at: datetime) -> datetime:
        return at.astimezone(self.zone)

    def clock(self, at: datetime) -> str:
        """The time by the local clock: of two equal hours each with its own zone, the day's end as 24:00."""
        if at.timestamp() == self._to:
            return "24:00"
        local = self.local(at)
        twice = local.replace(fold=1 - local.fold).utcoffset() != local.utcoffset()
        return f"{local:%H:%M %Z}" if twice else f"{local:%H:%M}"

    def nearest(self, at: datetime) -> str:
        """The same to the nearest minute."""
        minute = 60 * round(at.timestamp() / 60)
        if minute not in self._said:
            self._said[minute] = self.clock(datetime.fromtimestamp(minute, UTC))
        return self._said[minute]


def _hours(day: _Day, y: float) -> tuple[Text, ...]:
    """The hours that are written: every third on a phone, every second at a desk."""
    found: list[Text] = []
    for at in day.hours:
        only: Width
        match at.hour % 2 == 0, at.hour % 3 == 0, day.clock(at) == f"{at:%H:%M}":
            case True, True, True:
                only = ""
            case True, False, True:
                only = "wide"
            case False, True, True:
                only = "narrow"
            case _:
                continue
        found.append(Text(f"{at:%H}", day.along(at), y, only=only))
    return (*found, Text("24", 100, y))


@dataclass(frozen=True, slots=True)
class _Head:
    """What stands over the strips: the sun's times, each where its line begins, and now."""

    high: float
    texts: tuple[Text, ...]
    now_texts: tuple[Text, ...]
    lines: dict[str, str]

    @classmethod
    def of(cls, day: _Day, events: Sequence[SunEvent], now: datetime | None) -> _Head:
        texts: list[Text] = []
        starts: dict[str, list[tuple[float, float]]] = {"sun": [], "twilight": [], "now": []}
        now_texts: list[Text] = []
        top = 2.0
        for kinds in _ROWS:
            row = [event for event in events if event.kind in kinds]
            if not row:
                continue
            words = [
                _Label(day.along(event.at), _SHORT[event.kind], day.nearest(event.at), event.kind in _MORNING)
                for event in row
            ]
            texts += _both(*(_placed(words, width, top + 12) for width in _PLOTS))
            starts["sun" if "sunrise" in kinds else "twilight"] += [(label.x, top + 2) for label in words]
            top += ROW_HIGH
        if now is not None:
            word = _Label(day.along(now), "now", day.nearest(now), morning=True)
            now_texts = _both(*(_placed([word], width, top + 12) for width in _PLOTS))
            starts["now"].append((word.x, top + 2))
            top += ROW_HIGH
        high = top + ROW_HIGH + 2
        lines = {
            kind: "".join(f"M{_figure(x)} {_figure(y)}V{_figure(high)}" for x, y in begins)
            for kind, begins in starts.items()
        }
        return cls(high, tuple(texts), tuple(now_texts), lines)


@dataclass(frozen=True, slots=True)
class _Label:
    x: float
    words: str
    time: str
    morning: bool


def _placed(labels: Sequence[_Label], plot: float, y: float) -> list[Text]:
    """
    Labels in a row of the head, each on the side of its line that has room, the day's own side if it may.

    plot  [px] the day's width. Words go first where there is too little room, the last labels next.
    """
    for count in range(len(labels), 0, -1):
        few = labels[:count]
        for worded in ({*range(count)}, {count - 1}, {0}, set()):
            texts = [f"{label.words} {label.time}" if n in worded else label.time for n, label in enumerate(few)]
            inward = [label.morning for label in few]
            outward = [not each for each in inward]
            others = product((True, False), repeat=count) if count <= 4 else ()
            for rightward in (inward, outward, *others):
                if found := _fits(few, texts, rightward, plot, y):
                    return found
    return []


def _fits(
    labels: Sequence[_Label], texts: Sequence[str], rightward: Sequence[bool], plot: float, y: float
) -> list[Text]:
    """The labels on these sides of their lines; none if two touch, or one leaves the picture."""
    until, found = -GUTTER, []
    for label, text, right in zip(labels, texts, rightward, strict=True):
        at, size = label.x / 100 * plot, text_width(text) + 4
        begins, ends = (at, at + size) if right else (at - size, at)
        if begins < until or ends > plot + MARGIN:
            return []
        until = ends
        found.append(Text(text, label.x, y, "start" if right else "end", 4.0 if right else -4.0))
    return found


def _both(narrow: list[Text], wide: list[Text]) -> list[Text]:
    """Labels of two widths as one list: what both have stands there once."""
    same = [text for text in narrow if text in wide]
    return same + [_only(text, "narrow") for text in narrow if text not in same] + [
        _only(text, "wide") for text in wide if text not in same
    ]  # fmt: skip


def _only(text: Text, width: Width) -> Text:
    return Text(text.text, text.x, text.y, text.anchor, text.dx, width)


@dataclass(frozen=True, slots=True)
class _Sky:
    """The sun over the day: its events in order, whether it stays up or down, its heights at the curves' times."""

    events: tuple[SunEvent, ...] = ()
    never: Literal["", "up", "down"] = ""
    heights: tuple[float, ...] = ()

    @classmethod
    def over(cls, day: _Day, sun: SunDay | None, heights: Sequence[float] | None) -> _Sky:
        if sun is None:
            return cls()
        for event in sun.events:
            _aware("events.at", event.at)
        events = sorted((event for event in sun.events if day.has(event.at)), key=lambda event: _moment(event.at))
        return cls(tuple(events), sun.never, tuple(heights or ()))

    def nights(self, day: _Day) -> tuple[Span, ...]:
        """Where the sun is more than 6 degrees down: from civil dusk to civil dawn."""
        turns = [event for event in self.events if event.kind in ("civil_dawn", "civil_dusk")]
        if not turns:
            dark = max(self.heights) < _NIGHT_BELOW if self.heights else self.never == "down"
            return (Span(0.0, 100.0),) if dark else ()
        begins = [0.0] if turns[0].kind == "civil_dawn" else []
        ends: list[float] = []
        for turn in turns:
            (ends if turn.kind == "civil_dawn" else begins).append(day.along(turn.at))
        if len(ends) < len(begins):
            ends.append(100.0)
        return tuple(Span(x, round(end - x, 2)) for x, end in zip(begins, ends, strict=False))

    def said(self, day: _Day) -> str:
        """When the sun rises and sets, as a sentence."""
        if self.never:
            return "The sun does not set." if self.never == "up" else "The sun does not rise."
        said = ", ".join(f"{event.kind} {day.nearest(event.at)}" for event in self.events if event.kind in RISINGS)
        return f"{said[0].upper()}{said[1:]}." if said else ""


def _clock_said(day: _Day) -> str:
    """Why a day has not 24 hours."""
    hours = (day.stop.timestamp() - day.start.timestamp()) / 3600
    first, last = day.local(day.start), day.local(day.stop)
    if first.utcoffset() == last.utcoffset() or hours == 24:
        return ""
    return f"The clocks change from {first:%Z} to {last:%Z}: this day has {hours:g} hours."


# The EV scale.


@dataclass(frozen=True, slots=True)
class _Scale:
    """From bottom to top [stops] over so many px, the same for every place."""

    bottom: float
    top: float
    high: float

    @classmethod
    def of(cls, curves: Sequence[Curve], day: _Day) -> _Scale:
        readings = [mark.ev100 for curve in curves for mark in curve.readings if day.has(mark.at)]
        lows = [*(ev for curve in curves for ev in curve.low), *readings] or [0.0]
        highs = [*(ev for curve in curves for ev in curve.high), *readings] or [0.0]
        top = max(math.ceil(max(highs) + 0.25), FLOOR + EV_SPAN_LEAST)
        bottom = max(math.floor(min(lows) - 0.25), FLOOR)
        if top - bottom < EV_SPAN_LEAST:
            bottom = max(bottom - (EV_SPAN_LEAST - (top - bottom)) // 2, FLOOR)
            top = max(top, bottom + EV_SPAN_LEAST)
        return cls(float(bottom), float(top), ONE_HIGH if len(curves) == 1 else MANY_HIGH)

    @property
    def px_per_stop(self) -> float:
        return self.high / (self.top - self.bottom)

    def y(self, ev: float) -> float:
        """[px] down from the strip's top; at the bottom for all that is darker."""
        return ABOVE + (self.top - max(ev, self.bottom)) * self.px_per_stop

    def steps(self) -> list[int]:
        """The EV that have a line: every second, or every fifth where those would crowd."""
        step = next((each for each in (2, 5) if each * self.px_per_stop >= STEP_HIGH), 10)
        return [ev for ev in range(math.ceil(self.bottom), math.floor(self.top) + 1) if ev % step == 0]

    def texts(self) -> tuple[Text, ...]:
        steps = self.steps()
        return tuple(
            Text(f"{'EV ' if ev == steps[-1] else ''}{minus(ev, 'd')}", 0.0, _tenth(self.y(ev) + 4), "end", -6.0)
            for ev in steps
        )


# A strip.


def _strip(
    curve: Curve,
    day: _Day,
    scale: _Scale,
    letters: _Letters,
    sky: _Sky,
    *,
    alone: bool,
) -> Strip:
    at = [day.exactly(moment) for moment in _moments(curve.times)]
    runs = _above_and_dark(_crossed(at, curve.ev100))
    dark = [(points[0][0], points[-1][0]) for points, is_dark in runs if is_dark]
    glass = _glass(curve, day)
    aside, said = _essential(curve, day)
    sun_said = sky.said(day)
    return Strip(
        name=curve.name,
        aside=aside,
        said=f"{said} {sun_said}" if alone and sun_said else said,
        line="".join(_path(_drawn(points, scale)) for points, is_dark in runs if not is_dark),
        band=_band(at, curve, scale),
        dark="".join(f"M{_figure(round(x, 2))} {_figure(scale.y(FLOOR))}H{_figure(round(to, 2))}" for x, to in dark),
        glass="".join(_box(run.span, scale) for run in glass if not run.misses),
        misses=tuple(run.span for run in glass if run.misses),
        texts=_dark_texts(dark, scale) + tuple(text for run in glass for text in _written(run, letters, scale)),
        dots=tuple(Dot(day.along(mark.at), _tenth(scale.y(mark.ev100))) for mark in curve.readings if day.has(mark.at)),
        rows=_rows(curve, day, sky) if curve.times else (),
        worn=tuple(f"until {run.until} {run.said}" for run in glass),
    )


def _essential(curve: Curve, day: _Day) -> tuple[str, str]:
    """When a place is brightest and darkest: beside its name, and as a sentence."""
    if not curve.times:
        return "no reading yet", "No reading yet."
    floor = _ev(FLOOR, "g")
    by_light = sorted(zip(curve.ev100, curve.times, strict=True), key=lambda each: each[0])
    (least, dark_at), (most, bright_at) = by_light[0], by_light[-1]
    if most < FLOOR:
        return f"darker than {floor}", f"Darker than {floor} all day."
    if most - least < 0.1:
        lamps = "lamps, " if curve.lamps else ""
        return f"{lamps}{_ev(most)} all day", f"{'Lamps: ' if curve.lamps else ''}{_ev(most)} all day."
    brightest = f"{_ev(most)} at {day.nearest(bright_at)}"
    darkest = f"at times darker than {floor}" if least < FLOOR else f"darkest {_ev(least)} at {day.nearest(dark_at)}"
    return f"brightest {_level(most)} at {day.nearest(bright_at)}", f"Brightest {brightest}, {darkest}."


def _crossed(at: Sequence[float], values: Sequence[float]) -> list[Point]:
    """A curve's points, with one more wherever it crosses the floor in between."""
    found: list[Point] = []
    for x, ev in zip(at, values, strict=True):
        if found and (found[-1][1] - FLOOR) * (ev - FLOOR) < 0:
            x0, ev0 = found[-1]
            found.append((x0 + (FLOOR - ev0) / (ev - ev0) * (x - x0), FLOOR))
        found.append((x, ev))
    return found


def _above_and_dark(points: Sequence[Point]) -> list[tuple[list[Point], bool]]:
    """A curve in pieces, each with whether it lies under the floor; where it crosses, both pieces have the point."""
    runs: list[tuple[list[Point], bool]] = []
    for before, after in pairwise(points):
        is_dark = min(before[1], after[1]) < FLOOR
        if runs and runs[-1][1] == is_dark:
            runs[-1][0].append(after)
        else:
            runs.append(([before, after], is_dark))
    return runs


def _band(at: Sequence[float], curve: Curve, scale: _Scale) -> str:
    """What the sky may make of the light, as a closed path; none where that is nothing, or under the floor."""
    if all(high - low < 0.05 or high <= FLOOR for low, high in zip(curve.low, curve.high, strict=True)):
        return ""
    edges = [_drawn(_crossed(at, values), scale) for values in (curve.high, curve.low)]
    return f"{_path([*edges[0], *reversed(edges[1])])}Z"


def _drawn(points: Sequence[Point], scale: _Scale) -> list[Point]:
    """Points of a curve [EV] as the picture has them: scaled, thinned, rounded."""
    scaled = [(x, scale.y(ev)) for x, ev in points]
    tolerance = TOLERANCE
    while len(thin := thinned(scaled, tolerance)) > POINTS_MOST:
        tolerance *= 2
    return [(round(x, 2), _tenth(y)) for x, y in thin]


def thinned(points: Sequence[Point], tolerance: float) -> list[Point]:
    """
    As few of the points as keep the line through them within the tolerance, straight up or down, at every x.

    Ramer, Douglas and Peucker's way, with the distance taken along y: what stretches in x keeps its bound. The points
    are in order of x.

    >>> thinned([(0, 0), (1, 0.2), (2, 0), (3, 5)], 0.3)
    [(0, 0), (2, 0), (3, 5)]
    """
    kept = {0, len(points) - 1}
    left = [(0, len(points) - 1)]
    while left:
        first, last = left.pop()
        (x0, y0), (x1, y1) = points[first], points[last]
        slope = (y1 - y0) / (x1 - x0) if x1 > x0 else 0.0
        off = [abs(y - y0 - slope * (x - x0)) for x, y in points[first + 1 : last]]
        worst = max(off, default=0.0)
        if worst > tolerance:
            split = first + 1 + off.index(worst)
            kept.add(split)
            left += [(first, split), (split, last)]
    return [points[number] for number in sorted(kept)]


def _dark_texts(dark: Sequence[tuple[float, float]], scale: _Scale) -> tuple[Text, ...]:
    """Words over the widest run under the floor: "darker than EV −2", on the widths where they have room."""
    if not dark:
        return ()
    x, to = max(dark, key=lambda run: run[1] - run[0])
    words = ("darker than", _ev(FLOOR, "g"))
    room = text_width(words[0]) + 4
    if (to - x) / 100 * WIDE_PLOT < room:
        return ()
    only: Width = "" if (to - x) / 100 * NARROW_PLOT >= room else "wide"
    foot = scale.y(FLOOR)
    middle = round((x + to) / 2, 2)
    return tuple(Text(word, middle, _tenth(foot - up), only=only) for word, up in zip(words, (20, 6), strict=True))


# The glass.

_WIDTHS_OF_LETTERS = (
    (0.3, "ijlI"),
    (0.34, " .,:;'|·"),
    (0.42, "frt!()[]-/J"),
    (0.6, "ckszvxy"),
    (0.63, "ae"),
    (0.72, "ABEFKLPRSTVXYZ"),
    (0.8, "CDGHNOQU"),
    (1.0, "mwMW"),
)  # ems of DejaVu Sans, which is wider than most fonts of a system; figures and the other small letters have 0.64
_WIDTHS: tuple[Width, Width] = ("narrow", "wide")
_PLOTS = (NARROW_PLOT, WIDE_PLOT)


@dataclass(frozen=True, slots=True)
class _Run:
    """A run of glass, as much of it as is inside the day. until  by the clock."""

    span: Span
    said: str
    until: str
    misses: bool


def _glass(curve: Curve, day: _Day) -> list[_Run]:
    found = []
    for run in curve.glass:
        start, stop = max(run.start, day.start, key=_moment), min(run.stop, day.stop, key=_moment)
        if _moment(start) < _moment(stop):
            x, to = day.along(start), day.along(stop)
            found.append(_Run(Span(x, round(to - x, 2)), run.said, day.nearest(stop), bool(run.short)))
    return found


def _box(span: Span, scale: _Scale) -> str:
    top = ABOVE + scale.high + BELOW
    to = round(span.x + span.width, 2)
    return f"M{_figure(span.x)} {_figure(top)}H{_figure(to)}V{_figure(top + GLASS_HIGH)}H{_figure(span.x)}z"


@dataclass(frozen=True, slots=True)
class _Letters:
    """
    A letter for each kind of run that does not fit its box somewhere: what it stands for, its letter, and where it is
    shown. slivers: the widths on which a run has not even room for its letter.
    """

    letter: dict[str, str]
    shown: dict[str, set[Width]]
    slivers: set[Width]

    @classmethod
    def of(cls, curves: Sequence[Curve], day: _Day) -> _Letters:
        """Phone first, so that its letters have no gaps."""
        made = cls({}, {}, set())
        runs = [run for curve in curves for run in _glass(curve, day)]
        for width in _WIDTHS:
            for run in runs:
                letter = made.letter.get(run.said) or letters_of(len(made.letter))
                if _fits_in(run, run.said, width):
                    continue
                if not _fits_in(run, letter, width):
                    made.slivers.add(width)
                    continue
                made.letter[run.said] = letter
                made.shown.setdefault(run.said, set()).add(width)
        return made

    def written(self, run: _Run, width: Width) -> str:
        """What stands in a run on this width: its words, its letter, or nothing."""
        letter = self.letter.get(run.said, "")
        return next((text for text in (run.said, letter) if _fits_in(run, text, width)), "")

    def keyed(self) -> tuple[Keyed, ...]:
        return tuple(Keyed(letter, said, _only_on(self.shown[said])) for said, letter in self.letter.items())


def _only_on(widths: set[Width]) -> Width:
    return "" if len(widths) == len(_WIDTHS) else min(widths)


def _fits_in(run: _Run, text: str, width: Width) -> bool:
    return text_width(text) + (2 if len(text) < 3 else 6) <= run.span.width / 100 * _PLOTS[_WIDTHS.index(width)]


def _written(run: _Run, letters: _Letters, scale: _Scale) -> list[Text]:
    y, middle = _tenth(ABOVE + scale.high + BELOW + 14.5), round(run.span.x + run.span.width / 2, 2)
    words = [letters.written(run, width) for width in _WIDTHS]
    return _both(*([Text(word, middle, y)] if word else [] for word in words))


def letters_of(number: int) -> str:
    """
    The name of a key: a to z, then aa, ab.

    >>> letters_of(0), letters_of(25), letters_of(26)
    ('a', 'z', 'aa')
    """
    more, last = divmod(number, 26)
    return (letters_of(more - 1) if more else "") + chr(ord("a") + last)


def text_width(text: str) -> float:
    """How wide letters are [px] at the picture's size, in a wide system font: rather too much than too little."""
    return LETTERS * sum(map(_letter_width, text))


@lru_cache(maxsize=1024)
def _letter_width(letter: str) -> float:
    for width, letters in _WIDTHS_OF_LETTERS:
        if letter in letters:
            return width
    if letter.islower() or letter.isdecimal():
        return 0.64
    return 1.2 if unicodedata.east_asian_width(letter) in "WF" else 1.0


# The table.


def _rows(curve: Curve, day: _Day, sky: _Sky) -> tuple[Row, ...]:
    """A row for each hour, the sun's events and the readings, in order; what falls together is one row."""
    whats: dict[float, list[str]] = {_moment(hour): [] for hour in day.hours}
    for event in sky.events:
        whats.setdefault(_moment(event.at), []).append(event.kind.replace("_", " "))
    for mark in curve.readings:
        if day.has(mark.at):
            said = f"read {_ev(mark.ev100)}" + (f", {mark.label}" if mark.label else "")
            whats.setdefault(_moment(mark.at), []).append(said)
    times = _moments(curve.times)
    rows = []
    for moment, what in sorted(whats.items()):
        worn = [run.said for run in curve.glass if _moment(run.start) <= moment < _moment(run.stop)]
        rows.append(
            Row(
                time=day.nearest(datetime.fromtimestamp(moment, UTC)),
                what=", ".join(what),
                sun=_told(_at(moment, times, sky.heights), lambda height: f"{minus(round(height) + 0, 'd')}°"),
                ev=_told(_at(moment, times, curve.ev100), _level),
                low=_told(_at(moment, times, curve.low), _level),
                high=_told(_at(moment, times, curve.high), _level),
                glass=worn[0] if worn else "",
            )
        )
    return tuple(rows)


def _at(moment: float, times: Sequence[float], values: Sequence[float]) -> float | None:
    """The value at a time, in between on a straight line; None outside."""
    after = bisect_left(times, moment)
    if not values or after == len(times) or (after == 0 and times[0] != moment):
        return None
    if times[after] == moment:
        return values[after]
    share = (moment - times[after - 1]) / (times[after] - times[after - 1])
    return values[after - 1] + share * (values[after] - values[after - 1])


def _told(value: float | None, say: Callable[[float], str]) -> str:
    return "" if value is None else say(value)


def _level(ev: float) -> str:
    return minus(round(ev, 1) + 0.0, ".1f")


def _ev(ev: float, form: str = ".1f") -> str:
    return f"EV {minus(round(ev, 1) + 0.0, form)}"


# Small things.


def _path(points: Sequence[Point]) -> str:
    return "M" + "L".join(f"{_figure(x)} {_figure(y)}" for x, y in points)


def _posts(at: Sequence[float], foot: float) -> str:
    return "".join(f"M{_figure(x)} 0V{_figure(foot)}" for x in at)


def _figure(value: float) -> str:
    """
    A coordinate without zeros that say nothing.

    >>> _figure(12.0), _figure(0.25)
    ('12', '0.25')
    """
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _tenth(value: float) -> float:
    return round(value, 1)


def _moment(at: datetime) -> float:
    return at.timestamp()


def _aware(field: str, at: datetime) -> None:
    if at.tzinfo is None:
        raise OutOfRange(field, at.isoformat(), "a time with its offset from UTC")


@lru_cache(maxsize=8)
def _moments(times: tuple[datetime, ...]) -> tuple[float, ...]:
    """Times as seconds, refused where they are not in order; remembered, since a venue's curves share theirs."""
    for time in times:
        _aware("times", time)
    moments = tuple(map(_moment, times))
    for number, (before, after) in enumerate(pairwise(moments), 1):
        if not before < after:
            raise OutOfRange("times", times[number].isoformat(), "times in order, none of them twice")
    return moments
