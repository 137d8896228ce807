"""What a batch cost: for each kilogram of dry yeast and of protein, and for a portion, with its ±."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fermkit.basis.budget import covariance_of
from fermkit.basis.checks import not_negative, positive
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Number, Page, Written, nominal, plus_minus

NORMAL_95: Final = 1.959964
G_PER_KG: Final = 1000.0

EVAPORATION_KWH: Final = 0.66
"""Least heat that takes a kilogram of water away as vapour at about 50 °C [kWh/kg]: IAPWS-95, 2382 kJ/kg."""


@dataclass(frozen=True, repr=False)
class Cost(Written):
    """What went in, in money, over what came out.

    Attributes
    ----------
    money : str
        As the person calls it.
    parts : mapping of str to value
        What each thing cost.
    dry_g, protein_g : value, value or None
        What came out [g].
    dry_portion_g : value or None
        Dry yeast in a portion [g].
    not_priced : tuple of str
        Things that went in without a price: the cost is at least what is told.
    least_kWh : value or None
        What evaporating the paste's water needs at least; None where it was not weighed.
    energy_kWh : value or None
    """

    money: str
    parts: Mapping[str, Any]
    dry_g: Any
    protein_g: Any = None
    dry_portion_g: Any = None
    not_priced: tuple[str, ...] = ()
    least_kWh: Any = None
    energy_kWh: Any = None

    @property
    def total(self) -> Any:
        """All of it."""
        return sum(self.parts.values())

    @property
    def per_kg(self) -> Any:
        """For each kilogram of dry yeast."""
        return self.total / self.dry_g * G_PER_KG

    @property
    def per_kg_protein(self) -> Any:
        """For each kilogram of protein; None where the nitrogen was not measured."""
        return None if self.protein_g is None else self.total / self.protein_g * G_PER_KG

    @property
    def per_dry_portion(self) -> Any:
        """For a portion; None where none was told."""
        return None if self.dry_portion_g is None else self.total / self.dry_g * self.dry_portion_g

    def page(self) -> Page:
        """Each thing, the sum, and what it comes to."""
        lines = [Line(name, value, self.money) for name, value in self.parts.items()]
        lines.append(Line("all together", self.total, self.money))
        lines.append(self._each("for each kg of dry yeast", self.per_kg, self.dry_g, G_PER_KG))
        if self.protein_g is not None:
            lines.append(self._each("for each kg of crude protein", self.per_kg_protein, self.protein_g, G_PER_KG))
        if self.dry_portion_g is not None:
            eaten = f"{plus_minus(self.dry_portion_g, 'g')} dry"
            lines.append(Line("for a portion", self.per_dry_portion, self.money, eaten))
        if self.least_kWh is not None:
            lines.append(Line("least heat to dry the paste", self.least_kWh, "kWh", "evaporation of its water alone"))
        return Page("What it cost", lines, self._said())

    def _each(self, name: str, value: Any, over: Any, times: float) -> Line:
        low, high = (end * times for end in ratio_limits(self.total, over))
        if np.isfinite(high):
            return Line(name, value, self.money, "as it was dried, with all that came along", (low, high))
        return Line(name, f"more than {low:.2g}", self.money, "so little is known of what came out")

    def _said(self) -> list[str]:
        said = []
        if self.not_priced:
            said.append(f"No price is told for {', '.join(self.not_priced)}: it cost at least this.")
        if self.energy_kWh is not None and self.least_kWh is not None:
            short = self.energy_kWh - self.least_kWh
            if nominal(short) < 0:
                said.append(
                    "The energy that is told is less than evaporation alone takes: was it dried in the sun, or is the "
                    "meter's reading of another thing?"
                )
        said.append("Work, rent and the price of the vessels are not in it.")
        return said


def ratio_limits(top: Number, bottom: Number) -> tuple[float, float]:
    """Where a quotient of two doubtful amounts lies, 95 times of 100; open above where the lower one may be none.

    Parameters
    ----------
    top, bottom : value
        Above zero; what they share is counted.

    Returns
    -------
    (float, float)

    Notes
    -----
    Fieller: the r with (a − r b)² ≤ z² (u_a² − 2 r cov + r² u_b²).

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> [round(end, 2) for end in ratio_limits(ufloat(10.0, 0.1), ufloat(5.0, 1.0))]
    [1.44, 3.29]

    References
    ----------
    Fieller, J. R. Stat. Soc. B 16 (1954) 175.
    """
    a, b, z2 = nominal(top), nominal(bottom), NORMAL_95**2
    cov = covariance_of([top, bottom])
    A, B, C = (float(x) for x in (b * b - z2 * cov[1, 1], a * b - z2 * cov[0, 1], a * a - z2 * cov[0, 0]))
    root = B * B - A * C
    if A <= 0:  # the bottom is not told from none
        ends = np.roots([A, -2 * B, C]) if A < 0 else np.array([C / (2 * B)])
        real = ends[np.isreal(ends)].real
        above = real[real > 0]
        return (float(above.min()) if above.size else 0.0), float("inf")
    spread = float(np.sqrt(max(root, 0.0)))
    return max((B - spread) / A, 0.0), (B + spread) / A


def cost_of(
    parts: Mapping[str, Any],
    dry_g: Number,
    *,
    money: str = "money",
    protein_g: Number | None = None,
    dry_portion_g: Number | None = None,
    not_priced: tuple[str, ...] = (),
    water_g: Number | None = None,
    energy_kWh: Number | None = None,
) -> Cost:
    """What a batch cost over what came out.

    Parameters
    ----------
    parts : mapping of str to value
        What each thing cost, in one currency.
    dry_g, protein_g : value
        Dry yeast and protein that came out [g].
    money : str
        What the currency is called.
    dry_portion_g : value, optional
        Dry yeast in a portion [g].
    not_priced : tuple of str
        Things that went in and have no price.
    water_g : value, optional
        Water of the paste that was dried [g].
    energy_kWh : value, optional
        Energy that was told [kWh].

    Returns
    -------
    Cost

    Raises
    ------
    InputError
        Without a price, for a price below zero, or without a product.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> found = cost_of({"sugar": 0.24, "energy": ufloat(0.9, 0.1)}, ufloat(20.0, 1.0), dry_portion_g=5.0)
    >>> print(f"{found.per_kg:.0f}, {found.per_dry_portion:.2f}")
    57+/-6, 0.28+/-0.03
    """
    if not parts:
        raise InputError(
            f"no price for any of: {', '.join(not_priced) or 'nothing'}", "the price of one thing at least",
            "write price = \"1.20\", for a kilogram, beside what was fed",
        )  # fmt: skip
    for name, value in parts.items():
        not_negative(nominal(value), f"cost of {name}")
    positive(nominal(dry_g), "dry yeast that came out [g]", do="weigh and dry what came out, or look at the readings")
    least = None if water_g is None else water_g / G_PER_KG * EVAPORATION_KWH
    return Cost(money, dict(parts), dry_g, protein_g, dry_portion_g, not_priced, least, energy_kWh)
