"""A second camera on a day: its own kit, its answers, what is shared with the first, and what is not."""

from __future__ import annotations

import csv
import io
import re

import pytest

from server.book import tables
from tests.conftest import another_crew, new_id, somebody

FIELDS = {"iso_base": "100", "format": "full_frame"}


@pytest.fixture
def both(site):
    """A day at two places, its lead, and a second shooter who films it with a kit of their own on four thirds."""
    day, places = site.day_at(14, 6)
    assert day == 1
    with site.client.app.state.book.writing() as session:
        session.get_one(tables.Body, 1).format = "full_frame"
        session.get_one(tables.Lens, 1).focal_mm = 50
        session.get_one(tables.Kit, 1).stamp = tables.new_stamp()
    lead, second = somebody(site, "lead", "Ines"), somebody(site, "second", "Cem")
    kit = second.kit("Second bag", plates=(0.9,), slots=1)
    second.body(kit, "Small body", format="four_thirds")
    second.lens(kit, "12-40", widest="1.4", smallest="16", focal_mm="12", focal_long_mm="40")
    film(second, kit, body=3, lens=3)
    return lead, second, places


def film(shooter, kit, body, lens, holder="", how="field", status=303):
    sent = {"kit": str(kit), "body": str(body), "lens": str(lens), "holder": holder, "how": how}
    answer = shooter.post("/days/1/camera", **sent)
    assert answer.status_code == status, answer.text
    return answer


def looks_wanted(shooter):
    """What each row turns the iris to."""
    return re.findall(r"(?:to|stay at) (f/[\d.]+)", shooter.get("/days/1").text)


def test_the_second_is_answered_for_their_own_kit(both):
    """f/2.8 at 50 mm on full frame is f/1.4 at 25 mm on four thirds."""
    lead, second, _ = both
    assert "f/2.8" in looks_wanted(lead)
    assert "f/1.4" in looks_wanted(second)
    assert "same field at 25 mm" in second.get("/days/1").text
    assert "same field" not in lead.get("/days/1").text


def test_each_sees_where_the_other_stands_and_what_is_on(both):
    lead, second, (yard, hall) = both
    assert "Cem : not started" in lead.get("/days/1").text
    assert "The first camera : not started" in second.get("/days/1").text
    assert lead.tap(1, yard).status_code == 303
    seen = second.get("/days/1").text
    assert re.search(r"Ines , first camera: Place 1 since \d\d:\d\d\. f/2.8, 1/50, ISO \d+, holder on with", seen), seen
    assert second.tap(1, hall).status_code == 303
    assert re.search(r"Cem : Place 2 since \d\d:\d\d\. f/1.4, 1/50, ISO \d+, ", lead.get("/days/1").text)
    assert second.get("/days/1").text.count("Place 2") > 0
    assert "You are here" in lead.get("/days/1").text


def test_what_one_does_with_the_camera_moves_nothing_on_the_other(both):
    lead, second, (yard, hall) = both
    lead.tap(1, yard)
    before = lead.get("/days/1").source
    second.tap(1, hall)
    after = lead.get("/days/1").source
    rig = re.compile(r'<section class="rig".*?</section>', re.DOTALL)
    assert rig.search(before)[0] == rig.search(after)[0]
    assert "Place 1" in re.search(r"<h1[^>]*>([^<]*)", after)[1]


def test_a_nudge_of_one_is_the_other_s_light_too(both):
    lead, second, (yard, _) = both
    lead.tap(1, yard)
    second.tap(1, yard)
    assert "EV 14.0" in second.get("/days/1").text
    assert lead.post("/days/1/nudges", event_id=new_id(), place=str(yard), clicks="-1").status_code == 303
    assert "EV 13.7" in second.get("/days/1").text


def test_undo_takes_back_one_s_own_and_not_the_other_s(both):
    lead, second, (yard, hall) = both
    lead.tap(1, yard)
    second.tap(1, hall)
    undo = second.get("/days/1").form("/days/1/undo")
    of_lead = lead.get("/days/1").form("/days/1/undo")["event"].value
    assert undo["event"].value != of_lead
    refused = second.post("/days/1/undo", event_id=new_id(), event=of_lead)
    assert refused.status_code == 422
    assert "another camera’s shooter did that" in refused.text
    second.submit(undo)
    assert "Cem : not started" in lead.get("/days/1").text
    assert "Ines , first camera: Place 1" in second.get("/days/1").text


