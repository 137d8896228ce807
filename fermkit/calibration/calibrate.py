"""Standards to a curve, and the curve read backwards: signals of samples to ethanol."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from uncertainties import UFloat

from fermkit.basis.checks import Floats, one_of
from fermkit.basis.errors import FitError, InputError
from fermkit.basis.statistics import student
from fermkit.basis.written import Line, Page, Written
from fermkit.calibration.limits import Limits, limits_of
from fermkit.calibration.linearity import (
    Judgement,
    Outliers,
    Slip,
    choose_curve,
    even_scatter,
    lack_of_fit,
    mandel_test,
    outliers_of,
    serving_curve,
    slip_of,
    with_or_without_blank,
)
from fermkit.calibration.readback import (
    Reading,
    dilution_of,
    read_back,
    sample_signal,
)
from fermkit.calibration.response import CURVES, FittedCurve
from fermkit.calibration.standards import WEIGHTS, check_direction, contents_of, fit_standards, signals_of
from fermkit.calibration.surroundings import temperature_factor, temperature_said

_SCATTERS = {
    "equal": "the same at every signal",
    "proportional": "grows as the signal",
    "stated": "as stated",
}


@dataclass(frozen=True, repr=False)
class Calibration(Written):
    """A curve through standards, ready to be read backwards.

    Attributes
    ----------
    curve : str
        A name of `response.CURVES`.
    weights : str
        How the scatter was taken to grow with the signal.
    reason : str
        Why this curve, where fermkit chose it.
    fitted : FittedCurve
        The numbers behind everything.
    """

    curve: str
    weights: str
    reason: str
    fitted: FittedCurve = field(compare=False)

    @property
    def parameters(self) -> dict[str, UFloat]:
        """The curve's parameters, correlated with one another and with the caller's own standards."""
        return dict(self.fitted.parameters)

    @property
    def unit(self) -> str:
        """Unit of the signals."""
        return self.fitted.unit

    @property
    def ethanol_pct_vol(self) -> Floats:
        """Contents of the standards, at their mean temperature."""
        return self.fitted.x

    @property
    def signal(self) -> Floats:
        """Signals of the standards."""
        return self.fitted.y

    @property
    def range(self) -> tuple[float, float]:
        """Lowest and highest standard."""
        return self.fitted.range

    @property
    def fitted_signal(self) -> Floats:
        """The curve at the standards."""
        return self.fitted.signal(self.fitted.x)

    @property
    def residuals(self) -> Floats:
        """Signal minus curve [signal unit]."""
        return np.asarray(self.signal - self.fitted_signal)

    @property
    def standardised_residuals(self) -> Floats:
        """Residuals over the scatter of one reading: what a residual plot should show."""
        return np.asarray(self.residuals / np.sqrt(self.fitted.variance(self.fitted_signal)))

    @property
    def residual_sd(self) -> float:
        """Scatter of one signal about the curve [signal unit]; for weighted fits, at unit weight."""
        return float(np.sqrt(self.fitted.scale))

    @property
    def degrees_of_freedom(self) -> float:
        """Behind the scatter; infinite where it was stated."""
        return self.fitted.degrees_of_freedom

    @property
    def r_squared(self) -> float:
        """Share of the signals' variance that follows the curve. Never to be read without `lack_of_fit`."""
        spread = self.signal - self.signal.mean()
        return float(1 - (self.residuals @ self.residuals) / (spread @ spread))

    @cached_property
    def lack_of_fit(self) -> Judgement:
        """Does the curve miss the standards by more than their replicates scatter?"""
        return lack_of_fit(self.fitted)

    @cached_property
    def linearity(self) -> Judgement:
        """Mandel's test: would a quadratic describe the standards better than a straight line?"""
        return mandel_test(self.fitted.x, self.fitted.y)

    @cached_property
    def even_scatter(self) -> Judgement:
        """Is the scatter the same along the curve, once weighted?"""
        return even_scatter(self.fitted)

    @cached_property
    def outliers(self) -> Outliers:
        """Standards that stand apart from the others, or lead the curve."""
        return outliers_of(self.fitted)

    @cached_property
    def slip(self) -> Slip | None:
        """The standard whose content looks mistyped by a factor of ten, if there is one."""
        return slip_of(self.fitted)

    @property
    def limit_of_detection(self) -> float:
        """A content that one reading shows 95 times in 100 (ISO 11843-2)."""
        return self._limits.detection

    @property
    def limit_of_quantification(self) -> float:
        """Where one reading is good to ± a third of itself (DIN 32645, k = 3)."""
        return self._limits.quantification

    @cached_property
    def _limits(self) -> Limits:
        return limits_of(self.fitted)

    def limits(self, *, replicates: int = 1) -> Limits:
        """Decision, detection and quantification limits for the mean of so many readings of a sample."""
        if not (isinstance(replicates, int) and replicates >= 1):
            raise InputError(
                f"replicates is {replicates!r}", "a whole number, 1 or more", "give the number of readings"
            )
        return limits_of(self.fitted, replicates)

    def predict(self, ethanol_pct_vol: ArrayLike) -> Floats:
        """The signal expected at a content."""
        return self.fitted.signal(ethanol_pct_vol)

    def band(self, ethanol_pct_vol: ArrayLike, *, of: str = "curve", level: float = 0.95) -> tuple[Floats, Floats]:
        """Lower and upper signal at each content, for the "curve" itself or for one "reading"."""
        one_of(of, ("curve", "reading"), "of")
        middle, variance = self.fitted.signal(ethanol_pct_vol), self.fitted.curve_variance(ethanol_pct_vol)
        if of == "reading":
            variance = variance + self.fitted.variance(middle)
        half = student(self.degrees_of_freedom, level) * np.sqrt(variance)
        return middle - half, middle + half

    def read(
        self,
        signals: ArrayLike,
        *,
        dilution: float | UFloat = 1.0,
        u_pipetting: float = 0.0,
        temperature_C: float | UFloat | None = None,
        unit: str | None = None,
        extrapolate: bool = False,
    ) -> Reading:
        """The content of one sample from its signals.

        Parameters
        ----------
        signals : float or array-like of shape (replicates,)
            In the standards' signal unit.
        dilution : float or UFloat
            How many times stronger the sample is than what the sensor saw: total over sample.
        u_pipetting : float
            Relative standard uncertainty of the dilution, where `dilution` carries none: 0.01 for 1 %.
        temperature_C : float or UFloat, optional
            Of the sample when it was read [°C].
        unit : str, optional
            Of the signals; refused where it is not the standards'.
        extrapolate : bool
            Give a value outside the standards too, flagged.

        Returns
        -------
        Reading
            `value` ± u in the standards' content unit, `interval()`, `budget()`.

        Raises
        ------
        InputError
            Outside the standards (with the dilution that would help), or where no content gives the signal.

        Notes
        -----
        content = factor · inverse(mean signal); its u² adds up the scatter of the standards, the mean's own, the
        making-up of the standards, the dilution and the temperature, each through its derivative.

        Examples
        --------
        >>> cal = fit_calibration([0, 2, 4, 6, 8, 10, 12], [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7])
        >>> print(cal.read(13.5).value)
        6.21+/-0.24

        References
        ----------
        Eurachem/CITAC Guide CG 4, QUAM:2012, example A5 and annex E.4.
        """
        fitted = self.fitted
        if unit is not None and unit != self.unit:
            raise InputError(
                f"the sample's signals are in {unit!r}, the standards' in {self.unit!r}", "one unit for both",
                "convert one of them",
            )  # fmt: skip
        sample = sample_signal(signals_of(signals, "signal of the sample"), fitted)
        warmth = temperature_factor(temperature_C, fitted.temperature_C)
        said = temperature_said(temperature_C, fitted.temperature_C)
        return read_back(
            fitted, sample, dilution_of(dilution, u_pipetting) * warmth, said, extrapolate=extrapolate
        )

    def page(self) -> Page:
        """The calibration as a page."""
        fitted, limits, nu = self.fitted, self._limits, self.degrees_of_freedom
        lines = [Line(name, value) for name, value in fitted.parameters.items()]
        of = "at unit weight" if self.weights not in ("equal", "stated") else fitted.unit
        if self.weights != "stated":
            lines.append(Line("scatter about the curve", self.residual_sd, of, f"{nu:g} degrees of freedom"))
        low, high = self.range
        lines += [
            Line("good between", f"{low:g} and {high:g}", fitted.content_unit, "the standards"),
            *limits.page().lines,
            Line("R²", f"{self.r_squared:.5f}", "", "says nothing about a bend"),
        ]
        levels = int(fitted.solution.max()) + 1
        heading = f"Calibration, {self.curve}: {fitted.y.size} readings of {levels} standards"
        return Page(heading, lines, self._said())

    def _said(self) -> list[str]:
        curve = CURVES[self.curve]
        said = [f"signal = {curve.formula}; scatter {_SCATTERS[self.weights]}", self.lack_of_fit.verdict]
        said += self._limits.page().remarks
        if self.curve == "line":
            said.append(self.linearity.verdict)
        if self.even_scatter.passed is False:
            said.append(self.even_scatter.verdict)
        if self.reason:
            said.append(self.reason)
        if self.slip is not None:
            said.insert(0, str(self.slip))
        if self.outliers.suspects:
            rows = ", ".join(str(row + 1) for row in self.outliers.suspects)
            said.append(f"row {rows} stands apart: look for a cause before leaving it out")
        weak = self._weak()
        return [*said, *([weak] if weak else []), "± is one standard uncertainty"]

    def _weak(self) -> str:
        """Whether the signal answers to the content at all."""
        if not self.fitted.curve.linear:
            return ""
        low, high = self.range
        step = self.fitted.gradient(high) - self.fitted.gradient(low)
        rise = float(self.fitted.signal(high) - self.fitted.signal(low))
        u = float(np.sqrt(step @ self.fitted.covariance @ step))
        if abs(rise) < student(self.degrees_of_freedom) * u:
            return "the signal is not shown to answer to the content at all: intervals will be open"
        return ""


