"""POST /api/readings: a light level from whatever was at hand."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import Body
from pydantic import BaseModel, Field

from server.door.entrance import door_router
from server.exposure import light

from .shapes import Shape

router = door_router()


class EvReading(Shape):
    """A meter's EV."""

    kind: Literal["ev"]
    value: float = Field(description="Exposure value at the meter's ISO, stops")
    iso: float = Field(100, description="ISO speed that the meter was set to")

    def light(self) -> light.Light:
        """The engine's value."""
        return light.from_ev(self.value, self.iso)


class LuxReading(Shape):
    """Incident light on a flat receptor (ISO 2720, C = 250)."""

    kind: Literal["lux"]
    value: float = Field(description="Illuminance, lx")

    def light(self) -> light.Light:
        """The engine's value."""
        return light.from_lux(self.value)


class LuminanceReading(Shape):
    """Reflected light (ISO 2720, K = 12.5)."""

    kind: Literal["luminance"]
    value: float = Field(description="Luminance, cd/m²")

    def light(self) -> light.Light:
        """The engine's value."""
        return light.from_luminance(self.value)


class CameraReading(Shape):
    """The camera's own settings, with the glass that was on."""

    kind: Literal["camera"]
    aperture: float = Field(description="f-number as marked")
    shutter: float = Field(description="Exposure time, s")
    iso: float = Field(description="ISO speed as marked")
    filter_stops: float = Field(0, description="Stops of everything on the lens")
    meter: float = Field(0, description="What the camera's meter shows, stops; +1 is one stop too bright")

    def light(self) -> light.Light:
        """The engine's value."""
        return light.from_camera(self.aperture, self.shutter, self.iso, self.filter_stops, self.meter)


ReadingShape = Annotated[
    EvReading | LuxReading | LuminanceReading | CameraReading, Field(discriminator="kind")
]  # fmt: skip


class Ev100(BaseModel):
    """A light level."""

    ev100: float = Field(description="Exposure value at ISO 100, stops")


EXAMPLES = [
    {"kind": "ev", "value": 12.3},
    {"kind": "lux", "value": 640},
    {"kind": "luminance", "value": 64},
    {"kind": "camera", "aperture": 5.6, "shutter": 0.02, "iso": 400, "filter_stops": 2, "meter": 0.33},
]


@router.post("/readings")
def read_light(reading: Annotated[ReadingShape, Body(examples=EXAMPLES)]) -> Ev100:
    """The light level that a reading stands for."""
    return Ev100(ev100=reading.light().ev100)
