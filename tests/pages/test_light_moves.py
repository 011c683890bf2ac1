"""The day page in light that moves: forecasts, trust, the sky, nudges that are shared, and the hour of a day ahead."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from demo.fill import one_in_the_afternoon
from server.book import tables
from tests.conftest import FRAGMENT, new_id

if TYPE_CHECKING:
    from tests.conftest import Site

BOTH_WAYS = pytest.mark.parametrize("headers", [{}, FRAGMENT], ids=["plain form", "htmx"])


class Outdoors:
    """A venue where it is one in the afternoon, a day there today, and readings of whatever age."""

    def __init__(self, site: Site) -> None:
        self.site = site
        latitude, longitude, self.zone = one_in_the_afternoon(datetime.now(UTC))
        self.where = {"latitude": latitude, "longitude": longitude}
        self.venue = site.venue(time_zone=self.zone, **{name: str(value) for name, value in self.where.items()})

    def place(self, name, light, ev, hours_ago=0.0, sky="clear", **lit):
        number = self.site.place(self.venue, name, light=light)
        if lit:
            self.site.keep(f"/venues/{self.venue}/places/{number}", name=name, light=light, **lit)
        with self.site.client.app.state.book.writing() as session:
            taken_at = datetime.now(UTC) - timedelta(hours=hours_ago)
            session.add(
                tables.Reading(place_id=number, taken_at=taken_at, who="x", kind="ev", raw={}, ev100=ev, sky=sky)
            )
        return number

    def day(self, on=None):
        local = datetime.now(UTC).astimezone(tz(self.zone))
        return self.site.day(self.venue, self.site.kit(), on=on or f"{local.date()}")

    def api(self, light, ev, hours_ago, **more):
        """What the contract's call forecasts for now."""
        now = datetime.now(UTC)
        asked = self.where | {"light": light, "sky": "clear", "ev100": ev, "at": [now.isoformat()]} | more
        asked["read_at"] = (now - timedelta(hours=hours_ago)).isoformat()
        (found,) = self.site.client.post("/api/daylight", json=asked).json()["forecast"]
        return found


def tz(name):
    from zoneinfo import ZoneInfo  # noqa: PLC0415 - one use

    return ZoneInfo(name)


@pytest.fixture
def outdoors(site):
    return Outdoors(site)


def row(site, day, name):
    return next(each for each in site.get(f"/days/{day}").rows() if each.startswith(name))


def test_a_row_s_light_is_the_forecast_for_now_with_its_drift_and_trust(site, outdoors):
    """The same figure that the JSON call gives, and not the one that was read five hours ago."""
    outdoors.place("Lawn", "sun", 13.0, hours_ago=5, lit_from="above")
    outdoors.place("Porch", "shade", 11.0)
    outdoors.place("Hall", "lamps", 6.0, hours_ago=30)
    day = outdoors.day()
    forecast = outdoors.api("sun", 13.0, 5, lit_from="above")["ev100"]
    drift = forecast - 13.0
    assert drift > 0.5
    lawn = row(site, day, "Lawn")
    shown = float(lawn.split("EV ")[1].split()[0])
    assert shown == pytest.approx(forecast, abs=0.06)
    assert f"forecast: +{drift:.1f} since" in lawn
    assert "fresh: just now" in row(site, day, "Porch")
    assert "forecast: steady since" in row(site, day, "Hall")


def test_the_answer_is_for_the_forecast_and_not_for_the_reading(site, outdoors):
    """The tap's rig exposes for the light that is there now: the plain sum of what is on the camera, by APEX."""
    outdoors.place("Lawn", "sun", 13.0, hours_ago=5, lit_from="above")
    day = outdoors.day()
    site.tap(day, 1)
    rig = site.rows(tables.Event)[0].data["rig"]
    plates = {str(r.id): r.density for r in site.rows(tables.Filter)}
    glass = sum(plates[f] for f in rig["slots"]) if rig["holder_on"] else 0.0
    sent = {"kind": "camera", "aperture": rig["aperture"], "shutter": rig["shutter"], "iso": rig["iso"],
            "filter_stops": glass / 0.30103}  # fmt: skip
    exposed = site.client.post("/api/readings", json=sent).json()["ev100"]
    assert exposed == pytest.approx(outdoors.api("sun", 13.0, 5, lit_from="above")["ev100"], abs=0.3)


