"""The day plan's picture: where things are drawn, worked by hand; what has no room; odd days; what is refused."""

from __future__ import annotations

import html
import math
import re
from datetime import UTC, datetime, timedelta
from itertools import combinations, pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.exposure.refused import OutOfRange
from server.exposure.sun import SunEvent
from server.pages import axis as sizes
from server.pages.drawing import _environment
from server.pages.plan_picture import BOLD, DASHES, WEIGHTS, At, Line, Ready, plan_picture, staggered

LONDON = ZoneInfo("Europe/London")
STYLES = Path(__file__).resolve().parents[2] / "static" / "lychgate.css"
WIDTHS = {"narrow": sizes.NARROW_PLOT, "wide": sizes.WIDE_PLOT}


def at(clock, day=20, month=6):
    """A moment by London's clock: "13:30"."""
    hour, minute = map(int, clock.split(":"))
    return datetime(2026, month, day, hour, minute, tzinfo=LONDON)


NOON, FOUR = at("12:00"), at("16:00")


def line(name, *ev100, spread=0.0, start=NOON, stop=FOUR, **more):
    """A line through these EV, evenly over the span."""
    first, last = start.astimezone(UTC), stop.astimezone(UTC)
    times = tuple((first + (last - first) * n / (len(ev100) - 1)).astimezone(LONDON) for n in range(len(ev100)))
    return Line(name, times, ev100, *(tuple(ev + side * spread for ev in ev100) for side in (-1, 1)), **more)


def stop(number, start, until, place=None, ev100=None, spread=0.0, **more):
    band = (None, None, None) if ev100 is None else (ev100, ev100 - spread, ev100 + spread)
    start, until = (at(each) if isinstance(each, str) else each for each in (start, until))
    return At(number, start, until, f"Stop {number}", place, *band, **more)


OUT, HALL = line("Orchard", 12.0, 12.0), line("Hall", 4.0, 4.0, lamps=True)


def picture(*stops, lines=(OUT, HALL), start=NOON, stop=FOUR, **more):
    return plan_picture(lines, stops, start, stop, **more)


def two(first=None, second=None):
    """Out in the orchard at one, in the hall from two to three."""
    return (
        stop(1, "13:00", "14:00", "Orchard", 12.0, **first or {}),
        stop(2, "14:00", "15:00", "Hall", 4.0, **second or {}),
    )


def rendered(made):
    called = '{% from "plan/_picture.html" import plan_picture %}{{ plan_picture(made) }}'
    return _environment.from_string(called).render(made=made)


def words(source):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", source)).split())


# Coordinates. From EV 4 to 12 the scale goes from 3 to 13, 20 px a stop. Over it stand 18 px of hours, 14 px of numbers
# and 8 px of air: EV 12 is at 60 px, EV 4 at 220, the foot at 240. A quarter of the four hours is 25 percent.


def test_the_way_follows_the_line_of_the_place_where_they_are_and_hops_to_the_next():
    made = picture(*two())
    assert made.way == "M25 60L50 60M50 220L75 220"
    assert made.hops == "M50 60L50 220"
    assert [place.line for place in made.places] == ["M0 60L100 60", "M0 220L100 220"]
    assert [(dot.x, dot.y) for dot in made.dots] == [(25, 60), (50, 220)]


def test_the_way_takes_the_line_s_own_figures_in_between():
    """From EV 12 at noon to EV 4 at four: EV 10 at one, EV 8 at two."""
    made = picture(stop(1, "13:00", "14:00", "Orchard", 10.0), lines=[line("Orchard", 12.0, 4.0)])
    assert made.way == "M25 100L50 140"


def test_each_of_two_places_crossing_is_followed_from_its_own_stop_on():
    """One falls from 12 to 4 while the other rises; at one they are at 10 and 6, at three at 6 and 10."""
    lines = line("Down", 12.0, 4.0), line("Up", 4.0, 12.0)
    made = picture(stop(1, "13:00", "15:00", "Down", 10.0), stop(2, "15:00", "16:00", "Up", 10.0), lines=lines)
    assert made.way == "M25 100L75 180M75 100L100 60"
    assert made.hops == "M75 180L75 100"


