"""Short formulas beside a definition, a printed constant, or a library that does the same sum."""

from itertools import pairwise

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, fsolve
from uncertainties import covariance_matrix, ufloat
from uncertainties.umath import log

import fermkit as fk
from fermkit.basis.budget import budget_of
from fermkit.basis.written import nominal, uncertainty
from fermkit.batch.aeration import ethanol_carried_out, oxygen_transfer, water_carried_out
from fermkit.batch.plan import co2_held
from fermkit.calibration.density import hydrometer_density
from fermkit.calibration.drift import bracket
from fermkit.harvest.dry_matter import constant_weight
from fermkit.harvest.recovery import carried_solids, net_yeast
from fermkit.matter.alcohol import ethanol_pct_vol, ethanol_pct_vol_from_concentration
from fermkit.matter.ingredients import kitchen_measure, syrup
from fermkit.run.comparison import holm
from fermkit.run.yields import Yield


def test_alcohol_by_volume_from_mass(published):
    """OIML R 22 read the other way round: mass fraction and grams a litre back to % by volume."""
    table = published.entries["R22-vol20"]["expected"]
    for volume, mass, grams in zip(table["%vol"], table["%mass"], table["g_EtOH_per_L"]):
        published.check(f"% vol of {mass:g} % mass", ethanol_pct_vol(mass / 100), volume, 0.002, reference="R22-vol20")
        found = ethanol_pct_vol_from_concentration(grams)
        published.check(f"% vol of {grams:g} g/L", found, volume, 0.001, reference="R22-vol20")


def test_hydrometer_at_its_own_temperature(published):
    """Specific gravity times the density of water."""
    import CoolProp.CoolProp as cp

    water = cp.PropsSI("D", "T", 293.15, "P", 101325, "Water")
    found = hydrometer_density(1.040, temperature_C=20.0)
    published.check(
        "density at specific gravity 1.040 (20/20)", found, 1.040 * water, 0.02,
        source="definition of specific gravity; IAPWS-95 in CoolProp", verification="computed",
    )  # fmt: skip


def test_repeatability_limit_ends_a_drying(published):
    """The largest difference of two weighings that still agree is 2.77 standard deviations of one."""
    limit = brentq(lambda d: 0.5 - constant_weight([30.0 + d, 30.0], scale_u_g=0.01).agrees, 0.02, 0.05, xtol=1e-7)
    published.check(
        "difference that still agrees, over u", limit / 0.01, 2.77, 0.005,
        source="ISO 5725-6:1994, 4.1.4: repeatability limit 2.8 s (1.96 √2)", verification="memory",
    )  # fmt: skip


def two_days():
    """Standards of two days, invented."""
    rng = np.random.default_rng(11)
    content = np.tile([0.0, 1.0, 2.0, 3.0, 4.0, 5.0], 2)
    day = np.repeat(["first", "second"], 6)
    signal = 0.1 + 0.8 * content + np.where(day == "second", 0.02 * content, 0.0) + rng.normal(0, 0.02, 12)
    return content, signal, day


def test_one_line_for_two_days_by_regression_with_dummies(published):
    """F of one common line against two lines is that of nested linear models."""
    import pandas as pd
    import statsmodels.formula.api as smf
    from statsmodels.stats.anova import anova_lm

    content, signal, day = two_days()
    frame = pd.DataFrame({"x": content, "y": signal, "day": day})
    table = anova_lm(smf.ols("y ~ x", frame).fit(), smf.ols("y ~ x * C(day)", frame).fit())
    expected = {"F": table["F"].iloc[1], "p": table["Pr(>F)"].iloc[1]}
    halves = [fk.fit_calibration(content[day == name], signal[day == name]) for name in ("first", "second")]
    drift = bracket(*halves, time_before_h=0.0, time_after_h=2.0).drift
    for name, value in (("F", drift.statistic), ("p", drift.p)):
        published.check(
            f"one line before and after: {name}", value, expected[name], 1e-8 * max(1.0, expected[name]),
            source="statsmodels, anova_lm of nested linear models", verification="computed",
        )  # fmt: skip


def test_dilutions_together_by_generalised_least_squares(published):
    """The common content is the generalised least-squares mean in the metric of the relative errors."""
    import statsmodels.api as sm

    curve = fk.fit_calibration([0, 2, 4, 6, 8, 10, 12], [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7], unit="mV")
    signals, dilutions = [[21.2, 20.9], [11.4, 11.2], [6.5, 6.2]], [1, 2, 4]
    series = fk.dilution_series(curve, dilutions, signals)
    found = [curve.read(signal, dilution=dilution).value for signal, dilution in zip(signals, dilutions)]
    relative = np.array(covariance_matrix([log(x) for x in found]))
    fit = sm.GLS([nominal(x) for x in found], np.ones(3), sigma=relative).fit()
    published.check(
        "content of three dilutions together", series.value, fit.params[0], 1e-8,
        source="statsmodels, GLS with the same relative covariance", verification="computed",
    )  # fmt: skip


