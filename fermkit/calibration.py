"""Standards to a curve, and what the curve is worth: scatter, lack of fit, limits of detection."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special
from scipy.optimize import brentq
from uncertainties import UFloat, covariance_matrix, ufloat

from fermkit.checks import numbers, one_of, positive, same_length
from fermkit.errors import FitError, InputError
from fermkit.readback import (
    PIPETTING,
    REPLICATES,
    SCATTER,
    STANDARDS,
    Reading,
    effective_degrees_of_freedom,
    mean_signal,
    student,
)
from fermkit.response import CURVES, Curve, FittedCurve, least_squares_fit
from fermkit.written import Line, Page, Written, in_words, nominal, uncertainty

Floats = NDArray[np.float64]
Law = Callable[[Floats], Floats]

WEIGHTS = ("equal", "proportional", "counts", "replicates")


@dataclass(frozen=True, repr=False)
class LackOfFit(Written):
    """Does the curve miss the standards by more than replicates of one standard scatter?

    Attributes
    ----------
    statistic, p : float
        F (or chi-square where the scatter was stated) and its probability if the curve were right; NaN where the
        standards cannot tell.
    degrees_of_freedom : (float, float)
    verdict : str
    """

    statistic: float
    p: float
    degrees_of_freedom: tuple[float, float]
    verdict: str

    def page(self) -> Page:
        """The test as a page."""
        return Page("Lack of fit", [Line("statistic", self.statistic, "", in_words(self.p))], [self.verdict])


@dataclass(frozen=True, repr=False)
class Limits(Written):
    """The smallest contents that can be told from a blank, seen, and measured.

    Attributes
    ----------
    decision : float
        A sample that reads above this is not a blank (5 % false alarms): ISO 11843's critical value, DIN 32645's
        'Nachweisgrenze'.
    detection : float
        A content that is seen 95 times in 100: ISO 11843's minimum detectable value.
    quantification : float
        Where the half-width of the 95 % interval is a third of the content: DIN 32645 with k = 3.
    """

    decision: float
    detection: float
    quantification: float
    replicates: int
    unit: str

    def page(self) -> Page:
        """The limits as a page."""
        return Page(f"Limits, for the mean of {self.replicates} readings", [
            Line("decision limit", self.decision, self.unit, "above it, not a blank (5 % false alarms), ISO 11843-2"),
            Line("limit of detection", self.detection, self.unit, "seen 95 times in 100, ISO 11843-2"),
            Line("limit of quantification", self.quantification, self.unit,
                 "the 95 % interval is ± a third of the content, DIN 32645 with k = 3"),
        ])


@dataclass(frozen=True, repr=False)
class Calibration(Written):
    """A curve through standards, ready to be read backwards.

    Attributes
    ----------
    curve : str
    parameters : dict of str to UFloat
        Correlated with one another, and with the caller's own standards.
    residual_sd : float
        Scatter of one signal about the curve [signal unit]; for weighted fits, at unit weight.
    degrees_of_freedom : float
        Behind the scatter; infinite where `u_signal` was stated.
    ethanol_pct_vol, signal, fitted_signal, residuals : numpy.ndarray of shape (n,)
        The standards, the curve at them, and what it leaves.
    range : (float, float)
        Lowest and highest standard.
    """

    curve: str
    parameters: dict[str, UFloat]
    residual_sd: float
    degrees_of_freedom: float
    ethanol_pct_vol: Floats
    signal: Floats
    weights: str
    unit: str
    content_unit: str
    fitted: FittedCurve = field(compare=False)
    rss: float = 0.0
    remarks: tuple[str, ...] = ()

    @property
    def range(self) -> tuple[float, float]:
        """Lowest and highest standard."""
        return float(self.ethanol_pct_vol.min()), float(self.ethanol_pct_vol.max())

    @property
    def fitted_signal(self) -> Floats:
        """The curve at the standards."""
        return self.fitted.signal(self.ethanol_pct_vol)

    @property
    def residuals(self) -> Floats:
        """Signal minus curve [signal unit]."""
        return self.signal - self.fitted_signal

    @property
    def r_squared(self) -> float:
        """Share of the signals' variance that follows the curve. Says nothing about bending: see `lack_of_fit`."""
        spread = self.signal - self.signal.mean()
        return float(1 - (self.residuals @ self.residuals) / (spread @ spread))

    @property
    def lack_of_fit(self) -> LackOfFit:
        """F test of the curve against the scatter of replicates (Draper & Smith, ch. 2; ISO 11095)."""
        return _lack_of_fit(self)

    @property
    def limit_of_detection(self) -> float:
        """A content that one reading will show 95 times in 100 (ISO 11843-2)."""
        return self.limits().detection

    @property
    def limit_of_quantification(self) -> float:
        """Where one reading is good to a third of itself (DIN 32645, k = 3)."""
        return self.limits().quantification

    def predict(self, ethanol_pct_vol: ArrayLike) -> Floats:
        """The signal expected at a content."""
        return self.fitted.signal(np.asarray(ethanol_pct_vol, dtype=float))

    def band(self, ethanol_pct_vol: ArrayLike, level: float = 0.95, *, of: str = "curve") -> tuple[Floats, Floats]:
        """Lower and upper signal at each content, for the "curve" itself or for a single "reading"."""
        one_of(of, ("curve", "reading"), "of")
        x = np.asarray(ethanol_pct_vol, dtype=float)
        middle, variance = self.fitted.signal(x), self.fitted.curve_variance(x)
        if of == "reading":
            variance = variance + self.fitted.variance(middle)
        half = student(self.degrees_of_freedom, level) * np.sqrt(variance)
        return middle - half, middle + half

    def limits(self, *, replicates: int = 1) -> Limits:
        """Decision, detection and quantification limits for the mean of so many readings."""
        return _limits(self, replicates)

    def read(
        self,
        signals: ArrayLike,
        *,
        dilution: float | UFloat = 1.0,
        u_pipetting: float = 0.0,
        scatter: str = "calibration",
        extrapolate: bool = False,
    ) -> Reading:
        """The content of one sample from its signals.

        Parameters
        ----------
        signals : float or array-like of shape (replicates,)
            In the standards' signal unit.
        dilution : float or UFloat
            How many times stronger the sample is than what the sensor saw; see `dilution_factor`.
        u_pipetting : float
            Relative standard uncertainty of the dilution, where `dilution` carries none.
        scatter : "calibration", "pooled" or "replicates"
            Whose scatter the sample's signals are taken to have.
        extrapolate : bool
            Give a value outside the standards too, flagged.

        Returns
        -------
        Reading

        Raises
        ------
        InputError
            Outside the standards (with the dilution that would help), or where no content gives the signal.

        Examples
        --------
        >>> cal = fit_calibration([0, 2, 4, 6, 8, 10, 12], [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7])
        >>> print(cal.read(13.5).value)
        6.21+/-0.24

        References
        ----------
        Eurachem/CITAC Guide CG 4, QUAM:2012, example A5 and annex E.4.
        """
        one_of(scatter, ("calibration", "pooled", "replicates"), "scatter")
        values, mean, u_mean, nu = mean_signal(signals, self.fitted, scatter)
        factor = _factor(dilution, u_pipetting)
        x = float(self.fitted.inverse(np.asarray(mean)))
        inside = self._judge(x, mean, factor, extrapolate)
        return self._reading(x, values, mean, u_mean, nu, factor, inside)

    def _judge(self, x: float, mean: float, factor: float | UFloat, extrapolate: bool) -> bool:
        """Whether x lies within the standards; refuse where it does not and was not asked for."""
        low, high = self.range
        if not np.isfinite(x):
            raise InputError(
                f"signal {mean:g} {self.unit} lies beyond what the {self.curve} curve can reach",
                f"a signal between {self.signal.min():g} and {self.signal.max():g} {self.unit}, where the standards lie",
                "dilute the sample if the sensor is saturated, check its baseline if the signal is too small",
            )
        inside = low <= x <= high
        slack = 3 * float(np.sqrt(self.fitted.variance(np.asarray(mean))) / abs(self.fitted.slope(np.asarray(low))))
        if inside or extrapolate or (low == 0 and -slack <= x <= 0):
            return inside
        if x > high:
            better = nominal(factor) * x / (0.6 * high)
            advice = f"dilute {better:.2g}-fold altogether, which brings it to about {0.6 * high:.2g} {self.content_unit}"
        else:
            advice = "dilute less, or add standards below it"
        raise InputError(
            f"signal {mean:g} {self.unit} reads {x:.4g} {self.content_unit}, outside the standards "
            f"({low:g} to {high:g} {self.content_unit})",
            "a sample that the sensor sees within the standards",
            f"{advice}; or pass extrapolate=True and accept that the curve is not known there",
        )

    def _reading(self, x: float, values: Floats, mean: float, u_mean: float, nu: float, factor: float | UFloat,
                 inside: bool) -> Reading:
        point = np.asarray(x)
        slope = float(self.fitted.slope(point))
        gradient = self.fitted.curve.gradient(point, self.fitted.values)
        moved = sum(-g / slope * (p - p.nominal_value) for g, p in zip(gradient, self.parameters.values()))
        value = factor * (x + moved + ufloat(0.0, u_mean / abs(slope), tag=REPLICATES))
        scatter = float(self.fitted.curve_variance(point, self.fitted.scatter_covariance))
        scale = (nominal(factor) / slope) ** 2
        own = u_mean**2
        parts = ([(scale * (scatter + own), nu)] if nu == self.degrees_of_freedom
                 else [(scale * scatter, self.degrees_of_freedom), (scale * own, nu)])
        known = value.std_dev**2 - sum(variance for variance, _ in parts)
        parts.append((max(known, 0.0), float("inf")))
        decision = self.limits(replicates=values.size).decision
        return Reading(
            value, x, values, mean, u_mean, nu, factor, inside, effective_degrees_of_freedom(parts),
            decision * nominal(factor), self.fitted, self.range, self.content_unit,
            _reading_remarks(self, x, values, mean, inside, decision),
        )

    def page(self) -> Page:
        """The calibration as a page."""
        curve = CURVES[self.curve]
        lines = [Line(name, value, "", curve.formula if i == 0 else "") for i, (name, value)
                 in enumerate(self.parameters.items())]
        nu = self.degrees_of_freedom
        limits = self.limits()
        lines += [
            Line("scatter about the curve", self.residual_sd, self.unit if self.weights == "equal" else "at unit weight",
                 f"{nu:g} degrees of freedom" if np.isfinite(nu) else "stated by the user"),
            Line("good between", f"{self.range[0]:g} and {self.range[1]:g}", self.content_unit),
            Line("limit of detection", limits.detection, self.content_unit, "one reading, ISO 11843-2"),
            Line("limit of quantification", limits.quantification, self.content_unit, "one reading, DIN 32645, k = 3"),
            Line("R²", f"{self.r_squared:.5f}", "", "says nothing about bending"),
        ]
        heading = f"Calibration, {self.curve}, {self.signal.size} signals of {np.unique(self.ethanol_pct_vol).size} standards"
        return Page(heading, lines, [self.lack_of_fit.verdict, *self.remarks, "± is one standard uncertainty"])


