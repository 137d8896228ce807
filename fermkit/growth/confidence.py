"""How far the readings let a growth curve go: profile-likelihood limits."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, cast

import numpy as np

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats
from fermkit.growth.curves import Shape
from fermkit.growth.least_squares import columns, hold, quiet, reach
from fermkit.growth.problem import Problem, Rows

LONGEST_LN_LEVEL = 0.7
"""The longest step of the final level: it may double or halve (ln 2)."""

MOST_TURNS = 60
"""Newton steps after which an end is called open; eight or so are usual, and open ends run off long before."""

OVERSHOT, BACK = 3.0, 0.25
"""A step that leaves the residual sum this many times its room above the aim has gone too far, and comes back to a
quarter of itself."""

AS_GOOD_AS_THERE = 1e-7
"""A step is the last when it changes the residual sum by less than this share of the room: the end is then known to
a few ten-thousandths of its distance from the best value."""

OUT_OF_SIGHT = 250.0
"""ln of a final level beyond which nothing will hold it: the end is open."""

BEND_SHIFT, CONVEX = 1e-3, 1e-6
"""Second derivatives are taken over this share of the way to the end; the matrix with them is used while its least
eigenvalue, rows and columns brought to one size, stays above this."""

Measure = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""From levels (m,) and shape parameters (m, q): some values (m, k) and their slopes (m, k, q + 1)."""


SCATTER = Act("gas scatter", "scatter of the gas readings")
"""The act that owns the uncertainty of what is read off a curve."""


def measured(value: float, u: float) -> Any:
    """A number read off a curve, with its standard uncertainty (never quite zero: rounding remains)."""
    from uncertainties import ufloat

    return ufloat(value, max(u, 1e-12 * abs(value), 1e-300), SCATTER)


def by_differences(value: Callable[[Floats, Floats], Floats]) -> Measure:
    """A `Measure` of one quantity, its slopes taken by central differences."""

    def measure(level: Floats, p: Floats) -> tuple[Floats, Floats]:
        theta = np.column_stack([np.log(level), p])
        slopes = np.empty((len(p), 1, theta.shape[1]))
        for j in range(theta.shape[1]):
            shift = 1e-5 * (np.exp(-theta[:, 1]) if j == 2 else np.ones(len(theta)))
            up, down = theta.copy(), theta.copy()
            up[:, j] += shift
            down[:, j] -= shift
            rise = value(np.exp(up[:, 0]), up[:, 1:]) - value(np.exp(down[:, 0]), down[:, 1:])
            slopes[:, 0, j] = rise / (2 * shift)
        return value(level, p)[:, None], slopes

    return measure


@quiet
def extremes(
    shape: Shape,
    theta: Floats,
    problem: Problem,
    room: Floats,
    row: Rows,
    side: Floats,
    measure: Measure | None = None,
) -> Floats:
    """The least or greatest value of a quantity where the residual sum stays near its least.

    Newton steps on the constrained problem (Venzon & Moolgavkar, Appl. Statist. 37 (1988) 87–94), with
    the Gauss–Newton matrix in place of second derivatives; all ends are worked on at once.

    Parameters
    ----------
    theta : numpy.ndarray of shape (m, q + 1)
        Where to start, the best fit: ln level and the shape parameters.
    problem : Problem
        Of m rows (or one, if the same for all).
    room : numpy.ndarray of shape (m,)
        How far the residual sum at the ends lies above the least one.
    row, side : numpy.ndarray of shape (m,)
        Which of the measure's quantities, and -1 for its low or +1 for its high end.
    measure : Measure, optional
        What is measured; `Shape.quantities` if not given.

    Returns
    -------
    numpy.ndarray of shape (m,)
        The ends; infinite where the data set none.
    """
    measure = measure or shape.quantities
    limit = reach(shape, problem.time)
    longest = np.concatenate([[LONGEST_LN_LEVEL], limit.step])
    ends = np.full(len(theta), np.nan)
    ceiling = _gram(shape, theta, problem)[0] + room
    live, last, step = np.arange(len(theta)), theta.copy(), np.zeros_like(theta)
    for turn in range(MOST_TURNS):
        now = problem.of(live) if len(problem.amount) == len(ends) else problem
        s, right, normal = _gram(shape, theta, now)
        over = s > (ceiling + OVERSHOT * room)[live]
        if over.any():  # too far: come back most of the way
            step[over] *= BACK
            theta[over] = last[over] + step[over]
            s, right, normal = _gram(shape, theta, now)
        values, slopes = measure(np.exp(theta[:, 0]), theta[:, 1:])
        pick = np.arange(len(live))
        value, a = values[pick, row[live]], slopes[pick, row[live]]
        if turn > 2:
            normal = _curved(shape, theta, now, right, a, normal, room[live], measure, row[live])
        spare = ceiling[live] - s
        last, step = theta, _towards(normal, right, a, spare, side[live])
        held = ((theta[:, 1:] <= limit.low) & (step[:, 1:] < 0)) | ((theta[:, 1:] >= limit.high) & (step[:, 1:] > 0))
        if held.any():
            held = np.column_stack([np.zeros(len(held), dtype=bool), held])
            normal = np.moveaxis(hold(np.moveaxis(normal, 0, 2), held.T), 2, 0)
            step = _towards(normal, np.where(held, 0.0, right), np.where(held, 0.0, a), spare, side[live])
        cap = np.maximum(np.max(np.abs(step) / longest, axis=1), 1.0)
        step /= cap[:, None]
        small = np.einsum("mi,mij,mj->m", step, normal, step) < AS_GOOD_AS_THERE * room[live]
        theta = theta + step
        theta[:, 1:] = np.clip(theta[:, 1:], limit.low, limit.high)
        ended = small & (cap == 1.0)
        ends[live[ended]] = value[ended] + np.einsum("mi,mi->m", a[ended], step[ended])
        keep = ~ended & (np.abs(theta[:, 0]) < OUT_OF_SIGHT)
        live, theta, last, step = live[keep], theta[keep], last[keep], step[keep]
        if not live.size:
            break
    return np.where(np.isnan(ends), side * np.inf, ends)