@pytest.mark.parametrize(
    ("light", "ev", "hours_ago", "word"),
    [
        ("sun", 14.0, 24 * 182, "stale: read in another season"),
        ("shade", 9.0, 13, "stale: brighter than sun and sky could be then"),
    ],
)
def test_a_stale_reading_says_why(site, outdoors, light, ev, hours_ago, word):
    outdoors.place("Lawn", light, ev, hours_ago=hours_ago)
    assert word in row(site, outdoors.day(), "Lawn").replace("Stale", "stale")


def test_without_coordinates_only_a_fresh_reading_is_trusted(site):
    venue = site.venue()
    place = site.place(venue, "Lawn", light="sun")
    site.keep(f"/venues/{venue}/places/{place}/readings", kind="ev", value="14", taken="2026-06-20T11:00")
    text = row(site, site.day(venue, site.kit()), "Lawn")
    assert "EV 14.0" in text
    assert "Stale: no coordinates, so its drift is not known" in text


@BOTH_WAYS
def test_the_sky_that_is_said_moves_every_place_under_it_and_is_undone(site, outdoors, headers):
    """Clear to overcast in the open: what the JSON call's low has, at least; a hall's lamps stay."""
    outdoors.place("Lawn", "sun", 14.0, lit_from="above")
    outdoors.place("Hall", "lamps", 6.0)
    day = outdoors.day()
    form = site.get(f"/days/{day}").form(f"/days/{day}/sky")
    sent = form.sends(sky="overcast")
    site.post(f"/days/{day}/sky", headers, **sent)
    lawn = row(site, day, "Lawn")
    assert "Stale: the sky has changed" in lawn
    shown = float(lawn.split("EV ")[1].split()[0])
    assert shown == pytest.approx(outdoors.api("sun", 14.0, 0, lit_from="above")["low"], abs=0.06)
    assert "EV 6.0" in row(site, day, "Hall")
    page = site.get(f"/days/{day}")
    assert 'value="overcast" class="quiet" aria-pressed="true"' in page.source
    site.keep(f"/days/{day}/undo", event=sent["event_id"], event_id=new_id())
    assert "EV 14.0" in row(site, day, "Lawn")


@BOTH_WAYS
def test_a_nudge_offers_the_other_places_under_its_sky_and_never_takes_them_along_by_itself(site, outdoors, headers):
    for name, light in (("Lawn", "sun"), ("Porch", "shade"), ("Chapel", "window"), ("Hall", "lamps")):
        outdoors.place(name, light, 9.0 if light != "sun" else 14.0)
    day = outdoors.day()
    site.tap(day, 1)
    before = {name: row(site, day, name) for name in ("Porch", "Chapel", "Hall")}
    for _ in range(2):
        site.post(f"/days/{day}/nudges", headers, event_id=new_id(), place="1", clicks="-1")
    assert {name: row(site, day, name) for name in before} == before
    page = site.get(f"/days/{day}")
    assert "Light fell 2 clicks: the same at the 2 others under this sky" in page.text
    form = page.form(f"/days/{day}/sky-nudges")
    sent = form.sends(clicks=form.buttons[0][1])
    site.post(f"/days/{day}/sky-nudges", headers, **sent)
    for name, ev in (("Porch", "EV 8.3"), ("Chapel", "EV 8.3"), ("Hall", "EV 9.0")):
        assert ev in row(site, day, name)
    assert "under this sky" not in site.get(f"/days/{day}").text.replace("The sky now", "")
    site.keep(f"/days/{day}/undo", event=sent["event_id"], event_id=new_id())
    assert "EV 9.0" in row(site, day, "Porch")


def test_a_nudge_under_lamps_offers_nothing(site):
    day, (one, _) = site.day_at(8, 7)
    site.tap(day, one)
    site.keep(f"/days/{day}/nudges", event_id=new_id(), place=str(one), clicks="-1")
    assert "sky-nudges" not in site.get(f"/days/{day}").source
    assert "The sky now" not in site.get(f"/days/{day}").text, "lamps alone: nobody asks for the sky"


