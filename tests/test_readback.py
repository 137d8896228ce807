"""Signals of samples back to contents: values, intervals, budgets, dilutions."""

import re

import numpy as np
import pytest
from uncertainties import ufloat

from fermkit.basis.errors import InputError
from fermkit.basis.statistics import student
from fermkit.calibration.calibrate import fit_calibration
from fermkit.calibration.dilutions import DISAGREEMENT, dilution_series
from fermkit.calibration.readback import PIPETTING, REPLICATES
from fermkit.calibration.response import CURVES
from fermkit.calibration.standards import SCATTER, STANDARDS

X = np.repeat([0.0, 2.0, 4.0, 6.0, 8.0, 10.0], 2)


def line(seed=0, sd=0.05, **options):
    """A calibration line with known scatter."""
    return fit_calibration(X, 0.1 + 0.3 * X + sd * np.random.default_rng(seed).standard_normal(X.size), **options)


def bent(curve, p, x, sd=0.02, seed=0):
    """A calibration curve with known scatter."""
    signal = CURVES[curve].signal(x, np.array(p))
    return fit_calibration(x, signal + sd * np.random.default_rng(seed).standard_normal(x.size), curve=curve)


LOGISTIC = ("logistic4", (0.1, 2.9, 5.0, 1.4), np.repeat([0.5, 1.0, 2.0, 3.5, 5.0, 7.0, 9.0, 12.0], 2))
POWER = ("power", (1.0, 0.6), LOGISTIC[2])


@pytest.mark.parametrize(("signal", "m"), [(0.4, 1), (1.6, 1), (1.6, 3), (3.0, 2)])
def test_interval_is_fieller_s(signal, m):
    """The interval of a straight line solves Fieller's quadratic."""
    cal = line()
    a, b = cal.fitted.values
    t2s2 = (student(cal.degrees_of_freedom) * cal.residual_sd) ** 2
    spread = ((X - X.mean()) ** 2).sum()
    g = t2s2 / (b**2 * spread)
    d = (signal - a) / b - X.mean()
    half = np.sqrt(t2s2 / b**2 * ((1 - g) * (1 / m + 1 / X.size) + d**2 / spread))
    expected = X.mean() + (d - half) / (1 - g), X.mean() + (d + half) / (1 - g)
    assert cal.read([signal] * m).interval() == pytest.approx(expected, rel=1e-6)


def test_profile_of_a_line_is_fieller_s():
    """Two routes to one interval: refitting at each candidate gives Fieller's, a dilution included."""
    reading = line().read([1.6, 1.7], dilution=10, u_pipetting=0.02)
    assert reading.interval(method="profile") == pytest.approx(reading.interval(method="fieller"), rel=1e-3)
    plain = line().read([1.6, 1.7])
    assert plain.interval(method="profile") == pytest.approx(plain.interval(method="fieller"), rel=1e-6)


@pytest.mark.parametrize("setup", [LOGISTIC, POWER])
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_all_routes_agree_where_the_curve_is_well_known(setup, level):
    """Profile, Fieller, Student and draws (JCGM 101:2008, 7) nearly agree with many standards and small scatter."""
    reading = bent(*setup, sd=0.003).read([1.5], dilution=5, u_pipetting=0.01)
    best, fitted, rng = reading.interval(level), reading.fitted, np.random.default_rng(20_260)
    for method in ("fieller", "profile", "student"):
        assert reading.interval(level, method=method) == pytest.approx(best, rel=3e-3)
    nu = fitted.degrees_of_freedom
    swell = np.sqrt(nu / rng.chisquare(nu, 20_000))
    drawn = (
        fitted.values[:, None]
        + np.linalg.cholesky(fitted.covariance) @ rng.standard_normal((fitted.values.size, 20_000)) * swell
    )
    signal = reading.sample.level + reading.sample.mean.s * swell * rng.standard_normal(20_000)
    content = (
        5
        * (1 + 0.01 * rng.standard_normal(20_000))
        * np.array([fitted.curve.inverse(np.array(y), p) for y, p in zip(signal, drawn.T)])
    )
    assert np.quantile(content, [0.5 - level / 2, 0.5 + level / 2]) == pytest.approx(best, rel=4e-3)


@pytest.mark.parametrize(("setup", "count", "m"), [(("line",), 1000, 2), (LOGISTIC, 150, 1), (POWER, 200, 3)])
def test_intervals_hold_the_truth(setup, count, m):
    """Short form of the coverage study: 95 % intervals hold the content of a fresh sample, dilution included."""
    name = setup[0]
    p, x, sd = setup[1:] + (0.05,) if len(setup) > 1 else ((0.1, 0.3), X, 0.05)
    curve, rng = CURVES[name], np.random.default_rng(11)
    held = 0
    for _ in range(count):
        content = rng.uniform(1.5, 8.5)
        cal = fit_calibration(x, curve.signal(x, np.array(p)) + sd * rng.standard_normal(x.size), curve=name)
        dilution = 10 * (1 + 0.02 * rng.standard_normal())
        sample = curve.signal(np.array(content), np.array(p)) + sd * rng.standard_normal(m)
        low, high = cal.read(sample, dilution=10, u_pipetting=0.02, extrapolate=True).interval()
        held += low <= content * dilution <= high
    assert held / count == pytest.approx(0.95, abs=3.3 * np.sqrt(0.95 * 0.05 / count))


