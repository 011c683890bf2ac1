"""A shooting day: its places and looks, its running order, the kit that is used, its log, and the state it gives."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from threading import Lock
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from cachetools import LRUCache, cached
from sqlalchemy import Row, select, update

from server.exposure.daylight import Sky, Spot
from server.exposure.looks import How, Matched, matched
from server.exposure.moves import best_pictures, cannot_wear, no_steady_shutter
from server.exposure.rig import Kit, Look, Rig, check_rig, nearest_rig
from server.exposure.scales import exact_f_number
from server.exposure.sun import Site
from server.exposure.trust import Level, Read, levels, levels_then

from . import questions, tables
from .crews import NotThere
from .kits import Carried, Chosen, KitIncomplete, carried
from .log import OF_A_CAMERA, Event, Kind, PlaceLight, Reading, State, fold, rig_data, rig_from, taken_on_day
from .order import NIGHT, Stop, instant, order_of
from .people import first_camera
from .watching import revision_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from sqlalchemy.orm import Session

    from .people import Member

LONG_AGO = timedelta(hours=1)  # a stop that is so late, with the next one due as well, has gone by
DAYS_KNOWN = 500  # days that are remembered; a stamp is new with every change, so what was read for it stays true


@dataclass(frozen=True, slots=True)
class DayPlace:
    """
    A place of the day: its number, name, what lights it, the look wanted there, and the light if it was read.

    lasers   whether stage lasers may be on there
    matched  how the look goes with the first camera's; None on the first
    """

    number: int
    name: str
    spot: Spot
    look: Look
    light: PlaceLight | None
    distance_m: float | None = None
    lasers: bool = False
    matched: Matched | None = None

    def focal(self, used: Carried) -> float | None:
        """The focal length in use there [mm], if it is known."""
        own = None if self.matched is None else self.matched.focal_mm
        return used.focal(long_end=self.look.long_end) if own is None else own


@dataclass(frozen=True, slots=True)
class OtherCamera:
    """
    Another camera on the day, as this one's shooter needs to know it.

    name   of its shooter, as they are written in the log or go by; empty for the first where nobody has used it yet
    first  whether it is the day's first
    here, at_stop  where it stands, and for which stop;  since  when;  None: it has not started
    """

    number: int | None
    name: str
    here: str | None
    at_stop: str | None
    since: datetime | None
    used: Carried
    rig: Rig

    @property
    def first(self) -> bool:
        """Whether it is the day's first."""
        return self.number is None


@dataclass(frozen=True, slots=True)
class Lit:
    """A place with its light at the moment it is used; None where nobody has read it."""

    place: DayPlace
    level: Level | None


@dataclass(frozen=True, slots=True)
class LitStop:
    """
    A stop of the running order with its place, the look wanted at the stop in it, and the light at the moment.

    place, level  None where it is at none of the day's places, or nobody has read the light there
    moment        when its light is used: at its time, or now where that has gone by
    lens          the number of the lens that is on for it
    """

    stop: Stop
    place: DayPlace | None
    level: Level | None
    moment: datetime
    lens: int


def read_of(spot: Spot, light: PlaceLight) -> Read:
    """A place's light as the engine carries it to other times: its reading, with the nudge."""
    return Read(spot, light.reading.ev100, light.reading.taken_at, light.reading.sky, light.nudge)


@lru_cache(maxsize=256)
def lit_at(
    site: Site | None, places: tuple[DayPlace, ...], at: tuple[datetime, ...], sky_now: Sky | None
) -> tuple[Lit, ...]:
    """Places with their light, each at a time of its own. Remembered, since every tap of a minute asks again."""
    read = [(place, place.light, each) for place, each in zip(places, at, strict=True) if place.light is not None]
    found = iter(
        levels_then(
            site,
            [read_of(place.spot, light) for place, light, _ in read],
            [each for *_, each in read],
            sky_now,
        )
    )
    return tuple(Lit(place, None if place.light is None else next(found)) for place in places)


