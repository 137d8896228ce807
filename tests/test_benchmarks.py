"""Every study and race still runs: each script, at a tiny size, in the test command."""

import runpy
import sys
from pathlib import Path

import pytest

import fermkit as fk

SCRIPTS = Path(__file__).parent / "benchmarks"

TINY = {
    "balance_speed": "100",
    "calibration_coverage": "8",
    "calibration_speed": "",
    "drying_forecast": "1",
    "estimate_speed": "1",
    "fuzz_answers": "20",
    "gas_speed": "2000 1",
    "growth_speed": "100 rate scaling",
    "hostile_files": "0.5 1",
    "kinetics_speed": "0",
    "kinetics_truth": "own 1",
    "leave_one_out": "keg_2_pressure 90",
    "leak_study": "1",
    "long_log": "5000 hours",
    "mistake_study": "2 1",
    "panel_moves": "2",
    "pipeline_coverage": "1 volume",
    "plan_against_model": "2",
    "reading": "1000",
    "smooth_study": "2",
    "subset_files": "1",
    "subset_study": "5",
    "thousand_runs": "8",
    "washing_study": "2",
    "workshop_class": "2 ruler copied",
    "yeast_counted": "4",
    "yield_monte_carlo": "2",
}
"""Each script that prints a table, and the size at which it is tried here."""

ELSEWHERE = {
    "balance_study": "test_explanations.py", "coverage": "test_confidence.py", "vents": "here"
}  # fmt: skip
"""A whole table takes long at any size: where its parts are run small."""

NO_TABLE = {
    "foreign_batches", "foreign_gas", "kinetics_batches", "structures",
    "fuzz_inputs", "growth_cluster", "hostile_acts", "oldest", "panel_latency",
}  # fmt: skip
"""What draws for the others; and what needs a fuzzer, a cluster, full disks, a network or a browser."""


def test_every_script_is_tried_or_told_why_not():
    """A new script gets its tiny size here."""
    assert {path.stem for path in SCRIPTS.glob("*.py")} == TINY.keys() | ELSEWHERE.keys() | NO_TABLE


@pytest.mark.filterwarnings("ignore:.*slice:RuntimeWarning")  # of two runs, a cell may hold none
@pytest.mark.parametrize("name", TINY)
def test_script_prints_its_table(name, monkeypatch, capfd):
    """It runs to its end and prints numbers."""
    monkeypatch.setattr(sys, "argv", [str(SCRIPTS / f"{name}.py"), *TINY[name].split()])
    monkeypatch.syspath_prepend(str(SCRIPTS))
    try:
        runpy.run_path(str(SCRIPTS / f"{name}.py"), run_name="__main__")
    except SystemExit as ended:
        assert not ended.code
    assert sum(word[:1].isdigit() for word in capfd.readouterr().out.split()) >= 3


@pytest.mark.parametrize("name", sorted(NO_TABLE - {"panel_latency"}))
def test_script_finds_what_it_imports(name, monkeypatch):
    """What is not run here can be read at least: nothing that it takes from the kit has gone."""
    monkeypatch.setattr(sys, "argv", [name])
    monkeypatch.syspath_prepend(str(SCRIPTS))
    if name == "fuzz_inputs":
        pytest.importorskip("atheris")
    assert runpy.run_path(str(SCRIPTS / f"{name}.py"))


def test_the_study_of_vents_runs():
    """Two logs with vents: what is found, and how far the total is off by its stated error."""
    parts = runpy.run_path(str(SCRIPTS / "vents.py"))
    logs = parts["simulate"](2, hours=72, every_min=15, noise_bar=0.002, exchange_per_h=2.0)
    there, hit, false, readings = parts["found_and_false"](logs, fk.find_vents)
    assert 0 < hit <= there and false <= readings
    kept = dict(every_min=15, noise_bar=0.005, exchange_per_h=2.0, swing_K=0.0, drop_sigma=(10.0, 300.0))
    assert abs(parts["totals"](2, 1, **kept)[0]) < 1  # per cent of the truth
