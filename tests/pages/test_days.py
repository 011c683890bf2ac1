"""A day: made and set up at the desk, and tapped on the day, by plain forms and by htmx."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime

import pytest

from server.book import tables
from server.pages.venues import PLACES_MOST
from tests.conftest import FRAGMENT, new_id
from tests.page import Page

BOTH_WAYS = pytest.mark.parametrize("headers", [{}, FRAGMENT], ids=["plain form", "htmx"])


def events(site):
    return [(event.kind, event.data) for event in site.rows(tables.Event)]


def said(page):
    return re.search(r'id="said">([^<]*)<', page.source)[1]


def heading(page):
    return re.search(r"<h1[^>]*>([^<]*)</h1>", page.source)[1]


# Making it.


def test_from_a_venue_and_a_kit_to_the_first_tap(site):
    """The night before, and the walk in: by filling in the forms and pressing the buttons that the pages have."""
    venue, kit = site.venue(), site.kit()
    yard, loft = site.place(venue, "Yard", 14.6, "sun"), site.place(venue, "Loft", 6)
    led = site.submit(
        site.get("/days/new").form("/days"), name="The wedding", on=f"{datetime.now(UTC).date()}"
    ).headers["location"]
    setup = site.get(led)
    assert "Yard" in setup.text
    day = site.submit(setup.form(led)).headers["location"]
    page = site.get(day)
    assert heading(page) == "The wedding"
    assert "tap the place where you start" in said(page)
    rows = list(page.rows())
    assert [row.split()[0] for row in rows] == ["Yard", "Loft"]
    site.tap(1, yard)
    page = site.get(day)
    assert heading(page) == "Yard"
    assert [row.split()[0] for row in page.rows()] == ["Loft"]
    site.tap(1, loft)
    assert heading(site.get(day)) == "Loft"
    assert [data["place"] for _, data in events(site)] == [yard, loft]
    assert kit == 1


def test_a_new_day_asks_for_what_is_missing_first(site):
    page = site.get("/days/new")
    assert "a venue and a kit" in page.text
    site.venue()
    assert "needs a kit first" in site.get("/days/new").text


def test_a_day_made_from_a_venue_page_is_at_that_venue(site):
    site.kit()
    one, _two = site.venue("One"), site.venue("Two")
    link = next(link for link in site.get(f"/venues/{one}").links if link.startswith("/days/new"))
    assert site.get(link).form("/days")["venue"].value == str(one)


WRONG_DAYS = {
    "no name": ({"name": " "}, "name"),
    "a date that is none": ({"on": "2026-02-30"}, "on"),
    "a date in words": ({"on": "tomorrow"}, "on"),
    "no date": ({"on": ""}, "on"),
    "a year beyond all": ({"on": "10000-01-01"}, "on"),
    "no venue": ({"venue": ""}, "venue"),
    "a venue in words": ({"venue": "mill"}, "venue"),
    "no kit": ({"kit": ""}, "kit"),
}


@pytest.mark.parametrize(("changes", "field"), WRONG_DAYS.values(), ids=WRONG_DAYS)
def test_a_wrong_day_has_a_word_beside_its_field(unchanged, changes, field):
    sent = {"name": "Wedding", "on": "2026-06-20", "venue": "1", "kit": "1"} | changes
    page = unchanged.refused("/days", **sent)
    assert set(page.refused) == {field}
    form = page.form("/days")
    assert (form["name"].value, form["on"].value) == (sent["name"], sent["on"])


@pytest.mark.parametrize("number", ["99", "0", "999999999"])
@pytest.mark.parametrize("field", ["venue", "kit"])
def test_a_day_of_a_venue_or_kit_that_is_not_there_is_404(unchanged, field, number):
    before = unchanged.book()
    sent = {"name": "Wedding", "on": "2026-06-20", "venue": "1", "kit": "1"}
    assert unchanged.post("/days", **sent | {field: number}).status_code == 404
    assert unchanged.book() == before


@pytest.mark.parametrize(("things", "word"), [("bodies", "body"), ("lenses", "lens")])
def test_a_kit_that_cannot_work_is_told_beside_its_field(site, things, word):
    venue, kit = site.venue(), site.kit()
    site.keep(f"/kits/{kit}/{things}/1/removal")
    page = site.refused("/days", name="Wedding", on="2026-06-20", venue=str(venue), kit=str(kit))
    assert f"no {word}" in page.refused["kit"]


def test_two_days_may_have_one_name(site):
    venue, kit = site.venue(), site.kit()
    assert site.day(venue, kit) != site.day(venue, kit)


@pytest.mark.parametrize(("widest", "smallest", "look"), [
    ("1.8", "16", (2.8, 2.0, 4.0)), ("4", "22", (4, 4, 4)), ("2.8", "16", (2.8, 2.8, 4.0)),
    ("0.95", "2.2", (2.2, 2.0, 2.2)),
])  # fmt: skip
def test_a_new_day_wants_the_usual_look_as_far_as_the_lens_goes(site, widest, smallest, look):
    """f/2.8, a stop either way; a look that the lens does not have would be a miss at every place."""
    kit = int(site.keep("/kits", name="Kit").rpartition("/")[2])
    site.body(kit)
    site.lens(kit, widest=widest, smallest=smallest)
    venue = site.venue()
    site.place(venue, "Loft")
    site.day(venue, kit)
    (row,) = site.rows(tables.DayPlace)
    assert (row.wanted, row.widest, row.narrowest) == look


# Setting it up.


def test_a_set_up_kept_as_it_was_drawn_is_the_same(site):
    """To the last digit of its looks: 1/47.952 s is not 1/48 s."""
    venue, kit = site.venue(), int(site.keep("/kits", name="Kit").rpartition("/")[2])
    for name in ("Yard", "Loft"):
        site.place(venue, name)
    site.body(kit, shutters="1/47.952 1/60")
    site.lens(kit, widest="1.4142136")
    day = site.day(venue, kit)
    kept = ("days", "day_places")
    before = {table: site.book()[table] for table in kept}
    site.submit(site.get(f"/days/{day}/setup").form(f"/days/{day}/setup"))
    after = site.book()
    assert after["day_places"] == before["day_places"]
    assert [row[:-1] for row in after["days"]] == [row[:-1] for row in before["days"]]  # the last one is the stamp


def test_the_order_of_the_places_is_the_one_that_was_typed(site):
    day, (one, two, three) = site.day_at(8, 8, 8)
    form = site.get(f"/days/{day}/setup").form(f"/days/{day}/setup")
    site.submit(form, **{f"position_{one}": "3", f"position_{two}": "1", f"position_{three}": "2"})
    assert [row.split("EV")[0].strip() for row in site.get(f"/days/{day}").rows()] == ["Place 2", "Place 3", "Place 1"]


def test_a_place_that_is_not_ticked_is_not_on_the_day_and_can_come_back(site):
    day, (one, two) = site.day_at(8, 8)
    setup = f"/days/{day}/setup"
    site.submit(site.get(setup).form(setup), **{f"used_{one}": None})
    assert [row.split("EV")[0].strip() for row in site.get(f"/days/{day}").rows()] == ["Place 2"]
    form = site.get(setup).form(setup)
    assert not form[f"used_{one}"].ticked
    site.submit(form, **{f"used_{one}": "1"})
    assert len(list(site.get(f"/days/{day}").rows())) == 2
    assert form[f"used_{two}"].ticked


def test_a_place_added_to_the_venue_later_waits_to_be_ticked(site):
    """A day does not change by itself, and the set-up shows what is new."""
    day, _ = site.day_at(8)
    new = site.place(1, "New tent", 9)
    assert "New tent" not in site.get(f"/days/{day}").text
    form = site.get(f"/days/{day}/setup").form(f"/days/{day}/setup")
    assert not form[f"used_{new}"].ticked
    site.submit(form, **{f"used_{new}": "1"})
    assert "New tent" in site.get(f"/days/{day}").text


def test_a_look_changes_the_answer_at_its_place(site):
    """EV 6 on the bare camera: f/2 to f/4 is a different answer from f/8 and nothing else."""
    day, (place,) = site.day_at(6)
    setup = f"/days/{day}/setup"
    looks = {f"wanted_{place}": "f/8", f"widest_{place}": "8", f"narrowest_{place}": "8"}
    site.submit(site.get(setup).form(setup), **looks)
    assert "to f/8" in next(site.get(f"/days/{day}").rows())


WRONG_SET_UPS = {
    "no name": ({"name": ""}, {"name"}),
    "no date": ({"on": "x"}, {"on"}),
    "a body of another kit": ({"body": "99"}, {"body"}),
    "no body": ({"body": ""}, {"body"}),
    "a lens of another kit": ({"lens": "99"}, {"lens"}),
    "a holder of another kit": ({"holder": "99"}, {"holder"}),
    "a tolerance of a stop": ({"tolerance": "1"}, {"tolerance"}),
    "a rush tolerance of two stops": ({"rush_tolerance": "2"}, {"rush_tolerance"}),
    "a tolerance below nothing": ({"tolerance": "−0.1"}, {"tolerance"}),
    "no tolerance": ({"tolerance": ""}, {"tolerance"}),
    "an order in words": ({"position_1": "first"}, {"position_1"}),
    "a look wider than its widest": ({"wanted_2": "1.4"}, {"wanted_2"}),
    "a look turned round": ({"widest_1": "8"}, {"widest_1"}),
    "a look beyond all": ({"narrowest_1": "200"}, {"narrowest_1"}),
    "a look of 0": ({"widest_2": "0"}, {"widest_2"}),
    "a shutter of 1/0": ({"shutter_1": "1/0"}, {"shutter_1"}),
    "several at once": ({"name": "", "wanted_1": "x", "shutter_2": ""}, {"name", "wanted_1", "shutter_2"}),
}


@pytest.mark.parametrize(("changes", "fields"), WRONG_SET_UPS.values(), ids=WRONG_SET_UPS)
def test_a_wrong_set_up_is_told_field_by_field_and_none_of_it_is_kept(unchanged, changes, fields):
    setup = "/days/1/setup"
    sent = unchanged.get(setup).form(setup).sends(**{"name": "Changed", **changes})
    page = unchanged.refused(setup, **sent)
    assert set(page.refused) == fields
    form = page.form(setup)
    typed = {name: value for name, value in sent.items() if form[name].kind not in ("select", "checkbox")}
    assert {name: form[name].value for name in typed} == typed


def test_a_day_needs_a_place(unchanged):
    setup, places = "/days/1/setup", (1, 2)
    sent = unchanged.get(setup).form(setup).sends(**{f"used_{place}": None for place in places})
    page = unchanged.refused(setup, **sent)
    assert any("at least one place" in alert for alert in page.alerts)
    form = page.form(setup)
    assert not any(form[f"used_{place}"].ticked for place in places), "what was unticked stays unticked"


def test_a_day_at_a_venue_without_places_can_be_opened_and_set_up(site):
    venue, kit = site.venue(), site.kit()
    day = site.day(venue, kit)
    assert "no other place" in site.get(f"/days/{day}").text
    assert "no places yet" in site.get(f"/days/{day}/setup").text
    loft = site.place(venue, "Loft", 8)
    form = site.get(f"/days/{day}/setup").form(f"/days/{day}/setup")
    site.submit(form, **{f"used_{loft}": "1"})
    assert "Loft" in site.get(f"/days/{day}").text


def test_a_venue_with_as_many_places_as_it_may_have_is_set_up_in_one_form(site):
    """A form of 1,200 fields is one that our own page draws."""
    venue, kit = site.venue(), site.kit()
    with site.client.app.state.book.writing() as session:
        session.add_all(
            tables.Place(venue_id=venue, name=f"Place {n}", light="sun", position=n) for n in range(PLACES_MOST)
        )
    day = site.day(venue, kit)
    form = site.get(f"/days/{day}/setup").form(f"/days/{day}/setup")
    site.submit(form, name="A long day")
    assert site.rows(tables.Day)[0].name == "A long day"
    assert len(site.rows(tables.DayPlace)) == PLACES_MOST


def test_the_body_lens_and_holder_that_are_chosen_are_worked_with(site):
    day, (place,) = site.day_at(20)
    site.body(1, "Stepless", clicks_per_stop="10")
    site.lens(1, "Slow lens", widest="5.6")
    setup = f"/days/{day}/setup"
    site.submit(site.get(setup).form(setup), body="2", lens="2", holder="")
    form = site.get(f"/days/{day}/rig").form(f"/days/{day}/rig")
    irises = [float(each) for each in form["aperture"].options]
    # In tenths of a stop from 2^2.5; and before them what is on the camera now, 2^1.5.
    assert irises[:3] == pytest.approx([2**1.5, 2**2.5, 2**2.55], abs=0.001)
    assert "slots" not in {field.name for field in form.fields}
    assert place == 1


# Tapping on the day.


@BOTH_WAYS
def test_a_tap_moves_the_shooter_there_with_that_rig(site, headers):
    day, (one, two) = site.day_at(8, 12)
    sent = site.tap_of(day, two)
    answer = site.client.post(f"/days/{day}/moves", data=sent, headers=headers)
    assert answer.status_code == (200 if headers else 303)
    page = Page(answer.text) if headers else site.get(answer.headers["location"])
    assert heading(page) == "Place 2"
    ((kind, data),) = events(site)
    assert (kind, data["place"], data["answer"]) == ("moved", two, "clean")
    assert data["rig"] == json.loads(sent["tap"])["rig"]
    assert [row.split("EV")[0].strip() for row in page.rows()] == ["Place 1"]
    assert one != two


def test_htmx_gets_the_day_s_part_of_the_very_page(site):
    """Page and fragment cannot disagree: the fragment is on the page word for word, but for ids made anew."""
    day, (one, _two) = site.day_at(8, 12)
    fragment = site.client.post(f"/days/{day}/moves", data=site.tap_of(day, one), headers=FRAGMENT).text
    page = site.get(f"/days/{day}").source

    def without_ids(source):
        return re.sub(r'name="event_id" value="[^"]*"|made&#34;:\d+', "", source)

    assert Page(fragment).roots == ["day"]
    assert said(Page(fragment)) == "Kept. Undo takes it back."
    shared = without_ids(fragment).replace("Kept. Undo takes it back.", "You are here").strip()
    assert shared in without_ids(page)


@BOTH_WAYS
@pytest.mark.parametrize("kind", ["moves", "nudges", "undo"])
def test_an_event_that_is_sent_twice_counts_once(site, headers, kind):
    """A phone that got no answer sends again."""
    day, (one, two) = site.day_at(8, 12)
    site.tap(day, one)
    (first,) = site.rows(tables.Event)
    sent = {
        "moves": site.tap_of(day, two),
        "nudges": {"event_id": new_id(), "place": str(one), "clicks": "-1"},
        "undo": {"event_id": new_id(), "event": first.id},
    }[kind]
    pages = []
    for _ in range(3):
        answer = site.client.post(f"/days/{day}/{kind}", data=sent, headers=headers)
        assert answer.status_code == (200 if headers else 303)
        pages.append(site.get(f"/days/{day}").text)
    assert len(events(site)) == 2
    assert len(set(pages)) == 1


@BOTH_WAYS
@pytest.mark.parametrize(
    ("clicks", "ev", "words"), [("1", "EV 8.3", "1 click brighter"), ("-1", "EV 7.7", "1 click darker")]
)
def test_a_nudge_moves_the_light_here_by_a_click(site, headers, clicks, ev, words):
    day, (one, two) = site.day_at(8, 12)
    site.tap(day, one)
    sent = {"event_id": new_id(), "place": str(one), "clicks": clicks}
    answer = site.client.post(f"/days/{day}/nudges", data=sent, headers=headers)
    page = Page(answer.text) if headers else site.get(answer.headers["location"])
    assert ev in page.text
    assert words in page.text
    assert "EV 12.0" in page.text
    assert two != one


def test_three_nudges_are_three_clicks(site):
    day, (one,) = site.day_at(8)
    site.tap(day, one)
    for _ in range(3):
        form = site.get(f"/days/{day}").form(f"/days/{day}/nudges")
        site.submit(form, clicks="-1")
    page = site.get(f"/days/{day}")
    assert "EV 7.0" in page.text
    assert "3 clicks darker" in page.text


@pytest.mark.parametrize("clicks", ["0", "2", "-2", "x", "", "1.0", "١", "+1", None])
def test_a_nudge_is_one_click_up_or_down(unchanged, clicks):
    sent = {"event_id": new_id(), "place": "1"} | ({} if clicks is None else {"clicks": clicks})
    page = unchanged.refused("/days/1/nudges", **sent)
    assert any(alert.startswith("Not kept") for alert in page.alerts)


@BOTH_WAYS
def test_undo_takes_back_the_last_tap_and_then_the_one_before(site, headers):
    day, (one, two) = site.day_at(8, 12)
    start = site.get(f"/days/{day}").text
    site.tap(day, one)
    at_one = site.get(f"/days/{day}").text
    site.tap(day, two)
    for expected in (at_one, start):
        form = site.get(f"/days/{day}").form(f"/days/{day}/undo")
        answer = site.client.post(form.to, data=form.sends(), headers=headers)
        assert answer.status_code == (200 if headers else 303)
        if headers:
            assert said(Page(answer.text)) == "Taken back."
        assert site.get(f"/days/{day}").text == expected
    form = site.get(f"/days/{day}").form(f"/days/{day}/undo")
    assert form["event"].value == "", "there is nothing to undo"
    assert "disabled" in re.search(r'<button id="undo"[^>]*>', site.get(f"/days/{day}").source)[0]


def test_an_undo_with_nothing_to_undo_is_refused(unchanged):
    page = unchanged.refused("/days/1/undo", event_id=new_id(), event="")
    assert page.alerts


def test_the_log_keeps_what_was_taken_back(site):
    """The camera report needs to know; nothing is ever deleted."""
    day, (one,) = site.day_at(8)
    site.tap(day, one)
    site.submit(site.get(f"/days/{day}").form(f"/days/{day}/undo"))
    assert [kind for kind, _ in events(site)] == ["moved", "undone"]


WRONG_TAPS = {
    "no id": {"event_id": None},
    "a short id": {"event_id": "1234567"},
    "a long id": {"event_id": "a" * 37},
    "an id of other letters": {"event_id": "ééééééééé"},
    "no place": {"place": None},
    "a place in words": {"place": "loft"},
    "no answer": {"tap": None},
    "an answer that is not JSON": {"tap": "clean"},
    "an answer that is no object": {"tap": "[]"},
    "an answer without its rig": {"tap": '{"answer": "clean"}'},
    "an answer of no kind": {"answer": "best"},
    "an answer a hundred thousand deep": {"tap": "[" * 100_000},
    "an iris of 0": {"aperture": 0},
    "an iris of NaN": {"aperture": float("nan")},
    "an iris in words": {"aperture": "wide"},
    "an iris of null": {"aperture": None},
    "an ISO that no double holds": {"iso": 10**400},
    "an infinite shutter": {"shutter": float("inf")},
    "a holder that is maybe on": {"holder_on": "maybe"},
    "slots that are a number": {"slots": 1},
    "slots that are null": {"slots": None},
}


@BOTH_WAYS
@pytest.mark.parametrize("changes", WRONG_TAPS.values(), ids=WRONG_TAPS)
def test_a_tap_that_no_page_sends_is_refused_in_words(unchanged, changes, headers):
    """Nothing is kept, the day is drawn as it is, and it says that the tap was not kept."""
    sent = unchanged.tap_of(1, 1)
    tap = json.loads(sent["tap"])
    for name, value in changes.items():
        if name in ("event_id", "place", "tap"):
            sent[name] = value
        elif name == "answer":
            sent["tap"] = json.dumps(tap | {"answer": value})
        else:
            sent["tap"] = json.dumps(tap | {"rig": tap["rig"] | {name: value}})
    page = unchanged.refused("/days/1/moves", headers=headers, **{k: v for k, v in sent.items() if v is not None})
    assert any(alert.startswith("Not kept: ") for alert in page.alerts)
    assert "tap the place where you start" in said(page)


@pytest.mark.parametrize(
    "rig",
    [{"slots": ["99"]}, {"threads": ["1"]}, {"built_in": 3}, {"slots": ["1", "1"]}, {"slots": ["\ud800"]},
     {"slots": ["1", "2", "1"]}],
    ids=repr,
)  # fmt: skip
def test_a_rig_that_the_kit_does_not_allow_is_not_kept(unchanged, rig):
    sent = unchanged.tap_of(1, 1)
    tap = json.loads(sent["tap"])
    page = unchanged.refused("/days/1/moves", **sent | {"tap": json.dumps(tap | {"rig": tap["rig"] | rig})})
    assert any("Not kept: the kit has changed" in alert for alert in page.alerts)


def test_light_changes_are_seen_on_the_day_at_once(site):
    """A reading at the venue page, by the second shooter, is the light on the day page."""
    day, (one,) = site.day_at(8)
    assert "EV 8.0" in site.get(f"/days/{day}").text
    site.keep(f"/venues/1/places/{one}/readings", kind="ev", value="11")
    assert "EV 11.0" in site.get(f"/days/{day}").text
    site.keep("/venues/1", name="New mill", time_zone="Asia/Tokyo")
    assert "New mill" in site.get(f"/days/{day}").text


# The rig put right.


def test_the_rig_form_shows_what_is_on_the_camera(site):
    day, (one,) = site.day_at(13)
    site.tap(day, one)
    ((_, data),) = events(site)
    form = site.get(f"/days/{day}/rig").form(f"/days/{day}/rig")
    rig = data["rig"]
    assert float(form["aperture"].value) == rig["aperture"]
    assert float(form["iso"].value) == rig["iso"]
    assert form["holder_on"].ticked == rig["holder_on"]
    slots = [field.value for field in form.fields if field.name == "slots"]
    assert slots == [*rig["slots"], *[""] * (2 - len(rig["slots"]))]


@pytest.mark.parametrize("shutters", ["1/50", "1/48 1/60", "1/47.952", "1/16000 1/50", "0.3 0.7"])
def test_a_rig_kept_as_it_was_drawn_is_the_rig(site, shutters):
    """Whatever the shutter: 1/60 s has no short decimal, and is what half of all cameras film at."""
    venue, kit = site.venue(), int(site.keep("/kits", name="Kit").rpartition("/")[2])
    place = site.place(venue, "Loft", 8)
    site.body(kit, shutters=shutters, built_in_nd="0 0.3333333 2")
    site.lens(kit)
    day = site.day(venue, kit)
    site.tap(day, place)
    before = events(site)[0][1]["rig"]
    site.submit(site.get(f"/days/{day}/rig").form(f"/days/{day}/rig"))
    assert events(site)[1] == ("rig_corrected", {"rig": before})


def test_every_choice_of_the_rig_form_can_be_made(site):
    """Each iris, ISO, shutter and built-in step that the form offers is one that it takes."""
    venue, kit = site.venue(), int(site.keep("/kits", name="Kit").rpartition("/")[2])
    site.place(venue, "Loft", 8)
    site.body(
        kit, shutters="1/48 1/50 1/60 1/100", built_in_nd="0 2 4.3333", iso_allowed="100-1600", clicks_per_stop="10"
    )
    site.lens(kit)
    day = site.day(venue, kit)
    form = site.get(f"/days/{day}/rig").form(f"/days/{day}/rig")
    for name in ("aperture", "iso", "shutter", "built_in"):
        assert len(form[name].options) > 2
        for option in form[name].options:
            site.submit(form, **{name: option, "event_id": new_id()})
            again = site.get(f"/days/{day}/rig").form(f"/days/{day}/rig")
            assert again[name].value == option


def test_a_correction_is_the_rig_from_now_on(site):
    day, (one, two) = site.day_at(13, 8)
    site.tap(day, one)
    plates = [str(row.id) for row in site.rows(tables.Filter)]
    form = site.get(f"/days/{day}/rig").form(f"/days/{day}/rig")
    site.submit(form, holder_on="1", slots=[plates[1], ""], aperture="4", iso="400", shutter="1/100")
    page = site.get(f"/days/{day}")
    assert heading(page) == "Place 1"
    assert "f/4 · 1/100 · ISO 400" in page.text
    assert "holder on with 1.2" in page.text
    assert two != one


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"aperture": "wide"}, "aperture"),
        ({"aperture": "0"}, "aperture"),
        ({"iso": "0"}, "iso"),
        ({"iso": ""}, "iso"),
        ({"shutter": "1/0"}, "shutter"),
        ({"slots": ["1", "1"]}, "each filter once"),
        ({"slots": ["99", ""]}, "a filter of this kit"),
        ({"slots": ["1", "2", "1"]}, "each filter once"),
        ({"threads": ["1"]}, "Not kept yet"),
        ({"built_in": "5"}, "Not kept yet"),
        ({"event_id": "x"}, "8 to 36"),
    ],
    ids=repr,
)
def test_a_rig_that_cannot_be_is_refused_with_a_word(unchanged, changes, where):
    sent = unchanged.get("/days/1/rig").form("/days/1/rig").sends(**changes)
    page = unchanged.refused("/days/1/rig", **sent)
    assert where in page.refused or where in page.text


# Metering on the day.


@pytest.mark.parametrize(("fields", "ev"), [
    ({"kind": "ev", "value": "9,5"}, "EV 9.5"), ({"kind": "lux", "value": "640"}, "EV 8.0"),
    ({"kind": "camera", "aperture": "8", "shutter": "1/128", "iso": "100", "meter": "−1"}, "EV 12.0"),
])  # fmt: skip
def test_a_reading_on_the_day_is_the_light_from_now_on(site, fields, ev):
    day, (one, two) = site.day_at(5, 6)
    site.tap(day, one)
    to = f"/days/{day}/places/{one}/readings"
    form = next(form for form in site.get(f"/days/{day}/places/{one}/reading").forms_to(to)
                if form["kind"].value == fields["kind"])  # fmt: skip
    assert site.submit(form, **fields).headers["location"] == f"/days/{day}"
    page = site.get(f"/days/{day}")
    assert ev in page.text
    assert "fresh: just now" in page.text
    assert site.rows(tables.Reading)[0].ev100 == 5.0, "the venue's reading stays; the day has its own"
    assert two != one


def test_a_camera_reading_on_the_day_counts_the_glass_that_is_on(site):
    """13 EV by the settings, and 0.6 D on the lens took 1.9932 stops."""
    day, (one,) = site.day_at(13)
    site.tap(day, one)
    form = site.get(f"/days/{day}/rig").form(f"/days/{day}/rig")
    site.submit(form, holder_on="1", slots=["1", ""])
    to = f"/days/{day}/places/{one}/readings"
    page = site.get(f"/days/{day}/places/{one}/reading")
    assert "holder on with 0.6 (2 stops)" in page.text
    site.keep(to, event_id=new_id(), kind="camera", aperture="8", shutter="1/128", iso="100")
    reading = events(site)[-1][1]
    assert reading["ev100"] == pytest.approx(13 + 0.6 * 3.321928)
    assert reading["raw"]["glass_stops"] == pytest.approx(0.6 * 3.321928)


def test_a_place_without_a_reading_is_metered_from_its_row(site):
    day, (one, two) = site.day_at(None, 8)
    page = site.get(f"/days/{day}")
    assert "No reading yet: meter it" in next(page.rows())
    assert f"/days/{day}/places/{one}/reading" in page.links
    site.keep(f"/days/{day}/places/{one}/readings", event_id=new_id(), kind="ev", value="9")
    assert "EV 9.0" in next(site.get(f"/days/{day}").rows())
    assert two != one


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"kind": "ev", "value": "bright"}, "value"),
        ({"kind": "lux", "value": "0"}, "value"),
        ({"kind": "camera", "aperture": "8", "shutter": "x", "iso": "100"}, "shutter"),
        ({"kind": "camera", "aperture": "8", "shutter": "1/50", "iso": "100", "meter": "99"}, "meter"),
    ],
    ids=repr,
)
def test_a_wrong_reading_on_the_day_has_a_word_beside_its_field(unchanged, fields, field):
    page = unchanged.refused("/days/1/places/1/readings", event_id=new_id(), **fields)
    assert set(page.refused) == {field}
    (wrong,) = [form for form in page.forms if any(each.invalid for each in form.fields)]
    assert {name: wrong[name].value for name in fields} == fields


@pytest.mark.parametrize(("fields", "word"), [
    ({"kind": "photo", "event_id": "12345678"}, "EV, lux, cd/m² or the camera"),
    ({"kind": "ev", "value": "8"}, "8 to 36 characters"),
    ({"kind": "ev", "value": "-20", "event_id": "12345678"}, "-16 to 36"),
])  # fmt: skip
def test_what_belongs_to_no_field_of_a_reading_is_told_too(unchanged, fields, word):
    assert word in unchanged.refused("/days/1/places/1/readings", **fields).text


def test_a_reading_sent_twice_counts_once(site):
    day, (one,) = site.day_at(8)
    sent = {"event_id": new_id(), "kind": "ev", "value": "9"}
    for _ in range(2):
        site.keep(f"/days/{day}/places/{one}/readings", **sent)
    assert len(events(site)) == 1


# What is not there.


NOT_THERE = ["3", "0", "-1", "abc", "1.5", str(2**31), str(2**40), str(2**64), "9" * 5000, "%00"]


@pytest.mark.parametrize("number", NOT_THERE, ids=lambda number: number[:22])
def test_a_day_or_place_that_is_not_there_is_404(unchanged, number):
    day = one = 1
    before = unchanged.book()
    tap = unchanged.tap_of(day, one)
    for path in (f"/days/{number}", f"/days/{number}/setup", f"/days/{number}/rig",
                 f"/days/{number}/places/{one}/reading", f"/days/{day}/places/{number}/reading"):  # fmt: skip
        unchanged.get(path, 404)
    forms = {
        f"/days/{number}/moves": tap,
        f"/days/{number}/nudges": {"event_id": new_id(), "place": str(one), "clicks": "1"},
        f"/days/{number}/undo": {"event_id": new_id(), "event": new_id()},
        f"/days/{number}/setup": {"name": "x"},
        f"/days/{number}/rig": {"aperture": "4"},
        f"/days/{number}/places/{one}/readings": {"kind": "ev", "value": "1", "event_id": new_id()},
        f"/days/{day}/places/{number}/readings": {"kind": "ev", "value": "1", "event_id": new_id()},
    }
    for path, sent in forms.items():
        for headers in ({}, FRAGMENT):
            assert unchanged.post(path, headers, **sent).status_code == 404, path
    assert unchanged.book() == before


@BOTH_WAYS
@pytest.mark.parametrize("place", ["99", "0", "999999999"])
def test_a_tap_at_a_place_that_is_not_the_day_s_is_404(site, place, headers):
    """Also one of the same venue that this day does not go to."""
    day, (one,) = site.day_at(8)
    tap = site.tap_of(day, one)
    elsewhere = str(site.place(1, "Not today", 9)) if place == "99" else place
    assert site.post(f"/days/{day}/moves", headers, **tap | {"place": elsewhere}).status_code == 404
    sent = {"event_id": new_id(), "place": elsewhere, "clicks": "1"}
    assert site.post(f"/days/{day}/nudges", headers, **sent).status_code == 404
    assert events(site) == []


@pytest.mark.parametrize("venue", ["99", "-1", str(2**70)])
def test_a_new_day_for_a_venue_that_is_not_there_offers_those_that_are(unchanged, venue):
    assert unchanged.get(f"/days/new?venue={venue}").form("/days")["venue"].value == "1"


# Another lens.


def with_second_lens(site, thread, *, slots=("1", ""), holder_on="1"):
    """A shooter at the first place with 0.6 on, and a second lens with this thread in the bag."""
    day, (one, two) = site.day_at(10.64, 6)
    site.lens(1, "Old prime", thread=thread, widest="2.8")
    site.tap(day, one)
    form = site.get(f"/days/{day}/rig").form(f"/days/{day}/rig")
    site.submit(form, holder_on=holder_on, slots=list(slots))
    assert two != one
    return day


def other_lens(site, day, headers=None, **changes):
    """Press the button of the lens that is not on; the page after it."""
    form = site.get(f"/days/{day}").form(f"/days/{day}/lens")
    ((name, value),) = form.buttons
    answer = site.client.post(form.to, data=form.sends(**{name: value}) | changes, headers=headers)
    assert answer.status_code == (200 if headers else 303)
    return Page(answer.text) if headers else site.get(answer.headers["location"])


def test_a_kit_of_one_lens_offers_no_other(unchanged):
    assert unchanged.get("/days/1").forms_to("/days/1/lens") == []


@BOTH_WAYS
def test_another_lens_keeps_the_glass_where_the_rings_allow(site, headers):
    day = with_second_lens(site, "77")
    page = other_lens(site, day, headers)
    assert "holder on with 0.6" in page.text
    assert ">Old prime</span>" in page.source
    if headers:
        assert said(page) == "Lens changed; the glass stays."
    kind, data = events(site)[-1]
    assert (kind, data["lens"], data["rig"]["slots"]) == ("lens_changed", 2, ["1"])


@BOTH_WAYS
def test_another_lens_without_a_ring_takes_the_glass_off_and_says_what_is_missing(site, headers):
    day = with_second_lens(site, "72")
    page = other_lens(site, day, headers)
    assert "holder off, 0.6 in it" in page.text
    if headers:
        assert said(page) == "Lens changed; 0.6 came off: no 72 mm adapter ring."


def test_a_step_up_ring_carries_the_holder_to_the_other_lens(site):
    day = with_second_lens(site, "72")
    site.submit(site.get("/kits/1").form("/kits/1/rings"), step_ups="72-77")
    page = other_lens(site, day, FRAGMENT)
    assert said(page) == "Lens changed; the glass stays."
    assert "holder on with 0.6" in page.text


def test_the_answers_are_the_other_lens_s_from_then_on(site):
    """A lens that opens to f/2.8 gets no answer at f/2."""
    day = with_second_lens(site, "77")
    before = next(site.get(f"/days/{day}").rows())
    after = next(other_lens(site, day).rows())
    assert before != after
    assert re.search(r"f/2(?!\.8)\b|f/2\.[25]", after) is None


@pytest.mark.parametrize("thread", ["77", "72"])
def test_undo_brings_the_old_lens_back_with_its_glass(site, thread):
    day = with_second_lens(site, thread)
    before = site.get(f"/days/{day}").text
    assert other_lens(site, day).text != before
    site.submit(site.get(f"/days/{day}").form(f"/days/{day}/undo"))
    page = site.get(f"/days/{day}")
    assert page.text == before
    assert "holder on with 0.6" in page.text


@BOTH_WAYS
def test_a_change_of_lens_that_is_sent_twice_counts_once(site, headers):
    day = with_second_lens(site, "72")
    one = other_lens(site, day, headers, event_id="lens-event-1").text
    again = site.post(f"/days/{day}/lens", headers, event_id="lens-event-1", lens="2")
    assert again.status_code == (200 if headers else 303)
    assert [kind for kind, _ in events(site)].count("lens_changed") == 1
    assert "holder off, 0.6 in it" in site.get(f"/days/{day}").text
    assert one


def test_a_changed_lens_is_no_kit_that_changed(site):
    """The notice is for what happened behind the shooter's back."""
    day = with_second_lens(site, "72")
    assert "The kit has changed" not in other_lens(site, day).text


