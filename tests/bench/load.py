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
import os
import random
import re
import signal
import statistics
import subprocess
import sys
import tempfile
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from sqlalchemy import select, text

from demo.fill import fill
from server.book import tables
from server.book.invites import join, make_invite
from server.book.store import Book
from server.settings import CHECKOUT
from tests.conftest import new_id
from tests.databases import Postgres, settings_of

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from server.settings import Settings

PHONES = 5  # on each day
SECONDS = 20.0
PER_SECOND = 20.0  # taps of all phones
LOOPS = 8  # phones of the closed loop


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
    taps: dict[int, float] = field(default_factory=dict)  # when the newest tap of a day was answered


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
    So many crews more, each with rows in the tables that every tap asks: copies of one crew's, with numbers of their own.

    What refers to a number inside a document keeps the first crew's; nobody opens these days.
    """
    step = 1_000_000
    with book.writing() as session:
        for table in tables.Table.metadata.sorted_tables:
            if table.name in ("invites", "pairing_codes"):
                continue
            own = {column.name for column in table.primary_key.columns}
            refers = {column.name for column in table.columns if column.foreign_keys}
            names = [f'"{column.name}"' for column in table.columns]
            values = [
                f'"{column.name}" + {step} * copy' if column.name in own | refers
                else "md5(copy || hash) || md5(hash || copy)" if column.name == "hash"
                else f'"{column.name}"'
                for column in table.columns
            ]  # fmt: skip
            first = "select min(id) from crews"
            of_first = {
                "crews": f"id = ({first})", "kits": f"crew_id = ({first})", "people": f"crew_id = ({first})",
                "venues": f"crew_id = ({first})", "days": f"crew_id = ({first})",
            }  # fmt: skip
            parents = {
                "kit_id": "kits",
                "person_id": "people",
                "venue_id": "venues",
                "day_id": "days",
                "place_id": "places",
            }
            where = of_first.get(table.name)
            if where is None:
                key, parent = next((k, p) for k, p in parents.items() if k in refers)
                where = f"{key} < {step} and {key} in (select id from {parent} where id < {step})"
                where += " and " + (
                    f"{key} in (select id from {parent} where {of_first[parent]})" if parent in of_first
                    else f"{key} in (select id from {parent} where venue_id in (select id from venues where {of_first['venues']}))"
                )  # fmt: skip
            copies = (
                f"generate_series(1, {crews}) as copy" if not book.is_a_file
                else f"(with recursive n(copy) as (select 1 union all select copy + 1 from n where copy < {crews}) select copy from n)"
            )  # fmt: skip
            session.execute(
                text(
                    f"insert into {table.name} ({', '.join(names)}) select {', '.join(values)} from {table.name}, {copies} where {where}"
                )
            )
        session.execute(text("analyze"))


class Served:
    """The server's own command, in processes of its own."""

    def __init__(self, settings: Settings, workers: int) -> None:
        environment = {name: value for name, value in os.environ.items() if not name.startswith("LYCHGATE_")}
        environment |= {
            "LYCHGATE_DATA": str(settings.data), "LYCHGATE_DATABASE_URL": settings.database_url or "",
            "LYCHGATE_PORT": "0", "LYCHGATE_WORKERS": str(workers), "PYTHONUNBUFFERED": "1",
        }  # fmt: skip
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


async def open_loop(port: int, phones: list[Phone], seen: Seen, per_second: float, seconds: float) -> None:
    """All listen; taps come at random moments, whether or not those before were answered."""
    lines = [Line(port, phone) for phone in phones]
    loop = asyncio.get_running_loop()

    async def hear(phone: Phone, line: Line) -> None:
        first = True
        try:
            async for _ in line.listen(f"/days/{phone.day}/changes"):
                if first:
                    first = False
                    continue
                at = loop.time()
                if phone.day in seen.taps:
                    seen.waits["told"].append(at - seen.taps[phone.day])
                status = await line.ask("GET", f"/days/{phone.day}")
                seen.waits["page"].append(loop.time() - at)
                if status != 200:
                    seen.errors.append(f"page {status}")
        except (OSError, asyncio.IncompleteReadError) as wrong:
            seen.errors.append(f"listening: {wrong!r}")

    async def tap(phone: Phone, line: Line, due: float) -> None:
        try:
            status = await line.ask("POST", f"/days/{phone.day}/nudges", nudge(phone))
        except (OSError, asyncio.IncompleteReadError) as wrong:
            seen.errors.append(f"tap: {wrong!r}")
            return
        now = loop.time()
        seen.waits["tap"].append(now - due)
        seen.taps[phone.day] = now
        if status != 200:
            seen.errors.append(f"tap {status}")

    hearing = [asyncio.create_task(hear(*each)) for each in zip(phones, lines, strict=True)]
    await asyncio.sleep(3)
    random_ = random.Random(1)  # noqa: S311 - no secret
    taps = []
    due, ends = loop.time(), loop.time() + seconds
    while (due := due + random_.expovariate(per_second)) < ends:
        await asyncio.sleep(max(0.0, due - loop.time()))
        number = random_.randrange(len(phones))
        taps.append(asyncio.create_task(tap(phones[number], lines[number], due)))
    await asyncio.gather(*taps)
    await asyncio.sleep(1)
    for each in hearing:
        each.cancel()
    await asyncio.gather(*hearing, return_exceptions=True)
    for line in lines:
        line.close()


async def closed_loop(port: int, phones: list[Phone], seconds: float) -> float:
    """Taps a second, as many as can be."""
    loop = asyncio.get_running_loop()
    ends = loop.time() + seconds
    count = 0

    async def go_on(phone: Phone) -> None:
        nonlocal count
        line = Line(port, phone)
        while loop.time() < ends:
            assert await line.ask("POST", f"/days/{phone.day}/nudges", nudge(phone)) == 200
            count += 1
        line.close()

    await asyncio.gather(*(go_on(phone) for phone in phones[:: max(1, len(phones) // LOOPS)][:LOOPS]))
    return count / seconds


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
    """One database, one server, the two loads."""
    book = Book(settings)
    book.migrate()
    phones = made(book, asked.crews)
    if asked.ballast:
        add_ballast(book, asked.ballast)
    book.close()
    workers = 1 if asked.file else 2
    served = Served(settings, workers)
    seen = Seen()
    try:
        asyncio.run(open_loop(served.port, phones, seen, asked.per_second, asked.seconds))
        held = served.memory()
        most = asyncio.run(closed_loop(served.port, phones, 5.0))
    finally:
        served.close()
    print(f"{asked.crews} days, {len(phones)} phones, {asked.ballast} other crews, {workers} processes serving")
    print("| | number | p50 | p95 | p99 | longest |\n|---|---:|---:|---:|---:|---:|")
    for name, words in (
        ("tap", "a tap, until its answer"),
        ("told", "until other phones are told"),
        ("page", "their page"),
    ):
        print(said(words, seen.waits[name]))
    print(f"errors: {len(seen.errors)} {seen.errors[:3] or ''}")
    print(f"memory of each process: {', '.join(f'{each:.0f} MB' for each in held)}")
    print(f"taps in a closed loop of {LOOPS}: {most:.0f} a second")


if __name__ == "__main__":
    main()
