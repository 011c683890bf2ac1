"""A take as words: what to set before it, what to ride and how fast, what stays wrong, and whether hands are quick."""

from __future__ import annotations

from dataclasses import replace

import pytest

from server.exposure.glass import Filter
from server.exposure.light import Light
from server.exposure.moves import Move, Score
from server.exposure.refused import OutOfRange
from server.exposure.rig import Body, Hands, Kit, Lens, Look, Rig, actions
from server.exposure.takes import Kind, Ride, TakeScore, best_takes
from server.exposure.wording import told_take

BODY = Body(3, (100, 800), (100, 200, 400, 800), (0.02,))
KIT = Kit(
    BODY,
    Lens(1.4, 16, 77),
    filters=(
        Filter("variable", "thread", 0.6, thread=77, kind="variable_nd", density_to=2.4),
        Filter("grey", "thread", 0.6, thread=77),
    ),
)
BARE = Rig(False, (), (), 0, 5.6, 0.02, 100)
TURNED = replace(BARE, threads=("variable",), turned=5.0)


def ride(
    kind: Kind,
    first: Rig,
    last: Rig,
    *,
    kit: Kit = KIT,
    now: Rig | None = None,
    off: tuple[float, float] = (0, 0),
    missed: tuple[bool, bool] = (False, False),
) -> Ride:
    """A ride from one rig to another, set up from a rig (the first); off [clicks], how far each end is too bright."""
    made = []
    for here, there, residual, misses in zip((now or first, first), (first, last), off, missed, strict=True):
        done = actions(kit, here, there)
        seconds = sum(action.seconds for action in done)
        made.append(Move(there, done, residual, Score(float(misses), 0, 0, 0, seconds, 0, 0, seconds)))
    return Ride(kind, *made, TakeScore(0, 0, 0, 0, 0, 0))


def test_an_iris_ride_says_how_many_clicks_and_how_often_one_comes():
    """Nine clicks over 8 s: one every 0.89 s."""
    said = told_take(KIT, ride("iris", replace(BARE, aperture=6.3), replace(BARE, aperture=2.2)), 8)
    assert said.ride == "open 9 clicks while you walk, f/6.3 to f/2.2: one every 0.9 s over 8 s"
    said = told_take(KIT, ride("iris", replace(BARE, aperture=2.2), replace(BARE, aperture=2.8)), 12.4)
    assert said.ride == "close 2 clicks while you walk, f/2.2 to f/2.8: one every 6.2 s over 12 s"


@pytest.mark.parametrize(
    ("kind", "first", "last", "said"),
    [
        ("iris", BARE, replace(BARE, aperture=5), "open 1 click while you walk, f/5.6 to f/5: halfway through the 8 s"),
        ("variable_nd", TURNED, replace(TURNED, turned=7 / 3), "turn the variable ND from 5 stops to 2⅓ over 8 s"),
        ("iso", BARE, replace(BARE, iso=800), "ISO 100 to 800 in 3 steps: one every 2.7 s over 8 s"),
        ("iso", replace(BARE, iso=800), replace(BARE, iso=200), "ISO 800 to 200 in 2 steps: one every 4 s over 8 s"),
        ("iso", replace(BARE, iso=400), replace(BARE, iso=640), "ISO 400 to 640 in 1 step: halfway through the 8 s"),
        ("iris", BARE, BARE, "leave the iris at f/5.6 all the way"),
        ("variable_nd", TURNED, TURNED, "leave the variable ND at 5 stops all the way"),
        ("iso", BARE, BARE, "leave ISO 100 all the way"),
    ],
)
def test_each_ride_is_said_as_its_dial_counts(kind, first, last, said):
    """Clicks for the iris, stops for a variable ND, the body's own steps for the ISO; and nothing, where nothing is."""
    assert told_take(KIT, ride(kind, first, last), 8).ride == said


def test_a_stepless_iris_is_turned_evenly():
    """Tenths of a stop are not counted while walking."""
    kit = replace(KIT, body=replace(BODY, clicks_per_stop=10))
    said = told_take(kit, ride("iris", replace(BARE, aperture=8), replace(BARE, aperture=4), kit=kit), 8)
    assert said.ride == "open 2 stops while you walk, f/8 to f/4: evenly over 8 s"


def test_what_is_set_before_the_take_is_the_start_s_own_sentence_without_its_error():
    """What would mend one end would harm the other, so no cure is offered; each end's error has its own words."""
    first = replace(BARE, threads=("grey",), aperture=4)
    both = ride("iris", first, replace(first, aperture=1.4), now=BARE, off=(2, -4), missed=(True, True))
    said = told_take(KIT, both, 8)
    assert said.before == "Screw on 0.6, open 3 clicks to f/4."
    assert said.wrong == ("the start stays ⅔ stop too bright", "the end stays 1⅓ stops too dark")


