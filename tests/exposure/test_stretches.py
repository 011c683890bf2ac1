"""
Which glass keeps the look in each stretch of a day: against every way to cut small days, by rigs that are listed plainly.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise, product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.exposure import wording
from server.exposure.glass import Filter, Holder
from server.exposure.light import Light
from server.exposure.moves import best_pictures, cannot_wear, no_steady_shutter
from server.exposure.refused import OutOfRange
from server.exposure.rig import Body, Kit, Lens, Look, Rig
from server.exposure.stretches import STEPS_MOST, Stretch, stretches
from tests.exposure.plain_kit import every_rig, score_of
from tests.exposure.test_kit_moves import asked

SAME = 2e-6


@st.composite
def days(draw: st.DrawFn, most: int) -> tuple[Kit, Look, list[int], list[float]]:
    """A kit, a look, and a day's light: each level in twentieths of a stop, and as it is said, up to 0.02 beside that."""
    kit, _, ev100, look = draw(asked())
    assume(not cannot_wear(kit, look.worn) and not no_steady_shutter(kit, None, look))
    steps = draw(st.lists(st.sampled_from((-60, -25, -8, -3, 0, 0, 3, 8, 25, 60)), min_size=1, max_size=most))
    levels = [round(ev100 * 20)]
    for step in steps[1:]:
        levels.append(min(max(levels[-1] + step, -80), 460))
    beside = st.sampled_from((0, 0, -0.02, 0.01, 0.02))
    return kit, look, levels, [level / 20 + draw(beside) for level in levels]


def plain_pictures(kit: Kit, look: Look, level: int) -> dict[tuple, tuple[int, set[float]]]:
    """
    The setups that get the best picture at a level, by listing every legal rig: what each is, with how far off the look
    its iris is [clicks] and what it may miss by [clicks], too bright or too dark.
    """
    body = kit.body
    bare = Rig(False, (), (), body.built_in_nd[0], kit.lens.widest, body.shutters[0], body.iso_allowed[0])
    best: tuple = (math.inf,)
    found: dict[tuple, tuple[int, set[float]]] = {}
    for one in every_rig(kit, bare, level / 20, look):
        miss = score_of(kit, look, one, fast=False)[0][0]
        parts = (miss, one.off_look, one.shutter_off, one.iso_lift)
        if parts < best:
            best, found = parts, {}
        if parts == best:
            way = one.way
            turned = None if way.turned is None else round(way.turned, 6)
            setup = (len(way.on), way.order, way.held, way.on, way.built_in, turned)
            found.setdefault(setup, (one.off_look, set()))[1].add(math.copysign(miss, one.residual))
    return found


def on_the_lens(run: Stretch) -> tuple:
    return frozenset(run.filters), run.built_in, None if run.turned is None else round(run.turned, 6)


@settings(deadline=None, max_examples=100)
@given(days(7))
def test_no_cut_of_a_small_day_has_fewer_stretches(day):
    """Every cut of the day is tried; each stretch's setup gets the best picture at each step, and the fewest filters."""
    kit, look, levels, said = day
    able = {level: plain_pictures(kit, look, level) for level in set(levels)}

    kept = {level: all(setup == (0, {0.0}) for setup in found.values()) for level, found in able.items()}

    def serving(start: int, stop: int) -> set[tuple]:
        if len({kept[level] for level in levels[start:stop]}) > 1:
            return set()
        return set.intersection(*(set(able[level]) for level in levels[start:stop]))

    fewest = min(
        len(ends)
        for cuts in product((False, True), repeat=len(levels) - 1)
        for ends in ([*(n + 1 for n, cut in enumerate(cuts) if cut), len(levels)],)
        if all(serving(*run) for run in pairwise((0, *ends)))
    )
    runs = stretches(kit, look, said)
    assert len(runs) == fewest
    assert [run.start for run in runs] == [0, *(run.stop for run in runs[:-1])]
    assert runs[-1].stop == len(levels)
    clicks = kit.body.clicks_per_stop
    for run in runs:
        can = serving(run.start, run.stop)
        mine = [setup for setup in can if on_the_lens(run) == setup[3:]]
        assert mine, "its setup does not get the best picture everywhere"
        assert min(mine)[:2] == min(can)[:2]
        assert run.filters == tuple(kit.filters[n].id for n in min(mine)[1])
        there = [able[level][min(mine)] for level in levels[run.start : run.stop]]
        assert run.off_look * clicks == pytest.approx(max(off_look for off_look, _ in there))
        largest = max(abs(miss) for _, misses in there for miss in misses)
        may_be = {miss for _, misses in there for miss in misses if abs(miss) > largest - SAME}
        assert any(run.miss * clicks == pytest.approx(miss, abs=SAME) for miss in may_be)


