"""Standards to a curve: what it holds, how it is judged, what it refuses."""

from dataclasses import FrozenInstanceError
from statistics import NormalDist

import numpy as np
import pytest
from scipy import special
from uncertainties import covariance_matrix, ufloat

from fermkit.basis.errors import FitError, InputError
from fermkit.basis.statistics import student
from fermkit.calibration.calibrate import fit_calibration
from fermkit.calibration.dilutions import dilution_series
from fermkit.calibration.limits import decision_limit
from fermkit.calibration.linearity import mandel_test
from fermkit.calibration.response import CURVES
from fermkit.calibration.standards import STANDARDS

X = np.repeat([0.5, 1.0, 2.0, 3.5, 5.0, 7.0, 9.0, 12.0], 2)
TRUTHS = {
    "line": (0.1, 0.3),
    "quadratic": (0.1, 0.4, -0.012),
    "power": (1.0, 0.6),
    "power with blank": (0.05, 0.9, 0.62),
    "saturating": (0.1, 3.0, 5.0),
    "logistic4": (0.1, 2.9, 5.0, 1.4),
    "logistic3": (3.0, 5.0, 1.4),
}


def noisy(curve, sd=0.0, seed=0, x=X):
    """Signals of standards on a known curve."""
    signal = CURVES[curve].signal(x, np.array(TRUTHS[curve]))
    return signal + sd * np.random.default_rng(seed).standard_normal(x.size)


@pytest.mark.parametrize("curve", TRUTHS)
def test_a_curve_without_scatter_is_found_again(curve):
    """Noise-free standards give back the parameters that made them, and each content."""
    cal = fit_calibration(X, noisy(curve), curve=curve)
    assert [p.n for p in cal.parameters.values()] == pytest.approx(TRUTHS[curve], rel=1e-7)
    assert cal.fitted.inverse(cal.predict([1.3, 4.4, 10.0])) == pytest.approx([1.3, 4.4, 10.0], rel=1e-6)


@pytest.mark.parametrize("curve", TRUTHS)
def test_slopes_and_gradients_are_the_derivatives(curve):
    """Analytic derivatives agree with small steps."""
    shape, p = CURVES[curve], np.array(TRUTHS[curve])
    step = 1e-6
    by_x = (shape.signal(X + step, p) - shape.signal(X - step, p)) / (2 * step)
    assert shape.slope(X, p) == pytest.approx(by_x, rel=1e-6)
    for k in range(p.size):
        up, down = p.copy(), p.copy()
        up[k], down[k] = p[k] + step, p[k] - step
        by_p = (shape.signal(X, up) - shape.signal(X, down)) / (2 * step)
        assert shape.gradient(X, p)[:, k] == pytest.approx(by_p, rel=1e-5, abs=1e-9)


@pytest.mark.parametrize("steepness", [0.7, 1.0, 1.4])
def test_how_a_logistic_starts(steepness):
    """A blank reads the bottom; the curve leaves it upright, with a slope, or flat: steepness below, at or above 1."""
    shape, p = CURVES["logistic4"], np.array([0.1, 2.9, 5.0, steepness])
    assert shape.signal(np.array(0.0), p) == 0.1
    assert shape.gradient(np.array(0.0), p) == pytest.approx([1.0, 0.0, 0.0, 0.0])
    near = np.array([1e-9, 1e-12])
    rises = (shape.signal(near, p) - 0.1) / near
    found = float(shape.slope(np.array(0.0), p))
    if steepness == 1.0:
        assert rises == pytest.approx(found, rel=1e-3)
    else:
        assert found == (np.inf if rises[1] > rises[0] else 0.0)


@pytest.mark.parametrize("curve", TRUTHS)
def test_the_order_of_the_standards_does_not_matter(curve):
    """Shuffled rows give the same curve and covariance."""
    y = noisy(curve, 0.02)
    order = np.random.default_rng(1).permutation(X.size)
    one, two = fit_calibration(X, y, curve=curve), fit_calibration(X[order], y[order], curve=curve)
    assert one.fitted.values == pytest.approx(two.fitted.values, rel=1e-6)
    assert one.fitted.covariance == pytest.approx(two.fitted.covariance, rel=1e-5)


