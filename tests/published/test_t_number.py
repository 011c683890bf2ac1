"""
T-numbers, and how sure a measured filter is.

Sources
- T = N/sqrt(transmission): the encyclopedic article "F-number", T-stop. Its example, f/2.0 that passes 75 %, is T2.309;
  a photographic dictionary (idigitalphoto.com) has f/4 that passes 50 % as T5.6.
- Stops of a transmission, -log2 of it, and the T-numbers of further lenses: calculations, to four figures. A marked
  f-number stands for its exact one (ISO 517): f/2.8 is 2.8284, so the T-number of 80 % is 3.162 and not 2.8/sqrt 0.8.
- JCGM 100:2008 (GUM), "Guide to the expression of uncertainty in measurement": F.2.2.1, an indication with steps of d
  has a standard uncertainty of 0.29 d; 4.3.7, a rectangle of half-width a has a/sqrt 3; 5.1.2, independent ones combine
  in quadrature; 6.2.1, the expanded uncertainty is k times that. What a third of a stop gives is worked by hand.
"""

from __future__ import annotations

import math

import pytest

from server.exposure.measuring import combined, density_of, loss_of_t_number, transmission_of

# Share of the light, stops: -log2.
LOSSES = [(0.75, 0.4150), (0.80, 0.3219), (0.85, 0.2345), (0.90, 0.1520), (0.50, 1.0)]


def test_f2_that_passes_three_quarters_is_t2_309():
    """The encyclopedia's example, by its own digits: T2.309 on an f/2.0 loses 0.415 stop and passes 75 %."""
    loss = loss_of_t_number(2.0, 2.309)
    assert loss == pytest.approx(0.4150, abs=5e-4)  # 2.309 is rounded: half a digit is 0.0006 stop
    assert transmission_of(loss) == pytest.approx(0.75, abs=5e-4)


def test_f4_that_passes_half_is_t5_6():
    """The dictionary's example: both are marks, so it is exactly one stop and one half."""
    assert loss_of_t_number(4, 5.6) == pytest.approx(1)
    assert transmission_of(loss_of_t_number(4, 5.6)) == pytest.approx(0.5)


@pytest.mark.parametrize(("share", "stops"), LOSSES)
def test_transmission_of_a_loss(share, stops):
    """Stops lost are the transmission's logarithm to base 2, to four places."""
    assert transmission_of(stops) == pytest.approx(share, rel=4e-5)  # 0.00005 stop is 0.0035 %


# Marked f-number, share, T-number: exact N (1.4142, 2.8284, 1.7818) over the root of the share, calculated.
@pytest.mark.parametrize(("n", "share", "t"), [(1.4, 0.90, 1.4907), (2.8, 0.80, 3.1623), (1.8, 0.85, 1.9326)])
def test_marked_f_numbers_stand_for_exact_ones(n, share, t):
    """The loss between a marked f-number and a T-number counts from the exact f-number."""
    assert transmission_of(loss_of_t_number(n, t)) == pytest.approx(share, rel=1e-4)


def test_gum_f_2_2_1_rounding_to_steps():
    """One reading in steps of d is uncertain by 0.29 d; the difference of two by the root of two more."""
    for step in (0.1, 1 / 3, 1 / 2, 1):
        assert density_of(12, 9, step).stops_uncertainty / math.sqrt(2) == pytest.approx(0.29 * step, rel=0.005)


def test_gum_4_3_7_and_5_1_2_by_hand_for_a_third_of_a_stop():
    """
    Half-width 1/6, so each reading has 1/6/1.7321 = 0.09623; two: sqrt(2 x 0.009259) = 0.13608 stop, 0.04096 D; k = 2
    makes 0.27217 stop.
    """
    taken = density_of(12, 9, 1 / 3)
    assert taken.stops_uncertainty == pytest.approx(0.13608, abs=5e-6)
    assert taken.density_uncertainty == pytest.approx(0.04096, abs=5e-6)
    assert taken.expanded == pytest.approx(0.27217, abs=1e-5)


def test_gum_5_1_2_mean_of_four_pairs():
    """Four pairs of the same uncertainty halve it: 0.13608/2 = 0.06804."""
    taken = combined([density_of(light, light - 3) for light in (10, 11, 12, 13)])
    assert taken.stops_uncertainty == pytest.approx(0.06804, abs=5e-6)
