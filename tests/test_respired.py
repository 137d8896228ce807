"""With air: what was respired and what fermented, told by alcohol and yeast with the oxygen unmeasured; feeding."""

import numpy as np
import pytest

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal
from fermkit.batch.feeding import STEP_H, feeding
from fermkit.batch.respired import Fed, respired
from fermkit.show.report import html_report


def aired(pct_vol, dry_g, hours=48, **more):
    """100 g of sugar with an air pump: alcohol in 2 L at the end, and dry paste."""
    settings = {
        "run": {"name": "air", "state": "used up"}, "vessel": {"liquid": "2.0 L", "total": "4 L", "closed": "open"},
        "conditions": {"aeration": "air pump", "temperature": "30 °C"},
        "feed": [{"ingredient": "white sugar", "amount": "100 ± 1 g"},
                 {"ingredient": "diammonium phosphate", "amount": "12 g"}],
        "inoculum": {"ingredient": "active dry yeast", "amount": "5.0 ± 0.1 g"},
        "ethanol": {"content": f"{pct_vol} ± 0.1 % vol"},
    }  # fmt: skip
    tables = {"weights": {"item": ["paste"], "tare [g]": [10], "wet [g]": [10 + 4 * dry_g], "dry [g]": [10 + dry_g]},
              "temperature": {"time [h]": [0, hours], "temperature [°C]": [30, 30]}}  # fmt: skip
    return fk.analyse(fk.run_from(settings | more, tables))


def test_much_yeast_and_no_alcohol_is_respired():
    """48 g of yeast from 105 g of sugar and 0.1 % vol."""
    found = aired(0.1, 50).respired
    assert found.fed is Fed.RESPIRED and found.next_time is None
    assert nominal(found.to_oxygen) > 0.1 and nominal(found.to_yeast) > 0.45


def test_alcohol_and_little_yeast_is_too_much_sugar_at_once():
    """2.5 % vol and 20 g: fermented; nobody needs the oxygen to say so."""
    found = aired(2.5, 20).respired
    assert found.fed is Fed.TOO_MUCH and nominal(found.to_alcohol) > 0.5


def test_without_the_alcohol_it_is_left_open():
    """Yeast alone, between the two."""
    assert aired(0.1, 30, ethanol={}).respired.fed is Fed.OPEN


def test_shares_stand_in_the_report_and_add_up():
    """Oxygen, alcohol, yeast and by-products take all electrons; only runs with a pump are asked."""
    run = aired(1.2, 30)
    found = run.respired
    by = run.estimate["glycerol"].value / 92.09 * 14 + run.estimate["acids"].value / 30.03 * 4
    of = run.estimate["sugar_used"].value / 180.16 * 24
    whole = nominal(found.to_oxygen + found.to_alcohol + found.to_yeast) + by / of
    assert whole == pytest.approx(1.0, abs=0.03)
    assert "Respired or fermented?" in html_report(run)
    assert aired(1.2, 30, conditions={"aeration": "none"}).respired is None
    with pytest.raises(InputError, match="no air pump"):
        respired(aired(1.2, 30, conditions={"aeration": "none"}).estimate)


def test_what_the_air_carried_out_is_counted():
    """Alcohol made is more than the liquid holds: 1.2 % vol of 2 L are 19 g."""
    run = aired(1.2, 30)
    assert run.estimate["ethanol"].value > 19.5 and nominal(run.respired.carried_out) > 0


def test_the_feeding_becomes_the_exponential_one_in_short_steps():
    """Fed by the textbook: X0/Y (exp(µ t) − 1) by any hour, which steps of two hours never pass."""
    plan = feeding(100.0, 1.0, 1000.0)
    for start, _, fed in plan.rows[:-1]:
        assert fed <= 1.0 / 0.5 * (np.exp(0.2 * (start + STEP_H)) - 1) + 1e-9
    assert plan.at_ceiling_h == float("inf")
    assert feeding(100.0, 1.0, 3.7).at_ceiling_h > 0


def test_the_table_is_in_grams_of_what_is_poured():
    """Molasses with half of its weight as sugar: twice the grams, the same hours."""
    sugar, molasses = feeding(100.0, 2.0, 5.0), feeding(100.0, 2.0, 5.0, of_feed=0.5)
    assert sugar.rows == molasses.rows
    first, other = (float(str(plan.page().lines[0].value)) for plan in (sugar, molasses))
    assert other == pytest.approx(2 * first, rel=0.05)
    with pytest.raises(InputError, match="sugar in a gram of the feed"):
        feeding(100.0, 2.0, 5.0, of_feed=0.0)
