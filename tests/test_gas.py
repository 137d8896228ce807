"""From readings of every kind to cumulative moles of CO2, with the three kinds of error."""

import math
from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from uncertainties import ufloat

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.gas.curve import CO2_G_PER_MOL, GasCurve
from fermkit.matter.alcohol import ethanol_molar_concentration

TIME = np.linspace(0.0, 48.0, 49)
from_volume = partial(fk.gas_from_volume, loss_to_water=(0.0, 0.0))
"""A gas syringe: no water that could take CO2."""
RISE = 1 / (1 + np.exp(-(TIME - 16) / 4)) - 1 / (1 + np.exp(4))


def test_the_molar_mass_is_that_of_the_formula():
    """The constant beside the gas curve is the one that the formulas give."""
    assert pytest.approx(fk.molar_mass("CO2"), abs=0.001) == CO2_G_PER_MOL


def test_wet_gas_holds_less_co2_than_dry():
    """At 25 °C and 1 atm 3.1 % of a wet volume is water vapour."""
    wet, dry = (
        from_volume([0, 1], [0, 1000], temperature_C=25.0, wet=wet, gas="ideal") for wet in (True, False)
    )
    assert 1 - wet.co2_mol[-1] / dry.co2_mol[-1] == pytest.approx(0.03128, abs=2e-5)


def test_co2_is_counted_from_the_first_reading():
    """A collector that was not empty at the start shifts nothing."""
    one = from_volume(TIME, 900 * RISE, temperature_C=22.0)
    two = from_volume(TIME, 900 * RISE + 150, temperature_C=22.0)
    np.testing.assert_allclose(one.co2_mol, two.co2_mol, atol=1e-15)


def test_gas_held_and_gas_emptied_differ_only_when_the_temperature_changes():
    """Gas held in the collector expands with it; gas thrown out does not."""
    same = [
        from_volume(TIME, 900 * RISE, temperature_C=np.full(49, 20.0), collector=word).co2_mol
        for word in ("held", "emptied")
    ]
    np.testing.assert_allclose(*same, rtol=1e-12)
    warming = np.linspace(15, 30, 49)
    held, emptied = (
        from_volume(TIME, 900 * RISE, temperature_C=warming, collector=word).co2_mol[-1]
        for word in ("held", "emptied")
    )
    at_end = from_volume(TIME, 900 * RISE, temperature_C=30.0).co2_mol[-1]
    assert held == pytest.approx(at_end)
    assert emptied > held


def test_common_errors_stay_linear_in_the_callers_numbers():
    """Two collectors with one barometer: it drops out of their ratio, in proportion to its share."""
    barometer, factor = ufloat(1.0, 0.02), ufloat(1.01, 0.01)
    a, b = (
        from_volume(TIME, v * RISE, temperature_C=22.0, pressure_bar=barometer, volume_factor=factor)
        for v in (500, 900)
    )
    assert a.total().std_dev / a.total().nominal_value == pytest.approx(
        math.hypot(0.02 / (1 - 0.02644), 0.01), rel=0.01
    )
    assert (a.total() / b.total()).std_dev == pytest.approx(0, abs=1e-12)
    assert a.common.nominal_value == pytest.approx(1.0)
    assert factor in a.common.error_components()


def test_a_warmer_collector_holds_less():
    """The collector's temperature enters with the right sign and size: some −0.5 % per kelvin."""
    curve = from_volume([0, 1], [0, 1000], temperature_C=ufloat(22.0, 1.0))
    assert curve.common.std_dev == pytest.approx(0.0050, abs=0.0003)


def test_loss_to_water_is_an_interval():
    """A loss of 0 to 6 % raises the middle by 3 % and leaves the ends in reach."""
    kept = from_volume([0, 1], [0, 1000], temperature_C=22.0)
    lost = from_volume([0, 1], [0, 1000], temperature_C=22.0, loss_to_water=(0.0, 0.06))
    factor = lost.total() / kept.co2_mol[-1]
    assert factor.nominal_value == pytest.approx(1 / 0.97)
    assert factor.std_dev == pytest.approx(0.06 / math.sqrt(12) / 0.97**2)
    assert any("0.0 % to 6.0 %" in remark for remark in lost.remarks)