BIG = Kit(
    Body(3, (100, 800), (100, 200, 400, 800, 1600), (0.02, 0.01), built_in_nd=(0, 2, 4)),
    Lens(2, 16, 77),
    Holder(100, 2, (77,)),
    (
        *(Filter(f"plate {d}", "slot", d) for d in (0.3, 0.6, 0.9, 1.2, 1.8)),
        Filter("round", "thread", 1.5, thread=77),
        Filter("variable", "thread", 0.6, thread=77, kind="variable_nd", density_to=2.4),
    ),
)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.integers(-20, 20), min_size=97, max_size=97),
    st.integers(100, 300),
    st.sampled_from((Look(2.8, 2.8, 2.8, 0.02, 0.1), Look(2.8, 2, 4, 0.02), Look(4, 2.8, 4, 0.02, mains=60))),
)
def test_a_whole_day_has_as_few_stretches_as_can_be(drift, first, look):
    """97 quarters of an hour: the fewest runs to each step, worked out from those to every step before it."""
    kit = replace(BIG, body=replace(BIG.body, shutters=(1 / 60,))) if look.mains == 60 else BIG
    levels = [first]
    for step in drift[1:]:
        levels.append(min(max(levels[-1] + step, -100), 440))
    pictures = best_pictures(kit, [(Light(level / 20), look) for level in levels])
    # A run keeps the look at every step or misses it at every one: a setup is another one where it does not.
    able = [{(way, picture.parts[:2] == (0, 0)) for way in picture.able.tolist()} for picture in pictures]
    fewest = [0]
    for stop in range(1, len(levels) + 1):
        common, counts = able[stop - 1], []
        for start in range(stop - 1, -1, -1):
            common = common & able[start]
            if not common:
                break
            counts.append(fewest[start] + 1)
        fewest.append(min(counts))
    assert len(stretches(kit, look, [level / 20 for level in levels])) == fewest[-1]


# f/2.8 to f/4 at 1/50 s and ISO 100 is EV 8.644 to 9.644, and 0.2 more on either side is not minded; a 0.6 takes 1.993.
PLAIN = Kit(
    Body(3, (100,), (100,), (0.02,)),
    Lens(2.8, 16, 77),
    Holder(100, 2, (77,)),
    (Filter("a", "slot", 0.6), Filter("b", "slot", 1.2)),
)
TWO_STOPS = Look(2.8, 2.8, 4, 0.02)


def said_of(kit: Kit, look: Look, ev100: list[float]) -> list[tuple[int, int, str]]:
    return [(run.start, run.stop, wording.stretch_glass(kit, run)) for run in stretches(kit, look, ev100)]


def test_a_day_by_hand():
    """Bare to EV 9.84, a 0.6 from 10.44 to 11.84, a 1.2 from 12.43 to 13.83, both from 14.42 to 15.82."""
    day = [8.5, 9.0, 9.8, 10.5, 11.8, 12.5, 13.8, 14.5, 15.8, 13.0, 9.0]
    assert said_of(PLAIN, TWO_STOPS, day) == [
        (0, 3, "no glass"),
        (3, 5, "0.6"),
        (5, 7, "1.2"),
        (7, 9, "0.6 and 1.2"),
        (9, 10, "1.2"),
        (10, 11, "no glass"),
    ]
    assert all((run.miss, run.off_look) == (0, 0) for run in stretches(PLAIN, TWO_STOPS, day))


