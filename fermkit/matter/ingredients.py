"""Ingredients: what a gram of each holds, from a table with sources, from a label, or from a °Brix reading.

Water, sugars, yeast, salts, ash and unfermentables make up the whole; nitrogen, phosphorus and sulfur are
inside them. Nitrogen that yeast can use is a range, since much of that in molasses cannot be used.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib import resources
from math import sqrt
from types import MappingProxyType
from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import between, not_negative, one_of
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Line, Number, Page, Written, nominal, plus_minus, uncertainty
from fermkit.matter.composition import compound

HEXOSES: Final[Mapping[str, int]] = MappingProxyType({
    "glucose": 1, "fructose": 1, "invert sugar": 1, "galactose": 1, "sucrose": 2, "maltose": 2,
    "maltotriose": 3, "raffinose": 1, "lactose": 0,
})  # fmt: skip
"""Hexose units that baker's yeast ferments in one molecule: of raffinose the fructose, of lactose none."""

SALTS: Final = (
    "diammonium phosphate", "ammonium sulfate", "ammonium chloride", "urea",
    "monopotassium phosphate", "magnesium sulfate",
)  # fmt: skip
"""Nutrients given as a compound; all their nitrogen counts as usable."""

PARTS: Final = ("water", *HEXOSES, "yeast", "ash", "unfermentables", *SALTS)
CONTENTS: Final[Mapping[str, str]] = MappingProxyType({
    "nitrogen": "N", "phosphorus": "P", "sulfur": "S", "potassium": "K", "magnesium": "Mg",
})  # fmt: skip
"""Elements that yeast is made of besides carbon, hydrogen and oxygen, by name: their symbols."""

PURE: Final = 0.01
"""An ingredient with less ash and unfermentables than this [g/g] is sugar, water, yeast or salts: what it does not
state it does not hold (own choice)."""

_SAME_AS: Final = {
    "invert": "invert sugar", "sulphur": "sulfur", "unfermentable": "unfermentables", "dry matter": "yeast",
    "yeast dry matter": "yeast", "dap": "diammonium phosphate", "ammonium sulphate": "ammonium sulfate",
    "dextrose": "glucose", "saccharose": "sucrose",
}  # fmt: skip
_HEXOSE_G: Final = compound("hexose").molar_mass


@dataclass(frozen=True, repr=False)
class Ingredient(Written):
    """What a gram of an ingredient holds.

    Attributes
    ----------
    name : str
    parts : mapping
        Mass fractions that make up the whole [g/g]: water, sugars, yeast, salts, ash, unfermentables.
    contents : mapping
        Elements inside those parts [g/g]: those of `CONTENTS` that are known.
    usable_nitrogen : (value, value)
        The least and the most that yeast can use [g/g].
    density : value or None
        [g/mL], for measures by volume.
    sources : mapping
        Where each number is from.
    """

    name: str
    parts: Mapping[str, Any]
    contents: Mapping[str, Any]
    usable_nitrogen: tuple[Any, Any]
    density: Number
    sources: Mapping[str, str]

    @property
    def hexose(self) -> Any:
        """Hexose that the fermentable sugars give [g/g]."""
        return sum(
            (self._part(s) * n * _HEXOSE_G / compound(_formula(s)).molar_mass for s, n in HEXOSES.items()),
            0.0,
        )

    @property
    def sugar(self) -> Any:
        """Fermentable sugars as they are, before they take up water [g/g]."""
        return sum((self._part(s) * _fermented_share(s) for s in HEXOSES), 0.0)

    @property
    def non_yeast_solids(self) -> Any:
        """Dry matter that is neither fermentable sugar nor yeast, nor salt that the yeast takes up [g/g]."""
        return 1.0 - self._part("water") - self._part("yeast") - self.sugar - self._taken_up

    def element(self, name: str) -> Any:
        """An element of `CONTENTS` outside the yeast [g/g]; what is not stated counts as none, see `states`."""
        salts = sum((self._part(salt) * compound(salt).mass_fraction(CONTENTS[name]) for salt in SALTS), 0.0)
        return self.contents.get(name, 0.0) + salts

    def states(self, name: str) -> bool:
        """Whether it is known how much of an element is in it: given, or nothing in it could hold any."""
        others = nominal(self._part("ash") + self._part("unfermentables"))
        return name in self.contents or others < PURE

    def _part(self, name: str) -> Any:
        return self.parts.get(name, 0.0)

    @cached_property
    def _taken_up(self) -> Any:
        # Of an ammonium salt the yeast takes the ammonia, of urea all; how much of it, from none to all,
        # depends on the run, hence half of it with the spread of a rectangular distribution.
        available = 0.0
        for salt in SALTS:
            share = 1.0 if salt == "urea" else compound(salt).mass_fraction("N") * 17.031 / 14.007
            available = available + self._part(salt) * share
        if nominal(available) == 0.0:
            return 0.0
        return available * rectangle(
            0.0, 1.0, Act(f"taken up {self.name}", f"how much of the {self.name} the yeast takes up")
        )

    def page(self) -> Page:
        """The composition as a page."""
        lines = [Line(k, v * 100, "%", self.sources.get(k, "")) for k, v in self.parts.items()]
        lines += [Line(k, v * 100, "%", self.sources.get(k, "")) for k, v in self.contents.items()]
        low, high = self.usable_nitrogen
        if nominal(high) > 0:
            note = self.sources.get("usable nitrogen", "")
            words = f"{nominal(low) * 100:.3g} to {nominal(high) * 100:.3g}"
            lines.append(Line("usable nitrogen", words, "%", note))
        return Page(f"Ingredient: {self.name}, grams in 100 g", lines)