def test_the_three_errors_add_in_squares():
    """Per reading (first and last), per increment and common, all in the total."""
    curve = from_volume(
        [0, 1, 2, 3], [0, 300, 600, 1000], temperature_C=22.0, u_reading_mL=3.0, u_increment_mL=4.0,
        volume_factor=ufloat(1, 0.01),
    )  # fmt: skip
    expected = math.sqrt(2 * 3**2 + 3 * 4**2 + 10**2) / 1000
    total = curve.total()
    assert total.std_dev / total.nominal_value == pytest.approx(expected)
    assert (curve.total() - total).std_dev == pytest.approx(0, abs=1e-15)
    assert "per reading, per increment, common" in str(curve)


@pytest.mark.parametrize(
    ("reading", "increment", "noise"),
    [(5.0, 0.0, "independent"), (0.0, 5.0, "accumulating"), (40.0, 5.0, "independent")],
)
def test_the_noise_word_is_that_of_the_larger_error(reading, increment, noise):
    """Growth fits ask how the errors run."""
    curve = from_volume(TIME, 900 * RISE, temperature_C=22.0, u_reading_mL=reading, u_increment_mL=increment)
    assert curve.noise == noise


def test_a_steady_flow_gives_its_product_with_time():
    """10 mL/min for 2 h is 1,200 mL, however unevenly it was read."""
    flow = fk.gas_from_flow([0, 0.1, 1.3, 2], [10, 10, 10, 10], temperature_C=22.0)
    volume = from_volume([0, 2], [0, 1200], temperature_C=22.0)
    assert flow.co2_mol[-1] == pytest.approx(volume.co2_mol[-1])


def test_the_error_of_an_integrated_flow_is_what_repeated_runs_show():
    """Uneven steps: the declared errors match 4,000 simulated integrations at several times."""
    rng = np.random.default_rng(3)
    time = np.sort(np.concatenate(([0.0], rng.uniform(0, 10, 18), [10.0])))
    curves = [
        fk.gas_from_flow(time, 50 + rng.normal(0, 2, 20), temperature_C=22.0, u_reading_mL_per_min=2.0)
        for _ in range(4000)
    ]
    found = np.std([curve.co2_mol for curve in curves], axis=0)
    declared = np.sqrt(np.cumsum(curves[0].u_increment_mol ** 2))
    np.testing.assert_allclose(found[1:], declared[1:], rtol=0.05)
    assert curves[0].noise == "accumulating"


def test_the_zero_of_the_flow_meter_counts_for_the_whole_time():
    """A zero known to 0.1 mL/min leaves 0.1 mL/min × 60 × 10 h = 60 mL uncertain."""
    curve = fk.gas_from_flow([0, 10], [50, 50], temperature_C=22.0, zero_mL_per_min=ufloat(0.5, 0.1))
    assert curve.common.std_dev == pytest.approx(0.1 / 49.5)


def test_gaps_in_the_flow_are_told():
    """A gap bridged by a straight line says how much of the gas that is."""
    curve = fk.gas_from_flow([0, 1, 2, 3, 13, 14], [5, 5, 5, 5, 5, 5], temperature_C=22.0)
    assert any("71.4 % of the CO2" in remark for remark in curve.remarks)


def test_bubbles_carry_their_calibration_in_common():
    """3 % on the volume of a bubble is 3 % on the total, however many were counted."""
    curve = fk.gas_from_bubbles(
        TIME, np.round(30_000 * RISE), mL_per_bubble=ufloat(0.5, 0.015), temperature_C=22.0, spread_of_bubble=0.1
    )
    total = curve.total()
    assert total.std_dev / total.nominal_value == pytest.approx(0.03, rel=0.01)
    assert curve.noise == "accumulating"


def test_a_bare_count_is_uncertain_by_its_root():
    """10,000 bubbles without a spread given: 100."""
    curve = fk.gas_from_bubbles([0, 5, 10], [0, 4000, 10_000], mL_per_bubble=0.5, temperature_C=22.0)
    assert curve.u_walk_mol / curve.co2_mol[-1] == pytest.approx(0.01)


