"""Yields: against theory, with their correlations, and who owns the uncertainty."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from uncertainties import ufloat

from fermkit.basis.budget import Act, budget_of
from fermkit.basis.errors import InputError
from fermkit.basis.statistics import holm
from fermkit.basis.written import nominal, uncertainty
from fermkit.calibration.standards import STANDARDS
from fermkit.matter.properties import water_density
from fermkit.run.alcohol import calibration_of, density_of, samples_of
from fermkit.run.analysis import analyse
from fermkit.run.feeding import feed_of
from fermkit.run.harvested import harvest_of, yeast_of
from fermkit.run.records import read_run, run_from
from fermkit.run.yields import THEORETICAL, UncertaintyShares, yield_of

SAMPLES = Path(__file__).resolve().parent.parent / "sample_data"


def test_a_yield_keeps_the_correlation_of_its_parts():
    """Product and sugar weighed on the same scale: its calibration cancels from the ratio."""
    scale = ufloat(1.0, 0.05, tag="the scale")
    found = yield_of("x", "product", 10.0 * scale, 100.0 * scale, None, 0.5, "the limit")
    assert found.per_g.std_dev < 1e-12
    assert found.per_g.nominal_value == pytest.approx(0.1)


def test_the_spread_of_a_yield_is_that_of_a_monte_carlo():
    """Linear propagation is within 5 % of draws of the inputs, correlated parts among them."""
    rng = np.random.default_rng(5)
    n = 200_000
    scale, solids, paste = rng.normal(1, 0.01, n), rng.normal(3.0, 0.4, n), rng.normal(20.0, 0.1, n)
    sugar = rng.normal(120.0, 2.0, n)
    drawn = (paste * scale - solids) / (sugar * scale)
    s, d, p, g = ufloat(1, 0.01), ufloat(3.0, 0.4), ufloat(20.0, 0.1), ufloat(120.0, 2.0)
    found = yield_of("x", "yeast", p * s - d, g * s, None, 0.5, "the limit")
    assert found.per_g.std_dev == pytest.approx(drawn.std(), rel=0.05)


def test_few_readings_of_the_sensor_widen_the_interval():
    """The interval uses Student's factor on the effective degrees of freedom."""
    from fermkit.calibration.standards import SCATTER

    noisy = ufloat(50.0, 2.0, tag=SCATTER)
    few = yield_of("x", "ethanol", noisy, ufloat(100.0, 0.01), None, 0.5, "the limit", sensor_dof=3)
    many = yield_of("x", "ethanol", noisy, ufloat(100.0, 0.01), None, 0.5, "the limit")
    width = [np.ptp(y.interval()) for y in (few, many)]
    assert width[0] / width[1] == pytest.approx(3.182 / 1.960, rel=0.01)  # Student's table, 3 degrees of freedom


def test_shares_add_up_and_halving_is_a_quadratic_sum():
    """Shares of the variance sum to 1; an act done twice as well leaves a quarter of its variance."""
    value = ufloat(0, 3.0, tag="drying") + ufloat(0, 4.0, tag="weighing")
    found = UncertaintyShares("x", value, "g/g")
    assert found.shares() == pytest.approx({Act("weighing"): 0.64, Act("drying"): 0.36})
    assert found.halved(Act("weighing")) == pytest.approx(np.hypot(3.0, 2.0))
    with pytest.raises(InputError, match="did you mean 'drying'"):
        found.halved(Act("dryin"))


def test_holm_never_lowers_a_p_value_and_keeps_the_order():
    """Adjusted p-values are at least the raw ones and rise with them (worked: 0.01, 0.04, 0.03 of three)."""
    assert holm([0.01, 0.04, 0.03]) == pytest.approx([0.03, 0.06, 0.06])
    rng = np.random.default_rng(1)
    raw = rng.random(20)
    adjusted = np.array(holm(raw))
    assert (adjusted >= raw).all()
    assert (np.diff(adjusted[np.argsort(raw)]) >= 0).all()


def test_the_theoretical_limits_leave_nothing():
    """Ethanol and CO2 at their limits are all the sugar."""
    assert sum(THEORETICAL.values()) == pytest.approx(1.0)


def test_an_unwashed_paste_holds_its_liquid_with_all_that_is_dissolved():
    """Without a stated share, the paste's own water (75 g of 2 L) carries feed solids, glycerol made and sugar left."""
    run = read_run(SAMPLES / "jar_3_closes")
    harvest, fed = harvest_of(run), feed_of(run)
    yeast = yeast_of(replace(run, harvest=replace(run.harvest, carried_solids=None)), fed, harvest, ())
    paste_g = 136.97 - 41.19
    water_g = paste_g * (1 - (17.58 - 12.42) / (36.34 - 12.42))
    assert nominal(harvest.paste_water_g) == pytest.approx(water_g, rel=1e-6)
    solids_g, grown = nominal(fed.non_yeast_solids_g), nominal(yeast.product_dry_g - fed.inoculum_g)
    litres = nominal(run.ledger.volume_L(float("inf")))
    low, high = ((solids_g + grown * mmol * 0.0921) * water_g / (1000 * litres) for mmol in (4.0, 13.0))
    assert low < nominal(yeast.non_yeast_solids_g) < high


