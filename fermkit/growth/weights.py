"""Weights that come from the fit: increments of unknown error, and wild readings."""

from dataclasses import replace

import numpy as np

from fermkit.basis.checks import Floats
from fermkit.growth.curves import Shape
from fermkit.growth.least_squares import (
    ERROR_IN_SE,
    MOST_SWEEPS,
    Found,
    Reach,
    descend,
    expected,
    quiet,
    reach,
)
from fermkit.growth.problem import Problem
from fermkit.growth.starts import start

COUNTING_SHARES = (1.0, 0.2, 0.03, 0.003)
"""Shares of an increment's variance that do not grow with the increment: tried, the likeliest kept."""


@quiet
def solve(
    shape: Shape, problem: Problem, level: Floats, p: Floats | None = None, tolerance: float = ERROR_IN_SE
) -> tuple[Problem, Found]:
    """Start and fit a block of curves; increments of unknown error get their weights from the fit.

    Parameters
    ----------
    problem : Problem
    level : numpy.ndarray of shape (m, number of times)
        The readings themselves, from which the start is made.
    p : numpy.ndarray of shape (m, q), optional
        Where to start instead.
    tolerance : float
        What error may be left, in standard errors.

    Returns
    -------
    (Problem, Found)
        The problem with the weights that were used, and the fits.
    """
    limit = reach(shape, problem.time)
    p = start(shape, problem, level, limit) if p is None else p
    if not problem.steps or problem.known:
        found = descend(shape, p, problem, limit, tolerance=tolerance)
        return problem, _second_look(shape, problem, found, limit, tolerance) if shape.asymmetric else found
    found = descend(shape, p, problem, limit, sweeps=1)
    rounds = (((0.2,), 0.1, 3), (COUNTING_SHARES, 0.01, 3), (COUNTING_SHARES, tolerance, MOST_SWEEPS))
    for shares, error, sweeps in rounds:
        weighed = weigh_increments(shape, problem, found, shares)
        found = descend(shape, found.p, weighed, limit, tolerance=error, sweeps=sweeps)
    return weighed, found


def _second_look(shape: Shape, problem: Problem, found: Found, limit: Reach, tolerance: float) -> Found:
    """Where the asymmetry is poorly known, look for a better fit from a smaller and from a larger one."""
    variance = found.covariance()[:, 3, 3] * (1.0 if problem.known else found.rss / problem.dof(shape.parameters))
    rows = np.flatnonzero(~(variance < 0.1) | ~found.converged)
    for factor in (0.1, 10.0):
        if not rows.size:
            break
        k, lag, _ = shape.meaning(found.p[rows])
        nu = np.clip(np.exp(found.p[rows, 2]) * factor, 0.05, 20.0)
        b = k * (1 + nu) ** (1 + 1 / nu)
        p = np.clip(np.stack([np.log(b), lag + (1 + nu) / b, np.log(nu)], axis=1), limit.low, limit.high)
        again = descend(shape, p, problem.of(rows), limit, tolerance=tolerance)
        better = (again.rss < found.rss[rows]) & (again.level > 0)
        found.take(rows[better], again, better)
    return found


def weigh_increments(
    shape: Shape, problem: Problem, found: Found, shares: tuple[float, ...] = COUNTING_SHARES
) -> Problem:
    """Give increments of unknown error their weights.

    The variance of an increment is taken as part constant (a gauge, a drift) and part in proportion to
    the increment (counting); the share is the likeliest of `COUNTING_SHARES` for the residuals at hand,
    a mixture being charged for its extra parameter (pseudo-likelihood: Carroll & Ruppert, Transformation
    and Weighting in Regression, 1988, ch. 3; the charge: Akaike 1974).
    """
    there = np.ones((1, 1)) if problem.weight is None else (problem.weight > 0).astype(float)
    there = np.broadcast_to(there, problem.amount.shape)
    count = there.sum(axis=1)
    mean = np.maximum(expected(shape, found, problem), 0.0)
    mean *= there
    left = (problem.amount - mean) ** 2
    middle = np.maximum(mean.sum(axis=1) / count, 1e-300)
    mean /= middle[:, None]
    best, share = np.full(len(mean), np.inf), np.ones(len(mean))
    for trial in shares:
        variance = mean * (1 - trial)
        variance += trial
        size = (left / variance).sum(axis=1) / count
        np.log(variance, out=variance)
        cost = count * np.log(np.maximum(size, 1e-300)) + (variance * there).sum(axis=1)
        cost += 2.0 if COUNTING_SHARES[-1] < trial < 1 else 0.0
        share = np.where(cost < best, trial, share)
        best = np.minimum(cost, best)
    mean *= (1 - share)[:, None]
    variance = mean + share[:, None]
    # a small share may be none: where next to nothing came, nothing is learnt of the scatter
    worth = np.where(share <= 0.03, (mean / variance).sum(axis=1), count)
    counting = np.stack([(1 - share) / middle, share / np.maximum(1 - share, 1e-9) * middle], axis=1)
    weight = there / np.sqrt(variance)
    return replace(problem, amount=problem.amount * weight, weight=weight, worth=worth, counting=counting)
