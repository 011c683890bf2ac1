"""
What somebody without an account reads by a link: a day's sheet, and its running order as a calendar to subscribe to.

The link's secret stands in the path: a sheet is opened from chats and from paper, reads only, and can be ended. It is
in no log of ours (`__main__` keeps none), goes to no other site (Referrer-Policy), and no search engine is to keep it.
"""

from __future__ import annotations

import hashlib
from contextlib import suppress
from datetime import UTC, datetime
from email.utils import format_datetime
from typing import TYPE_CHECKING

from fastapi import Request, Response
from fastapi.responses import JSONResponse

from server.book import links
from server.book.days import open_day
from server.book.kits import KitIncomplete
from server.book.links import USED_EVERY, Link, LinkKind
from server.book.people import first_camera
from server.book.sheet_document import SCHEMA, document_of
from server.book.trouble import OF_THE_DATABASE
from server.door.addresses import address_of
from server.door.entrance import door_router
from server.door.heard import heard
from server.door.limits import Guesses
from server.door.visitor import TheBook
from server.language import noted, say

from .drawing import attached, draw, qr
from .order import events_of
from .order_calendar import Feed, calendar_of
from .sheet_pdf import Paper
from .sheet_view import SheetView, sheet_of
from .sheets import as_pdf

if TYPE_CHECKING:
    from server.book.days import Day
    from server.book.store import Book

router = door_router()

ENDED = (
    404,
    noted("Nothing to read here"),
    noted("This link has run out, was ended, or is not whole. Ask for a new one."),
)
NOT_READY = (
    503,
    noted("Not ready yet"),
    noted("The crew’s kit is not complete, so there is no sheet yet. Try again later."),
)


@router.get("/s/{token}")
def show_shared_sheet(request: Request, book: TheBook, token: str) -> Response:
    """The sheet."""
    link = _opened(request, book, token, "sheet")
    if link is None:
        return _nothing(request, ENDED)
    view = _sheet(book, link)
    if view is None:
        return _nothing(request, NOT_READY)
    address = address_of(request, "show_shared_sheet", token=token)
    return _unlisted(draw(request, "sheet/shared.html", view=view, token=token, qr=qr(address)))


@router.get("/s/{token}/sheet.pdf")
def print_shared_sheet(request: Request, book: TheBook, token: str) -> Response:
    """The sheet on A4, with a QR code that opens it."""
    return _pdf(request, book, token, "a4")


@router.get("/s/{token}/card.pdf")
def print_shared_card(request: Request, book: TheBook, token: str) -> Response:
    """Its running order on an A6 card, with the same code."""
    return _pdf(request, book, token, "a6")


@router.get("/s/{token}/sheet.json")
def save_shared_sheet(request: Request, book: TheBook, token: str) -> Response:
    """The sheet as a file that another Lychgate takes in."""
    link = _opened(request, book, token, "sheet")
    if link is None:
        return _nothing(request, ENDED)
    day = _day(book, link)
    if day is None:
        return _nothing(request, NOT_READY)
    with book.reading() as session:
        document = document_of(session, link.crew, day, exact=link.exact)
    return _unlisted(attached(document.model_dump_json() + "\n", "application/json", "sheet.json"))


@router.get("/api/sheet.schema.json")
def show_sheet_schema() -> Response:
    """What a sheet's file may hold, as a JSON Schema."""
    return JSONResponse(SCHEMA, media_type="application/schema+json")


@router.get("/c/{token}/order.ics")
def subscribe_to_order(request: Request, book: TheBook, token: str) -> Response:
    """The running order, for a calendar that asks again and again."""
    link = _opened(request, book, token, "calendar")
    if link is None:
        return _nothing(request, ENDED)
    day = _day(book, link)
    if day is None:
        return _nothing(request, NOT_READY)
    where = (day.site.latitude, day.site.longitude) if day.site is not None and link.exact else None
    events = events_of(day)
    said = hashlib.sha256(repr((events, day.name, day.time_zone, where)).encode("utf-8", "replace")).hexdigest()
    sequence, changed = _says(book, link, said)
    content = calendar_of(
        events, name=day.name, time_zone=day.time_zone, stamp=changed, feed=Feed(sequence, changed, where)
    )
    tag = f'W/"{hashlib.sha256(content).hexdigest()[:32]}"'
    headers = {"etag": tag, "last-modified": format_datetime(changed.astimezone(UTC), usegmt=True)}
    known = [each.strip() for each in request.headers.get("if-none-match", "").split(",")]
    if tag in known or "*" in known:
        return _unlisted(Response(status_code=304, headers=headers))
    headers["content-disposition"] = 'inline; filename="running-order.ics"'
    return _unlisted(Response(content, media_type="text/calendar; charset=utf-8", headers=headers))


def _pdf(request: Request, book: Book, token: str, paper: Paper) -> Response:
    link = _opened(request, book, token, "sheet")
    if link is None:
        return _nothing(request, ENDED)
    view = _sheet(book, link)
    if view is None:
        return _nothing(request, NOT_READY)
    return _unlisted(as_pdf(view, address_of(request, "show_shared_sheet", token=token), paper))


def _opened(request: Request, book: Book, token: str, kind: LinkKind) -> Link | None:
    """The link with this secret, kept as opened; None where there is none, or not any more."""
    now = datetime.now(UTC)
    with book.reading() as session:
        link = links.link_of(session, token, kind, now)
    if link is None:
        # Only what is wrong is counted, and only that is refused: a whole link opens from a network where others guess.
        guesses: Guesses = request.app.state.link_guesses
        guesses.check(request)
        guesses.wrong(request)
        heard("turned-away", request, by="link")
        return None
    if link.used_at is None or now - link.used_at >= USED_EVERY:
        with (
            suppress(*OF_THE_DATABASE),
            book.writing(link.crew) as session,
        ):  # a full disk must not keep anybody from reading
            links.opened_now(session, link, now)
    return link


def _day(book: Book, link: Link) -> Day | None:
    """The day of a link; None where the crew's kit cannot be worked with."""
    with book.reading() as session, suppress(KitIncomplete):
        return open_day(session, first_camera(link.crew), link.day)
    return None


def _sheet(book: Book, link: Link) -> SheetView | None:
    day = _day(book, link)
    if day is None:
        return None
    with book.reading() as session:
        return sheet_of(session, link.crew, day, datetime.now(UTC), exact=link.exact)


def _says(book: Book, link: Link, said: str) -> tuple[int, datetime]:
    """How often a calendar has changed for its subscribers, and since when it says what it says."""
    now = datetime.now(UTC)
    if said == link.said and link.said_at is not None:
        return link.sequence, link.said_at
    with suppress(*OF_THE_DATABASE), book.writing(link.crew) as session:
        return links.says_now(session, link, said, now)
    return link.sequence, link.said_at or now


def _nothing(request: Request, why: tuple[int, str, str]) -> Response:
    status, title, words = why
    response = _unlisted(draw(request, "sheet/gone.html", status=status, title=say(title), words=say(words)))
    response.headers["cache-control"] = "no-store"
    return response


def _unlisted(response: Response) -> Response:
    """An answer that search engines leave alone, if ever they come by its link."""
    response.headers["x-robots-tag"] = "noindex, nofollow"
    return response
