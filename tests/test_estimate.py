"""One batch, one estimate: whatever was measured, it answers, and says how each number is known."""

import copy
import pickle
from itertools import combinations

import numpy as np
import pytest
from uncertainties import ufloat

from fermkit.basis.errors import InputError
from fermkit.batch.answers import QUANTITIES
from fermkit.batch.closing import Verdict
from fermkit.batch.estimate import Mark, estimate
from fermkit.batch.known import Recipe, known
from fermkit.batch.readings import (
    debris,
    density_fall,
    ethanol_content,
    extract,
    gas,
    harvest_share,
    jar_weight,
    paste,
    residual_sugar,
    washing_loss,
)
from fermkit.matter.feed import feed
from fermkit.matter.usual import GLYCEROL
from fermkit.vessel.container import Vessel

SUGAR = {"raw cane sugar": ufloat(140.0, 1.0), "water": 2400.0}
KITCHEN = Recipe(feed(SUGAR), liquid_L=ufloat(2.5, 0.03), gas_space_L=0.5)
BOTTLE = Vessel(total_L=3.0, liquid_L=2.5, temperature_C=25.0, rated_bar_gauge=6.0, material="PET")

ALL = (
    ethanol_content(ufloat(3.3, 0.15)),
    gas("collected volume", ufloat(55.0, 2.0)),
    jar_weight(ufloat(57.0, 1.0)),
    density_fall({"hexose": -0.39, "ethanol": 0.18, "glycerol": -0.2}, ufloat(66.0, 2.0)),
    residual_sugar(ufloat(2.0, 0.5)),
    paste(ufloat(17.0, 0.5)),
    extract(ufloat(8.0, 0.3)),
    debris(ufloat(7.0, 0.3)),
    washing_loss(ufloat(0.1, 0.03)),
    harvest_share(ufloat(0.95, 0.02)),
)


def about(answer):
    """The interval's two ends."""
    return answer.low, answer.high


def test_the_kitchen_that_measured_little_gets_an_answer():
    """Sugar, litres, "about 3 % vol", dry extract and debris: what a further prototype of the method gave."""
    found = estimate(KITCHEN, [ethanol_content(ufloat(3.3, 0.15)), extract(ufloat(9.6, 0.3)), debris(ufloat(8.1, 0.3))])
    assert about(found["co2"]) == pytest.approx((59, 70), abs=2.5)
    assert about(found["ethanol"]) == pytest.approx((58, 73), abs=2.5)
    assert about(found["yeast"]) == pytest.approx((4, 27), abs=4)
    assert found["co2"].mark == Mark.WORKED_OUT
    assert found["ethanol"].mark == Mark.MEASURED
    assert found["acids"].mark == Mark.ASSUMED


@pytest.mark.parametrize("size", range(len(ALL) + 1))
def test_every_subset_of_readings_answers(size):
    """Each quantity has a value inside its interval, a ± and a mark, whichever readings there are."""
    for chosen in combinations(ALL, size):
        found = estimate(KITCHEN, chosen)
        for key in QUANTITIES:
            answer = found[key]
            assert 0 <= answer.low <= answer.value <= answer.high < np.inf
            assert answer.u > 0
            assert answer.mark in Mark
            if not chosen:
                assert answer.mark == Mark.RECIPE
        if size not in (0, 1, len(ALL)):
            break


def test_no_more_comes_out_than_the_sugar_gives():
    """No value and no interval passes Gay-Lussac's limit: 0.5114 and 0.4886 g from a gram of hexose."""
    found = estimate(KITCHEN)
    top = found["sugar_fed"].high
    assert found["ethanol"].high <= 0.5114 * top * 1.001
    assert found["co2"].high <= 0.4886 * top * 1.01


def test_carbon_and_electrons_close_at_the_values():
    """The values of one estimate are one batch: its carbon and its electrons add up."""
    found = {key: answer.value for key, answer in estimate(KITCHEN, ALL[:1]).items()}
    carbon = {"sugar_used": 6 / 180.156, "ethanol": -2 / 46.069, "co2": -1 / 44.009, "glycerol": -3 / 92.094}
    electrons = {"sugar_used": 24 / 180.156, "ethanol": -12 / 46.069, "glycerol": -14 / 92.094, "oxygen": -4 / 31.998}
    yeast = found["yeast"] * 0.935 / 24.8
    acids = found["acids"] / 30.026
    left = sum(found[key] * c for key, c in carbon.items()) - yeast - acids
    assert left == pytest.approx(0, abs=0.004)
    left = sum(found[key] * c for key, c in electrons.items()) - 4.155 * yeast - 4 * acids
    assert left == pytest.approx(0, abs=0.02)


def test_used_up_narrows_and_stopped_does_not():
    """A sugar test narrows the gas; that no gas came for a day leaves the sugar where it was."""
    plain, stopped, used = (estimate(KITCHEN, state=state) for state in ("not stated", "stopped", "used up"))
    assert about(stopped["sugar_left"]) == about(plain["sugar_left"])
    assert used["co2"].high - used["co2"].low < 0.7 * (plain["co2"].high - plain["co2"].low)


