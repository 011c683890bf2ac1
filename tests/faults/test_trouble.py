"""A database that cannot keep or read: who asked is told in words, nothing is lost, and it goes on when it can."""

from __future__ import annotations

import os
import resource
import sqlite3
import subprocess
import sys
from contextlib import contextmanager

import pytest
from sqlalchemy import text

from server.book import tables
from server.book.store import Book
from server.book.trouble import BUSY, DAMAGED, FULL, READ_ONLY, trouble_of
from server.settings import CHECKOUT, DATABASE_FILE
from tests.conftest import Startable, new_id
from tests.databases import environment_of
from tests.page import Page


@pytest.fixture
def day(site):
    site.day_at(8, 9)
    return site


def told(site, *statements):
    """Something said to the writer's own connection."""
    with site.client.app.state.book._database.writer.connect() as connection:
        driver = connection.connection.driver_connection
        return [driver.execute(statement).fetchone() for statement in statements]


@contextmanager
def full(site):
    """No page more than the file has: SQLite's own word for a full disk (SQLITE_FULL)."""
    ((pages,),) = told(site, "PRAGMA page_count")
    told(site, f"PRAGMA max_page_count={pages}")
    yield
    told(site, "PRAGMA max_page_count=1000000")


@contextmanager
def beginning_with(site, statement):
    """Every piece of work in PostgreSQL begins with this."""
    database = site.client.app.state.book._database
    begun = database.begun

    def begin(session, crew):
        session.execute(text(statement))
        begun(session, crew)

    database.begun = begin
    yield
    del database.begun


@contextmanager
def read_only(site):
    if site.client.app.state.book.is_a_file:
        told(site, "PRAGMA query_only=ON")
        yield
        told(site, "PRAGMA query_only=OFF")
        return
    with beginning_with(site, "SET TRANSACTION READ ONLY"):
        yield


@contextmanager
def locked(site):
    """Another program has the database, for longer than anybody waits."""
    book = site.client.app.state.book
    if book.is_a_file:
        told(site, "PRAGMA busy_timeout=20")
        other = sqlite3.connect(site.client.app.state.settings.data / DATABASE_FILE, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        yield
        other.close()
        told(site, "PRAGMA busy_timeout=5000")
        return
    with beginning_with(site, "SET LOCAL lock_timeout = '20ms'"), book._database.writer.begin() as other:
        other.execute(text("LOCK TABLE events, venues IN EXCLUSIVE MODE"))  # in which others still read
        yield


def until_refused(send):
    """The answer that says no, and what was sent; a full disk still has room in pages that are begun."""
    for number in range(200):
        answer, sent = send(number)
        if answer.status_code != 303:
            return answer, sent
    raise AssertionError("all of them were kept")


TROUBLES = {"full": (full, FULL), "read-only": (read_only, READ_ONLY), "busy": (locked, BUSY)}


@pytest.mark.parametrize("kind", [pytest.param("full", marks=pytest.mark.in_a_file), "read-only", "busy"])
def test_what_cannot_be_kept_is_said_and_kept_later(day, kind):
    """A tap, and a form of many words: neither is lost, and nothing that was kept before."""
    trouble, means = TROUBLES[kind]

    def tap(_number):
        sent = {"event_id": new_id(), "place": "1", "clicks": "1"}
        return day.post("/days/1/nudges", **sent), sent

    def venue(number):
        sent = {"name": f"Quagga hall {number} {'w' * 60}", "time_zone": "Europe/London"}
        return day.client.post("/venues", data=sent), sent

    with trouble(day):
        (answer, tapped), (page, typed) = until_refused(tap), until_refused(venue)
        for each in (answer, page):
            assert each.status_code == 503, each.text[:200]
            assert each.headers["retry-after"] == "10"
            assert means.words in Page(each.text).text
        assert typed["name"] in Page(page.text).text, "what was typed is there to be taken along"
        assert day.client.get("/days/1").status_code == 200, "it can be read"
        before = day.book()
    after = day.book()
    assert after == before, "what was refused left nothing, and what was kept is there"
    assert typed["name"] not in {row.name for row in day.rows(tables.Venue)}
    assert day.post("/days/1/nudges", **tapped).status_code == 303
    assert tapped["event_id"] in {row.id for row in day.rows(tables.Event)}


@pytest.mark.in_a_file
def test_a_damaged_file_is_said_and_not_touched(books, tmp_path):
    for client in Startable(books, tmp_path / "data").on("demo"):
        file = tmp_path / "data" / DATABASE_FILE
        assert client.get("/days/1").status_code == 200
        book = client.app.state.book
        book._database.writer.dispose()
        book._database.reader.dispose()
        with file.open("r+b") as opened:
            opened.seek(4096)
            opened.write(os.urandom(file.stat().st_size - 4096))
        damaged = file.read_bytes()
        answer = client.get("/days/1")
        assert answer.status_code == 503
        assert DAMAGED.words in Page(answer.text).text
        assert file.read_bytes() == damaged


@pytest.mark.in_a_file
def test_a_file_that_may_not_grow_loses_nothing(books, tmp_path):
    """The system's own refusal, to a whole server: a limit on the size of files."""
    settings = books.new(tmp_path / "data", open_here=True)
    books.copy("empty", settings)
    script = (
        "from server.book.store import Book; from server.book import tables; from server.settings import Settings\n"
        "book = Book(Settings.from_environment())\n"
        "for number in range(1, 4000):\n"
        "    with book.writing() as session: session.add(tables.Crew(name='x' * 80))\n"
        "    print(number, flush=True)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=CHECKOUT, capture_output=True, text=True, check=False,
        env=environment_of(settings),
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000)),
    )  # fmt: skip
    kept = int(done.stdout.split()[-1])
    assert 1 < kept < 3999
    assert "OperationalError" in done.stderr
    book = Book(settings)
    with book.reading() as session:
        assert session.query(tables.Crew).count() in (kept + 1, kept + 2), "those, and the one that was there before"
        assert session.execute(text("PRAGMA integrity_check")).scalar_one() == "ok"
    book.close()


@pytest.mark.parametrize(
    ("error", "means"),
    [
        (OSError(28, "No space left on device"), FULL), (OSError(30, "Read-only file system"), READ_ONLY),
        (OSError(2, "No such file"), None), (ValueError("ours"), None),
    ],
)  # fmt: skip
def test_what_is_no_trouble_of_the_database_is_none(error, means):
    assert trouble_of(error) == means
