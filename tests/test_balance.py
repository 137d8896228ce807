"""Balances: closing, reconciling, bounding, explaining, and what they refuse."""

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats
from uncertainties import correlated_values, covariance_matrix, ufloat

import fermkit as fk
from fermkit.balance.account import Balance
from fermkit.balance.explanations import USUAL_YEAST_YIELD
from fermkit.balance.faults import (
    BYPRODUCT,
    CO2_LOST,
    DRY_SHARE,
    ETHANOL_LOST,
    HEXOSE_PER_SUCROSE,
    MISREAD,
    SOLIDS,
    SUGAR_LEFT,
    usual_faults,
)
from fermkit.balance.measurements import CANDIDATES, _information, _reading, gain
from fermkit.balance.ranking import rank
from fermkit.balance.redundancy import redundancy, weights
from fermkit.balance.streams import LinearMeasurement
from fermkit.basis.errors import BalanceError, InputError
from fermkit.basis.written import nominal
from fermkit.calibration.density import density_change
from fermkit.matter.composition import compound

KITCHEN = (0.02, 0.05, 0.03, 0.08)
LABORATORY = (0.005, 0.02, 0.01, 0.04)


def study_script():
    """The benchmark script, as a module."""
    path = Path(__file__).parent / "benchmarks" / "balance_study.py"
    spec = importlib.util.spec_from_file_location("balance_study", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def run(sugar=100.0, ethanol=45.636, co2=44.7, yeast=5.0, u=LABORATORY, **options):
    """A run that closes, unless an amount is changed."""
    amounts = (-sugar, ethanol, co2, yeast)
    names = ("glucose", "ethanol", "CO2", "yeast")
    return Balance({n: ufloat(v, abs(v) * r) for n, v, r in zip(names, amounts, u)}, **options)


def measured_glycerol(**options):
    """Five measured streams, no assumption about by-products."""
    return Balance(
        {
            "glucose": -ufloat(100, 1),
            "ethanol": ufloat(46.4, 0.9),
            "CO2": ufloat(44.1, 0.5),
            "biomass": ufloat(4.6, 0.3),
            "glycerol": ufloat(3.6, 0.2),
        },
        priors="none",
        **options,
    )


def residual(balance, amounts, row):
    """What a balance row leaves over for the given amounts."""
    return sum(
        float(amounts[s.name].n) * s.content("ammonia").get(row, 0.0) for s in balance.listed if s.name in amounts
    )


# closing ------------------------------------------------------------------------------------------------


def test_closure_is_what_comes_out_over_what_goes_in():
    """Carbon of ethanol, CO2, biomass and glycerol over that of the glucose, by hand."""
    out = 46.4 * 2 / 46.069 + 44.1 / 44.009 + 4.6 / 24.626 + 3.6 * 3 / 92.094
    assert measured_glycerol().closure()["carbon"].n == pytest.approx(out / (100 * 6 / 180.156), rel=1e-5)


def test_sucrose_and_its_hexose_close_alike():
    """100 g sucrose are 105.26 g hexose in every balance: the water of hydrolysis does not matter."""
    rest = {"ethanol": ufloat(48, 1), "CO2": ufloat(46, 1), "yeast": ufloat(5, 0.3)}
    one = Balance({"sucrose": -ufloat(100, 1), **rest}).closure()
    other = Balance({"hexose": -ufloat(100, 1) * HEXOSE_PER_SUCROSE, **rest}).closure()
    for name in ("carbon", "electrons"):
        assert one[name].n == pytest.approx(other[name].n, rel=1e-9)


def test_what_the_usual_byproducts_add_is_told_apart():
    """Beside the closure stands that of the measured streams alone, as it is without any by-product assumed."""
    alone = run(priors="none").closure()
    told = run().closure()
    for name in ("carbon", "electrons"):
        assert told.measured_only[name].n == pytest.approx(alone[name].n, rel=1e-12)
        assert told.measured_only[name].s == pytest.approx(alone[name].s, rel=1e-12)
        assert told[name].n > alone[name].n
    assert "measured streams alone" in str(told) and "measured streams alone" not in str(alone)


def test_closure_says_what_it_could_not_have_seen():
    """93 ± 9 % could not see a gap below about 25 %; 93 ± 1 % is a mistake somewhere."""

    def closure(u_sugar):
        streams = {"glucose": -ufloat(100, u_sugar), "ethanol": ufloat(44, 0.5), "CO2": ufloat(52.3, 0.3)}
        return Balance(streams, priors="none").closure()

    blind, sharp = closure(9.6), closure(0.5)
    assert blind["carbon"].n == pytest.approx(0.93, abs=0.005)
    assert blind["carbon"].s == pytest.approx(0.09, abs=0.002)
    assert "Carbon is found within its uncertainty; a gap below about 25 % could not have been seen." in str(blind)
    assert "Some carbon is missing, 7" in str(sharp) and "a mistake somewhere" in str(sharp)


def test_over_recovery_is_shown():
    """More carbon out than in is said with its size."""
    over = run(ethanol=56).closure()
    assert over["carbon"].n > 1
    assert "More carbon out than in" in str(over)


def test_water_and_nitrogen_are_left_out_or_used_as_listed():
    """Without water and nitrogen source two balances remain; with both listed the elements count, once each."""
    assert run().balances == ["carbon", "electrons"]
    full = Balance(
        {
            "glucose": -ufloat(1, 0.01),
            "O2": -ufloat(3, 0.03),
            "ammonia": -ufloat(0.48, 0.01),
            "C6H10NO3": ufloat(0.48, 0.01),
            "water": ufloat(4.32, 0.05),
            "CO2": ufloat(3.12, 0.03),
        },
        unit="mol",
    )
    assert full.balances == ["carbon", "electrons", "nitrogen", "hydrogen"]
    assert "Balance of carbon, electrons, nitrogen and hydrogen" in str(full)
    assert "not counted twice" in str(full)
    assert full.reconcile().degrees_of_freedom == 4


def test_elements_count_only_where_both_sides_are_listed():
    """Two phosphates that go in, with no phosphorus listed coming out, make no balance of phosphorus."""
    streams = {"glucose": -ufloat(100, 1), "ethanol": ufloat(45, 1), "CO2": ufloat(44, 1), "yeast": ufloat(5, 0.3)}
    feed = {"diammonium phosphate": -ufloat(1, 0.05), "monopotassium phosphate": -ufloat(1, 0.05)}
    assert Balance({**streams, **feed}).balances == ["carbon", "electrons", "nitrogen"]
    wet = Balance({**streams, "water": -ufloat(2, 1)})
    assert "hydrogen" not in wet.balances
    assert "Hydrogen is left out" in str(wet)


def test_streams_are_classified():
    """Measured streams are tested or not; unmeasured ones are found or not determined."""
    bal = Balance(
        {"glucose": -ufloat(100, 1), "ethanol": ufloat(45, 1), "CO2": None, "biomass": None, "acetic acid": None},
        priors="none",
    )
    assert bal.standing == {
        "glucose": "not tested",
        "ethanol": "not tested",
        "CO2": "not determined",
        "biomass": "not determined",
        "acetic acid": "not determined",
    }
    assert set(measured_glycerol().standing.values()) == {"tested"}
    assert "2 independent tests of the measurements." in str(measured_glycerol())
    assert "0 independent tests of the measurements." in str(bal)


def test_a_balance_written_twice_is_one_test():
    """Copies and sums of balances add nothing: as many tests, and the same correction."""
    A = np.array([[1.0, -1.0, -1.0, 0.0], [0.0, 1.0, 0.0, -1.0]])
    x, V, none = np.array([10.3, 6.1, 3.9, 5.8]), np.diag([0.1, 0.2, 0.1, 0.3]), np.zeros((2, 0))
    plain = redundancy(A, none).R
    for rows in (np.vstack([A, A[:1]]), np.vstack([A, A[0] + A[1], A[0] - A[1], 3 * A[1]])):
        more = redundancy(rows, np.zeros((len(rows), 0))).R
        assert more.shape == plain.shape
        assert weights(more, V)[0] @ x == pytest.approx(weights(plain, V)[0] @ x)


def test_units_do_not_matter():
    """The same run in grams, moles and mixed units gives the same test and the same amounts."""
    grams = measured_glycerol()
    moles = Balance(
        {name: amount / compound(name).molar_mass for name, amount in grams.streams.items()}, unit="mol", priors="none"
    )
    mixed = Balance(
        {
            **grams.streams,
            "CO2": grams.streams["CO2"] / 44.009,
            "ethanol": grams.streams["ethanol"] / 46.069 * 2,
            "glycerol": grams.streams["glycerol"] / compound("glycerol").molar_mass * 1000,
        },
        unit={"CO2": "mol", "ethanol": "C-mol", "glycerol": "mmol"},
        priors="none",
    )
    milli = Balance({name: a * 1000 for name, a in moles.streams.items()}, unit="mmol", priors="none")
    kilo = Balance({name: a / 1000 for name, a in grams.streams.items()}, unit="kg", priors="none")
    for other in (moles, mixed, milli, kilo):
        assert other.reconcile().chi2 == pytest.approx(grams.reconcile().chi2, rel=1e-9)
    usual = run()
    in_kg = Balance({name: a / 1000 for name, a in usual.streams.items()}, unit="kg")
    assert in_kg.reconcile().chi2 == pytest.approx(usual.reconcile().chi2, rel=1e-6, abs=1e-9)
    assert in_kg.explain().chance == pytest.approx(usual.explain().chance, rel=1e-6)
    assert mixed.reconcile()["CO2"].n * 44.009 == pytest.approx(grams.reconcile()["CO2"].n, rel=1e-9)


@pytest.mark.parametrize("unit", ["mol", "C-mol"])
def test_usual_byproducts_follow_in_any_unit(unit):
    """Yeast counted in moles of its carbon brings the same glycerol and the same test as its dry weight with ash."""
    weighed = run(ash=0.065)
    per = {n: compound(n).molar_mass / (compound(n).carbon if unit == "C-mol" else 1) for n in weighed.streams}
    per["yeast"] /= 1 - 0.065
    counted = Balance({n: a / per[n] for n, a in weighed.streams.items()}, unit=unit, ash=0.065)
    for name in ("glycerol", "organic acids"):
        assert counted.reconcile()[name].n == pytest.approx(weighed.reconcile()[name].n, rel=1e-9)
        assert counted.reconcile()[name].s == pytest.approx(weighed.reconcile()[name].s, rel=1e-9)
    assert counted.reconcile().chi2 == pytest.approx(weighed.reconcile().chi2, rel=1e-6, abs=1e-9)


def test_the_order_of_streams_does_not_matter():
    """Streams written in another order give the same correction."""
    one = measured_glycerol()
    turned = Balance(dict(reversed(one.streams.items())), priors="none")
    assert turned.reconcile()["ethanol"].n == pytest.approx(one.reconcile()["ethanol"].n, rel=1e-12)
    assert turned.reconcile().chi2 == pytest.approx(one.reconcile().chi2, rel=1e-12)


def test_ash_carries_no_carbon():
    """Yeast with 6.5 % ash holds as much carbon as 93.5 % of it without; its doubt widens the closure."""
    with_ash = run(priors="none").closure()["carbon"]
    without = run(yeast=5.0 * 0.935, ash=0.0, priors="none").closure()["carbon"]
    assert with_ash.n == pytest.approx(without.n, rel=1e-9)
    assert "6.5 % of it ash" in str(run())


@pytest.mark.parametrize(("nitrogen", "source"), [("ammonia", "NH3"), ("nitrogen gas", "N2"), ("nitrate", "HNO3")])
def test_the_nitrogen_source_brings_no_electrons(nitrogen, source):
    """That is how the reference of the electrons is defined, whichever source the yeast lives on."""
    bal = Balance({"glucose": -ufloat(1, 0.01), source: -ufloat(0.1, 0.01), "CO2": None}, unit="mol", nitrogen=nitrogen)
    electrons = {s.name: s.content(nitrogen)["electrons"] for s in bal.listed}
    assert electrons[source] == pytest.approx(0.0, abs=1e-12)
    assert electrons["glucose"] == pytest.approx(24.0)


def test_a_mixture_is_the_sum_of_its_parts():
    """Molasses with 33 % sucrose and 21 % hexose holds their carbon; the doubt about the shares counts."""
    rest = {"ethanol": ufloat(25, 0.5), "CO2": ufloat(24, 0.5), "yeast": ufloat(3, 0.2)}
    parts = {"sucrose": ufloat(0.33, 0.01), "hexose": 0.21}
    mixed = Balance({"molasses": -ufloat(100, 0.1), **rest}, of={"molasses": parts})
    single = Balance({"sucrose": -ufloat(33, 0.1), "hexose": -ufloat(21, 0.1), **rest})
    assert mixed.closure()["carbon"].n == pytest.approx(single.closure()["carbon"].n, rel=1e-9)
    carbon = {name: compound(name).carbon / compound(name).molar_mass for name in parts}
    whole = 0.33 * carbon["sucrose"] + 0.21 * carbon["hexose"]
    alone = Balance({"molasses": -ufloat(100, 0.1), **rest}, of={"molasses": parts}, priors="none").closure()["carbon"]
    assert alone.error_components()[parts["sucrose"]] / alone.n == pytest.approx(0.01 * carbon["sucrose"] / whole)


# reconciling --------------------------------------------------------------------------------------------


def test_reconciled_amounts_close_every_balance():
    """After the correction nothing is left over in carbon or electrons."""
    bal = run(ethanol=43, co2=45)
    amounts = bal.reconcile().amounts
    for row in ("C", "electrons"):
        assert residual(bal, amounts, row) == pytest.approx(0, abs=1e-10)


def test_reconciliation_is_weighted_least_squares():
    """The same answer as minimising the weighted squares under the balances with a general optimiser."""
    from scipy.optimize import minimize

    bal = measured_glycerol()
    x, V = bal._numbers
    A = bal._matrices[0]
    solved = minimize(
        lambda z: float((z - x) @ np.linalg.solve(V, z - x)),
        x,
        constraints={"type": "eq", "fun": lambda z: A @ z},
        method="SLSQP",
        options={"ftol": 1e-14},
    )
    found = bal.reconcile()
    assert [a.n for a in found.amounts.values()] == pytest.approx(solved.x, rel=1e-5)
    assert found.chi2 == pytest.approx(solved.fun, rel=1e-5)


def test_reconciled_amounts_keep_their_causes():
    """Covariance of the reconciled amounts is V - V R'(R V R')^-1 R V, reached through the caller's ufloats."""
    bal = measured_glycerol()
    _, V = bal._numbers
    A = bal._matrices[0]
    expected = V - V @ A.T @ np.linalg.solve(A @ V @ A.T, A @ V)
    found = np.array(covariance_matrix(list(bal.reconcile().amounts.values())))
    assert found == pytest.approx(expected, abs=1e-12)
    sugar = bal.streams["glucose"]
    other = sugar * 0.5
    assert covariance_matrix([bal.reconcile()["ethanol"], other])[0][1] != 0


def test_correlated_measurements_count_as_such():
    """Two products measured with one pipette: the test uses their covariance."""
    ethanol, glycerol = correlated_values([46.4, 3.6], [[0.81, 0.15], [0.15, 0.04]])
    rest = {"glucose": -ufloat(100, 1), "CO2": ufloat(44.1, 0.5), "biomass": ufloat(4.6, 0.3)}
    linked = Balance({**rest, "ethanol": ethanol, "glycerol": glycerol}, priors="none").reconcile()
    assert linked.chi2 != pytest.approx(measured_glycerol().reconcile().chi2, rel=0.01)


def test_shift_is_one_sigma_on_average():
    """Shifts of good runs have unit standard deviation."""
    rng = np.random.default_rng(3)
    bal = measured_glycerol()
    true = np.array([a.n for a in bal.reconcile().amounts.values()])
    shifts = []
    for _ in range(300):
        values = true + rng.normal(size=5) * [1, 0.9, 0.5, 0.3, 0.2]
        streams = {n: ufloat(v, a.s) for (n, a), v in zip(bal.streams.items(), values)}
        shifts.append(list(Balance(streams, priors="none").reconcile().shift.values()))
    assert np.std(shifts, axis=0) == pytest.approx(np.ones(5), abs=0.15)


def test_reconciled_intervals_cover_the_truth():
    """95 % intervals of the reconciled amounts hold the true ones in 93 to 97 % of simulated kitchen runs."""
    study = study_script()
    rng = np.random.default_rng(21)
    reported, true = study.measured(rng, study.true_runs(rng, 1200), "kitchen")
    inside = []
    for row, clean in zip(reported, true):
        amounts = study.balance(row, "kitchen").reconcile().amounts
        inside.append([abs(amounts[n].n - t) < 1.96 * amounts[n].s for n, t in zip(study.STREAMS, clean)])
    assert np.mean(inside, axis=0) == pytest.approx(np.full(4, 0.95), abs=0.02)


def test_unmeasured_streams_come_from_the_balances():
    """One unmeasured stream takes one test and is found with its uncertainty."""
    bal = Balance(
        {"glucose": -ufloat(100, 1), "ethanol": ufloat(45, 0.5), "CO2": None, "biomass": ufloat(5, 0.3)}, priors="none"
    )
    found = bal.reconcile()
    assert found.degrees_of_freedom == 1
    assert residual(bal, found.amounts, "C") == pytest.approx(0, abs=1e-10)
    assert found["CO2"].s > 0


def test_aeration_adds_oxygen_and_takes_a_test():
    """With air the oxygen is an unmeasured stream: one test fewer, and oxygen uptake comes out negative."""
    bal = Balance(
        {"glucose": -ufloat(100, 1), "CO2": ufloat(70, 1), "biomass": ufloat(42, 1)}, aerated=True, priors="none"
    )
    assert bal.reconcile().degrees_of_freedom == 1
    assert bal.reconcile()["O2"].n < 0


def test_an_extra_measurement_is_one_more_test():
    """A loss of weight that sees the CO2 adds a test and narrows the CO2."""
    loss = LinearMeasurement("loss of weight", {"CO2": 1.0}, ufloat(43.7, 0.2))
    plain, more = run(), run(extra=[loss])
    assert more.reconcile().degrees_of_freedom == plain.reconcile().degrees_of_freedom + 1
    assert more.reconcile()["CO2"].s < plain.reconcile()["CO2"].s


def test_density_sees_sugar_lost_and_ethanol_made():
    """A density that falls as the published tables say for the true amounts agrees with them."""
    sugar, ethanol = 100.0, 45.636
    before = float(fk.sucrose_density(sugar / 1035, 20.0))
    after = float(fk.ethanol_density(ethanol / 990, 20.0))
    fall = density_change(ufloat(before, 0.5), ufloat(after, 0.5), volume_start_L=1.0, sugar="glucose")
    density = LinearMeasurement(fall.name, fall.coefficients, fall.value)
    found = run(extra=[density]).reconcile()
    assert found.degrees_of_freedom == 3
    assert found.p_value > 0.05
    kitchen = run(u=KITCHEN, extra=[density]).reconcile()
    assert kitchen["glucose"].s < run(u=KITCHEN).reconcile()["glucose"].s
    assert kitchen["ethanol"].s < run(u=KITCHEN).reconcile()["ethanol"].s


def test_sugar_left_over_may_be_a_stream_of_its_own():
    """What went in and what was left, weighed apart, give the same amounts as their difference."""
    rest = {"ethanol": ufloat(45.636, 0.9), "CO2": ufloat(44.7, 0.5), "yeast": ufloat(5, 0.2)}
    went_in, left = -ufloat(110, 1), ufloat(10, 0.5)
    apart = Balance({"hexose": went_in, "sugar left": left, **rest}, of={"sugar left": "hexose"})
    net = Balance({"hexose": went_in + left, **rest})
    assert apart.reconcile()["ethanol"].n == pytest.approx(net.reconcile()["ethanol"].n, rel=1e-9)
    assert apart.reconcile().chi2 == pytest.approx(net.reconcile().chi2, rel=1e-6, abs=1e-9)
    assert "sugar left misread" in [e.name for g in apart.explain().groups for e in g]


def test_the_inoculum_is_a_stream():
    """Yeast pitched and yeast harvested: glycerol follows the yeast made, and the harvest alone may be wet."""
    rest = {"hexose": -ufloat(100, 0.5), "ethanol": ufloat(45.636, 0.9), "CO2": ufloat(44.7, 0.5)}
    bal = Balance({**rest, "yeast": ufloat(8, 0.2), "pitched": -ufloat(3, 0.1)}, of={"pitched": "yeast"})
    glycerol = next(s for s in bal.listed if s.name == "glycerol").amount
    assert glycerol.n == pytest.approx(5 * 6.25e-3 * 92.094, rel=1e-4)
    assert bal.reconcile().p_value > 0.9
    wet = Balance({**rest, "yeast": ufloat(30, 0.6), "pitched": -ufloat(3, 0.1)}, of={"pitched": "yeast"}).explain()
    assert wet.best.name == "product weighed wet"
    assert list(wet.best.corrected) == ["yeast"]
    evidence = bal._evidence(USUAL_YEAST_YIELD)
    follows = dict(zip(evidence.names, evidence.follows))
    at = {name: i for i, name in enumerate(evidence.names)}
    assert follows["hexose"] == (at["organic acids"], at["usual yeast yield"])
    assert follows["yeast"] == (at["glycerol"],)
    assert follows["pitched"] == ()


def test_untested_streams_are_told():
    """A stream that no balance tests is printed as such and is not moved."""
    bal = Balance(
        {
            "glucose": -ufloat(100, 1),
            "ethanol": ufloat(45, 0.5),
            "CO2": None,
            "biomass": None,
            "glycerol": ufloat(3, 0.2),
        },
        priors="none",
    )
    found = bal.reconcile()
    assert found.degrees_of_freedom == 0
    assert found.redundant == ()
    assert "nothing can be tested" in found.verdict
    assert "not tested" in str(found)


def test_streams_hardly_told_apart_are_told():
    """Yeast and glycerol both unmeasured lean on a small difference, and the page says so."""
    bal = Balance(
        {
            "glucose": -ufloat(100, 1),
            "ethanol": ufloat(45, 0.5),
            "CO2": ufloat(44, 0.4),
            "biomass": None,
            "glycerol": None,
        },
        priors="none",
    )
    assert "hardly told apart" in str(bal.reconcile())
    apart = Balance(
        {"glucose": -ufloat(100, 1), "ethanol": None, "CO2": None, "biomass": ufloat(5, 0.3)}, priors="none"
    )
    assert "hardly told apart" not in str(apart.reconcile())
    in_kg = Balance({**bal.streams}, unit={"glycerol": "kg", "biomass": "mmol"}, priors="none")
    assert in_kg._redundancy.spread == pytest.approx(bal._redundancy.spread, rel=0.02)  # rows are scaled in any unit


def test_growth_brings_its_usual_glycerol():
    """6.25 mmol for each gram of yeast, correlated with the yeast, and 1.5 % of the carbon as acids; both printed."""
    bal = run()
    by_name = {s.name: s for s in bal.listed}
    glycerol = by_name["glycerol"].amount
    assert glycerol.n == pytest.approx(5 * 6.25e-3 * 92.094, rel=1e-4)
    assert covariance_matrix([glycerol, bal.streams["yeast"]])[0][1] > 0
    acids = by_name["organic acids"].amount.n / 30.026
    assert acids == pytest.approx(0.015 * 100 * 6 / 180.156, rel=1e-3)
    said = " ".join(str(bal).split())
    assert "Nordström" in said and "common practice" in said


def test_measured_byproducts_replace_the_usual_ones():
    """Measured glycerol and acids are taken as they are; own usual amounts replace the printed ones."""
    rest = {"glucose": -ufloat(100, 1), "ethanol": ufloat(45, 1), "CO2": ufloat(44.7, 0.5), "yeast": ufloat(5, 0.3)}
    measured = Balance({**rest, "glycerol": ufloat(3, 0.1), "lactic acid": ufloat(1, 0.1)})
    assert [s.standing for s in measured.listed] == ["measured"] * 6
    own = Balance(rest, priors={"acids": ufloat(0.03, 0.01)})
    assert [s.name for s in own.listed if s.standing == "usual"] == ["organic acids"]


def test_unmeasured_yeast_is_found_with_its_glycerol():
    """Where the yeast was not measured, glycerol stays tied to it, and both come from the balances."""
    bal = Balance({"glucose": -ufloat(100, 1), "ethanol": ufloat(45.636, 0.5), "CO2": ufloat(44.7, 0.5), "yeast": None})
    found = bal.reconcile()
    assert found.degrees_of_freedom == 1
    assert found["yeast"].n == pytest.approx(5.0, abs=0.1)
    assert found["glycerol"].n == pytest.approx(found["yeast"].n * 6.25e-3 * 92.094, rel=0.02)
    assert "tied" not in [e.name for g in bal.explain().groups for e in g]
    sugar = {"glucose": bal.streams["glucose"] / compound("glucose").molar_mass}
    other = Balance({**bal.streams, **sugar}, unit={"yeast": "kg", "glucose": "mol"}).reconcile()
    assert other["yeast"].n * 1000 == pytest.approx(found["yeast"].n, rel=1e-6)
    assert other["glycerol"].n == pytest.approx(found["glycerol"].n, rel=1e-6)
    assert other["glycerol"].s == pytest.approx(found["glycerol"].s, rel=1e-6)


def test_yeast_nitrogen_is_a_range():
    """With a nitrogen source listed, yeast holds 4.5 to 8.8 % nitrogen; its formula's 11 % raises no alarm."""
    streams = {
        "glucose": -ufloat(100, 1),
        "ethanol": ufloat(45.636, 0.5),
        "CO2": ufloat(44.7, 0.5),
        "yeast": ufloat(5, 0.2),
    }
    nitrogen_g = 5 * 0.0665
    source = {"ammonium sulfate": -ufloat(nitrogen_g / 28.014 * 132.134, 0.02)}
    named = Balance({**streams, **source})
    assert "nitrogen" in named.balances
    assert named.reconcile().p_value > 0.5
    assert named.closure()["nitrogen"].n == pytest.approx(1.0, abs=0.01)
    assert Balance({**streams, **source}, priors="none").reconcile().p_value < 0.001


def test_oxygen_of_the_vessels_own_air_may_be_assumed():
    """It burns sugar: with 1.2 g of it more electrons are found; measured oxygen is taken as it is instead."""
    air = {"oxygen": -ufloat(1.2, 0.4)}
    with_air, without = run(priors=air), run(priors="none")
    assert "1.20 ± 0.40 g of the vessel's own air" in " ".join(str(with_air).split())
    more = with_air.closure()["electrons"].n - without.closure()["electrons"].n
    assert more == pytest.approx(1.2 / 31.998 * 4 / (100 / 180.156 * 24), rel=1e-4)
    measured = Balance({**without.streams, "O2": -ufloat(0.5, 0.1)}, priors=air)
    assert [s.amount.n for s in measured.listed if s.role == "O2"] == [-0.5]


def test_no_growth_brings_no_glycerol():
    """Where the harvest does not exceed the inoculum, no glycerol is assumed."""
    bal = run(yeast=-0.1)
    assert "no yeast was made" in str(bal)
    same = {"yeast": ufloat(3, 0.1), "pitched": -ufloat(3, 0.1)}
    rest = {"glucose": -ufloat(100, 1), "ethanol": ufloat(49, 1), "CO2": ufloat(47, 1)}
    assert "no yeast was made" in str(Balance({**rest, **same}, of={"pitched": "yeast"}))


def test_usual_byproducts_prevent_false_alarms():
    """Left out, honest kitchen-grade runs alarm several times as often."""
    study = study_script()
    rng = np.random.default_rng(5)
    reported, _ = study.measured(rng, study.true_runs(rng, 150), "kitchen")
    with_them = [study.balance(r, "kitchen").reconcile().p_value < 0.05 for r in reported]
    names = study.STREAMS
    bare = [
        Balance({n: ufloat(v, abs(v) * r) for n, v, r in zip(names, row, KITCHEN)}, priors="none").reconcile().p_value
        < 0.05
        for row in reported
    ]
    assert np.mean(with_them) < 0.1
    assert np.mean(bare) > 2.5 * np.mean(with_them)


# Monte Carlo --------------------------------------------------------------------------------------------


def test_sampling_agrees_with_the_linear_result():
    """1e5 draws have the mean and covariance of the reconciled amounts."""
    bal = run()
    found = bal.reconcile()
    draws = bal.sample(100_000, seed=2)
    some = list(found.amounts.values())
    assert draws.mean(axis=0) == pytest.approx([a.n for a in some], rel=2e-3)
    assert np.cov(draws.T) == pytest.approx(np.array(covariance_matrix(some)), rel=0.03, abs=0.004)


def test_many_at_once_equal_one_by_one():
    """Each row of reconcile_many is the reconciliation of that row."""
    bal = measured_glycerol()
    rows = np.array([a.n for a in bal.streams.values()]) * (1 + 0.01 * np.random.default_rng(1).normal(size=(4, 5)))
    together = bal.reconcile_many(rows)
    for row, found in zip(rows, together):
        alone = Balance({n: ufloat(v, a.s) for (n, a), v in zip(bal.streams.items(), row)}, priors="none")
        assert found == pytest.approx([a.n for a in alone.reconcile().amounts.values()], rel=1e-9)


def test_flows_add_up_after_reconciling():
    """What went in of carbon and of electrons is found in the products, exactly, once reconciled."""
    bal = run(co2=42)
    for balance in ("carbon", "electrons"):
        into, out = bal.flows(balance)
        assert sum(out.values()).n == pytest.approx(into.n, rel=1e-10)
        into, out = bal.flows(balance, amounts="reported")
        assert (sum(out.values()) / into).n == pytest.approx(bal.closure()[balance].n, rel=1e-10)


# bounds -------------------------------------------------------------------------------------------------


def test_bounds_of_a_determined_stream_are_its_interval():
    """Where a stream is determined, least and most are 1.96 standard uncertainties away."""
    bal = measured_glycerol()
    biomass = bal.reconcile()["biomass"]
    found = bal.bounds("biomass")
    half = stats.norm.ppf(0.975) * biomass.s
    assert (found.low, found.high) == pytest.approx((biomass.n - half, biomass.n + half), rel=1e-5)


def test_bounds_of_an_open_stream_come_from_the_balances():
    """With only the sugar known, ethanol is at most 0.511 g per g of the most sugar, and may be nothing."""
    bal = Balance({"glucose": -ufloat(100, 1), "ethanol": None, "CO2": None, "biomass": None}, priors="none")
    found = bal.bounds("ethanol")
    assert found.low == pytest.approx(0, abs=1e-9)
    assert found.high == pytest.approx(0.5114345 * (100 + stats.norm.ppf(0.975)), rel=1e-5)


def test_no_end_is_said():
    """Sugar that turns to acid without CO2 or ethanol leaves no trace here: there may be any amount of both."""
    bal = Balance(
        {"sucrose": -ufloat(10, 0.1), "glucose": None, "CO2": ufloat(44, 1), "ethanol": None, "acetic acid": None},
        priors="none",
    )
    acid, sugar = bal.bounds("acetic acid"), bal.bounds("glucose")
    assert (acid.low, acid.high) == (pytest.approx(0, abs=1e-6), np.inf)
    assert sugar.low == -np.inf and -90 < sugar.high < -70
    assert "no end" in str(acid) and "no end" in str(sugar)


def test_joint_region_is_wider():
    """All amounts together leave more room than one at a time."""
    one, joint = (measured_glycerol().bounds("biomass", region=r) for r in ("one", "joint"))
    assert joint.low < one.low < one.high < joint.high
    free = 5 - 2  # amounts less balances
    wider = np.sqrt(stats.chi2.ppf(0.95, free) / stats.chi2.ppf(0.95, 1))
    assert (joint.high - joint.low) / (one.high - one.low) == pytest.approx(wider, rel=1e-4)


@pytest.mark.slow
def test_bounds_cover_the_truth():
    """The true amount of a half-known stream lies within its bounds in at least 95 % of runs."""
    rng = np.random.default_rng(8)
    glucose, ethanol, biomass = 100.0, 45.0, 5.0
    carbon = glucose * 6 / 180.156
    rest = 4 * carbon - 12 * ethanol / 46.069 - 4.2 * biomass / 24.626
    glycerol = rest / 14 * 92.094
    inside = []
    for _ in range(30):
        bal = Balance(
            {
                "glucose": -ufloat(glucose * (1 + 0.01 * rng.normal()), 1),
                "ethanol": ufloat(ethanol * (1 + 0.02 * rng.normal()), 0.9),
                "CO2": None,
                "biomass": None,
                "glycerol": None,
            },
            priors="none",
        )
        found = bal.bounds("glycerol")
        inside.append(found.low - 1e-9 <= glycerol <= found.high + 1e-9)
    assert np.mean(inside) >= 0.93


# explaining ---------------------------------------------------------------------------------------------

SLIPS = [
    (dict(co2=44.7 / 6), "CO2 counted as one third of a mole per mole of hexose"),
    (dict(ethanol=45.636 / 0.801), "% by volume used as % by mass"),
    (dict(ethanol=45.636 * 10), "dilution factor used twice or not at all"),
    (dict(ethanol=45.636 / 5), "dilution factor used twice or not at all"),
    (dict(sugar=100 / HEXOSE_PER_SUCROSE), "sucrose taken for glucose"),
    (dict(yeast=5 / 0.25), "product weighed wet"),
    (dict(yeast=5 / 0.5), "other solids counted as yeast"),
    (dict(co2=44.7 * 0.8), "CO2 lost by a leak or still dissolved"),
    (dict(ethanol=45.636 * 0.85), "ethanol evaporated"),
    (dict(sugar=125), "sugar left over"),
    (dict(sugar=80), "glucose misread"),
]


@pytest.mark.parametrize(("change", "mistake"), SLIPS)
def test_the_mistake_is_in_the_first_group(change, mistake):
    """Each mistake, made alone on a laboratory-grade run, is among the first group."""
    found = run(**change).explain()
    assert found.gap_p_value < 0.05
    assert mistake in [e.name for e in found.groups[0]]


def test_the_corrected_value_is_the_true_one():
    """Undoing the slip gives back what was there, within its uncertainty."""
    co2 = next(e for g in run(co2=44.7 / 6).explain().groups for e in g if "one third" in e.name).corrected["CO2"]
    assert getattr(co2, "n", co2) == pytest.approx(44.7, rel=1e-9)
    leak = next(e for g in run(co2=44.7 * 0.8).explain().groups for e in g if "leak" in e.name)
    assert leak.corrected["CO2"].n == pytest.approx(44.7, abs=2 * leak.corrected["CO2"].s)
    assert leak.size.n == pytest.approx(0.2, abs=2 * leak.size.s)


def test_glucose_taken_for_sucrose_is_found_where_sucrose_was_written():
    """100 g that were glucose and were entered as sucrose; no such slip is thought of where glucose was entered."""
    rest = {"ethanol": ufloat(45.636, 0.5), "CO2": ufloat(44.7, 0.3), "yeast": ufloat(5, 0.2)}
    found = Balance({"sucrose": -ufloat(100, 0.3), **rest}).explain()
    assert found.gap_p_value < 0.05
    slip = next(e for e in found.groups[0] if e.name == "glucose taken for sucrose")
    assert nominal(slip.corrected["sucrose"]) == pytest.approx(-95.0, abs=0.01)
    everything = [e.name for g in run(co2=35).explain().groups for e in g]
    assert "sucrose taken for glucose" in everything and "glucose taken for sucrose" not in everything


def test_the_likelihood_ratio_is_what_the_misfit_falls_by():
    """Twice the log of 'times likelier' is chi-square as reported less chi-square with the leak undone."""
    leaky = run(co2=42, ethanol=47.5)  # an odd ethanol besides, so that something is left
    leak = next(e for g in leaky.explain(yeast_yield=None).groups for e in g if "leak" in e.name)
    left = stats.chi2.isf(leak.p_value, 1)
    assert left > 1
    assert 2 * np.log(leak.likelihood_ratio) == pytest.approx(leaky.reconcile().chi2 - left, abs=0.1)


@pytest.mark.parametrize(
    ("product", "extra", "name"),
    [("acids", "extra_acids", "organic acids beyond the usual"),
     ("glycerol", "extra_glycerol", "glycerol beyond what growth needs")],
)  # fmt: skip
def test_a_product_that_nobody_measured_is_sized(product, extra, name):
    """A tenth of the carbon in acids or glycerol beyond the usual is named with its grams, within its uncertainty."""
    study = study_script()
    true = 100 * study.true_runs(np.random.default_rng(2), 1, **{extra: 0.1})[0]
    found = next(e for g in study.balance(true, "laboratory").explain().groups for e in g if e.name == name)
    grams = 0.1 * 100 * 6 / 180.156 * {"acids": 30.026, "glycerol": 92.094 / 3}[product]
    assert found.corrected[f"more {product}"].n == pytest.approx(grams, abs=2 * found.corrected[f"more {product}"].s)
    assert found.size.n == pytest.approx(0.1, abs=2 * found.size.s)
    assert found.size.s < 0.03


def test_what_is_left_once_the_mistake_is_undone_is_chance():
    """With the true mistake undone one of two tests remains: its p is uniform, one half on average."""
    study = study_script()
    rng = np.random.default_rng(9)
    reported, _ = study.measured(rng, study.true_runs(rng, 60) * [1 / 0.8, 1, 1, 1], "laboratory")
    p = [
        next(
            e.p_value
            for g in study.balance(row, "laboratory").explain().groups
            for e in g
            if e.name == "sugar left over"
        )
        for row in reported
    ]
    assert np.mean(p) == pytest.approx(0.5, abs=0.12)
    assert stats.kstest(p, "uniform").pvalue > 0.01


@pytest.mark.parametrize(
    ("sizes", "half"),
    [
        (MISREAD, 0.0),
        (BYPRODUCT, 0.034),
        (SUGAR_LEFT, 0.169),
        (CO2_LOST, 0.169),
        (ETHANOL_LOST, 0.067),
        (DRY_SHARE, 0.575),
        (SOLIDS, 0.3),
    ],
)
def test_half_of_the_mistakes_are_smaller_than_their_usual_size(sizes, half):
    """What the printed priors mean: half of all leaks lose under 17 % of the gas."""
    drawn = sizes.at(np.random.default_rng(4).random(20_000))
    assert np.median(drawn) == pytest.approx(half, abs=0.01)
    share = np.linspace(0.01, 0.99, 50)
    assert sizes.below(sizes.at(share)) == pytest.approx(share)
    assert np.mean(drawn < half) == pytest.approx(float(sizes.below(np.array([half]))[0]), abs=0.02)
    if sizes is not MISREAD:
        assert drawn.min() >= 0 and drawn.max() < 1  # shares


@pytest.mark.parametrize("change", [{}, {"ethanol": 38}, {"co2": 30}])
def test_every_mistake_has_one_share_of_belief(change):
    """However finely its sizes are laid out, their shares add up to one: no mistake is favoured for having many."""
    _, ranking = ranked(**change)
    for fault, nodes in zip(ranking.faults, ranking.nodes):
        assert np.exp(nodes.log_share).sum() == pytest.approx(1, abs=1e-3), fault.name
        assert (nodes.factors > 0).all()


def test_weights_add_up():
    """All explanations and chance together weigh one; each group begins with its heaviest."""
    found = run(yeast=15).explain()
    assert sum(e.weight for g in found.groups for e in g) + found.chance == pytest.approx(1)
    assert all(g[0].weight == max(e.weight for e in g) for g in found.groups)
    assert found.table()["weight"].sum() + found.chance == pytest.approx(1)


def test_a_good_run_is_called_good():
    """Where the balance closes, chance is the best explanation and the heading says so."""
    found = run().explain()
    assert found.chance > 0.5
    assert "closes within its uncertainty" in str(found)


def test_a_group_names_what_would_split_it():
    """A leak and a misread CO2 look alike; testing the joints tells them apart."""
    found = run(co2=35).explain()
    assert {e.name for e in found.groups[0]} == {"CO2 lost by a leak or still dissolved", "CO2 misread"}
    assert "leaks" in found.splits[0]
    assert "to tell them apart" in str(found)
    for explanation in found.groups[0]:
        assert f"{100 * explanation.weight:.0f} % " in str(found)
        assert str(explanation).startswith(f"{explanation.name}: weight {100 * explanation.weight:.0f} %")


def test_a_known_dilution_narrows_the_search():
    """With the factor known, only that factor (or its inverse) is tried."""
    bal = run(ethanol=45.636 * 7)
    seven, any_factor = bal.explain(dilution=7), bal.explain()
    assert "dilution" in seven.best.name and seven.best.p_value > 0.05
    assert any_factor.best.p_value < 0.01
    assert "not on this list" in str(any_factor)
    assert "not on this list" not in str(seven)


@pytest.mark.parametrize("factor", [2, 4, 5, 10, 20, 50, 100])
@pytest.mark.parametrize("twice", [True, False])
def test_every_usual_dilution_is_thought_of(factor, twice):
    """A whole dilution too much or too little is undone exactly, for every factor of the bench."""
    wrong = 45.636 * (factor if twice else 1 / factor)
    slip = next(e for g in run(ethanol=wrong).explain().groups for e in g if e.name.startswith("dilution factor"))
    assert slip.p_value > 0.5
    assert nominal(slip.corrected["ethanol"]) == pytest.approx(45.636, rel=1e-6)


def test_explanations_print_their_priors():
    """The page says which priors the weights stand on."""
    page = str(run(co2=30).explain())
    assert "nothing wrong 50%" in page and "Usual sizes" in page
    assert "0.060 ± 0.030 g per g sugar" in page
    assert "per g sugar" not in str(run(co2=30).explain(yeast_yield=None))


def test_explanations_work_without_the_usual_streams():
    """Aerated growth on glycerol, nothing fermented: still ranked."""
    bal = Balance(
        {"glycerol": -ufloat(100, 1), "O2": -ufloat(70, 1), "biomass": ufloat(40, 1), "CO2": ufloat(50, 1)}, ash=0.08
    )
    assert bal.explain().gap_p_value < 0.05
    assert bal.explain().best.weight > 0


# what could have been seen ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mistake", "column"),
    [("CO2 lost by a leak or still dissolved", 2), ("product weighed wet", 3), ("sugar left over", 0)],
)
def test_detection_limit_is_where_the_alarm_comes_four_times_in_five(mistake, column):
    """Runs with a mistake of the printed size alarm in 80 ± 5 % of simulations."""
    study = study_script()
    rng = np.random.default_rng(11)
    limit = run(u=KITCHEN).detection_limits()[mistake].smallest[0]
    evidence, faults = study.template("kitchen")
    undo = next(f for f in faults if f.name == mistake).factor(np.array([limit]))[0]
    reported = np.array([-100.0, 45.636, 44.7, 5.0])
    reported[column] /= undo
    alarms = [
        study.misfit(study.refill(evidence, reported * (1 + rng.standard_normal(4) * KITCHEN), "kitchen"))
        > stats.chi2.ppf(0.95, 2)
        for _ in range(1500)
    ]
    assert np.mean(alarms) == pytest.approx(0.8, abs=0.05)


