"""A logger that writes once a second for days: how long reading and analysing take, and how much memory.

    python tests/benchmarks/long_log.py [ROWS] [WAY ...]        1,209,600 rows are two weeks

Each step runs in a process of its own; the memory is its highest, less that of a short log.
"""

import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

TOML = (
    '[vessel]\nliquid = "2 L"\ntotal = "3 L"\n[[feed]]\ningredient = "white sugar"\namount = "150 g"\n'
    '[tables.gas]\nfile = "log.csv"\ntime = "stamp"\nvolume = "Gas (ml)"\n[[gas]]\nkind = "collected volume"\n'
)


def log(folder: Path, rows: int, way: str) -> Path:
    """A run whose gas comes from a long log of invented readings."""
    import pandas as pd

    folder.mkdir()
    rng = np.random.default_rng(1)
    hours = np.linspace(0, rows / 3600, rows)
    volume = 35_000 / (1 + np.exp(-(hours - hours[-1] / 3) / (hours[-1] / 20))) + rng.normal(0, 5, rows)
    start = pd.Timestamp("2026-03-02 18:00")
    moments = start + pd.to_timedelta(np.round(hours * 3600), unit="s")
    stamp = {"hours": hours.round(6), "ISO stamps": moments.strftime("%Y-%m-%d %H:%M:%S"),
             "seconds since 1970": (hours * 3600 + start.timestamp()).round(0).astype("int64")}[way]  # fmt: skip
    pd.DataFrame({"stamp": stamp, "Gas (ml)": volume.round(1)}).to_csv(folder / "log.csv", index=False)
    toml = TOML.replace("volume = ", 'time_unit = "h"\nvolume = ') if way == "hours" else TOML
    (folder / "run.toml").write_text(toml, "utf-8")
    return folder


def one(folder: str, what: str) -> None:
    """Read, or read and analyse, in this process; print seconds and the highest memory in MB."""
    import fermkit as fk

    start = time.perf_counter()
    run = fk.read_run(folder)
    if what == "analysed":
        fk.analyse(run)
    seconds = time.perf_counter() - start
    status = Path("/proc/self/status").read_text("ascii")  # of this process alone; Linux only
    print(seconds, int(re.search(r"VmHWM:\s+(\d+)", status)[1]) / 1000)


def measured(folder: Path, what: str) -> tuple[float, float]:
    """Seconds and MB of a process of its own."""
    call = [sys.executable, __file__, "one", str(folder), what]
    seconds, megabytes = subprocess.run(call, capture_output=True, text=True, check=True).stdout.split()
    return float(seconds), float(megabytes)


WAYS = ("hours", "ISO stamps", "seconds since 1970")


def main(rows: int, ways: Sequence[str]) -> None:
    """Print the table."""
    heads = ("file MB", "read s", "MB more", "analysed s", "MB more", "× file")
    print(f"{rows} rows\n{'time as':<20}" + "".join(f"{head:>12}" for head in heads))
    with tempfile.TemporaryDirectory() as place:
        for i, way in enumerate(ways):
            folder, short = (log(Path(place) / f"{n}_{i}", n, way) for n in (rows, 4000))
            size = (folder / "log.csv").stat().st_size / 1e6
            read, base = measured(folder, "read"), measured(short, "read")
            done, done_base = measured(folder, "analysed"), measured(short, "analysed")
            more, all_more = read[1] - base[1], done[1] - done_base[1]
            row = (size, read[0], more, done[0], all_more, max(more, all_more) / size)
            print(f"{way:<20}" + "".join(f"{value:12.1f}" for value in row))


if __name__ == "__main__":
    if sys.argv[1:2] == ["one"]:
        one(*sys.argv[2:4])
    else:
        main(int(sys.argv[1]) if sys.argv[1:] else 1_209_600, sys.argv[2:] or WAYS)
