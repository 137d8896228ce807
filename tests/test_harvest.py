"""Net yeast, carried solids, recovery, protein."""

import numpy as np
import pytest
from uncertainties import ufloat

from fermkit import protein, recovery
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.harvest.recovery import DETECTED, Adding, carried_solids, net_yeast


def test_net_yeast_is_a_difference_with_all_its_errors():
    """Product less carried solids less inoculum, each ± counted."""
    found = net_yeast(ufloat(9.0, 0.2), ufloat(1.5, 0.3), ufloat(4.7, 0.1))
    assert nominal(found.yeast_g) == pytest.approx(7.5)
    assert nominal(found.net_g) == pytest.approx(2.8)
    assert uncertainty(found.net_g) == pytest.approx(np.sqrt(0.04 + 0.09 + 0.01))
    assert found.growth_shown
    assert "Growth is shown" in str(found)


def test_a_harvest_within_error_of_the_inoculum():
    """Says that no growth is shown, and gives the number all the same, also a negative one."""
    found = net_yeast(ufloat(6.4, 0.3), ufloat(1.5, 0.2), ufloat(4.7, 0.1))
    assert not found.growth_shown
    assert "No growth shown" in str(found)
    assert nominal(net_yeast(4.0, 1.0, 4.7).net_g) == pytest.approx(-1.7)


def test_growth_is_claimed_once_in_twenty_without_any():
    """Of runs that did not grow, 5 % are called growth."""
    rng = np.random.default_rng(8)
    calls = [net_yeast(ufloat(5.0 + rng.normal(0, 0.3), 0.3), 0.0, 5.0).growth_shown for _ in range(4000)]
    assert np.mean(calls) == pytest.approx(0.05, abs=0.012)


def test_carried_solids_follow_the_liquid():
    """60 g of 1,000 g liquid carry 6 % of the dissolved solids, with the feed's ± in proportion."""
    carried = carried_solids(ufloat(24.0, 3.0, tag="ash of the molasses"), 1000.0, 60.0)
    assert nominal(carried) == pytest.approx(1.44)
    assert uncertainty(carried) == pytest.approx(0.18)
    with pytest.raises(InputError, match="1200 g liquid in the paste"):
        carried_solids(24.0, 1000.0, 1200.0)


def whole(**more):
    """A recovery that adds up, with ± on everything."""
    given = {
        "dry_yeast_g": ufloat(20.0, 0.4),
        "extract_g": ufloat(12.3, 0.3),
        "debris_g": ufloat(8.6, 0.2),
        "non_yeast_solids_g": ufloat(1.0, 0.2),
    }
    return recovery(**(given | more))


def test_fractions_that_add_up():
    """In and out agree within error, and the gap that could not have been seen is told."""
    found = whole()
    assert nominal(found.missing_g) == pytest.approx(0.1)
    u = np.sqrt(0.16 + 0.09 + 0.04 + 0.04)
    assert uncertainty(found.missing_g) == pytest.approx(u)
    assert found.verdict is Adding.ADDS_UP
    assert f"gap of {DETECTED * u:.4g} g is found 19 times in 20" in " ".join(str(found).split())


def test_a_loss_is_named_and_a_weighed_one_explains_it():
    """3 g less debris is missing beyond error; the same 3 g weighed as losses closes the sum."""
    assert whole(debris_g=ufloat(5.6, 0.2)).verdict is Adding.MISSING
    assert whole(debris_g=ufloat(5.6, 0.2), losses_g=ufloat(3.0, 0.1)).verdict is Adding.ADDS_UP


def test_more_out_than_in_is_doubted():
    """A 'dry' extract that is not dry, or salt that was not counted; counted, it closes."""
    assert whole(extract_g=ufloat(16.0, 0.3)).verdict is Adding.TOO_MUCH
    assert whole(extract_g=ufloat(16.0, 0.3), added_g=ufloat(3.7, 0.05)).verdict is Adding.ADDS_UP


def test_without_uncertainty_no_verdict():
    """Bare weights: the gap is told, its meaning is not."""
    found = recovery(dry_yeast_g=20.0, extract_g=11.0, debris_g=8.0)
    assert found.verdict is Adding.NO_U


def test_the_extract_is_net_of_feed_solids_and_inoculum():
    """Of 10 g in, 2 g feed solids and 2 g inoculum: by the two ends of the assumption 2.25 and 3.0 g of 5 g extract."""
    found = recovery(dry_yeast_g=8.0, non_yeast_solids_g=2.0, inoculum_g=2.0, extract_g=5.0, debris_g=5.0)
    ends = [(5.0 - share * 2.0) * (1 - 2.0 / 8.0) for share in (1.0, 0.5)]
    assert ends == [2.25, 3.0]
    assert nominal(found.net_extract_g) == pytest.approx(np.mean(ends))
    assert uncertainty(found.net_extract_g) == pytest.approx((ends[1] - ends[0]) / 2 / np.sqrt(3))


