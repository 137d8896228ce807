"""How long it takes to read a million signals back, against the bare inverse of a straight line in numpy.

Run:  python tests/benchmarks/calibration_speed.py
"""

import time

import numpy as np

from fermkit.calibration.calibrate import fit_calibration


def best(task, repeats=15):
    """The shortest of several runs [s]: the one least disturbed by what else the machine does."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        task()
        times.append(time.perf_counter() - start)
    return min(times)


def ratio(count=1_000_000, repeats=15, curve="line", with_u=False):
    """Time for contents and range flags (and their uncertainty) over that for (signal − intercept) / slope alone."""
    x = np.repeat([0.5, 2.0, 4.0, 6.0, 8.0, 10.0], 2)
    noise = np.random.default_rng(3).standard_normal(x.size)
    cal = fit_calibration(x, 0.1 + 2.0 * x / (x + 20.0) + 0.002 * noise, curve=curve, unit="V")
    line = fit_calibration(x, 0.1 + 0.08 * x + 0.002 * noise, unit="V")
    signals = np.random.default_rng(4).uniform(0.2, 0.7, count)
    intercept, slope = (p.nominal_value for p in line.parameters.values())
    bare = best(lambda: (signals - intercept) / slope, repeats)
    cal = line if curve == "line" else cal
    ours = best((lambda: cal.read_many(signals).u) if with_u else (lambda: cal.read_many(signals)), repeats)
    return ours, bare, ours / bare


if __name__ == "__main__":
    print(f"{'curve':12} {'':16} {'ms for 1e6 signals':>20} {'bare line, ms':>15} {'ratio':>7}")
    for name in ("line", "quadratic", "power", "logistic4"):
        for with_u in (False, True):
            ours, bare, times = ratio(curve=name, with_u=with_u)
            what = "with uncertainty" if with_u else "value and range"
            print(f"{name:12} {what:16} {1e3 * ours:20.2f} {1e3 * bare:15.2f} {times:7.2f}")
    x = np.repeat([0.5, 2.0, 4.0, 6.0, 8.0, 10.0], 2)
    y = 0.1 + 2.0 * x / (x + 20.0) + 0.002 * np.random.default_rng(3).standard_normal(x.size)
    for name in ("line", "quadratic", "power", "logistic4"):
        cal = fit_calibration(x, y, curve=name)
        fit = best(lambda name=name: fit_calibration(x, y, curve=name))
        read = best(lambda cal=cal: cal.read([0.5, 0.51], dilution=10, u_pipetting=0.01))
        limits = best(lambda cal=cal: cal.read([0.5, 0.51]).interval(), 5)
        print(f"{name:12} fit {1e3 * fit:.2f} ms, read {1e3 * read:.2f} ms, read with interval {1e3 * limits:.2f} ms")