def fit_calibration(
    ethanol_pct_vol: ArrayLike | Sequence[UFloat],
    signal: ArrayLike,
    *,
    curve: str = "line",
    weights: str = "equal",
    u_signal: ArrayLike | None = None,
    u_standards: ArrayLike | None = None,
    temperature_C: ArrayLike | None = None,
    reference_C: float | None = None,
    direction: str = "rising",
    unit: str = "",
    content_unit: str = "% vol",
) -> Calibration:
    """A calibration curve through standards of known content.

    Parameters
    ----------
    ethanol_pct_vol : array-like of shape (n,)
        Content of each standard [% by volume at 20 °C, or whatever `content_unit` says]. Rows with the same
        content are replicates of one solution. May hold ufloats: their covariance is then carried through.
    signal : array-like of shape (n,)
        What the sensor showed [unit].
    curve : "line", "quadratic", "power", "saturating", "logistic4", "logistic3" or "suggest"
        The curve; "suggest" chooses and says why. "power" stands on a blank where a standard without ethanol was
        read or the others show one; "power with blank" always does.
    weights : "equal" or "proportional"
        How the scatter grows with the signal: not at all, or as the signal.
    u_signal : float or array-like of shape (n,), optional
        Known standard uncertainty of each signal [unit]; the scatter is then stated, not estimated.
    u_standards : float or array-like of shape (n,), optional
        Standard uncertainty of each solution's content, independent from solution to solution. Errors in common
        (one stock, one flask) come in as ufloats.
    temperature_C : float or array-like of shape (n,), optional
        Of each standard when it was read.
    reference_C : float, optional
        Temperature at which the curve shall hold [°C]; the mean of the standards if not given. Curves that are held
        against one another need the same.
    direction : "rising" or "falling"
        A falling signal (the resistance of some sensors) must be asked for.
    unit, content_unit : str
        For the page; `unit` is also held against that of the samples.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError, FitError

    Notes
    -----
    Weighted least squares, weights = 1/variance renewed from the fitted signals; with uncertain contents the
    variance of each residual gains slope² · u². A scatter that is estimated has n − p degrees of freedom.

    Examples
    --------
    >>> cal = fit_calibration([0, 2, 4, 6, 8, 10, 12], [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7])
    >>> cal.parameters["slope"].nominal_value, cal.parameters["slope"].std_dev
    (1.93036, 0.04090)

    References
    ----------
    ISO 8466-1:1990; ISO/TS 28037:2010; Eurachem/CITAC Guide CG 4, QUAM:2012, example A5.
    """
    one_of(curve, (*CURVES, "suggest"), "curve")
    one_of(weights, WEIGHTS, "weights")
    one_of(direction, ("rising", "falling"), "direction")
    contents = contents_of(ethanol_pct_vol, u_standards)
    values = signals_of(signal, "signal of the standards")

    def fit(name: str) -> FittedCurve:
        fitted = fit_standards(
            CURVES[name], contents, values, weights=weights, u_signal=u_signal, temperature_C=temperature_C,
            reference_C=reference_C, units=(unit, content_unit),
        )  # fmt: skip
        check_direction(fitted, direction)
        return fitted

    name, reason = curve, ""
    if curve == "suggest":
        name, reason = choose_curve(fit)
    elif curve == "power":
        name, reason = with_or_without_blank(fit)
    try:
        return Calibration(name, weights if u_signal is None else "stated", reason, fit(name))
    except FitError as problem:
        if curve in ("line", "suggest") or np.ptp(values) == 0:
            raise
        raise FitError(problem.met, problem.needed, f"take curve={serving_curve(fit)!r}: of the curves that settle on "
                       "these standards it misses them least for what it costs") from None  # fmt: skip
