"""Several dilutions of one sample: do they agree, and what it means if they drift apart."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special
from uncertainties import UFloat

from fermkit.basis.budget import Act, Budget, budget_of, covariance_of
from fermkit.basis.checks import Floats, same_length
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.statistics import student
from fermkit.basis.written import Line, Number, Page, Written, in_words, nominal, uncertainty
from fermkit.calibration.calibrate import Calibration
from fermkit.calibration.linearity import Judgement
from fermkit.calibration.readback import Reading
from fermkit.calibration.standards import signals_of

DISAGREEMENT: Final = Act("disagreeing dilutions", "dilutions that do not agree")

_RISES: Final = (
    "the less diluted were read too low, by a sensor near saturation or a matrix that holds ethanol back, or the blank "
    "reads higher than it did with the standards; dilute further, and read a blank in the sample's matrix"
)
_FALLS: Final = (
    "the less diluted were read too high, by sugar or salt that drive ethanol into the vapour, or the blank reads "
    "lower than it did with the standards; make up the standards in the sample's matrix, and read a blank"
)


@dataclass(frozen=True, repr=False)
class DilutionSeries(Written):
    """One sample at several dilutions.

    Attributes
    ----------
    value : UFloat
        Content of the sample: the weighted mean where the dilutions agree. Where they do not, the middle of what
        they say, with an uncertainty that spans it.
    readings : tuple of Reading
        One a dilution, in rising order of dilution.
    dilutions : numpy.ndarray of shape (n,)
    used : numpy.ndarray of bool, shape (n,)
        Those that the sensor saw within the standards.
    agreement, trend : Judgement
        Do they scatter no more than their uncertainty allows; does the content found move with the dilution.
    slope : UFloat
        Change of ln(content found) for each factor e of dilution; NaN with one dilution.
    verdict : str
    """

    value: UFloat
    readings: tuple[Reading, ...]
    dilutions: Floats
    used: NDArray[np.bool_]
    agreement: Judgement
    trend: Judgement
    slope: Number
    verdict: str
    degrees_of_freedom: float

    @property
    def contents(self) -> Floats:
        """Content of the undiluted sample that each dilution gives, for a picture."""
        return np.array([nominal(reading.value) for reading in self.readings])

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Value ± t·u."""
        half = student(self.degrees_of_freedom, level) * uncertainty(self.value)
        return nominal(self.value) - half, nominal(self.value) + half

    def budget(self) -> Budget:
        """Who owns which share of the uncertainty."""
        return budget_of(self.value, self.readings[0].fitted.content_unit)

    def page(self) -> Page:
        """Each dilution, and what they say together."""
        unit = self.readings[0].fitted.content_unit
        lines = [Line("content of the sample", self.value, unit, limits=self.interval())]
        for dilution, reading, used in zip(self.dilutions, self.readings, self.used):
            note = "" if used else "outside the standards, not used"
            lines.append(Line(f"diluted {dilution:g}-fold", reading.value, unit, note))
        return Page(f"Dilution series, {self.dilutions.size} dilutions of one sample", lines, [self.verdict])


def dilution_series(
    calibration: Calibration,
    dilutions: Sequence[float | UFloat],
    signals: Sequence[ArrayLike],
    *,
    temperature_C: Number | None = None,
    **read: Any,
) -> DilutionSeries:
    """Read one sample at several dilutions and see whether they agree.

    Parameters
    ----------
    calibration : Calibration
    dilutions : sequence of float or UFloat, shape (n,)
        How many times each was diluted.
    signals : sequence of (float or array-like)
        The replicate signals at each dilution.
    temperature_C : float or UFloat, or a sequence of shape (n,), optional
        Of all, or of each as it was read [°C].
    **read
        As for `Calibration.read`, the same for all: `unit`, …

    Returns
    -------
    DilutionSeries

    Notes
    -----
    With C the covariance of the logarithms of the contents found (the curve in common, the dilutions
    as the caller's ufloats have them): the weighted mean minimises rᵀC⁻¹r, which is held against F on n − 1 degrees
    of freedom; the trend is the slope of ln(content) on ln(dilution) in the same metric, held against t. A test at 1 %
    each: what is called a trend is one.

    Examples
    --------
    >>> from fermkit.calibration.calibrate import fit_calibration
    >>> cal = fit_calibration([0, 2, 4, 6, 8, 10, 12], [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7], unit="mV")
    >>> print(dilution_series(cal, [1, 2, 4], [[21.2, 20.9], [11.4, 11.2], [6.5, 6.2]]).agreement.verdict)
    the dilutions agree within their uncertainty (F = 0.01, p = 0.99)

    References
    ----------
    Eurachem, The Fitness for Purpose of Analytical Methods, 2014, clause 6 (dilution linearity, from memory);
    Aitken 1935, Proc. R. Soc. Edinb. 55, 42 (generalised least squares).
    """
    same_length(dilutions=dilutions, signals=signals)
    if len(dilutions) == 0:
        raise InputError(f"{len(dilutions)} dilutions", "one dilution or more", "give each dilution with its signals")
    order = np.argsort([nominal(dilution) for dilution in dilutions], kind="stable")
    each = temperature_C if isinstance(temperature_C, Sequence) else [temperature_C] * len(dilutions)
    same_length(dilutions=dilutions, temperature_C=each)
    means = [
        float(np.mean(signals_of(signals[i], "signal of the sample"))) for i in order
    ]
    reached = np.isfinite(calibration.fitted.inverse(means))
    readings = tuple(
        calibration.read(signals[i], dilution=dilutions[i], temperature_C=each[i], extrapolate=True, **read)
        for i in order[reached]
    )
    sizes = np.array([nominal(dilutions[i]) for i in order])
    used = np.array([reading.in_range and nominal(reading.value) > 0 for reading in readings])
    if not (used.size and used.any()):
        low, high = calibration.range
        raise InputError(
            f"none of {len(dilutions)} dilutions was seen within the standards ({low:g} to {high:g})",
            "one dilution at least that falls inside",
            f"choose dilutions that bring the sample between {low:g} and {high:g}",
        )
    found = _judged(readings, sizes[reached], used)
    if reached.all():
        return found
    saturated = ", ".join(f"{size:g}-fold" for size in sizes[~reached])
    return replace(found, verdict=f"{found.verdict}. Diluted {saturated}: beyond what the curve reaches, not used")


