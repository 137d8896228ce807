"""By-products that nobody measured: glycerol and acids, at their usual amounts and with their usual doubt."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from uncertainties import ufloat

from fermkit.checks import one_of
from fermkit.composition import Compound, compound
from fermkit.streams import Stream, grams_of, grams_per_unit
from fermkit.written import nominal, percent, plus_minus

_ACIDS: Final = ("acetic acid", "lactic acid", "succinic acid", "organic acids")

USUAL_ACIDS: Final = (0.015, 0.005)
"""Share of the sugar's carbon that ends as organic acid [C-mol/C-mol]. Common practice, no source."""

USUAL_GLYCEROL: Final = (6.25, 0.7)
"""Glycerol for each gram of dry yeast grown without air [mmol/g]: 5.0 to 7.5, taken as rectangular.
Nordstroem, Acta Chem. Scand. 20 (1966) 1016."""


def add_usual_byproducts(
    streams: Sequence[Stream], wanted: str | Mapping[str, Any], aerated: bool
) -> tuple[list[Stream], list[str]]:
    """Glycerol and acids that nobody measured, at their usual amounts; and what was done, in words."""
    if isinstance(wanted, str):
        one_of(wanted, ("usual", "none"), "priors")
    else:
        for name in wanted:
            one_of(name, ("glycerol", "acids"), "by-product in priors=")
    roles = {s.role for s in streams if s.standing == "measured"}
    fermenting = "sugar" in roles and ("ethanol" in roles or "ethanol" in {s.role for s in streams})
    if wanted == "none" or (wanted == "usual" and not fermenting):
        why = "left out as asked" if wanted == "none" else "left out: no sugar is fermented to ethanol here"
        return list(streams), [f"Usual by-products (glycerol, acids) {why}."]
    chosen = dict(wanted) if isinstance(wanted, Mapping) else {}
    out, notes = list(streams), []
    if (wanted == "usual" and not aerated) or "glycerol" in chosen:
        out, note = _with_glycerol(out, chosen.get("glycerol", ufloat(*USUAL_GLYCEROL, tag="glycerol not measured")))
        notes += note
    elif aerated:
        notes.append("Glycerol is not added: yeast that respires need not make it.")
    if wanted == "usual" or "acids" in chosen:
        out, note = _with_acids(out, chosen.get("acids", ufloat(*USUAL_ACIDS, tag="organic acids not measured")))
        notes += note
    return out, notes


def _with_glycerol(streams: list[Stream], mmol_per_g: Any) -> tuple[list[Stream], list[str]]:
    given = [s for s in streams if s.role == "glycerol"]
    yeast = [s for s in streams if s.role == "yeast"]
    if any(s.standing == "measured" for s in given) or not yeast:
        return streams, []
    if any(s.amount is None for s in yeast):
        return streams, ["Glycerol is not added: it is tied to the yeast made, and that was not measured."]
    if sum(nominal(s.amount) * grams_per_unit(s) for s in yeast) <= 0:
        return streams, ["Glycerol is not added: no yeast was made."]
    thing = compound("glycerol")
    unit = given[0].unit if given else "g"
    grams = sum(s.amount * grams_per_unit(s) for s in yeast) * mmol_per_g / 1000 * thing.molar_mass
    stream = Stream(
        given[0].name if given else "glycerol", thing, grams / grams_of(thing, unit), unit, 0.0, 1.0, "usual",
        "glycerol", "yeast",
    )  # fmt: skip
    note = (
        f"Glycerol was not measured: {plus_minus(mmol_per_g, 'mmol for each g of dry yeast made')} is assumed "
        "(Nordström 1966: 5.0 to 7.5)."
    )
    return [s for s in streams if s.role != "glycerol"] + [stream], [note]


def _with_acids(streams: list[Stream], share: Any) -> tuple[list[Stream], list[str]]:
    sugars = [s for s in streams if s.role == "sugar" and s.standing == "measured"]
    if any(s.role in _ACIDS and s.standing == "measured" for s in streams) or not sugars:
        return streams, []
    carbon = -sum(s.weighed * s.content("ammonia")["C"] for s in sugars) * share
    thing = Compound("organic acids", "CH2O", compound("CH2O").atoms, compound("CH2O").molar_mass, 1.0, 4.0)
    stream = Stream("organic acids", thing, carbon * thing.molar_mass, "g", 0.0, 1.0, "usual", "organic acids", "sugar")
    note = f"Organic acids were not measured: {percent(share)} of the sugar's carbon is assumed (common practice)."
    return [s for s in streams if s.role not in _ACIDS] + [stream], [note]
