"""
Running orders as lines of text and as tables.

How people write times and lists is common practice and has no source. CSV is held to RFC 4180 and to Python's own
reader; which cells a spreadsheet runs is what OWASP's page on CSV injection lists.
"""

from __future__ import annotations

import contextlib
import csv
import io
import time
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.exposure.refused import OutOfRange
from server.pages import order_words
from server.pages.forms import text as one_line
from server.pages.order_words import Row, clock, csv_of_rows, minutes, place_in, rows_of_csv, rows_of_text

PLACES = ["Chapel", "Chapel door", "Chapel inside", "Garden", "Crémerie", "St John's Hall", "Hall (east)"]
EMPTY = Row(None, "", "", "", "", "", "", "", "", "")


def only(line):
    (row,) = rows_of_text(line, PLACES)
    return row


# Times


@pytest.mark.parametrize(
    ("typed", "at"),
    [
        ("13:30", "13:30"), ("13.30", "13:30"), ("9:05", "09:05"), ("09:05", "09:05"), ("0:00", "00:00"),
        ("13h30", "13:30"), ("13 h 30", "13:30"), ("13h", "13:00"), ("13:30h", "13:30"), ("13:30 hrs", "13:30"),
        ("1:30 pm", "13:30"), ("1:30pm", "13:30"), ("1.30 PM", "13:30"), ("1:30 p.m.", "13:30"), ("1pm", "13:00"),
        ("1 pm", "13:00"), ("12 pm", "12:00"), ("12:15 am", "00:15"), ("11am", "11:00"), ("13:30 pm", "13:30"),
        ("noon", "12:00"), ("12 noon", "12:00"), ("Midday", "12:00"), ("midnight", "00:00"), ("24:00", "00:00"),
        ("1330", "13:30"), ("0905", "09:05"), ("1330 hrs", "13:30"), ("13:30:00", "13:30"), ("23:59", "23:59"),
    ],
)  # fmt: skip
def test_a_time_is_read_as_people_type_it(typed, at):
    row = only(f"{typed} Dinner")
    assert row == replace(EMPTY, at=at, name="Dinner")
    assert rows_of_csv(f"time,stop\n{typed},Dinner\n", [])[0] == row
    assert clock(typed) == order_words.Clock(int(at[:2]) * 60 + int(at[3:]))


@pytest.mark.parametrize(
    ("typed", "at", "until"),
    [
        ("13:30-14:00", "13:30", "14:00"), ("13:30 – 14:00", "13:30", "14:00"), ("13:30 to 14:00", "13:30", "14:00"),
        ("13:30 until 14.15", "13:30", "14:15"), ("1330-1400", "13:30", "14:00"), ("13:30 → 1400", "13:30", "14:00"),
        ("1-2pm", "13:00", "14:00"), ("1:30-2 pm", "13:30", "14:00"), ("11-1 pm", "11:00", "13:00"),
        ("11:30 – 1:15 pm", "11:30", "13:15"), ("10 am - 1 pm", "10:00", "13:00"), ("10-11 am", "10:00", "11:00"),
        ("22:00 - midnight", "22:00", "00:00"), ("noon to 12:30", "12:00", "12:30"), ("23:00-01:00", "23:00", "01:00"),
    ],
)  # fmt: skip
def test_a_time_may_have_its_end(typed, at, until):
    assert only(f"{typed} Dinner") == replace(EMPTY, at=at, until=until, name="Dinner")


@pytest.mark.parametrize(
    "line",
    [
        "25:00 Dinner",
        "13:75 Dinner",
        "25.10 Dinner",
        "13am Dinner",
        "0:30 pm Dinner",
        "13:30-25:00 Dinner",
        "24:01 Late",
    ],
)
def test_a_time_that_is_none_is_refused_with_its_line(line):
    with pytest.raises(OutOfRange) as refused:
        rows_of_text(f"13:30 Vows\n\n{line}", PLACES)
    assert refused.value.field == "text"
    assert refused.value.came == f"line 3: “{line}”"
    assert refused.value.allowed == "a time of the day, such as 13:30 or 1:30 pm"


