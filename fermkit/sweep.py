"""A long record of single signals to contents in one sweep."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from uncertainties import UFloat

from fermkit.budget import student
from fermkit.checks import numbers
from fermkit.response import FittedCurve
from fermkit.written import Line, Page, Written, nominal, uncertainty

Floats = NDArray[np.float64]


@dataclass(frozen=True, repr=False)
class ManyReadings(Written):
    """Many single signals read back in one sweep.

    Attributes
    ----------
    value, u : numpy.ndarray of shape (n,)
        Content of the sample and its standard uncertainty; NaN where no content gives the signal.
    in_range : numpy.ndarray of bool, shape (n,)
        Whether the sensor saw it within the standards.
    degrees_of_freedom : float
        Of the scatter.
    unit : str
    """

    value: Floats
    u: Floats
    in_range: NDArray[np.bool_]
    degrees_of_freedom: float
    unit: str

    def interval(self, level: float = 0.95) -> tuple[Floats, Floats]:
        """Value ± t·u for each."""
        half = student(self.degrees_of_freedom, level) * self.u
        return self.value - half, self.value + half

    def page(self) -> Page:
        """How many, and how many cannot be trusted."""
        good = self.value[self.in_range]
        lost = int(np.isnan(self.value).sum())
        lines = [Line("signals", f"{self.value.size}"), Line("within the standards", f"{good.size}")]
        if good.size:
            lines.append(Line("contents within", f"{good.min():.4g} to {good.max():.4g}", self.unit))
        said = [f"{lost} signals lie beyond what the curve reaches: no content gives them"] if lost else []
        return Page("Contents by calibration curve", lines, said)


def read_sweep(fitted: FittedCurve, signals: ArrayLike, factor: float | UFloat, block: int = 8192) -> ManyReadings:
    """Single signals to contents, block by block so that each stays in the cache."""
    y = np.ascontiguousarray(signals, dtype=float)
    numbers(y[:1], "signal")
    value, u, inside = np.empty_like(y), np.empty_like(y), np.empty(y.shape, dtype=bool)
    low, high = fitted.range
    size, relative = nominal(factor), uncertainty(factor) / nominal(factor)
    lowest, highest = fitted.variance(np.array([fitted.y.min(), fitted.y.max()]))
    flat = float(lowest) if fitted.curve.name == "line" and lowest == highest else None
    for start in range(0, y.size, block):
        part = slice(start, start + block)
        if flat is None:
            _sweep(fitted, y[part], value[part], u[part], size, relative)
        else:
            _sweep_line(fitted, y[part], value[part], u[part], size, relative, flat)
        np.greater_equal(value[part], low * size, out=inside[part])
        inside[part] &= value[part] <= high * size
    return ManyReadings(value, u, inside, fitted.degrees_of_freedom, fitted.content_unit)


def _sweep_line(
    fitted: FittedCurve, y: Floats, value: Floats, u: Floats, size: float, relative: float, variance: float
) -> None:
    """One block of a straight line with equal scatter: u² is a parabola in the content."""
    (intercept, slope), c = fitted.values, fitted.covariance
    np.subtract(y, intercept, out=value)
    value *= size / slope
    np.multiply(value, c[1, 1] / slope**2 + relative**2, out=u)
    u += 2 * c[0, 1] * size / slope**2
    u *= value
    u += (c[0, 0] + variance) * (size / slope) ** 2
    np.sqrt(u, out=u)


def _sweep(fitted: FittedCurve, y: Floats, value: Floats, u: Floats, size: float, relative: float) -> None:
    """One block of any curve."""
    x = fitted.inverse(y)
    value[:] = size * x
    spread = (fitted.curve_variance(x) + fitted.variance(y)) / fitted.slope(x) ** 2
    u[:] = size * np.sqrt(spread + (x * relative) ** 2)
