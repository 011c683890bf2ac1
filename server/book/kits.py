"""Rows of a kit as the engine's values."""

from __future__ import annotations

from typing import TYPE_CHECKING

from server.exposure import glass, rig
from server.exposure.scales import clicks_per_stop

from . import tables
from .known import Known

if TYPE_CHECKING:
    from sqlalchemy.orm import Session


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
    return rig.Lens(row.widest, row.smallest, row.thread, row.loss_stops)


def holder_of(row: tables.Holder | None) -> glass.Holder | None:
    """A holder as the engine knows it."""
    return None if row is None else glass.Holder(row.width, row.slots, tuple(row.rings))


def filter_of(row: tables.Filter) -> glass.Filter:
    """A filter as the engine knows it. Its id is the row's number, so that a new name changes no log."""
    mount: glass.Mount = "slot" if row.mount == "slot" else "thread"
    return glass.Filter(str(row.id), mount, row.density, row.width, row.thread, name=row.name)


def changed(kit: tables.Kit) -> None:
    """Say that something in the kit is not what it was. Every change of a kit calls this."""
    kit.stamp = tables.new_stamp()


def kit_of(session: Session, stamp: str, kit_id: int, chosen: tuple[int | None, int | None, int | None]) -> rig.Kit:
    """
    A kit with one of its bodies, lenses and holders, as the engine knows it.

    chosen: the numbers of the body, lens and holder; a body or lens that is not there any more gives way to the first.
    Raises KitIncomplete where there is none. A kit is read once for each stamp: it makes up most of a day's rows.
    """
    return _kits.get((stamp, chosen), lambda: _read_kit(session, kit_id, chosen))


_kits: Known[tuple[str, tuple[int | None, int | None, int | None]], rig.Kit] = Known()


def _read_kit(session: Session, kit_id: int, chosen: tuple[int | None, int | None, int | None]) -> rig.Kit:
    kit = session.get_one(tables.Kit, kit_id)
    body_id, lens_id, holder_id = chosen
    body = next((row for row in kit.bodies if row.id == body_id), None) or next(iter(kit.bodies), None)
    lens = next((row for row in kit.lenses if row.id == lens_id), None) or next(iter(kit.lenses), None)
    if body is None or lens is None:
        raise KitIncomplete(kit.name)
    return rig.Kit(
        body=body_of(body),
        lens=lens_of(lens),
        holder=holder_of(next((row for row in kit.holders if row.id == holder_id), None)),
        filters=tuple(filter_of(row) for row in kit.filters),
        hands=rig.Hands(**kit.hands),
    )
