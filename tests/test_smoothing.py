"""Readings without a growth curve."""

import numpy as np
import pytest

import fermkit as fk
from fermkit.basis.errors import FitError, InputError
from fermkit.growth import curves
from fermkit.growth.smoothing import _window

T = np.linspace(0, 48, 60)


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_intervals_hold_the_truth(noise):
    """Amount, windowed rate, lag and finish time hold their true values in at least 88 % of 150 runs."""
    rng, y = np.random.default_rng(0), curves.richards(T, 600, 35, 8, 2.5)
    exact = fk.smooth_growth(T, y, noise)
    held = np.zeros(4)
    for _ in range(150):
        if noise == "independent":
            seen = y + 8 * rng.normal(size=60)
        else:
            seen = np.concatenate([[0.0], np.cumsum(rng.poisson(np.diff(y) / 2) * 2)])
        found = fk.smooth_growth(T, seen, noise)
        truth = (y[-1] - y[0], exact.max_rate.n, exact.lag_h.n, exact.finish_time_h)
        names = ("amount_so_far", "max_rate", "lag_h", "finish_time_h")
        held += [found.limits[name][0] <= true <= found.limits[name][1] for name, true in zip(names, truth)]
    assert (held >= 0.88 * 150).all(), held


def test_a_noisy_gauge_is_averaged_before_a_level_is_told():
    """Readings good to a thousandth stand as they are; those good to a hundredth are averaged over a few neighbours."""
    rng, t = np.random.default_rng(6), np.linspace(0, 48, 240)
    fine, coarse = (
        fk.smooth_growth(t, curves.gompertz(t, 600, 40, 6) + sd * rng.normal(size=240)).amount_so_far.s / sd
        for sd in (0.3, 6.0)
    )
    assert coarse < 0.8 * fine


def test_an_unfinished_run_has_no_finish_time():
    """While the line still climbs the finish is withheld, in words."""
    seen = T < 15
    found = fk.smooth_growth(T[seen], curves.gompertz(T[seen], 600, 40, 6) + np.cos(50 * T[seen]))
    assert np.isnan(found.finish_time_h) and "no finish time yet" in str(found)


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_units_scale_through(noise):
    """Litres instead of millilitres, days instead of hours: the same reading of the same gas."""
    y = curves.gompertz(T, 600, 40, 6) + np.cumsum(np.random.default_rng(3).normal(size=60))
    plain, other = fk.smooth_growth(T, y, noise), fk.smooth_growth(T / 24, y / 1000, noise)
    for name, factor in (("amount_so_far", 1000), ("max_rate", 1000 / 24), ("lag_h", 24)):
        assert getattr(other, name).n * factor == pytest.approx(getattr(plain, name).n, rel=1e-6)
        assert getattr(other, name).s * factor == pytest.approx(getattr(plain, name).s, rel=1e-6)
    assert other.finish_time_h * 24 == pytest.approx(plain.finish_time_h, rel=1e-6)
    assert np.array(other.limits["finish_time_h"]) * 24 == pytest.approx(plain.limits["finish_time_h"], rel=1e-6)


def test_a_window_too_narrow_takes_a_neighbour_on_either_side():
    """Narrower than the distance of the readings, the steepest line still goes through three of them, in the middle."""
    y = 5.0 * T
    y[31:] += 30.0  # one step up between readings 30 and 31
    found = fk.smooth_growth(T, y + 0.1 * np.cos(50 * T), window_h=0.01)
    assert found.window_h == pytest.approx(2 * (T[1] - T[0]))
    assert all(_window(T, i, 0.01, 3) == slice(i - 1, i + 2) for i in range(1, 59))
    assert np.abs(found.max_rate_at_h - T[[30, 31]]).min() < 1e-9
    assert found.max_rate.n == pytest.approx(5 + 30 / (2 * (T[1] - T[0])), rel=0.01)


def test_the_window_is_part_of_the_rate():
    """A wider window gives a lower largest rate, and the page names the width."""
    y = curves.gompertz(T, 600, 40, 6) + np.cos(50 * T)
    narrow, wide = fk.smooth_growth(T, y, window_h=4), fk.smooth_growth(T, y, window_h=16, unit="mL")
    assert wide.max_rate.n < narrow.max_rate.n < 42
    assert f"steepest line over {wide.window_h:.3g} h" in str(wide)
    assert wide.window_h > 10


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_what_does_not_rise_is_told(noise):
    """A mass left instead of a mass lost is refused; readings that only scatter have no finish, in words."""
    with pytest.raises(InputError, match="falls from 100 to 52"):
        fk.smooth_growth(T, 100 - T, noise)
    found = fk.smooth_growth(T, 5 + np.random.default_rng(0).normal(size=60), noise)
    assert np.isnan(found.finish_time_h) and "finish_time_h" not in found.limits
    assert "No rise is shown" in str(found)


def test_bad_input_is_refused():
    """Few, constant or unordered readings, and a window of nothing, are refused."""
    with pytest.raises(FitError, match="at least 10"):
        fk.smooth_growth(T[:4], T[:4])
    with pytest.raises(InputError, match="an amount that changes"):
        fk.smooth_growth(T, np.full(60, 2.0))
    with pytest.raises(InputError, match="window_h"):
        fk.smooth_growth(T, T, window_h=-1)


def test_the_lag_is_where_the_steepest_line_meets_the_first_level():
    """On a straight rise after a wait of 10 h it is 10 h; CO2 that the first hours hide makes it less sure."""
    y = 5.0 + np.maximum(0.0, np.minimum(T - 10.0, 20.0)) * 30.0 + 0.5 * np.cos(40 * T)
    found = fk.smooth_growth(T, y)
    assert found.lag_h.n == pytest.approx(10.0, abs=0.1)
    hidden = fk.smooth_growth(T, y, early_u=30.0)
    assert hidden.lag_h.s == pytest.approx(np.hypot(found.lag_h.s, 1.0), rel=0.02)
    at_once = fk.smooth_growth(T, np.minimum(T, 20.0) * 30.0 + 20 * np.random.default_rng(2).normal(size=60))
    assert at_once.limits["lag_h"][0] < 0 and "A lag of zero agrees" in str(at_once)


def test_a_corner_is_no_scatter():
    """Gas that stops within the hour is read as finely as its counter allows: the stop is not taken for noise."""
    t, rng = np.arange(0.0, 48.5, 1.0), np.random.default_rng(1)
    y = np.cumsum(np.concatenate([[0.0], np.where(t[1:] < 18, 60.0 + 2 * t[1:], 0.0) + rng.normal(0, 0.3, 48)]))
    found = fk.smooth_growth(t, y, "accumulating")
    assert found.amount_so_far.s == pytest.approx(0.3 * np.sqrt(48), rel=0.35)
    low, high = found.limits["finish_time_h"]
    assert 16.5 < low < found.finish_time_h < high < 18.5
