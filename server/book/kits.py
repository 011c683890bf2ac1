"""Rows of a kit as the engine's values."""

from __future__ import annotations

from dataclasses import dataclass
from threading import Lock
from typing import TYPE_CHECKING, cast

from cachetools import LRUCache, cached

from server.exposure import cautions, depth, glass, rig
from server.exposure.looks import Taking
from server.exposure.refused import OutOfRange, within
from server.exposure.scales import FRAMES_FEWEST, FRAMES_MOST, clicks_per_stop
from server.language import noted, say

from . import tables

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

KITS_KNOWN = 500  # kits that are remembered, by their stamps


class KitIncomplete(LookupError):
    """The kit has no body or no lens, so nothing can be worked out."""


def body_of(row: tables.Body) -> rig.Body:
    """A body as the engine knows it."""
    return rig.Body(
        clicks_per_stop=clicks_per_stop(row.clicks_per_stop),
        iso_base=tuple(row.iso_base),
        iso_allowed=tuple(row.iso_allowed),
        iso_quiet=row.iso_quiet,
        shutters=tuple(row.shutters),
        built_in_nd=tuple(row.built_in_nd),
    )


def lens_of(row: tables.Lens) -> rig.Lens:
    """A lens as the engine knows it."""
    return rig.Lens(row.widest, row.smallest, row.thread, row.loss_stops, row.widest_long)


def holder_of(row: tables.Holder | None) -> glass.Holder | None:
    """A holder as the engine knows it."""
    return None if row is None else glass.Holder(row.width, row.slots, tuple(row.rings), row.front)


def filter_of(row: tables.Filter) -> glass.Filter:
    """A filter as the engine knows it. Its id is the row's number, so that a new name changes no log."""
    return glass.Filter(
        id=str(row.id),
        mount=cast("glass.Mount", row.mount),
        density=row.density,
        width=row.width,
        thread=row.thread,
        kind=cast("glass.Kind", row.kind),
        density_to=row.density_to,
        measured=row.measured,
        edge=cast("glass.Edge | None", row.edge),
        name=row.name,
    )


def check_body(row: tables.Body) -> None:
    """What the engine asks of a body, a sensor that it knows, and a frame rate that cameras run at: else OutOfRange."""
    body_of(row)
    if row.frame_rate is not None:
        within("frame_rate", row.frame_rate, FRAMES_FEWEST, FRAMES_MOST, noted("frames a second"))
    if row.format is not None:
        depth.format_of(row.format)


def check_lens(row: tables.Lens) -> None:
    """What the engine asks of a lens, and focal lengths that a lens has: else OutOfRange."""
    lens_of(row)
    for field, millimetres in (("focal_mm", row.focal_mm), ("focal_long_mm", row.focal_long_mm)):
        if millimetres is not None:
            within(field, millimetres, depth.FOCAL_SHORTEST, depth.FOCAL_LONGEST, "mm")
    if row.focal_long_mm is not None and not (row.focal_mm or 0) < row.focal_long_mm:
        raise OutOfRange("focal_long_mm", row.focal_long_mm, say("more than the focal length at the other end"))


def changed(kit: tables.Kit) -> None:
    """Say that something in the kit is not what it was. Every change of a kit calls this."""
    kit.stamp = tables.new_stamp()


Chosen = tuple[int | None, int | None, int | None]


@dataclass(frozen=True, slots=True)
class Carried:
    """
    What of a kit is in use: the kit as the engine knows it, with one body, lens and holder.

    body        its name
    lens        the number of the lens that is on, and lenses: the number and name of every lens there is
    sensor, frame_rate [1/s]  of the body, if they were said;  focal_mm, focal_long_mm [mm] of the lens, if they were
    stood_in    whether a body or lens that was chosen is not there any more
    """

    kit: rig.Kit
    body: str
    lens: int
    lenses: tuple[tuple[int, str], ...]
    sensor: depth.Format | None
    frame_rate: float | None
    focal_mm: float | None
    focal_long_mm: float | None
    stood_in: bool

    @property
    def taking(self) -> Taking:
        """What it takes its picture with."""
        return Taking(self.kit, self.sensor, self.focal_mm, self.focal_long_mm)

    def focal(self, *, long_end: bool) -> float | None:
        """The focal length in use [mm], if it is known."""
        return self.taking.focal(long_end=long_end)

    def sight(self, focal: float | None) -> cautions.Sight | None:
        """What the lens sees at a focal length [mm], where the sensor and that are known."""
        return None if self.sensor is None or focal is None else cautions.Sight(focal, self.sensor.diagonal_mm)


@cached(LRUCache(KITS_KNOWN), key=lambda _session, stamp, _kit_id, chosen: (stamp, chosen), lock=Lock())
def carried(session: Session, stamp: str, kit_id: int, chosen: Chosen) -> Carried:  # noqa: ARG001 - it is the key
    """
    A kit with one of its bodies, lenses and holders.

    chosen: the numbers of the body, lens and holder; a body or lens that is not there any more gives way to the first,
    a holder that has no ring for the lens to one that has. Raises KitIncomplete where there is no body or no lens.
    A kit is read once for each stamp: it makes up most of a day's rows.
    """
    kit = session.get_one(tables.Kit, kit_id)
    body_id, lens_id, holder_id = chosen
    body = next((row for row in kit.bodies if row.id == body_id), None) or next(iter(kit.bodies), None)
    lens = next((row for row in kit.lenses if row.id == lens_id), None) or next(iter(kit.lenses), None)
    if body is None or lens is None:
        raise KitIncomplete(kit.name)
    step_ups = tuple((start, to) for start, to in kit.step_ups)
    return Carried(
        kit=rig.Kit(
            body=body_of(body),
            lens=lens_of(lens),
            holder=_holder_for(kit, lens, holder_id, step_ups),
            filters=tuple(filter_of(row) for row in kit.filters),
            hands=rig.Hands(**kit.hands),
            step_ups=step_ups,
        ),
        body=body.name,
        lens=lens.id,
        lenses=tuple((row.id, row.name) for row in kit.lenses),
        sensor=None if body.format is None else depth.format_of(body.format),
        frame_rate=body.frame_rate,
        focal_mm=lens.focal_mm,
        focal_long_mm=lens.focal_long_mm,
        stood_in=body.id != body_id or lens.id != lens_id,
    )


def _holder_for(
    kit: tables.Kit, lens: tables.Lens, holder_id: int | None, step_ups: glass.StepUps
) -> glass.Holder | None:
    """The holder that was chosen, or where it has no ring for this lens, one that has."""
    if holder_id is None:
        return None
    holders = [holder_of(row) for row in sorted(kit.holders, key=lambda row: row.id != holder_id)]
    known = [holder for holder in holders if holder is not None]
    mounts = [holder for holder in known if holder.mounts_on(lens.thread, step_ups)]
    return next(iter([*mounts, *known]), None)