def test_better_measurements_see_smaller_mistakes():
    """Laboratory-grade measurements see a leak several times smaller."""
    kitchen, laboratory = (
        run(u=u).detection_limits()["CO2 lost by a leak or still dissolved"].smallest[0] for u in (KITCHEN, LABORATORY)
    )
    assert laboratory < kitchen / 2


def test_measure_next_ranks_by_what_is_settled():
    """After a wet product, drying again settles more than another look at the sugar."""
    found = {s.name: s.share for s in run(yeast=20).measure_next().ranked}
    assert all(0 <= share <= 1 + 1e-9 for share in found.values())
    assert found["dry the yeast again to constant weight"] > 0.3
    per_hour = [s.share / s.effort_h for s in run(yeast=20).measure_next().ranked]
    assert per_hour == sorted(per_hour, reverse=True)
    assert (
        found["dry the yeast again to constant weight"] > found["find the sugar's weight again (bag, receipt, scale)"]
    )


def ranked(**change):
    """Evidence and ranking of a run."""
    evidence = run(**change)._evidence(USUAL_YEAST_YIELD)
    return evidence, rank(evidence, usual_faults(evidence))


def test_a_reading_tells_two_explanations_apart_by_shannons_measure():
    """Two answers two standard uncertainties apart: 0.486 of one bit, as for a binary signal at 0 dB."""
    even, u = np.array([0.5, 0.5]), np.ones(2)
    lost = integrate.quad(lambda z: stats.norm.pdf(z) * np.log2(1 + np.exp(-2 - 2 * z)), -12, 12)[0]
    assert _information(even, np.array([-1.0, 1.0]), u) == pytest.approx(1 - lost, abs=1e-3)
    assert _information(even, np.array([-9.0, 9.0]), u) == pytest.approx(1.0, abs=1e-3)
    assert _information(even, np.zeros(2), u) == pytest.approx(0.0, abs=1e-6)
    assert _information(np.array([0.5, 0.5, 0.0]), np.array([-1.0, 1.0, 9.0]), np.ones(3)) == pytest.approx(
        1 - lost, abs=1e-3
    )


