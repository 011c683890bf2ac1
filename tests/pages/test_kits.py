"""The kit page: bodies, lenses, holders and filters, each by its own small form."""

from __future__ import annotations

import re

import pytest

from server.book import tables
from server.pages.kits import THINGS_MOST

BODY = {
    "name": "Main body", "clicks_per_stop": "3", "iso_base": "100 800", "iso_quiet": "160", "iso_allowed": "100-400",
    "shutters": "1/50, 1/100", "built_in_nd": "0 2 4 6",
}  # fmt: skip
LENS = {"name": "24-70", "widest": "f/2,8", "smallest": "22", "thread": "77", "loss_stops": "0,3"}
HOLDER = {"name": "Big holder", "width": "100", "slots": "3", "rings": "77"}
PLATE = {"name": "0.6 plate", "kind": "nd", "mount": "slot", "engraved": "0,6", "width": "", "thread": ""}
RING = {"name": "1.8 ring", "kind": "nd", "mount": "thread", "engraved": "1.8", "width": "", "thread": "77"}
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
    site.submit(page.form(f"{kit}/rings"), step_ups="77-82")
    sends = THINGS | {"holders": HOLDER | {"rings": "77, 82", "front": "105"}}
    for things, sent in [*sends.items(), ("filters", RING)]:
        led = site.submit(site.get(kit).form(f"{kit}/{things}"), **sent).headers["location"]
        assert led == f"{kit}#{things}"
    page = site.get(kit)
    assert "works once" not in page.text
    for words in ("third-stop dial, base ISO 100 and 800", "f/2.8 to f/22, 77 mm thread",
                  "3 slots, rings 77 82, front ring 105", "ND, 0.6 (marked 0,6), in a slot",
                  "ND, 1.8, 77 mm thread"):  # fmt: skip
        assert words in page.text
    (body,), (lens,), (holder,) = (site.rows(table) for table in (tables.Body, tables.Lens, tables.Holder))
    assert figures(body) == {
        "name": "Main body", "clicks_per_stop": 3, "iso_base": [100, 800], "iso_quiet": 160,
        "iso_allowed": [100, 125, 160, 200, 250, 320, 400], "shutters": [0.02, 0.01], "built_in_nd": [0, 2, 4, 6],
        "frame_rate": 25, "format": None,
    }  # fmt: skip
    assert figures(lens) == {
        "name": "24-70", "widest": 2.8, "smallest": 22, "thread": 77, "loss_stops": 0.3,
        "widest_long": None, "focal_mm": None, "focal_long_mm": None,
    }  # fmt: skip
    assert figures(holder) == {"name": "Big holder", "width": 100, "slots": 3, "rings": [77, 82], "front": 105}
    plate, ring = site.rows(tables.Filter)
    neither = {"kind": "nd", "density_to": None, "edge": None, "width": None, "measured": None, "measured_spread": None}
    assert figures(plate) == neither | {
        "name": "0.6 plate", "mount": "slot", "engraved": "0,6", "density": 0.6, "thread": None,
    }  # fmt: skip
    assert figures(ring) == neither | {
        "name": "1.8 ring", "mount": "thread", "engraved": "1.8", "density": 1.8, "thread": 77,
    }  # fmt: skip


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
    "a filter that gives light": ("filters", {"engraved": "-0.3"}, "engraved"),
    "a filter of 6.1 D": ("filters", {"engraved": "6.1"}, "engraved"),
    "a filter of no density": ("filters", {"engraved": ""}, "engraved"),
    "a filter of a name": ("filters", {"engraved": "Old faithful"}, "engraved"),
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
        "filters": {"engraved": "0.1234567", "width": "100.05"},
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


@pytest.mark.parametrize("things", ["body", "Bodies", "hand", "kits", "__class__", "stamp", "1", "%20"])
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


# What is engraved.


def filter_of(site, kit, **changes):
    """A filter kept by its form; its row."""
    site.keep(f"{kit}/filters", **PLATE | changes)
    return site.rows(tables.Filter)[-1]