def lighter(released, *, headspace_L, t_C, bar, pct_vol, steps=20_000):
    """The weight that a vessel loses, by small steps of a well-mixed headspace: the long way round."""
    steam = fk.water_vapour_pressure(t_C)
    spirit_end = ethanol_molar_concentration(pct_vol) / (190 * math.exp(6400 * (1 / (t_C + 273.15) - 1 / 298.15)))
    dry = bar - steam - spirit_end / 2
    room = headspace_L * dry / (0.0831446261815324 * (t_C + 273.15))
    air, lost, step = room, 0.0, released / steps
    for i in range(steps):
        out = air / room * step
        air -= out
        lost += (
            28.97 * out
            + 44.009 * (step - out)
            + step * (steam * 18.015 + spirit_end * (i + 0.5) / steps * 46.069) / dry
        )
    return lost


def test_the_weight_gives_back_the_released_co2():
    """Air, water and ethanol that leave with the CO2 are taken off, to 1 part in 2,000."""
    lost = lighter(0.9, headspace_L=0.6, t_C=27.0, bar=1.0, pct_vol=5.0)
    curve = fk.gas_from_weight(
        [0, 24], [2000.0, 2000.0 - lost], temperature_C=27.0, headspace_L=0.6, ethanol_pct_vol=5.0, pressure_bar=1.0
    )
    assert curve.co2_mol[-1] == pytest.approx(0.9, rel=5e-4)


def test_early_gas_is_air():
    """The first millimoles weigh 29 g/mol and not 44."""
    curve = fk.gas_from_weight([0, 1], [100.0, 99.99], temperature_C=25.0, headspace_L=2.0)
    assert 0.01 / curve.co2_mol[-1] == pytest.approx(29.6, abs=0.1)


def test_samples_drift_and_wild_weighings():
    """What was taken out is added back; drift is taken off; a bumped scale is left out and told."""
    weight = 2000 - 40 * RISE
    plain = fk.gas_from_weight(TIME, weight, temperature_C=25.0, headspace_L=0.5, u_reading_g=0.05)
    changed = weight + 0.02 * TIME
    changed[20:] -= 10.0
    changed[30] += 25.0
    curve = fk.gas_from_weight(
        TIME, changed, temperature_C=25.0, headspace_L=0.5, u_reading_g=0.05,
        taken_out_g=[(TIME[20], ufloat(10.0, 0.1))], drift_g_per_h=ufloat(0.02, 0.002),
    )  # fmt: skip
    np.testing.assert_allclose(curve.co2_mol, np.delete(plain.co2_mol, 30), atol=1e-9)
    assert any("row 31" in remark for remark in curve.remarks)
    grams = curve.common.std_dev * curve.co2_mol[-1] * 45
    assert grams == pytest.approx(math.hypot(0.1, 0.002 * 48), rel=0.15)


def test_a_litre_with_100_g_of_sugar_holds_3_to_6_percent_back():
    """What the weight alone misses: the store, less the air pushed out."""
    released = 100 / 180.156 * 2 * 0.95
    lost = lighter(released, headspace_L=0.5, t_C=25.0, bar=1.013, pct_vol=6.0)
    curve = fk.gas_from_weight([0, 48], [2000, 2000 - lost], temperature_C=25.0, headspace_L=0.5, ethanol_pct_vol=6.0)
    made = fk.produced(curve, liquid_L=1.0, headspace_L=0.5, temperature_C=25.0)
    assert 0.03 < made.store_mol.nominal_value / made.total().nominal_value < 0.06


