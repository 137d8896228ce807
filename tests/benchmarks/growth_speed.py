"""How quick the growth fits are, measured against lmfit and scipy, with the accuracy checked in the same run.

Run as a script: ``growth_speed.py [curves] [part ...]`` with the number of curves (10,000 if not
given) and parts among: rate, scaling, million, mixed, single. Rounds are interleaved; ratios are medians of the rounds'
ratios.
"""

import os
import sys
import time
import tracemalloc

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import lmfit  # noqa: E402
import numpy as np  # noqa: E402
from scipy.optimize import curve_fit  # noqa: E402

import fermkit as fk  # noqa: E402
from fermkit.growth import curves, verdicts  # noqa: E402
from fermkit.growth.curves import SHAPES  # noqa: E402
from fermkit.growth.least_squares import descend, reach  # noqa: E402
from fermkit.growth.problem import Problem  # noqa: E402
from fermkit.growth.weights import solve  # noqa: E402

T = np.linspace(0, 48, 100)
FOOT = {"gompertz": (np.e, 1), "logistic": (4, 2), "richards": (4, 2), "baranyi": (4, 2)}


def seconds(work, *arguments, **options):
    """Time of one call, and what it gave."""
    began = time.perf_counter()
    out = work(*arguments, **options)
    return time.perf_counter() - began, out


def shaped(curve, rng, m, lag=(0.5, 10.0), time_h=T):
    """True shape parameters, heights and readings of m curves with errors of 2 %."""
    shape = SHAPES[curve]
    a, rate = rng.uniform(300, 900, (m, 1)), rng.uniform(25, 60, (m, 1))
    steep, foot = FOOT[curve]
    b = steep * rate / a
    t_i = rng.uniform(*lag, (m, 1)) + foot / b
    y = a * shape.value(b, t_i, time_h[None, :], 1.0)
    return np.concatenate([np.log(b), t_i], axis=1), a, y + 0.02 * a * rng.normal(size=y.shape)


def by_lmfit(curve, y, start):
    """One fit as a user of lmfit would write it: the fit result."""
    model = lmfit.Model(getattr(curves, curve), independent_vars=["time_h"])
    return model.fit(y, model.make_params(**start), time_h=T)


def starts(curve, p, a):
    """Published parameters, 10 to 20 % off the truth, for the other libraries to start from."""
    b, t_i = np.exp(p[0]), p[1]
    if curve == "baranyi":
        return {"asymptote": 1.2 * a, "specific_rate": 0.9 * b, "seed": 1.2 / (1 + np.exp(b * t_i))}
    steep, foot = FOOT[curve]
    out = {"asymptote": 1.2 * a, "max_rate": 0.9 * a * b / steep, "lag_h": t_i - foot / b + 0.5}
    return out | ({"asymmetry": 1.2} if curve == "richards" else {})


def by_curve_fit(curve, y, start):
    """One fit by scipy with analytic derivatives, from the same start."""
    shape, (steep, foot) = SHAPES[curve], FOOT[curve]

    def slopes(t, asymptote, max_rate, lag_h):
        b = steep * max_rate / asymptote
        g, by_b, by_t = (
            one[0] for one in shape.slopes(np.array([[b]]), np.array([[lag_h + foot / b]]), t[None, :], None)
        )
        steepness = by_b - by_t * foot / b
        return np.stack([g - steepness, asymptote * steepness / max_rate, asymptote * by_t], axis=1)

    return curve_fit(getattr(curves, curve), T, y, p0=list(start.values()), jac=slopes)


def loop(fit, curve, table, p, a):
    """A plain loop of single fits."""
    return [fit(curve, y, starts(curve, q, height)) for y, q, height in zip(table, p, a[:, 0])]


