"""The day as one file: every pair of places, as the server answers it, with nothing that it would have to fetch."""

from __future__ import annotations

import gzip
import re

import pytest
from sqlalchemy import update

from server.book import tables
from tests.conftest import new_id, somebody
from tests.page import Page


def saved(site, day=1):
    answer = site.client.get(f"/days/{day}/pocket.html")
    assert answer.status_code == 200
    assert answer.headers["content-disposition"].startswith("attachment")
    return answer.text


def words(html):
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def froms(source):
    """For each place to stand at: its head, and what is said for every other place, by name."""
    found = {}
    for part in re.findall(r"<details.*?</details>", source, re.DOTALL):
        head = words(re.search(r"<summary>(.*?)</summary>", part, re.DOTALL)[1])
        if name := re.match(r"(?:You are at|From) (Place \d+)", head):
            rows = [words(each) for each in re.findall(r"<li>(.*?)</li>", part, re.DOTALL)]
            found[name[1]] = head, {row.partition(",")[0]: row for row in rows}
    return found


def test_every_pair_is_answered_as_the_server_does_from_there(site):
    """The same glass, the same iris, the same ISO that the day page has once the shooter stands there."""
    _, places = site.day_at(14.2, 6.1, 10.4, 8.7)
    told = froms(saved(site))
    assert list(told) == [f"Place {number}" for number in (1, 2, 3, 4)]
    start = site.get("/days/1").form("/days/1/undo")
    assert start["event"].value == ""
    for place in places:
        assert site.tap(1, place).status_code == 303
        page = site.get("/days/1").source
        head, rows = told[f"Place {place}"]
        rig = re.search(r"<p>([^<]+)<small>([^<]+)</small></p>", page)
        assert rig[1].replace(" · ", ", ") in head
        assert rig[2] in head
        others = [each for each in places if each != place]
        assert list(rows) == [f"Place {each}" for each in others]
        for other in others:
            row = re.search(rf'<li id="at-{other}".*?</li>', page, re.DOTALL)[0]
            glass = re.search(r'class="glass[^"]*">([^<]+)<', row)[1]
            assert glass in rows[f"Place {other}"], (place, other)
            assert re.search(r"(?:to|stay at) (f/[\d.]+)", words(row))[1] in rows[f"Place {other}"]
            assert re.search(r"ISO \d+", words(row))[0] in rows[f"Place {other}"]
        undo = site.get("/days/1").form("/days/1/undo")
        site.submit(undo)


def test_where_the_shooter_stands_comes_first_with_what_is_really_on(site):
    site.day_at(14.2, 6.1)
    site.tap(1, 2)
    source = saved(site)
    assert next(iter(froms(source))) == "Place 2"
    assert "You are at Place 2" in words(source)


def test_it_fetches_nothing_runs_nothing_and_names_nobody(demo):
    lead = somebody(demo, "lead", "Ines of the long name")
    lead.keep("/days/1/clips", event_id=new_id(), name="C0042")
    with lead.client.app.state.book.writing() as session:
        # The demo's own, which go with the hour, may be a round figure that a colour has in it.
        session.execute(update(tables.Venue).values(latitude=-45.0417, longitude=168.6623))
        session.execute(update(tables.Day).values(stamp=tables.new_stamp()))
    source = saved(lead)
    for word in ("<script", "src=", "href=", "url(", "@import", "http:", "https:", "Ines", "C0042", "shooter"):
        assert word not in source, word
    venue = lead.rows(tables.Venue)[0]
    for figure in (venue.latitude, venue.longitude):
        assert f"{figure:g}" not in source


def test_twelve_places_are_small_enough_for_any_messenger(site):
    site.day_at(*(3 + number for number in range(12)), plates=(0.3, 0.6, 0.9, 1.2), slots=3)
    source = saved(site).encode()
    assert len(froms(source.decode())) == 12
    assert len(source) < 100_000
    assert len(gzip.compress(source)) < 12_000


def test_places_without_a_reading_are_told_and_a_day_without_any_too(site):
    site.day_at(14.2, None)
    assert "No reading yet: meter it" in saved(site)
    page = Page(saved(site))
    assert "From Place 1" in page.text
    assert "From Place 2" not in page.text


def test_a_day_of_which_nothing_was_read_says_so(site):
    site.day_at(None)
    assert "there is no answer to take along" in saved(site)


def test_a_guest_may_take_it_along(demo):
    assert "You are at Orchard" in words(saved(somebody(demo, "guest")))


@pytest.mark.parametrize("script", ["<script>alert(1)</script>"])
def test_what_was_typed_stays_words(site, script):
    day, _ = site.day_at(14.2)
    site.keep("/venues/1", name=script, time_zone="Europe/London")
    assert script not in saved(site, day)
    assert "&lt;script&gt;" in saved(site, day)
