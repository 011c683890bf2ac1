"""What every request passes: the headers on the way out, the refusal of other sites, the bound on a body."""

from __future__ import annotations

import asyncio
import tracemalloc

import pytest

from server.app import create_app
from server.door.guard import Guard
from tests.conftest import at_this_machine

BOUND = 1_000_000  # bytes
PHOTO_BOUND = 40_000_000  # bytes, of a form that brings a photo
PHOTO = "/venues/1/places/1/photo"
FORM = "multipart/form-data; boundary=x"
BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,*/*;q=0.8"


def says(answer, header, *words):
    return all(word in answer.headers.get(header, "") for word in words)


def held_to_the_headers(answer):
    """The headers that keep a page from being framed, sniffed, scripted or read by others."""
    assert says(answer, "content-security-policy", "default-src 'none'", "script-src 'self'", "frame-ancestors 'none'")
    assert not says(answer, "content-security-policy", "unsafe")
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cross-origin-opener-policy"] == "same-origin"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert says(answer, "permissions-policy", "camera=()", "microphone=()")


EVERYTHING = {
    "the first page": ("GET", "/", 200),
    "a day": ("GET", "/days/1", 200),
    "the reference": ("GET", "/api", 200),
    "the document": ("GET", "/api/openapi.json", 200),
    "the stylesheet": ("GET", "/static/lychgate.css", 200),
    "the script": ("GET", "/static/htmx-4.0.1.min.js", 200),
    "a file that is not there": ("GET", "/static/none.js", 404),
    "a page that is not there": ("GET", "/nowhere", 404),
    "a day that is not there": ("GET", "/days/999", 404),
    "a call that is not there": ("GET", "/api/nothing", 404),
    "a method that is not allowed": ("DELETE", "/days/1", 405),
    "a form that is refused": ("POST", "/venues", 422),
    "a call that is refused": ("POST", "/api/readings", 422),
    "a tap of another site": ("POST", "/days/1/undo", 403),
    "a redirection": ("POST", "/kits", 303),
}


@pytest.mark.parametrize(("method", "path", "status"), EVERYTHING.values(), ids=EVERYTHING)
def test_everything_that_goes_out_has_the_headers(demo_client, method, path, status):
    headers = {"sec-fetch-site": "cross-site"} if status == 403 else {}
    answer = demo_client.request(method, path, headers=headers, data={"name": "A kit"} if status == 303 else None)
    assert answer.status_code == status
    held_to_the_headers(answer)


def test_a_mistake_of_ours_has_the_headers_too(settings):
    """An answer of 500 is a page like any other: it says what it may, in words, and nothing of the program."""
    app = create_app(settings)

    @app.get("/api/broken")
    @app.get("/broken")
    def broken():
        raise RuntimeError("secret words")

    # Before the pages' own routes, which have a path for everything.
    app.router.routes[:0] = [app.router.routes.pop(), app.router.routes.pop()]
    with at_this_machine(app, raise_server_exceptions=False) as client:
        page, call = client.get("/broken"), client.get("/api/broken")
    for answer in (page, call):
        assert answer.status_code == 500
        held_to_the_headers(answer)
        assert "secret" not in answer.text
    assert page.headers["content-type"].startswith("text/html")
    assert "<h1>" in page.text
    assert call.headers["content-type"] == "application/problem+json"


FROM_ELSEWHERE = {
    "another site": {"sec-fetch-site": "cross-site"},
    "another host of the same site": {"sec-fetch-site": "same-site"},
    "an unknown word": {"sec-fetch-site": "sideways"},
    "another site, though the origin says otherwise": {
        "sec-fetch-site": "cross-site", "origin": "http://localhost",
    },
    "an old browser at another host": {"origin": "http://elsewhere.example"},
    "another port": {"origin": "http://localhost:8001"},
    "a host that ends like ours": {"origin": "http://evillocalhost"},
    "a host that begins like ours": {"origin": "http://localhost.elsewhere.example"},
    "our name as its user": {"origin": "http://localhost@elsewhere.example"},
    "an origin that is kept secret": {"origin": "null"},
    "an empty origin": {"origin": ""},
    "an origin that is none": {"origin": "http://[half-an-address"},
    "no URL at all": {"origin": "localhost"},
}  # fmt: skip


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize("headers", FROM_ELSEWHERE.values(), ids=FROM_ELSEWHERE)
def test_what_another_site_asks_for_is_refused(demo, headers, method):
    """A page of somebody else's must not change a day by sending a form here."""
    before = demo.book()
    answer = demo.client.request(method, "/kits", data={"name": "A kit"}, headers=headers)
    assert answer.status_code == 403
    assert demo.book() == before


OURS = {
    "a page of ours": {"sec-fetch-site": "same-origin", "origin": "http://localhost"},
    "the address bar": {"sec-fetch-site": "none"},
    "plain http, where browsers send an origin only": {"origin": "http://localhost"},
    "a program": {},
}


@pytest.mark.parametrize("headers", OURS.values(), ids=OURS)
def test_what_our_own_pages_ask_for_passes(site, headers):
    assert site.post("/kits", headers, name="A kit").status_code == 303


@pytest.mark.parametrize("headers", FROM_ELSEWHERE.values(), ids=FROM_ELSEWHERE)
def test_a_link_from_anywhere_opens_a_page(client, headers):
    """A shared link is followed from other sites; looking changes nothing."""
    assert client.get("/", headers=headers).status_code == 200


def test_a_body_of_the_bound_passes(client):
    """What is small enough is handed on whole: the name in it is refused for its length, not the body."""
    body = b"name=" + b"a" * (BOUND - 5)
    answer = client.post("/kits", content=body, headers={"content-type": "application/x-www-form-urlencoded"})
    assert (answer.status_code, "1 to 80 characters" in answer.text) == (422, True)


@pytest.mark.parametrize("path", ["/kits", "/api/moves", "/static/lychgate.css", "/nowhere"])
def test_a_byte_over_the_bound_is_refused(client, path):
    answer = client.post(path, content=b"a" * (BOUND + 1))
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    held_to_the_headers(answer)
    (error,) = answer.json()["errors"]
    assert error["allowed"] == "at most 1000000 bytes"


@pytest.mark.parametrize(
    ("path", "method", "kind", "bound"),
    [
        (PHOTO, "POST", FORM, PHOTO_BOUND),
        ("/days/1/photo", "POST", FORM.title(), PHOTO_BOUND),
        (PHOTO, "PUT", FORM, BOUND),
        (PHOTO, "POST", "application/x-www-form-urlencoded", BOUND),
        (PHOTO, "POST", "image/jpeg", BOUND),
        (PHOTO + "/", "POST", FORM, BOUND),
        ("/photo/kits", "POST", FORM, BOUND),
        ("/kits/document", "POST", FORM, BOUND),
    ],
)
def test_only_a_form_with_a_photo_may_be_larger(path, method, kind, bound):
    """The other addresses keep their bound, and so does a photo's for what is no form with a file."""
    asked = Asked([sent(b"a" * 500_000, more=True)] * (bound // 500_000) + [sent(b"")], method, path, kind).run()
    assert asked.status == 200
    assert sum(len(message["body"]) for message in asked.read) == bound
    over = Asked([sent(b"a" * 500_000, more=True)] * (bound // 500_000) + [sent(b"a")], method, path, kind).run()
    assert over.status == 422
    assert over.read == []
    assert f"at most {bound} bytes".encode() in over.sent[1]["body"]


def test_a_photo_that_is_too_large_is_refused_in_words(client):
    """Somebody with a browser gets a page that says how large a photo may be; the address need not even be there."""
    answer = client.post(PHOTO, content=b"a" * (PHOTO_BOUND + 1), headers={"content-type": FORM, "accept": BROWSER})
    assert answer.status_code == 422
    assert answer.headers["content-type"].startswith("text/html")
    held_to_the_headers(answer)
    assert "<h1>" in answer.text
    assert "more than 40 MB came, allowed is at most 40 MB" in answer.text


@pytest.mark.parametrize(
    ("accept", "page"),
    [
        (BROWSER, True),
        ("text/html", True),
        ("text/html, application/json", True),
        ("application/json, text/html", False),
        ("application/problem+json", False),
        ("*/*", False),
        ("", False),
    ],
)
def test_a_page_is_for_those_who_want_one_first(client, accept, page):
    """Programs keep their problem document."""
    answer = client.post("/kits", content=b"a" * (BOUND + 1), headers={"accept": accept})
    assert answer.status_code == 422
    assert ("more than 1 MB came, allowed is at most 1 MB" in answer.text) == page
    assert (answer.headers["content-type"] == "application/problem+json") != page