def rate(m=10_000):
    """Many curves against loops of single fits."""
    print(f"{m} curves x 100 readings, standard errors and verdicts included")
    for curve in ("logistic", "gompertz", "richards", "baranyi"):
        p, a, y = shaped(curve, np.random.default_rng(1), m)
        fk.fit_growth_many(T, y[:100], curve)
        ratios, plain, each = [], [], []
        for turn in range(7):
            rows = slice(20 * turn, 20 * turn + 20)
            ours, table = seconds(fk.fit_growth_many, T, y, curve)
            theirs, found = seconds(loop, by_lmfit, curve, y[rows], p[rows], a[rows])
            ratios.append(theirs / 20 / (ours / m))
            each.append(ours / m * 1e6)
            if curve in ("logistic", "gompertz"):
                scipys, _ = seconds(loop, by_curve_fit, curve, y[rows], p[rows], a[rows])
                plain.append(scipys / 20 / (ours / m))
            for one, row in zip(found, table.iloc[rows].itertuples()):
                level = one.params["asymptote"]
                if level.stderr is not None and row.verdict == "good":
                    assert abs(row.asymptote - level.value) < 5e-3 * row.u_asymptote, (curve, level, row)
                    assert abs(row.u_asymptote / level.stderr - 1) < 1e-2, (curve, level, row)
        scipy = f", {np.median(plain):.0f} x curve_fit" if plain else ""
        print(f"  {curve:9} {np.median(each):5.1f} µs a curve: {np.median(ratios):.0f} x lmfit{scipy}", flush=True)


