"""Settling and washing: what the paste's liquid keeps, and yeast poured away."""

import pytest
from uncertainties import ufloat

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.harvest.washing import Poured, Told, Washed, as_kcl, washing

TABLE = {
    "what": ["supernatant", "wash", "wash"], "volume [mL]": [1850, 600, 600], "brix [°Bx]": [4.0, "", 0.3],
    "cells [g/L]": [0.3, 0.2, 0.1],
}  # fmt: skip


def batch(table=TABLE, **harvest):
    """Molasses whose paste was weighed wet and dry, with what was poured off."""
    settings = {
        "run": {"name": "pot"}, "vessel": {"liquid": "2.0 L"}, "inoculum": {"ingredient": "active dry yeast",
        "amount": "5 g"}, "feed": [{"ingredient": "beet molasses", "amount": "240 g"}], "harvest": harvest,
        "ethanol": {"content": "3.4 ± 0.2 % vol"},
    }  # fmt: skip
    paste = {"item": ["paste"], "tare [g]": [41.2], "wet [g]": [137.0], "dry [g]": [61.9]}
    return fk.analyse(fk.run_from(settings, {"weights": paste} | ({"washing": table} if table else {})))


def clumps(broth_g_L, liquid_L, wash_L, times, hidden):
    """Solids of the liquid poured off last and of the paste's whole liquid, where a share of it sits in clumps that
    swap a third of themselves at each wash: a model that the method does not know."""
    open_L, inside_L = liquid_L * (1 - hidden), liquid_L * hidden
    free, inside = broth_g_L, broth_g_L
    for _ in range(times):
        free = free * open_L / (open_L + wash_L)
        swapped = inside_L / 3
        free, inside = (
            (free * (open_L + wash_L - swapped) + inside * swapped) / (open_L + wash_L),
            (inside * (inside_L - swapped) + free * swapped) / inside_L,
        )
    return free, (free * open_L + inside * inside_L) / liquid_L


def test_perfect_mixing_is_the_handbook_sum():
    """60 mL of liquid, twice 540 mL: a hundredth of the solids stays."""
    found = washing(40.0, 0.06, washes=[Poured("wash 1", 0.54), Poured("wash 2", 0.54)])
    assert nominal(found.mixed_g_L) == pytest.approx(0.4)
    assert found.told is Told.MIXING and found.verdict is Washed.UNTOLD
    assert nominal(found.left_g_L) > 0.4 and uncertainty(found.left_g_L) > 0.1


def test_volumes_alone_hold_a_paste_with_clumps():
    """A tenth of the liquid in clumps: what stays lies within two ± of what the volumes say."""
    _, true = clumps(40.0, 0.06, 0.3, 2, hidden=0.1)
    found = washing(40.0, 0.06, washes=[Poured("wash 1", 0.3), Poured("wash 2", 0.3)])
    assert abs(nominal(found.left_g_L) - true) < 2 * uncertainty(found.left_g_L)
    assert true > 1.3 * nominal(found.mixed_g_L)  # perfect mixing would have missed it


def test_a_last_wash_that_holds_more_than_mixing_leaves_is_said():
    """Little stirring shows in the last wash, and the person is sent back to the sieve."""
    last = Poured("wash 2", 0.54, solids_g_L=ufloat(4.0, 0.3))
    assert washing(40.0, 0.06, washes=[Poured("wash 1", 0.54), last]).verdict is Washed.NOT_THROUGH


def test_conductivity_tells_the_solids_of_the_last_wash():
    """Salts of a broth thinned tenfold, as KCl conducts: a tenth of the solids within the ±, not the bare ratio."""

    def conducts(mol):  # Kohlrausch's root law, not the table of the method; limit and slope of KCl
        return mol * (149.9 - 87.0 * mol**0.5 + 66.0 * mol)

    first = Poured("supernatant", 1.8, solids_g_L=ufloat(30.0, 0.9), conductivity_mS_cm=conducts(0.1) + 0.4)
    last = Poured("wash 1", 0.54, conductivity_mS_cm=conducts(0.01) + 0.4)
    found = washing(30.0, 0.06, first, [last], water_mS_cm=0.4)
    assert found.told is Told.CONDUCTIVITY
    assert nominal(found.left_g_L) == pytest.approx(3.0, rel=0.04)
    assert nominal(as_kcl(0.0)) == 0.0


