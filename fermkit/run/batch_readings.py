"""A run as the batch sees it: its recipe, its readings, its state, and the estimate that they give."""

from dataclasses import replace
from enum import StrEnum
from typing import Any, Final

import numpy as np

from fermkit.basis.written import Number, nominal, uncertainty
from fermkit.batch import readings as batch
from fermkit.batch.estimate import Estimate, Mark, estimate
from fermkit.batch.known import Recipe
from fermkit.batch.readings import Reading
from fermkit.gas.curve import CO2_G_PER_MOL, GasCurve, RouteComparison
from fermkit.matter.feed import Feed
from fermkit.run.alcohol import density_of, ethanol_made_g
from fermkit.run.closed_vessel import headspace_L, vessel_of
from fermkit.run.harvested import weighings_of
from fermkit.run.records import Run
from fermkit.run.surroundings import barometer_bar, liquid_C

ROUTES: Final = {
    "volume": "collected volume", "flow": "flow rate", "bubbles": "bubble count", "weight": "vessel weight",
    "pressure": "pressure",
}  # fmt: skip
"""A gas curve's kind, and what the batch calls it."""

QUIET_H: Final = 12.0
"""How long no gas may come until a run counts as stopped [h] (common practice, no source)."""

MUCH_LEFT: Final = 0.1
"""Share of the sugar that is much: surely more left is stuck, surely less is used up (judgement, no source)."""


class Standing(StrEnum):
    """How far a run has come."""

    NOT_SEEN = "no gas was read, so whether it still ferments is not seen"
    TOLD_RUNNING = "still fermenting, as told"
    RUNNING = "still fermenting"
    STOPPED = "stopped: no more gas comes; whether sugar is left, a sugar test tells"
    STUCK = "probably stuck: no more gas comes, and much of the sugar must be left"
    DONE = "done: the sugar is used up"


def recipe_of(run: Run, fed: Feed) -> Recipe:
    """What was put together and how it stood."""
    sized = run.vessel.total_L is not None and run.vessel.liquid_L is not None
    space = headspace_L(run) if sized else None
    return Recipe(
        feed=fed,
        liquid_L=run.vessel.liquid_L,
        gas_space_L=space if space is not None and nominal(space) > 0 else None,
        temperature_C=liquid_C(run),
        barometer_bar=barometer_bar(run),
        pH=run.conditions.pH,
        closed=run.vessel.closed or "airlock",
        air_pump=run.conditions.aeration == "air pump",
    )


def readings_of(run: Run, fed: Feed, pct_vol: Number | None, released: tuple[GasCurve, ...]) -> tuple[Reading, ...]:
    """Everything that was read of the batch, each once."""
    found = []
    if pct_vol is not None and run.ledger.entries:  # samples took alcohol along
        found.append(batch.ethanol_made(_own_u(ethanol_made_g(run, pct_vol, released[0] if released else None))))
    elif pct_vol is not None:
        found.append(batch.ethanol_content(_own_u(pct_vol)))
    if run.ethanol.content_pct_vol is not None and run.ethanol.content_pct_vol is not pct_vol:
        found.append(batch.ethanol_content(_own_u(run.ethanol.content_pct_vol)))
    found += [_gas(curve) for curve in released]
    density = density_of(run, fed, pct_vol)
    if density is not None:
        fall = {name: -c for name, c in density.coefficients.items()}  # the sum of a fall is positive
        found.append(batch.density_fall(fall, _own_u(-density.value)))
    if run.residual_sugar.value_g_L is not None:
        found.append(batch.residual_sugar(_own_u(run.residual_sugar.value_g_L)))
    return (*found, *_harvested(run))


def _gas(curve: GasCurve) -> Reading:
    """A route to the gas. A curve of what was released counts what fills the gas space: it pushed as much air out."""
    read = batch.gas(ROUTES[curve.kind], _own_u(curve.total() * CO2_G_PER_MOL))
    if curve.counts == "produced":
        return read
    return replace(read, shows=_left_the_liquid if curve.kind == "weight" else _caught)


