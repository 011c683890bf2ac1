"""Through the door in one take: the page says what the engine has found, for the light and looks of the day."""

from __future__ import annotations

import re

import pytest

from tests.pages.test_plan import lamps_day


def test_from_where_the_shooter_stands_to_the_next_place(site):
    site.day_at(10.63, 8.64)
    site.tap(1, 1)
    link = next(link for link in site.get("/days/1").links if "/take" in link)
    assert link == "/days/1/take?start=1&end=2"
    page = site.get(link)
    assert "Ride the iris" in page.text
    assert "one every" in page.text


def test_six_clicks_of_the_iris_are_two_stops(site):
    """
    Common practice, no source: two stops of light are six clicks of a third-stop dial. EV 10.64 is f/5.6 at 1/50 and
    ISO 100 without glass, EV 8.64 is f/2.8; looks that hold both.
    """
    lamps_day(site, 10.64, 8.64, plates=(), slots=0)
    form = site.get("/days/1/setup").form("/days/1/setup")
    site.submit(form, narrowest_1="8", narrowest_2="8", wanted_1="5.6")
    text = site.get("/days/1/take?start=1&end=2&seconds=6").text
    assert re.search(r"Open 6 clicks while you walk, f/5.6 to f/2.8: one every 1 s over 6 s", text)


def test_an_end_that_the_iris_cannot_reach_says_how_far_off_it_is(site):
    """From EV 15 into EV 4: eleven stops; the lens has six and a half, the ISO six, and no glass may be touched."""
    lamps_day(site, 15, 2, plates=(), slots=0)
    text = site.get("/days/1/take?start=1&end=2").text
    assert re.search(r"The (start|end) stays [\d⅓⅔]+ stops? too (bright|dark)", text)


@pytest.mark.parametrize("seconds", ["0", "-3", "long", "1e9", ""])
def test_a_walk_that_is_none_is_refused_beside_its_field(site, seconds):
    lamps_day(site, 10, 8)
    page = site.get(f"/days/1/take?start=1&end=2&seconds={seconds}", status=422)
    assert set(page.refused) == {"seconds"}
    assert "Ride the" not in page.text, "an answer to another question"


@pytest.mark.parametrize("query", ["", "?start=99&end=98", "?start=1&end=1", "?start=one"])
def test_places_that_are_none_of_the_day_s_give_way_to_some_that_are(site, query):
    lamps_day(site, 10, 8)
    answer = site.client.get(f"/days/1/take{query}")
    assert answer.status_code == (422 if "one" in query else 200)
    assert ("Ride the" in answer.text) == (answer.status_code == 200)


def test_a_day_with_one_reading_says_what_it_takes(site):
    lamps_day(site, 10, None)
    assert "It takes two places with a reading" in site.get("/days/1/take").text


def test_looks_that_wear_different_glass_cannot_be_taken_in_one(site):
    lamps_day(site, 10, 8)
    site.keep("/kits/1/filters", name="Pola", kind="polariser", mount="thread", thread="77", engraved="1⅓ stops")
    form = site.get("/days/1/setup").form("/days/1/setup")
    site.submit(form, worn_1="3")
    assert "do not wear the same glass" in site.get("/days/1/take?start=1&end=2").alerts[0]
