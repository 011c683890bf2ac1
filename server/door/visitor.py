"""
Who is asking: the session that a cookie names, or, where the demo is open on its own machine, its lead.

A session is a secret in a cookie that scripts cannot read and other sites cannot send along; only its hash is in the
book (`book.invites`). It is looked up on every request, so that ending it holds at once.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING, Annotated, TypeVar

from fastapi import Depends, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers

from server.book.crews import only_crew
from server.book.invites import SESSION_LASTS, USED_EVERY, Admitted, admitted, used_again
from server.book.people import AT_THE_MACHINE, Member
from server.book.store import Book
from server.book.trouble import OF_THE_DATABASE
from server.settings import LOOPBACK, Settings

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.orm import Session
    from starlette.responses import Response
    from starlette.types import Scope

Found = TypeVar("Found")

COOKIE = "lychgate"
COOKIE_SECURE = "__Host-lychgate"  # the prefix makes browsers hold it to https, this host and every path
TOKEN_LONGEST = 100
_VISITOR = "lychgate.visitor"
_FORWARDED = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")


@dataclass(frozen=True, slots=True)
class Visitor(Member):
    """
    Somebody of a crew, with the session that let them in.

    session  its number; None: whoever opens the demo on its own machine
    """

    crew_name: str = ""
    session: int | None = None


async def let_in(scope: Scope) -> Visitor | None:
    """Find out who asks, and note it for the rest of the request; None for a stranger."""
    visitor = await _visitor_of(scope)
    scope[_VISITOR] = visitor
    return visitor


def visitor_in(scope: Scope) -> Visitor | None:
    """Who was found to ask."""
    visitor: Visitor | None = scope.get(_VISITOR)
    return visitor


def let_out(scope: Scope) -> None:
    """Whoever asks is nobody from here on: what is drawn for them is a stranger's."""
    scope[_VISITOR] = None


async def still_admitted(request: Request) -> bool:
    """Whether the one who asked is still somebody, and the same: for answers that take long."""
    before = visitor_in(request.scope)
    now = await _visitor_of(request.scope)
    return before is not None and now == before


def visitor_of(found: Admitted) -> Visitor:
    """The visitor whose session it is."""
    return Visitor(found.crew, found.name, found.role, found.person, found.crew_name, found.session)


async def _visitor_of(scope: Scope) -> Visitor | None:
    app = scope["app"]
    settings: Settings = app.state.settings
    book: Book = app.state.book
    token = _token(scope, settings)
    if token is not None:
        now = datetime.now(UTC)
        found = await asked(book, lambda session: admitted(session, token, now))
        if found is not None:
            if now - found.used_at >= USED_EVERY:
                await run_in_threadpool(_keep_use, book, found, now)
            return visitor_of(found)
    if settings.open_here and _from_here(scope):
        crew = await asked(book, only_crew)
        return None if crew is None else Visitor(crew[0], AT_THE_MACHINE, crew_name=crew[1])
    return None


async def asked(book: Book, question: Callable[[Session], Found]) -> Found:
    """An answer out of the book. One in a file is there sooner than a thread to ask it in would be."""

    def ask() -> Found:
        with book.asking() as session:
            return question(session)

    return ask() if book.is_a_file else await run_in_threadpool(ask)


def _keep_use(book: Book, found: Admitted, now: datetime) -> None:
    # A full disk must not keep anybody from reading.
    with suppress(*OF_THE_DATABASE), book.writing(found.crew) as writing:
        used_again(writing, found.session, now)


def _from_here(scope: Scope) -> bool:
    """
    Whether a request was made on this machine, to its own name, with nobody between.

    A page of another site may have its own name lead here (DNS rebinding), and a proxy hands on what comes from
    anywhere: neither is somebody at this machine.
    """
    headers = Headers(scope=scope)
    client = scope.get("client")
    return (
        client is not None
        and client[0] in LOOPBACK
        and host_of(scope) in LOOPBACK
        and not any(name in headers for name in _FORWARDED)
    )


def host_of(scope: Scope) -> str:
    """The name that a request calls this server by, without its port."""
    said = Headers(scope=scope).get("host", "")
    name, _, port = said.rpartition(":")
    return (name if name and port.isdigit() else said).strip("[]")


def is_secure(scope: Scope, settings: Settings) -> bool:
    """Whether the browser is on https, here or at the proxy in front."""
    return bool(scope["scheme"] == "https" or (settings.address or "").startswith("https:"))


def _token(scope: Scope, settings: Settings) -> str | None:
    cookies: SimpleCookie = SimpleCookie()
    try:
        cookies.load(Headers(scope=scope).get("cookie", ""))
    except CookieError:
        return None
    found = cookies.get(COOKIE_SECURE if is_secure(scope, settings) else COOKIE)
    return found.value if found is not None and 0 < len(found.value) <= TOKEN_LONGEST else None


def remember(request: Request, response: Response, token: str) -> None:
    """Have the browser hold a session."""
    secure = is_secure(request.scope, request.app.state.settings)
    # Lax and not strict: people come by a link in a chat, and a link only reads.
    response.set_cookie(
        COOKIE_SECURE if secure else COOKIE, token, max_age=int(SESSION_LASTS.total_seconds()), path="/",
        secure=secure, httponly=True, samesite="lax",
    )  # fmt: skip


def forget(request: Request, response: Response) -> None:
    """Have the browser let go of its session, and of what it holds of the crew."""
    secure = is_secure(request.scope, request.app.state.settings)
    response.delete_cookie(
        COOKIE_SECURE if secure else COOKIE, path="/", secure=secure, httponly=True, samesite="lax"
    )  # fmt: skip
    response.headers["clear-site-data"] = '"cache", "storage"'


async def the_book(request: Request) -> Book:
    """The open book. Nothing here waits: a thread for each dependency would cost every tap a millisecond."""
    book: Book = request.app.state.book
    return book


async def the_visitor(request: Request) -> Visitor:
    """Who asks, on a route that is not for strangers."""
    visitor = visitor_in(request.scope)
    if visitor is None:
        raise RuntimeError("a route that anybody may use asked for its visitor")
    return visitor


TheBook = Annotated[Book, Depends(the_book)]
TheVisitor = Annotated[Visitor, Depends(the_visitor)]
