"""What a second camera wants where the first has its look, against the arithmetic of equivalence done by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.depth import FORMATS, Focus, depth, format_of
from server.exposure.glass import Filter
from server.exposure.looks import HOWS, Taking, matched
from server.exposure.rig import Body, Kit, Lens, Look
from server.exposure.scales import exact_f_number

FULL, THIRDS = format_of("full_frame"), format_of("four_thirds")
BODY = Body(clicks_per_stop=3, iso_base=(100.0,), iso_allowed=(100.0,), iso_quiet=None, shutters=(0.02,))


def taking(sensor, focal=None, long=None, widest=1.2, smallest=22.0, filters=(), widest_long=None):
    kit = Kit(BODY, Lens(widest, smallest, None, 0.0, widest_long), None, filters)
    return Taking(kit, sensor, focal, long)


def look(wanted=2.8, widest=2.0, narrowest=4.0, **more):
    return Look(wanted, widest, narrowest, 0.02, **more)


def f_numbers(its):
    return its.widest, its.wanted, its.narrowest


def test_a_zoom_is_set_to_the_same_field_and_two_stops_wider():
    """
    Equivalence by diagonal, worked out by hand: 43.27 mm against 21.64 mm is a factor of 2.0, so 50 mm is 25 mm and
    f/2.8 is f/1.4; two stops are the factor's. Common practice ("crop factor"), encyclopedic article of that name.
    """
    its = matched(look(), taking(FULL, 50), taking(THIRDS, 12, 40, widest=0.95), "field", 3.0)
    assert f_numbers(its.look) == (1.0, 1.4, 2.0)
    assert its.field_mm == pytest.approx(25.0, abs=0.1)
    assert (its.in_field, its.off_stops, its.unknown) == (True, 0, ())


def test_a_lens_that_does_not_open_so_far_says_by_how_much():
    """f/1.4 is wanted, f/2.8 is all there is: two stops more depth of field."""
    its = matched(look(), taking(FULL, 50), taking(THIRDS, 12, 40, widest=2.8), "field", 3.0)
    assert f_numbers(its.look) == (2.8, 2.8, 2.8)
    assert its.off_stops == pytest.approx(2.0, abs=0.05)


def test_a_lens_that_does_not_close_so_far_says_it_the_other_way():
    its = matched(look(16, 11, 22), taking(THIRDS, 25), taking(FULL, 50, smallest=16), "field", 3.0)
    assert its.look.wanted == 16
    assert its.off_stops == pytest.approx(-2.0, abs=0.05)


def test_a_prime_of_another_length_says_which_field_it_has_not():
    its = matched(look(), taking(FULL, 35), taking(FULL, 85), "field", 3.0)
    assert its.field_mm == pytest.approx(35)
    assert not its.in_field


def test_a_zoom_goes_as_near_to_the_field_as_it_can():
    """24 mm on full frame is 12 mm on four thirds; a 14-42 stops at 14, and its iris is matched there."""
    its = matched(look(8, 5.6, 11), taking(FULL, 24), taking(THIRDS, 14, 42), "field", 3.0)
    assert its.field_mm == pytest.approx(12, abs=0.1)
    assert not its.in_field
    # By hand: N goes with f^2/diagonal, 8 x (14/24)^2 x 43.27/21.64 = 5.44, near enough f/5.6 on the third-stop dial.
    assert its.look.wanted == 5.6


@given(
    first=st.sampled_from(FORMATS), second=st.sampled_from(FORMATS), focal=st.floats(20, 100), its_focal=st.floats(20, 100),
    wanted=st.sampled_from([2.0, 2.8, 4.0, 5.6, 8.0]), away=st.floats(1, 30),
)  # fmt: skip
def test_the_blur_is_the_same_share_of_the_picture(first, second, focal, its_focal, wanted, away):
    """Held to the blur formula of `depth` itself, with the iris that was given, where the lens has it."""
    its = matched(look(wanted, wanted, wanted), taking(first, focal), taking(second, its_focal), "blur", away)
    if its.off_stops:
        return

    def share(sensor, millimetres, n):
        focus = Focus(millimetres, exact_f_number(n), away, sensor.circle_mm)
        return depth(focus).infinity_blur_mm / sensor.diagonal_mm

    off = math.log2(share(first, focal, wanted) / share(second, its_focal, its.look.wanted))
    assert abs(off) <= 1 / 12 + 1e-9, "half a click of the iris is a twelfth of a doubling"


@given(
    wide=st.integers(0, 6), steps=st.tuples(st.integers(0, 6), st.integers(0, 6)), how=st.sampled_from(HOWS),
    first=st.sampled_from([None, *FORMATS]), second=st.sampled_from([None, *FORMATS]),
    focal=st.sampled_from([None, 24.0, 85.0]), away=st.sampled_from([None, 0.05, 3.0, 10_000.0]),
)  # fmt: skip
def test_whatever_is_known_there_is_a_look(wide, steps, how, first, second, focal, away):
    marks = [1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0]
    widest, wanted, narrowest = marks[wide], marks[wide + steps[0]], marks[wide + sum(steps)]
    asked = look(wanted, widest, narrowest)
    its = matched(asked, taking(first, focal), taking(second, focal, widest=2.8, smallest=16.0), how, away)
    if how == "own" or its.unknown:
        assert f_numbers(its.look) == (widest, wanted, narrowest)
    else:
        assert 2.8 <= its.look.widest <= its.look.wanted <= its.look.narrowest <= 16.0
    assert (its.unknown == ("sensor",)) == (how != "own" and None in (first, second))


def test_the_same_camera_has_the_same_look():
    for how in HOWS:
        its = matched(look(), taking(FULL, 35), taking(FULL, 35), how, 3.0)
        assert its.look == look()
        assert (its.in_field, its.off_stops) == (True, 0)


def test_a_zoom_that_narrows_is_held_to_the_aperture_where_it_is_set():
    """f/2.8 at the short end and f/4 at the long one: at 50 of 24-70 it is taken for the long end's."""
    its = matched(look(), taking(FULL, 50), taking(FULL, 24, 70, widest=2.8, widest_long=4.0), "field", 3.0)
    assert its.look.long_end
    assert its.look.wanted == 4.0
    assert its.off_stops == pytest.approx(1.0, abs=0.05)


