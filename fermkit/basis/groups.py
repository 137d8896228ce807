"""What many groups found of the same: repeatability, reproducibility, one estimate from all, who stands apart.

*Repeatability* is how well one group agrees with itself, *reproducibility* how well any two groups agree.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, numbers
from fermkit.basis.errors import InputError
from fermkit.basis.statistics import (
    cochran_critical,
    grubbs,
    grubbs_critical,
    pair_critical,
    pair_ratio,
    robust_mean,
    student,
)
from fermkit.basis.written import Line, Page, Written, in_words


class Standing(StrEnum):
    """How far a result stands from the others (ISO 5725-2): within chance, beyond 95 %, beyond 99 %."""

    ORDINARY = "ordinary"
    STRAGGLER = "straggler"
    OUTLIER = "outlier"


@dataclass(frozen=True, repr=False)
class StandsApart(Written):
    """One test for results that stand apart.

    Attributes
    ----------
    test : str
    groups : tuple of str
        Whom it points at.
    statistic : float
    straggler, outlier : float
        Critical values at 95 and 99 %: beyond the first a straggler, beyond the second an outlier (ISO 5725-2).
    verdict : Standing
    """

    test: str
    groups: tuple[str, ...]
    statistic: float
    straggler: float
    outlier: float
    verdict: Standing

    def page(self) -> Page:
        """The test as one line."""
        limits = f"straggler at {self.straggler:.3f}, outlier at {self.outlier:.3f}"
        line = Line(self.test, f"{self.statistic:.3f}", "", f"{' and '.join(self.groups)}: {self.verdict} ({limits})")
        return Page("Results that stand apart", [line])


@dataclass(frozen=True, repr=False)
class Precision(Written):
    """Repeatability and reproducibility of one measurement, from many groups.

    Attributes
    ----------
    unit : str
    groups : tuple of str
    means, deviations : numpy.ndarray of shape (p,)
        Of each group; the deviation is NaN where a group has one result.
    counts : numpy.ndarray of shape (p,)
    mean : float
        Of all results.
    repeatability_sd, between_sd, reproducibility_sd : float
        s_r, s_L and s_R of ISO 5725-2.
    robust_mean, robust_sd : float
        Of the group means, by Algorithm A of ISO 13528.
    apart : tuple of StandsApart
    """

    unit: str
    groups: tuple[str, ...]
    means: Floats
    deviations: Floats
    counts: NDArray[np.int64]
    mean: float
    repeatability_sd: float
    between_sd: float
    reproducibility_sd: float
    robust_mean: Any
    robust_sd: float
    apart: tuple[StandsApart, ...]

    @property
    def outliers(self) -> tuple[str, ...]:
        """Groups that a test calls outliers."""
        outliers = (test for test in self.apart if test.verdict is Standing.OUTLIER)
        return tuple(dict.fromkeys(name for test in outliers for name in test.groups))

    @property
    def u_repeatability(self) -> float:
        """Relative standard uncertainty of the repeatability (normal results)."""
        return float(1 / np.sqrt(2 * (self.counts.sum() - len(self.groups))))

    def page(self) -> Page:
        """The class's precision on one page."""
        r, big_r = 2.8 * self.repeatability_sd, 2.8 * self.reproducibility_sd
        lines = [
            Line("mean of all results", f"{self.mean:.4g}", self.unit, f"{self.counts.sum()} from {len(self.groups)}"),
            Line("robust mean", self.robust_mean, self.unit, "ISO 13528, Algorithm A"),
            Line("robust standard deviation of the groups", f"{self.robust_sd:.3g}", self.unit),
            Line(
                "repeatability s_r",
                f"{self.repeatability_sd:.3g}",
                self.unit,
                f"known to {self.u_repeatability:.0%}; two results of one group differ by less than {r:.3g} in 95 %",
            ),
            Line("between groups s_L", f"{self.between_sd:.3g}", self.unit),
            Line(
                "reproducibility s_R",
                f"{self.reproducibility_sd:.3g}",
                self.unit,
                f"results of two groups differ by less than {big_r:.3g} in 95 %",
            ),
        ]
        lines += [line for test in self.apart for line in test.page().lines]
        told = ", ".join(self.outliers)
        remarks = (
            [f"Outliers, all still counted above: {told}. Look for a cause before leaving one out."] if told else []
        )
        return Page("What the groups found of the shared sample", lines, remarks)


