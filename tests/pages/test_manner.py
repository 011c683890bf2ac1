"""How a browser is spoken to: its own choice first, else the language it asks for (RFC 9110, 12.5.4)."""

from __future__ import annotations

import pytest

from tests.conftest import stranger


def heading(site, path="/manner"):
    source = site.get(path).source
    return source.partition("<h1>")[2].partition("</h1>")[0]


@pytest.fixture
def german(site):
    site.client.headers["accept-language"] = "de-CH, de;q=0.8"
    return site


def test_the_language_is_the_browsers(german):
    page = german.get("/manner")
    assert '<html lang="de">' in page.source
    assert heading(german) == "Sprache und Einheiten"


def test_what_was_chosen_counts_for_more(german):
    form = german.get("/manner").form("/manner")
    assert (form["language"].value, form["lengths"].value, form["hours"].value) == ("de", "metres", "24")
    german.submit(form, language="en", lengths="feet", hours="12")
    form = german.get("/manner").form("/manner")
    assert (form["language"].value, form["lengths"].value, form["hours"].value) == ("en", "feet", "12")
    assert heading(german) == "Language and units"


def test_it_is_one_browsers_alone(german):
    german.submit(german.get("/manner").form("/manner"), language="en")
    assert heading(stranger(german)) == "Language and units"  # that asks for no language
    other = stranger(german)
    other.client.headers["accept-language"] = "de"
    assert heading(other) == "Sprache und Einheiten"


def test_an_unknown_choice_has_a_word_beside_it(site):
    page = site.refused("/manner", language="xx", lengths="ells", hours="13")
    assert set(page.refused) == {"language", "lengths", "hours"}


@pytest.mark.parametrize("cookie", ["", "xx", "xx.feet", "....", "de.twelve.more", "\x7f;=", "de" * 4000])
def test_a_cookie_of_somebody_elses_making_breaks_nothing(site, cookie):
    site.client.cookies.set("manner", cookie)
    assert site.client.get("/manner").status_code == 200


def test_machines_are_answered_in_the_words_of_the_document(german):
    answer = german.client.post("/api/readings", json={"kind": "lux", "value": -1})
    assert "allowed is" in answer.json()["detail"]
