"""The kit page: bodies, lenses, holders and filters, each by its own small form."""

from __future__ import annotations

import pytest

from server.book import tables
from server.pages.kits import THINGS_MOST

BODY = {
    "name": "Main body", "clicks_per_stop": "3", "iso_base": "100 800", "iso_quiet": "160", "iso_allowed": "100-400",
    "shutters": "1/50, 1/100", "built_in_nd": "0 2 4 6",
}  # fmt: skip
LENS = {"name": "24-70", "widest": "f/2,8", "smallest": "22", "thread": "82", "loss_stops": "0,3"}
HOLDER = {"name": "Big holder", "width": "100", "slots": "3", "rings": "77, 82"}
PLATE = {"name": "0.6 plate", "mount": "slot", "density": "0,6", "width": "", "thread": ""}
RING = {"name": "1.8 ring", "mount": "thread", "density": "1.8", "width": "", "thread": "82"}
THINGS = {"bodies": BODY, "lenses": LENS, "holders": HOLDER, "filters": PLATE}
TABLES = {"bodies": tables.Body, "lenses": tables.Lens, "holders": tables.Holder, "filters": tables.Filter}


@pytest.fixture
def kit(site):
    return site.keep("/kits", name="Main kit")


def figures(row):
    return {name: value for name, value in vars(row).items() if name not in ("id", "kit_id", "_sa_instance_state")}


def test_from_nothing_to_a_kit_by_the_forms_that_the_pages_have(site):
    """The night before: the kit, then what is in it, each by filling in what is on the page."""
    kit = site.submit(site.get("/kits/new").form("/kits"), name="Main kit").headers["location"]
    page = site.get(kit)
    assert "works once it has a body and a lens" in page.text
    for things, sent in [*THINGS.items(), ("filters", RING)]:
        led = site.submit(site.get(kit).form(f"{kit}/{things}"), **sent).headers["location"]
        assert led == f"{kit}#{things}"
    page = site.get(kit)
    assert "works once" not in page.text
    for words in ("third-stop dial, base ISO 100 and 800", "f/2.8 to f/22, 82 mm thread", "3 slots, rings 77 82",
                  "0.6, in a slot", "1.8, 82 mm thread"):  # fmt: skip
        assert words in page.text
    (body,), (lens,), (holder,) = (site.rows(table) for table in (tables.Body, tables.Lens, tables.Holder))
    assert figures(body) == {
        "name": "Main body", "clicks_per_stop": 3, "iso_base": [100, 800], "iso_quiet": 160,
        "iso_allowed": [100, 125, 160, 200, 250, 320, 400], "shutters": [0.02, 0.01], "built_in_nd": [0, 2, 4, 6],
    }  # fmt: skip
    assert figures(lens) == {"name": "24-70", "widest": 2.8, "smallest": 22, "thread": 82, "loss_stops": 0.3}
    assert figures(holder) == {"name": "Big holder", "width": 100, "slots": 3, "rings": [77, 82]}
    plate, ring = site.rows(tables.Filter)
    assert figures(plate) == {"name": "0.6 plate", "mount": "slot", "density": 0.6, "width": None, "thread": None}
    assert figures(ring) == {"name": "1.8 ring", "mount": "thread", "density": 1.8, "width": None, "thread": 82}


def test_the_forms_come_filled_in_with_what_is_usual(site, kit):
    """A body needs its name, and nothing else is typed by most."""
    site.submit(site.get(kit).form(f"{kit}/bodies"), name="Body")
    (body,) = site.rows(tables.Body)
    assert (body.clicks_per_stop, body.iso_base, body.shutters, body.built_in_nd) == (3, [100], [0.02], [0])
    assert len(body.iso_allowed) == 19  # 100 to 6400 are six stops: 18 thirds, and the one to start from