def test_a_day_ahead_is_shown_for_its_own_hour(site, outdoors):
    """Half a day on, the sun is down; at noon it is up: the hour that was chosen counts, and is kept."""
    outdoors.place("Lawn", "sun", 14.0, lit_from="above")
    ahead = datetime.now(UTC).astimezone(tz(outdoors.zone)).date() + timedelta(days=3)
    day = outdoors.day(f"{ahead}")
    page = site.get(f"/days/{day}")
    assert f"The light as it will be on {ahead.day} {ahead:%b} at" in page.text
    assert page.form(f"/days/{day}/hour")["seen_at"].value == "14:00"
    at_two = row(site, day, "Lawn")
    site.keep(f"/days/{day}/hour", seen_at="23:30")
    at_night = row(site, day, "Lawn")
    ev = [float(text.split("EV ")[1].split()[0].replace("−", "-")) for text in (at_two, at_night)]
    assert ev[0] > 13
    assert ev[1] < 0
    assert "Stale: the sun is down, and was up" in at_night
    assert "The sky now" not in site.get(f"/days/{day}").text


def test_on_the_day_itself_nobody_asks_for_an_hour(site, outdoors):
    outdoors.place("Lawn", "sun", 14.0)
    assert "as it will be" not in site.get(f"/days/{outdoors.day()}").text


@pytest.mark.parametrize(
    ("path", "fields", "word"),
    [
        ("hour", {"seen_at": "25:00"}, "an hour, such as 14:30"),
        ("hour", {"seen_at": ""}, "an hour, such as 14:30"),
        ("sky", {"sky": "hazy", "event_id": "12345678"}, "clear"),
        ("sky", {"sky": "clear", "event_id": "1"}, "8 to 36 characters"),
        ("sky-nudges", {"place": "1", "clicks": "0", "event_id": "12345678"}, "a number of clicks"),
        ("sky-nudges", {"place": "1", "clicks": "91", "event_id": "12345678"}, "90"),
        ("sky-nudges", {"place": "1", "clicks": "1e9", "event_id": "12345678"}, "a number of clicks"),
    ],
)
def test_bad_taps_are_told_and_nothing_is_kept(site, path, fields, word):
    day, _ = site.day_at(8)
    page = site.refused(f"/days/{day}/{path}", **fields)
    assert word in page.text


def test_a_sky_nudge_at_a_place_of_another_day_is_not_there(site):
    day, _ = site.day_at(8)
    assert site.post(f"/days/{day}/sky-nudges", place="99", clicks="1", event_id=new_id()).status_code == 404


def test_the_bag_and_the_other_ways_are_worked_out_for_the_same_light(site, outdoors):
    outdoors.place("Lawn", "sun", 13.0, hours_ago=5, lit_from="above")
    outdoors.place("Porch", "shade", 11.0)
    day = outdoors.day()
    assert "In the light of" in site.get(f"/days/{day}/bag").text
    rows = site.get(f"/days/{day}")
    taps = {form["place"].value: [value for _, value in form.buttons] for form in rows.forms_to(f"/days/{day}/moves")}
    ways = site.get(f"/days/{day}/places/1/ways").form(f"/days/{day}/moves")
    clean = taps["1"][0].partition('"rig"')[2]
    assert any(clean == value.partition('"rig"')[2] for _, value in ways.buttons)


# What may hurt, and lamps.


def test_a_place_that_looks_towards_the_sun_carries_the_caution_while_the_sun_is_up(site, outdoors):
    outdoors.place("Jetty", "sun", 14.0, lit_from="back")
    day = outdoors.day()
    assert "It looks towards the sun: keep off an optical finder" in row(site, day, "Jetty")
    site.tap(day, 1)
    assert "never look at it through an optical finder" in site.get(f"/days/{day}").text
    assert "never look at it through an optical finder" in site.get(f"/venues/{outdoors.venue}").text
    ahead = datetime.now(UTC).astimezone(tz(outdoors.zone)).date() + timedelta(days=3)
    night = outdoors.day(f"{ahead}")
    site.keep(f"/days/{night}/hour", seen_at="23:30")
    assert "towards the sun" not in site.get(f"/days/{night}").text


