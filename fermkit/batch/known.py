"""What is known of a batch before any reading: its recipe, and for all else what is usual.

A batch has twenty-one basic amounts (`LATENTS`). Those the recipe tells come with the recipe's ±; the others come
from `fermkit.matter.usual`, wide. The readings then narrow them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import one_of, positive
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, OXYGEN_IN_AIR, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.matter import usual
from fermkit.matter.composition import compound
from fermkit.matter.feed import Feed
from fermkit.matter.ingredients import SALTS
from fermkit.matter.properties import bicarbonate_factor, co2_solubility, o2_solubility, water_vapour_pressure
from fermkit.matter.usual import Usual

STATES: Final = ("not stated", "running", "stopped", "used up")
"""Whether it still makes gas, makes none for a day (finished or stuck), or has used up its sugar (a test says so)."""

CLOSURES: Final = ("airlock", "open", "vented", "closed")
"""How the gas leaves: freely, by hand now and then, or not at all."""

NITROGEN: Final = ("ammonium", "amino", "mixture", "short")
MOSTLY: Final = 0.8
"""Share of the usable nitrogen from which on one source counts as the only one [-]: judgement, no source."""
LITTLE_NITROGEN: Final = 0.001
"""Usable nitrogen below which the yeast lives on what nobody told [g/g hexose]: it feeds at most 0.02 g/g yeast."""
SHORT_OF_NITROGEN: Final = 0.003
"""Usable nitrogen up to which growth ends long before the sugar does [g/g hexose]: at 4.5 to 8.8 % of the yeast it
feeds 0.03 to 0.07 g/g, where yeast grows 0.09 to 0.12 at best."""

ALL: Final = float("inf")
WEIGHING: Final = 0.01
"""Relative ± of a recipe amount written without one: a kitchen scale and the purity (common practice, no source)."""
JUG: Final = 0.03
"""The same of a volume: a measuring jug (common practice, no source)."""


@dataclass(frozen=True)
class Recipe:
    """What was put together, and how it stood.

    Parameters
    ----------
    feed : Feed
        From `fermkit.feed`, the inoculum among its ingredients.
    liquid_L, gas_space_L : value or None
        Liquid, and the space above it [L]; None: not told, a usual range is taken.
    temperature_C, barometer_bar : value
        Of the liquid [°C]; of the air [bar].
    pH : value or None
        From 5 up, bicarbonate holds some CO2; None: not counted.
    closed : "airlock", "open", "vented" or "closed"
    air_pump : bool
        Whether air was blown in.
    nitrogen : "ammonium", "amino", "mixture", "short" or None
        What the yeast took its nitrogen from, "short" for too little; None: read from the feed.
    better : mapping of str to value
        Basic amounts known better than what is usual, by their key in `LATENTS`: a plan knows its air and nutrients.
    """

    feed: Feed
    liquid_L: Any = None
    gas_space_L: Any = None
    temperature_C: Any = 25.0
    barometer_bar: Any = STANDARD_ATMOSPHERE_BAR
    pH: Any = None
    closed: str = "airlock"
    air_pump: bool = False
    nitrogen: str | None = None
    better: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        sugar = nominal(self.feed.hexose_g)
        if not sugar > 0:
            raise InputError(
                f"a recipe with {sugar:g} g of fermentable sugar",
                "some sugar that yeast ferments",
                "give the sugar's weight, or the ingredient that holds it",
            )
        one_of(self.closed, CLOSURES, "how the vessel was closed")
        for value, name in ((self.liquid_L, "liquid [L]"), (self.gas_space_L, "gas space above the liquid [L]")):
            if value is not None:
                positive(nominal(value), name)
        if self.nitrogen is not None:
            one_of(self.nitrogen, NITROGEN, "source of the nitrogen")

    @property
    def nitrogen_source(self) -> str:
        """Ammonium or urea, amino nitrogen, or both, as told or as the feed's usable nitrogen says."""
        if self.nitrogen is not None:
            return self.nitrogen
        return nitrogen_source_of(self.feed)

    @property
    def inoculum_told(self) -> bool:
        """Whether the recipe says how much yeast was put in."""
        return nominal(self.feed.inoculum_g) > 0


