"""A sheet brought in: a new venue and its day, exactly; and files that are wrong, huge or meant to hurt."""

from __future__ import annotations

import json

import pytest

from server.book import tables
from server.pages.sheet_files import FILE_MOST
from tests.conftest import Page, another_crew, somebody


@pytest.fixture
def sheet(demo):
    """The demo's own sheet, as its crew saves it."""
    return demo.client.get("/days/1/sheet.json").text


def brought(site, status=303, **fields):
    """Send the form with a file, or with text."""
    content = fields.pop("file", None)
    files = {"file": ("sheet.json", content, "application/json")} if content is not None else {"none": ("", b"")}
    before = site.book()
    answer = site.client.post("/sheets", data=fields, files=files if content is not None else None)
    assert answer.status_code == status, answer.text[:500]
    if status == 422:
        assert site.book() == before, "nothing half brought in"
    return answer


def test_another_crew_brings_a_sheet_in_and_saves_the_very_same(demo, sheet):
    """Every place, reading, look and stop; from the file to the book and back, to the last byte."""
    other = somebody(demo, "second", "Tom", another_crew(demo))
    kit = other.kit()
    to = brought(other, file=sheet, kit=str(kit)).headers["location"]
    assert to.endswith("/setup")
    assert other.get(to).form(to.replace("/setup", "/setup")).fields
    day = to.split("/")[2]
    assert other.client.get(f"/days/{day}/sheet.json").text == sheet
    for path in (f"/days/{day}", f"/days/{day}/plan", f"/days/{day}/sheet", f"/days/{day}/order"):
        other.get(path)
    assert {row.who for row in demo.rows(tables.Reading)} == {"shooter", "somebody"}


def test_without_a_kit_it_is_a_venue_alone(demo, sheet):
    days = len(demo.rows(tables.Day))
    to = brought(demo, lines=sheet, kit="").headers["location"]
    assert to.startswith("/venues/")
    assert "Chapel inside" in demo.get(to).text
    assert len(demo.rows(tables.Day)) == days


def test_a_file_with_a_mark_before_it_is_read(demo, sheet):
    brought(demo, file=b"\xef\xbb\xbf" + sheet.encode())


def test_a_second_bringing_is_a_second_venue_and_changes_nothing_that_is_there(demo, sheet):
    for _ in range(2):
        brought(demo, file=sheet, kit="1")
    assert [row.name for row in demo.rows(tables.Venue)] == ["Orchard Priory"] * 3
    assert demo.client.get("/days/1/sheet.json").text == sheet


def test_what_is_wrong_is_told_beside_what_was_sent_and_the_text_stays(demo, sheet):
    page = Page(brought(demo, 422, lines="{<b>", kit="1").text)
    assert list(page.refused) == ["lines"]
    assert "It is not a sheet" in page.refused["lines"]
    assert "{&lt;b&gt;" in page.source
    page = Page(brought(demo, 422, file=sheet.replace('"version":1', '"version":7')).text)
    assert list(page.refused) == ["file"]
    assert "version: 7 came" in page.refused["file"]
    assert Page(brought(demo, 422, lines="  ").text).refused["file"].startswith("It needs a file")