@dataclass(frozen=True, slots=True)
class Day:
    """
    A day as its page needs it, for the shooter of one of its cameras.

    camera   the number of that one; None: the first, which is whoever has none of their own
    cameras  the others;  matches  how this one goes with the first's look, None for the first
    site     where the venue lies, mains [Hz] of its lamps; None: not known
    on, seen_at  its date, and the hour that its light is shown for until it has come, at the venue's clock
    began    what was on the camera before the first move, and began_used what of the kit was in use with it
    order    the running order, as it comes now;  others  what would be in use with each other lens that it names
    moved_by_kit: the log's rig no longer fits the kit, and was cut down to it; or the body or lens chosen for the day
    has left the kit, and another one stands in for it.
    at_stops  the look at the stops that have one of their own
    revision  as `watching` has it
    """

    id: int
    camera: int | None
    cameras: tuple[OtherCamera, ...]
    matches: How | None
    name: str
    venue: str
    time_zone: str
    site: Site | None
    mains: int | None
    on: date
    seen_at: time
    used: Carried
    rig: Rig
    state: State
    places: tuple[DayPlace, ...]
    moved_by_kit: bool
    began: Rig
    began_used: Carried
    order: tuple[Stop, ...]
    others: Mapping[int, Carried]
    at_stops: Mapping[int, Matched]
    revision: str

    @property
    def kit(self) -> Kit:
        """The kit as the engine knows it."""
        return self.used.kit

    @property
    def here(self) -> DayPlace | None:
        """The place where the shooter stands, with the look of the stop that it was gone to for."""
        there = next((place for place in self.places if place.number == self.state.here), None)
        stop = self.at_stop
        return there if there is None or stop is None else self.as_at(stop, there)

    def as_at(self, stop: Stop, place: DayPlace) -> DayPlace:
        """A place with the look that is wanted there at a stop."""
        its = self.at_stops.get(stop.number)
        if its is None:
            return place
        return replace(place, look=its.look, matched=its if self.matches is not None else None)

    @property
    def at_stop(self) -> Stop | None:
        """The stop of the running order where the shooter is."""
        return next((stop for stop in self.order if stop.number == self.state.at_stop), None)

    def stop(self, number: int) -> Stop:
        """A stop of the running order by its number. Raises NotThere where it is none of the day's."""
        for stop in self.order:
            if stop.number == number:
                return stop
        raise NotThere("stops")

    def has_come(self, now: datetime) -> bool:
        """Whether it is this day at the venue, from its first minute until six the next morning."""
        local = now.astimezone(ZoneInfo(self.time_zone))
        return self.on in (local.date(), (local - timedelta(minutes=NIGHT)).date())

    def moment(self, now: datetime) -> datetime:
        """When its light is used: this minute once the day has come, until then its own hour."""
        zone = ZoneInfo(self.time_zone)
        if self.has_come(now):
            return now.astimezone(zone).replace(second=0, microsecond=0)
        return datetime.combine(self.on, self.seen_at, zone)

    def sky(self, now: datetime) -> Sky | None:
        """The sky as it was last said to stand, where that was on the day itself."""
        seen = self.state.sky_at
        return self.state.sky if seen is not None and self.has_come(seen) and self.has_come(now) else None

    def lit(self, now: datetime) -> tuple[Lit, ...]:
        """Every place with its light at the moment it is used."""
        return self.lit_then(self.moment(now), now)

    def lit_then(self, moment: datetime, now: datetime) -> tuple[Lit, ...]:
        """Every place with its light at another moment, as far as is known now."""
        # In UTC: by the clock of a zone, two moments may have one name.
        at = moment.astimezone(UTC)
        return lit_at(self.site, self.places, (at,) * len(self.places), self.sky(now))

    def levels_through(self, times: Sequence[datetime], now: datetime) -> dict[int, list[Level]]:
        """
        The light at each of these times, by place, as far as is known now; none where nobody has read it.

        Not remembered beside the levels of the minute, which every tap asks for again.
        """
        read = [(place.number, read_of(place.spot, place.light)) for place in self.places if place.light is not None]
        found: dict[int, list[Level]] = {place.number: [] for place in self.places}
        for moment in times:
            there = levels(self.site, [each for _, each in read], moment, self.sky(now))
            for (number, _), level in zip(read, there, strict=True):
                found[number].append(level)
        return found

    def ahead(self, now: datetime) -> tuple[Stop, ...]:
        """
        The stops that come after the one that was gone to last; all before the first. Once the day has come, without
        those that were due long ago where the next one is due too.
        """
        numbers = [stop.number for stop in self.order]
        # One that was taken out of the order since says nothing of what comes next.
        last = next((stop for stop in reversed(list(self.state.done)) if stop in numbers), None)
        first = 0 if last is None else numbers.index(last) + 1
        stops = tuple(stop for stop in self.order[first:] if stop.number not in self.state.done)
        gone = 0
        while self.has_come(now) and gone + 1 < len(stops) and _overdue(stops[gone], stops[gone + 1], now):
            gone += 1
        return stops[gone:]

    def missed(self, now: datetime) -> tuple[Stop, ...]:
        """The stops that were passed over: not gone to, and not ahead any more."""
        ahead = {stop.number for stop in self.ahead(now)}
        return tuple(stop for stop in self.order if stop.number not in self.state.done and stop.number not in ahead)

    def lit_stops(
        self, stops: Sequence[Stop], lens: int, now: datetime, *, as_planned: bool = False
    ) -> tuple[LitStop, ...]:
        """
        Stops in order with their light, each at its own time; one that is late and not done, now.

        lens  the one that is on before the first;  as_planned  all at their own time, late or not
        """
        known = {place.number: place for place in self.places}
        places = [None if stop.place not in known else self.as_at(stop, known[stop.place]) for stop in stops]
        soonest, live = self.moment(now), self.has_come(now) and not as_planned
        moments = [
            max(stop.at, soonest, key=instant) if live and stop.number not in self.state.done else stop.at
            for stop in stops
        ]
        there = [(place, instant(each)) for place, each in zip(places, moments, strict=True) if place is not None]
        lit = lit_at(self.site, tuple(place for place, _ in there), tuple(each for _, each in there), self.sky(now))
        level = iter(each.level for each in lit)
        found = []
        for stop, place, moment in zip(stops, places, moments, strict=True):
            lens = stop.lens if stop.lens is not None and stop.lens in self.others else lens
            found.append(LitStop(stop, place, None if place is None else next(level), moment, lens))
        return tuple(found)

    def lit_stop(self, number: int, now: datetime) -> LitStop:
        """A stop with its light, and the lens that is on for it. Raises NotThere where it is none of the order."""
        stop = self.stop(number)
        # The lens that is on now stays on for what comes, and for what was passed over; what is done had its own.
        known = next((part for part in (self.ahead(now), self.missed(now)) if stop in part), self.order)
        return next(each for each in self.lit_stops(known, self.used.lens, now) if each.stop.number == number)

    def used_with(self, lens: int) -> Carried:
        """What of the kit is in use with a lens that is on, or that the running order names."""
        known = {self.used.lens: self.used, self.began_used.lens: self.began_used}
        return known.get(lens) or self.others[lens]

    def rig_with(self, lens: int) -> Rig:
        """What is on the camera once this lens is: what stays of the rig, where it is another one."""
        return self.rig if lens == self.used.lens else nearest_rig(self.used_with(lens).kit, self.rig)

    def level(self, place: DayPlace, now: datetime) -> Level | None:
        """The light at one of its places at the moment it is used."""
        return next(each.level for each in self.lit(now) if each.place.number == place.number)

    def place(self, number: int) -> DayPlace:
        """A place of the day by its number. Raises NotThere where it is none of the day's."""
        for place in self.places:
            if place.number == number:
                return place
        raise NotThere("places")


