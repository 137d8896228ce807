"""What went in and what came out: amounts with uncertainty, in one unit, each with its formula."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from uncertainties import ufloat

from fermkit.basis.budget import Act, covariance_of
from fermkit.basis.checks import one_of
from fermkit.basis.errors import BalanceError, InputError
from fermkit.basis.written import Number, nominal, uncertainty
from fermkit.matter.composition import NITROGEN_REFERENCES, Compound, compound, degree_of_reduction

UNITS: Final = {"g": 1.0, "kg": 1e3, "mol": 1.0, "mmol": 1e-3, "C-mol": 1.0}
ROLES: Final = {
    "ethanol": "C2H6O", "CO2": "CO2", "O2": "O2", "water": "H2O", "glycerol": "C3H8O3",
    "acetic acid": "C2H4O2", "lactic acid": "C3H6O3", "succinic acid": "C4H6O4",
}  # fmt: skip
_SUGARS: Final = ({"C": 6, "H": 12, "O": 6}, {"C": 12, "H": 22, "O": 11}, {"C": 18, "H": 32, "O": 16})

USUAL_ASH: Final = (0.065, 0.009)
"""Ash in dry yeast [g/g], mean and standard uncertainty: 5 to 8 %, taken as rectangular. Villadsen, Nielsen &
Liden, Bioreaction Engineering Principles (8 %); Doran, Bioprocess Engineering Principles (5 to 10 %)."""


@dataclass(frozen=True)
class Stream:
    """One stream of the balance.

    Attributes
    ----------
    name : str
    made_of : Compound
        Formula and molar mass (for a mixture: of one gram of it, with ``molar_mass`` 1).
    amount : ufloat or None
        As reported, in `unit`; consumed negative; None where nobody measured it.
    unit : str
        "g", "kg", "mol", "mmol" or "C-mol".
    ash : float
        Share of a mass that is ash and carries no carbon [g/g].
    scale : ufloat
        Exactly 1 in value; carries the doubt about ash and composition. ``amount * scale`` enters the balances.
    standing : "measured", "usual" or "unmeasured"
        "usual" is a by-product that stands at its usual amount because nobody measured it.
    role : str
        What it is in a yeast fermentation: "sugar", "ethanol", "CO2", "yeast", … or "other".
    tied_to : str
        For a usual by-product: the role that its amount was derived from.
    """

    name: str
    made_of: Compound
    amount: Number
    unit: str
    ash: float
    scale: Number
    standing: str
    role: str
    tied_to: str = ""

    @property
    def weighed(self) -> Any:
        """The amount with the doubt about its composition: what enters the balances."""
        return self.amount * self.scale

    def notes(self) -> list[str]:
        """What a reader should know of the amount."""
        usual = ["not measured: usual amount"] if self.standing == "usual" else []
        return usual + ([f"{100 * self.ash:.2g} % of it ash"] if self.ash else [])

    def content(self, nitrogen: str) -> dict[str, float]:
        """Atoms, and electrons, in one `unit` of the stream [mol per unit]."""
        per_unit = self._moles_per_unit()
        inside = {element: number * per_unit for element, number in self.made_of.atoms.items()}
        shift = inside.get("N", 0.0) * (NITROGEN_REFERENCES[nitrogen] - NITROGEN_REFERENCES["ammonia"])
        return inside | {"electrons": self.made_of.electrons * per_unit + shift}

    def _moles_per_unit(self) -> float:
        if self.unit in ("g", "kg"):
            return UNITS[self.unit] * (1 - self.ash) / self.made_of.molar_mass
        if self.unit == "C-mol":
            return 1 / self.made_of.carbon
        return UNITS[self.unit]


@dataclass(frozen=True)
class LinearMeasurement:
    """One more measurement that sums several streams: a density, a loss of weight, a total of carbon.

    ``sum(coefficient * amount) = value``; amounts as given to the balance, consumed negative.

    Parameters
    ----------
    name : str
        What was done: ``"loss of weight"``.
    coefficients : mapping of str to float
        For each stream that it sees, how much one unit of the stream adds.
    value : ufloat
        The reading ± its standard uncertainty.
    standing : "measured" or "usual"
        "usual" for a relation that is assumed, as between glycerol and yeast.
    """

    name: str
    coefficients: Mapping[str, float]
    value: Number
    standing: str = "measured"


def read_streams(
    amounts: Mapping[str, Any],
    unit: str | Mapping[str, str],
    of: Mapping[str, Any],
    ash: Number,
) -> list[Stream]:
    """The streams as a person wrote them, checked and with their formulas."""
    if not amounts:
        raise InputError(
            f"no streams: {amounts!r}", "amounts of what went in and what came out", "give at least three streams"
        )
    _known(of, amounts, "of")
    if isinstance(unit, Mapping):
        _known(unit, amounts, "unit")
    if isinstance(ash, Mapping):
        _known(ash, amounts, "ash")
    if all(amount is None for amount in amounts.values()):
        raise InputError(
            f"none of the amounts is measured ({', '.join(amounts)})", "at least one amount", "give what was weighed"
        )
    return [_stream(name, amount, unit, of.get(name, name), ash) for name, amount in amounts.items()]


def _known(names: Mapping[str, Any], amounts: Mapping[str, Any], where: str) -> None:
    for name in names:
        one_of(name, list(amounts), f"stream in {where}=")


def _stream(name: str, amount: Number, unit: str | Mapping[str, str], of: Any, ash: Number) -> Stream:
    own_unit = unit.get(name, "g") if isinstance(unit, Mapping) else unit
    one_of(own_unit, UNITS, f"unit of {name}")
    thing, scale = _made_of(name, of, own_unit)
    if not np.isfinite(thing.electrons):
        degree_of_reduction(thing.formula)  # refuses, naming the element
    if own_unit == "C-mol" and not thing.carbon:
        raise InputError(f"{name} is given in C-mol and holds no carbon", "g or mol", f"set unit={{{name!r}: 'mol'}}")
    role = _role(thing)
    share = _ash_share(name, thing, role, ash)
    if amount is not None:
        _check_amount(name, amount)
    if own_unit in ("g", "kg") and uncertainty(share) > 0:
        scale = scale * (1 - share) / (1 - nominal(share))
    standing = "unmeasured" if amount is None else "measured"
    return Stream(name, thing, amount, own_unit, nominal(share), scale, standing, role)


def _made_of(name: str, of: Any, unit: str) -> tuple[Compound, Any]:
    """The stream's formula (for a mixture, that of one gram), and the doubt about its carbon as a scale of 1."""
    if isinstance(of, Compound):
        return of, 1.0
    if isinstance(of, str):
        return compound(of), 1.0
    if not isinstance(of, Mapping) or not of:
        raise InputError(
            f"{name} is made of {of!r}",
            "a name, a formula, or the mass fractions of its parts",
            "write of={'molasses': {'sucrose': 0.33, 'hexose': 0.21}}",
        )
    if unit not in ("g", "kg"):
        raise InputError(
            f"the mixture {name} is given in {unit}", "a mixture in g or kg", "give its mass: it has no one molar mass"
        )
    total = sum(nominal(share) for share in of.values())
    if total > 1.0 + 1e-9:
        raise InputError(
            f"the parts of {name} add up to {total:g}",
            "mass fractions that add up to 1 at most",
            "give shares of the mass (0.33, not 33)",
        )
    return _one_gram(name, of)