def fit_calibration(
    ethanol_pct_vol: ArrayLike | Sequence[UFloat],
    signal: ArrayLike,
    *,
    curve: str = "line",
    weights: str = "equal",
    u_signal: ArrayLike | None = None,
    u_standards: ArrayLike | None = None,
    direction: str = "rising",
    unit: str = "",
    content_unit: str = "% vol",
) -> Calibration:
    """A calibration curve through standards of known content.

    Parameters
    ----------
    ethanol_pct_vol : array-like of shape (n,)
        Content of each standard [% by volume at 20 °C, or whatever `content_unit` says]. Rows with the same content
        are replicates of the same solution. May hold ufloats: their covariance is then carried through.
    signal : array-like of shape (n,)
        What the sensor showed [unit].
    curve : "line", "quadratic", "power", "logistic4", "logistic3"
    weights : "equal", "proportional", "counts" or "replicates"
        How the scatter grows with the signal: not at all; as the signal; as its square root; or as the replicates
        show, by the law variance = constant² + (relative × signal)².
    u_signal : float or array-like of shape (n,), optional
        Known standard uncertainty of each signal [unit]; the scatter is then not estimated (ISO/TS 28037).
    u_standards : float or array-like of shape (n,), optional
        Standard uncertainty of each standard's content, independent from solution to solution.
    direction : "rising" or "falling"
        A falling signal (the resistance of some sensors) must be asked for.
    unit, content_unit : str
        For the page.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError, FitError

    Examples
    --------
    >>> cal = fit_calibration([0, 2, 4, 6, 8, 10, 12], [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7])
    >>> print(cal.parameters["slope"])
    1.930+/-0.041

    References
    ----------
    ISO 8466-1; ISO/TS 28037:2010; Eurachem/CITAC Guide CG 4, QUAM:2012, example A5.
    """
    one_of(curve, tuple(CURVES), "curve")
    one_of(weights, WEIGHTS, "weights")
    one_of(direction, ("rising", "falling"), "direction")
    standards, y = _standards(ethanol_pct_vol, u_standards), numbers(signal, "signal of the standards")
    x = np.array([nominal(value) for value in standards])
    same_length(ethanol_pct_vol=x, signal=y)
    shape = CURVES[curve]
    _check_standards(x, y, shape)
    u_content = _content_covariance(standards)
    stated = None if u_signal is None else _stated(u_signal, y.size)
    law = _law(weights, x, y, stated)
    fitted, gain, scale = _fit(shape, x, y, law, u_content, stated is not None)
    _check_direction(fitted, x, direction)
    root = _root(fitted.scatter_covariance)
    moves = [value - nominal(value) for value in standards]
    pulls = -gain * fitted.slope(x)
    deviates = [ufloat(0.0, 1.0, tag=SCATTER) for _ in range(root.shape[1])]
    parameters = {
        name: fitted.values[k] + sum(root[k, j] * deviates[j] for j in range(root.shape[1]))
        + sum(pulls[k, i] * moves[i] for i in range(x.size) if uncertainty(moves[i]) > 0)
        for k, name in enumerate(shape.parameters)
    }
    residuals = y - fitted.signal(x)
    return Calibration(
        curve, parameters, float(np.sqrt(scale)), fitted.degrees_of_freedom, x, y,
        weights if stated is None else "stated", unit, content_unit, fitted, float(residuals @ residuals),
    )


