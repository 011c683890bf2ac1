"""
The light picture: EV over one local day, a strip for each place, all on one time axis.

How it is drawn, for every width at once, is in `axis`. Points of a curve are thinned to what shows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Literal

from server.exposure.light import EV100_BRIGHTEST, EV100_DIMMEST
from server.exposure.refused import OutOfRange, within
from server.exposure.sun import EventKind, SunDay, SunEvent
from server.exposure.wording import minus
from server.language import Worded, clock, decimal, hour, manner, noted, say
from server.language import day as date_words

from .axis import (
    BELOW,
    FLOOR,
    LANE_HIGH,
    NARROW_PLOT,
    PLOTS,
    ROW_HIGH,
    SUN_EVENTS,
    WIDE_PLOT,
    Axis,
    Dot,
    Keyed,
    Label,
    Letters,
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
    coordinate,
    crossed,
    drawn,
    level_path,
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

CURVES_MOST = 200
ONE_HIGH, MANY_HIGH = 180.0, 72.0  # px, the EV scale of the only strip, and of one among others

_ROWS: tuple[tuple[EventKind, EventKind], ...] = (
    ("nautical_dawn", "nautical_dusk"),
    ("civil_dawn", "civil_dusk"),
    ("sunrise", "sunset"),
)  # of the head, the outermost at the top
_SHORT: Worded[EventKind] = Worded({
    "nautical_dawn": noted("nautical"), "civil_dawn": noted("civil"), "sunrise": noted("sunrise"),
    "sunset": noted("sunset"), "civil_dusk": noted("civil"), "nautical_dusk": noted("nautical"),
})  # fmt: skip
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
        aware("readings.at", self.at)
        within("readings.ev100", self.ev100, EV100_DIMMEST, EV100_BRIGHTEST, "stops")


@dataclass(frozen=True, slots=True)
class GlassRun:
    """What is on the lens from one time to another; short says where the look is missed: "1.3 stops too dark"."""

    start: datetime
    stop: datetime
    label: str
    short: str = ""

    def __post_init__(self) -> None:
        aware("glass.start", self.start)
        aware("glass.stop", self.stop)
        if not self.start.timestamp() < self.stop.timestamp():
            raise OutOfRange("glass.stop", self.stop.isoformat(), say("a time after the start"))

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
        check_curve(self.times, self.ev100, self.low, self.high)
        for before, after in pairwise(self.glass):
            if before.stop.timestamp() > after.start.timestamp():
                raise OutOfRange("glass", after.start.isoformat(), say("runs in order that do not overlap"))


# What goes out.


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
    day = Axis(start, stop, end="12:00 am" if manner().twelve else "24:00")
    for height in heights or ():
        within("heights", height, -90, 90, "degrees")
    for curve in curves:
        for time in (*curve.times[:1], *curve.times[-1:]):
            if not day.has(time):
                raise OutOfRange(
                    "times",
                    time.isoformat(),
                    say("{low} to {high}", low=start.isoformat(), high=stop.isoformat()),
                )
        if heights is not None and curve.times and len(curve.times) != len(heights):
            raise OutOfRange(
                "heights",
                say("{count} figures", count=len(heights)),
                say("{count}, one for each time", count=len(curve.times)),
            )
    scale = _scale(curves, day)
    sky = _Sky.over(day, sun, heights)
    nights = sky.nights(day)
    here = now if now is not None and day.has(now) else None
    head = _Head.of(day, sky.events, here)
    letters = Letters.of(run for curve in curves for run in _glass(curve, day))
    strips = tuple(_strip(curve, day, scale, letters, sky, alone=len(curves) == 1) for curve in curves)
    glass = any(strip.worn for strip in strips)
    plot_foot = scale.foot
    foot = plot_foot + BELOW + (LANE_HIGH + BELOW if glass else 0)
    suns = [day.along(event.at) for event in sky.events if event.kind in RISINGS]
    twilights = [day.along(event.at) for event in sky.events if event.kind not in RISINGS]
    return LightPicture(
        key_id=key_id,
        date=date_words(day.start, "EEEE d MMMM y"),
        said=tuple(each for each in (sky.said(day), _clock_said(day)) if each),
        head_high=head.high,
        high=foot,
        plot_high=scale.high,
        glass_top=plot_foot + BELOW,
        glass_high=LANE_HIGH,
        floor_y=tenth(plot_foot),
        head=head.texts,
        head_now_texts=head.now_texts,
        hours=_hours(day, head.high - 5),
        scale=scale.texts(),
        ticks="".join(f"M{coordinate(day.along(hour))} {coordinate(head.high - 3)}v3" for hour in day.hours),
        gridlines=scale.gridlines(),
        head_sun=head.lines["sun"],
        head_twilight=head.lines["twilight"],
        head_now=head.lines["now"],
        sun=posts(suns, 0, foot),
        twilight=posts(twilights, 0, foot),
        now=posts([] if here is None else [day.along(here)], 0, foot),
        nights=nights,
        strips=strips,
        key=Key(
            line=any(strip.line for strip in strips),
            band=any(strip.band for strip in strips),
            readings=any(strip.dots for strip in strips),
            dark=any(strip.dark for strip in strips),
            night=bool(nights),
            misses=any(strip.misses for strip in strips),
            slivers=only_on(letters.slivers) if letters.slivers else None,
        ),
        keyed=letters.keyed(),
        sun_known=bool(sky.heights),
        floor=minus(FLOOR, "g"),
    )


# The head.


def _hours(day: Axis, y: float) -> tuple[Text, ...]:
    """The hours that are written: every third on a phone, every second at a desk."""
    found: list[Text] = []
    for at in day.hours:
        only: Width
        match at.hour % 2 == 0, at.hour % 3 == 0, day.clock(at) == clock(at):
            case True, True, True:
                only = ""
            case True, False, True:
                only = "wide"
            case False, True, True:
                only = "narrow"
            case _:
                continue
        found.append(Text(hour(at), day.along(at), y, only=only))
    return (*found, Text("12am" if manner().twelve else "24", 100, y))


@dataclass(frozen=True, slots=True)
class _Head:
    """What stands over the strips: the sun's times, each where its line begins, and now."""

    high: float
    texts: tuple[Text, ...]
    now_texts: tuple[Text, ...]
    lines: dict[str, str]

    @classmethod
    def of(cls, day: Axis, events: Sequence[SunEvent], now: datetime | None) -> _Head:
        texts: list[Text] = []
        starts: dict[str, list[tuple[float, float]]] = {"sun": [], "twilight": [], "now": []}
        now_texts: list[Text] = []
        top = 2.0
        for kinds in _ROWS:
            row = [event for event in events if event.kind in kinds]
            if not row:
                continue
            words = [
                Label(day.along(event.at), _SHORT[event.kind], day.nearest(event.at), event.kind in _MORNING)
                for event in row
            ]
            texts += both(*(placed(words, width, top + 12) for width in PLOTS))
            starts["sun" if "sunrise" in kinds else "twilight"] += [(label.x, top + 2) for label in words]
            top += ROW_HIGH
        if now is not None:
            word = Label(day.along(now), say("now"), day.nearest(now), morning=True)
            now_texts = both(*(placed([word], width, top + 12) for width in PLOTS))
            starts["now"].append((word.x, top + 2))
            top += ROW_HIGH
        high = top + ROW_HIGH + 2
        lines = {
            kind: "".join(f"M{coordinate(x)} {coordinate(y)}V{coordinate(high)}" for x, y in begins)
            for kind, begins in starts.items()
        }
        return cls(high, tuple(texts), tuple(now_texts), lines)


