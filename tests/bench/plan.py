"""
The plan page of a day of 24 stops at 12 places, and its parts: the plan itself, and its picture.

    python -m tests.bench.plan

The design allows the plan and its picture 0.1 s together, with looks of two stops' width. 12 filters in 3 slots in place of
the demo's. Processor time, medians, on one core; cold is a plan that nobody has asked for yet. The page works the plan
out three times, for the forecast and for either end of what the sky may make of it. Beside the plan alone, so that a
slow day of the machine shows.
"""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from starlette.requests import Request

from server.app import create_app
from server.book import plans, tables
from server.book.days import changed, open_day
from server.book.people import first_camera
from server.book.report import report_of
from server.book.store import Book
from server.pages import plan as page
from server.pages.drawing import draw
from server.settings import Settings
from tests.bench.day_page import twelve_places
from tests.bench.days import seconds
from tests.conftest import at_this_machine

STOPS = 24


def stops_of_a_day(book: Book) -> None:
    """The demo's day with 12 filters in 3 slots, and 24 stops at 12 places, half an hour apart."""
    twelve_places(book)
    with book.writing() as session:
        day = session.get_one(tables.Day, 1)
        day.kit.holders[0].slots = 3
        day.kit.filters = [
            tables.Filter(name=f"{n}", mount="slot", engraved="", density=round(0.15 * n, 2), width=100.0)
            for n in range(1, 13)
        ]
        day.kit.stamp = tables.new_stamp()
        day.start = day.start | {"holder_on": False, "slots": []}
        for place in day.places:
            place.worn = []
        for row in session.query(tables.Event):
            session.delete(row)
        day.stops = [
            tables.Stop(
                minutes=8 * 60 + 30 * n, second=False, lasts=20, name=f"Stop {n}",
                place_id=day.places[5 * n % 12].place_id,
            )
            for n in range(STOPS)
        ]  # fmt: skip
        changed(session, 1)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(data=Path(folder), open_here=True)
        book = Book(settings)
        book.migrate()
        stops_of_a_day(book)
        now = datetime.now(UTC)
        with book.reading() as session:
            day = open_day(session, first_camera(1), 1)
            report = report_of(session, 1, day)
        forget = plans._best_or_refused.cache_clear
        plan = plans.plan_of(day, now, whole=True)
        picture = seconds(partial(page._picture, day, plan, report, now))
        asked = [each for each in plan.stops if not each.why]
        alone = seconds(partial(plans._best_day, day.began_used.kit, day.began, plans._stops(asked)), forget)
        app = create_app(settings)
        request = Request(
            {"type": "http", "app": app, "headers": [], "query_string": b"", "method": "GET", "path": "/"}
        )
        view = page.plan_view(day, report, now, whole=True)
        drawn = seconds(partial(draw, request, "plan/page.html", day=day, view=view))
        with at_this_machine(app) as client:
            cold = seconds(partial(client.get, "/days/1/plan?whole=1"), forget)
            warm = seconds(partial(client.get, "/days/1/plan?whole=1"))
            card = seconds(partial(client.get, "/days/1/card?whole=1"))
            length = len(client.get("/days/1/plan?whole=1").content)
        book.close()
    print(f"| {STOPS} stops at 12 places, 12 filters in 3 slots | time | beside the plan |\n|---|---:|---:|")
    for name, taken in (
        ("the plan alone", alone), ("its picture, as a view", picture), ("the page drawn, picture included", drawn),
        ("the whole page, cold: three plans", cold), ("the whole page, warm", warm), ("the card, warm", card),
    ):  # fmt: skip
        print(f"| {name} | {1e3 * taken:.1f} ms | {taken / alone:.2f} |")
    print(f"\nThe page is {length / 1000:.0f} kB before compression.")


if __name__ == "__main__":
    main()