def _standards(contents: Any, u_standards: ArrayLike | None) -> list[Any]:
    """Contents as numbers, or as ufloats where they are uncertain; one for each solution."""
    given = list(np.atleast_1d(np.asarray(contents, dtype=object)))
    if any(uncertainty(value) > 0 for value in given):
        if u_standards is not None:
            raise InputError("the standards carry ± and u_standards is given too", "one of the two",
                             "leave out u_standards")
        return given
    x = numbers(contents, "content of the standards")
    if u_standards is None:
        return list(x)
    u = np.broadcast_to(np.asarray(u_standards, dtype=float), x.shape)
    if not (np.all(np.isfinite(u)) and np.all(u >= 0)):
        raise InputError(f"u_standards is {u.min():g}", "standard uncertainties of zero or more", "check the sign")
    largest = {content: float(u[x == content].max()) for content in np.unique(x)}
    solutions = {c: ufloat(c, size, tag=STANDARDS) if size > 0 else float(c) for c, size in largest.items()}
    return [solutions[content] for content in x]


def _check_standards(x: Floats, y: Floats, shape: Curve) -> None:
    """Refuse standards that cannot carry the curve."""
    if (x < 0).any():
        row = int(np.argmax(x < 0))
        raise InputError(f"content of the standards is {x[row]:g} in row {row + 1}", "contents of zero or more",
                         "check the sign and the unit")
    if (x > 100).any():
        row = int(np.argmax(x > 100))
        raise InputError(f"content of the standards is {x[row]:g} in row {row + 1}", "at most 100 % by volume",
                         "convert g/L to % by volume, or mend the entry")
    levels, needed = np.unique(x).size, len(shape.parameters) + 1
    if levels < needed:
        raise InputError(
            f"{levels} different content{'s' * (levels != 1)} among {x.size} standards",
            f"at least {needed} for the {shape.name} curve, so that one is left to judge it by",
            "make up more standards, spread over the range of the samples",
        )
    if np.ptp(y) == 0:
        raise FitError(f"the signal is {y[0]:g} for every standard", "a signal that answers to the content",
                       "check the sensor and its wiring")