def test_a_litre_at_25_degrees_holds_about_a_gram_and_a_half():
    """At 1 atm total pressure: 1.45 g/L, and in the interval of the saturation."""
    curve = from_volume([0, 10, 20], [0, 9000, 20_000], temperature_C=22.0)
    water = {"liquid_L": 1.0, "headspace_L": 0.3, "temperature_C": 25.0, "solubility_vs_water": 1.0}
    made = fk.produced(curve, **water, saturation=(1.0, 1.0))
    assert made.store_mol * CO2_G_PER_MOL == pytest.approx(1.43, abs=0.02)
    wide = fk.produced(curve, **water, saturation=(0.9, 1.3))
    assert (wide.store_mol / made.store_mol).nominal_value == pytest.approx(1.1)
    assert (wide.store_mol / made.store_mol).std_dev == pytest.approx(0.4 / math.sqrt(12))
    assert wide.total().std_dev == pytest.approx(wide.store_mol.std_dev, rel=1e-6)


def test_the_store_fills_before_the_headspace_is_flushed():
    """The liquid takes its share first: what is produced leads what is released, and never falls."""
    curve = from_volume(TIME, 20_000 * RISE, temperature_C=22.0, u_reading_mL=5.0)
    made = fk.produced(curve, liquid_L=1.0, headspace_L=0.3, temperature_C=25.0)
    extra = made.co2_mol - curve.co2_mol
    assert np.all(np.diff(extra) >= -1e-12)
    assert extra[0] == 0
    assert made.u_reading_mol[0] > 2 * made.u_reading_mol[-1]


@pytest.mark.parametrize(("pH", "more"), [(5.0, 0.04), (5.5, 0.14), (6.0, 0.45)])
def test_bicarbonate_adds_to_the_store(pH, more):
    """4, 14 and 45 % at pH 5, 5.5 and 6."""
    curve = from_volume([0, 20], [0, 20_000], temperature_C=22.0)
    plain, acid = (
        fk.produced(curve, liquid_L=1.0, headspace_L=0.3, temperature_C=25.0, pH=value).store_mol
        for value in (None, pH)
    )
    assert (acid / plain).nominal_value - 1 == pytest.approx(more, abs=0.006)


def test_what_is_produced_shares_the_errors_of_what_was_released():
    """The store is their whole difference: reading and collector errors cancel."""
    curve = from_volume(
        TIME, 20_000 * RISE, temperature_C=22.0, u_reading_mL=50.0, volume_factor=ufloat(1, 0.03)
    )
    made = fk.produced(curve, liquid_L=1.0, headspace_L=0.3, temperature_C=25.0)
    assert (made.total() - curve.total()).std_dev == pytest.approx(made.store_mol.std_dev, rel=0.02)
    assert fk.produced(made, liquid_L=1.0, headspace_L=0.3, temperature_C=25.0) is made


def both_routes(leak, rng):
    """A weight and a volume of the same simulated run, with a share of the gas leaking."""
    volume = 20_000 * RISE * (1 - leak) * (1 + rng.normal(0, 0.01)) + rng.normal(0, 20, 49)
    weight = 2000 - 36 * RISE + rng.normal(0, 0.1, 49)
    a = fk.gas_from_weight(TIME, weight, temperature_C=25.0, headspace_L=0.5, u_reading_g=0.1)
    b = from_volume(
        TIME, volume, temperature_C=25.0, u_reading_mL=20.0, volume_factor=ufloat(1, 0.01), resets="none"
    )
    return a, b


def test_a_leak_shows_between_weight_and_volume():
    """A leak of 10 % is found, with its size; it hides from neither order of the two."""
    base = fk.compare_routes(*both_routes(0.0, np.random.default_rng(1))).leak
    for order in (slice(None), slice(None, None, -1)):
        found = fk.compare_routes(*both_routes(0.10, np.random.default_rng(1))[order])
        assert (found.leak - base).nominal_value == pytest.approx(0.10, abs=0.02)
        assert "Gas is missing" in found.verdict
        assert "Look for a leak" in str(found)


def test_more_volume_than_weight_is_no_leak():
    """The collector cannot see more than the vessel lost: the verdict names the calibration."""
    found = fk.compare_routes(*both_routes(-0.2, np.random.default_rng(1)))
    assert "A leak cannot do this" in found.verdict


