"""Run against run: which yields differ by more than their uncertainties."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Any

import numpy as np
from scipy import special

from fermkit.basis.budget import covariance_of
from fermkit.basis.errors import InputError
from fermkit.basis.statistics import effective_degrees_of_freedom, holm, student
from fermkit.basis.written import Line, Page, Written, in_words, nominal, percent, plus_minus, uncertainty
from fermkit.batch.estimate import Mark
from fermkit.run.analysis import Analysis
from fermkit.run.yields import Yield, estimated_yields


@dataclass(frozen=True, repr=False)
class Difference(Written):
    """One yield of one run less that of the run it is held against.

    Attributes
    ----------
    run, against : str
    product : str
    value : ufloat
        Difference [g/g].
    p_value : float
        Chance of a difference this large, either way, between runs that do not differ.
    adjusted_p : float
        The same when all differences of the comparison are looked at together (Holm).
    dof : float
        Effective degrees of freedom of the difference.
    """

    run: str
    against: str
    product: str
    value: Any
    p_value: float
    adjusted_p: float
    dof: float = inf

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Where the true difference lies [g/g]: Student's factor on the effective degrees of freedom."""
        half = student(self.dof, level) * uncertainty(self.value)
        return nominal(self.value) - half, nominal(self.value) + half

    def page(self) -> Page:
        """The difference as a page."""
        differs = "differ" if self.adjusted_p < 0.05 else "do not differ beyond their uncertainty"
        return Page(
            f"{self.product} of {self.run} less {self.against}",
            [Line("difference", self.value, "g/g", in_words(self.p_value))],
            [f"They {differs} ({in_words(self.adjusted_p)} among all differences looked at)."],
        )


@dataclass(frozen=True, repr=False)
class RunComparison(Written):
    """Several runs side by side.

    Attributes
    ----------
    analyses : tuple of Analysis
    differences : tuple of Difference
        Each run against the first.
    same : dict of str to float
        For each yield the chance of a spread this large if all runs were alike (chi-square).
    yields : tuple of mapping of Yield
        The yields of each run; one that a run did not measure is its estimate's, and marked so.
    """

    analyses: tuple[Analysis, ...]
    differences: tuple[Difference, ...]
    same: dict[str, float]
    yields: tuple[Mapping[str, Yield], ...]

    def page(self) -> Page:
        """Yields by run, then the differences, then what stands out."""
        lines = []
        for name in self.same:
            for analysis, own in zip(self.analyses, self.yields):
                found = own[name]
                note = "; ".join(filter(None, (f"{percent(found.share_of_limit)} of {found.limit_note}", found.known)))
                lines.append(Line(f"{found.product}: {analysis.run.name}", found.per_g, "g/g", note, found.interval()))
        parts = [
            Page(
                f"Held against {self.analyses[0].run.name}",
                [
                    Line(
                        f"{d.product}: {d.run}",
                        d.value,
                        "g/g",
                        f"{in_words(d.p_value)}, with all {in_words(d.adjusted_p)}",
                    )
                    for d in self.differences
                ],
            )
        ]
        return Page(f"{len(self.analyses)} runs compared", lines, self._remarks(), parts)

    @property
    def answer(self) -> str:
        """What differs, in one or two sentences."""
        differ = [d for d in self.differences if d.adjusted_p < 0.05]
        if not differ:
            return "No yield differs beyond its uncertainty: what looks like a trend may be chance."
        return " ".join(map(_more_or_less, differ))

    @property
    def not_concluded(self) -> tuple[str, ...]:
        """What these numbers do not say."""
        out = []
        doubtful = [a.run.name for a in self.analyses if a.consistent is False]
        if doubtful:
            out.append(f"{' and '.join(doubtful)} does not add up: find the mistake before believing a difference.")
        for name in self.same:
            of = {a.run.name: own[name] for a, own in zip(self.analyses, self.yields)}
            guessed = [run for run, one in of.items() if one.mark in (Mark.ASSUMED, Mark.RECIPE)]
            if guessed:
                product = next(iter(of.values())).product
                out.append(f"The {product} of {' and '.join(guessed)} is not known, only what is usual: measure it.")
        if any(d.adjusted_p >= 0.05 for d in self.differences):
            out.append("A difference within its ± is no sign that the runs are alike: it may be too small to be seen.")
        out.append(
            "One run each does not tell why they differ. Whatever else was not the same (warmth, yeast, water, hand) "
            "may be the cause; only repeated runs show what repeats."
        )
        out.append(
            "Each run is taken as measured by itself. Where runs share an error (one bag of molasses, one scale), "
            "their difference is known better than the ± says."
        )
        return tuple(out)

    def _remarks(self) -> list[str]:
        return [
            self.answer,
            *self.not_concluded,
            "p with all: adjusted for looking at all differences at once (Holm 1979, Scand. J. Stat. 6, 65).",
        ]


