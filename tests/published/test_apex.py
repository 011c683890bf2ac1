"""
Camera settings as a light meter, against APEX.

Sources
- APEX (ASA PH2.5-1960, PH2.12-1961): Av = log2 N^2, Tv = log2 1/t, Sv = log2(n S), Ev = Av + Tv = Bv + Sv; as
  restated in GNU Units 2.22, `definitions.units`, section "Photographic Exposure Value". With Exif's n = 1/3.125,
  ISO 100 is Sv 5.
- Single points from the text of that section, and from running `units` on it.
- EV of nominal settings: the encyclopedic article "Exposure value", its pairs and its Table 1. Marks are rounded
  (1/60 s stands for 1/64 s), so each may differ by 0.13 stop from a whole EV.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.light import from_camera, from_luminance
from server.exposure.scales import exact_iso, f_number_at, iso_position

NOMINAL = 0.13  # stops between nominal marks and the whole EV that they stand for


@pytest.mark.parametrize(
    ("n", "seconds", "ev"),
    [
        (16, 1 / 100, 14.643856),  # units: ~Av(16) + ~Tv(1|100 s)
        (1, 60, -5.9068906),  # GNU Units text: Tv of 60 s
    ],
)
def test_gnu_units_single_points(n, seconds, ev):
    """Aperture and time values add up to the exposure values that GNU Units prints."""
    assert from_camera(n, seconds, 100).ev100 == pytest.approx(ev, abs=5e-7)


def test_gnu_units_av_7():
    """units: Av(7) is f/11.313708."""
    assert f_number_at(7 * 3, 3) == pytest.approx(11.313708, abs=5e-7)


def test_gnu_units_21_degrees_are_iso_100():
    """units: Sdeg(21) is 100, by the logarithmic speed S = 10^((degrees - 1)/10) of ISO 6:1993."""
    assert exact_iso(10 ** ((21 - 1) / 10)) == 100


# Encyclopedic "Exposure value": 1 s at f/1 is EV 0, and the pairs that follow.
@pytest.mark.parametrize(
    ("n", "seconds", "ev"),
    [
        (1, 1, 0),
        (1.4, 1, 1),
        (5.6, 1 / 60, 11),
        (8, 1 / 60, 12),
        (5.6, 1 / 125, 12),
        (8, 1 / 125, 13),
        (5.6, 1 / 250, 13),
        (8, 1 / 250, 14),
        (16, 1 / 2000, 19),
        # Table 1, the row of EV -6, as far as an hour: f/16 (256 min) and f/64 (4096 min) are past what we take.
        (1, 60, -6),
        (2, 4 * 60, -6),
    ],
)
def test_nominal_pairs(n, seconds, ev):
    """Settings as marked are the exposure value that is tabulated for them."""
    assert from_camera(n, seconds, 100).ev100 == pytest.approx(ev, abs=NOMINAL)


# Sv of Exif's n = 1/3.125. 100 and 400: an APEX table (copy at speedylook.com); 125: an Exif vocabulary's note on
# brightnessValue, "5.32". ISO 125 stands for 125.99, which is 0.011 stop more.
@pytest.mark.parametrize(("iso", "sv", "within"), [(100, 5, 1e-9), (400, 7, 1e-9), (125, 5.32, 0.015)])
def test_speed_value_lowers_the_light_that_settings_mean(iso, sv, within):
    """By Bv = Av + Tv - Sv, the same settings at a higher speed value mean that much less light."""
    at_iso_100, at_this = from_camera(4, 1 / 50, 100).ev100, from_camera(4, 1 / 50, iso).ev100
    assert at_iso_100 - at_this == pytest.approx(sv - 5, abs=within)


@given(st.integers(0, 30), st.integers(-6, 30), st.integers(-3, 21))
def test_bv_plus_sv_is_av_plus_tv(iris, shutter, iso):
    """Settings that suit a luminance by Bv + Sv = Av + Tv lead back to that luminance."""
    av, tv, sv = iris / 3, shutter / 3, 5 + iso / 3
    bv = av + tv - sv
    luminance = 2**bv * (1 / 3.125) * 12.5  # Bv = log2(L/(n K))
    ours = from_camera(2 ** (av / 2), 2**-tv, 3.125 * 2**sv).ev100
    assert ours == pytest.approx(from_luminance(luminance).ev100, abs=1e-9)


@given(st.floats(-5, 5), st.floats(0, 20))
def test_filters_and_the_meter_add_to_the_light_that_settings_mean(meter, filter_stops):
    """What the lens's glass takes was there before it; a meter that shows +1 means one stop more than the settings."""
    plain = from_camera(5.6, 1 / 50, 400).ev100
    assert from_camera(5.6, 1 / 50, 400, filter_stops, meter).ev100 == pytest.approx(plain + filter_stops + meter)


def test_iso_positions_are_thirds_of_a_speed_value():
    """Sv counts in stops, positions in thirds from ISO 100: Sv 5 to 11 are the speeds 100 to 6400."""
    assert [iso_position(3.125 * 2.0**sv) for sv in range(5, 12)] == [0, 3, 6, 9, 12, 15, 18]
    assert math.log2(exact_iso(6400) / 3.125) == pytest.approx(11)
