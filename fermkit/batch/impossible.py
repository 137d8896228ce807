"""Impossible before improbable: what no batch can show, with the slip that most likely made it.

Plain checks, said before any statistics. A reading that cannot be is left out of the estimate; one that is only
unlikely stays in.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fermkit.basis.written import nominal, rounded, uncertainty
from fermkit.batch.known import Recipe
from fermkit.batch.readings import ALCOHOL_G_PER_PCT_L, GAS_ROUTES, Reading
from fermkit.matter.composition import compound, molar_mass

SUGAR_TO_ALCOHOL: Final = 2 * molar_mass("ethanol") / molar_mass("hexose")
SUGAR_TO_CO2: Final = 2 * molar_mass("CO2") / molar_mass("hexose")
"""Grams from a gram of hexose, all of it fermented: Gay-Lussac."""
RESPIRED_CO2: Final = 6 * molar_mass("CO2") / molar_mass("hexose")
"""Grams of CO2 from a gram of hexose, all of it burnt with air."""
MOST_YEAST: Final = 24 * compound("yeast").molar_mass / 4.2 / 0.92 / molar_mass("hexose")
"""Dry yeast with 8 % ash that holds all the electrons of a gram of hexose [g/g]: no batch can give more."""
MOST_WITHOUT_AIR: Final = 0.2
"""Dry yeast without air [g/g hexose]: half as much again as the best chemostats (common practice, no source)."""
LEAST_SOLIDS: Final = 0.03
"""Solids of a paste: less is a thin liquid (common practice, no source)."""
SUGAR_G_PER_L: Final = (3.0, 700.0)
"""Hexose in a litre of a batch: less feeds nothing, more dissolves nowhere (common practice, no source)."""
STRONGEST_PCT_VOL: Final = 18.0
"""Alcohol that no baker's or wine yeast passes [% vol] (common practice, no source)."""
GAS_KINDS: Final = ("jar weight", *(kind for kind, _ in GAS_ROUTES.values()))
LEAST_GAS: Final = 0.1
"""CO2 for each gram of alcohol, of which 0.96 g go with it: less is no leak any more, but a slip (judgement, no
source; a third of a mole taken for two is a sixth, and has a name of its own)."""
TIMES_APART: Final = 8.0
"""How many times as long as another a table may go on (common practice, no source)."""
FALL_PER_SUGAR: Final = {"density": 0.48, "refraction": 1.0}
"""Most that the hydrometer's and the refractometer's sum can fall for a gram of hexose fed [g/g]: 0.386 for the sugar
(ICUMSA; the sum of sucrose, a twentieth less for its hexose) and 0.51 · 0.181 for the alcohol (OIML R 22); a
refractometer's never exceeds the sugar itself, as alcohol raises it."""
SLACK: Final = 1.05
"""How far above a limit a reading may lie before it is called impossible, besides its ± [-]: the recipe has a ± too."""


class Sort(StrEnum):
    """How bad it is."""

    IMPOSSIBLE = "impossible"
    UNLIKELY = "unlikely"


@dataclass(frozen=True)
class Oddity:
    """One thing that cannot be, or hardly.

    Attributes
    ----------
    sort : Sort
    kinds : tuple of str
        The kinds of reading that it touches; "recipe" for what was put in.
    met : str
        What was met.
    most : str
        What there can be at most (or at least).
    slip : str
        The slip that likely made it, and where to look.
    """

    sort: Sort
    kinds: tuple[str, ...]
    met: str
    most: str
    slip: str

    def __str__(self) -> str:
        return f"{self.sort.capitalize()}: {self.met}; {self.most}. {self.slip}"


def oddities(recipe: Recipe, readings: Sequence[Reading]) -> tuple[Oddity, ...]:
    """Everything that cannot be, then what hardly can."""
    found = [*_recipe(recipe), *(odd for reading in readings for odd in _one(recipe, reading)), *_solids(readings)]
    found += _little_gas(recipe, readings)
    return tuple(sorted(found, key=lambda odd: odd.sort is Sort.UNLIKELY))


