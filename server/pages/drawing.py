"""Drawing a template: the one Jinja environment, and what every template may use."""

from __future__ import annotations

import secrets
import uuid
from datetime import UTC, datetime, timedelta
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import segno
from fastapi.responses import HTMLResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from server.book.order import clock_words
from server.door.roles import may
from server.door.visitor import visitor_in
from server.exposure import depth, wording
from server.exposure.scales import marked_shutter
from server.exposure.sun import COMPASS, compass
from server.language import (
    FEET_PER_METRE,
    LANGUAGES,
    Worded,
    clock,
    decimal,
    goes_on,
    length,
    manner,
    noted,
    say,
    say_as,
    say_many,
)
from server.language import day as date_words
from server.settings import CHECKOUT
from server.static_files import static, version

from .forms import Typed, figure, time_figure
from .geo import geo_uri
from .seen import seen_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from fastapi import FastAPI, Request

    from server.book.log import Part
    from server.book.people import Role
    from server.exposure.daylight import LitFrom, Sky
    from server.exposure.trust import Doubt, Level

KINDS_OF_LIGHT = Worded({
    "sun": noted("open sun"),
    "shade": noted("open shade"),
    "window": noted("window light"),
    "lamps": noted("lamps"),
})  # fmt: skip

SKY_WORDS: Worded[Sky] = Worded({
    "clear": noted("clear"), "partly": noted("partly cloudy"), "overcast": noted("overcast"),
})  # fmt: skip
PART_WORDS: Worded[Part] = Worded({
    "face": noted("lit face"), "bright": noted("window or brightest"), "dark": noted("dark corner"),
})  # fmt: skip

LIT_FROM_WORDS: Worded[LitFrom] = Worded({
    "front": noted("the front, the sun at your back"),
    "side": noted("the side"),
    "back": noted("behind, the sun in the lens"),
    "above": noted("above"),
})  # fmt: skip

KINDS_OF_GLASS = Worded({
    "nd": noted("ND"),
    "variable_nd": noted("variable ND"),
    "grad": noted("grad"),
    "polariser": noted("polariser"),
    "diffusion": noted("diffusion"),
    "colour": noted("colour"),
})  # fmt: skip

EDGES = Worded({"hard": noted("hard"), "soft": noted("soft")})

ROLE_WORDS: Worded[Role] = Worded({"second": noted("second shooter"), "lead": noted("lead"), "guest": noted("guest")})
ROLE_MAY: Worded[Role] = Worded({
    "lead": noted("you do everything, and let others in."),
    "second": noted("you work with the venues, days and kits, with a camera of your own."),
    "guest": noted("you read, and change nothing."),
})  # fmt: skip

_environment = Environment(
    loader=FileSystemLoader(CHECKOUT / "templates"),
    autoescape=True,
    trim_blocks=True,
    lstrip_blocks=True,
    undefined=StrictUndefined,
    auto_reload=False,
)


def distance_figure(metres: float) -> str:
    """A distance [m] as a field shows it, in feet for who wants it so; `forms.distance` reads it back."""
    return figure(round(metres * FEET_PER_METRE, 3)) if manner().feet else f"{metres:g}"


def facings() -> list[tuple[float | str, str]]:
    """Ways that a window may face: degrees from north, with their words."""
    return [("", say("not known")), *((45.0 * number, say(words)) for number, words in enumerate(COMPASS))]


def new_event_id() -> str:
    """An id for an event that a form may send; a script gives each tap one of its own."""
    return str(uuid.UUID(bytes=secrets.token_bytes(16), version=4))


def when(moment: datetime, time_zone: str, seen: datetime | None = None) -> str:
    """A moment at the venue's own clock: "11:05" on the day it is seen from, today as a rule, else "14 Oct 11:05"."""
    local = moment.astimezone(zone(time_zone))
    today = (seen or datetime.now(UTC)).astimezone(local.tzinfo).date()
    if local.date() == today:
        return clock(local)
    return f"{date_words(local, 'd MMM' if local.year == today.year else 'd MMM y')} {clock(local)}"


