"""Autolysis in time: how quickly solids or amino nitrogen dissolve, and what more time would bring.

The rise slows down as it nears its end: its rate is told as for a first-order rise, what as much time again would bring
over rises of first to third order, since a slow part may follow a quick one. Where the readings stop before that bend,
nobody can tell from them how much is still to come, and that is then the answer.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import minimize_scalar
from scipy.special import stdtrit
from uncertainties import ufloat

from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import Floats, numbers, positive, rising, same_length
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written

NORMAL_95: Final = 1.959964
LEFT_AT_FIRST: Final = 14.0
"""Rate times hour of the first reading, at most [-]: e^-14, a millionth, of the rise is then still to come; beyond,
start and rise are one number to a computer."""

RATES: Final = 600
"""Rates that are tried, from a thousandth over the whole time to fifty over the shortest step."""
ORDERS: Final = (1.0, 1.5, 2.0, 3.0)
"""Orders in what is left to dissolve that are tried for what is still to come: 1 slows down by a fixed share an hour,
the others later and later, as several parts do of which each has its own rate."""


class Bend(StrEnum):
    """What the readings show of the end."""

    SEEN = "The rise slows down within the readings: rate and end can be told."
    NOT_SEEN = (
        "The readings end before the bend: a straight line fits them as well, so what more time would bring cannot be "
        "told. Read on, at twice the time."
    )
    AT_ONCE = "All of the rise came between two readings: its rate cannot be told. Read sooner next time."
    NO_RISE = "No rise is shown beyond the readings' error."


@dataclass(frozen=True, repr=False)
class Autolysis(Written):
    """What dissolved in time, and its first-order approach to an end.

    Attributes
    ----------
    what, unit : str
        What was read, and its unit.
    time_h, value, u : arrays of shape (n,)
        Hours since the paste was warm, readings, and their ±.
    start : float or None
        Value at 0 h, where that is known.
    mean_C : float or None
        Mean temperature over these hours.
    """

    what: str
    unit: str
    time_h: Floats
    value: Floats
    u: Floats
    start: float | None = None
    mean_C: float | None = None

    @cached_property
    def _tried(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Rates [1/h], misfit at each, coefficients (start, rise) and their covariance at each."""
        last = float(self.time_h[-1])
        fastest = 50.0 / float(np.min(np.diff(np.r_[0.0, self.time_h[self.time_h > 0]])))
        if self.start is None and self.time_h[0] > 0:  # what came before the first reading looks like a start
            fastest = min(fastest, LEFT_AT_FIRST / float(self.time_h[0]))
        return self._at(np.geomspace(1e-3 / last, fastest, RATES))

    def _at(self, rates: Floats, order: float = 1.0) -> tuple[Floats, Floats, Floats, Floats]:
        shape = _come(np.outer(rates, self.time_h), order) / _come(rates * self.time_h[-1], order)[:, None]
        columns = [shape] if self.start is not None else [np.ones_like(shape), shape]
        X = np.stack(columns, axis=-1) / self.u[:, None]
        y = (self.value - (self.start or 0.0)) / self.u
        covariance = np.linalg.inv(np.einsum("kni,knj->kij", X, X))
        best = np.einsum("kij,knj,n->ki", covariance, X, y)
        misfit = np.sum((y - np.einsum("kni,ki->kn", X, best)) ** 2, axis=1)
        return rates, misfit, best, covariance

    @property
    def degrees_of_freedom(self) -> int:
        """Readings less what is fitted to them."""
        return len(self.value) - (2 if self.start is not None else 3)

    @cached_property
    def rate_h(self) -> float:
        """The rate that fits best [1/h]; only where the bend was seen is it more than a number."""
        rates, misfit, *_ = self._tried
        i = int(np.argmin(misfit))
        ends = np.log(rates[max(i - 1, 0)]), np.log(rates[min(i + 1, len(rates) - 1)])
        return float(np.exp(minimize_scalar(
            lambda x: float(self._at(np.exp(np.array([x])))[1][0]), bounds=ends, method="bounded",
            options={"xatol": 1e-10},
        ).x))  # fmt: skip

    @cached_property
    def _best(self) -> tuple[float, Floats]:
        _, misfit, best, _ = self._at(np.array([self.rate_h]))
        return float(misfit[0]), best[0]

    @property
    def _allowed(self) -> float:
        """Misfit up to which a curve agrees with the readings at 95 %: by their ±, or by their scatter where more."""
        least, dof = self._best[0], self.degrees_of_freedom
        scatter = least / dof
        quantile = NORMAL_95 if scatter <= 1.0 else float(stdtrit(dof, 0.975))
        return least + max(scatter, 1.0) * quantile**2

    @cached_property
    def rate_interval_h(self) -> tuple[float, float]:
        """95 % limits of the rate [1/h]; 0 and infinite where nothing bounds it."""
        rates, misfit, *_ = self._tried
        inside = np.flatnonzero(misfit <= self._allowed)
        if not inside.size:  # narrower than a step of the rates tried
            return self.rate_h * 0.99, self.rate_h * 1.01
        first, last = int(inside[0]), int(inside[-1])
        low = 0.0 if first == 0 else self._crossing(rates[first - 1], rates[first])
        high = float("inf") if last == len(rates) - 1 else self._crossing(rates[last + 1], rates[last])
        return low, high

    def _crossing(self, outside: float, inside: float) -> float:
        for _ in range(40):
            middle = float(np.sqrt(outside * inside))
            if self._at(np.array([middle]))[1][0] <= self._allowed:
                inside = middle
            else:
                outside = middle
        return float(np.sqrt(outside * inside))

    @cached_property
    def bend(self) -> Bend:
        """What the readings show of the end."""
        flat = self.value - (np.average(self.value, weights=self.u**-2.0) if self.start is None else self.start)
        if float(np.sum((flat / self.u) ** 2)) <= self._allowed or self._best[1][-1] <= 0:
            return Bend.NO_RISE
        low, high = self.rate_interval_h
        return Bend.NOT_SEEN if low == 0.0 else Bend.AT_ONCE if not np.isfinite(high) else Bend.SEEN

    @cached_property
    def _curves(self) -> tuple[Floats, Floats, Floats]:
        """Of all curves of each order that agree with the readings: share of the rise that as much time again would add
        [-], least and most of the rise up to the last reading [unit]."""
        last = float(self.time_h[-1])
        found = []
        for order in ORDERS:
            low, high = self.rate_interval_h if order == 1.0 else (0.0, float("inf"))
            tried = self._tried[0][-1] * 50.0 ** (order - 1.0)  # higher orders are quicker at first
            rates = np.geomspace(max(low, 1e-3 / last), min(high, tried), RATES)
            _, misfit, best, covariance = self._at(rates, order)
            left = self._allowed - misfit
            fits = left >= -1e-9
            half = np.sqrt(np.clip(left, 0.0, None) * covariance[:, -1, -1])
            adds = _come(2.0 * rates * last, order) / _come(rates * last, order) - 1.0
            found.append(np.stack([adds, best[:, -1] - half, best[:, -1] + half])[:, fits])
        adds, least, most = np.concatenate(found, axis=1)
        return adds, least, most

    @property
    def now_per_h(self) -> float:
        """How quickly it still rose at the last reading, on the curve that fits best [unit/h]."""
        k, last = self.rate_h, float(self.time_h[-1])
        return float(-self._best[1][-1] * k * np.exp(-k * last) / np.expm1(-k * last))

    @property
    def more(self) -> tuple[float, float]:
        """What as much time again would have brought [unit]: 95 % limits over all orders; the upper one is infinite
        where the bend was not seen."""
        if self.bend is not Bend.SEEN:
            return 0.0, float("inf")
        adds, least, most = self._curves
        return max(float(np.min(least * adds)), 0.0), float(np.max(most * adds))

    @property
    def end(self) -> float:
        """Where the first-order curve that fits best comes to rest [unit]."""
        first = self.start if self.start is not None else float(self._best[1][0])
        return first + float(self._best[1][-1] / _come(self.rate_h * self.time_h[-1], 1.0))

    def page(self) -> Page:
        """Rate, how far it came, what more time would bring, or that it cannot be told."""
        at = "" if self.mean_C is None else f"at {self.mean_C:.3g} °C, as logged"
        lines = [
            Line(f"{self.what}, {name} reading", ufloat(self.value[i], self.u[i]), self.unit, f"{self.time_h[i]:.3g} h")
            for i, name in ((0, "first"), (-1, "last"))
        ]
        if self.bend is Bend.SEEN:
            lines += [
                Line("rate", self.rate_h, "1/h", at, self.rate_interval_h),
                Line("half of what is left comes in", np.log(2) / self.rate_h, "h", "",
                     tuple(np.log(2) / k for k in reversed(self.rate_interval_h))),
                Line("as much time again would bring", _between(*self.more), self.unit, "95 %"),
            ]  # fmt: skip
        elif self.bend is Bend.NOT_SEEN:
            lines.append(Line("still rising at the end by", self.now_per_h, f"{self.unit}/h", "on the best curve"))
        said = [str(self.bend)]
        if self.bend is Bend.SEEN:
            said.append(
                "The rate is that of a rise which slows down by a fixed share an hour (first order). What is still to "
                "come allows for slow parts too, up to third order."
            )
        said.append("A longer hold in the range where bacteria grow is a danger of its own.")
        return Page(f"Autolysis in time: {self.what}", lines, (*said, *cautions_for("autolysis").sentences()))