def _formula(sugar: str) -> str:
    return "hexose" if sugar == "invert sugar" else sugar


def _fermented_share(sugar: str) -> float:
    if sugar == "raffinose":  # the fructose leaves, melibiose stays
        return 1.0 - compound("sucrose").molar_mass / compound("raffinose").molar_mass
    return 1.0 if HEXOSES[sugar] else 0.0


@lru_cache(maxsize=1)
def _table() -> Mapping[str, Mapping[str, list[Any]]]:
    return tomllib.loads(resources.files("fermkit.matter").joinpath("ingredients.toml").read_text(encoding="utf-8"))


def ingredient_names() -> tuple[str, ...]:
    """The ingredients that are known by name."""
    return tuple(_table())


def ingredient(name: str) -> Ingredient:
    """An ingredient of the built-in table, as a typical lot with the spread between lots.

    Parameters
    ----------
    name : str
        One of `ingredient_names()`.

    Returns
    -------
    Ingredient
        Each call stands for a lot of its own: for two feeds from one and the same tub, pass one
        `Ingredient` object to both, so that its contents are correlated between them.

    Examples
    --------
    >>> molasses = ingredient("beet molasses")
    >>> print(molasses.parts["sucrose"], molasses.sources["sucrose"][:13])
    0.480+/-0.015 46 % or more

    References
    ----------
    ``fermkit/matter/ingredients.toml`` names the source of each line.
    """
    one_of(name, _table(), "ingredient")
    lines = _table()[name]
    values: dict[str, Any] = {}
    for key, (value, u, _) in lines.items():
        if key == "usable nitrogen":
            values[key] = (value, u)
        else:
            values[key] = ufloat(value, u, Act(f"{key} of {name}", f"the {key} of the {name}")) if u else float(value)
    return ingredient_from(name, values, {key: line[2] for key, line in lines.items()})


