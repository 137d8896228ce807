"""The mistakes: another reading of the same readings, ranked, grouped where they look alike, none where all fits."""

import pytest
from uncertainties import ufloat

from fermkit.batch.estimate import estimate
from fermkit.batch.known import Recipe
from fermkit.batch.mistakes import mistakes_for
from fermkit.batch.readings import (
    candidates,
    debris,
    ethanol_content,
    ethanol_made,
    extract,
    gas,
    jar_weight,
    paste,
    residual_sugar,
    state_of,
    used_up,
    washing_loss,
)
from fermkit.batch.suspects import detection_limits, suspects
from fermkit.matter.feed import feed

SUGAR = {"raw cane sugar": ufloat(140.0, 1.0), "water": 2400.0}
KITCHEN = Recipe(feed(SUGAR), liquid_L=ufloat(2.5, 0.03), gas_space_L=0.5)

# A batch that adds up: 145 g hexose, 5 g left, 8 g yeast, 3 g put in; washing took 5 %.
TRUE = {
    "alcohol": (3.22, 0.1), "collected": (57.5, 1.5), "jar": (60.0, 1.0), "left": (2.0, 0.8), "paste": (10.8, 0.3),
    "extract": (5.4, 0.2), "debris": (4.9, 0.2), "washed": (0.05, 0.03),
}  # fmt: skip


def readings(**times):
    """The readings of the batch above, some of them multiplied."""
    make = {
        "alcohol": ethanol_content, "collected": lambda v: gas("collected volume", v), "jar": jar_weight,
        "left": residual_sugar, "paste": paste, "extract": extract, "debris": debris, "washed": washing_loss,
    }  # fmt: skip
    return [make[name](ufloat(*TRUE[name]) * times.get(name, 1.0)) for name in TRUE]


def named_first(**times):
    """Keys of the first group, the likeliest first."""
    found = suspects(estimate(KITCHEN, readings(**times)))
    assert found.alarm
    return [suspect.mistake.key for suspect in found.first.suspects]


def test_a_run_without_a_mistake_names_none():
    """Where nothing alarms there is no suspect and no probability."""
    found = suspects(estimate(KITCHEN, readings()))
    assert not found.alarm
    assert found.groups == ()


@pytest.mark.parametrize(
    ("times", "key"),
    [
        ({"collected": 1 / 6, "jar": 1 / 6}, "third"),
        ({"collected": 0.75}, "leak"),
        ({"alcohol": 1 / 0.792}, "by volume"),
        ({"alcohol": 0.792}, "by mass"),
        ({"alcohol": 0.5}, "dilution"),
        ({"paste": 2.0}, "wet paste"),
        ({"extract": 0.55, "debris": 0.55}, "washed out"),
        ({"alcohol": 10.0 / 3.0, "paste": 1.0}, None),
    ],
)
def test_each_classic_is_named_in_the_first_group(times, key):
    """A third of a mole, a leak, per cent by volume or mass, "1 + 1" as undiluted, a wet paste, washing."""
    if key is None:
        found = estimate(KITCHEN, readings(**times))
        assert {odd.kinds[0] for odd in found.oddities} == {"ethanol content"}
        return
    assert key in named_first(**times)


def test_a_third_of_a_mole_is_named_before_a_leak():
    """In a complete run the third comes first, and the leak is not in its group."""
    assert named_first(collected=1 / 6, jar=1 / 6)[0] == "third"
    assert "leak" not in named_first(collected=1 / 6, jar=1 / 6)


def test_weak_standards_and_per_cent_by_mass_share_a_group():
    """They make the same readings too high; what splits them is said."""
    found = suspects(estimate(KITCHEN, readings(alcohol=1 / 0.792)))
    keys = {suspect.mistake.key for suspect in found.first.suspects}
    assert {"by volume", "weak standards"} <= keys
    assert found.first.split_by


def test_washing_loss_is_a_mistake_only_against_a_told_loss():
    """Who told nothing of washing may have lost 40 %: no mistake."""
    told = estimate(KITCHEN, readings(extract=0.6, debris=0.6))
    untold = estimate(KITCHEN, readings(extract=0.6, debris=0.6)[:-1])
    assert told.adds_up.alarm
    assert not untold.adds_up.alarm
    assert "washed out" not in {mistake.key for mistake in mistakes_for(untold)}


def test_a_forgotten_inoculum_is_asked_for_only_where_none_is_told():
    """Told yeast cannot have been left out."""
    told = Recipe(feed(SUGAR | {"active dry yeast": ufloat(4.0, 0.1)}), liquid_L=2.5)
    for recipe, asked in ((KITCHEN, True), (told, False)):
        keys = {mistake.key for mistake in mistakes_for(estimate(recipe, readings()))}
        assert ("inoculum" in keys) is asked


def test_what_even_the_best_does_not_mend_is_said():
    """Two mistakes at once: the first suspect still fits badly, and says so."""
    found = suspects(estimate(KITCHEN, readings(collected=0.6, alcohol=0.5, paste=2.0)))
    assert all(suspect.fits_badly for suspect in found.first.suspects)


def test_a_larger_leak_is_seen_and_a_smaller_one_is_not():
    """The detection limit of a leak lies where the alarm begins."""
    limit = detection_limits(estimate(KITCHEN, readings()))["leak"].size
    assert 0.05 < limit < 0.4
    assert estimate(KITCHEN, readings(collected=1 - 2.0 * limit)).adds_up.alarm
    assert not estimate(KITCHEN, readings(collected=1 - 0.2 * limit)).adds_up.alarm


def test_better_readings_see_smaller_mistakes():
    """With one route to the gas a leak hides deeper than with two."""
    both = detection_limits(estimate(KITCHEN, readings()))
    one = [reading for reading in readings() if reading.kind in ("gas", "residual sugar")]
    alone = detection_limits(estimate(KITCHEN, one))
    assert both["leak"].size < alone["leak"].size


def test_what_was_weighed_is_not_asked_to_be_weighed():
    """A leak in a jar on the scale: test the joints; off the scale, weigh the jar as well."""
    scale = ("jar weight", "vessel weight")
    checks = {}
    for kind, more in {"none": [], "jar": [jar_weight(60.0)], "vessel": [gas("vessel weight", 60.0)]}.items():
        found = estimate(KITCHEN, [gas("collected volume", 45.0), *more])
        checks[kind] = next(one.check for one in mistakes_for(found) if one.key == "leak")
        asked = [gain.words for gain in found.measure_next()]
        assert (jar_weight(1.0).words in asked) == (kind == "none"), kind
        left = candidates(state_of(found.settled.at[0], found.around), [one.kind for one in found.readings])
        assert any(one.kind in scale for one in left) == (kind == "none")
    assert checks["jar"] == checks["vessel"] != checks["none"]


def test_alcohol_made_and_alcohol_read_are_one_reading():
    """Who read the alcohol of samples is not asked for its content, nor for a word where the sugar was measured."""
    asked = {gain.words for gain in estimate(KITCHEN, [ethanol_made(60.0), residual_sugar(2.0)]).measure_next()}
    assert not asked & {ethanol_content(3.0).words, residual_sugar(2.0).words, used_up().words}
