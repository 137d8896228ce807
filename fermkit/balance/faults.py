"""Mistakes that a fermentation balance is known for: what each does to the numbers, and how large it usually is.

A mistake is described by how it is undone: the reported amounts of some streams are multiplied by a factor,
or carbon that nobody measured is added. Sizes follow printed distributions: common practice, no source,
except where a docstring names one.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr, ndtri

from fermkit.balance.evidence import Evidence
from fermkit.basis.checks import Floats
from fermkit.matter.composition import molar_mass

PRIOR_NOTHING_WRONG: Final = 0.5
DILUTIONS: Final = (2.0, 4.0, 5.0, 10.0, 20.0, 50.0, 100.0)
ALCOHOL_BY_MASS: Final = (789.2 / 985.0, 0.008)
"""True over reported grams when % by volume is used as % by mass of the liquid: 789.2 kg/m3 (ethanol at 20 °C,
OIML R 22) over a young wine's 985 ± 8 kg/m3."""
HEXOSE_PER_SUCROSE: Final = 2 * molar_mass("hexose") / molar_mass("sucrose")


@dataclass(frozen=True)
class Sizes:
    """How large a mistake usually is: a distribution cut to ``low`` … ``high``.

    Attributes
    ----------
    shape : "normal", "half-normal", "uniform" or "values"
    centre, spread : float
        Of the normal shapes.
    low, high : float
    values : tuple of float
        Equally likely single values, for shape "values".
    """

    shape: str
    centre: float = 0.0
    spread: float = 1.0
    low: float = -np.inf
    high: float = np.inf
    values: tuple[float, ...] = ()

    def below(self, size: Floats) -> Floats:
        """Probability of a smaller size."""
        clipped = np.clip(size, self.low, self.high)
        if self.shape == "uniform":
            return np.asarray((clipped - self.low) / (self.high - self.low), dtype=float)
        ends = ndtr((np.array([self.low, self.high]) - self.centre) / self.spread)
        share = (ndtr((clipped - self.centre) / self.spread) - ends[0]) / (ends[1] - ends[0])
        return np.asarray(share, dtype=float)

    def at(self, share: Floats) -> Floats:
        """The size below which a share of the mistakes lies: turns uniform random numbers into sizes."""
        if self.shape == "values":
            sizes: Floats = np.array(self.values, dtype=float)
            drawn: Floats = sizes[np.minimum((share * len(self.values)).astype(int), len(self.values) - 1)]
            return drawn
        if self.shape == "uniform":
            return self.low + share * (self.high - self.low)
        ends = ndtr((np.array([self.low, self.high]) - self.centre) / self.spread)
        found: Floats = self.centre + self.spread * ndtri(ends[0] + share * (ends[1] - ends[0]))
        return found


@dataclass(frozen=True)
class Fault:
    """One mistake.

    Attributes
    ----------
    key : str
        Short name, for matching with the measurements that would reveal it.
    name : str
    kind : "measurement", "product" or "slip"
    touches : tuple of int
        Columns of the known amounts that it falsifies (with those derived from them).
    sizes : Sizes
    factor : callable or None
        From the size to the factor that undoes it; None for carbon that is added.
    size_of : callable or None
        Back from the factor to the size.
    adds : str
        Formula of the product that nobody measured; its size is a share of the sugar's carbon.
    says : str
        What the size is, in words.
    """

    key: str
    name: str
    kind: str
    touches: tuple[int, ...]
    sizes: Sizes
    factor: Callable[[Floats], Floats] | None
    size_of: Callable[[Floats], Floats] | None
    adds: str
    says: str

    @property
    def fixed(self) -> bool:
        """Whether the mistake has only certain sizes."""
        return self.sizes.shape == "values" or self.sizes.spread < 0.02


