"""The venue page: a venue, its places and their readings, by plain forms and by htmx."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from server.book import tables
from server.pages.venues import PLACES_MOST
from tests.conftest import FRAGMENT
from tests.page import Page

VENUE = {"name": "Old mill", "time_zone": "Europe/London", "latitude": "51,75", "longitude": "−2.2"}


def test_from_nothing_to_a_reading_by_the_forms_that_the_pages_have(site):
    """A recce: the venue, its first place and what the meter said, each by filling in what is on the page."""
    form = site.get("/venues/new").form("/venues")
    venue = site.submit(form, **VENUE).headers["location"]
    page = site.get(venue)
    assert "Old mill" in page.text
    assert "No places yet" in page.text

    led = site.submit(page.form(f"{venue}/places"), name="Loft", light="lamps").headers["location"]
    page = site.get(led.partition("#")[0])
    assert "Loft" in page.text
    assert "no reading" in page.text

    site.submit(next(form for form in page.forms_to(f"{venue}/places/1/readings") if form["kind"].value == "lux"),
                value="640")  # fmt: skip
    page = site.get(venue)
    assert "EV 8.0" in page.text
    assert "fresh: just now, by Lux" in page.text
    (row,) = site.rows(tables.Venue)
    assert (row.name, row.latitude, row.longitude, row.time_zone) == ("Old mill", 51.75, -2.2, "Europe/London")


def test_coordinates_may_be_left_out(site):
    site.keep("/venues", **{**VENUE, "latitude": "", "longitude": ""})
    (row,) = site.rows(tables.Venue)
    assert (row.latitude, row.longitude) == (None, None)


WRONG_VENUES = {
    "no name": ({"name": ""}, "name"),
    "a name of blanks": ({"name": " \u00a0 "}, "name"),
    "a name of 81 characters": ({"name": "a" * 81}, "name"),
    "a time zone that is none": ({"time_zone": "Mars/Olympus"}, "time_zone"),
    "no time zone": ({"time_zone": ""}, "time_zone"),
    "a path for a time zone": ({"time_zone": "../../etc/passwd"}, "time_zone"),
    "a latitude in words": ({"latitude": "north"}, "latitude"),
    "a latitude beyond the pole": ({"latitude": "90.1"}, "latitude"),
    "a longitude beyond the date line": ({"longitude": "-180.5"}, "longitude"),
    "a latitude alone": ({"longitude": ""}, "longitude"),
    "a longitude alone": ({"latitude": ""}, "latitude"),
    "NaN": ({"latitude": "nan"}, "latitude"),
}


@pytest.mark.parametrize(("changes", "field"), WRONG_VENUES.values(), ids=WRONG_VENUES)
def test_a_wrong_field_has_a_word_beside_it_and_keeps_what_was_typed(unchanged, changes, field):
    sent = VENUE | changes
    page = unchanged.refused("/venues", **sent)
    assert set(page.refused) == {field}
    assert page.refused[field]
    assert page.alerts
    form = page.form("/venues")
    assert {name: form[name].value for name in sent} == sent


def test_every_wrong_field_is_told_at_once(unchanged):
    page = unchanged.refused("/venues", name="", time_zone="x", latitude="y", longitude="z")
    assert set(page.refused) == {"name", "time_zone", "latitude", "longitude"}


def test_a_refused_form_can_be_put_right_and_sent(site):
    """From the page of the refusal itself, without typing anything twice."""
    page = site.refused("/venues", **VENUE | {"time_zone": "London"})
    site.submit(page.form("/venues"), time_zone="Europe/London")
    assert site.rows(tables.Venue)[0].latitude == 51.75


def test_what_was_typed_is_text_wherever_it_is_shown(site):
    """Markup in a name is a name, in the refusal, on the page and in every attribute."""
    evil = '"><script>alert(1)</script><b x="'
    page = site.refused("/venues", **VENUE | {"name": evil * 4})
    assert page.form("/venues")["name"].value == evil * 4
    venue = site.venue(name=evil)
    site.place(venue, evil, 8)
    kit = site.kit(name=evil)
    day = site.day(venue, kit, name=evil)
    for path in ("/", f"/venues/{venue}", f"/kits/{kit}", f"/days/{day}", f"/days/{day}/setup", f"/days/{day}/rig",
                 f"/days/{day}/places/1/reading", "/days/new"):  # fmt: skip
        source = site.get(path).source
        assert "<script>alert" not in source, path
        assert '<b x="' not in source, path


def test_two_venues_may_have_one_name(site):
    """There are many Old mills; numbers tell them apart."""
    assert site.venue() != site.venue()
    assert site.get("/").text.count("Old mill") == 2


def test_a_venue_is_changed_by_its_form(site):
    venue = site.venue(latitude="51.75", longitude="-2.2")
    form = site.get(f"/venues/{venue}").form(f"/venues/{venue}")
    site.submit(form, name="New mill", time_zone="Asia/Tokyo")
    (row,) = site.rows(tables.Venue)
    assert (row.name, row.time_zone, row.latitude) == ("New mill", "Asia/Tokyo", 51.75)


def test_a_venue_kept_as_it_was_drawn_is_the_same(site):
    """To the last digit of its coordinates."""
    venue = site.venue(latitude="51.7520123456", longitude="-0.1")
    before = site.book()["venues"]
    site.submit(site.get(f"/venues/{venue}").form(f"/venues/{venue}"))
    assert site.book()["venues"] == before


@pytest.mark.parametrize(("changes", "field"), WRONG_VENUES.values(), ids=WRONG_VENUES)
def test_a_wrong_change_is_refused_as_a_wrong_venue_is(unchanged, changes, field):
    page = unchanged.refused("/venues/1", **VENUE | changes)
    assert set(page.refused) == {field}
    assert "Old mill" in page.text


@pytest.mark.parametrize(("fields", "field"), [
    ({"name": "", "light": "sun"}, "name"), ({"name": "Loft", "light": "moon"}, "light"), ({"name": "Loft"}, "light"),
])  # fmt: skip
def test_a_wrong_place_has_a_word_beside_its_field(unchanged, fields, field):
    page = unchanged.refused("/venues/1/places", **fields)
    assert set(page.refused) == {field}
    assert page.form("/venues/1/places")["name"].value == fields["name"]


def test_a_place_is_renamed_everywhere(site):
    day, (place,) = site.day_at(8)
    site.get(f"/days/{day}")
    form = site.get("/venues/1").form(f"/venues/1/places/{place}")
    site.submit(form, name="Hay loft", light="window")
    for path in ("/venues/1", f"/days/{day}", f"/days/{day}/setup"):
        assert "Hay loft" in site.get(path).text
        assert "Place 1" not in site.get(path).text


def test_a_wrong_name_for_a_place_is_told_at_that_place(site):
    venue = site.venue()
    one, two = site.place(venue, "One"), site.place(venue, "Two")
    page = site.refused(f"/venues/{venue}/places/{two}", name="", light="sun")
    wrong = [form.to for form in page.forms if any(field.invalid for field in form.fields)]
    assert wrong == [f"/venues/{venue}/places/{two}"]
    assert page.form(f"/venues/{venue}/places/{one}")["name"].value == "One"


def test_places_stay_in_the_order_in_which_they_were_added(site):
    venue = site.venue()
    for name in ("Zoo", "Attic", "Mill"):
        site.place(venue, name)
    headings = re.findall(r"<h2>(\w+)</h2>", site.get(f"/venues/{venue}").source)
    assert headings[:3] == ["Zoo", "Attic", "Mill"]


def test_a_venue_has_a_limit_that_it_says(site):
    """And keeps what it has."""
    venue = site.venue()
    with site.client.app.state.book.writing() as session:
        session.add_all(
            tables.Place(venue_id=venue, name=f"Place {n}", light="sun", position=n) for n in range(PLACES_MOST)
        )
    page = site.refused(f"/venues/{venue}/places", name="One more", light="sun")
    assert str(PLACES_MOST) in page.refused["name"]


@pytest.mark.parametrize(
    ("fields", "ev100"),
    [
        ({"kind": "ev", "value": "12,3"}, 12.3),
        ({"kind": "ev", "value": "−2", "iso": ""}, -2),
        ({"kind": "ev", "value": "15", "iso": "400"}, 13),
        ({"kind": "lux", "value": "640"}, 8),
        # 2 log2 8 + log2 128 at ISO 100, as marked
        ({"kind": "camera", "aperture": "f/8", "shutter": "1/128", "iso": "100", "meter": ""}, 13),
        ({"kind": "camera", "aperture": "8", "shutter": "1/128 s", "iso": "400", "meter": "−1"}, 10),
        ({"kind": "camera", "aperture": "8", "shutter": "1/128", "iso": "100", "filter_stops": "2"}, 15),
    ],
    ids=lambda value: value["kind"] if isinstance(value, dict) else str(value),
)
def test_a_reading_is_kept_with_what_was_typed(site, fields, ev100):
    """The light level for working with, the raw figures for whoever doubts it."""
    venue = site.venue()
    place = site.place(venue, "Loft")
    site.keep(f"/venues/{venue}/places/{place}/readings", **fields)
    (reading,) = site.rows(tables.Reading)
    assert reading.ev100 == pytest.approx(ev100)
    assert reading.kind == fields["kind"]
    assert {"value", "aperture"} & set(reading.raw)
    assert abs(reading.taken_at - datetime.now(UTC)) < timedelta(minutes=1)


def test_glass_that_was_on_counts_with_a_camera_reading(site):
    """0.6 D takes 0.6 log2(10) = 1.9932 stops, 1.2 D twice that: 13 + 5.9795."""
    site.kit(plates=(0.6, 1.2))
    venue = site.venue()
    place = site.place(venue, "Loft")
    page = site.get(f"/venues/{venue}")
    camera = next(form for form in page.forms_to(f"/venues/{venue}/places/{place}/readings")
                  if form["kind"].value == "camera")  # fmt: skip
    glass = [field.value for field in camera.fields if field.name == "glass"]
    site.submit(camera, aperture="8", shutter="1/128", iso="100", glass=glass)
    (reading,) = site.rows(tables.Reading)
    assert reading.ev100 == pytest.approx(13 + 1.8 * 3.321928)
    assert reading.raw["glass_stops"] == pytest.approx(1.8 * 3.321928)


WRONG_READINGS = {
    "no EV": ({"kind": "ev", "value": ""}, "value"),
    "an EV in words": ({"kind": "ev", "value": "bright"}, "value"),
    "an EV beyond the sun": ({"kind": "ev", "value": "61"}, "value"),
    "ISO 0": ({"kind": "ev", "value": "12", "iso": "0"}, "iso"),
    "no lux": ({"kind": "lux", "value": "0"}, "value"),
    "less than no lux": ({"kind": "lux", "value": "−640"}, "value"),
    "an f-number of 0": ({"kind": "camera", "aperture": "0", "shutter": "1/50", "iso": "100"}, "aperture"),
    "a shutter of 1/0": ({"kind": "camera", "aperture": "8", "shutter": "1/0", "iso": "100"}, "shutter"),
    "a camera without ISO": ({"kind": "camera", "aperture": "8", "shutter": "1/50", "iso": ""}, "iso"),
    "a meter in words": ({"kind": "camera", "aperture": "8", "shutter": "1/50", "iso": "100", "meter": "up"}, "meter"),
    "glass that gives light": (
        {"kind": "camera", "aperture": "8", "shutter": "1/50", "iso": "100", "filter_stops": "-1"}, "filter_stops",
    ),
}  # fmt: skip


@pytest.mark.parametrize("headers", [{}, FRAGMENT], ids=["plain form", "htmx"])
@pytest.mark.parametrize(("fields", "field"), WRONG_READINGS.values(), ids=WRONG_READINGS)
def test_a_wrong_reading_has_a_word_beside_its_field(unchanged, fields, field, headers):
    """In the form that was sent, and in no other; what was typed is still there."""
    page = unchanged.refused("/venues/1/places/1/readings", headers=headers, **fields)
    assert set(page.refused) == {field}
    assert page.refused[field]
    (wrong,) = [form for form in page.forms if any(each.invalid for each in form.fields)]
    assert wrong["kind"].value == fields["kind"]
    assert {name: wrong[name].value for name in fields} == fields
    assert ('id="place-2"' in page.source) == (not headers)


@pytest.mark.parametrize("headers", [{}, FRAGMENT], ids=["plain form", "htmx"])
def test_light_that_cannot_be_is_told_though_no_field_alone_is_wrong(unchanged, headers):
    """EV -20 is a number, and darker than starlight."""
    page = unchanged.refused("/venues/1/places/1/readings", headers=headers, kind="ev", value="-20")
    assert any("-20" in alert and "-16 to 36" in alert for alert in page.alerts)


@pytest.mark.parametrize("headers", [{}, FRAGMENT], ids=["plain form", "htmx"])
@pytest.mark.parametrize("kind", ["photo", "", None])
def test_a_reading_by_no_known_method_is_told_the_methods(unchanged, kind, headers):
    sent = {} if kind is None else {"kind": kind}
    page = unchanged.refused("/venues/1/places/1/readings", headers=headers, value="1", **sent)
    assert "EV, lux, cd/m² or the camera" in page.text


def test_htmx_gets_the_place_alone_and_a_plain_form_the_page(site):
    """The same form, and the same words of the place, by either way."""
    venue = site.venue()
    place = site.place(venue, "Loft")
    to = f"/venues/{venue}/places/{place}/readings"
    fragment = site.post(to, FRAGMENT, kind="lux", value="640")
    assert fragment.status_code == 200
    drawn = Page(fragment.text)
    assert drawn.roots == [f"place-{place}"]
    assert "EV 8.0" in drawn.text
    plain = site.post(to, kind="lux", value="640")
    assert plain.status_code == 303
    assert plain.headers["location"] == f"/venues/{venue}#place-{place}"
    assert len(site.rows(tables.Reading)) == 2


def test_the_newest_reading_is_the_light_and_all_are_listed(site):
    venue = site.venue()
    place = site.place(venue, "Loft", ev=5)
    site.keep(f"/venues/{venue}/places/{place}/readings", kind="ev", value="7")
    page = site.get(f"/venues/{venue}")
    assert page.text.index("EV 7.0") < page.text.index("EV 5.0")
    assert "All 2 readings" in page.text


def test_the_form_offers_the_method_that_was_used_last(site):
    """Who meters with a phone does so at every place."""
    venue = site.venue()
    one, two = site.place(venue, "One"), site.place(venue, "Two")
    site.keep(f"/venues/{venue}/places/{one}/readings", kind="lux", value="640")
    source = site.get(f"/venues/{venue}").source
    assert f'name="method-{two}" value="lux" checked' in source


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "America/Los_Angeles", "Asia/Kathmandu", "UTC"])
def test_times_are_told_by_the_venue_s_own_clock(site, zone):
    """A reading of last year, at 23:30 UTC on New Year's Eve."""
    venue = site.venue(time_zone=zone)
    place = site.place(venue, "Loft")
    taken = datetime(2024, 12, 31, 23, 30, tzinfo=UTC)
    with site.client.app.state.book.writing() as session:
        session.add(tables.Reading(place_id=place, taken_at=taken, who="w", kind="ev", raw={}, ev100=1.0))
    local = taken.astimezone(ZoneInfo(zone))
    assert f"{local.day} {local:%b} {local.year} {local:%H:%M}" in site.get(f"/venues/{venue}").text


