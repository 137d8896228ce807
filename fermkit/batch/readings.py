"""The kinds of reading: each is a measurement, with its ±, of one batch's state.

The state follows from the basic amounts by carbon and electrons and by what each step conserves (`state_of`). A
reading knows what it would show for a state (`shows`), so that any of them can be held against all others.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import one_of
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.batch.known import LATENTS, Surroundings
from fermkit.matter.alcohol import ethanol_mass_concentration
from fermkit.matter.composition import molar_mass
from fermkit.matter.usual import USED_UP

Floats = NDArray[np.float64]
State = dict[str, Any]

HEXOSE_G: Final = molar_mass("hexose")
CO2_G: Final = molar_mass("CO2")
ETHANOL_G: Final = molar_mass("ethanol")
GLYCEROL_G: Final = molar_mass("glycerol")
ACID_G: Final = molar_mass("CH2O")
ALCOHOL_G_PER_PCT_L: Final = float(ethanol_mass_concentration(1.0))
"""Ethanol in a litre for each % by volume [g/L] (OIML R 22)."""
ACIDS_IN_DENSITY: Final = 0.23
"""By how much a gram of acid in a litre raises the density [g]: lactic acid, CRC Handbook (from memory)."""
ACIDS_IN_REFRACTION: Final = 0.75
"""Grams of sucrose that bend light as a gram of acid does: lactic acid, CRC Handbook (from memory)."""
WATER_WITH_GAS: Final = 0.013
"""Water vapour that leaves with each gram of CO2 at 25 °C, airlock half effective [g/g]: vapour pressure, good to a
half of itself."""


def state_of(z: Any, around: Surroundings) -> State:
    """Every amount of a batch [g, mol, L], from its basic amounts in the order of `LATENTS`.

    Parameters
    ----------
    z : array of shape (..., 21)
        Basic amounts; many batches at once along the leading axes.
    around : Surroundings

    Notes
    -----
    Ethanol takes the electrons that yeast, glycerol, acids and oxygen leave of the sugar used; CO2 takes the carbon
    (Roels 1983). The liquid and the gas space fill first: held = S (1 − exp(−CO2/S)), S what they hold at rest.
    Harvest: paste = share · (yeast + inoculum + carried solids); what washing leaves splits into extract and debris.
    """
    s: State = dict(zip(LATENTS, np.moveaxis(np.asarray(z, dtype=float), -1, 0)))
    s["sugar_left"] = s["sugar_fed"] * s["left_share"]
    s["sugar_used"] = s["sugar_fed"] - s["sugar_left"]
    hexose = s["sugar_used"] / HEXOSE_G
    s["yeast"] = s["yeast_yield"] * s["sugar_used"]
    yeast_carbon = s["yeast"] * (1.0 - s["ash"]) / s["yeast_per_carbon"]
    glycerol = s["glycerol_per_yeast"] / 1000.0 * s["yeast"]
    acid_carbon = 6.0 * hexose * s["acids_share"]
    ethanol = (
        24.0 * hexose - s["yeast_electrons"] * yeast_carbon - 14.0 * glycerol - 4.0 * acid_carbon - 4.0 * s["oxygen"]
    ) / 12.0
    co2 = 6.0 * hexose - yeast_carbon - 3.0 * glycerol - acid_carbon - 2.0 * ethanol
    s |= {"glycerol": glycerol * GLYCEROL_G, "acids": acid_carbon * ACID_G, "ethanol": ethanol * ETHANOL_G}
    s |= {"co2": co2 * CO2_G, "oxygen_g": s["oxygen"] * 31.998}
    s["ethanol_in_liquid"] = s["ethanol"] * (1.0 - s["stripped_share"])
    in_liquid = s["store"] * around.per_L_liquid * s["liquid"]
    in_gas = s["gas_space_co2"] * around.per_L_gas * s["gas_space"]
    room = np.maximum(in_liquid + in_gas, 1e-9)
    held = co2 if around.shut else room * -np.expm1(-np.maximum(co2, 0.0) / room)
    s |= {"co2_in_liquid": held * in_liquid / room * CO2_G, "co2_in_gas_space": held * in_gas / room * CO2_G}
    s["co2_out"] = s["co2"] - held * CO2_G
    s["co2_released"] = s["co2"] - s["co2_in_liquid"]  # what fills the gas space pushed as much air out
    s["co2_lost"] = s["co2_released"] * s["leak_share"]
    s["co2_caught"] = s["co2_released"] - s["co2_lost"]
    s["air_out"] = 0.0 if around.shut else s["gas_space"] * s["gas_space_co2"] * around.air_g_per_L
    s["solids"] = s["inoculum"] + s["yeast"] + s["carried_share"] * s["feed_solids"]
    s["lost_share"] = 1.0 - s["harvest_share"]
    s["losses"] = s["solids"] * s["lost_share"]
    s["paste"] = s["solids"] - s["losses"]
    s["washings"] = s["paste"] * s["washed_out"]
    s["extract"] = s["extract_share"] * (s["paste"] - s["washings"])
    s["debris"] = s["paste"] - s["washings"] - s["extract"]
    return s


@dataclass(frozen=True)
class Reading:
    """One thing that was read, weighed or told.

    Attributes
    ----------
    kind : str
        The key of its kind: "ethanol content", "gas", …
    words : str
        What a person calls it.
    value : value
        As read, with its standard uncertainty.
    unit : str
    of : tuple of str
        The amounts of the estimate that it measures directly.
    shows : callable
        What it would read for a state.
    usual_u : bool
        Whether the ± is the usual one of a kitchen, as none was written.
    wet_g : value or None
        For a dried item, what it weighed wet [g]: only to see whether it can be.
    """

    kind: str
    words: str
    value: Any
    unit: str
    of: tuple[str, ...]
    shows: Callable[[State], Any]
    usual_u: bool = False
    wet_g: Any = None


USUAL_U: Final[Mapping[str, tuple[float, float]]] = {
    "ethanol content": (0.2, 0.05), "ethanol": (1.0, 0.05), "gas": (0.5, 0.05), "vessel weight": (1.0, 0.02),
    "pressure": (0.2, 0.05), "jar weight": (2.0, 0.02), "density": (1.0, 0.03), "residual sugar": (1.0, 0.15),
    "paste": (0.3, 0.03), "extract": (0.3, 0.03), "debris": (0.3, 0.03), "washing loss": (0.02, 0.2),
    "harvest share": (0.03, 0.02), "carried share": (0.01, 0.3), "washings": (0.3, 0.1),
    "carried": (0.05, 0.2), "poured off": (0.1, 0.1),
    "refraction": (4.0, 0.03), "cell count": (0.1, 0.5), "optical density": (0.1, 0.2),
    "yeast at the start": (0.1, 0.5),
    "room air": (2.0, 0.3), "dissolved CO2": (0.1, 0.1),
}  # fmt: skip
"""Usual ± of a kitchen by kind: a fixed part in the reading's unit and a share of it, added in quadrature (common
practice, no source). Used where a number comes without ±; an own ± always goes before it."""


def _with_u(kind: str, value: Any) -> tuple[Any, bool]:
    """The value with its ±, and whether that is the usual one."""
    x = nominal(value)
    if not np.isfinite(x):
        raise InputError(f"{kind} is {x:g}", f"{kind} as a number", "correct the reading, or leave it out")
    fixed, share = USUAL_U[kind]
    usual_u = float(np.hypot(fixed, share * x))
    if hasattr(value, "std_dev"):
        if not uncertainty(value) > 0:
            raise InputError(
                f"{kind} is {x:g} ± 0",
                f"a ± above zero, such as the usual {usual_u:.2g}",
                "write how far off the reading may be, or leave the ± out and the usual one is taken",
            )
        return value, False
    return ufloat(x, usual_u, tag=Act(kind)), True


def _reading(
    kind: str, words: str, value: Any, unit: str, of: tuple[str, ...], shows: Callable[[State], Any], wet_g: Any = None
) -> Reading:
    value, usual_u = _with_u(kind, value)
    return Reading(kind, words, value, unit, of, shows, usual_u, wet_g)


def _amount(key: str, s: State) -> Any:
    return s[key]


def _per_litre(key: str, per: float, s: State) -> Any:
    return s[key] / (s["liquid"] * per)


def _yeast_per_litre(s: State) -> Any:
    return (s["inoculum"] + s["yeast"]) / s["liquid"]


def _jar(s: State) -> Any:
    return s["co2_out"] * (1.0 + WATER_WITH_GAS) + s["air_out"] + s["ethanol"] * s["stripped_share"]


def _density(coefficients: Mapping[str, float], acids: float, s: State) -> Any:
    made = {"hexose": -s["sugar_used"], "ethanol": s["ethanol_in_liquid"], "glycerol": s["glycerol"]}
    return sum(c * made[name] for name, c in coefficients.items()) - acids * s["acids"]


def ethanol_content(pct_vol: Any) -> Reading:
    """Alcohol of the liquid at the end [% vol], from a sensor, a laboratory or a label."""
    shows = partial(_per_litre, "ethanol_in_liquid", ALCOHOL_G_PER_PCT_L)
    return _reading("ethanol content", "alcohol content", pct_vol, "% vol", ("ethanol",), shows)


def ethanol_made(grams: Any) -> Reading:
    """All ethanol made [g], samples and vapour already added."""
    return _reading("ethanol", "alcohol made", grams, "g", ("ethanol",), partial(_amount, "ethanol"))


GAS_ROUTES: Final = {
    "collected volume": ("gas", "co2_caught"), "flow rate": ("gas", "co2_caught"),
    "bubble count": ("gas", "co2_caught"), "vessel weight": ("vessel weight", "co2_released"),
    "pressure": ("pressure", "co2"), "room air": ("room air", "co2_released"),
}  # fmt: skip
"""What each route to the gas sees: what was caught of the gas that the liquid gave off (the air pushed out counts as
CO2), all that the liquid gave off (a leak included), or all that was made."""


def gas(route: str, co2_g: Any) -> Reading:
    """CO2 by one route [g], as a `GasCurve` totals it: caught, given off (by weight), or made (by pressure)."""
    one_of(route, GAS_ROUTES, "route to the gas")
    kind, key = GAS_ROUTES[route]
    return _reading(kind, f"CO2 by {route}", co2_g, "g", ("co2",), partial(_amount, key))


def jar_weight(fall_g: Any) -> Reading:
    """By how much the whole jar grew lighter [g]: gas, its water vapour and the air pushed out."""
    return _reading("jar weight", "fall of the jar's weight", fall_g, "g", ("co2",), _jar)


def density_fall(coefficients: Mapping[str, float], value_g: Any) -> Reading:
    """The fall in density times the volume [g], a positive number: ``Σ coefficient · amount``, hexose used negative.

    Each coefficient says by how much a gram lowers the sum: sugar and glycerol raise a density, alcohol lowers it.
    """
    return _fall("density", "fall in density", coefficients, value_g, ACIDS_IN_DENSITY)


def refraction_fall(coefficients: Mapping[str, float], value_g: Any) -> Reading:
    """The fall in °Brix, in grams of sucrose that bend light as much: as `density_fall`, but alcohol raises it."""
    return _fall("refraction", "fall in °Brix", coefficients, value_g, ACIDS_IN_REFRACTION)


def _fall(kind: str, words: str, coefficients: Mapping[str, float], value_g: Any, acids: float) -> Reading:
    for name in coefficients:
        one_of(name, ("hexose", "ethanol", "glycerol"), "stream that it sees")
    return _reading(kind, words, value_g, "g", (), partial(_density, dict(coefficients), acids))


def residual_sugar(g_per_L: Any) -> Reading:
    """Sugar left in the liquid, as hexose [g/L]."""
    shows = partial(_per_litre, "sugar_left", 1.0)
    return _reading("residual sugar", "sugar left", g_per_L, "g/L", ("sugar_left", "sugar_used"), shows)


def used_up() -> Reading:
    """A sugar test, or a density that no longer falls, says that the sugar is gone: 2 ± 3 % may be left."""
    return Reading(
        "used up", "the word that the sugar is used up", USED_UP.value(), "of it",
        ("sugar_left", "sugar_used"), partial(_amount, "left_share"),
    )  # fmt: skip


def paste(dry_g: Any, wet_g: Any = None) -> Reading:
    """Dry matter of all the paste before washing and autolysis [g], with what it weighed wet where known."""
    return _reading("paste", "dry paste", dry_g, "g dry", ("paste", "yeast"), partial(_amount, "paste"), wet_g)


def extract(dry_g: Any, wet_g: Any = None) -> Reading:
    """Dry matter of the extract [g], salt that was added taken off."""
    return _reading("extract", "dry extract", dry_g, "g dry", ("extract",), partial(_amount, "extract"), wet_g)


def debris(dry_g: Any, wet_g: Any = None) -> Reading:
    """Dry matter of the debris [g]."""
    return _reading("debris", "dry debris", dry_g, "g dry", ("debris",), partial(_amount, "debris"), wet_g)


def yeast_in_liquid(kind: str, g_per_L: Any) -> Reading:
    """Dry yeast in the liquid when it had grown, put in and grown [g/L]: by "cell count" or "optical density"."""
    one_of(kind, ("cell count", "optical density"), "way of seeing yeast")
    return _reading(kind, f"yeast by {kind}", g_per_L, "g/L", ("yeast",), _yeast_per_litre)


def yeast_at_start(g_per_L: Any) -> Reading:
    """Dry yeast in the liquid before it grew [g/L]: what was put in."""
    shows = partial(_per_litre, "inoculum", 1.0)
    return _reading("yeast at the start", "yeast seen at the start", g_per_L, "g/L", (), shows)


def dissolved_co2(how: str, g_per_L: Any) -> Reading:
    """CO2 in the liquid at the end [g/L], "shaken out" or "titrated"."""
    one_of(how, ("shaken out", "titrated"), "way of measuring dissolved CO2")
    shows = partial(_per_litre, "co2_in_liquid", 1.0)
    return _reading("dissolved CO2", f"CO2 in the liquid, {how}", g_per_L, "g/L", ("co2_in_liquid",), shows)


def washing_loss(share: Any) -> Reading:
    """Share of the paste's dry matter that washing took, as told [-]."""
    shows = partial(_amount, "washed_out")
    return _reading("washing loss", "loss in washing", share, "of the paste", ("washings",), shows)


