"""Who gets in, and how far: every route as a stranger, as each role, and as another crew's lead."""

from __future__ import annotations

import re

import pytest
from fastapi import APIRouter, FastAPI
from fastapi.routing import iter_route_contexts

from server.book.people import ROLES, Member
from server.door.entrance import WITHOUT_A_DOOR, DoorRoute, NoRule, check_doors, door_router
from server.door.roles import RULES, may
from tests.conftest import HERE, another_crew, at_this_machine, somebody, stranger

# What stands in the addresses of the demo; a thing of every kind, so that every route finds something.
KNOWN = {
    "day_id": "1", "venue_id": "1", "place_id": "1", "kit_id": "1", "reading_id": "1", "thing_id": "1", "number": "0",
    "things": "filters", "invite_id": "1", "session_id": "1", "person_id": "1", "token": "x" * 43, "camera_id": "1",
    "link_id": "1",
}  # fmt: skip


def routes(app):
    """(name, method, path) of all that the application answers."""
    for route in iter_route_contexts(app.routes):
        for method in sorted((route.methods or set()) - {"HEAD", "OPTIONS"}):
            path = re.sub(r"{(\w+)(?::\w+)?}", lambda found: KNOWN[found[1]], route.path)
            yield route.name, method, path


@pytest.fixture
def walk(demo):
    """Every route but those without a door, and who asks: (name, method, path) and a function to ask as somebody."""
    found = [each for each in routes(demo.client.app) if each[0] not in WITHOUT_A_DOOR]
    assert len(found) > 70
    return found


def refused_as(walk, asks, role):
    """The routes that a role is refused, by name; asking them must change nothing and never fail."""
    refused = set()
    for name, method, path in walk:
        answer = asks.client.request(method, path)
        assert answer.status_code < 500, (name, path)
        if answer.status_code in (401, 403):
            assert answer.status_code == (401 if role is None else 403), name
            refused.add(name)
    return refused


def test_a_stranger_gets_at_nothing_that_a_crew_has(demo, walk):
    """On a server that others can reach, nothing is seen and nothing changed without an invite."""
    before = demo.book()
    refused = refused_as(walk, stranger(demo), None)
    assert refused == {name for name, needed in RULES.items() if needed != "anybody"}
    assert demo.book() == before


def test_a_guest_reads_and_changes_nothing(demo, walk):
    """A stolen guest session must not write, whatever form it sends."""
    guest = somebody(demo, "guest")
    before = demo.book()
    refused = refused_as([each for each in walk if each[0] not in ("leave", "end_session")], guest, "guest")
    assert refused == {name for name, needed in RULES.items() if needed in ("second", "lead")}
    after = demo.book()
    assert {table: rows for table, rows in after.items() if table not in ("sessions", "pairing_codes")} == {
        table: rows for table, rows in before.items() if table not in ("sessions", "pairing_codes")
    }


def test_a_second_shooter_does_the_work_and_lets_nobody_in(demo, walk):
    second = somebody(demo, "second")
    people = {table: demo.book()[table] for table in ("people", "sessions", "invites", "crews")}
    refused = refused_as([each for each in walk if each[0] not in ("leave", "end_session")], second, "second")
    assert refused == {name for name, needed in RULES.items() if needed == "lead"}
    assert people == {table: demo.book()[table] for table in people}


def test_a_lead_is_refused_nothing(demo, walk):
    somebody(demo, "lead")  # so that there is a person, a session and an invite with the number 1
    lead = somebody(demo, "lead")
    assert refused_as([each for each in walk if each[0] != "leave"], lead, "lead") == set()