@pytest.mark.parametrize(
    "line",
    ["5600K lamps", "6400 ISO", "1200 lx", "2570 steps", "16:9 for the film", "10 guests", "3.5 hours", "f/2.8", "20.06.2026", "2026-06-20 all day", "1/50 at most", "3:2", "130 guests"],
)  # fmt: skip
def test_a_number_that_is_no_time_is_a_note(line):
    (row,) = rows_of_text(f"13:30 Vows\n{line}", PLACES)
    assert row == replace(EMPTY, at="13:30", name="Vows", notes=line)


@pytest.mark.parametrize(
    "line",
    [
        "1.50 m from the altar",
        "1.50m from the altar",
        "1.50-2.00 m from the altar",
        "2000 guests",
        "2000 guests, at most",
        "1.50 € each",
        "35 mm only",
        "about 2 m wide",
        "@ 2 m",
        "at 10 guests",
        "@ 5.6 all day",
        "at 5% power",
    ],
)
@pytest.mark.parametrize("above", ["13:30 Vows", "1.30pm Vows"])
def test_a_measurement_is_a_note_whatever_the_clock_of_the_text(line, above):
    (row,) = rows_of_text(f"{above}\n{line}", PLACES)
    assert row == replace(EMPTY, at="13:30", name="Vows", notes=line)


@pytest.mark.parametrize(
    ("line", "at", "name"),
    [
        ("1330 guests arrive", "13:30", "guests arrive"), ("1330 Guests", "13:30", "Guests"),
        ("13:30 m&g", "13:30", "m&g"), ("13.30 M&G", "13:30", "M&G"), ("10.15 Miles arrives", "10:15", "Miles arrives"),
        ("12.30 guests", "12:30", "guests"), ("18.30 in the garden", "18:30", "in the garden"),
        ("1:50 m", "13:50", "m"),
    ],
)  # fmt: skip
def test_a_stop_that_only_looks_like_a_measurement_is_a_stop(line, at, name):
    (row,) = rows_of_text(line, [])
    assert (row.at, row.name, row.notes) == (at, name, "")


@pytest.mark.parametrize(
    "typed", ["", "Vows", "25:00", "13:30 Vows and more", "13:30-14:00", "1", "13", "at 5", "11:30-1"]
)
def test_a_field_for_a_time_takes_nothing_else(typed):
    with pytest.raises(OutOfRange, match="a time of the day, such as 13:30 or 1:30 pm") as refused:
        clock(typed)
    assert refused.value.field == "time"


def test_a_field_for_a_time_may_say_which_of_two_equal_ones():
    assert clock("01:30 GMT") == order_words.Clock(90, "GMT")
    assert clock("01:30 +0530") == order_words.Clock(90, "+0530")


@pytest.mark.parametrize(
    ("typed", "length"),
    [("20", 20), ("-5", -5), ("−5", -5), ("+10 min", 10), ("1:30", 90), ("-1:05", -65), ("1h", 60), ("1 h 30", 90), ("2h15min", 135), ("0", 0)],
)  # fmt: skip
def test_a_length_is_minutes_or_hours_and_minutes(typed, length):
    assert minutes(typed) == length


@pytest.mark.parametrize("typed", ["", "soon", "1.5", "1:3", "--5", "99999", "٣", "5 5"])
def test_what_is_no_length_is_told_an_example(typed):
    with pytest.raises(ValueError, match=r"^minutes, such as 20 or -5, or hours and minutes, such as 1:30$"):
        minutes(typed)


# The half of the day


def halves(text):
    """Each row's time, its end where it has one, and a mark where 12 hours were added."""
    rows = rows_of_text(text.replace(" / ", "\n"), PLACES)
    return [row.at + (f"-{row.until}" if row.until else "") + "!" * row.guessed for row in rows]