def test_the_glass_of_the_look_is_the_kit_s_own():
    """The first camera's polariser is its own; the second's stands for it, and what it has nothing like is named."""
    theirs = (
        Filter("1", "front", 0.4, kind="polariser", thread=105),
        Filter("2", "slot", 0.6, width=100, kind="grad", edge="soft"),
    )
    mine = (
        Filter("7", "thread", 0.6, kind="polariser", thread=77),
        Filter("8", "thread", 0.5, kind="polariser", thread=67),
        Filter("9", "slot", 0.6, width=100, kind="grad", edge="hard"),
    )
    asked = look(worn=frozenset({"1", "2"}))
    its = matched(asked, taking(FULL, 35, filters=theirs), taking(FULL, 35, filters=mine), "own")
    assert its.look.worn == {"8"}
    assert its.missing == (theirs[1],)


def test_lamps_are_asked_for_by_the_second_body_itself():
    """Whether a shutter is steady depends on the body: whoever asks says it again."""
    assert matched(replace(look(), mains=50), taking(FULL, 35), taking(FULL, 35), "own").look.mains is None


def test_what_a_look_wears_is_matched_by_the_nearest_of_its_kind():
    """A diffusion filter for a diffusion filter, the one whose density is nearest; an even distance, by its id."""
    first = Kit(BODY, Lens(1.4, 16, 77), None, (Filter("mist", "thread", 0.2, thread=77, kind="diffusion"),))
    others = tuple(
        Filter(name, "thread", density, thread=77, kind=kind)
        for name, density, kind in (("thin", 0.0, "diffusion"), ("near", 0.3, "diffusion"), ("thick", 0.9, "diffusion"),
                                    ("warm", 0.2, "colour"))
    )  # fmt: skip
    second = Kit(BODY, Lens(1.4, 16, 77), None, others)
    worn = look(worn=frozenset({"mist"}))
    its = matched(worn, Taking(first, FULL, 50, None), Taking(second, FULL, 50, None), "own", 3.0)
    assert its.look.worn == {"near"}
