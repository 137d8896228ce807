"""The sample runs: invented and saying so, unchanged, readable, and made by the script beside them."""

import hashlib
import json
import re
from pathlib import Path

import make_sample_data
import numpy as np
import pytest

from fermkit.run.records import read_run

FOLDER = Path(__file__).resolve().parent.parent / "sample_data"
TRUTH = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
RUNS = sorted(TRUTH)
SUMS = json.loads(Path(__file__).with_name("sample_data_sums.json").read_text(encoding="utf-8"))


def data_files():
    """Every file of the sample runs, by its path in the folder."""
    skip = {"README.md", "make_sample_data.py"}
    files = (path for path in FOLDER.rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    return sorted(str(path.relative_to(FOLDER).as_posix()) for path in files if path.name not in skip)


def test_no_file_was_changed():
    """The checksums are pinned: an edited or a new file shows at once."""
    assert {name: hashlib.sha256((FOLDER / name).read_bytes()).hexdigest() for name in data_files()} == SUMS


@pytest.fixture(scope="module")
def anew(tmp_path_factory):
    """The sample data made once more by the script."""
    place = tmp_path_factory.mktemp("anew")
    make_sample_data.make(place)
    return make_sample_data, place


@pytest.mark.parametrize("name", RUNS)
def test_the_script_makes_the_same_readings(anew, name):
    """Each table comes out the same, to the last digit or one beside it where a machine rounds otherwise."""
    _, place = anew
    ours, again = read_run(FOLDER / name), read_run(place / name)
    assert ours.tables.keys() == again.tables.keys()
    for table, frame in ours.tables.items():
        for column in frame.columns:
            one, other = frame[column].to_numpy(), again.tables[table][column].to_numpy()
            if frame[column].dtype == float:
                np.testing.assert_allclose(one, other, rtol=1e-3, atol=2e-3, err_msg=f"{name} {table} {column}")
            else:
                assert list(one) == list(other), f"{name} {table} {column}"


def test_the_seeds_are_what_the_readme_says(anew):
    """The first seeds, counting up, for which nothing stated is further than 1.5 u from the truth."""
    script, _ = anew
    for name, start in zip(script.KITCHENS, (100, 200, 300, 400), strict=True):
        assert script.SEEDS[name] == script.find_seed(script.KITCHENS[name][0], start)


@pytest.mark.parametrize("name", [*RUNS, "jar_3_closes.xlsx"])
def test_every_run_reads_and_says_that_it_is_invented(name):
    """No doubt is left, no table is empty, and the word 'invented' is in the run and on its page."""
    run = read_run(FOLDER / name)
    assert run.invented and "Invented" in run.note and "Invented" in str(run)
    assert [str(doubt) for doubt in run.doubts] == []
    assert {"gas", "standards", "samples", "volumes", "weights", "drying", "hold"} <= run.tables.keys()
    assert all(len(frame) for frame in run.tables.values())
    assert run.gas and run.feed and run.inoculum and run.density and run.residual_sugar


def test_the_readme_has_an_entry_for_every_file():
    """Each run and each kind of file is described, and called invented."""
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert "Every number here is invented" in text
    for name in {Path(file).parts[0] for file in data_files()} | {Path(file).name for file in data_files()}:
        assert f"`{name}`" in text or name in text, f"README.md does not speak of {name}"


def test_the_workbook_is_the_same_run():
    """Folder and workbook hold the same readings."""
    folder, workbook = read_run(FOLDER / "jar_3_closes"), read_run(FOLDER / "jar_3_closes.xlsx")
    for name, frame in folder.tables.items():
        for column in frame.columns.drop("row"):
            assert list(frame[column].fillna(-1)) == list(workbook.tables[name][column].fillna(-1)), (name, column)


def test_the_messes_are_read_safely():
    """Missed readings, decimal commas, clock times over midnight, a row copied twice: read, and told."""
    said = {name: "\n".join(map(str, read_run(FOLDER / name).findings)) for name in RUNS}
    assert (
        "2 rows have no volume_mL: 23, 24" in said["jar_3_closes"] or "2 rows without a reading" in said["jar_3_closes"]
    )
    assert "blank row skipped" in said["jar_5_starved"]
    assert said["jar_7_leak"].count("the clock passed midnight here") == 2
    assert "repeated" in said["jar_7_leak"]
    comma = read_run(FOLDER / "jar_5_starved").tables["weights"]
    assert comma.tare_g.between(10, 100).all()


def test_the_raw_readings_agree_with_the_truth_by_hand():
    """Gas, alcohol and dry matter, worked out here in a few lines, lie within three stated u of the truth."""
    for name in RUNS:
        run, truth = read_run(FOLDER / name), TRUTH[name]
        if run.gas[0].kind == "collected volume":
            volume = run.tables["gas"].volume_mL.to_numpy()[-1] / 1000
            dry_bar = 1.008 - 0.0264
            mol = dry_bar * volume / (0.9952 * 0.0831446 * 295.15) / 0.99
            assert mol == pytest.approx(truth["co2_collected_mol"], rel=3 * 0.013), name
        standards, samples = run.tables["standards"], run.tables["samples"]
        slope, blank = np.polyfit(standards.ethanol_pct_vol, standards.signal, 1)
        last = samples[samples.time_h == samples.time_h.max()]
        pct = float(np.mean((last.signal - blank) / slope * last.dilution))
        assert pct * 7.892 == pytest.approx(truth["ethanol_end_g_per_L"], rel=0.04), name
        paste = run.tables["weights"].set_index("item")
        wet = paste.wet_g - paste.tare_g
        dry = wet["paste"] * (paste.dry_g - paste.tare_g)["paste sample"] / wet["paste sample"]
        carried = truth["batch"]["carried_share"] * truth["batch"]["solids_g"]
        left = 1 - 0.030 / (truth["batch"]["liquid_L"] - sum(volume for _, volume in truth["batch"]["withdrawals"]))
        u = 0.02 * np.sqrt(2) / (paste.dry_g - paste.tare_g)["paste sample"] * dry
        assert dry - carried == pytest.approx(truth["amounts_g"]["yeast at the end"] * left, abs=3 * u), name


def test_the_truth_closes():
    """Each run's true amounts close in carbon, worked out here from molar masses."""
    carbon = {
        "ethanol made": 2 / 46.069, "CO2 made": 1 / 44.009, "cells grown": 1 / 24.626, "reserve stored": 6 / 162.141,
        "glycerol": 3 / 92.094, "acetic acid": 2 / 60.052, "succinic acid": 4 / 118.088,
    }  # fmt: skip
    for name, truth in TRUTH.items():
        found = sum(truth["amounts_g"][key] * share for key, share in carbon.items())
        assert found == pytest.approx(truth["amounts_g"]["hexose consumed"] * 6 / 180.156, rel=2e-5), name
        assert truth["amounts_g"]["CO2 made"] / 44.009 == pytest.approx(truth["co2_made_mol"], rel=1e-6)


def test_the_faults_are_in_the_readings():
    """The starved jar has little yeast and sugar left; the leaking one collects less than its weight says."""
    assert TRUTH["jar_5_starved"]["amounts_g"]["yeast grown"] < 0.5 * TRUTH["jar_3_closes"]["amounts_g"]["yeast grown"]
    assert TRUTH["jar_5_starved"]["amounts_g"]["residual sugar"] > 5

    def collected_per_g_lost(name):
        run = read_run(FOLDER / name)
        weight = run.tables["jar_weight"]
        taken = sum(-entry.change_L for entry in run.ledger.entries if entry.time_h < weight.time_h.iloc[-1])
        lost = weight.weight_g.iloc[0] - weight.weight_g.iloc[-1] - float(getattr(taken, "nominal_value", taken)) * 1020
        return run.tables["gas"].volume_mL.iloc[-1] / lost

    ratio = collected_per_g_lost("jar_7_leak") / collected_per_g_lost("jar_3_closes")
    assert ratio == pytest.approx(0.8, abs=0.05)


def test_no_real_names_and_no_paths():
    """Nothing in the files points at a machine or a person."""
    for name in data_files():
        if not name.endswith(".xlsx"):
            text = (FOLDER / name).read_text(encoding="utf-8-sig")
            assert not re.search(r"/(home|tmp|work|Users)/|@|https?:", text), name
