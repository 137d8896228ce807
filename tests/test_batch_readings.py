"""A run with little in it: the best answer that its numbers allow, each saying how it is known."""

import json

import pytest

import fermkit as fk
from fermkit.basis.written import nominal, uncertainty
from fermkit.batch.closing import Verdict
from fermkit.batch.estimate import Mark
from fermkit.batch.progress import Stage
from fermkit.matter.usual import STORE
from fermkit.run.format import SECTIONS
from fermkit.show.exports import as_data
from fermkit.show.report import html_report

SUGAR = {"ingredient": "white sugar", "amount": "140 g"}
YEAST = {"ingredient": "active dry yeast", "amount": "5 g"}
PASTE = {"weights": {"item": ["paste"], "tare [g]": [10], "wet [g]": [73.1], "dry [g]": [31.5]}}
HOURS, VOLUME = [0, 6, 12, 24, 36, 48, 60, 72], [0, 500, 3000, 9000, 14000, 18000, 20000, 20500]
VESSEL = {"vessel": {"liquid": "2.5 L", "total": "3 L"}, "gas": [{"kind": "collected volume"}]}
GAS = {"gas": {"time [h]": HOURS, "volume [mL]": VOLUME}}


def kitchen(tables=None, **sections):
    """140 g of sugar and 5 g of yeast in 2.5 L, with what else is told."""
    settings = {"run": {"name": "pot"}, "vessel": {"liquid": "2.5 L"}, "feed": [SUGAR], "inoculum": YEAST}
    settings |= sections
    return fk.analyse(fk.run_from({k: v for k, v in settings.items() if v}, tables or {}), curve="gompertz")


def test_about_three_per_cent_and_two_dry_weights_give_an_answer():
    """Alcohol as text, dry grams without a dish: CO2 and yeast are worked out, the alcohol counts as measured."""
    found = kitchen(ethanol={"content": "3.3 ± 0.3 % vol"}, harvest={"extract": "9.6 ± 0.3 g", "debris": "8.1 ± 0.3 g"})
    assert found.estimate["ethanol"].mark is Mark.MEASURED
    assert found.estimate["co2"].mark is Mark.WORKED_OUT
    # Gay-Lussac: 3.3 % vol of 2.5 L are 65 g of alcohol, beside which 62 g of CO2 leave
    assert found.estimate["co2"].low < 62 < found.estimate["co2"].high
    assert found.yields["yeast_yield"].mark is Mark.WORKED_OUT and "not measured" in found.answer


def test_a_recipe_alone_is_answered_and_printed():
    """Nothing was read: all of it is from the recipe, on the page, in the report and in the numbers."""
    found = kitchen()
    assert {answer.mark for answer in found.estimate.values()} == {Mark.RECIPE}
    assert "from the recipe" in str(found) and "from the recipe" in html_report(found)
    data = json.loads(json.dumps(as_data(found)))
    assert data["estimate"]["co2"] == {
        "words": "CO2 made", "unit": "g", "mark": "from the recipe",
        **{key: pytest.approx(getattr(found.estimate["co2"], key)) for key in ("value", "low", "high")},
    }  # fmt: skip


def test_the_pressure_if_closed_stands_on_the_first_screen():
    """A rated bottle, nothing read: too much, said before the yields; in glass behind an airlock never."""
    bottle = {"total": "3 L", "liquid": "2.5 L", "material": "PET", "rated": "6 bar"}
    found = kitchen(vessel=bottle)
    assert found.estimate.if_closed.verdict is Verdict.TOO_MUCH
    assert any("had it stayed closed" in line for line in str(found).splitlines()[:12])
    assert kitchen(vessel=bottle | {"material": "glass", "closed": "airlock"}).estimate.if_closed is None


def test_what_cannot_be_is_said_and_not_used():
    """60 % of alcohol from this sugar: impossible, said first, in no yield."""
    found = kitchen(PASTE, ethanol={"content": "60 % vol"})
    assert found.consistent is False and found.first_words[0].startswith("Impossible")
    assert "ethanol" not in found.amounts
    assert all(nominal(one.per_g) < 0.52 for one in found.yields.values())  # Gay-Lussac: 0.511 g/g at most


def test_two_dishes_of_paste_add_up():
    """Twice the row is twice the paste."""
    twice = {"weights": {title: cells * 2 for title, cells in PASTE["weights"].items()}}
    one, two = kitchen(PASTE).harvest.product_dry_g, kitchen(twice).harvest.product_dry_g
    assert nominal(two) == pytest.approx(2 * nominal(one))


