"""How often each mistake raises the alarm, and whether the true cause is then in the first group.

    python tests/benchmarks/mistake_study.py [batches] [ranked] [seed]

Batches of a generator that is not ours (`foreign_batches`), eight readings and a told washing loss of 0 to 10 %.
"""

import sys
import time

import numpy as np
from foreign_batches import RANGES, READ, draw, read
from scipy.special import chdtrc
from subset_study import MAKE, kitchen
from uncertainties import ufloat

from fermkit.batch.answers import problem_of
from fermkit.batch.estimate import ALARM, estimate
from fermkit.batch.known import known, surroundings
from fermkit.batch.least_squares import settle
from fermkit.batch.readings import washing_loss
from fermkit.batch.suspects import suspects
from fermkit.matter.usual import FOR_ALARMS

TOLD, U_TOLD = 0.05, 0.03
"""Washing loss as told, where 0 to 10 % was lost."""


def leak(t, s, rng):
    """A fifth of the gas leaves past the collector."""
    s["gas"] -= 0.2 * t["co2_out"]


def washed_out(t, s, rng):
    """Washing took two fifths, and 0 to 10 % was told."""
    for part in ("extract", "debris"):
        s[part] -= t[part] * (1 - 0.6 / (1 - t["washings"] / t["paste"]))


def wet(t, s, rng):
    """The paste was weighed 60 % dry."""
    s["paste"] += t["paste"] * (1 / 0.6 - 1)


def by_volume(t, s, rng):
    """Per cent by volume used as per cent by mass."""
    s["ethanol content"] /= 0.792


def by_mass(t, s, rng):
    """Standards made by mass and labelled by volume."""
    s["ethanol content"] *= 0.792


def diluted(t, s, rng):
    """One part and one part read as undiluted."""
    s["ethanol content"] /= 2


def third(t, s, rng):
    """A third of a mole for each mole of sugar, made on both gas readings."""
    for route in ("gas", "jar weight"):
        s[route] /= 6


def scale(t, s, rng):
    """A scale that reads a tenth too much: all weighings, the sugar among them."""
    for name in set(s) - {"paste", "extract", "debris", "jar weight"}:
        s[name] /= 1.1  # less sugar than told went in; what was weighed of it is read as much too heavy again


def moist(t, s, rng):
    """A tenth of the sugar was water: everything made of it is less by a tenth."""
    for name in s:
        s[name] *= 0.9


def weak(t, s, rng):
    """Standards a tenth weaker than their label."""
    s["ethanol content"] /= 0.9


CASES = {
    "leak": (leak, 0.80), "washed out": (washed_out, 1.0), "wet paste": (wet, 1.0), "by volume": (by_volume, 0.52),
    "by mass": (by_mass, None), "dilution": (diluted, None), "third": (third, None), "scale": (scale, 0.43),
    "moist": (moist, 0.40), "weak standards": (weak, 0.14), "inoculum": (None, 0.10),
}  # fmt: skip
"""Each mistake by its key, how it changes truth and readings, and the power that a prototype reached."""


def readings_of(s, i):
    """The readings of one batch."""
    return [MAKE[name](ufloat(float(s[name][i]), READ[name])) for name in READ] + [washing_loss(ufloat(TOLD, U_TOLD))]


def drawn(n, rng, told):
    """Batches with the washing loss that is told, and an inoculum that is told or (4 g) left out."""
    kept, RANGES["washed out"] = RANGES["washed out"], (0.0, 0.1)
    truth = draw(n, rng, told_inoculum=told)
    RANGES["washed out"] = kept
    return truth


def main(batches=1000, ranked=100, seed=3):
    """Run the study and print its table."""
    rng = np.random.default_rng(seed)
    began = time.process_time()
    print("mistake           power (prototype)   in first group   first group's median size   named first")
    for key, (change, target) in {"none": (None, None), **CASES}.items():
        left_out = key == "inoculum"
        truth = drawn(batches, rng, 4.0 if left_out else None)
        shown = read(truth, rng)
        if change:
            change(truth, shown, rng)
        recipe = kitchen()
        around = surroundings(recipe)
        problem = problem_of(known(recipe, width=FOR_ALARMS), readings_of(shown, 0), around)
        y = np.column_stack([*(shown[name] for name in READ), np.full(batches, TOLD)])
        alarm = chdtrc(y.shape[1], settle(problem, np.repeat(problem.m[None], batches, 0), y).J) < ALARM
        hit, first, size = [], [], []
        for i in np.flatnonzero(alarm)[: ranked if key != "none" else 0]:
            found = suspects(estimate(recipe, readings_of(shown, i)))
            if not found.alarm:
                continue
            keys = [suspect.mistake.key for suspect in found.first.suspects]
            hit.append(key in keys)
            first.append(keys[0] == key)
            size.append(len(keys))
        beside = f"({target:.2f})" if target else "      "
        row = f"{np.mean(hit):.2f} of {len(hit):3d}   {np.median(size):.0f}   {np.mean(first):.2f}" if hit else ""
        print(f"{key:16s}  {alarm.mean():.3f} {beside}   {row}")
    print(f"{time.process_time() - began:.0f} s of processor time")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
