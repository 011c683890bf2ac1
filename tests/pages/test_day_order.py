"""The day page along a running order: what comes next, when, with which lens; late brides; clips."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from server.book import tables
from server.book.days import changed
from server.pages.day_view import next_clip
from tests.conftest import FRAGMENT, new_id
from tests.page import Page

BOTH_WAYS = pytest.mark.parametrize("headers", [{}, FRAGMENT], ids=["plain form", "htmx"])


def order(site, *stops, day=1):
    """Put stops in the book: (minutes from now, name, place) and what else is asked for."""
    with site.client.app.state.book.writing() as session:
        on = session.get(tables.Day, day).on
        midnight = datetime(on.year, on.month, on.day, tzinfo=ZoneInfo("Europe/London"))
        now = int((datetime.now(UTC) - midnight).total_seconds() // 60)
        rows = []
        for after, name, place, *more in stops:
            asked = more[0] if more else {}
            rows.append(tables.Stop(day_id=day, minutes=now + after, second=False, name=name, place_id=place, **asked))
        session.add_all(rows)
        changed(session, day)
        session.flush()
        return [row.id for row in rows]


def events(site, kind):
    return [event.data for event in site.rows(tables.Event) if event.kind == kind]


def first_line(row):
    return row.partition("EV ")[0].strip()


def post(site, what, headers=None, **fields):
    return site.client.post(f"/days/1/{what}", data={"event_id": new_id(), **fields}, headers=headers)


def test_the_next_stop_is_first_and_says_when(site):
    site.day_at(8, 9, 10)
    order(site, (25, "Vows", 3), (61, "Drinks", 1))
    rows = list(site.get("/days/1").rows())
    assert re.match(r"Start here, in (24|25) minutes: \d\d:\d\d Vows Place 3", rows[0])
    assert re.match(r"\d\d:\d\d Drinks, in 1 hour( 1 minute)? Place 1", rows[1])
    assert rows[2].startswith("Place 2"), "a place where no stop is to come stays at hand"


def test_a_tap_does_the_stop_and_the_next_one_is_first(site):
    site.day_at(8, 9, 10)
    vows, _ = order(site, (0, "Vows", 3), (30, "Drinks", 1))
    site.tap(1, 3)
    assert events(site, "moved")[0]["stop"] == vows
    page = site.get("/days/1")
    assert "You are here for Vows" in page.text
    rows = list(page.rows())
    assert re.match(r"Next, in (29|30) minutes: \d\d:\d\d Drinks", rows[0])
    assert [first_line(row) for row in rows[1:]] == ["Place 2"], "done is done"


def test_a_stop_is_answered_for_its_own_look(site):
    """EV 9.64 is f/4 at 1/50 and ISO 100: 4 squared times 50 is 800, of which the logarithm to 2 is 9.64."""
    site.day_at(9.64, 9)
    order(site, (5, "Portraits", 1, {"wanted": 4.0, "widest": 4.0, "narrowest": 4.0}))
    row = next(site.get("/days/1").rows())
    assert "to f/4" in row
    site.tap(1, 1)
    assert "Nothing" not in row
    assert site.get("/days/1").text.count("to f/4") == 0, (
        "and what is on the camera is right for the stop, not the place"
    )
    assert events(site, "moved")[0]["rig"]["aperture"] == 4.0


def test_the_same_place_may_come_again(site):
    """Standing on the lawn, the next stop is the lawn again with another look."""
    site.day_at(9.64, 9)
    order(site, (-5, "Arrivals", 1), (30, "Portraits", 1, {"wanted": 5.6, "widest": 5.6, "narrowest": 5.6}))
    site.tap(1, 1)
    row = next(site.get("/days/1").rows())
    assert "Portraits" in row
    assert "to f/5.6" in row


def test_a_stop_at_no_place_is_named_before_the_one_that_follows(site):
    site.day_at(8, 9)
    order(site, (5, "Dinner", None), (60, "Speeches", 2))
    assert re.match(
        r"\d\d:\d\d Dinner Start here, in 1 hour", next(site.get("/days/1").rows()).replace("59 minutes", "1 hour")
    )


def test_what_was_due_long_ago_has_gone_by(site):
    """Two hours late, with the next one due as well: nobody waits for it any more."""
    site.day_at(8, 9)
    order(site, (-120, "Breakfast", 1), (-10, "Vows", 2), (30, "Drinks", 1))
    page = site.get("/days/1")
    assert re.match(r"Start here, 10 minutes late", next(page.rows()).replace("11 minutes", "10 minutes"))
    assert "Passed over: 1" in page.text
    assert "Breakfast" in list(page.rows())[-1] or "Breakfast" in page.text


def test_a_stop_that_was_passed_over_can_still_be_gone_to(site):
    """The cake comes before the vows: the vows are not lost."""
    site.day_at(8, 9, 10)
    vows, cake, _ = order(site, (0, "Vows", 1), (20, "Cake", 2), (60, "Dance", 3))
    form = next(f for f in site.get("/days/1").forms_to("/days/1/moves") if f["stop"].value == str(cake))
    site.submit(form, **dict([form.buttons[0]]))
    page = site.get("/days/1")
    assert "Passed over: 1" in page.text
    form = next(
        f
        for f in page.forms_to("/days/1/moves")
        if "stop" in [e.name for e in f.fields] and f["stop"].value == str(vows)
    )
    site.submit(form, **dict([form.buttons[0]]))
    page = site.get("/days/1")
    assert "You are here for Vows" in page.text
    assert "Passed over" not in page.text
    assert "Dance" in next(page.rows())
    assert "Passed over: 09" not in site.get("/days/1/plan").text


def test_the_light_changing_keeps_the_stop(site):
    """Here, as the light is now: the stop's look and its name stay."""
    site.day_at(9.64, 9)
    (portraits,) = order(site, (0, "Portraits", 1, {"wanted": 5.6, "widest": 5.6, "narrowest": 5.6}))
    site.tap(1, 1)
    for _ in range(2):
        post(site, "nudges", place="1", clicks="1")
    form = site.get("/days/1").forms_to("/days/1/moves")[0]
    assert form["stop"].value == str(portraits)
    site.submit(form, **dict([form.buttons[0]]))
    assert "You are here for Portraits" in site.get("/days/1").text
    assert events(site, "moved")[-1]["rig"]["aperture"] == 5.6