def _content_covariance(standards: Sequence[Any]) -> Floats | None:
    uncertain = [i for i, value in enumerate(standards) if uncertainty(value) > 0]
    if not uncertain:
        return None
    full = np.zeros((len(standards), len(standards)))
    full[np.ix_(uncertain, uncertain)] = covariance_matrix([standards[i] for i in uncertain])
    return full


def _stated(u_signal: ArrayLike, count: int) -> Floats:
    u = np.broadcast_to(np.asarray(u_signal, dtype=float), (count,)).copy()
    for value in u:
        positive(float(value), "u_signal")
    return u


def _law(weights: str, x: Floats, y: Floats, stated: Floats | None) -> Law:
    """Variance of a signal, up to a common factor, as a function of the signal."""
    if stated is not None:
        order = np.argsort(y)
        return lambda s: np.interp(s, y[order], stated[order]) ** 2
    if weights == "equal":
        return lambda s: np.ones(np.shape(s))
    floor = 1e-3 * np.abs(y).max()
    if weights == "proportional":
        return lambda s: np.maximum(np.abs(s), floor) ** 2
    if weights == "counts":
        return lambda s: np.maximum(np.abs(s), floor)
    return _replicate_law(x, y)


def _replicate_law(x: Floats, y: Floats) -> Law:
    """constant² + (relative × signal)², by maximum likelihood from the replicates' variances."""
    from scipy.optimize import minimize

    groups = [y[x == content] for content in np.unique(x)]
    groups = [group for group in groups if group.size > 1]
    if len(groups) < 3:
        raise InputError(f"{len(groups)} standards were read more than once", "at least 3, for weights from replicates",
                         "read each standard two or three times, or state u_signal")
    nu = np.array([group.size - 1 for group in groups])
    means, variances = np.array([g.mean() for g in groups]), np.array([g.var(ddof=1) for g in groups])
    pooled, size = float(nu @ variances / nu.sum()), float(np.abs(y).max())
    if pooled == 0:
        raise InputError("the replicates of every standard are alike", "readings that show some scatter",
                         "read with more digits, or take weights='equal'")

    def misfit(log: Floats) -> float:
        law = pooled * (np.exp(2 * log[0]) + np.exp(2 * log[1]) * (means / size) ** 2)
        return float(nu @ (np.log(law) + variances / law))

    starts = ([0.0, -4.0], [-2.0, 0.5], [-0.5, 0.0])
    best = min((minimize(misfit, start, bounds=[(-6, 6), (-6, 6)]) for start in starts), key=lambda r: r.fun).x
    constant, relative = np.exp(2 * best[0]), np.exp(2 * best[1])
    return lambda s: constant + relative * (np.asarray(s) / size) ** 2


