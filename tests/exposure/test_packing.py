"""The bag: against every subset of a small kit, and against what each piece is said to be needed for."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.exposure.glass import Filter, Holder
from server.exposure.light import Light
from server.exposure.moves import Move, best_moves, best_pictures, cannot_wear
from server.exposure.packing import STANDARD_SERIES, Piece, chain, gains, pack, pieces_for
from server.exposure.refused import OutOfRange
from server.exposure.rig import GLASS_ACTIONS, Body, Kit, Lens, Look, Rig, check_rig, nearest_rig

BODY = Body(3, (100,), (100, 200, 400, 800, 1600), (0.02,), 200)
BARE = Rig(False, (), (), 0, 2.8, 0.02, 100)


def only(kit: Kit, bag: set[Piece]) -> Kit:
    """The kit with what is in the bag and nothing else."""
    holder = kit.holder
    if holder is not None:
        rings = tuple(ring for ring in holder.rings if Piece("ring", f"{ring:g}") in bag)
        holder = replace(holder, rings=rings) if Piece("holder", "") in bag else None
    return replace(
        kit,
        holder=holder,
        filters=tuple(f for f in kit.filters if Piece("filter", f.id) in bag),
        step_ups=tuple((a, b) for a, b in kit.step_ups if Piece("step_up", f"{a:g} to {b:g}") in bag),
    )


def pieces_of(kit: Kit) -> list[Piece]:
    """In the kit's order: filters, holder, its rings, step-up rings."""
    found = [Piece("filter", f.id) for f in kit.filters]
    if kit.holder is not None:
        found += [Piece("holder", ""), *(Piece("ring", f"{ring:g}") for ring in kit.holder.rings)]
    return found + [Piece("step_up", f"{a:g} to {b:g}") for a, b in kit.step_ups]


def loses(kit: Kit, bag: set[Piece], light: Light, look: Look) -> bool:
    """Whether a place is worse with this bag than with everything."""
    packed = only(kit, bag)
    if cannot_wear(packed, look.worn):
        return True
    (best,), (ours,) = (best_pictures(each, [(light, look)]) for each in (kit, packed))
    return ours.parts != best.parts


@st.composite
def days(draw: st.DrawFn) -> tuple[Kit, list[tuple[Kit, Light, Look]]]:
    """A kit, and its day: at each stop with one lens of two, so that a bag may need the rings for both."""
    grey = draw(st.lists(st.sampled_from((0.3, 0.6, 0.9, 1.2, 1.8)), max_size=4))
    filters = [
        Filter(f"{n}", "slot", d) if draw(st.booleans()) else Filter(f"{n}", "thread", d, thread=82)
        for n, d in enumerate(grey)
    ]
    if draw(st.booleans()):
        filters.append(Filter("grad", "slot", 0.6, kind="grad", edge="soft"))
    if draw(st.booleans()):
        filters.append(Filter("pol", "front", 0.4, thread=105, kind="polariser", measured=0.45))
    if draw(st.booleans()) and len(filters) < 5:
        filters.append(Filter("var", "thread", 0.6, thread=82, kind="variable_nd", density_to=1.5))
    kit = Kit(
        BODY,
        Lens(2, 16, draw(st.sampled_from((77, 82)))),
        draw(st.sampled_from((Holder(100, 2, (77, 82), 105), Holder(100, 1, (82,), 105), None))),
        tuple(filters),
        step_ups=draw(st.sampled_from(((), ((77, 82),)))),
    )
    other = replace(kit, lens=Lens(1.4, 16, draw(st.sampled_from((77, 82, 82, None)))))
    plain = Look(2.8, 2, 4, 0.02)
    places = []
    for _ in range(draw(st.integers(1, 4))):
        here = draw(st.sampled_from((kit, kit, other)))
        looks = [replace(plain, worn=frozenset(some)) for some in ((), ("grad",), ("pol",), ("grad", "pol"))]
        looks = [look for look in looks if not cannot_wear(here, look.worn)]
        light = Light(draw(st.integers(60, 175)) / 10)
        places.append((here, light, draw(st.sampled_from((*looks, Look(2.8, 2.8, 2.8, 0.02))))))
    return kit, places


