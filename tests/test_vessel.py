"""The closed vessel: conservation, direction, uncertainty, vents, refusals."""

import math
import re
from dataclasses import FrozenInstanceError
from statistics import NormalDist
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from uncertainties import ufloat

import fermkit as fk
from fermkit import Vessel, cautions_for, fit_growth
from fermkit.basis.constants import L_BAR_GAS_CONSTANT
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.matter.properties import USUAL_CO2_VS_WATER


def jar(**more):
    """A 2 L vessel with 1.5 L at 25 °C, exact unless told otherwise."""
    given_ = {"total_L": 2.0, "liquid_L": 1.5, "temperature_C": 25.0, "solubility_vs_water": 1.0} | more
    return Vessel(**given_)


def curve(predict, *, counts="produced", unit="mol CO2", last_h=48.0, u=0.0):
    """A stand-in for a fitted gas curve."""
    return SimpleNamespace(
        counts=counts,
        unit=unit,
        time_h=np.linspace(0.0, last_h, 20),
        predict=lambda t: predict(np.asarray(t)),
        band=lambda t: (predict(np.asarray(t)) - 1.96 * u, predict(np.asarray(t)) + 1.96 * u),
    )


vessels = st.builds(
    jar,
    liquid_L=st.floats(0.05, 1.9),
    temperature_C=st.floats(2.0, 45.0),
    pH=st.none() | st.floats(3.0, 6.5),
)
amounts = st.floats(0.0, 0.2)


@given(vessels, amounts)
@settings(max_examples=60, deadline=None)
def test_all_CO2_and_all_pressure_is_accounted_for(vessel, co2):
    """The CO2 in liquid and gas space is the CO2 that was made, the parts add up, gauge is above the barometer."""
    p = vessel.pressure(co2)
    assert p.dissolved_mol + p.headspace_mol == pytest.approx(co2, abs=1e-11)
    assert p.co2_bar + p.air_bar + p.water_bar == pytest.approx(p.absolute_bar)
    assert p.gauge_bar == pytest.approx(p.absolute_bar - vessel.barometer_bar)
    assert 0 < p.headspace_L <= 2.0 - vessel.liquid_L + 1e-12


@given(vessels, amounts, st.floats(0.001, 0.05))
@settings(max_examples=40, deadline=None)
def test_more_CO2_more_pressure(vessel, co2, more):
    """Pressure rises with the CO2."""
    assert vessel.pressure(co2 + more).gauge_bar > vessel.pressure(co2).gauge_bar


def test_nothing_made_is_the_air_outside():
    """Just closed, the vessel stands at the barometer; the same at altitude."""
    assert jar().pressure(0.0).gauge_bar == pytest.approx(0.0, abs=1e-12)
    assert jar(barometer_bar=0.80).pressure(0.0).gauge_bar == pytest.approx(0.0, abs=1e-12)


def test_nearly_all_gas_is_the_gas_law():
    """With a drop of liquid, the pressure is n R T/V less 0.5 % a bar of non-ideality."""
    p = jar(liquid_L=1e-6).pressure(0.1)
    ideal = 0.1 * L_BAR_GAS_CONSTANT * 298.15 / 2.0
    assert p.co2_bar == pytest.approx(ideal * (1 - 0.1232 * ideal / (L_BAR_GAS_CONSTANT * 298.15)), rel=1e-4)


def test_the_two_slips_about_the_headspace():
    """All CO2 above saturation put in the headspace gives 87 atm for 6.6; no headspace at all gives a little more."""
    vessel = jar(liquid_L=1.9)
    co2 = 2 * 20 * 1.9 / 180.156
    ours = vessel.pressure(co2).gauge_bar / 1.01325
    slip = (co2 - 0.0338 * 1.9) * 0.082057 * 298.15 / 0.1
    assert slip == pytest.approx(87, abs=1.0)
    assert 13 < slip / ours < 14
    assert 1.0 < co2 / 1.9 / 0.0338 / (vessel.pressure(co2).co2_bar / 1.01325) < 1.1


