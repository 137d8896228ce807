"""Cautions: complete, sourced, in one place, at the steps where they matter."""


import pytest

from fermkit.basis.cautions import CAUTIONS, STEPS, cautions_for
from fermkit.basis.errors import InputError


@pytest.mark.parametrize(
    ("step", "names"),
    [
        ("closing", {"Pressure", "Glass", "Soft-drink bottles"}),
        ("warming", {"Pressure", "Glass"}),
        ("venting", {"Pressure", "Venting", "CO2 in closed rooms"}),
        ("fermenting", {"Pressure", "Glass", "CO2 in closed rooms", "Hygiene"}),
        ("boiling down", {"Ethanol vapour", "Hot liquids"}),
        ("drying", {"Ethanol vapour", "Hot liquids", "Hygiene"}),
        ("autolysis", {"Hot liquids", "Hygiene"}),
        ("eating", {"Hygiene", "Purines and salt"}),
        ("selling", {"Alcohol stated for tax or sale", "Purines and salt"}),
        ("measuring alcohol", {"Alcohol stated for tax or sale"}),
    ],
)
def test_each_step_has_its_cautions(step, names):
    """The dangers of a step are named there, and local codes everywhere."""
    found = {item.name for item in cautions_for(step).items}
    assert names | {"Local codes first"} <= found


def test_every_caution_is_shown_somewhere_and_sourced():
    """No caution without a step, a known one; each says where it comes from."""
    for item in CAUTIONS:
        assert item.steps and set(item.steps) <= set(STEPS)
        assert item.source
        assert item.source in item.sentence()


def test_steps_are_joined_without_repeats():
    """Two steps share their cautions once; no step means all."""
    both = cautions_for("drying", "boiling down").sentences()
    assert len(both) == len(set(both))
    assert len(cautions_for().items) == len(CAUTIONS)


def test_an_unknown_step_is_refused():
    """With the nearest word that is on the list."""
    with pytest.raises(InputError, match="did you mean 'drying'"):
        cautions_for("dryin")


def test_they_print_and_show():
    """As lab-book text and as HTML, every sentence in both."""
    care = cautions_for("drying")
    for item in care.items:
        assert item.name in str(care)
        assert item.name in care._repr_html_()
