"""The course of a batch: from the rates to sugar, yeast, ethanol, CO2 and gas at any hour, with all slopes.

With the sugar used, s, as the independent variable the rates separate: ds/dt = a(t) r(s), where a(t) holds the waking
and the temperature and r(s) everything else. Two integrals, τ(s) = ∫ ds/r and A(t) = ∫ a dt, give s(t) = τ⁻¹(A(t)),
and the stiff end of the sugar, where r falls to nothing, needs no event and no small steps: it is a place on the grid
of s, not of t. Many batches go through at once; the first axis counts them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dtbtrs
from scipy.special import ndtr

from fermkit.kinetics.rates import INDEX, NAMES, Structure, most_used, products, uptake, warmth

Floats = NDArray[np.float64]

P: Final = len(NAMES)

LOGISTIC_SD: Final = np.pi / np.sqrt(3.0)
"""Standard deviation of the logistic distribution of unit scale, so that both laws of waking share one spread."""


def _nodes() -> Floats:
    """Shares of the usable sugar, from 0 to nearly 1: close at both ends by powers, where growth begins and sugar ends;
    even between, where a strong inhibition bends the rate."""
    begin, end = np.geomspace(1e-5, 0.1, 36), 1 - np.geomspace(0.1, 1e-8, 64)
    return np.concatenate([[0.0], begin, np.linspace(0.1, 0.9, 33)[1:-1], end])


NODES: Final = _nodes()
GAUSS: Final = np.array([-np.sqrt(0.6), 0.0, np.sqrt(0.6)]) / 2 + 0.5
GAUSS_WEIGHTS: Final = np.array([5.0, 8.0, 5.0]) / 18
WIDTH: Final = np.diff(NODES)
INSIDE: Final = (NODES[:-1, None] + WIDTH[:, None] * GAUSS).ravel()
"""Where the integrand is read: three Gauss–Legendre points between two nodes."""


@dataclass(frozen=True)
class Surroundings:
    """What a batch stands in, the same for every set of quantities.

    Attributes
    ----------
    liquid_L : float
    store_mol : float
        CO2 that the liquid holds in balance with CO2 alone at the barometer's pressure [mol]; 0: nothing is held.
    gas_space_mol : float
        Gas in the space above the liquid [mol]; it is flushed by the CO2.
    temperature : (array, array), optional
        Hours and °C of a log; outside it the nearest value holds.
    feed : (array, array), optional
        Hours from which, and g/h at which, sugar comes in, as hexose; the liquid is taken to stay what it is.
    oxygen_mol_per_L_h : float
        The most oxygen that the aeration brings [mol/(L h)].
    """

    liquid_L: float
    store_mol: float = 0.0
    gas_space_mol: float = 0.0
    temperature: tuple[Floats, Floats] | None = None
    feed: tuple[Floats, Floats] | None = None
    oxygen_mol_per_L_h: float = 0.0


@dataclass(frozen=True)
class Course:
    """A batch at some hours: each quantity (B, n), each slope (B, n, 22) by the logarithm of each quantity.

    ``sugar_used`` [g/L], ``yeast`` [g/L], ``ethanol`` [g/L], ``made`` [mol CO2], ``released`` [mol gas].
    """

    sugar_used: Floats
    yeast: Floats
    ethanol: Floats
    made: Floats
    released: Floats
    slopes: Mapping[str, Floats]

    def only(self, rows: NDArray[np.intp]) -> "Course":
        """The same at some of the hours."""
        s, x, e, c, out = (a[:, rows] for a in (self.sugar_used, self.yeast, self.ethanol, self.made, self.released))
        return Course(s, x, e, c, out, {name: a[:, rows] for name, a in self.slopes.items()})


def by_name(theta: Floats) -> dict[str, Floats]:
    """Quantities (B, 22), as logarithms, to a mapping of (B, 1) by name."""
    values = np.exp(theta)
    return {name: values[:, i : i + 1] for i, name in enumerate(NAMES)}


def awake_hours(structure: Structure, p: Any, hours: Floats, *, slopes: bool = False) -> tuple[Floats, Floats, Floats]:
    """∫ a dt: hours of work that the yeast has had, as if all of it had been awake and fresh; its slopes by t, by ln of
    the lag, of the spread, of the fading.

    Notes
    -----
    a is the share of the yeast that is awake. With the law of Baranyi & Roberts a = 1/(1 + e^(−νt)/q), which gives
    A = ln((1 + q e^(νt))/(1 + q))/ν; λ = ln(1 + 1/q)/ν is the mean time of waking and A → t − λ. With times of waking
    spread as a lognormal law of mean λ, A = E max(t − T, 0) = t Φ(d₊) − λ Φ(d₋), d± = (ln(t/λ) ± σ²/2)/σ.
    Yeast that loses the share δ of its activity in each hour of work has then done (1 − e^(−δA))/δ.

    References
    ----------
    Baranyi & Roberts, Int. J. Food Microbiol. 23 (1994) 277. Johnson, Kotz & Balakrishnan, Continuous Univariate
    Distributions 1 (1994), ch. 14 (partial moments of the lognormal law).
    """
    lag, spread = p["lag"], p["lag spread"]
    by = np.zeros((*np.broadcast_shapes(lag.shape, hours.shape), 3)) if slopes else np.empty(0)
    if structure.waking == "Baranyi":
        h = LOGISTIC_SD / spread  # νλ
        asleep = np.log(-np.expm1(-h))
        late = h * (hours / lag - 1)
        total = np.logaddexp(asleep, late)
        worked = np.maximum(lag / h * total, 0.0)
        awake = np.exp(late - total)
        if slopes:
            by[..., 1] = worked - lag * ((1 - awake) / np.expm1(h) + awake * (hours / lag - 1))
    else:
        ratio = np.log(np.maximum(hours, 1e-12) / lag)
        high, low = ratio / spread + spread / 2, ratio / spread - spread / 2
        awake = ndtr(high)
        worked = np.maximum(hours * awake - lag * ndtr(low), 0.0)
        if slopes:
            by[..., 1] = spread * hours * np.exp(-(high**2) / 2) / np.sqrt(2 * np.pi)
    left = np.exp(-p["fading"] * worked)
    tired = -np.expm1(-p["fading"] * worked) / p["fading"]
    if slopes:
        by[..., 0] = worked - hours * awake
        by *= left[..., None]
        by[..., 2] = worked * left - tired
    return tired, awake * left, by


def warm_hours(p: Any, hours: Floats, around: Surroundings) -> tuple[Floats, Floats]:
    """Hours at the log's mean temperature that do as much as the hours gone, and their slope by ln of the power."""
    if around.temperature is None:
        flat = np.broadcast_to(hours, (len(p["warmth"]), hours.shape[-1]))
        return flat, np.zeros_like(flat)
    when, degrees = around.temperature
    grid = np.union1d(np.linspace(0.0, max(float(hours.max()), 1e-6), 257), hours.ravel())
    t_C = np.interp(grid, when, degrees)
    between = (degrees[1:] + degrees[:-1]) / 2
    middle = float(np.average(between, weights=np.diff(when))) if len(when) > 1 else float(degrees[0])
    effect = np.log(np.maximum(warmth(t_C), 1e-6) / max(float(warmth(middle)), 1e-6))
    pace = np.exp(p["warmth"] * effect)
    step = np.diff(grid)

    def summed(y: Floats) -> Floats:
        sums = np.cumsum((y[:, 1:] + y[:, :-1]) / 2 * step, axis=1)
        return np.concatenate([np.zeros((len(y), 1)), sums], axis=1)

    at = np.searchsorted(grid, np.broadcast_to(hours, (len(pace), hours.shape[-1])))
    rows = np.arange(len(pace))[:, None]
    return summed(pace)[rows, at], summed(pace * effect * p["warmth"])[rows, at]


