"""Several curves on the same readings."""

import numpy as np
import pytest

import fermkit as fk
from fermkit.basis.errors import FitError
from fermkit.growth import curves
from fermkit.growth.comparison import Outcome

T = np.linspace(0, 48, 60)


@pytest.mark.parametrize("name", ["gompertz", "logistic"])
def test_the_curve_that_made_the_readings_carries_the_weight(name):
    """AICc gives most of the weight to the right curve and its generalisation."""
    y = getattr(curves, name)(T, 600, 40, 6) + 4 * np.random.default_rng(0).normal(size=60)
    found = fk.compare_curves(T, y, unit="mL")
    assert found.best.curve == name
    assert sum(found.weight) == pytest.approx(1)
    assert found.weight[0] + found.weight[[fit.curve for fit in found.fits].index("richards")] > 0.95


def test_the_spread_between_curves_is_its_own_line():
    """Lag and rate differ between curves by more than each one's interval, and the page says how far."""
    y = curves.gompertz(T, 600, 40, 6) + 4 * np.random.default_rng(0).normal(size=60)
    found = fk.compare_curves(T, y, unit="mL")
    low, high = found.spread("lag_h")
    assert high - low > 4 * found.best.lag_h.s
    assert "lag, between curves" in str(found) and "None of these curves is the truth" in str(found)
    assert list(found.table().columns[:3]) == ["curve", "AICc", "weight"]


def test_curves_on_counted_gas_share_their_weights():
    """Increments of unknown error get one set of weights, so that the criteria can be compared."""
    steps = np.random.default_rng(1).poisson(np.diff(curves.gompertz(T, 600, 40, 6)) / 0.5) * 0.5
    found = fk.compare_curves(T, np.concatenate([[0.0], np.cumsum(steps)]), "accumulating")
    assert found.best.curve in ("gompertz", "richards")


def test_aicc_is_the_textbook_formula():
    """n ln(RSS/n) + 2K + 2K(K+1)/(n-K-1), with the scatter counted as a parameter."""
    y = curves.gompertz(T, 600, 40, 6) + 4 * np.random.default_rng(0).normal(size=60)
    found = fk.compare_curves(T, y, curves=["gompertz"])
    rss = np.sum((y - found.best.predict(T)) ** 2)
    assert found.aicc[0] == pytest.approx(60 * np.log(rss / 60) + 8 + 40 / 55, rel=1e-6)


def test_too_few_readings_to_compare_are_refused():
    """With five readings no curve can be weighed."""
    with pytest.raises(FitError, match="5 readings"):
        fk.compare_curves(T[:5], [0, 1, 3, 6, 7])
    with pytest.raises(FitError, match="2 readings for the"):
        fk.compare_curves(T[:2], [0, 1])
    with pytest.raises(FitError, match="0 curves to compare"):
        fk.compare_curves(T, curves.gompertz(T, 600, 40, 6), curves=[])


def test_the_end_is_forecast_between_the_curves():
    """From the earliest to the latest limit; open while one of them has not bent."""
    y = curves.gompertz(T, 600, 40, 6) + 4 * np.random.default_rng(0).normal(size=60)
    found = fk.compare_curves(T, y, unit="mL")
    each = [fit.finish_time_h(0.95) for fit in found.fits]
    whole = found.finish_time_h(0.95)
    assert whole.low == min(one.low for one in each) and whole.high == max(one.high for one in each)
    assert whole.low < whole.time_h.n < whole.high and "between curves" in str(whole)
    early = fk.compare_curves(T[:14], y[:14], unit="mL").finish_time_h()
    assert early.high == np.inf and "not determined" in str(early)


def test_no_curve_is_given_weight_where_none_follows():
    """Gas that grows faster and faster and stops within the hour is no sigmoid: the best misfit gets no weight."""
    t = np.arange(0.0, 24.0, 0.5)
    made = np.where(t < 14, np.expm1(0.25 * t), np.expm1(0.25 * 14))
    for noise, sd in (("independent", 0.1), ("accumulating", 0.02)):
        errors = sd * np.random.default_rng(6).normal(size=t.size)
        y = made + (errors if noise == "independent" else np.cumsum(errors))
        found = fk.compare_curves(t, y, noise)
        assert found.verdict is Outcome.NONE_FOLLOWS and set(found.weight) == {0.0}
        assert "% weight" not in str(found)


def test_a_curve_that_made_the_readings_is_said_to_follow():
    """Of 40 runs that a curve made, with errors of either kind, at most two are said not to follow it."""
    told = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        true = curves.gompertz(T, 600, 40, 6)
        counted = np.concatenate([[0.0], np.cumsum(rng.poisson(np.diff(true) / 2) * 2.0)])
        told += not fk.fit_growth(T, true + 4 * rng.normal(size=60)).follows
        told += not fk.fit_growth(T, counted, noise="accumulating").follows
    assert told <= 2
