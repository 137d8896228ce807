"""One growth curve: its fit, intervals that are true, and what it says about the run."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit import curves, many
from fermkit.checks import not_negative, numbers, one_of, rising, same_length
from fermkit.curves import Shape, shape_named
from fermkit.errors import FitError, InputError
from fermkit.written import Line, Page, Written, nominal

Floats = NDArray[np.float64]
Noise = Literal["independent", "accumulating"]
Quantity = Literal["final_amount", "max_rate", "lag_h", "asymptote"]

QUANTITIES: tuple[Quantity, ...] = ("final_amount", "max_rate", "lag_h", "asymptote")


@dataclass(frozen=True, repr=False)
class GrowthFit(Written):
    """A growth curve fitted to the readings of one run.

    Attributes
    ----------
    final_amount : ufloat
        Asymptote less the curve's value at time zero [unit of the readings].
    max_rate : ufloat
        Slope at the steepest point [unit/h]. On a linear scale: not a specific growth rate.
    lag_h : ufloat
        Where the tangent at the steepest point meets zero [h].
    asymptote : ufloat
        The published curve's own final level [unit of the readings].
    scatter : float
        Standard deviation of a reading (of an increment, for accumulating noise) about the curve.
    dof : float
        Degrees of freedom of the scatter; infinite where it was given.
    """

    curve: str
    noise: str
    unit: str
    counts: str
    final_amount: Any
    max_rate: Any
    lag_h: Any
    asymptote: Any
    scatter: float
    dof: float
    scale_u: float
    time_h: Floats = field(compare=False)
    amount: Floats = field(compare=False)
    shape_parameters: Floats = field(compare=False)
    covariance: Floats = field(compare=False)
    problem: many.Problem = field(compare=False)
    rss: float
    doubts: tuple[str, ...] = ()

    @property
    def shape(self) -> Shape:
        """The family member that was fitted."""
        return shape_named(self.curve)

    def predict(self, time_h: ArrayLike) -> Floats:
        """The fitted curve, in the unit and on the level of the readings.

        Parameters
        ----------
        time_h : array-like
            Time since the start [h].

        Returns
        -------
        numpy.ndarray
            Amount; for accumulating readings the curve is hung on the first reading.
        """
        level = nominal(self.asymptote)
        time = np.atleast_1d(np.asarray(time_h, dtype=float))
        shown = level * _value(self.shape, self.shape_parameters, time)
        if self.noise == "accumulating":
            shown += self.amount[0] - level * _value(self.shape, self.shape_parameters, self.time_h[:1])
        return shown if np.ndim(time_h) else shown[0]

    def interval(
        self,
        quantity: Quantity,
        level: float = 0.95,
        method: Literal["profile", "wald", "bootstrap"] = "profile",
    ) -> tuple[float, float]:
        """Where the true value lies, with the stated confidence.

        Parameters
        ----------
        quantity : "final_amount", "max_rate", "lag_h" or "asymptote"
        level : float
            Confidence, e.g. 0.95.
        method : "profile", "wald" or "bootstrap"

        Returns
        -------
        (float, float)
            Low and high, in the unit of the quantity; an end that these data leave open is infinite.
        """
        from scipy.stats import norm

        one_of(quantity, QUANTITIES, "quantity")
        one_of(method, ("profile", "wald", "bootstrap"), "method")
        value = nominal(getattr(self, quantity))
        low, high = self._wald(quantity, level) if method == "wald" else self._profile(quantity, level)
        common = 0.0 if quantity == "lag_h" else float(norm.ppf(0.5 + level / 2)) * self.scale_u * value
        return float(value - np.hypot(value - low, common)), float(value + np.hypot(high - value, common))

    def _quantile(self, level: float) -> float:
        from scipy.stats import norm, t

        return float(norm.ppf(0.5 + level / 2) if np.isinf(self.dof) else t.ppf(0.5 + level / 2, self.dof))

    def _wald(self, quantity: Quantity, level: float) -> tuple[float, float]:
        row = QUANTITIES.index(quantity)
        value, gradient = _meaning(self.shape, nominal(self.asymptote), self.shape_parameters)
        half = self._quantile(level) * float(np.sqrt(gradient[row] @ self.covariance @ gradient[row]))
        return value[row] - half, value[row] + half

    def _profile(self, quantity: Quantity, level: float) -> tuple[float, float]:
        limits = profile_limits(self, self._quantile(level), [quantity])
        return float(limits[0, 0]), float(limits[0, 1])

    @cached_property
    def lmfit(self) -> Any:
        """The same fit by lmfit, started at this optimum: its full ``ModelResult``."""
        return _by_lmfit(self)

    def page(self) -> Page:
        """The fit as a lab-book page."""
        unit, rate = self.unit, f"{self.unit}/h" if self.unit else "per h"
        lines = [
            Line("final amount", self.final_amount, unit, limits=self.interval("final_amount")),
            Line("largest rate", self.max_rate, rate, limits=self.interval("max_rate")),
            Line("lag", self.lag_h, "h", limits=self.interval("lag_h")),
            Line("asymptote", self.asymptote, unit, "the published curve's own final level"),
            Line("scatter", self.scatter, unit, f"{self.dof:g} degrees of freedom"),
        ]
        remarks = (
            *self.doubts,
            "Final amount: asymptote less the curve's value at time zero. "
            "Lag: where the tangent at the steepest point meets zero. ± is one standard uncertainty.",
            f"Curve: {self.shape.source}.",
        )
        n = self.time_h.size
        what = f" ({self.counts})" if self.counts else ""
        heading = f"Growth curve{what}: {self.shape.title}, {n} readings over {np.ptp(self.time_h):g} h"
        return Page(heading, lines, remarks)


def fit_growth(
    time_h: ArrayLike,
    amount: ArrayLike,
    curve: str = "gompertz",
    noise: Noise = "independent",
    *,
    u: float | ArrayLike | None = None,
    scale_u: float = 0.0,
    loss: Literal["least squares", "robust"] = "least squares",
    unit: str = "",
    counts: str = "",
) -> GrowthFit:
    """Fit a growth curve to what a run has made so far: gas, product, dry mass.

    Parameters
    ----------
    time_h : array-like of shape (n,)
        Time since the start [h], rising.
    amount : array-like of shape (n,)
        Cumulative readings in any linear unit; NaN where a reading is missing.
    curve : "gompertz", "logistic", …
        Which curve; see `fermkit.curves`.
    noise : "independent" or "accumulating"
        Whether each reading has its own error (a scale, a gauge) or each increment has
        (a counter, a collector emptied many times).
    u : float or array-like, optional
        Standard uncertainty of a reading (of an increment), where it is known [unit].
    scale_u : float
        Relative standard uncertainty common to the whole curve [-].
    loss : "least squares" or "robust"
        Robust gives single wild readings little say.
    unit, counts : str
        The unit, and what the amount counts ("produced", "released"); passed through.

    Returns
    -------
    GrowthFit

    Raises
    ------
    InputError
        For readings that cannot be used as they stand.
    FitError
        For readings that cannot carry the curve.

    Examples
    --------
    >>> t = np.linspace(0, 48, 25)
    >>> y = curves.gompertz(t, 600, 40, 6) + 3 * np.cos(40 * t)
    >>> fit = fit_growth(t, y, unit="mL")
    >>> print(f"{fit.lag_h:.2f}")
    6.00+/-0.05

    References
    ----------
    Bates & Watts, Nonlinear Regression Analysis and Its Applications (Wiley 1988), ch. 2 and 6.
    """
    shape = shape_named(curve)
    one_of(noise, ("independent", "accumulating"), "noise")
    one_of(loss, ("least squares", "robust"), "loss")
    not_negative(scale_u, "scale_u")
    time, level = _readings(time_h, amount)
    problem = _problem(time, level, noise, u)
    if problem.amount.shape[1] <= shape.parameters:
        raise FitError(
            f"{time.size} readings for the {shape.parameters} parameters of the {curve} curve",
            f"at least {shape.parameters + 1 + problem.steps} readings",
            "take more readings, or a simpler curve",
        )
    found = many.solve(shape, problem, time[None, :], level[None, :] - (level[0] if problem.steps else 0.0))
    return _wrap(shape, noise, time, level, problem, found, u is not None, scale_u, unit, counts)


def _readings(time_h: ArrayLike, amount: ArrayLike) -> tuple[Floats, Floats]:
    time = numbers(time_h, "time [h]", missing="keep")
    level = numbers(amount, "amount", missing="keep")
    same_length(time=time, amount=level)
    there = np.isfinite(time) & np.isfinite(level)
    if not there.any():
        raise InputError("no reading at all", "some readings with a time and an amount", "check the columns")
    time, level = time[there], level[there]
    rising(time, "time [h]")
    return time, level


def _problem(time: Floats, level: Floats, noise: str, u: float | ArrayLike | None) -> many.Problem:
    steps = noise == "accumulating"
    y = np.diff(level) if steps else level
    weight = None
    if u is not None:
        sd = np.broadcast_to(np.asarray(u, dtype=float), y.shape)
        weight = (1 / sd)[None, :]
        y = y / sd
    return many.Problem(time[None, :], y[None, :], weight, steps)


def _value(shape: Shape, p: Floats, time: Floats) -> Floats:
    extra = (np.exp(p[2]),) if shape.asymmetric else ()
    return shape.value(np.exp(p[0]), p[1], time, *extra)


def _meaning(shape: Shape, level: float, p: Floats) -> tuple[Floats, Floats]:
    """Values of `QUANTITIES`, and their derivatives by (level, shape parameters)."""
    k, lag, slopes = shape.meaning(p[None, :])
    nu = np.exp(p[None, 2:3]) if shape.asymmetric else None
    start = [float(c[0, 0]) for c in shape.slopes(np.exp(p[None, :1]), p[None, 1:2], np.zeros((1, 1)), nu)]
    values = np.array([level * (1 - start[0]), level * k[0], lag[0], level])
    gradient = np.zeros((4, len(p) + 1))
    gradient[:, 0] = 1 - start[0], k[0], 0.0, 1.0
    gradient[0, 1:] = -level * np.array(start[1:])
    gradient[1, 1:] = level * k[0] * slopes[0, 0]
    gradient[2, 1:] = slopes[0, 1]
    return values, gradient


def _wrap(
    shape: Shape,
    noise: str,
    time: Floats,
    level: Floats,
    problem: many.Problem,
    found: many.Found,
    known: bool,
    scale_u: float,
    unit: str,
    counts: str,
) -> GrowthFit:
    from uncertainties import correlated_values, ufloat

    n, p = problem.amount.shape[1], found.p[0]
    dof = n - shape.parameters
    variance = 1.0 if known else float(found.rss[0]) / dof
    covariance = found.covariance()[0] * variance
    values, gradient = _meaning(shape, float(found.level[0]), p)
    spread = gradient @ covariance @ gradient.T
    # rank is one less than size: final amount, asymptote and the shape are tied; uncertainties copes
    final, rate, lag, asymptote = correlated_values(values, spread, tags=["scatter of the readings"] * 4)
    common = ufloat(1.0, scale_u, "common factor of the gas curve") if scale_u else 1.0
    return GrowthFit(
        curve=shape.name,
        noise=noise,
        unit=unit,
        counts=counts,
        final_amount=final * common,
        max_rate=rate * common,
        lag_h=lag,
        asymptote=asymptote * common,
        scatter=float(np.sqrt(found.rss[0] / dof)),
        dof=np.inf if known else float(dof),
        scale_u=scale_u,
        time_h=time,
        amount=level,
        shape_parameters=p,
        covariance=covariance,
        problem=problem,
        rss=float(found.rss[0]),
    )


def profile_limits(fit: GrowthFit, quantile: float, wanted: Sequence[Quantity]) -> Floats:
    """Both ends of the profile-likelihood interval of several quantities, all solved at once."""
    dof = fit.problem.amount.shape[1] - fit.shape.parameters
    variance = 1.0 if np.isinf(fit.dof) else fit.rss / dof
    ends = many.extremes(
        fit.shape,
        fit.shape_parameters,
        nominal(fit.asymptote),
        fit.problem,
        fit.rss + quantile**2 * variance,
        [QUANTITIES.index(w) for w in wanted],
        _meaning,
    )
    return ends


def _by_lmfit(fit: GrowthFit) -> Any:
    import lmfit

    function = getattr(curves, fit.curve)
    values, _ = _meaning(fit.shape, nominal(fit.asymptote), fit.shape_parameters)
    start = dict(zip(("asymptote", "max_rate", "lag_h"), (values[3], values[1], values[2])))
    if fit.shape.asymmetric:
        start["asymmetry"] = float(np.exp(fit.shape_parameters[2]))
    if fit.curve == "baranyi":
        b, t_i = np.exp(fit.shape_parameters[0]), fit.shape_parameters[1]
        start = {"asymptote": values[3], "specific_rate": b, "seed": 1 / (1 + np.exp(b * t_i))}
    weight = None if fit.problem.weight is None else fit.problem.weight[0]
    data = fit.problem.amount[0] if weight is None else fit.problem.amount[0] / weight
    model = lmfit.Model(_stepped(function) if fit.problem.steps else function, independent_vars=["time_h"])
    return model.fit(
        data, model.make_params(**start), weights=weight, time_h=fit.time_h, scale_covar=not np.isinf(fit.dof)
    )


def _stepped(function: Any) -> Any:
    """The increments of a curve between readings, under the curve's own parameter names."""
    from functools import wraps

    @wraps(function)
    def increments(*args: Any, **kwargs: Any) -> Floats:
        return np.diff(function(*args, **kwargs))

    return increments
