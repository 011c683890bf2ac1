"""Photos: what they say they were taken with, files that are none, files that mean harm, and the form that sends one."""

from __future__ import annotations

import math
import struct
import tempfile
import time
import tracemalloc
import zlib
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction

import pytest
from fastapi import FastAPI
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.formparsers import MultiPartParser

from server.door.guard import PHOTO_MOST, Guard
from server.exposure.refused import Refused
from server.pages.forms import Unclear
from server.pages.photos import Photo, ThePhoto, read_photo
from tests.conftest import TestClient
from tests.pages.pictures import (
    F_NUMBER,
    FIGURES,
    FTYP,
    ISO,
    PICTURE,
    TIME,
    TYPES,
    WRITERS,
    Heif,
    box,
    full_box,
    heif,
    jpeg,
    packed,
    png,
    tiff,
)

BIAS, FLASH, FOCAL = 0x9204, 0x9209, 0x920A
TV, AV = 0x9201, 0x9202
SENSITIVITY_TYPE, SOS, REI, ISO_SPEED = 0x8830, 0x8831, 0x8832, 0x8833
ORIGINAL, OFFSET = 0x9003, 0x9011
LATITUDE_REF, LATITUDE, LONGITUDE_REF, LONGITUDE, GPS_TIME, GPS_DATE = 1, 2, 3, 4, 7, 29

PLAIN = Photo(aperture=1.8, shutter=1 / 120, iso=64)
SAYS_NOTHING = "Many messengers strip them: send the original, or type the three figures"


def read(more=None, gps=None, *, without=(), order="<"):
    """What a JPEG says whose Exif has these tags too."""
    tags = {tag: said for tag, said in (FIGURES | (more or {})).items() if tag not in without}
    return read_photo(jpeg(packed(tags, gps, order=order)))


def refusal(data):
    """The sentence that this file is refused with."""
    with pytest.raises(Unclear) as refused:
        read_photo(data)
    assert refused.value.field == "file"
    return refused.value.allowed


# What a photo says


@pytest.mark.parametrize("write", WRITERS.values(), ids=WRITERS)
@pytest.mark.parametrize("order", ["<", ">"], ids=["little", "big"])
def test_the_figures_are_read_from_every_kind_of_file(write, order):
    """Whoever wrote the file, and with whichever end of a number first."""
    assert read_photo(write(packed(FIGURES, order=order))) == PLAIN


@given(
    n=st.fractions(Fraction(1, 2), 128, max_denominator=10_000),
    t=st.fractions(Fraction(1, 9999), 3600, max_denominator=10_000),
    iso=st.integers(1, 65534),
    kind=st.sampled_from([jpeg, png, tiff]),
)
@settings(max_examples=60)
def test_what_is_written_is_what_is_read(n, t, iso, kind):
    """No figure is moved to a mark, whichever writer it went through."""
    tags = {
        F_NUMBER: ("RATIONAL", [n.as_integer_ratio()]),
        TIME: ("RATIONAL", [t.as_integer_ratio()]),
        ISO: ("SHORT", [iso]),
    }
    try:
        photo = read_photo(kind(packed(tags)))
    except Unclear as refused:
        assert "light" in refused.allowed, "figures that are each allowed, of no light that there is"
        return
    assert (photo.aperture, photo.shutter, photo.iso) == (float(n), float(t), iso)


def test_other_kinds_of_number_are_read_too():
    """Not every program writes rationals."""
    assert read({F_NUMBER: ("DOUBLE", [1.8]), TIME: ("FLOAT", [0.5]), ISO: ("LONG", [100_000])}) == Photo(
        1.8, 0.5, 100_000
    )


@pytest.mark.parametrize("kind", TYPES)
def test_every_type_of_number_is_read(kind):
    """Whichever type a program chose: f/2 is f/2."""
    said = "2" if kind == "ASCII" else [(2, 1)] if kind.endswith("RATIONAL") else [2]
    data = jpeg(packed(FIGURES | {F_NUMBER: (kind, said)}))
    if kind == "ASCII":
        assert "says no aperture" in refusal(data)
    else:
        assert read_photo(data).aperture == 2


@pytest.mark.parametrize("order", ["<", ">"], ids=["little", "big"])
def test_a_tiff_of_either_order_is_a_photo(order):
    """Pillow writes one of them only."""
    size = {256: ("SHORT", [16]), 257: ("LONG", [8])}
    assert read_photo(packed(FIGURES, first=size, order=order)) == PLAIN


def test_tags_in_the_first_directory_are_read_where_there_is_no_other():
    """TIFF/EP has them there."""
    assert read_photo(jpeg(packed(first=FIGURES))) == PLAIN


