"""What is right: a group's answers as its readings give them, as they are once mended, and the slips that people make.

One rule for every answer: right is what the group's own readings give, within twice their standard uncertainty, or
within what a ruler on the printed curve can tell where the answer is drawn.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from fermkit.balance.streams import USUAL_ASH
from fermkit.basis.written import nominal, uncertainty
from fermkit.matter.composition import compound, molar_mass
from fermkit.teach.mishaps import ALCOHOL_G_ML, RULES

if TYPE_CHECKING:
    from fermkit.run.analysis import Analysis
    from fermkit.run.records import Run

NEEDED: Final = (
    "feed", "calibration", "drift", "sample_rows", "samples", "ethanol_pct_vol", "released", "gas_by_route", "gas",
    "read", "harvest", "yeast", "sugar_left_g_L", "amounts",
)  # fmt: skip
"""The results of an analysis that a class asks for; the rest would take four fifths of the time."""

LEAST: Final = 0.015
"""An answer within 1.5 % is right, however well it could be known: rounding and pocket calculators on the way."""

DRAWN: Final = {"largest rate": (0.06, 0.0), "lag": (0.0, 0.5)}
"""What a ruler on the printed curve can tell, as a share and in the unit [1, h]: half a square of the paper at both
ends of the line (worked out in tests/benchmarks/workshop_class.py)."""

FOLLOWS: Final = 0.015
"""An answer follows from a group's own earlier ones if it is within this share of what they give."""

MISTAKE, SETTLED, MENDED_POINTS, MENDED_CARBON = 4, 2, 4, 2
"""Points of the hunt: twelve against ten for the first numbers, since finding and mending is worth the most."""

SCHEME: Final = (
    ("each of the nine numbers as read", "1", "within twice the ± that the group's own readings leave, 1.5 % at least; "
     "a drawn rate within 6 %, a drawn lag within 0.5 h"),
    ("a number that follows from an earlier one", "1", "right by the group's own earlier number, where that earned"),
    ("a known slip", "½", "it is named, with where to look"),
    ("a sensible ±", "1", "of the sample, or of the gas: between a third and four times what the readings leave"),
    ("the mistake named", f"{MISTAKE}", "none is an answer, too"),
    ("what settled it", f"{SETTLED}", "a measurement that tells this mistake from the others"),
    ("the number that changes, mended", f"{MENDED_POINTS}",
     "beside the first one, which stays right; where the sheet was wrong or nothing was: no reading was altered"),
    ("the carbon found again, mended", f"{MENDED_CARBON}", "from the group's own mended numbers"),
    ("in our words", "–", "for the teacher to read"),
)  # fmt: skip

CO2, HEXOSE = molar_mass("CO2"), molar_mass("hexose")
CARBON: Final = {name: float(compound(name).mass_fraction("C")) for name in ("hexose", "ethanol")} | {
    "yeast": float(compound("yeast").mass_fraction("C")) * (1 - USUAL_ASH[0])
}
"""Grams of carbon in a gram; dry yeast is weighed with its ash, as the balance takes it."""


def class_results(run: "Run", *also: str) -> "Analysis":
    """A run analysed as far as a class asks, and what is named besides."""
    from fermkit.run.analysis import analyse  # not needed to mark, and it takes most of the time that marking takes

    return analyse(run, only=(*NEEDED, *also))


def right_answers(analysis: "Analysis") -> dict[str, dict[str, float]]:
    """What a group's readings give when they are worked out rightly: value, u and tolerance of each answer.

    What the readings cannot tell is left out.
    """
    amounts, found = analysis.amounts, {}
    if analysis.gas:
        found["gas made"] = analysis.gas[0].total()
    if analysis.read is not None:
        found |= {"largest rate": analysis.read.max_rate * 1000, "lag": analysis.read.lag_h}
    if "hexose" in amounts:
        found |= {"sugar": -amounts["hexose"], "CO2 expected": -amounts["hexose"] * 2 * CO2 / HEXOSE}
    if analysis.ethanol_pct_vol is not None:
        found["sample"] = analysis.ethanol_pct_vol
    found |= {asked: amounts[name] for asked, name in (("alcohol", "ethanol"), ("yeast", "yeast")) if name in amounts}
    out = {name: _within(name, nominal(x), uncertainty(x), _between(analysis, name)) for name, x in found.items()}
    if (carbon := carbon_found({name: one["value"] for name, one in out.items()})) is not None:
        shares = [out[name]["u"] / out[name]["value"] for name in ("sugar", "alcohol", "gas made", "yeast")]
        out["carbon found"] = _within("carbon found", carbon, carbon * max(shares), 0.0)
    return {name: one for name, one in out.items() if np.isfinite(one["value"]) and np.isfinite(one["u"])}


