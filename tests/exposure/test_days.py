"""
A day, held to the contract: to every sequence of legal rigs of small days, and to a shortest path through all legal
rigs of larger ones.

Sums are compared as whole millionths, exactly, and the ties with them.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING
from unittest.mock import patch

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.exposure import changes, days
from server.exposure.days import STOPS_MOST, DayPlan, Stop, best_day, hurry_of
from server.exposure.glass import Filter, Holder
from server.exposure.light import Light
from server.exposure.moves import best_moves, cannot_wear
from server.exposure.packing import chain
from server.exposure.refused import OutOfRange
from server.exposure.rig import Body, Hands, Kit, Lens, Look, Rig, check_rig, nearest_rig
from tests.exposure import test_kit_moves as any_glass
from tests.exposure.plain_day import (
    Whole,
    best_of_every_plan,
    change,
    effort,
    every_rig,
    millionths,
    on_lens,
    own,
    sums,
    ties,
    unpacked,
    way,
    whole,
    worth,
)
from tests.exposure.plain_kit import sets_of
from tests.exposure.plain_loop import every_glass, how_many_rigs
from tests.exposure.strategies import hands, kits_and_rigs, light_levels, lights_within_reach, looks, rigs
from tests.exposure.test_rig import hand_after

if TYPE_CHECKING:
    from collections.abc import Sequence

PLANS_A_LOOP_TAKES = 20_000
CHANGES_A_GRAPH_TAKES = 60_000
HURRIES = st.sampled_from((1, 1, 1, 0, 0, 0.5, 2, 3.25, 10, 0.37))
EVEN = st.sampled_from((0.0, 1.0, 1.0, 2.0))  # s, so that much ties
Day = tuple[Kit, Rig, list[Stop]]


@st.composite
def small_days(draw: st.DrawFn) -> Day:
    """One to four stops with so few rigs at each that every sequence of them can be tried."""
    clicks = draw(st.sampled_from((3, 3, 1, 2, 10)))
    body = Body(
        clicks,
        iso_base=(100,),
        iso_allowed=draw(st.sampled_from(((100,), (100, 400)))),
        shutters=draw(st.sampled_from(((0.02,), (0.02, 0.01)))),
        iso_quiet=draw(st.sampled_from((None, 400))),
        built_in_nd=draw(st.sampled_from(((0.0,), (0.0, 2.0)))),
    )
    density = st.sampled_from((0.3, 0.6, 0.6, 0.9, 1.2))
    plates = [Filter(f"plate {n}", "slot", draw(density)) for n in range(draw(st.integers(0, 2)))]
    rounds = [Filter(f"round {n}", "thread", draw(density), thread=77) for n in range(draw(st.integers(0, 2)))]
    smallest = draw(st.sampled_from((2.8, 4 if clicks <= 2 else 3.2)))
    holder = draw(st.sampled_from((Holder(100, 1, (77,)), Holder(100, 2, (77,)), Holder(100, 1, ()), None)))
    hand = draw(st.one_of(hands(), st.builds(Hands, **dict.fromkeys(Hands.__dataclass_fields__, EVEN))))
    kit = Kit(body, Lens(2.8, smallest, 77), holder, tuple(draw(st.permutations(plates + rounds))), hand)
    start = draw(rigs(kit))
    wants = [Look(2.8, 2.8, 3.2, 0.02), draw(looks()), draw(looks())]
    reached = lights_within_reach(kit)
    levels = draw(st.lists(st.one_of(reached, reached, light_levels()), min_size=1, max_size=4))
    stops = [Stop(Light(ev100), draw(st.sampled_from(wants)), draw(HURRIES)) for ev100 in levels]
    assume(math.prod(how_many(kit, start, stops)) <= PLANS_A_LOOP_TAKES)
    return kit, start, stops


@st.composite
def days_with_any_glass(draw: st.DrawFn) -> Day:
    """Up to six stops, with variable ND, worn glass, front rings, step-up rings and a zoom."""
    body = Body(
        draw(st.sampled_from((1, 2, 3))),
        iso_base=(100,),
        iso_allowed=draw(st.sampled_from(((100,), (100, 400)))),
        shutters=(0.02,),
        iso_quiet=draw(st.sampled_from((None, 400))),
        built_in_nd=draw(st.sampled_from(((0.0,), (0.0, 2.0)))),
    )
    pieces = [
        replace(piece, density=0.3, density_to=draw(st.sampled_from((0.5, 0.6, 0.9))))
        if piece.kind == "variable_nd"
        else piece
        for piece in draw(any_glass.pieces())[:4]
    ]
    holders = (Holder(100, 2, (77,), 105), Holder(100, 1, (77, 82), 105), Holder(100, 1, (82,), 105), None)
    kit = Kit(
        body,
        Lens(2.8, 4, draw(st.sampled_from((77, 77, 82))), 0.3, draw(st.sampled_from((None, 3.5)))),
        draw(st.sampled_from(holders)),
        tuple(pieces),
        draw(st.one_of(st.just(Hands()), hands())),
        draw(st.sampled_from(((), ((77, 82),)))),
    )
    start = draw(any_glass.rigs(kit))
    special = {piece.id for piece in kit.filters if piece.worn}
    mountable = sorted({tuple(sorted(on & special)) for _, on in sets_of(kit)})
    stops = []
    for _ in range(draw(st.integers(1, 6))):
        wide, wanted, narrow = sorted(draw(st.tuples(*[st.sampled_from((2.8, 3.5, 4))] * 3)))
        worn = frozenset(draw(st.sampled_from(mountable)))
        look = Look(wanted, wide, narrow, 0.02, worn=worn, long_end=draw(st.booleans()))
        stops.append(Stop(Light(draw(st.integers(60, 140)) / 10), look, draw(HURRIES)))
    assume(not any(cannot_wear(kit, stop.look.worn) for stop in stops))
    assume(sum(a * b for a, b in pairwise((1, *how_many(kit, start, stops)))) <= CHANGES_A_GRAPH_TAKES)
    return kit, start, stops


@st.composite
def days_with_wide_looks(draw: st.DrawFn) -> Day:
    """Up to six stops, with little glass and much for iris and ISO to do."""
    clicks = draw(st.sampled_from((1, 2, 3)))
    density = st.sampled_from((0.3, 0.6, 0.9, 1.2))
    mounts = draw(st.sampled_from((("slot",), ("slot", "thread"), ("slot", "slot"))))
    glass = [
        Filter(f"{mount} {n}", mount, draw(density), thread=77 if mount == "thread" else None)
        for n, mount in enumerate(mounts)
    ]
    body = Body(
        clicks, (100,), draw(st.sampled_from(((100,), (100, 200)))), (0.02,), draw(st.sampled_from((None, 200)))
    )
    lens = Lens(2.8, draw(st.sampled_from((8, 11))), 77)
    kit = Kit(body, lens, Holder(100, 1, (77,)), tuple(glass), draw(st.one_of(st.just(Hands()), hands())))
    stops = []
    for _ in range(draw(st.integers(2, 6))):
        wide, wanted, narrow = sorted(draw(st.tuples(*[st.sampled_from((2.8, 4, 5.6, 8, 11))] * 3)))
        stops.append(Stop(Light(draw(st.integers(80, 160)) / 10), Look(wanted, wide, narrow, 0.02), draw(HURRIES)))
    start = draw(rigs(kit))
    assume(sum(a * b for a, b in pairwise((1, *how_many(kit, start, stops)))) <= CHANGES_A_GRAPH_TAKES)
    return kit, start, stops


HOLDERS = (Holder(100, 1, (77, 82), 105), Holder(100, 2, (82,), 105), Holder(75, 2, (77, 82), 95), None)


@st.composite
def lens_changes(draw: st.DrawFn, some_days: st.SearchStrategy[Day]) -> Day:
    """
    Some of these days, with one or two other lenses on at some of the stops, there and back again: of the same thread,
    of another, of none; with the day's own holder, which may fit only one of them, or with one of its own.
    """
    kit, start, stops = draw(some_days)
    lenses = st.builds(
        Lens, st.sampled_from((2.8, 2.8, 2)), st.just(4), st.sampled_from((77, 82, 77, None)), st.sampled_from((0, 0.3))
    )
    holders = st.sampled_from((kit.holder, kit.holder, *HOLDERS))
    others = [replace(kit, lens=draw(lenses), holder=draw(holders)) for _ in range(draw(st.sampled_from((1, 1, 2))))]
    changed = []
    for stop in stops:
        lens = draw(st.sampled_from((None, *others)))
        bare = lens is not None and cannot_wear(lens, stop.look.worn)
        changed.append(replace(stop, kit=lens, look=replace(stop.look, worn=frozenset()) if bare else stop.look))
    assume(any(stop.kit not in (None, kit) for stop in changed))
    rigs_there = how_many(kit, start, changed)
    assume(sum(a * b for a, b in pairwise((1, *rigs_there))) <= CHANGES_A_GRAPH_TAKES)
    return kit, start, changed


ANY_DAY = st.one_of(small_days(), days_with_any_glass(), days_with_wide_looks())
ANY_DAYS = st.one_of(ANY_DAY, lens_changes(ANY_DAY))


def how_many(kit: Kit, start: Rig, stops: Sequence[Stop]) -> list[int]:
    return [sum(1 for _ in every_rig(own(kit, stop), start, stop.look)) for stop in stops]


def of_plan(kit: Kit, plan: DayPlan) -> list[Whole]:
    return [whole(kit, move.rig) for move in plan.moves]


def legal_plan(kit: Kit, rig: Rig, stops: Sequence[Stop]) -> list[Whole]:
    """The plan's rigs, each of them legal at its stop."""
    plan = of_plan(kit, best_day(kit, rig, stops))
    for each, stop in zip(plan, stops, strict=True):
        assert each in set(every_rig(own(kit, stop), rig, stop.look))
    return plan


