"""One growth curve: what is fitted, what is said about it, and what is refused."""

import math
from functools import wraps
from itertools import combinations

import lmfit
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import fermkit as fk
from fermkit.basis.errors import FermkitError, FitError, InputError
from fermkit.basis.statistics import runs_p
from fermkit.growth import curves

T = np.linspace(0, 48, 60)
CURVES = ("logistic", "gompertz", "richards", "baranyi", "three_phase")


def readings(seed=0, sd=6.0, time=T, lag=6.0):
    """Gompertz readings with errors of their own."""
    return curves.gompertz(time, 600, 40, lag) + sd * np.random.default_rng(seed).normal(size=time.size)


def counted(seed=0, size=2.0, time=T):
    """Gompertz gas counted in bubbles: every increment has its own error."""
    steps = np.random.default_rng(seed).poisson(np.diff(curves.gompertz(time, 600, 40, 6)) / size) * size
    return np.concatenate([[0.0], np.cumsum(steps)])


def by_lmfit(fit):
    """The same fit by lmfit, with numerical derivatives, begun 5 % off our optimum: its full ModelResult."""
    a, rate, lag = fit.asymptote.n, fit.max_rate.n, (fit.lag_h - (fit.asymptote - fit.final_amount) / fit.max_rate).n
    b, t_i = np.exp(fit.found.p[0][0]), fit.found.p[0][1]
    start = {"asymptote": a, "max_rate": rate, "lag_h": lag}
    if fit.curve == "richards":
        start["asymmetry"] = np.exp(fit.found.p[0][2])
    if fit.curve == "baranyi":
        start = {"asymptote": a, "specific_rate": b, "seed": 1 / (1 + np.exp(b * t_i))}
    function = getattr(curves, fit.curve)

    @wraps(function)
    def shown(*args, **p):
        return np.diff(function(*args, **p)) if fit.problem.steps else function(*args, **p)

    model = lmfit.Model(shown, independent_vars=["time_h"])
    weight = None if fit.problem.weight is None else fit.problem.weight[0]
    data = np.diff(fit.amount) if fit.problem.steps else fit.amount
    begun = model.make_params(**{name: 1.05 * value for name, value in start.items()})
    return model.fit(data, begun, weights=weight, time_h=fit.time_h)


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
@pytest.mark.parametrize("curve", ["logistic", "gompertz", "richards", "baranyi"])
def test_lmfit_finds_the_same_optimum_and_uncertainty(curve, noise):
    """The full lmfit result, by another optimiser and numerical derivatives, is the same fit."""
    y = readings() if noise == "independent" else counted()
    if (curve, noise) == ("richards", "accumulating"):
        y = np.cumsum(np.concatenate([[0.0], np.diff(curves.richards(T, 600, 40, 6, 2.0))])) + 0.01 * np.sin(T**2)
    fit = fk.fit_growth(T, y, curve=curve, noise=noise)
    other = by_lmfit(fit)
    assert other.chisqr == pytest.approx(fit.found.rss[0], rel=1e-6)
    assert other.params["asymptote"].value == pytest.approx(fit.asymptote.n, abs=2e-3 * fit.asymptote.s)
    if noise == "independent":
        assert other.params["asymptote"].stderr == pytest.approx(fit.asymptote.s, rel=2e-3)
    if curve in ("logistic", "gompertz"):
        assert other.params["lag_h"].value == pytest.approx(
            (fit.lag_h - (fit.asymptote - fit.final_amount) / fit.max_rate).n, abs=2e-3 * fit.lag_h.s
        )


def test_profile_limits_agree_with_lmfits_own():
    """Profile intervals are those of lmfit's conf_interval on the same readings."""
    fit = fk.fit_growth(T[:30], readings(time=T[:30]), curve="gompertz")
    table = by_lmfit(fit).conf_interval(sigmas=[0.95])
    for name in ("asymptote", "max_rate", "lag_h"):
        low, high = table[name][0][1], table[name][-1][1]
        assert fit.interval(name) == pytest.approx((low, high), rel=2e-3)
        assert fit.intervals()[name] == pytest.approx(fit.interval(name), rel=1e-6)


