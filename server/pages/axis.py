"""
What the pictures drawn on the server share: an axis of time, a scale of EV, labels that do not touch, thinned curves.

One drawing for every width: how far along something is, is a percentage, and only that stretches. Two drawings, one for
the phone and one for the desk, would be twice the bytes, and letters that scale with a drawing are too small on the one
or too large on the other. What has room on one width only, a label as a rule, says so (`Width`).

Along is [percent of the axis], in real time: an hour is as wide on the day of a clock change as on any other. Down is
[px].
"""

from __future__ import annotations

import math
import unicodedata
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import pairwise, product
from typing import Literal

import numpy as np

from server.book.order import clock_words, is_twice
from server.exposure.light import EV100_BRIGHTEST, EV100_DIMMEST
from server.exposure.refused import OutOfRange, within
from server.exposure.wording import minus
from server.language import Worded, noted, say

Width = Literal["", "narrow", "wide"]  # where something is shown: everywhere, on a phone, at a desk and on paper
Point = tuple[float, float]  # (percent of the axis, px); (percent of the axis, EV) before it is scaled

FLOOR = -2.0  # EV; f/1.4 and 1/50 at ISO 25,600 expose EV -1.4. Below it the picture says so and draws no cliff
DRIFT_MOST = 40.0  # stops, from the brightest reading into the night
TIMES_MOST = 2000  # of a curve; a point a minute
HOURS_FEWEST, HOURS_MOST = 1, 49  # of an axis; a country that changed sides of the date line had a day of 48

ABOVE, BELOW, LANE_HIGH = 8.0, 5.0, 20.0  # px, over the EV scale, under it, and a lane of boxes
ROW_HIGH = 16.0  # px, a row of the head
EV_SPAN_LEAST = 6  # stops; a hall's steady light is not blown up to a mountain range
STEP_HIGH = 15.0  # px, the least between two labels of the scale
TOLERANCE = 0.3  # px, how far a thinned curve may lie beside the true one
ARRAYS_FROM = 40  # points; an array is slower for fewer
POINTS_MOST = 120  # of one drawn curve; one that needs more is thinned until it has no more

LETTERS = 12.0  # px, the font's size in a picture
NARROW_PLOT, WIDE_PLOT = 276.0, 608.0  # px, the axis's width on a small phone, and where a desk begins
GUTTER, MARGIN = 40.0, 10.0  # px, left and right of the axis; the stylesheet has the same
WIDTHS: tuple[Width, Width] = ("narrow", "wide")
PLOTS = (NARROW_PLOT, WIDE_PLOT)


# What is drawn.