def test_the_sky_s_range_is_a_band_on_the_way_alone():
    """A stop either way is EV 11 to 13, and the scale 3 to 14: 200/11 px a stop."""
    lines = line("Orchard", 12.0, 12.0, spread=1.0), line("Hall", 4.0, 4.0, spread=0.5)
    made = picture(stop(1, "13:00", "14:00", "Orchard", 12.0, 1.0), lines=lines)
    assert made.band == "M25 58.2L50 58.2L50 94.5L25 94.5Z"


def test_a_stop_that_ends_before_the_next_begins_leaves_a_gap_that_is_hopped_over():
    made = picture(stop(1, "13:00", "13:30", "Orchard", 12.0), stop(2, "14:00", "15:00", "Hall", 4.0))
    assert made.way == "M25 60L37.5 60M50 220L75 220"
    assert made.hops == "M37.5 60L50 220"


def test_a_stop_that_ends_after_the_next_began_is_left_when_that_begins():
    made = picture(stop(1, "13:00", "15:30", "Orchard", 12.0), stop(2, "14:00", "15:00", "Hall", 4.0))
    assert made.way == "M25 60L50 60M50 220L75 220"


def test_two_stops_at_the_same_time_have_a_number_each_and_one_way():
    made = picture(stop(1, "13:00", "13:00", "Orchard", 12.0), stop(2, "13:00", "14:00", "Hall", 4.0))
    assert re.fullmatch(r"M25 [\d.]+L50 [\d.]+", made.way)
    assert [(text.text, text.x) for text in made.numbers] == [("1", 25), ("2", 25)]
    assert made.numbers[1].y - made.numbers[0].y == 14


def test_of_two_places_with_one_name_the_way_takes_the_one_with_the_stop_s_light():
    chapels = line("Chapel", 12.0, 12.0), line("Chapel", 4.0, 4.0)
    made = picture(stop(1, "13:00", "14:00", "Chapel", 4.0), stop(2, "14:00", "15:00", "Chapel", 12.0), lines=chapels)
    assert made.way == "M25 220L50 220M50 60L75 60"
    assert rendered(made).count(" Chapel</li>") == 2


def test_a_stop_with_a_reading_and_no_line_is_level():
    assert picture(stop(1, "13:00", "14:00", None, 12.0), lines=[HALL]).way == "M25 60L50 60"


def test_a_stop_without_a_reading_has_its_number_and_its_glass_and_no_way():
    made = picture(
        two({"glass": "0.6"})[0],
        stop(2, "13:30", "14:00", glass="1.2", touched=True),
        stop(3, "14:00", "15:00", "Hall", 4.0),
    )
    assert made.way == "M25 60L37.5 60M50 220L75 220"
    assert made.hops == "", "nobody knows over what"
    assert len(made.dots) == 2
    assert [text.text for text in made.numbers if text.only != "wide"] == ["1", "2", "3"]
    assert made.notes == ("No light is known at stop 2.",)
    assert made.lanes[0].boxes.count("M") == 2
    assert picture(stop(1, "13:00", "14:00"), lines=()).way == ""
    rendered(picture(stop(1, "13:00", "14:00"), lines=[Line("Loft", (), (), (), ())]))


def test_under_the_floor_the_way_is_drawn_along_the_foot_and_says_so():
    """From 8 to -12 is -2 at two o'clock, half way."""
    made = picture(stop(1, "13:00", "15:00", "Garden", 3.0), lines=[line("Garden", 8.0, -12.0)])
    foot = made.gridlines.split("M0 ")[1].split("H")[0]
    assert made.way.endswith(f"L50 {foot}")
    assert made.dark == f"M50 {foot}L75 {foot}"
    assert made.places[0].line.endswith(f"L50 {foot}"), "and the place's own line stops"
    assert "darker than EV −2" in words(rendered(made))
    assert "darker" not in rendered(picture(*two()))


def test_a_stop_that_is_done_is_a_full_mark():
    made = picture(*two({"done": True}))
    assert [[dot.x for dot in dots] for dots in (made.done, made.dots)] == [[25], [50]]
    assert rendered(made).count("plan-done") == 2, "in the picture and in the key"


# The glass, the lens, the iris.


def three(*glass, **more):
    return [
        stop(number + 1, f"{13 + number}:00", f"{14 + number}:00", glass=words_, **more)
        for number, words_ in enumerate(glass)
    ]