def test_the_numbers_of_a_fit_stay_correlated():
    """Final amount, rate and lag carry the covariance of one fit; the common factor moves the first two."""
    from uncertainties import correlation_matrix

    fit = fk.fit_growth(T, readings(), scale_u=0.05)
    matrix = correlation_matrix([fit.final_amount, fit.max_rate, fit.lag_h])
    assert matrix[0, 1] > 0.9 and abs(matrix[0, 2]) < 0.3
    assert fit.final_amount.s / fit.final_amount.n == pytest.approx(0.05, rel=0.02)
    plain = fk.fit_growth(T, readings())
    assert fit.interval("lag_h") == plain.interval("lag_h")
    assert np.ptp(fit.interval("final_amount")) == pytest.approx(2 * 1.96 * 0.05 * fit.final_amount.n, rel=0.02)


@pytest.mark.parametrize("kind", ["independent", "accumulating", "drifting"])
def test_units_scale_through(kind):
    """Litres instead of millilitres, days instead of hours: the same curve."""
    noise = "independent" if kind == "independent" else "accumulating"
    drifting = curves.gompertz(T, 600, 40, 6) + np.cumsum(3 * np.random.default_rng(2).normal(size=60))
    y = {"independent": readings(), "accumulating": counted(), "drifting": drifting}[kind]
    fit, litres, days = (fk.fit_growth(t, made, noise=noise) for t, made in ((T, y), (T, y / 1000), (T / 24, y)))
    assert litres.final_amount.s * 1000 == pytest.approx(fit.final_amount.s, rel=1e-4)
    assert litres.final_amount.n * 1000 == pytest.approx(fit.final_amount.n, rel=1e-7)
    assert days.lag_h.n * 24 == pytest.approx(fit.lag_h.n, rel=1e-6)
    assert days.max_rate.s / 24 == pytest.approx(fit.max_rate.s, rel=1e-4)


def test_predict_hangs_on_the_level_of_the_readings():
    """For a counter that started at 500 the curve is shown from 500."""
    y = counted() + 500
    fit = fk.fit_growth(T, y, noise="accumulating")
    assert fit.predict(0.0) == pytest.approx(500, abs=1e-9)
    assert np.abs(fit.predict(T) - y).max() < 60
    assert fit.final_amount.n == pytest.approx(600, abs=80)


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_the_band_holds_the_true_curve(noise):
    """At each of three times the 95 % band holds the true curve in at least 44 of 50 runs."""
    held, at = np.zeros(3), np.array([8.0, 15.0, 40.0])
    for seed in range(50):
        y = readings(seed) if noise == "independent" else counted(seed)
        low, high = fk.fit_growth(T, y, noise=noise).band(at)
        held += (low <= curves.gompertz(at, 600, 40, 6)) & (curves.gompertz(at, 600, 40, 6) <= high)
    assert (held >= 44).all(), held


def test_known_errors_are_used():
    """With u given, the uncertainty is that u's, and readings that contradict it are told."""
    y = readings(sd=6.0)
    fit = fk.fit_growth(T, y, u=6.0)
    assert np.isinf(fit.dof) and not any("scatter" in doubt for doubt in fit.doubts)
    twice = fk.fit_growth(T, y, u=12.0)
    assert twice.lag_h.s == pytest.approx(2 * fit.lag_h.s, rel=1e-6)
    assert any("u is too small" in doubt for doubt in fk.fit_growth(T, y, u=2.0).doubts)
    assert any("u is too large" in doubt for doubt in fk.fit_growth(T, y, u=30.0).doubts)


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_a_good_fit_has_nothing_to_doubt(noise):
    """Readings that the curve made, with honest errors, raise no remark: a doubt that is always there is none."""
    y = readings() if noise == "independent" else counted(3)
    fit = fk.fit_growth(T, y, noise=noise)
    assert fit.verdict == "good" and fit.doubts == ()


def test_a_counter_that_slipped_back_once_still_has_its_intervals():
    """One increment below zero among counted gas leaves every number with a finite interval about it."""
    y = counted()
    y[45:] -= 8
    fit = fk.fit_growth(T, y, noise="accumulating")
    for name, (low, high) in fit.intervals().items():
        assert low < getattr(fit, name).n < high and np.isfinite([low, high]).all()
    low, high = fit.interval("final_amount")
    assert low < y[-1] < high


