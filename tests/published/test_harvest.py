"""The harvest against published facts, reference fits and closed-form cases."""

import math

import numpy as np
import pytest

from fermkit import drying_curve, hold_log, protein, solids
from fermkit.basis.cautions import HOT_HOLDING_LIMIT_C
from fermkit.basis.written import nominal, uncertainty
from fermkit.harvest.autolysis import autolysis
from fermkit.harvest.hold import AUTOLYSIS_WINDOW_C
from fermkit.harvest.keeping import GROWERS, keeping, salt_water_activity
from fermkit.harvest.recovery import DETECTED, NITROGEN_FACTORS
from fermkit.harvest.washing import Poured, as_kcl, washing


def test_moisture_arithmetic(published):
    """100 g at 75 % dried to 8 %: what it weighs and what water left; 75 % wet basis is 3.0 dry basis."""
    entry = published.entries["DRYMATTER"]
    given, expected = entry["inputs"], entry["expected"]
    sample = solids(0.0, given["wet_g"], given["wet_g"] * (1 - given["w0"]))
    dried = sample.weight_at(given["w1"])
    published.check("dried, g", dried, expected["dried_g"], 1e-6, reference="DRYMATTER")
    published.check("water removed, g", sample.wet_g - dried, expected["water_removed"], 1e-6, reference="DRYMATTER")
    published.check("moisture, dry basis", sample.moisture_dry_basis, 3.0, 1e-12, reference="DRYMATTER")


def test_page_curve_against_a_reference_fit(published):
    """Page's curve is a Weibull decay: R's SSweibull fit of a chick's growth, turned upside down (weight = 200 − y).

    Parameters to 2e-5, standard errors to 1e-4, as R prints them.
    """
    entry = published.entries["R-Chick6"]
    x, y = (np.array(entry["inputs"][key], dtype=float) for key in "xy")
    want, se = entry["expected"]["params"], entry["expected"]["se"]
    found = drying_curve(x, 200.0 - y, model="page", began_h=0.0)
    k, n = math.exp(want["lrc"]), want["pwr"]
    for name, value, expected in (
        ("end", 200.0 - found.end_g, want["Asym"]),
        ("drop", found.start_g - found.end_g, want["Drop"]),
        ("k", found.k, k),
        ("n", found.n, n),
    ):
        published.check(f"Page: {name}", value, expected, 1e-4 * expected, reference="R-Chick6")
    for name, value, expected in (
        ("end", found.end_g, se["Asym"]),
        ("drop", found.start_g - found.end_g, se["Drop"]),
        ("k", found.k, k * se["lrc"]),
        ("n", found.n, se["pwr"]),
    ):
        published.check(f"Page: u of {name}", uncertainty(value), expected, 1e-3 * expected, reference="R-Chick6")
    rss = found.scatter_g**2 * found.degrees_of_freedom
    published.check("Page: residual sum of squares", rss, entry["expected"]["rss"], 1e-6, reference="R-Chick6")


def test_henderson_pabis_curve_against_a_reference_fit(published):
    """A plain exponential to rest: R's SSasymp fit of a pine's height, turned upside down."""
    entry = published.entries["R-Loblolly"]
    data = entry["inputs"]["seed301"]
    found = drying_curve(data["x"], 200.0 - np.array(data["y"]), model="henderson_pabis", began_h=0.0)
    asymptote, start, lrc = entry["expected"]["params"]["301"]
    u_asymptote, u_start, u_lrc = entry["expected"]["se"]["301"]
    k = math.exp(lrc)
    for name, value, expected, u in (
        ("end", 200.0 - found.end_g, asymptote, u_asymptote),
        ("start", 200.0 - found.start_g, start, u_start),
        ("k", found.k, k, k * u_lrc),
    ):
        published.check(f"H–P: {name}", value, expected, 1e-4 * abs(expected), reference="R-Loblolly")
        published.check(f"H–P: u of {name}", uncertainty(value), u, 1e-3 * u, reference="R-Loblolly")
    rss = found.scatter_g**2 * found.degrees_of_freedom
    published.check("H–P: residual sum of squares", rss, entry["expected"]["rss"]["301"], 1e-6, reference="R-Loblolly")


