"""
A backup: every row, in a file of its own, whichever database it came from; and the way back, into either.

The file is a SQLite database of the newest schema, so anybody can read it without us. It is written beside its name and
renamed when it is whole and on the disk. A restore brings an older one's copy up to date first.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import URL, create_engine, delete, event, func, select, text
from sqlalchemy.exc import DatabaseError
from sqlalchemy.pool import NullPool

from .in_a_file import flaws
from .store import Book, NewerSchema, bring_up_to_date, migrations_on
from .tables import Crew, Table

if TYPE_CHECKING:
    from collections.abc import Container, Iterator, Mapping

    from sqlalchemy import Connection, Engine
    from sqlalchemy import Table as Table_
    from sqlalchemy.orm import Session

AT_ONCE = 500  # rows
TABLES = Table.metadata.sorted_tables


class NoBackup(Exception):
    """A backup cannot be made, or not be restored; the message says why, and what to do."""


def back_up(book: Book, file: Path) -> dict[str, int]:
    """
    Write every row into a new file, as all of them were at one moment, while others go on writing.

    How many there are of each table. Raises NoBackup, and then there is no file of that name.
    """
    if file.exists():
        raise NoBackup(f"{file} is there already; name a file that is not")
    part = file.with_name(f"{file.name}.part")
    try:
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))  # it lets in whoever may read it
        with book.reading() as source, _opened(part) as target:
            connection = source.connection()
            if schema_of(connection) != newest(connection):
                raise NoBackup("the database is of another version than this server; python -m server check says more")
            bring_up_to_date(target)
            counts = _copy(connection, target)
            _take_numbers_along(connection, target)
            target.commit()
            _check(target)
        _to_the_disk(part)
        part.rename(file)
        _to_the_disk(file.parent)
    except OSError as wrong:
        raise NoBackup(f"{file} cannot be written: {wrong.strerror}") from wrong
    finally:
        if part.exists():
            part.unlink()
    return counts


def restore(file: Path, book: Book) -> dict[str, int]:
    """
    Write every row of a backup into a book that holds nothing yet; all, or none.

    How many there are of each table. Raises NoBackup.
    """
    if not file.is_file():
        raise NoBackup(f"there is no file {file}")
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.sqlite3"
        shutil.copyfile(file, copy)
        try:
            with _opened(copy) as source:
                _check(source)
                _bring_up_to_date(source)
            book.migrate()
            with _opened(copy) as source, book.writing() as session:
                _refuse_what_is_in_use(session)
                session.execute(delete(Crew))
                counts = _copy(source, session.connection())
                _take_numbers_along(source, session.connection())
        except DatabaseError as wrong:
            raise NoBackup(f"{file} cannot be restored: {wrong.orig}") from wrong
    return counts


def schema_of(connection: Connection) -> str | None:
    """The migration that a database has come to; None where it has no tables of ours."""
    return MigrationContext.configure(connection).get_current_revision()


def newest(connection: Connection) -> str | None:
    """The migration that leads to the tables that the code has."""
    return ScriptDirectory.from_config(migrations_on(connection)).get_current_head()


def count_on(connection: Connection, names: Container[str] = frozenset(Table.metadata.tables)) -> None:
    """Have PostgreSQL number new rows from behind those that were written with their numbers, in these tables."""
    if connection.dialect.name != "postgresql":
        return
    for table in (each for each in TABLES if each.name in names):
        (key,) = table.primary_key.columns
        last = connection.execute(select(func.max(key))).scalar_one()
        if last is not None:
            connection.execute(select(func.setval(_sequence(connection, table), last)))


@contextmanager
def _opened(file: Path) -> Iterator[Connection]:
    """A file that nobody else has open."""
    engine: Engine = create_engine(URL.create("sqlite", database=str(file)), poolclass=NullPool)

    @event.listens_for(engine, "connect")
    def on_connect(connection: Any, _record: object) -> None:
        connection.isolation_level = None

    @event.listens_for(engine, "begin")
    def on_begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN")

    with engine.connect() as connection:
        yield connection


def _copy(source: Connection, target: Connection) -> dict[str, int]:
    counts = {}
    for table in TABLES:
        counts[table.name] = 0
        rows = source.execution_options(yield_per=AT_ONCE).execute(table.select())
        for part in rows.mappings().partitions():
            target.execute(table.insert(), [dict(row) for row in part])
            counts[table.name] += len(part)
    return counts


def _check(connection: Connection) -> None:
    """Raises NoBackup where a file is not whole."""
    for whole, found in flaws(connection).items():
        if found:
            raise NoBackup(f"the backup is damaged. {whole}: not so. {found[0]}")
    connection.rollback()


def _bring_up_to_date(source: Connection) -> None:
    if schema_of(source) is None:
        raise NoBackup("the file is no backup of Lychgate")
    source.rollback()
    source.exec_driver_sql("PRAGMA foreign_keys=OFF")
    source.rollback()
    try:
        bring_up_to_date(source)
    except NewerSchema as wrong:
        raise NoBackup("the backup is of a newer version than this server; update it first") from wrong
    source.commit()


def _refuse_what_is_in_use(session: Session) -> None:
    """A crew that nothing is in yet is what a server begins with by itself."""
    most: Mapping[str, int] = {"crews": 1}
    for table in TABLES:
        count = session.execute(select(func.count()).select_from(table)).scalar_one()
        if count > most.get(table.name, 0):
            raise NoBackup(
                f"the database is in use (it holds {count} rows of {table.name}), and nothing of it was changed; "
                "restore into an empty one, and keep this one or move it away"
            )


def _take_numbers_along(source: Connection, target: Connection) -> None:
    """Numbers that were given out are not given out again, though what had them is gone."""
    count_on(target)
    for table in TABLES:
        if not table.dialect_options["sqlite"]["autoincrement"]:
            continue
        last = _last_number(source, table)
        if last is None:
            continue
        if target.dialect.name == "sqlite":
            target.execute(text("DELETE FROM sqlite_sequence WHERE name = :name"), {"name": table.name})
            said = {"name": table.name, "last": last}
            target.execute(text("INSERT INTO sqlite_sequence (name, seq) VALUES (:name, :last)"), said)
        else:
            target.execute(select(func.setval(_sequence(target, table), last)))


def _last_number(connection: Connection, table: Table_) -> int | None:
    """The highest that was given out; None where none was."""
    last: int | None
    if connection.dialect.name == "sqlite":
        last = connection.execute(
            text("SELECT seq FROM sqlite_sequence WHERE name = :name"), {"name": table.name}
        ).scalar()
    else:
        sequence = _sequence(connection, table)
        last = connection.exec_driver_sql(f"SELECT CASE WHEN is_called THEN last_value END FROM {sequence}").scalar()  # noqa: S608 - a name that the database gave
    return last


def _sequence(connection: Connection, table: Table_) -> str:
    (key,) = table.primary_key.columns
    found: str = connection.execute(select(func.pg_get_serial_sequence(table.name, key.name))).scalar_one()
    return found


def _to_the_disk(path: Path) -> None:
    opened = os.open(path, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
