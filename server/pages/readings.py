"""The forms for a reading, one a method, shared by the venue page and the day page."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BeforeValidator

from server.exposure import light

from .forms import FNumber, Form, Number, NumberOrZero, Seconds, Typed, number, optional, text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.datastructures import FormData

METHODS = {"ev": "EV", "lux": "Lux", "camera": "Camera"}


def _base_if_empty(came: object) -> float:
    return 100.0 if optional(came) is None else number(came, "100")


class EvForm(Form):
    """A meter's EV at the ISO it was set to."""

    kind: Literal["ev"]
    value: Number
    iso: Annotated[float, BeforeValidator(_base_if_empty)] = 100.0

    def light(self, _stops_on_lens: float = 0.0) -> light.Light:
        """The light level."""
        return light.from_ev(self.value, self.iso)

    def check(self) -> None:
        """Refuse what is no light level."""
        self.light()


class LuxForm(Form):
    """Illuminance on a flat receptor."""

    kind: Literal["lux"]
    value: Number

    def light(self, _stops_on_lens: float = 0.0) -> light.Light:
        """The light level."""
        return light.from_lux(self.value)

    def check(self) -> None:
        """Refuse what is no light level."""
        self.light()


class CameraForm(Form):
    """
    The camera's settings, what its meter showed, and the glass that was on.

    glass: ids of the filters that were ticked;  filter_stops: what else took light [stops]
    """

    kind: Literal["camera"]
    aperture: FNumber
    shutter: Seconds
    iso: Number
    meter: NumberOrZero = 0.0
    filter_stops: NumberOrZero = 0.0
    glass: tuple[Annotated[str, BeforeValidator(text)], ...] = ()

    def light(self, stops_on_lens: float = 0.0) -> light.Light:
        """The light level, with the stops of the glass that was on."""
        stops = self.filter_stops + stops_on_lens
        return light.from_camera(self.aperture, self.shutter, self.iso, stops, self.meter)

    def check(self) -> None:
        """Refuse what no camera can be set to."""
        self.light()


ReadingForm = EvForm | LuxForm | CameraForm
_FORMS: dict[str, type[EvForm | LuxForm | CameraForm]] = {"ev": EvForm, "lux": LuxForm, "camera": CameraForm}


def read_reading(came: FormData) -> tuple[ReadingForm | None, Typed]:
    """The reading that a form says, by whichever method it was."""
    form = _FORMS.get(str(came.get("kind")))
    if form is None:
        return None, Typed(errors={"kind": "It needs a method: EV, lux or the camera's settings"})
    return form.read(came)


def stops_of(glass: tuple[str, ...], known: Mapping[str, float]) -> float:
    """The stops [stops] of the filters that were ticked; one that is not known any more counts nothing."""
    return math.fsum(known.get(each, 0.0) for each in glass)


def raw_figures(form: ReadingForm, stops_on_lens: float) -> dict[str, Any]:
    """The figures as typed, and the stops that were counted for the glass, for the book."""
    figures = form.model_dump(exclude={"kind", "glass"})
    return figures | ({"glass_stops": stops_on_lens} if form.kind == "camera" else {})