def test_warming_counts_twice():
    """From 25 to 40 °C the pressure rises more than the gas law says, since less stays dissolved."""
    cold, warm = jar().pressure(0.3), jar().warmed_to(40.0).pressure(0.3)
    assert warm.dissolved_mol < cold.dissolved_mol
    assert warm.absolute_bar > 1.2 * cold.absolute_bar * 313.15 / 298.15 / 1.05
    assert warm.absolute_bar / cold.absolute_bar > 1.05 * 313.15 / 298.15
    assert warm.air_bar > cold.air_bar * 313.15 / 298.15  # the liquid expands as well


def test_warming_keeps_the_sealed_air():
    """Warmed and back again is the same vessel, and closing warm is not closing cold."""
    again = jar().warmed_to(40.0).warmed_to(25.0)
    assert again.pressure(0.2).gauge_bar == pytest.approx(jar().pressure(0.2).gauge_bar)
    closed_cold = jar(temperature_C=25.0, closed_at_C=4.0)
    assert closed_cold.pressure(0.0).gauge_bar > 0.05


def test_a_nearly_full_vessel_is_burst_by_its_own_liquid():
    """A vessel filled cold to 0.2 % of the lid has no room left when it is warm."""
    full = Vessel(total_L=1.0, liquid_L=0.998, temperature_C=5.0)
    with pytest.raises(InputError, match="fills the vessel"):
        full.warmed_to(40.0).pressure(0.0)


def test_closed_in_mid_fermentation():
    """Closed with the liquid saturated, the same CO2 presses more than closed with air and flat."""
    flat, saturated = jar().pressure(0.2), jar(sealed_gas="CO2").pressure(0.2)
    assert saturated.air_bar == 0.0
    assert saturated.gauge_bar > flat.gauge_bar
    assert jar(sealed_gas="CO2").pressure(0.0).gauge_bar == pytest.approx(0.0, abs=1e-9)


def test_bicarbonate_holds_some():
    """At pH 6 some 45 % more is dissolved per partial pressure, so the pressure is lower; at pH 4 nothing changes."""
    neutral, acid, none = (jar(pH=pH).pressure(0.2) for pH in (6.0, 4.0, None))
    assert neutral.gauge_bar < acid.gauge_bar
    assert acid.gauge_bar == pytest.approx(none.gauge_bar, rel=0.005)
    shares = [p.dissolved_mol / p.co2_bar for p in (neutral, none)]
    assert shares[0] / shares[1] == pytest.approx(1.45, abs=0.01)


@pytest.mark.parametrize(("t_C", "mL"), [(5.0, 37.05), (25.0, 35.65), (40.0, 35.04)])
def test_dissolved_CO2_swells_the_liquid(t_C, mL):
    """A mole takes 37 to 35 mL of the gas space, less when warm: 37.51 − 0.09585 t + 8.74e-4 t² − 5e-7 t³ (Garcia)."""
    p = jar(temperature_C=t_C).pressure(0.2)
    assert 1000 * (0.5 - p.headspace_L) / p.dissolved_mol == pytest.approx(mL, abs=0.01)


def test_less_soluble_presses_more():
    """A liquid that dissolves 7 % less stands higher, by somewhat less than 7 %."""
    ratio = jar(solubility_vs_water=0.93).pressure(0.3).co2_bar / jar().pressure(0.3).co2_bar
    assert 1.03 < ratio < 1.07