def test_robust_mean_solves_hubers_equations(published):
    """Mean and spread are the root of the two equations that Algorithm A iterates to."""
    values = np.array([5.01, 4.98, 5.03, 4.99, 5.06, 9.7, 4.2])

    def equations(p):
        clipped = np.clip((values - p[0]) / p[1], -1.5, 1.5)
        return [clipped.sum(), (clipped**2).sum() - clipped.sum() ** 2 / 7 - 6 / 1.134**2]

    middle, spread = fsolve(equations, [5.0, 0.05], xtol=1e-13)
    found, width = fk.robust_mean(values)
    source = "ISO 13528:2015, C.3, its fixed point by scipy's fsolve"
    published.check("robust mean", found, middle, 1e-8, source=source, verification="computed, memory")
    published.check("robust spread", width, spread, 1e-8, source=source, verification="computed, memory")


def test_flow_and_bubbles_count_moles(published):
    """10 mL/min of dry ideal gas at 0 °C and 1 atm for an hour is 600/22414 mol; so are 2,000 bubbles of 0.3 mL."""
    molar = 22.41396954
    at = {"temperature_C": 0.0, "wet": False, "gas": "ideal"}
    flow = fk.gas_from_flow([0.0, 0.5, 1.0], [10.0, 10.0, 10.0], **at)
    bubbles = fk.gas_from_bubbles([0.0, 0.5, 1.0], [0, 1000, 2000], mL_per_bubble=0.3, **at)
    for what, curve in (("an hour at 10 mL/min", flow), ("2000 bubbles of 0.3 mL", bubbles)):
        published.check(f"mol in {what}", curve.total(), 0.6 / molar, 1e-7, reference="CODATA")


def test_two_routes_by_the_normal_distribution(published):
    """The p-value of a difference between independent routes is that of a z-test."""
    from scipy.stats import norm

    weight = fk.gas_from_weight(
        [0, 10, 30], [1500.0, 1490.2, 1482.0], temperature_C=22.0, headspace_L=0.5, u_reading_g=0.1
    )
    volume = fk.gas_from_volume(
        [0, 10, 30], [0, 5000, 9600], temperature_C=22.0, volume_factor=ufloat(1, 0.02), loss_to_water=(0, 0)
    )
    found = fk.compare_routes(weight, volume)
    z = abs(nominal(weight.total()) - nominal(volume.total()))
    z /= np.hypot(uncertainty(weight.total()), uncertainty(volume.total()))
    published.check(
        "p of two routes", found.p, 2 * norm.sf(z), 1e-9, source="z-test, scipy.stats", verification="computed"
    )


def test_oxygen_transfer_of_clean_water(published):
    """kLa of 1/h brings a litre its own saturation each hour: 8.26 mg at 25 °C under moist air of 1 atm."""
    found = nominal(oxygen_transfer(1.0, temperature_C=25.0)) * 31.998
    published.check(
        "mg O2 brought to a litre in an hour", found, 8.263, 0.15,
        source="Benson & Krause 1984, oxygen in water under air at 25 °C", verification="memory",
    )  # fmt: skip


def test_vapour_carried_out(published):
    """Water: the density of saturated vapour; ethanol: the same balance integrated step by step."""
    import CoolProp.CoolProp as cp

    vapour = cp.PropsSI("D", "T", 298.15, "Q", 1, "Water")  # g/L, the same number as kg/m3
    found = nominal(water_carried_out(1.0, 25.0, dry_gas=True)) / 0.85
    published.check(
        "water in a litre of saturated gas [g]", found, vapour, 0.005 * vapour,
        source="IAPWS-95 in CoolProp, saturated vapour", verification="computed",
    )  # fmt: skip
    made, gas_L = 46.0, 720.0
    K = 0.85 / (190.0 * 0.0831446 * 298.15)
    end = solve_ivp(lambda s, e: made - K * gas_L * e, (0.0, 1.0), [0.0], rtol=1e-10).y[0, -1]
    published.check(
        "ethanol carried out [g]", ethanol_carried_out(made, 1.0, gas_L, 25.0), made - end, 0.03,
        source="balance of a stirred liquid integrated by scipy, Henry's constant 190 mol/(L bar) of Sander 2015",
        verification="computed, memory",
    )  # fmt: skip


def test_growth_rate_of_an_exact_exponential(published):
    """Cells that double every two hours have µ = ln 2/2."""
    t = np.arange(0.0, 14.0, 0.25)
    rate = fk.specific_growth_rate(t, 3.0 + 0.4 * 2 ** (t / 2) + 1e-3 * np.cos(37 * t))
    published.check(
        "µ of a doubling in 2 h [1/h]", rate.per_h, np.log(2) / 2, 3 * uncertainty(rate.per_h) + 1e-4,
        source="definition", verification="computed",
    )  # fmt: skip


