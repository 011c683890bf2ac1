"""What stands behind the day page: other ways to a place, the bag, and a grad for the sky."""

from __future__ import annotations

import json
import re

import pytest

from server.book import tables
from tests.conftest import new_id
from tests.page import Page


def words(page, name):
    """What an element of the page says, its items apart."""
    source = re.search(rf'<(\w+)[^>]* id="{name}".*?</\1>', page.source, re.DOTALL)
    if source is None:
        return []
    items = re.split("<li>", source[0].partition(">")[2])
    said = (" ".join(re.sub("<[^>]+>", " ", item).split()) for item in items)
    return [item for item in said if item]


def exact_look(site, day, place, **look):
    """One iris and nothing else wanted at a place, so that a hand calculation has one answer."""
    setup = f"/days/{day}/setup"
    only = dict.fromkeys(("wanted", "widest", "narrowest"), "2.8") | look
    site.submit(site.get(setup).form(setup), **{f"{name}_{place}": value for name, value in only.items()})


def polariser(site, **changes):
    usual = {"name": "Pola", "kind": "polariser", "mount": "front", "thread": "105", "engraved": "1⅓ stops"}
    site.keep("/kits/1/filters", **usual | changes)
    return str(site.rows(tables.Filter)[-1].id)


def wear(site, day, place, *filters):
    setup = f"/days/{day}/setup"
    site.submit(site.get(setup).form(setup), **{f"worn_{place}": list(filters) or None})


# Other ways.


def ways(page, day):
    return page.form(f"/days/{day}/moves").buttons


def test_the_next_row_leads_to_the_other_ways_and_from_there_to_every_place(site):
    day, (one, two, three) = site.day_at(8, 12, 14)
    link = f"/days/{day}/places/{one}/ways"
    assert link in site.get(f"/days/{day}").links
    links = site.get(link).links
    assert f"/days/{day}/places/{two}/ways" in links
    assert f"/days/{day}/places/{three}/ways" in links


def test_the_ways_are_quickest_first_and_none_is_given_twice(site):
    day, (one, _) = site.day_at(12, 6)
    page = site.get(f"/days/{day}/places/{one}/ways")
    taps = [value for _, value in ways(page, day)]
    assert len(taps) > 2
    assert len(set(taps)) == len(taps)
    seconds = [float(found) for found in re.findall(r"<span>([\d.]+) s by hand</span>", page.source)]
    assert len(seconds) == len(taps)
    assert seconds == sorted(seconds)


def test_no_way_is_beaten_on_time_iris_and_iso_at_once(site):
    """Whoever takes a slower way gets the wanted iris or a lower ISO for it."""
    day, (one, _) = site.day_at(12, 6)
    page = site.get(f"/days/{day}/places/{one}/ways")
    rows = re.findall(
        r"<span>([\d.]+) s by hand</span><span>(.*?)</span><span>(.*?)</span>", page.source.replace("\n", "")
    )
    assert len(rows) == len(ways(page, day))
    assert len({(iris, iso) for _, iris, iso in rows}) == len(rows), "one way for each picture"
    assert any(iris == "the iris you want" for _, iris, _ in rows)


def test_every_way_can_be_taken(site):
    """Each tap that the page offers is one that the book keeps, with the rig that it showed."""
    day, (one, _) = site.day_at(12, 6)
    form = site.get(f"/days/{day}/places/{one}/ways").form(f"/days/{day}/moves")
    for name, value in form.buttons:
        led = site.submit(form, **{name: value, "event_id": new_id()}).headers["location"]
        assert led == f"/days/{day}"
        event = site.rows(tables.Event)[-1]
        assert (event.kind, event.data["place"]) == ("moved", one)
        assert event.data["rig"] == json.loads(value)["rig"]


def test_a_place_without_a_reading_has_no_ways_yet(site):
    day, (one, _) = site.day_at(None, 8)
    page = site.get(f"/days/{day}/places/{one}/ways")
    assert "no reading yet" in page.text
    assert f"/days/{day}/places/{one}/reading" in page.links


def test_a_look_that_cannot_be_worn_has_no_ways_and_says_so(site):
    day, (one, _) = site.day_at(8, 9)
    wear(site, day, one, polariser(site))
    assert "cannot be worn" in site.get(f"/days/{day}/places/{one}/ways").text


# The bag.


def bag(site, day):
    return site.get(f"/days/{day}/bag")


