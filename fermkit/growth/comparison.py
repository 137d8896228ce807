"""Several growth curves on the same readings: how well each fits, and how far they disagree."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.checks import Floats
from fermkit.basis.errors import FitError
from fermkit.basis.statistics import aicc
from fermkit.basis.written import Line, Page, Written, nominal, plus_minus
from fermkit.growth.curves import SHAPES
from fermkit.growth.fit import Noise, fit_growth
from fermkit.growth.result import Forecast, GrowthFit
from fermkit.growth.verdicts import Verdict


class Outcome(StrEnum):
    """What a comparison of curves comes to."""

    SHOWN = "the best of these curves follows the readings"
    NONE_FOLLOWS = "none of these curves follows the readings to within their own scatter, so none is given any weight"


@dataclass(frozen=True, repr=False)
class CurveComparison(Written):
    """Growth curves compared on the same readings.

    Attributes
    ----------
    fits : tuple of GrowthFit
        Best first.
    aicc, weight : tuple of float
        Small-sample Akaike criterion and Akaike weight of each; no weight where none follows the readings.
    verdict : Outcome
        Whether the best of them follows the readings.
    """

    fits: tuple[GrowthFit, ...]
    aicc: tuple[float, ...]
    weight: tuple[float, ...]
    verdict: Outcome

    @property
    def best(self) -> GrowthFit:
        """The fit with the lowest AICc."""
        return self.fits[0]

    def spread(self, quantity: str) -> tuple[float, float]:
        """Least and greatest best value of a quantity between all the curves compared."""
        values = [nominal(getattr(fit, quantity)) for fit in self.fits]
        values = [value for value in values if np.isfinite(value)] or [np.nan]
        return min(values), max(values)

    def finish_time_h(self, fraction: float = 0.99) -> Forecast:
        """When the gas will have made (or made) a fraction of its final amount, by all the curves together.

        Parameters
        ----------
        fraction : float
            Above 0 and below 1.

        Returns
        -------
        Forecast
            From the earliest lower to the latest upper 95 % limit of any curve; open where a curve has not bent
            yet. Curves agree about this only near the end: sugar that runs out stops yeast sooner than any of them.
        """
        from uncertainties import ufloat

        each = [fit.finish_time_h(fraction) for fit in self.fits]
        now = float(self.best.time_h[-1])
        value, low = np.nan, min(one.low if np.isfinite(nominal(one.time_h)) else now for one in each)
        high = max(one.high for one in each)
        if np.isfinite(high):
            value = float(np.mean([nominal(one.time_h) for one in each]))
        u = (high - low) / (2 * 1.96) if np.isfinite(high) else np.nan
        return Forecast(f"{100 * fraction:g} % of the final amount, between curves", ufloat(value, u), low, high)

    def table(self) -> Any:
        """One row a curve, best first, as a pandas DataFrame."""
        import pandas as pd

        rows = []
        for fit, score, weight in zip(self.fits, self.aicc, self.weight):
            row: dict[str, Any] = {"curve": fit.curve, "AICc": score, "weight": weight}
            for name in ("lag_h", "max_rate", "final_amount"):
                value = getattr(fit, name)
                row |= {name: value.nominal_value, f"u_{name}": value.std_dev}
            rows.append(row | {"verdict": fit.verdict})
        return pd.DataFrame(rows)

    def page(self) -> Page:
        """The comparison as a lab-book page."""
        unit = self.best.unit
        rate = f"{unit}/h" if unit else "per h"
        lines = [
            Line(
                fit.curve.replace("_", " "),
                f"{100 * weight:.0f} %" if self.verdict is Outcome.SHOWN else "no weight",
                "weight" if self.verdict is Outcome.SHOWN else "",
                f"lag {plus_minus(fit.lag_h, 'h')}, rate {plus_minus(fit.max_rate, rate)}; AICc {score:.1f}"
                if fit.verdict is Verdict.GOOD
                else f"{fit.verdict}; AICc {score:.1f}",
            )
            for fit, score, weight in zip(self.fits, self.aicc, self.weight)
        ]
        for name, quantity, unit_ in (("lag", "lag_h", "h"), ("largest rate", "max_rate", rate)):
            low, high = self.spread(quantity)
            lines.append(Line(f"{name}, between curves", f"{low:.3g} to {high:.3g}", unit_, "all curves compared"))
        remarks = (
            *([] if self.verdict is Outcome.SHOWN else [f"{self.verdict.capitalize()}: take these as sketches."]),
            *self.best.doubts,
            "None of these curves is the truth, and the ± of each holds only if it were: how far they disagree is what "
            "the choice of a curve costs. Lag and rate can be read without one.",
            "Weights: Akaike, from AICc (Hurvich & Tsai, Biometrika 76 (1989) 297; Burnham & Anderson 2002).",
        )
        return Page(f"{len(self.fits)} growth curves compared on {self.best.time_h.size} readings", lines, remarks)


def compare_curves(
    time_h: ArrayLike,
    amount: ArrayLike,
    noise: Noise = "independent",
    *,
    curves: Sequence[str] = tuple(SHAPES),
    u: float | ArrayLike | None = None,
    scale_u: float = 0.0,
    unit: str = "",
    counts: str = "",
) -> CurveComparison:
    """Fit several growth curves to the same readings and weigh them against one another.

    Parameters
    ----------
    time_h, amount, noise, u, scale_u, unit, counts
        As for `fit_growth`. Increments of unknown error get the same weights in all the fits.
    curves : sequence of str
        Which curves; all of them if not given. Those with too many parameters for the readings are left out.

    Returns
    -------
    CurveComparison
        Best first; prints AICc, weight, lag and rate of each, and the spread of lag and rate between them.

    Notes
    -----
    AICc = n ln(RSS/n) + 2 K + 2 K (K + 1)/(n - K - 1), with K the parameters and the scatter (chi-square
    + 2 K + … where u is given).

    Examples
    --------
    >>> from fermkit.growth.curves import gompertz
    >>> t = np.linspace(0, 48, 25)
    >>> found = compare_curves(t, gompertz(t, 600, 40, 6) + 3 * np.cos(40 * t))
    >>> found.best.curve, [round(w, 2) for w in found.weight[:2]]
    ('gompertz', [0.86, 0.14])

    References
    ----------
    Hurvich & Tsai, Biometrika 76 (1989) 297–307; Burnham & Anderson, Model Selection and Multimodel
    Inference, 2nd ed. (Springer 2002), ch. 2.
    """
    fits, refusal = [], None
    for curve in curves:
        try:
            fits.append(fit_growth(time_h, amount, curve, noise, u=u, scale_u=scale_u, unit=unit, counts=counts))
        except FitError as problem:
            refusal = problem
    if not fits:
        raise (
            refusal
            if refusal is not None
            else FitError(f"{len(curves)} curves to compare", "at least one", "name a curve")
        )
    cost = _costs(fits)
    if not np.isfinite(cost.min()):
        raise FitError(
            f"{fits[0].time_h.size} readings", "at least three more than a curve has parameters", "take more readings"
        )
    order = np.argsort(cost, kind="stable")
    weight = np.exp(-0.5 * (cost - cost.min()))
    verdict = Outcome.SHOWN if fits[order[0]].follows else Outcome.NONE_FOLLOWS
    weight *= (verdict is Outcome.SHOWN) / weight.sum()
    return CurveComparison(
        tuple(fits[i] for i in order),
        tuple(float(cost[i]) for i in order),
        tuple(float(weight[i]) for i in order),
        verdict,
    )


def _costs(fits: list[GrowthFit]) -> Floats:
    """AICc of each fit, on one set of weights: those of the fit with the least scatter in plain increments."""
    n = fits[0].problem.amount.shape[1]
    steps = fits[0].problem.steps and not fits[0].problem.known
    rss = np.array([float(fit.found.rss[0]) for fit in fits])
    if steps:
        raw = np.diff(fits[0].amount)
        fitted = [np.diff(fit.predict(fit.time_h)) for fit in fits]
        model = min(range(len(fits)), key=lambda i: float(np.sum((raw - fitted[i]) ** 2)))
        weight = fits[model].problem.weight
        weight = np.ones(n) if weight is None else weight[0]
        rss = np.array([float(np.sum((weight * (raw - each)) ** 2)) for each in fitted])
    known = fits[0].problem.known
    return np.array([aicc(float(s), n, fit.shape.parameters, known=known) for s, fit in zip(rss, fits)])
