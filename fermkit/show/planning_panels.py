"""Panels to think ahead with: how a closure breaks, what a closed vessel comes to, when a paste is dry."""

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from uncertainties import ufloat

from fermkit.basis.checks import numbers
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, in_words, interval, nominal, percent, plus_minus, uncertainty
from fermkit.batch.estimate import estimate
from fermkit.batch.known import Recipe
from fermkit.batch.plan import WAYS, plan_batch
from fermkit.harvest.drying import MODELS, DryingCurve, drying_curve
from fermkit.matter.composition import compound, molar_mass
from fermkit.matter.feed import feed
from fermkit.run.analysis import Analysis
from fermkit.show import plots
from fermkit.show.controls import Choice, Control, Slider
from fermkit.show.guess import Place
from fermkit.show.panel import Panel
from fermkit.vessel.container import Vessel
from fermkit.vessel.gas_space import GasSpace

CO2_G: Final = molar_mass("CO2")
HEXOSE_G: Final = compound("hexose").molar_mass
KITCHEN_BATCH: Final[Mapping[str, float]] = MappingProxyType({
    "beet molasses": 240.0, "diammonium phosphate": 3.0, "active dry yeast": 5.0, "water": 1800.0,
})  # fmt: skip
"""An invented kitchen batch [g]."""

HEXOSE_OF_WHITE_SUGAR: Final = float(nominal(feed({"white sugar": 1.0}).hexose_g))
"""Hexose in a gram of it [g]."""

BEYOND_BAR: Final = 12.0
"""Above this no number is told: the equations end, and so does every vessel of a kitchen [bar gauge]."""
BEYOND_ALL: Final = "TOO MUCH: no kitchen vessel holds that. Do not close it."
HIGHEST_BAR: Final = 10.0
"""Where the pressure pictures end; beyond it no kitchen vessel is to be thought of."""


def start(analysis: Analysis) -> Panel:
    """A run that adds up, and three ways to break it: the dilution, the CO2 per sugar, the gas space.

    Parameters
    ----------
    analysis : Analysis
        Of a run with sugar, ethanol and CO2.

    Returns
    -------
    Panel
        Sliders: ``dilution``, ``co2_per_hexose`` (mol/mol, one third to two), ``headspace_pct``.
    """
    amounts = dict(analysis.amounts)
    missing = [name for name in ("hexose", "ethanol", "CO2") if name not in amounts]
    whole = analysis.balance
    if missing or whole is None:
        raise InputError(
            f"the run has no {' and no '.join(missing) or 'balance'}",
            "sugar, ethanol and CO2, each with its ±",
            "take another run, or see analysis.gaps for what this one lacks",
        )
    sugar = -amounts["hexose"] / HEXOSE_G
    ratio = float(nominal(amounts["CO2"]) / CO2_G / nominal(sugar))
    diluted = max(
        [1.0, *(float(nominal(reading.factor)) for sample in analysis.samples for reading in sample.readings)]
    )
    litres = float(nominal(analysis.run.vessel.liquid_L or 1.0))
    warm_C = float(nominal(25.0 if (warm := analysis.run.conditions.temperature_C) is None else warm))
    picture = plots.figure(11, 8)
    with plots.house_style():
        flow, gauge = picture.subplots(1, 2)
    plots.place(flow, left=0.01, bottom=0.02, top=0.99, right=0.78)
    plots.place(gauge, left=0.89)

    def draw(dilution: float, co2_per_hexose: float, headspace_pct: float) -> Page:
        told = dict(amounts)
        told["ethanol"] = amounts["ethanol"] * (dilution / diluted)
        told["CO2"] = amounts["CO2"] * (co2_per_hexose / ratio)
        bal = replace(whole, streams=dict(whole.streams) | told)
        found = bal.reconcile()
        carbon = {s.name: s.weighed * s.content(bal.nitrogen).get("C", 0.0) for s in bal.known}
        into = -sum(c for c in carbon.values() if nominal(c) < 0)
        plots.where_it_went(into, {n: c for n, c in carbon.items() if nominal(c) > 0}, ax=flow)
        vessel = Vessel(litres / (1 - headspace_pct / 100), litres, warm_C)
        bar = _gauge_bar(vessel, told["CO2"] / CO2_G)
        gauge.bar([0], [min(nominal(bar), HIGHEST_BAR)], color=plots.COLOURS["orange"], edgecolor="black", hatch="///")
        gauge.set(xlim=(-0.8, 0.8), ylim=(0, HIGHEST_BAR), xticks=[], yticks=[0, 5, 10])
        gauge.set(xlabel="if closed", ylabel="pressure [bar gauge]")
        closed = f"above {HIGHEST_BAR:g} bar" if nominal(bar) > HIGHEST_BAR else plus_minus(bar, "bar")
        lines = [Line(f"{name} found", share * 100, "%") for name, share in bal.closure().found.items()]
        lines += [
            Line("misfit", f"chi² = {found.chi2:.1f} on {found.degrees_of_freedom}", "", in_words(found.p_value)),
            Line("pressure if it had been closed", closed, "", "gauge, at rest, never vented"),
        ]
        share = percent(bal.closure().found["carbon"])
        return Page(f"{share} of the carbon is found; {found.verdict}.", lines, [NEVER], alarm=found.p_value < 0.05)

    controls: list[Control] = [
        Slider("dilution", "Dilution in the lab book, times", 1, 4 * diluted, 0.5, diluted),
        Slider("co2_per_hexose", "CO2 per hexose, mol/mol", 1 / 3, 2, 1 / 60, min(ratio, 2.0)),
        Slider("headspace_pct", "Gas space of the vessel, %", 3, 70, 1, 30),
    ]
    return Panel("A run that adds up, and how to break it", controls, draw, picture, guess="carbon found")