@pytest.mark.parametrize("lens", ["99", "0", "999999999"])
def test_a_lens_that_the_kit_has_not_is_404(unchanged, lens):
    before = unchanged.book()
    for headers in ({}, FRAGMENT):
        assert unchanged.post("/days/1/lens", headers, event_id=new_id(), lens=lens).status_code == 404
    assert unchanged.book() == before


@pytest.mark.parametrize("fields", [{"lens": "wide"}, {"event_id": "x"}, {"lens": ""}], ids=repr)
def test_a_change_of_lens_that_no_page_sends_is_refused_in_words(unchanged, fields):
    page = unchanged.refused("/days/1/lens", **{"event_id": new_id(), "lens": "1"} | fields)
    assert any(alert.startswith("Not kept: ") for alert in page.alerts)


def test_a_lens_that_left_the_kit_while_it_was_on_gives_way_and_the_day_says_so(site):
    day = with_second_lens(site, "77")
    other_lens(site, day)
    site.keep("/kits/1/lenses/2/removal")
    assert "The kit has changed" in site.get(f"/days/{day}").text


# Looks that wear glass, and what may show in the picture.


def set_up(site, day, **changes):
    setup = f"/days/{day}/setup"
    site.submit(site.get(setup).form(setup), **changes)


def add_polariser(site, **changes):
    usual = {"name": "Pola", "kind": "polariser", "mount": "front", "thread": "105", "engraved": "1⅓ stops"}
    site.keep("/kits/1/filters", **usual | changes)


