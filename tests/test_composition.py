"""Formulas, molar masses, degrees of reduction and the element matrix."""

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fermkit.basis.errors import InputError
from fermkit.matter.composition import (
    BIOMASS_SOURCES,
    COMPOUNDS,
    atoms,
    compound,
    degree_of_reduction,
    molar_mass,
)


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("C6H12O6", {"C": 6, "H": 12, "O": 6}),
        ("C₆H₁₂O₆", {"C": 6, "H": 12, "O": 6}),
        ("CH1.8O0.5N0.2", {"C": 1, "H": 1.8, "O": 0.5, "N": 0.2}),
        ("CH1.8O.5N.2", {"C": 1, "H": 1.8, "O": 0.5, "N": 0.2}),
        ("(NH4)2HPO4", {"N": 2, "H": 9, "P": 1, "O": 4}),
        ("Ca((HCO3)2)", {"Ca": 1, "H": 2, "C": 2, "O": 6}),
        ("CO", {"C": 1, "O": 1}),
        ("Co", {"Co": 1}),
        ("CH3CH2OH", {"C": 2, "H": 6, "O": 1}),
    ],
)
def test_formulas_are_read_atom_by_atom(formula, expected):
    """Counts, fractions, groups and repeated elements add up."""
    assert dict(atoms(formula)) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("formula", "where"),
    [
        ("C6H12O6x", "stopped at 'x', character 8"),
        ("C6H12O6 ", "stopped at ' ', character 8"),
        ("CHx2", "stopped at 'x', character 3"),
        ("c6H12", "stopped at 'c', character 1"),
        ("C6(H12", r"stopped at '\(', character 3"),
        ("C6)H12", r"stopped at '\)', character 3"),
        ("C6()H12", r"stopped at '\)', character 4"),
        ("C0H4", "stopped at 'C', character 1"),
        ("HCO3-", "stopped at '-', character 5"),
        ("C1..8", r"stopped at '\.', character 3"),
        ("Xx2", "stopped at 'X', character 1"),
        ("", "it is empty"),
    ],
)
def test_an_unreadable_formula_names_the_character(formula, where):
    """The message says where reading stopped."""
    with pytest.raises(InputError, match=where):
        atoms(formula)


def test_a_misspelt_name_is_recognised():
    """A near name is offered instead of only a character."""
    with pytest.raises(InputError, match="did you mean the compound 'glucose'"):
        compound("glucos")


def test_something_that_is_not_text_is_refused():
    """A number is no compound."""
    with pytest.raises(InputError, match="its name or formula as text"):
        compound(6)


@given(
    st.dictionaries(
        st.sampled_from(["C", "H", "O", "N", "P", "S"]),
        st.integers(1, 400).map(lambda n: n / 100),
        min_size=1,
    )
)
def test_a_written_formula_reads_back(content):
    """Any composition written as a formula is read back unchanged, and its mass is the sum of its atoms."""
    formula = "".join(f"{element}{number}" for element, number in content.items())
    assert dict(atoms(formula)) == pytest.approx(content)
    assert molar_mass(formula) == pytest.approx(sum(molar_mass(e) * n for e, n in content.items()), rel=1e-9)


@pytest.mark.parametrize("name", sorted(COMPOUNDS))
def test_every_named_compound_is_complete(name):
    """Name and formula give the same compound, in any capitals."""
    by_name, by_formula = compound(name), compound(COMPOUNDS[name])
    assert by_name.molar_mass == by_formula.molar_mass > 0
    assert compound(name.upper()).atoms == by_name.atoms
    assert by_name.carbon == by_name.atoms.get("C", 0)
    assert np.isfinite(by_name.electrons)


def test_biomass_formulas_have_a_source():
    """Each biomass formula says where it was published."""
    assert all(COMPOUNDS[name].startswith("CH") and source for name, source in BIOMASS_SOURCES.items())


@given(st.text(alphabet="CHONPSKaeg()0123456789. ₂·+-x", max_size=16))
def test_any_text_is_read_or_refused_in_words(text):
    """No text makes reading fail in another way, and what is read has atoms and a mass."""
    try:
        found = compound(text)
    except InputError as refusal:
        assert "character" in str(refusal) or "empty" in str(refusal)
    else:
        assert found.molar_mass > 0
        assert all(number > 0 for number in found.atoms.values())


def test_compounds_survive_being_sent_elsewhere():
    """A copy through pickle is the same compound, by name, by other name or by formula."""
    for name in ("ethanol", "dextrose", "CH1.7O0.5N0.15", "C2H6O"):
        assert pickle.loads(pickle.dumps(compound(name))) == compound(name)


def test_a_compound_prints_what_the_balances_count():
    """Formula, molar mass, degree of reduction per mole of carbon; biomass names its source and its missing ash."""
    assert "46.069" in str(compound("ethanol")) and "6.000" in str(compound("ethanol"))
    assert "Roels 1983" in str(compound("yeast")) and "Ash not included" in str(compound("yeast"))
    assert "for each mole" in str(compound("O2"))
    assert repr(compound("ethanol")) == "<Compound: ethanol; formula C2H6O>"


def test_mass_fractions_of_a_compound_add_up_to_one():
    """The shares of its elements make up the whole."""
    urea = compound("urea")
    assert sum(urea.mass_fraction(element) for element in urea.atoms) == pytest.approx(1.0)
    assert urea.mass_fraction("S") == 0.0


def test_the_nitrogen_reference_moves_only_compounds_with_nitrogen():
    """Against nitrate each nitrogen atom counts 8 more than against ammonia, against N2 3 more."""
    assert degree_of_reduction("ethanol", nitrogen="nitrate") == degree_of_reduction("ethanol")
    for reference, zero, more in [("ammonia", "NH3", 0), ("nitrogen gas", "N2", 3), ("nitrate", "HNO3", 8)]:
        assert degree_of_reduction(zero, nitrogen=reference) == 0
        assert degree_of_reduction("CH1.8O0.5N0.2", nitrogen=reference) == pytest.approx(4.2 + 0.2 * more)


@pytest.mark.parametrize("name", ["urea", "ammonium sulfate", "diammonium phosphate", "water", "KH2PO4", "NaCl"])
def test_nutrients_and_salts_carry_no_electrons(name):
    """Ammonium and phosphate salts, urea and water count zero."""
    assert compound(name).electrons == 0


def test_an_element_without_agreed_electrons_is_refused_only_where_it_matters():
    """Its mass is known; its degree of reduction is not."""
    assert molar_mass("Au") == pytest.approx(196.96657)
    with pytest.raises(InputError, match="holds Au"):
        degree_of_reduction("AuCl3")


def test_words_that_are_no_option_are_refused():
    """`per` and `nitrogen` are words from a list."""
    with pytest.raises(InputError, match="per as one of"):
        degree_of_reduction("CH4", per="mole")
    with pytest.raises(InputError, match="did you mean 'nitrate'"):
        degree_of_reduction("CH4", nitrogen="nitrat")