def nitrogen_source_of(feed: Feed) -> str:
    """Where the yeast's nitrogen comes from: "ammonium" (urea too), "amino", "mixture"; "short" if too little.

    Examples
    --------
    >>> from fermkit.matter.feed import feed
    >>> nitrogen_source_of(feed({"white sugar": 100.0, "diammonium phosphate": 3.0}))
    'ammonium'
    """
    organic = salts = 0.0
    for grams, thing in zip(feed.amounts.values(), feed.ingredients.values()):
        of_salts = sum(nominal(thing.parts.get(name, 0.0)) * compound(name).mass_fraction("N") for name in SALTS)
        usable = sum(nominal(end) for end in thing.usable_nitrogen) / 2.0
        salts += nominal(grams) * of_salts
        organic += nominal(grams) * max(usable - of_salts, 0.0)
    if max(organic, salts) <= LITTLE_NITROGEN * nominal(feed.hexose_g):
        return "mixture"  # silent about it rather than without it
    if organic + salts <= SHORT_OF_NITROGEN * nominal(feed.hexose_g):
        return "short"
    share = salts / (organic + salts)
    return "ammonium" if share > MOSTLY else "amino" if share < 1.0 - MOSTLY else "mixture"


@dataclass(frozen=True)
class Latent:
    """One basic amount of a batch: what is known of it, and the side it keeps to.

    ``value`` carries the ±; ``assumed`` says that it is usual only, and no part of the recipe. ``words`` names it.
    """

    key: str
    words: str
    value: Any
    floor: float = 0.0
    ceiling: float = ALL
    assumed: bool = True

    @property
    def middle(self) -> float:
        """Its best value before any reading."""
        return nominal(self.value)

    @property
    def u(self) -> float:
        """Its standard uncertainty before any reading."""
        return uncertainty(self.value)


LATENTS: Final = (
    "sugar_fed", "liquid", "gas_space", "inoculum", "feed_solids", "left_share", "yeast_yield", "glycerol_per_yeast",
    "acids_share", "oxygen", "stripped_share", "leak_share", "store", "gas_space_co2", "carried_share",
    "harvest_share", "washed_out", "extract_share", "ash", "yeast_electrons", "yeast_per_carbon",
)  # fmt: skip
"""The basic amounts: grams of hexose fed, litres, grams, shares, mmol glycerol per g yeast, mol oxygen, mol and g for
each mole of the yeast's carbon."""


FLOORS: Final = {"yeast_per_carbon": 12.011}
"""The least that a basic amount can be, where that is above nothing: a mole of carbon weighs as much by itself [g]."""


@dataclass(frozen=True)
class Surroundings:
    """Plain numbers of the vessel's air and water, worked out once for a recipe.

    Mol of CO2 that a litre of liquid, and of gas space, holds at the barometer's pressure of CO2; the grams of air in a
    litre of it; whether nothing leaves.
    """

    per_L_liquid: float
    per_L_gas: float
    air_g_per_L: float
    shut: bool


def surroundings(recipe: Recipe) -> Surroundings:
    """What temperature, pressure and pH make of a litre of liquid and of gas space."""
    warm = nominal(recipe.temperature_C)
    dry = nominal(recipe.barometer_bar) - float(water_vapour_pressure(warm))
    ions = 1.0 if recipe.pH is None else float(bicarbonate_factor(nominal(recipe.pH), warm))
    per_L = dry / (L_BAR_GAS_CONSTANT * (warm + ZERO_CELSIUS_K))
    return Surroundings(float(co2_solubility(warm, dry)) * ions, per_L, per_L * 28.96, recipe.closed == "closed")