@pytest.mark.parametrize("curve", ["line", "quadratic", "power", "logistic4"])
def test_another_unit_of_the_signal_changes_no_content(curve):
    """Volts or millivolts: same content, same uncertainty, same limits."""
    y = noisy(curve, 0.02)
    volts, milli = fit_calibration(X, y, curve=curve), fit_calibration(X, 1000 * y, curve=curve)
    one, two = volts.read(y[6]), milli.read(1000 * y[6])
    assert one.value.n == pytest.approx(two.value.n, rel=1e-6)
    assert one.value.s == pytest.approx(two.value.s, rel=1e-5)
    assert volts.limit_of_detection == pytest.approx(milli.limit_of_detection, rel=1e-5)


def test_parameters_carry_the_covariance_of_the_fit():
    """The ufloats' covariance is the fit's, uncertain standards included."""
    cal = fit_calibration(X, noisy("line", 0.03), u_standards=0.05)
    assert np.array(covariance_matrix(list(cal.parameters.values()))) == pytest.approx(cal.fitted.covariance, rel=1e-8)


def test_a_stock_solution_in_common_stays_in_common():
    """Standards made from one stock err together: content scales with the stock, and is correlated with it."""
    stock = ufloat(12.0, 0.24, tag="the stock")
    contents = [stock * f for f in (1 / 12, 2 / 12, 4 / 12, 6 / 12, 8 / 12, 1)]
    y = 0.3 * np.array([c.n for c in contents]) + 0.002 * np.random.default_rng(2).standard_normal(6)
    value = fit_calibration(contents, y).read(1.5).value
    relative = value / value.n - stock / stock.n
    assert value.s / value.n == pytest.approx(0.02, rel=0.1)
    assert relative.s < 0.005


def test_weights_follow_the_stated_law():
    """Proportional scatter: the line passes close to the low standards, and the law is the fit's own."""
    rng = np.random.default_rng(3)
    y = (0.2 + 0.3 * X) * (1 + 0.05 * rng.standard_normal(X.size))
    equal, weighted = fit_calibration(X, y), fit_calibration(X, y, weights="proportional")
    assert weighted.parameters["intercept"].s < equal.parameters["intercept"].s / 2
    assert weighted.residual_sd == pytest.approx(0.05, rel=0.5)
    assert weighted.read(0.5).value.s < equal.read(0.5).value.s


def test_lack_of_fit_needs_replicates_and_sees_a_bend():
    """A straight line through bent standards fails; through straight ones it passes; without replicates it says so."""
    bent, straight = fit_calibration(X, noisy("power", 0.02)), fit_calibration(X, noisy("line", 0.02))
    assert bent.lack_of_fit.passed is False
    assert "try another curve" in bent.lack_of_fit.verdict
    assert straight.lack_of_fit.passed is True
    alone = fit_calibration(X[::2], noisy("line", 0.02)[::2])
    assert alone.lack_of_fit.passed is None
    assert "read each standard" in " ".join(str(alone).split())


def test_lack_of_fit_has_its_size():
    """On straight standards the test fails 5 times in 100: p is uniform."""
    p = np.array([fit_calibration(X, noisy("line", 0.03, seed)).lack_of_fit.p for seed in range(400)])
    assert 0.02 < (p < 0.05).mean() < 0.085
    assert 0.4 < p.mean() < 0.6


@pytest.mark.parametrize("weights", ["equal", "proportional"])
def test_suggested_curve_names_its_reason(weights):
    """Straight standards get the line, bent ones a curve, each with the reason in words."""
    line = fit_calibration(X, noisy("line", 0.01), curve="suggest", weights=weights)
    power = fit_calibration(X, noisy("power", 0.005), curve="suggest", weights=weights)
    assert (line.curve, power.curve) == ("line", "power")
    assert "no bend is shown" in line.reason
    assert "below that of the straight line" in power.reason