def boxes(lane):
    """From and to [percent] of a lane's boxes."""
    return [tuple(map(float, each)) for each in re.findall(r"M([\d.]+) [\d.]+H([\d.]+)", lane.boxes)]


def test_the_same_glass_at_stops_on_end_is_one_box():
    """The lanes begin 13 px under the scale's foot: 5 px of air and 8 px for the marks of hands."""
    made = picture(*two({"glass": "0.6"}, {"glass": "0.6", "touched": True}))
    assert made.lanes[0].boxes == "M25 253H75V273H25z"
    assert [(text.text, text.x) for text in made.lanes[0].texts] == [("0.6", 50)]
    assert made.touches == "M50 245V253"


def test_other_glass_begins_where_its_stop_begins_and_holds_until_the_next():
    made = picture(stop(1, "13:00", "13:30", glass="0.6"), *three("0.6", "1.2", "0.6")[1:])
    assert boxes(made.lanes[0]) == [(25, 50), (50, 75), (75, 100)]
    assert boxes(picture(*three("0.6", "", "0.6")).lanes[0]) == [(25, 50), (75, 100)], "not planned is no glass known"
    assert picture(*two()).lanes == ()


def test_glass_without_room_has_a_letter_that_the_key_explains():
    """A quarter of a phone's picture is 69 px, "holder off, 0.6 in it" some 140; a desk's is 152."""
    made = picture(*three("holder off, 0.6 in it", "0.6", "holder off, 0.6 in it"))
    said = {only: [text.text for text in made.lanes[0].texts if text.only in ("", only)] for only in WIDTHS}
    assert [sorted(said[only]) for only in WIDTHS] == [["0.6", "a", "a"], ["0.6"] + ["holder off, 0.6 in it"] * 2]
    assert made.keyed == (sizes.Keyed("a", "holder off, 0.6 in it", "narrow"),)
    assert '<li class="light-narrow"><b>a</b> holder off, 0.6 in it</li>' in rendered(made)


def test_glass_that_is_too_short_even_for_a_letter_is_said_to_be_in_the_table():
    made = picture(stop(1, "13:00", "13:05", glass="0.6"), stop(2, "13:05", "14:00", glass="1.2"))
    assert made.slivers == "narrow", "5 minutes are 6 px on a phone, 13 px at a desk"
    assert "no room for its letter" in rendered(made)


def test_a_lens_is_on_from_the_stop_where_it_is_changed():
    stops = [*three("0.6", "0.6"), stop(3, "15:00", "16:00", glass="0.6", lens="85 mm")]
    made = picture(*stops)
    assert [lane.name for lane in made.lanes] == ["glass", "lens"]
    assert boxes(made.lanes[1]) == [(75, 100)]
    assert [lane.name for lane in picture(*three("0.6")).lanes] == ["glass"]


def test_iris_and_iso_are_lanes_that_only_a_desk_has_room_for():
    made = picture(*two({"iris": "f/2.8", "iso": "ISO 100"}, {"iris": "f/2.8", "iso": "ISO 400"}))
    assert [(lane.name, boxes(lane)) for lane in made.more] == [("iris", [(25, 75)]), ("ISO", [(25, 50), (50, 75)])]
    assert [[text.text for text in lane.texts] for lane in made.more] == [["f/2.8"], ["100", "400"]]
    assert re.search(r'class="[^"]*light-wide"[^>]*aria-hidden', rendered(made))
    short = picture(stop(1, "13:00", "13:03", iris="f/2.8"), stop(2, "13:03", "14:00", iris="f/4"))
    assert [text.text for text in short.more[0].texts] == ["f/4"], "three minutes are 8 px"


def test_what_to_have_ready_is_a_star_at_the_number_and_said_once():
    made = picture(*three("0.6", "0.6", "0.6", ready="have 1.2 ready"))
    assert [text.text for text in made.numbers] == ["1*", "2*", "3*"]
    assert made.readies == (Ready("1*, 2*, 3*", "have 1.2 ready"),)
    assert "1*, 2*, 3* have 1.2 ready" in words(rendered(made))


# The places.


