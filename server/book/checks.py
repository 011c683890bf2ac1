"""Whether a database is whole and can be written: what whoever runs the server asks when something seems wrong."""

from __future__ import annotations

import shutil
import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import func, select, text

from . import tables
from .backups import newest, schema_of
from .days import log_of
from .in_a_file import flaws
from .log import retold
from .store import Book
from .trouble import OF_THE_DATABASE, advice_on

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy.orm import Session

    from server.settings import Settings

ROOM = 100_000_000  # bytes, below which a disk is called full soon
MANY = {"crew": "crews", "person": "people", "day": "days", "tap": "taps"}
SHOWN = 5  # of what is wrong of one kind
# Releases of SQLite that cannot lose a commit where two processes write and checkpoint at one moment.
SAFE_SQLITE = ((3, 51, 3), (3, 50, 7), (3, 44, 6))


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at. good: nothing is to be done about it."""

    good: bool
    words: str


def check(settings: Settings) -> Iterator[Finding]:
    """Look at everything, and change nothing."""
    file = settings.file
    if file is not None and not file.is_file():
        yield Finding(good=False, words=f"There is no database at {file}; python -m server serve makes one.")
        return
    book = Book(settings)
    try:
        if file is None:
            yield from _server(book)
        else:
            yield from _file(book, file)
        yield from _contents(book)
        book.try_to_write()
        yield Finding(good=True, words="It can be written.")
    except OF_THE_DATABASE as wrong:
        advice = advice_on(wrong)
        if advice is None:
            raise
        yield Finding(good=False, words=advice)
    finally:
        book.close()


def _file(book: Book, file: Path) -> Iterator[Finding]:
    free = shutil.disk_usage(file.parent).free
    yield Finding(good=True, words=f"The database is the file {file}, {_size(file.stat().st_size)}.")
    yield Finding(good=free >= ROOM, words=f"Its disk has {_size(free)} free.")
    with book.reading() as session:
        for whole, found in flaws(session.connection()).items():
            yield _none_of(found, whole)
        synced = session.execute(text("PRAGMA synchronous")).scalar_one() >= 2
        yield Finding(good=synced, words="A tap is on the disk before it is answered.")
    version = sqlite3.sqlite_version_info
    safe = any(version[:2] == each[:2] and version >= each for each in SAFE_SQLITE[1:]) or version >= SAFE_SQLITE[0]
    word = "" if safe else "; one process at a time writes, since it may lose a commit otherwise"
    yield Finding(good=True, words=f"SQLite is {sqlite3.sqlite_version}{word}.")


def _server(book: Book) -> Iterator[Finding]:
    with book.reading() as session:
        version, encoding = (
            session.execute(text(f"SHOW {name}")).scalar_one() for name in ("server_version", "server_encoding")
        )
        yield Finding(good=encoding == "UTF8", words=f"The database is PostgreSQL {version}, in {encoding}.")
        for name in ("fsync", "full_page_writes", "synchronous_commit"):
            value = session.execute(text(f"SHOW {name}")).scalar_one()
            yield Finding(good=value != "off", words=f"{name} is {value}.")


def _contents(book: Book) -> Iterator[Finding]:
    with book.reading() as session:
        connection = session.connection()
        has, wanted = schema_of(connection), newest(connection)
        if has != wanted:
            word = "has no tables yet" if has is None else f"is of version {has}, and this server's is {wanted}"
            yield Finding(good=False, words=f"The database {word}; python -m server migrate brings it up to date.")
            return
        yield Finding(good=True, words=f"Its tables are of version {has}, this server's.")
        held = []
        for table, name in (
            (tables.Crew, "crew"), (tables.Person, "person"), (tables.Day, "day"), (tables.Event, "tap"),
        ):  # fmt: skip
            count = session.execute(select(func.count()).select_from(table)).scalar_one()
            held.append(f"{count} {name if count == 1 else MANY[name]}")
        yield Finding(good=True, words=f"It holds {', '.join(held)}.")
        yield _none_of(_days_that_do_not_fold(session), "Every day's log can be read")


def _days_that_do_not_fold(session: Session) -> list[str]:
    found = []
    for crew, day in session.execute(select(tables.Day.crew_id, tables.Day.id).order_by(tables.Day.id)):
        try:
            log = log_of(session, crew, day)
            list(retold(log.events, log.starts))
        except (ValueError, LookupError, TypeError) as wrong:
            found.append(f"day {day}: {type(wrong).__name__} {wrong}")
    return found


def _none_of(found: list[str], words: str) -> Finding:
    if not found:
        return Finding(good=True, words=f"{words}.")
    more = f", and {len(found) - SHOWN} more" if len(found) > SHOWN else ""
    return Finding(good=False, words=f"{words}: not so. {'; '.join(found[:SHOWN])}{more}.")


def _size(of: int) -> str:
    return f"{of / 1e9:.1f} GB" if of >= 1e9 else f"{of / 1e6:.1f} MB"