@pytest.mark.slow
def test_sound_runs_alarm_as_often_as_they_say():
    """Of 1,000 runs without a leak 5 % disagree at the 5 % level (3 to 7 %)."""
    rng = np.random.default_rng(8)
    true = fk.gas_from_weight(TIME, 2000 - 36 * RISE, temperature_C=25.0, headspace_L=0.5).co2_mol
    per_mL = from_volume([0, 1], [0, 1], temperature_C=25.0).co2_mol[-1]
    alarms = 0
    for _ in range(1000):
        weight = 2000 - 36 * RISE + rng.normal(0, 0.1, 49)
        volume = true / per_mL / (1 + rng.normal(0, 0.01)) + rng.normal(0, 20, 49)
        a = fk.gas_from_weight(TIME, weight, temperature_C=25.0, headspace_L=0.5, u_reading_g=0.1, vapour=(1.0, 1.0))
        b = from_volume(
            TIME, volume, temperature_C=25.0, u_reading_mL=20.0, volume_factor=ufloat(1, 0.01), resets="none"
        )
        alarms += fk.compare_routes(a, b).p < 0.05
    assert 30 <= alarms <= 70


def test_agreement_says_what_could_hide():
    """A verdict of agreement names the leak that would have been seen."""
    curve = from_volume(TIME, 900 * RISE, temperature_C=22.0, u_reading_mL=5.0)
    other = from_volume(TIME, 903 * RISE, temperature_C=22.0, u_reading_mL=5.0)
    assert "a smaller one could hide" in fk.compare_routes(curve, other).verdict


def test_curves_that_cannot_be_compared_are_refused():
    """Released against produced, and runs that share no time."""
    curve = from_volume(TIME, 900 * RISE, temperature_C=22.0)
    made = fk.produced(curve, liquid_L=1.0, headspace_L=0.3, temperature_C=25.0)
    with pytest.raises(InputError, match="one curve counts CO2 released, the other CO2 produced"):
        fk.compare_routes(curve, made)
    late = from_volume(TIME + 100, 900 * RISE, temperature_C=22.0)
    with pytest.raises(InputError, match="check the clocks"):
        fk.compare_routes(curve, late)


def test_a_counter_that_starts_again_is_carried_on():
    """A reset is found, added back, and told with its row."""
    volume = 900 * RISE
    again = volume.copy()
    again[25:] -= volume[24]
    curve = from_volume(TIME, again, temperature_C=22.0)
    true = from_volume(TIME, volume, temperature_C=22.0)
    np.testing.assert_allclose(curve.co2_mol, true.co2_mol, atol=1e-12)
    assert any("row 26" in remark for remark in curve.remarks)
    named = from_volume(TIME, again, temperature_C=22.0, resets=[26])
    np.testing.assert_allclose(named.co2_mol, true.co2_mol, atol=1e-12)


@pytest.mark.parametrize("wild", [5000.0, -300.0, 0.0])
def test_a_single_wild_reading_is_left_out(wild):
    """Far above or below its neighbours: gone, and told with its row."""
    volume = 900 * RISE
    volume[20] = wild
    curve = from_volume(TIME, volume, temperature_C=22.0)
    assert curve.time_h.size == 48
    assert any("row 21" in remark for remark in curve.remarks)
    assert np.all(np.diff(curve.co2_mol) >= 0)


def test_rows_without_a_reading_are_left_out_with_their_temperatures():
    """NaN is no reading; a series of temperatures loses the same rows."""
    volume = 900 * RISE
    volume[[3, 7]] = np.nan
    curve = from_volume(TIME, volume, temperature_C=np.full(49, 21.0))
    assert curve.time_h.size == 47
    assert "Rows without a reading were left out: 4, 8." in curve.remarks


def test_noise_on_a_plateau_is_no_fault():
    """Readings that fall within their error are kept as they are."""
    rng = np.random.default_rng(5)
    volume = 900 * RISE + rng.normal(0, 4, 49)
    assert from_volume(TIME, volume, temperature_C=22.0, u_reading_mL=4.0).time_h.size == 49