def _overdue(stop: Stop, then: Stop, now: datetime) -> bool:
    """Whether a stop was due long ago, and the one after it is due by now."""
    return now - instant(stop.at) > LONG_AGO and instant(then.at) <= now


def open_day(session: Session, member: Member, day_id: int) -> Day:
    """
    The day with its state, as somebody films it: with a camera of their own, or with the day's first.

    Raises NotThere, or KitIncomplete where the kit lacks a body or a lens.
    """
    return _read_day(session, day_id, _row(session, member, day_id))


def _row(session: Session, member: Member, day_id: int) -> Row[Any]:
    """The crew's own day as `questions.DAY` has it. Raises NotThere for any other, another crew's included."""
    asked = {"day": day_id, "crew": member.crew, "person": member.person}
    row = session.execute(questions.DAY, asked).first()
    if row is None:
        raise NotThere("days")
    return row


@dataclass(frozen=True, slots=True)
class _Camera:
    """
    A camera on a day, as its row has it: with which kit, body, lens and holder, and what it starts with.

    number  None: the day's first
    """

    number: int | None
    name: str
    matches: How | None
    kit_id: int
    kit_stamp: str
    chosen: Chosen
    start: Rig

    def carried(self, session: Session, lens: int | None) -> Carried:
        """What of its kit is in use with a lens; None: the one that it began with."""
        body, own, holder = self.chosen
        return carried(session, self.kit_stamp, self.kit_id, (body, lens or own, holder))


