"""Kits, looks and rigs that make sense, and the hand's way from one rig to another."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.exposure.glass import Filter, Holder
from server.exposure.refused import OutOfRange
from server.exposure.rig import (
    Body,
    Hands,
    Kit,
    Lens,
    Look,
    Rig,
    actions,
    check_rig,
    glass_stops,
    nearest_rig,
)
from tests.exposure.plain_loop import PlainRig, every_glass, iris_of, irises_of, iso_of, plain_rig
from tests.exposure.strategies import kits, kits_and_rigs, rigs

if TYPE_CHECKING:
    from collections.abc import Iterable

    from server.exposure.rig import Action

NOT_FIGURES = (math.nan, math.inf, -math.inf, 1e308, -1)

# The order in which a hand does things: pulling and dropping in is one step, opening and closing another.
STEPS = (
    ("holder_off",), ("unscrew",), ("front_off",), ("pull", "drop_in"), ("front_on",), ("holder_on",), ("screw_on",),
    ("turn",), ("built_in",), ("open", "close"), ("iso",), ("shutter",),
)  # fmt: skip
ON_GLASS = ("pull", "drop_in", "holder_off", "holder_on", "unscrew", "screw_on", "front_off", "front_on")


class Hand:
    """A rig in the hand, changed by one action after another; fails at one that a hand could not do."""

    def __init__(self, kit: Kit, rig: Rig) -> None:
        self.kit = kit
        self.on, slots, threads, self.built_in, self.iris, self.shutter, self.iso = plain_rig(kit, rig)
        self.slots, self.threads = set(slots), set(threads)
        self.front, self.turned = rig.front, rig.turned
        self.at_start = self.in_front()

    def in_front(self) -> set[str]:
        """Ids of the glass in front of the lens."""
        return self.slots | ({self.front} - {None}) if self.on else set(self.threads)

    def variable(self) -> str | None:
        """Id of the variable ND in front of the lens."""
        return next((f for f in self.in_front() if self.kit.filter(f).kind == "variable_nd"), None)

    def rig(self) -> PlainRig:
        glass = self.on, frozenset(self.slots), frozenset(self.threads)
        return PlainRig(*glass, self.built_in, self.iris, self.shutter, self.iso)

    def touch_glass(self, action: Action) -> float:
        """Change the glass, and say how long that takes [s]."""
        match action.do:
            case "holder_off" | "holder_on":
                assert self.on == (action.do == "holder_off")
                self.on = not self.on
            case "pull":
                self.slots.remove(action.filter)
            case "drop_in":
                assert action.filter not in self.slots
                self.slots.add(action.filter)
            case "unscrew":
                self.threads.remove(action.filter)
            case "screw_on":
                assert action.filter not in self.threads
                self.threads.add(action.filter)
            case "front_off":
                assert self.front == action.filter
                self.front = None
            case "front_on":
                assert self.front is None
                self.front = action.filter
        if self.variable() is None:
            self.turned = None
        assert not self.slots or len(self.slots) <= self.kit.holder.slots
        assert len(self.threads) <= 2
        assert not (self.on and self.threads)
        return getattr(self.kit.hands, action.do)

    def touch_settings(self, action: Action) -> float:
        """Change a setting, and say how long that takes [s]."""
        hands, wheel = self.kit.hands, self.kit.body.built_in_nd
        match action.do:
            case "turn":
                was_on = self.variable() in self.at_start
                turned = abs(action.to - self.turned) if was_on else 0
                assert turned > 0 or not was_on
                self.turned = action.to
                return hands.turn * turned
            case "built_in":
                turned = abs(wheel.index(action.to) - wheel.index(self.built_in))
                self.built_in = action.to
                return hands.built_in * turned
            case "open" | "close":
                assert action.clicks > 0
                self.iris += action.clicks if action.do == "close" else -action.clicks
                return hands.iris * action.clicks / self.kit.body.clicks_per_stop
            case "iso":
                self.iso = iso_of(action.to)
                return hands.iso
            case "shutter":
                self.shutter = action.to
                return hands.shutter
        pytest.fail(f"no hand knows how to {action.do}")


def by_hand(kit: Kit, rig: Rig, done: Iterable[Action]) -> tuple[PlainRig, float, float]:
    """The rig after these actions, the seconds they take by this shooter's hands, and the part spent on the glass."""
    hand, seconds, glass_seconds = hand_after(kit, rig, done)
    return hand.rig(), seconds, glass_seconds