@settings(deadline=None, max_examples=200)
@given(days())
def test_the_bag_is_the_smallest_of_every_subset_that_loses_nothing(day):
    """Tried over every subset of the pieces; of equals, the one whose pieces come first in the kit."""
    kit, places = day
    bag = pack(places)
    pieces = pieces_of(kit)
    good = next(
        some
        for size in range(len(pieces) + 1)
        for some in combinations(pieces, size)
        if not any(loses(here, set(some), light, look) for here, light, look in places)
    )
    assert bag.pieces == good
    for piece in bag.pieces:
        without = set(bag.pieces) - {piece}
        assert bag.needed_at[piece] == tuple(
            n for n, (here, *place) in enumerate(places) if loses(here, without, *place)
        )
        assert bag.needed_at[piece], "a piece that nothing needs"


def test_a_day_that_is_right_without_glass_packs_none():
    """Indoors all day."""
    kit = Kit(BODY, Lens(2, 16, 77), Holder(100, 2, (77,)), (Filter("0.6", "slot", 0.6),))
    bag = pack([(kit, Light(6.0), Look(2.8, 2, 4, 0.02))])
    assert (bag.pieces, bag.short) == ((), {})
    assert pack([]).pieces == ()
    assert gains([], BARE) == []


def test_what_the_whole_kit_misses_is_said_in_clicks():
    """EV 16 at f/4, 1/50, ISO 100 is 6.36 stops too bright; a 0.6 takes 2 of them, and f/16 four more."""
    kit = Kit(BODY, Lens(2, 4, 77), Holder(100, 2, (77,)), (Filter("0.6", "slot", 0.6),))
    bag = pack([(kit, Light(16.0), Look(2.8, 2, 4, 0.02))])
    # 16 - 5.6439 - 4 - 1.9932 = 4.3630 stops, 13.0889 clicks, less the 0.6 that nobody minds.
    assert bag.short == {0: pytest.approx(12.4889, abs=1e-3)}
    assert [piece.what for piece in bag.pieces] == ["filter", "holder", "ring"]


def walked(places: list[tuple[Kit, Light, Look]]) -> list[Move]:
    """The clean moves of a day, from a bare lens; what does not fit the next lens is off it before the move."""
    rig, moves = BARE, []
    for kit, light, look in places:
        (answers,) = best_moves(kit, nearest_rig(kit, rig), [(light, look)])
        moves.append(answers.clean)
        rig = answers.clean.rig
    return moves


def swaps(moves: list[Move]) -> int:
    return sum(action.do in GLASS_ACTIONS for move in moves for action in move.actions)


def parts(move: Move) -> tuple[float, int, int]:
    return round(move.score.miss, 6), move.score.off_look, move.score.iso_lift


@settings(deadline=None, max_examples=60)
@given(days())
def test_what_one_more_filter_gains_is_true(day):
    """Each claim, worked out again by walking the day with that filter in the pouch; and nothing gained is left out."""
    kit, places = day
    if kit.holder is None:  # a ring is for one lens
        places = [(kit, light, look) for here, light, look in places if here is kit]
    now = walked(places)
    claims = {gain.density: gain for gain in gains(places, BARE)}
    mount = (
        {"mount": "slot", "width": kit.holder.width} if kit.holder else {"mount": "thread", "thread": kit.lens.thread}
    )
    for density in STANDARD_SERIES:
        if any(f.kind == "nd" and abs(f.density - density) < 0.05 for f in kit.filters):
            assert density not in claims
            continue
        new = Filter("new", density=density, **mount)
        then = walked([(replace(here, filters=(*here.filters, new)), *place) for here, *place in places])
        pairs = [(parts(before), parts(after)) for before, after in zip(now, then, strict=True)]
        mended = tuple(n for n, (before, after) in enumerate(pairs) if after[0] < before[0])
        kept = tuple(n for n, (before, after) in enumerate(pairs) if after[1:] < before[1:] and after[0] <= before[0])
        saved = swaps(now) - swaps(then)
        assert (density in claims) == bool(mended or kept or saved > 0)
        if density in claims:
            claim = claims[density]
            assert (claim.swaps_saved, claim.mended, claim.kept) == (saved, mended, kept)