def washings(dry_g: Any) -> Reading:
    """Dry matter of the washings, as weighed [g]."""
    return _reading("washings", "dry washings", dry_g, "g dry", ("washings",), partial(_amount, "washings"))


def harvest_share(share: Any) -> Reading:
    """Share of the batch's solids that came into the paste, as told [-]."""
    shows = partial(_amount, "harvest_share")
    return _reading("harvest share", "share harvested", share, "of the solids", ("losses",), shows)


def carried_share(share: Any) -> Reading:
    """Share of the feed's solids that came along into the paste, as told [-]."""
    shows = partial(_amount, "carried_share")
    return _reading("carried share", "feed solids carried along, as told", share, "of them", (), shows)


def carried(dry_g: Any) -> Reading:
    """Feed solids dissolved in the paste's liquid [g dry], from what was measured in the liquid poured off it."""
    return _reading("carried", "feed solids in the paste, by the last liquid poured off", dry_g, "g dry", (), _carried)


def _carried(s: State) -> Any:
    return s["carried_share"] * s["feed_solids"]


def poured_off(dry_g: Any, there: float = 1.0) -> Reading:
    """Solids that settling, washing and the walls took before the paste was weighed [g dry].

    `there` is the share of the batch that was still in the vessel then: samples took the rest.
    """
    return _reading("poured off", "yeast poured off", dry_g, "g dry", ("losses",), partial(_poured, there))


