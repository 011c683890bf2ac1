"""Crews, and looking a thing up as one of a crew's own."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from sqlalchemy import select

from server.language import noted, say

from .tables import Crew, Day, Kit, Venue

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

Owned = TypeVar("Owned", Kit, Venue, Day)

FIRST_CREW = noted("My crew")


class NotThere(LookupError):
    """Nothing of this crew has that number."""


def first_crew(session: Session) -> Crew:
    """The crew of a book that has only one; made where there is none yet."""
    crew = session.scalars(select(Crew).order_by(Crew.id).limit(1)).first()
    if crew is None:
        crew = Crew(name=say(FIRST_CREW))
        session.add(crew)
        session.flush()
    return crew


def only_crew(session: Session) -> tuple[int, str] | None:
    """The number and the name of a book's one crew; None where it has several, or none."""
    crews = session.execute(_TWO_CREWS).all()
    return (crews[0].id, crews[0].name) if len(crews) == 1 else None


_TWO_CREWS = select(Crew.id, Crew.name).limit(2)


class AmbiguousCrew(LookupError):
    """Which crew is meant cannot be told; the message lists those that there are."""


def crew_to_enter(session: Session, name: str | None, new: str | None) -> Crew:
    """A crew by its name, a new one, or the only one; made where there is none yet. Raises AmbiguousCrew."""
    if new is not None:
        crew = Crew(name=new)
        session.add(crew)
        session.flush()
        return crew
    crews = session.scalars(select(Crew).order_by(Crew.id)).all()
    if not crews and name is None:
        return first_crew(session)
    found = [crew for crew in crews if name in (None, crew.name)]
    if len(found) != 1:
        known = ", ".join(f"“{crew.name}”" for crew in crews[:20]) or "none yet"
        raise AmbiguousCrew(f"Say with --crew which one is meant. There are: {known}.")
    return found[0]


def owned(session: Session, table: type[Owned], crew_id: int, number: int) -> Owned:
    """The crew's own row with this number; NotThere for any other, another crew's included."""
    row = session.scalars(select(table).where(table.id == number, table.crew_id == crew_id)).unique().first()
    if row is None:
        raise NotThere(table.__tablename__)
    return row


def all_owned(session: Session, table: type[Owned], crew_id: int) -> list[Owned]:
    """All rows of a crew, oldest first."""
    return list(session.scalars(select(table).where(table.crew_id == crew_id).order_by(table.id)).unique())