def _fit(shape: Curve, x: Floats, y: Floats, law: Law, u_content: Floats | None,
         stated: bool) -> tuple[FittedCurve, Floats, float]:
    """Weighted least squares, the weights renewed from the fitted signals until they settle."""
    nu = float("inf") if stated else float(y.size - len(shape.parameters))
    signals, p, scale = _level_means(x, y), None, 1.0
    for _ in range(60):
        before = p
        shares = law(signals)
        content = None if u_content is None or p is None else _carried(u_content, shape.slope(x, p))
        p = least_squares_fit(shape, x, y, _whitening(shares * scale, content), p)
        residuals = y - shape.signal(x, p)
        if not stated:
            scale = _scale(residuals, shares, content, nu)
        signals = shape.signal(x, p)
        if before is not None and np.allclose(p, before, rtol=1e-12, atol=0):
            break
    content = None if u_content is None else _carried(u_content, shape.slope(x, p))
    whiten = _whitening(law(signals) * scale, content)
    design = whiten(shape.gradient(x, p))
    inverse = np.linalg.pinv(design)
    gain = inverse @ whiten(np.eye(x.size))
    total = inverse @ inverse.T
    scatter = (gain * (law(signals) * scale)) @ gain.T
    fitted = FittedCurve(shape, p, total, scatter, lambda s: scale * law(s), nu, x, y, whiten)
    return fitted, gain, scale


def _level_means(x: Floats, y: Floats) -> Floats:
    """Each reading's place is taken by the mean of its level, so that scatter does not weight itself."""
    _, level, counts = np.unique(x, return_inverse=True, return_counts=True)
    return (np.bincount(level, y) / counts)[level]


