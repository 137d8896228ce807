"""A person's own sums are held against the estimate; the slip that makes a wrong number is named."""

import pytest
from uncertainties import ufloat

from fermkit.basis.errors import InputError
from fermkit.batch.estimate import estimate
from fermkit.batch.known import Recipe
from fermkit.batch.own_sums import Standing, check_sums
from fermkit.batch.readings import debris, ethanol_content, extract
from fermkit.matter.feed import feed
from fermkit.vessel.container import Vessel

RECIPE = Recipe(feed({"raw cane sugar": ufloat(140.0, 1.0), "water": 2400.0}), liquid_L=2.5, gas_space_L=0.5)
FOUND = estimate(RECIPE, [ethanol_content(ufloat(3.3, 0.15)), extract(ufloat(9.6, 0.3)), debris(ufloat(8.1, 0.3))])


@pytest.mark.parametrize(
    ("key", "told", "slip"),
    [
        ("co2", "12 g", "third"),  # 0.80 mol / 3 × 44 g
        ("co2", "35 g", "one mole"),  # 0.80 mol × 44 g
        ("co2", "1.4 g", "moles"),
        ("ethanol", "82 g", "by volume"),  # 3.3 % of 2,500 g
        ("ethanol", "37 g", "one mole"),
        ("ethanol", "1.36 g", "moles"),
        ("yeast_at_most", "60 g", "by difference"),  # 137 g sugar less 65 g alcohol less 12 g CO2
        ("yeast_at_most", "123 g", "all carbon"),
    ],
)
def test_the_slip_that_makes_the_number_is_named(key, told, slip):
    """The classic slips of the arithmetic, each worked by hand from 140 g of sugar."""
    own = check_sums(FOUND, {"co2": "12 g", key: told})[key]
    assert own.standing is not Standing.AGREES
    assert own.slip.key == slip


@pytest.mark.parametrize(
    ("key", "told"), [("co2", 64.0), ("ethanol", "64 g"), ("yeast", 12.0), ("yeast_at_most", 20.0)]
)
def test_a_right_sum_agrees(key, told):
    """A sum inside the estimate's interval has no slip."""
    own = check_sums(FOUND, {key: told})[key]
    assert own.standing is Standing.AGREES
    assert own.slip is None


def test_a_sum_that_no_slip_makes_has_no_slip():
    """No slip is made up for a number that none reproduces."""
    own = check_sums(FOUND, {"co2": 5.5})["co2"]
    assert own.standing is Standing.TOO_SMALL
    assert own.slip is None


def test_sums_are_never_used_in_the_estimate():
    """The estimate before and after is the same."""
    before = FOUND["co2"]
    check_sums(FOUND, {"co2": 12.0})
    assert FOUND["co2"] is before


def test_pressure_without_the_liquid():
    """All the CO2 put into the gas space: 5.3 g sugar per litre, n R T / V by hand."""
    little = Recipe(feed({"glucose": 10.0}, {"glucose": {"glucose": 1.0}}), liquid_L=2.5, gas_space_L=0.5)
    keg = Vessel(total_L=3.0, liquid_L=2.5, temperature_C=25.0, rated_bar_gauge=6.0, material="steel")
    found = estimate(little, vessel=keg, state="used up")
    by_hand = found["co2"].value / 44.009 * 0.0831446 * 298.15 / 0.5
    own = check_sums(found, {"pressure": by_hand})["pressure"]
    assert own.standing is Standing.TOO_LARGE
    assert own.slip.key == "nothing dissolved"


def test_without_a_vessel_a_pressure_has_nothing_beside_it():
    """Nobody told the vessel: said, not guessed."""
    assert check_sums(FOUND, {"pressure": 2.0})["pressure"].standing is Standing.NOTHING_BESIDE


def test_another_name_is_refused():
    """A sum that is not on the list is refused with the list."""
    with pytest.raises(InputError, match="own sum"):
        check_sums(FOUND, {"c02": 12.0})


def test_the_page_shows_the_corrected_line():
    """The page names the number, the interval and the sum done right."""
    text = " ".join(str(check_sums(FOUND, {"co2": "12 g"})).split())
    assert "2 × 0.80" in text
    assert "44.01" in text