def hand_after(kit: Kit, rig: Rig, done: Iterable[Action]) -> tuple[Hand, float, float]:
    """The same, with the hand itself: what it has in the front ring, and how far it turned a variable ND."""
    hand, seconds, glass_seconds, step = Hand(kit, rig), 0.0, 0.0, 0
    for action in done:
        reached = next(n for n, names in enumerate(STEPS) if action.do in names)
        assert reached >= step, f"{action.do} comes too late"
        step = reached
        taken = hand.touch_glass(action) if action.do in ON_GLASS else hand.touch_settings(action)
        assert action.seconds == pytest.approx(taken)
        seconds += taken
        glass_seconds += taken if action.do in ON_GLASS else 0
    return hand, seconds, glass_seconds


@st.composite
def kits_and_two_rigs(draw: st.DrawFn) -> tuple[Kit, Rig, Rig]:
    kit = draw(kits())
    return kit, draw(rigs(kit)), draw(rigs(kit))


@settings(deadline=None)
@given(kits_and_two_rigs())
def test_actions_turn_one_rig_into_the_other(kit_and_rigs):
    """Done by hand in their order, the actions give the other rig, and no step of them is impossible."""
    kit, now, then = kit_and_rigs
    after, _, _ = by_hand(kit, now, actions(kit, now, then))
    assert after == plain_rig(kit, then)


@settings(deadline=None)
@given(kits_and_two_rigs())
def test_actions_are_as_few_as_can_be(kit_and_rigs):
    """Nothing is done for what stays, and each thing that differs is touched once."""
    kit, now, then = kit_and_rigs
    done = [(action.do, action.filter) for action in actions(kit, now, then)]
    assert len(done) == len(set(done))
    was, to = plain_rig(kit, now), plain_rig(kit, then)
    assert {f for do, f in done if do == "pull"} == was.slots - to.slots
    assert {f for do, f in done if do == "drop_in"} == to.slots - was.slots
    assert {f for do, f in done if do == "unscrew"} == was.threads - to.threads
    assert {f for do, f in done if do == "screw_on"} == to.threads - was.threads
    touched = {do for do, _ in done} - {"pull", "drop_in", "unscrew", "screw_on"}
    assert len(touched) == sum(
        getattr(was, part) != getattr(to, part) for part in ("holder_on", "built_in", "iris", "shutter", "iso")
    )


@settings(deadline=None)
@given(kits_and_rigs())
def test_staying_costs_nothing(kit_and_rig):
    """A rig that stays as it is needs no action."""
    kit, rig = kit_and_rig
    assert actions(kit, rig, rig) == ()


@settings(deadline=None)
@given(kits_and_rigs())
def test_glass_stops_are_what_is_in_front_and_behind(kit_and_rig):
    """Filters on the lens, the built-in step and the lens's own loss; a holder that is off takes no light."""
    kit, rig = kit_and_rig
    plain = plain_rig(kit, rig)
    glass = next(each for each in every_glass(kit, rig) if (each.holder_on, each.slots, each.threads) == plain[:3])
    assert glass_stops(kit, rig) == pytest.approx(glass.stops + rig.built_in + kit.lens.loss_stops)


@settings(deadline=None)
@given(kits())
def test_irises_lie_between_the_lenss_ends(kit):
    """Every click from the widest to the smallest, both included, on this body's dial."""
    assert list(kit.irises()) == list(irises_of(kit))
    assert len(kit.irises()) > 0