def precision(results: Mapping[str, Sequence[float]], unit: str = "") -> Precision:
    """Repeatability and reproducibility of a sample that many groups measured.

    Parameters
    ----------
    results : mapping
        Group → its results of the same sample, in one unit. Groups may have measured different numbers of times.
    unit : str

    Returns
    -------
    Precision
        No result is left out; the tests say which stand apart.

    Raises
    ------
    InputError
        With fewer than three groups, or where no group measured twice.

    Notes
    -----
    s_r² = Σ(nᵢ − 1)sᵢ² / Σ(nᵢ − 1); s_L² = (Σnᵢ(ȳᵢ − ȳ)²/(p − 1) − s_r²) / n̄, not below zero, with
    n̄ = (Σn − Σn²/Σn)/(p − 1); s_R² = s_r² + s_L².

    Examples
    --------
    >>> found = precision({"1": [5.02, 5.06], "2": [4.93, 4.95], "3": [5.11, 5.05], "4": [5.00, 4.94]}, "% vol")
    >>> round(found.repeatability_sd, 4), round(found.reproducibility_sd, 4)
    (0.0339, 0.0683)

    References
    ----------
    ISO 5725-2:1994, 7.3 and 7.4; ISO 13528:2015, Annex C.3.
    """
    kept = {str(name): numbers(values, f"results of {name}") for name, values in results.items() if len(values)}
    if len(kept) < 3:
        raise InputError(f"{len(kept)} groups with results", "three groups or more", "let more groups measure it")
    means = np.array([values.mean() for values in kept.values()])
    counts = np.array([values.size for values in kept.values()])
    squares = np.array([float(np.sum((values - values.mean()) ** 2)) for values in kept.values()])
    within, total, p = int(counts.sum() - counts.size), int(counts.sum()), counts.size
    if within == 0:
        raise InputError(
            f"all {p} groups measured once", "two results or more from some groups", "measure in duplicate"
        )
    mean = float(counts @ means / total)
    s_r2 = float(squares.sum()) / within
    usual = (total - float((counts**2).sum()) / total) / (p - 1)
    s_l2 = max(0.0, (float(counts @ (means - mean) ** 2) / (p - 1) - s_r2) / usual)
    deviations = np.where(counts > 1, np.sqrt(squares / np.maximum(counts - 1, 1)), np.nan)
    middle, spread = robust_mean(means)
    names = tuple(kept)
    apart = (*_cochran(names, deviations, counts), *_grubbs(names, means))
    return Precision(
        unit, names, means, deviations, counts, mean, s_r2**0.5, s_l2**0.5, (s_r2 + s_l2) ** 0.5, middle, spread, apart
    )


def _judged(
    test: str, groups: tuple[str, ...], statistic: float, at_95: float, at_99: float, small: bool
) -> StandsApart:
    beyond = [statistic < limit if small else statistic > limit for limit in (at_95, at_99)]
    verdict = Standing.OUTLIER if beyond[1] else Standing.STRAGGLER if beyond[0] else Standing.ORDINARY
    return StandsApart(test, groups, statistic, at_95, at_99, verdict)


def _cochran(names: Sequence[str], deviations: Floats, counts: NDArray[np.int64]) -> list[StandsApart]:
    """The largest within-group variance; for unequal numbers the usual one counts, as ISO 5725-2 (7.3.3) allows."""
    known = counts > 1
    if known.sum() < 2 or not np.nansum(deviations**2) > 0:
        return []
    repeats = int(np.bincount(counts[known]).argmax())
    variances = np.where(known, deviations**2, 0.0)
    worst = int(np.argmax(variances))
    at = [cochran_critical(int(known.sum()), repeats, level) for level in (0.95, 0.99)]
    share = float(variances[worst] / variances.sum())
    return [_judged("Cochran's C, scatter within a group", (names[worst],), share, at[0], at[1], False)]


def _grubbs(names: Sequence[str], means: Floats) -> list[StandsApart]:
    """The group farthest from the others and, where none stands apart alone, the farthest two on either side."""
    far, g, _ = grubbs(means)
    if g == 0:
        return []
    at = [grubbs_critical(means.size, level) for level in (0.95, 0.99)]
    out = [_judged("Grubbs' G, a group's mean", (names[far],), g, at[0], at[1], False)]
    if out[0].verdict is Standing.ORDINARY and means.size >= 5:
        pairs = [(pair_ratio(means, end), end) for end in ("high", "low")]
        ratio, end = min(pairs)
        order = np.argsort(means)
        two = order[-2:] if end == "high" else order[:2]
        low, lower = pair_critical(means.size, 0.95), pair_critical(means.size, 0.99)
        out.append(_judged(f"Grubbs' ratio, the two {end}est", tuple(names[i] for i in two), ratio, low, lower, True))
    return out