def age(moment: datetime, time_zone: str) -> str:
    """How long ago, in words that are read at a glance: "just now", "12 min ago", else when."""
    minutes = (datetime.now(UTC) - moment) // timedelta(minutes=1)
    if minutes < 1:
        return say("just now")
    if minutes < 60:
        return say("{minutes} min ago", minutes=minutes)
    if minutes < 6 * 60:
        return say("{hours} h {minutes} min ago", hours=minutes // 60, minutes=f"{minutes % 60:02}")
    return when(moment, time_zone)


DOUBTS: Worded[Doubt] = Worded({
    "sky": noted("the sky has changed"),
    "unnoted": noted("its sky was not noted"),
    "set": noted("the sun is down, and was up"),
    "risen": noted("the sun is up, and was down"),
    "season": noted("read in another season"),
    "nowhere": noted("no coordinates, so its drift is not known"),
    "bright": noted("brighter than sun and sky could be then"),
    "dim": noted("darker than any sky leaves it then"),
})  # fmt: skip


def trusted(level: Level, taken_at: datetime, time_zone: str, seen: datetime | None = None) -> str:
    """How far a level can be trusted at the moment it is seen for: fresh and its age, its drift, or stale and why."""
    since = when(taken_at, time_zone, seen)
    if level.trust == "fresh":
        return say("fresh: {age}", age=age(taken_at, time_zone))
    if level.trust == "forecast":
        if abs(level.drift) < 0.05:
            return say("forecast: steady since {time}", time=since)
        drift = decimal(wording.minus(level.drift, "+.1f"))
        return say("forecast: {drift} since {time}", drift=drift, time=since)
    return say("stale: {why}; read {time}, meter again", why=DOUBTS[level.doubt], time=since)


def as_typed(kind: str, raw: Mapping[str, Any]) -> str:
    """The figures of a reading as they were typed or read, behind its method."""
    said = []
    if kind in ("lux", "luminance") and "value" in raw:
        said.append(f"{decimal(format(raw['value'], 'g'))} {'lx' if kind == 'lux' else 'cd/m²'}")
    elif "aperture" in raw:
        said += [wording.f_number(raw["aperture"]), marked_shutter(raw["shutter"]), wording.iso(raw["iso"])]
    glass = float(raw.get("glass_stops") or 0) + float(raw.get("filter_stops") or 0)
    said += [say("{stops} of glass", stops=wording.stops_of(glass))] if glass else []
    said += [f"{raw['focal_mm']:.0f} mm"] if raw.get("focal_mm") else []
    return " ".join(("", *said))


@lru_cache(maxsize=256)
def zone(name: str) -> ZoneInfo:
    """A time zone by its IANA name."""
    return ZoneInfo(name)


def in_html(saying: Callable[..., str]) -> Callable[..., Markup]:
    """
    A way of saying things, for templates: a message may hold marks of HTML, and what is put into it is made safe.

    >>> in_html(say)("<b>{name}</b>", name="<i>")
    Markup('<b>&lt;i&gt;</b>')
    """

    def said(*parts: Any, **values: Any) -> Markup:
        return Markup(saying(*parts, **{name: escape(value) for name, value in values.items()}))  # noqa: S704 - just made safe

    return said


_environment.globals.update(
    say=in_html(say), say_many=in_html(say_many), say_as=in_html(say_as), manner=manner, length=length, decimal=decimal,
    date_words=date_words, time_of=clock, goes_on=goes_on, languages=LANGUAGES,
    new_event_id=new_event_id, when=when, trusted=trusted, as_typed=as_typed, doubts=DOUBTS,
    kinds_of_light=KINDS_OF_LIGHT,
    sky_words=SKY_WORDS, part_words=PART_WORDS, lit_from=LIT_FROM_WORDS, facings=facings, compass=compass,
    distance_figure=distance_figure, edges_of_grads=EDGES,
    kinds_of_glass=KINDS_OF_GLASS,
    role_words=ROLE_WORDS, role_may=ROLE_MAY, ago=partial(age, time_zone="UTC"),
    static=static, version=version, formats=depth.FORMATS, words=wording, no_typing=Typed, geo_uri=geo_uri, seen=seen_of
)  # fmt: skip
_environment.filters.update(
    f_number=wording.f_number,
    capital=lambda words: words[:1].upper() + words[1:],
    shutter=marked_shutter,
    iso=wording.iso,
    ev=wording.ev,
    density=wording.density,
    clock=clock_words,
    figure=figure,
    day=date_words,
    moment=lambda moment: f"{date_words(moment, 'd MMM')} {clock(moment)} UTC",
    time_figure=time_figure,
)


def draw(request: Request, template: str, *, status: int = 200, **context: Any) -> HTMLResponse:
    """A page or a fragment as a response."""

    def path_for(name: str, **parameters: Any) -> str:
        return _pattern(request.app, name, tuple(parameters)).format(**parameters)

    visitor = visitor_in(request.scope)
    drawn = _environment.get_template(template)
    html = drawn.render(path_for=path_for, asks=visitor, may=partial(may, visitor), **context)
    # What came in a charset of its own may hold what UTF-8 cannot.
    return HTMLResponse(html.encode("utf-8", "replace"), status)


@lru_cache(maxsize=1000)
def _pattern(app: FastAPI, name: str, parameters: tuple[str, ...]) -> str:
    """A route's path with a place for each parameter; asked once, as the framework looks through all routes for it."""
    return str(app.url_path_for(name, **{each: f"{{{each}}}" for each in parameters}))


def qr(line: str) -> Markup:
    """A QR code as SVG: a line of text that a phone's camera opens. Level M mends an eighth of it, as a crease does."""
    return Markup(segno.make(line, error="m").svg_inline(scale=4, omitsize=True))  # noqa: S704 - segno's own, no words in it


def attached(content: bytes | str, kind: str, name: str) -> Response:
    """A file of this media type for the browser to save under a name."""
    return Response(content, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'})


def wants_fragment(request: Request) -> bool:
    """Whether htmx asks, and will swap a part of the page."""
    return request.headers.get("hx-request") == "true"
