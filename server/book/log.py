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
    from collections.abc import Iterable, Mapping

    from server.exposure.daylight import Sky

RIG_FIELDS = tuple(each.name for each in fields(Rig))
Kind = Literal[
    "moved", "nudged", "sky_nudged", "sky_seen", "rig_corrected", "lens_changed", "reading_taken", "undone"
]  # fmt: skip
Part = Literal["face", "bright", "dark"]
PARTS: tuple[Part, ...] = get_args(Part)


@dataclass(frozen=True, slots=True)
class Event:
    """
    One thing that happened. data, by kind:

    moved          place, answer ("clean", "fast" or "other"), rig: where the shooter went, with what on the camera
    nudged         place, clicks: the light rose (+) or fell (-)
    sky_nudged     places, clicks: the same at the other places under this sky, because the shooter said so
    sky_seen       sky: clear, partly or overcast, as it stands now
    rig_corrected  rig: what is really on the camera
    lens_changed   lens: which one is on the camera now, rig: what stayed on it
    reading_taken  place, kind, raw, ev100; where they were said: sky, part, and taken_at of a reading made earlier
    undone         event: the id of the event taken back
    """

    id: str
    kind: Kind
    made_at: datetime
    who: str
    data: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Reading:
    """A light level at a place: ev100 [stops], when and how it was taken, by whom, under which sky if it was noted."""

    ev100: float
    taken_at: datetime
    kind: str
    who: str
    sky: Sky | None = None


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
    Where the shooter stands, since when, with which rig on the camera, and the light at each place with a reading.

    lens is the one that was put on during the day, by its number; None: the one that the day began with.
    last is the event that undo takes back; None where there is nothing to undo.
    sky is what was last said of it; None where nobody did.
    turned is the place that was nudged last and by how many clicks in a row, while nothing else has happened since.
    """

    here: int | None
    since: datetime | None
    rig: Rig
    lights: Mapping[int, PlaceLight] = field(default_factory=dict)
    last: Event | None = None
    lens: int | None = None
    sky: Sky | None = None
    turned: tuple[int, int] | None = None


def fold(
    events: Iterable[Event],
    start: Rig,
    readings: Mapping[tuple[int, Part], Reading],
    under_sky: frozenset[int] = frozenset(),
) -> State:
    """
    The state after these events, in whatever order they are given.

    start      the rig at the beginning of the day
    readings   the venue's newest reading of each part of each place
    under_sky  the places that daylight reaches
    """
    kept = {event.id: event for event in events}
    ordered = sorted(kept.values(), key=lambda event: (event.made_at, event.id))
    undone = {event.data["event"] for event in ordered if event.kind == "undone"}
    folding = _Folding(start, _Lights(readings, under_sky))
    for event in ordered:
        if event.kind != "undone" and event.id not in undone:
            folding.take(event)
    return folding.state()


class _Folding:
    """The state while events are laid on it."""

    def __init__(self, start: Rig, lights: _Lights) -> None:
        self.here: int | None = None
        self.since: datetime | None = None
        self.lens: int | None = None
        self.rig, self.lights = start, lights
        self.last: Event | None = None
        self.turned: tuple[int, int] | None = None

    def take(self, event: Event) -> None:
        """Lay one event on."""
        self.last = event
        turned, self.turned = self.turned, None
        match event.kind:
            case "moved":
                self.here, self.since = event.data["place"], event.made_at
            case "lens_changed":
                self.lens = event.data["lens"]
            case "nudged":
                place, clicks = event.data["place"], event.data["clicks"]
                self.lights.nudge(place, clicks, event.made_at)
                self.turned = (place, clicks + (turned[1] if turned is not None and turned[0] == place else 0))
            case "sky_nudged":
                for place in event.data["places"]:
                    self.lights.nudge(place, event.data["clicks"], event.made_at)
            case "sky_seen":
                self.lights.see(event.data["sky"])
            case "reading_taken":
                self.lights.read(event)
        if "rig" in event.data:
            self.rig = rig_from(event.data["rig"])

    def state(self) -> State:
        """The state that it has come to."""
        lights, sky = self.lights.known(), self.lights.sky
        return State(self.here, self.since, self.rig, lights, self.last, self.lens, sky, self.turned)


class _Lights:
    """The newest readings of every place, their nudges, and the sky."""

    def __init__(self, readings: Mapping[tuple[int, Part], Reading], under_sky: frozenset[int]) -> None:
        self.readings = dict(readings)
        self.nudges: dict[int, int] = {}
        self.under_sky = under_sky
        self.sky: Sky | None = None

    def nudge(self, place: int, clicks: int, made_at: datetime) -> None:
        """A nudge corrects the reading it was made against; a later reading has the change in it already."""
        reading = self.readings.get((place, "face"))
        if reading is not None and reading.taken_at <= made_at:
            self.nudges[place] = self.nudges.get(place, 0) + clicks

    def see(self, sky: Sky) -> None:
        """Another sky: what was nudged under the old one was mostly its doing, and must not count twice."""
        if sky != self.sky:
            for place in self.under_sky:
                self.nudges.pop(place, None)
        self.sky = sky

    def read(self, event: Event) -> None:
        """A reading, taken now or a while ago."""
        said = event.data
        taken_at = datetime.fromisoformat(said["taken_at"]) if "taken_at" in said else event.made_at
        reading = Reading(said["ev100"], taken_at, said["kind"], event.who, said.get("sky"))
        key = (said["place"], said.get("part", "face"))
        known = self.readings.get(key)
        if known is not None and known.taken_at > taken_at:
            return
        if reading.sky is not None and "taken_at" not in said:
            self.see(reading.sky)
        self.readings[key] = reading
        if key[1] == "face":
            self.nudges.pop(key[0], None)

    def known(self) -> dict[int, PlaceLight]:
        """Every place whose face was read."""
        return {
            place: PlaceLight(reading, self.nudges.get(place, 0), self._others(place))
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
