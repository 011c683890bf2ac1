"""
A day's log, and the state folded from it.

An event says what a person did, never what follows from it. It is folded in the order of the time it was made, so
that phones which were offline agree whatever order they come back in. Undo is one more event.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal, get_args

from server.exposure.light import Light
from server.exposure.rig import Rig

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from server.exposure.daylight import Sky

RIG_FIELDS = tuple(each.name for each in fields(Rig))
Kind = Literal[
    "moved", "nudged", "sky_nudged", "sky_seen", "rig_corrected", "lens_changed", "reading_taken", "order_shifted",
    "clip_noted", "undone",
]  # fmt: skip
# What is of one camera. All else is of the day: light and running order are every camera's.
OF_A_CAMERA: frozenset[Kind] = frozenset({"moved", "rig_corrected", "lens_changed", "clip_noted"})
Part = Literal["face", "bright", "dark"]
PARTS: tuple[Part, ...] = get_args(Part)


@dataclass(frozen=True, slots=True)
class Event:
    """
    One thing that happened. data, by kind:

    moved          place, answer ("clean", "fast" or "other"), rig: where the shooter went, with what on the camera;
                   stop and stop_name, where it was one of the running order; lens, where another one was put on for it
    nudged         place, clicks: the light rose (+) or fell (-)
    sky_nudged     places, clicks: the same at the other places under this sky, because the shooter said so
    sky_seen       sky: clear, partly or overcast, as it stands now
    rig_corrected  rig: what is really on the camera
    lens_changed   lens: which one is on the camera now, rig: what stayed on it
    reading_taken  place, kind, raw, ev100; where they were said: sky, part, and taken_at of a reading made earlier
    order_shifted  stops, minutes: these stops of the running order come so much later (+) or earlier (-)
    clip_noted     name: of the clip or shot just made; notes, where some were typed
    undone         event: the id of the event taken back

    camera  the number of the camera whose shooter did it; None: the day's first
    """

    id: str
    kind: Kind
    made_at: datetime
    who: str
    data: Mapping[str, Any]
    camera: int | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """
    A light level at a place: ev100 [stops], when and how it was taken, by whom, under which sky if it was noted.

    logged_at: when it was written down, where that was later; what was nudged until then has been looked at again
    """

    ev100: float
    taken_at: datetime
    kind: str
    who: str
    sky: Sky | None = None
    logged_at: datetime | None = None

    @property
    def known_since(self) -> datetime:
        """From when on a nudge is one of this reading."""
        return self.logged_at or self.taken_at


@dataclass(frozen=True, slots=True)
class PlaceLight:
    """
    The newest reading of what is exposed for at a place, and the clicks it was nudged by since.

    others: the newest readings of the place's bright and dark parts, for the contrast between them
    """

    reading: Reading
    nudge: int = 0
    others: tuple[tuple[Part, Reading], ...] = ()

    @property
    def light(self) -> Light:
        """The light as it was read, with the nudge."""
        return Light(self.reading.ev100).nudged(self.nudge)


@dataclass(frozen=True, slots=True)
class State:
    """
    Where a camera's shooter stands, since when, with which rig on it, and the light at each place with a reading.

    lens is the one that was put on during the day, by its number; None: the one that the day began with.
    last is the event that this shooter's undo takes back; None where there is nothing to undo.
    sky is what was last said of it, and sky_at when; None where nobody did.
    turned is the place that was nudged last and by how many clicks in a row, while nothing else has happened since.
    began is what was on the camera when the first move was made, and began_with the lens as above.
    done has the stops of the running order that were gone to, with the time; at_stop is the one where the shooter is;
    shifts how far each was put off [min].
    clip is the name that was noted last.
    """

    here: int | None
    since: datetime | None
    rig: Rig
    lights: Mapping[int, PlaceLight] = field(default_factory=dict)
    last: Event | None = None
    lens: int | None = None
    sky: Sky | None = None
    sky_at: datetime | None = None
    turned: tuple[int, int] | None = None
    began: Rig | None = None
    began_with: int | None = None
    done: Mapping[int, datetime] = field(default_factory=dict)
    at_stop: int | None = None
    shifts: Mapping[int, int] = field(default_factory=dict)
    clip: str = ""


def fold(
    events: Iterable[Event],
    start: Rig,
    readings: Mapping[tuple[int, Part], Reading],
    under_sky: frozenset[int] = frozenset(),
    camera: int | None = None,
) -> State:
    """
    The state of a camera after these events, in whatever order they are given.

    start      the rig at the beginning of the day
    readings   the venue's newest reading of each part of each place
    under_sky  the places that daylight reaches
    camera     its number; None: the day's first
    """
    folding = _Folding(start, _Lights(readings, under_sky), camera)
    for event in _standing(events):
        folding.take(event)
    return folding.state()


def retold(
    events: Iterable[Event], starts: Mapping[int | None, Rig], under_sky: frozenset[int] = frozenset()
) -> Iterator[tuple[Event, State, State]]:
    """
    Every event that was not taken back, in the order of time, with the state of its camera before it and after.

    starts: the rig of each camera at the beginning of the day. A camera that is not among them has no state, and
    what it did is left out. Else as `fold`.
    """
    foldings = {camera: _Folding(start, _Lights({}, under_sky), camera) for camera, start in starts.items()}
    for event in _standing(events):
        its = foldings.get(event.camera)
        before = None if its is None else its.state()
        for folding in foldings.values():
            folding.take(event)
        if its is not None and before is not None:
            yield event, before, its.state()


def _standing(events: Iterable[Event]) -> list[Event]:
    """Each event once, in the order of time, without those that were taken back."""
    kept = {event.id: event for event in events}
    undone = {event.data["event"] for event in kept.values() if event.kind == "undone"}
    standing = (event for event in kept.values() if event.kind != "undone" and event.id not in undone)
    return sorted(standing, key=lambda event: (event.made_at, event.id))


def taken_on_day(events: Iterable[Event]) -> list[tuple[int, Reading]]:
    """Every reading of a lit face in a log, with its place; those that were taken back left out."""
    taken = [event for event in _standing(events) if event.kind == "reading_taken"]
    return [(event.data["place"], _reading(event)) for event in taken if event.data.get("part", "face") == "face"]


def readings_taken(events: Iterable[Event]) -> list[tuple[Event, Reading]]:
    """Every reading in a log, of any part of a place, with its event; those that were taken back left out."""
    return [(event, _reading(event)) for event in _standing(events) if event.kind == "reading_taken"]


def _reading(event: Event) -> Reading:
    said = event.data
    ago = datetime.fromisoformat(said["taken_at"]) if "taken_at" in said else None
    logged_at = event.made_at if ago is not None else None
    return Reading(said["ev100"], ago or event.made_at, said["kind"], event.who, said.get("sky"), logged_at)


class _Folding:
    """The state while events are laid on it."""

    def __init__(self, start: Rig, lights: _Lights, camera: int | None) -> None:
        self.camera = camera
        self.here: int | None = None
        self.since: datetime | None = None
        self.lens: int | None = None
        self.rig, self.lights = start, lights
        self.last: Event | None = None
        self.turned: tuple[int, int] | None = None
        self.began: Rig | None = None
        self.began_with: int | None = None
        self.done: dict[int, datetime] = {}
        self.at_stop: int | None = None
        self.shifts: dict[int, int] = {}
        self.clip = ""

    def take(self, event: Event) -> None:
        """Lay one event on; what another camera did with itself is not this one's."""
        if event.camera == self.camera:
            self.last = event
        elif event.kind in OF_A_CAMERA:
            return
        turned, self.turned = self.turned, None
        match event.kind:
            case "moved":
                self._move(event)
            case "lens_changed":
                self.lens = event.data["lens"]
            case "nudged":
                place, clicks = event.data["place"], event.data["clicks"]
                self.lights.nudge(place, clicks, event.made_at)
                self.turned = (place, clicks + (turned[1] if turned is not None and turned[0] == place else 0))
            case "sky_nudged" | "sky_seen" | "reading_taken":
                self.lights.take(event)
            case "order_shifted" | "clip_noted":
                self._note(event)
        if "rig" in event.data:
            self.rig = rig_from(event.data["rig"])

    def _move(self, event: Event) -> None:
        """The shooter walked somewhere, perhaps to a stop of the running order, perhaps with another lens on."""
        if self.began is None:
            self.began, self.began_with = self.rig, self.lens
        self.here, self.since = event.data["place"], event.made_at
        self.lens = event.data.get("lens", self.lens)
        self.at_stop = event.data.get("stop")
        if self.at_stop is not None:
            self.done.pop(self.at_stop, None)  # gone to once more, it is the last one
            self.done[self.at_stop] = event.made_at

    def _note(self, event: Event) -> None:
        """What changes neither the camera nor the light."""
        if event.kind == "clip_noted":
            self.clip = event.data["name"]
            return
        for stop in event.data["stops"]:
            self.shifts[stop] = self.shifts.get(stop, 0) + event.data["minutes"]

    def state(self) -> State:
        """The state that it has come to."""
        self.lights.look_up()
        sky, sky_at = self.lights.sky, self.lights.sky_at
        return State(
            self.here, self.since, self.rig, self.lights.known(), self.last, self.lens, sky, sky_at, self.turned,
            self.began, self.began_with, dict(self.done), self.at_stop, dict(self.shifts), self.clip,
        )  # fmt: skip