def test_lack_of_fit_weighs_as_the_fit_does():
    """Proportional scatter: the weighted F of Draper & Smith, worked out apart from the fit's own residuals."""
    rng = np.random.default_rng(10)
    x = np.repeat([1.0, 2.0, 4.0, 6.0, 8.0, 10.0], 3)
    y = 0.3 * x * (1 + 0.04 * rng.standard_normal(x.size))
    cal = fit_calibration(x, y, weights="proportional")
    weights = 1 / cal.predict(x) ** 2
    means = np.repeat(y.reshape(-1, 3).mean(axis=1), 3)
    pure, missed = weights @ (y - means) ** 2, weights @ (means - cal.predict(x)) ** 2
    assert cal.lack_of_fit.statistic == pytest.approx((missed / 4) / (pure / 12), rel=1e-6)


@pytest.mark.parametrize("weights", ["equal", "proportional"])
@pytest.mark.parametrize("taken", ["power", "logistic4"])
def test_suggestion_tells_by_how_much(taken, weights):
    """The gain in AICc that the reason names is that of Gauss's likelihood, with the weights' own scatter."""

    def aicc(curve):
        cal = fit_calibration(X, y, curve=curve, weights=weights)
        fitted, k = cal.predict(X), len(cal.parameters) + 1
        size = np.ones(X.size) if weights == "equal" else fitted
        sd = size * np.sqrt(np.mean(((y - fitted) / size) ** 2))
        twice_log = -2 * sum(np.log(NormalDist(0, s).pdf(r)) for s, r in zip(sd, y - fitted))
        return twice_log + 2 * k + 2 * k * (k + 1) / (X.size - k - 1)

    y = noisy(taken, 0.005)
    reason = fit_calibration(X, y, curve="suggest", weights=weights).reason
    assert f"its AICc is {aicc('line') - aicc(taken):.1f} below" in reason


def test_a_curve_that_turns_round_is_passed_over():
    """Far into saturation a quadratic turns round and is no candidate; the ones after it are still tried."""
    x = np.repeat([1.0, 2.0, 5.0, 10.0, 20.0, 40.0], 2)
    y = noisy("logistic4", 0.005, x=x)
    with pytest.raises(FitError, match="turns round"):
        fit_calibration(x, y, curve="quadratic")
    assert fit_calibration(x, y, curve="suggest").curve == "logistic4"


def test_suggestion_finds_the_saturating_sensor():
    """A sensor that levels off gets the logistic."""
    assert fit_calibration(X, noisy("logistic4", 0.005), curve="suggest").curve == "logistic4"


def test_a_slip_of_a_standard_is_pointed_at():
    """One standard made up wrongly is named by its row, and not left out behind one's back."""
    y = noisy("line", 0.01)
    y[5] += 0.3
    cal = fit_calibration(X, y)
    assert cal.outliers.suspects == (5,)
    assert "row 6 stands apart" in str(cal)
    assert np.argmax(cal.outliers.cook) in (4, 5)
    assert fit_calibration(X, noisy("line", 0.01)).outliers.suspects == ()


def test_cook_s_distance_is_how_far_the_line_moves():
    """Each standard left out in turn: the fitted line moves by the distance that the fit with all of them tells."""
    y = noisy("line", 0.03)
    cal = fit_calibration(X, y)
    for row, told in enumerate(cal.outliers.cook):
        rest = np.arange(X.size) != row
        moved = np.polyval(np.polyfit(X[rest], y[rest], 1), X) - cal.predict(X)
        assert told == pytest.approx(moved @ moved / (2 * cal.residual_sd**2), rel=1e-6)


def test_outlier_test_has_its_size():
    """Good standards are suspected in about 5 of 100 calibrations."""
    hits = [bool(fit_calibration(X, noisy("line", 0.03, seed)).outliers.suspects) for seed in range(400)]
    assert 0.02 < np.mean(hits) < 0.085


def test_scatter_that_grows_is_named():
    """Proportional scatter under equal weights is told more often than not, even scatter 5 times in 100."""
    x, told, false = np.repeat([0.5, 2.0, 4.0, 6.0, 8.0, 10.0], 4), [], []
    for seed in range(200):
        chance = np.random.default_rng(seed).standard_normal(x.size)
        told.append(fit_calibration(x, 0.3 * x * (1 + 0.08 * chance)).even_scatter.passed is False)
        false.append(fit_calibration(x, 0.3 * x + 0.08 * chance).even_scatter.passed is False)
    assert np.mean(told) > 0.6
    assert 0.015 < np.mean(false) < 0.1
    y = 0.3 * x * (1 + 0.08 * np.random.default_rng(np.argmax(told)).standard_normal(x.size))
    assert "seems to grow along the curve" in str(fit_calibration(x, y))
    assert fit_calibration(x, y, weights="proportional").even_scatter.passed is True


