"""Balances held to textbooks: stoichiometry, reconciliation, chi-square, and worked exercises found in print."""

import numpy as np
import pytest
from uncertainties import ufloat

from fermkit.balance.account import Balance
from fermkit.balance.reconciliation import Verdict
from fermkit.balance.redundancy import chi_square, redundancy, weights
from fermkit.matter.composition import degree_of_reduction

READ_IN_PRINT = "read"


def tight(amount):
    """An amount known to a ten-thousandth: textbook numbers carry no ±."""
    return ufloat(amount, max(abs(amount), 1e-3) * 1e-4)


def solved(streams, **options):
    """Unknown amounts of a textbook reaction, from the balances."""
    given = {name: None if amount is None else tight(amount) for name, amount in streams.items()}
    return Balance(given, priors="none", **options)


def test_electron_content_of_the_streams(published):
    """Roels' degree of reduction, per carbon, as it enters the electron balance."""
    names = {"acetic": "acetic acid", "lactic": "lactic acid", "succinic": "succinic acid", "CH18O05N02": "biomass",
             "NH3": "ammonia", "H2O": "water"}  # fmt: skip
    for short, gamma in published.entries["GAMMA"]["expected"].items():
        if short == "O2_per_mol":
            continue
        name = names.get(short, short)
        published.check(f"degree of reduction of {name}", degree_of_reduction(name), gamma, 5e-5, reference="GAMMA")
    bal = Balance({"glucose": -ufloat(1, 0.1), "O2": -ufloat(1, 0.1), "CO2": ufloat(1, 0.1)}, unit="mol", priors="none")
    oxygen = next(s for s in bal.listed if s.name == "O2")
    published.check("electrons of O2", oxygen.content("ammonia")["electrons"], -4, 1e-9, reference="GAMMA")


@pytest.mark.parametrize("key", ["biomass_175", "biomass_173"])
def test_oxygen_for_growth_on_glycerol(published, key):
    """Doran, problem 4.14: 0.4 g cells (8 % ash) per g glycerol need about 0.7 g oxygen."""
    formula = {"biomass_175": "CH1.75O0.43N0.22", "biomass_173": "CH1.73O0.43N0.24"}[key]
    bal = solved({"glycerol": -1.0, formula: 0.4, "CO2": None}, aerated=True, ash={formula: 0.08})
    expected = published.entries["DORAN-4.14"]["expected"][key]["gO2_per_g"]
    published.check(f"g O2 per g glycerol, {formula}", -bal.reconcile()["O2"], expected, 0.005, reference="DORAN-4.14")


def test_aerobic_growth_on_glucose(published):
    """Shuler & Kargi, example 7.1: two thirds of the carbon to cells; oxygen, ammonia, water, CO2 from the balances."""
    cells = "C4.4H7.3N0.86O1.2"
    expected = published.entries["SHULER-7.1g"]["expected"]
    given = {"glucose": -1.0, cells: expected["c"], "O2": None, "ammonia": None, "water": None, "CO2": None}
    found = solved(given, unit="mol").reconcile()
    for name, key, sign in (("O2", "a", -1), ("ammonia", "b", -1), ("water", "d", 1), ("CO2", "e", 1)):
        published.check(f"mol {name} per mol glucose", sign * found[name], expected[key], 1e-4, reference="SHULER-7.1g")
    published.check("respiratory quotient", -found["CO2"] / found["O2"], expected["RQ"], 5e-4, reference="SHULER-7.1g")


def test_reconciliation_of_flows(published):
    """Narasimhan & Jordache, example 1-1: heat exchanger with bypass, all six flows and the global test."""
    entry = published.entries["NJ-HX"]
    A, y, V = np.array(entry["inputs"]["A"], float), np.array(entry["inputs"]["y"]), np.eye(6)
    R = redundancy(A, np.zeros((4, 0))).R
    correction, inverse = weights(R, V)
    for i, (found, expected) in enumerate(zip(correction @ y, entry["expected"]["x"]), start=1):
        published.check(f"reconciled flow {i}", found, expected, 0.006, reference="NJ-HX")
    published.check(
        "global test", float(chi_square(y, R, inverse)), entry["expected"]["gamma"], 0.0005, reference="NJ-HX"
    )
    assert R.shape[0] == 4