def test_other_ways_and_one_take_are_for_the_stop(site):
    """EV 9.64 is f/4; a stop that wants f/8 there gets f/8 in both, and a tap on a way does the stop."""
    site.day_at(9.64, 9.64)
    site.tap(1, 2)
    (stop,) = order(site, (10, "Group", 1, {"wanted": 8.0, "widest": 8.0, "narrowest": 8.0}))
    page = site.get("/days/1")
    ways = next(link for link in page.links if "/ways" in link)
    way = site.get(ways)
    assert "For Group at" in way.text
    assert "f/8" in way.text
    form = way.form("/days/1/moves")
    take = site.get(next(link for link in page.links if "/take" in link)).text
    assert "Place 1: 6 clicks outside the look" in take, "f/4 to f/8, which one take cannot have here"
    site.submit(form, **dict([form.buttons[0]]))
    assert events(site, "moved")[-1]["stop"] == stop


def test_the_plan_stands_on_the_next_row_where_it_has_another_rig(site):
    """The hall, a brighter one, a brighter one yet, two minutes apart: the plan fills the holder before the first."""
    site.day_at(9, 10, 12)
    order(site, (30, "One", 1), (32, "Two", 2), (34, "Three", 3))
    row = next(site.get("/days/1").rows())
    assert "Looking ahead, the plan: drop in" in row
    form = site.get("/days/1").forms_to("/days/1/moves")[0]
    site.submit(form, **dict([form.buttons[1]]))
    assert events(site, "moved")[0]["answer"] == "other"
    assert events(site, "moved")[0]["rig"]["slots"]


@BOTH_WAYS
def test_the_plan_stands_there_after_a_tap_too(site, headers):
    """Whatever was tapped, the next row has the plan from here on; by a fragment as by the page."""
    site.day_at(9, 10, 12)
    order(site, (0, "None", 1), (30, "One", 1), (32, "Two", 2), (34, "Three", 3))
    site.tap(1, 1)
    answer = post(site, "nudges", headers, place="1", clicks="-1")
    page = Page(answer.text) if headers else site.get("/days/1")
    assert "Looking ahead, the plan" in page.text


def test_everything_may_come_later_where_the_next_stop_has_no_answer_yet(site):
    """Dinner first, which is at no place, then a place that nobody has read: the buttons are there for both."""
    site.day_at(None, 9)
    dinner, cake = order(site, (10, "Dinner", None), (60, "Cake", 1))
    site.submit(site.get("/days/1").form("/days/1/order/shifts"), minutes="20")
    assert events(site, "order_shifted")[0]["stops"] == [dinner, cake]


def test_an_order_with_no_place_in_it_is_shown(site):
    site.day_at(8, 9)
    order(site, (10, "Dinner", None), (60, "Taxis", None))
    page = site.get("/days/1")
    assert "Dinner" in page.text
    assert "Taxis" in page.text
    assert page.forms_to("/days/1/order/shifts")


