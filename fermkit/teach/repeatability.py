"""What many groups found of one sample: repeatability, reproducibility, results that stand apart, and a middle
that a few wild results cannot move.

*Repeatability* is how well one group agrees with itself, *reproducibility* how well any two groups agree.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from fermkit.basis.checks import Floats, between, numbers
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written
from fermkit.calibration.linearity import grubbs_critical


def cochran_critical(groups: int, repeats: int, level: float = 0.95) -> float:
    """The largest share of the summed variances that one group has by chance.

    Parameters
    ----------
    groups, repeats : int
        How many groups, and how often each measured.
    level : float
        0.95 or 0.99, as a rule.

    Returns
    -------
    float

    Notes
    -----
    C = 1 / (1 + (p − 1)/F), F the upper (1 − level)/p point of the F distribution on n − 1 and (p − 1)(n − 1)
    degrees of freedom: a bound that is met almost exactly.

    Examples
    --------
    >>> round(cochran_critical(8, 2), 3), round(cochran_critical(8, 3, 0.99), 3)
    (0.68, 0.615)

    References
    ----------
    Cochran 1941, Ann. Eugenics 11, 47; 't Lam 2010, Anal. Chim. Acta 659, 68, doi:10.1016/j.aca.2009.11.032.
    """
    if groups < 2 or repeats < 2:
        raise InputError(
            f"{groups} groups with {repeats} results each",
            "two groups or more, each with two results or more",
            "measure in duplicate",
        )
    between(level, 0.5, 0.9999, "level")
    nu = repeats - 1
    f = special.fdtri(nu, (groups - 1) * nu, 1 - (1 - level) / groups)
    return float(1 / (1 + (groups - 1) / f))


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
    verdict : str
        "ordinary", "straggler" or "outlier".
    """

    test: str
    groups: tuple[str, ...]
    statistic: float
    straggler: float
    outlier: float
    verdict: str

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
        return tuple(dict.fromkeys(name for test in self.apart if test.verdict == "outlier" for name in test.groups))

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


def robust_mean(values: ArrayLike) -> tuple[Any, float]:
    """A mean and standard deviation that a few wild values cannot move.

    Parameters
    ----------
    values : array-like of shape (n,)
        Three or more.

    Returns
    -------
    (ufloat, float)
        Robust mean with its standard uncertainty 1.25 s*/√n (a plain number where all results are alike), and
        robust standard deviation s*.

    Notes
    -----
    Values further than 1.5 s* from the mean are moved there, mean and s* = 1.134 × standard deviation are taken
    anew, until they rest.

    Examples
    --------
    >>> middle, spread = robust_mean([5.01, 4.98, 5.03, 4.99, 9.7])
    >>> round(middle.nominal_value, 2)
    5.03

    References
    ----------
    ISO 13528:2015, Annex C.3 (Algorithm A) and 7.7.3; Huber, Robust Statistics, 1981.
    """
    from uncertainties import ufloat

    x = numbers(values, "results", at_least=3)
    middle = float(np.median(x))
    spread = 1.483 * float(np.median(np.abs(x - middle)))
    if spread == 0:  # more than half alike: as the standard allows, start from the plain deviation
        spread = float(x.std(ddof=1))
    for _ in range(500):
        moved = np.clip(x, middle - 1.5 * spread, middle + 1.5 * spread)
        new, width = float(moved.mean()), 1.134 * float(moved.std(ddof=1))
        rests = abs(new - middle) + abs(width - spread) <= 1e-12 * (abs(middle) + spread)
        middle, spread = new, width
        if rests:
            break
    if spread == 0:  # all alike: the display was too coarse to tell a width
        return middle, spread
    return ufloat(middle, 1.25 * spread / np.sqrt(x.size), tag="spread of the groups"), spread


def _judged(
    test: str, groups: tuple[str, ...], statistic: float, at_95: float, at_99: float, small: bool
) -> StandsApart:
    beyond = [statistic < limit if small else statistic > limit for limit in (at_95, at_99)]
    verdict = "outlier" if beyond[1] else "straggler" if beyond[0] else "ordinary"
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
    spread = float(means.std(ddof=1))
    if not spread > 1e-12 * float(np.abs(means).max()):
        return []
    far = int(np.argmax(np.abs(means - means.mean())))
    g = float(abs(means[far] - means.mean()) / spread)
    at = [grubbs_critical(means.size, level) for level in (0.95, 0.99)]
    out = [_judged("Grubbs' G, a group's mean", (names[far],), g, at[0], at[1], False)]
    if out[0].verdict == "ordinary" and means.size >= 5:
        pairs = [(pair_ratio(means, end), end) for end in ("high", "low")]
        ratio, end = min(pairs)
        order = np.argsort(means)
        two = order[-2:] if end == "high" else order[:2]
        low, lower = pair_critical(means.size, 0.95), pair_critical(means.size, 0.99)
        out.append(_judged(f"Grubbs' ratio, the two {end}est", tuple(names[i] for i in two), ratio, low, lower, True))
    return out


def pair_ratio(values: ArrayLike, end: str = "high") -> float:
    """Sum of squares without the two most extreme values, over that with them (ISO 5725-2, 7.3.4.2)."""
    x = np.sort(numbers(values, "values", at_least=4))
    rest = x[:-2] if end == "high" else x[2:]
    return float(np.sum((rest - rest.mean()) ** 2) / np.sum((x - x.mean()) ** 2))


def pair_critical(count: int, level: float = 0.95, draws: int = 40_000) -> float:
    """The smallest `pair_ratio` that chance gives, two-sided: drawn from normal numbers with a fixed seed.

    Examples
    --------
    >>> round(pair_critical(8), 2)
    0.11

    References
    ----------
    Grubbs & Beck 1972, Technometrics 14, 847; ISO 5725-2:1994, Table 5 (two largest or two smallest).
    """
    x = np.sort(np.random.default_rng(5725).standard_normal((draws, count)), axis=1)
    rest = x[:, :-2]
    whole = np.sum((x - x.mean(axis=1, keepdims=True)) ** 2, axis=1)
    ratio = np.sum((rest - rest.mean(axis=1, keepdims=True)) ** 2, axis=1) / whole
    return float(np.quantile(ratio, (1 - level) / 2))
