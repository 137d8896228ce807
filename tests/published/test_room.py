"""CO2 of a room and in a liquid, held to ventilation standards, handbooks and the rule of a water laboratory."""

import numpy as np
import pytest

from fermkit.gas.dissolved import co2_shaken_out, co2_titrated
from fermkit.gas.room import BREATH_L_H, DANGER_PPM, DAY_PPM, SHORT_PPM, gas_from_room, steady_ppm


def test_ventilation_of_a_person(published):
    """0.31 L/min of CO2 from a person and 7.5 L/s of outdoor air: about 700 ppm above outdoors."""
    mol_h = 0.31 * 60 * 1.01325 / (0.0831446 * 298.15)
    found = steady_ppm(mol_h, 27.0, 1.0, 0.0)  # 27 m3/h are 7.5 L/s
    published.check("CO2 above outdoors for each person", found, 700, 15,
                    source="ASHRAE 62.1, informative appendix on CO2: 0.31 L/min, 7.5 L/s, 700 ppm",
                    verification="memory")  # fmt: skip
    source = "Persily & de Jonge, Indoor Air 27 (2017) 868: 0.0052 L/s is what earlier standards took"
    assert BREATH_L_H[0] < 0.0052 * 3600 < BREATH_L_H[1]
    published.check("a person's CO2", np.mean(BREATH_L_H), 0.0052 * 3600, 5, source=source, verification="memory")


@pytest.mark.parametrize(
    ("name", "ours", "theirs"), [("8 h", DAY_PPM, 5000), ("short", SHORT_PPM, 30_000), ("danger", DANGER_PPM, 40_000)]
)
def test_limits_for_people_at_work(published, name, ours, theirs):
    """As in the tables of the two agencies."""
    published.check(f"CO2 limit, {name}", ours, theirs, 0,
                    source="OSHA 29 CFR 1910.1000 table Z-1; NIOSH Pocket Guide to Chemical Hazards, carbon dioxide",
                    verification="read")  # fmt: skip


def test_a_decay_leaves_nothing_to_find(published):
    """Air changes by tracer decay: after the source ends CO2 falls as exp(−k t), and by the balance none is made."""
    hours = np.arange(0, 12.01, 0.1)
    mol_ppm = 40 * 1000 * 1.01325 / (0.0831446 * 295.15) * 1e-6
    g, k = 0.3, 0.7  # mol/h for six hours, air changes 1/h: the textbook's solution of the two parts
    up = 420 + g / mol_ppm / k * (1 - np.exp(-k * np.minimum(hours, 6)))
    ppm = np.where(hours <= 6, up, 420 + (up[60] - 420) * np.exp(-k * (hours - 6)))
    found = gas_from_room(hours, ppm, room_m3=40.0, air_changes_per_h=k, outdoor_ppm=420.0, headspace_L=1e-3,
                          temperature_C=22.0)  # fmt: skip
    source = "ASTM E741 and D6245: dc/dt = g/V − k (c − c_out), solved in closed form"
    published.check("CO2 made in six hours", found.co2_mol[60], 1.8, 0.004, source=source, verification="computed")
    published.check("CO2 made afterwards", found.co2_mol[-1] - found.co2_mol[60], 0.0, 0.004, source=source,
                    verification="computed")  # fmt: skip


@pytest.mark.parametrize("air_mL", [20.0, 50.0])
def test_water_saturated_with_co2_gives_back_what_a_handbook_says_it_holds(published, air_mL):
    """Bunsen's 0.878 at 20 °C: 30 mL at 1 atm of CO2 shaken with air; the growth worked out with ideal gases alone."""
    bunsen, T, p = 0.878, 293.15, 1.01325 - 0.02339
    liquid_mol = bunsen / 22.414 * 30e-3  # at 1 atm of CO2
    K = bunsen / 22.414 / 1.01325  # mol/(L bar)
    grown = 1.0
    for _ in range(200):  # what is in gas and liquid adds up to what was there
        co2_bar = p * grown / (air_mL + grown)
        grown = (liquid_mol - K * 30e-3 * co2_bar) * 0.0831446 * T / p * 1000
    found = co2_shaken_out(30.0, air_mL, air_mL + grown, temperature_C=20.0, solubility_vs_water=1.0)
    published.check(f"CO2 of saturated water, shaken with {air_mL:g} mL", found, 44.009 * bunsen / 22.414, 0.02,
                    source="Lange's Handbook of Chemistry: CO2 in water at 20 °C, Bunsen's coefficient 0.878",
                    verification="memory")  # fmt: skip


def test_titration_by_the_rule_of_the_water_laboratory(published):
    """With 0.0227 mol/L of base and 100 mL of sample each millilitre is 10 mg/L of CO2."""
    found = 1000 * co2_titrated(7.0, 0.0227, 100.0, flat_mL=0.0)
    published.check("CO2 by titration [mg/L]", found, 7 * 0.0227 * 44_000 / 100, 0.05,
                    source="Standard Methods for the Examination of Water and Wastewater, 4500-CO2 C",
                    verification="memory")  # fmt: skip
