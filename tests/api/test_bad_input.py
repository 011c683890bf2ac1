"""Bad input to the JSON calls: 422, or 400 for what is not JSON, and a problem that names field, came and allowed."""

from __future__ import annotations

import copy
import json
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.api.example import REQUEST, after, request, same

JSON = {"content-type": "application/json"}
HUGE = 10**400  # more than a double holds


@pytest.fixture
def ask(calls):
    def asked(body, to="/api/moves", **headers):
        content = body if isinstance(body, (str, bytes)) else json.dumps(body)
        return calls.post(to, content=content, headers=JSON | headers)

    return asked


def problem(answer):
    """The problem document, known to be one (RFC 9457, and the contract's fields)."""
    assert answer.headers["content-type"] == "application/problem+json"
    document = answer.json()
    assert set(document) == {"type", "title", "status", "detail", "errors"}
    assert document["status"] == answer.status_code
    assert document["title"]
    assert document["detail"]
    for error in document["errors"]:
        assert set(error) == {"field", "came", "allowed"}
        assert all(error.values())
    return document


def refused_fields(answer):
    assert answer.status_code == 422, f"{answer.status_code} {answer.text[:300]}"
    errors = problem(answer)["errors"]
    assert errors, "a refusal names the field"
    return {error["field"] for error in errors}


NUMBERS = (
    "body__clicks_per_stop", "body__iso__base__0", "body__iso__allowed__1", "body__iso__quiet", "body__shutters__0",
    "body__built_in_nd__1", "lens__widest", "lens__smallest", "lens__thread", "lens__loss_stops", "holder__width",
    "holder__slots", "holder__rings__0", "filters__0__width", "filters__0__density", "filters__1__thread",
    "look__wanted", "look__widest", "look__narrowest", "look__shutter", "rig__built_in", "rig__aperture",
    "rig__shutter", "rig__iso", "light__ev100", *(f"hands__{hand}" for hand in REQUEST["hands"]),
)  # fmt: skip
NO_NUMBER = {
    "NaN": float("nan"), "Infinity": float("inf"), "-Infinity": float("-inf"), "1e308": 1e308, "-1e308": -1e308,
    "-1": -1e-9 - 100, "a huge whole number": HUGE, "text": "2.8", "true": True, "a list": [2.8], "an object": {},
}  # fmt: skip


def path_of(changed: str) -> str:
    """The field as a problem names it. A list of plain numbers may be named as a whole."""
    return changed.replace("__", ".")


@pytest.mark.parametrize("value", NO_NUMBER.values(), ids=NO_NUMBER)
@pytest.mark.parametrize("number", NUMBERS)
def test_a_number_that_cannot_be_is_refused_by_its_field(ask, number, value):
    fields = refused_fields(ask(request(**{number: value})))
    field = path_of(number)
    whole_list = field.rpartition(".")[0]
    assert fields <= {field, whole_list} if field[-1].isdigit() else fields == {field}


MAY_BE_0 = {"body__built_in_nd__1", "lens__loss_stops", "filters__0__density", "rig__built_in", "light__ev100"}
NOT_ZERO = [number for number in NUMBERS if not number.startswith("hands") and number not in MAY_BE_0]


@pytest.mark.parametrize("number", NOT_ZERO)
def test_0_is_refused_where_nothing_can_be_0(ask, number):
    """An f-number, a time, an ISO, a width or a count of 0 is a mistake, not a division by zero."""
    refused_fields(ask(request(**{number: 0})))


def leaves(of, path=()):
    """The path of every field, objects and lists included."""
    pairs = of.items() if isinstance(of, dict) else enumerate(of) if isinstance(of, list) else ()
    for key, value in pairs:
        yield (*path, key)
        yield from leaves(value, (*path, key))


PATHS = list(leaves(REQUEST))
NEEDED = [path for path in PATHS if not isinstance(path[-1], int) and path not in {
    ("body", "iso", "quiet"), ("body", "built_in_nd"), ("lens", "thread"), ("lens", "loss_stops"), ("holder",),
    ("filters",), ("hands",), *(("hands", hand) for hand in REQUEST["hands"]), ("rig", "threads"), ("rig", "built_in"),
    *(("filters", number, field) for number in (0, 1) for field in ("kind", "width", "thread")),
}]  # fmt: skip


