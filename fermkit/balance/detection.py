"""What a set of measurements could have seen: the smallest mistake that would raise the alarm, before a run too."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, chndtr, chndtrinc

from fermkit.balance.evidence import Evidence
from fermkit.balance.faults import Fault, Size, Undo, touched
from fermkit.basis.checks import Floats, one_of
from fermkit.basis.written import Line, Page, Written, in_percent

POWER: Final = 0.8
"""A mistake counts as visible when four runs in five would raise the alarm: common practice."""


@dataclass(frozen=True)
class Limit:
    """The smallest size of one mistake that these measurements would see.

    Attributes
    ----------
    key, name : str
        Which mistake it is, and how it is printed.
    smallest : tuple of float
        Smallest size seen on either side (for a misreading: factors below and above one); empty: never seen.
    power : float or None
        For a mistake of fixed size, the chance that it raises the alarm.
    says : Size
    """

    key: str
    name: str
    smallest: tuple[float, ...]
    power: float | None
    says: Size

    def in_words(self) -> str:
        """The limit as it is printed."""
        if self.power is not None:
            return f"seen in {in_percent(self.power)} of runs"
        if not self.smallest:
            return "not at any usual size"
        if self.says is Size.DRY:
            return f"{100 * self.smallest[0]:.2g} % dry or wetter"
        if self.says is Size.RATIO:
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

    def __getitem__(self, key: str) -> Limit:
        every = {limit.key: limit for limit in self.limits}
        one_of(key, every, "mistake")
        return every[key]

    def page(self) -> Page:
        lines = [Line(limit.name, limit.in_words(), "", str(limit.says)) for limit in self.limits]
        level, power = in_percent(self.level), in_percent(self.power)
        how = f"Seen: alarm at the {level} level in {power} of such runs (non-central chi-square)."
        return Page("The smallest mistakes that these measurements could have seen", lines, [how])


def detection_limits(evidence: Evidence, faults: list[Fault], level: float, power: float) -> DetectionLimits:
    """Smallest visible size of each fault, on amounts that close the balances exactly."""
    n = evidence.n_balance
    R, V = evidence.R[:n], evidence.V
    closed = evidence.x - V @ R.T @ np.linalg.solve(R @ V @ R.T, R @ evidence.x)
    needed = float(chndtrinc(chdtri(n, 1 - level), n, 1 - power))
    limits = []
    for fault in faults:
        seen: float | None = None
        smallest: tuple[float, ...] = ()
        if fault.fixed:
            sizes = fault.sizes.values or (fault.sizes.centre,)
            seen = min(alarm_probability(_strength(evidence, fault, closed, s), n, level) for s in sizes)
        else:
            smallest = _crossings(evidence, fault, closed, needed)
        limits.append(Limit(fault.key, fault.name, smallest, seen, fault.says))
    return DetectionLimits(tuple(limits), level, power)


def alarm_probability(noncentrality: float, n: int, level: float) -> float:
    """Chance that the chi-square test alarms."""
    return 1 - float(chndtr(chdtri(n, 1 - level), n, noncentrality))


def _strength(evidence: Evidence, fault: Fault, closed: Floats, size: float) -> float:
    """Non-centrality that the fault gives to amounts which close without it; uncertainties scale along."""
    n = evidence.n_balance
    factor = np.ones(len(closed))
    R = evidence.R[:n]
    if fault.adds:
        inside = evidence.inside(fault.adds)
        gap = -evidence.K[:n] @ inside * evidence.carbon_in * size / inside[evidence.rows.index("C")]
    else:
        factor[touched(fault, evidence)] = 1 / fault.factor(np.array([size]))[0]
        gap = R @ (factor * closed)
    P = (R * factor) @ evidence.V @ (R * factor).T
    return float(gap @ np.linalg.solve(P, gap))


def _crossings(evidence: Evidence, fault: Fault, closed: Floats, needed: float) -> tuple[float, ...]:
    """Sizes at which the mistake becomes visible, going away from no mistake in each direction."""
    sizes = fault.sizes
    none = 1.0 if fault.undo is Undo.RATIO else 0.0
    found = []
    for end in (sizes.low, sizes.high):
        towards_none = fault.says is Size.DRY and end == sizes.high
        if end != none and not towards_none and _strength(evidence, fault, closed, end) >= needed:
            found.append(brentq(lambda size: _strength(evidence, fault, closed, size) - needed, none, end))
    return tuple(float(np.exp(size)) if fault.undo is Undo.LOG_RATIO else size for size in found)
