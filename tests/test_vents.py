"""Vents found in pressure logs, and the CO2 of vented vessels."""

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest
from uncertainties import ufloat

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.gas.vents import PLAIN
from fermkit.matter.properties import co2_compressibility

STUDY = Path(__file__).parent / "benchmarks" / "vents.py"
spec = importlib.util.spec_from_file_location("study_of_vents", STUDY)
study = importlib.util.module_from_spec(spec)
spec.loader.exec_module(study)

VESSEL = {"headspace_L": 0.6, "liquid_L": 1.4, "oxygen_used": (0.0, 0.0), "solubility_vs_water": 1.0}
TIME = np.arange(0, 24, 1 / 6)


@pytest.mark.slow
def test_vents_are_found_and_few_are_false():
    """With a 5 K swing that nobody logged: 95 % of the falls of 5σ and more, below 1 false in 1,000 readings."""
    there = hit = false = readings = 0
    for every, noise, exchange in ((5, 0.005, 2.0), (10, 0.01, 0.3), (10, 0.005, 2.0), (15, 0.01, 0.3)):
        logs = study.simulate(25, hours=96, every_min=every, noise_bar=noise, exchange_per_h=exchange, seed=7)
        counts = study.found_and_false(logs, fk.find_vents)
        there, hit, false, readings = (a + b for a, b in zip((there, hit, false, readings), counts))
    assert hit / there >= 0.95
    assert false / readings <= 0.001


def test_small_falls_in_a_straight_log_are_found():
    """Falls of just five standard deviations, no swing and no refill: nearly all (95 %)."""
    rng = np.random.default_rng(4)
    hit = false = 0
    for _ in range(60):
        pressure = 0.05 * TIME + rng.normal(0, 0.01, TIME.size)
        at = rng.integers(20, TIME.size - 20)
        pressure[at:] -= 0.05
        rows = fk.find_vents(TIME, pressure).rows
        hit += at + 1 in rows or at in rows or at + 2 in rows
        false += np.sum(np.abs(rows - (at + 1)) > 1)
    assert hit >= 57
    assert false <= 60 * TIME.size / 1000


def test_a_swing_alone_is_no_vent():
    """Thirty logs of two days, ± 0.15 bar between day and night: no more than 1 false vent in 1,000 readings."""
    time = np.arange(0, 48, 1 / 6)
    swing = 2 + 0.15 * np.sin(2 * np.pi * time / 24)
    noise = np.random.default_rng(1).normal(0, 0.01, (30, time.size))
    false = sum(fk.find_vents(time, swing + row).rows.size for row in noise)
    assert false <= noise.size / 1000


def test_a_single_low_reading_is_a_glitch_and_told():
    """A reading that falls and comes back is left out, with its row and the doubt."""
    pressure = 0.05 * TIME + np.random.default_rng(1).normal(0, 0.005, TIME.size)
    pressure[70] -= 0.4
    vents = fk.find_vents(TIME, pressure)
    assert vents.rows.size == 0
    assert list(vents.wild_rows) == [71]
    curve = fk.gas_from_pressure(TIME, pressure, temperature_C=25.0, **VESSEL)
    assert curve.time_h.size == TIME.size - 1
    assert any("row 71" in remark for remark in curve.remarks)


def test_a_coarse_gauge_is_given_the_error_of_its_digit():
    """A gauge that shows tenths makes no vents of its steps."""
    pressure = np.round(0.08 * TIME, 1)
    vents = fk.find_vents(TIME, pressure)
    assert vents.noise_bar == pytest.approx(0.1 / np.sqrt(12), rel=0.01)
    assert vents.rows.size == 0


def test_a_log_without_scatter_is_refused():
    """A fall can't be judged where nothing scatters."""
    with pytest.raises(InputError, match="shows no scatter"):
        fk.find_vents([0, 1, 2, 3], [1, 1, 1, 1])


def test_vents_are_written_with_row_time_and_size():
    """A page that a person can check against the log book."""
    pressure = 0.05 * TIME + 0.004 * np.sin(37 * TIME) - 0.4 * (TIME > 12)
    text = str(fk.find_vents(TIME, pressure))
    assert "vents found" in text
    assert "between rows 73 and 74" in text


@pytest.mark.parametrize(("exchange", "swing"), [(0.3, 0.0), (2.0, 0.0), (0.3, 5.0), (2.0, 5.0)])
def test_vented_co2_is_added_back(exchange, swing):
    """Three vents, temperature logged: the total is within 2 % of the truth, and within its error if it is steady.

    With a swing the liquid of a slow vessel lags behind its temperature, which the balance does not follow.
    """
    logs = study.simulate(
        20, hours=96, noise_bar=0.005, exchange_per_h=exchange, vents=3, seed=11, drop_sigma=(20, 300), swing_K=swing
    )
    off, score = [], []
    for run in range(20):
        curve = fk.gas_from_pressure(logs.time_h, logs.gauge_bar[run], temperature_C=logs.temperature_C[run], **VESSEL)
        total, true = curve.total(), logs.produced_mol[run, -1]
        off.append(total.nominal_value / true - 1)
        score.append((total.nominal_value - true) / math.hypot(total.std_dev, 0.002 * true))  # 0.2 %: other properties
    assert np.max(np.abs(off)) < 0.02
    if not swing:
        assert abs(np.mean(off)) < 0.004
        assert np.sqrt(np.mean(np.square(score))) < 1.5


