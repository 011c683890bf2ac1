"""
The pages that are open on a day, and the watcher that tells them of its changes: one for a server process.

The watcher asks often whether anything was kept (`Book.watching`: 3 µs), while any page listens; what this process
keeps itself wakes it at once, and so does what PostgreSQL tells of the others. Only the newest revision of a day is
told, never what changed: a page that missed ten changes misses nothing by hearing of the last one. All of it runs in
the server's one event loop, `wake` apart.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from contextlib import suppress
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from server.book.invites import still_in
from server.book.trouble import OF_THE_DATABASE
from server.book.watching import revisions

from .visitor import asked

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.orm import Session

    from server.book.invites import Admitted
    from server.book.store import Book

EVERY = 0.1  # s, between looks for what other processes kept
QUICKEST = 0.02  # s, between looks however much is kept
AT_LEAST_EVERY = 4.0  # s, between looks at who is still in: a session also ends by the clock
LISTENERS_MOST = 1000  # pages, for one process
OF_ONE_MOST = 20  # pages of one session: more tabs than anybody reads


class Over(Exception):
    """The server is about to stop."""


class TooManyListen(Exception):
    """No more pages can be told. of_one: it is one session that has so many."""

    def __init__(self, *, of_one: bool) -> None:
        super().__init__(of_one)
        self.of_one = of_one


class Listener:
    """
    A page that is told of the changes of a day.

    who       the number of the session that it is open in; None: whoever opens the demo on its own machine
    told      the revision that it knows
    admitted  who holds that session, as of the last look; None where it has ended. looked: whether there was a look
    """

    def __init__(self, day: int, who: int | None, told: str) -> None:
        self.day, self.who, self.told = day, who, told
        self.admitted: Admitted | None = None
        self.looked = False
        self._newest = told
        self._over = False
        self._news = asyncio.Event()

    def tell(self, revision: str, admitted: Admitted | None = None) -> None:
        """Another revision, or the same again, and who listens."""
        self._newest, self.admitted, self.looked = revision, admitted, True
        if revision != self.told:
            self._news.set()

    def end(self) -> None:
        """Nothing will be told any more."""
        self._over = True
        self._news.set()

    async def next(self, seconds: float) -> str | None:
        """The newest revision, once it is another one; None where there is none for so long. Raises Over."""
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._news.wait()
        if self._over:
            raise Over
        self._news.clear()
        if self.told == self._newest:
            return None
        self.told = self._newest
        return self.told


class Listening:
    """Who listens to what, in this process."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._listeners: set[Listener] = set()
        self._of_one: Counter[int | None] = Counter()
        self._over = False
        self._loop = asyncio.get_running_loop()
        self._look = asyncio.Event()
        self._somebody = asyncio.Event()

    def listen(self, day: int, who: int | None, told: str) -> Listener:
        """A page that has a day open, as it was at a revision. Raises TooManyListen, Over."""
        if self._over:
            raise Over
        if self._of_one[who] >= OF_ONE_MOST:
            raise TooManyListen(of_one=True)
        if len(self._listeners) >= LISTENERS_MOST:
            raise TooManyListen(of_one=False)
        listener = Listener(day, who, told)
        self._listeners.add(listener)
        self._of_one[who] += 1
        self._somebody.set()
        self._look.set()  # for what was kept since that revision was read
        return listener

    def leave(self, listener: Listener) -> None:
        """A page that was closed."""
        if listener not in self._listeners:
            return
        self._listeners.discard(listener)
        self._of_one[listener.who] -= 1
        self._of_one += Counter()  # lets go of those that have none
        if not self._listeners:
            self._somebody.clear()

    def wake(self) -> None:
        """Something was kept. Any thread may say so."""
        if self._listeners and not self._over:
            with suppress(RuntimeError):  # the loop has ended meanwhile, and with it whoever listened
                self._loop.call_soon_threadsafe(self._look.set)

    def end(self) -> None:
        """Every page is let go, since a server waits for its open answers before it stops."""
        self._over = True
        self._somebody.set()
        self._look.set()
        for listener in self._listeners:
            listener.end()

    async def watch(self) -> None:
        """Tell everybody, until the end. It is not to be cancelled: a question that is under way holds a connection."""
        with self._book.watching() as answer:
            seen: object = None
            looked_at = -AT_LEAST_EVERY
            while not self._over:
                await self._somebody.wait()
                with suppress(TimeoutError):
                    async with asyncio.timeout(EVERY):
                        await self._look.wait()
                must = self._look.is_set()
                self._look.clear()
                try:
                    now = answer()
                    if must or now != seen or self._loop.time() - looked_at >= AT_LEAST_EVERY:
                        await self._tell()
                        looked_at = self._loop.time()
                    seen = now
                except OF_THE_DATABASE:  # a database that does not answer now may answer later
                    seen = None
                await asyncio.sleep(QUICKEST)

    async def _tell(self) -> None:
        days = {listener.day for listener in self._listeners}
        sessions = {listener.who for listener in self._listeners if listener.who is not None}
        found, admitted = await asked(self._book, _as_it_is(days, sessions))
        for listener in self._listeners:
            # Who came meanwhile was not asked for, and is at the next look.
            if listener.day in days and (listener.who is None or listener.who in sessions):
                who = None if listener.who is None else admitted.get(listener.who)
                listener.tell(found.get(listener.day, ""), who)


def _as_it_is(days: set[int], sessions: set[int]) -> Callable[[Session], tuple[dict[int, str], dict[int, Admitted]]]:
    """The revisions of days, and who holds these sessions: two questions for all who listen."""
    return lambda session: (revisions(session, days), still_in(session, sessions, datetime.now(UTC)))
