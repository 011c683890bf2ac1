"""
The database in PostgreSQL, which several processes serve from.

The writers of one crew queue by an advisory lock of that crew's number; whoever writes without a crew, as who comes in
by an invite does, waits for all and all for them. The lock ends with the transaction, however that ends. Each piece of
work that is kept says so to every process (NOTIFY), as part of its own transaction: it is heard once, and only if kept.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager, nullcontext
from typing import TYPE_CHECKING, Any

import psycopg
from sqlalchemy import create_engine, text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

    from sqlalchemy import URL, Connection
    from sqlalchemy.orm import Session

CHANNEL = "lychgate"
KEY = 0x4C594348  # of our advisory locks, beside which other programs may have theirs
WAITS_MOST = "10s"  # for a lock, and then the tap is refused and comes again
POOL = {"pool_size": 10, "max_overflow": 10, "pool_pre_ping": True, "pool_use_lifo": True}
CONNECT_SECONDS = 5
HEARS_EVERY = 1.0  # s, within which a listener notices that it is to end
ASKS_EVERY = 10.0  # s, after which a listener takes it that something was kept: a line may be dead and not say so

_EVERYBODY = text(f"SELECT pg_advisory_xact_lock({KEY})")
_ONE_CREW = text(f"SELECT pg_advisory_xact_lock_shared({KEY}), pg_advisory_xact_lock(:crew)")
_SAY = text(f"NOTIFY {CHANNEL}")


class InPostgres:
    """See the module."""

    def __init__(self, url: URL) -> None:
        self._url = url
        reads, writes = _connecting(read_only=True), _connecting(read_only=False)
        self.reader = create_engine(url, isolation_level="REPEATABLE READ", connect_args=reads, **POOL)
        # Three ways to the database and back less, of five.
        self.asker = self.reader.execution_options(isolation_level="AUTOCOMMIT")
        self.writer = create_engine(url, connect_args=writes, **POOL)

    def turn(self) -> AbstractContextManager[None]:
        """The database itself has them wait."""
        return nullcontext()

    def begun(self, session: Session, crew: int | None) -> None:
        """Wait for whoever writes the same."""
        if crew is None:
            session.execute(_EVERYBODY)
        else:
            # Two crews of one number here, past the four thousand millionth, would wait for each other in vain.
            session.execute(_ONE_CREW, {"crew": KEY << 32 | crew % (1 << 32)})

    def ending(self, session: Session, crew: int | None) -> None:  # noqa: ARG002 - everybody looks at what they show
        """Have every process hear of it."""
        session.execute(_SAY)

    @contextmanager
    def watching(self, kept: Callable[[], None]) -> Iterator[Callable[[], object]]:
        """How often anything was heard, by a thread with a connection of its own."""
        ear = _Ear(self._url, kept)
        ear.start()
        try:
            yield lambda: ear.heard
        finally:
            ear.stop()

    @contextmanager
    def migrating(self, connection: Connection) -> Iterator[None]:
        """Two processes that start at one moment change the tables one after the other."""
        connection.execute(_EVERYBODY)
        yield
        connection.commit()

    def wipe(self) -> None:
        """PostgreSQL clears away by itself (autovacuum)."""

    def close(self) -> None:
        """Let go of every connection."""
        self.reader.dispose()
        self.writer.dispose()


def _connecting(*, read_only: bool) -> dict[str, Any]:
    settings = {"lock_timeout": WAITS_MOST, "timezone": "UTC"}
    if read_only:
        settings["default_transaction_read_only"] = "on"
    options = " ".join(f"-c {name}={value}" for name, value in settings.items())
    return {"connect_timeout": CONNECT_SECONDS, "application_name": "lychgate", "options": options}


class _Ear(threading.Thread):
    """
    Listens to what all processes keep. A line that breaks is made again, and whatever was missed meanwhile counts as
    one change.

    heard  counts up
    """

    def __init__(self, url: URL, kept: Callable[[], None]) -> None:
        super().__init__(name="listens to the database", daemon=True)
        self.heard = 0
        self._address = url.set(drivername="postgresql").render_as_string(hide_password=False)
        self._kept = kept
        self._over = threading.Event()

    def run(self) -> None:
        """Until it is stopped."""
        while not self._over.is_set():
            try:
                with psycopg.connect(self._address, autocommit=True, connect_timeout=CONNECT_SECONDS) as line:
                    line.execute(f"LISTEN {CHANNEL}")
                    self._listen(line)
            except psycopg.Error:  # a database that does not answer now may answer later
                self._over.wait(HEARS_EVERY)

    def _listen(self, line: psycopg.Connection) -> None:
        self._tell()
        silent = 0.0
        while not self._over.is_set():
            # A burst is one change: whoever is told reads the newest.
            if any(True for _ in line.notifies(timeout=HEARS_EVERY, stop_after=1)):
                silent = 0.0
                self._tell()
                continue
            silent += HEARS_EVERY
            if silent >= ASKS_EVERY:
                line.execute("SELECT 1")  # which fails on a line that is dead
                silent = 0.0
                self._tell()

    def _tell(self) -> None:
        if not self._over.is_set():
            self.heard += 1
            self._kept()

    def stop(self) -> None:
        """Soon; the thread need not be waited for, which would hold up the server's own end."""
        self._over.set()
