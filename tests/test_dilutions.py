"""Dilutions of one sample held against one another, where there is little to hold."""

import numpy as np
import pytest

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.calibration.dilutions import dilution_series

CONTENT = np.repeat([0.0, 0.2, 0.4, 0.6, 0.8, 1.0], 2)
CURVE = fk.fit_calibration(CONTENT, 0.05 + 0.8 * CONTENT + np.random.default_rng(1).normal(0, 0.003, 12))


def test_the_same_dilution_made_twice_has_no_trend():
    """Two portions, each diluted five-fold, can disagree but can't show that the content falls with dilution."""
    alike = dilution_series(CURVE, [5, 5], [[0.300, 0.301], [0.302, 0.299]])
    assert alike.trend.verdict == "one dilution only" and alike.agreement.passed
    apart = dilution_series(CURVE, [5, 5], [[0.300, 0.301], [0.402, 0.399]])
    assert not apart.agreement.passed and "nan" not in str(apart)


def test_no_dilution_is_refused():
    """Nothing was read: said, not divided by."""
    with pytest.raises(InputError, match="0 dilutions"):
        dilution_series(CURVE, [], [])


@pytest.mark.parametrize("replicates", [0, -1, 1.5])
def test_limits_need_a_reading(replicates):
    """A detection limit for no reading, or for one and a half, is refused with the number given."""
    with pytest.raises(InputError, match=f"replicates is {replicates}"):
        CURVE.limits(replicates=replicates)


def test_more_readings_of_a_sample_detect_less():
    """The limit falls with replicates, but not below what the curve itself leaves in doubt."""
    one, four, many = (CURVE.limits(replicates=n).detection for n in (1, 4, 10_000))
    assert one > four > many > 0


def test_a_saturated_dilution_costs_that_dilution_only():
    """The undiluted sample lies beyond the top of a saturating sensor: it is told, and the other two give the value."""
    x = np.repeat([0.0, 0.5, 1.0, 2.0, 4.0, 8.0], 2)
    sensor = fk.fit_calibration(
        x, 0.1 + 3.0 * x / (5.0 + x) + np.random.default_rng(1).normal(0, 0.003, 12), curve="saturating"
    )
    series = dilution_series(sensor, [1, 10, 20], [[3.3], [0.1 + 3 * 4 / 9], [0.1 + 3 * 2 / 7]])
    assert series.value.n == pytest.approx(40.0, rel=0.03)
    assert list(series.dilutions) == [10, 20] and "1-fold" in series.verdict
    with pytest.raises(InputError, match="none of 2 dilutions"):
        dilution_series(sensor, [1, 2], [[3.3], [3.4]])
