"""Readings without a growth curve."""

import numpy as np
import pytest

import fermkit as fk
from fermkit.errors import FitError, InputError
from fermkit.growth import curves

T = np.linspace(0, 48, 60)


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_intervals_hold_the_truth(noise):
    """Amount, windowed rate and finish time hold their true values in at least 88 % of 150 runs."""
    rng, y = np.random.default_rng(0), curves.richards(T, 600, 35, 8, 2.5)
    exact = fk.smooth_growth(T, y, noise)
    held = np.zeros(3)
    for _ in range(150):
        if noise == "independent":
            seen = y + 8 * rng.normal(size=60)
        else:
            seen = np.concatenate([[0.0], np.cumsum(rng.poisson(np.diff(y) / 2) * 2)])
        found = fk.smooth_growth(T, seen, noise)
        truth = (y[-1] - y[0], exact.max_rate.n, exact.finish_time_h)
        names = ("amount_so_far", "max_rate", "finish_time_h")
        held += [found.limits[name][0] <= true <= found.limits[name][1] for name, true in zip(names, truth)]
    assert (held >= 0.88 * 150).all(), held


def test_an_unfinished_run_has_no_finish_time():
    """While the line still climbs the finish is withheld, in words."""
    seen = T < 15
    found = fk.smooth_growth(T[seen], curves.gompertz(T[seen], 600, 40, 6) + np.cos(50 * T[seen]))
    assert np.isnan(found.finish_time_h) and "no finish time yet" in str(found)


def test_the_window_is_part_of_the_rate():
    """A wider window gives a lower largest rate, and the page names the width."""
    y = curves.gompertz(T, 600, 40, 6) + np.cos(50 * T)
    narrow, wide = fk.smooth_growth(T, y, window_h=4), fk.smooth_growth(T, y, window_h=16, unit="mL")
    assert wide.max_rate.n < narrow.max_rate.n < 42
    assert f"steepest line over {wide.window_h:.3g} h" in str(wide)
    assert wide.window_h > 10


def test_bad_input_is_refused():
    """Few, constant or unordered readings, and a window of nothing, are refused."""
    with pytest.raises(FitError, match="at least 10"):
        fk.smooth_growth(T[:4], T[:4])
    with pytest.raises(InputError, match="an amount that changes"):
        fk.smooth_growth(T, np.full(60, 2.0))
    with pytest.raises(InputError, match="window_h"):
        fk.smooth_growth(T, T, window_h=-1)
