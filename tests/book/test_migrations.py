"""Migrations: from every schema that was released, with data in it, to the tables that the code has."""

from __future__ import annotations

import json
import re
import shutil
from datetime import UTC, date, datetime

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import MetaData, column, create_engine, inspect, select, text
from sqlalchemy import table as lightweight_table

from server.book import store, tables
from server.book.backups import count_on
from server.book.days import open_day
from server.book.people import first_camera
from server.book.store import MIGRATIONS, Book, NewerSchema

RELEASED = ["0001", "0002", "0003", "0004", "0005", "0006"]


@pytest.fixture
def book(books, tmp_path):
    """A book without tables."""
    settings = books.nothing(tmp_path / "data")
    book = Book(settings)
    yield book
    book.close()
    books.over(settings)


# Columns that must not be empty and came to tables that had rows: their default is what those rows got.
ADDED_LATER = {
    ("kits", "step_ups"), ("filters", "kind"), ("filters", "engraved"), ("day_places", "worn"),
    ("day_places", "long_end"), ("places", "lit_from"), ("places", "lamps"), ("places", "sun_over"),
    ("places", "sun_behind"), ("places", "lasers"), ("readings", "part"), ("days", "seen_at"), ("days", "steady"),
}  # fmt: skip


def test_migrations_lead_to_the_tables_that_the_code_has(book):
    book.migrate()
    with book._database.writer.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "compare_server_default": True})
        different = compare_metadata(context, tables.Table.metadata)
    defaults = [change for group in different if isinstance(group, list) for change in group]
    assert [group for group in different if not isinstance(group, list)] == []
    assert {change[0] for change in defaults} <= {"modify_default"}
    assert {(table, column) for _, _, table, column, *_ in defaults} == ADDED_LATER


def test_migrations_make_the_very_constraints_that_the_code_has(book, books, tmp_path):
    """Also what the comparison above passes over: what happens to rows whose parent goes, names, checks."""
    book.migrate()
    settings = books.nothing(tmp_path / "made")
    settings.data.mkdir()
    made = create_engine(settings.url)
    tables.Table.metadata.create_all(made)
    wanted, got = inspect(made), inspect(book._database.writer)

    def seen(inspector, table):
        columns = {c["name"]: (str(c["type"]), c["nullable"]) for c in inspector.get_columns(table)}
        return {
            "columns": columns,
            "key": inspector.get_pk_constraint(table),
            "references": sorted(inspector.get_foreign_keys(table), key=lambda each: each["name"]),
            "unique": sorted(inspector.get_unique_constraints(table), key=lambda each: each["name"]),
            "checks": sorted(
                (each["name"], in_words(each["sqltext"])) for each in inspector.get_check_constraints(table)
            ),
            "indexes": sorted(inspector.get_indexes(table), key=lambda each: each["name"]),
        }

    def in_words(condition):
        """PostgreSQL tells it in its own spelling, which changes with the type of a column that was changed."""
        return re.sub(r"::[a-z ]+|[^a-z0-9.<>=-]", "", condition) if not book.is_a_file else condition

    assert set(got.get_table_names()) - {"alembic_version"} == set(wanted.get_table_names())
    for table in wanted.get_table_names():
        assert seen(got, table) == seen(wanted, table), table
    made.dispose()
    books.over(settings)