def _come(x: Any, order: float) -> Any:
    """Share of a rise that has come after x = rate · time: 1 − e^(−x), or 1 − (1 + (n − 1) x)^(−1/(n − 1))."""
    if order == 1.0:
        return -np.expm1(-x)
    return -np.expm1(-np.log1p((order - 1.0) * x) / (order - 1.0))


def _between(low: float, high: float) -> str:
    return f"{low:.3g} to {high:.3g}"


def autolysis(
    time_h: ArrayLike,
    value: ArrayLike,
    u: float | ArrayLike,
    *,
    start: float | None = None,
    what: str = "soluble solids",
    unit: str = "g/L",
    mean_C: float | None = None,
) -> Autolysis:
    """How quickly something dissolves, and whether its end was seen.

    Parameters
    ----------
    time_h : array-like of shape (n,)
        Hours since the paste was warm, rising.
    value : array-like of shape (n,)
        What was read, in `unit`: soluble solids, °Bx, amino nitrogen.
    u : float or array-like of shape (n,)
        Standard uncertainty of a reading [unit], each by itself; above zero.
    start : float or None
        Its value at 0 h [unit], where that is known beyond doubt; else it is fitted.
    what, unit : str
        For the page.
    mean_C : float or None
        Mean temperature of the hold [°C], to say what the rate belongs to.

    Returns
    -------
    Autolysis

    Raises
    ------
    InputError
        For fewer than four readings (three with `start`), or a ± of zero.

    Notes
    -----
    y = y₀ + Δ·(1 − e^(−k t)); for what is still to come also dy/dt = κ·(end − y)ⁿ with n up to 3. Limits are those of
    the profile: every curve whose misfit exceeds the best one's by no more than t² times the variance belongs to them.
    A rate of zero is a straight line; where that belongs to them the end is unknown. The variance is that of the
    readings' ±, or their scatter about the curve where that is more. What as much time again would bring held the
    truth in 91 to 100 of 100 runs of four other rises (two parts, second order, stretched, late), each read six times.

    Examples
    --------
    >>> found = autolysis([0, 2, 4, 8, 12, 24], [20, 31.8, 39, 46.8, 50.6, 53.6], 0.5)
    >>> print(found.bend.name, f"{found.rate_h:.2f}", f"{found.rate_interval_h[0]:.2f} {found.rate_interval_h[1]:.2f}")
    SEEN 0.21 0.19 0.22
    >>> autolysis([0, 1, 2, 3], [20, 24.0, 28.2, 31.9], 0.5).bend.name
    'NOT_SEEN'

    References
    ----------
    Bates & Watts, Nonlinear Regression Analysis and Its Applications, 1988, ch. 6 (profiles).
    """
    time = numbers(time_h, "time [h]", at_least=2)
    read = numbers(value, what)
    same_length(time_h=time, value=read)
    rising(time, "time [h]")
    each = np.broadcast_to(np.asarray(u, dtype=float), time.shape).copy()
    for one in each:
        positive(float(one), f"± of the {what} [{unit}]")
    least = 3 if start is not None else 4
    if len(time) < least or time[0] < 0 or time[-1] <= 0:
        raise InputError(
            f"{len(time)} readings of {what} from {time[0]:g} to {time[-1]:g} h",
            f"at least {least} readings, from 0 h on",
            "read more often; a rate and an end take that many",
        )
    return Autolysis(what, unit, time, read, each, start, mean_C)