def test_the_report_says_which_camera(both):
    lead, second, (yard, hall) = both
    lead.tap(1, yard)
    second.tap(1, hall)
    rows = list(csv.DictReader(io.StringIO(lead.client.get("/days/1/report.csv").text)))
    assert [(row["camera"], row["place"], row["body"], row["who"]) for row in rows] == [
        ("first", "Place 1", "Body", "Ines"), ("Cem", "Place 2", "Small body", "Cem"),
    ]  # fmt: skip
    assert "Camera" in lead.get("/days/1/report").text


def test_the_plan_and_the_order_are_each_for_their_own(both):
    """The order's table keeps the first camera's looks, whoever edits it."""
    _lead, second, _ = both
    assert second.get("/days/1/order").form("/days/1/order") is not None
    for page in ("plan", "bag", "take", "report", "rig", "card", "light"):
        assert second.client.get(f"/days/1/{page}").status_code == 200, page


def test_the_first_camera_again_loses_nothing(both):
    lead, second, (_yard, hall) = both
    second.tap(1, hall)
    events = lead.rows(tables.Event)
    second.keep("/days/1/camera/end")
    assert "f/1.4" not in looks_wanted(second)
    assert [event.id for event in lead.rows(tables.Event)] == [event.id for event in events]
    rows = list(csv.DictReader(io.StringIO(lead.client.get("/days/1/report.csv").text)))
    assert [row["camera"] for row in rows] == ["Cem"]
    film(second, 2, body=3, lens=3)
    assert "You are here" not in second.get("/days/1").text, "it is another camera, which has not started"


def test_what_cannot_be_matched_is_said(both):
    lead, second, _ = both
    film(second, 1, body=1, lens=1, how="blur")
    with lead.client.app.state.book.writing() as session:
        session.get_one(tables.Body, 3).format = None
        session.get_one(tables.Kit, 2).stamp = tables.new_stamp()
    film(second, 2, body=3, lens=3)
    assert "not matched: sensor not known" in second.get("/days/1").text


def test_a_lens_that_does_not_open_so_far_is_said(both):
    lead, second, _ = both
    with lead.client.app.state.book.writing() as session:
        session.get_one(tables.Lens, 3).widest = 2.8
        session.get_one(tables.Kit, 2).stamp = tables.new_stamp()
    assert "background sharper by 2 stops: the lens opens no wider" in second.get("/days/1").text


WRONG = {
    "kit": ({"kit": "99"}, "There is no such kit any more"),
    "body": ({"body": "1"}, "This kit has no such body any more"),
    "lens": ({"lens": "1"}, "This kit has no such lens any more"),
    "holder": ({"holder": "1"}, "This kit has no such holder any more"),
    "how": ({"how": "magic"}, "a match of the list"),
    "nothing": ({"body": ""}, "a whole number"),
}


@pytest.mark.parametrize(("changes", "word"), WRONG.values(), ids=WRONG)
def test_what_a_kit_has_not_is_refused_beside_its_field(both, changes, word):
    _lead, second, _ = both
    sent = {"kit": "2", "body": "3", "lens": "3", "holder": "", "how": "field"} | changes
    assert word in second.refused("/days/1/camera", **sent).text


def test_another_crew_s_kit_is_not_there(both):
    lead, second, _ = both
    other = somebody(lead, "lead", "Tom", another_crew(lead))
    theirs = other.kit("Theirs")
    page = second.refused("/days/1/camera", kit=str(theirs), body="4", lens="4", holder="", how="field")
    assert "no such kit" in page.text
    assert other.client.get("/days/1/camera").status_code == 404


def test_whoever_is_at_the_demo_s_machine_is_told_why_not(demo):
    assert "Come in by an invite" in demo.get("/days/1/camera").text
    page = demo.refused("/days/1/camera", kit="1", body="1", lens="1", holder="", how="field")
    assert "Come in by an invite" in page.text


def test_a_kit_without_a_lens_keeps_nobody_from_the_day(both):
    """Of the other camera's kit, nothing can be said; the first one's day goes on."""
    lead, second, _ = both
    second.keep("/kits/2/lenses/3/removal")
    second.keep("/kits/2/lenses/2/removal")
    assert lead.client.get("/days/1").status_code == 200
    assert second.client.get("/days/1").status_code < 500


def test_somebody_who_is_let_go_leaves_their_camera_s_lines(both):
    lead, second, (_, hall) = both
    second.tap(1, hall)
    person = next(row.id for row in lead.rows(tables.Person) if row.name == "Cem")
    lead.keep(f"/crew/people/{person}/end")
    rows = list(csv.DictReader(io.StringIO(lead.client.get("/days/1/report.csv").text)))
    assert [row["camera"] for row in rows] == ["Cem"]
    assert "Cem : Place 2" in lead.get("/days/1").text
