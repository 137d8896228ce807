"""Sugar in time: hydrometer, refractometer and sugar tests, what each sees, and where the readings go."""

import numpy as np
import pytest

import fermkit as fk
from fermkit.basis.written import nominal, uncertainty
from fermkit.run.batch_in_time import fit_batch, readings_in_time
from fermkit.run.sugar_in_time import By

FEED = [{"ingredient": "beet molasses", "amount": "240 g"}]
HOURS = [0, 6, 12, 18, 24, 36]
USED = np.array([0.0, 0.05, 0.3, 0.7, 0.95, 1.0])


def made(fed_g_L, used):
    """A broth by other numbers than ours: mixture density by apparent volumes, refraction by Lorentz and Lorenz.

    Sucrose 0.622, ethanol 1.18, glycerol 0.77, salts 0.45 mL/g in water of 0.9982 g/mL; molar refractions of the
    handbook: index of water 1.3330, of sucrose 0.2060 mL/g, ethanol 0.2807, glycerol 0.2236, salts as 0.17.
    """
    grams = {
        "sucrose": (fed_g_L / 1.0526 * (1 - used), 0.622, 0.2060), "ethanol": (0.46 * fed_g_L * used, 1.18, 0.2807),
        "glycerol": (0.035 * fed_g_L * used, 0.77, 0.2236), "salts": (40.0 + 0 * used, 0.45, 0.170),
    }  # fmt: skip
    water_mL = 1000.0 - sum(g * v for g, v, _ in grams.values())
    mass = 0.9982 * water_mL + sum(g for g, _, _ in grams.values())
    bent = 0.2059 * 0.9982 * water_mL + sum(g * r for g, _, r in grams.values())
    index = np.sqrt((1 + 2 * bent / 1000) / (1 - bent / 1000))
    brix = np.interp(index, [1.33299, 1.34026, 1.34782, 1.35568, 1.36384, 1.37233], [0, 5, 10, 15, 20, 25])  # ICUMSA
    return mass, brix


def batch(columns, feed=FEED, **more):
    """240 g of molasses in 2 L with a table of sugar readings."""
    settings = {
        "run": {"name": "pot"}, "vessel": {"liquid": "2.0 L"}, "feed": feed,
        "inoculum": {"ingredient": "active dry yeast", "amount": "5 g"}, **more,
    }  # fmt: skip
    return fk.analyse(fk.run_from(settings, {"sugar": {"time [h]": HOURS, **columns}}))


@pytest.fixture(scope="module")
def fed_g_L():
    """Hexose in a litre of the pot."""
    return nominal(batch({"brix [°Bx]": [9.0] * 6}).sugar_course.fed_g_L)


@pytest.mark.parametrize("by", [By.HYDROMETER, By.REFRACTOMETER])
def test_sugar_left_holds_a_broth_made_by_other_numbers(fed_g_L, by):
    """At each hour the sugar left lies within two ± of the truth, molasses solids and alcohol and all."""
    density, brix = made(fed_g_L, USED)
    shown = {By.HYDROMETER: {"density [kg/m3]": density.round(1)}, By.REFRACTOMETER: {"brix [°Bx]": brix.round(1)}}[by]
    for one, used in zip(batch(shown).sugar_course.by(by), USED):
        left = fed_g_L * (1 - used)
        assert abs(nominal(one.left_g_L) - left) < 2 * max(uncertainty(one.left_g_L), 1.0)
    plain = 10 * brix[-1]  # all °Bx taken for sugar
    assert plain > 40  # while no sugar is left


def test_the_last_readings_go_into_the_estimate(fed_g_L):
    """Density and °Brix before and after are readings of the batch, and the sugar left is narrower for them."""
    density, brix = made(fed_g_L, USED)
    found = batch({"density [kg/m3]": density.round(1), "brix [°Bx]": brix.round(1)})
    assert {"density", "refraction"} <= {reading.kind for reading in found.estimate.readings}
    assert not found.estimate.adds_up.alarm
    bare = batch({"temperature [°C]": [20] * 6})
    for key in ("ethanol", "sugar_left"):
        assert found.estimate[key].u < 0.6 * bare.estimate[key].u
    for key, true in (("ethanol", 0.46 * fed_g_L * 2), ("sugar_left", 0.0)):
        answer = found.estimate[key]
        assert answer.low - 0.1 <= true <= answer.high


