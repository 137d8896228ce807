"""Why a balance does not close: the mistakes that could have made the gap, put in words."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import chdtrc
from uncertainties import ufloat

from fermkit.balance.evidence import Evidence
from fermkit.balance.faults import PRIOR_NOTHING_WRONG, USUAL_SIZES, Fault, usual_faults
from fermkit.balance.measurements import best_splitter
from fermkit.balance.ranking import RESOLUTION, Ranking, rank
from fermkit.basis.budget import Act
from fermkit.basis.written import Line, Page, Written, in_words, nominal, plus_minus, uncertainty
from fermkit.matter.composition import compound

USUAL_YEAST_YIELD: Final = ufloat(0.06, 0.03, tag=Act("usual yeast yield", "the usual yeast yield"))
"""Dry yeast for each gram of hexose fermented without air [g/g]: 0.02 to 0.10 is usual (common practice)."""


@dataclass(frozen=True, repr=False)
class Explanation(Written):
    """One mistake that could have made the gap.

    Attributes
    ----------
    name : str
    kind : "measurement", "product" or "slip"
    weight : float
        Posterior weight under the printed priors (0 to 1).
    corrected : dict of str to ufloat
        What each stream that it touches would have to be; for an unmeasured product, its amount [g].
    units : dict of str to str
    size : ufloat
        How large the mistake would be; `says` tells of what.
    says : str
    likelihood_ratio : float
        How many times likelier the reported amounts are with this mistake, at its best size, than without.
    p_value : float
        Chance of a remaining misfit this large once the mistake is undone; NaN where nothing is left to test.
    """

    name: str
    kind: str
    weight: float
    corrected: dict[str, Any]
    units: dict[str, str]
    size: Any
    says: str
    likelihood_ratio: float
    p_value: float

    def page(self) -> Page:
        lines = [Line(name, value, self.units[name], "would have to be") for name, value in self.corrected.items()]
        lines.append(Line(self.says, self.size))
        fit = "nothing is left to test it" if np.isnan(self.p_value) else f"fit {in_words(self.p_value)}"
        ratio = f"{self.likelihood_ratio:.3g} times likelier than nothing wrong, at its best size; then: {fit}."
        return Page(f"{self.name}: weight {_weight(self.weight)}", lines, [ratio])

    def in_one_line(self) -> str:
        """What would have to be true."""
        return ", ".join(f"{name} {plus_minus(value, self.units[name])}" for name, value in self.corrected.items())


@dataclass(frozen=True, repr=False)
class Explanations(Written):
    """Ranked explanations of a gap, those that the run cannot tell apart in one group.

    Attributes
    ----------
    groups : tuple of tuple of Explanation
        Best group first; within a group, best first.
    chance : float
        Posterior weight of 'nothing is wrong'.
    gap_p_value : float
        Chance of a gap this large when nothing is wrong.
    splits : tuple of str
        For each group, the one measurement that would best split it; "" for a group of one.
    resolution : float
        In standard uncertainties: what two explanations predict must differ by more to be told apart.
    ranking : Ranking
        The numbers behind.
    """

    groups: tuple[tuple[Explanation, ...], ...]
    chance: float
    gap_p_value: float
    splits: tuple[str, ...]
    resolution: float
    ranking: Ranking
    yeast_yield: Any

    @property
    def best(self) -> Explanation:
        """The likeliest single mistake."""
        return self.groups[0][0]

    def group_weight(self, i: int = 0) -> float:
        """Weight of a whole group."""
        return sum(e.weight for e in self.groups[i])

    def table(self) -> Any:
        """All explanations as a pandas DataFrame, weights as numbers."""
        import pandas as pd

        rows = [
            (number, e.name, e.kind, e.weight, e.in_one_line(), nominal(e.size), uncertainty(e.size), e.says, e.p_value)
            for number, group in enumerate(self.groups, start=1)
            for e in group
        ]
        columns = ["group", "name", "kind", "weight", "would have to be", "size", "u_size", "size is", "p"]
        return pd.DataFrame(rows, columns=columns)

    def page(self) -> Page:
        lines, hidden = [], 0.0
        for number, group in enumerate(self.groups, start=1):
            for e in group:
                if e.weight < 0.01 and e is not self.groups[0][0]:
                    hidden += e.weight
                    continue
                fit = "" if np.isnan(e.p_value) else f"; then {in_words(e.p_value)}"
                lines.append(Line(f"{number}  {e.name}", _weight(e.weight), "", f"{e.in_one_line()}{fit}"))
        lines.append(Line("–  nothing wrong, chance alone", _weight(self.chance)))
        return Page(self._heading(), lines, self._remarks(hidden))

    def _heading(self) -> str:
        if self.gap_p_value < 0.05:
            return f"Why the balance does not close ({in_words(self.gap_p_value)})"
        return f"The balance closes within its uncertainty ({in_words(self.gap_p_value)}); what could still be hidden"

    def _remarks(self, hidden: float) -> list[str]:
        out = []
        for number, (group, split) in enumerate(zip(self.groups, self.splits), start=1):
            if sum(e.weight >= 0.01 for e in group) > 1 and self.group_weight(number - 1) >= 0.05:
                how = f"; to tell them apart: {split}" if split else "; no single measurement here tells them apart"
                out.append(f"Group {number} cannot be told apart by this run{how}.")
        if self.gap_p_value < 0.05 and self.best.p_value < 0.01:
            out.append("Even the best of these fits badly: more than one mistake, or one that is not on this list.")
        share = (1 - PRIOR_NOTHING_WRONG) / len(self.ranking.faults)
        out.append(
            f"Same number: predictions differ by less than {self.resolution:g} standard uncertainties of this run. "
            "'Then p': the chance of what is left of the gap once the mistake is undone."
        )
        out.append(
            f"Weights are posterior, for one mistake at a time. Priors: nothing wrong {PRIOR_NOTHING_WRONG:.0%}, "
            f"each of {len(self.ranking.faults)} mistakes {share:.1%}{self._yield_prior()}."
        )
        out.append(USUAL_SIZES)
        if hidden > 0:
            out.append(f"All others together: {_weight(hidden)}.")
        return out

    def _yield_prior(self) -> str:
        return f", yeast {plus_minus(self.yeast_yield, 'g per g sugar')}" if self.yeast_yield is not None else ""


def explain(evidence: Evidence, dilution: float | None, yeast_yield: Any) -> Explanations:
    """Rank the usual mistakes for these numbers and put them in words."""
    ranking = rank(evidence, usual_faults(evidence, dilution))
    n = evidence.n_balance
    gap = evidence.R[:n] @ evidence.x
    chi2 = float(gap @ np.linalg.solve(evidence.R[:n] @ evidence.V @ evidence.R[:n].T, gap))
    groups = tuple(tuple(_explanation(evidence, ranking, k) for k in group) for group in ranking.groups)
    splits = tuple(best_splitter(evidence, ranking, g) if len(g) > 1 else "" for g in ranking.groups)
    used = yeast_yield if evidence.R.shape[0] > n else None
    return Explanations(groups, float(ranking.weights[-1]), float(chdtrc(n, chi2)), splits, RESOLUTION, ranking, used)


def _explanation(evidence: Evidence, ranking: Ranking, k: int) -> Explanation:
    fault, nodes, judged, share = (
        ranking.faults[k],
        ranking.nodes[k],
        ranking.judged[k],
        ranking.over_sizes(k),
    )
    corrected, units = _corrected(evidence, fault, nodes.factors, nodes.size, share)
    free = 0 if fault.fixed else 1
    left = evidence.n_balance - free
    misfit = float(judged.balance_misfit[int(np.argmax(share))] if fault.fixed else judged.balance_misfit.min())
    as_is = -0.5 * (evidence_misfit(evidence))
    return Explanation(
        name=fault.name,
        kind=fault.kind,
        weight=float(ranking.weights[k]),
        corrected=corrected,
        units=units,
        size=_mean(np.exp(nodes.size) if fault.key == "misread" else nodes.size, share, fault),
        says=fault.says,
        likelihood_ratio=float(np.exp(min(-0.5 * float(judged.misfit.min()) - as_is, 700.0))),
        p_value=float(chdtrc(left, misfit)) if left > 0 else float("nan"),
    )


def evidence_misfit(evidence: Evidence) -> float:
    """Chi-square of all tests with the amounts as reported."""
    gap = evidence.R @ evidence.x
    return float(gap @ np.linalg.solve(evidence.R @ evidence.V @ evidence.R.T, gap))


def _corrected(
    evidence: Evidence, fault: Fault, factors: Any, size: Any, share: Any
) -> tuple[dict[str, Any], dict[str, str]]:
    if fault.factor is None:
        thing = compound(fault.adds)
        grams = size * evidence.carbon_in / thing.carbon * thing.molar_mass
        return {f"more {fault.key}": _mean(grams, share, fault)}, {f"more {fault.key}": "g"}
    names = {evidence.names[i]: i for i in fault.touches}
    corrected = {name: _mean(evidence.x[i] * factors[:, i], share, fault) for name, i in names.items()}
    return corrected, {name: evidence.units[i] for name, i in names.items()}


def _mean(values: Any, share: Any, fault: Fault) -> Any:
    mean = float(share @ values)
    sd = float(np.sqrt(max(share @ (values - mean) ** 2, 0.0)))
    return ufloat(mean, sd, tag=Act(f"fault {fault.key}", fault.name)) if sd > 1e-9 * abs(mean) else mean


def _weight(weight: float) -> str:
    return "under 1 %" if weight < 0.01 else f"{100 * weight:.0f} %" if weight < 0.995 else "over 99 %"