def test_scatter_without_a_rise_is_doubted():
    """Readings that only scatter show no gas, and that is said."""
    volume = np.random.default_rng(2).normal(0, 5, 49)
    curve = from_volume(TIME, volume, temperature_C=22.0, u_reading_mL=5.0)
    assert any("no gas is shown" in remark for remark in curve.remarks)


def test_one_leap_is_doubted():
    """Half of the gas in one step of many is said aloud."""
    volume = np.linspace(0, 100, 49)
    volume[30:] += 120
    curve = from_volume(TIME, volume, temperature_C=22.0)
    assert any(remark.startswith("Doubt: 55 %") for remark in curve.remarks)


@pytest.mark.parametrize(
    ("volume", "words"),
    [
        ([0, 300, 800, 500, 600, 700], "falls from 800 in row 3 to 500 in row 4"),
        ([0, 5, 10, 0.5, 10.5, 15], "may be a new start or a wild reading"),
        (np.tile(np.arange(8) * 10.0, 250), "falls 249 times"),
        ([0, 1, 2, np.inf, 3, 4], "is inf in row 4"),
        ([np.nan] * 5 + [1.0], "holds 1 readings in 6 rows"),
        (["a"] * 6, "not a number"),
    ],
)
def test_unsafe_volumes_are_refused(volume, words):
    """What cannot be mended safely is refused, with row and value."""
    with pytest.raises(InputError, match=words):
        from_volume(np.arange(len(volume)), volume, temperature_C=22.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"temperature_C": 295.0}, "temperature of the collected gas"),
        ({"temperature_C": float("nan")}, "temperature"),
        ({"pressure_bar": 1013.0}, "1013 hPa is 1.013 bar"),
        ({"u_reading_mL": -1.0}, "error per reading"),
        ({"volume_factor": 0.0}, "factor of the collector"),
        ({"loss_to_water": (0.1, 0.05)}, "smaller share first"),
        ({"gas": "perfect"}, "gas as one of: real, ideal"),
        ({"collector": "hold"}, "did you mean 'held'"),
        ({"resets": "fnd"}, "did you mean 'find'"),
        ({"resets": [99]}, "a reset is named at row 99"),
        ({"temperature_C": [20.0, 21.0]}, "different lengths"),
    ],
)
def test_bad_conditions_are_refused(change, words):
    """Each in its own words."""
    with pytest.raises(InputError, match=words):
        from_volume(TIME, 900 * RISE, **({"temperature_C": 22.0} | change))


@pytest.mark.parametrize(
    ("action", "words"),
    [
        (lambda: fk.gas_from_weight([0, 1], [9, 8], temperature_C=25.0, headspace_L=0.0), "headspace"),
        (lambda: fk.gas_from_weight([0, 1], [9, 8], temperature_C=25.0, headspace_L=1, ethanol_pct_vol=40), "alcohol"),
        (lambda: fk.gas_from_weight([0, 1, 2, 3], [9, 8, 12, 11], temperature_C=25, headspace_L=1), "taken_out_g"),
        (lambda: fk.gas_from_bubbles([0, 1], [0, 9], mL_per_bubble=0.0, temperature_C=22), "volume of a bubble"),
        (lambda: fk.gas_from_flow([0, 1], [-5, -5], temperature_C=22), "positive on the whole"),
        (lambda: fk.gas_from_flow([1, 0], [5, 5], temperature_C=22), "rises from one reading"),
        (lambda: from_volume([0, 1, 2], [0, 5], temperature_C=22), "different lengths"),
        (lambda: GasCurve(TIME, RISE, "made", "volume", RISE, RISE), "counts as one of"),
    ],
)
def test_other_bad_input_is_refused(action, words):
    """Weights, bubbles, flows and curves."""
    with pytest.raises(InputError, match=words):
        action()


def test_a_curve_without_errors_says_so():
    """No ± is invented where none was given."""
    assert "No error was given" in str(from_volume([0, 1], [0, 500], temperature_C=22.0))