def test_looking_settles_one_question():
    """Tight joints rule out the leak and nothing else: the question 'leak or not' is settled (Shannon's rule)."""
    evidence, ranking = ranked()
    joints = next(c for c in CANDIDATES if c.name.startswith("test the joints"))
    keys = [f.key for f in ranking.faults]
    among = (keys.index("CO2 lost"), keys.index("sugar left"), keys.index("acids"))
    w = ranking.weights[list(among)] / ranking.weights[list(among)].sum()
    doubt = -(w * np.log2(w)).sum()
    question = -(w[0] * np.log2(w[0]) + (1 - w[0]) * np.log2(1 - w[0]))
    assert gain(joints, evidence, ranking, among) * doubt == pytest.approx(question)
    assert gain(joints, evidence, ranking, among[:2]) == pytest.approx(1.0)
    assert gain(joints, evidence, ranking, among[1:]) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("change", "start", "stream", "fault", "relative_u"),
    [
        (dict(yeast=20), "dry the yeast", "yeast", "product weighed wet", 0.03),
        (dict(sugar=80), "find the sugar", "glucose", "glucose misread", 0.005),
        (dict(ethanol=38), "measure the ethanol again", "ethanol", "ethanol misread", 0.02),
    ],
)
def test_measuring_again_would_read_what_the_explanation_says(change, start, stream, fault, relative_u):
    """Under an explanation the new reading is the corrected value, as doubtful as it and the new measurement are."""
    evidence, ranking = ranked(**change)
    again = next(c for c in CANDIDATES if c.name.startswith(start))
    corrected = next(e for g in run(**change).explain().groups for e in g if e.name == fault).corrected[stream]
    k = [f.name for f in ranking.faults].index(fault)
    mean, sd = _reading(again, evidence, ranking, k)
    assert mean == pytest.approx(abs(corrected.n), rel=1e-6)
    assert sd == pytest.approx(np.hypot(corrected.s, relative_u * mean), rel=0.03)
    as_reported = _reading(again, evidence, ranking, len(ranking.faults))
    reported = abs(run(**change).streams[stream].n)
    assert as_reported == pytest.approx((reported, relative_u * reported), rel=0.05)