def test_mandel_asks_whether_the_bend_is_zero():
    """Mandel's F is t² of the quadratic's bend, and its probability that of Student's two-sided t."""
    y = noisy("line", 0.03, seed=2)
    bend, test = fit_calibration(X, y, curve="quadratic").parameters["bend"], mandel_test(X, y)
    assert test.statistic == pytest.approx((bend.n / bend.s) ** 2)
    assert test.p == pytest.approx(2 * special.stdtr(X.size - 3, -abs(bend.n / bend.s)))


def test_mandel_says_when_it_cannot_tell():
    """Three standards, or a quadratic through all of them, leave nothing to judge by."""
    assert mandel_test([1, 2, 3], [1, 2, 3]).passed is None
    assert mandel_test([0, 1, 2, 3, 4], [0, 1, 4, 9, 16]).passed is None


def test_decision_limit_raises_five_false_alarms_in_a_hundred():
    """Blanks read on fresh calibrations pass the decision limit 5 % of the time, with one reading or three."""
    x = np.repeat([0.0, 2.0, 4.0, 6.0], 3)
    rng = np.random.default_rng(7)
    for m in (1, 3):
        alarms = 0
        for _ in range(1000):
            cal = fit_calibration(x, 0.1 + 0.3 * x + 0.05 * rng.standard_normal(x.size))
            blank = 0.1 + 0.05 * rng.standard_normal(m)
            alarms += float(cal.fitted.inverse(blank.mean())) > decision_limit(cal.fitted, m)
        assert alarms / 1000 == pytest.approx(0.05, abs=0.02)


def test_detection_limit_is_seen_95_times_in_a_hundred():
    """A sample at the true detection limit passes the decision limit of 95 % of fresh calibrations (ISO 11843-2)."""
    x = np.repeat([0.0, 2.0, 4.0, 6.0], 3)
    nu, sd, slope = x.size - 2, 0.05, 0.3
    leverage = np.sqrt(1 + 1 / x.size + x.mean() ** 2 / ((x - x.mean()) ** 2).sum())
    true_limit = special.nctdtrinc(nu, 0.05, special.stdtrit(nu, 0.95)) * sd / slope * leverage
    rng = np.random.default_rng(8)
    seen, limits = 0, []
    for _ in range(1000):
        cal = fit_calibration(x, 0.1 + slope * x + sd * rng.standard_normal(x.size))
        sample = 0.1 + slope * true_limit + sd * rng.standard_normal()
        found = cal.limits()
        limits.append(found.detection)
        seen += float(cal.fitted.inverse(sample)) > found.decision
    assert seen / 1000 == pytest.approx(0.95, abs=0.02)
    assert np.median(limits) == pytest.approx(true_limit, rel=0.05)


def test_quantification_limit_solves_its_equation():
    """At the limit the half-width of the 95 % interval is a third of the content; more readings lower it."""
    cal = fit_calibration(X, noisy("line", 0.03))
    limit = cal.limit_of_quantification
    u = cal.read(cal.predict([limit])[0], extrapolate=True).value.s
    assert 3 * student(cal.degrees_of_freedom) * u == pytest.approx(limit, rel=1e-6)
    assert cal.limits(replicates=4).quantification < limit
    assert fit_calibration(X, noisy("line", 1e-7)).limit_of_quantification < 0.01 * limit
    hopeless = fit_calibration([1, 2, 3, 4], [1, 3, 1, 4])
    assert "no content reaches" in str(hopeless)


def test_page_shows_r_squared_never_alone():
    """The page holds R² with the verdicts beside it, limits with their method, and no bare NaN."""
    cal = fit_calibration(X, noisy("line", 0.02), unit="V")
    text = str(cal)
    for words in ("R²", "says nothing about a bend", "ISO 11843-2", "DIN 32645", "Mandel", "replicates scatter"):
        assert words in text
    assert "nan" not in text
    assert "<table>" in cal._repr_html_()
    assert "scatter about the curve" in list(cal.table()["name"])
    assert repr(cal).startswith("<Calibration: Calibration, line")


