"""A batch before it is mixed: limits, nutrients, air, gas, pressure."""

import numpy as np
import pytest
from uncertainties import ufloat

from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import nominal, uncertainty
from fermkit.batch.aeration import ethanol_carried_out, oxygen_transfer, stripped_share, water_carried_out
from fermkit.batch.estimate import estimate
from fermkit.batch.feeding import feeding
from fermkit.batch.known import Recipe
from fermkit.batch.nutrients import nutrients_for
from fermkit.batch.plan import WAYS, co2_held, plan_batch
from fermkit.matter import usual
from fermkit.matter.composition import molar_mass
from fermkit.matter.feed import NOT_JUDGED, YEAST_HOLDS, feed, yeast_limits
from fermkit.teach.fermentation import Batch, ferment
from fermkit.teach.kitchen import drawn_strain
from fermkit.vessel.container import Vessel

SUGAR = {"white sugar": ufloat(100.0, 1.0, "weighing the sugar"), "water": 1900.0, "active dry yeast": 5.0}
RICH = SUGAR | {
    "diammonium phosphate": 8.0, "ammonium sulfate": 25.0, "monopotassium phosphate": 10.0, "magnesium sulfate": 5.0,
}  # fmt: skip
AIR = {"kLa_per_h": ufloat(150.0, 10.0), "air_L_per_min": ufloat(1.0, 0.1)}


def close(found, wanted, rel=1e-6):
    """The nominal values agree."""
    assert nominal(found) == pytest.approx(nominal(wanted), rel=rel)


@pytest.mark.parametrize("how", WAYS)
def test_carbon_and_electrons_of_every_plan_close(how):
    """Sugar in is ethanol, CO2, yeast, glycerol and acids out; oxygen takes its electrons."""
    fate = plan_batch(feed(RICH), how=how, **({} if how == "without air" else AIR)).fate
    cells = nominal(fate.yeast_g) * 0.935 / usual.YEAST_PER_CARBON.middle
    mol = {
        name: nominal(getattr(fate, f"{name}_mol"))
        for name in ("hexose", "ethanol", "co2", "glycerol", "acids", "oxygen")
    }
    carbon = cells + 2 * mol["ethanol"] + mol["co2"] + 3 * mol["glycerol"] + 2 * mol["acids"]
    electrons = usual.YEAST_ELECTRONS.middle * cells + 12 * mol["ethanol"] + 14 * mol["glycerol"]
    electrons += 8 * mol["acids"] + 4 * mol["oxygen"]
    assert carbon == pytest.approx(6 * mol["hexose"], rel=1e-9)
    assert electrons == pytest.approx(24 * mol["hexose"], rel=1e-9)


def test_closed_with_plenty_of_nutrients_energy_binds():
    """The hexose gives what is usual without air; only the vessel's own air is used up."""
    plan = plan_batch(feed(RICH), liquid_L=2.0)
    assert plan.binding == ("energy",)
    for end, share in zip(plan.yeast_range_g, (usual.YEAST.low, usual.YEAST.high), strict=True):
        close(end, plan.feed.hexose_g * share)
    assert plan.oxygen_ceiling_mol == 0 and plan.respired_share == 0 and plan.hours_to_respire is None
    assert 0 < nominal(plan.fate.oxygen_mol) < 0.01
    close(plan.fate.yeast_g, plan.fate.hexose_mol * molar_mass("hexose") * usual.YEAST.middle)


def test_a_plan_is_what_a_run_with_no_reading_is_told():
    """Yeast, alcohol, CO2, glycerol, the pressure: each with the interval of the recipe's own estimate, used up."""
    bottle = Vessel(total_L=3.0, liquid_L=2.0, temperature_C=25.0, rated_bar_gauge=8.0)
    plan = plan_batch(feed(RICH), vessel=bottle)
    told = estimate(Recipe(feed(RICH), 2.0, 1.0), vessel=bottle, state="used up")
    for key in ("sugar_left", "yeast", "ethanol", "co2", "glycerol", "pressure"):
        for end in ("low", "value", "high"):
            assert getattr(plan.estimate[key], end) == pytest.approx(getattr(told[key], end), rel=1e-6), key
    close(plan.fate.co2_g, told["co2"].value)
    close(plan.fate.ethanol_g, told["ethanol"].value)
    assert plan.if_closed.warm_day.high == pytest.approx(told.if_closed.warm_day.high)


