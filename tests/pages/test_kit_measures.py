"""Measuring what a filter or a lens really takes: two readings of one wall, and what is kept of them."""

from __future__ import annotations

import math
import re

import pytest

from server.book import tables
from tests.page import Page

# One wall: f/4, 1/50 and ISO 100 without the glass; three stops wider with it.
WALL = {
    "without_aperture": "4", "without_shutter": "1/50", "without_iso": "100", "without_meter": "",
    "with_aperture": "1.4", "with_shutter": "1/50", "with_iso": "100", "with_meter": "", "step": "1/3",
}  # fmt: skip
FILTER = "/kits/1/filters/1/measure"
LENS = "/kits/1/lenses/1/measure"


@pytest.fixture
def kit(site):
    """A kit with an 0.6 plate and a lens that was kept as losing nothing."""
    return site.kit(plates=(0.6,))


def outcome(answer):
    assert answer.status_code == 200, answer.text[:300]
    source = answer.text.partition('id="outcome"')[2].partition("</section>")[0]
    return " ".join(re.sub("<[^>]+>", " ", source.partition(">")[2]).split())


def test_the_kit_page_leads_to_the_measure_of_each_filter_and_lens(site, kit):
    """Not of a variable ND or a grad: neither takes one amount of light."""
    odd = {"name": "Odd", "mount": "thread", "thread": "77", "engraved": "0.6"}
    site.keep("/kits/1/filters", **odd | {"kind": "variable_nd", "engraved_to": "1.8"})
    site.keep("/kits/1/filters", name="Soft", kind="grad", mount="slot", engraved="0.6", edge="soft")
    links = [link for link in site.get(f"/kits/{kit}").links if link.endswith("/measure")]
    assert sorted(links) == sorted([FILTER, LENS])
    for number in (2, 3):
        site.get(f"/kits/1/filters/{number}/measure", 404)
        assert site.post(f"/kits/1/filters/{number}/measure", **WALL).status_code == 404


def test_three_stops_wider_with_it_are_three_stops(site, kit):
    """A third-stop meter is sure to two standard uncertainties of its rounding: 2/3/sqrt(6), 0.27 stops."""
    said = outcome(site.post(FILTER, **WALL))
    assert said.startswith(f"3.00 stops ± {2 / 3 / math.sqrt(6):.2f}")
    assert "density of 0.90" in said
    assert "1 stop more than its mark says" in said, "0.6 D is marked as two"
    assert kit == 1


def test_finer_steps_are_surer(site, kit):
    """The rounding of a tenth: 2/10/sqrt(6), 0.08 stops."""
    said = outcome(site.post(FILTER, **WALL | {"step": "1/10"}))
    assert f"± {2 / 10 / math.sqrt(6):.2f}" in said
    assert kit == 1


@pytest.mark.parametrize(
    ("changes", "stops"),
    [
        ({"with_aperture": "4", "with_shutter": "1/50", "with_iso": "800"}, "3.00"),
        ({"with_aperture": "4", "with_shutter": "1/6.25"}, "3.00"),
        ({"with_aperture": "4", "with_iso": "400", "with_meter": "−1"}, "3.00"),
        ({"with_aperture": "2", "without_meter": "+1"}, "3.00"),
        ({"with_aperture": "2"}, "2.00"),
    ],
    ids=["by the ISO", "by the shutter", "by the meter", "by the meter without it", "an honest 0.6"],
)
def test_the_readings_may_differ_in_any_setting(site, kit, changes, stops):
    """A meter that shows one stop too dark saw one stop less than the settings say."""
    assert outcome(site.post(FILTER, **WALL | changes)).startswith(f"{stops} stops")
    assert kit == 1


def test_what_the_readings_cannot_tell_is_not_claimed(site, kit):
    """2 stops against an exact 1.99: less than a meter's thirds can see."""
    said = outcome(site.post(FILTER, **WALL | {"with_aperture": "2"}))
    assert "as far as these readings can tell" in said
    assert "more than its mark" not in said
    assert kit == 1


def test_nothing_is_kept_until_the_shooter_says_so(site, kit):
    before = site.book()
    answer = site.post(FILTER, **WALL)
    assert site.book() == before
    form = Page(answer.text).form(FILTER)
    assert {name: form[name].value for name in WALL if name != "step"} == {
        name: value for name, value in WALL.items() if name != "step"
    }
    assert ("keep", "1") in form.buttons
    led = site.submit(form, keep="1").headers["location"]
    assert led == f"/kits/{kit}#filters"
    (row,) = site.rows(tables.Filter)
    assert row.measured == pytest.approx(3 * math.log10(2))
    assert row.measured_spread == pytest.approx(2 / 3 / math.sqrt(6) * math.log10(2))
    assert row.density == 0.6, "the mark stays: it is what the shooter reads"
    assert "ND, 0.6, measured 0.90" in site.get(f"/kits/{kit}").text


