"""A day's log: whatever order events come in, and however often, they say the same."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.book.log import Event, PlaceLight, Reading, fold, retold, rig_data, rig_from
from server.exposure.rig import Rig

NOON = datetime(2026, 6, 20, 12, tzinfo=UTC)
START = Rig(False, (), (), 0.0, 2.8, 0.02, 100.0)
OTHER = Rig(True, ("7",), (), 2.0, 4.0, 0.01, 800.0)
ORCHARD, CHAPEL = 1, 2
RECCE = {
    (ORCHARD, "face"): Reading(14.6, NOON - timedelta(days=2), "ev", "scout"),
    (CHAPEL, "face"): Reading(6.0, NOON - timedelta(days=2), "lux", "scout"),
}


def at(minutes: float) -> datetime:
    return NOON + timedelta(minutes=minutes)


def moved(name, minutes, place, rig=OTHER, **for_it):
    data = {"place": place, "answer": "clean", "rig": rig_data(rig)} | for_it
    return Event(name, "moved", at(minutes), "shooter", data)


def nudged(name, minutes, place, clicks):
    return Event(name, "nudged", at(minutes), "shooter", {"place": place, "clicks": clicks})


def corrected(name, minutes, rig):
    return Event(name, "rig_corrected", at(minutes), "shooter", {"rig": rig_data(rig)})


def read(name, minutes, place, ev100, **said):
    data = {"place": place, "kind": "lux", "raw": {"value": 1.0}, "ev100": ev100} | said
    return Event(name, "reading_taken", at(minutes), "second", data)


def undone(name, minutes, event):
    return Event(name, "undone", at(minutes), "shooter", {"event": event})


def sky(name, minutes, seen):
    return Event(name, "sky_seen", at(minutes), "shooter", {"sky": seen})


def shared(name, minutes, places, clicks):
    return Event(name, "sky_nudged", at(minutes), "shooter", {"places": places, "clicks": clicks})


def shifted(name, minutes, stops, by):
    return Event(name, "order_shifted", at(minutes), "shooter", {"stops": stops, "minutes": by})


def clip(name, minutes, called):
    return Event(name, "clip_noted", at(minutes), "shooter", {"name": called})


NAMES = ("event-2", "event-0", "event-3", "event-1", "event-5", "event-4")  # not in the order that they are sent in
RIGS = (START, OTHER, Rig(False, ("7",), (), 0.0, 8.0, 0.02, 100.0))
MINUTES = st.integers(-3, 5)  # few, so that events of one minute are common; some before the readings of the recce


SAID = ({}, {"sky": "overcast"}, {"part": "dark"}, {"part": "bright", "sky": "clear"})


def made(name, kind, minutes, place, number):
    """An event of some kind; number picks its rig, its clicks, its light or what it takes back."""
    match kind:
        case 0:
            for_it = ({}, {"stop": place}, {"stop": number, "lens": place})[number % 3]
            return moved(name, minutes, place, RIGS[number % len(RIGS)], **for_it)
        case 1:
            return nudged(name, minutes, place, (-1, 1)[number % 2])
        case 2:
            return corrected(name, minutes, RIGS[number % len(RIGS)])
        case 3:
            return read(name, minutes, place, float(number), **SAID[number % len(SAID)])
        case 4:
            return sky(name, minutes, ("clear", "partly", "overcast")[number % 3])
        case 5:
            return shared(name, minutes, [each for each in (1, 2, 3) if each != place], (-2, 1)[number % 2])
        case 6:
            return shifted(name, minutes, [place, number], (-5, 20)[number % 2])
        case 7:
            return clip(name, minutes, f"C{number}")
        case _:
            return undone(name, minutes, (*NAMES, "never-sent")[number % (len(NAMES) + 1)])


PARTS = st.tuples(st.integers(0, 8), MINUTES, st.integers(1, 3), st.integers(0, 9))
LOGS = st.lists(PARTS, max_size=len(NAMES)).map(
    lambda log: [made(name, *parts) for name, parts in zip(NAMES, log, strict=False)]
)
READINGS = st.dictionaries(
    st.sampled_from([(ORCHARD, "face"), (CHAPEL, "face"), (CHAPEL, "dark")]),
    MINUTES.map(lambda minutes: Reading(10.0 + minutes, at(minutes), "ev", "scout")),
)


@given(log=LOGS, readings=READINGS, data=st.data())
def test_the_order_in_which_events_come_in_does_not_matter(log, readings, data):
    """Phones that were offline send late; all must agree in the end."""
    assert fold(data.draw(st.permutations(log)), START, readings) == fold(log, START, readings)


@given(log=LOGS, readings=READINGS, data=st.data())
def test_an_event_that_is_sent_again_changes_nothing(log, readings, data):
    again = data.draw(st.lists(st.sampled_from(log), max_size=5)) if log else []
    assert fold([*log, *again], START, readings) == fold(log, START, readings)


@given(log=LOGS, readings=READINGS, minutes=MINUTES, data=st.data())
def test_an_event_that_was_taken_back_counts_as_if_it_had_never_been(log, readings, minutes, data):
    """Whenever it is taken back, and whatever came after it."""
    log = [event for event in log if event.kind != "undone"]
    if not log:
        return
    gone = data.draw(st.sampled_from(log))
    without = [event for event in log if event is not gone]
    assert fold([*log, undone("the-undo", minutes, gone.id)], START, readings) == fold(without, START, readings)


@given(log=LOGS, readings=READINGS, minutes=MINUTES)
def test_taking_back_what_was_never_done_changes_nothing(log, readings, minutes):
    with_it = [*log, undone("the-undo", minutes, "no-such-event")]
    assert fold(with_it, START, readings) == fold(log, START, readings)


@given(log=LOGS, readings=READINGS, data=st.data())
def test_an_event_that_was_taken_back_twice_is_taken_back(log, readings, data):
    if not log:
        return
    gone = data.draw(st.sampled_from(log)).id
    once = [*log, undone("undo-1", 3, gone)]
    assert fold([*once, undone("undo-2", 4, gone)], START, readings) == fold(once, START, readings)


def test_an_undo_that_is_itself_taken_back_stays():
    """Undo has no redo: the shooter taps the place again instead. Taking back an undo must not bring a ghost back."""
    log = [moved("one", 0, ORCHARD), moved("two", 1, CHAPEL), undone("three", 2, "two")]
    state = fold([*log, undone("four", 3, "three")], START, RECCE)
    assert state == fold(log, START, RECCE)
    assert state.here == ORCHARD


def test_undo_goes_back_tap_by_tap_to_the_start():
    """Each tap on Undo takes back the tap before; after the last there is nothing to undo."""
    log = [moved("one", 0, ORCHARD), nudged("two", 1, ORCHARD, -1), moved("three", 2, CHAPEL)]
    taken = []
    for tap in range(3):
        last = fold(log, START, RECCE).last
        taken.append(last.id)
        log.append(undone(f"undo-{tap}", 10 + tap, last.id))
    assert taken == ["three", "two", "one"]
    assert fold(log, START, RECCE) == fold([], START, RECCE)
    assert fold(log, START, RECCE).last is None


def test_a_day_without_a_tap_is_at_its_start():
    state = fold([], START, RECCE)
    assert (state.here, state.since, state.rig, state.last) == (None, None, START, None)
    assert state.lights == {place: PlaceLight(reading) for (place, _), reading in RECCE.items()}


def test_a_move_says_where_since_when_and_with_what():
    state = fold([moved("one", 0, ORCHARD, START), moved("two", 7, CHAPEL, OTHER)], START, RECCE)
    assert (state.here, state.since, state.rig) == (CHAPEL, at(7), OTHER)


def test_a_correction_changes_the_rig_and_not_the_place():
    """ "I did it differently": where the shooter stands, and since when, stays."""
    state = fold([moved("one", 0, ORCHARD, START), corrected("two", 4, OTHER)], START, RECCE)
    assert (state.here, state.since, state.rig) == (ORCHARD, at(0), OTHER)
    assert state.last.id == "two"


def test_a_move_after_a_correction_has_the_move_s_rig():
    log = [corrected("one", 1, OTHER), moved("two", 2, CHAPEL, START)]
    assert fold(log, OTHER, RECCE).rig == START


def test_a_nudge_moves_its_place_s_light_by_a_third_of_a_stop_and_no_other_s():
    state = fold([nudged("one", 0, ORCHARD, -1), nudged("two", 1, ORCHARD, -1)], START, RECCE)
    assert state.lights[ORCHARD].light.ev100 == pytest.approx(14.6 - 2 / 3)
    assert state.lights[CHAPEL].light.ev100 == 6.0


def test_a_nudge_up_and_a_nudge_down_leave_the_light_as_it_was():
    log = [nudged("one", 0, ORCHARD, 1), nudged("two", 1, ORCHARD, -1)]
    assert fold(log, START, RECCE).lights[ORCHARD].light.ev100 == 14.6


def test_a_nudge_before_a_reading_is_in_the_reading_already():
    """The meter saw the light after it fell: counted again, the fall would be in the picture twice."""
    log = [nudged("one", 0, CHAPEL, -1), read("two", 5, CHAPEL, 4.5)]
    assert fold(log, START, RECCE).lights[CHAPEL].light.ev100 == 4.5


def test_a_nudge_after_a_reading_counts_from_the_reading():
    log = [read("one", 0, CHAPEL, 4.5), nudged("two", 5, CHAPEL, 1)]
    assert fold(log, START, RECCE).lights[CHAPEL].light.ev100 == pytest.approx(4.5 + 1 / 3)


def test_a_nudge_older_than_the_venue_s_newest_reading_is_in_it_already():
    """A reading on the venue page at noon has seen the light that was nudged at five to twelve."""
    newest = {(CHAPEL, "face"): Reading(5.0, at(0), "ev", "scout")}
    log = [nudged("before", -5, CHAPEL, -1), nudged("after", 5, CHAPEL, -1)]
    assert fold(log, START, newest).lights[CHAPEL].light.ev100 == pytest.approx(5.0 - 1 / 3)


def test_a_reading_on_the_day_is_newer_than_the_venue_s():
    state = fold([read("one", 0, CHAPEL, 4.5)], START, RECCE)
    assert state.lights[CHAPEL] == PlaceLight(Reading(4.5, at(0), "lux", "second"))


def test_a_reading_on_the_day_older_than_the_venue_s_newest_gives_way():
    """A phone that was offline sends a reading of eleven o'clock; at noon somebody metered at the venue page."""
    newest = {(CHAPEL, "face"): Reading(5.0, at(0), "ev", "scout")}
    assert fold([read("one", -60, CHAPEL, 4.5)], START, newest).lights[CHAPEL].light.ev100 == 5.0


