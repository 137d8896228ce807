"""The course of a batch that is fed sugar or given air: stepped in time, many sets of quantities at once.

With sugar that comes in, or oxygen that comes in by the hour, the rates no longer separate. The same rates are then
stepped by the classic Runge–Kutta rule of fourth order, and slopes are differences between sets that go together.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fermkit.kinetics.course import Course, Surroundings, awake_hours, by_name, course, released, warm_hours
from fermkit.kinetics.rates import (
    CHANGE,
    ETHANOL,
    HEXOSE,
    NAMES,
    STARVED,
    TYPICAL_YEAST,
    YEAST_CARBON,
    YEAST_ELECTRONS,
    Structure,
)

Floats = NDArray[np.float64]

BY_RESPIRING: Final = 0.5
"""Dry yeast for each gram of hexose that is respired [g/g]: common practice, no source."""

OXYGEN_PER_GRAM: Final = (24 / HEXOSE - YEAST_ELECTRONS * YEAST_CARBON * BY_RESPIRING) / 4
"""Oxygen for each gram of hexose that is respired, by electrons [mol/g]."""

MOST_OXYGEN: Final = 0.008
"""Most oxygen that yeast takes up [mol/(g h)]: 8 mmol, Sonnleitner & Käppeli, Biotechnol. Bioeng. 28 (1986) 927."""

WIDEST_H: Final = 0.1
"""Widest step [h]."""

NARROWEST_H: Final = 0.01
STEP_SHARE: Final = 1.0
"""Step over the time in which the last sugar goes, K Y/(µ X); the rule is stable up to 2.8."""

A_MOMENT: Final = 1e-3
"""Over which the pace that the temperature allows is taken [h]."""

NUDGE: Final = 1e-4
"""Difference in the logarithm of a quantity from which a slope is taken."""


def course_of(
    structure: Structure, theta: Floats, hours: Floats, around: Surroundings, *, slopes: bool = False, gas: bool = True
) -> Course:
    """A batch at some hours, whichever way it can be had: see `fermkit.kinetics.course.course`."""
    if around.feed is None and around.oxygen_mol_per_L_h == 0:
        return course(structure, theta, hours, around, slopes=slopes, gas=gas)
    theta = np.atleast_2d(theta)
    if not slopes:
        return _stepped(structure, theta, hours, around, gas)
    p = len(NAMES)
    nudged = theta[:, None, :] + NUDGE * np.concatenate([np.zeros((1, p)), np.eye(p)])
    whole = _stepped(structure, nudged.reshape(-1, p), hours, around, gas)
    first, d = {}, {}
    for name in ("sugar_used", "yeast", "ethanol", "made", "released"):
        value = getattr(whole, name).reshape(len(theta), p + 1, -1)
        first[name] = value[:, 0]
        d[name] = np.moveaxis((value[:, 1:] - value[:, :1]) / NUDGE, 1, 2)
    return Course(**first, slopes=d)


def _stepped(structure: Structure, theta: Floats, hours: Floats, around: Surroundings, gas: bool) -> Course:
    p = {name: value[:, 0] for name, value in by_name(theta).items()}
    grid = _grid(p, hours, around)
    half = np.sort(np.concatenate([grid, (grid[1:] + grid[:-1]) / 2]))
    columns = by_name(theta)
    warm, _ = warm_hours(columns, half[None, :], around)
    later, _ = warm_hours(columns, half[None, :] + A_MOMENT, around)
    pace = (later - warm) / A_MOMENT * awake_hours(structure, columns, warm)[1]
    feed = np.zeros_like(half)
    if around.feed is not None:
        when, grams = around.feed
        k = np.searchsorted(when, half + 1e-9, side="right") - 1
        feed = np.where(k >= 0, grams[np.maximum(k, 0)], 0.0) / around.liquid_L
    y = np.stack([p["sugar"], p["inoculum"], *(np.zeros((4, len(theta)))), np.ones(len(theta))])
    out = np.empty((len(grid), *y.shape))
    out[0] = y
    for i, step in enumerate(np.diff(grid)):
        a, b, c = 2 * i, 2 * i + 1, 2 * i + 2
        k1 = _slope(structure, p, y, pace[:, a], feed[a], around)
        k2 = _slope(structure, p, y + step / 2 * k1, pace[:, b], feed[b], around)
        k3 = _slope(structure, p, y + step / 2 * k2, pace[:, b], feed[b], around)
        k4 = _slope(structure, p, y + step * k3, pace[:, c], feed[b], around)
        y = y + step / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        out[i + 1] = y
    _, x, e, c, used, _, _ = np.moveaxis(out[np.searchsorted(grid, hours)], 0, 2)
    made = around.liquid_L * c
    gone = released(columns, hours, made, None, around)[0] if gas and around.store_mol > 0 else made
    return Course(used, x, e, made, gone, {})


def _grid(p: Any, hours: Floats, around: Surroundings) -> Floats:
    """The hours asked for and those between, close enough for the last sugar of the quickest set."""
    fed = 0.0
    if around.feed is not None:
        when, grams = around.feed
        fed = float(np.sum(grams[:-1] * np.diff(when))) / around.liquid_L
    most = p["inoculum"] + np.minimum(BY_RESPIRING * (p["sugar"] + fed), p["nitrogen"])
    last = float(np.min(p["half saturation"] * p["yield"] / (p["growth rate"] * most)))
    step = float(np.clip(STEP_SHARE * last, NARROWEST_H, WIDEST_H))
    inside = np.linspace(0.0, float(hours.max()), max(2, int(np.ceil(hours.max() / step)) + 1))
    marks = np.concatenate([inside, hours, [] if around.feed is None else around.feed[0]])
    return np.unique(marks[(marks >= 0) & (marks <= hours.max())])


def _slope(structure: Structure, p: Any, y: Floats, pace: Floats, feed: float, around: Surroundings) -> Floats:
    """Rates [per h] of sugar, yeast, ethanol, CO2 [mol/L], sugar used, oxygen used [mol/L], activity."""
    s, x, e, _, _, _, active = y
    s = np.maximum(s, 0.0)
    half = p["half saturation"] * (x / TYPICAL_YEAST if structure.saturation == "Contois" else 1.0)
    left_over = s ** p["tail"] / (half ** p["tail"] + s ** p["tail"])
    full = np.clip(e / p["ethanol limit"], 1e-12, 1.0)
    n = p["exponent"]
    slowed = (1 - full) ** n if structure.inhibition == "Levenspiel" else 1 - full**n
    left = np.clip(1 - (x - p["inoculum"]) / p["nitrogen"], 0.0, 1.0)
    ended = (1 + STARVED) * left / (STARVED + left)
    fed = ended if structure.nitrogen == "uptake" else active
    growth = left if structure.nitrogen == "gradual" else 1.0 if structure.nitrogen == "uptake" else ended
    late = 1 / (1 + (s / (p["late share"] * p["sugar"])) ** CHANGE)
    pace = pace * (1 - (1 - p["late pace"]) * late)
    used = pace * p["growth rate"] / p["yield"] * x * left_over * slowed * fed
    respired = np.minimum(used, np.minimum(around.oxygen_mol_per_L_h, MOST_OXYGEN * x * pace) / OXYGEN_PER_GRAM)
    fermented = used - respired
    by_fermenting = p["yield"] * growth * fermented
    dx = by_fermenting + BY_RESPIRING * growth * respired
    # yeast that does not grow burns its share as well
    oxygen = respired * (24 / HEXOSE - YEAST_ELECTRONS * YEAST_CARBON * BY_RESPIRING * growth) / 4
    glycerol = p["glycerol"] / 1000 * by_fermenting
    acid = 6 * fermented / HEXOSE * p["acids"]
    ethanol = (24 * used / HEXOSE - 4 * oxygen - 14 * glycerol - 4 * acid - YEAST_ELECTRONS * YEAST_CARBON * dx) / 12
    co2 = 6 * used / HEXOSE - 2 * ethanol - 3 * glycerol - acid - YEAST_CARBON * dx
    starving = -p["starving"] * pace * (1 - ended) * active if structure.nitrogen == "activity" else np.zeros_like(s)
    return np.stack([feed - used, dx, ETHANOL * ethanol, co2, used, oxygen, starving])