def at(asked, path):
    for part in path:
        asked = asked[part]
    return asked


@pytest.mark.parametrize("path", NEEDED, ids=lambda path: ".".join(map(str, path)))
def test_a_field_that_is_missing_is_named(ask, path):
    asked = copy.deepcopy(REQUEST)
    del at(asked, path[:-1])[path[-1]]
    answer = ask(asked)
    assert refused_fields(answer) == {".".join(map(str, path))}
    assert [error["came"] for error in problem(answer)["errors"]] == ["nothing"]


OBJECTS = [(), *(path for path in PATHS if isinstance(at(REQUEST, path), dict))]


@pytest.mark.parametrize("path", OBJECTS, ids=lambda path: ".".join(map(str, path)) or "(body)")
def test_a_field_that_is_not_known_is_named(ask, path):
    """A misspelled field must not be passed over: its default would give a wrong answer."""
    asked = copy.deepcopy(REQUEST)
    at(asked, path)["tolerence"] = 0.1
    assert refused_fields(ask(asked)) == {".".join(map(str, (*path, "tolerence")))}


NO_OBJECT = [
    (path, instead)
    for path in OBJECTS
    for instead in ([], [{}], "text", 5, None)
    if (path, instead) != (("holder",), None)  # a kit may have none
]


@pytest.mark.parametrize(("path", "instead"), NO_OBJECT, ids=repr)
def test_something_else_where_an_object_belongs_is_refused(ask, path, instead):
    asked = copy.deepcopy(REQUEST)
    if path:
        at(asked, path[:-1])[path[-1]] = instead
    else:
        asked = instead
    assert refused_fields(ask(json.dumps(asked))) == {".".join(map(str, path)) or "(body)"}


MISTAKES = {
    "a filter that the kit has not": ({"rig__slots": ["grey9"]}, "rig.slots", "grey9"),
    "a screwed-on filter that the kit has not": (
        {"rig__holder_on": False, "rig__threads": ["round9"]}, "rig.threads", "round9",
    ),
    "a built-in step that the body has not": ({"rig__built_in": 3}, "rig.built_in", "3.0"),
    "two filters of one id": ({"filters__1__id": "grey6"}, "filters", "grey6"),
    "a filter twice in the holder": ({"rig__slots": ["grey6", "grey6"]}, "rig.slots", "['grey6', 'grey6']"),
    "a built-in step twice": ({"body__built_in_nd": [0, 2, 2]}, "body.built_in_nd", "[0.0, 2.0, 2.0]"),
    "a ring in a slot": ({"rig__slots": ["round18"]}, "rig.slots", "round18"),
    "a plate on the thread": ({"rig__holder_on": False, "rig__slots": [], "rig__threads": ["grey6"]},
                              "rig.threads", "grey6"),
    "a ring under the holder": ({"rig__threads": ["round18"]}, "rig.threads", "['round18']"),
    "a holder on that the kit has not": ({"holder": None, "rig__slots": []}, "rig.holder_on", "true"),
    "plates in a holder that the kit has not": ({"holder": None, "rig__holder_on": False}, "rig.slots", "['grey6']"),
    "a holder on a lens without its ring": ({"lens__thread": 67}, "rig.holder_on", "true"),
    "a plate too wide for the holder": ({"filters__0__width": 150}, "rig.slots", "grey6"),
    "a filter of no kind": ({"filters__0__kind": "mirror"}, "filters.0.kind", "mirror"),
    "a grad without its edge": ({"filters__0__kind": "grad"}, "filters.0.edge", "nothing"),
    "a filter mounted nowhere": ({"filters__0__mount": "magnet"}, "filters.0.mount", "magnet"),
    "a ring without its thread": ({"filters__1__thread": None}, "filters.1.thread", "nothing"),
    "a dial of four clicks": ({"body__clicks_per_stop": 4}, "body.clicks_per_stop", "4"),
    "a lens that opens narrower than it closes": ({"lens__widest": 22}, "lens.widest", "22.0"),
    "a look that is wider than its widest": ({"look__wanted": 1.8}, "look.wanted", "1.8"),
    "a look turned round": ({"look__widest": 8}, "look.widest", "8.0"),
    "a tolerance of a whole stop": ({"look__tolerance": 1}, "look.tolerance", "1.0"),
    "a rush tolerance of two stops": ({"look__rush_tolerance": 2}, "look.rush_tolerance", "2.0"),
    "no ISO at all": ({"body__iso__allowed": []}, "body.iso.allowed", "[]"),
    "no base ISO": ({"body__iso__base": []}, "body.iso.base", "[]"),
    "no shutter": ({"body__shutters": []}, "body.shutters", "[]"),
    "an empty id": ({"filters__0__id": ""}, "filters.0.id", None),
    "an id of 81 characters": ({"filters__0__id": "a" * 81}, "filters.0.id", None),
    "a lone surrogate for an id": ({"filters__0__id": "\ud800"}, "filters.0.id", None),
    "an id that is a number": ({"filters__0__id": 6}, "filters.0.id", "6"),
    "yes for true": ({"rig__holder_on": "yes"}, "rig.holder_on", "yes"),
    "1 for true": ({"rig__holder_on": 1}, "rig.holder_on", "1"),
}  # fmt: skip