def test_of_two_readings_on_the_day_the_later_counts_though_it_came_in_first():
    log = [read("late", 9, CHAPEL, 4.0), read("early", 3, CHAPEL, 7.0)]
    assert fold(log, START, RECCE).lights[CHAPEL].light.ev100 == 4.0


def test_a_reading_that_was_taken_back_gives_the_one_before_with_its_nudges():
    log = [nudged("one", 0, CHAPEL, -1), read("two", 5, CHAPEL, 9.0), undone("three", 6, "two")]
    assert fold(log, START, RECCE).lights[CHAPEL] == PlaceLight(RECCE[CHAPEL, "face"], nudge=-1)


def test_a_place_without_a_reading_has_no_light_to_nudge():
    """A nudge says by how much a reading is off; without one it says nothing, now or when a reading comes."""
    state = fold([nudged("one", 0, 3, 1)], START, RECCE)
    assert 3 not in state.lights
    state = fold([nudged("one", 0, 3, 1), read("two", 1, 3, 8.0)], START, RECCE)
    assert state.lights[3].light.ev100 == 8.0


def test_nudges_stop_at_the_ends_of_what_light_may_be():
    """A thumb that rests on the button must not lead out of what the engine can work with."""
    log = [nudged(f"fall-{n:03}", n, CHAPEL, -1) for n in range(200)]
    assert fold(log, START, RECCE).lights[CHAPEL].light.ev100 == -16


