"""
Grads: the exact best of every choice, and the trade's rules on edges and slots.

Common practice, no source: a sky left a stop brighter than the ground; hard edges for flat skylines and soft ones for
uneven; grads in the front slot; upside down over bright ground. Light by density is ISO 5: 0.3 D is 0.997 stop.
"""

from __future__ import annotations

import math
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.grads import Grad, Skies, advise
from server.exposure.refused import OutOfRange

POUCH = [
    Grad("h3", 0.3, "hard"),
    Grad("h6", 0.6, "hard"),
    Grad("h9", 0.9, "hard"),
    Grad("s3", 0.3, "soft"),
    Grad("s6", 0.6, "soft"),
    Grad("s9", 0.9, "soft"),
]
HARD, SOFT = POUCH[:3], POUCH[3:]


def ids(advice) -> list[str]:
    return [grad.id for grad in advice.grads]


# Calculated by hand: stops are D log2(10) = 3.3219 D, and what remains is the difference less them.
@pytest.mark.parametrize(
    ("sky", "ground", "skyline", "chosen", "remains"),
    [
        (15, 12, "flat", ["h6"], 3 - 1.9932),
        (15, 12, "uneven", ["s6"], 3 - 1.9932),
        (15, 13, "flat", ["h3"], 2 - 0.9966),
        (15, 10, "flat", ["h3", "h9"], 5 - 3.9863),
        (15, 9, "uneven", ["s6", "s9"], 6 - 4.9829),
        (15, 4, "flat", ["h6", "h9"], 11 - 4.9829),  # two take no more; the rest is left and said
        (15, 14, "flat", [], 1),
        (15, 15, "flat", [], 0),
        (12, 15, "flat", ["h6"], 3 - 1.9932),
    ],
)
def test_the_grad_for_a_difference(sky, ground, skyline, chosen, remains):
    """The sky is brought down to a stop above the ground, by one grad or two; the edge suits the skyline."""
    advice = advise(Skies(sky, ground, skyline), POUCH, free_slots=2)
    assert ids(advice) == chosen
    assert advice.remains == pytest.approx(remains, abs=1e-4)
    assert advice.needed == (abs(sky - ground) > 1)
    assert not advice.wrong_edge
    assert advice.slots == tuple(range(1, len(chosen) + 1))
    assert advice.upside_down == (bool(chosen) and ground > sky)


def test_one_grad_is_better_than_two_that_do_the_same():
    """A 0.9 takes what a 0.3 and a 0.6 take together; of two alike, the first in the kit."""
    scene = Skies(16, 12, "flat")
    assert ids(advise(scene, HARD, free_slots=3)) == ["h9"]
    assert ids(advise(scene, HARD[:2], free_slots=3)) == ["h3", "h6"]
    twins = [Grad("first", 0.9, "hard"), Grad("second", 0.9, "hard")]
    assert ids(advise(scene, twins, free_slots=1)) == ["first"]
    assert ids(advise(scene, twins[::-1], free_slots=1)) == ["second"]


def test_as_many_grads_as_there_are_slots():
    """With one slot the nearest single grad; with none, none, and it is said why."""
    scene = Skies(15, 9, "flat")
    assert ids(advise(scene, POUCH, free_slots=1)) == ["h9"]
    advice = advise(scene, POUCH, free_slots=0)
    assert (ids(advice), advice.needed) == ([], True)
    assert advice.say == "No slot free for a grad: the sky stays 6 stops brighter than the ground."


def test_the_other_edge_only_where_none_that_suits_would_help():
    """It is said when the edge is not the one for the skyline."""
    advice = advise(Skies(15, 12, "flat"), SOFT, free_slots=2)
    assert ids(advice) == ["s6"]
    assert advice.wrong_edge
    assert advice.say.endswith(" A hard edge suits a flat skyline better, but none at hand would help.")
    # A hard one that helps at all is taken before a soft one that helps more.
    assert ids(advise(Skies(15, 11, "flat"), [HARD[0], SOFT[2]], free_slots=1)) == ["h3"]
    # One that would take far too much is no help.
    strong = Grad("h18", 1.8, "hard")
    assert ids(advise(Skies(15, 13, "flat"), [strong, SOFT[0]], free_slots=2)) == ["s3"]


def test_another_difference_may_be_wanted():
    """Sky and ground alike, or two stops apart, as the shooter likes it."""
    assert ids(advise(Skies(15, 12, "flat", wanted_stops=0), HARD, free_slots=1)) == ["h9"]
    assert ids(advise(Skies(15, 12, "flat", wanted_stops=2), HARD, free_slots=1)) == ["h3"]
    assert not advise(Skies(15, 12, "flat", wanted_stops=3), HARD, free_slots=1).needed