def test_no_gas_is_no_crash():
    """A run in which nothing happened gives zero, in words that hold no 'nan'."""
    curve = from_volume(TIME, np.zeros(49), temperature_C=22.0, u_reading_mL=1.0, volume_factor=ufloat(1, 0.1))
    made = fk.produced(curve, liquid_L=1.0, headspace_L=0.3, temperature_C=25.0)
    weight = fk.gas_from_weight(TIME, np.full(49, 900.0), temperature_C=25.0, headspace_L=0.5, u_reading_g=0.1)
    for result in (curve, made, weight):
        assert "nan" not in str(result).lower()
        assert math.isfinite(result.total().nominal_value)


HOSTILE = hnp.arrays(
    np.float64, st.integers(0, 12), elements=st.one_of(
        st.floats(allow_nan=True, allow_infinity=True), st.floats(-1, 20), st.sampled_from([0.0, 1e-300, -0.0, 1e300])
    ),
)  # fmt: skip


@settings(max_examples=400, deadline=None, derandomize=True)
@given(HOSTILE, HOSTILE, st.sampled_from(["volume", "flow", "bubbles", "weight", "pressure"]), st.booleans())
def test_hostile_arrays_give_an_answer_or_a_refusal(time, reading, kind, tidy):
    """Any arrays: an InputError, or finite moles."""
    if tidy:
        time = np.arange(reading.size, dtype=float)
    ways = {
        "volume": lambda: from_volume(time, reading, temperature_C=22.0),
        "flow": lambda: fk.gas_from_flow(time, reading, temperature_C=22.0),
        "bubbles": lambda: fk.gas_from_bubbles(time, reading, mL_per_bubble=0.5, temperature_C=22.0),
        "weight": lambda: fk.gas_from_weight(time, reading, temperature_C=22.0, headspace_L=0.5),
        "pressure": lambda: fk.gas_from_pressure(time, reading, headspace_L=0.5, liquid_L=1.0, temperature_C=22.0),
    }
    try:
        curve = ways[kind]()
    except InputError:
        return
    assert np.all(np.isfinite(curve.co2_mol))
    str(curve)


RUNNING = np.array([0.0, 4.0, 8.0, 12.0, 16.0, 20.0])


def test_a_liquid_that_still_ferments_may_hold_much_more():
    """The interval of a running liquid reaches 1.64 times its balance; of one that has stopped it does not."""
    conditions = {"liquid_L": 1.0, "headspace_L": 0.3, "temperature_C": 25.0, "solubility_vs_water": 1.0}
    still = fk.produced(from_volume(RUNNING, 600 * RUNNING, temperature_C=22.0), **conditions)
    flat = np.minimum(600 * RUNNING, 9600)
    done = fk.produced(from_volume([*RUNNING, 60.0], [*flat, 9600], temperature_C=22.0), **conditions)
    balance = fk.produced(
        from_volume(RUNNING, 600 * RUNNING, temperature_C=22.0), **conditions, saturation=(1.0, 1.0)
    ).store_mol
    reach = [(made.store_mol.nominal_value / balance - 1, made.store_mol.std_dev / balance) for made in (still, done)]
    assert reach[0][0] + math.sqrt(3) * reach[0][1] > 0.64
    assert reach[1][0] + math.sqrt(3) * reach[1][1] < 0.12
    assert not any("still comes" in remark for remark in done.remarks)


def test_the_barometer_sets_the_store():
    """At 850 hPa the liquid holds a sixth less than at 1013 hPa."""
    curve = from_volume([0, 20, 60], [0, 20_000, 20_000], temperature_C=22.0)
    high, low = (
        fk.produced(curve, liquid_L=1.0, headspace_L=0.3, temperature_C=25.0, pressure_bar=bar).store_mol.nominal_value
        for bar in (1.01325, 0.85)
    )
    assert low / high == pytest.approx((0.85 - 0.0317) / (1.01325 - 0.0317), rel=0.002)


def test_displacement_water_that_nobody_spoke_of_is_told():
    """Silence about it is no zero: a usual range, announced, wider than a syringe's; dried gas met no water."""
    silent = fk.gas_from_volume([0, 1], [0, 1000], temperature_C=22.0)
    syringe = from_volume([0, 1], [0, 1000], temperature_C=22.0)
    dry = fk.gas_from_volume([0, 1], [0, 1000], temperature_C=22.0, wet=False)
    assert silent.co2_mol[-1] > 1.04 * syringe.co2_mol[-1]
    assert silent.common.std_dev > 0.02
    assert syringe.common == dry.common == 1.0
    assert sum("brine" in remark for remark in silent.remarks) == 1


