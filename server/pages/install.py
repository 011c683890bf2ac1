"""What a browser needs to keep Lychgate on the home screen (W3C Web App Manifest) and to open it without a signal."""

from __future__ import annotations

from fastapi import Request, Response
from fastapi.responses import JSONResponse

from server.door.entrance import door_router
from server.language import manner, say
from server.static_files import static, worker

from .drawing import draw

router = door_router()

PAPER, MARK = "#f6f2e9", "#123f3a"


@router.get("/manifest.webmanifest")
def show_manifest() -> Response:
    """The web app manifest."""
    manifest = {
        "id": "/",
        "name": "Lychgate",
        "short_name": "Lychgate",
        "description": say("Which filter to pull and how many clicks to turn, for every next place."),
        "lang": manner().language,
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "orientation": "any",
        "background_color": PAPER,
        "theme_color": MARK,
        "icons": [
            {"src": static("icon.svg"), "type": "image/svg+xml", "sizes": "any"},
            {"src": static("icon-192.png"), "type": "image/png", "sizes": "192x192"},
            {"src": static("icon-512.png"), "type": "image/png", "sizes": "512x512"},
            {"src": static("icon-maskable.png"), "type": "image/png", "sizes": "512x512", "purpose": "maskable"},
        ],
    }
    return JSONResponse(manifest, media_type="application/manifest+json")


@router.get("/phone")
def show_phone(request: Request) -> Response:
    """What this phone keeps, and what differs between phones."""
    return draw(request, "install/page.html")


@router.get("/sw.js")
def show_worker() -> Response:
    """The service worker. Its address never changes; a browser asks each time whether it is still the same."""
    headers = {"cache-control": "no-cache", "service-worker-allowed": "/"}
    return Response(worker(), media_type="text/javascript", headers=headers)