HOSTILE = {
    "nothing of JSON": lambda sheet: "not json",
    "half a file": lambda sheet: sheet[: len(sheet) // 2],
    "a list": lambda sheet: "[]",
    "nested without an end": lambda sheet: "[" * 200_000,
    "nested inside a field": lambda sheet: sheet.replace('"raw":{', '"raw":{"value":' + '{"a":' * 5000, 1),
    "no number": lambda sheet: sheet.replace('"lamps":0.4', '"lamps":NaN'),
    "beyond numbers": lambda sheet: sheet.replace('"lamps":0.4', '"lamps":1e999'),
    "a number of 100,000 digits": lambda sheet: sheet.replace('"lamps":0.4', '"lamps":0.' + "4" * 100_000 + "e9"),
    "a figure that would divide by nothing": lambda sheet: sheet.replace('"shutter":0.02', '"shutter":0.0'),
    "a script as a time zone": lambda sheet: sheet.replace('"Etc/GMT', '"<script>/GMT').replace('"UTC"', '"<script>"'),
    "a name from right to left": lambda sheet: sheet.replace('"Vows"', '"Vo\u202ews"'),
    "half a pair of surrogates": lambda sheet: sheet.replace('"Vows"', r'"Vo\ud800ws"'),
    "a kit": lambda sheet: json.dumps({"format": "lychgate-kit", "version": 1, "name": "Kit"}),
    "bytes of no letters": lambda sheet: b"\xff\xfe" * 500,
    "more than any sheet": lambda sheet: " " * FILE_MOST + sheet,
}


def many(sheet, readings):
    said = json.loads(sheet)
    place = said["venue"]["places"][0]
    place["readings"] = [place["readings"][0]] * readings
    return json.dumps(said, separators=(",", ":"))


@pytest.mark.parametrize("way", ["file", "lines"])
@pytest.mark.parametrize("make", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_file_is_refused_in_words_and_leaves_nothing_behind(demo, sheet, make, way):
    content = make(sheet)
    if way == "lines" and isinstance(content, bytes):
        content = content.decode("latin-1")
    page = Page(brought(demo, 422, **{way: content}).text)
    assert page.refused[way]
    assert "<script>/" not in page.source


@pytest.mark.parametrize("count", [101, 5000])
def test_too_many_readings_are_refused(demo, sheet, count):
    page = Page(brought(demo, 422, file=many(sheet, count)).text)
    assert "readings" in page.refused["file"]


def test_ten_thousand_readings_are_more_than_may_be_sent(demo, sheet):
    answer = demo.client.post("/sheets", files={"file": ("s.json", many(sheet, 10_000), "application/json")})
    assert answer.status_code == 422
    assert len(demo.rows(tables.Venue)) == 1


def test_a_script_in_every_text_is_text(demo, sheet):
    said = json.loads(sheet)
    script = "<script>alert(1)</script>"
    said["venue"]["name"] = said["day"]["name"] = script
    for each in (*said["venue"]["places"], *said["day"]["order"]):
        each["name"] = script
    for stop in said["day"]["order"]:
        stop["notes"] = script
    to = brought(demo, file=json.dumps(said), kit="1").headers["location"]
    day, venue = to.split("/")[2], demo.rows(tables.Venue)[-1].id
    for path in ("/", to, f"/days/{day}", f"/days/{day}/plan", f"/days/{day}/card", f"/days/{day}/order",
                 f"/days/{day}/sheet", f"/venues/{venue}", f"/days/{day}/light"):  # fmt: skip
        assert "<script>alert" not in demo.client.get(path).text, path


def test_every_kind_of_reading_that_comes_in_can_be_shown(demo, sheet):
    """The least that each method may say: nothing is taken for granted where it is shown."""
    said = json.loads(sheet)
    at = said["venue"]["places"][0]["readings"][0] | {"logged_at": None}
    dials = {"aperture": 1.8, "shutter": 0.01, "iso": 64}
    raws = {"ev": {"value": 9}, "lux": {"value": 9}, "luminance": {"value": 9}, "camera": dials, "eye": dials,
            "photo": dials, "nudges": {}}  # fmt: skip
    said["venue"]["places"][0]["readings"] = [at | {"kind": kind, "raw": raw} for kind, raw in raws.items()]
    to = brought(demo, file=json.dumps(said), kit="1").headers["location"]
    day, venue = to.split("/")[2], demo.rows(tables.Venue)[-1].id
    for path in (
        f"/days/{day}",
        f"/days/{day}/sheet",
        f"/days/{day}/sheet.pdf",
        f"/venues/{venue}",
        f"/days/{day}/report",
    ):
        assert demo.client.get(path).status_code == 200, path


@pytest.mark.parametrize(("kit", "word"), [("99", "no such kit"), ("x", "whole number")])
def test_a_kit_that_is_not_there_is_told_beside_its_field(demo, sheet, kit, word):
    assert word in Page(brought(demo, 422, lines=sheet, kit=kit).text).refused["kit"]


def test_another_crews_kit_is_none(demo, sheet):
    other = somebody(demo, "second", "Tom", another_crew(demo))
    assert "no such kit" in Page(brought(other, 422, lines=sheet, kit="1").text).refused["kit"]


def test_an_empty_kit_and_a_day_without_places_are_told(demo, sheet):
    empty = demo.keep("/kits", name="Empty").rpartition("/")[2]
    assert "no body or no lens" in Page(brought(demo, 422, lines=sheet, kit=empty).text).refused["kit"]
    said = json.loads(sheet)
    said["day"]["looks"] = []
    assert "none of the places" in Page(brought(demo, 422, lines=json.dumps(said), kit="1").text).refused["kit"]
    brought(demo, lines=json.dumps(said), kit="")


def test_a_guest_brings_nothing_in(demo, sheet):
    guest = somebody(demo, "guest")
    assert guest.client.post("/sheets", data={"lines": sheet}).status_code == 403
    assert "/sheets/new" not in guest.get("/").links