@pytest.mark.parametrize(
    ("change", "start", "fault", "floor"),
    [
        (dict(sugar=125), "test strip", "sugar left over", 0.01),
        (dict(sugar=110), "titrate the acids", "organic acids beyond the usual", 0.003),
    ],
)
def test_looking_for_what_was_not_measured_reads_its_share_of_the_sugar(change, start, fault, floor):
    """A strip reads the sugar left under that explanation, and nothing (to within its floor) under any other."""
    evidence, ranking = ranked(**change)
    look = next(c for c in CANDIDATES if c.name.startswith(start))
    size = next(e for g in run(**change).explain().groups for e in g if e.name == fault).size
    names = [f.name for f in ranking.faults]
    mean, sd = _reading(look, evidence, ranking, names.index(fault))
    assert mean == pytest.approx(size.n * change["sugar"], rel=1e-6)
    assert sd == pytest.approx(np.hypot(size.s * change["sugar"], look.relative_u * mean), rel=1e-6)
    for other in (names.index("product weighed wet"), len(names)):
        assert _reading(look, evidence, ranking, other) == pytest.approx((0.0, floor * change["sugar"]))


def test_efforts_are_printed_in_minutes_and_hours():
    """A strip takes minutes, a titration an hour."""
    page = str(run().measure_next())
    assert "about 18 min" in page and "about 1 h" in page and "about 3 h" in page