def ingredient_from(name: str, values: Mapping[str, Any], sources: Mapping[str, str] | None = None) -> Ingredient:
    """An ingredient of your own, from its label or its analysis.

    Parameters
    ----------
    name : str
    values : mapping of str to value
        Mass fractions, 0 to 1 [g/g]: any of water, the sugars in `HEXOSES`, yeast (dry matter of it), ash,
        unfermentables, salts by name; besides them the elements of `CONTENTS`. ``"usable nitrogen"`` is one
        value, or a pair (low, high); without it none to all of the nitrogen counts. ``"density"`` in g/mL.
    sources : mapping, optional
        Where each number is from.

    Returns
    -------
    Ingredient
        What the parts leave over counts as unfermentables; in yeast, as water.

    Raises
    ------
    InputError
        For an unknown part, a fraction outside 0 to 1, or parts that add up to more than the whole.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> syrup = ingredient_from("fig syrup", {"water": ufloat(0.25, 0.01), "invert": ufloat(0.68, 0.02)})
    >>> print(f"{syrup.non_yeast_solids:.3f}")
    0.070+/-0.022
    """
    given = {_key(key): value for key, value in values.items() if value is not None}
    density = given.pop("density", None)
    usable = given.pop("usable nitrogen", None)
    given.pop("source", None), given.pop("note", None)
    for key, value in given.items():
        one_of(key, (*PARTS, *CONTENTS, "usable nitrogen", "density"), f"a part of {name!r}")
        between(
            nominal(value),
            0.0,
            1.0,
            f"{key} in {name!r} [g/g]",
            do="give grams in one gram, so 0.49 for 49 %",
        )
    parts = {key: value for key, value in given.items() if key in PARTS}
    parts = _completed(name, parts)
    contents = {key: value for key, value in given.items() if key in CONTENTS}
    salts = sum((parts.get(salt, 0.0) * compound(salt).mass_fraction("N") for salt in SALTS), 0.0)
    low, high = _nitrogen_range(name, usable, contents.get("nitrogen", 0.0))
    return Ingredient(name, parts, contents, (low + salts, high + salts), density, dict(sources or {}))


def _key(key: str) -> str:
    word = key.replace("_", " ").strip()
    return _SAME_AS.get(word.casefold(), word)


def _completed(name: str, parts: dict[str, Any]) -> dict[str, Any]:
    total = sum(parts.values(), 0.0)
    over = nominal(total) - 1.0
    if over > max(2.0 * uncertainty(total), 1e-9):
        raise InputError(
            f"the parts of {name!r} add up to {plus_minus(total)} g in a gram",
            "parts that add up to 1 or less, within two standard uncertainties",
            "check the entries; sugars may be counted twice (as total and one by one)",
        )
    rest = 1.0 - total
    if abs(nominal(rest)) < 1e-12:
        return parts
    filler = "water" if "yeast" in parts and "water" not in parts else "unfermentables"
    return parts if filler in parts else {**parts, filler: rest}


def _nitrogen_range(name: str, usable: Number, total: Any) -> tuple[Any, Any]:
    if usable is None:
        return 0.0, total
    if isinstance(usable, tuple | list):
        low, high = usable
    else:
        low = high = usable
    not_negative(nominal(low), f"usable nitrogen of {name!r}")
    if nominal(low) > nominal(high):
        raise InputError(
            f"the usable nitrogen of {name!r} runs from {nominal(low):g} to {nominal(high):g}",
            "the lower end first", "swap the two",
        )  # fmt: skip
    return low, high


def syrup(name: str, brix: Number, sugar: str = "sucrose", purity: Any = 1.0) -> Ingredient:
    """A sugar syrup known by its °Brix.

    Parameters
    ----------
    name : str
    brix : value
        Dissolved solids, grams in 100 g, as a refractometer shows [°Brix]; without ± it is given ± 1.
    sugar : str
        Which sugar: "sucrose", "invert sugar", ….
    purity : value
        Share of the solids that is this sugar [g/g].

    Returns
    -------
    Ingredient

    Examples
    --------
    >>> print(f"{syrup('simple syrup', 65).hexose:.3f}")
    0.684+/-0.011

    References
    ----------
    °Brix is the sucrose scale of ICUMSA; invert sugar reads up to 1 °Brix low (from memory). The ± 1 of
    a kitchen refractometer is common practice, no source.
    """
    one_of(sugar, HEXOSES, "sugar")
    between(nominal(brix), 0.0, 90.0, "°Brix")
    share = (
        brix if uncertainty(brix) else ufloat(nominal(brix), 1.0, Act(f"Brix of {name}", f"the °Brix of the {name}"))
    ) / 100.0
    return ingredient_from(
        name, {"water": 1.0 - share, sugar: share * purity, "unfermentables": share * (1.0 - purity)}
    )


