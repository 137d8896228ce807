"""How often the batch fitted in time holds the truth: on its own structures, and on mechanisms that it does not know.

    python tests/benchmarks/kinetics_truth.py own 100                    # batches of each structure
    python tests/benchmarks/kinetics_truth.py strange 200                # batches of each mechanism, run to the end
    python tests/benchmarks/kinetics_truth.py forecast 100 0.6           # cut where 60 % of the gas has left

`strange` and `forecast` take a mechanism's name as a further argument, to run one of them alone.
"""

import sys

import numpy as np
from kinetics_batches import GRID, MECHANISMS, WITNESSES
from scipy.stats import kstest

from fermkit.kinetics.answers import fit_batch, prior
from fermkit.kinetics.course import P, Surroundings, course
from fermkit.kinetics.ensemble import draw, first_hour, fit_structure, joined
from fermkit.kinetics.fitting import MISFIT_FLOOR, MISFIT_H, Problem
from fermkit.kinetics.rates import NAMES, STRUCTURES
from fermkit.kinetics.series import series
from fermkit.matter.properties import co2_solubility

ENDS = (6.0, 90.0)
"""Batches that end outside these hours are not drawn."""


def own(batches, structures=STRUCTURES):
    """Ranks of the truth among the draws, for batches drawn from the very priors and errors that the fit assumes."""
    print("| structure | batches | quantity that fits worst | p | after Holm |\n|---|---|---|---|---|")
    for k, structure in enumerate(structures):
        rng = np.random.default_rng(100 + k)
        ranks = np.array([own_ranks(structure, rng, k) for _ in range(batches)])
        names = [*NAMES, "sugar gone", "alcohol at the end"]
        p = np.array([kstest(column, "uniform").pvalue for column in ranks.T])
        order = np.argsort(p)
        holm = min(1.0, float(np.min(p[order] * (len(p) - np.arange(len(p))))))
        print(f"| {structure.name} | {batches} | {names[order[0]]} | {p[order[0]]:.3f} | {holm:.2f} |", flush=True)


def own_ranks(structure, rng, seed):
    """One batch: where the truth of each quantity stands among the draws, 0 to 1."""
    around = Surroundings(2.0, 0.068, 0.04)
    known = {"sugar": (100.0, 2.0), "inoculum": (2.0, 0.2)}
    before = prior(known)
    grid = np.concatenate([np.linspace(0, 120, 1201), np.geomspace(121, 336, 60)])
    while True:
        theta = before.mean + before.sd * rng.normal(size=P)
        whole = course(structure, theta[None], grid, around)
        gone = first_hour(grid, whole.sugar_used, 0.99 * whole.sugar_used[:, -1])[0]
        if ENDS[0] < gone < ENDS[1]:
            break
    hours = np.linspace(0, 1.4 * gone, 40)
    gas = np.interp(hours, grid, whole.released[0])
    cov = (MISFIT_FLOOR * gas[-1]) ** 2 * np.exp(-((hours[:, None] - hours) ** 2) / 2 / MISFIT_H**2)
    u, u_step, common = 0.004 * gas[-1], 0.0015 * gas[-1], 0.01
    read = gas * np.exp(common * rng.normal() + theta[NAMES.index("gas factor")])
    read = read + rng.multivariate_normal(np.zeros(hours.size), cov, method="eigh")
    read = read + u * rng.normal(size=hours.size) + np.cumsum(u_step * rng.normal(size=hours.size))
    alcohol = np.interp(hours[[20, 39]], grid, whole.ethanol[0])
    read_alcohol = alcohol + rng.normal(size=2)
    readings = [
        series("gas released", hours, read, u, u_step=u_step, u_common=common),
        series("alcohol", hours[[20, 39]], read_alcohol, 1.0),
    ]
    problem = Problem(readings, before, around)
    fits = [fit_structure(problem, structure, seed)]
    draws = draw(problem, fits, int(rng.integers(1 << 30)))
    drawn = problem.theta(draws.z)
    used = joined(draws, "sugar_used")
    ends = first_hour(draws.hours, used, 0.99 * used[:, -1])
    ethanol = joined(draws, "ethanol")[:, -1]
    inside = (ends > ENDS[0]) & (ends < ENDS[1])  # the prior was cut there, so the posterior is
    compared = [*((drawn[:, i], theta[i]) for i in range(P)), (ends, gone), (ethanol, whole.ethanol[0, -1])]
    return [(np.sum(x[inside] < true) + rng.uniform()) / (inside.sum() + 1) for x, true in compared]


