"""Reading what people type: f/2.8, 2,8, 1/50, 100-6400, minus signs, and what is none of these."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.datastructures import FormData

from server.exposure.refused import OutOfRange
from server.pages import forms
from server.pages.forms import Form, MaybeNumber, Name, Number, Seconds, Ticked, Whole


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("2.8", 2.8), ("2,8", 2.8), (" 2.8 ", 2.8), ("+2", 2), ("-2", -2), ("−2", -2), ("−0,33", -0.33), (".5", 0.5),
        ("-.5", -0.5), ("7.", 7), ("007", 7), ("0", 0), ("-0", 0), ("2.8\u00a0", 2.8), ("\t2.8\r\n", 2.8),
        ("0.016666666666666666", 1 / 60), ("51.752021", 51.752021),
    ],
)  # fmt: skip
def test_a_number_may_be_typed_as_people_type_it(typed, value):
    assert forms.number(typed) == value


NO_NUMBERS = [
    "", " ", "x", "2.8x", "2..8", "2,8,0", "1.000,5", "1,000.5", "1e3", "nan", "inf", "0x10", "1_000", "--2", "2-",
    "+-2",    "- 2", "2 8", "²", "٣", "1/50", "1" * 13, ".", ",", "-", "+", "None", "True",
]  # fmt: skip


@pytest.mark.parametrize("typed", NO_NUMBERS)
def test_what_is_no_number_is_told_an_example(typed):
    with pytest.raises(ValueError, match=r"^a number, such as 2\.8$"):
        forms.number(typed)


@given(st.text(max_size=20))
def test_whatever_is_typed_is_a_finite_number_or_a_word(typed):
    for read in (forms.number, forms.f_number, forms.seconds):
        try:
            value = read(typed)
        except ValueError as word:
            value = "such as" in str(word)
        assert value is True or math.isfinite(value)


@given(st.floats(min_value=-1e11, max_value=1e11, allow_nan=False).map(lambda n: round(n, 6)))
def test_a_number_reads_back_as_it_is_printed(value):
    assert forms.number(f"{value:.6f}") == value
    assert forms.number(f"{value:.6f}".replace(".", ",").replace("-", "−")) == value


@pytest.mark.parametrize("typed", ["f/2.8", "F/2.8", "f2.8", "F2,8", "f / 2.8", "2.8", "T2.8", "t/2.8", " f/2,8 "])
def test_an_f_number_may_have_its_f(typed):
    """Or its T: a cine lens is marked so."""
    assert forms.f_number(typed) == 2.8


@pytest.mark.parametrize("typed", ["f", "f/", "ff2.8", "2.8f", "1/2.8", "f/2.8/4", "f:2.8"])
def test_what_is_no_f_number_is_told_an_example(typed):
    with pytest.raises(ValueError, match="such as"):
        forms.f_number(typed)


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [
        ("1/50", 0.02), ("1/50 s", 0.02), ("1/50s", 0.02), ("1 / 50", 0.02), ("0.02", 0.02), ("0,02", 0.02),
        ("0,02 s", 0.02),        ("2", 2), ("2 s", 2), ("1/2,5", 0.4), ("1/48", 1 / 48), ("1/47.952", 1 / 47.952), ("3/2", 1.5),
        ("0.020833333333333332", 1 / 48), ("0.00003125", 1 / 32000),
    ],
)  # fmt: skip
def test_a_time_may_be_a_fraction_or_a_number(typed, seconds):
    assert forms.seconds(typed) == pytest.approx(seconds, rel=1e-12)


@pytest.mark.parametrize("typed", ["0.020833333333333332", "0,0208333333333", "2/96", "1/48 s"])
def test_two_ways_to_type_one_time_are_one_time(typed):
    """A shutter of the body and one of a look are compared: a difference in the last digit would be an action."""
    assert forms.seconds(typed) == forms.seconds("1/48")
    assert forms.times_at("180°", 24.0) == [forms.seconds("1/48")]


@pytest.mark.parametrize("typed", ["", "1/", "/50", "1/0", "1/-50", "1/50/2", "1:50", "1/x", "s", "50th", "1/0,0"])
def test_what_is_no_time_is_told_an_example(typed):
    with pytest.raises(ValueError, match="such as 1/50"):
        forms.seconds(typed)


@pytest.mark.parametrize(
    ("typed", "values"),
    [
        ("77 82", [77, 82]), ("77, 82", [77, 82]), ("77,82", [77, 82]), ("77; 82", [77, 82]), ("77;82", [77, 82]),
        ("77", [77]), ("", []), ("  ", []), ("77,", [77]), ("0 2 4 6", [0, 2, 4, 6]), ("0,2,4,6", [0, 2, 4, 6]),
        ("0 0,3 0,6", [0, 0.3, 0.6]), ("0; 0,3; 0,6", [0, 0.3, 0.6]), ("0 1.5", [0, 1.5]), ("0.3,0.6", [0.3, 0.6]),
        ("0, 1.5, 2", [0, 1.5, 2]),
    ],
)  # fmt: skip
def test_a_list_may_have_spaces_commas_or_semicolons_between(typed, values):
    """With spaces or semicolons between the values, a comma inside one is its decimal comma, wherever it stands."""
    assert forms.numbers(typed) == values


@pytest.mark.parametrize(
    ("typed", "values"),
    [
        ("1/50 1/100", [0.02, 0.01]), ("1/50, 1/100", [0.02, 0.01]), ("1/50,1/100", [0.02, 0.01]),
        ("0.02 0.01", [0.02, 0.01]),        ("1/50;1/100", [0.02, 0.01]), ("1/50", [0.02]), ("0,02 0,01", [0.02, 0.01]),
    ],
)  # fmt: skip
def test_a_list_of_times(typed, values):
    assert forms.times_at(typed, None) == values


@pytest.mark.parametrize(
    ("typed", "speeds"),
    [
        ("100 200 400", [100, 200, 400]), ("100,200,400", [100, 200, 400]), ("100", [100]), ("", []),
        ("100-400", [100, 125, 160, 200, 250, 320, 400]), ("100 - 160", [100, 125, 160]), ("100–160", [100, 125, 160]),
        ("100−160", [100, 125, 160]), ("100-125 800-1000", [100, 125, 800, 1000]), ("100, 800-1000", [100, 800, 1000]),
        ("6400-6400", [6400]),
    ],
)  # fmt: skip
def test_speeds_may_be_a_range_of_third_stops(typed, speeds):
    """The marks between two speeds are the third-stop series of ISO 12232, whatever dash is typed."""
    assert forms.speeds(typed) == speeds


@pytest.mark.parametrize("typed", ["6400-100", "100-", "-100", "100-200-400", "100-x", "100--200", "-"])
def test_what_is_no_range_of_speeds_is_told_an_example(typed):
    with pytest.raises(ValueError, match="100-6400"):
        forms.speeds(typed)


def test_a_list_has_a_limit():
    with pytest.raises(ValueError, match="at most 100"):
        forms.numbers("1 " * 101)
    assert len(forms.numbers("1 " * 100)) == 100


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        ("Chapel  inside", "Chapel inside"), ("  Mill\n", "Mill"), ("a\u0000b", "a b"), ("a\u202eb", "a b"),
        ("a\ud800b", "a b"),        ("Zoë’s", "Zoë’s"), ("松本", "松本"), ("<b>&amp;", "<b>&amp;"), ("a\u2028b", "a b"),
    ],
)  # fmt: skip
def test_a_name_is_one_line_without_control_characters(typed, line):
    assert forms.name(typed) == line


@pytest.mark.parametrize("typed", ["", "   ", "\u0000", "\n\t", "a" * 81])
def test_a_name_has_1_to_80_characters(typed):
    with pytest.raises(ValueError, match="1 to 80 characters"):
        forms.name(typed)


def test_a_name_of_80_characters_of_any_script_is_a_name():
    for letter in ("a", "é", "松", "☺"):
        assert forms.name(letter * 80) == letter * 80


@pytest.mark.parametrize("typed", ["-1", "1.5", "1,5", "", "x", "1" * 10, "٣", "1e3", "+1"])
def test_a_count_is_a_whole_number(typed):
    with pytest.raises(ValueError, match="a whole number, such as 2"):
        forms.whole(typed)


class Shot(Form):
    name: Name
    places: Whole
    meter: Number
    shutter: Seconds = 0.02
    latitude: MaybeNumber = None
    used: Ticked = False
    glass: tuple[str, ...] = ()

    def check(self):
        if self.places > 9:
            raise OutOfRange("shot.places", self.places, "0 to 9")


def read(*pairs):
    return Shot.read(FormData(list(pairs)))


GOOD = (("name", "Mill"), ("places", "3"), ("meter", "−0,3"))


def test_a_form_that_is_right_is_its_values():
    form, typed = read(*GOOD, ("glass", "7"), ("used", "1"), ("glass", "8"), ("latitude", ""))
    assert form == Shot(name="Mill", places="3", meter="-0.3", latitude=None, used=True, glass=("7", "8"))
    assert (form.places, form.meter, form.shutter) == (3, -0.3, 0.02)
    assert typed.errors == {}


def test_every_field_that_is_wrong_has_a_word_of_its_own():
    """All at once: nobody wants to be told one mistake after the other."""
    form, typed = read(("name", " "), ("places", "many"), ("meter", ""), ("latitude", "north"))
    assert form is None
    assert typed.errors == {
        "name": "It needs a name of 1 to 80 characters",
        "places": "many came; it needs a whole number, such as 2",
        "meter": "It needs a number, such as 2.8",
        "latitude": "north came; it needs a number, such as 2.8",
    }


def test_what_was_typed_is_kept_as_it_was_typed():
    _, typed = read(("name", "  Mill  "), ("places", "many"), ("meter", "2,8"), ("glass", "7"), ("glass", "8"))
    assert [typed.value(name) for name in ("name", "places", "meter")] == ["  Mill  ", "many", "2,8"]
    assert typed.several("glass", []) == ["7", "8"]


def test_a_field_that_is_missing_is_an_empty_one():
    """A browser sends no box that is not ticked; a program may leave out anything."""
    form, typed = read()
    assert form is None
    assert set(typed.errors) == {"name", "places", "meter"}


def test_what_the_engine_refuses_is_beside_its_field():
    form, typed = read(*GOOD[:1], ("places", "10"), GOOD[2])
    assert form is None
    assert typed.errors == {"places": "10 came; allowed is 0 to 9"}


def test_a_field_that_comes_twice_counts_once():
    form, _ = read(*GOOD, ("shutter", "1/50"), ("shutter", "1/100"))
    assert form.shutter in (0.02, 0.01)


def test_a_field_that_nobody_asked_for_is_passed_over():
    form, _ = read(*GOOD, ("crew_id", "2"), ("id", "9"))
    assert form is not None
    assert not hasattr(form, "crew_id")


@pytest.mark.parametrize("figure", [0.6, 3.0, 0.125, 1 / 3, 100.0, 102400.0, 1e6, 51.752021, -2.2, 0.0, 1e-5, 77.0])
def test_a_figure_reads_back_as_it_is_shown_in_its_field(figure):
    """To the last digit: a form that is kept as it was drawn must change nothing."""
    assert forms.number(forms.figure(figure)) == figure


@pytest.mark.parametrize(("figure", "shown"), [(3.0, "3"), (0.6, "0.6"), (102400.0, "102400"), (1e-5, "0.00001")])
def test_a_figure_is_shown_as_people_type_it(figure, shown):
    assert forms.figure(figure) == shown


TIMES = [1 / n for n in (24, 25, 48, 47.952, 50, 59.94, 60, 100, 125, 1000, 8000, 16000, 32000)]


@pytest.mark.parametrize(
    "seconds", [*TIMES, 0.3, 0.5, 0.7, 1.0, 1.3, 2.5, 30.0, 3600.0, 1 / 3, 2 / 3, 0.0201, math.pi / 300]
)
def test_a_time_reads_back_as_it_is_shown_in_its_field(seconds):
    kept = forms.seconds(forms.figure(seconds))
    assert kept == pytest.approx(seconds, rel=1e-12)
    assert forms.seconds(forms.time_figure(kept)) == kept


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [(0.02, "1/50"), (1 / 48, "1/48"), (1 / 47.952, "1/47.952"), (1.0, "1"), (2.5, "2.5"), (0.3, "0.3")],
)
def test_a_time_is_shown_as_it_is_marked(seconds, shown):
    assert forms.time_figure(seconds) == shown
    assert forms.time_figure(forms.seconds(shown)) == shown, "so it is shown when it was kept"
