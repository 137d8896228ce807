"""Why a balance does not close: the mistakes that could have made the gap, ranked, those alike in one group."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from uncertainties import ufloat

from fermkit.composition import compound
from fermkit.faults import PRIOR_NOTHING_WRONG, Evidence, Fault, Nodes, lay_out, touched, usual_faults

Floats = NDArray[np.float64]
RESOLUTION: Final = 2.0
"""Explanations whose predictions differ by less than this many standard uncertainties count as one."""


@dataclass(frozen=True)
class Judged:
    """What the numbers say of one fault at each of its sizes."""

    log_likelihood: Floats
    misfit: Floats
    balance_misfit: Floats


def judge(evidence: Evidence, nodes: Nodes, x: Floats | None = None) -> Judged:
    """Log-likelihood of the amounts (the reported ones, or ``x``) when the fault is undone at each size."""
    x = evidence.x if x is None else x
    weighted = evidence.R * nodes.factors[:, None, :]
    residual = weighted @ x + nodes.adds
    P = weighted @ evidence.V @ weighted.transpose(0, 2, 1)
    misfit = _quadratic(P, residual)
    n = evidence.n_balance
    bound = [
        i
        for i, (free, s) in enumerate(zip(evidence.scale_free, evidence.standing))
        if not free and s == "measured"
    ]
    spread = np.log(nodes.factors[:, bound]).sum(axis=1)
    log_likelihood = -0.5 * (misfit + np.linalg.slogdet(P)[1]) + spread
    return Judged(
        log_likelihood, misfit, _quadratic(P[:, :n, :n], residual[:, :n]) if n else np.zeros(len(misfit))
    )


def _quadratic(P: Floats, residual: Floats) -> Floats:
    found: Floats = np.einsum("gi,gi->g", residual, np.linalg.solve(P, residual[:, :, None])[:, :, 0])
    return found


def log_sum(values: Floats) -> float:
    top = float(values.max())
    return top + float(np.log(np.exp(values - top).sum()))


def nothing_wrong(evidence: Evidence) -> Nodes:
    """The reported amounts as they are."""
    return Nodes(np.ones(1), np.ones((1, len(evidence.x))), np.zeros((1, evidence.R.shape[0])), np.zeros(1))


def undone(evidence: Evidence, nodes: Nodes, best: int) -> Floats:
    """The amounts that a person would have reported without any chance error, had this been what happened."""
    factor = nodes.factors[best]
    weighted = evidence.R * factor
    P = weighted @ evidence.V @ weighted.T
    residual = weighted @ evidence.x + nodes.adds[best]
    expected: Floats = evidence.x - evidence.V @ (weighted.T @ np.linalg.solve(P, residual))
    return expected


@dataclass(frozen=True)
class Ranking:
    """Weights of all explanations for one set of numbers, before they are put in words.

    Attributes
    ----------
    faults : list of Fault
        In the order laid out; ``weights[-1]`` belongs to chance alone.
    weights : array
        Posterior weights, adding up to one.
    groups : list of tuple of int
        Faults that this run cannot tell apart, best group first; each begins with its best.
    """

    faults: list[Fault]
    nodes: list[Nodes]
    judged: list[Judged]
    weights: Floats
    groups: list[tuple[int, ...]]


def rank(evidence: Evidence, faults: Sequence[Fault], resolution: float = RESOLUTION) -> Ranking:
    """Weigh the faults by Bayes' rule and put those together that the run cannot tell apart."""
    contents = _contents(evidence, faults)
    nodes = [lay_out(fault, evidence, contents) for fault in faults]
    judged = [judge(evidence, n) for n in nodes]
    prior = np.log((1 - PRIOR_NOTHING_WRONG) / len(faults))
    logs = [prior + log_sum(n.log_share + j.log_likelihood) for n, j in zip(nodes, judged)]
    chance = np.log(PRIOR_NOTHING_WRONG) + float(judge(evidence, nothing_wrong(evidence)).log_likelihood[0])
    logs = np.array([*logs, chance])
    weights = np.exp(logs - log_sum(logs))
    return Ranking(
        list(faults), nodes, judged, weights, _groups(evidence, nodes, judged, weights[:-1], resolution)
    )


def _groups(
    evidence: Evidence, nodes: list[Nodes], judged: list[Judged], weights: Floats, resolution: float
) -> list[tuple[int, ...]]:
    left = [int(i) for i in np.argsort(-weights)]
    groups = []
    while left:
        top = left.pop(0)
        best = int(np.argmax(nodes[top].log_share + judged[top].log_likelihood))
        expected = undone(evidence, nodes[top], best)
        alike = [i for i in left if float(judge(evidence, nodes[i], expected).misfit.min()) < resolution**2]
        groups.append((top, *alike))
        left = [i for i in left if i not in alike]
    return groups


def _contents(evidence: Evidence, faults: Sequence[Fault]) -> dict[str, list[float]]:
    formulas = {fault.adds for fault in faults if fault.adds}
    return {
        f: [_inside(f, row) for row in evidence.rows] + [0.0] * (evidence.K.shape[1] - len(evidence.rows))
        for f in formulas
    }


def _inside(formula: str, row: str) -> float:
    thing = compound(formula)
    return thing.electrons if row == "electrons" else thing.atoms.get(row, 0.0)


USUAL_YEAST_YIELD: Final = ufloat(0.06, 0.03)


class Explanations: ...


def explain(e, d):
    return rank(e, usual_faults(e, d))
