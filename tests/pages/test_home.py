"""The first page: everything that the crew has, and the way to make more."""

from __future__ import annotations

import re


def test_an_empty_book_says_what_comes_first(site):
    page = site.get("/")
    assert "What do you film?" in page.text
    assert {"/venues/new", "/kits/new"} <= set(page.links)


def test_days_venues_and_kits_are_a_tap_away(site):
    venue, kit = site.venue(), site.kit(plates=(0.6,))
    site.place(venue, "Loft")
    day = site.day(venue, kit, on="2026-06-20")
    page = site.get("/")
    assert {f"/venues/{venue}", f"/kits/{kit}", f"/days/{day}"} <= set(page.links)
    assert "Old mill 1 place " in page.text
    assert "Main kit 1 filter " in page.text
    assert "The wedding Old mill, 20 Jun 2026" in page.text


def test_the_newest_day_comes_first(site):
    """By its date, and of one date the one made last."""
    venue, kit = site.venue(), site.kit()
    for name, on in (
        ("June", "2026-06-20"),
        ("July", "2026-07-01"),
        ("May", "2026-05-01"),
        ("June again", "2026-06-20"),
    ):
        site.day(venue, kit, name, on)
    names = re.findall(r"<b>([^<]+)</b>", site.get("/").source)
    assert names == ["July", "June again", "June", "May"]


def test_the_caution_about_the_sun_is_on_it(site):
    """The design asks for it once, where it matters: a filter is no eye protection."""
    text = site.get("/").text
    assert "Never look at the sun" in text
    assert "ISO 12312-2" in text


def test_every_link_of_every_page_of_the_demo_leads_somewhere(demo):
    """Followed like a visitor would, from the first page on."""
    waiting, seen = ["/"], set()
    while waiting:
        path = waiting.pop()
        if path in seen or not path.startswith("/"):
            continue
        seen.add(path)
        answer = demo.client.get(path)
        assert answer.status_code == 200, path
        if answer.headers["content-type"].startswith("text/html"):
            waiting += [link.partition("#")[0] for link in re.findall(r'(?:href|src)="([^"]+)"', answer.text)]
    assert {"/days/1", "/days/1/setup", "/days/1/rig", "/venues/1", "/kits/1", "/api"} <= seen
    assert {path.partition("?")[0] for path in seen} >= {"/static/lychgate.css", "/static/page.js", "/static/day.js"}


def test_no_page_needs_another_host(demo):
    """No signal, no third party: nothing is fetched from anywhere else. A geo: link opens the phone's own map."""
    for path in ("/", "/days/1", "/venues/1", "/kits/1", "/days/1/setup", "/api"):
        assert re.findall(r'(?:href|src|action)="(?!/|#|geo:)[^"]*"', demo.get(path).source) == []


def test_looking_changes_nothing(demo):
    before = demo.book()
    for path in ("/", "/days/1", "/days/1/setup", "/days/1/rig", "/days/1/places/1/reading", "/venues/1", "/kits/1"):
        demo.get(path)
    assert demo.book() == before


def test_an_address_with_nothing_at_it_is_a_page_that_leads_home(site):
    for path in ("/nowhere", "/venues", "/days/1/nowhere", "/%ff", "/..%2f..%2fetc%2fpasswd"):
        page = site.get(path, 404 if path != "/venues" else 405)
        assert "/" in page.links


def test_static_files_end_at_their_folder(site):
    """The database and the sources are nobody's to fetch."""
    for path in ("/static/../server/app.py", "/static/%2e%2e/server/app.py", "/static/..%2fserver/app.py",
                 "/static//etc/passwd", "/static/", "/static/%00"):  # fmt: skip
        answer = site.client.get(path)
        assert answer.status_code in (404, 405), path
        assert "create_app" not in answer.text