def try_every_sequence(kit: Kit, rig: Rig, stops: Sequence[Stop]) -> None:
    plan, start = legal_plan(kit, rig, stops), whole(kit, rig)
    assert (sums(kit, start, stops, plan), ties(kit, start, stops, plan)) == best_of_every_plan(kit, rig, stops)


def ask_a_graph(kit: Kit, rig: Rig, stops: Sequence[Stop]) -> None:
    plan = legal_plan(kit, rig, stops)
    graph = nx.DiGraph()
    before = [whole(kit, rig)]
    for number, stop in enumerate(stops):
        layer = list(every_rig(own(kit, stop), rig, stop.look))
        worths = [worth(own(kit, stop), stop, then) for then in layer]
        graph.add_weighted_edges_from(
            ((number, now), (number + 1, then), way(kit, stop, with_lens, then) + there)
            for now, with_lens in ((now, on_lens(own(kit, stop), now)) for now in before)
            for then, there in zip(layer, worths, strict=True)
        )
        before = layer
    graph.add_weighted_edges_from(((len(stops), last), "end", 0) for last in before)
    shortest = nx.dijkstra_path_length(graph, (0, whole(kit, rig)), "end")
    assert sums(kit, whole(kit, rig), stops, plan) == unpacked(shortest)


@settings(max_examples=400, deadline=None)
@given(small_days())
def test_no_sequence_of_legal_rigs_is_better(day):
    """Every one is tried: the sums are the smallest there are, and of those that have them ours wins the ties."""
    try_every_sequence(*day)