@pytest.mark.parametrize(
    ("said", "bias"),
    [
        ([(1, 3)], 1 / 3),
        ([(-4, 2)], -2),
        ([(0, 6)], 0),
        ([(0, 0)], 0),  # it does not know
    ],
)
def test_bias_is_read_with_its_sign(said, bias):
    assert read({BIAS: ("SRATIONAL", said)}).bias == bias


@pytest.mark.parametrize(("said", "mm"), [([(24, 1)], 24), ([(679, 100)], 6.79), ([(0, 1)], None), ([(0, 0)], None)])
def test_focal_length(said, mm):
    assert read({FOCAL: ("RATIONAL", said)}).focal_mm == mm
    assert read().focal_mm is None


def test_apex_stands_in_for_what_is_missing():
    """Av 6 is f/8, Tv 7 is 1/128 s; where the plain figure is there, it counts."""
    apex = {AV: ("RATIONAL", [(6, 1)]), TV: ("SRATIONAL", [(7, 1)])}
    assert read(apex, without=[F_NUMBER, TIME]) == Photo(8, 1 / 128, 64)
    assert read({TV: ("SRATIONAL", [(-2, 1)])}, without=[TIME]).shutter == 4
    assert read(apex) == PLAIN


MORE = {SOS: ("LONG", [70_000]), REI: ("LONG", [80_000]), ISO_SPEED: ("LONG", [90_000])}


@pytest.mark.parametrize(
    ("tags", "iso"),
    [
        ({ISO: ("SHORT", [400, 0])}, 400),  # some cameras write two
        ({ISO: ("SHORT", [400]), SENSITIVITY_TYPE: ("SHORT", [1]), **MORE}, 400),
        ({ISO: ("SHORT", [65535]), SENSITIVITY_TYPE: ("SHORT", [1]), **MORE}, 70_000),
        ({ISO: ("SHORT", [65535]), SENSITIVITY_TYPE: ("SHORT", [2]), **MORE}, 80_000),
        ({ISO: ("SHORT", [65535]), SENSITIVITY_TYPE: ("SHORT", [3]), **MORE}, 90_000),
        ({ISO: ("SHORT", [65535]), SENSITIVITY_TYPE: ("SHORT", [5]), ISO_SPEED: MORE[ISO_SPEED], REI: MORE[REI]}, 90_000),
        ({ISO: ("SHORT", [65535]), SENSITIVITY_TYPE: ("SHORT", [6]), **MORE}, 80_000),
        ({ISO: ("SHORT", [65535]), SENSITIVITY_TYPE: ("SHORT", [99]), ISO_SPEED: MORE[ISO_SPEED]}, 90_000),
        ({ISO: ("SHORT", [65535]), SOS: MORE[SOS]}, 70_000),
        ({ISO: ("SHORT", [0]), REI: MORE[REI]}, 80_000),
        ({REI: MORE[REI]}, 80_000),
    ],
)  # fmt: skip
def test_sensitivity_is_found_where_two_bytes_cannot_say_it(tags, iso):
    assert read(tags, without=[] if ISO in tags else [ISO]).iso == iso


# When and where


def at(text):
    return {ORIGINAL: ("ASCII", text)}


def offset(text):
    return {OFFSET: ("ASCII", text)}


def fix(day="2026:06:20", hour=(13, 1), minute=(3, 1), second=(599, 100)):
    return {GPS_DATE: ("ASCII", day), GPS_TIME: ("RATIONAL", [hour, minute, second])}


LOCAL = datetime(2026, 6, 20, 14, 3, 10)  # noqa: DTZ001  # a camera that knows no zone
FIXED = datetime(2026, 6, 20, 13, 3, 5, tzinfo=UTC)


