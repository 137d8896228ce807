"""Drying curves: known ones come back, forecasts cover, open ends stay open, doubts are said."""

import math

import numpy as np
import pytest
from uncertainties import ufloat

from fermkit import drying_curve
from fermkit.basis.errors import FitError, InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.harvest.drying import USUAL

T = np.array([0, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12.0])


def weights(k=0.4, n=1.2, end=30.0, start=100.0, t=T):
    """A Page curve without noise."""
    return end + (start - end) * np.exp(-k * t**n)


def test_a_known_page_curve_comes_back():
    """Noise-free weighings return their own k, n, start and end."""
    found = drying_curve(T, weights(), dry_g=28.0, model="page")
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
    assert nominal(drying_curve(T + 9.0, weights(), model="page").k) == pytest.approx(0.4, rel=1e-6)


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


def test_the_band_lies_around_the_curve():
    """Low, curve, high, and wider at a higher level."""
    curve = drying_curve(T, weights() + 0.05 * np.cos(50 * T), dry_g=28.0)
    low, high = curve.band(T)
    assert np.all(low < curve.predict(T)) and np.all(curve.predict(T) < high)
    low99, high99 = curve.band(T, level=0.99)
    assert np.all(high99 - low99 > high - low)


def test_a_curve_below_its_dry_matter_is_doubted():
    """Resting below the stated dry matter: the dry matter or the tare is wrong."""
    curve = drying_curve(T, weights() + 0.02 * np.cos(50 * T), dry_g=33.0)
    assert "wrong" in str(curve)


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


def tray(t, rest=8.1, loss=82.0, even=9.0, tau=3.0):
    """An even rate for some hours, then one that falls with the water still to go, integrated in small steps."""
    rate, fine = loss / (even + tau), np.linspace(0.0, t[-1], 30_001)
    weight = np.empty_like(fine)
    weight[0] = rest + loss
    for i, step in enumerate(np.diff(fine)):
        weight[i + 1] = weight[i] - step * min(rate, (weight[i] - rest) / tau)
    return np.interp(t, fine, weight)


def slab(t, *, evaporation=6.0, diffusion=0.02, nodes=40):
    """Water [g] in a slab: Fick's law inside, the surface gives a fixed rate while wet and its own content when not."""
    u, step, dt = np.full(nodes, 1.0), 1.0 / nodes, 0.4 / (nodes**2 * diffusion)
    left, now = [], 0.0
    for until in t:
        while now < until:
            flux = diffusion * np.diff(u) / step
            away = evaporation * min(u[-1] / 0.2, 1.0) / 100.0
            u = u + dt / step * (np.append(flux, -away) - np.append(0.0, flux))
            now += dt
        left.append(100.0 * u.mean())
    return np.array(left)


def test_two_periods_come_back():
    """A tray that dries by the law itself, stepped through in time: rate, its length and the rest come back."""
    t = np.arange(0.0, 31.0, 2.0)
    found = drying_curve(t, tray(t), dry_g=8.0)
    assert found.model == USUAL
    for name, value in (("even_h", 9.0), ("rate_g_h", 82.0 / 12.0), ("end_g", 8.1), ("k", 1 / 3.0)):
        assert nominal(getattr(found, name)) == pytest.approx(value, rel=2e-3), name


def test_hours_of_the_two_periods_by_the_textbook():
    """Time to a moisture is (X1 − Xc)/R + Xc/R·ln(Xc/X2) of the free moisture (Geankoplis 1993, 9.7; from memory)."""
    t = np.arange(0.0, 31.0, 2.0)
    scale = 0.01 * np.cos(40 * t)
    found = drying_curve(t, tray(t) + scale).time_to(weight_g=10.0)
    rate, critical = 82.0 / 12.0, 82.0 * 3.0 / 12.0
    by_hand = (82.0 - critical) / rate + critical / rate * math.log(critical / (10.0 - 8.1))
    assert found.time_h == pytest.approx(by_hand, rel=2e-3)


