"""How this browser is spoken to: the language, metres or feet, the clock of 24 or 12 hours."""

from __future__ import annotations

from typing import Annotated

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator

from server.door.entrance import door_router
from server.door.manners import keep
from server.language import LANGUAGES, Manner, Worded, manner, noted

from .drawing import draw
from .forms import Form, TheForm, Typed, one_of

router = door_router()

LENGTHS = Worded({"metres": noted("metres"), "feet": noted("feet")})
CLOCKS = Worded({"24": noted("24 hours: 14:30"), "12": noted("12 hours: 2:30 pm")})


class MannerForm(Form):
    """What was chosen."""

    language: Annotated[str, BeforeValidator(one_of(LANGUAGES, noted("a language of the list")))]
    lengths: Annotated[str, BeforeValidator(one_of(LENGTHS, noted("metres or feet")))]
    hours: Annotated[str, BeforeValidator(one_of(CLOCKS, noted("24 or 12 hours")))]


@router.get("/manner")
def show_manner(request: Request) -> Response:
    """The form."""
    return _page(request, Typed())


@router.post("/manner")
def choose_manner(request: Request, came: TheForm) -> Response:
    """Keep the choice on this browser."""
    form, typed = MannerForm.read(came)
    if form is None:
        return _page(request, typed, 422)
    response = RedirectResponse("/manner", 303)
    keep(request, response, Manner(form.language, form.lengths == "feet", form.hours == "12"))
    return response


def _page(request: Request, typed: Typed, status: int = 200) -> Response:
    now = manner()
    return draw(
        request, "manner/page.html", status=status, typed=typed,
        languages=LANGUAGES.items(), lengths=LENGTHS.items(), clocks=CLOCKS.items(),
        language=now.language, length="feet" if now.feet else "metres", hours="12" if now.twelve else "24",
    )  # fmt: skip
