"""The pocket's document and what the page hands the phone: the same answers as the day page's, small, and for whom."""

from __future__ import annotations

import gzip
import json
import re
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import update

from server.book import tables
from server.book.days import open_day
from server.book.people import first_camera
from server.exposure.moves import best_moves
from tests.conftest import new_id, somebody

WIRE_MOST = 40_000  # bytes, for twelve places
MINUTE = 60_000  # ms


def pocket(site, day=1):
    answer = site.client.get(f"/days/{day}/pocket.json")
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"
    return answer.json()


def state(site, day=1):
    """What stands on the page for the phone."""
    source = site.get(f"/days/{day}").source
    return json.loads(re.search(r'data-state="([^"]*)"', source)[1].replace("&#34;", '"'))


def mark(site, day=1):
    return re.search(r'data-mark="([^"]*)"', site.get(f"/days/{day}").source)[1]


def rig(whole, number):
    """The rig of a number, as the script puts it together."""
    glass, iris, iso, shutter = whole["rigs"][4 * number : 4 * number + 4]
    holder_on, slots, threads, front, turned, built_in, _ = whole["glass"][glass]
    return {
        "holder_on": holder_on, "slots": slots, "threads": threads, "front": front, "turned": turned,
        "built_in": built_in, "aperture": whole["irises"][iris][0], "iso": whole["isos"][iso][0],
        "shutter": whole["shutters"][shutter][0],
    }  # fmt: skip


def picked(whole, table, look, level):
    """Clean and fast for a level [tenths of a stop]."""
    found = []
    for runs in whole["tables"][table][whole["looks"][look]["span"]]:
        starts = [(runs[at], runs[at + 1]) for at in range(0, len(runs), 2)]
        found.append(max(start for start in starts if start[0] <= level)[1])
    return [None if number < 0 else rig(whole, number) for number in found]


def as_data(its):
    return {name: list(value) if isinstance(value, tuple) else value for name, value in (
        (name, getattr(its, name)) for name in ("holder_on", "slots", "threads", "front", "turned", "built_in", "aperture", "iso", "shutter")
    )}  # fmt: skip


def opened(site, day=1):
    with site.client.app.state.book.reading() as session:
        return open_day(session, first_camera(1), day)


def test_the_present_rig_s_answers_are_the_solver_s(demo):
    whole = pocket(demo)
    day, now = opened(demo), datetime.now(UTC)
    assert rig(whole, 0) == as_data(day.rig)
    checked = 0
    for lit in day.lit(now):
        place = next(each for each in whole["places"] if each["number"] == lit.place.number)
        for tenths in range(round(10 * lit.level.light.ev100) - 30, round(10 * lit.level.light.ev100) + 31):
            (move,) = best_moves(day.kit, day.rig, [(type(lit.level.light)(tenths / 10), lit.place.look)])
            clean, fast = picked(whole, "0", place["look"], tenths)
            assert clean == as_data(move.clean.rig)
            assert fast == (as_data(move.fast.rig) if move.worth_rushing else None)
            checked += 1
    assert checked == 61 * len(whole["places"])


def test_the_course_of_the_light_is_the_forecast(demo):
    """At each of its times, to a hundredth of a stop; from now on, and past the last stop."""
    whole, day, now = pocket(demo), opened(demo), datetime.now(UTC)
    first, step = whole["times"]
    assert first <= now.timestamp() * 1000 < first + step
    lengths = set()
    for place in whole["places"]:
        level = 0
        for at, change in enumerate(place["course"]):
            level += change
            moment = datetime.fromtimestamp((first + at * step) / 1000, UTC)
            lit = next(each for each in day.lit_then(moment, now) if each.place.number == place["number"])
            assert level / 100 == pytest.approx(lit.level.light.ev100, abs=0.0051)
        lengths.add(len(place["course"]))
    (length,) = lengths
    assert first + length * step > day.order[-1].at.timestamp() * 1000 + 3 * 60 * MINUTE


