"""A club's runs in one folder, analysed by joblib, and on a Dask cluster put under it from outside.

    python tests/benchmarks/thousand_runs.py [RUNS [dask]]      (1000)

The runs are the sample runs, each without some of its tables, copied into folders and read again; one in 100 is broken
and may cost itself only. Each is taken as far as the estimate and whether it adds up. A worker hands back a row of
numbers, so that memory does not grow with the runs. What is printed: the table's size, the broken ones, the time for
each run, and the most memory after a tenth and at the end.
"""

import resource
import shutil
import sys
import tempfile
import time
from pathlib import Path

import joblib
import pandas as pd

import fermkit as fk

SAMPLES = Path(__file__).resolve().parents[2] / "sample_data"
MAY_BE_MISSING = ("weights", "samples", "volumes", "drying", "hold")
STEPS = ("feed", "calibration", "sample_rows", "samples", "ethanol_pct_vol", "released", "routes", "vessel", "estimate",
         "adds_up")  # fmt: skip
WHOLE = ("sugar_fed", "co2", "ethanol", "yeast")


def club(folder: Path, runs: int) -> list[Path]:
    """Run folders, each a sample run without some of its tables; one in a hundred has a file that cannot be read."""
    out = []
    names = [one.name for one in sorted(SAMPLES.iterdir()) if one.is_dir()]
    for i in range(runs):
        place = folder / f"jar_{i:04d}"
        shutil.copytree(SAMPLES / names[i % len(names)], place)
        for bit, name in enumerate(MAY_BE_MISSING):
            if i // len(names) >> bit & 1:
                (place / f"{name}.csv").unlink(missing_ok=True)
        if i % 100 == 5:
            (place / "gas.csv").write_text("time,reading\nnoon,much\n", encoding="utf-8")
        out.append(place)
    return out


def row(place: Path) -> dict:
    """The numbers of one run, or why there are none."""
    try:
        found = fk.analyse(fk.read_run(place), only=STEPS)
    except fk.InputError as problem:
        return {"run": place.name, "why not": str(problem)}
    out = {"run": place.name, "why not": "", "adds up": found.consistent}
    for key in WHOLE:
        out |= {f"{key} [g]": found.estimate[key].value, f"{key} low [g]": found.estimate[key].low,
                f"{key} high [g]": found.estimate[key].high}  # fmt: skip
    return out


def held_MB() -> float:
    """The most memory that this process, and the largest of its children, have had."""
    return sum(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)) / 1000


def table(places: list[Path], jobs: int = 1) -> pd.DataFrame:
    """One row a run, in the order of the folders."""
    return pd.DataFrame(joblib.Parallel(n_jobs=jobs, batch_size=16)(joblib.delayed(row)(one) for one in places))


def main(runs: int, under: str = "") -> None:
    """Analyse the club's runs."""
    with tempfile.TemporaryDirectory() as folder:
        places = club(Path(folder), runs)
        first = max(runs // 10, 1)
        here = table(places[:first])
        after_a_tenth, begun = held_MB(), time.perf_counter()
        here = pd.concat([here, table(places[first:])], ignore_index=True)
        took = (time.perf_counter() - begun) / max(runs - first, 1)
        broken = here[here["why not"] != ""]
        assert len(here) == runs and set(broken["run"]) == {f"jar_{i:04d}" for i in range(5, runs, 100)}
        print(f"{runs} runs: a table of {here.shape[0]} rows and {here.shape[1]} columns, {1000 * took:.0f} ms a run; "
              f"{len(broken)} broken ones cost themselves only; most memory {after_a_tenth:.0f} MB after a tenth, "
              f"{held_MB():.0f} MB at the end")  # fmt: skip
        if under == "dask":
            from dask.distributed import Client

            with Client(n_workers=2, threads_per_worker=1, dashboard_address=None):
                begun = time.perf_counter()
                with joblib.parallel_config(backend="dask"):
                    there = table(places, jobs=-1)
                took = (time.perf_counter() - begun) / runs
            pd.testing.assert_frame_equal(here, there)
            print(f"under two Dask workers from outside: the same table, {1000 * took:.0f} ms a run")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000, *sys.argv[2:3])
