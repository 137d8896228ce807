"""Fit one growth curve to what a run has made so far."""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, not_negative, numbers, one_of, rising, same_length
from fermkit.basis.errors import FitError, InputError
from fermkit.growth.confidence import SCATTER
from fermkit.growth.curves import Shape, shape_named
from fermkit.growth.least_squares import Found
from fermkit.growth.problem import Problem, pose
from fermkit.growth.residuals import remarks_on
from fermkit.growth.result import Forecast, GrowthFit
from fermkit.growth.verdicts import UNGIVEN, VERDICTS, judge
from fermkit.growth.weights import solve

__all__ = ["Forecast", "GrowthFit", "fit_growth"]

EXACT = 1e-9
"""What error a single fit may leave, in standard errors: rounding only, since one more pass costs nothing."""

Noise = Literal["independent", "accumulating"]


def fit_growth(
    time_h: ArrayLike,
    amount: ArrayLike,
    curve: str = "gompertz",
    noise: Noise = "independent",
    *,
    u: float | ArrayLike | None = None,
    scale_u: float = 0.0,
    unit: str = "",
    counts: str = "",
) -> GrowthFit:
    """Fit a growth curve to what a run has made so far: gas, product, dry mass, on a linear scale.

    Parameters
    ----------
    time_h : array-like of shape (n,)
        Time since the start [h], rising.
    amount : array-like of shape (n,)
        Cumulative readings in any linear unit; NaN where a reading is missing.
    curve : "gompertz", "logistic", "richards", "baranyi" or "three_phase"
        Which curve; see `fermkit.growth.curves`.
    noise : "independent" or "accumulating"
        Whether each reading has its own error (a scale, a gauge), or each increment has (a counter, a
        collector emptied many times), so that later readings share the errors of earlier ones.
    u : float or array-like, optional
        Standard uncertainty of a reading, (n,), or of an increment, (n - 1,), where it is known.
    scale_u : float
        Relative standard uncertainty common to the whole curve [-]: a bubble volume, a barometer.
    unit, counts : str
        The unit, and what the amount counts ("produced", "released"); both are passed through.

    Returns
    -------
    GrowthFit

    Raises
    ------
    InputError
        For readings that cannot be used as they stand.
    FitError
        For too few readings for the curve.

    Notes
    -----
    The lag is not held at zero or above: a curve that starts steep has a lag of zero within its error,
    and its best value may fall below. The page says so.

    Examples
    --------
    >>> from fermkit.growth.curves import gompertz
    >>> t = np.linspace(0, 48, 25)
    >>> y = gompertz(t, 600, 40, 6) + 3 * np.cos(40 * t)
    >>> fit = fit_growth(t, y, unit="mL")
    >>> print(f"{fit.max_rate:.2f}, lag {fit.lag_h:.2f} h")
    40.00+/-0.25, lag 6.00+/-0.05 h

    References
    ----------
    Bates & Watts, Nonlinear Regression Analysis and Its Applications (Wiley 1988), ch. 2 and 6.
    """
    shape = shape_named(curve)
    one_of(noise, ("independent", "accumulating"), "noise")
    not_negative(scale_u, "scale_u", do="give the relative standard uncertainty, e.g. 0.02")
    time, level, errors = _readings(time_h, amount, u, noise)
    least = shape.parameters + 1 + (noise == "accumulating")
    if time.size < least:
        raise FitError(
            f"{time.size} readings for the {shape.parameters} parameters of the {curve} curve",
            f"at least {least} readings",
            "take more readings" + (", or a curve with fewer parameters" if shape.parameters > 3 else ""),
        )
    there = np.ones((1, time.size), dtype=bool)
    problem, shown = pose(time[None, :], level[None, :], there, noise, errors)
    problem, found = solve(shape, problem, shown, tolerance=EXACT)
    return _wrapped(shape, noise, time, level, problem, found, shown, scale_u, unit, counts)