def test_stage_lasers_carry_theirs(site, outdoors):
    outdoors.place("Dance floor", "lamps", 5.0, lasers="1")
    day = outdoors.day()
    assert "Stage lasers: keep lens and eyes out of the beams" in row(site, day, "Dance floor")
    site.tap(day, 1)
    assert "a beam can destroy a sensor, and eyes" in site.get(f"/days/{day}").text


def lamps(site, mains, **setup):
    """A day in a hall with a body whose shutters are 1/50 and 1/100; 1/100 is steady under 50 Hz, neither is under 60."""
    venue = site.venue(mains=mains)
    site.place(venue, "Hall", 12.5)
    day = site.day(venue, site.kit(plates=()))
    form = site.get(f"/days/{day}/setup").form(f"/days/{day}/setup")
    site.submit(form, **setup)
    return day


@pytest.mark.parametrize(("mains", "flickers"), [("60", True), ("50", False), ("", False)])
def test_every_shutter_under_lamps_is_checked(site, mains, flickers):
    day = lamps(site, mains)
    assert ("may flicker under 60 Hz lamps" in row(site, day, "Hall")) is flickers


def test_only_steady_shutters_where_the_day_asks_for_them(site):
    """The body's 1/125 would keep the look; told to be steady, the solver stays at 1/50 and says what that costs."""
    venue = site.venue(mains="50")
    site.place(venue, "Hall", 12.5)
    kit = site.kit(plates=(), slots=0)
    site.keep(f"/kits/{kit}/bodies/1", name="Body", clicks_per_stop="3", iso_base="100", iso_allowed="100-400",
              shutters="1/50 1/800", built_in_nd="0", iso_quiet="")  # fmt: skip
    day = site.day(venue, kit)
    form = site.get(f"/days/{day}/setup").form(f"/days/{day}/setup")
    site.submit(form)
    free = row(site, day, "Hall")
    assert "1/800" in free
    assert "may flicker under 50 Hz lamps" in free
    site.submit(form, steady="1")
    steady = row(site, day, "Hall")
    assert "1/800" not in steady
    assert "flicker" not in steady


def test_a_body_without_a_steady_shutter_is_used_as_it_is_and_warned_of(site):
    day = lamps(site, "60", steady="1")
    assert "may flicker under 60 Hz lamps" in row(site, day, "Hall")


# What a second look found.


def test_a_nudge_is_shared_once_however_often_it_is_tapped(site, outdoors):
    for name in ("Lawn", "Porch"):
        outdoors.place(name, "shade", 10.0)
    day = outdoors.day()
    site.tap(day, 1)
    site.keep(f"/days/{day}/nudges", event_id=new_id(), place="1", clicks="-1")
    sent = {"place": "1", "clicks": "-1"}
    once = new_id()
    site.keep(f"/days/{day}/sky-nudges", event_id=once, **sent)
    assert site.post(f"/days/{day}/sky-nudges", FRAGMENT, event_id=once, **sent).status_code == 200, "sent again: kept"
    again = site.post(f"/days/{day}/sky-nudges", FRAGMENT, event_id=new_id(), **sent)
    assert again.status_code == 422
    assert "Not shared: it was shared already" in again.text
    assert "EV 9.7" in row(site, day, "Porch")


def test_nobody_s_sky_is_assumed(site, outdoors):
    """A reading without a sky says nothing of the sky; and the form has none ticked until one was noted."""
    outdoors.place("Lawn", "sun", 11.0, sky="overcast", hours_ago=5)
    outdoors.place("Porch", "shade", 11.0, sky=None, hours_ago=5)
    day = outdoors.day()
    form = next(f for f in site.get(f"/days/{day}/places/2/reading").forms if f["kind"].value == "ev")
    assert not [field for field in form.fields if field.name == "sky" and field.ticked]
    before = row(site, day, "Lawn")
    site.submit(form, value="11", event_id=new_id())
    assert row(site, day, "Lawn") == before


def test_a_sky_said_before_the_day_has_come_is_not_the_day_s(site, outdoors):
    outdoors.place("Lawn", "sun", 11.0, sky="overcast")
    ahead = datetime.now(UTC).astimezone(tz(outdoors.zone)).date() + timedelta(days=3)
    day = outdoors.day(f"{ahead}")
    before = row(site, day, "Lawn")
    site.keep(f"/days/{day}/sky", sky="clear", event_id=new_id())
    assert row(site, day, "Lawn") == before


