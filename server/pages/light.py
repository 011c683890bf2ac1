"""The light through a day: at every place of a venue, or at one with the sun, the sky and the lamps there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import Request, Response
from pydantic import BeforeValidator

from server.book import tables
from server.book.crews import NotThere, all_owned, owned
from server.book.days import open_day, read_of, readings_of_day, site_of, spot_of, usual_look
from server.book.kits import carried
from server.book.venues import places_of
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import cautions, flicker, sun, wording
from server.exposure.moves import cannot_wear
from server.exposure.refused import OutOfRange
from server.exposure.stretches import stretches
from server.exposure.trust import Doubt, Read, courses, levels
from server.language import say

from .drawing import draw, zone
from .forms import Form, MaybeWhole, Typed, day_of, hour, optional
from .light_picture import Curve, GlassRun, LightPicture, Mark, light_picture
from .numbers import Number as RowNumber
from .readings import METHODS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from server.book.days import Day, DayPlace
    from server.book.log import Reading
    from server.door.visitor import Visitor
    from server.exposure.daylight import Sky, Spot
    from server.exposure.rig import Kit, Look
    from server.exposure.stretches import Stretch
    from server.exposure.trust import Level

router = door_router()

STEP = timedelta(minutes=5)
OF_THE_READING: frozenset[Doubt] = frozenset({"bright", "dim", "season", "sky", "unnoted"})  # at whatever hour
GLASS_EVERY = 3  # steps; which glass keeps the look is asked every quarter of an hour


class AskedFor(Form):
    """The date and the hour that the light is asked for, and on a venue's own pages the kit to draw the glass of."""

    on: Annotated[date | None, BeforeValidator(lambda came: None if optional(came) is None else day_of(came))] = None
    at: Annotated[str | None, BeforeValidator(lambda came: None if optional(came) is None else hour(came))] = None
    kit: MaybeWhole = None

    def check(self) -> None:
        """Hold the date to what the sun is worked out for."""
        if self.on is not None:
            sun.check_date("on", self.on)


@dataclass(frozen=True, slots=True)
class Seen:
    """
    A place as its light is drawn.

    read   the reading that its light is forecast from;  marks  every reading to show: when, how much [stops], and how
    look   the look wanted there, where its glass is drawn too
    """

    number: int
    name: str
    spot: Spot
    read: Read | None
    marks: tuple[tuple[datetime, float, str], ...]
    look: Look | None
    lasers: bool


@dataclass(frozen=True, slots=True)
class Here:
    """
    The sun, the sky and the lamps at one place and hour.

    elevation, bearing  [degrees]  of the sun;  direct  when its direct light comes (True) and leaves
    blue     where a polariser darkens a clear sky most, None once the sun is down;  level  the light
    steady   the shutters that do not flicker under its lamps;  shutters  the body's own, and whether each is steady
    rate_is_steady  whether the frame rate itself keeps step with the lamps
    """

    at: datetime
    level: Level | None
    elevation: float | None
    bearing: float | None
    direct: tuple[tuple[datetime, bool], ...]
    raised: bool
    blue: sun.BlueSky | None
    cautions: tuple[str, ...]
    lamps: bool
    mains: int | None
    frame_rate: float | None
    steady: tuple[flicker.SteadyTime, ...]
    shutters: tuple[tuple[float, bool], ...]
    rate_is_steady: bool


@dataclass(frozen=True, slots=True)
class Light:
    """
    All that a light page draws of a venue on a date.

    picture  None where there is nothing to draw;  unread, lost  the places without a reading, and without coordinates
    doubted  those whose reading is not to be trusted on that date, and why
    """

    picture: LightPicture | None
    unread: tuple[str, ...]
    lost: tuple[str, ...]
    doubted: tuple[tuple[str, Doubt], ...] = ()


@router.get("/venues/{venue_id}/light")
def show_venue_light(request: Request, book: TheBook, visitor: TheVisitor, venue_id: RowNumber) -> Response:
    """The light at every place of a venue through a day."""
    return _venue_light(request, book, visitor, venue_id, None)


