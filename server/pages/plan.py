"""The day plan: the running order in its light, what is on the lens at each stop, the bag; at the desk and on paper."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Annotated

from fastapi import Request, Response
from pydantic import BeforeValidator

from server.book.days import open_day, read_of
from server.book.order import clock_words, instant, later
from server.book.plans import plan_of, touches_glass
from server.book.report import report_of
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import sun, wording
from server.exposure.packing import pieces_for
from server.exposure.refused import OutOfRange
from server.exposure.scales import marked_shutter
from server.exposure.trust import courses
from server.language import decimal, goes_on, listed, say

from .day_tools import piece_name
from .drawing import draw, zone
from .forms import Form, text
from .numbers import Number as RowNumber
from .plan_picture import At, Line, PlanPicture, plan_picture

if TYPE_CHECKING:
    from collections.abc import Sequence

    from server.book.days import Day
    from server.book.plans import Plan, Planned, Ready
    from server.book.report import Line as ReportLine
    from server.book.report import Report
    from server.exposure.moves import Move
    from server.exposure.packing import Piece
    from server.exposure.rig import Kit, Rig
    from server.exposure.wording import Told


router = door_router()

AROUND = 30  # min, drawn before the first stop and after the last
LASTS = 15  # min, of the last stop where nobody said how long it lasts
STEP = timedelta(minutes=5)


@dataclass(frozen=True, slots=True)
class PlanLine:
    """
    A stop of the plan in words.

    number  its place in the running order;  clock, planned  when it comes, and when it was meant to where that differs
    gap     the time before it;  light, span  the level, and what the sky may make of it
    told    what the hand does on arriving;  rig, glass  what is on the camera then
    ready   what another sky would ask, and what to have in the hand
    off     how far the iris is outside the look, where it is;  why  why it is not planned
    """

    number: int
    clock: str
    planned: str
    name: str
    place: str
    gap: str
    light: str
    span: str
    lens: str
    told: Told | None
    rig: str
    glass: str
    ready: str
    notes: str
    off: str
    why: str


@dataclass(frozen=True, slots=True)
class DoneLine:
    """A stop that was gone to: when it was planned, when it was done, and what was really on the camera."""

    number: int
    planned: str
    done: str
    name: str
    place: str
    rig: str
    glass: str


@dataclass(frozen=True, slots=True)
class Cost:
    """
    What a day asks of the hands.

    touches  how many stops have glass to touch on arriving;  seconds  of the hands, hurried those of them in a rush
    effort   [s]  what the plan makes small: hand seconds as often as each gap counts them, and the iris off its wish
    """

    touches: int
    seconds: float
    hurried: float
    effort: float


@dataclass(frozen=True, slots=True)
class PlanView:
    """
    The whole plan page.

    whole      whether the day is planned from its start;  starts  what is on the camera before it
    begun      whether anything was moved;  from_here  whether the plan from here on is another one
    missed  the stops that were passed over;  skies  how often glass is touched if the light is the most it may be all
    day, and the least;  packed  what the plan uses, and what it is for
    refused  why it cannot be planned;  ahead, by_stop  what the plan asks of the hands, and what taking each stop as it
    comes would; None where nothing is planned
    """

    whole: bool
    begun: bool
    from_here: bool
    starts: str
    lens: str
    lines: tuple[PlanLine, ...]
    done: tuple[DoneLine, ...]
    missed: tuple[str, ...]
    picture: PlanPicture | None
    ahead: Cost | None
    by_stop: Cost | None
    skies: tuple[int, int] | None
    packed: tuple[tuple[str, str], ...]
    refused: OutOfRange | None


class AskedPlan(Form):
    """Whether the plan is that of the whole day."""

    whole: Annotated[bool, BeforeValidator(lambda came: text(came) == "1")] = False


@router.get("/days/{day_id}/plan")
def show_plan(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The plan that touches the least glass, drawn and as a table, with the packing list."""
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
        report = report_of(session, visitor.crew, day)
    view = plan_view(day, report, datetime.now(UTC), whole=_asks_for_whole(request))
    return draw(request, "plan/page.html", day=day, view=view)


