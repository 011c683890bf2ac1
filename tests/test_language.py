"""The catalogues: complete, true to their messages, and heard on the pages."""

from __future__ import annotations

import re
from collections import Counter
from string import Formatter

import pytest
from babel.messages.pofile import read_po

from server.language import FOLDER, LANGUAGES, Manner, said_by_scripts, say_many, speaking
from server.language.gather import gathered
from server.settings import CHECKOUT

STATIC = CHECKOUT / "static"
OTHERS = [language for language in LANGUAGES if language != "en"]


def catalogue_of(language):
    with (FOLDER / f"{language}.po").open("rb") as file:
        return read_po(file, locale=language)


def pairs_in(catalogue):
    """Every message with every translation of it, the one with the other."""
    for message in catalogue:
        if message.id and message.pluralizable:
            yield from zip(message.id, message.string, strict=True)
        elif message.id:
            yield message.id, message.string


def fields_in(text):
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def tags_in(text):
    return Counter(re.findall(r"</?\w+", text))


@pytest.mark.parametrize("language", OTHERS)
class TestCatalogue:
    def test_has_every_message_of_the_code_and_no_other(self, language):
        known = {(message.id, message.context) for message in catalogue_of(language) if message.id}
        said = {(message.id, message.context) for message in gathered() if message.id}
        assert (said - known, known - said) == (set(), set()), "python -m server.language.gather"

    def test_has_a_word_for_every_message(self, language):
        assert [message for message, translated in pairs_in(catalogue_of(language)) if not translated] == []

    def test_puts_the_same_values_in(self, language):
        # A form for one may say "ein" in place of the figure.
        wrong = [
            (message, translated)
            for message, translated in pairs_in(catalogue_of(language))
            if fields_in(message) - {"count"} != fields_in(translated) - {"count"}
        ]
        assert wrong == []

    def test_keeps_the_marks_of_html(self, language):
        wrong = [
            (message, translated)
            for message, translated in pairs_in(catalogue_of(language))
            if tags_in(message) != tags_in(translated)
        ]
        assert wrong == []

    def test_ends_a_sentence_where_the_message_does(self, language):
        wrong = [
            (message, translated)
            for message, translated in pairs_in(catalogue_of(language))
            if message.endswith((".", "?", ":")) != translated.endswith((".", "?", ":"))
        ]
        assert wrong == []


def test_several_are_said_as_several():
    with speaking(Manner("de")):
        assert [say_many("{count} place", "{count} places", count) for count in (0, 1, 2)] == [
            "0 Orte",
            "1 Ort",
            "2 Orte",
        ]


LINE = 56  # letters of a phone's line of 358 px, narrow ones among them


@pytest.mark.parametrize(("language", "side"), [("de", 0), ("de", 1)], ids=["English", "German"])
def test_a_sentence_is_no_longer_than_two_lines_of_a_phone(language, side):
    long = [
        sentence
        for pair in pairs_in(catalogue_of(language))
        if pair[side].endswith(".")
        for sentence in re.split(r"(?<=[.?!])\s+", re.sub(r"<[^>]+>", "", pair[side]))
        if len(sentence) > 2 * LINE
    ]
    assert long == []


def test_the_scripts_have_all_that_they_say_in_a_certain_meaning():
    words = said_by_scripts("de")
    assert {key.partition("\x04")[2] for key in words if "\x04" in key} == {"Meter", "Next"}


@pytest.mark.parametrize("script", sorted(STATIC.glob("*.js")), ids=lambda path: path.name)
def test_every_message_of_a_script_is_written_where_it_is_said_and_sent_with_it(script):
    """Read by hand, from each call to the quote that ends its first text: neither templates nor calls hide one."""
    sent = {part for key in said_by_scripts("de") for part in key.split("\x04")}
    unsent = []
    for call in re.split(r"\bsay(?:Many|As)?\(", script.read_text())[1:]:
        text = call.lstrip()
        assert text[0] in "\"'", f"a message stands in its call: say({text[:60]}"
        message = text[1:].split(text[0])[0].replace("\\u201c", "“").replace("\\u201d", "”")
        if message not in sent:
            unsent.append(message)
    assert unsent == []
