"""
The open database: who may read and who may write, whichever of the two kinds it is.

In a file (`in_a_file`): one process serves, all writers queue. In PostgreSQL (`in_postgres`): several do, and the
writers of one crew queue. Whoever writes finds what they read unchanged until it is kept, on both.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING, Protocol

from alembic import command
from alembic.config import Config
from alembic.util import CommandError
from sqlalchemy import text
from sqlalchemy.orm import Session

from server.settings import CHECKOUT

from .in_a_file import InAFile
from .in_postgres import InPostgres

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

    from sqlalchemy import Connection, Engine

    from server.settings import Settings

MIGRATIONS = CHECKOUT / "server" / "book" / "migrations"


class NewerSchema(Exception):
    """A database that a newer version of this program has written."""

    def __str__(self) -> str:
        return "The database is of a newer version than this server, which must not touch it. Update the server."


class Database(Protocol):
    """What the two kinds of database have in common."""

    @property
    def reader(self) -> Engine:
        """Connections that read, each piece of work at one moment."""

    @property
    def asker(self) -> Engine:
        """Connections for one question alone."""

    @property
    def writer(self) -> Engine:
        """Connections that write."""

    def turn(self) -> AbstractContextManager[None]:
        """The wait, within this process, until it may write."""

    def begun(self, session: Session, crew: int | None) -> None:
        """Work of a crew begins: of nobody else's rows, where one is named. Waits for those who must be done first."""

    def ending(self, session: Session, crew: int | None) -> None:
        """It is about to be kept."""

    def watching(self, kept: Callable[[], None]) -> AbstractContextManager[Callable[[], object]]:
        """`Book.watching`. kept: to be called where another process is heard to have kept something."""

    def migrating(self, connection: Connection) -> AbstractContextManager[None]:
        """While tables are changed."""

    def wipe(self) -> bool | None:
        """`Book.wipe`; None where the database does that by itself in its own time."""

    def close(self) -> None:
        """Let go of every connection."""


class Book:
    """
    The open database. `reading()` and `writing()` give a session for one piece of work each.

    kept       called after each piece of work that was kept, by whichever thread did it or heard of it
    is_a_file  whether asking it takes no waiting
    """

    def __init__(self, settings: Settings) -> None:
        url = settings.url
        self.is_a_file = url.get_backend_name() == "sqlite"
        self.kept: Callable[[], None] = _nothing
        self.to_wipe = False  # whether what was deleted may still stand in the files
        self._database: Database = InAFile(url, settings) if self.is_a_file else InPostgres(url)
        self._mine = threading.local()  # whether this very thread is writing

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session that only reads: all of it as it was at one moment."""
        with Session(self._database.reader) as session:
            yield session

    @contextmanager
    def asking(self) -> Iterator[Session]:
        """A session for one question alone, which needs no transaction around it."""
        with Session(self._database.asker) as session:
            yield session

    @contextmanager
    def writing(self, crew: int | None = None) -> Iterator[Session]:
        """
        A session whose work is kept whole when the block ends, or not at all when it raises.

        crew  whose rows alone are read and written; None: anybody's, and everybody waits
        """
        if getattr(self._mine, "writing", False):
            raise RuntimeError("who writes already asked to write: it would wait for itself")
        self._mine.writing = True
        try:
            with self._database.turn(), Session(self._database.writer) as session, session.begin():
                self._database.begun(session, crew)
                yield session
                session.flush()
                self._database.ending(session, crew)
        finally:
            self._mine.writing = False
        self.kept()

    @contextmanager
    def watching(self) -> Iterator[Callable[[], object]]:
        """
        A question that may be asked often, on a connection of its own: its answer is another one once anything was
        kept since, by any process.
        """
        with self._database.watching(self.kept) as answer:
            yield answer

    def wipe(self) -> bool:
        """
        Leave nothing in the files of what was deleted.

        False, and `to_wipe` set, where that cannot be done now, as on a full disk or under somebody who reads for long;
        and where the database is not a file of ours. It takes as long as copying the file, and nobody writes meanwhile.
        """
        wiped = self._database.wipe()
        self.to_wipe = wiped is False
        self.kept()
        return bool(wiped)

    def migrate(self, to: str = "head") -> None:
        """
        Bring the tables to the newest schema, with what is in them; all the way, or not at all.

        Raises NewerSchema.
        """
        database = self._database
        with database.turn(), database.writer.connect() as connection, database.migrating(connection):
            bring_up_to_date(connection, to)

    def try_to_write(self) -> None:
        """Write something, and take it back. Raises what the database says against it."""
        with self._database.turn(), self._database.writer.connect() as connection, connection.begin() as transaction:
            connection.execute(text("UPDATE alembic_version SET version_num = version_num"))
            transaction.rollback()

    def close(self) -> None:
        """Let go of every connection."""
        self._database.close()


def bring_up_to_date(connection: Connection, to: str = "head") -> None:
    """`Book.migrate`, on a connection. Raises NewerSchema."""
    try:
        command.upgrade(migrations_on(connection), to)
    except CommandError as wrong:
        raise NewerSchema from wrong


def migrations_on(connection: Connection) -> Config:
    """What Alembic needs to know to work on a connection."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def _nothing() -> None:
    """Whom to tell that something was kept, while nobody asks."""
