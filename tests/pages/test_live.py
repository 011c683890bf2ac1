"""The stream of a day's changes: who may listen, what is said, when it ends, and through several servers."""

from __future__ import annotations

import signal
import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import httpx
import pytest
from sqlalchemy import delete

from server.book import tables
from server.door import listening
from server.pages import live
from server.settings import DATABASE_FILE
from tests.conftest import FRAGMENT, another_crew, environment_for, new_id, somebody, stranger
from tests.test_command_line import START_SECONDS, run, serving

CHANGES = "/days/1/changes"
STREAM = {"accept": "text/event-stream"}


def revision(site):
    return site.client.get(CHANGES).json()["revision"]


def nudge(site, place=1):
    site.keep("/days/1/nudges", event_id=new_id(), place=str(place), clicks="1")


# Who may listen.


@pytest.mark.parametrize("role", ["lead", "second", "guest"])
def test_everybody_of_the_crew_may_listen(demo, role):
    answer = somebody(demo, role).client.get(CHANGES)
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"
    assert answer.json() == {"revision": demo.client.get(CHANGES).json()["revision"]}


@pytest.mark.parametrize("headers", [{}, STREAM], ids=["once", "stream"])
def test_nobody_else_may(demo, headers):
    assert stranger(demo).client.get(CHANGES, headers=headers).status_code == 401
    other = somebody(demo, "lead", "Tom", another_crew(demo))
    assert other.client.get(CHANGES, headers=headers).status_code == 404
    assert other.client.get("/days/x/changes", headers=headers).status_code == 404


def test_a_page_carries_the_revision_that_the_stream_begins_with(demo):
    """Else it would be fetched again although it is what there is."""
    for path in ("", "/plan", "/order", "/report", "/setup", "/rig", "/places/1/reading"):
        page = demo.client.get(f"/days/1{path}").text
        assert f'data-revision="{revision(demo)}"' in page, path
        assert f'data-changes="{CHANGES}"' in page, path


def test_the_answer_to_a_tap_carries_the_revision_after_it(demo):
    """Else a phone would fetch its own change once more."""
    before = revision(demo)
    fields = {"event_id": new_id(), "place": "1", "clicks": "1"}
    answer = demo.client.post("/days/1/nudges", data=fields, headers=FRAGMENT)
    assert before != revision(demo)
    assert f'data-revision="{revision(demo)}"' in answer.text


def test_a_set_up_that_is_refused_carries_it_too(demo):
    assert f'data-revision="{revision(demo)}"' in demo.post("/days/1/setup", name="", on="").text


# What is said, and when it ends.


class Streamed(threading.Thread):
    """A stream that is read to its end, beside the test."""

    def __init__(self, site):
        super().__init__()
        self.site, self.answer = site, None
        self.start()

    def run(self):
        self.answer = self.site.client.get(CHANGES, headers=STREAM)

    def ended(self):
        self.join(START_SECONDS)
        assert not self.is_alive(), "the stream goes on"
        return [event.split("\n") for event in self.answer.text.split("\n\n") if event]


def until(true):
    """Wait for what another thread does."""
    for _ in range(1000):
        if true():
            return
        threading.Event().wait(0.01)
    pytest.fail("it never came")


@pytest.fixture
def open_pages(demo):
    """How many pages listen now."""
    return lambda: len(demo.client.app.state.listening._listeners)


def test_who_listens_to_a_day_that_is_removed_hears_so_and_no_more(demo, open_pages):
    streamed = Streamed(somebody(demo, "second"))
    until(lambda: open_pages() == 1)
    demo.keep("/days/1/removal")
    assert streamed.ended()[-1] == ["event: gone", "data: "]
    assert open_pages() == 0
    assert demo.client.get(CHANGES, headers=STREAM).status_code == 404


def test_a_session_that_is_ended_hears_so_and_no_more(demo, open_pages, monkeypatch):
    monkeypatch.setattr(live, "BEAT", 0.1)
    second = somebody(demo, "second")
    begins = revision(demo)
    streamed = Streamed(second)
    until(lambda: open_pages() == 1)
    nudge(demo)
    after = revision(demo)
    until(lambda: [each.told for each in demo.client.app.state.listening._listeners] == [after])
    book = demo.client.app.state.book
    # The watcher holds one, and each beat another for a moment; a stream that held one would never let go of it.
    until(lambda: book._database.reader.pool.checkedout() <= 1)
    with book.writing() as session:
        session.execute(delete(tables.BrowserSession))
    events = streamed.ended()
    assert events[0] == ["event: revision", f"data: {begins}"]
    assert ["event: revision", f"data: {after}"] in events
    assert events[-1] == ["event: ended", "data: "]
    assert open_pages() == 0


