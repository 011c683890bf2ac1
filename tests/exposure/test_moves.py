"""
One move, held to the contract: its worked example, and a plain loop over every legal rig of random kits.

Scores are compared part by part at 1e-6, the ties of the contract ("fewest filters on the lens, then the order of the
kit") with them.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.exposure import moves
from server.exposure.glass import Filter, Holder
from server.exposure.light import Light
from server.exposure.moves import (
    PLACES_MOST,
    RIGS_MOST,
    Answers,
    Move,
    best_moves,
    best_pictures,
    no_steady_shutter,
    other_ways,
)
from server.exposure.refused import OutOfRange
from server.exposure.rig import Body, Hands, Kit, Lens, Look, Rig
from tests.exposure.plain_loop import (
    Best,
    how_many_rigs,
    iris_of,
    lift_of,
    off_look_of,
    plain_loop,
    plain_rig,
    score_of,
    shutters_of,
)
from tests.exposure.strategies import filters, kits_and_rigs, light_levels, looks, questions
from tests.exposure.test_rig import by_hand

if TYPE_CHECKING:
    from collections.abc import Sequence

SAME = 1.5e-6  # two doubles that round to the same 1e-6, or to neighbours across a last digit


def asked(kit: Kit, rig: Rig, places: Sequence[tuple[float, Look]]) -> list[Answers]:
    return best_moves(kit, rig, [(Light(ev100), look) for ev100, look in places])


def both(answers: Answers) -> tuple[Move, Move]:
    return answers.clean, answers.fast


def is_best(kit: Kit, rig: Rig, place: tuple[float, Look], answers: Answers) -> None:
    """Fail unless both answers are legal rigs that no legal rig beats, and win the contract's ties."""
    found: tuple[Best, Best] = plain_loop(kit, rig, *place)
    for which, (best, move) in enumerate(zip(found, both(answers), strict=True)):
        ours = score_of(kit, rig, *place, move.rig)[which]
        assert ours.score == pytest.approx(best.score, abs=SAME), ("clean", "fast")[which]
        assert ours.ties == best.ties, ("clean", "fast")[which]


@settings(max_examples=800, deadline=None)
@given(questions())
def test_no_legal_rig_is_better(question):
    """Whatever the kit, the rig, the hands, the light and the look: a loop over every legal rig finds none better."""
    kit, rig, places = question
    for place, answers in zip(places, asked(kit, rig, places), strict=True):
        is_best(kit, rig, place, answers)


@settings(max_examples=150, deadline=None)
@given(questions())
def test_what_an_answer_says_is_so(question):
    """Its actions lead to its rig and take its seconds, and every part of its score is the contract's for that rig."""
    kit, rig, places = question
    c = kit.body.clicks_per_stop
    for (ev100, look), answers in zip(places, asked(kit, rig, places), strict=True):
        for move, tolerance in zip(both(answers), (look.tolerance, look.rush_tolerance), strict=True):
            then, seconds, glass_seconds = by_hand(kit, rig, move.actions)
            assert then == plain_rig(kit, move.rig)
            score = move.score
            assert score.hand_seconds == pytest.approx(seconds)
            assert score.glass_seconds == pytest.approx(glass_seconds)
            assert score.miss == pytest.approx(max(0, abs(move.residual) - c * tolerance), abs=1e-9)
            assert score.off_look == off_look_of(kit, look, then.iris)
            assert score.iso_lift == lift_of(kit, then.iso)
            assert score.off_wanted == abs(then.iris - iris_of(look.wanted, c))
            assert score.effort == pytest.approx(seconds + kit.hands.stray * score.off_wanted / c)
            scored = score_of(kit, rig, ev100, look, move.rig)[0].score  # miss, off_look, shutter_off, …, residual
            assert score.shutter_off == pytest.approx(scored[2], abs=SAME)
            assert abs(move.residual) == pytest.approx(scored[-1], abs=SAME)


