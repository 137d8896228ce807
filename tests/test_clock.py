"""Times of day and dates, as people and loggers write them."""

import numpy as np
import pytest

from fermkit.basis.errors import InputError
from fermkit.run.clock import clock_hours, dated_hours, hours_since, iso_hours
from fermkit.run.findings import Remarks


def hours(*cells, start="", dates=""):
    """Hours since the start, and what was said."""
    book = Remarks("gas.csv")
    found, _ = hours_since(list(cells), np.arange(2, 2 + len(cells)), "time", start, dates, book)
    return found.tolist(), "\n".join(f"{f.level}: {f}" for f in book.all())


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0:00", 0.0), ("21h30", 21.5), ("9:30 PM", 21.5), ("12:00 am", 0.0), ("12:00 pm", 12.0), ("100:00:36", 100.01),
        ("13:00 pm", None), ("0:00 am", None), ("8:60", None), ("8", None), ("8:5", None), ("8.30", None), ("", None),
    ],
)  # fmt: skip
def test_clock_hours(text, value):
    """Clocks, stopwatches, and what is neither."""
    assert clock_hours(text) == (None if value is None else pytest.approx(value))


@pytest.mark.parametrize(
    ("text", "dates", "same_as"),
    [
        ("2026-03-02 18:00", "", "2026-03-02 18:00"),
        ("02.03.2026 18:00:00", "", "2026-03-02 18:00"),
        ("02.03.26 18:00", "", "2026-03-02 18:00"),
        ("2/3/2026 18:00", "day first", "2026-03-02 18:00"),
        ("3/2/2026 6:00 pm", "month first", "2026-03-02 18:00"),
        ("3/15/2026 18:00", "", "2026-03-15 18:00"),
        ("5/5/2026 18:00", "", "2026-05-05 18:00"),
    ],
)
def test_dates_in_many_hands(text, dates, same_as):
    """Each way of writing gives the same moment."""
    assert dated_hours(text, dates) == dated_hours(same_as)


@pytest.mark.parametrize("text", ["2026-02-30 10:00", "2026-13-01 10:00", "32/32/2026 10:00", "2026-03-02", "soon"])
def test_what_is_no_date(text):
    """Days that don't exist, and dates without a time."""
    assert dated_hours(text, "day first") is None


def test_midnight_twice():
    """Each time the clock goes back a day is added."""
    found, said = hours("18:00", "23:00", "06:00", "17:00", "00:30")
    assert found == [0.0, 5.0, 12.0, 23.0, 30.5]
    assert said.count("passed midnight") == 2


@pytest.mark.parametrize(
    ("cells", "start", "expected"),
    [
        (("Monday 10:00", "Tue. 9 am", "wed 16:30"), "", [0.0, 23.0, 54.5]),
        (("Friday 15:00", "Monday 9:00", "Friday 15:00", "Sat 15:00"), "", [0.0, 66.0, 168.0, 192.0]),
        (("Thursday 8:00", "Thurs 20:00"), "Wednesday 20:00", [12.0, 24.0]),
        (("Monday 8:00",), "Sunday 20:00", [12.0]),
        (("Tuesday 10:00",), "2026-03-02 10:00", [24.0]),  # 2 March 2026 is a Monday
        (("day 1 10:00", "Day 2, 10:30", "day 11 10:00"), "", [0.0, 24.5, 240.0]),
    ],
)
def test_days_of_the_week_and_numbered_days(cells, start, expected):
    """Named or numbered days with a clock time; a week that ends goes on with the next."""
    assert hours(*cells, start=start)[0] == pytest.approx(expected)


@pytest.mark.parametrize("start", ["18:00", "day 1 8:00"])
def test_a_start_without_its_day_is_refused(start):
    """Days of the week want a start on one."""
    with pytest.raises(InputError, match="a start with its day"):
        hours("Monday 20:00", start=start)


def test_blank_times_stay_blank():
    """A row without a time has none; the others keep theirs."""
    found, _ = hours("18:00", "", "20:00")
    assert found[0] == 0.0 and np.isnan(found[1]) and found[2] == 2.0
    assert np.isnan(hours("", "")[0]).all()


def test_dates_and_clocks_in_one_column_are_refused():
    """Half a date is no order."""
    with pytest.raises(InputError, match="written in several ways"):
        hours("2026-03-02 18:00", "19:00")


def test_a_start_must_fit_its_times():
    """Dated times want a dated start; a start must be a time at all."""
    assert hours("2026-03-02 20:00", start="2026-03-02 18:00")[0] == [2.0]
    assert hours("20:00", start="2026-03-02 18:00")[0] == [2.0]
    with pytest.raises(InputError, match="the times have dates, but the start is '18:00'"):
        hours("2026-03-02 20:00", start="18:00")
    with pytest.raises(InputError, match="the start is 'noon'"):
        hours("20:00", start="noon")


@pytest.mark.parametrize("cell", ["yesterday", "12", "1:2:3:4", "18:00 h"])
def test_what_is_no_time_is_refused_with_its_row(cell):
    """The message names the row and offers the ways that are read."""
    with pytest.raises(InputError, match="row 3, time") as error:
        hours("18:00", cell)
    assert "time [h]" in error.value.needed


def test_a_whole_column_of_stamps_at_once():
    """The quick reader gives what the careful one gives, or steps aside."""
    stamps = ["2026-03-02 18:00:00", "2026-03-02 18:00:30.5", "", "2026-03-03 06:00:00"]
    found = iso_hours(stamps)
    assert found[:2] - found[0] == pytest.approx([0.0, 30.5 / 3600], abs=1e-6)
    assert np.isnan(found[2]) and found[3] - found[0] == pytest.approx(12.0, abs=1e-6)
    assert found[0] == dated_hours("2026-03-02 18:00")
    assert iso_hours(["2026-03-02 18:00", "later"]) is None
    assert iso_hours(["2026-03-02 18:00", "2026-03-02T10:00:00+01:00"]) is None
    assert iso_hours(["18:00"]) is None
