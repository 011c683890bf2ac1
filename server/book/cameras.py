"""Another camera on a day: somebody's own kit there, beside the first camera."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import select

from . import tables
from .days import changed, start_rig, usual_look

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from server.exposure.looks import How

    from .people import Member


@dataclass(frozen=True, slots=True)
class Own:
    """What somebody films with: numbers of the kit, body, lens and holder, and how it goes with the first camera."""

    kit: tables.Kit
    body: tables.Body
    lens: tables.Lens
    holder: int | None
    matches: How


def own_camera(session: Session, member: Member, day: tables.Day) -> tables.Camera | None:
    """Somebody's own camera on a day; None where they film with the first."""
    row = tables.Camera
    return session.scalars(select(row).where(row.day_id == day.id, row.person_id == member.person)).first()


def film_with(session: Session, member: Member, day: tables.Day, own: Own) -> None:
    """
    Have somebody film a day with a camera of their own, from now on. Their camera keeps its number, and so its log.

    Raises ValueError for whoever is nobody of the crew: there would be nobody to give it to.
    """
    if member.person is None:
        message = "a camera is somebody's"
        raise ValueError(message)
    camera = own_camera(session, member, day)
    if camera is None:
        camera = tables.Camera(day_id=day.id, person_id=member.person)
        session.add(camera)
    camera.name, camera.matches = member.name, own.matches
    if camera.kit_id != own.kit.id:
        camera.start = start_rig(own.body, usual_look(own.body, own.lens))
    camera.kit_id, camera.body_id, camera.lens_id, camera.holder_id = own.kit.id, own.body.id, own.lens.id, own.holder
    changed(session, day.id)


def film_with_the_first(session: Session, member: Member, day: tables.Day) -> None:
    """Have somebody film with the day's first camera again. What their own did stays in the log."""
    camera = own_camera(session, member, day)
    if camera is not None:
        camera.person_id = None
        changed(session, day.id)
