"""How good the run was: each yield against its limit, and whose uncertainty it carries."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from math import sqrt
from types import MappingProxyType
from typing import Any, Final

from fermkit.basis.budget import Act, budget_of
from fermkit.basis.checks import one_of
from fermkit.basis.statistics import effective_degrees_of_freedom, student
from fermkit.basis.written import Line, Page, Written, nominal, percent, plus_minus, rounded, uncertainty
from fermkit.calibration.readback import REPLICATES
from fermkit.calibration.standards import SCATTER
from fermkit.matter.composition import compound

_ETHANOL, _CO2, _HEXOSE = compound("ethanol"), compound("CO2"), compound("hexose")

THEORETICAL: Final[Mapping[str, float]] = MappingProxyType({
    "ethanol": 2 * _ETHANOL.molar_mass / _HEXOSE.molar_mass,
    "CO2": 2 * _CO2.molar_mass / _HEXOSE.molar_mass,
})  # fmt: skip
"""g per g hexose when all of it is fermented, C6H12O6 → 2 C2H5OH + 2 CO2 (Gay-Lussac): 0.5114 and 0.4886."""


@dataclass(frozen=True, repr=False)
class Yield(Written):
    """What came of the sugar: one product, per gram of hexose used.

    Attributes
    ----------
    name : str
        As `Analysis` calls it: "yeast_yield".
    product : str
    per_g : ufloat
        Gram of product per gram of hexose used.
    per_carbon : ufloat or None
        Carbon in the product per carbon in the sugar used [mol/mol]; None where its carbon is not known.
    limit : float or ufloat
        The most that is possible [g/g].
    limit_note : str
        What sets the limit.
    dof : float
        Effective degrees of freedom of the uncertainty.
    per_L_h : ufloat or None
        Gram of product per litre of liquid and hour of the run [g/(L h)]; None where the hours are not known.
    """

    name: str
    product: str
    per_g: Any
    per_carbon: Any
    limit: Any
    limit_note: str
    dof: float = float("inf")
    per_L_h: Any = None

    @property
    def share_of_limit(self) -> Any:
        """The yield over its limit."""
        return self.per_g / self.limit

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Where the true yield lies [g/g]: Student's factor on the effective degrees of freedom."""
        half = student(self.dof, level) * uncertainty(self.per_g)
        return nominal(self.per_g) - half, nominal(self.per_g) + half

    def lines(self) -> list[Line]:
        """The yield, the same by carbon, and how far it is from its limit."""
        out = [Line(f"{self.product}, per g of hexose used", self.per_g, "g/g", limits=self.interval())]
        if self.per_carbon is not None:
            out.append(Line(f"{self.product}, by carbon", self.per_carbon * 100, "% of the sugar's carbon"))
        if self.per_L_h is not None:
            note = "over the whole run"
            out.append(Line(f"{self.product}, per litre and hour", self.per_L_h * 1000, "mg/(L h)", note))
        out.append(Line(f"{self.product}, of its limit", self.share_of_limit * 100, "%", self.limit_note))
        return out

    def page(self) -> Page:
        """The yield as a page."""
        return Page(f"Yield of {self.product}", self.lines())


def yield_of(
    name: str,
    product: str,
    grams: Any,
    hexose_g: Any,
    carbon_mol: Any,
    limit: Any,
    note: str,
    sensor_dof: float = float("inf"),
    litre_hours: Any = None,
) -> Yield:
    """A yield from grams of product and grams of hexose used, correlated as they are.

    `sensor_dof` are the degrees of freedom behind the scatter of the alcohol sensor, the one part that rests on
    few readings. `litre_hours` is the liquid times the length of the run [L h], where known.
    """
    per_g = grams / hexose_g
    per_carbon = None if carbon_mol is None else carbon_mol / (hexose_g * 6 / _HEXOSE.molar_mass)
    squares = dict(zip((budget := budget_of(per_g)).acts, budget.contributions**2))
    few = sum(squares.pop(act, 0.0) for act in (SCATTER, REPLICATES))
    dof = effective_degrees_of_freedom([(few, sensor_dof), (sum(squares.values()), float("inf"))])
    return Yield(
        name, product, per_g, per_carbon, limit, note, dof, None if litre_hours is None else grams / litre_hours
    )


@dataclass(frozen=True, repr=False)
class UncertaintyShares(Written):
    """Which act owns which share of a value's variance, and what halving it would gain."""

    name: str
    value: Any
    unit: str

    @cached_property
    def acts(self) -> Mapping[Act, float]:
        """The standard uncertainty that each act brings in, largest first."""
        budget = budget_of(self.value)
        return dict(zip(budget.acts, map(float, budget.contributions)))

    def shares(self) -> dict[Act, float]:
        """Share of the variance by act, largest first; they add up to 1."""
        total = sum(u**2 for u in self.acts.values())
        return {act: u**2 / total for act, u in self.acts.items()} if total else {}

    def halved(self, act: Act) -> float:
        """The standard uncertainty of the value if the act were done twice as well."""
        if act not in self.acts:
            one_of(act.key, [one.key for one in self.acts], "act")
        return sqrt(sum((u / 2 if one == act else u) ** 2 for one, u in self.acts.items()))

    def page(self) -> Page:
        """The shares as a page."""
        lines = [
            Line(str(act), f"{share:.1%}", "", f"done twice as well: ± {rounded(0, self.halved(act))[1]} {self.unit}")
            for act, share in self.shares().items()
            if share >= 0.001
        ]
        small = sum(share < 0.001 for share in self.shares().values())
        note = (f"{small} further acts own less than 0.1 % each.",) if small else ()
        return Page(f"Who owns the uncertainty of {self.name}, {plus_minus(self.value, self.unit)}", lines, note)


def in_one_sentence(found: Yield) -> str:
    """The yield and its standing, said plainly."""
    return (
        f"{plus_minus(found.per_g, 'g')} of {found.product} for each gram of sugar used (as hexose): "
        f"{percent(found.share_of_limit)} of {found.limit_note}."
    )