def test_places_are_told_apart_by_dashes_and_weight():
    many = [line(f"Place {number}", 1.0 + number, 1.0 + number) for number in range(12)]
    made = picture(stop(1, "13:00", "14:00"), lines=many)
    strokes = [(place.dash, place.weight) for place in made.places]
    assert len(set(strokes)) == 12 == len(DASHES) * len(WEIGHTS)
    source = rendered(made)
    assert len(set(re.findall(r'<path class="plan-line"( [^>]*?) d="M0 7H26"', source))) == 12
    assert re.findall(r"</svg> (Place \d+)</li>", source) == [f"Place {n}" for n in range(12)]


def test_a_name_stands_beside_its_line():
    """Over it, 3 px and the descenders away, since there is room."""
    (name,) = [text for text in picture(*two()).names if text.text == "Hall"]
    assert name.only == ""
    assert 205 < name.y < 220


def test_a_name_without_room_is_a_letter_and_the_key_explains_it():
    long = "The long gallery with the windows to the north"
    made = picture(*two(), lines=[OUT, HALL, line(long, 8.0, 8.0)])
    assert [text.text for text in made.names if text.only == "narrow" and text.text not in ("Orchard", "Hall")] == ["C"]
    assert (made.places[2].letter, made.places[2].only, made.places[0].letter) == ("C", "narrow", "")
    assert f'<b class="light-narrow">C</b> {long}' in rendered(made)


def test_where_lines_lie_on_each_other_no_name_is_put_on_them():
    """Forty places within four stops, 1.7 px apart: only the outermost have room outside."""
    many = [line(f"Place {number}", 8 + number / 10, 8 + number / 10) for number in range(40)]
    made = picture(stop(1, "13:00", "14:00"), lines=many)
    assert {text.text for text in made.names} <= {"Place 0", "Place 39"}


# Head.


def test_hours_are_written_where_they_have_room():
    made = picture(*two())
    assert {text.text: text.x for text in made.hours if text.only != "wide"} == {
        "12:00": 0, "13:00": 25, "14:00": 50, "15:00": 75,
    }  # fmt: skip
    assert "12:30" in {text.text for text in made.hours if text.only == "wide"}


def test_sunset_is_a_post_with_its_word_under_the_numbers():
    made = picture(*two(), sun=[SunEvent(at("15:00"), "sunset"), SunEvent(at("04:47"), "sunrise")])
    assert [text.text for text in made.head] == ["sunset 15:00"]
    assert made.sun.startswith("M75 34V"), "18 px of hours, 14 px of numbers, 2 px"
    assert picture(*two(), sun=[SunEvent(at("15:00"), "civil_dusk")]).sun == ""


def test_now_is_drawn_inside_the_span_alone():
    inside, outside = (picture(*two(), now=at(clock)) for clock in ("14:00", "17:00"))
    assert inside.now.startswith("M50 ")
    assert [text.text for text in inside.head_now] == ["now 14:00"]
    assert (outside.now, outside.head_now) == ("", ())
    assert 'class="light-now"' not in rendered(outside)


# Odd days.


def test_an_order_past_midnight_is_one_picture():
    """Six hours from nine: midnight is half way, one o'clock two thirds."""
    start, end = at("21:00"), at("03:00", 21)
    made = picture(
        stop(1, at("22:30"), at("00:00", 21), "Hall", 4.0),
        stop(2, at("00:00", 21), at("01:00", 21), "Hall", 4.0),
        lines=[line("Hall", 4.0, 4.0, start=start, stop=end)], start=start, stop=end,
    )  # fmt: skip
    assert [dot.x for dot in made.dots] == [25, 50]
    assert made.date == "Saturday 20 June to Sunday 21 June 2026"
    assert made.said.startswith("2 stops, from 22:30, Stop 1, to Sunday 00:00, Stop 2.")
    assert picture(*two(), stop=at("00:00", 21)).date == "Saturday 20 June 2026", "its end is not the next day"


def test_the_hour_that_comes_twice_is_as_long_as_any_other():
    """Back at 02:00 BST: from 00:00 to 04:00 are five hours, and 03:00 is four of them in."""
    start, end = at("00:00", 25, 10), at("04:00", 25, 10)
    made = picture(stop(1, at("03:00", 25, 10), end), lines=(), start=start, stop=end)
    assert [text.x for text in made.numbers] == [80]
    assert made.notes[0] == "The clocks change from BST to GMT."
    assert {text.text: text.x for text in made.hours}["03:00"] == 80
    assert "01:00" not in {text.text for text in made.hours}, "which of the two?"


