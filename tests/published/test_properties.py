"""Physical properties held to printed tables, and to CoolProp and iapws as second routes."""

import CoolProp.CoolProp as coolprop
import iapws
import numpy as np
import pytest

from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.matter import alcohol
from fermkit.matter.properties import (
    bicarbonate_factor,
    co2_compressibility,
    co2_second_virial,
    co2_solubility,
    co2_vs_water,
    ethanol_density,
    ethanol_mass_concentration,
    ethanol_mass_fraction,
    o2_solubility,
    sucrose_density,
    water_density,
    water_vapour_pressure,
)


def test_oiml_coefficients(published):
    """Each of the 54 digits strings is the one that the copies agree on, and pure ethanol is 789.24."""
    expected = published.entries["R22-coef"]["expected"]
    assert alcohol._A.tolist() == expected["A"]
    assert alcohol._B.tolist() == [0.0, *expected["B"]]
    assert [list(row) for row in alcohol._C] == expected["C"]
    published.check("ethanol at 20 °C, kg/m3", ethanol_density(1.0, 20.0), 789.24, 0.005, reference="R22-coef")


def test_alcohol_tables_at_20_C(published):
    """% by volume to % by mass, density and g/L."""
    entry = published.entries["R22-vol20"]["expected"]
    for k, pct_vol in enumerate(entry["%vol"]):
        p = ethanol_mass_fraction(float(pct_vol))
        tag = f"at {pct_vol} % vol"
        published.check(f"% mass {tag}", 100 * p, entry["%mass"][k], 1e-3, reference="R22-vol20")
        published.check(f"density {tag}", ethanol_density(p, 20.0), entry["rho"][k], 0.01, reference="R22-vol20")
        grams = ethanol_mass_concentration(float(pct_vol))
        published.check(f"g/L {tag}", grams, entry["g_EtOH_per_L"][k], 2e-3, reference="R22-vol20")


def test_alcohol_tables_at_other_temperatures(published):
    """Water, 10 % by mass and ethanol from 0 to 40 °C."""
    entry = published.entries["R22-temp"]
    for name, p in [("water", 0.0), ("p10", 0.10), ("ethanol", 1.0)]:
        for t, value in zip(entry["inputs"]["t"], entry["expected"][name], strict=True):
            found = ethanol_density(p, float(t))
            published.check(f"density {name} at {t} °C", found, value, 0.01, reference="R22-temp")


def test_water_of_the_alcohol_formula_agrees_with_iapws95(published):
    """The general formula at p = 0 is IAPWS-95 water within 0.0065 kg/m3, and air-saturated water within 0.004.

    What is left: the old maximum density, 999.972 instead of 999.975 kg/m3, and the old temperature scale.
    Bignell 1983 (from memory): air-saturated water is lighter by 4.612 - 0.106 t g/m3, 4 to 20 °C.
    """
    for t in (4.0, 10.0, 15.0, 20.0):
        other = coolprop.PropsSI("D", "T", t + ZERO_CELSIUS_K, "P", 101325, "Water")
        published.check(
            f"R 22 water at {t} °C, air-saturated", ethanol_density(0.0, t), other - 4.612e-3 + 0.106e-3 * t, 0.004,
            source="IAPWS-95 in CoolProp; Bignell, Metrologia 19 (1983) 57", verification="computed, memory",
        )  # fmt: skip
    for t in (0.01, 5.0, 25.0, 30.0, 35.0, 40.0):
        other = coolprop.PropsSI("D", "T", t + ZERO_CELSIUS_K, "P", 101325, "Water")
        published.check(
            f"R 22 water at {t} °C", ethanol_density(0.0, t), other, 0.0065,
            source="IAPWS-95 in CoolProp", verification="computed",
        )  # fmt: skip


def test_pure_liquids_against_an_equation_of_state(published):
    """Ethanol within 0.25 kg/m3 of Schroeder et al. 2014; water within 0.01 of IAPWS-95."""
    entry = published.entries["COOLPROP-ETOH"]["expected"]
    for t in (20, 25):
        found = ethanol_density(1.0, float(t))
        published.check(f"ethanol at {t} °C", found, entry[f"ethanol{t}"], 0.25, reference="COOLPROP-ETOH")
        published.check(
            f"water at {t} °C", water_density(float(t)), entry[f"water{t}"], 0.01, reference="COOLPROP-ETOH"
        )


