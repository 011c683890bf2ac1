"""The forms for a reading, one a method, shared by the venue page and the day page."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BeforeValidator

from server.book.log import PARTS, Part
from server.exposure import light, wording
from server.exposure.daylight import SKIES, Sky
from server.exposure.refused import OutOfRange
from server.language import Worded, clock, noted, say

from .drawing import zone
from .forms import FNumber, Form, Number, NumberOrZero, Typed, Unclear, number, one_of, optional, or_zero, seconds, text
from .photos import read_photo

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from fastapi import Request, Response
    from starlette.datastructures import FormData

    from .photos import Photo

METHODS = Worded(
    {
        "ev": noted("EV"),
        "lux": noted("Lux"),
        "luminance": noted("cd/m²"),
        "camera": noted("Camera"),
        "eye": noted("Looks right"),
        "photo": noted("Photo"),
    }
)
CLOCKS_DIFFER = timedelta(minutes=2)  # a phone's clock may be ahead of the server's by so much
SKY_LASTS = timedelta(hours=3)
OLDEST = datetime(1990, 1, 1, tzinfo=UTC)
METHOD_COOKIE = "lychgate_method"


def _base_if_empty(came: object) -> float:
    return 100.0 if optional(came) is None else number(came, "100")


_sky = one_of(SKIES, noted("clear, partly cloudy or overcast"), otherwise=None)
_part = one_of(PARTS, noted("lit face, window or dark corner"), otherwise="face")


def _taken(came: object) -> datetime | None:
    line = text(came)
    if not line:
        return None
    try:
        return datetime.fromisoformat(line)
    except ValueError as error:
        message = say("a date and time, such as 2026-06-20 14:30")
        raise ValueError(message) from error


def _plain(came: object) -> float:
    """A number that may go into the thousands, where 1,200 could be either."""
    line = text(came)
    if re.fullmatch(r"\d{1,3}(,\d{3})+", line):
        message = say(
            "{whole} for thousands, or {parts} with a point",
            whole=line.replace(",", ""),
            parts=line.replace(",", ".", 1),
        )
        raise ValueError(message)
    return number(line, "640")


def _dial(came: object) -> float:
    """An exposure time as a camera shows it: a bare 50 could be a fiftieth or fifty seconds."""
    line = text(came)
    if re.fullmatch(r"\d{1,5}", line, re.ASCII) and int(line) >= BARE_SECONDS:
        message = say("1/{line} for a fraction, or {line} s for seconds", line=line)
        raise ValueError(message)
    return seconds(line)


def _meter(came: object) -> float:
    """Stops as a meter shows them: "+0.7", "−1", "2/3", "1⅓"."""
    line = text(came).replace("−", "-")
    for mark, spelled in (("⅓", " 1/3"), ("⅔", " 2/3"), ("½", " 1/2")):
        line = line.replace(mark, spelled)
    found = re.fullmatch(r"([+-]?)\s*(?:(\d{1,2})\s+)?(\d)/([1-9])", line, re.ASCII)
    if found is None:
        return or_zero(came)
    size = int(found[2] or 0) + int(found[3]) / int(found[4])
    return -size if found[1] == "-" else size


BARE_SECONDS = 4  # a whole number from here on is asked about: nobody meters for four seconds and more by hand
Plain = Annotated[float, BeforeValidator(_plain)]
Dial = Annotated[float, BeforeValidator(_dial)]
Meter = Annotated[float, BeforeValidator(_meter)]


class ReadingForm(Form):
    """
    What every method asks: the sky, what was metered, and when, where that is not now.

    again: which one of an hour that came twice was meant, on the night that the clocks went back
    """

    sky: Annotated[Sky | None, BeforeValidator(_sky)] = None
    part: Annotated[Part, BeforeValidator(_part)] = "face"
    taken: Annotated[datetime | None, BeforeValidator(_taken)] = None
    again: Literal["", "first", "second"] = ""


class EvForm(ReadingForm):
    """A meter's EV at the ISO it was set to."""

    kind: Literal["ev"]
    value: Number
    iso: Annotated[float, BeforeValidator(_base_if_empty)] = 100.0

    def light(self, _stops_on_lens: float = 0.0) -> light.Light:
        """The light level."""
        return light.from_ev(self.value, self.iso)

    def check(self) -> None:
        """Refuse what is no light level."""
        self.light()


class LuxForm(ReadingForm):
    """Illuminance on a flat receptor."""

    kind: Literal["lux"]
    value: Plain

    def light(self, _stops_on_lens: float = 0.0) -> light.Light:
        """The light level."""
        return light.from_lux(self.value)

    def check(self) -> None:
        """Refuse what is no light level."""
        self.light()


