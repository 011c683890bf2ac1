"""
How long a nudge on one phone takes to the other's page, and what it costs that several processes may write.

    python -m tests.bench.live

Two servers at one book with the demo in it, on loopback. A nudge is sent to the first; a listener at the first, and one
at the second, note when they hear of it, and when they have fetched the day page that it led to. The clock starts when
the nudge is sent, so that its own way in, the log and the disk are counted.
"""

from __future__ import annotations

import queue
import statistics
import sys
import tempfile
import threading
import time
import uuid
from contextlib import nullcontext, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import httpx

from server.book import tables
from server.book.store import Book
from server.settings import Settings
from tests.conftest import environment_for
from tests.test_command_line import run, serving

if TYPE_CHECKING:
    from server.book.in_a_file import Alone

NUDGES = 60
APART = 0.15  # s; not a divisor of the watcher's own pace, so that no phase is favoured
WRITES = 400
FRAGMENT, STREAM = {"HX-Request": "true"}, {"accept": "text/event-stream"}


def main() -> None:
    """Print the tables."""
    with tempfile.TemporaryDirectory() as folder:
        environment = environment_for(Path(folder))
        run(environment, "demo.fill")
        with serving(environment) as one, serving(environment) as other:
            latencies({"one process": one.url, "two processes": other.url}, one.url)
    with tempfile.TemporaryDirectory() as folder:
        the_lock(Settings(data=Path(folder)))


class Phone(threading.Thread):
    """A page that is open on day 1: notes when it heard, and when it had the page again."""

    def __init__(self, url: str) -> None:
        super().__init__(daemon=True)
        self.url = url
        self.ready = threading.Event()
        self.noted: queue.Queue[tuple[float, float]] = queue.Queue()

    def run(self) -> None:
        with suppress(httpx.RemoteProtocolError), httpx.Client(base_url=self.url, timeout=60) as client, client.stream(
            "GET", "/days/1/changes", headers=STREAM
        ) as answer:  # fmt: skip
            for line in answer.iter_lines():
                if line == "event: revision" and self.ready.is_set():
                    heard = time.perf_counter()
                    client.get("/days/1").raise_for_status()
                    self.noted.put((heard, time.perf_counter()))
                elif line.startswith("data:"):
                    self.ready.set()


def latencies(urls: dict[str, str], nudged: str) -> None:
    """Nudge, and see when it is heard."""
    phones = {name: Phone(url) for name, url in urls.items()}
    for phone in phones.values():
        phone.start()
        phone.ready.wait(30)
    heard: dict[str, list[float]] = {name: [] for name in urls}
    drawn: dict[str, list[float]] = {name: [] for name in urls}
    with httpx.Client(base_url=nudged, timeout=60) as client:
        for number in range(NUDGES):
            time.sleep(APART + number % 7 * 0.03)
            fields = {"event_id": str(uuid.uuid4()), "place": "1", "clicks": "1" if number % 2 else "-1"}
            start = time.perf_counter()
            client.post("/days/1/nudges", data=fields, headers=FRAGMENT).raise_for_status()
            for name, phone in phones.items():
                at, page = phone.noted.get(timeout=10)
                heard[name].append(at - start)
                drawn[name].append(page - start)
    print("| a nudge, from the tap on | heard, median | 95 of 100 | most | page fetched, median | 95 of 100 |")
    print("|---|---:|---:|---:|---:|---:|")
    for name in urls:
        figures = (*spread(heard[name]), max(heard[name]), *spread(drawn[name]))
        print(f"| {name} | " + " | ".join(f"{seconds * 1e3:.0f} ms" for seconds in figures) + " |")


def spread(taken: list[float]) -> tuple[float, float]:
    """The median and the 95th of 100."""
    return statistics.median(taken), statistics.quantiles(taken, n=20)[-1]


def the_lock(settings: Settings) -> None:
    """A small write with the folder's lock, and with none, in turn."""
    book = Book(settings)
    book.migrate()
    with book.writing() as session:
        session.add(tables.Crew(name="0"))
    ways: dict[str, Alone | nullcontext[None]] = {"with the lock": book._database._alone, "without": nullcontext()}
    taken: dict[str, list[float]] = {name: [] for name in ways}
    for number in range(WRITES):
        for name, way in sorted(ways.items(), reverse=number % 2 == 0):  # neither always goes first
            book._database._alone = way
            start = time.perf_counter()
            with book.writing() as session:
                session.get_one(tables.Crew, 1).name = str(number)
            taken[name].append(time.perf_counter() - start)
    alone = ways["with the lock"]
    bare = []
    for _ in range(WRITES):
        start = time.perf_counter()
        with alone:
            pass
        bare.append(time.perf_counter() - start)
    book.close()
    print("\n| a small write | median |\n|---|---:|")
    for name, times in taken.items():
        print(f"| {name} | {statistics.median(times) * 1e3:.2f} ms |")
    print(f"| the lock alone | {statistics.median(bare) * 1e6:.0f} µs |")


if __name__ == "__main__":
    sys.exit(main())