def test_a_wild_reading_is_pointed_at():
    """One reading off by half the curve is named by its time."""
    y = readings()
    y[20] += 300
    assert any("16.27" in doubt for doubt in fk.fit_growth(T, y).doubts)


def test_the_wrong_curve_is_told_by_its_residuals():
    """A logistic through Gompertz readings leaves runs of one sign."""
    fit = fk.fit_growth(T, readings(sd=3.0), curve="logistic")
    assert any("runs of one sign" in doubt for doubt in fit.doubts)
    assert not any("runs" in doubt for doubt in fk.fit_growth(T, readings(sd=3.0)).doubts)


@pytest.mark.parametrize(("n1", "n2"), [(6, 6), (4, 9)])
def test_the_chance_of_few_runs_is_that_of_counting_them(n1, n2):
    """Beside every order in which the signs could have come, the printed chance is right to 0.02."""
    n = n1 + n2
    orders = np.full((math.comb(n, n1), n), -1.0)
    for row, up in zip(orders, combinations(range(n), n1)):
        row[list(up)] = 1.0
    runs = 1 + np.count_nonzero(np.diff(orders, axis=1), axis=1)
    for some in np.unique(runs):
        exact = np.mean(runs <= some)
        if exact > 0.5:
            break  # not few
        assert runs_p(orders[np.argmax(runs == some)]) == pytest.approx(exact, abs=0.02)


def test_a_steep_start_has_a_lag_of_zero_within_its_error():
    """With no lag in the data the page says so rather than print a lag."""
    fit = fk.fit_growth(T, readings(lag=-5.5))
    assert any("zero within its error" in doubt for doubt in fit.doubts)
    assert fit.interval("lag_h")[0] < 0 < fit.interval("lag_h")[1]


def test_a_curve_that_has_not_bent_has_no_final_amount():
    """Cut while still rising steeply: no number for the end, an open interval, and the reason in words."""
    early = T < 10
    fit = fk.fit_growth(T[early], readings(sd=12)[early])
    assert np.isnan(fit.final_amount.n) and fit.interval("final_amount")[1] == np.inf
    assert "not determined" in str(fit) and "has not bent yet" in str(fit)
    assert fit.finish_time_h().high == np.inf and np.isnan(fit.finish_time_h().time_h.n)


@pytest.mark.parametrize("known", [True, False])
def test_not_bent_is_said_just_where_the_interval_is_open(known):
    """The number for the end is withheld when its 95 % interval reaches beyond thirty times the readings."""
    said = []
    for last in (9.0, 11.0, 12.0, 13.0, 14.0, 16.0):
        for seed in range(2):
            seen = last > T
            y = readings(seed, sd=12.0)[seen]
            fit = fk.fit_growth(T[seen], y, u=12.0 if known else None)
            high = fit.interval("final_amount")[1]
            said.append("not bent" in fit.verdict)
            assert said[-1] == (high >= 30 * y.max()), (last, seed, high)
    assert 2 < sum(said) < 10


def test_where_no_growth_is_shown_nothing_is_excluded():
    """Noise about a level gives no number, and every interval, band and time stays open."""
    fit = fk.fit_growth(T, 5 + np.random.default_rng(1).normal(size=60))
    assert fit.verdict == "no growth shown" and np.isnan(fit.lag_h.n)
    assert fit.interval("lag_h") == (-np.inf, np.inf)
    for name in ("final_amount", "max_rate", "asymptote"):
        assert fit.interval(name) == fit.intervals()[name] == (0.0, np.inf)
    low, high = fit.band([5.0, 40.0])
    assert (low == -np.inf).all() and (high == np.inf).all()
    forecast = fit.finish_time_h()
    assert np.isnan(forecast.time_h.n) and (forecast.low, forecast.high) == (T[0], np.inf)


def test_forecasts_of_an_unfinished_run_hold_the_truth():
    """From readings up to 60 % of the end, the finish time's interval holds the true one."""
    seen = T < 18
    fit = fk.fit_growth(T[seen], readings(seed=1)[seen])
    shape, p = fit.shape, np.array([[np.log(np.e * 40 / 600), 6 + 600 / (np.e * 40)]])
    finish = fit.finish_time_h(0.99)
    assert finish.low < shape.when(p, 0.99)[0] < finish.high
    assert "99 %" in str(finish)


