"""What to measure next: which extra measurement would settle most of the doubt for its effort."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fermkit.balance.evidence import Evidence
from fermkit.balance.faults import Fault
from fermkit.balance.ranking import Ranked, Ranking
from fermkit.basis.checks import Floats
from fermkit.basis.written import Line, Page, Written, in_percent


@dataclass(frozen=True)
class Candidate:
    """A measurement that could be made, and which mistakes it would show. Efforts: common practice, no source.

    Attributes
    ----------
    name : str
    of : str
        The stream it measures (role), "left over" for sugar, "glycerol", "acids"; "" for a look at the notes.
    shows : frozenset of str
        Keys of the mistakes that it would show.
    relative_u : float
        Relative standard uncertainty; 0 takes that of the reported amount.
    floor : float
        Least standard uncertainty as a share of the sugar's mass.
    effort_h : float
        A person's time [h].
    """

    name: str
    of: str
    shows: frozenset[str]
    relative_u: float
    floor: float
    effort_h: float


def _candidate(name: str, of: str, shows: str, relative_u: float, floor: float, effort_h: float) -> Candidate:
    return Candidate(name, of, frozenset(shows.split(", ")), relative_u, floor, effort_h)


CANDIDATES: Final = (
    _candidate("go through the notes again: which sugar, units, dilution, formula", "",
               "third, by mass, label, dilution, sucrose", 0.0, 0.0, 0.25),
    _candidate("test the joints for leaks (soapy water, hold a pressure)", "", "CO2 lost", 0.0, 0.0, 0.3),
    _candidate("test strip for sugar left over", "left over", "sugar left", 0.2, 0.01, 0.2),
    _candidate("find the sugar's weight again (bag, receipt, scale)", "sugar", "misread", 0.0, 0.0, 0.3),
    _candidate("measure the ethanol again with a fresh dilution", "ethanol",
               "misread, dilution, by mass, label", 0.0, 0.0, 1.0),
    _candidate("CO2 by loss of weight (the scale counts what leaks, too)", "CO2",
               "misread, CO2 lost, third", 0.03, 0.0, 0.5),
    _candidate("catch the vapour in cold water and measure its ethanol", "ethanol", "ethanol lost", 0.0, 0.0, 2.0),
    _candidate("dry the yeast again to constant weight", "yeast", "misread, wet", 0.03, 0.0, 3.0),
    _candidate("ash or nitrogen of the dried product", "yeast", "wet, solids", 0.1, 0.0, 8.0),
    _candidate("titrate the acids", "acids", "acids", 0.15, 0.003, 1.0),
    _candidate("glycerol by a test kit", "glycerol", "glycerol", 0.1, 0.003, 3.0),
)  # fmt: skip


@dataclass(frozen=True)
class Settles:
    """One measurement and what it would settle.

    Attributes
    ----------
    name : str
    share : float
        Share of the doubt between the explanations that it would settle, on average (0 to 1).
    effort_h : float
    """

    name: str
    share: float
    effort_h: float


@dataclass(frozen=True, repr=False)
class MeasureNext(Written):
    """Extra measurements, those first that settle most for their effort."""

    ranked: tuple[Settles, ...]
    doubt_bits: float

    def page(self) -> Page:
        lines = [
            Line(s.name, in_percent(s.share), "of the doubt", f"about {_hours(s.effort_h)}")
            for s in self.ranked
            if s.share >= 0.005
        ]
        notes = [
            f"Doubt now: {self.doubt_bits:.1f} bits (1 bit: one yes-or-no question, evenly open).",
            "In the order of what is settled per hour; efforts are common practice, no source.",
        ]
        return Page("What to measure next", lines, notes)


def measure_next(evidence: Evidence, ranking: Ranking) -> MeasureNext:
    """Expected share of the doubt (Shannon information) that each measurement would settle."""
    among = range(len(ranking.probabilities))
    settles = [Settles(c.name, gain(c, evidence, ranking, among), c.effort_h) for c in CANDIDATES]
    ranked = tuple(sorted(settles, key=lambda s: -s.share / s.effort_h))
    return MeasureNext(ranked, _entropy(ranking.probabilities))


def best_splitter(evidence: Evidence, ranking: Ranking, group: Sequence[int]) -> str:
    """The measurement that best tells the members of a group apart; "" where none does."""
    shares = [(gain(c, evidence, ranking, group), c.name) for c in CANDIDATES]
    share, name = max(shares)
    return name if share > 0.05 else ""


def gain(candidate: Candidate, evidence: Evidence, ranking: Ranking, among: Sequence[int]) -> float:
    """Share of the doubt among some explanations that a measurement would settle on average; the last is chance."""
    probabilities = ranking.probabilities[list(among)]
    if probabilities.sum() <= 0:
        return 0.0
    probabilities = probabilities / probabilities.sum()
    doubt = _entropy(probabilities)
    if doubt < 1e-9:
        return 0.0
    explained = [ranking.ranked[k] if k < len(ranking.ranked) else None for k in among]
    if not candidate.of:  # what shows in the notes is found for certain; the others stay as they are
        rest = probabilities[[one is None or one.fault.family not in candidate.shows for one in explained]]
        left = rest.sum()
        return 1 - (left * _entropy(rest / left) / doubt if left > 0 else 0.0)
    readings = [_reading(candidate, evidence, one) for one in explained]
    if any(reading is None for reading in readings):
        return 0.0
    means, sds = np.array(readings, dtype=float).T
    return _information(probabilities, means, sds) / doubt


def _reading(candidate: Candidate, evidence: Evidence, one: Ranked | None) -> tuple[float, float] | None:
    """Mean and standard deviation of what the measurement would read under one explanation (None: nothing wrong)."""
    sugar = abs(sum(x for x, a in zip(evidence.x, evidence.amounts) if a.role == "sugar"))
    column = next((i for i, a in enumerate(evidence.amounts) if a.role == candidate.of), None)
    anew = candidate.of in ("left over", "glycerol", "acids")
    if not anew and (column is None or not evidence.amounts[column].measured):
        return None
    base = 0.0 if anew or column is None else abs(float(evidence.x[column]))
    mean, spread = base, 0.0
    if one is not None and _shows(candidate, one.fault, column):
        mean, spread = one.mean(one.nodes.size * sugar if anew else base * one.nodes.factors[:, column])
    own = candidate.relative_u * mean
    if own == 0.0 and column is not None:
        own = float(np.sqrt(evidence.V[column, column])) * (mean / base if base else 1.0)
    return mean, float(np.hypot(spread, max(own, candidate.floor * sugar, 1e-12)))


def _shows(candidate: Candidate, fault: Fault, column: int | None) -> bool:
    return fault.family in candidate.shows and (column in fault.touches or not fault.key.startswith("misread"))


def _hours(effort_h: float) -> str:
    return f"{60 * effort_h:.0f} min" if effort_h < 1 else f"{effort_h:g} h"


def _entropy(p: Floats) -> float:
    some = p[p > 1e-300]
    return float(-(some * np.log2(some)).sum())


def _information(p: Floats, means: Floats, sds: Floats) -> float:
    """Mutual information [bit] between explanation and reading, readings normal under each explanation."""
    some = p > 1e-9
    p, means, sds = p[some], means[some, None], sds[some, None]
    grid = np.unique(means + sds * np.linspace(-6, 6, 121))
    density = np.exp(-0.5 * ((grid - means) / sds) ** 2) / (sds * np.sqrt(2 * np.pi))
    mixed = np.maximum(p @ density, 1e-300)
    parts = p @ (density * np.log2(np.maximum(density, 1e-300) / mixed))
    return float(max(((parts[1:] + parts[:-1]) / 2 * np.diff(grid)).sum(), 0.0))