def test_a_look_s_own_glass_is_put_on_for_it_and_taken_off_after_it(site):
    day, (one, two) = site.day_at(12.64, 12.64)
    site.keep("/kits/1/holders/1", name="Holder", width="100", slots="2", rings="77", front="105")
    add_polariser(site)
    set_up(site, day, **{f"worn_{one}": "3"})
    form = site.get(f"/days/{day}/setup").form(f"/days/{day}/setup")
    assert [field.ticked for field in form.fields if field.name == f"worn_{one}"] == [True]
    assert [field.ticked for field in form.fields if field.name == f"worn_{two}"] == [False]
    first, second = (row.lower() for row in site.get(f"/days/{day}").rows())
    assert "polariser into the front ring" in first
    assert "polariser" not in second
    site.tap(day, one)
    assert events(site)[-1][1]["rig"]["front"] == "3"
    (row,) = site.get(f"/days/{day}").rows()
    assert "polariser" in row.lower()
    site.tap(day, two)
    assert events(site)[-1][1]["rig"]["front"] is None


def test_a_look_that_cannot_be_worn_says_why_on_its_row_and_breaks_nothing(site):
    day, (one, two) = site.day_at(8, 12)
    add_polariser(site)
    set_up(site, day, **{f"worn_{one}": "3"})
    first, second = site.get(f"/days/{day}").rows()
    assert "Its look cannot be worn on this lens: the holder has no front ring" in first
    assert re.search(r"to f/|stay at f/", second), "the other place has its answer"
    site.tap(day, two)
    assert heading(site.get(f"/days/{day}")) == "Place 2"