@router.get("/venues/{venue_id}/places/{place_id}/light")
def show_place_light(
    request: Request, book: TheBook, visitor: TheVisitor, venue_id: RowNumber, place_id: RowNumber
) -> Response:
    """The light at one place through a day, and its sun, sky and lamps at an hour."""
    return _venue_light(request, book, visitor, venue_id, place_id)


@router.get("/days/{day_id}/light")
def show_day_light(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The light at every place of a day through it, and the glass that keeps each look."""
    return _day_light(request, book, visitor, day_id, None)


@router.get("/days/{day_id}/places/{place_id}/light")
def show_stop_light(
    request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, place_id: RowNumber
) -> Response:
    """The light at one place of a day through it, and its sun, sky and lamps at an hour."""
    return _day_light(request, book, visitor, day_id, place_id)


def _venue_light(request: Request, book: TheBook, visitor: Visitor, venue_id: int, place_id: int | None) -> Response:
    asked, typed = AskedFor.read(request.query_params)
    now = datetime.now(UTC)
    with book.reading() as session:
        venue = owned(session, tables.Venue, visitor.crew, venue_id)
        kits = [kit for kit in all_owned(session, tables.Kit, visitor.crew) if kit.bodies and kit.lenses]
        chosen = None if asked is None or asked.kit is None else next((k for k in kits if k.id == asked.kit), None)
        kit = None if chosen is None else carried(session, chosen.stamp, chosen.id, (None, None, _holder(chosen)))
        look = None if chosen is None else usual_look(chosen.bodies[0], chosen.lenses[0])
        seen = [_seen_at_venue(place, look) for place in places_of(session, venue)]
        frame_rate = None if kit is None else kit.frame_rate
        known = Venue(venue.id, venue.name, venue.time_zone, site_of(venue), venue.mains)
    if place_id is not None:
        seen = [_only(seen, place_id)]
    local = now.astimezone(zone(known.time_zone))
    on, at = _when(asked, local.date(), f"{local:%H:%M}")
    return _draw(
        request, known, seen, Through(on, at, None, None if kit is None else kit.kit, frame_rate), typed, now,
        place_id, kits=[(each.id, each.name) for each in kits], chosen=None if chosen is None else chosen.id, day=None,
    )  # fmt: skip


def _day_light(request: Request, book: TheBook, visitor: Visitor, day_id: int, place_id: int | None) -> Response:
    asked, typed = AskedFor.read(request.query_params)
    now = datetime.now(UTC)
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
        marks = readings_of_day(session, day_id)
    seen = [_seen_on_day(place, day, marks.get(place.number, [])) for place in day.places]
    if place_id is not None:
        seen = [_only(seen, place_id)]
    moment = day.moment(now)
    # After midnight the evening is still the day's; at one place the hour counts, and that is on the next date.
    on, at = _when(asked, day.on if place_id is None else moment.date(), f"{moment:%H:%M}")
    sky = day.sky(now) if on in (day.on, moment.date()) else None
    known = Venue(0, day.venue, day.time_zone, day.site, day.mains)
    through = Through(on, at, sky, day.kit, day.used.frame_rate)
    return _draw(request, known, seen, through, typed, now, place_id, kits=[], chosen=None, day=day)


@dataclass(frozen=True, slots=True)
class Venue:
    """What the light of a venue depends on."""

    id: int
    name: str
    time_zone: str
    site: sun.Site | None
    mains: int | None


@dataclass(frozen=True, slots=True)
class Through:
    """The date and hour that are drawn, the sky that is known to stand then, and whose glass and frame rate."""

    on: date
    at: str
    sky: Sky | None
    kit: Kit | None
    frame_rate: float | None


def _draw(
    request: Request,
    venue: Venue,
    seen: list[Seen],
    through: Through,
    typed: Typed,
    now: datetime,
    place_id: int | None,
    **more: Any,
) -> Response:
    try:
        light = _light(venue, seen, through, now)
    except OutOfRange as refused:
        typed.refuse(refused)
        light = Light(None, (), ())
    return draw(
        request,
        "light/page.html",
        status=422 if typed.errors else 200,
        venue=venue,
        through=through,
        light=light,
        place=None if place_id is None else seen[0],
        here=None if place_id is None or "on" in typed.errors else _here(venue, seen[0], through),
        typed=typed,
        not_known=[say(each) for each in flicker.NOT_KNOWN],
        on_the_spot=[say(each) for each in flicker.TEST_ON_THE_SPOT],
        **more,
    )


def _when(asked: AskedFor | None, on: date, at: str) -> tuple[date, str]:
    """The date and hour asked for, else these."""
    return (on, at) if asked is None else (asked.on or on, asked.at or at)


def _only(seen: Sequence[Seen], place_id: int) -> Seen:
    for each in seen:
        if each.number == place_id:
            return each
    raise NotThere("places")


def _holder(kit: tables.Kit) -> int | None:
    return kit.holders[0].id if kit.holders else None


def _seen_at_venue(place: tables.Place, look: Look | None) -> Seen:
    spot = spot_of(place)
    faces = [row for row in place.readings if row.part == "face"]
    newest = next(iter(faces), None)
    read = None if newest is None else Read(spot, newest.ev100, newest.taken_at, newest.sky)
    marks = tuple((row.taken_at, row.ev100, METHODS.get(row.kind, row.kind)) for row in faces)
    return Seen(place.id, place.name, spot, read, marks, look, place.lasers)


def _seen_on_day(place: DayPlace, day: Day, readings: Sequence[Reading]) -> Seen:
    light = place.light
    read = None if light is None else read_of(place.spot, light)
    marks = tuple((each.taken_at, each.ev100, METHODS.get(each.kind, each.kind)) for each in readings)
    look = None if cannot_wear(day.kit, place.look.worn) else place.look
    return Seen(place.number, place.name, place.spot, read, marks, look, place.lasers)


def _span(on: date, time_zone: str) -> tuple[datetime, datetime]:
    """A local day's first and last moment; 23 or 25 hours where the clocks change."""
    here = zone(time_zone)
    start, stop = (datetime.combine(each, time(), here) for each in (on, on + timedelta(days=1)))
    return start, stop


def _light(venue: Venue, seen: Sequence[Seen], through: Through, now: datetime) -> Light:
    """The picture of these places; all of their readings are carried through the day in one pass."""
    start, stop = _span(through.on, venue.time_zone)
    if stop.astimezone(UTC) - start.astimezone(UTC) < STEP:
        raise OutOfRange("on", through.on.isoformat(), say("a date that happened there; the clocks went over this one"))
    count = round((stop.astimezone(UTC) - start.astimezone(UTC)) / STEP)
    times = [(start.astimezone(UTC) + number * STEP).astimezone(start.tzinfo) for number in range(count + 1)]
    read = [(each, each.read) for each in seen if each.read is not None]
    # Without coordinates only what does not drift can be drawn; any site does for that.
    drawn = [(each, known) for each, known in read if venue.site is not None or not each.spot.drifts]
    unread = tuple(each.name for each in seen if each.read is None)
    lost = tuple(each.name for each, _ in read if venue.site is None and each.spot.drifts)
    if not drawn:
        return Light(None, unread, lost)
    found = courses(venue.site or sun.Site(0, 0), [known for _, known in drawn], times, through.sky)
    curves = []
    for row, (each, _) in enumerate(drawn):
        level, low, high = (part[row].tolist() for part in (found.ev100, found.low, found.high))
        curves.append(
            Curve(
                each.name, tuple(times), tuple(level), tuple(low), tuple(high),
                _marks(each, start, stop),
                _glass(through.kit, each.look, level, times), lamps=not each.spot.drifts,
            )
        )  # fmt: skip
    sun_there = None if venue.site is None else sun.sun_day(venue.site, start, stop)
    heights = None if venue.site is None else tuple(found.sun_elevation.tolist())
    middle = start.astimezone(UTC) + (stop.astimezone(UTC) - start.astimezone(UTC)) / 2
    seen_then = zip(drawn, levels(venue.site, [known for _, known in drawn], middle, through.sky), strict=True)
    doubted = tuple((each.name, level.doubt) for (each, _), level in seen_then if level.doubt in OF_THE_READING)
    return Light(light_picture(curves, start, stop, sun_there, heights, now), unread, lost, doubted)


def _marks(seen: Seen, start: datetime, stop: datetime) -> tuple[Mark, ...]:
    """The readings of a place that were taken on the day."""
    return tuple(Mark(at.astimezone(start.tzinfo), ev100, how) for at, ev100, how in seen.marks if start <= at < stop)


def _glass(
    kit: Kit | None, look: Look | None, level: Sequence[float], times: Sequence[datetime]
) -> tuple[GlassRun, ...]:
    """Which glass keeps the look in each stretch of the day."""
    if kit is None or look is None:
        return ()
    steps = level[:-1:GLASS_EVERY]
    ends = [*times[:-1:GLASS_EVERY], times[-1]]
    try:
        found = stretches(kit, look, steps)
    except OutOfRange:  # a kit that is too large to work out; its own page says so
        return ()
    return tuple(
        GlassRun(ends[run.start], ends[run.stop], wording.stretch_glass(kit, run), _misses(run)) for run in found
    )


def _misses(run: Stretch) -> str:
    """Where a stretch misses the exposure, or at least the look."""
    if run.miss:
        size = wording.stops_of(run.miss)
        return say("up to {size} too bright", size=size) if run.miss > 0 else say("up to {size} too dark", size=size)
    return say("iris {size} off the look", size=wording.stops_of(run.off_look)) if run.off_look else ""


def _here(venue: Venue, seen: Seen, through: Through) -> Here:
    """The sun, the sky and the lamps at a place at an hour."""
    start, stop = _span(through.on, venue.time_zone)
    at = datetime.combine(through.on, time.fromisoformat(through.at), start.tzinfo)
    level = None if seen.read is None else levels(venue.site, [seen.read], at, through.sky)[0]
    elevation = bearing = None
    direct: list[tuple[datetime, bool]] = []
    if venue.site is not None:
        up, toward = sun.sun_path(venue.site, [at])
        elevation, bearing = float(up[0]), float(toward[0])
        spot = seen.spot
        if spot.light != "shade":
            direct = sun.direct_light(venue.site, start, stop, spot.sun_over, spot.sun_behind, spot.faces)
    lamps = seen.spot.under_lamps
    rate = through.frame_rate
    known = lamps and venue.mains is not None
    return Here(
        at, level, elevation, bearing, tuple((_minute(each, start.tzinfo), comes) for each, comes in direct),
        raised=seen.spot.sun_over > 0 or seen.spot.sun_behind > 0,
        blue=None if elevation is None or bearing is None else sun.blue_sky(elevation, bearing),
        cautions=cautions.place_cautions(seen.spot, elevation, lasers=seen.lasers),
        lamps=lamps, mains=venue.mains, frame_rate=rate,
        steady=flicker.steady_times(venue.mains, rate) if known and venue.mains and rate else (),
        shutters=tuple((each, flicker.is_steady(each, venue.mains)) for each in _shutters(through.kit))
        if known and venue.mains else (),
        rate_is_steady=bool(known and venue.mains and rate and flicker.steady_rate(rate, venue.mains)),
    )  # fmt: skip


def _minute(at: datetime, clock: tzinfo | None) -> datetime:
    """A moment to the nearest minute, on a clock."""
    return (at + timedelta(seconds=30)).astimezone(clock)


def _shutters(kit: Kit | None) -> tuple[float, ...]:
    return () if kit is None else kit.body.shutters