@pytest.mark.parametrize(
    ("tags", "gps", "taken"),
    [
        (at("2026:06:20 14:03:10"), {}, LOCAL),
        (at("2026:06:20 14:03:10") | offset("+01:00"), fix(), LOCAL.replace(tzinfo=timezone(timedelta(hours=1)))),
        (at("2026:06:20 14:03:10") | offset("-09:30"), {}, LOCAL.replace(tzinfo=timezone(timedelta(hours=-9.5)))),
        (at("2026:06:20 14:03:10"), fix(), FIXED),
        (at("2026:06:20 14:03:10") | offset("   :  "), fix(), FIXED),  # the standard's way to say that it is unknown
        ({}, fix(), FIXED),
        ({}, fix(day="2026-06-20"), FIXED),
        (at("2026:06:20 14:03:10"), fix(day="2026:06:18"), LOCAL),  # a fix of the day before yesterday
        (at("2026:06:20 14:03:10"), fix(hour=(24, 1)), LOCAL),
        (at("2026:06:20 14:03:10"), fix(second=(0, 0)), LOCAL),
        (at("2026:06:20 14:03:10") | offset("+25:00"), {}, LOCAL),
        (at("2026:06:20 14:03:10") | offset("Z"), {}, LOCAL),
        (at("0000:00:00 00:00:00"), {}, None),
        (at("    :  :     :  :  "), {}, None),
        (at("2026:02:30 14:03:10"), {}, None),
        (at("2026:06:20 24:03:10"), {}, None),
        (at("Saturday, 2pm"), {}, None),
        (at("٢٠٢٦:06:20 14:03:10".encode().decode("latin-1")), {}, None),
        (at(""), {}, None),
        ({ORIGINAL: ("SHORT", [2026, 6, 20])}, {}, None),
        ({}, {}, None),
    ],
)  # fmt: skip
def test_when_it_was_taken(tags, gps, taken):
    """By the camera's clock and zone, else by GPS, else by the camera's clock; never a reason to refuse a photo."""
    found = read(tags, gps).taken
    assert found == taken
    assert (found is None or found.utcoffset()) == (taken is None or taken.utcoffset())


def place(north=((51, 1), (30, 1), (36, 1)), ns="N", east=((0, 1), (7, 1), (30, 1)), ew="W"):
    return {
        LATITUDE_REF: ("ASCII", ns), LATITUDE: ("RATIONAL", list(north)),
        LONGITUDE_REF: ("ASCII", ew), LONGITUDE: ("RATIONAL", list(east)),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("gps", "latitude", "longitude"),
    [
        (place(), 51.51, -0.125),
        (place(ns="S", ew="E"), -51.51, 0.125),
        (place(north=((515100, 10000), (0, 1), (0, 1))), 51.51, -0.125),
        (place(north=((90, 1), (0, 1), (0, 1)), east=((180, 1), (0, 1), (0, 1)), ew="E"), 90, 180),
    ],
)
def test_where_it_was_taken(gps, latitude, longitude):
    photo = read(gps=gps)
    assert (photo.latitude, photo.longitude) == (pytest.approx(latitude), pytest.approx(longitude))


@pytest.mark.parametrize(
    "gps",
    [
        {},
        place(north=((90, 1), (0, 1), (1, 1))),
        place(east=((181, 1), (0, 1), (0, 1))),
        place(north=((51, 0), (30, 1), (36, 1))),
        place(ns="X"),
        place(ns=""),
        place(ew="EW"),
        place(north=((51, 1), (30, 1))),
        place(north=((0, 1),) * 3, east=((0, 1),) * 3),  # how some write that they have no fix
        {tag: said for tag, said in place().items() if tag != LONGITUDE_REF},
        place() | {LATITUDE: ("ASCII", "51 degrees")},
        place() | {LATITUDE: ("SRATIONAL", [(-51, 1), (0, 1), (0, 1)])},
    ],
)  # fmt: skip
def test_a_place_that_is_none_is_left_out(gps):
    """Half a place, one off the globe and one without a fix are no reason to refuse the light."""
    assert read(gps=gps) == PLAIN


# What is refused


@pytest.mark.parametrize(
    ("without", "named"),
    [
        ([F_NUMBER], "aperture"),
        ([TIME], "time"),
        ([ISO], "ISO"),
        ([F_NUMBER, TIME], "aperture or time"),
        ([TIME, ISO], "time or ISO"),
        ([F_NUMBER, TIME, ISO], "aperture, time or ISO"),
    ],
)
def test_what_a_photo_does_not_say_is_named(without, named):
    tags = {tag: said for tag, said in FIGURES.items() if tag not in without}
    for write in WRITERS.values():
        assert refusal(write(packed(tags))) == f"This photo says no {named}. {SAYS_NOTHING}"


def test_a_photo_without_exif_says_nothing():
    """As one comes from a messenger."""
    plain = jpeg(b"").replace(b"Exif\0\0", b"Nope\0\0")
    for data in (plain, png(b""), heif({}, {}), tiff(packed({}))):
        assert refusal(data) == f"This photo says no aperture, time or ISO. {SAYS_NOTHING}"
    assert refusal(jpeg(packed(FIGURES | {ISO: ("SHORT", [65535])}))) == f"This photo says no ISO. {SAYS_NOTHING}"


