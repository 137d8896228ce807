"""What a block of fits says, in numbers, and a verdict on each: what its readings can give, and what they cannot."""

from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from fermkit.basis.checks import Floats
from fermkit.basis.statistics import student
from fermkit.growth.confidence import extremes
from fermkit.growth.curves import Shape
from fermkit.growth.least_squares import Found, dot, expected, quiet
from fermkit.growth.problem import Problem


class Verdict(StrEnum):
    """What is said of a fit, worst first after "good"."""

    GOOD = "good"
    FEW = "too few readings"
    FALLS = "does not rise"
    FLAT = "no growth shown"
    TIED = "no single answer"
    UNSETTLED = "not settled"
    OPEN = "not bent yet: no final amount"
    STEEP = "rises between two readings: rate and lag are bounds"


VERDICTS = tuple(Verdict)
"""By the codes that blocks of fits carry."""

UNGIVEN = (Verdict.FALLS, Verdict.FLAT, Verdict.TIED)
"""Verdicts with which no number is given."""

GOOD, FEW, FALLS, FLAT, TIED, UNSETTLED, OPEN, STEEP = range(8)

COLUMNS = (
    "final_amount",
    "u_final_amount",
    "max_rate",
    "u_max_rate",
    "lag_h",
    "u_lag_h",
    "asymptote",
    "u_asymptote",
    "scatter",
)

RISE = (0.05, 0.95)
"""Shares of the final level between which a reading tells of the rise; with one there at most, rate and
lag are bounds."""

LEVEL_KNOWN, BENT = 0.1, 0.33
"""Whether the final amount is open is asked only where its relative ± exceeds a tenth, or the curve has not come to a
third of it: elsewhere the interval is taken to close, since the question costs more than the fit (own choice)."""

TOO_FAR = 30
"""A final amount whose 95 % interval reaches beyond this many times the readings is called open."""

NO_GROWTH = 1e-3
"""Chance under which readings are taken to grow: noise alone is called growth once in a thousand."""


@quiet
def judge(shape: Shape, problem: Problem, found: Found, level: Floats) -> tuple[Floats, NDArray[np.int8]]:
    """The numbers of `COLUMNS` for a block of fits, and a verdict on each (its place in `VERDICTS`)."""
    from scipy.special import stdtrit

    m = len(found.p)
    verdict = np.zeros(m, dtype=np.int8)
    dof = problem.dof(shape.parameters)
    variance = np.ones(m) if problem.known else found.rss / dof
    height = np.where(found.level > 0, found.level, 1.0)
    numbers, slopes = shape.quantities(height, found.p)
    covariance = found.covariance() * variance[:, None, None]
    spread = np.sqrt(np.maximum(np.einsum("mki,mij,mkj->mk", slopes, covariance, slopes), 0.0))
    values = np.empty((m, len(COLUMNS)))
    values[:, 0:8:2], values[:, 1:8:2], values[:, 8] = numbers, spread, np.sqrt(found.rss / dof)
    inside = _readings_between(problem.time, *(shape.when(found.p, share) for share in RISE))
    verdict[inside <= 1] = STEEP
    tied = ~np.isfinite(spread).all(axis=1) | ~np.isfinite(numbers).all(axis=1)
    extra = (np.exp(found.p[:, 2:3]),) if shape.asymmetric else ()
    reached = shape.value(np.exp(found.p[:, :1]), found.p[:, 1:2], problem.time[:, -1:], *extra)[:, 0]
    unsure = ~tied & (found.level > 0) & ((covariance[:, 0, 0] > LEVEL_KNOWN**2) | (reached < BENT))
    verdict[~found.converged] = UNSETTLED
    open_ends = np.zeros((m, 3), dtype=bool)
    if unsure.any():
        rows = np.flatnonzero(unsure)
        room = variance[rows] * (student(np.inf) ** 2 if problem.known else stdtrit(dof[rows], 0.975) ** 2)
        seen = level[rows] if problem.weight is None or problem.steps else _unweighted(level[rows], problem.of(rows))
        far = TOO_FAR * np.max(np.abs(seen), axis=1)
        open_ends[rows] = _open_ends(shape, problem.of(rows), found.theta()[rows], room, far)
        verdict[open_ends[:, 0]] = OPEN
    verdict[tied] = np.where(inside[tied] <= 1, STEEP, TIED)
    verdict[~_grows(shape, problem, found)] = FLAT
    verdict[~(found.level > 0)] = FALLS
    values[tied | np.isin(verdict, (FALLS, FLAT)), :8] = np.nan
    for which, places in enumerate(([0, 1, 6, 7], [2, 3], [4, 5])):
        values[:, places] = np.where(open_ends[:, which : which + 1], np.nan, values[:, places])
    return values, verdict


