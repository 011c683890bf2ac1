"""
Opening the database: who may read and who may write, and how durably.

SQLite: WAL, every commit synced to the disk, writers queued by a lock in this process and one connection, since
SQLite's own waiting sleeps (measured: 30 times the write tail) and its releases up to 3.51.2 can lose a commit when
two connections write and checkpoint at one moment. A lock on the database's folder queues other processes too.
"""

from __future__ import annotations

import os
import sqlite3
import sys
import threading
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool

from server.settings import CHECKOUT, DATABASE_FILE, BadSetting

if sys.platform != "win32":
    import fcntl

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

    from server.settings import Settings

MIGRATIONS = CHECKOUT / "server" / "book" / "migrations"


class Book:
    """
    The open database. `reading()` and `writing()` give a session for one piece of work each.

    kept  called after each piece of work that this process has kept, by whichever thread did it
    """

    def __init__(self, settings: Settings) -> None:
        url = make_url(settings.url)
        self.kept: Callable[[], None] = _nothing
        self.to_wipe = False  # whether what was deleted may still stand in the files
        self._alone: AbstractContextManager[None] = nullcontext()
        self.is_a_file = url.get_backend_name() == "sqlite"  # and asking it takes no waiting
        if self.is_a_file:
            if url.database == str(settings.data / DATABASE_FILE):
                _make_folder(settings.data)
            self._alone = Alone(Path(url.database or "").parent)
            options: dict[str, Any] = {"connect_args": {"check_same_thread": False}}
            self._reader = create_engine(url, pool_size=8, max_overflow=32, pool_use_lifo=True, **options)
            self._writer = create_engine(url, poolclass=StaticPool, **options)
            _set_up_sqlite(self._reader, begin="BEGIN", checkpoint=0)
            _set_up_sqlite(self._writer, begin="BEGIN IMMEDIATE", checkpoint=1000)
        else:
            self._reader = self._writer = create_engine(url, pool_size=8, max_overflow=8, pool_pre_ping=True)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session that only reads."""
        with Session(self._reader) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A session whose work is kept whole when the block ends, or not at all when it raises."""
        with self._alone, Session(self._writer) as session, session.begin():
            yield session
        self.kept()

    @contextmanager
    def watching(self) -> Iterator[Callable[[], object]]:
        """
        A question that may be asked often, on a connection of its own: its answer is another one once anything was
        kept since, by any process. Where the database knows no such thing, it always is.
        """
        if not self.is_a_file:
            yield object
            return
        connection = self._reader.raw_connection()
        try:
            # To the driver itself: in a transaction, which the engine would begin, the answer stays the same.
            driver: Any = connection.driver_connection
            yield lambda: driver.execute("PRAGMA data_version").fetchone()[0]
        finally:
            connection.close()

    def wipe(self) -> bool:
        """
        Leave nothing in the files of what was deleted: write the database anew, and empty the log beside it.

        False, and `to_wipe` set, where that cannot be done now, as on a full disk or under somebody who reads for long;
        and where the database is not a file of ours. It takes as long as copying the file, and nobody writes meanwhile.
        """
        if not self.is_a_file:
            return False
        with self._alone:
            connection = self._writer.raw_connection()
            driver: Any = connection.driver_connection  # in a transaction, which the engine would begin, neither works
            try:
                driver.execute("VACUUM")
                waiting, *_ = driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
                self.to_wipe = bool(waiting)
            except sqlite3.Error:
                self.to_wipe = True
            finally:
                connection.close()
        self.kept()
        return not self.to_wipe

    def migrate(self) -> None:
        """Bring the tables to the newest schema, with what is in them."""
        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
        with self._alone, self._writer.connect() as connection, _tables_may_go(connection):
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def close(self) -> None:
        """Let go of every connection."""
        self._reader.dispose()
        with self._alone:  # the last one to go brings what was written into the database's own file
            self._writer.dispose()


def _nothing() -> None:
    """Whom to tell that something was kept, while nobody asks."""


class Alone:
    """
    The right to write, which one thread of one process has at a time.

    The folder itself is locked: a file for it would be left behind. The lock ends with the process, however that ends.
    Windows has no such lock: there, one process may have the book open.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._in_process = threading.RLock()
        self._locked = -1

    def __enter__(self) -> None:
        self._in_process.acquire()
        try:
            if self._locked >= 0:
                raise RuntimeError("who writes already asked to write: it would wait for itself")
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


@contextmanager
def _tables_may_go(connection: Connection) -> Iterator[None]:
    """
    While SQLite changes a table by making it anew, the old one is dropped, and must not take along what points to it.

    Said to the driver itself: inside a transaction, which the engine would begin, SQLite does not listen.
    """
    driver: Any = connection.connection.driver_connection
    if connection.dialect.name != "sqlite":
        yield
        return
    driver.execute("PRAGMA foreign_keys=OFF")
    try:
        yield
    finally:
        connection.rollback()  # what a migration did is kept by now; a look at what there is left this open
        driver.execute("PRAGMA foreign_keys=ON")


def _make_folder(data: Path) -> None:
    try:
        data.mkdir(parents=True, exist_ok=True)
    except OSError as wrong:
        message = f"LYCHGATE_DATA: {data} came, allowed is a folder to write in ({wrong.strerror})"
        raise BadSetting(message) from wrong


def _set_up_sqlite(engine: Engine, *, begin: str, checkpoint: int) -> None:
    @event.listens_for(engine, "connect")
    def on_connect(connection: Any, _record: object) -> None:
        # The driver must not begin by itself: a deferred transaction that turns into a write fails at once when locked.
        connection.isolation_level = None
        for pragma in (
            "journal_mode=WAL",
            "synchronous=FULL",
            "busy_timeout=5000",
            "foreign_keys=ON",
            "secure_delete=ON",  # what is deleted is overwritten
            f"wal_autocheckpoint={checkpoint}",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def on_begin(connection: Any) -> None:
        connection.exec_driver_sql(begin)
