"""Every kind of glass, on lenses with rings and zooms: the engine's answers against every legal rig, listed plainly."""

from __future__ import annotations

import math
from dataclasses import replace
from unittest.mock import patch

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.exposure import moves
from server.exposure.glass import Filter, Holder, why_not
from server.exposure.light import Light
from server.exposure.moves import (
    CELLS_MOST,
    Pictures,
    best_moves,
    best_pictures,
    cannot_wear,
    no_steady_shutter,
    other_ways,
)
from server.exposure.refused import OutOfRange
from server.exposure.rig import Body, Hands, Kit, Lens, Look, Rig, actions, check_rig, glass_stops, nearest_rig
from tests.exposure.plain_kit import D, every_rig, every_way, score_of, sets_of, turns
from tests.exposure.plain_loop import iris_of, iso_of
from tests.exposure.test_rig import hand_after

SECONDS = st.integers(0, 120).map(lambda n: n / 10)
DENSITY = st.sampled_from((0.3, 0.6, 0.75, 0.9, 1.2, 1.8))
WIDEST = ((1.8, 1.8), (2.8, 4), (2, None))


@st.composite
def pieces(draw: st.DrawFn) -> tuple[Filter, ...]:
    made = []
    for n in range(draw(st.sampled_from((3, 4, 5, 2, 1)))):
        kind = draw(st.sampled_from(("nd", "variable_nd", "nd", "variable_nd", "grad", "polariser", "diffusion")))
        mount = draw(
            st.sampled_from(("slot", "thread") if kind in ("nd", "variable_nd") else ("slot", "thread", "front"))
        )
        if kind == "grad":
            mount = "slot"
        made.append(
            Filter(
                f"piece {n}",
                mount,
                draw(DENSITY),
                width=draw(st.sampled_from((None, 100, 100, 75))) if mount == "slot" else None,
                thread=draw(st.sampled_from((77, 77, 82) if mount == "thread" else (105, 105, 95)))
                if mount != "slot"
                else None,
                kind=kind,
                density_to=2.1 if kind == "variable_nd" else None,
                measured=draw(st.sampled_from((None, 0.55, 1.3))) if kind in ("nd", "polariser") else None,
                edge="soft" if kind == "grad" else None,
            )
        )
    return tuple(made)


@st.composite
def asked(draw: st.DrawFn) -> tuple[Kit, Rig, float, Look]:
    """A kit, a rig on the camera, a light level and a look that this kit may be able to wear."""
    widest, long = draw(st.sampled_from(WIDEST))
    body = Body(
        draw(st.sampled_from((3, 2, 1))),
        iso_base=(100,),
        iso_allowed=(100, 200, 800),
        shutters=draw(st.sampled_from(((0.02,), (0.02, 0.01), (0.02, 1 / 60), (1 / 48, 1 / 60)))),
        iso_quiet=draw(st.sampled_from((None, 200))),
        built_in_nd=draw(st.sampled_from(((0.0,), (0.0, 2.0, 4.0)))),
    )
    holder = draw(
        st.sampled_from(
            (
                Holder(100, 2, (77,), 105),
                Holder(100, 3, (77, 82), 105),
                Holder(100, 1, (82,), 105),
                Holder(75, 3, (77, 82), 95),
                None,
            )
        )
    )
    hands = draw(st.one_of(st.just(Hands()), st.builds(Hands, **dict.fromkeys(Hands.__dataclass_fields__, SECONDS))))
    kit = Kit(
        body,
        Lens(widest, 8, draw(st.sampled_from((77, 77, 82, 77, None))), 0.3, long),
        holder,
        draw(pieces()),
        hands,
        draw(st.sampled_from(((), ((77, 82),)))),
    )
    special = {f.id for f in kit.filters if f.worn}
    mountable = sorted(
        {tuple(sorted(on & special)) for _, on in sets_of(kit)}
    )  # mostly what can be worn, often something
    worn = st.one_of(
        st.sampled_from(mountable),
        st.sampled_from([some for some in mountable if some] or mountable),
        st.sets(st.sampled_from(sorted(special) or ["lost"]), max_size=2),
    )
    wide, wanted, narrow = sorted(draw(st.tuples(*[st.sampled_from((2, 2.8, 4, 5.6))] * 3)))
    look = Look(
        wanted,
        wide,
        narrow,
        0.02,
        worn=frozenset(draw(worn)),
        long_end=draw(st.booleans()),
        mains=draw(st.sampled_from((None, None, None, 50, 60))),
    )
    return kit, draw(rigs(kit)), draw(st.integers(20, 180)) / 10, look


