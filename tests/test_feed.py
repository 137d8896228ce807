"""Ingredients, kitchen measures, feeds and the yeast that each element allows."""

import pickle
import tomllib
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlation_matrix, ufloat

from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.matter import usual
from fermkit.matter.composition import molar_mass
from fermkit.matter.feed import YEAST_HOLDS, YEAST_NITROGEN, feed, span, yeast_limits
from fermkit.matter.ingredients import HEXOSES, ingredient, ingredient_from, ingredient_names, kitchen_measure, syrup

TABLE = tomllib.loads(resources.files("fermkit.matter").joinpath("ingredients.toml").read_text(encoding="utf-8"))

POTASH = {"monopotassium phosphate": 3.0, "magnesium sulfate": 1.0}


@pytest.mark.parametrize("name", ingredient_names())
def test_every_line_of_the_table_has_a_value_a_spread_and_a_source(name):
    """[value, standard uncertainty, source], and the parts make up the whole within two standard uncertainties."""
    for key, line in TABLE[name].items():
        value, spread, source = line
        assert value >= 0 and spread >= 0 and len(source) > 5, (name, key)
    thing = ingredient(name)
    total = sum(thing.parts.values(), 0.0)
    assert nominal(total) == pytest.approx(1.0, abs=max(1e-9, 2 * uncertainty(total)))
    low, high = thing.usable_nitrogen
    assert nominal(low) <= nominal(high) <= nominal(thing.element("nitrogen")) + 1e-12
    assert "Ingredient:" in str(thing)
    assert nominal(thing.non_yeast_solids) > -0.01


@pytest.mark.parametrize("sugar", [s for s, n in HEXOSES.items() if n and s != "raffinose"])
def test_sugar_counts_as_hexose(sugar):
    """A mole of sugar gives its hexoses: 1.0526 g for a gram of sucrose."""
    thing = ingredient_from("sugar", {sugar: 1.0})
    formula = "hexose" if sugar == "invert sugar" else sugar
    assert thing.hexose == pytest.approx(HEXOSES[sugar] * 180.156 / molar_mass(formula))
    assert feed({"sugar": 90.078}, {"sugar": thing}).carbon_mol == pytest.approx(90.078 * thing.hexose / 180.156 * 6)


def test_what_yeast_cannot_ferment_stays_a_solid():
    """Lactose stays whole; of raffinose the melibiose stays."""
    milk_sugar = ingredient_from("milk sugar", {"lactose": 1.0})
    assert milk_sugar.hexose == 0
    assert milk_sugar.non_yeast_solids == 1.0
    assert ingredient_from("r", {"raffinose": 1.0}).non_yeast_solids == pytest.approx(342.297 / 504.438, abs=1e-5)


def test_a_feed_adds_up():
    """Everything weighed in is water, sugar, yeast, solids or salt that the yeast takes up."""
    mash = feed({
        "beet molasses": ufloat(240, 1), "water": ufloat(2000, 5), "active dry yeast": ufloat(7, 0.1),
        "urea": ufloat(2, 0.02),
    })  # fmt: skip
    taken = mash.mass_g - mash.water_g - mash.sugar_g - mash.inoculum_g - mash.non_yeast_solids_g
    assert taken.n == pytest.approx(0.995 * 2 / 2, abs=1e-6)  # half of the urea, none to all of it
    assert taken.s == pytest.approx(0.995 / 12**0.5 * 2, rel=0.01)


def test_values_stay_correlated_with_the_weighing_and_the_contents():
    """The derivative with respect to the weighing is the hexose in a gram, and the solids move against the sugar."""
    weighed = ufloat(240, 3, "weighing the molasses")
    mash = feed({"beet molasses": weighed})
    assert mash.hexose_g.derivatives[weighed] == pytest.approx(mash.hexose_g.n / 240)
    both = correlation_matrix([mash.sugar_g, mash.non_yeast_solids_g])
    assert both[0, 1] < -0.5
    tags = {str(variable.tag) for variable in mash.hexose_g.derivatives}
    sugars = {f"the {sugar} of the beet molasses" for sugar in ("sucrose", "invert sugar", "raffinose")}
    assert tags == sugars | {"weighing the molasses"}


def test_one_tub_in_two_feeds_is_one_uncertainty():
    """The same Ingredient object correlates two feeds; two calls are two lots."""
    tub = ingredient("cane molasses")
    first, second = (feed({"cane molasses": 100.0}, {"cane molasses": tub}) for _ in range(2))
    assert (first.hexose_g - second.hexose_g).s == pytest.approx(0, abs=1e-12)
    other = feed({"cane molasses": 100.0})
    assert (first.hexose_g - other.hexose_g).s == pytest.approx(2**0.5 * other.hexose_g.s)