@dataclass(frozen=True, slots=True)
class _Sky:
    """The sun over the day: its events in order, whether it stays up or down, its heights at the curves' times."""

    events: tuple[SunEvent, ...] = ()
    never: Literal["", "up", "down"] = ""
    heights: tuple[float, ...] = ()

    @classmethod
    def over(cls, day: Axis, sun: SunDay | None, heights: Sequence[float] | None) -> _Sky:
        if sun is None:
            return cls()
        for event in sun.events:
            aware("events.at", event.at)
        events = sorted((event for event in sun.events if day.has(event.at)), key=lambda event: moment_of(event.at))
        return cls(tuple(events), sun.never, tuple(heights or ()))

    def nights(self, day: Axis) -> tuple[Span, ...]:
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

    def said(self, day: Axis) -> str:
        """When the sun rises and sets, as a sentence."""
        if self.never:
            return say("The sun does not set.") if self.never == "up" else say("The sun does not rise.")
        said = ", ".join(
            f"{SUN_EVENTS[event.kind]} {day.nearest(event.at)}" for event in self.events if event.kind in RISINGS
        )
        return f"{said[0].upper()}{said[1:]}." if said else ""


def _clock_said(day: Axis) -> str:
    """Why a day has not 24 hours."""
    hours = (day.stop.timestamp() - day.start.timestamp()) / 3600
    first, last = day.local(day.start), day.local(day.stop)
    if first.utcoffset() == last.utcoffset() or hours == 24:
        return ""
    return say(
        "The clocks change from {first} to {last}: this day has {hours} hours.",
        first=f"{first:%Z}",
        last=f"{last:%Z}",
        hours=decimal(f"{hours:g}"),
    )


