"""
Where a picture's file keeps its Exif, and the values of the tags in it.

The file is a stranger's, so nothing here believes it. JPEG, HEIC, PNG and TIFF are walked from label to label, at most
PARTS_MOST of them, to the block of Exif; a tag's value is read where it says that it stands, if that is inside the
block. Whatever else is in the file costs nothing, and its pixels are never looked at. Libraries that open pictures do
far more before they hand out the Exif: made-up files of 40 MB kept them busy for minutes, or took gigabytes.

Sources: Exif 2.32 (CIPA DC-008-2019); ITU-T T.81 (JPEG); PNG, third edition; TIFF 6.0; ISO/IEC 14496-12 and 23008-12
(HEIF). Held in tests/pages/test_photos.py to files that other programs wrote.
"""

from __future__ import annotations

import math
import re
import struct
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

PARTS_MOST = 50_000  # segments, chunks, boxes or items of one file; a long PNG has some 10,000
EXIF_MOST = 4_000_000  # bytes of a block that is gathered from several places, as HEIC may have it


class NoPicture(Exception):
    """A file of none of the kinds that are read."""


class Damaged(Exception):
    """A file that ends, or lies, where it must not."""


@dataclass(frozen=True, slots=True)
class Found:
    """pixels: as many as the file says that it has; exif: its block of Exif, None where it has none."""

    pixels: int
    exif: memoryview | None


def find(data: bytes) -> Found:
    """Where the Exif is. Raises NoPicture or Damaged, and nothing else, whatever the bytes."""
    if data.startswith(b"\xff\xd8\xff"):
        return _in_jpeg(data)
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return _in_png(data)
    if data.startswith((b"II*\0", b"MM\0*")):
        return _in_tiff(data)
    brands = data[8 : min(int.from_bytes(data[:4], "big"), 256)] if data[4:8] == b"ftyp" else b""
    if any(brands[at : at + 4] in _HEIF_BRANDS for at in range(0, len(brands), 4)):
        return _in_heif(data)
    raise NoPicture


# What such a file says that it can be read as. mif1 and msf1 are HEIF of whatever coding.
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1"})

_JPEG_FRAMES = frozenset({*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC})  # SOF0 to SOF15
_JPEG_BARE = frozenset({0x01, *range(0xD0, 0xD9)})  # TEM, RST0 to RST7, SOI: markers that nothing belongs to
_JPEG_SCAN, _JPEG_END, _JPEG_APP1, _JPEG_FILL = 0xDA, 0xD9, 0xE1, 0xFF


def _in_jpeg(data: bytes) -> Found:
    """Exif is the first segment APP1 that says so, somewhere before the scan."""
    at, pixels, exif = 2, None, None
    for _ in range(PARTS_MOST):
        at = data.find(b"\xff", at)  # cameras leave fill bytes between segments
        if at < 0:
            break
        (marker,) = _read(">B", data, at + 1)
        if marker == _JPEG_FILL:
            at += 1
            continue
        if marker == 0 or marker in _JPEG_BARE:
            at += 2
            continue
        if marker == _JPEG_SCAN and pixels is not None:
            return Found(pixels, exif)
        if marker in (_JPEG_SCAN, _JPEG_END):
            break
        segment = _piece(data, at + 4, _read(">H", data, at + 2)[0] - 2)
        if marker in _JPEG_FRAMES:
            height, width = _read(">HH", segment, 1)
            pixels = width * height
        elif marker == _JPEG_APP1 and exif is None and bytes(segment[:6]) == b"Exif\0\0":
            exif = segment[6:]
        at += 4 + len(segment)
    raise Damaged


def _in_png(data: bytes) -> Found:
    """Exif is the chunk eXIf, which may stand before the picture or after it."""
    at, pixels, exif = 8, None, None
    for _ in range(PARTS_MOST):
        length, name = _read(">L4s", data, at)
        chunk = _piece(data, at + 8, length)
        if name == b"IHDR" and pixels is None:
            width, height = _read(">LL", chunk, 0)
            pixels = width * height
        elif name == b"eXIf" and exif is None:
            exif = chunk
        elif name == b"IEND" and pixels is not None:
            return Found(pixels, exif)
        at += 12 + length
    raise Damaged


def _in_tiff(data: bytes) -> Found:
    """A TIFF is itself what a block of Exif is."""
    block = memoryview(data)
    first = Tags(block, _order(block), *_read(_order(block) + "L", block, 4))
    width, height = first.whole(Tag.IMAGE_WIDTH), first.whole(Tag.IMAGE_LENGTH)
    if width is None or height is None:
        raise Damaged
    return Found(width * height, block)


