"""The growth curves: plain functions of time, and the one family that all of them belong to.

Every curve is a final amount times a *shape* that rises from 0 to 1. Each shape is written with the
same two parameters, the steepness b [1/h] and the time of the steepest point t_i [h] (and, for
Richards, a third, the asymmetry nu), so that one fitter serves them all:

    z = b (t_i - t)
    logistic      g = 1 / (1 + exp z)
    gompertz      g = exp(-exp z)
    richards      g = (1 + nu exp z)^(-1/nu)
    baranyi       the logistic less its value at time zero, stretched back to end at 1
    three_phase   g = 1/2 - z, held between 0 and 1

What people ask for, the largest rate and the lag, follows from these: the largest slope is k, and the
tangent there meets zero at the lag. `Shape` knows both, with their derivatives.

The published forms are given from memory; the tests hold them to printed values and to the identities that
their authors state (largest slope, foot of the tangent, limits between curves).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.checks import Floats, one_of

E = math.e


def logistic(time_h: ArrayLike, asymptote: float, max_rate: float, lag_h: float) -> Floats:
    """Modified logistic curve: steepest half-way up, symmetric about that point.

    Parameters
    ----------
    time_h : array-like
        Time [h].
    asymptote : float
        The level that the curve ends at [amount]. With no lag it starts at 11.9 % of that.
    max_rate : float
        Slope at the steepest point [amount/h].
    lag_h : float
        Where the tangent at the steepest point meets zero [h].

    Returns
    -------
    numpy.ndarray
        Amount, in the unit of `asymptote`: A / (1 + exp(4 mu/A (lag - t) + 2)).

    Examples
    --------
    >>> logistic([1, 5.2, 12], asymptote=6.5, max_rate=1.3, lag_h=2.7).tolist()
    [0.21819995, 3.25, 6.47191523]

    References
    ----------
    Zwietering, Jongenburger, Rombouts, van 't Riet, Appl. Environ. Microbiol. 56 (1990) 1875–1881, Table 2.
    """
    b = 4 * max_rate / asymptote
    return asymptote * _logistic(b, lag_h + 2 / b, np.asarray(time_h, dtype=float))


def gompertz(time_h: ArrayLike, asymptote: float, max_rate: float, lag_h: float) -> Floats:
    """Modified Gompertz curve: steepest at 37 % of its final level, long tail.

    Parameters
    ----------
    time_h : array-like
        Time [h].
    asymptote : float
        The level that the curve ends at [amount]. With no lag it starts at 6.6 % of that.
    max_rate : float
        Slope at the steepest point [amount/h].
    lag_h : float
        Where the tangent at the steepest point meets zero [h].

    Returns
    -------
    numpy.ndarray
        Amount, in the unit of `asymptote`: A exp(-exp(mu e/A (lag - t) + 1)).

    Examples
    --------
    >>> gompertz([0, 3, 12], asymptote=6.5, max_rate=1.3, lag_h=2.7).tolist()
    [4.891064639e-05, 0.645711598, 6.388401600]

    References
    ----------
    Zwietering, Jongenburger, Rombouts, van 't Riet, Appl. Environ. Microbiol. 56 (1990) 1875–1881, Table 2.
    """
    b = E * max_rate / asymptote
    return asymptote * _gompertz(b, lag_h + 1 / b, np.asarray(time_h, dtype=float))


def richards(time_h: ArrayLike, asymptote: float, max_rate: float, lag_h: float, asymmetry: float) -> Floats:
    """Modified Richards curve: `asymmetry` moves the steepest point; 1 is the logistic, near 0 Gompertz.

    Parameters
    ----------
    time_h : array-like
        Time [h].
    asymptote, max_rate, lag_h : float
        As for `logistic`.
    asymmetry : float
        The exponent nu, above zero [-].

    Returns
    -------
    numpy.ndarray
        Amount: A {1 + nu exp(1+nu) exp[mu/A (1+nu)^(1+1/nu) (lag - t)]}^(-1/nu).

    Examples
    --------
    >>> richards([1, 5.2, 12], asymptote=6.5, max_rate=1.3, lag_h=2.7, asymmetry=1.0).tolist()
    [0.21819995, 3.25, 6.47191523]

    References
    ----------
    Zwietering et al., Appl. Environ. Microbiol. 56 (1990) 1875–1881, Table 2;
    Richards, J. Exp. Bot. 10 (1959) 290–301.
    """
    nu = asymmetry
    b = max_rate / asymptote * (1 + nu) ** (1 + 1 / nu)
    return asymptote * _richards(b, lag_h + (1 + nu) / b, np.asarray(time_h, dtype=float), nu)


def baranyi(time_h: ArrayLike, asymptote: float, specific_rate: float, seed: float) -> Floats:
    """Baranyi–Roberts growth in its linear form, for gas: product made in step with the cells grown.

    The published curve is for ln N. Put in N and take the product as proportional to N(t) - N(0):
    with h0 the published adaptation and R = N_max/N(0), the two appear only together, as
    ``seed = exp(-h0)/R``. Gas alone therefore cannot tell a slow start from a small inoculum,
    and the curve is the logistic less its value at time zero.

    Parameters
    ----------
    time_h : array-like
        Time since the start [h].
    asymptote : float
        Final amount [amount]; the curve starts at zero.
    specific_rate : float
        The specific growth rate in the model [1/h].
    seed : float
        The share of the final cells that is active at the start [-].

    Returns
    -------
    numpy.ndarray
        Amount: A s/(1 + s) with s = seed (exp(mu t) - 1).

    Examples
    --------
    >>> baranyi([0, 10, 30], asymptote=600, specific_rate=0.4, seed=0.01).tolist()
    [0.0, 209.3703, 599.6316]

    References
    ----------
    Baranyi, Roberts, Int. J. Food Microbiol. 23 (1994) 277–294 (the curve for ln N, with m = 1);
    the linear form is derived above.
    """
    grown = seed * np.expm1(np.minimum(specific_rate * np.asarray(time_h, dtype=float), 300.0))
    return np.asarray(asymptote * grown / (1 + grown))


def three_phase(time_h: ArrayLike, asymptote: float, max_rate: float, lag_h: float) -> Floats:
    """Three straight lines: nothing, a constant rate, a plateau. For gas, from zero.

    Parameters
    ----------
    time_h : array-like
        Time [h].
    asymptote, max_rate, lag_h : float
        Plateau [amount], slope of the middle line [amount/h], where that line begins [h].

    Returns
    -------
    numpy.ndarray
        Amount: 0, then mu (t - lag), then A.

    Examples
    --------
    >>> three_phase([0, 5, 20], asymptote=7, max_rate=0.8, lag_h=3).tolist()
    [0.0, 1.6, 7.0]

    References
    ----------
    Buchanan, Whiting, Damert, Food Microbiol. 14 (1997) 313–326 (written there for log10 N).
    """
    b = max_rate / asymptote
    return asymptote * _three_phase(b, lag_h + 1 / (2 * b), np.asarray(time_h, dtype=float))


def _exponent(b: ArrayLike, t_i: ArrayLike, t: Floats, highest: float = 150.0) -> Floats:
    """b (t_i - t), held where the shape is 0 to the last digit but its square still has one."""
    z = np.asarray(np.subtract(t_i, t))
    z *= b
    return np.asarray(np.minimum(z, highest, out=z))


def _logistic(b: ArrayLike, t_i: ArrayLike, t: Floats, nu: ArrayLike = 1.0) -> Floats:
    return 1 / (1 + np.exp(_exponent(b, t_i, t)))


def _gompertz(b: ArrayLike, t_i: ArrayLike, t: Floats, nu: ArrayLike = 0.0) -> Floats:
    return np.exp(-np.exp(_exponent(b, t_i, t, 5.0)))


def _richards(b: ArrayLike, t_i: ArrayLike, t: Floats, nu: ArrayLike = 1.0) -> Floats:
    return np.exp(-np.log1p(nu * np.exp(_exponent(b, t_i, t))) / nu)


def _baranyi(b: ArrayLike, t_i: ArrayLike, t: Floats, nu: ArrayLike = 1.0) -> Floats:
    z_0 = np.clip(np.multiply(b, t_i), -150.0, 150.0)
    seed = 1 / (1 + np.exp(z_0))
    grown = seed * np.expm1(np.minimum(np.multiply(b, t), 300.0))
    return np.asarray(grown / (1 + grown))


def _three_phase(b: ArrayLike, t_i: ArrayLike, t: Floats, nu: ArrayLike = 1.0) -> Floats:
    return np.clip(0.5 - np.multiply(b, np.subtract(t_i, t)), 0.0, 1.0)


def _logistic_slopes(b: Floats, t_i: Floats, t: Floats, nu: Floats | None) -> tuple[Floats, ...]:
    z = _exponent(b, t_i, t)
    g = np.exp(z)
    g += 1.0
    np.reciprocal(g, out=g)
    q = g - 1.0
    q *= g
    z *= q
    q *= b
    return g, z, q


def _gompertz_slopes(b: Floats, t_i: Floats, t: Floats, nu: Floats | None) -> tuple[Floats, ...]:
    z = _exponent(b, t_i, t, 5.0)
    q = np.exp(z)
    np.negative(q, out=q)
    g = np.exp(q)
    q *= g
    z *= q
    q *= b
    return g, z, q


def _richards_slopes(b: Floats, t_i: Floats, t: Floats, nu: Floats | None) -> tuple[Floats, ...]:
    assert nu is not None
    z = _exponent(b, t_i, t)
    e = np.exp(z)
    w = nu * e
    bend = np.log1p(w)
    bend /= nu
    g = np.exp(-bend)
    w += 1.0
    e /= w
    bend -= e
    bend *= g
    e *= -g
    z *= e
    e *= b
    return g, z, e, bend


def _baranyi_slopes(b: Floats, t_i: Floats, t: Floats, nu: Floats | None) -> tuple[Floats, ...]:
    z_0 = np.clip(b * t_i, -150.0, 150.0)
    seed = 1 / (1 + np.exp(z_0))
    rest = 1 / (1 + np.exp(-z_0))
    bt = b * t
    np.minimum(bt, 300.0, out=bt)
    left = np.exp(bt)
    left *= seed
    left += rest
    np.reciprocal(left, out=left)
    g = 1.0 - left
    q = g * left
    q *= rest
    z = z_0 - bt
    z *= q
    bt *= left
    bt *= seed
    bt -= z
    q *= -b
    return g, bt, q


def _three_phase_slopes(b: Floats, t_i: Floats, t: Floats, nu: Floats | None) -> tuple[Floats, ...]:
    z = np.subtract(t_i, t) * b
    on = np.abs(z) < 0.5
    return np.clip(0.5 - z, 0.0, 1.0), np.where(on, -z, 0.0), np.where(on, -b, 0.0)


Meaning = tuple[Floats, Floats, Floats, Floats]
"""k/b and b*lag - b*t_i of a shape, and their derivatives by its last parameter."""


def _baranyi_foot(b: Floats, t_i: Floats) -> Meaning:
    z_0 = np.clip(b * t_i, -150.0, 150.0)
    seed = 1 / (1 + np.exp(z_0))
    early = z_0 <= 0
    slope = np.where(early, seed, 0.25 / (1 - np.minimum(seed, 0.5)))
    d_slope = -seed * (1 - seed) * np.where(early, 1.0, 0.25 / (1 - np.minimum(seed, 0.5)) ** 2)
    foot = np.where(early, -z_0, 4 * seed - 2)
    d_foot = np.where(early, -1.0, -4 * seed * (1 - seed))
    return slope, foot, d_slope, d_foot


@dataclass(frozen=True)
class Shape:
    """One member of the family: its value and derivatives, what it means, where it was published."""

    name: str
    title: str
    source: str
    value: Callable[..., Floats]
    slopes: Callable[[Floats, Floats, Floats, Floats | None], tuple[Floats, ...]]
    slope: float = 0.25
    """Largest slope over b, where that is one number."""
    foot: float = -2.0
    """b (lag - t_i), where that is one number."""
    asymmetric: bool = False

    @property
    def parameters(self) -> int:
        """How many parameters the curve has, the final level counted."""
        return 4 if self.asymmetric else 3

    def meaning(self, p: Floats) -> tuple[Floats, Floats, Floats]:
        """Largest slope k [1/h], lag [h] and their derivatives by the shape's own parameters.

        Parameters
        ----------
        p : numpy.ndarray of shape (m, 2 or 3)
            ln b, t_i and (Richards) ln nu of m curves.

        Returns
        -------
        (k, lag, slopes)
            Shapes (m,), (m,), (m, 2, 2 or 3): rows ln k and lag.
        """
        b, t_i = np.exp(p[:, 0]), p[:, 1]
        slopes = np.zeros((len(p), 2, p.shape[1]))
        slopes[:, 0, 0] = 1.0
        slopes[:, 1, 1] = 1.0
        if self.asymmetric:
            nu = np.exp(p[:, 2])
            slope, foot = np.exp(-(1 + 1 / nu) * np.log1p(nu)), -(1 + nu)
            slopes[:, 0, 2] = np.log1p(nu) / nu - 1
            slopes[:, 1, 2] = -nu / b
        elif self.name == "baranyi":
            slope, foot, d_slope, d_foot = _baranyi_foot(b, t_i)
            slopes[:, 0, 0] += d_slope / slope * b * t_i
            slopes[:, 0, 1] = d_slope / slope * b
            slopes[:, 1, 0] = d_foot * t_i
            slopes[:, 1, 1] += d_foot
        else:
            slope, foot = np.full(len(p), self.slope), np.full(len(p), self.foot)
        slopes[:, 1, 0] -= foot / b
        return slope * b, t_i + foot / b, slopes

    def when(self, p: Floats, share: ArrayLike) -> Floats:
        """The time [h] at which the shape has reached `share` of its end; infinite at 1 and beyond."""
        b, t_i = np.exp(p[:, 0]), p[:, 1]
        g = np.clip(np.broadcast_to(np.asarray(share, dtype=float), b.shape), 1e-300, 1.0)
        with np.errstate(divide="ignore", over="ignore"):
            if self.asymmetric:
                nu = np.exp(p[:, 2])
                z = np.log(np.expm1(-nu * np.log(g)) / nu)
            elif self.name == "gompertz":
                z = np.log(-np.log(g))
            elif self.name == "three_phase":
                z = 0.5 - g
            elif self.name == "baranyi":
                seed = 1 / (1 + np.exp(np.clip(b * t_i, -150.0, 150.0)))
                z = np.log(1 - g) + np.log1p(-seed) - np.log(seed + (1 - seed) * g)
            else:
                z = np.log(1 / g - 1)
            return np.asarray(t_i - z / b)

    def quantities(self, level: Floats, p: Floats) -> tuple[Floats, Floats]:
        """What people ask for, of m curves: `QUANTITIES`, and their derivatives by ln level and p.

        Returns
        -------
        (values, slopes)
            Shapes (m, 4) and (m, 4, 3 or 4).
        """
        k, lag, slopes = self.meaning(p)
        nu = np.exp(p[:, 2:3]) if self.asymmetric else None
        start = self.slopes(np.exp(p[:, :1]), p[:, 1:2], np.zeros((1, 1)), nu)
        begun = start[0][:, 0] / k  # how long the tangent takes from the curve's zero to its level at time zero
        values = np.stack([level * (1 - start[0][:, 0]), level * k, lag + begun, level], axis=1)
        out = np.zeros((len(p), 4, p.shape[1] + 1))
        out[:, :, 0] = values
        out[:, 2, 0] = 0.0
        for j, one in enumerate(start[1:], start=1):
            out[:, 0, j] = -level * one[:, 0]
        out[:, 1, 1:] = (level * k)[:, None] * slopes[:, 0]
        out[:, 2, 1:] = slopes[:, 1] - begun[:, None] * slopes[:, 0]
        for j, one in enumerate(start[1:], start=1):
            out[:, 2, j] += one[:, 0] / k
        return values, out


Quantity = Literal["final_amount", "max_rate", "lag_h", "asymptote"]

QUANTITIES: tuple[Quantity, ...] = ("final_amount", "max_rate", "lag_h", "asymptote")
"""What every curve is asked for; see `fermkit.growth.GrowthFit`."""

_ZWIETERING = "Zwietering et al. 1990, Appl. Environ. Microbiol. 56, 1875"

SHAPES: dict[str, Shape] = {
    shape.name: shape
    for shape in (
        Shape("logistic", "modified logistic", _ZWIETERING, _logistic, _logistic_slopes),
        Shape("gompertz", "modified Gompertz", _ZWIETERING, _gompertz, _gompertz_slopes, 1 / E, -1.0),
        Shape("richards", "modified Richards", _ZWIETERING, _richards, _richards_slopes, asymmetric=True),
        Shape(
            "baranyi",
            "Baranyi–Roberts, linear form",
            "Baranyi & Roberts 1994, Int. J. Food Microbiol. 23, 277",
            _baranyi,
            _baranyi_slopes,
        ),
        Shape(
            "three_phase",
            "three-phase linear",
            "Buchanan, Whiting & Damert 1997, Food Microbiol. 14, 313",
            _three_phase,
            _three_phase_slopes,
            1.0,
            -0.5,
        ),
    )
}


def shape_named(curve: str) -> Shape:
    """The family member of that name, or a clear refusal."""
    one_of(curve, SHAPES, "curve")
    return SHAPES[curve]
