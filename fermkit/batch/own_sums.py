"""A person's own sums, held against the estimate and never used in it.

Where a sum lies outside, the classic slips of the arithmetic are tried, and the one that reproduces the number is
shown with the corrected line.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np

from fermkit.basis.checks import one_of
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.quantities import read_quantity
from fermkit.basis.written import Line, Page, Written, interval, nominal
from fermkit.batch.estimate import Estimate
from fermkit.batch.impossible import MOST_WITHOUT_AIR, MOST_YEAST, SUGAR_TO_ALCOHOL, SUGAR_TO_CO2
from fermkit.batch.readings import ALCOHOL_G_PER_PCT_L, CO2_G, ETHANOL_G, HEXOSE_G
from fermkit.matter.composition import molar_mass
from fermkit.matter.properties import co2_solubility

SUCROSE_G: Final = molar_mass("sucrose")
CARBON_OF_HEXOSE: Final = 6 * 12.011 / HEXOSE_G
WET: Final = (0.15, 0.35)
"""Dry share of a pressed paste [-]: common practice, no source."""

SUMS: Final[Mapping[str, tuple[str, str]]] = {
    "co2": ("CO2 made", "g"), "ethanol": ("alcohol made", "g"), "yeast": ("yeast grown, dry", "g"),
    "yeast_at_most": ("yeast at most, dry", "g"), "pressure": ("pressure, had it stayed closed", "bar"),
    "yield": ("yeast for each gram of sugar", "g/g"),
}  # fmt: skip
"""The sums that can be held against an estimate: their words and their unit."""

NEAR: Final = 0.03
"""A slip reproduces a number where the two differ by less [-]: people round to two digits."""


class Standing(StrEnum):
    """How a sum stands beside the estimate."""

    AGREES = "agrees"
    TOO_SMALL = "too small"
    TOO_LARGE = "too large"
    NOTHING_BESIDE = "nothing to hold it against"


@dataclass(frozen=True)
class Slip:
    """A slip of the arithmetic: what was done, what that gives, and the corrected line."""

    key: str
    words: str
    gives: float
    line: str


@dataclass(frozen=True, repr=False)
class OwnSum(Written):
    """One sum beside the estimate; `slip` is the slip that reproduces it, None where none does or none is needed."""

    key: str
    told: float
    low: float
    high: float
    standing: Standing
    slip: Slip | None

    def page(self) -> Page:
        """The sum, the estimate, and the slip."""
        words, unit = SUMS[self.key]
        if self.standing is Standing.NOTHING_BESIDE:
            return Page(words, [Line("your sum", f"{self.told:.3g}", unit)], [self.standing.capitalize() + "."])
        beside = interval(self.low, self.high, unit)
        lines = [Line("your sum", f"{self.told:.3g}", unit), Line("by this batch's readings", beside)]
        if self.standing is Standing.AGREES:
            return Page(words, lines, ["Your sum agrees."])
        said = f"Your {self.told:.3g} {unit} is {self.standing}."
        if self.slip is None:
            return Page(words, lines, [f"{said} No slip that is known makes this number: look at its unit first."])
        return Page(words, lines, [f"{said} It comes out with {self.slip.words} ({self.slip.gives:.3g} {unit}).",
                                   f"Corrected: {self.slip.line}"])  # fmt: skip


@dataclass(frozen=True, repr=False)
class OwnSums(Written):
    """All sums of a person, by key."""

    sums: Mapping[str, OwnSum]

    def __getitem__(self, key: str) -> OwnSum:
        one_of(key, self.sums, "own sum")
        return self.sums[key]

    def page(self) -> Page:
        """Each sum as a page of its own."""
        return Page("Your own sums", (), (), [each.page() for each in self.sums.values()])


def check_sums(found: Estimate, sums: Mapping[str, Any]) -> OwnSums:
    """Hold a person's own sums against the estimate of the batch.

    Parameters
    ----------
    found : Estimate
    sums : mapping of str to number or text
        By the keys of `SUMS`: "co2", "ethanol", "yeast", "yeast_at_most" [g], "pressure" [bar above the air],
        "yield" [g yeast per g sugar]; text with its unit is read (``"12 g"``).

    Returns
    -------
    OwnSums
        For each: whether it agrees, and else the slip that makes this number, with the corrected line.

    Raises
    ------
    InputError
        For a sum of another name, or a text that is no quantity.

    Examples
    --------
    >>> from fermkit.batch.estimate import estimate
    >>> from fermkit.batch.known import Recipe
    >>> from fermkit.matter.feed import feed
    >>> found = estimate(Recipe(feed({"raw cane sugar": 140.0, "water": 2400.0}), liquid_L=2.5), state="used up")
    >>> own = check_sums(found, {"co2": "12 g"})["co2"]
    >>> own.standing.value, own.slip.key
    ('too small', 'third')

    References
    ----------
    Gay-Lussac's equation, C6H12O6 → 2 C2H5OH + 2 CO2.
    """
    told = {key: _number(key, value) for key, value in sums.items()}
    return OwnSums({key: _held(found, key, value, told) for key, value in told.items()})


def _number(key: str, value: Any) -> float:
    one_of(key, SUMS, "own sum")
    return (
        read_quantity(value, SUMS[key][1].replace("g/g", "-"), key).value if isinstance(value, str) else nominal(value)
    )


def _held(found: Estimate, key: str, told: float, sums: Mapping[str, float]) -> OwnSum:
    low, high = _beside(found, key)
    if not np.isfinite(low):
        return OwnSum(key, told, low, high, Standing.NOTHING_BESIDE, None)
    if low * (1 - NEAR) <= told <= high * (1 + NEAR):
        return OwnSum(key, told, low, high, Standing.AGREES, None)
    standing = Standing.TOO_SMALL if told < low else Standing.TOO_LARGE
    if not told:  # nothing gives nought
        return OwnSum(key, told, low, high, standing, None)
    near = [(abs(slip.gives / told - 1), slip) for slip in SLIPS[key](found, sums) if slip.gives > 0]
    off, best = min(near, key=lambda pair: pair[0], default=(np.inf, None))
    return OwnSum(key, told, low, high, standing, best if off < NEAR + 0.5 * _last_digit(told) / told else None)


def _last_digit(x: float) -> float:
    """The step of a number's last digit, if it was rounded to two."""
    return float(10.0 ** (np.floor(np.log10(abs(x))) - 1))


