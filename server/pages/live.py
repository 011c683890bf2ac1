"""
The changes of a day, for a page that is open on it: server-sent events (HTML standard, section 9.2).

`revision` says which revision the day has, first as it is now, then after each change; `beat` that the line is alive;
`ended` that whoever listens is not let in any more; `gone` that the day was removed. An answer that lasts holds no
connection to the database.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from fastapi import Request, Response
from fastapi.responses import JSONResponse, StreamingResponse

from server.book.watching import revision
from server.door.entrance import door_router
from server.door.listening import Listener, Listening, Over, TooManyListen
from server.door.problems import Problem
from server.door.visitor import TheBook, TheVisitor, asked, let_in, still_admitted, visitor_in, visitor_of
from server.language import say

from .numbers import Number as RowNumber

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from starlette.types import Receive, Scope, Send

router = door_router()

BEAT = 5.0  # s
STREAM = "text/event-stream"  # what a browser's EventSource says that it wants
# A proxy between must hand on each event as it comes.
HEADERS = {"cache-control": "no-store", "x-accel-buffering": "no"}
SOON, LATER = "5", "30"  # s, after which to ask again


@router.get("/days/{day_id}/changes")
async def show_changes(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The revision of a day, and then each new one; to whoever does not ask for a stream, only the one of now."""
    now = await asked(book, lambda session: revision(session, visitor.crew, day_id))
    if STREAM not in request.headers.get("accept", ""):
        return JSONResponse({"revision": now}, headers=HEADERS)
    listening: Listening = request.app.state.listening
    try:
        listener = listening.listen(day_id, visitor.session, now)
    except TooManyListen as refused:
        if refused.of_one:
            return _refused(429, say("Too many pages of yours are open on a day. Close some."), LATER)
        return _refused(503, say("Too many pages are open on a day just now."), LATER)
    except Over:
        return _refused(503, say("The server is about to stop."), SOON)
    return _Stream(request, listening, listener)


def _refused(status: int, words: str, seconds: str) -> Response:
    response = Problem.of_status(status, words).response()
    response.headers["retry-after"] = seconds
    return response


class _Stream(StreamingResponse):
    """An answer that lasts as long as its listener is told something."""

    media_type = STREAM

    def __init__(self, request: Request, listening: Listening, listener: Listener) -> None:
        super().__init__(_events(request, listener), headers=HEADERS)
        self._listening, self._listener = listening, listener

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, until the page is closed or the server stops."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._listening.leave(self._listener)


async def _events(request: Request, listener: Listener) -> AsyncIterator[str]:
    yield _event("revision", listener.told)
    with suppress(Over):
        while True:
            news = await listener.next(BEAT)
            if not await _is_still_in(request, listener):
                if await let_in(request.scope) is None:
                    yield _event("ended")
                return  # somebody whose role changed comes again, as who they are now
            if news == "":  # the day has no revision any more
                yield _event("gone")
                return
            yield _event("beat") if news is None else _event("revision", news)


async def _is_still_in(request: Request, listener: Listener) -> bool:
    """Whether the one who asked is still somebody, and the same: by the watcher's last look, which was for all."""
    if listener.who is None or not listener.looked:
        return await still_admitted(request)
    now = None if listener.admitted is None else visitor_of(listener.admitted)
    return now == visitor_in(request.scope)


def _event(name: str, data: str = "") -> str:
    # A browser passes over an event without a line of data.
    return f"event: {name}\ndata: {data}\n\n"
