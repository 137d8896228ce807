"""The ingredient table held to the food tables, with their traps."""

from fermkit.basis.written import nominal
from fermkit.matter.feed import YEAST_MAGNESIUM, YEAST_NITROGEN, YEAST_PHOSPHORUS, YEAST_POTASSIUM, feed, yeast_limits
from fermkit.matter.ingredients import ingredient


def test_table_molasses(published):
    """USDA: water and phosphorus as printed; sugars one by one (54.1 g), never the 74.7 g found by difference."""
    entry = published.entries["USDA-MOL"]["expected"]
    thing = ingredient("table molasses")
    published.check(
        "water of molasses", 100 * nominal(thing.parts["water"]), entry["water"], 1e-6, reference="USDA-MOL"
    )
    grams = 1000 * 100 * nominal(thing.element("phosphorus"))
    published.check("phosphorus of molasses, mg", grams, entry["P_mg"], 1e-6, reference="USDA-MOL")
    published.check("fermentable sugar of molasses", 100 * nominal(thing.sugar), 54.1, 0.05, reference="USDA-MOL")
    assert 100 * nominal(thing.sugar) + 15 < entry["sugars"], "the total by difference is not fermentable sugar"
    assert nominal(thing.element("nitrogen")) > 0, "0 g of protein is not 0 g of nitrogen"


def test_brown_sugar(published):
    """USDA: sucrose, all sugars, water, and nitrogen from the protein."""
    entry = published.entries["USDA-BROWN"]["expected"]
    thing = ingredient("brown sugar")
    parts = {name: 100 * nominal(value) for name, value in thing.parts.items()}
    published.check("sucrose of brown sugar", parts["sucrose"], entry["sucrose"], 0.5, reference="USDA-BROWN")
    published.check("water of brown sugar", parts["water"], entry["water"], 0.013, reference="USDA-BROWN")
    published.check("sugars of brown sugar", 100 * nominal(thing.sugar), entry["sugars"], 0.05, reference="USDA-BROWN")
    nitrogen = 100 * nominal(thing.element("nitrogen"))
    published.check("nitrogen of brown sugar", nitrogen, entry["protein"] / 6.25, 5e-4, reference="USDA-BROWN")
    assert parts["sucrose"] + parts["invert sugar"] > 88, "Codex"


def test_active_dry_yeast(published):
    """USDA: dry matter; its nitrogen, phosphorus and ash lie inside the ranges taken for yeast."""
    entry = published.entries["USDA-ADY"]["expected"]
    thing = ingredient("active dry yeast")
    dry = 100 - entry["water"]
    published.check("dry matter", 100 * nominal(thing.parts["yeast"]), dry, 1e-6, reference="USDA-ADY")
    factor = published.entries["N-FACTOR"]["expected"]["general"]
    for name, found, (low, high) in [
        ("nitrogen", entry["protein"] / factor / dry, YEAST_NITROGEN),
        ("phosphorus", entry["P_mg"] / 1000 / dry, YEAST_PHOSPHORUS),
        ("ash", entry["ash_pct"] / dry, (0.05, 0.08)),
    ]:
        published.check(f"{name} of dry yeast", found, (low + high) / 2, (high - low) / 2, reference="USDA-ADY")


def test_yeast_nitrogen_is_that_of_a_published_formula(published):
    """The upper end of the nitrogen range: CH1.83O0.56N0.17 with 6.5 % ash."""
    percent = published.entries["BIOMASS"]["expected"]["CH1.83O0.56N0.17"]["Npct"]
    published.check("most nitrogen in dry yeast", YEAST_NITROGEN[1], percent / 100 * 0.935, 5e-4, reference="BIOMASS")


def test_the_electron_limit_is_the_textbook_maximum(published):
    """Degree of reduction 4 over 4.2: at most 0.95 C-mol of yeast from a C-mol of sugar."""
    gamma = published.entries["GAMMA"]["expected"]
    limits = yeast_limits(feed({"sugar": 100.0}, {"sugar": {"glucose": 1.0}}))
    ratio = gamma["glucose"] / gamma["CH18O05N02"]
    published.check("most C-mol yeast", (limits.electrons_g / limits.carbon_g).n, ratio, 1e-9, reference="GAMMA")


def test_hexose_from_sucrose(published):
    """100 g of sucrose count as 105.26 g of hexose."""
    found = feed({"s": 100.0}, {"s": {"sucrose": 1.0}}).hexose_g / 100
    wanted = published.entries["YIELD-TH"]["expected"]["hexose_per_sucrose"]
    published.check("hexose from sucrose", found, wanted, 1e-6, reference="YIELD-TH")


def test_minerals_of_dry_yeast(published):
    """USDA SR 18375, active dry yeast: 955 mg of potassium, 54 mg of magnesium in 94.92 g of dry matter."""
    for holds, mg in ((YEAST_POTASSIUM, 955), (YEAST_MAGNESIUM, 54)):
        middle, half = sum(holds) / 2, (holds[1] - holds[0]) / 2
        published.check(
            f"mineral of dry yeast, {mg} mg", middle, mg / 94.92e3, half, source="USDA SR 18375", verification="memory"
        )
