"""What was refused, as an RFC 9457 problem document."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from server.exposure.refused import OutOfRange, shown

if TYPE_CHECKING:
    from collections.abc import Sequence

BAD_INPUT = "/api#bad-input"
ERRORS_SHOWN = 20


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
        detail = f"{first.field}: {first.came} came, allowed is {first.allowed}."
        return cls(status, "Bad input", detail, tuple(errors[:ERRORS_SHOWN]))

    @classmethod
    def of_refusal(cls, refusal: OutOfRange) -> Problem:
        """Bad input that the engine refused."""
        return cls.of_field(refusal.field, refusal.came, refusal.allowed)

    @classmethod
    def of_validation(cls, errors: Sequence[dict[str, Any]]) -> Problem:
        """Bad input that the request's model refused."""
        if any(error["type"] == "json_invalid" for error in errors):
            return cls(400, "Not JSON", "The body is not JSON.", (
                FieldProblem(field="(body)", came="something else", allowed="a JSON object"),
            ))  # fmt: skip
        return cls.of_fields([
            FieldProblem(
                field=".".join(str(part) for part in error["loc"] if part != "body") or "(body)",
                came="nothing" if error["type"] == "missing" else shown(error.get("input")),
                allowed=_allowed(error),
            )
            for error in errors[:ERRORS_SHOWN]
        ])  # fmt: skip

    @classmethod
    def of_status(cls, status: int, detail: str) -> Problem:
        """Any other refusal of HTTP."""
        return cls(status, HTTPStatus(status).phrase, detail)

    def response(self) -> JSONResponse:
        """The document as a response."""
        document = ProblemDocument(
            type=BAD_INPUT if self.errors else "about:blank",
            title=self.title, status=self.status, detail=self.detail, errors=list(self.errors),
        )  # fmt: skip
        return JSONResponse(document.model_dump(), self.status, media_type="application/problem+json")


def _allowed(error: dict[str, Any]) -> str:
    """What a model allows, from the words of its refusal: "Input should be a valid number" allows a valid number."""
    kind, message = error["type"], str(error["msg"])
    if kind == "missing":
        return "a value; it is needed"
    if kind == "extra_forbidden":
        return "no such field"
    for start in ("Input should be ", "Value error, "):
        message = message.removeprefix(start)
    return message