def test_the_factor_of_a_flow_meter_and_its_increments_count():
    """3 % on the meter is 3 % on the gas; 50 mL on each of 10 intervals is √10 × 50 mL at the end."""
    time, flow = np.arange(11.0), np.full(11, 10.0)
    curve = fk.gas_from_flow(time, flow, temperature_C=22.0, flow_factor=ufloat(1.1, 0.033), u_increment_mL=50.0)
    plain = fk.gas_from_flow(time, flow, temperature_C=22.0)
    assert curve.co2_mol[-1] / plain.co2_mol[-1] == pytest.approx(1.1)
    assert curve.common.std_dev == pytest.approx(0.03)
    assert curve.u_walk_mol / curve.co2_mol[-1] == pytest.approx(50 * math.sqrt(10) / 6000)


def test_what_may_be_said_of_bubbles_and_of_a_scale_counts():
    """A counter read to ± 5 bubbles, and drops of 0.2 g at each weighing, are in the total."""
    sure, unsure = (
        fk.gas_from_bubbles([0, 5], [0, 1000], mL_per_bubble=0.5, temperature_C=22.0, spread_of_bubble=0.0, u_reading=u)
        for u in (0.0, 5.0)
    )
    assert (sure.total().std_dev if hasattr(sure.total(), "std_dev") else 0.0) == 0.0
    assert unsure.total().std_dev / unsure.co2_mol[-1] == pytest.approx(math.sqrt(2) * 5 / 1000)
    weighed = fk.gas_from_weight(
        np.arange(5.0), 1000 - 10 * np.arange(5.0), temperature_C=25.0, headspace_L=0.5, u_increment_g=0.2,
        vapour=(1.0, 1.0),
    )  # fmt: skip
    assert weighed.total().std_dev * 44.9 == pytest.approx(0.4, rel=0.02)


def three_routes(bad):
    """Weight, volume and bubbles of one run, the last off by a factor."""
    weight = fk.gas_from_weight(TIME, 2000 - 36 * RISE, temperature_C=25.0, headspace_L=0.5, u_reading_g=0.1)
    mL = weight.co2_mol / from_volume([0, 1], [0, 1], temperature_C=25.0).co2_mol[-1]
    volume = from_volume(TIME, mL, temperature_C=25.0, u_reading_mL=20.0, volume_factor=ufloat(1, 0.01), resets="none")
    counted = fk.gas_from_bubbles(
        TIME, np.round(bad * mL / 0.5), mL_per_bubble=ufloat(0.5, 0.01), temperature_C=25.0, resets="none"
    )
    return weight, volume, counted


def test_three_routes_name_the_one_apart():
    """Bubbles that are half too many stand apart from weight and volume; three that agree are said to."""
    found = fk.compare_routes(*three_routes(1.5))
    assert "CO2 by bubbles stands apart" in found.verdict
    assert "bubbles" in found.kinds and len(found.others) == 2
    assert min(pair.p for pair in (found, *found.others)) == found.p
    agreed = fk.compare_routes(*three_routes(1.0))
    assert all(pair.p > 0.05 for pair in (agreed, *agreed.others))


def test_a_route_without_gas_costs_that_route_only():
    """A jar whose weight stood still is left out and told; the other two are compared."""
    weight, volume, counted = three_routes(1.0)
    still = fk.gas_from_weight(TIME, np.full(49, 2000.0), temperature_C=25.0, headspace_L=0.5, u_reading_g=0.1)
    found = fk.compare_routes(still, volume, counted)
    assert found.kinds == ("volume", "bubbles")
    assert len(found.left_out) == 1 and "weight" in found.left_out[0]
    assert str(found).count("Not compared") == 1
    with pytest.raises(InputError, match="above zero"):
        fk.compare_routes(still, weight)
