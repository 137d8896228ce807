"""The estimate of a batch against published worked balances and rules, none of them ours."""

import pytest
from uncertainties import ufloat

from fermkit.batch.estimate import estimate
from fermkit.batch.known import LATENTS, Recipe, surroundings
from fermkit.batch.readings import ethanol_content, gas, paste, residual_sugar, state_of
from fermkit.matter.feed import feed


def glucose(grams, litres=1.0, **more):
    """A recipe of nothing but glucose."""
    sugar = {"glucose": ufloat(grams, 0.002 * grams), "active dry yeast": ufloat(0.5, 0.01)}
    return Recipe(feed(sugar, {"glucose": {"glucose": 1.0}}), liquid_L=ufloat(litres, 0.005 * litres), **more)


def state(**given):
    """A state with all basic amounts at zero but those given."""
    cells = {"yeast_electrons": 4.2, "yeast_per_carbon": 24.6263}  # CH1.8O0.5N0.2
    basic = dict.fromkeys(LATENTS, 0.0) | {"liquid": 1.0, "gas_space": 0.5} | cells | given
    return state_of([basic[key] for key in LATENTS], surroundings(glucose(100.0)))


def test_gay_lussac():
    """C6H12O6 → 2 C2H5OH + 2 CO2: 51.14 g and 48.86 g of 100 g glucose (Gay-Lussac 1815; any textbook)."""
    s = state(sugar_fed=100.0)
    assert float(s["ethanol"]) == pytest.approx(51.14, abs=0.01)
    assert float(s["co2"]) == pytest.approx(48.86, abs=0.01)


def test_pasteur():
    """Pasteur, Ann. Chim. Phys. 58 (1860) 323: of 100 parts of sucrose 51.11 alcohol, 49.42 CO2, 3.40 glycerol, 0.65
    succinic acid, 1.30 cellulose, fat and other matter of the yeast (from memory). Told the alcohol, the estimate's
    intervals hold his gas, glycerol and yeast."""
    recipe = Recipe(feed({"sucrose": ufloat(100.0, 0.2), "active dry yeast": ufloat(1.0, 0.05)},
                         {"sucrose": {"sucrose": 1.0}}), liquid_L=1.0)  # fmt: skip
    found = estimate(recipe, [ethanol_content(ufloat(51.11 / 7.8924, 0.08))], state="used up")
    for key, grams in (("co2", 49.42), ("glycerol", 3.40), ("yeast", 1.30), ("acids", 0.65)):
        assert found[key].low <= grams <= found[key].high, key


def test_balling():
    """Balling's rule: 2.0665 g extract give 1 g alcohol, 0.9565 g CO2, 0.11 g yeast (extract as disaccharide, to about
    5 % of its carbon). Told the alcohol and that the sugar is used up, its gas and yeast lie in the intervals."""
    recipe = Recipe(feed({"maltose": ufloat(103.3, 0.5), "active dry yeast": ufloat(0.5, 0.02)},
                         {"maltose": {"maltose": 1.0}}), liquid_L=1.0)  # fmt: skip
    found = estimate(recipe, [ethanol_content(ufloat(50.0 / 7.8924, 0.06))], state="used up")
    assert found["co2"].low <= 47.8 <= found["co2"].high
    assert found["yeast"].low <= 5.5 <= found["yeast"].high


def test_anaerobic_chemostat():
    """Verduyn et al., J. Gen. Microbiol. 136 (1990) 395 (from memory): anaerobic glucose chemostats give 0.10 g dry
    yeast and about 1.6 mol ethanol for each g, and each mol, of glucose. From the glucose alone they are in reach."""
    found = estimate(glucose(100.0), state="used up")
    assert found["yeast"].low <= 10.0 <= found["yeast"].high
    assert found["ethanol"].low <= 1.6 * 46.069 / 1.80156 <= found["ethanol"].high


def test_nissen_batch_flux_data():
    """Glycerol 10 to 12 mmol for each g of yeast with ammonium (Nissen et al., Microbiology 143 (1997) 203, worked out
    from a public table of flux data): told yeast and ammonium, 1.0 g of glycerol a gram of yeast lies inside."""
    salts = {"glucose": ufloat(100.0, 0.2), "ammonium sulfate": 3.0, "active dry yeast": ufloat(0.5, 0.01)}
    recipe = Recipe(feed(salts, {"glucose": {"glucose": 1.0}}), liquid_L=1.0)
    assert recipe.nitrogen_source == "ammonium"
    found = estimate(recipe, [paste(ufloat(9.5, 0.1))], state="used up")
    per_g = found.amount("glycerol") / found.amount("yeast")
    assert abs(per_g.nominal_value - 11.0 * 92.094 / 1000) < 1.96 * per_g.std_dev


def test_residual_sugar_by_hand():
    """100 g glucose in 1 L, 20 g/L left: 80 g were used, and at most 80 × 0.5114 g alcohol made."""
    found = estimate(glucose(100.0), [residual_sugar(ufloat(20.0, 0.2))])
    assert found["sugar_used"].value == pytest.approx(80.0, abs=0.5)
    assert found["ethanol"].value < 80.0 * 0.5114


def test_carbon_dioxide_held_by_the_liquid():
    """At 25 °C a litre of water under 1 atm CO2 holds 1.45 g (Henry's constant 0.033 mol/(L atm), Sander 2015): told
    the gas that left, the estimate adds one to two and a half grams for a litre."""
    found = estimate(glucose(60.0, gas_space_L=0.05), [gas("vessel weight", ufloat(25.0, 0.2))], state="stopped")
    assert 25.0 + 1.0 < found["co2"].value < 25.0 + 2.5
    assert found["co2_in_liquid"].low <= 1.45 * 1.1 <= found["co2_in_liquid"].high