def test_whoever_is_out_hears_of_no_change(demo, open_pages):
    """It is looked up before each word, not each beat."""
    streamed = Streamed(somebody(demo, "guest"))
    until(lambda: open_pages() == 1)
    with demo.client.app.state.book.writing() as session:
        session.execute(delete(tables.BrowserSession))
    nudge(demo)
    assert [event[0] for event in streamed.ended()] == ["event: revision", "event: ended"]


def test_who_has_another_role_comes_again(demo, open_pages, monkeypatch):
    """The stream ends without a word: nobody was signed out."""
    monkeypatch.setattr(live, "BEAT", 0.1)
    streamed = Streamed(somebody(demo, "guest", "Tom"))
    until(lambda: open_pages() == 1)
    with demo.client.app.state.book.writing() as session:
        session.query(tables.Person).filter_by(name="Tom").one().role = "second"
    assert {event[0] for event in streamed.ended()} <= {"event: revision", "event: beat"}


def test_a_stream_is_handed_on_as_it_comes(demo, open_pages):
    """No proxy and no compression may hold it back."""
    streamed = Streamed(demo)
    until(lambda: open_pages() == 1)
    demo.client.app.state.listening.end()
    assert len(streamed.ended()) == 1
    headers = streamed.answer.headers
    assert headers["content-type"].startswith("text/event-stream")
    assert (headers["cache-control"], headers["x-accel-buffering"]) == ("no-store", "no")
    assert "content-encoding" not in headers


@pytest.mark.parametrize(("bound", "status"), [("OF_ONE_MOST", 429), ("LISTENERS_MOST", 503)])
def test_more_pages_than_can_be_told_are_refused_and_told_when_to_come_again(demo, monkeypatch, bound, status):
    monkeypatch.setattr(listening, bound, 0)
    answer = demo.client.get(CHANGES, headers=STREAM)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert int(answer.headers["retry-after"]) > 0
    assert demo.client.get(CHANGES).status_code == 200, "to ask once is free"


def test_a_server_that_stops_takes_nobody_more(demo):
    demo.client.app.state.listening.end()
    answer = demo.client.get(CHANGES, headers=STREAM)
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "5")


# Real servers, two of them at one book.


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """Two servers at one book with the demo in it."""
    folder = tmp_path_factory.mktemp("pair")
    environment = environment_for(folder)
    assert run(environment, "demo.fill").returncode == 0
    with serving(environment) as one, serving(environment) as other:
        yield one, other, folder / "data" / DATABASE_FILE


@contextmanager
def events(server):
    """The events of day 1 as they come: (name, data)."""
    with httpx.stream("GET", server.url + CHANGES, headers=STREAM, timeout=START_SECONDS) as answer:
        yield pairs(answer.iter_lines())


def pairs(lines):
    for line in lines:
        if line.startswith("event: "):
            yield line.removeprefix("event: "), next(lines).removeprefix("data: ")


def nudged_at(server, clicks="1"):
    fields = {"event_id": new_id(), "place": "1", "clicks": clicks}
    answer = httpx.post(server.url + "/days/1/nudges", data=fields, headers=FRAGMENT, timeout=START_SECONDS)
    assert answer.status_code == 200


def test_a_nudge_on_one_server_is_heard_on_both(pair):
    one, other, _ = pair
    with events(one) as here, events(other) as there:
        begins = next(here)
        assert next(there) == begins
        nudged_at(one)
        for heard in (here, there):
            name, after = next(each for each in heard if each[0] != "beat")
            assert name == "revision"
            assert after != begins[1]
        assert httpx.get(other.url + CHANGES, timeout=START_SECONDS).json() == {"revision": after}


def test_many_hands_at_two_servers_lose_nothing(pair):
    """Every nudge that was answered is in the log once, and both servers say the same."""
    *servers, file = pair

    def count():
        connection = sqlite3.connect(file)
        (found,) = connection.execute("select count(*) from events where kind = 'nudged'").fetchone()
        connection.close()
        return found

    before = count()
    with ThreadPoolExecutor(8) as hands:
        for _ in hands.map(lambda number: nudged_at(servers[number % 2], "1" if number % 4 < 2 else "-1"), range(64)):
            pass
    assert count() == before + 64
    said = {httpx.get(server.url + CHANGES, timeout=START_SECONDS).text for server in servers}
    assert len(said) == 1
    connection = sqlite3.connect(file)
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()


@pytest.mark.parametrize("by", [signal.SIGTERM, signal.SIGINT])
def test_a_server_that_is_told_to_stop_lets_its_listeners_go(environment, by):
    """The server waits for open answers; these would never end by themselves."""
    assert run(environment, "demo.fill").returncode == 0
    with serving(environment) as server, events(server) as one, events(server) as two:
        assert next(one) == next(two)
        seconds = server.stop(by)
        for heard in (one, two):
            assert [name for name, _ in heard if name != "beat"] == []
    assert seconds < 3, "as long as it would wait for answers that do not end"
    assert not [line for line in server.said if "Traceback" in line or "ERROR" in line], server.said