def test_folding_leaves_what_it_was_given_alone():
    """The venue's readings are shared by its days: one day's nudge is not another's."""
    readings = dict(RECCE)
    fold([nudged("one", 0, ORCHARD, -1), read("two", 1, CHAPEL, 1.0)], START, readings)
    assert readings == RECCE


@pytest.mark.parametrize("rig", RIGS, ids=repr)
def test_a_rig_comes_back_from_the_log_as_it_went_in(rig):
    assert rig_from(rig_data(rig)) == rig


UNDER_SKY = frozenset({ORCHARD, CHAPEL})


def test_the_sky_is_what_was_said_of_it_last():
    assert fold([sky("one", 0, "clear"), sky("two", 1, "overcast")], START, RECCE).sky == "overcast"
    assert fold([sky("one", 0, "clear"), sky("two", 1, "overcast"), undone("x", 2, "two")], START, RECCE).sky == "clear"
    assert fold([], START, RECCE).sky is None


def test_a_reading_on_the_day_says_the_sky_unless_it_was_taken_a_while_ago():
    assert fold([read("one", 0, CHAPEL, 4.0, sky="partly")], START, RECCE).sky == "partly"
    ago = {"sky": "partly", "taken_at": at(-60).isoformat()}
    assert fold([read("one", 0, CHAPEL, 4.0, **ago)], START, RECCE).sky is None


