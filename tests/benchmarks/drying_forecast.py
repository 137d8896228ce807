"""How often the 95 % limits of a drying forecast hold the true time, on simulated dryings.

Run:  python tests/benchmarks/drying_forecast.py [runs]
"""

import math
import sys

import numpy as np
from scipy.integrate import solve_ivp
from uncertainties import ufloat

from fermkit import drying_curve

DRY_G, END_G, START_G, DRY_U_G = 27.0, 27.8, 100.0, 0.1


def page(n, k=0.5):
    """Weight and time to a weight of a Page curve (n = 1: Henderson and Pabis)."""
    return (
        lambda t: END_G + (START_G - END_G) * np.exp(-((k * t) ** n)),
        lambda goal: (math.log((START_G - END_G) / (goal - END_G)) / k**n) ** (1 / n),
    )


def slab(diffusion, nodes=40):
    """The same of a slab by Fick's law, its surface at a fixed rate while wet and by its content when not."""

    def rate(_, u):
        flux = diffusion * np.diff(u) * nodes
        return nodes * (np.append(flux, -0.25 * min(u[-1] / 0.2, 1.0)) - np.append(0.0, flux))

    fine = np.linspace(0, 60, 6001)
    solved = solve_ivp(rate, (0, 60), np.ones(nodes), method="BDF", t_eval=fine, rtol=1e-8, atol=1e-10)
    weight = END_G + (START_G - END_G) * solved.y.mean(axis=0)
    return lambda t: np.interp(t, fine, weight), lambda goal: float(np.interp(-goal, -weight, fine))


def coverage(runs, law, *, last_h, scatter_g, model="usual", target=0.08, seed=1):
    """Truth [h], share of runs whose limits hold it, share with an open end, median width [h]."""
    rng = np.random.default_rng(seed)
    weight, when = law
    truth, t = when(DRY_G / (1 - target)), np.linspace(0, last_h, 16)
    found = []
    for _ in range(runs):
        dry = ufloat(DRY_G + rng.normal(0, DRY_U_G), DRY_U_G)
        curve = drying_curve(t, weight(t) + rng.normal(0, scatter_g, t.size), dry_g=dry, model=model)
        found.append(curve.time_to(target).limits_h)
    low, high = np.array(found).T
    return truth, np.mean((low <= truth) & (truth <= high)), np.isinf(high).mean(), float(np.median(high - low))


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print("law                  scatter  last weighing    truth    covers   open   median width")
    for name, law in (
        ("Page, n = 1.2", page(1.2)), ("plain exponential", page(1.0)), ("slab, thin", slab(0.3)), ("slab", slab(0.1)),
    ):  # fmt: skip
        for scatter_g in (0.02, 0.15):
            for part in (0.7, 1.0, 1.6):
                last = part * law[1](DRY_G / 0.92)
                truth, share, open_end, width = coverage(count, law, last_h=last, scatter_g=scatter_g)
                print(
                    f"{name:20} {scatter_g:5.2f} g {last:10.1f} h {truth:10.2f} h {share:8.3f} {open_end:7.3f} "
                    f"{width:8.2f} h"
                )