def test_weights_equal_bayes_rule_by_brute_force():
    """Posterior weights of ten odd runs agree with the share of 60,000 simulated runs of each kind that fit them."""
    study = study_script()
    reported = np.array(
        [
            [-100, 38, 44.7, 5],
            [-100, 45.6, 38, 5],
            [-100, 45.6, 44.7, 16],
            [-88, 45.6, 44.7, 5],
            [-100, 55, 44.7, 5],
            [-100, 45.6, 53, 5],
            [-113, 45.6, 44.7, 5],
            [-100, 40, 40, 8],
            [-100, 48, 41, 3],
            [-100, 45.6, 44.7, 5],
        ],
        dtype=float,
    )
    exact = study.bayes_weights("kitchen", reported, bank=60_000)
    evidence, faults = study.template("kitchen")
    ours = np.array([rank(study.refill(evidence, row, "kitchen"), faults).weights for row in reported])
    assert np.abs(ours - exact).max() < 0.13
    assert np.abs(ours - exact).sum(axis=1).mean() < 0.11


@pytest.mark.slow
def test_the_study_in_short():
    """Good runs alarm about as often as stated, and the true mistake is in the first group where it can be seen."""
    study = study_script()
    names, outcomes = study.simulate("laboratory", 40, 400, seed=4)
    good = [o for o in outcomes if o.truth == len(names)]
    assert 0.02 < np.mean([o.alarm for o in good]) < 0.08
    faulty = [o for o in outcomes if o.truth < len(names)]
    assert np.mean([o.alarm for o in faulty]) == pytest.approx(np.mean([o.power for o in faulty]), abs=0.05)
    strong = [o for o in faulty if o.alarm and o.power >= 0.8]
    assert np.mean([o.truth in o.groups[0] for o in strong]) > 0.9
    assert np.median([len(o.groups[0]) for o in strong]) <= 3
    count = study.natural_weight(outcomes, len(names))
    alarmed = [(o.weights.max(), o.weights.argmax() == o.truth, w) for o, w in zip(outcomes, count) if o.alarm]
    stated, right, share = np.array(alarmed, dtype=float).T
    assert np.average(stated, weights=share) == pytest.approx(np.average(right, weights=share), abs=0.08)