@pytest.mark.parametrize(
    ("tag", "said", "words"),
    [
        (F_NUMBER, ("RATIONAL", [(0, 1)]), "0 for its aperture; allowed is 0.5 to 128"),  # a lens with no contacts
        (F_NUMBER, ("RATIONAL", [(0, 0)]), "no number for its aperture"),
        (F_NUMBER, ("RATIONAL", [(4294967295, 1)]), "4294967295 for its aperture"),
        (F_NUMBER, ("DOUBLE", [math.inf]), "inf for its aperture"),
        (TIME, ("RATIONAL", [(1, 0)]), "no number for its time"),
        (TIME, ("RATIONAL", [(0, 10)]), "0 for its time; allowed is 1e-05 to 3600 s"),
        (TIME, ("SRATIONAL", [(-1, 50)]), "-0.02 for its time"),
        (TIME, ("RATIONAL", [(3601, 1)]), "3601 for its time"),
        (TIME, ("FLOAT", [math.nan]), "no number for its time"),
        (ISO, ("LONG", [10_000_001]), "10000001 for its ISO; allowed is 1 to 10000000"),
        (ISO, ("SLONG", [-100]), "-100 for its ISO"),
        (BIAS, ("SRATIONAL", [(21, 1)]), "21 for its exposure bias; allowed is -20 to 20 stops"),
        (BIAS, ("DOUBLE", [-math.inf]), "-inf for its exposure bias"),
    ],
)
def test_a_figure_that_no_camera_has_is_refused_by_name(tag, said, words):
    """With what came and what may come, and a way out."""
    sentence = refusal(jpeg(packed(FIGURES | {tag: said})))
    assert words in sentence
    assert sentence.endswith("Type the three figures instead")


@pytest.mark.parametrize(
    ("tags", "without"),
    [
        ({AV: ("RATIONAL", [(4294967295, 1)])}, F_NUMBER),
        ({TV: ("SRATIONAL", [(-2147483648, 1)])}, TIME),
        ({TV: ("SRATIONAL", [(0, 0)])}, TIME),
    ],
)
def test_apex_values_that_no_camera_has_are_refused(tags, without):
    """2 to a power of millions is no reason to fall over."""
    assert "no number for its" in refusal(jpeg(packed({k: v for k, v in (FIGURES | tags).items() if k != without})))


def test_figures_of_no_light_are_refused():
    """Each is allowed, and together they are brighter than the sun's own disc."""
    tags = {F_NUMBER: ("RATIONAL", [(128, 1)]), TIME: ("RATIONAL", [(1, 100_000)]), ISO: ("SHORT", [1])}
    assert "for its light; allowed is -16 to 36 stops" in refusal(jpeg(packed(tags)))


def test_a_flash_that_fired_is_refused():
    """Its light is not the place's, whatever else the photo says or leaves out."""
    for tags in (FIGURES, {}):
        assert refusal(jpeg(packed({**tags, FLASH: ("SHORT", [0x19])}))).startswith(
            "The flash fired, so this is not the pl"
        )
    assert read({FLASH: ("SHORT", [0x18])}) == PLAIN


@pytest.mark.parametrize(
    "data",
    [
        b"", b"\xff", b"hello", b"GIF89a" + b"\0" * 100, b"RIFF\x24\0\0\0WEBPVP8 ", b"%PDF-1.7", b"\0" * 1000,
        box(b"ftyp", b"mp42\0\0\0\0isom") + b"\0" * 100, b"II+\0\x08\0\0\0" + b"\0" * 100,
    ],
)  # fmt: skip
def test_what_is_no_photo_is_told_what_is(data):
    assert refusal(data) == "It is no photo of a kind that can be read: JPEG, HEIC, PNG and TIFF can"


# Other people's layouts


@pytest.mark.parametrize(("version", "method"), [(0, 0), (1, 0), (2, 0), (1, 1), (2, 1)])
@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize("wide", [False, True])
def test_heif_items_are_found_wherever_they_are(version, method, long, wide):
    """In the file or in a box of their own, in pieces, with short lengths and numbers or long ones."""
    layout = Heif(version, method, long=long, wide=wide)
    number = 100_000 if wide and version == 2 else 2
    assert read_photo(heif({number: packed(FIGURES)}, {number: PICTURE}, layout)) == PLAIN


@pytest.mark.parametrize("layout", [Heif(source=1), Heif(version=1, method=2)])
def test_heif_items_that_are_elsewhere_are_not_looked_for(layout):
    """In another file, or made of other items."""
    assert "cut off or damaged" in refusal(heif({2: packed(FIGURES)}, {2: PICTURE}, layout))


def test_a_heif_item_that_reaches_beyond_the_file_is_cut_off():
    """Half an item is none, even where the half has the figures."""
    padded = packed(FIGURES) + b"\0" * 50
    assert read_photo(heif({2: padded}, {2: PICTURE})) == PLAIN
    assert "cut off or damaged" in refusal(heif({2: padded}, {2: PICTURE})[:-20])


