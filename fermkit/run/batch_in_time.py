"""A run's readings as the batch in time takes them: everything at once, with what its recipe tells beforehand."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.batch.known import known, surroundings
from fermkit.gas.curve import MISS_NO_LEAK, GasCurve
from fermkit.kinetics import answers
from fermkit.kinetics.answers import BatchFit
from fermkit.kinetics.rates import STRUCTURES, Structure
from fermkit.kinetics.series import Series, series
from fermkit.matter import usual
from fermkit.matter.properties import ethanol_mass_concentration
from fermkit.run.analysis import Analysis, analyse
from fermkit.run.batch_readings import recipe_of
from fermkit.run.records import Run
from fermkit.run.sections_gas import PressureReadings
from fermkit.run.sugar_in_time import By, SugarCourse, apart
from fermkit.run.yeast_seen import Way

UNTOLD: Final = 0.005
"""± of a gas reading that tells none, over the gas at the end [-]: common practice, no source."""

NITROGEN_WIDE: Final = 0.35
"""Least relative ± of the yeast that the nitrogen allows [-]: starved yeast holds half of what well-fed yeast does."""

POURED_H: Final = 0.1
"""Time in which a later addition of sugar goes in [h]."""


def fit_batch(
    run: Run | Analysis,
    *,
    also: Sequence[Series] = (),
    structures: Sequence[Structure] = STRUCTURES,
    full_posterior: bool = False,
) -> BatchFit:
    """Fit the batch in time to everything that was read of a run.

    Parameters
    ----------
    run : Run or Analysis
        From `read_run`, or from `analyse` where that has been done.
    also : sequence of Series
        Readings that the run does not hold, made with `fermkit.kinetics.series.series`: yeast in time [g/L], cells.
    structures : sequence of Structure
        Of `fermkit.kinetics.rates.STRUCTURES`; fewer of them show less doubt, not more truth.
    full_posterior : bool
        Walk through each posterior with the library emcee: half a minute instead of a second or two.

    Returns
    -------
    BatchFit
        Hours, rates and amounts with 95 % intervals: ``fit.answers["sugar_gone_h"]``; the batch at any hour:
        ``fit.at([6, 12])``.

    Raises
    ------
    InputError
        Where the recipe tells no sugar, or nothing was read in time.

    Notes
    -----
    Used are: all routes to the gas, alcohol samples with a time, yeast counted or read as cloudiness, density and sugar
    in time or before and after, net yeast at the end, and the temperature of the liquid where it was logged. The yeast
    is that of the product, so what was lost at the harvest is missing from it.

    References
    ----------
    `fermkit.kinetics.answers.fit_batch`.
    """
    found = run if isinstance(run, Analysis) else analyse(run)
    if found.feed is None or not nominal(found.feed.hexose_g) > 0:
        raise InputError(
            f"the feed of {found.run.name} holds no sugar", "sugar that yeast ferments", "write the feed in run.toml"
        )
    recipe = recipe_of(found.run, found.feed)
    latents = {one.key: one for one in known(recipe)}
    litres = latents["liquid"].middle
    readings = [*readings_in_time(found, litres), *also]
    if not readings:
        raise InputError(
            f"in {found.run.name} nothing was read in time", "gas, or samples with a time", "write its tables"
        )
    sugar = latents["sugar_fed"]
    later = _fed_later(found)
    before = {
        "sugar": ((sugar.middle - sum(grams for _, grams in later)) / litres, sugar.u / litres),
        "inoculum": (max(latents["inoculum"].middle, 0.01) / litres, max(latents["inoculum"].u, 0.001) / litres),
        "glycerol": (latents["glycerol_per_yeast"].middle, latents["glycerol_per_yeast"].u),
    }
    if found.limits is not None and np.isfinite(nominal(found.limits.nitrogen_g[1])):
        low, high = (max(nominal(end), 0.05) / litres for end in found.limits.nitrogen_g)
        before["nitrogen"] = (float(np.sqrt(low * high)), max(NITROGEN_WIDE * np.sqrt(low * high), (high - low) / 2))
    air = surroundings(recipe)
    feed = None
    if later:
        hours = np.array([t for when, _ in later for t in (when, when + POURED_H)])
        feed = (hours, np.array([rate for _, grams in later for rate in (grams / POURED_H, 0.0)]))
    return answers.fit_batch(
        readings, before, liquid_L=litres, store_mol=air.per_L_liquid * litres,
        gas_space_mol=air.per_L_gas * latents["gas_space"].middle, temperature=temperature_log(found.run), feed=feed,
        structures=structures, full_posterior=full_posterior,
    )  # fmt: skip


def readings_in_time(found: Analysis, litres: float) -> list[Series]:
    """Gas by every route, alcohol, density, sugar and yeast, each with its hour."""
    out = [_gas(curve) for curve in found.released]
    run = found.run
    told = [one.time_h[-1] for one in out] + ([found.sugar_course.end_h] if found.sugar_course else [])
    read = [one for one in found.samples if one.value is not None and np.isfinite(one.time_h)]
    if read:
        read.sort(key=lambda one: one.time_h)
        by_hour = {one.time_h: ethanol_mass_concentration(one.value) for one in read}
        hours = np.array(list(by_hour))
        grams = [nominal(x) for x in by_hour.values()]
        out.append(series("alcohol", hours, grams, [max(uncertainty(x), 0.2) for x in by_hour.values()]))
        told.append(hours[-1])
    if not told:
        return []
    last = float(max(told))
    start, end = run.density.start_kg_m3, run.density.end_kg_m3
    course = found.sugar_course
    out += [] if course is None else _sugar_read(course)
    if start is not None and end is not None and (course is None or not course.by(By.HYDROMETER)):
        u = [max(uncertainty(x), 0.3) / 1000 for x in (start, end)]
        out.append(series("density", [0.0, last], [nominal(start) / 1000, nominal(end) / 1000], u, u_common=0.03))
    left = run.residual_sugar.value_g_L
    if left is not None:
        out.append(series("sugar", [last], [nominal(left)], max(uncertainty(left), 0.2)))
    out += yeast_in_time(found)
    if found.yeast is not None and nominal(found.yeast.yeast_g) > 0:
        grams_L, u_L = nominal(found.yeast.yeast_g) / litres, uncertainty(found.yeast.yeast_g) / litres
        out.append(series("yeast", [last], [grams_L], max(u_L, 0.05 * grams_L)))
    return out


def yeast_in_time(found: Analysis) -> list[Series]:
    """Dry yeast by count and by cloudiness [g/L]; the mass of a cell errs alike at all times."""
    out = []
    for way in Way:
        those = [one for one in found.yeast_seen if one.way is way and one.grams_L is not None]
        those = [one for one in those if nominal(one.grams_L) > 0]
        if not those:
            continue
        cell = found.run.yeast.cell_mass_pg
        cell = usual.CELL_PG.value() if cell is None else cell
        common = uncertainty(cell) / nominal(cell) if way is Way.COUNTED else 0.0
        grams = np.array([nominal(one.grams_L) for one in those])
        u = np.array([uncertainty(one.grams_L) for one in those])
        own = np.sqrt(np.maximum(u**2 - (common * grams) ** 2, (0.02 * grams) ** 2))
        out.append(series("yeast", [one.time_h for one in those], grams, own, u_common=common))
    return out


def _sugar_read(course: SugarCourse) -> list[Series]:
    """Density by the hydrometer, and sugar by each of the other instruments, all in time."""
    out = []
    dense = course.by(By.HYDROMETER)
    if len(dense) > 1:
        read = [nominal(one.shown) / 1000 for one in dense]
        u = [max(uncertainty(one.shown), 0.3) / 1000 for one in dense]
        out.append(series("density", [one.time_h for one in dense], read, u, u_common=0.03))
    for what in (By.REFRACTOMETER, By.REDUCING, By.GLUCOSE):
        hours, left, u = apart(course.by(what))
        out += [series("sugar", hours, left, u)] if hours else []
    return out


def temperature_log(run: Run) -> tuple[Any, Any] | None:
    """Hours and °C of the liquid: its own table, or that of a pressure gauge, whose gas lies on the liquid."""
    beside = [gas.table for gas in run.gas if isinstance(gas, PressureReadings)]
    for name in ("temperature", *beside):
        table = run.tables.get(name)
        if table is not None and "temperature_C" in table and table["temperature_C"].notna().sum() > 1:
            told = table.dropna(subset=["temperature_C"])
            return told["time_h"].to_numpy(float), told["temperature_C"].to_numpy(float)
    return None


def _gas(curve: GasCurve) -> Series:
    u, step = curve.u_reading_mol, curve.u_increment_mol
    if not np.any(u > 0) and not np.any(step > 0):
        u = np.full_like(u, UNTOLD * float(np.max(curve.co2_mol)))
    u = np.maximum(u, 1e-4 * float(np.max(curve.co2_mol)))
    left: Any = "gas left" if curve.kind in MISS_NO_LEAK else "gas released"
    kind: Any = "gas made" if curve.counts == "produced" else left
    return series(kind, curve.time_h, curve.co2_mol, u, u_step=step, u_common=uncertainty(curve.common))


def _fed_later(found: Analysis) -> list[tuple[float, float]]:
    """Sugar that came in after the start: hour and grams, as hexose."""
    assert found.feed is not None
    later = []
    for item in found.run.feed:
        thing = found.feed.ingredients.get(item.ingredient or "")
        if item.time_h is not None and nominal(item.time_h) > 0 and thing is not None:
            later.append((nominal(item.time_h), nominal(item.amount_g or 0.0) * nominal(thing.hexose)))
    return sorted(later)