def test_uncertainty_by_monte_carlo():
    """The ± by linear propagation is the scatter of 900 draws, correlated liquid and total included."""
    lid = ufloat(0.5, 0.02, tag="measuring the room under the lid")
    total = ufloat(2.0, 0.01, tag="measuring the vessel")
    vessel = Vessel(total_L=total, liquid_L=total - lid, temperature_C=ufloat(25.0, 0.5))
    low, high = USUAL_CO2_VS_WATER
    co2 = ufloat(0.25, 0.004)
    found = vessel.pressure(co2)
    rng = np.random.default_rng(5)
    draws = []
    for _ in range(900):
        t, room = rng.normal(2.0, 0.01), rng.normal(0.5, 0.02)
        one = Vessel(
            total_L=t,
            liquid_L=t - room,
            temperature_C=rng.normal(25.0, 0.5),
            solubility_vs_water=rng.uniform(low, high),
        )
        p = one.pressure(rng.normal(0.25, 0.004))
        draws.append((p.gauge_bar, p.dissolved_mol))
    scatter = np.std(draws, axis=0)
    assert uncertainty(found.gauge_bar) == pytest.approx(scatter[0], rel=0.08)
    assert uncertainty(found.dissolved_mol) == pytest.approx(scatter[1], rel=0.08)
    assert np.mean(draws, axis=0)[0] == pytest.approx(nominal(found.gauge_bar), rel=0.01)


def test_what_is_shared_stays_shared():
    """Two pressures of one vessel share its uncertainty: their difference is surer than that of strangers."""
    vessel = Vessel(total_L=ufloat(2.0, 0.02), liquid_L=1.5, temperature_C=25.0)
    twin = Vessel(total_L=ufloat(2.0, 0.02), liquid_L=1.5, temperature_C=25.0)
    first, second = vessel.pressure(0.25).gauge_bar, vessel.pressure(0.26).gauge_bar
    stranger = twin.pressure(0.26).gauge_bar
    assert uncertainty(second - first) < 0.1 * uncertainty(stranger - first)
    assert uncertainty(vessel.pressure(0.25).gauge_bar - first) == 0.0


def test_headroom_is_the_pressure_backwards():
    """The CO2 of the headroom presses with just the rating, its ± cancelling; sugar by two CO2 a hexose."""
    vessel = Vessel(
        total_L=ufloat(2.0, 0.01), liquid_L=ufloat(1.5, 0.01), temperature_C=ufloat(25.0, 0.5), rated_bar_gauge=4.0
    )
    room = vessel.headroom(fraction=0.5)
    assert room.bar_gauge == 2.0
    back = vessel.pressure(room.co2_mol).gauge_bar
    assert nominal(back) == pytest.approx(2.0, abs=1e-9)
    assert uncertainty(back) < 1e-6
    assert uncertainty(room.co2_mol) > 0
    assert nominal(room.hexose_g) == pytest.approx(nominal(room.co2_mol) * 180.156 / 2, rel=1e-4)
    assert nominal(room.sucrose_g * 1.0526) == pytest.approx(nominal(room.hexose_g), rel=1e-4)
    said = " ".join(str(room).split())
    assert "not how much to take" in said
    least = float(re.search(r"With its uncertainty ([\d.]+) g", said)[1])
    sugar = NormalDist(nominal(room.hexose_g), uncertainty(room.hexose_g))
    assert sugar.cdf(least) == pytest.approx(0.05, abs=0.015)  # one in twenty reaches it with less; three digits
    for grams in (room.hexose_g, room.sucrose_g):
        assert f"{nominal(grams) / 1.5:.2f} ± " in said  # per litre of the liquid


def test_headroom_needs_a_limit():
    """Without a rating nobody can say how much is too much; a pressure it stands at already is refused."""
    with pytest.raises(InputError, match="no maker's rating"):
        jar().headroom()
    with pytest.raises(InputError, match=r"stands above 0\.01 bar"):
        jar(closed_at_C=4.0).headroom(0.01)
    with pytest.raises(InputError, match="is far from 30 bar"):
        jar().headroom(30.0)
    for fraction in (2.0, 0.0):
        with pytest.raises(InputError, match=f"fraction of the pressure is {fraction:g}"):
            jar(rated_bar_gauge=3.0).headroom(fraction=fraction)


