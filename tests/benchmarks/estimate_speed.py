"""Processor time of an estimate: a complete run with ranking and all questions, a sparse one, and plain least squares.

python tests/benchmarks/estimate_speed.py [repeats]
"""

import sys
import time

import numpy as np
from foreign_batches import READ, draw, read
from scipy.optimize import least_squares
from subset_study import MAKE, kitchen
from uncertainties import ufloat

from fermkit.batch.answers import QUANTITIES, problem_of
from fermkit.batch.estimate import estimate
from fermkit.batch.known import known, surroundings
from fermkit.batch.own_sums import check_sums
from fermkit.batch.readings import ethanol_content
from fermkit.batch.suspects import detection_limits, suspects


def median_s(act, repeats):
    """Median processor time of an act [s]."""
    spent = []
    for _ in range(repeats):
        began = time.process_time()
        act()
        spent.append(time.process_time() - began)
    return float(np.median(spent))


def main(repeats=15):
    """Time the three and print them."""
    rng = np.random.default_rng(2)
    shown = read(draw(1, rng), rng)
    shown["gas"] *= 0.7  # a leak, so that the ranking has work to do
    taken = [MAKE[name](ufloat(float(shown[name][0]), READ[name])) for name in READ]
    recipe = kitchen()

    def complete():
        found = estimate(recipe, taken)
        assert found.adds_up.alarm
        suspects(found), detection_limits(found), found.measure_next()
        check_sums(found, {"co2": 12.0, "ethanol": 80.0, "yeast": 9.0})
        return [found.whose(key) for key in QUANTITIES], str(found)

    def sparse():
        found = estimate(recipe, [ethanol_content(ufloat(3.0, 0.15))])
        return found.adds_up.alarm, found.measure_next(), str(found)

    latents, around = known(recipe), surroundings(recipe)
    problem = problem_of(latents, taken, around)
    root = np.linalg.cholesky(problem.R)

    def plain():
        def residual(x):
            z = problem.m + x * problem.u
            return np.concatenate([x, np.linalg.solve(root, problem.y - problem.shows(z[None])[0])])

        return least_squares(residual, np.zeros(problem.m.size))

    complete(), sparse(), plain()
    for name, act in (("complete run, ranking and all questions", complete), ("sparse run", sparse),
                      ("plain scipy.optimize.least_squares of the complete fit alone", plain)):  # fmt: skip
        print(f"{1000 * median_s(act, repeats):8.1f} ms   {name}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
