"""Who is asking."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from server.book.crews import first_crew
from server.book.store import Book


@dataclass(frozen=True, slots=True)
class Visitor:
    """A person of a crew. name is written beside what they keep."""

    crew: int
    name: str


def the_book(request: Request) -> Book:
    """The open book of the application."""
    book: Book = request.app.state.book
    return book


def the_visitor(request: Request) -> Visitor:
    """Everyone is the shooter of the book's one crew."""
    crew: int | None = getattr(request.app.state, "first_crew", None)
    if crew is None:
        with the_book(request).writing() as session:
            crew = request.app.state.first_crew = first_crew(session).id
    return Visitor(crew, "shooter")


TheBook = Annotated[Book, Depends(the_book)]
TheVisitor = Annotated[Visitor, Depends(the_visitor)]
