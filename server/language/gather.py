"""
Gather the messages of the code, the templates and the scripts into the catalogues, what is translated stays:

    python -m server.language.gather

A message that is new comes without its translation, and one that is gone goes. tests/test_language.py asks for both.
"""

from __future__ import annotations

import re
from ast import literal_eval
from typing import IO, TYPE_CHECKING

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from server.language import FOLDER, LANGUAGES
from server.settings import CHECKOUT

if TYPE_CHECKING:
    from collections.abc import Iterator

KEYWORDS = {
    "say": None,
    "say_many": (1, 2),
    "sayMany": (1, 2),
    "say_as": ((1, "c"), 2),
    "sayAs": ((1, "c"), 2),
    "noted": None,
}
WIDTH = 116
_TEXT = r"""(?:"(?:[^"\\]|\\.)*"|'(?:[^'\\]|\\.)*')"""
SAID = re.compile(rf"\b(?P<by>say|sayMany|sayAs)\(\s*(?P<one>{_TEXT})(?:,\s*(?P<two>{_TEXT}))?")
HEADER = """msgid ""
msgstr ""
"Content-Type: text/plain; charset=utf-8\\n"
"Language: {language}\\n"
"Plural-Forms: {plurals}\\n"

"""


def gathered() -> Catalog:
    """Every message, with the files that it is said in."""
    found = Catalog(fuzzy=False)
    methods = [
        ("server/**.py", "python"),
        ("templates/**.html", "jinja2.ext:babel_extract"),
        ("static/**.js", "server.language.gather:said_in_script"),
    ]
    options = {
        "templates/**.html": {"trimmed": "true", "trim_blocks": "true", "lstrip_blocks": "true"},
    }
    for path, _line, ids, comments, context in extract_from_dir(
        CHECKOUT, methods, options, KEYWORDS, comment_tags=("To translate:",), directory_filter=_is_ours
    ):  # fmt: skip
        # No numbers of lines: every change of the code would be one of the catalogue.
        found.add(ids, None, [(path, 0)], auto_comments=comments, context=context)
    return found


def said_in_script(
    file: IO[bytes], *_of_babel: object, **_named: object
) -> Iterator[tuple[int, str, str | tuple[str, ...], list[str]]]:
    """The messages of a script. Babel's own reader passes over what stands inside a template string, or a call."""
    for found in SAID.finditer(file.read().decode()):
        # A text of a script, with its quotes and escapes, is one of Python's too.
        texts = tuple(literal_eval(text) for text in (found["one"], found["two"]) if text is not None)
        yield 0, found["by"], texts if len(texts) > 1 else texts[0], []


def _is_ours(path: object) -> bool:
    return str(path).rsplit("/", 1)[-1] not in ("__pycache__", "migrations", ".cache", ".venv", ".git", "tests", "data")


def merged(language: str) -> Catalog:
    """The catalogue of a language with the messages as they are now."""
    with (FOLDER / f"{language}.po").open("rb") as file:
        catalogue = read_po(file, locale=language)
    catalogue.update(gathered(), no_fuzzy_matching=True)
    catalogue.obsolete.clear()
    return catalogue


def main() -> None:
    """Write them."""
    for language in LANGUAGES:
        if language != "en":
            catalogue = merged(language)
            with (FOLDER / f"{language}.po").open("wb") as file:
                # The usual header holds dates and the tool's version: it would differ each time.
                file.write(HEADER.format(language=language, plurals=catalogue.plural_forms).encode())
                write_po(file, catalogue, width=WIDTH, sort_output=True, include_lineno=False, omit_header=True)


if __name__ == "__main__":
    main()
