"""What is kept of a crew: said, handed out whole, and deleted whole."""

from __future__ import annotations

import json
from datetime import datetime

import pytest

from server.book import tables
from server.book.crews import FIRST_CREW
from server.pages.crew_data import KINDS
from tests.conftest import HERE, Site, Startable, another_crew, somebody, stranger
from tests.page import Page

LEADS_ONLY = [
    ("GET", "/crew/data"), ("GET", "/crew/data/file"), ("POST", "/crew/data/deletion"), ("POST", "/crew/data/names"),
]  # fmt: skip
TYPED = "Quagga of the orchard"


@pytest.fixture
def two_crews(demo):
    """The demo's crew with a lead and a second shooter, and another crew with a lead and things of its own."""
    lead, second = somebody(demo, "lead", "Ines"), somebody(demo, "second", "Cem")
    other = somebody(demo, "lead", "Tom", another_crew(demo))
    other.venue("Harbour shed")
    other.kit("Harbour kit")
    return lead, second, other


def of_crew(book, number):
    """The rows of a crew's own tables."""
    return {name: [row for row in book[name] if row[1] == number] for name in ("venues", "kits", "days", "people")}


@pytest.mark.parametrize("role", [None, "guest", "second"])
@pytest.mark.parametrize(("method", "path"), LEADS_ONLY)
def test_only_a_lead_gets_at_the_whole(demo, role, method, path):
    asks = stranger(demo) if role is None else somebody(demo, role)
    before = demo.book()
    assert asks.client.request(method, path, data={"crew": FIRST_CREW}).status_code == (401 if role is None else 403)
    assert demo.book()["crews"] == before["crews"]
    if role is not None:
        assert "/crew/data" not in asks.get("/crew").links


def test_a_lead_finds_it_from_the_crew_s_page(site):
    assert "/crew/data" in somebody(site).get("/crew").links


def test_every_table_has_a_word_for_what_is_in_it():
    """One that is added later must be called something on the page."""
    assert set(KINDS) == set(tables.Table.metadata.tables)


def test_the_page_counts_what_there_is(site):
    site.day_at(8, 9)
    lead = somebody(site)
    said = lead.get("/crew/data").text
    for words in ("1 venue", "2 places", "2 readings", "1 kit", "1 day", "1 person", "1 phone or browser that is in"):
        assert words in said, words


def test_the_page_says_how_long_a_session_lasts_and_what_is_not_kept(site):
    said = somebody(site).get("/crew/data").text
    assert "60 days after its last use, and 365 at most" in said
    assert "within an hour" in said
    assert "The picture is not kept" in said
    assert "Backups that were made before keep it" in said


def test_the_two_cookies_that_the_page_names_are_all_that_are_set(site):
    """It says which; a third one would make it untrue."""
    site.day_at(8, 9)
    lead = somebody(site)
    for path in ("/", "/venues/1", "/kits/1", "/days/1", "/crew", "/crew/data"):
        lead.get(path)
    lead.post("/venues/1/places/1/readings", kind="ev", value="9")
    lead.tap(1, 1)
    assert set(lead.client.cookies) == {"lychgate", "lychgate_method"}


def test_everything_is_handed_out_as_one_file(two_crews):
    lead, *_ = two_crews
    answer = lead.client.get("/crew/data/file")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/json"
    assert answer.headers["content-disposition"].startswith('attachment; filename="my-crew-')
    assert answer.headers["cache-control"] == "no-store"
    document = json.loads(answer.content)
    assert len(document["venues"]) == len(lead.rows(tables.Venue)) - 1, "one is the other crew's"
    assert len(document["events"]) == len(lead.rows(tables.Event))
    assert len(document["readings"]) == len(lead.rows(tables.Reading))
    names = {row["name"] for row in document["people"]}
    assert {"Ines", "Cem"} <= names
    assert "Tom" not in names
    assert all(datetime.fromisoformat(row["taken_at"]).tzinfo for row in document["readings"])
    assert "Harbour" not in answer.text
    assert not [row.hash for row in lead.rows(tables.BrowserSession) if row.hash in answer.text]