@settings(max_examples=150, deadline=None)
@given(questions(), st.floats(0, 3))
def test_residual_above_0_is_too_bright(question, brighter):
    """With one rig only to choose from, so much more light is so many clicks more of residual."""
    kit, rig, ((ev100, look), *_) = question
    look = replace(look, mains=None)  # the one shutter need not be steady
    body = replace(kit.body, iso_allowed=(rig.iso,), shutters=(rig.shutter,), built_in_nd=(rig.built_in,))
    lens = replace(kit.lens, smallest=kit.lens.widest)
    only = Kit(body, lens, hands=kit.hands)
    bare = Rig(False, (), (), rig.built_in, rig.aperture, rig.shutter, rig.iso)
    dim, bright = asked(only, bare, [(ev100, look), (ev100 + brighter, look)])
    for before, after in zip(both(dim), both(bright), strict=True):
        assert after.residual - before.residual == pytest.approx(brighter * body.clicks_per_stop)


@settings(max_examples=150, deadline=None)
@given(questions())
def test_same_question_gives_the_same_answer(question):
    """Asked again, alone or among others, with every figure made anew: the same rig, actions and score."""
    kit, rig, places = question
    together = asked(kit, rig, places)
    assert asked(replace(kit), replace(rig), list(places)) == together
    assert [asked(kit, rig, [place])[0] for place in places] == together
    assert asked(kit, rig, places[::-1]) == together[::-1]


@settings(max_examples=150, deadline=None)
@given(questions(), st.sampled_from((1, 7, 60)))
def test_what_is_worked_through_in_parts_is_answered_the_same(question, cells):
    """A question too large for the memory is taken in parts; where they are cut must not show."""
    kit, rig, places = question
    whole = asked(kit, rig, places)
    with patch.object(moves, "CELLS_MOST", cells):
        assert asked(kit, rig, places) == whole


def picture(kit: Kit, rig: Rig, place: tuple[float, Look], answers: Answers) -> tuple[float, ...]:
    """Miss, off_look, shutter_off and iso_lift of the clean answer, rounded."""
    return score_of(kit, rig, *place, answers.clean.rig)[0].score[:4]


@settings(max_examples=150, deadline=None)
@given(questions(), filters(), st.randoms(use_true_random=False))
def test_another_filter_never_makes_the_best_picture_worse(question, more, order):
    """More glass in the pouch is more to choose from, wherever in the kit it is listed."""
    kit, rig, places = question
    pouch = [*kit.filters, *(replace(f, id=f"new {f.id}") for f in more)]
    order.shuffle(pouch)
    bigger = replace(kit, filters=tuple(pouch))
    for place, before, after in zip(places, asked(kit, rig, places), asked(bigger, rig, places), strict=True):
        assert picture(bigger, rig, place, after) <= picture(kit, rig, place, before)


@settings(max_examples=150, deadline=None)
@given(questions())
def test_moving_on_from_the_best_rig_keeps_the_picture(question):
    """What a rig is worth does not depend on how it was reached: asked again there, the picture parts stay."""
    kit, rig, places = question
    body = kit.body
    # The present ISO and shutter are legal elsewhere only if the body's lists have them.
    isos, shutters = (*body.iso_allowed, rig.iso), (*body.shutters, rig.shutter)
    kit = replace(kit, body=replace(body, iso_allowed=isos, shutters=shutters))
    for place, answers in zip(places, asked(kit, rig, places), strict=True):
        there = answers.clean.rig
        again = asked(kit, there, [place])[0]
        assert picture(kit, there, place, again) == picture(kit, rig, place, answers)


# The contract's example: its kit, rig and light, and the clean answer that it prints.
CONTRACT_KIT = Kit(
    Body(3, (100, 800), (100, 125, 160, 800), (0.02, 0.008), 160, (0, 2, 4, 6)),
    Lens(1.8, 16, 77, 0),
    Holder(100, 2, (77, 82)),
    (Filter("grey6", "slot", 0.6, width=100), Filter("round18", "thread", 1.8, thread=77)),
    Hands(3, 4, 2, 3, 10, 12, 1, 0.45, 1.5, 1.5, 3),
)
CONTRACT_RIG = Rig(True, ("grey6",), (), 0, 2.8, 0.02, 100)
CONTRACT_LOOK = Look(2.8, 2.0, 4.0, 0.02)


def does(move: Move) -> list[tuple[str, object]]:
    return [(a.do, next((x for x in (a.filter, a.clicks, a.to) if x is not None), None)) for a in move.actions]


