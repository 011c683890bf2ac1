"""
What every request passes: a bound on its size, a refusal of changes that other sites ask for, headers on the way out.

Plain ASGI: the framework's own middleware class gets in the way of streams.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect

from .problems import Problem

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

BODY_MOST = 1_000_000  # bytes
DISCARD_MOST = 256_000_000  # bytes read and thrown away so that a client that is still sending can read the refusal
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

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
}


class Guard:
    """ASGI middleware around the whole application."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        headers = Headers(scope=scope)
        if scope["method"] in SAFE_METHODS:
            await self.app(scope, receive, send_with_headers)
            return
        if from_elsewhere(headers):
            problem = Problem(403, "Refused", "This change was asked for by another site.")
            await problem.response()(scope, receive, send_with_headers)
            return
        try:
            body = await _whole_body(receive)
        except ClientDisconnect:
            return  # nobody is there to be answered, and half a form must not be kept for a whole one
        if body is None:
            problem = Problem.of_field("(body)", f"more than {BODY_MOST} bytes", f"at most {BODY_MOST} bytes")
            await problem.response()(scope, receive, send_with_headers)
            return
        # An empty body is handed out too: whoever asks the server for it once more waits for ever.
        await self.app(scope, _replayed(body, receive), send_with_headers)


def from_elsewhere(headers: Headers) -> bool:
    """Whether a browser says that another site sent this. Plain-http browsers send no Sec-Fetch-Site, only Origin."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    if origin is None:
        return False
    try:
        return urlsplit(origin).netloc != headers.get("host")
    except ValueError:  # no browser sends such an origin
        return True


async def _whole_body(receive: Receive) -> bytes | None:
    """The request's body; None where it is over the bound, read on and thrown away up to DISCARD_MOST."""
    chunks: list[bytes] = []
    length = 0
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise ClientDisconnect
        length += len(message.get("body", b""))
        if length <= BODY_MOST:
            chunks.append(message.get("body", b""))
        if not message.get("more_body", False) or length > DISCARD_MOST:
            break
    return b"".join(chunks) if length <= BODY_MOST else None


def _replayed(body: bytes, receive: Receive) -> Receive:
    """A receive that hands out the body that was read already, and then the rest of the connection."""
    pending: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def replay() -> Message:
        return pending.pop() if pending else await receive()

    return replay
