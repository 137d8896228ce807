"""A run as the batch sees it: its recipe, its readings, the estimate that they give, and how far it has come."""

from contextlib import suppress
from dataclasses import replace
from typing import Final

import numpy as np

from fermkit.basis.errors import InputError
from fermkit.basis.written import Number, nominal, uncertainty
from fermkit.batch import readings as batch
from fermkit.batch.estimate import AddsUp, Estimate, Gains, estimate
from fermkit.batch.known import Recipe, surroundings
from fermkit.batch.own_sums import OwnSums, check_sums
from fermkit.batch.progress import Progress, progress
from fermkit.batch.readings import Reading
from fermkit.batch.respired import Respired, respired
from fermkit.batch.suspects import Limits, Suspects, detection_limits, suspects
from fermkit.gas.curve import CO2_G_PER_MOL, MOST_DELAY_H, GasCurve, RouteComparison, late_rate
from fermkit.matter.feed import Feed
from fermkit.matter.usual import ON_THE_WALLS, STORE, Usual
from fermkit.run.alcohol import density_of, ethanol_made_g, refraction_of
from fermkit.run.autolysed import dissolved_g
from fermkit.run.closed_vessel import headspace_L
from fermkit.run.feeding import sugar_left_g
from fermkit.run.harvested import BEFORE_WASHING, carried_g, harvest_of, poured_off_g, weighings_of
from fermkit.run.records import Run
from fermkit.run.sugar_in_time import SugarCourse, left_at_end
from fermkit.run.surroundings import barometer_bar, liquid_C
from fermkit.run.washed import washing_of
from fermkit.run.yeast_seen import YeastAt, yeast_readings
from fermkit.vessel.container import Vessel

LEAST_SOLIDS: Final = 0.02
"""Solids of a feed, over its sugar, below which none are looked for in the paste [g/g]: judgement, no source."""

ROUTES: Final = {
    "volume": "collected volume", "flow": "flow rate", "bubbles": "bubble count", "weight": "vessel weight",
    "pressure": "pressure", "room": "room air",
}  # fmt: skip
"""A gas curve's kind, and what the batch calls it."""


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


def readings_of(
    run: Run, fed: Feed, pct_vol: Number | None, released: tuple[GasCurve, ...], seen: tuple[YeastAt, ...] = (),
    course: SugarCourse | None = None, dissolved: tuple[Reading, ...] = (),
) -> tuple[Reading, ...]:  # fmt: skip
    """Everything that was read of the batch, each once."""
    found = []
    if pct_vol is not None and run.ledger.entries:  # samples took alcohol along
        found.append(batch.ethanol_made(_own_u(ethanol_made_g(run, pct_vol, released[0] if released else None))))
    elif pct_vol is not None:
        found.append(batch.ethanol_content(_own_u(pct_vol)))
    if run.ethanol.content_pct_vol is not None and run.ethanol.content_pct_vol is not pct_vol:
        found.append(batch.ethanol_content(_own_u(run.ethanol.content_pct_vol)))
    found += [batch.gas(ROUTES[curve.kind], _own_u(curve.total() * CO2_G_PER_MOL)) for curve in released]
    for of, kind in ((density_of, batch.density_fall), (refraction_of, batch.refraction_fall)):
        mixed = of(run, fed, pct_vol, course)
        if mixed is not None:
            fall = {name: -c for name, c in mixed.coefficients.items()}  # the sum of a fall is positive
            found.append(kind(fall, _own_u(-mixed.value)))
    left = left_at_end(run, course)
    if left is not None:
        if run.ledger.entries and run.vessel.liquid_L is not None:  # samples took sugar along
            unused = sugar_left_g(run, fed, left, released[0] if released else None)
            left = unused / run.vessel.liquid_L
        found.append(batch.residual_sugar(_own_u(left)))
    found += [*yeast_readings(run, seen, released), *dissolved]
    return (*found, *_harvested(run), *_poured_off(run, fed, pct_vol))


def _poured_off(run: Run, fed: Feed, pct_vol: Number | None) -> list[Reading]:
    """What settling and washing took, and what the paste's liquid kept; told shares go before it."""
    harvest = washed = None
    with suppress(InputError):  # the page on the washing says what is wrong; the estimate goes on without it
        harvest = harvest_of(run) if "washing" in run.tables else None
        washed = None if harvest is None else washing_of(run, fed, harvest, pct_vol)
    if harvest is None or washed is None:
        return []
    out = []
    carried = carried_g(run, fed, harvest, washed)
    has_solids = nominal(fed.non_yeast_solids_g) > LEAST_SOLIDS * nominal(fed.hexose_g)
    if run.harvest.carried_solids is None and has_solids:
        out.append(batch.carried(_own_u(carried)))
    lost, there = poured_off_g(run, washed), _still_there(run)
    if lost is not None and run.harvest.share_harvested is None:
        out.append(batch.poured_off(lost + ON_THE_WALLS.value() * nominal(harvest.product_dry_g), there))
    if run.harvest.paste_weighed == BEFORE_WASHING and washed.washes and washed.washed_away_g is not None:
        gone = washed.carried_before_g - washed.carried_g
        out.append(batch.washings(_own_u(washed.washed_away_g + gone)))
    return out