MISREAD: Final = Sizes("normal", 0, 0.25, -1.5, 1.5)
"""Log of true over reported when a value was misread or mistyped: a quarter either way."""
BYPRODUCT: Final = Sizes("half-normal", 0, 0.05, 0, 0.5)
"""Share of the sugar's carbon in a by-product beyond its usual amount."""
SUGAR_LEFT: Final = Sizes("half-normal", 0, 0.25, 0, 0.9)
CO2_LOST: Final = Sizes("half-normal", 0, 0.25, 0, 0.9)
ETHANOL_LOST: Final = Sizes("half-normal", 0, 0.10, 0, 0.5)
DRY_SHARE: Final = Sizes("uniform", low=0.2, high=0.95)
"""Dry share of a paste that was weighed as if dry."""
SOLIDS: Final = Sizes("uniform", low=0.0, high=0.6)
"""Share of a dried product that is not yeast: molasses leaves much."""
USUAL_SIZES: Final = (
    f"Usual sizes (common practice): misread by {MISREAD.spread:.0%} either way; by-products beyond the usual "
    f"{BYPRODUCT.spread:.0%} of the carbon; sugar left {SUGAR_LEFT.spread:.0%}, CO2 lost {CO2_LOST.spread:.0%}, "
    f"ethanol evaporated {ETHANOL_LOST.spread:.0%} (each the spread of a half-normal); a wet product "
    f"{DRY_SHARE.low:.0%} to {DRY_SHARE.high:.0%} dry; other solids up to {SOLIDS.high:.0%}."
)


def usual_faults(evidence: Evidence, dilution: float | None = None) -> list[Fault]:
    """The mistakes that could have touched these streams."""
    of = {role: _columns(evidence, role) for role in ("sugar", "ethanol", "CO2", "yeast")}
    misread = [
        Fault(
            "misread",
            f"{name} misread",
            "measurement",
            (i,),
            MISREAD,
            np.exp,
            np.log,
            "",
            "true over reported",
        )
        for i, (name, standing) in enumerate(zip(evidence.names, evidence.standing))
        if standing == "measured"
    ]
    return misread + _products(evidence, of) + _slips(evidence, of, dilution)


def _columns(evidence: Evidence, role: str) -> tuple[int, ...]:
    """Measured streams of that kind, on the side where they belong (an inoculum is not the yeast made)."""
    sign = -1 if role == "sugar" else 1
    return tuple(
        i
        for i, (found, standing) in enumerate(zip(evidence.roles, evidence.standing))
        if found == role and standing == "measured" and sign * evidence.x[i] > 0
    )


def _products(evidence: Evidence, of: dict[str, tuple[int, ...]]) -> list[Fault]:
    measured = {r for r, s in zip(evidence.roles, evidence.standing) if s == "measured"}
    out = []
    if of["sugar"] and "glycerol" not in measured:
        out.append(_added("glycerol", "glycerol beyond what growth needs", "C3H8O3"))
    if of["sugar"] and not measured & {"acetic acid", "lactic acid", "succinic acid", "organic acids"}:
        out.append(_added("acids", "organic acids beyond the usual", "CH2O"))
    if of["sugar"]:
        out.append(_part("sugar left", "product", "sugar left over", of["sugar"], SUGAR_LEFT, "share not used"))
    if of["CO2"]:
        says = "share not caught"
        out.append(_lost("CO2 lost", "product", "CO2 lost by a leak or still dissolved", of["CO2"], CO2_LOST, says))
    if of["ethanol"]:
        out.append(_lost("ethanol lost", "product", "ethanol evaporated", of["ethanol"], ETHANOL_LOST, "share lost"))
    return out


def _slips(evidence: Evidence, of: dict[str, tuple[int, ...]], dilution: float | None) -> list[Fault]:
    out = []
    if of["CO2"]:
        name = "CO2 counted as one third of a mole per mole of hexose"
        out.append(_slip("third", name, of["CO2"], (6.0,)))
    if of["ethanol"]:
        known = (dilution,) if dilution else DILUTIONS
        factors = tuple(1 / k for k in known) + tuple(known)
        by_mass = Sizes("normal", *ALCOHOL_BY_MASS, 0.75, 0.85)
        name = "% by volume used as % by mass"
        out.append(Fault("by mass", name, "slip", of["ethanol"], by_mass, _same, _same, "", "true over reported"))
        out.append(_slip("dilution", "dilution factor used twice or not at all", of["ethanol"], factors))
    hexose = tuple(i for i in of["sugar"] if evidence.formulas[i] == "C6H12O6")
    sucrose = tuple(i for i in of["sugar"] if evidence.formulas[i] == "C12H22O11")
    if hexose:
        out.append(_slip("sucrose", "sucrose taken for glucose", hexose, (HEXOSE_PER_SUCROSE,)))
    if sucrose:
        out.append(_slip("sucrose", "glucose taken for sucrose", sucrose, (1 / HEXOSE_PER_SUCROSE,)))
    if of["yeast"]:
        out.append(Fault("wet", "product weighed wet", "slip", of["yeast"], DRY_SHARE, _same, _same, "", "dry share"))
        says = "share that is not yeast"
        out.append(_part("solids", "slip", "other solids counted as yeast", of["yeast"], SOLIDS, says))
    return out