def test_another_sky_takes_back_the_nudges_that_stood_for_it():
    """The sun went in, the shooter nudged, then said "overcast": the forecast has the fall now, and must not have it twice."""
    log = [nudged("one", 0, ORCHARD, -4), nudged("two", 1, CHAPEL, -2), sky("three", 2, "overcast")]
    lights = fold(log, START, RECCE, frozenset({ORCHARD})).lights
    assert (lights[ORCHARD].nudge, lights[CHAPEL].nudge) == (0, -2)  # the chapel's lamps know no sky
    again = [*log, nudged("four", 3, ORCHARD, 1), sky("five", 4, "overcast")]
    assert fold(again, START, RECCE, UNDER_SKY).lights[ORCHARD].nudge == 1


def test_a_nudge_for_the_other_places_is_one_event_and_one_undo():
    log = [nudged("one", 0, ORCHARD, -2), shared("two", 1, [CHAPEL, 3], -2)]
    state = fold(log, START, RECCE)
    assert (state.lights[ORCHARD].nudge, state.lights[CHAPEL].nudge) == (-2, -2)
    assert 3 not in state.lights
    assert fold([*log, undone("x", 2, "two")], START, RECCE).lights[CHAPEL].nudge == 0


def test_nudges_in_a_row_are_counted_until_something_else_happens():
    log = [nudged("one", 0, ORCHARD, -1), nudged("two", 1, ORCHARD, -1)]
    assert fold(log, START, RECCE).turned == (ORCHARD, -2)
    assert fold([*log, nudged("three", 2, CHAPEL, 1)], START, RECCE).turned == (CHAPEL, 1)
    assert fold([*log, moved("three", 2, CHAPEL)], START, RECCE).turned is None
    assert fold([*log, undone("x", 2, "two")], START, RECCE).turned == (ORCHARD, -1)
    assert fold([*log, shared("three", 2, [CHAPEL], -2)], START, RECCE).turned is None