def _one_gram(name: str, of: Mapping[str, Any]) -> tuple[Compound, Any]:
    inside: dict[str, float] = {}
    carbon: Number = 0.0
    electrons = 0.0
    for part, share in of.items():
        thing = compound(part)
        moles = share / thing.molar_mass
        carbon = carbon + moles * thing.carbon
        electrons += nominal(moles) * thing.electrons
        for element, number in thing.atoms.items():
            inside[element] = inside.get(element, 0.0) + nominal(moles) * number
    scale = carbon / nominal(carbon) if uncertainty(carbon) > 0 else 1.0
    return Compound(name, "mixture", inside, 1.0, inside.get("C", 0.0), electrons), scale


def _role(thing: Compound) -> str:
    if thing.formula == "mixture":
        return "sugar" if thing.carbon and abs(thing.electrons / thing.carbon - 4) < 0.02 else "other"
    if thing.name in ("biomass", "inoculum") or thing.name.startswith("yeast"):
        return "yeast"
    if thing.atoms.get("C") == 1 and thing.atoms.get("N") and thing.atoms.get("O"):
        return "yeast" if thing.name != "urea" else "other"
    for role, formula in ROLES.items():
        if dict(thing.atoms) == dict(compound(formula).atoms):
            return role
    return "sugar" if any(dict(thing.atoms) == sugar for sugar in _SUGARS) else "other"


