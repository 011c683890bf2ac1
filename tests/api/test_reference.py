"""The reference: the page at /api and the OpenAPI document that it is drawn from."""

from __future__ import annotations

import re

import pytest

from tests.api.example import REQUEST, request
from tests.page import Page

UNITS = (
    r"\bstops?\b|f-numbers?\b|ISO speed|\bs\b|\bmm\b|\bm\b|\bD\b|\blx\b|cd/m²|\bclicks\b|degrees|\bhz\b|µm|pixels|%|"
    r"how many|detents|a count|no unit"
)


@pytest.fixture(scope="module")
def document(calls):
    answer = calls.get("/api/openapi.json")
    assert answer.status_code == 200
    return answer.json()


@pytest.fixture(scope="module")
def reference(calls):
    answer = calls.get("/api")
    assert answer.status_code == 200
    return Page(answer.text)


def operations(document):
    return [(path, operation["post"]) for path, operation in document["paths"].items()]


def body_of(operation):
    return operation["requestBody"]["content"]["application/json"]["schema"]


def test_the_contract_s_calls_are_in_the_document(document):
    assert {"/api/moves", "/api/days", "/api/readings"} <= set(document["paths"])


def test_the_document_has_calls_and_no_pages(document):
    assert all(path.startswith("/api/") for path in document["paths"])


def test_every_call_of_the_document_is_on_the_page(document, reference):
    assert [path for path in document["paths"] if f"POST {path}" not in reference.text] == []


def test_the_document_s_examples_are_answered(document, calls):
    """Who copies an example out of the reference gets an answer, not a refusal."""
    for path, operation in operations(document):
        examples = body_of(operation)["examples"]
        assert examples, path
        for example in examples:
            answer = calls.post(path, json=example)
            assert answer.status_code == 200, f"{path}: {answer.text}"


def test_every_kind_of_reading_has_an_example(document):
    schema = body_of(document["paths"]["/api/readings"]["post"])
    assert {example["kind"] for example in schema["examples"]} >= {"ev", "lux", "luminance", "camera"}


def quantities(document):
    """Every field that is a number, or a list of numbers, with its description."""
    for name, shape in document["components"]["schemas"].items():
        for field, info in shape.get("properties", {}).items():
            options = info.get("anyOf", [info])
            types = {str(option.get("items", option).get("type")) for option in options}
            if types & {"number", "integer"} and field != "status":
                yield f"{name}.{field}", info.get("description", "")


def test_every_quantity_says_its_unit(document):
    """A number without its unit is a guess."""
    found = dict(quantities(document))
    assert {"LookShape.wanted", "IsoShape.base", "ScoreShape.miss", "HandsShape.iris", "StopShape.hurry"} <= set(found)
    assert [name for name, about in found.items() if not re.search(UNITS, about, re.IGNORECASE)] == []


@pytest.mark.parametrize(
    "name", ["MoveRequest", "DayRequest", "StopShape", "IsoShape", "LookShape", "CameraReading", "ScoreShape"]
)
def test_the_page_says_every_field_of_a_shape_with_its_meaning(reference, document, name):
    for field, info in document["components"]["schemas"][name]["properties"].items():
        assert re.search(rf"\b{field}\b", reference.text), field
        assert info.get("description", "") in reference.text


def test_the_mains_of_a_look_are_what_the_reference_says(document, calls):
    """50 or 60 Hz, and only steady shutters then; anything else is refused by its field."""
    assert "50 or 60 Hz" in document["components"]["schemas"]["LookShape"]["properties"]["mains"]["description"]

    def ask(mains, shutters):
        return calls.post("/api/moves", json=request(look__mains=mains, body__shutters=shutters))

    for mains, shutter in ((50, 1 / 50), (60, 1 / 60), (None, 1 / 48)):
        answer = ask(mains, [1 / 48, 1 / 50, 1 / 60])
        assert answer.status_code == 200, answer.text
        assert mains is None or answer.json()["clean"]["rig"]["shutter"] == shutter
    for came in (55, 0, -50, 50.5, "50", True, [50], 10**400):
        answer = ask(came, [1 / 50])
        assert answer.status_code == 422, came
        assert [error["field"] for error in answer.json()["errors"]] == ["look.mains"], came
    (error,) = ask(60, [1 / 48, 1 / 50]).json()["errors"]
    assert error["field"] == "look.mains"
    assert all(words in error["allowed"] for words in ("1/48", "1/50", "1/60"))


@pytest.mark.parametrize("word", ["ISO 100", "seconds", "millimetres", "f-number", "densities in D", "finite"])
def test_the_page_says_in_which_units_calls_are_made(reference, word):
    assert word in reference.text


@pytest.mark.parametrize("word", ["422", "400", "RFC 9457", "application/problem+json", "field", "came", "allowed"])
def test_the_page_says_how_bad_input_is_answered(reference, word):
    assert word in reference.text


@pytest.mark.parametrize("status", ["400", "422"])
def test_the_document_has_the_problem_that_each_call_may_answer_with(document, status):
    """A client made from the document must find the problem under the type that it is sent with, and no other."""
    for path, operation in operations(document):
        content = operation["responses"][status]["content"]
        assert set(content) == {"application/problem+json"}, path
        assert content["application/problem+json"]["schema"]["$ref"].endswith("/ProblemDocument")


def test_the_place_that_a_problem_points_to_is_there(calls, reference):
    """A problem's type is an address, and the page has what stands at it."""
    path, _, part = calls.post("/api/readings", json={}).json()["type"].partition("#")
    assert path == "/api"
    assert f'id="{part}"' in reference.source


def test_the_contract_s_request_is_an_example_as_the_contract_has_it(document):
    """Every field of the contract's example is one that the document knows, down to the last."""
    shapes = document["components"]["schemas"]

    def named(shape):
        return shapes[shape["$ref"].rpartition("/")[2]] if "$ref" in shape else shape

    def check(value, shape, at):
        options = [named(option) for option in named(shape).get("anyOf", [shape])]
        if isinstance(value, dict):
            (properties,) = [option["properties"] for option in options if "properties" in option]
            for field, inner in value.items():
                assert field in properties, f"{at}.{field}"
                check(inner, properties[field], f"{at}.{field}")
        elif isinstance(value, list):
            (items,) = [option["items"] for option in options if "items" in option]
            for inner in value:
                check(inner, items, at)

    check(REQUEST, {"$ref": "#/components/schemas/MoveRequest"}, "MoveRequest")
