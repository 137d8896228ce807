"""A gas curve read without any model: amount so far, largest rate and finish time from local straight lines."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.checks import not_negative, numbers, one_of, positive, rising, same_length
from fermkit.errors import FitError, InputError
from fermkit.growth.confidence import measured
from fermkit.written import Line, Page, Written

Floats = NDArray[np.float64]

LEAST_IN_WINDOW = 5
"""Readings that the steepest line is drawn through at least; a local level needs three."""


@dataclass(frozen=True, repr=False)
class SmoothReading(Written):
    """What readings say without a growth curve.

    Attributes
    ----------
    amount_so_far : ufloat
        Level at the last reading less that at the first [unit].
    max_rate : ufloat
        Slope of the steepest straight line through a window of `window_h` [unit/h].
    max_rate_at_h : float
        The middle of that window [h].
    finish_time_h : float
        When 99 % of the amount so far had come [h]; NaN while the rate has not fallen to a twentieth.
    limits : dict
        The 95 % interval of each by name.
    window_h : float
        Width of the window [h]; part of the definition of the rate.
    """

    amount_so_far: Any
    max_rate: Any
    max_rate_at_h: float
    finish_time_h: float
    limits: dict[str, tuple[float, float]]
    window_h: float
    unit: str
    doubts: tuple[str, ...] = ()

    def page(self) -> Page:
        """The reading as a lab-book page."""
        rate = f"{self.unit}/h" if self.unit else "per h"
        at = f"steepest line over {self.window_h:.3g} h, about {self.max_rate_at_h:.3g} h"
        lines = [
            Line("amount so far", self.amount_so_far, self.unit, limits=self.limits["amount_so_far"]),
            Line("largest rate", self.max_rate, rate, at, self.limits["max_rate"]),
            Line("99 % of it at", self.finish_time_h, "h", limits=self.limits.get("finish_time_h")),
        ]
        return Page("Read without a growth curve", lines, (*self.doubts, "± is one standard uncertainty."))


def smooth_growth(
    time_h: ArrayLike,
    amount: ArrayLike,
    noise: str = "independent",
    *,
    window_h: float | None = None,
    scale_u: float = 0.0,
    unit: str = "",
) -> SmoothReading:
    """Read amount, largest rate and finish time off local straight lines, with no growth curve assumed.

    No published curve is the truth, and a rate read off one carries that curve's own shape. These numbers
    follow the readings. The rate is a mean over a window of stated width, and so is its true value.

    Parameters
    ----------
    time_h : array-like of shape (n,)
        Time since the start [h], rising.
    amount : array-like of shape (n,)
        Cumulative readings in any linear unit.
    noise : "independent" or "accumulating"
        As for `fit_growth`.
    window_h : float, optional
        Width of the window [h]; an eighth of the run if not given, and at least five readings.
    scale_u : float
        Relative standard uncertainty common to the whole curve [-].
    unit : str
        For printing.

    Returns
    -------
    SmoothReading

    Examples
    --------
    >>> from fermkit.growth.curves import gompertz
    >>> t = np.linspace(0, 48, 60)
    >>> reading = smooth_growth(t, gompertz(t, 600, 40, 6) + 3 * np.cos(40 * t))
    >>> print(f"{reading.max_rate:.1f} over {reading.window_h:.1f} h")
    39.3+/-0.3 over 4.9 h

    References
    ----------
    Scatter from second differences: Gasser, Sroka & Jennen-Steinmetz, Biometrika 73 (1986) 625–633. The
    finish time's interval holds every time that a t-test at 5 % does not refuse (Fieller's principle).
    """
    from scipy.special import stdtrit
    from uncertainties import ufloat

    time, level, steps = _readings(time_h, amount, noise)
    not_negative(scale_u, "scale_u")
    if window_h is not None:
        positive(window_h, "window_h")
    wide = float(np.ptp(time)) / 8 if window_h is None else window_h
    variance, dof = _increment_variance(level) if steps else _reading_variance(time, level)
    q = float(stdtrit(dof, 0.975))
    places, slopes, middles, width = _lines(time, wide, steps)
    rates = slopes @ level
    top = int(np.argmax(rates))
    total = places[-1] - places[0]
    common = ufloat(1.0, scale_u, "common factor of the gas curve") if scale_u else 1.0
    made = measured(float(total @ level), _u(total, variance, steps)) * common
    rate = measured(float(rates[top]), _u(slopes[top], variance, steps)) * common
    limits = {"amount_so_far": _limits(made, q), "max_rate": _limits(rate, q)}
    doubts: tuple[str, ...] = ()
    finish, climbing = np.nan, rates[-1] - 2 * _u(slopes[-1], variance, steps) >= 0.05 * rates[top]
    if climbing:
        doubts = ("The run has not slowed to a twentieth of its largest rate: no finish time yet.",)
    else:
        finish, limits["finish_time_h"] = _finish(time, level, places, variance, steps, q)
    return SmoothReading(made, rate, float(middles[top]), finish, limits, width, unit, doubts)


def _readings(time_h: ArrayLike, amount: ArrayLike, noise: str) -> tuple[Floats, Floats, bool]:
    one_of(noise, ("independent", "accumulating"), "noise")
    time, level = numbers(time_h, "time [h]"), numbers(amount, "amount")
    same_length(time=list(time), amount=list(level))
    rising(time, "time [h]")
    if time.size < 2 * LEAST_IN_WINDOW:
        raise FitError(f"{time.size} readings", f"at least {2 * LEAST_IN_WINDOW}", "take more readings")
    if np.ptp(level) <= 1e-12 * np.max(np.abs(level)):
        raise InputError(
            f"amounts from {level.min():g} to {level.max():g}", "an amount that changes", "check the column"
        )
    return time, level, noise == "accumulating"


def _limits(value: Any, q: float) -> tuple[float, float]:
    return value.nominal_value - q * value.std_dev, value.nominal_value + q * value.std_dev


def _u(weights: Floats, variance: Floats, steps: bool) -> float:
    """Standard uncertainty of a weighted sum of readings."""
    if steps:  # a reading is the sum of the increments before it
        weights = np.cumsum(weights[::-1])[::-1][1:]
    return float(np.sqrt(np.sum(weights**2 * variance)))


def _reading_variance(time: Floats, level: Floats) -> tuple[Floats, float]:
    """Variance of a reading about its neighbours' line, and its degrees of freedom."""
    share = (time[2:] - time[1:-1]) / (time[2:] - time[:-2])
    odd = share * level[:-2] + (1 - share) * level[2:] - level[1:-1]
    size = float(np.mean(odd**2 / (share**2 + (1 - share) ** 2 + 1)))
    return np.full(time.size, size), max(0.514 * odd.size, 1.0)  # neighbours overlap: 1/(1 + 2 (16 + 1)/36)