@pytest.mark.parametrize(
    ("ev", "packed", "at_home"),
    [
        # f/2.8, 1/50 and ISO 100 expose EV 8.64. Wanted is f/2.8 and nothing else.
        (8.64, [], "0.6 plate, 1.2 plate"),
        (10.64, ["0.6 plate", "the holder", "its 77 mm adapter ring"], "1.2 plate"),  # 2 stops over: 0.6 takes 1.99
        (12.64, ["1.2 plate", "the holder", "its 77 mm adapter ring"], "0.6 plate"),  # 4 over: 1.2 takes 3.99
        (14.64, ["0.6 plate", "1.2 plate", "the holder", "its 77 mm adapter ring"], ""),  # 6 over: both
    ],
)
def test_the_bag_holds_what_the_places_need_and_no_more(site, ev, packed, at_home):
    """By hand: what each light needs at one iris, one shutter and base ISO, and the parts that put it on the lens."""
    day, (one, _) = site.day_at(ev, None)
    exact_look(site, day, one)
    page = bag(site, day)
    assert [item.partition(" for ")[0] for item in words(page, "packed")] == packed
    assert all(item.endswith("for Place 1") for item in words(page, "packed"))
    assert words(page, "at-home") == ([at_home] if at_home else [])
    assert "Not counted Place 2: no reading yet" in page.text
    if not packed:
        assert "No glass is needed" in page.text


def test_a_piece_is_packed_for_every_place_that_would_lose_without_it(site):
    day, (one, two, three) = site.day_at(10.64, 10.64, 8.64)
    for place in (one, two, three):
        exact_look(site, day, place)
    assert words(bag(site, day), "packed")[0] == "0.6 plate for Place 1, Place 2"


def test_a_step_up_ring_is_packed_where_it_carries_the_holder(site):
    """The lens has 72 mm and the holder a ring for 77: one more thing that stays at home by mistake."""
    day, (one,) = site.day_at(12.64)
    exact_look(site, day, one)
    site.lens(1, "Old prime", thread="72")
    site.submit(site.get("/kits/1").form("/kits/1/rings"), step_ups="72-77")
    setup = f"/days/{day}/setup"
    site.submit(site.get(setup).form(setup), lens="2")
    packed = [item.partition(" for ")[0] for item in words(bag(site, day), "packed")]
    assert packed == ["1.2 plate", "the holder", "its 77 mm adapter ring", "the step-up ring 72 to 77 mm"]


def test_what_the_whole_kit_cannot_do_is_said_before_it_is_too_late(site):
    """Six stops over with four stops of glass, one iris and no faster shutter wanted than 1/50."""
    day, (one,) = site.day_at(14.64, plates=(1.2,))
    site.body(1, "One shutter", shutters="1/50", iso_base="100", iso_allowed="100", iso_quiet="")
    setup = f"/days/{day}/setup"
    site.submit(site.get(setup).form(setup), body="2")
    exact_look(site, day, one)
    site.keep("/kits/1/lenses/1", name="24-70", widest="2.8", smallest="2.8", thread="77")
    (short,) = words(bag(site, day), "short")
    assert short.startswith("Place 1 : ")
    assert re.search(r"1⅔ stops short|2 stops short", short), short
    gains = words(bag(site, day), "gains")
    assert any("would mend Place 1" in gain for gain in gains)


def test_a_kit_that_is_enough_gains_nothing(site):
    day, (one,) = site.day_at(8.64)
    exact_look(site, day, one)
    assert "No single ND" in bag(site, day).text


def test_a_look_that_cannot_be_worn_is_not_counted_and_does_not_break_the_bag(site):
    day, (one, two) = site.day_at(12.64, 12.64)
    for place in (one, two):
        exact_look(site, day, place)
    wear(site, day, one, polariser(site))
    page = bag(site, day)
    assert words(page, "packed")[0] == "1.2 plate for Place 2"
    assert "Not counted Place 1" in page.text


def test_a_worn_polariser_is_packed_for_its_look_and_counts_with_its_loss(site):
    """EV 9.97 is 1⅓ stops over, which is what it takes: no grey glass beside it."""
    day, (one,) = site.day_at(9.97)
    site.keep("/kits/1/holders/1", name="Holder", width="100", slots="2", rings="77", front="105")
    wear(site, day, one, polariser(site))
    exact_look(site, day, one)
    packed = [item.partition(" for ")[0] for item in words(bag(site, day), "packed")]
    assert packed == ["Pola", "the holder", "its 77 mm adapter ring"]


def test_a_day_without_places_has_an_empty_bag(site):
    day = site.day(site.venue(), site.kit())
    page = bag(site, day)
    assert "no places yet" in page.text
    assert words(page, "packed") == []


def test_the_day_leads_to_its_bag_and_reading_it_changes_nothing(unchanged):
    assert "/days/1/bag" in unchanged.get("/days/1").links
    assert bag(unchanged, 1)


def test_the_demo_s_bag_is_packed_from_its_kit(demo):
    page = bag(demo, 1)
    plates = {row.name for row in demo.rows(tables.Filter)}
    named = {item.partition(" for ")[0] for item in words(page, "packed")}
    assert named & plates
    assert not named & set((words(page, "at-home") or [""])[0].split(", "))