def test_the_study_uses_the_librarys_own_evidence():
    """The study's quick refill equals the evidence of a Balance built afresh."""
    study = study_script()
    for grade in study.GRADES:
        evidence, _ = study.template(grade)
        reported = np.array([-230.0, 101.0, 95.0, 14.0])
        own = study.balance(reported, grade)._evidence(USUAL_YEAST_YIELD)
        quick = study.refill(evidence, reported, grade)
        assert quick.x == pytest.approx(own.x)
        assert pytest.approx(own.V) == quick.V
        assert pytest.approx(own.R) == quick.R


def test_scale_does_not_change_the_weights():
    """A run ten times as large, with the same relative uncertainties, has the same explanations."""
    study = study_script()
    evidence, faults = study.template("kitchen")
    small = np.array([-100.0, 38.0, 44.7, 5.0])
    one, ten = (rank(study.refill(evidence, k * small, "kitchen"), faults) for k in (1, 10))
    assert ten.weights == pytest.approx(one.weights, abs=1e-9)


# refusing -----------------------------------------------------------------------------------------------

REST = {"ethanol": ufloat(46, 1), "CO2": ufloat(44, 1)}


@pytest.mark.parametrize(
    ("streams", "options", "error", "words"),
    [
        ({"glucose": -ufloat(100, 1), "C6H12O6x": ufloat(1, 0.1)}, {}, InputError, "character 8"),
        ({"glucose": -100.0, **REST}, {}, InputError, "uncertainty of glucose is 0"),
        ({"glucose": ufloat(-100, float("nan")), **REST}, {}, InputError, "uncertainty of glucose is nan"),
        ({"glucose": ufloat(float("inf"), 1), **REST}, {}, InputError, "amount of glucose is inf"),
        ({"glucose": ufloat(100, 1), **REST}, {}, BalanceError, "more carbon out than in"),
        ({"glucose": -ufloat(100, 1), "ethanol": -ufloat(46, 1)}, {}, BalanceError, "none comes out"),
        ({"hexose": ufloat(100, 1), "ethanol": -ufloat(46, 1)}, {}, BalanceError, "more sugar comes out"),
        ({"glucose": -ufloat(100, 1), "O2": ufloat(0.3, 0.1), **REST}, {}, BalanceError, "oxygen is made: 0.3 g"),
        ({"glucose": -ufloat(100, 1), **REST}, {"unit": "lb"}, InputError, "unit of glucose is 'lb'"),
        ({"glucose": -ufloat(100, 1), **REST}, {"unit": {"CO": "mol"}}, InputError, "stream in unit= is 'CO'"),
        ({"glucose": -ufloat(100, 1), **REST}, {"priors": "some"}, InputError, "priors is 'some'"),
        ({"glucose": -ufloat(100, 1), **REST}, {"nitrogen": "urea"}, InputError, "nitrogen is 'urea'"),
        ({"glucose": -ufloat(100, 1), **REST}, {"ash": {"CO2": 6.5}}, InputError, "write 0.065 for 6.5 %"),
        ({"glucose": "-100 g", **REST}, {}, InputError, "amount of glucose is '-100 g'"),
        ({"glucose": None, "ethanol": None}, {}, InputError, "none of the amounts is measured"),
        ({"glucose": -ufloat(100, 1), "O2": -ufloat(1, 0.1)}, {"unit": "C-mol"}, InputError, "holds no carbon"),
        ({"glucose": -ufloat(100, 1), "SeO2": ufloat(1, 0.1)}, {}, InputError, "holds Se"),
        ({}, {}, InputError, "no streams"),
        (
            {"molasses": -ufloat(100, 1), **REST},
            {"of": {"molasses": {"sucrose": 33}}},
            InputError,
            "add up to 33",
        ),
        (
            {"glucose": -ufloat(100, 1), **REST},
            {"extra": [LinearMeasurement("loss", {"CO2": 1.0}, 44.0)]},
            InputError,
            "uncertainty of loss is 0",
        ),
    ],
)
def test_bad_input_is_refused_in_words(streams, options, error, words):
    """Each mistake of writing is met with its value, what is needed and what to do."""
    with pytest.raises(error, match=words) as caught:
        Balance(streams, **options)
    assert caught.value.needed and caught.value.do