def test_net_extract_holds_the_truth_of_a_kitchen_that_splits_in_its_own_way():
    """Yeast opens to a share of its own, feed solids dissolve to 50 to 100 %: 95 of 100 hold the new extract."""
    rng, held = np.random.default_rng(2), 0
    for _ in range(600):
        grown, solids, put_in = rng.uniform(6, 12), rng.uniform(1, 4), rng.uniform(2, 5)
        opened, dissolved = rng.normal(0.5, 0.07), rng.uniform(0.5, 1.0)
        extract = opened * (grown + put_in) + dissolved * solids
        found = recovery(
            dry_yeast_g=ufloat(grown + put_in + rng.normal(0, 0.2), 0.2),
            non_yeast_solids_g=ufloat(max(solids + rng.normal(0, 0.3), 0), 0.3),
            inoculum_g=ufloat(put_in + rng.normal(0, 0.1), 0.1),
            extract_g=ufloat(extract + rng.normal(0, 0.1), 0.1),
            debris_g=ufloat(grown + put_in + solids - extract + rng.normal(0, 0.1), 0.1),
        ).net_extract_g
        held += abs(nominal(found) - opened * grown) < 1.96 * uncertainty(found)
    assert held / 600 == pytest.approx(0.95, abs=0.03)


def test_salt_is_no_extract_of_yeast():
    """Salt that was added and dissolved leaves the net extract as it was."""
    plain, salted = whole(), whole(extract_g=ufloat(16.3, 0.3), added_g=4.0)
    assert nominal(salted.net_extract_g) == pytest.approx(nominal(plain.net_extract_g))


def test_shares_keep_the_shared_yeast():
    """Extract's and debris's shares move together with the yeast that both are divided by."""
    found = whole()
    apart = np.hypot(uncertainty(found.extract_share), uncertainty(found.debris_share))
    assert uncertainty(found.recovered_share) > apart
    assert nominal(found.recovered_share) == pytest.approx(20.9 / 21.0)


def test_protein_does_not_count_ammonium():
    """0.8 g N of which 0.05 is left-over ammonium, times 6.25, with the factor on the page."""
    found = protein(0.80, ammonium_n_g=0.05, dry_g=10.0)
    assert nominal(found.protein_g) == pytest.approx(0.75 * 6.25)
    assert nominal(found.share) == pytest.approx(0.46875)
    assert uncertainty(found.protein_g) == pytest.approx(0.75 * 0.65 / np.sqrt(3))
    assert "Crude protein" in str(found) and "6.25 ± 0.38" in str(found)
    assert "is not protein" in str(found)


def test_protein_with_the_yeast_factor_carries_its_range():
    """5.5 to 5.8 as a rectangle: 5.65 ± 0.087, owned by the factor."""
    found = protein(1.0, "yeast, true protein")
    assert nominal(found.protein_g) == pytest.approx(5.65)
    assert uncertainty(found.protein_g) == pytest.approx(0.15 / np.sqrt(3))
    (source,) = found.protein_g.error_components()
    assert source.tag.phrase == "the nitrogen-to-protein factor"


def test_a_factor_of_ones_own():
    """A number is taken and called the user's."""
    found = protein(1.0, 5.85)
    assert found.protein_g == pytest.approx(5.85)
    assert "given by the user" in str(found)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: protein(0.8, ammonium_n_g=0.9), "ammonium nitrogen in 0.8 g nitrogen"),
        (lambda: protein(0.8, "yeasty"), "nitrogen factor is 'yeasty'"),
        (lambda: protein(0.0), "nitrogen"),
        (lambda: protein(0.8, -1.0), "nitrogen factor"),
        (lambda: net_yeast(0.0), "dry product"),
        (lambda: net_yeast(5.0, -1.0), "not yeast"),
        (lambda: recovery(dry_yeast_g=0.0, extract_g=1.0, debris_g=1.0), "dry yeast"),
        (lambda: recovery(dry_yeast_g=5.0, extract_g=-1.0, debris_g=1.0), "extract"),
    ],
)
def test_bad_numbers_are_refused(call, words):
    """Clear words for each."""
    with pytest.raises(InputError, match=words):
        call()


def test_pages_show_as_html():
    """Each result prints, shows and tabulates."""
    for result in (net_yeast(5.0), whole(), protein(0.8)):
        assert "<section" in result._repr_html_()
        assert len(result.table()) >= 3