WRONG = {
    "a body without a name": ("bodies", {"name": ""}, "name"),
    "a dial of four clicks": ("bodies", {"clicks_per_stop": "4"}, "clicks_per_stop"),
    "a dial of a word": ("bodies", {"clicks_per_stop": "third"}, "clicks_per_stop"),
    "no base ISO": ("bodies", {"iso_base": ""}, "iso_base"),
    "five base ISOs": ("bodies", {"iso_base": "100 200 400 800 1600"}, "iso_base"),
    "a base ISO of 0": ("bodies", {"iso_base": "0"}, "iso_base"),
    "no ISO": ("bodies", {"iso_allowed": ""}, "iso_allowed"),
    "a range of ISO turned round": ("bodies", {"iso_allowed": "6400-100"}, "iso_allowed"),
    "a range of ISO between two marks": ("bodies", {"iso_allowed": "101-102"}, "iso_allowed"),
    "101 ISOs": ("bodies", {"iso_allowed": "100 " * 101}, "iso_allowed"),
    "an ISO beyond all": ("bodies", {"iso_allowed": "100000000"}, "iso_allowed"),
    "a quiet ISO in words": ("bodies", {"iso_quiet": "low"}, "iso_quiet"),
    "a quiet ISO of 0": ("bodies", {"iso_quiet": "0"}, "iso_quiet"),
    "no shutter": ("bodies", {"shutters": ""}, "shutters"),
    "a shutter of 1/0": ("bodies", {"shutters": "1/50 1/0"}, "shutters"),
    "a shutter of two hours": ("bodies", {"shutters": "7200"}, "shutters"),
    "41 shutters": ("bodies", {"shutters": "1/50 " * 41}, "shutters"),
    "a built-in step twice": ("bodies", {"built_in_nd": "0 2 2"}, "built_in_nd"),
    "a built-in step that gives light": ("bodies", {"built_in_nd": "0 -2"}, "built_in_nd"),
    "17 built-in steps": ("bodies", {"built_in_nd": " ".join(map(str, range(17)))}, "built_in_nd"),
    "a lens without its widest": ("lenses", {"widest": ""}, "widest"),
    "a lens that opens beyond all": ("lenses", {"widest": "0.4"}, "widest"),
    "a lens turned round": ("lenses", {"widest": "22", "smallest": "2.8"}, "widest"),
    "a lens that closes beyond all": ("lenses", {"smallest": "129"}, "smallest"),
    "a thread in words": ("lenses", {"thread": "big"}, "thread"),
    "a thread of 0": ("lenses", {"thread": "0"}, "thread"),
    "a lens that gives light": ("lenses", {"loss_stops": "-1"}, "loss_stops"),
    "a holder of no width": ("holders", {"width": ""}, "width"),
    "a holder of 1 mm": ("holders", {"width": "1"}, "width"),
    "a holder of no slots": ("holders", {"slots": "0"}, "slots"),
    "a holder of five slots": ("holders", {"slots": "5"}, "slots"),
    "a slot and a half": ("holders", {"slots": "1.5"}, "slots"),
    "a ring of 5 mm": ("holders", {"rings": "77 5"}, "rings"),
    "a ring in words": ("holders", {"rings": "all"}, "rings"),
    "21 rings": ("holders", {"rings": " ".join(map(str, range(50, 71)))}, "rings"),
    "a filter mounted nowhere": ("filters", {"mount": "magnet"}, "mount"),
    "a filter that gives light": ("filters", {"density": "-0.3"}, "density"),
    "a filter of 6.1 D": ("filters", {"density": "6.1"}, "density"),
    "a filter of no density": ("filters", {"density": ""}, "density"),
    "a filter of a name": ("filters", {"density": "ND8"}, "density"),
    "a plate of 5 mm": ("filters", {"width": "5"}, "width"),
    "a ring without its thread": ("filters", {"mount": "thread"}, "thread"),
}


@pytest.mark.parametrize(("things", "changes", "field"), WRONG.values(), ids=WRONG)
def test_a_wrong_field_has_a_word_beside_it_and_keeps_what_was_typed(unchanged, things, changes, field):
    sent = THINGS[things] | {"name": "A new one"} | changes
    page = unchanged.refused(f"/kits/1/{things}", **sent)
    assert set(page.refused) == {field}
    assert page.refused[field]
    (wrong,) = [form for form in page.forms if any(each.invalid for each in form.fields)]
    typed = {name: value for name, value in sent.items() if wrong[name].kind != "select"}
    assert {name: wrong[name].value for name in typed} == typed


def test_every_wrong_field_is_told_at_once(unchanged):
    page = unchanged.refused("/kits/1/lenses", name="", widest="x", smallest="y", thread="z", loss_stops="w")
    assert set(page.refused) == {"name", "widest", "smallest", "thread", "loss_stops"}


@pytest.mark.parametrize("things", THINGS)
def test_a_name_is_used_once_in_a_kit(site, kit, things):
    """Two of one name could not be told apart when it matters."""
    site.keep(f"{kit}/{things}", **THINGS[things])
    page = site.refused(f"{kit}/{things}", **THINGS[things] | {"name": f"  {THINGS[things]['name']} "})
    assert THINGS[things]["name"] in page.refused["name"]
    site.keep(f"{kit}/{things}", **THINGS[things] | {"name": "Another"})
    other = site.keep("/kits", name="Second kit")
    site.keep(f"{other}/{things}", **THINGS[things])


@pytest.mark.parametrize("things", THINGS)
def test_a_thing_keeps_its_own_name_when_it_is_changed(site, kit, things):
    """Its own name is not taken by somebody else; another's is."""
    site.keep(f"{kit}/{things}", **THINGS[things])
    site.keep(f"{kit}/{things}", **THINGS[things] | {"name": "Another"})
    site.keep(f"{kit}/{things}/1", **THINGS[things])
    page = site.refused(f"{kit}/{things}/1", **THINGS[things] | {"name": "Another"})
    assert set(page.refused) == {"name"}