def _recipe(recipe: Recipe) -> Iterator[Oddity]:
    sugar, yeast = nominal(recipe.feed.hexose_g), nominal(recipe.feed.inoculum_g)
    if recipe.liquid_L is not None:
        per_L, (least, most) = sugar / nominal(recipe.liquid_L), SUGAR_G_PER_L
        if not least <= per_L <= most:
            met = f"{sugar:.3g} g sugar in {nominal(recipe.liquid_L):.3g} L, {per_L:.3g} g/L"
            slip = "Were kg written for g, or mL for L?" if per_L < least else "Were mL written for L, or g for kg?"
            yield Oddity(Sort.UNLIKELY, ("recipe",), met, f"{least:g} to {most:g} g/L is what ferments", slip)
    if yeast > 0.5 * sugar:
        met = f"{yeast:.3g} g dry yeast put into {sugar:.3g} g sugar"
        yield Oddity(Sort.UNLIKELY, ("recipe",), met, "half as much yeast as sugar is much", "Is it kg for g, or wet?")


def _one(recipe: Recipe, reading: Reading) -> Iterator[Oddity]:
    """A reading against what the recipe can give at most."""
    x, u, of = nominal(reading.value), uncertainty(reading.value), (reading.kind,)
    shown = f"{reading.words} of {rounded(x, u)[0]} {reading.unit}".rstrip()
    if x < -2.0 * u:
        yield Oddity(Sort.IMPOSSIBLE, of, shown, "nothing below zero", "Look at the sign, the tare and the blank.")
    most, why, slip = _most(recipe).get(reading.kind, (float("inf"), "", ""))
    if x > SLACK * most + 2.0 * min(u, 0.1 * most):
        said = f"{why} gives {most:.3g} {reading.unit} at most" if why else f"there is {most:.3g} at most"
        yield Oddity(Sort.IMPOSSIBLE, of, shown, said, _factor(x / most) + slip)
    elif reading.kind == "ethanol content" and x > STRONGEST_PCT_VOL:
        most_said = f"no yeast of the kitchen passes {STRONGEST_PCT_VOL:g} % vol"
        yield Oddity(Sort.UNLIKELY, of, shown, most_said, "Look at the dilution and the unit.")
    if reading.wet_g is not None:
        yield from _wet(recipe, reading, shown)
    grown = x - nominal(recipe.feed.inoculum_g) - nominal(recipe.feed.non_yeast_solids_g)
    sugar = nominal(recipe.feed.hexose_g)
    if reading.kind == "paste" and not recipe.air_pump and MOST_WITHOUT_AIR * sugar < grown < MOST_YEAST * sugar:
        most_said = f"without air {MOST_WITHOUT_AIR * sugar:.3g} g yeast from this sugar would be much"
        yield Oddity(Sort.UNLIKELY, of, shown, most_said, "Was it weighed wet, or dried too little?")


def _wet(recipe: Recipe, reading: Reading, shown: str) -> Iterator[Oddity]:
    """A dried item against its wet weight."""
    dry, wet, of = nominal(reading.value), nominal(reading.wet_g), (reading.kind,)
    beside = f"{shown} from {wet:.4g} g wet"
    if dry > wet:
        said = f"solids of {100 * dry / max(wet, 1e-9):.0f} %, and no more than 100 % can be"
        yield Oddity(Sort.IMPOSSIBLE, of, beside, said, "Were wet and dry swapped, or a tare forgotten?")
    elif recipe.liquid_L is not None and wet > 1.5 * (
        1000.0 * nominal(recipe.liquid_L) + nominal(recipe.feed.hexose_g)
    ):
        yield Oddity(Sort.IMPOSSIBLE, of, beside, "heavier than all that was put in", "Is it g, and not kg or mg?")
    elif dry < LEAST_SOLIDS * wet:
        said = f"{100 * dry / wet:.1f} % solids, and a paste has more than {100 * LEAST_SOLIDS:g} %"
        yield Oddity(Sort.UNLIKELY, of, beside, said, "Is the decimal point of the wet weight right?")


def _solids(readings: Sequence[Reading]) -> Iterator[Oddity]:
    """Extract and debris against the paste that they came from."""
    of = {reading.kind: reading.value for reading in readings}
    parts = [kind for kind in ("extract", "debris") if kind in of]
    if "paste" not in of or not parts:
        return
    excess = sum(of[kind] for kind in parts) - of["paste"]
    if nominal(excess) > max(3.0 * uncertainty(excess), 0.03 * nominal(of["paste"])):
        share = 100.0 * sum(nominal(of[kind]) for kind in parts) / max(nominal(of["paste"]), 1e-9)
        met = f"dry {' and '.join(parts)} weigh {share:.0f} % of the dry paste"
        slip = "Was salt added and not told, was one not dry, or is it another paste?"
        yield Oddity(Sort.IMPOSSIBLE, ("paste", *parts), met, "no more can come out than went in", slip)