def test_a_whole_drying_gives_a_later_end():
    """With every weighing in, a tray that dried to the end has both ends of its forecast, and holds the truth."""
    t, rng, held = np.arange(0.0, 31.0, 2.0), np.random.default_rng(3), 0
    clean = tray(t)
    truth = 9.0 + 3.0 * math.log(82.0 * 3.0 / 12.0 / (8.0 / 0.95 - 8.1))
    for _ in range(100):
        low, high = drying_curve(t, clean + rng.normal(0, 0.02, t.size), dry_g=8.0).time_to(0.05).limits_h
        assert high < 30.0
        held += low <= truth <= high
    assert held >= 88


@pytest.mark.parametrize(("model", "n"), [("page", 1.2), ("henderson_pabis", 1.0)])
def test_the_forecast_covers(model, n):
    """The 95 % limits hold the true time in about 95 of 100 dryings (full study in benchmarks)."""
    rng, t, held = np.random.default_rng(11), np.linspace(0, 8.0, 14), 0
    truth = (math.log(72.2 / (27.0 / 0.92 - 27.8)) / 0.5**n) ** (1 / n)
    for _ in range(200):
        w = 27.8 + 72.2 * np.exp(-((0.5 * t) ** n)) + rng.normal(0, 0.15, t.size)
        dry = ufloat(27.0 + rng.normal(0, 0.05), 0.05)
        low, high = drying_curve(t, w, dry_g=dry, model=model).time_to(0.08).limits_h
        held += low <= truth <= high
    assert held / 200 == pytest.approx(0.95, abs=0.04)


@pytest.mark.parametrize("diffusion", [0.05, 0.1, 0.3])
def test_a_slab_by_fick_s_law_is_followed(diffusion):
    """A generator with another inside, diffusion to a surface that falls dry: the forecast holds its true time."""
    t, fine = np.arange(0.0, 61.0, 3.0), np.linspace(0.0, 60.0, 601)
    weight = 10.0 + slab(t, diffusion=diffusion) + np.random.default_rng(5).normal(0, 0.1, t.size)
    found = drying_curve(t, weight)
    assert found.model == USUAL
    assert min(worse for name, worse in found.compared.items() if name != USUAL) > 10
    low, high = found.time_to(weight_g=12.0).limits_h
    assert low <= np.interp(-2.0, -slab(fine, diffusion=diffusion), fine) <= high


@pytest.mark.parametrize(("n", "best"), [(0.8, "page"), (1.0, "henderson_pabis")])
def test_another_curve_is_taken_where_it_is_better(n, best):
    """A drying that starts falling at once is Page's or a plain exponential, and the page says by how much."""
    t = np.linspace(0, 12, 25)
    found = drying_curve(t, weights(n=n, t=t) + np.random.default_rng(6).normal(0, 0.1, t.size))
    assert found.model == best
    assert found.compared[best] == 0.0 and found.compared[USUAL] > 2.0


def test_an_even_rate_alone_tells_no_end():
    """Weighings that never bend leave the end open, with a ± that says so."""
    t = np.arange(0.0, 9.0)
    found = drying_curve(t, 100.0 - 5.0 * t + np.random.default_rng(1).normal(0, 0.05, t.size), dry_g=20.0)
    assert math.isinf(found.time_to(0.1).limits_h[1])
    assert uncertainty(found.end_g) > 5.0


def test_too_few_weighings():
    """Four parameters and five weighings leave nothing to judge by; the usual curve then is the plain exponential."""
    with pytest.raises(FitError, match="5 weighings for 4 parameters"):
        drying_curve(T[:5], weights()[:5], model="page")
    assert drying_curve(T[:5], weights()[:5]).model == "henderson_pabis"


def test_a_curve_that_misses_the_weighings_is_doubted():
    """An even rate at first is no Page curve: doubted by the scale's error or by its runs; its own curve is not."""
    t, rng = np.arange(0.0, 31.0, 1.0), np.random.default_rng(1)
    weight = tray(t) + rng.normal(0, 0.02, t.size)
    assert "times the scale's own error" in drying_curve(t, weight, u_weight_g=0.02, model="page").doubts[-1]
    assert "in runs" in drying_curve(t, weight, model="page").doubts[-1]
    assert drying_curve(t, weight, u_weight_g=0.02).doubts == ()