def scaling(m=10_000):
    """Cost against number of curves, and memory beyond the readings."""
    rng = np.random.default_rng(2)
    sizes = np.array([4, 8, 16, 32, 64]) * max(m // 10, 50)
    _, _, y = shaped("gompertz", rng, sizes[-1])
    times = np.array([min(seconds(fk.fit_growth_many, T, y[:m])[0] for _ in range(5)) for m in sizes])
    slope = np.polyfit(np.log(sizes), np.log(times), 1)[0]
    print(f"log-log slope of time against curves: {slope:.3f}")
    tracemalloc.start()
    for m in sizes[[2, 4]]:
        tracemalloc.reset_peak()
        before = tracemalloc.get_traced_memory()[0]
        table = fk.fit_growth_many(T, y[:m])
        peak = tracemalloc.get_traced_memory()[1] - before
        size = table.memory_usage().sum() / m
        print(f"{m} curves: peak {peak / m:.0f} bytes a curve beyond the readings, {size:.0f} of them the result")
    tracemalloc.stop()


def million(m=10_000):
    """A hundred times as many curves: a million."""
    rng = np.random.default_rng(3)
    _, _, y = shaped("gompertz", rng, m)
    y = np.tile(y, (100, 1))
    took, table = seconds(fk.fit_growth_many, T, y)
    print(f"{100 * m} curves in {took:.1f} s; {(table.verdict == 'good').mean():.4f} good")


def mixed(m=10_000):
    """A hundred thousand mixed curves against a multi-start polish: how many are wrong and not flagged."""
    for curve in ("gompertz", "logistic", "baranyi", "richards"):
        shape, rng = SHAPES[curve], np.random.default_rng(4)
        kinds = [_mixed(curve, kind, rng, m // 4) for kind in ("normal", "cut off early", "no lag", "long lag")]
        y = np.concatenate(kinds)
        silent, worst, turns, flagged = 0, 0.0, [], 0
        for i in range(0, m, 1000):
            problem = Problem(T[None, :], y[i : i + 1000])
            limit = reach(shape, problem.time)
            _, found = solve(shape, problem, problem.amount)
            _, verdict = verdicts.judge(shape, problem, found, problem.amount)
            best, p = found.rss.copy(), found.p.copy()
            for turn in range(4):
                jump = rng.normal(size=p.shape) * np.array([0.7, 8.0, 1.5])[: p.shape[1]] * (turn > 0)
                again = descend(
                    shape, np.clip(found.p + jump, limit.low, limit.high), problem, limit, tolerance=1e-7, sweeps=150
                )
                win = (again.rss <= best * (1 + 1e-12)) & (again.level > 0)
                best, p = np.where(win, again.rss, best), np.where(win[:, None], again.p, p)
            variance = found.rss / problem.dof(shape.parameters)
            u = np.sqrt(np.einsum("mii->mi", found.covariance())[:, 1:] * variance[:, None])
            with np.errstate(invalid="ignore", divide="ignore"):
                off = np.nanmax(np.where(u > 0, np.abs(p - found.p) / u, 0.0), axis=1)
            good = verdict == verdicts.GOOD
            silent += int((good & (off > 1e-4)).sum())
            worst = max(worst, float(np.max(off[good], initial=0)))
            flagged += int((~good).sum())
            turns.append(found.sweeps.mean())
        print(
            f"{curve:9} {m} mixed curves: {silent} wrong by more than 1e-4 u and not flagged (worst {worst:.1e} u), "
            f"{flagged} flagged, {np.mean(turns):.2f} sweeps a curve"
        )


def _mixed(curve, kind, rng, m):
    shape = SHAPES[curve]
    steep, foot = FOOT[curve]
    k = rng.uniform(0.04, 0.25, (m, 1))
    lag = {"no lag": np.zeros((m, 1)), "long lag": rng.uniform(20, 32, (m, 1))}.get(kind, rng.uniform(1, 8, (m, 1)))
    b = steep * k
    t_i = lag + foot / b
    if kind == "cut off early":
        p = np.concatenate([np.log(b), t_i], axis=1)
        end = shape.when(np.pad(p, ((0, 0), (0, 1))) if shape.asymmetric else p, rng.uniform(0.25, 0.6, m))[:, None]
        b, t_i = b * end / 48, t_i / end * 48
    y = rng.uniform(300, 900, (m, 1)) * shape.value(b, t_i, T[None, :], 1.0)
    return y + rng.uniform(0.01, 0.05, (m, 1)) * y.max(axis=1, keepdims=True) * rng.normal(size=y.shape)


def fits(table, noise):
    """A plain loop of our own single fits."""
    return [fk.fit_growth(T, row, noise=noise) for row in table]


def single(m=10_000):
    """One fit: the profile limits and the accumulating errors."""
    rng = np.random.default_rng(5)
    p, a, table = shaped("gompertz", rng, 40)
    steps = np.diff(curves.gompertz(T, 600, 40, 6))
    counted = np.array([np.concatenate([[0.0], np.cumsum(rng.poisson(steps / 2) * 2)]) for _ in table])
    names = (
        "lmfit conf_interval over all profile limits",
        "accumulating over independent, one fit",
        "accumulating over independent, many",
    )
    rows = []
    for turn in range(9):
        fit = fk.fit_growth(T, table[turn])
        _, other = seconds(by_lmfit, "gompertz", table[turn], starts("gompertz", p[turn], a[turn, 0]))
        profile, ours = seconds(fit.intervals)
        theirs, limits = seconds(other.conf_interval, sigmas=[0.95])
        for name in ("asymptote", "max_rate"):  # its lag lies on the level of zero, ours on the starting level
            low, high = limits[name][0][1], limits[name][-1][1]
            assert np.allclose(ours[name], (low, high), atol=5e-3 * (high - low)), name
        alone, _ = seconds(fits, table[:10], "independent")
        summed, _ = seconds(fits, counted[:10], "accumulating")
        block, _ = seconds(fk.fit_growth_many, T, np.tile(table, (50, 1)))
        blocks, _ = seconds(fk.fit_growth_many, T, np.tile(counted, (50, 1)), noise="accumulating")
        rows.append((theirs / profile, summed / alone, blocks / block))
    for name, ratio in zip(names, np.median(rows[1:], axis=0)):
        print(f"{name}: {ratio:.2f}")


PARTS = {"rate": rate, "scaling": scaling, "million": million, "mixed": mixed, "single": single}

if __name__ == "__main__":
    words = sys.argv[1:]
    count = int(words.pop(0)) if words and words[0].isdigit() else 10_000
    for part in words or PARTS:
        PARTS[part](count)