def test_the_hour_that_is_left_out_takes_no_room():
    """On at 01:00 GMT: from 00:00 to 05:00 are four hours, and 03:00 is two of them in."""
    start, end = at("00:00", 29, 3), at("05:00", 29, 3)
    made = picture(stop(1, at("03:00", 29, 3), end), lines=(), start=start, stop=end)
    assert [text.x for text in made.numbers] == [50]
    assert made.notes[0] == "The clocks change from GMT to BST."


@pytest.mark.parametrize("hours", [1, 49])
def test_the_shortest_and_the_longest_span_are_drawn(hours):
    end = NOON + timedelta(hours=hours)
    made = picture(stop(1, NOON, NOON, glass="0.6"), lines=[line("Hall", 4.0, 4.0, stop=end)], stop=end)
    assert [text for text in made.hours if text.only != "wide"]
    assert made.lanes == (), "a stop that takes no time has no box"


# What never happens, whatever the order.


def written(made, width):
    """Every text of the picture as (left, right, foot, text) [px] on this width."""
    found = []
    lanes = [text for lane in made.lanes for text in lane.texts]
    for texts, bold in (
        (made.numbers, BOLD),
        ((*made.names, *made.head, *made.head_now, *made.hours, *lanes, *made.scale), 1.0),
    ):
        for text in texts:
            if text.only in ("", width):
                size = sizes.text_width(text.text) * bold
                begins = text.x / 100 * WIDTHS[width] + text.dx
                begins -= {"start": 0.0, "middle": size / 2, "end": size}[text.anchor]
                found.append((begins, begins + size, text.y, text.text))
    return found


@st.composite
def orders(draw):
    """A picture of up to thirty stops at up to six places, with any of the signs."""
    minutes = draw(st.integers(60, 49 * 60))
    end = NOON + timedelta(minutes=minutes)
    names = draw(
        st.lists(st.sampled_from(["Orchard", "Hall", "Jetty", "Nave", "The great lawn", "Ice house"]), unique=True)
    )
    lines = [line(name, *draw(st.lists(st.floats(-6, 16), min_size=2, max_size=9)), stop=end) for name in names]
    times = sorted(draw(st.lists(st.integers(0, minutes), min_size=1, max_size=30)))
    moments_ = [(NOON.astimezone(UTC) + timedelta(minutes=each)).astimezone(LONDON) for each in times]
    stops = [
        stop(
            number, start, until, draw(st.sampled_from([None, *names])), draw(st.none() | st.floats(-6, 16)), 0.5,
            glass=draw(st.sampled_from(["", "0.6", "no glass", "holder off, 0.6 in it"])), touched=draw(st.booleans()),
            ready=draw(st.sampled_from(["", "have 1.2 ready"])), lens=draw(st.sampled_from(["", "85 mm"])),
        )
        for number, (start, until) in enumerate(pairwise([*moments_, end]), 1)
    ]  # fmt: skip
    sun = [SunEvent(NOON + timedelta(minutes=draw(st.integers(0, minutes))), kind) for kind in ("sunset", "sunrise")]
    now = NOON + timedelta(minutes=draw(st.integers(0, minutes)))
    return plan_picture(lines, stops, NOON, end, sun, now)


@settings(deadline=None, max_examples=60)
@given(orders())
def test_no_two_texts_touch_on_any_width(made):
    for width in WIDTHS:
        for one, other in combinations(written(made, width), 2):
            beside = one[1] <= other[0] + 0.5 or other[1] <= one[0] + 0.5
            assert beside or abs(one[2] - other[2]) >= 11, (width, one, other)


@settings(deadline=None, max_examples=60)
@given(orders())
def test_no_name_stands_on_a_line_or_leaves_the_picture(made):
    """A line is looked at every two pixels; a name's letters go from 9 px over its foot to 2 px under it."""
    for width, plot in WIDTHS.items():
        lines = [points(place.line, plot) for place in made.places] + [points(made.way, plot)]
        names = [text for text in made.names if text.only in ("", width)]
        for text in names:
            left = text.x / 100 * plot + text.dx
            right = left + sizes.text_width(text.text)
            assert left >= 0
            assert right <= plot + sizes.MARGIN
            for x, y in (each for curve in lines for each in curve):
                assert not (left < x < right and text.y - 9 < y < text.y + 2), (text, x, y)