@given(vessels, st.floats(0.05, 0.2))
@settings(max_examples=40, deadline=None)
def test_a_vent_keeps_the_mass_and_does_not_reset(vessel, co2):
    """What is let go and what is left is what was there; it comes back above nothing and below before."""
    if vessel.pressure(co2).gauge_bar <= 0.05:
        return
    vent = vessel.after_vent(co2)
    assert vent.let_go_mol + vent.left_mol == pytest.approx(co2)
    assert vent.at_once_gauge_bar == 0.0
    assert 0.0 < vent.refilled_gauge_bar < vent.before.gauge_bar


def test_a_small_headspace_refills_most():
    """The smaller the gas space, the less one vent changes: 80 % of the pressure comes back at 5 % headspace."""
    back = []
    for headspace in (0.05, 0.25, 0.5):
        vessel = jar(liquid_L=2 * (1 - headspace))
        vent = vessel.after_vent(2 * 20 / 180.156 * vessel.liquid_L)
        back.append(vent.refilled_gauge_bar / vent.before.gauge_bar)
    assert back[0] > back[1] > back[2]
    assert back[0] == pytest.approx(0.80, abs=0.01)


def test_a_long_vent_lets_the_liquid_degas():
    """The longer it stands open the less comes back; open till it is flat, nothing does."""
    vessel = jar()
    back = [vessel.after_vent(0.3, minutes, 2.0).refilled_gauge_bar for minutes in (0.0, 10.0, 60.0, 6000.0)]
    assert back[0] == vessel.after_vent(0.3).refilled_gauge_bar
    assert back == sorted(back, reverse=True)
    assert back[-1] == pytest.approx(0.0, abs=1e-3)
    again = vessel.after_vent(0.3, 6000.0, 2.0, times=50)  # flat from the first on: nothing more to let go
    assert again.refilled_gauge_bar == pytest.approx(0.0, abs=1e-9)
    assert again.let_go_mol == pytest.approx(vessel.after_vent(0.3, 6000.0, 2.0).let_go_mol, abs=1e-3)


def test_the_gas_that_bubbles_out_washes_the_air_away():
    """Open, in ten thousand small steps: CO2 leaves the liquid, mixed gas leaves the vessel, by the gas law."""
    vessel, RT = jar(), L_BAR_GAS_CONSTANT * 298.15
    closed = vessel.pressure(0.3)
    dry = vessel.barometer_bar - closed.water_bar
    flat = vessel.pressure(brentq(lambda n: vessel.pressure(n).co2_bar - dry, 0.01, 0.1)).dissolved_mol
    for minutes in (0.0, 2.0, 10.0, 40.0):
        air, held = dry * closed.air_bar / (closed.co2_bar + closed.air_bar), closed.dissolved_mol
        for _ in range(10_000):
            out = (held - flat) * 2.0 * minutes / 60 / 10_000
            held -= out
            air -= air / vessel.barometer_bar * out * RT / closed.headspace_L
        left = held + (dry - air) * (0.5 - 0.0356 * held) / RT
        found = vessel.after_vent(0.3, minutes, degassing_per_h=2.0)
        assert found.left_mol == pytest.approx(left, abs=1.5e-4)  # a real gas: 0.5 % more of it in the room
    assert "exp(-2 t), t in hours" in str(found)


def test_a_long_vent_without_a_rate_is_the_most_that_comes_back():
    """A stated duration without a degassing rate is answered with the upper end, and says so."""
    vent = jar().after_vent(0.3, duration_min=30.0)
    assert vent.refilled_gauge_bar == jar().after_vent(0.3).refilled_gauge_bar
    assert "leaves the most in it" in str(vent)


def test_a_vent_warns():
    """The page of a vent says that it does not reset the pressure, and that it foams."""
    page = str(jar().after_vent(0.3))
    assert "does not reset the pressure" in page
    assert "foams" in page


def test_nothing_to_vent():
    """Below the air outside there is nothing to let out."""
    with pytest.raises(InputError, match="nothing to vent"):
        jar(temperature_C=5.0, closed_at_C=25.0).after_vent(0.0)


