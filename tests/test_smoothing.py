"""Readings without a growth curve."""

import runpy
import tracemalloc
from itertools import cycle
from pathlib import Path

import numpy as np
import pytest

import fermkit as fk
from fermkit.basis.errors import FitError, InputError
from fermkit.growth import curves
from fermkit.growth.smoothing import series_of

T = np.linspace(0, 48, 60)
FOREIGN = runpy.run_path(str(Path(__file__).parent / "benchmarks" / "foreign_gas.py"))
NAMES = ("amount_so_far", "max_rate", "lag_h", "finish_time_h")


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_intervals_hold_the_truth(noise):
    """Amount, windowed rate, lag and finish time hold their true values in at least 88 % of 150 runs."""
    rng, y = np.random.default_rng(0), curves.richards(T, 600, 35, 8, 2.5)
    held = np.zeros(4)
    for _ in range(150):
        if noise == "independent":
            seen = y + 8 * rng.normal(size=60)
        else:
            seen = np.concatenate([[0.0], np.cumsum(rng.poisson(np.diff(y) / 2) * 2)])
        found = fk.smooth_growth(T, seen, noise)
        exact = fk.smooth_growth(T, y, noise, window_h=found.window_h)
        whole = np.interp(found.until_h, T, y) - y[0]
        finish = np.interp(0.99 * whole, y - y[0], T)
        truth = (whole, exact.max_rate.n, exact.lag_h.n, finish)
        held += [found.limits[name][0] <= true <= found.limits[name][1] for name, true in zip(NAMES, truth)]
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


def test_bubbles_and_smooth_readings_are_told_apart():
    """A counter rises by whole bubbles, and no time is known better than by one; smooth readings have no grain."""
    rng, y = np.random.default_rng(4), curves.gompertz(T, 600, 40, 6)
    counted = np.round(y / 5) * 5
    assert series_of(T, counted, True, 48.0).grain == 5.0
    assert series_of(T, y + rng.normal(size=60), False, 48.0).grain == 0.0
    assert series_of(T, 5.0 * T, True, 48.0).grain == 0.0
    low, high = fk.smooth_growth(T, counted, "accumulating").limits["finish_time_h"]
    assert high - low > 0.1


def test_a_window_too_narrow_takes_a_neighbour_on_either_side():
    """Narrower than the distance of the readings, the steepest line still goes through three of them, in the middle."""
    y = 5.0 * T
    y[31:] += 30.0  # one step up between readings 30 and 31
    found = fk.smooth_growth(T, y + 0.1 * np.cos(50 * T), window_h=0.01)
    assert found.window_h == pytest.approx(2 * (T[1] - T[0]))
    whole = series_of(T, y, False, T[-1])
    assert all(whole.window(i, 0.01, 3) == slice(i - 1, i + 2) for i in range(1, 59))
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
    errors = np.random.default_rng(7).normal(size=60)
    y = 5.0 + np.maximum(0.0, np.minimum(T - 10.0, 20.0)) * 30.0 + 0.5 * errors
    found = fk.smooth_growth(T, y)
    assert found.limits["lag_h"][0] < 10.0 < found.limits["lag_h"][1] and found.lag_h.s < 0.3
    hidden = fk.smooth_growth(T, y, early_u=30.0)
    assert hidden.lag_h.s == pytest.approx(np.hypot(found.lag_h.s, 30.0 / found.max_rate.n), rel=0.02)
    at_once = fk.smooth_growth(T, np.minimum(T, 20.0) * 30.0 + 20 * np.random.default_rng(2).normal(size=60))
    assert at_once.limits["lag_h"][0] < 0 and "A lag of zero agrees" in str(at_once)


def test_a_corner_is_no_scatter():
    """Gas that stops within the hour is read as finely as its counter allows: the stop is not taken for noise."""
    t, rng = np.arange(0.0, 48.5, 1.0), np.random.default_rng(1)
    y = np.cumsum(np.concatenate([[0.0], np.where(t[1:] < 18, 60.0 + 2 * t[1:], 0.0) + rng.normal(0, 0.3, 48)]))
    found = fk.smooth_growth(t, y, "accumulating")
    assert found.amount_so_far.s == pytest.approx(0.3 * np.sqrt(found.until_h), rel=0.35)
    low, high = found.limits["finish_time_h"]
    assert 16.5 < low < found.finish_time_h < high < 18.5