@pytest.mark.parametrize("percent", [15, 20, 30, 40])
def test_mixtures_against_a_second_correlation(published, percent):
    """Between the pure liquids: CoolProp's aqueous ethanol (Melinder) within 0.5 kg/m3, 0 to 20 °C."""
    for t in (0.0, 10.0, 20.0):
        other = coolprop.PropsSI("D", "T", t + ZERO_CELSIUS_K, "P", 101325, f"INCOMP::MEA2[{percent / 100}]")
        published.check(
            f"{percent} % mass at {t:g} °C", ethanol_density(percent / 100, t), other, 0.5,
            source="Melinder 2010 in CoolProp (INCOMP::MEA2)", verification="computed",
        )  # fmt: skip


def test_mixtures_against_the_older_tables(published):
    """International Critical Tables: 10 to 100 % by mass at 20 °C, within 0.1 kg/m3."""
    table = [981.87, 968.64, 953.82, 935.18, 913.84, 891.13, 867.66, 843.44, 817.97, 789.34]
    for tenth, value in enumerate(table, start=1):
        published.check(
            f"{10 * tenth} % mass at 20 °C", ethanol_density(tenth / 10, 20.0), 0.999972 * value, 0.1,
            source="International Critical Tables III (1928) 116, specific gravity 20/4 °C", verification="memory",
        )  # fmt: skip


def test_water_density_and_vapour_pressure(published):
    """IAPWS-95 from 0 to 60 °C."""
    entry = published.entries["WATER-PSAT2"]
    for k, t in enumerate(entry["inputs"]["t"]):
        kPa = entry["expected"]["psat_kPa"][k]
        found = 100 * water_vapour_pressure(float(t))
        published.check(f"vapour pressure at {t} °C, kPa", found, kPa, 1e-4 * kPa, reference="WATER-PSAT2")
        rho = entry["expected"]["rho"][k]
        if rho:
            found = water_density(float(t))
            published.check(f"density at {t} °C", found, rho, 1e-5 * rho, reference="WATER-PSAT2")
    first = published.entries["WATER-PSAT"]
    for t, kPa in zip(first["inputs"]["t"], first["expected"]["psat"], strict=True):
        published.check(
            f"psat at {t} °C, kPa", 100 * water_vapour_pressure(float(t)), kPa, 2e-4, reference="WATER-PSAT"
        )


def test_water_against_the_iapws_library(published):
    """Another implementation of the same releases: density 1e-7 relative, vapour pressure (IF97) 3e-4."""
    for t in (5.0, 25.0, 60.0, 95.0):
        other = iapws._iapws._Liquid(t + ZERO_CELSIUS_K)["rho"]
        published.check(
            f"water at {t} °C",
            water_density(t),
            other,
            1e-7 * other,
            source="iapws 1.5, SR6-08",
            verification="computed",
        )
        bar = 10 * iapws.iapws97._PSat_T(t + ZERO_CELSIUS_K)
        published.check(
            f"vapour pressure at {t} °C", water_vapour_pressure(t), bar, 3e-4 * bar,
            source="iapws 1.5, IF97", verification="computed",
        )  # fmt: skip


def test_oxygen_in_water(published):
    """The same guideline by another hand to 1e-6; air-saturated water within 1.2 % of the handbooks.

    The two sources differ by that much: our Henry constant is the guideline's own.
    """
    for t in (5.0, 20.0, 37.0):
        other = 10 * iapws._iapws._Henry(t + ZERO_CELSIUS_K, "O2")
        found = water_density(t) / 18.015 / o2_solubility(t, 1.0)
        published.check(
            f"kH of O2 at {t} °C, bar", found, other, 1e-6 * other, source="iapws 1.5, G7-04", verification="computed"
        )
    for t, mg in [(5.0, 12.77), (10.0, 11.29), (15.0, 10.08), (20.0, 9.09), (25.0, 8.26), (30.0, 7.56), (40.0, 6.41)]:
        air = 0.20946 * (STANDARD_ATMOSPHERE_BAR - water_vapour_pressure(t))
        published.check(
            f"oxygen in water under air at {t:g} °C, mg/L", 31998 * o2_solubility(t, air), mg, 0.012 * mg,
            source="Benson & Krause 1984, as in the handbooks of water analysis", verification="memory",
        )  # fmt: skip