def test_it_is_small_for_twelve_places_with_a_day_s_drift_and_order(site):
    _, places = site.day_at(*(14.8, 11.3, 6.1, 15.2, 12.2, 8.4, 9.1, 4.4, 13.3, 6.2, 14.3, 3.5))
    lights = ("sun", "shade", "window", "lamps")
    with site.client.app.state.book.writing() as session:
        session.execute(update(tables.Venue).values(latitude=51.5, longitude=-0.6))
        for number, place in enumerate(places):
            its = {
                "light": lights[number % 4],
                "wanted": (2.0, 2.8, 4.0)[number % 3],
                "name": f"Place {number}, by the old wall",
            }
            session.execute(
                update(tables.Place)
                .where(tables.Place.id == place)
                .values(**{k: v for k, v in its.items() if k != "wanted"})
            )
        for number in range(24):
            session.add(tables.Stop(
                day_id=1, uid=f"stop-{number}@test", name=f"What happens, number {number}", minutes=8 * 60 + 30 * number, place_id=places[number % 12],
                notes="Stay on the left of the path",
            ))  # fmt: skip
    answer = site.client.get("/days/1/pocket.json")
    assert len(answer.json()["places"]) == 12
    assert len(answer.json()["order"]) == 24
    assert len(gzip.compress(answer.content, 6)) < WIRE_MOST
    assert len(answer.json()["tables"]) > 20


def test_the_page_says_where_the_shooter_stands(site):
    _, (one, two) = site.day_at(14.2, 6.1)
    before = state(site)
    assert (before["here"], before["last"], before["done"]) == (None, "", [])
    assert before["levels"] == {str(one): 14.2, str(two): 6.1}
    tap = site.tap_of(1, two)
    site.client.post("/days/1/moves", data=tap)
    site.client.post("/days/1/nudges", data={"event_id": (nudge := new_id()), "place": two, "clicks": -1})
    after = state(site)
    assert (after["here"], after["last"]) == (two, nudge)
    assert after["rig"] == json.loads(tap["tap"])["rig"]
    assert after["levels"] == {str(one): 14.2, str(two): 5.767}
    assert after["made"] >= before["made"]


def test_its_mark_changes_with_the_language_and_the_units_it_speaks_in(site):
    site.day_at(14.2, 6.1)
    seen = {mark(site)}
    for manner in ("de", "en.feet", "en.twelve"):
        site.client.cookies.set("manner", manner)
        assert pocket(site)["mark"] == mark(site)
        seen.add(mark(site))
    assert len(seen) == 4


def test_its_mark_changes_with_what_it_is_made_of_and_not_with_a_tap(site):
    _, (one, two) = site.day_at(14.2, 6.1)
    first = mark(site)
    assert pocket(site)["mark"] == first
    site.client.post("/days/1/nudges", data={"event_id": new_id(), "place": one, "clicks": -1})
    site.client.post("/days/1/moves", data=site.tap_of(1, two))
    assert mark(site) == first
    changes = (
        update(tables.Place).where(tables.Place.id == one).values(name="Lych gate"),
        update(tables.Filter).values(density=1.8),
        update(tables.DayPlace).where(tables.DayPlace.place_id == two).values(wanted=4.0, widest=2.8, narrowest=5.6),
    )
    seen = {first}
    for change in changes:
        with site.client.app.state.book.writing() as session:
            session.execute(change)
            session.execute(update(tables.Day).values(stamp=tables.new_stamp()))
            session.execute(update(tables.Kit).values(stamp=tables.new_stamp()))
        assert mark(site) not in seen
        seen.add(mark(site))


def test_a_day_that_has_not_come_is_kept_for_all_of_it(site):
    """A phone that is prepared the evening before answers through the day."""
    site.day_at(14.2, 6.1)
    tomorrow = (datetime.now(UTC) + timedelta(days=1)).date()
    with site.client.app.state.book.writing() as session:
        session.execute(update(tables.Day).values(on=tomorrow, stamp=tables.new_stamp()))
    whole = pocket(site)
    assert whole["moment"] is not None
    first, step = whole["times"]
    last = first + step * (len(whole["places"][0]["course"]) - 1)
    assert first <= whole["opens"] + 8 * 60 * MINUTE
    assert last >= whole["opens"] + 24 * 60 * MINUTE


def test_a_place_without_a_reading_has_no_course(site):
    _, (one, two) = site.day_at(14.2, None)
    places = {each["number"]: each for each in pocket(site)["places"]}
    assert len(places[one]["course"]) > 10
    assert places[two]["course"] == []


def test_a_day_without_a_reading_has_no_tables_to_go_by(site):
    site.day_at(None, None)
    whole = pocket(site)
    assert [look["span"] for look in whole["looks"]] == [None]


def test_a_guest_has_a_pocket_too_and_a_stranger_none(site):
    site.day_at(14.2, 6.1)
    guest = somebody(site, "guest", "Kim")
    assert pocket(guest)["name"]
    assert pocket(guest)["tables"]
