"""A venue's readings as a file for a spreadsheet."""

from __future__ import annotations

import csv
import io
import math
from datetime import UTC, datetime

import pytest

from server.book import tables
from server.pages.readings import _FORMS, _NOT_RAW, PhotoForm
from server.pages.readings_file import FIRST, RAW
from tests.conftest import another_crew, somebody, stranger


def rows(site, venue=1):
    answer = site.client.get(f"/venues/{venue}/readings.csv")
    assert answer.status_code == 200
    return list(csv.DictReader(io.StringIO(answer.text, newline=""), strict=True))


@pytest.fixture
def venue(site):
    number = site.venue("Old mill", "Europe/London", latitude="51.5", longitude="-0.12")
    site.place(number, "Porch", light="sun")
    return site


def read(site, **fields):
    site.keep("/venues/1/places/1/readings", **fields)


def test_a_reading_is_a_row_with_its_figures_as_they_were_typed_and_what_they_gave(venue):
    read(venue, kind="lux", value="640", taken="2026-06-20T14:30", sky="overcast", part="dark")
    (row,) = rows(venue)
    assert row | {"written": ""} == dict.fromkeys((*FIRST, *RAW), "") | {
        "place": "Porch", "taken": "2026-06-20T14:30:00+01:00", "zone": "Europe/London", "part": "dark corner",
        "sky": "overcast", "method": "Lux", "ev100": "8", "lux": "640", "who": "shooter", "value": "640",
    }  # fmt: skip
    assert datetime.fromisoformat(row["written"]).tzinfo


def test_a_camera_s_reading_has_its_settings_and_the_glass(venue):
    """APEX: f/4 at 1/60 s and ISO 200 is 2 x 2 + 5.91 - 1, and two stops of glass."""
    read(venue, kind="camera", aperture="4", shutter="1/60", iso="200", meter="−1/3", filter_stops="2")
    (row,) = rows(venue)
    figures = {name: float(row[name]) for name in ("aperture", "shutter", "iso", "meter", "filter_stops")}
    assert figures == pytest.approx(
        {"aperture": 4, "shutter": 1 / 60, "iso": 200, "meter": -1 / 3, "filter_stops": 2}, abs=1e-9
    )
    ev = 4 + math.log2(60) - 1 + 2 - 1 / 3
    assert float(row["ev100"]) == pytest.approx(ev, abs=0.1), "as marked: a 60th is a 64th"
    assert float(row["lux"]) == pytest.approx(2.5 * 2 ** float(row["ev100"]), rel=1e-5), "ISO 2720, C = 250"


def test_a_figure_below_zero_is_a_figure_and_no_guarded_word(venue):
    """A spreadsheet counts with it."""
    read(venue, kind="ev", value="-2.5")
    (row,) = rows(venue)
    assert (row["ev100"], row["value"], row["lux"]) == ("-2.5", "-2.5", "0.441942")


@pytest.mark.parametrize("name", ["=1+1", "@sum", "+1", "-1", "\t=1", "'=1", '=cmd|"/c calc"!A0'])
def test_a_name_that_a_spreadsheet_would_run_is_a_text(site, name):
    """OWASP on CSV injection: a leading apostrophe makes it one; the other files do the same."""
    second = somebody(site, "second", name)
    venue = second.venue("Mill")
    second.place(venue, name, 9)
    (row,) = rows(site)
    assert row["place"].startswith("'")
    assert row["place"].endswith(name.strip())
    assert row["who"].startswith("'")


def test_a_name_with_commas_quotes_and_any_script_comes_back(site):
    """RFC 4180, 2.6 and 2.7."""
    name = 'Porch, "the small one"; 東京 é'
    site.place(site.venue(), name, 9)
    assert rows(site)[0]["place"] == name
    content = site.client.get("/venues/1/readings.csv").content
    assert content.count(b"\r\n") == content.count(b"\n") == 2, "lines end as RFC 4180, 2.1 has it"


