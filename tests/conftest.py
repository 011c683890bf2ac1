"""An application started anew for every test, on a fresh book, and the ways that people go about in it."""

from __future__ import annotations

import os
import uuid
import warnings
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import hypothesis
import pytest

with warnings.catch_warnings():
    # Newer releases of the test client prefer httpx's successor, and say so when they are imported.
    warnings.filterwarnings("ignore", message="Using `httpx` with `starlette.testclient`")
    from starlette.testclient import TestClient

from server.app import create_app
from server.book import tables
from server.book.backups import count_on
from server.book.crews import crew_to_enter
from server.book.invites import make_invite
from server.book.store import Book
from tests.databases import Books, Postgres, rows_of
from tests.page import Form, Page

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from fastapi import FastAPI
    from httpx import Response

    from server.book.people import Role
    from server.settings import Settings

# Speed is a benchmark's business: a busy machine must not fail a test.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")

HERE = "http://localhost"
FRAGMENT = {"HX-Request": "true"}


# Of the pages, those that the second database is asked of without --both: what is kept, by whom, and told to whom. All
# of them on both would take the suite past a quarter of an hour.
ON_BOTH = (
    "test_live",
    "test_crew",
    "test_sent_later",
    "test_removal",
    "test_readings_file",
)


def pytest_addoption(parser: pytest.Parser) -> None:
    """How much is asked of PostgreSQL too."""
    parser.addoption("--both", action="store_true", help="every test on both databases")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What is said of one database alone is not asked of the other."""
    some = {config.rootpath / "tests" / name for name in ("pages", "door")}

    def is_asked(item: pytest.Item) -> bool:
        asked = getattr(item, "callspec", None)
        kind = None if asked is None else asked.params.get("books")
        if kind != "postgres":
            return kind is None or item.get_closest_marker("in_postgres") is None
        if item.get_closest_marker("in_a_file") is not None:
            return False
        return bool(config.getoption("both")) or item.path.parent not in some or item.path.stem in ON_BOTH

    config.hook.pytest_deselected(items=[item for item in items if not is_asked(item)])
    items[:] = [item for item in items if is_asked(item)]


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    """A PostgreSQL of the tests' own."""
    server = Postgres()
    try:
        yield server
    finally:
        server.remove()


@pytest.fixture(scope="session")
def books_of(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Books]:
    """The books of either kind, `file` or `postgres`, made when they are first asked for."""

    @cache
    def made(kind: str) -> Books:
        server = request.getfixturevalue("postgres") if kind == "postgres" else None
        return Books(tmp_path_factory.mktemp("books"), server)

    return made


@pytest.fixture(scope="session", params=["file", "postgres"])
def books(request: pytest.FixtureRequest, books_of: Callable[[str], Books]) -> Books:
    """Where books to try things on come from. Every test that opens one is made twice, once for each database."""
    kind: str = request.param
    return books_of(kind)


