"""A run's batch in time: the join of its readings, held against the truth of the sample runs (another mechanism)."""

import json
from pathlib import Path

import numpy as np
import pytest

import fermkit as fk
from fermkit.run.batch_in_time import readings_in_time

SAMPLES = Path(__file__).resolve().parent.parent / "sample_data"


@pytest.fixture(scope="module")
def truth():
    """What truly happened in the sample runs: invented, by a simulator that the fit does not know."""
    return json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def leak():
    """The analysis of the jar with a leak."""
    return fk.analyse(fk.read_run(SAMPLES / "jar_7_leak"))


def test_a_leak_is_found_and_the_co2_holds_the_truth(leak, truth):
    """A fifth of the gas leaks past the collector; the scale and the alcohol tell, and the fit says so."""
    fit, true = fk.fit_batch(leak), truth["jar_7_leak"]
    assert fit.answers["co2"].low < true["co2_made_mol"] < fit.answers["co2"].high
    alcohol = fit.answers["ethanol"]
    assert abs(alcohol.value - true["ethanol_end_g_per_L"]) < alcohol.high - alcohol.low  # one batch: twice its 95 %
    factor = fit.quantities["gas factor"]
    assert factor.value == pytest.approx(1 - true["leak_share"], abs=factor.high - factor.low)
    assert factor.high < 0.95


def test_every_reading_comes_with_its_hour(leak):
    """Gas by each route, samples, density, sugar left and yeast: no ± of zero, none after the last hour."""
    found = readings_in_time(leak, 2.0)
    kinds = [one.kind for one in found]
    assert {"gas released", "gas left", "alcohol"} <= set(kinds)
    last = max(one.time_h[-1] for one in found)
    for one in found:
        assert one.time_h[-1] <= last
        assert np.all(one.u**2 + one.u_step**2 > 0)


def test_a_run_without_readings_in_time_is_refused():
    """A recipe alone is no batch in time."""
    run = fk.run_from({"run": {"name": "x"}, "feed": [{"ingredient": "white sugar", "amount": "100 g"}]}, {})
    with pytest.raises(fk.InputError, match="in time"):
        fk.fit_batch(run)
