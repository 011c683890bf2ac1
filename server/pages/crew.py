"""Who is in the crew, who may come in, and coming in: invites, short codes, sessions."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlsplit

from fastapi import Request, Response
from fastapi.responses import PlainTextResponse, RedirectResponse
from pydantic import BeforeValidator

from server.book import invites
from server.book.invites import INVITE_LASTS, USES_MOST, LastLead
from server.book.people import ROLES, Role
from server.book.tokens import code_shown
from server.door.addresses import address_of
from server.door.entrance import door_router
from server.door.heard import heard
from server.door.limits import Guesses
from server.door.visitor import TheBook, TheVisitor, forget, host_of, remember, visitor_in
from server.exposure.refused import within
from server.language import Worded, noted, say
from server.settings import LOOPBACK

from .drawing import draw, qr
from .forms import Form, MaybeWhole, Name, TheForm, Typed, Whole, name, one_of, text
from .numbers import Number as RowNumber

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from server.book.store import Book
    from server.door.visitor import Visitor

router = door_router()

LASTS_WORDS = Worded({
    "hour": noted("an hour"), "day": noted("a day"), "week": noted("a week"), "month": noted("30 days"),
})  # fmt: skip
# What a session is kept under, which is in English as all that is kept.
DEVICE_WORDS = Worded({
    "a phone": noted("a phone"), "a computer or tablet": noted("a computer or tablet"), "a program": noted("a program"),
})  # fmt: skip


def _token(came: object) -> str:
    """The secret of an invite, alone or in the whole link as it was sent."""
    line = text(came).rpartition("#")[2].strip()
    if not 1 <= len(line) <= 200:
        message = say("the whole link, as it was sent")
        raise ValueError(message)
    return line


class InviteForm(Form):
    """A new invite."""

    role: Annotated[Role, BeforeValidator(one_of(ROLES, noted("a role of the list")))]
    name: Annotated[str, BeforeValidator(lambda came: name(came) if text(came) else "")] = ""
    lasts: Annotated[str, BeforeValidator(one_of(INVITE_LASTS, noted("a time of the list"), otherwise="day"))] = "day"
    uses: Whole = 1
    person: MaybeWhole = None

    def check(self) -> None:
        """An invite for everybody is none."""
        within("uses", self.uses, 1, USES_MOST, noted("people"))


class OfferForm(Form):
    """The link that somebody came with."""

    link: Annotated[str, BeforeValidator(_token)]


class JoinForm(OfferForm):
    """And the name they go by."""

    name: Name


class CodeForm(Form):
    """A short code, as it was typed."""

    code: Annotated[str, BeforeValidator(text)]

    def check(self) -> None:
        """A code is not looked for in a novel."""
        within("code", len(self.code), 1, 40, noted("letters"))


class RoleForm(Form):
    """What somebody may do from now on."""

    role: Annotated[Role, BeforeValidator(one_of(ROLES, noted("a role of the list")))]


@router.get("/robots.txt")
def show_robots() -> Response:
    """Nothing here is for search engines."""
    return PlainTextResponse("User-agent: *\nDisallow: /\n")


@router.get("/join")
def show_join(request: Request) -> Response:
    """Where an invite leads. Its secret stands behind the #, which no browser sends; a script puts it in the form."""
    return _unkept(draw(request, "crew/join.html", typed=Typed()))


@router.post("/join/offer")
def look_at_invite(request: Request, book: TheBook, came: TheForm) -> Response:
    """What the invite is worth, with a button to take it. Programs that look ahead use nothing up."""
    form, typed = OfferForm.read(came)
    with book.reading() as session:
        offer = None if form is None else invites.offer_of(session, form.link)
    if form is None or offer is None:
        return _no_invite(request, typed)
    return _unkept(
        draw(request, "crew/offer.html", typed=Typed(), offer=offer, link=form.link, now=visitor_in(request.scope))
    )


@router.post("/join")
def join_crew(request: Request, book: TheBook, came: TheForm) -> Response:
    """Come in: this browser holds a session from here on."""
    form, typed = JoinForm.read(came)
    link, _ = OfferForm.read(came)
    with book.writing() as session:
        offer = None if link is None else invites.offer_of(session, link.link)
        if link is None or offer is None:
            return _no_invite(request, typed)
        if form is None:
            page = draw(request, "crew/offer.html", status=422, typed=typed, offer=offer, link=link.link,
                        now=visitor_in(request.scope))  # fmt: skip
            return _unkept(page)
        token = invites.join(session, form.link, form.name, device_words(request))
        _end_own(session, request)
    if token is None:
        return _no_invite(request, typed)
    return _in(request, book, token, "invite")