def test_without_adding_back_most_of_a_vent_is_lost():
    """The check on the check: the same logs with vents ignored fall far short."""
    logs = study.simulate(6, hours=96, noise_bar=0.005, vents=3, seed=11, drop_sigma=(100, 300), swing_K=0)
    for run in range(6):
        ignored = fk.gas_from_pressure(logs.time_h, logs.gauge_bar[run], temperature_C=25.0, vents="none", **VESSEL)
        assert ignored.co2_mol[-1] < 0.95 * logs.produced_mol[run, -1]


def still_vessel(k, vent_at=12.0, left=0.4, until=36.0, noise=0.002):
    """A vessel whose yeast has stopped: vented once, its liquid refills the gas space. Invented, two compartments."""
    rng = np.random.default_rng(6)
    step, RT = 1 / 600, 0.0831446 * 298.15
    gas, liquid, air, out = 0.0, 0.0, 0.98 * 0.6 / RT, []
    for i in range(int(until / step)):
        t = i * step
        made = 0.25 / 4 * step if t < 4 else 0.0
        flow = k * (liquid - 1.4 * 0.0332 * gas * RT / 0.6) * step
        liquid, gas = liquid + made - flow, gas + flow
        if i == int(vent_at / step) + 37:
            gas, air = gas * left, air * left
        if i % 100 == 0:
            out.append((gas + air) * RT / 0.6 + 0.0317 - 1.01325)
    return np.arange(len(out)) / 6, np.array(out) + rng.normal(0, noise, len(out))


@pytest.mark.parametrize("k", [0.4, 1.5])
def test_the_rise_after_a_vent_is_not_counted(k):
    """With no yeast at work the pressure doubles after the vent, and the produced CO2 stays where it was."""
    time, gauge = still_vessel(k)
    low, end = gauge[(time > 12) & (time < 12.5)].min(), gauge[-20:].mean()
    assert end - low > 0.3  # the rise is real
    curve = fk.gas_from_pressure(time, gauge, temperature_C=25.0, **VESSEL)
    after = curve.co2_mol[time > 13]
    assert np.ptp(np.convolve(after, np.ones(6) / 6, "valid")) < 0.004
    assert abs(after[-1] - 0.25) < 2 * math.hypot(curve.total().std_dev, 0.001)
    assert curve.total().std_dev < 0.01
    assert any("degassing and is not counted" in remark for remark in curve.remarks)


def test_named_vents_are_used_as_they_are():
    """Rows that a person names give the same as those found; a row outside the log is refused."""
    time, gauge = still_vessel(0.4)
    found = fk.gas_from_pressure(time, gauge, temperature_C=25.0, **VESSEL)
    rows = [int(row) for row in fk.find_vents(time, gauge).rows]
    named = fk.gas_from_pressure(time, gauge, temperature_C=25.0, vents=rows, **VESSEL)
    assert named.co2_mol[-1] == pytest.approx(found.co2_mol[-1], rel=1e-6)
    with pytest.raises(InputError, match="a vent is named at row"):
        fk.gas_from_pressure(time, gauge, temperature_C=25.0, vents=[10_000], **VESSEL)


def test_a_closed_vessel_and_its_common_errors():
    """Without vents the total is gas plus liquid, and the caller's numbers stay correlated in it."""
    liquid, headspace = ufloat(1.4, 0.02), ufloat(0.6, 0.02)
    time, gauge = np.array([0.0, 10.0, 20.0, 40.0]), np.array([0.0, 0.8, 1.6, 1.6])
    arguments = VESSEL | {"liquid_L": liquid, "headspace_L": headspace}
    total = fk.gas_from_pressure(time, gauge, temperature_C=25.0, u_reading_bar=0.01, **arguments).total()
    dry = 1.01325 - fk.water_vapour_pressure(25.0)
    swells = 0.035655  # L/mol, Garcia 2001

    def held(bar):
        return liquid * fk.co2_solubility(25.0, bar) / (1 - swells * fk.co2_solubility(25.0, bar))

    co2_bar = 1.6 - dry * (1 / (1 - swells * held(1.6) / headspace) - 1)  # the swollen liquid presses the air together
    by_hand = held(co2_bar)
    room = headspace - swells * by_hand
    by_hand = by_hand + co2_bar * room / (0.0831446 * 298.15 * co2_compressibility(25.0, co2_bar))
    assert total.nominal_value == pytest.approx(by_hand.nominal_value, rel=1e-6)
    components = total.error_components()
    assert components[liquid] == pytest.approx(by_hand.error_components()[liquid], rel=1e-3)
    assert components[headspace] == pytest.approx(by_hand.error_components()[headspace], rel=1e-3)