def test_only_the_lit_face_is_exposed_for():
    """The window and the dark corner are kept beside it, for the contrast."""
    log = [read("one", 0, CHAPEL, 9.5, part="bright"), read("two", 1, CHAPEL, 3.0, part="dark")]
    light = fold(log, START, RECCE).lights[CHAPEL]
    assert light.reading == RECCE[CHAPEL, "face"]
    assert [(part, reading.ev100) for part, reading in light.others] == [("bright", 9.5), ("dark", 3.0)]
    assert 3 not in fold([read("one", 0, 3, 9.5, part="bright")], START, RECCE).lights


def test_a_reading_that_was_taken_a_while_ago_has_that_time():
    ago = read("one", 0, CHAPEL, 4.0, taken_at=at(-60).isoformat())
    assert fold([ago], START, RECCE).lights[CHAPEL].reading.taken_at == at(-60)
    newest = {(CHAPEL, "face"): Reading(5.0, at(-30), "ev", "scout")}
    assert fold([ago], START, newest).lights[CHAPEL].reading.ev100 == 5.0


def test_a_sky_that_is_no_news_takes_no_nudge_back():
    """The reading was noted "clear" and nudged; "clear" said once more explains nothing of it."""
    noted = {(ORCHARD, "face"): Reading(14.6, at(-60), "ev", "scout", "clear")}
    log = [nudged("one", 0, ORCHARD, -3), sky("two", 1, "clear")]
    assert fold(log, START, noted, UNDER_SKY).lights[ORCHARD].nudge == -3
    assert fold([*log, sky("three", 2, "overcast")], START, noted, UNDER_SKY).lights[ORCHARD].nudge == 0


def test_a_reading_that_saw_the_sky_later_than_the_log_did_is_believed():
    """The shooter said "overcast"; the second shooter metered under a clear sky at the venue page after that."""
    newer = {(ORCHARD, "face"): Reading(14.6, at(5), "ev", "scout", "clear")}
    state = fold([sky("one", 0, "overcast")], START, newer, UNDER_SKY)
    assert (state.sky, state.sky_at) == ("clear", at(5))
    photo = read("two", 9, ORCHARD, 9.0, sky="partly", taken_at=at(8).isoformat())
    assert fold([sky("one", 0, "overcast"), photo], START, newer, UNDER_SKY).sky == "partly"
    older = {(ORCHARD, "face"): Reading(14.6, at(-5), "ev", "scout", "clear")}
    assert fold([sky("one", 0, "overcast")], START, older, UNDER_SKY).sky == "overcast"


def test_a_reading_that_was_written_down_later_takes_back_what_was_nudged_until_then():
    """Metered at ten to, nudged at five to, typed up at noon: the figure was looked at again, the nudge was not."""
    typed_up = {(ORCHARD, "face"): Reading(10.0, at(-10), "ev", "scout", None, at(0))}
    log = [nudged("one", -5, ORCHARD, -6), nudged("two", 5, ORCHARD, -1)]
    assert fold(log, START, typed_up).lights[ORCHARD].nudge == -1


def test_a_stop_that_was_gone_to_is_done_and_the_last_one_is_last():
    log = [moved("a", 0, ORCHARD, stop=11), moved("b", 1, CHAPEL, stop=12), moved("c", 2, ORCHARD, stop=11)]
    state = fold(log, START, RECCE)
    assert list(state.done.items()) == [(12, at(1)), (11, at(2))]
    assert state.at_stop == 11


def test_a_walk_off_the_order_leaves_what_is_done():
    state = fold([moved("a", 0, ORCHARD, stop=11), moved("b", 1, CHAPEL)], START, RECCE)
    assert (state.at_stop, list(state.done)) == (None, [11])