def test_a_nutrient_that_is_short_is_a_limit_of_the_estimate():
    """With hardly any nitrogen the estimate of the plan takes less yeast, so less glycerol and more alcohol."""
    rich, poor = plan_batch(feed(RICH), liquid_L=2.0), plan_batch(feed(SUGAR), liquid_L=2.0)
    assert poor.estimate["yeast"].high < rich.estimate["yeast"].high
    assert poor.estimate["glycerol"].value < rich.estimate["glycerol"].value
    assert poor.estimate["ethanol"].value > rich.estimate["ethanol"].value


def test_without_nutrients_the_plan_says_what_holds_the_yeast_back():
    """Sugar, water and yeast alone: nitrogen and phosphorus can bind, and the least is no growth."""
    plan = plan_batch(feed(SUGAR), liquid_L=2.0)
    assert {"nitrogen", "phosphorus"} <= set(plan.binding)
    assert nominal(plan.yeast_range_g[0]) == 0.0
    assert any("can hold the yeast back" in remark for remark in plan.remarks)
    assert set(plan.nutrients.salts_g) >= {"diammonium phosphate", "ammonium sulfate"}


@pytest.mark.parametrize("base", [SUGAR, {"beet molasses": 240.0, "water": 1800.0, "active dry yeast": 7.0},
                                  {"cane molasses": 300.0, "water": 1800.0, "fresh yeast": 20.0}])  # fmt: skip
@pytest.mark.parametrize("yeast_g", [5.0, 12.0, 60.0])
def test_the_nutrients_lift_every_element_just_above_the_goal(base, yeast_g):
    """With the most of each salt no element surely binds; with the least of each none surely does."""
    before = yeast_limits(feed(base)).ranges()
    need = nutrients_for(feed(base), yeast_g)
    after = yeast_limits(feed(base | {name: grams[1] for name, grams in need.salts_g.items()})).ranges()
    for name in YEAST_HOLDS:
        assert nominal(after[name][0]) >= yeast_g * (1 - 1e-9), name
        assert (need.short_g[name][1] == 0.0) == (nominal(before[name][0]) >= yeast_g)
    if need.short_g["nitrogen"][1] > 0 and "ammonium sulfate" in need.salts_g:
        assert nominal(after["nitrogen"][0]) == pytest.approx(yeast_g, rel=0.02)
    least = {name: grams[0] for name, grams in need.salts_g.items() if grams[0] > 0}
    hopeful = yeast_limits(feed(base | least)).ranges() if least else before
    assert all(nominal(hopeful[name][1]) >= yeast_g * (1 - 1e-9) for name in YEAST_HOLDS)


def test_nutrients_that_are_not_needed_are_not_named():
    """Nothing is short: the page says so."""
    need = nutrients_for(feed(RICH), 5.0)
    assert need.salts_g == {} and need.yeast_food_g == (0.0, 0.0)
    assert "is short" in str(need) and NOT_JUDGED[:20] in str(need)
    with pytest.raises(InputError, match=r"yeast wanted \[g\] is 0"):
        nutrients_for(feed(RICH), 0.0)


def test_yeast_food_is_the_other_way():
    """The most of the mixed nutrient covers nitrogen and phosphorus both."""
    need = nutrients_for(feed(SUGAR), 8.0)
    after = yeast_limits(feed(SUGAR | {"yeast food": need.yeast_food_g[1]})).ranges()
    assert min(nominal(after[name][0]) for name in ("nitrogen", "phosphorus")) == pytest.approx(8.0)


def test_slow_feeding_is_limited_by_the_oxygen_then_by_nothing_but_itself():
    """More air respires more, gives more yeast and less alcohol, until all is respired."""
    plans = [
        plan_batch(feed(RICH), how="fed slowly", liquid_L=2.0, kLa_per_h=k, air_L_per_min=1.0) for k in (5, 20, 60, 500)
    ]
    yeast = [nominal(plan.fate.yeast_g) for plan in plans]
    ethanol = [nominal(plan.fate.ethanol_g) for plan in plans]
    assert yeast == sorted(yeast) and ethanol == sorted(ethanol, reverse=True)
    close(plans[0].fate.oxygen_mol, plans[0].oxygen_ceiling_mol)
    assert plans[-1].respired_share == 1.0
    assert nominal(plans[-1].fate.oxygen_mol) < nominal(plans[-1].oxygen_ceiling_mol)
    rq = [nominal(plan.fate.respiratory_quotient) for plan in plans]
    assert rq == sorted(rq, reverse=True) and 0.95 < rq[-1] < 1.15
    assert ethanol[-1] == pytest.approx(0.0, abs=0.03 * 0.51 * 105)


