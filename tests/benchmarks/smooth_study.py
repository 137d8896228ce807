"""How often the intervals of a gas curve read without a model hold their stated truth, on gas of three foreign kinds.

Run as a script: ``python tests/benchmarks/smooth_study.py [runs]`` (400 runs a cell if not given). Truth is told on
gas without errors: the amount; the steepest line over the named window through the gas at the times of the readings,
and its foot; the time of 99 %, at steps of 0.01 h. In the last two columns the line may lie anywhere, which readings
an hour apart cannot know where gas stops at a corner. "apart": by how much more logging moves a number, as a share of
its ±, over cuts at 1.1, 2 and 5 times the gas's own length (median and 95 % of the runs).
"""

import sys
from pathlib import Path

import numpy as np

import fermkit as fk

sys.path.insert(0, str(Path(__file__).parent))
import foreign_gas

TOLD = ("amount_so_far", "max_rate", "lag_h", "finish_time_h", "max_rate", "lag_h")
NAMES = ("amount_so_far", "max_rate", "lag_h", "finish_time_h")
READERS = ("scale", "collector", "bubbles")
EVERY_H = (0.25, 1.0)


def truth(fine, gas, window, until, steps):
    """Amount, largest rate over the window, its foot, and the time of 99 %, of gas (n,) at steps of 0.01 h."""
    step = fine[1] - fine[0]
    k = max(round(window / step), 2)
    if steps:
        slope, middle = (gas[k:] - gas[:-k]) / (k * step), (gas[k:] + gas[:-k]) / 2
    else:  # slope of the least-squares line and mean over the window, by running sums
        x = (np.arange(k + 1) - k / 2) * step
        slope = np.convolve(gas, x[::-1], mode="valid") / (x @ x)
        middle = np.convolve(gas, np.ones(k + 1) / (k + 1), mode="valid")
    top = int(np.argmax(slope))
    lag = fine[top] + k * step / 2 - (middle[top] - gas[0]) / slope[top]
    whole = gas[min(round(until / step), gas.size - 1)] - gas[0]
    return whole, slope[top], lag, float(np.interp(0.99 * whole, gas - gas[0], fine))


def through_readings(time, gas, window, steps):
    """Largest rate and its foot by the lines through the true gas at the times of the readings."""
    best, foot = 0.0, 0.0
    k = max(round(window / (time[1] - time[0])), 2)
    for i in range(time.size - k):
        t, y = time[i : i + k + 1], gas[i : i + k + 1]
        slope = (y[-1] - y[0]) / (t[-1] - t[0]) if steps else np.polyfit(t, y, 1)[0]
        level = (y[-1] + y[0]) / 2 if steps else y.mean()
        if slope > best:
            best, foot = slope, t.mean() - (level - gas[0]) / slope
    return best, foot


def cell(kind, reader, every, count, seed=0):
    """Held (4,), given, half-widths, biases over the half-width, and how far apart the cuts are."""
    rng = np.random.default_rng(seed)
    fine, gas, ended = foreign_gas.runs(kind, 2 * count, rng)
    gas = gas[:, (ended < 40) & (ended > max(3.0, 14 * every))][:, :count]
    held, bias, width, given, apart = [], [], [], 0, []
    for one in gas.T:
        length = fine[np.argmax(one >= 0.995)]
        long = np.arange(0.0, 5 * length, every)
        exact = np.interp(long, fine, one)
        seen, noise = foreign_gas.read(reader, exact, rng)
        cut = [fk.smooth_growth(long[long <= f * length], seen[long <= f * length], noise) for f in (1.1, 2.0, 5.0)]
        found = cut[1]
        true = np.array(truth(fine, 3000.0 * one, found.window_h, found.until_h, noise == "accumulating"))
        line = through_readings(long, 3000.0 * exact, found.window_h, noise == "accumulating")
        true = np.concatenate([true[:1], line, true[3:], true[1:3]])
        limits = np.array([found.limits.get(name, (np.nan, np.nan)) for name in TOLD])
        values = np.array([float(getattr(getattr(found, n), "n", getattr(found, n))) for n in TOLD])
        given += np.isfinite(limits[3]).all()
        ok = (limits[:, 0] <= true) & (true <= limits[:, 1])
        held.append(np.where(np.isnan(limits[:, 0]), np.nan, ok))
        half = (limits[:, 1] - limits[:, 0]) / 2
        width.append(half)
        bias.append((values - true) / half)
        other = [[float(getattr(getattr(c, n), "n", getattr(c, n))) for n in NAMES] for c in cut]
        apart.append(np.ptp(other, axis=0) / half[:4] * 2)
    return [np.array(x) for x in (held, width, bias, apart)] + [given / len(held)]


def main(count):
    """Print the table."""
    print(f"{count} runs a cell: coverage %, bias over half-width, half-width of amount [mL], rate, lag, 99 %,")
    print("rate and lag of a line anywhere; finish given %; apart: amount, rate, lag, 99 %")
    total = []
    for kind in foreign_gas.KINDS:
        for reader in READERS:
            for every in EVERY_H:
                held, width, bias, apart, given = cell(kind, reader, every, count)
                cells = " ".join(
                    f"{100 * np.nanmean(h):6.1f} {np.nanmedian(b):+5.2f} {np.nanmedian(w):7.3g}"
                    for h, b, w in zip(held.T, bias.T, width.T)
                )
                far = " ".join(f"{np.nanmedian(a):.2f}/{np.nanquantile(a, 0.95):.2f}" for a in apart.T)
                print(f"{kind:8} {reader:10} {every:5.2f}  {cells}  {100 * given:4.0f}  {far}", flush=True)
                total.append(100 * np.nanmean(held, axis=0))
        print(f"{kind:8} all: " + " ".join(f"{x:.1f}" for x in np.mean(total[-len(READERS) * len(EVERY_H) :], axis=0)))
    print("all: " + " ".join(f"{x:.1f}" for x in np.mean(total, axis=0)))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 400)
