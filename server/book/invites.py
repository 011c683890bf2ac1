"""
Who is let into a crew: invites and short codes, and the sessions that browsers hold once they are in.

A session is looked up on every request, so ending one holds from the next request on. What has run out counts as not
there; it is cleared away within an hour (`door.housekeeping`), or when the next invite is made.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, delete, func, or_, select, update

from . import tables
from .crews import NotThere
from .tokens import code_typed, hashed, new_code, new_token

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from sqlalchemy import ColumnElement
    from sqlalchemy.orm import Session

    from .people import Role

INVITE_LASTS = {
    "hour": timedelta(hours=1),
    "day": timedelta(days=1),
    "week": timedelta(days=7),
    "month": timedelta(days=30),
}
USES_MOST = 50
CODE_LASTS = timedelta(minutes=10)
SESSION_LASTS = timedelta(days=365)  # from when it was begun, however often it is used
SESSION_IDLE = timedelta(days=60)  # since it was last used: from one season's wedding to the next
USED_EVERY = timedelta(minutes=5)  # how exactly the last use is kept: a write for every page would be too much
DEVICE_LONGEST = 80


class LastLead(Exception):
    """A crew needs somebody who may let others in."""


@dataclass(frozen=True, slots=True)
class Admitted:
    """Somebody whose browser holds a session: the row of a request's visitor."""

    session: int
    used_at: datetime
    person: int
    name: str
    role: Role
    crew: int
    crew_name: str


_ADMITTED_COLUMNS = (
    select(
        tables.BrowserSession.id, tables.BrowserSession.hash, tables.BrowserSession.used_at,
        tables.BrowserSession.expires_at, tables.Person.id.label("person"), tables.Person.name, tables.Person.role,
        tables.Crew.id.label("crew"), tables.Crew.name.label("crew_name"),
    )
    .join(tables.Person, tables.Person.id == tables.BrowserSession.person_id)
    .join(tables.Crew, tables.Crew.id == tables.Person.crew_id)
)  # fmt: skip
_ADMITTED = _ADMITTED_COLUMNS.where(tables.BrowserSession.hash == bindparam("hash"))


def admitted(session: Session, token: str, now: datetime) -> Admitted | None:
    """Who holds a session with this secret; None where it has ended, has run out, or never was."""
    wanted = hashed(token)
    row = session.execute(_ADMITTED, {"hash": wanted}).first()
    if row is None or not hmac.compare_digest(row.hash, wanted) or not _lives(row, now):
        return None
    return _who(row)


_STILL_IN = _ADMITTED_COLUMNS.where(tables.BrowserSession.id.in_(bindparam("numbers", expanding=True)))


def still_in(session: Session, numbers: Collection[int], now: datetime) -> dict[int, Admitted]:
    """Who holds these sessions, as far as they have not ended."""
    rows = session.execute(_STILL_IN, {"numbers": list(numbers)})
    return {row.id: _who(row) for row in rows if _lives(row, now)}


def _lives(row: Any, now: datetime) -> bool:
    return bool(now < min(row.expires_at, row.used_at + SESSION_IDLE))


def _who(row: Any) -> Admitted:
    return Admitted(row.id, row.used_at, row.person, row.name, row.role, row.crew, row.crew_name)


def used_again(session: Session, number: int, now: datetime) -> None:
    """Keep that a session was used."""
    row = tables.BrowserSession
    session.execute(update(row).where(row.id == number).values(used_at=now))


@dataclass(frozen=True, slots=True)
class Offer:
    """What an invite is worth, to be read before it is taken: into which crew, as what, as whom if that is said."""

    crew: str
    role: Role
    name: str
    person: int | None
    until: datetime


def make_invite(
    session: Session, crew_id: int, role: Role, made_by: str, lasts: timedelta, uses: int = 1, name: str = "",
    person: int | None = None,
) -> str:  # fmt: skip
    """
    A new invite; its secret, which nobody can look up again.

    person  somebody who is in the crew already and comes with another phone; NotThere where they are not
    """
    now = datetime.now(UTC)
    clear_away(session, now)
    if person is not None:
        member = _person(session, crew_id, person)
        role, name = member.role, member.name
    token = new_token()
    session.add(
        tables.Invite(
            crew_id=crew_id, hash=hashed(token), role=role, name=name, person_id=person, made_by=made_by, made_at=now,
            expires_at=now + lasts, uses_left=uses,
        )
    )  # fmt: skip
    return token


def offer_of(session: Session, token: str) -> Offer | None:
    """What an invite offers. Nothing of it is used up. None where it is not, or not any more."""
    invite = _invite(session, token)
    if invite is None:
        return None
    crew = session.get_one(tables.Crew, invite.crew_id)
    return Offer(crew.name, invite.role, invite.name, invite.person_id, invite.expires_at)


def join(session: Session, token: str, name: str, device: str) -> str | None:
    """
    Come in by an invite; the new session's secret. None where the invite is not, or not any more.

    The session must be a writing one: two who come by the last use of an invite come one after the other.
    """
    invite = _invite(session, token)
    if invite is None:
        return None
    taken = session.execute(
        update(tables.Invite)
        .where(tables.Invite.id == invite.id, tables.Invite.uses_left > 0)
        .values(uses_left=tables.Invite.uses_left - 1)
        .returning(tables.Invite.id)
    ).first()
    if taken is None:
        return None
    person = invite.person_id
    if person is None:
        row = tables.Person(crew_id=invite.crew_id, name=name, role=invite.role, joined_at=datetime.now(UTC))
        session.add(row)
        session.flush()
        person = row.id
    return _begin(session, person, device)


