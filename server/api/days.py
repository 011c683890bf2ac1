"""POST /api/days: the exact best sequence of rigs for a running order."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Annotated

from fastapi import Body
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from server.door.entrance import door_router
from server.exposure import days
from server.exposure.light import Light
from server.exposure.rig import Kit

from .moves import EXAMPLE as MOVE
from .shapes import KitShape, LensShape, LookShape, MoveShape, Shape, move_data, under

router = door_router()

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
    lens: LensShape | None = Field(
        None,
        description="Put on before this stop, and on for the following ones until another stop names one; "
        "null: the lens that is on by then, at first the request's. What fits it stays on, the rest comes off with "
        "the old lens, and the move starts from there",
    )

    def kit(self, before: Kit) -> Kit:
        """The kit with the lens that is on for this stop, from that of the stop before."""
        if self.lens is None:
            return before
        with under("lens"):
            return replace(before, lens=self.lens.value())

    def value(self, kit: Kit) -> days.Stop:
        """The engine's value."""
        return days.Stop(Light(self.ev100), self.look.value(), self.hurry, kit)


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
    kits, stops = [asked.kit()], []
    for number, stop in enumerate(asked.stops):
        with under(f"stops.{number}"):
            kits.append(stop.kit(kits[-1]))
            stops.append(stop.value(kits[-1]))
    plan = days.best_day(kits[0], asked.rig.value(), stops)
    return JSONResponse({
        "stops": [move_data(kit, move) for kit, move in zip(kits[1:], plan.moves, strict=True)],
        "score": asdict(plan.score),
        "stop_by_stop_effort": plan.stop_by_stop_effort,
    })  # fmt: skip