def test_least_squares_rates_of_aerobic_yeast(published):
    """Villadsen, Nielsen & Liden, examples 3.10-3.12: the printed rates close, and the test accepts them."""
    entry = published.entries["VILL-3.11"]
    names = ("CH2O", "O2", "CO2", "CH1.83O0.56N0.17")
    rates = dict(zip(names, entry["expected"]["q_LS"]))
    bal = Balance({n: ufloat(r, 0.05 * abs(r)) for n, r in rates.items()}, unit="mol", priors="none", aerated=True)
    found = bal.reconcile()
    assert found.degrees_of_freedom == entry["inputs"]["dof"]
    for name, rate in rates.items():
        published.check(f"rate of {name}", found[name], rate, 0.001, reference="VILL-3.11")
    assert entry["expected"]["h_Ex3_12"] < entry["expected"]["chi2_table"]["2"][3]
    assert found.verdict is Verdict.AGREE


def test_the_test_is_chi_square_of_the_rank(published):
    """Wang & Stephanopoulos 1983: h = e'P^-1 e has mean equal to the rank of the redundant balances."""
    bal = Balance(
        {"glucose": -ufloat(100, 2), "ethanol": ufloat(45, 1), "CO2": ufloat(44, 1), "biomass": ufloat(8, 0.5)},
        priors="none",
    )
    x, V = bal._numbers
    R = bal._redundancy.R
    correction, inverse = weights(R, V)
    draws = np.random.default_rng(0).multivariate_normal(correction @ x, V, 40_000)
    h = chi_square(draws, R, inverse)
    published.check("mean of h", h.mean(), R.shape[0], 0.05, reference="WS-1983")
    published.check("variance of h", h.var(), 2 * R.shape[0], 0.25, reference="WS-1983")


def test_chi_square_verdicts_at_tabulated_quantiles(published):
    """A misfit at the tabulated quantile has the tabulated probability."""
    from scipy.special import chdtrc, chdtri

    table = published.entries["CHI2"]
    for df, row in table["expected"].items():
        for p, quantile in zip(table["inputs"]["p"], row):
            published.check(f"chi2({df}) at {p}", float(chdtri(int(df), 1 - p)), quantile, 6e-5, reference="CHI2")
            assert float(chdtrc(int(df), quantile)) == pytest.approx(1 - p, abs=2e-5)
    for df, row in published.entries["VILL-3.11"]["expected"]["chi2_table"].items():
        for p, quantile in zip((0.5, 0.75, 0.9, 0.95, 0.975, 0.99), row):
            tolerance = 0.05 if quantile > 11 else 0.011
            published.check(
                f"chi2({df}) at {p}, book", float(chdtri(int(df), 1 - p)), quantile, tolerance, reference="VILL-3.11"
            )


def test_growth_on_oxalate_closes_its_carbon(published):
    """Heijnen 1999, example 2: 11.6 C-mol in, 11.5 out: the carbon closes."""
    given = {"C2H2O4": -ufloat(5.8, 0.1), "biomass": ufloat(1.0, 0.05), "CO2": ufloat(10.5, 0.2), "O2": None}
    bal = Balance(given, unit="mol", priors="none")
    expected = published.entries["HEIJNEN-ox"]["expected"]
    closure = bal.closure()["carbon"]
    published.check("carbon out over in", closure, expected["C_out"] / expected["C_in"], 1e-4, reference="HEIJNEN-ox")
    assert bal.reconcile().p_value > 0.05


@pytest.mark.parametrize("sugar", ["glucose", "sucrose"])
def test_theoretical_yields(published, sugar):
    """Without growth the balances allow no more than Gay-Lussac's ethanol and CO2."""
    expected = published.entries["YIELD-TH"]["expected"]
    found = solved({sugar: -1.0, "ethanol": None, "CO2": None}).reconcile()
    for name, short in (("ethanol", "EtOH"), ("CO2", "CO2")):
        published.check(
            f"g {name} per g {sugar}", found[name], expected[f"{short}_per_{sugar}"], 1e-5, reference="YIELD-TH"
        )