def test_more_replicates_narrow_the_interval_down_to_the_curve_s_own():
    """Each replicate helps, until the curve is what is left."""
    cal = line()
    u = [cal.read([1.6] * m).value.s for m in (1, 2, 4, 16, 1000)]
    assert all(np.diff(u) < 0)
    assert u[-1] == pytest.approx(np.sqrt(float(cal.fitted.curve_variance(cal.read(1.6).seen))) / 0.3, rel=0.05)


def test_readings_of_one_calibration_share_its_error():
    """Two samples on one curve are correlated; their difference is surer than two strange ones'."""
    cal = line()
    one, two = cal.read(1.60).value, cal.read(1.65).value
    assert (two - one).s < np.hypot(one.s, two.s)
    shared = [part for part in one.error_components() if part in two.error_components()]
    assert {part.tag for part in shared} == {SCATTER}


def test_budget_names_each_act_and_adds_up():
    """Standards, replicates, making-up and pipetting each own a share; the shares add up to one."""
    budget = line(u_standards=0.05).read([1.6, 1.7], dilution=20, u_pipetting=0.02).budget()
    assert set(budget.acts) == {SCATTER, STANDARDS, REPLICATES, PIPETTING}
    assert budget.shares.sum() == pytest.approx(1)
    assert np.sqrt((budget.contributions**2).sum()) == pytest.approx(budget.value.s)
    assert "of the variance" in str(budget)


def test_few_degrees_of_freedom_grow_where_a_known_part_dominates():
    """Welch–Satterthwaite: four degrees of freedom alone, many when pipetting owns the variance."""
    cal = fit_calibration(X[::2], 0.1 + 0.3 * X[::2] + 0.02 * np.array([1, -1, 0, 1, 0, -1]))
    assert cal.read(1.6).degrees_of_freedom == pytest.approx(4)
    assert cal.read(1.6, u_pipetting=0.2).degrees_of_freedom > 1000


def test_outside_the_standards_is_refused_with_the_dilution_that_helps():
    """A strong sample is refused, and the suggested dilution brings it inside."""
    cal = line()
    with pytest.raises(InputError, match="dilute the sample 3-fold altogether: the sensor then sees about 6 "):
        cal.read(5.5)
    flagged = cal.read(5.5, extrapolate=True)
    assert not flagged.in_range
    assert "the curve is not known there" in str(flagged)
    assert cal.read(5.5 / 3.0).in_range


def test_a_blank_is_read_and_called_one():
    """Signals about the blank's are given, and said to be no more than a blank's."""
    reading = line().read([0.09, 0.05])
    assert "not told from a blank" in str(reading)


def test_signal_beyond_an_asymptote_has_no_content():
    """Beyond the top of a logistic nothing is read, and that is said."""
    cal = bent(*LOGISTIC)
    with pytest.raises(InputError, match="no content gives it"):
        cal.read(3.5, extrapolate=True)


def test_saturated_signals_give_an_open_interval():
    """Near the top of a logistic the interval has no upper end, and is not forced to one."""
    low, high = bent(*LOGISTIC, sd=0.05).read(2.9, extrapolate=True).interval()
    assert np.isinf(high)
    assert 8 < low < np.inf


@pytest.mark.parametrize(
    ("signals", "options", "says"),
    [
        (1.6, {"dilution": 0}, "dilution is 0"),
        (1.6, {"dilution": -3}, "dilution is -3"),
        (1.6, {"dilution": 0.1}, "give 10 if one part was made up to 10"),
        (1.6, {"dilution": "ten"}, "dilution is ten"),
        (1.6, {"dilution": ufloat(10, 0.1), "u_pipetting": 0.01}, "one of the two"),
        (1.6, {"u_pipetting": -0.01}, "u_pipetting is -0.01"),
        ("1,6", {}, "not a number"),
        ([], {}, "holds 0 values"),
        (float("inf"), {}, "finite"),
        (1600.0, {"unit": "mV"}, "in 'mV', the standards' in 'V'"),
        (-0.3, {}, "outside the standards"),
        (1.6, {"temperature_C": 20.0}, "nobody knows at what the standards were"),
    ],
)
def test_samples_that_cannot_be_read_are_refused(signals, options, says):
    """Bad signals, dilutions and units are refused in one clear sentence."""
    with pytest.raises(InputError, match=says):
        line(unit="V").read(signals, **options)