def test_a_call_is_refused_with_json_whatever_it_wants(client):
    """What answers in JSON does so here too."""
    answer = client.post("/api/moves", content=b"a" * (BOUND + 1), headers={"accept": BROWSER})
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json")


def test_a_large_body_is_held_once():
    """
    Forty megabytes in memory are enough: they are handed on in pieces, and each is let go when it was read. What comes
    in a million pieces takes no more than what comes in one.
    """
    chunk = b"a" * 50
    count = 4_000_000 // len(chunk)
    taken = []

    async def application(_scope, receive, send):
        while True:
            message = await receive()
            taken.append(len(message["body"]))
            if not message["more_body"]:
                break
        await send({"type": "http.response.start", "status": 200, "headers": []})

    asked = Asked([sent(chunk, more=True)] * count + [sent(b"")], "POST", PHOTO, FORM)
    asked.application = application
    tracemalloc.start()
    asked.run()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert sum(taken) == len(chunk) * count
    assert len(taken) > 3
    assert max(taken) < 1_000_000
    assert peak < 1.5 * sum(taken)


def test_a_body_in_chunks_without_a_length_is_bound_too(client):
    """A length that is not told beforehand must not lead around the bound."""
    answer = client.post("/kits", content=(b"a" * 100_000 for _ in range(11)))
    assert answer.status_code == 422


