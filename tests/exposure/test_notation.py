"""Engravings: every text is read or refused, what is written is read back, and where it could mean more it is asked."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.glass import DENSITY_MOST
from server.exposure.notation import (
    ENGRAVED_LONGEST,
    MARKED_FACTORS,
    Engraving,
    density_meant,
    readings,
    unambiguous,
    written,
)
from server.exposure.refused import OutOfRange

NOTATIONS = ("density", "factor", "stops")
STANDARD = sorted(set(MARKED_FACTORS.values()))  # the naming table, held to its source in tests/published
TENTHS = [n / 10 for n in range(61)]

# Text that is nearly an engraving finds more than text out of the blue.
ALMOST = st.lists(
    st.sampled_from(["ND", "ir", "0", "1", "3", "8", "00", ".", ",", "/", " ", "x", "×", "*", "+", "-", "(", ")", "D",
                     "stop", "s", "EV", "⅓", "½", "⅟", "↉", "²", "⒛", "\N{NO-BREAK SPACE}", "٣", "∞", "nan", "e9"]),
    max_size=9,
).map("".join)  # fmt: skip


def read(text):
    """The meanings of a text, or its refusal."""
    try:
        return readings(text)
    except OutOfRange as refused:
        return refused


@given(st.one_of(st.text(), st.text(max_size=ENGRAVED_LONGEST), ALMOST))
def test_any_text_is_read_or_refused(text):
    """Whatever is typed, the answer is filters that there can be, or a refusal that names the field; nothing else."""
    found = read(text)
    if isinstance(found, OutOfRange):
        assert found.field == "engraved"
        assert "0.9, ND8, 8x, 3 stops" in found.allowed
        return
    assert found
    for meant in found:
        assert 0 <= meant.density <= DENSITY_MOST
        assert type(meant.value) is float
    assert len({round(meant.density, 9) for meant in found}) == len(found)


@given(ALMOST)
def test_capitals_and_odd_spaces_change_nothing(text):
    """ND8, nd8 and ND8 with a non-breaking space pasted behind it are one engraving."""
    upper, lower, spaced = (read(label) for label in (text.upper(), text.lower(), f"{text}\N{NO-BREAK SPACE}"))
    if isinstance(lower, OutOfRange):
        assert isinstance(upper, OutOfRange)
        assert isinstance(spaced, OutOfRange)
    else:
        assert upper == lower == spaced


@pytest.mark.parametrize("notation", NOTATIONS)
@pytest.mark.parametrize("density", STANDARD)
def test_a_standard_filter_is_written_and_read_back(density, notation):
    """In every notation, the first meaning of what is written is the very same density."""
    assert readings(written(density, notation))[0].density == density


@pytest.mark.parametrize("density", TENTHS)
def test_every_tenth_of_a_density_is_read_back(density):
    """A tenth of a density is a third of a stop both ways; as a factor it comes back to the third figure."""
    assert readings(written(density, "density"))[0].density == density
    assert readings(written(density, "stops"))[0].density == density
    assert readings(written(density, "factor"))[0].density == pytest.approx(density, abs=0.0022)  # 1.005 is 0.0022 D


@given(st.floats(0, DENSITY_MOST), st.sampled_from(NOTATIONS))
def test_any_density_is_read_back_to_the_rounding_of_its_notation(density, notation):
    """Two decimals of a density, the marked or three-figure factor, the nearest third of a stop."""
    first = readings(written(density, notation))[0]
    assert first.notation == notation
    # Half a third of a stop is 0.0502 D; the marked thirds drift from the exact ones by up to 0.0207 D at 20 stops.
    rounding = {"density": 0.0051, "factor": 0.021, "stops": 0.0502 + 0.0207}[notation]
    assert first.density == pytest.approx(density, abs=rounding)


@given(st.floats(1, 1e6))
def test_factors_that_are_no_marks_are_exact(factor):
    """A factor F is log10 F, unless it is one that the trade marks with a rounder density."""
    if factor not in MARKED_FACTORS:
        assert density_meant("factor", factor) == pytest.approx(math.log10(factor))


# Calculated by hand from the definitions: 3 = 10^0.4771, 500 = 10^2.6990, 2.5 x 0.30103 = 0.7526.
@pytest.mark.parametrize(
    ("label", "density"),
    [("3x", 0.4771), ("ND500", 2.6990), ("100000x", 5), ("2.5 stops", 0.7526), ("1/8 stop", 0.0376)],
)
def test_by_the_exact_relation(label, density):
    """Labels that are in no table go by the definitions of the notations."""
    assert readings(label)[0].density == pytest.approx(density, abs=5.1e-5)


@pytest.mark.parametrize(
    ("label", "thirds"), [("1.3 stops", 4), ("1.33 stops", 4), ("1,7 stops", 5), ("6.6 stops", 20), ("+0.67", 2)]
)
def test_thirds_of_a_stop_written_as_decimals(label, thirds):
    """A filter of 6.6 stops is one of 6 2/3: nobody grinds in tenths of a stop."""
    meant = unambiguous(label)
    assert (meant.notation, meant.density) == ("stops", thirds / 10)
    assert meant.value == pytest.approx(thirds / 3)


# Each label with every meaning that it has, in the order they are offered.
@pytest.mark.parametrize(
    ("label", "meanings"),
    [
        ("ND 1", [("stops", 1), ("density", 1)]),
        ("ND 3", [("density", 0.3), ("stops", 3), ("density", 3), ("factor", 3)]),
        ("ND 5", [("stops", 5), ("density", 0.5), ("factor", 5)]),
        ("ND 10", [("stops", 10), ("density", 1.0)]),  # a factor of 10 is 1.0 D as well
        ("ND 16", [("factor", 16)]),
        ("ND 20", [("density", 2.0), ("factor", 20)]),
        ("ND 0", [("density", 0)]),  # clear
        ("1,000", [("factor", 1000), ("density", 1)]),
        ("ND 1.000", [("factor", 1000), ("density", 1)]),
        ("ND 8 192", [("factor", 8192)]),
        ("½", [("factor", 2), ("stops", 0.5)]),
        ("1/64", [("factor", 64)]),
        ("ND 3 (0.9)", [("stops", 3)]),
        ("ND 3 (0.3)", [("density", 0.3)]),
        ("ND400 / 2.6", [("factor", 400)]),
    ],
)
def test_all_meanings_in_their_order(label, meanings):
    """Where a label can mean several filters, all of them are offered, the likely one first."""
    assert [(meant.notation, meant.value) for meant in readings(label)] == meanings


# fmt: off
NO_ENGRAVINGS = [
    "", " ", "\N{NO-BREAK SPACE}", "ND", "stops", "x", "grey", "-3", "ND -8", "−0.9", "-3 stops", "0.9x", "0x", "1/0",
    "1 2/0 stops", "7.0", "ND 6.1", "6.1D", "D 8", "21 stops", "1000001x", "ND 2000000", "1e3", "1.2.3", "0x10",
    "٣ stops", "ND2-400", "0.3-1.5", "0.9 1.2", "ND64 (0.9)", "8x stops", "+8x", "nan", "inf", "ND 007",
    "12.5 %", "()", "/",
    "1" * ENGRAVED_LONGEST, "0.9" + " " * ENGRAVED_LONGEST, "9" * 100_000, "\ud800", "\x00",
]
# fmt: on


@pytest.mark.parametrize("text", NO_ENGRAVINGS)
def test_what_is_no_engraving_is_refused(text):
    """Nothing sensible, too dense, below nothing, a range, notations that contradict each other, or endless."""
    with pytest.raises(OutOfRange) as refused:
        readings(text)
    assert refused.value.field == "engraved"
    assert "0.9, ND8, 8x, 3 stops" in refused.value.allowed
    with pytest.raises(OutOfRange):
        unambiguous(text)


@pytest.mark.parametrize("density", [math.nan, math.inf, -0.1, 6.1, 1e308])
@pytest.mark.parametrize("notation", NOTATIONS)
def test_no_density_is_not_written(density, notation):
    """What no glass has is not engraved on one."""
    with pytest.raises(OutOfRange) as refused:
        written(density, notation)
    assert refused.value.field == "density"


def test_an_unknown_notation_is_refused():
    """There are three, and the refusal names them."""
    with pytest.raises(OutOfRange, match="density, factor or stops"):
        written(0.9, "percent")
    with pytest.raises(OutOfRange, match="density, factor or stops"):
        density_meant("percent", 12.5)


@pytest.mark.parametrize(
    ("notation", "value", "density"),
    [
        ("density", 0.9, 0.6),
        ("factor", 8, 0.90309),
        ("stops", 3, math.nan),
        ("stops", math.inf, 3),
        ("density", math.nan, 0.9),
        ("factor", 0.5, 0),
    ],
)
def test_an_engraving_that_contradicts_itself_cannot_be_made(notation, value, density):
    """Its density is the one that its number stands for."""
    with pytest.raises(OutOfRange):
        Engraving(notation, value, density)
