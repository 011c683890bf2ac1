"""The about page: cautions, sources, licence, for everybody."""

from __future__ import annotations

from server.settings import CHECKOUT
from tests.conftest import stranger


def test_it_says_its_cautions_to_everybody(site):
    text = stranger(site).get("/about").text
    assert "ISO 12312-2" in text
    assert "never" in text.lower()


def test_every_source_that_it_names_is_named_where_its_formula_stands(site):
    engine = "".join(path.read_text(encoding="utf-8") for path in (CHECKOUT / "server/exposure").glob("*.py"))
    source = site.get("/about").source
    named = [part.partition("</dd>")[0] for part in source.split("<dd>")[1:]]
    assert len(named) > 5
    for each in named:
        first = each.partition(" (")[0].partition(";")[0].partition(",")[0].partition(":")[0]
        assert first in engine, each


def test_the_licence_is_there_word_for_word(site):
    answer = stranger(site).client.get("/licence.txt")
    assert answer.text == (CHECKOUT / "LICENSE").read_text(encoding="utf-8")
    assert answer.headers["content-type"].startswith("text/plain")