def test_what_is_missed_is_the_largest_of_the_run_with_its_sign():
    """f/16 with both is EV 8 + 5.644 + 5.979 = 19.623, f/2.8 bare 8.644; 0.2 either way is not minded."""
    bright, dark = stretches(PLAIN, TWO_STOPS, [20.5, 22.0, 21.0, 6.0, 5.0])
    assert (bright.start, bright.stop, dark.stop) == (0, 3, 5)
    assert bright.miss == pytest.approx(22 - 19.623 - 0.2, abs=1e-3)
    assert dark.miss == pytest.approx(-(8.644 - 5 - 0.2), abs=1e-3)
    assert bright.off_look == pytest.approx(4)  # f/16 is four stops past f/4
    assert dark.off_look == 0


@pytest.mark.parametrize(("n", "miss"), [(2, 0.5 - 0.2), (2.8, -(0.5 - 0.2))])
def test_between_two_clicks_the_one_that_keeps_the_look_says_the_side(n, miss):
    """EV 2.5 lies half way between f/2 and f/2.8 at 1 s on a dial of whole stops: which is wrong how, the look decides."""
    kit = Kit(Body(1, (100,), (100,), (1.0,)), Lens(2, 2.8))
    (run,) = stretches(kit, Look(n, n, n, 1.0), [2.5])
    assert run.miss == pytest.approx(miss)
    assert run.off_look == 0


def test_a_look_that_is_left_is_said_though_nothing_is_missed():
    """EV 10.2 is 0.56 stop above f/4: bare at f/4.5, a click past the look, is 0.22 off; at f/5, two clicks, it fits."""
    (run,) = stretches(PLAIN, TWO_STOPS, [10.2])
    assert (run.miss, run.filters) == (0, ())
    assert run.off_look == pytest.approx(2 / 3)


def test_fewest_filters_come_first_then_the_kits_order():
    """A built-in step is no filter; of two plates that are alike, the first of the kit."""
    twins = (Filter("second", "slot", 0.6), Filter("first", "slot", 0.6))
    kit = replace(PLAIN, filters=twins)
    assert stretches(kit, TWO_STOPS, [11.0])[0].filters == ("second",)
    (run,) = stretches(replace(kit, body=replace(kit.body, built_in_nd=(0, 2))), TWO_STOPS, [11.0, 11.5])
    assert (run.filters, run.built_in, run.turned) == ((), 2, None)


def test_a_setup_that_carries_further_goes_on_at_once():
    """EV 10 fits f/2 to f/5.6 bare and with a 0.6; EV 12 fits only the 0.6: one run, and no change on the way."""
    kit = replace(PLAIN, lens=Lens(2, 16, 77), filters=PLAIN.filters[:1])
    look = Look(2.8, 2, 5.6, 0.02)
    assert said_of(kit, look, [10.0, 12.0]) == [(0, 2, "0.6")]
    assert said_of(kit, look, [10.0]) == [(0, 1, "no glass")]


def test_a_turned_variable_nd_is_a_setup_of_its_own():
    """It stays on and is turned: a run each, since turning is a hand on the glass. From 1.993 stops in thirds."""
    variable = Filter("v", "thread", 0.6, thread=77, kind="variable_nd", density_to=2.4)
    kit = replace(PLAIN, holder=None, filters=(variable,))
    look = Look(2.8, 2.8, 2.8, 0.02)  # EV 8.644, and the filter for the rest
    first, second = stretches(kit, look, [8.65 + 2, 8.65 + 2, 8.65 + 4])
    assert (first.filters, second.filters) == (("v",), ("v",))
    assert first.turned == pytest.approx(1.993, abs=1e-3)
    assert second.turned == pytest.approx(1.993 + 2, abs=1e-3)