@settings(deadline=None)
@given(kits_and_rigs())
def test_every_legal_rig_is_taken(kit_and_rig):
    """What the kit allows passes the check, an iris outside the lens's ends and an unlisted ISO included."""
    kit, rig = kit_and_rig
    check_rig(kit, rig)


@settings(deadline=None)
@given(kits_and_rigs(), kits())
def test_nearest_rig_is_legal_and_leaves_a_legal_one_alone(kit_and_rig, changed):
    """After a kit was changed the rig is one it allows; what still fits stays on."""
    kit, rig = kit_and_rig
    assert nearest_rig(kit, rig) == rig
    nearest = nearest_rig(changed, rig)
    check_rig(changed, nearest)
    assert set(nearest.slots) <= set(rig.slots)
    assert set(nearest.threads) <= set(rig.threads)
    assert (nearest.aperture, nearest.shutter, nearest.iso) == (rig.aperture, rig.shutter, rig.iso)


KIT = Kit(
    Body(3, (100, 800), (100, 125, 160, 800), (0.02, 0.008), 160, (0, 2, 4, 6)),
    Lens(1.8, 16, 77),
    Holder(100, 2, (77, 82)),
    (
        Filter("grey3", "slot", 0.3),
        Filter("grey6", "slot", 0.6, width=100),
        Filter("grey9", "slot", 0.9),
        Filter("small", "slot", 0.6, width=75),
        Filter("round9", "thread", 0.9, thread=77),
        Filter("round12", "thread", 1.2, thread=77),
        Filter("round18", "thread", 1.8, thread=77),
        Filter("round67", "thread", 0.9, thread=67),
    ),
)
RIG = Rig(True, ("grey6",), (), 0, 2.8, 0.02, 100)
VARIABLE = Filter("variable", "thread", 0.6, thread=82, kind="variable_nd", density_to=2.4)  # 1.99 to 7.97 stops
OTHER = Filter("other", "thread", 0.3, thread=77, kind="variable_nd", density_to=1.8)
POLARISER = Filter("polariser", "front", 0.4, thread=105, kind="polariser")
FULL_KIT = replace(
    KIT,
    holder=replace(KIT.holder, front=105),
    filters=(*KIT.filters, VARIABLE, OTHER, POLARISER, replace(POLARISER, id="small polariser", thread=95)),
    step_ups=((77, 82),),
)
NO_HOLDER = replace(KIT, holder=None)
NO_RING = replace(KIT, lens=replace(KIT.lens, thread=95))
OFF = {"holder_on": False, "slots": ()}


@pytest.mark.parametrize(
    ("kit", "changes", "field"),
    [
        (KIT, {"slots": ("unheard of",)}, "rig.slots"),
        (KIT, {**OFF, "threads": ("unheard of",)}, "rig.threads"),
        (KIT, {"slots": ("grey6", "grey6")}, "rig.slots"),
        (KIT, {**OFF, "threads": ("round9", "round9")}, "rig.threads"),
        (KIT, {"slots": ("grey3", "grey6", "grey9")}, "rig.slots"),  # two slots
        (KIT, {"slots": ("small",)}, "rig.slots"),  # 75 mm in a 100 mm holder
        (KIT, {"slots": ("round9",)}, "rig.slots"),
        (KIT, {"holder_on": False, "slots": ("small",)}, "rig.slots"),
        (KIT, {**OFF, "threads": ("grey6",)}, "rig.threads"),
        (KIT, {**OFF, "threads": ("round67",)}, "rig.threads"),
        (KIT, {**OFF, "threads": ("round9", "round12", "round18")}, "rig.threads"),
        (KIT, {"threads": ("round9",)}, "rig.threads"),  # under a mounted holder
        (KIT, {"built_in": 3}, "rig.built_in"),
        (KIT, {"built_in": math.nan}, "rig.built_in"),
        (KIT, {"built_in": math.inf}, "rig.built_in"),
        (NO_HOLDER, {"slots": ()}, "rig.holder_on"),
        (NO_HOLDER, {"holder_on": False}, "rig.slots"),
        (NO_RING, {}, "rig.holder_on"),
        (NO_RING, {**OFF, "threads": ("round9",)}, "rig.threads"),
    ],
)
def test_illegal_rig_is_refused(kit, changes, field):
    """A rig that this kit cannot be set up as is refused by the field that is wrong."""
    check_rig(KIT, RIG)
    with pytest.raises(OutOfRange) as refused:
        check_rig(kit, replace(RIG, **changes))
    assert refused.value.field == field


