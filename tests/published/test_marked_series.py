"""
The marked numbers of apertures, shutters and speeds against the exact series they stand for.

Sources
- ISO 517:2008 fixes the designations; its table was not read. The engraved third-stop and half-stop series up to f/22:
  the encyclopedic article "F-number" and the f-stop table of kameraarkasi.org. From f/25 on the marks come from
  memory: for those only what the definition makes of the number is checked, not that it is engraved so.
- Shutter marks: whole stops as the Exif 2.2 specification lists them, the thirds between from a published shutter
  speed chart (whole, half and third stops side by side).
- Speeds: ISO 12232 and ISO 5800; the pairs of arithmetic and logarithmic speed (100/21) from so-fo.de, topic 21865,
  with S = 10^((degrees - 1)/10) of ISO 6:1993 from GNU Units 2.22.

The exact values, and how far a mark is from its own, are calculations from the definitions 2^(i/6), 2^(j/4), 2^(-m/3)
and 100 2^(k/3), printed to four places.
"""

from __future__ import annotations

import math
from itertools import combinations

import pytest

from server.exposure.light import from_camera
from server.exposure.scales import (
    aperture_position,
    clicks_between,
    exact_f_number,
    exact_iso,
    f_number_at,
    iso_position,
    marked_f_number,
    shutter_time,
)

# Position, mark, exact f-number: the third-stop series as engraved, f/1 to f/22.
# fmt: off
THIRDS = [
    (0, 1.0, 1.0000), (1, 1.1, 1.1225), (2, 1.2, 1.2599), (3, 1.4, 1.4142), (4, 1.6, 1.5874), (5, 1.8, 1.7818),
    (6, 2.0, 2.0000), (7, 2.2, 2.2449), (8, 2.5, 2.5198), (9, 2.8, 2.8284), (10, 3.2, 3.1748), (11, 3.5, 3.5636),
    (12, 4.0, 4.0000), (13, 4.5, 4.4898), (14, 5.0, 5.0397), (15, 5.6, 5.6569), (16, 6.3, 6.3496),
    (17, 7.1, 7.1272), (18, 8, 8.0000), (19, 9, 8.9797), (20, 10, 10.0794), (21, 11, 11.3137), (22, 13, 12.6992),
    (23, 14, 14.2544), (24, 16, 16.0000), (25, 18, 17.9594), (26, 20, 20.1587), (27, 22, 22.6274),
]
# From memory as marks: what stands beside them is the definition's, 2^(i/6).
THIRDS_BEYOND = [
    (28, 25, 25.3984), (29, 29, 28.5088), (30, 32, 32.0000), (31, 36, 35.9188), (32, 40, 40.3175),
    (33, 45, 45.2548), (34, 51, 50.7968), (35, 57, 57.0175), (36, 64, 64.0000),
]
# Position, mark, exact f-number of the half-stop series, 2^(j/4), f/1 to f/22.
HALVES = [
    (0, 1.0, 1), (1, 1.2, 1.189), (2, 1.4, 1.414), (3, 1.7, 1.682), (4, 2, 2), (5, 2.4, 2.378), (6, 2.8, 2.828),
    (7, 3.3, 3.364), (8, 4, 4), (9, 4.8, 4.757), (10, 5.6, 5.657), (11, 6.7, 6.727), (12, 8, 8), (13, 9.5, 9.514),
    (14, 11, 11.314), (15, 13, 13.454), (16, 16, 16), (17, 19, 19.027), (18, 22, 22.627),
]
# Full stops: encyclopedic "F-number".
WHOLES = [0.7, 1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32, 45, 64, 90, 128]
# Mark [s], m of the exact time 2^(-m/3), and log2(exact/mark) in stops.
SHUTTERS = [
    (30, -15, 0.093), (15, -12, 0.093), (13, -11, -0.034), (10, -10, 0.011), (8, -9, 0), (6, -8, 0.082),
    (5, -7, 0.011), (4, -6, 0), (2.5, -4, 0.011), (2, -3, 0), (1.3, -1, -0.045), (1, 0, 0), (0.8, 1, -0.011),
    (0.6, 2, 0.070), (0.5, 3, 0), (0.3, 5, 0.070), (1 / 4, 6, 0), (1 / 5, 7, -0.011), (1 / 6, 8, -0.082),
    (1 / 8, 9, 0), (1 / 10, 10, -0.011), (1 / 13, 11, 0.034), (1 / 15, 12, -0.093), (1 / 20, 13, -0.011),
    (1 / 25, 14, -0.023), (1 / 30, 15, -0.093), (1 / 40, 16, -0.011), (1 / 50, 17, -0.023), (1 / 60, 18, -0.093),
    (1 / 80, 19, -0.011), (1 / 100, 20, -0.023), (1 / 125, 21, -0.034), (1 / 160, 22, -0.011),
    (1 / 200, 23, -0.023), (1 / 250, 24, -0.034), (1 / 320, 25, -0.011), (1 / 400, 26, -0.023),
    (1 / 500, 27, -0.034), (1 / 640, 28, -0.011), (1 / 1000, 30, -0.034), (1 / 2000, 33, -0.034),
    (1 / 4000, 36, -0.034), (1 / 6400, 38, -0.023), (1 / 8000, 39, -0.034),
]
# Arithmetic speed and degrees, as printed in pairs. 0.8/0 is left out: ISO 1 is the lowest that we take.
SPEEDS = [
    (1, 1), (1.25, 2), (1.6, 3), (2, 4), (2.5, 5), (3, 6), (4, 7), (5, 8), (6, 9), (8, 10), (10, 11), (12, 12),
    (16, 13), (20, 14), (25, 15), (32, 16), (40, 17), (50, 18), (64, 19), (80, 20), (100, 21), (125, 22), (160, 23),
    (200, 24), (250, 25), (320, 26), (400, 27), (500, 28), (640, 29), (800, 30), (1000, 31), (1250, 32), (1600, 33),
    (2000, 34), (2500, 35), (3200, 36), (4000, 37), (5000, 38), (6400, 39), (8000, 40), (10000, 41), (12500, 42),
    (12800, 42), (25000, 45), (25600, 45), (50000, 48), (51200, 48),
]
# log2(mark/exact) of a speed in stops, by 100 2^(k/3).
SPEED_ERRORS = [
    (12, -0.059), (16, 0.023), (20, 0.011), (25, 0), (32, 0.023), (50, 0), (64, 0.023), (80, 0.011), (125, -0.011),
    (160, 0.011), (250, -0.011), (320, 0.011), (500, -0.011), (640, 0.011), (1000, -0.011), (1250, -0.023),
    (2000, -0.011), (2500, -0.023), (4000, -0.011), (5000, -0.023), (12500, -0.034), (12800, 0), (25000, -0.034),
    (51200, 0),
]
# fmt: on


