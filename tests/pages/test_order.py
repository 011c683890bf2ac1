"""The running order: typed, pasted, read from files, moved, shifted, kept, and written out again."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta

import icalendar
import pytest

from server.book import tables
from server.exposure.days import STOPS_MOST
from tests.conftest import FRAGMENT
from tests.page import Page

SUMMER = "2026-06-20"
BACK = "2026-10-24"  # British clocks go back in the night after it


@pytest.fixture
def planned(site):
    """A day in June at two places, and its number."""
    venue = site.venue()
    site.place(venue, "Yard", 14, "lamps"), site.place(venue, "Loft", 6), site.place(venue, "Cellar")
    return site, site.day(venue, site.kit(), on=SUMMER)


def table(*lines, **more):
    """The fields of the table: (time, what, place) a line, or a dict."""
    sent = {}
    for n, line in enumerate(lines):
        fields = line if isinstance(line, dict) else dict(zip(("at", "name", "place"), line, strict=False))
        sent |= {f"{name}_{n}": str(value) for name, value in fields.items()}
    return sent | more


def kept(site):
    return [
        (row.minutes, row.name, row.place_id) for row in sorted(site.rows(tables.Stop), key=lambda row: row.minutes)
    ]


def shown(page):
    """The lines of the table that are not empty: time, end, name, place."""
    form = page.form("/days/1/order")
    values = {each.name: each.value for each in form.fields}
    lines = [
        [values[f"{name}_{n}"] for name in ("at", "until", "name", "place")] for n in range(200) if f"at_{n}" in values
    ]
    return [tuple(line) for line in lines if any(line)]


def keep(site, *lines, **more):
    return site.keep("/days/1/order", **table(*lines, **more))


def test_typed_kept_and_shown_again(planned):
    site, _ = planned
    keep(
        site, ("13:30", "Vows", 2), {"at": "14:00", "until": "14:30", "place": 1, "wanted": "f/4", "notes": "left side"}
    )
    assert kept(site) == [(810, "Vows", 2), (840, "Yard", 1)], "what has no name is called as its place"
    page = site.get("/days/1/order")
    assert shown(page) == [("13:30", "", "Vows", "2"), ("14:00", "14:30", "Yard", "1")]
    fields = {each.name: each.value for each in page.form("/days/1/order").fields}
    assert (fields["wanted_1"], fields["notes_1"]) == ("4", "left side")
    row = max(site.rows(tables.Stop), key=lambda row: row.minutes)
    assert (row.lasts, row.wanted) == (30, 4.0)


def test_lines_typed_out_of_order_are_put_in_order(planned):
    site, _ = planned
    keep(site, ("15:00", "Late", 1), ("13:30", "Early", 2))
    assert [name for _, _, name, _ in shown(site.get("/days/1/order"))] == ["Early", "Late"]


def test_a_stop_that_is_changed_stays_the_same_stop(planned):
    """Its number is in the day's log, its uid in other people's calendars."""
    site, _ = planned
    keep(site, ("13:30", "Vows", 2), ("14:00", "Drinks", 1))
    before = {row.name: (row.id, row.uid) for row in site.rows(tables.Stop)}
    form = site.get("/days/1/order").form("/days/1/order")
    site.submit(form, at_0="13:45", name_1="")
    after = {row.minutes: (row.id, row.uid) for row in site.rows(tables.Stop)}
    assert after == {825: before["Vows"], 840: before["Drinks"]}


def test_what_is_emptied_or_removed_is_gone(planned):
    site, _ = planned
    keep(site, ("13:30", "Vows", 2), ("14:00", "Drinks", 1), ("15:00", "Speeches", 1))
    form = site.get("/days/1/order").form("/days/1/order")
    answer = site.submit(form, status=200, do="remove:1")
    assert [name for _, _, name, _ in shown(Page(answer.text))] == ["Vows", "Speeches"]
    assert len(kept(site)) == 3, "nothing is kept until somebody says so"
    site.submit(Page(answer.text).form("/days/1/order"), do="keep", at_1="", name_1="", place_1="")
    assert [name for _, name, _ in kept(site)] == ["Vows"]


WRONG = {
    "a time that is none": (("25:00", "Dinner", 1), "at_0", "25:00"),
    "no time": (("", "Dinner", 1), "at_0", "When?"),
    "words for a time": (("soon", "Dinner", 1), "at_0", "soon"),
    "neither what nor where": ({"at": "13:00", "notes": "bring water"}, "name_0", "What, or where?"),
    "a place of another day": (("13:00", "Dinner", 99), "place_0", "no such place"),
    "a place that is a word": (("13:00", "Dinner", "barn"), "place_0", "barn"),
    "a lens that the kit has not": ({"at": "13:00", "name": "x", "lens": "77"}, "lens_0", "no such lens"),
    "an iris in words": ({"at": "13:00", "name": "x", "wanted": "wide"}, "wanted_0", "wide"),
    "an iris that no lens has": ({"at": "13:00", "name": "x", "wanted": "0"}, "wanted_0", "0"),
    "no iris at all in a window": ({"at": "13:00", "name": "x", "wanted": "0", "widest": "2", "narrowest": "4"}, "wanted_0", "0"),
    "a wish beyond the one end that is said": ({"at": "13:00", "name": "x", "wanted": "4", "narrowest": "2.8"}, "wanted_0", "4"),
    "a window the wrong way round": ({"at": "13:00", "name": "x", "widest": "8", "narrowest": "4"}, "widest_0", "8"),
    "a wish outside its window": ({"at": "13:00", "name": "x", "wanted": "2", "widest": "4", "narrowest": "8"}, "wanted_0", "2"),
    "an end that is none": ({"at": "13:00", "until": "later", "name": "x"}, "until_0", "later"),
    "an end more than twelve hours on": ({"at": "13:00", "until": "12:00", "name": "x"}, "until_0", "12 hours"),
    "an end at the start": ({"at": "13:00", "until": "13:00", "name": "x"}, "until_0", "12 hours"),
    "a name without end": ({"at": "13:00", "name": "x" * 81}, "name_0", "80"),
    "notes without end": ({"at": "13:00", "name": "x", "notes": "x" * 501}, "notes_0", "500"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_bad_input_has_a_word_beside_its_field_and_loses_nothing(planned, case):
    site, _ = planned
    line, field, word = WRONG[case]
    page = site.refused("/days/1/order", **table(line, ("14:00", "Drinks", 1)))
    assert set(page.refused) == {field}
    assert word in page.refused[field]
    assert "What you typed is still here" in page.alerts[0]
    assert shown(page)[1] == ("14:00", "", "Drinks", "1")
    sent = table(line)
    typed = {each.name: each.value for each in page.form("/days/1/order").fields}
    assert all(typed[name] == value for name, value in sent.items() if name.partition("_")[0] not in ("place", "lens"))


def test_more_stops_than_a_day_can_have_are_refused(planned):
    site, _ = planned
    lines = [(f"{6 + n // 10:02}:{n % 10:02}", f"Stop {n}", 1) for n in range(STOPS_MOST + 1)]
    assert f"a day has {STOPS_MOST} at most" in site.refused("/days/1/order", **table(*lines)).alerts[0]
    keep(site, *lines[:-1])
    assert len(kept(site)) == STOPS_MOST


def test_a_window_that_a_stop_asks_for_alone_widens_the_place_s(planned):
    """f/8 at a place whose look goes from f/2 to f/4: asked for once, meant once."""
    site, _ = planned
    keep(site, {"at": "13:00", "place": 1, "wanted": "8"})
    assert site.rows(tables.Stop)[0].wanted == 8.0


# Past midnight, and a change of the clocks.


def test_after_midnight_is_still_the_day(planned):
    site, _ = planned
    keep(site, ("23:30", "Last dance", 1), {"at": "00:30", "until": "01:00", "name": "Sparklers", "place": 2})
    assert kept(site) == [(1410, "Last dance", 1), (1470, "Sparklers", 2)]
    page = site.get("/days/1/order")
    assert shown(page)[1] == ("00:30", "01:00", "Sparklers", "2")
    assert "next morning" in page.text


def test_both_of_two_equal_hours_are_kept_apart(planned):
    """In the night after 24 October 2026, 01:30 came twice in Britain."""
    site, _ = planned
    site.keep("/days/1/setup", **site.get("/days/1/setup").form("/days/1/setup").sends(on=BACK))
    keep(site, ("23:00", "Dance", 1), ("01:30 BST", "Cake", 1), ("01:30 GMT", "Taxis", 2))
    rows = sorted(site.rows(tables.Stop), key=lambda row: (row.minutes, row.second))
    assert [(row.name, row.minutes, row.second) for row in rows] == [
        ("Dance", 1380, False), ("Cake", 1530, False), ("Taxis", 1530, True),
    ]  # fmt: skip
    page = site.get("/days/1/order")
    assert [at for at, *_ in shown(page)] == ["23:00", "01:30 BST", "01:30 GMT"]
    site.submit(page.form("/days/1/order"))
    assert sorted((row.minutes, row.second) for row in site.rows(tables.Stop)) == [
        (1380, False),
        (1530, False),
        (1530, True),
    ]


def test_a_time_that_the_clocks_go_over_is_refused(planned):
    """In the night after 28 March 2026 British clocks went from 01:00 to 02:00."""
    site, _ = planned
    site.keep("/days/1/setup", **site.get("/days/1/setup").form("/days/1/setup").sends(on="2026-03-28"))
    page = site.refused("/days/1/order", **table(("23:00", "Dance", 1), ("01:30", "Cake", 1)))
    assert "the clocks go over it" in page.refused["at_1"]


def test_overlaps_are_kept_and_said(planned):
    site, _ = planned
    keep(site, {"at": "13:00", "until": "14:00", "name": "Vows", "place": 2}, ("13:30", "Group photographs", 1))
    assert "Group photographs begins at 13:30, before Vows is over" in site.get("/days/1/order").text


def test_a_stop_that_nobody_touched_stays_at_its_moment(planned):
    """00:30 of the next morning is still that when the evening's line above it goes."""
    site, _ = planned
    keep(site, ("23:00", "Dance", 1), ("00:30", "Sparklers", 2))
    form = site.get("/days/1/order").form("/days/1/order")
    page = Page(site.submit(form, status=200, do="remove:0").text)
    assert "next morning" in page.text
    site.submit(page.form("/days/1/order"))
    assert kept(site) == [(1470, "Sparklers", 2)]


