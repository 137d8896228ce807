"""Gas held to numbers from outside: dry gas, real CO2, its store in the liquid, ethanol carried out."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

import fermkit as fk
from fermkit.matter.alcohol import ethanol_molar_concentration

CO2_G_PER_MOL = 44.0095  # CIAAW, as CoolProp's
SPAN_WAGNER = "Span & Wagner 1996 in CoolProp"


def one_litre(**conditions):
    """CO2 in one litre of collected gas [mol]."""
    return fk.gas_from_volume([0, 1], [0.0, 1000.0], loss_to_water=(0, 0), **conditions).co2_mol[-1]


def test_wet_gas_over_water(published):
    """One litre over water at 25 °C and 1 atm, taken to dry gas, ideal."""
    entry = published.entries["WETGAS"]["expected"]
    found = one_litre(temperature_C=25.0, pressure_bar=1.01325, gas="ideal")
    published.check("dry gas in a wet litre [mol]", found, entry["n_dry"], 1e-4 * entry["n_dry"], reference="WETGAS")
    published.check(
        "the same at 0 °C and 1 atm [mL]", found * 22413.97, entry["V_STP_mL"], 1e-4 * 887, reference="WETGAS"
    )
    dry = one_litre(temperature_C=25.0, pressure_bar=1.01325, gas="ideal", wet=False)
    published.check("if the vapour is ignored [mol]", dry, entry["n_if_vapour_ignored"], 5e-6, reference="WETGAS")
    published.check("the error of that [%]", 100 * (dry / found - 1), entry["error_pct"], 0.01, reference="WETGAS")


@pytest.mark.parametrize(
    ("key", "t_C", "bar"),
    [
        ("Vm_0C_101325", 0.0, 1.01325),
        ("Vm_0C_100kPa", 0.0, 1.0),
        ("Vm_20C_101325", 20.0, 1.01325),
        ("Vm_25C_101325", 25.0, 1.01325),
        ("Vm_30C_101325", 30.0, 1.01325),
    ],
)
def test_molar_volumes(published, key, t_C, bar):
    """The ideal molar volumes that follow from the gas constant."""
    found = 1 / one_litre(temperature_C=t_C, pressure_bar=bar, gas="ideal", wet=False)
    expected = published.entries["CODATA"]["expected"][key]
    published.check(f"molar volume, {key} [L/mol]", found, expected, 1e-6, reference="CODATA")


@pytest.mark.parametrize("gas", ["real", "ideal"])
def test_a_volume_of_co2_in_grams(published, gas):
    """One volume of CO2 is 1.977 g/L as a real gas and 1.963 as an ideal one, at 0 °C and 1 atm."""
    found = one_litre(temperature_C=0.0, pressure_bar=1.01325, wet=False, gas=gas) * CO2_G_PER_MOL
    expected = published.entries["CO2-VOL"]["expected"][gas]
    published.check(f"a volume of CO2, {gas} [g/L]", found, expected, 2e-4, reference="CO2-VOL")


@pytest.mark.parametrize("t_C", [20.0, 25.0, 30.0])
@pytest.mark.parametrize("place", range(6))
def test_compressed_co2_in_the_headspace(published, t_C, place):
    """CO2 added to a sealed vessel, from its gauge pressure, against Z of the reference equation."""
    bar = published.entries["CO2-Z"]["inputs"]["p_bar"][place]
    z = published.entries["CO2-Z"]["expected"][f"{t_C:.0f}C"][place]
    curve = fk.gas_from_pressure(
        [0, 1, 2], [0.0, bar / 2, bar], headspace_L=1.0, liquid_L=1e-9, temperature_C=t_C, u_reading_bar=0.001,
        oxygen_used=(0, 0),
    )  # fmt: skip
    found = bar / (curve.co2_mol[-1] * 0.08314462618 * (t_C + 273.15))
    published.check(f"Z of CO2 at {t_C:g} °C, {bar:g} bar", found, z, 0.001, reference="CO2-Z")


@pytest.mark.parametrize(("t_C", "bar"), [(15.0, 0.95), (22.0, 1.0), (30.0, 1.03)])
def test_a_dry_litre_against_coolprop(published, t_C, bar):
    """Density of CO2 at the collector's conditions."""
    found = one_litre(temperature_C=t_C, pressure_bar=bar, wet=False) * CO2_G_PER_MOL
    expected = PropsSI("D", "T", t_C + 273.15, "P", bar * 1e5, "CO2")
    published.check(
        f"CO2 in a dry litre, {t_C:g} °C, {bar:g} bar [g]", found, expected, 1e-4 * expected,
        source=SPAN_WAGNER, verification="computed",
    )  # fmt: skip