@pytest.mark.parametrize(
    "rig",
    [
        replace(RIG, holder_on=False),  # off, and full
        replace(RIG, holder_on=False, threads=("round9", "round18")),
        replace(RIG, aperture=1.4),  # the iris of the lens before: must be left
        replace(RIG, aperture=22, iso=51200, shutter=0.5),
    ],
)
def test_odd_but_legal_rig_is_taken(rig):
    """A holder may lie aside with its plates in it, and the present settings may be ones that no answer has."""
    check_rig(KIT, rig)


@pytest.mark.parametrize(
    ("kit", "changes", "field"),
    [
        (FULL_KIT, {"front": "unheard of"}, "rig.front"),
        (FULL_KIT, {"front": "small polariser"}, "rig.front"),  # 95 mm in a 105 mm front ring
        (FULL_KIT, {"front": "grey3"}, "rig.front"),
        (KIT, {"front": "grey3"}, "rig.front"),  # no front ring
        (FULL_KIT, {"slots": ("polariser",)}, "rig.slots"),
        (replace(FULL_KIT, holder=None), {**OFF, "front": "polariser"}, "rig.front"),
        (replace(FULL_KIT, step_ups=((67, 82),)), {**OFF, "threads": ("variable",), "turned": 3}, "rig.threads"),
        (FULL_KIT, {**OFF, "threads": ("variable",)}, "rig.turned"),
        (FULL_KIT, {**OFF, "threads": ("variable",), "turned": 1.9}, "rig.turned"),
        (FULL_KIT, {**OFF, "threads": ("variable",), "turned": 7.98}, "rig.turned"),  # past its dark end
        (FULL_KIT, {**OFF, "threads": ("variable",), "turned": math.nan}, "rig.turned"),
        (FULL_KIT, {"turned": 3}, "rig.turned"),  # nothing on the lens that turns
        (FULL_KIT, {**OFF, "threads": ("variable", "other"), "turned": 3}, "rig.threads"),  # a cross of two crosses
    ],
)
def test_illegal_rig_with_other_glass_is_refused(kit, changes, field):
    """A front ring takes its own thread; a variable ND is one, on a ring that fits, and turned within its ends."""
    with pytest.raises(OutOfRange) as refused:
        check_rig(kit, replace(RIG, **changes))
    assert refused.value.field == field


@pytest.mark.parametrize(
    "changes",
    [
        {"front": "polariser"},
        {"holder_on": False, "front": "polariser", "threads": ("variable",), "turned": 1.994},
        {**OFF, "threads": ("variable", "round9"), "turned": 4.2},  # between two clicks
        {**OFF, "threads": ("variable",), "turned": 7.97},  # its dark end, past the last whole click
    ],
)
def test_legal_rig_with_other_glass_is_taken_and_left_alone(changes):
    """A holder that is off keeps its front ring, a step-up ring carries a wider one, and a turn need be no click."""
    rig = replace(RIG, **changes)
    check_rig(FULL_KIT, rig)
    assert nearest_rig(FULL_KIT, rig) == rig


