"""
What Exif's figures mean, and the light that follows from them.

Sources
- Exif 2.2 (JEITA CP-3451, April 2002) to 2.32 (CIPA DC-008-2019), whose text on ExposureTime, FNumber,
  ShutterSpeedValue, ApertureValue, ExposureBiasValue, PhotographicSensitivity and Flash is quoted tag for tag in three
  tables of tags: exiv2.org, awaresystems.be, learn.microsoft.com (System.Photo). Av, Tv and the bias are in APEX units;
  N = 2^(Av/2), t = 2^-Tv.
- Flash: its resulting values, as the standard lists them (JEITA CP-3451, page 36; awaresystems.be).
- SensitivityType 0 to 7, and PhotographicSensitivity held at 65535: exiv2.org/tags-xmp-exifEX.html.
- OffsetTimeOriginal, "±HH:MM", blank where unknown: the text that Android's ExifInterface quotes.
- Pillow's ExifTags: numbers and names of the tags, from the standard by other hands.
- One camera's own figures, plain and in APEX, as another program's tests print them: exiv2, test/data/exifdata-test.out.
- APEX: Ev = Av + Tv = Bv + Sv with Sv = log2(S/3.125), so that EV at ISO 100 is Bv + 5. Luminance with K = 12.5 and
  illuminance with C = 250: ISO 2720:1974.
- The rows of WORKED are worked out by hand from those, to the digits shown.
"""

from __future__ import annotations

import math
from datetime import UTC, timedelta

import pytest
from PIL import ExifTags

from server.exposure.light import from_luminance, from_lux, from_photo
from server.pages.forms import Unclear
from server.pages.photos import read_photo
from tests.pages.pictures import FIGURES, jpeg, packed

TAG = ExifTags.Base

# f-number, time below 1, ISO, Av, Tv, Sv, Ev, Bv, EV at ISO 100, cd/m2, lx
WORKED = [
    (1.8, 120, 64, 1.6960, 6.9069, 4.3561, 8.6029, 4.2467, 9.2467, 75.94, 1518.8),
    (16, 125, 100, 8, 6.9658, 5, 14.9658, 9.9658, 14.9658, 4000, 80_000),
]
DIGITS = 6e-5  # of a row


def photo(tags):
    """What a photo with these tags says."""
    return read_photo(jpeg(packed(tags)))


def parts(value):
    """A figure of four digits as a rational."""
    return [(round(value * 10_000), 10_000)]


@pytest.mark.parametrize(
    ("n", "below", "iso", "av", "tv", "sv", "ev", "bv", "ev100", "luminance", "illuminance"), WORKED
)
def test_apex_the_light_of_a_photo_is_what_its_units_add_up_to(
    n, below, iso, av, tv, sv, ev, bv, ev100, luminance, illuminance
):
    """EV at ISO 100 is Av + Tv - Sv + 5, is Bv + 5, and is the luminance and the illuminance that a meter would show."""
    ours = from_photo(n, 1 / below, iso).ev100
    assert ours == pytest.approx(ev100, abs=DIGITS)
    assert ours == pytest.approx(av + tv - sv + 5, abs=3 * DIGITS)
    assert ours == pytest.approx(ev - sv + 5, abs=2 * DIGITS)
    assert ours == pytest.approx(bv + 5, abs=DIGITS)
    assert ours == pytest.approx(from_luminance(luminance).ev100, abs=1e-4)
    assert ours == pytest.approx(from_lux(illuminance).ev100, abs=1e-4)