def points(path, plot):
    """A path's points, and points between them every two pixels [px]."""
    found = []
    for run in path.split("M")[1:]:
        ends = [tuple(map(float, point.split())) for point in run.split("L")]
        for (x0, y0), (x1, y1) in pairwise(ends):
            count = max(1, math.ceil((x1 - x0) / 100 * plot / 2))
            found += [((x0 + (x1 - x0) * n / count) / 100 * plot, y0 + (y1 - y0) * n / count) for n in range(count + 1)]
    return found


@given(st.lists(st.tuples(st.floats(0, 276), st.floats(8, 30)), max_size=60))
def test_numbers_in_a_row_never_touch_and_one_is_left_out_only_where_every_row_is_full(spans):
    spans = sorted((begins, begins + size) for begins, size in spans)
    rows = staggered(spans, most=4)
    for (one, row), (other, its) in combinations(zip(spans, rows, strict=True), 2):
        if row is not None and row == its:
            assert one[1] < other[0] or other[1] < one[0]
    for number, row in enumerate(rows):
        if row is None:
            assert set(rows[:number]) >= {0, 1, 2, 3}


def test_a_hundred_stops_have_their_numbers_and_none_is_crossed_by_a_line_to_another():
    """Evenly over the day they need several rows on a phone."""
    end = NOON + timedelta(hours=10)
    times = [(NOON + timedelta(minutes=6 * number)) for number in range(101)]
    made = picture(*(stop(n, *each) for n, each in enumerate(pairwise(times), 1)), lines=(), stop=end)
    assert made.crowded is None
    for (path, only), width in zip(made.leaders, WIDTHS, strict=True):
        assert only == width
        for x, y in re.findall(r"M([\d.]+) ([\d.]+)V", path):
            at_px = float(x) / 100 * WIDTHS[width]
            for begins, ends, foot, text in written(made, width):
                if text.isdecimal() and foot < made.high / 2 and foot - 8 > float(y):
                    assert not begins < at_px < ends, (text, x)


def test_numbers_that_have_no_room_are_said_to_be_in_the_table():
    made = picture(*(stop(number, "13:00", "13:00") for number in range(1, 11)), lines=())
    assert [text.text for text in made.numbers] == ["1", "2", "3", "4", "5", "6", "7", "8", "9"]
    assert made.crowded == ""
    assert "Numbers that have no room here are in the table." in words(rendered(made))


# Said.


def test_the_essential_is_a_sentence_or_two():
    made = picture(*two({"touched": True, "glass": "0.6"}, {"touched": True, "glass": "no glass"}))
    assert (
        made.said == "2 stops, from 13:00, Stop 1, to 14:00, Stop 2. Hands touch the glass 2 times, at stops 1 and 2."
    )
    alone = picture(stop(1, "13:00", "14:00"), lines=())
    assert alone.said == "1 stop, at 13:00, Stop 1. Hands never touch the glass."


def test_a_screen_reader_gets_one_picture_with_its_title_and_what_it_says():
    source = rendered(picture(*two({"iris": "f/2.8", "glass": "0.6"}), key_id="second"))
    ids = re.findall(r' id="([^"]+)"', source)
    assert len(ids) == len(set(ids))
    assert all(each.startswith("second") for each in ids)
    assert source.count('role="img"') == 1
    assert set(re.search(r'aria-labelledby="([^"]+)"', source)[1].split()) <= set(ids)
    for svg in re.findall(r"<svg [^>]*>", re.sub(r"<svg viewBox[^>]*>", "", source)):
        assert 'role="img"' in svg or 'aria-hidden="true"' in svg


def test_nothing_in_the_picture_needs_a_style_or_a_colour_of_its_own():
    """The Content-Security-Policy would drop the one; the other would mean something."""
    source = rendered(picture(*two({"glass": "0.6", "touched": True, "done": True}), now=NOON))
    assert " style=" not in source
    assert "<style" not in source
    assert re.findall(r'(?:fill|stroke)="([^"]+)"', source) == []


NASTY = "<script>\"&'</script>"


def test_names_are_shown_and_never_obeyed():
    said = {"glass": NASTY, "iris": NASTY, "iso": NASTY, "lens": NASTY, "ready": NASTY}
    made = picture(At(1, NOON, FOUR, NASTY, NASTY, 5.0, 5.0, 5.0, **said), lines=[line(NASTY, 5.0, 5.0)])
    source = rendered(made)
    assert "<script" not in source
    assert words(source).count(NASTY) > 5