def test_a_time_typed_over_another_is_of_the_same_night(planned):
    """00:30 of the next morning, with nothing above it, put right to 00:20."""
    site, _ = planned
    keep(site, ("23:00", "Dance", 1), ("00:30", "Sparklers", 2))
    form = site.get("/days/1/order").form("/days/1/order")
    alone = Page(site.submit(form, status=200, do="remove:0").text).form("/days/1/order")
    site.submit(alone, at_0="00:20")
    assert kept(site) == [(1460, "Sparklers", 2)]
    site.submit(site.get("/days/1/order").form("/days/1/order"), at_0="23:50")
    assert kept(site) == [(1430, "Sparklers", 2)], "and back over midnight"


def test_a_pasted_night_stays_the_night_when_the_evening_goes(planned):
    site, _ = planned
    page = brought(site, "23:00 Dance\n00:30 Taxis")
    page = Page(site.submit(page.form("/days/1/order"), status=200, do="remove:0").text)
    site.submit(page.form("/days/1/order"))
    assert kept(site) == [(1470, "Taxis", None)]


def test_an_early_stop_added_to_a_day_comes_early(planned):
    site, _ = planned
    keep(site, ("10:00", "Dress", 1), ("20:00", "Dance", 1))
    page = brought(site, "05:30 Sunrise", replaces="add")
    assert [name for _, _, name, _ in shown(page)] == ["Sunrise", "Dress", "Dance"]
    site.submit(page.form("/days/1/order"))
    assert kept(site)[0] == (330, "Sunrise", None)