@st.composite
def rigs(draw: st.DrawFn, kit: Kit) -> Rig:
    """Whatever anybody may have put on, as far as it fits."""
    ids = [f.id for f in kit.filters]
    variables = [f.id for f in kit.filters if f.kind == "variable_nd"]
    mountable = sorted({f for _, on in sets_of(kit) for f in on if f in variables})
    first = draw(st.sampled_from((*mountable, *mountable, None)))  # often one that can be turned from where it is
    held = first is not None and kit.filter(first).mount == "slot"
    others = [f for f in ids if f not in variables]
    chosen = [] if first is None else [first]
    chosen += draw(st.lists(st.sampled_from(others), unique=True, max_size=2)) if others else []
    rig = Rig(
        holder_on=draw(st.sampled_from((held, held, not held))),
        slots=tuple(chosen),
        threads=tuple(chosen),
        built_in=draw(st.sampled_from(kit.body.built_in_nd)),
        aperture=draw(st.sampled_from((2, 2.8, 5.6, 11))),
        shutter=0.02,
        iso=draw(st.sampled_from((100, 400))),
        front=draw(st.sampled_from((None, *chosen))),
    )
    fitted = nearest_rig(kit, rig)
    if fitted.turned is not None:
        variable = next(f for f in kit.filters if f.kind == "variable_nd" and f.id in fitted.on_lens)
        clear, dark = variable.density * D, variable.density_to * D
        by_feel = st.integers(1, 999).map(lambda n: clear + (dark - clear) * n / 1000)
        fitted = replace(fitted, turned=draw(st.one_of(st.sampled_from(variable.positions), by_feel)))
    return fitted


def as_scored(kit: Kit, rig: Rig) -> tuple:
    """A rig by what the plain list knows it by."""
    on = frozenset(rig.on_lens)
    turned = None if rig.turned is None else round(rig.turned, 6)
    return (
        rig.holder_on,
        on,
        turned,
        rig.built_in,
        iris_of(rig.aperture, kit.body.clicks_per_stop),
        iso_of(rig.iso),
        rig.shutter,
    )


@settings(deadline=None, max_examples=600)
@given(asked())
def test_no_legal_rig_of_any_glass_is_better(question):
    """Both answers are the smallest tuple of every legal rig, ties broken by filters and their order."""
    kit, rig, ev100, look = question
    every = list(every_rig(kit, rig, ev100, look))
    if not every:
        assert cannot_wear(kit, look.worn) or no_steady_shutter(kit, rig, look)
        with pytest.raises(OutOfRange):
            best_moves(kit, rig, [(Light(ev100), look)])
        return
    assert not cannot_wear(kit, look.worn)
    assert not no_steady_shutter(kit, rig, look)
    (answers,) = best_moves(kit, rig, [(Light(ev100), look)])
    for move, fast in ((answers.clean, False), (answers.fast, True)):
        check_rig(kit, move.rig)
        best = min(score_of(kit, look, one, fast=fast) for one in every)
        mine = [
            one
            for one in every
            if (
                one.way.held,
                one.way.on,
                one.way.turned and round(one.way.turned, 6),
                one.way.built_in,
                one.iris,
                one.iso,
                one.shutter,
            )
            == as_scored(kit, move.rig)
        ]
        assert len(mine) == 1, "the answer is none of the legal rigs"
        ours = score_of(kit, look, mine[0], fast=fast)
        assert ours[0] == pytest.approx(best[0], abs=2e-6)
        assert ours[1] == best[1]
        assert move.residual == pytest.approx(mine[0].residual, abs=1e-9)
        assert sum(a.seconds for a in actions(kit, rig, move.rig)) == pytest.approx(mine[0].hand_seconds)
        assert move.score.glass_seconds == pytest.approx(mine[0].way.glass_seconds)
        assert glass_stops(kit, move.rig) == pytest.approx(mine[0].way.stops + kit.lens.loss_stops)


