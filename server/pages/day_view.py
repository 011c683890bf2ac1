"""All that the day page and its fragments may draw. One view for both, so they cannot disagree."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING

from server.book.log import rig_data
from server.book.order import clock_words
from server.book.plans import next_planned
from server.book.tables import NAME_LONGEST
from server.exposure import wording
from server.exposure.cautions import cautions, flicker_caution, place_cautions
from server.exposure.depth import Focus, blur_ratio, depth
from server.exposure.glass import why_not_alone
from server.exposure.moves import best_moves, cannot_wear
from server.exposure.scales import (
    STEPLESS,
    aperture_position,
    exact_f_number,
    f_number_at,
    marked_f_number,
    marked_shutter,
)
from server.exposure.sun import sun_height
from server.language import listed, say, say_many

from .phone_state import pocket_mark, state_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime

    from server.book.days import Day, DayPlace, LitStop
    from server.book.kits import Carried
    from server.book.order import Stop
    from server.exposure.daylight import Sky
    from server.exposure.moves import Answers, Move
    from server.exposure.rig import Kit, Look, Rig
    from server.exposure.scales import ClicksPerStop
    from server.exposure.sun import Site
    from server.exposure.trust import Level
    from server.exposure.wording import Told

BAR_LOW, BAR_HIGH = 5, 20  # heights of the first and the last bar, in the picture's own units


@dataclass(frozen=True, slots=True)
class Bar:
    """One click of the iris, drawn."""

    x: float
    height: float


@dataclass(frozen=True, slots=True)
class Bars:
    """The clicks to count: one bar a click, in groups of a stop, rising to open and falling to close."""

    width: float
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """
    One answer on a row: what to say, the clicks to count, and what a tap sends.

    rig   what is on the camera then
    blur  the background blur it gives, as a share of what there is now; None where the iris stays
    sharp  the near and far limit [m] of what is sharp, where the distance is known;  cautions  what to look out for
    """

    told: Told
    rig: Rig
    bars: Bars | None
    tap: str
    blur: float | None
    sharp: tuple[float, float | None] | None
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ahead:
    """
    A stop of the running order that comes at a place.

    clock, wait  when, and how long until then in words
    lens         the number and name of a lens to put on first, None where it is on
    between      what else the order has before it, at no place of the day
    """

    stop: Stop
    clock: str
    wait: str
    lens: tuple[int, str] | None
    between: tuple[Stop, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """
    A place with its light at the moment, and its answer. fast is there only where it saves touching the glass.

    cannot  why the look cannot be worn at this place with this lens, where it cannot
    ahead   the stop that it is answered for, where the running order comes by
    plan    what the plan would have instead, which looks further ahead, where that is another rig
    """

    place: DayPlace
    level: Level | None
    clean: Answer | None
    fast: Answer | None
    saves: str
    cannot: str = ""
    ahead: Ahead | None = None
    plan: Answer | None = None


@dataclass(frozen=True, slots=True)
class Tick:
    """A place on the iris scale: x, and a label at whole stops."""

    x: float
    label: str


@dataclass(frozen=True, slots=True)
class Picture:
    """The rig, drawn: the glass in its slots and a plain scale. Labels of filters; an empty one is an empty slot."""

    mounted: bool
    holder: bool
    slots: tuple[str, ...]
    grads: tuple[bool, ...]
    front: str
    rings: tuple[str, ...]
    built_in: str
    ticks: tuple[Tick, ...]
    at: float
    look_from: float
    look_to: float


@dataclass(frozen=True, slots=True)
class Offer:
    """A nudge at one place that the others under its sky may share: how many they are, and the clicks."""

    place: int
    clicks: int
    others: int

    @property
    def words(self) -> str:
        """What the light did."""
        return light_words(self.clicks)


@dataclass(frozen=True, slots=True)
class DayView:
    """
    The whole day page.

    moment  when its light is used;  has_come  whether that is now;  has_gone  or before now
    sky     as it was last said to stand;  offer  the nudge that other places under this sky may share
    under_sky  whether daylight reaches any place
    shifts     the stop from which on everything may come later;  between  the last ones, at no place of the day
    missed     the stops that were passed over, answered for as if they came now;  lost  those at no place of the day
    clip       the name that the next clip would have
    phone      what the phone goes on from, as JSON;  pocket  the mark of the pocket that goes with it
    """

    day: Day
    moment: datetime
    has_come: bool
    has_gone: bool
    sky: Sky | None
    offer: Offer | None
    under_sky: bool
    here: Row | None
    rows: tuple[Row, ...]
    picture: Picture
    rig: str
    glass: str
    undoes: str
    shifts: Stop | None
    between: tuple[Stop, ...]
    missed: tuple[Row, ...]
    lost: tuple[Stop, ...]
    clip: str
    phone: str
    pocket: str
    cautions: tuple[str, ...] = ()
    said: str = ""
    wrong: str = ""


def day_view(day: Day, now: datetime, said: str = "", wrong: str = "") -> DayView:
    """The view of a day: every place answered from the rig that is on the camera, in the light of the moment."""
    here, rig, moment = day.here, day.rig, day.moment(now)
    sun = sun_at(day.site, moment)
    ahead = day.lit_stops(day.ahead(now), day.used.lens, now)
    coming = first_at_each_place(ahead)
    passed = day.lit_stops(day.missed(now), day.used.lens, now)
    missed = [each for each in passed if each.place is not None]
    comes = {each.place.number for each in coming if each.place is not None}
    lit = {each.place.number: Asked(each.place, each.level, Around(day.mains, sun)) for each in day.lit(now)}
    standing = [] if here is None else [(day.used.lens, replace(lit[here.number], place=here))]
    others = [(day.used.lens, lit[place.number]) for place in _onward(day) if place.number not in comes]
    stops = [(each.lens, _asked(day, each, each.place)) for each in (*coming, *missed) if each.place is not None]
    rows = iter(_answered(day, [*standing, *stops, *others]))
    here_row = next(rows) if standing else None
    coming_rows = [_row_ahead(day, each, next(rows), now, between) for each, between in _with_between(ahead, coming)]
    missed_rows = [_row_ahead(day, each, next(rows), now, ()) for each in missed]
    if coming_rows:
        coming_rows[0] = _with_plan(day, coming_rows[0], coming[0], ahead, now)
    last = max((n for n, each in enumerate(ahead) if each.place is not None), default=-1)
    focal = day.used.focal(long_end=False) if here is None else here.focal(day.used)
    return DayView(
        day=day,
        moment=moment,
        has_come=day.has_come(now),
        has_gone=moment < now,
        sky=day.sky(now),
        offer=offer(day),
        under_sky=any(place.spot.drifts for place in day.places),
        here=here_row,
        rows=(*coming_rows, *rows),
        picture=picture(day.kit, rig, None if here is None else here.look),
        rig=" · ".join((wording.f_number(rig.aperture), marked_shutter(rig.shutter), wording.iso(rig.iso))),
        glass=wording.on_the_lens(day.kit, rig),
        undoes=day.state.last.id if day.state.last is not None else "",
        shifts=ahead[0].stop if ahead else None,
        between=tuple(each.stop for each in ahead[last + 1 :]),
        missed=tuple(missed_rows),
        lost=tuple(each.stop for each in passed if each.place is None),
        clip=next_clip(day.state.clip),
        phone=json.dumps(state_of(day, now), separators=(",", ":")),
        pocket=pocket_mark(day, now),
        cautions=(
            *cautions(day.kit, rig, day.used.sight(focal)),
            *(() if here is None else _here_cautions(day, here, sun)),
        ),
        said=said,
        wrong=wrong,
    )


def _onward(day: Day) -> tuple[DayPlace, ...]:
    """Every other place, the next one in the day's list first."""
    at = next((n for n, place in enumerate(day.places) if place.number == day.state.here), -1)
    return (*day.places[at + 1 :], *day.places[: max(at, 0)])