def make_code(session: Session, person: int) -> str:
    """A short code by which another browser of this person comes in, once; an earlier one of theirs ends."""
    now = datetime.now(UTC)
    row = tables.PairingCode
    session.execute(delete(row).where((row.person_id == person) | (row.expires_at <= now)))
    code = new_code()
    session.add(row(person_id=person, hash=hashed(code), expires_at=now + CODE_LASTS))
    return code


def pair(session: Session, typed: str, device: str) -> str | None:
    """Come in by a short code; the new session's secret. None where there is no such code, or not any more."""
    row = tables.PairingCode
    gone = delete(row).where(row.hash == hashed(code_typed(typed))).returning(row.person_id, row.expires_at)
    found = session.execute(gone).first()
    if found is None or found.expires_at <= datetime.now(UTC):
        return None
    return _begin(session, found.person_id, device)


def people_of(session: Session, crew_id: int) -> Sequence[tables.Person]:
    """Everybody of a crew with their sessions, in the order they came."""
    row = tables.Person
    return session.scalars(select(row).where(row.crew_id == crew_id).order_by(row.id)).unique().all()


def invites_of(session: Session, crew_id: int) -> Sequence[tables.Invite]:
    """The invites of a crew that still let somebody in, the newest first."""
    row = tables.Invite
    lives = (row.crew_id == crew_id, row.uses_left > 0, row.expires_at > datetime.now(UTC))
    return session.scalars(select(row).where(*lives).order_by(row.id.desc())).all()


def end_invite(session: Session, crew_id: int, number: int) -> None:
    """Nobody comes in by it any more. Raises NotThere."""
    row = tables.Invite
    ended = delete(row).where(row.id == number, row.crew_id == crew_id).returning(row.id)
    if session.execute(ended).first() is None:
        raise NotThere("invites")


def end_session(session: Session, crew_id: int, number: int, person: int | None = None) -> None:
    """A browser is out from its next request on. person: only where it is theirs. Raises NotThere."""
    row = session.get(tables.BrowserSession, number)
    owner = None if row is None else session.get(tables.Person, row.person_id)
    if row is None or owner is None or owner.crew_id != crew_id or person not in (None, owner.id):
        raise NotThere("sessions")
    session.delete(row)


def change_role(session: Session, crew_id: int, person: int, role: Role) -> None:
    """Somebody may do more, or less. Raises NotThere, or LastLead."""
    row = _person(session, crew_id, person)
    if row.role == "lead" and role != "lead":
        _other_lead(session, crew_id, person)
    row.role = role


def let_go(session: Session, crew_id: int, person: int) -> None:
    """Somebody is out, with all their browsers; what they did stays in the logs. Raises NotThere, or LastLead."""
    row = _person(session, crew_id, person)
    if row.role == "lead":
        _other_lead(session, crew_id, person)
    session.delete(row)


def is_to_clear(session: Session, now: datetime) -> bool:
    """Whether anything has run out that is still kept."""
    return any(session.execute(select(row.id).where(over).limit(1)).first() for row, over in _run_out(now))


def clear_away(session: Session, now: datetime) -> None:
    """Invites, codes, sessions and links that have run out go."""
    for row, over in _run_out(now):
        session.execute(delete(row).where(over))


def _run_out(now: datetime) -> Sequence[tuple[Any, ColumnElement[bool]]]:
    invite, code, seen, link = tables.Invite, tables.PairingCode, tables.BrowserSession, tables.SharedLink
    return (
        (invite, or_(invite.expires_at <= now, invite.uses_left <= 0)),
        (code, code.expires_at <= now),
        (seen, or_(seen.expires_at <= now, seen.used_at <= now - SESSION_IDLE)),
        (link, link.expires_at <= now),
    )


def _begin(session: Session, person: int, device: str) -> str:
    token, now = new_token(), datetime.now(UTC)
    session.add(
        tables.BrowserSession(
            person_id=person, hash=hashed(token), device=device[:DEVICE_LONGEST], begun_at=now, used_at=now,
            expires_at=now + SESSION_LASTS,
        )
    )  # fmt: skip
    return token


def _invite(session: Session, token: str) -> tables.Invite | None:
    wanted = hashed(token)
    invite = session.scalars(select(tables.Invite).where(tables.Invite.hash == wanted)).first()
    if invite is None or not hmac.compare_digest(invite.hash, wanted):
        return None
    return invite if invite.uses_left > 0 and invite.expires_at > datetime.now(UTC) else None


def _person(session: Session, crew_id: int, person: int) -> tables.Person:
    row = session.get(tables.Person, person)
    if row is None or row.crew_id != crew_id:
        raise NotThere("people")
    return row


def _other_lead(session: Session, crew_id: int, person: int) -> None:
    row = tables.Person
    others = select(func.count()).where(row.crew_id == crew_id, row.role == "lead", row.id != person)
    if not session.scalar(others):
        raise LastLead
