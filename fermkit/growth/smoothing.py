"""A gas curve read without any model: amount, largest rate, lag and finish time from local straight lines."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, between, not_negative, numbers, one_of, positive, rising, same_length
from fermkit.basis.errors import FitError, InputError
from fermkit.basis.written import Line, Page, Written, nominal
from fermkit.growth.confidence import measured

LEAST, LEAST_IN_WINDOW = 10, 3
"""Readings in all, and those that the steepest line is drawn through at least."""

LEVEL_TO = 0.002
"""A level is averaged over no more readings than make it good to this share of the amount: a fifth of the last per
cent, by which the finish is told. Wider windows round off the corner where sugar runs out, and tell it late."""

KEPT, KEPT_MEAN = 0.8, 0.4377
"""Share of the squares that the scatter is read from, and what the mean of the smallest four fifths of squared
normal numbers is: 1 − 2 z φ(z)/0.8 with z = 1.2816."""

LATER = "Times are those of the gas: it leaves the liquid some time after the yeast made it, up to half an hour or so."


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
    lag_h : ufloat
        Where that line meets the level of the first reading [h].
    finish_time_h : float
        When `fraction` of the amount so far had come [h]; NaN while the rate has not fallen to a twentieth.
    limits : dict
        The 95 % interval of each by name.
    window_h : float
        Width of the window [h]; part of the definition of the rate.
    fraction : float
        What counts as finished.
    """

    amount_so_far: Any
    max_rate: Any
    max_rate_at_h: float
    lag_h: Any
    finish_time_h: float
    limits: dict[str, tuple[float, float]]
    window_h: float
    fraction: float
    unit: str
    counts: str = ""
    doubts: tuple[str, ...] = ()

    def page(self) -> Page:
        """The reading as a lab-book page."""
        rate = f"{self.unit}/h" if self.unit else "per h"
        at = f"steepest line over {self.window_h:.3g} h, about {self.max_rate_at_h:.3g} h"
        lines = [
            Line("amount so far", self.amount_so_far, self.unit, limits=self.limits["amount_so_far"]),
            Line("largest rate", self.max_rate, rate, at, self.limits["max_rate"]),
            Line("lag", self.lag_h, "h", "where that line meets the first level", self.limits["lag_h"]),
            Line(
                f"{100 * self.fraction:g} % of it at", self.finish_time_h, "h", limits=self.limits.get("finish_time_h")
            ),
        ]
        what = f" ({self.counts})" if self.counts else ""
        return Page(
            f"Gas read without a growth curve{what}", lines, (*self.doubts, LATER, "± is one standard uncertainty.")
        )


