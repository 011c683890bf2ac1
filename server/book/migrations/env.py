"""Alembic's entry: run on the connection that the book hands over."""

from typing import Literal

from alembic import context

from server.book.tables import Table, UtcTime


def spelled(kind: str, thing: object, _context: object) -> str | Literal[False]:
    """How a column's type is written in a migration, which must not change when the tables' code does."""
    return "sa.DateTime(timezone=True)" if kind == "type" and isinstance(thing, UtcTime) else False


connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=Table.metadata,
    render_as_batch=True,
    render_item=spelled,
    transactional_ddl=True,  # SQLite's too, though the library takes it that it is not: all of them are kept, or none
)
with context.begin_transaction():
    context.run_migrations()
