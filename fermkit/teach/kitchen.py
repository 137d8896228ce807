"""The raw readings that a kitchen takes of a batch, with each kind of error in its place.

Errors are per reading, per increment, or common to a whole curve. What comes out is what a person would write
into a run folder.
"""

from typing import Any

import numpy as np

from fermkit.basis.checks import Floats
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, ZERO_CELSIUS_K
from fermkit.matter.properties import (
    co2_compressibility,
    ethanol_pct_vol_from_concentration,
    water_density,
    water_vapour_pressure,
)
from fermkit.teach.batches import Truth
from fermkit.teach.fermentation import ethanol_bar_per_mol_L
from fermkit.teach.recipe import LAST_SAMPLE_H, Kitchen, densities, draw_batch, drawn_strain, statements

__all__ = ["Kitchen", "draw_batch", "drawn_strain", "readings"]

Rows = dict[str, list[Any]]
"""A table as written: header → cells."""


def readings(truth: Truth, rng: np.random.Generator, kitchen: Kitchen) -> tuple[dict[str, Any], dict[str, Rows]]:
    """What a person would write down of a simulated batch.

    Parameters
    ----------
    truth : Truth
    rng : numpy.random.Generator
    kitchen : Kitchen

    Returns
    -------
    (dict, dict)
        Settings as in run.toml, and tables as header → cells: what `fermkit.write_run` writes.
    """
    tables: dict[str, Rows] = {}
    settings = statements(truth, rng, kitchen)
    if kitchen.gas in ("volume", "both"):
        tables["gas"] = collected_volume(truth, rng, kitchen)
    if kitchen.gas in ("weight", "both"):
        tables["gas" if kitchen.gas == "weight" else "jar_weight"] = vessel_weight(truth, rng, kitchen)
    if kitchen.gas == "pressure":
        tables["gas"] = gauge_pressure(truth, rng, kitchen)
    tables["standards"] = standards(rng, kitchen)
    tables["samples"] = samples(truth, rng, kitchen)
    tables["volumes"] = volumes(kitchen)
    tables["weights"], paste = weights(truth, rng, kitchen)
    tables["drying"] = drying(rng, kitchen, paste)
    tables["hold"] = hold(rng)
    return settings, tables


def collected_volume(truth: Truth, rng: np.random.Generator, k: Kitchen) -> Rows:
    """Cumulative volume in the collector [mL]: moist gas at its temperature, less what the water took."""
    time = np.arange(0.0, truth.time_h[-1] + 1e-9, k.gas_every_h)
    warm = rng.normal(k.collector_C, k.u_collector_C)
    dry_bar = truth.batch.barometer_bar - float(water_vapour_pressure(warm))
    lost = rng.uniform(0.0, k.most_loss_to_water)
    z = float(co2_compressibility(warm, dry_bar))
    volume = (
        z * truth.at("collected_mol", time) * (1 - lost) * L_BAR_GAS_CONSTANT * (warm + ZERO_CELSIUS_K) / dry_bar * 1000
    )
    steps = np.diff(volume) / rng.normal(1.0, k.u_volume_factor)
    walked = np.concatenate([[0.0], np.cumsum(steps + rng.normal(0, k.u_increment_mL, len(steps)))])
    read = walked + np.concatenate([[0.0], rng.normal(0, k.u_reading_mL, len(steps))])
    return {"time [h]": _cells(time, 2), "volume [mL]": _cells(read, 0)}


def vessel_weight(truth: Truth, rng: np.random.Generator, k: Kitchen) -> Rows:
    """Weight of jar and contents [g], each reading with the scale's error."""
    time = np.arange(0.0, truth.time_h[-1] + 1e-9, k.weight_every_h)
    first, last = densities(truth)
    contents = truth.batch.liquid_L * first + k.jar_g - truth.at("lost_g", time)
    for at, volume in truth.batch.withdrawals:
        done = float(truth.at("co2_produced_mol", at) / truth.series["co2_produced_mol"][-1])
        contents = contents - np.where(time > at, volume * (first + done * (last - first)), 0.0)
    return {"time [h]": _cells(time, 1), "weight [g]": _cells(contents + rng.normal(0, k.u_weight_g, len(time)), 1)}


def gauge_pressure(truth: Truth, rng: np.random.Generator, k: Kitchen) -> Rows:
    """A logger's gauge pressure [bar], to the nearest hundredth."""
    time = np.arange(0.0, truth.time_h[-1] + 1e-9, k.log_every_h)
    gauge = truth.at("pressure_bar", time) - truth.batch.barometer_bar + rng.normal(0, k.u_pressure_bar, len(time))
    return {"time [h]": _cells(time, 2), "pressure [bar]": _cells(gauge, 3)}


def standards(rng: np.random.Generator, k: Kitchen) -> Rows:
    """Standards before and after the samples, three readings each."""
    rows: Rows = {"ethanol [% vol]": [], "signal [V]": [], "when": [], "temperature [°C]": []}
    for when in ("before", "after"):
        for value in k.standards:
            signal, temperature = sensed(value, bench(rng), rng, k)
            for name, cell in zip(rows, (f"{value:.2f}", signal, when, temperature)):
                rows[name].append(cell)
    return rows


