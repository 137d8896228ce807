"""Which mistake fits the numbers best: Bayes' rule over mistakes of every usual size.

For each mistake and each of its sizes the reported amounts are undone, and the likelihood of what is left of
the gap is taken; averaged over the sizes it gives the probability of the mistake. Nothing is assumed about the
amounts themselves beyond the balances, the usual by-products and the usual yeast yield.

References
----------
Marginal likelihood: Kass & Raftery, J. Am. Stat. Assoc. 90 (1995) 773-795.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from fermkit.balance.evidence import Evidence
from fermkit.balance.faults import PRIOR_NOTHING_WRONG, Fault, Nodes, lay_out
from fermkit.basis.checks import Floats

RESOLUTION: Final = 2.45
"""Explanations whose predictions differ by less than this many standard uncertainties count as one: the 95 % point
of the distance in two tests (carbon and electrons), the root of 5.99."""


@dataclass(frozen=True)
class Judged:
    """What the numbers say of one mistake at each of its sizes, arrays of shape (n_sizes,).

    `misfit` is chi-square of all tests, `balance_misfit` of the balances alone.
    """

    log_likelihood: Floats
    misfit: Floats
    balance_misfit: Floats


@dataclass(frozen=True)
class Ranked:
    """One mistake, weighed: its sizes, what the numbers say of each, and its probability."""

    fault: Fault
    nodes: Nodes
    judged: Judged
    probability: float

    @cached_property
    def over_sizes(self) -> Floats:
        """How the probability is spread over the sizes; adds up to one."""
        logs = self.nodes.log_share + self.judged.log_likelihood
        spread: Floats = np.exp(logs - np.logaddexp.reduce(logs))
        return spread

    def mean(self, values: Floats) -> tuple[float, float]:
        """Mean and standard deviation of something that goes with the size."""
        mean = float(self.over_sizes @ values)
        return mean, float(np.sqrt(self.over_sizes @ (values - mean) ** 2))


@dataclass(frozen=True)
class Ranking:
    """All explanations for one set of numbers.

    Attributes
    ----------
    ranked : tuple of Ranked
        In the order of the faults.
    chance : float
        Probability that nothing is wrong; with the mistakes it adds up to one.
    groups : tuple of tuple of int
        Mistakes that this run cannot tell apart, best group first, each with its best in front.
    """

    ranked: tuple[Ranked, ...]
    chance: float
    groups: tuple[tuple[int, ...], ...]

    @cached_property
    def probabilities(self) -> Floats:
        """Of each mistake, and last of nothing wrong."""
        return np.array([*(r.probability for r in self.ranked), self.chance])


def rank(evidence: Evidence, faults: Sequence[Fault], resolution: float = RESOLUTION) -> Ranking:
    """Weigh the mistakes by Bayes' rule and put those together that the run cannot tell apart."""
    nodes = [lay_out(fault, evidence) for fault in faults]
    judged = [judge(evidence, n) for n in nodes]
    prior = np.log((1 - PRIOR_NOTHING_WRONG) / len(faults))
    logs = [prior + np.logaddexp.reduce(n.log_share + j.log_likelihood) for n, j in zip(nodes, judged)]
    n_tests, n = evidence.R.shape
    as_reported = Nodes(np.ones(1), np.ones((1, n)), np.zeros((1, n_tests)), np.zeros(1))
    logs.append(np.log(PRIOR_NOTHING_WRONG) + float(judge(evidence, as_reported).log_likelihood[0]))
    probabilities = np.exp(logs - np.logaddexp.reduce(logs))
    ranked = tuple(Ranked(*one) for one in zip(faults, nodes, judged, map(float, probabilities)))
    return Ranking(ranked, float(probabilities[-1]), _groups(evidence, ranked, resolution))


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
    jacobian = np.log(nodes.factors[:, list(evidence.testing)]).sum(axis=1)
    log_likelihood = -0.5 * (misfit + np.linalg.slogdet(P)[1]) + jacobian
    balance = _quadratic(P[:, :n, :n], residual[:, :n]) if n else np.zeros(len(misfit))
    return Judged(log_likelihood, misfit, balance)


def _groups(evidence: Evidence, ranked: Sequence[Ranked], resolution: float) -> tuple[tuple[int, ...], ...]:
    """Take the best mistake; had it happened, which others would still fit within the resolution? Repeat."""
    left = sorted(range(len(ranked)), key=lambda i: -ranked[i].probability)
    groups = []
    while left:
        top = left.pop(0)
        expected = _expected_report(evidence, ranked[top].nodes, int(np.argmax(ranked[top].over_sizes)))
        alike = [i for i in left if float(judge(evidence, ranked[i].nodes, expected).misfit.min()) < resolution**2]
        groups.append((top, *alike))
        left = [i for i in left if i not in alike]
    return tuple(groups)


def _expected_report(evidence: Evidence, nodes: Nodes, k: int) -> Floats:
    """What would have been reported without any chance error, had mistake and size `k` been what happened."""
    weighted = evidence.R * nodes.factors[k]
    residual = weighted @ evidence.x + nodes.adds[k]
    P = weighted @ evidence.V @ weighted.T
    expected: Floats = evidence.x - evidence.V @ (weighted.T @ np.linalg.solve(P, residual))
    return expected


def _quadratic(P: Floats, residual: Floats) -> Floats:
    solved = np.linalg.solve(P, residual[:, :, None])[:, :, 0]
    found: Floats = np.einsum("gi,gi->g", residual, solved)
    return found