def test_times_days_away_are_refused(planned):
    """Shifts at the desk add up; a stop stays on its day."""
    site, _ = planned
    keep(site, ("20:00", "Dance", 1))
    form = site.get("/days/1/order").form("/days/1/order")
    for _ in range(3):
        form = Page(site.submit(form, status=200, do="shift", shift_from="0", shift_by="720").text).form(
            "/days/1/order"
        )
    page = Page(site.submit(form, status=422).text)
    assert "not on this day" in page.refused["at_0"]
    tampered = site.refused("/days/1/order", at_0="x", known_0="99999.0 x", name_0="Dance")
    assert "at_0" in tampered.refused


def test_a_shift_past_another_stop_keeps_its_line(planned):
    """Vows five hours earlier come before the dress; the next shift is still from the vows on."""
    site, _ = planned
    keep(site, ("10:00", "Dress", 1), ("13:00", "Vows", 2))
    form = site.get("/days/1/order").form("/days/1/order")
    page = Page(site.submit(form, status=200, do="shift", shift_from="1", shift_by="-300").text)
    assert [name for _, _, name, _ in shown(page)] == ["Vows", "Dress"]
    assert page.form("/days/1/order")["shift_from"].value == "0"


def test_a_stale_table_that_is_wrong_too_asks_all_the_same(planned):
    site, _ = planned
    keep(site, ("13:00", "Vows", 2))
    old = site.get("/days/1/order").form("/days/1/order")
    site.submit(site.get("/days/1/order").form("/days/1/order"), at_1="15:00", name_1="Drinks")
    page = Page(site.submit(old, status=422, at_0="25:00").text)
    assert "changed meanwhile" in page.alerts[0]
    assert "at_0" in page.refused