def smooth_growth(
    time_h: ArrayLike,
    amount: ArrayLike,
    noise: str = "independent",
    *,
    window_h: float | None = None,
    scale_u: float = 0.0,
    early_u: float = 0.0,
    fraction: float = 0.99,
    unit: str = "",
    counts: str = "",
) -> SmoothReading:
    """Read amount, largest rate, lag and finish time off local straight lines, with no growth curve assumed.

    No published curve is the truth, and a rate read off one carries that curve's own shape. These numbers
    follow the readings. The rate is a mean over a window of stated width, and so is its true value; the lag is
    where the steepest line meets the first level. Times are those of the gas: it leaves the liquid after the yeast
    made it, in a simulated jar or keg 0.2 to 0.5 h later.

    Parameters
    ----------
    time_h : array-like of shape (n,)
        Time since the start [h], rising.
    amount : array-like of shape (n,)
        Cumulative readings in any linear unit.
    noise : "independent" or "accumulating"
        As for `fit_growth`.
    window_h : float, optional
        Width of the window [h]; an eighth of the run if not given, and at least three readings.
    scale_u : float
        Relative standard uncertainty common to the whole curve [-].
    early_u : float
        Standard uncertainty of what only the first hours hide, such as the CO2 that the liquid takes up [unit]:
        moves the lag.
    fraction : float
        Of the amount so far, that counts as finished.
    unit, counts : str
        For printing: "mol CO2"; what is counted ("released", "produced").

    Returns
    -------
    SmoothReading

    Examples
    --------
    >>> from fermkit.growth.curves import gompertz
    >>> t = np.linspace(0, 48, 60)
    >>> reading = smooth_growth(t, gompertz(t, 600, 40, 6) + 3 * np.cos(40 * t))
    >>> print(f"{reading.max_rate:.1f} over {reading.window_h:.1f} h")
    39.3+/-0.1 over 4.9 h

    References
    ----------
    Scatter from how far a reading lies off its neighbours: after Gasser, Sroka & Jennen-Steinmetz, Biometrika 73
    (1986) 625–633, here off the cubic through four of them, and from the smaller four fifths (own choice). The finish
    time's interval holds the times that a t-test at 5 % does not refuse (Fieller's principle).
    """
    from scipy.special import stdtrit
    from uncertainties import ufloat

    time, level, steps = _readings(time_h, amount, noise)
    not_negative(scale_u, "scale_u")
    not_negative(early_u, "early_u")
    between(fraction, 1e-6, 1 - 1e-6, "fraction", do="give a fraction such as 0.99")
    if window_h is not None:
        positive(window_h, "window_h")
    wide = float(np.ptp(time)) / 8 if window_h is None else window_h
    variance, dof = _increment_variance(time, level) if steps else _reading_variance(time, level)
    q = float(stdtrit(dof, 0.975))
    total = float(np.ptp(level))
    enough = float(np.sqrt(variance.mean()) / (LEVEL_TO * total)) ** 2 * float(np.median(np.diff(time)))
    places = np.eye(time.size) if steps else _levels(time, min(wide / 2, enough), wide / 2)
    slopes, through, middles, width = _lines(time, wide, steps)
    rates = slopes @ level
    top = int(np.argmax(rates))
    whole = places[-1] - places[0]
    common = ufloat(1.0, scale_u, Act("gas factor", "common factor of the gas curve")) if scale_u else 1.0
    u_made = _u(whole, variance, steps)
    made = measured(float(whole @ level), u_made) * common
    u_rate = _u(slopes[top], variance, steps)
    rate = measured(float(rates[top]), u_rate) * common
    rise = through[top] - places[0]
    since = float(rise @ level) / rates[top]
    as_steep = rates >= rates[top] - 2 * u_rate  # the steepest line might as well have been one of these
    choice = np.std(middles[as_steep] - (through - places[0])[as_steep] @ level / rates[as_steep])
    u_line = _u((rise - since * slopes[top]) / rates[top], variance, steps)
    lag = measured(middles[top] - since, math.hypot(u_line, early_u / rates[top], choice))
    limits = {
        "amount_so_far": _limits(made, q * u_made, scale_u * nominal(made)),
        "max_rate": _limits(rate, q * u_rate, scale_u * rates[top]),
        "lag_h": _limits(lag, q * math.hypot(u_line, choice), early_u / rates[top]),
    }
    doubts: tuple[str, ...] = ()
    finish, climbing = np.nan, rates[-1] - 2 * _u(slopes[-1], variance, steps) >= 0.05 * rates[top]
    if limits["amount_so_far"][0] <= 0:
        doubts = ("No rise is shown by these readings beyond their scatter: no finish time.",)
    elif climbing:
        doubts = ("The run has not slowed to a twentieth of its largest rate: no finish time yet.",)
    else:
        gaps = places - places[0] - fraction * whole
        finish, limits["finish_time_h"] = _finish(time, level, gaps, variance, steps, q)
    if limits["lag_h"][0] <= 0:
        doubts = (*doubts, "A lag of zero agrees with these readings.")
    return SmoothReading(made, rate, float(middles[top]), lag, finish, limits, width, fraction, unit, counts, doubts)


