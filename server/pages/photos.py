"""
The figures that a photo says it was taken with, and the form that brings one.

Kept are figures only: aperture, time, ISO, bias, focal length, when and where. The picture itself is never written to
disk, nor are its pixels looked at: it is in memory while its form is read, and then it is gone.

Source: Exif 2.32 (CIPA DC-008-2019), with APEX for what it says in units. Checked in tests/published/test_exif.py.
"""

from __future__ import annotations

import math
import re
from contextlib import aclosing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Annotated, NamedTuple

from fastapi import Depends, HTTPException, Request
from starlette.datastructures import FormData, UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser

from server.door.guard import PHOTO_MOST
from server.exposure.light import from_photo
from server.exposure.refused import OutOfRange
from server.language import Worded, noted, say

from .exif import Damaged, NoPicture, Tag, Tags, directories, find
from .forms import FIELDS_MOST, Unclear, the_form

PIXELS_MOST = 500_000_000  # phones make 200 million; more is no camera's

_NO_PHOTO = noted("It is no photo of a kind that can be read: JPEG, HEIC, PNG and TIFF can")
_DAMAGED = noted("This photo is cut off or damaged. Send it again, or type the three figures")
_FLASH = noted("The flash fired, so this is not the place's light. Take one without it, or type another reading")
_SEND_THE_ORIGINAL = noted("Many messengers strip them: send the original, or type the three figures")
_CALLED = Worded(
    {
        "aperture": noted("aperture"),
        "shutter": noted("time"),
        "iso": noted("ISO"),
        "bias": noted("exposure bias"),
        "ev100": noted("light"),
    }
)


@dataclass(frozen=True, slots=True)
class Photo:
    """
    What a photo was taken with, exactly as it says.

    aperture             [f-number]
    shutter              [s]
    iso                  [speed]
    bias                 [stops]    the camera was told to expose so much more than it metered; 0 where it says nothing
    focal_mm             [mm]       of the lens itself, not of an equivalent; None where it says nothing
    taken                           aware where the photo knows its zone, else the camera's own clock; None: unknown
    latitude, longitude  [degrees]  north and east are +; both or neither
    """

    aperture: float
    shutter: float
    iso: float
    bias: float = 0.0
    focal_mm: float | None = None
    taken: datetime | None = None
    latitude: float | None = None
    longitude: float | None = None


def read_photo(data: bytes) -> Photo:
    """
    The figures of a photo.

    Raises Unclear for the field "file", with what to do about it, for whatever is no photo, is damaged, or says nothing
    that a light level can be worked out from. Nothing else is raised, whatever the bytes.
    """
    try:
        found = find(data)
    except NoPicture:
        raise _refused(say(_NO_PHOTO)) from None
    except Damaged:
        raise _refused(say(_DAMAGED)) from None
    if found.pixels > PIXELS_MOST:
        said, most = math.ceil(found.pixels / 1e6), PIXELS_MOST // 1_000_000
        raise _refused(
            say("This photo says that it has {said} megapixels; at most {most} can be", said=said, most=most)
        )
    exif, gps = directories(found.exif)
    if (exif.whole(Tag.FLASH) or 0) & 1:
        raise _refused(say(_FLASH))
    aperture, shutter, iso, bias = _aperture(exif), _shutter(exif), _iso(exif), exif.number(Tag.EXPOSURE_BIAS)
    if aperture is None or shutter is None or iso is None:
        figures = {"aperture": aperture, "shutter": shutter, "iso": iso}
        *some, last = [_CALLED[name] for name, said in figures.items() if said is None]
        named = say("{some} or {last}", some=", ".join(some), last=last) if some else last
        raise _refused(say("This photo says no {named}. {advice}", named=named, advice=say(_SEND_THE_ORIGINAL)))
    if bias is None or math.isnan(bias):  # 0/0 says nothing
        bias = 0.0
    try:
        from_photo(aperture, shutter, iso, bias)
    except OutOfRange as refused:
        came = f"{float(refused.came):.10g}".replace("nan", say("no number"))
        raise _refused(
            say(
                "This photo says {came} for its {called}; allowed is {allowed}. Type the three figures instead",
                came=came,
                called=_CALLED[refused.field],
                allowed=refused.allowed,
            )
        ) from None
    latitude, longitude = _place(gps)
    return Photo(aperture, shutter, iso, bias, _focal_mm(exif), _taken(exif, gps), latitude, longitude)


class SentPhoto(NamedTuple):
    """A form with a photo: its other fields; and the file, None where it has none, empty where none was chosen."""

    fields: FormData
    data: bytes | None


async def the_photo(request: Request) -> SentPhoto:
    """
    The form that was sent, with its one file, which stays in memory: read in the framework's own way, a file of more
    than a megabyte would be put on disk. The guard bounds its size.
    """
    if not request.headers.get("content-type", "").lower().startswith("multipart/form-data"):
        return SentPhoto(await the_form(request), None)
    try:
        async with aclosing(request.stream()) as stream:
            parser = MultiPartParser(request.headers, stream, max_files=1, max_fields=FIELDS_MOST)
            parser.spool_max_size = PHOTO_MOST
            form = await parser.parse()
    except MultiPartException as refused:
        raise HTTPException(400, refused.message) from None
    upload = form.get("file")
    data = await upload.read() if isinstance(upload, UploadFile) else None
    await form.close()
    return SentPhoto(FormData([(name, value) for name, value in form.multi_items() if isinstance(value, str)]), data)


