"""The day page: every other place with its answer on it, the rig as it is drawn, and a kit that changes under it."""

from __future__ import annotations

import json
import re
import time
from itertools import pairwise

import pytest

from server.book import tables
from server.exposure.glass import Filter, Holder
from server.exposure.rig import Body, Kit, Lens, Look, Rig
from server.exposure.wording import on_the_lens
from server.pages.day_view import click_bars, picture
from tests.conftest import FRAGMENT, new_id
from tests.page import Page


def names(page):
    """The places of the rows, in order."""
    return re.findall(r"<b>(Place \d+)</b>", page.source)


# Rows.


def test_rows_go_on_from_where_the_shooter_stands(site):
    """The next place of the running order first, what has passed last."""
    day, places = site.day_at(8, 8.2, 8.4, 8.6)
    assert names(site.get(f"/days/{day}")) == ["Place 1", "Place 2", "Place 3", "Place 4"]
    site.tap(day, places[1])
    assert names(site.get(f"/days/{day}")) == ["Place 3", "Place 4", "Place 1"]
    site.tap(day, places[3])
    assert names(site.get(f"/days/{day}")) == ["Place 1", "Place 2", "Place 3"]


def test_the_first_row_is_the_next_one(site):
    day, places = site.day_at(8, 8.2, 8.4)
    site.tap(day, places[0])
    (row,) = re.findall(r'<li id="at-(\d+)" class="next">', site.get(f"/days/{day}").source)
    assert row == str(places[1])


def test_a_row_has_the_answer_that_the_json_call_gives(site, calls):
    """Page and call go through one engine: the same kit, rig, light and look have the same answer."""
    day, (one,) = site.day_at(12.5)
    tap = json.loads(site.tap_of(day, one)["tap"])
    plates = [{"id": str(row.id), "mount": "slot", "density": row.density} for row in site.rows(tables.Filter)]
    asked = {
        "body": {
            "clicks_per_stop": 3, "shutters": [0.02, 0.01],
            "iso": {"base": [100, 800], "quiet": 160, "allowed": [
                100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400,
            ]},
        },
        "lens": {"widest": 1.8, "smallest": 16, "thread": 77},
        "holder": {"width": 100, "slots": 2, "rings": [77]},
        "filters": plates,
        "look": {"wanted": 2.8, "widest": 2.0, "narrowest": 4.0, "shutter": 0.02},
        "rig": {"holder_on": False, "slots": [], "aperture": 2.8, "shutter": 0.02, "iso": 100},
        "light": {"ev100": 12.5},
    }  # fmt: skip
    answer = calls.post("/api/moves", json=asked).json()["clean"]
    left_out = {"front": None, "turned": None}  # the call names them only where there are some
    assert tap == {"answer": "clean", "rig": left_out | answer["rig"]}


def test_a_tap_leaves_nothing_to_do_at_the_place(site):
    """Who did what the row said has the rig for the place: it asks for no more."""
    day, (one, two) = site.day_at(14, 6)
    for place in (one, two):
        site.tap(day, place)
        assert "Here, as the light is now" not in site.get(f"/days/{day}").text


def test_a_nudge_here_offers_what_the_light_now_needs(site):
    day, (one,) = site.day_at(14)
    site.tap(day, one)
    for _ in range(3):
        site.submit(site.get(f"/days/{day}").form(f"/days/{day}/nudges"), clicks="-1")
    page = site.get(f"/days/{day}")
    assert "Here, as the light is now" in page.text
    site.tap(day, one)
    assert "Here, as the light is now" not in site.get(f"/days/{day}").text


def rushes(page):
    return re.findall(r'class="rush"[^>]*>([^<]*)', page.source)


def test_the_rushed_answer_stands_where_it_saves_touching_the_glass(site):
    """By hand: with 0.6 on in the sun, the dark room's best picture takes the holder off; a rush leaves it on."""
    day, (sun, dark) = site.day_at(11.4, 6)
    site.tap(day, sun)
    form = site.get(f"/days/{day}/rig").form(f"/days/{day}/rig")
    site.submit(form, holder_on="1", slots=["1", ""], aperture="2.8", iso="100", shutter="1/50")
    page = site.get(f"/days/{day}")
    (row,) = page.rows()
    assert "Holder off" in row
    (rush,) = rushes(page)
    assert "In a rush: leave the glass" in rush
    saves = re.search(r"saves (\d+) s", row)
    assert int(saves[1]) >= 1
    site.tap(day, dark, 1)
    _, data = [(event.kind, event.data) for event in site.rows(tables.Event)][-1]
    assert data["answer"] == "fast"
    assert data["rig"]["holder_on"]