@pytest.mark.parametrize(
    ("engraved", "density"),
    [
        ("0.9", 0.9), ("0,9", 0.9), ("ND8", 0.9), ("nd 8x", 0.9), ("3 stops", 0.9), ("1⅓ stops", 0.4), ("ND 0.6", 0.6),
        ("ND1000", 3.0), ("ND8 (0.9)", 0.9), ("ND64", 1.8),
    ],
)  # fmt: skip
def test_a_filter_is_kept_by_what_is_engraved_on_it(site, kit, engraved, density):
    """Marks as the naming table of neutral-density filters pairs them: nobody has to work out a density."""
    row = filter_of(site, kit, engraved=engraved)
    assert row.density == pytest.approx(density)
    assert row.engraved == engraved
    told = f"(marked {engraved})" in site.get(kit).text
    assert told == (engraved != "0.9"), "a mark that is the density itself is not said twice"
    assert site.get(kit).form(f"{kit}/filters/{row.id}")["engraved"].value == engraved


@pytest.mark.parametrize("engraved", ["ND 6", "12", "ND 10"])
def test_an_engraving_that_could_be_several_things_is_asked_about(site, kit, engraved):
    """ "ND 6" is sold as a density of 0.6 and as six stops: a guess would be four stops of light."""
    page = site.refused(f"{kit}/filters", **PLATE | {"engraved": engraved})
    assert set(page.refused) == {"engraved"}
    assert " may be " in page.refused["engraved"]
    assert page.refused["engraved"].endswith(": say which, below")
    form = page.form(f"{kit}/filters")
    assert form["engraved"].value == engraved
    assert form["name"].value == PLATE["name"]


def test_the_question_names_every_meaning(site, kit):
    word = site.refused(f"{kit}/filters", **PLATE | {"engraved": "ND 6"}).refused["engraved"]
    for meaning in ("a density of 0.6", "6 stops", "a factor of 6"):
        assert meaning in word


@pytest.mark.parametrize(
    ("meant", "density"), [("density", 0.6), ("stops", 1.8), ("factor", 0.778151)], ids=["density", "stops", "factor"]
)
def test_what_is_meant_settles_it(site, kit, meant, density):
    """6 stops are marked 1.8; a factor of 6 is log10 of 6."""
    form = site.refused(f"{kit}/filters", **PLATE | {"engraved": "ND 6"}).form(f"{kit}/filters")
    site.submit(form, meant=meant)
    (row,) = site.rows(tables.Filter)
    assert row.density == pytest.approx(density, abs=1e-6)
    assert row.engraved == "ND 6"


def test_what_is_meant_settles_a_doubling_too(site, kit):
    """ND8 is a 0.9 to the trade; whoever says stops means eight of them, a 2.4."""
    assert filter_of(site, kit, engraved="ND8", meant="stops").density == pytest.approx(2.4)


def test_a_variable_nd_has_two_ends(site, kit):
    """2 to 6 stops are 0.6 to 1.8."""
    row = filter_of(
        site, kit, name="Variable", kind="variable_nd", mount="thread", thread="77", engraved="2 stops",
        engraved_to="6 stops",
    )  # fmt: skip
    assert (row.density, row.density_to) == pytest.approx((0.6, 1.8))
    assert "variable ND, 0.6 to 1.8" in site.get(kit).text


GLASS = {
    "a variable ND without its dark end": ({"kind": "variable_nd"}, "engraved_to"),
    "a variable ND turned round": ({"kind": "variable_nd", "engraved": "1.8", "engraved_to": "0.6"}, "engraved_to"),
    "a dark end that is a name": ({"kind": "variable_nd", "engraved_to": "max"}, "engraved_to"),
    "a dark end that could be several": ({"kind": "variable_nd", "engraved_to": "ND 6"}, "engraved_to"),
    "a density of 40": ({"engraved": "40"}, "engraved"),
    "a density of 40, said so": ({"engraved": "40 D"}, "engraved"),
    "a density of 40 stops": ({"engraved": "40 stops"}, "engraved"),
    "a grad without its edge": ({"kind": "grad"}, "edge"),
    "a plain ND with an edge": ({"edge": "soft"}, "edge"),
    "a kind that is none": ({"kind": "mirror"}, "kind"),
    "an ND in the front ring": ({"mount": "front", "thread": "105"}, "mount"),
    "a polariser for the front ring without a thread": ({"kind": "polariser", "mount": "front"}, "thread"),
}