def test_an_event_that_lasts_into_the_next_day_comes_without_its_end(planned):
    site, _ = planned
    page = brought(site, file=("ics", calendar(event(":20260620T110000Z", "House", DTEND="20260621T110000Z"))))
    assert shown(page) == [("12:00", "", "House", "")]
    assert "left out" in page.text


def test_an_early_stop_shifted_behind_a_later_one_stays_on_its_day(planned):
    """05:30 in the morning of the day, an hour later: 06:30 of that day, whatever else there is."""
    site, _ = planned
    keep(site, ("05:30", "Dress", 1), ("13:00", "Vows", 2))
    first = min(site.rows(tables.Stop), key=lambda row: row.minutes).id
    site.client.post("/days/1/order/shifts", data={"event_id": "shift-it-now", "stop": str(first), "minutes": "60"})
    form = site.get("/days/1/order").form("/days/1/order")
    assert form["at_0"].value == "06:30"
    site.submit(form)
    assert kept(site) == [(330, "Dress", 1), (780, "Vows", 2)]
    page = Page(site.submit(form, status=200, do="shift", shift_from="0", shift_by="-20").text)
    assert [at for at, *_ in shown(page)] == ["06:10", "13:40"]


def test_a_file_s_date_is_believed(planned):
    """05:00 of the day under a stop at 13:00 is the morning's; 00:30 of the next date alone is the next morning's."""
    site, _ = planned
    keep(site, ("13:00", "Vows", 2))
    page = brought(site, replaces="add", file=("csv", b"date,time,stop\n2026-06-20,05:00,Dawn\n"))
    site.submit(page.form("/days/1/order"))
    assert [minutes for minutes, *_ in kept(site)] == [300, 780]
    page = brought(site, file=("csv", b"date,time,stop\n2026-06-21,00:30,Sparklers\n"))
    site.submit(page.form("/days/1/order"))
    assert [minutes for minutes, *_ in kept(site)] == [1470]


