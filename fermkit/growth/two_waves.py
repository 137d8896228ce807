"""A run in two waves: two sugars one after the other, or fermentation and then respiration."""

from dataclasses import dataclass
from functools import wraps
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.checks import Floats
from fermkit.basis.errors import FitError
from fermkit.basis.statistics import aicc, student
from fermkit.basis.written import Line, Page, Written, nominal
from fermkit.growth.confidence import SCATTER
from fermkit.growth.curves import gompertz
from fermkit.growth.fit import Noise, fit_growth
from fermkit.growth.result import GrowthFit

NAMES = ("asymptote", "max_rate", "lag_h")

FEWEST = 9
"""Readings, or increments, that six numbers and their scatter need."""

STARTS, SHARES = ((0.15, 0.45), (0.2, 0.7), (0.3, 0.6), (0.4, 0.85), (0.1, 0.25)), (0.35, 0.65)
"""Where the search begins: the steepest points of the waves as shares of the readings' span, and the first wave's share
of the amount: early and late, near and far apart, each wave the larger once (own choice)."""


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


@dataclass(frozen=True)
class Wave:
    """One of two waves, as `fermkit.growth.curves.gompertz` has them: value ± u, and 95 % intervals (± t u) by name."""

    asymptote: Any
    max_rate: Any
    lag_h: Any
    limits: dict[str, tuple[float, float]]


@dataclass(frozen=True, repr=False)
class TwoWaveFit(Written):
    """Two Gompertz waves fitted to the readings of one run, beside the single wave.

    Attributes
    ----------
    waves : tuple of two Wave
        The earlier first.
    weight : float
        Akaike weight of two waves against one (AICc).
    one_wave : GrowthFit
        The single Gompertz curve on the same readings.
    """

    waves: tuple[Wave, Wave]
    weight: float
    one_wave: GrowthFit
    unit: str
    base: float = 0.0

    def predict(self, time_h: ArrayLike) -> Floats:
        """The fitted sum, on the level of the readings."""
        values = [nominal(getattr(wave, name)) for wave in self.waves for name in NAMES]
        return self.base + two_waves(time_h, *values)

    def page(self) -> Page:
        """The two waves as a lab-book page."""
        units = {"asymptote": self.unit, "max_rate": f"{self.unit}/h" if self.unit else "per h", "lag_h": "h"}
        words = {"asymptote": "amount", "max_rate": "largest rate", "lag_h": "lag"}
        lines = [
            Line(f"wave {i}: {words[name]}", getattr(wave, name), units[name], limits=wave.limits[name])
            for i, wave in enumerate(self.waves, start=1)
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
    >>> print(f"{fit.waves[1].lag_h:.1f}")
    20.0+/-0.1
    """
    from uncertainties import correlated_values

    one = fit_growth(time_h, amount, "gompertz", noise, unit=unit)
    time, steps, weight = one.time_h, one.problem.steps, one.problem.weight
    n, weights = one.problem.amount.shape[1], None if weight is None else weight[0]
    if n < FEWEST:
        raise FitError(f"{time.size} readings for two waves", "at least 10 readings", "fit one wave, or read on")
    best = _best(time, np.diff(one.amount) if steps else one.amount, weights, steps)
    if best.covar is None or not np.isfinite(best.covar).all():
        raise FitError(f"two waves that these {n} readings cannot tell apart", "a pause between them", "fit one wave")
    values, covariance = np.array(list(best.best_values.values())), np.asarray(best.covar)
    steepest = values[[2, 5]] + values[[0, 3]] / (np.e * values[[1, 4]])
    order = [0, 1, 2, 3, 4, 5] if steepest[0] <= steepest[1] else [3, 4, 5, 0, 1, 2]
    values, covariance = values[order], covariance[np.ix_(order, order)]
    numbers = correlated_values(values, covariance, tags=[SCATTER] * 6)
    half = student(n - 6) * np.sqrt(np.diag(covariance))
    ends = [(float(v - h), float(v + h)) for v, h in zip(values, half)]
    first, second = (
        Wave(numbers[i], numbers[i + 1], numbers[i + 2], dict(zip(NAMES, ends[i : i + 3]))) for i in (0, 3)
    )
    base = float(one.amount[0] - two_waves(time[:1], *values)[0]) if steps else 0.0
    gap = aicc(float(best.chisqr), n, 6) - aicc(float(one.found.rss[0]), n, 3)
    weight_of_two = float(1 / (1 + np.exp(np.clip(gap / 2, -300, 300))))
    return TwoWaveFit((first, second), weight_of_two, one, unit, base)


def _best(time: Floats, data: Floats, weights: Floats | None, steps: bool) -> Any:
    """The best fit of several starts: where the two waves begin decides which of the many optima is found."""
    import lmfit

    @wraps(two_waves)  # lmfit reads the names of the parameters off the function
    def curve(*arguments: Any, **parameters: Any) -> Floats:
        made = two_waves(*arguments, **parameters)
        return np.diff(made) if steps else made

    high, span = float(data.sum() if steps else data.max()), float(np.ptp(time))
    model = lmfit.Model(curve, independent_vars=["time_h"])
    fits = []
    for (first, second), share in product(STARTS, SHARES):
        start = model.make_params()
        for wave, when, part in ((1, first, share), (2, second, 1 - share)):
            start[f"asymptote_{wave}"].set(part * high, min=1e-4 * high, max=1e2 * high)
            start[f"max_rate_{wave}"].set(4 * part * high / span, min=1e-5 * high / span, max=1e3 * high / span)
            start[f"lag_{wave}_h"].set(time[0] + (when - 0.1) * span, min=time[0] - 2 * span, max=time[-1] + span)
        fits.append(model.fit(data, start, weights=weights, time_h=time, max_nfev=4000))
    return min(fits, key=lambda fit: float(fit.chisqr))
