"""What nobody measured: by-products at their usual amounts, end products without an amount."""


import numpy as np
import pytest
from balance_runs import KITCHEN, NARROW, run
from benchmarks import balance_study as study
from uncertainties import covariance_matrix, ufloat

from fermkit.balance.account import Balance
from fermkit.balance.reconciliation import Verdict
from fermkit.matter.composition import compound


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


def test_growth_brings_its_usual_glycerol():
    """By nitrogen source, correlated with the yeast, and 1.5 % of the carbon as acids; both printed."""
    bal = run()
    by_name = {s.name: s for s in bal.listed}
    glycerol = by_name["glycerol"].amount
    assert glycerol.n == pytest.approx(5 * 8.5e-3 * 92.094, rel=1e-4)
    for source, per_g in (("ammonium", 10.5), ("amino", 6.0)):
        told = next(s for s in run(nitrogen_source=source).listed if s.name == "glycerol").amount
        assert told.n == pytest.approx(5 * per_g * 1e-3 * 92.094, rel=1e-4)
    assert covariance_matrix([glycerol, bal.streams["yeast"]])[0][1] > 0
    acids = by_name["organic acids"].amount.n / 30.026
    assert acids == pytest.approx(0.015 * 100 * 6 / 180.156, rel=1e-3)
    said = " ".join(str(bal).split())
    assert "Glycerol was not measured" in said and "Organic acids were not measured" in said


def test_measured_byproducts_replace_the_usual_ones():
    """Measured glycerol and acids are taken as they are; own usual amounts replace the printed ones."""
    rest = {"glucose": -ufloat(100, 1), "ethanol": ufloat(45, 1), "CO2": ufloat(44.7, 0.5), "yeast": ufloat(5, 0.3)}
    measured = Balance({**rest, "glycerol": ufloat(3, 0.1), "lactic acid": ufloat(1, 0.1)})
    assert [s.standing for s in measured.listed] == ["measured"] * 6
    own = Balance(rest, priors={"acids": ufloat(0.03, 0.01)})
    assert [s.name for s in own.listed if s.standing == "usual"] == ["organic acids"]


def test_unmeasured_yeast_is_found_with_its_glycerol():
    """Where the yeast was not measured, glycerol stays tied to it, and both come from the balances."""
    rest = {"glucose": -ufloat(100, 1), "ethanol": ufloat(45.636, 0.5), "CO2": ufloat(44.7, 0.5)}
    bal = Balance({**rest, "yeast": None}, priors=NARROW)
    found = bal.reconcile()
    assert found.degrees_of_freedom == 1
    assert found["yeast"].n == pytest.approx(5.0, abs=0.1)
    assert found["glycerol"].n == pytest.approx(found["yeast"].n * 6.25e-3 * 92.094, rel=0.02)
    assert "tied" not in [e.name for g in bal.explain().groups for e in g]
    sugar = {"glucose": bal.streams["glucose"] / compound("glucose").molar_mass}
    other = Balance({**bal.streams, **sugar}, unit={"yeast": "kg", "glucose": "mol"}, priors=NARROW).reconcile()
    assert other["yeast"].n * 1000 == pytest.approx(found["yeast"].n, rel=1e-6)
    assert other["glycerol"].n == pytest.approx(found["glycerol"].n, rel=1e-6)
    assert other["glycerol"].s == pytest.approx(found["glycerol"].s, rel=1e-6)


def test_an_end_product_that_nobody_listed_was_not_measured():
    """Sugar and alcohol without the gas: the gas is found, the alcohol stays, and no suspect is named."""
    rest = {"glucose": -ufloat(100, 2), "ethanol": ufloat(45.6, 2.3), "yeast": ufloat(5, 0.4)}
    bal = Balance(rest)
    found = bal.reconcile()
    assert bal.standing["CO2"] == "found" and found.verdict is Verdict.AGREE
    assert found["ethanol"].n == pytest.approx(45.6, abs=1.0)
    assert found["CO2"].n == pytest.approx(44.5, abs=1.5)
    explained = bal.explain()
    assert explained.chance > 0.5
    gas = Balance({"glucose": -ufloat(100, 2), "CO2": ufloat(44.7, 1), "yeast": ufloat(5, 0.4)}).reconcile()
    assert gas["ethanol"].n == pytest.approx(45.6, abs=2.5)
    assert "CO2" not in Balance(rest, priors="none").standing


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