@settings(deadline=None, max_examples=300)
@given(asked())
def test_other_ways_are_those_that_no_rig_beats(question):
    """On hand seconds, clicks from the wanted iris and ISO lift at once, among the rigs with the smallest miss."""
    kit, rig, ev100, look = question
    every = list(every_rig(kit, rig, ev100, look))
    assume(every)
    least = min(score_of(kit, look, one, fast=False)[0][0] for one in every)
    near = [one for one in every if score_of(kit, look, one, fast=False)[0][0] == least]
    off = min(one.shutter_off for one in near)
    measures = {(round(one.hand_seconds, 6), one.off_wanted, one.iso_lift) for one in near if one.shutter_off == off}
    unbeaten = sorted(
        m for m in measures if not any(o != m and all(a <= b for a, b in zip(o, m, strict=True)) for o in measures)
    )
    found = other_ways(kit, rig, Light(ev100), look)
    for move in found:
        check_rig(kit, move.rig)
    ours = [(round(m.score.hand_seconds, 6), m.score.off_wanted, m.score.iso_lift) for m in found]
    assert sorted(ours) == unbeaten
    assert [m[0] for m in ours] == sorted(m[0] for m in ours)


@settings(deadline=None, max_examples=120)
@given(asked())
def test_best_picture_and_every_setup_that_gets_it(question):
    """The parts are the smallest of every legal rig; the setups are those, and only those, with a rig that has them."""
    kit, rig, ev100, look = question
    every = list(every_rig(kit, rig, ev100, look))
    own = {*kit.body.iso_allowed}
    shutters = set(kit.body.shutters)
    every = [one for one in every if one.shutter in shutters and one.iso in {iso_of(speed) for speed in own}]
    assume(every)

    def parts(one):
        return (score_of(kit, look, one, fast=False)[0][0], one.off_look, one.shutter_off, one.iso_lift)

    (found,) = best_pictures(kit, [(Light(ev100), look)])
    best = min(map(parts, every))
    assert found.parts == pytest.approx(best, abs=2e-6)
    ids = [f.id for f in kit.filters]
    ways = found.setups
    ours = {
        (bool(ways.holder[w]), frozenset(f for f, on in zip(ids, ways.on[w], strict=True) if on), int(ways.built_in[w]))
        for w in found.able
    }
    wheel = kit.body.built_in_nd
    assert ours == {(o.way.held, o.way.on, wheel.index(o.way.built_in)) for o in every if parts(o) == best}
    sides: dict[tuple, set[bool]] = {}  # what each setup can miss by: too bright, too dark or either
    for one in every:
        if parts(one) == best:
            turned = None if one.way.turned is None else round(one.way.turned, 6)
            key = (one.way.held, one.way.on, turned, wheel.index(one.way.built_in))
            sides.setdefault(key, set()).add(best[0] > 0 and one.residual > 0)
    for w, too_bright in zip(found.able.tolist(), found.too_bright.tolist(), strict=True):
        on = frozenset(f for f, there in zip(ids, ways.on[w], strict=True) if there)
        turned = round(float(ways.turned[w]), 6) if ways.variable[w] >= 0 else None
        assert too_bright in sides.pop((bool(ways.holder[w]), on, turned, int(ways.built_in[w])))
    assert not sides


def same_picture(a: Pictures, b: Pictures) -> bool:
    return a.parts == b.parts and a.able.tolist() == b.able.tolist() and a.too_bright.tolist() == b.too_bright.tolist()


