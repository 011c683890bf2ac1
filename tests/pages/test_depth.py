"""Depth of field and matching two cameras: the question is in the address, the answer on the page."""

from __future__ import annotations

import re
from urllib.parse import urlencode

import pytest

ASKED = {
    "format": "full_frame", "focal": "50", "aperture": "2.8", "distance": "3", "second_format": "four_thirds",
    "second_focal": "", "second_distance": "",
}  # fmt: skip


def ask(site, status=200, kit=1, **changes):
    return site.get(f"/kits/{kit}/depth?{urlencode(ASKED | changes)}", status)


def part(page, name):
    source = page.source.partition(f'id="{name}"')[2].partition("</section>")[0]
    return " ".join(re.sub("<[^>]+>", " ", source.partition(">")[2]).split())


def test_the_kit_page_leads_there_and_the_form_comes_filled_in(site):
    """With the kit's own camera, so that most only press the button."""
    kit = site.kit(plates=())
    site.keep(
        f"/kits/{kit}/bodies/1", name="Body", clicks_per_stop="3", iso_base="100", iso_allowed="100", shutters="1/50",
        built_in_nd="0", format="super_35",
    )  # fmt: skip
    site.keep(f"/kits/{kit}/lenses/1", name="Prime", widest="2", smallest="16", focal_mm="35")
    assert f"/kits/{kit}/depth" in site.get(f"/kits/{kit}").links
    page = site.get(f"/kits/{kit}/depth")
    form = page.form(f"/kits/{kit}/depth")
    assert [form[name].value for name in ("format", "focal", "aperture", "distance")] == ["super_35", "35", "2", "3"]
    assert 'id="depth"' not in page.source, "nothing was asked yet"
    assert 'method="get"' in page.source


def test_a_kit_with_nothing_in_it_can_ask_too(site):
    site.keep("/kits", name="Kit")
    page = site.get("/kits/1/depth")
    assert page.form("/kits/1/depth")["focal"].value == "50"
    assert "Sharp from" in ask(site).text


def test_the_limits_are_those_of_a_hand_calculation(unchanged):
    """
    50 mm, f/2.8 (2.828 exactly), 3 m, c = 43.267/1500 = 0.02884 mm.

    H = 2500/(2.828 * 0.02884) + 50 = 30,697 mm; near = 3000 (H - 50)/(H + 3000 - 100), far = 3000 (H - 50)/(H - 3000).
    """
    circle = 43.267 / 1500
    hyperfocal = 2500 / (8**0.5 * circle) + 50
    near, far = 3 * (hyperfocal - 50) / (hyperfocal + 2900), 3 * (hyperfocal - 50) / (hyperfocal - 3000)
    said = part(ask(unchanged), "depth")
    assert f"Sharp from {near:.2f} m to {far:.2f} m" in said
    assert f"Focused at {hyperfocal / 1000:.1f} m or beyond" in said
    assert "f/2.828" in said


def test_beyond_the_hyperfocal_distance_everything_far_is_sharp(unchanged):
    assert "to the far distance" in part(ask(unchanged, distance="100"), "depth")


def test_the_second_camera_s_lens_and_iris_follow_the_diagonals(unchanged):
    """Four thirds has half the diagonal: 25 mm at f/1.4 is 50 mm at f/2.8."""
    said = part(ask(unchanged), "match")
    assert "25 mm" in said
    assert "f/1.4 with that lens" in said
    assert "with the lens that is on it" not in said


def test_a_lens_that_is_on_the_second_camera_has_an_iris_of_its_own(unchanged):
    """The very same camera needs the very same iris, by all three measures."""
    said = part(ask(unchanged, second_format="full_frame", second_focal="50"), "match")
    assert "f/2.8 with that lens: the same depth of field" in said
    assert "f/2.8 with the lens that is on it: the same background blur" in said
    assert "f/2.8 with the lens that is on it: the same depth of field" in said


def test_what_the_lens_cannot_reach_is_said(unchanged):
    said = part(ask(unchanged, aperture="1", second_format="super_16"), "match")
    assert "the lens cannot" in said


