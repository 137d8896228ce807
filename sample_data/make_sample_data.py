"""Makes the sample runs: invented, drawn from a mechanistic model whose truth is kept in truth.json.

    python sample_data/make_sample_data.py FOLDER

writes the run folders, one workbook and truth.json into FOLDER, which must not hold them yet.
The seeds are the first ones for which nothing stated is further than 1.5 standard uncertainties
from the truth, the standards before and after the samples agree at 5 %, and no reading stands out of
line by chance, so that each run is an ordinary one; `find_seed` shows how.
"""

import csv
import dataclasses
import io
import itertools
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

from fermkit.run.alcohol import calibration_of, drift_of
from fermkit.run.records import run_from, write_run, write_workbook
from fermkit.teach.fermentation import Batch, Strain, Truth, ferment
from fermkit.teach.kitchen import Kitchen, draw_batch, readings

Tables = dict[str, dict[str, list[Any]]]

KITCHENS = {
    "jar_3_closes": (
        Kitchen(
            name="Harbour kitchen, jar 3",
            date="2026-03-02",
            note="Invented. Baker's yeast on beet molasses with phosphate; gas collected and jar weighed.",
            gas="both",
            hours=36.0,
        ),
        "none",
    ),
    "jar_5_starved": (
        Kitchen(
            name="Harbour kitchen, jar 5",
            date="2026-03-09",
            note="Invented. As jar 3 without the phosphate: the yeast runs out of nitrogen, sugar is left at the end.",
            phosphate_g=0.0,
            usable_nitrogen=(0.0005, 0.0015),
            hours=30.0,
        ),
        "starved of nitrogen",
    ),
    "jar_7_leak": (
        Kitchen(
            name="Harbour kitchen, jar 7",
            date="2026-03-16",
            note="Invented. As jar 3, but the lid's seal was worn: part of the gas never reached the collector.",
            gas="both",
            hours=36.0,
            leak_share=0.20,
        ),
        "gas leak",
    ),
    "keg_2_pressure": (
        Kitchen(
            name="Harbour kitchen, keg 2",
            date="2026-03-23",
            note="Invented. A small batch in a closed steel keg with relief valve and pressure logger; vented once.",
            gas="pressure",
            molasses_g=45.0,
            u_feed_g=0.3,
            phosphate_g=1.0,
            yeast_g=1.5,
            u_yeast_g=0.03,
            total_L=2.0,
            u_total_L=0.01,
            liquid_L=1.5,
            u_liquid_L=0.01,
            temperature_C=25.0,
            kind="keg",
            material="steel",
            closed="vented",
            rated_bar=4.0,
            vents_h=(12.0,),
            hours=36.0,
            samples_h=(),
            dilutions=(1, 2),
        ),
        "none",
    ),
}
SEEDS = {"jar_3_closes": 109, "jar_5_starved": 201, "jar_7_leak": 305, "keg_2_pressure": 402}


def batch_of(kitchen: Kitchen, rng: np.random.Generator) -> Batch:
    """A batch with a yeast a little different from the default: by-products and speed differ from packet to packet."""
    batch = draw_batch(kitchen, rng, Strain(), extract_share=0.52 / 0.97, lost_share=0.03)
    strain = Strain(
        uptake_g_g_h=float(1.1 * np.exp(rng.normal(0, 0.1))),
        growth_g_g=float(rng.uniform(0.085, 0.11)),
        glycerol_mmol_g=float(rng.uniform(5.0, 7.5)),
        acid_share=float(rng.uniform(0.01, 0.02)),
        waking_h=float(rng.uniform(1.0, 4.0)),
        ash=float(rng.uniform(0.05, 0.08)),
        oxygen_per_h=float(np.exp(rng.uniform(np.log(0.01), np.log(0.2)))),
    )
    return dataclasses.replace(batch, strain=strain)


def ordinary(kitchen: Kitchen, batch: Batch) -> bool:
    """Whether no statement is further than 1.5 standard uncertainties from the truth."""
    k = kitchen
    sugar_u = float(np.hypot(k.molasses_g * k.u_sucrose, k.sucrose * k.u_feed_g))
    stated = [
        (batch.sucrose_g, k.molasses_g * k.sucrose, sugar_u),
        (batch.yeast_g, k.yeast_g * k.dry_matter, float(np.hypot(k.yeast_g * k.u_dry_matter, k.u_yeast_g))),
        (batch.total_L, k.total_L, k.u_total_L),
        (batch.liquid_L, k.liquid_L, k.u_liquid_L),
        (batch.temperature_C, k.temperature_C, k.u_temperature_C),
        (batch.barometer_bar, k.barometer_bar, k.u_barometer_bar),
        (batch.pH, k.pH, 0.1),
        (batch.carried_share, k.carried_solids, k.u_carried_solids),
    ]
    return all(abs(true - value) < 1.5 * u for true, value, u in stated)


