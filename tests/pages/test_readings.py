"""Readings by whatever is at hand: every method's form, the sky, the part of the place, and when it was taken."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from server.book import tables
from server.exposure.refused import OutOfRange
from server.pages.readings import METHOD_COOKIE, METHODS, EvForm, taken
from tests.conftest import FRAGMENT, new_id
from tests.page import Page
from tests.pages.pictures import FIGURES, heic, jpeg, packed, png, tiff

LONDON = "Europe/London"
NOW = datetime(2026, 11, 25, 18, 0, tzinfo=UTC)


def a_place(site, light="shade", **venue):
    number = site.venue(**venue)
    return f"/venues/{number}", f"/venues/{number}/places/{site.place(number, 'Yard', light=light)}"


@pytest.mark.parametrize(
    ("fields", "ev"),
    [
        ({"kind": "ev", "value": "12.3"}, 12.3),
        ({"kind": "lux", "value": "640"}, 8.0),  # ISO 2720: log2(640 x 100 / 250)
        ({"kind": "luminance", "value": "64"}, 9.0),  # ISO 2720: log2(64 x 100 / 12.5)
        ({"kind": "camera", "aperture": "8", "shutter": "1/64", "iso": "100", "meter": "-1"}, 11.0),
        ({"kind": "eye", "aperture": "8", "shutter": "1/64", "iso": "200", "filter_stops": "3"}, 14.0),
    ],
)
def test_each_method_keeps_its_light_its_raw_figures_its_sky_and_who_took_it(site, fields, ev):
    _, place = a_place(site)
    site.keep(f"{place}/readings", sky="partly", **fields)
    (row,) = site.rows(tables.Reading)
    assert row.ev100 == pytest.approx(ev, abs=1e-9)
    assert (row.kind, row.sky, row.part, row.who) == (fields["kind"], "partly", "face", "shooter")
    assert {name for name in row.raw if name != "glass_stops"} >= set(fields) - {"kind"}


def test_each_method_has_a_form_on_both_pages(site):
    day, (one,) = site.day_at(8)
    for page in (site.get("/venues/1"), site.get(f"/days/{day}/places/{one}/reading")):
        assert [form["kind"].value for form in page.forms if any(f.name == "kind" for f in form.fields)] == [*METHODS]


def test_the_method_used_last_on_this_phone_is_offered_first(site):
    venue, place = a_place(site)
    site.keep(f"{place}/readings", kind="lux", value="640")
    site.keep(f"{place}/readings", kind="luminance", value="64")
    assert 'value="luminance" checked' in site.get(venue).source
    day = site.day(1, site.kit())
    assert 'value="luminance" checked' in site.get(f"/days/{day}/places/1/reading").source
    assert site.client.cookies[METHOD_COOKIE] == "luminance"
    site.client.cookies.set(METHOD_COOKIE, "<script>")
    assert site.get(venue).source.count("checked") > 0


def test_what_looks_right_needs_no_typing_on_the_day(site):
    """The fields hold what is on the camera: f/2.2, 1/50, ISO 800 are EV 4.88 + 0.09."""
    day, (one,) = site.day_at(5)
    site.tap(day, one)
    form = next(f for f in site.get(f"/days/{day}/places/{one}/reading").forms if f["kind"].value == "eye")
    site.submit(form, event_id=new_id())
    rig = site.rows(tables.Event)[0].data["rig"]
    (event,) = [row for row in site.rows(tables.Event) if row.kind == "reading_taken"]
    assert event.data["raw"]["aperture"] == rig["aperture"]
    assert event.data["ev100"] == pytest.approx(5.0, abs=0.2)


def test_only_the_lit_face_is_the_place_s_light_and_the_rest_its_contrast(site):
    venue, place = a_place(site, light="window")
    site.keep(f"{place}/readings", kind="ev", value="8")
    site.keep(f"{place}/readings", kind="ev", value="11.33", part="bright")
    site.keep(f"{place}/readings", kind="ev", value="5", part="dark")
    text = site.get(venue).text
    assert "Yard EV 8.0" in text
    assert "Window or brightest: 3⅓ stops over the lit face" in text
    assert "Dark corner: 3 stops under the lit face" in text
    kit = site.kit()
    day = site.day(1, kit)
    assert "3⅓ stops over" in site.get(f"/days/{day}/places/1/reading").text
    assert "EV 8.0" in next(site.get(f"/days/{day}").rows())


def test_a_reading_on_the_day_may_be_of_a_part_too(site):
    day, (one,) = site.day_at(8)
    sent = {"kind": "ev", "value": "3", "part": "dark", "event_id": new_id()}
    site.keep(f"/days/{day}/places/{one}/readings", **sent)
    assert "EV 8.0" in next(site.get(f"/days/{day}").rows())
    assert "Dark corner: 5 stops under" in site.get(f"/days/{day}/places/{one}/reading").text


# When it was taken.


def form(when, again=""):
    return EvForm(kind="ev", value="8", taken=when, again=again)


def test_without_a_time_it_is_now():
    assert taken(form(""), LONDON, NOW) is None


def test_a_time_is_on_the_venue_s_clock():
    assert taken(form("2026-06-20T14:30"), LONDON, NOW) == datetime(2026, 6, 20, 13, 30, tzinfo=UTC)
    assert taken(form("2026-06-20 14:30"), "Asia/Kathmandu", NOW) == datetime(2026, 6, 20, 8, 45, tzinfo=UTC)


@pytest.mark.parametrize(
    ("when", "field", "word"),
    [
        ("2026-11-25T18:03", "taken", "in the future"),
        ("9999-12-31T23:59", "taken", "in the future"),
        ("1989-12-31T12:00", "taken", "1990 or later"),
        ("2026-03-29T01:30", "taken", "clocks went forward"),
        ("2026-10-25T01:30", "again", "came twice"),
    ],
)
def test_a_time_that_cannot_be_is_refused_with_the_reason(when, field, word):
    with pytest.raises(OutOfRange) as refused:
        taken(form(when), LONDON, NOW)
    assert refused.value.field == field
    assert word in refused.value.allowed


def test_a_phone_whose_clock_is_a_little_ahead_is_let_in_as_now():
    assert taken(form("2026-11-25T18:01"), LONDON, NOW) == NOW


def test_of_an_hour_that_came_twice_the_one_that_was_chosen_counts():
    first, second = (taken(form("2026-10-25T01:30", which), LONDON, NOW) for which in ("first", "second"))
    assert first == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert second - first == timedelta(hours=1)


def test_the_page_asks_which_of_the_two_hours_and_keeps_what_was_typed(site):
    venue, place = a_place(site)
    sent = {"kind": "lux", "value": "640", "taken": "2026-10-25T01:30", "sky": "overcast"}
    page = site.refused(f"{place}/readings", **sent)
    asked = next(f for f in page.forms if f["kind"].value == "lux")
    assert (asked["value"].value, asked["taken"].value) == ("640", "2026-10-25T01:30")
    assert "came twice" in page.text
    ticked = {each.name: each.value for each in asked.fields if each.kind == "radio" and each.ticked}
    assert ticked["sky"] == "overcast"
    assert [each.value for each in asked.fields if each.name == "again"] == ["first", "second"]
    site.submit(asked, again="second")
    (row,) = site.rows(tables.Reading)
    assert row.taken_at == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    assert "25 Oct 01:30" in site.get(venue).text


@pytest.mark.parametrize("headers", [{}, FRAGMENT], ids=["plain form", "htmx"])
@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"kind": "ev", "value": "8", "taken": "2124-01-01T00:00"}, "in the future"),
        ({"kind": "ev", "value": "8", "taken": "soon"}, "a date and time"),
        ({"kind": "ev", "value": "8", "sky": "hazy"}, "clear, partly cloudy or overcast"),
        ({"kind": "ev", "value": "8", "part": "ceiling"}, "lit face, window or dark corner"),
        ({"kind": "ev", "value": "8", "again": "third"}, "first"),
        ({"kind": "luminance", "value": "6e9"}, "a number"),
        ({"kind": "luminance", "value": "99999999999"}, "cd/m²"),  # six times the sun's own disc
        ({"kind": "lux", "value": "0.00001"}, "lx"),  # a hundred times less than starlight
        ({"kind": "ev", "value": "-17"}, "-16 to 36"),
        ({"kind": "eye", "aperture": "0", "shutter": "1/50", "iso": "100"}, "0"),
    ],
)
def test_bad_input_has_a_clear_word_and_nothing_is_kept(site, fields, word, headers):
    _, place = a_place(site)
    page = site.refused(f"{place}/readings", headers=headers, **fields)
    assert word in page.text


def test_a_reading_taken_earlier_does_not_push_out_a_newer_one(site):
    venue, place = a_place(site)
    site.keep(f"{place}/readings", kind="ev", value="9")
    site.keep(f"{place}/readings", kind="ev", value="5", taken="2020-01-01T12:00")
    text = site.get(venue).text
    assert "Yard EV 9.0" in text
    assert "1 Jan 2020 12:00" in text


def test_a_reading_taken_earlier_goes_into_the_day_s_log_with_its_time(site):
    day, (one,) = site.day_at(8)
    local = datetime.now(UTC).astimezone(ZoneInfo(LONDON)) - timedelta(days=2)
    sent = {"kind": "ev", "value": "3", "taken": f"{local:%Y-%m-%dT%H:%M}", "event_id": new_id()}
    site.keep(f"/days/{day}/places/{one}/readings", **sent)
    (event,) = [row for row in site.rows(tables.Event) if row.kind == "reading_taken"]
    assert datetime.fromisoformat(event.data["taken_at"]) == local.replace(second=0, microsecond=0)
    assert "EV 8.0" in next(site.get(f"/days/{day}").rows()), "the venue's reading is newer"


# A photo.


ORIGINAL, BIAS, FOCAL = 0x9003, 0x9204, 0x920A
AT_OXFORD = {
    1: ("ASCII", "N"), 2: ("RATIONAL", [(51, 1), (45, 1), (7, 1)]),
    3: ("ASCII", "W"), 4: ("RATIONAL", [(1, 1), (15, 1), (28, 1)]),
}  # fmt: skip


def a_photo(when="2026:06:20 14:03:10", gps=None):
    """f/1.8, 1/120 s, ISO 64: EV 9.2467 by APEX (check-values 8); with a bias of +1/3 the light is that much more."""
    figures = FIGURES | {ORIGINAL: ("ASCII", when), BIAS: ("SRATIONAL", [(1, 3)]), FOCAL: ("RATIONAL", [(35, 1)])}
    return jpeg(packed(exif=figures, gps=gps))


def send(site, path, data, **fields):
    fields = {"kind": "photo"} | fields
    return site.client.post(f"{path}/photo", data=fields, files={"file": ("x.jpg", data, "image/jpeg")})


@pytest.mark.parametrize("kind", [jpeg, heic, png, tiff], ids=lambda make: make.__name__)
def test_a_photo_is_a_reading_with_its_own_time_and_nothing_of_it_is_kept_but_figures(site, kind):
    _, place = a_place(site)
    data = kind(packed(exif=FIGURES | {ORIGINAL: ("ASCII", "2026:06:20 14:03:10"), FOCAL: ("RATIONAL", [(35, 1)])}))
    assert send(site, place, data, sky="overcast").status_code == 303
    (row,) = site.rows(tables.Reading)
    assert row.ev100 == pytest.approx(9.2467, abs=1e-4)  # check-values 8, by APEX
    assert (row.kind, row.sky) == ("photo", "overcast")
    assert row.taken_at == datetime(2026, 6, 20, 13, 3, 10, tzinfo=UTC), "the camera's clock is the venue's"
    assert set(row.raw) == {"aperture", "shutter", "iso", "bias", "focal_mm", "meter", "filter_stops", "glass_stops"}


def test_bias_glass_and_what_it_looks_like_count(site):
    _, place = a_place(site)
    send(site, place, a_photo(), filter_stops="3", meter="-1")
    (row,) = site.rows(tables.Reading)
    assert row.ev100 == pytest.approx(9.2467 + 1 / 3 + 3 - 1, abs=1e-4)
    assert "Photo f/1.8 1/120 ISO 64 3 stops of glass 35 mm" in site.get("/venues/1").text


def test_where_a_photo_was_taken_is_offered_to_a_venue_without_coordinates(site):
    venue, place = a_place(site)
    send(site, place, a_photo(gps=AT_OXFORD))
    page = site.get(venue)
    assert "A photo was taken at 51.7519, −1.2578" in page.text
    site.submit(page.form(venue))
    (row,) = site.rows(tables.Venue)
    assert (row.latitude, row.longitude) == (pytest.approx(51.75194), pytest.approx(-1.25778, abs=1e-5))
    assert row.name == "Old mill"
    assert "A photo was taken" not in site.get(venue).text


def test_on_the_day_a_photo_counts_the_glass_only_where_it_was_taken_through_it(site):
    day, (one,) = site.day_at(14.64)
    site.tap(day, one)
    glass = sum(r.density for r in site.rows(tables.Filter)) / 0.30103
    now = datetime.now(UTC).astimezone(ZoneInfo(LONDON))
    for through, stops in ((None, 0.0), ("1", glass)):
        fields = {"event_id": new_id()} | ({"through": through} if through else {})
        answer = send(site, f"/days/{day}/places/{one}", a_photo(when=f"{now:%Y:%m:%d %H:%M:%S}"), **fields)
        assert answer.status_code == 303
        event = site.rows(tables.Event)[-1]
        assert event.data["ev100"] == pytest.approx(9.58 + stops, abs=0.01)


@pytest.mark.parametrize(
    ("data", "fields", "word"),
    [
        (b"", {}, "It needs a photo"),
        (b"GIF89a and more", {}, "JPEG, HEIC, PNG and TIFF can"),
        (jpeg(b""), {}, "no aperture, time or ISO"),
        (a_photo(when="2099:01:01 00:00:00"), {}, "its clock is wrong. Type when it was taken"),
        (a_photo(), {"meter": "lots"}, "a number"),
        (a_photo(), {"filter_stops": "41"}, "40"),
        (a_photo(), {"taken": "2124-01-01T00:00"}, "in the future"),
        (jpeg(packed(exif=FIGURES | {0x9209: ("SHORT", [1])})), {}, "The flash fired"),
    ],
)
def test_a_photo_that_cannot_be_read_is_refused_with_the_reason_and_what_was_typed_is_kept(site, data, fields, word):
    _, place = a_place(site)
    day = site.day(1, site.kit())
    before = site.book()
    for path in (place, f"/days/{day}/places/1"):
        answer = send(site, path, data, event_id=new_id(), sky="overcast", **fields)
        assert answer.status_code == 422
        page = Page(answer.text)
        assert word in page.text
        form = next(f for f in page.forms if f["kind"].value == "photo")
        assert [f.value for f in form.fields if f.name == "sky" and f.ticked] == ["overcast"]
    assert site.book() == before


def test_a_photo_whose_clock_is_wrong_can_be_told_when(site):
    _, place = a_place(site)
    assert send(site, place, a_photo(when="2099:01:01 00:00:00"), taken="2026-06-20T14:00").status_code == 303
    assert site.rows(tables.Reading)[0].taken_at == datetime(2026, 6, 20, 13, tzinfo=UTC)


def test_a_hundred_megabytes_are_refused_in_a_sentence(site):
    _, place = a_place(site)
    answer = site.client.post(
        f"{place}/photo", data={"kind": "photo"}, files={"file": b"\xff" * 100_000_000}, headers={"accept": "text/html"}
    )
    assert answer.status_code == 422
    assert "more than 40 MB came, allowed is at most 40 MB" in Page(answer.text).text
