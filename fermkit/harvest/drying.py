"""A drying curve through weighings, to forecast when a moisture is reached.

A sample that no longer loses weight has come to rest with its surroundings; a syrup does so while it
still holds water. Only a dry matter from elsewhere (`solids`) tells the two apart.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq, least_squares
from scipy.special import chdtrc, ndtri, stdtrit
from uncertainties import correlated_values

from fermkit.basis.budget import Act
from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import Floats, between, numbers, one_of, positive, rising, same_length
from fermkit.basis.errors import FitError, InputError
from fermkit.basis.statistics import runs_p
from fermkit.basis.written import Line, Page, Written, in_words, interval, nominal, percent, plus_minus, uncertainty

MODELS: Final = ("page", "henderson_pabis")
ENDS: Final = ("fitted", "dry")


@dataclass(frozen=True, repr=False)
class DryingForecast(Written):
    """When a moisture is reached, with an interval that says where it is open."""

    target_g: Any
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
    ``fitted_g`` the curve at them.
    """

    model: str
    end: str
    time_h: Floats
    weight_g: Floats
    fitted_g: Floats
    start_g: Any
    end_g: Any
    k: Any
    n: Any
    dry_g: Any
    scatter_g: float
    degrees_of_freedom: int
    aicc: float
    doubts: tuple[str, ...]
    parameters: Floats
    covariance: Floats
    dry_slope: Floats

    @property
    def end_moisture(self) -> Any:
        """Water per wet weight where the curve comes to rest [g/g]; None without a dry matter."""
        return None if self.dry_g is None else 1.0 - self.dry_g / self.end_g

    def predict(self, time_h: ArrayLike) -> Floats:
        """Weight on the curve [g] at hours after the drying began."""
        return _weight(np.asarray(time_h, dtype=float), self.parameters)

    def band(self, time_h: ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
        """Where the curve itself lies [g], low and high, with this confidence."""
        t = np.asarray(time_h, dtype=float)
        half = self._half_width(t, level)
        return self.predict(t) - half, self.predict(t) + half

    def time_to(self, moisture_wet_basis: float | None = None, *, weight_g: Any = None) -> DryingForecast:
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
            target; an end where it never does is open.

        Raises
        ------
        InputError
            If neither or both are given, or a moisture without a dry matter.
        """
        target, slope = self._target(moisture_wet_basis, weight_g)
        goal = nominal(target)
        if goal >= self.predict(0.0):
            raise InputError(
                f"the weight to reach is {goal:.4g} g and the curve starts at {float(self.predict(0.0)):.4g} g",
                "a target drier than the start",
                "check that the moisture is on the wet basis and the weights are net",
            )
        other_u = 0.0 if moisture_wet_basis is not None else uncertainty(target)

        def miss(t: ArrayLike, side: float) -> Floats:
            half = self._half_width(np.asarray(t, dtype=float), 0.95, slope, other_u)
            return np.asarray(self.predict(t) + side * half - goal)

        low, best, high = (self._crossing(miss, side) for side in (-1.0, 0.0, 1.0))
        return DryingForecast(target, moisture_wet_basis, best, (low, high), self._words(best, high))

    def page(self) -> Page:
        """Lines for the lab book, doubts, cautions."""
        name = {"page": "Page", "henderson_pabis": "Henderson–Pabis"}[self.model]
        lines = [
            Line("start weight", self.start_g, "g"),
            Line("comes to rest at", self.end_g, "g", "fitted" if self.end == "fitted" else "the dry matter"),
            Line("k", self.k, "1/h" if self.model != "page" else "1/h^n"),
        ]
        if self.model == "page":
            lines.append(Line("n", self.n, "", "shape; 1 is a plain exponential"))
        if self.dry_g is not None:
            lines.append(Line("moisture at rest, wet basis", self.end_moisture * 100, "%"))
        lines.append(Line("scatter", self.scatter_g, "g", f"about the curve ({self.degrees_of_freedom} d.f.)"))
        return Page(
            f"Drying curve ({name}), {self.time_h.size} weighings over {self.time_h[-1]:.4g} h",
            lines,
            (*self.doubts, *cautions_for("drying").sentences()),
        )

    def _target(self, moisture: float | None, weight_g: Any) -> tuple[Any, float]:
        """The weight to reach, and how it moves with the dry matter."""
        if (moisture is None) == (weight_g is None):
            raise InputError(
                f"moisture {moisture!r} and weight {weight_g!r}", "one of the two", "give one target, not both"
            )
        if moisture is None:
            return weight_g, 0.0
        between(moisture, 0.0, 0.99, "moisture to reach, wet basis [g/g]", do="give 0.08 for 8 %")
        if self.dry_g is None:
            raise InputError(
                f"a moisture of {moisture:g} to reach without a dry matter",
                "the dry matter of this sample (dry_g)",
                "determine it with solids(), or forecast to a weight_g",
            )
        return self.dry_g / (1.0 - moisture), 1.0 / (1.0 - moisture)

    def _half_width(self, t: Floats, level: float, target_slope: float = 0.0, target_u: float = 0.0) -> Floats:
        """Half of the band of curve minus target, the shared dry matter counted once.

        The scatter brings its degrees of freedom (Student's t), the stated uncertainties are normal.
        """
        J = _slopes(t, self.parameters)
        fitted = np.einsum("...i,ij,...j", J, self.covariance, J)
        stated = ((J @ self.dry_slope - target_slope) * uncertainty(self.dry_g)) ** 2 + target_u**2
        scattered, normal = stdtrit(self.degrees_of_freedom, 0.5 + level / 2), ndtri(0.5 + level / 2)
        return np.asarray(np.sqrt(scattered**2 * fitted + normal**2 * stated))

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
            return "A forecast beyond the last weighing, as good as the curve's shape."
        return "Within the time that was weighed."


def drying_curve(
    time_h: ArrayLike,
    weight_g: ArrayLike,
    *,
    dry_g: Any = None,
    model: str = "page",
    end: str = "fitted",
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
    model : "page" or "henderson_pabis"
        The shape of the curve.
    end : "fitted" or "dry"
        Where it comes to rest: fitted to the weighings, or at the dry matter, within its ± (an assumption that
        makes the forecast earlier; syrups do not keep it).
    began_h : float or None
        When the drying began, on the clock of `time_h` [h]; None: at the first weighing.
    u_weight_g : float
        Standard uncertainty of a weighing, if known [g]: what the curve misses by more is doubted.

    Returns
    -------
    DryingCurve

    Notes
    -----
    Moisture ratio (M − Me)/(M0 − Me) = exp(−k t^n) (Page) or a exp(−k t) (Henderson and Pabis). In weights:
    w = w_end + (w_start − w_end) exp(−k t^n), with the start weight fitted too, so that no single reading
    fixes the scale; with Henderson and Pabis n = 1 and a is the fitted start over the first reading's.
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
    >>> curve = drying_curve(t, w, dry_g=27.2)
    >>> print(curve.end_g)
    29.97+/-0.05

    References
    ----------
    Page, M.S. thesis, Purdue University (1949); Henderson & Pabis, J. Agric. Eng. Res. 6 (1961) 169 (both
    as cited throughout the drying literature; originals not read).
    """
    one_of(model, MODELS, "model")
    one_of(end, ENDS, "end")
    time, weight = _weighings(time_h, weight_g, dry_g, end)
    free = np.array([True, True, True, model == "page"])
    if time.size < free.sum() + 2:
        raise FitError(
            f"{time.size} weighings for {free.sum()} parameters",
            f"at least {free.sum() + 2}",
            "weigh more often, or take model='henderson_pabis'",
        )
    began = float(time[0]) if began_h is None else began_h
    if began > time[0]:
        raise InputError(
            f"a drying that began at {began:g} h and was weighed at {time[0]:g} h",
            "weighings from the beginning on",
            "give began_h on the clock of time_h, or leave out what was weighed before",
        )
    t = time - began
    fit, pull = _fit(t, weight, free, 0.0), 0.0
    scatter = math.sqrt(float(np.sum((weight - _weight(t, fit)) ** 2)) / (t.size - free.sum()))
    if end == "dry":  # the dry matter counts as one more weighing, of the end, with its own ±
        pull = scatter / max(uncertainty(dry_g), 1e-6 * nominal(dry_g))
        fit = _fit(t, weight, free, pull, nominal(dry_g))
    found = _curve(t, weight, fit, free, (scatter, pull), dry_g, model, end)
    return replace(found, doubts=(*found.doubts, *_out_of_step(found, u_weight_g)))


def _weighings(time_h: ArrayLike, weight_g: ArrayLike, dry_g: Any, end: str) -> tuple[Floats, Floats]:
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
    if dry_g is None:
        if end == "dry":
            raise InputError(f"end={end!r} without a dry matter", "dry_g [g]", "give it, or say end='fitted'")
    elif nominal(dry_g) >= weight[0]:
        raise InputError(
            f"the dry matter ({nominal(dry_g):g} g) is not lighter than the wet sample ({weight[0]:g} g)",
            "net weights, and the dry matter of this very sample",
            "take the tare off, or check the dry matter",
        )
    return time, weight


def _weight(t: Floats, parameters: Floats) -> Floats:
    """Weight at hours t; parameters: start, end [g], ln of the time to 1/e, ln n."""
    start, end, log_tau, log_n = parameters
    with np.errstate(over="ignore", under="ignore"):
        left = np.exp(-np.minimum((t / np.exp(log_tau)) ** np.exp(log_n), 700.0))
    return np.asarray(end + (start - end) * left)


def _slopes(t: Floats, parameters: Floats) -> Floats:
    """Derivatives of the weight by each parameter, last axis."""
    start, end, log_tau, log_n = parameters
    n = np.exp(log_n)
    x = np.asarray(t / np.exp(log_tau), dtype=float)
    power = np.minimum(x**n, 700.0)
    left = np.exp(-power)
    by_tau = (start - end) * left * power * n
    log_x = np.log(np.where(x > 0, x, 1.0))
    return np.stack([left, 1.0 - left, by_tau, -(start - end) * left * power * n * log_x], axis=-1)


def _fit(t: Floats, weight: Floats, free: NDArray[np.bool_], pull: float, dry: float = 0.0) -> Floats:
    """Least squares, the end drawn to the dry matter by `pull` (scatter over the dry matter's ±)."""
    lowest = min(weight.min() - 0.02 * np.ptp(weight), dry or np.inf)
    half = np.interp(-(weight[0] + lowest) / 2, -np.minimum.accumulate(weight), t)
    start = np.array([weight[0], lowest, math.log(max(float(half), 1e-3 * t[-1]) / 0.7), 0.0])
    low = np.array([-np.inf, 0.0, math.log(1e-4 * t[-1]), math.log(0.2)])[free]
    high = np.array([np.inf, weight.min() + np.ptp(weight), math.log(1e4 * t[-1]), math.log(5.0)])[free]

    def whole(x: Floats) -> Floats:
        p = start.copy()
        p[free] = x
        return p

    drawn = np.where(np.flatnonzero(free) == 1, pull, 0.0)
    found = least_squares(
        lambda x: np.append(_weight(t, whole(x)) - weight, pull * (whole(x)[1] - dry)),
        np.clip(start[free], low + 1e-9, high - 1e-9),
        jac=lambda x: np.vstack([_slopes(t, whole(x))[:, free], drawn]),
        bounds=(low, high),
        x_scale="jac",
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
    )
    return whole(found.x)


def _curve(
    t: Floats,
    weight: Floats,
    p: Floats,
    free: NDArray[np.bool_],
    spread: tuple[float, float],
    dry_g: Any,
    model: str,
    end: str,
) -> DryingCurve:
    """Uncertainties, doubts and the result."""
    J = _slopes(t, p)[:, free]
    dof = int(t.size - free.sum())
    s2, pull = spread[0] ** 2, spread[1]
    ends = (np.flatnonzero(free) == 1).astype(float)
    inverse = np.linalg.pinv(J.T @ J + pull**2 * np.outer(ends, ends))
    covariance, dry_slope = np.zeros((4, 4)), np.zeros(4)
    covariance[np.ix_(free, free)] = s2 * inverse @ (J.T @ J) @ inverse
    dry_slope[free] = pull**2 * inverse @ ends  # how the fit follows the dry matter
    start_g, end_g, log_tau, log_n = _with_u(p, covariance, free)
    if dry_g is not None and end == "dry":
        shift = dry_g - nominal(dry_g)
        start_g, end_g, log_tau, log_n = (
            v + s * shift for v, s in zip((start_g, end_g, log_tau, log_n), dry_slope, strict=True)
        )
    from uncertainties import umath

    n = umath.exp(log_n) if model == "page" else 1.0
    k = umath.exp(-n * log_tau)
    count = t.size - dof + 1
    rss = float(np.sum((weight - _weight(t, p)) ** 2))
    aicc = t.size * math.log(max(rss, 1e-300) / t.size) + 2 * count
    aicc += 2 * count * (count + 1) / max(t.size - count - 1, 1)
    doubts = _doubts(t, p, covariance, dry_g, end, dof)
    return DryingCurve(
        model, end, t, weight, _weight(t, p), start_g, end_g, k, n, dry_g, math.sqrt(s2), dof, float(aicc),
        doubts, p, covariance, dry_slope,
    )  # fmt: skip


def _with_u(p: Floats, covariance: Floats, free: NDArray[np.bool_]) -> list[Any]:
    values: list[Any] = [float(x) for x in p]
    tags = [Act("drying scatter", "scatter of the weighings while drying")] * int(free.sum())
    fitted = correlated_values(p[free], covariance[np.ix_(free, free)], tags=tags)
    for i, value in zip(np.flatnonzero(free), fitted, strict=True):
        values[i] = value
    return values


def _out_of_step(found: DryingCurve, u_weight_g: float) -> tuple[str, ...]:
    """Whether the curve misses the weighings by more than chance: in runs, or by more than the scale does."""
    p = runs_p(found.weight_g - found.fitted_g)
    times, dof = found.scatter_g / u_weight_g if u_weight_g else 0.0, found.degrees_of_freedom
    wide = float(chdtrc(dof, dof * times**2)) < 0.001
    if p >= 0.01 and not wide:
        return ()
    how = f"by {times:.2g} times the scale's own error" if wide else f"in runs ({in_words(p)})"
    return (
        f"This curve misses the weighings {how}: water went at an even rate at first, perhaps. "
        "Its end and its times are a sketch; weigh to constant weight.",
    )


def _doubts(t: Floats, p: Floats, covariance: Floats, dry_g: Any, end: str, dof: int) -> tuple[str, ...]:
    said = []
    span = p[0] - p[1]
    left = (float(_weight(t[-1:], p)[0]) - p[1]) / span
    if end == "fitted" and left > 0.2:
        said.append(
            f"The curve has not bent enough: {100 * left:.0f} % of the loss is still to come by this fit, so its end "
            "weight rests on the model."
        )
    if dry_g is None:
        return tuple(said)
    u_end = math.hypot(math.sqrt(covariance[1, 1]), uncertainty(dry_g))
    water = p[1] - nominal(dry_g)
    if end == "dry" and abs(water) > 2 * uncertainty(dry_g) > 0:
        said.append(
            f"The weighings come to rest near {p[1]:.4g} g and not at the dry matter of {nominal(dry_g):.4g} g: "
            "say end='fitted', or look at the dry matter again."
        )
    if end == "fitted" and water > float(stdtrit(dof, 0.95)) * u_end and left <= 0.05:
        said.append(
            f"It has all but stopped losing weight and still holds water: {100 * water / p[1]:.3g} % (wet basis) "
            "stay in it under these conditions."
        )
    elif end == "fitted" and water < -float(stdtrit(dof, 0.95)) * u_end:
        said.append("The curve ends below the dry matter: the dry matter, or the tare, is wrong.")
    return tuple(said)