def test_no_rushed_answer_where_nothing_is_saved(site):
    """Two answers that are the same would only cost the eye time."""
    day, _ = site.day_at(6, 7)
    assert rushes(site.get(f"/days/{day}")) == []


def test_a_picture_that_stays_wrong_says_so_on_its_row(site):
    """Starlight, and the sun on snow without glass enough."""
    day, _ = site.day_at(-6, 20, plates=())
    dark, bright = site.get(f"/days/{day}").rows()
    assert re.search(r"stops too dark: it needs [\d⅓⅔]+ stops more light", dark)
    assert re.search(r"stops too bright: \d\.\d more ND would mend it", bright)


def test_a_place_without_a_reading_here_is_to_be_metered(site):
    """The shooter walked to a place whose reading was taken on the day and then taken back."""
    day, (one,) = site.day_at(None)
    site.keep(f"/days/{day}/places/{one}/readings", event_id=new_id(), kind="ev", value="9")
    (reading,) = site.rows(tables.Event)
    site.tap(day, one)
    site.keep(f"/days/{day}/undo", event_id=new_id(), event=reading.id)
    page = site.get(f"/days/{day}")
    assert "it has no reading yet" in page.text
    assert "no reading" in page.text
    source = page.source
    assert "disabled" in re.search(r'<button[^>]*id="fell"[^>]*>', source)[0]


# Much of it.


def big_day(site, places, plates=12, slots=3):
    day, _ = site.day_at(*(4 + 12 * n / places for n in range(places)), plates=tuple(
        round(0.1 * n, 1) for n in range(1, plates + 1)), slots=slots)  # fmt: skip
    return day


def test_a_day_of_40_places_and_a_pouch_of_12_plates_is_one_page(site):
    """Every place has its answer, in well under the time that a shooter waits for a page."""
    day = big_day(site, 40)
    site.get(f"/days/{day}")
    site.tap(day, 1)
    start = time.perf_counter()
    page = site.get(f"/days/{day}")
    took = time.perf_counter() - start
    assert len(names(page)) == 39
    assert all(" to f/" in row or "stay at f/" in row or "Nothing to do" in row for row in page.rows())
    assert took < 3, "s, with a machine that is busy"


def test_every_one_of_40_places_can_be_walked_to(site):
    """Each answer that the page gives is one that the book takes."""
    day = big_day(site, 40)
    forms = site.get(f"/days/{day}").forms_to(f"/days/{day}/moves")
    assert len(forms) == 40
    for form in forms:
        name, value = form.buttons[0]
        site.submit(form, **{name: value})
    assert len(site.rows(tables.Event)) == 40


def test_a_long_day_of_taps_still_says_the_last_one(site):
    """300 taps: a wedding from the dressing to the dancing."""
    day, (one, two) = site.day_at(8, 12)
    sent = [site.tap_of(day, one), site.tap_of(day, two)]
    for number in range(300):
        site.client.post(f"/days/{day}/moves", data=sent[number % 2] | {"event_id": f"tap-{number:05}"})
    assert ">Place 2</h1>" in site.get(f"/days/{day}").source
    assert len(site.rows(tables.Event)) == 300


# A kit that changes under a running day.


def with_glass(site, *lights):
    """A day in the sun with 0.6 and 1.2 in the holder, and what a tap at its last place would send."""
    day, places = site.day_at(*lights)
    form = site.get(f"/days/{day}/rig").form(f"/days/{day}/rig")
    site.submit(form, holder_on="1", slots=["1", "2"])
    return day, places


NOTICE = "The kit has changed"


def test_a_filter_taken_out_of_the_kit_is_off_the_rig_and_the_day_says_so(site):
    day, _ = with_glass(site, 14)
    assert NOTICE not in site.get(f"/days/{day}").text
    site.keep("/kits/1/filters/1/removal")
    page = site.get(f"/days/{day}")
    assert NOTICE in page.text
    assert "holder on with 1.2" in page.text


def test_the_notice_goes_when_the_rig_is_said_again(site):
    day, _ = with_glass(site, 14)
    site.keep("/kits/1/filters/1/removal")
    site.submit(site.get(f"/days/{day}/rig").form(f"/days/{day}/rig"))
    assert NOTICE not in site.get(f"/days/{day}").text


@pytest.mark.parametrize("headers", [{}, FRAGMENT], ids=["plain form", "htmx"])
def test_a_tap_with_a_filter_that_is_gone_is_not_kept_and_says_why(site, headers):
    """The page was drawn before the filter left the kit: its answer names glass that is not there any more."""
    day, (one, two) = with_glass(site, 14, 14.3)
    sent = site.tap_of(day, two)
    assert json.loads(sent["tap"])["rig"]["slots"]
    for number in (1, 2):
        site.keep(f"/kits/1/filters/{number}/removal")
    page = site.refused(f"/days/{day}/moves", headers=headers, **sent)
    assert any("the kit has changed since this page was drawn" in alert for alert in page.alerts)
    site.tap(day, two)
    assert ">Place 2</h1>" in site.get(f"/days/{day}").source
    assert one != two


