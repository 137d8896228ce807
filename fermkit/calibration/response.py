"""How a sensor answers: curves of signal against content, each with its inverse, and their fit.

Plain arithmetic on floats and arrays; `calibration` and `readback` give it names and intervals.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from uncertainties import UFloat

from fermkit.basis.checks import Floats
from fermkit.basis.errors import FitError

_QUIET = np.errstate(all="ignore")
"""Curves at zero content, beyond an asymptote or under a trial parameter: inf and NaN there are the answer."""


@dataclass(frozen=True)
class Curve:
    """One shape: signal, its slope against content, its gradient against the parameters, its inverse.

    Attributes
    ----------
    name, formula, source : str
        As printed on the page.
    parameters : tuple of str
        In the order in which the functions take them.
    linear : bool
        Linear in its parameters, so that one solve fits it.
    signal, slope, gradient, inverse, start : callable
        ``signal(x, p)``, ``slope(x, p)`` (signal per unit content), ``gradient(x, p)`` of shape
        (n, parameters), ``inverse(y, p)`` (NaN where no content gives that signal),
        ``start(x, y)`` a first guess.
    """

    name: str
    formula: str
    source: str
    parameters: tuple[str, ...]
    linear: bool
    signal: Callable[[Floats, Floats], Floats]
    slope: Callable[[Floats, Floats], Floats]
    gradient: Callable[[Floats, Floats], Floats]
    inverse: Callable[[Floats, Floats], Floats]
    start: Callable[[Floats, Floats], Floats]

    def __reduce__(self) -> tuple[Callable[[str], "Curve"], tuple[str]]:
        return _curve, (self.name,)  # its functions cannot be packed; the name says which it is


def _curve(name: str) -> Curve:
    return CURVES[name]


LINE = Curve(
    "line",
    "intercept + slope × ethanol",
    "ISO 8466-1; Draper & Smith, Applied Regression Analysis, ch. 1",
    ("intercept", "slope"),
    True,
    lambda x, p: p[0] + p[1] * x,
    lambda x, p: np.full(np.shape(x), p[1]),
    lambda x, p: np.stack([np.ones_like(x), x], axis=-1),
    lambda y, p: (y - p[0]) / p[1],
    lambda x, y: np.polyfit(x, y, 1)[::-1],
)


@_QUIET
def _quadratic_inverse(y: Floats, p: Floats) -> Floats:
    """The root on the branch that passes the first standards: 2c / (b + √(b² − 4ac)), safe as a → 0."""
    below = p[0] - y
    under_root = p[1] ** 2 - 4 * p[2] * below
    root: Floats = -2 * below / (p[1] + np.sign(p[1]) * np.sqrt(under_root))
    return root


QUADRATIC = Curve(
    "quadratic",
    "intercept + slope × ethanol + bend × ethanol²",
    "ISO 8466-2; Draper & Smith, Applied Regression Analysis, ch. 12",
    ("intercept", "slope", "bend"),
    True,
    lambda x, p: p[0] + x * (p[1] + x * p[2]),
    lambda x, p: p[1] + 2 * p[2] * x,
    lambda x, p: np.stack([np.ones_like(x), x, x * x], axis=-1),
    _quadratic_inverse,
    lambda x, y: np.polyfit(x, y, 2)[::-1],
)


@_QUIET
def _power_gradient(x: Floats, p: Floats) -> Floats:
    raised = _power(x, p[1])
    return np.stack([raised, p[0] * raised * np.log(np.where(x > 0, x, 1.0))], axis=-1)


@_QUIET
def _power(x: Floats, exponent: float) -> Floats:
    return np.where(x > 0, np.power(np.maximum(x, 1e-300), exponent), 0.0)


@_QUIET
def _power_signal(x: Floats, p: Floats) -> Floats:
    return np.asarray(p[0] * _power(x, p[1]))


@_QUIET
def _power_slope(x: Floats, p: Floats) -> Floats:
    """Zero content: infinite for exponents below 1, where the curve starts upright."""
    return np.where(x > 0, p[0] * p[1] * _power(x, p[1] - 1), np.inf if p[1] < 1 else 0.0)


@_QUIET
def _power_inverse(y: Floats, p: Floats) -> Floats:
    """No content gives a signal on the other side of zero."""
    ratio = np.asarray(y / p[0])
    return np.where(ratio >= 0, np.power(np.maximum(ratio, 0.0), 1 / p[1]), np.nan)


def _power_start(x: Floats, y: Floats) -> Floats:
    use = (x > 0) & (np.sign(y) == np.sign(np.median(y)))
    if np.unique(x[use]).size < 2:
        return np.array([np.max(y) / np.max(x), 1.0])
    exponent, log_scale = np.polyfit(np.log(x[use]), np.log(np.abs(y[use])), 1)
    return np.array([np.sign(np.median(y)) * np.exp(log_scale), exponent])


POWER = Curve(
    "power",
    "scale × ethanol^exponent",
    "the response of semiconducting oxide sensors: Yamazoe & Shimanoe 2008, Sens. Actuators B 128, 566",
    ("scale", "exponent"),
    False,
    _power_signal,
    _power_slope,
    _power_gradient,
    _power_inverse,
    _power_start,
)


@_QUIET
def _filled(x: Floats, p: Floats) -> Floats:
    """The share of the rise: 1 / (1 + (middle / x)^steepness)."""
    ratio = np.where(x > 0, np.power(np.maximum(x, 1e-300) / p[1], p[2]), 0.0)
    return np.where(np.isinf(ratio), 1.0, ratio / (1 + ratio))


@_QUIET
def _logistic_gradient(x: Floats, p: Floats) -> Floats:
    share = _filled(x, p)
    turn = p[0] * share * (1 - share)
    log_ratio = np.log(np.where(x > 0, x, p[1]) / p[1])
    return np.stack([share, -turn * p[2] / p[1], turn * log_ratio], axis=-1)


@_QUIET
def _logistic_slope(x: Floats, p: Floats) -> Floats:
    """At zero content flat for a steepness above 1, upright below, like the power law."""
    share = _filled(x, p)
    inside: Floats = p[0] * share * (1 - share) * p[2] / np.where(x > 0, x, np.nan)
    start = p[0] / p[1] if p[2] == 1 else 0.0 if p[2] > 1 else np.inf
    return np.where(x > 0, inside, start)


@_QUIET
def _logistic_inverse(y: Floats, p: Floats) -> Floats:
    """Between nothing and the rise only: beyond an asymptote no content gives that signal."""
    ratio = np.asarray(y / (p[0] - y))
    return np.where(ratio >= 0, p[1] * np.power(np.maximum(ratio, 0.0), 1 / p[2]), np.nan)


def _logistic_start(x: Floats, y: Floats) -> Floats:
    high = y[np.argmax(x)]
    rise = 1.2 * high
    share = y / rise
    use = (x > 0) & (share > 0.01) & (share < 0.99)
    if np.unique(x[use]).size < 2:
        return np.array([rise, float(np.median(x[x > 0])), 1.0])
    steepness, offset = np.polyfit(np.log(x[use]), np.log(share[use] / (1 - share[use])), 1)
    steepness = max(steepness, 0.2)
    return np.array([rise, np.exp(np.clip(-offset / steepness, -20, 20)), steepness])


LOGISTIC3 = Curve(
    "logistic3",
    "rise / (1 + (middle / ethanol)^steepness)",
    "the four-parameter logistic without a blank, for signals above a baseline",
    ("rise", "middle", "steepness"),
    False,
    lambda x, p: p[0] * _filled(x, p),
    _logistic_slope,
    _logistic_gradient,
    _logistic_inverse,
    _logistic_start,
)

_SATURATING = Curve(
    "saturating without blank",
    "rise × ethanol / (middle + ethanol)",
    "",
    ("rise", "middle"),
    False,
    lambda x, p: p[0] * x / (p[1] + x),
    lambda x, p: p[0] * p[1] / (p[1] + x) ** 2,
    lambda x, p: np.stack([x / (p[1] + x), -p[0] * x / (p[1] + x) ** 2], axis=-1),
    _QUIET(lambda y, p: np.where(y / p[0] < 1, p[1] * y / (p[0] - y), np.nan)),
    lambda x, y: np.array([2 * y[np.argmax(x)], np.max(x)]),
)


def _with_blank(core: Curve, name: str, source: str) -> Curve:
    """The same shape above what the sensor shows without any ethanol."""

    def start(x: Floats, y: Floats) -> Floats:
        low, high = y[np.argmin(x)], y[np.argmax(x)]
        blank = float(low) if np.min(x) == 0 else float(low - 0.05 * (high - low))
        return np.concatenate([[blank], core.start(x, y - blank)])

    return Curve(
        name,
        f"blank + {core.formula}",
        source,
        ("blank", *core.parameters),
        False,
        lambda x, p: p[0] + core.signal(x, p[1:]),
        lambda x, p: core.slope(x, p[1:]),
        lambda x, p: np.concatenate([np.ones_like(x)[..., None], core.gradient(x, p[1:])], axis=-1),
        lambda y, p: core.inverse(y - p[0], p[1:]),
        start,
    )


POWER_WITH_BLANK = _with_blank(POWER, "power with blank", POWER.source)
SATURATING = _with_blank(
    _SATURATING, "saturating", "adsorption on a limited number of places: Langmuir 1918, J. Am. Chem. Soc. 40, 1361"
)
LOGISTIC4 = _with_blank(
    LOGISTIC3,
    "logistic4",
    "Rodbard & Frazier 1975, Methods Enzymol. 37, 3; DeLean, Munson & Rodbard 1978, Am. J. Physiol. 235, E97",
)

CURVES = {curve.name: curve for curve in (LINE, QUADRATIC, POWER, POWER_WITH_BLANK, SATURATING, LOGISTIC4, LOGISTIC3)}


@_QUIET
def least_squares_fit(
    curve: Curve, x: Floats, y: Floats, whiten: Callable[[Floats], Floats], start: Floats | None = None
) -> Floats:
    """Parameters with the least sum of squares of whitened residuals.

    Parameters
    ----------
    curve : Curve
    x, y : numpy.ndarray of shape (n,)
        Content and signal of the standards.
    whiten : callable
        Turns residuals, shape (n,) or (n, k), into uncorrelated ones of unit variance.
    start : numpy.ndarray, optional
        Where to begin; the curve's own guess if left out.

    Returns
    -------
    numpy.ndarray of shape (parameters,)

    Raises
    ------
    FitError
        If the search does not settle.

    References
    ----------
    Moré 1978, Lecture Notes in Mathematics 630, 105 (Levenberg–Marquardt, as in MINPACK).
    """
    if curve.linear:
        return np.asarray(np.linalg.lstsq(whiten(curve.gradient(x, x[:0])), whiten(y), rcond=None)[0], dtype=np.float64)
    try:
        found = least_squares(
            lambda p: whiten(curve.signal(x, p) - y),
            curve.start(x, y) if start is None else start,
            lambda p: whiten(curve.gradient(x, p)),
            method="lm",
            x_scale="jac",
            xtol=1e-13,
            ftol=1e-13,
            gtol=1e-13,
            max_nfev=2000,
        )
        settled = bool(found.success and np.all(np.isfinite(found.x)))
    except ValueError:  # the search ran into parameters under which the curve has no value
        settled = False
    if not settled:
        raise FitError(
            f"the {curve.name} curve did not settle on these {x.size} standards",
            "standards that show the curve's bend, at four or more contents",
            "plot the standards, or take a simpler curve: 'line', 'quadratic'",
        )
    return np.asarray(found.x)


@dataclass(frozen=True)
class FittedCurve:
    """A curve through standards, with what its numbers are worth and what surrounded the sensor.

    Attributes
    ----------
    curve : Curve
    values : numpy.ndarray of shape (parameters,)
    parameters : mapping of str to UFloat
        The same, correlated with one another and with the caller's own standards.
    covariance : numpy.ndarray of shape (parameters, parameters)
        From everything: scatter of the signals and contents of the standards.
    scatter_covariance : numpy.ndarray of shape (parameters, parameters)
        The part that comes from the scatter of the signals, whose size was estimated.
    variance : callable
        Variance of one reading at a given signal [signal unit²].
    scale : float
        Variance at unit weight.
    degrees_of_freedom : float
        Behind `scale`; infinite where it was stated rather than estimated.
    x, y : numpy.ndarray of shape (n,)
        The standards: content at the standards' mean temperature, and signal.
    solution : numpy.ndarray of int, shape (n,)
        Which solution each reading belongs to; readings of one solution are replicates.
    given : numpy.ndarray of shape (n,)
        The contents as they were written, whatever the temperature.
    whiten : callable
        Turns residuals of the standards into uncorrelated ones of unit variance.
    unit, content_unit : str
    temperature_C : float or None
        At which the curve holds; None where not recorded.
    """

    curve: Curve
    values: Floats
    parameters: Mapping[str, UFloat]
    covariance: Floats
    scatter_covariance: Floats
    variance: Callable[[Floats], Floats]
    scale: float
    degrees_of_freedom: float
    x: Floats
    y: Floats
    solution: NDArray[np.intp]
    given: Floats
    whiten: Callable[[Floats], Floats]
    unit: str = ""
    content_unit: str = "% vol"
    temperature_C: float | None = None

    @property
    def range(self) -> tuple[float, float]:
        """Lowest and highest standard."""
        return float(self.x.min()), float(self.x.max())

    def signal(self, x: Any) -> Floats:
        """The fitted signal."""
        return self.curve.signal(np.asarray(x, dtype=float), self.values)

    def slope(self, x: Any) -> Floats:
        """Signal per unit of content."""
        return self.curve.slope(np.asarray(x, dtype=float), self.values)

    def inverse(self, y: Any) -> Floats:
        """The content that gives the signal; NaN where none does."""
        return self.curve.inverse(np.asarray(y, dtype=float), self.values)

    def gradient(self, x: Any) -> Floats:
        """The signal's derivative by each parameter."""
        return self.curve.gradient(np.asarray(x, dtype=float), self.values)

    def curve_variance(self, x: Any, covariance: Floats | None = None) -> Floats:
        """Variance of the fitted signal at content x: gᵀ C g."""
        gradient = self.gradient(x)
        used = self.covariance if covariance is None else covariance
        return np.asarray(np.einsum("...i,...i->...", gradient @ used, gradient))

    def misfits(self, p: Floats) -> Floats:
        """Whitened residuals of the standards under other parameters."""
        return self.whiten(self.curve.signal(self.x, p) - self.y)
