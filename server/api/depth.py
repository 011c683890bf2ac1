"""POST /api/depth and /api/match: what is sharp, how soft the rest is, and how a second camera matches that."""

from __future__ import annotations

from typing import Annotated

from fastapi import Body
from pydantic import BaseModel, Field

from server.door.entrance import door_router
from server.exposure import depth, scales

from .shapes import Shape, under

router = door_router()

FORMATS_SAID = "; ".join(f"`{each.id}` {each.name} mm" for each in depth.FORMATS)


class DepthRequest(Shape):
    """A lens, focused."""

    focal_mm: float = Field(description="Focal length, mm: 1 to 2000")
    aperture: float = Field(description="f-number as it is, not snapped to a dial; never a T-number: 0.5 to 128")
    distance_m: float = Field(description="From the lens to what is in focus, m: more than the focal length, to 10 km")
    circle_mm: float = Field(description="Circle of confusion on the sensor, mm: 0.001 to 0.2")


class DepthAnswer(BaseModel):
    """What is sharp, by the exact thin-lens forms."""

    near_m: float = Field(description="Nearest distance that passes for sharp, m")
    far_m: float | None = Field(description="Farthest, m; null is infinity")
    hyperfocal_m: float = Field(description="Focused there, half of it to infinity passes for sharp, m")
    infinity_blur_mm: float = Field(description="Disc on the sensor that a point in the far background becomes, mm")


class FirstShape(Shape):
    """The camera whose look is to be matched."""

    format: str = Field(description=f"Id of its format: {FORMATS_SAID}")
    focal_mm: float = Field(description="Focal length, mm: 1 to 2000")
    aperture: float = Field(description="f-number as marked on its dial")
    distance_m: float = Field(description="From the lens to what is in focus, m: more than the focal length, to 10 km")
    clicks_per_stop: int = Field(3, description="Detents of its aperture dial a stop: 3, 2, 1; 10 for a stepless iris")

    def value(self) -> depth.Camera:
        """The engine's value."""
        return depth.Camera(
            depth.format_of(self.format),
            self.focal_mm,
            self.aperture,
            self.distance_m,
            scales.clicks_per_stop(self.clicks_per_stop),
        )


class SecondShape(Shape):
    """The camera that is to match."""

    format: str = Field(description="Id of its format, one of the same")
    focal_mm: float | None = Field(
        None, description="Focal length of the lens that is on it, mm; null: only the lens that would match is wanted"
    )
    distance_m: float | None = Field(
        None, description="From its lens to the same subject, m; null: it stands beside the first camera"
    )
    clicks_per_stop: int = Field(3, description="Detents of its aperture dial a stop: 3, 2, 1; 10 for a stepless iris")
    widest: float = Field(scales.F_NUMBER_WIDEST, description="Its lens's widest iris, f-number as marked")
    smallest: float = Field(scales.F_NUMBER_SMALLEST, description="Its lens's smallest iris, f-number as marked")

    def value(self) -> depth.SecondCamera:
        """The engine's value."""
        return depth.SecondCamera(
            depth.format_of(self.format),
            self.focal_mm,
            self.distance_m,
            scales.clicks_per_stop(self.clicks_per_stop),
            self.widest,
            self.smallest,
        )


class MatchRequest(Shape):
    """Two cameras on one subject."""

    first: FirstShape
    second: SecondShape


class IrisShape(BaseModel):
    """An iris that matches, and the nearest to it that the second camera has."""

    exact: float = Field(description="f-number that matches exactly")
    marked: float = Field(description="f-number as marked: the nearest on the dial, between the lens's ends")
    remains_stops: float = Field(description="From marked to exact, stops; above 0: a smaller opening would match")
    reached: bool = Field(description="Whether the lens goes that far")
    short_stops: float = Field(description="How far the match lies beyond the lens's end, stops; 0 where it is reached")

    @classmethod
    def of(cls, iris: depth.Iris) -> IrisShape:
        """The engine's value in its JSON form."""
        return cls(
            exact=iris.exact,
            marked=iris.marked,
            remains_stops=iris.remains_stops,
            reached=iris.reached,
            short_stops=iris.short_stops,
        )


class SameFieldShape(BaseModel):
    """The lens with the same field of view, with the second camera beside the first."""

    focal_mm: float = Field(description="Focal length, mm")
    iris: IrisShape = Field(description="For the same depth of field with that lens")


class ThisLensShape(BaseModel):
    """The lens that is on the second camera, where it stands."""

    same_blur: IrisShape = Field(description="The far background is as soft, as a share of the picture's diagonal")
    same_depth: IrisShape = Field(description="The depth of field is as long")


class MatchAnswer(BaseModel):
    """How the second camera has the look of the first."""

    same_field: SameFieldShape
    this_lens: ThisLensShape | None = Field(description="null where the request names no lens")


# The hyperfocal example that is in print, and a face that fills a frame.
DEPTH_EXAMPLES = [
    {"focal_mm": 50, "aperture": 8, "distance_m": 10.5, "circle_mm": 0.03},
    {"focal_mm": 85, "aperture": 1.4, "distance_m": 3, "circle_mm": 0.029},
]
MATCH_EXAMPLES = [
    {
        "first": {"format": "full_frame", "focal_mm": 85, "aperture": 2.8, "distance_m": 3},
        "second": {
            "format": "super_35", "focal_mm": 50, "distance_m": 2.5, "clicks_per_stop": 3,
            "widest": 1.8, "smallest": 16,
        },
    },
]  # fmt: skip


@router.post("/depth")
def depth_of_field(asked: Annotated[DepthRequest, Body(examples=DEPTH_EXAMPLES)]) -> DepthAnswer:
    """What is sharp, and how soft the far background is."""
    sharp = depth.depth(depth.Focus(asked.focal_mm, asked.aperture, asked.distance_m, asked.circle_mm))
    return DepthAnswer(
        near_m=sharp.near_m,
        far_m=sharp.far_m,
        hyperfocal_m=sharp.hyperfocal_m,
        infinity_blur_mm=sharp.infinity_blur_mm,
    )


@router.post("/match")
def match_cameras(asked: Annotated[MatchRequest, Body(examples=MATCH_EXAMPLES)]) -> MatchAnswer:
    """
    What a second camera must set to match the look of the first: the lens with the same field of view, and the iris.

    The circle of confusion is a 1500th of each format's diagonal, which is a convention.
    """
    with under("first"):
        first = asked.first.value()
    with under("second"):
        second = asked.second.value()
    found = depth.matching(first, second)
    this_lens = None
    if found.same_blur is not None and found.same_depth is not None:
        this_lens = ThisLensShape(same_blur=IrisShape.of(found.same_blur), same_depth=IrisShape.of(found.same_depth))
    return MatchAnswer(
        same_field=SameFieldShape(focal_mm=found.same_field_mm, iris=IrisShape.of(found.same_field_iris)),
        this_lens=this_lens,
    )
