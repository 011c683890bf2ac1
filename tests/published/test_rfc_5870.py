"""RFC 5870, A Uniform Resource Identifier for Geographic Locations ("geo" URI), 2010."""

from __future__ import annotations

import re

import pytest

from server.pages.geo import geo_uri

# Section 3.3, of the parts that we write: num, pnum, and the parameter "u" behind them.
NUM, PNUM = r"-?\d+(?:\.\d+)?", r"\d+(?:\.\d+)?"
GRAMMAR = re.compile(rf"geo:({NUM}),({NUM})(?:;u=({PNUM}))?")


def test_section_1_s_example_is_written_as_it_stands():
    """A temple at Angkor, from the introduction."""
    assert geo_uri(13.4125, 103.8667) == "geo:13.4125,103.8667"


def test_section_6_2_s_uncertainty_is_metres():
    """Its example with the crs, whose default is the one that we use, left out: 3.4.1."""
    assert geo_uri(48.198634, 16.371648, 40) == "geo:48.198634,16.371648;u=40"


@pytest.mark.parametrize("longitude", [-22.43, 46.0, 180.0])
def test_section_6_4_all_longitudes_of_a_pole_are_one_point(longitude):
    """geo:90,-22.43 and geo:90,46 are equal; 3.4.2 asks for the longitude 0 there."""
    assert geo_uri(90, longitude) == geo_uri(90, 0) == "geo:90,0"
    assert geo_uri(-90, longitude) == "geo:-90,0"


def test_section_6_4_zeros_at_the_end_say_nothing():
    """geo:22.300,-118.44 and geo:22.3,-118.4400 are equal."""
    assert geo_uri(22.300, -118.44) == geo_uri(22.3, -118.4400) == "geo:22.3,-118.44"


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [(0.0, -0.0), (1e-7, -1e-7), (-33.856784, 151.215297), (51.5, -0.12), (0.1 + 0.2, 1 / 3), (-90, 5), (5, 180)],
)
def test_section_3_3_every_point_is_written_by_the_grammar_and_to_its_last_digit(latitude, longitude):
    """No exponent, no sign before a zero, and read back it is the number that is kept."""
    found = GRAMMAR.fullmatch(geo_uri(latitude, longitude))
    assert found, geo_uri(latitude, longitude)
    assert float(found[1]) == latitude
    assert float(found[2]) == (longitude if abs(latitude) != 90 else 0)
    assert "-0," not in found[0]
    assert not found[0].endswith("-0")


def test_section_3_4_3_no_uncertainty_is_made_up():
    """Where none is known none is said, and 0 would be a claim."""
    assert ";" not in geo_uri(51.5, -0.12)
    assert geo_uri(51.5, -0.12, 0.5) == "geo:51.5,-0.12;u=0.5"