ThePhoto = Annotated[SentPhoto, Depends(the_photo)]


def _refused(words: str) -> Unclear:
    return Unclear("file", say("this file"), words)


def _aperture(exif: Tags) -> float | None:
    """The f-number [f-number]; APEX: N = 2^(Av/2)."""
    said, av = exif.number(Tag.F_NUMBER), exif.number(Tag.APERTURE_VALUE)
    return _power(av / 2) if said is None and av is not None else said


def _shutter(exif: Tags) -> float | None:
    """The exposure time [s]; APEX: t = 2^-Tv."""
    said, tv = exif.number(Tag.EXPOSURE_TIME), exif.number(Tag.SHUTTER_SPEED_VALUE)
    return _power(-tv) if said is None and tv is not None else said


def _power(exponent: float) -> float:
    """2 to that power; NaN where that is no figure that a camera could have."""
    return 2.0**exponent if -100 < exponent < 100 else math.nan


_CAPPED = 65535  # PhotographicSensitivity has two bytes: it says this for whatever is more
_SOS, _REI, _SPEED = Tag.STANDARD_OUTPUT_SENSITIVITY, Tag.RECOMMENDED_EXPOSURE_INDEX, Tag.ISO_SPEED
_TYPES_OF_SENSITIVITY: dict[int | None, tuple[Tag, ...]] = {
    1: (_SOS,), 2: (_REI,), 3: (_SPEED,), 4: (_SOS, _REI), 5: (_SOS, _SPEED), 6: (_REI, _SPEED),
}  # fmt: skip


def _iso(exif: Tags) -> float | None:
    """The ISO speed; where PhotographicSensitivity cannot say it, the tag that SensitivityType names."""
    said = exif.number(Tag.PHOTOGRAPHIC_SENSITIVITY)
    if said is not None and said not in (0, _CAPPED):
        return said
    tags = _TYPES_OF_SENSITIVITY.get(exif.whole(Tag.SENSITIVITY_TYPE), (_REI, _SOS, _SPEED))
    return next((number for number in map(exif.number, tags) if number), None)


def _focal_mm(exif: Tags) -> float | None:
    focal_mm = exif.number(Tag.FOCAL_LENGTH)
    return focal_mm if focal_mm is not None and 0.1 <= focal_mm <= 10_000 else None


_DATE = re.compile(r"(19[7-9]\d|2\d{3})[:-](\d\d)[:-](\d\d)")
_TIME = re.compile(r"\d\d:\d\d:\d\d")
_OFFSET = re.compile(r"[+-](?:0\d|1[0-4]):[0-5]\d")
_FROM_UTC_MOST = timedelta(hours=15)  # no zone is further from UTC; more is a camera that kept an old fix


def _taken(exif: Tags, gps: Tags) -> datetime | None:
    """When: by the camera's clock and its offset, else by GPS, which is UTC, else by the camera's clock alone."""
    local = _moment(*exif.text(Tag.DATE_TIME_ORIGINAL).partition(" ")[::2])
    offset = exif.text(Tag.OFFSET_TIME_ORIGINAL)
    if local is not None and _OFFSET.fullmatch(offset):
        return datetime.fromisoformat(f"{local.isoformat()}{offset}")
    fixed = _moment(gps.text(Tag.GPS_DATE), _gps_time(gps))
    if fixed is not None and (local is None or abs(fixed - local) <= _FROM_UTC_MOST):
        return fixed.replace(tzinfo=UTC)
    return local


def _gps_time(gps: Tags) -> str:
    return ":".join(f"{int(each):02}" for each in gps.numbers(Tag.GPS_TIME, 3) if math.isfinite(each))


def _moment(day: str, time: str) -> datetime | None:
    """A moment without a zone, from "2026:06:20" and "14:03:10"; None where that is none."""
    date = _DATE.fullmatch(day)
    if date is None or not _TIME.fullmatch(time):
        return None
    try:
        return datetime.fromisoformat(f"{'-'.join(date.groups())}T{time}")
    except ValueError:
        return None


def _place(gps: Tags) -> tuple[float, float] | tuple[None, None]:
    """Latitude and longitude [degrees]. Zero for both is what is written where there was no fix."""
    latitude = _degrees(gps, Tag.GPS_LATITUDE_REF, Tag.GPS_LATITUDE, "NS", 90)
    longitude = _degrees(gps, Tag.GPS_LONGITUDE_REF, Tag.GPS_LONGITUDE, "EW", 180)
    if latitude is None or longitude is None or latitude == longitude == 0:
        return None, None
    return latitude, longitude


def _degrees(gps: Tags, reference: Tag, tag: Tag, signs: str, most: float) -> float | None:
    """Degrees, minutes and seconds as degrees, with the sign of the two letters that is said."""
    sign, parts = gps.text(reference).upper(), gps.numbers(tag, 3)
    if len(sign) != 1 or sign not in signs or not parts or not all(each >= 0 for each in parts):
        return None
    degrees = parts[0] + parts[1] / 60 + parts[2] / 3600
    if degrees > most:
        return None
    return degrees if sign == signs[0] else -degrees