def test_a_yield_that_nobody_weighed_is_not_called_measured():
    """Yeast without a paste, CO2 without a gas reading: worked out or assumed."""
    found = estimate(KITCHEN, [ethanol_content(ufloat(3.3, 0.15))])
    assert found["yeast"].mark == Mark.ASSUMED
    assert found["co2"].mark == Mark.WORKED_OUT
    with_gas = estimate(KITCHEN, [gas("vessel weight", ufloat(58.0, 1.5))], state="stopped")
    assert with_gas["co2"].mark == Mark.MEASURED


def test_silence_is_no_zero():
    """A reading left out leaves its quantity open; it never counts as nothing found."""
    without = estimate(KITCHEN, ALL[:1])
    assert without["washings"].high > 2
    assert estimate(KITCHEN, (*ALL[:1], washing_loss(ufloat(0.0, 0.01))))["washings"].high < 1


def test_an_inoculum_not_told_stays_open():
    """Nobody told the yeast put in: it may be some grams, and it is not taken for grown."""
    told = Recipe(feed(SUGAR | {"active dry yeast": ufloat(4.0, 0.1)}), liquid_L=2.5, gas_space_L=0.5)
    open_, closed = (estimate(recipe, [paste(ufloat(17.0, 0.4))]) for recipe in (KITCHEN, told))
    assert open_["yeast"].u > closed["yeast"].u
    assert not KITCHEN.inoculum_told


def test_a_pm_of_zero_is_refused_and_a_missing_one_announced():
    """A written ± 0 is no ±; where none is written the kitchen's usual one is taken."""
    with pytest.raises(InputError, match="± above zero"):
        paste(17.0 + 0 * ufloat(1.0, 1.0))
    reading = paste(17.0)
    assert reading.usual_u
    assert reading.value.std_dev > 0


def test_values_stay_correlated_up_to_the_yield():
    """Alcohol and sugar used share the sugar left: their quotient is better known than apart."""
    found = estimate(KITCHEN, ALL[:1])
    yield_ = found.amount("co2") / found.amount("sugar_used")
    parts = [found.amount(key) for key in ("co2", "sugar_used")]
    apart = yield_.nominal_value * np.hypot(*(part.std_dev / part.nominal_value for part in parts))
    assert yield_.std_dev < 0.9 * apart
    assert sum(found.whose("co2").shares) == pytest.approx(1.0)
    full = estimate(KITCHEN, ALL)
    assert full.amount("extract").std_dev == pytest.approx(full["extract"].u, rel=1e-6)


def test_a_shared_weighing_stays_shared():
    """A reading that rests on the recipe's own weighing moves with it."""
    sugar = ufloat(145.0, 5.0)
    recipe = Recipe(feed({"glucose": sugar}, {"glucose": {"glucose": 1.0}}), liquid_L=1.0, gas_space_L=0.5)
    shared = estimate(recipe, [residual_sugar(0.1 * sugar + ufloat(0, 0.1))])
    alone = estimate(recipe, [residual_sugar(ufloat(14.5, np.hypot(0.5, 0.1)))])
    assert shared.settled.P[0, 5, 5] < alone.settled.P[0, 5, 5]


def test_the_nitrogen_source_sets_the_glycerol():
    """Ammonium 8 to 13, amino nitrogen 4 to 8 mmol for each gram of yeast (Albers 1996; flux tables)."""
    salts = Recipe(feed({"white sugar": 100.0, "diammonium phosphate": 3.0}))
    extract_ = Recipe(feed({"white sugar": 100.0, "yeast extract": 10.0}))
    assert salts.nitrogen_source == "ammonium"
    assert extract_.nitrogen_source == "amino"
    middle = {latent.key: latent.middle for latent in known(salts)}
    assert middle["glycerol_per_yeast"] == pytest.approx(10.5) == GLYCEROL["ammonium"].middle


def test_the_pressure_comes_from_the_recipe_alone():
    """A rated bottle, nothing read: too much, said by the upper end on a warm day."""
    found = estimate(KITCHEN, vessel=BOTTLE)
    assert found.if_closed.verdict is Verdict.TOO_MUCH
    assert found["pressure"].mark == Mark.RECIPE
    assert found["pressure"].high > 6.0


def test_without_a_rating_it_says_do_not_close_it():
    """Little sugar or much: a vessel without a rating is not to be closed."""
    little = Recipe(feed({"white sugar": 5.0, "water": 2500.0}), liquid_L=2.5, gas_space_L=0.5)
    unrated = Vessel(total_L=3.0, liquid_L=2.5, temperature_C=25.0)
    assert estimate(little, vessel=unrated).if_closed.verdict is Verdict.NO_RATING
    keg = Vessel(total_L=3.0, liquid_L=2.5, temperature_C=25.0, rated_bar_gauge=6.0, material="steel")
    closed = estimate(little, vessel=keg).if_closed
    assert closed.verdict is Verdict.BELOW
    assert closed.warm_day.value > closed.now.value


