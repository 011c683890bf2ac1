"""POST /api/days: plans that a hand can carry out, sums that are those of the moves, and refusals by field."""

from __future__ import annotations

import copy
import json
from datetime import timedelta
from itertools import pairwise
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.exposure import days
from tests.api.example import REQUEST, after, same, seconds
from tests.api.test_bad_input import JSON, NO_NUMBER, mutated, problem, refused_fields

LOOK = REQUEST["look"]
DAY = {
    **{name: value for name, value in REQUEST.items() if name not in {"look", "light"}},
    "stops": [
        {"ev100": 14.3, "look": {**LOOK}},
        {"ev100": 6.0, "look": {**LOOK}, "hurry": 4},
        {"ev100": 9.1, "look": LOOK | {"wanted": 4.0}, "hurry": 0},
        {"ev100": 14.9, "look": {**LOOK}, "hurry": 2.5},
    ],
}


def asked(**changes):
    """The day with some fields changed, each by its path: asked(stops__0__hurry=11)."""
    made = copy.deepcopy(DAY)
    for path, value in changes.items():
        *above, last = (int(part) if part.isdigit() else part for part in path.split("__"))
        into = made
        for part in above:
            into = into[part]
        into[last] = value
    return made


@pytest.fixture
def call(calls):
    def ask(body):
        return calls.post("/api/days", content=json.dumps(body), headers=JSON)

    return ask


@pytest.fixture
def plan(call):
    def ask(body):
        answer = call(body)
        assert answer.status_code == 200, answer.text
        return answer.json()

    return ask


DAYS = {
    "of the contract's kit": {},
    "with one stop": {"stops": DAY["stops"][:1]},
    "without hurry": {"stops": [{"ev100": ev, "look": LOOK} for ev in (14.3, 6, 9.1, 6, 14.3)]},
    "without a holder": {"holder": None, "rig__slots": [], "rig__holder_on": False},
    "from settings that the body's lists lack": {"rig__iso": 640, "rig__shutter": 0.01},
    "with hands of odd figures": {"hands": {"iris": 0.37, "stray": 1.3, "pull": 2.221}},
    "as long as a day may be": {"stops": [{"ev100": 4 + n % 11, "look": LOOK} for n in range(days.STOPS_MOST)]},
}


@pytest.mark.parametrize("changes", DAYS.values(), ids=DAYS)
def test_each_move_s_actions_lead_to_its_rig_and_the_sums_are_theirs(plan, changes):
    """Whoever does what the plan says has its rigs, one after another, and spends what it says."""
    day = asked(**changes)
    got = plan(day)
    assert len(got["stops"]) == len(day["stops"])
    stray = ({"stray": 3} | day["hands"])["stray"]
    hands = REQUEST["hands"] | day["hands"]
    for stop, (now, move) in zip(day["stops"], pairwise([{"rig": day["rig"]}, *got["stops"]]), strict=True):
        assert after(now["rig"], move["actions"]) == same(move["rig"])
        score = move["score"]
        hand, glass = seconds(day | {"rig": now["rig"], "hands": hands}, move["actions"])
        assert (score["hand_seconds"], score["glass_seconds"]) == pytest.approx((hand, glass))
        assert score["effort"] == pytest.approx(stop.get("hurry", 1) * hand + stray * score["off_wanted"] / 3)
        assert move["say"].endswith(".")
    scores = [move["score"] | {"residual": abs(move["residual"])} for move in got["stops"]]
    assert set(got["score"]) == set(scores[0])
    for name, total in got["score"].items():
        assert total == pytest.approx(sum(round(score[name], 6) for score in scores), abs=1e-9), name
    assert got["score"]["effort"] <= got["stop_by_stop_effort"]


def test_hurry_left_out_is_1(plan):
    stops = [{"ev100": ev, "look": LOOK} for ev in (14.3, 6)]
    assert plan(asked(stops=stops)) == plan(asked(stops=[stop | {"hurry": 1} for stop in stops]))


def test_stop_by_stop_is_what_the_calls_for_each_move_cost(calls, plan):
    """Asked for one move after another, each from the clean answer before it."""
    rig, spent = DAY["rig"], 0.0
    for stop in DAY["stops"]:
        body = {name: value for name, value in DAY.items() if name != "stops"}
        body |= {"rig": rig, "look": stop["look"], "light": {"ev100": stop["ev100"]}}
        clean = calls.post("/api/moves", json=body).json()["clean"]
        spent += stop.get("hurry", 1) * clean["score"]["hand_seconds"] + 3 * clean["score"]["off_wanted"] / 3
        rig = clean["rig"]
    assert plan(DAY)["stop_by_stop_effort"] == pytest.approx(spent, abs=1e-5)


WIDE_THREAD = {"widest": 1.8, "smallest": 16, "thread": 95}  # for which there is no adapter ring


def with_lens(day, *lenses):
    """The day with a lens put on before each stop; None: none is named there."""
    stops = [stop | ({"lens": lens} if lens else {}) for stop, lens in zip(day["stops"], lenses, strict=True)]
    return day | {"stops": stops}


def test_the_holder_comes_off_with_the_old_lens(plan):
    """
    The plate is on, the other lens has no ring for its holder, and on the day's own it goes on again with its plate in.
    """
    stops = [{"ev100": ev100, "look": LOOK} for ev100 in (10.637, 8.644, 10.637)]  # f/2.8 at 1/50 s, with and without
    day = with_lens(asked(stops=stops, body__built_in_nd=[0]), None, WIDE_THREAD, DAY["lens"])
    got = plan(day)["stops"]
    assert [[action["do"] for action in move["actions"]] for move in got] == [[], [], ["holder_on"]]
    assert [move["rig"]["holder_on"] for move in got] == [True, False, True]
    assert [move["rig"]["slots"] for move in got] == [["grey6"]] * 3