@pytest.mark.parametrize(
    ("text", "times"),
    [
        ("4.30pm Cake / 6.15 Speeches / 7.30 First dance", "16:30 18:15! 19:30!"),
        ("1:30 Bride arrives / 3:00 Drinks", "13:30! 15:00!"),
        ("9.30 Hair / 12.30 Guests / 1.15 Vows / 11.30 Last dance / 1.00 Carriages", "09:30 12:30 13:15! 23:30! 01:00"),
        # The first time: from 1 to 5 it is the afternoon's.
        ("1.00 a", "13:00!"), ("5.59 a", "17:59!"), ("6.00 a", "06:00"), ("11.30 a", "11:30"), ("12.30 a", "12:30"),
        # Twice the same time is no going back; nor is what 12 hours would not mend.
        ("4.30pm a / 4.30 b", "16:30 16:30!"), ("11pm a / 10.30 b", "23:00 10:30"), ("11pm a / 11.00 b", "23:00 23:00!"),
        # It is said, one way or another: nothing is open.
        ("2pm a / 11.00 am b", "14:00 11:00"), ("2pm a / 1130 b", "14:00 11:30"), ("2pm a / 9h30 b", "14:00 09:30"),
        ("2pm a / 9.30h b", "14:00 09:30"), ("2pm a / 9.30 hrs b", "14:00 09:30"), ("2pm a / noon b", "14:00 12:00"),
        ("2pm a / 12.30 b", "14:00 12:30"),
        # A time beyond 12, or with a leading zero, anywhere: the text is by a clock of 24 hours.
        ("4.30pm a / 6.15 b / 19:30 c", "16:30 06:15 19:30"), ("1:30 a / 13:00 b", "01:30 13:00"),
        ("09:00 a / 1.15 b", "09:00 01:15"), ("11.00 a / 1.15 b / 0:30 c", "11:00 01:15 00:30"),
        ("1.15 a / 1330 b", "01:15 13:30"), ("1.15 a / 2.00-14:30 b", "01:15 02:00-14:30"), ("1.15 a / 13h b", "01:15 13:00"),
        ("11am a / 1.15 b / 12.59 c", "11:00 13:15! 12:59"),
        # A leading zero before am or pm is no such clock.
        ("09:30 am a / 01.15 pm b / 3.00 c", "09:30 13:15 15:00!"),
        # Ends, after their start.
        ("11.30-1 a", "11:30-13:00!"), ("11.30-1.00 a", "11:30-13:00!"), ("11.30 to 1 a", "11:30-13:00!"),
        ("11.30 – 1", "11:30-13:00!"), ("11am-1 a", "11:00-13:00!"), ("noon-2 a", "12:00-14:00!"),
        ("2.00-4.00 a", "14:00-16:00!"), ("9.30-11 a", "09:30-11:00"), ("8pm a / 9.30-12 b", "20:00 21:30-00:00!"),
        ("8pm a / 10.30-1.00 b", "20:00 22:30-01:00!"), ("11.30-1pm a", "11:30-13:00"), ("11pm-1 a", "23:00-01:00"),
        ("13:00 a / 11.30-1.00 b", "13:00 11:30-01:00"),
        # The stop above is counted from its start.
        ("11.30-1 a / 12.30 b / 1.15 c", "11:30-13:00! 12:30 13:15!"),
        # Each date begins anew.
        ("2026-06-19 / 7.00pm a / 2026-06-20 / 9.30 b / 1.30 c", "19:00 09:30 13:30!"),
    ],
)  # fmt: skip
def test_common_practice_a_time_that_does_not_say_its_half_of_the_day_comes_after_the_one_above(text, times):
    assert halves(text) == times.split()


def test_a_dash_before_a_number_of_things_is_no_end():
    assert only("1.30pm - 2 rings") == replace(EMPTY, at="13:30", name="2 rings")
    assert only("13:30-2 rings") == replace(EMPTY, at="13:30", name="2 rings")


def test_a_guess_goes_into_no_table():
    (row,) = rows_of_text("1.30 Vows\nrings first", [])
    assert row == replace(EMPTY, at="13:30", name="Vows", notes="rings first", guessed=True)
    assert rows_of_csv(csv_of_rows([row]), []) == [replace(row, guessed=False)]


