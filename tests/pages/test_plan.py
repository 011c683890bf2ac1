"""The day plan: as the engine has it, in the light of each stop's time, with what another sky would ask; and on a card."""

from __future__ import annotations

import html
import re
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from server.book import plans, tables
from server.book.days import changed, open_day
from server.book.people import first_camera
from server.book.plans import plan_of
from server.exposure import days as engine
from server.exposure.light import Light
from server.exposure.moves import best_pictures
from tests.conftest import new_id
from tests.pages.test_day_order import order

JUNE = "2031-06-20"


def cells(page, section):
    """The rows of a table, each cell's words."""
    part = page.source.partition(f'id="{section}"')[2].partition("</table>")[0]
    found = []
    body = re.split(r"<tbody[^>]*>", part)[1]
    for row in re.findall(r"<tr[^>]*>(.*?)(?=<tr|</tbody>)", body + "<tr", re.DOTALL):
        words = [re.sub(r"<[^>]+>", " ", cell) for cell in re.split(r"<t[dh][^>]*>", row)[1:]]
        found.append([" ".join(html.unescape(cell).split()) for cell in words])
    return found


def lamps_day(site, *lights, on=JUNE, **kit):
    """A day at places with lamps of these EV, which do not drift."""
    venue = site.venue()
    places = [site.place(venue, f"Place {n}", ev) for n, ev in enumerate(lights, 1)]
    return site.day(venue, site.kit(**kit), on=on), places


def plan_by_call(client, lights, hurries):
    """What the JSON call says of the same day, with the kit of `Site.kit` and the rig that a day starts with."""
    look = {"wanted": 2.8, "widest": 2.0, "narrowest": 4.0, "shutter": 0.02}
    asked = {
        "body": {"clicks_per_stop": 3, "iso": {"base": [100, 800], "quiet": 160, "allowed": ISOS}, "shutters": [0.02, 0.01]},
        "lens": {"widest": 1.8, "smallest": 16, "thread": 77},
        "holder": {"width": 100, "slots": 2, "rings": [77]},
        "filters": [{"id": f"{d}", "kind": "nd", "mount": "slot", "width": 100, "density": d} for d in (0.6, 1.2)],
        "rig": {"holder_on": False, "slots": [], "threads": [], "built_in": 0, "aperture": 2.8, "shutter": 0.02, "iso": 100},
        "stops": [{"ev100": ev, "look": look, "hurry": hurry} for ev, hurry in zip(lights, hurries, strict=True)],
    }  # fmt: skip
    answer = client.post("/api/days", json=asked)
    assert answer.status_code == 200, answer.text
    return answer.json()


ISOS = [100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400]


def test_the_plan_is_that_of_the_json_call_with_the_hurry_of_the_gaps(site):
    """
    Gaps: nobody knows how early one comes to the first, which counts as an hour (10/60); then 5 minutes (twice), 60
    (a sixth), 2 (five times).
    """
    lights = [14.3, 6.0, 14.3, 10.6]
    lamps_day(site, *lights)
    site.keep(
        "/days/1/order", at_0="13:00", place_0="1", until_0="13:25", at_1="13:30", place_1="2", at_2="14:30", place_2="3",
        until_2="15:28", at_3="15:30", place_3="4",
    )  # fmt: skip
    call = plan_by_call(site.client, lights, [0.17, 2, 0.17, 5])
    page = site.get("/days/1/plan")
    rows = cells(page, "plan-stops")
    assert [row[0] for row in rows] == ["1", "2", "3", "4"]
    for row, move in zip(rows, call["stops"], strict=True):
        assert f"f/{move['rig']['aperture']:g}, ISO {move['rig']['iso']:g}" in row[5]
        on = move["rig"]["slots"] if move["rig"]["holder_on"] else []
        assert all(f"{plate}" in row[5] for plate in on)
    touches = sum(
        any(a["do"] in ("pull", "drop_in", "holder_off", "holder_on") for a in move["actions"])
        for move in call["stops"]
    )
    said = {1: "once"}.get(touches, f"{touches} times")
    seconds = call["score"]["hand_seconds"]
    assert f"Glass touched {said}, {seconds:.0f} s by hand" in page.text
    saved = call["stop_by_stop_effort"] - call["score"]["effort"]
    assert (f"Looking ahead saves {saved:.0f} of {call['stop_by_stop_effort']:.0f} s" in page.text) == (saved >= 0.5)