def _within(name: str, value: float, u: float, apart: float) -> dict[str, float]:
    share, fixed = DRAWN.get(name, (LEAST, 0.0))
    half = max(2 * u, share * abs(value), fixed, apart * abs(value))
    return {"value": value, "u": u, "tolerance": half}


def _between(analysis: "Analysis", name: str) -> float:
    """Half of what the dilutions of the last sample are apart, as a share: either of them is a fair reading of it."""
    if name not in ("sample", "alcohol") or not analysis.samples:
        return 0.0
    read = [nominal(reading.value) for reading in analysis.samples[-1].readings]
    middle = nominal(analysis.ethanol_pct_vol)
    return max((abs(one - middle) / middle for one in read), default=0.0) if middle > 0 else 0.0


def carbon_found(amounts: Mapping[str, float]) -> float | None:
    """Carbon of alcohol [g], gas [mol] and yeast [g], in % of that of the sugar [g]; None where one is missing.

    Examples
    --------
    >>> round(carbon_found({"sugar": 120.0, "alcohol": 50.0, "gas made": 1.15, "yeast": 8.0}), 1)
    90.7
    """
    if not {"sugar", "alcohol", "gas made", "yeast"} <= set(amounts) or amounts["sugar"] <= 0:
        return None
    grams = CARBON["ethanol"] * amounts["alcohol"] + 12.011 * amounts["gas made"] + CARBON["yeast"] * amounts["yeast"]
    return float(100 * grams / (CARBON["hexose"] * amounts["sugar"]))


INPUTS: Final = {
    "CO2 expected": ("sugar",),
    "alcohol": ("sample",),
    "carbon found": ("sugar", "alcohol", "gas made", "yeast"),
}
"""The earlier answers that a later one is worked from."""


def followed(name: str, own: Mapping[str, float], litres: float) -> float | None:
    """What a later answer must be by a group's own earlier ones; None where they are missing or it needs none."""
    if name not in INPUTS or not set(INPUTS[name]) <= set(own):
        return None
    if name == "carbon found":
        return carbon_found(own)
    return own["sugar"] * 2 * CO2 / HEXOSE if name == "CO2 expected" else own["sample"] * 10 * ALCOHOL_G_ML * litres


@dataclass(frozen=True)
class Slip:
    """A slip that people make: of which answer, what it is, where to look, and what it gives."""

    of: str
    says: str
    look: str
    gives: Callable[[Mapping[str, float]], float]