def test_time_to_pressure_on_a_straight_line():
    """At 0.01 mol an hour, the time is a hundred times the amount; the band's ends lie around it."""
    vessel = Vessel(total_L=2.0, liquid_L=1.5, temperature_C=25.0)
    found = vessel.time_to_pressure(curve(lambda t: 0.01 * t, u=0.002), bar_gauge=2.0)
    assert found.time_h == pytest.approx(100 * nominal(found.co2_mol), rel=1e-4)
    low, high = found.limits_h
    combined = math.hypot(uncertainty(found.co2_mol), 0.002) * 100
    assert high - low == pytest.approx(2 * 1.96 * combined, rel=0.03)
    assert "Act before" in str(found)


def test_time_to_pressure_never():
    """A curve that ends below the limit never reaches it, in words."""
    found = jar().time_to_pressure(curve(lambda t: 0.05 * (1 - np.exp(-t / 5))), bar_gauge=2.0)
    assert math.isinf(found.time_h)
    assert "never by this curve" in str(found)
    assert "forecast" not in str(found) and "Act before" not in str(found)


def test_a_pressure_that_is_there_already_is_reached_at_once():
    """A curve that starts above the pressure reaches it at once, its early end too; a steep one within minutes."""
    found = jar().time_to_pressure(curve(lambda t: 0.2 + 0.001 * t), bar_gauge=1.0)
    assert found.time_h == found.limits_h[0] == 0.0
    soon = jar().time_to_pressure(curve(lambda t: 2.0 * t), bar_gauge=1.0)
    assert soon.time_h == pytest.approx(nominal(soon.co2_mol) / 2.0, rel=0.02)


@pytest.mark.parametrize("last_h", [0.5, 48.0])
def test_a_time_beyond_the_readings_is_called_a_forecast(last_h):
    """A slow curve is followed to many times its last reading, and only then is it called a forecast."""
    within = jar().time_to_pressure(curve(lambda t: 0.5 * t / last_h, last_h=last_h), bar_gauge=2.0)
    beyond = jar().time_to_pressure(curve(lambda t: 0.05 * t / last_h, last_h=last_h), bar_gauge=2.0)
    assert beyond.time_h == pytest.approx(10 * within.time_h, rel=1e-4)
    assert "forecast" not in str(within)
    assert f"A forecast beyond the last reading at {last_h:g} h" in str(beyond)
    assert str(beyond).index("Act before") < str(beyond).index("The band holds")


@pytest.mark.parametrize(
    ("counts", "unit"), [("released", "mol"), ("", "mol"), ("produced", "mL"), ("produced", "mmol"), ("produced", "")]
)
def test_only_CO2_produced_counts(counts, unit):
    """Gas that was collected, or another unit, is refused for a closed vessel."""
    fit = curve(lambda t: 0.01 * t, counts=counts, unit=unit)
    for ask in (lambda: jar().time_to_pressure(fit, bar_gauge=2.0), lambda: jar().pressure_over(fit)):
        with pytest.raises(InputError, match="a curve that counts"):
            ask()


def test_pressure_over_a_fitted_curve():
    """Along a real fit the curve agrees with single pressures, and its band with their ±."""
    t = np.linspace(0, 48, 40)
    made = 0.3 / (1 + np.exp(-0.3 * (t - 15))) + 0.002 * np.cos(40 * t)
    fit = fit_growth(t, made, curve="logistic", unit="mol CO2", counts="produced")
    vessel = Vessel(total_L=2.0, liquid_L=1.5, temperature_C=ufloat(25.0, 0.5), rated_bar_gauge=3.0)
    found = vessel.pressure_over(fit, [5.0, 15.0, 40.0])
    for i, hour in enumerate((5.0, 15.0, 40.0)):
        one = vessel.pressure(float(fit.predict(hour))).gauge_bar
        assert found.gauge_bar[i] == pytest.approx(nominal(one))
        assert found.u_bar[i] >= 0.999 * uncertainty(one)
    assert np.all(found.low_bar <= found.gauge_bar) and np.all(found.gauge_bar <= found.high_bar)
    assert "TOO MUCH" in str(found)


