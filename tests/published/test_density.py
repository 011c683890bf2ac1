"""
Filters' densities, transmittances and stops.

Sources
- ISO 5 (photographic density): D = log10(1/T); as restated by novaphase.com on stepped ND filters.
- The naming table of the encyclopedic article "Neutral-density filter": densities, filter factors, whole stops, and
  transmittances to the digits printed. Its stops are the marked ones: 0.3 D is 0.9966 stop.
- Thirds of a stop by density: camera-wiki.org, "Neutral density filter", Table 1 (1.8 D and less, 2.0 and 3.0); its
  last cell, 4.0 D as 13 stops, is rounded to a whole stop and left out.
- 0.3 + 0.6 + 0.9 D is a factor of 64: photo.stackexchange question 30135.

Stops to four places are calculations: D log2(10).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.glass import Filter, Holder, stops_of_density
from server.exposure.rig import Body, Kit, Lens, Rig, glass_stops

# Encyclopedic "Neutral-density filter": density, factor, marked stops, transmittance in percent as printed.
# fmt: off
NAMED = [
    (0.3, 2, 1, "50"), (0.6, 4, 2, "25"), (0.9, 8, 3, "12.5"), (1.2, 16, 4, "6.25"), (1.5, 32, 5, "3.125"),
    (1.8, 64, 6, "1.563"), (2.1, 128, 7, "0.781"), (2.4, 256, 8, "0.391"), (2.6, 400, 26 / 3, "0.25"),
    (2.7, 512, 9, "0.195"), (3.0, 1024, 10, "0.098"), (3.3, 2048, 11, "0.049"), (3.6, 4096, 12, "0.024"),
    (3.9, 8192, 13, "0.012"),
]
# Calculated, D log2(10), to four places.
STOPS = [
    (0.1, 0.3322), (0.2, 0.6644), (0.3, 0.9966), (0.4, 1.3288), (0.5, 1.6610), (0.6, 1.9932), (0.7, 2.3253),
    (0.75, 2.4914), (0.8, 2.6575), (0.9, 2.9897), (1.0, 3.3219), (1.2, 3.9863), (1.35, 4.4846), (1.5, 4.9829),
    (1.6, 5.3151), (1.8, 5.9795), (2.0, 6.6439), (2.1, 6.9760), (2.4, 7.9726), (2.6, 8.6370), (2.7, 8.9692),
    (3.0, 9.9658), (3.3, 10.9624), (3.6, 11.9589), (4.0, 13.2877), (5.0, 16.6096),
]
# camera-wiki.org, Table 1: density, thirds of a stop.
THIRDS = [
    (0.1, 1), (0.2, 2), (0.3, 3), (0.4, 4), (0.5, 5), (0.6, 6), (0.7, 7), (0.8, 8), (0.9, 9), (1.0, 10), (1.8, 18),
    (2.0, 20), (3.0, 30),
]
# fmt: on


@pytest.mark.parametrize(("density", "passes"), [(0.3, 0.5012), (0.6, 0.2512), (1.8, 0.01585), (3.0, 0.001)])
def test_iso_5_density_gives_the_transmittance_of_its_definition(density, passes):
    """Stops worked out from a density dim the light exactly as much as 10^-D, to four digits."""
    assert 2.0 ** -float(stops_of_density(density)) == pytest.approx(passes, rel=2e-4)


@given(st.floats(0, 6))
def test_iso_5_definition_at_any_density(density):
    """Halving by as many stops as a filter takes leaves 10^-D of the light."""
    assert 2.0 ** -float(stops_of_density(density)) == pytest.approx(10.0**-density, rel=1e-12)


@pytest.mark.parametrize(("density", "stops"), STOPS)
def test_stops_of_a_density_to_four_places(density, stops):
    """Sums use exact stops, not the marked rule of 0.3 D a stop."""
    assert float(stops_of_density(density)) == pytest.approx(stops, abs=5.1e-5)


@pytest.mark.parametrize(("density", "factor", "stops", "percent"), NAMED)
def test_named_filters(density, factor, stops, percent):
    """A filter named in the trade takes the stops of its name, to 0.06 stop by which names are rounded."""
    ours = float(stops_of_density(density))
    assert ours == pytest.approx(stops, abs=0.06)
    assert ours == pytest.approx(math.log2(factor), abs=0.06)
    half = 0.5 * 10.0 ** -len(percent.partition(".")[2])
    passes = 100 * 2.0**-ours
    assert passes == pytest.approx(float(percent), abs=half + 0.05 * float(percent))  # 4 % in a factor of 1024 for 1000


@pytest.mark.parametrize(("density", "thirds"), THIRDS)
def test_nearest_third_of_a_stop_by_density(density, thirds):
    """To the nearest third of a stop, a density is what the published table says."""
    assert round(3 * float(stops_of_density(density))) == thirds


# Calculated: log2 of the factor, for factors whose density is a plain number.
@pytest.mark.parametrize(("factor", "density", "stops"), [(100, 2, 6.6439), (1000, 3, 9.9658), (10000, 4, 13.2877)])
def test_factors(factor, density, stops):
    """A factor of 10^D is D, and log2 of it in stops."""
    assert float(stops_of_density(math.log10(factor))) == pytest.approx(float(stops_of_density(density)))
    assert math.log2(factor) == pytest.approx(float(stops_of_density(density)))
    assert float(stops_of_density(density)) == pytest.approx(stops, abs=5.1e-5)


def three_on_the_lens(densities: tuple[float, ...], built_in: float = 0, loss_stops: float = 0) -> float:
    kit = Kit(
        Body(3, (100,), (100,), (0.02,), built_in_nd=(built_in,)),
        Lens(1.8, 16, 77, loss_stops),
        Holder(100, 4, (77,)),
        tuple(Filter(f"plate {n}", "slot", density) for n, density in enumerate(densities)),
    )
    plates = tuple(f.id for f in kit.filters)
    return glass_stops(kit, Rig(True, plates, (), built_in, 2.8, 0.02, 100))


def test_densities_add_to_a_factor_of_64():
    """photo.stackexchange 30135: 0.3, 0.6 and 0.9 together pass one part in 64, 6 stops to the names' rounding."""
    together = three_on_the_lens((0.3, 0.6, 0.9))
    assert together == pytest.approx(math.log2(64), abs=0.06)
    assert 2.0**-together == pytest.approx(10.0**-1.8)


@given(st.lists(st.floats(0, 6), max_size=4), st.floats(0, 7), st.floats(0, 2))
def test_transmittances_multiply(densities, built_in, loss_stops):
    """What passes all the glass is the product of what passes each; built-in steps and the lens's loss are in stops."""
    together = three_on_the_lens(tuple(densities), built_in, loss_stops)
    passes = math.prod(10.0**-density for density in densities) * 2.0**-built_in * 2.0**-loss_stops
    assert 2.0**-together == pytest.approx(passes, rel=1e-9)


def test_a_whole_pouch_at_once():
    """Any shape goes in and comes out, so that a pouch of filters is one call."""
    pouch = np.array([[0.3, 0.6, 0.9], [1.2, 1.8, 3.0]])
    expected = [[0.9966, 1.9932, 2.9897], [3.9863, 5.9795, 9.9658]]  # the calculated table above
    np.testing.assert_allclose(stops_of_density(pouch), expected, atol=5.1e-5)
