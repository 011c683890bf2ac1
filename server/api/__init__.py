"""Routes that answer with JSON: the engine's calls, as the contract has them."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

from server.door.entrance import door_router
from server.door.problems import ProblemDocument

from . import daylight, days, depth, moves, readings

router = door_router(tags=["engine"])
router.include_router(moves.router)
router.include_router(days.router)
router.include_router(readings.router)
router.include_router(daylight.router)
router.include_router(depth.router)

ABOUT = (
    "Units: light in stops as `ev100`, the log2(N²/t) that exposes it correctly at ISO 100; f-numbers as marked; "
    "exposure times in seconds; densities in D; sizes of glass in millimetres; hand times in seconds; turns of the "
    "iris in clicks of the body's dial. Numbers must be JSON numbers, and finite. Bad input is answered with an "
    "RFC 9457 problem document that names the field, what came and what is allowed: 422, or 400 for what is not JSON."
)

PROBLEM = "application/problem+json"
REFUSALS: dict[int | str, dict[str, Any]] = {
    400: {"description": "Not JSON", "model": ProblemDocument, "content": {PROBLEM: {}}},
    403: {"description": "Asked for by another site", "model": ProblemDocument, "content": {PROBLEM: {}}},
    408: {"description": "The body stopped halfway", "model": ProblemDocument, "content": {PROBLEM: {}}},
    422: {"description": "Bad input", "model": ProblemDocument, "content": {PROBLEM: {}}},
    503: {"description": "The database does not answer now", "model": ProblemDocument, "content": {PROBLEM: {}}},
}


class Documented(FastAPI):
    """An application whose document has refusals under the type they are sent with; the framework puts them in JSON."""

    def openapi(self) -> dict[str, Any]:
        """The OpenAPI document."""
        document = super().openapi()
        for operations in document["paths"].values():
            for operation in operations.values():
                for answer in operation["responses"].values():
                    content = answer.get("content", {})
                    if PROBLEM in content and "application/json" in content:
                        content[PROBLEM] = content.pop("application/json")
        return document
