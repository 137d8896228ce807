"""How often the printed 95 % intervals of a growth curve hold the truth, and how wide they are.

Run as a script: ``python tests/benchmarks/coverage.py [runs]`` (4,000 runs a case if not given).
Columns: for each quantity the coverage [%], the median width over that of the best possible fit (one that
is told the true error of every reading), and the share of runs in which the number is given [%].
"""

import sys

import numpy as np
from scipy.special import stdtrit

import fermkit as fk
from fermkit.growth import confidence
from fermkit.growth.curves import SHAPES
from fermkit.growth.problem import pose
from fermkit.growth.verdicts import judge
from fermkit.growth.weights import solve

A, RATE = 600.0, 40.0
RUNS_AT_ONCE = 500

SITUATIONS = {"full": (6.0, 48.0), "cut early": (6.0, 16.0), "no lag": (0.0, 40.0), "long lag": (20.0, 60.0)}
"""Lag and length of the run [h]; cut early ends at 68 % (Gompertz) or 83 % (logistic) of the end."""

KINDS = ("independent", "counting", "drifting", "common factor")


def truth(curve, lag):
    """Shape parameters of the true curve, (1, 2)."""
    steep, foot = {"gompertz": (np.e, 1), "logistic": (4, 2), "baranyi": (4, 2)}[curve]
    b = steep * RATE / A
    return np.array([[np.log(b), lag + foot / b]])


def simulate(curve, lag, span, n, kind, runs, rng):
    """Times, readings (runs, n), noise word, standard deviations, common factor."""
    t = np.linspace(0, span, n)
    p = truth(curve, lag)
    y = A * SHAPES[curve].value(np.exp(p[0, 0]), p[0, 1], t)
    if kind in ("independent", "common factor"):
        scale = 0.03 if kind == "common factor" else 0.0
        factor = 1 + scale * rng.normal(size=(runs, 1))
        return t, factor * (y + 0.02 * A * rng.normal(size=(runs, n))), "independent", np.full(n, 0.02 * A), scale
    steps = np.diff(y)
    if kind == "counting":
        drop = A / 400
        seen, sd = rng.poisson(np.maximum(steps, 0) / drop, size=(runs, n - 1)) * drop, np.sqrt(drop * steps)
    else:
        sd = np.full(n - 1, 0.03 * A / np.sqrt(n))
        seen = steps + sd * rng.normal(size=(runs, n - 1))
    return t, np.concatenate([np.zeros((runs, 1)), np.cumsum(seen, axis=1)], axis=1), "accumulating", sd, 0.0


def finishing(shape):
    """Measure of the time at which 99 % of the final amount is reached."""

    def reached(level, p):
        start = shape.value(np.exp(p[:, :1]), p[:, 1:2], np.zeros(1))[:, 0]
        return shape.when(p, start + 0.99 * (1 - start))

    return confidence.by_differences(reached)


PLACES = ((0, 0), (1, 0), (2, 0), (0, 1))
"""Row and measure of the four quantities: final amount, largest rate, lag, finish time."""


def limits(shape, problem, found, room, scale, measures):
    """Low and high end of the four quantities of each fit: (4, m) each."""
    theta, ends = found.theta(), []
    for row, which in PLACES:
        value = measures[which](found.level, found.p)[0][:, row]
        at = np.full(len(value), row)
        low, high = (
            confidence.extremes(shape, theta, problem, room, at, np.full(len(value), side), measures[which])
            for side in (-1.0, 1.0)
        )
        common = 1.96 * scale * value * (which == 0) * (row < 2)
        ends.append((value - np.hypot(value - low, common), value + np.hypot(high - value, common)))
    low, high = zip(*ends)
    return np.array(low), np.array(high)


def cover(curve, lag, span, n, kind, runs, seed=0):
    """Coverage, relative width and share given of final amount, rate, lag and finish time: (4, 3).

    The best possible fit is the same fit told the standard deviation of every reading or increment.
    """
    rng, shape, p = np.random.default_rng(seed), SHAPES[curve], truth(curve, lag)
    measures = (shape.quantities, finishing(shape))
    true = np.array([measures[which](np.array([A]), p)[0][0, row] for row, which in PLACES])[:, None]
    held, wide, best, given = [], [], [], []
    for start in range(0, runs, RUNS_AT_ONCE):
        m = min(RUNS_AT_ONCE, runs - start)
        t, table, noise, sd, scale = simulate(curve, lag, span, n, kind, m, rng)
        there = np.ones(table.shape, dtype=bool)
        problem, found = solve(shape, *pose(t[None, :], table, there, noise, None))
        numbers, _ = judge(shape, problem, found, table)
        room = stdtrit(problem.dof(shape.parameters), 0.975) ** 2 * found.rss / problem.dof(shape.parameters)
        low, high = limits(shape, problem, found, room, scale, measures)
        held.append((low <= true) & (true <= high))
        wide.append(high - low)
        given.append(np.isfinite(numbers[:, (0, 2, 4, 0)]).T)
        told, known = solve(
            shape, *pose(t[None, :], table, there, noise, np.maximum(sd, 0.02 * sd.max())[None, :])
        )
        low, high = limits(shape, told, known, np.full(m, 1.96**2), scale, measures)
        best.append(high - low)
    held, wide, best, given = (np.concatenate(x, axis=1) for x in (held, wide, best, given))
    width = np.median(wide, axis=1) / np.median(best, axis=1)
    return np.stack([100 * held.mean(axis=1), width, 100 * given.mean(axis=1)], axis=1)