def everyday(kitchen: Kitchen, seed: int) -> bool:
    """Whether a seed gives an ordinary batch, read on a sensor that seems steady, with no reading out of line."""
    rng = np.random.default_rng(seed)
    batch = batch_of(kitchen, rng)
    if not ordinary(kitchen, batch):
        return False
    run = run_from(*readings(ferment(batch), rng, kitchen))
    return not run.doubts and drift_of(run, calibration_of(run)).drift.passed


def find_seed(kitchen: Kitchen, start: int) -> int:
    """The first seed from `start` on that gives an everyday run."""
    return next(seed for seed in itertools.count(start) if everyday(kitchen, seed))


def make(folder: Path) -> None:
    """Write every sample run and its truth."""
    truths = {}
    for name, (kitchen, fault) in KITCHENS.items():
        rng = np.random.default_rng(SEEDS[name])
        truth = ferment(batch_of(kitchen, rng))
        settings, tables = readings(truth, rng, kitchen)
        settings, tables = AS_WRITTEN[name](settings, tables)
        write_run(settings, tables, folder / name)
        if name == "jar_3_closes":
            write_workbook(settings, tables, folder / f"{name}.xlsx")
        if name == "jar_5_starved":
            for path in sorted((folder / name).glob("*.csv")):
                with_decimal_commas(path)
        truths[name] = told(truth, fault)
    (folder / "truth.json").write_text(json.dumps(truths, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def told(truth: Truth, fault: str) -> dict[str, Any]:
    """What a test may want to know of a run."""
    amounts = truth.amounts
    used = amounts["hexose consumed"]
    return {
        "fault": fault,
        "leak_share": truth.batch.leak_share,
        "amounts_g": amounts,
        "yields_g_per_g_hexose": {
            "yeast": amounts["yeast grown"] / used,
            "ethanol": amounts["ethanol made"] / used,
            "CO2": amounts["CO2 made"] / used,
        },
        "co2_collected_mol": float(truth.series["collected_mol"][-1]),
        "gas_out_mol": float(truth.series["gas_out_mol"][-1]),
        "co2_made_mol": float(truth.series["co2_produced_mol"][-1]),
        "ethanol_end_g_per_L": float(truth.series["ethanol_g"][-1] / truth.series["liquid_L"][-1]),
        "batch": dataclasses.asdict(truth.batch),
    }


def jar_3(settings: dict[str, Any], tables: Tables) -> tuple[dict[str, Any], Tables]:
    """Two readings missed, and a remark beside one."""
    gas = tables["gas"]
    gas["note"] = [""] * len(gas["time [h]"])
    for row in (21, 22):
        gas["volume [mL]"][row] = "n.d."
    gas["note"][21] = "nobody in the kitchen"
    settings["instruments"] = {
        "jar scale": {
            "check_weight": "2000.0 ± 0.3 g",
            "check_reading": "2000.4 ± 0.3 g",
            "reads": ["gas"],
            "note": "the big scale, which weighs the whole jar",
        }
    }
    return settings, tables


def jar_5(settings: dict[str, Any], tables: Tables) -> tuple[dict[str, Any], Tables]:
    """Written in a country with decimal commas."""
    return settings, tables


def jar_7(settings: dict[str, Any], tables: Tables) -> tuple[dict[str, Any], Tables]:
    """Times read off the kitchen clock, over two midnights; one row was copied twice."""
    settings["run"]["start"] = "18:00"
    gas = tables["gas"]
    clock = []
    for hours in map(float, gas["time [h]"]):
        minutes = round(hours * 60) + 18 * 60
        clock.append(f"{minutes // 60 % 24}:{minutes % 60:02d}")
    volume = list(gas["volume [mL]"])
    clock.insert(13, clock[12])
    volume.insert(13, volume[12])
    tables["gas"] = {"time": clock, "volume [mL]": volume}
    return settings, tables


def keg_2(settings: dict[str, Any], tables: Tables) -> tuple[dict[str, Any], Tables]:
    """As the logger gave it, the vent noted by hand."""
    gas = tables["gas"]
    gas["event"] = ["vented" if float(time) == 12.25 else "" for time in gas["time [h]"]]
    return settings, tables


AS_WRITTEN = {"jar_3_closes": jar_3, "jar_5_starved": jar_5, "jar_7_leak": jar_7, "keg_2_pressure": keg_2}


def with_decimal_commas(path: Path) -> None:
    """The same table with semicolons between columns, decimal commas, a byte-order mark and a blank line."""
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
    out = io.StringIO()
    writer = csv.writer(out, delimiter=";", lineterminator="\r\n")
    for place, row in enumerate(rows):
        writer.writerow(
            [cell.replace(".", ",") if cell.replace(".", "", 1).lstrip("-").isdigit() else cell for cell in row]
        )
        if place == 3:
            out.write("\r\n")
    path.write_bytes(out.getvalue().encode("utf-8-sig"))


if __name__ == "__main__":
    make(Path(sys.argv[1]))
