"""The watcher: who listens to a day hears of its changes, whichever process made them, and nobody else costs anything."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from datetime import date

import pytest
from sqlalchemy.exc import OperationalError

from server.book import tables
from server.book.crews import first_crew
from server.book.days import changed
from server.book.store import Book
from server.book.watching import revisions
from server.door import listening as the_module
from server.door.listening import LISTENERS_MOST, OF_ONE_MOST, Listening, Over, TooManyListen

WHILE = 0.6  # s, three of the watcher's looks: what has not been told by then is not told
ME, SOMEBODY_ELSE = 1_000_000, 1_000_001  # numbers of sessions


@pytest.fixture
def days(book):
    """Two days in the book; their numbers."""
    with book.writing() as session:
        crew = first_crew(session).id
        venue = tables.Venue(crew_id=crew, name="V", time_zone="UTC")
        kit = tables.Kit(crew_id=crew, name="K")
        session.add_all([venue, kit])
        session.flush()
        for number in (1, 2):
            session.add(
                tables.Day(
                    id=number, crew_id=crew, venue_id=venue.id, kit_id=kit.id, name="D", start={}, on=date(2026, 6, 20)
                )
            )
    return 1, 2


def now(book, day=1):
    with book.reading() as session:
        return revisions(session, [day])[day]


def change(book, day=1):
    with book.writing() as session:
        changed(session, day)


@asynccontextmanager
async def watching(book):
    listening = Listening(book)
    book.kept = listening.wake
    watcher = asyncio.create_task(listening.watch())
    try:
        yield listening
        assert not watcher.done(), "the watcher must outlive everything"
    finally:
        watcher.cancel()
        await asyncio.gather(watcher, return_exceptions=True)


def test_a_change_of_this_process_is_told_at_once(book, days, monkeypatch):
    """Woken by it: the watcher's own looks are too far apart to be waited for here."""
    monkeypatch.setattr(the_module, "EVERY", 60)

    async def main():
        async with watching(book) as listening:
            listener = listening.listen(1, ME, now(book))
            assert await listener.next(WHILE) is None
            with ThreadPoolExecutor(1) as thread:  # as routes write
                await asyncio.get_running_loop().run_in_executor(thread, change, book)
            assert await listener.next(30) == now(book)

    asyncio.run(main())


def test_a_change_of_another_process_is_told(settings, book, days):
    """Another connection that this process knows nothing of."""
    other = Book(settings)

    async def main():
        async with watching(book) as listening:
            listener = listening.listen(1, ME, now(book))
            assert await listener.next(WHILE) is None
            change(other)
            assert await listener.next(30) == now(book)

    asyncio.run(main())
    other.close()


def test_only_those_are_told_whose_day_changed(book, days):
    async def main():
        async with watching(book) as listening:
            one, two = (listening.listen(day, ME, now(book, day)) for day in days)
            change(book, 2)
            assert await two.next(30) == now(book, 2)
            assert await one.next(WHILE) is None

    asyncio.run(main())


def test_what_was_kept_before_the_page_listened_is_told(book, days):
    """Between drawing a page and opening its line, another phone may have done something."""

    async def main():
        drawn = now(book)
        change(book)
        async with watching(book) as listening:
            assert await listening.listen(1, ME, drawn).next(30) == now(book)

    asyncio.run(main())


def test_a_page_that_was_slow_hears_of_the_last_change_alone(book, days):
    async def main():
        async with watching(book) as listening:
            listener = listening.listen(1, ME, now(book))
            for _ in range(5):
                change(book)
                await asyncio.sleep(0.05)
            assert await listener.next(30) == now(book)
            assert await listener.next(WHILE) is None

    asyncio.run(main())


def test_a_day_that_is_gone_is_told_as_a_change(book, days):
    async def main():
        async with watching(book) as listening:
            listener = listening.listen(2, ME, now(book, 2))
            with book.writing() as session:
                session.delete(session.get_one(tables.Day, 2))
            assert await listener.next(30) == ""

    asyncio.run(main())


def test_days_to_which_nobody_listens_cost_nothing(book, days, monkeypatch):
    """No question is asked while nobody listens, and none of days that nobody has open."""
    asked = []
    real = the_module.revisions
    monkeypatch.setattr(the_module, "revisions", lambda session, days: asked.append(set(days)) or real(session, days))
    looks = []
    with book.watching() as answer:
        monkeypatch.setattr(book, "watching", lambda: Counted(answer, looks))

        async def main():
            async with watching(book) as listening:
                change(book)
                await asyncio.sleep(WHILE)
                assert (looks, asked) == ([], [])
                listener = listening.listen(1, ME, now(book))
                change(book)
                assert await listener.next(30) is not None
                listening.leave(listener)
                await asyncio.sleep(WHILE)
                before = len(looks)
                change(book)
                await asyncio.sleep(WHILE)
                assert len(looks) == before > 0

        asyncio.run(main())
    assert asked
    assert all(days == {1} for days in asked)


class Counted:
    """The question whether anything was kept, with each time it is asked."""

    def __init__(self, answer, looks):
        self.answer, self.looks = answer, looks

    def __enter__(self):
        return lambda: self.looks.append(1) or self.answer()

    def __exit__(self, *_):
        pass


def test_a_database_that_fails_for_a_while_ends_nothing(book, days, monkeypatch):
    """What was kept meanwhile is told once it answers."""
    real, failing = the_module.revisions, [True, True]

    def sometimes(session, days):
        if failing:
            failing.pop()
            raise OperationalError("select", {}, Exception("disk I/O error"))
        return real(session, days)

    monkeypatch.setattr(the_module, "revisions", sometimes)

    async def main():
        async with watching(book) as listening:
            listener = listening.listen(1, ME, now(book))
            change(book)
            assert await listener.next(30) == now(book)

    asyncio.run(main())
    assert not failing


def test_one_session_has_so_many_pages_and_the_process_too(book, days, monkeypatch):
    async def main():
        listening = Listening(book)
        own = [listening.listen(1, ME, "") for _ in range(OF_ONE_MOST)]
        with pytest.raises(TooManyListen) as refused:
            listening.listen(1, ME, "")
        assert refused.value.of_one
        listening.leave(own[0])
        listening.leave(own[0])  # twice is once
        listening.listen(2, ME, "")
        for number in range(LISTENERS_MOST - OF_ONE_MOST):
            listening.listen(1, number, "")
        with pytest.raises(TooManyListen) as refused:
            listening.listen(1, SOMEBODY_ELSE, "")
        assert not refused.value.of_one
        assert len(listening._of_one) == LISTENERS_MOST - OF_ONE_MOST + 1
        for listener in [*listening._listeners]:
            listening.leave(listener)
        assert not listening._of_one

    asyncio.run(main())


def test_everybody_is_let_go_when_the_server_stops(book, days):
    async def main():
        async with watching(book) as listening:
            listener = listening.listen(1, ME, now(book))
            waits = asyncio.create_task(listener.next(60))
            await asyncio.sleep(0)
            listening.end()
            with pytest.raises(Over):
                await waits
            with pytest.raises(Over):
                listening.listen(1, ME, "")

    asyncio.run(main())
    change(book)  # and whoever still writes finds nobody there
