"""Thousands of growth curves at once: a least-squares fitter that keeps only sums.

The final level of a curve is a linear parameter, so it is eliminated (variable projection: Golub &
Pereyra, SIAM J. Numer. Anal. 10 (1973) 413–432; in Kaufman's form, BIT 15 (1975) 49–57). One pass over the readings of a
block of curves gives a handful of sums, and from these follow the Gauss–Newton step, the residual sum of
squares and the covariance. The start comes from a dictionary of shapes, compared with block means in one
matrix product; the fit is first run on the block means, then on all readings. Marquardt damping comes in
only after a step that made things worse, and curves leave the work as they converge.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fermkit.curves import Shape

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

BLOCKS = 16
"""Block means that a curve is reduced to for its start."""

STEP_IN_SE = 3e-5
"""A fit has converged when the next step is this small, in standard errors; that step is still taken."""

MOST_SWEEPS = 60


@dataclass
class Problem:
    """A block of curves to fit: times, readings, and the square roots of their weights.

    `time` is (1, n) or (m, n) in hours from the first reading, `amount` (m, n), `weight` (m, n), (1, n)
    or None. Readings that are missing have an amount of 0 and a weight of 0. With `steps`, amounts
    and weights are those of the increments, one fewer than the times.
    """

    time: Floats
    amount: Floats
    weight: Floats | None
    steps: bool = False

    def of(self, rows: NDArray[np.intp] | Flags) -> "Problem":
        """The same for some of the curves."""
        return Problem(
            self.time if len(self.time) == 1 else self.time[rows],
            self.amount[rows],
            self.weight if self.weight is None or len(self.weight) == 1 else self.weight[rows],
            self.steps,
        )


@dataclass
class Sums:
    """What one sweep leaves of a block: final level, residual sum, projected normal equations."""

    level: Floats
    rss: Floats
    right: Floats
    normal: Floats
    gg: Floats
    gj: Floats


def sweep(shape: Shape, p: Floats, problem: Problem) -> Sums:
    """One pass of model and derivatives over all readings of a block."""
    nu = np.exp(p[:, 2:3]) if shape.asymmetric else None
    columns = shape.slopes(np.exp(p[:, :1]), p[:, 1:2], problem.time, nu)
    if problem.steps:
        columns = tuple(np.diff(column, axis=1) for column in columns)
    if problem.weight is not None:
        columns = tuple(column * problem.weight for column in columns)
    g, slopes = columns[0], columns[1:]
    y = problem.amount
    gg = np.maximum(_dot(g, g), 1e-300)
    level = _dot(g, y) / gg
    left = g * level[:, None]
    np.subtract(y, left, out=left)
    q = len(slopes)
    gj = np.empty((len(p), q))
    right = np.empty((len(p), q))
    normal = np.empty((len(p), q, q))
    for i, one in enumerate(slopes):
        gj[:, i] = _dot(g, one)
        right[:, i] = _dot(left, one)
        for j in range(i + 1):
            normal[:, i, j] = _dot(one, slopes[j]) - gj[:, i] * gj[:, j] / gg
            normal[:, j, i] = normal[:, i, j]
    right *= level[:, None]
    normal *= (level**2)[:, None, None]
    return Sums(level, _dot(left, left), right, normal, gg, gj * level[:, None])


def _dot(a: Floats, b: Floats) -> Floats:
    return np.einsum("ij,ij->i", a, b)


def _solve(normal: Floats, right: Floats, damping: Floats) -> Floats:
    """Small damped normal equations in closed form; a singular one gives a step of zero."""
    q = right.shape[1]
    n = normal.copy()
    for i in range(q):
        n[:, i, i] *= 1 + damping
    if q == 2:
        a, b, c = n[:, 0, 0], n[:, 0, 1], n[:, 1, 1]
        det = a * c - b * b
        good = det > 1e-14 * a * c
        det = np.where(good, det, np.inf)
        return np.stack(
            [(c * right[:, 0] - b * right[:, 1]) / det, (a * right[:, 1] - b * right[:, 0]) / det], axis=1
        )
    inverse, good = _inverse3(n)
    return np.einsum("mij,mj->mi", inverse, right)


def _inverse3(n: Floats) -> tuple[Floats, Flags]:
    """Inverses of symmetric 3x3 matrices by their cofactors; zero where singular."""
    a, b, c, d, e, f = n[:, 0, 0], n[:, 0, 1], n[:, 0, 2], n[:, 1, 1], n[:, 1, 2], n[:, 2, 2]
    out = np.empty_like(n)
    out[:, 0, 0] = d * f - e * e
    out[:, 0, 1] = out[:, 1, 0] = c * e - b * f
    out[:, 0, 2] = out[:, 2, 0] = b * e - c * d
    out[:, 1, 1] = a * f - c * c
    out[:, 1, 2] = out[:, 2, 1] = b * c - a * e
    out[:, 2, 2] = a * d - b * b
    det = a * out[:, 0, 0] + b * out[:, 0, 1] + c * out[:, 0, 2]
    good = det > 1e-14 * a * d * f
    out /= np.where(good, det, np.inf)[:, None, None]
    return out, good


@dataclass
class Found:
    """Where a block of fits ended: shape parameters, final level, residual sum, inverse normal matrix."""

    p: Floats
    level: Floats
    rss: Floats
    normal: Floats
    gg: Floats
    gj: Floats
    sweeps: NDArray[np.int64]
    converged: Flags

    def covariance(self) -> Floats:
        """Covariance of (level, shape parameters) for unit variance of a reading: (m, q+1, q+1)."""
        q = self.p.shape[1]
        full = np.empty((len(self.p), q + 1, q + 1))
        full[:, 0, 0] = self.gg
        full[:, 0, 1:] = full[:, 1:, 0] = self.gj
        full[:, 1:, 1:] = self.normal + self.gj[:, :, None] * self.gj[:, None, :] / self.gg[:, None, None]
        size = np.sqrt(np.maximum(np.einsum("mii->mi", full), 1e-300))
        scaled = full / size[:, :, None] / size[:, None, :]
        inverse = np.full_like(full, np.nan)
        if q == 2:
            inverse, good = _inverse3(scaled)
            inverse[~good] = np.nan
        else:
            good = np.linalg.cond(scaled) < 1e14
            inverse[good] = np.linalg.inv(scaled[good])
        return inverse / size[:, :, None] / size[:, None, :]


@dataclass(frozen=True)
class Reach:
    """How far the shape parameters may go: from `low` to `high`, and the longest step in each."""

    low: Floats
    high: Floats
    step: Floats


def reach(shape: Shape, time: Floats) -> Reach:
    """Bounds that no curve of any use would touch, from the times alone."""
    span = float(np.nanmax(time) - np.nanmin(time)) or 1.0
    low = [np.log(0.02 / span), -60 * span]
    high = [np.log(60.0 * time.shape[1] / span), 60 * span]
    step = [1.0, 0.3 * span]
    if shape.asymmetric:
        low, high, step = [*low, np.log(0.02)], [*high, np.log(50.0)], [*step, 0.7]
    return Reach(np.array(low), np.array(high), np.array(step))


def descend(
    shape: Shape,
    p: Floats,
    problem: Problem,
    limit: Reach,
    *,
    sweeps: int = MOST_SWEEPS,
    tolerance: float = STEP_IN_SE,
) -> Found:
    """Gauss–Newton from `p`, damped where a step made things worse, until every curve has converged."""
    m, q = p.shape
    n = problem.amount.shape[1]
    dof = np.full(m, max(n - q - 1, 1), dtype=float)
    if problem.weight is not None:
        dof = np.maximum(
            np.count_nonzero(np.broadcast_to(problem.weight, problem.amount.shape), axis=1) - q - 1.0, 1.0
        )
    out = Found(
        p.copy(),
        np.zeros(m),
        np.full(m, np.inf),
        np.zeros((m, q, q)),
        np.ones(m),
        np.zeros((m, q)),
        np.zeros(m, dtype=np.int64),
        np.zeros(m, dtype=bool),
    )
    rows = np.arange(m)
    work, trial = problem, p.copy()
    damping = np.zeros(m)
    right = np.zeros((m, q))
    for _ in range(sweeps):
        sums = sweep(shape, trial, work)
        out.sweeps[rows] += 1
        better = sums.rss <= out.rss[rows] * (1 + 1e-12)
        kept = rows[better]
        out.p[kept], out.level[kept], out.rss[kept] = trial[better], sums.level[better], sums.rss[better]
        out.normal[kept], out.gg[kept], out.gj[kept] = sums.normal[better], sums.gg[better], sums.gj[better]
        right[kept] = sums.right[better]
        damping[rows] = np.where(
            better,
            np.where(damping[rows] > 1e-3, damping[rows] / 8, 0.0),
            np.maximum(8 * damping[rows], 1e-2),
        )
        step = _solve(out.normal[rows], right[rows], damping[rows])
        step /= np.maximum(np.max(np.abs(step) / limit.step, axis=1), 1.0)[:, None]
        trial = np.clip(out.p[rows] + step, limit.low, limit.high)
        step = trial - out.p[rows]
        gain = np.einsum("mi,mi->m", step, right[rows])
        done = (gain <= tolerance**2 * out.rss[rows] / dof[rows]) | (damping[rows] > 1e8)
        if done.any():
            ended = rows[done]
            out.p[ended] = trial[done]
            out.converged[ended] = damping[ended] < 1e8
            rows, trial = rows[~done], trial[~done]
            if not rows.size:
                break
            work = problem.of(rows) if rows.size < len(problem.amount) else problem
    return out


@lru_cache(maxsize=16)
def _dictionary(name: str, asymmetric: bool) -> Floats:
    """Starting points: steepness times span, steepest time over span (and asymmetry)."""
    steep = np.geomspace(1.2, 90, 11)
    when = np.concatenate([[-1.0, -0.4, -0.15], np.linspace(0, 1, 17), [1.1, 1.25, 1.5, 2.0]])
    third = np.log([0.1, 1.0, 5.0]) if asymmetric else np.zeros(1)
    grid = np.stack([a.ravel() for a in np.meshgrid(np.log(steep), when, third, indexing="ij")], axis=1)
    return grid if asymmetric else grid[:, :2]


def first_guess(shape: Shape, levels: Problem, best: int = 1) -> Floats:
    """The dictionary's `best` shapes for each curve: (m, best, q). `levels` holds block means."""
    span = levels.time[:, -1:] - levels.time[:, :1]
    first = levels.time[:, :1]
    grid = _dictionary(shape.name, shape.asymmetric)
    nu = np.exp(grid[:, 2:3]) if shape.asymmetric else None
    tau = (levels.time[:1] - first[:1]) / span[:1]
    offset = first[0, 0] / span[0, 0]
    arguments = (np.exp(grid[:, :1]), grid[:, 1:2] + offset, tau + offset)
    shapes = shape.value(*arguments) if nu is None else shape.value(*arguments, nu)
    weight = np.ones_like(levels.amount[:1]) if levels.weight is None else levels.weight
    gg = weight**2 @ (shapes**2).T
    fit = (levels.amount * weight) @ shapes.T
    score = np.where(fit > 0, fit * fit, 0.0) / np.maximum(gg, 1e-300)
    if best == 1:
        chosen = np.argmax(score, axis=1)[:, None]
    else:
        chosen = np.argsort(-score, axis=1)[:, :best]
    p = grid[chosen]
    p[:, :, 0] -= np.log(span)
    p[:, :, 1] = p[:, :, 1] * span + first
    return p