def test_bands_hold_the_curve_and_new_readings():
    """The band of a reading is wider than that of the curve, and holds 95 % of new readings."""
    rng = np.random.default_rng(9)
    held = []
    for seed in range(400):
        cal = fit_calibration(X, noisy("line", 0.05, seed))
        low, high = cal.band([3.0], of="reading")
        held.append(low[0] <= 0.1 + 0.9 + 0.05 * rng.standard_normal() <= high[0])
    assert np.mean(held) == pytest.approx(0.95, abs=0.03)
    narrow = np.diff(cal.band([3.0]), axis=0)
    assert narrow < np.diff(cal.band([3.0], of="reading"), axis=0)


def test_scatter_smaller_than_the_standards_allow():
    """When the stated doubt about the standards covers all the scatter, the fit still has an honest uncertainty."""
    x = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
    cal = fit_calibration(x, 0.3 * x + 1e-4 * np.array([1, -1, 1, -1, 1, -1]), u_standards=0.1)
    assert cal.parameters["slope"].s == pytest.approx(0.3 * 0.1 / np.sqrt(17.5), rel=0.05)


@pytest.mark.parametrize(
    ("contents", "signals", "options", "error", "says"),
    [
        ([0, 5], [0.1, 1.6], {}, InputError, "2 different contents"),
        ([5, 5, 5, 5], [1.5, 1.6, 1.5, 1.6], {}, InputError, "1 different content among 4"),
        ([0, 1, 2, 3], [4, 3, 2, 1], {}, InputError, "falls as the content rises"),
        ([0, -1, 2, 3], [1, 2, 3, 4], {}, InputError, "is -1 in row 2"),
        ([0, 1, 2, 300], [1, 2, 3, 4], {}, InputError, "is 300 in row 4"),
        ([0, 1, 2], [1, 2, 3, 4], {}, InputError, "different lengths"),
        ([0, 1, "two", 3], [1, 2, 3, 4], {}, InputError, "not a number"),
        ([0, 1, 2, 3], ["0.1 V", 2, 3, 4], {}, InputError, "not a number"),
        ([0, 1, 2, 3], [1, 2, float("nan"), 4], {}, InputError, "in row 3"),
        ([0, 1, 2, 3], [2, 2, 2, 2], {}, FitError, "for every standard"),
        ([0, 1, 1, 2, 3], [1, 2, 2000, 3, 4], {}, InputError, "mixed units"),
        ([0, 1, 1, 2, 3], [1, 2, 2e6, 3, 4], {}, InputError, "mixed units"),
        ([0, 2, 4, 6, 8], [1, 3, 4, 3, 1], {"curve": "quadratic"}, FitError, "turns round at"),
        ([0, 1, 2, 3], [1, 2, 3, 4], {"curve": "logistic4"}, InputError, "at least 5"),
        ([0, 1, 2, 3], [1, 2, 3, 4], {"curve": "linear"}, InputError, "did you mean 'line'"),
        ([0, 1, 2, 3], [1, 2, 3, 4], {"u_signal": 0.0}, InputError, "u_signal is 0"),
        ([0, 1, 2, 3], [1, 2, 3, 4], {"u_standards": -0.1}, InputError, "u_standards is -0.1"),
        ([ufloat(0.1, 0.1), 1, 2, 3], [1, 2, 3, 4], {"u_standards": 0.1}, InputError, "one of the two"),
        ([0, 1, 2, 3], [1, 2, 3, 4], {"temperature_C": [20, 21]}, InputError, "2 temperatures for 4"),
        ([0, 1, 2, 3], [1, 2, 3, 4], {"temperature_C": [60, 60, 60, 61]}, InputError, "is 61"),
        ([0, 1, 2, 3], [1, 2, 3, 4], {"temperature_C": [-6, 4, 4, 4]}, InputError, "is -6"),
    ],
)
def test_standards_that_cannot_be_used_are_refused(contents, signals, options, error, says):
    """Bad standards are refused in one clear sentence, with what to do."""
    with pytest.raises(error, match=says):
        fit_calibration(contents, signals, **options)