NEVER: Final = (
    "Never close a vessel on a calculation: fit an airlock or a relief valve. Glass that is not made for "
    "pressure fails without warning."
)


def _gauge_bar(vessel: Vessel, co2_mol: Any) -> Any:
    """Gauge pressure, or infinite where the equations end."""
    try:
        return vessel.pressure(co2_mol).gauge_bar
    except InputError:
        return float("inf")


def vessel(
    sugar_g: float = 40.0, total_L: float = 2.0, temperature_C: float = 25.0, rated_bar_gauge: float | None = None
) -> Panel:
    """What a closed vessel would come to while its sugar ferments, and what one vent would do.

    Parameters
    ----------
    sugar_g, total_L, temperature_C : float
        Where the sliders start: hexose [g], the vessel full to the lid [L], of the liquid [°C].
    rated_bar_gauge : float or None
        The maker's rating; a vessel without one cannot be judged.

    Returns
    -------
    Panel
        Sliders: ``headspace_pct``, ``sugar_g``, ``temperature_C``, ``rating_bar``, ``vented_at_pct``. Choice: ``vent``.
    """
    picture = plots.figure(10.5, 7.6)
    with plots.house_style():
        ax = picture.subplots()
    share = np.linspace(0, 1, 41)

    def draw(
        headspace_pct: float, sugar_g: float, temperature_C: float, rating_bar: float, vented_at_pct: float, vent: str
    ) -> Page:
        liquid = total_L * (1 - headspace_pct / 100)
        rated = rating_bar if rating_bar > 0 else None
        closed = Vessel(total_L, liquid, temperature_C, rated_bar_gauge=rated)
        whole = 2 * sugar_g / HEXOSE_G
        bars = along(closed, whole * share)
        ax.plot(100 * share, bars, color=plots.COLOURS["vermilion"], label="never vented")
        end = _gauge_bar(closed, whole) if sugar_g > 0 else 0.0
        beyond = nominal(end) > BEYOND_BAR
        lines = [Line("if never vented", f"above {BEYOND_BAR:g}" if beyond else end, "bar gauge")]
        if vent == "once" and sugar_g > 0:
            at = vented_at_pct / 100
            after = closed.after_vent(whole * at)
            back, blue = nominal(after.refilled_gauge_bar), plots.COLOURS["blue"]
            later = np.linspace(at, 1, 21)
            tail = along(closed, whole * later - nominal(after.let_go_mol))
            tail += back - tail[0]  # the air that left with the CO2 doesn't come back
            ax.plot([100 * at] * 3, [nominal(after.before.gauge_bar), 0, back], color=blue, linewidth=1, linestyle="-")
            ax.plot(100 * later, tail, color=blue, linestyle=(0, (5, 2)), label="vented once")
            lines += [
                Line("back after the vent", after.refilled_gauge_bar, "bar gauge", "from what the liquid still held")
            ]
        if rated is not None:
            ax.axhline(rated, color="black", linewidth=1, linestyle="-")
            ax.text(1, rated, "maker's rating", va="bottom", fontsize=9)
        ax.set(xlim=(0, 100), ylim=(0, HIGHEST_BAR), xlabel="sugar fermented [%]", ylabel="pressure [bar gauge]")
        plots.legend(ax, "upper left")
        too_much = f"{sugar_g:g} g of sugar in {liquid:.2f} L under {headspace_pct:g} % gas space"
        said = f"above {BEYOND_BAR:g} bar gauge" if beyond else plus_minus(end, "bar gauge")
        judged = BEYOND_ALL if beyond else closed.against_rating(end)
        bad = beyond or (rated is not None and nominal(end) + 1.96 * uncertainty(end) > rated)
        if bad and not beyond:
            said += f", with its ± above the maker's rating of {rated:g} bar"
        remarks = [judged, "A rating of 0 means none.", NEVER]
        return Page(f"{too_much} come to {said}.", lines, remarks, alarm=bad)

    def by_recipe(headspace_pct: float, sugar_g: float, temperature_C: float, rating_bar: float, **_: Any) -> Page:
        if not sugar_g > 0:
            return Page("Without sugar there is no gas.")
        liquid = total_L * (1 - headspace_pct / 100)
        mash = feed({"white sugar": sugar_g / HEXOSE_OF_WHITE_SUGAR, "water": 1000 * liquid})
        recipe = Recipe(mash, liquid, total_L - liquid, temperature_C, closed="closed")
        sealed = Vessel(total_L, liquid, temperature_C, rated_bar_gauge=rating_bar if rating_bar > 0 else None)
        found = estimate(recipe, vessel=sealed)
        co2, stands = found["co2"], found.if_closed
        assert stands is not None  # a vessel was given
        made = Line("CO2 made", ufloat(co2.value, co2.u), "g", limits=(co2.low, co2.high))
        said = f"By the recipe alone, nothing measured: {stands.verdict}."
        return Page(said, [made, stands.now.line(), stands.warm_day.line()])

    controls: list[Control] = [
        Slider("headspace_pct", "Gas space, %", 3, 70, 1, 25),
        Slider("sugar_g", "Sugar that ferments, g", 0, max(100.0, 2 * sugar_g), 1, sugar_g),
        Slider("temperature_C", "Temperature, °C", 4, 45, 1, temperature_C),
        Slider("rating_bar", "Maker's rating, bar gauge", 0, 10, 0.5, rated_bar_gauge or 0),
        Choice("vent", "Vented", ("never", "once"), "once"),
        Slider(
            "vented_at_pct", "Vented at, % fermented", 10, 100, 5, 50,
            lambda values: "" if values["vent"] == "once" else "only where it is vented once",
        ),
    ]
    return Panel("A closed vessel", controls, draw, picture, by_recipe, "if never vented", Place("y"))


