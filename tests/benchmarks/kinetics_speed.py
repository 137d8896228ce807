"""How quick the batch in time is: a course, a descent against scipy, a whole fit, a class. Processor time, one core.

    OMP_NUM_THREADS=1 python tests/benchmarks/kinetics_speed.py 6          # races
"""

import sys
import time
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares

from fermkit.kinetics.answers import fit_batch, prior
from fermkit.kinetics.course import P, Surroundings, course
from fermkit.kinetics.fitting import Problem, descend
from fermkit.kinetics.rates import NAMES, STRUCTURES
from fermkit.kinetics.series import series

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from test_kinetics import slopes_in_time

AROUND = Surroundings(2.0, 0.068, 0.04)
KNOWN = {"sugar": (100.0, 2.0), "inoculum": (2.0, 0.2)}
BEFORE = prior(KNOWN)


def took(work, times):
    """Processor time of one call [ms]."""
    work()
    start = time.process_time()
    for _ in range(times):
        work()
    return 1000 * (time.process_time() - start) / times


def drawn(rng):
    """A batch of the first structure that ends in 6–60 h: quantities, hours, gas with errors."""
    grid = np.linspace(0, 120, 1201)
    while True:
        theta = BEFORE.mean + BEFORE.sd * rng.normal(size=P)
        whole = course(STRUCTURES[0], theta[None], grid, AROUND)
        used = whole.sugar_used[0]
        if used[-1] > 0.9 * np.exp(theta[0]) and 6 < np.interp(0.99 * used[-1], used, grid) < 60:
            break
    last = 1.3 * np.interp(0.99 * used[-1], used, grid)
    hours = np.linspace(0, last, 40)
    gas = np.interp(hours, grid, whole.released[0])
    u = 0.004 * gas[-1]
    alcohol = np.interp(hours[[20, 39]], grid, whole.ethanol[0]) + rng.normal(size=2)
    read = gas * np.exp(theta[NAMES.index("gas factor")]) + u * rng.normal(size=40)
    return [series("gas released", hours, read, u), series("alcohol", hours[[20, 39]], alcohol, 1.0)]


def scipys(problem, z0):
    """least_squares over solve_ivp (LSODA), the same rows and the same start: its minimum, and its time [ms]."""
    hours = problem.hours

    def rows(z):
        q = dict(zip(NAMES, np.exp(problem.theta(z[None])[0])))
        y0 = [q["sugar"], q["inoculum"], 0, 0, 0, 0]
        slopes = slopes_in_time(STRUCTURES[0], q, AROUND)
        y = solve_ivp(slopes, (0, hours[-1]), y0, "LSODA", hours, rtol=1e-6, atol=1e-8).y
        left = []
        for one, at, white, target in zip(problem.readings, problem.at, problem.factor, problem.target):
            value = y[4, at] * q["gas factor"] if one.kind == "gas released" else y[2, at]
            value = value[1:] - value[:1] if one.counted else value
            left.append(white @ (value - target))
        return np.concatenate([*left, z])

    start = time.process_time()
    found = least_squares(rows, z0, method="trf", ftol=1e-6, xtol=1e-6)
    return 2 * found.cost, 1000 * (time.process_time() - start)


def main(races):
    """Print the table."""
    rng = np.random.default_rng(1)
    hours = np.linspace(0, 40, 401)
    theta = BEFORE.mean[None]
    for structure in STRUCTURES:
        plain = took(lambda s=structure: course(s, theta, hours, AROUND), 50)
        sloped = took(lambda s=structure: course(s, theta, hours, AROUND, slopes=True), 50)
        print(f"course, 401 hours, {structure.name}: {plain:.2f} ms; with {P} slopes {sloped:.2f} ms")
    ratios, same = [], 0
    for i in range(races):
        problem = Problem(drawn(rng), BEFORE, AROUND)
        z0 = np.zeros(problem.size)
        start = time.process_time()
        ours = descend(problem, STRUCTURES[0], z0[None])
        mine = 1000 * (time.process_time() - start)
        theirs, slow = scipys(problem, z0)
        near = abs(ours.chi2[0] - theirs) < 0.1
        same += near
        ratios.append(slow / mine)
        print(f"race {i}: {mine:.0f} against {slow:.0f} ms, chi² {ours.chi2[0]:.2f} against {theirs:.2f}", flush=True)
    if ratios:
        quick = f"{min(ratios):.0f}–{max(ratios):.0f} times as quick"
        print(f"one descent: {quick}; same chi² within 0.1 in {same} of {races}")
    times = []
    for i in range(max(races, 1)):
        readings = drawn(rng)
        start = time.process_time()
        fit_batch(readings, KNOWN, liquid_L=2.0, store_mol=0.068, gas_space_mol=0.04, seed=i)
        times.append(time.process_time() - start)
    mean = np.mean(times)
    print(f"a whole fit, four structures: {mean:.2f} s mean, {max(times):.2f} s most; a class of 30: {30 * mean:.0f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 6)
