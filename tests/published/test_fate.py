"""Published fermentation yields, heats and the oxygen of growth, held against the state of the estimate."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fermkit.basis.written import nominal
from fermkit.batch.fate import COMBUSTION_KJ, heat_kJ
from fermkit.batch.known import LATENTS, Surroundings
from fermkit.batch.readings import state_of
from fermkit.matter.composition import compound, molar_mass

HEXOSE = molar_mass("hexose")
ASH = 0.065
BALLING = {"extract": 2.0665, "ethanol": 1.0, "CO2": 0.9565, "yeast": 0.11}
"""Balling's rule [g], from memory: whether its extract counts as sucrose or as hexose moves its carbon by 5 %."""


def fate(hexose_mol, yeast_g, oxygen_mol=0.0, *, glycerol_mmol_per_g=0.0, acids_share=0.0):
    """What the state of the estimate makes of so much hexose, yeast, oxygen and by-products [mol]."""
    basic = dict.fromkeys(LATENTS, 0.0) | {
        "sugar_fed": hexose_mol * HEXOSE, "yeast_yield": yeast_g / (hexose_mol * HEXOSE), "oxygen": oxygen_mol,
        "glycerol_per_yeast": glycerol_mmol_per_g, "acids_share": acids_share, "ash": ASH, "liquid": 1.0,
        "yeast_electrons": compound("yeast").electrons, "yeast_per_carbon": molar_mass("yeast"),
    }  # fmt: skip
    s = state_of(np.array([basic[key] for key in LATENTS]), Surroundings(0.03, 0.04, 1.2, False))
    names = {"ethanol": "ethanol", "co2": "CO2", "glycerol": "glycerol", "acids": "acetic acid"}
    mol = {key: float(s[key]) / molar_mass(name) for key, name in names.items()}
    heat = nominal(heat_kJ(hexose_mol, yeast_g, mol["ethanol"], mol["glycerol"], mol["acids"]))
    return SimpleNamespace(**mol, ethanol_g=float(s["ethanol"]), co2_g=float(s["co2"]), heat_kJ=heat)


@given(st.floats(0.0, 0.12), st.floats(0.0, 2.0), st.floats(4.0, 13.0), st.floats(0.0, 0.03))
def test_carbon_and_electrons_close(yeast, oxygen, glycerol, acids):
    """The element matrix finds nothing over, at any yeast, oxygen and by-products."""
    found = fate(1.0, yeast * HEXOSE, oxygen, glycerol_mmol_per_g=glycerol, acids_share=acids)
    names = ["hexose", "yeast", "ethanol", "CO2", "glycerol", "acetic acid", "O2"]
    cells = yeast * HEXOSE * (1 - ASH) / molar_mass("yeast")
    amounts = [-1.0, cells, found.ethanol, found.co2, found.glycerol, found.acids, -oxygen]
    rows = [[getattr(compound(name), what) for name in names] for what in ("carbon", "electrons")]
    assert np.array(rows) @ np.array(amounts) == pytest.approx([0.0, 0.0], abs=1e-10)


def test_six_oxygen_leave_no_ethanol():
    """Full respiration: six CO2, respiratory quotient one."""
    found = fate(1.0, 0.0, 6.0)
    assert found.ethanol == pytest.approx(0.0, abs=1e-12) and found.co2 == pytest.approx(6.0)


def test_the_heat_is_what_burning_the_products_leaves():
    """Hess: heat of the sugar, less that of each product; the yeast 115 kJ for each mole of electrons."""
    found = fate(1.0, 15.0, 0.3, glycerol_mmol_per_g=6.0, acids_share=0.01)
    electrons = 15.0 * (1 - ASH) / molar_mass("yeast") * 4.2
    held = {"ethanol": found.ethanol, "glycerol": found.glycerol, "acetic acid": found.acids}
    products = sum(COMBUSTION_KJ[name] * amount for name, amount in held.items()) + 115.0 * electrons
    assert found.heat_kJ == pytest.approx(COMBUSTION_KJ["hexose"] - products)


def test_theoretical_yields(published):
    """Without yeast: 0.5114 g ethanol and 0.4886 g CO2 from a gram of hexose."""
    found = fate(1 / HEXOSE, 0.0)
    entry = published.entries["YIELD-TH"]["expected"]
    published.check("ethanol, g/g", found.ethanol_g, entry["EtOH_per_glucose"], 1e-6, reference="YIELD-TH")
    published.check("CO2, g/g", found.co2_g, entry["CO2_per_glucose"], 1e-6, reference="YIELD-TH")


def test_sets_that_close(published):
    """Yeast 2, 5 and 10 % of the hexose: glycerol 1.1, 2.8, 5.6 % of the carbon, ethanol 95, 89, 80 % of its limit."""
    for yeast, glycerol, ethanol, ratio in [(0.02, 1.1, 95, 1.01), (0.05, 2.8, 89, 1.03), (0.10, 5.6, 80, 1.06)]:
        sugar = fate(1.0, yeast * HEXOSE, glycerol_mmol_per_g=6.25, acids_share=0.015)
        for name, found, value, within in [
            ("glycerol, % of the carbon", 50 * sugar.glycerol, glycerol, 0.06),
            ("ethanol, % of its limit", 50 * sugar.ethanol, ethanol, 0.6),
            ("CO2/ethanol", sugar.co2 / sugar.ethanol, ratio, 0.006),
        ]:
            published.check(
                f"{name} at {yeast} g/g", found, value, within,
                source="carbon and electron balance with 6.25 mmol glycerol for a gram of yeast (Nordström 1966) and "
                "1.5 % of the carbon as acids, as a worked case", verification="computed",
            )  # fmt: skip