def test_a_number_is_never_given_out_again(planned):
    """A stop that was shifted and removed leaves nothing to the next one."""
    site, _ = planned
    keep(site, ("13:00", "One", 1), ("14:00", "Two", 2))
    second = max(row.id for row in site.rows(tables.Stop))
    site.client.post("/days/1/order/shifts", data={"event_id": "shift-it-now", "stop": str(second), "minutes": "20"})
    form = site.get("/days/1/order").form("/days/1/order")
    site.submit(Page(site.submit(form, status=200, do="remove:1").text).form("/days/1/order"))
    site.submit(site.get("/days/1/order").form("/days/1/order"), at_1="16:00", name_1="Three")
    assert max(row.id for row in site.rows(tables.Stop)) > second
    assert [(at, name) for at, _, name, _ in shown(site.get("/days/1/order"))] == [("13:00", "One"), ("16:00", "Three")]


def test_a_table_that_was_opened_before_somebody_else_changed_the_order_is_not_kept_unasked(planned):
    """Two tabs, or a phone that has put the bride off meanwhile: what was typed stays, and is kept when asked again."""
    site, _ = planned
    keep(site, ("13:00", "Vows", 2))
    old = site.get("/days/1/order").form("/days/1/order")
    site.submit(site.get("/days/1/order").form("/days/1/order"), at_1="15:00", name_1="Drinks", place_1="1")
    answer = site.submit(old, status=422, notes_0="left side")
    page = Page(answer.text)
    assert "changed meanwhile" in page.alerts[0]
    assert len(kept(site)) == 2
    assert page.form("/days/1/order")["notes_0"].value == "left side"
    site.submit(page.form("/days/1/order"))
    assert [name for _, name, _ in kept(site)] == ["Vows"], "asked once more, this table stands"


def test_ends_across_clocks_that_go_back(planned):
    """00:45 to 01:15 in British summer time, an hour later: 01:45 BST to 01:15 GMT, half an hour as before."""
    site, _ = planned
    site.keep("/days/1/setup", **site.get("/days/1/setup").form("/days/1/setup").sends(on="2026-10-25"))
    keep(site, {"at": "00:45", "until": "01:15 BST", "name": "Owls", "place": 1})
    assert site.rows(tables.Stop)[0].lasts == 30
    form = site.get("/days/1/order").form("/days/1/order")
    page = Page(site.submit(form, status=200, do="shift", shift_from="0", shift_by="60").text)
    assert shown(page)[0][:2] == ("01:45 BST", "01:15 GMT")
    site.submit(page.form("/days/1/order"))
    assert site.rows(tables.Stop)[0].lasts == 30


def test_an_end_that_the_clocks_go_over_is_refused(planned):
    site, _ = planned
    site.keep("/days/1/setup", **site.get("/days/1/setup").form("/days/1/setup").sends(on="2026-03-28"))
    page = site.refused(
        "/days/1/order", **table(("23:00", "Dance", 1), {"at": "00:30", "until": "01:30", "name": "Cake"})
    )
    assert "the clocks go over it" in page.refused["until_1"]


def test_a_place_that_the_day_uses_no_more_is_not_wiped_unasked(planned):
    site, _ = planned
    keep(site, ("13:00", "Vows", 2), ("14:00", "Drinks", 1))
    site.submit(site.get("/days/1/setup").form("/days/1/setup"), used_2=None)
    page = site.get("/days/1/order")
    assert "not used on this day" in page.text
    site.submit(page.form("/days/1/order"))
    assert kept(site) == [(780, "Vows", 2), (840, "Drinks", 1)]


def test_what_is_typed_and_not_kept_comes_along_with_what_is_brought_in(planned):
    site, _ = planned
    keep(site, ("13:00", "Vows", 2))
    form = site.get("/days/1/order").form("/days/1/order")
    sent = form.sends(name_0="Vows, outdoors", lines="15:00 Yard", replaces="add")
    page = Page(site.client.post("/days/1/order/brought", data=sent, files={"file": ("", b"")}).text)
    assert [(at, name) for at, _, name, _ in shown(page)] == [("13:00", "Vows, outdoors"), ("15:00", "Yard")]
    assert "1 stop came in. Not kept yet" in page.text


def test_a_lens_of_a_file_that_the_kit_has_not_is_said(planned):
    site, _ = planned
    page = brought(site, file=("csv", b"time,stop,lens\n13:00,Vows,85 mm\n"))
    assert "This kit has no lens \u201c85 mm\u201d, for Vows" in page.text