@settings(max_examples=120, deadline=None)
@given(lens_changes(small_days()))
def test_no_sequence_is_better_where_the_lens_is_changed(day):
    """What fits the other lens stays, the rest comes off with the old one, and the hand is counted from there."""
    assume(math.prod(how_many(*day)) <= PLANS_A_LOOP_TAKES)
    try_every_sequence(*day)


@settings(max_examples=60, deadline=None)
@given(st.one_of(days_with_any_glass(), days_with_wide_looks()))
def test_no_path_through_all_legal_rigs_is_shorter(day):
    """A layer of nodes for each stop, every legal rig in it, every change an edge: a graph library's shortest path."""
    ask_a_graph(*day)


@settings(max_examples=80, deadline=None)
@given(lens_changes(days_with_any_glass()))
def test_no_path_is_shorter_where_the_lens_is_changed(day):
    """Variable ND, step-up rings, front rings and plates of two widths, on lenses that take some of them."""
    ask_a_graph(*day)


@settings(max_examples=150, deadline=None)
@given(any_glass.asked(), st.sampled_from((77, 82, None)), st.sampled_from(HOLDERS))
def test_what_stays_with_another_lens_is_the_same_for_one_rig_and_for_many(question, thread, holder):
    """By the words of the plain day, as one rig, and in an array."""
    kit, rig, *_ = question
    other = replace(kit, lens=replace(kit.lens, thread=thread), holder=holder)
    nearest = nearest_rig(other, rig)
    assert whole(other, nearest) == on_lens(other, whole(kit, rig))
    found, one = changes.nearest(other, changes.Rigs.of(kit, rig)), changes.Rigs.of(other, nearest)
    for part in changes.Rigs.__dataclass_fields__:
        assert getattr(found, part).tolist() == getattr(one, part).tolist(), part


@settings(max_examples=60, deadline=None)
@given(kits_and_rigs(), looks())
def test_the_plain_day_has_the_rigs_and_the_seconds_of_the_plain_loop(kit_and_rig, look):
    """What the engine is held to here is the list that a single move is held to."""
    kit, rig = kit_and_rig
    every = list(every_rig(kit, rig, look))
    assert len(every) == len(set(every)) == how_many_rigs(kit, rig)
    start = whole(kit, rig)
    as_it_is = [
        each for each in every if (each.built_in, each.iso, each.shutter) == (start.built_in, start.iso, start.shutter)
    ]
    ours = {each[:2] + each[3:4]: change(kit, start, each._replace(iris=start.iris)) for each in as_it_is}
    for glass in every_glass(kit, rig):
        assert ours[glass[:3]] == (pytest.approx(glass.seconds), pytest.approx(glass.seconds))


@settings(max_examples=150, deadline=None)
@given(ANY_DAYS)
def test_what_a_plan_says_is_so(day):
    """Each move's actions lead by hand from the rig before to its own, and every figure is the contract's for it."""
    kit, rig, stops = day
    c = kit.body.clicks_per_stop
    plan = best_day(kit, rig, stops)
    now = rig
    for stop, move in zip(stops, plan.moves, strict=True):
        lens = own(kit, stop)
        now = nearest_rig(lens, now)
        check_rig(lens, move.rig)
        hand, seconds, glass_seconds = hand_after(lens, now, move.actions)
        assert (hand.on, hand.slots, hand.threads, hand.front) == (
            move.rig.holder_on, set(move.rig.slots), set(move.rig.threads), move.rig.front,
        )  # fmt: skip
        assert (hand.turned, hand.built_in) == (move.rig.turned, move.rig.built_in)
        score = move.score
        assert (score.hand_seconds, score.glass_seconds) == (pytest.approx(seconds), pytest.approx(glass_seconds))
        assert score.effort == pytest.approx(stop.hurry * seconds + kit.hands.stray * score.off_wanted / c)
        assert millionths(score.effort) == pytest.approx(
            effort(kit, stop, whole(kit, now), whole(kit, move.rig)), abs=1
        )
        assert score.miss == pytest.approx(max(0, abs(move.residual) - c * stop.look.tolerance), abs=1e-9)
        now = move.rig
    found = sums(kit, whole(kit, rig), stops, of_plan(kit, plan))
    score = plan.score
    ours = (score.miss, score.off_look, score.shutter_off, score.iso_lift, score.effort, score.residual)
    assert ours == pytest.approx([part / 1e6 for part in found], abs=1e-9)
    for name in ("hand_seconds", "glass_seconds", "off_wanted"):
        total = sum(round(getattr(move.score, name), 6) for move in plan.moves)
        assert getattr(score, name) == pytest.approx(total, abs=1e-9)


