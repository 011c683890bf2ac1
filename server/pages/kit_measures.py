"""Measuring what a filter or a lens really takes, from two camera readings of the same wall."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator

from server.book import kits, tables
from server.book.crews import NotThere, owned
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import light, measuring
from server.exposure.refused import OutOfRange
from server.language import decimal, say

from .drawing import draw
from .forms import FNumber, Form, Number, NumberOrZero, Seconds, TheForm, Ticked, Typed, text
from .numbers import Number as RowNumber

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

router = door_router()

Things = Literal["filters", "lenses"]


class MeasureForm(Form):
    """
    Two readings of one wall in one light: without the glass, and with it and nothing else changed on the lens.

    For a lens, "without" is another lens, whose own loss is known: known_loss [stops].
    """

    without_aperture: FNumber
    without_shutter: Seconds
    without_iso: Number
    without_meter: NumberOrZero = 0.0
    with_aperture: FNumber
    with_shutter: Seconds
    with_iso: Number
    with_meter: NumberOrZero = 0.0
    known_loss: NumberOrZero = 0.0
    step: Annotated[Literal["1/3", "1/10", "1/2"], BeforeValidator(text)] = "1/3"
    keep: Ticked = False

    def measured(self) -> measuring.Measured:
        """What the glass takes. Raises OutOfRange with the form's own field names."""
        without = _reading("without", self.without_aperture, self.without_shutter, self.without_iso, self.without_meter)
        with_it = _reading("with", self.with_aperture, self.with_shutter, self.with_iso, self.with_meter)
        return measuring.density_of(without + self.known_loss, with_it, STEPS[self.step])

    def check(self) -> None:
        """Refuse readings that no glass explains."""
        self.measured()


STEPS = {"1/3": 1 / 3, "1/10": 1 / 10, "1/2": 1 / 2}


def _reading(which: str, aperture: float, shutter: float, iso: float, meter: float) -> float:
    try:
        return light.from_camera(aperture, shutter, iso, meter=meter).ev100
    except OutOfRange as refused:
        raise OutOfRange(f"{which}_{refused.field}", refused.came, refused.allowed) from refused


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was measured, against what was thought: off [stops], above 0 if it takes more than its mark says."""

    measured: measuring.Measured
    off: float
    sure: bool


@router.get("/kits/{kit_id}/{things}/{thing_id}/measure")
def measure(
    request: Request, book: TheBook, visitor: TheVisitor, kit_id: RowNumber, things: Things, thing_id: RowNumber
) -> Response:
    """The form for two readings."""
    with book.reading() as session:
        kit, row = _thing(session, visitor.crew, kit_id, things, thing_id)
        return _page(request, kit, things, row, Typed())


@router.post("/kits/{kit_id}/{things}/{thing_id}/measure")
def take_measure(
    request: Request,
    book: TheBook,
    visitor: TheVisitor,
    kit_id: RowNumber,
    things: Things,
    thing_id: RowNumber,
    came: TheForm,
) -> Response:
    """Say what the readings come to; keep it where the shooter says so."""
    form, typed = MeasureForm.read(came)
    with book.writing(visitor.crew) as session:
        kit, row = _thing(session, visitor.crew, kit_id, things, thing_id)
        if form is None:
            return _page(request, kit, things, row, typed, status=422)
        measured = form.measured()
        if isinstance(row, tables.Lens) and measured.stops > measuring.LOSS_MOST:
            typed.errors["with_glass"] = say(
                "{stops} stops came; a lens loses {most} at most, so something else was in front of it",
                stops=decimal(f"{measured.stops:.1f}"),
                most=f"{measuring.LOSS_MOST:g}",
            )
            return _page(request, kit, things, row, typed, status=422)
        if not form.keep:
            return _page(request, kit, things, row, typed, outcome=_outcome(row, measured))
        if isinstance(row, tables.Filter):
            row.measured, row.measured_spread = measured.density, measuring.COVERAGE * measured.density_uncertainty
        else:
            row.loss_stops = measured.stops
        kits.changed(kit)
    return RedirectResponse(f"{request.app.url_path_for('show_kit', kit_id=kit_id)}#{things}", status_code=303)


def _outcome(row: tables.Filter | tables.Lens, measured: measuring.Measured) -> Outcome:
    if isinstance(row, tables.Filter):
        return Outcome(
            measured, measuring.off_mark(row.density, measured), sure=measuring.beyond_doubt(row.density, measured)
        )
    off = measured.stops - row.loss_stops
    return Outcome(measured, off, sure=abs(off) > measured.expanded)


def _thing(
    session: Session, crew: int, kit_id: int, things: Things, thing_id: int
) -> tuple[tables.Kit, tables.Filter | tables.Lens]:
    kit = owned(session, tables.Kit, crew, kit_id)
    rows: list[tables.Filter | tables.Lens] = [*(kit.filters if things == "filters" else kit.lenses)]
    row = next((each for each in rows if each.id == thing_id), None)
    if row is None or (isinstance(row, tables.Filter) and row.kind in ("grad", "variable_nd")):
        raise NotThere(things)
    return kit, row


def _page(
    request: Request,
    kit: tables.Kit,
    things: Things,
    row: tables.Filter | tables.Lens,
    typed: Typed,
    *,
    status: int = 200,
    outcome: Outcome | None = None,
) -> Response:
    return draw(
        request, "kit/measure.html", status=status, kit=kit, things=things, row=row, typed=typed, outcome=outcome
    )