VOLUMES_ML: Final[Mapping[str, tuple[float, float]]] = MappingProxyType({
    "mL": (1.0, 0.0), "L": (1000.0, 0.0), "dL": (100.0, 0.0),
    "teaspoon": (5.0, 0.10), "tablespoon": (15.0, 0.10), "cup": (240.0, 0.05),
})  # fmt: skip
"""Volume [mL] and relative standard uncertainty of one level filling (common practice, no source: teaspoons
of 4.9 and 5 mL, tablespoons of 14.8 to 20 mL and cups of 237 to 250 mL are in use; filled by eye)."""

PIECES_G: Final[Mapping[str, tuple[float, float]]] = MappingProxyType({
    "g": (1.0, 0.0), "kg": (1000.0, 0.0), "sachet": (7.0, 0.04), "packet": (7.0, 0.04), "cube": (42.0, 0.03),
})  # fmt: skip
"""Mass [g] and relative standard uncertainty: a sachet of dry yeast, a cube of fresh yeast (common practice,
no source; the label may say otherwise)."""

_MEASURE: Final = re.compile(
    r"\s*(?P<number>\d+(?:[.,]\d+)?(?:\s+\d+/\d+|/\d+)?)\s*"
    r"(?:±\s*(?P<u>\d+(?:[.,]\d+)?)\s*)?(?P<unit>[A-Za-z ]+?)\s*"
)
_UNIT_WORDS: Final = {
    "tsp": "teaspoon",
    "tbsp": "tablespoon",
    "ml": "mL",
    "l": "L",
    "dl": "dL",
    "litre": "L",
    "liter": "L",
}


def kitchen_measure(measure: str, thing: Ingredient | str) -> Any:
    """Grams from a kitchen measure, with the uncertainty that such a measure honestly has.

    Parameters
    ----------
    measure : str
        ``"2 teaspoons"``, ``"1/2 cup"``, ``"1 sachet"``, ``"250 ± 5 mL"``, ``"240 ± 2 g"``. Level fillings.
    thing : Ingredient or str
        Whose density turns volume into mass.

    Returns
    -------
    ufloat
        [g].

    Examples
    --------
    >>> print(kitchen_measure("2 tablespoons", "white sugar"))
    25.3+/-2.8
    >>> print(kitchen_measure("1 sachet", "active dry yeast"))
    7.00+/-0.28

    References
    ----------
    The measures: common practice, no source (`VOLUMES_ML`, `PIECES_G`). The densities: ``ingredients.toml``.
    """
    thing = ingredient(thing) if isinstance(thing, str) else thing
    found = _MEASURE.fullmatch(measure)
    unit = _unit(found["unit"]) if found else ""
    if not found or unit not in {**VOLUMES_ML, **PIECES_G}:
        raise InputError(
            f"the amount of {thing.name} is {measure!r}",
            f"a number and one of {', '.join((*PIECES_G, *VOLUMES_ML))}",
            "write e.g. '2 teaspoons', '240 ± 2 g', '1/2 cup'",
        )
    number, u = _fraction(found["number"]), float((found["u"] or "0").replace(",", "."))
    size, spread = {**VOLUMES_ML, **PIECES_G}[unit]
    how = f"measuring the {thing.name} by the {unit}" if spread else f"weighing the {thing.name}"
    count = (
        ufloat(number, sqrt(u**2 + (spread * number) ** 2), Act(f"amount of {thing.name}", how))
        if u or spread
        else number
    )
    if unit in PIECES_G:
        return count * size
    if thing.density is None:
        raise InputError(
            f"the amount of {thing.name} is {measure!r}, a volume", f"the density of {thing.name}",
            "weigh it, or give its density in g/mL",
        )  # fmt: skip
    return count * size * thing.density


def _unit(words: str) -> str:
    word = words.strip()
    word = word if word in (*VOLUMES_ML, *PIECES_G) else word.casefold()
    word = _UNIT_WORDS.get(word, word)
    return (
        word[:-1]
        if word.endswith("s") and word[:-1] in (*VOLUMES_ML, *PIECES_G)
        else _UNIT_WORDS.get(word.rstrip("s"), word)
    )


def _fraction(text: str) -> float:
    whole = 0.0
    for part in text.replace(",", ".").split():
        top, _, bottom = part.partition("/")
        if bottom and float(bottom) == 0.0:
            raise InputError(f"the number {text!r}", "a fraction with a bottom above zero", "correct it")
        whole += float(top) / float(bottom or 1)
    return whole