def samples(truth: Truth, rng: np.random.Generator, k: Kitchen) -> Rows:
    """Diluted samples read on the sensor; each dilution is pipetted once and read several times."""
    rows: Rows = {"sample": [], "time [h]": [], "signal [V]": [], "dilution": [], "temperature [°C]": []}
    cooled = float(water_density(20.0) / water_density(truth.batch.temperature_C))
    for i, time in enumerate([*k.samples_h, k.hours + LAST_SAMPLE_H]):
        concentration = float(truth.at("ethanol_g", time) / truth.at("liquid_L", time))
        pct = float(ethanol_pct_vol_from_concentration(concentration * cooled))
        for dilution in k.dilutions:
            off = rng.normal(0, k.u_pipetting)
            true_dilution = dilution * (1 + off) if dilution != 1 else 1.0  # nothing is pipetted
            warm = bench(rng)
            for _ in range(k.replicates):
                signal, temperature = sensed(pct / true_dilution, warm, rng, k)
                for name, cell in zip(rows, (f"S{i + 1}", f"{time:g}", signal, f"{dilution}", temperature)):
                    rows[name].append(cell)
    return rows


def bench(rng: np.random.Generator) -> float:
    """Temperature of a liquid that stands on the bench [°C]."""
    return 20.0 + rng.normal(0, 0.1)


def sensed(pct_vol: float, warm_C: float, rng: np.random.Generator, k: Kitchen) -> tuple[str, str]:
    """What the sensor shows [V] of the vapour above a liquid near 20 °C, and its temperature as read [°C]."""
    stronger = ethanol_bar_per_mol_L(warm_C) / ethanol_bar_per_mol_L(20.0)
    signal = k.blank_V + k.slope_V * pct_vol * stronger + rng.normal(0, k.u_signal_V)
    return f"{signal:.3f}", f"{warm_C + rng.normal(0, 0.05):.1f}"


def volumes(k: Kitchen) -> Rows:
    """The ledger as written: every sample taken."""
    taken = [k.sample_mL] * len(k.samples_h) + [k.last_sample_mL]
    return {
        "time [h]": [f"{t:g}" for t in (*k.samples_h, k.hours + LAST_SAMPLE_H)],
        "what": ["sample"] * len(taken),
        "volume [mL]": [f"{v:g}" for v in taken],
        "u [mL]": [f"{k.u_sample_mL:g}"] * len(taken),
    }


def weights(truth: Truth, rng: np.random.Generator, k: Kitchen) -> tuple[Rows, float]:
    """Harvest on the pocket scale: the paste, a dried sample of it, extract and debris; and dry extract [g]."""
    share = 1 - k.last_sample_mL / 1000 / float(truth.series["liquid_L"][-1])
    carried = truth.batch.carried_share * truth.batch.solids_g
    dry = (float(truth.series["yeast_g"][-1]) * share + carried) * truth.batch.harvested_share
    wet = dry / rng.uniform(0.21, 0.24)
    sample_wet = 0.25 * wet
    rest = dry * 0.75
    found = rest * (1 - truth.batch.lost_share)
    extract, debris = truth.batch.extract_share * found, (1 - truth.batch.extract_share) * found
    rows: Rows = {"item": [], "tare [g]": [], "wet [g]": [], "dry [g]": [], "note": []}

    def weigh(item: str, tare: float, net_wet: float, net_dry: float | None, note: str) -> None:
        read = [tare, tare + net_wet] + ([] if net_dry is None else [tare + net_dry])
        cells = [f"{value + rng.normal(0, k.u_weighing_g):.2f}" for value in read]
        for name, cell in zip(rows, [item, *cells, *([""] if net_dry is None else []), note]):
            rows[name].append(cell)

    weigh("paste", 41.2, wet, None, "all of it, washed twice and pressed")
    weigh("paste sample", 12.4, sample_wet, sample_wet * dry / wet, "a quarter of the paste, dried to constant weight")
    weigh("extract", 88.6, extract / 0.09, extract, "from the other three quarters, after the hold")
    weigh("debris", 35.1, debris / 0.19, debris, "from the other three quarters, after the hold")
    return rows, extract


def drying(rng: np.random.Generator, k: Kitchen, extract_g: float) -> Rows:
    """The extract's tray on the scale while it dries: a constant rate, then one that falls with the water left."""
    time = np.arange(0.0, 30.1, 2.0)
    water = extract_g / 0.09 - extract_g
    bend = 0.25 * water
    rate = (water - bend) / 9.0
    left = np.where(time < 9, water - rate * time, bend * np.exp(-rate / bend * (time - 9.0)))
    weight = 88.6 + extract_g + left + rng.normal(0, k.u_weighing_g, len(time))
    return {"time [h]": _cells(time, 1), "weight [g]": _cells(weight, 2)}


def hold(rng: np.random.Generator) -> Rows:
    """Temperature and pH of the paste while it is held warm: heating up, a window, one cool dip."""
    time = np.arange(0.0, 26.01, 0.5)
    temperature = 50.5 - 29.0 * np.exp(-time / 0.9)
    dip = (time > 12.0) & (time < 14.0)
    temperature = temperature - np.where(dip, 7.0, 0.0) + rng.normal(0, 0.4, len(time))
    pH = 5.9 - 0.4 * time / 26.0 + rng.normal(0, 0.03, len(time))
    return {"time [h]": _cells(time, 1), "temperature [°C]": _cells(temperature, 1), "pH": _cells(pH, 2)}


def _cells(values: Floats, digits: int) -> list[str]:
    return [f"{value:.{digits}f}" for value in values]