@pytest.mark.parametrize("things", THINGS)
def test_a_thing_kept_as_it_was_drawn_is_the_same(site, kit, things):
    """Whoever renames a filter must not change its density by the way the page rounds it."""
    odd = {
        "bodies": {"shutters": "1/48 1/47.952 1/60 0.3 1/16000 0.0201", "built_in_nd": "0 0.3333333 2",
                   "iso_allowed": "100 1000000 102400 101.5"},
        "lenses": {"widest": "1.4142136", "loss_stops": "0.123456789"},
        "holders": {"width": "99.95", "rings": "62.5 77"},
        "filters": {"density": "0.1234567", "width": "100.05"},
    }[things]  # fmt: skip
    site.keep(f"{kit}/{things}", **THINGS[things] | odd)
    before = site.book()[things]
    site.submit(site.get(kit).form(f"{kit}/{things}/1"))
    assert site.book()[things] == before


@pytest.mark.parametrize("things", THINGS)
def test_a_wrong_change_is_told_at_the_thing_that_was_to_be_changed(site, kit, things):
    for name in ("One", "Two"):
        site.keep(f"{kit}/{things}", **THINGS[things] | {"name": name})
    page = site.refused(f"{kit}/{things}/2", **THINGS[things] | {"name": ""})
    wrong = [form.to for form in page.forms if any(field.invalid for field in form.fields)]
    assert wrong == [f"{kit}/{things}/2"]
    assert page.form(f"{kit}/{things}/1")["name"].value == "One"


@pytest.mark.parametrize("things", THINGS)
def test_a_thing_can_be_taken_out(site, kit, things):
    site.keep(f"{kit}/{things}", **THINGS[things])
    site.submit(site.get(kit).form(f"{kit}/{things}/1/removal"))
    assert site.rows(TABLES[things]) == []
    assert site.post(f"{kit}/{things}/1/removal").status_code == 404


def test_a_kit_is_renamed(site, kit):
    site.submit(site.get(kit).form(kit), name="Second shooter’s")
    assert "Second shooter’s" in site.get("/").text
    page = site.refused(kit, name="")
    assert page.refused
    assert "Second shooter’s" in page.text


@pytest.mark.parametrize("name", ["", "   ", "a" * 81])
def test_a_kit_needs_a_name(unchanged, name):
    page = unchanged.refused("/kits", name=name)
    assert set(page.refused) == {"name"}
    assert page.form("/kits")["name"].value == name


def test_a_kit_has_a_limit_that_it_says(site, kit):
    """As many filters as the engine takes; one of them can still be changed."""
    with site.client.app.state.book.writing() as session:
        session.add_all(
            tables.Filter(kit_id=1, name=f"Plate {n}", mount="slot", density=0.3) for n in range(THINGS_MOST)
        )
    page = site.refused(f"{kit}/filters", **PLATE)
    assert str(THINGS_MOST) in page.refused["name"]
    site.keep(f"{kit}/filters/1", **PLATE)


NOT_THERE = ["3", "0", "-1", "abc", "1.5", str(2**31), str(2**40), str(2**64), "9" * 5000, "%00"]


@pytest.mark.parametrize("number", NOT_THERE, ids=lambda number: number[:22])
def test_a_kit_or_thing_that_is_not_there_is_404(unchanged, number):
    before = unchanged.book()
    unchanged.get(f"/kits/{number}", 404)
    for path in (f"/kits/{number}", f"/kits/{number}/filters", f"/kits/1/filters/{number}",
                 f"/kits/1/filters/{number}/removal", f"/kits/{number}/filters/1",
                 f"/kits/{number}/filters/1/removal"):  # fmt: skip
        assert unchanged.post(path, **PLATE).status_code == 404, path
    assert unchanged.book() == before


@pytest.mark.parametrize("things", ["body", "Bodies", "hands", "__class__", "stamp", "1", "%20"])
def test_a_kind_of_thing_that_a_kit_does_not_have_is_404(unchanged, things):
    before = unchanged.book()
    assert unchanged.post(f"/kits/1/{things}", **BODY).status_code == 404
    assert unchanged.book() == before


def test_a_thing_of_another_kit_is_404(site, kit):
    site.keep(f"{kit}/filters", **PLATE)
    other = site.keep("/kits", name="Other")
    assert site.post(f"{other}/filters/1", **PLATE).status_code == 404
    assert site.post(f"{other}/filters/1/removal").status_code == 404
    assert len(site.rows(tables.Filter)) == 1