def test_a_last_wash_that_conducts_better_than_the_broth_is_refused():
    """Rows swapped, or µS for mS."""
    first = Poured("supernatant", 1.8, conductivity_mS_cm=1.0)
    with pytest.raises(InputError, match="conducts"):
        washing(30.0, 0.06, first, [Poured("wash 1", 0.5, conductivity_mS_cm=2.0)])


def test_what_was_measured_takes_the_place_of_a_guess():
    """The ± of the yeast falls to less than half, and the loss is a stream of its own."""
    with_it, without = batch(), batch(table=None)
    assert with_it.estimate["yeast"].u < 0.5 * without.estimate["yeast"].u
    kinds = {reading.kind for reading in with_it.estimate.readings}
    assert {"carried", "poured off"} <= kinds
    assert nominal(with_it.washing.settled_away_g) == pytest.approx(1.85 * 0.3)
    assert nominal(with_it.washing.washed_away_g) == pytest.approx(0.18)
    # 0.74 g poured off and up to 4 % of 20.7 g on the walls
    assert with_it.estimate["losses"].low < 0.74 + 0.4 < with_it.estimate["losses"].high


def test_alcohol_is_not_counted_among_the_solids():
    """The same °Bx with more alcohol is less solids."""
    solids = nominal(batch().washing.supernatant.solids_g_L)
    # 3.4 % vol are 27 g/L, each as good as 0.41 to 0.50 g of sugar to a refractometer; 4.0 °Bx are 40.5 g/L
    assert 0.9 * (40.5 - 0.50 * 27) < solids < 40.5 - 0.41 * 27


def test_a_paste_weighed_before_washing_carries_the_broth():
    """Then washing takes its solids and yeast from extract and debris, as a stream of its own."""
    early, late = batch(paste_weighed="before washing"), batch()
    assert nominal(early.yeast.non_yeast_solids_g) > nominal(late.yeast.non_yeast_solids_g) + 1.0
    assert "washings" in {reading.kind for reading in early.estimate.readings}


def test_too_little_paste_beside_what_was_poured_off_is_a_loss_elsewhere():
    """Yeast in the supernatant by the gram, and told as harvested: the loss is named by its grams."""
    cloudy = {**TABLE, "cells [g/L]": [3.0, 0.2, 0.1]}
    assert batch(cloudy).estimate["losses"].value > batch().estimate["losses"].value + 3.0


def test_words_that_no_liquid_has_are_refused():
    """Another name in the table says which names there are."""
    found = batch({**TABLE, "what": ["broth", "wash", "wash"]})
    assert found.washing is None and found.estimate is not None and any("supernatant" in gap for gap in found.gaps)


def test_more_solids_in_the_paste_than_were_fed_cannot_be():
    """Kilograms for grams in a litre: said as impossible, and not used."""
    found = batch({**TABLE, "brix [°Bx]": ["", "", ""], "solids [g/L]": [30, 20, 9000]}).estimate
    assert any("carried" in odd.kinds for odd in found.oddities)
    assert "carried" not in {reading.kind for reading in found.readings}


def test_plain_sugar_leaves_no_solids_to_look_for():
    """Its broth holds glycerol alone, which is no solid of the feed."""
    settings = {"vessel": {"liquid": "2 L"}, "feed": [{"ingredient": "white sugar", "amount": "200 g"}],
                "inoculum": {"ingredient": "active dry yeast", "amount": "5 g"}}  # fmt: skip
    paste = {"item": ["paste"], "tare [g]": [41.2], "wet [g]": [137.0], "dry [g]": [61.9]}
    found = fk.analyse(fk.run_from(settings, {"weights": paste, "washing": TABLE})).estimate
    assert "carried" not in {reading.kind for reading in found.readings} and not found.oddities
