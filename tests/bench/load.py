"""
Five hundred phones on a hundred days, on loopback: taps a second, how long each waits, errors and memory.

    python -m tests.bench.load                  a hundred days of five phones, two processes, PostgreSQL
    python -m tests.bench.load --crews 10       as many days as asked
    python -m tests.bench.load --ballast 10000  so many other crews in the database
    python -m tests.bench.load --file           the database in a file, one process

Every phone has its day open and listens for its changes; when another phone's tap is told it asks for the page, as the
page's own script does. Taps come at moments of a Poisson process that does not wait for answers, and each is timed from
the moment it was due: a slow server cannot make the load lighter (which a loop that waits for each answer would). Then,
with nobody listening, as many taps as can be in a closed loop. The phones' work is on the same processors as the
server's: what a server alone would do is more.
"""

from __future__ import annotations

import argparse
import asyncio
import hashlib
import os
import random
import re
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

import httpx
from sqlalchemy import select, text

from demo.fill import fill
from server.book import tables
from server.book.backups import count_on
from server.book.invites import join, make_invite
from server.book.store import Book
from server.settings import CHECKOUT
from tests.conftest import new_id
from tests.databases import Postgres, environment_of, settings_of

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from sqlalchemy import ColumnElement, Table

    from server.settings import Settings

PHONES = 5  # on each day
SECONDS = 20.0
WARM = 15.0  # s, not counted
PER_SECOND = 8.0  # taps of all phones: each once a minute, as on a busy day
LOOPS = 8  # phones of the closed loop
STEP = 1_000  # between the numbers of a row and of its copy
AT_ONCE = 500  # copies


@dataclass
class Phone:
    """Somebody's browser: its cookie, its day, a place of that day."""

    cookie: str
    day: int
    place: int


@dataclass
class Seen:
    """What the phones saw."""

    waits: dict[str, list[float]] = field(default_factory=lambda: {"tap": [], "page": [], "told": []})
    errors: list[str] = field(default_factory=list)
    taps: dict[int, float] = field(default_factory=dict)  # when the newest tap of a day was due
    since: float = 0.0  # from when on it is counted: a server that was just started works out each day anew

    def counts(self, due: float) -> bool:
        """Whether a tap that was due then is counted."""
        return due >= self.since


class Line:
    """One connection that is kept, as a browser keeps it."""

    def __init__(self, port: int, phone: Phone) -> None:
        self._port, self._phone = port, phone
        self._ends: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
        self._busy = asyncio.Lock()

    def _head(self, method: str, path: str, more: str = "") -> bytes:
        return (
            f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{self._port}\r\nCookie: lychgate={self._phone.cookie}\r\n"
            f"Sec-Fetch-Site: same-origin\r\nAccept-Encoding: gzip\r\nHX-Request: true\r\n{more}\r\n"
        ).encode()

    async def ask(self, method: str, path: str, form: dict[str, str] | None = None) -> int:
        """The status of a whole answer."""
        body = urlencode(form or {}).encode()
        more = f"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {len(body)}\r\n" if form else ""
        async with self._busy:
            for again in (True, False):
                if self._ends is None:
                    self._ends = await asyncio.open_connection("127.0.0.1", self._port)
                reader, writer = self._ends
                try:
                    writer.write(self._head(method, path, more) + (body if form else b""))
                    head = await reader.readuntil(b"\r\n\r\n")
                    length = re.search(rb"(?i)content-length: (\d+)", head)
                    await reader.readexactly(int(length[1]) if length else 0)
                    return int(head.split(b" ", 2)[1])
                except (asyncio.IncompleteReadError, ConnectionError):
                    self._ends = None  # it was idle for too long, and the server let it go
                    writer.close()
                    if not again:
                        raise
        raise AssertionError

    async def listen(self, path: str) -> AsyncIterator[str]:
        """The revisions that are told, each once."""
        reader, writer = await asyncio.open_connection("127.0.0.1", self._port, limit=1 << 16)
        try:
            writer.write(self._head("GET", path, "Accept: text/event-stream\r\n"))
            head = await reader.readuntil(b"\r\n\r\n")
            if b" 200 " not in head:
                raise ConnectionError(head.split(b"\r\n")[0].decode())
            kind = b""
            while line := await reader.readline():
                if line.startswith(b"event: "):
                    kind = line[7:].strip()
                elif line.startswith(b"data: ") and kind == b"revision":
                    yield line[6:].strip().decode()
        finally:
            writer.close()

    def close(self) -> None:
        if self._ends is not None:
            self._ends[1].close()


def made(book: Book, crews: int) -> list[Phone]:
    """So many crews, each with the demo's day and the phones on it."""
    phones = []
    now = datetime.now(UTC)
    for number in range(crews):
        with book.writing() as session:
            crew = tables.Crew(name=f"Crew {number}")
            session.add(crew)
            session.flush()
            crew_id = crew.id
        fill(book, now, crew_id)
        with book.writing() as session:
            day = session.scalars(select(tables.Day.id).where(tables.Day.crew_id == crew_id)).one()
            asked = select(tables.DayPlace.place_id).where(tables.DayPlace.day_id == day)
            places = session.scalars(asked.order_by(tables.DayPlace.position)).all()
            for hand in range(PHONES):
                invite = make_invite(session, crew_id, "lead", "bench", timedelta(hours=1))
                cookie = join(session, invite, f"Phone {hand}", "a phone")
                assert cookie is not None
                phones.append(Phone(cookie, day, places[0]))
    return phones


