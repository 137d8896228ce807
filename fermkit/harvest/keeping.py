"""Keeping: how much free water a product holds, what can grow in it, and the salt and purines of a portion.

A sum here says what may grow. It promises nothing: that is for food law and those who work under it.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import between, not_negative, positive
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Number, Page, Written, nominal, uncertainty
from fermkit.harvest.hold import ACID_ENOUGH_PH
from fermkit.matter.composition import molar_mass
from fermkit.matter.usual import Usual

NORMAL_95: Final = 1.959964
PITZER_NACL: Final = (0.3915, 1.2, 0.0765, 0.2664, 0.00127)
"""Osmotic coefficient of salt in water at 25 °C: A, b, β0, β1, C. Pitzer & Mayorga, J. Phys. Chem. 77 (1973) 2300 (from
memory); within 0.003 of Robinson and Stokes's table up to 6 mol/kg."""

SATURATED_MOLAL: Final = 6.14
"""Salt that dissolves in a kilogram of water at 25 °C [mol/kg]: CRC Handbook (from memory). More stays as crystals."""

OSMOLES_PER_G: Final = Usual(
    "particles in a gram of yeast extract's dry matter, salt not counted", 2.0, 7.0, "mmol/g",
    "5 to 7 in dilute broths (osmolality of laboratory media, from memory), fewer where solids crowd; judgement",
)  # fmt: skip
ADDS_UP_TO: Final = 0.1
"""How far salt and solids together miss the product of their water activities, of 1 − activity [-]: Ross, J. Food Sci.
40 (1975) 26 (from memory), for intermediate foods; twice the 0.01 to 0.02 met there."""

ADDING: Final = Act("water activity of a mixture", "adding up what salt and solids do to the water")
LEAST_WATER: Final = 0.25
"""Water for each gram of dry matter below which no sum holds, since solids bind it [g/g]: judgement, no source."""

URIC_ACID_PER_G: Final = Usual(
    "uric acid that the body makes of a gram of dry yeast or extract, salt not counted", 0.009, 0.03, "g/g",
    "0.018 for dried brewer's yeast in food tables, and 4 to 14 % nucleic acids in yeast and extracts (from memory)",
)  # fmt: skip
SALT_A_DAY_G: Final = 5.0
"""Salt that an adult should stay below [g a day]: WHO, Sodium intake for adults and children, 2012."""
URIC_ACID_A_DAY_G: Final = 0.5
"""What a day of food low in purines may make [g]: as the caution on purines, from memory."""


class Known(StrEnum):
    """How the water activity is known."""

    MEASURED = "measured"
    WORKED_OUT = "worked out from salt, water and dry matter"


@dataclass(frozen=True)
class Grower:
    """Something that grows, and the least water activity at which it was seen to."""

    name: str
    least: float


GROWERS: Final = (
    Grower("Salmonella", 0.94),
    Grower("Escherichia coli", 0.93),
    Grower("Clostridium botulinum, whose toxin kills", 0.93),
    Grower("Clostridium perfringens", 0.93),
    Grower("Bacillus cereus and Listeria", 0.92),
    Grower("most yeasts", 0.87),
    Grower("Staphylococcus aureus, whose toxin outlives boiling", 0.83),
    Grower("most moulds", 0.80),
    Grower("moulds that make poisons", 0.75),
    Grower("bacteria that love salt", 0.75),
    Grower("moulds of dry food", 0.65),
    Grower("yeasts of syrups", 0.60),
)
"""By falling least water activity: pathogens as in FDA, Bad Bug Book (1992, factors affecting growth) and the guide of
the US Agricultural Research Service to pH and water activity, the lower where they differ (Bacillus cereus: from
memory); spoilers by Beuchat, Cereal Foods World 26 (1981) 345. All at their best warmth and acidity."""


class Grows(StrEnum):
    """What the water activity lets grow, at the upper end of its interval."""

    DANGEROUS = "Bacteria that make people ill can grow in it."
    STAPHYLOCOCCUS = "Of the bacteria that make people ill Staphylococcus aureus at least can grow in it."
    MOULDS = "Moulds or yeasts can grow in it, some with poisons; bacteria that make people ill are not known to."
    NOTHING = "Nothing is known to grow in it, as long as it stays as dry as that."
    NOT_TOLD = "What can grow cannot be told: there is too little water for a sum. Have the water activity measured."


