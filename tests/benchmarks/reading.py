"""How long a logger's table takes from the file to moles of CO2, against pandas parsing the same file.

    python tests/benchmarks/reading.py

Each length is read in a process of its own: time is the median of rounds in which pandas and fermkit take
turns, memory is the most that the process held while reading (looked up every millisecond, on Linux) less what
it held before.
"""

import io
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

ROUNDS = 5


def table(rows: int, stamps: bool) -> bytes:
    """A logger's CSV: hours or dated stamps, cumulative volume, temperature."""
    import numpy as np
    import pandas as pd

    rng = np.random.default_rng(0)
    seconds = np.arange(rows) * 2
    frame = pd.DataFrame(
        {
            "time [h]": (seconds / 3600).round(6),
            "volume [mL]": np.cumsum(rng.random(rows) * 0.1).round(3),
            "temperature [°C]": rng.normal(22, 0.1, rows).round(3),
            "barometer [hPa]": rng.normal(1008, 0.1, rows).round(2),
        }
    )
    if stamps:
        when = pd.Timestamp(2026, 3, 2, 18) + pd.to_timedelta(seconds, unit="s")
        frame = frame.rename(columns={"time [h]": "time"}).assign(time=when.strftime("%Y-%m-%d %H:%M:%S"))
    return frame.to_csv(index=False).encode()


def ours(folder: str) -> float:
    """Run folder → mol CO2."""
    from fermkit.gas.collector import gas_from_volume
    from fermkit.run.records import read_run

    frame = read_run(folder).tables["gas"]
    curve = gas_from_volume(frame.time_h, frame.volume_mL, temperature_C=22.0, pressure_bar=1.008)
    return float(curve.co2_mol[-1])


def held() -> int:
    """Memory of this process now [bytes]."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def most_held(work: Callable[[], object]) -> int:
    """The most memory above the start that the process held during some work [bytes]."""
    before, most, done = held(), 0, threading.Event()

    def watch() -> None:
        nonlocal most
        while not done.wait(0.001):
            most = max(most, held())

    watcher = threading.Thread(target=watch)
    watcher.start()
    work()
    done.set()
    watcher.join()
    return most - before


def measure(folder: str) -> None:
    """Print seconds of pandas, seconds of ours, and peak memory of ours over the size of the file."""
    import pandas as pd

    size = (Path(folder) / "gas.csv").stat().st_size
    ours(str(Path(folder).parent / "small"))  # everything imported and warm
    peak = most_held(lambda: ours(folder)) / size
    theirs, our = [], []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        pd.read_csv(io.BytesIO((Path(folder) / "gas.csv").read_bytes()))
        middle = time.perf_counter()
        ours(folder)
        theirs.append(middle - start)
        our.append(time.perf_counter() - middle)
    ratio = statistics.median(b / a for a, b in zip(theirs, our, strict=True))
    print(f"{size / 1e6:8.1f} {statistics.median(theirs):9.3f} {statistics.median(our):9.3f} {ratio:7.2f} {peak:9.2f}")


def folder_with(data: bytes, place: Path) -> Path:
    """A run folder around a table."""
    place.mkdir()
    (place / "run.toml").write_text('[[gas]]\nkind = "collected volume"\n', encoding="utf-8")
    (place / "gas.csv").write_bytes(data)
    return place


def main(longest: int = 1_000_000) -> None:
    """The table of lengths."""
    print("rows       times     MB    pandas s   ours s   ratio   peak memory / file")
    for stamps in (False, True):
        for rows in (longest // 10, 3 * longest // 10, longest):
            with tempfile.TemporaryDirectory() as place:
                folder_with(table(100, stamps), Path(place) / "small")
                folder = folder_with(table(rows, stamps), Path(place) / "long")
                print(f"{rows:<10} {'stamps' if stamps else 'hours ':6}", end="", flush=True)
                subprocess.run([sys.executable, __file__, str(folder)], check=True)


if __name__ == "__main__":
    measure(sys.argv[1]) if Path(sys.argv[-1]).is_dir() else main(*map(int, sys.argv[1:]))