# What stands in a book of each release: the first one's rows, and one of each kind that came later.
BEFORE = {
    "crews": [{"id": 1, "name": "Crew"}],
    "kits": [{"id": 3, "crew_id": 1, "name": "Kit", "hands": '{"pull": 5.0}', "stamp": "a" * 32}],
    "bodies": [{
        "id": 1, "kit_id": 3, "name": "Body", "clicks_per_stop": 3, "iso_base": "[100.0]", "iso_allowed": "[100.0]",
        "iso_quiet": None, "shutters": "[0.02]", "built_in_nd": "[0.0]",
    }],
    "lenses": [{
        "id": 2, "kit_id": 3, "name": "Lens", "widest": 1.8, "smallest": 16.0, "thread": 77.0, "loss_stops": 0.1,
    }],
    "holders": [{"id": 1, "kit_id": 3, "name": "Holder", "width": 100.0, "slots": 2, "rings": "[77.0]"}],
    "filters": [
        {"id": 5, "kit_id": 3, "name": "0.6", "mount": "slot", "density": 0.6, "width": 100.0, "thread": None},
        {"id": 4, "kit_id": 3, "name": "1.8", "mount": "thread", "density": 1.8, "width": None, "thread": 77.0},
    ],
    "venues": [{
        "id": 1, "crew_id": 1, "name": "Mill", "latitude": 51.5, "longitude": -0.5, "time_zone": "Europe/London",
    }],
    "places": [{"id": 7, "venue_id": 1, "name": "Loft", "light": "lamps", "position": 1}],
    "days": [{
        "id": 2, "crew_id": 1, "venue_id": 1, "kit_id": 3, "body_id": 1, "lens_id": 2, "holder_id": 1, "name": "Wedding",
        "on": "2026-06-20", "stamp": "b" * 32,
        "start": '{"holder_on": true, "slots": ["5"], "threads": [], "built_in": 0.0, "aperture": 2.8, "shutter": 0.02, '
        '"iso": 100.0}',
    }],
    "readings": [{
        "id": 1, "place_id": 7, "taken_at": "2026-06-01 10:00:00.000000", "who": "", "kind": "ev",
        "raw": '{"value": 6.0}', "ev100": 6.0,
    }],
    "day_places": [{
        "id": 9, "day_id": 2, "place_id": 7, "position": 1, "wanted": 2.8, "widest": 2.0, "narrowest": 4.0,
        "shutter": 0.02, "tolerance": 0.2, "rush_tolerance": 0.5,
    }],
    "events": [{
        "sequence": 1, "day_id": 2, "id": "12345678", "kind": "nudged", "made_at": "2026-06-20 10:00:00.000000",
        "received_at": "2026-06-20 10:00:00.000000", "who": "", "data": '{"place": 7, "clicks": 1}',
    }],
}  # fmt: skip


LATER = {
    "0004": {"stops": [{
        "id": 3, "day_id": 2, "uid": "u" * 36, "minutes": 750, "second": False, "lasts": 20, "name": "Vows", "place_id": 7, "lens_id": 2, "notes": "",
    }]},
    "0005": {
        "people": [{"id": 4, "crew_id": 1, "name": "Ines", "role": "lead", "joined_at": "2026-06-01 10:00:00.000000"}],
        "sessions": [{
            "id": 5, "person_id": 4, "hash": "c" * 64, "device": "a phone", "begun_at": "2026-06-01 10:00:00.000000",
            "used_at": "2026-06-01 10:00:00.000000", "expires_at": "2027-06-01 10:00:00.000000",
        }],
        "invites": [{
            "id": 6, "crew_id": 1, "hash": "d" * 64, "role": "guest", "name": "", "person_id": 4, "made_by": "Ines",
            "made_at": "2026-06-01 10:00:00.000000", "expires_at": "2027-06-01 10:00:00.000000", "uses_left": 3,
        }],
        "pairing_codes": [{"id": 7, "person_id": 4, "hash": "e" * 64, "expires_at": "2026-06-01 10:10:00.000000"}],
        "cameras": [{
            "id": 8, "day_id": 2, "person_id": 4, "name": "Second", "kit_id": 3, "body_id": 1, "lens_id": 2,
            "holder_id": 1, "matches": "field", "start": BEFORE["days"][0]["start"],
        }],
        "links": [{
            "id": 9, "day_id": 2, "hash": "f" * 64, "kind": "sheet", "exact": True, "name": "Planner",
            "made_by": "Ines", "made_at": "2026-06-01 10:00:00.000000", "expires_at": None, "used_at": None, "said": "",
            "said_at": None, "sequence": 0,
        }],
    },
}  # fmt: skip


def table_of(name, rows):
    return lightweight_table(name, *map(column, rows[0]))


