"""What is usual: one home, stated sources, and a study that draws its batches wider."""

import pytest
from benchmarks.foreign_batches import RANGES

from fermkit.batch.known import nitrogen_source_of
from fermkit.matter import usual
from fermkit.matter.composition import molar_mass
from fermkit.matter.feed import feed

PAIRS = [
    (RANGES["yeast"], usual.YEAST),
    (RANGES["acids"], usual.ACIDS),
    (RANGES["sugar left"], usual.SUGAR_LEFT),
    (RANGES["oxygen"], usual.OXYGEN_KEPT),
    (RANGES["ash"], usual.ASH),
    (RANGES["stripped"], usual.ETHANOL_STRIPPED),
    (RANGES["leak"], usual.LEAK),
    (RANGES["gas space"], usual.GAS_SPACE_CO2),
    (RANGES["inoculum"], usual.INOCULUM),
    (RANGES["carried"], usual.CARRIED),
    (RANGES["harvested"], usual.HARVESTED),
    (RANGES["washed out"], usual.WASHED_OUT),
    (RANGES["extract"], usual.EXTRACT_SHARE),
    *[(RANGES["glycerol"][source], usual.GLYCEROL[source]) for source in RANGES["glycerol"]],
    *[(RANGES["store"][state], usual.STORE[state]) for state in RANGES["store"]],
]


@pytest.mark.parametrize(("drawn", "range_"), PAIRS, ids=[range_.name for _, range_ in PAIRS])
def test_the_study_draws_wider_than_what_is_usual(drawn, range_):
    """Each range of the study's generator is at least 1.1 times as wide as what is possible of the usual one."""
    assert drawn[1] - drawn[0] >= 1.0999 * (range_.high - max(range_.low, 0.0))


def ranges():
    """Every usual range of the home."""
    for thing in vars(usual).values():
        if isinstance(thing, usual.Usual):
            yield thing
        elif isinstance(thing, dict):
            yield from (value for value in thing.values() if isinstance(value, usual.Usual))


@pytest.mark.parametrize("range_", list(ranges()), ids=lambda range_: range_.name)
def test_each_range_has_ends_a_source_and_a_line(range_):
    """Low below high; a source, or the word that there is none."""
    assert range_.low < range_.high
    assert range_.source in range_.in_words()
    assert len(range_.source) > 10


def test_the_two_widths_are_stated_once():
    """For intervals the half-range, for alarms 0.7 of it."""
    assert usual.ACIDS.value().std_dev == pytest.approx(0.015)
    assert usual.ACIDS.value(usual.FOR_ALARMS).std_dev == pytest.approx(0.0105)


def test_yeast_short_of_nitrogen_may_make_more_glycerol_for_each_gram():
    """Pasteur's 3.40 of glycerol beside 1.30 of yeast is usual where nitrogen is short, and not elsewhere."""
    per_gram = 3.40 / molar_mass("glycerol") / 1.30 * 1000
    assert usual.GLYCEROL["mixture"].high < per_gram < 1.02 * usual.GLYCEROL["short"].high
    own = {"molasses": {"sucrose": 0.5, "water": 0.2, "usable_nitrogen": (0.0005, 0.0015)}}
    assert nitrogen_source_of(feed({"molasses": 200.0}, own)) == "short"
    assert nitrogen_source_of(feed({"molasses": 200.0, "diammonium phosphate": 6.0}, own)) == "ammonium"
    assert nitrogen_source_of(feed({"white sugar": 100.0})) == "mixture"  # silent about it
