"""What a phone without a signal did: sent later, and kept with the time when it was done, whatever its clock says."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta

import pytest

from server.book import tables
from tests.conftest import new_id

MINUTE = 60_000  # ms


def phone(clock: timedelta, ago: int) -> dict[str, str]:
    """What a phone says of something that it did so many minutes ago, with a clock that is so far off."""
    sent = (datetime.now(UTC) + clock).timestamp() * 1000
    return {"made_at": f"{sent - ago * MINUTE:.0f}", "sent_at": f"{sent:.0f}"}


def nudge(site, place, clicks, ago, clock):
    said = {"event_id": new_id(), "place": place, "clicks": clicks}
    return site.client.post("/days/1/nudges", data=said | phone(clock, ago))


@pytest.mark.parametrize("hours", [-1, 0, 1, -24 * 400])
def test_it_is_kept_with_the_time_when_it_was_done_by_our_clock(site, hours):
    """A phone whose clock is an hour off does not move what it did by an hour."""
    _, (place, _) = site.day_at(14.2, 6.1)
    before = datetime.now(UTC)
    assert nudge(site, place, -1, ago=30, clock=timedelta(hours=hours)).status_code == 303
    (event,) = site.rows(tables.Event)
    off = event.made_at - (before - timedelta(minutes=30))
    assert abs(off) < timedelta(seconds=30)
    assert event.received_at >= before


def test_a_year_late_is_still_kept(site):
    _, (place, _) = site.day_at(14.2, 6.1)
    assert nudge(site, place, -1, ago=366 * 24 * 60, clock=timedelta()).status_code == 303
    (event,) = site.rows(tables.Event)
    assert timedelta(days=365.9) < datetime.now(UTC) - event.made_at < timedelta(days=366.1)


def test_what_says_no_time_was_done_now(site):
    _, (place, _) = site.day_at(14.2, 6.1)
    before = datetime.now(UTC)
    site.client.post("/days/1/nudges", data={"event_id": new_id(), "place": place, "clicks": -1})
    (event,) = site.rows(tables.Event)
    assert before <= event.made_at <= datetime.now(UTC)


def test_phones_come_back_in_any_order_to_the_same_day(site):
    """Each walked somewhere while it had no signal: the later walk stands, and both are in the log, once each."""
    _, (first, second, third) = site.day_at(14.2, 6.1, 10.4)
    taps = {place: site.tap_of(1, place) for place in (first, second, third)}
    sends = [(first, 50), (second, 20), (third, 35)]
    seen = set()
    for order in itertools.permutations(sends):
        ids = {place: new_id() for place, _ in order}
        for place, ago in (*order, order[0]):  # the first answer was lost: it is sent once more
            said = taps[place] | {"event_id": ids[place]} | phone(timedelta(), ago)
            assert site.client.post("/days/1/moves", data=said).status_code == 303
        kept = [event for event in site.rows(tables.Event) if event.id in ids.values()]
        assert len(kept) == 3
        page = site.get("/days/1")
        seen.add(page.source.partition("<h1")[2].partition("</h1>")[0].partition(">")[2])
    assert seen == {"Place 2"}


@pytest.mark.parametrize(
    "times",
    [
        {"made_at": "1000"},
        {"sent_at": "1000"},
        {"made_at": "2000", "sent_at": "1000"},
        {"made_at": "0", "sent_at": f"{367 * 24 * 60 * MINUTE}"},
        {"made_at": "inf", "sent_at": "inf"},
        {"made_at": "nan", "sent_at": "nan"},
        {"made_at": "1e308", "sent_at": "1e308"},
        {"made_at": "-5", "sent_at": "-5"},
        {"made_at": "yesterday", "sent_at": "1000"},
    ],
)
def test_times_that_cannot_be_are_refused(site, times):
    _, (place, _) = site.day_at(14.2, 6.1)
    for path, said in (
        ("nudges", {"place": place, "clicks": -1}),
        ("undo", {"event": new_id()}),
        ("moves", site.tap_of(1, place)),
        ("sky-nudges", {"place": place, "clicks": -1}),
        ("sky", {"sky": "clear"}),
        ("order/shifts", {"stop": 1, "minutes": 5}),
        ("clips", {"name": "C0001"}),
        ("lens", {"lens": 1}),
        ("rig", {"built_in": 0, "aperture": "2.8", "shutter": "1/50", "iso": 100}),
        (f"places/{place}/readings", {"kind": "ev", "value": "9", "iso": "100"}),
    ):
        site.refused(f"/days/1/{path}", **(said | {"event_id": new_id()} | times))


def test_what_came_second_stays_second_however_long_the_first_was_on_its_way(site):
    """Two taps, a second apart; the answer to the first took five, so by their arrival it was done later."""
    _, (first, second) = site.day_at(14.2, 6.1)
    ids = new_id(), new_id()
    slow, quick = phone(timedelta(), 0), phone(timedelta(), 5 / 60)
    taps = [site.tap_of(1, place) for place in (first, second)]
    site.client.post("/days/1/moves", data=taps[0] | {"event_id": ids[0]} | slow)
    site.client.post("/days/1/moves", data=taps[1] | {"event_id": ids[1], "after": ids[0]} | quick)
    made = {event.id: event.made_at for event in site.rows(tables.Event)}
    assert made[ids[0]] < made[ids[1]] < made[ids[0]] + timedelta(seconds=1)


def test_what_is_said_to_have_come_before_need_not_be_there(site):
    _, (place, _) = site.day_at(14.2, 6.1)
    said = {"event_id": new_id(), "place": place, "clicks": -1, "after": new_id()}
    assert site.client.post("/days/1/nudges", data=said).status_code == 303
    assert len(site.rows(tables.Event)) == 1


def test_a_camera_s_late_reading_counts_the_glass_that_was_on_then(site):
    """Read without glass half an hour ago; since then a 0.6 is in the holder, and the reading says nothing of it."""
    _, (place, _) = site.day_at(14.2, 6.1)
    rig = {
        "event_id": new_id(), "holder_on": "1", "slots": ["1"], "aperture": "2.8", "shutter": "1/50", "iso": "100",
    }  # fmt: skip
    assert site.client.post("/days/1/rig", data=rig | phone(timedelta(), 10)).status_code == 303
    reading = {"kind": "camera", "aperture": "8", "shutter": "1/125", "iso": "100", "meter": "0"}
    for ago in (30, 0):
        said = reading | {"event_id": new_id()} | phone(timedelta(), ago)
        assert site.client.post(f"/days/1/places/{place}/readings", data=said).status_code == 303
    then, now = (event.data for event in site.rows(tables.Event) if event.kind == "reading_taken")
    assert then["raw"]["glass_stops"] == 0
    assert now["raw"]["glass_stops"] > 1.9


@pytest.mark.parametrize("accepted", [True, False])
def test_a_phone_that_wants_no_page_gets_none_unless_it_was_refused(site, accepted):
    _, (place, _) = site.day_at(14.2, 6.1)
    said = {"event_id": new_id(), "place": place, "clicks": -1 if accepted else 3}
    answer = site.client.post("/days/1/nudges", data=said, headers={"prefer": "return=minimal"})
    assert answer.status_code == (204 if accepted else 422)
    assert ("Not kept" in answer.text) is not accepted
    reading = {"event_id": new_id(), "kind": "ev", "value": "9" if accepted else "bright", "iso": "100"}
    to = f"/days/1/places/{place}/readings"
    answer = site.client.post(to, data=reading, headers={"prefer": "return=minimal"})
    assert answer.status_code == (204 if accepted else 422)
    assert len(site.rows(tables.Event)) == (2 if accepted else 0)