@pytest.mark.parametrize(
    ("line", "at", "name"),
    [
        ("approx 14.15 Confetti", "14:15", "Confetti"), ("approx. 2pm Confetti", "14:00", "Confetti"),
        ("approximately 2pm: Confetti", "14:00", "Confetti"), ("c. 1pm Orchard", "13:00", "Orchard"),
        ("c 1pm Orchard", "13:00", "Orchard"), ("ca 3pm Orchard", "15:00", "Orchard"), ("ca. 3pm Orchard", "15:00", "Orchard"),
        ("circa 3pm Orchard", "15:00", "Orchard"), ("about 5pm Tea", "17:00", "Tea"), ("Around 17:00 Tea", "17:00", "Tea"),
        ("~ 16:00 Tea", "16:00", "Tea"), ("~16:00 Tea", "16:00", "Tea"), ("from 2pm Bar", "14:00", "Bar"),
        ("by 3pm Cars gone", "15:00", "Cars gone"), ("from about noon Bar", "12:00", "Bar"),
        ("- at approx. 2pm Bar", "14:00", "Bar"), ("(c. 2pm) Bar", "14:00", "Bar"),
        ("14:15ish Confetti", "14:15", "Confetti"), ("2pm-ish Confetti", "14:00", "Confetti"),
        ("2pmish Confetti", "14:00", "Confetti"), ("noonish Confetti", "12:00", "Confetti"),
        ("14:15 Irish band", "14:15", "Irish band"), ("14:15 Isha sings", "14:15", "Isha sings"),
    ],
)  # fmt: skip
def test_words_that_make_a_time_vague_are_left_out(line, at, name):
    assert only(line) == replace(EMPTY, at=at, name=name)


@pytest.mark.parametrize(
    ("line", "at", "until", "name"),
    [
        ("@ 5 Long Room dinner", "17:00", "", "Long Room dinner"), ("at 5 Dinner", "17:00", "", "Dinner"),
        ("@5: Dinner", "17:00", "", "Dinner"), ("At about 5 o'clock Dinner", "17:00", "", "Dinner"),
        ("at 5ish Dinner", "17:00", "", "Dinner"), ("@ 1-2.30 Dinner", "13:00", "14:30", "Dinner"),
        ("@ 4 to 6 Dinner", "16:00", "18:00", "Dinner"),
    ],
)  # fmt: skip
def test_after_at_a_bare_hour_is_a_time(line, at, until, name):
    assert only(line) == replace(EMPTY, at=at, until=until, name=name, guessed=True)


@pytest.mark.parametrize(
    ("text", "times"),
    [
        (
            "@ 9 a / @ 12 b / @ 1 c / @ 12 d",
            "09:00 12:00 13:00! 12:00",
        ),  # noon, though out of order: nobody was up late
        ("@ 12 a / @ 1 b / @ 7 c / @ 12 d", "12:00 13:00! 19:00! 00:00!"),
        ("@ 5-7pm a", "17:00-19:00"),
        ("13:30 a / at 5 b", "13:30"),  # by 24 hours nobody writes it so: a note
        ("2pm a / 5 b / about 5 c / at 13 d", "14:00"),
    ],
)
def test_a_bare_hour_is_open_and_no_time_elsewhere(text, times):
    assert halves(text) == times.split()


def test_two_times_in_a_line_lose_no_words():
    assert only("9.30 for 10pm Dinner") == replace(EMPTY, at="09:30", name="for 10pm Dinner")
    assert only("9.30 for 10") == replace(EMPTY, at="09:30", name="for 10")


# Names and places


