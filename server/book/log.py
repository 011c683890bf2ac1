"""
A day's log, and the state folded from it.

An event says what a person did, never what follows from it. It is folded in the order of the time it was made, so
that phones which were offline agree whatever order they come back in. Undo is one more event.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, Literal

from server.exposure.light import Light
from server.exposure.rig import Rig

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

RIG_FIELDS = tuple(each.name for each in fields(Rig))
Kind = Literal["moved", "nudged", "rig_corrected", "lens_changed", "reading_taken", "undone"]


@dataclass(frozen=True, slots=True)
class Event:
    """
    One thing that happened. data, by kind:

    moved          place, answer ("clean", "fast" or "other"), rig: where the shooter went, with what on the camera
    nudged         place, clicks: the light rose (+) or fell (-)
    rig_corrected  rig: what is really on the camera
    lens_changed   lens: which one is on the camera now, rig: what stayed on it
    reading_taken  place, kind, raw, ev100
    undone         event: the id of the event taken back
    """

    id: str
    kind: Kind
    made_at: datetime
    who: str
    data: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Reading:
    """A light level at a place: ev100 [stops], when and how it was taken, and by whom."""

    ev100: float
    taken_at: datetime
    kind: str
    who: str


@dataclass(frozen=True, slots=True)
class PlaceLight:
    """The newest reading of a place and the clicks it was nudged by since."""

    reading: Reading
    nudge: int = 0

    @property
    def light(self) -> Light:
        """The light to work with."""
        return Light(self.reading.ev100).nudged(self.nudge)


@dataclass(frozen=True, slots=True)
class State:
    """
    Where the shooter stands, since when, with which rig on the camera, and the light at each place with a reading.

    lens is the one that was put on during the day, by its number; None: the one that the day began with.
    last is the event that undo takes back; None where there is nothing to undo.
    """

    here: int | None
    since: datetime | None
    rig: Rig
    lights: Mapping[int, PlaceLight] = field(default_factory=dict)
    last: Event | None = None
    lens: int | None = None


def fold(events: Iterable[Event], start: Rig, readings: Mapping[int, Reading]) -> State:
    """
    The state after these events, in whatever order they are given.

    start     the rig at the beginning of the day
    readings  the venue's newest reading of each place
    """
    kept = {event.id: event for event in events}
    ordered = sorted(kept.values(), key=lambda event: (event.made_at, event.id))
    undone = {event.data["event"] for event in ordered if event.kind == "undone"}
    lights = {place: PlaceLight(reading) for place, reading in readings.items()}
    here: int | None = None
    since: datetime | None = None
    lens: int | None = None
    rig, last = start, None
    for event in ordered:
        if event.kind == "undone" or event.id in undone:
            continue
        last = event
        if event.kind == "moved":
            here, since = event.data["place"], event.made_at
        if event.kind == "lens_changed":
            lens = event.data["lens"]
        if event.kind in ("moved", "rig_corrected", "lens_changed"):
            rig = rig_from(event.data["rig"])
        else:
            _light_after(lights, event)
    return State(here, since, rig, lights, last, lens)


def _light_after(lights: dict[int, PlaceLight], event: Event) -> None:
    """The light at a place after a reading or a nudge there."""
    place = event.data["place"]
    known = lights.get(place)
    if event.kind == "reading_taken":
        reading = Reading(event.data["ev100"], event.made_at, event.data["kind"], event.who)
        if known is None or known.reading.taken_at <= reading.taken_at:
            lights[place] = PlaceLight(reading)
    elif known is not None and known.reading.taken_at <= event.made_at:
        # A nudge corrects the reading it was made against; a later reading has the change in it already.
        lights[place] = PlaceLight(known.reading, known.nudge + event.data["clicks"])


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