def test_the_band_of_the_curve_is_counted():
    """With an exact vessel, the ± of the pressure is the slope times the ± of the curve."""
    found = jar().pressure_over(curve(lambda t: 0.005 * t + 0.1, u=0.003), [10.0])
    slope = (jar().pressure(0.151).gauge_bar - jar().pressure(0.149).gauge_bar) / 0.002
    assert found.u_bar[0] == pytest.approx(0.003 * slope, rel=1e-3)


def test_a_curve_without_a_band_says_so():
    """Where the readings give the curve no band, the vessel's ± stands alone, and the page says it."""
    fit = curve(lambda t: 0.005 * t)
    fit.band = lambda t: (np.full(np.shape(t), -np.inf), np.full(np.shape(t), np.inf))
    found = jar().pressure_over(fit, [20.0])
    assert found.u_bar[0] == 0.0
    assert "alone" in str(found)


def test_the_early_end_is_early_in_95_of_100():
    """Of simulated gas curves, the 95 % limits of the time to a pressure hold the true time (150 runs)."""
    rng = np.random.default_rng(9)
    t = np.linspace(0, 48, 30)
    made = 0.3 / (1 + np.exp(-0.3 * (t - 15)))
    amount = jar().headroom(2.0).co2_mol
    truth = 15 - math.log(0.3 / amount - 1) / 0.3
    held = []
    for _ in range(150):
        readings = made + rng.normal(0, 0.006, t.size)
        fit = fit_growth(t, readings, curve="logistic", unit="mol", counts="produced")
        low, high = jar().time_to_pressure(fit, 2.0).limits_h
        held.append(low <= truth <= high)
    assert np.mean(held) == pytest.approx(0.95, abs=0.04)


def test_a_curve_beyond_the_equations_ends_early():
    """Where the CO2 would press with more than 12 bar, the curve stops and says when."""
    found = jar().pressure_over(curve(lambda t: 0.05 * t))
    assert found.ends_early
    assert found.time_h[-1] < 20
    assert "not worked out there" in " ".join(str(found).split())


def test_a_curve_that_starts_beyond_the_equations_is_refused():
    """Moles that were millimoles press with hundreds of bar from the first reading on: no curve is left to show."""
    with pytest.raises(InputError, match="a gas curve that starts at 7 mol") as caught:
        jar().pressure_over(curve(lambda t: 7.0 + 5.0 * t))
    assert "not mmol" in caught.value.do


def test_without_a_rating_it_does_not_judge():
    """No rating: the pressure, and that it cannot say whether the vessel holds it."""
    page = str(jar().pressure(0.3))
    assert "cannot be said" in page
    assert "bar, gauge" not in page and "pressure, gauge" in page and "pressure, absolute" in page


def test_with_a_rating_it_compares_and_does_not_promise():
    """Above the rating with its uncertainty: TOO MUCH; below: the share, and that a rating is not a target."""
    assert "TOO MUCH" in str(jar(rated_bar_gauge=3.0).pressure(0.3))
    page = str(jar(rated_bar_gauge=9.0).pressure(0.3))
    assert "not a target" in page
    for word in ("safe ", "is safe", "harmless", "no danger"):
        assert word not in page


