"""What the server clears away by itself."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import update

from server.book import invites, tables
from server.book.invites import SESSION_IDLE
from server.door import housekeeping
from server.door.housekeeping import keep_tidy, tidy
from tests.conftest import at_this_machine, somebody

PAST = datetime(2026, 1, 1, tzinfo=UTC)


@pytest.fixture
def run_out(book):
    """A book with an invite, a code, a session and a link that have run out, an unused session, and one of each alive."""
    now = datetime.now(UTC)
    with book.writing() as session:
        person = tables.Person(crew_id=1, name="Ines", role="lead", joined_at=now)
        session.add(person)
        session.add(tables.Kit(crew_id=1, name="Kit"))
        session.add(tables.Venue(crew_id=1, name="Mill", time_zone="UTC"))
        session.flush()
        session.add(tables.Day(crew_id=1, venue_id=1, kit_id=1, name="Day", on=now.date(), start={}))
        session.flush()
        for number, until in enumerate((PAST, now + timedelta(hours=1))):
            session.add_all([
                tables.Invite(crew_id=1, hash=f"i{number}", role="guest", made_by="", made_at=now, expires_at=until,
                              uses_left=1),
                tables.PairingCode(person_id=1, hash=f"c{number}", expires_at=until),
                tables.BrowserSession(person_id=1, hash=f"s{number}", device="", begun_at=now, used_at=now,
                                      expires_at=until),
                tables.SharedLink(day_id=1, hash=f"l{number}", kind="sheet", exact=False, name="", made_by="", made_at=now,
                                  expires_at=until),
            ])  # fmt: skip
        session.add(tables.BrowserSession(person_id=1, hash="idle", device="", begun_at=now, used_at=now - SESSION_IDLE,
                                          expires_at=now + timedelta(hours=1)))  # fmt: skip
    return book


def hashes(book):
    with book.reading() as session:
        tables_ = (tables.Invite, tables.PairingCode, tables.BrowserSession, tables.SharedLink)
        return sorted(row.hash for table in tables_ for row in session.query(table))


def test_what_has_run_out_goes_and_what_lives_stays(run_out):
    tidy(run_out)
    assert hashes(run_out) == ["c1", "i1", "l1", "s1"]


def test_where_nothing_has_run_out_nothing_is_written(run_out):
    """Every process looks each hour; none may keep the others from writing for nothing."""
    tidy(run_out)
    kept = []
    run_out.kept = lambda: kept.append(1)
    tidy(run_out)
    assert kept == []


def test_it_is_looked_at_again_and_again_while_the_server_runs(run_out, monkeypatch):
    monkeypatch.setattr(housekeeping, "EVERY", 0.0)

    async def until_tidy():
        tidied = asyncio.Queue()
        loop = asyncio.get_running_loop()
        monkeypatch.setattr(
            housekeeping, "tidy", lambda book: (tidy(book), loop.call_soon_threadsafe(tidied.put_nowait, True))
        )
        running = asyncio.create_task(keep_tidy(run_out))
        async with asyncio.timeout(30):
            await tidied.get()
            with run_out.writing() as session:
                session.execute(update(tables.Invite).values(uses_left=0))
            while len(hashes(run_out)) > 3:
                await tidied.get()
        running.cancel()

    asyncio.run(until_tidy())
    assert hashes(run_out) == ["c1", "l1", "s1"]


def test_a_server_that_starts_clears_away_first(site):
    """Whoever looks at the book after a long night finds nothing that has run out."""
    somebody(site)
    with site.client.app.state.book.writing() as session:
        invites.make_invite(session, 1, "guest", "a test", timedelta(hours=1))
        session.execute(update(tables.Invite).values(expires_at=PAST))
        session.execute(update(tables.BrowserSession).values(used_at=PAST))
    assert site.rows(tables.Invite)
    with at_this_machine(site.client.app) as again:
        site.client = again
        assert site.rows(tables.Invite) == site.rows(tables.BrowserSession) == []


@pytest.mark.in_a_file
def test_what_could_not_be_wiped_is_wiped_later(book):
    """While somebody reads an old state of the book, the log beside the file cannot be emptied."""
    with book.writing() as session:
        session.add(tables.Kit(crew_id=1, name="Quagga kit"))
    with book._database.writer.connect() as connection:
        connection.connection.driver_connection.execute("PRAGMA busy_timeout=1")  # so that the test need not wait
    with book.reading() as reading:
        assert reading.query(tables.Kit).count() == 1
        with book.writing() as session:
            session.query(tables.Kit).delete()
        assert book.wipe() is False
        assert book.to_wipe
    tidy(book)
    assert not book.to_wipe