def _in_heif(data: bytes) -> Found:
    """Exif is an item, listed in the box "meta", that describes the primary image."""
    whole = memoryview(data)
    meta = next((box for kind, box in _boxes(whole) if kind == b"meta"), None)
    if meta is None:
        raise Damaged
    boxes: dict[bytes, memoryview] = {}
    for kind, box in _boxes(meta[4:]):
        boxes.setdefault(kind, box)
    empty = memoryview(b"")
    pixels = 0
    for kind, box in _boxes(dict(_boxes(boxes.get(b"iprp", empty))).get(b"ipco", empty)):
        if kind == b"ispe":
            width, height = _read(">LL", box, 4)
            pixels = max(pixels, width * height)
    items = _exif_items(boxes.get(b"iinf", empty))
    if not items:
        return Found(pixels, None)
    about = _described(boxes.get(b"iref", empty), boxes.get(b"pitm", empty))
    item = next((each for each in items if each in about), items[0])  # a burst has one for each picture
    return Found(pixels, _item(item, boxes.get(b"iloc", empty), whole, boxes.get(b"idat", empty)))


def _boxes(data: memoryview) -> Iterator[tuple[bytes, memoryview]]:
    """The boxes that stand one after another: the four letters and the content of each."""
    at = 0
    for _ in range(PARTS_MOST):
        if at == len(data):
            return
        length, kind = _read(">L4s", data, at)
        head = 8
        if length == 1:
            (length,) = _read(">Q", data, at + 8)
            head = 16
        elif length == 0:
            length = len(data) - at
        yield kind, _piece(data, at + head, length - head)
        at += length
    raise Damaged


def _exif_items(iinf: memoryview) -> list[int]:
    """The numbers of the items that are Exif."""
    found = []
    for kind, box in _boxes(iinf[6 if _version(iinf) == 0 else 8 :]):
        if kind == b"infe" and _version(box) in (2, 3):  # older ones have no types
            number, _protected, said = _read(">HH4s" if _version(box) == 2 else ">LH4s", box, 4)
            if said == b"Exif":
                found.append(number)
    return found


def _described(iref: memoryview, pitm: memoryview) -> set[int]:
    """The numbers of the items that describe the primary image."""
    if not iref or not pitm:
        return set()
    (primary,) = _read(">H" if _version(pitm) == 0 else ">L", pitm, 4)
    form = "H" if _version(iref) == 0 else "L"
    found = set()
    for kind, box in _boxes(iref[4:]):
        if kind == b"cdsc":
            item, count = _read(f">{form}H", box, 0)
            if primary in _read(f">{count}{form}", box, struct.calcsize(f">{form}H")):
                found.add(item)
    return found


def _item(wanted: int, iloc: memoryview, whole: memoryview, idat: memoryview) -> memoryview:
    """An item's bytes, gathered from where the box "iloc" says that they are."""
    version, sizes = _read(">B3xH", iloc, 0)
    offset_size, length_size, base_size, index_size = (sizes >> shift & 15 for shift in (12, 8, 4, 0))
    if version == 0:
        index_size = 0
    count, at = (_read(">H", iloc, 6)[0], 8) if version < 2 else (_read(">L", iloc, 6)[0], 10)
    extent = index_size + offset_size + length_size
    for _ in range(min(count, PARTS_MOST)):
        (item,) = _read(">H" if version < 2 else ">L", iloc, at)
        at += 2 if version < 2 else 4
        method = 0
        if version > 0:
            method = _read(">H", iloc, at)[0] & 15
            at += 2
        (elsewhere,) = _read(">H", iloc, at)
        base = _big(iloc, at + 2, base_size)
        (extents,) = _read(">H", iloc, at + 2 + base_size)
        at += 4 + base_size
        if item != wanted:
            at += extents * extent
            continue
        if elsewhere or method > 1 or extent == 0:
            break
        return _gathered(whole if method == 0 else idat, [
            (
                base + _big(iloc, at + each * extent + index_size, offset_size),
                _big(iloc, at + each * extent + index_size + offset_size, length_size),
            )
            for each in range(extents)
        ])  # fmt: skip
    raise Damaged


def _gathered(source: memoryview, extents: list[tuple[int, int]]) -> memoryview:
    if sum(length for _, length in extents) > EXIF_MOST:
        raise Damaged
    return memoryview(b"".join(_piece(source, at, length) for at, length in extents))


def _read(form: str, data: bytes | memoryview, at: int) -> tuple[Any, ...]:
    """Numbers and letters, in the notation of the module struct."""
    if at + struct.calcsize(form) > len(data):
        raise Damaged
    return struct.unpack_from(form, data, at)


def _version(box: memoryview) -> int:
    """Of a box that has several forms."""
    return int(_read("B", box, 0)[0])


def _big(data: memoryview, at: int, size: int) -> int:
    """A number of so many bytes, 0 of none."""
    return int.from_bytes(_piece(data, at, size), "big")


def _piece(data: bytes | memoryview, at: int, length: int) -> memoryview:
    """So many bytes, without a copy."""
    if length < 0 or at + length > len(data):
        raise Damaged
    return memoryview(data)[at : at + length]


