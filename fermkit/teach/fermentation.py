"""A batch of yeast in a vessel, simulated from its mechanism, with every true amount known.

Nothing here comes from the curves that fermkit fits: sugar is split and taken up, cells
wake, grow and run out of nitrogen, glycerol follows growth, carbon dioxide dissolves,
supersaturates and leaves. Carbon and electrons close exactly at every moment, since
ethanol and CO2 are whatever carbon and electrons the other products leave.
"""

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from fermkit.basis.checks import Floats, between, positive
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.matter.composition import compound, molar_mass
from fermkit.matter.properties import bicarbonate_factor, co2_second_virial, co2_solubility, water_vapour_pressure
from fermkit.teach.batches import Batch, Strain, Truth

__all__ = ["Batch", "Strain", "Truth", "ferment"]

HEXOSE: Final = molar_mass("hexose")
SUCROSE: Final = molar_mass("sucrose")
ETHANOL: Final = molar_mass("ethanol")
CO2: Final = molar_mass("CO2")
OXYGEN: Final = molar_mass("O2")
AIR_G_MOL: Final = 28.96
"""Molar mass of dry air [g/mol] (ISO 2533:1975, from memory)."""
RESERVE: Final = molar_mass("C6H10O5")
WATER: Final = molar_mass("water")
NAMES: Final = (
    "sucrose", "hexose", "cells", "reserve", "nitrogen", "awake", "ethanol", "dissolved", "headspace", "air",
    "oxygen", "consumed", "grown", "stored", "respired", "made", "out", "co2_out", "stripped", "collected", "lost",
)  # fmt: skip
LIQUID: Final = (0, 1, 2, 3, 4, 6, 7)
"""States that a withdrawn sample takes along."""

HEAD: Final = NAMES.index("headspace")
AIR: Final = NAMES.index("air")


def ferment(batch: Batch, *, points: int = 241) -> Truth:
    """Run a batch and keep the truth.

    Parameters
    ----------
    batch : Batch
    points : int
        Grid points of the series.

    Returns
    -------
    Truth

    Notes
    -----
    States are amounts in the vessel. Sucrose is split by the yeast's invertase; hexose is taken up by
    Monod's law, slowed by ethanol (Levenspiel, Biotechnol. Bioeng. 22 (1980) 1671); waking is first order;
    growth stops as usable nitrogen runs out and uptake then wanes; CO2 passes to the headspace in
    proportion to its supersaturation; the headspace is well mixed.

    Examples
    --------
    >>> truth = ferment(Batch())
    >>> carbon, electrons = truth.closure()
    >>> round(carbon, 6), round(electrons, 6)
    (1.0, 1.0)
    """
    _sensible(batch)
    from scipy.integrate import odeint

    grid = np.linspace(0.0, batch.hours, points)
    breaks = sorted(
        {t for t, _ in batch.withdrawals} | set(batch.vents_h) | ({batch.leak_from_h} if batch.leak_share else set())
    )
    breaks = [t for t in breaks if 0 < t < batch.hours]
    state, liquid = _start(batch), batch.liquid_L
    pieces: list[Floats] = []
    begin = 0.0
    taken = np.zeros(len(NAMES))
    volumes: list[Floats] = []
    for end in [*breaks, batch.hours]:
        inside = grid[(grid >= begin) & (grid < end)] if end < batch.hours else grid[grid >= begin]
        times = np.unique(np.concatenate([[begin], inside, [end]]))
        path = odeint(_slope, state, times, args=(_fixed(batch, liquid, begin),), rtol=1e-7, atol=1e-10)
        keep = np.isin(times, inside)
        pieces.append(path[keep])
        volumes.append(liquid - batch.evaporation_mL_h / 1000 * (times[keep] - begin))
        liquid -= batch.evaporation_mL_h / 1000 * (end - begin)
        state, liquid = _after(batch, path[-1].copy(), liquid, end, taken)
        begin = end
    return _truth(batch, grid, np.vstack(pieces), np.concatenate(volumes), taken)


def _sensible(batch: Batch) -> None:
    positive(batch.hours, "hours")
    positive(batch.yeast_g, "yeast_g")
    between(batch.leak_share, 0, 1, "leak_share")
    if not 0 < batch.liquid_L < batch.total_L:
        raise InputError(
            f"liquid_L is {batch.liquid_L:g} in a vessel of {batch.total_L:g} L",
            "some liquid and some headspace",
            "mend one of the two",
        )
    drawn = sum(volume for _, volume in batch.withdrawals) + batch.evaporation_mL_h * batch.hours / 1000
    if drawn >= batch.liquid_L:
        raise InputError(
            f"{drawn:g} L are withdrawn from {batch.liquid_L:g} L", "less than there is", "take smaller samples"
        )