@settings(deadline=None, max_examples=120)
@given(asked(), st.lists(st.integers(-50, 200), min_size=2, max_size=12), st.sampled_from((1, 40, CELLS_MOST)))
def test_best_pictures_of_many_places_are_those_of_each_alone(question, tenths, cells):
    """One look in many lights, and others between them; where the memory cuts them into parts must not show."""
    kit, _, _, look = question
    assume(not cannot_wear(kit, look.worn) and not no_steady_shutter(kit, None, look))
    looks = (
        look,
        look,
        replace(look, tolerance=0.1),
        replace(look, mains=None),
        replace(look, long_end=not look.long_end),
    )
    places = [(Light(ev / 10), looks[n % 5]) for n, ev in enumerate(tenths)]
    with patch.object(moves, "CELLS_MOST", cells):
        together = best_pictures(kit, places)
    alone = [best_pictures(kit, [place])[0] for place in places]
    assert len(together) == len(places)
    assert all(same_picture(*pair) for pair in zip(together, alone, strict=True))


ADDED = (
    {"mount": "slot"},
    {"mount": "slot", "kind": "variable_nd", "density_to": 2.4},
    {"mount": "thread", "thread": 77},
    {"mount": "thread", "thread": 82, "kind": "variable_nd", "density_to": 2.4},
)


@settings(deadline=None, max_examples=150)
@given(asked(), DENSITY, st.sampled_from(ADDED))
def test_another_filter_never_makes_the_best_picture_worse(question, density, added):
    """Whatever is carried already, variable ND and built-in steps included; what is added may be a variable ND too."""
    kit, _, ev100, look = question
    assume(not cannot_wear(kit, look.worn) and not no_steady_shutter(kit, None, look))
    more = replace(kit, filters=(*kit.filters, Filter("more", density=density, **added)))
    (before,), (after,) = (best_pictures(each, [(Light(ev100), look)]) for each in (kit, more))
    assert after.parts <= before.parts


@settings(deadline=None, max_examples=200)
@given(asked(), st.data())
def test_actions_lead_from_any_rig_to_any_other(question, data):
    """Done by hand in their order: what is in the front ring and how far a variable ND is turned included."""
    kit, now, *_ = question
    then = data.draw(rigs(kit))
    hand, *_ = hand_after(kit, now, actions(kit, now, then))
    assert (hand.on, hand.slots, hand.threads) == (then.holder_on, set(then.slots), set(then.threads))
    assert (hand.front, hand.turned, hand.built_in) == (then.front, then.turned, then.built_in)


@settings(deadline=None, max_examples=200)
@given(asked(), asked())
def test_nearest_rig_of_any_kit_is_legal_and_leaves_a_legal_one_alone(question, other):
    """A piece may have become another kind; the lens, the holder or the rings may have been changed."""
    (kit, rig, *_), (changed, *_) = question, other
    check_rig(kit, rig)
    assert nearest_rig(kit, rig) == rig
    nearest = nearest_rig(changed, rig)
    check_rig(changed, nearest)
    assert set(nearest.slots) <= set(rig.slots)
    assert set(nearest.threads) <= set(rig.threads)
    assert nearest.front in (None, rig.front)
    assert (nearest.aperture, nearest.shutter, nearest.iso) == (rig.aperture, rig.shutter, rig.iso)


@given(st.integers(0, 600), st.integers(0, 600))
def test_a_darker_filter_never_brightens(a, b):
    """What is in front of the lens takes more light the denser it is, by its mark or by its measure; a grad none."""
    low, high = sorted((a / 100, b / 100))
    body, lens = Body(3, (100,), (100,), (0.02,)), Lens(2.8, 16, 77, 0.3)
    rig = Rig(True, ("f",), (), 0, 2.8, 0.02, 100)

    def on_the_lens(**piece: object) -> float:
        return glass_stops(Kit(body, lens, Holder(100, 1, (77,)), (Filter("f", "slot", **piece),)), rig)

    marked = [on_the_lens(density=d) for d in (low, high)]
    assert marked == sorted(marked)
    assert (marked[0] < marked[1]) == (low < high)
    assert [on_the_lens(density=0.6, measured=d) for d in (low, high)] == marked
    assert on_the_lens(density=high, kind="grad", edge="soft") == pytest.approx(0.3)