def test_a_lens_change_that_takes_the_look_away_says_so_where_the_shooter_stands(site):
    day, (one, _) = site.day_at(8, 12)
    site.keep("/kits/1/holders/1", name="Holder", width="100", slots="2", rings="77", front="105")
    add_polariser(site)
    set_up(site, day, **{f"worn_{one}": "3"})
    site.tap(day, one)
    site.lens(1, "Old prime", thread="72")
    page = other_lens(site, day)
    assert "The look of Place 1 cannot be worn on this lens: no 72 mm adapter ring." in page.text


def test_grey_glass_is_not_offered_as_a_look(site):
    day, (one,) = site.day_at(8)
    form = site.get(f"/days/{day}/setup").form(f"/days/{day}/setup")
    assert f"worn_{one}" not in {field.name for field in form.fields}
    page = site.refused(f"/days/{day}/setup", **form.sends(**{f"worn_{one}": "1"}))
    assert "no such glass" in page.text or page.alerts


def test_a_distance_beyond_all_is_refused_beside_its_field(unchanged):
    sent = unchanged.get("/days/1/setup").form("/days/1/setup").sends(distance_m_1="0.01")
    assert set(unchanged.refused("/days/1/setup", **sent).refused) == {"distance_m_1"}


def test_how_the_background_will_blur_stands_beside_a_turn_of_the_iris(site):
    """From f/2.8 to f/5.6 a far light's disc is half as wide; where the iris stays there is nothing to say."""
    day, (one, two) = site.day_at(8.64, 10.64, plates=())
    stays = {f"{name}_{one}": "2.8" for name in ("wanted", "widest", "narrowest")}
    set_up(site, day, **stays, **{f"{name}_{two}": "5.6" for name in ("wanted", "widest", "narrowest")})
    first, second = site.get(f"/days/{day}").rows()
    assert "background blur" not in first
    assert "background blur 0.5 of what you have" in second