@pytest.mark.parametrize(
    ("filters", "built_in", "turned", "words"),
    [
        ((), 0, None, "no glass"),
        (("a",), 0, None, "0.6"),
        (("a", "b"), 0, None, "0.6 and 1.2"),
        (("g", "a", "b"), 0, None, "0.9 soft grad, 0.6 and 1.2"),
        ((), 2, None, "built-in 2 stops"),
        (("a",), 1, None, "0.6, built-in 1 stop"),
        (("v",), 0, 4.0, "variable ND, turned to 4 stops"),
        (("a", "v"), 6, 3.326, "0.6 and variable ND, turned to 3⅓ stops, built-in 6 stops"),
    ],
)
def test_the_glass_of_a_stretch_in_words(filters, built_in, turned, words):
    """As a rig's glass is told, without where it is mounted."""
    grad = Filter("g", "slot", 0.9, kind="grad", edge="soft")
    variable = Filter("v", "slot", 0.6, kind="variable_nd", density_to=2.4)
    kit = replace(PLAIN, filters=(*PLAIN.filters, grad, variable))
    assert wording.stretch_glass(kit, Stretch(0, 1, filters, built_in, turned, 0.0, 0.0)) == words


def test_what_the_look_wears_is_in_every_stretch():
    """A grad takes a slot all day: of the two plates only one is left for the sun, and f/4 no longer keeps the look."""
    grad = Filter("g", "slot", 0.6, kind="grad", edge="soft")
    kit = replace(PLAIN, filters=(grad, *PLAIN.filters))
    runs = stretches(kit, replace(TWO_STOPS, worn=frozenset({"g"})), [9.0, 13.0, 15.0])
    assert [run.filters for run in runs] == [("g",), ("g", "b"), ("g", "b")]
    assert [run.off_look > 0 for run in runs] == [False, False, True], "one glass, but the look kept and then missed"


def test_levels_are_taken_to_the_nearest_twentieth():
    """9.84 is asked as 9.85, which is past the bare lens's end at 9.844 by less than anybody can see."""
    assert stretches(PLAIN, TWO_STOPS, [9.84]) == stretches(PLAIN, TWO_STOPS, [9.85])
    assert stretches(PLAIN, TWO_STOPS, [9.82])[0].off_look == 0
    assert stretches(PLAIN, TWO_STOPS, [9.84])[0].off_look > 0


def test_a_day_without_a_step_has_no_stretch():
    assert stretches(PLAIN, TWO_STOPS, []) == ()


def test_steps_most():
    """As many steps as are allowed are one run where the light stays, and one more is refused."""
    (run,) = stretches(PLAIN, TWO_STOPS, [9.0] * STEPS_MOST)
    assert (run.start, run.stop) == (0, STEPS_MOST)
    with pytest.raises(OutOfRange) as refused:
        stretches(PLAIN, TWO_STOPS, [9.0] * (STEPS_MOST + 1))
    assert refused.value.field == "ev100"
    assert str(STEPS_MOST) in refused.value.allowed


@pytest.mark.parametrize("came", [math.nan, math.inf, -math.inf, 1e308, 37.0, -17.0], ids=repr)
def test_light_that_there_is_not_is_refused(came):
    """Wherever in the day it stands."""
    with pytest.raises(OutOfRange) as refused:
        stretches(PLAIN, TWO_STOPS, [9.0, came, 9.0])
    assert refused.value.field == "ev100"


@pytest.mark.parametrize("end", [-16.0, 36.0])
def test_the_ends_of_light_are_answered(end):
    (run,) = stretches(PLAIN, TWO_STOPS, [end])
    assert (run.miss > 0) == (end > 0)


@pytest.mark.parametrize(
    ("look", "field"),
    [(replace(TWO_STOPS, worn=frozenset({"lost"})), "look.worn"), (replace(TWO_STOPS, mains=60), "look.mains")],
)
def test_a_look_that_this_kit_cannot_have_is_refused(look, field):
    with pytest.raises(OutOfRange) as refused:
        stretches(PLAIN, look, [9.0])
    assert refused.value.field == field
