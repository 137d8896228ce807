"""What people call an ingredient, and what is done with one that nobody knows."""

from dataclasses import replace
from typing import Any, Final

from fermkit.basis.written import nominal
from fermkit.matter.ingredients import ingredient_names
from fermkit.run.findings import Remarks, did_you_mean

BY_NAMES: Final = {
    "sugar": "white sugar", "table sugar": "white sugar", "cane sugar": "white sugar", "beet sugar": "white sugar",
    "granulated sugar": "white sugar", "baker's yeast": "active dry yeast", "bakers yeast": "active dry yeast",
    "dry yeast": "active dry yeast", "dried yeast": "active dry yeast", "instant yeast": "active dry yeast",
    "molasses": "beet molasses", "dap": "diammonium phosphate",
}  # fmt: skip
"""What people write for an ingredient of the built-in table (common practice, no source)."""

SMALL: Final = 0.05
"""An ingredient that nobody knows is left out where it is a smaller share of the feed than this."""


def named_ingredients(sections: dict[str, Any], book: Remarks) -> None:
    """By-names of ingredients read; a little of something unknown is left out, so that the rest still counts."""
    own = sections["ingredients"]

    def named(part: Any, place: str) -> Any:
        word = (part.ingredient or "").strip().lower()
        if part.ingredient is None or part.ingredient in own or word in ingredient_names():
            return part
        if word in BY_NAMES and BY_NAMES[word] in ingredient_names():
            book.note(f"{part.ingredient!r} was read as {BY_NAMES[word]}", column=place)
            return replace(part, ingredient=BY_NAMES[word])
        return part

    sections["inoculum"] = named(sections["inoculum"], "inoculum")
    fed = [named(part, f"feed {i}") for i, part in enumerate(sections["feed"], start=1)]
    whole = sum(nominal(part.amount_g) for part in fed if part.amount_g is not None)
    kept = []
    for i, part in enumerate(fed, start=1):
        word = part.ingredient or ""
        known = not word or word in own or word.strip().lower() in ingredient_names()
        little = part.amount_g is not None and nominal(part.amount_g) < SMALL * whole
        if known or not little:
            kept.append(part)
            continue
        book.note(
            f"the ingredient {part.ingredient!r} is not known; its {nominal(part.amount_g):g} g were left out of the "
            f"feed; {did_you_mean(part.ingredient, (*own, *ingredient_names()))}; its make-up can be written under "
            f'[ingredients."{part.ingredient}"]', column=f"feed {i}", level="doubt",
        )  # fmt: skip
    sections["feed"] = tuple(kept)
