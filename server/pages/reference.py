"""The reference of the JSON calls, drawn from the OpenAPI document itself: units, limits, errors."""

from __future__ import annotations

import json
from typing import Any

from fastapi import Request, Response

from server.door.entrance import door_router

from .drawing import draw

router = door_router()


@router.get("/api")
def show_reference(request: Request) -> Response:
    """Every call, field by field."""
    document: dict[str, Any] = request.app.openapi()
    shapes = document["components"]["schemas"]
    calls = [
        {
            "method": method.upper(),
            "path": path,
            "about": operation.get("description", operation["summary"]),
            "shapes": _shapes_of(shapes, operation.get("requestBody", {})),
            "answers": _shapes_of(shapes, operation["responses"].get("200", {})),
            "refusals": {
                status: answer["description"] for status, answer in operation["responses"].items() if status != "200"
            },
            "examples": [json.dumps(example, indent=2) for example in _examples(operation)],
        }
        for path, operations in document["paths"].items()
        for method, operation in operations.items()
    ]
    problem = _rows("ProblemDocument", shapes["ProblemDocument"])
    return draw(request, "reference/page.html", about=document["info"]["description"], calls=calls, problem=problem)


def _examples(operation: dict[str, Any]) -> list[Any]:
    body = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
    found: list[Any] = body.get("schema", {}).get("examples", [])
    return found


def _shapes_of(shapes: dict[str, Any], part: dict[str, Any]) -> list[dict[str, Any]]:
    """The shape that a body has, and every shape inside it, each once, outermost first."""
    waiting, seen = _named(part), {}
    while waiting:
        name = waiting.pop(0)
        if name not in seen:
            seen[name] = _rows(name, shapes[name])
            waiting += _named(shapes[name])
    return list(seen.values())


def _named(part: object) -> list[str]:
    """The names of the shapes that a part of the document refers to."""
    if isinstance(part, dict):
        own = [part["$ref"].rsplit("/", 1)[-1]] if isinstance(part.get("$ref"), str) else []
        return own + [
            name for key, value in part.items() if key not in ("examples", "mapping") for name in _named(value)
        ]
    return [name for value in part for name in _named(value)] if isinstance(part, list) else []


def _rows(name: str, shape: dict[str, Any]) -> dict[str, Any]:
    needed = shape.get("required", [])
    return {
        "name": name,
        "about": shape.get("description", ""),
        "fields": [
            {
                "name": field,
                "type": _type(info),
                "needed": field in needed,
                "about": info.get("description", ""),
            }
            for field, info in shape.get("properties", {}).items()
        ],
    }


def _type(info: dict[str, Any]) -> str:
    if "$ref" in info:
        return str(info["$ref"]).rsplit("/", 1)[-1]
    if "anyOf" in info:
        return " or ".join(_type(each) for each in info["anyOf"])
    if "enum" in info:
        return " or ".join(f"“{each}”" for each in info["enum"])
    if "const" in info:
        return f"“{info['const']}”"
    if info.get("type") == "array":
        return f"list of {_type(info['items'])}"
    return str(info.get("type", "any"))