def _carried(u_content: Floats, slope: Floats) -> Floats:
    return slope[:, None] * u_content * slope[None, :]


def _whitening(variances: Floats, content: Floats | None) -> Callable[[Floats], Floats]:
    if content is None:
        sd = np.sqrt(variances)
        return lambda r: (r.T / sd).T
    root = np.linalg.cholesky(np.diag(variances) + content)
    return lambda r: np.linalg.solve(root, r)


def _scale(residuals: Floats, shares: Floats, content: Floats | None, nu: float) -> float:
    """Variance at unit weight such that the weighted sum of squares is as large as its degrees of freedom.

    Where the standards are uncertain too, their part is counted first (Mandel & Paule 1970, Anal. Chem. 42, 1194).
    """
    plain = float(residuals @ (residuals / shares) / nu)
    if content is None:
        return max(plain, 1e-300)

    def excess(log: float) -> float:
        white = np.linalg.solve(np.diag(shares * np.exp(log)) + content, residuals)
        return float(residuals @ white - nu)

    top, low = np.log(plain) + 1.0, np.log(plain) - 12.0
    if excess(low) <= 0:
        return float(np.exp(low))
    return float(np.exp(brentq(excess, low, top, xtol=1e-13)))


def _root(covariance: Floats) -> Floats:
    """A matrix whose product with its transpose is the covariance."""
    values, vectors = np.linalg.eigh(covariance)
    found: Floats = vectors * np.sqrt(np.maximum(values, 0.0))
    return found


def _check_direction(fitted: FittedCurve, x: Floats, direction: str) -> None:
    low, high = float(x.min()), float(x.max())
    grid = np.linspace(low, high, 201)[1:]
    steps = np.sign(np.diff(fitted.signal(grid)))
    if steps.min() < 0 < steps.max():
        turn = grid[1:][steps != steps[0]][0]
        raise FitError(
            f"the fitted {fitted.curve.name} curve turns round at {turn:.3g}, inside the standards ({low:g} to {high:g})",
            "a curve that rises or falls all the way, so that each signal means one content",
            "leave out the standards beyond the turn, or take curve='logistic4'",
        )
    if direction == "rising" and steps[0] < 0:
        raise InputError(
            f"the signal falls as the content rises (from {fitted.signal(x[np.argmin(x)]):.4g} "
            f"to {fitted.signal(x[np.argmax(x)]):.4g})",
            "a rising curve, unless asked for",
            "check that the columns are not swapped; pass direction='falling' if the signal is meant to fall",
        )


def _factor(dilution: float | UFloat, u_pipetting: float) -> float | UFloat:
    size = nominal(dilution)
    if not (np.isfinite(size) and size > 0):
        raise InputError(f"dilution is {size:g}", "a factor above zero: 10 for one part made up to ten",
                         "divide the total volume by the volume of sample in it")
    if size < 1:
        raise InputError(f"dilution is {size:g}", "how many times the sample was diluted, 1 or more",
                         f"give {1 / size:g} if one part was made up to {1 / size:g}")
    if uncertainty(dilution) > 0 and u_pipetting:
        raise InputError("the dilution carries ± and u_pipetting is given too", "one of the two", "leave out u_pipetting")
    if uncertainty(dilution) > 0:
        return dilution
    return ufloat(size, size * u_pipetting, tag=PIPETTING) if u_pipetting else size


def _reading_remarks(cal: Calibration, x: float, values: Floats, mean: float, inside: bool,
                     decision: float) -> tuple[str, ...]:
    """Doubts, in words."""
    said = []
    if not inside:
        said.append(f"outside the standards ({cal.range[0]:g} to {cal.range[1]:g} {cal.content_unit}): "
                    "the curve is not known there")
    if cal.range[0] == 0 and x < decision:
        said.append(f"not told from a blank: below the decision limit of {decision:.2g} {cal.content_unit} "
                    "(as the sensor sees it)")
    if values.size > 1:
        ratio = float(values.var(ddof=1) / cal.fitted.variance(np.asarray(mean)))
        p = (special.fdtrc(values.size - 1, cal.degrees_of_freedom, ratio) if np.isfinite(cal.degrees_of_freedom)
             else special.chdtrc(values.size - 1, ratio * (values.size - 1)))
        if p < 0.01:
            said.append(f"the replicates scatter {np.sqrt(ratio):.1f} times as much as the standards ({in_words(p)}): "
                        "read the sample again, or pass scatter='replicates'")
    return tuple(said)