@router.get("/days/{day_id}/card")
def show_card(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """Its lines on a card for the pocket, an A6 sheet."""
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    whole, plan, refused = _planned(day, datetime.now(UTC), whole=_asks_for_whole(request))
    lines = () if plan is None else _lines(day, plan)
    return draw(request, "plan/card.html", day=day, starts=_starts(day, whole=whole), lines=lines, refused=refused)


def _asks_for_whole(request: Request) -> bool:
    asked, _ = AskedPlan.read(request.query_params)
    return asked is not None and asked.whole


def _planned(day: Day, now: datetime, *, whole: bool) -> tuple[bool, Plan | None, OutOfRange | None]:
    """Whether the plan is that of the whole day, which it is until the day begins; the plan, or why there is none."""
    whole = whole or not (day.state.began is not None or day.has_come(now))
    try:
        return whole, plan_of(day, now, whole=whole), None
    except OutOfRange as refused:
        return whole, None, refused


def _starts(day: Day, *, whole: bool) -> str:
    rig, used = (day.began, day.began_used) if whole else (day.rig, day.used)
    return f"{_rig(rig)}, {wording.on_the_lens(used.kit, rig)}"


def plan_view(day: Day, report: Report, now: datetime, *, whole: bool) -> PlanView:
    """The view of a day's plan: of what is still to come, or of the whole day from its start."""
    begun = day.state.began is not None
    whole, plan, refused = _planned(day, now, whole=whole)
    used = day.began_used if whole else day.used
    picture = None
    if plan is not None and day.order:
        with contextlib.suppress(OutOfRange):  # an order that days of shifts have torn apart has its table yet
            picture = _picture(day, plan, report, now)
    return PlanView(
        whole=whole,
        begun=begun,
        from_here=begun or day.has_come(now),
        starts=_starts(day, whole=whole),
        lens=dict(used.lenses)[used.lens],
        lines=() if plan is None else _lines(day, plan),
        done=_done(day, report),
        missed=tuple(f"{clock_words(stop.at)} {stop.name}" for stop in day.missed(now)),
        picture=picture,
        ahead=None if plan is None or plan.score is None else _cost(plan, plan.moves, plan.score.effort),
        by_stop=None
        if plan is None or plan.score is None
        else _cost(plan, plan.stop_by_stop, plan.stop_by_stop_effort),
        skies=None if plan is None else _skies(plan),
        packed=() if plan is None else packed_for(day, plan),
        refused=refused,
    )


def _lines(day: Day, plan: Plan) -> tuple[PlanLine, ...]:
    numbers = {stop.number: number for number, stop in enumerate(day.order, 1)}
    lens = plan.start_used.lens
    found = []
    for each in plan.stops:
        stop, level, move, kit = each.lit.stop, each.lit.level, each.move, each.used.kit
        span = (
            ""
            if level is None or level.high - level.low < 0.05
            else say(
                "{low} to {high}",
                low=decimal(wording.minus(level.low, ".1f")),
                high=decimal(wording.minus(level.high, ".1f")),
            )
        )
        found.append(
            PlanLine(
                number=numbers[stop.number],
                clock=clock_words(stop.at),
                planned=clock_words(stop.planned) if stop.shifted else "",
                name=stop.name,
                place="" if each.lit.place is None else each.lit.place.name,
                gap="" if each.gap is None else _gap(each.gap),
                light="" if level is None else wording.ev(level.light.ev100),
                span=span,
                lens="" if move is None or each.lit.lens == lens else dict(each.used.lenses)[each.lit.lens],
                told=None if move is None else wording.told(kit, move),
                rig="" if move is None else _rig(move.rig, plan.start.shutter),
                glass="" if move is None else wording.on_the_lens(kit, move.rig),
                ready="; ".join(_ready_short(kit, ready) for ready in each.ready),
                notes=stop.notes,
                off=_off_look(each),
                why=each.why,
            )
        )
        lens = lens if move is None else each.lit.lens
    return tuple(found)


def _rig(rig: Rig, usual: float | None = None) -> str:
    """What the dials show; a shutter that is the usual one [s] goes without saying."""
    shutter = () if rig.shutter == usual else (marked_shutter(rig.shutter),)
    return ", ".join((wording.f_number(rig.aperture), *shutter, wording.iso(rig.iso)))


def _gap(gap: timedelta) -> str:
    minutes = round(gap / timedelta(minutes=1))
    if minutes <= 0:
        return say("after no gap")
    return say("after {gap}", gap=f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02}")


def _ready(kit: Kit, ready: Ready) -> str:
    """What another sky would ask: "If brighter, EV 14.9: swap 0.6 for 1.2, f/2.8, ISO 100"."""
    said = wording.told(kit, ready.move)
    do = f"{goes_on(said.glass)}, {_rig(ready.move.rig, ready.move.rig.shutter)}"
    level = wording.ev(ready.ev100)
    if ready.brighter:
        return say("If brighter, {ev}: {do}", ev=level, do=do)
    return say("If darker, {ev}: {do}", ev=level, do=do)


def _ready_short(kit: Kit, ready: Ready) -> str:
    """In a narrow column: what to have in the hand, else what to do: "if brighter 1.2", "if darker pull 0.6"."""
    names = wording.labels(kit.filters)
    held = listed([names[each] for each in ready.filters])
    said = held or ", ".join(wording.glass_words(kit, ready.move.actions))
    return say("if brighter {do}", do=said) if ready.brighter else say("if darker {do}", do=said)


def _done(day: Day, report: Report) -> tuple[DoneLine, ...]:
    """The stops that were gone to, each as it was done last."""
    numbers = {stop.number: number for number, stop in enumerate(day.order, 1)}
    return tuple(
        DoneLine(
            number=numbers[number],
            planned=clock_words(line.stop.planned),
            done=clock_words(line.at.astimezone(zone(day.time_zone))),
            name=line.stop.name,
            place="" if line.place is None else line.place.name,
            rig=_rig(line.rig),
            glass=wording.on_the_lens(line.used.kit, line.rig),
        )
        for number, line in sorted(_last_moves(report, day.camera).items(), key=lambda each: each[1].at)
        if line.stop is not None
    )


def _last_moves(report: Report, camera: int | None) -> dict[int, ReportLine]:
    """For each stop that a camera was taken to, by its number, how it was done last."""
    return {
        line.stop.number: line
        for line in report.lines
        if line.kind == "moved" and line.stop is not None and line.camera == camera
    }


def _touches(moves: Sequence[Move]) -> int:
    """How many of them have a hand on the glass."""
    return sum(map(touches_glass, moves))


def _skies(plan: Plan) -> tuple[int, int] | None:
    return (_touches(plan.skies[True].moves), _touches(plan.skies[False].moves)) if plan.skies else None


def _off_look(planned: Planned) -> str:
    move = planned.move
    if move is None or not move.score.off_look:
        return ""
    return say(
        "iris {turn} outside the look",
        turn=wording.turn_words(move.score.off_look, planned.used.kit.body.clicks_per_stop),
    )


def packed_for(day: Day, plan: Plan) -> tuple[tuple[str, str], ...]:
    """Every piece that the plan puts on the camera, or would for another sky, each with what it is for."""
    names: dict[Piece, dict[str, str]] = {}
    for each in plan.stops:
        if each.move is None:
            continue
        rigs = [(each.move.rig, "")] + [(ready.move.rig, say("if the sky changes")) for ready in each.ready]
        for rig, why in rigs:
            for piece in pieces_for(each.used.kit, rig):
                names.setdefault(piece, {}).setdefault(each.lit.stop.name, why)
    return tuple(
        (piece_name(day.kit, piece), ", ".join(f"{stop} {why}".strip() for stop, why in stops.items()))
        for piece, stops in sorted(names.items(), key=lambda each: each[0].what != "filter")
    )


def _cost(plan: Plan, moves: Sequence[Move], effort: float) -> Cost:
    hurries = [each.hurry for each in plan.stops if each.move is not None]
    seconds = [move.score.hand_seconds for move in moves]
    return Cost(
        touches=_touches(moves),
        seconds=sum(seconds),
        hurried=sum(each for each, hurry in zip(seconds, hurries, strict=True) if hurry > 1),
        effort=effort,
    )


# The picture.


def _picture(day: Day, plan: Plan, report: Report, now: datetime) -> PlanPicture:
    """The time axis: every stop of the order, those that are done with what was really on the lens."""
    planned = {each.lit.stop.number: each for each in plan.stops}
    really = _last_moves(report, day.camera)
    last = day.order[-1]
    ends = max((stop.ends or stop.at for stop in day.order), key=instant)
    start, stop = later(day.order[0].at, -AROUND), later(max(ends, later(last.at, LASTS), key=instant), AROUND)
    lit = {
        each.stop.number: each for each in day.lit_stops(day.order, day.began_used.lens, now, as_planned=True)
    }  # fmt: skip
    shown = []
    lens = day.began_used.lens
    for number, (each, after) in enumerate(zip(day.order, (*day.order[1:], None), strict=True), 1):
        it, there = planned.get(each.number), lit[each.number]
        fact = really.get(each.number) if it is None else None
        level = there.level
        until = each.ends or (later(each.at, LASTS) if after is None else after.at)
        kit, rig = _on_it(it, fact)
        shown.append(
            At(
                number=number, at=each.at, until=until, name=each.name,
                place=None if there.place is None else there.place.name,
                ev100=None if level is None else level.light.ev100,
                low=None if level is None else level.low, high=None if level is None else level.high,
                glass="" if kit is None or rig is None else wording.on_the_lens(kit, rig),
                touched=it is not None and it.touched,
                iris="" if rig is None else wording.f_number(rig.aperture),
                iso="" if rig is None else wording.iso(rig.iso),
                lens="" if there.lens == lens else dict(day.used.lenses)[there.lens],
                ready="" if it is None or kit is None else "; ".join(_ready(kit, ready) for ready in it.ready),
                done=each.number in day.state.done,
            )
        )  # fmt: skip
        lens = there.lens
    return plan_picture(_courses(day, start, stop, now), shown, start, stop, _suns(day, start, stop), now)


def _on_it(planned: Planned | None, done: ReportLine | None) -> tuple[Kit | None, Rig | None]:
    """What is on the camera at a stop: what really was, at one that is done, else what is planned."""
    if done is not None:
        return done.used.kit, done.rig
    return (None, None) if planned is None or planned.move is None else (planned.used.kit, planned.move.rig)


def _courses(day: Day, start: datetime, stop: datetime, now: datetime) -> list[Line]:
    """The light of every place that the order comes by and that has a reading, in five-minute steps."""
    used = {each.place for each in day.order}
    drawn = [
        (place, read_of(place.spot, place.light))
        for place in day.places
        # Without coordinates only what does not drift can be drawn; any site does for that.
        if place.number in used and place.light is not None and (day.site is not None or not place.spot.drifts)
    ]
    if not drawn:
        return []
    count = max(1, round((instant(stop) - instant(start)) / STEP))
    times = [(instant(start) + number * (instant(stop) - instant(start)) / count) for number in range(count + 1)]
    local = tuple(each.astimezone(start.tzinfo) for each in times)
    found = courses(day.site or sun.Site(0, 0), [read for _, read in drawn], times, day.sky(now))
    drawn_lines = []
    for row, (place, _) in enumerate(drawn):
        ev100, low, high = (tuple(part[row].tolist()) for part in (found.ev100, found.low, found.high))
        drawn_lines.append(Line(place.name, local, ev100, low, high, lamps=not place.spot.drifts))
    return drawn_lines


def _suns(day: Day, start: datetime, stop: datetime) -> list[sun.SunEvent]:
    """Sunrise and sunset of the days that the picture touches."""
    if day.site is None:
        return []
    found: list[sun.SunEvent] = []
    on = start.date()
    while on <= stop.date():
        midnights = [datetime(each.year, each.month, each.day, tzinfo=start.tzinfo) for each in (on, on + timedelta(1))]
        found += sun.sun_day(day.site, *midnights).events
        on += timedelta(days=1)
    return found
