"""A run's batch in time: the join of its readings, held against the truth of the sample runs (another mechanism)."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import trapezoid

import fermkit as fk
from fermkit.kinetics.series import series
from fermkit.run.batch_in_time import readings_in_time, temperature_log
from fermkit.run.surroundings import liquid_C

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
    assert fit.answers["ethanol"].low < true["ethanol_end_g_per_L"] < fit.answers["ethanol"].high
    factor = fit.quantities["gas factor"]
    assert factor.low < 1 - true["leak_share"] < factor.high < 0.95


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


def shortened(name="jar_3_closes", **more):
    """A sample run with its gas alone, as settings and tables, with further tables."""
    run = fk.read_run(SAMPLES / name)
    gas = run.tables["gas"]
    rows = {"gas": {"time [h]": list(gas.time_h[::6]), "volume [mL]": list(gas.volume_mL[::6])}}
    written = {
        "run": {"name": name}, "feed": [{"ingredient": "white sugar", "amount": "150 g"}],
        "vessel": {"total": "3 L", "liquid": "1.5 L", "closed": "airlock"},
        "inoculum": {"ingredient": "active dry yeast", "amount": "5 g"},
        "gas": [{"kind": "collected volume"}],
    }  # fmt: skip
    return fk.run_from(written, rows | more)


WARM = {"time [h]": [0, 6, 12, 18, 24, 30, 36], "temperature [°C]": [24, 27, 24, 21, 24, 27, 24]}


def test_a_logged_temperature_reaches_the_fit_and_the_run():
    """Its hours and degrees as logged; where run.toml gives no temperature, its mean is the run's; day and night move
    the answers."""
    day, night = shortened(temperature=WARM), shortened()
    hours, degrees = temperature_log(day)
    assert hours.tolist() == WARM["time [h]"] and degrees.tolist() == WARM["temperature [°C]"]
    assert liquid_C(day).n == pytest.approx(trapezoid(WARM["temperature [°C]"], WARM["time [h]"]) / 36)
    assert temperature_log(night) is None
    a, b = (fk.fit_batch(fk.analyse(run, only=("feed", "limits", "released"))) for run in (day, night))
    assert a.answers["sugar_gone_h"].value != pytest.approx(b.answers["sugar_gone_h"].value, rel=1e-4)


def test_readings_made_elsewhere_go_in():
    """Yeast read during the run, handed over beside it, narrows what is told of the yeast."""
    found = fk.analyse(shortened(), only=("feed", "limits", "released"))
    bare = fk.fit_batch(found).answers["yeast"]
    read = fk.fit_batch(found, also=[series("yeast", [12, 24, 36], [7.0, 9.0, 9.5], 0.4)]).answers["yeast"]
    assert read.high - read.low < (bare.high - bare.low) / 2
    assert abs(read.value - 9.5) < 1.0
