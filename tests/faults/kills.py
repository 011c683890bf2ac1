"""
A server is killed (SIGKILL) again and again while phones tap, and what was answered is compared with what is kept.

    python -m tests.faults.kills 300             with the database in a file
    python -m tests.faults.kills 300 --postgres  with PostgreSQL, which is killed too, every tenth time

A kill shows that nothing is kept in the process alone. It cannot show what the power's going does: then it is the
database's promise, which rests on its settings (`tests/book/test_store.py`, `server/book/in_a_file.py`).
"""

from __future__ import annotations

import argparse
import http.client
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from sqlalchemy import func, select, text

from server.book import tables
from server.book.store import Book
from server.settings import CHECKOUT
from tests.conftest import new_id
from tests.databases import Books, Postgres, environment_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from server.settings import Settings

PHONES = 4
LONGEST = 0.25  # s, for which a server lives once it answers


@dataclass
class Outcome:
    """What was said to be kept, and what is there."""

    kills: int = 0
    sent: set[str] = field(default_factory=set)
    answered: set[str] = field(default_factory=set)
    kept: list[str] = field(default_factory=list)
    whole: bool = False

    @property
    def lost(self) -> set[str]:
        return self.answered - set(self.kept)

    @property
    def twice(self) -> int:
        return len(self.kept) - len(set(self.kept))


class Mortal:
    """A server that can be killed, and begun again on the same port."""

    def __init__(self, settings: Settings) -> None:
        environment = environment_of(settings) | {"LYCHGATE_OPEN": "here"}
        self._parent = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.mortal"], cwd=CHECKOUT, env=environment, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self._parent.stdin is not None
        assert self._parent.stdout is not None
        self._to, self._from = self._parent.stdin, self._parent.stdout
        self.port = int(self._from.readline())
        self._child = 0

    def begin(self) -> None:
        self._to.write("again\n")
        self._to.flush()
        self._child = int(self._from.readline())

    def kill(self) -> None:
        os.kill(self._child, signal.SIGKILL)
        assert self._from.readline() == "over\n"
        self._child = 0

    def close(self) -> None:
        if self._child:
            self.kill()
        self._to.close()
        self._parent.wait(10)
        self._from.close()


@contextmanager
def tapping(port: int, outcome: Outcome, places: list[int]) -> Iterator[threading.Event]:
    """Phones that tap as fast as they are answered, and send again what was not. The event: somebody was answered."""
    over, answered = threading.Event(), threading.Event()

    def phone(seed: int) -> None:
        random_ = random.Random(seed)  # noqa: S311 - no secret
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=2)
        waiting: str | None = None
        while not over.is_set():
            event = waiting or new_id()
            waiting = event
            outcome.sent.add(event)
            form = {"event_id": event, "place": random_.choice(places), "clicks": random_.choice(("1", "-1"))}
            headers = {"content-type": "application/x-www-form-urlencoded", "prefer": "return=minimal"}
            try:
                line.request("POST", "/days/1/nudges", urlencode(form), headers)
                status = line.getresponse()
                status.read()
            except (OSError, http.client.HTTPException):
                line.close()
                continue
            if status.status in (200, 204, 303):
                outcome.answered.add(event)
                waiting = None
                answered.set()
            elif status.status < 500:
                raise AssertionError(f"a nudge was answered {status.status}")
        line.close()

    hands = [threading.Thread(target=phone, args=(seed,)) for seed in range(PHONES)]
    for hand in hands:
        hand.start()
    try:
        yield answered
    finally:
        over.set()
        for hand in hands:
            hand.join()


def kill_often(settings: Settings, kills: int, *, postgres: Postgres | None = None, seed: int = 0) -> Outcome:
    """The demo's day under taps, its server killed so many times at any moment."""
    random_ = random.Random(seed)  # noqa: S311 - no secret
    outcome = Outcome()
    book = Book(settings)
    with book.reading() as session:
        places = list(session.scalars(select(tables.DayPlace.place_id).where(tables.DayPlace.day_id == 1)))
    book.close()
    server = Mortal(settings)
    try:
        with tapping(server.port, outcome, places) as answered:
            for number in range(kills):
                answered.clear()
                server.begin()
                assert answered.wait(30), "a server that was begun again answered nobody"
                time.sleep(random_.uniform(0, LONGEST))
                if postgres is not None and number % 10 == 9:
                    postgres.stop("immediate")
                server.kill()
                if postgres is not None and number % 10 == 9:
                    postgres.start()
                outcome.kills += 1
    finally:
        server.close()
    book = Book(settings)
    with book.reading() as session:
        outcome.kept = list(session.scalars(select(tables.Event.id).where(tables.Event.kind == "nudged")))
        whole = not book.is_a_file or session.execute(text("PRAGMA integrity_check")).scalar_one() == "ok"
        rows = session.execute(select(func.count()).select_from(tables.Event)).scalar_one()
        outcome.whole = whole and rows >= len(outcome.kept)
    book.close()
    return outcome


def main() -> int:
    """Print what came of it; 1 where anything was lost."""
    parser = argparse.ArgumentParser()
    parser.add_argument("kills", type=int)
    parser.add_argument("--postgres", action="store_true")
    asked = parser.parse_args()
    postgres = Postgres(durable=True) if asked.postgres else None
    with tempfile.TemporaryDirectory() as folder:
        books = Books(Path(folder) / "books", postgres)
        settings = books.new(Path(folder) / "data", open_here=True)
        books.copy("demo", settings)
        begun = time.perf_counter()
        outcome = kill_often(settings, asked.kills, postgres=postgres)
        seconds = time.perf_counter() - begun
    if postgres is not None:
        postgres.remove()
    print(
        f"{outcome.kills} kills in {seconds:.0f} s; {len(outcome.answered)} taps answered, {len(outcome.lost)} lost, "
        f"{outcome.twice} kept twice; {len(set(outcome.kept) - outcome.answered)} kept and not answered; "
        f"the database is {'whole' if outcome.whole else 'DAMAGED'}"
    )
    return 1 if outcome.lost or outcome.twice or not outcome.whole else 0


if __name__ == "__main__":
    sys.exit(main())