def test_a_specific_gravity_is_read_as_one(fed_g_L):
    """1.048 on the scale is 1046 kg/m3, water of 20 °C having 998.2; a warm jar is corrected."""
    density, _ = made(fed_g_L, USED)
    plain, gravity = batch({"density [kg/m3]": density}), batch({"SG": density / 998.2})
    for a, b in zip(plain.sugar_course.readings, gravity.sugar_course.readings):
        assert nominal(a.shown) == pytest.approx(nominal(b.shown), abs=0.1)
    warm = batch({"density [kg/m3]": density, "temperature [°C]": [30] * 6})
    assert nominal(warm.sugar_course.readings[0].shown) > nominal(plain.sugar_course.readings[0].shown) + 2


def test_a_glucose_strip_that_shows_none_is_not_no_sugar():
    """It sees no fructose: the sugar left has room for some, and the estimate takes it so."""
    found = batch({"glucose [g/L]": [0, 4, 20, 12, 2, 0]})
    last = found.sugar_course.tested_at_end
    assert last.by is By.GLUCOSE and 0 < nominal(last.left_g_L) < 6 and uncertainty(last.left_g_L) > 1
    assert any(reading.kind == "residual sugar" for reading in found.estimate.readings)
    assert all(one.left_g_L is None for one in found.sugar_course.readings[:-1])  # sucrose may be there, unsplit
    syrup = [{"ingredient": "invert syrup", "amount": "160 g"}]
    assert batch({"glucose [g/L]": [60, 40, 20, 12, 2, 0]}, feed=syrup).sugar_course.readings[1].left_g_L is not None
    told = batch({"glucose [g/L]": [0, 4, 20, 12, 2, 0]}, residual_sugar={"value": "7.0 ± 0.5 g/L"})
    assert nominal(told.sugar_left_g_L) == 7.0


def test_a_test_that_sees_more_goes_before_the_one_that_sees_less():
    """Glucose and fructose before glucose alone."""
    found = batch({"glucose [g/L]": [0, 4, 20, 12, 2, 0], "reducing [g/L]": [2, 8, 40, 30, 9, 4]})
    assert found.sugar_course.tested_at_end.by is By.REDUCING


def test_without_a_reading_at_the_start_the_fall_is_not_known():
    """First read at 6 h, or last read long before the gas ended: it tells nothing of the whole run."""
    late = [h + 6 for h in HOURS]
    found = batch({"time [h]": late, "density [kg/m3]": [1040, 1030, 1020, 1012, 1010, 1010]})
    assert found.sugar_course.ends(By.HYDROMETER) is None
    assert all(one.left_g_L is None for one in found.sugar_course.readings)
    assert "density" not in {reading.kind for reading in found.estimate.readings}


def test_sugar_fed_in_between_is_not_taken_for_sugar_left():
    """With a later feed a fall since the start says nothing of what is left."""
    later = [*FEED, {"ingredient": "white sugar", "amount": "50 g", "time": "10 h"}]
    found = batch({"brix [°Bx]": [9.5, 9, 8, 6, 5, 4.5]}, feed=later)
    assert all(one.left_g_L is None for one in found.sugar_course.readings)


def test_the_batch_in_time_is_fitted_to_them(fed_g_L):
    """Each instrument is a series; with them alone the hour at which the sugar is gone is found."""
    density, brix = made(fed_g_L, USED)
    found = batch({"density [kg/m3]": density.round(1), "brix [°Bx]": brix.round(1)})
    assert {one.kind for one in readings_in_time(found, 2.0)} == {"density", "sugar"}
    gone = fit_batch(found).answers["sugar_gone_h"]
    assert 18 < gone.value < 36


def test_a_plain_refractometer_is_read_with_its_warmth():
    """At 28 °C it shows half a °Brix too little; where nobody noted the warmth the ± is wider."""
    shown, warm = {"brix [°Bx]": [9.0] * 6}, {"temperature [°C]": [28] * 6}
    by_itself = batch(shown | warm).sugar_course.readings[0].shown
    plain = batch(shown | warm, density={"refractometer": "plain"}).sugar_course.readings[0].shown
    untold = batch(shown, density={"refractometer": "plain"}).sugar_course.readings[0].shown
    assert nominal(plain) - nominal(by_itself) == pytest.approx(0.56)
    assert uncertainty(by_itself) < uncertainty(plain) < uncertainty(untold)


@pytest.mark.parametrize(
    "columns", [{"brix [°Bx]": [30, 20, 10, 5, 4, 3]}, {"density [kg/m3]": [1100, 1080, 1040, 1020, 1010, 1000]}]
)
def test_a_fall_that_the_sugar_cannot_make_is_said(columns):
    """More than the sugar that was fed, by a reading of another liquid: impossible, and not used."""
    found = batch(columns).estimate
    kind = "refraction" if "brix [°Bx]" in columns else "density"
    assert any(kind in odd.kinds for odd in found.oddities)
    assert kind not in {reading.kind for reading in found.readings}