def forms_of(site):
    """Every form that the pages of a site have, as it would be sent, each address once."""
    waiting, seen, found = ["/"], set(), {}
    while waiting:
        path = waiting.pop()
        if path in seen or not path.startswith("/") or path.startswith(("/static", "/api")):
            continue
        seen.add(path)
        answer = site.client.get(path)
        if not answer.headers["content-type"].startswith("text/html"):
            continue
        page = site.get(path)
        waiting += [link.partition("#")[0] for link in page.links]
        for form in page.forms:
            if form.to:
                button = dict(form.buttons[:1])
                found.setdefault(form.to, form.sends(**button))
    return found


# The forms by which one comes in or goes, and those that are not about anything that a crew has.
OF_THE_DOOR = {"/join", "/join/offer", "/pair", "/leave", "/crew/codes", "/crew/invites"}
STARTERS = "/kits/starters/"  # common kits, which are nobody's


def test_another_crew_finds_nothing_of_this_one_at_any_address(demo, walk):
    """Every page, and every form of every page just as its own crew sends it."""
    own = somebody(demo, "lead", "Ines")
    forms = {to: sent for to, sent in forms_of(own).items() if to not in OF_THE_DOOR and not to.startswith(STARTERS)}
    assert len(forms) > 40
    other = somebody(demo, "lead", "Tom", another_crew(demo))
    names = ("Orchard", "Chapel", "Midsummer", "Ines")
    before = demo.book()
    for name, method, path in walk:
        if method == "GET" and "{" in path_of(demo.client.app, name):
            answer = other.client.get(path)
            assert answer.status_code in (200, 404), path
            assert answer.status_code == 404 or RULES[name] == "anybody", path
            assert not any(word in answer.text for word in names), path
    for to, sent in forms.items():
        if not re.search(r"\d", to):
            continue  # it makes something new, which is the other crew's
        answer = other.client.post(to, data=sent)
        assert answer.status_code == 404, to
        told = re.sub(r'<ul[^>]*id="typed".*?</ul>', "", answer.text, flags=re.DOTALL)  # what they sent themselves
        assert not any(word in told for word in names), to
    assert demo.book() == before


def path_of(app, name):
    return next(route.path for route in iter_route_contexts(app.routes) if route.name == name)


def test_a_guest_is_shown_no_button_that_does_nothing(demo):
    """Every form on every page that a guest can open is one that a guest may send."""
    guest = somebody(demo, "guest")
    allowed = {path_of(demo.client.app, name) for name in RULES if may(Member(1, "", "guest"), name)}
    patterns = [re.compile(re.sub(r"{\w+}", "[^/]+", path) + "$") for path in allowed]
    for to in forms_of(guest):
        assert any(pattern.match(to) for pattern in patterns), to


def test_a_guest_is_shown_no_link_to_what_is_refused(demo):
    guest = somebody(demo, "guest")
    waiting, seen = ["/"], set()
    while waiting:
        path = waiting.pop()
        if path in seen or not path.startswith("/") or path.startswith("/static"):
            continue
        seen.add(path)
        answer = guest.client.get(path)
        assert answer.status_code == 200, path
        if answer.headers["content-type"].startswith("text/html"):
            waiting += [link.partition("#")[0] for link in guest.get(path).links]
    assert {"/days/1", "/days/1/plan", "/venues/1", "/kits/1", "/crew"} <= seen


def test_a_route_of_which_nobody_said_who_may_use_it_cannot_be_made():
    """A new route cannot forget the door: the program does not start."""
    router = door_router()

    def forgotten():
        return ""

    with pytest.raises(NoRule, match="forgotten"):
        router.get("/forgotten")(forgotten)


def test_a_route_beside_the_door_keeps_the_program_from_starting():
    app = FastAPI(docs_url=None, redoc_url=None)
    beside = APIRouter()
    beside.get("/beside")(lambda: "")
    app.include_router(beside)
    with pytest.raises(NoRule, match="/beside"):
        check_doors(app)


