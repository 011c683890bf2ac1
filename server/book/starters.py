"""Common kits to start from, in the trade's own terms: what many bags hold, to be put right by the shooter."""

from __future__ import annotations

from dataclasses import dataclass

from server.exposure.scales import ISO_MARKS
from server.language import say

from .kit_document import BodyPart, FilterPart, HolderPart, KitDocument, LensPart


@dataclass(frozen=True, slots=True)
class Starter:
    """A kit to start from, and what it is in a line."""

    about: str
    kit: KitDocument


def _isos(low: float, high: float) -> list[float]:
    return [float(mark) for mark in ISO_MARKS if low <= mark <= high]


def _plate(density: float) -> FilterPart:
    return FilterPart(
        name=say("{density} plate", density=density), mount="slot", engraved=f"{density}", density=density, width=100.0
    )


def _full_frame() -> BodyPart:
    return BodyPart(
        name=say("Full-frame body"),
        clicks_per_stop=3,
        iso_base=[100.0],
        iso_allowed=_isos(100, 12800),
        iso_quiet=800.0,
        shutters=[0.02, 0.01],
        frame_rate=25.0,
        format="full_frame",
    )


def _super_35() -> BodyPart:
    return BodyPart(
        name=say("Super 35 body"),
        clicks_per_stop=3,
        iso_base=[800.0],
        iso_allowed=_isos(400, 12800),
        iso_quiet=1600.0,
        shutters=[0.02, 0.01],
        frame_rate=25.0,
        format="super_35",
    )


def starters() -> tuple[Starter, ...]:
    """All of them, with the names of their things in the language of whoever asks."""
    return (
        Starter(
            say("One body, a 35 mm prime, and a 100 mm holder with two slots and three plates"),
            KitDocument(
                format="lychgate-kit",
                version=1,
                name=say("Holder and plates"),
                bodies=[_full_frame()],
                lenses=[LensPart(name=say("35 mm prime"), widest=1.8, smallest=16.0, thread=67.0, focal_mm=35.0)],
                holders=[HolderPart(name=say("100 mm holder"), width=100.0, slots=2, rings=[67.0])],
                filters=[_plate(0.6), _plate(0.9), _plate(1.2)],
            ),
        ),
        Starter(
            say("A body with built-in ND and a standard zoom"),
            KitDocument(
                format="lychgate-kit",
                version=1,
                name=say("Built-in ND"),
                bodies=[
                    _super_35().model_copy(
                        update={
                            "name": say("Body with built-in ND"),
                            "iso_base": [800.0, 3200.0],
                            "built_in_nd": [0.0, 2.0, 4.0, 6.0],
                        }
                    )
                ],
                lenses=[
                    LensPart(
                        name=say("24-70 zoom"),
                        widest=2.8,
                        smallest=22.0,
                        thread=82.0,
                        focal_mm=24.0,
                        focal_long_mm=70.0,
                    )
                ],
            ),
        ),
        Starter(
            say("A variable ND on a zoom, with a step-up ring for the prime"),
            KitDocument(
                format="lychgate-kit",
                version=1,
                name=say("Variable ND"),
                step_ups=[[67.0, 82.0]],
                bodies=[_full_frame()],
                lenses=[
                    LensPart(
                        name=say("24-70 zoom"),
                        widest=2.8,
                        smallest=22.0,
                        thread=82.0,
                        focal_mm=24.0,
                        focal_long_mm=70.0,
                    ),
                    LensPart(name=say("35 mm prime"), widest=1.8, smallest=16.0, thread=67.0, focal_mm=35.0),
                ],
                filters=[
                    FilterPart(
                        name=say("Variable ND"),
                        kind="variable_nd",
                        mount="thread",
                        engraved="2 stops",
                        density=0.6,
                        density_to=1.8,
                        thread=82.0,
                    )
                ],
            ),
        ),
        Starter(
            say("Two bodies of different formats, two lenses, a holder, polariser, grad and four plates"),
            KitDocument(
                format="lychgate-kit",
                version=1,
                name=say("Two bodies"),
                bodies=[_full_frame(), _super_35()],
                lenses=[
                    LensPart(name=say("35 mm prime"), widest=1.4, smallest=16.0, thread=67.0, focal_mm=35.0),
                    LensPart(
                        name=say("70-200 zoom"),
                        widest=2.8,
                        smallest=22.0,
                        thread=77.0,
                        focal_mm=70.0,
                        focal_long_mm=200.0,
                    ),
                ],
                holders=[HolderPart(name=say("100 mm holder"), width=100.0, slots=2, rings=[67.0, 77.0], front=105.0)],
                filters=[
                    _plate(0.3),
                    _plate(0.6),
                    _plate(0.9),
                    _plate(1.2),
                    FilterPart(
                        name=say("Soft grad"),
                        kind="grad",
                        mount="slot",
                        engraved="0.6",
                        density=0.6,
                        edge="soft",
                        width=100.0,
                    ),
                    FilterPart(
                        name=say("Polariser"),
                        kind="polariser",
                        mount="front",
                        engraved="1⅓ stops",
                        density=0.4,
                        thread=105.0,
                    ),
                ],
            ),
        ),
    )


STARTERS = len(starters())
