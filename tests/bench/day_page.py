"""
The day page with 12 places beside pages of the same size that compute nothing, in one run.

    python -m tests.bench.day_page

The day has the demo's running order, and the next row says what its plan has; so each tap plans the rest of the day anew.
Before each round a tap changes the log. The day page then asks the book whether it knows this state; the tap's own
reply worked its answers out, so they are remembered. "Forgotten" is the page of a server that has just started, or the
first one of a minute: every place's light is forecast, and both answers for it are worked out anew.
Beside it, through the same server, middleware and compression: the same template drawn from a view that stands ready,
and the bytes alone. One client, one connection, on loopback; the figures are medians.
"""

from __future__ import annotations

import multiprocessing
import socket
import statistics
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import httpx
import uvicorn
from fastapi import FastAPI, Request, Response
from fastapi.responses import HTMLResponse

from demo.fill import fill
from server.app import create_app
from server.book import tables
from server.book.days import lit_at, open_day
from server.book.people import first_camera
from server.book.store import Book
from server.pages.day_view import answered, day_view
from server.pages.drawing import draw
from server.settings import Settings

PLACES = 12
ROUNDS = 150
NUDGES = 30  # events already in the day's log


def main() -> None:
    """Print the table. The server is a process of its own, so that the client's work is not counted in."""
    with tempfile.TemporaryDirectory() as folder:
        listening = socket.socket()
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        server = multiprocessing.get_context("spawn").Process(target=serve, args=(folder, listening))
        server.start()
        try:
            with httpx.Client(base_url=f"http://127.0.0.1:{listening.getsockname()[1]}", timeout=30) as client:
                report(client)
        finally:
            server.terminate()
            server.join()


def serve(folder: str, listening: socket.socket) -> None:
    """The application, with the two ready pages beside its own."""
    settings = Settings(data=Path(folder), open_here=True)
    book = Book(settings)
    book.migrate()
    twelve_places(book)
    app = create_app(settings)
    add_ready_pages(app, book)
    uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False)).run(sockets=[listening])


def twelve_places(book: Book) -> None:
    """The demo's day, with four more places and a log."""
    fill(book, datetime.now(UTC))
    with book.writing() as session:
        day = session.get_one(tables.Day, 1)
        look = {name: getattr(day.places[0], name) for name in ("wanted", "widest", "narrowest", "shutter")}
        for number in range(len(day.places), PLACES):
            place = tables.Place(venue_id=day.venue_id, name=f"Terrace {number}", light="sun", position=number + 1)
            place.readings = [
                tables.Reading(
                    taken_at=datetime.now(UTC), who="shooter", kind="ev", raw={}, ev100=5.0 + number, sky="clear"
                )
            ]
            session.add(place)
            session.flush()
            day.places.append(
                tables.DayPlace(place_id=place.id, position=number + 1, tolerance=0.2, rush_tolerance=0.5, **look)
            )
        here = day.places[0].place_id
        for number in range(NUDGES):
            now = datetime.now(UTC)
            data = {"place": here, "clicks": 1 if number % 2 else -1}
            session.add(
                tables.Event(
                    day_id=1, id=f"nudge-{number:06}", kind="nudged", made_at=now, received_at=now, who="x", data=data
                )
            )


def add_ready_pages(app: FastAPI, book: Book) -> None:
    """Two routes that compute nothing: the view that stands ready, drawn; and its bytes."""
    with book.reading() as session:
        view = day_view(open_day(session, first_camera(1), 1), datetime.now(UTC))
    page: list[bytes] = []

    @app.get("/bench/drawn")
    def drawn(request: Request) -> Response:
        return draw(request, "day/page.html", view=view)

    @app.get("/bench/forgotten")
    def forgotten() -> Response:
        answered.cache_clear()
        lit_at.cache_clear()
        return Response()

    @app.get("/bench/bytes")
    def ready(request: Request) -> Response:
        if not page:
            page.append(bytes(draw(request, "day/page.html", view=view).body))
        return HTMLResponse(page[0])


def report(client: httpx.Client) -> None:
    """Measure in turn, so that the machine's moods fall on all of them."""
    paths = {
        "the day page, its answers forgotten": "/days/1",
        "the day page": "/days/1",
        "the same template, its view ready": "/bench/drawn",
        "the same bytes, ready": "/bench/bytes",
    }
    times: dict[str, list[float]] = {name: [] for name in (*paths, "a tap: kept, planned anew, answered")}
    for number in range(ROUNDS):
        nudge = {"event_id": f"bench-{number:06}", "place": "1", "clicks": "1" if number % 2 else "-1"}
        start = time.perf_counter()
        client.post("/days/1/nudges", data=nudge, headers={"HX-Request": "true"}).raise_for_status()
        times["a tap: kept, planned anew, answered"].append(time.perf_counter() - start)
        for name, path in paths.items():
            if name.endswith("forgotten"):
                client.get("/bench/forgotten").raise_for_status()
            start = time.perf_counter()
            client.get(path).raise_for_status()
            times[name].append(time.perf_counter() - start)
    middle = {name: statistics.median(taken) for name, taken in times.items()}
    ready = middle["the same template, its view ready"]
    print(f"| page with {PLACES} places | median | beside the same template, ready |\n|---|---|---|")
    for name, taken in middle.items():
        print(f"| {name} | {taken * 1e3:.2f} ms | {taken / ready:.2f} times |")


if __name__ == "__main__":
    main()
