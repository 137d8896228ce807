"""Runs in two waves."""

import numpy as np
import pytest

from fermkit.basis.errors import FitError
from fermkit.growth import curves
from fermkit.growth.two_waves import fit_two_waves, two_waves

T = np.linspace(0, 48, 60)
TRUE = (400.0, 50.0, 4.0, 200.0, 20.0, 20.0)


def test_intervals_hold_the_truth():
    """Amount, rate and lag of both waves are in their 95 % intervals in at least 88 % of 50 runs."""
    rng, held = np.random.default_rng(0), np.zeros(6)
    for _ in range(50):
        fit = fit_two_waves(T, two_waves(T, *TRUE) + 6 * rng.normal(size=60))
        ends = [wave.limits[name] for wave in fit.waves for name in ("asymptote", "max_rate", "lag_h")]
        held += [low <= true <= high for (low, high), true in zip(ends, TRUE)]
    assert (held >= 44).all(), held


def test_counted_gas_in_two_waves():
    """Increments with errors of their own are fitted as increments, and the sum hangs on the first reading."""
    steps = np.random.default_rng(1).poisson(np.diff(two_waves(T, *TRUE)))
    fit = fit_two_waves(T, 100 + np.concatenate([[0], np.cumsum(steps)]), "accumulating", unit="mL")
    assert fit.weight > 0.99 and fit.waves[1].lag_h.n == pytest.approx(20, abs=3 * fit.waves[1].lag_h.s)
    assert fit.predict(0.0) == pytest.approx(100, abs=1e-6)
    assert "mL/h" in str(fit)


def test_units_scale_through():
    """Litres instead of millilitres, days instead of hours, another start of the clock: the same two waves."""
    y = two_waves(T, *TRUE) + 6 * np.random.default_rng(4).normal(size=60)
    plain, other = fit_two_waves(T, y), fit_two_waves(100 / 24 + T / 24, y / 1000)
    for one, two in zip(plain.waves, other.waves):
        assert two.asymptote.n * 1000 == pytest.approx(one.asymptote.n, rel=1e-4)
        assert two.max_rate.s * 1000 / 24 == pytest.approx(one.max_rate.s, rel=1e-3)
        assert two.lag_h.n * 24 == pytest.approx(100 + one.lag_h.n, rel=1e-4)
        assert two.lag_h.s * 24 == pytest.approx(one.lag_h.s, rel=1e-3)


@pytest.mark.parametrize("seed", [0, 3, 5, 13])
def test_the_earlier_wave_comes_first(seed):
    """However the search came to them, the waves are printed in the order of their steepest points, and add up."""
    rng, t = np.random.default_rng(seed), np.linspace(0, 48, 40)
    one, two = ((rng.uniform(100, 500), rng.uniform(low, 60), rng.uniform(0, 25)) for low in (20, 10))
    y = two_waves(t, *one, *two) + 5 * rng.normal(size=40)
    fit = fit_two_waves(t, y)
    early, late = (w.lag_h.n + w.asymptote.n / (np.e * w.max_rate.n) for w in fit.waves)
    assert early <= late
    named = [getattr(wave, name).n for wave in fit.waves for name in ("asymptote", "max_rate", "lag_h")]
    assert fit.predict(t) == pytest.approx(two_waves(t, *named))
    assert np.std(fit.predict(t) - y) < 6


def test_a_single_wave_is_not_called_two():
    """On one Gompertz wave the second is not shown."""
    fit = fit_two_waves(T, curves.gompertz(T, 600, 40, 6) + 6 * np.random.default_rng(2).normal(size=60))
    assert fit.weight < 0.5 and "not shown" in str(fit)
    assert f"Two waves carry {100 * fit.weight:.0f} % of the weight" in str(fit)


@pytest.mark.parametrize("second", [0.0, 25.0])
def test_the_weight_of_two_waves_is_the_textbook_formula(second):
    """Akaike weight from AICc = n ln(RSS/n) + 2K + 2K(K+1)/(n-K-1), with six and three parameters and the scatter."""
    t = np.linspace(0, 48, 24)
    y = two_waves(t, 600, 40, 6, max(second, 1e-9), 8, 24) + 6 * np.random.default_rng(5).normal(size=24)
    fit = fit_two_waves(t, y)

    def aicc(shown, k):
        return 24 * np.log(np.sum((y - shown) ** 2) / 24) + 2 * k + 2 * k * (k + 1) / (24 - k - 1)

    gap = aicc(fit.predict(t), 7) - aicc(fit.one_wave.predict(t), 4)
    assert fit.weight == pytest.approx(1 / (1 + np.exp(gap / 2)), rel=1e-6)


def test_few_readings_are_refused():
    """Eight readings cannot carry six parameters."""
    with pytest.raises(FitError, match="at least 10"):
        fit_two_waves(T[:8], curves.gompertz(T[:8], 60, 20, 1))