@dataclass(frozen=True, repr=False)
class Keeping(Written):
    """What a product's water lets grow, and what a portion holds.

    Attributes
    ----------
    water_activity : value or None
        At 25 °C [-]; None where it was not measured and cannot be worked out.
    known : Known
    pH : value or None
    portion_g, salt_g, uric_acid_g : value or None
        A portion, the salt in it, and the uric acid that the body makes of its purines.
    """

    water_activity: Number | None
    known: Known
    pH: Number | None = None
    portion_g: Number | None = None
    salt_g: Number | None = None
    uric_acid_g: Number | None = None

    @property
    def interval(self) -> tuple[float, float]:
        """95 % limits of the water activity [-]."""
        if self.water_activity is None:
            return 0.0, 1.0
        value, half = nominal(self.water_activity), NORMAL_95 * uncertainty(self.water_activity)
        return max(value - half, 0.0), min(value + half, 1.0)

    @property
    def may_grow(self) -> tuple[Grower, ...]:
        """What may grow at the upper end of the interval."""
        return tuple(one for one in GROWERS if one.least <= self.interval[1])

    @property
    def grows(self) -> Grows:
        """The verdict, by the upper end of the interval."""
        most = self.interval[1]
        if self.water_activity is None:
            return Grows.NOT_TOLD
        if most >= BACTERIA_FROM:
            return Grows.DANGEROUS
        return Grows.STAPHYLOCOCCUS if most >= STAPHYLOCOCCUS_FROM else Grows.MOULDS if most >= 0.60 else Grows.NOTHING

    def page(self) -> Page:
        """The water activity, what may grow, salt and purines of a portion; food law before all of it."""
        lines = []
        if self.water_activity is not None:
            lines.append(Line("water activity", self.water_activity, "", self.known, self.interval))
        lines += [Line(one.name, f"from {one.least:.2f} up", "", "may grow") for one in self.may_grow]
        if self.salt_g is not None:
            share = 100 * nominal(self.salt_g) / SALT_A_DAY_G
            lines.append(
                Line("salt in a portion", self.salt_g, "g", f"{share:.0f} % of {SALT_A_DAY_G:g} g a day (WHO)")
            )
        if self.uric_acid_g is not None:
            share = 100 * nominal(self.uric_acid_g) / URIC_ACID_A_DAY_G
            lines.append(Line("uric acid from its purines", self.uric_acid_g, "g",
                              f"{share:.0f} % of {URIC_ACID_A_DAY_G:g} g, a day low in purines"))  # fmt: skip
        said = [str(self.grows)]
        if self.pH is None:
            said.append("No pH was given: acid holds bacteria back too, so measure it.")
        elif nominal(self.pH) > ACID_ENOUGH_PH:
            said.append(f"pH {nominal(self.pH):.3g} is above {ACID_ENOUGH_PH}: no acid holds the bacteria back.")
        else:
            said.append(f"pH {nominal(self.pH):.3g}: acid slows bacteria and kills few; moulds grow all the same.")
        said.append(
            "Little free water stops growth and kills nothing: what is in it lives on, toxins stay, and drops under a "
            "lid make wet spots."
        )
        return Page("Keeping", lines, (*said, *cautions_for("keeping").sentences()))


BACTERIA_FROM: Final = min(one.least for one in GROWERS[:5])
STAPHYLOCOCCUS_FROM: Final = GROWERS[6].least


def salt_water_activity(molal: Any) -> Any:
    """Water activity of salt in water at 25 °C [-].

    Parameters
    ----------
    molal : float or array
        Sodium chloride [mol in a kilogram of water], 0 to 6.2.

    Returns
    -------
    float or array

    Notes
    -----
    ln a = −2 m φ M, M = 0.018015 kg/mol; φ − 1 = −A √m/(1 + b √m) + m (β0 + β1 e^(−2 √m)) + m² C.

    Examples
    --------
    >>> print(f"{salt_water_activity(1.0):.4f} {salt_water_activity(6.0):.4f}")
    0.9668 0.7594

    References
    ----------
    Pitzer & Mayorga, J. Phys. Chem. 77 (1973) 2300.
    """
    a, b, beta0, beta1, c = PITZER_NACL
    root = np.sqrt(molal)
    phi = 1.0 - a * root / (1.0 + b * root) + molal * (beta0 + beta1 * np.exp(-2.0 * root)) + molal**2 * c
    return np.exp(-2.0 * molal * phi * molar_mass("H2O") / 1000.0)