def test_heif_figures_are_those_of_the_primary_image():
    """A burst has several; the thumbnail's come first here."""
    other = packed(FIGURES | {ISO: ("SHORT", [3200])})
    data = heif({2: other, 3: packed(FIGURES), 4: other}, {2: 9, 3: PICTURE, 4: 9})
    assert read_photo(data) == PLAIN
    assert read_photo(heif({2: packed(FIGURES)}, {})) == PLAIN, (
        "where nothing says what it describes, it is the picture"
    )


@pytest.mark.parametrize(
    "brand", [b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1"]
)
def test_heif_is_known_by_any_of_its_brands(brand):
    """ISO/IEC 23008-12: the first or one of those that it is compatible with."""
    whole = heif({2: packed(FIGURES)}, {2: PICTURE})
    assert read_photo(whole.replace(b"heic\0\0\0\0mif1heic", brand + b"\0\0\0\0zzzzzzzz")) == PLAIN
    assert read_photo(whole.replace(b"heic\0\0\0\0mif1heic", b"zzzz\0\0\0\0zzzz" + brand)) == PLAIN
    assert "no photo" in refusal(whole.replace(b"heic\0\0\0\0mif1heic", b"zzzz\0\0\0\0zzzzzzzz"))


def test_a_box_may_reach_to_the_end():
    """A length of zero says so."""
    whole = bytearray(heif({2: packed(FIGURES)}, {2: PICTURE}, Heif(version=1, method=1)))
    at = whole.index(b"idat") - 4
    whole[at : at + 4] = b"\0\0\0\0"
    assert read_photo(bytes(whole)) == PLAIN


def test_a_block_may_end_with_its_last_tag():
    """Some programs leave out the address of the next directory."""
    inside = {F_NUMBER: ("FLOAT", [2]), TIME: ("FLOAT", [0.25]), ISO: ("SHORT", [100])}
    assert read_photo(jpeg(packed(first=inside)[:-4])) == Photo(2, 0.25, 100)


@pytest.mark.parametrize("marker", [0xC4, 0xC8, 0xCC])
def test_jpeg_tables_are_no_frames(marker):
    """DHT, JPG and DAC have numbers like those of frames; what is in them is no size."""
    whole = jpeg(packed(FIGURES))
    at = whole.index(b"\xff\xda")
    assert read_photo(whole[:at] + segment(marker, b"\xff" * 9) + whole[at:]) == PLAIN


@pytest.mark.parametrize("filling", [1, 8, 9])
def test_jpeg_segments_may_stand_in_any_order_with_filling_between(filling):
    """As cameras write them: fill bytes before a marker, notes of the maker's before the Exif, a second Exif after it."""
    whole = jpeg(packed(FIGURES))
    length = 2 + struct.unpack(">H", whole[whole.index(b"\xff\xe1") + 2 :][:2])[0]
    start = whole.index(b"\xff\xe1")
    exif = whole[start : start + length]
    other = exif.replace(struct.pack("<LL", 1, 120), struct.pack("<LL", 1, 999))
    note = b"\xff\xe1\0\x0aNotExif!"
    assert other != exif
    assert read_photo(whole[:2] + note + b"\0\0" + b"\xff" * filling + exif + other + whole[2:]) == PLAIN


def test_a_jpeg_that_ends_before_its_picture_is_damaged():
    """Whatever comes after the end is no part of it."""
    whole = jpeg(packed(FIGURES))
    assert "cut off or damaged" in refusal(b"\xff\xd8\xff\xd9" + whole[2:])
    assert "cut off or damaged" in refusal(whole[: whole.index(b"\xff\xc0")] + whole[whole.index(b"\xff\xda") :])


@pytest.mark.parametrize("length", range(8))
def test_exif_of_a_few_bytes_says_nothing(length):
    for write in (jpeg, png):
        assert "says no aperture, time or ISO" in refusal(write(packed(FIGURES)[:length]))


def test_png_exif_may_stand_after_the_picture():
    """The standard lets it."""
    whole = png(packed(FIGURES))
    at = whole.index(b"eXIf") - 4
    chunk = whole[at : at + 12 + struct.unpack(">L", whole[at : at + 4])[0]]
    assert read_photo(whole.replace(chunk, b"").replace(whole[-12:], chunk + whole[-12:])) == PLAIN


# Files that are damaged, or mean harm


def photos():
    """A small photo of each kind, with everything in it that is read."""
    everything = (
        FIGURES | at("2026:06:20 14:03:10") | offset("+01:00") | {FLASH: ("SHORT", [0]), FOCAL: ("RATIONAL", [(24, 1)])}
    )
    block = packed(everything, place() | fix())
    return [
        *(write(block) for write in WRITERS.values()),
        heif({2: block, 3: block}, {2: PICTURE}, Heif(version=2, method=1)),
    ]


PHOTOS = photos()


def outcome(data):
    """Photo or sentence; anything else is the test's failure."""
    try:
        photo = read_photo(data)
    except Unclear as refused:
        assert refused.field == "file"
        assert refused.allowed[:1].isupper()
        return refused.allowed
    assert isinstance(photo, Photo)
    assert all(math.isfinite(each) for each in (photo.aperture, photo.shutter, photo.iso, photo.bias))
    if photo.taken is not None and photo.taken.tzinfo is not None:
        photo.taken.astimezone(UTC)
    return photo


@pytest.mark.parametrize("whole", PHOTOS, ids=[*WRITERS, "HEIF"])
def test_a_photo_that_is_cut_off_is_refused_or_read_right(whole):
    """Half a figure is never taken for one."""
    right = outcome(whole)
    assert right.focal_mm == 24
    said = set()
    for length in range(len(whole)):
        found = outcome(whole[:length])
        if isinstance(found, Photo):
            assert (found.aperture, found.shutter, found.iso) == (right.aperture, right.shutter, right.iso)
        else:
            said.add(found)
    assert any("cut off or damaged" in each for each in said)


@st.composite
def damaged(draw):
    data = bytearray(draw(st.sampled_from(PHOTOS)))
    for _ in range(draw(st.integers(1, 6))):
        if not data:
            break
        at = draw(st.integers(0, len(data) - 1))
        some = draw(
            st.one_of(
                st.binary(max_size=8), st.sampled_from([b"\xff" * 4, b"\0" * 4, b"\x7f\xff\xff\xff", b"\x80\0\0\0"])
            )
        )
        match draw(st.sampled_from(["over", "in", "out", "twice"])):
            case "over":
                data[at : at + len(some)] = some
            case "in":
                data[at:at] = some
            case "out":
                del data[at : at + draw(st.integers(1, 40))]
            case "twice":
                data[at:at] = data[at : at + draw(st.integers(1, 200))]
    return bytes(data)


@given(damaged())
@settings(max_examples=400, deadline=1000)
def test_whatever_is_damaged_is_read_or_refused(data):
    """Nothing but a photo or the one refusal comes out."""
    outcome(data)


@given(st.sampled_from([b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", FTYP, b""]), st.binary(max_size=400))
@settings(max_examples=300, deadline=1000)
def test_whatever_bytes_come_are_read_or_refused(start, data):
    outcome(start + data)


NUMBERS = st.one_of(st.integers(0, 2**32 - 1), st.sampled_from([0, 1, 2**31, 2**32 - 1]))


@st.composite
def blocks(draw):
    """A block whose tags have types, counts and places that nobody meant."""
    order = draw(st.sampled_from("<>"))
    known = [
        TIME,
        F_NUMBER,
        ISO,
        0x8769,
        0x8825,
        BIAS,
        FLASH,
        FOCAL,
        TV,
        AV,
        SENSITIVITY_TYPE,
        SOS,
        ORIGINAL,
        OFFSET,
        *range(30),
    ]
    entry = st.tuples(st.sampled_from(known), st.integers(0, 14), NUMBERS, NUMBERS)
    entries = draw(st.lists(entry, max_size=12))
    mark = b"II*\0" if order == "<" else b"MM\0*"
    start = draw(st.one_of(st.just(8), NUMBERS))
    head = mark + struct.pack(order + "LH", start, draw(st.one_of(st.just(len(entries)), st.integers(0, 65535))))
    return head + b"".join(struct.pack(order + "HHLL", *each) for each in entries) + draw(st.binary(max_size=60))


@given(blocks())
@settings(max_examples=400, deadline=1000)
def test_exif_that_nobody_meant_is_read_or_refused(block):
    """In a file of each kind; as a TIFF of its own, with the size that a TIFF needs."""
    head = b"\xff\xd8\xff\xe1" + struct.pack(">H", len(block) + 8) + b"Exif\0\0"
    outcome(head + block + PHOTOS[0][2:])
    outcome(heif({2: block}, {2: PICTURE}))
    outcome(block)


def segment(marker, content):
    return b"\xff" + bytes([marker]) + struct.pack(">H", len(content) + 2) + content


def chunk(name, content):
    return struct.pack(">L", len(content)) + name + content + struct.pack(">L", zlib.crc32(name + content))


IHDR = struct.pack(">LLBBBBB", 10, 10, 8, 2, 0, 0, 0)
MEGABYTES = 8
A_LOT = MEGABYTES * 1_000_000
EXIF_ITEM = full_box(b"infe", 2, struct.pack(">HH4sx", 2, 0, b"Exif"))
ITEMS = full_box(b"pitm", 0, b"\0\1") + full_box(b"iinf", 0, b"\0\1", EXIF_ITEM)


def tags(*entries, count=None):
    """A little-endian block of one directory."""
    head = struct.pack("<4sLH", b"II*\0", 8, len(entries) if count is None else count)
    return head + b"".join(struct.pack("<HHLL", *each) for each in entries)


def items_elsewhere(extents, *, version=0):
    where = struct.pack(">HHH", 2, 0, len(extents)) + b"".join(struct.pack(">LL", *each) for each in extents)
    return FTYP + full_box(b"meta", 0, ITEMS, full_box(b"iloc", version, b"\x44\0\0\1", where))


# Each is as small or as large as its harm needs. What opens pictures for a living takes seconds or gigabytes for several.
HARMFUL = {
    "a JPEG of a million pieces of Exif": lambda: b"\xff\xd8" + segment(0xE1, b"Exif\0\0abcd") * (A_LOT // 14),
    "a JPEG of nothing but filling": lambda: b"\xff\xd8" + b"\xff" * A_LOT,
    "a JPEG of nothing but junk": lambda: b"\xff\xd8\xff" + b"\0" * A_LOT,
    "a JPEG of escaped bytes": lambda: b"\xff\xd8" + b"\xff\0" * (A_LOT // 2),
    "a PNG whose texts unpack to 64 MB": lambda: (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", IHDR) + chunk(b"zTXt", b"k\0\0" + zlib.compress(b"a" * 1_000_000)) * 64
        + chunk(b"eXIf", packed(FIGURES)) + chunk(b"IEND", b"")
    ),
    "a PNG of empty chunks": lambda: b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", IHDR) + chunk(b"aaaa", b"") * (A_LOT // 12),
    "a TIFF whose strips are the whole file": lambda: tags((256, 4, 1, 10), (257, 4, 1, 10), (273, 4, A_LOT // 4, 8)) + b"\1" * A_LOT,
    "a TIFF whose maker's note is the whole file": lambda: tags((256, 4, 1, 9), (257, 4, 1, 9), (0x8769, 4, 1, 8), (0x927C, 5, A_LOT // 8, 8)) + b"\1" * A_LOT,
    "directories that lead to themselves": lambda: tags((256, 4, 1, 10), (257, 4, 1, 10), (0x8769, 4, 1, 8), (0x8825, 4, 1, 8)) + struct.pack("<L", 8),
    "a directory of 65,535 tags": lambda: tags((256, 4, 1, 9), (257, 4, 1, 9), (0x8769, 4, 1, 8), *((each, 5, 2**32 - 1, 8) for each in range(1000, 32000)), count=65535),
    "a HEIC of a million boxes": lambda: FTYP + box(b"free") * (A_LOT // 8),
    "a HEIC of a thousand times the same Exif": lambda: items_elsewhere([(0, 10_000)] * 5000) + b"\0" * 10_000,
    "a HEIC of as many items as there are numbers": lambda: FTYP + full_box(b"meta", 0, ITEMS, full_box(b"iloc", 2, b"\0\0", b"\xff" * 4, b"\0" * A_LOT)),
    "a HEIC of references": lambda: FTYP + full_box(b"meta", 0, ITEMS, full_box(b"iref", 0, box(b"cdsc", b"\0\2\xff\xff", b"\0\2" * 65535) * (A_LOT // 131_082))),
    "a box as long as the universe": lambda: FTYP + struct.pack(">L4sQ", 1, b"meta", 2**64 - 1),
}  # fmt: skip


@pytest.mark.parametrize("make", HARMFUL.values(), ids=HARMFUL)
def test_a_file_that_means_harm_costs_nothing(make):
    """Less than a second, and a fraction of the memory that the file itself takes."""
    data = make()
    began = time.perf_counter()
    outcome(data)
    assert time.perf_counter() - began < 1
    tracemalloc.start()
    outcome(data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < max(len(data), 16_000_000)


def test_a_file_that_means_harm_is_refused_in_words():
    """Or read, where what is harmful in it need not be looked at."""
    said = {name: outcome(make()) for name, make in HARMFUL.items()}
    assert said["a PNG whose texts unpack to 64 MB"] == PLAIN
    assert "says no aperture, time or ISO" in said["directories that lead to themselves"]
    assert said["a box as long as the universe"].startswith("This photo is cut off or damaged")


@pytest.mark.parametrize(
    "make",
    [
        lambda width, height: b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">LL", width, height) + IHDR[8:]) + chunk(b"eXIf", packed(FIGURES)) + chunk(b"IEND", b""),
        lambda width, height: heif({2: packed(FIGURES)}, {2: PICTURE}, Heif(size=(width, height))),
        lambda width, height: packed(FIGURES, first={256: ("LONG", [width]), 257: ("LONG", [height])}),
        lambda width, height: b"\xff\xd8" + segment(0xE1, b"Exif\0\0" + packed(FIGURES)) + segment(0xC0, struct.pack(">BHHB", 8, height, width, 3)) + segment(0xDA, b""),
    ],
    ids=["PNG", "HEIC", "TIFF", "JPEG"],
)  # fmt: skip
def test_more_pixels_than_any_camera_has_are_refused(make):
    """Phones make 200 million; 500 million is the bound."""
    assert read_photo(make(16320, 12240)) == PLAIN
    assert read_photo(make(25_000, 20_000)) == PLAIN
    assert refusal(make(25_000, 20_001)) == "This photo says that it has 501 megapixels; at most 500 can be"
    assert "at most 500 can be" in refusal(make(65_535, 65_535))


def test_the_refusal_is_one_that_the_pages_know():
    """A route catches the engine's refusals, and this is one."""
    assert issubclass(Unclear, Refused)


# The form


@pytest.fixture(scope="module")
def form():
    """A form with a photo, behind the guard, that says what came; forms without one at an address of any other name."""
    app = FastAPI()

    @app.post("/photo")
    def photo(came: ThePhoto):
        fields, data = came
        return {
            "fields": fields.multi_items(),
            "crc": None if data is None else zlib.crc32(data),
            "length": len(data or b""),
        }

    app.add_middleware(Guard)
    with TestClient(app) as client:
        yield client


def test_a_form_brings_its_fields_and_its_photo(form):
    data = bytes(range(256)) * 12_000
    came = form.post("/photo", data={"kind": "photo", "glass": ["a", "b"]}, files={"file": ("IMG_1.HEIC", data)}).json()
    assert came["fields"] == [["kind", "photo"], ["glass", "a"], ["glass", "b"]]
    assert (came["crc"], came["length"]) == (zlib.crc32(data), len(data))


def test_a_photo_is_never_written_to_disk(form, monkeypatch):
    """The framework puts a file of more than a megabyte in a temporary file; a photo stays in memory."""

    def rollover(_self):
        raise AssertionError("a photo was written to disk")

    monkeypatch.setattr(tempfile.SpooledTemporaryFile, "rollover", rollover)
    monkeypatch.setattr(tempfile, "TemporaryFile", rollover)
    data = b"a" * (PHOTO_MOST - 1000)
    assert len(data) > MultiPartParser.spool_max_size
    assert form.post("/photo", files={"file": ("a.jpg", data)}).json()["length"] == len(data)


def test_a_form_without_a_photo(form):
    """None where there is no such field, empty where nothing was chosen; never a file of another name."""
    assert form.post("/photo", data={"kind": "photo"}).json() == {
        "fields": [["kind", "photo"]],
        "crc": None,
        "length": 0,
    }
    head = '--x\r\nContent-Disposition: form-data; name="file"; filename=""\r\n\r\n\r\n--x--\r\n'
    empty = form.post("/photo", content=head, headers={"content-type": "multipart/form-data; boundary=x"}).json()
    assert empty == {"fields": [], "crc": 0, "length": 0}
    assert form.post("/photo", files={"other": ("a.jpg", b"a")}).json() == {"fields": [], "crc": None, "length": 0}
    assert form.post("/photo", data={"file": "no file"}, files={"other": ("a", b"a")}).json()["crc"] is None


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"hello", "multipart/form-data; boundary=x"),
        (b"hello", "multipart/form-data"),
        (b"--x\r\n\r\nhello\r\n--x--", "multipart/form-data; boundary=x"),
        (
            b"--x\r\nContent-Disposition: form-data; name=f\r\n\r\n" + b"a" * 2_000_000,
            "multipart/form-data; boundary=x",
        ),
    ],
)
def test_a_form_that_is_none_is_refused(form, content, kind):
    """In the framework's words, as every other form of ours."""
    answer = form.post("/photo", content=content, headers={"content-type": kind})
    assert answer.status_code == 400
    assert answer.json()["detail"]


def test_two_photos_are_refused(form):
    answer = form.post("/photo", files=[("file", ("a.jpg", b"a")), ("file", ("b.jpg", b"b"))])
    assert answer.status_code == 400
