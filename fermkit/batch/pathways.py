"""What the sugar becomes: ethanol, CO2, yeast, glycerol, acids and heat, from carbon and electrons alone.

Yeast grown without air forces glycerol; oxygen takes electrons. Given the yeast and the oxygen, the balances of
carbon and electrons leave only one amount of ethanol and one of CO2.
"""

from dataclasses import dataclass
from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import not_negative, positive
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, nominal, percent
from fermkit.matter import usual
from fermkit.matter.composition import compound, molar_mass
from fermkit.matter.feed import yeast_ash

COMBUSTION_KJ: Final = {"hexose": 2812.9, "ethanol": 1356.2, "glycerol": 1647.2, "acetic acid": 872.9}
"""Heat of combustion of what is dissolved in water [kJ/mol], to CO2 gas and water, at 25 °C: from the enthalpies of
formation in the NBS tables, J. Phys. Chem. Ref. Data 11, suppl. 2 (1982) (from memory)."""

ELECTRON_KJ: Final = (115.0, 4.0)
"""Heat of combustion of yeast for each mole of its electrons, ammonia left as such [kJ/mol]: 115 ± 4, Roels 1983;
Patel & Erickson, Biotechnol. Bioeng. 23 (1981) 2051 (from memory)."""

BALLING: Final = {"extract": 2.0665, "ethanol": 1.0, "CO2": 0.9565, "yeast": 0.11}
"""Balling's rule [g], a plausibility check: whether its extract counts as sucrose or as hexose moves its carbon
by 5 %."""


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
    def ethanol_share(self) -> Any:
        """Ethanol over its limit of 2 mol for each mol of hexose [-]."""
        return self.ethanol_mol / (2.0 * self.hexose_mol)

    @property
    def respiratory_quotient(self) -> Any:
        """CO2 out over oxygen in [mol/mol]; None without oxygen. About 1: respiring; far above: fermenting."""
        return self.co2_mol / self.oxygen_mol if nominal(self.oxygen_mol) > 0 else None

    def page(self) -> Page:
        """The amounts as a page."""
        rq = self.respiratory_quotient
        lines = [
            Line("hexose used", self.hexose_mol * molar_mass("hexose"), "g"),
            Line("ethanol", self.ethanol_g, "g", f"{percent(self.ethanol_share)} of its limit"),
            Line("CO2", self.co2_g, "g"),
            Line("new dry yeast", self.yeast_g, "g"),
            Line("glycerol", self.glycerol_mol * molar_mass("glycerol"), "g", "forced by growth without air"),
            Line("acids, as acetic", self.acids_mol * molar_mass("acetic acid"), "g"),
            Line("oxygen used", self.oxygen_mol * molar_mass("O2"), "g"),
            Line("heat", self.heat_kJ, "kJ"),
        ]
        if rq is not None:
            lines.append(Line("CO2 out / O2 in", rq, "mol/mol", "about 1: respiring; far above: fermenting"))
        return Page("What the sugar becomes", lines, ["Carbon and electrons close by construction."])


def sugar_fate(
    hexose_mol: Any,
    yeast_g: Any,
    oxygen_mol: Any = 0.0,
    *,
    yeast_without_air_g: Any = None,
    glycerol_mmol_per_g: Any = None,
    acids_share: Any = None,
    yeast: str = "yeast",
    ash: Any = None,
) -> Fate:
    """What sugar becomes when some yeast grows and some oxygen is used.

    Parameters
    ----------
    hexose_mol : value
        Hexose used up [mol].
    yeast_g : value
        New dry yeast with its ash [g].
    oxygen_mol : value
        Oxygen used [mol].
    yeast_without_air_g : value, optional
        How much of the yeast grew by fermenting, which alone forces glycerol [g]; without it, all.
    glycerol_mmol_per_g : value, optional
        Glycerol for each gram of that yeast [mmol/g]; without it 6.25 ± 0.7.
    acids_share : value, optional
        Share of the sugar's carbon that ends as acids [-]; without it 0.015 ± 0.005.
    yeast : str
        The yeast's formula without ash, or its name.
    ash : value, optional
        Ash of the dry yeast [g/g]; without it 5 to 8 %.

    Returns
    -------
    Fate

    Notes
    -----
    Carbon: 6 h = C_yeast + 3 glycerol + 2 acid + 2 ethanol + CO2. Electrons:
    24 h = γ C_yeast + 14 glycerol + 8 acid + 12 ethanol + 4 O2. Heat: what burning the sugar would give, less what
    burning the products would.

    Raises
    ------
    InputError
        Where yeast, by-products and oxygen ask for more electrons or carbon than the sugar has.

    Examples
    --------
    >>> fate = sugar_fate(1.0, 0.05 * 180.156)
    >>> print(f"{fate.ethanol_share:.3f}", f"{fate.co2_mol / fate.ethanol_mol:.3f}")
    0.880+/-0.028 1.031+/-0.012

    References
    ----------
    Roels 1983 (balances); heats as in `COMBUSTION_KJ` and `ELECTRON_KJ`; by-products as in
    `fermkit.matter.usual`.
    """
    positive(nominal(hexose_mol), "hexose used [mol]")
    not_negative(nominal(yeast_g), "new dry yeast [g]")
    not_negative(nominal(oxygen_mol), "oxygen used [mol]")
    ash = yeast_ash() if ash is None else ash
    per_g = usual.GLYCEROL["mixture"].value() if glycerol_mmol_per_g is None else glycerol_mmol_per_g
    share = usual.ACIDS.value() if acids_share is None else acids_share
    cells = compound(yeast)
    yeast_carbon = yeast_g * (1.0 - ash) / cells.molar_mass * cells.carbon
    yeast_electrons = yeast_carbon * (cells.electrons / cells.carbon)
    glycerol = per_g * (yeast_g if yeast_without_air_g is None else yeast_without_air_g) / 1000.0
    acids = share * hexose_mol * 3.0
    left = 24.0 * hexose_mol - yeast_electrons - 14.0 * glycerol - 8.0 * acids - 4.0 * oxygen_mol
    ethanol = left / 12.0
    co2 = 6.0 * hexose_mol - yeast_carbon - 3.0 * glycerol - 2.0 * acids - 2.0 * ethanol
    _possible(hexose_mol, yeast_g, oxygen_mol, ethanol, co2)
    heat = (
        COMBUSTION_KJ["hexose"] * hexose_mol
        - yeast_electrons * ufloat(*ELECTRON_KJ, Act("yeast heat", "heat held by the yeast"))
        - COMBUSTION_KJ["ethanol"] * ethanol
        - COMBUSTION_KJ["glycerol"] * glycerol
        - COMBUSTION_KJ["acetic acid"] * acids
    )
    return Fate(hexose_mol, yeast_g, oxygen_mol, ethanol, co2, glycerol, acids, heat)


def _possible(hexose: Any, yeast_g: Any, oxygen: Any, ethanol: Any, co2: Any) -> None:
    for name, amount in (("ethanol", ethanol), ("CO2", co2)):
        if nominal(amount) < -1e-9 * nominal(hexose):
            raise InputError(
                f"{nominal(yeast_g):.3g} g yeast and {nominal(oxygen):.3g} mol oxygen from {nominal(hexose):.3g} mol "
                f"hexose would leave {nominal(amount):.3g} mol {name}",
                "no more yeast, by-products and oxygen than the sugar's carbon and electrons allow",
                "take less yeast or less oxygen; a mole of hexose feeds at most 6 mol of oxygen",
            )