@router.get("/pair")
def show_pairing(request: Request) -> Response:
    """Where a short code is typed."""
    return _unkept(draw(request, "crew/pair.html", typed=Typed()))


@router.post("/pair")
def pair_browser(request: Request, book: TheBook, came: TheForm) -> Response:
    """Come in by a short code that another browser of the same person shows."""
    guesses: Guesses = request.app.state.guesses
    guesses.check(request)
    form, typed = CodeForm.read(came)
    token = None
    if form is not None:
        with book.writing() as session:
            token = invites.pair(session, form.code, device_words(request))
            if token is not None:
                _end_own(session, request)
    if token is None:
        heard("turned-away", request, by="code")
        guesses.wrong(request)
        typed.errors["code"] = say("No such code, or not any more: a code lives ten minutes and lets in one browser")
        return _unkept(draw(request, "crew/pair.html", status=422, typed=typed))
    return _in(request, book, token, "code")


@router.post("/leave")
def leave(request: Request, book: TheBook, visitor: TheVisitor) -> Response:
    """The browser that asks is out, and holds nothing of the crew any more."""
    if visitor.session is not None:
        with book.writing(visitor.crew) as session:
            invites.end_session(session, visitor.crew, visitor.session)
    heard("left", crew=visitor.crew, person=visitor.person)
    response = RedirectResponse(request.app.url_path_for("show_join"), status_code=303)
    forget(request, response)
    if request.url.scheme == "https" or host_of(request.scope) in LOOPBACK:  # elsewhere browsers take no notice
        response.headers["clear-site-data"] = (
            '"cache", "storage"'  # what this browser kept for where there is no signal
        )
    return response


@router.get("/crew")
def show_crew(request: Request, book: TheBook, visitor: TheVisitor) -> Response:
    """Everybody of the crew; for a lead with their browsers, and with the invites that still let somebody in."""
    with book.reading() as session:
        return _crew_page(request, session, visitor, Typed())


@router.post("/crew/codes")
def make_code(request: Request, book: TheBook, visitor: TheVisitor) -> Response:
    """A short code for another browser of the one who asks."""
    with book.writing(visitor.crew) as session:
        if visitor.person is None:
            typed = Typed(errors={"code": say("Nobody has come in here: whoever opens it on this machine is the lead")})
            return _crew_page(request, session, visitor, typed, status=422)
        code = invites.make_code(session, visitor.person)
    heard("code-made", crew=visitor.crew, person=visitor.person)
    at = address_of(request, "show_pairing")
    return _unkept(draw(request, "crew/code.html", code=code_shown(code), at=at, qr=qr(at)))


@router.post("/crew/invites")
def invite(request: Request, book: TheBook, visitor: TheVisitor, came: TheForm) -> Response:
    """A new invite, shown once: nobody can look its secret up again."""
    form, typed = InviteForm.read(came)
    with book.writing(visitor.crew) as session:
        if form is None:
            return _crew_page(request, session, visitor, typed, status=422)
        lasts = INVITE_LASTS[form.lasts]
        token = invites.make_invite(
            session, visitor.crew, form.role, visitor.name, lasts, form.uses, form.name, form.person
        )
        offer = invites.offer_of(session, token)
    heard("invite-made", crew=visitor.crew, person=visitor.person, role=form.role, uses=form.uses)
    link = f"{address_of(request, 'show_join')}#{token}"
    return _unkept(draw(request, "crew/invite.html", link=link, qr=qr(link), offer=offer, uses=form.uses,
                        lasts=LASTS_WORDS[form.lasts], only_here=urlsplit(link).hostname in LOOPBACK))  # fmt: skip


@router.post("/crew/invites/{invite_id}/end")
def end_invite(request: Request, book: TheBook, visitor: TheVisitor, invite_id: RowNumber) -> Response:
    """Nobody comes in by this invite any more."""
    with book.writing(visitor.crew) as session:
        invites.end_invite(session, visitor.crew, invite_id)
    heard("invite-ended", crew=visitor.crew, person=visitor.person, invite=invite_id)
    return _to_crew(request)


