"""What a batch cost: prices told, over what came out, with what the two share."""

import numpy as np
import pytest
from uncertainties import ufloat

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.harvest.cost import cost_of, ratio_limits
from fermkit.show.report import html_report

SETTINGS = {
    "run": {"name": "pot", "state": "used up"}, "vessel": {"liquid": "2.5 L"},
    "feed": [{"ingredient": "white sugar", "amount": "140 ± 1 g", "price": "1.20"},
             {"ingredient": "water", "amount": "2400 g"}],
    "inoculum": {"ingredient": "active dry yeast", "amount": "5.0 ± 0.1 g", "price": "12 ± 1"},
    "cost": {"currency": "euro", "energy": "0.5 ± 0.1 kWh", "energy_price": "0.30", "dry_portion": "5.0 ± 0.1 g"},
}  # fmt: skip
PASTE = {"weights": {"item": ["paste"], "tare [g]": [10], "wet [g]": [83.1], "dry [g]": [31.5]}}


def test_the_sum_is_amount_times_price():
    """140 g at 1.20, 5 g at 12, half a kilowatt-hour at 0.30, over 21.5 g: by hand."""
    found = fk.analyse(fk.run_from(SETTINGS, PASTE)).cost
    total = 0.140 * 1.20 + 0.005 * 12 + 0.5 * 0.30
    assert nominal(found.total) == pytest.approx(total)
    assert nominal(found.per_kg) == pytest.approx(total / 0.0215)
    assert nominal(found.per_dry_portion) == pytest.approx(total / 21.5 * 5)
    assert found.per_kg_protein is None and found.not_priced == ()
    assert uncertainty(found.parts["active dry yeast"]) == pytest.approx(np.hypot(0.005 * 1, 0.0001 * 12), rel=0.01)


def test_it_stands_in_the_report_and_is_not_all_there_is():
    """The page names the money, and what is not in it."""
    words = html_report(fk.analyse(fk.run_from(SETTINGS, PASTE)))
    assert "What it cost" in words and "euro" in words and "rent" in words


def test_protein_has_its_own_price():
    """With the nitrogen measured, cost for each kilogram of crude protein."""
    found = fk.analyse(fk.run_from(SETTINGS | {"harvest": {"nitrogen": "8.0 ± 0.2 %"}}, PASTE)).cost
    assert nominal(found.per_kg_protein) == pytest.approx(nominal(found.per_kg) / (0.08 * 6.25), rel=1e-6)


def test_without_a_harvest_the_estimate_stands_in_with_its_doubt():
    """Nothing weighed: the paste of the recipe, so wide that the cost is open above or nearly so."""
    found = fk.analyse(fk.run_from(SETTINGS, {})).cost
    low, high = ratio_limits(found.total, found.dry_g)
    assert low > 0 and (np.isinf(high) or high > 3 * low)
    assert "nan" not in str(found)


def test_no_price_is_no_cost_and_no_gap():
    """Who tells no price is not asked for one."""
    bare = {**SETTINGS, "feed": [{"ingredient": "white sugar", "amount": "140 g"}], "cost": {},
            "inoculum": {"ingredient": "active dry yeast", "amount": "5 g"}}  # fmt: skip
    found = fk.analyse(fk.run_from(bare, PASTE))
    assert found.cost is None and not any("cost" in gap for gap in found.gaps)


def test_what_has_no_price_is_named():
    """The sugar has one, yeast and energy have none; water is free."""
    told = {**SETTINGS, "inoculum": {"ingredient": "active dry yeast", "amount": "5 g"}, "cost": {"energy": "1 kWh"}}
    assert fk.analyse(fk.run_from(told, PASTE)).cost.not_priced == ("active dry yeast", "the energy")


def test_two_prices_for_one_thing_are_refused():
    """One of them is a slip, or it is a mean."""
    feed = [{"ingredient": "white sugar", "amount": f"{g} g", "price": p} for g, p in ((100, "1.20"), (40, "1.50"))]
    assert any("one price for it" in gap for gap in fk.analyse(fk.run_from(SETTINGS | {"feed": feed}, PASTE)).gaps)
    with pytest.raises(InputError, match="no price for any of"):
        cost_of({}, 20.0)


def test_energy_below_that_of_evaporation_is_doubted():
    """51.6 g of water take 0.034 kWh at least."""
    tiny = SETTINGS | {"cost": SETTINGS["cost"] | {"energy": "0.010 ± 0.001 kWh"}}
    one, other = (fk.analyse(fk.run_from(told, PASTE)).cost for told in (SETTINGS, tiny))
    assert nominal(one.least_kWh) == pytest.approx(0.0516 * 0.66, rel=1e-3)
    assert len(other.page().remarks) == len(one.page().remarks) + 1


def test_the_interval_of_a_quotient_holds():
    """A bottom known to a fifth: 95 of 100 intervals hold the true quotient, where a plain ± does not on both sides."""
    rng = np.random.default_rng(3)
    a, b, held, above, below = 10.0, 5.0, 0, 0, 0
    for x, y in zip(rng.normal(a, 0.3, 4000), rng.normal(b, 1.0, 4000)):
        low, high = ratio_limits(ufloat(x, 0.3), ufloat(y, 1.0))
        held += low <= a / b <= high
        below += high < a / b
        above += low > a / b
    assert 0.94 < held / 4000 < 0.96
    assert 0.015 < below / 4000 < 0.035 and 0.015 < above / 4000 < 0.035


def test_a_quotient_over_nearly_nothing_is_open_above():
    """5 ± 4 g of yeast may be almost none."""
    low, high = ratio_limits(ufloat(10.0, 0.1), ufloat(5.0, 4.0))
    assert 0 < low < 2 and np.isinf(high)