def test_a_filter_of_another_density_changes_the_answers_at_once(site):
    """And the form that is on the camera is worked with as it is now."""
    day, _ = with_glass(site, 13)
    before = list(site.get(f"/days/{day}").rows())
    site.keep("/kits/1/filters/2", name="1.2 plate", kind="nd", mount="slot", engraved="3.0")
    page = site.get(f"/days/{day}")
    assert "0.6 and 3.0" in page.text
    assert list(page.rows()) != before


def test_a_filter_added_to_the_kit_is_in_the_answers_at_once(site):
    day, _ = site.day_at(16, plates=())
    assert "more ND" in next(site.get(f"/days/{day}").rows())
    site.keep("/kits/1/filters", name="1.8 plate", kind="nd", mount="slot", engraved="1.8")
    assert "drop in 1.8" in next(site.get(f"/days/{day}").rows()).lower()


def test_a_holder_taken_out_of_the_kit_is_off_the_lens(site):
    day, _ = with_glass(site, 14)
    site.keep("/kits/1/holders/1/removal")
    page = site.get(f"/days/{day}")
    assert NOTICE in page.text
    assert "no glass" in page.text
    assert site.get(f"/days/{day}/rig")


@pytest.mark.parametrize(("things", "word"), [("lenses", "lens"), ("bodies", "body")])
def test_a_day_whose_only_lens_or_body_was_removed_says_so_on_every_page(site, things, word):
    """In words, with the kit's name; and it opens again when the kit is whole again."""
    day, (one,) = site.day_at(8)
    sent = site.tap_of(day, one)
    site.keep(f"/kits/1/{things}/1/removal")
    for path in (f"/days/{day}", f"/days/{day}/rig", f"/days/{day}/places/{one}/reading"):
        page = site.get(path, 409)
        assert "Main kit" in page.text
        assert word in page.text
    for headers in ({}, FRAGMENT):
        assert site.client.post(f"/days/{day}/moves", data=sent, headers=headers).status_code == 409
        nudge = {"event_id": new_id(), "place": str(one), "clicks": "1"}
        assert site.post(f"/days/{day}/nudges", headers, **nudge).status_code in (303, 409)
    site.get(f"/days/{day}/setup")
    {"lenses": site.lens, "bodies": site.body}[things](1)
    assert NOTICE in site.get(f"/days/{day}").text, "another one stands in for the one that was chosen"
    site.submit(site.get(f"/days/{day}/setup").form(f"/days/{day}/setup"))
    assert NOTICE not in site.get(f"/days/{day}").text


@pytest.mark.parametrize("things", ["lenses", "bodies"])
def test_a_day_without_places_whose_lens_or_body_was_removed_says_so(site, things):
    day = site.day(site.venue(), site.kit())
    site.keep(f"/kits/1/{things}/1/removal")
    for path in (f"/days/{day}", f"/days/{day}/setup"):
        assert "Main kit" in site.get(path, 409).text


def test_a_day_whose_lens_was_swapped_for_another_says_so_until_it_is_chosen(site):
    day, (one,) = site.day_at(8)
    site.tap(day, one)
    site.lens(1, "Slow lens", widest="5.6")
    assert NOTICE not in site.get(f"/days/{day}").text
    site.keep("/kits/1/lenses/1/removal")
    assert NOTICE in site.get(f"/days/{day}").text
    site.submit(site.get(f"/days/{day}/setup").form(f"/days/{day}/setup"))
    assert NOTICE not in site.get(f"/days/{day}").text


def test_a_body_with_another_dial_counts_in_its_own_clicks(site):
    day, _ = site.day_at(8)
    site.keep(
        "/kits/1/bodies/1", name="Body", clicks_per_stop="10", iso_base="100", iso_allowed="100", shutters="1/50",
        built_in_nd="0",
    )  # fmt: skip
    assert re.search(r"(open|close) [\d.]+ stops?", next(site.get(f"/days/{day}").rows()))


def test_a_rig_with_a_built_in_step_that_the_body_lost_is_told(site):
    day, _ = site.day_at(8)
    body = {"name": "Body", "clicks_per_stop": "3", "iso_base": "100", "iso_allowed": "100-6400", "shutters": "1/50"}
    site.keep("/kits/1/bodies/1", **body, built_in_nd="0 2 4")
    site.submit(site.get(f"/days/{day}/rig").form(f"/days/{day}/rig"), built_in="4.0")
    assert "built-in 4 stops" in site.get(f"/days/{day}").text
    site.keep("/kits/1/bodies/1", **body, built_in_nd="0 2")
    page = site.get(f"/days/{day}")
    assert NOTICE in page.text
    assert "built-in" not in page.text.partition("Place 1")[0]


