"""Vents in simulated pressure logs: how many are found, how many are false, what the produced CO2 is worth.

Run it with ``python tests/benchmarks/vents.py [runs]``. The logs come from two compartments, gas and
liquid, with a finite rate of exchange, a production that rises and fades, a day-night swing of the
temperature that the analysis is not told, and vents at random times. No part of the search is used to make them.
"""

import sys
from dataclasses import dataclass

import numpy as np

R = 0.0831446  # L bar/(mol K)
SWELLS_L_MOL = 0.035  # what a mole of dissolved CO2 adds to the liquid: 32 to 38 mL in the literature


@dataclass(frozen=True)
class Logs:
    """Simulated pressure logs, one run a row, with what is true."""

    time_h: np.ndarray
    gauge_bar: np.ndarray
    true_bar: np.ndarray
    produced_mol: np.ndarray
    vent_step: np.ndarray  # (runs, readings - 1): a vent fell in this interval
    noise_bar: float
    temperature_C: np.ndarray


def solubility(t_C):
    """Slope of Henry's law [mol/(L bar)]: Sander 2015, 3.3e-4 mol/(m3 Pa) at 298.15 K and 2400 K."""
    return 0.033 * np.exp(2400 * (1 / (t_C + 273.15) - 1 / 298.15))


def simulate(
    runs, *, hours=72.0, every_min=10.0, noise_bar=0.005, swing_K=5.0, exchange_per_h=2.0, vents=8,
    headspace_L=0.6, liquid_L=1.4, amount_mol=0.6, seed=1, drop_sigma=(5, 400),
):  # fmt: skip
    """Logs of a vented vessel, on a grid ten times finer than the readings."""
    rng = np.random.default_rng(seed)
    fine = every_min / 60 / 10
    steps = round(hours / fine)
    time = np.arange(steps + 1) * fine
    middle, width = rng.uniform(0.25, 0.45, runs) * hours, rng.uniform(0.06, 0.12, runs) * hours
    made = amount_mol / (1 + np.exp(-(time[:, None] - middle) / width))
    made = made - made[0]
    phase = rng.uniform(0, 2 * np.pi, runs)
    t_C = 25.0 + swing_K / 2 * np.sin(2 * np.pi * time[:, None] / 24 + phase)
    when = rng.integers(steps // 20, steps, (runs, vents))
    size = np.exp(rng.uniform(*np.log(drop_sigma), (runs, vents))) * noise_bar
    fall = np.zeros((steps + 1, runs))
    for run in range(runs):
        fall[when[run], run] = size[run]
    steam = 6.112e-3 * np.exp(17.62 * t_C / (243.12 + t_C))  # Magnus formula, Sonntag 1990
    gas, liquid = np.zeros(runs), np.zeros(runs)
    air = (1.01325 - steam[0]) * headspace_L / (R * (t_C[0] + 273.15))
    bar = np.empty((steps + 1, runs))
    vented = np.zeros((steps + 1, runs), dtype=bool)
    for step in range(steps + 1):
        RT = R * (t_C[step] + 273.15)
        virial = -0.1234 + 0.00097 * (t_C[step] - 25)  # L/mol, from Span & Wagner's Z at 20, 25 and 30 °C
        room = headspace_L - SWELLS_L_MOL * liquid
        co2 = gas * RT / room * (1 + virial * gas / room)
        if step:
            full = (liquid_L + SWELLS_L_MOL * liquid) * solubility(t_C[step]) * co2 * np.exp(virial * co2 / RT)
            moved = (1 - np.exp(-exchange_per_h * fine)) * (liquid - full)
            liquid = liquid + made[step] - made[step - 1] - moved
            gas = gas + moved
            room = headspace_L - SWELLS_L_MOL * liquid
            co2 = gas * RT / room * (1 + virial * gas / room)
        whole = co2 + air * RT / room + steam[step]
        drop = np.where(whole - fall[step] > 1.01325, fall[step], 0.0)
        left = (whole - drop) / whole
        gas, air, bar[step] = gas * left, air * left, whole - drop
        vented[step] = drop > 0
    read = slice(0, steps + 1, 10)
    true = bar[read].T - 1.01325
    in_step = vented[1:].reshape(steps // 10, 10, runs).any(1).T
    gauge = true + rng.normal(0, noise_bar, true.shape)
    return Logs(time[read], gauge, true, made[read].T, in_step, noise_bar, t_C[read].T)


def found_and_false(logs, find):
    """Of the falls of 5 sigma or more: how many there were and were found; false vents; readings."""
    there = hit = false = 0
    for gauge, true, step in zip(logs.gauge_bar, logs.true_bar, logs.vent_step):
        fall = -np.diff(true)
        large = np.flatnonzero(step & (fall >= 5 * logs.noise_bar))
        vents = find(logs.time_h, gauge)
        covered = np.zeros(step.size, dtype=bool)
        for before, after in zip(vents.last_before, vents.rows):
            covered[before - 1 : after - 1] = True
            false += not step[before - 1 : after - 1].any()
        there += large.size
        hit += int(covered[large].sum())
    return there, hit, false, logs.gauge_bar.size


def totals(runs, vents, **conditions):
    """How far the total CO2 of vented vessels is off, its stated error, and their ratio; temperature logged."""
    from fermkit import gas_from_pressure

    logs = simulate(runs, vents=vents, hours=96, seed=23, **conditions)
    off, stated = [], []
    for gauge, made, t_C in zip(logs.gauge_bar, logs.produced_mol, logs.temperature_C):
        total = gas_from_pressure(
            logs.time_h, gauge, headspace_L=0.6, liquid_L=1.4, temperature_C=t_C,
            oxygen_used=(0, 0), solubility_vs_water=1.0,
        ).total()  # fmt: skip
        off.append(total.nominal_value / made[-1] - 1)
        stated.append(total.std_dev / made[-1])
    off, stated = np.array(off), np.array(stated)
    return 100 * off.mean(), 100 * off.std(), 100 * stated.mean(), np.sqrt(np.mean((off / stated) ** 2))


def main(runs=60):
    """Print the tables."""
    from fermkit import find_vents

    print("Vents found, sizes from 5 to 400 sigma, swing of 5 K not logged, 8 vents a run\n")
    print("readings  noise  exchange  falls of 5 sigma   found    false in")
    print("every min   bar     1/h       and more          %    1000 readings")
    for every, hours in ((5, 72), (10, 96), (15, 96), (30, 168), (60, 240)):
        for noise in (0.002, 0.01):
            for exchange in (0.3, 2.0, 10.0):
                logs = simulate(runs, hours=hours, every_min=every, noise_bar=noise, exchange_per_h=exchange)
                there, hit, false, readings = found_and_false(logs, find_vents)
                print(
                    f"{every:6d} {noise:9.3f} {exchange:7.1f} {there:13d} {100 * hit / there:13.1f} "
                    f"{1000 * false / readings:10.2f}",
                    flush=True,
                )
    print("\nOnly falls between 5.0 and 5.5 sigma, 5 vents a run\n")
    print("every min  noise  exchange  swing K  falls  found %  false in 1000")
    for every, noise, exchange, swing in (
        (10, 0.01, 0.001, 0.0), (5, 0.005, 2.0, 5.0), (10, 0.005, 0.3, 5.0), (10, 0.01, 2.0, 5.0), (15, 0.01, 2.0, 5.0),
    ):  # fmt: skip
        logs = simulate(
            runs, hours=96, every_min=every, noise_bar=noise, exchange_per_h=exchange, swing_K=swing,
            drop_sigma=(5.0, 5.5), vents=5, seed=9,
        )  # fmt: skip
        there, hit, false, readings = found_and_false(logs, find_vents)
        print(
            f"{every:6d} {noise:9.3f} {exchange:7.3f} {swing:8.1f} {there:7d} {100 * hit / there:8.1f} "
            f"{1000 * false / readings:10.2f}",
            flush=True,
        )
    print("\nTotal CO2 with the vents added back, against the truth, temperature logged\n")
    print("every min  noise  exchange  swing K  vents  mean off %  spread %  stated %  off/stated")
    for every, noise, exchange in ((10, 0.005, 0.3), (10, 0.005, 2.0), (15, 0.01, 2.0), (10, 0.005, 10.0)):
        for swing in (0.0, 5.0):
            for vents in (0, 1, 3, 8):
                mean, spread, stated, score = totals(
                    runs // 2, vents, every_min=every, noise_bar=noise, exchange_per_h=exchange, swing_K=swing,
                    drop_sigma=(0.05 / noise, 1.5 / noise),
                )  # fmt: skip
                print(
                    f"{every:6d} {noise:9.3f} {exchange:7.1f} {swing:8.1f} {vents:7d} {mean:10.2f} {spread:9.2f} "
                    f"{stated:9.2f} {score:10.1f}",
                    flush=True,
                )


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
