"""What a gas curve says about the run: its phases, its exponential window."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.checks import Floats, numbers, one_of, rising, same_length
from fermkit.basis.errors import FitError
from fermkit.basis.written import Line, Number, Page, Written
from fermkit.growth.confidence import measured

STRAIGHT = 0.2
"""The logarithm of the rate counts as straight until its slope has lost this share."""

PART_OF_CURVE = 0.4
"""The part of the rise so far from which an exponential is read."""

TWO_DOUBLINGS = 2.0
"""Doublings above the noise that a specific growth rate needs (own choice)."""

FEWEST = 8
"""Readings that show an exponential: four numbers are fitted."""

RATE_KNOWN = 0.5
"""Relative standard uncertainty of the rate beyond which the readings are said to show no exponential."""


@dataclass(frozen=True, repr=False)
class Timepoint:
    """A boundary between two phases: time ± u [h] and its 95 % interval."""

    time_h: Number
    low: float
    high: float


@dataclass(frozen=True, repr=False)
class GasPhases(Written):
    """The phases of a gas curve, each boundary with its definition.

    Attributes
    ----------
    lag_end : Timepoint
        Where the tangent at the steepest point meets the level the curve rises from.
    exponential_h : (float, float) or None
        From the first reading above the noise to where the logarithm of the rate stops being straight.
    stationary : Timepoint
        Where the same tangent meets the asymptote.
    """

    lag_end: Timepoint
    exponential_h: tuple[float, float] | None
    stationary: Timepoint
    doubts: tuple[str, ...] = ()

    def page(self) -> Page:
        """The phases as a lab-book page."""
        start, end = self.lag_end, self.stationary
        window = "not shown by these readings"
        if self.exponential_h is not None:
            window = f"{self.exponential_h[0]:.3g} to {self.exponential_h[1]:.3g}"
        lines = [
            Line("end of lag", start.time_h, "h", "steepest tangent meets the starting level", (start.low, start.high)),
            Line("exponential window", window, "h", "logarithm of the rate is straight, above the noise"),
            Line("stationary from", end.time_h, "h", "steepest tangent meets the asymptote", (end.low, end.high)),
        ]
        remarks = (*self.doubts, "These are phases of the gas, not of growth: gas can go on after growth has stopped.")
        return Page("Gas phases: lag, exponential, slowing, stationary", lines, remarks)


@dataclass(frozen=True, repr=False)
class GrowthRate(Written):
    """A specific growth rate, with the window it was read from.

    Attributes
    ----------
    per_h : ufloat
        Specific growth rate [1/h]; NaN where the window holds less than two doublings.
    doubling_time_h : ufloat
        ln 2 over the rate [h].
    window_h : (float, float)
        From the first reading above the noise to the end of the straight part [h].
    doublings : float
        How many doublings the window holds.
    """

    per_h: Number
    doubling_time_h: Number
    window_h: tuple[float, float]
    doublings: float
    low: float
    high: float
    doubts: tuple[str, ...] = ()

    def page(self) -> Page:
        """The rate as a lab-book page."""
        low, high = self.window_h
        lines = [
            Line("specific growth rate", self.per_h, "1/h", limits=(self.low, self.high)),
            Line("doubling time", self.doubling_time_h, "h"),
            Line("window", f"{low:.3g} to {high:.3g}", "h", f"{self.doublings:.2g} doublings above the noise"),
        ]
        notes = "Read where the readings follow a constant plus an exponential. ± is one standard uncertainty."
        return Page("Specific growth rate, from the exponential window", lines, (*self.doubts, notes))


def specific_growth_rate(
    time_h: ArrayLike,
    amount: ArrayLike,
    noise: str = "independent",
    *,
    store_corrected: bool | None = None,
) -> GrowthRate:
    """How fast the cells multiply, read only where the curve is still exponential.

    While cells grow exponentially, whatever they make in step with themselves (gas, dry mass, the cells)
    is a constant plus an exponential of the same rate. The window runs from the first reading above the
    noise to where the slope of the logarithm of the rate has lost a fifth.

    Parameters
    ----------
    time_h : array-like of shape (n,)
        Time since the start [h], rising.
    amount : array-like of shape (n,)
        Cumulative amount on a linear scale, any unit.
    noise : "independent" or "accumulating"
        As for `fit_growth`.
    store_corrected : bool, optional
        For gas: whether the CO2 still held by the liquid has been counted. If False, no rate is given:
        the store hides the first doublings. Leave it out for amounts that are not gas.

    Returns
    -------
    GrowthRate
        With a rate only where the window holds two doublings above the noise.

    Raises
    ------
    InputError, FitError
        For readings that cannot be used, or fewer than 8 of them.

    Notes
    -----
    amount = c0 + c1 e/(1 + s e) with e = exp(mu (t - t_end)), over the first part of the rise: an exponential
    whose slowing s is fitted along, so that it does not pull the rate down.

    Examples
    --------
    >>> t = np.arange(0, 12, 0.5)
    >>> rate = specific_growth_rate(t, 2 + 0.5 * np.exp(0.4 * t) + 0.1 * np.cos(40 * t))
    >>> print(f"{rate.per_h:.3f} per h over {rate.doublings:.1f} doublings")
    0.414+/-0.011 per h over 5.1 doublings

    References
    ----------
    Monod, Annu. Rev. Microbiol. 3 (1949) 371–394 (the exponential phase); the window's rule is ours.
    """
    from uncertainties import ufloat

    one_of(noise, ("independent", "accumulating"), "noise")
    time, level = numbers(time_h, "time [h]"), numbers(amount, "amount")
    same_length(time=list(time), amount=list(level))
    rising(time, "time [h]")
    if time.size < FEWEST:
        raise FitError(
            f"{time.size} readings", f"at least {FEWEST} to show an exponential", "take more readings early in the run"
        )
    found = exponential_window(time, level, noise == "accumulating")
    nan = ufloat(np.nan, np.nan)
    if found is None:
        why = "No stretch of these readings shows an exponential rise: no specific growth rate can be given."
        return GrowthRate(nan, nan, (float(time[0]), float(time[0])), 0.0, 0.0, np.inf, (why,))
    doubts: tuple[str, ...] = ()
    if found.doublings < TWO_DOUBLINGS:
        doubts = (f"The window holds {found.doublings:.2g} doublings; two are needed for a specific growth rate.",)
    if store_corrected is False:
        doubts = (*doubts, "The CO2 held by the liquid has not been counted, and it hides the first doublings.")
    if doubts:
        return GrowthRate(nan, nan, found.window, found.doublings, 0.0, np.inf, doubts)
    value = measured(found.rate, found.rate * found.u_ln)
    factor = float(np.exp(found.quantile * found.u_ln))
    return GrowthRate(
        value, np.log(2) / value, found.window, found.doublings, found.rate / factor, found.rate * factor, doubts
    )


@dataclass(frozen=True)
class Window:
    """The exponential part of a curve: rate with its factor of uncertainty, where it was read."""

    rate: float
    u_ln: float
    quantile: float
    window: tuple[float, float]
    doublings: float


def exponential_window(time: Floats, level: Floats, steps: bool) -> Window | None:
    """The exponential start of a curve, its slowing allowed for; None where the readings show none."""
    from scipy.special import stdtrit

    smooth = np.convolve(np.pad(level, 1, mode="edge"), np.ones(3) / 3, mode="valid")
    rise = smooth - np.median(level[:3])
    end = int(np.argmax(rise > PART_OF_CURVE * rise.max())) + 1 if rise.max() > 0 else 0
    end = max(end, FEWEST)
    t, y = time[:end], level[:end]
    fit = _slowing_exponential(t, y, steps)
    if fit is None:
        return None
    ln_rate, slowing, u_ln, signal, noise = fit
    dof = end - steps - (4 - steps)
    seen = np.flatnonzero(signal - signal[0] > 2 * noise)
    if dof < 1 or not np.isfinite(u_ln) or u_ln > RATE_KNOWN or not seen.size:
        return None
    rate = float(np.exp(ln_rate))
    stop = float(t[-1])
    if slowing > 0:
        share = STRAIGHT / 2
        stop = min(stop, float(t[-1] + np.log(share / (1 - share) / slowing) / rate))
    first = min(float(t[seen[0]]), stop)
    return Window(rate, u_ln, float(stdtrit(dof, 0.975)), (first, stop), rate * (stop - first) / np.log(2))


def _slowing_exponential(t: Floats, y: Floats, steps: bool) -> tuple[float, float, float, Floats, Floats] | None:
    """Least squares of c0 + c1 e/(1 + s e) with e = exp(mu (t - t_end)).

    Returns ln mu, s, the u of ln mu, the growth above c0 and the scatter of a reading.
    """
    from scipy.optimize import least_squares

    scale, span = float(np.ptp(y)), float(t[-1] - t[0])
    if scale <= 0:
        return None
    data = (np.diff(y) if steps else y - y[0]) / scale

    def model(x: Floats) -> Floats:
        e = np.exp(np.clip(np.exp(x[0]) * (t - t[-1]), -700, 700))
        grown = x[2] * e / (1 + x[1] * e)
        return np.asarray(np.diff(grown) if steps else x[3] + grown)

    best = None
    for rate in np.geomspace(1.5, 30, 6) / span:
        start = np.array([np.log(rate), 0.2, 1.2] + ([] if steps else [0.0]))
        low = np.array([np.log(0.05 / span), -0.9, 0.0] + ([] if steps else [-np.inf]))
        high = np.array([np.log(200 / span), 1e3, 1e4] + ([] if steps else [np.inf]))
        fit = least_squares(lambda x: model(x) - data, start, bounds=(low, high), x_scale="jac", max_nfev=100)
        if best is None or fit.cost < best.cost:
            best = fit
    assert best is not None
    dof = data.size - best.x.size
    if dof < 1:
        return None
    variance = 2 * best.cost / dof
    try:
        u_ln = float(np.sqrt(max(np.linalg.inv(best.jac.T @ best.jac)[0, 0], 0.0) * variance))
    except np.linalg.LinAlgError:
        return None
    e = np.exp(np.clip(np.exp(best.x[0]) * (t - t[-1]), -700, 700))
    grown = best.x[2] * e / (1 + best.x[1] * e)
    noise = np.full(t.size, np.sqrt(variance))
    if steps:
        noise *= np.sqrt(np.arange(1, t.size + 1))
    return float(best.x[0]), float(best.x[1]), u_ln, grown, noise