def test_all_the_sugar_is_respired_in_just_the_hours_that_are_said():
    """Feeding for that long leaves nothing to ferment; for half as long, half of it."""
    first = plan_batch(feed(RICH), how="fed slowly", liquid_L=2.0, oxygen_mmol_per_L_h=20.0, air_L_per_min=1.0)
    enough = plan_batch(
        feed(RICH), how="fed slowly", liquid_L=2.0, oxygen_mmol_per_L_h=20.0, air_L_per_min=1.0,
        hours=nominal(first.hours_to_respire) * 1.0001,
    )  # fmt: skip
    half = plan_batch(
        feed(RICH), how="fed slowly", liquid_L=2.0, oxygen_mmol_per_L_h=20.0, air_L_per_min=1.0,
        hours=nominal(first.hours_to_respire) / 2,
    )  # fmt: skip
    assert enough.respired_share == 1.0
    assert nominal(half.respired_share) == pytest.approx(0.5, rel=0.02)
    assert any("feed longer" in remark for remark in half.remarks)


def test_starved_yeast_needs_more_oxygen_for_the_same_sugar():
    """With little nitrogen less of the respired sugar becomes yeast, so that the same air respires less of it."""
    same = {"how": "fed slowly", "liquid_L": 2.0, "oxygen_mmol_per_L_h": 10.0, "air_L_per_min": 1.0}
    rich, poor = plan_batch(feed(RICH), **same), plan_batch(feed(SUGAR | {"diammonium phosphate": 2.0}), **same)
    assert "energy" not in poor.binding and rich.binding == ("energy",)
    for plan in (rich, poor):
        starved = sum(nominal(end) for end in plan.yeast_range_g) / sum(nominal(end) for end in plan.energy_g)
        cells = nominal(plan.feed.hexose_g) * 0.5 * starved * 0.935 / usual.YEAST_PER_CARBON.middle
        needed = (24 * nominal(plan.feed.hexose_g) / molar_mass("hexose") - usual.YEAST_ELECTRONS.middle * cells) / 4
        assert nominal(plan.respired_share) == pytest.approx(nominal(plan.oxygen_ceiling_mol) / needed, rel=0.01)
    assert nominal(poor.respired_share) < 0.85 * nominal(rich.respired_share)


def test_a_little_air_takes_long_but_not_forever():
    """Half a millimole in a litre and hour: the hours are told, not left out."""
    plan = plan_batch(feed(RICH), how="fed slowly", liquid_L=2.0, oxygen_mmol_per_L_h=0.5, air_L_per_min=1.0)
    assert nominal(plan.hours_to_respire) == pytest.approx(1.4 / 0.001, rel=0.1)


def test_air_in_plenty_of_sugar_changes_little():
    """The Crabtree effect: aerated all at once, most of the sugar still ferments however much air there is."""
    little, much = (
        plan_batch(feed(RICH), how="aerated", liquid_L=2.0, kLa_per_h=k, air_L_per_min=1.0) for k in (50, 5000)
    )
    close(little.fate.yeast_g, much.fate.yeast_g)
    assert nominal(much.respired_share) < 0.16
    assert nominal(much.fate.respiratory_quotient) > 3
    assert any("Crabtree" in remark for remark in much.remarks)


def test_no_air_at_all_is_as_good_as_closed():
    """With a transfer of zero nothing is respired."""
    plan = plan_batch(feed(RICH), how="aerated", liquid_L=2.0, oxygen_mmol_per_L_h=0.0, air_L_per_min=0.0)
    close(plan.fate.yeast_g, plan_batch(feed(RICH), liquid_L=2.0).fate.yeast_g)
    assert plan.hours_to_respire is None and nominal(plan.ethanol_stripped_g) == 0.0


def test_what_was_not_given_is_said_and_widens_the_answer():
    """Defaults are named as common practice and carry their spread."""
    vague = plan_batch(feed(RICH), how="fed slowly", liquid_L=2.0)
    exact = plan_batch(feed(RICH), how="fed slowly", liquid_L=2.0, kLa_per_h=27.5, air_L_per_min=1.2)
    said = " ".join(vague.remarks)
    assert "No oxygen transfer was given" in said and "No air flow was given" in said
    assert not any("was given" in remark for remark in exact.remarks)
    assert uncertainty(vague.respired_share) > 1.5 * uncertainty(exact.respired_share)
    assert uncertainty(vague.fate.yeast_g) > uncertainty(exact.fate.yeast_g)
    close(vague.fate.yeast_g, exact.fate.yeast_g, rel=1e-3)