@pytest.mark.parametrize(
    ("n", "below", "iso", "av", "tv", "sv", "ev", "bv", "ev100", "luminance", "illuminance"), WORKED
)
def test_exif_plain_figures_and_apex_units_are_the_same_photo(
    n, below, iso, av, tv, sv, ev, bv, ev100, luminance, illuminance
):
    """FNumber and ExposureTime, or ApertureValue and ShutterSpeedValue: one photo, one light."""
    tags = {TAG.ISOSpeedRatings: ("SHORT", [iso])}
    plain = photo(tags | {TAG.FNumber: ("RATIONAL", parts(n)), TAG.ExposureTime: ("RATIONAL", [(1, below)])})
    apex = photo(tags | {TAG.ApertureValue: ("RATIONAL", parts(av)), TAG.ShutterSpeedValue: ("SRATIONAL", parts(tv))})
    assert (plain.aperture, plain.shutter, plain.iso) == (n, 1 / below, iso)
    assert (apex.aperture, apex.shutter, apex.iso) == (
        pytest.approx(n, rel=1e-4),
        pytest.approx(1 / below, rel=1e-4),
        iso,
    )
    for found in (plain, apex):
        assert from_photo(found.aperture, found.shutter, found.iso, found.bias).ev100 == pytest.approx(
            ev100, abs=3 * DIGITS
        )


# ASA PH2.5-1960: whole units of Av are the full stops from f/1 on, of Tv the powers of two from 1 s on.
@pytest.mark.parametrize(("av", "n"), [(0, 1), (1, 2**0.5), (2, 2), (4, 4), (6, 8), (8, 16), (10, 32)])
def test_apex_aperture_value(av, n):
    """N = 2^(Av/2)."""
    tags = {tag: said for tag, said in FIGURES.items() if tag != TAG.FNumber}
    assert photo(tags | {TAG.ApertureValue: ("RATIONAL", [(av, 1)])}).aperture == pytest.approx(n)


@pytest.mark.parametrize(("tv", "seconds"), [(-5, 32), (-1, 2), (0, 1), (1, 1 / 2), (5, 1 / 32), (10, 1 / 1024)])
def test_apex_time_value(tv, seconds):
    """t = 2^-Tv."""
    tags = {tag: said for tag, said in FIGURES.items() if tag != TAG.ExposureTime}
    assert photo(tags | {TAG.ShutterSpeedValue: ("SRATIONAL", [(tv, 1)])}).shutter == seconds


def test_a_cameras_own_units_agree_with_its_plain_figures():
    """exiv2's test file: 1/95 s at f/9.1, which that camera wrote as Tv 6.6 and Av 6.4, to a tenth of a unit."""
    tags = {
        TAG.ISOSpeedRatings: ("SHORT", [100]),
        TAG.ExposureBiasValue: ("SRATIONAL", [(0, 10)]),
        TAG.Flash: ("SHORT", [0]),
    }
    plain = photo(tags | {TAG.ExposureTime: ("RATIONAL", [(1, 95)]), TAG.FNumber: ("RATIONAL", [(91, 10)])})
    apex = photo(tags | {TAG.ShutterSpeedValue: ("SRATIONAL", [(66, 10)]), TAG.ApertureValue: ("RATIONAL", [(64, 10)])})
    assert math.log2(plain.shutter / apex.shutter) == pytest.approx(0, abs=0.05)
    assert 2 * math.log2(plain.aperture / apex.aperture) == pytest.approx(0, abs=0.05)


@pytest.mark.parametrize("bias", [(-99, 50), (-1, 3), (0, 1), (7, 10), (3, 1)])
def test_exposure_bias_is_in_apex_units(bias):
    """A bias of +1 opened the camera by a stop more than it metered, so the light is a stop more than the settings say."""
    plain, biased = photo(FIGURES), photo(FIGURES | {TAG.ExposureBiasValue: ("SRATIONAL", [bias])})
    light = [from_photo(found.aperture, found.shutter, found.iso, found.bias).ev100 for found in (plain, biased)]
    assert light[1] - light[0] == pytest.approx(bias[0] / bias[1])


# The resulting values of Flash as the standard lists them: fired, and not.
FIRED = [0x01, 0x05, 0x07, 0x09, 0x0D, 0x0F, 0x19, 0x1D, 0x1F, 0x41, 0x45, 0x47, 0x49, 0x4D, 0x4F, 0x59, 0x5D, 0x5F]
DID_NOT_FIRE = [0x00, 0x10, 0x18, 0x20]