def test_too_many_unknowns_name_what_to_measure():
    """Three unmeasured products and two balances: one of them must be measured."""
    bal = Balance({"glucose": -ufloat(100, 1), "ethanol": None, "CO2": None, "biomass": None}, priors="none")
    with pytest.raises(BalanceError, match="3 unmeasured amounts") as caught:
        bal.reconcile()
    assert "measure 1 of: ethanol, CO2, biomass" in caught.value.do


def test_nothing_to_test_is_said():
    """Explaining needs a test; where there is none, the refusal says what to measure."""
    bal = Balance({"glucose": -ufloat(100, 1), "ethanol": ufloat(45, 1), "CO2": None, "biomass": None}, priors="none")
    with pytest.raises(BalanceError, match="no balance tests") as caught:
        bal.explain()
    assert caught.value.do == "measure one of: CO2, biomass"


def test_units_that_do_not_fit_are_suspected():
    """Moles among grams leave a gap that a factor of the molar mass would close, and the closure says so."""
    mixed = {"glucose": -ufloat(100, 1), "ethanol": ufloat(45, 1), "CO2": ufloat(0.99, 0.01)}
    for size in (0.05, 1, 20):
        closure = Balance({name: size * amount for name, amount in mixed.items()}, priors="none").closure()
        suspected = [note for note in closure.notes if note.startswith("Is ")]
        assert suspected == ["Is CO2 in mol, not in g? Then the carbon would about close."]
    moles = {"glucose": -ufloat(0.555, 0.005), "ethanol": ufloat(0.99, 0.01), "CO2": ufloat(0.4, 0.005)}
    gas_missing = Balance(moles, unit="mol", priors="none").closure()
    assert gas_missing["carbon"].n < 0.8 and not [note for note in gas_missing.notes if note.startswith("Is ")]