def _cameras(session: Session, day_id: int, row: Row[Any]) -> dict[int | None, _Camera]:
    """Every camera on a day, the first one first."""
    chosen = (row.body_id, row.lens_id, row.holder_id)
    first = _Camera(None, "", None, row.kit_id, row.kit_stamp, chosen, rig_from(row.start))
    others = (
        _Camera(
            each.id, each.name, each.matches, each.kit_id, each.kit_stamp,
            (each.body_id, each.lens_id, each.holder_id), rig_from(each.start),
        )
        for each in session.execute(questions.CAMERAS, {"day": day_id})
    )  # fmt: skip
    return {camera.number: camera for camera in (first, *others)}


def changed(session: Session, day_id: int) -> None:
    """Say that a day is not what it was. Every change of a day or its log calls this."""
    session.execute(update(tables.Day).where(tables.Day.id == day_id).values(stamp=tables.new_stamp()))


def changed_at(session: Session, venue_id: int) -> None:
    """Say that the days at a venue are not what they were. Every change of a venue, place or reading calls this."""
    for day_id in session.scalars(select(tables.Day.id).where(tables.Day.venue_id == venue_id)):
        changed(session, day_id)


@cached(LRUCache(DAYS_KNOWN), key=lambda _session, _day_id, row: (row.stamps, row.camera), lock=Lock())
def _read_day(session: Session, day_id: int, row: Row[Any]) -> Day:
    events = _events(session, day_id)
    newest = session.execute(questions.NEWEST_READINGS, {"day": day_id})
    readings = {
        (each.place_id, each.part): Reading(each.ev100, each.taken_at, each.kind, each.who, each.sky, each.logged_at)
        for each in newest
    }
    rows = session.execute(questions.PLACES, {"day": day_id}).all()
    spots = {each.place_id: spot_of(each) for each in rows}
    site = site_of(row)
    cameras = _cameras(session, day_id, row)
    own = cameras[row.camera]
    under = _under_sky(site, spots.items())
    states = {number: fold(events, each.start, readings, under, number) for number, each in cameras.items()}
    state = states[own.number]
    used = own.carried(session, state.lens)
    rig = nearest_rig(used.kit, state.rig)
    began_used = used if state.began is None else own.carried(session, state.began_with)
    began = rig if state.began is None else nearest_rig(began_used.kit, state.began)
    order = order_of(session.execute(questions.STOPS, {"day": day_id}), row.on, row.time_zone, state.shifts)
    known = {lens for lens, _ in used.lenses}
    others = {stop.lens: own.carried(session, stop.lens) for stop in order if stop.lens in known}
    matching = _Matching(cameras[None].carried(session, states[None].lens), used, own.matches, row)
    at_places = {each.place_id: matching.at(each) for each in rows}
    at_stops = {
        stop.number: matching.at(each, stop)
        for stop in order
        for each in rows
        if each.place_id == stop.place and (stop.wanted or stop.widest or stop.narrowest)
    }
    places = tuple(
        DayPlace(
            each.place_id, each.name, spots[each.place_id], its.look, state.lights.get(each.place_id), each.distance_m,
            each.lasers, its if own.matches is not None else None,
        )
        for each, its in zip(rows, at_places.values(), strict=True)
    )  # fmt: skip
    moved_by_kit = rig != state.rig or used.stood_in
    names = {place.number: place.name for place in places}
    seen = (_seen(session, each, states[each.number], events, names, order) for each in cameras.values() if each != own)
    others_seen = tuple(each for each in seen if each is not None)
    return Day(
        day_id, own.number, others_seen, own.matches, row.name, row.venue, row.time_zone, site, row.mains, row.on,
        time.fromisoformat(row.seen_at), used, rig, state, places, moved_by_kit, began, began_used, order, others,
        at_stops, revision_of(row.stamps),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Matching:
    """
    The looks of a day, for one of its cameras.

    first, used  what is in use on the first camera, and on this one;  matches  None: it is the first
    day          the day's row
    """

    first: Carried
    used: Carried
    matches: How | None
    day: Row[Any]

    def at(self, place: Any, stop: Stop | None = None) -> Matched:
        """The look at a place, or at a stop there, with how it goes with the first camera's."""
        look = _look(place)
        look = look if stop is None else stop.look(look)
        if self.matches is None:
            return Matched(_steady(look, place, self.day, self.used.kit))
        its = matched(look, self.first.taking, self.used.taking, self.matches, place.distance_m)
        return replace(its, look=_steady(its.look, place, self.day, self.used.kit))


def _seen(
    session: Session, camera: _Camera, state: State, events: Sequence[Event], places: Mapping[int, str],
    order: Sequence[Stop],
) -> OtherCamera | None:  # fmt: skip
    """Another camera as it is seen from the one that asks; None where its kit has no body or no lens any more."""
    try:
        used = camera.carried(session, state.lens)
    except KitIncomplete:
        return None
    did = [event for event in events if event.camera == camera.number and event.kind in OF_A_CAMERA]
    name = camera.name or (max(did, key=lambda event: event.made_at).who if did else "")
    stop = next((stop.name for stop in order if stop.number == state.at_stop), None)
    here = places.get(state.here or 0)
    return OtherCamera(camera.number, name, here, stop, state.since, used, nearest_rig(used.kit, state.rig))


def _under_sky(site: Site | None, spots: Iterable[tuple[int, Spot]]) -> frozenset[int]:
    """The places that daylight reaches. Without coordinates no sky is reckoned with, so none takes a nudge's place."""
    return frozenset(place for place, spot in spots if site is not None and spot.drifts)


def under_sky(site: Site | None, places: Iterable[DayPlace]) -> frozenset[int]:
    """The same, of a day's places."""
    return _under_sky(site, ((place.number, place.spot) for place in places))


def site_of(venue: Any) -> Site | None:
    """Where a venue lies, by its row; None where its coordinates are not known."""
    known = venue.latitude is not None and venue.longitude is not None
    return Site(venue.latitude, venue.longitude) if known else None


def spot_of(place: Any) -> Spot:
    """What lights a place, by its row."""
    return Spot(place.light, place.lit_from, place.faces, place.lamps, place.sun_over, place.sun_behind)


def shortfalls(day: Day, now: datetime) -> tuple[tuple[str, float], ...]:
    """
    The places that even the whole kit misses in the light that they are used in, by how many stops.

    0 stands for a place whose look cannot be worn. Raises OutOfRange for a kit that is too large to work out
    (`moves.RIGS_MOST`).
    """
    lit = [(each.place, each.level) for each in day.lit(now) if each.level is not None]
    stuck = [place for place, _ in lit if cannot_wear(day.kit, place.look.worn)]
    asked = [(level.light, place.look) for place, level in lit if place not in stuck]
    misses = iter(found.parts[0] for found in best_pictures(day.kit, asked))
    clicks = day.kit.body.clicks_per_stop
    short = [(place.name, 0.0 if place in stuck else next(misses) / clicks, place in stuck) for place, _ in lit]
    return tuple((name, stops) for name, stops, is_stuck in short if is_stuck or stops > 0)


def with_lens(session: Session, member: Member, day_id: int, lens: int) -> Carried:
    """What would be in use with another lens of the kit. Raises NotThere for one that the kit has not."""
    row = _row(session, member, day_id)
    used = _cameras(session, day_id, row)[row.camera].carried(session, lens)
    if used.lens != lens:
        raise NotThere("lenses")
    return used


def on_the_camera(session: Session, member: Member, day: Day, moment: datetime | None) -> tuple[Kit, Rig]:
    """What somebody had on the camera at a moment, None: now; with the kit in use then."""
    if moment is None or day.state.last is None or day.state.last.made_at <= moment:
        return day.kit, day.rig
    row = _row(session, member, day.id)
    own = _cameras(session, day.id, row)[row.camera]
    events = (event for event in _events(session, day.id) if event.made_at <= moment)
    state = fold(events, own.start, {}, camera=own.number)
    kit = own.carried(session, state.lens).kit
    return kit, nearest_rig(kit, state.rig)


def venue_of(session: Session, crew_id: int, day_id: int) -> int:
    """The number of a day's venue."""
    return int(_row(session, first_camera(crew_id), day_id).venue_id)


def _events(session: Session, day_id: int) -> list[Event]:
    return [Event(*each) for each in session.execute(questions.LOG, {"day": day_id})]


@dataclass(frozen=True, slots=True)
class Log:
    """
    A day's log as it is kept, and what was on each camera before it, by the camera's number.

    names  of the cameras;  used  what was in use on a camera with a lens, None for the one it began with; as far as
    the kit still has it
    """

    events: tuple[Event, ...]
    starts: Mapping[int | None, Rig]
    names: Mapping[int | None, str]
    used: Callable[[int | None, int | None], Carried]


def log_of(session: Session, crew_id: int, day_id: int) -> Log:
    """The day's log; `used` works as long as the session is open."""
    cameras = _cameras(session, day_id, _row(session, first_camera(crew_id), day_id))
    return Log(
        tuple(_events(session, day_id)),
        {number: camera.start for number, camera in cameras.items()},
        {number: camera.name for number, camera in cameras.items()},
        lambda number, lens: cameras[number].carried(session, lens),
    )


def _look(row: Any) -> Look:
    """The look wanted at a place, as it is kept."""
    return Look(
        wanted=row.wanted,
        widest=row.widest,
        narrowest=row.narrowest,
        shutter=row.shutter,
        tolerance=row.tolerance,
        rush_tolerance=row.rush_tolerance,
        worn=frozenset(str(number) for number in row.worn),
        long_end=row.long_end,
    )


def _steady(look: Look, row: Any, day: Any, kit: Kit) -> Look:
    """A look with shutters that are steady under the place's lamps, where the day asks for that and the body can."""
    if not day.steady or day.mains is None or not spot_of(row).under_lamps:
        return look
    steady = replace(look, mains=day.mains)
    return look if no_steady_shutter(kit, None, steady) else steady


def append(
    session: Session,
    day_id: int,
    event_id: str,
    kind: Kind,
    data: dict[str, Any],
    who: str,
    camera: int | None,
    made_at: datetime | None = None,
    after: str | None = None,
) -> bool:
    """
    Add one event to the day's log. False, and nothing changed, where the log has an event with this id already.

    camera  the number of the camera whose shooter did it, None for the day's first
    after   the id of what the same phone did before: this came later, however long each of them was on its way

    The session must be a writing one of this crew, after `open_day` has let the day through.
    """
    event = tables.Event
    if in_log(session, day_id, event_id):
        return False
    now = datetime.now(UTC)
    made_at = made_at or now
    before = session.scalar(select(event.made_at).where(event.day_id == day_id, event.id == after)) if after else None
    if before is not None and made_at <= before:
        made_at = before + timedelta(milliseconds=1)
    session.add(
        event(
            day_id=day_id,
            id=event_id,
            kind=kind,
            made_at=made_at,
            received_at=now,
            who=who,
            data=data,
            camera=camera,
        )
    )
    changed(session, day_id)
    return True


def readings_of_day(session: Session, day_id: int) -> dict[int, list[Reading]]:
    """Every reading of a lit face at the day's places, by place: the venue's, and those of the day's log."""
    found: dict[int, list[Reading]] = {}
    row, place = tables.Reading, tables.DayPlace
    of_venue = select(row).join(place, place.place_id == row.place_id).where(place.day_id == day_id, row.part == "face")
    for each in session.scalars(of_venue):
        found.setdefault(each.place_id, []).append(Reading(each.ev100, each.taken_at, each.kind, each.who, each.sky))
    for place_id, reading in taken_on_day(_events(session, day_id)):
        found.setdefault(place_id, []).append(reading)
    return found


def in_log(session: Session, day_id: int, event_id: str) -> bool:
    """Whether the day's log has an event with this id."""
    event = tables.Event
    return (
        session.scalars(select(event.sequence).where(event.day_id == day_id, event.id == event_id)).first() is not None
    )


def is_of_another(session: Session, day: Day, event_id: str) -> bool:
    """Whether an event of the day's log was made by another camera's shooter than the one the day was opened for."""
    event = tables.Event
    asked = select(event.camera).where(event.day_id == day.id, event.id == event_id)
    return any(camera != day.camera for camera in session.scalars(asked))


USUAL_LOOK = (2.8, 2.0, 4.0)  # wanted, widest, narrowest: shallow, and a stop to play with either way


def usual_look(body: tables.Body, lens: tables.Lens) -> Look:
    """The look that a place has until somebody says otherwise, as far as the lens opens and closes."""
    low, high = lens.widest, lens.smallest

    def on_lens(n: float) -> float:
        exact = exact_f_number(n)
        return low if exact < exact_f_number(low) else high if exact > exact_f_number(high) else n

    wanted, widest, narrowest = (on_lens(n) for n in USUAL_LOOK)
    return Look(wanted, widest, narrowest, body.shutters[0])


def start_rig(body: tables.Body, look: Look) -> dict[str, Any]:
    """What a day starts with until the shooter says otherwise: no glass, the look's iris, the lowest base ISO."""
    bare = Rig(
        holder_on=False,
        slots=(),
        threads=(),
        built_in=body.built_in_nd[0],
        aperture=look.wanted,
        shutter=look.shutter,
        iso=min(body.iso_base),
    )
    return rig_data(bare)


def checked_rig(kit: Kit, rig: Rig) -> dict[str, Any]:
    """A rig that this kit allows, in its JSON form; OutOfRange where it does not."""
    check_rig(kit, rig)
    return rig_data(rig)
