"""From a logger's file to moles of CO2: time and memory against parsing the same file, and the growth with length.

Run it with ``OPENBLAS_NUM_THREADS=1 python tests/benchmarks/gas_speed.py``. Rounds are interleaved; ratios are
medians of per-round ratios. The sum of what is made is checked in the same run.
"""

import io
import statistics
import sys
import time
import tracemalloc

import numpy as np
import pandas as pd

EXPECTED = {"volume": 0.507, "flow": 0.487, "weight": 0.487, "pressure": 0.317}
"""Mol of CO2 in the invented file; what the basin's water usually takes is added to a volume."""


def logger_file(rows, seed=1):
    """A CSV of time, volume, flow, weight and gauge pressure, invented; returned as text."""
    rng = np.random.default_rng(seed)
    hours = np.arange(rows) * (96 / rows)
    rise = 1 / (1 + np.exp(-(hours - 30) / 6))
    rise -= rise[0]
    frame = pd.DataFrame({
        "time [h]": np.round(hours, 6),
        "volume [mL]": np.round(12_000 * rise + rng.normal(0, 2, rows), 1),
        "flow [mL/min]": np.round(np.gradient(12_000 * rise, hours) / 60 + rng.normal(0, 0.2, rows), 3),
        "weight [g]": np.round(2500 - 21.4 * rise + rng.normal(0, 0.05, rows), 2),
        "gauge pressure [bar]": np.round(3 * rise + rng.normal(0, 0.005, rows), 4),
    })  # fmt: skip
    return frame.to_csv(index=False)


def ways():
    """Each way from readings to a curve, as a function of the table."""
    import fermkit as fk

    return {
        "volume": lambda t: fk.gas_from_volume(
            t["time [h]"], t["volume [mL]"], temperature_C=22.0, u_reading_mL=2.0
        ),
        "flow": lambda t: fk.gas_from_flow(t["time [h]"], t["flow [mL/min]"], temperature_C=22.0),
        "weight": lambda t: fk.gas_from_weight(
            t["time [h]"], t["weight [g]"], temperature_C=25.0, headspace_L=0.5, u_reading_g=0.05
        ),
        "pressure": lambda t: fk.gas_from_pressure(
            t["time [h]"], t["gauge pressure [bar]"], headspace_L=1.0, liquid_L=2.0, temperature_C=25.0,
            oxygen_used=(0, 0),
        ),
    }  # fmt: skip


def peak_bytes(action, table):
    """Peak of what an action allocates."""
    tracemalloc.start()
    action(table)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def main(rows=1_000_000, rounds=5):
    """Print the tables."""
    text = logger_file(rows)
    size = len(text.encode())
    found = {name: [] for name in ways()}
    parse = []
    for _ in range(rounds):
        start = time.perf_counter()
        table = pd.read_csv(io.StringIO(text))
        parse.append(time.perf_counter() - start)
        for name, way in ways().items():
            start = time.perf_counter()
            curve = way(table)
            found[name].append(time.perf_counter() - start)
            assert abs(curve.co2_mol[-1] - EXPECTED[name]) < 0.01, (name, curve.co2_mol[-1])
    print(f"{rows} rows, {size / 1e6:.0f} MB: parsing takes {statistics.median(parse):.2f} s\n")
    print("way        seconds   times the parsing   peak memory, times the file")
    for name, way in ways().items():
        ratio = statistics.median(f / p for f, p in zip(found[name], parse))
        print(f"{name:10s} {statistics.median(found[name]):7.2f} {ratio:14.2f} {peak_bytes(way, table) / size:22.1f}")
    print("\ncost against length (log-log slope, up to a tenth, three tenths, all rows)")
    lengths = [rows // 10, 3 * rows // 10, rows]
    for name, way in ways().items():
        times = []
        for length in lengths:
            part = table.iloc[:: rows // length].reset_index(drop=True)
            runs = []
            for _ in range(3):
                start = time.perf_counter()
                way(part)
                runs.append(time.perf_counter() - start)
            times.append(min(runs))
        slope = np.polyfit(np.log(lengths), np.log(times), 1)[0]
        print(f"{name:10s} {slope:7.2f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