def keeping(
    *,
    water: Number | None = None,
    salt: Number | None = None,
    measured: Number | None = None,
    pH: Number | None = None,
    portion_g: Number | None = None,
) -> Keeping:
    """What can grow in a product, by its water activity, and what a portion holds.

    Parameters
    ----------
    water, salt : float or ufloat
        Shares of the product's mass [g/g]; salt counts as none where it is left out.
    measured : float or ufloat
        Water activity by an instrument [-]; goes before any sum.
    pH : float or ufloat
        Of the product.
    portion_g : float or ufloat
        What is eaten at once [g].

    Returns
    -------
    Keeping

    Raises
    ------
    InputError
        For shares that add up to more than the product, or nothing told of its water.

    Notes
    -----
    a = a(salt) · 1/(1 + M·b), b the particles of the other dry matter in a kilogram of water (Raoult), the product by
    Ross's rule. Salt beyond what dissolves counts as crystals.

    Examples
    --------
    >>> found = keeping(water=0.65, salt=0.10)
    >>> print(found.water_activity, found.grows.name)
    0.880+/-0.019 STAPHYLOCOCCUS
    >>> keeping(measured=0.55).grows.name
    'NOTHING'

    References
    ----------
    Ross, J. Food Sci. 40 (1975) 26; Pitzer & Mayorga, J. Phys. Chem. 77 (1973) 2300.
    """
    if measured is None and water is None:
        raise InputError(
            f"salt {salt} and pH {pH} of a product, and nothing of its water",
            "the water's share of the mass, or the water activity measured",
            "dry a weighed sample, or have the water activity measured",
        )  # fmt: skip
    if measured is not None:
        between(nominal(measured), 0.0, 1.0, "water activity")
    for value, name in ((water, "water"), (salt, "salt")):
        not_negative(0.0 if value is None else nominal(value), f"share of {name}")
    held: Any = 0.0 if salt is None else salt
    if water is not None and nominal(water) + nominal(held) > 1.0:
        raise InputError(
            f"water {nominal(water):g} and salt {nominal(held):g} of the product", "no more than all of it together",
            "check which share is which, and per cent against shares",
        )  # fmt: skip
    found = measured if measured is not None else _worked_out(water, held)
    salt_g = uric = None
    if portion_g is not None:
        positive(nominal(portion_g), "portion [g]")
        salt_g = None if salt is None else salt * portion_g
        dry = None if water is None else 1.0 - water - held
        uric = None if dry is None else portion_g * dry * URIC_ACID_PER_G.value()
    known = Known.WORKED_OUT if measured is None else Known.MEASURED
    return Keeping(found, known, pH, portion_g, salt_g, uric)


def _worked_out(water: Any, salt: Any) -> Number | None:
    """Water activity by salt and other dry matter; None where there is too little water for the sum."""
    dry = 1.0 - water - salt
    if nominal(water) <= LEAST_WATER * (1.0 - nominal(water)):
        return None
    molal = salt / water * 1000.0 / molar_mass("NaCl")
    m = nominal(molal)
    at = min(m, SATURATED_MOLAL)
    slope = 0.0 if m > SATURATED_MOLAL else float(salt_water_activity(at + 1e-4) - salt_water_activity(at)) / 1e-4
    by_salt = float(salt_water_activity(at)) + (molal - m) * slope
    particles = dry / water * OSMOLES_PER_G.value()  # mol in a kilogram of water
    product = by_salt / (1.0 + particles * molar_mass("H2O") / 1000.0)
    return product + ufloat(0.0, ADDS_UP_TO * (1.0 - nominal(product)), tag=ADDING)