def _beside(found: Estimate, key: str) -> tuple[float, float]:
    """What the estimate says of it: an interval; for "at most" from the best value to what no yeast passes."""
    if key == "yeast_at_most":
        top = MOST_YEAST if found.recipe.air_pump else MOST_WITHOUT_AIR
        return found["yeast"].value, max(top * found["sugar_fed"].high, found["yeast"].high)
    if key == "yield":
        share = found.amount("yeast") / found.amount("sugar_used")
        middle, u = nominal(share), 1.96 * share.std_dev
        return max(middle - u, 0.0), middle + u
    if key == "pressure" and found.if_closed is None:
        return np.nan, np.nan
    return found[key].low, found[key].high


Slips = Callable[[Estimate, Mapping[str, float]], Iterator[Slip]]


def _sugar(found: Estimate) -> tuple[float, float, float]:
    """Hexose [g], its moles, and the sugar as weighed [g]."""
    hexose = nominal(found.recipe.feed.hexose_g)
    return hexose, hexose / HEXOSE_G, nominal(found.recipe.feed.sugar_g)


def _gas(found: Estimate, sums: Mapping[str, float]) -> Iterator[Slip]:
    hexose, mol, weighed = _sugar(found)
    here = interval(found["co2"].low, found["co2"].high, "g")
    line = (
        f"{weighed:.4g} g sugar make {hexose:.4g} g simple sugar, {mol:.3f} mol; two of its six carbons leave: "
        f"2 × {mol:.3f} mol × 44.01 g/mol = {2 * mol * CO2_G:.3g} g at most; here {here}."
    )
    for moles in (mol, weighed / HEXOSE_G):
        yield Slip("third", "a third of a mole of CO2 for each mole of sugar instead of two", moles / 3 * CO2_G, line)
        yield Slip("one mole", "one mole of CO2 for each mole of sugar instead of two", moles * CO2_G, line)
    yield Slip("third of mass", "a third of the sugar's mass, where a third of its carbon is meant", weighed / 3, line)
    yield Slip("carbon only", "the carbon's mass without its oxygen", hexose * CARBON_OF_HEXOSE / 3, line)
    yield Slip("moles", "moles written as grams", found["co2"].value / CO2_G, line)
    yield Slip("sucrose", "sucrose taken for glucose", SUGAR_TO_CO2 * weighed, line)
    yield Slip("half", "two moles for each mole of sucrose instead of four", 2 * weighed / SUCROSE_G * CO2_G, line)
    left = found["co2"].value - found["co2_in_liquid"].value - found["co2_in_gas_space"].value
    yield Slip("store", "only the gas that left, without what liquid and gas space hold", left, line)
    for caught in (reading for reading in found.readings if reading.kind == "gas"):
        warm = nominal(found.recipe.temperature_C)
        cold = nominal(caught.value) * (warm + ZERO_CELSIUS_K) / ZERO_CELSIUS_K
        yield Slip("cold gas", "22.4 L for a mole of gas, which is for 0 °C", cold, line)


