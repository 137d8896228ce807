"""Is it the right curve? Lack of fit, the test of linearity, and standards that stand apart."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from fermkit.basis.checks import Floats, numbers, same_length
from fermkit.basis.errors import FermkitError
from fermkit.basis.statistics import aicc
from fermkit.basis.written import Line, Page, Written, in_words
from fermkit.calibration.response import FittedCurve
from fermkit.calibration.standards import level_means


@dataclass(frozen=True, repr=False)
class Judgement(Written):
    """One test: its statistic, its probability were all well, and what that says in words.

    Attributes
    ----------
    name : str
    statistic, p : float
        NaN where the standards cannot tell; `verdict` then says why.
    degrees_of_freedom : (float, float)
    passed : bool or None
        None where nothing could be tested.
    verdict : str
    """

    name: str
    statistic: float
    p: float
    degrees_of_freedom: tuple[float, float]
    passed: bool | None
    verdict: str

    def page(self) -> Page:
        """The test as a page."""
        upper, lower = self.degrees_of_freedom
        lines = (
            []
            if self.passed is None
            else [
                Line("statistic", f"{self.statistic:.3g}", "", f"on {upper:g} and {lower:g} degrees of freedom"),
                Line("probability", in_words(self.p), "", "of one as large, were the curve right"),
            ]
        )
        return Page(self.name, lines, [self.verdict])


def _untestable(name: str, why: str) -> Judgement:
    return Judgement(name, float("nan"), float("nan"), (0.0, 0.0), None, why)


def lack_of_fit(fitted: FittedCurve) -> Judgement:
    """Does the curve miss the standards by more than they scatter?

    With replicates: F = (what the curve misses of the level means) / (scatter of the replicates). Where the
    scatter was stated: chi-square of all residuals.

    References
    ----------
    Draper & Smith, Applied Regression Analysis, ch. 2 (pure error); ISO 11095:1996; ISO/TS 28037:2010, 6.1 (chi²).
    """
    name, curve, y = "Lack of fit", fitted.curve.name, fitted.y
    residuals = y - fitted.signal(fitted.x)
    if not np.isfinite(fitted.degrees_of_freedom):
        white = fitted.whiten(residuals)
        chi2, nu = float(white @ white), float(y.size - fitted.values.size)
        p = float(special.chdtrc(nu, chi2))
        words = "agree with" if p >= 0.05 else "miss"
        return Judgement(
            name,
            chi2,
            p,
            (nu, float("inf")),
            p >= 0.05,
            f"the standards {words} the {curve} curve within their stated uncertainty "
            f"(chi² = {chi2:.3g} on {nu:g}, {in_words(p)})",
        )
    levels = int(fitted.solution.max()) + 1
    if y.size == levels:
        return _untestable(
            name,
            "no standard was read twice, so a bend that the curve misses cannot be told from "
            "scatter: read each standard two or three times",
        )
    weights = 1 / fitted.variance(fitted.signal(fitted.x))
    means = fitted.signal(fitted.x) + level_means(residuals, fitted.solution)
    pure = float((y - means) ** 2 @ weights)
    if pure == 0:
        return _untestable(
            name, "the replicates are alike to the last digit, so their scatter is not known: read with more digits"
        )
    nu_curve, nu_pure = float(levels - fitted.values.size), float(y.size - levels)
    f = max(float(residuals**2 @ weights) - pure, 0.0) / nu_curve / (pure / nu_pure)
    p = float(special.fdtrc(nu_curve, nu_pure, f))
    verdict = (
        f"the {curve} misses the standards by no more than their replicates scatter"
        if p >= 0.05
        else f"the {curve} misses the standards by more than their replicates scatter: try another curve"
    )
    return Judgement(name, f, p, (nu_curve, nu_pure), p >= 0.05, f"{verdict} (F = {f:.2f}, {in_words(p)})")


def mandel_test(ethanol_pct_vol: ArrayLike, signal: ArrayLike) -> Judgement:
    """Does a quadratic describe the standards better than a straight line?

    Parameters
    ----------
    ethanol_pct_vol, signal : array-like of shape (n,)
        The standards: five readings or more, at four contents or more.

    Returns
    -------
    Judgement
        Passed (linear) where p is 1 % or more, as ISO 8466-1 asks.

    Notes
    -----
    F = (S_line − S_quadratic) / (S_quadratic / (n − 3)), on 1 and n − 3 degrees of freedom, S the residual
    sums of squares.

    Examples
    --------
    >>> mandel_test([0, 2, 4, 6, 8, 10, 12], [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7]).statistic
    1.5611

    References
    ----------
    Mandel, The Statistical Analysis of Experimental Data, 1964; ISO 8466-1:1990, 4.1.3.
    """
    x, y = numbers(ethanol_pct_vol, "content of the standards"), numbers(signal, "signal")
    name = "Mandel's test of linearity"
    same_length(content=x, signal=y)
    if np.unique(x).size < 4 or x.size < 5:
        return _untestable(name, "a bend needs five readings, at four contents or more")
    z = (x - x.mean()) / np.ptp(x)
    line, bent = (float(np.sum((y - np.polyval(np.polyfit(z, y, n), z)) ** 2)) for n in (1, 2))
    nu = float(x.size - 3)
    if bent <= 1e-20 * float(y @ y):
        return _untestable(name, "the quadratic passes through every standard: nothing is left to judge it by")
    f = max(line - bent, 0.0) / (bent / nu)
    p = float(special.fdtrc(1.0, nu, f))
    words = "no bend is shown" if p >= 0.01 else "the standards bend"
    return Judgement(name, f, p, (1.0, nu), p >= 0.01, f"{words} (Mandel's F = {f:.2f}, {in_words(p)})")


def even_scatter(fitted: FittedCurve) -> Judgement:
    """Does the scatter that the weights leave grow or shrink along the curve?

    Notes
    -----
    n·R² of the squared weighted residuals on the fitted signal, held against chi-square on one degree of freedom.

    References
    ----------
    Koenker 1981, J. Econometrics 17, 107; Cook & Weisberg 1983, Biometrika 70, 1.
    """
    name, signals = "Even scatter", fitted.signal(fitted.x)
    squares = (fitted.y - signals) ** 2 / fitted.variance(signals)
    if squares.size < 8 or np.ptp(squares) == 0 or np.ptp(signals) <= 1e-9 * np.abs(signals).max():
        return _untestable(name, "fewer than eight readings do not show how the scatter runs")
    r = float(np.corrcoef(squares, signals)[0, 1])
    statistic = squares.size * r**2
    p = float(special.chdtrc(1.0, statistic))
    grows = "grow" if r > 0 else "shrink"
    verdict = (
        f"the scatter is even along the curve ({in_words(p)})"
        if p >= 0.05
        else f"the scatter seems to {grows} along the curve ({in_words(p)}): intervals are too narrow at one end; take "
        "weights='proportional'"
    )
    return Judgement(name, statistic, p, (1.0, float("inf")), p >= 0.05, verdict)


@dataclass(frozen=True)
class Outliers:
    """How far each standard stands from the others.

    Attributes
    ----------
    studentised : numpy.ndarray of shape (n,)
        Residual over its own uncertainty, that reading left out.
    p : numpy.ndarray of shape (n,)
        Probability of one as large among n (Bonferroni).
    cook : numpy.ndarray of shape (n,)
        Cook's distance: how much the curve moves without it. Above 1 it leads the curve.
    suspects : tuple of int
        Row numbers from 0, p below 5 %.
    """

    studentised: Floats
    p: Floats
    cook: Floats
    suspects: tuple[int, ...]


def outliers_of(fitted: FittedCurve) -> Outliers:
    """Standards whose residual is too large for chance, and those that lead the curve.

    References
    ----------
    Cook 1977, Technometrics 19, 15; Cook & Weisberg, Residuals and Influence in Regression, 1982 (the studentised
    residual with Bonferroni's bound is Grubbs' test carried over to a curve).
    """
    white = fitted.whiten(fitted.y - fitted.signal(fitted.x))
    design = fitted.whiten(fitted.gradient(fitted.x))
    hat = np.clip(np.einsum("ij,ji->i", design, np.linalg.pinv(design)), 0.0, 1 - 1e-9)
    count, size = white.size, fitted.values.size
    inner = white / np.sqrt(1 - hat)
    nu = fitted.degrees_of_freedom
    if float(white @ white) < 1e-12:
        outer, p = np.zeros(count), np.ones(count)
    elif np.isfinite(nu) and nu > 1:
        share = np.maximum(nu - inner**2 * nu / float(white @ white), 1e-12)
        outer = inner * np.sqrt(nu / float(white @ white)) * np.sqrt((nu - 1) / share)
        p = 2 * special.stdtr(nu - 1, -np.abs(outer))
    else:
        outer, p = inner, 2 * special.ndtr(-np.abs(inner))
    p = np.minimum(p * count, 1.0) if nu > 1 else np.ones(count)
    cook = inner**2 * hat / (1 - hat) / size
    return Outliers(outer, p, cook, tuple(int(row) for row in np.flatnonzero(p < 0.05)))


@dataclass(frozen=True)
class Slip:
    """A standard that reads like another content: its place, what was written, what its signal says."""

    written: float
    reads_like: float
    unit: str

    def __str__(self) -> str:
        times = self.written / self.reads_like
        how = f"typed {times:.2g} times too large" if times > 1 else f"typed {1 / times:.2g} times too small"
        return (
            f"the standard of {self.written:g} {self.unit} reads like {self.reads_like:.3g} between its neighbours: "
            f"{how}?"
        )


LARGE_GAIN: Final = 25.0
"""How many times smaller the scatter's sum of squares must become before a slip of typing is named: chance gives it
to fewer than 1 in 1000 sets of five standards (by simulation)."""


def slip_of(fitted: FittedCurve) -> Slip | None:
    """The one standard that a shifted decimal point would bring back among its neighbours, if there is one.

    Each content is taken ten times smaller and larger in turn; a straight line and, from five contents on, a parabola
    through all tell whether the standards then agree.
    """
    x, y, solution = fitted.x, fitted.y, fitted.solution
    levels = np.unique(fitted.given)

    def misfit(at: Floats, degree: int) -> float:
        z = at / at.max()
        return float(np.sum((y - np.polyval(np.polyfit(z, y, degree), z)) ** 2))

    exact = 1e-9 * float(np.ptp(y)) ** 2
    found = []
    for degree in (1, 2)[: max(levels.size - 3, 0)]:
        before = misfit(x, degree)
        for one in np.flatnonzero(levels > 0):
            for times in (0.1, 10.0):
                gain = before / max(misfit(np.where(solution == one, x * times, x), degree), exact)
                found.append((gain, float(levels[one]), float(levels[one] * times)))
    gain, written, likely = max(found, default=(0.0, 0.0, 0.0))
    return Slip(written, likely, fitted.content_unit) if gain > LARGE_GAIN else None


def choose_curve(fit: Callable[[str], FittedCurve]) -> tuple[str, str]:
    """The simplest curve that the standards do not contradict, and the reason in words.

    The straight line stays unless a bend is shown or another curve is better by more than chance; among curves
    within 2 of the best AICc, the one with the fewest parameters.

    References
    ----------
    Burnham & Anderson, Model Selection and Multimodel Inference, 2002, ch. 2.
    """
    line = fit("line")
    tried = {"line": line} | settled(fit)
    scores = {name: _aicc(fitted) for name, fitted in tried.items()}
    sizes = {name: fitted.values.size for name, fitted in tried.items()}
    best = min(scores, key=lambda name: scores[name])
    if not np.isfinite(scores[best]):
        return "line", "a straight line was taken: so few readings cannot tell one curve from another"
    chosen = min(
        (name for name in scores if scores[name] - scores[best] < 2), key=lambda name: (sizes[name], scores[name])
    )
    bend, gain = mandel_test(line.x, line.y), scores["line"] - scores[chosen]
    if lack_of_fit(line).passed is not False and bend.passed is not False and gain < 4:
        return (
            "line",
            f"a straight line was chosen: {bend.verdict}; the best curve, {best}, is no better than chance allows",
        )
    if chosen == "line":
        return "line", f"a straight line was chosen for want of a better curve: {bend.verdict}"
    return chosen, f"the {chosen} was chosen: {bend.verdict}; its AICc is {gain:.1f} below that of the straight line"


BENT: Final = ("quadratic", "power", "power with blank", "saturating", "logistic4")
"""The curves that are tried besides the straight line, in this order."""


def settled(fit: Callable[[str], FittedCurve]) -> dict[str, FittedCurve]:
    """The bent curves that these standards can carry."""
    found = {}
    for name in BENT:
        try:
            found[name] = fit(name)
        except FermkitError:
            continue
    return found


def serving_curve(fit: Callable[[str], FittedCurve]) -> str:
    """The curve with the lowest AICc of those that settle, to be named where the one that was asked for does not."""
    tried = settled(fit) | {"line": fit("line")}
    return min(tried, key=lambda name: _aicc(tried[name]))


def with_or_without_blank(fit: Callable[[str], FittedCurve]) -> tuple[str, str]:
    """Whether a power law stands on a blank: where a standard without ethanol was read, or where AICc says so."""
    plain = fit("power")
    try:
        raised = fit("power with blank")
    except FermkitError:
        return "power", ""
    if plain.range[0] == 0:
        return "power with blank", "a blank was fitted, since a standard without ethanol was read"
    gain = _aicc(plain) - _aicc(raised)
    return ("power with blank", f"a blank was fitted: it lowers AICc by {gain:.1f}") if gain > 2 else ("power", "")


def _aicc(fitted: FittedCurve) -> float:
    """Akaike's criterion from the weighted residuals; curves of different weights are made comparable."""
    signals = fitted.signal(fitted.x)
    shares = fitted.variance(signals) / fitted.scale
    misfit = float((fitted.y - signals) ** 2 @ (1 / shares))
    return aicc(misfit, fitted.y.size, fitted.values.size) + float(np.log(shares).sum())