@given(st.integers(0, 200), st.integers(1, 300), st.data())
def test_a_variable_nd_turned_darker_never_brightens(clear, further, data):
    """Turned up from its clear end it takes so many stops more, and never more than at its dark end."""
    dark = (clear + further) / 100
    piece = Filter("v", "thread", clear / 100, thread=77, kind="variable_nd", density_to=dark)
    kit = Kit(Body(3, (100,), (100,), (0.02,)), Lens(2.8, 16, 77), None, (piece,))
    clicks = [data.draw(st.integers(0, len(piece.positions) - 1)) for _ in range(2)]
    takes = [
        glass_stops(kit, Rig(False, (), ("v",), 0, 2.8, 0.02, 100, None, piece.positions[click])) for click in clicks
    ]
    assert takes[1] - takes[0] == pytest.approx((clicks[1] - clicks[0]) / 3)
    assert clear / 100 * D - 1e-9 <= min(takes) <= max(takes) <= dark * D + 1e-9


def test_a_variable_nd_of_two_to_eight_stops_has_eighteen_positions():
    """0.6 to 2.4 D is 5.98 stops of range: 17 whole thirds above the clear end, which counts too."""
    variable = Filter("v", "thread", 0.6, thread=82, kind="variable_nd", density_to=2.4)
    assert len(variable.positions) == len(turns(variable)) == 18
    assert variable.positions[0] == pytest.approx(0.6 * D)
    assert variable.positions[-1] == pytest.approx(0.6 * D + 17 / 3)
    assert variable.positions[-1] <= 2.4 * math.log2(10)


@pytest.mark.parametrize(
    ("worn", "thread", "holder", "step_ups", "missing"),
    [
        ({"grad"}, 72, Holder(100, 2, (77,)), (), "no 72 mm adapter ring"),
        ({"grad"}, 72, Holder(100, 2, (77,)), ((72, 77),), ""),
        ({"grad"}, None, Holder(100, 2, (77,)), (), "this lens has no front thread"),
        ({"grad"}, 77, None, (), "no holder"),
        ({"grad"}, 77, Holder(75, 2, (77,)), (), "the holder takes 75 mm plates, it is 100 mm"),
        ({"grad", "plate"}, 77, Holder(100, 1, (77,)), (), "not enough free slots"),
        ({"round"}, 77, None, (), "no step-up ring, 77 to 82 mm"),
        ({"round"}, 95, None, (), "it is too small for this lens"),
        ({"round"}, 82, None, (), ""),
        ({"front"}, 77, Holder(100, 2, (77,)), (), "the holder has no front ring"),
        ({"front"}, 77, Holder(100, 2, (77,), 95), (), "the front ring is 95 mm, it is 105 mm"),
        ({"front"}, 77, Holder(100, 2, (77,), 105), (), ""),
        ({"front", "grad"}, 77, Holder(100, 1, (77,), 105), (), ""),
        ({"round", "grad"}, 82, Holder(100, 2, (82,)), (), "nothing is screwed on while the holder is mounted"),
        ({"lost"}, 77, None, (), "it is not in the kit"),
        ({"front", "other front"}, 77, Holder(100, 2, (77,), 105), (), "the front ring takes one"),
        ({"round", "round 2", "round 3"}, 82, None, (), "at most 2 are screwed on"),
        ({"round", "round 2"}, 77, None, ((77, 82),), ""),
    ],
)
def test_what_cannot_be_worn_is_said_with_the_part_that_is_missing(worn, thread, holder, step_ups, missing):
    """The shooter reads which ring, slot or holder to bring."""
    glass = (
        Filter("grad", "slot", 0.6, width=100, kind="grad", edge="soft"),
        Filter("plate", "slot", 0.1, width=100, kind="diffusion"),
        Filter("round", "thread", 0.4, thread=82, kind="polariser"),
        Filter("front", "front", 0.4, thread=105, kind="polariser"),
        Filter("other front", "front", 0.1, thread=105, kind="diffusion"),
        Filter("round 2", "thread", 0.1, thread=82, kind="diffusion"),
        Filter("round 3", "thread", 0.1, thread=82, kind="colour"),
    )
    assert why_not(glass, holder, thread, step_ups, frozenset(worn)) == missing