# each kind of gas by one reader, each reader at least once; the whole grid is in benchmarks/smooth_study.py
@pytest.mark.parametrize(("kind", "reader"), list(zip(FOREIGN["KINDS"], cycle(["scale", "collector", "bubbles"]))))
def test_logging_on_after_the_end_changes_nothing(kind, reader):
    """Cut at 1.1, 2 and 5 times its length, gas of a foreign kind gives the same numbers within a quarter of their ±.

    Lag and rate in at least 13 of 15 runs; amount and finish in at least 12 from 2 to 5 times the length. Between 1.1
    and 2 times the later readings are not idle: a short log has hardly seen the level yet, so that the end may move by
    what the longer one knows better (two roots of the difference of the variances) and a quarter of the ± besides.
    """
    rng = np.random.default_rng(3)
    fine, gas, used = FOREIGN["runs"](kind, 40, rng, step=0.02)
    near, later = [], []
    for one in gas[:, (used > 6) & (used < 40)].T[:15]:
        length = fine[np.argmax(one >= 0.999)]
        t = np.arange(0.0, 5 * length, 0.25)
        seen, noise = FOREIGN["read"](reader, np.interp(t, fine, one), rng)
        cut = [fk.smooth_growth(t[t <= times * length], seen[t <= times * length], noise) for times in (1.1, 2.0, 5.0)]
        values = np.array([[getattr(getattr(c, name), "n", getattr(c, name)) for name in NAMES] for c in cut])
        u = np.array([[np.ptp(c.limits.get(name, (np.nan, np.nan))) / 4 for name in NAMES] for c in cut])
        known_better = np.where(np.isfinite(u[0]), np.sqrt(np.abs(u[0] ** 2 - u[1] ** 2)), np.inf)
        near.append(np.abs(values[1] - values[0]) <= u[1] / 4 + [2.0, 0.0, 0.0, 2.0] * known_better)
        later.append(np.abs(values[2] - values[1]) <= u[1] / 4)
    near, later = np.sum(near, axis=0), np.sum(later, axis=0)
    assert (near[1:3] >= 13).all() and (later[1:3] >= 13).all() and (near >= 12).all() and (later >= 12).all(), near


@pytest.mark.parametrize(("kind", "reader"), list(zip(FOREIGN["KINDS"], cycle(["bubbles", "collector"]))))
def test_gas_of_a_foreign_kind_is_covered(kind, reader):
    """The intervals of amount, rate, lag and finish hold their stated truth in 17 of 20 runs or more; none is empty."""
    study = runpy.run_path(str(Path(__file__).parent / "benchmarks" / "smooth_study.py"))
    held, width, *_ = study["cell"](kind, reader, 0.5, 20, seed=5)
    assert (np.nanmean(held, axis=0)[:4] >= 0.85).all(), held
    assert not (width <= 0).any()


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_a_logger_that_reads_each_second_is_read_in_moderate_memory(noise):
    """200,000 readings: the numbers of the curve that made them, in a few times the memory of the readings."""
    rng, t = np.random.default_rng(1), np.linspace(0, 56, 200_000)
    y = curves.gompertz(t, 600, 40, 6)
    seen = y + 3 * rng.normal(size=t.size) if noise == "independent" else y + np.cumsum(0.005 * rng.normal(size=t.size))
    tracemalloc.start()
    found = fk.smooth_growth(t, seen, noise)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 150e6, peak
    assert found.max_rate.n == pytest.approx(40, rel=0.03) and found.lag_h.n == pytest.approx(6, abs=0.3)
    assert found.limits["finish_time_h"][0] < found.finish_time_h < found.limits["finish_time_h"][1]


def test_gas_after_a_long_pause_is_counted():
    """A second wave after hours of nothing belongs to the amount: only what adds nothing is left out."""
    y = curves.gompertz(T, 400, 60, 3) + curves.gompertz(T, 200, 40, 34)
    found = fk.smooth_growth(T, y + np.cos(50 * T))
    assert found.until_h > 40 and found.amount_so_far.n == pytest.approx(600, rel=0.02)
