"""Impossible before improbable: what no batch can show is said first, with the slip that likely made it."""

import pytest
from uncertainties import ufloat

from fermkit.batch.estimate import estimate
from fermkit.batch.impossible import Sort, oddities, times_apart
from fermkit.batch.known import Recipe
from fermkit.batch.readings import debris, ethanol_content, extract, gas, jar_weight, paste, residual_sugar
from fermkit.matter.feed import feed

MASH = {"white sugar": ufloat(88.5, 0.5), "water": 1000.0}
KITCHEN = Recipe(feed(MASH), liquid_L=ufloat(1.0, 0.01), gas_space_L=0.5)


def sorts(*readings, recipe=KITCHEN):
    """Sort and kinds of everything odd."""
    return [(odd.sort, odd.kinds) for odd in oddities(recipe, readings)]


@pytest.mark.parametrize(
    ("reading", "sort"),
    [
        (ethanol_content(ufloat(44.6, 18.4)), Sort.IMPOSSIBLE),  # a standard of 1.5 typed 15: 352 ± 145 g of 48
        (gas("collected volume", ufloat(42_000.0, 500.0)), Sort.IMPOSSIBLE),  # litres under mL
        (gas("bubble count", ufloat(58.0, 2.0)), Sort.IMPOSSIBLE),  # 0.62 for 0.5 mL a bubble
        (jar_weight(ufloat(70.0, 1.0)), Sort.IMPOSSIBLE),
        (residual_sugar(ufloat(500.0, 5.0)), Sort.IMPOSSIBLE),
        (residual_sugar(ufloat(-3.0, 0.5)), Sort.IMPOSSIBLE),
        (paste(ufloat(8.5, 0.2), 531.0), Sort.UNLIKELY),  # 53.1 g typed 531: 1.6 % solids
        (paste(ufloat(8.5, 0.2), 8.0), Sort.IMPOSSIBLE),  # wet and dry swapped
        (paste(ufloat(8.5, 0.2), 100_000.0), Sort.IMPOSSIBLE),  # kg under g
        (paste(ufloat(145.0, 2.0), 700.0), Sort.IMPOSSIBLE),  # more than all the sugar's electrons
        (paste(ufloat(38.0, 1.0), 160.0), Sort.UNLIKELY),  # 0.41 g/g without air
    ],
)
def test_each_is_said(reading, sort):
    """Each reading that cannot be, or hardly can, is met; its kind is named."""
    assert sorts(reading) == [(sort, (reading.kind,))]


def test_ordinary_readings_raise_nothing():
    """What a good batch shows is not odd."""
    good = [ethanol_content(5.3), gas("collected volume", 40.0), jar_weight(41.0), residual_sugar(1.0)]
    assert not sorts(*good, paste(7.5, 33.0), extract(3.5), debris(3.0))


def test_extract_and_debris_heavier_than_the_paste():
    """Together 148 % of the dry paste: impossible, and all three are named."""
    found = sorts(paste(ufloat(7.5, 0.2)), extract(ufloat(6.0, 0.2)), debris(ufloat(5.1, 0.2)))
    assert found == [(Sort.IMPOSSIBLE, ("paste", "extract", "debris"))]


@pytest.mark.parametrize(
    "recipe",
    [
        Recipe(feed({"white sugar": 0.09, "water": 1000.0}), liquid_L=1.0),  # kg under g
        Recipe(feed({"white sugar": 88.0}), liquid_L=0.001),
        Recipe(feed({"white sugar": 88.0, "active dry yeast": 500.0}), liquid_L=1.0),
    ],
)
def test_a_recipe_with_an_unlikely_unit(recipe):
    """Grams that were kilograms, litres that were millilitres, half a kilo of yeast."""
    assert [(odd.sort, odd.kinds) for odd in oddities(recipe, ())] == [(Sort.UNLIKELY, ("recipe",))]


def test_what_cannot_be_is_left_out_of_the_estimate():
    """The impossible alcohol is said and not used: the rest gives its answer as if it had not been read."""
    wrong = ethanol_content(ufloat(44.6, 18.4))
    rest = [gas("collected volume", ufloat(40.0, 1.0))]
    found = estimate(KITCHEN, [wrong, *rest])
    assert found.left_out == (wrong,)
    assert found["ethanol"].value == pytest.approx(estimate(KITCHEN, rest)["ethanol"].value)
    assert str(found.oddities[0]) in " ".join(found.page().remarks)


def test_tables_that_disagree_on_time():
    """A sample at 144 h while the gas ends at 6 h: days for hours."""
    assert times_apart({"gas": 6.0, "samples": 144.0})[0].kinds == ("gas",)
    assert not times_apart({"gas": 140.0, "samples": 144.0})
    assert not times_apart({"gas": 48.0})
