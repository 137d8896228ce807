"""Several calibrations side by side: before and after the samples, day by day, sensor by sensor."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from scipy import special
from uncertainties import UFloat, ufloat

from fermkit.basis.budget import Act, Budget, budget_of, covariance_of
from fermkit.basis.checks import between
from fermkit.basis.errors import InputError
from fermkit.basis.statistics import effective_degrees_of_freedom, student
from fermkit.basis.written import Line, Page, Written, in_words, nominal, uncertainty
from fermkit.calibration.calibrate import Calibration
from fermkit.calibration.linearity import Judgement
from fermkit.calibration.readback import Reading

DRIFT: Final = Act("sensor drift", "drift of the sensor between the standards")


def same_curve(first: Calibration, second: Calibration) -> Judgement:
    """Are two calibrations of one kind the same curve?

    Notes
    -----
    F = dᵀ C⁻¹ d / p, with d the differences of the p parameters and C their covariance (standards in common count), on
    p and the joint degrees of freedom.

    References
    ----------
    Seber & Wild, Nonlinear Regression, 1989, ch. 5 (Wald's test).
    """
    if first.curve != second.curve:
        raise InputError(
            f"one calibration is a {first.curve}, the other a {second.curve}", "two of one kind", "fit both alike"
        )
    steps = [b - a for a, b in zip(first.parameters.values(), second.parameters.values())]
    d = np.array([nominal(step) for step in steps])
    f = float(d @ np.linalg.solve(covariance_of(steps), d)) / d.size
    nu = first.degrees_of_freedom + second.degrees_of_freedom
    p = float(special.fdtrc(d.size, nu, f) if np.isfinite(nu) else special.chdtrc(d.size, f * d.size))
    words = "the two curves agree" if p >= 0.05 else "the two curves differ"
    return Judgement("Same curve?", f, p, (float(d.size), nu), p >= 0.05, f"{words} (F = {f:.2f}, {in_words(p)})")


@dataclass(frozen=True, repr=False)
class DriftReading(Written):
    """A sample read between two sets of standards.

    Attributes
    ----------
    value : UFloat
        Content of the sample, corrected for drift.
    before, after : Reading
        The same signals on each curve alone.
    share : float
        How far along the time between the two sets the sample was read.
    degrees_of_freedom : float
    """

    value: UFloat
    before: Reading
    after: Reading
    share: float
    degrees_of_freedom: float

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Value ± t·u."""
        half = student(self.degrees_of_freedom, level) * uncertainty(self.value)
        return nominal(self.value) - half, nominal(self.value) + half

    def budget(self) -> Budget:
        """Who owns which share of the uncertainty."""
        return budget_of(self.value, self.before.fitted.content_unit)

    def page(self) -> Page:
        """The reading as a page."""
        unit = self.before.fitted.content_unit
        lines = [
            Line("content of the sample", self.value, unit, limits=self.interval()),
            Line("on the curve before", self.before.value, unit),
            Line("on the curve after", self.after.value, unit),
            Line("read at", f"{self.share:.0%}", "", "of the time between the two"),
        ]
        said = list(dict.fromkeys([*self.before.remarks, *self.after.remarks]))
        return Page("Content, corrected for drift", lines, said, [self.budget().page()])


@dataclass(frozen=True, repr=False)
class Bracket(Written):
    """Standards before and after the samples.

    Attributes
    ----------
    before, after : Calibration
    time_before_h, time_after_h : float or None
        When the two sets were read [h]; None where nobody noted it.
    drift : Judgement
        Whether the two curves differ by more than chance.
    shift : UFloat
        How much more the sensor made of one sample, in the middle of the range, at the end than at the start.
    """

    before: Calibration
    after: Calibration
    time_before_h: float | None
    time_after_h: float | None
    drift: Judgement
    shift: UFloat

    def read(self, signals: ArrayLike, *, time_h: float | None = None, **read: Any) -> DriftReading:
        """The content of a sample read at a time between the two sets of standards.

        Parameters
        ----------
        signals : float or array-like of shape (replicates,)
        time_h : float, optional
            When [h], on the clock of the two sets; the middle is taken where their times are not known.
        **read
            As for `Calibration.read`.

        Returns
        -------
        DriftReading

        Notes
        -----
        value = (1 − w)·before + w·after, w the share of the time gone by. How the sensor went from one to the other
        nobody saw. For any path that goes one way, all at once included, the share of the drift gone by has a standard
        deviation of √(w·(1 − w)) at most (Bhatia & Davis 2000), and that is what is counted.

        References
        ----------
        Bhatia & Davis 2000, Am. Math. Monthly 107, 353; ISO 11095:1996 (standards before and after).
        """
        first = self.before.read(signals, **read)
        second = self.after.read(signals, **read)
        w = self._gone_by(time_h)
        shared = _with_parts_of(second, first)
        doubt = ufloat(0.0, max(np.sqrt(w * (1 - w)), 1e-12), tag=DRIFT)
        value = (1 - w) * first.value + w * shared + (nominal(shared) - nominal(first.value)) * doubt
        return DriftReading(value, first, second, w, _joint(first, second, w, value))

    def _gone_by(self, time_h: float | None) -> float:
        """Share of the time between the two sets."""
        start, end = self.time_before_h, self.time_after_h
        if start is None or end is None:
            return 0.5
        if time_h is None:
            raise InputError(
                f"no time is given for a sample between standards at {start:g} h and {end:g} h",
                "when it was read",
                "pass time_h",
            )
        between(time_h, start, end, "time_h", do="read samples between the two sets of standards")
        return (time_h - start) / (end - start)

    def page(self) -> Page:
        """The drift as a page."""
        unit = self.before.fitted.content_unit
        lines = [
            Line(
                "shift in the middle of the range",
                self.shift,
                unit,
                "what the sensor made of one sample, end less start",
            ),
        ]
        if self.time_after_h is not None and self.time_before_h is not None:
            lines.append(Line("over", self.time_after_h - self.time_before_h, "h"))
        return Page(
            "Standards before and after",
            lines,
            [
                f"{'no drift is shown' if self.drift.passed else 'the sensor drifted'} "
                f"(F = {self.drift.statistic:.2f}, {in_words(self.drift.p)})"
            ],
        )


def _with_parts_of(reading: Reading, model: Reading) -> UFloat:
    """The reading's value, with the sample's own scatter and factor taken from another reading of the same signals."""
    slope = float(reading.fitted.slope(reading.seen))
    shift = sum(
        (-g / slope) * (p - nominal(p))
        for g, p in zip(reading.fitted.gradient(reading.seen), reading.fitted.parameters.values())
    )
    ratio = nominal(reading.factor) / nominal(model.factor)
    scatter = (model.sample.mean - model.sample.level) * (
        uncertainty(reading.sample.mean) / uncertainty(model.sample.mean)
    )
    return ratio * model.factor * (reading.seen + shift + scatter / slope)


def _joint(first: Reading, second: Reading, w: float, value: UFloat) -> float:
    """Effective degrees of freedom: the two curves' scatter, each by its share; the rest is known."""
    parts = [
        (((1 - w) * uncertainty(first.value)) ** 2, first.degrees_of_freedom),
        ((w * uncertainty(second.value)) ** 2, second.degrees_of_freedom),
    ]
    rest = max(uncertainty(value) ** 2 - sum(variance for variance, _ in parts), 0.0)
    return effective_degrees_of_freedom([*parts, (rest, float("inf"))])


def bracket(
    before: Calibration, after: Calibration, *, time_before_h: float | None = None, time_after_h: float | None = None
) -> Bracket:
    """Standards read before and after the samples: find the drift, and correct for it.

    Parameters
    ----------
    before, after : Calibration
        Of one kind, both as `fit_calibration` gives them.
    time_before_h, time_after_h : float, optional
        When they were read [h]; samples then lie anywhere between, if either is left out.

    Returns
    -------
    Bracket
        `drift` says whether the sensor moved; `read(signals, time_h=…)` corrects for it either way, with the
        correction's own uncertainty.

    Examples
    --------
    >>> from fermkit.calibration.calibrate import fit_calibration
    >>> x = [0, 2, 4, 6, 8, 10, 12]
    >>> start = fit_calibration(x, [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7])
    >>> end = fit_calibration(x, [2.9, 6.1, 9.8, 13.7, 18.2, 22.1, 25.6])
    >>> print(bracket(start, end, time_before_h=0, time_after_h=2).drift.verdict)
    the two curves differ (F = 9.81, p = 0.004)

    References
    ----------
    ISO 11095:1996, 6 (control of the calibration by repeated standards); Eurachem/CITAC CG 4, QUAM:2012, 7.
    """
    if time_after_h is not None and time_before_h is not None and not time_after_h > time_before_h:
        raise InputError(
            f"the second set of standards was read at {time_after_h:g} h, the first at {time_before_h:g} h",
            "a second set later than the first",
            "swap them, or mend the times",
        )
    drift = same_curve(before, after)
    low = max(before.range[0], after.range[0])
    high = min(before.range[1], after.range[1])
    if not high > low:
        raise InputError(
            f"the two sets of standards have no contents in common: above {low:g} in one, below {high:g} in the other",
            "two sets over one range",
            "read the same standards again",
        )
    return Bracket(before, after, time_before_h, time_after_h, drift, _shift(before, after, (low + high) / 2))


def _shift(before: Calibration, after: Calibration, content: float) -> UFloat:
    """What the curve before would make of the signal that the sensor gives after."""
    moved = float(after.predict(content) - before.predict(content))
    for sign, cal in ((1.0, after), (-1.0, before)):
        for g, p in zip(cal.fitted.gradient(content), cal.parameters.values()):
            moved = moved + sign * g * (p - nominal(p))
    return moved / float(before.fitted.slope(content))
