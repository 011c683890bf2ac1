"""Kits saved as files, read from them, and started from a common one."""

from __future__ import annotations

import json
import re

import pytest


def said(response) -> str:
    found = re.search(r'id="file-says">([^<]*)<', response.text)
    assert found, "no word beside the file"
    return found[1]


def test_a_newcomer_has_a_working_kit_in_two_taps(client):
    """New kit, then the common one: its page says what is in it."""
    page = client.get("/kits/new")
    assert page.text.count("/kits/starters/") >= 4
    made = client.post("/kits/starters/1", follow_redirects=True)
    assert made.status_code == 200
    assert "1.2 plate" in made.text


def test_a_saved_kit_is_read_again_as_it_was(client):
    """Byte for byte."""
    client.post("/kits/starters/4")
    saved = client.get("/kits/1/document")
    assert saved.headers["content-disposition"] == 'attachment; filename="two-bodies.kit.json"'
    read = client.post("/kits/document", files={"file": ("kit.json", saved.content)}, follow_redirects=False)
    assert (read.status_code, read.headers["location"]) == (303, "/kits/2")
    assert client.get("/kits/2/document").content == saved.content


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "It needs a file"),
        (b"hello", "allowed is a JSON object"),
        (b"\xff\xfe", "allowed is a JSON object"),
        (b"[]", "allowed is a JSON object"),
        (b'{"format": "lychgate-kit", "version": 2, "name": "x"}', "version: 2 came, allowed is 1"),
        (b'{"format": "lychgate-kit", "version": 1}', "name: nothing came"),
        (b" " * 200_001, "more than 200 kB"),
        (b"[" * 100_000, "It is not a kit"),
        (b"hello", "the file: something else came"),
        (b'{"format": "lychgate-kit", "version": 1, "name": "  "}', "name: only blanks came"),
        (b'{"format": "lychgate-kit", "version": 1, "name": "a\\u0000b"}', "name: a b came"),
        (b'{"' + b"e" * 1000 + b'": 1}', "e" * 60 + "…: 1 came, allowed is no such field"),
    ],
)
def test_a_file_that_is_no_kit_is_refused_beside_its_field(client, content, words):
    """And nothing is kept."""
    response = client.post("/kits/document", files={"file": ("kit.json", content)})
    assert response.status_code == 422
    assert words in said(response).replace("&#34;", '"')
    assert "/kits/1" not in client.get("/").text


def test_a_kit_that_cannot_be_is_refused_with_its_path(client):
    """A density of 40."""
    kit = {
        "format": "lychgate-kit",
        "version": 1,
        "name": "x",
        "filters": [{"name": "a", "mount": "slot", "density": 40.0}],
    }
    response = client.post("/kits/document", files={"file": ("kit.json", json.dumps(kit).encode())})
    assert response.status_code == 422
    assert "filters.0.density: 40.0 came, allowed is 0 to 6 D" in said(response)


def test_no_more_is_said_than_a_person_reads(client):
    """The first eight."""
    kit = {"format": "lychgate-kit", "version": 1, "name": "x"} | {f"odd{n}": n for n in range(30)}
    response = client.post("/kits/document", files={"file": ("kit.json", json.dumps(kit).encode())})
    assert said(response).count(" came, ") == 8
    assert "odd7" in said(response)
    assert "odd8" not in said(response)


def test_what_came_is_quoted_and_never_run(client):
    """A file may be a stranger's."""
    kit = {"format": "lychgate-kit", "version": 1, "name": "x", "<script>alert(1)</script>": 1}
    response = client.post("/kits/document", files={"file": ("kit.json", json.dumps(kit).encode())})
    assert "&lt;script&gt;" in said(response)
    assert "<script>alert" not in response.text


def test_a_file_that_an_editor_has_marked_as_utf_8_is_read(client):
    """Some put three bytes before the text."""
    kit = b'{"format": "lychgate-kit", "version": 1, "name": "x"}'
    assert client.post("/kits/document", files={"file": ("kit.json", b"\xef\xbb\xbf" + kit)}).status_code == 303


@pytest.mark.parametrize("thing", ["bodies", "lenses"])
def test_a_file_cannot_make_a_day_that_no_page_can_draw(client, thing):
    """An unknown sensor, or a focal length of nothing, would stop the day page on the day."""
    client.post("/kits/starters/1")
    kit = client.get("/kits/1/document").json()
    kit[thing][0] |= {"bodies": {"format": "huge"}, "lenses": {"focal_mm": 0.0}}[thing]
    response = client.post("/kits/document", files={"file": ("kit.json", json.dumps(kit).encode())})
    assert response.status_code == 422
    assert f"{thing}.0.{'format: huge' if thing == 'bodies' else 'focal_mm: 0.0'} came" in said(response)


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("Ann’s kit; v2", "ann-s-kit-v2"),
        ('a"b/../c', "a-b-c"),
        ("カメラ", "kit"),
        ("...", "kit"),
        ("A" * 80, "a" * 80),
    ],
)
def test_a_saved_kit_has_a_file_name_that_every_system_takes(client, name, file):
    """Whatever the kit is called."""
    client.post("/kits", data={"name": name})
    saved = client.get("/kits/1/document")
    assert saved.headers["content-disposition"] == f'attachment; filename="{file}.kit.json"'
    assert saved.json()["name"] == name


def test_a_form_without_a_file_or_with_two_is_no_500(client):
    """Whatever a browser sends."""
    assert client.post("/kits/document", data={"file": "text"}).status_code == 422
    two = [("file", ("a", b"{}")), ("file", ("b", b"{}"))]
    assert client.post("/kits/document", files=two).status_code in (400, 422)


@pytest.mark.parametrize("number", ["0", "5", "99999999999999999999", "x"])
def test_a_starter_that_is_not_there(client, number):
    """Only those on the page."""
    assert client.post(f"/kits/starters/{number}").status_code == 404


def test_the_schema_is_published(client):
    """Where the page says."""
    schema = client.get("/api/kit.schema.json")
    assert schema.status_code == 200
    assert schema.json()["properties"]["version"]["const"] == 1
    assert "/api/kit.schema.json" in client.get("/kits/new").text


def test_another_kit_s_file_is_not_there(client):
    """Nor one that never was."""
    assert client.get("/kits/7/document").status_code == 404
