"""The streams of a run as measured, and the balance that they are held to."""

from collections.abc import Mapping
from typing import Any, Final

from uncertainties import ufloat

from fermkit.balance.account import Balance
from fermkit.balance.byproducts import ACIDS, GLYCEROL, USUAL_ACIDS, USUAL_GLYCEROL
from fermkit.balance.streams import USUAL_ASH, LinearMeasurement
from fermkit.basis.budget import Act
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, OXYGEN_IN_AIR, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import nominal, uncertainty
from fermkit.gas.curve import CO2_G_PER_MOL, GasCurve
from fermkit.harvest.recovery import NetYeast, carried_solids, net_yeast
from fermkit.matter.composition import compound, molar_mass
from fermkit.matter.feed import Feed, YeastLimits
from fermkit.matter.properties import o2_solubility
from fermkit.run import harvested, steps
from fermkit.run.records import Run

_BALANCED = ("hexose", "ethanol", "CO2", "yeast")


def yeast_of(run: Run, fed: Feed, harvest: harvested.Harvest, gas: GasCurve | None) -> NetYeast:
    """Net dry yeast: what the paste holds, less feed solids carried along, less the inoculum.

    Samples and spills took yeast with them; their share is added back, the yeast growing in step with the gas.
    """
    product = harvest.product_dry_g / run.harvest.get("share_harvested", 1.0)
    first = min(1.0, nominal(fed.inoculum_g) / nominal(product))
    litres = run.ledger.amount(lambda time: first + (1 - first) * steps.made_by(gas, time), float("inf"))
    if run.ledger.entries:
        product = product * (litres / run.ledger.volume_L(float("inf")))
    share = run.harvest.get("carried_solids")
    if share is None:
        broth_g = run.ledger.volume_L(float("inf")) * 1000.0
        carried = carried_solids(fed.non_yeast_solids_g, broth_g, sum(item.water_g for item in harvest.items.values()))
    else:
        carried = fed.non_yeast_solids_g * share
    return net_yeast(product, carried, fed.inoculum_g)


def amounts_of(
    run: Run, fed: Feed, pct_vol: Any, gas: tuple[GasCurve, ...], yeast: NetYeast | None, gaps: list[str]
) -> dict[str, Any]:
    """Grams used (negative) and made, as measured."""
    left = run.residual_sugar.get("value_g_L")
    if left is None:
        gaps.append("Sugar left over: not measured; all sugar is taken as used.")
    amounts = {"hexose": -(fed.hexose_g - steps.sugar_left_g(run, fed, left, gas[0] if gas else None))}
    if pct_vol is not None:
        amounts["ethanol"] = steps.ethanol_made_g(run, pct_vol, gas[0] if gas else None)
    if gas:
        amounts["CO2"] = gas[0].total() * CO2_G_PER_MOL
    if yeast is not None:
        amounts["yeast"] = yeast.net_g
    return amounts


STARVED_GLYCEROL: Final = (5.0, 1.5)
"""Glycerol of yeast that may have run out of nitrogen [mmol per g dry yeast]: part of what it then gains is stored
carbohydrate, which brings no glycerol (judgement, no source; growing yeast makes 5 to 7.5, see `balance`)."""


def balance_of(
    run: Run,
    fed: Feed,
    limits: YeastLimits | None,
    pct_vol: Any,
    amounts: Mapping[str, Any],
    gas: tuple[GasCurve, ...],
) -> Balance | None:
    """The four streams; a second route to the gas and a density are further measurements of them."""
    known = {name: amount for name, amount in amounts.items() if uncertainty(amount) > 0}
    if len(known) < 3 or "hexose" not in known:
        return None
    further = [
        LinearMeasurement(f"CO2 by {curve.kind}", {"CO2": 1.0}, curve.total() * CO2_G_PER_MOL)
        for curve in gas[1:]
        if "CO2" in known
    ]
    density = steps.density_of(run, fed, pct_vol)
    if density is not None:
        further.append(LinearMeasurement("fall in density", density.coefficients, density.value))
    return Balance(
        {name: known.get(name) for name in (*_BALANCED, "glycerol")},
        priors=_byproducts(run, limits, amounts),
        aerated=run.conditions.get("aeration", "none") == "air pump",
        extra=further,
    )


def _byproducts(run: Run, limits: YeastLimits | None, amounts: Mapping[str, Any]) -> dict[str, Any]:
    """What to assume of glycerol, acids and air: less glycerol where nitrogen may have run out."""
    ample = limits is None or "yeast" not in amounts or nominal(amounts["yeast"]) < nominal(limits.nitrogen_g[0])
    usual = {
        "glycerol": ufloat(*(USUAL_GLYCEROL if ample else STARVED_GLYCEROL), tag=GLYCEROL),
        "acids": ufloat(*USUAL_ACIDS, tag=ACIDS),
    }
    return usual | ({"oxygen": -_air_of_vessel(run)} if {"total_L", "liquid_L"} <= run.vessel.keys() else {})


def _air_of_vessel(run: Run) -> Any:
    """Oxygen that the yeast took of the air in the vessel [g], as likely one as another up to the most.

    The most is all of it in a closed vessel, half of it where the gas takes the air along (judgement, no source).
    """
    warm = nominal(run.conditions.get("temperature_C", steps.ROOM_C))
    bar = OXYGEN_IN_AIR * nominal(run.conditions.get("barometer_bar", STANDARD_ATMOSPHERE_BAR))
    above = nominal(steps.headspace_L(run)) * bar / (L_BAR_GAS_CONSTANT * (warm + ZERO_CELSIUS_K))
    within = nominal(run.vessel["liquid_L"]) * float(o2_solubility(warm, bar))
    kept = 1.0 if run.vessel.get("closed") in ("closed", "vented") else 0.5
    most = kept * (above + within) * molar_mass("O2")
    return rectangle(0.0, most, Act("air in the vessel", "oxygen of the air in the vessel"))


def carbon_per_g(name: str) -> float:
    """Moles of carbon in a gram of a stream; yeast with its usual ash."""
    thing = compound(name)
    share = 1 - USUAL_ASH[0] if name == "yeast" else 1.0
    return float(share * thing.carbon / thing.molar_mass)