@pytest.mark.parametrize(("margin", "too_much"), [(-1.0, True), (1.0, True), (1.9, True), (2.0, False)])
def test_uncertainty_counts_against_the_rating(margin, too_much):
    """A pressure below the rating is too much up to 1.96 of its standard uncertainties."""
    p = Vessel(total_L=2.0, liquid_L=1.5, temperature_C=25.0).pressure(0.3).gauge_bar
    rated = nominal(p) + margin * uncertainty(p)
    said = Vessel(total_L=2.0, liquid_L=1.5, temperature_C=25.0, rated_bar_gauge=rated).pressure(0.3).rating
    assert ("TOO MUCH" in said) == too_much
    high = nominal(p) + 1.96 * uncertainty(p)
    assert f"reaches {100 * high / rated:.0f} % of the maker's {rated:g} bar" in said


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"liquid_L": -1.0}, "headspace of 3 L in a vessel of 2 L"),
        ({"liquid_L": 2.0}, "no headspace: 2 L liquid in a vessel of 2 L"),
        ({"liquid_L": 0.0}, "liquid in the vessel .* is 0"),
        ({"total_L": 0.0}, "total volume of the vessel"),
        ({"temperature_C": -1.0}, "0 to 46.85"),
        ({"temperature_C": 60.0}, "0 to 46.85"),
        ({"closed_at_C": 90.0}, "0 to 46.85"),
        ({"material": "glass"}, "shards"),
        ({"material": "glass", "rated_bar_gauge": 3.0}, "shards"),
        ({"material": "pressure glass"}, "without a maker's rating"),
        ({"material": "glas"}, "did you mean 'glass'"),
        ({"sealed_gas": "argon"}, "sealed_gas is 'argon'"),
        ({"rated_bar_gauge": -1.0}, "rating"),
        ({"barometer_bar": 0.0}, "barometer"),
        ({"solubility_vs_water": 0.0}, "solubility"),
    ],
)
def test_bad_vessels_are_refused(wrong, words):
    """Each with what was met, what is needed and what to do."""
    with pytest.raises(InputError, match=words) as caught:
        jar(**wrong)
    assert caught.value.needed and caught.value.do


def test_bad_amounts_are_refused():
    """Negative CO2, and CO2 beyond the equations, with the most that can be worked out."""
    with pytest.raises(InputError, match="CO2 made since closing"):
        jar().pressure(-0.1)
    with pytest.raises(InputError, match="more than 12 bar") as caught:
        jar().pressure(3.0)
    assert "airlock" in caught.value.do
    most = float(re.search(r"at most ([\d.]+) mol", caught.value.needed)[1])
    assert jar().pressure(0.999 * most).co2_bar == pytest.approx(12.0, rel=0.01)


def test_every_page_carries_its_cautions():
    """Vessel, pressure, headroom, time: text and HTML show the cautions of closing."""
    vessel = jar(rated_bar_gauge=5.0)
    said = cautions_for("closing").items[0].says[:40]
    for result in (
        vessel,
        vessel.pressure(0.2),
        vessel.headroom(),
        vessel.time_to_pressure(curve(lambda t: 0.01 * t)),
        vessel.pressure_over(curve(lambda t: 0.005 * t)),
    ):
        assert said in str(result)
        assert "<section" in result._repr_html_()
        assert len(result.table()) >= 2


def test_an_ill_known_gas_space_is_doubted():
    """A gas space known to a third of itself: the linear ± is called too small at its upper end, and it is."""
    vessel = Vessel(total_L=2.0, liquid_L=ufloat(1.9, 0.035), temperature_C=25.0, solubility_vs_water=1.0)
    found = vessel.pressure(0.4)
    assert "straight line" in str(found)
    less_room = Vessel(total_L=2.0, liquid_L=1.97, temperature_C=25.0, solubility_vs_water=1.0).pressure(0.4)
    assert less_room.gauge_bar > nominal(found.gauge_bar) + 2 * uncertainty(found.gauge_bar)
    for u_L, doubted in ((0.09, False), (0.11, True)):
        doubts = Vessel(total_L=2.0, liquid_L=ufloat(1.5, u_L), temperature_C=25.0).pressure(0.2).doubts
        assert bool(doubts) == doubted  # from a fifth of the gas space on


