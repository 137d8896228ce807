"""What to add so that nitrogen, phosphorus or sulfur does not hold the yeast back."""

from dataclasses import dataclass

from fermkit.basis.checks import positive
from fermkit.basis.written import Line, Page, Written, nominal
from fermkit.matter.feed import YEAST_NITROGEN, YEAST_PHOSPHORUS, YEAST_SULFUR, Feed, span
from fermkit.matter.ingredients import Ingredient, ingredient


@dataclass(frozen=True, repr=False)
class Nutrients(Written):
    """Grams of nutrients for an amount of yeast, least and most.

    The least is enough if yeast can use all that may be used and makes do with what starved yeast holds; the most
    is enough even if neither is so. ``yeast_food_g`` is the other way: a mixed nutrient instead of the salts.
    """

    yeast_g: float
    short_g: dict[str, tuple[float, float]]
    ammonium_sulfate_g: tuple[float, float]
    diammonium_phosphate_g: tuple[float, float]
    magnesium_sulfate_g: tuple[float, float]
    yeast_food_g: tuple[float, float]

    @property
    def salts_g(self) -> dict[str, tuple[float, float]]:
        """The salts that are needed, by name."""
        named = {
            "diammonium phosphate": self.diammonium_phosphate_g,
            "ammonium sulfate": self.ammonium_sulfate_g,
            "magnesium sulfate": self.magnesium_sulfate_g,
        }
        return {name: grams for name, grams in named.items() if grams[1] > 0}

    def page(self) -> Page:
        """The nutrients as a page."""
        lines = [Line(f"{name} short by", span(*grams), "g") for name, grams in self.short_g.items() if grams[1] > 0]
        lines += [Line(name, span(*grams), "g", "food grade") for name, grams in self.salts_g.items()]
        if self.yeast_food_g[1] > 0:
            lines.append(Line("or yeast food", span(*self.yeast_food_g), "g", "read the label"))
        remark = "Nothing is short." if not lines else "What the yeast does not take up stays in the liquid."
        return Page(f"Nutrients for {self.yeast_g:.3g} g of new dry yeast", lines, [remark])


def nutrients_for(feed: Feed, yeast_g: float) -> Nutrients:
    """What to add so that an amount of yeast is not held back by an element.

    Parameters
    ----------
    feed : Feed
        What is there already.
    yeast_g : float
        New dry yeast that is wanted [g].

    Returns
    -------
    Nutrients
        Diammonium phosphate for the phosphorus, ammonium sulfate for the nitrogen still short, magnesium sulfate
        for sulfur still short.

    Examples
    --------
    >>> from fermkit.matter.feed import feed
    >>> need = nutrients_for(feed({"white sugar": 100.0, "active dry yeast": 5.0}), 8.0)
    >>> {name: round(grams[1], 2) for name, grams in need.salts_g.items()}
    {'diammonium phosphate': 0.48, 'ammonium sulfate': 2.87}

    References
    ----------
    Contents of yeast: `feed.YEAST_NITROGEN`, `feed.YEAST_PHOSPHORUS`, `feed.YEAST_SULFUR`; of salts: formulas.
    """
    positive(yeast_g, "yeast wanted [g]")
    usable = {
        "nitrogen": tuple(nominal(end) for end in feed.usable_nitrogen_g),
        "phosphorus": (nominal(feed.phosphorus_g),) * 2,
        "sulfur": (nominal(feed.sulfur_g),) * 2,
    }
    contents = {"nitrogen": YEAST_NITROGEN, "phosphorus": YEAST_PHOSPHORUS, "sulfur": YEAST_SULFUR}
    short = {name: _short(yeast_g, nominal(feed.inoculum_g), usable[name], contents[name]) for name in contents}
    phosphate, sulfate, food = (ingredient(n) for n in ("diammonium phosphate", "ammonium sulfate", "yeast food"))
    per_phosphate = {name: _per_gram(phosphate, name) for name in contents}
    per_sulfate = {name: _per_gram(sulfate, name) for name in contents}
    dap, ammonium, magnesium, mixed = [], [], [], []
    for end in (0, 1):
        nitrogen, phosphorus, sulfur = (short[name][end] for name in contents)
        dap.append(phosphorus / per_phosphate["phosphorus"])
        ammonium.append(max(0.0, nitrogen - dap[-1] * per_phosphate["nitrogen"]) / per_sulfate["nitrogen"])
        magnesium.append(max(0.0, sulfur - ammonium[-1] * per_sulfate["sulfur"]) / MAGNESIUM_SULFATE_S)
        of_food = nominal(food.usable_nitrogen[1 - end])
        mixed.append(max(nitrogen / of_food, phosphorus / _per_gram(food, "phosphorus")))
    return Nutrients(yeast_g, short, _pair(ammonium), _pair(dap), _pair(magnesium), _pair(mixed))


MAGNESIUM_SULFATE_S = 0.13
"""Sulfur in magnesium sulfate heptahydrate, MgSO4·7H2O [g/g]: 32.06 of 246.47 g/mol."""


def _short(
    yeast: float, inoculum: float, usable: tuple[float, ...], content: tuple[float, float]
) -> tuple[float, float]:
    starved, fed = content
    spread = inoculum * ((starved + fed) / 2.0 - starved)  # what the inoculum can give up to its daughters
    return max(0.0, yeast * starved - usable[1] - spread), max(0.0, yeast * fed - usable[0])


def _per_gram(thing: Ingredient, element: str) -> float:
    return nominal(thing.element(element))


def _pair(ends: list[float]) -> tuple[float, float]:
    return min(ends), max(ends)
