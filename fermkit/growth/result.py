"""A fitted growth curve: its intervals, its forecasts, its phases, its page."""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.checks import Floats, between, one_of
from fermkit.basis.statistics import student
from fermkit.basis.written import Line, Number, Page, Written, nominal
from fermkit.growth import confidence
from fermkit.growth.curves import QUANTITIES, Quantity, Shape, shape_named
from fermkit.growth.least_squares import Found, quiet
from fermkit.growth.phases import GasPhases, Timepoint, exponential_window
from fermkit.growth.problem import Problem
from fermkit.growth.residuals import follows
from fermkit.growth.verdicts import UNGIVEN, Verdict


@dataclass(frozen=True, repr=False)
class Forecast(Written):
    """A time read off a fitted curve, with its 95 % interval."""

    what: str
    time_h: Number
    low: float
    high: float

    def page(self) -> Page:
        """The forecast as a lab-book page."""
        return Page(
            "Forecast from the fitted curve",
            [Line(self.what, self.time_h, "h", limits=(self.low, self.high))],
        )


@dataclass(frozen=True)
class Tangent:
    """The tangent at the steepest point of a curve, from the starting level up to the final one.

    Attributes
    ----------
    foot_h : float
        Where it meets the starting level [h]: the lag.
    level, top : float
        Starting and final level [unit of the readings].
    slope : float
        The largest rate [unit/h].
    """

    foot_h: float
    level: float
    slope: float
    top: float

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
        Where the tangent at the steepest point meets the curve's level at time zero [h], for every curve: what a ruler
        on the picture gives. The published lag of a sigmoid is where it meets zero, which lies below that level; it
        is ``lag_h - (asymptote - final_amount) / max_rate``.
    asymptote : ufloat
        The published curve's own final level [unit of the readings].
    scatter : float
        Standard deviation of a reading (of an increment, for accumulating noise) about the curve.
    dof : float
        Degrees of freedom of the scatter; infinite where it was given.
    verdict : Verdict
        "good", or what the readings cannot give; then that number is NaN.
    doubts : tuple of str
        What should be doubted, in words.
    """

    curve: str
    noise: str
    unit: str
    counts: str
    final_amount: Number
    max_rate: Number
    lag_h: Number
    asymptote: Number
    scatter: float
    dof: float
    scale_u: float
    verdict: Verdict
    doubts: tuple[str, ...]
    time_h: Floats = field(compare=False)
    amount: Floats = field(compare=False)
    found: Found = field(compare=False)
    problem: Problem = field(compare=False)
    variance: float = 1.0

    @property
    def shape(self) -> Shape:
        """The member of the family of curves that was fitted."""
        return shape_named(self.curve)

    @cached_property
    def follows(self) -> bool:
        """Whether the curve follows the readings to within their own scatter; if not, its ± say too little."""
        return follows(self.shape, self.problem, self.found, self.time_h, self.amount)

    @property
    def _given(self) -> bool:
        return self.verdict not in UNGIVEN and bool(np.isfinite(self.found.covariance()).all())

    def predict(self, time_h: ArrayLike) -> Any:
        """The fitted curve, in the unit and on the level of the readings.

        Parameters
        ----------
        time_h : float or array-like
            Time since the start [h].

        Returns
        -------
        float or numpy.ndarray
            Amount. For accumulating readings the curve is hung on the first reading.
        """
        time = np.asarray(time_h, dtype=float)
        shown = self._base() + self._curve(np.atleast_1d(time))
        return shown if time.ndim else float(shown[0])

    def band(self, time_h: ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
        """Where the curve itself lies, with this confidence; a new reading scatters about it besides.

        Parameters
        ----------
        time_h : array-like
            Time since the start [h].
        level : float
            Confidence, above 0 and below 1.

        Returns
        -------
        (numpy.ndarray, numpy.ndarray)
            Low and high; infinite where the readings give no curve.

        References
        ----------
        Bates & Watts 1988, ch. 2.3 (linear approximation).
        """
        time = np.atleast_1d(np.asarray(time_h, dtype=float))
        shown = self._base() + self._curve(time)
        if not self._given:
            return np.full(time.shape, -np.inf), np.full(time.shape, np.inf)
        slopes = _along(self.shape, self.found.p, time[None, :])
        if self.noise == "accumulating":
            slopes = slopes - _along(self.shape, self.found.p, self.time_h[None, :1])
        slopes = slopes * float(self.found.level[0])
        variance = np.einsum("jt,jk,kt->t", slopes, self.found.covariance()[0] * self.variance, slopes)
        common = student(np.inf, level) * self.scale_u * shown
        half = np.hypot(student(self.dof, level) * np.sqrt(np.maximum(variance, 0.0)), common)
        return shown - half, shown + half

    def _curve(self, time: Floats) -> Floats:
        p = self.found.p[0]
        extra = (np.exp(p[2]),) if self.shape.asymmetric else ()
        return float(self.found.level[0]) * self.shape.value(np.exp(p[0]), p[1], time, *extra)

    def _base(self) -> float:
        if self.noise == "independent":
            return 0.0
        return float(self.amount[0] - self._curve(self.time_h[:1])[0])

    def interval(self, quantity: Quantity, level: float = 0.95) -> tuple[float, float]:
        """Where the true value lies, with the stated confidence, by profile likelihood.

        Parameters
        ----------
        quantity : "final_amount", "max_rate", "lag_h" or "asymptote"
        level : float
            Confidence, above 0 and below 1.

        Returns
        -------
        (float, float)
            Low and high, in the unit of the quantity; lopsided where the readings are. An end that these readings
            leave open is infinite. The common factor of the curve (`scale_u`) is added at the end.

        References
        ----------
        Bates & Watts 1988, ch. 6.
        """
        one_of(quantity, QUANTITIES, "quantity")
        return self.intervals(level)[quantity]

    def _profiles(
        self, rows: list[int], quantile: float, measure: confidence.Measure | None = None
    ) -> list[tuple[float, float]]:
        """Both ends of several quantities, all solved at once."""
        ends = confidence.extremes(
            self.shape,
            np.tile(self.found.theta(), (2 * len(rows), 1)),
            self.problem,
            np.full(2 * len(rows), quantile**2 * self.variance),
            np.repeat(rows, 2),
            np.tile([-1.0, 1.0], len(rows)),
            measure,
        )
        return [(float(low), float(high)) for low, high in ends.reshape(-1, 2)]

    def intervals(self, level: float = 0.95) -> dict[str, tuple[float, float]]:
        """Profile-likelihood intervals of final amount, largest rate, lag and asymptote, all at once."""
        between(level, 0.001, 0.9999, "level", do="give the confidence as a fraction, e.g. 0.95")
        if not self._given:
            return {name: (-np.inf if name == "lag_h" else 0.0, np.inf) for name in QUANTITIES}
        values = self.shape.quantities(self.found.level, self.found.p)[0][0]
        ends = self._profiles(list(range(len(QUANTITIES))), student(self.dof, level))
        return {
            name: self._with_common_factor(value, *end, level, 0.0 if name == "lag_h" else value)
            for name, value, end in zip(QUANTITIES, map(float, values), ends)
        }

    def _with_common_factor(
        self, value: float, low: float, high: float, level: float, per_factor: float
    ) -> tuple[float, float]:
        common = student(np.inf, level) * self.scale_u * per_factor
        return float(value - np.hypot(value - low, common)), float(value + np.hypot(high - value, common))

    def finish_time_h(self, fraction: float = 0.99) -> Forecast:
        """When the curve will have (or had) made a fraction of its final amount, with an interval.

        Parameters
        ----------
        fraction : float
            Above 0 and below 1.

        Returns
        -------
        Forecast
            `time_h` (value ± u) and the 95 % interval `low` to `high` [h]; the upper end is open where
            the readings have not bent yet.
        """
        between(fraction, 1e-6, 1 - 1e-6, "fraction", do="give a fraction such as 0.99")

        def reached(level: Floats, p: Floats) -> Floats:
            start = self._starts(p)
            return self.shape.when(p, start + fraction * (1 - start))

        return self._time(f"{100 * fraction:g} % of the final amount at", reached)

    def tangent(self) -> Tangent:
        """The line to draw at the steepest point: its foot is the lag, its slope the largest rate."""
        level = float(self.predict(0.0))
        return Tangent(nominal(self.lag_h), level, nominal(self.max_rate), level + nominal(self.final_amount))

    def phases(self) -> GasPhases:
        """The phases of the gas curve: lag, exponential, slowing, stationary, each boundary defined.

        Returns
        -------
        GasPhases
            End of lag and start of the stationary phase with intervals; the exponential window, where the
            readings show one.
        """

        def stationary(level: Floats, p: Floats) -> Floats:
            k, lag, _ = self.shape.meaning(p)
            return lag + 1 / k

        end = self._time("stationary", stationary)
        low, high = self.interval("lag_h")
        window = None
        if self._given:
            found = exponential_window(self.time_h, self.amount, self.noise == "accumulating")
            window = found.window if found is not None and found.doublings > 0.5 else None
        return GasPhases(
            Timepoint(self.lag_h, low, high), window, Timepoint(end.time_h, end.low, end.high), self.doubts
        )

    def _starts(self, p: Floats) -> Floats:
        nu = (np.exp(p[:, 2:3]),) if self.shape.asymmetric else ()
        return self.shape.value(np.exp(p[:, :1]), p[:, 1:2], np.zeros(1), *nu)[:, 0]

    @quiet
    def _time(self, what: str, reached: Any) -> Forecast:
        from uncertainties import ufloat

        measure = confidence.by_differences(reached)
        if not self._given:
            return Forecast(what, ufloat(np.nan, np.nan), float(self.time_h[0]), np.inf)
        (values, slopes) = measure(self.found.level, self.found.p)
        value, slope = float(values[0, 0]), slopes[0, 0]
        if not np.isfinite(value):
            return Forecast(what, ufloat(np.nan, np.nan), float(self.time_h[-1]), np.inf)
        low, high = self._profiles([0], student(self.dof), measure)[0]
        if not np.isfinite(high) and self.verdict is Verdict.OPEN:
            return Forecast(what, ufloat(np.nan, np.nan), low, high)
        u = np.sqrt(slope @ self.found.covariance()[0] @ slope * self.variance)
        return Forecast(what, confidence.measured(value, float(u)), low, high)

    def page(self) -> Page:
        """The fit as a lab-book page."""
        unit, rate = self.unit, f"{self.unit}/h" if self.unit else "per h"
        given = self._given
        limits: dict[str, tuple[float, float] | None] = dict(self.intervals()) if given else dict.fromkeys(QUANTITIES)
        lines = [
            Line("final amount", self.final_amount, unit, limits=limits["final_amount"]),
            Line("largest rate", self.max_rate, rate, limits=limits["max_rate"]),
            Line("lag", self.lag_h, "h", limits=limits["lag_h"]),
            Line("asymptote", self.asymptote, unit, "the published curve's own final level"),
            Line("scatter", self.scatter, unit, f"of {self._scattered()}, {_in_words(self.dof)}"),
        ]
        if given:
            finish = self.finish_time_h()
            lines.insert(3, Line("99 % reached at", finish.time_h, "h", limits=(finish.low, finish.high)))
        what = f" ({self.counts})" if self.counts else ""
        heading = (
            f"Growth curve{what}: {self.shape.title}, {self.time_h.size} readings over {np.ptp(self.time_h):g} h, "
            f"{self.noise} errors"
        )
        kinds = f"errors {'of each reading' if self.noise == 'independent' else 'of each increment'}"
        kinds += f" and {100 * self.scale_u:.2g} % common to the whole curve" if self.scale_u else ""
        notes = (
            *self.doubts,
            "Final amount: asymptote less the curve's value at time zero. Lag: where the tangent at the steepest "
            "point meets that value.",
            f"± is one standard uncertainty; intervals are profile likelihood, from {kinds}.",
            f"Curve: {self.shape.source}.",
        )
        return Page(heading, lines, notes)

    def _scattered(self) -> str:
        return "a reading" if self.noise == "independent" else "an increment"


def _in_words(dof: float) -> str:
    return "given" if np.isinf(dof) else f"{dof:.3g} degrees of freedom"


def _along(shape: Shape, p: Floats, time: Floats) -> Floats:
    """Shape and its slopes by the shape parameters at some times: (q + 1, n)."""
    nu = np.exp(p[:, 2:3]) if shape.asymmetric else None
    return np.stack([one[0] for one in shape.slopes(np.exp(p[:, :1]), p[:, 1:2], time, nu)])
