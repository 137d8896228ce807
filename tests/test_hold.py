"""The autolysis hold: hours by straight lines, gaps, overshoots, jumps, words."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fermkit import hold_log
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.harvest.hold import Cooled


def test_a_trapezium_by_hand():
    """Up from 20 to 50 in 1 h, held 4 h, down in 2 h: inside 45–60 for 1/6 + 4 + 1/3 h."""
    log = hold_log([0, 1, 2, 3, 4, 5, 7], [20, 50, 50, 50, 50, 50, 20.0])
    assert log.inside_h == pytest.approx(1 / 6 + 4 + 1 / 3)
    assert log.too_cold_h == pytest.approx(5 / 6 + 5 / 3)
    assert log.too_hot_h == 0
    assert log.bacteria_h == pytest.approx(7.0)
    assert log.gaps == ()


def test_warming_up_and_cooling_down_grow_bacteria():
    """Up from 0 to 50 in 1 h, held, down to 0 in 2 h: of the hours from 5 °C, 0.8 h are warm-up and 1.6 h cooling."""
    log = hold_log([0, 1, 2, 3, 4, 6], [0, 50, 50, 50, 50, 0.0])
    assert log.warming_h == pytest.approx(0.8)
    assert log.cooling_h == pytest.approx(1.6)
    assert log.bacteria_h == pytest.approx(0.9 + 3.0 + 1.8)
    cold = hold_log([0, 1, 2], [20.0, 30.0, 20.0])
    assert (cold.warming_h, cold.cooling_h) == (2.0, 0.0)


def test_the_caution_and_the_hold_name_one_band():
    """The page of a hold and the caution on hygiene say the same temperatures."""
    page = str(hold_log([0, 1, 2], [50.0, 50.0, 50.0]))
    assert "5 to 57 °C" in page and "between 5 and 57 °c" in " ".join(page.split()).lower()


@given(st.lists(st.floats(0.0, 100.0), min_size=2, max_size=40), st.floats(20, 50), st.floats(1, 30))
def test_the_hours_add_up(temperatures, low, width):
    """Inside, colder, hotter and unseen are all the hours, whatever the log."""
    time = np.arange(len(temperatures)) * 2.0
    log = hold_log(time, temperatures, (low, low + width), jumps="unseen")
    total = log.inside_h + log.too_cold_h + log.too_hot_h + log.unseen_h
    assert total == pytest.approx(log.logged_h)


def test_dense_log_agrees_with_counting():
    """On a wavy log, the straight lines agree with counting readings on a fine grid."""
    t = np.linspace(0, 24, 24 * 12 + 1)
    warm = 52 + 9 * np.sin(t) + 2 * np.sin(7 * t)
    fine = np.linspace(0, 24, 400_001)
    inside = np.interp(fine, t, warm)
    expected = np.mean((inside >= 45) & (inside <= 60)) * 24
    assert hold_log(t, warm).inside_h == pytest.approx(expected, abs=1e-3)


def test_a_gap_is_not_held():
    """A step of five hours in an hourly log is unseen, and could at most have been inside."""
    log = hold_log([0, 1, 2, 3, 8, 9, 10], [50.0] * 7)
    assert log.inside_h == pytest.approx(5.0)
    assert log.unseen_h == pytest.approx(5.0)
    assert log.inside_at_most_h == pytest.approx(10.0)
    assert (log.gaps[0].start_h, log.gaps[0].end_h) == (3.0, 8.0)
    assert "Unseen from 3 to 8 h" in str(log)
    assert hold_log([0, 1, 2, 3, 8, 9, 10], [50.0] * 7, gap_h=6.0).unseen_h == 0.0


def test_missing_readings_make_a_gap():
    """Readings that are missing in a row are a gap, not a straight line."""
    warm = [50.0, 50, 50, np.nan, np.nan, np.nan, 50, 50, 50]
    log = hold_log(range(9), warm)
    assert log.unseen_h == pytest.approx(4.0)


def test_overshoots_are_named_with_their_peak():
    """From where the line crosses 60 °C to where it comes back."""
    log = hold_log([0, 1, 2, 3, 4], [50, 55, 65, 55, 50.0])
    (over,) = log.overshoots
    assert (over.start_h, over.end_h, over.peak_C) == (1.5, 2.5, 65.0)
    assert log.too_hot_h == pytest.approx(1.0)
    assert "up to 65 °C" in str(log)


def test_an_overshoot_at_the_end_of_the_log():
    """A log that ends too hot ends its overshoot there."""
    (over,) = hold_log([0, 1, 2], [50, 55, 65.0]).overshoots
    assert (over.start_h, over.end_h) == (1.5, 2.0)


def test_the_thermometer_moves_all_hours_together():
    """A ± of the thermometer gives the hours a ±: a slow slope through 45 °C, 2 °C an hour, 0.5 °C → 0.25 h."""
    t = np.arange(0, 11)
    log = hold_log(t, 35 + 2.0 * t, (45, 60), thermometer_u_C=0.5)
    assert uncertainty(log.inside_h) == pytest.approx(0.25)
    assert uncertainty(log.inside_h + log.too_cold_h) == pytest.approx(0.0, abs=1e-9)
    steady = hold_log(t, np.full(11, 52.0), thermometer_u_C=0.5)
    assert uncertainty(steady.inside_h) == 0.0
    assert nominal(steady.inside_h) == 10.0


def test_pH_is_spoken_of():
    """No pH, a pH above 4.6, a pH below: each said."""
    t, warm = [0, 1, 2], [50.0, 50, 50]
    assert "No pH was given" in str(hold_log(t, warm))
    assert "no acid holds" in str(hold_log(t, warm, pH=[5.5, 5.8]))
    assert "does not kill them" in str(hold_log(t, warm, pH=[4.2]))


def test_below_hot_holding_is_told_inside_the_window_too():
    """A perfect hold at 50 °C is still time in which bacteria grow, and kills none."""
    page = str(hold_log([0, 12, 24], [50.0, 50, 50]))
    assert "where bacteria grow" in page
    assert "does not kill bacteria" in " ".join(page.split())
    hot = hold_log([0, 12, 24], [58.0, 58, 58])
    assert hot.bacteria_h == 0.0
    assert hold_log([0, 12, 24], [58.0, 58, 58], hot_holding_C=63.0).bacteria_h == 24.0


@pytest.mark.parametrize(
    ("time", "warm", "words"),
    [
        ([0, 1, 1], [50, 50, 50], "rises"),
        ([0, 2, 1], [50, 50, 50], "after 2 in row 2"),
        ([0, 1], [50, 50, 50], "different lengths"),
        ([0], [50], "at least 2"),
        ([0, 1, 2], [50, 500, 50], "row 2"),
        ([0, 1, 2], [50, -127.0, 50], "row 2"),
        ([0, 1, 2, 3, 4], [50, 50, 85.0, 50, 50], "jumps from 50 °C at 1 h to 85 °C at 2 h"),
        ([0, 0.01, 0.02], [50, 50, 30], "jumps"),
        ([0, 1], [np.nan, 50], "a log with 1 temp"),
    ],
)
def test_bad_logs_are_refused(time, warm, words):
    """Times that go back, impossible temperatures, lone spikes and steps too quick for a pot."""
    with pytest.raises(InputError, match=words):
        hold_log(time, warm)


def test_a_jump_may_be_left_out():
    """Both steps of a lone spike are unseen when asked for."""
    log = hold_log([0, 1, 2, 3, 4], [50, 50, 85.0, 50, 50], jumps="unseen")
    assert log.unseen_h == pytest.approx(2.0)
    assert log.inside_h == pytest.approx(2.0)


def test_a_quick_honest_heating_is_no_jump():
    """An hourly log that heats from 20 to 55 °C is believed."""
    assert hold_log([0, 1, 2], [20, 55, 55.0]).inside_h == pytest.approx(1 + 10 / 35)


def test_a_window_upside_down():
    """The window runs from cold to warm."""
    with pytest.raises(InputError, match="window from 60 to 45"):
        hold_log([0, 1], [50, 50.0], (60, 45))


@pytest.mark.parametrize(
    ("hours", "cooled"),
    [([0, 1, 2, 3.5, 6.5], Cooled.AS_THE_RULE), ([0, 1, 2, 5, 6.5], Cooled.TOO_SLOW),
     ([0, 1, 2, 3.5, 9], Cooled.TOO_SLOW), ([0, 1, 2], Cooled.NOT_LOGGED)],
)  # fmt: skip
def test_cooling_is_held_to_the_rule(hours, cooled):
    """To 21 °C within 2 h and to 5 °C within 6 h of the warm end; a log that stops says nothing."""
    log = hold_log(hours, [50, 50, 50, 20, 4.0][: len(hours)], gap_h=9)
    assert log.cooled is cooled and str(cooled) in str(log)
