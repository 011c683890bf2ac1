"""The open book: what is kept, how durably, and that migrations lead to the tables that the code has."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from datetime import UTC, datetime

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy import column, create_engine, inspect, select, text
from sqlalchemy import table as lightweight_table
from sqlalchemy.exc import IntegrityError

from server.book import tables
from server.book.crews import first_crew
from server.book.days import open_day
from server.book.people import first_camera
from server.book.store import MIGRATIONS, Book
from server.settings import CHECKOUT, DATABASE_FILE, Settings

SYNCED_AT_EVERY_COMMIT = 2  # SQLite's number for FULL; NORMAL, 1, may lose the last commits when the power goes


@pytest.fixture
def book(settings):
    book = Book(settings)
    book.migrate()
    yield book
    book.close()


def names(book):
    with book.reading() as session:
        return session.scalars(select(tables.Crew.name).order_by(tables.Crew.id)).all()


@pytest.mark.parametrize("way", ["reading", "writing"])
@pytest.mark.parametrize(
    ("pragma", "value"),
    [("journal_mode", "wal"), ("synchronous", SYNCED_AT_EVERY_COMMIT), ("foreign_keys", 1)],
)
def test_sqlite_keeps_every_commit_and_every_reference(book, way, pragma, value):
    """A tap that was answered is on the disk, and no row points to one that is not there."""
    with getattr(book, way)() as session:
        assert session.execute(text(f"PRAGMA {pragma}")).scalar_one() == value


def test_every_connection_of_the_readers_holds_foreign_keys(book):
    """The setting is each connection's own: the second reader needs it as much as the first."""
    with book.reading() as one, book.reading() as two:
        assert one.connection().connection.dbapi_connection is not two.connection().connection.dbapi_connection
        for session in (one, two):
            assert session.execute(text("PRAGMA foreign_keys")).scalar_one() == 1


def test_what_is_written_is_read(book):
    with book.writing() as session:
        session.add(tables.Crew(name="Crew"))
    assert names(book) == ["Crew"]


def test_a_block_that_fails_keeps_nothing(book):
    """Half a set-up is worse than none."""

    def failing():
        with book.writing() as session:
            session.add(tables.Crew(name="One"))
            session.flush()
            session.add(tables.Crew(name="Two"))
            raise ValueError("halfway")

    with pytest.raises(ValueError, match="halfway"):
        failing()
    assert names(book) == []
    with book.writing() as session:  # and the writer is as good as before
        session.add(tables.Crew(name="Three"))
    assert names(book) == ["Three"]


def test_a_row_that_points_nowhere_is_refused_and_its_block_with_it(book):

    def pointing_nowhere():
        with book.writing() as session:
            session.add(tables.Crew(name="One"))
            session.add(tables.Kit(crew_id=99, name="Nobody's"))

    with pytest.raises(IntegrityError):
        pointing_nowhere()
    assert names(book) == []


@pytest.mark.parametrize(("field", "value"), [("latitude", 90.1), ("latitude", -91), ("longitude", 180.5)])
def test_coordinates_off_the_globe_are_refused_by_the_table_itself(book, field, value):
    """The last line behind the forms."""
    with book.writing() as session:
        crew = first_crew(session).id
    with pytest.raises(IntegrityError), book.writing() as session:
        session.add(tables.Venue(crew_id=crew, name="V", time_zone="UTC", **{field: value}))


def test_a_reader_sees_nothing_of_what_is_not_kept_yet(book):
    with book.writing() as session:
        session.add(tables.Crew(name="One"))
        session.flush()
        assert names(book) == []
    assert names(book) == ["One"]


def test_a_reader_does_not_wait_for_a_writer_nor_sees_it_change_under_its_eyes(book):
    """A page that is being drawn shows one moment, whatever is tapped meanwhile."""
    with book.reading() as session:
        assert session.scalars(select(tables.Crew.name)).all() == []
        with book.writing() as other:
            other.add(tables.Crew(name="One"))
        assert session.scalars(select(tables.Crew.name)).all() == []