@pytest.mark.parametrize(("changes", "field"), GLASS.values(), ids=GLASS)
def test_glass_that_cannot_be_is_refused_beside_its_field(unchanged, changes, field):
    page = unchanged.refused("/kits/1/filters", **PLATE | {"name": "A new one"} | changes)
    assert set(page.refused) == {field}
    assert page.refused[field]


# Lenses and bodies as they are marked.


def test_a_lens_s_loss_may_be_its_t_number(site, kit):
    """Cine lenses are marked so, and nobody has to work out the difference: from f/1.4 to T2 is one stop."""
    site.keep(f"{kit}/lenses", **LENS | {"widest": "1.4", "loss_stops": "T2"})
    (lens,) = site.rows(tables.Lens)
    assert lens.loss_stops == pytest.approx(1.0)


LENSES = {
    "an iris that closes wider than it opens": ({"widest": "22", "smallest": "2.8"}, "widest"),
    "a T-number below the f-number": ({"loss_stops": "T1.4"}, "loss_stops"),
    "a T-number in words": ({"loss_stops": "Tx"}, "loss_stops"),
    "a long end that opens wider": ({"widest_long": "1.4"}, "widest_long"),
    "a focal length of 0": ({"focal_mm": "0"}, "focal_mm"),
    "a zoom turned round": ({"focal_mm": "70", "focal_long_mm": "24"}, "focal_long_mm"),
}


@pytest.mark.parametrize(("changes", "field"), LENSES.values(), ids=LENSES)
def test_a_lens_that_cannot_be_is_refused_beside_its_field(unchanged, changes, field):
    page = unchanged.refused("/kits/1/lenses", **LENS | {"name": "A new one"} | changes)
    assert set(page.refused) == {field}


def test_a_zoom_has_two_ends(site, kit):
    site.keep(f"{kit}/lenses", **LENS | {"focal_mm": "24", "focal_long_mm": "70", "widest_long": "f/4"})
    assert "24–70 mm, f/2.8 (f/4 at the long end) to f/22" in site.get(kit).text


def test_shutters_may_be_angles(site, kit):
    """At 24 frames a second, 180° is 1/48 s and 90° is 1/96 s."""
    site.keep(f"{kit}/bodies", **BODY | {"frame_rate": "24", "shutters": "180° 90 deg 1/100"})
    (body,) = site.rows(tables.Body)
    assert body.shutters == pytest.approx([1 / 48, 1 / 96, 1 / 100])
    form = site.get(kit).form(f"{kit}/bodies/1")
    assert form["shutters"].value == "1/48 1/96 1/100"


BODIES = {
    "an angle without a frame rate": ({"frame_rate": "", "shutters": "180°"}, "shutters"),
    "an angle of more than the turn": ({"frame_rate": "25", "shutters": "361°"}, "shutters"),
    "an angle of nothing": ({"frame_rate": "25", "shutters": "0°"}, "shutters"),
    "a frame rate in words": ({"frame_rate": "fast"}, "frame_rate"),
    "a sensor of no list": ({"format": "huge"}, "format"),
}


@pytest.mark.parametrize(("changes", "field"), BODIES.values(), ids=BODIES)
def test_a_body_that_cannot_be_is_refused_beside_its_field(unchanged, changes, field):
    page = unchanged.refused("/kits/1/bodies", **BODY | {"name": "A new one"} | changes)
    assert field in page.refused
    assert set(page.refused) <= {field, "shutters"}, "without its frame rate, an angle is none either"


# Rings, hands, and what fits.