def test_what_was_typed_comes_out_as_it_was_typed(site):
    typed = '<script>alert(1)</script> "Zoë" \\ 東京'
    site.venue(typed)
    answer = somebody(site).client.get("/crew/data/file")
    assert json.loads(answer.content)["venues"][0]["name"] == typed


def test_a_file_larger_than_what_is_held_in_memory_comes_whole(site, monkeypatch):
    monkeypatch.setattr("server.pages.crew_data.IN_MEMORY", 1000)
    monkeypatch.setattr("server.pages.crew_data.PIECE", 700)
    site.day_at(8, 9)
    document = json.loads(site.client.get("/crew/data/file").content)
    assert len(document["filters"]) == len(site.rows(tables.Filter))


@pytest.mark.parametrize("typed", ["", " ", "my crews", "The others", "yes", "<b>My crew</b>"])
def test_a_wrong_name_deletes_nothing_and_stays_in_its_field(site, typed):
    lead = somebody(site)
    page = lead.refused("/crew/data/deletion", crew=typed)
    assert "crew’s name" in page.refused["crew"]
    assert page.form("/crew/data/deletion")["crew"].value == typed
    assert any("Nothing was deleted" in each for each in page.alerts)
    assert lead.client.get("/").status_code == 200


def test_a_form_without_the_field_deletes_nothing(site):
    assert "crew" in somebody(site).refused("/crew/data/deletion").refused


@pytest.mark.parametrize("typed", ["My crew", "  my CREW "])
def test_the_crew_goes_whole_and_every_other_stays_as_it_was(two_crews, typed):
    lead, _, other = two_crews
    before = other.book()
    page = lead.get("/crew/data")
    answer = lead.submit(page.form("/crew/data/deletion"), status=200, crew=typed)
    assert "“My crew” is gone" in answer.text
    after = other.book()
    assert of_crew(after, 1) == {"venues": [], "kits": [], "days": [], "people": []}
    assert of_crew(after, 2) == of_crew(before, 2)
    assert of_crew(after, 2)["venues"]
    assert [row for row in after["sessions"] if row in before["sessions"]] == after["sessions"]
    assert len(after["sessions"]) == len(after["people"]) == len(after["crews"]) == 1
    for name in ("places", "readings", "day_places", "stops", "events", "links", "invites", "pairing_codes", "cameras"):
        assert after[name] == [row for row in before[name] if name == "invites" and row[1] == 2], name
    assert other.client.get("/venues/1").status_code == 404
    assert "Harbour shed" in other.get("/").text


def test_everybody_who_was_in_is_a_stranger_at_once(two_crews):
    """The browser that did it lets go of its cookie and of what it holds; the others' lead nowhere."""
    lead, second, other = two_crews
    answer = lead.post("/crew/data/deletion", crew="My crew")
    assert 'lychgate=""' in answer.headers["set-cookie"]
    assert "storage" in answer.headers["clear-site-data"]
    assert answer.headers["cache-control"] == "no-store"
    assert "/crew" not in Page(answer.text).links
    assert [each.client.get("/").status_code for each in (lead, second)] == [401, 401]
    assert other.client.get("/").status_code == 200


def test_the_demo_begins_again_with_an_empty_crew(demo):
    """Nobody at the machine should need an invite to go on, nor a new start of the server."""
    page = demo.get("/crew/data")
    assert "begins again with an empty crew" in page.text
    answer = demo.submit(page.form("/crew/data/deletion"), status=200, crew=FIRST_CREW)
    assert "/" in Page(answer.text).links
    home = demo.get("/").text
    assert "What do you film?" in home
    assert demo.rows(tables.Crew)[0].name == FIRST_CREW
    assert len(demo.rows(tables.Crew)) == 1
    assert demo.get(f"/venues/{demo.venue()}"), "and it works"