def test_a_sum_of_ones_own_is_held_against_the_readings():
    """12 g of CO2 is a third of a mole for each mole of sugar where two are made."""
    found = kitchen(run={"name": "pot", "state": "used up"}, my_sums={"co2": "12 g"})
    assert found.own_sums["co2"].slip.key == "third"
    assert any(words.startswith("Your sum") for words in found.first_words)
    assert kitchen().own_sums is None


def test_how_far_a_run_is():
    """Gas that still comes at 72 h is no end; what the person tells goes before."""
    found = kitchen(GAS, vessel={"total": "3 L", "liquid": "2.5 L"}, gas=[{"kind": "collected volume"}])
    assert found.progress.stage in (Stage.SLOWING, Stage.GROWING)
    assert found.first_words[0].startswith("State of the run at 72 h")
    assert "as told: stopped" in kitchen(run={"name": "pot", "state": "stopped"}).first_words[0]


HOSTILE = {
    "paste and no inoculum": (PASTE, {"inoculum": None}),
    "liquid fills the vessel": (PASTE, {"vessel": {"total": "2.5 L", "liquid": "2.5 L"}}),
    "vessel of nothing": ({}, {"vessel": {"total": "0 L", "liquid": "2.5 L"}}),
    "millilitres for litres": ({}, {"vessel": {"total": "3 L", "liquid": "2500 L"}}),
    "feed without ingredient": (PASTE, {"feed": [{"amount": "140 g"}]}),
    "feed without amount": (PASTE, {"feed": [{"ingredient": "white sugar"}]}),
    "no feed": (PASTE, {"feed": None, "inoculum": None}),
    "feed of nothing": (PASTE, {"feed": [{"ingredient": "white sugar", "amount": "0 g"}]}),
    "feed of water": (PASTE, {"feed": [{"ingredient": "water", "amount": "1000 g"}]}),
    "a ± without sense": (PASTE, {"feed": [{"ingredient": "white sugar", "amount": "140 ± 1e6 g"}]}),
    "gas without end": (
        {"gas": {"time [h]": HOURS, "volume [mL]": [1e20 * v for v in VOLUME]}}, {"gas": [{"kind": "collected volume"}]}
    ),
    "sugar without end": (PASTE, {"feed": [{"ingredient": "white sugar", "amount": "1e7 g"}]}),
    "a name like a formula": (PASTE, {
        "ingredients": {"$5 % off $6": {"sucrose": "90 %", "water": "10 %"}},
        "feed": [{"ingredient": "$5 % off $6", "amount": "100 g"}],
    }),
}  # fmt: skip


@pytest.mark.parametrize("tables, sections", HOSTILE.values(), ids=HOSTILE)
def test_no_part_that_is_bad_ends_in_a_traceback(tables, sections):
    """It is analysed, printed and reported; what cannot be told is told as a gap, and none is a mistake of ours."""
    assert set(sections) <= set(SECTIONS)
    found = kitchen(tables, **sections)
    assert str(found) and html_report(found)
    assert not any("stumbled" in gap for gap in found.gaps), found.gaps


def test_sugar_in_the_samples_counts_as_left():
    """Samples of a sweet liquid took sugar along: more counts as left than the vessel holds at the end, none or not."""
    taken = {"volumes": {"time [h]": [6, 12], "what": ["sample"] * 2, "volume [mL]": [20, 20], "u [mL]": [0.5, 0.5]}}
    for told, least in (("0.0 ± 0.5 g/L", 0.3), ("8.0 ± 0.5 g/L", 8.2)):
        run = VESSEL | {"residual_sugar": {"value": told}}
        found = kitchen(GAS | taken, **run).estimate
        reading = next(item for item in found.readings if item.kind == "residual sugar")
        assert least < nominal(reading.value) < least + 1.2
        assert uncertainty(reading.value) == pytest.approx(0.5, rel=0.1)


def test_the_liquid_of_a_slow_run_holds_little_beyond_its_balance():
    """Beyond its balance it holds no more than comes in two hours: little where gas comes slowly."""

    def held(readings):
        gas = {"gas": {name: column[:readings] for name, column in GAS["gas"].items()}}
        found = kitchen(gas, **VESSEL).estimate
        return next(item.value for item in found.latents if item.key == "store")

    fast, slow = (nominal(value) + uncertainty(value) for value in (held(4), held(8)))
    assert STORE["stopped"].high <= slow < fast - 0.2 < STORE["running"].high
    two_hours = 2 * 500 / 24000  # mol: 500 mL an hour between 12 and 24 h, some 24 L a mole in a room
    assert fast == pytest.approx(1 + two_hours / (2.5 * 0.033), abs=0.05)  # over 0.033 mol/L held at 25 °C
