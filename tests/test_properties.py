"""Physical properties: shapes, ranges, round trips, and values with uncertainty."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from fermkit.basis.errors import InputError
from fermkit.matter import alcohol, composition, properties
from fermkit.matter.properties import (
    bicarbonate_factor,
    co2_compressibility,
    co2_second_virial,
    co2_solubility,
    ethanol_density,
    ethanol_mass_concentration,
    ethanol_mass_fraction,
    ethanol_molar_concentration,
    ethanol_pct_vol,
    ethanol_pct_vol_from_concentration,
    o2_solubility,
    sucrose_density,
    water_density,
    water_vapour_pressure,
)

CALLS = {
    ethanol_density: (0.1, 20.0),
    ethanol_mass_fraction: (10.0,),
    ethanol_pct_vol: (0.1,),
    ethanol_mass_concentration: (10.0, 25.0),
    ethanol_molar_concentration: (10.0, 25.0),
    ethanol_pct_vol_from_concentration: (78.9,),
    water_density: (20.0,),
    water_vapour_pressure: (20.0,),
    co2_second_virial: (20.0,),
    co2_compressibility: (20.0, 3.0),
    co2_solubility: (20.0, 3.0),
    o2_solubility: (20.0, 0.2),
    bicarbonate_factor: (5.5, 20.0),
    sucrose_density: (0.1, 20.0),
}


@pytest.mark.parametrize("function", CALLS, ids=lambda f: f.__name__)
def test_a_float_gives_a_float_and_an_array_an_array(function):
    """Scalar, list, array and a grid by broadcasting give the same numbers."""
    point = CALLS[function]
    one = function(*point)
    assert type(one) is float
    first, *rest = point
    column = function(np.array([first, first]), *rest)
    assert column.shape == (2,)
    assert column == pytest.approx([one, one])
    assert function([first], *rest) == pytest.approx([one])
    grid = function(np.full((3, 1), first), *(np.full(2, value) for value in rest))
    assert grid == pytest.approx(np.full(grid.shape, one))


@pytest.mark.parametrize("function", CALLS, ids=lambda f: f.__name__)
def test_uncertainty_passes_through_with_its_slope(function):
    """A value with ± gives the tangent's ±, correlated with it."""
    first, *rest = CALLS[function]
    step = 1e-4 * first
    slope = (function(first + step, *rest) - function(first - step, *rest)) / (2 * step)
    given_value = ufloat(first, 0.01 * first)
    found = function(given_value, *rest)
    assert found.nominal_value == pytest.approx(function(first, *rest))
    assert found.derivatives[given_value] == pytest.approx(slope, rel=1e-5)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: ethanol_density(10.0, 20.0), r"mass fraction of ethanol .* is 10\n.*from 0 to 1"),
        (lambda: ethanol_density(0.1, 41.0), r"OIML R 22 is 41\n.*-20 to 40"),
        (lambda: ethanol_density([0.1, -0.1], 20.0), "is -0.1"),
        (lambda: ethanol_mass_fraction(101.0), r"alcohol \[% vol\] is 101"),
        (lambda: ethanol_pct_vol(1.2), "grams per gram"),
        (lambda: ethanol_mass_concentration(5.0, 90.0), "is 90"),
        (lambda: ethanol_pct_vol_from_concentration(800.0), "from 0 to 789.239"),
        (lambda: water_density(-1.0), "from 0 to 100"),
        (lambda: water_vapour_pressure(400.0), "from 0 to 373"),
        (lambda: co2_second_virial(60.0), "from -8 to 46.85"),
        (lambda: co2_solubility(25.0, -1.0), r"pressure of CO2 .* is -1"),
        (lambda: co2_solubility(60.0, 1.0), "from 0 to 46.85"),
        (lambda: co2_compressibility(25.0, 50.0), "from 0 to 12"),
        (lambda: co2_compressibility(50.0, 1.0), "from -8 to 46.85"),
        (lambda: o2_solubility(0.0, 0.2), "from 1 to 100"),
        (lambda: o2_solubility(25.0, 50.0), "from 0 to 5"),
        (lambda: bicarbonate_factor(12.0, 25.0), "pH is 12"),
        (lambda: sucrose_density(0.6, 20.0), "from 0 to 0.507"),
        (lambda: sucrose_density(0.1, 5.0), "from 15 to 55"),
        (lambda: water_density(float("nan")), "is nan"),
        (lambda: water_density("warm"), "'warm'"),
        (lambda: water_density(ufloat(-3.0, 5.0)), "is -3"),
    ],
)
def test_outside_its_range_a_property_is_refused_with_the_range(call, says):
    """The message holds the value and the range of the source."""
    with pytest.raises(InputError, match=f"(?s){says}"):
        call()