@pytest.mark.parametrize("value", FIRED)
def test_flash_that_fired(value):
    """Bit 0: the light of such a photo is the flash's."""
    with pytest.raises(Unclear, match="The flash fired"):
        photo(FIGURES | {TAG.Flash: ("SHORT", [value])})


@pytest.mark.parametrize("value", DID_NOT_FIRE)
def test_flash_that_did_not_fire(value):
    """Off, suppressed, automatic and not needed, or none at all."""
    assert photo(FIGURES | {TAG.Flash: ("SHORT", [value])}) == photo(FIGURES)


# SensitivityType: which of the three PhotographicSensitivity is. Exif 2.3, as exiv2.org lists it.
SOS, REI, SPEED = TAG.StandardOutputSensitivity, TAG.RecommendedExposureIndex, TAG.ISOSpeed


@pytest.mark.parametrize(
    ("kind", "named"),
    [
        (1, [SOS]),
        (2, [REI]),
        (3, [SPEED]),
        (4, [SOS, REI]),
        (5, [SOS, SPEED]),
        (6, [REI, SPEED]),
        (7, [SOS, REI, SPEED]),
    ],
)
def test_sensitivity_above_65535_is_in_the_tag_that_its_type_names(kind, named):
    """PhotographicSensitivity has two bytes and says 65535 for whatever is more; the tags that are named say the same."""
    tags = {TAG.ISOSpeedRatings: ("SHORT", [65535]), TAG.SensitivityType: ("SHORT", [kind])}
    others = {tag: ("LONG", [1]) for tag in (SOS, REI, SPEED) if tag not in named}
    assert photo(FIGURES | tags | others | {tag: ("LONG", [102_400]) for tag in named}).iso == 102_400


def test_times_are_local_with_an_offset_and_gps_is_utc():
    """DateTimeOriginal is the camera's clock, OffsetTimeOriginal its distance from UTC; GPS has UTC. One moment."""
    clock = {TAG.DateTimeOriginal: ("ASCII", "2026:06:20 14:03:10"), TAG.OffsetTimeOriginal: ("ASCII", "+02:00")}
    gps = {
        ExifTags.GPS.GPSDateStamp: ("ASCII", "2026:06:20"),
        ExifTags.GPS.GPSTimeStamp: ("RATIONAL", [(12, 1), (3, 1), (10, 1)]),
    }
    by_clock, by_gps = (read_photo(jpeg(packed(FIGURES | tags, fix))).taken for tags, fix in ((clock, {}), ({}, gps)))
    assert by_clock == by_gps
    assert (by_clock.utcoffset(), by_gps.tzinfo) == (timedelta(hours=2), UTC)


def test_a_place_is_degrees_minutes_and_seconds_with_the_letter_of_its_half():
    """South and west are below zero."""
    place = {
        ExifTags.GPS.GPSLatitudeRef: ("ASCII", "S"), ExifTags.GPS.GPSLatitude: ("RATIONAL", [(33, 1), (51, 1), (2412, 100)]),
        ExifTags.GPS.GPSLongitudeRef: ("ASCII", "W"), ExifTags.GPS.GPSLongitude: ("RATIONAL", [(70, 1), (30, 1), (0, 1)]),
    }  # fmt: skip
    found = read_photo(jpeg(packed(FIGURES, place)))
    assert found.latitude == pytest.approx(-(33 + 51 / 60 + 24.12 / 3600))
    assert found.longitude == -70.5


def test_focal_length_is_of_the_lens_itself():
    """In mm, and no conversion to that of another format: FocalLengthIn35mmFilm is another tag."""
    tags = {TAG.FocalLength: ("RATIONAL", [(679, 100)]), TAG.FocalLengthIn35mmFilm: ("SHORT", [24])}
    assert photo(FIGURES | tags).focal_mm == 6.79
