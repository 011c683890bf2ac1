"""
A day's log, and the state folded from it.

An event says what a person did, never what follows from it. It is folded in the order of the time it was made, so
that phones which were offline agree whatever order they come back in. Undo is one more event.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

from server.exposure.light import Light
from server.exposure.rig import Rig

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

Kind = Literal["moved", "nudged", "rig_corrected", "reading_taken", "undone"]


@dataclass(frozen=True, slots=True)
class Event:
    """
    One thing that happened. data, by kind:

    moved          place, answer ("clean", "fast" or "stay"), rig: where the shooter went, with what on the camera
    nudged         place, clicks: the light rose (+) or fell (-)
    rig_corrected  rig: what is really on the camera
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

    last is the event that undo takes back; None where there is nothing to undo.
    """

    here: int | None
    since: datetime | None
    rig: Rig
    lights: Mapping[int, PlaceLight] = field(default_factory=dict)
    last: Event | None = None


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
    state = State(here=None, since=None, rig=start)
    for event in ordered:
        if event.kind == "undone" or event.id in undone:
            continue
        state = _after(state, event, lights)
    return replace(state, lights=lights)


def _after(state: State, event: Event, lights: dict[int, PlaceLight]) -> State:
    data = event.data
    if event.kind == "moved":
        return replace(state, here=data["place"], since=event.made_at, rig=rig_from(data["rig"]), last=event)
    if event.kind == "rig_corrected":
        return replace(state, rig=rig_from(data["rig"]), last=event)
    known = lights.get(data["place"])
    if event.kind == "reading_taken":
        reading = Reading(data["ev100"], event.made_at, data["kind"], event.who)
        if known is None or known.reading.taken_at <= reading.taken_at:
            lights[data["place"]] = PlaceLight(reading)
    elif known is not None and known.reading.taken_at <= event.made_at:
        # A nudge corrects the reading it was made against; a later reading has the change in it already.
        lights[data["place"]] = replace(known, nudge=known.nudge + data["clicks"])
    return replace(state, last=event)


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
    )


def rig_data(rig: Rig) -> dict[str, Any]:
    """A rig in its JSON form, as in the JSON calls."""
    return asdict(rig)
