"""Builds the application from the settings: wiring only."""

from __future__ import annotations

import asyncio
import signal
import threading
from contextlib import asynccontextmanager, contextmanager, suppress
from typing import TYPE_CHECKING, Any

from anyio.to_thread import current_default_thread_limiter
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from server import api, pages
from server.book.crews import NotThere, first_crew
from server.book.kits import KitIncomplete
from server.book.store import Book
from server.book.trouble import OF_THE_DATABASE
from server.door.entrance import NotAllowed, Stranger, check_doors
from server.door.guard import Guard
from server.door.housekeeping import keep_tidy, tidy
from server.door.limits import Guesses, TooManyGuesses
from server.door.listening import Listening
from server.door.visitor import let_in
from server.exposure.refused import OutOfRange
from server.static_files import Files

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Iterator
    from types import FrameType

    from fastapi import FastAPI

    from server.settings import Settings


@contextmanager
def told_to_stop(first: Callable[[], None]) -> Iterator[None]:
    """
    Have the signals that stop the server do something first: it waits for its open answers before it tells the
    application that it stops, and some of those would never end by themselves.
    """
    if threading.current_thread() is not threading.main_thread():  # a test's own; no signal comes there
        yield
        return
    loop = asyncio.get_running_loop()
    before: dict[int, Any] = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}

    def stop(number: int, frame: FrameType | None) -> None:
        loop.call_soon_threadsafe(first)
        if callable(before[number]):
            before[number](number, frame)

    for number in before:
        signal.signal(number, stop)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


THREADS = 4  # that work on requests at one moment; the others wait in order


def create_app(settings: Settings) -> FastAPI:
    """The whole application on one book. Opening the book waits until it starts; importing opens nothing."""

    @asynccontextmanager
    async def book_opened(app: FastAPI) -> AsyncIterator[None]:
        app.state.guesses = Guesses()
        # Counted apart: a calendar that asks for an ended link all day must keep nobody from typing a code.
        app.state.link_guesses = Guesses()
        app.state.book = Book(settings)
        app.state.book.migrate()
        if settings.open_here:
            with app.state.book.writing() as session:
                first_crew(session)
        tidy(app.state.book)
        # Python works on one page at a time, and more threads only take turns, each some milliseconds long: with the
        # usual forty a tap took eighteen times as long (tests.bench.load).
        current_default_thread_limiter().total_tokens = THREADS
        app.state.listening = listening = Listening(app.state.book)
        app.state.book.kept = listening.wake
        watching = asyncio.create_task(listening.watch())
        tidying = asyncio.create_task(keep_tidy(app.state.book))
        with told_to_stop(listening.end):
            yield
        listening.end()
        await watching
        tidying.cancel()
        with suppress(asyncio.CancelledError):
            await tidying
        app.state.book.close()

    app = api.Documented(
        title="Lychgate",
        summary="Which filter to pull and how many clicks to turn, for every next place.",
        description=api.ABOUT,
        version="1",
        lifespan=book_opened,
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        responses=api.REFUSALS,
    )
    app.state.settings = settings
    app.mount("/static", Files(), name="static")
    app.include_router(api.router, prefix="/api")
    app.include_router(pages.router)
    check_doors(app)
    app.add_exception_handler(RequestValidationError, pages.bad_request)
    app.add_exception_handler(OutOfRange, pages.out_of_range)
    app.add_exception_handler(NotThere, pages.not_there)
    app.add_exception_handler(Stranger, pages.stranger)
    app.add_exception_handler(NotAllowed, pages.not_allowed)
    app.add_exception_handler(TooManyGuesses, pages.too_many_guesses)
    app.add_exception_handler(KitIncomplete, pages.kit_incomplete)
    app.add_exception_handler(HTTPException, pages.http_error)
    for kind in OF_THE_DATABASE:
        app.add_exception_handler(kind, pages.trouble)
    app.add_exception_handler(Exception, pages.failed)
    app.add_middleware(GZipMiddleware, minimum_size=600, compresslevel=6)
    app.add_middleware(Guard, address=settings.address, let_in=let_in)
    return app