def _little_gas(recipe: Recipe, readings: Sequence[Reading]) -> Iterator[Oddity]:
    """Gas that is next to nothing beside the alcohol."""
    grams = {"ethanol": 1.0, "ethanol content": nominal(recipe.liquid_L or 0.0) * ALCOHOL_G_PER_PCT_L}
    read = [one for one in readings if one.kind in grams]
    alcohol = min((grams[one.kind] * (nominal(one.value) - 2.0 * uncertainty(one.value)) for one in read), default=0.0)
    for one in readings:
        x, u = nominal(one.value), uncertainty(one.value)
        if one.kind in GAS_KINDS and x + 2.0 * u < LEAST_GAS * alcohol:
            shown = f"{one.words} of {rounded(x, u)[0]} {one.unit}"
            slip = "Was the gas of each interval written, not all since the start? Else look at the unit."
            yield Oddity(Sort.UNLIKELY, (one.kind,), shown, f"{alcohol:.3g} g of alcohol came with as much", slip)


def _most(recipe: Recipe) -> Mapping[str, tuple[float, str, str]]:
    """By kind of reading: the most it can be, what gives it, and where to look."""
    feed = recipe.feed
    sugar, litres = nominal(feed.hexose_g), recipe.liquid_L
    air = RESPIRED_CO2 if recipe.air_pump else SUGAR_TO_CO2 * 1.02  # 2 %: the oxygen of the vessel's own air
    whole, alcohol = "the sugar", SUGAR_TO_ALCOHOL * sugar
    solids = nominal(feed.inoculum_g) + nominal(feed.non_yeast_solids_g) + MOST_YEAST * sugar
    found = {kind: (air * sugar, whole, "Look at the unit of the gas readings.") for kind, _ in GAS_ROUTES.values()}
    found |= {
        "ethanol": (alcohol, whole, "Look at the standards first, then at the dilution."),
        "jar weight": (air * sugar * 1.02 + 5.0, whole, "Was liquid taken out, or the jar opened?"),
        "washing loss": (1.0, "", "Is it per cent for a share?"),
        "harvest share": (1.0, "", "Is it per cent for a share?"),
    }
    for kind, fall in FALL_PER_SUGAR.items():
        found[kind] = (fall * sugar, whole, "Was one of the two misread, or is it another liquid?")
    for kind in ("paste", "extract", "debris", "washings", "poured off"):
        found[kind] = (solids, whole, "Is it g, and dry?")
    found["carried"] = (nominal(feed.non_yeast_solids_g), "the feed", "Is it g/L, and not g? Is alcohol in it?")
    if litres is not None:
        strongest = alcohol / (nominal(litres) * ALCOHOL_G_PER_PCT_L)
        found["ethanol content"] = (
            strongest, whole, "Look at the standards first: one typed too strong does this; then at the dilution.",
        )  # fmt: skip
        for kind in ("cell count", "optical density"):
            found[kind] = (solids / nominal(litres), whole, "Look at the dilution, and at the size of a square.")
        found["residual sugar"] = (sugar / nominal(litres), "the recipe", "Is it g/L, and not g or °Bx?")
    return found


def _factor(times: float) -> str:
    """What a round factor hints at."""
    for factor, hint in ((10.0, "a decimal point"), (100.0, "per cent"), (1000.0, "mL for L, or g for kg")):
        if 0.25 * factor < times < 1.3 * factor:
            return f"About {factor:g} times what is likely: {hint}? "
    return ""


def times_apart(last_h: Mapping[str, float]) -> tuple[Oddity, ...]:
    """Tables whose last readings lie so far apart that a unit of time is wrong.

    Parameters
    ----------
    last_h : mapping of table to hours
        The last time in each table that was written while the batch stood [h].
    """
    if not last_h:
        return ()
    longest, end = max(last_h.items(), key=lambda item: item[1])
    return tuple(
        Oddity(
            Sort.UNLIKELY,
            (table,),
            f"{table} ends at {last:.3g} h",
            f"{longest} goes on to {end:.3g} h",
            _unit_of_time(end / last),
        )
        for table, last in last_h.items()
        if 0 < last < end / TIMES_APART
    )


def _unit_of_time(times: float) -> str:
    for factor, hint in ((24.0, "days written for hours"), (60.0, "hours written for minutes")):
        if 0.6 * factor < times < 1.6 * factor:
            return f"Are they {hint}?"
    return "Was it read to the end, and in hours?"
