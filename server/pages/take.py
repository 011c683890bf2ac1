"""The shot that walks through the door in one take: what to set before it, and what to ride on the way."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import Request, Response
from pydantic import BeforeValidator

from server.book.days import Lit, open_day
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import wording
from server.exposure.refused import OutOfRange, within
from server.exposure.takes import Kind, best_takes
from server.language import Worded, noted, say

from .drawing import draw
from .forms import Form, MaybeWhole, number
from .numbers import Number as RowNumber

if TYPE_CHECKING:
    from server.book.days import Day

router = door_router()

WALK = 8.0  # s, through a door and a few steps on; common practice, no source

RIDDEN: Worded[Kind] = Worded({
    "iris": noted("Ride the iris"), "variable_nd": noted("Ride the variable ND"), "iso": noted("Ride the ISO"),
})  # fmt: skip


class AskedTake(Form):
    """From which place to which, for which stop of the running order, and how long the walk takes [s]."""

    start: MaybeWhole = None
    end: MaybeWhole = None
    stop: MaybeWhole = None
    seconds: Annotated[float, BeforeValidator(lambda came: number(came, "8"))] = WALK

    def check(self) -> None:
        """A walk that hands can ride."""
        within("seconds", self.seconds, wording.TAKE_SHORTEST, wording.TAKE_LONGEST, "s")


@dataclass(frozen=True, slots=True)
class Way:
    """One way to take it. ends: what is set at either end, in words;  off: which is outside its look, and how far."""

    name: str
    said: wording.ToldTake
    glass: str
    ends: tuple[str, str]
    off: tuple[str, ...]


@router.get("/days/{day_id}/take")
def show_take(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """From one place to another in one take: no glass is touched on the way."""
    asked, typed = AskedTake.read(request.query_params)
    now = datetime.now(UTC)
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    lit = {each.place.number: each for each in day.lit(now) if each.level is not None}
    if day.here is not None and day.here.number in lit:
        lit[day.here.number] = replace(lit[day.here.number], place=day.here)
    end_at, lens = day.moment(now), ""
    if asked is not None and asked.stop in {stop.number for stop in day.order}:
        to = day.lit_stop(asked.stop, now)
        if to.place is not None and to.level is not None and to.place.number == asked.end:
            lit[to.place.number], end_at = Lit(to.place, to.level), to.moment
            lens = "" if to.lens == day.used.lens else dict(day.used.lenses)[to.lens]
    first = _one_of(lit, None if asked is None else asked.start, day.state.here)
    last = _one_of({each: lit[each] for each in lit if each != first}, None if asked is None else asked.end)
    seconds = WALK if asked is None else asked.seconds
    ways: tuple[Way, ...] = ()
    refused = ""
    if first is not None and last is not None and not typed.errors:
        try:
            ways = _ways(day, lit[first], lit[last], seconds)
        except OutOfRange as error:
            worn = error.field == "end.worn"
            refused = (
                say("The two places do not wear the same glass.")
                if worn
                else say("It needs {allowed}.", allowed=error.allowed)
            )
    return draw(
        request, "plan/take.html", status=422 if typed.errors else 200, day=day, typed=typed, lit=lit, first=first,
        last=last, stop=None if asked is None else asked.stop, seconds=seconds, ways=ways, refused=refused,
        moment=day.moment(now), end_at=end_at, lens=lens,
        unread=[place.name for place in day.places if place.number not in lit],
    )  # fmt: skip


def _one_of(lit: dict[int, Lit], *wanted: int | None) -> int | None:
    """The first of these places that has a reading, else the first of the day's that has."""
    return next((each for each in wanted if each in lit), next(iter(lit), None))


def _ways(day: Day, first: Lit, last: Lit, seconds: float) -> tuple[Way, ...]:
    if first.level is None or last.level is None:
        return ()
    found = best_takes(day.kit, day.rig, (first.level.light, first.place.look), (last.level.light, last.place.look))
    ways = []
    for ride in (found.best, *found.others):
        ends = [
            ", ".join((
                wording.f_number(rig.aperture), wording.iso(rig.iso),
                *(() if rig.turned is None else (say("turned to {size}", size=wording.stops_of(rig.turned)),)),
            ))
            for rig in (ride.start.rig, ride.end.rig)
        ]  # fmt: skip
        glass = wording.on_the_lens(day.kit, ride.start.rig)
        off = tuple(
            say(
                "{place}: {turn} outside the look",
                place=name,
                turn=wording.turn_words(move.score.off_look, day.kit.body.clicks_per_stop),
            )
            for name, move in ((first.place.name, ride.start), (last.place.name, ride.end))
            if move.score.off_look
        )
        said = wording.told_take(day.kit, ride, seconds)
        ways.append(Way(RIDDEN[ride.kind], said, glass, (ends[0], ends[1]), off))
    return tuple(ways)
