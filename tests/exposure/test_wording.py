"""An answer as words, phrase by phrase: what the hand does, what is on the lens, what is left wrong; in two languages."""

from __future__ import annotations

from dataclasses import replace

import pytest

from server.exposure import wording
from server.exposure.glass import Filter, Holder
from server.exposure.looks import Matched
from server.exposure.moves import Move, Score
from server.exposure.rig import Body, Kit, Lens, Look, Rig, actions
from server.language import Manner, speaking

PLATES = tuple(Filter(f"p{density}", "slot", density) for density in (0.6, 0.9, 1.2))
KIT = Kit(
    Body(3, (100.0,), (100.0, 200.0, 400.0), (0.02, 0.01), built_in_nd=(0.0, 2.0, 4.0)),
    Lens(1.4, 16, 77),
    Holder(100, 2, (77,), 105),
    (
        *PLATES,
        Filter("pol", "front", 0.4, thread=105, kind="polariser"),
        Filter("vnd", "thread", 0.6, thread=77, kind="variable_nd", density_to=2.4),
        Filter("grey", "thread", 0.3, thread=77),
        Filter("soft", "slot", 0.6, kind="grad", edge="soft"),
        Filter("hard", "slot", 0.9, kind="grad", edge="hard"),
    ),
)
BARE = Rig(False, (), (), 0, 2.8, 0.02, 100)
HELD = replace(BARE, holder_on=True, slots=("p0.6", "p1.2"))


def move(now, then, kit=KIT, residual=0.0, miss=0.0):
    done = actions(kit, now, then)
    seconds = sum(action.seconds for action in done)
    return Move(then, done, residual, Score(miss, 0, 0, 0, seconds, 0, 0, seconds))


PHRASES = [
    (HELD, replace(BARE, slots=("p0.6", "p1.2")), "Holder off", "Halter ab"),
    (replace(BARE, slots=("p0.6",)), replace(BARE, holder_on=True, slots=("p0.6",)), "Holder on", "Halter dran"),
    (HELD, replace(HELD, slots=("p0.6", "p0.9")), "Swap 1.2 for 0.9", "1.2 gegen 0.9 tauschen"),
    (HELD, replace(HELD, slots=("p1.2",)), "Pull 0.6", "0.6 herausziehen"),
    (HELD, replace(HELD, slots=()), "Pull 0.6 and 1.2", "0.6 und 1.2 herausziehen"),
    (replace(HELD, slots=("p1.2",)), HELD, "Drop in 0.6", "0.6 einschieben"),
    (HELD, replace(HELD, front="pol"), "Polariser into the front ring", "Polfilter in den Frontring"),
    (replace(HELD, front="pol"), HELD, "Polariser out of the front ring", "Polfilter aus dem Frontring"),
    (BARE, replace(BARE, threads=("grey",)), "Screw on 0.3", "0.3 aufschrauben"),
    (replace(BARE, threads=("grey",)), BARE, "Unscrew 0.3", "0.3 abschrauben"),
    (replace(BARE, threads=("vnd",), turned=3.0), replace(BARE, threads=("vnd",), turned=4 + 1 / 3),
     "Turn variable ND to 4⅓ stops", "Variablen ND auf 4⅓ Blenden drehen"),
    (BARE, replace(BARE, built_in=4.0), "Built-in to 4 stops", "Eingebauten ND auf 4 Blenden"),
    (replace(BARE, built_in=4.0), BARE, "Built-in clear", "Eingebauten ND frei"),
    (replace(HELD, slots=("soft",)), replace(HELD, slots=("hard",)),
     "Swap 0.6 soft grad for 0.9 hard grad", "0.6 weicher Verlauf gegen 0.9 harter Verlauf tauschen"),
]  # fmt: skip


@pytest.mark.parametrize(("now", "then", "english", "german"), PHRASES)
def test_what_the_hand_does_to_the_glass(now, then, english, german):
    assert wording.told(KIT, move(now, then)).glass == english
    with speaking(Manner("de")):
        assert wording.told(KIT, move(now, then)).glass == german


def test_a_sentence_goes_in_the_order_of_the_hands():
    then = replace(BARE, slots=("p0.6", "p1.2"), aperture=2.2, iso=400, shutter=0.01)
    done = move(HELD, then)
    assert wording.sentence(KIT, done) == "Holder off, open 2 clicks to f/2.2, ISO 400, 1/100."
    with speaking(Manner("de")):
        assert wording.sentence(KIT, done) == "Halter ab, 2 Klicks öffnen bis f/2.2, ISO 400, 1/100."
    assert wording.sentence(KIT, move(HELD, HELD)) == "Leave it all as it is: f/2.8, ISO 100."