def test_a_label_goes_before_the_table():
    """Contents of your own lot replace the typical ones, with the names of a run file."""
    own = {"sucrose": ufloat(0.52, 0.005), "water": ufloat(0.18, 0.01), "invert": 0.01, "sulphur": 0.004,
           "usable_nitrogen": (0.002, 0.006), "nitrogen": 0.015,
           "density": ufloat(1.39, 0.01), "source": "label"}  # fmt: skip
    mash = feed({"beet molasses": 100.0}, {"beet molasses": own})
    assert mash.sugar_g.n == pytest.approx(53.0)
    assert mash.sulfur_g == pytest.approx(0.4)
    assert mash.usable_nitrogen_g == pytest.approx((0.2, 0.6))
    assert mash.non_yeast_solids_g.n == pytest.approx(29.0)


def test_dry_matter_of_an_inoculum_may_be_given_alone():
    """The rest of yeast is water."""
    mash = feed({"my yeast": 10.0}, {"my yeast": {"dry_matter": ufloat(0.28, 0.01)}})
    assert mash.inoculum_g.n == pytest.approx(2.8)
    assert mash.water_g.n == pytest.approx(7.2)
    assert mash.non_yeast_solids_g.s == pytest.approx(0.0, abs=1e-12)


def test_without_a_statement_none_to_all_of_the_nitrogen_counts():
    """The range is honest where nobody said."""
    assert ingredient_from("x", {"sucrose": 0.5, "nitrogen": 0.01}).usable_nitrogen == (0.0, 0.01)
    assert ingredient_from("x", {"sucrose": 0.5, "usable nitrogen": 0.01}).usable_nitrogen == (0.01, 0.01)
    low, high = ingredient_from("x", {"ammonium sulfate": 1.0}).usable_nitrogen
    assert low == high == pytest.approx(0.2120, abs=1e-4)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: ingredient("beet molases"), "did you mean 'beet molasses'"),
        (lambda: feed({"beet molases": 1.0}), "(?s)is not known.*did you mean 'beet molasses'"),
        (lambda: feed({"quince": 1.0}), "(?s)is not known.*mapping of mass fractions"),
        (lambda: feed({}), "without ingredients"),
        (lambda: feed({"water": -1.0}), r"amount of water \[g\] is -1"),
        (lambda: feed({"water": float("nan")}), r"amount of water \[g\] is nan"),
        (lambda: ingredient_from("x", {"sukrose": 0.5}), "did you mean 'sucrose'"),
        (lambda: ingredient_from("x", {"sucrose": 49.0}), "(?s)sucrose in 'x'.* is 49.*0.49 for 49 %"),
        (lambda: ingredient_from("x", {"sucrose": 0.7, "water": 0.5}), "add up to 1.2"),
        (lambda: ingredient_from("x", {"usable nitrogen": (0.2, 0.1)}), "the lower end first"),
        (lambda: syrup("x", 120.0), "°Brix is 120"),
        (lambda: syrup("x", 60.0, sugar="honey"), "sugar is 'honey'"),
        (lambda: kitchen_measure("two spoons", "white sugar"), "'two spoons'"),
        (lambda: kitchen_measure("2 buckets", "white sugar"), "'2 buckets'"),
        (lambda: kitchen_measure("1/0 cup", "white sugar"), "bottom above zero"),
        (lambda: kitchen_measure("1 cup", ingredient_from("x", {"sucrose": 1.0})), "(?s)a volume.*the density of x"),
    ],
)
def test_what_cannot_be_used_is_refused_in_words(call, says):
    """Unknown names, percent for fractions, parts above the whole, measures that are none."""
    with pytest.raises(InputError, match=says):
        call()


def test_parts_may_exceed_the_whole_within_their_uncertainty():
    """1.02 ± 0.03 is no contradiction; the solids are then zero within their error, not refused."""
    thing = ingredient_from("x", {"sucrose": ufloat(0.80, 0.03), "water": 0.22})
    assert thing.non_yeast_solids.n == pytest.approx(-0.02)
    assert thing.non_yeast_solids.s == pytest.approx(0.03)


@pytest.mark.parametrize(
    ("words", "name", "grams", "relative"),
    [
        ("2 teaspoons", "white sugar", 8.45, 0.11),
        ("1 tbsp", "beet molasses", 21.0, 0.102),
        ("1 1/2 cups", "water", 359.3, 0.05),
        ("1/2 cup", "brown sugar", 111.6, 0.082),
        ("1 sachet", "active dry yeast", 7.0, 0.04),
        ("250 ± 5 mL", "water", 249.5, 0.0201),
        ("1,5 L", "water", 1497.0, 0.002),
        ("240 ± 2 g", "beet molasses", 240.0, 2 / 240),
        ("1 cube", "fresh yeast", 42.0, 0.03),
    ],
)
def test_kitchen_measures_give_grams_with_their_honest_spread(words, name, grams, relative):
    """Volume by density, spoons by ten per cent, scales by what was said."""
    found = kitchen_measure(words, name)
    assert found.n == pytest.approx(grams, rel=1e-3)
    assert found.s / found.n == pytest.approx(relative, rel=0.02)


