"""How a change of a day is known: its revision, which pages carry and which is another one after each change."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, select

from . import tables
from .crews import NotThere

if TYPE_CHECKING:
    from collections.abc import Collection

    from sqlalchemy.orm import Session

_IN_ORDER = (  # else the same cameras might make another revision next time
    select(tables.Kit.stamp)
    .join(tables.Camera, tables.Camera.kit_id == tables.Kit.id)
    .where(tables.Camera.day_id == tables.Day.id)
    .order_by(tables.Camera.id)
    .correlate(tables.Day)
    .subquery()
)
_OTHER_KITS = (
    select(func.coalesce(func.aggregate_strings(_IN_ORDER.c.stamp, ""), "")).correlate(tables.Day).scalar_subquery()
)
# All that a day's answers depend on: the day's stamp, that of its kit, and those of the other cameras' kits. A column
# for a question that has days and kits in it already.
STAMPS = (tables.Day.stamp + tables.Kit.stamp + _OTHER_KITS).label("stamps")

_OF_DAYS = (
    select(tables.Day.id, STAMPS)
    .join(tables.Kit, tables.Kit.id == tables.Day.kit_id)
    .where(tables.Day.id.in_(bindparam("days", expanding=True)))
)


def revision_of(stamps: str) -> str:
    """A short word for these stamps."""
    return hashlib.blake2s(stamps.encode(), digest_size=8).hexdigest()


def revisions(session: Session, days: Collection[int]) -> dict[int, str]:
    """The revisions of days, as far as they are there. Of any crew: whoever listens was let through before."""
    return {day: revision_of(stamps) for day, stamps in session.execute(_OF_DAYS, {"days": list(days)})}


def revision(session: Session, crew_id: int, day_id: int) -> str:
    """The revision of a day. Raises NotThere for any but the crew's own."""
    row = session.execute(_OF_DAYS.where(tables.Day.crew_id == crew_id), {"days": [day_id]}).first()
    if row is None:
        raise NotThere("days")
    return revision_of(row.stamps)
