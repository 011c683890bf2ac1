"""
A kit as a document: saved as a file, read from one, the same to the last digit.

The format is our own, and named in it. Everything of the tables is there but their numbers and stamps.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, field_validator

from server.exposure import glass, rig
from server.exposure.refused import OutOfRange

from . import kits, tables

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

THINGS_MOST = 40  # of a kind in a kit


class Part(BaseModel):
    """Numbers are numbers, never text or NaN; a field that is not known is a mistake worth hearing of."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, from_attributes=True)


Name = Annotated[str, StringConstraints(min_length=1, max_length=tables.NAME_LONGEST, pattern=r"^[^\x00-\x1f\x7f]+$")]
Engraving = Annotated[str, StringConstraints(max_length=tables.NAME_LONGEST, pattern=r"^[^\x00-\x1f\x7f]*$")]
Millimetres = Annotated[float, Field(description="mm")]


class BodyPart(Part):
    """A camera body."""

    name: Name
    clicks_per_stop: int = Field(description="Detents of the aperture dial a stop: 3, 2, 1; 10 for a stepless iris")
    iso_base: list[float] = Field(description="ISO speeds", max_length=4)
    iso_allowed: list[float] = Field(description="ISO speeds that the shooter will use", max_length=rig.ISOS_MOST)
    iso_quiet: float | None = Field(None, description="ISO speed: the highest that shows no noise")
    shutters: list[float] = Field(description="Exposure times, s", max_length=rig.SHUTTERS_MOST)
    frame_rate: float | None = Field(None, description="Frames a second, for shutters as angles")
    format: str | None = Field(None, description="Id of the sensor format", max_length=tables.NAME_LONGEST)
    built_in_nd: list[float] = Field(default=[0.0], description="Positions, stops", max_length=rig.BUILT_IN_MOST)


class LensPart(Part):
    """A lens."""

    name: Name
    widest: float = Field(description="f-number as marked")
    smallest: float = Field(description="f-number as marked")
    widest_long: float | None = Field(None, description="f-number as marked, at the long end, if it is less")
    thread: Millimetres | None = None
    loss_stops: float = Field(0.0, description="T-stop minus f-stop, stops")
    focal_mm: Millimetres | None = None
    focal_long_mm: Millimetres | None = None


class HolderPart(Part):
    """A filter holder."""

    name: Name
    width: Millimetres
    slots: int
    rings: list[float] = Field(description="Lens threads with an adapter ring, mm", max_length=glass.RINGS_MOST)
    front: float | None = Field(None, description="Thread of the front ring, mm")


class FilterPart(Part):
    """A piece of glass."""

    name: Name
    kind: glass.Kind = "nd"
    mount: glass.Mount
    engraved: Engraving = Field("", description="What stands on it")
    density: float = Field(description="Marked density, D; a variable ND's clear end")
    density_to: float | None = Field(None, description="A variable ND's dark end, D")
    measured: float | None = Field(None, description="True density, D")
    measured_spread: float | None = Field(None, description="Its expanded uncertainty (k = 2), D", ge=0, le=20)
    edge: glass.Edge | None = None
    width: Millimetres | None = None
    thread: Millimetres | None = None


class KitDocument(Part):
    """A kit."""

    format: Literal["lychgate-kit"]
    version: Literal[1]
    name: Name
    hands: dict[str, float] = Field(default={}, description="Seconds for each action that differ from the usual ones")
    step_ups: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = Field(
        default=[], description="Step-up rings, [from, to] each, mm", max_length=glass.RINGS_MOST
    )
    bodies: list[BodyPart] = Field(default=[], max_length=THINGS_MOST)
    lenses: list[LensPart] = Field(default=[], max_length=THINGS_MOST)
    holders: list[HolderPart] = Field(default=[], max_length=THINGS_MOST)
    filters: list[FilterPart] = Field(default=[], max_length=glass.FILTERS_MOST)

    @field_validator("bodies", "lenses", "holders", "filters")
    @classmethod
    def each_name_once(cls, parts: list[Any]) -> list[Any]:
        """Two things of a kind with one name could not be told apart on the day."""
        names = [part.name for part in parts]
        if len(set(names)) < len(names):
            raise ValueError("things with a name of their own each")
        return parts


def document_of(kit: tables.Kit) -> KitDocument:
    """A kit as a document."""
    return KitDocument(
        format="lychgate-kit",
        version=1,
        name=kit.name,
        hands=kit.hands,
        step_ups=kit.step_ups,
        bodies=[BodyPart.model_validate(row) for row in kit.bodies],
        lenses=[LensPart.model_validate(row) for row in kit.lenses],
        holders=[HolderPart.model_validate(row) for row in kit.holders],
        filters=[FilterPart.model_validate(row) for row in kit.filters],
    )


def kit_from(document: KitDocument, crew_id: int) -> tables.Kit:
    """
    A new kit of a crew from a document, each thing checked by the engine.

    Raises OutOfRange, with the path of the field, for what no kit can be.
    """
    kit = tables.Kit(crew_id=crew_id, name=document.name, hands=document.hands, step_ups=document.step_ups)
    kit.bodies = [tables.Body(**part.model_dump()) for part in document.bodies]
    kit.lenses = [tables.Lens(**part.model_dump()) for part in document.lenses]
    kit.holders = [tables.Holder(**part.model_dump()) for part in document.holders]
    kit.filters = [tables.Filter(**part.model_dump()) for part in document.filters]
    _check("bodies", kit.bodies, kits.body_of)
    _check("lenses", kit.lenses, kits.lens_of)
    _check("holders", kit.holders, kits.holder_of)
    _check("filters", kit.filters, kits.filter_of)
    unknown = [name for name in document.hands if name not in rig.Hands.__dataclass_fields__]
    if unknown:
        raise OutOfRange("hands", unknown[0], ", ".join(rig.Hands.__dataclass_fields__))
    rig.Hands(**document.hands)
    rings = tuple((start, to) for start, to in document.step_ups)
    rig.Kit(rig.Body(3, (100.0,), (100.0,), (0.02,)), rig.Lens(2.8, 16.0), step_ups=rings)
    return kit


Row = TypeVar("Row")


def _check(name: str, rows: Sequence[Row], check: Callable[[Row], object]) -> None:
    """Let the engine look at each thing; a refusal is named by its path."""
    for number, row in enumerate(rows):
        try:
            check(row)
        except OutOfRange as refused:
            raise OutOfRange(f"{name}.{number}.{refused.field}", refused.came, refused.allowed) from refused


SCHEMA = KitDocument.model_json_schema() | {"$schema": "https://json-schema.org/draft/2020-12/schema"}