def test_on_another_server_nothing_is_begun_again(tmp_path, books):
    """There, whoever runs it makes the next invite."""
    for client in Startable(books, tmp_path / "closed", open_here=False).on("empty"):
        lead = somebody(Site(client))
        answer = lead.post("/crew/data/deletion", crew="My crew")
        assert answer.status_code == 200
        assert "/" not in Page(answer.text).links[1:], "nothing but the name at the head leads there"
        assert lead.rows(tables.Crew) == []
        assert client.get("/").status_code == 401


def words_in(site, word):
    """The database's files in which a word stands, in any encoding that it may be kept in; those of ours."""
    if not site.client.app.state.book.is_a_file:
        return []
    folder = site.client.app.state.settings.data
    return [path.name for path in folder.iterdir() if word.encode() in path.read_bytes()]


@pytest.mark.in_a_file
def test_what_was_typed_is_gone_from_the_database_s_files_too(site):
    """The page says so. Kept again and again, so that it stands in free pages as well; another crew's words stay."""
    lead, other = somebody(site), somebody(site, "lead", "Tom", another_crew(site))
    other.venue("Okapi of the harbour")
    number = lead.venue(TYPED)
    for _ in range(60):
        lead.place(number, TYPED, 9)
    for _ in range(3):
        lead.keep(f"/venues/{number}", name=TYPED, time_zone="Europe/London")
    assert words_in(site, TYPED)
    answer = lead.post("/crew/data/deletion", crew="My crew")
    assert "does not stand in them any more" in answer.text
    assert words_in(site, TYPED) == []
    assert words_in(site, "Okapi of the harbour")
    assert "Okapi of the harbour" in other.get("/").text


@pytest.mark.in_a_file
def test_a_file_that_could_not_be_written_anew_is_said(site, monkeypatch):
    """The crew is gone all the same."""
    lead = somebody(site)
    monkeypatch.setattr(site.client.app.state.book, "wipe", lambda: False)
    said = lead.post("/crew/data/deletion", crew="My crew").text
    assert "may still stand in the database files" in said
    assert lead.client.get("/").status_code == 401


def test_people_who_left_are_named_until_somebody_says_not_to(site):
    """Their name stays in what they logged; a lead replaces it, everywhere."""
    site.day_at(8, 9)
    lead, second = somebody(site, "lead", "Ines"), somebody(site, "second", "Quagga Q.")
    second.tap(1, 1)
    second.keep("/venues/1/places/1/readings", kind="ev", value="9")
    assert "Quagga" not in lead.get("/crew/data").text, "who is in is not offered"
    person = next(row.id for row in site.rows(tables.Person) if row.name == "Quagga Q.")
    lead.keep(f"/crew/people/{person}/end")
    assert "Quagga Q." in lead.get("/venues/1").text
    page = lead.get("/crew/data")
    assert "Quagga Q." in page.text
    forms = {form["name"].value: form for form in page.forms_to("/crew/data/names")}
    assert set(forms) == {"Quagga Q.", "a test"}, "and who made the invites that are there still"
    assert lead.submit(forms["Quagga Q."]).headers["location"] == "/crew/data#names"
    assert [name for name, rows in site.book().items() if "Quagga" in repr(rows)] == []
    assert "somebody" in lead.get("/venues/1").text
    assert "Quagga" not in lead.client.get("/days/1/report.csv").text
    assert words_in(site, "Quagga") == []
    assert "Quagga" not in lead.get("/crew/data").source


@pytest.mark.parametrize("name", ["Ines", "Nobody", "", "shooter", "somebody", "the server"])
def test_a_name_that_nobody_left_behind_is_not_there(site, name):
    site.day_at(8, 9)
    lead = somebody(site, "lead", "Ines")
    before = site.book()
    assert lead.post("/crew/data/names", name=name).status_code == 404
    assert site.book() == before


def test_another_site_cannot_have_the_crew_deleted(site):
    lead = somebody(site)
    before = site.book()
    headers = {"origin": "https://elsewhere.example", "sec-fetch-site": "cross-site"}
    assert lead.post("/crew/data/deletion", headers=headers, crew="My crew").status_code == 403
    assert site.book() == before
    assert lead.post("/crew/data/deletion", headers={"origin": HERE}, crew="My crew").status_code == 200