def along(closed: Vessel, co2_mol: Any) -> Any:
    """Gauge pressures along many amounts of CO2; NaN, which draws nothing, where the equations end."""
    space = GasSpace.closed(
        "air",
        total_L=float(closed.total_L),
        liquid_L=float(closed.liquid_L),
        temperature_C=float(closed.temperature_C),
        closed_at_C=float(closed.temperature_C),
        barometer_bar=float(nominal(closed.barometer_bar)),
        solubility_vs_water=float(nominal(closed.solubility_vs_water)),
    )
    most = space.most_mol()
    gauge = space.parts(space.co2_bar(np.minimum(co2_mol, most)))[0]
    return np.where(co2_mol <= most, gauge, np.nan)


def plan(amounts_g: Mapping[str, float] = KITCHEN_BATCH) -> Panel:
    """Before the run: what the feed and the air allow, and what binds.

    Parameters
    ----------
    amounts_g : mapping of str to float
        Where the sliders start: ingredients that `feed` knows, yeast among them [g].

    Returns
    -------
    Panel
        For each ingredient the slider ``<ingredient>_g``; ``hours`` of air; the choice ``how``.
    """
    picture = plots.figure(10.5, 7.6)
    with plots.house_style():
        ax = picture.subplots()
    plots.place(ax, left=0.31)
    keys = {f"{name.replace(' ', '_')}_g": name for name in amounts_g}
    widest = 1.15 * nominal(plan_batch(feed(amounts_g)).limits.carbon_g)

    def draw(how: str, hours: float, **grams: float) -> Page:
        mash = feed({keys[key]: g for key, g in grams.items() if g > 0})
        if not nominal(mash.inoculum_g) > 0:
            raise InputError(
                f"{nominal(mash.inoculum_g):g} g of yeast", "some yeast: without it nothing grows", "move its slider up"
            )
        batch = plan_batch(mash, how=how, hours=hours)
        ranges = {"energy": batch.energy_g} | dict(batch.limits.ranges())
        least = [nominal(low) for low, _ in ranges.values()]
        wide = [max(nominal(high) - nominal(low), 0.004 * widest) for low, high in ranges.values()]
        plots.rows(ax, least, wide, [name in batch.binding for name in ranges], height=0.55)
        low, high = (nominal(end) for end in batch.yeast_range_g)
        green = plots.COLOURS["green"]
        ax.axvspan(low, max(high, low + 0.002 * widest), facecolor=(green, 0.35), edgecolor=green, zorder=0)
        ax.set_yticks(range(len(ranges)), [f"{n}, binds" if n in batch.binding else n for n in ranges])
        ax.set(
            xlim=(0, widest),
            ylim=(len(ranges) - 0.4, -0.6),
            xlabel="new dry yeast [g]; green: to expect",
        )
        lines = [
            Line("new dry yeast", batch.fate.yeast_g, "g"),
            Line("alcohol", batch.ethanol_pct_vol, "% vol"),
            Line("CO2 made", batch.fate.co2_g, "g"),
            Line("sugar respired", 100 * batch.respired_share, "%"),
            Line("warmer, if no heat left", batch.warming_K, "K"),
        ]
        yeast, sugar = plus_minus(batch.fate.yeast_g, "g"), plus_minus(batch.feed.hexose_g, "g")
        said = f"{yeast} of new dry yeast from {sugar} of sugar; {' or '.join(batch.binding)} binds."
        return Page(said, lines, [*batch.remarks[:2], NEVER])

    controls: list[Control] = [
        Slider(key, f"{name}, g", 0, _top(amounts_g[name]), _top(amounts_g[name]) / 200, amounts_g[name])
        for key, name in keys.items()
    ]
    controls += [
        Choice("how", "How it is run", WAYS, "without air"),
        Slider(
            "hours", "Hours of air or feeding, h", 1, 72, 1, 24,
            lambda values: "does nothing without air or feeding" if values["how"] == "without air" else "",
        ),
    ]
    return Panel("Before the run", controls, draw, picture, guess="new dry yeast")


