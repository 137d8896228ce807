"""From signals of a sample back to its content, with an interval that counts everything."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Final

import numpy as np
from scipy import special
from scipy.optimize import brentq, least_squares
from uncertainties import UFloat, ufloat

from fermkit.basis.budget import Act, Budget, budget_of
from fermkit.basis.checks import Floats, between, not_negative, one_of
from fermkit.basis.errors import InputError
from fermkit.basis.statistics import effective_degrees_of_freedom, grubbs, student
from fermkit.basis.written import Line, Page, Written, in_words, nominal, plus_minus, uncertainty
from fermkit.calibration.limits import decision_limit
from fermkit.calibration.response import FittedCurve

REPLICATES: Final = Act("replicates", "replicate signals of the sample")
PIPETTING: Final = Act("pipetting", "pipetting the dilution")


@dataclass(frozen=True)
class SampleSignal:
    """Replicate signals of one sample: their mean as a ufloat, and what it rests on."""

    values: Floats
    mean: UFloat

    @property
    def level(self) -> float:
        """The mean signal as a bare number."""
        return nominal(self.mean)


@dataclass(frozen=True, repr=False)
class Reading(Written):
    """One sample, read back.

    Attributes
    ----------
    value : UFloat
        Content of the undiluted sample [the standards' unit], correlated with every other reading of the
        same calibration and with the caller's own dilution and standards.
    seen : float
        Content of what the sensor saw.
    sample : SampleSignal
        The replicates and their mean [signal unit].
    factor : float or UFloat
        What `seen` was multiplied by: dilution, and correction for temperature.
    in_range : bool
        Whether `seen` lies between the lowest and the highest standard.
    degrees_of_freedom : float
        Effective (Welch–Satterthwaite).
    remarks : tuple of str
        Doubts, in words.
    """

    value: UFloat
    seen: float
    sample: SampleSignal
    factor: float | UFloat
    in_range: bool
    degrees_of_freedom: float
    remarks: tuple[str, ...]
    fitted: FittedCurve = field(compare=False)

    def interval(self, level: float = 0.95, *, method: str = "best") -> tuple[float, float]:
        """Where the content lies, at the given level of confidence.

        Parameters
        ----------
        level : float
            0.95 for 95 %.
        method : "best", "fieller", "profile" or "student"
            "fieller": all contents whose predicted signal agrees with the one read; exact for a straight line
            with equal scatter. "profile": the same, with the curve refitted at each candidate content.
            "student": value ± t·u. "best" takes Fieller for curves that are linear in
            their parameters and the profile for the others.

        Returns
        -------
        (low, high)
            Infinite on a side where these data set no limit.

        References
        ----------
        Fieller 1954, J. R. Stat. Soc. B 16, 175; Venzon & Moolgavkar 1988, Appl. Stat. 37, 87; JCGM 100:2008,
        G.4.
        """
        between(level, 0.5, 0.9999, "level", do="give 0.95 for 95 %")
        one_of(method, ("best", "fieller", "profile", "student"), "method")
        t = student(self.degrees_of_freedom, level)
        if method == "student":
            half = t * uncertainty(self.value)
            return nominal(self.value) - half, nominal(self.value) + half
        misfit = fieller_misfit(self)
        if method == "profile" or (method == "best" and not self.fitted.curve.linear):
            profile = profile_misfit(self)
            if abs(profile(nominal(self.value))) < 0.01:  # the refit comes back to the fit: it can be trusted
                misfit = profile
        return _walk(self, misfit, t**2)

    def budget(self) -> Budget:
        """Who owns which share of the uncertainty."""
        return budget_of(self.value, self.fitted.content_unit)

    def page(self) -> Page:
        """The reading as a page."""
        unit, nu = self.fitted.content_unit, self.degrees_of_freedom
        factor = "" if nominal(self.factor) == 1 else f"times {plus_minus(self.factor)} for the sample"
        count = self.sample.values.size
        lines = [
            Line("content of the sample", self.value, unit, limits=self.interval()),
            Line("as the sensor saw it", self.seen, unit, factor),
            Line("signal", self.sample.mean, self.fitted.unit, f"mean of {count}" if count > 1 else "one reading"),
            Line("degrees of freedom", f"{nu:.3g}" if nu < 1e3 else "many", "", "effective, Welch–Satterthwaite"),
        ]
        return Page("Content by calibration curve", lines, self.remarks, [self.budget().page()])


def fieller_misfit(reading: Reading) -> Callable[[float], float]:
    """(signal read − signal predicted)² over its variance, as a function of the candidate content."""
    fitted, factor = reading.fitted, nominal(reading.factor)
    own, relative = uncertainty(reading.sample.mean) ** 2, uncertainty(reading.factor) / factor

    def misfit(content: float) -> float:
        x = content / factor
        variance = own + fitted.curve_variance(x) + (fitted.slope(x) * x * relative) ** 2
        return float((reading.sample.level - fitted.signal(x)) ** 2 / variance)

    return misfit


def profile_misfit(reading: Reading) -> Callable[[float], float]:
    """How much the misfit of standards and sample together must rise, were the content this.

    Parameters and factor are refitted at each candidate, in units of their own uncertainty, from where the
    last refit ended.
    """
    fitted, factor, curve = reading.fitted, nominal(reading.factor), reading.fitted.curve
    relative, u = uncertainty(reading.factor) / factor, uncertainty(reading.sample.mean)
    best = float(np.sum(fitted.misfits(fitted.values) ** 2))
    sizes, axes = np.linalg.eigh(fitted.covariance)
    root = axes * np.sqrt(np.maximum(sizes, 0.0))
    last = [np.zeros(sizes.size + 1)]

    def at(content: float, z: Floats) -> tuple[Floats, Floats]:
        return np.asarray(content / (factor * (1 + relative * z[-1]))), fitted.values + root @ z[:-1]

    @cache  # so that a candidate has one misfit, wherever the refit before it ended
    @np.errstate(all="ignore")
    def misfit(content: float) -> float:
        def misfits(z: Floats) -> Floats:
            x, p = at(content, z)
            off = (float(curve.signal(x, p)) - reading.sample.level) / u
            return np.concatenate([fitted.misfits(p), [off, z[-1]]])

        def slopes(z: Floats) -> Floats:
            x, p = at(content, z)
            table = np.zeros((fitted.x.size + 2, z.size))
            table[:-2, :-1] = fitted.whiten(curve.gradient(fitted.x, p)) @ root
            table[-2, :-1] = curve.gradient(x, p) @ root / u
            table[-2, -1] = -float(curve.slope(x, p) * x) * relative / (1 + relative * z[-1]) / u
            table[-1, -1] = 1.0
            return table

        found = least_squares(misfits, last[0], slopes, method="lm")
        last[0] = found.x
        return float(2 * found.cost) - best

    return misfit


def _walk(reading: Reading, misfit: Callable[[float], float], threshold: float) -> tuple[float, float]:
    """Step out from the value until the misfit passes the threshold, then close in."""
    centre, u = nominal(reading.value), uncertainty(reading.value)
    floor = -np.inf if reading.fitted.curve.linear else 1e-6 * centre

    def excess(content: float) -> float:
        return misfit(content) - threshold

    def end(side: float) -> float:
        inner = centre
        for step in u * np.sqrt(threshold) * 1.4 ** np.arange(25):
            outer = max(centre + side * step, floor)
            if excess(outer) > 0:
                return float(brentq(excess, inner, outer, xtol=1e-6 * u))
            if outer == floor:
                return 0.0
            inner = outer
        return side * float("inf")

    return end(-1.0), end(1.0)


def sample_signal(signals: Floats, fitted: FittedCurve) -> SampleSignal:
    """Replicates and their mean, which scatter as the standards do."""
    mean = float(signals.mean())
    u = float(np.sqrt(float(fitted.variance(np.asarray(mean))) / signals.size))
    return SampleSignal(signals, ufloat(mean, u, tag=REPLICATES))


def dilution_of(dilution: float | UFloat, u_pipetting: float) -> float | UFloat:
    """The factor of a dilution as a number, or a ufloat where it is uncertain."""
    size = nominal(dilution) if not isinstance(dilution, str) else float("nan")
    if not (np.isfinite(size) and size >= 1):
        good = np.isfinite(size) and size > 0
        raise InputError(
            f"dilution is {dilution}",
            "how many times the sample was diluted: 1 or more, 10 for one part made up to ten",
            f"give {1 / size:g} if one part was made up to {1 / size:g}" if good
            else "divide the total volume by the volume of sample in it",
        )  # fmt: skip
    not_negative(u_pipetting, "u_pipetting")
    if uncertainty(dilution) > 0:
        if u_pipetting:
            raise InputError(
                f"the dilution is {dilution} and u_pipetting {u_pipetting:g} is given too",
                "one of the two",
                "leave out u_pipetting",
            )
        return dilution
    return ufloat(size, size * u_pipetting, tag=PIPETTING) if u_pipetting else size


def read_back(
    fitted: FittedCurve, sample: SampleSignal, factor: float | UFloat, said: Sequence[str], *, extrapolate: bool
) -> Reading:
    """The content that gives a signal, times a factor."""
    x = float(fitted.inverse(sample.level))
    inside = _judge(fitted, x, sample.level, nominal(factor), extrapolate)
    slope = float(fitted.slope(x))
    if not (np.isfinite(slope) and slope != 0):
        raise InputError(
            f"signal {sample.level:g} {fitted.unit} lies where the {fitted.curve.name} curve has no slope",
            "a signal above that of the blank",
            "dilute less, or take another curve",
        )
    shift = sum((-g / slope) * (p - nominal(p)) for g, p in zip(fitted.gradient(x), fitted.parameters.values()))
    value = factor * (x + shift + (sample.mean - sample.level) / slope)
    nu = _degrees_of_freedom(fitted, sample, x, (nominal(factor) / slope) ** 2, value.std_dev**2)
    remarks = [*_doubts(fitted, sample, x, inside), *said]
    return Reading(value, x, sample, factor, inside, nu, tuple(remarks), fitted)


def _judge(fitted: FittedCurve, x: float, signal: float, factor: float, extrapolate: bool) -> bool:
    """Whether x lies within the standards; refused where it does not and was not asked for."""
    (low, high), unit = fitted.range, fitted.content_unit
    if not np.isfinite(x):
        raise InputError(
            f"signal {signal:g} {fitted.unit} lies beyond what the {fitted.curve.name} curve reaches: "
            "no content gives it",
            f"a signal between {fitted.y.min():g} and {fitted.y.max():g} {fitted.unit}, where the standards lie",
            "dilute the sample if the sensor is saturated; check the sensor's zero if the signal is too small",
        )
    if low <= x <= high:
        return True
    blank = low == 0 and signal_at_blank(fitted, signal)
    if extrapolate or blank:
        return False
    if x > high:
        better, target = factor * x / (0.6 * high), 0.6 * high
        advice = f"dilute the sample {better:.2g}-fold altogether: the sensor then sees about {target:.2g} {unit}"
    else:
        advice = "dilute less, or add standards below it"
    raise InputError(
        f"signal {signal:g} {fitted.unit} reads {x:.4g} {unit}, outside the standards ({low:g} to {high:g} {unit})",
        "a sample that the sensor sees within the standards",
        f"{advice}; or pass extrapolate=True and accept that the curve is not known there",
    )


def signal_at_blank(fitted: FittedCurve, signal: float) -> bool:
    """Whether a signal beyond the blank's could be scatter of a blank (three standard uncertainties)."""
    u = float(np.sqrt(fitted.variance(np.asarray(signal)) + fitted.curve_variance(0.0)))
    return abs(signal - float(fitted.signal(0.0))) <= 3 * u


def _degrees_of_freedom(fitted: FittedCurve, sample: SampleSignal, x: float, scale: float, total: float) -> float:
    """Effective ones: scatter of standards and of sample are one estimate."""
    standards = float(fitted.curve_variance(x, fitted.scatter_covariance)) * scale
    own = uncertainty(sample.mean) ** 2 * scale
    rest = max(total - standards - own, 0.0)
    return effective_degrees_of_freedom([(standards + own, fitted.degrees_of_freedom), (rest, float("inf"))])


def _doubts(fitted: FittedCurve, sample: SampleSignal, x: float, inside: bool) -> list[str]:
    (low, high), unit, said = fitted.range, fitted.content_unit, []
    if not inside:
        said.append(f"outside the standards ({low:g} to {high:g} {unit}): the curve is not known there")
    limit = decision_limit(fitted, sample.values.size)
    if low == 0 and x < limit:
        said.append(f"not told from a blank: the sensor sees less than the decision limit of {limit:.2g} {unit}")
    if sample.values.size > 1:
        said += _replicate_doubts(fitted, sample)
    return said


def _replicate_doubts(fitted: FittedCurve, sample: SampleSignal) -> list[str]:
    own, nu = float(sample.values.var(ddof=1)), sample.values.size - 1
    ratio, nu_cal = own / float(fitted.variance(np.asarray(sample.level))), fitted.degrees_of_freedom
    p = special.fdtrc(nu, nu_cal, ratio) if np.isfinite(nu_cal) else special.chdtrc(nu, ratio * nu)
    said = []
    if p < 0.01:
        said.append(
            f"the replicates scatter {np.sqrt(ratio):.1f} times as much as the standards ({in_words(p)}): "
            "read the sample again"
        )
    far = np.max(np.abs(sample.values - sample.values.mean())) / float(
        np.sqrt(fitted.variance(np.asarray(sample.level)))
    )
    if sample.values.size > 2 and far > 3:  # two equal readings of three, by the display's rounding, are no outlier
        row, g, chance = grubbs(sample.values)
        if chance < 0.01:
            said.append(
                f"{sample.values[row]:g} stands apart from the other replicates (Grubbs' G = {g:.2f}, "
                f"{in_words(chance)})"
            )
    return said
