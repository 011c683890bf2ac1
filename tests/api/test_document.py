"""
The OpenAPI document and the calls, held to each other by a program that reads the one and sends the other whatever it
allows, and what it does not (schemathesis): no mistake of ours, and no answer that the document does not describe.
"""

from __future__ import annotations

import pytest
import schemathesis
from hypothesis import HealthCheck, settings

document = schemathesis.pytest.from_fixture("described")


@pytest.fixture
def described(calls):
    return schemathesis.openapi.from_asgi("/api/openapi.json", calls.app)


@document.parametrize()
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
def test_every_answer_is_as_the_document_says(case):
    case.call_and_validate()


def test_the_document_has_every_call(calls):
    """So that the check above passes over none."""
    paths = calls.get("/api/openapi.json").json()["paths"]
    routes = {route.path for route in calls.app.routes if getattr(route, "include_in_schema", False)}
    assert set(paths) == {path for path in routes if path.startswith("/api/")} - {"/api/openapi.json"}