def test_a_day_with_two_lenses_is_walked_with_what_fits_each():
    """A 77 mm ring that stays behind with its lens does not end the day's reckoning at the 82 mm one."""
    rings = (Filter("r77", "thread", 1.8, thread=77), Filter("r82", "thread", 1.8, thread=82))
    first = Kit(BODY, Lens(2, 16, 77), None, rings)
    second = replace(first, lens=Lens(2, 16, 82))
    sun, look = Light(15.0), Look(2.8, 2.8, 3.2, 0.02)
    day = [(first, sun, look), (second, sun, look)]
    assert [move.rig.threads for move in chain(day, BARE)] == [("r77",), ("r82",)]
    assert [piece.which for piece in pack(day).pieces] == ["r77", "r82"]
    bare_lens = replace(
        first, lens=Lens(2, 16, None), filters=()
    )  # nothing can be bought for the first, but the second
    gained = gains([(bare_lens, sun, look), (replace(second, filters=()), sun, look)], BARE)
    assert (gained[0].density, gained[0].kept) == (1.8, (1,))


def test_a_missing_filter_is_found_where_it_is_obvious():
    """A bare kit in full sun at f/2.8: only a dark filter keeps the look, and the best one is named first."""
    kit = Kit(BODY, Lens(2, 16, 77), Holder(100, 1, (77,)), ())
    # EV 15 - f/2.8 (3) - 1/50 (5.64) = 6.36 stops to take: 1.8 D takes 5.98 and a click of iris the rest.
    found = gains([(kit, Light(15.0), Look(2.8, 2.8, 3.2, 0.02))], BARE)
    assert found[0].density == 1.8
    assert found[0].kept == (0,)


def test_a_lens_that_holds_nothing_gains_nothing():
    """No holder and no thread: nothing can be bought for it."""
    kit = Kit(BODY, Lens(2, 16, None), None, ())
    assert gains([(kit, Light(15.0), Look(2.8, 2.8, 3.2, 0.02))], BARE) == []


def test_a_pouch_too_alike_to_search_is_refused_and_not_searched_for_ever():
    """Forty plates a hundredth apart: every place can be done in thousands of ways, and no bag stands out."""
    pouch = tuple(Filter(f"{n}", "slot", round(0.3 + n / 100, 2)) for n in range(40))
    body = Body(3, (100,), (100,), (0.02,))
    kit = Kit(body, Lens(2.8, 2.8, 77), Holder(100, 3, (77,)), pouch)
    stops = [(kit, Light(9 + 0.37 * (7 * n % 12)), Look(2.8, 2.8, 2.8, 0.02)) for n in range(24)]
    with pytest.raises(OutOfRange) as refused:
        pack(stops)
    assert refused.value.field == "filters"


STEPPED = Kit(
    BODY, Lens(1.8, 16, 67), Holder(100, 2, (77, 82), front=105),
    (
        Filter("a", "slot", 0.6, width=100), Filter("b", "slot", 1.2, width=100), Filter("c", "thread", 0.9, thread=67),
        Filter("d", "thread", 1.8, thread=77), Filter("e", "front", 0.4, thread=105, kind="polariser"),
    ),
    step_ups=((67, 77), (67, 82)),
)  # fmt: skip


@pytest.mark.parametrize(
    ("rig", "pieces"),
    [
        (BARE, []),
        (replace(BARE, holder_on=True, slots=("b", "a")), ["a", "b", "", "77", "67 to 77"]),
        (replace(BARE, slots=("a",)), ["a", ""]),
        (replace(BARE, holder_on=True, front="e"), ["e", "", "77", "67 to 77"]),
        (replace(BARE, threads=("c",)), ["c"]),
        (replace(BARE, threads=("c", "d")), ["c", "d", "67 to 77"]),
        (replace(BARE, slots=("a",), threads=("d",)), ["a", "d", "", "67 to 77"]),
        (replace(BARE, holder_on=True), ["", "77", "67 to 77"]),
    ],
)
def test_a_rig_is_put_together_from_these_and_no_fewer(rig, pieces):
    """The holder is the piece without a name of its own; without any one of them this kit cannot be set up so."""
    found = pieces_for(STEPPED, rig)
    assert [piece.which for piece in found] == pieces
    check_rig(only(STEPPED, set(found)), rig)
    for piece in found:
        with pytest.raises(OutOfRange):
            check_rig(only(STEPPED, {*found} - {piece}), rig)
