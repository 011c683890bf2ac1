"""Taking a day, a venue or a kit out of the crew: what goes with it is said first, and nothing else goes."""

from __future__ import annotations

import pytest

from server.book import tables
from tests.conftest import another_crew, new_id, somebody

LOG = {"events", "stops", "day_places", "days"}


@pytest.fixture
def crew(site):
    """A day at two places with a tap and a stop, another day there, and a venue, a day and a kit beside them."""
    site.day_at(8, 9)
    site.day(1, 1, "The christening")
    site.tap(1, 1)
    other = site.venue("Boathouse")
    site.place(other, "Jetty", 12)
    site.day(other, 1, "The regatta")
    site.kit("Spare kit")
    return site


def changed(site, before):
    return {name for name, rows in site.book().items() if rows != before[name]}


def test_a_day_goes_with_its_log_and_the_venue_and_the_kit_stay(crew):
    page = crew.get("/days/1/removal")
    assert "Remove “The wedding”?" in page.text
    assert "1 tap or note on a day" in page.text
    before = crew.book()
    answer = crew.submit(page.form("/days/1/removal"))
    assert answer.headers["location"] == "/"
    assert changed(crew, before) == LOG - {"stops"}
    assert crew.client.get("/days/1").status_code == 404
    assert "The wedding" not in crew.get("/").text
    assert "The christening" in crew.get("/").text
    assert [row.day_id for row in crew.rows(tables.Event)] == []


def test_the_question_alone_changes_nothing(crew):
    before = crew.book()
    for path in ("/days/1/removal", "/venues/1/removal", "/kits/1/removal", "/kits/2/removal"):
        crew.get(path)
    assert crew.book() == before


def test_a_venue_s_page_names_the_days_that_go_with_it(crew):
    page = crew.get("/venues/1/removal")
    assert "The 2 days there go too" in page.text
    assert {"/days/1", "/days/2"} <= set(page.links)
    assert "/days/3" not in page.links
    assert "2 readings" in page.text
    crew.submit(page.form("/venues/1/removal"))
    assert [row.name for row in crew.rows(tables.Venue)] == ["Boathouse"]
    assert [row.name for row in crew.rows(tables.Day)] == ["The regatta"]
    assert [row.name for row in crew.rows(tables.Place)] == ["Jetty"]
    assert len(crew.rows(tables.Reading)) == 1
    assert len(crew.rows(tables.Kit)) == 2
    assert "Jetty" in crew.get("/days/3").text


def test_a_kit_that_no_day_needs_goes_alone(crew):
    page = crew.get("/kits/2/removal")
    assert "2 filters" in page.text
    before = crew.book()
    crew.submit(page.form("/kits/2/removal"))
    assert changed(crew, before) == {"kits", "bodies", "lenses", "holders", "filters"}
    assert [row.name for row in crew.rows(tables.Kit)] == ["Main kit"]


def test_a_kit_that_days_need_stays_and_they_are_named(crew):
    before = crew.book()
    page = crew.get("/kits/1/removal")
    answer = crew.post("/kits/1/removal")
    assert answer.status_code == 409
    for said in (page.source, answer.text):
        assert "is in use" in said
        assert all(f'href="/days/{day}"' in said for day in (1, 2, 3))
    assert not page.forms_to("/kits/1/removal"), "a button that is refused is none"
    assert crew.book() == before


def test_a_kit_that_a_second_camera_needs_stays(crew):
    """It is in the kit of nobody's day, and on a day all the same."""
    with crew.client.app.state.book.writing() as session:
        session.add(tables.Camera(day_id=3, name="Cem", kit_id=2, matches="own", start={}))
    answer = crew.post("/kits/2/removal")
    assert answer.status_code == 409
    assert "The regatta" in answer.text
    assert len(crew.rows(tables.Kit)) == 2


@pytest.mark.parametrize(
    ("path", "least"), [("/days/1", "lead"), ("/venues/1", "lead"), ("/kits/2", "second")], ids=["day", "venue", "kit"]
)
@pytest.mark.parametrize("role", ["guest", "second", "lead"])
def test_who_may_remove_what(crew, path, least, role):
    """A day and a venue take along what others logged: a lead's. A kit goes alone: whoever works with it."""
    asks = somebody(crew, role)
    allowed = role in ("lead", least)
    before = crew.book()
    assert asks.client.get(f"{path}/removal").status_code == (200 if allowed else 403)
    shown = "/days/1/setup" if path == "/days/1" else path
    if (role, path) != ("guest", "/days/1"):  # a guest sets up no day
        assert (f"{path}/removal" in asks.get(shown).links) == allowed
    assert asks.post(f"{path}/removal").status_code == (303 if allowed else 403)
    assert (crew.book() == before) != allowed


@pytest.mark.parametrize("path", ["/days/1", "/venues/1", "/kits/2", "/days/99", "/venues/99", "/kits/99"])
def test_nothing_of_another_crew_is_removed_or_named(crew, path):
    other = somebody(crew, "lead", "Tom", another_crew(crew))
    before = crew.book()
    answers = other.client.get(f"{path}/removal"), other.post(f"{path}/removal")
    assert [answer.status_code for answer in answers] == [404, 404]
    assert not any(word in answer.text for answer in answers for word in ("wedding", "Old mill", "Spare"))
    assert crew.book() == before


def test_removing_twice_is_not_there(crew):
    assert crew.post("/days/1/removal").status_code == 303
    assert crew.post("/days/1/removal").status_code == 404


def test_a_tap_on_a_removed_day_is_not_kept_on_the_next_one(crew):
    """A page that was open offline: its day's number is nobody else's."""
    tap = crew.tap_of(3, 3)
    crew.post("/days/3/removal")
    assert crew.day(2, 1, "The next regatta") == 4
    answer = crew.client.post("/days/3/moves", data=tap | {"event_id": new_id()})
    assert answer.status_code == 404
    assert crew.rows(tables.Event)[-1].day_id == 1


def test_a_name_with_script_in_it_is_text(crew):
    venue = crew.venue("<script>alert(1)</script>")
    page = crew.get(f"/venues/{venue}/removal")
    assert "<script>alert" not in page.source
    assert "<script>alert(1)</script>" in page.text