def test_a_lens_stays_on_until_a_stop_names_another(plan):
    """Naming it again, or null, says nothing new; what is named before the first stop is on from there."""
    slow, own = DAY["lens"] | {"loss_stops": 0.4}, DAY["lens"]
    once = plan(with_lens(DAY, None, slow, None, None))
    assert plan(with_lens(DAY, None, slow, slow, slow)) == once
    assert plan(with_lens(DAY, own, slow, None, None) | {"lens": own}) == once
    null = with_lens(DAY, None, slow, None, None)
    null["stops"][2]["lens"] = null["stops"][0]["lens"] = None
    assert plan(null) == once
    back = plan(with_lens(DAY, None, slow, None, own))
    assert [move["residual"] for move in back["stops"][:3]] == [move["residual"] for move in once["stops"][:3]]
    assert back["stops"][3]["residual"] != once["stops"][3]["residual"]
    all_day = plan(with_lens(DAY, slow, None, None, None))
    assert all_day == plan(DAY | {"lens": slow})


@pytest.mark.parametrize("value", NO_NUMBER.values(), ids=NO_NUMBER)
@pytest.mark.parametrize("number", ["stops__1__ev100", "stops__1__hurry", "stops__1__look__wanted", "rig__aperture"])
def test_a_number_that_cannot_be_is_refused_by_its_field(call, number, value):
    assert refused_fields(call(asked(**{number: value}))) == {number.replace("__", ".")}


REFUSED = {
    "no stops": ({"stops": []}, "stops"),
    "10,000 stops": ({"stops": [{"ev100": 9, "look": {}}] * 10_000}, "stops"),
    "one stop too many": ({"stops": DAY["stops"][:1] * (days.STOPS_MOST + 1)}, "stops"),
    "stops that are no list": ({"stops": DAY["stops"][0]}, "stops"),
    "a stop that is none": ({"stops__1": 9}, "stops.1"),
    "a lens that is none": ({"stops__1__lens": 50}, "stops.1.lens"),
    "a lens without an end": ({"stops__1__lens": {"widest": 2}}, "stops.1.lens.smallest"),
    "a lens that cannot be": ({"stops__1__lens": WIDE_THREAD | {"widest": 0}}, "stops.1.lens.widest"),
    "a lens wider at its smallest": ({"stops__1__lens": WIDE_THREAD | {"smallest": 1}}, "stops.1.lens.widest"),
    "a lens with what is not known": ({"stops__1__lens": WIDE_THREAD | {"weight": 1}}, "stops.1.lens.weight"),
    "a hurry of 11": ({"stops__1__hurry": 11}, "stops.1.hurry"),
    "a hurry backwards": ({"stops__1__hurry": -0.5}, "stops.1.hurry"),
    "an f-number of 0": ({"stops__1__look__widest": 0}, "stops.1.look.widest"),
    "light beyond the sun": ({"stops__1__ev100": 40}, "stops.1.ev100"),
    "a filter that the kit has not": ({"rig__slots": ["grey9"]}, "rig.slots"),
    "a look that wears what the kit has not": ({"stops__3__look": LOOK | {"worn": ["grey9"]}}, "stops.3.look.worn"),
    "a field that is not known": ({"stops__1__rush": 2}, "stops.1.rush"),
    "a single move's look": ({"look": LOOK}, "look"),
    "a single move's light": ({"light": {"ev100": 9}}, "light"),
}


@pytest.mark.parametrize(("changes", "field"), REFUSED.values(), ids=REFUSED)
def test_what_is_no_day_is_refused_by_its_field(call, changes, field):
    answer = call(asked(**changes))
    assert refused_fields(answer) == {field}
    assert all(error["allowed"] for error in problem(answer)["errors"])


@pytest.mark.parametrize("field", ["ev100", "look"])
def test_a_field_of_a_stop_that_is_missing_is_named(call, field):
    day = asked()
    del day["stops"][2][field]
    assert refused_fields(call(day)) == {f"stops.2.{field}"}


def test_a_day_that_leaves_too_much_to_choose_among_is_refused_with_its_limit(call):
    """40 plates, 4 slots: over the engine's limit for a day, and the problem says which and what would mend it."""
    plates = [{"id": f"f{n}", "mount": "slot", "density": 0.05 * n} for n in range(40)]
    answer = call(asked(filters=plates, rig__slots=[], holder__slots=4))
    assert refused_fields(answer) == {"filters"}
    with patch.object(days, "CELLS_A_DAY_MOST", 50):
        answer = call(DAY)
    assert refused_fields(answer) == {"stops"}
    assert "50" in problem(answer)["errors"][0]["allowed"]


@settings(max_examples=250, deadline=timedelta(seconds=5))
@given(day=st.one_of(mutated(DAY), mutated(with_lens(DAY, None, WIDE_THREAD, None, DAY["lens"]))))
def test_a_day_asked_for_at_random_is_answered_or_refused_in_form(calls, day):
    """Whatever comes: a plan that holds, or a problem in form; never a mistake of ours, never for long."""
    answer = calls.post("/api/days", content=json.dumps(day), headers=JSON)
    assert answer.status_code in (200, 400, 422), answer.text
    if answer.status_code != 200:
        assert problem(answer)["errors"]
    elif day["body"]["clicks_per_stop"] == 3 and not any("lens" in stop for stop in day["stops"]):
        now = {"threads": [], "built_in": 0} | day["rig"]
        for move in answer.json()["stops"]:
            assert after(now, move["actions"]) == same(move["rig"])
            now = move["rig"]
