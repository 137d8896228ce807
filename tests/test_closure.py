"""How much of what went in is found again."""


import numpy as np
import pytest
from balance_runs import measured_glycerol, run
from uncertainties import ufloat

from fermkit.balance.account import Balance
from fermkit.balance.closure import Verdict
from fermkit.balance.faults import (
    HEXOSE_PER_SUCROSE,
)
from fermkit.balance.redundancy import redundancy, weights


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
    assert blind.verdict("carbon") is Verdict.CLOSES and "a gap under 25 % would not show" in str(blind)
    assert sharp.verdict("carbon") is Verdict.MISSING and "7" in sharp.in_words("carbon")[:3]


def test_over_recovery_is_shown():
    """More carbon out than in is said with its size."""
    over = run(ethanol=56).closure()
    assert over["carbon"].n > 1
    assert over.verdict("carbon") is Verdict.TOO_MUCH and over.in_words("carbon")[:2] == "15"


def test_what_was_not_measured_is_no_mistake():
    """Without the gas a third of the carbon is not found; that is told of CO2, and is no alarm."""
    closure = Balance({"hexose": -ufloat(100, 1), "ethanol": ufloat(46, 1), "yeast": ufloat(4, 0.2)}).closure()
    assert closure["carbon"].n < 0.75
    assert closure.verdict("carbon") is Verdict.NOT_LISTED and closure.unmeasured["carbon"] == ("CO2",)
    assert closure.verdict("electrons") is Verdict.CLOSES


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


def test_a_balance_written_twice_is_one_test():
    """Copies and sums of balances add nothing: as many tests, and the same correction."""
    A = np.array([[1.0, -1.0, -1.0, 0.0], [0.0, 1.0, 0.0, -1.0]])
    x, V, none = np.array([10.3, 6.1, 3.9, 5.8]), np.diag([0.1, 0.2, 0.1, 0.3]), np.zeros((2, 0))
    plain = redundancy(A, none).R
    for rows in (np.vstack([A, A[:1]]), np.vstack([A, A[0] + A[1], A[0] - A[1], 3 * A[1]])):
        more = redundancy(rows, np.zeros((len(rows), 0))).R
        assert more.shape == plain.shape
        assert weights(more, V)[0] @ x == pytest.approx(weights(plain, V)[0] @ x)


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
