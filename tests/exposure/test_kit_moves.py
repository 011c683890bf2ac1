"""Every kind of glass, on lenses with rings and zooms: the engine's answers against every legal rig, listed plainly."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.exposure.glass import Filter, Holder, why_not
from server.exposure.light import Light
from server.exposure.moves import best_moves, best_pictures, cannot_wear, other_ways
from server.exposure.refused import OutOfRange
from server.exposure.rig import Body, Hands, Kit, Lens, Look, Rig, actions, check_rig, glass_stops, nearest_rig
from tests.exposure.plain_kit import D, every_rig, every_way, score_of, turns
from tests.exposure.plain_loop import iris_of, iso_of

SECONDS = st.integers(0, 120).map(lambda n: n / 10)
DENSITY = st.sampled_from((0.3, 0.6, 0.75, 0.9, 1.2, 1.8))
WIDEST = ((1.8, 1.8), (2.8, 4), (2, None))


@st.composite
def pieces(draw: st.DrawFn) -> tuple[Filter, ...]:
    made = []
    for n in range(draw(st.integers(1, 5))):
        kind = draw(st.sampled_from(("nd", "nd", "variable_nd", "grad", "polariser", "diffusion")))
        mount = draw(
            st.sampled_from(("slot", "thread") if kind in ("nd", "variable_nd") else ("slot", "thread", "front"))
        )
        if kind == "grad":
            mount = "slot"
        made.append(
            Filter(
                f"{kind} {n}",
                mount,
                draw(DENSITY),
                width=draw(st.sampled_from((None, 100, 75))) if mount == "slot" else None,
                thread=draw(st.sampled_from((77, 82) if mount == "thread" else (105, 95))) if mount != "slot" else None,
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
        shutters=draw(st.sampled_from(((0.02,), (0.02, 0.01)))),
        iso_quiet=draw(st.sampled_from((None, 200))),
        built_in_nd=draw(st.sampled_from(((0.0,), (0.0, 2.0, 4.0)))),
    )
    holder = draw(
        st.sampled_from((None, Holder(100, 2, (77,), 105), Holder(100, 1, (82,)), Holder(75, 3, (77, 82), 95)))
    )
    hands = draw(st.one_of(st.just(Hands()), st.builds(Hands, **dict.fromkeys(Hands.__dataclass_fields__, SECONDS))))
    kit = Kit(
        body,
        Lens(widest, 8, draw(st.sampled_from((77, 82, None))), 0.3, long),
        holder,
        draw(pieces()),
        hands,
        draw(st.sampled_from(((), ((77, 82),)))),
    )
    special = [f.id for f in kit.filters if f.worn]
    wide, wanted, narrow = sorted(draw(st.tuples(*[st.sampled_from((2, 2.8, 4, 5.6))] * 3)))
    look = Look(
        wanted,
        wide,
        narrow,
        0.02,
        worn=frozenset(draw(st.lists(st.sampled_from(special), unique=True, max_size=2))) if special else frozenset(),
        long_end=draw(st.booleans()),
    )
    return kit, draw(rigs(kit)), draw(st.integers(20, 180)) / 10, look


@st.composite
def rigs(draw: st.DrawFn, kit: Kit) -> Rig:
    """Whatever anybody may have put on, as far as it fits."""
    ids = [f.id for f in kit.filters]
    chosen = draw(st.lists(st.sampled_from(ids), unique=True, max_size=3))
    variables = [f.id for f in kit.filters if f.kind == "variable_nd"]
    if sum(f in variables for f in chosen) > 1:
        chosen = [f for f in chosen if f not in variables]
    rig = Rig(
        holder_on=draw(st.booleans()),
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
        fitted = nearest_rig(kit, Rig(**{**vars_of(fitted), "turned": draw(st.sampled_from(variable.positions))}))
    return fitted


def vars_of(rig: Rig) -> dict:
    return {name: getattr(rig, name) for name in Rig.__dataclass_fields__}


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


@settings(deadline=None, max_examples=250)
@given(asked())
def test_no_legal_rig_of_any_glass_is_better(question):
    """Both answers are the smallest tuple of every legal rig, ties broken by filters and their order."""
    kit, rig, ev100, look = question
    every = list(every_rig(kit, rig, ev100, look))
    if not every:
        assert cannot_wear(kit, look.worn)
        with pytest.raises(OutOfRange):
            best_moves(kit, rig, [(Light(ev100), look)])
        return
    assert not cannot_wear(kit, look.worn)
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


@settings(deadline=None, max_examples=120)
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


@settings(deadline=None, max_examples=100)
@given(asked(), DENSITY)
def test_another_plate_never_makes_the_best_picture_worse(question, density):
    """Whatever is carried already, variable ND and built-in steps included."""
    kit, _, ev100, look = question
    assume(not cannot_wear(kit, look.worn) and kit.holder is not None)
    more = Kit(kit.body, kit.lens, kit.holder, (*kit.filters, Filter("more", "slot", density)), kit.hands, kit.step_ups)
    (before,), (after,) = (best_pictures(each, [(Light(ev100), look)]) for each in (kit, more))
    assert after.parts <= before.parts


@given(st.floats(0, 2), st.floats(0, 2))
def test_a_darker_filter_never_brightens(a, b):
    """What is in front of the lens takes more light the denser it is, by its mark or by its measure."""
    low, high = sorted((a, b))
    body, lens = Body(3, (100,), (100,), (0.02,)), Lens(2.8, 16, 77)
    rig = Rig(False, (), ("f",), 0, 2.8, 0.02, 100)
    for marks in (
        ({"density": low}, {"density": 0.6, "measured": low}),
        ({"density": high}, {"density": 0.6, "measured": high}),
    ):
        assert all(m for m in marks)
    takes = [
        glass_stops(Kit(body, lens, None, (Filter("f", "thread", thread=77, **marks),)), rig)
        for marks in ({"density": low}, {"density": high})
    ]
    measured = [
        glass_stops(Kit(body, lens, None, (Filter("f", "thread", 0.6, thread=77, measured=true),)), rig)
        for true in (low, high)
    ]
    assert takes == sorted(takes)
    assert measured == takes


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
    ],
)
def test_what_cannot_be_worn_is_said_with_the_part_that_is_missing(worn, thread, holder, step_ups, missing):
    """The shooter reads which ring, slot or holder to bring."""
    glass = (
        Filter("grad", "slot", 0.6, width=100, kind="grad", edge="soft"),
        Filter("plate", "slot", 0.1, width=100, kind="diffusion"),
        Filter("round", "thread", 0.4, thread=82, kind="polariser"),
        Filter("front", "front", 0.4, thread=105, kind="polariser"),
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