def test_every_class_of_the_picture_is_in_the_stylesheet():
    styles = STYLES.read_text(encoding="utf-8")
    made = picture(*two({"glass": "0.6", "touched": True, "done": True, "iris": "f/2"}))
    classes = {each for all_of in re.findall(r'class="([^"]+)"', rendered(made)) for each in all_of.split()}
    assert {"plan-way", "plan-done", "plan-more"} <= classes
    assert [each for each in classes if f".{each}" not in styles] == []


# What cannot be drawn.

NAN = float("nan")


@pytest.mark.parametrize(
    ("field", "made"),
    [
        ("ev100", lambda: line("Orchard", 4.0, NAN)),
        ("high", lambda: Line("Orchard", (NOON, FOUR), (4.0, 5.0), (4.0, 5.0), (4.0, math.inf))),
        ("times", lambda: Line("Orchard", (NOON,), (4.0,), (4.0,), (4.0,))),
        ("times", lambda: Line("Orchard", (FOUR, NOON), (4.0, 4.0), (4.0, 4.0), (4.0, 4.0))),
        ("times", lambda: picture(*two(), lines=[line("Orchard", 4.0, 4.0, stop=at("17:00"))])),
        ("stops.number", lambda: stop(0, "13:00", "14:00")),
        ("stops.number", lambda: picture(stop(2, "13:00", "14:00"))),
        ("stops.at", lambda: stop(1, datetime(2026, 6, 20, 13), "14:00")),  # noqa: DTZ001
        ("stops.at", lambda: picture(stop(1, "11:00", "14:00"))),
        ("stops.at", lambda: picture(stop(1, "14:00", "15:00"), stop(2, "13:00", "15:00"))),
        ("stops.until", lambda: stop(1, "14:00", "13:00")),
        ("stops.until", lambda: picture(stop(1, "13:00", "17:00"))),
        ("stops.ev100", lambda: stop(1, "13:00", "14:00", None, NAN)),
        ("stops.low", lambda: At(1, NOON, FOUR, "", None, 4.0, None, 5.0)),
        ("stops.high", lambda: At(1, NOON, FOUR, "", None, None, None, 5.0)),
        ("stops.ev100", lambda: At(1, NOON, FOUR, "", None, 4.0, 4.5, 5.0)),
        ("stops", picture),
        ("stops", lambda: picture(*[stop(1, "13:00", "14:00")] * 101)),
        ("lines", lambda: picture(*two(), lines=[OUT] * 201)),
        ("stop", lambda: picture(*two(), stop=NOON)),
        ("stop", lambda: picture(*two(), stop=NOON + timedelta(hours=50))),
        ("start", lambda: picture(*two(), start=datetime(2026, 6, 20))),  # noqa: DTZ001
        ("sun.at", lambda: picture(*two(), sun=[SunEvent(datetime(2026, 6, 20), "sunset")])),  # noqa: DTZ001
    ],
)
def test_what_cannot_be_drawn_is_refused_by_its_name(field, made):
    with pytest.raises(OutOfRange) as refused:
        made()
    assert refused.value.field == field


# Sizes.


def test_24_stops_at_12_places_are_under_40_kb():
    """Every line of a full day at steps of five minutes, all of the signs."""
    end = NOON + timedelta(hours=16)
    hills = [tuple(2 + n + 3 * math.sin(number / 20 + n) for number in range(193)) for n in range(12)]
    lines = [line(f"Place {n}, with a long name", *hill, spread=0.7, stop=end) for n, hill in enumerate(hills)]
    times = [NOON + timedelta(minutes=40 * number) for number in range(25)]
    stops = [
        stop(
            n, *each, lines[n % 12].name, 8.0, 0.7, glass=f"0.{n % 5} and 1.2", touched=True, iris=f"f/{n}",
            iso=f"ISO {n}00", ready=f"have 0.{n} ready", lens=f"{n} mm",
        )
        for n, each in enumerate(pairwise(times), 1)
    ]  # fmt: skip
    assert len(rendered(picture(*stops, lines=lines, stop=end, now=NOON)).encode()) < 40_000
