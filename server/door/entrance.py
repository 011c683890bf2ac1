"""The entrance: every route asks here whether its visitor may use it, before anything of the request is read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter
from fastapi.routing import APIRoute, iter_route_contexts

from .roles import RULES, may
from .visitor import visitor_in

if TYPE_CHECKING:
    from collections.abc import Callable

    from fastapi import FastAPI
    from starlette.types import Receive, Scope, Send

    from .roles import Needed

WITHOUT_A_DOOR = frozenset({"openapi", "static"})  # the document of the calls, and files that everybody has


class NoRule(Exception):
    """A route of which nobody has said who may use it."""


class Stranger(Exception):
    """Somebody without a session asked for what a crew has."""


class NotAllowed(Exception):
    """Somebody asked for what their role may not do. needed: the least role that may."""

    def __init__(self, needed: Needed) -> None:
        super().__init__(needed)
        self.needed = needed


class DoorRoute(APIRoute):
    """A route with a rule in `roles.RULES`."""

    def __init__(self, path: str, endpoint: Callable[..., Any], **options: Any) -> None:
        super().__init__(path, endpoint, **options)
        if self.name not in RULES:
            raise NoRule(f"{self.name}, at {path}")

    async def handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the request in. Raises Stranger, NotAllowed."""
        visitor = visitor_in(scope)
        if not may(visitor, self.name):
            raise Stranger if visitor is None else NotAllowed(RULES[self.name])
        await super().handle(scope, receive, send)


def door_router(**options: Any) -> APIRouter:
    """A router whose routes all have the door."""
    return APIRouter(route_class=DoorRoute, **options)


def check_doors(app: FastAPI) -> None:
    """Raises NoRule where a route got past the door."""
    for route in iter_route_contexts(app.routes):
        if not isinstance(route.original_route, DoorRoute) and route.name not in WITHOUT_A_DOOR:
            raise NoRule(f"{route.name}, at {route.path}")
