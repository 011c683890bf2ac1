"""POST /api/days: the exact best sequence of rigs for a running order."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Body
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from server.exposure import days
from server.exposure.light import Light

from .moves import EXAMPLE as MOVE
from .shapes import KitShape, LookShape, MoveShape, Shape, move_data, under

router = APIRouter()

EXAMPLE = {
    **{name: value for name, value in MOVE.items() if name not in {"look", "light"}},
    "stops": [
        {"ev100": 8.2, "look": {"wanted": 2.8, "widest": 2.0, "narrowest": 4.0, "shutter": 0.02}},
        {"ev100": 6.0, "look": {"wanted": 2.8, "widest": 2.0, "narrowest": 4.0, "shutter": 0.02}, "hurry": 3},
        {"ev100": 14.3, "look": {"wanted": 2.8, "widest": 2.0, "narrowest": 4.0, "shutter": 0.02}},
    ],
}


class StopShape(Shape):
    """A stop of the running order."""

    ev100: float = Field(description="Light level there: exposure value at ISO 100, stops")
    look: LookShape
    hurry: float = Field(
        1.0, description=f"How many times the hand seconds of arriving count in its effort, 0 to {days.HURRY_MOST:g}"
    )

    def value(self) -> days.Stop:
        """The engine's value."""
        return days.Stop(Light(self.ev100), self.look.value(), self.hurry)


class DayRequest(KitShape):
    """A kit, the rig on the camera, and the stops of a running order."""

    stops: list[StopShape] = Field(description="In their order", min_length=1, max_length=days.STOPS_MOST)


class DayScoreShape(BaseModel):
    """The sums over all stops, each of parts rounded to 1e-6."""

    miss: float = Field(description="clicks")
    off_look: int = Field(description="clicks")
    shutter_off: float = Field(description="thirds of a stop")
    iso_lift: int = Field(description="thirds of a stop")
    effort: float = Field(description="s, hand seconds counted as often as each stop's hurry says")
    residual: float = Field(description="Sum of its sizes, clicks")
    hand_seconds: float = Field(description="s")
    glass_seconds: float = Field(description="s")
    off_wanted: int = Field(description="clicks")


class DayShape(BaseModel):
    """A day's plan."""

    stops: list[MoveShape] = Field(
        description="The move to each stop from the one before; its effort counts hand seconds as its hurry says"
    )
    score: DayScoreShape
    stop_by_stop_effort: float = Field(
        description="What the clean move to each stop from the last one's would cost in effort, s"
    )


@router.post("/days", response_model=DayShape, response_model_exclude_none=True)
def best_day(asked: Annotated[DayRequest, Body(examples=[EXAMPLE])]) -> JSONResponse:
    """
    The plan with the smallest sums over the whole day, looking ahead: where the pictures are as good, the least effort.

    A day that leaves too much to choose among, by many filters and wide looks together, is refused: it is planned
    exactly, or not at all.
    """
    kit = asked.kit()
    stops = []
    for number, stop in enumerate(asked.stops):
        with under(f"stops.{number}"):
            stops.append(stop.value())
    plan = days.best_day(kit, asked.rig.value(), stops)
    return JSONResponse({
        "stops": [move_data(kit, move) for move in plan.moves],
        "score": asdict(plan.score),
        "stop_by_stop_effort": plan.stop_by_stop_effort,
    })  # fmt: skip
