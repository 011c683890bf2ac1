"""Addresses that are handed to other people: whole, with the name that this server is reached by."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fastapi import Request


def address_of(request: Request, route: str, **parameters: Any) -> str:
    """The whole address of a page: at LYCHGATE_ADDRESS, or else as the one who asks has reached this server."""
    path = request.app.url_path_for(route, **parameters)
    return f"{request.app.state.settings.address or str(request.base_url).rstrip('/')}{path}"
