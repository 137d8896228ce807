"""Drying curves: known ones come back, forecasts cover, open ends stay open, doubts are said."""

import math

import numpy as np
import pytest
from uncertainties import ufloat

from fermkit import drying_curve
from fermkit.basis.errors import FitError, InputError
from fermkit.basis.written import nominal, uncertainty

T = np.array([0, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12.0])


def weights(k=0.4, n=1.2, end=30.0, start=100.0, t=T):
    """A Page curve without noise."""
    return end + (start - end) * np.exp(-k * t**n)


def test_a_known_page_curve_comes_back():
    """Noise-free weighings return their own k, n, start and end."""
    found = drying_curve(T, weights(), dry_g=28.0)
    for name, value in (("k", 0.4), ("n", 1.2), ("start_g", 100.0), ("end_g", 30.0)):
        assert nominal(getattr(found, name)) == pytest.approx(value, rel=1e-6), name
    assert found.predict(T) == pytest.approx(weights(), abs=1e-6)


def test_a_known_henderson_pabis_curve_comes_back():
    """With n fixed at one; a straight line in ln(w − end)."""
    found = drying_curve(T, weights(n=1.0), model="henderson_pabis")
    assert nominal(found.k) == pytest.approx(0.4, rel=1e-6)
    assert found.n == 1.0
    assert np.diff(np.log(found.predict([1.0, 2.0, 3.0]) - 30.0)) == pytest.approx([-0.4, -0.4], rel=1e-5)


def test_the_clock_starts_at_the_first_weighing():
    """A log that starts at 9 o'clock is the same drying."""
    assert nominal(drying_curve(T + 9.0, weights()).k) == pytest.approx(0.4, rel=1e-6)


def test_forecast_by_hand():
    """Time to a moisture is the Page curve solved for t."""
    found = drying_curve(T, weights() + 0.01 * np.cos(50 * T), dry_g=28.0).time_to(0.10)
    goal = 28.0 / 0.9
    by_hand = (math.log(70.0 / (goal - 30.0)) / 0.4) ** (1 / 1.2)
    assert found.time_h == pytest.approx(by_hand, rel=0.01)
    assert found.limits_h[0] < found.time_h < found.limits_h[1]


def test_a_moisture_below_rest_is_never_reached():
    """A syrup that rests at 30 g on 28 g dry matter (6.7 %) does not come to 5 %, and says where it rests."""
    curve = drying_curve(T, weights() + 0.02 * np.cos(50 * T), dry_g=28.0)
    found = curve.time_to(0.05)
    assert math.isinf(found.time_h)
    assert "Not by this drying" in str(found) and "6.6" in found.words
    assert "still holds water" in str(curve)


def test_unfinished_readings_leave_the_end_open():
    """Cut off early, the end weight rests on the model: the doubt is said, and the upper limit may be open."""
    early = T < 1.6
    t = np.linspace(0, 1.5, 8)
    rng = np.random.default_rng(2)
    curve = drying_curve(t, weights(t=t) + rng.normal(0, 0.3, 8), dry_g=28.0)
    assert early.sum() < t.size
    assert any("not bent enough" in doubt for doubt in curve.doubts)
    found = curve.time_to(0.08)
    assert math.isinf(found.limits_h[1])
    assert "no upper end from these data" in str(found) or "Not by this drying" in str(found)


def test_ends_at_the_dry_matter_when_told():
    """end='dry' rests at the dry matter and forecasts sooner than a curve that rests above it."""
    rng = np.random.default_rng(4)
    w = weights(end=29.0) + rng.normal(0, 0.1, T.size)
    told = drying_curve(T, w, dry_g=28.0, end="dry")
    assert nominal(told.end_g) == pytest.approx(28.0, abs=1e-6)
    assert told.time_to(0.10).time_h != drying_curve(T, w, dry_g=28.0).time_to(0.10).time_h


def test_the_dry_matter_is_one_more_weighing():
    """With end='dry', readings cut off early leave the end to the dry matter; late ones correct it by themselves."""
    rng = np.random.default_rng(7)
    dry = ufloat(30.4, 0.5, tag="drying the sample")
    t = np.linspace(0, 2.0, 10)
    early = drying_curve(t, weights(t=t) + rng.normal(0, 0.3, 10), dry_g=dry, end="dry")
    assert uncertainty(early.end_g) == pytest.approx(0.5, rel=0.05)
    assert uncertainty(early.end_g - dry) < 0.15
    late = drying_curve(T, weights() + rng.normal(0, 0.05, T.size), dry_g=dry, end="dry")
    assert nominal(late.end_g) == pytest.approx(30.0, abs=0.1)
    assert uncertainty(late.end_g) < 0.06


def test_the_two_ends_agree_without_a_dry_matter_that_weighs():
    """A dry matter known to ±50 g says nothing: end='dry' is then the fitted end."""
    rng = np.random.default_rng(7)
    w = weights() + rng.normal(0, 0.1, T.size)
    loose, fitted = (drying_curve(T, w, dry_g=ufloat(25.0, u), end=end) for u, end in ((50.0, "dry"), (0.1, "fitted")))
    assert nominal(loose.end_g) == pytest.approx(nominal(fitted.end_g), abs=1e-3)
    assert loose.scatter_g == fitted.scatter_g