SUN_EVENTS = Worded({
    "sunrise": noted("sunrise"), "sunset": noted("sunset"),
    "civil_dawn": noted("civil dawn"), "civil_dusk": noted("civil dusk"),
    "nautical_dawn": noted("nautical dawn"), "nautical_dusk": noted("nautical dusk"),
    "astronomical_dawn": noted("astronomical dawn"), "astronomical_dusk": noted("astronomical dusk"),
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Text:
    """Letters in the picture. x [percent of the axis], dx and y [px]."""

    text: str
    x: float
    y: float
    anchor: Literal["start", "middle", "end"] = "middle"
    dx: float = 0.0
    only: Width = ""


@dataclass(frozen=True, slots=True)
class Span:
    """From x, so wide. [percent of the axis]"""

    x: float
    width: float


@dataclass(frozen=True, slots=True)
class Dot:
    """A round mark. x [percent of the axis], y [px]."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Keyed:
    """A letter in a lane, and what it stands for."""

    letter: str
    said: str
    only: Width


# The axis of time.


class Axis:
    """
    From start to stop, aware, in the time zone of start. Sums go through UTC: two times of one zone subtract as its
    clock shows them.

    quarters: each whole quarter of an hour that the local clock shows, both of two equal ones, but not the end.
    hours: those of them that are whole hours.  end: what the end is called where not by its clock, as "24:00"
    """

    def __init__(self, start: datetime, stop: datetime, end: str = "") -> None:
        aware("start", start)
        aware("stop", stop)
        self.start, self.stop, self.zone, self.end = start, stop, start.tzinfo, end
        self._from, self._to = start.timestamp(), stop.timestamp()
        within("stop", (self._to - self._from) / 3600, HOURS_FEWEST, HOURS_MOST, noted("hours after the start"))
        quarter = timedelta(minutes=15)  # clocks change by whole quarters
        first = start.astimezone(UTC)
        past = timedelta(minutes=start.minute % 15, seconds=start.second, microseconds=start.microsecond)
        first += quarter - past if past else past
        count = math.ceil((self._to - first.timestamp()) / quarter.total_seconds())
        self.quarters = tuple(self.local(first + number * quarter) for number in range(count))
        self.hours = tuple(each for each in self.quarters if each.minute == each.second == 0)
        self._said: dict[float, str] = {}

    def has(self, at: datetime) -> bool:
        """Whether it is on the axis, its ends included."""
        return self._from <= at.timestamp() <= self._to

    def along(self, at: datetime) -> float:
        """[percent of the axis], to a hundredth."""
        return round(self.exactly(at.timestamp()), 2)

    def exactly(self, moment: float) -> float:
        """[percent of the axis], of seconds as `moment_of` has them."""
        return 100 * (moment - self._from) / (self._to - self._from)

    def local(self, at: datetime) -> datetime:
        """The same moment by the local clock."""
        return at.astimezone(self.zone)

    def twice(self, at: datetime) -> bool:
        """Whether the local clock shows this time twice."""
        return is_twice(self.local(at))

    def clock(self, at: datetime) -> str:
        """The time by the local clock: of two equal hours each with its own zone, the end as it is called."""
        if self.end and at.timestamp() == self._to:
            return self.end
        return clock_words(self.local(at))

    def nearest(self, at: datetime) -> str:
        """The same to the nearest minute."""
        minute = 60 * round(at.timestamp() / 60)
        if minute not in self._said:
            self._said[minute] = self.clock(datetime.fromtimestamp(minute, UTC))
        return self._said[minute]


# Labels on posts.


@dataclass(frozen=True, slots=True)
class Label:
    """Words and a time beside a post. x [percent of the axis];  morning: it likes to stand right of its post"""

    x: float
    words: str
    time: str
    morning: bool


def placed(labels: Sequence[Label], plot: float, y: float) -> list[Text]:
    """
    Labels in a row of the head, each on the side of its line that has room, the day's own side if it may.

    plot  [px] the axis's width. Words go first where there is too little room, the last labels next.
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
    labels: Sequence[Label], texts: Sequence[str], rightward: Sequence[bool], plot: float, y: float
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


def both(narrow: Sequence[Text], wide: Sequence[Text]) -> list[Text]:
    """Labels of two widths as one list: what both have stands there once."""
    same = set(narrow) & set(wide)
    return [
        *(text for text in narrow if text in same),
        *(_only(text, "narrow") for text in narrow if text not in same),
        *(_only(text, "wide") for text in wide if text not in same),
    ]


def _only(text: Text, width: Width) -> Text:
    return Text(text.text, text.x, text.y, text.anchor, text.dx, width)


def only_on(widths: set[Width]) -> Width:
    """Some of WIDTHS, at least one, as one word."""
    return "" if len(widths) == len(WIDTHS) else min(widths)


# The EV scale.


@dataclass(frozen=True, slots=True)
class Scale:
    """From bottom to top [stops] over so many px, the first of them at y = above."""

    bottom: float
    top: float
    high: float
    above: float = ABOVE

    @classmethod
    def of(cls, lows: Sequence[float], highs: Sequence[float], high: float, above: float = ABOVE) -> Scale:
        """Whole stops around all of these [stops], and nothing under the floor."""
        top = max(math.ceil(max(highs, default=0.0) + 0.25), FLOOR + EV_SPAN_LEAST)
        bottom = max(math.floor(min(lows, default=0.0) - 0.25), FLOOR)
        if top - bottom < EV_SPAN_LEAST:
            bottom = max(bottom - (EV_SPAN_LEAST - (top - bottom)) // 2, FLOOR)
            top = max(top, bottom + EV_SPAN_LEAST)
        return cls(float(bottom), float(top), high, above)

    @property
    def px_per_stop(self) -> float:
        """How far apart two whole EV are."""
        return self.high / (self.top - self.bottom)

    @property
    def foot(self) -> float:
        """[px] where the scale ends."""
        return self.above + self.high

    def y(self, ev: float) -> float:
        """[px] down; at the foot for all that is darker than the bottom."""
        return self.above + (self.top - max(ev, self.bottom)) * self.px_per_stop

    def steps(self) -> list[int]:
        """The EV that have a line: every second, or every fifth where those would crowd."""
        step = next((each for each in (2, 5) if each * self.px_per_stop >= STEP_HIGH), 10)
        return [ev for ev in range(math.ceil(self.bottom), math.floor(self.top) + 1) if ev % step == 0]

    def texts(self) -> tuple[Text, ...]:
        """The figures left of the steps, the unit with the topmost."""
        steps = self.steps()
        return tuple(
            Text(f"{'EV ' if ev == steps[-1] else ''}{minus(ev, 'd')}", 0.0, tenth(self.y(ev) + 4), "end", -6.0)
            for ev in steps
        )

    def gridlines(self) -> str:
        """`d` of a path: a line across for each step."""
        return "".join(f"M0 {coordinate(self.y(ev))}H100" for ev in self.steps())


# Curves.


def check_curve(
    times: tuple[datetime, ...], ev100: Sequence[float], low: Sequence[float], high: Sequence[float]
) -> None:
    """Raises OutOfRange unless there are no times, or two at least in order, each with a level in its band [stops]."""
    if len(times) == 1 or len(times) > TIMES_MOST:
        raise OutOfRange(
            "times", say("{count} times", count=len(times)), say("none, or 2 to {most} times", most=TIMES_MOST)
        )
    for name, values in (("ev100", ev100), ("low", low), ("high", high)):
        if len(values) != len(times):
            raise OutOfRange(
                name, say("{count} figures", count=len(values)), say("{count}, one for each time", count=len(times))
            )
        for value in values:
            check_drifted(name, value)
    for least, level, most in zip(low, ev100, high, strict=True):
        if not least - 1e-6 <= level <= most + 1e-6:
            raise OutOfRange(
                "ev100", level, say("{least} to {most}, the band around it", least=f"{least:g}", most=f"{most:g}")
            )
    moments(times)


def check_drifted(name: str, ev100: float) -> None:
    """Raises OutOfRange for a level [stops] that no reading drifts to."""
    within(name, ev100, EV100_DIMMEST - DRIFT_MOST, EV100_BRIGHTEST + DRIFT_MOST, "stops")


def crossed(at: Sequence[float], values: Sequence[float]) -> list[Point]:
    """A curve's points, with one more wherever it crosses the floor in between."""
    points = list(zip(at, values, strict=True))
    if not points or min(values) >= FLOOR or max(values) <= FLOOR:
        return points
    found = points[:1]
    for (x0, ev0), (x, ev) in pairwise(points):
        if (ev0 - FLOOR) * (ev - FLOOR) < 0:
            found.append((x0 + (FLOOR - ev0) / (ev - ev0) * (x - x0), FLOOR))
        found.append((x, ev))
    return found


def above_and_dark(points: Sequence[Point]) -> list[tuple[list[Point], bool]]:
    """A curve in pieces, each with whether it lies under the floor; where it crosses, both pieces have the point."""
    are_dark = [before[1] < FLOOR or after[1] < FLOOR for before, after in pairwise(points)]
    turns = [number for number, (before, after) in enumerate(pairwise(are_dark), 1) if before != after]
    edges = [0, *turns, len(are_dark)] if are_dark else []
    return [(list(points[first : last + 1]), are_dark[first]) for first, last in pairwise(edges)]


def band(at: Sequence[float], low: Sequence[float], high: Sequence[float], scale: Scale) -> str:
    """What the sky may make of the light, as a closed path; none where that is nothing, or under the floor."""
    if all(most - least < 0.05 or most <= FLOOR for least, most in zip(low, high, strict=True)):
        return ""
    edges = [drawn(crossed(at, values), scale) for values in (high, low)]
    return f"{path([*edges[0], *reversed(edges[1])])}Z"


def drawn(points: Sequence[Point], scale: Scale) -> list[Point]:
    """Points of a curve [EV] as the picture has them: scaled, thinned, rounded."""
    above, top, bottom, per_stop = scale.above, scale.top, scale.bottom, scale.px_per_stop
    scaled = [(x, above + (top - max(ev, bottom)) * per_stop) for x, ev in points]  # `Scale.y`, a thousand times
    tolerance = TOLERANCE
    while len(thin := thinned(scaled, tolerance)) > POINTS_MOST:
        tolerance *= 2
    return [(round(x, 2), tenth(y)) for x, y in thin]


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
    many = np.array(points) if len(points) > ARRAYS_FROM else None
    while left:
        first, last = left.pop()
        (x0, y0), (x1, y1) = points[first], points[last]
        slope = (y1 - y0) / (x1 - x0) if x1 > x0 else 0.0
        if many is not None and last - first > ARRAYS_FROM:
            along, down = many[first + 1 : last].T
            distances = np.abs(down - y0 - slope * (along - x0))
            farthest = int(distances.argmax())
            worst = float(distances[farthest])
        else:
            off = [abs(y - y0 - slope * (x - x0)) for x, y in points[first + 1 : last]]
            worst = max(off, default=0.0)
            farthest = off.index(worst) if off else 0
        if worst > tolerance:
            split = first + 1 + farthest
            kept.add(split)
            left += [(first, split), (split, last)]
    return [points[number] for number in sorted(kept)]


def value_at(moment: float, times: Sequence[float], values: Sequence[float]) -> float | None:
    """The value at a time, in between on a straight line; None outside."""
    after = bisect_left(times, moment)
    if not values or after == len(times) or (after == 0 and times[0] != moment):
        return None
    if times[after] == moment:
        return values[after]
    share = (moment - times[after - 1]) / (times[after] - times[after - 1])
    return values[after - 1] + share * (values[after] - values[after - 1])


# Lanes of boxes.


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of a lane, as much of it as is inside the picture, and what is written in it."""

    span: Span
    said: str


@dataclass(frozen=True, slots=True)
class Letters:
    """
    A letter for each kind of run that does not fit its box somewhere: what it stands for, its letter, and where it is
    shown. slivers: the widths on which a run has not even room for its letter.
    """

    letter: dict[str, str] = field(default_factory=dict)
    shown: dict[str, set[Width]] = field(default_factory=dict)
    slivers: set[Width] = field(default_factory=set)

    @classmethod
    def of(cls, runs: Iterable[Run]) -> Letters:
        """Phone first, so that its letters have no gaps."""
        made, all_runs = cls(), tuple(runs)
        for width in WIDTHS:
            for run in all_runs:
                letter = made.letter.get(run.said) or letters_of(len(made.letter))
                if _fits_in(run, run.said, width):
                    continue
                if not _fits_in(run, letter, width):
                    made.slivers.add(width)
                    continue
                made.letter[run.said] = letter
                made.shown.setdefault(run.said, set()).add(width)
        return made

    def written(self, run: Run, top: float) -> list[Text]:
        """What stands in a run of the lane from y = top: its words, its letter, or nothing."""
        y, middle = tenth(top + 14.5), round(run.span.x + run.span.width / 2, 2)
        letter = self.letter.get(run.said, "")
        words = [next((text for text in (run.said, letter) if _fits_in(run, text, width)), "") for width in WIDTHS]
        return both(*([Text(word, middle, y)] if word else [] for word in words))

    def keyed(self) -> tuple[Keyed, ...]:
        """What the key says of the letters, in their order."""
        return tuple(Keyed(letter, said, only_on(self.shown[said])) for said, letter in self.letter.items())


def _fits_in(run: Run, text: str, width: Width) -> bool:
    return text_width(text) + (2 if len(text) < 3 else 6) <= run.span.width / 100 * PLOTS[WIDTHS.index(width)]


def box(span: Span, top: float) -> str:
    """`d` of a path around a run of the lane from y = top."""
    x, to = coordinate(span.x), coordinate(round(span.x + span.width, 2))
    return f"M{x} {coordinate(top)}H{to}V{coordinate(top + LANE_HIGH)}H{x}z"


# Letters.

_WIDTHS_OF_LETTERS = (
    (0.3, "ijlI"),
    (0.34, " .,:;'|·"),
    (0.42, "frt!()[]-/J"),
    (0.6, "ckszvxy*"),
    (0.63, "ae"),
    (0.72, "ABEFKLPRSTVXYZ"),
    (0.8, "CDGHNOQU"),
    (1.0, "mwMW"),
)  # ems of DejaVu Sans, which is wider than most fonts of a system; figures and the other small letters have 0.64


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


# Small things.


def path(points: Sequence[Point]) -> str:
    """`d` of a path through the points."""
    return "M" + "L".join(f"{coordinate(x)} {coordinate(y)}" for x, y in points)


def level_path(x: float, to: float, y: float) -> str:
    """`d` of a path straight across."""
    return f"M{coordinate(x)} {coordinate(y)}H{coordinate(to)}"


def posts(at: Iterable[float], top: float, foot: float) -> str:
    """`d` of a path: a line down at each x."""
    return "".join(f"M{coordinate(x)} {coordinate(top)}V{coordinate(foot)}" for x in at)


def coordinate(value: float) -> str:
    """
    A coordinate without zeros that say nothing.

    >>> coordinate(12.0), coordinate(0.25)
    ('12', '0.25')
    """
    return f"{value:.2f}".rstrip("0").rstrip(".")


def tenth(value: float) -> float:
    """[px] as precise as a picture needs it."""
    return round(value, 1)


def moment_of(at: datetime) -> float:
    """A moment as seconds: of two times of one zone, the later is the larger, whatever its clock shows."""
    return at.timestamp()


def aware(field: str, at: datetime) -> None:
    """Raises OutOfRange for a time without its offset."""
    if at.tzinfo is None:
        raise OutOfRange(field, at.isoformat(), say("a time with its offset from UTC"))


@lru_cache(maxsize=8)
def moments(times: tuple[datetime, ...]) -> tuple[float, ...]:
    """Times as seconds, refused where they are not in order; remembered, since a venue's curves share theirs."""
    for time in times:
        aware("times", time)
    found = tuple(map(moment_of, times))
    for number, (before, after) in enumerate(pairwise(found), 1):
        if not before < after:
            raise OutOfRange("times", times[number].isoformat(), say("times in order, none of them twice"))
    return found