@pytest.mark.parametrize(
    ("line", "name", "place"),
    [
        # It begins with the place, and something stands between.
        ("Chapel door: couple arrives", "couple arrives", "Chapel door"),
        ("chapel door - rings", "rings", "Chapel door"),
        ("CHAPEL DOOR, rings", "rings", "Chapel door"),
        ("Chapel door\trings", "rings", "Chapel door"),
        ("Chapel door (couple arrives)", "couple arrives", "Chapel door"),
        ("Chapel door | couple (late)", "couple (late)", "Chapel door"),
        # It is the place, or a sentence that begins with it.
        ("Chapel", "Chapel", "Chapel"),
        ("Chapel:", "Chapel", "Chapel"),
        ("Chapel bells ring", "Chapel bells ring", "Chapel"),
        # It ends with the place.
        ("Vows at the Chapel inside", "Vows", "Chapel inside"),
        ("Vows @ Chapel", "Vows", "Chapel"),
        ("Vows @Chapel", "Vows", "Chapel"),
        ("Vows (chapel INSIDE)", "Vows", "Chapel inside"),
        ("Vows - Chapel", "Vows", "Chapel"),
        ("Speeches, Hall (east)", "Speeches", "Hall (east)"),
        ("Speeches, St John’s Hall", "Speeches", "St John's Hall"),
        ("Coffee: CREMERIE", "Coffee", "Crémerie"),
        # The place is part of a sentence.
        ("Walk to Garden", "Walk to Garden", "Garden"),
        ("Walk through the Garden, slowly", "Walk through the Garden, slowly", "Garden"),
        ("Look at the Garden and wait", "Look at the Garden and wait", "Garden"),
        ("Garden-party", "Garden-party", "Garden"),
        # Where it begins counts for more than what is longer.
        ("Garden: walk to Chapel inside", "walk to Chapel inside", "Garden"),
        ("from Garden to Chapel inside", "from Garden to Chapel inside", "Chapel inside"),
        # No place.
        ("Gardeners arrive", "Gardeners arrive", ""),
        ("Vows", "Vows", ""),
        ("Treats, that", "Treats, that", ""),
    ],
)
def test_a_place_is_found_in_what_happens(line, name, place):
    assert only(f"13:30 {line}") == replace(EMPTY, at="13:30", name=name, place=place)
    assert place_in(line, PLACES) == place


@pytest.mark.parametrize(
    "line",
    ["- 13:30 Vows", "• 13:30 Vows", "* 13:30: Vows", "1. 13:30 Vows", "12) 13:30 Vows", "[ ] 13:30 Vows", "\t13:30\tVows", "13:30 – Vows", "**13:30** Vows", "(13:30) Vows", "| 13:30 | Vows |", "> 13:30 Vows", "at 13:30 Vows", "– 13:30, Vows", "\ufeff13:30 Vows", "13:30\u00a0Vows\x07"],
)  # fmt: skip
def test_marks_around_a_time_are_left_out(line):
    assert only(line) == replace(EMPTY, at="13:30", name="Vows")


def test_lines_without_a_time_belong_to_the_stop_above_and_headings_to_none():
    text = """Running order
    for the day

    13:30 Chapel door: couple arrives
    - rings first
    - grad ready,
      and flash off
    14:00
    Chapel inside: vows
    no flash
    14:45 Confetti"""
    assert rows_of_text(text, PLACES) == [
        replace(EMPTY, at="13:30", name="couple arrives", place="Chapel door", notes="rings first; grad ready, and flash off"),
        replace(EMPTY, at="14:00", name="vows", place="Chapel inside", notes="no flash"),
        replace(EMPTY, at="14:45", name="Confetti"),
    ]  # fmt: skip


def test_a_day_is_known_only_where_the_text_says_it():
    rows = rows_of_text("12:00 a\n2026-06-20\n13:30 b\n2026-06-21T00:30 c\n2026-06-22, 01:00 d", [])
    assert [(row.on and row.on.isoformat(), row.at, row.name) for row in rows] == [
        (None, "12:00", "a"), ("2026-06-20", "13:30", "b"), ("2026-06-21", "00:30", "c"), ("2026-06-22", "01:00", "d"),
    ]  # fmt: skip
    with pytest.raises(OutOfRange, match="line 1: “2026-02-30”"):
        rows_of_text("2026-02-30 13:30 Vows", [])


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "nothing came"),
        (" \n\t\n\u00a0", "nothing came"),
        ("Dinner at eight", "lines that begin with a time"),
        ("13:30 " + "x" * 81, "line 1: .* 80 characters of name, and not 81"),
        ("13:30 x\n" + "y" * 501, "line 2: .* 500 characters of notes, and not 501"),
        ("13:30 x\n" + "y" * 1001, "line 2: .* a line of at most 1,000 characters"),
        ("13:30 x\n" * 101, "line 101: .* at most 100 stops"),
        ("\n" * 501 + "13:30 x", "502 lines came"),
        ("13:30 x\n" + "y\n" * 500, "501 lines came"),
    ],
)
def test_a_text_that_is_too_much_or_no_running_order_is_told_so(text, word):
    with pytest.raises(OutOfRange, match=word):
        rows_of_text(text, PLACES)


