"""Rows of a kit as the engine's values."""

from __future__ import annotations

from typing import TYPE_CHECKING

from server.exposure import glass, rig
from server.exposure.scales import clicks_per_stop

if TYPE_CHECKING:
    from . import tables


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


def kit_of(kit: tables.Kit, body: tables.Body, lens: tables.Lens, holder: tables.Holder | None) -> rig.Kit:
    """A kit with one of its bodies, lenses and holders, as the engine knows it."""
    return rig.Kit(
        body=body_of(body),
        lens=lens_of(lens),
        holder=holder_of(holder),
        filters=tuple(filter_of(row) for row in kit.filters),
        hands=rig.Hands(**kit.hands),
    )
