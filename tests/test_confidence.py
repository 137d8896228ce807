"""Intervals that are true: a short form of the study in benchmarks/coverage.py."""

import runpy
from pathlib import Path

import numpy as np
import pytest

import fermkit as fk
from fermkit.growth import curves

STUDY = runpy.run_path(str(Path(__file__).parent / "benchmarks" / "coverage.py"))


@pytest.mark.parametrize("kind", ["independent", "counting", "drifting", "common factor"])
@pytest.mark.parametrize("situation", ["full", "cut early", "no lag", "long lag"])
def test_printed_intervals_hold_the_truth(kind, situation):
    """In 200 simulated runs the 95 % intervals hold the truth 91 to 99 % of the time, about as narrow as can be."""
    lag, span = STUDY["SITUATIONS"][situation]
    table = STUDY["cover"]("gompertz", lag, span, 60, kind, 200, seed=1)
    coverage, width, given = table.T
    assert (coverage >= 91).all() and (coverage <= 99).all(), coverage
    assert (width <= 1.2).all(), width
    if situation == "full":
        assert (given >= 95).all(), given


def test_least_squares_on_counts_would_claim_too_much():
    """Why the noise has a name: fitted as independent, counted gas is covered far less than 95 %."""
    t, rng, held = np.linspace(0, 48, 60), np.random.default_rng(0), 0
    steps = np.diff(curves.gompertz(t, 600, 40, 6))
    for _ in range(100):
        gas = np.concatenate([[0.0], np.cumsum(rng.poisson(steps / 1.5) * 1.5)])
        low, high = fk.fit_growth(t, gas).interval("final_amount")
        held += low <= 600 <= high
    assert held < 40


@pytest.mark.parametrize("name", ["final_amount", "max_rate", "lag_h"])
@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_the_ends_of_a_profile_are_where_they_should_be(name, noise):
    """At a profile's end the best fit that keeps the quantity there is worse by just the threshold."""
    from scipy.optimize import minimize

    t = np.linspace(0, 20, 30)
    y = curves.gompertz(t, 600, 40, 6) + 8 * np.random.default_rng(2).normal(size=30)
    sd = 8.0 if noise == "independent" else 11.0
    fit = fk.fit_growth(t, y, noise=noise, u=sd)
    for end in fit.interval(name):

        def cost(x, end=end):
            rate, lag, asymptote = x
            if name == "max_rate":
                rate = end
            elif name == "lag_h":
                lag = end
                for _ in range(30):  # so that the tangent meets the level at time zero there
                    lag = end - curves.gompertz(0.0, asymptote, rate, lag) / rate
            else:
                asymptote = end
                for _ in range(30):
                    asymptote = end + curves.gompertz(0.0, asymptote, rate, lag)
            left = y - curves.gompertz(t, asymptote, rate, lag)
            left = np.diff(left) if noise == "accumulating" else left
            return np.sum((left / sd) ** 2)

        start = [fit.max_rate.n, fit.lag_h.n, fit.asymptote.n]
        options = {"xatol": 1e-9, "fatol": 1e-9, "maxiter": 5000, "maxfev": 5000}
        least = min(minimize(cost, np.array(start) * f, method="Nelder-Mead", options=options).fun for f in (1, 1.1))
        assert least - fit.found.rss[0] == pytest.approx(1.959964**2, rel=5e-3)