def test_a_feed_takes_kitchen_measures():
    """Text amounts go through the kitchen measures, and their act is named."""
    mash = feed({"white sugar": "5 tablespoons", "active dry yeast": "1 sachet"})
    tags = {str(variable.tag) for variable in mash.hexose_g.derivatives}
    assert "measuring the white sugar by the tablespoon" in tags
    assert mash.hexose_g.n == pytest.approx(63.375 * 0.9985 * 1.05263, rel=1e-4)


@given(st.floats(1.0, 80.0))
def test_brix_is_grams_in_a_hundred(brix):
    """The hexose of a syrup follows from its °Brix; the ± of the refractometer is kept."""
    thing = syrup("s", brix)
    assert thing.hexose.n == pytest.approx(brix / 100 * 1.05263, rel=1e-5)
    assert thing.hexose.s == pytest.approx(0.0105263, rel=1e-5)
    assert syrup("s", ufloat(brix, 0.2)).hexose.s == pytest.approx(0.00210526, rel=1e-5)


def test_a_feed_survives_being_sent_elsewhere():
    """Through pickle values and their correlation stay, so that runs can be worked out in parallel.

    Not through deepcopy: the uncertainties package makes every deep copy independent, by design.
    """
    mash = feed({"beet molasses": ufloat(240, 2), "active dry yeast": 5.0})
    copied = pickle.loads(pickle.dumps(mash))
    assert copied.hexose_g.n == mash.hexose_g.n
    before = correlation_matrix([mash.hexose_g, mash.non_yeast_solids_g])[0, 1]
    after = correlation_matrix([copied.hexose_g, copied.non_yeast_solids_g])[0, 1]
    assert after == pytest.approx(before)


@given(st.text(alphabet="0123456789/., ±teaspooncugmLkl", max_size=18))
def test_any_measure_is_grams_or_is_refused_in_words(text):
    """No text makes reading a measure fail in another way."""
    try:
        found = kitchen_measure(text, "water")
    except InputError as refusal:
        assert "needed" in str(refusal)
    else:
        assert nominal(found) >= 0


def test_the_page_says_what_is_a_range():
    """The printed feed names the water of hydrolysis and the range of the nitrogen."""
    text = str(feed({"beet molasses": ufloat(240, 1)}))
    assert "a range, not a number" in text
    assert "1.0526" in text
    assert "±" in text


def test_ranges_are_printed_to_three_digits():
    """Whole grams from 100 on, never a power of ten."""
    assert span(99.94, 100.4) == "99.9 to 100"
    assert span(0.01234, 1205.3) == "0.0123 to 1205"


def test_carbon_and_electron_limits_are_the_textbook_ones():
    """Per C-mol of hexose one C-mol of yeast by carbon, 4/4.2 of it by electrons; ash comes on top."""
    limits = yeast_limits(feed({"sugar": 180.156}, {"sugar": {"glucose": 1.0}}))
    assert limits.carbon_g.n == pytest.approx(6 * 24.6263 / 0.935, rel=1e-4)
    assert (limits.electrons_g / limits.carbon_g).n == pytest.approx(4 / 4.2)
    assert limits.carbon_g.s / limits.carbon_g.n == pytest.approx(0.015 / 3**0.5 / 0.935, rel=1e-3)


def test_a_feed_of_pure_sugar_allows_next_to_no_yeast():
    """Without nitrogen, phosphorus or sulfur nothing surely grows; the inoculum alone can only spread thin."""
    bare = yeast_limits(feed({"sugar": 100.0}, {"sugar": {"glucose": 1.0}}))
    assert bare.lowest_g == (0.0, 0.0)
    assert set(bare.binding) == set(YEAST_HOLDS)
    with_yeast = yeast_limits(feed({"sugar": 100.0, "active dry yeast": 5.0}, {"sugar": {"glucose": 1.0}}))
    assert with_yeast.lowest_g[0] == 0.0
    assert 0 < with_yeast.nitrogen_g[1].n < 5