MURRAY_RILEY = {
    1.04: 1.6471, 5.0: 1.4199, 10.0: 1.1926, 15.0: 1.0100, 20.0: 0.8652, 25.0: 0.7519, 32.0: 0.6336, 35.0: 0.5905,
}  # fmt: skip
"""Bunsen coefficients, cm3 of gas at 0 °C and 1 atm in a cm3 of distilled water under 1 atm of CO2."""
REAL_LITRES = 22.263
"""A mole of real CO2 at 0 °C and 1 atm [L]: Weiss 1974 takes this one for the same measurements."""


def test_solubility_as_it_was_measured(published):
    """Within 1 % of the measurements of Murray & Riley, 1 to 35 °C, each the mean of three or more."""
    for t, bunsen in MURRAY_RILEY.items():
        measured = bunsen / REAL_LITRES
        published.check(
            f"CO2 in water at {t:g} °C, mol/L", co2_solubility(t, STANDARD_ATMOSPHERE_BAR), measured, 0.01 * measured,
            source="Murray & Riley, Deep-Sea Res. 18 (1971) 533, in the IUPAC-NIST Solubility Database",
            verification="read",
        )  # fmt: skip


def test_solubility_by_a_titration(published):
    """Shedlovsky & MacInnes titrated 0.03372 mol/(L atm) at 25 °C, ± 0.5 %."""
    found = co2_solubility(25.0, STANDARD_ATMOSPHERE_BAR)
    published.check(
        "CO2 in water at 25 °C, mol/(L atm)", found, 0.03372, 0.005 * 0.03372,
        source="Shedlovsky & MacInnes, J. Am. Chem. Soc. 57 (1935) 1705, in the IUPAC-NIST Solubility Database",
        verification="read",
    )  # fmt: skip


def test_solubility_against_weiss(published):
    """Per fugacity the function is Weiss's K0, as computed by another hand."""
    for t, value in published.entries["WEISS-1974"]["expected"]["K0_L"].items():
        found = co2_solubility(float(t), 1e-4) / 1e-4 * STANDARD_ATMOSPHERE_BAR
        published.check(f"Weiss K0 at {t} °C", found, value, 2e-3 * value, reference="WEISS-1974")


def test_solubility_where_weiss_ends(published):
    """Carried on from 40 to 46.8 °C it stays within 1 % of IAPWS G7-04, up to 10 bar."""
    for T, value in published.entries["IAPWS-G7"]["expected"]["ln(kH/GPa)"].items():
        found = np.log(iapws._iapws._Henry(float(T), "CO2") / 1000)
        published.check(f"ln kH of the library at {T} K", found, value, 1e-4, reference="IAPWS-G7")
    for t in (30.0, 40.0, 46.8):
        henry = 10 * iapws._iapws._Henry(t + ZERO_CELSIUS_K, "CO2")
        RT = L_BAR_GAS_CONSTANT * (t + ZERO_CELSIUS_K)
        for bar in (1.0, 10.0):
            x = bar * np.exp(co2_second_virial(t) * bar / RT) / (henry * np.exp(0.0323 * bar / RT))
            other = x / (x * 0.0323 + (1 - x) * 18.015 / water_density(t))
            published.check(
                f"CO2 at {t:g} °C and {bar:g} bar, mol/L", co2_solubility(t, bar), other, 0.01 * other,
                source="iapws 1.5, G7-04", verification="computed",
            )  # fmt: skip


def test_what_sugar_alcohol_and_salts_hold_back(published):
    """Lager (5 % vol, 40 g/L of extract), sparkling wine (12.5 % vol, 10 g/L) and sea water, within two of our ±."""
    drinks = "Liger-Belair & Cilindre, ACS Omega 6 (2021) 9672, Table 1, doi:10.1021/acsomega.1c00256"
    for name, t, g_per_L_bar, made_of in (
        ("lager", 6.0, 2.4, {"ethanol_pct_vol": 5.0, "sugar_g_L": 40.0}),
        ("sparkling wine", 10.0, 2.1, {"ethanol_pct_vol": 12.5, "sugar_g_L": 10.0}),
    ):
        found = co2_vs_water(**made_of)
        measured = g_per_L_bar / (44.009 * co2_solubility(t, 1.0))
        digits = 0.05 / g_per_L_bar  # the measurements have two figures
        published.check(name, found, measured, 2 * found.std_dev + digits, source=drinks, verification="read")
    sea = co2_vs_water(salts_g_L=35.8)
    T = 2.9815
    published.check(
        "sea water of salinity 35 at 25 °C", sea, np.exp(35 * (0.027766 - 0.025888 * T + 0.0050578 * T**2)),
        2 * sea.std_dev, source="Weiss, Marine Chemistry 2 (1974) 203, salinity terms", verification="memory",
    )  # fmt: skip


