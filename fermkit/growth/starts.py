"""Where the fit of a growth curve begins: the best of a dictionary of shapes, improved on block means."""

from functools import lru_cache

import numpy as np

from fermkit.basis.checks import Floats
from fermkit.growth.curves import Shape
from fermkit.growth.least_squares import Reach, descend
from fermkit.growth.problem import Problem

BLOCKS = 14
"""Block means that a curve is reduced to for its start."""


@lru_cache(maxsize=16)
def _dictionary(asymmetric: bool) -> Floats:
    """Starting points: ln of steepness times span, steepest time over span (and ln asymmetry)."""
    steep = np.geomspace(1.3, 80, 11)
    when = np.concatenate([[-1.0, -0.3, -0.1], np.linspace(0, 1, 17), [1.1, 1.25, 1.5, 2.0]])
    third = np.log([0.1, 1.0, 5.0]) if asymmetric else np.zeros(1)
    grid = np.stack([a.ravel() for a in np.meshgrid(third, np.log(steep), when, indexing="ij")], axis=1)
    return grid[:, [1, 2, 0]] if asymmetric else grid[:, 1:]


def first_guesses(shape: Shape, means: Problem) -> list[Floats]:
    """The dictionary's best shapes for each curve, (m, q), judged on block means: one for each asymmetry."""
    first, span = means.time[:, :1], means.time[:, -1:] - means.time[:, :1]
    grid = _dictionary(shape.asymmetric)
    nu = (np.exp(grid[:, 2:3]),) if shape.asymmetric else ()
    kinds = 3 if shape.asymmetric else 1
    weight = np.ones_like(means.amount[:1]) if means.weight is None else means.weight
    y = means.amount * weight
    best = np.empty((len(y), kinds), dtype=np.intp)
    common = len(means.time) == 1
    for i in range(0, len(y), len(y) if common else 1):
        rows = slice(None) if common else slice(i, i + 1)
        tau, offset = means.time[rows][:1] / span[rows][:1], float(first[rows][0, 0] / span[rows][0, 0])
        shapes = shape.value(np.exp(grid[:, :1]), grid[:, 1:2] + offset, tau, *nu)
        if len(weight) == 1:
            shapes /= np.sqrt(np.maximum(weight**2 @ (shapes**2).T, 1e-300)).T
            match = y[rows] @ shapes.T
        else:
            match = y[rows] @ shapes.T / np.sqrt(np.maximum(weight[rows] ** 2 @ (shapes**2).T, 1e-300))
        best[rows] = np.argmax(match.reshape(len(match), kinds, -1), axis=2)
    out = []
    for kind in range(kinds):
        p = grid[best[:, kind] + kind * (len(grid) // kinds)]
        p[:, 0] -= np.log(span[:, 0])
        p[:, 1] = p[:, 1] * span[:, 0] + first[:, 0]
        out.append(p)
    return out


def block_means(problem: Problem) -> Problem:
    """Means of some neighbouring readings each, `BLOCKS` of them, weighted by how many there are."""
    n = problem.amount.shape[1]
    if n <= 2 * BLOCKS:
        return problem
    gather = np.repeat(np.eye(BLOCKS), np.diff(np.linspace(0, n, BLOCKS + 1).astype(int)), axis=0)
    count = gather.sum(axis=0)
    if problem.weight is None:
        root = np.sqrt(count)
        return Problem(problem.time @ (gather / count), problem.amount @ (gather / root), root[None, :])
    weight = problem.weight**2
    total = weight @ gather
    time = (weight * problem.time) @ gather / np.maximum(total, 1e-300)
    if len(problem.time) == 1 or len(weight) == 1:  # a dictionary needs one grid of times
        time = problem.time @ (gather / count)
    time = np.where(total > 0, time, problem.time @ (gather / count)) if len(time) > 1 else time
    return Problem(
        time, (problem.weight * problem.amount) @ gather / np.sqrt(np.maximum(total, 1e-300)), np.sqrt(total)
    )


def start(shape: Shape, problem: Problem, level: Floats, limit: Reach) -> Floats:
    """Shape parameters to begin with: the dictionary's best, improved on block means of the readings."""
    means = block_means(Problem(problem.time, level) if problem.steps else problem)
    found = [descend(shape, guess, means, limit, sweeps=4, tolerance=0.1) for guess in first_guesses(shape, means)]
    if len(found) == 1:
        return found[0].p
    best = np.argmin([each.rss for each in found], axis=0)
    return np.asarray(np.stack([each.p for each in found])[best, np.arange(len(best))])