def _increment_variance(level: Floats) -> tuple[Floats, float]:
    """Variance of each increment, part constant and part in proportion to it, from neighbouring ones."""
    step = np.diff(level)
    mean = np.maximum(np.convolve(np.pad(step, 2, mode="edge"), np.ones(5) / 5, mode="valid"), 0.0)
    mean /= max(float(mean.mean()), 1e-300)
    odd = np.diff(step) ** 2 / 2
    best, variance = np.inf, np.ones_like(step)
    for share in (1.0, 0.2, 0.03):
        v = share + (1 - share) * mean
        pair = 0.5 * (v[1:] + v[:-1])
        size = float(np.mean(odd / pair))
        cost = odd.size * np.log(max(size, 1e-300)) + float(np.log(pair).sum())
        if cost < best:
            best, variance = cost, v * float(odd.sum() / pair.sum())
    return variance, max(odd.size / 1.5, 1.0)


def _lines(time: Floats, wide: float, steps: bool) -> tuple[Floats, Floats, Floats, float]:
    """Local lines as weights on the readings: levels at the readings, slopes of windows, their middles, width."""
    n = time.size
    places, slopes, middles, widths = np.zeros((n, n)), np.zeros((n, n)), np.zeros(n), np.zeros(n)
    for i in range(n):
        rows = _window(time, i, wide, LEAST_IN_WINDOW)
        t = time[rows]
        middles[i], widths[i] = t.mean(), t[-1] - t[0]
        if steps:
            slopes[i, [rows.start, rows.stop - 1]] = np.array([-1.0, 1.0]) / widths[i]
            places[i, i] = 1.0
            continue
        slopes[i, rows] = (t - t.mean()) / np.sum((t - t.mean()) ** 2)
        rows = _window(time, i, wide / 2, 3)
        t = time[rows]
        away = t - t.mean()
        places[i, rows] = 1 / t.size + (time[i] - t.mean()) * away / (away @ away)
    return places, slopes, middles, float(np.median(widths))


def _window(time: Floats, i: int, wide: float, least: int) -> slice:
    """The readings within a window about reading i, moved inwards at the ends; at least `least` of them."""
    low = int(np.searchsorted(time, min(time[i] - wide / 2, time[-1] - wide) - 1e-9))
    high = int(np.searchsorted(time, max(time[i] + wide / 2, time[0] + wide) + 1e-9))
    short = max(least - (high - low), 0)
    low = max(0, min(low - short // 2, time.size - least))
    return slice(low, max(high, low + least))


def _finish(
    time: Floats, level: Floats, places: Floats, variance: Floats, steps: bool, q: float
) -> tuple[float, tuple[float, float]]:
    """When 99 % of the amount had come, and the times that the readings do not refuse."""
    gaps = places - places[0] - 0.99 * (places[-1] - places[0])
    gap = gaps @ level
    u = np.array([_u(each, variance, steps) for each in gaps])
    after = int(np.argmax(gap >= 0))
    value = _crossing(time, gap, after)
    first = int(np.argmax(gap + q * u >= 0))
    below = np.flatnonzero(gap - q * u < 0)
    last = int(below[-1]) + 1 if below.size else 0
    low = _crossing(time, gap + q * u, first)
    high = _crossing(time, gap - q * u, last) if last < time.size else np.inf
    return value, (low, high)


def _crossing(time: Floats, gap: Floats, after: int) -> float:
    if after == 0:
        return float(time[0])
    share = gap[after - 1] / (gap[after - 1] - gap[after])
    return float(time[after - 1] + share * (time[after] - time[after - 1]))
