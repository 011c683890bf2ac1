"""What a database says when it cannot keep or read something, as a word that a person can act on."""

from __future__ import annotations

import errno
import sqlite3
from dataclasses import dataclass

from sqlalchemy.exc import DataError, DBAPIError, IntegrityError, NotSupportedError, ProgrammingError
from sqlalchemy.exc import TimeoutError as NoConnection

from server.language import noted


@dataclass(frozen=True, slots=True)
class Trouble:
    """
    kind    full, read-only, busy, damaged, away, or unknown
    words   for whoever asked, noted;  advice  for whoever runs the server, in English as all that is printed
    """

    kind: str
    words: str
    advice: str


FULL = Trouble(
    "full",
    noted("The server's disk is full. Nothing was kept of this, and nothing that was kept before is lost."),
    "The disk is full. Make room; the server goes on by itself.",
)
READ_ONLY = Trouble(
    "read-only",
    noted("The server may only read its disk. Nothing was kept of this, and nothing that was kept before is lost."),
    "The database cannot be written: its folder, its file, or the disk is read-only.",
)
BUSY = Trouble(
    "busy",
    noted("The server is busy. Nothing was kept of this; it can be sent again."),
    "Another program holds the database. Close whatever has it open.",
)
DAMAGED = Trouble(
    "damaged",
    noted(
        "The server cannot read its database. Nothing was kept of this. Whoever runs the server has to look after it."
    ),
    "The database is damaged, or is none. Stop the server, keep a copy of the folder, and restore the last backup into "
    "an empty one: python -m server restore FILE.",
)
AWAY = Trouble(
    "away",
    noted("The server's database does not answer. Nothing was kept of this; it can be sent again."),
    "The database does not answer. Is it running, and is LYCHGATE_DATABASE_URL right?",
)
UNKNOWN = Trouble(
    "unknown",
    noted("The server's database failed. Nothing was kept of this; it can be sent again."),
    "The database failed; the lines above say how.",
)

_OF_SQLITE = {
    sqlite3.SQLITE_FULL: FULL,
    sqlite3.SQLITE_READONLY: READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: READ_ONLY,
    sqlite3.SQLITE_PERM: READ_ONLY,
    sqlite3.SQLITE_BUSY: BUSY,
    sqlite3.SQLITE_LOCKED: BUSY,
    sqlite3.SQLITE_CORRUPT: DAMAGED,
    sqlite3.SQLITE_NOTADB: DAMAGED,
    sqlite3.SQLITE_IOERR: UNKNOWN,
}
# PostgreSQL's error codes, whole or their class (postgresql.org, appendix A): of resources, what is read-only, locks,
# transactions that got in each other's way, its own inside, the system's, an operator's doing, lines.
_OF_POSTGRES = {
    "53100": FULL, "53": BUSY, "25": READ_ONLY, "55": BUSY, "40": BUSY, "XX": DAMAGED, "58": UNKNOWN, "57": AWAY,
    "08": AWAY,
}  # fmt: skip
OURS = (IntegrityError, ProgrammingError, DataError, NotSupportedError)
_OF_THE_SYSTEM = {errno.ENOSPC: FULL, errno.EDQUOT: FULL, errno.EROFS: READ_ONLY, errno.EACCES: READ_ONLY}
# Where trouble comes as.
OF_THE_DATABASE: tuple[type[Exception], ...] = (DBAPIError, NoConnection, sqlite3.Error, OSError)


def trouble_of(error: BaseException) -> Trouble | None:
    """What kind of trouble an error is; None where it is none of the database's but a mistake of ours."""
    if isinstance(error, NoConnection):
        return BUSY
    if isinstance(error, DBAPIError):
        if isinstance(error, OURS):
            return None
        return _of_driver(error.orig)
    if isinstance(error, sqlite3.Error):
        return _of_driver(error)
    if isinstance(error, OSError):
        return _OF_THE_SYSTEM.get(error.errno or 0)
    return None


def advice_on(error: BaseException) -> str | None:
    """What whoever runs the server can do about an error, with the database's own words; None as above."""
    trouble = trouble_of(error)
    return None if trouble is None else f"{trouble.advice} ({getattr(error, 'orig', None) or error})"


def _of_driver(error: BaseException | None) -> Trouble:
    if isinstance(error, sqlite3.Error):
        # The low byte is the kind, the rest says more of it (sqlite.org/rescode.html).
        return _OF_SQLITE.get(getattr(error, "sqlite_errorcode", 0) & 0xFF, UNKNOWN)
    state = getattr(error, "sqlstate", None)
    if state is None:  # the driver's own word: the line broke, or there was none
        return AWAY
    return _OF_POSTGRES.get(state) or _OF_POSTGRES.get(state[:2], UNKNOWN)