def _top(value: float) -> float:
    """A round end for a slider, about twice the value."""
    return float(f"{max(2 * value, 10):.1g}")


def drying(time_h: ArrayLike, weight_g: ArrayLike, dry_g: Any = None) -> Panel:
    """When a paste is dry: the forecast from as many weighings as there were, against what came.

    Parameters
    ----------
    time_h, weight_g : array-like
        Hours, and net weights [g].
    dry_g : float or ufloat, optional
        Dry matter in it [g]; needed for a moisture.

    Returns
    -------
    Panel
        Sliders: ``weighings``, and ``moisture_pct`` (with `dry_g`) or ``weight_g``. Choice: ``model``.
    """
    time, weight = numbers(time_h, "time [h]", at_least=6), numbers(weight_g, "weight [g]", at_least=6)
    picture = plots.figure(10.5, 7.6)
    with plots.house_style():
        ax = picture.subplots()
    ahead = np.linspace(0, 1.5 * (time[-1] - time[0]), 150)

    @lru_cache(64)
    def curve_of(n: int, model: str) -> DryingCurve:
        return drying_curve(time[:n], weight[:n], dry_g=dry_g, model=model)

    def draw(weighings: float, model: str, **goal: float) -> Page:
        n = round(weighings)
        curve = curve_of(n, model)
        to = (
            curve.time_to(goal["moisture_pct"] / 100)
            if "moisture_pct" in goal
            else curve.time_to(weight_g=goal["weight_g"])
        )
        low, high = curve.band(ahead)
        colours = plots.COLOURS
        ax.fill_between(ahead, low, high, **plots.BAND, label="95 % band")
        ax.plot(ahead, curve.predict(ahead), color=colours["blue"], label=f"{MODELS[curve.model]} curve")
        ax.plot(time[n:] - time[0], weight[n:], "o", color=plots.LATER, mfc="none", label="weighed later")
        ax.plot(time[:n] - time[0], weight[:n], "o", color=colours["black"], label="weighed")
        ax.axhline(
            nominal(to.target_g), color=colours["vermilion"], linestyle=(0, (5, 2)), linewidth=1.2, label="to reach"
        )
        ax.set(xlim=(0, ahead[-1]), ylim=(0, 1.08 * weight.max()), xlabel="time [h]", ylabel="net weight [g]")
        plots.legend(ax, "upper right")
        lines = [
            Line("weight to reach", to.target_g, "g"),
            Line("reached after", to.time_h, "h", interval(*to.limits_h, "h")),
            Line("comes to rest at", curve.end_g, "g"),
        ]
        low_h, high_h = to.limits_h
        when = f"it is there after {interval(low_h, high_h, 'h')}"
        if not np.isfinite(high_h):
            when = f"it is not there before {low_h:.3g} h, and no later end can be given"
        return Page(f"From {n} weighings, {when}.", lines, [to.words])

    rest = float(weight.min())
    goal: Control = (
        Slider("weight_g", "Weight to reach, g", 0.9 * rest, float(weight.max()), 0.005 * rest, 1.05 * rest)
        if dry_g is None
        else Slider("moisture_pct", "Moisture to reach, %", 2, 40, 0.5, 10)
    )
    controls: list[Control] = [
        Slider("weighings", "Weighings seen", 6, time.size, 1, time.size),
        goal,
        Choice("model", "Curve", ("usual", *MODELS), "usual"),
    ]
    return Panel("When is it dry?", controls, draw, picture, guess="reached after", place=Place("x"))
