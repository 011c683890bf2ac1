"""
Pictures for the tests of photos: the files written by Pillow and by libheif, the blocks of Exif in them packed by hand,
so that what reads a photo is held to other people's writers and to the standard's layout, never to a reader of our own.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pillow_heif
from PIL import Image

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    Tags = Mapping[int, tuple[str, object]]

# TIFF 6.0, section 2: the number of each type, and how one of it is packed.
TYPES = {
    "BYTE": (1, "B"), "ASCII": (2, "c"), "SHORT": (3, "H"), "LONG": (4, "L"), "RATIONAL": (5, "LL"), "SBYTE": (6, "b"),
    "SSHORT": (8, "h"), "SLONG": (9, "l"), "SRATIONAL": (10, "ll"), "FLOAT": (11, "f"), "DOUBLE": (12, "d"),
    "IFD": (13, "L"),
}  # fmt: skip

# What every photo of these tests says unless a test says otherwise: f/1.8, 1/120 s, ISO 64.
TIME, F_NUMBER, ISO = 0x829A, 0x829D, 0x8827
FIGURES = {TIME: ("RATIONAL", [(1, 120)]), F_NUMBER: ("RATIONAL", [(9, 5)]), ISO: ("SHORT", [64])}


def packed(exif: Tags | None = None, gps: Tags | None = None, first: Tags | None = None, order: str = "<") -> bytes:
    """A block of Exif: the first directory, with the addresses of the directories Exif and GPS, and those."""
    tags = dict(first or {})
    for pointer, directory in ((0x8769, exif), (0x8825, gps)):
        if directory is not None:
            tags[pointer] = ("LONG", [0])
    at = 8 + len(_directory(tags, 0, order))
    parts = []
    for pointer, directory in ((0x8769, exif), (0x8825, gps)):
        if directory is not None:
            tags[pointer] = ("LONG", [at])
            parts.append(_directory(directory, at, order))
            at += len(parts[-1])
    mark = b"II*\0" if order == "<" else b"MM\0*"
    return mark + struct.pack(order + "L", 8) + _directory(tags, 8, order) + b"".join(parts)


def _directory(tags: Tags, at: int, order: str) -> bytes:
    """Twelve bytes a tag: number, type, count, and the value or where it is; then the values that did not fit."""
    entries, values = b"", b""
    end = at + 2 + 12 * len(tags) + 4
    for tag, (kind, said) in sorted(tags.items()):
        number, form = TYPES[kind]
        if isinstance(said, str):
            count, raw = len(said) + 1, said.encode("latin-1") + b"\0"
        else:
            count = len(said)
            raw = b"".join(struct.pack(order + form, *(each if isinstance(each, tuple) else (each,))) for each in said)
        if len(raw) > 4:
            raw, values = struct.pack(order + "L", end + len(values)), values + raw + b"\0" * (len(raw) % 2)
        entries += struct.pack(order + "HHL", tag, number, count) + raw.ljust(4, b"\0")
    return struct.pack(order + "H", len(tags)) + entries + b"\0\0\0\0" + values


def jpeg(block: bytes) -> bytes:
    """A JPEG by Pillow."""
    return _saved("JPEG", exif=b"Exif\0\0" + block)


def png(block: bytes) -> bytes:
    """A PNG by Pillow, the Exif in a chunk eXIf."""
    return _saved("PNG", exif=block)


def heic(block: bytes) -> bytes:
    """A HEIC by libheif."""
    file = io.BytesIO()
    pillow_heif.from_pillow(Image.new("RGB", (64, 48))).save(file, exif=b"Exif\0\0" + block)
    return file.getvalue()


def tiff(block: bytes) -> bytes:
    """A TIFF by Pillow, which copies the tags: a TIFF is laid out as a block of Exif is."""
    exif = Image.Exif()
    exif.load(block)
    return _saved("TIFF", exif=exif)


WRITERS: dict[str, Callable[[bytes], bytes]] = {"JPEG": jpeg, "PNG": png, "HEIC": heic, "TIFF": tiff}


def _saved(kind: str, **options: object) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (16, 8)).save(file, kind, **options)
    return file.getvalue()


# Boxes of ISO/IEC 14496-12 and the items of 23008-12, for what libheif does not write.


def box(kind: bytes, *content: bytes, long: bool = False) -> bytes:
    """A box; long: with its length in eight bytes."""
    body = b"".join(content)
    return (
        struct.pack(">L4sQ", 1, kind, len(body) + 16) + body
        if long
        else struct.pack(">L4s", len(body) + 8, kind) + body
    )


def full_box(kind: bytes, version: int, *content: bytes) -> bytes:
    """A box with a version, and no flags."""
    return box(kind, bytes([version, 0, 0, 0]), *content)


FTYP = box(b"ftyp", b"heic\0\0\0\0mif1heic")
PICTURE = 1  # the number of the primary item


@dataclass(frozen=True)
class Heif:
    """
    How a HEIF file is laid out.

    version  of the box "iloc"
    method   0: the items are in the file, 1: in the box "idat"; no other has bytes of its own
    source   0: this file; any other is elsewhere
    long     boxes with long lengths
    wide     items with long numbers
    size     of the picture
    """

    version: int = 0
    method: int = 0
    source: int = 0
    long: bool = False
    wide: bool = False
    size: tuple[int, int] = (64, 48)


def heif(blocks: Mapping[int, bytes], about: Mapping[int, int], layout: Heif | None = None) -> bytes:
    """A HEIF file without a picture. blocks: each item of Exif by its number; about: which item it describes."""
    way = layout or Heif()
    items = {PICTURE: b"", **{number: b"\0\0\0\x06Exif\0\0" + block for number, block in blocks.items()}}
    content = b"".join(items.values())
    head = FTYP + box(b"free", b"\0" * 5, long=way.long)
    inside = way.method == 1

    def meta(start: int) -> bytes:
        return full_box(
            b"meta", 0,
            full_box(b"hdlr", 0, struct.pack(">L4s12xB", 0, b"pict", 0)),
            *_listed(blocks, about, wide=way.wide),
            box(b"iprp", box(b"ipco", full_box(b"ispe", 0, struct.pack(">LL", *way.size)), long=way.long)),
            full_box(b"iloc", way.version, *_placed(items, start, way)),
            box(b"idat", content if inside else b""),
        )  # fmt: skip

    start = 0 if inside else len(head) + len(meta(0)) + (16 if way.long else 8)
    return head + meta(start) + box(b"mdat", b"" if inside else content, long=way.long)


def _listed(blocks: Mapping[int, bytes], about: Mapping[int, int], *, wide: bool) -> list[bytes]:
    """Which item is the picture, what each is, and what each describes."""
    number, version, form = ("L", 3, ">LH4sx") if wide else ("H", 2, ">HH4sx")
    # An entry of the old form, which has no types, and a box of another kind: neither lists an item of Exif.
    other = struct.pack(form, 77, 0, b"Exif")
    entries = [full_box(b"infe", 0, other), full_box(b"free", version, other)]
    entries += [full_box(b"infe", version, struct.pack(form, PICTURE, 0, b"hvc1"))]
    entries += [full_box(b"infe", version, struct.pack(form, item, 0, b"Exif")) for item in blocks]
    references = [box(b"cdsc", struct.pack(f">{number}H{number}", one, 1, each)) for one, each in about.items()]
    return [
        full_box(b"pitm", int(wide), struct.pack(">" + number, PICTURE)),
        full_box(b"iinf", int(wide), struct.pack(">" + number, len(entries)), *entries),
        full_box(b"iref", int(wide), box(b"thmb", struct.pack(f">{number}H{number}", 77, 1, PICTURE)), *references),
    ]


def _placed(items: Mapping[int, bytes], start: int, way: Heif) -> list[bytes]:
    """The content of the box "iloc": each item in two pieces, since the standard lets one be scattered."""
    number = ">H" if way.version < 2 else ">L"
    parts = [b"\x44\x40" if way.version == 0 else b"\x44\x44", struct.pack(number, len(items))]
    for item, content in items.items():
        half = len(content) // 2
        parts += [struct.pack(number, item), b"" if way.version == 0 else struct.pack(">H", way.method)]
        parts += [struct.pack(">HLH", way.source, 0, 2)]
        for at, length in ((start, half), (start + half, len(content) - half)):
            parts += [b"" if way.version == 0 else b"\0\0\0\0", struct.pack(">LL", at, length)]
        start += len(content)
    return parts