def _readings(
    time_h: ArrayLike, amount: ArrayLike, u: float | ArrayLike | None, noise: str
) -> tuple[Floats, Floats, Floats | None]:
    """Readings that can be used, in order, and their errors; missing ones left out."""
    time = numbers(time_h, "time [h]", missing="keep")
    level = numbers(amount, "amount", missing="keep")
    same_length(time=list(time), amount=list(level))
    steps = noise == "accumulating"
    errors = None if u is None else _errors(u, time.size - steps)
    there = np.isfinite(time) & np.isfinite(level)
    if not there.any():
        raise InputError(
            f"{there.size} rows, none with both a time and an amount", "some readings", "check the two columns"
        )
    if errors is not None:
        sums = np.concatenate([[0.0], np.cumsum(errors**2)])
        errors = np.sqrt(np.diff(sums[there])) if steps else errors[there]
        errors = errors[None, :]
    time, level = time[there], level[there]
    rising(time, "time [h]")
    if time.size > 1 and np.ptp(level) <= 1e-12 * np.max(np.abs(level)):
        raise InputError(
            f"an amount of {level[0]:g} in every reading",
            "an amount that changes",
            "check the column, or wait",
        )
    if time.size > 2 and (np.diff(level) <= 0).all():
        raise InputError(
            f"an amount that falls from {level[0]:g} to {level[-1]:g}",
            "a cumulative amount, which rises",
            "add up what came in each step, or turn a mass left into a mass lost",
        )
    return time, level, errors


def _errors(u: float | ArrayLike, size: int) -> Floats:
    sd = numbers(np.atleast_1d(np.asarray(u, dtype=object)), "u")
    if sd.size not in (1, size):
        raise InputError(
            f"{sd.size} values of u",
            f"one, or {size}",
            "give one for each reading (increment, if accumulating)",
        )
    if not (sd > 0).all():
        raise InputError(f"u of {sd.min():g}", "u above zero", "leave u out if it is not known")
    return np.broadcast_to(sd, (size,))


def _wrapped(
    shape: Shape,
    noise: str,
    time: Floats,
    level: Floats,
    problem: Problem,
    found: Found,
    shown: Floats,
    scale_u: float,
    unit: str,
    counts: str,
) -> GrowthFit:
    from uncertainties import correlated_values, ufloat

    values, verdict = judge(shape, problem, found, shown)
    word = VERDICTS[int(verdict[0])]
    dof = float(problem.dof(shape.parameters)[0])
    variance = 1.0 if problem.known else float(found.rss[0]) / dof
    if word in UNGIVEN or not np.isfinite(found.covariance()).all():
        final = rate = lag = end = ufloat(np.nan, np.nan)
    else:
        numbers_, slopes = shape.quantities(found.level, found.p)
        covariance = found.covariance()[0] * variance
        theta = correlated_values(np.zeros(len(covariance)), covariance, tags=[SCATTER] * len(covariance))
        common = ufloat(1.0, scale_u, Act("gas factor", "common factor of the gas curve")) if scale_u else 1.0
        final, rate, lag, end = (
            value + sum(s * x for s, x in zip(slope, theta)) for value, slope in zip(numbers_[0], slopes[0])
        )
        final, rate, end = final * common, rate * common, end * common
        nothing = ufloat(np.nan, np.nan)
        final, rate, lag, end = (
            nothing if np.isnan(value) else each for value, each in zip(values[0, 0:8:2], (final, rate, lag, end))
        )
    doubts = remarks_on(shape, problem, found, time, word, lag)
    return GrowthFit(
        curve=shape.name,
        noise=noise,
        unit=unit,
        counts=counts,
        final_amount=final,
        max_rate=rate,
        lag_h=lag,
        asymptote=end,
        scatter=float(values[0, 8]),
        dof=np.inf if problem.known else dof,
        scale_u=scale_u,
        verdict=word,
        doubts=doubts,
        time_h=time,
        amount=level,
        found=found,
        problem=problem,
        variance=variance,
    )