# Moving and shifting.

THREE = (
    {"at": "13:00", "until": "13:20", "name": "One", "place": 1},
    {"at": "14:00", "name": "Two", "place": 2, "wanted": "4"},
    {"at": "15:00", "until": "16:00", "name": "Three", "place": 1},
)


@pytest.mark.parametrize(
    ("do", "order"),
    [
        ("up:1", ["Two", "One", "Three"]),
        ("down:1", ["One", "Three", "Two"]),
        ("drop:2:0", ["Three", "One", "Two"]),
        ("drop:0:2", ["Two", "Three", "One"]),
        ("up:0", ["One", "Two", "Three"]),
        ("down:2", ["One", "Two", "Three"]),
        ("drop:0:7", ["One", "Two", "Three"]),
        ("sideways:1", ["One", "Two", "Three"]),
        ("up:-1", ["One", "Two", "Three"]),
        ("drop:1", ["One", "Two", "Three"]),
    ],
)
@pytest.mark.parametrize("headers", [{}, FRAGMENT], ids=["plain form", "htmx"])
def test_stops_move_and_the_times_stay(planned, do, order, headers):
    """Each stop takes its own length along: One lasts twenty minutes wherever it goes."""
    site, _ = planned
    keep(site, *THREE)
    before = site.book()
    answer = site.post("/days/1/order", headers, **site.get("/days/1/order").form("/days/1/order").sends(do=do))
    assert answer.status_code == 200
    lines = shown(Page(answer.text))
    assert [at for at, *_ in lines] == ["13:00", "14:00", "15:00"]
    assert [name for _, _, name, _ in lines] == order
    lasts = {name: (at, until) for at, until, name, _ in lines}
    assert lasts["One"][1] == f"{lasts['One'][0][:2]}:20"
    assert lasts["Two"][1] == ""
    assert site.book() == before


def test_a_moved_order_is_kept_as_it_stands(planned):
    site, _ = planned
    keep(site, *THREE)
    moved = Page(site.submit(site.get("/days/1/order").form("/days/1/order"), status=200, do="up:1").text)
    site.submit(moved.form("/days/1/order"))
    assert [name for _, name, _ in kept(site)] == ["Two", "One", "Three"]
    assert {row.name: row.wanted for row in site.rows(tables.Stop)} == {"One": None, "Two": 4.0, "Three": None}


def test_everything_from_a_line_on_is_shifted_at_the_desk(planned):
    site, _ = planned
    keep(site, *THREE)
    form = site.get("/days/1/order").form("/days/1/order")
    page = Page(site.submit(form, status=200, do="shift", shift_from="1", shift_by="+20 min").text)
    assert [(at, until) for at, until, *_ in shown(page)] == [("13:00", "13:20"), ("14:20", ""), ("15:20", "16:20")]


def test_a_move_leaves_empty_lines_out(planned):
    """An empty line between two stops is not a time to go to."""
    site, _ = planned
    page = Page(
        site.post("/days/1/order", **table(("13:00", "One", 1), {"at": ""}, ("15:00", "Two", 2), do="up:2")).text
    )
    assert [(at, name) for at, _, name, _ in shown(page)] == [("13:00", "Two"), ("15:00", "One")]


@pytest.mark.parametrize("by", ["", "a while", "0", "1000", "1.5"])
def test_a_shift_that_is_none_is_refused_beside_its_field(planned, by):
    site, _ = planned
    keep(site, *THREE)
    form = site.get("/days/1/order").form("/days/1/order")
    page = Page(site.submit(form, status=200, do="shift", shift_from="1", shift_by=by).text)
    assert "shift_by" in page.refused
    assert [at for at, *_ in shown(page)] == ["13:00", "14:00", "15:00"]


# Pasting, and files.


def brought(site, lines="", status=200, replaces="replace", **files):
    sent = {name: (f"order.{kind}", content) for name, (kind, content) in files.items()}
    answer = site.client.post(
        "/days/1/order/brought", data={"lines": lines, "replaces": replaces}, files=sent or {"file": ("", b"")}
    )
    assert answer.status_code == status, answer.text[:300]
    return Page(answer.text)


