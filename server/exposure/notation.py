"""
What is engraved on a neutral grey filter: reading it, and writing it.

The trade has three notations for the same glass: its density (0.9), the factor by which it divides the light (ND8) and
the stops it takes (3 stops). Numbers alone do not say which: "ND 6" is sold as a density of 0.6 and as 6 stops. So an
engraving is read as every meaning that makes sense, most likely first, and where there are several the page asks.

How a bare number is told apart: a density is engraved with its decimal point ("ND 2.0" against "ND 2", a factor), a
factor is one of the table's doublings, and 101 to 113 are the one-hundreds naming, stops after the 1.

Sources: ISO 5 (density); the naming table of the encyclopedic article "Neutral-density filter"; thirds of a stop by
density, "NDx8" and "ND3" for 3.0, from camera-wiki.org, "Neutral density filter", Table 1. That ND2, ND4 and ND8 are
taken for 2, 4 and 8 stops: the question photo.stackexchange 30135. The rest is common practice, no source.
Checked in tests/published/test_nd_names.py.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from server.language import noted, say

from . import wording
from .glass import DENSITY_MOST, stops_of_density
from .refused import OutOfRange, refuse, within

if TYPE_CHECKING:
    from collections.abc import Iterator

Notation = Literal["density", "factor", "stops"]

STOPS_MOST = 10 * DENSITY_MOST / 3  # 20 stops, by the marked 0.1 D for each third
ENGRAVED_LONGEST = 40  # characters; a rim has room for no more


def allowed() -> str:
    """What may be typed for the mark of a filter, in words."""
    return say(
        "the engraving of a filter of 0 to {density} D, such as 0.9, ND8, 8x, 3 stops or ND 103, in at most {longest} "
        "characters",
        density=f"{DENSITY_MOST:g}", longest=ENGRAVED_LONGEST,
    )  # fmt: skip


# Factor to marked density [D], as the naming table pairs them. 1000 is how 1024 is sold; it is written that way too.
_DOUBLINGS = {2**stops: 3 * stops / 10 for stops in range(1, 14)}
MARKED_FACTORS: dict[float, float] = {400: 2.6, 1000: 3.0, **_DOUBLINGS}

_HUNDREDS = range(101, 114)  # "ND 103" is 3 stops: the naming table ends at 113
_TAKEN_FOR_STOPS = 10  # above it a number that is also a doubling is a factor and nothing else
_STOPS_WITHOUT_UNIT = 13  # the last row of the naming table
_TENTHS_WITHOUT_POINT = 40  # "ND 12" for 1.2 and so on up to 4.0 D, the last column of the table of thirds
_WHOLE_DENSITIES = (1, 3)  # "ND3" is sold as 3.0 D: camera-wiki.org. Of the doublings nobody leaves the zero off

_SAME_GLASS = 0.05  # D, half a click: two notations on one rim that differ by less name the same glass
_NAME_ROUNDS = 0.02  # D: how far a name may be from its exact factor; 8192 for 3.9 D is 0.013 off


@dataclass(frozen=True, slots=True)
class Engraving:
    """
    One meaning of what is engraved.

    notation  how the number is meant
    value     the number itself: 0.9 [D], 8 [factor] or 3 [stops]
    density   [D]  what the glass has by that; see `density_meant`
    """

    notation: Notation
    value: float
    density: float

    def __post_init__(self) -> None:
        if not abs(self.density - density_meant(self.notation, self.value)) <= 1e-9:
            raise OutOfRange(
                "density",
                self.density,
                say("the {notation} of {value} as a density", notation=self.notation, value=f"{self.value:.10g}"),
            )


def density_meant(notation: Notation, value: float) -> float:
    """
    The density [D] that a number in one of the notations stands for.

    Marks stand for their marked density: a factor in MARKED_FACTORS for the table's (ND8 is a 0.9, not a 0.903), and
    stops that are a whole number of thirds for 0.1 D each. Any other factor is log10 F, any other stops n log10 2.

    Raises OutOfRange where that is below 0 or above DENSITY_MOST.

    >>> density_meant("factor", 8), density_meant("stops", 3), density_meant("density", 0.9)
    (0.9, 0.9, 0.9)
    >>> round(density_meant("factor", 6), 4), round(density_meant("stops", 2.5), 4)
    (0.7782, 0.7526)
    """
    if notation == "density":
        within("engraved", value, 0, DENSITY_MOST, "D")
        return float(value)
    if notation == "stops":
        within("engraved", value, 0, STOPS_MOST, noted("stops"))
        thirds = round(3 * value)
        is_marked = abs(3 * value - thirds) < 1e-6
        density = thirds / 10 if is_marked else value * math.log10(2)
    elif notation == "factor":
        within("engraved", value, 1, 10**DENSITY_MOST)
        density = MARKED_FACTORS.get(value, math.log10(value))
    else:
        refuse("notation", notation, say("density, factor or stops"))
    within("engraved", density, 0, DENSITY_MOST, "D")
    return density


def readings(text: str) -> tuple[Engraving, ...]:
    """
    Every sensible meaning of what is engraved, most likely first; no two of the same density.

    Several notations on one rim ("ND8 (0.9)", "ND1000 / 3.0") are read together: what all of them can mean is left.
    Raises OutOfRange, field "engraved", where nothing sensible is left: for any text, nothing else.

    >>> [(meant.notation, meant.value, meant.density) for meant in readings("ND8x")]
    [('factor', 8.0, 0.9)]
    >>> [meant.density for meant in readings("ND 6")]  # a 0.6, six stops, or a factor of 6
    [0.6, 1.8, 0.7781512503836436]
    """
    if len(text) > ENGRAVED_LONGEST:
        refuse("engraved", text, allowed())
    first, *others = [_meanings(part) for part in _parts(_plain(text))] or [()]
    agreed = tuple(
        meant
        for meant in first
        if all(any(abs(meant.density - other.density) < _SAME_GLASS for other in said) for said in others)
    )
    return agreed or refuse("engraved", text, allowed())


def unambiguous(text: str) -> Engraving | None:
    """
    The one meaning of what is engraved, or None where the page has to ask. Raises OutOfRange as `readings` does.

    >>> unambiguous("ND 0.9"), unambiguous("ND 6")
    (Engraving(notation='density', value=0.9, density=0.9), None)
    """
    found = readings(text)
    return found[0] if len(found) == 1 else None


def written(density: float, notation: Notation) -> str:
    """
    A density as it would be engraved. `readings` of it begins with the same glass.

    density   [D]
    returns   "0.9"; "3 stops", to the nearest third; "ND8", by its marked factor where it has one, else by a factor of
              three figures, as "2.51x" where "ND2.51" would be read as a density

    >>> [written(0.9, notation) for notation in ("density", "factor", "stops")]
    ['0.9', 'ND8', '3 stops']
    >>> [written(0.4, notation) for notation in ("density", "factor", "stops")]
    ['0.4', '2.51x', '1⅓ stops']
    """
    within("density", density, 0, DENSITY_MOST, "D")
    if notation == "density":
        return wording.density(density)
    if notation == "stops":
        size = float(stops_of_density(density))  # in English, as rims are engraved
        return f"{wording.stops(size)} {'stop' if wording.thirds(size) <= 3 else 'stops'}"
    if notation != "factor":
        refuse("notation", notation, say("density, factor or stops"))
    nearest = min(MARKED_FACTORS, key=lambda factor: abs(MARKED_FACTORS[factor] - density))
    if abs(MARKED_FACTORS[nearest] - density) <= _NAME_ROUNDS:
        return f"ND{nearest:g}"
    factor = f"{float(f'{10**density:.3g}'):.10g}"
    says_enough = factor.isdecimal() and next(_bare(int(factor)))[0] == "factor"
    return f"ND{factor}" if says_enough else f"{factor}x"


# From here on: how a text is taken apart. Only ASCII digits are left once it is plain, so `[0-9]` is every digit.

_APART = re.compile(r"[()\[\];|=]|,(?= |\Z)| / ")
_LABEL = r"(?:ir[ -]?)?nd"  # cinema's grey plates stop infrared too, and say so
_LABEL_FIRST = re.compile(rf"{_LABEL}(?:-(?=[0-9.,x*])| ?)")  # "ND-8", but never "ND -8"
_LABEL_LAST = re.compile(rf"[ -]?{_LABEL}\Z")
_ONE = re.compile(
    r"(?:(?P<before>\+|[x*]|o?d) ?)?"
    r"(?P<number>[0-9.,/ ]*[0-9])"
    r"(?:[ -]?(?P<after>(?:f-?)?stops?|ev|[x*]|o?d))?"
)
_WHOLE = re.compile(r"0|[1-9][0-9]*")
_TENTHS = re.compile(r"0[0-9]")  # "ND09": a density that has lost its point
_GROUPED = re.compile(r"[1-9][0-9]{0,2}(?:([., ])[0-9]{3})(?:\1[0-9]{3})*")  # "1,000", "1.000", "1 000"
_DECIMAL = re.compile(r"[0-9]*[.,][0-9]+")
_FRACTION = re.compile(r"(?:([0-9]+) )?([0-9]+)/([0-9]+)")
_THIRDS = re.compile(r"(?P<whole>[0-9]*)[.,](?:(?P<one>3+)|6+7?|7)")  # 1.3 and 1.33, 1.6, 1.67 and 1.7


def _plain(text: str) -> str:
    """The text in lower case, with single plain spaces, plain signs and fractions: "ND 1⅓" as "nd 1 1/3"."""
    spelled = "".join(f" {char}" if unicodedata.decomposition(char).startswith("<fraction>") else char for char in text)
    plain = unicodedata.normalize("NFKC", spelled).casefold()
    return " ".join(plain.translate(_SAME_SIGN).split())


_SAME_SIGN = str.maketrans({"⁄": "/", "×": "x", "∗": "*", "−": "-", "‐": "-", "–": "-"})


def _parts(plain: str) -> list[str]:
    """The notations that stand side by side."""
    return [part for part in (piece.strip() for piece in _APART.split(plain)) if part]


def _meanings(part: str) -> tuple[Engraving, ...]:
    """What one notation can mean, most likely first; empty where it means nothing."""
    if label := _LABEL_FIRST.match(part):
        part = part[label.end() :]
    elif label := _LABEL_LAST.search(part):
        part = part[: label.start()]
    found = _ONE.fullmatch(part)
    if found is None:
        return ()
    notations = {_notation(unit) for unit in (found["before"], found["after"]) if unit}
    if len(notations) > 1:
        return ()
    number = found["number"]
    meant = _with_unit(notations.pop(), number) if notations else _without_unit(number)
    by_density: dict[float, Engraving] = {}
    for notation, value in meant:
        try:
            engraving = Engraving(notation, float(value), density_meant(notation, value))
        except OutOfRange:  # this meaning is no filter; another may be
            continue
        by_density.setdefault(round(engraving.density, 9), engraving)
    return tuple(by_density.values())


def _notation(unit: str) -> Notation:
    if unit in ("d", "od"):
        return "density"
    return "factor" if unit in ("x", "*") else "stops"


def _with_unit(notation: Notation, number: str) -> Iterator[tuple[Notation, float]]:
    """What a number means that says what it is."""
    if notation == "stops":
        if thirds := _THIRDS.fullmatch(number):
            yield "stops", int(thirds["whole"] or 0) + (1 if thirds["one"] else 2) / 3
            return
        if fraction := _FRACTION.fullmatch(number):
            yield from _as_stops(fraction)
    if _WHOLE.fullmatch(number) or _TENTHS.fullmatch(number):
        yield notation, float(number)
    if _GROUPED.fullmatch(number):
        yield notation, _ungrouped(number)
    if _DECIMAL.fullmatch(number):
        yield notation, _decimal(number)


def _without_unit(number: str) -> Iterator[tuple[Notation, float]]:
    """What a bare number may mean: its form decides, since the trade writes each notation in a form of its own."""
    if _WHOLE.fullmatch(number):
        yield from _bare(int(number))
    if _TENTHS.fullmatch(number):
        yield "density", int(number) / 10
    if _GROUPED.fullmatch(number):
        yield from _bare(int(_ungrouped(number)))
    if _DECIMAL.fullmatch(number):
        yield "density", _decimal(number)
    if fraction := _FRACTION.fullmatch(number):
        whole, over, under = fraction.groups()
        if whole is None and over == "1" and under != "3":
            # A camera's built-in step is marked by what it lets through: "1/64" (common practice, no source).
            yield "factor", int(under)
        if whole or int(under) <= 3:
            yield from _as_stops(fraction)


def _as_stops(fraction: re.Match[str]) -> Iterator[tuple[Notation, float]]:
    """A fraction or a mixed number of stops; nothing where it is divided by nothing."""
    whole, over, under = fraction.groups()
    if int(under):
        yield "stops", int(whole or 0) + int(over) / int(under)


def _bare(n: int) -> Iterator[tuple[Notation, float]]:
    """
    What a whole number without a unit may mean.

    "ND8" is a factor, which some take for stops; "ND 6" and its kin, multiples of 3, are tenths of a density before
    they are stops; "ND 10" is stops. A factor that nobody marks comes last.
    """
    if n in _HUNDREDS:
        yield "stops", n - 100
        return
    if n in MARKED_FACTORS:
        yield "factor", n
        if n <= _TAKEN_FOR_STOPS:
            yield "stops", n
        return
    whole_stops = n % 3 == 0  # as tenths of a density
    if whole_stops and n < _TENTHS_WITHOUT_POINT:
        yield "density", n / 10
    if n <= _STOPS_WITHOUT_UNIT:
        yield "stops", n
    if n in _WHOLE_DENSITIES:
        yield "density", n
    if not whole_stops and 1 < n <= _TENTHS_WITHOUT_POINT:
        yield "density", n / 10
    if n > 1:
        yield "factor", n


def _ungrouped(number: str) -> float:
    return float(re.sub("[., ]", "", number))


def _decimal(number: str) -> float:
    return float(number.replace(",", "."))