def test_the_autolysis_window(published):
    """The window spans the temperatures that were tried, and a day at the best of them is a day inside."""
    entry = published.entries["AUTOLYSIS"]
    tried = entry["inputs"]["T"]
    published.check("window, low", AUTOLYSIS_WINDOW_C[0], min(tried), 0.0, reference="AUTOLYSIS")
    published.check("window, high", AUTOLYSIS_WINDOW_C[1], max(tried), 0.0, reference="AUTOLYSIS")
    best_C, hours = (float(word.split()[0]) for word in entry["expected"]["optimum"].split(","))
    day = hold_log(np.linspace(0, hours, 49), np.full(49, best_C))
    published.check("hours inside", day.inside_h, hours, 1e-9, reference="AUTOLYSIS")
    assert day.bacteria_h == pytest.approx(hours)


def test_the_hot_holding_limit(published):
    """135 °F is the 57 °C of the code."""
    published.check(
        "hot holding, °C",
        HOT_HOLDING_LIMIT_C,
        (135 - 32) / 1.8,
        0.5,
        source="US Food Code 3-501.16(A)(1), as adopted in WAC 246-215-03525 (2009): 135 °F (57 °C)",
        verification="read",
    )


def test_nitrogen_factors(published):
    """The general factor; yeast's true protein inside its printed range; crude protein's ± reaches down to it."""
    expected = published.entries["N-FACTOR"]["expected"]
    crude = protein(1.0).protein_g
    published.check("factor, general", nominal(crude), expected["general"], 1e-9, reference="N-FACTOR")
    assert abs(NITROGEN_FACTORS["yeast, true protein"][0] - nominal(crude)) < 2 * uncertainty(crude)
    low, high = (float(x) for x in expected["yeast_true_protein"].split(" ")[0].split("-"))
    value, u = NITROGEN_FACTORS["yeast, true protein"]
    published.check("yeast's factor, middle", value, (low + high) / 2, 1e-9, reference="N-FACTOR")
    published.check("yeast's factor, u of the range", u, (high - low) / 2 / math.sqrt(3), 1e-9, reference="N-FACTOR")


def test_active_dry_yeast(published):
    """40.44 g protein with the general factor is 6.47 g nitrogen in 100 g."""
    entry = published.entries["USDA-ADY"]
    found = protein(6.47, "general")
    published.check(
        "protein of active dry yeast, g", found.protein_g, entry["expected"]["protein"], 0.03, reference="USDA-ADY"
    )
    sample = solids(0.0, 100.0, 100.0 - entry["expected"]["water"])
    published.check("its solids, %", 100 * sample.solids_fraction, 95.0, 0.1, reference="USDA-ADY")


def test_the_detection_factor(published):
    """z(0.975) + z(0.95), from the normal quantiles of another library."""
    from statistics import NormalDist

    z = NormalDist().inv_cdf
    published.check(
        "detection factor", DETECTED, z(0.975) + z(0.95), 5e-4, source="normal quantiles", verification="computed"
    )


def test_a_gap_of_that_size_is_found(published):
    """By simulation: a gap of DETECTED standard uncertainties is called in 95 of 100 runs."""
    rng = np.random.default_rng(12)
    called = np.mean(np.abs(DETECTED + rng.normal(size=200_000)) > 1.96)
    published.check("power at the detection limit", called, 0.95, 0.003, source="simulation", verification="computed")


# Conductivity of potassium chloride at 25 °C [mS/cm], 0.01, 0.1 and 1 mol in a kilogram of water, and the same in mol/L
# with the densities 0.9975, 1.0017 and 1.0413 kg/L
NIST_KCL = {0.009968: 1.40823, 0.09943: 12.8246, 0.9691: 108.620}


