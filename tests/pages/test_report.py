"""The camera report: the log read back with what was known then, as a page and as CSV; and what the day teaches."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, datetime, timedelta

import pytest

from server.book import tables
from server.book.days import changed
from tests.conftest import new_id
from tests.page import Page
from tests.pages.test_day_order import order, post
from tests.pages.test_plan import cells


def lines(site):
    """The lines of the report as CSV has them."""
    answer = site.client.get("/days/1/report.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    return list(csv.DictReader(io.StringIO(answer.text)))


def lessons(site):
    """Place, and the words on its forecast."""
    part = site.get("/days/1/report").source.partition('id="lessons"')[2]
    return [
        (place, " ".join(re.sub(r"<[^>]+>", " ", words).split()))
        for place, words in re.findall(r"<b>([^<]*)</b>.*?<p>(Forecast.*?)</p>", part, re.DOTALL)
    ]


def read(site, place, ev):
    site.keep(f"/days/1/places/{place}/readings", event_id=new_id(), kind="ev", value=str(ev))


def test_each_tap_is_a_line_with_what_was_on_the_camera(site):
    site.day_at(10.63, 8.64)
    order(site, (0, "Vows", 1))
    site.tap(1, 1)
    site.tap(1, 2)
    first, second = lines(site)
    assert (first["place"], first["stop"], first["done"]) == ("Place 1", "Vows", "went there")
    assert (first["body"], first["lens"], first["aperture"], first["shutter"], first["iso"]) == (
        "Body", "24-70", "2.8", "1/50", "100",
    )  # fmt: skip
    assert first["glass"] == "holder on with 0.6"
    assert first["light"] == "10.6"
    assert re.fullmatch(r"\d\d:\d\d", first["planned"])
    assert (second["place"], second["stop"], second["planned"]) == ("Place 2", "", "")
    row = cells(site.get("/days/1/report"), "report")[0]
    assert row[1].startswith("Place 1 Vows")
    assert row[3:7] == ["f/2.8", "1/50", "100", "holder on with 0.6"]


def test_a_clip_stands_beside_what_the_camera_was_set_to(site):
    site.day_at(8.64, 9)
    site.tap(1, 1)
    post(site, "clips", name="C0012", notes="second take")
    clip = lines(site)[1]
    assert (clip["clip"], clip["notes"], clip["aperture"], clip["place"]) == (
        "C0012",
        "second take",
        "2.8",
        "Place 1",
    )


def test_what_was_taken_back_is_not_in_it(site):
    site.day_at(8.64, 9)
    site.tap(1, 1)
    site.tap(1, 2)
    site.submit(site.get("/days/1").form("/days/1/undo"))
    assert [line["place"] for line in lines(site)] == ["Place 1"]


def test_a_rig_put_right_and_a_lens_changed_are_lines(site):
    site.day_at(8.64, 9)
    site.lens(1, "Zoom", widest="4", smallest="22", thread="82")
    zoom = max(row.id for row in site.rows(tables.Lens))
    site.tap(1, 1)
    site.submit(site.get("/days/1/rig").form("/days/1/rig"), aperture="4")
    post(site, "lens", lens=str(zoom))
    assert [(line["done"], line["lens"], line["aperture"]) for line in lines(site)] == [
        ("went there", "24-70", "2.8"), ("rig put right", "24-70", "4"), ("lens changed", "Zoom", "4"),
    ]  # fmt: skip


def test_a_line_has_the_light_as_it_was_known_then(site):
    """EV 9, a click darker, then metered at 7: each line keeps what its shooter knew."""
    site.day_at(9, 10)
    site.tap(1, 1)
    post(site, "nudges", place="1", clicks="-1")
    post(site, "clips", name="A1")
    read(site, 1, 7)
    post(site, "clips", name="A2")
    assert [line["light"] for line in lines(site)] == ["9.0", "8.7", "7.0"]


def test_a_venue_s_later_reading_changes_no_line(site):
    site.day_at(9, 10)
    site.tap(1, 1)
    site.keep("/venues/1/places/1/readings", kind="ev", value="5")
    assert [line["light"] for line in lines(site)] == ["9.0"]


def test_a_name_that_a_spreadsheet_would_run_is_a_text(site):
    """OWASP on CSV injection: a leading apostrophe makes it one."""
    site.day_at(9, 10)
    site.tap(1, 1)
    post(site, "clips", name="=1+1", notes="@home")
    clip = lines(site)[1]
    assert (clip["clip"], clip["notes"]) == ("'=1+1", "'@home")


def test_a_day_on_which_nothing_was_done_says_so(site):
    site.day_at(9, 10)
    assert "Nothing was done on this day yet" in site.get("/days/1/report").text
    assert lines(site) == []


# What the day teaches.


def test_a_reading_of_the_day_teaches_how_far_the_forecast_was_off(site):
    site.day_at(9, 10)
    read(site, 1, 8)
    assert lessons(site) == [("Place 1", "Forecast EV 9.0 , read EV 8.0 : 1 stop darker than forecast.")] or lessons(
        site
    ) == [("Place 1", "Forecast EV 9.0, read EV 8.0: 1 stop darker than forecast.")]


def test_nudges_teach_what_they_add_up_to(site):
    """Three clicks darker, one back: two thirds of a stop. Those before a reading are in the reading."""
    site.day_at(9, 10)
    for clicks in ("-1", "-1", "-1", "1"):
        post(site, "nudges", place="1", clicks=clicks)
    assert lessons(site) == [("Place 1", "Forecast EV 9.0, nudged to EV 8.3: ⅔ stop darker than forecast.")]
    read(site, 1, 8)
    assert lessons(site) == [("Place 1", "Forecast EV 9.0, read EV 8.0: 1 stop darker than forecast.")]


def test_nudges_that_cancel_teach_nothing(site):
    site.day_at(9, 10)
    for clicks in ("-1", "1"):
        post(site, "nudges", place="1", clicks=clicks)
    assert lessons(site) == []


@pytest.mark.parametrize(("found", "taught"), [(9.25, 0), (8.75, 0), (9.35, 1), (8.65, 1)])
def test_less_than_a_third_of_a_stop_is_no_lesson(site, found, taught):
    site.day_at(9, 10)
    read(site, 1, found)
    assert len(lessons(site)) == taught


def test_a_first_reading_of_a_place_teaches_nothing(site):
    site.day_at(None, 10)
    read(site, 1, 8)
    assert lessons(site) == []


def test_a_lesson_kept_is_a_reading_of_the_venue_once(site):
    site.day_at(9, 10)
    read(site, 1, 8)
    form = site.get("/days/1/report").form("/days/1/report/readings")
    before = len(site.rows(tables.Reading))
    for _ in range(2):
        site.submit(form, **dict([form.buttons[0]]))
    rows = site.rows(tables.Reading)
    assert len(rows) == before + 1
    event = next(event for event in site.rows(tables.Event) if event.kind == "reading_taken")
    assert (rows[-1].place_id, rows[-1].ev100, rows[-1].kind, rows[-1].taken_at) == (1, 8.0, "ev", event.made_at)
    page = site.get("/days/1/report")
    assert "It is a reading of the venue" in page.text
    assert not page.forms_to("/days/1/report/readings")
    assert "EV 8.0" in site.get("/venues/1").text


def test_kept_nudges_do_not_count_twice(site):
    """The venue's new reading has the nudges in it; the day's light stays what it was."""
    site.day_at(9, 10)
    site.tap(1, 1)
    for _ in range(3):
        post(site, "nudges", place="1", clicks="-1")
    assert "EV 8.0" in site.get("/days/1").text
    form = site.get("/days/1/report").form("/days/1/report/readings")
    site.submit(form, **dict([form.buttons[0]]))
    page = site.get("/days/1")
    assert "EV 8.0" in page.text
    assert "darker since" not in page.text
    reading = site.rows(tables.Reading)[-1]
    assert (reading.kind, round(reading.ev100, 3)) == ("nudges", 8.0)
    assert "by nudges" in site.get("/venues/1").text


def test_one_nudge_shared_teaches_of_each_place_alone(site):
    """Three lawns under one sky: each lesson is kept for its own place."""
    venue = site.venue(latitude="52", longitude="0")
    for name in ("One", "Two", "Three"):
        place = int(site.keep(f"/venues/{venue}/places", name=name, light="shade").partition("#place-")[2])
        site.keep(f"/venues/{venue}/places/{place}/readings", kind="ev", value="10", sky="partly")
    site.day(venue, site.kit())
    site.tap(1, 1)
    for _ in range(2):
        post(site, "nudges", place="1", clicks="-1")
    post(site, "sky-nudges", place="1", clicks="-2")
    forms = site.get("/days/1/report").forms_to("/days/1/report/readings")
    assert len(forms) == 3
    site.submit(forms[2], **dict([forms[2].buttons[0]]))
    assert site.rows(tables.Reading)[-1].place_id == 3
    page = site.get("/days/1/report")
    assert len(page.forms_to("/days/1/report/readings")) == 2
    assert page.text.count("It is a reading of the venue") == 1


def test_a_stop_that_was_taken_out_keeps_its_name_in_the_report(site):
    site.day_at(8, 9)
    order(site, (0, "Cake", 1))
    site.tap(1, 1)
    with site.client.app.state.book.writing() as session:
        session.query(tables.Stop).delete()
        changed(session, 1)
    assert lines(site)[0]["stop"] == "Cake"


def test_a_lens_that_has_left_the_kit_is_not_called_by_another_s_name(site):
    site.day_at(8, 9)
    site.lens(1, "Zoom", widest="4", smallest="22", thread="82")
    zoom = max(row.id for row in site.rows(tables.Lens))
    site.tap(1, 1)
    post(site, "lens", lens=str(zoom))
    site.keep(f"/kits/1/lenses/{zoom}/removal")
    assert [line["lens"] for line in lines(site)] == ["24-70", "no longer in the kit"]


def test_a_long_day_has_its_report_and_its_plan(site):
    """Some hundreds of lines under one sky, and as many lights to work out."""
    venue = site.venue(latitude="52", longitude="0")
    place = int(site.keep(f"/venues/{venue}/places", name="Lawn", light="shade").partition("#place-")[2])
    site.keep(f"/venues/{venue}/places/{place}/readings", kind="ev", value="10", sky="partly")
    site.day(venue, site.kit())
    site.tap(1, 1)
    now = datetime.now(UTC)
    with site.client.app.state.book.writing() as session:
        session.add_all(
            tables.Event(day_id=1, id=f"clip-number-{n}", kind="clip_noted", made_at=now + timedelta(seconds=n),
                         received_at=now, who="x", data={"name": f"C{n}"})
            for n in range(900)
        )  # fmt: skip
        changed(session, 1)
    assert len(lines(site)) == 901
    assert site.client.get("/days/1/plan").status_code == 200


@pytest.mark.parametrize("lesson", ["", "no-such-event:1", "x" * 500])
def test_what_is_no_lesson_cannot_be_kept(site, lesson):
    site.day_at(9, 10)
    read(site, 1, 8)
    before = site.book()
    assert site.post("/days/1/report/readings", lesson=lesson).status_code == 404
    assert site.book() == before


def test_the_forecast_is_held_to_the_daylight_s_drift(site):
    """
    A lawn read at one in the afternoon at EV 14.6 in a clear sky; what is found is compared with the light carried to
    that moment, not with the old figure: the same EV hours later is a lesson where the sun has moved on.
    """
    venue = site.venue(latitude="52", longitude="0")
    site.keep(f"/venues/{venue}/places", name="Lawn", light="sun", lit_from="side")
    now = datetime.now(UTC)
    with site.client.app.state.book.writing() as session:
        session.add(tables.Reading(place_id=1, taken_at=now - timedelta(days=1), who="w", kind="ev", raw={"value": 9.0},
                                   ev100=9.0, sky="clear"))  # fmt: skip
    site.day(venue, site.kit())
    site.keep("/days/1/places/1/readings", event_id=new_id(), kind="ev", value="12", sky="clear")
    ((place, words),) = lessons(site)
    forecast = float(re.search(r"Forecast EV ([\d.−]+)", words)[1].replace("−", "-"))
    assert place == "Lawn"
    assert forecast == pytest.approx(9.0, abs=0.35), "a day later to the minute, the sun stands nearly where it stood"
    assert "brighter than forecast" in words


def test_a_page_refused_is_a_page(site):
    assert "nothing at this address" in Page(site.client.get("/days/9/report").text).text.lower()
