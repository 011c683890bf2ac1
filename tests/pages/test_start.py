"""The first five minutes: everything for a first answer in one form, from an empty book."""

from __future__ import annotations

import pytest

from server.book import tables
from tests.conftest import somebody

FILLED = {
    "name": "Fete", "on": "2026-06-20", "venue": "Old mill", "time_zone": "Europe/London", "kit": "1",
    "place_1": "Lawn", "light_1": "sun", "ev_1": "15", "place_2": "Mill inside", "light_2": "lamps", "ev_2": "7",
}  # fmt: skip


def test_the_first_page_of_an_empty_book_is_the_form_and_leads_to_an_answer(site):
    form = site.get("/").form("/start")
    assert form["kit"].value == "1"
    answer = site.submit(form, **{name: value for name, value in FILLED.items() if name not in ("kit", "light_1")})
    assert answer.headers["location"] == "/days/1"
    page = site.get("/days/1")
    assert "Old mill: tap the place where you start" in page.text
    rows = list(page.rows())
    assert [row.split(" EV")[0] for row in rows] == ["Lawn", "Mill inside"]
    assert "f/" in rows[0]
    assert not any(form.to == "/start" for form in site.get("/").forms)


def test_a_place_without_a_reading_waits_for_one(site):
    site.keep("/start", **FILLED | {"ev_2": ""})
    assert [row for row in site.get("/days/1").rows() if "meter it" in row]
    assert len(site.rows(tables.Reading)) == 1


@pytest.mark.parametrize(
    ("wrong", "fields"),
    [
        ({"name": ""}, {"name"}), ({"venue": " "}, {"venue"}), ({"on": "soon"}, {"on"}), ({"time_zone": "Mars"}, {"time_zone"}),
        ({"kit": "9"}, {"kit"}), ({"kit": ""}, {"kit"}), ({"place_1": ""}, {"place_1"}), ({"ev_1": "bright"}, {"ev_1"}),
        ({"ev_2": "99"}, {"ev_2"}), ({"place_3": "", "light_3": "sun", "ev_3": "12"}, {"place_3"}), ({"light_2": "moon"}, {"light_2"}),
        ({"on": "1800-01-01"}, {"on"}),
    ],
)  # fmt: skip
def test_what_is_wrong_has_a_word_and_nothing_is_made(site, wrong, fields):
    page = site.refused("/start", **FILLED | wrong)
    if fields == {"kit"}:  # of several boxes none is wrong by itself
        assert "a kit of the list" in page.text or "a whole number" in page.text
    else:
        assert set(page.refused) == fields
    form = page.form("/start")
    assert form["place_2"].value == "Mill inside"


def test_a_guest_gets_no_form(site):
    site.keep("/start", **FILLED)
    guest = somebody(site, "guest")
    assert not guest.get("/").forms
    assert guest.client.get("/start").status_code == 403