def test_every_rule_is_of_a_route_that_there_is(demo):
    """A rule that is left over would stand for the next route of that name."""
    there = [route.name for route in iter_route_contexts(demo.client.app.routes)]
    assert set(RULES) == set(there) - WITHOUT_A_DOOR
    assert len(there) == len(set(there)), "two routes of one name would share a rule"
    assert all(
        isinstance(route.original_route, DoorRoute)
        for route in iter_route_contexts(demo.client.app.routes)
        if route.name not in WITHOUT_A_DOOR
    )


def test_each_role_may_what_those_below_it_may():
    for lower, higher in zip(ROLES, ROLES[1:], strict=False):
        for name in RULES:
            assert may(Member(1, "", higher), name) or not may(Member(1, "", lower), name)
    assert {name for name in RULES if may(None, name)} == {name for name in RULES if RULES[name] == "anybody"}


# Whoever is at the machine itself, in the demo.

NOT_AT_THE_MACHINE = {
    "another machine": {"client": ("192.0.2.7", 1)},
    "a name that another site let lead here": {"base_url": "http://rebound.example"},
    "a name that begins like ours": {"base_url": "http://localhost.rebound.example"},
    "a proxy in front": {"headers": {"x-forwarded-for": "192.0.2.7"}},
    "a proxy by the standard's word": {"headers": {"forwarded": "for=192.0.2.7"}},
    "a proxy that says no more than its name": {"headers": {"via": "1.1 front"}},
}


@pytest.mark.parametrize("options", NOT_AT_THE_MACHINE.values(), ids=NOT_AT_THE_MACHINE)
def test_only_who_is_at_the_machine_itself_is_let_in_without_an_invite(demo, options):
    assert demo.client.get("/").status_code == 200
    assert at_this_machine(demo.client.app, **options).get("/").status_code == 401


@pytest.mark.parametrize("host", ["127.0.0.1:8000", "localhost", "[::1]:8000"])
def test_the_machine_may_be_called_by_any_of_its_own_names(demo, host):
    assert demo.client.get("/", headers={"host": host}).status_code == 200


def test_a_book_of_two_crews_is_open_to_nobody_without_an_invite(demo):
    """Which one would they lead?"""
    another_crew(demo)
    assert demo.client.get("/").status_code == 401
    assert somebody(demo).client.get("/").status_code == 200


def test_a_stranger_cannot_fill_the_memory_with_a_photo(demo):
    """Forty megabytes are for those who are in; the bound is kept before anything is read."""
    path, head = "/venues/1/places/1/photo", {"content-type": "multipart/form-data; boundary=x"}
    refused = stranger(demo).client.post(path, content=b"a" * 1_000_001, headers=head)
    assert (refused.status_code, refused.json()["errors"][0]["allowed"]) == (422, "at most 1000000 bytes")
    begun = (
        b"--x\r\ncontent-disposition: form-data; name=file; filename=p.jpg\r\n\r\n" + b"a" * 1_000_001 + b"\r\n--x--"
    )
    assert "bytes" not in somebody(demo, "second").client.post(path, content=begun, headers=head).text


def test_a_session_without_a_word_on_where_the_request_is_from_changes_nothing(demo):
    """No browser of today sends neither header with a form; one that does, with a cookie, could be led by anybody."""
    second = somebody(demo, "second")
    before = demo.book()
    del second.client.headers["origin"]
    assert second.client.post("/kits", data={"name": "A kit"}).status_code == 403
    assert demo.book() == before
    assert second.client.get("/").status_code == 200
    assert second.client.post("/kits", data={"name": "A kit"}, headers={"origin": HERE}).status_code == 303


def test_what_a_stranger_is_told_is_the_same_whatever_is_there(demo):
    """Neither a day that exists nor one that does not is told apart."""
    outside = stranger(demo)
    answers = [outside.client.get(path) for path in ("/days/1", "/days/999", "/venues/1", "/crew")]
    assert {answer.status_code for answer in answers} == {401}
    assert len({answer.text for answer in answers}) == 1
    assert answers[0].headers["www-authenticate"].startswith("Invite")
    assert "invite" in answers[0].text