def first_at_each_place(ahead: Sequence[LitStop]) -> list[LitStop]:
    """Of the stops to come, what each place is next for."""
    known: dict[int, LitStop] = {}
    for each in ahead:
        if each.place is not None:
            known.setdefault(each.place.number, each)
    return list(known.values())


def _with_between(
    ahead: Sequence[LitStop], coming: Sequence[LitStop]
) -> Iterator[tuple[LitStop, tuple[Stop, ...]]]:  # fmt: skip
    """The stops that have rows, each with those before it that are at no place of the day."""
    between: list[Stop] = []
    rows = {each.stop.number for each in coming}
    for each in ahead:
        if each.place is None:
            between.append(each.stop)
        elif each.stop.number in rows:
            yield each, tuple(between)
            between = []


def _asked(day: Day, lit: LitStop, place: DayPlace) -> Asked:
    return Asked(place, lit.level, Around(day.mains, sun_at(day.site, lit.moment)))


def _answered(day: Day, asked: Sequence[tuple[int, Asked]]) -> list[Row]:
    """The row of each of these, with its lens: another one than is on is put on first."""
    found: dict[int, Row] = {}
    for lens in dict.fromkeys(lens for lens, _ in asked):
        numbers = [number for number, (its, _) in enumerate(asked) if its == lens]
        its_asked = tuple(asked[number][1] for number in numbers)
        found |= zip(numbers, answered(day.used_with(lens), day.rig_with(lens), its_asked), strict=True)
    return [found[number] for number in range(len(asked))]


