"""
Reading a form: what was typed becomes values, or a word beside each field that cannot be one.

People type f/2.8, 2,8, 1/50 and "100-6400"; all of them are understood.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from datetime import date, time
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, Self, get_origin

from fastapi import Depends, Request
from pydantic import BaseModel, BeforeValidator, ValidationError
from starlette.datastructures import FormData, QueryParams, UploadFile

from server.book.tables import NAME_LONGEST
from server.exposure import depth
from server.exposure.refused import OutOfRange
from server.exposure.scales import ISO_MARKS
from server.language import FEET_PER_METRE, manner, say

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping

LIST_MOST = 100
FIELDS_MOST = 5000  # a day with all the places that a venue may have is set up in one form


def text(came: object) -> str:
    """One line of text without control characters."""
    clean = "".join(c if unicodedata.category(c)[0] != "C" else " " for c in str(came))
    return " ".join(clean.split())


def name(came: object) -> str:
    """A name: 1 to 80 characters."""
    line = text(came)
    if not 1 <= len(line) <= NAME_LONGEST:
        message = say("a name of 1 to {longest} characters", longest=NAME_LONGEST)
        raise ValueError(message)
    return line


def number(came: object, example: str = "2.8") -> float:
    """A number, with a point or a comma."""
    line = text(came).replace(",", ".").replace("−", "-")
    if not re.fullmatch(r"[+-]?(\d{1,12}(\.\d{0,25})?|\.\d{1,25})", line, re.ASCII):
        message = say("a number, such as {example}", example=example)
        raise ValueError(message)
    return float(line)


def f_number(came: object) -> float:
    """An f-number: "2.8" or "f/2.8"."""
    return number(re.sub(r"^[fFtT]\s*/?\s*", "", text(came)))


def seconds(came: object) -> float:
    """An exposure time: "1/50" or "0.02"."""
    line = re.sub(r"\s*s$", "", text(came))
    over = re.fullmatch(r"(.+)/(.+)", line)
    if over is None:
        return _time(number(line, "1/50"))
    below = number(over[2], "1/50")
    if below <= 0:
        message = say("a time, such as 1/50")
        raise ValueError(message)
    return _time(number(over[1], "1/50") / below)


def _time(exact: float) -> float:
    """An exposure time [s] as it is compared: two ways to type one time must not differ in the last digit."""
    return float(f"{exact:.12g}")


def times_at(came: object, frame_rate: float | None) -> list[float]:
    """Exposure times, or shutter angles such as 180° where the frame rate [1/s] is known: t = angle / (360 fps)."""
    line = re.sub(r"(\d)\s*(?:deg(?:rees)?|°)", r"\1°", text(came), flags=re.IGNORECASE)
    found = []
    for part in _parts(line):
        if not part.endswith("°"):
            found.append(seconds(part))
            continue
        if not frame_rate or frame_rate <= 0:
            message = say("a frame rate too, to make times of angles")
            raise ValueError(message)
        angle = number(part[:-1], "180°")
        if not 0 < angle <= 360:
            message = say("angles up to 360°")
            raise ValueError(message)
        found.append(_time(angle / (360 * frame_rate)))
    return found


def pairs(came: object) -> list[list[float]]:
    """Step-up rings: "67-77 72-82", the smaller thread first."""
    found = []
    for part in _parts(re.sub(r"\s*(?:-|–|to)\s*", "-", text(came))):
        ends = [number(end, "67") for end in part.split("-")]
        if len(ends) != 2 or not ends[0] < ends[1]:
            message = say("rings such as 67-77, the smaller thread first")
            raise ValueError(message)
        found.append(ends)
    return found


def figure(value: float) -> str:
    """
    A number as a field shows it, which `number` reads back to the last digit.

    >>> figure(3.0), figure(0.6), figure(1e-05)
    ('3', '0.6', '0.00001')
    """
    return f"{Decimal(repr(float(value))):f}".removesuffix(".0")


def time_figure(value: float) -> str:
    """
    An exposure time [s] as a field shows it, which `seconds` reads back to the last digit that is compared.

    >>> time_figure(0.02), time_figure(1 / 47.952), time_figure(2.5)
    ('1/50', '1/47.952', '2.5')
    """
    below = round(1 / value, 3)
    return f"1/{figure(below)}" if value < 1 and below > 0 and _time(1 / below) == _time(value) else figure(value)


def _parts(came: object) -> list[str]:
    line = text(came)
    # With spaces or semicolons between the values, a comma inside one is its decimal comma; alone, it stands between.
    ways = r",?\s+|\s*;\s*" if re.search(r"[;\s]", line) else ","
    parts = [part for part in re.split(ways, line) if part]
    if len(parts) > LIST_MOST:
        message = say("at most {most} values", most=LIST_MOST)
        raise ValueError(message)
    return parts


def numbers(came: object) -> list[float]:
    """Numbers with spaces or commas between them."""
    return [number(part, "77 82") for part in _parts(came)]


def speeds(came: object) -> list[float]:
    """ISO speeds: "100 200 400", or "100-6400" for every third of a stop between."""
    found: list[float] = []
    for part in _parts(re.sub(r"\s*[-–−]\s*", "-", text(came))):
        ends = [number(end, "100-6400") for end in part.split("-")]
        if len(ends) == 1:
            found += ends
            continue
        low, high = ends[0], ends[-1]
        if len(ends) > 2 or not low <= high:
            message = say("a range with the lower speed first, such as 100-6400")
            raise ValueError(message)
        found += [float(mark) for mark in ISO_MARKS if low <= mark <= high]
    return found


def optional(came: object) -> object | None:
    """None for a field that was left empty."""
    return None if came is None or not str(came).strip() else came


def whole(came: object, digits: int = 9) -> int:
    """A whole number, of so many digits at most."""
    line = text(came)
    if not re.fullmatch(rf"\d{{1,{digits}}}", line, re.ASCII):
        message = say("a whole number, such as 2")
        raise ValueError(message)
    return int(line)


def hour(came: object) -> str:
    """An hour of the clock: "14:30"."""
    try:
        return f"{time.fromisoformat(text(came)):%H:%M}"
    except ValueError as error:
        message = say("an hour, such as 14:30")
        raise ValueError(message) from error


def day_of(came: object) -> date:
    """A date: "2026-06-20"."""
    try:
        return date.fromisoformat(text(came))
    except ValueError as error:
        message = say("a date, such as 2026-06-20")
        raise ValueError(message) from error


def distance(came: object) -> float:
    """A distance [m], typed in metres or, by whoever chose them, in feet."""
    typed = number(came, "3")
    return typed / FEET_PER_METRE if manner().feet else typed


def or_zero(came: object) -> float:
    """A number, 0 for a field that was left empty."""
    return 0.0 if optional(came) is None else number(came, "0.3")


def sensor(came: object) -> depth.Format:
    """A sensor, by its id in `exposure.depth`."""
    line = text(came)
    for known in depth.FORMATS:
        if known.id == line:
            return known
    message = say("a sensor of the list")
    raise ValueError(message)


def ticked(came: object) -> bool:
    """Whether a box was ticked."""
    return bool(came)


def one_of(known: Collection[str], words: str, **empty: object) -> Callable[[object], Any]:
    """
    Reads a word of a list; words says the list, and is noted for other languages. otherwise=…: what a field that was
    left empty stands for, if it may be.

    >>> one_of(("front", "side"), "the front or the side", otherwise="side")(" ")
    'side'
    """

    def read(came: object) -> object:
        line = text(came)
        if not line and "otherwise" in empty:
            return empty["otherwise"]
        if line not in known:
            raise ValueError(say(words))
        return line

    return read


Name = Annotated[str, BeforeValidator(name)]
Number = Annotated[float, BeforeValidator(number)]
FNumber = Annotated[float, BeforeValidator(f_number)]
Seconds = Annotated[float, BeforeValidator(seconds)]
MaybeNumber = Annotated[float | None, BeforeValidator(lambda came: None if optional(came) is None else number(came))]
NumberOrZero = Annotated[float, BeforeValidator(or_zero)]
Whole = Annotated[int, BeforeValidator(whole)]
Distance = Annotated[float, BeforeValidator(distance)]
MaybeDistance = Annotated[
    float | None, BeforeValidator(lambda came: None if optional(came) is None else distance(came))
]
MaybeFNumber = Annotated[float | None, BeforeValidator(lambda came: None if optional(came) is None else f_number(came))]
MaybeWhole = Annotated[int | None, BeforeValidator(lambda came: None if optional(came) is None else whole(came))]
Numbers = Annotated[list[float], BeforeValidator(numbers)]
Pairs = Annotated[list[list[float]], BeforeValidator(pairs)]
Speeds = Annotated[list[float], BeforeValidator(speeds)]
Ticked = Annotated[bool, BeforeValidator(ticked)]


class Form(BaseModel):
    """A form's values. `check` may raise OutOfRange for what the engine refuses."""

    def check(self) -> None:
        """Hold the values to the engine's limits."""

    @classmethod
    def read(cls, came: FormData | QueryParams) -> tuple[Self | None, Typed]:
        """The values, or None with a word beside each field that is wrong. What was typed is kept either way."""
        typed = Typed({key: came.getlist(key) for key in came})
        try:
            form = cls.model_validate(cls._given(came))
            form.check()
        except ValidationError as refused:
            typed.errors = {str(error["loc"][0]): _word(dict(error)) for error in refused.errors() if error["loc"]}
            return None, typed
        except OutOfRange as refused:
            typed.refuse(refused)
            return None, typed
        return form, typed

    @classmethod
    def _given(cls, came: FormData | QueryParams) -> dict[str, object]:
        """The fields that came; a box that was not ticked comes as nothing, and so does a field that is missing."""
        given: dict[str, object] = {}
        for name, info in cls.model_fields.items():
            if get_origin(info.annotation) is tuple:
                given[name] = [str(each) for each in came.getlist(name)]
            elif name in came or info.is_required() or info.annotation is bool:
                given[name] = came.get(name, "")
        return given


