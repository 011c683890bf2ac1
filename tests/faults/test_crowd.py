"""Those who hold on to a server: listeners, readers that do not read, senders that do not send. The rest is served."""

from __future__ import annotations

import resource
import socket
from contextlib import ExitStack
from datetime import timedelta

import anyio
import httpx
import pytest

from server.book.invites import join, make_invite
from server.book.store import Book
from server.door import guard, listening
from tests.conftest import new_id
from tests.databases import environment_of
from tests.test_command_line import START_SECONDS, serving

LISTENERS = listening.LISTENERS_MOST
HALF_OPEN = 300
SLOW = 10


@pytest.fixture
def many_files():
    """This program holds the other end of every line."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = LISTENERS + HALF_OPEN + SLOW + 300
    assert hard == resource.RLIM_INFINITY or hard >= wanted, f"the system lets a program have {hard} files open"
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, wanted), hard))
    yield
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


def line_to(port, head, held):
    line = held.enter_context(socket.create_connection(("127.0.0.1", port), timeout=START_SECONDS))
    line.sendall(head)
    return line


@pytest.mark.in_a_file
def test_a_thousand_idle_listeners_and_lines_that_hang_keep_nobody_waiting(books, spare, many_files):
    """As many pages listen as one process takes; others have begun to ask, or ask and do not read."""
    books.copy("demo", spare)
    book = Book(spare)
    with book.writing() as session:
        cookies = []
        for number in range(LISTENERS // listening.OF_ONE_MOST + 1):
            invite = make_invite(session, 1, "lead", "a test", timedelta(hours=1))
            cookies.append(join(session, invite, f"Phone {number}", "a phone"))
    book.close()
    with serving(environment_of(spare)) as server, ExitStack() as held:
        port = int(server.url.rpartition(":")[2])

        def head(path, cookie, more=""):
            return f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: lychgate={cookie}\r\n{more}\r\n".encode()

        stream = "Accept: text/event-stream\r\n"
        listeners = [
            line_to(port, head("/days/1/changes", cookies[number // listening.OF_ONE_MOST], stream), held)
            for number in range(LISTENERS)
        ]
        for each in listeners:
            assert b" 200 " in each.recv(2000)
        refused = line_to(port, head("/days/1/changes", cookies[-1], stream), held)
        assert b" 503 " in refused.recv(2000), "one more is told to come later"
        for number in range(HALF_OPEN):
            begun = head("/days/1", cookies[0])
            line_to(port, begun[: 1 + number % (len(begun) - 3)], held)
        for _ in range(SLOW):
            line_to(port, head("/days/1", cookies[-1]) * 20, held)
        headers = {"cookie": f"lychgate={cookies[-1]}", "sec-fetch-site": "same-origin", "hx-request": "true"}
        with httpx.Client(base_url=server.url, headers=headers, timeout=START_SECONDS) as phone:
            for _ in range(10):
                form = {"event_id": new_id(), "place": "1", "clicks": "1"}
                assert phone.post("/days/1/nudges", data=form).status_code == 200
                assert phone.get("/").status_code == 200
        for each in (listeners[0], listeners[-1]):
            heard = b""
            while heard.count(b"event: revision") < 1:
                heard += each.recv(4000)


def test_a_body_that_stops_halfway_is_let_go(site, monkeypatch):
    """And nothing of it is kept."""
    monkeypatch.setattr(guard, "SILENT_MOST", 0.05)
    before = site.book()
    sent = []

    async def send(message):
        sent.append(message)

    async def receive():
        if received:
            await anyio.sleep_forever()
        received.append(True)
        return {"type": "http.request", "body": b"name=Half", "more_body": True}

    received = []
    scope = {
        "type": "http", "http_version": "1.1", "method": "POST", "path": "/venues", "raw_path": b"/venues",
        "query_string": b"", "scheme": "http", "server": ("localhost", 80), "client": ("127.0.0.1", 50000),
        "headers": [(b"host", b"localhost"), (b"content-type", b"application/x-www-form-urlencoded")],
        "app": site.client.app, "root_path": "",
    }  # fmt: skip
    site.client.portal.call(site.client.app, scope, receive, send)
    assert sent[0]["status"] == 408
    assert b"stopped halfway" in sent[1]["body"]
    assert site.book() == before
