"""The open book: what is keptand how durably."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import IntegrityError

from server.book import tables
from server.book.crews import first_crew
from server.book.store import Book
from server.settings import CHECKOUT, DATABASE_FILE, Settings
from tests.databases import environment_of

SYNCED_AT_EVERY_COMMIT = 2  # SQLite's number for FULL; NORMAL, 1, may lose the last commits when the power goes


@pytest.fixture
def book(settings):
    """A book that was migrated here, and not copied."""
    book = Book(settings)
    book.migrate()
    yield book
    book.close()


def in_another_process(script, settings, *arguments, **options):
    """A program with the book of these settings."""
    return subprocess.Popen(
        [sys.executable, "-c", script, *arguments], cwd=CHECKOUT, env=environment_of(settings),
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, **options,
    )  # fmt: skip


def names(book):
    with book.reading() as session:
        return session.scalars(select(tables.Crew.name).order_by(tables.Crew.id)).all()


@pytest.mark.in_a_file
@pytest.mark.parametrize("way", ["reading", "writing"])
@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", SYNCED_AT_EVERY_COMMIT),
        ("foreign_keys", 1),
        ("fullfsync", 1),
        ("checkpoint_fullfsync", 1),
        ("secure_delete", 1),
    ],
)
def test_sqlite_keeps_every_commit_and_every_reference(book, way, pragma, value):
    """A tap that was answered is on the disk, and no row points to one that is not there."""
    with getattr(book, way)() as session:
        assert session.execute(text(f"PRAGMA {pragma}")).scalar_one() == value


@pytest.mark.in_a_file
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
from server.book import tables
from server.book.store import Book
from server.settings import Settings
book = Book(Settings.from_environment())
if book.is_a_file:
    with book._database.writer.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_autocheckpoint=5")
        connection.exec_driver_sql("PRAGMA busy_timeout=0")  # who does not wait for the lock fails
print("here", flush=True)
sys.stdin.readline()  # until all are
for _ in range(int(sys.argv[1])):
    with book.writing(1) as session:
        crew = session.get_one(tables.Crew, 1)
        crew.name = str(int(crew.name) + 1)
        session.add(tables.Crew(name="a" * 80))
book.close()
"""


def impatient(book):
    """Who does not wait for the lock fails."""
    if book.is_a_file:
        with book._database.writer.connect() as connection:
            connection.exec_driver_sql("PRAGMA busy_timeout=0")


def test_writers_in_several_processes_wait_for_each_other(settings, book):
    """
    Three servers at one book lose no step. In a file, through many checkpoints: where two processes write and
    checkpoint at one moment, SQLite's releases up to 3.51.2 may lose a commit, so that only one may ever do either.
    """
    with book.writing() as session:
        session.add(tables.Crew(name="0"))
    impatient(book)
    hands = [in_another_process(COUNTS_UP, settings, "60") for _ in range(2)]
    try:
        assert [hand.stdout.readline() for hand in hands] == ["here\n"] * 2
        for hand in hands:
            hand.stdin.write("\n")
            hand.stdin.flush()
        for _ in range(60):
            with book.writing(1) as session:
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
        if book.is_a_file:
            assert session.execute(text("PRAGMA integrity_check")).scalar_one() == "ok"


@pytest.mark.parametrize(("mine", "other"), [("", ""), ("1", "1"), ("1", ""), ("", "1")])
def test_nobody_writes_while_another_process_does(settings, book, mine, other):
    """
    Neither of one crew, nor where one of them is of no crew. Not for want of SQLite's own waiting, which gives up; and
    readers wait for nobody.
    """
    impatient(book)
    script = COUNTS_UP.replace("print", f"writing = book.writing({other}); writing.__enter__(); print")
    hand = in_another_process(script, settings, "0")
    try:
        assert hand.stdout.readline() == "here\n"
        done = threading.Event()

        def write():
            with book.writing(*map(int, mine)) as session:
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


def test_crews_wait_for_each_other_in_a_file_alone(settings, book):
    """PostgreSQL has many disks to write to, and one crew's slow import is nothing to another's tap."""
    other = Book(settings)
    done = threading.Event()

    def write():
        with other.writing(2) as session:
            session.add(tables.Crew(name="Two"))
        done.set()

    with book.writing(1):
        writer = threading.Thread(target=write)
        writer.start()
        assert done.wait(0.5) is not book.is_a_file
    writer.join(10)
    assert done.is_set()
    other.close()


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
        before = answer() if book.is_a_file else until(answer, 0)
        assert names(book) == []
        assert answer() == before
        with book.writing() as session:
            session.add(tables.Crew(name="One"))
        after = until(answer, before)
        other = Book(settings)
        with other.writing() as session:
            session.add(tables.Crew(name="Two"))
        other.close()
        until(answer, after)


def until(answer, differs):
    """The answer, once it is another one: PostgreSQL tells of it, and may take a moment."""
    ends = time.monotonic() + 10
    while (now := answer()) == differs:
        assert time.monotonic() < ends
        time.sleep(0.005)
    return now


@pytest.mark.in_postgres
def test_who_listens_to_a_database_that_went_away_hears_again_once_it_is_back(settings, book, books):
    """And takes it that something was kept meanwhile."""
    heard = threading.Event()
    book.kept = heard.set
    with book.watching() as answer:
        before = until(answer, 0)
        books.postgres.ask(
            "select pg_terminate_backend(pid) from pg_stat_activity where query like 'LISTEN%' and pid <> pg_backend_pid()"
        )
        after = until(answer, before)
        heard.clear()
        other = Book(settings)
        with other.writing() as session:
            session.add(tables.Crew(name="Two"))
        other.close()
        until(answer, after)
        assert heard.wait(10)


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
import os
from server.book import tables
from server.book.store import Book
from server.settings import Settings
book = Book(Settings.from_environment())
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
    died = in_another_process(WRITES_AND_DIES, settings, stderr=subprocess.PIPE)
    out, err = died.communicate(timeout=30)
    assert (died.returncode, out) == (9, "saved\n"), err
    assert names(book) == ["kept"]


def test_the_book_is_there_when_it_is_opened_again(settings):
    """Closed or not, it is the same one."""
    for name in ("one", "two"):
        book = Book(settings)
        book.migrate()
        with book.writing() as session:
            session.add(tables.Crew(name=name))
        book.close()
    book = Book(settings)
    assert names(book) == ["one", "two"]
    book.close()


@pytest.mark.in_a_file
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
