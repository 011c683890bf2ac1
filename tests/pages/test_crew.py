"""Coming in by an invite or a code, the crew's page, and ending what lets somebody in."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from server.book import tables
from server.door.limits import WRONG_MOST
from tests.conftest import HERE, another_crew, at_this_machine, somebody, stranger


def invited(lead, **fields):
    answer = lead.post("/crew/invites", **{"role": "second", "lasts": "day", "uses": "1", "name": "", **fields})
    assert answer.status_code == 200, answer.text
    return re.search(r'value="([^"]*)/join#([\w-]+)"', answer.text).groups()


def test_a_lead_makes_an_invite_and_somebody_comes_in_by_it(site):
    """The link, a look at what it is worth, a name, and they are in."""
    at, secret = invited(site, role="second", name="Ines")
    assert at == HERE
    came = stranger(site)
    assert "Nothing is seen here without an invite" in came.get("/", 401).text
    page = came.get("/join")
    offer = came.submit(page.form("/join/offer"), status=200, link=f"{at}/join#{secret}")
    assert "Join “My crew”" in offer.text
    assert "second shooter" in offer.text
    form = came.get("/join").form("/join/offer")
    assert form.to == "/join/offer"
    answer = came.post("/join", link=secret, name="Ines B.")
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert "The first day" in came.get("/").text
    people = came.get("/crew").text
    assert "Ines B. (you)" in people
    assert [(row.name, row.role) for row in site.rows(tables.Person)] == [("Ines B.", "second")]


def test_looking_at_an_invite_sets_no_cookie_and_uses_nothing_up(site):
    _, secret = invited(site)
    came = stranger(site)
    for _ in range(3):
        assert came.client.get("/join").headers.get("set-cookie") is None
        answer = came.post("/join/offer", link=secret)
        assert (answer.status_code, answer.headers.get("set-cookie")) == (200, None)
    assert site.rows(tables.Invite)[0].uses_left == 1


def test_the_cookie_is_for_this_server_alone_and_for_no_script(site):
    _, secret = invited(site)
    cookie = stranger(site).post("/join", link=secret, name="Ines").headers["set-cookie"]
    assert cookie.startswith("lychgate=")
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Path=/" in cookie
    assert "Secure" not in cookie, "on plain http a browser would drop it"
    assert "Domain" not in cookie


def test_on_https_the_cookie_is_held_to_https(site):
    _, secret = invited(site)
    secure = at_this_machine(
        site.client.app, base_url="https://light.example", headers={"origin": "https://light.example"}
    )
    answer = secure.post("/join", data={"link": secret, "name": "Ines"})
    assert answer.headers["set-cookie"].startswith("__Host-lychgate=")
    assert "Secure" in answer.headers["set-cookie"]
    assert "max-age" in answer.headers["strict-transport-security"]
    assert secure.get("/crew").status_code == 200
    token = secure.cookies["__Host-lychgate"]
    plain = {"cookie": f"lychgate={token}"}
    assert at_this_machine(site.client.app, base_url="https://light.example", headers=plain).get("/").status_code == 401


def test_no_page_with_a_secret_is_kept_by_a_cache(site):
    _, secret = invited(site)
    came = stranger(site)
    answers = [
        site.post("/crew/invites", role="guest", lasts="day", uses="1"),
        came.post("/join/offer", link=secret), came.client.get("/join"), site.client.get("/crew"),
        somebody(site).post("/crew/codes"),
    ]  # fmt: skip
    assert {answer.headers["cache-control"] for answer in answers} == {"no-store"}
    assert site.client.get("/").headers["cache-control"] == "private, no-cache"


def test_a_secret_is_shown_once(site):
    _, secret = invited(site)
    assert secret not in site.get("/crew").source


@pytest.mark.parametrize(
    "wrong", ["", "x", "{secret}A", "http://elsewhere.example/join#", "<script>alert(1)</script>", "💍"]
)
def test_what_is_no_invite_says_so_and_keeps_what_was_typed(site, wrong):
    _, secret = invited(site)
    typed = wrong.replace("{secret}", secret)
    page = stranger(site).refused("/join/offer", link=typed)
    assert "link" in page.refused
    assert "<script>alert" not in page.source
    if typed:
        assert page.form("/join/offer")["link"].value == typed
    stranger(site).refused("/join", link=typed, name="Eve")


def test_a_name_is_asked_for_before_an_invite_is_used_up(site):
    _, secret = invited(site)
    for name in ("", " ", "x" * 81):
        page = stranger(site).refused("/join", link=secret, name=name)
        assert "name" in page.refused
    assert somebody(site).get("/crew")
    assert stranger(site).post("/join", link=secret, name="Ines").status_code == 303
    assert "used" in stranger(site).refused("/join", link=secret, name="Eve").text


def test_guesses_are_counted_and_a_whole_link_lets_in_all_the_same(site):
    """Who guesses waits; who was invited and stands in the same room does not."""
    _, secret = invited(site)
    code = code_of(somebody(site))
    guesser = stranger(site)
    for _ in range(WRONG_MOST):
        assert guesser.post("/pair", code="ABCD-2345").status_code == 422
    answer = guesser.post("/pair", code=code)
    assert (answer.status_code, answer.headers["retry-after"]) == (429, "600")
    assert guesser.post("/join/offer", link="x" * 43).status_code == 429
    assert guesser.post("/join/offer", link=secret).status_code == 200
    elsewhere = at_this_machine(site.client.app, client=("198.51.100.9", 1), headers={"origin": HERE})
    assert elsewhere.post("/pair", data={"code": code}).status_code == 303


def test_a_whole_home_network_is_one_guesser(site):
    """A home has 2^64 addresses of the newer kind; changing them is no way around."""
    for number in range(WRONG_MOST):
        client = at_this_machine(site.client.app, client=(f"2001:db8::{number:x}", 1))
        assert client.post("/pair", data={"code": "ABCD-2345"}).status_code == 422
    last = at_this_machine(site.client.app, client=("2001:db8::ffff", 1))
    assert last.post("/pair", data={"code": "ABCD-2345"}).status_code == 429
    other = at_this_machine(site.client.app, client=("2001:db8:1::1", 1))
    assert other.post("/pair", data={"code": "ABCD-2345"}).status_code == 422


def code_of(member):
    answer = member.post("/crew/codes")
    assert answer.status_code == 200
    return re.search(r">([2-9A-Z]{4}-[2-9A-Z]{4})<", answer.text)[1]


def test_a_short_code_brings_another_browser_in_as_the_same_person(site):
    ines = somebody(site, "second", "Ines")
    code = code_of(ines)
    app = stranger(site)
    assert app.submit(app.get("/pair").form("/pair"), code=code.lower().replace("-", " ")).headers["location"] == "/"
    assert "Ines (you)" in app.get("/crew").text
    page = stranger(site).refused("/pair", code=code)
    assert "code" in page.refused


def test_whoever_is_at_the_demos_machine_has_no_codes(site):
    """There is no person whom another browser could be."""
    assert "Nobody has come in here" in site.refused("/crew/codes").text


def test_a_lead_sees_every_browser_and_ends_one(site):
    ines, lead = somebody(site, "second", "Ines"), somebody(site, "lead", "Tom")
    page = lead.get("/crew")
    assert page.text.count("last used just now") >= 2
    ended = [form for form in page.forms if form.to == "/crew/sessions/1/end"]
    assert len(ended) == 1
    lead.submit(ended[0])
    assert "Nothing is seen here" in ines.get("/", 401).text
    assert ines.post("/kits", name="A kit").status_code == 401


def test_others_see_who_is_there_and_end_only_their_own(site):
    tom, ines = somebody(site, "lead", "Tom"), somebody(site, "guest", "Ines")
    page = ines.get("/crew")
    assert "Tom lead" in page.text
    assert [form.to for form in page.forms if "sessions" in form.to] == ["/crew/sessions/2/end"]
    assert ines.post("/crew/sessions/1/end").status_code == 404
    assert tom.get("/crew")
    answer = ines.post("/crew/sessions/2/end")
    assert answer.headers["location"] == "/join"
    assert answer.headers["clear-site-data"] == '"cache", "storage"'
    assert ines.get("/", 401)


def test_leaving_ends_the_session_itself_not_only_the_cookie(site):
    ines = somebody(site, "second", "Ines")
    cookie = ines.client.cookies["lychgate"]
    answer = ines.post("/leave")
    assert answer.headers["clear-site-data"] == '"cache", "storage"'
    assert site.rows(tables.BrowserSession) == []
    kept = at_this_machine(site.client.app, client=("192.0.2.7", 1), cookies={"lychgate": cookie})
    assert kept.get("/").status_code == 401


def test_a_browser_holds_one_session(site):
    """Who comes in again, perhaps into another crew, leaves no session behind in the first."""
    ines = somebody(site, "second", "Ines")
    other = another_crew(site)
    lead = somebody(site, "lead", "Ada", other)
    _, secret = invited(lead, role="guest")
    assert "Joining ends that" in ines.post("/join/offer", link=secret).text
    ines.keep("/join", link=secret, name="Ines")
    assert len(site.rows(tables.BrowserSession)) == 2
    assert "The others" in ines.get("/crew").text


def test_a_new_session_has_a_new_secret(site):
    """One that somebody planted beforehand is worth nothing (session fixation)."""
    _, secret = invited(site)
    planted = at_this_machine(
        site.client.app, client=("192.0.2.7", 1), cookies={"lychgate": "planted"}, headers={"origin": HERE}
    )
    planted.post("/join", data={"link": secret, "name": "Ines"})
    assert planted.cookies.jar is not None
    assert (
        at_this_machine(site.client.app, client=("192.0.2.8", 1), cookies={"lychgate": "planted"}).get("/").status_code
        == 401
    )


COOKIES = ["x", "a" * 5000, "%ff%fe", '"quoted', "\x7f", "; ; =", "💍".encode().decode("latin-1")]


@pytest.mark.parametrize("cookie", COOKIES)
def test_a_forged_cookie_is_nobodys(site, cookie):
    answer = stranger(site).client.get("/", headers={"cookie": f"lychgate={cookie}".encode("latin-1")})
    assert answer.status_code == 401


def test_roles_change_and_people_go(site):
    ines = somebody(site, "second", "Ines")
    site.keep("/crew/people/1/role", role="guest")
    assert ines.post("/kits", name="A kit").status_code == 403
    assert "Guests read" in ines.post("/kits", name="A kit").text
    site.keep("/crew/people/1/end")
    assert ines.get("/", 401)
    assert site.rows(tables.Person) == []


def test_the_last_lead_is_told_why_they_stay(site):
    lead = somebody(site, "lead", "Tom")
    for path, fields in (("/crew/people/1/end", {}), ("/crew/people/1/role", {"role": "guest"})):
        assert "A crew needs a lead" in lead.refused(path, **fields).text


@pytest.mark.parametrize(
    ("fields", "wrong"),
    [
        ({"role": "admin"}, "role"), ({"role": ""}, "role"), ({"lasts": "ever"}, "lasts"), ({"uses": "0"}, "uses"),
        ({"uses": "51"}, "uses"), ({"uses": "many"}, "uses"), ({"name": "x" * 81}, "name"), ({"person": "x"}, "person"),
    ],
)  # fmt: skip
def test_an_invite_that_cannot_be_made_says_why(site, fields, wrong):
    page = site.refused("/crew/invites", **{"role": "guest", "lasts": "day", "uses": "1", "name": "", **fields})
    assert wrong in page.refused or wrong == "person"
    assert "Not kept yet" in page.text


def test_script_in_every_field_stays_words(site):
    script = "<script>alert(1)</script>"
    _, secret = invited(site, name=script)
    came = stranger(site)
    for page in (came.post("/join/offer", link=secret).text, came.post("/join/offer", link=script).text):
        assert script not in page
        assert "&lt;script&gt;" in page
    came.keep("/join", link=secret, name=script)
    assert script not in came.get("/crew").source


def test_robots_are_told_to_keep_out(site):
    answer = stranger(site).client.get("/robots.txt")
    assert answer.text == "User-agent: *\nDisallow: /\n"


def test_links_carry_the_name_that_people_reach_the_server_by(site):
    """Behind a proxy it is called by another name than its own."""
    state = site.client.app.state
    before = state.settings  # of an application that other tests start too
    state.settings = replace(before, address="https://light.example")
    try:
        assert invited(site)[0] == "https://light.example"
    finally:
        state.settings = before


@pytest.mark.parametrize(("host", "said"), [("localhost", True), ("192.0.2.1:8000", False)])
def test_a_link_that_leads_to_this_machine_alone_says_so(site, host, said):
    """A phone that scans it would look for the server on itself. 192.0.2.1 is TEST-NET-1, RFC 5737."""
    page = somebody(site).post("/crew/invites", headers={"host": host, "origin": f"http://{host}"}, role="guest")
    assert page.status_code == 200
    assert ("works on this machine alone" in page.text) is said