def test_of_two_filters_that_the_kit_now_calls_variable_one_stays_on():
    """A kit that was put right while both were in the holder: two are never on the lens, so the page still opens."""
    rig = replace(RIG, slots=("grey6", "grey9"))
    now_variable = tuple(
        replace(f, kind="variable_nd", density_to=2.4) if f.id in rig.slots else f for f in KIT.filters
    )
    kit = replace(KIT, filters=now_variable)
    nearest = nearest_rig(kit, rig)
    check_rig(kit, nearest)
    assert (nearest.holder_on, nearest.slots) == (True, ("grey6",))
    off = replace(rig, holder_on=False)
    assert nearest_rig(kit, off) == off  # in the bag, both may stay in the holder
    rings = tuple(
        replace(f, kind="variable_nd", density_to=2.4) if f.id in ("round9", "round18") else f for f in KIT.filters
    )
    screwed = replace(off, slots=(), threads=("round18", "round9"))
    nearest = nearest_rig(replace(KIT, filters=rings), screwed)
    check_rig(replace(KIT, filters=rings), nearest)
    assert nearest.threads == ("round9",)  # the first in the kit's order, whatever stands first on the lens


@pytest.mark.parametrize(
    ("slots", "stay"),
    [
        (("grey9", "grey6", "grey3"), ("grey6", "grey3")),
        (("small", "grey9", "grey6"), ("grey9", "grey6")),  # what does not fit takes no place
        (("grey9",), ("grey9",)),
    ],
)
def test_of_plates_that_there_is_no_room_for_the_first_of_the_kit_stay(slots, stay):
    """A day knows them as a set; those that stay keep their order."""
    rig = Rig(False, slots, (), 0, 2.8, 0.02, 100)
    assert nearest_rig(KIT, rig).slots == stay


def test_a_holder_that_is_full_of_other_plates_keeps_its_variable_nd_only_by_the_kit_s_order():
    """Two slots: the third plate of the kit comes off, though it was the first in the holder."""
    variable = Filter("variable plate", "slot", 0.6, kind="variable_nd", density_to=2.4)
    kit = replace(KIT, filters=(*KIT.filters, variable))
    rig = Rig(True, ("variable plate", "grey9", "grey3"), (), 0, 2.8, 0.02, 100, None, 3.0)
    nearest = nearest_rig(kit, rig)
    assert (nearest.slots, nearest.turned) == (("grey9", "grey3"), None)


@pytest.mark.parametrize("came", [*NOT_FIGURES, 0])
@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda came: Lens(1.8, 16, 77, 0, came), "widest_long"),
        (lambda came: replace(KIT, step_ups=((came, 82),)), "step_ups"),
        (lambda came: replace(KIT, step_ups=((67, 77), (77, came))), "step_ups"),
        (lambda came: replace(RIG, aperture=came), "rig.aperture"),
        (lambda came: replace(RIG, shutter=came), "rig.shutter"),
        (lambda came: replace(RIG, iso=came), "rig.iso"),
        (lambda came: Look(came, 2, 4, 0.02), "look.wanted"),
        (lambda came: Look(2.8, came, 4, 0.02), "look.widest"),
        (lambda came: Look(2.8, 2, came, 0.02), "look.narrowest"),
        (lambda came: Look(2.8, 2, 4, came), "look.shutter"),
        (lambda came: Lens(came, 16), "widest"),
        (lambda came: Lens(1.8, came), "smallest"),
        (lambda came: Lens(1.8, 16, came), "thread"),
        (lambda came: replace(KIT.body, iso_base=(came,)), "iso.base"),
        (lambda came: replace(KIT.body, iso_allowed=(100, came)), "iso.allowed"),
        (lambda came: replace(KIT.body, iso_quiet=came), "iso.quiet"),
        (lambda came: replace(KIT.body, shutters=(0.02, came)), "shutters"),
        (lambda came: replace(KIT.body, clicks_per_stop=came), "clicks_per_stop"),
    ],
)
def test_figure_that_no_camera_has_is_refused(make, field, came):
    """NaN, infinities, zero and the absurd are refused by the name of their field."""
    with pytest.raises(OutOfRange) as refused:
        make(came)
    assert refused.value.field == field