@pytest.mark.parametrize(("changes", "field", "came"), MISTAKES.values(), ids=MISTAKES)
def test_a_mistake_is_told_by_field_by_what_came_and_by_what_is_allowed(ask, changes, field, came):
    answer = ask(request(**changes))
    assert refused_fields(answer) == {field}
    (error,) = problem(answer)["errors"]
    assert came is None or error["came"] == came
    assert error["allowed"] not in ("", "None")


def test_what_came_is_quoted_in_short(ask):
    """A value of a thousand characters must not bury the sentence that it is in."""
    (error,) = problem(ask(request(filters__0__mount="x" * 1000)))["errors"]
    assert error["came"].startswith("xxx")
    assert len(error["came"]) < 100


def test_text_is_quoted_as_it_came(ask):
    """No markup, escapes or bytes that the client did not send."""
    (error,) = problem(ask(request(filters__0__mount="<b>é\u0000”")))["errors"]
    assert error["came"] == "<b>é\u0000”"


def test_an_id_may_be_any_text(ask):
    """An id is the client's: one with a NUL, quotes or a smile in it comes back as it was sent."""
    for name in ("a\u0000b", "\"';--", "☺ \u202e", "0", "é" * 80):
        answer = ask(request(filters__0__id=name, rig__slots=[name]))
        assert answer.status_code == 200
        assert answer.json()["clean"]["rig"]["slots"] == [name]


MORE = {
    "filters": [{"id": f"f{number}", "mount": "slot", "density": 0.3} for number in range(41)],
    "body__iso__allowed": [100.0] * 101,
    "body__iso__base": [100.0] * 5,
    "body__shutters": [0.02] * 41,
    "body__built_in_nd": [float(number) for number in range(17)],
    "holder__rings": [77.0] * 21,
    "rig__slots": ["grey6"] * 5,
    "rig__threads": ["round18"] * 3,
}


@pytest.mark.parametrize("field", MORE)
def test_one_more_than_the_limit_is_refused(ask, field):
    """Every list has a limit that is said when it is passed."""
    answer = ask(request(**{field: MORE[field]}))
    assert refused_fields(answer) == {path_of(field)}
    assert str(len(MORE[field]) - 1) in problem(answer)["errors"][0]["allowed"]


def test_as_many_as_the_limits_allow_are_answered(ask):
    """40 filters of which 4 go in the holder: 102,091 ways to set them, under the limit of 200,000."""
    plates = [{"id": f"f{number}", "mount": "slot", "density": 0.1 * (number % 30)} for number in range(40)]
    answer = ask(request(filters=plates, rig__slots=["f3"], holder__slots=4, body__built_in_nd=[0]))
    assert answer.status_code == 200, answer.text