def _still_there(run: Run) -> float:
    """Share of the liquid that samples and spills left [-]."""
    return nominal(run.ledger.kept)


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
    dissolved = None if "extract" in dry or told["extract"] is not None else dissolved_g(run)
    out = [] if dissolved is None else [batch.extract(_own_u(dissolved / opened))]
    for name, kind in (("paste", batch.paste), ("extract", batch.extract), ("debris", batch.debris)):
        grams = dry.get(name, told[name])
        if grams is not None and name == "extract" and run.harvest.salt_g is not None:
            grams = grams - run.harvest.salt_g
        if grams is not None:
            out.append(kind(_own_u(grams / (1.0 if name == "paste" else opened)), wet.get(name)))
    if run.harvest.share_harvested is not None:
        there = run.harvest.share_harvested * run.ledger.kept  # samples took their yeast along
        out.append(batch.harvest_share(_own_u(there)))
    if run.harvest.carried_solids is not None:
        out.append(batch.carried_share(_own_u(run.harvest.carried_solids)))
    return out


def estimate_of(
    run: Run, fed: Feed, pct_vol: Number | None, released: tuple[GasCurve, ...], vessel: Vessel | None,
    seen: tuple[YeastAt, ...] = (), course: SugarCourse | None = None,
    dissolved: tuple[Reading, ...] = (),
) -> Estimate:  # fmt: skip
    """The best answer for every quantity of the batch, from whatever was measured, and be it the recipe alone."""
    read = readings_of(run, fed, pct_vol, released, seen or (), course, dissolved or ())
    recipe = recipe_of(run, fed)
    if not run.state:
        recipe = replace(recipe, better=_held_by_rate(recipe, released))
    return estimate(recipe, read, vessel=vessel, state=run.state or _state_by(released))


def _held_by_rate(recipe: Recipe, released: tuple[GasCurve, ...]) -> dict[str, Number]:
    """How much CO2 the liquid still holds, where its gas slows: no more beyond its balance than comes while it stays.

    Nothing where the gas has stopped, or cannot leave: the usual ranges say it.
    """
    if recipe.liquid_L is None or recipe.closed in ("vented", "closed") or not released or released[0].has_stopped:
        return {}
    rest, running = STORE["stopped"], STORE["running"]
    full = surroundings(recipe).per_L_liquid * nominal(recipe.liquid_L)
    beyond = MOST_DELAY_H * late_rate(released[0].time_h, released[0].co2_mol) / full
    high = float(np.clip(1.0 + beyond, rest.high, running.high))
    return {"store": Usual(running.name, rest.low, high, "", running.source).value()}


def _state_by(released: tuple[GasCurve, ...]) -> str:
    """Whether gas still comes, by its first route: it says how much CO2 the liquid may still hold."""
    return ("stopped" if released[0].has_stopped else "running") if released else "not stated"


def progress_of(run: Run, fed: Feed, gas: tuple[GasCurve, ...]) -> Progress:
    """How the run stands, from its gas so far and what its sugar can give."""
    all_used = estimate(recipe_of(run, fed), state="used up")["co2"]
    u = float(np.median(gas[0].u_reading_mol)) + gas[0].u_walk_mol + 1e-9
    expected = (all_used.low, all_used.value, all_used.high)
    return progress(gas[0].time_h, gas[0].co2_mol * CO2_G_PER_MOL, u * CO2_G_PER_MOL, expected)


def respired_of(run: Run, found: Estimate, released: tuple[GasCurve, ...] = ()) -> Respired | None:
    """With an air pump, what was respired and what fermented; None without one. Air is taken to have run all along."""
    if run.conditions.aeration != "air pump":
        return None
    ends = [float(curve.time_h[-1] - curve.time_h[0]) for curve in released or ()]
    ends += [float(run.tables[name]["time_h"].max()) for name in ("samples", "counts", "turbidity", "temperature")
             if name in run.tables and "time_h" in run.tables[name]]  # fmt: skip
    known = [hours for hours in ends if hours > 0]
    return respired(found, max(known) if known else None)


def own_sums_of(run: Run, found: Estimate) -> OwnSums | None:
    """What the person worked out, held against the estimate; None where nothing was."""
    mine = run.my_sums
    told = {
        "co2": mine.co2_g, "ethanol": mine.ethanol_g, "yeast": mine.yeast_g, "yeast_at_most": mine.yeast_at_most_g,
        "pressure": mine.pressure_bar, "yield": mine.yield_,
    }  # fmt: skip
    given = {key: value for key, value in told.items() if value is not None}
    return check_sums(found, given) if given else None


def adds_up_of(found: Estimate) -> AddsUp | None:
    """Whether all readings can belong to one batch; None where nothing was read."""
    return found.adds_up if found.readings else None


def suspects_of(found: Estimate) -> Suspects | None:
    """Which mistakes could have made the readings what they are; None where nothing was read."""
    return suspects(found) if found.readings else None


def blind_to(found: Estimate) -> Limits | None:
    """The smallest mistakes that the readings would have shown; None where nothing was read."""
    return detection_limits(found) if found.readings else None


def next_of(found: Estimate) -> Gains:
    """What each reading not yet taken would narrow, the most useful first."""
    return found.measure_next()


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