def test_looking_ahead_is_shown_to_save(site):
    """
    A hall, a brighter one two minutes later, a brighter one yet two minutes after: stop by stop nothing is mounted for
    the first, and then plates in a rush twice. Looking ahead fills the holder in the calm hour before the first.
    """
    lamps_day(site, 9, 10, 12)
    lines = {
        f"{name}_{n}": value for n in range(3) for name, value in (("at", f"13:{2 * n:02}"), ("place", str(n + 1)))
    }
    site.keep("/days/1/order", **lines)
    call = plan_by_call(site.client, [9, 10, 12], [0.17, 5, 5])
    saved = call["stop_by_stop_effort"] - call["score"]["effort"]
    assert saved > 30
    page = site.get("/days/1/plan")
    assert f"Looking ahead saves {saved:.0f} of {call['stop_by_stop_effort']:.0f} s" in page.text
    rows = cells(page, "plan-stops")
    assert "Drop in" in rows[0][4]
    assert not any("rop in" in row[4] for row in rows[1:]), "no plate is handled in the rush"


def test_stops_that_cannot_be_planned_say_why_and_the_others_are(site):
    lamps_day(site, 9, None)
    site.keep(
        "/days/1/order",
        at_0="13:00",
        place_0="1",
        at_1="14:00",
        place_1="2",
        at_2="15:00",
        name_2="Dinner",
        at_3="16:00",
        place_3="1",
    )
    rows = cells(site.get("/days/1/plan"), "plan-stops")
    assert [row[4] for row in rows][1:3] == ["Not planned: no reading", "Not planned: no place"]
    assert all("f/" in row[5] for row in (rows[0], rows[3]))


def test_a_stop_at_a_place_that_the_day_no_longer_uses_says_so(site):
    lamps_day(site, 9, 10)
    site.keep("/days/1/order", at_0="13:00", place_0="1", at_1="14:00", place_1="2")
    form = site.get("/days/1/setup").form("/days/1/setup")
    site.submit(form, used_2=None)
    assert "its place is not used on this day" in site.get("/days/1/plan").text


def test_without_an_order_the_plan_says_where_to_make_one(site):
    site.day_at(8, 9)
    page = site.get("/days/1/plan")
    assert "There is no running order yet" in page.text
    assert "/days/1/order" in page.links
    assert "Nothing to print yet" in site.get("/days/1/card").text


@pytest.fixture
def forgotten():
    """No plan and no refusal of another test's day is remembered, nor this one's after it."""
    plans._best_or_refused.cache_clear()
    yield
    plans._best_or_refused.cache_clear()


@pytest.mark.usefixtures("forgotten")
@pytest.mark.parametrize("limit", ["CELLS_A_STOP_MOST", "CELLS_A_DAY_MOST", "RIGS_A_DAY_MOST"])
def test_a_day_that_is_too_large_is_said_to_be(site, monkeypatch, limit):
    lamps_day(site, 9, 10)
    site.keep("/days/1/order", at_0="13:00", place_0="1", at_1="14:00", place_1="2")
    monkeypatch.setattr(engine, limit, 1)
    for path in ("/days/1/plan", "/days/1/card"):
        assert "too large to plan exactly" in site.get(path).alerts[0]


def test_done_is_kept_apart_from_planned(site):
    """Two stops, the first one gone to: what was really on the camera stands under Done, the rest is planned from there."""
    site.day_at(10.63, 8.64)
    order(site, (-5, "Vows", 1), (30, "Drinks", 2))
    site.tap(1, 1)
    page = site.get("/days/1/plan")
    (done,), (planned,) = cells(page, "done"), cells(page, "plan-stops")
    assert done[3].startswith("Vows")
    assert "0.6" in done[4]
    assert (planned[0], planned[2].split()[0]) == ("2", "Drinks")
    whole = site.get("/days/1/plan?whole=1")
    assert [row[0] for row in cells(whole, "plan-stops")] == ["1", "2"]
    assert "The day planned" in whole.text
    assert "Starts with" in whole.text