@dataclass(frozen=True)
class _Grid:
    """The integrals over the sugar: s, τ and r at the nodes (B, m), and ∫ (∂ln r/∂θ)/r ds with its slope by τ."""

    s: Floats
    tau: Floats
    r: Floats
    integral: Floats | None
    log_slope: Floats | None


def _integrate(structure: Structure, p: Any, slopes: bool) -> _Grid:
    top = most_used(structure, p)
    share = np.concatenate([NODES, INSIDE])
    r, log_slope = uptake(structure, p, top * share, slopes=slopes)
    m = len(NODES)
    weight = (WIDTH[:, None] * GAUSS_WEIGHTS).ravel()

    def summed(y: Floats) -> Floats:
        parts = y.reshape(len(y), m - 1, 3, *y.shape[2:]).sum(axis=2)
        return np.concatenate([np.zeros_like(parts[:, :1]), np.cumsum(parts, axis=1)], axis=1)

    ds = top * weight / r[:, m:]
    integral = summed(ds[..., None] * log_slope[:, m:]) if log_slope is not None else None
    return _Grid(top * NODES, summed(ds), r[:, :m], integral, None if log_slope is None else log_slope[:, :m])


def _read(grid: _Grid, at: Floats) -> tuple[Floats, Floats | None]:
    """s where τ equals `at` (B, n), and the integral of the slopes there: cubic Hermite, slopes known at the nodes."""
    last = grid.tau.shape[1] - 2
    k = np.stack([np.searchsorted(tau, x, side="right") - 1 for tau, x in zip(grid.tau, at)])
    k = np.clip(k, 0, last)
    rows = np.arange(len(at))[:, None]
    t0, s0, r0 = grid.tau[rows, k], grid.s[rows, k], grid.r[rows, k]
    width = grid.tau[rows, k + 1] - t0
    x = np.clip((at - t0) / width, 0.0, 1.0)
    b1, b2 = x * x * (3 - 2 * x), x * (1 - x)
    left, right = width * b2 * (1 - x), -width * b2 * x
    s = s0 + b1 * (grid.s[rows, k + 1] - s0) + left * r0 + right * grid.r[rows, k + 1]
    if grid.integral is None or grid.log_slope is None:
        return s, None
    i0 = grid.integral[rows, k]
    out = i0 + b1[..., None] * (grid.integral[rows, k + 1] - i0)
    out += left[..., None] * grid.log_slope[rows, k] + right[..., None] * grid.log_slope[rows, k + 1]
    return s, out