def plain(value):
    """A value as either database gives it back where it is not told the type."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).replace(tzinfo=None)
    if isinstance(value, date):
        return str(value)
    if isinstance(value, str) and value[:1] in ("{", "["):
        return json.loads(value)
    if isinstance(value, str) and re.match(r"\d{4}-\d\d-\d\d \d\d:", value):
        return datetime.fromisoformat(value)
    return value


def as_it_was_at(book, release):
    """A book as that release left it; its rows."""
    rows = {}
    for at in [each for each in RELEASED if each <= release]:
        book.migrate(at)
        new = BEFORE if at == "0001" else LATER.get(at, {})
        with book._database.writer.begin() as connection:
            for table, each in new.items():
                connection.execute(table_of(table, each).insert(), each)
            count_on(connection, new)
        rows |= new
    return rows


def stand_in(book, rows):
    with book._database.writer.connect() as connection:
        for table, each in rows.items():
            after = connection.execute(select(*table_of(table, each).columns)).mappings().all()
            found = sorted(({name: plain(value) for name, value in row.items()} for row in after), key=repr)
            assert found == sorted(({name: plain(value) for name, value in row.items()} for row in each), key=repr), (
                table
            )
        if book.is_a_file:
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []


def everything(book):
    """Every row of every table, and how the tables are made."""
    with book._database.writer.connect() as connection:
        known = MetaData()
        known.reflect(connection)
        made = inspect(connection)
        return {
            name: (
                sorted(map(repr, connection.execute(table.select()))),
                [(c["name"], str(c["type"]), c["nullable"]) for c in made.get_columns(name)],
                sorted(each["name"] for each in made.get_indexes(name)),
            )
            for name, table in known.tables.items()
        }


@pytest.mark.parametrize("release", RELEASED)
def test_a_book_of_any_release_keeps_every_row_on_its_way_to_the_newest(book, release):
    """SQLite changes a table by making it anew: what is copied, and what points to it, must be as it was."""
    rows = as_it_was_at(book, release)
    book.migrate()
    stand_in(book, rows)
    with book.reading() as session:
        day = open_day(session, first_camera(1), 2)
    assert day.places[0].look.worn == frozenset()
    assert day.places[0].light.light.ev100 == pytest.approx(6 + 1 / 3), "the reading, and the nudge of the log"
    assert day.rig.slots == ("5",)
    assert [piece.kind for piece in day.kit.filters] == ["nd", "nd"]
    assert day.kit.step_ups == ()
    with book.writing() as session:  # numbered from behind those that are there
        session.add(tables.Crew(name="Two"))
        session.flush()
    if book.is_a_file:
        with book._database.writer.connect() as connection:
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1, "on again for the taps that follow"


FAILS = """
from alembic import op
import sqlalchemy as sa
revision, down_revision, branch_labels, depends_on = "0007", "0006", None, None
def upgrade():
    op.add_column("crews", sa.Column("motto", sa.String(80)))
    op.execute("UPDATE crews SET name = 'changed'")
    op.execute("DELETE FROM events")
    with op.batch_alter_table("kits") as kits:  # which SQLite makes anew
        kits.drop_column("step_ups")
    raise RuntimeError("halfway")
"""


@pytest.mark.parametrize("release", ["0001", "0004", "0006"])
def test_a_migration_that_fails_leaves_the_book_as_it_was(book, tmp_path, monkeypatch, release):
    """Also what the migrations before it did: the older program goes on with it as if nothing had been tried."""
    as_it_was_at(book, release)
    before = everything(book)
    newer = tmp_path / "newer"
    shutil.copytree(MIGRATIONS, newer)
    (newer / "versions" / "0007_fails.py").write_text(FAILS)
    monkeypatch.setattr(store, "MIGRATIONS", newer)
    with pytest.raises(RuntimeError, match="halfway"):
        book.migrate()
    assert everything(book) == before
    monkeypatch.undo()
    book.migrate()
    assert everything(book)["alembic_version"][0] == ["('0006',)"]


def test_a_book_of_a_newer_release_is_not_touched(book):
    book.migrate()
    with book._database.writer.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    before = everything(book)
    with pytest.raises(NewerSchema, match="newer version than this server"):
        book.migrate()
    assert everything(book) == before


def test_migrating_again_is_harmless(book):
    book.migrate()
    with book.writing() as session:
        session.add(tables.Crew(name="One"))
    book.migrate()
    book.migrate()
    with book.reading() as session:
        assert session.scalars(select(tables.Crew.name)).all() == ["One"]


def test_opening_a_book_makes_no_tables(book):
    """Only `migrate` changes what is there; a book of a newer house is not touched by being opened."""
    with book.reading() as session:
        assert inspect(session.connection()).get_table_names() == []