# A strip.


def _scale(curves: Sequence[Curve], day: Axis) -> Scale:
    """One for every place, so that strips compare."""
    readings = [mark.ev100 for curve in curves for mark in curve.readings if day.has(mark.at)]
    lows = [*(ev for curve in curves for ev in curve.low), *readings]
    highs = [*(ev for curve in curves for ev in curve.high), *readings]
    return Scale.of(lows, highs, ONE_HIGH if len(curves) == 1 else MANY_HIGH)


def _strip(
    curve: Curve,
    day: Axis,
    scale: Scale,
    letters: Letters,
    sky: _Sky,
    *,
    alone: bool,
) -> Strip:
    at = [day.exactly(moment) for moment in moments(curve.times)]
    runs = above_and_dark(crossed(at, curve.ev100))
    dark = [(points[0][0], points[-1][0]) for points, is_dark in runs if is_dark]
    glass = _glass(curve, day)
    aside, said = _essential(curve, day)
    sun_said = sky.said(day)
    return Strip(
        name=curve.name,
        aside=aside,
        said=f"{said} {sun_said}" if alone and sun_said else said,
        line="".join(path(drawn(points, scale)) for points, is_dark in runs if not is_dark),
        band=band(at, curve.low, curve.high, scale),
        dark="".join(level_path(x, to, scale.y(FLOOR)) for x, to in dark),
        glass="".join(box(run.span, scale.foot + BELOW) for run in glass if not run.misses),
        misses=tuple(run.span for run in glass if run.misses),
        texts=_dark_texts(dark, scale)
        + tuple(text for run in glass for text in letters.written(run, scale.foot + BELOW)),
        dots=tuple(Dot(day.along(mark.at), tenth(scale.y(mark.ev100))) for mark in curve.readings if day.has(mark.at)),
        rows=_rows(curve, day, sky) if curve.times else (),
        worn=tuple(say("until {time} {glass}", time=run.until, glass=run.said) for run in glass),
    )


