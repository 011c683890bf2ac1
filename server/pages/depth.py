"""Depth of field for a rig, and the iris that gives a second camera the same look."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Request, Response
from pydantic import BeforeValidator
from starlette.datastructures import FormData

from server.book import kits, tables
from server.book.crews import owned
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import depth
from server.exposure.refused import OutOfRange
from server.exposure.scales import exact_f_number
from server.language import length, manner, say

from .drawing import draw
from .forms import Distance, FNumber, Form, MaybeDistance, MaybeNumber, Number, Typed, sensor
from .numbers import Number as RowNumber

router = door_router()


AFormat = Annotated[Any, BeforeValidator(sensor)]


class DepthForm(Form):
    """The first camera, and the second if there is one."""

    format: AFormat
    focal: Number
    aperture: FNumber
    distance: Distance
    second_format: AFormat
    second_focal: MaybeNumber = None
    second_distance: MaybeDistance = None

    def first(self) -> depth.Camera:
        """The engine's value."""
        try:
            return depth.Camera(self.format, self.focal, self.aperture, self.distance)
        except OutOfRange as refused:
            raise _refused(refused, "", self.focal, self.distance) from refused

    def second(self) -> depth.SecondCamera:
        """The engine's value."""
        try:
            return depth.SecondCamera(self.second_format, self.second_focal, self.second_distance)
        except OutOfRange as refused:
            raise _refused(refused, "second_", self.second_focal, self.second_distance) from refused

    def check(self) -> None:
        """Hold both cameras to the engine's limits."""
        depth.matching(self.first(), self.second())


FIELDS = {"focal_mm": "focal", "distance_m": "distance"}


def _refused(refused: OutOfRange, which: str, focal_mm: float | None, distance_m: float | None) -> OutOfRange:
    """The engine's word on a camera for the form's field; a distance in feet for who typed it so."""
    field = which + FIELDS.get(refused.field, refused.field)
    if manner().feet and refused.field == "distance_m" and distance_m is not None:
        allowed = say("{low} to {high}", low=length((focal_mm or 0) / 1000), high=length(depth.DISTANCE_MOST))
        return OutOfRange(field, length(distance_m), allowed)
    return OutOfRange(field, refused.came, refused.allowed)


@router.get("/kits/{kit_id}/depth")
def depth_page(request: Request, book: TheBook, visitor: TheVisitor, kit_id: RowNumber) -> Response:
    """The question in the address, so that the answer can be kept and sent."""
    with book.reading() as session:
        kit = owned(session, tables.Kit, visitor.crew, kit_id)
        body, lens = next(iter(kit.bodies), None), next(iter(kit.lenses), None)
        other = kit.bodies[-1] if kit.bodies else None
        usual = {
            "format": (body and body.format) or "full_frame",
            "focal": (lens and lens.focal_mm) or 50.0,
            "aperture": kits.lens_of(lens).widest if lens else 2.8,
            "distance": 3.0,
            "second_format": (other and other.format) or "super_35",
        }
        name = kit.name
    form, typed = None, Typed()
    if request.query_params:
        form, typed = DepthForm.read(FormData(dict(request.query_params)))
    answer = match = None
    if form is not None:
        answer, match = depth.depth(form.first().focus), depth.matching(form.first(), form.second())
    return draw(
        request,
        "kit/depth.html",
        status=422 if typed.errors else 200,
        kit_id=kit_id,
        name=name,
        usual=usual,
        typed=typed,
        depth=answer,
        match=match,
        exact=exact_f_number(form.aperture) if form else None,
    )