def test_pages_are_written():
    """A fit prints its numbers with unit, definitions and source, and shows as HTML and table."""
    fit = fk.fit_growth(T, readings(), unit="mol CO2", counts="produced", scale_u=0.02)
    text = str(fit)
    for words in ("mol CO2/h", "produced", "Zwietering", "asymptote less the curve's value", "2 % common"):
        assert words in text
    assert fit.unit == "mol CO2" and fit.counts == "produced"
    assert "<table>" in fit._repr_html_() and len(fit.table()) == 6
    assert repr(fit).startswith("<GrowthFit: Growth curve")


@pytest.mark.parametrize(
    ("time", "amount", "words"),
    [
        ([0, 1, 2], [1, 2, 3], "at least"),
        (T, np.full(60, 3.0), "in every reading"),
        (T, 1e6 + 1e-7 * np.cos(9 * T), "in every reading"),
        (T, np.full(60, np.nan), "both a time and an amount"),
        (T, 100 - T, "falls from 100"),
        (T, np.where(T == 0, np.inf, T), "is inf in row 1"),
        (T[::-1], readings(), "rises from one reading"),
        (T, readings()[:-1], "different lengths"),
        (T, np.ones((60, 2)), r"shape \(60, 2\)"),
        (T, ["a"] * 60, "not a number"),
        (T, T * 1e200, "at most"),
    ],
)
def test_bad_readings_each_get_their_own_sentence(time, amount, words):
    """Every kind of unusable input is refused by name, with what was met."""
    with pytest.raises((InputError, FitError), match=words):
        fk.fit_growth(time, amount)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"curve": "gomperz"}, "did you mean 'gompertz'"),
        ({"noise": "white"}, "independent, accumulating"),
        ({"u": -1.0}, "u above zero"),
        ({"u": [1.0, 2.0]}, "one, or 60"),
        ({"scale_u": -0.1}, "scale_u"),
    ],
)
def test_bad_options_are_refused(options, words):
    """Words that are not on the list, and impossible errors, are refused."""
    with pytest.raises(InputError, match=words):
        fk.fit_growth(T, readings(), **options)


def test_bad_questions_to_a_fit_are_refused():
    """A quantity, level or fraction that makes no sense is refused."""
    fit = fk.fit_growth(T, readings())
    for ask, words in (
        (lambda: fit.interval("lag"), "did you mean 'lag_h'"),
        (lambda: fit.interval("lag_h", level=95), "fraction, e.g. 0.95"),
        (lambda: fit.finish_time_h(99), "such as 0.99"),
    ):
        with pytest.raises(InputError, match=words):
            ask()


HOSTILE = st.floats(allow_nan=True, allow_infinity=True, width=64)


@settings(max_examples=150, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(
    amount=st.one_of(
        st.lists(HOSTILE, max_size=25),
        st.lists(st.floats(-10, 10), min_size=6, max_size=25),
        st.lists(st.floats(0, 3), min_size=6, max_size=25).map(lambda steps: list(np.cumsum(steps))),
        st.lists(st.sampled_from([0.0, 1.0, np.nan]), min_size=5, max_size=25),
    ),
    curve=st.sampled_from(CURVES),
    noise=st.sampled_from(["independent", "accumulating"]),
)
def test_hostile_readings_give_an_answer_or_a_named_error(amount, curve, noise):
    """No array whatever gives another exception, a warning, or a NaN without words."""
    try:
        fit = fk.fit_growth(np.arange(len(amount), dtype=float), amount, curve, noise)
    except FermkitError:
        return
    values = [fit.final_amount, fit.max_rate, fit.lag_h, fit.asymptote]
    assert all(np.isfinite(value.n) for value in values) or fit.doubts
    assert all(np.isfinite(value.s) for value in values if np.isfinite(value.n))
    assert str(fit)


def test_an_asymmetry_at_its_bound_is_said():
    """Gompertz gas fitted by Richards ends at the bound of the asymmetry, and the page says so."""
    fit = fk.fit_growth(T, counted(), curve="richards", noise="accumulating")
    assert any("at its bound" in doubt for doubt in fit.doubts)
    assert np.isfinite(fit.interval("lag_h")).all()