def test_shifts_stop_at_half_a_day(site):
    site.day_at(8, 9)
    (stop,) = order(site, (10, "Vows", 1))
    for minutes in ("700", "20", "1"):
        answer = post(site, "order/shifts", FRAGMENT, stop=stop, minutes=minutes)
    assert answer.status_code == 422
    assert "half a day" in Page(answer.text).alerts[0]
    assert site.client.get("/days/1/plan").status_code == 200


def test_a_day_ahead_shows_its_order_without_a_countdown(site):
    venue = site.venue()
    site.place(venue, "Yard", 9)
    day = site.day(venue, site.kit(), on="2031-06-20")
    site.keep(f"/days/{day}/order", at_0="13:30", name_0="Vows", place_0="1")
    row = next(site.get(f"/days/{day}").rows())
    assert row.startswith("Start here: 13:30 Vows")
    assert "minutes" not in row


# Another lens.


@pytest.fixture
def with_zoom(site):
    site.day_at(8.64, 9.64)
    site.lens(1, "Zoom", widest="4", smallest="22", thread="82")
    return site


def test_another_lens_is_said_first_and_a_tap_puts_it_on(with_zoom):
    site = with_zoom
    zoom = max(row.id for row in site.rows(tables.Lens))
    (portraits,) = order(site, (5, "Portraits", 2, {"lens_id": zoom}))
    row = next(site.get("/days/1").rows())
    assert "Lens first: Zoom" in row
    assert "f/4" in row, "which the zoom opens to, and no further"
    site.tap(1, 2)
    moved = events(site, "moved")[0]
    assert (moved["stop"], moved["lens"], moved["rig"]["aperture"]) == (portraits, zoom, 4.0)
    assert "Lens first" not in site.get("/days/1").text
    assert '<span class="lens-on">Zoom</span>' in site.get("/days/1").source


def test_a_lens_stays_on_for_the_stops_that_follow(with_zoom):
    zoom = max(row.id for row in with_zoom.rows(tables.Lens))
    order(with_zoom, (5, "Portraits", 2, {"lens_id": zoom}), (30, "Drinks", 1))
    rows = list(with_zoom.get("/days/1").rows())
    assert all("Lens first: Zoom" in row for row in rows[:2])


def test_other_ways_have_the_lens_that_will_be_on(with_zoom):
    """The zoom was put on for a stop, and taken off again by hand: what follows is with the lens that is on."""
    site = with_zoom
    zoom = max(row.id for row in site.rows(tables.Lens))
    order(site, (-5, "Portraits", 2, {"lens_id": zoom}), (30, "Drinks", 1))
    site.tap(1, 2)
    post(site, "lens", lens="1")
    ways = next(link for link in site.get("/days/1").links if "/ways" in link)
    assert "Lens first" not in site.get(ways).text
    site.submit(site.get(ways).form("/days/1/moves"), **dict([site.get(ways).form("/days/1/moves").buttons[0]]))
    assert "lens" not in events(site, "moved")[-1]


@pytest.mark.parametrize("lens", ["77", "zoom", "-1"])
def test_a_tap_with_a_lens_that_the_kit_has_not_keeps_nothing(with_zoom, lens):
    order(with_zoom, (5, "Portraits", 2))
    before = with_zoom.book()
    assert with_zoom.tap(1, 2, lens=lens).status_code in (404, 422)
    assert with_zoom.book() == before


def test_a_stop_that_was_taken_out_of_the_order_meanwhile_makes_the_walk_no_less_true(site):
    site.day_at(8, 9)
    order(site, (5, "Vows", 2))
    tap = site.tap_of(1, 2)
    with site.client.app.state.book.writing() as session:
        session.query(tables.Stop).delete()
        changed(session, 1)
    assert site.post("/days/1/moves", **tap).status_code == 303
    assert "stop" not in events(site, "moved")[0]


# The late bride.


@BOTH_WAYS
def test_everything_from_here_comes_later_and_the_plan_stays_as_it_was(site, headers):
    site.day_at(8, 9)
    first, second, third = order(site, (-30, "Arrivals", 1), (10, "Vows", 2), (40, "Drinks", 1))
    answer = post(site, "order/shifts", headers, stop=second, minutes="20")
    assert answer.status_code == (200 if headers else 303)
    assert events(site, "order_shifted") == [{"stops": [second, third], "minutes": 20}]
    page = site.get("/days/1/order")
    fields = {each.name: each.value for each in page.form("/days/1/order").fields}
    minutes = {row.id: row.minutes for row in site.rows(tables.Stop)}
    assert minutes[second] == minutes[first] + 40, "what was planned is what was planned"
    hour, minute = map(int, fields["at_1"].split(":"))
    assert (hour * 60 + minute - minutes[second] - 20) % 1440 == 0
    if headers:
        assert "From Vows on, all 20 min later" in answer.text


