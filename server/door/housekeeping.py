"""What the server does by itself: when it starts and every hour, what has run out goes."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool

from server.book.invites import clear_away, is_to_clear
from server.book.trouble import OF_THE_DATABASE

if TYPE_CHECKING:
    from server.book.store import Book

EVERY = 3600.0  # s


def tidy(book: Book) -> None:
    """Clear away what has run out. Nothing is written where there is nothing to clear."""
    now = datetime.now(UTC)
    with book.reading() as session:
        is_needed = is_to_clear(session, now)
    if is_needed:
        with book.writing() as session:
            clear_away(session, now)
    if book.to_wipe:
        book.wipe()


async def keep_tidy(book: Book) -> None:
    """The same every hour, for ever."""
    while True:
        await asyncio.sleep(EVERY)
        with suppress(*OF_THE_DATABASE):  # a full disk now may have room in an hour
            await run_in_threadpool(tidy, book)