def test_contracts_example():
    """The clean answer that the contract works out: off with the holder, close a click, ISO 800."""
    clean = asked(CONTRACT_KIT, CONTRACT_RIG, [(6.0, CONTRACT_LOOK)])[0].clean
    assert clean.rig == Rig(False, ("grey6",), (), 0, 3.2, 0.02, 800)
    assert does(clean) == [("holder_off", None), ("close", 1), ("iso", 800)]
    assert clean.residual == pytest.approx(0.068, abs=5e-4)
    score = clean.score
    assert (score.miss, score.off_look, score.shutter_off, score.iso_lift) == (0, 0, 0, 0)
    assert (score.hand_seconds, score.glass_seconds) == (pytest.approx(3.65), 2)
    assert (score.off_wanted, score.effort) == (1, pytest.approx(4.65))


def test_fast_answer_to_the_contracts_example():
    """
    By hand: the glass can stay, since f/1.8 at ISO 800 is 0.911 click too dark, within the 1.5 of a rush.

    6 - 1.993157 of the filter + log2(0.02) = -1.637013 stops, -4.911040 clicks; plus 9 of the ISO, minus position 5.
    """
    fast = asked(CONTRACT_KIT, CONTRACT_RIG, [(6.0, CONTRACT_LOOK)])[0].fast
    assert does(fast) == [("open", 4), ("iso", 800)]
    assert fast.residual == pytest.approx(-0.911040, abs=1e-6)
    assert (fast.score.miss, fast.score.glass_seconds, fast.score.off_look) == (0, 0, 1)  # f/2 would be 0.41 past it
    assert fast.score.hand_seconds == pytest.approx(4 / 3 * 0.45 + 1.5)
    assert fast.score.effort == pytest.approx(4 / 3 * 0.45 + 1.5 + 3 * 4 / 3)


def test_contracts_example_against_every_rig():
    """The same question, and every whole stop of light beside it, against the plain loop."""
    places = [(float(ev100), CONTRACT_LOOK) for ev100 in range(-3, 21)]
    for place, answers in zip(places, asked(CONTRACT_KIT, CONTRACT_RIG, places), strict=True):
        is_best(CONTRACT_KIT, CONTRACT_RIG, place, answers)


def free_hands() -> Hands:
    return Hands(**dict.fromkeys(Hands.__dataclass_fields__, 0.0))


def test_of_equal_filters_the_first_of_the_kit_goes_on():
    """Tied to the last digit: fewest filters on the lens, then the order of the kit."""
    body, lens = Body(3, (100,), (100,), (1.0,)), Lens(4, 4, 77)  # only f/4 at 1 s: EV 4
    look = Look(4, 4, 4, 1.0, 0, 0)
    bare = Rig(False, (), (), 0, 4, 1.0, 100)
    light = 4 + 0.6 * 3.321928094887362
    twins = tuple(Filter(name, "slot", 0.6) for name in ("b", "a", "c"))
    kit = Kit(body, lens, Holder(100, 3, (77,)), twins, free_hands())
    assert [move.rig.slots for move in both(asked(kit, bare, [(light, look)])[0])] == [("b",), ("b",)]
    halves = (Filter("half", "slot", 0.3), Filter("other half", "slot", 0.3), *twins)
    assert asked(replace(kit, filters=halves), bare, [(light, look)])[0].clean.rig.slots == ("b",)
    # Clear glass changes nothing and takes no time here: it stays off.
    clear = (Filter("clear", "slot", 0.0), *twins)
    assert asked(replace(kit, filters=clear), bare, [(light, look)])[0].clean.rig.slots == ("b",)


def test_efforts_that_differ_in_a_last_digit_are_equal():
    """Parts are compared at 1e-6: 3 times 0.1 s is as good as 0.3 s, and the residual decides."""
    kit = Kit(Body(1, (100, 640), (100, 640), (1.0,)), Lens(2, 8), hands=Hands(iris=0.1, iso=0.3, stray=0))
    rig = Rig(False, (), (), 0, 8, 1.0, 100)
    # f/2.8 at 1 s is EV 3, left over 0.02; ISO 640 instead of the 3 stops is 8 thirds, left over 0.31.
    answers = asked(kit, rig, [(3.02, Look(8, 2.8, 8, 1.0, 0.33, 0.33))])[0]
    for move in both(answers):
        assert does(move) == [("open", 3)]
        assert move.residual == pytest.approx(0.02)