def _slips() -> tuple[Slip, ...]:
    """The slips of each question; ``k`` holds the right answers by name and what is stated of the batch."""
    one_sugar, one_alcohol = RULES["sugar"][1], RULES["alcohol"][1]
    return (
        Slip("gas made", "the CO2 that the sugar should give, not what was measured", "the end of the gas curve",
             lambda k: k["CO2 expected"] / CO2),
        Slip("gas made", "grams of CO2, not moles", "the unit asked for: 44.01 g are a mole",
             lambda k: k["gas made"] * CO2),
        Slip("gas made", "litres of gas, not moles", "the gas law: litres of moist gas to moles",
             lambda k: k["collected_mL"] / 1000),
        Slip("gas made", "22.4 L a mole, and moist gas taken as dry", "the collector's temperature and the vapour",
             lambda k: k["collected_mL"] / 22414),
        Slip("largest rate", "moles for millimoles", "the unit asked for", lambda k: k["largest rate"] / 1000),
        Slip("largest rate", "a rate each minute", "the unit asked for", lambda k: k["largest rate"] / 60),
        Slip("largest rate", "the mean rate, not the largest", "the steepest part of the curve",
             lambda k: 1000 * k["gas made"] / k["hours"]),
        Slip("lag", "minutes, not hours", "the unit asked for", lambda k: 60 * k["lag"]),
        Slip("lag", "where the curve is steepest, not where its line meets the start", "the foot of your line",
             lambda k: k["steepest_h"]),
        Slip("sugar", "all of the molasses taken as sugar", "the analysis of the molasses", lambda k: k["molasses_g"]),
        Slip("sugar", "sucrose counted as if it were glucose", "the water that splits sucrose: 342.3 g give 360.3 g",
             lambda k: k["sugar"] / one_sugar),
        Slip("CO2 expected", "a third of a mole of CO2 for each mole of sugar", "C6H12O6: two of its six carbons leave",
             lambda k: k["CO2 expected"] / 6),
        Slip("CO2 expected", "one mole of CO2 for each mole of sugar", "C6H12O6 → 2 C2H5OH + 2 CO2",
             lambda k: k["CO2 expected"] / 2),
        Slip("CO2 expected", "six moles of CO2 for each mole of sugar: burnt, not fermented",
             "C6H12O6 → 2 C2H5OH + 2 CO2", lambda k: k["CO2 expected"] * 3),
        Slip("CO2 expected", "what was measured, not what the sugar should give", "the equation",
             lambda k: k["gas made"] * CO2),
        Slip("sample", "the dilution left out", "samples: how often it was diluted", lambda k: k["sample"] / k["weak"]),
        Slip("sample", "the dilution left out", "samples: how often it was diluted",
             lambda k: k["sample"] / k["strong"]),
        Slip("sample", "the wrong one of the two dilutions", "which row the volts stand in", lambda k: k["sample"] * 2),
        Slip("sample", "the wrong one of the two dilutions", "which row the volts stand in", lambda k: k["sample"] / 2),
        Slip("alcohol", "one litre, not all of the liquid", "litres in the jar", lambda k: k["alcohol"] / k["litres"]),
        Slip("alcohol", "millilitres taken as grams", "the density of alcohol, 0.789 g/mL",
             lambda k: k["alcohol"] * 10 / one_alcohol),
        Slip("yeast", "what was put in not taken off", "yeast put in", lambda k: k["yeast"] + k["inoculum_g"]),
        Slip("yeast", "what was put in and the solids of the molasses not taken off", "yeast put in; solids carried",
             lambda k: k["dry_paste_g"]),
        Slip("yeast", "a quarter of the paste, not all of it", "weights: what share was dried",
             lambda k: k["dry_paste_g"] / 4),
        Slip("yeast", "wet paste, not dry yeast", "weights: wet and dry", lambda k: k["wet_paste_g"]),
        Slip("carbon found", "grams counted, not the carbon in them", "the share of carbon in each of the four",
             lambda k: 100 * (k["alcohol"] + k["gas made"] * CO2 + k["yeast"]) / k["sugar"]),
        Slip("carbon found", "a share, not in %", "the unit asked for", lambda k: k["carbon found"] / 100),
    )  # fmt: skip


SLIPS: Final = _slips()
NEAR_A_SLIP: Final = 0.012
"""How near a wrong number must be to a slip's result to be called one, as a share: close, so that few fit by chance."""


def slip_of(name: str, value: float, known: Mapping[str, float]) -> Slip | None:
    """The slip that a wrong number looks like; a guess, since a number may look like one by chance."""
    for slip in SLIPS:
        if slip.of == name:
            try:
                at = slip.gives(known)
            except (KeyError, ZeroDivisionError):
                continue
            if abs(value - at) <= NEAR_A_SLIP * abs(at):
                return slip
    return None


def stated(run: "Run", analysis: "Analysis") -> dict[str, Any]:
    """What is stated of a batch and read in it, for the slips and the student's page."""

    def plain(value: Any) -> float:
        return float(nominal(value))

    known: dict[str, float] = {"litres": plain(run.ledger.volume_L(0.0))}
    molasses = [item for item in run.feed if "molasses" in str(item.ingredient)]
    if molasses:
        known["molasses_g"] = plain(molasses[0].amount_g)
    if analysis.feed is not None:
        known["inoculum_g"] = plain(analysis.feed.inoculum_g)
    if analysis.read is not None:
        known["steepest_h"] = analysis.read.max_rate_at_h
    if "gas" in run.tables and "volume_mL" in run.tables["gas"]:
        gas = run.tables["gas"]
        known |= {"collected_mL": plain(gas["volume_mL"].iloc[-1]), "hours": plain(gas["time_h"].iloc[-1])}
    if "samples" in run.tables and len(set(run.tables["samples"]["dilution"])) == 2:
        known |= dict(zip(("weak", "strong"), sorted(map(float, set(run.tables["samples"]["dilution"])))))
    if analysis.yeast is not None:
        known["dry_paste_g"] = plain(analysis.yeast.product_dry_g)
        weights = run.tables["weights"].set_index("item") if "weights" in run.tables else None
        if weights is not None and "paste" in weights.index:
            known["wet_paste_g"] = plain(weights.loc["paste", "wet_g"] - weights.loc["paste", "tare_g"])
    return known