def test_every_way_wears_exactly_the_look():
    """The plain list itself: a worn grad takes a slot and no light, and nothing else of its kind comes along."""
    grad = Filter("grad", "slot", 0.6, kind="grad", edge="hard")
    grey = Filter("grey", "slot", 0.9)
    kit = Kit(Body(3, (100,), (100,), (0.02,)), Lens(2.8, 16, 77), Holder(100, 1, (77,)), (grad, grey))
    rig = Rig(False, (), (), 0, 2.8, 0.02, 100)
    ways = list(every_way(kit, rig, frozenset({"grad"})))
    assert [(way.held, way.on, way.stops) for way in ways] == [(True, frozenset({"grad"}), 0.0)]


@pytest.mark.parametrize("worn", ["grey", "lost"])
def test_only_glass_of_the_kit_that_is_not_grey_is_worn(worn):
    """What takes light is the solver's to choose; a look that asks for it is refused by its field, whoever asks."""
    grey = Filter("grey", "slot", 0.9)
    kit = Kit(Body(3, (100,), (100,), (0.02,)), Lens(2.8, 16, 77), Holder(100, 1, (77,)), (grey,))
    rig = Rig(False, (), (), 0, 2.8, 0.02, 100)
    light, look = Light(9), Look(2.8, 2.8, 2.8, 0.02, worn=frozenset({worn}))
    for ask in (
        lambda: best_moves(kit, rig, [(light, look)]),
        lambda: other_ways(kit, rig, light, look),
        lambda: best_pictures(kit, [(light, look)]),
    ):
        with pytest.raises(OutOfRange) as refused:
            ask()
        assert refused.value.field == "look.worn"


ONE_SETTING = Body(3, (100,), (100,), (1.0,))  # with f/4 only: EV 4
AT_F4 = Look(4, 4, 4, 1.0, 0, 0)


def test_variable_nd_that_takes_anothers_place_is_set_for_free():
    """Off with one and on with the other, 2 s, is quicker than two plain ones, 3 s, however slowly this hand turns."""
    glass = (
        Filter("dark", "thread", 1.2, thread=77, kind="variable_nd", density_to=1.8),
        Filter("light", "thread", 0.6, thread=77, kind="variable_nd", density_to=2.4),
        Filter("a", "thread", 0.3, thread=77),
        Filter("b", "thread", 0.3, thread=77),
    )
    kit = Kit(ONE_SETTING, Lens(4, 4, 77), None, glass, Hands(unscrew=1, screw_on=1, turn=10))
    rig = Rig(False, (), ("dark",), 0, 4, 1.0, 100, None, 1.8 * D)
    clean = best_moves(kit, rig, [(Light(4 + 0.6 * D), AT_F4)])[0].clean
    assert (clean.rig.threads, clean.rig.turned) == (("light",), pytest.approx(0.6 * D))
    assert clean.score.hand_seconds == pytest.approx(2)


def test_front_ring_is_emptied_where_that_is_quicker_than_the_holder_off():
    """A look without the polariser: its own 1 s counts, not the 20 s of a plate; at 6 s the holder comes off."""
    polariser = Filter("polariser", "front", 0.4, thread=105, kind="polariser")
    kit = Kit(ONE_SETTING, Lens(4, 4, 77), Holder(100, 1, (77,), 105), (polariser,))
    rig = Rig(True, (), (), 0, 4, 1.0, 100, "polariser")
    for front_off, mounted, front in ((1, True, None), (6, False, "polariser")):
        slow = replace(kit, hands=Hands(front_off=front_off, pull=20, holder_off=5))
        for move in (answers := best_moves(slow, rig, [(Light(4), AT_F4)])[0]).clean, answers.fast:
            assert (move.rig.holder_on, move.rig.front) == (mounted, front)
            assert move.score.glass_seconds == (1 if mounted else 5)
