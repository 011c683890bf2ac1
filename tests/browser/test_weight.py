"""What goes over the wire, both ways, headers and all: the design's budgets for a phone with little signal."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from .conftest import Spot

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page, Request

    from .conftest import Served, Visit

FIRST_LOAD_MOST, TAP_MOST, POCKET_MOST = 60_000, 6_000, 40_000  # bytes
# Light that asks for every kind of answer, and names as long as venues have them.
TWELVE = [
    Spot(f"{name}, by the {by}", ev, light)
    for name, by, ev, light in (
        ("Orchard", "old apple trees", 15, "sun"),
        ("Chapel door", "yew", 11.3, "shade"),
        ("Chapel inside", "font", 7.1, "window"),
        ("Jetty", "boathouse", 15.6, "sun"),
        ("Walled garden", "east wall", 12.2, "shade"),
        ("Boathouse", "slipway", 8.4, "lamps"),
        ("Long room", "bay window", 9.1, "window"),
        ("Dance floor", "stage", 4.4, "lamps"),
        ("Kitchen yard", "pump", 13.3, "shade"),
        ("Gallery", "stairs", 6.2, "lamps"),
        ("Terrace", "balustrade", 14.3, "sun"),
        ("Cellar", "casks", 3.5, "lamps"),
    )
]


class Wire:
    """
    Everything that a page fetches, by Chromium's own count of what came in (headers and body as encoded).

    The line on which a page hears of changes never ends: what came on it so far counts.
    """

    def __init__(self, visited: Visit) -> None:
        self.urls: dict[str, str] = {}
        self.came: dict[str, int] = {}
        self.lines: set[str] = set()
        self.asked: list[Request] = []
        network = visited.context.new_cdp_session(visited.page)
        network.send("Network.enable")
        network.on("Network.requestWillBeSent", self._sent)
        network.on("Network.loadingFinished", self._finished)
        network.on("Network.responseReceived", self._began)
        network.on("Network.dataReceived", self._came)
        visited.page.on("requestfinished", self._was_asked)

    def _sent(self, event: dict) -> None:
        self.urls[event["requestId"]] = event["request"]["url"]

    def _finished(self, event: dict) -> None:
        self.came[event["requestId"]] = event["encodedDataLength"]

    def _began(self, event: dict) -> None:
        if event["type"] == "EventSource":
            self.lines.add(event["requestId"])
            self._came(event | {"encodedDataLength": event["response"]["encodedDataLength"]})

    def _came(self, event: dict) -> None:
        number = event["requestId"]
        if number in self.lines:
            self.came[number] = self.came.get(number, 0) + event["encodedDataLength"]
            self.urls.setdefault(number, "/changes")

    def _was_asked(self, request: Request) -> None:
        self.asked.append(request)

    def start(self) -> None:
        self.urls.clear()
        self.came.clear()
        self.asked.clear()

    def paths(self) -> list[str]:
        return sorted(urlsplit(url).path for url in self.urls.values())

    def each(self) -> dict[str, int]:
        """What came down, by path."""
        return {urlsplit(self.urls[number]).path: length for number, length in self.came.items()}

    def settle(self, page: Page) -> None:
        """Until all of it is here: the page may have shown an answer before the browser says that it was whole."""
        for _ in range(100):
            if self.came.keys() == self.urls.keys():
                return
            page.wait_for_timeout(50)

    def bytes(self) -> int:
        """Down and up."""
        assert self.came.keys() == self.urls.keys(), "something is still on its way"
        sent = [request.sizes() for request in self.asked]
        return sum(self.came.values()) + sum(each["requestHeadersSize"] + each["requestBodySize"] for each in sent)


@pytest.fixture
def twelve(visit: Callable[..., Visit], demo: Served, new_day: Callable[..., str]) -> tuple[Visit, Wire, str]:
    """A phone that has never been here, and the address of a day with twelve places."""
    day = new_day("Midsummer wedding", *TWELVE)
    visited = visit(demo, has_touch=True)
    return visited, Wire(visited), day


def test_the_first_load_of_the_day_page_is_under_60_kb(twelve, demo: Served):
    """
    Page, stylesheet, scripts and icon with nothing cached, and nobody else's host among them.

    The pocket comes after them, when all is on the screen, and has a budget of its own.
    """
    visited, wire, day = twelve
    visited.page.goto(day, wait_until="networkidle")
    expect(visited.page.locator(".rows li")).to_have_count(12)
    assert wire.paths() == sorted(
        [
            day,
            f"{day}/changes",
            f"{day}/pocket.json",
            "/static/day.js",
            "/static/htmx-4.0.1.min.js",
            "/static/icon.svg",
            "/static/lychgate.css",
            "/static/page.js",
        ]
    )
    assert {urlsplit(url).netloc for url in wire.urls.values()} == {urlsplit(demo.url).netloc}
    pocket = wire.each()[f"{day}/pocket.json"]
    assert pocket < POCKET_MOST
    assert wire.bytes() - pocket < FIRST_LOAD_MOST, f"{wire.bytes()} bytes: {wire.each()}"


def test_a_tap_is_one_request_under_6_kb(twelve):
    """A move and a nudge, each with the answers for all twelve places."""
    visited, wire, day = twelve
    page = visited.page
    page.goto(day, wait_until="networkidle")
    for name, button, done in (
        ("move", page.locator(".rows .go").nth(2), page.locator("header .ev").get_by_text("EV 7.1")),
        ("nudge", page.locator("#fell"), page.locator(".age").get_by_text("1 click darker")),
    ):
        wire.start()
        button.tap()
        expect(done).to_be_visible()
        wire.settle(page)
        assert len([path for path in wire.paths() if not path.endswith("/changes")]) == 1
        assert wire.bytes() < TAP_MOST, f"a {name} is {wire.bytes()} bytes"