@router.post("/crew/sessions/{session_id}/end")
def end_session(request: Request, book: TheBook, visitor: TheVisitor, session_id: RowNumber) -> Response:
    """A browser is out: any for a lead, one's own for everybody."""
    with book.writing(visitor.crew) as session:
        invites.end_session(session, visitor.crew, session_id, None if visitor.role == "lead" else visitor.person)
    heard("session-ended", crew=visitor.crew, person=visitor.person, session=session_id)
    if session_id != visitor.session:
        return _to_crew(request)
    response = RedirectResponse(request.app.url_path_for("show_join"), status_code=303)
    forget(request, response)
    return response


@router.post("/crew/people/{person_id}/role")
def change_role(
    request: Request, book: TheBook, visitor: TheVisitor, person_id: RowNumber, came: TheForm
) -> Response:  # fmt: skip
    """Somebody may do more from now on, or less."""
    form, typed = RoleForm.read(came)
    with book.writing(visitor.crew) as session:
        if form is not None:
            try:
                invites.change_role(session, visitor.crew, person_id, form.role)
            except LastLead:
                typed.errors["role"] = say(LAST_LEAD)
        if typed.errors:
            return _crew_page(request, session, visitor, Typed(errors={"people": typed.errors["role"]}), status=422)
    if form is not None:
        heard("role-changed", crew=visitor.crew, person=visitor.person, of=person_id, role=form.role)
    return _to_crew(request)


@router.post("/crew/people/{person_id}/end")
def let_go(request: Request, book: TheBook, visitor: TheVisitor, person_id: RowNumber) -> Response:
    """Somebody is out, with all their browsers."""
    with book.writing(visitor.crew) as session:
        try:
            invites.let_go(session, visitor.crew, person_id)
        except LastLead:
            return _crew_page(request, session, visitor, Typed(errors={"people": say(LAST_LEAD)}), status=422)
    heard("let-go", crew=visitor.crew, person=visitor.person, of=person_id)
    return _to_crew(request)


LAST_LEAD = noted("A crew needs a lead: let somebody else be one first")


def _crew_page(request: Request, session: Session, visitor: Visitor, typed: Typed, status: int = 200) -> Response:
    leads = visitor.role == "lead"
    page = draw(
        request, "crew/page.html", status=status, typed=typed, visitor=visitor, leads=leads,
        lasts=LASTS_WORDS, devices=DEVICE_WORDS, people=invites.people_of(session, visitor.crew),
        invites=invites.invites_of(session, visitor.crew) if leads else (),
    )  # fmt: skip
    return _unkept(page)


def _no_invite(request: Request, typed: Typed) -> Response:
    # Only what is wrong is counted, and only that is refused: a whole link lets in from a network where others guess.
    guesses: Guesses = request.app.state.guesses
    guesses.check(request)
    guesses.wrong(request)
    heard("turned-away", request, by="invite")
    typed.errors["link"] = say("This invite has been used, has run out, was ended, or is not whole. Ask for a new one")
    return _unkept(draw(request, "crew/join.html", status=422, typed=typed))


def _end_own(session: Session, request: Request) -> None:
    """A browser holds one session: the one that it came with ends."""
    visitor = visitor_in(request.scope)
    if visitor is not None and visitor.session is not None:
        invites.end_session(session, visitor.crew, visitor.session)


def _in(request: Request, book: Book, token: str, by: str) -> Response:
    with book.reading() as session:
        found = invites.admitted(session, token, datetime.now(UTC))
    if found is not None:
        heard("came-in", by=by, crew=found.crew, person=found.person, role=found.role)
    response = RedirectResponse(request.app.url_path_for("show_home"), status_code=303)
    remember(request, response, token)
    return response


def _unkept(response: Response) -> Response:
    """A page with a secret in it, or about who is in, is kept by no cache."""
    response.headers["cache-control"] = "no-store"
    return response


def device_words(request: Request) -> str:
    """What somebody came in with, as far as it helps to tell their browsers apart."""
    said = request.headers.get("user-agent", "")
    return "a phone" if "Mobi" in said else "a computer or tablet" if said else "a program"


def _to_crew(request: Request) -> Response:
    return RedirectResponse(request.app.url_path_for("show_crew"), status_code=303)