def test_the_weighing_reaches_the_alcohol():
    """The caller's ± on the sugar is in the alcohol, with the right slope."""
    weighed = SUGAR["white sugar"]
    plan = plan_batch(feed(RICH), liquid_L=2.0)
    assert plan.fate.ethanol_g.derivatives[weighed] == pytest.approx(nominal(plan.fate.ethanol_g) / 100, rel=0.01)


def test_gas_is_what_the_liquid_does_not_keep():
    """CO2 made less the dissolved, moist: about 22 L from 100 g of sugar in 2 L."""
    plan = plan_batch(feed(RICH), liquid_L=2.0, pH=4.5)
    out = nominal(plan.fate.co2_mol) - nominal(co2_held(2.0, 25.0, pH=4.5))
    assert nominal(plan.gas_L) == pytest.approx(out * 24.79 / 1.01325 / (1 - 0.03128), rel=2e-3)
    neutral = plan_batch(feed(RICH), liquid_L=2.0, pH=7.0)
    assert nominal(neutral.gas_L) < nominal(plan.gas_L)
    few = feed({"white sugar": 1.0, "water": 2000.0, "active dry yeast": 1.0})
    assert nominal(plan_batch(few, liquid_L=2.0).gas_L) == 0.0


def test_a_sealed_vessel_gets_its_pressure_or_a_warning():
    """20 g/L in a 3 L vessel: the vessel's own pressure; 100 g in it: never."""
    vessel = Vessel(total_L=3.0, liquid_L=2.2, temperature_C=25.0, rated_bar_gauge=4.0)
    mild = plan_batch(feed(SUGAR | {"white sugar": 20.0}), vessel=vessel)
    close(mild.pressure.gauge_bar, vessel.pressure(mild.fate.co2_mol).gauge_bar)
    assert "TOO MUCH" in str(mild) or "rating" in str(mild)
    wild = plan_batch(feed(SUGAR), vessel=Vessel(total_L=2.4, liquid_L=2.2, temperature_C=25.0))
    assert wild.pressure is None
    assert any("NEVER SEAL THIS" in remark for remark in wild.remarks)
    assert plan_batch(feed(SUGAR), how="aerated", vessel=vessel, **AIR).pressure is None


def test_the_liquid_follows_from_the_feed_when_nobody_says():
    """Mass over the density of as much sucrose, to a per cent."""
    assert nominal(plan_batch(feed(RICH)).liquid_L) == pytest.approx(2.037 / 1.022, rel=0.01)
    with pytest.raises(InputError, match="solids"):
        plan_batch(feed({"white sugar": 100.0, "active dry yeast": 1.0}))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"how": "open"}, "how the batch is run is 'open'"),
        ({"liquid_L": 0.0}, r"liquid \[L\] is 0"),
        ({"temperature_C": 60.0}, "temperature .* is 60"),
        ({"hours": -1.0}, "hours of aeration"),
        ({"how": "aerated", "kLa_per_h": -5.0}, "transfer coefficient"),
        ({"how": "aerated", "oxygen_mmol_per_L_h": -5.0}, "oxygen transfer"),
        ({"how": "aerated", "air_L_per_min": -5.0}, "air"),
    ],
)
def test_what_cannot_be_planned_is_refused(change, says):
    """Words that are no way, negative air, no liquid, heat that kills."""
    with pytest.raises(InputError, match=says):
        plan_batch(feed(RICH), **({"liquid_L": 2.0} | change))


def test_a_feed_without_sugar_is_refused():
    """Nothing to ferment."""
    with pytest.raises(InputError, match="fermentable sugar"):
        plan_batch(feed({"water": 100.0}), liquid_L=0.1)


def test_three_ways_side_by_side():
    """Yeast rises from closed to aerated to fed slowly, alcohol falls; the difference has its ±."""
    plans = [plan_batch(feed(RICH), how=how, liquid_L=2.0, **({} if how == WAYS[0] else AIR)) for how in WAYS]
    yeast = [nominal(plan.fate.yeast_g) for plan in plans]
    alcohol = [nominal(plan.ethanol_pct_vol) for plan in plans]
    assert yeast == sorted(yeast) and alcohol == sorted(alcohol, reverse=True)
    assert uncertainty(plans[2].fate.yeast_g - plans[0].fate.yeast_g) > 0


