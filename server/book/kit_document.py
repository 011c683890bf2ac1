"""
A kit as a document: saved as a file, read from one, the same to the last digit.

The format is our own, and named in it. Everything of the tables is there but their numbers and stamps.
"""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, field_validator

from server.exposure import depth, glass, rig
from server.exposure.refused import OutOfRange
from server.language import noted, say

from . import kits, tables

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

THINGS_MOST = 40  # of a kind in a kit


class Part(BaseModel):
    """Numbers are numbers, never text or NaN; a field that is not known is a mistake worth hearing of."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, from_attributes=True)


ONE_LINE = noted("one line that can be seen, without spaces at its ends or two in a row")
Line = Annotated[str, Field(max_length=tables.NAME_LONGEST)]  # `kit_from` looks at the characters
Name = Annotated[Line, Field(min_length=1, description=f"What the shooter calls it: {ONE_LINE}")]


class BodyPart(Part):
    """A camera body."""

    name: Name
    clicks_per_stop: int = Field(description="Detents of the aperture dial a stop: 3, 2, 1; 10 for a stepless iris")
    iso_base: list[float] = Field(description="ISO speeds: the native ones, one or two", max_length=4)
    iso_allowed: list[float] = Field(description="ISO speeds that the shooter will use", max_length=rig.ISOS_MOST)
    iso_quiet: float | None = Field(None, description="ISO speed: the highest that shows no noise; null: only the base")
    shutters: list[float] = Field(
        description="Exposure times that the shooter will use, s", max_length=rig.SHUTTERS_MOST
    )
    frame_rate: float | None = Field(None, description="Frames a second, 1/s, for shutters as angles; null: not said")
    format: str | None = Field(
        None,
        description=f"Sensor: {', '.join(each.id for each in depth.FORMATS)}; null: not said",
        max_length=tables.NAME_LONGEST,
    )
    built_in_nd: list[float] = Field(
        default=[0.0], description="Positions of the built-in ND, stops, in their order", max_length=rig.BUILT_IN_MOST
    )


class LensPart(Part):
    """A lens."""

    name: Name
    widest: float = Field(description="f-number as marked")
    smallest: float = Field(description="f-number as marked")
    widest_long: float | None = Field(None, description="f-number as marked, at the long end of a zoom, if it is less")
    thread: float | None = Field(None, description="Filter thread, mm; null without one")
    loss_stops: float = Field(0.0, description="Its own loss, T-stop minus f-stop, stops")
    focal_mm: float | None = Field(None, description="Focal length, mm; of a zoom, at its short end; null: not said")
    focal_long_mm: float | None = Field(None, description="Focal length of a zoom at its long end, mm")


class HolderPart(Part):
    """A filter holder."""

    name: Name
    width: float = Field(description="Width of the plates, mm")
    slots: int = Field(description="How many plates it holds")
    rings: list[float] = Field(description="Lens threads with an adapter ring, mm", max_length=glass.RINGS_MOST)
    front: float | None = Field(None, description="Thread of the front ring, mm; null without one")


class FilterPart(Part):
    """A piece of glass."""

    name: Name
    kind: glass.Kind = Field("nd", description="Plain or variable ND; the others are on only where a look wears them")
    mount: glass.Mount = Field(description="In a slot, screwed on, or in the holder's front ring")
    engraved: Line = Field("", description=f"What stands on it: {ONE_LINE}")
    density: float = Field(description="Marked density, D; a grad's dark half, a variable ND's clear end")
    density_to: float | None = Field(None, description="A variable ND's dark end as far as it is usable, D")
    measured: float | None = Field(None, description="True density, D; null: not measured")
    measured_spread: float | None = Field(None, description="Its expanded uncertainty (k = 2), D", ge=0, le=20)
    edge: glass.Edge | None = Field(None, description="Of a grad; null for the others")
    width: float | None = Field(None, description="Width of a plate, mm; null: whatever the holder takes")
    thread: float | None = Field(None, description="Thread of a ring or of one for the front ring, mm")


HANDS = tuple(rig.Hands.__dataclass_fields__)


class KitDocument(Part):
    """A kit."""

    format: Literal["lychgate-kit"] = Field(description="What says that it is such a file")
    version: Literal[1] = Field(description="Of the format")
    name: Name
    hands: dict[str, float] = Field(
        default={},
        description="Seconds for each action that differ from the usual ones, s; turn and iris for each stop, built_in "
        "for each position, stray what a stop nearer to the wanted iris is worth",
        json_schema_extra={"propertyNames": {"enum": list(HANDS)}},
    )
    step_ups: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = Field(
        default=[], description="Step-up rings, [from, to] each, mm", max_length=glass.RINGS_MOST
    )
    bodies: list[BodyPart] = Field(default=[], description="Each with its own name", max_length=THINGS_MOST)
    lenses: list[LensPart] = Field(default=[], description="Each with its own name", max_length=THINGS_MOST)
    holders: list[HolderPart] = Field(default=[], description="Each with its own name", max_length=THINGS_MOST)
    filters: list[FilterPart] = Field(default=[], description="Each with its own name", max_length=glass.FILTERS_MOST)

    @field_validator("bodies", "lenses", "holders", "filters")
    @classmethod
    def each_name_once(cls, parts: list[Any]) -> list[Any]:
        """Two things of a kind with one name could not be told apart on the day."""
        names = [part.name for part in parts]
        if len(set(names)) < len(names):
            raise ValueError(say("things with a name of their own each"))
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
    # Lists and dictionaries of its own: a starter's document is read by every kit that is made from it.
    own = document.model_dump(include={"hands", "step_ups"})
    kit = tables.Kit(crew_id=crew_id, name=document.name, **own)
    kit.bodies = [tables.Body(**part.model_dump()) for part in document.bodies]
    kit.lenses = [tables.Lens(**part.model_dump()) for part in document.lenses]
    kit.holders = [tables.Holder(**part.model_dump()) for part in document.holders]
    kit.filters = [tables.Filter(**part.model_dump()) for part in document.filters]
    check_line("name", document.name)
    _check("bodies", kit.bodies, kits.check_body)
    _check("lenses", kit.lenses, kits.check_lens)
    _check("holders", kit.holders, kits.holder_of)
    _check("filters", kit.filters, _check_filter)
    for action in document.hands:
        if action not in HANDS:
            raise OutOfRange("hands", action, say("seconds for {actions}", actions=", ".join(HANDS)))
    rig.Hands(**document.hands)
    for number, (start, to) in enumerate(document.step_ups):
        if not start < to:
            raise OutOfRange(f"step_ups.{number}", [start, to], say("the smaller thread first"))
    rings = tuple((start, to) for start, to in document.step_ups)
    rig.Kit(rig.Body(3, (100.0,), (100.0,), (0.02,)), rig.Lens(2.8, 16.0), step_ups=rings)
    return kit


def check_line(field: str, text: str) -> None:
    """
    Let in only what the forms would keep as it is: a name of blanks cannot be tapped, and names that look alike cannot
    be told apart. Not a rule of the document itself: what was kept once can always be saved.
    """
    if any(unicodedata.category(c)[0] == "C" for c in text) or text != " ".join(text.split()):
        raise OutOfRange(field, text, say(ONE_LINE))


def _check_filter(row: tables.Filter) -> None:
    """What the engine asks of a filter, and an engraving that can be read."""
    kits.filter_of(row)
    check_line("engraved", row.engraved)


Row = TypeVar("Row", tables.Body, tables.Lens, tables.Holder, tables.Filter)


def _check(name: str, rows: Sequence[Row], check: Callable[[Row], object]) -> None:
    """Look at each thing; a refusal is named by its path."""
    for number, row in enumerate(rows):
        try:
            check_line("name", row.name)
            check(row)
        except OutOfRange as refused:
            field = refused.field.replace("iso.", "iso_")  # the engine speaks in the JSON calls' words
            raise OutOfRange(f"{name}.{number}.{field}", refused.came, refused.allowed) from refused


SCHEMA = KitDocument.model_json_schema() | {"$schema": "https://json-schema.org/draft/2020-12/schema"}