def _row_ahead(day: Day, lit: LitStop, row: Row, now: datetime, between: tuple[Stop, ...]) -> Row:
    """A row with the stop that it is answered for."""
    wait = wait_words(lit.stop.at - now) if day.has_come(now) else ""
    lens = None if lit.lens == day.used.lens else (lit.lens, dict(day.used.lenses)[lit.lens])
    return replace(row, ahead=Ahead(lit.stop, clock_words(lit.stop.at), wait, lens, between))


def _with_plan(day: Day, row: Row, lit: LitStop, ahead: Sequence[LitStop], now: datetime) -> Row:
    """
    The next stop's row with what the plan has for it, where that is not what the row says.

    A row that is answered is that of the first stop that can be planned.
    """
    if row.clean is None:
        return row
    move = next_planned(day, ahead, now)
    if move is None or move.rig == row.clean.rig:
        return row
    around = Around(day.mains, sun_at(day.site, lit.moment))
    told = told_answer(day.used_with(lit.lens), day.rig_with(lit.lens), row.place, move, "other", around)
    return replace(row, plan=told)


def wait_words(wait: timedelta) -> str:
    """
    How long until something comes, in words.

    >>> wait_words(timedelta(minutes=25)), wait_words(timedelta(hours=1, minutes=5)), wait_words(timedelta(minutes=-8))
    ('in 25 minutes', 'in 1 hour 5 minutes', '8 minutes late')
    """
    minutes = round(wait / timedelta(minutes=1))
    if minutes == 0:
        return say("now")
    hours, rest = divmod(abs(minutes), 60)
    parts = [say_many("{count} hour", "{count} hours", hours)] if hours else []
    parts += [say_many("{count} minute", "{count} minutes", rest)] if rest else []
    time = " ".join(parts)
    return say("in {time}", time=time) if minutes > 0 else say("{time} late", time=time)


def next_clip(last: str) -> str:
    """
    What the next clip would be called: the last one's name, its number counted up.

    >>> next_clip("C0099"), next_clip("take"), next_clip("")
    ('C0100', 'take 2', 'Clip 1')
    """
    if not last:
        return say("Clip 1")
    number = re.search(r"\d+$", last, re.ASCII)
    if number is None:
        return f"{last} 2"[-NAME_LONGEST:]
    return f"{last[: number.start()]}{int(number[0]) + 1:0{len(number[0])}}"[-NAME_LONGEST:]