def test_step_up_rings_are_kept_and_shown(site, kit):
    site.submit(site.get(kit).form(f"{kit}/rings"), step_ups="67-77, 72–82")
    (row,) = site.rows(tables.Kit)
    assert row.step_ups == [[67, 77], [72, 82]]
    assert site.get(kit).form(f"{kit}/rings")["step_ups"].value == "67-77 72-82"
    site.submit(site.get(kit).form(f"{kit}/rings"), step_ups="")
    assert site.rows(tables.Kit)[0].step_ups == []


@pytest.mark.parametrize(
    "typed", ["82-77", "77-77", "77", "77-82-95", "big-small", " ".join(f"77-{n}" for n in range(78, 99))],
    ids=["the wrong way round", "to itself", "one thread", "three threads", "words", "21 of them"],
)  # fmt: skip
def test_rings_that_cannot_be_are_refused_with_what_was_typed(unchanged, typed):
    page = unchanged.refused("/kits/1/rings", step_ups=typed)
    assert set(page.refused) == {"step_ups"}
    assert page.form("/kits/1/rings")["step_ups"].value == typed


def test_a_ring_for_no_lens_of_the_kit_is_told(unchanged):
    """A mistyped ring would be found out beside the altar; the lenses' own threads are offered instead."""
    page = unchanged.refused("/kits/1/rings", step_ups="67-77")
    assert "67 mm" in page.refused["step_ups"]
    assert "77" in page.refused["step_ups"]
    page = unchanged.refused("/kits/1/holders", **HOLDER | {"name": "Other holder", "rings": "77 95"})
    assert "95 mm" in page.refused["rings"]


def test_a_measure_goes_with_the_glass_that_was_measured(demo_client):
    """A 0.6 that was measured and is now called a variable ND: the kit page must open, and the day go on."""
    shown = {"name": "Ring", "kind": "nd", "mount": "thread", "engraved": "0.6", "thread": "77"}
    demo_client.post("/kits/1/filters", data=shown)
    wall = {"aperture": "4", "shutter": "1/50", "iso": "100"}
    readings = {f"without_{k}": v for k, v in wall.items()} | {f"with_{k}": v for k, v in wall.items()}
    readings |= {"without_meter": "2", "keep": "1"}
    assert demo_client.post("/kits/1/filters/7/measure", data=readings, follow_redirects=False).status_code == 303
    assert "measured 0.60" in demo_client.get("/kits/1").text
    kept = demo_client.post("/kits/1/filters/7", data=shown | {"name": "Same ring"}, follow_redirects=True)
    assert "measured 0.60" in kept.text, "a new name is the same glass"
    variable = shown | {"kind": "variable_nd", "engraved_to": "1.8"}
    changed = demo_client.post("/kits/1/filters/7", data=variable, follow_redirects=True)
    assert changed.status_code == 200
    assert "measured" not in changed.text
    assert demo_client.get("/days/1").status_code == 200


@pytest.mark.parametrize("rate", ["0", "-5", "99999999999"])
def test_a_frame_rate_that_no_camera_runs_at_is_refused(demo_client, rate):
    """Beside its field."""
    body = {"name": "B", "clicks_per_stop": "3", "iso_base": "100", "iso_allowed": "100", "shutters": "1/50"}
    page = demo_client.post("/kits/1/bodies", data=body | {"built_in_nd": "0", "frame_rate": rate})
    assert page.status_code == 422
    assert "1 to 1000 frames a second" in page.text


def test_a_kit_too_large_to_work_out_can_still_be_mended(demo_client, monkeypatch):
    """Its page is where the filter too many is taken out: it opens, and says what is the matter with which day."""
    monkeypatch.setattr("server.exposure.moves.RIGS_MOST", 10)
    page = demo_client.get("/kits/1")
    assert page.status_code == 200
    assert "too large to work the day out with" in page.text
    assert "at most 10 rigs" in page.text
    assert demo_client.post("/kits/1/filters/1/removal", follow_redirects=True).status_code == 200


def test_a_taken_name_does_not_hide_what_else_is_wrong(demo_client):
    """Both words at once: nobody wants to be sent back twice."""
    twin = {"name": "0.6 plate", "kind": "nd", "mount": "thread", "engraved": "0.6"}
    page = demo_client.post("/kits/1/filters", data=twin).text
    assert "it needs a name of its own" in page
    assert "since it is screwed on" in page