class _Lights:
    """The newest readings of every place, their nudges with the time of each, and the sky."""

    def __init__(self, readings: Mapping[tuple[int, Part], Reading], under_sky: frozenset[int]) -> None:
        self.readings = dict(readings)
        self.nudges: dict[int, list[tuple[datetime, int]]] = {}
        self.under_sky = under_sky
        self.sky: Sky | None = None
        self.sky_at: datetime | None = None

    def take(self, event: Event) -> None:
        """Lay on an event that is about the light of several places, or about its readings."""
        match event.kind:
            case "sky_nudged":
                for place in event.data["places"]:
                    self.nudge(place, event.data["clicks"], event.made_at)
            case "sky_seen":
                self.see(event.data["sky"], event.made_at)
            case "reading_taken":
                self.read(event)

    def nudge(self, place: int, clicks: int, made_at: datetime) -> None:
        """A nudge corrects the reading it was made against; a later reading has the change in it already."""
        reading = self.readings.get((place, "face"))
        if reading is not None and reading.known_since <= made_at:
            self.nudges.setdefault(place, []).append((made_at, clicks))

    def see(self, sky: Sky, at: datetime) -> None:
        """Another sky: what was nudged under the one before was mostly its doing, and must not count twice."""
        for place in self.under_sky & self.nudges.keys():
            if (self.sky or self.readings[place, "face"].sky) != sky:
                self.nudges[place] = [nudge for nudge in self.nudges[place] if nudge[0] > at]
        self.sky, self.sky_at = sky, at

    def read(self, event: Event) -> None:
        """A reading, taken now or a while ago."""
        said, reading = event.data, _reading(event)
        taken_at = reading.taken_at
        key = (said["place"], said.get("part", "face"))
        known = self.readings.get(key)
        if known is not None and known.taken_at > taken_at:
            return
        if reading.sky is not None and ("taken_at" not in said or self._is_news(taken_at)):
            self.see(reading.sky, taken_at)
        self.readings[key] = reading
        if key[1] == "face":
            self.nudges.pop(key[0], None)

    def _is_news(self, taken_at: datetime) -> bool:
        """Whether a reading's sky is newer than what was said of it."""
        return self.sky_at is not None and taken_at > self.sky_at

    def look_up(self) -> None:
        """The venue's own readings may have seen the sky after the day's log did."""
        news = [(r.taken_at, r.sky) for r in self.readings.values() if r.sky is not None and self._is_news(r.taken_at)]
        for at, sky in sorted(news):
            self.see(sky, at)

    def known(self) -> dict[int, PlaceLight]:
        """Every place whose face was read."""
        return {
            place: PlaceLight(reading, sum(clicks for _, clicks in self.nudges.get(place, ())), self._others(place))
            for (place, part), reading in self.readings.items()
            if part == "face"
        }

    def _others(self, place: int) -> tuple[tuple[Part, Reading], ...]:
        there = ((part, self.readings.get((place, part))) for part in PARTS if part != "face")
        return tuple((part, reading) for part, reading in there if reading is not None)


def rig_from(data: Mapping[str, Any]) -> Rig:
    """A rig from its JSON form."""
    return Rig(
        holder_on=data["holder_on"],
        slots=tuple(data["slots"]),
        threads=tuple(data["threads"]),
        built_in=data["built_in"],
        aperture=data["aperture"],
        shutter=data["shutter"],
        iso=data["iso"],
        front=data.get("front"),
        turned=data.get("turned"),
    )


def rig_data(rig: Rig) -> dict[str, Any]:
    """A rig in its JSON form, as in the JSON calls."""
    return {name: getattr(rig, name) for name in RIG_FIELDS}
