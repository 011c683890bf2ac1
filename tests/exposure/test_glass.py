"""Filters and holders: what fits where, every way the glass can sit, and what it costs in light."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.exposure.glass import (
    SETUPS_MOST,
    Filter,
    Holder,
    screws_on,
    setups,
    stops_of_density,
)
from server.exposure.refused import OutOfRange
from tests.exposure.plain_loop import every_glass
from tests.exposure.strategies import kits_and_rigs

NOT_FIGURES = (math.nan, math.inf, -math.inf, 1e308, -1)


@given(st.lists(st.floats(0, 6), max_size=6))
def test_stops_of_densities_keep_their_shape_and_add(densities):
    """A pouch of densities gives one figure each; together they take what their sum takes."""
    stops = stops_of_density(densities)
    assert stops.shape == (len(densities),)
    assert float(stops.sum()) == pytest.approx(float(stops_of_density(math.fsum(densities))))


@settings(deadline=None)
@given(kits_and_rigs())
def test_setups_are_every_way_the_glass_can_sit(kit_and_rig):
    """All the ways to put the glass on are listed, each once for every built-in step, with the light they take."""
    kit, rig = kit_and_rig
    ours = setups(kit.filters, kit.holder, kit.lens.thread, kit.body.built_in_nd)
    listed = {}
    for on, holder, step, stops in zip(ours.on, ours.holder, ours.built_in, ours.stops, strict=True):
        key = (bool(holder), frozenset(f.id for f, used in zip(kit.filters, on, strict=True) if used), int(step))
        assert key not in listed
        listed[key] = float(stops)
    expected = {
        (glass.holder_on, glass.slots if glass.holder_on else glass.threads, n): glass.stops + step
        for glass in every_glass(kit, rig)
        for n, step in enumerate(kit.body.built_in_nd)
    }
    assert listed == pytest.approx(expected)


@settings(deadline=None)
@given(kits_and_rigs())
def test_setups_stand_in_the_order_that_breaks_ties(kit_and_rig):
    """Fewest filters on the lens first, then the order of the kit."""
    kit, _ = kit_and_rig
    ours = setups(kit.filters, kit.holder, kit.lens.thread, kit.body.built_in_nd)
    order = [(int(on.sum()), [n for n, used in enumerate(on) if used]) for on in ours.on]
    assert order == sorted(order)


def plates(count: int) -> tuple[Filter, ...]:
    return tuple(Filter(f"plate {n}", "slot", 0.3) for n in range(count))


def test_more_setups_than_can_be_asked_for_are_refused():
    """40 plates in 4 slots are 102,091 ways, and one of no holder; two built-in steps are too many."""
    ways = sum(math.comb(40, n) for n in range(5)) + 1
    assert len(setups(plates(40), Holder(100, 4, (77,)), 77, (0.0,)).stops) == ways <= SETUPS_MOST < 2 * ways
    with pytest.raises(OutOfRange) as refused:
        setups(plates(40), Holder(100, 4, (77,)), 77, (0.0, 2.0))
    assert refused.value.field == "filters"
    assert str(2 * ways) in refused.value.came


def test_plate_fits_a_holder_of_its_own_width():
    """A plate of another width falls through; one without a width fits any; a ring is no plate."""
    holder = Holder(100, 2, (77,))
    assert holder.takes(Filter("a", "slot", 0.6, width=100))
    assert holder.takes(Filter("b", "slot", 0.6))
    assert not holder.takes(Filter("c", "slot", 0.6, width=75))
    assert not holder.takes(Filter("d", "thread", 0.6, thread=77))


def test_holder_mounts_where_there_is_a_ring():
    """Without an adapter ring for the lens's thread, or without a thread, nothing is put in front."""
    holder = Holder(100, 2, (77, 82))
    assert [holder.mounts_on(thread) for thread in (77, 82, 67, None)] == [True, True, False, False]
    kit = (Filter("plate", "slot", 0.6), Filter("round", "thread", 0.6, thread=67))
    assert [holder.takes(piece) for piece in kit] == [True, False]
    assert [screws_on(piece, 67) for piece in kit] == [False, True]
    assert [screws_on(piece, 77) for piece in kit] == [False, False]
    assert [screws_on(piece, None) for piece in kit] == [False, False]


@pytest.mark.parametrize("came", NOT_FIGURES)
@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda came: Filter("a", "slot", came), "density"),
        (lambda came: Filter("a", "slot", 0.6, width=came), "width"),
        (lambda came: Filter("a", "thread", 0.6, thread=came), "thread"),
        (lambda came: Holder(came, 2, (77,)), "width"),
        (lambda came: Holder(100, came, (77,)), "slots"),
        (lambda came: Holder(100, 2, (82, came)), "rings"),
    ],
)
def test_glass_that_nobody_makes_is_refused(make, field, came):
    """NaN, infinities and the absurd are refused by the name of their field."""
    with pytest.raises(OutOfRange) as refused:
        make(came)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Filter("", "slot", 0.6), "id"),
        (lambda: Filter("x" * 81, "slot", 0.6), "id"),
        (lambda: Filter("a", "drawer", 0.6), "mount"),
        (lambda: Filter("a", "slot", 0.6, kind="mirror"), "kind"),
        (lambda: Filter("a", "slot", 0.6, kind="grad"), "edge"),
        (lambda: Filter("a", "slot", 0.6, edge="soft"), "edge"),
        (lambda: Filter("a", "slot", 0.6, kind="grad", edge="blunt"), "edge"),
        (lambda: Filter("a", "thread", 0.3, thread=77, kind="variable_nd"), "density_to"),
        (lambda: Filter("a", "thread", 0.3, thread=77, kind="variable_nd", density_to=0.3), "density_to"),
        (lambda: Filter("a", "thread", 0.3, thread=77, density_to=1.8), "density_to"),
        (lambda: Filter("a", "slot", 0.6, measured=-0.1), "measured"),
        (lambda: Filter("a", "thread", 0.3, thread=77, kind="variable_nd", density_to=1.8, measured=1), "measured"),
        (lambda: Filter("a", "front", 0.4, thread=105), "mount"),
        (lambda: Filter("a", "front", 0.4, kind="polariser"), "thread"),
        (lambda: Holder(100, 2, (77,), front=5), "front"),
        (lambda: Filter("a", "thread", 0.6), "thread"),
        (lambda: Filter("a", "slot", 0.6, width=0), "width"),
        (lambda: Holder(100, 0, (77,)), "slots"),
        (lambda: Holder(100, 5, (77,)), "slots"),
        (lambda: Holder(100, 2, tuple(range(30, 51))), "rings"),
        (lambda: Holder(0, 2, (77,)), "width"),
    ],
)
def test_glass_that_makes_no_sense_is_refused(make, field):
    """A filter needs a name and a way to be mounted, a ring its thread, a holder one to four slots."""
    with pytest.raises(OutOfRange) as refused:
        make()
    assert refused.value.field == field


def test_clear_glass_is_allowed():
    """0 D is a protecting filter: it takes nothing, and is a filter on the lens all the same."""
    assert Filter("clear", "slot", 0).stops == 0