def test_the_extract_is_net_in_a_run():
    """Jar 3: 0.084 g dry extract per g sugar as weighed, 0.044 to 0.053 net of feed solids and inoculum."""
    found = analyse(read_run(SAMPLES / "jar_3_closes")).yields["extract_yield"].per_g
    assert 0.044 < nominal(found) < 0.053
    assert uncertainty(found) > 0.002


def test_the_hydrometer_s_temperatures_move_the_density_of_a_run():
    """Read at 28 °C on a 20 °C scale, both densities are taken back to 20 °C by water's expansion."""
    run = read_run(SAMPLES / "jar_3_closes")
    fed, plain = feed_of(run), density_of(run, feed_of(run), 3.4, None)
    warm = density_of(replace(run, density=replace(run.density, reading_temperature_C=28.0)), fed, 3.4, None)
    litres, fall = nominal(run.ledger.volume_L(0.0)), 1009.6 - 1037.9
    step = water_density(20.0) / water_density(28.0) - 1 - 8 * 25e-6
    assert nominal(warm.value - plain.value) == pytest.approx(fall * step * litres, rel=0.01)
    assert uncertainty(warm.value) > uncertainty(plain.value)


def test_the_stated_uncertainty_of_the_standards_reaches_the_alcohol():
    """5 % of doubt about each standard solution is a part of the alcohol's ±, shared by all samples."""
    run = read_run(SAMPLES / "jar_3_closes")
    table = run.tables["standards"].assign(u_pct_vol=lambda t: 0.05 * t["ethanol_pct_vol"])
    stated = replace(run, tables={**run.tables, "standards": table})
    plain, wide = (samples_of(one, calibration_of(one))[-1].value for one in (run, stated))
    assert STANDARDS in budget_of(wide).acts
    assert uncertainty(wide) > 1.2 * uncertainty(plain)


def test_a_mistyped_standard_is_named_and_no_impossible_alcohol_is_given():
    """The strongest standard typed without its point: no 30 % vol, but the standard that reads like its neighbours."""
    run = read_run(SAMPLES / "jar_3_closes")
    table = run.tables["standards"].copy()
    top = table["ethanol_pct_vol"].max()
    table.loc[table["ethanol_pct_vol"] == top, "ethanol_pct_vol"] = 10 * top
    found = analyse(replace(run, tables={**run.tables, "standards": table}))
    assert found.calibration.slip.reads_like == pytest.approx(top)
    assert found.ethanol_pct_vol is None or nominal(found.ethanol_pct_vol) < 18.0
    assert str(found.calibration.slip) in " ".join([*found.gaps, *str(found.calibration).split()])


def test_yeast_stands_against_what_is_usual_with_its_doubt():
    """Sugar whose nitrogen nobody told allows what chemostats give, 0.086 to 0.125 g/g (Nissen 1997 and others:
    `usual.YEAST`), not a fiftieth of what grew; the starved jar stands against its own nitrogen, of the same sugar."""
    told = {
        "run": {"name": "jar", "date": "2026-01-01"}, "vessel": {"liquid": "2.5 L"},
        "feed": [{"ingredient": "raw cane sugar", "amount": "140 g"}],
        "ethanol": {"content": "3.3 ± 0.15 % vol"}, "harvest": {"extract": "9.6 ± 0.3 g", "debris": "8 ± 0.3 g"},
    }  # fmt: skip
    found = analyse(run_from(told, {})).yields["yeast_yield"]
    assert nominal(found.limit) == pytest.approx((0.086 + 0.125) / 2)
    assert found.limit.std_dev == pytest.approx((0.125 - 0.086) / np.sqrt(12))
    assert found.share_of_limit.std_dev > 0.1 and 0.5 < nominal(found.share_of_limit) < 1.5
    starved = analyse(read_run(SAMPLES / "jar_5_starved"))
    share, limits = starved.yields["yeast_yield"].share_of_limit, starved.limits
    middle = sum(map(nominal, limits.nitrogen_g)) / 2
    assert nominal(share) == pytest.approx(nominal(starved.reconciliation.amounts["yeast"]) / middle, rel=0.02)


def test_a_known_leak_stays_out_of_the_yield():
    """Where the routes contradict one another the CO2 yield follows the scale, which a leak does not cheat."""
    truth = json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))["jar_7_leak"]
    found = analyse(read_run(SAMPLES / "jar_7_leak"))
    low, high = found.yields["co2_yield"].interval()
    assert low < truth["yields_g_per_g_hexose"]["CO2"] < high and found.gas[0].kind == "weight"
    assert any("scale" in said for said in found.first_words), "the page says which route is followed"