def test_writers_at_one_moment_wait_for_each_other(book):
    """Eight hands that count up one number lose no step."""
    with book.writing() as session:
        session.add(tables.Crew(name="0"))

    def count_up():
        for _ in range(10):
            with book.writing() as session:
                crew = session.scalars(select(tables.Crew)).one()
                crew.name = str(int(crew.name) + 1)

    hands = [threading.Thread(target=count_up) for _ in range(8)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    assert names(book) == ["80"]


COUNTS_UP = """
import sys
from pathlib import Path
from server.book import tables
from server.book.store import Book
from server.settings import Settings
book = Book(Settings(data=Path(sys.argv[1])))
with book._writer.connect() as connection:
    connection.exec_driver_sql("PRAGMA wal_autocheckpoint=5")
    connection.exec_driver_sql("PRAGMA busy_timeout=0")  # who does not wait for the lock fails
print("here", flush=True)
sys.stdin.readline()  # until all are
for _ in range(int(sys.argv[2])):
    with book.writing() as session:
        crew = session.get_one(tables.Crew, 1)
        crew.name = str(int(crew.name) + 1)
        session.add(tables.Crew(name="a" * 80))
book.close()
"""


def test_writers_in_several_processes_wait_for_each_other(settings, book):
    """
    Three servers at one book lose no step, through many checkpoints: where two processes write and checkpoint at one
    moment, SQLite's releases up to 3.51.2 may lose a commit, so that only one may ever do either.
    """
    with book.writing() as session:
        session.add(tables.Crew(name="0"))
    with book._writer.connect() as connection:
        connection.exec_driver_sql("PRAGMA busy_timeout=0")
    hands = [
        subprocess.Popen(
            [sys.executable, "-c", COUNTS_UP, str(settings.data), "60"], cwd=CHECKOUT,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )
        for _ in range(2)
    ]  # fmt: skip
    try:
        assert [hand.stdout.readline() for hand in hands] == ["here\n"] * 2
        for hand in hands:
            hand.stdin.write("\n")
            hand.stdin.flush()
        for _ in range(60):
            with book.writing() as session:
                crew = session.get_one(tables.Crew, 1)
                crew.name = str(int(crew.name) + 1)
        assert [hand.wait(60) for hand in hands] == [0, 0]
    finally:
        for hand in hands:
            hand.kill()
            hand.communicate()
    with book.reading() as session:
        assert session.get_one(tables.Crew, 1).name == "180"
        assert session.execute(text("select count(*) from crews")).scalar_one() == 121
        assert session.execute(text("PRAGMA integrity_check")).scalar_one() == "ok"


def test_nobody_writes_while_another_process_does(settings, book):
    """Not for want of SQLite's own waiting, which gives up; and readers wait for nobody."""
    with book._writer.connect() as connection:
        connection.exec_driver_sql("PRAGMA busy_timeout=0")
    script = COUNTS_UP.replace("print", "writing = book.writing(); writing.__enter__(); print")
    hand = subprocess.Popen(
        [sys.executable, "-c", script, str(settings.data), "0"], cwd=CHECKOUT,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert hand.stdout.readline() == "here\n"
        done = threading.Event()

        def write():
            with book.writing() as session:
                session.add(tables.Crew(name="One"))
            done.set()

        writer = threading.Thread(target=write)
        writer.start()
        assert not done.wait(0.3)
        assert names(book) == []
    finally:
        hand.kill()  # the lock goes with the process, however that ends
        hand.communicate()
    writer.join(10)
    assert done.is_set()
    assert names(book) == ["One"]


def test_who_writes_and_asks_to_write_again_is_told_so(book):
    """It would wait for itself, for ever."""
    with book.writing(), pytest.raises(RuntimeError, match="wait for itself"), book.writing():
        pass
    with book.writing() as session:  # and the lock is let go all the same
        session.add(tables.Crew(name="One"))
    assert names(book) == ["One"]


def test_a_change_is_seen_by_whoever_watches(settings, book):
    """Of this process and of another one; a look at the book, or work that kept nothing, is no change."""
    with book.watching() as answer:
        before = answer()
        assert names(book) == []
        assert answer() == before
        with book.writing() as session:
            session.add(tables.Crew(name="One"))
        after = answer()
        assert after != before
        other = Book(settings)
        with other.writing() as session:
            session.add(tables.Crew(name="Two"))
        other.close()
        assert answer() != after


def test_what_was_kept_is_told_once_it_is_there(book):
    """And not before, nor where nothing was."""
    told = []
    book.kept = lambda: told.append(names(book))
    with book.writing() as session:
        session.add(tables.Crew(name="One"))
        session.flush()
        assert told == []
    assert told == [["One"]]
    with pytest.raises(ValueError, match="halfway"), book.writing():
        raise ValueError("halfway")
    assert told == [["One"]]


WRITES_AND_DIES = """
import os, sys
from pathlib import Path
from server.book import tables
from server.book.days import open_day
from server.book.store import MIGRATIONS, Book
from server.settings import Settings
book = Book(Settings(data=Path(sys.argv[1])))
with book.writing() as session:
    session.add(tables.Crew(name="kept"))
print("saved", flush=True)
with book.writing() as session:
    session.add(tables.Crew(name="not kept"))
    session.flush()
    os._exit(9)
"""


def test_what_was_kept_outlives_a_process_that_dies(settings, book):
    """Everything up to the last commit, and nothing of what was under way."""
    died = subprocess.run(
        [sys.executable, "-c", WRITES_AND_DIES, str(settings.data)],
        cwd=CHECKOUT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (died.returncode, died.stdout) == (9, "saved\n"), died.stderr
    assert names(book) == ["kept"]


def test_the_book_is_there_when_it_is_opened_again(settings):
    for name in ("one", "two"):
        book = Book(settings)
        book.migrate()
        with book.writing() as session:
            session.add(tables.Crew(name=name))
        book.close()
    book = Book(settings)
    assert names(book) == ["one", "two"]
    book.close()


def test_nothing_is_left_beside_a_book_that_was_closed(settings):
    """A closed book is one file, safe to copy."""
    book = Book(settings)
    book.migrate()
    book.close()
    assert [file.name for file in settings.data.iterdir()] == [DATABASE_FILE]


def test_a_time_comes_back_in_utc_to_the_microsecond(book):
    """Instants are compared: one that came back without its zone, or rounded, would reorder the log."""
    shot = datetime.fromisoformat("2026-06-20T11:05:00.123456+01:00")
    with book.writing() as session:
        venue = tables.Venue(crew_id=first_crew(session).id, name="V", time_zone="Europe/London", places=[
            tables.Place(name="P", light="sun", position=1, readings=[
                tables.Reading(taken_at=shot, who="w", kind="ev", raw={"value": 1.0}, ev100=1.0),
            ]),
        ])  # fmt: skip
        session.add(venue)
    with book.reading() as session:
        (taken,) = session.scalars(select(tables.Reading.taken_at))
    assert taken == shot
    assert taken.tzinfo is UTC


# Migrations.


# Columns that must not be empty and came to tables that had rows: their default is what those rows got.
ADDED_LATER = {
    ("kits", "step_ups"), ("filters", "kind"), ("filters", "engraved"), ("day_places", "worn"),
    ("day_places", "long_end"), ("places", "lit_from"), ("places", "lamps"), ("places", "sun_over"),
    ("places", "sun_behind"), ("places", "lasers"), ("readings", "part"), ("days", "seen_at"), ("days", "steady"),
}  # fmt: skip


def test_migrations_lead_to_the_tables_that_the_code_has(book):
    with book._writer.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "compare_server_default": True})
        different = compare_metadata(context, tables.Table.metadata)
    defaults = [change for group in different if isinstance(group, list) for change in group]
    assert [group for group in different if not isinstance(group, list)] == []
    assert {change[0] for change in defaults} <= {"modify_default"}
    assert {(table, column) for _, _, table, column, *_ in defaults} == ADDED_LATER


def test_migrations_make_the_very_constraints_that_the_code_has(book, tmp_path):
    """Also what the comparison above passes over: what happens to rows whose parent goes, names, checks."""
    made = create_engine(f"sqlite:///{tmp_path / 'made.sqlite3'}")
    tables.Table.metadata.create_all(made)
    wanted, got = inspect(made), inspect(book._writer)

    def seen(inspector, table):
        columns = {c["name"]: (str(c["type"]), c["nullable"]) for c in inspector.get_columns(table)}
        return {
            "columns": columns,
            "key": inspector.get_pk_constraint(table),
            "references": sorted(inspector.get_foreign_keys(table), key=lambda each: each["name"]),
            "unique": sorted(inspector.get_unique_constraints(table), key=lambda each: each["name"]),
            "checks": sorted(inspector.get_check_constraints(table), key=lambda each: each["name"]),
            "indexes": sorted(inspector.get_indexes(table), key=lambda each: each["name"]),
        }

    assert set(got.get_table_names()) - {"alembic_version"} == set(wanted.get_table_names())
    for table in wanted.get_table_names():
        assert seen(got, table) == seen(wanted, table), table
    made.dispose()


FIRST = "0001"
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


def table_of(name, rows):
    return lightweight_table(name, *map(column, rows[0]))


def test_a_book_of_the_first_tables_keeps_every_row_on_its_way_to_the_newest(settings):
    """SQLite changes a table by making it anew: what is copied, and what points to it, must be as it was."""
    book = Book(settings)
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    with book._writer.connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, FIRST)
    with book._writer.begin() as connection:
        for table, rows in BEFORE.items():
            connection.execute(table_of(table, rows).insert(), rows)
    book.migrate()
    with book.reading() as session:
        for table, rows in BEFORE.items():
            after = session.execute(select(*table_of(table, rows).columns)).mappings().all()
            assert sorted(map(dict, after), key=repr) == sorted(rows, key=repr), table
        assert session.execute(text("PRAGMA foreign_key_check")).all() == []
        day = open_day(session, first_camera(1), 2)
    assert day.places[0].look.worn == frozenset()
    assert day.places[0].light.light.ev100 == pytest.approx(6 + 1 / 3), "the reading, and the nudge of the log"
    assert day.rig.slots == ("5",)
    assert [piece.kind for piece in day.kit.filters] == ["nd", "nd"]
    assert day.kit.step_ups == ()
    with book._writer.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1, "on again for the taps that follow"
    book.close()


