"""The streams of a run as measured, and the balance that they are held to."""

from collections.abc import Mapping
from typing import Any

from uncertainties import ufloat

from fermkit.balance.account import Balance
from fermkit.balance.streams import USUAL_ASH, LinearMeasurement
from fermkit.basis.budget import Act
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, OXYGEN_IN_AIR, ZERO_CELSIUS_K
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Number, nominal, uncertainty
from fermkit.batch.estimate import Estimate
from fermkit.batch.known import nitrogen_source_of
from fermkit.gas.curve import CO2_G_PER_MOL, GasCurve
from fermkit.harvest.recovery import NetYeast
from fermkit.matter import usual
from fermkit.matter.composition import compound, molar_mass
from fermkit.matter.feed import Feed
from fermkit.matter.properties import o2_solubility
from fermkit.run.alcohol import density_of, ethanol_made_g, refraction_of
from fermkit.run.closed_vessel import headspace_L
from fermkit.run.feeding import sugar_left_g
from fermkit.run.records import Run
from fermkit.run.sugar_in_time import SugarCourse
from fermkit.run.surroundings import barometer_bar, liquid_C

_BALANCED = ("hexose", "ethanol", "CO2", "yeast")


def amounts_of(
    run: Run,
    fed: Feed,
    left_g_L: Number | None,
    pct_vol: Number | None,
    gas: tuple[GasCurve, ...],
    yeast: NetYeast | None,
    estimate: Estimate | None,
) -> dict[str, Number]:
    """Grams used (negative) and made, as measured; without what cannot be."""
    first = gas[0] if gas else None
    amounts: dict[str, Number] = {"hexose": -(fed.hexose_g - sugar_left_g(run, fed, left_g_L, first))}
    if pct_vol is not None:
        amounts["ethanol"] = ethanol_made_g(run, pct_vol, first)
    if gas:
        amounts["CO2"] = gas[0].total() * CO2_G_PER_MOL
    if yeast is not None:
        amounts["yeast"] = yeast.net_g
    cannot_be = {key for reading in estimate.left_out for key in reading.of} if estimate is not None else set()
    return {name: grams for name, grams in amounts.items() if name.lower() not in cannot_be}


def balance_of(
    run: Run,
    fed: Feed,
    pct_vol: Number | None,
    amounts: Mapping[str, Number],
    gas: tuple[GasCurve, ...],
    course: SugarCourse | None = None,
) -> Balance | None:
    """The four streams; a second route to the gas, a density and a refraction are further measurements of them."""
    known = {name: amount for name, amount in amounts.items() if uncertainty(amount) > 0}
    if "CO2" in known:  # as read by the first route, whichever the yields follow: a leak is looked for in it
        known["CO2"] = gas[0].total() * CO2_G_PER_MOL
    if len(known) < 3 or "hexose" not in known:
        return None
    further = [
        LinearMeasurement(f"CO2 by {curve.kind}", {"CO2": 1.0}, curve.total() * CO2_G_PER_MOL)
        for curve in gas[1:]
        if "CO2" in known
    ]
    stated = run.ethanol.content_pct_vol
    if stated is not None and stated is not pct_vol and "ethanol" in known:
        made = ethanol_made_g(run, stated, gas[0] if gas else None)
        further.append(LinearMeasurement("ethanol as measured elsewhere", {"ethanol": 1.0}, made))
    for of, words in ((density_of, "fall in density"), (refraction_of, "fall in °Brix")):
        mixed = of(run, fed, pct_vol, course)
        if mixed is not None:
            further.append(LinearMeasurement(words, mixed.coefficients, mixed.value))
    return Balance(
        {name: known.get(name) for name in (*_BALANCED, "glycerol")},
        priors=_byproducts(run, fed),
        aerated=run.conditions.aeration == "air pump",
        extra=further,
        ash=_ash(run),
    )


def _byproducts(run: Run, fed: Feed) -> dict[str, Any]:
    """What to assume of glycerol, acids and air: the nitrogen of a feed comes as ammonium, amino acids, or both.

    As wide as intervals need it, since the yields rest on these amounts.
    """
    source = nitrogen_source_of(fed)
    byproducts = {
        "glycerol": usual.GLYCEROL["short" if source == "short" else "mixture"].value(usual.FOR_INTERVALS),
        "acids": usual.ACIDS.value(usual.FOR_INTERVALS),
        "electrons": usual.YEAST_ELECTRONS.value() - usual.YEAST_ELECTRONS.middle,  # about those of the formula
    }
    return byproducts | ({} if None in (run.vessel.total_L, run.vessel.liquid_L) else {"oxygen": -_air_of_vessel(run)})


def _ash(run: Run) -> Number:
    """Ash of the yeast, with the doubt about how much carbon the rest of it holds."""
    usual_ash = ufloat(*USUAL_ASH, tag=Act("yeast ash", "the ash of the yeast"))
    ash, per_carbon = run.harvest.ash or usual_ash, usual.YEAST_PER_CARBON
    return 1.0 - (1.0 - ash) * per_carbon.middle / per_carbon.value()


def _air_of_vessel(run: Run) -> Number:
    """Oxygen that the yeast took of the air in the vessel [g], as likely one as another up to the most.

    The most is all of it in a closed vessel, half of it where the gas takes the air along (judgement, no source).
    """
    warm = nominal(liquid_C(run))
    bar = OXYGEN_IN_AIR * nominal(barometer_bar(run))
    above = nominal(headspace_L(run)) * bar / (L_BAR_GAS_CONSTANT * (warm + ZERO_CELSIUS_K))
    within = nominal(run.vessel.liquid_L or 0.0) * float(o2_solubility(warm, bar))
    kept = 1.0 if run.vessel.closed in ("closed", "vented") else 0.5
    most = kept * (above + within) * molar_mass("O2")
    return rectangle(0.0, most, Act("air in the vessel", "oxygen of the air in the vessel"))


def carbon_per_g(name: str) -> float:
    """Moles of carbon in a gram of a stream; yeast with its usual ash."""
    thing = compound(name)
    share = 1 - USUAL_ASH[0] if name == "yeast" else 1.0
    return float(share * thing.carbon / thing.molar_mass)
