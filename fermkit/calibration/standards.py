"""Standards: contents with their uncertainty, signals with their scatter, and the curve through them."""

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq, least_squares
from uncertainties import UFloat, ufloat

from fermkit.basis.budget import Act, covariance_of
from fermkit.basis.checks import Floats, numbers, positive, same_length
from fermkit.basis.errors import FermkitError, FitError, InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.calibration.response import Curve, FittedCurve, least_squares_fit
from fermkit.calibration.surroundings import apparent_content, at_one_temperature

Law = Callable[[Floats], Floats]
Whitening = Callable[[Floats], Floats]

SCATTER: Final = Act("standards scatter", "scatter of the standards' signals")
STANDARDS: Final = Act("standards made", "making up the standards")
WEIGHTS: Final = ("equal", "proportional")


def contents_of(given: Any, u_standards: ArrayLike | None) -> list[Any]:
    """Contents as numbers, or as ufloats where they are uncertain; one ufloat for each solution."""
    listed = list(np.atleast_1d(np.asarray(given, dtype=object)))
    if any(uncertainty(value) > 0 for value in listed):
        if u_standards is not None:
            raise InputError(
                f"the standards carry ± and u_standards {u_standards} is given too",
                "one of the two",
                "leave out u_standards",
            )
        numbers([nominal(value) for value in listed], "content of the standards")
        return listed
    x = numbers(given, "content of the standards")
    if u_standards is None:
        return list(x)
    u = np.broadcast_to(numbers(np.atleast_1d(np.asarray(u_standards, dtype=object)), "u_standards"), x.shape)
    if (u < 0).any():
        raise InputError(f"u_standards is {u.min():g}", "standard uncertainties of zero or more", "check the sign")
    largest = {content: float(u[x == content].max()) for content in np.unique(x)}
    made = {c: ufloat(c, size, tag=STANDARDS) if size > 0 else float(c) for c, size in largest.items()}
    return [made[content] for content in x]


def check_standards(x: Floats, y: Floats, curve: Curve, content_unit: str) -> None:
    """Refuse standards that cannot carry the curve."""
    same_length(content=x, signal=y)
    for wrong, needed, do in (
        (x < 0, "contents of zero or more", "check the sign and the unit"),
        (content_unit.startswith("%") & (x > 100), "at most 100 %", "convert g/L to % by volume, or mend the entry"),
    ):
        if wrong.any():
            row = int(np.argmax(wrong))
            raise InputError(f"content of the standards is {x[row]:g} in row {row + 1}", needed, do)
    levels, needed_levels = np.unique(x).size, len(curve.parameters) + 1
    if levels < needed_levels:
        raise InputError(
            f"{levels} different content{'s' * (levels != 1)} among {x.size} standards",
            f"at least {needed_levels} for the {curve.name} curve, so that one is left to judge it by",
            "make up more standards, spread over the range of the samples",
        )
    if np.ptp(y) == 0:
        raise FitError(
            f"the signal is {y[0]:g} for every standard",
            "a signal that answers to the content",
            "check the sensor and its wiring",
        )
    _check_units(x, y)


def _check_units(x: Floats, y: Floats) -> None:
    """Replicates hundreds of times apart are most likely in two units."""
    for content in np.unique(x):
        group = np.abs(y[x == content])
        told = group.min() > 0.03 * np.median(np.abs(y))
        if told and group.max() > 300 * group.min():
            raise InputError(
                f"replicates at a content of {content:g} run from {group.min():g} to {group.max():g}",
                "signals in one unit",
                "check for mixed units (mV and V differ a thousandfold)",
            )


def error_law(weights: str, y: Floats, stated: Floats | None) -> Law:
    """Variance of one reading, up to a common factor, as a function of the signal."""
    if stated is not None:
        order = np.argsort(y)
        return partial(_stated_law, y[order], stated[order])
    return _equal_law if weights == "equal" else partial(_proportional_law, 1e-3 * float(np.abs(y).max()))


def _stated_law(at: Floats, stated: Floats, s: Floats) -> Floats:
    return np.asarray(np.interp(s, at, stated) ** 2)


def _equal_law(s: Floats) -> Floats:
    return np.ones(np.shape(s))


def _proportional_law(floor: float, s: Floats) -> Floats:
    return np.asarray(np.maximum(np.abs(s), floor) ** 2)


def _scaled_law(scale: float, law: Law, s: Floats) -> Floats:
    return scale * law(s)


def _divided(sd: Floats, r: Floats) -> Floats:
    return (r.T / sd).T


