"""Which mistake fits the numbers best: Bayes' rule over mistakes of every usual size.

For each mistake and each of its sizes the reported amounts are undone, and the likelihood of what is left of
the gap is taken; averaged over the sizes it gives the weight of the mistake. Nothing is assumed about the
amounts themselves beyond the balances, the usual by-products and the usual yeast yield.

References
----------
Weighing by marginal likelihood: Kass & Raftery, J. Am. Stat. Assoc. 90 (1995) 773-795.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fermkit.balance.evidence import Evidence
from fermkit.balance.faults import PRIOR_NOTHING_WRONG, Fault, Nodes, lay_out
from fermkit.basis.checks import Floats
from fermkit.matter.composition import compound

RESOLUTION: Final = 2.45
"""Explanations whose predictions differ by less than this many standard uncertainties count as one: the 95 % point
of the distance in two tests (carbon and electrons), the root of 5.99."""


@dataclass(frozen=True)
class Judged:
    """What the numbers say of one mistake at each of its sizes.

    Attributes
    ----------
    log_likelihood, misfit, balance_misfit : arrays
        Of shape (n_sizes,): chi-square of all tests, and of the balances alone.
    """

    log_likelihood: Floats
    misfit: Floats
    balance_misfit: Floats


@dataclass(frozen=True)
class Ranking:
    """Weights of all explanations for one set of numbers.

    Attributes
    ----------
    faults, nodes, judged : lists
        Of equal length.
    weights : array
        Posterior weights, adding up to one; the last belongs to chance alone (nothing wrong).
    groups : list of tuple of int
        Mistakes that this run cannot tell apart, best group first, each with its best in front.
    """

    faults: list[Fault]
    nodes: list[Nodes]
    judged: list[Judged]
    weights: Floats
    groups: list[tuple[int, ...]]

    def over_sizes(self, k: int) -> Floats:
        """How the weight of one mistake is spread over its sizes; adds up to one."""
        logs = self.nodes[k].log_share + self.judged[k].log_likelihood
        spread: Floats = np.exp(logs - log_sum(logs))
        return spread


def rank(evidence: Evidence, faults: Sequence[Fault], resolution: float = RESOLUTION) -> Ranking:
    """Weigh the mistakes by Bayes' rule and put those together that the run cannot tell apart."""
    contents = _contents(evidence, faults)
    nodes = [lay_out(fault, evidence, contents) for fault in faults]
    judged = [judge(evidence, n) for n in nodes]
    prior = np.log((1 - PRIOR_NOTHING_WRONG) / len(faults))
    logs = [prior + log_sum(n.log_share + j.log_likelihood) for n, j in zip(nodes, judged)]
    chance = np.log(PRIOR_NOTHING_WRONG) + float(judge(evidence, nothing_wrong(evidence)).log_likelihood[0])
    every = np.array([*logs, chance])
    weights = np.exp(every - log_sum(every))
    groups = _groups(evidence, nodes, judged, weights[:-1], resolution)
    return Ranking(list(faults), nodes, judged, weights, groups)


def judge(evidence: Evidence, nodes: Nodes, x: Floats | None = None) -> Judged:
    """Log-likelihood of the amounts (the reported ones, or `x`) when the mistake is undone at each size.

    The tests ``R D x`` have covariance ``R D V D R'``; amounts that test (rather than carry) the run bring
    the Jacobian of ``D``, so that a large factor is not favoured for shrinking the gap.
    """
    x = evidence.x if x is None else x
    weighted = evidence.R * nodes.factors[:, None, :]
    residual = weighted @ x + nodes.adds
    P = weighted @ evidence.V @ weighted.transpose(0, 2, 1)
    misfit, n = _quadratic(P, residual), evidence.n_balance
    tests = [
        i
        for i, (free, standing) in enumerate(zip(evidence.scale_free, evidence.standing))
        if not free and standing == "measured"
    ]
    jacobian = np.log(nodes.factors[:, tests]).sum(axis=1)
    log_likelihood = -0.5 * (misfit + np.linalg.slogdet(P)[1]) + jacobian
    balance = _quadratic(P[:, :n, :n], residual[:, :n]) if n else np.zeros(len(misfit))
    return Judged(log_likelihood, misfit, balance)


def nothing_wrong(evidence: Evidence) -> Nodes:
    """The reported amounts as they are."""
    n_tests, n = evidence.R.shape
    return Nodes(np.ones(1), np.ones((1, n)), np.zeros((1, n_tests)), np.zeros(1))


def expected_report(evidence: Evidence, nodes: Nodes, k: int) -> Floats:
    """What would have been reported without any chance error, had mistake and size `k` been what happened."""
    weighted = evidence.R * nodes.factors[k]
    residual = weighted @ evidence.x + nodes.adds[k]
    P = weighted @ evidence.V @ weighted.T
    expected: Floats = evidence.x - evidence.V @ (weighted.T @ np.linalg.solve(P, residual))
    return expected


def log_sum(values: Floats) -> float:
    """Log of the sum of exponentials."""
    top = float(values.max())
    return top + float(np.log(np.exp(values - top).sum()))


def _groups(
    evidence: Evidence, nodes: list[Nodes], judged: list[Judged], weights: Floats, resolution: float
) -> list[tuple[int, ...]]:
    """Take the best mistake; had it happened, which others would still fit within the resolution? Repeat."""
    left = [int(i) for i in np.argsort(-weights)]
    groups = []
    while left:
        top = left.pop(0)
        best = int(np.argmax(nodes[top].log_share + judged[top].log_likelihood))
        expected = expected_report(evidence, nodes[top], best)
        alike = [i for i in left if float(judge(evidence, nodes[i], expected).misfit.min()) < resolution**2]
        groups.append((top, *alike))
        left = [i for i in left if i not in alike]
    return groups


def _quadratic(P: Floats, residual: Floats) -> Floats:
    solved = np.linalg.solve(P, residual[:, :, None])[:, :, 0]
    found: Floats = np.einsum("gi,gi->g", residual, solved)
    return found


def _contents(evidence: Evidence, faults: Sequence[Fault]) -> dict[str, list[float]]:
    """What one mole of each product that could be missing puts into each balance row."""
    extra = [0.0] * (evidence.K.shape[1] - len(evidence.rows))
    return {f.adds: [_inside(f.adds, row) for row in evidence.rows] + extra for f in faults if f.adds}


def _inside(formula: str, row: str) -> float:
    thing = compound(formula)
    return thing.electrons if row == "electrons" else thing.atoms.get(row, 0.0)