def _towards(normal: Floats, right: Floats, a: Floats, spare: Floats, side: Floats) -> Floats:
    """The step to the end of a quantity with slopes `a` that a quadratic residual sum would have."""
    both = _scaled_solve(normal, np.stack([right, a], axis=2))
    spare = spare + np.einsum("mi,mi->m", right, both[:, :, 0])
    along = np.einsum("mi,mi->m", a, both[:, :, 1])
    far = side * np.sqrt(np.maximum(spare, 0.0) / np.maximum(along, 1e-300))
    return np.asarray(both[:, :, 0] + far[:, None] * both[:, :, 1])


def _scaled_solve(normal: Floats, right: Floats) -> Floats:
    """Solve small normal equations, rows and columns brought to one size first."""
    size = np.sqrt(np.maximum(np.einsum("mii->mi", normal), 1e-300))
    scaled = normal / size[:, :, None] / size[:, None, :] + 1e-12 * np.eye(normal.shape[1])
    return cast(Floats, np.linalg.solve(scaled, right / size[:, :, None]) / size[:, :, None])


def _curved(
    shape: Shape,
    theta: Floats,
    problem: Problem,
    right: Floats,
    a: Floats,
    normal: Floats,
    room: Floats,
    measure: Measure,
    row: Rows,
) -> Floats:
    """The normal matrix with all second derivatives, by differences; the plain one where that is not convex."""
    m, q = theta.shape
    force = -np.einsum("mi,mi->m", right, a) / np.einsum("mi,mi->m", a, a)
    out = np.empty_like(normal)
    for j in range(q):
        shift = BEND_SHIFT * np.sqrt(room / np.maximum(normal[:, j, j], 1e-300))
        moved = theta.copy()
        moved[:, j] += shift
        right_j = _gram(shape, moved, problem)[1]
        a_j = measure(np.exp(moved[:, 0]), moved[:, 1:])[1][np.arange(m), row]
        out[:, :, j] = (right - right_j - force[:, None] * (a_j - a)) / shift[:, None]
    out = 0.5 * (out + out.transpose(0, 2, 1))
    size = np.sqrt(np.maximum(np.einsum("mii->mi", normal), 1e-300))
    least = np.linalg.eigvalsh(np.nan_to_num(out / size[:, :, None] / size[:, None, :]))[:, 0]
    return np.where((least > CONVEX)[:, None, None], out, normal)


def _gram(shape: Shape, theta: Floats, problem: Problem) -> tuple[Floats, Floats, Floats]:
    """Residual sum, right-hand side and normal matrix by (ln level, shape parameters)."""
    plain = problem if problem.counting is None else replace(problem, weight=None)
    stack = np.stack(columns(shape, theta[:, 1:], plain), axis=1)
    stack *= np.exp(theta[:, 0])[:, None, None]
    if problem.counting is None:
        left = problem.amount - stack[:, 0]
        cost = left**2
    else:
        left, cost = _counted(stack, problem)
    return (
        cost.sum(axis=1),
        np.einsum("mqn,mn->mq", stack, left),
        np.einsum("mqn,mpn->mqp", stack, stack),
    )


def _counted(stack: Floats, problem: Problem) -> tuple[Floats, Floats]:
    """Weighted residuals and their cost where the variance follows the curve: the quasi-deviance.

    Weights the columns in `stack` too. Wedderburn, Biometrika 61 (1974) 439–447; McCullagh & Nelder,
    Generalized Linear Models (1989), ch. 9.
    """
    assert problem.weight is not None and problem.counting is not None
    there = problem.weight > 0
    raw = np.where(there, problem.amount / np.where(there, problem.weight, 1.0), 0.0)
    a, c = problem.counting[:, :1], problem.counting[:, 1:]
    counts = a > 0
    mean = np.maximum(stack[:, 0], 0.0)
    root = np.where(there, np.where(counts, 1 / np.sqrt(np.where(counts, a * (mean + c), 1.0)), 1.0), 0.0)
    left = (raw - stack[:, 0]) * root
    stack *= root[:, None, :]
    usual = counts & (raw + c > 0) & there
    above, under = np.where(usual, raw + c, 1.0), np.where(usual, mean + c, 1.0)
    deviance = 2 * (above * np.log(above / under) - (above - under)) / np.where(counts, a, 1.0)
    return left, np.where(usual, deviance, left**2)