def _start(batch: Batch) -> Floats:
    air = _dry_bar(batch) * (batch.total_L - batch.liquid_L) / _RT(batch)
    state = dict.fromkeys(NAMES, 0.0)
    state |= {"sucrose": batch.sucrose_g / SUCROSE, "hexose": batch.hexose_g / HEXOSE, "nitrogen": batch.nitrogen_g}
    state |= {
        "cells": batch.yeast_g * (1 - batch.strain.ash),
        "awake": batch.strain.awake,
        "air": air,
        "oxygen": 0.2095 * air,
    }
    return np.array([state[name] for name in NAMES])


def _fixed(batch: Batch, liquid_L: float, begin_h: float) -> tuple[Any, ...]:
    """Everything the slope needs, worked out once a piece."""
    s, t = batch.strain, batch.temperature_C
    water = float(water_vapour_pressure(t))
    low, high = (float(co2_solubility(t, bar)) / bar for bar in (1.0, 6.0))
    held = batch.salting * float(bicarbonate_factor(batch.pH, t))
    dissolves, fewer = held * (low + (low - high) / 5.0), held * (low - high) / 5.0  # falls in proportion to pressure
    leak = batch.leak_share if begin_h >= batch.leak_from_h else 0.0
    return (
        s,
        _beside(s),
        liquid_L,
        _RT(batch),
        batch.total_L - liquid_L,
        float(co2_second_virial(t)) / _RT(batch),
        dissolves,
        fewer,
        ethanol_bar_per_mol_L(t),
        _dry_bar(batch),
        water,
        leak,
        batch.closed,
        batch.transfer_per_h,
        batch.keeps,
        batch.swelling_L_mol,
    )


def _slope(y: Sequence[float], t: float, fixed: tuple[Any, ...]) -> list[float]:
    s, beside, V, RT, room, squeeze, dissolves, fewer, spirit, dry_bar, water, leak, closed, transfer = fixed[:14]
    keeps, swelling = fixed[14:]
    sucrose, hexose, cells, _, nitrogen, awake, ethanol, dissolved, head, air, oxygen = y[:11]
    hexose_g, n_L = max(hexose, 0.0) * HEXOSE / V, max(nitrogen, 0.0) / V
    fed, active, saturated = s.fed(n_L), s.active(awake, t), s.saturated(hexose_g, cells / V)
    uptake = s.uptake_g_g_h * cells * active * saturated * s.slowed(ethanol * ETHANOL / V) / HEXOSE
    sucrose_g = max(sucrose, 0.0) * SUCROSE / V
    split = s.inversion_g_g_h * cells * active * sucrose_g / (sucrose_g + 5.0) / SUCROSE
    grown = s.grows(uptake * HEXOSE, cells, fed)
    stored = s.reserve_share * uptake * (1 - fed)
    breath = s.oxygen_per_h * max(oxygen, 0.0) * saturated
    made_ethanol, made = _alcohol_and_co2(uptake - stored, uptake, grown, s, beside)
    ideal = head * RT / (room - swelling * dissolved)
    co2_bar = ideal * (1 + squeeze * ideal)
    held, balance = dissolved / V, (dissolves - fewer * co2_bar) * co2_bar
    release = transfer * V * (held - min(max(held, balance), keeps * balance))
    out = 0.0 if closed else release - breath
    share = head / (head + air)
    vapours = max(out, 0.0) / dry_bar
    stripped = vapours * spirit * max(ethanol, 0.0) / V
    left_g = out * (share * CO2 + (1 - share) * AIR_G_MOL) + vapours * water * WATER + stripped * ETHANOL
    waking = s.readies(awake, fed, s.growth_g_g * s.uptake_g_g_h)
    return [
        -split, 2 * split - uptake - breath / 6, grown, stored * RESERVE, -grown * s.cell_nitrogen, waking,
        made_ethanol - stripped, made + breath - release, release - out * share, -out * (1 - share) - breath,
        -out * oxygen / (head + air) - breath, uptake + breath / 6, grown, stored * RESERVE, breath, made + breath,
        out, out * share, stripped, out * (1 - leak), left_g,
    ]  # fmt: skip


def _beside(s: Strain) -> tuple[float, float, float, float]:
    """Carbon and electrons in the by-products of a mole of hexose taken up, and of a gram of cells grown."""
    parts = [(compound(name), amounts) for name, amounts in s.byproducts().items()]
    sums = [(sum(n[i] * c.carbon for c, n in parts), sum(n[i] * c.electrons for c, n in parts)) for i in (0, 1)]
    return (*sums[0], *sums[1])


def _alcohol_and_co2(
    fermented: float, uptake: float, grown: float, s: Strain, beside: tuple[float, float, float, float]
) -> tuple[float, float]:
    """Ethanol and CO2 [mol/h]: what carbon and electrons the other products leave of the hexose.

    Carbon and electrons of a mole: hexose 6, 24; cells 1 and as their formula says; ethanol 2, 12; CO2 1, 0. Reserve
    is hexose less water.
    """
    carbon, electrons, carbon_grown, electrons_grown = beside
    cells = grown / s.cell_g_mol
    ethanol = (24 * fermented - s.cell_electrons * cells - electrons * uptake - electrons_grown * grown) / 12
    return ethanol, 6 * fermented - cells - carbon * uptake - carbon_grown * grown - 2 * ethanol


