"""A long record of single signals to contents in one sweep."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from uncertainties import UFloat

from fermkit.basis.checks import Floats
from fermkit.basis.errors import InputError
from fermkit.basis.statistics import student
from fermkit.basis.written import Line, Page, Written, nominal, uncertainty
from fermkit.calibration.response import FittedCurve

_BLOCK = 32_768
"""Signals worked on at a time, so that they stay in the processor's cache (measured: a third quicker)."""


@dataclass(frozen=True, repr=False)
class ManyReadings(Written):
    """Many single signals read back in one sweep.

    Attributes
    ----------
    value : numpy.ndarray of shape (n,)
        Content of the sample; NaN where no content gives the signal, or no signal was read.
    in_range : numpy.ndarray of bool, shape (n,)
        Whether the sensor saw it within the standards.
    factor : float or UFloat
        What the content seen was multiplied by.
    """

    value: Floats
    in_range: NDArray[np.bool_]
    factor: float | UFloat
    fitted: FittedCurve = field(compare=False)

    @cached_property
    def u(self) -> Floats:
        """Standard uncertainty of each content, worked out when asked for."""
        found = np.empty_like(self.value)
        ends = self.fitted.variance(np.array([self.fitted.y.min(), self.fitted.y.max()]))
        of_block = _line_u if self.fitted.curve.name == "line" and ends[0] == ends[1] else _curve_u
        for part in _blocks(self.value.size):
            of_block(self.fitted, self.value[part], self.factor, found[part])
        return found

    def interval(self, level: float = 0.95) -> tuple[Floats, Floats]:
        """Value ± t·u for each."""
        half = student(self.fitted.degrees_of_freedom, level) * self.u
        return self.value - half, self.value + half

    def page(self) -> Page:
        """How many, and how many cannot be trusted."""
        good = self.value[self.in_range]
        lost = int(np.isnan(self.value).sum())
        lines = [Line("signals", f"{self.value.size}"), Line("within the standards", f"{good.size}")]
        if good.size:
            lines.append(Line("contents within", f"{good.min():.4g} to {good.max():.4g}", self.fitted.content_unit))
        said = [f"{lost} signals have no content: beyond what the curve reaches, or not read"] if lost else []
        return Page("Contents by calibration curve", lines, said)


def read_sweep(fitted: FittedCurve, signals: ArrayLike, factor: float | UFloat) -> ManyReadings:
    """Single signals to contents."""
    try:
        y = np.asarray(signals, dtype=float)
    except (TypeError, ValueError) as problem:
        raise InputError(
            f"the signals hold something that is not a number ({problem})", "one row of numbers", "mend the entry"
        ) from None
    if y.ndim != 1:
        raise InputError(f"signals of shape {y.shape}", "one row of numbers, shape (n,)", "flatten them")
    value, inside = np.empty(y.shape), np.empty(y.shape, dtype=bool)
    low, high = (end * nominal(factor) for end in fitted.range)
    for part in _blocks(y.size):
        _contents(fitted, y[part], nominal(factor), value[part])
        np.greater_equal(value[part], low, out=inside[part])
        inside[part] &= value[part] <= high
    return ManyReadings(value, inside, factor, fitted)


def _contents(fitted: FittedCurve, y: Floats, size: float, out: Floats) -> None:
    """One block of contents; a straight line in place, without arrays in between."""
    if fitted.curve.name == "line":
        intercept, slope = fitted.values
        np.subtract(y, intercept, out=out)
        out *= size / slope
    else:
        np.multiply(fitted.inverse(y), size, out=out)


@np.errstate(all="ignore")
def _curve_u(fitted: FittedCurve, value: Floats, factor: float | UFloat, out: Floats) -> None:
    """One block of standard uncertainties, for any curve and scatter."""
    x = value / nominal(factor)
    variance = (fitted.variance(fitted.signal(x)) + fitted.curve_variance(x)) / fitted.slope(x) ** 2
    np.sqrt(variance * nominal(factor) ** 2 + (x * uncertainty(factor)) ** 2, out=out)


def _line_u(fitted: FittedCurve, value: Floats, factor: float | UFloat, out: Floats) -> None:
    """The same for a straight line with equal scatter: u² is a parabola in the content."""
    size, slope, c = nominal(factor), fitted.values[1], fitted.covariance
    np.multiply(value, c[1, 1] / slope**2 + (uncertainty(factor) / size) ** 2, out=out)
    out += 2 * c[0, 1] * size / slope**2
    out *= value
    out += (c[0, 0] + float(fitted.variance(fitted.y[:1])[0])) * (size / slope) ** 2
    np.sqrt(out, out=out)


def _blocks(count: int) -> list[slice]:
    return [slice(start, start + _BLOCK) for start in range(0, count, _BLOCK)]
