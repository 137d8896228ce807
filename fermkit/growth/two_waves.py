"""A run in two waves: two sugars one after the other, or fermentation and then respiration."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.checks import Floats
from fermkit.basis.errors import FitError
from fermkit.basis.statistics import aicc
from fermkit.basis.written import Line, Page, Written
from fermkit.growth.confidence import SCATTER
from fermkit.growth.curves import gompertz, shape_named
from fermkit.growth.fit import Noise, fit_growth
from fermkit.growth.fitted import GrowthFit

NAMES = ("asymptote", "max_rate", "lag_h")


def two_waves(
    time_h: ArrayLike,
    asymptote_1: float,
    max_rate_1: float,
    lag_1_h: float,
    asymptote_2: float,
    max_rate_2: float,
    lag_2_h: float,
) -> Floats:
    """Sum of two modified Gompertz curves.

    Parameters
    ----------
    time_h : array-like
        Time since the start [h].
    asymptote_1, max_rate_1, lag_1_h, asymptote_2, max_rate_2, lag_2_h : float
        As for `fermkit.growth.curves.gompertz`, wave by wave.

    Returns
    -------
    numpy.ndarray
        Amount, in the unit of the asymptotes.

    Examples
    --------
    >>> two_waves([0, 12, 48], 400, 50, 4, 200, 20, 20).tolist()
    [0.01014888, 334.31727539, 599.7307851]

    References
    ----------
    Each wave: Zwietering et al., Appl. Environ. Microbiol. 56 (1990) 1875–1881. Their sum: common practice.
    """
    first = gompertz(time_h, asymptote_1, max_rate_1, lag_1_h)
    return np.asarray(first + gompertz(time_h, asymptote_2, max_rate_2, lag_2_h))


@dataclass(frozen=True, repr=False)
class TwoWaveFit(Written):
    """Two Gompertz waves fitted to the readings of one run, beside the single wave.

    Attributes
    ----------
    waves : tuple of dict
        `asymptote`, `max_rate` and `lag_h` of each wave (value ± u), the earlier first.
    limits : tuple of dict
        Their 95 % intervals (estimate ± t u).
    weight : float
        Akaike weight of two waves against one (AICc).
    one_wave : GrowthFit
        The single Gompertz curve on the same readings.
    """

    waves: tuple[dict[str, Any], dict[str, Any]]
    limits: tuple[dict[str, tuple[float, float]], dict[str, tuple[float, float]]]
    weight: float
    one_wave: GrowthFit
    unit: str
    values: Floats = field(compare=False)
    base: float = 0.0

    def predict(self, time_h: ArrayLike) -> Floats:
        """The fitted sum, on the level of the readings."""
        return self.base + two_waves(time_h, *self.values)

    def page(self) -> Page:
        """The two waves as a lab-book page."""
        units = {"asymptote": self.unit, "max_rate": f"{self.unit}/h" if self.unit else "per h", "lag_h": "h"}
        words = {"asymptote": "amount", "max_rate": "largest rate", "lag_h": "lag"}
        lines = [
            Line(f"wave {i}: {words[name]}", wave[name], units[name], limits=limits[name])
            for i, (wave, limits) in enumerate(zip(self.waves, self.limits), start=1)
            for name in NAMES
        ]
        if self.weight < 0.95:
            verdict = f"Two waves carry {100 * self.weight:.0f} % of the weight (AICc): a second wave is not shown."
        else:
            verdict = f"Two waves carry {100 * self.weight:.4g} % of the weight against one (AICc)."
        return Page(
            f"Two waves in {self.one_wave.time_h.size} readings", lines, (verdict, "± is one standard uncertainty.")
        )


def fit_two_waves(time_h: ArrayLike, amount: ArrayLike, noise: Noise = "independent", *, unit: str = "") -> TwoWaveFit:
    """Fit a run that comes in two waves, and say whether the second is shown.

    Parameters
    ----------
    time_h, amount, noise, unit
        As for `fit_growth`. Increments (accumulating noise) are weighted as in the fit of a single wave.

    Returns
    -------
    TwoWaveFit

    Raises
    ------
    InputError
        For readings that cannot be used as they stand.
    FitError
        For fewer than 10 readings, or where no pair of waves can be told apart.

    Examples
    --------
    >>> t = np.linspace(0, 48, 60)
    >>> fit = fit_two_waves(t, two_waves(t, 400, 50, 4, 200, 20, 20) + 2 * np.cos(40 * t))
    >>> print(f"{fit.waves[1]['lag_h']:.1f}")
    20.0+/-0.1
    """
    from scipy.special import stdtrit
    from uncertainties import correlated_values

    one = fit_growth(time_h, amount, "gompertz", noise, unit=unit)
    time, y, steps = one.time_h, one.problem.amount[0], one.problem.steps
    if y.size < 9:
        raise FitError(f"{time.size} readings for two waves", "at least 10 readings", "fit one wave, or read on")
    weight = np.ones_like(y) if one.problem.weight is None else one.problem.weight[0]
    x, rss, covariance = _least_squares(time, y, weight, steps)
    dof = y.size - 6
    covariance = covariance * rss / dof
    if not np.isfinite(covariance).all():
        raise FitError(
            f"two waves that these {y.size} readings cannot tell apart", "a pause between them", "fit one wave"
        )
    order = [0, 1, 2, 3, 4, 5] if x[2] <= x[5] else [3, 4, 5, 0, 1, 2]
    values = _published(x)[order]
    slopes = _slopes(x)[order]
    spread = slopes @ covariance @ slopes.T
    numbers = correlated_values(values, spread, tags=[SCATTER] * 6)
    half = float(stdtrit(dof, 0.975)) * np.sqrt(np.diag(spread))
    waves = (dict(zip(NAMES, numbers[:3])), dict(zip(NAMES, numbers[3:])))
    ends = [(float(v - h), float(v + h)) for v, h in zip(values, half)]
    limits = (dict(zip(NAMES, ends[:3])), dict(zip(NAMES, ends[3:])))
    base = float(one.amount[0] - two_waves(time[:1], *values)[0]) if steps else 0.0
    gap = aicc(rss, y.size, 6) - aicc(float(one.found.rss[0]), y.size, 3)
    return TwoWaveFit(waves, limits, float(1 / (1 + np.exp(np.clip(gap / 2, -300, 300)))), one, unit, values, base)


def _published(x: Floats) -> Floats:
    """ln asymptote, ln steepness, steepest time of each wave -> asymptote, rate, lag of each."""
    a, b = np.exp(x[[0, 3]]), np.exp(x[[1, 4]])
    out = np.stack([a, a * b / np.e, x[[2, 5]] - 1 / b], axis=1)
    return np.asarray(out.ravel())


def _slopes(x: Floats) -> Floats:
    """Derivatives of `_published`."""
    out = np.zeros((6, 6))
    for i, (a, b) in enumerate(zip(np.exp(x[[0, 3]]), np.exp(x[[1, 4]]))):
        k = 3 * i
        out[k, k] = a
        out[k + 1, k : k + 2] = a * b / np.e
        out[k + 2, k + 1 : k + 3] = 1 / b, 1.0
    return out


def _least_squares(time: Floats, y: Floats, weight: Floats, steps: bool) -> tuple[Floats, float, Floats]:
    """Best of several starts, with analytic derivatives: parameters, residual sum, inverse normal matrix."""
    from scipy.optimize import least_squares

    shape, scale, span = shape_named("gompertz"), float(np.max(np.abs(y))), float(np.ptp(time))
    high = float(np.sum(y / np.where(weight > 0, weight, 1.0))) if steps else scale

    def columns(x: Floats) -> Floats:
        b, t_i = np.exp(x[[1, 4]])[:, None], x[[2, 5]][:, None]
        parts = np.stack(shape.slopes(b, t_i, time[None, :], None))
        parts = np.diff(parts, axis=2) if steps else parts
        return np.asarray(parts * weight * np.exp(x[[0, 3]])[:, None])

    def left(x: Floats) -> Floats:
        return np.asarray((columns(x)[0].sum(axis=0) - y) / scale)

    def jacobian(x: Floats) -> Floats:
        return np.asarray(columns(x).transpose(1, 0, 2).reshape(6, -1).T / scale)

    low = [np.log(high * 1e-4), np.log(0.5 / span), time[0] - span] * 2
    top = [np.log(high * 1e2), np.log(20.0 * time.size / span), time[-1] + span] * 2
    best = None
    for first, second in ((0.15, 0.45), (0.2, 0.7), (0.3, 0.6), (0.4, 0.85), (0.1, 0.25)):
        for share in (0.35, 0.65):
            start = [np.log(share * high), np.log(12 / span), time[0] + first * span]
            start += [np.log((1 - share) * high), np.log(12 / span), time[0] + second * span]
            fit = least_squares(left, start, jacobian, bounds=(low, top), x_scale="jac", max_nfev=200)
            if best is None or fit.cost < best.cost:
                best = fit
    assert best is not None
    normal = best.jac.T @ best.jac * scale**2
    size = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    scaled = normal / size[:, None] / size[None, :]
    inverse = np.full((6, 6), np.nan)
    if np.linalg.cond(scaled) < 1e13:
        inverse = np.linalg.inv(scaled) / size[:, None] / size[None, :]
    return np.asarray(best.x), 2 * float(best.cost) * scale**2, inverse
