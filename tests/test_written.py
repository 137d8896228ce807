"""Numbers in writing: rounded by their uncertainty, escaped, the same in text, HTML and table."""

import math
import re

import pytest
from uncertainties import ufloat

from fermkit.basis.written import Line, Page, Written, in_percent, in_words, interval, percent, plus_minus, rounded

# The rule: two digits of the uncertainty, the value cut at the same place (GUM 7.2.6, JCGM 100:2008).
CASES = [
    (10.0574, 0.0288, "10.057", "0.029"),
    (100.02147, 0.00035, "100.02147", "0.00035"),  # the mass standard of GUM 7.2.2
    (611.812, 0.871, "611.81", "0.87"),
    (12345.6, 789.0, "12350", "790"),
    (0.2, 0.0996, "0.20", "0.10"),
    (-0.0001, 0.5, "0.00", "0.50"),
    (5.0, 120.0, "0", "120"),
    (3.1e-9, 2.2e-10, "3.10e-09", "2.2e-10"),
]


CASES += [  # what rounding leaves, exact and extreme numbers: never more than ten digits
    (62.65060240963855, 4.8e-17, "62.65", ""),
    (-3.056e-12, 0.0, "0", ""),
    (-2.01e-16, 7.8e-17, "0", ""),
    (-0.0, 0.0, "0", ""),
    (-0.0, 0.5, "0.00", "0.50"),
    (1 / 3, 0.0, "0.3333", ""),
    (1e29, 1e12, "1.000e+29", ""),
    (1e-5, 1e9, "0", "1.0e+09"),
    (123456789.0, 0.001, "1.235e+08", ""),
    (2.5, math.inf, "2.500", "not determined"),
    (2.5, math.nan, "2.500", "not determined"),
    (1013.25, 0.01, "1013.250", "0.010"),
]


@pytest.mark.parametrize(("value", "u", "shown", "shown_u"), CASES)
def test_rounded_by_the_second_digit_of_the_uncertainty(value, u, shown, shown_u):
    """Value and uncertainty end at the same decimal."""
    assert rounded(value, u) == (shown, shown_u)


def test_a_missing_number_is_said_in_words():
    """NaN and infinity never reach the page."""
    assert plus_minus(math.nan, "h") == "not determined"
    assert rounded(math.inf, 1.0) == ("not determined", "")
    assert in_words(math.nan) == "p not determined"
    assert interval(math.nan, math.nan) == "no interval from these data (95 %)"


def test_open_ends_are_called_open():
    """An interval without an upper or a lower end says so."""
    assert "no upper end" in interval(1.0, math.inf, "mL")
    assert "no lower end" in interval(-math.inf, 1.0, "mL")


def test_an_interval_keeps_its_unit():
    """Open, closed, of no width, and beside a number that is not determined."""
    for low, high in ((1.0, math.inf), (-math.inf, 1.0), (1.0, 2.0), (1 / 3, 1 / 3), (1.0, 1.0 + 1e-15)):
        assert " mL" in interval(low, high, "mL")
        assert max(map(len, re.findall(r"[0-9]+", interval(low, high, "mL")))) <= 5
    name, shown, unit, note = Line("lag", math.nan, "h", limits=(2.0, math.inf)).cells()
    assert (name, shown, unit) == ("lag", "not determined", "") and "above 2.000 h" in note


@pytest.mark.parametrize("exponent", range(-20, 30, 3))
def test_no_number_is_longer_than_its_doubt(exponent):
    """Whatever the value and its ±, no printed number has more than eleven digits."""
    for share in (0.0, 1e-17, 1e-12, 1e-9, 3e-9, 1e-4, 0.3, 1.0, 1e5):
        text = " ".join(rounded(-(2 / 3) * 10.0**exponent, share * 10.0**exponent))
        for number in re.findall(r"[0-9][0-9.]*", text):
            assert len(number.replace(".", "")) <= 11, text


def test_a_probability_is_said_in_one_form():
    """Whole percent with a space; what is as good as none or all is said so."""
    for p, words in ((0.5, "50 %"), (0.04, "4 %"), (0.995, "over 99 %"), (1e-9, "under 1 %"), (0.0, "0 %")):
        assert in_percent(p) == words


def test_percent_keeps_the_uncertainty():
    """A share is shown with its own uncertainty."""
    assert percent(ufloat(0.511, 0.02)) == "51.1 ± 2.0 %"


class Weighed(Written):
    """A small result for the tests below."""

    def page(self):
        return Page(
            "Weighed <jar>",
            [
                Line("sugar", ufloat(100.0, 1.0), "g", "by scale", limits=(98.0, 102.0)),
                Line("kind", "beet & cane"),
            ],
            ["reads well"],
            [Page("Part", [Line("part", 1.0, "g")])],
        )


def test_text_html_and_table_agree():
    """The same numbers stand in all three forms, with user text escaped in HTML."""
    weighed = Weighed()
    text, html, table = str(weighed), weighed._repr_html_(), weighed.table()
    assert "100.0 ± 1.0" in text
    assert "100.0 ± 1.0" in html
    assert "98.0 to 102.0 g (95 %)" in text
    assert "<jar>" not in html
    assert "beet &amp; cane" in html
    assert table["u"].iloc[0] == 1.0
    assert list(table["name"]) == ["sugar", "kind"]


def test_repr_is_one_line_with_the_first_result():
    """A debugger's line names the class, the heading and the first number."""
    assert repr(Weighed()) == "<Weighed: Weighed <jar>; sugar 100.0 ± 1.0 g>"


def test_long_remarks_are_folded_between_words():
    """No line of a printed page is wider than a notebook's cell, and no word is broken or lost."""
    remark = "What the liquid still holds comes out again, and a vent does not reset the pressure. " * 4
    lines = Page("A page", [], [remark, "short"]).text().splitlines()
    assert max(map(len, lines)) <= 98
    assert " ".join(" ".join(lines[2:-1]).split()) == remark.strip()
    assert lines[-1] == "  short"