def test_the_question_is_in_the_address_so_that_it_can_be_sent(unchanged):
    form = ask(unchanged, focal="85", aperture="f/4").form("/kits/1/depth")
    assert (form["focal"].value, form["aperture"].value, form["second_format"].value) == ("85", "f/4", "four_thirds")


WRONG = {
    "no focal length": ({"focal": ""}, {"focal"}),
    "a focal length of 0": ({"focal": "0"}, {"focal"}),
    "an aperture in words": ({"aperture": "wide"}, {"aperture"}),
    "an aperture beyond all": ({"aperture": "200"}, {"aperture"}),
    "a subject inside the lens": ({"distance": "0.01"}, {"distance"}),
    "a subject nowhere": ({"distance": "-1"}, {"distance"}),
    "a sensor of no list": ({"format": "huge"}, {"format"}),
    "a second sensor of no list": ({"second_format": "huge"}, {"second_format"}),
    "a second focal length of 0": ({"second_focal": "0"}, {"second_focal"}),
    "a second subject inside its lens": ({"second_focal": "50", "second_distance": "0.02"}, {"second_distance"}),
    "several at once": ({"focal": "x", "distance": "y"}, {"focal", "distance"}),
}


@pytest.mark.parametrize(("changes", "fields"), WRONG.values(), ids=WRONG)
def test_a_wrong_question_has_a_word_beside_its_field(unchanged, changes, fields):
    page = ask(unchanged, 422, **changes)
    assert set(page.refused) == fields
    assert 'id="depth"' not in page.source
    form = page.form("/kits/1/depth")
    typed = {name: value for name, value in (ASKED | changes).items() if form[name].kind != "select"}
    assert {name: form[name].value for name in typed} == typed


def test_every_edge_of_every_field_is_answered_or_refused_in_words(unchanged):
    """A pocket camera at a mountain, a long lens at a fly: no question may be an error of ours."""
    for focal in ("1", "2000"):
        for aperture in ("0.5", "128"):
            for distance in ("0.002", "2.1", "10000", "1000000"):
                for second in ({}, {"second_focal": "1"}, {"second_focal": "2000", "second_distance": "2.5"}):
                    sent = urlencode(ASKED | {"focal": focal, "aperture": aperture, "distance": distance} | second)
                    answer = unchanged.client.get(f"/kits/1/depth?{sent}")
                    assert answer.status_code in (200, 422), sent
                    assert answer.status_code == 200 or 'class="error"' in answer.text, sent


@pytest.mark.parametrize("kit", ["99", "0", "x"])
def test_a_kit_that_is_not_there_is_404(unchanged, kit):
    ask(unchanged, 404, kit=kit)


@pytest.fixture
def in_feet(unchanged):
    unchanged.client.cookies.set("manner", "en.feet")
    yield unchanged
    unchanged.client.cookies.delete("manner")


def test_distances_are_typed_and_answered_in_feet_by_whoever_chose_them(in_feet):
    """3 m are 9.843 ft, and the limits of 3 m by hand, as above, are 2.737 m and 3.320 m."""
    page = in_feet.get("/kits/1/depth")
    assert page.form("/kits/1/depth")["distance"].value == "9.843"
    assert "Subject, ft away" in page.text
    answer = ask(in_feet, distance="9.843")
    assert answer.form("/kits/1/depth")["distance"].value == "9.843", "as it was typed"
    said = re.search(r"from ([\d.]+) ft to ([\d.]+) ft", part(answer, "depth"))
    assert [float(said[1]), float(said[2])] == pytest.approx([2.737 / 0.3048, 3.320 / 0.3048], abs=0.05)


@pytest.mark.parametrize("field", ["distance", "second_distance"])
def test_a_distance_that_cannot_be_is_refused_in_feet_too(in_feet, field):
    """50 mm are 0.16 ft, and 10,000 m are 32,808 ft."""
    page = ask(in_feet, 422, second_focal="50", **{field: "0.1"})
    assert "0.10 ft" in page.text
    assert "0.16 ft to 32808 ft" in page.text