def coverage(runs, *, model, n, end, last_h):
    """Share of simulated dryings whose 95 % limits of the forecast hold the true time."""
    rng = np.random.default_rng(11)
    rest = 27.0 if end == "dry" else 27.8
    goal = 27.0 / 0.92
    truth = (math.log((100.0 - rest) / (goal - rest)) / 0.5**n) ** (1 / n)
    t = np.linspace(0, last_h, 14)
    held = 0
    for _ in range(runs):
        w = rest + (100.0 - rest) * np.exp(-((0.5 * t) ** n)) + rng.normal(0, 0.15, t.size)
        dry = ufloat(27.0 + rng.normal(0, 0.05), 0.05)
        low, high = drying_curve(t, w, dry_g=dry, model=model, end=end).time_to(0.08).limits_h
        held += low <= truth <= high
    return held / runs


@pytest.mark.parametrize(
    ("model", "n", "end", "last_h"),
    [
        ("page", 1.2, "fitted", 8.0),
        ("henderson_pabis", 1.0, "fitted", 8.0),
        ("page", 1.2, "dry", 6.0),
        ("page", 1.2, "dry", 12.0),
    ],
)
def test_the_forecast_covers(model, n, end, last_h):
    """The 95 % limits hold the true time in about 95 of 100 dryings (300 runs; full study in benchmarks)."""
    assert coverage(300, model=model, n=n, end=end, last_h=last_h) == pytest.approx(0.95, abs=0.03)


def test_the_band_lies_around_the_curve():
    """Low, curve, high, and wider at a higher level."""
    curve = drying_curve(T, weights() + 0.05 * np.cos(50 * T), dry_g=28.0)
    low, high = curve.band(T)
    assert np.all(low < curve.predict(T)) and np.all(curve.predict(T) < high)
    low99, high99 = curve.band(T, level=0.99)
    assert np.all(high99 - low99 > high - low)


def test_the_better_model_has_the_lower_aicc():
    """On a curve with a shoulder (n = 1.5), Page is preferred to Henderson and Pabis."""
    rng = np.random.default_rng(6)
    w = weights(n=1.5) + rng.normal(0, 0.3, T.size)
    page, plain = (drying_curve(T, w, model=model) for model in ("page", "henderson_pabis"))
    assert page.aicc < plain.aicc - 10


def test_a_curve_below_its_dry_matter_is_doubted():
    """Resting below the stated dry matter: the dry matter or the tare is wrong."""
    curve = drying_curve(T, weights() + 0.02 * np.cos(50 * T), dry_g=33.0)
    assert "wrong" in str(curve)


@pytest.mark.parametrize(
    ("arguments", "options", "words"),
    [
        (([0, 1, 2, 2], [4, 3, 2, 1.0]), {}, "rises"),
        (([0, 1, 2, 3], [4, 3, 2.0]), {}, "different lengths"),
        (([0, 1, 2, 3], [1, 2, 3, 4.0]), {}, "loses weight"),
        ((T, weights()), {"dry_g": 100.5}, "not lighter than the wet sample"),
        ((T, weights()), {"end": "dry"}, "without a dry matter"),
        ((T, weights()), {"model": "pages"}, "did you mean 'page'"),
        ((T, weights()), {"end": "wet"}, "end is 'wet'"),
        ((T + 5.0, weights()), {"began_h": 6.0}, "began at 6 h and was weighed at 5 h"),
    ],
)
def test_bad_dryings_are_refused(arguments, options, words):
    """Clear words for each."""
    with pytest.raises(InputError, match=words):
        drying_curve(*arguments, **options)


def test_too_few_weighings():
    """Four parameters and five weighings leave nothing to judge by."""
    with pytest.raises(FitError, match="5 weighings for 4 parameters"):
        drying_curve(T[:5], weights()[:5])


def test_bad_targets_are_refused():
    """Both or neither target, a moisture without dry matter, a target wetter than the start, 8 for 8 %."""
    curve = drying_curve(T, weights() + 0.02 * np.cos(50 * T), dry_g=28.0)
    with pytest.raises(InputError, match="one of the two"):
        curve.time_to()
    with pytest.raises(InputError, match="one of the two"):
        curve.time_to(0.1, weight_g=31.0)
    with pytest.raises(InputError, match=r"give 0\.08 for 8 %"):
        curve.time_to(8.0)
    with pytest.raises(InputError, match="drier than the start"):
        curve.time_to(0.75)
    with pytest.raises(InputError, match="without a dry matter"):
        drying_curve(T, weights()).time_to(0.1)
    assert curve.time_to(weight_g=40.0).time_h == pytest.approx((math.log(7.0) / 0.4) ** (1 / 1.2), rel=0.01)


def test_a_syrup_told_to_end_dry_is_doubted():
    """Weighings that rest 2 g above a dry matter known to 0.1 g: the assumption is doubted in words."""
    w = weights(end=30.0) + 0.05 * np.cos(50 * T)
    assert "say end='fitted'" in str(drying_curve(T, w, dry_g=ufloat(28.0, 0.1), end="dry"))
    assert "say end='fitted'" not in str(drying_curve(T, w, dry_g=ufloat(30.1, 0.1), end="dry"))


def test_a_curve_that_misses_the_weighings_is_doubted():
    """A constant rate at first is no Page curve: doubted by the scale's error or by its runs; a Page curve is not."""
    t, rng = np.arange(0.0, 30.1, 1.0), np.random.default_rng(1)
    constant = 30 + np.where(t < 9, 50 - 4.2 * t, 12.2 * np.exp(-0.34 * (t - 9))) + rng.normal(0, 0.02, t.size)
    known = " ".join(drying_curve(t, constant, u_weight_g=0.02).doubts)
    assert "times the scale's own error" in known and "weigh to constant weight" in known
    assert any("in runs" in doubt for doubt in drying_curve(t, constant).doubts)
    page = weights(t=t) + rng.normal(0, 0.02, t.size)
    assert drying_curve(t, page, u_weight_g=0.02).doubts == ()
