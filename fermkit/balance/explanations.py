"""Why a balance does not close: the mistakes that could have made the gap, put in words."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import chdtrc
from uncertainties import ufloat

from fermkit.balance.evidence import Evidence
from fermkit.balance.faults import PRIOR_NOTHING_WRONG, USUAL_SIZES, Size, Undo
from fermkit.balance.measurements import best_splitter
from fermkit.balance.ranking import RESOLUTION, Ranked, Ranking
from fermkit.basis.budget import Act
from fermkit.basis.checks import one_of
from fermkit.basis.written import Line, Number, Page, Written, in_percent, in_words, plus_minus
from fermkit.matter import usual
from fermkit.matter.composition import compound

SHOWN: Final = 0.01
"""Explanations less probable than this are counted together (a choice)."""


@dataclass(frozen=True)
class Explanation:
    """One mistake that could have made the gap.

    Attributes
    ----------
    key : str
        Which mistake it is, for look-ups.
    name : str
        How it is printed.
    probability : float
        Under the printed priors (0 to 1).
    corrected : dict of str to ufloat
        What each stream that it touches would have to be; for an unmeasured product, its amount [g].
    reported : dict of str to float
        What was reported; nothing for an unmeasured product.
    units : dict of str to str
    size : ufloat
        How large the mistake would be; `says` tells of what.
    says : Size
    p_value : float
        Chance of a remaining misfit this large once the mistake is undone; NaN where nothing is left to test.
    """

    key: str
    name: str
    probability: float
    corrected: dict[str, Any]
    reported: dict[str, float]
    units: dict[str, str]
    size: Number
    says: Size
    p_value: float

    def in_one_line(self) -> str:
        """What would have to be true: "CO2 52.1 ± 0.8 g, not 41.9"."""
        return ", ".join(
            f"{name} {plus_minus(value, self.units[name])}"
            + (f", not {self.reported[name]:.4g}" if name in self.reported else "")
            for name, value in self.corrected.items()
        )


@dataclass(frozen=True, repr=False)
class Explanations(Written):
    """Ranked explanations of a gap, those that the run cannot tell apart in one group.

    Attributes
    ----------
    groups : tuple of tuple of Explanation
        Best group first; within a group, best first.
    chance : float
        Probability that nothing is wrong.
    gap_p_value : float
        Chance of a gap this large when nothing is wrong.
    splits : tuple of str
        For each group, the one measurement that would best split it; "" for a group of one.
    with_yield : bool
        Whether the usual yeast yield was one more hint.
    """

    groups: tuple[tuple[Explanation, ...], ...]
    chance: float
    gap_p_value: float
    splits: tuple[str, ...]
    with_yield: bool

    @property
    def best(self) -> Explanation:
        """The likeliest single mistake."""
        return self.groups[0][0]

    def __getitem__(self, key: str) -> Explanation:
        every = {e.key: e for group in self.groups for e in group}
        one_of(key, every, "mistake")
        return every[key]

    def group_probability(self, i: int = 0) -> float:
        """Probability of a whole group."""
        return sum(e.probability for e in self.groups[i])

    def in_one_sentence(self) -> str:
        """The best group: "Most likely (over 99 %): CO2 lost by a leak (CO2 52.1 ± 0.8 g, not 41.9)."."""
        group = [e for e in self.groups[0] if e.probability >= SHOWN] or [self.best]
        words = " or ".join(f"{e.name} ({e.in_one_line()})" for e in group[:3])
        doubt = "" if self.fits else "; but even this fits badly"
        return f"Most likely ({in_percent(self.group_probability())}): {words}{doubt}."

    @property
    def fits(self) -> bool:
        """Whether one mistake explains the gap; without a gap there is nothing to explain."""
        return not (self.gap_p_value < 0.05 and self.best.p_value < 0.01)

    def page(self) -> Page:
        shown = [
            (number, e)
            for number, group in enumerate(self.groups, start=1)
            for e in group
            if e.probability >= SHOWN or e is self.best
        ]
        lines = [
            Line(f"{number}  {e.name}", in_percent(e.probability), "", e.in_one_line() + _then(e.p_value))
            for number, e in shown
        ]
        lines.append(Line("–  nothing wrong, chance alone", in_percent(self.chance)))
        closes = self.gap_p_value >= 0.05
        heading = "The balance closes within its ±; what could still be hidden" if closes else "Why it does not close"
        every = [e for group in self.groups for e in group]
        hidden = sum(e.probability for e in every) - sum(e.probability for _, e in shown)
        return Page(f"{heading} ({in_words(self.gap_p_value)})", lines, self._remarks(hidden, len(every)))

    def _remarks(self, hidden: float, faults: int) -> list[str]:
        badly = "Even the best of these fits badly: more than one mistake, or one that is not on this list."
        out = [] if self.fits else [badly]
        for number, (group, split) in enumerate(zip(self.groups, self.splits), start=1):
            if sum(e.probability >= SHOWN for e in group) > 1 and self.group_probability(number - 1) >= 0.05:
                how = f"; to tell them apart: {split}" if split else "; no single measurement here tells them apart"
                out.append(f"Group {number} cannot be told apart by this run{how}.")
        usual_yeast = plus_minus(usual.YEAST.value(usual.FOR_ALARMS), "g per g sugar")
        with_yield = f", dry yeast {usual_yeast}" if self.with_yield else ""
        out += [
            f"Same number: predictions differ by less than {RESOLUTION:g} standard uncertainties of this run. "
            "'Then p': the chance of what is left of the gap once the mistake is undone.",
            "Probabilities are for one mistake at a time. Before the numbers were looked at: nothing wrong "
            f"{in_percent(PRIOR_NOTHING_WRONG)}, each of {faults} mistakes "
            f"{in_percent((1 - PRIOR_NOTHING_WRONG) / faults)}{with_yield}.",
            USUAL_SIZES,
        ]
        return out + ([f"All others together: {in_percent(hidden)}."] if hidden > 0 else [])


def _then(p: float) -> str:
    return "" if np.isnan(p) else f"; then {in_words(p)}"


def explain(evidence: Evidence, ranking: Ranking) -> Explanations:
    """The ranked mistakes in words."""
    n = evidence.n_balance
    groups = tuple(tuple(_explanation(evidence, ranking.ranked[k]) for k in group) for group in ranking.groups)
    splits = tuple(best_splitter(evidence, ranking, group) if len(group) > 1 else "" for group in ranking.groups)
    gap = float(chdtrc(n, evidence.misfit(n)))
    return Explanations(groups, ranking.chance, gap, splits, evidence.R.shape[0] > n)


def _explanation(evidence: Evidence, one: Ranked) -> Explanation:
    fault, nodes = one.fault, one.nodes
    left = evidence.n_balance - (0 if fault.fixed else 1)
    misfits = one.judged.balance_misfit
    misfit = float(misfits[int(np.argmax(one.over_sizes))] if fault.fixed else misfits.min())
    if fault.adds:
        thing = compound(fault.adds)
        name = f"more {fault.key}"
        grams = nodes.size * evidence.carbon_in / thing.carbon * thing.molar_mass
        corrected, reported, units = {name: _number(one, grams)}, {}, {name: "g"}
    else:
        columns = {evidence.amounts[i].name: i for i in fault.touches}
        corrected = {name: _number(one, evidence.x[i] * nodes.factors[:, i]) for name, i in columns.items()}
        reported = {name: float(evidence.x[i]) for name, i in columns.items()}
        units = {name: evidence.amounts[i].unit for name, i in columns.items()}
    return Explanation(
        key=fault.key,
        name=fault.name,
        probability=one.probability,
        corrected=corrected,
        reported=reported,
        units=units,
        size=_number(one, np.exp(nodes.size) if fault.undo is Undo.LOG_RATIO else nodes.size),
        says=fault.says,
        p_value=float(chdtrc(left, misfit)) if left > 0 else float("nan"),
    )


def _number(one: Ranked, values: Any) -> Any:
    mean, sd = one.mean(values)
    return ufloat(mean, sd, tag=Act(f"fault {one.fault.key}", one.fault.name)) if sd > 1e-9 * abs(mean) else mean
