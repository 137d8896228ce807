"""Keeping: water activity worked out or measured, what may grow, salt and purines of a portion."""

import pytest
from uncertainties import ufloat

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.harvest.keeping import GROWERS, Grows, Known, keeping, salt_water_activity


def test_what_was_measured_goes_before_a_sum():
    """And its ± decides at its upper end: 0.82 ± 0.01 may be 0.84, where Staphylococcus grows."""
    found = keeping(water=0.3, salt=0.1, measured=ufloat(0.82, 0.01))
    assert found.known is Known.MEASURED and found.grows is Grows.STAPHYLOCOCCUS
    assert keeping(measured=ufloat(0.80, 0.01)).grows is Grows.MOULDS


@pytest.mark.parametrize(
    ("activity", "grows"),
    [(0.97, Grows.DANGEROUS), (0.92, Grows.DANGEROUS), (0.88, Grows.STAPHYLOCOCCUS), (0.75, Grows.MOULDS),
     (0.60, Grows.MOULDS), (0.4, Grows.NOTHING)],
)  # fmt: skip
def test_verdicts_at_their_limits(activity, grows):
    """A value at a limit counts as growth."""
    found = keeping(measured=activity)
    assert found.grows is grows
    assert {one.name for one in found.may_grow} == {one.name for one in GROWERS if one.least <= activity}


def test_salt_and_solids_each_lower_it():
    """More of either, less free water; both have their ± in it."""
    wet, salted, dried = keeping(water=0.8), keeping(water=0.75, salt=0.05), keeping(water=0.5)
    for found in (salted, dried):
        assert nominal(found.water_activity) < nominal(wet.water_activity)
        assert 0.003 < uncertainty(found.water_activity) < 0.05


def test_salt_that_does_not_dissolve_lowers_it_no_further():
    """Saturated brine is 0.753, however much salt lies in it."""
    assert nominal(keeping(water=0.5, salt=0.5).water_activity) == pytest.approx(0.753, abs=0.004)
    assert nominal(keeping(water=0.3, salt=0.7).water_activity) == pytest.approx(0.753, abs=0.004)


def test_too_dry_for_a_sum_is_said():
    """A powder's water is bound: no number, a way to get one, and no word that it is safe."""
    found = keeping(water=0.06, salt=0.1)
    assert found.water_activity is None and found.grows is Grows.NOT_TOLD
    assert "measured" in str(found) and "nan" not in str(found)


def test_no_page_promises_safety():
    """Each page defers to food law, says what low water does not do, and calls nothing safe."""
    for activity in (0.97, 0.7, 0.3):
        page = str(keeping(measured=activity, portion_g=5.0, salt=0.1, water=0.3))
        assert "food law" in page and "kills nothing" in page
        assert "is safe" not in page and "Clostridium" in page


def test_salt_and_purines_of_a_portion():
    """5 g with 11 % salt hold 0.55 g of it; 3 g of dry matter make some tens of mg of uric acid."""
    found = keeping(water=0.29, salt=0.11, portion_g=5.0)
    assert nominal(found.salt_g) == pytest.approx(0.55)
    assert 0.02 < nominal(found.uric_acid_g) < 0.1 and uncertainty(found.uric_acid_g) > 0.01
    assert keeping(measured=0.7, portion_g=5.0).salt_g is None


def test_what_cannot_be_is_refused():
    """More than the whole product, or nothing told of its water."""
    with pytest.raises(InputError, match=r"water 0\.8"):
        keeping(water=0.8, salt=0.3)
    with pytest.raises(InputError, match="water"):
        keeping(salt=0.1)
    with pytest.raises(InputError):
        keeping(measured=1.2)


def test_a_run_tells_it_and_brings_its_cautions():
    """[keeping] makes a page of the report; without it nothing is said."""
    settings = {"run": {"name": "pot"}, "feed": [{"ingredient": "white sugar", "amount": "100 g"}],
                "vessel": {"liquid": "1 L"}}  # fmt: skip
    found = fk.analyse(fk.run_from(settings | {"keeping": {"water": "28 %", "salt": "11 %", "portion": "5 g"}}, {}))
    assert found.keeping.grows in (Grows.MOULDS, Grows.STAPHYLOCOCCUS)
    assert "keeping" in found.cautions.steps and any(name == "keeping" for name, _ in found.sections())
    assert fk.analyse(fk.run_from(settings, {})).keeping is None


def test_thin_brine_is_water():
    """No salt, no change; and it falls all the way."""
    assert salt_water_activity(0.0) == 1.0
    values = [float(salt_water_activity(m)) for m in (0.5, 1, 2, 4, 6)]
    assert values == sorted(values, reverse=True)