@pytest.mark.parametrize(("mol_L", "mS_cm"), NIST_KCL.items())
def test_salt_by_conductivity(published, mol_L, mS_cm):
    """The solutions that cells are calibrated with."""
    published.check(
        f"KCl that conducts {mS_cm:g} mS/cm, mol/L", as_kcl(mS_cm), mol_L, 0.006 * mol_L,
        source="Pratt et al., Pure Appl. Chem. 73 (2001) 1783, as tabulated in the CRC Handbook (NIST)",
        verification="read",
    )  # fmt: skip


def test_washing_by_dilution(published):
    """Three equal washes of a cake: what is left is (1/(1 + r))³, as in any text on leaching by stages."""
    found = washing(100.0, 0.1, washes=[Poured(f"wash {i}", 0.2) for i in range(3)])
    published.check(
        "left of 100 g/L after three washes with twice the liquid, g/L", found.mixed_g_L, 100.0 / 27.0, 1e-9,
        source="cross-current washing by stages (mass balance)", verification="computed",
    )  # fmt: skip


@pytest.mark.parametrize("name", ["NIST-Misra1a", "NIST-BoxBOD"])
def test_first_order_rise_to_certified_values(published, name):
    """Rate, end and misfit of a rise from nothing, y = b1 (1 − e^(−b2 x)), to six digits."""
    entry = published.entries[name]
    x, y = (np.array(entry["inputs"][key]) for key in "xy")
    end, rate = entry["expected"]["params"]
    found = autolysis(x, y, 1.0, start=0.0)
    for what, ours, theirs in (("rate", found.rate_h, rate), ("end", found.end, end)):
        published.check(f"{name}, {what}", ours, theirs, 1e-6 * theirs, reference=name)
    left, squares = np.sum((y - found.end * (1 - np.exp(-found.rate_h * x))) ** 2), entry["expected"]["rss"]
    published.check(f"{name}, squares left", left, squares, 1e-6 * squares, reference=name)


# Osmotic coefficients of sodium chloride at 25 °C, by mol in a kilogram of water
OSMOTIC_NACL = {0.5: 0.9209, 1.0: 0.9355, 2.0: 0.9833, 3.0: 1.0453, 4.0: 1.1158, 5.0: 1.1916, 6.0: 1.2706}


@pytest.mark.parametrize(("molal", "phi"), OSMOTIC_NACL.items())
def test_water_activity_of_brine(published, molal, phi):
    """Against the table that water-activity meters are checked with."""
    published.check(
        f"water activity of {molal:g} mol/kg salt", salt_water_activity(molal),
        math.exp(-2 * molal * phi * 0.018015), 6e-4,
        source="Robinson & Stokes, Electrolyte Solutions, appendix 8.10", verification="memory",
    )  # fmt: skip


def test_water_activity_of_saturated_brine(published):
    """A jar of wet salt, which fixes 75.3 % of humidity."""
    published.check(
        "water activity over wet salt, 25 °C", keeping(water=0.4, salt=0.6).water_activity, 0.7529, 0.003,
        source="Greenspan, J. Res. NBS 81A (1977) 89: 75.29 ± 0.12 %", verification="memory",
    )  # fmt: skip


def test_growth_begins_no_higher_than_published(published):
    """No organism is held to need more water than the tables say that it needs."""
    tables = {
        "FDA, Bad Bug Book (1992), factors affecting growth": {
            "Salmonella": 0.941, "Escherichia coli": 0.935, "Clostridium botulinum": 0.93,
            "Clostridium perfringens": 0.93, "Bacillus cereus": 0.95, "Staphylococcus aureus": 0.86,
        },
        "US Agricultural Research Service, pH and water activity guide": {
            "Salmonella": 0.94, "Escherichia coli": 0.95, "Staphylococcus aureus": 0.83,
        },
        "Beuchat, Cereal Foods World 26 (1981) 345": {
            "most yeasts": 0.87, "most moulds": 0.80, "bacteria that love salt": 0.75, "moulds of dry food": 0.65,
            "yeasts of syrups": 0.60,
        },
    }  # fmt: skip
    for source, least in tables.items():
        for name, value in least.items():
            ours = next(one.least for one in GROWERS if one.name.startswith(name))
            published.check(f"grows from, {name}", ours, min(ours, value), 1e-12, source=source, verification="read")