def test_a_falling_sensor_is_read_when_asked_for():
    """The resistance of a sensor falls: it calibrates, reads back and has limits like any other."""
    cal = fit_calibration([0, 2, 4, 6, 8], [10.0, 8.1, 5.9, 4.05, 2.0], direction="falling")
    assert cal.read(5.0).value.n == pytest.approx(5.0, abs=0.1)
    assert 0 < cal.limits().decision < cal.limits().detection < cal.limits().quantification


def test_standards_without_an_answer_say_so():
    """Noise alone gives a curve that admits it, and an open interval."""
    cal = fit_calibration([0, 1, 2, 3, 4, 5], [1.0, 1.3, 0.9, 1.25, 0.95, 1.2])
    assert "not shown to answer" in str(cal)
    answers = set()
    for seed in range(20):  # said where the slope is within its own 95 % interval of zero
        y = 0.5 - 0.006 * X + 0.05 * np.random.default_rng(seed).standard_normal(X.size)
        faint = fit_calibration(X, y, direction="falling")
        slope = faint.parameters["slope"]
        within = abs(slope.n) < student(faint.degrees_of_freedom) * slope.s
        assert any("not shown to answer" in remark for remark in faint.page().remarks) == within
        answers.add(within)
    assert answers == {True, False}
    low, high = cal.read(1.1, extrapolate=True).interval()
    assert np.isinf(low) or np.isinf(high)


def test_uncertain_standards_on_a_bent_curve():
    """Doubt about the solutions widens a power law's reading, and owns its share of the budget."""
    y = noisy("power", 0.005)
    sure, doubtful = fit_calibration(X, y, curve="power"), fit_calibration(X, y, curve="power", u_standards=0.05 * X)
    one, two = sure.read(2.0), doubtful.read(2.0)
    assert two.value.n == pytest.approx(one.value.n, rel=0.02)
    assert two.value.s > 1.5 * one.value.s
    assert STANDARDS in two.budget().acts
    low, high = two.interval()
    assert (high - low) > 1.5 * np.subtract(*one.interval()[::-1])


def test_a_blank_with_an_error_does_no_harm_to_a_power_law():
    """A power law stands upright at zero: a doubtful blank carries nothing there, and the fit goes through."""
    x = np.array([0.0, *X])
    cal = fit_calibration(x, noisy("power", 0.005, x=x), curve="power", u_standards=0.02)
    assert np.all(np.isfinite(cal.fitted.covariance))
    sure = fit_calibration(x, noisy("power", 0.005, x=x), curve="power", u_standards=np.where(x > 0, 0.02, 0.0))
    assert cal.fitted.covariance == pytest.approx(sure.fitted.covariance, rel=1e-9)


def test_stated_scatter_is_believed_and_tested():
    """With stated scatter there are no few degrees of freedom; chi-square and the normal law judge the standards."""
    y = noisy("line", 0.03)
    honest, bold = fit_calibration(X, y, u_signal=0.03), fit_calibration(X, y, u_signal=0.01)
    assert honest.lack_of_fit.passed is True
    assert bold.lack_of_fit.passed is False
    assert np.isinf(honest.read([1.0, 1.02]).degrees_of_freedom)
    assert "times as much as the standards" in str(honest.read([0.8, 1.2]))
    assert honest.limits().detection == pytest.approx(2 * honest.limits().decision, rel=1e-6)
    assert "as stated" in str(honest)
    assert honest.lack_of_fit.statistic == pytest.approx(np.sum((y - honest.predict(X)) ** 2) / 0.03**2)
    assert honest.lack_of_fit.degrees_of_freedom[0] == X.size - 2
    slip = y + 0.3 * (np.arange(X.size) == 5)
    outliers = fit_calibration(X, slip, u_signal=0.03).outliers
    assert outliers.suspects == (5,)
    two_sided = [2 * NormalDist().cdf(-abs(z)) for z in outliers.studentised]
    assert outliers.p == pytest.approx(np.minimum(X.size * np.array(two_sided), 1.0))


