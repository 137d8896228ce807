"""Strength, density, strips and refractometers: linear measurements for the balance."""

import numpy as np
import pytest
from uncertainties import ufloat

from fermkit.basis.errors import InputError
from fermkit.calibration.density import (
    convert_ethanol,
    density_change,
    hydrometer_density,
    residual_sugar,
    sugar_left,
    weighed_density,
)
from fermkit.matter.properties import ethanol_density, ethanol_mass_fraction, sucrose_density, water_density


@pytest.mark.parametrize("unit", ["% vol", "% mass", "g/L", "mol/L"])
@pytest.mark.parametrize("temperature_C", [10.0, 20.0, 32.0])
def test_every_strength_converts_there_and_back(unit, temperature_C):
    """From % vol to each unit and back, for one number, a row of them and one with uncertainty."""
    for value in (5.0, np.array([0.0, 1.0, 12.0, 40.0])):
        there = convert_ethanol(value, "% vol", unit, temperature_C=temperature_C)
        assert convert_ethanol(there, unit, "% vol", temperature_C=temperature_C) == pytest.approx(value, abs=1e-7)
    uncertain = convert_ethanol(ufloat(5.0, 0.1), "% vol", unit, temperature_C=temperature_C)
    back = convert_ethanol(uncertain, unit, "% vol", temperature_C=temperature_C)
    assert back.s == pytest.approx(0.1, rel=2e-3)
    assert (back - ufloat(5.0, 0.1)).s > 0.1


def test_a_litre_holds_what_its_density_says():
    """g/L at a temperature is mass fraction times density there: another route to the same grams."""
    for vol in (2.0, 8.0, 20.0):
        w = ethanol_mass_fraction(vol)
        assert convert_ethanol(vol, "% vol", "g/L", temperature_C=28.0) == pytest.approx(w * ethanol_density(w, 28.0))
        assert convert_ethanol(vol, "% vol", "mol/L") == pytest.approx(w * ethanol_density(w, 20.0) / 46.069, rel=1e-4)


def test_impossible_strengths_are_refused():
    """More ethanol than a litre of it weighs, negative, or a unit nobody knows."""
    with pytest.raises(InputError, match="ethanol"):
        convert_ethanol(900.0, "g/L", "% vol")
    with pytest.raises(InputError, match="ethanol"):
        convert_ethanol(-1.0, "g/L", "% vol")
    with pytest.raises(InputError, match="unit is 'vol%'"):
        convert_ethanol(5.0, "vol%", "g/L")


@pytest.mark.parametrize("t_C", [10.0, 20.0, 30.0])
@pytest.mark.parametrize("strength", [0.0, 5.0, 40.0, 100.0])
def test_grams_per_litre_come_back_as_the_strength_they_were(strength, t_C):
    """From % vol to g/L and back at any temperature, pure water and pure ethanol included."""
    grams = convert_ethanol(strength, "% vol", "g/L", temperature_C=t_C)
    assert convert_ethanol(grams, "g/L", "% vol", temperature_C=t_C) == pytest.approx(strength, abs=1e-9)


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


def test_hydrometer_in_the_wrong_unit_is_refused():
    """1040 for a specific gravity, a temperature in kelvin."""
    with pytest.raises(InputError, match="hydrometer reading is 1040"):
        hydrometer_density(1040, temperature_C=20.0)
    with pytest.raises(InputError, match="temperature"):
        hydrometer_density(1.04, temperature_C=293.0)
    with pytest.raises(InputError, match=r"volume \[mL\]"):
        weighed_density(100.0, 0.0)


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


def test_strip_sees_sugar_alone_refractometer_sees_ethanol_too():
    """The same residue by two ways: the refractometer needs the ethanol taken off."""
    strip = residual_sugar(ufloat(10.0, 1.0), method="strip", volume_L=2.0)
    assert strip.coefficients == {"residual sugar": 1.0}
    assert strip.value.n == pytest.approx(20.0)
    ethanol_g, mass = 92.0, 2.0 * 996.0
    shown = 100.0 * (20.0 + 0.43 * ethanol_g) / mass
    optical = residual_sugar(ufloat(shown, 0.05), method="refractometer", volume_L=2.0, density=996.0)
    left = sugar_left(optical, ethanol_g, volume_L=2.0)
    assert left.n == pytest.approx(10.0)
    assert left.s > 0.5
    sweet = residual_sugar(4.0, method="refractometer", volume_L=2.0, glycerol="glycerol")
    assert sweet.coefficients["glycerol"] == pytest.approx(0.80)


def test_impossible_residues_are_refused():
    """A negative strip, a method nobody knows."""
    with pytest.raises(InputError, match="the strip shows -1"):
        residual_sugar(-1.0, method="strip", volume_L=1.0)
    with pytest.raises(InputError, match="method is 'taste'"):
        residual_sugar(1.0, method="taste", volume_L=1.0)