def _lack_of_fit(cal: Calibration) -> LackOfFit:
    x, y = cal.ethanol_pct_vol, cal.signal
    shares = cal.fitted.variance(cal.fitted_signal)
    weighted = float(cal.residuals**2 @ (1 / shares))
    levels, count = np.unique(x).size, len(cal.parameters)
    if not np.isfinite(cal.degrees_of_freedom):
        white = cal.fitted.whiten(cal.residuals)
        chi2, nu = float(white @ white), float(y.size - count)
        p = float(special.chdtrc(nu, chi2))
        words = "agree with" if p >= 0.05 else "miss"
        return LackOfFit(chi2, p, (nu, float("inf")), f"the standards {words} the {cal.curve} curve within their stated "
                         f"uncertainty: chi² = {chi2:.3g} on {nu:g}, {in_words(p)}")
    if y.size == levels:
        return LackOfFit(float("nan"), float("nan"), (0.0, 0.0), "no standard was read twice, so a bend that the curve "
                         "misses cannot be told from scatter: read each standard two or three times")
    level_means = _level_means(x, y)
    pure = float((y - level_means) ** 2 @ (1 / shares))
    nu_fit, nu_pure = float(levels - count), float(y.size - levels)
    if pure == 0:
        return LackOfFit(float("nan"), float("nan"), (nu_fit, nu_pure), "the replicates are alike to the last digit, "
                         "so their scatter is not known: read with more digits")
    statistic = (weighted - pure) / nu_fit / (pure / nu_pure)
    p = float(special.fdtrc(nu_fit, nu_pure, max(statistic, 0.0)))
    verdict = (f"the {cal.curve} misses the standards by no more than their replicates scatter" if p >= 0.05 else
               f"the {cal.curve} misses the standards by more than their replicates scatter: try another curve")
    return LackOfFit(statistic, p, (nu_fit, nu_pure), f"{verdict} (F = {statistic:.2f}, {in_words(p)})")


def _limits(cal: Calibration, replicates: int) -> Limits:
    """ISO 11843-2 from the curve's own uncertainty at zero content; DIN 32645 for the limit of quantification."""
    fitted, nu = cal.fitted, cal.degrees_of_freedom
    zero, sign = np.asarray(0.0), 1.0 if fitted.signal(np.asarray(cal.range[1])) > fitted.signal(np.asarray(0.0)) else -1.0
    blank, curve = float(fitted.signal(zero)), float(fitted.curve_variance(zero))

    def u_at(signal: float) -> float:
        return float(np.sqrt(fitted.variance(np.asarray(signal)) / replicates + curve))

    t = student(nu, 0.90)
    delta = float(special.nctdtrinc(nu, 0.05, t)) if np.isfinite(nu) else 2 * t
    critical = blank + sign * t * u_at(blank)
    seen = critical
    for _ in range(50):
        seen = critical + sign * (delta - t) * u_at(seen)
    decision, detection = (float(fitted.inverse(np.asarray(s))) for s in (critical, seen))
    return Limits(decision, detection, _quantification(cal, replicates, decision), replicates, cal.content_unit)


def _quantification(cal: Calibration, replicates: int, decision: float, k: float = 3.0) -> float:
    """The content that is k times the half-width of its own 95 % interval."""
    fitted, t = cal.fitted, student(cal.degrees_of_freedom)

    def excess(x: float) -> float:
        point = np.asarray(x)
        variance = fitted.variance(fitted.signal(point)) / replicates + fitted.curve_variance(point)
        return float(x * abs(fitted.slope(point)) - k * t * np.sqrt(variance))

    low, high = max(decision, 1e-9 * cal.range[1]), 3 * cal.range[1]
    grid = np.linspace(low, high, 400)
    above = [x for x in grid if excess(x) > 0]
    if not above or not np.isfinite(low):
        return float("nan")
    if above[0] == low:
        return float(low)
    return float(brentq(excess, above[0] - (grid[1] - grid[0]), above[0]))


__all__ = ["Calibration", "LackOfFit", "Limits", "Mapping", "fit_calibration"]
