"""
A real server, a real Chromium, and pages that tell on everything that goes wrong in them.

Package-scoped, not session-scoped: Playwright keeps an event loop running on this thread for as long as it is open,
and the tests of other folders may want one of their own.
"""

from __future__ import annotations

import os
import queue
import re
import socket
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import sync_playwright

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import APIRequestContext, Browser, BrowserContext, Page, Playwright, Request, Response

CHECKOUT = Path(__file__).resolve().parents[2]
PHONE = {"width": 390, "height": 844}
CHROMIUM_ARGS = (
    "--no-sandbox",  # the tests often run as root
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
START_SECONDS, STOP_SECONDS, PAGE_MS = 30, 10, 8000


@dataclass
class Served:
    """A server of our own, on a book of its own. wrote: the lines that it has written since it was open."""

    url: str
    data: Path
    process: subprocess.Popen[str]
    wrote: list[str] = field(default_factory=list)

    @property
    def port(self) -> str:
        return self.url.rpartition(":")[2]

    def kill(self) -> None:
        """As a power cut does it."""
        self.process.kill()
        self.process.wait(STOP_SECONDS)


def settings_for(data: Path, port: str = "0", opens: str = "here") -> dict[str, str]:
    """The environment of our own programs: none of the caller's settings, a book in this folder; 0 is a free port."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("LYCHGATE_")}
    return kept | {
        "LYCHGATE_DATA": str(data),
        "LYCHGATE_HOST": "127.0.0.1",
        "LYCHGATE_OPEN": opens,
        "LYCHGATE_PORT": port,
        "PYTHONUNBUFFERED": "1",
    }


@contextmanager
def serving(data: Path, port: str = "0", opens: str = "here", checkout: Path = CHECKOUT) -> Iterator[Served]:
    """
    `python -m server serve`, until the block ends. What it wrote to stderr fails the block.

    opens: LYCHGATE_OPEN;  checkout: where its sources are
    """
    complaints = data.parent / f"{data.name}-stderr"
    with complaints.open("w", encoding="utf-8") as stderr:
        process = subprocess.Popen(
            [sys.executable, "-m", "server", "serve"], cwd=checkout, env=settings_for(data, port, opens),
            stdout=subprocess.PIPE, stderr=stderr, text=True,
        )  # fmt: skip
    lines: queue.Queue[str | None] = queue.Queue()
    reader = threading.Thread(target=_read, args=(process, lines), daemon=True)
    reader.start()
    opened: Served | None = None
    try:
        served = Served(_address(lines, complaints), data, process)
        opened = served
        _wait_for_an_answer(served)
        yield served
    finally:
        process.terminate()
        try:
            process.wait(STOP_SECONDS)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(STOP_SECONDS)
        reader.join(STOP_SECONDS)
        process.stdout.close()
        while opened is not None and (line := lines.get(timeout=STOP_SECONDS)) is not None:
            opened.wrote.append(line)
    assert not complaints.read_text(encoding="utf-8"), "the server complained"


def _read(process: subprocess.Popen[str], lines: queue.Queue[str | None]) -> None:
    for line in process.stdout:
        lines.put(line)
    lines.put(None)


def _address(lines: queue.Queue[str | None], complaints: Path) -> str:
    while (line := lines.get(timeout=START_SECONDS)) is not None:
        if found := re.search(r"open at (http://\S+)/", line):
            return found[1]
    pytest.fail(f"the server did not start:\n{complaints.read_text(encoding='utf-8')}")


def _wait_for_an_answer(served: Served) -> None:
    """The address is said a moment before the server listens there."""
    until = time.monotonic() + START_SECONDS
    while True:
        try:
            socket.create_connection(("127.0.0.1", int(served.port)), timeout=1).close()
        except OSError:
            assert time.monotonic() < until, "the server says that it is open, and is not"
            time.sleep(0.02)
        else:
            return


@pytest.fixture
def phones() -> list[Visit]:
    """Every phone that the test has opened. They are put away before their server stops: else they would miss it."""
    return []


def put_away(phones: list[Visit]) -> None:
    for each in phones:
        each.context.close()


@pytest.fixture
def empty(tmp_path: Path, phones: list[Visit]) -> Iterator[Served]:
    """A server with an empty book, for this test alone."""
    with serving(tmp_path / "empty") as served:
        yield served
        put_away(phones)


@pytest.fixture(scope="package")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server with the demo in its book, shared: a test that taps makes a day of its own there."""
    with serving(filled(tmp_path_factory.mktemp("browser") / "demo")) as served:
        yield served


@pytest.fixture
def own_demo(tmp_path: Path, phones: list[Visit]) -> Iterator[Served]:
    """The same for this test alone, which may kill it."""
    with serving(filled(tmp_path / "own-demo")) as served:
        yield served
        put_away(phones)


@pytest.fixture
def shut(tmp_path: Path, phones: list[Visit]) -> Iterator[Served]:
    """The same, open to nobody without an invite."""
    with serving(filled(tmp_path / "shut"), opens="") as served:
        yield served
        put_away(phones)


def filled(data: Path) -> Path:
    fill = [sys.executable, "-m", "demo.fill"]
    subprocess.run(fill, cwd=CHECKOUT, env=settings_for(data), check=True, capture_output=True)
    return data


@pytest.fixture(scope="package")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="package")
def chromium(playwright: Playwright) -> Iterator[Browser]:
    """The browser that LYCHGATE_CHROMIUM names. Without one these tests fail: skipped, they would hold nothing."""
    named = os.environ.get("LYCHGATE_CHROMIUM")
    if not named:
        pytest.fail("LYCHGATE_CHROMIUM is not set. It must name a Chromium; tests/run finds one and sets it.")
    if not Path(named).is_file():
        pytest.fail(f"LYCHGATE_CHROMIUM names {named!r}, and there is no such file.")
    browser = playwright.chromium.launch(executable_path=named, args=CHROMIUM_ARGS)
    yield browser
    browser.close()