def test_a_rig_that_was_put_right_before_the_first_move_is_what_the_day_starts_with(site):
    site.day_at(10.63, 8.64)
    order(site, (5, "Vows", 1), (30, "Drinks", 2))
    form = site.get("/days/1/rig").form("/days/1/rig")
    plate = site.rows(tables.Filter)[0].id
    site.submit(form, holder_on="1", slots=[str(plate), ""], aperture="4")
    said = "24-70, f/4, 1/50, ISO 100, holder on with 0.6"
    assert f"On the camera now: {said}" in site.get("/days/1/plan").text
    assert f"Starts with: {said}" in site.get("/days/1/plan?whole=1").text


def test_a_shift_moves_the_plan_and_says_what_was_planned(site):
    lamps_day(site, 9, 10)
    site.keep("/days/1/order", at_0="13:00", place_0="1", at_1="14:00", place_1="2")
    stop = site.rows(tables.Stop)[1].id
    site.client.post("/days/1/order/shifts", data={"event_id": new_id(), "stop": str(stop), "minutes": "20"})
    rows = cells(site.get("/days/1/plan"), "plan-stops")
    assert rows[0][1] == "13:00"
    assert rows[1][1].startswith("14:20 planned 14:00")
    assert "after 1 h 20" in rows[1][1]


def test_the_lens_that_a_stop_asks_for_is_planned_with(site):
    lamps_day(site, 9.64, 9.64)
    site.lens(1, "Zoom", widest="4", smallest="22", thread="82")
    zoom = max(row.id for row in site.rows(tables.Lens))
    site.keep(
        "/days/1/order",
        at_0="13:00",
        place_0="1",
        at_1="14:00",
        place_1="2",
        lens_1=str(zoom),
        at_2="15:00",
        place_2="1",
    )
    rows = cells(site.get("/days/1/plan"), "plan-stops")
    assert [row[4].startswith("Zoom on.") for row in rows] == [False, True, False], "it is put on once, and stays on"
    assert "f/4" in rows[1][5]
    assert "f/4" in rows[2][5], "the zoom opens no further"


# The light of each stop's own time, and another sky.


@pytest.fixture
def outdoors(site):
    """A lawn in the sun at 52 degrees north, read at noon of the day under a clear sky."""
    venue = site.venue(latitude="52", longitude="0")
    site.keep(f"/venues/{venue}/places", name="Lawn", light="sun", lit_from="side")
    site.place(venue, "Hall", 8.64)
    with site.client.app.state.book.writing() as session:
        session.add(tables.Reading(
            place_id=1, taken_at=datetime(2031, 6, 20, 12, tzinfo=UTC), who="w", kind="ev", raw={"value": 14.6},
            ev100=14.6, sky="clear",
        ))  # fmt: skip
    site.day(venue, site.kit(plates=(0.6, 0.9, 1.2)), on=JUNE)
    site.keep("/days/1/order", at_0="13:00", place_0="1", at_1="13:40", place_1="2", at_2="20:45", place_2="1")
    return site


def test_each_stop_is_planned_in_the_light_of_its_time(outdoors):
    """Just before sunset (21:21 in British summer time) the lawn is stops darker than at one o'clock."""
    rows = cells(outdoors.get("/days/1/plan"), "plan-stops")
    light = [float(re.match(r"EV (\d+\.\d)", row[3])[1]) for row in rows]
    assert light[0] == pytest.approx(14.6, abs=0.1)
    assert 2 < light[0] - light[2] < 6