def _essential(curve: Curve, day: Axis) -> tuple[str, str]:
    """When a place is brightest and darkest: beside its name, and as a sentence."""
    if not curve.times:
        return say("no reading yet"), say("No reading yet.")
    floor = _ev(FLOOR, "g")
    by_light = sorted(zip(curve.ev100, curve.times, strict=True), key=lambda each: each[0])
    (least, dark_at), (most, bright_at) = by_light[0], by_light[-1]
    if most < FLOOR:
        return say("darker than {floor}", floor=floor), say("Darker than {floor} all day.", floor=floor)
    if most - least < 0.1:
        level = _ev(most)
        if curve.lamps:
            return say("lamps, {ev} all day", ev=level), say("Lamps: {ev} all day.", ev=level)
        return say("{ev} all day", ev=level), say("{ev} all day.", ev=level)
    bright, dark = day.nearest(bright_at), day.nearest(dark_at)
    sentence = (
        say("Brightest {ev} at {time}, at times darker than {floor}.", ev=_ev(most), time=bright, floor=floor)
        if least < FLOOR
        else say("Brightest {ev} at {time}, darkest {least} at {dark}.", ev=_ev(most), time=bright, least=_ev(least),
                 dark=dark)
    )  # fmt: skip
    return say("brightest {level} at {time}", level=_level(most), time=bright), sentence


def _dark_texts(dark: Sequence[tuple[float, float]], scale: Scale) -> tuple[Text, ...]:
    """Words over the widest run under the floor: "darker than EV −2", on the widths where they have room."""
    if not dark:
        return ()
    x, to = max(dark, key=lambda run: run[1] - run[0])
    words = (say("darker than"), _ev(FLOOR, "g"))
    room = text_width(words[0]) + 4
    if (to - x) / 100 * WIDE_PLOT < room:
        return ()
    only: Width = "" if (to - x) / 100 * NARROW_PLOT >= room else "wide"
    foot = scale.y(FLOOR)
    middle = round((x + to) / 2, 2)
    return tuple(Text(word, middle, tenth(foot - up), only=only) for word, up in zip(words, (20, 6), strict=True))


# The glass.


@dataclass(frozen=True, slots=True)
class _Worn(Run):
    """A run of glass. until  by the clock."""

    until: str
    misses: bool


def _glass(curve: Curve, day: Axis) -> list[_Worn]:
    found = []
    for run in curve.glass:
        start, stop = max(run.start, day.start, key=moment_of), min(run.stop, day.stop, key=moment_of)
        if moment_of(start) < moment_of(stop):
            x, to = day.along(start), day.along(stop)
            found.append(_Worn(Span(x, round(to - x, 2)), run.said, day.nearest(stop), bool(run.short)))
    return found


# The table.


def _rows(curve: Curve, day: Axis, sky: _Sky) -> tuple[Row, ...]:
    """A row for each hour, the sun's events and the readings, in order; what falls together is one row."""
    whats: dict[float, list[str]] = {moment_of(hour): [] for hour in day.hours}
    for event in sky.events:
        whats.setdefault(moment_of(event.at), []).append(SUN_EVENTS[event.kind])
    for mark in curve.readings:
        if day.has(mark.at):
            said = say("read {ev}", ev=_ev(mark.ev100)) + (f", {mark.label}" if mark.label else "")
            whats.setdefault(moment_of(mark.at), []).append(said)
    times = moments(curve.times)
    rows = []
    for moment, what in sorted(whats.items()):
        worn = [run.said for run in curve.glass if moment_of(run.start) <= moment < moment_of(run.stop)]
        rows.append(
            Row(
                time=day.nearest(datetime.fromtimestamp(moment, UTC)),
                what=", ".join(what),
                sun=_told(value_at(moment, times, sky.heights), lambda height: f"{minus(round(height) + 0, 'd')}°"),
                ev=_told(value_at(moment, times, curve.ev100), _level),
                low=_told(value_at(moment, times, curve.low), _level),
                high=_told(value_at(moment, times, curve.high), _level),
                glass=worn[0] if worn else "",
            )
        )
    return tuple(rows)


def _told(value: float | None, figure: Callable[[float], str]) -> str:
    return "" if value is None else figure(value)


def _level(ev: float) -> str:
    return decimal(minus(round(ev, 1) + 0.0, ".1f"))


def _ev(ev: float, form: str = ".1f") -> str:
    return f"EV {decimal(minus(round(ev, 1) + 0.0, form))}"