def test_the_pages_show_what_they_should():
    """Value ± u, what binds, the cautions, the limits and the nutrients."""
    text = str(plan_batch(feed(RICH), how="fed slowly", liquid_L=2.0, **AIR))
    for words in ("±", "binds", "CO2 in closed rooms", "The most new dry yeast", "Nutrients for", "It must lose heat"):
        assert words in text
    assert "<table>" in plan_batch(feed(RICH), liquid_L=2.0)._repr_html_()
    assert {"name", "value", "u"} <= set(plan_batch(feed(RICH), liquid_L=2.0).table().columns)


def test_strong_wort_is_doubted():
    """Above 12 % vol baker's yeast may stop."""
    strong = feed({"white sugar": 300.0, "water": 800.0, "active dry yeast": 10.0, "yeast food": 20.0})
    assert any("12 % vol" in remark for remark in plan_batch(strong, liquid_L=1.0).remarks)


def test_no_feed_and_no_air_breaks_the_plan():
    """Random feeds, ways, air and hours: never more oxygen than the ceiling, never ethanol below zero."""
    rng = np.random.default_rng(9)
    for _ in range(80):
        mash = {
            "white sugar": float(rng.uniform(5, 300)),
            "beet molasses": float(rng.choice([0.0, 50.0, 250.0])),
            "active dry yeast": float(rng.choice([0.0, 1.0, 20.0])),
            "diammonium phosphate": float(rng.choice([0.0, 0.5, 10.0])),
            "ammonium sulfate": float(rng.choice([0.0, 2.0, 30.0])),
        }
        how = str(rng.choice(WAYS))
        plan = plan_batch(
            feed(mash),
            how=how,
            kLa_per_h=float(10 ** rng.uniform(-1, 3.5)),
            hours=float(rng.uniform(1, 72)),
            air_L_per_min=1.0,
            liquid_L=2.0,
        )
        if how != "without air":
            assert nominal(plan.fate.oxygen_mol) <= nominal(plan.oxygen_ceiling_mol) * (1 + 1e-6)
        assert nominal(plan.fate.ethanol_mol) > -1e-9
        low, high = (nominal(end) for end in plan.yeast_range_g)
        assert 0 <= low <= nominal(plan.fate.yeast_g) <= high


def simulated(rng):
    """A batch from the mechanistic model, and its plan from what went in."""
    sugar_g, nitrogen_g, yeast_g = rng.uniform(60, 180), rng.choice([0.3, 0.6, 1.0, 2.0, 3.0]), rng.uniform(3, 10)
    strain = drawn_strain(rng)
    truth = ferment(
        Batch(sucrose_g=sugar_g, hexose_g=0.0, nitrogen_g=nitrogen_g, yeast_g=yeast_g, hours=96.0, strain=strain),
        points=31,
    )
    salts = {"usable nitrogen": nitrogen_g / 20, "nitrogen": nitrogen_g / 20, "phosphorus": 0.2, "sulfur": 0.2}
    own = {"sugar": {"sucrose": 1.0}, "salts": salts, "yeast": {"yeast": 1.0}}
    mash = feed({"sugar": sugar_g, "salts": 20.0, "yeast": yeast_g}, own)
    return truth.amounts, plan_batch(mash, liquid_L=2.0, temperature_C=28.0)


def test_the_plan_holds_what_a_mechanistic_model_does():
    """Of 80 simulated batches nearly all end inside the range of the yeast and within 2 u of ethanol and CO2.

    Batches that stick for want of nitrogen are left out of the last two: the plan takes all sugar as used, and
    says so.
    """
    rng = np.random.default_rng(20260302)
    inside, ethanol, co2 = [], [], []
    for _ in range(80):
        amounts, plan = simulated(rng)
        low, high = (nominal(end) for end in plan.yeast_range_g)
        inside.append(low <= amounts["yeast grown"] <= high)
        if amounts["residual sugar"] < 1.0:
            fate = plan.fate
            ethanol.append(abs(nominal(fate.ethanol_g) - amounts["ethanol made"]) <= 2 * uncertainty(fate.ethanol_g))
            co2.append(abs(nominal(fate.co2_g) - amounts["CO2 made"]) <= 2 * uncertainty(fate.co2_g))
    assert len(ethanol) > 55
    assert np.mean(inside) >= 0.95
    assert np.mean(ethanol) >= 0.95 and np.mean(co2) >= 0.95