def test_shutters_that_differ_in_a_last_digit_are_equal():
    """1/20 s and 1/125 s are equally far from 1/50 s, a factor of 2.5; doubles part on it, and the ISO must decide."""
    body = Body(3, (640,), (100, 640), (1 / 20, 1 / 125))
    kit = Kit(body, Lens(4, 4))
    rig = Rig(False, (), (), 0, 4, 1 / 20, 100)
    # f/4 at 1/20 s and ISO 100 is EV 8.322, at 1/125 s and ISO 640 it is EV 8.299; only ISO 640 is a base.
    for move in both(asked(kit, rig, [(8.31, Look(4, 4, 4, 1 / 50))])[0]):
        assert (move.rig.shutter, move.rig.iso) == (1 / 125, 640)


def test_present_iso_and_shutter_may_stay_and_the_iris_may_not():
    """An ISO and a shutter that the body's lists lack are legal while on; an iris off the lens must be left."""
    body = Body(3, (100,), (3200,), (1 / 1000,))
    kit = Kit(body, Lens(2.8, 16, 77))
    rig = Rig(False, (), (), 0, 1.4, 1 / 50, 100)
    look = Look(4, 4, 4, 1 / 50)
    light = 4 + 5.643856  # f/4 at 1/50 s and ISO 100
    clean = asked(kit, rig, [(light, look)])[0].clean
    assert (clean.rig.aperture, clean.rig.shutter, clean.rig.iso) == (4, 1 / 50, 100)
    assert does(clean) == [("close", 9)]
    # As dark as f/1.4 would suit: the lens ends at f/2.8, and the answer says by how much it is too dark.
    dark = asked(kit, rig, [(light - 3, Look(4, 4, 4, 1 / 50, 0, 0))])[0]
    assert all(move.rig.aperture >= 2.8 for move in both(dark))


@settings(max_examples=200, deadline=None)
@given(kits_and_rigs(), light_levels(), looks(), st.sampled_from((50, 60)))
def test_lamps_that_no_shutter_is_steady_under_are_refused_and_no_others(kit_and_rig, ev100, look, mains):
    """What a page may ask first is what the solver does: the rig's shutter counts for a move, the body's for a bag."""
    kit, rig = kit_and_rig
    light, look = Light(ev100), replace(look, mains=mains)
    of_the_body = replace(rig, shutter=kit.body.shutters[0])
    for ask, known, steady in (
        (lambda: best_moves(kit, rig, [(light, look)]), rig, shutters_of(kit, rig, mains)),
        (lambda: other_ways(kit, rig, light, look), rig, shutters_of(kit, rig, mains)),
        (lambda: best_pictures(kit, [(light, look)]), None, shutters_of(kit, of_the_body, mains)),
    ):
        missing = no_steady_shutter(kit, known, look)
        assert bool(missing) == (not steady)
        if steady:
            ask()
            continue
        with pytest.raises(OutOfRange) as refused:
            ask()
        assert refused.value.field == "look.mains"
        assert missing in refused.value.allowed


def test_no_steady_shutter_says_what_the_body_has_and_what_would_be_steady():
    """A 24-frame camera in a country with 50 Hz: 1/50 is the nearest above, 3/100, "1/33", the nearest below."""
    kit = Kit(Body(3, (100,), (100,), (1 / 48, 1 / 96)), Lens(2.8, 16, 77))
    look = Look(2.8, 2.8, 4, 1 / 48, mains=50)
    rig = Rig(False, (), (), 0, 2.8, 1 / 125, 100)
    assert (
        no_steady_shutter(kit, rig, look) == "none of 1/48, 1/96, 1/125 is steady at 50 Hz, as 1/33 and 1/50 would be"
    )
    assert no_steady_shutter(kit, None, look) == "none of 1/48, 1/96 is steady at 50 Hz, as 1/33 and 1/50 would be"
    assert no_steady_shutter(kit, None, replace(look, mains=None)) == ""
    # One that is on the camera will do for a move, though the body's list lacks it.
    assert no_steady_shutter(kit, replace(rig, shutter=1 / 50), look) == ""


