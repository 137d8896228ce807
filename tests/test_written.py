"""Numbers in writing: rounded by their uncertainty, escaped, the same in text, HTML and table."""

import math

import pytest
from uncertainties import ufloat

from fermkit.basis.written import Line, Page, Written, in_words, interval, percent, plus_minus, rounded

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