def strange_case(mechanism, rng, share=None):
    """A batch of another mechanism with kitchen readings of some of it: readings, what is known, vessel, truth."""
    while True:
        (used, yeast, ethanol, made, out), p = MECHANISMS[mechanism](rng)
        gone = float(np.interp(0.99 * used[-1], used, GRID))
        if ENDS[0] < gone < ENDS[1]:
            break
    u, v = rng.uniform, p["liquid"]
    gas = out * v
    last = gone * u(1.15, 1.8) if share is None else float(np.interp(share * gas[-1], gas, GRID))

    def at(level, hours):
        return np.interp(hours, GRID, level)

    n = int(rng.integers(25, 90))
    hours = np.sort(np.append(rng.uniform(0, last, n - 2), [0.0, last]))
    hours = hours[np.concatenate([[True], np.diff(hours) > 0.02])]
    n = hours.size
    readings, seen, kind = [], at(gas, hours), rng.integers(3)
    if kind == 0:  # a collector emptied at each reading
        step, factor = 0.005 * gas[-1] / np.sqrt(n), u(0.005, 0.03)
        read = (seen + np.cumsum(step * rng.normal(size=n))) * (1 + factor * rng.normal())
        readings.append(series("gas released", hours, read, 1e-4 * gas[-1], u_step=step, u_common=factor))
    elif kind == 1:  # a meter
        each, factor = 0.004 * gas[-1], u(0.005, 0.03)
        read = (seen + each * rng.normal(size=n)) * (1 + factor * rng.normal())
        readings.append(series("gas released", hours, read, each, u_common=factor))
    else:  # a scale
        above = p["space"] * 0.0405 * v
        lost = 44.01 * gas - 15.05 * above * (1 - np.exp(-gas / above)) + u(0.45, 0.75) * gas
        each = max(0.2, 0.004 * lost[-1])
        readings.append(series("mass lost", hours, at(lost, hours) + each * rng.normal(size=n), each))
    if u() < 0.6:
        when = np.array([0.6 * last, last])
        true = at(ethanol, when)
        each = 0.3 + 0.03 * true
        readings.append(series("alcohol", when, true + each * rng.normal(size=2), each))
    if u() < 0.5:
        each = 0.08 * at(yeast, last)
        readings.append(series("yeast", [last], [at(yeast, last) + each * rng.normal()], each))
    if u() < 0.4:
        when = np.array([0.0, 0.5 * last, last])
        readings.append(series("sugar", when, p["sugar"] - at(used, when) + 2 * rng.normal(size=3), 2.0))
    known = {
        "sugar": (p["sugar"] * (1 + 0.02 * rng.normal()), 0.02 * p["sugar"]),
        "inoculum": (p["inoculum"] * np.exp(0.1 * rng.normal()), 0.1 * p["inoculum"]),
    }
    if "nitrogen" in p:  # what a recipe tells: usable nitrogen over that of well-fed yeast, a factor of 1.5 either way
        allowed = p["nitrogen"] / 0.08 * np.exp(0.3 * rng.normal())
        known["nitrogen"] = (allowed, 0.45 * allowed)
    vessel = {
        "liquid_L": v, "store_mol": v * float(co2_solubility(p["warm"], 1.0)), "gas_space_mol": p["space"] * 0.0405 * v
    }  # fmt: skip
    slope = np.gradient(np.log(yeast), GRID)
    top = int(np.argmax(slope))
    truth = {
        "sugar_gone_h": gone, "lag_h": GRID[top] - np.log(yeast[top] / yeast[0]) / slope[top],
        "ethanol": at(ethanol, last), "co2": v * at(made, last), "yeast": at(yeast, last),
        "gas_done_h": float(np.interp(0.95 * gas[-1], gas, GRID)), "ethanol_end": ethanol[-1], "co2_end": v * made[-1],
    }  # fmt: skip
    return readings, known, vessel, truth, used[-1] < 0.95 * p["sugar"]


ASKED = ("sugar_gone_h", "lag_h", "ethanol", "co2", "yeast")
AHEAD = ("sugar_gone_h", "gas_done_h", "co2_end", "ethanol_end")


def strange(batches, mechanisms, share=None):
    """Share of the stated 95 % that holds the truth, and the median half-width (hours; % of the amounts)."""
    asked = ASKED if share is None else AHEAD
    print("| mechanism | batches | " + " | ".join(asked) + " | stopped short, chance told |")
    print("|---" * (len(asked) + 3) + "|")
    for mechanism in mechanisms:
        rng = np.random.default_rng([7, list(MECHANISMS).index(mechanism), int(100 * (share or 0))])
        held, width, short = {name: [] for name in asked}, {name: [] for name in asked}, []
        for i in range(batches):
            readings, known, vessel, truth, stopped = strange_case(mechanism, rng, share)
            fit = fit_batch(readings, known, **vessel, seed=i)
            if stopped and share is not None:  # "if nothing stops it" is not said of these
                short.append(fit.stops_short)
                continue
            for name in asked:
                one = fit.answers[name]
                held[name].append(one.low <= truth[name] <= one.high)
                half = (one.high - one.low) / 2
                width[name].append(half if name.endswith("_h") else 100 * half / truth[name])
        cells = [
            f"{100 * np.mean(held[name]):.0f} (± {np.median(width[name]):.2g} {'h' if name.endswith('_h') else '%'})"
            for name in asked
        ]
        told = f"{len(short)}, {np.median(short):.2f}" if short else "0"
        print(f"| {mechanism} | {len(held[asked[0]])} | " + " | ".join(cells) + f" | {told} |", flush=True)


if __name__ == "__main__":
    what, size, *rest = sys.argv[1:]
    named = [word for word in rest if word in MECHANISMS] or list(WITNESSES)
    if what == "own":
        own(int(size))
    else:
        strange(int(size), named, float(rest[0]) if what == "forecast" else None)