def test_without_air_the_energy_of_fermenting_limits_too():
    """What is usual at best, 8.6 to 12.5 % of the hexose, however rich the feed; with air, or unstated, no limit."""
    rich = feed({"white sugar": 100.0, "diammonium phosphate": 10.0, "ammonium sulfate": 40.0} | POTASH)
    closed = yeast_limits(rich, air="none")
    assert closed.binding == ("energy without air",)
    assert [nominal(end) / nominal(rich.hexose_g) for end in closed.lowest_g] == pytest.approx(
        [usual.YEAST_AT_BEST.low, usual.YEAST_AT_BEST.high]
    )
    assert "energy without air" in str(closed)
    for air in ("some", "not stated"):
        assert yeast_limits(rich, air=air).energy_g is None
    with pytest.raises(InputError, match="air is 'much'"):
        yeast_limits(rich, air="much")


def test_more_nitrogen_lifts_the_nitrogen_limit_and_only_that():
    """A gram of ammonium nitrogen allows 11 to 22 g of yeast."""
    before = yeast_limits(feed({"beet molasses": 200.0}))
    after = yeast_limits(feed({"beet molasses": 200.0, "ammonium sulfate": 1 / 0.2120 / 0.992}))
    gains = [(b - a).n for a, b in zip(before.nitrogen_g, after.nitrogen_g, strict=True)]
    assert gains == pytest.approx([1 / YEAST_NITROGEN[1], 1 / YEAST_NITROGEN[0]], rel=0.01)
    assert after.phosphorus_g[0].n == pytest.approx(before.phosphorus_g[0].n)
    assert "binds" in str(after)


def test_the_sulfur_may_come_from_the_tap():
    """White sugar and phosphate hold no sulfur: with distilled water none surely grows, with tap water some does."""
    dry = {"white sugar": 100.0, "diammonium phosphate": 5.0}
    tap, distilled = (yeast_limits(feed(dry | {water: 2000.0})) for water in ("water", "distilled water"))
    assert nominal(distilled.sulfur_g[0]) < 0.2 and "sulfur" in distilled.binding
    assert 2.0 < nominal(tap.sulfur_g[0]) < nominal(tap.sulfur_g[1]) < 20.0


def test_limits_whose_ranges_overlap_are_all_named():
    """Nitrogen and phosphorus both may bind in beet molasses; with plenty of both it is the electrons."""
    assert yeast_limits(feed({"beet molasses": 200.0})).binding == ("nitrogen", "phosphorus")
    rich = yeast_limits(feed({"white sugar": 10.0, "diammonium phosphate": 20.0, "ammonium sulfate": 20.0} | POTASH))
    assert rich.binding == ("electrons",)
    assert "What binds: electrons." in str(rich)
    assert "(their ranges overlap)" in str(yeast_limits(feed({"beet molasses": 200.0})))


def test_the_page_of_an_ingredient_is_in_grams_in_a_hundred():
    """Parts, contents and the range of the nitrogen, each with its source."""
    lines = {line.name: line for line in ingredient("beet molasses").page().lines}
    assert nominal(lines["sucrose"].value) == pytest.approx(48.0)
    assert nominal(lines["nitrogen"].value) == pytest.approx(1.45)
    assert lines["usable nitrogen"].value == "0.3 to 0.9"
    assert "DSTU 3696" in lines["sucrose"].note


def test_what_nobody_stated_is_not_known_and_does_not_bind():
    """A syrup that is silent about sulfur: no limit by sulfur, and the page says not known; a pure sugar has none."""
    syrup = {"water": 0.25, "invert": 0.68, "nitrogen": 0.002}
    silent = yeast_limits(feed({"my syrup": 100.0, "diammonium phosphate": 5.0}, {"my syrup": syrup}))
    told = yeast_limits(feed({"my syrup": 100.0, "diammonium phosphate": 5.0}, {"my syrup": syrup | {"sulfur": 0.0}}))
    assert "sulfur" not in silent.binding and "sulfur" in told.binding
    assert nominal(silent.lowest_g[1]) > nominal(told.lowest_g[1])
    assert {line.name: line.value for line in silent.page().lines}["sulfur"] == "not known"
    assert feed({"my syrup": 100.0}, {"my syrup": syrup}).not_known["sulfur"] == ("my syrup",)
    assert feed({"sugar": 100.0, "distilled water": 900.0}, {"sugar": {"glucose": 1.0}}).not_known == {}


def test_sugar_salts_and_distilled_water_lack_potassium_and_magnesium():
    """They bind there; molasses brings both; what is not judged is said."""
    bare = yeast_limits(feed({"white sugar": 100.0, "diammonium phosphate": 5.0, "ammonium sulfate": 10.0}))
    assert {"potassium", "magnesium"} <= set(bare.binding)
    rich = yeast_limits(feed({"beet molasses": 200.0}))
    assert not {"potassium", "magnesium"} & set(rich.binding)
    assert "vitamins" in str(rich)