class Asked:
    """An application that reads its body, behind the guard, with a client that sends these messages and then hangs."""

    def __init__(self, messages, method="POST", path="/", kind=None):
        self.messages = list(messages)
        headers = [] if kind is None else [(b"content-type", kind.encode())]
        self.scope = {"type": "http", "method": method, "headers": headers, "path": path}
        self.read = []
        self.sent = []
        self.taken = 0

    def run(self):
        asyncio.run(asyncio.wait_for(Guard(self.application)(self.scope, self.receive, self.send), 5))
        return self

    async def application(self, _scope, receive, send):
        while True:
            message = await receive()
            self.read.append(message)
            if message["type"] == "http.disconnect" or not message.get("more_body"):
                break
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    async def receive(self):
        if self.taken < len(self.messages):
            self.taken += 1
            return self.messages[self.taken - 1]
        await asyncio.sleep(60)
        raise AssertionError("asked a client that has nothing more to say")

    async def send(self, message):
        self.sent.append(message)

    @property
    def status(self):
        return self.sent[0]["status"]


def sent(body, *, more=False):
    return {"type": "http.request", "body": body, "more_body": more}


@pytest.mark.parametrize("method", ["POST", "GET"])
def test_an_empty_body_does_not_wait_for_more(method):
    """A request with nothing in it is answered: nobody waits for a body that has come already."""
    asked = Asked([sent(b"")], method).run()
    assert asked.status == 200
    assert b"".join(message["body"] for message in asked.read) == b""


def test_a_body_in_pieces_is_handed_on_whole():
    asked = Asked([sent(b"na", more=True), sent(b"", more=True), sent(b"me=", more=True), sent(b"x")]).run()
    assert b"".join(message["body"] for message in asked.read) == b"name=x"


def test_a_client_that_sends_without_end_is_refused():
    """What is over the bound is thrown away so that the refusal can be read, but not for ever, nor kept."""
    asked = Asked([sent(b"a" * BOUND, more=True)] * 1000).run()
    assert asked.status == 422
    assert asked.read == []
    assert 2 < asked.taken < 500


def test_half_a_body_is_not_taken_for_a_whole_one():
    """A phone that loses its signal while it sends must not leave half a name, or place 1 for place 12."""
    asked = Asked([sent(b"place=1", more=True), {"type": "http.disconnect"}]).run()
    assert asked.read == []
    assert asked.sent == []


def test_what_is_no_request_passes_by():
    """The server's start and stop go through the guard untouched."""
    seen = []

    async def application(scope, _receive, _send):
        seen.append(scope["type"])

    asyncio.run(Guard(application)({"type": "lifespan"}, None, None))
    assert seen == ["lifespan"]


def test_no_other_site_reads_what_is_here(demo):
    """ASVS 5.0, 3.4.2: no answer is opened to another origin, whatever it asks for."""
    asks = {"origin": "https://elsewhere.example", "access-control-request-method": "POST"}
    for path in ("/", "/days/1", "/api/openapi.json", "/static/lychgate.css"):
        for method in ("GET", "OPTIONS"):
            answer = demo.client.request(method, path, headers=asks)
            assert not [name for name in answer.headers if name.startswith("access-control-")], path


@pytest.mark.parametrize(("host", "sent"), [("localhost", True), ("127.0.0.1:8000", True), ("192.0.2.1:8000", False),
                                            ("[::1]:8000", True), ("[", False), ("", False)])  # fmt: skip
def test_a_header_that_plain_http_cannot_keep_is_not_sent(demo, host, sent):
    """HTML standard, cross-origin opener policies: only in secure contexts; else each page has an error in its console."""
    answer = demo.client.get("/join", headers={"host": host})
    assert ("cross-origin-opener-policy" in answer.headers) is sent