def _here_cautions(day: Day, here: DayPlace, sun: float | None) -> tuple[str, ...]:
    """What to look out for where the shooter stands, with what is on the camera."""
    mains = day.mains if here.spot.under_lamps else None
    return (*flicker_caution(day.rig.shutter, mains), *place_cautions(here.spot, sun, lasers=here.lasers))


def offer(day: Day) -> Offer | None:
    """The nudges just made at a place under the sky, for the others there; None where there is nothing to share."""
    if day.state.turned is None:
        return None
    place, clicks = day.state.turned
    others = shares_sky(day, place)
    return Offer(place, clicks, len(others)) if clicks and others else None


def light_words(clicks: int) -> str:
    """
    What the light did, in clicks of a third of a stop.

    >>> light_words(-2)
    'Light fell 2 clicks'
    """
    turn = wording.turn_words(abs(clicks), 3)
    return say("Light rose {turn}", turn=turn) if clicks > 0 else say("Light fell {turn}", turn=turn)


def shares_sky(day: Day, place: int) -> list[int]:
    """The other places that daylight reaches and that have a reading, by number; none where it does not reach this."""
    under = [place.number for place in day.places if place.spot.drifts and place.light is not None]
    return [each for each in under if each != place] if place in under else []


def sun_at(site: Site | None, moment: datetime) -> float | None:
    """The sun's elevation [degrees]; None where the venue's coordinates are not known."""
    return None if site is None else sun_height(site, moment.astimezone(UTC))


@dataclass(frozen=True, slots=True)
class Around:
    """What stands around every answer: the mains [Hz] of the lamps, and the sun's elevation [degrees], if known."""

    mains: int | None
    sun: float | None


@dataclass(frozen=True, slots=True)
class Asked:
    """A place to be answered for, with the light there when it is used; None where nobody has read it."""

    place: DayPlace
    level: Level | None
    around: Around


@lru_cache(maxsize=64)
def answered(used: Carried, rig: Rig, asked: tuple[Asked, ...]) -> tuple[Row, ...]:
    """
    The row of each of these, answered from the rig that is on the camera.

    Remembered, since a page that is loaded again, or by the second phone, asks the same of the same values.
    """
    cannot = {each.place.look: cannot_wear(used.kit, each.place.look.worn) for each in asked}
    questions = [
        (each.level.light, each.place.look) for each in asked if each.level is not None and not cannot[each.place.look]
    ]
    moves = iter(best_moves(used.kit, rig, questions))
    return tuple(
        _row(used, rig, each, None if each.level is None or cannot[each.place.look] else next(moves), cannot)
        for each in asked
    )


def _row(used: Carried, rig: Rig, asked: Asked, answers: Answers | None, cannot: Mapping[Look, str]) -> Row:
    place, around = asked.place, asked.around
    if answers is None:
        return Row(place, asked.level, None, None, "", cannot[place.look])
    clean, fast, worth_it = answers.clean, answers.fast, answers.worth_rushing
    return Row(
        place,
        asked.level,
        told_answer(used, rig, place, clean, "clean", around),
        told_answer(used, rig, place, fast, "fast", around) if worth_it else None,
        f"{answers.saved:.0f} s" if worth_it else "",
    )


def told_answer(used: Carried, now: Rig, place: DayPlace, move: Move, answer: str, around: Around) -> Answer:
    """An answer as it is drawn and tapped."""
    mains = around.mains if place.spot.under_lamps else None
    kit, clicks = used.kit, used.kit.body.clicks_per_stop
    said = wording.told(kit, move)
    sent = json.dumps({"answer": answer, "rig": rig_data(move.rig)}, separators=(",", ":"))
    return Answer(
        said,
        move.rig,
        click_bars(said.turn.clicks, clicks, opens=said.turn.way == "open") if clicks != STEPLESS else None,
        sent,
        blur=None if said.turn.way == "stay" else blur_ratio(now.aperture, move.rig.aperture, clicks),
        sharp=_sharp(used, place, move.rig),
        cautions=(
            *cautions(kit, move.rig, used.sight(place.focal(used))),
            *flicker_caution(move.rig.shutter, mains),
            *place_cautions(place.spot, around.sun, lasers=place.lasers, ahead=True),
        ),
    )