def test_an_error_is_said_where_it_shows_or_is_missed():
    """Half a click, a sixth of a stop, is not seen; a whole one is, even inside a wide tolerance; a miss always is."""
    last = replace(BARE, aperture=4)
    assert told_take(KIT, ride("iris", BARE, last, off=(0.5, -0.5)), 8).wrong == ()
    assert told_take(KIT, ride("iris", BARE, last, off=(0.5, -1)), 8).wrong == ("the end stays ⅓ stop too dark",)
    small = ride("iris", BARE, last, off=(0.3, 0), missed=(True, False))
    assert told_take(KIT, small, 8).wrong == ("the start stays a touch too bright",)


def test_hands_that_are_not_fast_enough_are_told_so():
    """Twelve clicks are four stops; at 2 s a stop the hand needs 8 s. It is told so in 7.96 s, and not in 8 s."""
    kit = replace(KIT, hands=Hands(iris=2))
    slow = ride("iris", BARE, replace(BARE, aperture=1.4), kit=kit)
    assert told_take(kit, slow, 8).slow == ""
    assert told_take(kit, slow, 5).slow == "The hand needs 8 s, the take has 5 s"
    kit = replace(KIT, hands=Hands(iris=2.01))
    assert told_take(kit, ride("iris", BARE, replace(BARE, aperture=1.4), kit=kit), 8).slow == (
        "The hand needs 8.1 s, the take has 8 s"
    )


@pytest.mark.parametrize(
    ("kind", "first", "last", "shows"),
    [
        ("iris", BARE, replace(BARE, aperture=4), "depth of field"),
        ("iso", BARE, replace(BARE, iso=200), "step"),
        ("variable_nd", TURNED, replace(TURNED, turned=4.0), ""),
        ("iris", BARE, BARE, ""),
    ],
)
def test_what_a_ride_changes_besides_is_said_where_there_is_one(kind, first, last, shows):
    """Common practice, no source: the iris changes the depth of field, the ISO shows its steps; glass does neither."""
    said = told_take(KIT, ride(kind, first, last), 8).shows
    assert shows in said
    assert bool(shows) == bool(said)


def read_out(kit, ride, seconds):
    """All that is said of a ride, one after the other."""
    said = told_take(kit, ride, seconds)
    parts = [said.before, said.ride, " and ".join(said.wrong), said.slow, said.shows]
    return " ".join(f"{part[0].upper()}{part[1:].rstrip('.')}." for part in parts if part)


def test_a_take_as_sentences():
    """All of it in the order of the hands: before, during, what stays wrong, whether it can be done, what shows."""
    kit = replace(KIT, hands=Hands(iris=2))
    both = ride("iris", BARE, replace(BARE, aperture=1.4), kit=kit, off=(2, -4), missed=(True, True))
    assert read_out(kit, both, 6) == (
        "Leave it all as it is: f/5.6, ISO 100. "
        "Open 12 clicks while you walk, f/5.6 to f/1.4: one every 0.5 s over 6 s. "
        "The start stays ⅔ stop too bright and the end stays 1⅓ stops too dark. "
        "The hand needs 8 s, the take has 6 s. "
        "The depth of field changes with the iris."
    )
    assert read_out(KIT, ride("iso", BARE, BARE), 6) == (
        "Leave it all as it is: f/5.6, ISO 100. Leave ISO 100 all the way."
    )


def test_a_take_that_was_worked_out_is_said():
    """EV 11 to EV 8, as in test_takes: f/6.3 to f/2.2."""
    look = Look(4, 1.4, 16, 0.02)
    kit = Kit(replace(BODY, iso_allowed=(100,)), Lens(1.4, 16))
    said = read_out(kit, best_takes(kit, BARE, (Light(11), look), (Light(8), look)).best, 8)
    assert said.startswith("Close 1 click to f/6.3. Open 9 clicks while you walk, f/6.3 to f/2.2: one every 0.9 s")


@pytest.mark.parametrize("seconds", [0, 0.4, -1, 3601, float("nan"), float("inf")])
def test_a_take_that_nobody_walks_is_refused(seconds):
    with pytest.raises(OutOfRange) as refused:
        told_take(KIT, ride("iris", BARE, BARE), seconds)
    assert refused.value.field == "seconds"
