"""Are yeast and losses held where the liquids poured off were read? `python tests/benchmarks/washing_study.py [runs]`

The pots are made by a washing that the method does not know: part of the paste's liquid sits in clumps and swaps a
third of itself at each wash, mud settles, yeast sticks to the walls and floats in what is poured off, molasses' solids
bend light by a factor of their own. Prints how often the stated 95 % intervals hold the truth, and the ± of the yeast
with the table of the washing and without it.
"""

import sys

import numpy as np

import fermkit as fk

SIZE = int(sys.argv[1]) if len(sys.argv) > 1 else 100
FEED = [{"ingredient": "beet molasses", "amount": "240 g"}]


def pot(rng):
    """One pot: settings, tables, and the true yeast grown and yeast lost [g]."""
    molasses = fk.ingredient("beet molasses")
    sugar, solids = 240 * molasses.hexose.nominal_value, 240 * molasses.non_yeast_solids.nominal_value
    sugar, solids = sugar * rng.normal(1, 0.03), solids * rng.normal(1, 0.1)
    grown = sugar * rng.uniform(0.03, 0.11)
    everything = grown + 5 * 0.93
    cells = rng.uniform(0.1, 1.5), rng.uniform(0.05, 0.4), rng.uniform(0.05, 0.4)
    poured = np.array([1.85, 0.6, 0.6])
    floats = float(poured @ np.array(cells))
    stuck = rng.uniform(0, 0.04) * everything
    kept = everything - floats - stuck
    liquid = kept * rng.uniform(2.5, 4.0) / 1000
    broth = (solids * 0.99 + grown * rng.uniform(0.5, 1.1)) / 2.0
    hidden = rng.uniform(0.02, 0.2)
    free = inside = broth
    shown = [broth]
    for volume in poured[1:]:
        free = free * liquid * (1 - hidden) / (liquid * (1 - hidden) + volume)
        moved = liquid * hidden / 3
        inside, free = inside + (free - inside) / 3, free + (inside - free) * moved / (volume + liquid)
        shown.append(free)
    carried = liquid * (free * (1 - hidden) + inside * hidden) + solids * rng.uniform(0, 0.012)
    dry, alcohol = kept + carried, 0.45 * sugar / 2.0
    bends = rng.uniform(0.9, 1.15)
    brix = [(x * bends + 0.43 * alcohol * x / broth) / 10.35 + rng.normal(0, 0.1) for x in shown]
    read = {
        "what": ["supernatant", "wash", "wash"], "volume [mL]": list(1000 * poured * rng.normal(1, 0.02, 3)),
        "brix [°Bx]": [max(x, 0.0) for x in brix], "cells [g/L]": [max(c * rng.normal(1, 0.1), 0) for c in cells],
    }  # fmt: skip
    weights = {"item": ["paste"], "tare [g]": [0], "wet [g]": [dry + 1000 * liquid], "dry [g]": [dry]}
    content = alcohol / 7.89
    settings = {"vessel": {"liquid": "2.00 ± 0.02 L"}, "feed": FEED, "run": {"state": "used up"},
                "ethanol": {"content": f"{content * rng.normal(1, 0.03):.2f} ± {0.03 * content:.2f} % vol"},
                "inoculum": {"ingredient": "active dry yeast", "amount": "5.0 ± 0.1 g"}}  # fmt: skip
    return settings, {"weights": weights}, {"washing": read}, grown, floats + stuck


def main():
    """The table."""
    rng, held, wide = np.random.default_rng(11), {"yeast": [], "losses": []}, {"with": [], "without": []}
    for _ in range(SIZE):
        settings, weights, washing, grown, lost = pot(rng)
        with_it, without = (
            fk.analyse(fk.run_from(settings, tables), only=("feed", "ethanol_pct_vol", "estimate")).estimate
            for tables in (weights | washing, weights)
        )
        for key, true in (("yeast", grown), ("losses", lost)):
            held[key].append(with_it[key].low <= true <= with_it[key].high)
        wide["with"].append(with_it["yeast"].u)
        wide["without"].append(without["yeast"].u)
    for key, those in held.items():
        print(f"{key}: {100 * np.mean(those):.0f} of 100 held by 95 % intervals, {SIZE} pots")
    without, with_it = (np.median(wide[key]) for key in ("without", "with"))
    print(f"± of the yeast: {without:.2f} g without, {with_it:.2f} g with the washing")


if __name__ == "__main__":
    main()
