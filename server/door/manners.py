"""
How a visitor is spoken to: what this browser was told to keep, else the language that it asks for.

Kept in a cookie and not with the person: a phone that is handed over, or a sheet that is read without an account, has
a language too.
"""

from __future__ import annotations

from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING

from babel import negotiate_locale
from starlette.datastructures import Headers

from server.language import LANGUAGES, Manner

from .visitor import is_secure

if TYPE_CHECKING:
    from fastapi import Request, Response
    from starlette.types import Scope

COOKIE = "manner"
LASTS = 400 * 86_400  # s, the most that browsers hold a cookie for
LISTED_MOST = 20  # languages of a browser that are looked at


def manner_of(scope: Scope) -> Manner:
    """How this request wants to be spoken to."""
    headers = Headers(scope=scope)
    kept = _kept(headers.get("cookie", ""))
    language = kept[0] if kept and kept[0] in LANGUAGES else _asked(headers.get("accept-language", ""))
    return Manner(language, "feet" in kept, "twelve" in kept)


def keep(request: Request, response: Response, chosen: Manner) -> None:
    """Have the browser remember."""
    words = [chosen.language, *(["feet"] if chosen.feet else []), *(["twelve"] if chosen.twelve else [])]
    response.set_cookie(
        COOKIE, ".".join(words), max_age=LASTS, path="/", httponly=True, samesite="lax",
        secure=is_secure(request.scope, request.app.state.settings),
    )  # fmt: skip


def _kept(header: str) -> list[str]:
    cookies: SimpleCookie = SimpleCookie()
    try:
        cookies.load(header)
    except CookieError:
        return []
    found = cookies.get(COOKIE)
    return [] if found is None else found.value.split(".")


def _asked(header: str) -> str:
    """
    The best of our languages for an Accept-Language header (RFC 9110, 12.5.4); English where there is none.

    >>> [_asked(header) for header in ("de-AT,de;q=0.9,en;q=0.5", "en;q=0.5,de;q=0.4", "fr", "de;q=0, en", "de;q=x")]
    ['de', 'en', 'en', 'en', 'en']
    """
    wanted: list[tuple[float, int, str]] = []
    for part in header.split(",")[:LISTED_MOST]:
        name, _, quality = part.partition(";")
        try:
            weight = float(quality.strip().removeprefix("q=") or 1)
        except ValueError:
            continue
        if weight > 0:
            wanted.append((-weight, len(wanted), name.strip()))
    names = [name for _, _, name in sorted(wanted)]
    return negotiate_locale(names, list(LANGUAGES), sep="-") or "en"
