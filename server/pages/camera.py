"""The second shooter's own camera on a day: which kit, and how it goes with the first camera's look."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator

from server.book import tables
from server.book.cameras import Own, film_with, film_with_the_first, own_camera
from server.book.crews import NotThere, all_owned, owned
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure.looks import HOWS, How
from server.language import Worded, noted, say

from .drawing import draw
from .forms import Form, MaybeWhole, TheForm, Typed, Whole, one_of
from .numbers import Number as RowNumber

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from server.door.visitor import Visitor

router = door_router()

HOW_WORDS: Worded[How] = Worded(
    {
        "field": noted("same field of view"),
        "blur": noted("same background blur"),
        "own": noted("the same f-numbers"),
    }
)

NOT_IN_KIT = Worded(
    {
        "body": noted("This kit has no such body any more"),
        "lens": noted("This kit has no such lens any more"),
        "holder": noted("This kit has no such holder any more"),
    }
)


class CameraForm(Form):
    """What somebody films with."""

    kit: Whole
    body: Whole
    lens: Whole
    holder: MaybeWhole = None
    # Not "matches": a field of that name would stand in the way of the form's own method in the browser.
    how: Annotated[How, BeforeValidator(one_of(HOWS, noted("a match of the list")))]


class AskedKit(Form):
    """Which kit's bodies and lenses are to be chosen from."""

    kit: MaybeWhole = None


@router.get("/days/{day_id}/camera")
def show_camera(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """What the one who asks films with, and what they could."""
    asked, _ = AskedKit.read(request.query_params)
    with book.reading() as session:
        day = owned(session, tables.Day, visitor.crew, day_id)
        return _page(request, session, visitor, day, None if asked is None else asked.kit, Typed())


@router.post("/days/{day_id}/camera")
def change_camera(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """Film with a camera of one's own from now on."""
    form, typed = CameraForm.read(came)
    kit_id = AskedKit.read(came)[0]
    with book.writing(visitor.crew) as session:
        day = owned(session, tables.Day, visitor.crew, day_id)
        own = None if form is None else _own(session, visitor, form, typed)
        if visitor.person is None:
            typed.errors["kit"] = say(NOBODY)
        if own is None or typed.errors:
            return _page(request, session, visitor, day, kit_id.kit if kit_id else None, typed, status=422)
        film_with(session, visitor, day, own)
    return RedirectResponse(request.app.url_path_for("show_day", day_id=day_id), status_code=303)


@router.post("/days/{day_id}/camera/end")
def drop_camera(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """Film with the first camera again."""
    with book.writing(visitor.crew) as session:
        film_with_the_first(session, visitor, owned(session, tables.Day, visitor.crew, day_id))
    return RedirectResponse(request.app.url_path_for("show_day", day_id=day_id), status_code=303)


NOBODY = noted("Come in by an invite first: nobody at the demo’s own machine can be given a camera")


def _own(session: Session, visitor: Visitor, form: CameraForm, typed: Typed) -> Own | None:
    """What a form chose, as far as there is such a thing; else a word beside the field."""
    try:
        kit = owned(session, tables.Kit, visitor.crew, form.kit)
    except NotThere:
        typed.errors["kit"] = say("There is no such kit any more")
        return None
    body = next((row for row in kit.bodies if row.id == form.body), None)
    lens = next((row for row in kit.lenses if row.id == form.lens), None)
    known = {"body": body is not None, "lens": lens is not None}
    known["holder"] = form.holder is None or form.holder in [row.id for row in kit.holders]
    typed.errors |= {name: NOT_IN_KIT[name] for name, there in known.items() if not there}
    if body is None or lens is None or typed.errors:
        return None
    return Own(kit, body, lens, form.holder, form.how)


def _page(
    request: Request, session: Session, visitor: Visitor, day: tables.Day, kit_id: int | None, typed: Typed,
    status: int = 200,
) -> Response:  # fmt: skip
    own = own_camera(session, visitor, day)
    kits = all_owned(session, tables.Kit, visitor.crew)
    chosen = kit_id or (None if own is None else own.kit_id)
    return draw(
        request, "day/camera.html", status=status, day=day, own=own, typed=typed, kits=kits, hows=HOW_WORDS,
        kit=next((kit for kit in kits if kit.id == chosen), None), nobody=visitor.person is None,
    )  # fmt: skip
