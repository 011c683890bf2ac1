"""POST /api/moves: the exact best rigs for the light at a place."""

from __future__ import annotations

from typing import Annotated

from fastapi import Body
from fastapi.responses import JSONResponse

from server.door.entrance import door_router
from server.exposure import moves

from .shapes import AnswersShape, KitShape, LightShape, LookShape, answers_data, under

router = door_router()

EXAMPLE = {
    "body": {
        "clicks_per_stop": 3,
        "iso": {"base": [100, 800], "allowed": [100, 125, 160, 800], "quiet": 160},
        "shutters": [0.02, 0.008],
        "built_in_nd": [0, 2, 4, 6],
    },
    "lens": {"widest": 1.8, "smallest": 16, "thread": 77},
    "holder": {"width": 100, "slots": 2, "rings": [77, 82]},
    "filters": [
        {"id": "grey6", "kind": "nd", "mount": "slot", "width": 100, "density": 0.6},
        {"id": "round18", "kind": "nd", "mount": "thread", "thread": 77, "density": 1.8},
    ],
    "look": {"wanted": 2.8, "widest": 2.0, "narrowest": 4.0, "shutter": 0.02},
    "rig": {
        "holder_on": True, "slots": ["grey6"], "threads": [], "built_in": 0,
        "aperture": 2.8, "shutter": 0.02, "iso": 100,
    },
    "hands": {"pull": 3, "drop_in": 4},
    "light": {"ev100": 6.0},
}  # fmt: skip


class MoveRequest(KitShape):
    """A kit, the rig on the camera, and the light and look of the next place."""

    look: LookShape
    light: LightShape


@router.post("/moves", response_model=AnswersShape, response_model_exclude_none=True)
def best_move(asked: Annotated[MoveRequest, Body(examples=[EXAMPLE])]) -> JSONResponse:
    """
    Which filter to pull or add and how many clicks to turn, both ways: the best picture first, least hand time first.
    """
    kit = asked.kit()
    now, look = asked.rig.value(), asked.look.value()
    with under("light"):
        light = asked.light.value()
    (answers,) = moves.best_moves(kit, now, [(light, look)])
    return JSONResponse(answers_data(kit, answers))