def test_a_shift_is_taken_back_by_undo(site):
    site.day_at(8, 9)
    order(site, (10, "Vows", 2), (40, "Drinks", 1))
    page = site.get("/days/1")
    times = [row.partition(",")[0] for row in page.rows()]  # how long until then may be a minute less by now
    shift = page.form("/days/1/order/shifts")
    site.submit(shift, minutes="20")
    assert "in 30 minutes" in next(site.get("/days/1").rows()) or "in 29 minutes" in next(site.get("/days/1").rows())
    undo = site.get("/days/1").form("/days/1/undo")
    site.submit(undo)
    assert [row.partition(",")[0] for row in site.get("/days/1").rows()] == times
    assert re.match("Start here, in (9|10) minutes", next(site.get("/days/1").rows()))


def test_an_order_that_is_changed_after_a_shift_is_kept_as_it_is_typed(site):
    """The table shows the times as they stand; what is typed there is when it comes, shift or no shift."""
    venue = site.venue()
    site.place(venue, "Yard", 9)
    site.day(venue, site.kit(), on="2031-06-20")
    site.keep("/days/1/order", at_0="13:30", name_0="Vows", place_0="1")
    stop = site.rows(tables.Stop)[0].id
    post(site, "order/shifts", stop=stop, minutes="20")
    form = site.get("/days/1/order").form("/days/1/order")
    assert form["at_0"].value == "13:50"
    site.submit(form, at_0="14:00")
    assert site.get("/days/1/order").form("/days/1/order")["at_0"].value == "14:00"
    assert site.rows(tables.Stop)[0].minutes == 13 * 60 + 40


@pytest.mark.parametrize(
    ("fields", "status"),
    [
        ({"minutes": "0"}, 422), ({"minutes": "soon"}, 422), ({"minutes": "721"}, 422), ({"minutes": ""}, 422),
        ({"stop": "999"}, 404), ({"stop": "vows"}, 422), ({"event_id": "x"}, 422),
    ],
)  # fmt: skip
def test_a_shift_that_is_none_keeps_nothing(site, fields, status):
    site.day_at(8, 9)
    (stop,) = order(site, (10, "Vows", 2))
    before = site.book()
    sent = {"event_id": new_id(), "stop": str(stop), "minutes": "20"} | fields
    assert site.client.post("/days/1/order/shifts", data=sent, headers=FRAGMENT).status_code == status
    assert site.book() == before


def test_a_shift_that_is_sent_twice_counts_once(site):
    site.day_at(8, 9)
    (stop,) = order(site, (10, "Vows", 2))
    sent = {"event_id": new_id(), "stop": str(stop), "minutes": "20"}
    for _ in range(2):
        site.client.post("/days/1/order/shifts", data=sent)
    assert len(events(site, "order_shifted")) == 1


# Clips.


@BOTH_WAYS
def test_a_clip_is_noted_with_one_tap_and_the_next_one_counts_on(site, headers):
    site.day_at(8, 9)
    site.tap(1, 1)
    post(site, "clips", headers, name="C0099", notes="slate upside down")
    assert events(site, "clip_noted") == [{"name": "C0099", "notes": "slate upside down"}]
    form = site.get("/days/1").forms_to("/days/1/clips")[1]
    assert form.buttons == [("name", "C0100")]
    site.submit(form, name="C0100")
    assert "Note C0101" in site.get("/days/1").text


@pytest.mark.parametrize(
    ("last", "then"),
    [("", "Clip 1"), ("Clip 9", "Clip 10"), ("A001_C009", "A001_C010"), ("A", "A 2"), ("99", "100"), ("take 1b", "take 1b 2")],
)  # fmt: skip
def test_names_count_up_at_their_end(last, then):
    assert next_clip(last) == then


def test_a_name_as_long_as_can_be_counts_on_within_its_length():
    assert len(next_clip("x" * 78 + "99")) <= 80
    assert next_clip("x" * 78 + "99").endswith("100")


@pytest.mark.parametrize(
    "fields", [{"name": " "}, {"name": "x" * 81}, {"name": "ok", "notes": "x" * 501}, {"event_id": "short"}]
)
def test_a_clip_that_cannot_be_kept_says_why(site, fields):
    site.day_at(8, 9)
    site.tap(1, 1)
    before = site.book()
    sent = {"event_id": new_id(), "name": "C1"} | fields
    answer = site.client.post("/days/1/clips", data=sent, headers=FRAGMENT)
    assert answer.status_code == 422
    assert "Not kept" in Page(answer.text).alerts[0]
    assert site.book() == before