class LuminanceForm(ReadingForm):
    """Reflected light, from a spot meter."""

    kind: Literal["luminance"]
    value: Plain

    def light(self, _stops_on_lens: float = 0.0) -> light.Light:
        """The light level."""
        return light.from_luminance(self.value)

    def check(self) -> None:
        """Refuse what is no light level."""
        self.light()


class ThroughGlass(ReadingForm):
    """
    What a camera's reading asks beside its settings.

    glass: ids of the filters that were ticked;  filter_stops: what else took light [stops]
    """

    filter_stops: NumberOrZero = 0.0
    glass: tuple[Annotated[str, BeforeValidator(text)], ...] = ()


class EyeForm(ThroughGlass):
    """The settings at which the picture looks right."""

    kind: Literal["eye"]
    aperture: FNumber
    shutter: Dial
    iso: Number

    def light(self, stops_on_lens: float = 0.0) -> light.Light:
        """The light level, with the stops of the glass that was on."""
        return light.from_camera(self.aperture, self.shutter, self.iso, self.filter_stops + stops_on_lens)

    def check(self) -> None:
        """Refuse what no camera can be set to."""
        self.light()


class CameraForm(ThroughGlass):
    """The camera's settings, and what its meter showed."""

    kind: Literal["camera"]
    aperture: FNumber
    shutter: Dial
    iso: Number
    meter: Meter = 0.0

    def light(self, stops_on_lens: float = 0.0) -> light.Light:
        """The light level, with the stops of the glass that was on."""
        stops = self.filter_stops + stops_on_lens
        return light.from_camera(self.aperture, self.shutter, self.iso, stops, self.meter)

    def check(self) -> None:
        """Refuse what no camera can be set to."""
        self.light()


class PhotoForm(ThroughGlass):
    """
    A photo of the place. meter: by how many stops it looks too bright.

    through: whether it was taken through what is on the camera now, on a day
    """

    kind: Literal["photo"]
    meter: Meter = 0.0
    through: Annotated[bool, BeforeValidator(bool)] = False

    def light(self, photo: Photo, stops_on_lens: float = 0.0) -> light.Light:
        """The light level that the photo's figures give."""
        stops = self.filter_stops + stops_on_lens
        return light.from_photo(photo.aperture, photo.shutter, photo.iso, photo.bias, stops, self.meter)


TypedForm = EvForm | LuxForm | LuminanceForm | CameraForm | EyeForm
_FORMS: dict[str, type[TypedForm]] = {
    "ev": EvForm, "lux": LuxForm, "luminance": LuminanceForm, "camera": CameraForm, "eye": EyeForm,
}  # fmt: skip
_NOT_RAW = {"kind", "glass", "sky", "part", "taken", "again", "through"}


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading for the book: raw, the figures as they came; ev100 [stops]; taken_at, None for now."""

    kind: str
    raw: dict[str, Any]
    ev100: float
    sky: Sky | None
    part: Part
    taken_at: datetime | None


def read_reading(
    came: FormData, time_zone: str, now: datetime, stops: Callable[[ThroughGlass], float]
) -> tuple[Reading | None, Typed]:
    """
    The reading that a form says, by whichever method it was typed.

    time_zone  of the venue, for when it was taken;  stops  what the glass in front of the lens took [stops]
    """
    kind = _FORMS.get(str(came.get("kind")))
    if kind is None:
        return None, Typed(errors={"kind": say("It needs a method: EV, lux, cd/m² or the camera's settings")})
    form, typed = kind.read(came)
    if form is None:
        return None, typed
    try:
        counted = stops(form) if isinstance(form, ThroughGlass) else None
        ev100 = _metered(form.light(counted or 0.0).ev100, "aperture" if counted is not None else "value")
        taken_at = taken(form, time_zone, now)
    except OutOfRange as refused:
        typed.refuse(refused)
        return None, typed
    raw = form.model_dump(exclude=_NOT_RAW) | ({} if counted is None else {"glass_stops": counted})
    return Reading(form.kind, raw, ev100, form.sky, form.part, taken_at), typed


def _metered(ev100: float, field: str) -> float:
    """A level that somebody may have metered [stops]; else OutOfRange."""
    level = wording.ev(ev100)
    if ev100 > light.SUN_DISC:
        raise Unclear(
            field, ev100, say("That is {ev}, brighter than the sun itself. Look at the figures again", ev=level)
        )
    if ev100 < light.STARLIGHT:
        raise Unclear(field, ev100, say("That is {ev}, darker than starlight. Look at the figures again", ev=level))
    return ev100


def read_photo_reading(
    came: FormData, data: bytes | None, time_zone: str, now: datetime, stops: Callable[[PhotoForm], float]
) -> tuple[Reading | None, Typed]:
    """The reading that a photo's figures give. Nothing else of the photo is kept."""
    form, typed = PhotoForm.read(came)
    if form is None:
        return None, typed
    if not data:
        typed.errors["file"] = say("It needs a photo")
        return None, typed
    try:
        photo = read_photo(data)
        counted = stops(form)
        ev100 = form.light(photo, counted).ev100
        taken_at = taken(form, time_zone, now) or _taken_by(photo, time_zone, now)
    except OutOfRange as refused:
        typed.refuse(refused)
        return None, typed
    figures = {"aperture": photo.aperture, "shutter": photo.shutter, "iso": photo.iso, "bias": photo.bias}
    known = {"focal_mm": photo.focal_mm, "latitude": photo.latitude, "longitude": photo.longitude}
    raw = figures | {name: value for name, value in known.items() if value is not None}
    raw |= {"meter": form.meter, "filter_stops": form.filter_stops, "glass_stops": counted}
    return Reading("photo", raw, ev100, form.sky, form.part, taken_at), typed


