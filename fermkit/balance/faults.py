"""Mistakes that a fermentation balance is known for: what each does to the numbers, and how large it usually is.

A mistake is described by how it is undone: the reported amounts of some streams are multiplied by a factor,
or carbon that nobody measured is added. Sizes follow printed distributions: common practice, no source,
except where a docstring names one.
"""

from dataclasses import dataclass
from enum import Enum, StrEnum, auto
from typing import Final

import numpy as np
from scipy.special import ndtr

from fermkit.balance.evidence import Evidence
from fermkit.basis.checks import Floats
from fermkit.basis.written import in_percent
from fermkit.matter.composition import molar_mass

PRIOR_NOTHING_WRONG: Final = 0.5
"""Probability that nothing is wrong, before the numbers are looked at; the mistakes share the rest (a choice)."""
ALCOHOL_BY_MASS: Final = (789.2 / 985.0, 0.008)
"""True over reported grams when % by volume is used as % by mass of the liquid: 789.2 kg/m3 (ethanol at 20 °C,
OIML R 22) over a young wine's 985 ± 8 kg/m3."""
HEXOSE_PER_SUCROSE: Final = 2 * molar_mass("hexose") / molar_mass("sucrose")


class Undo(Enum):
    """How the size of a mistake becomes the factor that undoes it."""

    RATIO = auto()
    LOG_RATIO = auto()
    TAKE_OFF = auto()
    GIVE_BACK = auto()
    ADD_CARBON = auto()


class Size(StrEnum):
    """What the size of a mistake is, in words."""

    RATIO = "true over reported"
    DRY = "dry share"
    UNUSED = "share not used"
    UNCAUGHT = "share not caught"
    LOST = "share lost"
    FOREIGN = "share that is not new yeast"
    CARBON = "share of the sugar's carbon"