def test_a_pasted_order_is_looked_through_before_it_is_kept(planned):
    site, _ = planned
    page = brought(site, "13:30 Yard: guests arrive\n14:00-14:40 Vows in the loft\n18:00 Dinner\n")
    assert kept(site) == []
    lines = shown(page)
    assert [(at, until, place) for at, until, _, place in lines] == [
        ("13:30", "", "1"), ("14:00", "14:40", "2"), ("18:00", "", ""),
    ]  # fmt: skip
    site.submit(page.form("/days/1/order"))
    assert [minutes for minutes, *_ in kept(site)] == [810, 840, 1080]


def test_what_is_pasted_is_added_or_takes_the_place_of_what_is_there(planned):
    site, _ = planned
    keep(site, ("14:00", "Vows", 2))
    assert [at for at, *_ in shown(brought(site, "13:30 Yard\n15:00 Yard", replaces="add"))] == [
        "13:30",
        "14:00",
        "15:00",
    ]
    assert [at for at, *_ in shown(brought(site, "13:30 Yard\n15:00 Yard"))] == ["13:30", "15:00"]


@pytest.mark.parametrize(
    "lines", ["", "hello", "25:00 Dinner", "\n".join(f"{n // 60:02}:{n % 60:02} Yard" for n in range(101))]
)
def test_a_paste_that_is_no_order_says_why_and_stays(planned, lines):
    site, _ = planned
    keep(site, ("14:00", "Vows", 2))
    page = brought(site, lines, status=422)
    assert "lines" in page.refused
    assert len(kept(site)) == 1
    assert shown(page) == [("14:00", "", "Vows", "2")]


def test_an_unknown_place_is_said_and_can_be_chosen(planned):
    site, _ = planned
    page = brought(site, file=("csv", b"time,stop,place\n13:00,Cows,Barn\n"))
    assert "is none of this day" in page.text
    site.submit(page.form("/days/1/order"), place_0="1")
    assert kept(site) == [(780, "Cows", 1)]


