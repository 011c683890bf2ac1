"""
What belongs together, as a whole: counted, exported, deleted.

What goes with a row is found by walking the tables from it, along the references that do not outlive what they point to
(ON DELETE CASCADE). So a table that is added later is counted, exported and deleted with its crew, or a test fails.
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, func, or_, select, update

from . import tables
from .crews import NotThere
from .days import changed
from .people import AT_THE_MACHINE, SOMEBODY, THE_SERVER

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from sqlalchemy import Column, ColumnElement, Table
    from sqlalchemy.orm import Session

NOT_OF_A_CREW: Mapping[str, str] = {}  # a table that is nobody's, and why
ROWS_AT_ONCE = 500
NOBODYS = frozenset({"", SOMEBODY, AT_THE_MACHINE, THE_SERVER})  # what stands beside what was kept, and is no name

README = (
    "Everything that this crew has kept, each kind of thing under its own name. Nothing else belongs to the crew.",
    "Each row has a number of its own, id (an event: sequence). A field such as venue_id has another row's.",
    "Times are in UTC as ISO 8601 has them; minutes count from midnight by the venue's clock.",
    "Light is EV at ISO 100; glass is density (0.3 is about one stop); losses and differences are stops.",
    "Lengths are mm, distances m, exposure times s, coordinates degrees, north and east positive.",
    "Left out is what lets somebody in: of a session, an invite, a code or a link not even the hash is here.",
)


def belonging(root: Table, number: int) -> dict[Table, ColumnElement[bool]]:
    """Every table with something that goes with a row of root, with which rows these are; what is pointed to first."""
    found: dict[Table, ColumnElement[bool]] = {root: root.c.id == number}
    for table in tables.Table.metadata.sorted_tables:
        owners = [
            (key.parent, key.column)
            for key in sorted(table.foreign_keys, key=lambda each: each.parent.name)
            if key.ondelete == "CASCADE" and key.column.table in found
        ]
        if owners and table is not root:
            found[table] = or_(*(ours.in_(select(its).where(found[its.table])) for ours, its in owners))
    return found


def count(session: Session, row: type[tables.Table], number: int) -> dict[str, int]:
    """How many rows of each table go with a row, itself included; those that have none left out."""
    asked = belonging(_table_of(row), number)
    found = {table.name: _number_of(session, table, theirs) for table, theirs in asked.items()}
    return {name: rows for name, rows in found.items() if rows}


def remove(session: Session, row: type[tables.Table], number: int) -> None:
    """Delete a row and all that goes with it. The session must be a writing one that has looked the row up as owned."""
    for table, theirs in reversed(belonging(_table_of(row), number).items()):
        session.execute(delete(table).where(theirs))


def export(session: Session, crew_id: int, now: datetime) -> Iterator[str]:
    """All that a crew has kept, as pieces of one JSON text, a row a line; the secrets' hashes left out."""
    crew = session.get_one(tables.Crew, crew_id)
    head = {"readme": README, "crew": crew.name, "written_at": _plain(now)}
    yield "{\n" + "".join(f"{_text(name)}: {_text(value)},\n" for name, value in head.items())
    between = ""
    for table, theirs in belonging(_table_of(tables.Crew), crew_id).items():
        yield f"{between}{_text(table.name)}: ["
        yield from _rows(session, table, theirs)
        yield "\n]"
        between = ",\n"
    yield "\n}\n"


def names_left(session: Session, crew_id: int) -> list[str]:
    """The names beside what was kept that are nobody's of the crew any more. Two people of one name are one to it."""
    names: set[str] = set()
    for table, column, theirs in _whose(crew_id):
        names |= set(session.scalars(select(column).select_from(table).where(theirs).distinct()))
    there = select(tables.Person.name).where(tables.Person.crew_id == crew_id)
    return sorted(names - set(session.scalars(there)) - NOBODYS, key=str.casefold)


def forget_name(session: Session, crew_id: int, name: str) -> None:
    """Write "somebody" for somebody who left, wherever it says who did what. Raises NotThere for any other name."""
    if name not in names_left(session, crew_id):
        raise NotThere("names")
    for table, column, theirs in _whose(crew_id):
        session.execute(update(table).where(theirs, column == name).values({column.name: SOMEBODY}))
    for day_id in session.scalars(select(tables.Day.id).where(tables.Day.crew_id == crew_id)).all():
        changed(session, day_id)


def _whose(crew_id: int) -> Iterator[tuple[Table, Column[Any], ColumnElement[bool]]]:
    for table, theirs in belonging(_table_of(tables.Crew), crew_id).items():
        for column in table.columns:
            if "who" in column.info:
                yield table, column, theirs


def _table_of(row: type[tables.Table]) -> Table:
    return tables.Table.metadata.tables[row.__tablename__]


def _number_of(session: Session, table: Table, theirs: ColumnElement[bool]) -> int:
    return session.scalar(select(func.count()).select_from(table).where(theirs)) or 0


def _rows(session: Session, table: Table, theirs: ColumnElement[bool]) -> Iterator[str]:
    columns = [column for column in table.columns if "secret" not in column.info]
    asked = select(*columns).where(theirs).order_by(*table.primary_key.columns)
    between = "\n"
    for row in session.execute(asked.execution_options(yield_per=ROWS_AT_ONCE)):
        fields = {column.name: _plain(value) for column, value in zip(columns, row, strict=True)}
        yield between + _text(fields)
        between = ",\n"


def _plain(value: object) -> object:
    """A value as JSON has it; times in UTC as ISO 8601 and RFC 3339 write them."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return value.isoformat() if isinstance(value, date) else value


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
