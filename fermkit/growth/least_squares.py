"""The fitter behind every growth curve: least squares for thousands of curves at once, from sums alone.

The final level of a curve is a linear parameter, so it is eliminated (variable projection: Golub &
Pereyra, SIAM J. Numer. Anal. 10 (1973) 413–432; in Kaufman's form, BIT 15 (1975) 49–57). One pass over
the readings of a block of curves gives a handful of sums, and from these follow the Gauss–Newton step, the
residual sum of squares and the covariance. The start comes from a dictionary of shapes, compared with block
means in one matrix product; the fit is first run on the block means, then on all readings. Marquardt
damping comes in only after a step that made things worse, and curves leave the work as they converge.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import ParamSpec, TypeVar

import numpy as np
from numpy.typing import NDArray

from fermkit.basis.checks import Floats
from fermkit.growth.curves import Shape
from fermkit.growth.problem import Flags, Problem, Rows

Asked = ParamSpec("Asked")
Answer = TypeVar("Answer")

ERROR_IN_SE = 2e-5
"""A fit has converged when what the next step would leave is this small, in standard errors."""

MOST_SWEEPS = 80
"""Passes over the readings after which a fit is said not to have settled; four or five are usual."""

SHRINKS = (0.05, 0.98)
"""By how much the next step is believed to be shorter than this one, at best and at worst: Gauss-Newton steps shrink
in proportion, by a factor that their lengths so far tell, but one pair of lengths is a poor witness of more."""

DAMPING_FIRST, DAMPING_TIMES, DAMPING_LEAST, DAMPING_MOST = 1e-2, 8.0, 1e-3, 1e10
"""Marquardt's damping, as a share of the diagonal: where it begins after a step that made things worse, what it is
multiplied (then divided) by, under which it is dropped, and beyond which no step helps
(Marquardt, J. SIAM 11 (1963) 431)."""

SINGULAR = 1e-14
"""A determinant under this share of the diagonal's product is rounding error: the parameters cannot be told apart."""


def quiet(work: Callable[Asked, Answer]) -> Callable[Asked, Answer]:
    """Let trial steps run off into infinities: they are refused by their residual sum, not by a warning."""

    @wraps(work)
    def inner(*args: Asked.args, **kwargs: Asked.kwargs) -> Answer:
        with np.errstate(all="ignore"):
            return work(*args, **kwargs)

    return inner


dot = getattr(np, "vecdot", None) or (lambda a, b: np.einsum("ij,ij->i", a, b))  # vecdot: numpy 2


def columns(shape: Shape, p: Floats, problem: Problem) -> tuple[Floats, ...]:
    """Shape and its derivatives at the readings (or increments), weighted."""
    nu = np.exp(p[:, 2:3]) if shape.asymmetric else None
    out = shape.slopes(np.exp(p[:, :1]), p[:, 1:2], problem.time, nu)
    if problem.steps:
        out = tuple(one[:, 1:] - one[:, :-1] for one in out)
    if problem.weight is not None:
        for one in out:
            np.multiply(one, problem.weight, out=one)
    return out


@dataclass
class Sums:
    """What one sweep leaves of a block, one row a sum, one column a curve.

    Rows: g·g, level, residual sum; then for each slope s_i: g·s_i; residual·s_i; then s_i·s_j, j <= i.
    """

    rows: Floats
    q: int

    @property
    def level(self) -> Floats:
        """Best final level for the shape at hand."""
        return np.asarray(self.rows[1])

    @property
    def rss(self) -> Floats:
        """Residual sum of squares."""
        return np.asarray(self.rows[2])

    @property
    def right(self) -> Floats:
        """Residual times slope (q, m), for a level of one."""
        return np.asarray(self.rows[3 + self.q : 3 + 2 * self.q])

    def normal(self) -> Floats:
        """Normal matrix of the shape parameters with the level projected out (q, q, m)."""
        q, r = self.q, self.rows
        out = np.empty((q, q, r.shape[1]))
        k = 3 + 2 * q
        for i in range(q):
            for j in range(i + 1):
                out[i, j] = r[k] - r[3 + i] * r[3 + j] / r[0]
                out[j, i] = out[i, j]
                k += 1
        return out


