"""How often a gas leak is found, from raw readings through the analysis, beside what theory promises.

    python tests/benchmarks/leak_study.py [RUNS]

Each run is a batch with its own true sugar content, yeast, temperature, by-products …, drawn from the ± that its
own run file states; its readings are drawn with their errors; `analyse` sees only the readings. The promise is the
power of the chi-square test with the non-centrality of that leak (van der Heijden et al. 1994), averaged over the runs.
"""

import sys

import numpy as np
from joblib import Parallel, delayed

from fermkit.balance.account import Balance
from fermkit.balance.detection import alarm_probability
from fermkit.gas.curve import CO2_G_PER_MOL
from fermkit.run.analysis import analyse
from fermkit.run.records import run_from
from fermkit.teach.fermentation import ferment
from fermkit.teach.kitchen import readings
from fermkit.teach.recipe import Kitchen, draw_batch, drawn_strain

LEAKS = (0.0, 0.05, 0.10, 0.20, 0.40)


def one_run(seed: int, leak: float) -> tuple[bool, float]:
    """Whether the run alarms, and how often theory says that it would."""
    rng = np.random.default_rng([seed, int(leak * 1000)])
    kitchen = Kitchen(name=f"study {seed}", gas="volume")
    truth = ferment(draw_batch(kitchen, rng, drawn_strain(rng), leak_share=leak))
    found = analyse(run_from(*readings(truth, rng, kitchen)), curve="gompertz")
    test = found.reconciliation
    if test is None:
        raise RuntimeError(f"run {seed}: " + " ".join(found.gaps))
    lost_g = leak / (1 - leak) * float(found.released[0].co2_mol[-1]) * CO2_G_PER_MOL
    return test.p_value < 0.05, promised(found.balance, lost_g)


def promised(balance: Balance, lost_g: float) -> float:
    """Chance of an alarm when the CO2 is reported too low by so many grams."""
    shift = np.array([-lost_g if s.name == "CO2" else 0.0 for s in balance.known] + [0.0] * len(balance.extra))
    R, V = balance._redundancy.R, balance._numbers[1]
    residual = R @ shift
    noncentrality = float(residual @ np.linalg.solve(R @ V @ R.T, residual))
    return alarm_probability(noncentrality, R.shape[0], 0.95)


def study(runs: int, leaks=LEAKS, jobs: int = 2) -> list[tuple[float, float, float]]:
    """For each leak: share of runs that alarm, and the share that theory promises."""
    table = []
    for leak in leaks:
        out = np.array(Parallel(n_jobs=jobs)(delayed(one_run)(seed, leak) for seed in range(runs)), dtype=float)
        table.append((leak, *out.mean(axis=0)))
    return table


if __name__ == "__main__":
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 4000
    print(f"{runs} runs each\nleak of the gas   alarms   promised")
    for leak, alarms, promised in study(runs):
        print(f"{leak:12.0%}   {alarms:8.3f}   {promised:8.3f}")