def _poured(there: float, s: State) -> Any:
    return s["solids"] * there - s["paste"]


SEES_THE_SAME: Final = {
    "ethanol content": "ethanol", "jar weight": "vessel weight", "used up": "residual sugar",
    "washing loss": "washings", "harvest share": "poured off",
}  # fmt: skip
"""A kind that could still be read, and the one that has told as much already."""


def candidates(s: State, taken: Collection[str] = ()) -> tuple[Reading, ...]:
    """What a kitchen could still read besides the kinds taken, each with its usual ±, at the amounts of a state."""
    plain = {key: max(float(value), 0.0) for key, value in s.items()}
    every = (
        used_up(),
        ethanol_content(plain["ethanol_in_liquid"] / (plain["liquid"] * ALCOHOL_G_PER_PCT_L)),
        jar_weight(_jar(s)),
        gas("collected volume", plain["co2_caught"]),
        residual_sugar(plain["sugar_left"] / plain["liquid"]),
        paste(plain["paste"]),
        extract(plain["extract"]),
        debris(plain["debris"]),
        washing_loss(plain["washed_out"]),
        harvest_share(plain["harvest_share"]),
        carried(plain["carried_share"] * plain["feed_solids"]),
        yeast_in_liquid("cell count", (plain["inoculum"] + plain["yeast"]) / plain["liquid"]),
        dissolved_co2("shaken out", plain["co2_in_liquid"] / plain["liquid"]),
    )
    return tuple(one for one in every if not {one.kind, SEES_THE_SAME.get(one.kind)} & set(taken))
