"""What Lychgate is, its cautions, its sources and its licence."""

from __future__ import annotations

from fastapi import Request, Response
from fastapi.responses import PlainTextResponse

from server.door.entrance import door_router
from server.language import Worded, noted
from server.settings import CHECKOUT

from .drawing import draw

router = door_router()

# As the modules of the engine name them, each where its formula stands.
SOURCES = Worded({
    "ISO 2720:1974; APEX (ASA PH2.5-1960)": noted("Exposure from lux, luminance and a camera’s own settings"),
    "ISO 517, ISO 12232, ISO 5800": noted("Marks of aperture and of ISO"),
    "ISO 5; JCGM 100:2008 (GUM)": noted("Density and stops, and how sure a measured filter is"),
    "CIPA DC-008-2019 (Exif 2.32)": noted("What a photo says of its exposure"),
    "IES RP-21 (1984)": noted("Sun and sky at an hour"),
    "Applied Optics 28, 4735 (1989)": noted("The air that the sun shines through"),
    "ISO 15469:2004 (CIE S 011)": noted("The part of the sky that a window sees"),
    "USNO, Rise, Set, and Twilight Definitions": noted("When the sun rises and sets, and twilight ends"),
    "Explanatory Supplement to the Astronomical Almanac": noted("The light of twilight"),
    "ISO 12312-2": noted("Looking at the sun"),
})  # fmt: skip


@router.get("/about")
def show_about(request: Request) -> Response:
    """The page."""
    return draw(request, "about/page.html", sources=[(words, source) for source, words in SOURCES.items()])


@router.get("/licence.txt")
def show_licence() -> Response:
    """The licence, word for word."""
    return PlainTextResponse((CHECKOUT / "LICENSE").read_text(encoding="utf-8"))
