"""Routes that answer with HTML, and what a refusal looks like to whoever asked."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from fastapi import APIRouter

from server.door.guard import HEADERS
from server.door.problems import Problem
from server.exposure.refused import OutOfRange

from . import (
    day_setup,
    day_tools,
    days,
    depth,
    home,
    kit_files,
    kit_measures,
    kits,
    light,
    order,
    plan,
    reference,
    report,
    take,
    venues,
)
from .drawing import draw

if TYPE_CHECKING:
    from fastapi import Request, Response
    from fastapi.exceptions import RequestValidationError
    from starlette.exceptions import HTTPException

router = APIRouter(include_in_schema=False)
for each in (
    home, venues, kit_files, kit_measures, depth, kits, day_setup, order, plan, take, day_tools, days, light, report,
    reference,
):  # fmt: skip
    router.include_router(each.router)


def bad_request(request: Request, error: Exception) -> Response:
    """A request whose shape was refused: on a page, an address that nothing can stand at."""
    if not _for_machines(request):
        return _page(request, Problem.of_status(404, NOT_THERE))
    refused = cast("RequestValidationError", error)
    return Problem.of_validation(list(refused.errors()), refused.body).response()


def out_of_range(request: Request, error: Exception) -> Response:
    """A value that the engine refused."""
    problem = Problem.of_refusal(cast("OutOfRange", error))
    return problem.response() if _for_machines(request) else _page(request, problem)


def not_there(request: Request, _error: Exception) -> Response:
    """Something that this crew does not have."""
    return _page(request, Problem.of_status(404, NOT_THERE))


def kit_incomplete(request: Request, error: Exception) -> Response:
    """A day whose kit has no body or no lens."""
    words = f"The kit “{error}” has no body or no lens yet. Add them, then open the day again."
    return _page(request, Problem(409, "The kit is not complete", words))


def http_error(request: Request, error: Exception) -> Response:
    """Any other refusal: an unknown address, a method that is not allowed."""
    known = cast("HTTPException", error)
    words = NOT_THERE if known.status_code == 404 else str(known.detail)
    # The framework's 400 is a body that it could not read: too deeply nested, or in no encoding of JSON.
    unread = known.status_code == 400 and _for_machines(request)
    problem = Problem.not_json() if unread else Problem.of_status(known.status_code, words)
    response = problem.response() if _for_machines(request) else _page(request, problem)
    response.headers.update(known.headers or {})
    return response


def failed(request: Request, _error: Exception) -> Response:
    """A mistake of ours. The framework answers with it outside the guard, so it takes the guard's headers along."""
    words = "Something went wrong here, and it is our mistake. What was kept before is still there."
    problem = Problem.of_status(500, words)
    response = problem.response() if _for_machines(request) else _page(request, problem)
    response.headers.update(HEADERS)
    return response


NOT_THERE = "There is nothing at this address, or not any more."


def _for_machines(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def _page(request: Request, problem: Problem) -> Response:
    return draw(request, "problem/page.html", status=problem.status, problem=problem)