def mechanistic(hours=48.0, step=0.01):
    """Gas of a run that follows no published curve: yeast on sugar, slowed by its alcohol (invented constants).

    dX/dt = mu X S/(K + S) (1 - P/P_max) after an adaptation; sugar goes into yeast and upkeep, gas with sugar.
    """
    yeast, sugar, gas, out = 0.3, 100.0, 0.0, []
    for t in np.arange(0, hours + step / 2, step):
        out.append(gas)
        share = sugar / (8.0 + sugar)
        growth = 0.25 * yeast * share * max(1 - 0.45 * (100 - sugar) / 60, 0) / (1 + np.exp(-(t - 4) / 0.7))
        eaten = min(growth / 0.12 + 0.25 * share * yeast, sugar / step)
        yeast, sugar, gas = yeast + growth * step, sugar - eaten * step, gas + 6.0 * eaten * step
    return np.arange(len(out)) * step, np.array(out)


def without_a_curve(runs):
    """Coverage of amount, windowed rate and finish time read off local lines, and the spread between curves."""
    print("mechanistic gas, read without a growth curve: coverage % of amount, rate, finish time; given %")
    fine, gas = mechanistic()
    end = fine[np.argmax(gas >= 0.99 * gas[-1])]
    rng = np.random.default_rng(0)
    for n in (25, 60, 200):
        t = np.linspace(0, 48, n)
        y = np.interp(t, fine, gas)
        for kind in ("independent", "counting", "drifting"):
            noise = "independent" if kind == "independent" else "accumulating"
            true = {"amount_so_far": y[-1] - y[0], "finish_time_h": end}
            true["max_rate"] = fk.smooth_growth(t, y, noise).max_rate.n
            held, given = dict.fromkeys(true, 0), dict.fromkeys(true, 0)
            for _ in range(runs):
                if kind == "independent":
                    seen = y + 0.02 * y[-1] * rng.normal(size=n)
                else:
                    drop = y[-1] / 400
                    steps = np.diff(y)
                    if kind == "counting":
                        steps = rng.poisson(steps / drop) * drop
                    else:
                        steps = steps + 0.03 * y[-1] / np.sqrt(n) * rng.normal(size=n - 1)
                    seen = np.concatenate([[0.0], np.cumsum(steps)])
                found = fk.smooth_growth(t, seen, noise)
                for name, value in true.items():
                    if name in found.limits:
                        given[name] += 1
                        held[name] += found.limits[name][0] <= value <= found.limits[name][1]
            cells = " ".join(
                f"{100 * held[name] / max(given[name], 1):6.1f}"
                for name in ("amount_so_far", "max_rate", "finish_time_h")
            )
            print(f"  {kind:12} {n:4d}  {cells}   {100 * given['finish_time_h'] / runs:.0f}", flush=True)
    t = np.linspace(0, 48, 60)
    seen = np.interp(t, fine, gas) + 0.01 * gas[-1] * rng.normal(size=60)
    steepest = np.gradient(gas, fine).max()
    print(f"true largest rate {steepest:.1f}, true finish {end:.1f} h; on the same gas the curves say:")
    print(fk.compare_curves(t, seen))


def main(runs):
    """Print the table of all cases."""
    print(f"{runs} runs a case; coverage %, width / best, given %")
    names = "".join(f"{name:>19}" for name in ("final amount", "largest rate", "lag", "99 % at"))
    print(f"{'curve':9} {'errors':14} {'situation':10} {'n':>4}  {names}")
    outside = 0
    for curve in ("gompertz", "logistic"):
        for kind in KINDS:
            for situation, (lag, span) in SITUATIONS.items():
                for n in (25, 60, 200):
                    table = cover(curve, lag, span, n, kind, runs)
                    outside += int(((table[:, 0] < 93) | (table[:, 0] > 97)).sum())
                    cells = " ".join(f"{c:7.1f} {w:5.2f} {g:4.0f}" for c, w, g in table)
                    print(f"{curve:9} {kind:14} {situation:10} {n:4d}   {cells}", flush=True)
    print(f"{outside} of {2 * 4 * 4 * 3 * 4} coverages outside 93 to 97 %")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
    without_a_curve(int(sys.argv[1]) // 4 if len(sys.argv) > 1 else 1000)
