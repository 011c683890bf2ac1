"""
Gather the messages of the code, the templates and the scripts into the catalogues, what is translated stays:

    python -m server.language.gather

A message that is new comes without its translation, and one that is gone goes. tests/test_language.py asks for both.
"""

from __future__ import annotations

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from server.language import FOLDER, LANGUAGES
from server.settings import CHECKOUT

KEYWORDS = {
    "say": None,
    "say_many": (1, 2),
    "sayMany": (1, 2),
    "say_as": ((1, "c"), 2),
    "sayAs": ((1, "c"), 2),
    "noted": None,
}
WIDTH = 116
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
        ("static/**.js", "javascript"),
    ]
    options = {
        "templates/**.html": {"trimmed": "true", "trim_blocks": "true", "lstrip_blocks": "true"},
        "static/**.js": {"template_string": "true"},
    }
    for path, _line, ids, comments, context in extract_from_dir(
        CHECKOUT, methods, options, KEYWORDS, comment_tags=("To translate:",), directory_filter=_is_ours
    ):  # fmt: skip
        # No numbers of lines: every change of the code would be one of the catalogue.
        found.add(ids, None, [(path, 0)], auto_comments=comments, context=context)
    return found


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
