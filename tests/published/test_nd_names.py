"""
What neutral grey filters are called.

Sources
- The naming table of the encyclopedic article "Neutral-density filter": for each filter its one-hundreds name, its
  density, its factor and its stops. ND1024 is also called ND1000 there.
- camera-wiki.org, "Neutral density filter", Table 1: thirds of a stop by density. Its last cell, 4.0 D as 13 stops, is
  rounded to a whole stop: 4.0 D is 13.29 stops, and 13 1/3 is the nearest third (calculated). The same table has the
  labels NDx2, NDx4, NDx8, and ND3 for a 3.0 D.
- photo.stackexchange question 71790: ND 2.0 is 6 2/3 stops. Question 30135: someone takes ND2, ND4 and ND8 for filters
  of 2, 4 and 8 stops.
- The forms ND*8, 0.9ND and 3-stop, and that a bare "ND 6" or "ND 12" is sold as tenths of a density and as stops:
  common practice, no source.
"""

from __future__ import annotations

import math

import pytest

from server.exposure.notation import readings, unambiguous, written

# fmt: off
# Encyclopedic "Neutral-density filter": one-hundreds name, density, factor, stops.
NAMED = [
    (101, 0.3, 2, 1), (102, 0.6, 4, 2), (103, 0.9, 8, 3), (104, 1.2, 16, 4), (105, 1.5, 32, 5), (106, 1.8, 64, 6),
    (107, 2.1, 128, 7), (108, 2.4, 256, 8), (109, 2.7, 512, 9), (110, 3.0, 1024, 10), (111, 3.3, 2048, 11),
    (112, 3.6, 4096, 12), (113, 3.9, 8192, 13),
]
# camera-wiki.org, Table 1: density, and its stops as a label would have them, with both ways to write a fraction.
THIRDS = [
    (0.1, "1/3", "⅓"), (0.2, "2/3", "⅔"), (0.3, "1", "1"), (0.4, "1 1/3", "1⅓"), (0.5, "1 2/3", "1⅔"), (0.6, "2", "2"),
    (0.7, "2 1/3", "2⅓"), (0.8, "2 2/3", "2⅔"), (0.9, "3", "3"), (1.0, "3 1/3", "3⅓"), (1.8, "6", "6"),
    (2.0, "6 2/3", "6⅔"), (3.0, "10", "10"), (4.0, "13 1/3", "13⅓"),
]
# fmt: on


@pytest.mark.parametrize(("hundreds", "density", "factor", "stops"), NAMED)
def test_every_name_of_the_table_is_the_density_beside_it(hundreds, density, factor, stops):
    """Whichever of its four names is engraved on a filter, it is read as the density of its row, exactly."""
    names = (f"ND {hundreds}", f"ND {density}", f"ND{factor}", f"{factor}x", f"NDx{factor}", f"{stops} stops")
    assert {name: readings(name)[0].density for name in names} == dict.fromkeys(names, density)


@pytest.mark.parametrize(("hundreds", "density", "factor", "stops"), NAMED)
def test_names_of_the_table_are_told_apart_by_their_form(hundreds, density, factor, stops):
    """The hundreds and the stops are stops, a number with a point is a density, a doubling is a factor."""
    said = [readings(name)[0] for name in (f"ND {hundreds}", f"ND {density}", f"ND{factor}", f"{stops} stops")]
    assert [(meant.notation, meant.value) for meant in said] == [
        ("stops", stops),
        ("density", density),
        ("factor", factor),
        ("stops", stops),
    ]


@pytest.mark.parametrize(("hundreds", "density", "factor", "stops"), NAMED)
def test_filters_of_the_table_are_written_by_its_names(hundreds, density, factor, stops):
    """A density is written as the name of its row; the factor of 3.0 as ND1000, the name that it is sold by."""
    assert written(density, "density") == f"{density:.1f}"
    assert written(density, "factor") == ("ND1000" if factor == 1024 else f"ND{factor}")
    assert written(density, "stops") == ("1 stop" if stops == 1 else f"{stops} stops")


def test_nd400_and_nd1000():
    """The table's two odd rows: ND400 is a 2.6 of 8 2/3 stops, ND1000 is what ND1024 is sold as."""
    assert [readings(name)[0].density for name in ("ND400", "ND 400", "8 2/3 stops")] == [2.6] * 3
    assert [written(2.6, notation) for notation in ("density", "factor", "stops")] == ["2.6", "ND400", "8⅔ stops"]
    assert [readings(name)[0].density for name in ("ND1000", "1000x", "ND1024")] == [3.0] * 3