def ethanol_bar_per_mol_L(temperature_C: float) -> float:
    """Ethanol vapour above a dilute solution [bar per mol/L]: Sander, Atmos. Chem. Phys. 15 (2015) 4399."""
    return 1 / (190.0 * math.exp(6400.0 * (1 / (temperature_C + ZERO_CELSIUS_K) - 1 / 298.15)))


def _after(batch: Batch, state: Floats, liquid: float, time_h: float, taken: Floats) -> tuple[Floats, float]:
    """The state after what is done at `time_h`: samples out, headspace vented."""
    for at, volume in batch.withdrawals:
        if at == time_h:
            for i in LIQUID:
                taken[i] += state[i] * volume / liquid
                state[i] *= 1 - volume / liquid
            liquid -= volume
            if not batch.closed:  # air takes the sample's place
                state[AIR] += _dry_bar(batch) * volume / _RT(batch)
    if time_h in batch.vents_h:
        dry = _dry_bar(batch) * (batch.total_L - liquid) / _RT(batch)
        lost = max(0.0, 1 - dry / (state[HEAD] + state[AIR]))
        co2, air = lost * state[HEAD], lost * state[AIR]
        for name, change in (("out", co2 + air), ("co2_out", co2), ("collected", co2 + air)):
            state[NAMES.index(name)] += change
        state[NAMES.index("lost")] += co2 * CO2 + air * AIR_G_MOL
        for i in (HEAD, AIR, AIR + 1):
            state[i] *= 1 - lost
    return state, liquid


def _RT(batch: Batch) -> float:
    return L_BAR_GAS_CONSTANT * (batch.temperature_C + ZERO_CELSIUS_K)


def _dry_bar(batch: Batch) -> float:
    return batch.barometer_bar - float(water_vapour_pressure(batch.temperature_C))


def _pressure(batch: Batch, co2: Floats, air: Floats, liquid: Floats) -> Floats:
    """Absolute pressure [bar]: real CO2, ideal air, water vapour; the barometer's where an airlock is fitted."""
    if not batch.closed:
        return np.full_like(co2, batch.barometer_bar)
    ideal = co2 * _RT(batch) / (batch.total_L - liquid)
    squeeze = float(co2_second_virial(batch.temperature_C)) / _RT(batch)
    others = air * _RT(batch) / (batch.total_L - liquid) + float(water_vapour_pressure(batch.temperature_C))
    return np.asarray(ideal * (1 + squeeze * ideal) + others)


def _truth(batch: Batch, grid: Floats, path: Floats, liquid: Floats, taken: Floats) -> Truth:
    s = batch.strain
    column = {name: path[:, i] for i, name in enumerate(NAMES)}
    series = {
        "sugar_g": (2 * column["sucrose"] + column["hexose"]) * HEXOSE,
        "ethanol_g": column["ethanol"] * ETHANOL,
        "yeast_g": column["cells"] / (1 - s.ash) + column["reserve"],
        "liquid_L": liquid,
        "co2_produced_mol": column["made"],
        "co2_dissolved_mol": column["dissolved"],
        "co2_headspace_mol": column["headspace"],
        "gas_out_mol": column["out"],
        "co2_out_mol": column["co2_out"],
        "collected_mol": column["collected"],
        "lost_g": column["lost"],
        "pressure_bar": _pressure(
            batch, column["headspace"], column["air"], liquid + batch.swelling_L_mol * column["dissolved"]
        ),
    }
    end = {name: float(values[-1]) for name, values in column.items()}
    fermented = end["consumed"] - end["respired"] / 6
    amounts = {
        "hexose fed": batch.sucrose_g / SUCROSE * 2 * HEXOSE + batch.hexose_g,
        "hexose consumed": end["consumed"] * HEXOSE,
        "residual sugar": float(series["sugar_g"][-1]),
        "ethanol made": (end["ethanol"] + end["stripped"] + taken[6]) * ETHANOL,
        "ethanol in the gas": end["stripped"] * ETHANOL,
        "oxygen used": end["respired"] * OXYGEN,
        "CO2 made": end["made"] * CO2,
        "cells grown": end["grown"],
        "reserve stored": end["stored"],
        "yeast grown": end["grown"] / (1 - s.ash) + end["stored"],
        "yeast at the end": float(series["yeast_g"][-1]),
    } | {
        name: (of_hexose * fermented + of_cells * end["grown"]) * molar_mass(name)
        for name, (of_hexose, of_cells) in s.byproducts().items()
    }
    return Truth(batch, grid, series, amounts)
