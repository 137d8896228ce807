"""What the sugar becomes: carbon, electrons and heat close, whatever grows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal
from fermkit.batch.pathways import COMBUSTION_KJ, sugar_fate
from fermkit.matter.composition import compound, molar_mass
from fermkit.matter.feed import YEAST_ASH


@given(st.floats(0.0, 0.12), st.floats(0.0, 2.0), st.floats(4.0, 8.0), st.floats(0.0, 0.03))
def test_carbon_and_electrons_close(yeast, oxygen, glycerol, acids):
    """The element matrix finds nothing over, at any yeast, oxygen and by-products."""
    fate = sugar_fate(1.0, yeast * 180.156, oxygen, glycerol_mmol_per_g=glycerol, acids_share=acids, ash=YEAST_ASH[0])
    names = ["hexose", "yeast", "ethanol", "CO2", "glycerol", "acetic acid", "O2"]
    cells = fate.yeast_g * (1 - YEAST_ASH[0]) / molar_mass("yeast")
    amounts = [-1.0, cells, fate.ethanol_mol, fate.co2_mol, fate.glycerol_mol, fate.acids_mol, -oxygen]
    rows = [[getattr(compound(name), what) for name in names] for what in ("carbon", "electrons")]
    left = np.array(rows) @ np.array([nominal(a) for a in amounts])
    assert left == pytest.approx([0.0, 0.0], abs=1e-10)


def test_without_growth_it_is_gay_lussacs_equation():
    """Two moles of ethanol and two of CO2: one third of the carbon is two moles, not a third of a mole."""
    fate = sugar_fate(1.0, 0.0, acids_share=0.0)
    assert nominal(fate.ethanol_mol) == pytest.approx(2.0)
    assert nominal(fate.co2_mol) == pytest.approx(2.0)
    assert fate.respiratory_quotient is None


def test_six_oxygen_leave_no_ethanol():
    """Full respiration: six CO2, respiratory quotient one."""
    fate = sugar_fate(1.0, 0.0, 6.0, acids_share=0.0)
    assert nominal(fate.ethanol_mol) == pytest.approx(0.0, abs=1e-12)
    assert nominal(fate.co2_mol) == pytest.approx(6.0)
    assert nominal(fate.respiratory_quotient) == pytest.approx(1.0)


@pytest.mark.parametrize(("yeast", "oxygen"), [(200.0, 0.0), (0.0, 6.5), (90.0, 3.0)])
def test_more_than_the_sugar_allows_is_refused(yeast, oxygen):
    """More yeast or oxygen than carbon and electrons allow: the message says what would be left."""
    with pytest.raises(InputError, match=r"(?s)would leave -.*no more yeast"):
        sugar_fate(1.0, yeast, oxygen)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [((0.0, 1.0), "hexose used"), ((1.0, -1.0), "new dry yeast"), ((1.0, 1.0, -0.1), "oxygen used"),
     ((float("nan"), 1.0), "hexose used")],
)  # fmt: skip
def test_impossible_amounts_are_refused(arguments, says):
    """Zero sugar, negative yeast, negative oxygen, no number."""
    with pytest.raises(InputError, match=says):
        sugar_fate(*arguments)


def test_a_formula_with_more_than_one_carbon_gives_the_same():
    """C4.4H7.3N0.86O1.2 is the same yeast as a quarter and a bit of it."""
    long, short = "C4.4H7.3N0.86O1.2", "CH1.65909091N0.19545455O0.27272727"
    ends = [sugar_fate(1.0, 12.0, 0.2, yeast=formula) for formula in (long, short)]
    assert nominal(ends[0].ethanol_mol) == pytest.approx(nominal(ends[1].ethanol_mol), rel=1e-6)
    assert nominal(ends[0].co2_mol) == pytest.approx(nominal(ends[1].co2_mol), rel=1e-6)


def test_the_heat_is_what_burning_the_products_leaves():
    """Hess: heat of the sugar, less that of each product; the yeast 115 kJ for each mole of electrons."""
    fate = sugar_fate(1.0, 15.0, 0.3)
    electrons = 15.0 * (1 - YEAST_ASH[0]) / molar_mass("yeast") * 4.2
    held = {"ethanol": fate.ethanol_mol, "glycerol": fate.glycerol_mol, "acetic acid": fate.acids_mol}
    products = sum(COMBUSTION_KJ[name] * nominal(amount) for name, amount in held.items()) + 115.0 * electrons
    assert nominal(fate.heat_kJ) == pytest.approx(COMBUSTION_KJ["hexose"] - products)


def test_the_callers_uncertainty_reaches_every_product():
    """Ethanol and CO2 move with the sugar and against the yeast."""
    sugar, yeast = ufloat(0.6, 0.01, "sugar"), ufloat(5.0, 0.5, "yeast")
    fate = sugar_fate(sugar, yeast)
    assert fate.ethanol_mol.derivatives[sugar] > 1.9
    assert fate.ethanol_mol.derivatives[yeast] < 0
    mass = fate.ethanol_g + fate.co2_g + fate.yeast_g
    assert 100 < mass.n < 1.05 * 0.6 * 180.156


def test_the_page_names_what_closes():
    """The printed fate has ±, the share of the limit and the quotient."""
    text = str(sugar_fate(1.0, 20.0, 0.5))
    assert "of its limit" in text and "CO2 out / O2 in" in text and "close by construction" in text
