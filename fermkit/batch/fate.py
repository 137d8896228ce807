"""What the sugar becomes, as the estimate has it: yeast, ethanol, CO2, glycerol, acids, oxygen, and the heat."""

from dataclasses import dataclass
from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.written import Line, Page, Written, nominal
from fermkit.batch.estimate import Estimate
from fermkit.matter.composition import compound, molar_mass
from fermkit.matter.feed import yeast_ash

COMBUSTION_KJ: Final = {"hexose": 2812.9, "ethanol": 1356.2, "glycerol": 1647.2, "acetic acid": 872.9}
"""Heat of combustion of what is dissolved in water [kJ/mol], to CO2 gas and water, at 25 °C: from the enthalpies of
formation in the NBS tables, J. Phys. Chem. Ref. Data 11, suppl. 2 (1982) (from memory)."""

ELECTRON_KJ: Final = (115.0, 4.0)
"""Heat of combustion of yeast for each mole of its electrons, ammonia left as such [kJ/mol]: 115 ± 4, Roels 1983;
Patel & Erickson, Biotechnol. Bioeng. 23 (1981) 2051 (from memory)."""


@dataclass(frozen=True, repr=False)
class Fate(Written):
    """What an amount of hexose becomes; amounts in mol where nothing else is said, each with its ±.

    ``acids_mol`` counts as acetic acid, ``yeast_g`` is new dry yeast with its ash, ``oxygen_mol`` what was used.
    """

    hexose_mol: Any
    yeast_g: Any
    oxygen_mol: Any
    ethanol_mol: Any
    co2_mol: Any
    glycerol_mol: Any
    acids_mol: Any
    heat_kJ: Any

    @property
    def ethanol_g(self) -> Any:
        """Ethanol [g]."""
        return self.ethanol_mol * molar_mass("ethanol")

    @property
    def co2_g(self) -> Any:
        """CO2 [g]."""
        return self.co2_mol * molar_mass("CO2")

    @property
    def respiratory_quotient(self) -> Any:
        """CO2 out over oxygen in [mol/mol]; None without oxygen. About 1: respiring; far above: fermenting."""
        return self.co2_mol / self.oxygen_mol if nominal(self.oxygen_mol) > 0 else None

    def page(self) -> Page:
        """The amounts as a page."""
        lines = [
            Line("hexose used", self.hexose_mol * molar_mass("hexose"), "g"),
            Line("ethanol", self.ethanol_g, "g"),
            Line("CO2", self.co2_g, "g"),
            Line("new dry yeast", self.yeast_g, "g"),
            Line("glycerol", self.glycerol_mol * molar_mass("glycerol"), "g", "forced by growth without air"),
            Line("acids, as acetic", self.acids_mol * molar_mass("acetic acid"), "g"),
            Line("oxygen used", self.oxygen_mol * molar_mass("O2"), "g"),
            Line("heat", self.heat_kJ, "kJ"),
        ]
        return Page("What the sugar becomes", lines, ["Carbon and electrons close by construction."])


def fate_of(found: Estimate) -> Fate:
    """What the sugar becomes, in moles, and the heat of it: the amounts of an estimate."""
    names = {"sugar_used": "hexose", "oxygen": "O2", "ethanol": "ethanol", "co2": "CO2", "glycerol": "glycerol",
             "acids": "acetic acid"}  # fmt: skip
    mol = {key: found.amount(key) / molar_mass(name) for key, name in names.items()}
    yeast_g = found.amount("yeast")
    heat = heat_kJ(mol["sugar_used"], yeast_g, mol["ethanol"], mol["glycerol"], mol["acids"])
    return Fate(mol["sugar_used"], yeast_g, mol["oxygen"], mol["ethanol"], mol["co2"], mol["glycerol"], mol["acids"],
                heat)  # fmt: skip


def heat_kJ(hexose_mol: Any, yeast_g: Any, ethanol_mol: Any, glycerol_mol: Any = 0.0, acids_mol: Any = 0.0) -> Any:
    """The heat of a batch [kJ]: what burning the sugar would give, less what burning the products would (Hess).

    Parameters
    ----------
    hexose_mol, ethanol_mol, glycerol_mol, acids_mol : value
        Hexose used, and what was made; acids as acetic acid [mol].
    yeast_g : value
        New dry yeast with its ash [g].

    Examples
    --------
    >>> print(f"{heat_kJ(1.0, 0.0, 2.0):.1f}")
    100.5+/-0

    References
    ----------
    As `COMBUSTION_KJ` and `ELECTRON_KJ`.
    """
    cells = compound("yeast")
    electrons = yeast_g * (1.0 - yeast_ash()) / cells.molar_mass * cells.electrons
    return (
        COMBUSTION_KJ["hexose"] * hexose_mol
        - electrons * ufloat(*ELECTRON_KJ, Act("yeast heat", "heat held by the yeast"))
        - COMBUSTION_KJ["ethanol"] * ethanol_mol
        - COMBUSTION_KJ["glycerol"] * glycerol_mol
        - COMBUSTION_KJ["acetic acid"] * acids_mol
    )