def test_more_ways_to_set_the_glass_than_the_limit_are_refused(ask):
    """The same with four built-in steps would be 408,364 ways: refused at once, and the limit is told."""
    plates = [{"id": f"f{number}", "mount": "slot", "density": 0.1 * (number % 30)} for number in range(40)]
    answer = ask(request(filters=plates, rig__slots=["f3"], holder__slots=4))
    assert refused_fields(answer) == {"filters"}
    assert "200000" in problem(answer)["errors"][0]["allowed"]


def test_a_million_filters_are_answered(ask):
    """A body of 50 MB, over the limit of 1 MB: told so by a problem, not by a connection that breaks."""
    one = '{"id":"f","mount":"slot","density":0.6},'
    whole = json.dumps(REQUEST | {"filters": []})
    answer = ask(whole.replace('"filters": []', '"filters": [' + (one * 1_000_000)[:-1] + "]"))
    assert refused_fields(answer) == {"(body)"}
    assert "1000000 bytes" in problem(answer)["errors"][0]["allowed"]


def test_as_many_mistakes_as_fit_in_a_body_are_answered_in_short(ask):
    """20,000 unknown fields are one refusal of a few lines."""
    answer = ask(REQUEST | {f"x{number}": 0 for number in range(20_000)})
    assert len(refused_fields(answer)) <= 20
    assert len(answer.content) < 5000


NOT_JSON = {
    "words": "Good morning", "half an object": '{"body": ', "a comma too many": '{"kind": "lux", "value": 640,}',
    "a form": "kind=lux&value=640", "XML": "<kind>lux</kind>", "no UTF-8": b'{"kind": "\xff"}', "a byte": b"\x00",
    "a zip": b"PK\x03\x04\x00\x00", "lists 100,000 deep": "[" * 100_000, "objects 100,000 deep": '{"a":' * 100_000,
    "a number of 5,000 digits": '{"kind": "lux", "value": ' + "9" * 5000 + "}",
}  # fmt: skip


@pytest.mark.parametrize("to", ["/api/moves", "/api/readings"])
@pytest.mark.parametrize("body", NOT_JSON.values(), ids=NOT_JSON)
def test_what_is_not_json_is_400(ask, body, to):
    """400 and a problem that says so: what the contract has for what is not JSON."""
    answer = ask(body, to)
    assert answer.status_code == 400
    (error,) = problem(answer)["errors"]
    assert "JSON" in error["allowed"]


@pytest.mark.parametrize("depth", range(50, 1100, 75))
def test_json_of_any_depth_is_refused(ask, depth):
    """Nested lists end as a refusal wherever they stand, above or below what the parser takes."""
    deep = "[" * depth + "]" * depth
    for body in (deep, json.dumps(REQUEST)[:-1] + f', "x": {deep}}}', json.dumps(REQUEST).replace("77", deep, 1)):
        answer = ask(body)
        assert answer.status_code in (400, 422)
        assert problem(answer)["errors"]


@pytest.mark.parametrize("to", ["/api/moves", "/api/readings"])
@pytest.mark.parametrize("body", ["", " ", "null", "0", '""', "[]", "true"], ids=repr)
def test_json_that_is_no_object_is_refused(ask, body, to):
    answer = ask(body, to)
    assert answer.status_code == (400 if body == " " else 422)
    assert [error["field"] for error in problem(answer)["errors"]] == ["(body)"]


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "application/xml", "", "x"])
def test_a_body_that_is_not_sent_as_json_is_refused_and_told_how(ask, kind):
    """A page of another site may send text/plain without being asked: the type must be JSON's own."""
    answer = ask(REQUEST, **{"content-type": kind})
    assert refused_fields(answer) == {"(body)"}
    assert "application/json" in problem(answer)["detail"]


def test_other_types_of_json_are_json(ask):
    assert ask(REQUEST, **{"content-type": "application/vnd.example+json"}).status_code == 200
    assert ask(REQUEST, **{"content-type": "application/json; charset=utf-8"}).status_code == 200


@pytest.mark.parametrize("method", ["GET", "PUT", "PATCH", "DELETE", "HEAD"])
@pytest.mark.parametrize("path", ["/api/moves", "/api/readings"])
def test_another_method_is_405_and_told_which(calls, method, path):
    answer = calls.request(method, path)
    assert answer.status_code == 405
    assert answer.headers["allow"] == "POST"
    if method != "HEAD":
        problem(answer)