def _readings_between(time: Floats, low: Floats, high: Floats) -> NDArray[np.int64]:
    """How many readings of each curve lie between two times."""
    if len(time) == 1:
        return np.searchsorted(time[0], high) - np.searchsorted(time[0], low, side="right")
    return np.asarray(((time > low[:, None]) & (time < high[:, None])).sum(axis=1))


def _open_ends(shape: Shape, problem: Problem, theta: Floats, room: Floats, far: Floats) -> NDArray[np.bool_]:
    """Whether the readings leave the 95 % interval open: of final amount, largest rate, lag (m, 3).

    Rate and lag are asked for only where the final amount is open.
    """
    m = len(theta)

    def end(which: int, side: float, rows: NDArray[np.intp]) -> Floats:
        part = problem.of(rows)
        return extremes(shape, theta[rows], part, room[rows], np.full(len(rows), which), np.full(len(rows), side))

    out = np.zeros((m, 3), dtype=bool)
    out[:, 0] = ~(end(0, 1.0, np.arange(m)) < far)
    rows = np.flatnonzero(out[:, 0])
    if rows.size:
        out[rows, 1] = ~np.isfinite(end(1, 1.0, rows))
        out[rows, 2] = ~(np.isfinite(end(2, -1.0, rows)) & np.isfinite(end(2, 1.0, rows)))
    return out


def _unweighted(amount: Floats, problem: Problem) -> Floats:
    assert problem.weight is not None
    return np.where(problem.weight > 0, amount / np.where(problem.weight > 0, problem.weight, 1.0), 0.0)


def _grows(shape: Shape, problem: Problem, found: Found) -> NDArray[np.bool_]:
    """Whether the curve is better than a constant by more than chance would make it, at 1 in 1,000.

    The F-test of nested fits (Bates & Watts 1988, p. 103), chi-square where the errors are known.
    """
    from scipy.special import chdtrc, fdtrc

    y, w = problem.amount, problem.weight
    with_curve, dof, more = found.rss, problem.dof(shape.parameters), float(shape.parameters)
    if problem.steps:
        if not problem.known:  # the weights come from the fit and would favour it
            y = y if w is None else _unweighted(y, problem)
            there = np.ones((1, 1)) if w is None else w > 0
            with_curve = (((y - expected(shape, found, problem)) * there) ** 2).sum(axis=1)
        without = (y**2).sum(axis=1)
    else:
        if w is None:
            without = dot(y, y) - y.sum(axis=1) ** 2 / y.shape[1]
        else:
            without = dot(y, y) - (y * w).sum(axis=1) ** 2 / (w**2).sum(axis=1)
        more -= 1
    gain = np.maximum(without - with_curve, 0.0) / more
    if problem.known:
        return np.asarray(chdtrc(more, gain * more) < NO_GROWTH)
    floor = 1e-28 * np.maximum(without, 1e-300)
    return np.asarray(fdtrc(more, dof, gain / np.maximum(with_curve / dof, floor)) < NO_GROWTH)
