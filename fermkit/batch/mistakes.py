"""The mistakes that a batch is known for: each says what is true where it was made.

A mistake has a size, and a size is met more or less often: common practice, no source, except where a line names one.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from fermkit.basis.written import nominal
from fermkit.batch.estimate import Estimate
from fermkit.batch.least_squares import Floats
from fermkit.matter.composition import molar_mass

Size = Callable[[Floats], Floats]
GAS: Final[tuple[str, ...]] = ("gas", "vessel weight", "pressure", "jar weight", "room air")
WEIGHED: Final[tuple[str, ...]] = ("paste", "extract", "debris", "washings", "jar weight", "vessel weight")
SUCROSE_AS_HEXOSE: Final = 2 * molar_mass("hexose") / molar_mass("sucrose")
BY_MASS: Final = 0.792
"""Per cent by mass over per cent by volume of a weak drink: 789.2 kg/m3 (ethanol at 20 °C, OIML R 22) over 997."""
NODES: Final = 33
"""Sizes at which a mistake is tried."""


@dataclass(frozen=True)
class Mistake:
    """One mistake, by what is true where it was made.

    Attributes
    ----------
    key, words : str
    says : str
        What its size is.
    sizes, shares : arrays of shape (k,)
        Sizes that it may have, and how often each is met.
    reads : mapping of kind to function of the size
        True over read.
    truly : mapping of basic amount to function of the size
        What it truly was.
    recipe : mapping of basic amount to function of the size
        True over told.
    told : tuple of kind
        Readings that were only told and are then worth nothing.
    check : str
        What would show it.
    """

    key: str
    words: str
    says: str
    sizes: Floats
    shares: Floats
    check: str
    reads: Mapping[str, Size] = field(default_factory=dict)
    truly: Mapping[str, Size] = field(default_factory=dict)
    recipe: Mapping[str, Size] = field(default_factory=dict)
    told: tuple[str, ...] = ()


def _even(low: float, high: float) -> tuple[Floats, Floats]:
    return np.linspace(low, high, NODES), np.full(NODES, 1 / NODES)


def _mostly_small(low: float, high: float, spread: float) -> tuple[Floats, Floats]:
    sizes = np.linspace(low, high, NODES)
    shares = np.exp(-0.5 * (sizes / spread) ** 2)
    return sizes, shares / shares.sum()


def _fixed(*sizes: float) -> tuple[Floats, Floats]:
    return np.array(sizes), np.full(len(sizes), 1 / len(sizes))


def _same(size: Floats) -> Floats:
    return size


def _kept(size: Floats) -> Floats:
    return 1.0 - size


def mistakes_for(found: Estimate) -> tuple[Mistake, ...]:
    """The mistakes that could have touched these readings."""
    kinds = {reading.kind for reading in found.readings}
    sugar = nominal(found.recipe.feed.hexose_g)
    gas = {kind: _same for kind in GAS if kind in kinds}
    weighed = {kind: _same for kind in WEIGHED if kind in kinds}
    again = " again" if kinds & {"residual sugar", "used up"} else ""
    out = [
        Mistake(
            "left",
            "sugar left over, more than usual",
            "share left",
            *_mostly_small(0.1, 0.9, 0.3),
            f"test for sugar{again}, with a test that sees sucrose and fructose too",
            truly={"left_share": _same},
        ),
        Mistake(
            "moist",
            "moist sugar, or less sugar than written",
            "share that is no sugar",
            *_even(0.01, 0.25),
            "dry a weighed spoon of the sugar",
            recipe={"sugar_fed": _kept},
        ),
        Mistake(
            "sucrose",
            "sucrose taken for glucose, or the other way",
            "true over told",
            *_fixed(SUCROSE_AS_HEXOSE, 1 / SUCROSE_AS_HEXOSE),
            "read the label",
            recipe={"sugar_fed": _same},
        ),
        Mistake(
            "acids",
            "acids far beyond the usual",
            "share of the carbon",
            *_mostly_small(0.04, 0.5, 0.1),
            "measure the acid (pH, titration)",
            truly={"acids_share": _same},
        ),
        Mistake(
            "glycerol",
            "glycerol far beyond the usual",
            "mmol for each gram of yeast",
            *_even(14.0, 60.0),
            "have the glycerol measured",
            truly={"glycerol_per_yeast": _same},
        ),
    ]
    if gas:
        out += [
            Mistake(
                "third",
                "a third of a mole of CO2 taken for each mole of sugar, instead of two",
                "true over read",
                *_fixed(6.0),
                "look at the sum: two of six carbons leave",
                reads=gas,
            ),
            Mistake(
                "gas misread",
                "gas misread (size of a bubble, a scale mark, a unit)",
                "true over read",
                np.exp(np.linspace(-1.0, 1.0, NODES)),
                _bell(np.linspace(-1.0, 1.0, NODES), 0.25),
                "measure a known volume by the same way",
                reads=gas,
            ),
        ]
    if "gas" in kinds:
        out.append(
            Mistake(
                "leak",
                "gas lost by a leak",
                "share lost",
                *_mostly_small(0.03, 0.9, 0.25),
                "test the joints with soapy water"
                if kinds & {"vessel weight", "jar weight"}
                else "weigh the jar as well: a leak hides from no scale",
                truly={"leak_share": _same},
            )
        )
    if kinds & {"ethanol content", "ethanol"}:
        drink: dict[str, Size] = {kind: _same for kind in ("ethanol content", "ethanol") if kind in kinds}
        dilutions = (2.0, 4.0, 5.0, 10.0, 20.0, 50.0, 100.0)
        out += [
            Mistake(
                "by volume",
                "% by volume used as % by mass",
                "true over read",
                *_fixed(BY_MASS),
                "look at the unit of the sum",
                reads=drink,
            ),
            Mistake(
                "by mass",
                "standards made by mass and labelled by volume",
                "true over read",
                *_fixed(1 / BY_MASS),
                "make one standard anew, by volume",
                reads=drink,
            ),
            Mistake(
                "weak standards",
                "standards weaker than their label",
                "true over labelled",
                *_even(0.6, 0.99),
                "make one standard anew",
                reads=drink,
            ),
            Mistake(
                "dilution",
                "a dilution forgotten or counted twice (or “1 + 1” read as undiluted)",
                "true over read",
                *_fixed(*(1 / k for k in dilutions), *dilutions),
                "read a sample at two dilutions",
                reads=drink,
            ),
            Mistake(
                "evaporated",
                "alcohol lost before it was read",
                "share lost",
                *_mostly_small(0.03, 0.6, 0.15),
                "read a sample that was kept closed",
                truly={"stripped_share": _same},
            ),
        ]
    if "paste" in kinds:
        out.append(
            Mistake(
                "wet paste",
                "paste weighed before it was dry",
                "dry share",
                *_even(0.2, 0.97),
                "dry it again until two weights agree",
                reads={"paste": _same},
            )
        )
    if kinds & {"extract", "debris"}:
        parts: dict[str, Size] = {kind: _same for kind in ("extract", "debris") if kind in kinds}
        out.append(
            Mistake(
                "wet parts",
                "extract or debris weighed before it was dry",
                "dry share",
                *_even(0.2, 0.97),
                "dry it again until two weights agree",
                reads=parts,
            )
        )
    if kinds & {"paste", "extract", "debris"}:
        out.append(
            Mistake(
                "more harvest lost",
                "more lost at harvest than told",
                "share kept",
                *_even(0.2, 0.85),
                "weigh what stayed in the jar",
                truly={"harvest_share": _same},
                told=("harvest share",),
            )
        )
        if nominal(found.recipe.feed.non_yeast_solids_g) > 0.02 * sugar:
            out.append(
                Mistake(
                    "solids",
                    "other solids counted as yeast",
                    "share of the feed's solids",
                    *_even(0.2, 1.0),
                    "wash the paste once more",
                    truly={"carried_share": _same},
                )
            )
        if not found.recipe.inoculum_told:
            out.append(
                Mistake(
                    "inoculum",
                    "yeast put in and not told",
                    "grams dry",
                    *_even(0.04 * sugar, 0.3 * sugar),
                    "say how much yeast was put in",
                    truly={"inoculum": _same},
                )
            )
    if "washing loss" in kinds:
        out.append(
            Mistake(
                "washed out",
                "more lost in washing than told",
                "share lost",
                *_even(0.0, 0.9),
                "weigh the dry washings again" if "washings" in kinds else "dry the washings and weigh them",
                truly={"washed_out": _same},
                told=("washing loss",),
            )
        )
    if weighed:
        out.append(
            Mistake(
                "scale",
                "a scale that reads a share too much or too little",
                "true over read",
                *_scale(),
                "weigh a full litre of water",
                reads=weighed,
                recipe={"sugar_fed": _same, "inoculum": _same, "feed_solids": _same},
            )
        )
    return tuple(out)


def _bell(x: Floats, spread: float) -> Floats:
    shares = np.exp(-0.5 * (x / spread) ** 2)
    found: Floats = shares / shares.sum()
    return found


def _scale() -> tuple[Floats, Floats]:
    sizes = np.linspace(0.75, 1.3, NODES)
    return sizes, _bell(sizes - 1.0, 0.1)