def test_a_move_with_another_lens_says_so():
    state = fold([moved("a", 0, ORCHARD, lens=5), moved("b", 1, CHAPEL)], START, RECCE)
    assert state.lens == 5


def test_shifts_add_up_stop_by_stop():
    log = [shifted("a", 0, [2, 3, 4], 20), shifted("b", 1, [3, 4], -5), undone("c", 2, "a")]
    assert fold(log[:2], START, RECCE).shifts == {2: 20, 3: 15, 4: 15}
    assert fold(log, START, RECCE).shifts == {3: -5, 4: -5}


def test_a_clip_is_the_last_that_was_noted():
    log = [clip("a", 0, "C0012"), clip("b", 1, "C0013"), undone("c", 2, "b")]
    assert fold(log, START, RECCE).clip == "C0012"


def test_what_the_day_began_with_is_what_was_on_before_the_first_move():
    log = [corrected("a", 0, RIGS[2]), moved("b", 1, ORCHARD), corrected("c", 2, START)]
    state = fold(log, START, RECCE)
    assert (state.began, state.began_with) == (RIGS[2], None)
    assert fold(log[:1], START, RECCE).began is None


@given(log=LOGS, under=st.sampled_from((frozenset(), frozenset({ORCHARD, CHAPEL}))))
def test_a_log_told_step_by_step_ends_where_it_is_folded(log, under):
    """Each step begins where the last one ended; without the venue's readings, which are not among the events."""
    steps = list(retold(log, {None: START}, under))
    assert (steps[-1][2] if steps else fold([], START, {})) == fold(log, START, {}, under)
    assert all(after == before for (_, _, after), (_, before, _) in zip(steps, steps[1:], strict=False))
    assert [event.made_at for event, *_ in steps] == sorted(event.made_at for event, *_ in steps)


# Two cameras on one day.

CAMERAS = st.lists(st.sampled_from([None, 7]), min_size=len(NAMES), max_size=len(NAMES))
OWN = ("moved", "rig_corrected", "lens_changed", "clip_noted")


def of(event, camera):
    return replace(event, camera=camera)


@given(log=LOGS, cameras=CAMERAS, readings=READINGS)
def test_what_one_camera_did_with_itself_is_not_the_other_s(log, cameras, readings):
    """Each state is that of a log without the other's moves; light and order are the same for both."""
    both = [of(event, camera) for event, camera in zip(log, cameras, strict=False)]
    for own in (None, 7):
        alone = [event for event in both if event.camera == own or event.kind not in OWN]
        state = fold(both, START, readings, camera=own)
        assert state == fold(alone, START, readings, camera=own)
        assert state.lights == fold(both, OTHER, readings, camera=9).lights
        assert state.shifts == fold(both, OTHER, readings, camera=9).shifts


@given(log=LOGS, cameras=CAMERAS)
def test_retold_each_camera_ends_as_it_is_folded(log, cameras):
    both = [of(event, camera) for event, camera in zip(log, cameras, strict=False)]
    ends = {event.camera: (event, after) for event, _, after in retold(both, {None: START, 7: OTHER})}
    told = [event.id for event, *_ in retold(both, {None: START, 7: OTHER})]
    for camera, start in ((None, START), (7, OTHER)):
        if camera in ends:
            until = told.index(ends[camera][0].id) + 1
            standing = [event for event in both if event.id in told[:until]]
            assert ends[camera][1] == fold(standing, start, {}, camera=camera)


def test_undo_is_offered_for_what_this_camera_s_shooter_did():
    log = [of(moved("a", 0, ORCHARD), None), of(nudged("b", 1, ORCHARD, -1), 7), of(moved("c", 2, CHAPEL), 7)]
    assert fold(log, START, RECCE).last.id == "a"
    assert fold(log, START, RECCE, camera=7).last.id == "c"
    assert fold(log, START, RECCE).turned == (ORCHARD, -1)
