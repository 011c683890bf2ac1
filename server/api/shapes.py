"""
The JSON shapes of the engine's calls, and their way into the engine's values and back.

The shapes only say what a field is called, its type and how many there may be; ranges are the engine's to refuse.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from server.exposure import glass, rig, scales, wording
from server.exposure.light import Light
from server.exposure.refused import OutOfRange
from server.exposure.rig import Kit

if TYPE_CHECKING:
    from collections.abc import Iterator

    from server.exposure.moves import Answers, Move


class Shape(BaseModel):
    """Numbers are numbers, never text or NaN; a field that is not known is a mistake worth hearing of."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)


Id = Annotated[str, Field(min_length=1, max_length=80)]


@contextmanager
def under(prefix: str) -> Iterator[None]:
    """Name the field of a refusal by its path in the request."""
    try:
        yield
    except OutOfRange as refusal:
        raise OutOfRange(f"{prefix}.{refusal.field}", refusal.came, refusal.allowed) from refusal


class IsoShape(Shape):
    """ISO speeds of a body."""

    base: list[float] = Field(description="ISO speeds: the native ones, one or two", min_length=1, max_length=4)
    allowed: list[float] = Field(
        description="ISO speeds that the shooter will use", min_length=1, max_length=rig.ISOS_MOST
    )
    quiet: float | None = Field(None, description="ISO speed: the highest that still shows no noise")


class BodyShape(Shape):
    """A camera body."""

    clicks_per_stop: int = Field(description="Detents of the aperture dial a stop: 3, 2, 1; 10 for a stepless iris")
    iso: IsoShape
    shutters: list[float] = Field(
        description="Exposure times that the shooter will use, s", min_length=1, max_length=rig.SHUTTERS_MOST
    )
    built_in_nd: list[float] = Field(
        default=[0.0],
        description="Positions of the built-in ND, stops, in their order",
        max_length=rig.BUILT_IN_MOST,
    )

    def value(self) -> rig.Body:
        """The engine's value."""
        return rig.Body(
            clicks_per_stop=scales.clicks_per_stop(self.clicks_per_stop),
            iso_base=tuple(self.iso.base),
            iso_allowed=tuple(self.iso.allowed),
            iso_quiet=self.iso.quiet,
            shutters=tuple(self.shutters),
            built_in_nd=tuple(self.built_in_nd) or (0.0,),
        )


class LensShape(Shape):
    """A lens."""

    widest: float = Field(description="f-number as marked")
    smallest: float = Field(description="f-number as marked")
    thread: float | None = Field(None, description="Filter thread, mm; null without one")
    loss_stops: float = Field(0.0, description="The lens's own loss, T-stop minus f-stop, stops")
    widest_long: float | None = Field(None, description="f-number as marked, at the long end of a zoom, if it is less")

    def value(self) -> rig.Lens:
        """The engine's value."""
        return rig.Lens(self.widest, self.smallest, self.thread, self.loss_stops, self.widest_long)


class HolderShape(Shape):
    """A filter holder."""

    width: float = Field(description="Width of the plates, mm")
    slots: int = Field(description="How many plates it holds")
    rings: list[float] = Field(
        description="Lens threads that there are adapter rings for, mm", max_length=glass.RINGS_MOST
    )
    front: float | None = Field(None, description="Thread of the front ring, mm; null without one")

    def value(self) -> glass.Holder:
        """The engine's value."""
        return glass.Holder(self.width, self.slots, tuple(self.rings), self.front)


class FilterShape(Shape):
    """A filter."""

    id: Id = Field(description="Unique in the kit")
    kind: glass.Kind = Field(
        "nd", description="Grads, polarisers, diffusion and colour are on only where a look wears them"
    )
    mount: glass.Mount = Field(description="In a slot, screwed on, or in the holder's front ring")
    density: float = Field(description="Marked optical density, D; a grad's dark half, a variable ND's clear end")
    density_to: float | None = Field(None, description="Dark end of a variable ND as far as it is usable, D")
    measured: float | None = Field(None, description="True optical density, D, if it was measured")
    edge: glass.Edge | None = Field(None, description="Of a grad")
    width: float | None = Field(None, description="Width of a plate, mm; left out: the holder's")
    thread: float | None = Field(None, description="Thread of a screwed-on filter or of one for the front ring, mm")

    def value(self) -> glass.Filter:
        """The engine's value."""
        return glass.Filter(**self.model_dump())


class LookShape(Shape):
    """The iris wanted, and how far it may stray."""

    wanted: float = Field(description="f-number as marked")
    widest: float = Field(description="f-number as marked")
    narrowest: float = Field(description="f-number as marked")
    shutter: float = Field(description="Exposure time, s")
    tolerance: float = Field(rig.TOLERANCE, description="Error that is not minded, 0 to 0.33 stop")
    rush_tolerance: float = Field(rig.RUSH_TOLERANCE, description="Error rather mended afterwards, 0 to 1 stop")
    worn: list[Id] = Field(
        default=[], description="Ids of the glass that belongs to the look", max_length=glass.FILTERS_MOST
    )
    long_end: bool = Field(default=False, description="Whether a zoom is at its long end")
    mains: int | None = Field(
        None, description="Mains of the lamps, 50 or 60 Hz: only shutters that are steady under it are used; null: any"
    )

    def value(self) -> rig.Look:
        """The engine's value."""
        return rig.Look(**self.model_dump(exclude={"worn"}), worn=frozenset(self.worn))