@pytest.mark.parametrize("came", NOT_FIGURES)
@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda came: Lens(1.8, 16, 77, came), "loss_stops"),
        (lambda came: replace(KIT.body, built_in_nd=(0, came)), "built_in_nd"),
        (lambda came: Look(2.8, 2, 4, 0.02, came), "look.tolerance"),
        (lambda came: Look(2.8, 2, 4, 0.02, 0.2, came), "look.rush_tolerance"),
        *(
            (lambda came, name=name: Hands(**{name: came}), f"hands.{name}")
            for name in (*ON_GLASS, "turn", "built_in", "iris", "iso", "shutter", "stray")
        ),
    ],
)
def test_figure_that_may_be_zero_is_refused_where_it_makes_no_sense(make, field, came):
    """Zero is a loss, a step, a tolerance or a hand's time; NaN, infinities and less than nothing are not."""
    make(0) if field != "built_in_nd" else make(2)
    with pytest.raises(OutOfRange) as refused:
        make(came)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Look(2.8, 2, 4, 0.02, 0.34), "look.tolerance"),
        (lambda: Look(2.8, 2, 4, 0.02, 0.2, 1.01), "look.rush_tolerance"),
        (lambda: Look(2.8, 4, 2, 0.02), "look.widest"),
        (lambda: Look(1.8, 2, 4, 0.02), "look.wanted"),
        (lambda: Look(5.6, 2, 4, 0.02), "look.wanted"),
        (lambda: Lens(16, 1.8), "widest"),
        (lambda: Lens(2.8, 16, widest_long=2.5), "widest_long"),
        (lambda: Lens(2.8, 16, widest_long=18), "widest_long"),
        (lambda: replace(KIT, step_ups=((82, 77),)), "step_ups"),  # a step down
        (lambda: replace(KIT, step_ups=((67, 77),) * 21), "step_ups"),
        (lambda: replace(KIT.body, iso_base=()), "iso.base"),
        (lambda: replace(KIT.body, iso_allowed=()), "iso.allowed"),
        (lambda: replace(KIT.body, iso_allowed=(100,) * 101), "iso.allowed"),
        (lambda: replace(KIT.body, shutters=()), "shutters"),
        (lambda: replace(KIT.body, shutters=(0.02,) * 41), "shutters"),
        (lambda: replace(KIT.body, built_in_nd=()), "built_in_nd"),
        (lambda: replace(KIT.body, built_in_nd=(0, 2, 2)), "built_in_nd"),
        (lambda: replace(KIT.body, built_in_nd=tuple(range(17))), "built_in_nd"),
        (lambda: replace(KIT, filters=(KIT.filters[0], KIT.filters[0])), "filters"),
        (lambda: replace(KIT, filters=tuple(Filter(f"{n}", "slot", 0.3) for n in range(41))), "filters"),
    ],
)
def test_kit_or_look_that_makes_no_sense_is_refused(make, field):
    """Windows the wrong way round, empty and endless lists, names twice."""
    with pytest.raises(OutOfRange) as refused:
        make()
    assert refused.value.field == field


def test_long_end_of_a_zoom_has_its_own_widest():
    """f/2.8 to f/4 at the long end: a stop, so three clicks fewer; a lens without one has all of them."""
    kit = replace(KIT, lens=Lens(2.8, 16, 77, widest_long=4))
    assert list(kit.irises(long_end=True)) == list(kit.irises())[3:]
    assert list(KIT.irises(long_end=True)) == list(KIT.irises())


def test_look_needs_its_window_on_the_same_dial_as_the_rig():
    """Marks are compared by what they stand for: f/1.2 is 1.26 in thirds, narrower than a plain 1.25."""
    assert iris_of(1.2, 3) == iris_of(1.26, 3)
    with pytest.raises(OutOfRange):
        Look(1.2, 1.2, 1.25, 0.02)
    Look(1.25, 1.25, 1.2, 0.02)


def test_unknown_filter_of_a_kit_is_a_key_error():
    """Code that asks for a filter by a wrong name is told so."""
    assert KIT.filter("grey6").density == 0.6
    with pytest.raises(KeyError):
        KIT.filter("unheard of")
