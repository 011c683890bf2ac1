"""
The database in a file, with SQLite: WAL, and every commit synced to the disk before it is answered.

Writers queue by a lock in this process and one connection, since SQLite's own waiting sleeps (measured: 30 times the
write tail) and its releases up to 3.51.2 can lose a commit when two connections write and checkpoint at one moment.
A lock on the database's folder queues other processes too.

What is promised: with synchronous=FULL a commit that returned is in the log on the disk (sqlite.org/pragma.html), so it
outlives the process, the system and the power, as far as the disk keeps what it said it has.
"""

from __future__ import annotations

import os
import sqlite3
import sys
import threading
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import create_engine, event
from sqlalchemy.pool import StaticPool

from server.settings import DATABASE_FILE, BadSetting

if sys.platform != "win32":
    import fcntl

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

    from sqlalchemy import URL, Connection, Engine
    from sqlalchemy.orm import Session

    from server.settings import Settings

PRAGMAS = (
    "journal_mode=WAL",
    "synchronous=FULL",
    "fullfsync=ON",  # where an ordinary sync leaves it in the disk's own memory, as on macOS
    "checkpoint_fullfsync=ON",
    "busy_timeout=5000",
    "foreign_keys=ON",
    "secure_delete=ON",  # what is deleted is overwritten
)


class InAFile:
    """See the module."""

    def __init__(self, url: URL, settings: Settings) -> None:
        self.file = Path(url.database or "")
        if url.database == str(settings.data / DATABASE_FILE):
            _make_folder(settings.data)
        self._alone = Alone(self.file.parent)
        options: dict[str, Any] = {"connect_args": {"check_same_thread": False}}
        self.reader = create_engine(url, pool_size=8, max_overflow=32, pool_use_lifo=True, **options)
        self.asker = self.reader
        self.writer = create_engine(url, poolclass=StaticPool, **options)
        _set_up(self.reader, begin="BEGIN", checkpoint=0)
        _set_up(self.writer, begin="BEGIN IMMEDIATE", checkpoint=1000)

    def turn(self) -> AbstractContextManager[None]:
        """One writer at a time, of all processes."""
        return self._alone

    def begun(self, session: Session, crew: int | None) -> None:
        """Nobody else is writing: there is nothing to wait for."""

    def ending(self, session: Session, crew: int | None) -> None:
        """Whoever watches sees it in the file."""

    @contextmanager
    def watching(self, kept: Callable[[], None]) -> Iterator[Callable[[], object]]:  # noqa: ARG002 - nobody is told
        """The number that SQLite counts the file's changes by: 3 µs."""
        connection = self.reader.raw_connection()
        try:
            # To the driver itself: in a transaction, which the engine would begin, the answer stays the same.
            driver: Any = connection.driver_connection
            yield lambda: driver.execute("PRAGMA data_version").fetchone()[0]
        finally:
            connection.close()

    @contextmanager
    def migrating(self, connection: Connection) -> Iterator[None]:
        """
        While SQLite changes a table by making it anew, the old one is dropped, and must not take along what points to
        it. Said to the driver itself: inside a transaction, which the engine would begin, SQLite does not listen.
        """
        driver: Any = connection.connection.driver_connection
        driver.execute("PRAGMA foreign_keys=OFF")
        try:
            yield
        finally:
            connection.rollback()  # what a migration did is kept by now; a look at what there is left this open
            driver.execute("PRAGMA foreign_keys=ON")

    def wipe(self) -> bool:
        """Write the database anew, and empty the log beside it."""
        with self._alone:
            connection = self.writer.raw_connection()
            driver: Any = connection.driver_connection  # in a transaction, which the engine would begin, neither works
            try:
                driver.execute("VACUUM")
                waiting, *_ = driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            except sqlite3.Error:
                return False
            finally:
                connection.close()
        return not waiting

    def close(self) -> None:
        """Let go of every connection; the last one to go brings what was written into the database's own file."""
        self.reader.dispose()
        with self._alone:
            self.writer.dispose()


FLAWS = {
    "integrity_check": "Every page of it can be read",
    "foreign_key_check": "Every row's parent is there",
}


def flaws(connection: Connection) -> dict[str, list[str]]:
    """What SQLite finds wrong with a file, under what is true of one that is whole."""
    return {
        whole: [str(tuple(row)) for row in connection.exec_driver_sql(f"PRAGMA {asked}") if row[0] != "ok"]
        for asked, whole in FLAWS.items()
    }


class Alone:
    """
    The right to write, which one thread of one process has at a time.

    The folder itself is locked: a file for it would be left behind. The lock ends with the process, however that ends.
    Windows has no such lock: there, one process may have the book open.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._in_process = threading.Lock()
        self._locked = -1

    def __enter__(self) -> None:
        self._in_process.acquire()
        try:
            self._locked = _locked(self._folder)
        except BaseException:
            self._in_process.release()
            raise

    def __exit__(self, *_: object) -> None:
        if self._locked >= 0:
            os.close(self._locked)
            self._locked = -1
        self._in_process.release()


def _locked(folder: Path) -> int:
    """A folder that nobody else has locked, until what was opened for it is closed; -1 where there is no such lock."""
    if sys.platform == "win32":
        return -1
    opened = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(opened, fcntl.LOCK_EX)
    except BaseException:
        os.close(opened)
        raise
    return opened


def _make_folder(data: Path) -> None:
    try:
        data.mkdir(parents=True, exist_ok=True)
    except OSError as wrong:
        message = f"LYCHGATE_DATA: {data} came, allowed is a folder to write in ({wrong.strerror})"
        raise BadSetting(message) from wrong


def _set_up(engine: Engine, *, begin: str, checkpoint: int) -> None:
    @event.listens_for(engine, "connect")
    def on_connect(connection: Any, _record: object) -> None:
        # The driver must not begin by itself: a deferred transaction that turns into a write fails at once when locked.
        connection.isolation_level = None
        for pragma in (*PRAGMAS, f"wal_autocheckpoint={checkpoint}"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def on_begin(connection: Any) -> None:
        connection.exec_driver_sql(begin)