def test_a_shutter_that_flickers_is_left_though_it_is_on_and_wanted():
    """1/48 is the look's, and on the camera; under 50 Hz lamps it goes to 1/50, under none it stays."""
    kit = Kit(Body(3, (100,), (100,), (1 / 48, 1 / 50, 1 / 100)), Lens(2, 16))
    rig = Rig(False, (), (), 0, 4, 1 / 48, 100)
    look = Look(4, 2, 8, 1 / 48)
    light = 4 + 5.584963  # f/4 at 1/48 s and ISO 100
    by_lamps, by_day = asked(kit, rig, [(light, replace(look, mains=50)), (light, look)])
    for move in both(by_lamps):
        assert does(move) == [("shutter", 1 / 50)]
        assert move.residual == pytest.approx(-3 * 0.058894, abs=1e-5)  # log2(50/48)
    assert [does(move) for move in both(by_day)] == [[], []]


@pytest.mark.parametrize("mains", [0, 55, 59.94, -50, True, float("nan")])
def test_a_look_knows_only_the_mains_that_there_are(mains):
    with pytest.raises(OutOfRange) as refused:
        Look(2.8, 2.8, 4, 0.02, mains=mains)
    assert (refused.value.field, refused.value.allowed) == ("look.mains", "50 or 60 Hz")


def test_miss_is_said_not_hidden():
    """No glass, bright sun: the answer is the nearest there is, and its residual says how much too bright that is."""
    kit = Kit(Body(3, (100,), (100,), (0.02,)), Lens(2.8, 16, 77))
    rig = Rig(False, (), (), 0, 2.8, 0.02, 100)
    # f/16 at 1/50 s is EV 8 + 5.643856; EV 16 is 2.356144 stops more.
    answers = asked(kit, rig, [(16.0, Look(2.8, 2.8, 2.8, 0.02))])[0]
    for move, allowed in zip(both(answers), (0.2, 0.5), strict=True):
        assert move.rig.aperture == 16
        assert move.residual == pytest.approx(3 * 2.356144, abs=1e-5)
        assert move.score.miss == pytest.approx(3 * (2.356144 - allowed), abs=1e-5)


@settings(max_examples=400, deadline=None)
@given(
    st.sampled_from((1, 2, 3, 10)),
    st.integers(-4, 10),
    st.sampled_from((0, 0.1, 0.2, 0.3, 0.33)),
    st.sampled_from((0, 0.1, 0.5, 1)),
    st.booleans(),
    st.integers(-4, 4),
    st.sampled_from((0, 1e-16, -1e-16, 1e-15, -1e-15, 1e-12)),
)
def test_knife_edge_is_answered(clicks, position, tolerance, rush, rushed, millionths, last_digit):
    """Where a miss lies within a double's last digit of half a millionth, there still is an answer as good as any."""
    off = (rush if rushed else tolerance) + (millionths + 0.5) * 1e-6 / clicks
    ev100 = position / clicks + off + last_digit
    kit = Kit(Body(clicks, (100,), (100,), (1.0,), built_in_nd=(0, 1)), Lens(1, 2))
    rig = Rig(False, (), (), 0, 1, 1.0, 100)
    look = Look(1, 1, 16, 1.0, tolerance, rush)
    answers = asked(kit, rig, [(ev100, look)])[0]
    for which, (best, move) in enumerate(zip(plain_loop(kit, rig, ev100, look), both(answers), strict=True)):
        ours = score_of(kit, rig, ev100, look, move.rig)[which]
        assert ours.score[0] == pytest.approx(best.score[0], abs=SAME)