class Unclear(OutOfRange):
    """What came could be several things; `allowed` is the whole question to ask."""


@dataclass(slots=True)
class Typed:
    """
    What was typed in a form, and the word beside each field that is wrong.

    meanwhile: where what stands now is seen, if somebody else has changed it since the form was drawn
    """

    values: Mapping[str, list[Any]] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    meanwhile: str = ""

    @property
    def status(self) -> int:
        """What a form that was not kept is answered with."""
        return 409 if self.meanwhile and not self.errors else 422

    def refuse(self, refused: OutOfRange) -> None:
        """Put a refusal of the engine beside its field."""
        word = refused.allowed
        if not isinstance(refused, Unclear):
            word = say("{came} came; allowed is {allowed}", came=refused.came, allowed=refused.allowed)
        self.errors[refused.field.rsplit(".", 1)[-1]] = word

    def value(self, name: str, otherwise: object = "") -> str:
        """What the field shows: what was typed in it, else this."""
        return str(self.values[name][0]) if self.values.get(name) else str(otherwise)

    def several(self, name: str, otherwise: list[str]) -> list[str]:
        """The same for a field that may come several times."""
        return [str(each) for each in self.values.get(name, [])] if self.values else otherwise


def _word(error: dict[str, Any]) -> str:
    came = str(error.get("input", ""))[:40]
    allowed = str(error["msg"]).removeprefix("Value error, ").removeprefix("Input should be ")
    if not came.strip():
        return say("It needs {allowed}", allowed=allowed)
    return say("{came} came; it needs {allowed}", came=came, allowed=allowed)


async def the_form(request: Request) -> FormData:
    """The form that was sent; a file comes only where the page asks for one."""
    request.state.came = await request.form(max_files=0, max_fields=FIELDS_MOST)
    came: FormData = request.state.came
    return came


async def the_file(request: Request) -> bytes | None:
    """The one file of a form; None where none was chosen. The guard bounds its size."""
    async with request.form(max_files=1, max_fields=FIELDS_MOST) as form:
        upload = form.get("file")
        return await upload.read() if isinstance(upload, UploadFile) else None


async def the_file_form(request: Request) -> tuple[FormData, bytes | None]:
    """A form with other fields beside its one file; None where no file was chosen, or an empty one."""
    async with request.form(max_files=1, max_fields=FIELDS_MOST) as form:
        upload = form.get("file")
        content = await upload.read() if isinstance(upload, UploadFile) else None
        fields = FormData([(name, value) for name, value in form.multi_items() if isinstance(value, str)])
    return fields, content or None


TheForm = Annotated[FormData, Depends(the_form)]
TheFile = Annotated[bytes | None, Depends(the_file)]
TheFileForm = Annotated[tuple[FormData, bytes | None], Depends(the_file_form)]