def test_migrating_again_is_harmless(book):
    with book.writing() as session:
        session.add(tables.Crew(name="One"))
    book.migrate()
    book.migrate()
    assert names(book) == ["One"]
    with book._writer.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


def test_opening_a_book_makes_no_tables(settings):
    """Only `migrate` changes what is there; a book of a newer house is not touched by being opened."""
    book = Book(settings)
    with book.reading() as session:
        assert session.execute(text("select count(*) from sqlite_master")).scalar_one() == 0
    book.close()


@pytest.mark.parametrize("name", ["with a space", "é☺", "100%41", "what?x=1", "number #1", "a'b\"c"])
def test_the_folder_of_the_book_may_have_any_name(tmp_path, name):
    """The book is in the folder that was named, whatever an address would make of its characters."""
    book = Book(Settings(data=tmp_path / name))
    book.migrate()
    book.close()
    assert [path.name for path in tmp_path.iterdir()] == [name]
    with sqlite3.connect(tmp_path / name / DATABASE_FILE) as connection:
        assert connection.execute("select count(*) from crews").fetchone() == (0,)
    connection.close()


def test_another_database_is_opened_by_its_address(tmp_path):
    """LYCHGATE_DATABASE_URL names the book, and no folder is made beside it."""
    address = f"sqlite:///{tmp_path / 'mine.db'}"
    book = Book(Settings(data=tmp_path / "unused", database_url=address))
    book.migrate()
    book.close()
    assert (tmp_path / "mine.db").exists()
    assert not (tmp_path / "unused").exists()