@dataclass(frozen=True)
class Sizes:
    """How large a mistake usually is: a distribution cut to ``low`` … ``high``.

    Attributes
    ----------
    shape : "normal", "uniform" or "values"
    centre, spread : float
        Of the normal shape (a half-normal one is cut at its centre).
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


@dataclass(frozen=True)
class Fault:
    """One mistake.

    Attributes
    ----------
    key : str
        Which mistake it is, for look-ups; what stands before a colon is its family.
    name : str
        How it is printed.
    touches : tuple of int
        Columns of the known amounts that it falsifies (with those derived from them).
    sizes : Sizes
    undo : Undo
    says : Size
        What the size is, in words.
    adds : str
        Formula of the product that nobody measured; its size is a share of the sugar's carbon.
    """

    key: str
    name: str
    touches: tuple[int, ...]
    sizes: Sizes
    undo: Undo
    says: Size
    adds: str = ""

    @property
    def family(self) -> str:
        """Its key without the stream."""
        return self.key.split(":")[0]

    @property
    def fixed(self) -> bool:
        """Whether the mistake has only certain sizes: single values, or a tenth about one value."""
        return self.sizes.shape == "values" or self.sizes.spread < 0.1 * self.sizes.centre

    def factor(self, size: Floats) -> Floats:
        """What undoes a mistake of that size."""
        if self.undo is Undo.LOG_RATIO:
            return np.exp(size)
        if self.undo is Undo.TAKE_OFF:
            return 1 - size
        return 1 / (1 - size) if self.undo is Undo.GIVE_BACK else size

    def size_of(self, factor: Floats) -> Floats:
        """The size that a factor undoes."""
        if self.undo is Undo.LOG_RATIO:
            return np.log(factor)
        if self.undo is Undo.TAKE_OFF:
            return 1 - factor
        return 1 - 1 / factor if self.undo is Undo.GIVE_BACK else factor


MISREAD: Final = Sizes("normal", 0, 0.25, -1.5, 1.5)
"""Log of true over reported when a value was misread or mistyped: a quarter either way."""
BYPRODUCT: Final = Sizes("normal", 0, 0.05, 0, 0.5)
"""Share of the sugar's carbon in a by-product beyond its usual amount."""
SUGAR_LEFT: Final = Sizes("normal", 0, 0.25, 0, 0.9)
CO2_LOST: Final = Sizes("normal", 0, 0.25, 0, 0.9)
ETHANOL_LOST: Final = Sizes("normal", 0, 0.10, 0, 0.5)
DRY_SHARE: Final = Sizes("uniform", low=0.2, high=0.95)
"""Dry share of a paste that was weighed as if dry."""
SOLIDS: Final = Sizes("uniform", low=0.0, high=0.6)
"""Share of a dried product that is not new yeast: molasses and the inoculum leave much."""
THIRD: Final = Sizes("normal", 5.6, 0.4, 4.5, 6.1)
"""True over reported CO2 when a third of a mole is counted for each mole of hexose: 6 where it replaces the two moles
of the equation, less where yeast and by-products took part of the sugar."""
BY_MASS: Final = Sizes("normal", *ALCOHOL_BY_MASS, 0.75, 0.85)
WEAK_LABEL: Final = Sizes("normal", 1 / ALCOHOL_BY_MASS[0], 0.013, 1.18, 1.33)
"""True over reported when standards were made by mass and labelled by volume: the reverse of `BY_MASS`."""
DILUTION: Final = Sizes("values", values=tuple(f for k in (2.0, 4.0, 5.0, 10.0, 20.0, 50.0, 100.0) for f in (1 / k, k)))
SUCROSE_AS_GLUCOSE: Final = Sizes("values", values=(HEXOSE_PER_SUCROSE,))
GLUCOSE_AS_SUCROSE: Final = Sizes("values", values=(1 / HEXOSE_PER_SUCROSE,))
USUAL_SIZES: Final = (
    f"Usual sizes (common practice): misread by {in_percent(MISREAD.spread)} either way; by-products beyond the usual "
    f"{in_percent(BYPRODUCT.spread)} of the carbon; sugar left {in_percent(SUGAR_LEFT.spread)}, CO2 lost "
    f"{in_percent(CO2_LOST.spread)}, ethanol evaporated {in_percent(ETHANOL_LOST.spread)} (small ones more often than "
    f"large ones); a wet product {in_percent(DRY_SHARE.low)} to {in_percent(DRY_SHARE.high)} dry; other solids up to "
    f"{in_percent(SOLIDS.high)}."
)
ACIDS: Final = {"acetic acid", "lactic acid", "succinic acid", "organic acids"}


def usual_faults(evidence: Evidence) -> list[Fault]:
    """The mistakes that could have touched these streams."""
    sugar, ethanol, co2, yeast = (_columns(evidence, role) for role in ("sugar", "ethanol", "CO2", "yeast"))
    hexose, sucrose = (
        tuple(i for i in sugar if evidence.amounts[i].formula == formula) for formula in ("C6H12O6", "C12H22O11")
    )
    ratio = (Undo.RATIO, Size.RATIO)
    known: tuple[tuple[tuple[int, ...], str, str, Sizes, Undo, Size], ...] = (
        (sugar, "sugar left", "sugar left over", SUGAR_LEFT, Undo.TAKE_OFF, Size.UNUSED),
        (co2, "CO2 lost", "CO2 lost by a leak or still dissolved", CO2_LOST, Undo.GIVE_BACK, Size.UNCAUGHT),
        (ethanol, "ethanol lost", "ethanol evaporated", ETHANOL_LOST, Undo.GIVE_BACK, Size.LOST),
        (co2, "third", "CO2 counted as one third of a mole per mole of hexose", THIRD, *ratio),
        (ethanol, "by mass", "% by volume used as % by mass", BY_MASS, *ratio),
        (ethanol, "label", "standards made by mass, labelled by volume", WEAK_LABEL, *ratio),
        (ethanol, "dilution", "dilution factor used twice or not at all", DILUTION, *ratio),
        (hexose, "sucrose", "sucrose taken for glucose", SUCROSE_AS_GLUCOSE, *ratio),
        (sucrose, "sucrose", "glucose taken for sucrose", GLUCOSE_AS_SUCROSE, *ratio),
        (yeast, "wet", "product weighed wet", DRY_SHARE, Undo.RATIO, Size.DRY),
        (yeast, "solids", "inoculum or other solids counted as new yeast", SOLIDS, Undo.TAKE_OFF, Size.FOREIGN),
    )
    out = [
        Fault(f"misread:{a.name}", f"{a.name} misread", (i,), MISREAD, Undo.LOG_RATIO, Size.RATIO)
        for i, a in enumerate(evidence.amounts)
        if a.measured
    ]
    measured = {a.role for a in evidence.amounts if a.measured}
    products = (
        ("glycerol", "glycerol beyond what growth needs", {"glycerol"}, "C3H8O3"),
        ("acids", "organic acids beyond the usual", ACIDS, "CH2O"),
    )
    out += [
        Fault(key, name, (), BYPRODUCT, Undo.ADD_CARBON, Size.CARBON, formula)
        for key, name, roles, formula in products
        if sugar and not measured & roles
    ]
    return out + [
        Fault(key, name, touches, sizes, undo, says) for touches, key, name, sizes, undo, says in known if touches
    ]