class RigShape(Shape):
    """What is on the camera."""

    holder_on: bool = Field(description="A holder that is off keeps its filters")
    slots: list[Id] = Field(description="Ids of the filters in the holder", max_length=glass.SLOTS_MOST)
    threads: list[Id] = Field(default=[], description="Ids of the screwed-on filters", max_length=glass.STACKED_MOST)
    built_in: float = Field(0.0, description="Built-in ND, stops")
    aperture: float = Field(description="f-number as marked")
    shutter: float = Field(description="Exposure time, s")
    iso: float = Field(description="ISO speed")
    front: Id | None = Field(None, description="Id of what is in the holder's front ring")
    turned: float | None = Field(None, description="What a variable ND in front of the lens is turned to, stops")

    def value(self) -> rig.Rig:
        """The engine's value."""
        return rig.Rig(
            **self.model_dump(exclude={"slots", "threads"}), slots=tuple(self.slots), threads=tuple(self.threads)
        )


class HandsShape(Shape):
    """Seconds for each action; those left out have the usual values."""

    pull: float | None = Field(None, description="s")
    drop_in: float | None = Field(None, description="s")
    holder_off: float | None = Field(None, description="s")
    holder_on: float | None = Field(None, description="s")
    unscrew: float | None = Field(None, description="s")
    screw_on: float | None = Field(None, description="s")
    front_off: float | None = Field(None, description="s")
    front_on: float | None = Field(None, description="s")
    turn: float | None = Field(None, description="s a stop of a variable ND")
    built_in: float | None = Field(None, description="s a position")
    iris: float | None = Field(None, description="s a stop turned")
    iso: float | None = Field(None, description="s")
    shutter: float | None = Field(None, description="s")
    stray: float | None = Field(None, description="s that one stop nearer to the wanted iris is worth")

    def value(self) -> rig.Hands:
        """The engine's value."""
        return rig.Hands(**self.model_dump(exclude_none=True))


class LightShape(Shape):
    """A light level."""

    ev100: float = Field(description="Exposure value at ISO 100, stops")

    def value(self) -> Light:
        """The engine's value."""
        return Light(self.ev100)


class KitShape(Shape):
    """What every solver call carries: the kit, the rig on the camera, and the hands."""

    body: BodyShape
    lens: LensShape
    holder: HolderShape | None = None
    filters: list[FilterShape] = Field(default=[], max_length=glass.FILTERS_MOST)
    step_ups: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = Field(
        default=[], description="Step-up rings, [from, to] each, mm", max_length=glass.RINGS_MOST
    )
    rig: RigShape
    hands: HandsShape = HandsShape()

    def kit(self) -> Kit:
        """The engine's value, with every refusal named by its path."""
        with under("body"):
            body = self.body.value()
        with under("lens"):
            lens = self.lens.value()
        holder = None
        if self.holder is not None:
            with under("holder"):
                holder = self.holder.value()
        filters = []
        for number, piece in enumerate(self.filters):
            with under(f"filters.{number}"):
                filters.append(piece.value())
        rings = tuple((start, to) for start, to in self.step_ups)
        return Kit(body, lens, holder, tuple(filters), self.hands.value(), rings)


class ActionShape(BaseModel):
    """One thing the hand does; only the fields that belong to it are there."""

    do: rig.Do
    filter: str | None = Field(None, description="Id of the filter")
    clicks: int | None = Field(None, description="Clicks of the iris")
    to: float | None = Field(None, description="Built-in or variable ND in stops, ISO speed, or exposure time in s")


class ScoreShape(BaseModel):
    """The parts that answers are compared by."""

    miss: float = Field(description="clicks")
    off_look: int = Field(description="clicks")
    shutter_off: float = Field(description="thirds of a stop")
    iso_lift: int = Field(description="thirds of a stop")
    hand_seconds: float = Field(description="s")
    glass_seconds: float = Field(description="s")
    off_wanted: int = Field(description="clicks")
    effort: float = Field(description="s")


class MoveShape(BaseModel):
    """An answer."""

    rig: RigShape
    actions: list[ActionShape] = Field(description="In the order a hand does them")
    residual: float = Field(description="What is left wrong, clicks; above 0 is too bright")
    score: ScoreShape
    say: str = Field(description="One sentence a person can act on")


class AnswersShape(BaseModel):
    """Both answers."""

    clean: MoveShape = Field(description="The best picture")
    fast: MoveShape = Field(description="Without touching the glass where that can be")


def answers_data(kit: Kit, answers: Answers) -> dict[str, Any]:
    """Both answers in their JSON form."""
    return {"clean": move_data(kit, answers.clean), "fast": move_data(kit, answers.fast)}


def move_data(kit: Kit, move: Move) -> dict[str, Any]:
    """An answer in its JSON form, figures unrounded."""
    return {
        "rig": {name: value for name, value in asdict(move.rig).items() if value is not None},
        "actions": [_action_data(action) for action in move.actions],
        "residual": move.residual,
        "score": asdict(move.score),
        "say": wording.sentence(kit, move),
    }


def _action_data(action: rig.Action) -> dict[str, Any]:
    fields = {"filter": action.filter, "clicks": action.clicks, "to": action.to}
    return {"do": action.do, **{name: value for name, value in fields.items() if value is not None}}
