"""Makes the sample runs: invented, from a mechanistic model with known truth.

    python sample_data/make_sample_data.py FOLDER

writes the run folders and truth.json into FOLDER.
"""

import dataclasses
import json
import sys
from pathlib import Path

import numpy as np

from fermkit.kitchen import Kitchen, draw_batch, readings
from fermkit.records import write_run
from fermkit.simulation import Strain, ferment


def jar_3() -> tuple[Kitchen, int, dict]:
    """A run that closes."""
    return Kitchen(name="harbour kitchen, jar 3", gas="volume", date="2026-03-02"), 3, {}


RUNS = {"jar_3_closes": jar_3}


def make(folder: Path) -> None:
    truths = {}
    for name, recipe in RUNS.items():
        kitchen, seed, changes = recipe()
        rng = np.random.default_rng(seed)
        truth = ferment(draw_batch(kitchen, rng, Strain(), **changes))
        write_run(*readings(truth, rng, kitchen), folder / name)
        truths[name] = {"amounts_g": truth.amounts, "batch": dataclasses.asdict(truth.batch)}
    (folder / "truth.json").write_text(json.dumps(truths, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    make(Path(sys.argv[1]))