@dataclass
class Trouble:
    """What went wrong in a page. A test that provokes something says so first, and then it must happen."""

    home: str
    seen: list[str] = field(default_factory=list)
    expected: list[str] = field(default_factory=list)

    def expect(self, *patterns: str) -> None:
        """Patterns of which each must match some trouble, and all trouble must match one."""
        self.expected += patterns

    def watch(self, page: Page) -> None:
        page.on("pageerror", lambda error: self.seen.append(f"script error: {error}"))
        page.on("console", lambda said: self.seen.append(f"console: {said.text}") if said.type == "error" else None)
        page.on("request", self._request)
        page.on("requestfailed", self._failed)
        page.on("response", self._response)

    def _request(self, request: Request) -> None:
        if urlsplit(request.url).netloc != urlsplit(self.home).netloc:
            self.seen.append(f"a request to somebody else: {request.url}")

    def _failed(self, request: Request) -> None:
        # A browser drops what it still fetches for a page that is left: its files, the day as it is now, the line on
        # which it hears of changes. What fails for another reason has another name.
        dropped = request.failure == "net::ERR_ABORTED" and request.method == "GET"
        # The icon comes when everything else is there, and a test may have stopped the server by then.
        if (not dropped or request.is_navigation_request()) and not urlsplit(request.url).path.endswith("/icon.svg"):
            self.seen.append(f"request failed: {_name(request)}")

    def _response(self, response: Response) -> None:
        if response.status >= 400:
            self.seen.append(f"answered {response.status}: {_name(response.request)}")

    def check(self) -> None:
        unexpected = [line for line in self.seen if not any(re.search(each, line) for each in self.expected)]
        assert not unexpected, "the page had trouble that nobody expected"
        missing = [each for each in self.expected if not any(re.search(each, line) for line in self.seen)]
        assert not missing, "trouble was expected and did not come"


def _name(request: Request) -> str:
    return f"{request.method} {urlsplit(request.url).path}"


@dataclass
class Visit:
    """A page on a server, and the trouble in it."""

    page: Page
    context: BrowserContext
    trouble: Trouble

    @property
    def asks(self) -> APIRequestContext:
        """Requests beside the page, to prepare what it will show."""
        return self.context.request


@pytest.fixture
def visit(chromium: Browser, phones: list[Visit]) -> Iterator[Callable[..., Visit]]:
    """Opens a fresh phone on a server: visit(demo), or with options of a browser context."""

    def opened(served: Served, **options: Any) -> Visit:
        context = chromium.new_context(
            **{"viewport": PHONE, "service_workers": "block", "base_url": served.url, **options}
        )
        context.set_default_timeout(PAGE_MS)
        trouble = Trouble(served.url)
        page = context.new_page()
        trouble.watch(page)
        phones.append(Visit(page, context, trouble))
        return phones[-1]

    yield opened
    put_away(phones)
    for each in phones:
        each.trouble.check()


@pytest.fixture
def page(visit: Callable[..., Visit], demo: Served) -> Page:
    """A phone on the demo in which nothing may go wrong."""
    return visit(demo).page


@dataclass(frozen=True)
class Spot:
    """A place to be made: what was metered there [stops at ISO 100], None where nothing was."""

    name: str
    ev: float | None
    light: str = "sun"


@pytest.fixture
def new_day(new_day_on: Callable[..., str], demo: Served) -> Callable[..., str]:
    """The same on the shared server: new_day(name, *spots)."""
    return partial(new_day_on, demo)


@pytest.fixture
def new_day_on(visit: Callable[..., Visit]) -> Callable[..., str]:
    """
    Makes a day of the demo's kit at a venue with these spots: new_day_on(server, name, *spots). Gives its address.

    The rig is bare, f/2.8, 1/50 and ISO 100, and nobody has walked anywhere. Today, unless another date is said.
    """

    return lambda served, name, *spots, on="": make_day(visit(served).asks, name, *spots, on=on)


def make_day(asks: APIRequestContext, name: str, *spots: Spot, on: str = "") -> str:
    """Makes the venue and the day through its forms. Gives the day's address."""
    venue = _post(asks, "/venues", name=name, time_zone="Europe/London")
    for spot in spots:
        place = _post(asks, f"{venue}/places", name=spot.name, light=spot.light).partition("#place-")[2]
        if spot.ev is not None:
            _post(asks, f"{venue}/places/{place}/readings", kind="ev", value=str(spot.ev), iso="100")
    number = venue.rpartition("/")[2]
    on = on or f"{datetime.now(ZoneInfo('Europe/London')).date()}"
    return _post(asks, "/days", name=name, on=on, venue=number, kit="1").removesuffix("/setup")


def _post(asks: APIRequestContext, to: str, **form: str) -> str:
    """Sends a form; where it led, with what stands behind the #."""
    answer = asks.post(to, form=form, max_redirects=0)
    assert answer.status == 303, f"{to}: {answer.status} {answer.text()}"
    return answer.headers["location"]