def _columns(evidence: Evidence, role: str) -> tuple[int, ...]:
    """Measured streams of that kind, on the side where they belong (an inoculum is not the yeast made)."""
    sign = -1 if role == "sugar" else 1
    return tuple(
        i for i, a in enumerate(evidence.amounts) if a.role == role and a.measured and sign * evidence.x[i] > 0
    )


@dataclass(frozen=True)
class Nodes:
    """A fault laid out as a list of sizes: factor on each amount, residual added, log of the prior share."""

    size: Floats
    factors: Floats
    adds: Floats
    log_share: Floats


def lay_out(fault: Fault, evidence: Evidence, fine: float = 0.4) -> Nodes:
    """Sizes of a fault so close together that this run cannot tell neighbours apart."""
    columns = touched(fault, evidence)
    if fault.adds:  # change of the tests for all of the sugar's carbon in that product
        inside = evidence.inside(fault.adds)
        direction = evidence.K @ inside * evidence.carbon_in / inside[evidence.rows.index("C")]
    else:  # change of the tests for a change of one in the log of the factor
        direction = evidence.R[:, columns] @ evidence.x[columns]
    P = evidence.R @ evidence.V @ evidence.R.T
    strength = float(np.sqrt(direction @ np.linalg.solve(P, direction)))
    size, share = _grid(fault, fine / max(strength, 1e-9))
    factors = np.ones((len(size), len(evidence.x)))
    adds = np.zeros((len(size), evidence.R.shape[0]))
    if fault.adds:
        adds = size[:, None] * direction
    else:
        factors[:, columns] = fault.factor(size)[:, None]
    keep = share > 0
    return Nodes(size[keep], factors[keep], adds[keep], np.log(share[keep]))


def touched(fault: Fault, evidence: Evidence) -> list[int]:
    """Columns that move when the fault is undone: the falsified amounts and those derived from them."""
    return sorted({j for i in fault.touches for j in (i, *evidence.followers(i))})


def _grid(fault: Fault, step: float) -> tuple[Floats, Floats]:
    sizes = fault.sizes
    if sizes.shape == "values":
        return np.array(sizes.values), np.full(len(sizes.values), 1 / len(sizes.values))
    reach = np.array([sizes.low, sizes.high])
    if sizes.shape == "normal":  # four spreads hold all but 0.006 %
        reach = np.clip(sizes.centre + 4 * sizes.spread * np.array([-1.0, 1.0]), sizes.low, sizes.high)
    ends = reach if fault.adds else np.sort(np.log(fault.factor(reach)))
    n = int(np.clip(np.ceil((ends[1] - ends[0]) / step), 12, 1200))
    edges = np.linspace(ends[0], ends[1], n + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    if fault.adds:
        return middle, np.diff(sizes.below(edges))
    return fault.size_of(np.exp(middle)), np.abs(np.diff(sizes.below(fault.size_of(np.exp(edges)))))
