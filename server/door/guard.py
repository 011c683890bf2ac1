"""
What every request passes: who asks, a bound on its size, a refusal of changes that other sites ask for, and headers on
the way out.

Plain ASGI: the framework's own middleware class gets in the way of streams.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, cast
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect, Request

from server.book.trouble import OF_THE_DATABASE, trouble_of
from server.exposure.refused import OutOfRange
from server.language import Manner, say, speak
from server.settings import LOOPBACK

from .manners import manner_of
from .problems import Problem
from .visitor import COOKIE, host_of

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.responses import Response
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

BODY_MOST = 1_000_000  # bytes
# A light reading may come as a photo, and only the original says what it was taken with: 40 MB is what the largest
# cameras make. Only a form that asks for one may be so large.
PHOTO_MOST = 40_000_000  # bytes
PHOTO_PATH = "/photo"  # how the address of such a form ends
PIECE = 256_000  # bytes; a body is handed on in pieces, each of which is let go when it was read
SILENT_MOST = 30.0  # s without another piece of a body, after which nobody waits for the rest of it
DISCARD_MOST = 256_000_000  # bytes read and thrown away so that a client that is still sending can read the refusal
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

FILES = "/static/"  # everybody's
HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; "
        "frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    # same-origin, not no-referrer: that would turn the Origin of form posts into "null".
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(self), microphone=(), payment=(), usb=(), screen-wake-lock=(self)",
    "x-frame-options": "DENY",  # for what does not know frame-ancestors
    "x-permitted-cross-domain-policies": "none",
    # A cache between must not keep a crew's pages; the browser may, and asks whether they are still so.
    "cache-control": "private, no-cache",
}
TO_STAY_ON_HTTPS = "max-age=31536000"  # for a year


class Guard:
    """
    ASGI middleware around the whole application.

    address  where people reach it, if a proxy in front goes by another name
    let_in   finds out who asks, None for a stranger; without it everybody is somebody
    """

    def __init__(
        self,
        app: ASGIApp,
        address: str | None = None,
        let_in: Callable[[Scope], Awaitable[object | None]] | None = None,
    ) -> None:
        self.app = app
        self.own = urlsplit(address).netloc if address else None
        self.https = bool(address and address.startswith("https:"))
        self.let_in = let_in

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        # What machines ask is answered in the words of its document.
        speak(Manner() if scope["path"].startswith("/api/") else manner_of(scope))
        https = self.https or scope.get("scheme") == "https"
        at_this_machine = host_of(scope) in LOOPBACK

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if https:
                    headers.setdefault("strict-transport-security", TO_STAY_ON_HTTPS)
                elif not at_this_machine:
                    # Over plain http a browser takes no notice of it, but for an error in its console each time.
                    del headers["cross-origin-opener-policy"]
            await send(message)

        await self._answer(scope, receive, send_with_headers)

    async def _answer(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        is_somebody = self.let_in is None
        if self.let_in is not None and not scope["path"].startswith(FILES):
            try:
                is_somebody = await self.let_in(scope) is not None
            except OF_THE_DATABASE as error:  # it is asked before the application, which would answer
                if trouble_of(error) is None:
                    raise
                await _answered(scope, error)(scope, receive, send)
                return
        if scope["method"] in SAFE_METHODS:
            await self.app(scope, receive, send)
            return
        if from_elsewhere(headers, self.own):
            problem = Problem(403, say("Refused"), say("This change was asked for by another site."))
            await problem.response()(scope, receive, send)
            return
        most = PHOTO_MOST if is_somebody and _brings_a_photo(scope, headers) else BODY_MOST
        try:
            body = await _whole_body(receive, most)
        except ClientDisconnect:
            return  # nobody is there to be answered, and half a form must not be kept for a whole one
        except TimeoutError:
            problem = Problem.of_status(
                408, say("What was sent stopped halfway. Nothing was kept of it; send it again.")
            )
            await problem.response()(scope, receive, send)
            return
        if body is None:
            await _too_large(scope, headers, most)(scope, receive, send)
            return
        # An empty body is handed out too: whoever asks the server for it once more waits for ever.
        await self.app(scope, _replayed(body, receive), send)


def from_elsewhere(headers: Headers, own: str | None = None) -> bool:
    """
    Whether a browser says that another site sent this. Plain-http browsers send no Sec-Fetch-Site, only Origin.

    own  the name that a proxy in front goes by

    What says neither, and brings a session, may be a browser that hides where it is.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    if origin is None:
        return f"{COOKIE}=" in headers.get("cookie", "")
    try:
        return urlsplit(origin).netloc not in (headers.get("host"), own or headers.get("host"))
    except ValueError:  # no browser sends such an origin
        return True


def _brings_a_photo(scope: Scope, headers: Headers) -> bool:
    """Only a form with a file: the framework reads any other kind of form byte by byte, and everybody would wait."""
    form = headers.get("content-type", "").lower().startswith("multipart/form-data")
    return form and scope["method"] == "POST" and scope["path"].endswith(PHOTO_PATH)


def _too_large(scope: Scope, headers: Headers, most: int) -> Response:
    """The refusal of a body; for a browser the page that the application answers bad input with."""
    if "app" in scope and OutOfRange in scope["app"].exception_handlers and _for_people(headers.get("accept", "")):
        millions = f"{most // 1_000_000} MB"
        more, allowed = say("more than {most}", most=millions), say("at most {most}", most=millions)
        return _answered(scope, OutOfRange(say("What was sent"), more, allowed))
    return Problem.of_field("(body)", f"more than {most} bytes", f"at most {most} bytes").response()


def _answered(scope: Scope, error: Exception) -> Response:
    """What the application answers an error with."""
    answers = scope["app"].exception_handlers
    kind = next(kind for kind in type(error).__mro__ if kind in answers)
    return cast("Response", answers[kind](Request(scope), error))


def _for_people(accept: str) -> bool:
    """Whether a page is wanted rather than JSON: a browser names it first."""
    page, json = accept.find("text/html"), accept.find("json")
    return page >= 0 and not 0 <= json < page


async def _whole_body(receive: Receive, most: int) -> list[bytearray] | None:
    """
    The request's body in pieces; None where it is over the bound, read on and thrown away up to DISCARD_MOST.

    Raises ClientDisconnect, and TimeoutError where nothing comes for SILENT_MOST.
    """
    pieces = [bytearray()]
    length = 0
    now = asyncio.get_running_loop().time
    heard_at = now()
    async with asyncio.timeout(SILENT_MOST) as patience:
        while True:
            message = await receive()
            if message["type"] == "http.disconnect":
                raise ClientDisconnect
            if now() - heard_at >= 1.0:  # not for each of a million pieces
                heard_at = now()
                patience.reschedule(heard_at + SILENT_MOST)
            chunk = message.get("body", b"")
            length += len(chunk)
            if length > most:
                pieces.clear()
            elif len(pieces[-1]) < PIECE:
                pieces[-1] += chunk
            else:
                pieces.append(bytearray(chunk))
            if not message.get("more_body", False) or length > DISCARD_MOST:
                break
    return pieces or None


def _replayed(pieces: list[bytearray], receive: Receive) -> Receive:
    """A receive that hands out the body that was read already, and then the rest of the connection."""
    pieces.reverse()

    async def replay() -> Message:
        if not pieces:
            return await receive()
        body = bytes(pieces.pop())
        return {"type": "http.request", "body": body, "more_body": bool(pieces)}

    return replay
