"""Cautions: complete, sourced, in one place, at the steps where they matter."""


import pytest
from uncertainties import ufloat

import fermkit as fk
from fermkit.basis.cautions import CAUTIONS, HOT_HOLDING_LIMIT_C, STEPS, cautions_for
from fermkit.basis.errors import InputError
from fermkit.matter.composition import molar_mass


@pytest.mark.parametrize(
    ("step", "names"),
    [
        ("closing", {"Pressure", "Glass", "Drink bottles"}),
        ("warming", {"Pressure", "Glass"}),
        ("venting", {"Pressure", "Venting", "CO2 in closed rooms"}),
        ("fermenting", {"Pressure", "Glass", "CO2 in closed rooms", "Hygiene"}),
        ("fermenting", {"A blocked airlock", "Feed-grade molasses"}),
        ("boiling down", {"Ethanol vapour", "Hot liquids", "Urea and heat"}),
        ("drying", {"Ethanol vapour", "Hot liquids", "Hygiene"}),
        ("autolysis", {"Hot liquids", "Hygiene", "Yeast extract and some medicines"}),
        ("keeping", {"Food that is kept", "Yeast extract and some medicines"}),
        ("eating", {"Hygiene", "Purines and salt", "Yeast extract and some medicines", "Urea and heat"}),
        ("selling", {"Alcohol stated for tax or sale", "Purines and salt"}),
        ("measuring alcohol", {"Alcohol stated for tax or sale"}),
    ],
)
def test_each_step_has_its_cautions(step, names):
    """The dangers of a step are named there, and local codes everywhere."""
    found = {item.name for item in cautions_for(step).items}
    assert names | {"Local codes first"} <= found


def test_numbers_of_the_cautions_are_those_of_the_physics():
    """Five kilograms of sugar: 1.29 m3 of gas where nine tenths ferment; growth to the hot-holding limit."""
    says = {item.name: item.says for item in CAUTIONS}
    cubic_metres = 0.9 * 5000 / molar_mass("sucrose") * 4 * 0.0831446 * 298.15 / 1.01325 / 1000
    assert f"about {cubic_metres:.1f} m3" in says["CO2 in closed rooms"]
    assert f"Between 5 and {HOT_HOLDING_LIMIT_C:g} °C" in says["Hygiene"]


@pytest.mark.parametrize("page", [
    lambda: fk.recovery(dry_yeast_g=ufloat(10.0, 0.1), extract_g=ufloat(5.0, 0.1), debris_g=ufloat(4.8, 0.1)),
    lambda: fk.hold_log([0.0, 1.0, 2.0, 3.0], [50.0, 50.0, 50.0, 50.0]),
])  # fmt: skip
def test_tyramine_is_named_on_every_page_about_an_extract(page):
    """Where an extract is held warm, and where it is weighed to be eaten."""
    assert "monoamine oxidase" in str(page())


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