# A grad for the sky.


@pytest.fixture
def grads(site):
    """A day with a soft and a hard 0.6 grad in the kit; the path of its first place's grad page."""
    day, (one,) = site.day_at(11)
    for edge in ("soft", "hard"):
        site.keep("/kits/1/filters", name=f"{edge} one", kind="grad", mount="slot", engraved="0.6", edge=edge)
    return f"/days/{day}/places/{one}/grad"


SKY = {"sky": "14", "ground": "11", "skyline": "uneven", "wanted": "1"}


def advice(site, path, **changes):
    answer = site.post(path, **SKY | changes)
    assert answer.status_code == 200
    return " ".join(words(Page(answer.text), "advice"))


@pytest.mark.parametrize(("skyline", "edge"), [("uneven", "soft"), ("flat", "hard")])
def test_the_edge_goes_with_the_skyline(site, grads, skyline, edge):
    """Three stops apart, one may stay: a 0.6 takes 1.99, from the front slot where it can be moved."""
    said = advice(site, grads, skyline=skyline)
    assert f"0.6 {edge} grad in slot 1 from the subject; grey above" in said
    assert "stays 1 stop brighter" in said


def test_over_a_bright_ground_the_grad_is_upside_down(site, grads):
    """Snow under a grey sky."""
    assert "upside down, grey below" in advice(site, grads, sky="10", ground="13")


def test_a_sky_that_is_near_enough_needs_none(site, grads):
    assert "in slot" not in advice(site, grads, sky="11.5")


def test_grey_plates_take_the_slots_that_a_grad_would_need(site, grads):
    """Two plates in two slots: there is nowhere for it, and the page must not say where it goes."""
    form = site.get("/days/1/rig").form("/days/1/rig")
    site.submit(form, holder_on="1", slots=["1", "2"])
    assert "in slot" not in advice(site, grads)


def test_a_kit_without_grads_says_so(site):
    day, (one,) = site.day_at(11)
    said = advice(site, f"/days/{day}/places/{one}/grad")
    assert said
    assert "in slot" not in said


def test_the_form_starts_from_the_light_that_is_known_and_warns_of_the_sun(unchanged):
    page = unchanged.get("/days/1/places/1/grad")
    assert page.form("/days/1/places/1/grad")["ground"].value == "8.0"
    assert "never look at the sun" in page.text
    assert "not eye protection" in page.text


WRONG_SKIES = {
    "no sky": ({"sky": ""}, {"sky"}),
    "a sky in words": ({"sky": "blue"}, {"sky"}),
    "a sky beyond all": ({"sky": "99"}, {"sky"}),
    "a ground beyond all": ({"ground": "-99"}, {"ground"}),
    "a skyline of no kind": ({"skyline": "round"}, {"skyline"}),
    "more than may stay": ({"wanted": "11"}, {"wanted"}),
    "several at once": ({"sky": "x", "ground": "y"}, {"sky", "ground"}),
}


@pytest.mark.parametrize(("changes", "fields"), WRONG_SKIES.values(), ids=WRONG_SKIES)
def test_a_wrong_sky_has_a_word_beside_its_field(unchanged, changes, fields):
    path = "/days/1/places/1/grad"
    page = unchanged.refused(path, **SKY | changes)
    assert set(page.refused) == fields
    form = page.form(path)
    typed = {name: value for name, value in (SKY | changes).items() if name != "skyline"}
    assert {name: form[name].value for name in typed} == typed


def test_asking_for_a_grad_keeps_nothing(site, grads):
    before = site.book()
    advice(site, grads)
    assert site.book() == before


# What is not there.


@pytest.mark.parametrize("number", ["99", "0", "abc", str(2**40)])
def test_a_day_or_place_that_is_not_there_is_404(unchanged, number):
    for path in (f"/days/{number}/bag", f"/days/{number}/places/1/ways", f"/days/1/places/{number}/ways",
                 f"/days/{number}/places/1/grad", f"/days/1/places/{number}/grad"):  # fmt: skip
        unchanged.get(path, 404)
    assert unchanged.post(f"/days/1/places/{number}/grad", **SKY).status_code == 404
    assert unchanged.post(f"/days/{number}/lens", event_id=new_id(), lens="1").status_code == 404


def test_a_kit_too_large_to_pack_says_so_on_its_page(demo_client, monkeypatch):
    """The limit is the engine's; the page says what it is and what to do, and is no error of ours."""
    monkeypatch.setattr("server.exposure.packing.WAYS_MOST", 0)
    page = demo_client.get("/days/1/bag")
    assert page.status_code == 422
    assert "too large to find its smallest bag" in page.text