@np.errstate(all="ignore")
def fit_standards(
    curve: Curve,
    contents: Sequence[Any],
    signals: Floats,
    *,
    weights: str,
    u_signal: ArrayLike | None,
    temperature_C: ArrayLike | None,
    reference_C: float | None,
    units: tuple[str, str],
) -> FittedCurve:
    """The curve through standards, with its covariance and its parameters as ufloats.

    References
    ----------
    ISO/TS 28037:2010, clauses 6 (weighted) and 7 (generalised distance regression, where the contents
    are uncertain too); Draper & Smith, Applied Regression Analysis, ch. 9.
    """
    given = np.array([nominal(value) for value in contents])
    check_standards(given, signals, curve, units[1])
    solution = np.unique(given, return_inverse=True)[1]
    mean_C = None
    if temperature_C is not None:
        mean_C, temperatures = at_one_temperature(temperature_C, given.size)
        mean_C = mean_C if reference_C is None else reference_C
        contents = [apparent_content(c, t, mean_C) for c, t in zip(contents, temperatures)]
    x = np.array([nominal(value) for value in contents])
    stated = None if u_signal is None else _stated(u_signal, signals.size)
    law = error_law(weights, signals, stated)
    of_rows: Law = law if stated is None else (lambda _: np.square(stated))
    try:
        values, scale, gain, whiten, bare = _settle(curve, x, signals, solution, of_rows, contents, stated is not None)
    except FermkitError:
        raise
    except (np.linalg.LinAlgError, ValueError):  # singular, or no number where one was looked for
        raise FitError(
            f"the {curve.name} curve cannot be told from these {x.size} standards",
            "standards that are surer than their spacing, and a curve less steep between them",
            "check u_standards, or take a simpler curve",
        ) from None
    shares = of_rows(curve.signal(x, values)) * scale
    scatter = (gain * shares) @ gain.T
    return FittedCurve(
        curve, values, _parameters(curve, values, scatter, gain, steepness(curve, x, values), contents),
        bare @ bare.T, scatter, partial(_scaled_law, scale, law), scale,
        float("inf") if stated is not None else float(signals.size - values.size),
        x, signals, solution, given, whiten, units[0], units[1], mean_C,
    )  # fmt: skip


def _stated(u_signal: ArrayLike, count: int) -> Floats:
    u = np.broadcast_to(numbers(np.atleast_1d(np.asarray(u_signal, dtype=object)), "u_signal"), (count,)).copy()
    positive(float(u.min()), "u_signal")
    return u


def _settle(
    curve: Curve, x: Floats, y: Floats, solution: NDArray[np.intp], law: Law, contents: Sequence[Any], stated: bool
) -> tuple[Floats, float, Floats, Whitening, Floats]:
    """Least squares, its weights renewed from the fitted signals until nothing moves."""
    u_content = _covariance_of(contents)
    variances = law(level_means(y, solution))
    p, scale, spread = _solve(curve, x, y, variances, None, None), 1.0, None
    for _ in range(100):
        before, shares = p, law(curve.signal(x, p))
        if not stated:
            scale = _scale(y - curve.signal(x, p), shares, spread, y.size - p.size)
        p = _solve(curve, x, y, shares * scale, u_content, before)
        spread = None if u_content is None else _carried(u_content, steepness(curve, x, p))
        if np.allclose(p, before, rtol=1e-8, atol=0):
            break
    signals = curve.signal(x, p)
    if not stated:
        scale = _scale(y - signals, law(signals), spread, y.size - p.size)
    whiten = _whitening(law(signals) * scale, spread)
    at = x if u_content is None else _likely_contents(x, y, curve, p, law(signals) * scale, u_content)
    bare = np.asarray(np.linalg.pinv(whiten(curve.gradient(at, p))), dtype=np.float64)
    return p, scale, bare @ whiten(np.eye(x.size)), whiten, bare


def _solve(
    curve: Curve, x: Floats, y: Floats, variances: Floats, u_content: Floats | None, before: Floats | None
) -> Floats:
    """One fit with given variances; with uncertain contents their part moves with the slope."""
    if u_content is None or before is None:
        return least_squares_fit(curve, x, y, _whitening(variances, None), before)

    def misfits(p: Floats) -> Floats:
        off = y - curve.signal(x, p)
        try:
            white = _whitening(variances, _carried(u_content, steepness(curve, x, p)))(off)
        except np.linalg.LinAlgError:
            white = off * np.nan
        # a trial under which the curve has no value, or stands upright, is as bad as can be
        return white if np.all(np.isfinite(white)) else np.full(y.size, 1e60)

    found = least_squares(misfits, before, method="lm", x_scale="jac", xtol=1e-12, ftol=1e-12)
    return np.asarray(found.x)


