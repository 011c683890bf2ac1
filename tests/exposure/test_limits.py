"""
Every limit of the engine's own values, held at both ends: the last value inside stands, the first outside is refused,
and the refusal names the field, what came, and both ends with their unit.
"""

from __future__ import annotations

import pytest

from server.exposure.cautions import Sight
from server.exposure.daylight import Spot
from server.exposure.depth import Focus, Format
from server.exposure.glass import Filter, Holder
from server.exposure.light import from_camera, from_luminance, from_lux
from server.exposure.refused import OutOfRange, shown
from server.exposure.rig import Body, Hands, Kit, Lens

BODY = Body(3, (100.0,), (100.0,), (0.02,))
LENS = Lens(2.8, 22)

# make, the field it names, the ends that stand, just outside of each, what the refusal allows
LIMITS = {
    "focal length": (lambda v: Sight(v, 43.27), "focal_mm", 1, 2000, 0.99, 2000.5, "1 to 2000 mm"),
    "diagonal": (lambda v: Sight(35, v), "diagonal_mm", 1, 200, 0.99, 200.5, "1 to 200 mm"),
    "lens thread": (lambda v: Lens(2.8, 22, v), "thread", 10, 200, 9.9, 200.5, "10 to 200 mm"),
    "lens loss": (lambda v: Lens(2.8, 22, None, v), "loss_stops", 0, 5, -0.1, 5.1, "0 to 5 stops"),
    "built-in ND": (
        lambda v: Body(3, (100.0,), (100.0,), (0.02,), built_in_nd=(v,)),
        "built_in_nd",
        0,
        20,
        -1,
        20.5,
        "0 to 20 stops",
    ),
    "hands": (lambda v: Hands(pull=v), "hands.pull", 0, 3600, -1, 3601, "0 to 3600 s"),
    "step-up from": (lambda v: Kit(BODY, LENS, step_ups=((v, 200),)), "step_ups", 10, 200, 9.5, 200.5, "10 to 200 mm"),
    "step-up to": (lambda v: Kit(BODY, LENS, step_ups=((67, v),)), "step_ups", 67, 200, 66.5, 200.5, "67 to 200 mm"),
    "holder width": (lambda v: Holder(v, 2, ()), "width", 10, 300, 9.5, 300.5, "10 to 300 mm"),
    "adapter ring": (lambda v: Holder(100, 2, (v,)), "rings", 10, 200, 9.5, 200.5, "10 to 200 mm"),
    "front ring": (lambda v: Holder(100, 2, (), v), "front", 10, 200, 9.5, 200.5, "10 to 200 mm"),
    "measured density": (lambda v: Filter("a", "slot", 0.6, measured=v), "measured", 0, 6, -0.1, 6.1, "0 to 6 D"),
    "circle": (lambda v: Focus(50, 2.8, 3, v), "circle_mm", 0.001, 0.2, 0.0009, 0.21, "0.001 to 0.2 mm"),
    "sensor width": (lambda v: Format("a", "a", v, 10), "width_mm", 2, 200, 1.9, 201, "2 to 200 mm"),
    "sensor height": (lambda v: Format("a", "a", 10, v), "height_mm", 2, 200, 1.9, 201, "2 to 200 mm"),
    "luminance": (from_luminance, "value", 1e-5, 5e9, 9e-6, 5.1e9, "1e-05 to 5000000000 cd/m²"),
    "lux": (from_lux, "value", 1e-4, 1e9, 9e-5, 1.1e9, "0.0001 to 1000000000 lx"),
    "meter": (lambda v: from_camera(8, 0.02, 100, meter=v), "meter", -20, 20, -20.1, 20.1, "-20 to 20 stops"),
    "glass of a reading": (
        lambda v: from_camera(1, 60, 102400, filter_stops=v),
        "filter_stops",
        0,
        40,
        -0.1,
        40.1,
        "0 to 40 stops",
    ),
    "faces": (lambda v: Spot("window", faces=v), "faces", 0, 360, -1, 361, "0 to 360 degrees from north"),
    "sun over": (lambda v: Spot("sun", sun_over=v), "sun_over", 0, 60, -1, 61, "0 to 60 degrees"),
}


@pytest.mark.parametrize("which", LIMITS)
def test_a_limit_holds_at_both_ends(which):
    make, field, low, high, under, over, allowed = LIMITS[which]
    make(low)
    make(high)
    for outside in (under, over):
        with pytest.raises(OutOfRange) as refused:
            make(outside)
        assert (refused.value.field, refused.value.came, refused.value.allowed) == (field, shown(outside), allowed)


def test_what_came_is_quoted_short_and_as_it_was_typed():
    assert shown(True) == "true"
    assert shown(False) == "false"
    assert shown(None) == shown("") == "nothing"
    assert shown("x" * 60) == "x" * 60
    assert shown("x" * 61) == "x" * 60 + "…"
    assert shown([1, 2]) == "[1, 2]"