@settings(max_examples=150, deadline=None)
@given(ANY_DAYS)
def test_looking_ahead_is_never_worse_than_stop_by_stop(day):
    """The chain of clean moves is one of the plans; its effort is counted the same way."""
    kit, rig, stops = day
    plan = best_day(kit, rig, stops)
    walked = chain([(own(kit, stop), stop.light, stop.look) for stop in stops], rig)
    by_itself = sums(kit, whole(kit, rig), stops, [whole(kit, move.rig) for move in walked])
    assert sums(kit, whole(kit, rig), stops, of_plan(kit, plan)) <= by_itself
    assert plan.stop_by_stop_effort == pytest.approx(by_itself[4] / 1e6, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(ANY_DAYS)
def test_a_day_of_one_stop_is_as_good_as_the_clean_move(day):
    kit, rig, (stop, *_) = day
    stop = replace(stop, hurry=1)
    (answers,) = best_moves(own(kit, stop), nearest_rig(own(kit, stop), rig), [(stop.light, stop.look)])
    plan = best_day(kit, rig, [stop])
    start = whole(kit, rig)
    assert sums(kit, start, [stop], of_plan(kit, plan)) == sums(kit, start, [stop], [whole(kit, answers.clean.rig)])


@settings(max_examples=60, deadline=None)
@given(ANY_DAYS)
def test_same_day_has_the_same_plan_however_it_is_worked_through(day):
    """Asked again, with every figure made anew; and in parts, where they are cut must not show."""
    kit, rig, stops = day
    plan = best_day(kit, rig, stops)
    anew = [replace(stop, kit=replace(own(kit, stop))) for stop in stops]
    assert best_day(replace(kit), replace(rig), anew) == plan
    with patch.object(changes, "CELLS_AT_ONCE", 1), patch.object(days, "PAIRS_AT_ONCE", 1):
        assert best_day(kit, rig, stops) == plan


# Only f/4, 1 s and ISO 100, which is EV 4; with the plate on 1.993 stops more.
AT_F4 = Look(4, 4, 4, 1.0, 0, 0)
PLATE = Filter("plate", "slot", 0.6)
KIT = Kit(Body(3, (100,), (100,), (1.0,)), Lens(4, 4, 77), Holder(100, 1, (77,)), (PLATE,))
OFF = Rig(False, (), (), 0, 4, 1.0, 100)
FREE = Hands(**dict.fromkeys(Hands.__dataclass_fields__, 0.0))
BARE, DARK = Light(4), Light(4 + 0.6 * math.log2(10))


def does(plan: DayPlan) -> list[list[str]]:
    return [[action.do for action in move.actions] for move in plan.moves]


def test_hurry_moves_glass_to_the_calm_gap():
    """
    The plate goes into the holder, which stays off, while there is time; then only the holder goes on.

    By hand: drop in 4 s, counted 0 times; holder on 3 s, counted 10 times. Stop by stop: both at once, 7 s 10 times.
    """
    plan = best_day(KIT, OFF, [Stop(BARE, AT_F4, 0), Stop(DARK, AT_F4, 10)])
    assert does(plan) == [["drop_in"], ["holder_on"]]
    assert [move.score.effort for move in plan.moves] == [0, 30]
    assert (plan.score.effort, plan.score.hand_seconds, plan.score.glass_seconds) == (30, 7, 7)
    assert plan.stop_by_stop_effort == 70
    # The other way round there is no use in an early hand.
    plan = best_day(KIT, OFF, [Stop(BARE, AT_F4, 10), Stop(DARK, AT_F4, 0)])
    assert does(plan) == [[], ["drop_in", "holder_on"]]
    assert plan.score.effort == 0


def test_of_plans_that_tie_the_glass_is_touched_earliest_and_never_in_vain():
    """As long at one stop as at another: at the first. Nothing is touched that no stop needs, not even for nothing."""
    assert does(best_day(KIT, OFF, [Stop(BARE, AT_F4)] * 3 + [Stop(DARK, AT_F4)])) == [
        ["drop_in"],
        [],
        [],
        ["holder_on"],
    ]
    assert does(best_day(KIT, OFF, [Stop(BARE, AT_F4, 0)] * 3)) == [[], [], []]
    held = replace(OFF, holder_on=True, slots=("plate",))
    assert does(best_day(KIT, held, [Stop(DARK, AT_F4, 0), Stop(BARE, AT_F4)])) == [[], ["holder_off"]]


def test_ways_that_end_are_left_out():
    """Two rigs tie at the first stop; from the first only the change with the larger key goes on."""
    ways = [np.array([[True, True]]), np.eye(2, dtype=bool)]
    first, second = days._first(ways, [np.array([[5, 5]]), np.array([[2, 0], [0, 1]])])
    assert first.tolist() == [[False, True]]
    assert second.tolist() == [[False, False], [False, True]]


def test_looks_ahead():
    """
    Two stops less light for one stop in between, f/8 wanted, a holder that is slow to put on, and plates that are stuck.

    By hand: leaving the plate on, open two stops and close them again, 0.9 s each, and two stops' stray, 6 s: 7.8 s.
    Stop by stop: holder off, 2 s; then with f/16 two stops' stray and 0.9 s rather than 8 s for the holder: 8.9 s.
    """
    kit = replace(KIT, lens=Lens(4, 16, 77), hands=Hands(holder_on=8, pull=20, drop_in=20))
    held = Rig(True, ("plate",), (), 0, 8, 1.0, 100)
    look = Look(8, 4, 16, 1.0)
    lights = [Light(6 + 0.6 * math.log2(10)), Light(6), Light(6 + 0.6 * math.log2(10))]
    plan = best_day(kit, held, [Stop(light, look) for light in lights])
    assert does(plan) == [[], ["open"], ["close"]]
    assert (plan.score.effort, plan.stop_by_stop_effort) == (pytest.approx(7.8), pytest.approx(8.9))


def test_holder_is_refilled_while_it_is_off_where_that_is_calmest():
    """
    One plate in, another needed three stops later: swapped at the stop in between where the hand has most time.

    By hand: holder off 2 s, twice; pull 3 s and drop in 10 s, once; holder on 3 s, twice. Pulling at once and dropping in
    at the end, the holder on all the while, is twice 13 s.
    """
    other = Filter("other", "slot", 1.2)
    kit = replace(KIT, filters=(PLATE, other), hands=Hands(drop_in=10))
    held = replace(OFF, holder_on=True, slots=("plate",))
    darker = Light(4 + 1.2 * math.log2(10))
    stops = [Stop(BARE, AT_F4, 2), Stop(BARE, AT_F4, 3), Stop(BARE, AT_F4, 1), Stop(darker, AT_F4, 2)]
    plan = best_day(kit, held, stops)
    assert does(plan) == [["holder_off"], [], ["pull", "drop_in"], ["holder_on"]]
    assert plan.score.effort == 2 * 2 + 1 * (3 + 10) + 2 * 3
    assert plan.moves[2].rig == replace(OFF, slots=("other",))


def test_what_is_in_the_front_ring_stays_there_while_the_holder_is_off():
    """Off for one stop and on again: the polariser needs no hand."""
    polariser = Filter("polariser", "front", 0.4, thread=105, kind="polariser")
    kit = replace(KIT, holder=Holder(100, 1, (77,), 105), filters=(polariser,))
    held = replace(OFF, holder_on=True, front="polariser")
    worn = Stop(Light(4 + 0.4 * math.log2(10)), replace(AT_F4, worn=frozenset({"polariser"})))
    plan = best_day(kit, held, [worn, Stop(BARE, AT_F4), worn])
    assert does(plan) == [[], ["holder_off"], ["holder_on"]]
    assert [move.rig.front for move in plan.moves] == ["polariser"] * 3


NO_RING = replace(KIT, lens=Lens(4, 4, 95))  # for this lens there is no adapter ring
WIDER = replace(KIT, lens=Lens(4, 4, 82), holder=Holder(100, 1, (77, 82)))


def test_glass_is_exchanged_in_the_calm_gap_before_the_lens_change():
    """
    The holder fits only the lens that comes on later: its plate is dropped in while there is time, on the way to a stop
    whose own lens has no use for it.

    By hand: drop in 4 s, counted 0 times; holder on 3 s, counted 10 times. Stop by stop: 7 s 10 times.
    """
    stops = [Stop(BARE, AT_F4, 0, NO_RING), Stop(DARK, AT_F4, 10)]
    plan = best_day(KIT, OFF, stops)
    assert does(plan) == [["drop_in"], ["holder_on"]]
    assert (plan.score.effort, plan.stop_by_stop_effort) == (30, 70)
    # Without any holder on the way the plate would not stay; it is not dropped in for nothing.
    none = Stop(BARE, AT_F4, 10, replace(NO_RING, holder=None))
    assert does(best_day(KIT, OFF, [stops[0], none, stops[1]])) == [[], [], ["drop_in", "holder_on"]]


def test_a_screwed_on_filter_goes_with_its_lens():
    """
    Another lens for one stop without glass. By hand: 12 s to screw it on again, since it came off with the old lens;
    where the other lens has the same thread it stayed, so 10 s to unscrew it are added.
    """
    ring = Filter("ring", "thread", 0.6, thread=77)
    kit = replace(KIT, filters=(ring,), holder=None)
    screwed = replace(OFF, threads=("ring",))
    for thread, actions, seconds in ((82, [], 12), (77, ["unscrew"], 22)):
        other = replace(kit, lens=Lens(4, 4, thread))
        plan = best_day(kit, screwed, [Stop(DARK, AT_F4), Stop(BARE, AT_F4, kit=other), Stop(DARK, AT_F4)])
        assert does(plan) == [[], actions, ["screw_on"]]
        assert (plan.score.effort, plan.moves[1].rig.threads) == (seconds, ())


def test_a_holder_stays_on_where_the_other_lens_has_its_ring():
    """And comes off with the lens, for nothing, where it has not; what is in it stays there."""
    held = replace(OFF, holder_on=True, slots=("plate",))
    stays = best_day(WIDER, held, [Stop(DARK, AT_F4, kit=replace(WIDER, lens=KIT.lens))])
    assert (does(stays), stays.moves[0].rig) == ([[]], held)
    plan = best_day(KIT, held, [Stop(BARE, AT_F4, kit=NO_RING), Stop(DARK, AT_F4)])
    assert does(plan) == [[], ["holder_on"]]
    assert plan.moves[0].rig == replace(held, holder_on=False)


def test_of_plates_that_a_smaller_holder_has_no_room_for_the_first_of_the_kit_stay():
    """
    Two are in, the other lens's holder takes one, and its stop needs the lighter one. By hand: where that is the kit's
    first, nothing is left to do; else the other one is pulled, 3 s, and it is dropped in, 4 s.
    """
    other = Filter("other", "slot", 0.9)
    held = replace(OFF, holder_on=True, slots=("other", "plate"))
    for filters, actions, seconds in (((PLATE, other), [], 0), ((other, PLATE), ["pull", "drop_in"], 7)):
        kit = replace(KIT, holder=Holder(100, 2, (77,)), filters=filters)
        plan = best_day(kit, held, [Stop(DARK, AT_F4, kit=replace(kit, holder=KIT.holder))])
        assert does(plan) == [actions]
        assert (plan.score.effort, plan.moves[0].rig.slots) == (seconds, ("plate",))


def test_a_plate_of_no_use_may_spare_the_pulling_of_another():
    """
    Plates are stuck. The one for any holder is in, and must not be there on the last lens, whose holder is narrow.

    By hand: dropping in the wide one, 1 s, which the smaller holder then keeps instead, and which falls out of the narrow
    one by itself; the narrow one in, 1 s, and holder on, 3 s. Otherwise 20 s to pull what is in.
    """
    wide, narrow = Filter("wide", "slot", 3, width=100), Filter("narrow", "slot", 1.2, width=75)
    kit = replace(
        KIT, holder=Holder(100, 2, (77,)), filters=(wide, PLATE, narrow), hands=Hands(pull=20, drop_in=1, holder_on=3)
    )
    small, last = replace(kit, holder=Holder(100, 1, (77,))), replace(kit, holder=Holder(75, 1, (77,)))
    darker = Light(4 + 1.2 * math.log2(10))
    stops = [Stop(BARE, AT_F4), Stop(BARE, AT_F4, kit=small), Stop(darker, AT_F4, kit=last)]
    plan = best_day(kit, replace(OFF, slots=("plate",)), stops)
    assert does(plan) == [["drop_in"], [], ["drop_in", "holder_on"]]
    assert plan.score.effort == 5


def test_what_comes_off_with_the_lens_counts_in_no_tie():
    """
    A plate or a ring for the first stop, both 4 s by hand, and neither fits the lens that comes on then: nothing is
    pulled, unscrewed or taken off. Of equal ones the kit's first, else the one that is nearer to the light.
    """
    hand, ring = Hands(drop_in=1, holder_on=3, screw_on=4), Filter("ring", "thread", 0.6, thread=77)
    look = replace(AT_F4, tolerance=0.2)
    near = replace(PLATE, density=0.62)  # within the tolerance, a fifth of a click off
    for filters, on in (((PLATE, ring), "plate"), ((ring, PLATE), "ring"), ((near, ring), "ring")):
        kit = replace(KIT, filters=filters, hands=hand)
        stops = [Stop(DARK, look), Stop(BARE, look, kit=replace(kit, lens=NO_RING.lens))]
        plan = best_day(kit, OFF, stops)
        assert [move.rig.on_lens for move in plan.moves] == [(on,), ()]
        assert (plan.score.effort, plan.score.glass_seconds) == (4, 4)


def test_a_variable_nd_comes_back_as_any_filter_where_the_other_lens_cannot_use_it():
    """It stays on the thread that it fits, and is unscrewed where it is not wanted; from there it is set for nothing."""
    ring = Filter("v", "thread", 0.6, thread=77, kind="variable_nd", density_to=1.8)
    kit = replace(KIT, filters=(ring,), holder=None)
    on = replace(OFF, threads=("v",), turned=DARK.ev100 - 4)
    stops = [Stop(DARK, AT_F4), Stop(BARE, AT_F4, kit=replace(kit, lens=Lens(4, 4, 77, 0.0, 4))), Stop(DARK, AT_F4)]
    plan = best_day(kit, on, stops)
    assert does(plan) == [[], ["unscrew"], ["screw_on", "turn"]]
    assert plan.score.effort == 22


@pytest.mark.parametrize(
    ("other", "came"),
    [
        (replace(KIT, body=Body(3, (100,), (100, 200), (1.0,))), "other body"),
        (replace(KIT, filters=(PLATE, Filter("more", "slot", 0.3))), "other filters"),
        (replace(KIT, hands=Hands(pull=4), step_ups=((67, 77),)), "other hands, step-ups"),
    ],
)
def test_refused_kit(other, came):
    """A day has one body, one pouch and one pair of hands; only lens and holder change."""
    with pytest.raises(OutOfRange) as refused:
        best_day(KIT, OFF, [Stop(BARE, AT_F4), Stop(BARE, AT_F4, kit=WIDER), Stop(BARE, AT_F4, kit=other)])
    assert (refused.value.field, refused.value.came) == ("stops.2.kit", came)


@pytest.mark.parametrize(
    ("minutes", "hurry"),
    [(10, 1), (5, 2), (20, 0.5), (60, 0.17), (1.5, 6.67), (1, 10), (0.99, 10), (0, 10), (-5, 10), (24 * 60, 0.01)],
)
def test_hurry_of_a_gap(minutes, hurry):
    """Ten minutes count once, half the time twice, a minute and less ten times. Common practice, no source."""
    assert hurry_of(timedelta(minutes=minutes)) == hurry
    assert Stop(BARE, AT_F4, hurry_of(timedelta(minutes=minutes))).hurry == hurry


def test_nobody_knows_how_early_the_first_arrival_is():
    """It counts as an hour, which is a sixth."""
    assert hurry_of(None) == 0.17


def test_of_equal_filters_the_first_of_the_kit_goes_on():
    """Tied to the last digit: fewest filters on the lens, then the order of the kit."""
    twins = tuple(Filter(name, "slot", 0.6) for name in ("b", "a", "c"))
    clear = Filter("clear", "slot", 0.0)
    kit = replace(KIT, holder=Holder(100, 3, (77,)), filters=(clear, *twins))
    for hand in (Hands(), FREE):
        plan = best_day(replace(kit, hands=hand), OFF, [Stop(BARE, AT_F4), Stop(DARK, AT_F4)])
        assert plan.moves[1].rig.slots == ("b",)


def test_kit_s_order_decides_wherever_a_filter_goes():
    """A plate or a ring, and two pairs of plates, all tied: by the kit, not by where or how they are mounted."""
    ring = Filter("ring", "thread", 0.6, thread=77)
    for first, second in ((PLATE, ring), (ring, PLATE)):
        kit = replace(KIT, filters=(first, second), hands=FREE)
        assert best_day(kit, OFF, [Stop(DARK, AT_F4)]).moves[0].rig.on_lens == (first.id,)
    plates = tuple(Filter(f"{d}", "slot", d) for d in (0.3, 0.4, 0.5, 0.6))
    kit = replace(KIT, holder=Holder(100, 2, (77,)), filters=plates, hands=FREE)
    plan = best_day(kit, OFF, [Stop(Light(4 + 0.9 * math.log2(10)), AT_F4)])
    assert set(plan.moves[0].rig.slots) == {"0.3", "0.6"}


def test_variable_nd_that_is_slow_to_turn_is_left():
    """
    A stop more light, then a stop less. By hand: the iris, 0.45 s and a stop's stray, 3 s, and 0.45 s back, is 3.9 s; a
    stop of the filter is 5 s, and 1 s back and forth where it is quick.
    """
    ring = Filter("v", "thread", 0.6, thread=77, kind="variable_nd", density_to=1.8)
    start = Rig(False, (), ("v",), 0, 4, 1.0, 100, None, 0.6 * math.log2(10))
    look = Look(4, 4, 5.6, 1.0, 0, 0)
    stops = [Stop(Light(DARK.ev100 + more), look) for more in (1, 0)]
    for turn, actions, seconds in ((5, [["close"], ["open"]], 3.9), (0.5, [["turn"], ["turn"]], 1)):
        kit = replace(KIT, lens=Lens(4, 5.6, 77), filters=(ring,), hands=Hands(turn=turn))
        plan = best_day(kit, start, stops)
        assert does(plan) == actions
        assert plan.score.effort == pytest.approx(seconds)


def test_start_s_iso_and_shutter_are_legal_all_day():
    """ISO 640 at the start, though the body's list has only 100: dark enough at the second stop to be the best."""
    kit = replace(KIT, filters=(), body=Body(3, (100,), (100,), (1.0,), 640))
    start = replace(OFF, iso=640)
    plan = best_day(kit, start, [Stop(BARE, AT_F4), Stop(Light(4 - 8 / 3), AT_F4)])
    assert [move.rig.iso for move in plan.moves] == [100, 640]


def test_parts_are_rounded_before_they_are_added():
    """
    Three stops a click brighter than f/4: f/4.5 each time, or ISO 80 once.

    By hand: a click of stray is 0.3333334 s, which counts as 0.333333 three times: 0.999999 s. The ISO takes 1 s, though
    unrounded it would be the less.
    """
    body = Body(3, (80, 100), (80, 100), (1.0,))
    kit = Kit(body, Lens(4, 5.6), hands=Hands(iris=0, iso=1, stray=1.0000002))
    stop = Stop(Light(4 + 1 / 3), Look(4, 4, 4.5, 1.0, 0, 0))
    plan = best_day(kit, OFF, [stop] * 3)
    assert [(move.rig.aperture, move.rig.iso) for move in plan.moves] == [(4.5, 100)] * 3
    assert plan.score.effort == 0.999999
    assert best_day(kit, OFF, [stop] * 4).moves[-1].rig.iso == 80  # 1 s is less than 4 times 0.333333 s


def test_hands_in_whole_seconds_are_added_whole():
    """Two plates at 200 s each are 400 s."""
    kit = replace(KIT, holder=Holder(100, 2, (77,)), filters=(PLATE, replace(PLATE, id="other")))
    darker = Stop(Light(4 + 1.2 * math.log2(10)), AT_F4)
    plan = best_day(replace(kit, hands=Hands(drop_in=200, holder_on=0)), OFF, [darker])
    assert (plan.score.hand_seconds, plan.score.effort) == (400, 400)


def pouch(count: int) -> tuple[Filter, ...]:
    """Plates from 0.15 D up in steps of 0.15, no two the same."""
    return tuple(Filter(f"plate {n + 1}", "slot", round(0.15 * (n + 1), 2)) for n in range(count))


def test_stops_most():
    """As many stops as are allowed are planned; one more, and none, are refused."""
    stops = [Stop(BARE if n % 3 else DARK, AT_F4) for n in range(STOPS_MOST)]
    assert len(best_day(KIT, OFF, stops).moves) == STOPS_MOST
    for wrong in ([], [*stops, stops[0]]):
        with pytest.raises(OutOfRange) as refused:
            best_day(KIT, OFF, wrong)
        assert (refused.value.field, refused.value.came) == ("stops", f"{len(wrong)} stops")


@pytest.mark.parametrize("hurry", [-0.1, 10.1, math.nan, math.inf])
def test_hurry_has_its_limits(hurry):
    with pytest.raises(OutOfRange) as refused:
        Stop(BARE, AT_F4, hurry)
    assert refused.value.field == "hurry"


BIG = replace(KIT, lens=Lens(1, 22, 77), holder=Holder(100, 3, (77,)), filters=pouch(8))
WIDE = Look(4, 1, 22, 1.0)
SUN = [Stop(Light(9 + n / 3), WIDE) for n in range(4)]
LIMITS = {
    "SETS_MOST": (changes, 93, "filters"),  # ways to fill 3 slots of 8 plates: 1 + 8 + 28 + 56
    "SETUPS_A_STOP_MOST": (days, 94, "filters"),  # the same on the lens, and nothing
    "CELLS_A_STOP_MOST": (days, 2 * 93 * 28, "stops"),  # the holder on or off, and 28 irises
    "CELLS_A_DAY_MOST": (days, 4 * 2 * 93 * 28, "stops"),
}


@pytest.mark.parametrize("limit", LIMITS)
def test_a_day_at_a_limit_is_planned_and_one_beyond_it_is_refused(limit):
    """It stays exact, or says no."""
    where, most, field = LIMITS[limit]
    plan = best_day(BIG, OFF, SUN)
    with patch.object(where, limit, most):
        assert best_day(BIG, OFF, SUN) == plan
    with patch.object(where, limit, most - 1), pytest.raises(OutOfRange) as refused:
        best_day(BIG, OFF, SUN)
    assert refused.value.field == field
    assert refused.value.came.startswith(str(most))


def test_the_arrays_between_two_lenses_are_held_to_the_limits():
    """
    Many irises on the first lens, which has no holder, and many ways to fill the second one's: by hand 28 irises, and
    93 ways on or off the lens. Neither stop has so many rigs alone.
    """
    stops = [replace(SUN[0], kit=replace(BIG, holder=None)), Stop(SUN[0].light, Look(5.6, 5.6, 5.6, 1.0))]
    plan = best_day(BIG, OFF, stops)
    with patch.object(days, "CELLS_A_STOP_MOST", 2 * 93 * 28):
        assert best_day(BIG, OFF, stops) == plan
    with patch.object(days, "CELLS_A_STOP_MOST", 2 * 93 * 28 - 1), pytest.raises(OutOfRange) as refused:
        best_day(BIG, OFF, stops)
    assert refused.value.field == "stops"


@pytest.mark.parametrize("limit", ["RIGS_A_DAY_MOST", "PAIRS_MOST"])
def test_a_day_with_too_many_good_rigs_is_refused(limit):
    """Those with the best picture, and those of plans that are as good as the best."""
    with patch.object(days, limit, 5), pytest.raises(OutOfRange) as refused:
        best_day(BIG, OFF, SUN)
    assert refused.value.field == "stops"


@pytest.mark.parametrize(("hand", "hurry"), [(Hands(), 1), (Hands(), 0), (FREE, 1)])
def test_few_changes_are_looked_at_one_by_one(hand, hurry):
    """At each stop some 90 rigs have the best picture; where the hand counts nothing, all of them tie."""
    stops = [replace(stop, hurry=hurry) for stop in SUN]
    with patch.object(days, "PAIRS_MOST", 200):
        plan = best_day(replace(BIG, hands=hand), OFF, stops)
    assert len(plan.moves) == len(SUN)


@pytest.mark.parametrize("hand", Hands.__dataclass_fields__)
def test_hands_that_do_everything_else_for_nothing_are_planned(hand):
    """All that ties but for one thing is looked at, and is not too much."""
    plan = best_day(replace(BIG, hands=replace(FREE, **{hand: 2.0})), OFF, SUN)
    assert plan.score.effort <= 20


def test_what_cannot_be_worn_is_refused_by_its_stop():
    look = replace(AT_F4, worn=frozenset({"lost"}))
    with pytest.raises(OutOfRange) as refused:
        best_day(KIT, OFF, [Stop(BARE, AT_F4), Stop(BARE, look)])
    assert refused.value.field == "stops.1.look.worn"


def test_rig_of_another_kit_is_refused():
    with pytest.raises(OutOfRange) as refused:
        best_day(KIT, replace(OFF, slots=("somebody else's",)), [Stop(BARE, AT_F4)])
    assert refused.value.field == "rig.slots"


def test_a_day_keeps_to_shutters_that_are_steady_under_its_lamps():
    """1/60 holds one whole pulse of 120 a second, 1/50 does not: where a look has lamps, only 1/60 is used."""
    body = Body(3, (100,), (100, 200, 400, 800), (1 / 50, 1 / 60))
    kit = Kit(body, Lens(1.8, 16), None, ())
    bare = Rig(False, (), (), 0, 2.8, 1 / 50, 100)
    sun, lamps = Look(2.8, 1.8, 16, 1 / 50), Look(2.8, 1.8, 16, 1 / 50, mains=60)
    plan = best_day(kit, bare, [Stop(Light(9.0), sun), Stop(Light(9.0), lamps), Stop(Light(9.0), sun)])
    assert [move.rig.shutter for move in plan.moves] == [1 / 50, 1 / 60, 1 / 50]