def add_ballast(book: Book, crews: int) -> None:
    """
    So many copies of all that is in the book, one crew with its day, with numbers of their own.

    What refers to a number inside a document keeps the first crew's; nobody opens these days.
    """
    for first in range(1, crews + 1, AT_ONCE):
        with book.writing() as session:
            for table in tables.Table.metadata.sorted_tables:
                numbers = {each.name for each in table.columns if each.primary_key or each.foreign_keys}
                copies = [
                    {name: another(name, value, copy, numbers) for name, value in row.items()}
                    for row in session.execute(table.select().where(first_of(table))).mappings().all()
                    for copy in range(first, min(first + AT_ONCE, crews + 1))
                ]
                if copies:
                    session.execute(table.insert(), copies)
    with book.writing() as session:
        count_on(session.connection())
        session.execute(text("ANALYZE"))


def first_of(table: Table) -> ColumnElement[bool]:
    """Rows that are no copies."""
    (key,) = table.primary_key.columns
    return key < STEP


def another(name: str, value: Any, copy: int, numbers: set[str]) -> Any:
    """A value in a copy of its row."""
    if name in numbers and value is not None:
        return value + STEP * copy
    return hashlib.sha256(f"{value}{copy}".encode()).hexdigest() if name == "hash" else value


class Served:
    """The server's own command, in processes of its own."""

    def __init__(self, settings: Settings, workers: int) -> None:
        environment = environment_of(settings) | {"LYCHGATE_WORKERS": str(workers)}
        self._process = subprocess.Popen(
            [sys.executable, "-m", "server", "serve"], cwd=CHECKOUT, env=environment, stdout=subprocess.PIPE, text=True
        )
        assert self._process.stdout is not None
        for line in self._process.stdout:
            if "open at" in line:
                self.port = int(line.rstrip("/\n").rpartition(":")[2])
                break

    def memory(self) -> list[float]:
        """What each serving process holds [MB]."""
        children = Path(f"/proc/{self._process.pid}/task/{self._process.pid}/children").read_text().split()
        held = []
        for number in [str(self._process.pid), *children]:
            with suppress(OSError):
                kb = re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{number}/status").read_text())
                if kb and "resource_tracker" not in Path(f"/proc/{number}/cmdline").read_text():
                    held.append(int(kb[1]) / 1024)
        return held

    def close(self) -> None:
        self._process.send_signal(signal.SIGTERM)
        self._process.wait(20)
        assert self._process.stdout is not None
        self._process.stdout.close()


async def hear(phone: Phone, line: Line, seen: Seen) -> None:
    """Ask for the page whenever it is told that there is another one."""
    loop = asyncio.get_running_loop()
    first = True
    try:
        async for _ in line.listen(f"/days/{phone.day}/changes"):
            if first:
                first = False
                continue
            at = loop.time()
            status = await line.ask("GET", f"/days/{phone.day}")
            if seen.counts(seen.taps.get(phone.day, 0.0)):
                seen.waits["told"].append(at - seen.taps[phone.day])
                seen.waits["page"].append(loop.time() - at)
            if status != 200:
                seen.errors.append(f"page {status}")
    except (OSError, asyncio.IncompleteReadError) as wrong:
        seen.errors.append(f"listening: {wrong!r}")


async def tap(phone: Phone, line: Line, seen: Seen, due: float) -> None:
    """One tap, timed from when it was due."""
    loop = asyncio.get_running_loop()
    seen.taps[phone.day] = due
    try:
        status = await line.ask("POST", f"/days/{phone.day}/nudges", nudge(phone))
    except (OSError, asyncio.IncompleteReadError) as wrong:
        seen.errors.append(f"tap: {wrong!r}")
        return
    if seen.counts(due):
        seen.waits["tap"].append(loop.time() - due)
    if status != 200:
        seen.errors.append(f"tap {status}")


async def open_loop(port: int, phones: list[Phone], seen: Seen, per_second: float, seconds: float) -> None:
    """All listen; taps come at random moments, whether or not those before were answered."""
    loop = asyncio.get_running_loop()
    lines = [Line(port, phone) for phone in phones]
    hearing = [asyncio.create_task(hear(phone, line, seen)) for phone, line in zip(phones, lines, strict=True)]
    await asyncio.sleep(3)
    random_ = random.Random(1)  # noqa: S311 - no secret
    taps = []
    due, ends = loop.time(), loop.time() + WARM + seconds
    seen.since = due + WARM
    while (due := due + random_.expovariate(per_second)) < ends:
        await asyncio.sleep(max(0.0, due - loop.time()))
        number = random_.randrange(len(phones))
        taps.append(asyncio.create_task(tap(phones[number], lines[number], seen, due)))
    await asyncio.gather(*taps)
    await asyncio.sleep(1)
    for each in hearing:
        each.cancel()
    await asyncio.gather(*hearing, return_exceptions=True)
    for line in lines:
        line.close()


