"""
The OpenAPI document and the calls, held to each other by a program that reads the one and sends the other whatever it
allows, and what it does not (schemathesis): no mistake of ours, and no answer that the document does not describe.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

# The calls, by name, so that each is a test of its own.
CALLS = [
    "POST /api/moves",
    "POST /api/days",
    "POST /api/readings",
    "POST /api/daylight",
    "POST /api/depth",
    "POST /api/match",
]


@pytest.fixture(scope="module")
def document(calls):
    return schemathesis.openapi.from_asgi("/api/openapi.json", calls.app)


@pytest.mark.parametrize("call", CALLS)
@pytest.mark.parametrize("mode", ["positive", "negative"])
def test_every_answer_is_as_the_document_says(document, call, mode):
    """What the document allows, and what it does not."""
    method, path = call.split()
    strategy = document[path][method].as_strategy(generation_mode=getattr(schemathesis.GenerationMode, mode.upper()))

    @settings(max_examples=60, deadline=timedelta(seconds=5), suppress_health_check=list(HealthCheck))
    @given(case=strategy)
    def every(case):
        # What the document allows may still not fit together, such as a rig of another kit: that is told with a 422.
        case.call_and_validate(excluded_checks=[positive_data_acceptance])

    every()


def test_the_document_has_these_calls(calls):
    """So that the check above passes over none."""
    paths = calls.get("/api/openapi.json").json()["paths"]
    assert {f"{method.upper()} {path}" for path, methods in paths.items() for method in methods} == set(CALLS)
