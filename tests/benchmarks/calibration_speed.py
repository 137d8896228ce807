"""How long it takes to fit a curve through standards and to read a sample back with its interval.

Run:  python tests/benchmarks/calibration_speed.py
"""

import time

import numpy as np

from fermkit.calibration.calibrate import fit_calibration


def best(task, repeats=15):
    """The shortest of several runs [ms]: the one least disturbed by what else the machine does."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        task()
        times.append(time.perf_counter() - start)
    return 1e3 * min(times)


if __name__ == "__main__":
    x = np.repeat([0.5, 2.0, 4.0, 6.0, 8.0, 10.0], 2)
    y = 0.1 + 2.0 * x / (x + 20.0) + 0.002 * np.random.default_rng(3).standard_normal(x.size)
    print(f"{'curve':18} {'fit, ms':>8} {'read, ms':>9} {'read with interval, ms':>23}")
    for name in ("line", "quadratic", "power", "saturating", "logistic4"):
        cal = fit_calibration(x, y, curve=name)
        fit = best(lambda name=name: fit_calibration(x, y, curve=name))
        read = best(lambda cal=cal: cal.read([0.5, 0.51], dilution=10, u_pipetting=0.01))
        limits = best(lambda cal=cal: cal.read([0.5, 0.51]).interval(), 5)
        print(f"{name:18} {fit:8.2f} {read:9.2f} {limits:23.2f}")