# Pictures.


@pytest.mark.parametrize(("count", "clicks"), [(1, 3), (3, 3), (4, 3), (7, 3), (2, 2), (5, 1)])
@pytest.mark.parametrize("opens", [True, False])
def test_bars_are_one_a_click_rising_to_open_and_falling_to_close(count, clicks, opens):
    drawn = click_bars(count, clicks, opens=opens)
    heights = [bar.height for bar in drawn.bars]
    assert len(heights) == count
    assert heights == sorted(heights, reverse=not opens)
    assert len(set(heights)) == count


@pytest.mark.parametrize(("count", "clicks"), [(7, 3), (5, 2), (3, 1)])
def test_bars_stand_in_groups_of_a_stop(count, clicks):
    """The eye counts stops first: the gap after each is wider, and no bar overlaps the next."""
    at = [bar.x for bar in click_bars(count, clicks, opens=True).bars]
    gaps = [after - before for before, after in pairwise(at)]
    within = {gap for number, gap in enumerate(gaps, 1) if number % clicks}
    between = {gap for number, gap in enumerate(gaps, 1) if not number % clicks}
    assert min(within | between) > 5
    assert not within or max(within) < min(between)


def test_no_turn_has_no_bars():
    assert click_bars(0, 3, opens=True) is None


KIT = Kit(
    body=Body(3, (100.0,), (100.0,), (0.02,)),
    lens=Lens(2.0, 8.0, 77.0),
    holder=Holder(100.0, 3, (77.0,)),
    filters=(
        Filter("1", "slot", 0.6, name="Soft one"),
        Filter("2", "slot", 1.2),
        Filter("3", "slot", 0.6, name="Other"),
    ),
)


def drawn(look=None, **changes):
    rig = {"holder_on": True, "slots": ("2",), "threads": (), "built_in": 0.0, "aperture": 4.0, "shutter": 0.02,
           "iso": 100.0}  # fmt: skip
    return picture(KIT, Rig(**{**rig, **changes}), look)


def test_the_rig_is_drawn_with_its_slots_full_and_empty():
    assert drawn().slots == ("1.2", "", "")
    assert drawn(slots=("2", "1", "3")).slots == ("1.2", "0.6", "0.6"), "the picture has room for the mark"
    full = Rig(holder_on=True, slots=("2", "1", "3"), threads=(), built_in=0.0, aperture=4.0, shutter=0.02, iso=100.0)
    assert on_the_lens(KIT, full) == "holder on with 1.2, Soft one and Other", "in words, twins go by their names"
    assert drawn(holder_on=False).mounted is False


def test_the_iris_scale_runs_from_the_lens_s_widest_to_its_smallest():
    """f/2 to f/8 are four stops: f/4 is in the middle, whole stops are marked."""
    scale = drawn()
    assert (scale.ticks[0].x, scale.ticks[-1].x, scale.at) == (0, 100, 50)
    assert len(scale.ticks) == 13
    assert [tick.label for tick in scale.ticks if tick.label] == ["2", "2.8", "4", "5.6", "8"]
    assert drawn(aperture=2.8).at == 25


def test_the_look_is_drawn_on_the_scale():
    scale = drawn(Look(4.0, 2.8, 5.6, 0.02))
    assert (scale.look_from, scale.look_to) == (25, 75)
    beyond = drawn(Look(4.0, 1.4, 16.0, 0.02))
    assert (beyond.look_from, beyond.look_to) == (0, 100)


@pytest.mark.parametrize(("aperture", "at"), [(1.4, 0), (16.0, 100)])
def test_an_iris_that_the_lens_does_not_have_is_drawn_at_its_end(aperture, at):
    assert drawn(aperture=aperture).at == at


def test_a_lens_of_one_aperture_is_drawn(site):
    """A mirror lens: f/8 and nothing else, nothing to divide by."""
    kit = int(site.keep("/kits", name="Kit").rpartition("/")[2])
    site.body(kit)
    site.lens(kit, widest="8", smallest="8")
    venue = site.venue()
    site.place(venue, "Loft", 12)
    page = site.get(f"/days/{site.day(venue, kit)}")
    assert "f/8" in next(page.rows())


def test_the_demo_s_day_has_an_answer_for_every_place(demo):
    page = demo.get("/days/1")
    assert ">Orchard</h1>" in page.source
    rows = list(page.rows())
    assert len(rows) == 8, "seven other places, and the orchard again for the confetti"
    assert all("EV" in row for row in rows)
    assert Page(page.source).alerts == []
