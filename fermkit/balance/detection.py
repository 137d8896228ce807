"""What a set of measurements could have seen: the smallest mistake that would raise the alarm, before a run too."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtri, chndtr

from fermkit.balance.evidence import Evidence
from fermkit.balance.faults import Fault, touched
from fermkit.basis.checks import Floats
from fermkit.basis.written import Line, Page, Written
from fermkit.matter.composition import compound

POWER: Final = 0.8
"""A mistake counts as visible when four runs in five would raise the alarm: common practice."""


@dataclass(frozen=True)
class Limit:
    """The smallest size of one mistake that these measurements would see.

    Attributes
    ----------
    name : str
    smallest : tuple of float
        Smallest size seen on either side (for a misreading: factors below and above one); empty: never seen.
    power : float
        For a mistake of fixed size, the chance that it raises the alarm; NaN otherwise.
    says : str
    """

    name: str
    smallest: tuple[float, ...]
    power: float
    says: str

    def in_words(self) -> str:
        """The limit as it is printed."""
        if np.isfinite(self.power):
            return f"seen in {100 * self.power:.0f} % of runs"
        if not self.smallest:
            return "not at any usual size"
        if self.says == "dry share":
            return f"{100 * self.smallest[0]:.2g} % dry or wetter"
        if self.says == "true over reported":
            return " or ".join(f"{100 * (f - 1):+.2g} %" for f in self.smallest)
        return f"{100 * self.smallest[0]:.2g} % or more"


@dataclass(frozen=True, repr=False)
class DetectionLimits(Written):
    """The smallest mistakes that this set of measurements could see.

    Attributes
    ----------
    limits : tuple of Limit
    level, power : float
        Alarm level of the chi-square test, and the chance of an alarm that counts as 'seen'.
    """

    limits: tuple[Limit, ...]
    level: float
    power: float

    def __getitem__(self, name: str) -> Limit:
        return next(limit for limit in self.limits if limit.name == name)

    def page(self) -> Page:
        lines = [Line(limit.name, limit.in_words(), "", limit.says) for limit in self.limits]
        how = f"Seen: alarm at the {self.level:.0%} level in {self.power:.0%} of such runs (non-central chi-square)."
        return Page("The smallest mistakes that these measurements could have seen", lines, [how])


def detection_limits(evidence: Evidence, faults: list[Fault], level: float, power: float) -> DetectionLimits:
    """Smallest visible size of each fault, on amounts that close the balances exactly."""
    n = evidence.n_balance
    R, V = evidence.R[:n], evidence.V
    P = R @ V @ R.T
    closed = evidence.x - V @ R.T @ np.linalg.solve(P, R @ evidence.x)
    needed = _noncentrality(n, level, power)
    limits = []
    for fault in faults:
        if fault.sizes.shape == "values" or fault.fixed:
            sizes = np.array(fault.sizes.values or (fault.sizes.centre,))
            seen = [alarm_probability(_strength(evidence, fault, closed, s), n, level) for s in sizes]
            limits.append(Limit(fault.name, (), float(min(seen)), _smallest_words(sizes)))
        else:
            limits.append(Limit(fault.name, _crossings(evidence, fault, closed, needed), float("nan"), fault.says))
    return DetectionLimits(tuple(limits), level, power)


def alarm_probability(noncentrality: float, n: int, level: float) -> float:
    """Chance that the chi-square test alarms."""
    limit = float(chdtri(n, 1 - level))
    return 1 - float(chndtr(limit, n, noncentrality))


def _noncentrality(n: int, level: float, power: float) -> float:
    low, high = 0.0, 1000.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if alarm_probability(middle, n, level) < power else (low, middle)
    return high


def _strength(evidence: Evidence, fault: Fault, closed: Floats, size: float) -> float:
    """Non-centrality that the fault gives to amounts which close without it; uncertainties scale along."""
    n = evidence.n_balance
    factor = np.ones(len(closed))
    R = evidence.R[:n]
    if fault.factor is None:
        content = _per_carbon(evidence, fault)
        gap = -evidence.K[:n] @ content * evidence.carbon_in * size
    else:
        factor[touched(fault, evidence)] = 1 / fault.factor(np.array([size]))[0]
        gap = R @ (factor * closed)
    P = (R * factor) @ evidence.V @ (R * factor).T
    return float(gap @ np.linalg.solve(P, gap))


def _per_carbon(evidence: Evidence, fault: Fault) -> Floats:
    thing = compound(fault.adds)
    inside = [thing.electrons if row == "electrons" else thing.atoms.get(row, 0.0) for row in evidence.rows]
    return np.array(inside + [0.0] * (evidence.K.shape[1] - len(inside))) / thing.carbon


def _crossings(evidence: Evidence, fault: Fault, closed: Floats, needed: float) -> tuple[float, ...]:
    """Sizes at which the mistake becomes visible, going away from no mistake in each direction."""
    sizes = fault.sizes
    start = 0.0 if fault.says != "dry share" else 1.0
    found = []
    for end in (sizes.low, sizes.high):
        if not np.isfinite(end) or end == start or (fault.says == "dry share" and end == sizes.high):
            continue
        if _strength(evidence, fault, closed, end) < needed:
            continue
        near, far = start, end
        for _ in range(50):
            middle = (near + far) / 2
            near, far = (middle, far) if _strength(evidence, fault, closed, middle) < needed else (near, middle)
        found.append(float(np.exp(far)) if fault.key == "misread" else float(far))
    return tuple(found)


def _smallest_words(sizes: Floats) -> str:
    return (
        "true over reported "
        + ", ".join(f"{s:.3g}" for s in sizes[:1])
        + (" or other factors" if len(sizes) > 1 else "")
    )