def test_akaike_weights(published):
    """AICc differences between curves, and the weights they make, are those of the general formula."""
    from statsmodels.tools.eval_measures import aicc

    rng = np.random.default_rng(3)
    t = np.linspace(0, 48, 40)
    y = 600 / (1 + np.exp(4 * 40 / 600 * (8 - t) + 2)) + rng.normal(0, 6, t.size)
    found = fk.compare_curves(t, y, curves=["logistic", "gompertz"])
    n = t.size
    criteria = []
    for fit in found.fits:
        rss = float(fit.found.rss[0])
        criteria.append(aicc(-n / 2 * (np.log(2 * np.pi * rss / n) + 1), n, 4))
    shares = np.exp(-(np.array(criteria) - min(criteria)) / 2)
    source = "statsmodels, aicc; Burnham & Anderson 2002 for the weights"
    for (a, b), (c, d) in zip(pairwise(found.aicc), pairwise(criteria)):
        published.check("difference in AICc", b - a, d - c, 1e-6, source=source, verification="computed")
    for weight, share in zip(found.weight, shares / shares.sum()):
        published.check("Akaike weight", weight, share, 1e-9, source=source, verification="computed")


def test_many_curves_at_once_are_certified_too(published):
    """NIST's Rat42 among a thousand columns comes out as it does alone."""
    entry = published.entries["NIST-Rat42"]
    table = fk.fit_growth_many(entry["inputs"]["x"], np.tile(entry["inputs"]["y"], (3, 1)), curve="logistic")
    b1, b2, b3 = entry["expected"]["params"]
    for name, found, expected in (
        ("largest slope", table["max_rate"].iloc[1], b1 * b3 / 4),
        ("foot of the tangent", table["lag_h"].iloc[1], (b2 - 2 + 4 / (1 + np.exp(b2))) / b3),
    ):
        published.check(f"Rat42 among many: {name}", found, expected, 1e-6 * abs(expected), reference="NIST-Rat42")


def test_holm_by_another_library(published):
    """p-values of many comparisons, adjusted."""
    from statsmodels.stats.multitest import multipletests

    raw = [0.011, 0.02, 0.03, 0.2, 0.0004]
    for found, expected in zip(holm(raw), multipletests(raw, method="holm")[1]):
        published.check(
            "Holm's p", found, expected, 1e-12, source="statsmodels, multipletests", verification="computed"
        )


def test_store_of_an_open_liquid(published):
    """A litre under moist CO2 of 1 atm holds 0.95 of what IAPWS G7-04 gives water for the partial pressure left."""
    import CoolProp.CoolProp as cp
    import iapws

    kelvin = 298.15
    dry_MPa = (101325 - cp.PropsSI("P", "T", kelvin, "Q", 0, "Water")) / 1e6
    gas = cp.AbstractState("HEOS", "CO2")
    gas.update(cp.PT_INPUTS, dry_MPa * 1e6, kelvin)
    share = gas.fugacity_coefficient(0) * dry_MPa / iapws._iapws._Henry(kelvin, "CO2")
    found = co2_held(1.0, 25.0)
    published.check(
        "mol CO2 in a litre at 25 °C", found, 0.95 * share / (1 - share) * 997.05 / 18.015, 2e-4,
        source="iapws 1.5, G7-04; IAPWS-95 vapour pressure in CoolProp", verification="computed",
    )  # fmt: skip


def test_kitchen_measures_as_labels_have_them(published):
    """Teaspoon, tablespoon and cup of water."""
    for measure, mL in (("1 teaspoon", 5.0), ("1 tablespoon", 15.0), ("1 cup", 240.0)):
        found = kitchen_measure(measure, "water")
        published.check(
            f"{measure} of water [g]", found, mL * 0.9982, 0.003 * mL,
            source="US 21 CFR 101.9(b)(5)(viii): 5, 15 and 240 mL; water at 20 °C", verification="memory",
        )  # fmt: skip


def test_a_syrup_of_65_brix(published):
    """Hexose that a gram of it gives: its sucrose, with the water that this takes up."""
    expected = 0.65 * 2 * 180.156 / 342.297
    published.check("hexose of 65 °Brix", syrup("s", 65).hexose, expected, 1e-5, reference="MOLAR")


def test_dry_matter_adds_up(published):
    """Net yeast, solids carried along, and what is missing after the split: balances of dry matter worked by hand."""
    by_hand = {"source": "balance of dry matter, worked by hand", "verification": "computed"}
    carried = carried_solids(80.0, 2000.0, 50.0)
    published.check("solids carried along [g]", carried, 2.0, 1e-12, **by_hand)
    published.check("net dry yeast [g]", net_yeast(19.5, carried, 4.75).net_g, 12.75, 1e-12, **by_hand)
    split = fk.recovery(dry_yeast_g=20.0, extract_g=11.0, debris_g=7.5, losses_g=0.5, added_g=1.0)
    published.check("missing after the split [g]", split.missing_g, 2.0, 1e-12, **by_hand)


def test_four_inputs_added(published):
    """The sum of four numbers of unit uncertainty: u = 2, and 95 % within 3.92."""
    expected = published.entries["JCGM101-add"]["expected"]["gauss"]
    budget = budget_of(sum(ufloat(0.0, 1.0, tag=f"input {i}") for i in range(4)))
    published.check("u of a sum of four", uncertainty(budget.value), expected["u"], 1e-12, reference="JCGM101-add")
    high = Yield("x", "x", budget.value, None, 1.0, "").interval()[1]
    published.check("upper end, 95 %", high, expected["I95"][1], 0.001, reference="JCGM101-add")
