"""POST /api/daylight: the contract's call."""

from __future__ import annotations

import json

import pytest

ASKED = {
    "latitude": 51.4769,
    "longitude": 0.0,
    "light": "sun",
    "lit_from": "above",
    "sky": "clear",
    "read_at": "2026-06-20T12:00:00Z",
    "ev100": 15.0,
    "at": ["2026-06-20T12:00:00Z", "2026-06-20T21:45:00+01:00"],
}


def test_a_reading_is_carried_to_each_time(client):
    """At its own time it is itself; three and a half degrees under the horizon some ten stops of it are gone."""
    answer = client.post("/api/daylight", json=ASKED)
    assert answer.status_code == 200
    noon, dusk = answer.json()["forecast"]
    assert noon["at"] == ASKED["at"][0]
    assert noon["ev100"] == pytest.approx(15.0)
    assert noon["sun_elevation"] == pytest.approx(61.9558, abs=1e-3)  # SPA, check-values 4.7
    assert dusk["sun_elevation"] == pytest.approx(-3.5827, abs=1e-3)
    # IES clear at 61.96: about 103 klx on the level, with June's distance 100; the polynomial at -3.58: 46 lx. 11.1 stops.
    assert dusk["ev100"] == pytest.approx(15 - 11.1, abs=0.15)
    for each in (noon, dusk):
        assert each["low"] <= each["ev100"] - 0.5
        assert each["high"] >= each["ev100"] + 0.5


def test_clear_to_overcast_is_what_the_sky_may_do(client):
    """At noon an overcast sky leaves about a fifth of clear sun and sky: 2.45 stops by IES at 60 degrees."""
    noon = client.post("/api/daylight", json=ASKED).json()["forecast"][0]
    assert noon["low"] == pytest.approx(15 - 2.45, abs=0.1)
    clouded = client.post("/api/daylight", json=ASKED | {"sky": "overcast", "ev100": 12.5}).json()["forecast"][0]
    assert clouded["high"] == pytest.approx(12.5 + 2.45, abs=0.1)
    assert clouded["low"] <= 11.5 + 1e-9


def test_lamps_do_not_drift(client):
    """Day or night."""
    found = client.post("/api/daylight", json=ASKED | {"light": "lamps", "ev100": 7.2}).json()["forecast"]
    assert [(each["low"], each["ev100"], each["high"]) for each in found] == [(7.2, 7.2, 7.2)] * 2


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"latitude": 91}, "latitude"),
        ({"longitude": -181}, "longitude"),
        ({"light": "moon"}, "light"),
        ({"lit_from": "below"}, "lit_from"),
        ({"sky": "hazy"}, "sky"),
        ({"ev100": 99}, "ev100"),
        ({"ev100": "15"}, "ev100"),
        ({"read_at": "yesterday"}, "read_at"),
        ({"read_at": "2026-06-20T12:00:00"}, "read_at"),
        ({"read_at": "9999-12-31T23:59:59+00:00"}, "read_at"),
        ({"at": ["2026-06-20T12:00:00Z", "0001-01-01T00:00:00+14:00"]}, "at.1"),
        ({"at": "2026-06-20T12:00:00Z"}, "at"),
        ({"at": ["2026-06-20T12:00:00Z"] * 5001}, "at"),
    ],
)
def test_bad_input_names_its_field(client, change, field):
    """422, a problem document, and no 500."""
    answer = client.post("/api/daylight", json=ASKED | change)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["errors"][0]["field"] == field


def test_figures_that_are_no_numbers(client):
    """NaN and a number too large for one."""
    for odd in ("NaN", "1e999", "-Infinity"):
        body = json.dumps(ASKED).replace("15.0", odd)
        answer = client.post("/api/daylight", content=body, headers={"content-type": "application/json"})
        assert answer.status_code == 422


def test_a_day_in_minutes_is_one_call(client):
    """As many times as are allowed, and none at all."""
    times = [f"2026-06-20T{n // 60:02}:{n % 60:02}:00Z" for n in range(1440)]
    assert len(client.post("/api/daylight", json=ASKED | {"at": times}).json()["forecast"]) == 1440
    assert client.post("/api/daylight", json=ASKED | {"at": []}).json() == {"forecast": []}