def _ash_share(name: str, thing: Compound, role: str, ash: Number) -> Any:
    whole = ash if role == "yeast" else None
    share = ash.get(name) if isinstance(ash, Mapping) else whole
    if share is None:
        named_yeast = thing.name.startswith("yeast")
        return ufloat(*USUAL_ASH, tag=Act("yeast ash", "the ash of the yeast")) if named_yeast else 0.0
    if not 0 <= nominal(share) < 1:
        raise InputError(
            f"ash of {name} is {nominal(share):g}", "a share of the mass from 0 to 1", "write 0.065 for 6.5 %"
        )
    return share


def _check_amount(name: str, amount: Number) -> None:
    if not hasattr(amount, "nominal_value") and not isinstance(amount, (int, float)):
        raise InputError(
            f"the amount of {name} is {amount!r}",
            "a number ± its uncertainty; the unit stands in unit=",
            "write e.g. ufloat(46.4, 0.9) and unit='g'",
        )
    value, u = nominal(amount), uncertainty(amount)
    if not np.isfinite(value):
        raise InputError(f"the amount of {name} is {value}", "a number", "give None for what was not measured")
    if not (np.isfinite(u) and u > 0):
        raise InputError(
            f"the uncertainty of {name} is {u:g}",
            "a standard uncertainty above zero: nothing is weighed exactly",
            f"write ufloat({value:g}, …) with the ± of the scale, or None if nobody measured it",
        )


def check_signs(streams: Sequence[Stream]) -> None:
    """Refuse streams that contradict nature: nothing consumed, nothing made, sugar made, oxygen made."""
    measured = [s for s in streams if s.standing == "measured" and s.made_of.carbon]
    into = [s for s in measured if nominal(s.amount) < 0]
    out = [s for s in measured if nominal(s.amount) > 0]
    open_ends = any(s.standing == "unmeasured" and s.made_of.carbon for s in streams)
    if not into and not (open_ends and not out):
        names = ", ".join(f"{s.name} {nominal(s.amount):g}" for s in out) or "none"
        raise BalanceError(
            f"more carbon out than in: nothing with carbon is consumed (made: {names})",
            "what was consumed as a negative amount",
            "put a minus before the sugar, as in -ufloat(100, 1)",
        )
    if not out and not open_ends:
        names = ", ".join(f"{s.name} {nominal(s.amount):g}" for s in into)
        raise BalanceError(
            f"carbon goes in but none comes out (consumed: {names})",
            "what was made as a positive amount",
            "give products without a minus",
        )
    _check_sugar_and_oxygen([s for s in streams if s.standing == "measured"])


def _check_sugar_and_oxygen(measured: Sequence[Stream]) -> None:
    sugar = sum(nominal(s.amount) for s in measured if s.role == "sugar")
    if sugar > 0:
        raise BalanceError(
            f"more sugar comes out than goes in ({sugar:g})",
            "sugar that was used as a negative amount",
            "put a minus before the sugar that went in",
        )
    for s in measured:
        if s.role == "O2" and nominal(s.amount) > 0:
            raise BalanceError(
                f"oxygen is made: {nominal(s.amount):g} {s.unit}",
                "oxygen taken up as a negative amount",
                "put a minus before it",
            )


def grams_of(thing: Compound, unit: str) -> float:
    """Grams of a compound in one unit of it."""
    if unit in ("g", "kg"):
        return UNITS[unit]
    return thing.molar_mass / thing.carbon if unit == "C-mol" else UNITS[unit] * thing.molar_mass


def grams_per_unit(s: Stream) -> float:
    """Dry grams, ash included, of one unit of the stream."""
    grams = grams_of(s.made_of, s.unit)
    return grams if s.unit in ("g", "kg") else grams / (1 - s.ash)


def only_sign(s: Stream) -> int:
    """-1 for what can only be consumed, +1 for what can only be made, 0 for a stream that may be either."""
    if s.amount is not None and s.standing == "measured":
        return int(np.sign(nominal(s.amount)))
    return -1 if s.role in ("O2", "sugar") else 0 if s.role in ("water", "other") else 1


def covariance(amounts: Sequence[Any]) -> NDArray[np.float64]:
    """Covariance matrix of numbers that may share causes."""
    uncertain = [i for i, amount in enumerate(amounts) if uncertainty(amount) > 0]
    table = np.zeros((len(amounts), len(amounts)))
    if uncertain:
        table[np.ix_(uncertain, uncertain)] = covariance_of([amounts[i] for i in uncertain])
    return table