@dataclass(frozen=True, repr=False)
class PooledEstimate(Written):
    """One estimate from many groups, each with its own uncertainty.

    Attributes
    ----------
    name, unit : str
    value : ufloat
        With the standard uncertainty of Hartung and Knapp.
    interval : (float, float)
        95 %, for the mean of all groups.
    next_group : (float, float)
        95 %, for the true value of one more group.
    between_sd : float
        Standard deviation of the groups' true values (τ, by restricted maximum likelihood).
    heterogeneity, p_value : float
        Cochran's Q, and the chance of one as large were all groups alike.
    count : int
    """

    name: str
    unit: str
    value: Any
    interval: tuple[float, float]
    next_group: tuple[float, float]
    between_sd: float
    heterogeneity: float
    p_value: float
    count: int

    def page(self) -> Page:
        """The pooled estimate."""
        alike = (
            "groups differ by more than their own ± explains" if self.p_value < 0.05 else "groups agree within their ±"
        )
        lines = [
            Line(self.name, self.value, self.unit, f"{self.count} groups", self.interval),
            Line(
                "between groups", f"{self.between_sd:.3g}", self.unit, "standard deviation of their true values (REML)"
            ),
            Line("one more group would lie", "", "", "", self.next_group),
        ]
        said = f"The {alike} (Q = {self.heterogeneity:.1f}, {in_words(self.p_value)})."
        return Page("Pooled estimate", lines, [said])


def pooled(values: ArrayLike, u: ArrayLike, name: str = "pooled value", unit: str = "") -> PooledEstimate:
    """One estimate from many groups' estimates, with the variance between groups.

    Parameters
    ----------
    values, u : array-like of shape (k,)
        Each group's estimate and its standard uncertainty; three or more.
    name, unit : str

    Returns
    -------
    PooledEstimate

    Notes
    -----
    yᵢ = μ + group + error, variances τ² and uᵢ². τ² by restricted maximum likelihood; weights 1/(uᵢ² + τ²);
    interval by Student's t on k − 1 degrees of freedom with Hartung and Knapp's variance.

    Examples
    --------
    >>> found = pooled([4.1, 3.6, 5.0, 4.4], [0.2, 0.3, 0.2, 0.4], "lag", "h")
    >>> print(found.value)
    4.29+/-0.30

    References
    ----------
    DerSimonian & Laird 1986, Control. Clin. Trials 7, 177 (the model, Q); Viechtbauer 2005, J. Educ. Behav. Stat.
    30, 261 (REML); Hartung & Knapp 2001, Stat. Med. 20, 3875.
    """
    from uncertainties import ufloat

    y, width = numbers(values, "estimates", at_least=3), numbers(u, "uncertainties", at_least=3)
    if y.size != width.size or not (width > 0).all():
        raise InputError(
            f"{y.size} estimates with {int((width > 0).sum())} uncertainties above zero",
            "one for each",
            "leave out the others",
        )
    q, scale = _misfit(y, width, 0.0), width**2
    tau2 = _between(y, scale)
    w = 1 / (scale + tau2)
    mean = float(w @ y / w.sum())
    nu = y.size - 1
    var = float(w @ (y - mean) ** 2 / (nu * w.sum()))
    t = student(nu)
    ahead = student(max(nu - 1, 1)) * float(np.sqrt(tau2 + var))
    half = t * var**0.5
    value = ufloat(mean, var**0.5, tag=Act(f"pooled {name}", f"pooling of the groups' {name}"))
    return PooledEstimate(
        name,
        unit,
        value,
        (mean - half, mean + half),
        (mean - ahead, mean + ahead),
        tau2**0.5,
        q,
        float(special.chdtrc(nu, q)),
        y.size,
    )


def _misfit(y: Floats, u: Floats, tau2: float) -> float:
    w = 1 / (u**2 + tau2)
    return float(w @ (y - w @ y / w.sum()) ** 2)


def _between(y: Floats, scale: Floats) -> float:
    """τ² that makes the restricted likelihood largest: a bounded search, so that it always ends."""
    from scipy.optimize import minimize_scalar

    def cost(tau2: float) -> float:
        w = 1 / (scale + tau2)
        mean = w @ y / w.sum()
        return float(-np.log(w).sum() + np.log(w.sum()) + w @ (y - mean) ** 2)

    top = 10 * float(y.var(ddof=1)) + 1e-300
    found = minimize_scalar(lambda part: cost(part * top), bounds=(0.0, 1.0), method="bounded", options={"xatol": 1e-9})
    return 0.0 if cost(0.0) <= found.fun else float(found.x) * top