def _left_the_liquid(s: batch.State) -> Any:
    return s["co2"] - s["co2_in_liquid"]


def _caught(s: batch.State) -> Any:
    return _left_the_liquid(s) * (1.0 - s["leak_share"])


def _own_u(value: Number) -> Number:
    """The value with its ±; bare where it has none, so that the usual one of a kitchen is taken."""
    return value if uncertainty(value) > 0 else nominal(value)


def _harvested(run: Run) -> list[Reading]:
    """Dry paste, extract and debris, from the table or as run.toml gives them; told shares."""
    wet, items = weighings_of(run)
    dry = {name: item.dry_g for name, item in items.items()}
    part = items.get("paste sample")
    opened: Number = 1.0  # share of the paste that became extract and debris
    if "paste" not in dry and "paste" in wet and part is not None:
        dry["paste"] = wet["paste"] * part.solids_fraction
        opened = 1.0 - part.wet_g / wet["paste"]
    told = {"paste": run.harvest.paste_g, "extract": run.harvest.extract_g, "debris": run.harvest.debris_g}
    out = []
    for name, kind in (("paste", batch.paste), ("extract", batch.extract), ("debris", batch.debris)):
        grams = dry.get(name, told[name])
        if grams is not None:
            out.append(kind(_own_u(grams / (1.0 if name == "paste" else opened)), wet.get(name)))
    if run.harvest.share_harvested is not None:
        out.append(batch.harvest_share(_own_u(run.harvest.share_harvested)))
    return out


def estimate_of(run: Run, fed: Feed, pct_vol: Number | None, released: tuple[GasCurve, ...]) -> Estimate:
    """The best answer for every quantity of the batch, from whatever was measured, and be it the recipe alone."""
    state = run.state or "not stated"
    if not run.state and released:
        state = "stopped" if quiet_h(released[0]) >= QUIET_H else "running"
    return estimate(recipe_of(run, fed), readings_of(run, fed, pct_vol, released), vessel=vessel_of(run), state=state)


def standing_of(run: Run, found: Estimate, released: tuple[GasCurve, ...]) -> Standing:
    """How far the run has come: as told, else as the gas shows."""
    left, fed = found["sugar_left"], found["sugar_fed"].value
    if run.state == "used up" or (left.mark is Mark.MEASURED and left.high < MUCH_LEFT * fed):
        return Standing.DONE
    if run.state == "running":
        return Standing.TOLD_RUNNING
    if run.state == "stopped" or (released and quiet_h(released[0]) >= QUIET_H):
        return Standing.STUCK if left.low > MUCH_LEFT * fed else Standing.STOPPED
    return Standing.RUNNING if released else Standing.NOT_SEEN


def quiet_h(gas: GasCurve) -> float:
    """For how long no gas has come at the end [h]: since the last hundredth of it."""
    end = float(gas.co2_mol[-1])
    late = np.flatnonzero(gas.co2_mol < 0.99 * end) if end > 0 else np.arange(gas.time_h.size)
    return float(gas.time_h[-1] - gas.time_h[late[-1]]) if late.size else float(gas.time_h[-1] - gas.time_h[0])


DISAGREE: Final = 0.01
"""Two routes that agree differ so much in one of a hundred runs [-]."""


def supported_first(
    made: tuple[GasCurve, ...], routes: RouteComparison | None, found: Estimate | None
) -> tuple[GasCurve, ...]:
    """The routes to the gas; where they disagree, the one that the rest of the batch supports goes first."""
    if found is None or not disagree(routes):
        return made

    def misfit(curve: GasCurve) -> float:
        grams = curve.total() * CO2_G_PER_MOL
        return abs(nominal(grams) - found["co2"].value) / float(np.hypot(uncertainty(grams), found["co2"].u))

    return tuple(sorted(made, key=misfit))


def disagree(routes: RouteComparison | None) -> bool:
    """Whether any two routes to the gas contradict one another."""
    return routes is not None and min(routes.p, *(pair.p for pair in routes.others), 1.0) < DISAGREE