def test_odd_sets_of_streams_are_answered_or_refused_in_words():
    """Random streams, signs, zeros and gaps: every question is answered in words, or refused by name."""
    rng = np.random.default_rng(12)
    names = ["glucose", "sucrose", "ethanol", "CO2", "yeast", "glycerol", "O2", "acetic acid", "ammonia", "water"]
    consumed = {"glucose", "sucrose", "O2", "ammonia"}
    answered = 0
    for _ in range(60):
        chosen = rng.choice(names, rng.integers(2, 7), replace=False)
        streams = {
            str(n): None
            if rng.random() < 0.2
            else ufloat(
                (-1 if n in consumed else 1) * rng.choice([0.0, 1.0, 45.0, 100.0]), rng.choice([0.01, 0.5, 3.0])
            )
            for n in chosen
        }
        for question in ("closure", "reconcile", "explain", "detection_limits", "measure_next"):
            try:
                page = str(getattr(Balance(streams, aerated=bool(rng.random() < 0.3)), question)())
            except (InputError, BalanceError) as refusal:
                assert refusal.do
            else:
                answered += 1
                assert "nan" not in page.lower()
    assert answered > 50


def test_everything_prints():
    """Each result is a page of text, HTML and a table, and a one-line repr."""
    bal = run(co2=35)
    for result in (bal, bal.closure(), bal.reconcile(), bal.explain(), bal.explain().best, bal.measure_next(),
                   bal.detection_limits(), bal.bounds("ethanol")):  # fmt: skip
        assert "nan" not in str(result).lower().replace("nanogram", "")
        assert result._repr_html_().startswith("<section")
        assert len(result.table()) >= 1
        assert repr(result).startswith(f"<{type(result).__name__}: ") and "\n" not in repr(result)


def test_p_values_are_uniform_on_good_runs():
    """p of the chi-square test is uniform when nothing is wrong (Kolmogorov-Smirnov)."""
    rng = np.random.default_rng(6)
    bal = measured_glycerol()
    _, V = bal._numbers
    true = np.array([a.n for a in bal.reconcile().amounts.values()])
    R = bal._redundancy.R
    draws = rng.multivariate_normal(true, V, size=4000) @ R.T
    chi2 = np.einsum("ij,jk,ik->i", draws, np.linalg.inv(R @ V @ R.T), draws)
    assert stats.kstest(stats.chi2.sf(chi2, R.shape[0]), "uniform").pvalue > 0.01
    assert math.isclose(bal.reconcile().p_value, stats.chi2.sf(bal.reconcile().chi2, 2), rel_tol=1e-9)