def _more_or_less(d: Difference) -> str:
    sign, word = (1, "more") if nominal(d.value) > 0 else (-1, "less")
    return (
        f"{d.product[:1].upper()}{d.product[1:]}: {d.run} made {plus_minus(d.value * sign, 'g')} {word} for each gram "
        f"of sugar used than {d.against}."
    )


def compare_runs(analyses: Sequence[Analysis]) -> RunComparison:
    """Hold each run against the first, yield by yield.

    Parameters
    ----------
    analyses : sequence of Analysis
        At least two; the first is the one that the others are held against.

    Returns
    -------
    RunComparison

    Notes
    -----
    Difference ± u with the covariance of the two yields; p from Student's t with the effective degrees of
    freedom (Welch-Satterthwaite). A yield that a run did not measure is its estimate's, with its mark. All alike:
    chi² = Σ over the covariance matrix about the weighted mean.

    Raises
    ------
    InputError
        Fewer than two runs, or no yield that all of them have.

    References
    ----------
    JCGM 100:2008 (GUM) 5.2 and G.4; Holm 1979, Scand. J. Stat. 6, 65-70.
    """
    if len(analyses) < 2:
        raise InputError(f"{len(analyses)} run to compare", "two runs or more", "analyse another run first")
    yields = yields_side_by_side(analyses)
    names = [name for name in yields[0] if all(name in own for own in yields)]
    if not names:
        held = "; ".join(f"{a.run.name}: {', '.join(a.yields) or 'none'}" for a in analyses)
        raise InputError(
            f"runs without a yield in common ({held})", "a yield that all have", "compare runs of one kind"
        )
    runs = [analysis.run.name for analysis in analyses]
    others = tuple(zip(runs[1:], yields[1:]))
    raw = [_difference(run, own[name], runs[0], yields[0][name]) for name in names for run, own in others]
    adjusted = holm([d.p_value for d in raw])
    differences = tuple(replace(d, adjusted_p=p) for d, p in zip(raw, adjusted))
    same = {name: _alike([own[name].per_g for own in yields]) for name in names}
    return RunComparison(tuple(analyses), differences, same, yields)


def yields_side_by_side(analyses: Sequence[Analysis]) -> tuple[dict[str, Yield], ...]:
    """The yields of each run; what a run has not, and another has, is its estimate's (of all, where none has any)."""
    found = [dict(analysis.yields) for analysis in analyses]
    wanted = {name for own in found for name in own}
    for analysis, own in zip(analyses, found):
        if analysis.estimate is None or not (wanted - own.keys() or not wanted):
            continue
        pump = analysis.run.conditions.aeration == "air pump"
        more = estimated_yields(analysis.estimate, analysis.limits, pump)
        own |= {name: one for name, one in more.items() if name not in own and (name in wanted or not wanted)}
    return tuple(found)


def _difference(run: str, a: Yield, against: str, b: Yield) -> Difference:
    value = a.per_g - b.per_g
    dof = effective_degrees_of_freedom([(uncertainty(y.per_g) ** 2, y.dof) for y in (a, b)])
    t = abs(nominal(value)) / uncertainty(value) if uncertainty(value) > 0 else inf
    p = 2 * float(special.stdtr(dof, -t)) if np.isfinite(dof) else 2 * float(special.ndtr(-t))
    return Difference(run, against, a.product, value, p, p, dof)


def _alike(values: Sequence[Any]) -> float:
    x = np.array([nominal(value) for value in values])
    inverse = np.linalg.pinv(covariance_of(list(values)))
    ones = np.ones_like(x)
    mean = ones @ inverse @ x / (ones @ inverse @ ones)
    misfit = float((x - mean) @ inverse @ (x - mean))
    return float(special.chdtrc(len(x) - 1, misfit))