def block_means(problem: Problem) -> Problem:
    """Means of about `BLOCKS` neighbouring readings each, weighted by how many there are."""
    m, n = problem.amount.shape
    if n <= 2 * BLOCKS:
        return problem
    edges = np.linspace(0, n, BLOCKS + 1).astype(int)
    gather = np.zeros((n, BLOCKS))
    for k in range(BLOCKS):
        gather[edges[k] : edges[k + 1], k] = 1.0
    if problem.weight is None:
        count = gather.sum(axis=0)
        root = np.sqrt(count)
        return Problem(problem.time @ gather / count, problem.amount @ gather / root, root[None, :])
    weight = problem.weight**2
    total = weight @ gather
    safe = np.maximum(total, 1e-300)
    root = np.sqrt(total)
    time = (
        (weight * problem.time) @ gather / safe
        if len(weight) > 1 or len(problem.time) > 1
        else (problem.time @ gather / gather.sum(axis=0))
    )
    plain = problem.time @ gather / gather.sum(axis=0)
    time = np.where(total > 0, time, plain)
    return Problem(time, (problem.weight * problem.amount) @ gather / np.sqrt(safe), root)


def solve(shape: Shape, problem: Problem, time: Floats, level: Floats) -> Found:
    """Start and fit a block of curves. `time` and `level` are the readings themselves, for the start."""
    weight = None
    if not problem.steps and problem.weight is not None:
        weight, level = problem.weight, problem.amount
    means = block_means(Problem(time, level, weight))
    limit = reach(shape, time)
    p = first_guess(shape, means)[:, 0]
    p = descend(shape, p, means, limit, sweeps=8, tolerance=1e-2).p
    return descend(shape, p, problem, limit)