def _added(key: str, name: str, formula: str) -> Fault:
    return Fault(key, name, "product", (), BYPRODUCT, None, None, formula, "share of the sugar's carbon")


def _part(key: str, kind: str, name: str, touches: tuple[int, ...], sizes: Sizes, says: str) -> Fault:
    return Fault(key, name, kind, touches, sizes, _kept, _kept, "", says)


def _lost(key: str, kind: str, name: str, touches: tuple[int, ...], sizes: Sizes, says: str) -> Fault:
    return Fault(key, name, kind, touches, sizes, _grown, _shrunk, "", says)


def _slip(key: str, name: str, touches: tuple[int, ...], factors: tuple[float, ...]) -> Fault:
    return Fault(key, name, "slip", touches, Sizes("values", values=factors), _same, _same, "", "true over reported")


def _same(size: Floats) -> Floats:
    return size


def _kept(size: Floats) -> Floats:
    return 1 - size


def _grown(share_lost: Floats) -> Floats:
    return 1 / (1 - share_lost)


def _shrunk(factor: Floats) -> Floats:
    return 1 - 1 / factor


@dataclass(frozen=True)
class Nodes:
    """A fault laid out as a list of sizes: factor on each amount, residual added, log of the prior share."""

    size: Floats
    factors: Floats
    adds: Floats
    log_share: Floats


def lay_out(fault: Fault, evidence: Evidence, contents: Mapping[str, Sequence[float]], fine: float = 0.4) -> Nodes:
    """Sizes of a fault so close together that this run cannot tell neighbours apart."""
    direction = _direction(fault, evidence, contents)
    P = evidence.R @ evidence.V @ evidence.R.T
    strength = float(np.sqrt(direction @ np.linalg.solve(P, direction)))
    size, share = _grid(fault, fine / max(strength, 1e-9))
    factors = np.ones((len(size), len(evidence.x)))
    adds = np.zeros((len(size), evidence.R.shape[0]))
    if fault.factor is None:
        adds = size[:, None] * direction
    else:
        factors[:, touched(fault, evidence)] = fault.factor(size)[:, None]
    keep = share > 0
    return Nodes(size[keep], factors[keep], adds[keep], np.log(share[keep]))


def touched(fault: Fault, evidence: Evidence) -> list[int]:
    """Columns that move when the fault is undone: the falsified amounts and those derived from them."""
    return sorted({j for i in fault.touches for j in (i, *evidence.follows[i])})


def _direction(fault: Fault, evidence: Evidence, contents: Mapping[str, Sequence[float]]) -> Floats:
    """Change of the tests for a change of one in the log of the factor, or in the share of carbon added."""
    if fault.factor is None:
        inside = np.asarray(contents[fault.adds])
        found: Floats = evidence.K @ inside * evidence.carbon_in / inside[evidence.rows.index("C")]
        return found
    columns = touched(fault, evidence)
    along: Floats = evidence.R[:, columns] @ evidence.x[columns]
    return along


def _grid(fault: Fault, step: float) -> tuple[Floats, Floats]:
    sizes = fault.sizes
    if sizes.shape == "values":
        return np.array(sizes.values), np.full(len(sizes.values), 1 / len(sizes.values))
    reach = np.array(
        [max(sizes.low, sizes.centre - 4 * sizes.spread), min(sizes.high, sizes.centre + 4 * sizes.spread)]
    )
    if sizes.shape == "uniform":
        reach = np.array([sizes.low, sizes.high])
    ends = reach if fault.factor is None else np.sort(np.log(fault.factor(reach)))
    n = int(np.clip(np.ceil((ends[1] - ends[0]) / step), 12, 1200))
    edges = np.linspace(ends[0], ends[1], n + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    if fault.factor is None or fault.size_of is None:
        return middle, np.diff(sizes.below(edges))
    return fault.size_of(np.exp(middle)), np.abs(np.diff(sizes.below(fault.size_of(np.exp(edges)))))