def rate_at_the_end(time: Floats, level: Floats, steps: bool, scatter: float) -> tuple[float, float, float]:
    """Slope through the last eighth of the readings, five at least, its u, and the scatter of a reading there.

    The scatter is the readings' own where there are enough of them: a curve that does not follow them makes its
    misfit, which is given, look like scatter.
    """
    k = min(time.size, max(5, time.size // 8))
    if time.size >= LEAST:
        variance, _ = (_increment_variance if steps else _reading_variance)(time, level)
        scatter = float(np.sqrt(variance[-k:].mean()))
    t, y = time[-k:], level[-k:]
    if steps:
        return float((y[-1] - y[0]) / (t[-1] - t[0])), float(scatter * np.sqrt(k - 1) / (t[-1] - t[0])), scatter
    middle = t - t.mean()
    spread = float(middle @ middle)
    return float(middle @ y / spread), float(scatter / np.sqrt(spread)), scatter


def _readings(time_h: ArrayLike, amount: ArrayLike, noise: str) -> tuple[Floats, Floats, bool]:
    one_of(noise, ("independent", "accumulating"), "noise")
    time, level = numbers(time_h, "time [h]"), numbers(amount, "amount")
    same_length(time=list(time), amount=list(level))
    rising(time, "time [h]")
    if time.size < LEAST:
        raise FitError(f"{time.size} readings", f"at least {LEAST}", "take more readings")
    if np.ptp(level) <= 1e-12 * np.max(np.abs(level)):
        raise InputError(
            f"amounts from {level.min():g} to {level.max():g}", "an amount that changes", "check the column"
        )
    if (np.diff(level) <= 0).all():
        raise InputError(
            f"an amount that falls from {level[0]:g} to {level[-1]:g}",
            "a cumulative amount, which rises",
            "add up what came in each step, or turn a mass left into a mass lost",
        )
    return time, level, noise == "accumulating"


def _limits(value: Any, from_scatter: float, known: float) -> tuple[float, float]:
    """95 % limits: half a width from the scatter, and a standard uncertainty that does not come from it."""
    half = math.hypot(from_scatter, 1.96 * known)
    return value.nominal_value - half, value.nominal_value + half


def _u(weights: Floats, variance: Floats, steps: bool) -> float:
    """Standard uncertainty of a weighted sum of readings."""
    if steps:  # a reading is the sum of the increments before it
        weights = np.cumsum(weights[::-1])[::-1][1:]
    return float(np.sqrt(np.sum(weights**2 * variance)))


def _reading_variance(time: Floats, level: Floats) -> tuple[Floats, float]:
    """Variance of a reading about its neighbours' curve, and its degrees of freedom."""
    odd, _ = _out_of_line(time, level, np.ones_like(level))
    size, dof = _middle_square(odd)
    return np.full(time.size, size), dof


def _increment_variance(time: Floats, level: Floats) -> tuple[Floats, float]:
    """Variance of each increment, part constant and part in proportion to it, from neighbouring ones."""
    step, wait = np.diff(level), np.diff(time)
    rate, middle = step / wait, 0.5 * (time[1:] + time[:-1])
    mean = np.maximum(np.convolve(np.pad(step, 2, mode="edge"), np.ones(5) / 5, mode="valid"), 0.0)
    mean /= max(float(mean.mean()), 1e-300)
    best, found = np.inf, (np.ones_like(step), 1.0)
    for share in (1.0, 0.2, 0.03):
        relative = share + (1 - share) * mean
        odd, spread = _out_of_line(middle, rate, np.sqrt(relative) / wait)
        size, dof = _middle_square(odd[spread >= 0.3 * spread.max()])  # where nothing comes nothing scatters
        size = max(size, 1e-300)
        misfit = float(np.minimum(odd**2 / size, 9.0).sum())  # a corner weighs no more than three of its sd
        cost = misfit + odd.size * np.log(size) + 2 * float(np.log(spread).sum())
        if cost < best:
            best, found = cost, (relative * size, dof)
    return found


def _out_of_line(time: Floats, value: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """How far each value is from the cubic through its four neighbours, over what its errors give; and that."""
    n = time.size - 4
    rows = np.arange(n)[:, None] + np.array([0, 1, 3, 4])
    near, at = time[rows], time[2:-2, None]
    weight = np.ones((n, 4))
    for i in range(4):
        for j in range(4):
            if i != j:
                weight[:, i] *= (at[:, 0] - near[:, j]) / (near[:, i] - near[:, j])
    spread = np.sqrt(sd[2:-2] ** 2 + np.sum((weight * sd[rows]) ** 2, axis=1))
    return (value[2:-2] - np.sum(weight * value[rows], axis=1)) / spread, spread


def _middle_square(odd: Floats) -> tuple[float, float]:
    """Mean square of normal numbers from the smaller four fifths of them, and its degrees of freedom.

    Where sugar runs out the gas turns a corner; it is no scatter, and is among the fifth that is left out.
    """
    kept = np.sort(odd**2)[: max(1, round(KEPT * odd.size))]
    return float(kept.mean()) / KEPT_MEAN, max(0.28 * odd.size, 1.0)  # by simulation: neighbours overlap


def _levels(time: Floats, wide: float, wide_at_the_end: float) -> Floats:
    """The level at each reading, from the local line through a window about it, as weights on the readings."""
    places = np.eye(time.size)
    for i in range(time.size):
        rows = _window(time, i, wide if i < time.size - 1 else wide_at_the_end, 1)
        t = time[rows]
        if t.size > 2:
            away = t - t.mean()
            places[i] = 0.0
            places[i, rows] = 1 / t.size + (time[i] - t.mean()) * away / (away @ away)
    return places


def _lines(time: Floats, wide: float, steps: bool) -> tuple[Floats, Floats, Floats, float]:
    """Local lines as weights on the readings: slopes, levels in the middle, the middles [h], and the width [h]."""
    n = time.size
    slopes, through, middles, widths = np.zeros((n, n)), np.zeros((n, n)), np.zeros(n), np.zeros(n)
    for i in range(n):
        rows = _window(time, i, wide, LEAST_IN_WINDOW)
        t = time[rows]
        ends = [rows.start, rows.stop - 1]
        widths[i] = t[-1] - t[0]
        if steps:
            middles[i] = 0.5 * (t[0] + t[-1])
            slopes[i, ends], through[i, ends] = np.array([-1.0, 1.0]) / widths[i], 0.5
            continue
        middles[i] = t.mean()
        slopes[i, rows], through[i, rows] = (t - t.mean()) / np.sum((t - t.mean()) ** 2), 1 / t.size
    return slopes, through, middles, float(np.median(widths))


def _window(time: Floats, i: int, wide: float, least: int) -> slice:
    """The readings within a window about reading i, moved inwards at the ends; at least `least` of them."""
    low = int(np.searchsorted(time, min(time[i] - wide / 2, time[-1] - wide) - 1e-9))
    high = int(np.searchsorted(time, max(time[i] + wide / 2, time[0] + wide) + 1e-9))
    short = max(least - (high - low), 0)
    low = max(0, min(low - short // 2, time.size - least))
    return slice(low, max(high, low + least))


def _finish(
    time: Floats, level: Floats, gaps: Floats, variance: Floats, steps: bool, q: float
) -> tuple[float, tuple[float, float]]:
    """When the gap to what counts as finished closes, and the nearest times on either side that the readings refuse.

    Errors that accumulate carry a crossing away with them: there, every time that is not refused counts.
    """
    gap = gaps @ level
    u = np.array([_u(each, variance, steps) for each in gaps])
    rising = (np.maximum.accumulate(gap) + np.minimum.accumulate(gap[::-1])[::-1]) / 2  # as the true amount must
    after = int(np.argmax(rising >= 0))
    value = _crossing(time, rising, after)
    before, behind = gap + q * u < 0, gap - q * u >= 0
    if steps:
        first, last = int(np.argmax(~before)), time.size - int(np.argmax(~behind[::-1]))
    else:
        first = after - int(np.argmax(before[:after][::-1])) if before[:after].any() else 0
        last = after + int(np.argmax(behind[after:])) if behind[after:].any() else time.size
    low = _crossing(time, gap + q * u, first)
    high = _crossing(time, gap - q * u, last) if last < time.size else np.inf
    return value, (low, high)


def _crossing(time: Floats, gap: Floats, after: int) -> float:
    if after == 0:
        return float(time[0])
    share = gap[after - 1] / (gap[after - 1] - gap[after])
    return float(time[after - 1] + share * (time[after] - time[after - 1]))