class Tag(IntEnum):
    """The tags that are read. The last ones, in GPS, count from 1."""

    IMAGE_WIDTH = 0x0100
    IMAGE_LENGTH = 0x0101
    EXPOSURE_TIME = 0x829A
    F_NUMBER = 0x829D
    EXIF = 0x8769
    GPS = 0x8825
    PHOTOGRAPHIC_SENSITIVITY = 0x8827
    SENSITIVITY_TYPE = 0x8830
    STANDARD_OUTPUT_SENSITIVITY = 0x8831
    RECOMMENDED_EXPOSURE_INDEX = 0x8832
    ISO_SPEED = 0x8833
    DATE_TIME_ORIGINAL = 0x9003
    OFFSET_TIME_ORIGINAL = 0x9011
    SHUTTER_SPEED_VALUE = 0x9201
    APERTURE_VALUE = 0x9202
    EXPOSURE_BIAS = 0x9204
    FLASH = 0x9209
    FOCAL_LENGTH = 0x920A
    GPS_LATITUDE_REF = 1
    GPS_LATITUDE = 2
    GPS_LONGITUDE_REF = 3
    GPS_LONGITUDE = 4
    GPS_TIME = 7
    GPS_DATE = 29


# TIFF 6.0: the number types, in the notation of the module struct. Two in one are a rational.
_FORMS = {
    1: "B", 3: "H", 4: "L", 5: "LL", 6: "b", 8: "h", 9: "l", 10: "ll", 11: "f", 12: "d", 13: "L",
}  # fmt: skip
_ASCII = 2
_TEXT_MOST = 40  # characters; a date has 19
_MARK_WITHIN = 32  # bytes that may stand before the block's byte order: "Exif", in HEIC also how much of that there is


class Tags:
    """One directory: where each tag's value stands. A value that is not inside the block is not there."""

    def __init__(self, block: memoryview, order: str, at: int) -> None:
        self._block, self._order = block, order
        self._entries: dict[int, int] = {}
        if at + 2 > len(block):
            return
        (count,) = struct.unpack_from(order + "H", block, at)
        for entry in range(at + 2, min(at + 2 + 12 * count, len(block) - 11), 12):
            (tag,) = struct.unpack_from(order + "H", block, entry)
            self._entries.setdefault(tag, entry)

    def numbers(self, tag: Tag, count: int) -> tuple[float, ...]:
        """The first so many numbers of a tag; none where it has fewer. A rational over zero is NaN."""
        kind, raw = self._value(tag, count)
        if kind not in _FORMS or not raw:
            return ()
        found = struct.iter_unpack(self._order + _FORMS[kind], raw)
        return tuple(each[0] if len(each) == 1 else each[0] / each[1] if each[1] else math.nan for each in found)

    def number(self, tag: Tag) -> float | None:
        """The first number of a tag."""
        return next(iter(self.numbers(tag, 1)), None)

    def whole(self, tag: Tag) -> int | None:
        """The same where it is a whole number, not below zero."""
        number = self.number(tag)
        return int(number) if number is not None and number >= 0 and float(number).is_integer() else None

    def text(self, tag: Tag) -> str:
        """A line of text; empty where it is none."""
        kind, raw = self._value(tag, None)
        line = bytes(raw).partition(b"\0")[0] if kind == _ASCII else b""
        return line.decode("ascii", "replace").strip()

    def _value(self, tag: Tag, count: int | None) -> tuple[int, memoryview]:
        """A value's type and its first so many parts; of text as much as is ever needed."""
        nothing = 0, memoryview(b"")
        entry = self._entries.get(tag)
        if entry is None:
            return nothing
        kind, said = struct.unpack_from(self._order + "HL", self._block, entry + 2)
        size = struct.calcsize("=" + _FORMS.get(kind, "c"))
        count = min(said, _TEXT_MOST) if count is None else count
        at = entry + 8 if said * size <= 4 else struct.unpack_from(self._order + "L", self._block, entry + 8)[0]
        if said < count or at + count * size > len(self._block):
            return nothing
        return kind, self._block[at : at + count * size]


def _order(block: memoryview) -> str:
    return "<" if bytes(block[:2]) == b"II" else ">"


def directories(block: memoryview | None) -> tuple[Tags, Tags]:
    """The directories Exif and GPS. Empty where there are none; where there is no Exif, the first stands in for it."""
    head = re.search(rb"II\*\0|MM\0\*", block[: _MARK_WITHIN + 4]) if block is not None else None
    if block is None or head is None or head.start() + 8 > len(block):
        nothing = Tags(memoryview(b""), ">", 0)
        return nothing, nothing
    block = block[head.start() :]
    order = _order(block)
    first = Tags(block, order, *struct.unpack_from(order + "L", block, 4))
    exif, gps = first.whole(Tag.EXIF), first.whole(Tag.GPS)
    return (
        first if exif is None else Tags(block, order, exif),
        Tags(block, order, len(block) if gps is None else gps),
    )
