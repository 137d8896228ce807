"""What nobody measured: glycerol, acids and the air's oxygen, at their usual amounts and with their usual doubt."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from uncertainties import ufloat

from fermkit.balance.faults import ACIDS
from fermkit.balance.streams import LinearMeasurement, Stream, grams_of, grams_per_unit
from fermkit.basis.budget import Act
from fermkit.basis.checks import one_of
from fermkit.basis.written import Number, nominal, percent, plus_minus, uncertainty
from fermkit.matter import usual
from fermkit.matter.composition import compound, molar_mass

GLYCEROL_TIE: Final = Act("glycerol tie", "glycerol tied to yeast")
USUAL_NITROGEN: Final = (0.0665, 0.0124)
"""Nitrogen in dry yeast [g/g]: 4.5 (starved) to 8.8 %, taken as rectangular. Upper end: CH1.83O0.56N0.17 (Roels 1983)
with 6.5 % ash; lower end: common practice, no source."""

BESIDE_FORMULA: Final = "hydrogen of the yeast beside its formula"


@dataclass(frozen=True)
class Listing:
    """All streams of a balance, relations that are assumed among them, and what was assumed, in words."""

    streams: list[Stream]
    relations: list[LinearMeasurement]
    notes: list[str]


def with_usual_byproducts(
    streams: Sequence[Stream], wanted: str | Mapping[str, Any], nitrogen_source: str, aerated: bool
) -> Listing:
    """What nobody measured: an end product as a stream without an amount, by-products at their usual amounts."""
    listing = Listing(list(streams), [], [])
    one_of(nitrogen_source, usual.GLYCEROL, "nitrogen_source")
    if isinstance(wanted, str):
        one_of(wanted, ("usual", "none"), "priors")
    else:
        for name in wanted:
            one_of(name, ("glycerol", "acids", "oxygen", "electrons"), "by-product in priors=")
    if wanted == "none":
        listing.notes.append("Usual by-products (glycerol, acids) left out as asked.")
        return listing
    _add_end_product(listing, aerated)
    chosen = dict(wanted) if isinstance(wanted, Mapping) else {}
    if not chosen and not {"sugar", "ethanol"} <= {s.role for s in listing.streams}:
        listing.notes.append("No usual by-products (glycerol, acids): no sugar is fermented to ethanol here.")
        return listing
    if "glycerol" in chosen or not (chosen or aerated):
        _add_glycerol(listing, chosen.get("glycerol", usual.GLYCEROL[nitrogen_source].value(usual.FOR_ALARMS)))
    elif aerated and not chosen:
        listing.notes.append("Glycerol is not added: yeast that respires need not make it.")
    if "acids" in chosen or not chosen:
        _add_acids(listing, chosen.get("acids", usual.ACIDS.value(usual.FOR_ALARMS)))
    if not chosen:
        _add_nitrogen(listing)
    if "oxygen" in chosen:
        _add_oxygen(listing, chosen["oxygen"])
    if "electrons" in chosen:
        _add_electrons(listing, chosen["electrons"])
    return listing


def _add_end_product(listing: Listing, aerated: bool) -> None:
    """Sugar does not become ethanol without CO2, nor (without air) CO2 without ethanol: the other was not measured."""
    roles = {s.role for s in listing.streams}
    missing = {"CO2"} if "ethanol" in roles else {"ethanol"} if "CO2" in roles and not aerated else set()
    if "sugar" not in roles or ("O2" in roles and "ethanol" not in roles):
        return
    for name in missing - roles:
        listing.streams.append(Stream(name, compound(name), None, "g", 0.0, 1.0, "unmeasured", name))
        listing.notes.append(f"{name} is not listed: it is taken as made and not measured.")


def _add_glycerol(listing: Listing, mmol_per_g: Number) -> None:
    """Glycerol from the yeast made; where the yeast was not measured either, both are found together."""
    given = [s for s in listing.streams if s.role == "glycerol"]
    yeast = [s for s in listing.streams if s.role == "yeast"]
    if any(s.standing == "measured" for s in given) or not yeast:
        return
    thing, per_g = compound("glycerol"), mmol_per_g / 1000 * compound("glycerol").molar_mass
    name, unit = (given[0].name, given[0].unit) if given else ("glycerol", "g")
    assumed = plus_minus(mmol_per_g, "mmol for each g of dry yeast made")
    measured = [s for s in yeast if s.amount is not None]
    made = sum(s.amount * grams_per_unit(s) for s in measured)
    if len(measured) < len(yeast):
        _tie_glycerol(listing, given, yeast, per_g)
    elif nominal(made) <= 0:
        listing.notes.append("Glycerol is not added: no yeast was made.")
        return
    else:
        amount = made * per_g / grams_of(thing, unit)
        glycerol = Stream(name, thing, amount, unit, 0.0, 1.0, "usual", "glycerol", "yeast")
        listing.streams[:] = [*(s for s in listing.streams if s.role != "glycerol"), glycerol]
    listing.notes.append(f"Glycerol was not measured: {assumed} is assumed.")


def _tie_glycerol(listing: Listing, given: list[Stream], yeast: list[Stream], per_g: Number) -> None:
    """``glycerol - k yeast = 0``, as doubtful as k is for the usual yeast of that sugar."""
    glycerol = (
        given[0] if given else Stream("glycerol", compound("glycerol"), None, "g", 0.0, 1.0, "unmeasured", "glycerol")
    )
    if not given:
        listing.streams.append(glycerol)
    sugar = sum(abs(nominal(s.amount)) * grams_per_unit(s) for s in listing.streams if s.role == "sugar" and s.amount)
    parts = {s.name: -nominal(per_g) * grams_per_unit(s) for s in yeast}
    doubt = ufloat(0, max(uncertainty(per_g) * usual.YEAST.middle * sugar, 1e-9), tag=GLYCEROL_TIE)
    coefficients = {glycerol.name: grams_per_unit(glycerol), **parts}
    listing.relations.append(LinearMeasurement("glycerol tied to yeast", coefficients, doubt, "usual"))


def _add_acids(listing: Listing, share: Number) -> None:
    sugars = [s for s in listing.streams if s.role == "sugar" and s.standing == "measured"]
    if any(s.role in ACIDS and s.standing == "measured" for s in listing.streams) or not sugars:
        return
    carbon = -sum(s.weighed * s.content("ammonia")["C"] for s in sugars) * share
    thing = replace(compound("CH2O"), name="organic acids")
    grams = carbon * thing.molar_mass
    acids = Stream("organic acids", thing, grams, "g", 0.0, 1.0, "usual", "organic acids", "sugar")
    listing.streams[:] = [*(s for s in listing.streams if s.role not in ACIDS), acids]
    assumed = f"{percent(share)} of the sugar's carbon"
    listing.notes.append(f"Organic acids were not measured: {assumed} is assumed.")


def _add_oxygen(listing: Listing, taken_up: Number) -> None:
    """Oxygen of the air in the vessel, which burns sugar to CO2; consumed negative [g]."""
    if not any(s.role == "O2" for s in listing.streams):
        listing.streams.append(Stream("O2", compound("O2"), taken_up, "g", 0.0, 1.0, "usual", "O2", "air"))
        listing.notes.append(
            f"Oxygen was not measured: {plus_minus(-taken_up, 'g')} of the vessel's own air is taken as used."
        )


def _add_nitrogen(listing: Listing) -> None:
    """Yeast by name holds less nitrogen than its formula, and not always the same; counts where nitrogen does."""
    sources = any(s.made_of.atoms.get("N") and s.role != "yeast" for s in listing.streams)
    yeast = [s for s in listing.streams if s.amount is not None and s.made_of.name.startswith("yeast")]
    if not sources or not yeast:
        return
    content = ufloat(*USUAL_NITROGEN, tag=Act("yeast nitrogen", "the nitrogen of the yeast"))
    beside = sum(
        s.amount * grams_per_unit(s) * content / molar_mass("N") - s.weighed * s.content("ammonia").get("N", 0.0)
        for s in yeast
    )
    thing = compound("ammonia")
    listing.streams.append(
        Stream("nitrogen beside the formula", thing, beside, "mol", 0.0, 1.0, "usual", "other", "yeast")
    )
    listing.notes.append(f"Dry yeast is taken to hold {percent(content)} nitrogen, whatever its formula says.")


def _add_electrons(listing: Listing, per_carbon: Number) -> None:
    """What yeast by name holds of electrons beside its formula, for each carbon: so much more or less hydrogen."""
    named = [s for s in listing.streams if s.amount is not None and s.made_of.name.startswith("yeast")]
    if named:
        hydrogen = compound("H2")
        beside = sum(s.amount * s.content("ammonia")["C"] for s in named) * per_carbon / hydrogen.electrons
        listing.streams.append(Stream(BESIDE_FORMULA, hydrogen, beside, "mol", 0.0, 1.0, "usual", "other", "yeast"))
