"""A drying curve through weighings, to forecast when a moisture is reached.

Water leaves at an even rate while the surface is wet; then at a rate that falls with the water left. A sample that no
longer loses weight has come to rest with its surroundings; a syrup does so while it still holds water. Only a dry
matter from elsewhere (`solids`) tells the two apart.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq, least_squares
from scipy.special import chdtrc, ndtri, stdtrit
from uncertainties import correlated_values, umath

from fermkit.basis.budget import Act
from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import Floats, between, numbers, one_of, positive, rising, same_length
from fermkit.basis.errors import FitError, InputError
from fermkit.basis.statistics import aicc, runs_p
from fermkit.basis.written import (
    Line,
    Number,
    Page,
    Written,
    in_words,
    interval,
    nominal,
    percent,
    plus_minus,
    uncertainty,
)

USUAL: Final = "two periods"
MODELS: Final[Mapping[str, str]] = {USUAL: "two periods", "page": "Page", "henderson_pabis": "Henderson–Pabis"}
"""The curves and how they are printed; the first is taken unless another one is better."""

BETTER_BY: Final = 2.0
"""How much lower the AICc of another curve must be to be taken in place of the usual one (Burnham & Anderson, Model
Selection and Multimodel Inference, 2002, 2.6: models within 2 have substantial support)."""


@dataclass(frozen=True, repr=False)
class DryingForecast(Written):
    """When a moisture is reached, with an interval that says where it is open."""

    target_g: Number
    moisture_wet_basis: float | None
    time_h: float
    limits_h: tuple[float, float]
    words: str

    def page(self) -> Page:
        """Lines for the lab book."""
        what = "the target weight" if self.moisture_wet_basis is None else percent(self.moisture_wet_basis)
        lines = [Line("weight to reach", self.target_g, "g")]
        lines.append(Line("reached after", self.time_h, "h", interval(*self.limits_h, "h")))
        return Page(f"Forecast: when it is dried to {what}", lines, (self.words,))


@dataclass(frozen=True, repr=False)
class DryingCurve(Written):
    """A drying curve through weighings: start and end weight, speed, shape.

    Time counts from the beginning of the drying. ``time_h``, ``weight_g`` are the readings, for a picture, and
    ``fitted_g`` the curve at them. ``even_h`` is how long water left at an even rate [h], ``rate_g_h`` that rate [g/h]
    (two periods only); ``k`` and ``n`` are Page's, ``n`` is 1 for the other curves and ``k`` then the falling
    period's [1/h]. ``compared`` holds each curve's AICc above that of the best.
    """

    model: str
    time_h: Floats
    weight_g: Floats
    fitted_g: Floats
    start_g: Number
    end_g: Number
    even_h: Number
    rate_g_h: Number
    k: Number
    n: Number
    dry_g: Number
    scatter_g: float
    degrees_of_freedom: int
    aicc: float
    doubts: tuple[str, ...]
    parameters: Floats
    covariance: Floats
    compared: Mapping[str, float] = field(default_factory=dict)

    @property
    def end_moisture(self) -> Any:
        """Water per wet weight where the curve comes to rest [g/g]; None without a dry matter."""
        return None if self.dry_g is None else 1.0 - self.dry_g / self.end_g

    def predict(self, time_h: ArrayLike) -> Floats:
        """Weight on the curve [g] at hours after the drying began."""
        return _weight(self.model, np.asarray(time_h, dtype=float), self.parameters)

    def band(self, time_h: ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
        """Where the curve itself lies [g], low and high, with this confidence."""
        half = self._half_width(np.asarray(time_h, dtype=float), level)
        return self.predict(time_h) - half, self.predict(time_h) + half

    def time_to(self, moisture_wet_basis: float | None = None, *, weight_g: Number | None = None) -> DryingForecast:
        """When it is dried to a moisture (wet basis) or to a weight.

        Parameters
        ----------
        moisture_wet_basis : float
            Water per wet weight to reach [g/g]; needs `dry_g`.
        weight_g : float or ufloat
            Or the weight to reach [g].

        Returns
        -------
        DryingForecast
            Hours after the drying began. The 95 % limits are where the band of the curve crosses the
            target; an end where it never does is open. They count the scatter of the weighings, not the shape of
            the curve: of slabs that dry by Fick's law, forecasts made at two thirds of the way held the truth in
            74 to 91 of 100, those made after it in 95 (`tests/benchmarks/drying_forecast.py`).

        Raises
        ------
        InputError
            If neither or both are given, or a moisture without a dry matter.
        """
        target = self._target(moisture_wet_basis, weight_g)
        goal = nominal(target)
        if goal >= self.predict(0.0):
            raise InputError(
                f"the weight to reach is {goal:.4g} g and the curve starts at {float(self.predict(0.0)):.4g} g",
                "a target drier than the start",
                "check that the moisture is on the wet basis and the weights are net",
            )

        def miss(t: ArrayLike, side: float) -> Floats:
            half = self._half_width(np.asarray(t, dtype=float), 0.95, uncertainty(target))
            return np.asarray(self.predict(t) + side * half - goal)

        low, best, high = (self._crossing(miss, side) for side in (-1.0, 0.0, 1.0))
        return DryingForecast(target, moisture_wet_basis, best, (low, high), self._words(best, high))

    def page(self) -> Page:
        """Lines for the lab book, doubts, cautions."""
        lines = [Line("start weight", self.start_g, "g"), Line("comes to rest at", self.end_g, "g", "fitted")]
        if self.model == "two periods":
            lines.append(Line("even rate at first", self.rate_g_h, "g/h", f"for {plus_minus(self.even_h, 'h')}"))
        lines.append(Line("k", self.k, "1/h" if self.model != "page" else "1/h^n"))
        if self.model == "page":
            lines.append(Line("n", self.n, "", "shape; 1 is a plain exponential"))
        if self.dry_g is not None:
            lines.append(Line("moisture at rest, wet basis", self.end_moisture * 100, "%"))
        lines.append(Line("scatter", self.scatter_g, "g", f"about the curve ({self.degrees_of_freedom} d.f.)"))
        others = [f"{MODELS[name]} {worse:.0f}" for name, worse in self.compared.items() if name != self.model]
        said = [f"AICc above this curve's: {', '.join(others)}."] if others else []
        return Page(
            f"Drying curve ({MODELS[self.model]}), {self.time_h.size} weighings over {self.time_h[-1]:.4g} h",
            lines,
            (*self.doubts, *said, *cautions_for("drying").sentences()),
        )

    def _target(self, moisture: float | None, weight_g: Number) -> Any:
        """The weight to reach."""
        if (moisture is None) == (weight_g is None):
            raise InputError(
                f"moisture {moisture!r} and weight {weight_g!r}", "one of the two", "give one target, not both"
            )
        if moisture is None:
            return weight_g
        between(moisture, 0.0, 0.99, "moisture to reach, wet basis [g/g]", do="give 0.08 for 8 %")
        if self.dry_g is None:
            raise InputError(
                f"a moisture of {moisture:g} to reach without a dry matter",
                "the dry matter of this sample (dry_g)",
                "determine it with solids(), or forecast to a weight_g",
            )
        return self.dry_g / (1.0 - moisture)

    def _half_width(self, t: Floats, level: float, target_u: float = 0.0) -> Floats:
        """Half of the band of curve minus target.

        The scatter brings its degrees of freedom (Student's t), the target's stated ± is normal.
        """
        J = _slopes(self.model, t, self.parameters)
        fitted = np.maximum(np.einsum("...i,ij,...j", J, self.covariance, J), 0.0)
        scattered, normal = stdtrit(self.degrees_of_freedom, 0.5 + level / 2), ndtri(0.5 + level / 2)
        return np.asarray(np.sqrt(scattered**2 * fitted + (normal * target_u) ** 2))

    def _crossing(self, miss: Callable[[ArrayLike, float], Floats], side: float) -> float:
        """First time at which curve + side × band is down at the target; infinite if never."""
        t = np.concatenate(([0.0], np.geomspace(1e-3, 1e3, 400))) * self.time_h[-1]
        down = miss(t, side) <= 0
        if not down.any():
            return math.inf
        i = int(np.argmax(down))
        return 0.0 if i == 0 else float(brentq(miss, t[i - 1], t[i], args=(side,), xtol=1e-6 * t[i]))

    def _words(self, best: float, high: float) -> str:
        if math.isinf(best):
            rest = "" if self.dry_g is None else f" ({percent(self.end_moisture)} moisture)"
            return f"Not by this drying: it comes to rest at {plus_minus(self.end_g, 'g')}{rest}."
        if math.isinf(high):
            return "No upper end: these weighings do not exclude that it comes to rest before. Weigh on."
        if best > self.time_h[-1]:
            return "Beyond the last weighing: as good as the curve's shape. Weigh again before relying on it."
        return "Within the time that was weighed."


def drying_curve(
    time_h: ArrayLike,
    weight_g: ArrayLike,
    *,
    dry_g: Number | None = None,
    model: str = "usual",
    began_h: float | None = None,
    u_weight_g: float = 0.0,
) -> DryingCurve:
    """A drying curve through weighings, to forecast when a moisture is reached.

    Parameters
    ----------
    time_h, weight_g : array-like of shape (n,)
        Hours (rising) and *net* weights [g] in constant drying conditions.
    dry_g : float, ufloat or None
        Dry matter in the sample [g], from `solids`.
    model : "usual", "two periods", "page" or "henderson_pabis"
        The curve; "usual" takes two periods unless another one has an AICc lower by more than `BETTER_BY`.
    began_h : float or None
        When the drying began, on the clock of `time_h` [h]; None: at the first weighing.
    u_weight_g : float
        Standard uncertainty of a weighing, if known [g]: what the curve misses by more is doubted.

    Returns
    -------
    DryingCurve

    Notes
    -----
    In weights, w = w_end + (w_start − w_end)·f(t), start and end fitted:
    two periods: f = 1 − t/(t_c + τ) up to t_c, then τ/(t_c + τ)·exp(−(t − t_c)/τ): an even rate, then one that is
    proportional to the water still to go, without a step between them;
    Page: f = exp(−k t^n); Henderson and Pabis: f = exp(−k t).
    Least squares; standard uncertainties from the scatter about the curve.

    Raises
    ------
    InputError
        Times that go back, a sample that does not lose weight, dry matter heavier than the sample.
    FitError
        Too few weighings.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.array([0, 1, 2, 3, 4, 6, 8, 10.0])
    >>> w = 30 + 70 * np.exp(-0.4 * t**1.1) + 0.05 * np.array([1, -1, 1, 0, -1, 1, -1, 0])
    >>> curve = drying_curve(t, w, dry_g=27.2, model="page")
    >>> print(curve.end_g)
    29.97+/-0.05

    References
    ----------
    Constant-rate and falling-rate periods, the rate falling with the free moisture: Geankoplis, Transport Processes
    and Unit Operations, 3rd ed. 1993, 9.5 to 9.7 (from memory). Page, M.S. thesis, Purdue University (1949);
    Henderson & Pabis, J. Agric. Eng. Res. 6 (1961) 169 (both as cited throughout the drying literature; originals not
    read).
    """
    one_of(model, ("usual", *MODELS), "model")
    time, weight = _weighings(time_h, weight_g, dry_g)
    began = float(time[0]) if began_h is None else began_h
    if began > time[0]:
        raise InputError(
            f"a drying that began at {began:g} h and was weighed at {time[0]:g} h",
            "weighings from the beginning on",
            "give began_h on the clock of time_h, or leave out what was weighed before",
        )
    size = 3 if model in ("henderson_pabis", "usual") else 4
    if time.size < size + 2:
        raise FitError(
            f"{time.size} weighings for {size} parameters",
            f"at least {size + 2}",
            "weigh more often, or take model='henderson_pabis'",
        )
    t, tried = time - began, MODELS if model == "usual" else (model,)
    fits = {name: _fit(name, t, weight) for name in tried if time.size >= _size(name) + 2 or model != "usual"}
    scores = {
        name: aicc(float(np.sum((weight - _weight(name, t, p)) ** 2)), t.size, p.size) for name, p in fits.items()
    }
    best = min(scores, key=lambda name: scores[name])
    chosen = USUAL if USUAL in scores and scores[USUAL] - scores[best] <= BETTER_BY else best
    compared = {name: score - scores[chosen] for name, score in scores.items() if math.isfinite(score)}
    return _curve(chosen, t, weight, fits[chosen], dry_g, u_weight_g, scores[chosen], compared)


def _size(model: str) -> int:
    """Parameters: start, end [g], ln of the falling period's time to 1/e, and the shape (ln n, or t_c [h])."""
    return 3 if model == "henderson_pabis" else 4


def _weighings(time_h: ArrayLike, weight_g: ArrayLike, dry_g: Number) -> tuple[Floats, Floats]:
    time = numbers(time_h, "time [h]", at_least=3)
    weight = numbers(weight_g, "weight [g]", at_least=3)
    same_length(time_h=time, weight_g=weight)
    rising(time, "time [h]")
    positive(float(weight.min()), "weight [g]")
    if weight[-1] >= weight[0]:
        raise InputError(
            f"{weight[0]:g} g at the start and {weight[-1]:g} g at the end",
            "a sample that loses weight while it dries",
            "check the order of the rows, or that the same sample was weighed",
        )
    if dry_g is not None and nominal(dry_g) >= weight[0]:
        raise InputError(
            f"the dry matter ({nominal(dry_g):g} g) is not lighter than the wet sample ({weight[0]:g} g)",
            "net weights, and the dry matter of this very sample",
            "take the tare off, or check the dry matter",
        )
    return time, weight


def _left(model: str, t: Any, shape: Any) -> Floats:
    """Share of the loss that is still to come at hours t."""
    tau = np.exp(shape[0])
    if model == "two periods":
        even = shape[1]
        falling = tau / (even + tau) * np.exp(-np.clip((t - even) / tau, 0.0, 700.0))
        return np.asarray(np.where(t < even, 1.0 - t / (even + tau), falling))
    n = np.exp(shape[1]) if model == "page" else 1.0
    return np.asarray(np.exp(-np.minimum((t / tau) ** n, 700.0)))


def _weight(model: str, t: Floats, parameters: Floats) -> Floats:
    """Weight at hours t."""
    start, end = parameters[:2]
    return np.asarray(end + (start - end) * _left(model, t, parameters[2:]))


def _slopes(model: str, t: Floats, parameters: Floats) -> Floats:
    """Derivatives of the weight by each parameter, last axis: central differences, exact to about 1e-9 of the step."""
    steps = np.diag(1e-5 * np.maximum(np.abs(parameters), 0.1))
    return np.stack(
        [
            (_weight(model, t, parameters + d) - _weight(model, t, parameters - d)) / (2 * d.sum())
            for d in steps[: _size(model)]
        ],
        axis=-1,
    )


def _fit(model: str, t: Floats, weight: Floats) -> Floats:
    """Least squares. Start and end weight enter linearly: a straight line of the weight on the share left, for each
    point of a grid of shapes, finds the valley; the search then goes from its lowest point."""
    last = float(t[-1])
    taus = np.log(np.geomspace(0.01, 10.0, 40) * last)
    # an even rate that lasts past all but two weighings leaves nothing to tell the end by
    grids = {"two periods": np.linspace(0.0, t[-3], 40), "page": np.linspace(math.log(0.2), math.log(5.0), 40)}
    shapes = np.array(np.meshgrid(taus, grids.get(model, [0.0]))).reshape(2, -1, 1)
    left = _left(model, t, shapes)
    off = left - left.mean(axis=1, keepdims=True)
    drop = off @ (weight - weight.mean()) / np.maximum((off**2).sum(axis=1), 1e-30)
    ends = weight.mean() - drop * left.mean(axis=1)
    misfit = ((weight - ends[:, None] - drop[:, None] * left) ** 2).sum(axis=1)
    i = int(np.argmin(np.where(ends >= 0, misfit, np.inf)))
    first = np.array([ends[i] + drop[i], ends[i], *shapes[: _size(model) - 2, i, 0]])
    low = np.array([-np.inf, 0.0, math.log(1e-3 * last), 0.0 if model == "two periods" else math.log(0.2)])
    high = np.array([np.inf, np.inf, math.log(1e3 * last), t[-3] if model == "two periods" else math.log(5.0)])
    size, tight = _size(model), 1e-12
    found = least_squares(
        lambda p: _weight(model, t, p) - weight,
        np.clip(first, low[:size] + 1e-9, high[:size] - 1e-9),
        jac=lambda p: _slopes(model, t, p),
        bounds=(low[:size], high[:size]), x_scale="jac", xtol=tight, ftol=tight, gtol=tight,
    )  # fmt: skip
    return np.asarray(found.x, dtype=np.float64)


def _curve(
    model: str,
    t: Floats,
    weight: Floats,
    p: Floats,
    dry_g: Number,
    u_weight_g: float,
    score: float,
    compared: Mapping[str, float],
) -> DryingCurve:
    """Uncertainties, doubts and the result."""
    fitted, J = _weight(model, t, p), _slopes(model, t, p)
    dof = int(t.size - p.size)
    scatter = math.sqrt(float(np.sum((weight - fitted) ** 2)) / dof)
    covariance = scatter**2 * _inverse(J.T @ J)
    tags = [Act("drying scatter", "scatter of the weighings while drying")] * p.size
    start, end, log_tau, *shape = correlated_values(p, covariance, tags=tags)
    n = umath.exp(shape[0]) if model == "page" else 1.0
    even = shape[0] if model == "two periods" else 0.0
    rate = (start - end) / (even + umath.exp(log_tau)) if model == "two periods" else float("nan")
    doubts = (*_doubts(model, t, p, covariance, dry_g, dof), *_out_of_step(weight - fitted, scatter, dof, u_weight_g))
    return DryingCurve(
        model, t, weight, fitted, start, end, even, rate, umath.exp(-n * log_tau), n, dry_g, scatter, dof, score,
        doubts, p, covariance, dict(compared),
    )  # fmt: skip


def _inverse(information: Floats) -> Floats:
    """Its inverse; what the weighings say nothing about gets a very large variance, never none (as a pseudo-inverse
    would have it)."""
    size = np.sqrt(np.maximum(np.diag(information), 1e-30))
    values, axes = np.linalg.eigh(information / np.outer(size, size))
    return np.asarray((axes / np.maximum(values, 1e-14)) @ axes.T / np.outer(size, size))


def _out_of_step(residuals: Floats, scatter: float, dof: int, u_weight_g: float) -> tuple[str, ...]:
    """Whether the curve misses the weighings by more than chance: in runs, or by more than the scale does."""
    p = runs_p(residuals)
    times = scatter / u_weight_g if u_weight_g else 0.0
    wide = float(chdtrc(dof, dof * times**2)) < 0.001
    if p >= 0.01 and not wide:
        return ()
    how = f"by {times:.2g} times the scale's own error" if wide else f"in runs ({in_words(p)})"
    return (f"This curve misses the weighings {how}. Its end and its times are a sketch; weigh to constant weight.",)


def _doubts(model: str, t: Floats, p: Floats, covariance: Floats, dry_g: Number, dof: int) -> tuple[str, ...]:
    said = []
    left = float(_left(model, t[-1:], p[2:])[0])
    if left > 0.2:
        said.append(
            f"The curve has not bent enough: {100 * left:.0f} % of the loss is still to come by this fit, so its end "
            "weight rests on the model."
        )
    if dry_g is None:
        return tuple(said)
    u_end = math.hypot(math.sqrt(covariance[1, 1]), uncertainty(dry_g))
    water = p[1] - nominal(dry_g)
    if water > float(stdtrit(dof, 0.95)) * u_end and left <= 0.05:
        said.append(
            f"It has all but stopped losing weight and still holds water: {100 * water / p[1]:.3g} % (wet basis) "
            "stay in it under these conditions."
        )
    elif water < -float(stdtrit(dof, 0.95)) * u_end:
        said.append("The curve ends below the dry matter: the dry matter, or the tare, is wrong.")
    return tuple(said)