def _judged(readings: tuple[Reading, ...], dilutions: Floats, used: NDArray[np.bool_]) -> DilutionSeries:
    kept = [reading for reading, use in zip(readings, used) if use]
    nu = min(reading.degrees_of_freedom for reading in kept)
    if len(kept) == 1:
        alone = Judgement(
            "Agreement", float("nan"), float("nan"), (0.0, 0.0), None, "one dilution cannot be held against itself"
        )
        return DilutionSeries(kept[0].value, readings, dilutions, used, alone, alone, float("nan"), alone.verdict, nu)
    values = np.array([nominal(reading.value) for reading in kept])
    relative = [reading.value / nominal(reading.value) for reading in kept]
    covariance = covariance_of(relative)
    agreement, weights = _agreement(values, covariance, nu)
    slope, trend = _trend(np.log(values), np.log(dilutions[used]), relative, covariance, nu)
    mean = sum(w * reading.value for w, reading in zip(weights, kept))
    if agreement.passed and trend.passed:
        return DilutionSeries(mean, readings, dilutions, used, agreement, trend, slope, agreement.verdict, nu)
    half = (values.max() - values.min()) / 2
    doubt = rectangle(-half, half, DISAGREEMENT)
    value = mean + (values.max() + values.min()) / 2 - nominal(mean) + doubt
    verdict = trend.verdict if not trend.passed else agreement.verdict
    return DilutionSeries(
        value, readings, dilutions, used, agreement, trend, slope,
        f"{verdict}. The value is the middle of what they say, its uncertainty spans them; no mean is taken", nu,
    )  # fmt: skip


def _agreement(values: Floats, covariance: Floats, nu: float) -> tuple[Judgement, Floats]:
    """The weighted mean's weights, and whether the logarithms agree about one content."""
    inverse = np.linalg.inv(covariance)
    ones = np.ones(values.size)
    weights = inverse @ ones / (ones @ inverse @ ones)
    off = np.log(values) - weights @ np.log(values)
    free = float(values.size - 1)
    f = float(off @ inverse @ off) / free
    p = float(special.fdtrc(free, nu, f) if np.isfinite(nu) else special.chdtrc(free, f * free))
    words = "agree within" if p >= 0.01 else "differ by more than"
    verdict = f"the dilutions {words} their uncertainty (F = {f:.2f}, {in_words(p)})"
    return Judgement("Agreement of the dilutions", f, p, (free, nu), p >= 0.01, verdict), weights


def _trend(
    logs: Floats, log_dilutions: Floats, relative: Sequence[UFloat], covariance: Floats, nu: float
) -> tuple[Any, Judgement]:
    """Slope of ln(content found) on ln(dilution), and what its sign means."""
    if np.ptp(log_dilutions) == 0:
        return float("nan"), Judgement("Trend", float("nan"), float("nan"), (0.0, 0.0), True, "one dilution only")
    design = np.column_stack([np.ones(logs.size), log_dilutions])
    inverse = np.linalg.inv(covariance)
    gain = np.linalg.solve(design.T @ inverse @ design, design.T @ inverse)[1]
    slope = float(gain @ logs) + sum(g * (r - nominal(r)) for g, r in zip(gain, relative))
    t = nominal(slope) / uncertainty(slope)
    p = float(2 * (special.stdtr(nu, -abs(t)) if np.isfinite(nu) else special.ndtr(-abs(t))))
    twofold = np.expm1(nominal(slope) * np.log(2))
    if p >= 0.01:
        words = f"the content found does not move with the dilution ({in_words(p)})"
    else:
        moves, cause = ("rises", _RISES) if t > 0 else ("falls", _FALLS)
        step = f"{abs(twofold):.0%} with each doubling of the dilution ({in_words(p)})"
        words = f"the content found {moves} by {step}: {cause}"
    return slope, Judgement("Trend with the dilution", abs(t), p, (1.0, nu), p >= 0.01, words)