def lens_with_a_sensor(site, focal):
    site.keep(
        "/kits/1/bodies/1", name="Body", clicks_per_stop="3", iso_base="100", iso_quiet="", iso_allowed="100-6400",
        shutters="1/50", built_in_nd="0", format="full_frame",
    )  # fmt: skip
    site.keep("/kits/1/lenses/1", name="Lens", widest="1.8", smallest="16", thread="77", focal_mm=focal)


@pytest.mark.parametrize(("distance", "sharp"), [("3", "sharp 2.7 to 3.3 m"), ("100", "to far")])
def test_how_much_is_sharp_is_said_where_the_distance_is_known(site, distance, sharp):
    """50 mm at f/2.8 on full frame, 3 m: 2.74 to 3.32 m by hand (tests/pages/test_depth.py has the sum)."""
    day, (one,) = site.day_at(8.64)
    lens_with_a_sensor(site, "50")
    only = {f"{name}_{one}": "2.8" for name in ("wanted", "widest", "narrowest")}
    set_up(site, day, **only)
    assert "sharp" not in next(site.get(f"/days/{day}").rows())
    set_up(site, day, **{f"distance_m_{one}": distance})
    assert sharp in next(site.get(f"/days/{day}").rows())


CROSS = "Look for a cross: the variable ND is near its dark end"