def test_a_calibration_stays_as_it_was_worked_out():
    """Results cannot be altered by a later cell, and a bare name at the prompt is one line of the page."""
    cal = fit_calibration(X, noisy("line", 0.02))
    reading = cal.read(1.0)
    series = dilution_series(cal, [2, 4], [1.6, 0.85])
    for result in (cal, reading, series, cal.limits(), cal.lack_of_fit):
        with pytest.raises(FrozenInstanceError):
            setattr(result, next(iter(result.__dataclass_fields__)), 0.0)
        assert repr(result).startswith(f"<{type(result).__name__}: ")


def test_so_few_standards_get_the_straight_line():
    """Three readings cannot tell one curve from another; the suggestion says so."""
    cal = fit_calibration([1, 2, 4], [1.0, 2.1, 3.9], curve="suggest")
    assert "cannot tell" in cal.reason
    assert np.all(cal.outliers.p == 1.0) and np.all(cal.outliers.studentised != 0.0)


def test_standards_without_any_scatter_are_no_outliers():
    """A perfect line has no suspects, and its judgements say what they cannot tell."""
    cal = fit_calibration(X, noisy("line"))
    assert cal.outliers.suspects == ()
    assert cal.lack_of_fit.passed is None
    assert "alike to the last digit" in str(cal.lack_of_fit)


@pytest.mark.parametrize("law", ["power with blank", "saturating"])
def test_sensors_that_people_build_are_followed_from_their_blank(law):
    """A semiconductor's power and an adsorbing film's saturation, both above a blank: suggested, and read back."""
    x = np.repeat([0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 12.0], 2)
    held = 0
    for seed in range(60):
        cal = fit_calibration(x, noisy(law, 0.01, seed, x), curve="suggest")
        low, high = cal.read(CURVES[law].signal(np.array(3.0), np.array(TRUTHS[law]))).interval()
        held += low <= 3.0 <= high
    assert held >= 52
    assert cal.curve in ("power with blank", "saturating", "logistic4")


def test_a_power_law_stands_on_a_blank_where_the_standards_show_one():
    """A sensor like 0.05 + 0.9 x^0.62 with a standard of zero, or without one; a law through zero gets no blank."""
    x = np.array([0.0, *X])
    for contents in (x, X):
        cal = fit_calibration(contents, noisy("power with blank", 0.002, x=contents) + 0.3, curve="power")
        assert cal.curve == "power with blank" and "blank" in cal.reason
        assert cal.parameters["blank"].n == pytest.approx(0.35, abs=0.05)
    assert fit_calibration(X, noisy("power", 0.005), curve="power").curve == "power"


def test_where_a_curve_does_not_settle_another_is_named():
    """Four parameters on a sensor like 0.05 + 0.9 x^0.62: where they do not settle, the message names one that does."""
    x = np.array([0.0, 1.0, 2.0, 4.0, 6.0, 8.0, 10.0])
    told = []
    for seed in range(40):
        try:
            fit_calibration(x, noisy("power with blank", 0.02, seed, x), curve="logistic4")
        except FitError as problem:
            name = problem.do.split("'")[1]
            assert fit_calibration(x, noisy("power with blank", 0.02, seed, x), curve=name).curve.startswith(name)
            told.append(name)
    assert len(told) > 3


@pytest.mark.parametrize("times", [0.1, 10.0])
@pytest.mark.parametrize("row", [1, 2, 4])
def test_a_standard_typed_ten_times_wrong_is_named(row, times):
    """Of five standards one is typed with its point displaced: it is named with what it reads like."""
    x = np.array([0.0, 0.5, 1.0, 1.5, 2.0])
    y = 0.05 + 0.4 * x + 0.004 * np.random.default_rng(row).standard_normal(5)
    typed = np.where(np.arange(5) == row, x * times, x)
    slip = fit_calibration(typed, y).slip
    assert (slip.written, slip.reads_like) == pytest.approx((typed[row], x[row]))
    assert f"standard of {typed[row]:g}" in str(slip)


def test_good_standards_are_not_called_mistyped():
    """Fewer than 1 in 200 sets of standards, straight or bent, are told to hold a slip of typing."""
    for curve in ("line", "power", "saturating"):
        assert sum(fit_calibration(X, noisy(curve, 0.03, seed)).slip is not None for seed in range(200)) <= 1