def course(
    structure: Structure,
    theta: Floats,
    hours: Floats,
    around: Surroundings,
    *,
    slopes: bool = False,
    gas: bool = True,
) -> Course:
    """A batch at some hours.

    Parameters
    ----------
    structure : Structure
    theta : numpy.ndarray of shape (B, 22)
        Logarithms of the quantities, in the order of `fermkit.kinetics.rates.NAMES`.
    hours : numpy.ndarray of shape (n,)
        Since the start, rising, the first 0 where the gas is wanted [h].
    around : Surroundings
    slopes : bool
        Whether the slopes are wanted too.
    gas : bool
        Whether the gas that has left is wanted; it is stepped from hour to hour, at most 0.2 h apart for three digits.

    Returns
    -------
    Course
    """
    theta = np.atleast_2d(theta)
    p = by_name(theta)
    warm, by_warmth = warm_hours(p, hours[None, :], around)
    worked, awake, by_lag = awake_hours(structure, p, warm, slopes=slopes)
    grid = _integrate(structure, p, slopes)
    s, integral = _read(grid, worked)
    out = products(structure, p, s, slopes=slopes)
    made = around.liquid_L * out.co2
    d: dict[str, Floats] = {}
    if integral is not None and out.by_sugar is not None:
        # at a given sugar the clock is off by the lag and by the integral; the rate turns that into sugar
        r, _ = uptake(structure, p, s)
        integral[..., INDEX["lag"]] = by_lag[..., 0]
        integral[..., INDEX["lag spread"]] = by_lag[..., 1]
        integral[..., INDEX["fading"]] = by_lag[..., 2]
        integral[..., INDEX["warmth"]] = awake * by_warmth
        d["sugar_used"] = integral * r[..., None]
        for name, by_s, direct in zip(
            ("yeast", "ethanol", "made"), out.by_sugar, (out.d_yeast, out.d_ethanol, out.d_co2)
        ):
            assert direct is not None
            d[name] = by_s[..., None] * d["sugar_used"] + direct
        d["made"] *= around.liquid_L
    gone, d_released = made, d.get("made")
    if gas and around.store_mol > 0:
        gone, d_released = released(p, hours, made, d.get("made"), around)
    if d_released is not None:
        d["released"] = d_released
    return Course(s, out.yeast, out.ethanol, made, gone, d)


NEWTON_STEPS: Final = 4


def released(p: Any, hours: Floats, made: Floats, d_made: Floats | None, around: Surroundings) -> Any:
    """Gas that has left the vessel [mol], from the CO2 made: R' = k (P − R − D (1 − e^(−R/H))).

    The liquid gives off what it holds beyond its balance with the gas space, D (1 − e^(−R/H)), which fills with CO2 as
    R moles push its H moles of air out. The trapezoid rule makes one nonlinear equation for each hour, each leaning
    on the one before; Newton solves the whole path at once, every step one solve with a lower bidiagonal matrix. The
    batches stand one below the other in that matrix, uncoupled. The slopes are one more solve with 22 right-hand sides.
    """
    k, store, space = p["degassing"], p["store"] * around.store_mol, p["gas space"] * max(around.gas_space_mol, 1e-6)
    half = np.diff(hours, prepend=hours[:1])[None, :] / 2
    n, batches = made.shape[1], len(made)
    gone = np.maximum(made - store * -np.expm1(-made / space), 0.0)

    def steps(g: Any) -> Any:
        """Trapezoids of a rate: what each interval adds."""
        out = np.zeros_like(g)
        h = half[:, 1:, None] if g.ndim == 3 else half[:, 1:]
        out[:, 1:] = h * (g[:, 1:] + g[:, :-1])
        return out

    def solve(by_gone: Any, right: Any) -> Any:
        bands = np.ones((2, batches, n))
        bands[0] += half * by_gone
        bands[1, :, :-1] = -1 + half[:, 1:] * by_gone[:, :-1]
        bands[1, :, -1] = 0.0  # the next batch begins
        bands[0, :, 0] = 1.0
        flat = right.reshape(batches * n, -1)
        solved, _ = dtbtrs(bands.reshape(2, -1), flat, uplo="L")
        return solved.reshape(right.shape)

    for _ in range(NEWTON_STEPS):
        flushed = np.exp(-gone / space)
        missing = np.diff(gone, axis=1, prepend=0.0) - steps(k * (made - gone - store * (1 - flushed)))
        missing[:, 0] = gone[:, 0]
        gone = np.maximum(gone - solve(k * (1 + store / space * flushed), missing), 0.0)
    if d_made is None:
        return gone, None
    flushed = np.exp(-gone / space)
    rate = k[..., None] * d_made
    rate[..., INDEX["degassing"]] += k * (made - gone - store * (1 - flushed))
    rate[..., INDEX["store"]] -= k * store * (1 - flushed)
    rate[..., INDEX["gas space"]] += k * store * flushed * gone / space
    return gone, solve(k * (1 + store / space * flushed), steps(rate))