def test_where_another_sky_asks_for_other_glass_the_stop_says_what_to_have_ready(outdoors):
    """
    A stop is marked where the planned glass does not get the best picture in the most or the least light that the sky
    may make of it, and only there: held to all the setups that do (`moves.best_pictures`).
    """
    site = outdoors
    with site.client.app.state.book.reading() as session:
        day = open_day(session, first_camera(1), 1)
    plan = plan_of(day, datetime.now(UTC))
    for each in plan.stops:
        marked = {ready.brighter for ready in each.ready}
        for brighter, ev in ((True, each.lit.level.high), (False, each.lit.level.low)):
            (picture,) = best_pictures(day.kit, [(Light(ev), each.lit.place.look)])
            best = {
                frozenset(day.kit.filters[n].id for n in np.flatnonzero(picture.setups.on[way])) for way in picture.able
            }
            assert (brighter in marked) == (frozenset(each.move.rig.on_lens) not in best)
    marks = [bool(each.ready) for each in plan.stops]
    assert any(marks)
    assert not marks[1], "lamps are what they are"
    rows = cells(site.get("/days/1/plan"), "plan-stops")
    assert [("Ready:" in row[4]) for row in rows] == marks


def test_the_plan_packs_what_it_puts_on_and_what_another_sky_would_need(outdoors):
    """Each plate of the plan is in the list, and each that a stop wants ready."""
    site = outdoors
    with site.client.app.state.book.reading() as session:
        day = open_day(session, first_camera(1), 1)
    plan = plan_of(day, datetime.now(UTC))
    used = {
        f for each in plan.stops for f in (*each.move.rig.slots, *(f for ready in each.ready for f in ready.filters))
    }
    pack = site.get("/days/1/plan").source.partition('id="pack"')[2].partition("</section>")[0]
    for plate in day.kit.filters:
        assert (f"<b>{plate.name}</b>" in pack) == (plate.id in used)
    assert "the holder" in pack


def test_a_stop_of_the_past_is_planned_in_its_own_light(site):
    """The whole day as planned, looked at hours later, has the light of each stop's time: as the JSON call forecasts it."""
    now = datetime.now(UTC).replace(second=0, microsecond=0)
    longitude = (
        (13 - now.hour - now.minute / 60) * 15 + 180
    ) % 360 - 180  # the sun is high there, whatever the hour here
    venue = site.venue(latitude="0", longitude=f"{longitude:.3f}")
    site.keep(f"/venues/{venue}/places", name="Lawn", light="sun", lit_from="side")
    read_at = now - timedelta(hours=1)
    with site.client.app.state.book.writing() as session:
        session.add(
            tables.Reading(place_id=1, taken_at=read_at, who="w", kind="ev", raw={"value": 14}, ev100=14, sky="clear")
        )
    site.day(venue, site.kit())
    order(site, (-360, "Dawn", 1), (-10, "Noon", 1))
    at = now - timedelta(minutes=360)
    call = site.client.post("/api/daylight", json={
        "latitude": 0, "longitude": round(longitude, 3), "light": "sun", "lit_from": "side", "sky": "clear",
        "read_at": read_at.isoformat(), "ev100": 14, "at": [at.isoformat()],
    }).json()  # fmt: skip
    rows = cells(site.get("/days/1/plan?whole=1"), "plan-stops")
    shown = float(re.match(r"EV ([\d.−]+)", rows[0][3])[1].replace("−", "-"))
    assert shown == pytest.approx(call["forecast"][0]["ev100"], abs=0.11)
    assert shown < 13.5, "or the test says nothing"


def test_a_walk_off_the_order_begins_the_day(site):
    """What is on the camera now is what the plan starts from, though no stop is done yet."""
    site.day_at(12.63, 8.64)
    site.tap(1, 1)
    order(site, (30, "Drinks", 2))
    page = site.get("/days/1/plan")
    assert "The day from here on" in page.text
    assert "On the camera now: 24-70, f/2.8" in page.text
    assert "1.2" in page.text.partition("On the camera now")[2][:90]


def test_what_the_day_page_passes_over_the_plan_does_too(site):
    """Breakfast three hours ago, vows five minutes ago, and nothing moved yet."""
    site.day_at(9, 10)
    order(site, (-180, "Breakfast", 1), (-5, "Vows", 2))
    page = site.get("/days/1/plan")
    assert [row[2].split()[0] for row in cells(page, "plan-stops")] == ["Vows"]
    assert "Breakfast" in page.text.partition("Passed over:")[2][:30]
    whole = next(link for link in page.links if "whole" in link)
    assert len(cells(site.get(whole), "plan-stops")) == 2