def test_vapour_of_a_wet_litre_against_coolprop(published):
    """The share of water vapour in a wet litre at 30 °C."""
    wet, dry = (one_litre(temperature_C=30.0, pressure_bar=1.0, wet=word, gas="ideal") for word in (True, False))
    expected = PropsSI("P", "T", 303.15, "Q", 0, "Water") / 1e5
    published.check(
        "water vapour in a wet litre at 30 °C, share", 1 - wet / dry, expected, 1e-5,
        source="IAPWS-95 in CoolProp", verification="computed",
    )  # fmt: skip


def test_the_store_in_the_liquid(published):
    """CO2 in a litre at 25 °C under 1 bar of CO2, against the compiled Henry constants, which differ by 3 %."""
    curve = fk.gas_from_volume([0, 1], [0.0, 50_000.0], temperature_C=25.0, loss_to_water=(0, 0))
    bar = 1.0 + fk.water_vapour_pressure(25.0)
    made = fk.produced(
        curve, liquid_L=1.0, headspace_L=0.1, temperature_C=25.0, pressure_bar=bar, saturation=(1.0, 1.0),
        solubility_vs_water=1.0,
    )
    low, high = (published.entries["SANDER"]["expected"][key] * 1e5 / 1e3 for key in ("Hcp_mol_m3Pa", "alt"))
    published.check(
        "store of a litre at 25 °C and 1 bar CO2 [mol]", made.store_mol, (low + high) / 2, 0.0006, reference="SANDER"
    )


@pytest.mark.parametrize(("balling", "t_C", "pct_vol", "loss_pct"), [(21, 26.5, 12.3, 0.65), (5.5, 26.5, 2.9, 0.16)])
def test_ethanol_carried_out(published, balling, t_C, pct_vol, loss_pct):
    """Share of the alcohol that leaves with the CO2, against laboratory fermentations (spread of theirs: a fifth)."""
    liquid_L = 1.0
    ethanol = ethanol_molar_concentration(pct_vol) * liquid_L
    with_ethanol, without = (
        fk.gas_from_weight([0, 1], [1000.0, 1000.0 - 44.0 * ethanol], temperature_C=t_C, headspace_L=0.1,
                           ethanol_pct_vol=value, vapour=(1.0, 1.0)).co2_mol[-1]
        for value in (pct_vol, 0.0)
    )  # fmt: skip
    grams = (without - with_ethanol) * 44.8  # what the vapour weighs, CO2 with its water being 44.8 g/mol
    published.check(
        f"alcohol lost with the CO2, {balling}° Balling [%]", 100 * grams / 46.07 / ethanol, loss_pct, 0.2 * loss_pct,
        source="Zimmerman, Rossi & Wick, Am. J. Enol. Vitic. 15 (1964) 63: laboratory fermentations at 26.5 °C "
        "(abstract; alcohol from the Balling degrees by the usual 0.585 % vol each)",
        verification="read",
    )  # fmt: skip


def test_the_gas_of_a_known_sugar(published):
    """100 g of hexose gone to ethanol and CO2 on a scale: 48.86 g of CO2, by the stoichiometry of Gay-Lussac."""
    mol = 200 / 180.156
    steam, dry = 0.031698, 1.01325 - 0.031698
    room = 0.5 * dry / (0.08314462618 * 298.15)
    lost = 44.009 * mol - (44.009 - 28.97) * room * (1 - np.exp(-mol / room)) + mol * steam / dry * 18.015
    curve = fk.gas_from_weight([0, 1], [1500.0, 1500.0 - lost], temperature_C=25.0, headspace_L=0.5)
    expected = published.entries["YIELD-TH"]["expected"]["CO2_per_glucose"] * 100
    published.check("CO2 of 100 g of glucose, weighed [g]", curve.co2_mol[-1] * 44.009, expected, 0.01,
                    reference="YIELD-TH")  # fmt: skip
