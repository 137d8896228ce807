"""Autolysis in time: rate and interval, what more time brings, or that nobody can tell."""

import numpy as np
import pytest

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal
from fermkit.harvest.autolysis import Bend, autolysis

HOURS = np.array([0.0, 2.0, 4.0, 8.0, 12.0, 24.0])
OTHERS = {
    "two parts": lambda t: 20 + 20 * (1 - np.exp(-0.4 * t)) + 10 * (1 - np.exp(-0.04 * t)),
    "second order": lambda t: 20 + 30 * t / (t + 5),
    "stretched": lambda t: 20 + 30 * (1 - np.exp(-((t / 6) ** 0.6))),
    "late": lambda t: 20 + 30 * (1 - np.exp(-0.2 * np.maximum(t - 1.5, 0))),
}
"""Rises that the method does not assume."""


def test_the_rate_of_a_first_order_rise_is_held():
    """95 % limits of the rate hold it, and no wider than they need."""
    rng = np.random.default_rng(3)
    held = []
    for k in rng.uniform(0.08, 0.4, 60):
        found = autolysis(HOURS, 20 + 30 * (1 - np.exp(-k * HOURS)) + rng.normal(0, 0.7, 6), 0.7)
        low, high = found.rate_interval_h
        held.append(low <= k <= high)
        assert found.bend is not Bend.SEEN or high < 4 * low
    assert np.mean(held) > 0.88  # 60 runs at 95 %: fewer in one of a hundred


@pytest.mark.parametrize("name", OTHERS)
def test_what_as_much_time_again_brings_is_held_for_other_rises(name):
    """Quick and slow parts, second order, stretched, late: the limits hold what came by twice the time."""
    rng, rise = np.random.default_rng(5), OTHERS[name]
    held = []
    for _ in range(30):
        found = autolysis(HOURS, rise(HOURS) + rng.normal(0, 0.7, 6), 0.7)
        held.append(found.more[0] <= rise(48.0) - rise(24.0) <= found.more[1])
    assert np.mean(held) > 0.8


def test_readings_that_end_before_the_bend_tell_no_end():
    """A quarter of the way a line fits as well: no upper limit is given, in words and in numbers."""
    found = autolysis([0, 0.5, 1, 1.5], 20 + 30 * (1 - np.exp(-0.2 * np.array([0, 0.5, 1, 1.5]))), 0.5)
    assert found.bend is Bend.NOT_SEEN and found.more[1] == float("inf") and found.rate_interval_h[0] == 0.0
    assert "inf" not in str(found) and "nan" not in str(found)
    assert found.now_per_h == pytest.approx(30 * 0.2 * np.exp(-0.3), rel=0.15)


def test_a_rise_between_two_readings_has_no_rate():
    """All came before the second reading."""
    assert autolysis([0, 6, 12, 24], [20, 50.1, 49.9, 50.0], 0.3).bend is Bend.AT_ONCE


def test_noise_is_no_rise():
    """Readings that differ by their ± show nothing, and a fall is none either."""
    assert autolysis([0, 6, 12, 24], [20, 20.3, 19.8, 20.1], 0.3).bend is Bend.NO_RISE
    assert autolysis([0, 6, 12, 24], [20, 18, 17, 16.5], 0.3).bend is Bend.NO_RISE


def test_too_few_readings_are_refused():
    """Three numbers cannot tell start, rate and end."""
    with pytest.raises(InputError, match="3 readings"):
        autolysis([0, 6, 12], [20, 30, 35], 0.3)


def held(columns, **harvest):
    """A run with a hold in its log and what dissolved."""
    hours = [0, 1, 2, 4, 8, 12, 24]
    settings = {
        "run": {"name": "pot"}, "vessel": {"liquid": "2.0 L"}, "inoculum": {"ingredient": "active dry yeast",
        "amount": "5 g"}, "feed": [{"ingredient": "white sugar", "amount": "120 g"}], "harvest": harvest,
    }  # fmt: skip
    hold = {"time [h]": hours, "temperature [°C]": [20, 48, 50, 51, 50, 49, 50], **columns}
    return fk.analyse(fk.run_from(settings, {"hold": hold}))


def test_time_counts_from_when_the_paste_was_warm():
    """The hour of warming up is no autolysis, and the rate carries the temperature that it belongs to."""
    late = np.array([0, 0, 1, 3, 7, 11, 23])
    found = held({"soluble [g/L]": (20 + 60 * (1 - np.exp(-0.25 * late))).round(1)}).autolysis[0]
    assert found.time_h[0] == 0.0 and len(found.time_h) == 6
    assert found.rate_interval_h[0] < 0.25 < found.rate_interval_h[1]
    assert found.mean_C == pytest.approx(49.7, abs=0.1)


def test_what_dissolved_is_a_reading_of_the_extract():
    """80 g/L in 180 mL are 14.4 g, salt taken off 10.4 g; an extract that was weighed goes before it."""
    columns = {"soluble [g/L]": ["", "", 40, 60, 72, 78, 80]}
    found = held(columns, autolysate="180 ± 2 mL", salt="4.0 ± 0.1 g")
    reading = next(one for one in found.estimate.readings if one.kind == "extract")
    assert nominal(reading.value) == pytest.approx(10.4)
    weighed = held(columns, autolysate="180 ± 2 mL", extract="9.0 ± 0.2 g dry")
    assert nominal(next(one for one in weighed.estimate.readings if one.kind == "extract").value) == pytest.approx(9.0)


def test_each_thing_that_was_read_has_its_own_course():
    """Solids and amino nitrogen rise at their own rates; two readings make none."""
    few = ["", 1.0, "", "", "", "", 3.0]
    found = held({"brix [°Bx]": [2, 2.5, 4, 6, 7.4, 7.9, 8.1], "amino nitrogen [g/L]": few})
    assert [one.unit for one in found.autolysis] == ["°Bx"]
