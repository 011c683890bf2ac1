"""
Opening the database: who may read and who may write, and how durably.

SQLite: WAL, every commit synced to the disk, writers queued by a lock in this process and one connection, since
SQLite's own waiting sleeps (measured: 30 times the write tail) and its releases up to 3.51.2 can lose a commit when
two connections write and checkpoint at one moment.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool

from server.settings import CHECKOUT, DATABASE_FILE, BadSetting

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from server.settings import Settings

MIGRATIONS = CHECKOUT / "server" / "book" / "migrations"


class Book:
    """The open database. `reading()` and `writing()` give a session for one piece of work each."""

    def __init__(self, settings: Settings) -> None:
        url = make_url(settings.url)
        self._lock = threading.RLock()
        self.is_a_file = url.get_backend_name() == "sqlite"  # and asking it takes no waiting
        if self.is_a_file:
            if url.database == str(settings.data / DATABASE_FILE):
                _make_folder(settings.data)
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
        if self._writer is self._reader:
            with Session(self._writer) as session, session.begin():
                yield session
            return
        with self._lock, Session(self._writer) as session, session.begin():
            yield session

    def migrate(self) -> None:
        """Bring the tables to the newest schema, with what is in them."""
        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
        with self._lock, self._writer.connect() as connection, _tables_may_go(connection):
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def close(self) -> None:
        """Let go of every connection."""
        self._reader.dispose()
        self._writer.dispose()


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
            f"wal_autocheckpoint={checkpoint}",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def on_begin(connection: Any) -> None:
        connection.exec_driver_sql(begin)