@pytest.fixture(scope="session")
def spare(books: Books, tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Settings of a book that one test after the other has for itself."""
    return books.new(tmp_path_factory.mktemp("spare") / "data", open_here=True)


@pytest.fixture
def settings(spare: Settings, tmp_path: Path, books: Books) -> Settings:
    """Settings of a book that does not exist yet, or has nothing but tables, open to whoever is at this machine."""
    if books.postgres is None:
        return replace(spare, data=tmp_path / "data")
    books.copy("bare", spare)
    return spare


@pytest.fixture
def book(settings: Settings, books: Books) -> Iterator[Book]:
    """An empty book, open."""
    books.copy("empty", settings)
    book = Book(settings)
    yield book
    book.close()


@pytest.fixture(scope="session")
def restarted(books: Books, tmp_path_factory: pytest.TempPathFactory) -> Startable:
    """One application, started by every test: its routes are made ready once, which is most of a request's time."""
    return Startable(books, tmp_path_factory.mktemp("restarted") / "data")


@pytest.fixture
def client(restarted: Startable) -> Iterator[TestClient]:
    """An application just started on an empty book. What it raises, the test raises; it follows no redirections."""
    yield from restarted.on("empty")


@pytest.fixture
def demo_client(restarted: Startable) -> Iterator[TestClient]:
    """The same with the demo in the book."""
    yield from restarted.on("demo")


@pytest.fixture(scope="session")
def calls(books_of: Callable[[str], Books], tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """One application for all calls that keep nothing, and so are asked of one database alone."""
    yield from Startable(books_of("file"), tmp_path_factory.mktemp("calls") / "data").on("empty")


def at_this_machine(app: FastAPI, **options: Any) -> TestClient:
    """A browser on the very machine that serves; it follows no redirections."""
    here = {"base_url": HERE, "client": ("127.0.0.1", 50000), "follow_redirects": False}
    return TestClient(app, **{**here, **options})


class Startable:
    """An application that starts on a copy of a book, as often as asked, one after the other."""

    def __init__(self, books: Books, data: Path, *, open_here: bool = True) -> None:
        self._books = books
        self._settings = books.new(data, open_here=open_here)
        self._app = create_app(self._settings)
        self._running = False

    def on(self, name: str) -> Iterator[TestClient]:
        """`empty` or `demo`."""
        assert not self._running, "a test has an empty book or the demo, not both"
        self._running = True
        self._books.copy(name, self._settings)
        try:
            with at_this_machine(self._app) as client:
                yield client
        finally:
            self._running = False


@pytest.fixture
def site(client: TestClient) -> Site:
    """Somebody at the pages of an empty book."""
    return Site(client)


@pytest.fixture(scope="module")
def unchanged(books_of: Callable[[str], Books], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """
    Somebody at one application for all tests of a file in which nothing may be kept: a day at two places with
    readings, which every such test finds as it was. What is refused is so before any database sees it: one is enough.
    """
    for client in Startable(books_of("file"), tmp_path_factory.mktemp("unchanged") / "data").on("empty"):
        site = Site(client)
        site.day_at(8, 9)
        before = site.book()
        yield site
        assert site.book() == before, "a test kept something in the book that all share"


@pytest.fixture
def demo(demo_client: TestClient) -> Site:
    """Somebody at the pages of the demo."""
    return Site(demo_client)


def stranger(site: Site) -> Site:
    """Somebody else's browser, on another machine, at the same server."""
    elsewhere = ("192.0.2.7", 50000)  # TEST-NET-1, RFC 5737
    return Site(at_this_machine(site.client.app, client=elsewhere, headers={"origin": HERE}))


def somebody(site: Site, role: Role = "lead", name: str = "Robin", crew: int = 1) -> Site:
    """A browser that came into a crew by an invite."""
    with site.client.app.state.book.writing() as session:
        token = make_invite(session, crew, role, "a test", timedelta(hours=1))
    came = stranger(site)
    came.keep("/join", link=token, name=name)
    return came


def another_crew(site: Site, name: str = "The others") -> int:
    """A second crew in the same book; its number."""
    with site.client.app.state.book.writing() as session:
        return crew_to_enter(session, None, name).id


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    """For a program of ours, in the test's own folder."""
    return environment_for(tmp_path)


def environment_for(folder: Path) -> dict[str, str]:
    """For a program of ours: nothing of the caller's settings, a book of its own in this folder, any free port."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("LYCHGATE_")}
    own = {"LYCHGATE_DATA": str(folder / "data"), "LYCHGATE_PORT": "0", "LYCHGATE_OPEN": "here"}
    return kept | own | {"PYTHONUNBUFFERED": "1"}


def new_id() -> str:
    """An id for an event."""
    return str(uuid.uuid4())


@dataclass
class Site:
    """Somebody at the pages, with a browser that knows plain forms."""

    client: TestClient

    def get(self, path: str, status: int = 200) -> Page:
        answer = self.client.get(path)
        assert answer.status_code == status, f"GET {path}: {answer.status_code} {answer.text[:300]}"
        return Page(answer.text)

    def post(self, path: str, headers: dict[str, str] | None = None, **fields: Any) -> Response:
        return self.client.post(path, data=fields, headers=headers)

    def keep(self, path: str, **fields: Any) -> str:
        """Send a form that must be kept; where it led."""
        answer = self.post(path, **fields)
        assert answer.status_code == 303, f"POST {path}: {answer.status_code} {Page(answer.text).refused}"
        return answer.headers["location"]

    def submit(self, form: Form, *, status: int = 303, **changes: Any) -> Response:
        """Send a form as it stands on its page, with these fields changed."""
        answer = self.client.post(form.to, data=form.sends(**changes))
        assert answer.status_code == status, f"{form.to}: {answer.status_code} {Page(answer.text).refused}"
        return answer

    def refused(self, path: str, **fields: Any) -> Page:
        """Send a form that must be refused, with nothing of it kept; the page that says so."""
        before = self.book()
        answer = self.post(path, **fields)
        assert answer.status_code == 422, f"POST {path}: {answer.status_code}"
        assert self.book() == before, "a form that was refused left something behind"
        return Page(answer.text)

    def book(self) -> dict[str, list[tuple[Any, ...]]]:
        """Every row of every table."""
        return rows_of(self.client.app.state.book)

    def rows(self, table: type[Any]) -> list[Any]:
        """The rows of one table, oldest first."""
        with self.client.app.state.book.reading() as session:
            rows = session.query(table).order_by(*table.__table__.primary_key).all()
            session.expunge_all()
            return rows

    def venue(self, name: str = "Old mill", time_zone: str = "Europe/London", **fields: str) -> int:
        return _number(self.keep("/venues", name=name, time_zone=time_zone, **fields))

    def place(self, venue: int, name: str, ev: float | None = None, light: str = "lamps") -> int:
        """A place, with a reading of so many EV if there is one."""
        place = int(self.keep(f"/venues/{venue}/places", name=name, light=light).partition("#place-")[2])
        if ev is not None:
            self.keep(f"/venues/{venue}/places/{place}/readings", kind="ev", value=str(ev))
        return place

    def kit(self, name: str = "Main kit", plates: tuple[float, ...] = (0.6, 1.2), slots: int = 2) -> int:
        """A third-stop body with a lens from f/1.8 to f/16, a holder, and plates of these densities."""
        kit = _number(self.keep("/kits", name=name))
        self.body(kit)
        self.lens(kit)
        if slots:
            self.keep(f"/kits/{kit}/holders", name="Holder", width="100", slots=str(slots), rings="77")
        for density in plates:
            self.keep(f"/kits/{kit}/filters", name=f"{density} plate", kind="nd", mount="slot", engraved=str(density))
        return kit

    def body(self, kit: int, name: str = "Body", **fields: str) -> None:
        usual = {
            "clicks_per_stop": "3", "iso_base": "100 800", "iso_quiet": "160", "iso_allowed": "100-6400",
            "shutters": "1/50 1/100", "built_in_nd": "0",
        }  # fmt: skip
        self.keep(f"/kits/{kit}/bodies", name=name, **{**usual, **fields})

    def lens(self, kit: int, name: str = "24-70", **fields: str) -> None:
        usual = {"widest": "1.8", "smallest": "16", "thread": "77", "loss_stops": "0"}
        self.keep(f"/kits/{kit}/lenses", name=name, **{**usual, **fields})

    def day(self, venue: int, kit: int, name: str = "The wedding", on: str = "") -> int:
        """A day; today, unless another date is said: only then does its page show the light of now."""
        on = on or f"{datetime.now(ZoneInfo('Europe/London')).date()}"
        led = self.keep("/days", name=name, on=on, venue=str(venue), kit=str(kit))
        return int(led.removesuffix("/setup").rpartition("/")[2])

    def day_at(self, *lights: float | None, **kit: Any) -> tuple[int, list[int]]:
        """
        In an empty book, a day with a place for each of these lights [EV], at a new venue with a new kit; its number
        and the places'. Made by the forms the first time, copied from then on: a test has more to do.
        """
        asked = (*lights, *kit.items())
        if asked in _made:
            with self.client.app.state.book.writing() as session:
                for table in tables.Table.metadata.sorted_tables:
                    rows = _made[asked][table.name] if table.name != "crews" else []
                    if rows:
                        session.execute(
                            table.insert(), [dict(zip(table.columns.keys(), row, strict=True)) for row in rows]
                        )
                count_on(session.connection())
            return 1, [*range(1, len(lights) + 1)]
        venue = self.venue()
        places = [self.place(venue, f"Place {number}", ev) for number, ev in enumerate(lights, 1)]
        made = self.day(venue, self.kit(**kit)), places
        _made[asked] = self.book()
        return made

    def tap(self, day: int, place: int, answer: int = 0, **fields: Any) -> Response:
        """Tap a place's answer, as it stands on the day page: 0 is the clean one, 1 the rushed one."""
        return self.client.post(f"/days/{day}/moves", data=self.tap_of(day, place, answer) | fields)

    def tap_of(self, day: int, place: int, answer: int = 0) -> dict[str, Any]:
        """What that tap sends."""
        for form in self.get(f"/days/{day}").forms_to(f"/days/{day}/moves"):
            if form["place"].value == str(place):
                name, value = form.buttons[answer]
                return form.sends(**{name: value})
        raise AssertionError(f"place {place} has no answer on the page of day {day}")


_made: dict[tuple[Any, ...], dict[str, list[tuple[Any, ...]]]] = {}


def _number(address: str) -> int:
    return int(address.rpartition("/")[2])
