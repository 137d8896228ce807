"""Does the estimate's 95 % interval hold the truth, whichever readings there are? All 256 subsets of eight.

    python tests/benchmarks/subset_study.py [batches] [seed]

Prints the worst cells, what a further reading does to the mean width, and the median widths beside the target.
"""

import sys
import time

import numpy as np
from foreign_batches import LITRES, READ, SOLIDS_G, SPACE_L, SUGAR_G, U_LITRES, U_SOLIDS, U_SPACE, U_SUGAR, draw, read
from scipy.special import chdtrc
from scipy.stats import norm
from uncertainties import ufloat

from fermkit.batch import readings
from fermkit.batch.answers import QUANTITIES, intervals, problem_of
from fermkit.batch.estimate import ALARM
from fermkit.batch.known import Recipe, known, surroundings
from fermkit.batch.least_squares import settle
from fermkit.matter.feed import feed
from fermkit.matter.usual import FOR_ALARMS

DENSITY = {"hexose": -0.386, "ethanol": 0.181, "glycerol": -0.2}
MAKE = {
    "ethanol content": readings.ethanol_content,
    "gas": lambda value: readings.gas("collected volume", value),
    "jar weight": readings.jar_weight,
    "density": lambda value: readings.density_fall(DENSITY, value),
    "residual sugar": readings.residual_sugar,
    "paste": readings.paste,
    "extract": readings.extract,
    "debris": readings.debris,
}
TARGET = {
    ((), False): (45, 51, 25),
    ((), True): (25, 34, 28),
    (("ethanol content", "extract", "debris"), False): (11, 15, 23),
    (("ethanol content", "extract", "debris"), True): (9, 12, 15),
}
"""Widths for CO2, alcohol and yeast [g] that a prototype reached, by readings and whether the sugar is told used up."""


def kitchen(told_inoculum=None):
    """The recipe as it is told, whatever the truth is."""
    own = {"cane": {"glucose": 1 - SOLIDS_G / (SUGAR_G + SOLIDS_G), "unfermentables": SOLIDS_G / (SUGAR_G + SOLIDS_G)}}
    fed = feed({"cane": SUGAR_G + SOLIDS_G}, own)
    told = fed.__class__(
        **{name: getattr(fed, name) for name in fed.__dataclass_fields__}
        | {
            "hexose_g": ufloat(SUGAR_G, U_SUGAR * SUGAR_G),
            "non_yeast_solids_g": ufloat(SOLIDS_G, U_SOLIDS * SOLIDS_G),
            "inoculum_g": ufloat(told_inoculum, 0.05) if told_inoculum else 0.0,
        }
    )
    return Recipe(told, liquid_L=ufloat(LITRES, U_LITRES * LITRES), gas_space_L=ufloat(SPACE_L, U_SPACE * SPACE_L))


def fitted(names, shown, *, state="not stated", used_up=False, recipe=None, width=1.0):
    """Latents, surroundings and the fit of all batches with one subset of readings."""
    recipe = recipe or kitchen()
    latents, around = known(recipe, state, width), surroundings(recipe)
    taken = [MAKE[name](ufloat(float(np.mean(shown[name])), READ[name])) for name in names]
    n = len(next(iter(shown.values())))
    columns = [shown[name] for name in names]
    if used_up:
        taken.append(readings.used_up())
        columns.append(np.full(n, taken[-1].value.nominal_value))
    problem = problem_of(latents, taken, around)
    y = np.stack(columns, axis=1) if columns else np.zeros((n, 0))
    return latents, around, settle(problem, np.repeat(problem.m[None], n, axis=0), y)


def cells(truth, shown, names, **how):
    """Coverage, mean width and median width of every quantity for one subset."""
    latents, around, fit = fitted(names, shown, **how)
    low, high, _ = intervals(latents, around, fit)
    true = np.stack([truth[key] for key in QUANTITIES], axis=1)
    held = ((low <= true) & (true <= high)).mean(axis=0)
    return held, (high - low).mean(axis=0), np.median(high - low, axis=0)


def alarms(shown, names):
    """Share of honest runs that alarm with one subset."""
    fit = fitted(names, shown, width=FOR_ALARMS)[2]
    return float((chdtrc(len(names), fit.J) < ALARM).mean()) if names else 0.0


def main(batches=2000, seed=1):
    """Run the study and print its tables."""
    rng = np.random.default_rng(seed)
    truth = draw(batches, rng)
    shown = read(truth, rng)
    names = list(READ)
    began = time.process_time()
    subsets = [tuple(name for i, name in enumerate(names) if code >> i & 1) for code in range(256)]
    found = {subset: cells(truth, shown, subset) for subset in subsets}
    spent = time.process_time() - began
    coverage = np.array([found[subset][0] for subset in subsets])
    floor = 0.93 - norm.isf(0.05 / coverage.size) * np.sqrt(0.93 * 0.07 / batches)
    print(f"{batches} batches, {coverage.size} cells, {spent:.0f} s of processor time")
    print(f"cells below 93 %: {(coverage < 0.93).sum()}; significantly (below {floor:.4f}): {(coverage < floor).sum()}")
    print(f"mean coverage {coverage.mean():.4f}, worst {coverage.min():.4f}")
    rates = {subset: alarms(shown, subset) for subset in subsets}
    worst = max(rates, key=rates.get)
    mean = np.mean(list(rates.values()))
    print(f"honest runs that alarm: mean {mean:.4f}, most {rates[worst]:.4f} ({', '.join(worst)})")
    print("\nworst and mean coverage by quantity")
    for i, key in enumerate(QUANTITIES):
        worst = subsets[int(coverage[:, i].argmin())]
        print(f"  {key:18s} {coverage[:, i].min():.4f}  {coverage[:, i].mean():.4f}   {', '.join(worst) or 'recipe'}")
    widened = []
    for subset in subsets:
        for name in names:
            if name not in subset:
                more = tuple(sorted((*subset, name), key=names.index))
                ratio = found[more][1] / found[subset][1]
                widened += [(r, key, subset, name) for r, key in zip(ratio, QUANTITIES)]
    widened.sort(key=lambda row: -row[0])
    print("\na further reading widens the mean interval most:")
    first = {key: row for row in reversed(widened) for key in [row[1]]}
    for ratio, key, subset, name in sorted(first.values(), key=lambda row: -row[0]):
        print(f"  {100 * (ratio - 1):+.1f} %  {key}: {name} after {', '.join(subset) or 'recipe'}")
    print("\nmedian width of CO2, alcohol, yeast [g] beside the target")
    columns = [list(QUANTITIES).index(key) for key in ("co2", "ethanol", "yeast")]
    done = draw(batches, rng, stuck=0.0)
    for (subset, used), target in TARGET.items():
        truth_, shown_ = (done, read(done, rng)) if used else (truth, shown)
        held, _, median = cells(truth_, shown_, subset, used_up=used)
        ratios = " ".join(f"{median[c]:.1f} ({median[c] / t:.2f})" for c, t in zip(columns, target))
        print(f"  {', '.join(subset) or 'recipe'}{', used up' if used else ''}: {ratios}; held {held[columns]}")
    print("\ncoverage and median width by subset: CO2, alcohol, yeast, sugar left")
    columns.append(list(QUANTITIES).index("sugar_left"))
    for subset in sorted(subsets, key=len):
        held, _, median = found[subset]
        row = "  ".join(f"{held[c]:.3f} {median[c]:5.1f}" for c in columns)
        print(f"  {row}   {', '.join(subset) or 'recipe'}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