def test_wild_replicates_are_said():
    """Replicates that scatter far more than the standards, or hold an odd one, come with a doubt."""
    cal = line()
    assert "times as much as the standards" in str(cal.read([1.2, 2.2, 1.4]))
    assert "stands apart" in str(cal.read([1.60, 1.601, 1.602, 1.60, 1.75]))
    assert cal.read([1.6, 1.65]).remarks == ()


def test_the_page_of_a_reading_says_what_it_rests_on():
    """How many signals, how many degrees of freedom, and the factor from what the sensor saw, where there is one."""
    several, one = line().read([1.6, 1.65], dilution=10), line(u_signal=0.05).read(1.6)
    assert "times 10.00 for the sample" in str(several) and "mean of 2" in str(several)
    assert re.search(r"degrees of freedom +10 ", str(several))
    assert "for the sample" not in str(one) and "one reading" in str(one)
    assert re.search(r"degrees of freedom +many ", str(one))


def test_level_and_method_are_checked():
    """An interval of 95 instead of 0.95, or by an unknown method, is refused."""
    reading = line().read(1.6)
    with pytest.raises(InputError, match=r"give 0\.95"):
        reading.interval(95)
    with pytest.raises(InputError, match="method is 'exact'"):
        reading.interval(method="exact")


def test_dilutions_that_agree_are_averaged():
    """Honest dilutions agree about 99 times in 100, and their mean covers the truth 95 times in 100."""
    rng = np.random.default_rng(13)
    agreed, held = 0, 0
    for seed in range(600):
        cal = line(seed)
        signals = [0.1 + 0.3 * 36.0 / d + 0.05 * rng.standard_normal(2) for d in (4, 8, 16)]
        series = dilution_series(cal, [4, 8, 16], signals)
        agreed += bool(series.agreement.passed and series.trend.passed)
        low, high = series.interval()
        held += low <= 36.0 <= high
    assert agreed / 600 > 0.96
    assert held / 600 == pytest.approx(0.95, abs=0.03)


def test_saturation_and_matrix_are_told_by_the_trend():
    """A sensor that saturates and a blank that has moved each show as a trend, and are not averaged away."""
    cal = line(sd=0.005)
    content = np.array([36.0 / d for d in (4, 8, 16)])
    saturated = dilution_series(cal, [4, 8, 16], list(0.1 + 0.3 * content * (1 - 0.02 * content)))
    salty = dilution_series(cal, [4, 8, 16], list(0.1 + 0.3 * content * (1 + 0.02 * content)))
    higher_blank = dilution_series(cal, [4, 8, 16], list(0.1 + 0.06 + 0.3 * content))
    for series, moves, cause in (
        (saturated, "rises", "saturation"), (salty, "falls", "sugar or salt"), (higher_blank, "rises", "the blank"),
    ):  # fmt: skip
        assert series.trend.passed is False
        assert moves in series.verdict
        assert cause in series.verdict
        assert "no mean is taken" in series.verdict
        span = series.contents[series.used]
        assert series.value.s >= (span.max() - span.min()) / 2 / np.sqrt(3)
        assert DISAGREEMENT in series.budget().acts


def test_two_dilutions_agree_as_surely_as_they_show_no_trend():
    """With two dilutions both tests ask one question: F is t², and the probabilities are alike."""
    series = dilution_series(line(), [4, 8], [[2.80, 2.82], [1.50, 1.47]])
    assert series.trend.statistic**2 == pytest.approx(series.agreement.statistic)
    assert series.trend.p == pytest.approx(series.agreement.p)


def test_dilutions_that_disagree_are_met_in_the_middle():
    """The value lies midway between what the used dilutions say, and the step at each doubling is the readings' own."""
    content = np.array([16.0 / d for d in (2, 8)])
    series = dilution_series(line(sd=0.005), [2, 8], list(0.1 + 0.3 * content * (1 + 0.02 * content)))
    assert series.value.n == pytest.approx(series.contents.mean()) == pytest.approx(np.mean(series.interval()))
    budget = dict(zip(series.budget().acts, series.budget().contributions))
    half = np.ptp(series.contents) / 2  # anywhere between the two, so half the width over √3
    assert budget[DISAGREEMENT] == pytest.approx(half / np.sqrt(3))
    fall = 1 - np.sqrt(series.contents[1] / series.contents[0])  # two doublings
    assert f"falls by {fall:.0%} with each doubling" in series.verdict


def test_dilutions_outside_the_standards_are_shown_but_not_used():
    """A dilution that leaves the range is flagged; when none is inside, nothing is given."""
    cal = line()
    series = dilution_series(cal, [2, 8], [[5.5], [1.45]])
    assert list(series.used) == [False, True]
    assert "outside the standards, not used" in str(series)
    assert "cannot be held against itself" in series.verdict
    with pytest.raises(InputError, match="none of 2 dilutions") as caught:
        dilution_series(cal, [1, 2], [[9.0], [5.0]])
    assert "between 0 and 10" in caught.value.do
    with pytest.raises(InputError, match="different lengths"):
        dilution_series(cal, [1, 2], [[1.0]])
