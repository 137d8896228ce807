"""What the residuals of a fit say, in words: runs, drift, wild readings, scatter against the stated u."""

from dataclasses import replace

import numpy as np

from fermkit.basis.checks import Floats
from fermkit.basis.statistics import runs_p
from fermkit.basis.written import in_words, nominal, uncertainty
from fermkit.growth.curves import Shape
from fermkit.growth.least_squares import Found, columns, expected
from fermkit.growth.problem import Problem
from fermkit.growth.smoothing import FEWEST, series_of
from fermkit.growth.verdicts import UNGIVEN, Verdict

UNLIKELY = 0.01
"""Chance under which residuals are taken to show that the curve does not follow: once in a hundred good fits."""


def standardised(shape: Shape, problem: Problem, found: Found) -> Floats:
    """Weighted residuals of one fit over their own standard deviation: (n,)."""
    fitted = columns(shape, found.p, problem)[0][0] * found.level[0]
    left = problem.amount[0] - fitted
    scale = float(np.sqrt(found.rss[0] / problem.dof(shape.parameters)[0]))
    return np.asarray(left / scale) if scale > 0 else np.zeros_like(left)


def follows(shape: Shape, problem: Problem, found: Found, time: Floats, amount: Floats) -> bool:
    """Whether a curve follows its readings: no runs of one sign, and no more scatter than they have of their own.

    Their own scatter is that about the local curve through each reading's neighbours, or the stated u.
    """
    from scipy.special import chdtrc, fdtrc

    dof = float(problem.dof(shape.parameters)[0])
    if runs_p(standardised(shape, problem, found)) < UNLIKELY:
        return False
    if problem.known:
        return bool(chdtrc(dof, float(found.rss[0])) >= UNLIKELY)
    if time.size < FEWEST:
        return True
    own = series_of(time, amount, problem.steps, float(time[-1]))
    if own.time.size < time.size:  # blocks of many readings, whose scatter is not that of one
        return True
    left = amount - expected(shape, found, replace(problem, steps=False))[0]
    left = np.diff(left) if problem.steps else left
    ratio = float(np.sum(left**2 / np.maximum(own.variance, 1e-300))) / dof
    return bool(fdtrc(dof, own.dof, ratio) >= UNLIKELY)


def remarks_on(
    shape: Shape, problem: Problem, found: Found, time: Floats, verdict: Verdict, lag: object
) -> tuple[str, ...]:
    """Everything about a fit that should be doubted, a sentence each."""
    from scipy.special import ndtri

    out = [_VERDICTS[verdict]] if verdict in _VERDICTS else []
    if verdict in UNGIVEN:
        return tuple(out)
    if nominal(lag) - 2 * uncertainty(lag) <= 0:
        out.append("The lag is zero within its error: the curve starts steep.")
    if found.held is not None and found.held[0].any():
        out.append(
            "A parameter of the shape (of Richards: the asymmetry) is at its bound and taken as known there; "
            "a curve with fewer parameters would do."
        )
    left = standardised(shape, problem, found)
    p = runs_p(left)
    if p < UNLIKELY:
        out.append(
            f"The residuals come in runs of one sign ({in_words(p)}): this curve does not follow the readings "
            "to within their scatter, so its intervals are too narrow; compare the curves."
        )
    wild = np.flatnonzero(np.abs(left) > ndtri(1 - 0.005 / left.size))
    if wild.size and wild.size <= 0.1 * left.size:
        at = ", ".join(f"{time[i + problem.steps]:g} h" for i in wild[:5])
        out.append(f"Far from the curve: the reading at {at}; look at it.")
    if problem.known:
        out += _against_u(float(found.rss[0]), float(problem.dof(shape.parameters)[0]))
    return tuple(out)


def _against_u(rss: float, dof: float) -> list[str]:
    from scipy.special import chdtr, chdtrc

    ratio = np.sqrt(rss / dof)
    if chdtrc(dof, rss) < 0.001:
        return [
            f"The readings scatter {ratio:.2g} times as much as their stated u: u is too small, or the curve is wrong."
        ]
    if chdtr(dof, rss) < 0.001:
        return [f"The readings scatter only {ratio:.2g} times their stated u: u is too large."]
    return []


_VERDICTS = {
    Verdict.FALLS: "These readings do not rise: no growth is shown, and no number is given.",
    Verdict.FLAT: (
        "These readings are no better described by a growth curve than by a constant: no growth is shown yet."
    ),
    Verdict.TIED: "Many curves fit these readings equally well: no single answer can be given.",
    Verdict.UNSETTLED: "The fit did not settle: read these numbers as a sketch.",
    Verdict.OPEN: ("The curve has not bent yet, so these readings set no upper end to the final amount."),
    Verdict.STEEP: (
        "The whole rise lies between two readings: the largest rate is a lower bound, and the lag is known only "
        "to the distance of the readings, if at all."
    ),
}
