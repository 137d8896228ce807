"""Strength, density, refraction: linear measurements for the balance."""

import numpy as np
import pytest
from uncertainties import ufloat

from fermkit.basis.errors import InputError
from fermkit.calibration.density import (
    convert_ethanol,
    density_change,
    hydrometer_density,
)
from fermkit.calibration.refractometer import as_sucrose, refractometer_change, refractometer_sugar
from fermkit.matter.properties import ethanol_density, ethanol_mass_fraction, sucrose_density, water_density


@pytest.mark.parametrize("unit", ["% vol", "% mass", "g/L"])
def test_every_strength_converts_there_and_back(unit):
    """From % vol to each unit and back, for one number, a row of them and one with uncertainty."""
    for value in (5.0, np.array([0.0, 1.0, 12.0, 40.0])):
        assert convert_ethanol(convert_ethanol(value, "% vol", unit), unit, "% vol") == pytest.approx(value, abs=1e-7)
    back = convert_ethanol(convert_ethanol(ufloat(5.0, 0.1), "% vol", unit), unit, "% vol")
    assert back.s == pytest.approx(0.1, rel=2e-3)


def test_impossible_strengths_are_refused():
    """More ethanol than a litre of it weighs, negative, or a unit nobody knows."""
    with pytest.raises(InputError, match="ethanol"):
        convert_ethanol(900.0, "g/L", "% vol")
    with pytest.raises(InputError, match="ethanol"):
        convert_ethanol(-1.0, "g/L", "% vol")
    with pytest.raises(InputError, match="unit is 'vol%'"):
        convert_ethanol(5.0, "vol%", "g/L")


def test_hydrometer_at_its_own_temperature_needs_no_correction():
    """At 20 °C on a 20 °C scale: reading times the density of water."""
    assert float(hydrometer_density(1.04, temperature_C=20.0)) == pytest.approx(1.04 * water_density(20.0))
    assert hydrometer_density(1040.0, temperature_C=20.0, scale="kg/m3") == pytest.approx(1040.0)


def test_hydrometer_in_warm_water_reads_water():
    """Water at 30 °C, as a 15 °C hydrometer shows it, comes back as water at 20 °C."""
    shown = water_density(30.0) / water_density(15.0) / (1 - 25e-6 * 15.0)
    found = hydrometer_density(shown, temperature_C=30.0, reference_C=15.0)
    assert found.n == pytest.approx(water_density(20.0), abs=1e-6)
    assert found.s > 0.3


def test_hydrometer_in_cold_water_reads_water():
    """Water at 12 °C, as a 20 °C hydrometer shows it, comes back as water at 20 °C."""
    shown = water_density(12.0) / water_density(20.0) / (1 + 25e-6 * 8)
    found = hydrometer_density(shown, temperature_C=12.0)
    assert found.n == pytest.approx(water_density(20.0), rel=1e-6)


def test_both_temperatures_of_a_hydrometer_carry_their_uncertainty():
    """1 K of doubt about the liquid is the expansion of water, 0.2 to 0.3 kg/m3; about the scale, of glass alone."""
    liquid = hydrometer_density(1040.0, temperature_C=ufloat(25.0, 1.0), scale="kg/m3").s
    plain = hydrometer_density(1040.0, temperature_C=25.0, scale="kg/m3").s
    slope = (water_density(25.5) - water_density(24.5)) / water_density(25.0) * 1040.0
    assert liquid**2 - plain**2 == pytest.approx((slope + 0.025) ** 2, rel=0.3)
    glass = hydrometer_density(1040.0, temperature_C=25.0, reference_C=ufloat(15.0, 1.0), scale="kg/m3").s
    assert glass**2 - hydrometer_density(1040.0, temperature_C=25.0, reference_C=15.0, scale="kg/m3").s ** 2 == (
        pytest.approx((1040.0 * 25e-6) ** 2, rel=0.05)
    )


def test_hydrometer_in_the_wrong_unit_is_refused():
    """1040 for a specific gravity, a temperature in kelvin."""
    with pytest.raises(InputError, match="hydrometer reading is 1040"):
        hydrometer_density(1040, temperature_C=20.0)
    with pytest.raises(InputError, match="temperature"):
        hydrometer_density(1.04, temperature_C=293.0)


