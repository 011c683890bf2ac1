"""
Links to a day that are read without an account: made, listed, opened, ended.

Only a link's hash is kept, so its address is shown once. What has run out counts as not there; it is cleared away when
the next link is made.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from sqlalchemy import delete, or_, select, update

from . import tables
from .crews import NotThere
from .tokens import hashed, new_token

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from sqlalchemy.orm import Session

LinkKind = Literal["sheet", "calendar"]
Lasts = Literal["after", "month", "ended"]
AFTER_THE_DAY = timedelta(days=8)  # its own day, and a week
A_MONTH = timedelta(days=30)
USED_EVERY = timedelta(minutes=5)  # how exactly the last use is kept: a write for every reader would be too much
LINKS_MOST = 50  # that a day may have at once


@dataclass(frozen=True, slots=True)
class Link:
    """
    A link that is good now, and the day that it shows.

    said, said_at, sequence  as in `tables.SharedLink`
    """

    id: int
    crew: int
    day: int
    exact: bool
    used_at: datetime | None
    said: str
    said_at: datetime | None
    sequence: int


def lasts_until(lasts: Lasts, on: date, time_zone: str, now: datetime) -> datetime | None:
    """When a link runs out that lasts so long; None: when somebody ends it."""
    if lasts == "ended":
        return None
    if lasts == "month":
        return now + A_MONTH
    # A day that is long gone has its sheet for a week yet.
    after = datetime.combine(on, time(), ZoneInfo(time_zone)) + AFTER_THE_DAY
    return max(after.astimezone(UTC), now + AFTER_THE_DAY)


def make_link(
    session: Session, day_id: int, kind: LinkKind, name: str, made_by: str, until: datetime | None, *, exact: bool
) -> str:
    """A new link to a day that the crew has; its secret, which nobody can look up again."""
    token, now = new_token(), datetime.now(UTC)
    session.execute(delete(tables.SharedLink).where(tables.SharedLink.expires_at <= now))
    session.add(
        tables.SharedLink(
            day_id=day_id, hash=hashed(token), kind=kind, exact=exact, name=name, made_by=made_by, made_at=now,
            expires_at=until, used_at=None, said="", said_at=None, sequence=0,
        )
    )  # fmt: skip
    return token


def links_of(session: Session, crew_id: int, day_id: int) -> Sequence[tables.SharedLink]:
    """The links to a day that are good, the newest first."""
    row, day = tables.SharedLink, tables.Day
    lives = or_(row.expires_at.is_(None), row.expires_at > datetime.now(UTC))
    asked = select(row).join(day, day.id == row.day_id).where(day.id == day_id, day.crew_id == crew_id, lives)
    return session.scalars(asked.order_by(row.id.desc())).all()


def end_link(session: Session, crew_id: int, day_id: int, number: int) -> None:
    """Nobody reads by it any more. Raises NotThere for any but a link of the crew's own day."""
    row, day = tables.SharedLink, tables.Day
    own = select(day.id).where(day.id == day_id, day.crew_id == crew_id)
    ended = delete(row).where(row.id == number, row.day_id.in_(own)).returning(row.id)
    if session.execute(ended).first() is None:
        raise NotThere("links")


def link_of(session: Session, token: str, kind: LinkKind, now: datetime) -> Link | None:
    """The link with this secret; None where it has ended, has run out, or never was, and for one of another kind."""
    wanted = hashed(token)
    row, day = tables.SharedLink, tables.Day
    asked = select(row, day.crew_id).join(day, day.id == row.day_id).where(row.hash == wanted, row.kind == kind)
    found = session.execute(asked).first()
    if found is None:
        return None
    link, crew = found
    if not hmac.compare_digest(link.hash, wanted) or (link.expires_at is not None and now >= link.expires_at):
        return None
    return Link(link.id, crew, link.day_id, link.exact, link.used_at, link.said, link.said_at, link.sequence)


def opened_now(session: Session, link: Link, now: datetime) -> None:
    """Keep that a link was opened."""
    session.execute(update(tables.SharedLink).where(tables.SharedLink.id == link.id).values(used_at=now))


def says_now(session: Session, link: Link, said: str, now: datetime) -> tuple[int, datetime]:
    """
    Keep what a calendar says from now on; how often that has changed, and since when it says so.

    The session must be a writing one: of two readers that find the change, the second finds what the first has kept.
    """
    row = session.get(tables.SharedLink, link.id)
    if row is None:  # ended this very moment: it is told once more what it asked for
        return link.sequence + bool(link.said), now
    if row.said != said or row.said_at is None:
        row.sequence += bool(row.said)
        row.said, row.said_at = said, now
    return row.sequence, row.said_at
