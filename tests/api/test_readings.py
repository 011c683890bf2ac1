"""POST /api/readings: each kind of reading against a calculation by hand."""

from __future__ import annotations

import pytest

BY_HAND = {
    "EV is the meter's own at ISO 100": ({"kind": "ev", "value": 12.3}, 12.3),
    "an EV may be negative": ({"kind": "ev", "value": -4.5}, -4.5),
    "EV 15 at ISO 400 is two stops less at ISO 100": ({"kind": "ev", "value": 15, "iso": 400}, 13),
    "EV at ISO 50 is one stop more at ISO 100": ({"kind": "ev", "value": 8, "iso": 50}, 9),
    "640 lx are 256 = 2^8 times 2.5 lx": ({"kind": "lux", "value": 640}, 8),
    "2.5 lx are EV 0, ISO 2720 with C = 250": ({"kind": "lux", "value": 2.5}, 0),
    "64 cd/m² are 512 = 2^9 times 0.125": ({"kind": "luminance", "value": 64}, 9),
    "0.125 cd/m² are EV 0, ISO 2720 with K = 12.5": ({"kind": "luminance", "value": 0.125}, 0),
    "f/8 at 1/128 s and ISO 100: 6 + 7": ({"kind": "camera", "aperture": 8, "shutter": 1 / 128, "iso": 100}, 13),
    "f/8 at 1/128 s and ISO 400: two stops less light": (
        {"kind": "camera", "aperture": 8, "shutter": 1 / 128, "iso": 400}, 11,
    ),
    "marked f/5.6 stands for 2^2.5, ISO 400 for 4: 5 + log2(50) - 2 + 2 + 0.33": (
        {"kind": "camera", "aperture": 5.6, "shutter": 0.02, "iso": 400, "filter_stops": 2, "meter": 0.33}, 10.973856,
    ),
    "marked ISO 125 stands for 2^(1/3) times 100": (
        {"kind": "camera", "aperture": 1, "shutter": 1, "iso": 125}, -1 / 3,
    ),
    "a meter a stop under: the light is a stop lower": (
        {"kind": "camera", "aperture": 8, "shutter": 1 / 128, "iso": 100, "meter": -1}, 12,
    ),
}  # fmt: skip


@pytest.mark.parametrize(("reading", "ev100"), BY_HAND.values(), ids=BY_HAND)
def test_a_reading_is_the_light_level_of_its_definition(calls, reading, ev100):
    answer = calls.post("/api/readings", json=reading)
    assert answer.status_code == 200, answer.text
    assert answer.json() == {"ev100": pytest.approx(ev100, abs=1e-6)}


WRONG = {
    "no such kind": ({"kind": "photo", "value": 1}, "kind", "photo"),
    "no kind": ({"value": 1}, "kind", "nothing"),
    "a kind that is no text": ({"kind": [], "value": 1}, "kind", "[]"),
    "a kind in capitals": ({"kind": "LUX", "value": 1}, "kind", "LUX"),
    "no value": ({"kind": "lux"}, "value", "nothing"),
    "text for a number": ({"kind": "lux", "value": "640"}, "value", "640"),
    "true for a number": ({"kind": "lux", "value": True}, "value", "true"),
    "null for a number": ({"kind": "lux", "value": None}, "value", "nothing"),
    "no light at all": ({"kind": "lux", "value": 0}, "value", "0.0"),
    "less than no light": ({"kind": "luminance", "value": -64}, "value", "-64.0"),
    "more light than there is": ({"kind": "lux", "value": 1e308}, "value", "1e+308"),
    "an EV beyond the sun": ({"kind": "ev", "value": 60}, "ev100", "60.0"),
    "an EV brought beyond the dark by its ISO": ({"kind": "ev", "value": -16, "iso": 102400}, "ev100", "-26.0"),
    "ISO 0": ({"kind": "ev", "value": 12, "iso": 0}, "iso", "0.0"),
    "an f-number of 0": ({"kind": "camera", "aperture": 0, "shutter": 0.02, "iso": 100}, "aperture", "0.0"),
    "a shutter of 0 s": ({"kind": "camera", "aperture": 8, "shutter": 0, "iso": 100}, "shutter", "0.0"),
    "a shutter backwards": ({"kind": "camera", "aperture": 8, "shutter": -0.02, "iso": 100}, "shutter", "-0.02"),
    "a camera without its ISO": ({"kind": "camera", "aperture": 8, "shutter": 0.02}, "iso", "nothing"),
    "glass that gives light": (
        {"kind": "camera", "aperture": 8, "shutter": 0.02, "iso": 100, "filter_stops": -1}, "filter_stops", "-1.0",
    ),
    "another kind's field": ({"kind": "lux", "value": 640, "iso": 100}, "iso", "100"),
}  # fmt: skip


@pytest.mark.parametrize(("reading", "field", "came"), WRONG.values(), ids=WRONG)
def test_what_is_no_reading_is_refused_by_its_field(calls, reading, field, came):
    """The field is named as it stands in the request, with what came in it."""
    answer = calls.post("/api/readings", json=reading)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    (error,) = answer.json()["errors"]
    assert (error["field"], error["came"]) == (field, came)
    assert error["allowed"]


def test_an_unknown_kind_is_told_the_known_ones(calls):
    """Who mistypes the kind of a reading learns which there are."""
    (error,) = calls.post("/api/readings", json={"kind": "photo", "value": 1}).json()["errors"]
    assert all(kind in error["allowed"] for kind in ("ev", "lux", "luminance", "camera"))
    assert "tag" not in error["allowed"], "a word of the program's, not of the job's"