NOT_THERE = ["3", "0", "-1", "abc", "1.5", str(2**31), str(2**40), str(2**64), "9" * 5000, "%00", "1;2", "١"]


@pytest.mark.parametrize("number", NOT_THERE, ids=lambda number: number[:22])
def test_a_venue_or_place_that_is_not_there_is_404(unchanged, number):
    before = unchanged.book()
    unchanged.get(f"/venues/{number}", 404)
    form = VENUE | {"light": "sun", "kind": "ev", "value": "1"}
    for path in (f"/venues/{number}", f"/venues/{number}/places", f"/venues/{number}/places/1",
                 f"/venues/1/places/{number}", f"/venues/1/places/{number}/readings"):  # fmt: skip
        for headers in ({}, FRAGMENT):
            assert unchanged.post(path, headers, **form).status_code == 404, path
    assert unchanged.book() == before


def test_a_place_of_another_venue_is_404(site):
    """A place belongs to its venue, whatever the address says."""
    one, two = site.venue(), site.venue()
    place = site.place(one, "Loft")
    assert site.post(f"/venues/{two}/places/{place}/readings", kind="ev", value="1").status_code == 404
    assert site.post(f"/venues/{two}/places/{place}", name="Stolen", light="sun").status_code == 404


ODD_BODIES = {
    "JSON": (b'{"name": "Mill"}', "application/json", 422),
    "nothing": (b"", "application/x-www-form-urlencoded", 422),
    "no type": (b"name=Mill", "", 422),
    "bytes that are no UTF-8": (b"name=%ff%fe&time_zone=\xff", "application/x-www-form-urlencoded", 422),
    "a NUL": (b"name=%00&time_zone=%00", "application/x-www-form-urlencoded", 422),
    "a lone surrogate": (b"name=%ED%A0%80&time_zone=x", "application/x-www-form-urlencoded", 422),
    "a lone surrogate in a charset of its own": (
        b'--x\r\ncontent-disposition: form-data; name="name"\r\n\r\n+2AA-\r\n--x--\r\n',
        "multipart/form-data; boundary=x; charset=utf-7", 422,
    ),
    "a charset that is none": (
        b'--x\r\ncontent-disposition: form-data; name="name"\r\n\r\nMill\r\n--x--\r\n',
        "multipart/form-data; boundary=x; charset=no-such-thing", 422,
    ),
    "a file for a name": (
        b'--x\r\ncontent-disposition: form-data; name="name"; filename="a"\r\n\r\nMill\r\n--x--\r\n',
        "multipart/form-data; boundary=x", 400,
    ),
    "parts without a boundary": (b"--x\r\n", "multipart/form-data", 400),
    "parts that never end": (b'--x\r\ncontent-disposition: form-data; name="n"\r\n\r\nM',
                              "multipart/form-data; boundary=x", 422),
    "10,000 fields": (b"a=1&" * 10_000, "application/x-www-form-urlencoded", 400),
}  # fmt: skip


@pytest.mark.parametrize(("body", "kind", "status"), ODD_BODIES.values(), ids=ODD_BODIES)
def test_a_body_that_no_page_sends_is_refused_in_words(unchanged, body, kind, status):
    """A page that says so, nothing kept, and never a mistake of ours."""
    before = unchanged.book()
    answer = unchanged.client.post("/venues", content=body, headers={"content-type": kind})
    assert answer.status_code == status
    assert "<h1>" in answer.text
    assert unchanged.book() == before
