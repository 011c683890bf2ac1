"""POST /api/moves: the contract's worked example, and answers that a hand can carry out."""

from __future__ import annotations

import pytest

from tests.api.example import ORDER, after, request, same, seconds


@pytest.fixture
def move(calls):
    def ask(asked):
        answer = calls.post("/api/moves", json=asked)
        assert answer.status_code == 200, answer.text
        return answer.json()

    return ask


def test_the_contract_s_worked_example_has_the_contract_s_clean_answer(move):
    """From the contract: take the holder off with the filter in it, close one click to f/3.2, ISO 800."""
    clean = move(request())["clean"]
    assert clean["actions"] == [{"do": "holder_off"}, {"do": "close", "clicks": 1}, {"do": "iso", "to": 800}]
    assert clean["rig"] == {
        "holder_on": False, "slots": ["grey6"], "threads": [], "built_in": 0,
        "aperture": 3.2, "shutter": 0.02, "iso": 800,
    }  # fmt: skip
    assert clean["residual"] == pytest.approx(0.068, abs=0.0005)
    assert clean["score"] == pytest.approx(
        {
            "miss": 0, "off_look": 0, "shutter_off": 0, "iso_lift": 0, "hand_seconds": 3.65, "glass_seconds": 2,
            "off_wanted": 1, "effort": 4.65,
        }
    )  # fmt: skip


def test_the_worked_example_s_fast_answer_leaves_the_glass_and_opens_to_the_lens_s_widest(move):
    """
    By hand: with the 0.6 filter left on, 6 EV less 0.6 log2(10) = 1.9932 stops leaves 4.0068. f/1.8, 1/50 s and ISO 800
    expose 5/3 + 5.6439 - 3 = 4.3105: 0.3037 stop or 0.9110 clicks too dark, within the half stop of a rush. f/2 would
    be 0.637 stop too dark.
    """
    fast = move(request())["fast"]
    assert fast["actions"] == [{"do": "open", "clicks": 4}, {"do": "iso", "to": 800}]
    assert fast["residual"] == pytest.approx(-0.9110, abs=0.0005)
    assert fast["score"] == pytest.approx(
        {
            "miss": 0, "off_look": 1, "shutter_off": 0, "iso_lift": 0, "hand_seconds": 4 * 0.45 / 3 + 1.5,
            "glass_seconds": 0, "off_wanted": 4, "effort": 4 * 0.45 / 3 + 1.5 + 4,
        }
    )  # fmt: skip


def test_figures_come_unrounded(move):
    """The contract asks for unrounded figures, or six decimals: 3 (6 - 5/3·2 + ...) of the example has them all."""
    # residual = 3 (6 - (10/3)/2·... ) spelled out: 6 - (i/3 - log2 0.02 - 3) with i = 10 third-stops for f/3.2
    by_hand = 3 * (6 - (10 / 3 + 5.643856190 - 3))
    assert move(request())["clean"]["residual"] == pytest.approx(by_hand, abs=1e-6)


def test_hands_and_tolerances_left_out_have_the_contract_s_values(move):
    """The contract gives each hand's seconds, loss_stops and both tolerances a value for when they are left out."""
    short = request()
    del short["hands"], short["lens"]["loss_stops"]
    assert move(short) == move(request(look__tolerance=0.2, look__rush_tolerance=0.5))


QUESTIONS = {
    "as in the contract": {},
    "bright sun": {"light__ev100": 15},
    "brighter than any glass": {"light__ev100": 30},
    "starlight": {"light__ev100": -5},
    "no holder in the kit": {"holder": None, "rig__slots": [], "rig__holder_on": False, "light__ev100": 13},
    "holder off, a plate in it": {"rig__holder_on": False, "light__ev100": 13.2},
    "a ring screwed on": {
        "rig__holder_on": False, "rig__slots": [], "rig__threads": ["round18"], "light__ev100": 8,
    },
    "a ring on, a plate waiting in the holder": {
        "rig__holder_on": False, "rig__threads": ["round18"], "light__ev100": 10,
    },
    "built-in ND in": {"rig__built_in": 6, "light__ev100": 7},
    "settings that the body's lists lack": {"rig__iso": 640, "rig__shutter": 0.01, "light__ev100": 9},
    "an iris that the lens does not have": {"rig__aperture": 22, "light__ev100": 9},
    "no tolerance": {"look__tolerance": 0, "look__rush_tolerance": 0, "light__ev100": 11.1},
    "iris free": {"hands__iris": 0, "hands__stray": 0, "light__ev100": 11.1},
}  # fmt: skip


@pytest.mark.parametrize("answer", ["clean", "fast"])
@pytest.mark.parametrize("changes", QUESTIONS.values(), ids=QUESTIONS)
def test_actions_turn_the_request_s_rig_into_the_answer_s(move, changes, answer):
    """Who does what the answer says has the rig that it names, and no longer than its seconds."""
    asked = request(**changes)
    got = move(asked)[answer]
    assert after(asked["rig"], got["actions"]) == same(got["rig"])
    assert [ORDER.index(action["do"]) for action in got["actions"]] == sorted(
        ORDER.index(action["do"]) for action in got["actions"]
    ), "a hand does things in the contract's order"
    score = got["score"]
    assert (score["hand_seconds"], score["glass_seconds"]) == pytest.approx(seconds(asked, got["actions"]))


@pytest.mark.parametrize("changes", QUESTIONS.values(), ids=QUESTIONS)
def test_a_miss_is_never_hidden(move, changes):
    """Where the picture stays wrong, the sentence says which way, and what would mend it."""
    for got in move(request(**changes)).values():
        assert got["say"].endswith(".")
        if got["score"]["miss"] > 0:
            way, cure = ("bright", "ND") if got["residual"] > 0 else ("dark", "light")
            assert f"too {way}" in got["say"]
            assert cure in got["say"].partition(":")[2]


def test_a_bright_place_says_how_much_nd_is_missing(move):
    """
    By hand: EV 30 against f/16, 1/125 s (0.008), ISO 100, built-in 6 and 1.8 D (5.98 stops) or 0.6 D: the best of the
    kit exposes 8 + 6.97 + 6 + 5.98 = 26.9 EV, so 3.05 stops are left, and 0.9 D take 3.
    """
    clean = move(request(light__ev100=30))["clean"]
    assert clean["rig"] | {"slots": []} == {
        "holder_on": False, "slots": [], "threads": ["round18"], "built_in": 6,
        "aperture": 16, "shutter": 0.008, "iso": 100,
    }  # fmt: skip
    assert clean["residual"] / 3 == pytest.approx(30 - (8 + 6.9658 + 6 + 5.9795), abs=0.001)
    assert "3 stops too bright: 0.9 more ND" in clean["say"]


def test_an_answer_can_be_asked_from(move):
    """An answer's rig, sent back as the rig on the camera in the same light, needs nothing more."""
    for answer in ("clean", "fast"):
        first = move(request(light__ev100=13))[answer]
        again = move(request(light__ev100=13, rig=first["rig"]))[answer]
        assert again["actions"] == []
        assert again["rig"] == first["rig"]


@pytest.mark.parametrize(("clicks", "positions"), [(1, 1), (2, 2), (10, 10)])
def test_other_dials_answer_with_a_number_that_leads_back_to_the_same_position(move, clicks, positions):
    """Sending an answer's f-number back must not turn the iris, whatever the dial."""
    asked = request(body__clicks_per_stop=clicks, light__ev100=12.3)
    first = move(asked)["clean"]
    again = move(asked | {"rig": first["rig"]})["clean"]
    assert [action for action in again["actions"] if action["do"] in ("open", "close")] == []