@pytest.mark.parametrize("path", ["/api/move", "/api/moves/1", "/api/readings/ev", "/api/%00"])
def test_another_path_is_404(calls, path):
    answer = calls.post(path, json=REQUEST)
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"
    assert problem(answer)["title"] == "Not Found"


ODD = st.one_of(
    st.sampled_from([
        None, True, False, 0, -1, 1, 2, 3, 10, 0.5, 1e-5, 1e-300, 1e308, -1e308, HUGE, -HUGE, 2**63, float("nan"),
        float("inf"), float("-inf"), "", "2.8", "NaN", "grey6", "round18", "slot", "thread", "\ud800", "a\u0000b",
        "ß" * 90,
        [], {}, [[]], [None], [0], [0, 0], [2.8] * 50, ["grey6"], ["grey6", "round18"], {"id": "grey6"},
    ]),
    st.floats(),
    st.integers(),
    st.text(max_size=5),
    st.recursive(st.none() | st.integers(), lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.sampled_from(["id", "kind", "wanted", "x"]), inner, max_size=3), max_leaves=5),
)  # fmt: skip


@st.composite
def mutated(draw, valid):
    """The valid example with one to three fields replaced, left out or added, or the order of a list changed."""
    made = copy.deepcopy(valid)
    for _ in range(draw(st.integers(1, 3))):
        paths = list(leaves(made))
        if not paths:
            break
        path = draw(st.sampled_from(paths))
        into = at(made, path[:-1])
        match draw(st.sampled_from(["replace", "replace", "leave out", "add", "double"])):
            case "replace":
                into[path[-1]] = copy.deepcopy(draw(ODD))
            case "leave out":
                del into[path[-1]]
            case "add" if isinstance(into, dict):
                into[draw(st.sampled_from(["x", "kind", "body", "", "id"]) | st.text(max_size=3))] = copy.deepcopy(
                    draw(ODD)
                )
            case _ if isinstance(into, list):
                into.insert(draw(st.integers(0, len(into))), copy.deepcopy(into[path[-1]]))
    return made


@settings(max_examples=400, deadline=timedelta(seconds=5))
@given(asked=mutated(REQUEST))
def test_a_move_asked_for_at_random_is_answered_or_refused_in_form(calls, asked):
    """Whatever comes: an answer that holds, or a problem in form; never a mistake of ours, never for long."""
    answer = calls.post("/api/moves", content=json.dumps(asked), headers=JSON)
    assert answer.status_code in (200, 400, 422), answer.text
    if answer.status_code != 200:
        assert problem(answer)["errors"]
    elif asked["body"]["clicks_per_stop"] == 3:
        now = {"threads": [], "built_in": 0} | asked["rig"]
        for got in answer.json().values():
            assert after(now, got["actions"]) == same(got["rig"])


READINGS = (
    {"kind": "ev", "value": 12.3, "iso": 100},
    {"kind": "lux", "value": 640},
    {"kind": "luminance", "value": 64},
    {"kind": "camera", "aperture": 5.6, "shutter": 0.02, "iso": 400, "filter_stops": 2, "meter": 0.33},
)


@settings(max_examples=200, deadline=timedelta(seconds=5))
@given(reading=st.sampled_from(READINGS).flatmap(mutated))
def test_a_reading_at_random_is_answered_or_refused_in_form(calls, reading):
    answer = calls.post("/api/readings", content=json.dumps(reading), headers=JSON)
    assert answer.status_code in (200, 400, 422), answer.text
    if answer.status_code == 200:
        assert -16 <= answer.json()["ev100"] <= 36
    else:
        assert problem(answer)["errors"]


@settings(max_examples=200, deadline=timedelta(seconds=5))
@given(body=st.binary(max_size=200))
def test_bytes_at_random_are_refused_in_form(calls, body):
    answer = calls.post("/api/readings", content=body, headers=JSON)
    assert answer.status_code in (400, 422)
    assert problem(answer)["errors"]