@pytest.mark.parametrize(
    ("focal", "ev", "warned"),
    [("24", 14.3, True), ("85", 14.3, False), ("24", 11.6, False)],
    ids=["wide and dark", "long and dark", "wide and clear"],
)
def test_a_variable_nd_near_its_dark_end_on_a_wide_lens_is_warned_of(site, focal, ev, warned):
    """Common practice, no source. It goes from 2 to 6 stops; at f/2.8, EV 14.3 takes 5⅔ of them and EV 11.6 takes 3."""
    day, (one,) = site.day_at(ev, slots=0, plates=())
    lens_with_a_sensor(site, focal)
    site.keep(
        "/kits/1/filters", name="Variable", kind="variable_nd", mount="thread", thread="77", engraved="2 stops",
        engraved_to="6 stops",
    )  # fmt: skip
    set_up(site, day, **{f"{name}_{one}": "2.8" for name in ("wanted", "widest", "narrowest")})
    row = next(site.get(f"/days/{day}").rows())
    assert "screw on variable nd" in row.lower()
    assert (CROSS in row) == warned
    site.tap(day, one)
    assert (CROSS in site.get(f"/days/{day}").text) == warned


def test_a_rig_with_a_variable_nd_kept_as_it_was_drawn_is_the_rig(site):
    day, (one,) = site.day_at(13, slots=0, plates=())
    site.keep(
        "/kits/1/filters", name="Variable", kind="variable_nd", mount="thread", thread="77", engraved="2 stops",
        engraved_to="6 stops",
    )  # fmt: skip
    site.tap(day, one)
    before = events(site)[0][1]["rig"]
    assert before["turned"] is not None
    site.submit(site.get(f"/days/{day}/rig").form(f"/days/{day}/rig"))
    assert events(site)[1] == ("rig_corrected", {"rig": before})


def test_a_rig_with_a_polariser_in_the_front_ring_kept_as_it_was_drawn_is_the_rig(site):
    day, (one,) = site.day_at(12)
    site.keep("/kits/1/holders/1", name="Holder", width="100", slots="2", rings="77", front="105")
    add_polariser(site)
    set_up(site, day, **{f"worn_{one}": "3"})
    site.tap(day, one)
    before = events(site)[0][1]["rig"]
    assert before["front"] == "3"
    site.submit(site.get(f"/days/{day}/rig").form(f"/days/{day}/rig"))
    assert events(site)[1] == ("rig_corrected", {"rig": before})
