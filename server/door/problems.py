"""What was refused, as an RFC 9457 problem document."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from server.exposure.refused import OutOfRange, shown
from server.language import Worded, noted, say

if TYPE_CHECKING:
    from collections.abc import Sequence

BAD_INPUT = "/api#bad-input"
ERRORS_SHOWN = 20
# What HTTP calls the refusals that a person may see.
TITLES = Worded({
    400: noted("Bad Request"), 404: noted("Not Found"), 405: noted("Method Not Allowed"),
    408: noted("Request Timeout"), 500: noted("Internal Server Error"),
})  # fmt: skip


class FieldProblem(BaseModel):
    """One field that was refused."""

    field: str = Field(description="Path of the field, as `look.wanted` or `filters.2.density`")
    came: str = Field(description="What came in it, shortened")
    allowed: str = Field(description="What may come, with its unit")


class ProblemDocument(BaseModel):
    """RFC 9457 problem document, sent as application/problem+json."""

    type: str
    title: str
    status: int
    detail: str = Field(description="A sentence for the person who asked")
    errors: list[FieldProblem] = Field(description="Field by field; empty where no field is to blame")


@dataclass(frozen=True, slots=True)
class Problem:
    """A refusal on its way to the client."""

    status: int
    title: str
    detail: str
    errors: tuple[FieldProblem, ...] = ()

    @classmethod
    def of_field(cls, field: str, came: object, allowed: str) -> Problem:
        """Bad input in one field."""
        return cls.of_fields([FieldProblem(field=field, came=shown(came), allowed=allowed)])

    @classmethod
    def of_fields(cls, errors: Sequence[FieldProblem], status: int = 422) -> Problem:
        """Bad input in some fields."""
        first = errors[0]
        detail = say(
            "{field}: {came} came, allowed is {allowed}.", field=first.field, came=first.came, allowed=first.allowed
        )
        return cls(status, say("Bad input"), detail, tuple(errors[:ERRORS_SHOWN]))

    @classmethod
    def of_refusal(cls, refusal: OutOfRange) -> Problem:
        """Bad input that the engine refused."""
        return cls.of_field(refusal.field, refusal.came, refusal.allowed)

    @classmethod
    def of_validation(cls, errors: Sequence[dict[str, Any]], body: object) -> Problem:
        """Bad input that the request's model refused."""
        if any(error["type"] == "json_invalid" for error in errors):
            return cls.not_json()
        return cls.of_fields([
            FieldProblem(field=_field(error, body), came=_came(error), allowed=_allowed(error))
            for error in errors[:ERRORS_SHOWN]
        ])  # fmt: skip

    @classmethod
    def not_json(cls) -> Problem:
        """A body that cannot be read as JSON."""
        whole = FieldProblem(field="(body)", came="something else", allowed="a JSON object in UTF-8")
        return cls(400, "Not JSON", "The body is not JSON.", (whole,))

    @classmethod
    def of_status(cls, status: int, detail: str) -> Problem:
        """Any other refusal of HTTP."""
        return cls(status, TITLES.get(status) or HTTPStatus(status).phrase, detail)

    def response(self) -> JSONResponse:
        """The document as a response."""
        document = ProblemDocument(
            type=BAD_INPUT if self.errors else "about:blank",
            title=self.title, status=self.status, detail=self.detail, errors=list(self.errors),
        )  # fmt: skip
        return JSONResponse(document.model_dump(), self.status, media_type="application/problem+json")


def _field(error: dict[str, Any], body: object) -> str:
    """The path as it is in the request: the framework's "body" in front of it, and the kind of a reading, are not."""
    path = [*error["loc"]]
    if path[:1] == ["body"]:
        path.pop(0)
    if isinstance(body, dict) and len(path) > 1 and path[0] == body.get("kind"):
        path.pop(0)
    if error["type"].startswith("union_tag"):
        path.append(error["ctx"]["discriminator"].strip("'"))
    return ".".join(str(part) for part in path) or "(body)"


def _came(error: dict[str, Any]) -> str:
    if error["type"] in ("missing", "union_tag_not_found"):
        return "nothing"
    return shown(error["ctx"]["tag"] if error["type"] == "union_tag_invalid" else error.get("input"))


def _allowed(error: dict[str, Any]) -> str:
    """What a model allows, from the words of its refusal: "Input should be a valid number" allows a valid number."""
    kind, message = error["type"], str(error["msg"])
    if kind == "union_tag_invalid":
        return "one of " + str(error["ctx"]["expected_tags"])
    if kind in _ALLOWED:
        return _ALLOWED[kind]
    for start in ("Input should be ", "Value error, "):
        message = message.removeprefix(start)
    return message


_ALLOWED = {
    "missing": "a value; it is needed",
    "union_tag_not_found": "a value; it is needed",
    "extra_forbidden": "no such field",
    "model_attributes_type": "a JSON object, sent as application/json",
    "model_type": "a JSON object",
}