@given(st.floats(0.0, 100.0))
def test_alcohol_by_volume_and_by_mass_are_inverse(pct_vol):
    """% vol to mass fraction and back, over the whole range."""
    assert ethanol_pct_vol(ethanol_mass_fraction(pct_vol)) == pytest.approx(pct_vol, abs=1e-9)


@given(st.floats(0.1, 100.0), st.floats(-10.0, 40.0))
def test_grams_in_a_litre_are_fraction_times_density(pct_vol, temperature_C):
    """The concentration at any temperature is the mass fraction times the density there."""
    fraction = ethanol_mass_fraction(pct_vol)
    expected = fraction * ethanol_density(fraction, temperature_C)
    assert ethanol_mass_concentration(pct_vol, temperature_C) == pytest.approx(expected, rel=1e-9)


@given(st.floats(0.0, 100.0))
def test_concentration_and_volume_percent_are_inverse_at_20_C(pct_vol):
    """g/L at 20 °C is exactly proportional to % vol."""
    assert ethanol_pct_vol_from_concentration(ethanol_mass_concentration(pct_vol)) == pytest.approx(pct_vol)
    assert ethanol_molar_concentration(pct_vol) * 46.069 == pytest.approx(ethanol_mass_concentration(pct_vol))


def test_volume_percent_is_not_mass_percent():
    """The classic slip: taking one for the other is wrong by about a fifth."""
    assert ethanol_mass_fraction(5.0) / 0.05 == pytest.approx(0.796, abs=0.001)


def test_the_molar_masses_are_those_of_the_composition_module():
    """The two constants here are not left behind when the atomic weights change."""
    assert composition.molar_mass("ethanol") == alcohol._ETHANOL_G_PER_MOL
    assert composition.molar_mass("water") == properties._WATER_G_PER_MOL


def test_density_falls_with_alcohol_and_with_warmth():
    """Monotone over the range of a fermentation and its spirit."""
    fractions = np.linspace(0.0, 1.0, 201)
    warm = np.linspace(4.0, 40.0, 73)
    assert np.all(np.diff(ethanol_density(fractions, 20.0)) < 0)
    assert np.all(np.diff(ethanol_density(0.08, warm)) < 0)


def test_warm_liquid_holds_less_co2_and_more_pressure_holds_more():
    """Henry's law, a little less than proportional."""
    assert np.all(np.diff(co2_solubility(np.linspace(2, 46, 45), 1.0)) < 0)
    held = co2_solubility(25.0, np.array([1.0, 2.0, 4.0, 8.0]))
    assert np.all(np.diff(held) > 0)
    assert np.all(np.diff(held / [1, 2, 4, 8]) < 0)
    assert held[3] / held[0] == pytest.approx(8.0, rel=0.06)


def test_bicarbonate_matters_above_pH_5():
    """About 4, 14 and 45 % more at pH 5, 5.5 and 6."""
    assert bicarbonate_factor(np.array([5.0, 5.5, 6.0]), 25.0) - 1 == pytest.approx([0.0446, 0.141, 0.446], rel=0.01)
    assert bicarbonate_factor(3.0, 25.0) == pytest.approx(1.0, abs=1e-3)


def test_a_large_array_is_quick():
    """A million densities in one call, none of them in a Python loop."""
    p = np.linspace(0, 1, 1_000_000)
    found = ethanol_density(p, 20.0)
    assert found.shape == p.shape
    assert found[[0, -1]] == pytest.approx([998.20123, 789.2391], abs=1e-3)