@pytest.mark.parametrize("side", [1, -1])
def test_a_setup_that_is_only_just_within_reach_is_answered(side):
    """
    Bare, this lens is too bright or too dark by just what is not minded, half a millionth included. Near EV 0 the sum of
    light and tolerance is rounded where their difference is not, so every last digit about there is asked for.
    """
    kit = Kit(Body(3, (100,), (100,), (1.0,)), Lens(1, 1, 77), Holder(100, 1, (77,)), (Filter("a", "slot", 0.1),))
    for n in range(0, 80, 2):
        shutter = 2 ** (side * (0.1 + n / 1000))
        here = replace(kit, body=replace(kit.body, shutters=(shutter,)))
        look = Look(1, 1, 1, shutter)
        edge = -math.log2(shutter) + side * (0.2 + 0.5e-6 / 3 + 1e-9 / 3)
        places = [(edge + digit * math.ulp(edge), look) for digit in range(-12, 13)]
        for rig in (Rig(True, ("a",), (), 0, 1, shutter, 100), Rig(False, (), (), 0, 1, shutter, 100)):
            for answers in asked(here, rig, places):
                assert all(abs(move.residual) < 1 for move in both(answers))


def pouch(count: int) -> tuple[Filter, ...]:
    """Plates from 0.15 D up in steps of 0.15, no two the same."""
    return tuple(Filter(f"plate {n + 1}", "slot", round(0.15 * (n + 1), 2)) for n in range(count))


def test_venue_of_40_places_with_12_filters_in_3_slots():
    """All places at once are answered as each alone would be, and no rig of the whole pouch is better."""
    kit = Kit(Body(3, (400, 3200), (400, 3200), (0.02,), 640), Lens(2.8, 5.6, 77), Holder(100, 3, (77,)), pouch(12))
    rig = Rig(True, ("plate 4", "plate 1"), (), 0, 2.8, 0.02, 400)
    looks = (Look(2.8, 2.8, 4, 0.02), Look(4, 2.8, 5.6, 0.02, 0, 0.2))
    places = [(round(-2 + 0.55 * n, 2), looks[n % 3 == 0]) for n in range(40)]
    together = asked(kit, rig, places)
    assert together == [asked(kit, rig, [place])[0] for place in places]
    for n, (place, answers) in enumerate(zip(places, together, strict=True)):
        by_hand(kit, rig, answers.clean.actions)
        if n % 2:  # the loop takes its time
            is_best(kit, rig, place, answers)


def test_places_most():
    """As many places as are allowed are answered, and one more is refused."""
    kit = Kit(Body(3, (100,), (100,), (0.02,)), Lens(2.8, 16, 77))
    rig = Rig(False, (), (), 0, 2.8, 0.02, 100)
    places = [(n / 40, Look(2.8, 2.8, 4, 0.02)) for n in range(PLACES_MOST + 1)]
    assert len(asked(kit, rig, places[:-1])) == PLACES_MOST
    with pytest.raises(OutOfRange) as refused:
        asked(kit, rig, places)
    assert refused.value.field == "places"
    assert str(PLACES_MOST + 1) in refused.value.came
    assert asked(kit, rig, []) == []


def test_rigs_most():
    """A kit with more rigs than are allowed is refused before they are looked at."""
    isos = tuple(100 * 2 ** (n / 3) for n in range(19))
    body = Body(10, (100,), isos, tuple(1 / (48 + n) for n in range(10)))
    kit = Kit(body, Lens(1.4, 22, 77), Holder(100, 4, (77,)), pouch(25))
    rig = Rig(False, (), (), 0, 2.8, 1 / 50, 100)
    on_the_lens = sum((1, 25, 300, 2300, 12650)) + 1  # 25 choose 0 to 4, and no holder
    assert on_the_lens * len(kit.irises()) * 19 * 10 > RIGS_MOST
    with pytest.raises(OutOfRange) as refused:
        asked(kit, rig, [(10.0, CONTRACT_LOOK)])
    assert refused.value.field == "filters"
    fewer = replace(kit, filters=pouch(6))
    assert how_many_rigs(fewer, rig) < RIGS_MOST
    assert len(asked(fewer, rig, [(10.0, CONTRACT_LOOK)])) == 1


def test_rig_of_another_kit_is_refused():
    """The rig that is on must be one of the kit's."""
    with pytest.raises(OutOfRange) as refused:
        asked(CONTRACT_KIT, replace(CONTRACT_RIG, slots=("somebody else's",)), [(6.0, CONTRACT_LOOK)])
    assert refused.value.field == "rig.slots"