def test_a_ring_whose_lens_has_left_the_kit_does_not_hold_up_its_holder(demo_client):
    """The 82 mm lens was sold; the holder with its ring can still be renamed, and a new odd ring is still told."""
    demo_client.post("/kits/1/lenses/2/removal")
    holder = {"name": "Old holder", "width": "100", "slots": "2", "front": "105"}
    kept = demo_client.post("/kits/1/holders/1", data=holder | {"rings": "77 82"}, follow_redirects=False)
    assert kept.status_code == 303
    assert demo_client.post("/kits/1/holders/1", data=holder | {"rings": "77 82 95"}).status_code == 422


def fits(page):
    """The table of what fits what: (glass, lens, what it says)."""
    body = page.source.partition('id="fits"')[2].partition("<tbody>")[2].partition("</tbody>")[0]
    rows = (re.split('<td>|<th scope="row">', row)[1:] for row in body.split("<tr>")[1:])
    return [(glass, lens, re.sub("<[^>]+>", "", words).strip()) for glass, lens, words in rows]


def test_what_fits_what_names_the_missing_part(site, kit):
    """The night before is when a ring can still be bought."""
    assert fits(site.get(kit)) == []
    site.keep(f"{kit}/lenses", **LENS)
    site.keep(f"{kit}/lenses", **LENS | {"name": "Old prime", "thread": "72"})
    site.keep(f"{kit}/lenses", **LENS | {"name": "Fisheye", "thread": ""})
    site.keep(f"{kit}/holders", **HOLDER)
    site.keep(f"{kit}/filters", **PLATE)
    site.keep(f"{kit}/filters", **RING)
    assert fits(site.get(kit)) == [
        ("0.6 plate", "24-70", "yes"), ("0.6 plate", "Old prime", "no: no 72 mm adapter ring"),
        ("0.6 plate", "Fisheye", "no: this lens has no front thread"),
        ("1.8 ring", "24-70", "yes"), ("1.8 ring", "Old prime", "no: no step-up ring, 72 to 77 mm"),
        ("1.8 ring", "Fisheye", "no: this lens has no front thread"),
    ]  # fmt: skip
    site.submit(site.get(kit).form(f"{kit}/rings"), step_ups="72-77")
    assert [words for _, lens, words in fits(site.get(kit)) if lens == "Old prime"] == ["yes", "yes"]


def test_where_everything_fits_a_sentence_says_so(site, kit):
    site.keep(f"{kit}/lenses", **LENS)
    site.keep(f"{kit}/holders", **HOLDER)
    site.keep(f"{kit}/filters", **PLATE)
    page = site.get(kit)
    assert fits(page) == []
    assert "Every piece of glass fits every lens." in page.text


def test_hand_times_that_differ_are_kept_and_the_others_follow_the_usual_ones(site, kit):
    form = site.get(kit).form(f"{kit}/hands")
    site.submit(form, pull="2,5", iris="0.1", screw_on="")
    (row,) = site.rows(tables.Kit)
    assert row.hands == {"pull": 2.5, "iris": 0.1}
    assert site.get(kit).form(f"{kit}/hands")["pull"].value == "2.5"
    site.submit(site.get(kit).form(f"{kit}/hands"), pull="", iris="")
    assert site.rows(tables.Kit)[0].hands == {}


@pytest.mark.parametrize("typed", ["slow", "-1", "100000"])
def test_hand_times_that_no_hand_has_are_refused(unchanged, typed):
    page = unchanged.refused("/kits/1/hands", pull=typed, iris="0.2")
    assert set(page.refused) == {"pull"}
    assert page.form("/kits/1/hands")["iris"].value == "0.2"


@pytest.mark.parametrize("path", ["rings", "hands"])
def test_rings_and_hands_of_a_kit_that_is_not_there_are_404(unchanged, path):
    assert unchanged.post(f"/kits/99/{path}", step_ups="67-77", pull="1").status_code == 404