def _likely_contents(x: Floats, y: Floats, curve: Curve, p: Floats, variances: Floats, u_content: Floats) -> Floats:
    """Where the contents most likely are, given the signals: ISO/TS 28037, clause 7, the adjusted x."""
    slope = steepness(curve, x, p)
    total = np.diag(variances) + _carried(u_content, slope)
    return np.asarray(x + u_content @ (slope * np.linalg.solve(total, y - curve.signal(x, p))))


def _parameters(
    curve: Curve, values: Floats, scatter: Floats, gain: Floats, slope: Floats, contents: Sequence[Any]
) -> dict[str, UFloat]:
    """Parameters as sums of what moves them: the signals' scatter and each uncertain solution."""
    sizes, axes = np.linalg.eigh(scatter)
    root = axes * np.sqrt(np.maximum(sizes, 0.0))
    chance = [ufloat(0.0, 1.0, tag=SCATTER) for _ in values]
    moved = [(i, value - nominal(value)) for i, value in enumerate(contents) if uncertainty(value) > 0]
    return {
        name: values[k]
        + sum(root[k, j] * chance[j] for j in range(values.size))
        + sum(-gain[k, i] * slope[i] * move for i, move in moved)
        for k, name in enumerate(curve.parameters)
    }


def level_means(y: Floats, solution: NDArray[np.intp]) -> Floats:
    """The mean signal of each reading's solution."""
    return np.asarray((np.bincount(solution, y) / np.bincount(solution))[solution])


def _covariance_of(contents: Sequence[Any]) -> Floats | None:
    uncertain = [i for i, value in enumerate(contents) if uncertainty(value) > 0]
    if not uncertain:
        return None
    full = np.zeros((len(contents), len(contents)))
    full[np.ix_(uncertain, uncertain)] = covariance_of([contents[i] for i in uncertain])
    return full


def steepness(curve: Curve, x: Floats, p: Floats) -> Floats:
    """The curve's slope, zero where it stands upright: a power law at zero content has none to carry errors by."""
    slope = curve.slope(x, p)
    return np.where(np.isfinite(slope), slope, 0.0)


def _carried(u_content: Floats, slope: Floats) -> Floats:
    return np.asarray(slope[:, None] * u_content * slope[None, :])


def _whitening(variances: Floats, spread: Floats | None) -> Whitening:
    if spread is None:
        return partial(_divided, np.sqrt(variances))
    return partial(np.linalg.solve, np.linalg.cholesky(np.diag(variances) + spread))


def _scale(residuals: Floats, shares: Floats, spread: Floats | None, nu: int) -> float:
    """Variance at unit weight that makes the weighted sum of squares equal its degrees of freedom.

    Where the contents are uncertain too, their part is counted first: Mandel & Paule 1970, Anal. Chem. 42, 1194.
    """
    plain = float(residuals @ (residuals / shares) / nu)
    if spread is None:
        return max(plain, 1e-24 * float(np.mean(residuals**2) + 1e-250))

    def excess(log: float) -> float:
        return float(residuals @ np.linalg.solve(np.diag(shares * np.exp(log)) + spread, residuals) - nu)

    low = np.log(1e-8 * float(np.diag(spread).max()) / float(np.mean(shares)))
    if plain <= np.exp(low) or excess(low) <= 0:
        return float(np.exp(low))
    return float(np.exp(brentq(excess, low, np.log(plain) + 1.0, xtol=1e-13)))


def check_direction(fitted: FittedCurve, direction: str) -> None:
    """Refuse a curve that turns round inside the standards, or falls unasked."""
    low, high = fitted.range
    grid = np.linspace(low, high, 201)
    signals = fitted.signal(grid)
    if not (np.all(np.isfinite(signals)) and np.all(np.isfinite(fitted.covariance))):
        raise FitError(
            f"the {fitted.curve.name} curve did not settle on these standards",
            "standards that show the curve's bend",
            "plot the standards, or take a simpler curve: 'line', 'quadratic'",
        )
    steps = np.sign(np.diff(signals))
    if steps.min() < 0 < steps.max():
        turn = grid[1:][steps != steps[0]][0]
        raise FitError(
            f"the fitted {fitted.curve.name} curve turns round at {turn:.3g}, "
            f"inside the standards ({low:g} to {high:g})",
            "a curve that rises or falls all the way, so that each signal means one content",
            "leave out the standards beyond the turn, or take another curve: 'logistic4', 'power'",
        )
    if direction == "rising" and steps[0] < 0:
        raise InputError(
            f"the signal falls as the content rises (from {fitted.signal(low):.4g} to {fitted.signal(high):.4g})",
            "a rising curve, unless asked for",
            "check that the columns are not swapped; pass direction='falling' if the signal is meant to fall",
        )


def signals_of(given: ArrayLike, name: str) -> Floats:
    """Signals, one or several, as an array."""
    return numbers(np.atleast_1d(np.asarray(given, dtype=object)), name)