def test_solubility_against_the_compilation(published):
    """Sander: 3.3e-4 to 3.4e-4 mol/(m3 Pa) at 25 °C."""
    found = co2_solubility(25.0, 1e-4) / 1e-4 / 1e5 * 1e3
    published.check("Hcp at 25 °C", found, 3.35e-4, 1e-5, reference="SANDER")


def test_a_litre_holds_a_gram_and_a_half(published):
    """1.5 g/L at 25 °C and 1.7 g/L at 20 °C under one atmosphere of CO2, to the digits of the handbooks."""
    for t, grams in [(25.0, 1.48), (20.0, 1.70)]:
        found = 44.009 * co2_solubility(t, STANDARD_ATMOSPHERE_BAR)
        published.check(
            f"g CO2 in a litre at {t:g} °C", found, grams, 0.02,
            source="handbook solubility tables: 1.45 to 1.50 g/L at 25 °C, 1.69 g/L at 20 °C", verification="memory",
        )  # fmt: skip


def test_second_virial_coefficient(published):
    """Weiss's cubic lies within 2 cm3/mol of the Span-Wagner equation, 0 to 45 °C."""
    for t in (0.0, 10.0, 20.0, 25.0, 30.0, 45.0):
        T = t + ZERO_CELSIUS_K
        other = 1000 * coolprop.PropsSI("BVIRIAL", "T", T, "Dmolar", 1e-6, "CO2")
        published.check(
            f"B at {t} °C, L/mol", co2_second_virial(t), other, 0.002,
            source="Span & Wagner 1996 in CoolProp", verification="computed",
        )  # fmt: skip


def test_compressibility(published):
    """Span & Wagner's Z: what the neglected third virial coefficient leaves is below 0.011 % of p² in bar².

    The third virial term is C (p/RT)², C about 4900 cm6/mol2, so 8e-6 per bar²; the rest is B.
    """
    entry = published.entries["CO2-Z"]
    for t in (20, 25, 30):
        for p, value in zip(entry["inputs"]["p_bar"], entry["expected"][f"{t}C"], strict=True):
            left_out = 4.9e-3 * (p / (L_BAR_GAS_CONSTANT * (t + ZERO_CELSIUS_K))) ** 2
            found = co2_compressibility(float(t), p)
            published.check(f"Z at {t} °C, {p} bar", found + left_out, value, 5e-5 * p, reference="CO2-Z")


def test_carbonic_acid_constants(published):
    """pK1 = 6.35 and pK2 = 10.33 at 25 °C: read off the factor itself."""
    pK1 = 6.0 - np.log10(bicarbonate_factor(2.0, 25.0) - 1.0) - 4.0
    published.check(
        "pK1 at 25 °C", pK1, 6.352, 0.003, source="Harned & Davis 1943: 6.352 at 25 °C", verification="memory"
    )
    total, first = bicarbonate_factor(9.0, 25.0), 10.0 ** (9.0 - pK1)
    pK2 = 9.0 - np.log10((total - 1.0 - first) / first)
    published.check(
        "pK2 at 25 °C",
        pK2,
        10.329,
        0.003,
        source="Harned & Scholes 1941: 10.329 at 25 °C",
        verification="memory",
    )
    for t, value in [(0.0, 6.579), (10.0, 6.464), (20.0, 6.381), (30.0, 6.327), (40.0, 6.298)]:
        found = 2.0 - np.log10(bicarbonate_factor(2.0, t) - 1.0)
        published.check(
            f"pK1 at {t:g} °C",
            found,
            value,
            0.005,
            source="Harned & Davis 1943, Table III",
            verification="memory",
        )


def test_sucrose_solutions(published):
    """Laliberté's own values, and NBS Circular 440 as a second source."""
    entry = published.entries["SUC-RHO"]["expected"]
    for percent, own, nbs in zip(entry["w%"], entry["rho_Laliberte"], entry["NBS_C440"], strict=True):
        found = sucrose_density(percent / 100, 20.0)
        published.check(f"{percent} % sucrose", found, own, 0.02, reference="SUC-RHO")
        if nbs:
            published.check(f"{percent} % sucrose, NBS C440", found, nbs, 0.1, reference="SUC-RHO")