def test_a_recipe_without_sugar_is_refused_in_three_beats():
    """No sugar, no batch."""
    with pytest.raises(InputError, match="some sugar"):
        Recipe(feed({"water": 1000.0}))


def test_the_mark_does_not_hang_on_the_number_read():
    """Marks come from the ± alone: another content, the same marks."""
    one, other = (estimate(KITCHEN, [ethanol_content(ufloat(x, 0.15))]) for x in (1.5, 3.5))
    assert [a.mark for a in one.values()] == [a.mark for a in other.values()]


def test_an_estimate_can_be_kept():
    """It pickles and copies, correlations and all."""
    found = estimate(KITCHEN, ALL, vessel=BOTTLE)
    for again in (pickle.loads(pickle.dumps(found)), copy.deepcopy(found)):
        assert again["co2"].value == found["co2"].value
        ratio = again.amount("co2") / again.amount("ethanol")
        assert ratio.std_dev == pytest.approx((found.amount("co2") / found.amount("ethanol")).std_dev)


def test_what_to_measure_next_is_what_narrows_most():
    """With the recipe alone it is asked whether the sugar is used up, or how much is left."""
    gains = estimate(KITCHEN).measure_next()
    assert gains[0].most == min(gain.most for gain in gains)
    assert all(0 <= share <= 1 for gain in gains for share in gain.left.values())
    narrowed = estimate(KITCHEN, ALL[4:5])
    assert "sugar left" not in {gain.words for gain in narrowed.measure_next()}


def test_readings_that_fit_raise_no_alarm_and_a_contradiction_does():
    """One statistic for the run."""
    assert not estimate(KITCHEN, ALL).adds_up.alarm
    bad = estimate(KITCHEN, [*ALL[:1], gas("vessel weight", ufloat(30.0, 1.0))])
    assert bad.adds_up.alarm


def test_what_was_not_measured_is_not_missing():
    """Alcohol and paste without any gas reading: CO2 is worked out, and no carbon is called missing."""
    found = estimate(KITCHEN, [ethanol_content(ufloat(3.1, 0.15)), paste(ufloat(12.0, 0.5))])
    assert not found.adds_up.alarm
    assert found["co2"].mark == Mark.WORKED_OUT


@pytest.mark.parametrize(
    "reading",
    [
        ethanol_content(ufloat(3.0, 1e9)),
        gas("collected volume", ufloat(5.5e21, 1e20)),
        paste(ufloat(1e29, 1e27)),
        residual_sugar(ufloat(0.0, 1e-9)),
        ethanol_content(ufloat(0.0, 0.1)),
        gas("vessel weight", ufloat(0.0, 0.5)),
    ],
)
def test_a_wild_reading_costs_that_reading_only(reading):
    """A ± of 1e9, gas times 1e20, 1e29 g, nothing at all: each quantity still has a finite answer."""
    found = estimate(KITCHEN, [reading, *ALL[4:5]] if reading.kind != "residual sugar" else [reading])
    for answer in found.values():
        assert 0 <= answer.low <= answer.value <= answer.high < 1e4
    assert str(found)


@pytest.mark.parametrize("grams", [0.09, 140.0, 1e6, 1e29])
def test_any_amount_of_sugar_has_an_answer(grams):
    """From a pinch to a silo: no traceback, no number that is none."""
    found = estimate(Recipe(feed({"white sugar": grams}), liquid_L=2.5))
    assert all(np.isfinite(answer.value) for answer in found.values())


@pytest.mark.parametrize("closed", ["airlock", "open", "vented", "closed"])
@pytest.mark.parametrize("air_pump", [False, True])
@pytest.mark.parametrize("state", ["not stated", "running", "stopped", "used up"])
def test_every_way_to_run_a_batch_answers(closed, air_pump, state):
    """Airlock, open, vented by hand or shut, with an air pump or not, in every state: a finite answer for each."""
    recipe = Recipe(feed(SUGAR), liquid_L=2.5, gas_space_L=0.5, closed=closed, air_pump=air_pump)
    found = estimate(recipe, ALL[:1], state=state)
    assert all(0 <= answer.low <= answer.value <= answer.high < 1e3 for answer in found.values())


def test_a_shut_vessel_keeps_its_gas():
    """Nothing leaves a shut vessel: liquid and gas space hold all the CO2 that was made."""
    found = estimate(Recipe(feed(SUGAR), liquid_L=2.5, gas_space_L=0.5, closed="closed"))
    held = found["co2_in_liquid"].value + found["co2_in_gas_space"].value
    assert held == pytest.approx(found["co2"].value, rel=1e-3)
