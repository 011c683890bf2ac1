"""The light picture: where things are drawn, worked by hand; odd days; what has no room; the table beside it."""

from __future__ import annotations

import html
import math
import re
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.refused import OutOfRange
from server.exposure.sun import SunDay, SunEvent
from server.pages import axis as drawn
from server.pages.axis import text_width, thinned
from server.pages.drawing import _environment
from server.pages.light_picture import Curve, GlassRun, Mark, light_picture

LONDON = ZoneInfo("Europe/London")
JUNE = date(2026, 6, 20)
AUTUMN, SPRING = date(2026, 10, 25), date(2026, 3, 29)  # 25 and 23 hours in London
STYLES = Path(__file__).resolve().parents[2] / "static" / "lychgate.css"


def span(on=JUNE):
    return tuple(datetime.combine(each, time(), LONDON) for each in (on, on + timedelta(days=1)))


def at(clock, on=JUNE):
    """A moment of the day by London's clock: "06:30"."""
    return datetime.combine(on, time.fromisoformat(clock), LONDON)


def every(minutes, on=JUNE):
    start, stop = (each.astimezone(UTC) for each in span(on))
    step = timedelta(minutes=minutes)
    return tuple((start + number * step).astimezone(LONDON) for number in range((stop - start) // step + 1))


def curve(*ev100, name="Orchard", spread=0.0, on=JUNE, **more):
    """A curve through these EV, evenly over the day."""
    times = every((span(on)[1].timestamp() - span(on)[0].timestamp()) / 60 / (len(ev100) - 1), on)
    low, high = (tuple(ev + side * spread for ev in ev100) for side in (-1, 1))
    return Curve(name, times, ev100, low, high, **more)


def picture(*curves, on=JUNE, **more):
    return light_picture(curves, *span(on), **more)


def events(**clocks):
    return SunDay(tuple(SunEvent(at(clock), kind) for kind, clock in clocks.items()), "")


SUN = events(
    nautical_dawn="02:45",
    civil_dawn="03:59",
    sunrise="04:47",
    sunset="21:26",
    civil_dusk="22:13",
    nautical_dusk="23:28",
)
WINTER_SUN = events(
    nautical_dawn="06:44",
    civil_dawn="07:27",
    sunrise="08:07",
    sunset="15:57",
    civil_dusk="16:38",
    nautical_dusk="17:21",
)


def rendered(made):
    called = '{% from "light/_picture.html" import light_picture %}{{ light_picture(made) }}'
    return _environment.from_string(called).render(made=made)


def words(source):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", source)).split())


def table_of(source):
    """The cells of the first table's body, as they are read."""
    body = re.search(r"<tbody>(.*?)</table>", source, re.DOTALL)[1]
    return [[words(cell) for cell in re.split(r"<t[dh][^>]*>", row)[1:]] for row in body.split("<tr>")[1:]]


# Coordinates.


def test_a_curve_is_drawn_where_a_ruler_would_put_it():
    """EV 0 to 10 has a scale from -1 to 11: 180 px for 12 stops, 15 px each, under 8 px of air. Noon is half way."""
    (strip,) = picture(curve(0.0, 10.0, 0.0)).strips
    assert strip.line == "M0 173L50 23L100 173"
    assert (strip.band, strip.dark) == ("", "")


def test_the_band_goes_along_the_top_and_back_along_the_bottom():
    """EV 4 and 6, half a stop either way: 3 to 7, widened to 6 stops, 2 to 8; 30 px each."""
    made = picture(curve(4.0, 6.0, spread=0.5))
    assert made.strips[0].band == "M0 113L100 53L100 83L0 143Z"


def test_every_second_stop_has_a_line_where_it_has_room():
    made = picture(curve(0.0, 10.0))
    assert made.gridlines == "M0 173H100M0 143H100M0 113H100M0 83H100M0 53H100M0 23H100"
    assert [text.text for text in made.scale] == ["0", "2", "4", "6", "8", "EV 10"]


def test_among_other_places_every_fifth_stop_has_a_line_and_one_scale_serves_all():
    """72 px for the same 12 stops are 6 px each; two stops would be 12 px apart, closer than their figures are tall."""
    made = picture(curve(0.0, 10.0), curve(3.0, 4.0))
    assert made.gridlines == "M0 74H100M0 44H100M0 14H100"
    assert [strip.line for strip in made.strips] == ["M0 74L100 14", "M0 56L100 50"]


def test_the_hours_and_the_sun_stand_at_their_share_of_the_day():
    made = picture(curve(4.0, 5.0), sun=events(sunrise="06:00", sunset="18:00"))
    assert {text.text: text.x for text in made.hours if not text.only} == {
        "00": 0,
        "06": 25,
        "12": 50,
        "18": 75,
        "24": 100,
    }
    assert made.sun == f"M25 0V{made.high:g}M75 0V{made.high:g}"
    assert made.twilight == ""


def test_a_phone_has_every_third_hour_and_a_desk_every_second():
    hours = picture(curve(4.0, 5.0)).hours
    assert [text.text for text in hours if text.only != "wide"] == [f"{hour:02}" for hour in range(0, 25, 3)]
    assert [text.text for text in hours if text.only != "narrow"] == [f"{hour:02}" for hour in range(0, 25, 2)]


def test_a_reading_is_a_mark_at_its_time_and_light():
    """EV 4 to 6 over the day, read EV 7 at 18:00: the scale is 3 to 9, 30 px a stop, EV 7 two stops under its top."""
    made = picture(curve(4.0, 6.0, readings=(Mark(at("18:00"), 7.0), Mark(at("18:00", AUTUMN), 9.0))))
    assert made.strips[0].dots == (drawn.Dot(75, 68.0),), "another day's reading is not drawn"


def test_the_scale_holds_every_reading():
    made = picture(curve(4.0, 6.0, readings=(Mark(at("18:00"), 14.0),)))
    (dot,) = made.strips[0].dots
    assert drawn.ABOVE < dot.y < drawn.ABOVE + made.plot_high


def test_now_is_drawn_inside_the_day_alone():
    assert picture(curve(4.0, 5.0), now=at("12:00")).now.startswith("M50 0V")
    assert [text.text for text in picture(curve(4.0, 5.0), now=at("12:00")).head_now_texts] == ["now 12:00"]
    outside = picture(curve(4.0, 5.0), now=at("12:00", AUTUMN))
    assert (outside.now, outside.head_now, outside.head_now_texts) == ("", "", ())


def test_the_stylesheet_has_the_margins_that_labels_are_fitted_to():
    styles = STYLES.read_text(encoding="utf-8")
    assert (
        f"margin: 0 {drawn.MARGIN:g}px 0 {drawn.GUTTER:g}px; width: calc(100% - {drawn.MARGIN + drawn.GUTTER:g}px)"
        in styles
    )
    assert f"(min-width: {drawn.WIDE_PLOT + drawn.MARGIN + drawn.GUTTER:g}px)" in styles
    assert f".light text {{ font-size: {drawn.LETTERS:g}px" in styles


# Darkness.


def test_under_the_floor_the_line_stops_and_the_picture_says_so():
    """EV 8 to -12 in a day is -2 at noon; the scale is 9 to -2, 180/11 px a stop, its foot at 188 px."""
    made = picture(curve(8.0, -12.0))
    (strip,) = made.strips
    assert strip.line == "M0 24.4L50 188"
    assert strip.dark == "M50 188H100"
    assert [text.text for text in strip.texts] == ["darker than", "EV −2"]
    assert {text.x for text in strip.texts} == {75}
    assert made.key.dark
    assert "at times darker than EV −2" in strip.said
    assert ["06:00", "3.0", "3.0", "3.0"] in table_of(rendered(made))
    assert ["18:00", "−7.0", "−7.0", "−7.0"] in table_of(rendered(made)), "the table keeps the figure"


def test_a_line_that_comes_up_again_has_a_gap():
    """-2 is half way between 8 and -12, and half way back."""
    (strip,) = picture(curve(8.0, -12.0, 8.0)).strips
    assert strip.line == "M0 24.4L25 188M75 188L100 24.4"
    assert strip.dark == "M25 188H75"


def test_a_line_starts_where_it_leaves_the_floor():
    """Half a stop under it at midnight, 10 stops brighter 24 hours later: 5 percent of the day."""
    (strip,) = picture(curve(-2.5, 7.5)).strips
    assert strip.line.startswith("M5 188L100 ")
    assert strip.dark == "M0 188H5"


def test_the_band_ends_at_the_floor():
    (strip,) = picture(curve(8.0, -12.0, spread=1.0)).strips
    downs = [float(y) for y in re.findall(r" ([\d.]+)", strip.band)]
    assert max(downs) == 188
    assert "55 188" in strip.band, "the upper edge, a stop brighter, crosses -2 at 11/20 of the day"
    assert "45 188" in strip.band


def test_a_place_that_is_dark_all_day_has_no_line_and_no_band():
    made = picture(curve(-5.0, -6.0, spread=0.5))
    (strip,) = made.strips
    assert (strip.line, strip.band, strip.dark) == ("", "", "M0 188H100")
    assert strip.said == "Darker than EV −2 all day."
    assert not made.key.line


def test_a_run_under_the_floor_that_is_too_short_is_not_written_on():
    """An hour of a day is 25 px at a desk, and the words are more than 70."""
    times = every(60)
    level = tuple(-3.0 if number == 12 else 8.0 for number in range(25))
    (strip,) = picture(Curve("Crypt", times, level, level, level)).strips
    assert strip.dark
    assert strip.texts == ()


# The sun, and days that are not like the others.


def test_night_is_from_civil_dusk_to_civil_dawn():
    made = picture(curve(4.0, 5.0), sun=events(civil_dawn="06:00", sunrise="07:00", sunset="17:00", civil_dusk="18:00"))
    assert made.nights == (drawn.Span(0, 25), drawn.Span(75, 25))


def test_a_white_night_is_short_and_after_midnight():
    made = picture(curve(4.0, 5.0), sun=events(civil_dusk="00:36", civil_dawn="02:24"))
    assert made.nights == (drawn.Span(2.5, 7.5),)


def test_a_sun_that_does_not_set_has_no_lines_and_no_night():
    made = picture(curve(10.0, 12.0), sun=SunDay((), "up"))
    assert made.said == ("The sun does not set.",)
    assert (made.nights, made.sun, made.twilight, made.head) == ((), "", "", ())
    assert "The sun does not set." in made.strips[0].said


def test_a_polar_night_is_night_unless_the_sun_comes_near_the_horizon():
    dark = SunDay((), "down")
    assert picture(curve(10.0, 12.0), sun=dark).said == ("The sun does not rise.",)
    assert picture(curve(10.0, 12.0), sun=dark).nights == (drawn.Span(0, 100),)
    assert picture(curve(10.0, 12.0), sun=dark, heights=(-30.0, -7.0)).nights == (drawn.Span(0, 100),)
    assert picture(curve(10.0, 12.0), sun=dark, heights=(-4.0, -2.0)).nights == (), "twilight all day"
    noon = SunDay((SunEvent(at("10:00"), "civil_dawn"), SunEvent(at("14:00"), "civil_dusk")), "down")
    assert len(picture(curve(10.0, 12.0), sun=noon).nights) == 2


def test_where_nobody_knows_the_sun_nothing_is_said_of_it():
    made = picture(curve(4.0, 5.0))
    assert (made.said, made.nights, made.sun, made.sun_known) == ((), (), "", False)
    assert ">sun<" not in rendered(made)


def test_the_day_with_25_hours_has_one_hour_twice_and_tells_them_apart():
    """The clock goes back at 02:00 BST; each hour is 4 percent of the day."""
    made = picture(curve(0.0, 25.0, on=AUTUMN), on=AUTUMN, now=datetime(2026, 10, 25, 1, 30, tzinfo=UTC))
    rows = made.strips[0].rows
    assert [row.time for row in rows[:5]] == ["00:00", "01:00 BST", "01:00 GMT", "02:00", "03:00"]
    assert len(rows) == 25
    assert [row.ev for row in rows[:4]] == ["0.0", "1.0", "2.0", "3.0"]
    assert {text.text: text.x for text in made.hours}["12"] == 52
    assert made.now.startswith("M10 0"), "01:30 the second time is two and a half hours in"
    assert made.head_now_texts[0].text.startswith("now 01:30 GMT")
    assert made.said == ("The clocks change from BST to GMT: this day has 25 hours.",)


def test_the_day_with_23_hours_lacks_one():
    made = picture(curve(0.0, 23.0, on=SPRING), on=SPRING)
    rows = made.strips[0].rows
    assert [row.time for row in rows[:3]] == ["00:00", "02:00", "03:00"]
    assert len(rows) == 23
    assert rows[1].ev == "1.0"
    assert {text.text: text.x for text in made.hours}["12"] == 47.83, "11 of 23 hours"
    assert "23 hours" in made.said[0]


def test_a_zone_whose_clock_moves_by_half_an_hour_is_drawn_too():
    """Lord Howe Island: 23.5 hours on 4 October 2026; 02:00 becomes 02:30."""
    lord_howe = ZoneInfo("Australia/Lord_Howe")
    start, stop = (datetime(2026, 10, day, tzinfo=lord_howe) for day in (4, 5))
    made = light_picture([Curve("Beach", (start, stop), (4.0, 5.0), (4.0, 5.0), (4.0, 5.0))], start, stop)
    assert [row.time for row in made.strips[0].rows[:4]] == ["00:00", "01:00", "03:00", "04:00"]
    assert {text.text: text.x for text in made.hours}["03"] == round(100 * 2.5 / 23.5, 2)


# Labels of the head.


def placed(made, width):
    """The labels of each row of the head as (from, to, text) [px] on this width."""
    plot = {"narrow": drawn.NARROW_PLOT, "wide": drawn.WIDE_PLOT}[width]
    rows = {}
    for text in (*made.head, *made.head_now_texts):
        if text.only not in ("", width):
            continue
        begins = text.x / 100 * plot + text.dx
        size = text_width(text.text)
        ends = (begins, begins + size) if text.anchor == "start" else (begins - size, begins)
        rows.setdefault(text.y, []).append((*ends, text.text))
    return [sorted(row) for _, row in sorted(rows.items())]


@pytest.mark.parametrize("width", ["narrow", "wide"])
@pytest.mark.parametrize("sun", [SUN, WINTER_SUN], ids=["June", "December"])
def test_every_time_of_the_sun_is_named_at_the_top(width, sun):
    """A summer's day has room between dawn and dusk; a winter's has it outside."""
    said = [[text for _, _, text in row] for row in placed(picture(curve(4.0, 5.0), sun=sun), width)]
    named = ("nautical", "nautical"), ("civil", "civil"), ("sunrise", "sunset")
    clocks = [f"{event.at:%H:%M}" for event in sun.events]
    assert said == [
        [f"{first} {clocks[number]}", f"{last} {clocks[-1 - number]}"] for number, (first, last) in enumerate(named)
    ]


minutes = st.integers(0, 24 * 60 - 1)


@given(st.lists(st.tuples(minutes, st.sampled_from([event.kind for event in SUN.events])), max_size=8), minutes)
def test_labels_of_the_head_never_touch_nor_leave_the_picture(moments, now):
    start = span()[0]
    sun = SunDay(tuple(SunEvent(start + timedelta(minutes=minute), kind) for minute, kind in moments), "")
    made = picture(curve(4.0, 5.0), sun=sun, now=start + timedelta(minutes=now))
    for width, plot in (("narrow", drawn.NARROW_PLOT), ("wide", drawn.WIDE_PLOT)):
        for row in placed(made, width):
            assert row[0][0] >= -drawn.GUTTER
            assert row[-1][1] <= plot + drawn.MARGIN
            assert all(before[1] < after[0] for before, after in pairwise(row))


# The glass.


def worn(*runs, **more):
    """A place with these runs of (from, to, label, what is missed)."""
    made = tuple(
        GlassRun(at(start), span()[1] if stop == "24:00" else at(stop), label, *short)
        for start, stop, label, *short in runs
    )
    return curve(4.0, 5.0, glass=made, **more)


def written(strip, width):
    return [(text.text, text.x) for text in strip.texts if text.only in ("", width)]


def test_glass_is_a_box_for_each_run_with_its_label_inside():
    """The only strip's scale ends at 188 px; the glass stands 5 px under it and is 20 px high."""
    made = picture(worn(("00:00", "06:00", "0.6"), ("06:00", "24:00", "1.2")))
    (strip,) = made.strips
    assert strip.glass == "M0 193H25V213H0zM25 193H100V213H25z"
    assert written(strip, "narrow") == written(strip, "wide") == [("0.6", 12.5), ("1.2", 62.5)]
    assert made.keyed == ()
    assert strip.worn == ("until 06:00 0.6", "until 24:00 1.2")


def test_a_run_too_narrow_for_its_label_has_a_letter_that_the_key_explains():
    """Three hours are 34 px on a phone and 76 px at a desk; "no glass" is some 57 px wide."""
    made = picture(worn(("00:00", "03:00", "no glass"), ("03:00", "24:00", "0.6")))
    assert written(made.strips[0], "narrow") == [("a", 6.25), ("0.6", 56.25)]
    assert written(made.strips[0], "wide") == [("no glass", 6.25), ("0.6", 56.25)]
    assert made.keyed == (drawn.Keyed("a", "no glass", "narrow"),)
    assert '<li class="light-narrow"><b>a</b> no glass</li>' in rendered(made)


def test_the_same_glass_has_the_same_letter_everywhere():
    run = ("12:00", "13:00", "0.6 + 1.2")
    made = picture(worn(run, ("13:00", "14:00", "0.9 + 1.8")), worn(run, name="Porch"))
    assert [[text for text, _ in written(strip, "wide")] for strip in made.strips] == [["a", "b"], ["a"]]
    assert [(key.letter, key.said) for key in made.keyed] == [("a", "0.6 + 1.2"), ("b", "0.9 + 1.8")]


def test_a_run_too_narrow_even_for_a_letter_is_told_in_words():
    """Ten minutes are 4 px at a desk."""
    made = picture(worn(("12:00", "12:10", "0.6")))
    assert made.strips[0].texts == ()
    assert made.strips[0].glass, "its box is there"
    assert made.key.slivers == ""
    assert made.keyed == ()
    assert "too narrow for a letter" in rendered(made)
    assert "until 12:10 0.6" in words(rendered(made))


def test_a_run_that_misses_the_look_is_hatched_and_says_by_how_much():
    made = picture(worn(("00:00", "12:00", "0.6"), ("12:00", "24:00", "no glass", "1.3 stops too dark")))
    (strip,) = made.strips
    assert strip.misses == (drawn.Span(50, 50),)
    assert strip.glass == "M0 193H50V213H0z", "the run that keeps it is plain"
    assert written(strip, "wide")[1] == ("no glass: 1.3 stops too dark", 75)
    assert strip.rows[-1].glass == "no glass: 1.3 stops too dark"
    source = rendered(made)
    assert source.count('fill="url(#light-misses)"') == 2, "in the strip and in the key"
    assert "the look is missed" in source
    assert "the look is missed" not in rendered(picture(worn(("00:00", "24:00", "0.6"))))


def test_glass_before_and_after_the_day_is_cut_off_there():
    start, stop = span()
    early = GlassRun(start - timedelta(hours=9), start - timedelta(hours=3), "0.3")
    over = GlassRun(start - timedelta(hours=3), start + timedelta(hours=12), "0.6")
    late = GlassRun(stop - timedelta(hours=12), stop + timedelta(hours=12), "1.2")
    (strip,) = picture(curve(4.0, 5.0, glass=(early, over, late))).strips
    assert strip.glass == "M0 193H50V213H0zM50 193H100V213H50z"
    assert strip.worn == ("until 12:00 0.6", "until 24:00 1.2")


# Thinning.


@given(st.lists(st.floats(-50, 50), min_size=2, max_size=80), st.floats(0.1, 5))
def test_a_thinned_line_stays_within_its_tolerance(values, tolerance):
    """At every point of the true line, straight up or down."""
    points = [(number * 0.35, value) for number, value in enumerate(values)]
    thin = thinned(points, tolerance)
    assert (thin[0], thin[-1]) == (points[0], points[-1])
    assert set(thin) <= set(points)
    for (x0, y0), (x1, y1) in pairwise(thin):
        for x, y in points:
            if x0 <= x <= x1:
                assert abs(y0 + (y1 - y0) * (x - x0) / (x1 - x0) - y) <= tolerance + 1e-9


def test_a_straight_line_needs_its_ends_alone():
    assert thinned([(x, 2.0 * x) for x in range(200)], 0.3) == [(0, 0.0), (199, 398.0)]


def test_a_day_in_steps_of_five_minutes_is_drawn_true_with_few_points():
    """Within the tolerance and the last digit's rounding: half a tenth in y, and half a hundredth along the steepest."""
    level = hill()
    made = picture(Curve("Orchard", every(5), level, level, level))
    points = [tuple(map(float, point.split())) for point in made.strips[0].line[1:].split("L")]
    assert len(points) < 289 / 6
    per_stop = made.plot_high / 17  # EV -1 to 16: the curve's 0 to 15, a quarter more, to whole stops
    for number, ev in enumerate(level):
        x = 100 * number / 288
        before, after = next((b, a) for b, a in pairwise(points) if b[0] <= x <= a[0])
        y = before[1] + (after[1] - before[1]) * (x - before[0]) / (after[0] - before[0])
        assert y == pytest.approx(drawn.ABOVE + (16 - ev) * per_stop, abs=0.3 + 0.05 + 0.05)


def test_a_curve_that_never_rests_is_thinned_until_it_is_small():
    level = tuple(5.0 + 4 * (number % 2) for number in range(289))
    made = picture(Curve("Disco", every(5), level, level, level))
    assert made.strips[0].line.count("L") < drawn.POINTS_MOST


# The table.


def hill(top=15.0, foot=0.0):
    return tuple(foot + (top - foot) * math.sin(math.pi * number / 288) ** 2 for number in range(289))


def test_the_table_has_the_curve_s_own_figures():
    level = hill()
    made = Curve("Orchard", every(5), level, tuple(ev - 1.5 for ev in level), tuple(ev + 0.5 for ev in level))
    heights = tuple(-20 + number / 4 for number in range(289))
    rows = table_of(rendered(picture(made, sun=SunDay((), ""), heights=heights)))
    assert len(rows) == 24
    for hour, (clock, sun, *figures) in enumerate(rows):
        assert clock == f"{hour:02}:00"
        assert sun == f"{round(heights[12 * hour])}°".replace("-", "−")
        ev = level[12 * hour]
        assert [float(each.replace("−", "-")) for each in figures] == [
            round(each, 1) for each in (ev, ev - 1.5, ev + 0.5)
        ]
    assert rows[0][1:] == ["−20°", "0.0", "−1.5", "0.5"], "true minus signs"


def test_sun_and_readings_have_rows_of_their_own_in_order():
    """EV 0 to 24 over the day: 06:30 is EV 6.5, in between the two times that are known."""
    made = picture(
        curve(0.0, 24.0, readings=(Mark(at("06:30"), 7.04, "incident"), Mark(at("07:00"), 6.0))),
        sun=events(sunrise="06:15"),
    )
    rows = [(row.time, row.what, row.ev) for row in made.strips[0].rows[6:10]]
    assert rows == [
        ("06:00", "", "6.0"),
        ("06:15", "sunrise", "6.2"),
        ("06:30", "read EV 7.0, incident", "6.5"),
        ("07:00", "read EV 6.0", "7.0"),
    ]


def test_the_table_says_the_glass_of_each_hour():
    rows = picture(worn(("00:00", "06:00", "0.6"), ("06:00", "12:00", "1.2"))).strips[0].rows
    assert [row.glass for row in rows] == ["0.6"] * 6 + ["1.2"] * 6 + [""] * 12


def test_no_figure_is_told_where_the_curve_has_none():
    """Known from 06:00 to 18:00 only: nothing is made up outside."""
    made = picture(Curve("Porch", (at("06:00"), at("18:00")), (6.0, 6.0), (5.0, 5.0), (7.0, 7.0)))
    assert [row.ev for row in made.strips[0].rows] == [""] * 6 + ["6.0"] * 13 + [""] * 5
    assert made.strips[0].line.startswith("M25 ")


# Said.


def test_the_essential_is_a_sentence_or_two():
    sun = events(sunrise="04:47", sunset="21:26")
    (strip,) = picture(curve(4.0, 10.0, 5.0), sun=sun).strips
    assert strip.said == "Brightest EV 10.0 at 12:00, darkest EV 4.0 at 00:00. Sunrise 04:47, sunset 21:26."
    assert strip.aside == "brightest 10.0 at 12:00"
    both = picture(curve(4.0, 10.0), curve(6.0, 6.0, lamps=True), sun=sun)
    assert both.said == ("Sunrise 04:47, sunset 21:26.",), "once for all"
    assert both.strips[0].said == "Brightest EV 10.0 at 24:00, darkest EV 4.0 at 00:00."
    assert both.strips[1].said == "Lamps: EV 6.0 all day."


def test_a_place_without_a_reading_has_a_strip_that_says_so():
    made = picture(Curve("Loft", (), (), (), ()), curve(4.0, 5.0))
    assert made.strips[0].aside == "no reading yet"
    assert (made.strips[0].line, made.strips[0].rows) == ("", ())
    assert rendered(made).count("<table") == 1
    assert rendered(picture(Curve("Loft", (), (), (), ()))).count("<table") == 0


def test_a_screen_reader_gets_one_picture_a_place_and_its_table():
    made = picture(curve(4.0, 5.0, spread=1), curve(4.0, 6.0, name="Porch"), sun=SUN, heights=(-14.0, 60.0))
    source = rendered(made)
    ids = re.findall(r' id="([^"]+)"', source)
    assert len(ids) == len(set(ids))
    assert all(each == "light" or each.startswith("light-") for each in ids)
    assert source.count('role="img"') == 2
    for labelled in re.findall(r'aria-labelledby="([^"]+)"', source):
        assert set(labelled.split()) <= set(ids)
    assert re.findall(r"<title[^>]*>([^<]+)", source) == ["Orchard, light over the day", "Porch, light over the day"]
    assert source.count("<caption>") == 2
    assert source.count('scope="col"') == 10, "time, sun, EV, from and to"
    assert source.count('scope="row"') == sum(len(strip.rows) for strip in made.strips)
    for svg in re.findall(r"<svg [^>]*>", re.sub(r"<svg viewBox[^>]*>", "", source)):
        assert 'role="img"' in svg or 'aria-hidden="true"' in svg


def test_the_tables_are_folded():
    assert rendered(picture(curve(4.0, 5.0))).count('<details class="light-figures">') == 1
    assert rendered(picture(curve(4.0, 5.0), curve(4.0, 5.0))).count('<details class="light-figures">') == 2


def test_two_pictures_on_a_page_have_ids_of_their_own():
    source = rendered(picture(curve(4.0, 5.0), key_id="second", sun=SUN))
    assert "light-night" not in source
    assert 'id="second-night"' in source
    assert "url(#second-night)" in source


def test_nothing_in_the_picture_needs_a_style_of_its_own():
    """The Content-Security-Policy would drop it. No colour is named either: all of it is the text's own."""
    source = rendered(picture(worn(("00:00", "12:00", "0.6", "1 stop too dark")), sun=SUN, now=at("12:00")))
    assert " style=" not in source
    assert "<style" not in source
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', source)) == {"url(#light-night)", "url(#light-misses)", "none"}


NASTY = "<script>\"&'</script>"


def test_names_are_shown_and_never_obeyed():
    run = GlassRun(at("00:00"), at("12:00"), NASTY, NASTY)
    made = curve(4.0, 5.0, name=NASTY, glass=(run,), readings=(Mark(at("12:00"), 5.0, NASTY),))
    source = rendered(picture(made))
    assert "<script" not in source
    assert words(source).count(NASTY) > 8


# What cannot be drawn.

NAN = float("nan")


@pytest.mark.parametrize("field", ["ev100", "low", "high"])
@pytest.mark.parametrize("wrong", [NAN, math.inf, -math.inf, 200.0])
def test_a_figure_that_is_none_is_refused(field, wrong):
    figures = {"ev100": (4.0, 5.0), "low": (3.0, 4.0), "high": (5.0, 6.0)}
    figures[field] = (figures[field][0], wrong)
    with pytest.raises(OutOfRange) as refused:
        Curve("Orchard", span(), **figures)
    assert refused.value.field == field


def test_a_reading_and_a_height_that_are_none_are_refused():
    with pytest.raises(OutOfRange, match="readings"):
        Mark(at("12:00"), NAN)
    with pytest.raises(OutOfRange, match="heights"):
        picture(curve(4.0, 5.0), sun=SUN, heights=(0.0, NAN))


@pytest.mark.parametrize(
    ("field", "made"),
    [
        ("ev100", lambda: Curve("Orchard", span(), (4.0, 5.0), (4.5, 5.0), (6.0, 6.0))),
        ("low", lambda: Curve("Orchard", span(), (4.0, 5.0), (4.0,), (4.0, 5.0))),
        ("times", lambda: Curve("Orchard", span()[:1], (4.0,), (4.0,), (4.0,))),
        ("times", lambda: Curve("Orchard", span()[::-1], (4.0, 5.0), (4.0, 5.0), (4.0, 5.0))),
        ("times", lambda: Curve("Orchard", (datetime(2026, 6, 20), span()[1]), (4.0, 5.0), (4.0, 5.0), (4.0, 5.0))),  # noqa: DTZ001
        ("times", lambda: Curve("Orchard", span()[:1] * 2, (4.0, 5.0), (4.0, 5.0), (4.0, 5.0))),
        ("times", lambda: picture(curve(4.0, 5.0), on=AUTUMN)),
        ("heights", lambda: picture(curve(4.0, 5.0), sun=SUN, heights=(1.0, 2.0, 3.0))),
        ("glass.stop", lambda: GlassRun(at("12:00"), at("12:00"), "0.6")),
        ("glass", lambda: worn(("00:00", "13:00", "0.6"), ("12:00", "14:00", "1.2"))),
        ("curves", picture),
        ("stop", lambda: light_picture([curve(4.0, 5.0)], *span()[::-1])),
        ("start", lambda: light_picture([curve(4.0, 5.0)], datetime(2026, 6, 20), span()[1])),  # noqa: DTZ001
    ],
)
def test_what_cannot_be_drawn_is_refused_by_its_name(field, made):
    with pytest.raises(OutOfRange) as refused:
        made()
    assert refused.value.field == field


def test_a_curve_across_the_hour_that_comes_twice_is_in_order():
    """By the clock 01:30 comes after 01:10; in time it may come before."""
    first, second = (datetime(2026, 10, 25, 1, minute, tzinfo=LONDON, fold=fold) for minute, fold in ((30, 0), (10, 1)))
    assert Curve("Orchard", (first, second), (4.0, 5.0), (4.0, 5.0), (4.0, 5.0)).times == (first, second)
    with pytest.raises(OutOfRange):
        Curve("Orchard", (second, first), (4.0, 5.0), (4.0, 5.0), (4.0, 5.0))


# Sizes.

LOOKS = ("no glass", "0.6", "0.9", "1.2", "0.6 + 1.2", "1.8")


def full(name, top):
    """A place as busy as they get: glass that changes eleven times and misses at both ends, a band, two readings."""
    level = hill(top, -11.0)
    edges = [0, *range(60, 229, 17), 288]
    times = every(5)
    glass = tuple(
        GlassRun(times[a], times[b], LOOKS[min(n, 10 - n)], "2⅓ stops too dark" if n in (0, 10) else "")
        for n, (a, b) in enumerate(pairwise(edges))
    )
    marks = (Mark(at("11:20"), top - 0.3, "incident"), Mark(at("17:05"), top - 2, "the camera’s own settings"))
    return Curve(name, times, level, tuple(ev - 2.1 for ev in level), tuple(ev + 0.7 for ev in level), marks, glass)


def test_one_place_is_under_12_kb_and_twelve_under_90_kb():
    heights = tuple(60 * math.sin(math.pi * (number - 72) / 144) for number in range(289))
    more = {"sun": SUN, "heights": heights, "now": at("12:34")}
    assert len(rendered(picture(full("Walled garden by the old east wall", 15.0), **more)).encode()) < 12_000
    places = [full(f"Place {number}, with a long name of its own", 5.0 + number) for number in range(12)]
    assert len(rendered(picture(*places, **more)).encode()) < 90_000