def _alcohol_g(found: Estimate) -> float:
    """Alcohol as a person works it out of what was read [g]; the estimate's where none was."""
    litres = nominal(found.recipe.liquid_L) if found.recipe.liquid_L is not None else np.nan
    per_unit = {"ethanol content": litres * ALCOHOL_G_PER_PCT_L, "ethanol": 1.0}
    read = [nominal(r.value) * per_unit[r.kind] for r in found.readings if r.kind in per_unit]
    return read[0] if read and np.isfinite(read[0]) else found["ethanol"].value


def _alcohol(found: Estimate, sums: Mapping[str, float]) -> Iterator[Slip]:
    hexose, mol, weighed = _sugar(found)
    here = interval(found["ethanol"].low, found["ethanol"].high, "g")
    most = SUGAR_TO_ALCOHOL * hexose
    line = f"2 × {mol:.3f} mol × 46.07 g/mol = {most:.3g} g at most; here {here}."
    litres = nominal(found.recipe.liquid_L) if found.recipe.liquid_L is not None else np.nan
    content = _alcohol_g(found) / (litres * ALCOHOL_G_PER_PCT_L)
    by_volume = (
        f"{content:.3g} % vol × {litres:.3g} L × 7.89 g = {content * litres * ALCOHOL_G_PER_PCT_L:.3g} g; here {here}."
    )
    if np.isfinite(litres):
        yield Slip("by volume", "% by volume used as % by mass", 10 * content * litres, by_volume)
        yield Slip("by mass", "% by volume multiplied by 0.789 twice", content * litres * ALCOHOL_G_PER_PCT_L * 0.789,
                   by_volume)  # fmt: skip
        yield Slip("mL", "millilitres of alcohol written as grams", 10 * content * litres, by_volume)
    yield Slip("one mole", "one mole of alcohol for each mole of sugar instead of two", mol * ETHANOL_G, line)
    yield Slip("third", "a third of a mole for each mole of sugar", mol / 3 * ETHANOL_G, line)
    yield Slip("moles", "moles written as grams", found["ethanol"].value / ETHANOL_G, line)
    yield Slip("sucrose", "sucrose taken for glucose", SUGAR_TO_ALCOHOL * weighed, line)
    yield Slip("half", "two moles for each mole of sucrose instead of four", 2 * weighed / SUCROSE_G * ETHANOL_G, line)