@pytest.mark.parametrize(("position", "mark", "exact"), THIRDS)
def test_iso_517_third_stop_marks(position, mark, exact):
    """Each engraved third-stop mark is read as its own position, stands for its exact number and is written back."""
    assert aperture_position(mark, 3) == position
    assert exact_f_number(mark) == pytest.approx(exact, abs=5e-5)
    assert f_number_at(position, 3) == pytest.approx(exact, abs=5e-5)
    assert marked_f_number(position, 3) == mark


@pytest.mark.parametrize(("position", "number", "exact"), THIRDS_BEYOND)
def test_iso_517_definition_beyond_f_22(position, number, exact):
    """Whatever is engraved past f/22, these numbers belong to these positions by the definition 2^(i/6)."""
    assert aperture_position(number, 3) == position
    assert exact_f_number(number) == pytest.approx(exact, abs=5e-5)


def test_clicks_between_any_two_third_stop_marks():
    """Clicks are counted on positions: between two marks lie as many as the series has steps."""
    for (first, n, _), (second, to, _) in combinations(THIRDS, 2):
        assert clicks_between(n, to, 3) == clicks_between(to, n, 3) == second - first


@pytest.mark.parametrize(("marked", "stops"), [(3.2, 1 / 3), (3.5, 2 / 3), (4, 1)])
def test_thirds_below_f_2_8(marked, stops):
    """Encyclopedic "F-number": one third below f/2.8 is f/3.2, two thirds f/3.5, one stop f/4."""
    assert clicks_between(2.8, marked, 3) == 3 * stops
    assert 2 * math.log2(exact_f_number(marked) / exact_f_number(2.8)) == pytest.approx(stops)


@pytest.mark.parametrize(("position", "mark", "exact"), HALVES)
def test_iso_517_half_stop_marks(position, mark, exact):
    """Each engraved half-stop mark is read as its own position, stands for its exact number and is written back."""
    assert aperture_position(mark, 2) == position
    assert exact_f_number(mark, 2) == pytest.approx(exact, abs=5e-4)
    assert marked_f_number(position, 2) == mark


@pytest.mark.parametrize(("mark", "in_thirds", "in_halves"), [(1.2, 1.260, 1.189), (13, 12.70, 13.45)])
def test_a_mark_means_what_its_dial_means(mark, in_thirds, in_halves):
    """The same engraving stands for different numbers on a third-stop and on a half-stop dial."""
    assert exact_f_number(mark, 3) == pytest.approx(in_thirds, abs=5e-3)
    assert exact_f_number(mark, 2) == pytest.approx(in_halves, abs=5e-3)


@pytest.mark.parametrize("clicks", [1, 2, 3, 10])
def test_full_stop_series_counts_whole_stops_on_every_dial(clicks):
    """From one full-stop mark to the next is one stop of clicks, whatever the dial."""
    positions = [aperture_position(mark, clicks) for mark in WHOLES]
    assert positions == [clicks * stop for stop in range(-1, 15)]


@pytest.mark.parametrize(("mark", "m", "error"), SHUTTERS)
def test_shutter_marks(mark, m, error):
    """A marked shutter belongs to its own third-stop, and is as far from the exact time as calculated."""
    thirds = 3 * from_camera(1, mark, 100).ev100
    assert round(thirds) == m
    assert (thirds - m) / 3 == pytest.approx(error, abs=6e-4)


@pytest.mark.parametrize("seconds", [1 / 48, 1 / 50, 1 / 60, 1 / 125])
def test_a_shutter_is_taken_as_given(seconds):
    """Video cameras run the marked time: 1/50 s is not the 1/50.8 s that a third-stop series would have."""
    assert shutter_time(seconds) == seconds
    assert from_camera(1, seconds, 100).ev100 == pytest.approx(-math.log2(seconds))


@pytest.mark.parametrize(("iso", "degrees"), SPEEDS)
def test_iso_5800_speeds_and_degrees(iso, degrees):
    """One degree of the logarithmic scale is one position of ours; ISO 100/21 is where we count from."""
    assert iso_position(iso) == degrees - 21
    assert iso_position(10 ** ((degrees - 1) / 10)) == degrees - 21


@pytest.mark.parametrize(("iso", "error"), SPEED_ERRORS)
def test_exact_speed_behind_a_mark(iso, error):
    """A marked speed counts by its exact value, which is as far away as calculated."""
    assert math.log2(iso / exact_iso(iso)) == pytest.approx(error, abs=6e-4)
