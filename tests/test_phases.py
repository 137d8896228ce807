"""Phases, the exponential window, and the state of a run."""

import numpy as np
import pytest

import fermkit as fk
from fermkit.basis.errors import FitError
from fermkit.growth import curves

T = np.linspace(0, 48, 60)


def gas(seed=0, sd=3.0, time=T):
    """Gompertz readings."""
    return curves.gompertz(time, 600, 40, 6) + sd * np.random.default_rng(seed).normal(size=time.size)


def test_phases_have_their_definitions():
    """End of lag and onset of the stationary phase are the tangent's, and say so."""
    phases = fk.fit_growth(T, gas()).phases()
    assert phases.lag_end.low < 6 < phases.lag_end.high
    assert phases.stationary.low < 6 + 600 / 40 < phases.stationary.high
    assert "steepest tangent meets the asymptote" in str(phases)
    start, end = phases.exponential_h
    assert 0 < start < end < 13


def test_a_curve_that_starts_steep_shows_no_exponential_window():
    """Where the rate is near its largest from the start, nothing doubles, and the page says so."""
    steep = curves.gompertz(T, 600, 40, 0) + 3 * np.random.default_rng(0).normal(size=60)
    phases = fk.fit_growth(T, steep).phases()
    assert phases.exponential_h is None and "not shown by these readings" in str(phases)


def test_specific_growth_rate_covers_the_truth():
    """On readings that grow as the model says, the 95 % interval holds the true rate nearly always."""
    t, held = np.linspace(0, 40, 80), 0
    y = curves.baranyi(t, 600, 0.4, 0.002)
    for seed in range(40):
        rate = fk.specific_growth_rate(t, y + 3 * np.random.default_rng(seed).normal(size=80))
        assert rate.doublings >= 2
        held += rate.low <= 0.4 <= rate.high
    assert held >= 35


def test_specific_growth_rate_of_a_plain_exponential():
    """An optical density that doubles every two hours does so in the result."""
    t = np.arange(0, 10, 0.5)
    rate = fk.specific_growth_rate(t, 0.05 * 2 ** (t / 2) * (1 + 0.002 * np.cos(9 * t)))
    assert rate.doubling_time_h.n == pytest.approx(2, rel=0.03)


@pytest.mark.parametrize("seed", range(4))
def test_the_window_begins_where_growth_leaves_the_noise(seed):
    """0.5 (exp 0.4 t - 1) passes twice the scatter of 0.3 after 2 h: the window begins there, to two readings."""
    t = np.arange(0, 12, 0.5)
    y = 2 + 0.5 * np.exp(0.4 * t) + 0.3 * np.random.default_rng(seed).normal(size=t.size)
    rate = fk.specific_growth_rate(t, y)
    assert rate.window_h[0] == pytest.approx(2.0, abs=1.0)
    assert rate.doublings == pytest.approx((rate.window_h[1] - rate.window_h[0]) / rate.doubling_time_h.n)
    assert rate.per_h.n * rate.doubling_time_h.n == pytest.approx(np.log(2))


def test_few_readings_have_students_factor():
    """Eight readings less four parameters: the 95 % limits are 2.776 u away, in the logarithm."""
    t = np.arange(8.0)
    rate = fk.specific_growth_rate(t, 2 + 0.05 * np.exp(0.8 * t) + 0.02 * np.cos(40 * t))
    relative = rate.per_h.s / rate.per_h.n
    assert np.log(rate.high / rate.per_h.n) == pytest.approx(2.7764 * relative, rel=1e-3)
    assert np.log(rate.per_h.n / rate.low) == pytest.approx(2.7764 * relative, rel=1e-3)


def test_no_rate_without_two_doublings_or_without_the_store():
    """Where the window is short, or the dissolved gas was not counted, words replace the number."""
    t = np.linspace(0, 10, 30)
    y = curves.baranyi(t, 600, 0.4, 0.002) + 0.3 * np.random.default_rng(0).normal(size=30)
    noisy = fk.specific_growth_rate(T, gas(sd=60.0))
    assert np.isnan(noisy.per_h.n) and noisy.doubts
    hidden = fk.specific_growth_rate(t, y, store_corrected=False)
    assert np.isnan(hidden.per_h.n) and "held by the liquid" in str(hidden)
    with pytest.raises(FitError, match="at least 8"):
        fk.specific_growth_rate(t[:5], y[:5])
