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

from server.settings import CHECKOUT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.types import Scope

FOLDER = CHECKOUT / "static"
# Scripts that always go together, in one file: a phone with little signal pays for every request.
BUNDLES: Mapping[str, tuple[str, ...]] = {
    "page.js": ("outbox.js", "taps.js", "live.js", "phone.js"),
    "day.js": ("pocket.js", "away.js", "awake.js"),
}
FOR_EVER = "public, max-age=31536000, immutable"
ON_THE_PHONE = (
    "lychgate.css", "htmx-4.0.1.min.js", "page.js", "day.js", "order.js", "icon.svg", "icon-192.png", "icon-512.png",
)  # fmt: skip


@cache
def content(name: str) -> bytes:
    """A file, or the files of a bundle one after another."""
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
    return f'const VERSION = "{version()}";\nconst FILES = {files};\n{content("worker.js").decode()}'


class Files(StaticFiles):
    """The folder, with the bundles in it."""

    def __init__(self) -> None:
        super().__init__(directory=FOLDER)

    async def get_response(self, path: str, scope: Scope) -> Response:
        """A file; one that was asked for by its digest may be kept for ever."""
        if path in BUNDLES:
            response = Response(content(path), media_type="text/javascript")
        else:
            response = await super().get_response(path, scope)
        asked = parse_qs(scope["query_string"].decode("latin-1")).get("v")
        if asked and response.status_code == 200 and static(path).endswith(f"?v={asked[0]}"):
            response.headers["cache-control"] = FOR_EVER
        return response