def test_what_is_left_wrong_and_what_would_mend_it():
    """A density for what is too bright, by the marked tenth of a density for each third; light for what is too dark."""
    bright = move(BARE, BARE, residual=4.0, miss=1.0)
    assert wording.told(KIT, bright).wrong == "1⅓ stops too bright"
    assert wording.told(KIT, bright).cure == "0.4 more ND would mend it"
    dark = move(BARE, BARE, residual=-2.0, miss=1.0)
    assert wording.told(KIT, dark).wrong == "⅔ stop too dark"
    assert wording.told(KIT, dark).cure == "it needs ⅔ stop more light"
    right = move(BARE, BARE, residual=0.5)
    assert (wording.told(KIT, right).wrong, wording.told(KIT, right).cure) == ("", "")
    with speaking(Manner("de")):
        assert wording.told(KIT, bright).wrong == "1⅓ Blenden zu hell"
        assert wording.told(KIT, dark).cure == "es braucht ⅔ Blende mehr Licht"


ON_THE_LENS = [
    (BARE, "no glass", "kein Glas"),
    (HELD, "holder on with 0.6 and 1.2", "Halter dran mit 0.6 und 1.2"),
    (replace(HELD, slots=()), "empty holder on", "leerer Halter dran"),
    (replace(BARE, slots=("p0.6",)), "holder off, 0.6 in it", "Halter ab, 0.6 darin"),
    (replace(BARE, threads=("vnd",), turned=3.0, built_in=2.0),
     "variable ND screwed on, turned to 3 stops, built-in 2 stops",
     "variabler ND aufgeschraubt, auf 3 Blenden gedreht, eingebaut 2 Blenden"),
]  # fmt: skip


@pytest.mark.parametrize(("rig", "english", "german"), ON_THE_LENS)
def test_what_is_on_the_lens(rig, english, german):
    assert wording.on_the_lens(KIT, rig) == english
    with speaking(Manner("de")):
        assert wording.on_the_lens(KIT, rig) == german


@pytest.mark.parametrize(
    ("value", "english", "german"),
    [(0, "0 stops", "0 Blenden"), (1 / 3, "⅓ stop", "⅓ Blende"), (1, "1 stop", "1 Blende"), (-4 / 3, "1⅓ stops", "1⅓ Blenden"),
     (2, "2 stops", "2 Blenden"), (0.1, "0 stops", "0 Blenden")],
)  # fmt: skip
def test_stops_are_counted_in_thirds(value, english, german):
    assert wording.stops_of(value) == english
    with speaking(Manner("de")):
        assert wording.stops_of(value) == german


def test_a_stepless_iris_is_turned_by_tenths_of_a_stop():
    assert [wording.turn_size(count, 10) for count in (4, 10, 14)] == ["0.4 stop", "1 stop", "1.4 stops"]
    assert [wording.turn_words(count, 3) for count in (1, 2)] == ["1 click", "2 clicks"]
    with speaking(Manner("de")):
        assert [wording.turn_size(count, 10) for count in (4, 10, 14)] == ["0,4 Blende", "1 Blende", "1,4 Blenden"]


def test_a_light_level_has_the_signs_of_its_language():
    assert wording.ev(-1.26) == "EV −1.3"
    assert wording.ev(-0.04) == "EV 0.0"
    with speaking(Manner("de")):
        assert wording.ev(-1.26) == "EV −1,3"


def test_marks_stay_as_they_are_engraved_in_every_language():
    with speaking(Manner("de")):
        assert (wording.f_number(2.8), wording.density(0.6), wording.iso(100)) == ("f/2.8", "0.6", "ISO 100")


def test_two_filters_that_would_be_called_the_same_go_by_their_names():
    two = (Filter("a", "slot", 0.6, name="old 0.6"), Filter("b", "slot", 0.6, name="new 0.6"), Filter("c", "slot", 0.9))
    assert wording.labels(two) == {"a": "old 0.6", "b": "new 0.6", "c": "0.9"}


def test_a_match_says_what_the_lens_and_the_kit_lack():
    look = Look(2.8, 2, 4, 0.02)
    match = Matched(look, missing=(KIT.filters[3],), field_mm=25.0, in_field=False, off_stops=4 / 3)
    assert wording.match_words(match) == (
        "same field at 25 mm, which this lens has not",
        "background sharper by 1⅓ stops: the lens opens no wider",
        "the first camera wears polariser; this kit has none",
    )
    assert wording.match_words(Matched(look, off_stops=-1.0)) == (
        "background softer by 1 stop: the lens closes no further",
    )
    assert wording.match_words(Matched(look, unknown=("focal length",))) == ("not matched: focal length not known",)
    with speaking(Manner("de")):
        assert wording.match_words(Matched(look, unknown=("focal length",))) == (
            "nicht angeglichen: Brennweite nicht bekannt",
        )
