"""The light pages: every place of a venue or a day through its hours, and the sun, the sky and the lamps at one."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest

from server.book import tables

OXFORD = {"latitude": "51.7519", "longitude": "-1.2578", "time_zone": "Europe/London"}
TROMSO = {"latitude": "69.6492", "longitude": "18.9553", "time_zone": "Europe/Oslo"}


def read(site, place, at, ev, **fields):
    with site.client.app.state.book.writing() as session:
        figures = {"who": "x", "kind": "ev", "raw": {}, "sky": "clear"} | fields
        session.add(tables.Reading(place_id=place, taken_at=at, ev100=ev, **figures))


def lawn(site, light="sun", ev=14.0, at=datetime(2026, 6, 20, 11, 7, tzinfo=UTC), **venue):
    number = site.venue(**(OXFORD | venue))
    place = site.place(number, "Lawn", light=light)
    read(site, place, at, ev)
    return number, place


def table_of(page, name="Lawn"):
    """The rows of a place's table, by their time."""
    (source,) = re.findall(rf"<table[^>]*>(?:(?!</table>).)*{name}.*?</table>", page.source, re.DOTALL)
    # The page leaves out the end tags that HTML lets it leave out.
    rows = [re.split(r"<t[hd][^>]*>", row)[1:] for row in source.split("<tr>")[2:]]
    cells = [[" ".join(re.sub(r"<[^>]+>", " ", cell).split()) for cell in row] for row in rows]
    return {row[0]: row[1:] for row in cells}


def number_of(text):
    return float(text.removesuffix("°").replace("−", "-"))


def test_the_table_has_the_figures_of_the_json_call(site):
    """One model behind both: each hour's level, low and high, and the sun's height."""
    venue, place = lawn(site)
    rows = table_of(site.get(f"/venues/{venue}/places/{place}/light?on=2026-06-20"))
    hours = [6, 9, 15, 18]
    asked = {"latitude": 51.7519, "longitude": -1.2578, "light": "sun", "sky": "clear", "ev100": 14.0,
             "read_at": "2026-06-20T11:07:00+00:00", "at": [f"2026-06-20T{h:02}:00:00+01:00" for h in hours]}  # fmt: skip
    for hour, found in zip(hours, site.client.post("/api/daylight", json=asked).json()["forecast"], strict=True):
        sun, ev, low, high, *_ = rows[f"{hour:02}:00"]
        assert number_of(sun) == pytest.approx(found["sun_elevation"], abs=0.51)
        for shown, exact in ((ev, found["ev100"]), (low, found["low"]), (high, found["high"])):
            assert number_of(shown) == pytest.approx(exact, abs=0.051)


def test_sunrise_and_sunset_of_a_midsummer_day_at_oxford(site):
    """About 04:46 and 21:27 BST on 20 June, by published sunrise tables for Oxford; from memory, to five minutes."""
    venue, place = lawn(site)
    text = site.get(f"/venues/{venue}/places/{place}/light?on=2026-06-20").text
    for word, hour, minute in (("Sunrise", 4, 46), ("sunset", 21, 27)):
        found = re.search(rf"{word} (\d\d):(\d\d)", text)
        assert abs(int(found[1]) * 60 + int(found[2]) - hour * 60 - minute) <= 5


def test_a_venue_inside_the_polar_circle_has_no_sunrise_and_says_so(site):
    venue, place = lawn(site, ev=3.0, at=datetime(2026, 12, 21, 11, tzinfo=UTC), **TROMSO)
    page = site.get(f"/venues/{venue}/places/{place}/light?on=2026-12-21&at=12:00")
    assert "Direct light neither comes nor leaves on this day" in page.text
    assert "The sun is down, 3° under the horizon" in page.text
    summer = site.get(f"/venues/{venue}/places/{place}/light?on=2026-06-21&at=00:00")
    assert "The sun stands 3° high, in the north" in summer.text


@pytest.mark.parametrize(("on", "hours"), [("2026-03-29", 23), ("2026-10-25", 25), ("2026-06-20", 24)])
def test_a_day_on_which_the_clocks_change_has_all_its_hours(site, on, hours):
    venue, place = lawn(site)
    rows = table_of(site.get(f"/venues/{venue}/places/{place}/light?on={on}"))
    assert sum(bool(re.match(r"\d\d:00( |$)", time)) and "read" not in time for time in rows) == hours


def test_the_sun_and_the_sky_at_an_hour(site):
    """SPA: at Greenwich on 20 June 2026 at noon UT the sun stands at 61.96 and 179.22 degrees (check-values 4.7)."""
    venue, place = lawn(site, latitude="51.4769", longitude="0", time_zone="UTC")
    text = site.get(f"/venues/{venue}/places/{place}/light?on=2026-06-20&at=12:00").text
    assert "The sun stands 62° high, in the south (bearing 179°)" in text
    assert "Along the horizon that is at 089° (east) and 269° (west). Higher up it is 28° in the north." in text
    assert "Over a level horizon" in text
    assert "On a wide lens the sky turns uneven" in text
    assert "Never look at the sun through an optical finder" in text


def test_a_raised_horizon_takes_the_direct_light_earlier(site):
    venue, place = lawn(site)
    address = f"/venues/{venue}/places/{place}/light?on=2026-06-20"

    def leaves():
        found = re.search(r"Direct light leaves at (\d\d):(\d\d)", site.get(address).text)
        return int(found[1]) * 60 + int(found[2])

    level = leaves()
    site.keep(f"/venues/{venue}/places/{place}", name="Lawn", light="sun", sun_behind="20")
    # At 52 degrees north the June sun sinks by about 9 degrees an hour from 20 to 0: two hours and a half.
    assert 120 < level - leaves() < 170
    assert "20° where it goes" in site.get(address).text
    rows = table_of(site.get(address))
    before, after = number_of(rows["18:00"][1]), number_of(rows["20:00"][1])
    assert before - after > 2, "without the sun's beam only the sky is left"


