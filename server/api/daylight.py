"""POST /api/daylight: a reading, carried to other times of the sun."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import Body
from pydantic import BaseModel, Field

from server.door.entrance import door_router
from server.exposure import daylight
from server.exposure.refused import OutOfRange
from server.exposure.sun import FIRST_YEAR, LAST_YEAR, Site

from .shapes import Shape

router = door_router()

When = Annotated[str, Field(max_length=40, description="ISO 8601 with its offset, as 2026-06-20T16:00+01:00")]

EXAMPLE = {
    "latitude": 51.48,
    "longitude": 0.0,
    "light": "sun",
    "lit_from": "front",
    "sky": "clear",
    "read_at": "2026-06-20T11:00+01:00",
    "ev100": 14.6,
    "at": ["2026-06-20T16:00+01:00", "2026-06-20T21:30+01:00"],
}


class DaylightRequest(Shape):
    """A reading of a place under the sky, and the times to carry it to."""

    latitude: float = Field(description="degrees, north positive")
    longitude: float = Field(description="degrees, east positive")
    light: daylight.LightKind = Field(description="What lights the place; lamps do not drift")
    lit_from: daylight.LitFrom = Field("side", description="Where the sun stands to whom it lights; open sun only")
    sky: daylight.Sky = Field(description="The sky at the reading")
    read_at: When
    ev100: float = Field(description="Exposure value at ISO 100, stops")
    at: list[When] = Field(description="The times asked for", max_length=daylight.TIMES_MOST)


class ForecastAt(BaseModel):
    """The light at one time."""

    at: str
    ev100: float = Field(description="Under the same sky, stops")
    low: float = Field(description="The least that the sky may leave, stops")
    high: float = Field(description="The most, stops")
    sun_elevation: float = Field(description="Of the sun's centre, geometric, without refraction, degrees")


class ForecastShape(BaseModel):
    """The light at each time, in the order asked for."""

    forecast: list[ForecastAt]


@router.post("/daylight")
def carry_reading(asked: Annotated[DaylightRequest, Body(examples=[EXAMPLE])]) -> ForecastShape:
    """How a reading drifts with the sun, and how far the sky may carry it off."""
    site = Site(asked.latitude, asked.longitude)
    spot = daylight.Spot(asked.light, asked.lit_from)
    known = daylight.Known(spot, asked.ev100, _time("read_at", asked.read_at), asked.sky)
    at = [_time(f"at.{number}", each) for number, each in enumerate(asked.at)]
    found = daylight.forecast(site, [known], at)
    columns = (*(level[0].tolist() for level in (found.ev100, found.low, found.high)), found.sun_elevation.tolist())
    return ForecastShape(
        forecast=[
            ForecastAt(at=each, ev100=ev100, low=low, high=high, sun_elevation=elevation)
            for each, ev100, low, high, elevation in zip(asked.at, *columns, strict=True)
        ]
    )


def _time(field: str, came: str) -> datetime:
    """A time with its offset, within the years that the ephemeris is asked about."""
    allowed = f"ISO 8601 with an offset, {FIRST_YEAR} to {LAST_YEAR}, as 2026-06-20T16:00+01:00"
    try:
        time = datetime.fromisoformat(came)
    except ValueError as refused:
        raise OutOfRange(field, came, allowed) from refused
    if time.tzinfo is None or not FIRST_YEAR <= time.year <= LAST_YEAR:
        raise OutOfRange(field, came, allowed)
    return time
