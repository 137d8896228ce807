"""Amounts corrected so that every balance closes, and the test of the correction."""

import math

import numpy as np
import pytest
from balance_runs import KITCHEN, NARROW, measured_glycerol, residual, run
from benchmarks import balance_study as study
from scipy import linalg, optimize, stats
from uncertainties import correlated_values, covariance_matrix, ufloat

import fermkit as fk
from fermkit.balance.account import Balance
from fermkit.balance.streams import LinearMeasurement
from fermkit.basis.errors import BalanceError
from fermkit.calibration.density import density_change


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
    yeast = {"yeast": ufloat(8, 0.2), "pitched": -ufloat(3, 0.1)}
    bal = Balance({**rest, **yeast}, of={"pitched": "yeast"}, priors=NARROW)
    glycerol = next(s for s in bal.listed if s.name == "glycerol").amount
    assert glycerol.n == pytest.approx(5 * 6.25e-3 * 92.094, rel=1e-4)
    assert bal.reconcile().p_value > 0.9
    wet = Balance({**rest, "yeast": ufloat(30, 0.6), "pitched": -ufloat(3, 0.1)}, of={"pitched": "yeast"}).explain()
    assert wet.best.key == "wet"
    assert list(wet.best.corrected) == ["yeast"]
    evidence = bal._evidence(with_yield=True)
    names = [a.name for a in evidence.amounts]
    follows = {name: [names[j] for j in evidence.followers(i)] for i, name in enumerate(names)}
    assert follows["hexose"] == ["organic acids", "usual yeast yield"]
    assert follows["yeast"] == ["glycerol"]
    assert follows["pitched"] == []


def test_nothing_made_comes_out_negative():
    """Amounts that would be pulled below zero are held there, the others still close, and the misfit only grows."""
    rest = {"glucose": -ufloat(100, 1), "ethanol": ufloat(54, 0.5), "yeast": ufloat(0.5, 0.4)}
    bal = Balance({**rest, "CO2": ufloat(48, 0.5)})
    found = bal.reconcile()
    assert "organic acids" in found.held and found["organic acids"].n == 0 and found["organic acids"].s > 0
    assert all(amount.n >= -1e-9 for name, amount in found.amounts.items() if name != "glucose")
    for row in ("C", "electrons"):
        assert residual(bal, found.amounts, row) == pytest.approx(0.0, abs=1e-6)
    R, (x, V) = bal._redundancy.R, bal._numbers
    assert found.chi2 > float(x @ R.T @ np.linalg.inv(R @ V @ R.T) @ R @ x)


@pytest.mark.parametrize("seed", range(4))
def test_held_amounts_are_those_of_a_bounded_fit(seed):
    """The amounts are the least-squares ones under the signs, as scipy's bounded fit finds them."""
    rng = np.random.default_rng(seed)
    rest = {"glucose": -ufloat(100, 1), "ethanol": ufloat(49, 3), "CO2": ufloat(47, 3), "yeast": ufloat(0.6, 0.5)}
    drawn = {name: abs(amount.n + 2 * amount.s * rng.standard_normal()) for name, amount in rest.items()}
    bal = Balance({name: ufloat(-n if name == "glucose" else n, rest[name].s) for name, n in drawn.items()})
    x, V = bal._numbers
    free, root = linalg.null_space(bal._redundancy.R), np.linalg.inv(np.linalg.cholesky(V))
    signs = np.where(np.arange(len(x)) == 0, -1.0, 1.0)
    bounded = optimize.minimize(
        lambda t: np.sum((root @ (free @ t - x)) ** 2), free.T @ x, method="SLSQP", tol=1e-14,
        constraints={"type": "ineq", "fun": lambda t: signs * (free @ t)},
    )  # fmt: skip
    found = bal.reconcile()
    assert [amount.n for amount in found.amounts.values()] == pytest.approx(list(free @ bounded.x), abs=2e-3)
    assert found.chi2 == pytest.approx(bounded.fun, rel=1e-4)


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