def test_density_change_closes_on_a_solution_made_up_from_tables():
    """Sucrose before, ethanol after, each from its own table: the equation closes within its uncertainty."""
    sugar_g, ethanol_g = 100.0, 46.0
    w = np.linspace(0.05, 0.15, 2001)
    start = float(np.interp(sugar_g, w * sucrose_density(w), sucrose_density(w)))
    end = ethanol_density(ethanol_mass_fraction(convert_ethanol(ethanol_g, "g/L", "% vol")), 20.0)
    found = density_change(start, end, volume_start_L=1.0, expected_pct_vol=5.8)
    predicted = -sugar_g * found.coefficients["sucrose"] + ethanol_g * found.coefficients["ethanol"]
    assert predicted == pytest.approx(found.value.n, abs=0.15)
    assert abs(predicted - found.value.n) < found.value.s
    assert found.coefficients["ethanol"] < 0 < found.coefficients["sucrose"]
    assert "not an ethanol value of its own" in str(found)


def test_density_change_counts_both_volumes():
    """What left with the volume is not taken for sugar: the same liquid in less volume changes nothing."""
    same = density_change(1030.0, 1030.0, volume_start_L=1.0, volume_end_L=0.9, glycerol="glycerol")
    assert same.value.n == pytest.approx(-(1030.0 - water_density(20.0)) * 0.1)
    assert set(same.coefficients) == {"sucrose", "ethanol", "glycerol"}


def test_densities_in_the_wrong_unit_are_refused():
    """Specific gravities for densities, a strength nobody ferments to."""
    with pytest.raises(InputError, match="density at the start"):
        density_change(1.04, 0.996, volume_start_L=1.0)
    with pytest.raises(InputError, match="expected_pct_vol"):
        density_change(1040.0, 996.0, volume_start_L=1.0, expected_pct_vol=50.0)



def broth(hexose=0.0, sucrose=0.0, ethanol=0.0, glycerol=0.0, solids=0.0):
    """°Brix of a litre that holds so many grams of each, by a Lorentz-Lorenz mixture (not the method's sum).

    Specific refractions [mL/g] and densities [kg/m3 per g/L] worked out from the handbook's 10 % solutions.
    """
    grams = np.array([hexose, sucrose, ethanol, glycerol, solids])
    density = 998.21 + grams @ [0.378, 0.384, -0.18, 0.228, 0.45]
    refraction = (density - grams.sum()) * 0.206059 + grams @ [0.2059, 0.206476, 0.277706, 0.223647, 0.19]
    index = np.sqrt((1000 + 2 * refraction) / (1000 - refraction))
    return float(np.interp(index, [1.33299, 1.34026, 1.34782, 1.35568, 1.36384], [0.0, 5.0, 10.0, 15.0, 20.0]))


def test_a_finished_broth_of_molasses_has_no_sugar_by_the_refractometer():
    """Read plainly it has over 40 g/L; by the difference from the start it has none, within the ±."""
    start = broth(sucrose=100.0, solids=28.0)
    end = broth(ethanol=47.0, glycerol=4.0, solids=28.0)
    assert as_sucrose(end) > 40.0
    used = refractometer_sugar(ufloat(end, 0.1), ufloat(start, 0.1))
    left = 100.0 * 1.0526 - used
    assert abs(left.n) < left.s < 8.0


@pytest.mark.parametrize("used", [0.0, 20.0, 60.0, 105.26])
def test_the_refractometer_follows_the_sugar_used(used):
    """At each stage of a batch of molasses, within two standard uncertainties; the ± is 4 g/L and 6.5 % at most."""
    start = broth(sucrose=100.0, solids=28.0)
    now = broth(sucrose=100.0 - used / 1.0526, ethanol=0.46 * used, glycerol=0.03 * used, solids=28.0)
    found = refractometer_sugar(ufloat(now, 0.1), ufloat(start, 0.1))
    assert abs(found.n - used) < 2 * found.s
    assert found.s < 4.0 + 0.065 * used


def test_the_refractometer_is_one_equation_for_the_balance():
    """Its sum over true amounts is its value; glycerol joins where it is a stream."""
    start, end = broth(sucrose=100.0, solids=28.0), broth(ethanol=47.0, glycerol=4.0, solids=28.0)
    found = refractometer_change(start, end, volume_start_L=2.0, expected_pct_vol=6.0, glycerol="glycerol")
    amounts = {"sucrose": -200.0, "ethanol": 94.0, "glycerol": 8.0}
    predicted = sum(found.coefficients[name] * grams for name, grams in amounts.items())
    assert abs(found.value.n - predicted) < 1.5 * found.value.s
    assert found.value.s < 0.05 * abs(found.value.n)


@pytest.mark.parametrize("brix", [80.0, -5.0, 1038.0])
def test_a_refractometer_reading_out_of_range_is_refused(brix):
    """A syrup, a negative reading and a density."""
    with pytest.raises(InputError, match="Brix"):
        refractometer_sugar(brix, 14.0)


def test_a_worn_refractometer_may_show_water_below_zero():
    """A little below nothing is a reading as any other, so that its error is not cut off."""
    assert as_sucrose(-0.2) == pytest.approx(-as_sucrose(0.2), rel=0.01)