@pytest.mark.parametrize(
    ("skies", "at_hand", "say"),
    [
        (
            Skies(15, 12, "flat"),
            HARD,
            (
                "0.6 hard grad in the front slot, edge on the skyline: the sky stays 1 stop brighter than the ground."
                " Expose for the ground as before."
            ),
        ),
        (
            Skies(12, 15, "uneven"),
            SOFT,
            (
                "0.6 soft grad in the front slot, upside down, edge on the skyline: the ground stays 1 stop brighter"
                " than the sky. Expose for the sky as before."
            ),
        ),
        (
            Skies(15, 11, "flat", 0.5),
            [Grad("a", 0.3, "hard", "Old faithful"), Grad("b", 0.9, "hard")],
            (
                "Old faithful and 0.9 hard grad in the two front slots, edge on the skyline: the sky comes out as"
                " bright as the ground. Expose for the ground as before."
            ),
        ),
        (
            Skies(15, 13, "flat", 0),
            [Grad("a", 0.7, "hard")],
            (
                "0.7 hard grad in the front slot, edge on the skyline: the sky turns ⅓ stop darker than the ground."
                " Expose for the ground as before."
            ),
        ),
        (Skies(15, 14.2, "flat"), HARD, "No grad needed: the sky stays ⅔ stop brighter than the ground."),
        (Skies(15, 15, "flat"), HARD, "No grad needed: the sky comes out as bright as the ground."),
        (Skies(15, 12, "flat"), [], "No grad at hand: the sky stays 3 stops brighter than the ground."),
        (
            Skies(15, 13, "flat"),
            [Grad("a", 3, "hard")],
            "Every grad at hand takes too much: the sky stays 2 stops brighter than the ground.",
        ),
    ],
)
def test_what_is_said(skies, at_hand, say):
    """A sentence a person can act on."""
    assert advise(skies, at_hand, free_slots=2).say == (say)


levels = st.floats(-5, 20)
pouches = st.lists(
    st.tuples(st.sampled_from((0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 1.2)), st.sampled_from(("hard", "soft"))), max_size=7
).map(lambda drawn: [Grad(str(number), *each) for number, each in enumerate(drawn)])


@given(levels, levels, st.sampled_from(("flat", "uneven")), st.floats(0, 4), pouches, st.integers(0, 4))
def test_nothing_at_hand_comes_nearer(sky, ground, skyline, wanted, at_hand, free_slots):
    """No choice of at most two with edges that suit comes nearer; where those do not help, no choice at all does."""
    advice = advise(Skies(sky, ground, skyline, wanted), at_hand, free_slots)
    difference = abs(sky - ground)
    assert len(advice.grads) <= min(2, free_slots)
    assert advice.remains == pytest.approx(difference - sum(g.density for g in advice.grads) * math.log2(10))
    suits = "hard" if skyline == "flat" else "soft"

    def off(chosen) -> float:
        return abs(difference - sum(grad.density for grad in chosen) * math.log2(10) - wanted)

    pool = at_hand if advice.wrong_edge or not advice.grads else [grad for grad in at_hand if grad.edge == suits]
    for count in range(min(2, free_slots) + 1):
        for chosen in combinations(pool, count):
            assert off(advice.grads) <= off(chosen) + 1e-6
            if count < len(advice.grads):
                assert off(advice.grads) < off(chosen)
    if advice.wrong_edge:
        assert all(off(()) <= off([grad]) + 1e-6 for grad in at_hand if grad.edge == suits)
    if not advice.needed:
        assert not advice.grads
    assert advice.upside_down == (bool(advice.grads) and ground > sky)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"sky_ev100": math.nan}, "sky_ev100"),
        ({"sky_ev100": 1e308}, "sky_ev100"),
        ({"ground_ev100": -math.inf}, "ground_ev100"),
        ({"skyline": "hilly"}, "skyline"),
        ({"wanted_stops": -1}, "wanted_stops"),
        ({"wanted_stops": math.nan}, "wanted_stops"),
    ],
)
def test_what_is_no_sky_is_refused(changes, field):
    good = {"sky_ev100": 15, "ground_ev100": 12, "skyline": "flat"}
    with pytest.raises(OutOfRange) as refusal:
        Skies(**{**good, **changes})
    assert refusal.value.field == field


@pytest.mark.parametrize(
    ("grad", "field"),
    [(("", 0.6, "hard"), "id"), (("a", -0.1, "hard"), "density"), (("a", math.nan, "hard"), "density"),
     (("a", 7, "hard"), "density"), (("a", 0.6, "reverse"), "edge")],
)  # fmt: skip
def test_what_is_no_grad_is_refused(grad, field):
    with pytest.raises(OutOfRange) as refusal:
        Grad(*grad)
    assert refusal.value.field == field


def test_questions_beyond_the_limits_are_refused():
    """Forty grads may be at hand and four slots free, and no id stands for two of them."""
    scene = Skies(15, 12, "flat")
    many = [Grad(str(number), 0.3, "hard") for number in range(41)]
    assert len(advise(scene, many[:40], free_slots=4).grads) == 2
    for at_hand, free_slots, field in ((many, 2, "grads"), ([HARD[0], HARD[0]], 2, "grads"), (HARD, 5, "free_slots"),
                                       (HARD, -1, "free_slots")):  # fmt: skip
        with pytest.raises(OutOfRange) as refusal:
            advise(scene, at_hand, free_slots)
        assert refusal.value.field == field