def _taken_by(photo: Photo, time_zone: str, now: datetime) -> datetime | None:
    """When the photo says that it was taken; a camera that knows no zone is on the venue's clock."""
    if photo.taken is None:
        return None
    local = photo.taken if photo.taken.tzinfo is not None else photo.taken.replace(tzinfo=zone(time_zone))
    taken_at = local.astimezone(UTC)
    if not OLDEST <= taken_at <= now + CLOCKS_DIFFER:
        said = f"{local:%Y-%m-%d} {clock(local)}"
        raise Unclear(
            "taken", said, say("The photo says {said}: its clock is wrong. Type when it was taken", said=said)
        )
    return min(taken_at, now)


def taken(form: ReadingForm, time_zone: str, now: datetime) -> datetime | None:
    """
    When a reading was taken, in UTC; None for now.

    Raises OutOfRange for the future, for what is too long ago, and for an hour that a change of the clocks left out, or
    that came twice and of which neither was chosen.
    """
    if form.taken is None:
        return None
    said = f"{form.taken:%Y-%m-%d} {clock(form.taken)}"
    if not OLDEST.year <= form.taken.year <= now.year + 1:  # beyond the calendar's ends there is no UTC to reckon in
        raise Unclear(
            "taken",
            said,
            say("{said} is in the future", said=said)
            if form.taken.year > now.year
            else say("{said} is too long ago: {year} or later", said=said, year=OLDEST.year),
        )
    if form.taken.tzinfo is not None:
        return _not_later(form.taken.astimezone(UTC), said, time_zone, now)
    local = form.taken.replace(tzinfo=zone(time_zone))
    at = local.astimezone(UTC)
    if at.astimezone(local.tzinfo).replace(tzinfo=None) != form.taken:
        raise Unclear("taken", said, say("{said} did not happen there: the clocks went forward over it", said=said))
    second = form.taken.replace(tzinfo=zone(time_zone), fold=1)
    if second.utcoffset() != local.utcoffset():
        if not form.again:
            raise Unclear(
                "again", said, say("{said} came twice there, when the clocks went back: which one?", said=said)
            )
        at = (local if form.again == "first" else second).astimezone(UTC)
    return _not_later(at, said, time_zone, now)


def _not_later(at: datetime, said: str, time_zone: str, now: datetime) -> datetime:
    if at > now + CLOCKS_DIFFER:
        raise Unclear(
            "taken",
            said,
            say(
                "{said} is in the future there; it is {time} now",
                said=said,
                time=clock(now.astimezone(zone(time_zone))),
            ),
        )
    return min(at, now)


def last_noted(skies: Iterable[tuple[datetime, Sky | None]], now: datetime) -> Sky | None:
    """The sky that was noted last [when, sky], as long as it is likely to stand; it is offered again, and no other."""
    noted = [(at, sky) for at, sky in skies if sky is not None and now - at < SKY_LASTS]
    return max(noted)[1] if noted else None


def stops_of(glass: tuple[str, ...], known: Mapping[str, float]) -> float:
    """The stops [stops] of the filters that were ticked; one that is not known any more counts nothing."""
    return math.fsum(known.get(each, 0.0) for each in glass)


def method_of(request: Request, newest: str | None = None) -> str:
    """The method to offer first: the one used last on this phone, else the newest reading's."""
    for method in (request.cookies.get(METHOD_COOKIE), newest):
        if method in METHODS:
            return str(method)
    return "ev"


def with_method(request: Request, response: Response, method: str) -> Response:
    """A response that has this phone remember the method."""
    secure = request.url.scheme == "https"
    response.set_cookie(METHOD_COOKIE, method, 180 * 86400, samesite="lax", httponly=True, secure=secure)
    return response