def _sharp(used: Carried, place: DayPlace, rig: Rig) -> tuple[float, float | None] | None:
    """The near and far limit [m] of what is sharp at a place, where the sensor, the lens and the distance are known."""
    focal = place.focal(used)
    if used.sensor is None or focal is None or place.distance_m is None or place.distance_m * 1000 <= focal:
        return None
    exact = exact_f_number(rig.aperture, used.kit.body.clicks_per_stop)
    limits = depth(Focus(focal, exact, place.distance_m, used.sensor.circle_mm))
    return limits.near_m, limits.far_m


def lens_words(before: Kit, after: Kit, was: Rig, rig: Rig) -> str:
    """What a change of lens did to the glass: what came off with the old lens, and the part that is missing."""
    names = wording.labels(before.filters)
    off = [f for f in was.on_lens if f not in rig.on_lens]
    if not off:
        return say("Lens changed; the glass stays.")
    missing = why_not_alone(before.filter(off[0]), after.holder, after.lens.thread, after.step_ups)
    glass = listed([names[f] for f in off])
    if missing:
        return say("Lens changed; {glass} came off: {why}.", glass=glass, why=missing)
    return say("Lens changed; {glass} came off.", glass=glass)


def click_bars(count: int, clicks: ClicksPerStop, *, opens: bool) -> Bars | None:
    """A turn of the iris as bars; None where it stays."""
    if not count:
        return None
    step = (BAR_HIGH - BAR_LOW) / max(count - 1, 1)
    heights = [BAR_HIGH if count == 1 else BAR_LOW + step * n for n in range(count)]
    if not opens:
        heights.reverse()
    bars = tuple(Bar(8 * n + 6 * (n // clicks), round(height, 1)) for n, height in enumerate(heights))
    return Bars(bars[-1].x + 5, bars)


def picture(kit: Kit, rig: Rig, look: Look | None) -> Picture:
    """The rig as it is drawn; the scale runs from 0 (the lens's widest) to 100 (its smallest)."""
    clicks = kit.body.clicks_per_stop
    first, last = kit.irises()[0], kit.irises()[-1]
    span = max(last - first, 1)

    def along(position: int) -> float:
        return round(100 * (min(max(position, first), last) - first) / span, 2)

    def label(position: int) -> str:
        if position % clicks:
            return ""
        return f"{round(marked_f_number(position, clicks) if clicks in (2, 3) else f_number_at(position, clicks), 1):g}"

    shown = kit.irises() if clicks != STEPLESS else [p for p in kit.irises() if p % STEPLESS == 0]
    empty = 0 if kit.holder is None else kit.holder.slots - len(rig.slots)
    ends = (
        (first, first) if look is None else tuple(aperture_position(n, clicks) for n in (look.widest, look.narrowest))
    )
    return Picture(
        mounted=rig.holder_on,
        holder=kit.holder is not None,
        slots=(*(wording.mark(kit.filter(f)) for f in rig.slots), *("" for _ in range(empty))),
        grads=tuple(kit.filter(f).kind == "grad" for f in rig.slots),
        front="" if rig.front is None else wording.mark(kit.filter(rig.front)),
        rings=tuple(wording.mark(kit.filter(f)) for f in rig.threads),
        built_in=wording.stops_of(rig.built_in) if rig.built_in else "",
        ticks=tuple(Tick(along(position), label(position)) for position in shown),
        at=along(aperture_position(rig.aperture, clicks)),
        look_from=along(ends[0]),
        look_to=along(ends[1]),
    )