def test_written_as_csv_and_read_back_it_is_the_same(planned):
    site, _ = planned
    keep(
        site, {"at": "13:00", "until": "13:20", "name": '=Vows, "loud"', "place": 2, "wanted": "4", "notes": "+ flash"},
        ("23:30", "Dance", 1), ("00:30", "Sparklers", 1),
    )  # fmt: skip
    before = [(row.minutes, row.lasts, row.name, row.place_id, row.wanted, row.notes) for row in site.rows(tables.Stop)]
    answer = site.client.get("/days/1/order.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    assert 'filename="2026-06-20-running-order.csv"' in answer.headers["content-disposition"]
    rows = list(csv.reader(io.StringIO(answer.text)))
    assert rows[1][0] == SUMMER
    assert rows[3][0] == "2026-06-21"
    site.submit(brought(site, file=("csv", answer.content)).form("/days/1/order"))
    after = [(row.minutes, row.lasts, row.name, row.place_id, row.wanted, row.notes) for row in site.rows(tables.Stop)]
    assert sorted(after) == sorted(before)


def test_a_calendar_file_has_each_stop_and_reads_back(planned):
    """Read by a library of its own, so that it is other people's calendar and not only ours."""
    site, _ = planned
    keep(site, {"at": "13:00", "until": "13:20", "name": "Vows", "place": 2, "notes": "left; side"}, ("00:30", "Sparklers", 1),
         ("23:00", "Dance", 1))  # fmt: skip
    answer = site.client.get("/days/1/order.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    events = {str(event["SUMMARY"]): event for event in icalendar.Calendar.from_ical(answer.content).walk("VEVENT")}
    vows = events["Vows"]
    assert vows.decoded("DTSTART").astimezone(UTC) == datetime(2026, 6, 20, 12, tzinfo=UTC)
    assert vows.decoded("DTEND") - vows.decoded("DTSTART") == timedelta(minutes=20)
    assert (str(vows["LOCATION"]), str(vows["DESCRIPTION"])) == ("Loft, Old mill", "left; side")
    page = brought(site, file=("ics", answer.content))
    assert [(at, name, place) for at, _, name, place in shown(page)] == [
        ("13:00", "Vows", "2"), ("23:00", "Dance", "1"), ("00:30", "Sparklers", "1"),
    ]  # fmt: skip


CALENDAR = """BEGIN:VCALENDAR\r
VERSION:2.0\r
PRODID:-//made up//EN\r
{events}END:VCALENDAR\r
"""


def event(start, name, **more):
    lines = "".join(f"{key}:{value}\r\n" for key, value in more.items())
    return f"BEGIN:VEVENT\r\nUID:{name}@example.org\r\nDTSTAMP:20260101T000000Z\r\nDTSTART{start}\r\nSUMMARY:{name}\r\n{lines}END:VEVENT\r\n"


def calendar(*events):
    return CALENDAR.format(events="".join(events)).encode()


def test_a_calendar_from_elsewhere_comes_in_the_venue_s_time(planned):
    """09:00 in New York is 14:00 in London in June; a weekly meeting that falls on the day is expanded."""
    site, _ = planned
    content = calendar(
        event(";TZID=America/New_York:20260620T090000", "Call"), event(":20260620T120000Z", "Vows", LOCATION="Loft"),
        event(";TZID=Europe/London:20260606T180000", "Weekly", RRULE="FREQ=WEEKLY;COUNT=3"),
        event(":20260621T200000Z", "Tomorrow"), event(";VALUE=DATE:20260620", "All day"),
    )  # fmt: skip
    page = brought(site, file=("ics", content))
    assert [(at, name, place) for at, _, name, place in shown(page)] == [
        ("13:00", "Vows", "2"), ("14:00", "Call", ""), ("18:00", "Weekly", ""),
    ]  # fmt: skip
    assert "1 on other days" in page.text or "Left out" in page.text


def test_a_calendar_without_anything_on_the_day_says_so(planned):
    site, _ = planned
    page = brought(site, status=422, file=("ics", calendar(event(":20260704T120000Z", "Elsewhere"))))
    assert "20 June 2026" in page.refused["file"]


@pytest.mark.parametrize(
    "content",
    [b"BEGIN:VCALENDAR", b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nEND:VCALENDAR", b"\x00\xff\xfe", b"no,such,columns\n1,2,3\n", b"<html>"],
    ids=["cut off", "unclosed", "not text", "other columns", "a page"],
)  # fmt: skip
def test_a_file_that_is_no_order_says_why(planned, content):
    site, _ = planned
    keep(site, ("14:00", "Vows", 2))
    assert "file" in brought(site, status=422, file=("ics", content)).refused
    assert len(kept(site)) == 1


def test_ten_thousand_events_are_refused(planned):
    site, _ = planned
    short = "BEGIN:VEVENT\r\nUID:{0}\r\nDTSTART:20260620T120000Z\r\nSUMMARY:{0}\r\nEND:VEVENT\r\n"
    content = CALENDAR.format(events="".join(short.format(n) for n in range(10_000))).encode()
    assert len(content) < 1_000_000
    page = brought(site, status=422, file=("ics", content))
    assert "10,000" in page.refused["file"] or "10000" in page.refused["file"]


def test_more_stops_than_fit_beside_those_that_are_there_are_refused(planned):
    site, _ = planned
    keep(site, ("05:00", "First", 1))
    lines = "\n".join(f"{6 + n // 10:02}:{n % 10:02} Yard" for n in range(STOPS_MOST))
    assert "at most" in brought(site, lines, status=422, replaces="add").refused["lines"]


def test_another_crew_s_or_no_day_is_not_there(site):
    for path in (
        "/days/7/order",
        "/days/7/order.csv",
        "/days/7/order.ics",
        "/days/7/plan",
        "/days/7/card",
        "/days/7/report",
    ):
        assert site.client.get(path).status_code == 404
    assert site.client.post("/days/7/order", data=table(("13:00", "x", 1))).status_code == 404
