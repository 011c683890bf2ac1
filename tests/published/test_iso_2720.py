"""
Light levels against ISO 2720:1974 (K = 12.5 for reflected light, C = 250 for incident light on a flat receptor).

Sources
- ISO 2720:1974: 2^EV = L S/K = E S/C, as quoted in GNU Units 2.22, `definitions.units`, section "Photographic
  Exposure Value", and in the encyclopedic article "Light meter".
- The table "Exposure value vs. luminance and illuminance" (ISO 100, K = 12.5, C = 250) of the encyclopedic article
  "Exposure value". Its foot-lamberts and foot-candles are tested through cd/m2 and lx: 1 fL = 3.4262591 cd/m2
  (GNU Units 2.22), 1 fc = 1 lm/ft2 with a foot of 0.3048 m.
- colour-hdri (with colour-science), an independent implementation, run beside ours.
"""

from __future__ import annotations

import math
import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.light import from_camera, from_ev, from_luminance, from_lux
from server.exposure.scales import f_number_at

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns of plotting parts that are not installed
    import colour_hdri

CANDELAS_PER_FL = 3.4262591  # cd/m2 in a foot-lambert: GNU Units 2.22
LUX_PER_FC = 1 / 0.3048**2  # lx in a foot-candle: lumen per square foot

# Encyclopedic "Exposure value", table of luminance and illuminance: EV, cd/m2, fL, lx, fc, to the digits printed.
# fmt: off
TABLE = [
    (-4, "0.008", "0.0023", "0.156", "0.015"), (-3, "0.016", "0.0046", "0.313", "0.029"),
    (-2, "0.031", "0.0091", "0.625", "0.058"), (-1, "0.063", "0.018", "1.25", "0.116"),
    (0, "0.125", "0.036", "2.5", "0.232"), (1, "0.25", "0.073", "5", "0.465"), (2, "0.5", "0.146", "10", "0.929"),
    (3, "1", "0.292", "20", "1.86"), (4, "2", "0.584", "40", "3.72"), (5, "4", "1.17", "80", "7.43"),
    (6, "8", "2.33", "160", "14.9"), (7, "16", "4.67", "320", "29.7"), (8, "32", "9.34", "640", "59.5"),
    (9, "64", "18.7", "1280", "119"), (10, "128", "37.4", "2560", "238"), (11, "256", "74.7", "5120", "476"),
    (12, "512", "149", "10240", "951"), (13, "1024", "299", "20480", "1903"), (14, "2048", "598", "40960", "3805"),
]
# fmt: on


def span(printed: str) -> tuple[float, float]:
    """The values that are printed so: half a unit of the last digit each way."""
    decimals = len(printed.partition(".")[2])
    half = 0.5 * 10.0**-decimals
    return float(printed) - half, float(printed) + half


@pytest.mark.parametrize(("ev100", "luminance"), [(row[0], row[1]) for row in TABLE])
def test_luminance_table_in_candelas(ev100, luminance):
    """A reading in cd/m2 is the EV that the published table gives it, to the table's digits."""
    low, high = span(luminance)
    assert from_luminance(low).ev100 <= ev100 <= from_luminance(high).ev100


@pytest.mark.parametrize(("ev100", "luminance"), [(row[0], row[2]) for row in TABLE])
def test_luminance_table_in_foot_lamberts(ev100, luminance):
    """A reading in foot-lamberts, turned into cd/m2, is the EV that the published table gives it."""
    low, high = span(luminance)
    assert from_luminance(low * CANDELAS_PER_FL).ev100 <= ev100 <= from_luminance(high * CANDELAS_PER_FL).ev100


@pytest.mark.parametrize(("ev100", "illuminance"), [(row[0], row[3]) for row in TABLE])
def test_illuminance_table_in_lux(ev100, illuminance):
    """A reading in lx is the EV that the published table gives it, to the table's digits."""
    low, high = span(illuminance)
    assert from_lux(low).ev100 <= ev100 <= from_lux(high).ev100


@pytest.mark.parametrize(("ev100", "illuminance"), [(row[0], row[4]) for row in TABLE])
def test_illuminance_table_in_foot_candles(ev100, illuminance):
    """A reading in foot-candles, turned into lx, is the EV that the published table gives it."""
    low, high = span(illuminance)
    assert from_lux(low * LUX_PER_FC).ev100 <= ev100 <= from_lux(high * LUX_PER_FC).ev100


@pytest.mark.parametrize(
    ("came", "ev100"),
    [
        (from_luminance(4096), 15),  # GNU Units 2.22: ev100(15) is 4096 cd/m^2
        (from_lux(81920), 15),  # GNU Units 2.22: iv100(15) is 81920 lx
        (from_luminance(3200), 14.643856),  # GNU Units text: ~Av(16) + ~Tv(1|100 s), a scene of 3200 cd/m^2
    ],
)
def test_gnu_units_single_points(came, ev100):
    """The points that GNU Units works out from the standard's own relations."""
    assert came.ev100 == pytest.approx(ev100, abs=5e-7)


def test_sunny_16_at_iso_125_is_3200_candelas():
    """ANSI PH3.49, as quoted on photrio.com (thread 135325): f/16 and 1/125 s at ISO 125 suit 3200 cd/m2."""
    # ISO 125 stands for 100 2^(1/3) = 125.99 (0.011 stop); nothing else is rounded.
    assert from_camera(16, 1 / 125, 125).ev100 == pytest.approx(from_luminance(3200).ev100, abs=0.012)


@given(st.floats(1e-4, 1e9))
def test_colour_hdri_has_the_same_ev_for_a_luminance(luminance):
    """An independent implementation agrees on reflected light, K = 12.5."""
    theirs = colour_hdri.luminance_to_exposure_value(luminance, 100, k=12.5)
    assert from_luminance(luminance).ev100 == pytest.approx(float(theirs), abs=1e-9)


@given(st.floats(1e-2, 1e9))
def test_colour_hdri_has_the_same_ev_for_an_illuminance(illuminance):
    """An independent implementation agrees on incident light, C = 250."""
    theirs = colour_hdri.illuminance_to_exposure_value(illuminance, 100, c=250)
    assert from_lux(illuminance).ev100 == pytest.approx(float(theirs), abs=1e-9)


@given(st.floats(0.01, 1e5), st.integers(-2, 9))
def test_colour_hdri_has_the_same_ev_at_another_iso(luminance, stops):
    """A meter that is set to another ISO shows another EV for the same light; ours takes that back."""
    iso = 100.0 * 2.0**stops
    shown = float(colour_hdri.luminance_to_exposure_value(luminance, iso, k=12.5))
    assert from_ev(shown, iso=iso).ev100 == pytest.approx(from_luminance(luminance).ev100, abs=1e-9)


@given(st.integers(-3, 30), st.integers(-15, 30), st.integers(-3, 30))
def test_colour_hdri_has_the_same_light_for_camera_settings(iris, shutter, iso):
    """The light for which settings are right is the light that an independent implementation finds for them."""
    n, t, s = f_number_at(iris, 3), 2.0 ** (-shutter / 3), 100 * 2.0 ** (iso / 3)
    ours = from_camera(n, t, s).ev100
    candelas = float(colour_hdri.average_luminance(n, t, s, 12.5))
    lux = float(colour_hdri.average_illuminance(n, t, s, 250))
    # Not our from_luminance: 0.125 cd/m2 and 2.5 lx are EV 0 by the published table, and light doubles with each EV.
    assert ours == pytest.approx(math.log2(candelas / 0.125), abs=1e-9)
    assert ours == pytest.approx(math.log2(lux / 2.5), abs=1e-9)
