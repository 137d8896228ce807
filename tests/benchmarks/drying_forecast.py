"""How often the 95 % limits of a drying forecast hold the true time, on simulated dryings."""

import math

import numpy as np
from uncertainties import ufloat

from fermkit import drying_curve

DRY_G, END_G, START_G, SCATTER_G, DRY_U_G = 27.0, 27.8, 100.0, 0.15, 0.1


def coverage(runs, *, last_h, model, n, end, target=0.08, seed=1):
    """Share of runs whose limits hold the truth, share with an open end, median width [h]."""
    rng = np.random.default_rng(seed)
    rest = DRY_G if end == "dry" else END_G
    goal = DRY_G / (1 - target)
    truth = (math.log((START_G - rest) / (goal - rest)) / 0.5**n) ** (1 / n)
    t = np.linspace(0, last_h, 14)
    held = wide = 0
    widths = []
    for _ in range(runs):
        w = rest + (START_G - rest) * np.exp(-((0.5 * t) ** n)) + rng.normal(0, SCATTER_G, t.size)
        dry = ufloat(DRY_G + rng.normal(0, DRY_U_G), DRY_U_G)
        low, high = drying_curve(t, w, dry_g=dry, model=model, end=end).time_to(target).limits_h
        held += low <= truth <= high
        wide += math.isinf(high)
        widths.append(high - low)
    return held / runs, wide / runs, float(np.median(widths)), truth


if __name__ == "__main__":
    print("model            end      last weighing   truth    covers   open   median width")
    for model, n in (("page", 1.2), ("henderson_pabis", 1.0)):
        for end in ("fitted", "dry"):
            for last_h in (6.0, 8.0, 12.0):
                share, open_end, width, truth = coverage(600, last_h=last_h, model=model, n=n, end=end)
                print(
                    f"{model:16} {end:8} {last_h:8.0f} h {truth:10.2f} h {share:8.3f} {open_end:7.3f} {width:8.2f} h"
                )
