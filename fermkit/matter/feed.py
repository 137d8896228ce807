"""What goes in: what the weighed ingredients offer to the yeast, and how much yeast that can make at most.

Sugar counts as hexose (a gram of sucrose gives 1.0526 g, since it takes up water), nitrogen as a range, and
what is neither water nor sugar nor yeast is carried along as non-yeast solids. Each value is linear in
the caller's weighings and in the contents, so that both reach the yield as correlated uncertainties.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf
from types import MappingProxyType
from typing import Any, Final

from fermkit.basis.budget import Act
from fermkit.basis.checks import nearest, not_negative, one_of
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Line, Numbers, Page, Written, nominal, plus_minus
from fermkit.matter import usual
from fermkit.matter.composition import compound
from fermkit.matter.ingredients import Ingredient, ingredient, ingredient_from, ingredient_names, kitchen_measure

_HEXOSE_G: Final = compound("hexose").molar_mass

YEAST_ASH: Final = (0.065, 0.015)
"""Ash of dry yeast, middle and half-width [g/g]: 5 to 8 % (Roels 1983; Villadsen et al.)."""

YEAST_NITROGEN: Final = (0.045, 0.088)
"""Nitrogen in dry yeast [g/g], starved to well fed. Upper end: CH1.83O0.56N0.17 (Roels 1983) with 6.5 % ash;
a store-bought dry yeast holds 0.068 (USDA SR 18375). Lower end: yeast grown short of nitrogen, common
practice, no source."""

YEAST_PHOSPHORUS: Final = (0.005, 0.014)
"""Phosphorus in dry yeast [g/g], starved to well fed: common practice, no source (6 % of RNA alone hold
0.0055). A store-bought dry yeast holds 0.0067 (USDA SR 18375, 637 mg in 94.92 g of dry matter)."""

YEAST_SULFUR: Final = (0.002, 0.004)
"""Sulfur in dry yeast [g/g]. Lower end: 0.0018 mol per C-mol (Lange & Heijnen, Biotechnol. Bioeng. 75 (2001)
334, from memory); upper: common practice, no source."""


YEAST_POTASSIUM: Final = (0.006, 0.022)
"""Potassium in dry yeast [g/g], starved to well fed: common practice, no source. A store-bought dry yeast holds 0.0101
(USDA SR 18375, 955 mg in 94.92 g of dry matter)."""

YEAST_MAGNESIUM: Final = (0.0004, 0.0020)
"""Magnesium in dry yeast [g/g], starved to well fed: common practice, no source. A store-bought dry yeast holds 0.00057
(USDA SR 18375, 54 mg in 94.92 g of dry matter)."""

YEAST_HOLDS: Final[Mapping[str, tuple[float, float]]] = MappingProxyType({
    "nitrogen": YEAST_NITROGEN, "phosphorus": YEAST_PHOSPHORUS, "sulfur": YEAST_SULFUR, "potassium": YEAST_POTASSIUM,
    "magnesium": YEAST_MAGNESIUM,
})  # fmt: skip
"""What dry yeast holds of each element that a feed is judged by [g/g]."""

NOT_JUDGED: Final = (
    "Not judged: vitamins (biotin, pantothenate, inositol, thiamine) and trace metals (zinc, iron, manganese, copper). "
    "Molasses and malt bring them; white sugar, salts and distilled water do not."
)

AIR: Final = ("not stated", "none", "some")
"""What a run says of air. Without any, the energy of fermentation limits the yeast besides the elements."""


@dataclass(frozen=True, repr=False)
class Feed(Written):
    """What a feed offers, all in grams, each value correlated with the weighings and contents it came from.

    Attributes
    ----------
    amounts : mapping
        Ingredient by ingredient, as weighed [g].
    hexose_g : value
        Hexose equivalents of the fermentable sugars: sucrose counts 1.0526 g for each gram.
    sugar_g : value
        The fermentable sugars themselves.
    carbon_mol : value
        Carbon in the fermentable sugars [mol].
    nitrogen_g : value
        All nitrogen outside the yeast.
    usable_nitrogen_g : (value, value)
        The least and the most that yeast can use.
    phosphorus_g, sulfur_g, potassium_g, magnesium_g, water_g, ash_g : value
    not_known : mapping
        Elements of which an ingredient does not say how much it holds, and which ingredients; they count as none there.
    non_yeast_solids_g : value
        Dry matter that is neither fermentable sugar nor yeast, and ends up beside the yeast.
    inoculum_g : value
        Dry yeast put in.
    mass_g : value
        Everything.
    """

    amounts: Mapping[str, Any]
    ingredients: Mapping[str, Ingredient]
    hexose_g: Numbers
    sugar_g: Numbers
    carbon_mol: Numbers
    nitrogen_g: Numbers
    usable_nitrogen_g: tuple[Any, Any]
    phosphorus_g: Numbers
    sulfur_g: Numbers
    potassium_g: Numbers
    magnesium_g: Numbers
    water_g: Numbers
    ash_g: Numbers
    non_yeast_solids_g: Numbers
    inoculum_g: Numbers
    mass_g: Numbers
    not_known: Mapping[str, tuple[str, ...]]

    def usable_g(self, element: str) -> tuple[Any, Any]:
        """The least and the most of an element that yeast can use [g]; no upper end where an ingredient is silent."""
        low, high = self.usable_nitrogen_g if element == "nitrogen" else (getattr(self, f"{element}_g"),) * 2
        return low, inf if element in self.not_known else high

    def page(self) -> Page:
        """The feed as a page."""
        low, high = self.usable_nitrogen_g
        between_words = span(low, high)
        return Page(
            "Feed: " + ", ".join(f"{name} {plus_minus(grams, 'g')}" for name, grams in self.amounts.items()),
            [
                Line(
                    "fermentable sugar, as hexose",
                    self.hexose_g,
                    "g",
                    "sucrose × 1.0526, as it takes up water",
                ),
                Line("its carbon", self.carbon_mol, "mol"),
                Line("nitrogen, all", self.nitrogen_g, "g"),
                Line("nitrogen that yeast can use", between_words, "g", "a range, not a number"),
                Line("phosphorus", self.phosphorus_g, "g"),
                Line("sulfur", self.sulfur_g, "g"),
                Line("potassium", self.potassium_g, "g"),
                Line("magnesium", self.magnesium_g, "g"),
                Line("water", self.water_g, "g"),
                Line("ash", self.ash_g, "g", "without the salts"),
                Line(
                    "non-yeast solids",
                    self.non_yeast_solids_g,
                    "g",
                    "subtract what of it ends up in the product",
                ),
                Line("dry yeast put in", self.inoculum_g, "g", "yields of yeast are net of it"),
            ],
            [
                f"{element.capitalize()} is not known of {' and '.join(names)}: there may be more than this."
                for element, names in self.not_known.items()
            ],
        )


def feed(amounts: Mapping[str, Any], ingredients: Mapping[str, Ingredient | Mapping[str, Any]] | None = None) -> Feed:
    """What the weighed ingredients offer to the yeast.

    Parameters
    ----------
    amounts : mapping of str to value or text
        Grams of each ingredient, as a number or a value with uncertainty, or a kitchen measure as text
        (``"2 teaspoons"``, see `kitchen_measure`). The inoculum is one of them.
    ingredients : mapping, optional
        Ingredients of your own by name: `Ingredient` objects, or mappings as `ingredient_from` takes them.
        They go before the built-in table.

    Returns
    -------
    Feed

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> mash = feed({"white sugar": ufloat(100.0, 0.5), "water": 900.0, "active dry yeast": ufloat(7.0, 0.1)})
    >>> print(f"{mash.hexose_g:.2f}", f"{mash.inoculum_g:.2f}")
    105.11+/-0.53 6.64+/-0.11
    """
    if not amounts:
        raise InputError(
            f"a feed without ingredients: {amounts!r}", "at least one ingredient", "give name and grams of each"
        )
    own = ingredients or {}
    things = {name: _known(name, own) for name in amounts}
    grams = {name: _grams(amount, things[name]) for name, amount in amounts.items()}

    def total(content: Numbers) -> Numbers:
        return sum((grams[name] * content(thing) for name, thing in things.items()), 0.0)

    hexose_g = total(lambda thing: thing.hexose)
    return Feed(
        amounts=grams,
        ingredients=things,
        hexose_g=hexose_g,
        sugar_g=total(lambda thing: thing.sugar),
        carbon_mol=hexose_g * (6.0 / _HEXOSE_G),
        nitrogen_g=total(lambda thing: thing.element("nitrogen")),
        usable_nitrogen_g=(
            total(lambda thing: thing.usable_nitrogen[0]), total(lambda thing: thing.usable_nitrogen[1])
        ),
        phosphorus_g=total(lambda thing: thing.element("phosphorus")),
        sulfur_g=total(lambda thing: thing.element("sulfur")),
        potassium_g=total(lambda thing: thing.element("potassium")),
        magnesium_g=total(lambda thing: thing.element("magnesium")),
        water_g=total(lambda thing: thing.parts.get("water", 0.0)),
        ash_g=total(lambda thing: thing.parts.get("ash", 0.0)),
        non_yeast_solids_g=total(lambda thing: thing.non_yeast_solids),
        inoculum_g=total(lambda thing: thing.parts.get("yeast", 0.0)),
        mass_g=sum(grams.values(), 0.0),
        not_known=_not_known(things),
    )  # fmt: skip


def _not_known(things: Mapping[str, Ingredient]) -> Mapping[str, tuple[str, ...]]:
    """Elements besides nitrogen, which is a range anyway, and the ingredients that are silent about them."""
    silent = {
        element: tuple(name for name, thing in things.items() if not thing.states(element))
        for element in YEAST_HOLDS
        if element != "nitrogen"
    }
    return {element: names for element, names in silent.items() if names}


def _known(name: str, own: Mapping[str, Ingredient | Mapping[str, Any]]) -> Ingredient:
    if name in own:
        thing = own[name]
        return thing if isinstance(thing, Ingredient) else ingredient_from(name, thing)
    known = (*own, *ingredient_names())
    if name not in known:
        near = nearest(name, known)
        raise InputError(
            f"the ingredient {name!r} is not known",
            f"one of {', '.join(known)}, or your own with its composition",
            f"did you mean {near!r}?" if near else "give its composition as a mapping of mass fractions",
        )
    return ingredient(name)


def _grams(amount: Numbers, thing: Ingredient) -> Numbers:
    grams = kitchen_measure(amount, thing) if isinstance(amount, str) else amount
    not_negative(nominal(grams), f"the amount of {thing.name} [g]")
    return grams


@dataclass(frozen=True, repr=False)
class YeastLimits(Written):
    """The most yeast that each element of a feed allows, net of the inoculum [g dry yeast].

    Attributes
    ----------
    carbon_g, electrons_g : value
        If all carbon (all electrons) of the sugar became yeast; no run comes near it without much air.
    nitrogen_g, phosphorus_g, sulfur_g, potassium_g, magnesium_g : (value, value)
        Least and most: what of it yeast can use, and how little of it starved yeast can live with. Without an upper end
        (infinite) where an ingredient does not say how much it holds: such an element cannot be said to bind.
    energy_g : (value, value) or None
        Without air: what fermenting gives the energy for; None where air may help.
    binding : tuple of str
        The limit or limits that can be the lowest; several, where their ranges overlap.
    """

    carbon_g: Numbers
    electrons_g: Numbers
    nitrogen_g: tuple[Any, Any]
    phosphorus_g: tuple[Any, Any]
    sulfur_g: tuple[Any, Any]
    potassium_g: tuple[Any, Any]
    magnesium_g: tuple[Any, Any]
    energy_g: tuple[Any, Any] | None
    binding: tuple[str, ...]

    def ranges(self) -> Mapping[str, tuple[Any, Any]]:
        """Least and most of each, by name."""
        return {
            **({"energy without air": self.energy_g} if self.energy_g else {}),
            "carbon": (self.carbon_g, self.carbon_g),
            "electrons": (self.electrons_g, self.electrons_g),
            **{element: getattr(self, f"{element}_g") for element in YEAST_HOLDS},
        }

    def known(self) -> Mapping[str, tuple[Any, Any]]:
        """The same without the elements of which the feed is silent."""
        return {name: ends for name, ends in self.ranges().items() if nominal(ends[1]) < inf}

    @property
    def lowest_g(self) -> tuple[Any, Any]:
        """The lowest of the least and the lowest of the most: the yeast that the feed as a whole allows."""
        ranges = self.known().values()
        return min((low for low, _ in ranges), key=nominal), min((high for _, high in ranges), key=nominal)

    def page(self) -> Page:
        """The limits as a page."""
        lines = [
            Line("carbon", self.carbon_g, "g", "all the sugar's carbon in yeast"),
            Line("electrons", self.electrons_g, "g", "all the sugar's electrons in yeast"),
        ]
        for name, (low, high) in self.ranges().items():
            if nominal(high) == inf:
                lines.append(Line(name, "not known", "", "an ingredient does not say how much it holds"))
            elif low is not high:
                lines.append(Line(name, span(low, high), "g", "a range, not a number"))
        words = " or ".join(self.binding)
        tail = "" if len(self.binding) == 1 else " (their ranges overlap)"
        said = [f"What binds: {words}{tail}.", NOT_JUDGED]
        return Page("The most new dry yeast that each element allows", lines, said)


def yeast_limits(feed: Feed, yeast: str = "yeast", *, air: str = "not stated") -> YeastLimits:
    """How much yeast a feed can make at most, by each element and, without air, by energy.

    Parameters
    ----------
    feed : Feed
    yeast : str
        The yeast's formula or name without ash; 5 to 8 % ash is added.
    air : "not stated", "none" or "some"
        With "none" the energy that fermenting gives is a limit too: what is usual at best, 0.086 to 0.125 g from a gram
        of hexose.

    Returns
    -------
    YeastLimits
        In grams of new dry yeast.

    Notes
    -----
    Carbon: n_C M/(1 − ash) per C-mol of yeast; electrons: the same times 4/γ. Nitrogen, phosphorus, sulfur,
    potassium, magnesium: the least is what can surely be used over what well-fed yeast holds; the most is all that
    may be used, the inoculum's own shared between old and new yeast, over what starved yeast holds.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> print(yeast_limits(feed({"beet molasses": ufloat(240, 1), "active dry yeast": 5.0})).binding)
    ('nitrogen', 'phosphorus')

    References
    ----------
    Roels, Energetics and Kinetics in Biotechnology, 1983 (limits by carbon and electrons); the contents:
    `YEAST_HOLDS`, `YEAST_ASH`; the energy: `fermkit.matter.usual.YEAST_AT_BEST`.
    """
    one_of(air, AIR, "air")
    cells = compound(yeast)
    ash = yeast_ash()
    per_carbon = cells.molar_mass / cells.carbon / (1.0 - ash)
    carbon_g = feed.carbon_mol * per_carbon
    electrons_g = carbon_g * (4.0 * cells.carbon / cells.electrons)
    by_element = {
        f"{element}_g": _range(feed.usable_g(element), feed.inoculum_g, holds) for element, holds in YEAST_HOLDS.items()
    }
    best = usual.YEAST_AT_BEST
    energy = (feed.hexose_g * best.low, feed.hexose_g * best.high) if air == "none" else None
    limits = YeastLimits(carbon_g=carbon_g, electrons_g=electrons_g, energy_g=energy, binding=(), **by_element)
    ceiling = nominal(limits.lowest_g[1])
    binding = tuple(name for name, (least, _) in limits.known().items() if nominal(least) <= ceiling)
    return replace(limits, binding=binding)


def yeast_ash() -> Any:
    """Ash in a gram of dry yeast, anywhere in `YEAST_ASH` [g/g]."""
    middle, half = YEAST_ASH
    return rectangle(middle - half, middle + half, Act("yeast ash", "the ash of the yeast"))


def span(low: Numbers, high: Numbers) -> str:
    """Two ends as text, three digits each."""
    return " to ".join(f"{x:.0f}" if abs(x) >= 100 else f"{x:.3g}" for x in (nominal(low), nominal(high)))


def _range(usable_g: tuple[Any, Any], inoculum_g: Numbers, content: tuple[float, float]) -> tuple[Any, Any]:
    starved, fed = content
    middle = (starved + fed) / 2.0  # what the inoculum itself brings, of which the new yeast takes its share
    return usable_g[0] / fed, (usable_g[1] + inoculum_g * middle) / starved - inoculum_g
