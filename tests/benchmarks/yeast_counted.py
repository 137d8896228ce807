"""Does the estimate hold the truth where yeast was counted at the start and when grown?

    python tests/benchmarks/yeast_counted.py [batches] [seed]

Batches of `foreign_batches`; a dry cell weighs 18 to 70 pg, as likely one as another in its logarithm, 0.72 to 1.3
times as much when grown; 80 to 100 % is in suspension; counts are Poisson's, each filling of the chamber off by 6 %.
Prints how often the 95 % of the yeast holds the truth, its median width with and without the counts, and how often
honest runs alarm.
"""

import sys

import numpy as np
from foreign_batches import draw
from subset_study import kitchen
from uncertainties import ufloat

from fermkit.batch import readings
from fermkit.batch.estimate import estimate
from fermkit.growth.yeast_counts import count_cells
from fermkit.matter import usual

TOLD_G = 5.0


def count(g_per_L, rng):
    """Cells of a suspension in two fillings of 25 squares, diluted so that a square holds about eight."""
    cells_per_mL = g_per_L / 1000 / (rng["pg"] * rng["swollen"] * 1e-12) * rng["suspended"]
    dilution = max(1.0, cells_per_mL * 4e-6 / 8)
    expected = cells_per_mL / dilution * 4e-6 * 25
    cells = rng["draw"].poisson(expected * rng["draw"].normal(1, 0.06, 2))
    off = 1 + 0.03 * rng["draw"].standard_normal()
    return count_cells(np.maximum(cells, 1), [25, 25], dilution=ufloat(dilution, 0.03 * dilution) * off)


def grams(found, cell):
    """As the run makes a reading of a count."""
    swollen = ufloat(1.0, usual.CELL_CHANGES)
    return found.grams_per_L(cell) * swollen / usual.SUSPENDED.value()


def main(batches=300, seed=1):
    """Run the study and print its table."""
    rng = np.random.default_rng(seed)
    truth = draw(batches, rng, told_inoculum=TOLD_G)
    recipe = kitchen(TOLD_G)
    bare = estimate(recipe)["yeast"]
    rows = {"counted when grown": [], "counted at the start too": [], "and alcohol": []}
    alarms = dict.fromkeys(rows, 0)
    for i in range(batches):
        of = {"pg": np.exp(rng.uniform(np.log(18), np.log(70))), "draw": rng}
        at_start = of | {"swollen": 1.0, "suspended": rng.uniform(0.8, 1.0)}
        grown = of | {"swollen": rng.uniform(0.72, 1.3), "suspended": rng.uniform(0.8, 1.0)}
        cell = usual.CELL_PG.value()
        first = readings.yeast_at_start(grams(count(truth["inoculum"][i] / truth["liquid"][i], at_start), cell))
        whole = (truth["inoculum"][i] + truth["yeast"][i]) / truth["liquid"][i]
        last = readings.yeast_in_liquid("cell count", grams(count(whole, grown), cell))
        inside = (truth["ethanol"][i] - truth["stripped"][i]) / truth["liquid"][i] / 7.893
        alcohol = readings.ethanol_content(ufloat(inside + 0.15 * rng.standard_normal(), 0.15))
        for name, taken in zip(rows, ([last], [first, last], [first, last, alcohol])):
            found = estimate(recipe, taken)
            yeast = found["yeast"]
            rows[name].append((yeast.low <= truth["yeast"][i] <= yeast.high, yeast.high - yeast.low))
            alarms[name] += found.adds_up.alarm
    print(f"{batches} batches; from the recipe alone the yeast is {bare.high - bare.low:.1f} g wide")
    for name, seen in rows.items():
        held, wide = np.array(seen).T
        print(f"{name:26s} held {held.mean():.3f}, median width {np.median(wide):.1f} g, "
              f"alarms {alarms[name] / batches:.3f}")  # fmt: skip


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