def test_a_lens_named_at_a_stop_without_a_place_is_said_at_the_next_one(site):
    lamps_day(site, 9.64, 9.64)
    site.lens(1, "Zoom", widest="4", smallest="22", thread="82")
    zoom = max(row.id for row in site.rows(tables.Lens))
    site.keep(
        "/days/1/order",
        at_0="13:00",
        place_0="1",
        at_1="14:00",
        name_1="Pause",
        lens_1=str(zoom),
        at_2="15:00",
        place_2="2",
    )
    rows = cells(site.get("/days/1/plan"), "plan-stops")
    assert rows[2][4].startswith("Zoom on.")


@pytest.mark.parametrize(("query", "whole"), [("?whole=1", True), ("?whole=0", False), ("", False), ("?whole=", False)])
def test_the_whole_day_is_planned_where_that_is_asked(site, query, whole):
    site.day_at(9, 10)
    order(site, (-30, "Vows", 1), (30, "Drinks", 2))
    site.tap(1, 1)
    assert ("The day planned" in site.get(f"/days/1/plan{query}").text) == whole


def test_an_iris_outside_the_look_is_said(site):
    """f/1.8 is asked for by the dark, at a place whose look opens to f/2: two clicks of a third-stop dial."""
    lamps_day(site, 0)
    site.keep("/days/1/order", at_0="13:00", place_0="1")
    assert "Iris 1 click outside the look" in site.get("/days/1/plan").text


def test_the_bag_is_packed_for_every_stop_and_for_another_sky(outdoors):
    """The lawn at one in the sun, the hall, the lawn at dusk: the plate for the sun is packed, whatever the hour now is."""
    bag = outdoors.get("/days/1/bag")
    assert "For every stop of the running order" in bag.text
    assert "Lawn" in re.search(r'id="packed">(.*?)</ul>', bag.source, re.DOTALL)[1]
    page = outdoors.get("/days/1/plan")
    assert "Pack" in page.text


def test_the_card_has_every_stop_of_the_plan(outdoors):
    card = outdoors.get("/days/1/card")
    stops = re.findall(r"<li>(.*?)</li>", card.source, re.DOTALL)
    rows = cells(outdoors.get("/days/1/plan"), "plan-stops")
    assert len(stops) == len(rows) == 3
    for stop, row in zip(stops, rows, strict=True):
        words = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", stop)).split())
        assert words.startswith(row[1][:5])
        assert re.search(r"f/[\d.]+", row[5])[0] in words


def test_the_picture_is_on_the_page_with_its_words(outdoors):
    page = outdoors.get("/days/1/plan")
    assert 'role="img"' in page.source
    said = re.search(r"<desc[^>]*>(.*?)</desc>", page.source)[1]
    assert "3 stops" in said


def test_a_night_with_a_change_of_the_clocks_is_planned(site):
    """23:00, and both of 01:30 in the night after 24 October 2026: an hour apart."""
    lamps_day(site, 9, 10, on="2026-10-24")
    site.keep("/days/1/order", at_0="23:00", place_0="1", at_1="01:30 BST", place_1="2", at_2="01:30 GMT", place_2="1")
    rows = cells(site.get("/days/1/plan?whole=1"), "plan-stops")
    assert [row[1] for row in rows] == ["23:00", "01:30 BST after 2 h 30", "01:30 GMT after 1 h 00"]


def test_a_hundred_stops_are_planned_or_refused_in_words(site):
    lamps_day(site, 9, 10.63)
    with site.client.app.state.book.writing() as session:
        session.add_all(
            tables.Stop(day_id=1, minutes=360 + 9 * n, second=False, name=f"Stop {n}", place_id=1 + n % 2)
            for n in range(100)
        )
        changed(session, 1)
    assert len(cells(site.get("/days/1/plan"), "plan-stops")) == 100


def test_the_demo_s_plan_is_of_the_stops_to_come(demo):
    rows = cells(demo.get("/days/1/plan"), "plan-stops")
    assert [row[0] for row in rows] == ["2", "3", "4", "5", "6", "7", "8", "9"]
