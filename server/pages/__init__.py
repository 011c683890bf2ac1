"""Routes that answer with HTML, and what a refusal looks like to whoever asked."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from server.book.trouble import trouble_of
from server.door.entrance import NotAllowed, door_router
from server.door.guard import HEADERS
from server.door.heard import heard
from server.door.limits import TooManyGuesses
from server.door.problems import TITLES, Problem
from server.door.visitor import visitor_in
from server.exposure.refused import OutOfRange
from server.language import noted, say

from . import (
    about,
    camera,
    crew,
    crew_data,
    day_setup,
    day_tools,
    days,
    depth,
    home,
    install,
    kit_files,
    kit_measures,
    kits,
    light,
    live,
    manner,
    order,
    plan,
    pocket,
    pocket_file,
    readings_file,
    reference,
    removal,
    report,
    shared,
    sheet_files,
    sheets,
    start,
    take,
    venues,
)
from .drawing import draw

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fastapi import Request, Response
    from fastapi.exceptions import RequestValidationError
    from starlette.datastructures import FormData
    from starlette.exceptions import HTTPException

router = door_router(include_in_schema=False)
for each in (
    crew, crew_data, camera, home, start, install, removal, readings_file, venues, kit_files, kit_measures, depth, kits,
    day_setup, order, plan, pocket, pocket_file, take, day_tools, days, live, light, report, sheets, sheet_files,
    shared, about, manner, reference,
):  # fmt: skip
    router.include_router(each.router)


def bad_request(request: Request, error: Exception) -> Response:
    """A request whose shape was refused: on a page, an address that nothing can stand at."""
    if not _for_machines(request):
        return _page(request, Problem.of_status(404, say(NOT_THERE)))
    refused = cast("RequestValidationError", error)
    return Problem.of_validation(list(refused.errors()), refused.body).response()


def out_of_range(request: Request, error: Exception) -> Response:
    """A value that the engine refused."""
    problem = Problem.of_refusal(cast("OutOfRange", error))
    return problem.response() if _for_machines(request) else _page(request, problem)


def not_there(request: Request, _error: Exception) -> Response:
    """Something that this crew does not have. What was typed for it is shown, to be taken along."""
    return _page(request, Problem.of_status(404, say(NOT_THERE)), typed=_typed_words(request))


def stranger(request: Request, _error: Exception) -> Response:
    """Somebody whose browser holds no session, or one that has ended."""
    response = _page(request, Problem(401, say("By invitation"), say(NO_INVITE)), "crew/locked.html")
    # No browser knows the scheme, so none asks for a password.
    response.headers["www-authenticate"] = 'Invite realm="Lychgate"'
    return response


def not_allowed(request: Request, error: Exception) -> Response:
    """Something that the visitor's role may not do."""
    needed = cast("NotAllowed", error).needed
    visitor = visitor_in(request.scope)
    if visitor is not None:
        heard("refused", role=visitor.role, needed=needed, crew=visitor.crew, person=visitor.person)
    words = (
        say("Only a lead may do this. A lead of the crew can change your role.")
        if needed == "lead"
        else say("Guests read, and change nothing. A lead of the crew can change your role.")
    )
    return _page(request, Problem(403, say("Not for your role"), words))


def too_many_guesses(request: Request, error: Exception) -> Response:
    """Many wrong links or codes."""
    heard("too-many-tries", request)
    minutes = cast("TooManyGuesses", error).seconds // 60
    words = say(
        "Too many links or codes that were wrong. Wait {minutes} minutes, or ask a lead for a new invite.",
        minutes=minutes,
    )
    response = _page(request, Problem(429, say("Too many tries"), words))
    response.headers["retry-after"] = str(cast("TooManyGuesses", error).seconds)
    return response


def kit_incomplete(request: Request, error: Exception) -> Response:
    """A day whose kit has no body or no lens."""
    words = say("The kit “{kit}” has no body or no lens yet. Add them, then open the day again.", kit=error)
    return _page(request, Problem(409, say("The kit is not complete"), words))


def http_error(request: Request, error: Exception) -> Response:
    """Any other refusal: an unknown address, a method that is not allowed."""
    known = cast("HTTPException", error)
    words = {404: say(NOT_THERE), 405: TITLES[405]}.get(known.status_code, str(known.detail))
    # The framework's 400 is a body that it could not read: too deeply nested, or in no encoding of JSON.
    unread = known.status_code == 400 and _for_machines(request)
    problem = Problem.not_json() if unread else Problem.of_status(known.status_code, words)
    response = problem.response() if _for_machines(request) else _page(request, problem)
    response.headers.update(known.headers or {})
    return response


def trouble(request: Request, error: Exception) -> Response:
    """A database that cannot keep or read now. It is tried again: a phone's taps wait, and what was typed is shown."""
    found = trouble_of(error)
    if found is None:
        raise error
    heard("database", kind=found.kind)
    problem = Problem(503, say("Not now"), say(found.words))
    response = problem.response() if _for_machines(request) else _page(request, problem, typed=_typed_words(request))
    response.headers["retry-after"] = TRY_AGAIN
    return response


def failed(request: Request, _error: Exception) -> Response:
    """A mistake of ours. The framework answers with it outside the guard, so it takes the guard's headers along."""
    heard("failed")  # the server's own log has the whole of it
    words = say("Something went wrong here, and it is our mistake. What was kept before is still there.")
    problem = Problem.of_status(500, words)
    response = problem.response() if _for_machines(request) else _page(request, problem)
    response.headers.update(HEADERS)
    return response


TRY_AGAIN = "10"  # s
NO_INVITE = noted("Nothing is seen here without an invite. Open the link that you were sent, or type a code.")
NOT_THERE = noted("There is nothing at this address, or not any more.")


def _for_machines(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def _typed_words(request: Request) -> list[str]:
    """What somebody had typed in a form that leads nowhere any more; figures of the form's own are none of it."""
    came: FormData | None = getattr(request.state, "came", None)
    if came is None:
        return []
    words = [str(value) for name, value in came.multi_items() if name not in OWN_FIGURES]
    return [word[:WORDS_LONGEST] for word in words if word.strip()][:WORDS_MOST]


OWN_FIGURES = frozenset({"event_id", "event", "seen", "stamp", "tap", "place", "stop", "do"})
WORDS_MOST, WORDS_LONGEST = 40, 500


def _page(
    request: Request, problem: Problem, template: str = "problem/page.html", typed: Sequence[str] = ()
) -> Response:
    return draw(request, template, status=problem.status, problem=problem, typed=typed)