def test_the_rows_are_place_by_place_and_the_oldest_first(venue):
    for at, value in (("2026-06-20T14:00", "14"), ("2026-06-20T09:00", "12"), ("2026-06-21T09:00", "13")):
        read(venue, kind="ev", value=value, taken=at)
    venue.place(1, "Aisle", 6)
    assert [(row["place"], row["value"]) for row in rows(venue)] == [
        ("Porch", "12"), ("Porch", "14"), ("Porch", "13"), ("Aisle", "6"),
    ]  # fmt: skip


def test_an_hour_that_came_twice_is_told_by_its_offset(venue):
    """2026-10-25 01:30 at London: in summer time, and an hour later again."""
    for again in ("first", "second"):
        read(venue, kind="ev", value="3", taken="2026-10-25T01:30", again=again)
    assert [row["taken"] for row in rows(venue)] == ["2026-10-25T01:30:00+01:00", "2026-10-25T01:30:00+00:00"]


def test_every_figure_that_a_form_keeps_has_its_column():
    """A kind of reading that is added later must not lose its figures here."""
    kept = {name for form in (*_FORMS.values(), PhotoForm) for name in form.model_fields} - _NOT_RAW
    assert kept <= set(RAW)
    assert {"glass_stops", "bias", "focal_mm", "latitude", "longitude", "clicks"} <= set(RAW)


def test_what_is_no_figure_in_an_older_row_is_a_guarded_word(venue):
    with venue.client.app.state.book.writing() as session:
        session.add(tables.Reading(place_id=1, taken_at=datetime.now(UTC), who="", kind="nudges", ev100=5.0,
                                   raw={"value": "=1+1", "clicks": -2, "iso": None, "meter": True}))  # fmt: skip
    (row,) = rows(venue)
    assert (row["value"], row["clicks"], row["iso"], row["meter"]) == ("'=1+1", "-2", "", "True")


def test_a_venue_without_readings_is_a_row_of_names(site):
    venue = site.venue()
    assert site.client.get(f"/venues/{venue}/readings.csv").text == ",".join((*FIRST, *RAW)) + "\r\n"
    assert "readings.csv" not in site.get(f"/venues/{venue}").source
    site.place(venue, "Porch", 9)
    assert f"/venues/{venue}/readings.csv" in site.get(f"/venues/{venue}").links


def test_the_file_is_named_for_the_venue(site):
    site.venue('Św. Anny "Kirche"; Wien/2')
    answer = site.client.get("/venues/1/readings.csv")
    assert answer.headers["content-disposition"] == 'attachment; filename="w-Anny-Kirche-Wien-2-readings.csv"'.lower()
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"


def test_a_guest_reads_it_and_nobody_else_s_crew_does(venue):
    read(venue, kind="ev", value="9")
    assert len(rows(somebody(venue, "guest"))) == 1
    assert stranger(venue).client.get("/venues/1/readings.csv").status_code == 401
    other = somebody(venue, "lead", "Tom", another_crew(venue))
    assert other.client.get("/venues/1/readings.csv").status_code == 404


# Where the venue is.


def test_a_venue_with_coordinates_has_a_link_that_a_phone_s_map_opens(venue):
    assert "geo:51.5,-0.12" in venue.get("/venues/1").links
    assert "51.5, −0.12" in venue.get("/venues/1").text


def test_coordinates_are_linked_to_the_last_digit_that_is_kept(site):
    """What is shown of them ends at a metre."""
    site.venue(latitude="51.123456789012", longitude="-0.0000001")
    page = site.get("/venues/1")
    assert "geo:51.123456789012,-0.0000001" in page.links
    assert "51.12346, 0 " in page.text


def test_a_venue_without_coordinates_has_no_such_link(site):
    site.venue()
    assert not [link for link in site.get("/venues/1").links if link.startswith("geo:")]