@pytest.mark.parametrize(("density", "plain", "sign"), THIRDS)
def test_thirds_of_a_stop_are_the_tenths_of_the_density(density, plain, sign):
    """Stops in thirds, however the fraction is written, are the density in tenths beside them; and back."""
    assert readings(f"{plain} stops")[0].density == density
    assert readings(f"{sign} stops")[0].density == density
    assert readings(f"+{sign}")[0].density == density
    assert written(density, "stops") == f"{sign} {'stop' if density <= 0.3 else 'stops'}"


def test_71790_a_point_makes_it_a_density():
    """ND 2.0 is 6 2/3 stops; ND 2 is one stop."""
    assert unambiguous("ND 2.0") == readings("2.0")[0]
    assert (unambiguous("ND 2.0").notation, unambiguous("ND 2.0").density) == ("density", 2.0)
    assert readings("6⅔ stops")[0].density == 2.0
    assert (readings("ND 2")[0].notation, readings("ND 2")[0].density) == ("factor", 0.3)


@pytest.mark.parametrize(("name", "density", "as_stops"), [("ND2", 0.3, 0.6), ("ND4", 0.6, 1.2), ("ND8", 0.9, 2.4)])
def test_30135_small_factors_that_are_taken_for_stops(name, density, as_stops):
    """ND2, ND4 and ND8 are factors first; that somebody means stops by them is not settled without asking."""
    assert [(meant.notation, meant.density) for meant in readings(name)] == [("factor", density), ("stops", as_stops)]
    assert unambiguous(name) is None


def test_100_is_a_factor_and_102_is_two_stops():
    """The one-hundreds naming begins at 101; ND100 is a hundredth of the light, 2.0 D by definition."""
    assert (unambiguous("ND 100").notation, unambiguous("ND 100").density) == ("factor", 2.0)
    assert (unambiguous("ND 102").notation, unambiguous("ND 102").density) == ("stops", 0.6)


def test_nd3_is_sold_as_three_densities():
    """ND3 is 3.0 D in camera-wiki's table; 0.3 D and 3 stops by common practice: all are offered."""
    assert {0.3, 0.9, 3.0} <= {meant.density for meant in readings("ND3")}


# Common practice, no source.
@pytest.mark.parametrize(("name", "tenths", "stops"), [("ND 6", 0.6, 1.8), ("ND 12", 1.2, 3.6), ("ND9", 0.9, 2.7)])
def test_tenths_without_their_point(name, tenths, stops):
    """ND 6 may be a 0.6, six stops or a factor of 6 (log10 6 = 0.778): the page asks, and offers them in this order."""
    factor = math.log10(int(name[2:]))
    assert [meant.density for meant in readings(name)] == pytest.approx([tenths, stops, factor])
    assert unambiguous(name) is None


# Common practice, no source; NDx8 is camera-wiki's.
# fmt: off
THREE_STOPS = [
    "0.9", ".9", "0,9", ",9", "ND0.9", "ND .9", "ND.9", "nd 0,9", "0.9 ND", "0.9ND", "0.9D", "D 0.9", "OD0.9",
    "ND 0.9D", "IRND 0.9", "IR ND 0.9", "ND09", "8x", "8 X", "x8", "×8", "8×", "ND x8", "ND*8", "NDx8", "ND8x",
    "3 stops", "3-stop", "3 stop", "3stops", "3\N{NON-BREAKING HYPHEN}stop", "3\N{NO-BREAK SPACE}STOPS", "ND 3 stops",
    "3-stop ND", "3 f-stops", "3 EV", "+3", "+3 stops", "ND 103", "103", "ND-103", "1/8", "ND 1/8", "  ND\t0.9 ",
    "\N{FULLWIDTH DIGIT EIGHT}x", "ND8 (0.9)", "ND 0.9 (3 stops)", "ND8 / 0.9 / 3 stops", "ND8, 3 stops", "8x = 0.9",
]
# fmt: on


@pytest.mark.parametrize("label", THREE_STOPS)
def test_every_label_of_a_three_stop_filter(label):
    """However its maker engraves it, a 0.9 filter is read as one, and nothing is asked."""
    meant = unambiguous(label)
    assert meant is not None
    assert meant.density == 0.9
