"""Who is asking."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from server.book.store import Book


@dataclass(frozen=True, slots=True)
class Visitor:
    """A person of a crew. name is written beside what they keep."""

    crew: int
    name: str


async def the_book(request: Request) -> Book:
    """The open book. Nothing here waits: a thread for each dependency would cost every tap a millisecond."""
    book: Book = request.app.state.book
    return book


async def the_visitor(request: Request) -> Visitor:
    """Everyone is the shooter of the book's one crew."""
    return Visitor(request.app.state.crew, "shooter")


TheBook = Annotated[Book, Depends(the_book)]
TheVisitor = Annotated[Visitor, Depends(the_visitor)]