def test_a_result_stays_as_it_was_worked_out():
    """Results cannot be altered by a later cell, and a bare name at the prompt is one line of the page."""
    vessel = jar(rated_bar_gauge=5.0)
    pressure = vessel.pressure(0.2)
    for result, name in (
        (vessel, "total_L"),
        (pressure, "gauge_bar"),
        (vessel.headroom(), "co2_mol"),
        (vessel.after_vent(0.2), "left_mol"),
        (vessel.time_to_pressure(curve(lambda t: 0.01 * t)), "time_h"),
        (vessel.pressure_over(curve(lambda t: 0.005 * t)), "gauge_bar"),
    ):
        with pytest.raises(FrozenInstanceError):
            setattr(result, name, 0.0)
        assert repr(result).startswith(f"<{type(result).__name__}: ")


def test_many_vents_one_after_another():
    """Each vent takes less than the one before; at 5 % headspace it takes nine to halve the pressure."""
    vessel = jar(liquid_L=1.9)
    back = [vessel.after_vent(0.42, times=n).refilled_gauge_bar for n in range(1, 60)]
    before = vessel.pressure(0.42).gauge_bar
    fall = -np.diff([before, *back])
    assert np.all(fall > 0) and np.all(np.diff(fall) < 0)
    assert sum(p > before / 2 for p in back) + 1 == 9
    assert "3 vents" in str(vessel.after_vent(0.42, times=3))
    with pytest.raises(InputError, match="number of vents"):
        vessel.after_vent(0.42, times=0)


def test_the_warm_day_is_told_and_held_against_the_rating():
    """A keg that holds at 20 °C and not at 40 °C says so, by the upper end of its interval."""
    keg = Vessel(total_L=5.0, liquid_L=4.0, temperature_C=20.0, rated_bar_gauge=4.0, material="steel")
    found = keg.pressure(0.62)
    assert nominal(found.gauge_bar) + 1.96 * uncertainty(found.gauge_bar) < 4.0
    assert nominal(found.warm_gauge_bar) == pytest.approx(nominal(keg.warmed_to(40.0).pressure(0.62).gauge_bar))
    high = nominal(found.warm_gauge_bar) + 1.96 * uncertainty(found.warm_gauge_bar)
    assert high > 4.0
    assert f"{100 * high / 4.0:.0f} %" in found.warm_rating and "TOO MUCH" in found.warm_rating
    assert keg.warmed_to(42.0).pressure(0.3).warm_gauge_bar is None


def test_the_gauge_comes_back_from_its_own_curve():
    """A log of a sealed keg turned into CO2 and back into a pressure gives the gauge's reading, its ± cancelling."""
    log = fk.gas_from_pressure(
        [0, 20, 40, 60, 80], [0.0, 1.5, 3.0, 3.1, 3.1], headspace_L=1.0, liquid_L=4.0, temperature_C=20.0,
        u_reading_bar=0.01, oxygen_used=(0, 0),
    )  # fmt: skip
    keg = Vessel(total_L=5.0, liquid_L=4.0, temperature_C=20.0, solubility_vs_water=log.solubility_vs_water)
    back = keg.pressure(log.total()).gauge_bar
    assert nominal(back) == pytest.approx(3.1, rel=0.001)  # both count the liquid's swelling
    assert uncertainty(back) < 0.02


def test_the_gauges_interval_reaches_down_to_no_oxygen_left():
    """With the sealed air's oxygen gone the gauge shows less: the interval holds it, the headline stays above."""
    keg = Vessel(total_L=2.0, liquid_L=1.5, temperature_C=25.0)
    found = keg.pressure(0.3)
    low, high = found.gauge_limits
    without = nominal(found.gauge_bar) - 0.2095 * nominal(found.air_bar)
    assert low < without < nominal(found.gauge_bar) < high
    assert high == pytest.approx(nominal(found.gauge_bar) + 1.96 * uncertainty(found.gauge_bar))
    filled = Vessel(total_L=2.0, liquid_L=1.5, temperature_C=25.0, sealed_gas="CO2").pressure(0.1)
    assert filled.gauge_limits[0] == pytest.approx(nominal(filled.gauge_bar) - 1.96 * uncertainty(filled.gauge_bar))