def known(recipe: Recipe, state: str = "not stated", width: float = usual.FOR_INTERVALS) -> tuple[Latent, ...]:
    """All basic amounts before any reading, in the order of `LATENTS`.

    Parameters
    ----------
    recipe : Recipe
    state : str
        A word of `STATES`: it sets how much CO2 the liquid may still hold.
    width : float
        `FOR_INTERVALS` or `FOR_ALARMS`; the recipe's own ± are not touched by it.
    """
    one_of(state, STATES, "state of the run")
    feed = recipe.feed
    sugar = _told(feed.hexose_g, WEIGHING, "weighing the sugar")
    grams = nominal(sugar)
    liquid = _or_usual(recipe.liquid_L, JUG, "measuring the liquid", usual.LIQUID, grams, width)
    space = _or_usual(recipe.gas_space_L, JUG, "measuring the gas space", usual.GAS_SPACE, nominal(liquid), width)
    told = recipe.inoculum_told
    put_in = feed.inoculum_g if told else None
    yeast_in = _or_usual(put_in, WEIGHING, "weighing the inoculum", usual.INOCULUM, grams, width)
    pump = recipe.air_pump
    shares: dict[str, tuple[Usual, float]] = {
        "left_share": (usual.SUGAR_LEFT, 1.0),
        "yeast_yield": (usual.YEAST_WITH_PUMP if pump else usual.YEAST, ALL),
        "glycerol_per_yeast": (replace(usual.GLYCEROL["mixture"], low=0.0) if pump else
                               usual.GLYCEROL[recipe.nitrogen_source], ALL),
        "acids_share": (usual.ACIDS, 1.0),
        "stripped_share": (usual.STRIPPED_WITH_PUMP if pump else usual.ETHANOL_STRIPPED, 1.0),
        "leak_share": (usual.LEAK, 1.0),
        "store": (usual.STORE[recipe.closed if recipe.closed in ("vented", "closed") else state], ALL),
        "gas_space_co2": (usual.GAS_SPACE_CO2, 1.0),
        "carried_share": (usual.CARRIED, 1.0),
        "harvest_share": (usual.HARVESTED, 1.0),
        "washed_out": (usual.WASHED_OUT, 1.0),
        "extract_share": (usual.EXTRACT_SHARE, 1.0),
        "ash": (usual.ASH, 1.0),
        "yeast_electrons": (usual.YEAST_ELECTRONS, ALL),
        "yeast_per_carbon": (usual.YEAST_PER_CARBON, ALL),
    }  # fmt: skip
    found = {
        "sugar_fed": Latent("sugar_fed", "sugar fed", sugar, assumed=False),
        "liquid": Latent("liquid", "liquid", liquid, assumed=recipe.liquid_L is None),
        "gas_space": Latent("gas_space", "gas space", space, assumed=recipe.gas_space_L is None),
        "inoculum": Latent("inoculum", "yeast put in", yeast_in, assumed=not told),
        "feed_solids": Latent("feed_solids", "solids of the feed", _told(feed.non_yeast_solids_g, 0.1, "feed solids"),
                              assumed=False),
        "oxygen": Latent("oxygen", "oxygen taken up", _oxygen(recipe, space, liquid, width)),
    } | {
        key: Latent(key, range_.name, range_.value(width), FLOORS.get(key, 0.0), ceiling)
        for key, (range_, ceiling) in shares.items()
    }  # fmt: skip
    for key, value in recipe.better.items():
        one_of(key, LATENTS, "basic amount")
        found[key] = replace(found[key], value=_told(value, WEIGHING, found[key].words))
    return tuple(found[key] for key in LATENTS)


def _told(value: Any, relative: float, tag: str) -> Any:
    """A recipe amount with its own ±, or with the usual one of a kitchen where it has none."""
    if uncertainty(value) > 0:
        return value
    return ufloat(nominal(value), max(relative * abs(nominal(value)), 1e-9), tag=Act(tag))


def _or_usual(value: Any, relative: float, tag: str, range_: Usual, per: float, width: float) -> Any:
    return range_.value(width) * per if value is None else _told(value, relative, tag)


def _oxygen(recipe: Recipe, space: Any, liquid: Any, width: float) -> Any:
    """Oxygen that the yeast takes up [mol]: of the vessel's own air, or of the pump's."""
    if recipe.air_pump:
        return usual.RESPIRED_WITH_PUMP.value(width) * nominal(recipe.feed.hexose_g) / 30.03
    warm, bar = nominal(recipe.temperature_C), OXYGEN_IN_AIR * nominal(recipe.barometer_bar)
    above = nominal(space) * bar / (L_BAR_GAS_CONSTANT * (warm + ZERO_CELSIUS_K))
    return usual.OXYGEN_KEPT.value(width) * (above + nominal(liquid) * float(o2_solubility(warm, bar)))
