"""Counting cells under a grid: how much of the scatter between squares is counting alone.

William Gosset counted yeast in the 400 squares of a haemacytometer, at four dilutions, and showed that the counts
scatter as Poisson's law says if the cells lie where they like.

References
----------
Student 1907, On the error of counting with a haemacytometer, Biometrika 5, 351, doi:10.1093/biomet/5.3.351.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, numbers
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, in_words

STUDENT_1907: Final[dict[str, tuple[int, ...]]] = {
    "A": (213, 128, 37, 18, 3, 1),
    "B": (103, 143, 98, 42, 8, 4, 2),
    "C": (75, 103, 121, 54, 30, 13, 2, 1, 0, 1),
    "D": (0, 20, 43, 53, 86, 70, 54, 37, 18, 10, 5, 2, 2),
}
"""Squares with 0, 1, 2, … yeast cells, of 400: Student's four samples (1907), as transcribed by Hand et al., A
Handbook of Small Data Sets, 1994, and in R's HistData::Yeast."""


@dataclass(frozen=True, repr=False)
class CountingNoise(Written):
    """What counts in many squares tell of the mean, and whether they scatter as counts do.

    Attributes
    ----------
    mean : ufloat
        Cells a square.
    variance : float
        Between squares; Poisson's law makes it equal to the mean.
    dispersion, p_value : float
        Variance over mean, and the chance of one as far from 1 either way.
    expected : numpy.ndarray
        Squares with 0, 1, 2, … cells that Poisson's law expects.
    fit, fit_p : float
        Chi-square of the frequencies, rare ones taken together, and its probability; NaN where too few are left.
    fit_dof : int
    """

    mean: Any
    variance: float
    dispersion: float
    p_value: float
    expected: Floats
    fit: float
    fit_p: float
    fit_dof: int

    def to_know_it_to(self, relative: float) -> int:
        """Cells that must be counted in all to know the mean to a relative standard uncertainty: 1/relative²."""
        return int(np.ceil(1 / relative**2 - 1e-9))

    def page(self) -> Page:
        """Mean, scatter, verdict."""
        words = (
            "The counts scatter as counting alone makes them."
            if self.p_value >= 0.05
            else "The counts scatter more than counting alone explains: clumps, or a chamber filled unevenly."
            if self.dispersion > 1
            else "The counts scatter less than counting allows: were some left out, or counts adjusted?"
        )
        lines = [
            Line("mean", self.mean, "cells a square"),
            Line("variance", f"{self.variance:.4g}", "", "Poisson: equal to the mean"),
            Line("variance over mean", f"{self.dispersion:.3f}", "", in_words(self.p_value)),
        ]
        if self.fit_dof > 0:
            told = f"on {self.fit_dof} degrees of freedom, {in_words(self.fit_p)}"
            lines.append(Line("fit of Poisson's law, chi²", f"{self.fit:.2f}", "", told))
        return Page(
            "Cells counted", lines, [words, f"To know the mean to 5 %, count {self.to_know_it_to(0.05)} cells in all."]
        )


def counting_noise(counts: ArrayLike) -> CountingNoise:
    """Do the counts in the squares scatter as counting alone makes them?

    Parameters
    ----------
    counts : array-like of shape (n,)
        Cells in each square: whole numbers; 10 squares or more.

    Returns
    -------
    CountingNoise

    Notes
    -----
    Index of dispersion Σ(x − x̄)²/x̄ is chi-square on n − 1 degrees of freedom under Poisson's law; u(mean) =
    √(mean/n), or √(variance/n) where the squares scatter more.

    Examples
    --------
    >>> found = counting_noise(squares_of(STUDENT_1907["D"]))
    >>> print(found.mean, round(found.dispersion, 3))
    4.68+/-0.11 0.955

    References
    ----------
    Student 1907, Biometrika 5, 351; Fisher, Thornton & Mackenzie 1922, Ann. Appl. Biol. 9, 325 (index of dispersion).
    """
    from uncertainties import ufloat

    x = numbers(counts, "cells in each square", at_least=10)
    if (x < 0).any() or (x != np.round(x)).any():
        raise InputError(
            f"a square holds {x[(x < 0) | (x != np.round(x))][0]:g} cells",
            "whole numbers, 0 or more",
            "count whole cells",
        )
    mean, variance, n = float(x.mean()), float(x.var(ddof=1)), x.size
    if mean == 0:
        raise InputError(f"no cell in {n} squares", "at least one cell", "count more squares, or dilute less")
    index = (n - 1) * variance / mean
    tail = float(special.chdtrc(n - 1, index))
    u = float(np.sqrt(max(mean, variance if tail < 0.025 else 0.0) / n))
    seen = np.bincount(x.astype(int))
    k = np.arange(seen.size)
    expected = n * np.exp(k * np.log(mean) - mean - special.gammaln(k + 1))
    expected[-1] = n - expected[:-1].sum()
    fit, dof = _fit(seen.astype(float), expected)
    return CountingNoise(
        ufloat(mean, u, tag=Act("cell counts", "counting cells")),
        variance,
        variance / mean,
        2 * min(tail, 1 - tail),
        expected,
        fit,
        float(special.chdtrc(dof, fit)) if dof > 0 else float("nan"),
        dof,
    )


def squares_of(frequencies: Sequence[int]) -> NDArray[np.int64]:
    """The count of every square, from how many squares hold 0, 1, 2, … cells.

    Examples
    --------
    >>> squares_of([2, 1, 0, 1]).tolist()
    [0, 0, 1, 3]
    """
    return np.repeat(np.arange(len(frequencies)), frequencies)


def _fit(seen: Floats, expected: Floats) -> tuple[float, int]:
    """Chi-square over classes of at least five expected squares; one degree goes to the mean, one to the total."""
    groups: list[list[float]] = [[0.0, 0.0]]
    for s, e in zip(seen, expected, strict=True):
        if groups[-1][1] >= 5:
            groups.append([0.0, 0.0])
        groups[-1][0] += float(s)
        groups[-1][1] += float(e)
    if len(groups) > 1 and groups[-1][1] < 5:
        last = groups.pop()
        groups[-1] = [groups[-1][0] + last[0], groups[-1][1] + last[1]]
    return float(sum((s - e) ** 2 / e for s, e in groups)), len(groups) - 2