def _cells(found: Estimate, sums: Mapping[str, float]) -> Iterator[Slip]:
    hexose, _, weighed = _sugar(found)
    here = interval(found["yeast"].low, found["yeast"].high, "g")
    line = (
        f"hydrogen and oxygen do not close (water is made and used): count carbon and electrons. Without air "
        f"{0.05 * hexose:.2g} to {0.12 * hexose:.2g} g is usual, {MOST_WITHOUT_AIR * hexose:.2g} g would be much; "
        f"here {here}."
    )
    gases = {sums["co2"]} if "co2" in sums else set()
    for gas in (*gases, found["co2"].value, hexose / HEXOSE_G / 3 * CO2_G):
        for alcohol in (found["ethanol"].value, _alcohol_g(found), *({sums["ethanol"]} if "ethanol" in sums else ())):
            for sugar in (weighed, hexose):
                words = "oxygen and hydrogen added to a carbon balance: sugar less alcohol less CO2"
                if gas == sums.get("co2"):
                    words += f", with your own {gas:.3g} g of CO2"
                yield Slip("by difference", words, sugar - alcohol - gas, line)
        yield Slip("by difference", "sugar less CO2, the alcohol forgotten", weighed - gas, line)
    yield Slip("all carbon", "all the sugar's carbon counted as yeast", MOST_YEAST * hexose, line)
    yield Slip("carbon only", "the sugar's carbon counted as yeast", CARBON_OF_HEXOSE * hexose, line)
    with_inoculum = found["yeast"].value + nominal(found.recipe.feed.inoculum_g)
    yield Slip("inoculum", "the yeast that was put in counted as grown", with_inoculum, line)
    yield Slip("wet", "wet paste counted as dry yeast", found["paste"].value / (sum(WET) / 2), line)
    yield Slip("solids", "all of the dry paste counted as grown yeast", found["paste"].value, line)


def _bar(found: Estimate, sums: Mapping[str, float]) -> Iterator[Slip]:
    recipe, closed = found.recipe, found.if_closed
    if closed is None or recipe.gas_space_L is None or recipe.liquid_L is None:
        return
    warm, space, liquid = (nominal(x) for x in (recipe.temperature_C, recipe.gas_space_L, recipe.liquid_L))
    mol = found["co2"].value / CO2_G
    RT = L_BAR_GAS_CONSTANT * (warm + ZERO_CELSIUS_K)
    here = interval(closed.now.low, closed.now.high, "bar")
    line = f"CO2 shares itself between liquid and gas space, and the sealed air stays: here {here} above the air."
    yield Slip("nothing dissolved", "all the CO2 put into the gas space, none into the liquid", mol * RT / space, line)
    at_rest = mol - float(co2_solubility(warm, 1.0)) * liquid
    yield Slip("1 bar dissolved", "only what dissolves at 1 bar taken off", max(at_rest, 0.0) * RT / space, line)
    all_in = mol / (float(co2_solubility(warm, 1.0)) * liquid)
    yield Slip("no gas space", "the gas space forgotten: all the CO2 in the liquid", all_in, line)
    yield Slip(
        "whole vessel", "the CO2 spread over the whole vessel, liquid and all", mol * RT / (space + liquid), line
    )
    if np.isfinite(closed.now.value):
        absolute = closed.now.value + STANDARD_ATMOSPHERE_BAR
        yield Slip("absolute", "absolute pressure for pressure above the air", absolute, line)


def _per_sugar(found: Estimate, sums: Mapping[str, float]) -> Iterator[Slip]:
    hexose, _, weighed = _sugar(found)
    line = "yeast grown, net of what was put in and dry, over the sugar that was used, as simple sugar."
    for slip in _cells(found, sums):
        yield Slip(slip.key, slip.words, slip.gives / weighed, line)
        yield Slip(slip.key, slip.words, slip.gives / hexose, line)


SLIPS: Final[Mapping[str, Slips]] = {
    "co2": _gas, "ethanol": _alcohol, "yeast": _cells, "yeast_at_most": _cells, "pressure": _bar, "yield": _per_sugar,
}  # fmt: skip
