"""General statistics, each once: quantiles, model choice, tests of series and of values that stand apart."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, between, numbers
from fermkit.basis.errors import InputError

FEWEST_RUNS = 8
"""Values from which the normal approximation of the runs test is used; fewer show nothing."""


def student(degrees_of_freedom: float, level: float = 0.95) -> float:
    """Two-sided Student factor; the normal one for infinitely many degrees of freedom.

    Examples
    --------
    >>> round(student(4), 5), round(student(float("inf")), 6)
    (2.77645, 1.959964)

    References
    ----------
    JCGM 100:2008 (GUM), annex G.
    """
    upper = 0.5 + level / 2
    if not np.isfinite(degrees_of_freedom):
        return float(special.ndtri(upper))
    return float(special.stdtrit(degrees_of_freedom, upper))


def effective_degrees_of_freedom(parts: Sequence[tuple[float, float]]) -> float:
    """Welch–Satterthwaite: (Σ u²)² / Σ (u⁴ / ν) over the independent parts.

    Parameters
    ----------
    parts : sequence of (variance, degrees of freedom)

    Returns
    -------
    float
        Infinite where no part rests on few readings.

    Examples
    --------
    >>> effective_degrees_of_freedom([(4.0, 3), (1.0, float("inf"))])
    4.6875

    References
    ----------
    JCGM 100:2008 (GUM), G.4.1, equation G.2b.
    """
    total = sum(variance for variance, _ in parts)
    few = sum(variance**2 / nu for variance, nu in parts if np.isfinite(nu))
    return float(total**2 / few) if few > 0 else float("inf")


def aicc(misfit: float, readings: int, parameters: int, *, known: bool = False) -> float:
    """Akaike's criterion for few readings: the lower, the better the model for what it costs.

    Parameters
    ----------
    misfit : float
        Weighted sum of squared residuals.
    readings : int
    parameters : int
        Of the model, without the scatter.
    known : bool
        Whether the scatter of the readings was stated; else it is one more parameter, learnt from them.

    Returns
    -------
    float
        n ln(S/n) + 2K + 2K(K + 1)/(n − K − 1), with S in place of n ln(S/n) where the scatter is known; infinite
        where so few readings cannot carry so many parameters.

    Examples
    --------
    >>> round(aicc(2.0, 20, 3), 2), aicc(2.0, 5, 3)
    (-35.39, inf)

    References
    ----------
    Hurvich & Tsai, Biometrika 76 (1989) 297; Burnham & Anderson, Model Selection and Multimodel Inference, 2002, ch. 2.
    """
    k = parameters + (not known)
    spare = readings - k - 1
    if spare <= 0:
        return float("inf")
    cost = misfit if known else readings * float(np.log(max(misfit, 1e-300) / readings))
    return cost + 2 * k + 2 * k * (k + 1) / spare


def runs_p(residuals: Floats) -> float:
    """How likely so few runs of one sign would be by chance (Wald & Wolfowitz, Ann. Math. Stat. 11 (1940) 147)."""
    up = residuals > 0
    n1, n2 = int(up.sum()), int((~up).sum())
    if min(n1, n2) < 2 or up.size < FEWEST_RUNS:
        return 1.0
    n = n1 + n2
    mean = 1 + 2 * n1 * n2 / n
    variance = (mean - 1) * (mean - 2) / (n - 1)
    runs = 1 + int(np.count_nonzero(np.diff(up)))
    return float(special.ndtr((runs + 0.5 - mean) / np.sqrt(variance)))


def holm(p_values: Sequence[float]) -> list[float]:
    """p-values adjusted for looking at all of them at once (Holm 1979, Scand. J. Stat. 6, 65).

    Examples
    --------
    >>> [round(p, 3) for p in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    order = np.argsort(p_values)
    out, largest = [1.0] * len(p_values), 0.0
    for rank, place in enumerate(order):
        largest = max(largest, min(1.0, (len(p_values) - rank) * float(p_values[place])))
        out[int(place)] = largest
    return out


def grubbs(values: ArrayLike) -> tuple[int, float, float]:
    """Which value stands farthest from the mean, by how many standard deviations, and how likely that is by chance.

    Parameters
    ----------
    values : array-like of shape (n,)
        Three or more.

    Returns
    -------
    (int, float, float)
        Its place, G = max |value − mean| / s, and the two-sided p; 0 and 1 where all are alike to the last digit.

    Notes
    -----
    The critical G is (n−1)/√n · √(t²/(n−2+t²)), t the upper α/(2n) point of Student's distribution on n − 2.

    References
    ----------
    Grubbs 1969, Technometrics 11, 1; ISO 5725-2:1994, 7.3.4.
    """
    x = numbers(values, "replicates", at_least=3)
    n, spread, away = x.size, float(x.std(ddof=1)), np.abs(x - x.mean())
    far = int(np.argmax(away))
    if not spread > 1e-12 * float(np.abs(x).max()):
        return far, 0.0, 1.0
    g = float(away[far] / spread)
    left = max(1 - n * g**2 / (n - 1) ** 2, 1e-15)
    t = np.sqrt(n * (n - 2) * g**2 / (n - 1) ** 2 / left)
    return far, g, float(min(1.0, 2 * n * special.stdtr(n - 2, -t)))


def grubbs_critical(count: int, level: float = 0.95) -> float:
    """The largest G that chance gives among so many values; see `grubbs`.

    Examples
    --------
    >>> round(grubbs_critical(8), 3)
    2.126
    """
    t = special.stdtrit(count - 2, 1 - (1 - level) / (2 * count))
    return float((count - 1) / np.sqrt(count) * np.sqrt(t**2 / (count - 2 + t**2)))


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
    return ufloat(middle, 1.25 * spread / np.sqrt(x.size), tag=Act("groups", "spread of the groups")), spread