def test_a_sky_without_coordinates_moves_nothing_and_says_so(site):
    venue = site.venue()
    site.place(venue, "Lawn", 12.0, light="sun")
    day = site.day(venue, site.kit())
    site.tap(day, 1)
    for _ in range(3):
        site.keep(f"/days/{day}/nudges", event_id=new_id(), place="1", clicks="-1")
    answer = site.post(f"/days/{day}/sky", FRAGMENT, sky="overcast", event_id=new_id())
    assert "without coordinates nothing is forecast" in answer.text
    assert "EV 11.0" in answer.text


def test_the_shutter_on_the_camera_is_checked_where_the_shooter_stands(site):
    day = lamps(site, "60")
    site.tap(day, 1)
    assert "1/100 may flicker under 60 Hz lamps" in site.get(f"/days/{day}").text


@pytest.mark.parametrize("on", ["0026-06-20", "1950-12-31", "2150-01-01", "9999-12-31"])
def test_a_date_whose_sun_nobody_knows_is_no_day(site, on):
    venue, kit = site.venue(), site.kit()
    page = site.refused("/days", name="Wedding", on=on, venue=str(venue), kit=str(kit))
    assert "1951 to 2149" in page.text


def test_a_date_that_did_not_happen_is_told_beside_its_field(site):
    """Samoa went over 30 December 2011."""
    venue = site.venue(time_zone="Pacific/Apia", latitude="-13.8", longitude="-171.8")
    site.place(venue, "Beach", 12.0, light="sun")
    page = site.get(f"/venues/{venue}/light?on=2011-12-30", status=422)
    assert "a date that happened there" in page.refused["on"]


@pytest.mark.parametrize(
    ("zone", "taken"), [("Asia/Tokyo", "0001-01-01T00:00"), ("America/New_York", "9999-12-31T23:59")]
)
def test_times_at_the_calendar_s_ends_are_refused(site, zone, taken):
    venue = site.venue(time_zone=zone)
    place = site.place(venue, "Lawn")
    page = site.refused(f"/venues/{venue}/places/{place}/readings", kind="ev", value="8", taken=taken)
    assert "taken" in page.refused


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"kind": "ev", "value": "35"}, "brighter than the sun itself"),
        ({"kind": "ev", "value": "-13"}, "darker than starlight"),
        ({"kind": "lux", "value": "1,200"}, "1200 for thousands, or 1.200 with a point"),
        ({"kind": "eye", "aperture": "4", "shutter": "50", "iso": "100"}, "1/50 for a fraction, or 50 s for seconds"),
    ],
)
def test_figures_that_nobody_meant_are_asked_about(site, fields, word):
    place = site.place(site.venue(), "Lawn")
    assert word in site.refused(f"/venues/1/places/{place}/readings", **fields).text


@pytest.mark.parametrize(
    ("typed", "stops"), [("+2/3", 2 / 3), ("−⅓", -1 / 3), ("1⅓", 4 / 3), ("-1 1/2", -1.5), ("0,7", 0.7)]
)
def test_a_meter_s_thirds_are_understood(site, typed, stops):
    place = site.place(site.venue(), "Lawn")
    site.keep(f"/venues/1/places/{place}/readings", kind="camera", aperture="8", shutter="1/64", iso="100", meter=typed)
    assert site.rows(tables.Reading)[0].ev100 == pytest.approx(12 + stops)


def test_a_wrong_reading_can_be_removed(site):
    venue = site.venue()
    place = site.place(venue, "Lawn", 12.0)
    site.keep(f"/venues/{venue}/places/{place}/readings", kind="ev", value="3")
    page = site.get(f"/venues/{venue}")
    site.submit(page.form(f"/venues/{venue}/places/{place}/readings/2/removal"))
    assert "Lawn EV 12.0" in site.get(f"/venues/{venue}").text
    assert site.post(f"/venues/{venue}/places/{place}/readings/2/removal").status_code == 404


def test_a_pair_of_coordinates_is_pasted_as_one(site):
    venue = site.venue(latitude="51.7519, -1.2578")
    row = site.rows(tables.Venue)[venue - 1]
    assert (row.latitude, row.longitude) == (51.7519, -1.2578)
