"""Chemical formulas: what is in a compound, what a mole of it weighs, how many electrons it can give.

Atomic weights come from periodictable, which holds the abridged standard atomic weights of
IUPAC/CIAAW (Prohaska et al., Pure Appl. Chem. 94 (2022) 573).
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from fermkit.basis.checks import nearest, one_of
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written

_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")
_SYMBOL = re.compile(r"[A-Z][a-z]?")
_COUNT = re.compile(r"\d+(?:\.\d+)?|\.\d+")

_VALENCE: Final = {
    "C": 4, "H": 1, "O": -2, "P": 5, "S": 6,
    "K": 1, "Na": 1, "Mg": 2, "Ca": 2, "Zn": 2, "Fe": 3, "Cl": -1,
}  # fmt: skip
"""Electrons that each atom adds, counted down to CO2, water, phosphate, sulfate and the common salts."""

NITROGEN_REFERENCES: Final = {"ammonia": -3, "nitrogen gas": 0, "nitrate": 5}
"""What nitrogen counts for, by the compound whose degree of reduction is set to zero (urea: as ammonia)."""


def atoms(formula: str) -> Mapping[str, float]:
    """Which atoms a formula holds, and how many of each.

    Counts may be fractions, as biomass formulas need; groups stand in parentheses.

    Parameters
    ----------
    formula : str
        ``"C6H12O6"``, ``"(NH4)2SO4"``, ``"CH1.8O0.5N0.2"``. An ion is written as its neutral salt or acid.

    Returns
    -------
    mapping of str to float
        Atoms per formula unit [mol/mol], in the order of their first appearance.

    Raises
    ------
    InputError
        Where the formula cannot be read; the message names the character.

    Examples
    --------
    >>> dict(atoms("(NH4)2SO4"))
    {'N': 2.0, 'H': 8.0, 'S': 1.0, 'O': 4.0}
    >>> dict(atoms("CH1.8O0.5N0.2"))
    {'C': 1.0, 'H': 1.8, 'O': 0.5, 'N': 0.2}
    """
    return _atoms(formula)


@lru_cache(maxsize=1024)
def _atoms(formula: str) -> Mapping[str, float]:
    text = formula.translate(_SUBSCRIPTS)
    open_groups: list[tuple[int, dict[str, float]]] = [(0, {})]
    at = 0
    while at < len(text):
        start, symbol = at, _element_at(text, at)
        if symbol:
            part = {symbol: 1.0}
            at += len(symbol)
        elif text[at] == "(":
            open_groups.append((at, {}))
            at += 1
            continue
        elif text[at] == ")" and len(open_groups) > 1 and open_groups[-1][1]:
            part = open_groups.pop()[1]
            at += 1
        else:
            raise _unreadable(formula, at)
        count = _COUNT.match(text, at)
        times = float(count[0]) if count else 1.0
        if count:
            at = count.end()
        if times == 0:
            raise _unreadable(formula, start)
        total = open_groups[-1][1]
        for element, number in part.items():
            total[element] = total.get(element, 0.0) + number * times
    if len(open_groups) > 1 or not open_groups[0][1]:
        raise _unreadable(formula, open_groups[-1][0])
    return MappingProxyType(open_groups[0][1])


def _element_at(text: str, at: int) -> str:
    found = _SYMBOL.match(text, at)
    if not found:
        return ""
    return next((s for s in (found[0], found[0][:1]) if s in _weights()), "")


@lru_cache(maxsize=1)
def _weights() -> Mapping[str, float]:
    import periodictable

    return {element.symbol: float(element.mass) for element in periodictable.elements if element.number > 0}


def _unreadable(formula: str, at: int) -> InputError:
    here = f"stopped at {formula[at]!r}, character {at + 1}" if at < len(formula) else "it is empty"
    near = nearest(formula, COMPOUNDS)
    return InputError(
        f"cannot read the formula {formula!r}: {here}",
        "element symbols, each with its count: 'C6H12O6', '(NH4)2SO4', 'CH1.8O0.5N0.2'",
        f"did you mean the compound {near!r}?" if near else "mend the formula at that character",
    )


def molar_mass(formula: str) -> float:
    """What a mole of the compound weighs.

    Parameters
    ----------
    formula : str
        A formula, or the name of a compound in ``COMPOUNDS``. For a biomass formula: ash not included.

    Returns
    -------
    float
        Molar mass [g/mol].

    Examples
    --------
    >>> molar_mass("C6H12O6"), molar_mass("ethanol")
    (180.156, 46.069)

    References
    ----------
    Abridged standard atomic weights 2021: Prohaska et al., Pure Appl. Chem. 94 (2022) 573,
    doi:10.1515/pac-2019-0603; as held by periodictable.
    """
    return compound(formula).molar_mass


def degree_of_reduction(formula: str, per: str = "carbon", nitrogen: str = "ammonia") -> float:
    """How many electrons a compound can give on its way to CO2 and water.

    Sugar 4, ethanol 6, CO2 0: what is not lost as gas keeps its electrons, which is why this balance
    closes without knowing the water.

    Parameters
    ----------
    formula : str
        A formula or the name of a compound.
    per : "carbon" or "formula"
        Per mole of carbon (a compound without carbon is given per formula unit), or per formula unit.
    nitrogen : "ammonia", "nitrogen gas" or "nitrate"
        The nitrogen compound that counts as zero, normally the nitrogen source. Urea counts as ammonia.

    Returns
    -------
    float
        Degree of reduction [mol electrons per mol carbon, or per mol].

    Notes
    -----
    4 C + H − 2 O − 3 N + 5 P + 6 S (ammonia as reference); metals count with the charge they have in salts.

    Examples
    --------
    >>> degree_of_reduction("CH1.8O0.5N0.2"), degree_of_reduction("ethanol"), degree_of_reduction("O2")
    (4.2, 6.0, -4.0)
    >>> degree_of_reduction("CH1.8O0.5N0.2", nitrogen="nitrate")
    5.8

    References
    ----------
    Roels, J. A., Energetics and Kinetics in Biotechnology, Elsevier 1983. Shuler & Kargi, Bioprocess
    Engineering, 2nd ed. 2002, ch. 7.
    """
    one_of(per, ("carbon", "formula"), "per")
    one_of(nitrogen, NITROGEN_REFERENCES, "nitrogen")
    content = compound(formula).atoms
    electrons = _electrons(formula, content, NITROGEN_REFERENCES[nitrogen])
    return electrons / content["C"] if per == "carbon" and "C" in content else electrons


def _electrons(formula: str, content: Mapping[str, float], nitrogen: int) -> float:
    valence = {**_VALENCE, "N": nitrogen}
    unknown = [element for element in content if element not in valence]
    if unknown:
        raise InputError(
            f"{formula!r} holds {unknown[0]}, which has no agreed degree of reduction here",
            f"a compound of {', '.join(sorted(valence))}",
            "leave this element out of the electron balance, or write the compound without it",
        )
    return round(sum(valence[element] * number for element, number in content.items()), 12)


@dataclass(frozen=True, repr=False)
class Compound(Written):
    """A compound and what the balances need to know of it.

    Attributes
    ----------
    name, formula : str
    atoms : mapping
        Atoms per formula unit [mol/mol].
    molar_mass : float
        [g/mol]; for biomass without its ash.
    carbon : float
        Carbon per formula unit [mol/mol].
    electrons : float
        Degree of reduction per formula unit, ammonia as nitrogen reference [mol/mol]; NaN where an element
        has no agreed value.
    """

    name: str
    formula: str
    atoms: Mapping[str, float]
    molar_mass: float
    carbon: float
    electrons: float

    def page(self) -> Page:
        """Formula, molar mass, and what the balances count."""
        per = self.electrons / self.carbon if self.carbon else self.electrons
        note = "for each mole of carbon, ammonia counting zero" if self.carbon else "for each mole"
        lines = [
            Line("formula", self.formula),
            Line("molar mass", f"{self.molar_mass:.3f}", "g/mol", "CIAAW 2021"),
            Line("carbon", self.carbon, "mol/mol"),
            Line("degree of reduction", per, "mol electrons", note),
        ]
        source = BIOMASS_SOURCES.get(self.name)
        return Page(self.name, lines, [f"{source}. Ash not included."] if source else ())

    def mass_fraction(self, element: str) -> float:
        """The element's share of the compound's mass [g/g]; zero where it is absent."""
        return self.atoms.get(element, 0.0) * _weights().get(element, 0.0) / self.molar_mass


COMPOUNDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "glucose": "C6H12O6",
        "fructose": "C6H12O6",
        "galactose": "C6H12O6",
        "hexose": "C6H12O6",
        "invert sugar": "C6H12O6",
        "sucrose": "C12H22O11",
        "maltose": "C12H22O11",
        "lactose": "C12H22O11",
        "maltotriose": "C18H32O16",
        "raffinose": "C18H32O16",
        "ethanol": "C2H6O",
        "CO2": "CO2",
        "O2": "O2",
        "N2": "N2",
        "water": "H2O",
        "glycerol": "C3H8O3",
        "acetic acid": "C2H4O2",
        "lactic acid": "C3H6O3",
        "succinic acid": "C4H6O4",
        "pyruvic acid": "C3H4O3",
        "malic acid": "C4H6O5",
        "citric acid": "C6H8O7",
        "acetaldehyde": "C2H4O",
        "methane": "CH4",
        "ammonia": "NH3",
        "urea": "CH4N2O",
        "ammonium sulfate": "(NH4)2SO4",
        "ammonium chloride": "NH4Cl",
        "diammonium phosphate": "(NH4)2HPO4",
        "monopotassium phosphate": "KH2PO4",
        "magnesium sulfate": "MgSO4",
        "biomass": "CH1.8O0.5N0.2",
        "yeast": "CH1.8O0.5N0.2",
        "yeast (Roels 1983)": "CH1.83O0.56N0.17",
        "yeast (Doran)": "CH1.64O0.52N0.16",
    }
)
"""Formulas by name; ``yeast`` is the generic biomass formula (published ones: `BIOMASS_SOURCES`)."""

BIOMASS_SOURCES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "biomass": "generic biomass, CH1.8O0.5N0.2: Roels 1983; Villadsen, Nielsen & Liden, Bioreaction "
        "Engineering Principles",
        "yeast": "the generic formula, CH1.8O0.5N0.2, used for yeast: Roels 1983",
        "yeast (Roels 1983)": "S. cerevisiae, CH1.83O0.56N0.17: Roels 1983; Nielsen & Villadsen",
        "yeast (Doran)": "S. cerevisiae, CH1.64O0.52N0.16: Doran, Bioprocess Eng. Principles, Table 4.3",
    }
)
"""Where each biomass formula was published. They hold no ash: dry yeast has 5-8 % on top (same books)."""

_SAME_AS: Final = {
    "carbon dioxide": "CO2", "oxygen": "O2", "nitrogen gas": "N2", "alcohol": "ethanol", "sugar": "hexose",
    "saccharose": "sucrose", "dextrose": "glucose", "levulose": "fructose", "acetate": "acetic acid",
    "lactate": "lactic acid", "succinate": "succinic acid", "dry yeast": "yeast",
    "dap": "diammonium phosphate", "ammonium sulphate": "ammonium sulfate", "h2o": "water",
}  # fmt: skip


@lru_cache(maxsize=1024)
def compound(name_or_formula: str) -> Compound:
    """A compound by its name or by its formula.

    Parameters
    ----------
    name_or_formula : str
        A name in ``COMPOUNDS`` (capitals do not matter) or any formula.

    Returns
    -------
    Compound

    Raises
    ------
    InputError
        Where it is neither; the message names the character at which reading the formula stopped.

    Examples
    --------
    >>> ethanol = compound("ethanol")
    >>> ethanol.formula, ethanol.molar_mass, ethanol.carbon, ethanol.electrons
    ('C2H6O', 46.069, 2.0, 12.0)
    """
    if not isinstance(name_or_formula, str):
        raise InputError(
            f"a compound is given as {name_or_formula!r}",
            "its name or formula as text",
            "write e.g. 'ethanol'",
        )
    text = name_or_formula.strip()
    names = {name.casefold(): name for name in COMPOUNDS}
    name = names.get(text.casefold()) or _SAME_AS.get(text.casefold())
    formula = COMPOUNDS[name] if name else text
    content = _atoms(formula)
    weight = sum(_weights()[element] * number for element, number in content.items())
    known = all(element in _VALENCE or element == "N" for element in content)
    electrons = _electrons(formula, content, NITROGEN_REFERENCES["ammonia"]) if known else float("nan")
    return Compound(name or text, formula, content, round(weight, 9), content.get("C", 0.0), electrons)