def test_oxygen_of_well_aerated_growth(published):
    """Half a gram of yeast from a gram of sugar needs 0.43 g of oxygen."""
    yeast = 0.5 * HEXOSE
    cells = yeast * (1 - ASH) / molar_mass("yeast")
    oxygen = (24 - 4.2 * cells) / 4
    grown = fate(1.0, yeast, oxygen)
    published.check("ethanol left, mol", grown.ethanol, 0.0, 1e-9, reference="GAMMA")
    published.check(
        "g O2 for a gram of sugar", oxygen * molar_mass("O2") / HEXOSE, 0.43, 0.005,
        source="electron balance at 0.5 g/g with 6.5 % ash", verification="computed",
    )  # fmt: skip
    published.check(
        "respiratory quotient", grown.co2 / oxygen, 1.05, 0.06,
        source="1.0 to 1.1 in aerobic, sugar-limited chemostats of S. cerevisiae", verification="memory",
    )  # fmt: skip


def test_heat_of_fermentation(published):
    """Calorimetry: about 98 kJ for a mole of hexose fermented; 455 to 470 kJ for a mole of oxygen."""
    plain = fate(1.0, 0.0)
    published.check(
        "kJ for a mole of hexose fermented", plain.heat_kJ, 98.5, 3.0,
        source="Bouffard 1895, 23.5 kcal/mol, as quoted in oenology textbooks", verification="memory",
    )  # fmt: skip
    burnt = fate(1.0, 0.0, 6.0)
    published.check(
        "kJ for a mole of oxygen, sugar", burnt.heat_kJ / 6, 469.0, 2.0,
        source="Thornton's rule, sugars 469 kJ/mol O2", verification="memory",
    )  # fmt: skip
    yeast = 0.5 * HEXOSE
    oxygen = (24 - 4.2 * yeast * (1 - ASH) / molar_mass("yeast")) / 4
    grown = fate(1.0, yeast, oxygen)
    published.check(
        "kJ for a mole of oxygen, growing", grown.heat_kJ / oxygen, 460.0, 35.0,
        source="Cooney, Wang & Mateles, Biotechnol. Bioeng. 11 (1968) 269: 0.124 kcal/mmol O2, ± 7 %",
        verification="memory",
    )  # fmt: skip


def test_heats_of_combustion_follow_from_enthalpies_of_formation(published):
    """NBS tables: CO2 gas -393.51, water -285.83; dissolved glucose -1263.1, ethanol -288.3, and so on, kJ/mol."""
    formation = {"hexose": -1263.1, "ethanol": -288.3, "glycerol": -676.6, "acetic acid": -485.8}
    for name, enthalpy in formation.items():
        content = compound(name).atoms
        burnt = -(content["C"] * -393.51 + content["H"] / 2 * -285.83) + enthalpy
        published.check(
            f"heat of combustion of {name}, kJ/mol", COMBUSTION_KJ[name], burnt, 0.2,
            source="NBS tables, J. Phys. Chem. Ref. Data 11, suppl. 2 (1982)", verification="memory",
        )  # fmt: skip


def test_ballings_rule(published):
    """Balling's products hold 101 % of the carbon of 2.0665 g hexose, 96 % of that of 2.0665 g disaccharide.

    The basis of his extract is open, and none of his pieces is glycerol or acid: a plausibility check. His ratio of
    CO2 to ethanol is ours within 1 %, with as little glycerol and acid.
    """
    source = "Balling's rule: 2.0665 g extract give 1 g ethanol, 0.9565 g CO2, 0.11 g yeast"
    carbon = 2 * BALLING["ethanol"] / molar_mass("ethanol") + BALLING["CO2"] / molar_mass("CO2")
    carbon += BALLING["yeast"] * (1 - ASH) / molar_mass("yeast")
    for basis, per_mol, wanted in [("hexose", 6, 1.007), ("sucrose", 12, 0.957)]:
        found = carbon / (BALLING["extract"] / molar_mass(basis) * per_mol)
        published.check(f"Balling's carbon over {basis}", found, wanted, 0.002, source=source, verification="memory")
    sugar = fate(1.0, BALLING["yeast"] / BALLING["extract"] * HEXOSE)
    published.check(
        "CO2 over ethanol, g/g", sugar.co2_g / sugar.ethanol_g, BALLING["CO2"], 0.01 * BALLING["CO2"],
        source=source, verification="memory",
    )  # fmt: skip


def test_pasteurs_yeast_gives_pasteurs_ethanol(published):
    """1.2 % yeast on hexose: ethanol and CO2 within 2 g of Pasteur's; his glycerol is more than growth forces."""
    entry = published.entries["PASTEUR"]["expected"]
    acids = entry["succinic"] / molar_mass("succinic acid") * 4 / (600 / HEXOSE)
    glycerol = entry["glycerol"] / molar_mass("glycerol") * 1000 / entry["yeast_etc"]
    sugar = fate(100 / HEXOSE, entry["yeast_etc"], glycerol_mmol_per_g=glycerol, acids_share=acids)
    published.check("Pasteur's ethanol", sugar.ethanol_g, entry["ethanol"], 0.5, reference="PASTEUR")
    published.check("Pasteur's CO2", sugar.co2_g, entry["CO2"], 0.5, reference="PASTEUR")