async def closed_loop(port: int, phones: list[Phone], seconds: float, method: str, path: str) -> float:
    """Answers a second, as many as can be."""
    loop = asyncio.get_running_loop()
    ends = loop.time() + seconds
    count = 0

    async def go_on(phone: Phone) -> None:
        nonlocal count
        line = Line(port, phone)
        while loop.time() < ends:
            form = nudge(phone) if method == "POST" else None
            assert await line.ask(method, path.format(phone.day), form) == 200
            count += 1
        line.close()

    await asyncio.gather(*(go_on(phone) for phone in phones[:: max(1, len(phones) // LOOPS)][:LOOPS]))
    return count / seconds


def bare(page: bytes, phones: list[Phone], workers: int, folder: Path) -> float:
    """The same bytes from a page of the framework alone, with as many processes: pages a second."""
    file = folder / "page.html"
    file.write_bytes(page)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = ["-m", "uvicorn", "tests.bench.bare:app", f"--port={port}", f"--workers={workers}", "--no-access-log"]
    process = subprocess.Popen(
        [sys.executable, *command, "--log-level=error"], cwd=CHECKOUT, env=os.environ | {"BARE_PAGE": str(file)}
    )
    try:
        for _ in range(100):
            with suppress(OSError), socket.create_connection(("127.0.0.1", port)):
                break
            time.sleep(0.1)
        return asyncio.run(closed_loop(port, phones, 4.0, "GET", "/days/{}"))
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(20)


def nudge(phone: Phone) -> dict[str, str]:
    return {"event_id": new_id(), "place": str(phone.place), "clicks": random.choice(("1", "-1"))}  # noqa: S311


def said(name: str, waits: list[float]) -> str:
    """A row of the table."""
    if len(waits) < 2:
        return f"| {name} | {len(waits)} | | | | |"
    cuts = statistics.quantiles(waits, n=100)
    figures = (cuts[49], cuts[94], cuts[98], max(waits))
    return f"| {name} | {len(waits)} | " + " | ".join(f"{1000 * each:.0f} ms" for each in figures) + " |"


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--crews", type=int, default=100)
    parser.add_argument("--ballast", type=int, default=0)
    parser.add_argument("--file", action="store_true")
    parser.add_argument("--per-second", type=float, default=PER_SECOND)
    parser.add_argument("--seconds", type=float, default=SECONDS)
    asked = parser.parse_args()
    postgres = None if asked.file else Postgres(durable=True)
    try:
        with tempfile.TemporaryDirectory() as folder:
            url = None
            if postgres is not None:
                url = postgres.url(postgres.new("template0"))
            run(settings_of(Path(folder) / "data", url), asked)
    finally:
        if postgres is not None:
            postgres.remove()


def run(settings: Settings, asked: argparse.Namespace) -> None:
    """One database, one server, the loads one after the other."""
    book = Book(settings)
    book.migrate()
    phones = made(book, 1)
    add_ballast(book, asked.ballast)
    phones += made(book, asked.crews - 1)
    book.close()
    workers = 1 if asked.file else 2
    served = Served(settings, workers)
    seen = Seen()
    try:
        asyncio.run(open_loop(served.port, phones, seen, asked.per_second, asked.seconds))
        held = served.memory()
        taps = asyncio.run(closed_loop(served.port, phones, 4.0, "POST", "/days/{}/nudges"))
        pages = asyncio.run(closed_loop(served.port, phones, 4.0, "GET", "/days/{}"))
        cookie = {"cookie": f"lychgate={phones[0].cookie}", "hx-request": "true"}
        page = httpx.get(f"http://127.0.0.1:{served.port}/days/{phones[0].day}", headers=cookie, timeout=30).content
    finally:
        served.close()
    beside = bare(page, phones, workers, settings.data.parent)
    print(f"{asked.crews} days, {len(phones)} phones, {asked.ballast} other crews, {workers} processes serving")
    print("| | number | p50 | p95 | p99 | longest |\n|---|---:|---:|---:|---:|---:|")
    for name, words in (
        ("tap", "a tap, until its answer"), ("told", "from the tap until other phones are told"), ("page", "their page"),
    ):  # fmt: skip
        print(said(words, seen.waits[name]))
    print(f"errors: {len(seen.errors)} {seen.errors[:3] or ''}")
    print(
        f"memory of each process, the first of several only starts them: {', '.join(f'{each:.0f} MB' for each in held)}"
    )
    print(f"in a closed loop of {LOOPS}: {taps:.0f} taps a second, {pages:.0f} pages a second of {len(page)} bytes")
    print(
        f"the same bytes from a page of the framework alone: {beside:.0f} a second, {beside / pages:.1f} times as many"
    )


if __name__ == "__main__":
    main()
