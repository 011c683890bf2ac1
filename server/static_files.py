"""
The files that every page shares, each by an address that changes with what is in it.

An address with its digest may be kept for ever, by the browser and by the phone's own copy (`static/worker.js`), and a
page always gets the scripts that it was drawn for.
"""

from __future__ import annotations

import hashlib
import json
from functools import cache
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from fastapi.responses import Response
from fastapi.staticfiles import StaticFiles

from server.language import LANGUAGES, Manner, said_by_scripts, say, speaking
from server.settings import CHECKOUT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.types import Scope

FOLDER = CHECKOUT / "static"
# Scripts that always go together, in one file: a phone with little signal pays for every request.
BUNDLES: Mapping[str, tuple[str, ...]] = {
    "page.js": ("say.js", "outbox.js", "taps.js", "live.js", "phone.js"),
    "day.js": ("pocket.js", "away.js", "awake.js"),
}
WORDS: Mapping[str, str] = {f"words-{language}.js": language for language in LANGUAGES if language != "en"}
FOR_EVER = "public, max-age=31536000, immutable"
ON_THE_PHONE = (
    "lychgate.css", "htmx-4.0.1.min.js", "page.js", "day.js", "order.js", "icon.svg", "icon-192.png", "icon-512.png",
    *WORDS,
)  # fmt: skip


@cache
def content(name: str) -> bytes:
    """A file, the files of a bundle one after another, or what the scripts say in another language."""
    if name in WORDS:
        return f"globalThis.WORDS = {json.dumps(said_by_scripts(WORDS[name]), ensure_ascii=False)};\n".encode()
    return b"".join((FOLDER / part).read_bytes() for part in BUNDLES.get(name, (name,)))


@cache
def static(name: str) -> str:
    """The address of a file."""
    return f"/static/{name}?v={_digest(content(name))}"


def _digest(data: bytes) -> str:
    return hashlib.blake2s(data, digest_size=6).hexdigest()


@cache
def version() -> str:
    """A short word for what a page's scripts and its look are."""
    return _digest("".join(static(name) for name in ON_THE_PHONE).encode())


@cache
def worker() -> str:
    """The service worker, with what it is to keep."""
    files = json.dumps([static(name) for name in ON_THE_PHONE])
    words = json.dumps({language: nowhere_words(language) for language in LANGUAGES}, ensure_ascii=False)
    known = f'const VERSION = "{version()}";\nconst FILES = {files};\nconst WORDS = {words};\n'
    return f"{known}{content('worker.js').decode()}"


def nowhere_words(language: str) -> list[str]:
    """The language, and what the worker says in it of a page that it has not."""
    with speaking(Manner(language)):
        return [
            language,
            say("No signal"),
            say("No signal, and not on this phone"),
            say(
                "The server does not answer, and this page was not opened here before. What was opened is under "
                '<a href="/">Lychgate</a>.'
            ),
        ]


class Files(StaticFiles):
    """The folder, with the bundles in it."""

    def __init__(self) -> None:
        super().__init__(directory=FOLDER)

    async def get_response(self, path: str, scope: Scope) -> Response:
        """A file; one that was asked for by its digest may be kept for ever."""
        if path in BUNDLES or path in WORDS:
            response = Response(content(path), media_type="text/javascript")
        else:
            response = await super().get_response(path, scope)
        asked = parse_qs(scope["query_string"].decode("latin-1")).get("v")
        if asked and response.status_code == 200 and static(path).endswith(f"?v={asked[0]}"):
            response.headers["cache-control"] = FOR_EVER
        return response