def test_anywhere_is_a_rectangle():
    """Mean in the middle, the half-width over the root of three, linear in its ends."""
    x = rectangle(2.0, 8.0, "somewhere")
    assert (x.n, x.s) == pytest.approx((5.0, 3.0 / 3**0.5))


def test_gas_that_carries_little_carries_in_proportion():
    """For small flows half of K V_gas/V_liquid; for none nothing; never more than there is."""
    small = nominal(ethanol_carried_out(50.0, 2.0, 1.0, 25.0))
    assert nominal(ethanol_carried_out(50.0, 2.0, 2.0, 25.0)) == pytest.approx(2 * small, rel=1e-3)
    assert nominal(ethanol_carried_out(50.0, 4.0, 1.0, 25.0)) == pytest.approx(small / 2, rel=1e-3)
    assert nominal(ethanol_carried_out(50.0, 2.0, 0.0, 25.0)) == 0.0
    assert 49.0 < nominal(ethanol_carried_out(50.0, 2.0, 1e7, 25.0)) <= 50.0
    assert nominal(water_carried_out(100.0, 25.0, dry_gas=True)) == pytest.approx(2.304 * 0.85, rel=2e-3)
    assert nominal(water_carried_out(100.0, 25.0, dry_gas=False)) == pytest.approx(1.152 * 0.85, rel=2e-3)


def test_oxygen_transfer_is_kla_times_saturation():
    """100 1/h bring about 26 mmol/(L h) at 25 °C; warmth and thin air bring less."""
    assert oxygen_transfer(100.0) == pytest.approx(26.1, abs=0.1)
    assert oxygen_transfer(100.0, temperature_C=35.0) < oxygen_transfer(100.0)
    assert oxygen_transfer(100.0, barometer_bar=0.8) == pytest.approx(
        26.1 * (0.8 - 0.0317) / (1.01325 - 0.0317), rel=0.005
    )
    assert oxygen_transfer().s == pytest.approx(13.0 * 0.2607, rel=0.01)


def test_little_yeast_is_fed_little():
    """A gram of yeast gets no more than µX/Y = 0.4 g/h at first, whatever the air could respire; all sugar goes in."""
    plan = feeding(100.0, 1.0, 3.7)
    rates = [rate for _, rate, _ in plan.rows]
    assert rates[0] == pytest.approx(0.20 * 1.0 / 0.50)
    assert max(rates) <= 3.7 and rates[:-1] == sorted(rates[:-1])
    grown = np.array([1.0 + 0.5 * fed for _, _, fed in plan.rows])
    assert np.all(np.array(rates[1:]) <= 0.20 * grown[:-1] / 0.50 + 1e-12)
    assert plan.rows[-1][2] == pytest.approx(100.0) and plan.left_g == pytest.approx(0.0)
    ideal_h = np.log(3.7 * 0.5 / 0.2) / 0.2  # the exponential phase in steps ends no earlier than the smooth one
    first_full = next(start for start, rate, _ in plan.rows if rate == 3.7)
    assert ideal_h <= first_full < ideal_h + 6


def test_a_plan_that_is_fed_slowly_says_when():
    """The schedule stands on its page, and starts below the ceiling of the air."""
    plan = plan_batch(feed(RICH), how="fed slowly", liquid_L=2.0, oxygen_mmol_per_L_h=20.0, air_L_per_min=1.0)
    assert plan.feeding.rows[0][1] < nominal(plan.feed.hexose_g / plan.hours_to_respire)
    assert "Sugar fed in time" in str(plan)
    assert plan_batch(feed(RICH), liquid_L=2.0).feeding is None


def test_air_carries_off_the_share_that_henrys_law_gives():
    """A litre a minute through a litre for a day at 28 °C: by Henry's constant 13 to 14 % of the ethanol."""
    found = stripped_share(1.0, 1440.0, 28.0)
    by_hand = 1440 / 24.7 / (190 * np.exp(6400 * (1 / 301.15 - 1 / 298.15))) * 0.85
    assert nominal(found) == pytest.approx(1 - (1 - np.exp(-by_hand)) / by_hand, rel=0.02)