def test_which_glass_keeps_the_look(site):
    """On a day, its kit and looks; at a venue, a kit that is chosen."""
    venue, place = lawn(site)
    kit = site.kit()
    address = f"/venues/{venue}/places/{place}/light?on=2026-06-20"
    assert "Choose a kit" in site.get(address).text
    with_kit = table_of(site.get(f"{address}&kit={kit}"))
    assert "1.2" in with_kit["12:00"][-1]
    assert "too dark" in with_kit["00:00"][-1]
    day = site.day(venue, kit, on="2026-06-20")
    assert table_of(site.get(f"/days/{day}/places/{place}/light"))["12:00"][-1] == with_kit["12:00"][-1]
    assert table_of(site.get(f"/days/{day}/light"))["12:00"][-1] == with_kit["12:00"][-1]


def test_readings_of_the_day_are_marked(site):
    venue, place = lawn(site)
    assert site.get(f"/venues/{venue}/places/{place}/light?on=2026-06-20").source.count("<circle") >= 1
    rows = table_of(site.get(f"/venues/{venue}/places/{place}/light?on=2026-06-20"))
    assert any(time.startswith("12:07") and "14.0" in time for time in rows)
    assert not any("14.0" in t for t in table_of(site.get(f"/venues/{venue}/places/{place}/light?on=2026-06-21")))


def test_places_without_a_reading_or_without_coordinates_are_named(site):
    venue = site.venue()
    site.place(venue, "Lawn", light="sun")
    hall, porch = site.place(venue, "Hall", 6.0), site.place(venue, "Porch", 9.0, light="shade")
    page = site.get(f"/venues/{venue}/light")
    assert "No reading yet: Lawn" in page.text
    assert "Not drawn: Porch" in page.text
    assert "lamps, EV 6.0 all day" in page.text
    assert "needs the venue’s coordinates" in site.get(f"/venues/{venue}/places/{porch}/light").text
    assert site.get(f"/venues/{venue}/places/{hall}/light")


@pytest.mark.parametrize(
    ("query", "word"),
    [
        ("on=2026-02-30", "a date, such as"),
        ("on=9999-12-31", "1951 to 2149"),
        ("on=1800-01-01", "1951 to 2149"),
        ("at=25:00", "an hour, such as"),
        ("kit=x", "a whole number"),
    ],
)
def test_a_date_or_an_hour_that_cannot_be_is_told_beside_its_field(site, query, word):
    venue, place = lawn(site)
    page = site.get(f"/venues/{venue}/places/{place}/light?{query}", status=422)
    assert word in page.text


def test_a_kit_that_is_not_there_or_is_not_whole_draws_no_glass(site):
    venue, place = lawn(site)
    site.keep("/kits", name="Empty")
    assert "glass" not in table_of(site.get(f"/venues/{venue}/places/{place}/light?kit=1"))
    assert site.get(f"/venues/{venue}/places/{place}/light?kit=99")
    assert site.get(f"/venues/{venue}/places/99/light", status=404)
    assert site.get("/venues/99/light", status=404)


def test_a_nudge_of_today_is_in_today_s_picture(site):
    """The day page and the picture must not part."""
    venue, place = lawn(site, light="shade", ev=9.0, at=datetime.now(UTC))
    day = site.day(venue, site.kit())
    site.tap(day, place)
    before = site.get(f"/days/{day}/places/{place}/light").text
    site.keep(f"/days/{day}/nudges", event_id="nudge-0001", place=str(place), clicks="-1")
    after = site.get(f"/days/{day}/places/{place}/light").text
    level = [float(re.search(r"EV (−?[\d.]+)", text)[1].replace("−", "-")) for text in (before, after)]
    assert level[0] - level[1] == pytest.approx(1 / 3, abs=0.11)


def test_the_lamps_of_a_place(site):
    """25 frames a second under 50 Hz: 1/25, 3/100, 1/50 and 1/100 hold whole pulses (check-values 6)."""
    venue = site.venue(mains="50")
    place = site.place(venue, "Hall", 6.0)
    kit = site.kit()
    site.keep(f"/kits/{kit}/bodies/1", name="Body", clicks_per_stop="3", iso_base="100 800", iso_allowed="100-6400",
              shutters="1/50 1/60", built_in_nd="0", iso_quiet="160", frame_rate="25")  # fmt: skip
    text = site.get(f"/venues/{venue}/places/{place}/light?kit={kit}").text
    for words in ("1/25 (360.0°)", "1/50 (180.0°)", "1/100 (90.0°)", "1/50 is steady", "1/60 may flicker"):
        assert words in text
    assert "LED panels and walls may pulse at any rate" in text
    assert "Test it on the spot" in text
    bare = site.venue("Barn")
    assert "50 or 60 Hz" in site.get(f"/venues/{bare}/places/{site.place(bare, 'Loft', 6.0)}/light").text


def test_twelve_places_are_one_page_of_less_than_90_kb(site):
    venue = site.venue(**OXFORD)
    for number in range(12):
        place = site.place(venue, f"Terrace {number}", light="sun")
        read(site, place, datetime(2026, 6, 20, 11, tzinfo=UTC) + timedelta(minutes=number), 12.0 + number / 8)
    answer = site.client.get(f"/venues/{venue}/light?on=2026-06-20&kit={site.kit()}")
    assert answer.status_code == 200
    assert len(answer.content) < 90_000
    assert answer.text.count('role="img"') == 12