def test_a_measured_filter_is_worked_with_on_the_day_and_called_by_its_mark(site):
    """An 0.6 that takes three stops makes EV 14 too dark by one, if it is believed to take two."""
    day, (place,) = site.day_at(12.33, plates=(0.6,))
    before = next(site.get(f"/days/{day}").rows())
    site.keep(FILTER, **WALL, keep="1")
    after = next(site.get(f"/days/{day}").rows())
    assert after != before
    assert "0.6" in after
    assert place == 1


def test_a_lens_is_measured_against_one_whose_loss_is_known(site, kit):
    """A third wider for this lens than for one that loses half a stop: five sixths."""
    sent = WALL | {"with_aperture": "3.5", "known_loss": "0,5"}
    said = outcome(site.post(LENS, **sent))
    assert said.startswith("0.83 stops")
    assert "than was kept" in said
    led = site.keep(LENS, **sent, keep="1")
    assert led == f"/kits/{kit}#lenses"
    (lens,) = site.rows(tables.Lens)
    assert lens.loss_stops == pytest.approx(5 / 6, abs=0.01)
    assert site.get(f"/kits/{kit}").form(f"/kits/{kit}/lenses/1")["loss_stops"].value.startswith("0.83")


def test_a_loss_that_no_lens_has_is_refused_and_the_day_stays_open(site):
    """Eight stops are a cap that was left on. Kept, they would be a lens that no day can work with."""
    day, _ = site.day_at(8)
    sent = WALL | {"with_aperture": "4", "with_iso": "25600"}
    page = site.refused(LENS, **sent, keep="1")
    assert any("Not kept yet" in alert for alert in page.alerts)
    assert page.form(LENS)["with_iso"].value == "25600"
    site.get(f"/days/{day}")


WRONG = {
    "no aperture": ({"without_aperture": ""}, {"without_aperture"}),
    "an aperture of 0": ({"with_aperture": "0"}, {"with_aperture"}),
    "a shutter of 1/0": ({"with_shutter": "1/0"}, {"with_shutter"}),
    "an ISO of 0": ({"without_iso": "0"}, {"without_iso"}),
    "a meter beyond all": ({"with_meter": "99"}, {"with_meter"}),
    "a meter in words": ({"without_meter": "dark"}, {"without_meter"}),
    "several at once": ({"without_aperture": "x", "with_iso": "y"}, {"without_aperture", "with_iso"}),
}


@pytest.mark.parametrize("path", [FILTER, LENS], ids=["filter", "lens"])
@pytest.mark.parametrize(("changes", "fields"), WRONG.values(), ids=WRONG)
def test_a_wrong_reading_has_a_word_beside_its_field(unchanged, path, changes, fields):
    page = unchanged.refused(path, **WALL | changes)
    assert set(page.refused) == fields
    form = page.form(path)
    assert {name: form[name].value for name in WALL if name != "step"} == {
        name: value for name, value in (WALL | changes).items() if name != "step"
    }


def test_more_light_through_the_glass_is_told_as_a_mistake(unchanged):
    """The two readings were swapped, or the sun came out between them."""
    page = unchanged.refused(FILTER, **WALL | {"with_aperture": "8"})
    assert any("less light" in alert for alert in page.alerts)


@pytest.mark.parametrize("step", ["1/4", "", "third", "0"])
def test_a_meter_shows_thirds_tenths_or_halves(unchanged, step):
    page = unchanged.refused(FILTER, **WALL | {"step": step})
    assert set(page.refused) == {"step"}


@pytest.mark.parametrize(
    "path", ["/kits/99/filters/1", "/kits/1/filters/99", "/kits/1/lenses/0", "/kits/1/bodies/1", "/kits/1/filters/x"]
)
def test_what_is_not_there_or_cannot_be_measured_is_404(unchanged, path):
    unchanged.get(f"{path}/measure", 404)
    assert unchanged.post(f"{path}/measure", **WALL).status_code == 404


def test_a_filter_of_another_kit_is_404(site, kit):
    other = site.kit("Other kit", plates=(1.2,))
    assert other != kit
    assert site.post(f"/kits/{other}/filters/1/measure", **WALL, keep="1").status_code == 404
    assert [row.measured for row in site.rows(tables.Filter)] == [None, None]