def test_bakers_yeast_reaction_closes_all_elements(published):
    """A printed reaction of baker's yeast closes carbon, electrons, nitrogen and hydrogen; oxygen follows."""
    source = (
        "Exercise on baker's yeast, C6H12O6 + 3 O2 + 0.48 NH3 -> 0.48 C6H10NO3 + 4.32 H2O + 3.12 CO2, "
        "numerade.com, question 14992 (from a bioprocess engineering textbook)"
    )
    given = {"glucose": -1.0, "O2": -3.0, "ammonia": -0.48, "C6H10NO3": 0.48, "water": 4.32, "CO2": 3.12}
    bal = solved(given, unit="mol")
    closure = bal.closure()
    for name in ("carbon", "nitrogen", "hydrogen"):
        published.check(f"{name} out over in", closure[name], 1.0, 1e-6, source=source, verification=READ_IN_PRINT)
    assert bal.reconcile().p_value > 0.999
    from_three = solved(
        {"glucose": -1.0, "O2": -3.0, "ammonia": None, "C6H10NO3": 0.48, "water": None, "CO2": None}, unit="mol"
    ).reconcile()
    for name, printed in (("CO2", 3.12), ("water", 4.32), ("ammonia", -0.48)):
        published.check(f"mol {name}", from_three[name], printed, 1e-3, source=source, verification=READ_IN_PRINT)


def test_carbon_in_the_printed_mode(published):
    """A published reaction of fermentative growth closes its carbon, and its ethanol yield is the printed 0.36 g/g."""
    source = (
        "Trinh, Unrean & Srienc, Appl. Environ. Microbiol. 74 (2008) 3634, Table 3: "
        "1 glucose + 0.49 NH3 = 1.79 biomass + 1.40 ethanol + 0.11 formate + 1.30 CO2; 0.36 g/g"
    )
    bal = solved({"glucose": -1.0, "biomass": 1.79, "CH2O2": 0.11, "ethanol": 1.40, "CO2": 1.30}, unit="mol")
    published.check("carbon", bal.closure()["carbon"], 1.0, 0.003, source=source, verification=READ_IN_PRINT)
    grams = 1.40 * bal.listed[3].made_of.molar_mass / bal.listed[0].made_of.molar_mass
    published.check("g ethanol per g glucose", grams, 0.36, 0.005, source=source, verification=READ_IN_PRINT)


def test_unknown_products_are_detected(published):
    """Doran, problem 'detecting unknown products': 0.37 g cells and 0.88 g O2 per g cells leave electrons over."""
    source = "P. Doran, Bioprocess Engineering Principles, problem 4.11 (text read); closure computed by hand here"
    oxygen = 0.88 * 0.37
    bal = Balance(
        {
            "glucose": -ufloat(1, 0.02),
            "CH1.79O0.56N0.17": ufloat(0.37, 0.01),
            "O2": -ufloat(oxygen, 0.01),
            "CO2": None,
        },
        priors="none",
        ash=0.0,
    )
    per_carbon, mass = 4 + 1.79 - 2 * 0.56 - 3 * 0.17, 12.011 + 1.79 * 1.008 + 0.56 * 15.999 + 0.17 * 14.007
    by_hand = (0.37 / mass * per_carbon + 4 * oxygen / 31.998) / (24 / 180.156)
    published.check("electrons", bal.closure()["electrons"], by_hand, 1e-4, source=source, verification="computed")
    assert bal.reconcile().verdict is Verdict.DISAGREE
    assert bal.closure()["electrons"].n < 0.8
    more = Balance({**bal.streams, "glycerol": None}, priors="none", ash=0.0).reconcile()["glycerol"]
    assert more.n > 1.96 * more.s


def test_pasteurs_products_close_on_hexose(published):
    """Pasteur's 1860 products add up to 100 g, not to the 105 g that 100 g cane sugar give: the basis slip shows."""
    products = published.entries["PASTEUR"]["expected"]
    given = {
        "ethanol": products["ethanol"],
        "CO2": products["CO2"],
        "glycerol": products["glycerol"],
        "succinic acid": products["succinic"],
        "biomass": products["yeast_etc"],
    }
    as_sucrose = solved({"sucrose": -100.0, **given}).closure()
    as_hexose = solved({"hexose": -100.0, **given}).closure()
    for name in ("carbon", "electrons"):
        published.check(f"{name}, per 100 g hexose", as_hexose[name], 1.0, 0.01, reference="PASTEUR")
        published.check(f"{name}, per 100 g sucrose", as_sucrose[name], 100.1 / 105.3, 0.01, reference="PASTEUR")