def extremes(
    shape: Shape,
    p: Floats,
    level: float,
    problem: Problem,
    ceiling: float,
    rows: Sequence[int],
    meaning: Callable[[Shape, float, Floats], tuple[Floats, Floats]],
) -> Floats:
    """Least and greatest value of some functions of a curve where its residual sum stays below `ceiling`.

    Each end is found by Newton steps on the constrained problem (Venzon & Moolgavkar, Appl. Statist. 37
    (1988) 87–94), with the Gauss–Newton matrix in place of the second derivatives.
    """
    q = len(p)
    limit = reach(shape, problem.time)
    ends = np.empty((len(rows), 2))
    for i, row in enumerate(rows):
        for j, side in enumerate((-1.0, 1.0)):
            theta = np.concatenate([[level], p])
            value = np.nan
            for _ in range(50):
                values, gradient = meaning(shape, theta[0], theta[1:])
                a = gradient[row]
                value = float(values[row])
                residual, jacobian = _residual(shape, theta, problem)
                s, g, h = float(residual @ residual), jacobian.T @ residual, jacobian.T @ jacobian
                try:
                    hg, ha = np.linalg.solve(h, g), np.linalg.solve(h, a)
                except np.linalg.LinAlgError:
                    value = side * np.inf
                    break
                spare = max(ceiling - s + float(g @ hg), 0.0)
                step = hg + side * np.sqrt(spare / float(a @ ha)) * ha
                size = max(
                    1.0, float(np.max(np.abs(step[1:]) / limit.step)), abs(step[0]) / (0.5 * abs(theta[0]))
                )
                theta = theta + step / size
                if float(step @ h @ step) < 1e-8 * ceiling / max(len(residual) - q - 1, 1):
                    break
            else:
                value = side * np.inf
            ends[i, j] = value
    return ends


def _residual(shape: Shape, theta: Floats, problem: Problem) -> tuple[Floats, Floats]:
    """Weighted data less model, and the model's derivatives by (level, shape parameters)."""
    p = theta[None, 1:]
    nu = np.exp(p[:, 2:3]) if shape.asymmetric else None
    columns = np.stack(shape.slopes(np.exp(p[:, :1]), p[:, 1:2], problem.time, nu))[:, 0]
    if problem.steps:
        columns = np.diff(columns, axis=1)
    if problem.weight is not None:
        columns = columns * problem.weight[0]
    columns[1:] *= theta[0]
    return problem.amount[0] - theta[0] * columns[0], columns.T