def test_the_limits_themselves_are_allowed():
    assert len(rows_of_text("13:30 x\n" * 100 + "\n" * 400, [])) == 100
    (row,) = rows_of_text("13:30 " + "x" * 80 + "\n" + "y" * 500, [])
    assert (len(row.name), len(row.notes)) == (80, 500)


@given(st.text(alphabet=st.one_of(st.sampled_from("0123456789:.-–h apmCGto\n\t,()*@"), st.characters()), max_size=200))
def test_whatever_is_pasted_is_rows_that_a_form_can_show_or_a_word(text):
    try:
        rows = rows_of_text(text, PLACES)
    except OutOfRange as refused:
        assert refused.field == "text"
        return
    for row in rows:
        assert clock(row.at).minutes < 24 * 60
        assert not row.until or clock(row.until).minutes < 24 * 60
        assert [row.name, row.notes] == [one_line(row.name), one_line(row.notes)]
        assert row.place in {"", *PLACES}


@pytest.mark.parametrize("filling", ["\t", ":", " -", "(", "at ", "1", "13:30-", "é", "Chapel ", "@@", "c. ", "approx ", "1.30-", "1.50 - 2", "at 5 - ", "2000 guests "])  # fmt: skip
def test_lines_that_are_made_to_be_slow_are_not(filling):
    text = "\n".join(
        [
            "13:30 x",
            *(
                ("13:30 " if number % 5 == 0 else "") + filling * (900 // len(filling)) + "x Chapel"
                for number in range(400)
            ),
        ]
    )
    begun = time.monotonic()
    with contextlib.suppress(OutOfRange):
        rows_of_text(text, [f"Chapel {number}" for number in range(100)])
    assert time.monotonic() - begun < 2


# Tables

FULL = "Date,Time,Until,Stop,Place,Wanted,Widest,Narrowest,Lens,Notes\r\n2026-06-20,13:30,14:00,Vows,chapel,2.8,2,4,50,two rings\r\n"
FULL_ROW = Row(date(2026, 6, 20), "13:30", "14:00", "Vows", "Chapel", "2.8", "2", "4", "50", "two rings")


@pytest.mark.parametrize(
    "data",
    [
        FULL,
        "\ufeff" + FULL,
        FULL.encode(),
        b"\xef\xbb\xbf" + FULL.encode(),
        ("\ufeff" + FULL).encode("utf-16-le"),
        ("\ufeff" + FULL).encode("utf-16-be"),
        FULL.replace(",", ";"),
        FULL.replace(",", "\t"),
        "sep=;\r\n" + FULL.replace(",", ";"),
        FULL.replace("\r\n", "\n"),
        FULL.replace("\r\n", "\r"),
        FULL.removesuffix("\r\n"),
        "\r\n" + FULL + "\r\n,,,\r\n",
        '"' + FULL.replace(",", '","').replace("\r\n", '"\r\n"').removesuffix('"'),
        '"' + FULL.replace(",", '";"').replace("\r\n", '"\r\n"').removesuffix('"'),
    ],
)
def test_a_table_is_read_in_every_coat(data):
    assert rows_of_csv(data, PLACES) == [FULL_ROW]


def test_columns_may_stand_in_any_order_and_case_and_others_are_left_out():
    table = "Colour, NOTES ,time,stop\nred,a; b,1pm,Vows at Chapel\n\nred,,14:00-14:30,Chapel door: rings,more,cells\n"
    rows = rows_of_csv(table, PLACES)
    assert rows == [
        replace(EMPTY, at="13:00", name="Vows", place="Chapel", notes="a; b"),
        replace(EMPTY, at="14:00", until="14:30", name="rings", place="Chapel door"),
    ]


@pytest.mark.parametrize(
    ("ours", "names"),
    [
        ("date", ["day"]), ("time", ["start", "Start time", "From", "begin"]), ("until", ["end", "End Time", "finish", "to"]),
        ("stop", ["event", "what", "What happens", "activity", "title", "name", "item"]), ("place", ["location", "where", "venue"]),
        ("notes", ["description", "comment", "comments", "remarks"]),
    ],
)  # fmt: skip
@pytest.mark.parametrize("between", [",", ";", "\t"])
def test_common_practice_a_column_is_known_by_other_names_and_ours_wins(ours, names, between):
    header = ["date", "time", "until", "stop", "place", "notes"]
    cells = ["2026-06-20", "13:30", "14:00", "Vows", "Chapel", "two rings"]
    row = Row(date(2026, 6, 20), "13:30", "14:00", "Vows", "Chapel", "", "", "", "", "two rings")
    for name in names:
        theirs = [name if each == ours else each for each in header]
        table = f"{between.join(theirs)}\n{between.join(cells)}\n"
        assert rows_of_csv(table, PLACES) == [row]
        table = f"{name}{between}{between.join(header)}\nother{between}{between.join(cells)}\n"
        assert rows_of_csv(table, PLACES) == [row]


def test_of_two_other_names_the_plainer_one_counts():
    (row,) = rows_of_csv("Name,Event,Begin,Start\nAnna,Vows,12:00,13:30\n", PLACES)
    assert row == replace(EMPTY, at="13:30", name="Vows")


def test_a_table_with_places_has_them_as_they_are():
    """An unknown place stays to be chosen again, and a stop keeps its name."""
    rows = rows_of_csv("time,stop,place\n13:30,Vows at Chapel,\n14:00,Rings,GARDEN\n15:00,Tea,Kitchen\n", PLACES)
    assert [(row.name, row.place) for row in rows] == [("Vows at Chapel", ""), ("Rings", "Garden"), ("Tea", "Kitchen")]


def test_windows_1252_is_the_last_resort():
    """0xE9 is é and 0x96 a dash there; in UTF-8 neither may stand alone."""
    (row,) = rows_of_csv(b"time,stop\n13:30,Caf\xe9 \x96 tea\n", ["Café"])
    assert (row.name, row.place) == ("tea", "Café")


@pytest.mark.parametrize(
    ("data", "word"),
    [
        ("", "nothing came"),
        (b"\r\n \r\n", "nothing came"),
        (
            "13:30,Vows\n",
            "first row: “13:30,Vows” came, allowed is a calendar file, which begins with BEGIN:VCALENDAR, or a table whose first row names its columns, time among them: date, time, until, stop, place, wanted",
        ),
        (
            "Dear all, here is the plan\n13:30 Vows\n",
            "first row: “Dear all, here is the plan” came, .* time among them: date",
        ),
        ("<html>", "BEGIN:VCALENDAR.* time among them: date"),
        ("stop,place\nVows,Chapel\n", "time among them"),
        ("time,stop\n", "no stop"),
        ("time,stop\n,\n", "no stop"),
        ("time,stop\n13:30,a\n,b\n", "row 3: nothing came, allowed is a time"),
        ("time,stop\n13:30,a\n25:00,b\n", "row 3: “25:00”"),
        ("time,stop\n13:30 Vows,a\n", "row 2: “13:30 Vows”"),
        ("time,until\n13:30,later\n", "row 2: “later”"),
        ("time,until\n13:30,14:00-15:00\n", "row 2: “14:00-15:00”"),
        ("date,time\n20/06/2026,13:30\n", "row 2: “20/06/2026” came, allowed is a date such as 2026-06-20"),
        ("sep=,\ntime\n99:00\n", "row 3: “99:00”"),
        ("time,stop\n13:30," + "x" * 81, "row 2: .* 80 characters of name, and not 81"),
        ("time,lens\n13:30," + "x" * 81, "row 2: .* 80 characters of lens"),
        ("time,notes\n13:30," + "x" * 501, "row 2: .* 500 characters of notes"),
        ("time\n" + "13:30\n" * 101, "row 102: .* at most 100 stops"),
        ('time,stop\n13:30,"Vows\n', "line 2: nothing came, allowed is cells whose quotes are closed"),
        ('time,stop\n13:30,"' + "x" * 200_000, "cells whose quotes are closed, and no longer"),
        (b"\xff\xfe\x00", "time among them"),
        (bytes(range(256)) * 4000, "time among them"),
        (b"time\n" + b"\0" * 100_000, "no stop"),
        ("time,stop\n" * 2, "row 2: “time”"),
    ],
)
def test_a_table_that_cannot_be_read_is_told_where(data, word):
    with pytest.raises(OutOfRange, match=word) as refused:
        rows_of_csv(data, PLACES)
    assert refused.value.field == "file"


@given(
    st.text(alphabet=st.one_of(st.sampled_from("time,stop;\t\n\r\"13:0-'=\0"), st.characters()), max_size=120),
    st.booleans(),
)
def test_whatever_is_in_a_file_is_rows_or_a_word(text, headed):
    data = ("time,stop,until\n" + text if headed else text).encode("utf-8", "surrogatepass")
    try:
        rows = rows_of_csv(data, PLACES)
    except OutOfRange as refused:
        assert refused.field == "file"
        return
    assert all(clock(row.at) for row in rows)


# Out, and in again


def test_rfc_4180_a_table_has_its_names_its_line_ends_and_its_quotes():
    rows = [FULL_ROW, replace(EMPTY, at="14:00", name='The "vows", at last', notes="a;b")]
    assert csv_of_rows(rows) == (
        "date,time,until,stop,place,wanted,widest,narrowest,lens,notes\r\n"
        "2026-06-20,13:30,14:00,Vows,Chapel,2.8,2,4,50,two rings\r\n"
        ',14:00,,"The ""vows"", at last",,,,,,a;b\r\n'
    )


@pytest.mark.parametrize(
    "cell",
    ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1+1", "\r=1+1", "\n=1", " =1", "＝1+1", "＋1", "－1", "＠x", "'=1", "''-1"],
)
def test_owasp_no_cell_is_run_by_a_spreadsheet(cell):
    """It begins with none of the characters that make a formula, whatever was typed; and it is read back as it was."""
    row = Row(None, "13:30", "", cell, cell, cell, cell, cell, cell, cell)
    written = csv_of_rows([row])
    cells = next(csv.reader(io.StringIO(written.split("\r\n", 1)[1], newline="")))
    assert not [came for came in cells if came.startswith(tuple("=+-@\t\r\n＝＋－＠"))]
    clean = one_line(cell)
    assert rows_of_csv(written, []) == [Row(None, "13:30", "", *[clean] * 7)]


@pytest.mark.parametrize("cell", ["\t=1+1", " -1", "\n@SUM(A1)", "' =1"])
def test_space_before_a_formula_hides_it_from_nobody(cell):
    assert order_words.guarded(cell) == "'" + cell


def lines(most):
    """What a form keeps of whatever is typed, quotes, commas and formulas often among it."""
    characters = st.one_of(st.sampled_from("'=+-@\",;＝ é😀"), st.characters())
    return st.text(characters, max_size=most).map(one_line)


hours = st.times().map(lambda at: f"{at:%H:%M}")
rows = st.builds(
    Row,
    on=st.none() | st.dates(),
    at=st.one_of(hours, st.just("01:30 GMT")),
    until=st.one_of(st.just(""), hours, st.just("01:30 +01")),
    name=lines(80),
    place=lines(80),
    wanted=lines(20),
    widest=lines(20),
    narrowest=lines(20),
    lens=lines(80),
    notes=lines(500),
)


@given(st.lists(rows, min_size=1, max_size=20), st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
def test_what_is_written_reads_back_to_the_same_rows(rows, encoding):
    written = csv_of_rows(rows)
    assert rows_of_csv(written, []) == rows
    assert rows_of_csv(written.encode(encoding), []) == rows


def test_half_past_twelve_below_an_evening_is_midnight_s():
    """On a clock of twelve hours; below a morning it is noon's."""
    rows = rows_of_text("7:00 pm Dinner\n9:30 pm Dance\n12:30 Carriages\n1.00 Taxis", [])
    assert [row.at for row in rows] == ["19:00", "21:30", "00:30", "01:00"]
    assert [row.at for row in rows_of_text("9.30 Hair\n12.30 Guests", [])] == ["09:30", "12:30"]