def test_used_oxygen_hides_co2():
    """All oxygen of 0.6 L of air gone: 0.0049 mol of gas, and what the liquid holds at that pressure more."""
    time, gauge = np.array([0.0, 10.0, 20.0]), np.array([0.0, 0.8, 1.6])
    none, all_of_it = (
        fk.gas_from_pressure(
            time, gauge, headspace_L=0.6, liquid_L=1.4, temperature_C=25.0, u_reading_bar=0.01, oxygen_used=share
        ).co2_mol[-1]
        for share in ((0.0, 0.0), (1.0, 1.0))
    )
    bar = 0.2095 * (1.01325 - 0.0317)
    assert all_of_it - none == pytest.approx(bar * (0.6 / 24.79 + 1.4 * 0.0332), rel=0.03)


def test_an_unlogged_temperature_is_doubted():
    """One temperature for the run: the page says what a kelvin would do."""
    curve = fk.gas_from_pressure([0, 10, 20], [0, 0.8, 1.6], temperature_C=25.0, u_reading_bar=0.01, **VESSEL)
    assert any("1 K warmer" in remark for remark in curve.remarks)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"headspace_L": 0.0}, "headspace"),
        ({"liquid_L": -1.0}, "liquid"),
        ({"temperature_C": 80.0}, "temperature of the vessel"),
        ({"barometer_bar": 1013.0}, "1013 hPa is 1.013 bar"),
        ({"vents": "maybe"}, "vents as one of"),
        ({"oxygen_used": (0.5, 0.1)}, "smaller number first"),
        ({"u_reading_bar": -0.1}, "error of a reading"),
    ],
)
def test_bad_conditions_of_the_vessel_are_refused(change, words):
    """Each in its own words."""
    good = {"headspace_L": 0.6, "liquid_L": 1.4, "temperature_C": 25.0}
    with pytest.raises(InputError, match=words):
        fk.gas_from_pressure(TIME, 0.05 * TIME, **(good | change))


def test_absolute_pressures_are_refused():
    """A first reading of an atmosphere is an absolute pressure."""
    with pytest.raises(InputError, match="give gauge pressures, not absolute ones"):
        fk.gas_from_pressure(TIME, 1.013 + 0.05 * TIME, headspace_L=0.6, liquid_L=1.4, temperature_C=25.0)


def test_a_vessel_said_to_be_closed_shows_plain_falls_only():
    """Of 60 logs without a vent none is given one; a vent of a quarter of the pressure is seen all the same."""
    time = np.arange(0, 36, 0.25)
    for seed in range(60):
        level = 3 / (1 + np.exp(-(time - 9) / 2)) + 0.01 * np.random.default_rng(seed).normal(size=time.size)
        assert fk.find_vents(time, level, noise_bar=0.01, threshold=PLAIN).rows.size == 0
    vented = level - 0.5 * (time > 20)
    assert list(fk.find_vents(time, vented, noise_bar=0.01, threshold=PLAIN).rows) == [82]
    with pytest.raises(InputError, match="one of: find, plain, none"):
        fk.gas_from_pressure(time, level, headspace_L=0.5, liquid_L=1.5, temperature_C=25.0, vents="plane")


def test_a_barometer_that_was_logged_counts_reading_by_reading():
    """A gauge reads against the air outside: 20 hPa less outside and 20 hPa more on the gauge are the same vessel."""
    time, gauge, outside = np.linspace(0, 40, 41), np.full(41, 1.0), np.full(41, 1.0)
    gauge[0], falling = 0.0, np.linspace(0.0, 0.02, 41)
    log = VESSEL | {"temperature_C": 25.0, "u_reading_bar": 0.002, "vents": "none"}
    steady = fk.gas_from_pressure(time, gauge, barometer_bar=outside, **log)
    weather = fk.gas_from_pressure(time, gauge + falling, barometer_bar=outside - falling, **log)
    np.testing.assert_allclose(steady.co2_mol, weather.co2_mol, atol=1e-12)


@pytest.mark.parametrize(
    ("changed", "more"),
    [
        ({"temperature_C": ufloat(25.0, 1.0)}, 0.02),
        ({"oxygen_used": (0, 1)}, 0.02),
        ({"gauge_factor": ufloat(1.0, 0.02)}, 0.015),
        ({"liquid_L": ufloat(1.4, 0.03)}, 0.015),
    ],
)
def test_what_the_liquid_holds_carries_every_doubt(changed, more):
    """Warmth, oxygen, gauge and volume each leave a ± in what is dissolved, not in the total alone."""
    time, gauge = np.array([0.0, 10.0, 20.0, 40.0]), np.array([0.0, 0.8, 1.6, 1.6])
    arguments = VESSEL | {"temperature_C": 25.0} | changed
    store = fk.gas_from_pressure(time, gauge, u_reading_bar=0.01, **arguments).store_mol
    assert store.std_dev > more * store.nominal_value
