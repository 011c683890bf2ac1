"""Two people at one thing: neither loses words, and nobody is asked who has nothing to lose."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.book import tables
from server.pages.seen import seen_of
from tests.conftest import somebody
from tests.page import Page

# Where a thing is changed: the page, what its form is sent to, a field of it, what one and the other type there.
FORMS = {
    "venue": ("/venues/1", "/venues/1", "name", "Old priory", "New priory"),
    "place": ("/venues/1", "/venues/1/places/1", "name", "Long orchard", "Small orchard"),
    "kit": ("/kits/1", "/kits/1", "name", "Left bag", "Right bag"),
    "rings": ("/kits/1", "/kits/1/rings", "step_ups", "77-82", "82-105"),
    "hands": ("/kits/1", "/kits/1/hands", "pull", "7", "8"),
    "body": ("/kits/1", "/kits/1/bodies/1", "name", "Body A", "Body B"),
    "lens": ("/kits/1", "/kits/1/lenses/1", "focal_mm", "36", "37"),
    "holder": ("/kits/1", "/kits/1/holders/1", "slots", "3", "1"),
    "filter": ("/kits/1", "/kits/1/filters/1", "name", "First plate", "Plate one"),
    "set-up": ("/days/1/setup", "/days/1/setup", "name", "The long day", "The short day"),
}


@pytest.fixture
def two(demo):
    return somebody(demo, "lead", "Ines"), somebody(demo, "second", "Cem")


@pytest.mark.parametrize(("page", "to", "field", "hers", "his"), FORMS.values(), ids=FORMS)
def test_who_keeps_second_is_asked_and_loses_nothing(two, page, to, field, hers, his):
    """What he typed is still there, hers stands beside it; kept once more, his stands."""
    ines, cem = two
    first, second = ines.get(page).form(to), cem.get(page).form(to)
    ines.submit(first, **{field: hers})
    kept = ines.book()
    asked = cem.submit(second, status=409, **{field: his})
    assert cem.book() == kept, "nothing of his is kept before he says so"
    again = Page(asked.text)
    assert any("Somebody else changed this" in alert for alert in again.alerts)
    assert again.form(to)[field].value == his
    assert f"Now: {hers}" in again.text
    cem.submit(again.form(to))
    assert cem.get(page).form(to)[field].value == his


@pytest.mark.parametrize(("page", "to", "field", "hers", "his"), FORMS.values(), ids=FORMS)
def test_who_keeps_alone_is_not_asked(two, page, to, field, hers, his):
    ines, _ = two
    ines.submit(ines.get(page).form(to), **{field: hers})
    ines.submit(ines.get(page).form(to), **{field: his})
    assert ines.get(page).form(to)[field].value == his


def test_another_form_of_the_same_thing_is_no_change(two):
    """One renames the kit while the other types seconds: neither can lose anything."""
    ines, cem = two
    seconds = cem.get("/kits/1").form("/kits/1/hands")
    ines.submit(ines.get("/kits/1").form("/kits/1"), name="Left bag")
    cem.submit(seconds, pull="9")
    assert cem.get("/kits/1").form("/kits/1/hands")["pull"].value == "9"


def test_what_was_changed_meanwhile_is_not_taken_out_unseen(two):
    ines, cem = two
    taking_out = cem.get("/kits/1").form("/kits/1/filters/1/removal")
    ines.submit(ines.get("/kits/1").form("/kits/1/filters/1"), name="Rewired plate")
    assert "Somebody else changed this" in cem.submit(taking_out, status=409).text
    assert any(row.name == "Rewired plate" for row in cem.rows(tables.Filter))
    cem.submit(cem.get("/kits/1").form("/kits/1/filters/1/removal"))
    assert not any(row.name == "Rewired plate" for row in cem.rows(tables.Filter))


def test_words_for_a_thing_that_went_meanwhile_are_shown(two):
    """A plain word, and what was typed, to be copied."""
    ines, cem = two
    form = cem.get("/kits/1").form("/kits/1/filters/1")
    ines.submit(ines.get("/kits/1").form("/kits/1/filters/1/removal"))
    answer = cem.submit(form, status=404, name="Plate <b>of</b> mine")
    assert "What you typed, to take along" in answer.text
    assert "Plate &lt;b&gt;of&lt;/b&gt; mine" in answer.text
    assert form["seen"].value not in answer.text


def test_a_program_that_says_nothing_of_what_it_saw_is_believed(two):
    ines, _ = two
    ines.keep("/kits/1", name="By a program")


@given(a=st.text(max_size=20), b=st.text(max_size=20), c=st.floats(allow_nan=False), d=st.floats(allow_nan=False))
def test_a_digest_is_another_for_other_figures(a, b, c, d):
    one, other = (tables.Lens(name=name, widest=widest) for name, widest in ((a, c), (b, d)))
    assert (seen_of(one) == seen_of(other)) == ((a, c) == (b, d) and str(c) == str(d))
