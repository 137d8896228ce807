"""Solids, both moisture bases, constant weight."""

import pytest
from uncertainties import ufloat

from fermkit import solids
from fermkit.basis.errors import InputError
from fermkit.basis.written import uncertainty
from fermkit.harvest.dry_matter import constant_weight


def test_solids_by_hand():
    """A dish of 20 g, 30 g wet and 22.5 g dry gross: 25 % solids, 75 % wet basis, 3 g/g dry basis."""
    found = solids(20.0, 30.0, 22.5)
    assert (found.wet_g, found.dry_g, found.water_g) == (10.0, 2.5, 7.5)
    assert found.solids_fraction == 0.25
    assert found.moisture_wet_basis == 0.75
    assert found.moisture_dry_basis == 3.0
    assert found.weight_at(0.08) == pytest.approx(2.5 / 0.92)


def test_the_bases_are_named_on_the_page():
    """Nobody can mix up the two moistures: each line names its basis."""
    page = str(solids(20.0, 30.0, 22.5))
    assert "moisture, wet basis   75.00" in page
    assert "moisture, dry basis   3.000" in page


def test_a_tare_shared_is_counted_once():
    """The tare moves wet and dry alike: the ± of the water does not hold it, that of the solids does."""
    tare = ufloat(20.0, 0.5, tag="weighing the dish")
    found = solids(tare, 30.0, 22.5)
    assert uncertainty(found.water_g) == pytest.approx(0.0, abs=1e-12)
    # d(dry/wet)/d(tare) = -(1/wet)(1 - dry/wet)
    assert uncertainty(found.solids_fraction) == pytest.approx(0.5 * (1 - 0.25) / 10.0)


def test_residual_moisture_is_water():
    """A dehydrator's 'dry' sample with 6 % left holds 6 % less dry matter."""
    assert solids(20.0, 30.0, 22.5, 0.06).dry_g == pytest.approx(2.5 * 0.94)


@pytest.mark.parametrize(
    ("weights", "words"),
    [
        ((20.0, 30.0, 31.0), "heavier than the wet one"),
        ((35.0, 30.0, 25.0), "tare of 35 g is not lighter than the wet"),
        ((26.0, 30.0, 25.0), "tare of 26 g is not lighter than the dry"),
        ((-1.0, 30.0, 25.0), "tare"),
    ],
)
def test_bad_weighings_are_refused(weights, words):
    """Dry heavier than wet, tare heavier than gross."""
    with pytest.raises(InputError, match=words):
        solids(*weights)


def test_moistures_out_of_range_are_refused():
    """800 % left in the dried sample; 75 for 75 % to reach."""
    with pytest.raises(InputError, match="residual moisture"):
        solids(20.0, 30.0, 22.5, 8.0)
    with pytest.raises(InputError, match="moisture on the wet basis"):
        solids(20.0, 30.0, 22.5).weight_at(75.0)


def test_still_losing():
    """A loss beyond 1.96 √2 u goes on; within it, the weighings agree."""
    limit = 1.96 * 2**0.5 * 0.1
    assert not constant_weight([30.0, 30.0 - 1.01 * limit], 0.1).agrees
    assert constant_weight([30.0, 30.0 - 0.99 * limit], 0.1).agrees
    assert "go on drying" in str(constant_weight([31.0, 30.0], 0.1))


def test_agreement_is_wrong_once_in_twenty():
    """Of dry samples weighed twice, 95 % are called constant."""
    import numpy as np

    rng = np.random.default_rng(3)
    called = [constant_weight(30.0 + rng.normal(0, 0.1, 2), 0.1).agrees for _ in range(2000)]
    assert np.mean(called) == pytest.approx(0.95, abs=0.015)


def test_a_syrup_at_rest_is_not_dry():
    """With the dry matter known, the water that stays is told; without it, the doubt is."""
    syrup = constant_weight([31.9, 30.41, 30.40], 0.01, [0, 2, 4], dry_g=ufloat(27.2, 0.1))
    assert syrup.agrees and syrup.still_wet
    assert "stopped losing weight but still holds water: 10.53" in str(syrup)
    assert "not dryness" in str(constant_weight([30.41, 30.40], 0.01, [0, 2]))


def test_dry_within_error_is_not_called_wet():
    """Water within the error of the dry matter is not claimed."""
    assert constant_weight([27.3, 27.3], 0.01, [0, 2], dry_g=ufloat(27.2, 0.1)).still_wet is False


def test_close_weighings_do_not_end_a_drying():
    """Two weighings five minutes apart agree too easily, and the page says so; what could hide is told."""
    page = str(constant_weight([30.05, 30.0], 0.05, [0.0, 0.08]))
    assert "Weigh again" in page
    assert "could still lose" in page


def test_growing_heavier_is_told():
    """A sample that takes up water, or a scale that drifts."""
    assert "grew heavier" in str(constant_weight([30.0, 30.5], 0.05))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([30.0], 0.1), "at least 2"),
        (([30.0, -1.0], 0.1), "weight"),
        (([30.0, 29.0], 0.0), "repeatability|uncertainty of the scale"),
        (([30.0, 29.0], 0.1, [0.0, 0.0]), "time"),
        (([30.0, 29.0], 0.1, None, 31.0), "heavier than the sample"),
    ],
)
def test_bad_series_are_refused(arguments, words):
    """One weighing, negative weights, no ±, times that stand still, dry matter above the sample."""
    with pytest.raises(InputError, match=words):
        constant_weight(*arguments)
