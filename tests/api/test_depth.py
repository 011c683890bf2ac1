"""POST /api/depth and /api/match. The figures are those of tests/published/test_depth_of_field.py, sources there."""

from __future__ import annotations

import pytest

from tests.published.test_depth_of_field import CALCULATED

ASKED = {"focal_mm": 50, "aperture": 8, "distance_m": 3, "circle_mm": 0.03}
FIRST = {"format": "full_frame", "focal_mm": 85, "aperture": 2.8, "distance_m": 3}
SECOND = {"format": "super_35", "focal_mm": 50}
NOT_FIGURES = (
    "NaN",
    "Infinity",
    "-Infinity",
    "1e308",
    "1e999",
    "1" + "0" * 400,
    "0",
    "-1",
    '"50"',
    "true",
    "[]",
    "null",
)


def problem(answer, field: str) -> dict:
    """The problem document that names this field."""
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    document = answer.json()
    assert (document["status"], document["title"]) == (422, "Bad input")
    assert field in [error["field"] for error in document["errors"]]
    for error in document["errors"]:
        assert error["came"]
        assert error["allowed"]
    assert field in document["detail"]
    return document


@pytest.mark.parametrize(("f", "n", "c", "s", "hyperfocal", "near", "far"), CALCULATED)
def test_depth(calls, f, n, c, s, hyperfocal, near, far):
    """The calculated rows, in metres; the f-number is not snapped to its mark."""
    asked = {"focal_mm": f, "aperture": n, "distance_m": s / 1000, "circle_mm": c}
    answer = calls.post("/api/depth", json=asked)
    assert answer.status_code == 200, answer.text
    assert answer.json() == {
        "near_m": pytest.approx(near / 1000, abs=6e-6),
        "far_m": pytest.approx(far / 1000, abs=6e-6),
        "hyperfocal_m": pytest.approx(hyperfocal / 1000, abs=6e-6),
        "infinity_blur_mm": pytest.approx(f * f / (n * (s - f)), rel=1e-9),
    }


def test_infinity_is_null(calls):
    """Focused beyond the hyperfocal distance (10.467 m in print) there is no far limit, and the field says so."""
    far = calls.post("/api/depth", json=ASKED | {"distance_m": 10.5}).json()
    assert set(far) == {"near_m", "far_m", "hyperfocal_m", "infinity_blur_mm"}
    assert far["far_m"] is None
    assert calls.post("/api/depth", json=ASKED | {"distance_m": 10.4}).json()["far_m"] > 1000
    assert calls.post("/api/depth", json=ASKED | {"distance_m": 10_000}).json()["far_m"] is None


@pytest.mark.parametrize("field", sorted(ASKED))
@pytest.mark.parametrize("came", NOT_FIGURES)
def test_what_is_no_figure_is_refused(calls, field, came):
    """Nothing odd is computed with: every one is refused by the name of its field."""
    body = ", ".join(f'"{name}": {came if name == field else value}' for name, value in ASKED.items())
    answer = calls.post("/api/depth", content="{" + body + "}", headers={"content-type": "application/json"})
    problem(answer, field)


@pytest.mark.parametrize("distance_m", [0.05, 0.02, 10_000.1])
def test_focus_inside_the_focal_length_or_beyond_10_km_is_refused(calls, distance_m):
    """A 50 mm has no image of what is at 50 mm or nearer."""
    document = problem(calls.post("/api/depth", json=ASKED | {"distance_m": distance_m}), "distance_m")
    assert document["errors"] == [
        {
            "field": "distance_m",
            "came": repr(distance_m),
            "allowed": "more than the focal length of 50 mm, up to 10000 m",
        }
    ]


@pytest.mark.parametrize("field", sorted(ASKED))
def test_every_field_is_needed(calls, field):
    problem(calls.post("/api/depth", json={name: value for name, value in ASKED.items() if name != field}), field)


def test_a_field_that_is_not_known_is_refused(calls):
    """A T-number has no business here, and a misspelt field is not passed over."""
    problem(calls.post("/api/depth", json=ASKED | {"t_number": 3.1}), "t_number")


@pytest.mark.parametrize("body", ["", "{", "nonsense", "\x00"])
def test_what_is_not_json_is_refused(calls, body):
    answer = calls.post("/api/depth", content=body, headers={"content-type": "application/json"})
    assert answer.status_code in (400, 422)
    assert answer.headers["content-type"] == "application/problem+json"


def test_match(calls):
    """85 mm at f/2.8 on full frame; by hand 1.3451 for a 50 mm on super 35 beside it (tests/exposure/test_depth.py)."""
    asked = {"first": FIRST, "second": SECOND | {"widest": 1.8, "smallest": 16}}
    answer = calls.post("/api/match", json=asked)
    assert answer.status_code == 200, answer.text
    found = answer.json()
    assert found["same_field"]["focal_mm"] == pytest.approx(85 * 31.108 / 43.267, abs=2e-3)
    assert found["same_field"]["iris"]["exact"] == pytest.approx(8**0.5 * 31.108 / 43.267, abs=1e-4)
    assert found["same_field"]["iris"]["marked"] == 2
    for iris in (found["this_lens"]["same_blur"], found["this_lens"]["same_depth"]):
        assert iris == {
            "exact": pytest.approx(1.3451, abs=1e-4),
            "marked": 1.8,
            "remains_stops": pytest.approx(-0.811, abs=1e-3),
            "reached": False,
            "short_stops": pytest.approx(0.811, abs=1e-3),
        }


def test_match_without_a_lens(calls):
    """Only the lens that would match is answered."""
    found = calls.post("/api/match", json={"first": FIRST, "second": {"format": "four_thirds"}}).json()
    assert found["this_lens"] is None
    assert found["same_field"]["iris"]["reached"] is True


@pytest.mark.parametrize(
    ("first", "second", "field"),
    [
        ({"format": "postage stamp"}, {}, "first.format"),
        ({"aperture": 0}, {}, "first.aperture"),
        ({"distance_m": 0.085}, {}, "first.distance_m"),
        ({"clicks_per_stop": 7}, {}, "first.clicks_per_stop"),
        ({"focal_mm": 1e300}, {}, "first.focal_mm"),
        ({}, {"format": ""}, "second.format"),
        ({}, {"focal_mm": -50}, "second.focal_mm"),
        ({}, {"distance_m": 0.01}, "second.distance_m"),
        ({}, {"widest": 4, "smallest": 2}, "second.smallest"),
        ({}, {"widest": 1e-300}, "second.widest"),
        ({"distance_m": 0.2}, {"focal_mm": 300}, "second.focal_mm"),
    ],
)
def test_match_refuses_by_the_path_of_the_field(calls, first, second, field):
    problem(calls.post("/api/match", json={"first": FIRST | first, "second": SECOND | second}), field)


def test_the_reference_has_the_examples_and_they_work(calls):
    """Every example of the OpenAPI document is answered."""
    paths = calls.get("/api/openapi.json").json()["paths"]
    for path in ("/api/depth", "/api/match"):
        examples = paths[path]["post"]["requestBody"]["content"]["application/json"]["schema"]["examples"]
        assert examples
        for example in examples:
            assert calls.post(path, json=example).status_code == 200
    assert "/api/match" in calls.get("/api").text
