"""What to add so that no element holds the yeast back."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from fermkit.basis.checks import positive
from fermkit.basis.written import Line, Page, Written, nominal
from fermkit.matter.feed import NOT_JUDGED, YEAST_HOLDS, Feed, span
from fermkit.matter.ingredients import Ingredient, ingredient


@dataclass(frozen=True, repr=False)
class Nutrients(Written):
    """Grams of nutrients for an amount of yeast, least and most.

    The least is enough if yeast can use all that may be used and makes do with what starved yeast holds; the most
    is enough even if neither is so. Each of the two is a set of its own: with more of one salt less of another is
    needed. ``yeast_food_g`` is the other way: a mixed nutrient instead of the salts.
    """

    yeast_g: float
    short_g: dict[str, tuple[float, float]]
    salts_g: dict[str, tuple[float, float]]
    yeast_food_g: tuple[float, float]

    def page(self) -> Page:
        """The nutrients as a page."""
        lines = [Line(f"{name} short by", span(*grams), "g") for name, grams in self.short_g.items() if grams[1] > 0]
        lines += [Line(name, span(*sorted(grams)), "g", "food grade") for name, grams in self.salts_g.items()]
        if self.yeast_food_g[1] > 0:
            lines.append(Line("or yeast food", span(*self.yeast_food_g), "g", "read the label"))
        remark = "What the yeast does not take up stays in the liquid."
        if not lines:
            remark = f"None of {', '.join(YEAST_HOLDS)} is short. {NOT_JUDGED}"
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
        Monopotassium phosphate for the potassium, diammonium phosphate for the phosphorus still short, ammonium sulfate
        for the nitrogen still short, magnesium sulfate (Epsom salt) for magnesium and the sulfur still short.

    Examples
    --------
    >>> from fermkit.matter.feed import feed
    >>> need = nutrients_for(feed({"white sugar": 100.0, "active dry yeast": 5.0}), 8.0)
    >>> {name: round(grams[1], 2) for name, grams in need.salts_g.items()}
    {'monopotassium phosphate': 0.61, 'diammonium phosphate': 0.0, 'ammonium sulfate': 3.35, 'magnesium sulfate': 0.16}

    References
    ----------
    Contents of yeast: `feed.YEAST_HOLDS`; of salts: formulas.
    """
    positive(yeast_g, "yeast wanted [g]")
    short = {
        element: _short(yeast_g, nominal(feed.inoculum_g), feed.usable_g(element), holds)
        for element, holds in YEAST_HOLDS.items()
    }
    ends = [_salts({element: grams[end] for element, grams in short.items()}) for end in (0, 1)]
    salts = {name: (ends[0][name], ends[1][name]) for name in SALTS if max(end[name] for end in ends) > 0}
    food = ingredient("yeast food")
    mixed = [
        max(
            short["nitrogen"][end] / nominal(food.usable_nitrogen[1 - end]),
            short["phosphorus"][end] / _of(food, "phosphorus"),
        )
        for end in (0, 1)
    ]
    return Nutrients(yeast_g, short, salts, (min(mixed), max(mixed)))


SALTS: Final = ("monopotassium phosphate", "diammonium phosphate", "ammonium sulfate", "magnesium sulfate")
"""Salts in the order in which they are given: each also brings part of what a later one is for."""


def _salts(short: Mapping[str, float]) -> dict[str, float]:
    """Grams of each salt for the grams of each element that are short."""
    potash, phosphate, sulfate, epsom = (ingredient(name) for name in SALTS)
    first = short["potassium"] / _of(potash, "potassium")
    second = max(0.0, short["phosphorus"] - first * _of(potash, "phosphorus")) / _of(phosphate, "phosphorus")
    third = max(0.0, short["nitrogen"] - second * _of(phosphate, "nitrogen")) / _of(sulfate, "nitrogen")
    sulfur = max(0.0, short["sulfur"] - third * _of(sulfate, "sulfur"))
    fourth = max(sulfur / _of(epsom, "sulfur"), short["magnesium"] / _of(epsom, "magnesium"))
    return dict(zip(SALTS, (first, second, third, fourth), strict=True))


def _short(
    yeast: float, inoculum: float, usable: tuple[Any, Any], content: tuple[float, float]
) -> tuple[float, float]:
    starved, fed = content
    spread = inoculum * ((starved + fed) / 2.0 - starved)  # what the inoculum can give up to its daughters
    low, high = (nominal(end) for end in usable)
    return max(0.0, yeast * starved - high - spread), max(0.0, yeast * fed - low)


def _of(thing: Ingredient, element: str) -> float:
    return nominal(thing.element(element))