def sweep(shape: Shape, p: Floats, problem: Problem) -> Sums:
    """One pass of model and derivatives over all readings of a block."""
    g, *slopes = columns(shape, p, problem)
    q = len(slopes)
    rows = np.empty((3 + 2 * q + q * (q + 1) // 2, len(p)))
    rows[0] = np.maximum(dot(g, g), 1e-300)
    rows[1] = dot(g, problem.amount) / rows[0]
    k = 3 + 2 * q
    for i, one in enumerate(slopes):
        rows[3 + i] = dot(g, one)
        for j in range(i + 1):
            rows[k] = dot(one, slopes[j])
            k += 1
    g *= rows[1][:, None]
    left = np.subtract(problem.amount, g, out=g)
    rows[2] = dot(left, left)
    for i, one in enumerate(slopes):
        rows[3 + q + i] = dot(left, one)
    return Sums(rows, q)


def _inverse(normal: Floats, damping: Floats | float = 0.0) -> Floats:
    """Inverses of symmetric 2x2 or 3x3 matrices (q, q, m); zero where singular."""
    n = normal
    if np.any(damping):
        n = normal.copy()
        for i in range(len(n)):
            n[i, i] *= 1 + damping
    if len(n) == 2:
        a, b, d = n[0, 0], n[0, 1], n[1, 1]
        det = a * d - b * b
        det = np.where((det > SINGULAR * a * d) & (det > 1e-290), det, np.inf)
        return np.array([[d / det, -b / det], [-b / det, a / det]])
    return _inverse3(n)


def _inverse3(n: Floats) -> Floats:
    """Inverses of symmetric 3x3 matrices by their cofactors; zero where singular."""
    a, b, c, d, e, f = n[0, 0], n[0, 1], n[0, 2], n[1, 1], n[1, 2], n[2, 2]
    out = np.empty_like(n)
    out[0, 0] = d * f - e * e
    out[0, 1] = out[1, 0] = c * e - b * f
    out[0, 2] = out[2, 0] = b * e - c * d
    out[1, 1] = a * f - c * c
    out[1, 2] = out[2, 1] = b * c - a * e
    out[2, 2] = a * d - b * b
    det = a * out[0, 0] + b * out[0, 1] + c * out[0, 2]
    out /= np.where((det > SINGULAR * a * d * f) & (det > 1e-290), det, np.inf)
    return out


@dataclass
class Found:
    """Where a block of fits ended: shape parameters, and the sums there."""

    p: Floats
    sums: Sums
    sweeps: NDArray[np.int64]
    converged: Flags
    held: Flags | None = None
    """Parameters that ended at a bound and are taken as known there (m, q)."""

    @property
    def level(self) -> Floats:
        """Final level of each curve."""
        return self.sums.level

    @property
    def rss(self) -> Floats:
        """Residual sum of squares of each curve."""
        return self.sums.rss

    def take(self, rows: Rows, other: "Found", chosen: Flags) -> None:
        """Put the chosen fits of another block in the place of these rows."""
        self.p[rows], self.sums.rows[:, rows] = other.p[chosen], other.sums.rows[:, chosen]
        self.converged[rows] = other.converged[chosen]
        self.sweeps[rows] += other.sweeps[chosen]
        if self.held is not None and other.held is not None:
            self.held[rows] = other.held[chosen]

    def theta(self) -> Floats:
        """ln level and shape parameters: (m, q + 1). The level must be above zero."""
        return np.column_stack([np.log(np.where(self.level > 0, self.level, np.nan)), self.p])

    def covariance(self) -> Floats:
        """Covariance of (ln level, shape parameters) for readings of unit variance: (m, q+1, q+1).

        NaN where the readings cannot tell the parameters apart.
        """
        r, q = self.sums.rows, self.sums.q
        if self.held is None or not self.held.any():
            inverse = _inverse(self.sums.normal())
        else:
            inverse = _inverse(hold(self.sums.normal(), self.held.T))
            for i in range(q):
                inverse[i, i] *= ~self.held[:, i]
        along = r[3 : 3 + q] / r[0]
        out = np.empty((q + 1, q + 1, r.shape[1]))
        out[1:, 1:] = inverse
        out[0, 1:] = out[1:, 0] = -np.einsum("ijm,jm->im", inverse, along)
        out[0, 0] = 1 / r[0] - np.einsum("im,im->m", along, out[0, 1:])
        out /= self.level**2
        tied = (inverse[0, 0] == 0) & (inverse[1, 1] == 0)
        out[:, :, tied | (np.einsum("iim->im", out) < 0).any(axis=0)] = np.nan
        return np.moveaxis(out, 2, 0)


@dataclass(frozen=True)
class Reach:
    """How far the shape parameters may go: from `low` to `high`, and the longest step in each."""

    low: Floats
    high: Floats
    step: Floats


def reach(shape: Shape, time: Floats) -> Reach:
    """Bounds that no curve of any use would touch, from the times alone.

    Rises that take fifty times the span of the readings, or a sixtieth of the distance between two; steepest points
    sixty spans away; Richards' asymmetry from 0.02 (as good as Gompertz) to 50 (as good as a corner).
    """
    span = float(time.max() - time.min()) or 1.0
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
    tolerance: float = ERROR_IN_SE,
) -> Found:
    """Gauss–Newton from `p`, damped where a step made things worse, until every curve has converged.

    A curve is done when the error that the next step would leave, judged by how much shorter that step
    is than the one before, is within `tolerance` standard errors; the step is still taken.
    """
    m = len(p)
    now = sweep(shape, p, problem)
    dof = problem.dof(p.shape[1] + 1)
    at_bound = np.zeros(p.shape, dtype=bool)
    turns, settled = np.ones(m, dtype=np.int64), np.zeros(m, dtype=bool)
    out = Found(p.copy(), Sums(now.rows.copy(), now.q), turns, settled, at_bound)
    rows, work = np.arange(m), problem
    damping, before = np.zeros(m), np.full(m, 1e-300)
    for turn in range(1, sweeps + 1):
        step = _shortened(_step(now, damping), limit)
        trial = p + step
        held, cut, beyond = None, None, (trial < limit.low) | (trial > limit.high)
        if beyond.any():
            held = ((p <= limit.low) & (step < 0)) | ((p >= limit.high) & (step > 0))
            free = p + _shortened(_step(now, damping, held), limit)
            trial = np.clip(free, limit.low, limit.high)
            step, cut = trial - p, (trial != free).any(axis=1)
        gain = now.level * sum(step[:, i] * now.right[i] for i in range(now.q))
        noise = np.maximum(now.rss, 1e-30 * now.rows[0] * now.level**2)
        length = np.sqrt(np.maximum(gain, 0.0) * dof / noise)
        shrink = np.clip(length / before, *SHRINKS)
        done = length * shrink <= tolerance * (1 - shrink)
        if cut is not None:
            done &= ~cut  # a step cut short at a bound is no sign of having arrived
        done |= damping > DAMPING_MOST
        if turn == sweeps:
            done[:] = True
        if done.any():
            ended = rows[done]
            out.p[ended] = trial[done]
            out.sums.rows[:, ended] = now.rows[:, done]
            _follow(out.sums.rows, ended, now, step[done], gain, done)
            out.sweeps[ended] = turn
            if held is not None:
                at_bound[ended] = held[done]
            out.converged[ended] = (damping[done] <= DAMPING_MOST) & (turn < sweeps)
            keep = ~done
            rows = rows[keep]
            if not rows.size:
                break
            p, trial, damping, before, dof = p[keep], trial[keep], damping[keep], before[keep], dof[keep]
            length, now, work = length[keep], Sums(now.rows[:, keep], now.q), work.of(keep)
        new = sweep(shape, trial, work)
        better = new.rss <= now.rss * (1 + 1e-12)
        if better.all():
            p, now, before = trial, new, length + 1e-300
            damping = _relaxed(damping)
        else:
            p = np.where(better[:, None], trial, p)
            now = Sums(np.where(better, new.rows, now.rows), now.q)
            before = np.where(better, length + 1e-300, 1e-300)
            damping = np.where(better, _relaxed(damping), np.maximum(DAMPING_TIMES * damping, DAMPING_FIRST))
    return out


def _relaxed(damping: Floats) -> Floats:
    return np.where(damping > DAMPING_LEAST, damping / DAMPING_TIMES, 0.0)


def _step(now: Sums, damping: Floats, held: Flags | None = None) -> Floats:
    """The Gauss–Newton step (m, q), without the parameters that are held at a bound."""
    normal, right = now.normal(), now.right
    if held is not None:
        normal, right = hold(normal, held.T), np.where(held.T, 0.0, right)
    inverse = _inverse(normal, damping)
    level = np.where(now.level == 0, np.inf, now.level)
    return np.stack([sum(inverse[i, j] * right[j] for j in range(now.q)) / level for i in range(now.q)], axis=1)


def _shortened(step: Floats, limit: Reach) -> Floats:
    """A step cut to the longest allowed, its direction kept."""
    much = np.abs(step[:, 0]) / limit.step[0]
    for i in range(1, step.shape[1]):
        np.maximum(much, np.abs(step[:, i]) / limit.step[i], out=much)
    return np.asarray(step / np.maximum(much, 1.0)[:, None])


def hold(normal: Floats, held: Flags) -> Floats:
    """Normal matrices (q, q, m) in which the held parameters (q, m) stand apart from the others."""
    out = np.where(held[:, None] | held[None, :], 0.0, normal)
    for i in range(len(out)):
        out[i, i] = np.where(held[i], 1.0, normal[i, i])
    return out


def _follow(rows: Floats, ended: Rows, now: Sums, step: Floats, gain: Floats, done: Flags) -> None:
    """Bring level and residual sum along with a last step that is taken without another sweep."""
    q = now.q
    along = np.einsum("im,mi->m", now.rows[3 : 3 + q, done], step) / now.rows[0, done]
    rows[1, ended] *= 1 - along
    rows[2, ended] -= np.minimum(gain[done], now.rss[done])


def expected(shape: Shape, found: Found, problem: Problem) -> Floats:
    """The fitted readings, or increments, unweighted: (m, n)."""
    extra = (np.exp(found.p[:, 2:3]),) if shape.asymmetric else ()
    g = shape.value(np.exp(found.p[:, :1]), found.p[:, 1:2], problem.time, *extra)
    return (np.diff(g, axis=1) if problem.steps else g) * found.level[:, None]
