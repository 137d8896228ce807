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


@pytest.mark.parametrize(
    ("last", "expected", "word"),
    [
        (4, None, "still lagging"),
        (12, None, "growing"),
        (26, None, "slowing"),
        (48, None, "stopped"),
        (48, 610.0, "finished"),
        (48, 900.0, "stuck"),
    ],
)
def test_the_state_of_a_run(last, expected, word):
    """A run is told to be lagging, growing, slowing, finished or stuck; without the feed, only stopped."""
    seen = last >= T
    assert fk.fit_growth(T[seen], gas()[seen]).state(expected).word == word


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_the_rate_now_is_that_of_the_last_readings(noise):
    """Through the last five of 26 readings the true rate lies within the stated ±, whatever the errors."""
    held, seen = 0, T[:26]
    true = curves.gompertz(seen, 600, 40, 6)
    slope = (true[-1] - true[-5]) / (seen[-1] - seen[-5])
    for seed in range(120):
        rng = np.random.default_rng(seed)
        steps = np.concatenate([[0.0], np.cumsum(rng.poisson(np.diff(true) / 2.0) * 2.0)])
        y = steps if noise == "accumulating" else true + 3 * rng.normal(size=seen.size)
        now = fk.fit_growth(seen, y, noise=noise).state().rate_now
        held += abs(now.n - slope) < 2 * now.s
        assert now.s < 0.5 * slope
    assert held >= 102
    y = gas()
    by_hand = np.polyfit(T[-7:], y[-7:], 1)[0]  # an eighth of sixty
    assert fk.fit_growth(T, y).state().rate_now.n == pytest.approx(by_hand)


def test_a_growing_file_can_be_read_again_and_again():
    """Each new reading may be added and the run fitted afresh: the state only moves forward."""
    order = ["still lagging", "growing", "slowing", "stopped"]
    words = [fk.fit_growth(T[:n], gas(sd=1.0)[:n]).state().word for n in range(12, 61, 6)]
    places = [order.index(word) for word in words]
    assert places == sorted(places) and places[-1] == 3


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


def test_a_jar_whose_gas_comes_is_growing_whatever_the_curve_can_tell():
    """A few readings, each well above the last, that no curve can be drawn through: growing, not "no rise"."""
    t, y = [0.0, 8.0, 16.0, 24.0, 29.0], np.array([0.0, 14.0, 20.0, 33.0, 42.0])
    for noise in ("independent", "accumulating"):
        fit = fk.fit_growth(t, y, noise=noise)
        assert np.isnan(fit.lag_h.n) and fit.state().word == "growing"
