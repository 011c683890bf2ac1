"""
From a tap to its answer on the screen, in Chromium: online, on a slow line, on one that loses requests, and without one.

    LYCHGATE_CHROMIUM=/usr/bin/chromium python -m tests.bench.pocket

A day of 12 places. The phone's processor is slowed down four times. The clock starts as the finger comes down, and stops
in the second frame that has the next place on it. A slow line has 2 s there and back and 400 kbit/s, which browsers call
slow 3G (from memory). Where requests are lost, 30 of 100 fail before they reach the server. "Confirmed" is the moment when the server has kept all that was tapped.
Ratios are to the online row of the same run.
"""

from __future__ import annotations

import gzip
import json
import os
import statistics
import tempfile
import time
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from playwright.sync_api import sync_playwright

from tests.browser.conftest import PHONE, filled, make_day, serving
from tests.browser.test_weight import TWELVE

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Page, Route

TAPS = 30
SLOWER = 4  # times, the phone's processor
KBIT = 1000 / 8  # bytes/s
SLOW = {"offline": False, "latency": 2000, "downloadThroughput": 400 * KBIT, "uploadThroughput": 400 * KBIT}
CLEAR = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
LOST = 3  # of 10
# A thumb is held off while the rows change (taps.js).
AT_REST = """() => new Promise((done) => {
  const look = () => (performance.now() - drawn > 500 ? done() : setTimeout(look, 50));
  look();
})"""
# How long after the finger came down the page says where the shooter is now, and has been drawn so.
STOPWATCH = """() => {
  window.took = new Promise((resolve) => {
    let began = 0;
    document.addEventListener("pointerdown", () => { began = performance.now(); }, { capture: true, once: true });
    const before = document.querySelector("h1").textContent;
    const watching = new MutationObserver(() => {
      if (!began || document.querySelector("h1").textContent === before) return;
      watching.disconnect();
      requestAnimationFrame(() => requestAnimationFrame(() => resolve(performance.now() - began)));
    });
    watching.observe(document.body, { subtree: true, childList: true, characterData: true });
  });
}"""


def taps(page: Page) -> list[float]:
    """From the finger to the answer [ms], place after place."""
    took = []
    for _ in range(TAPS):
        page.evaluate(AT_REST)
        page.evaluate(STOPWATCH)
        page.locator(".rows .go").first.tap()
        took.append(page.evaluate("Promise.race([took, new Promise((_, no) => setTimeout(no, 10000, 'no answer'))])"))
    return took


def confirmed(page: Page) -> float:
    """How long [s] until nothing waits to be sent any more."""
    began = time.perf_counter()
    while page.evaluate("outbox.waiting().length"):
        page.wait_for_timeout(50)
    return time.perf_counter() - began


def main() -> None:
    """Print the tables."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=os.environ["LYCHGATE_CHROMIUM"])
        data = filled(Path(folder) / "book")
        with serving(data) as served:
            context = chromium.new_context(
                viewport=PHONE, has_touch=True, base_url=served.url, service_workers="block"
            )  # fmt: skip
            day = make_day(context.request, "Bench", *TWELVE)
            size(context, f"{day}/pocket.json")
            page = context.pages[0] if context.pages else context.new_page()
            page.goto(day)
            page.locator("#away[data-pocket]").wait_for(state="attached")
            network = context.new_cdp_session(page)
            network.send("Network.enable")
            network.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
            print(f"\n| {TAPS} taps | median | most | ratio | confirmed after the last |\n|---|---:|---:|---:|---:|")
            base = row("online", taps(page), confirmed(page))
            network.send("Network.emulateNetworkConditions", SLOW)
            row("slow 3G", taps(page), confirmed(page), base)
            network.send("Network.emulateNetworkConditions", CLEAR)
            asked = count()

            def lose(route: Route) -> None:
                route.abort() if 7 * next(asked) % 10 < LOST else route.continue_()  # spread, and the same each time

            page.route("**/days/**", lose)
            row("30 of 100 requests lost", taps(page), confirmed(page), base)
            page.unroute("**/days/**", lose)
            page.reload()
            page.locator("#away[data-pocket]").wait_for(state="attached")
            served.kill()
            row("no server", taps(page), None, base)
            context.close()
        chromium.close()


def row(name: str, took: list[float], until: float | None, base: float | None = None) -> float:
    """Print a row, and give its median."""
    median = statistics.median(took)
    kept = "" if until is None else f"{until:.1f} s"
    print(f"| {name} | {median:.0f} ms | {max(took):.0f} ms | {median / (base or median):.2f} | {kept} |")
    return median


def size(context: BrowserContext, path: str) -> None:
    """Print what the pocket weighs, and how long the server works at it."""
    took = []
    for _ in range(2):
        began = time.perf_counter()
        body = context.request.get(path).body()
        took.append(time.perf_counter() - began)
    whole = json.loads(body)
    print("| the pocket of 12 places | |\n|---|---:|")
    print(f"| on the wire | {len(gzip.compress(body, 6)) / 1000:.1f} kB |\n| unpacked | {len(body) / 1000:.0f} kB |")
    print(f"| rigs that it names, and tables | {len(whole['rigs']) // 4}, {len(whole['tables'])} |")
    print(f"| worked out | {took[0]:.2f} s |\n| again | {1000 * took[1]:.0f} ms |")


if __name__ == "__main__":
    main()
