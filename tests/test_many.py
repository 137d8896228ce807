"""Thousands of curves at once: the same answers as one by one, and a verdict on each."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.growth import curves
from fermkit.growth.curves import SHAPES
from fermkit.growth.least_squares import descend, reach
from fermkit.growth.many import fit_chunk
from fermkit.growth.problem import Problem
from fermkit.growth.starts import start
from fermkit.growth.verdicts import VERDICTS
from fermkit.growth.weights import solve

T = np.linspace(0, 48, 60)


def simulated(rng, m, noise="independent", curve="gompertz"):
    """Readings of m curves of different height, rate and lag."""
    a, mu, lag = rng.uniform(300, 900, m), rng.uniform(25, 60, m), rng.uniform(0, 10, m)
    y = np.stack([getattr(curves, curve)(T, *one) for one in zip(a, mu, lag)])
    if noise == "independent":
        return y + 0.02 * a[:, None] * rng.normal(size=y.shape)
    counts = rng.poisson(np.diff(y, axis=1) / 2.0) * 2.0
    return np.concatenate([np.zeros((m, 1)), np.cumsum(counts, axis=1)], axis=1)


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_same_answer_as_one_by_one(noise):
    """Many curves at once give the numbers and uncertainties of single fits."""
    table = simulated(np.random.default_rng(1), 25, noise)
    many = fk.fit_growth_many(T, table, noise=noise)
    for row, readings in zip(many.itertuples(), table):
        fit = fk.fit_growth(T, readings, noise=noise)
        for name in ("final_amount", "max_rate", "lag_h", "asymptote"):
            u = getattr(row, f"u_{name}")
            assert getattr(fit, name).n == pytest.approx(getattr(row, name), abs=1e-4 * u)
            assert getattr(fit, name).s == pytest.approx(u, rel=1e-4)


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_missing_readings_are_left_out(noise):
    """A table with holes gives what the readings that are there give alone."""
    rng = np.random.default_rng(2)
    table = simulated(rng, 20, noise)
    table[rng.random(table.shape) < 0.15] = np.nan
    many = fk.fit_growth_many(T, table, noise=noise)
    for row, readings in zip(many.itertuples(), table):
        fit = fk.fit_growth(T, readings, noise=noise)
        assert fit.lag_h.n == pytest.approx(row.lag_h, abs=1e-2 * row.u_lag_h)
        assert fit.final_amount.s == pytest.approx(row.u_final_amount, rel=1e-2)


@pytest.mark.parametrize("noise", ["independent", "accumulating"])
def test_known_errors_with_readings_missing(noise):
    """With u stated and holes in the table, each curve is what it is alone: over a gap the u of increments add up."""
    rng = np.random.default_rng(9)
    table = simulated(rng, 6, noise)
    u = rng.uniform(3, 9, 60 - (noise == "accumulating"))
    table[rng.random(table.shape) < 0.2] = np.nan
    many = fk.fit_growth_many(T, table, noise=noise, u=u)
    for row, readings in zip(many.itertuples(), table):
        fit = fk.fit_growth(T, readings, noise=noise, u=u)
        assert fit.lag_h.n == pytest.approx(row.lag_h, abs=1e-2 * row.u_lag_h)
        for name in ("final_amount", "max_rate", "lag_h"):
            assert getattr(fit, name).s == pytest.approx(getattr(row, f"u_{name}"), rel=1e-2)


def test_each_curve_may_have_its_own_times():
    """Times of one row each, with gaps, are taken as they are."""
    rng = np.random.default_rng(3)
    times = np.sort(rng.uniform(0, 48, (6, 40)), axis=1)
    table = np.stack([curves.gompertz(t, 600, 40, 6) for t in times]) + rng.normal(size=times.shape)
    times[2, 30:] = np.nan
    many = fk.fit_growth_many(times, table)
    assert np.allclose(many.max_rate, 40, atol=1.5) and (many.verdict == "good").all()


@pytest.mark.parametrize("curve", ["logistic", "gompertz", "baranyi", "richards"])
def test_no_better_optimum_is_found_from_elsewhere(curve):
    """From eight other starts, no fit of 150 mixed curves gets better by a visible amount."""
    rng, shape = np.random.default_rng(4), SHAPES[curve]
    t = np.linspace(0, 48, 100)[None, :]
    m = 150
    k, lag = rng.uniform(0.05, 0.25, m), np.repeat([0.0, 5.0, 20.0], m // 3)
    b = 4 * k
    y = shape.value(b[:, None], (lag + 2 / b)[:, None], t, 1.0) * 600 + 12 * rng.normal(size=(m, 100))
    problem = Problem(t, y)
    limit = reach(shape, t)
    found = descend(shape, start(shape, problem, y, limit), problem, limit)
    best = found.rss.copy()
    for _ in range(8):
        p = found.p + rng.normal(size=found.p.shape) * np.array([0.6, 8.0, 1.0])[: found.p.shape[1]]
        again = descend(shape, np.clip(p, limit.low, limit.high), problem, limit)
        best = np.where(again.level > 0, np.minimum(best, again.rss), best)
    worse = (found.rss - best) / (best / (100 - shape.parameters))
    assert found.converged.mean() > 0.97
    assert np.quantile(worse[found.converged], 0.99) < 1e-3
    assert found.sweeps.mean() <= 6


@pytest.mark.parametrize("asymmetry", [0.1, 1.0, 8.0])
def test_richards_never_fits_worse_than_the_logistic(asymmetry):
    """It holds the logistic within it: on 60 curves cut anywhere, its residual sum is never above the logistic's."""
    rng, m = np.random.default_rng(11), 60
    t = np.linspace(0, 30, 40)[None, :]
    lag, size = rng.uniform(0, 15, (m, 1)), rng.uniform(300, 900, (m, 1))
    y = np.stack([curves.richards(t[0], a, 40, one, asymmetry) for a, one in zip(size[:, 0], lag[:, 0])])
    y += 0.03 * size * rng.normal(size=y.shape)
    wide, narrow = (solve(SHAPES[name], Problem(t, y), y)[1] for name in ("richards", "logistic"))
    settled = wide.converged & narrow.converged
    assert settled.mean() > 0.9
    assert (wide.level[settled] > 0).all()
    assert (wide.rss[settled] <= narrow.rss[settled] * (1 + 1e-6)).mean() > 0.98


def test_noise_alone_is_not_called_growth():
    """Of 400 series of pure noise at most two are taken for growth (the test is at 1 in 1,000)."""
    noise = np.random.default_rng(5).normal(size=(400, 60))
    for kind, table in (("independent", noise), ("accumulating", np.cumsum(noise, axis=1))):
        verdict = fk.fit_growth_many(T, table, noise=kind).verdict
        assert verdict.isin(["no growth shown", "does not rise"]).sum() >= 398 - 2
        known = fk.fit_growth_many(T, table[:100], noise=kind, u=1.0).verdict
        assert known.isin(["no growth shown", "does not rise"]).sum() >= 98


def test_verdicts_of_awkward_curves():
    """Too few readings, a step and a curve cut before its bend are each told, and numbers withheld."""
    rng = np.random.default_rng(6)
    few = np.where(np.arange(60) < 3, 1.0 * np.arange(60), np.nan)
    step = np.where(T > 20, 100.0, 0.0) + rng.normal(size=60)
    early = np.exp(0.1 * T) + 0.2 * rng.normal(size=60)
    table = fk.fit_growth_many(T, [few, step, early])
    assert list(table.verdict) == [VERDICTS[1], VERDICTS[7], VERDICTS[6]]
    assert np.isnan(table.final_amount[0]) and np.isnan(table.final_amount[2])


def test_blocks_do_not_change_the_answer():
    """Two thousand and one curves, in two blocks, are what each block gives alone."""
    table = simulated(np.random.default_rng(7), 2001)
    whole = fk.fit_growth_many(T, table)
    values, _ = fit_chunk(T[None, :], table[2000:], "gompertz", "independent", None)
    assert np.allclose(whole.iloc[2000, :9].to_numpy(dtype=float), values[0], rtol=1e-6)


def test_the_active_joblib_configuration_is_obeyed():
    """Threads put under it from outside give the same table."""
    import joblib

    table = simulated(np.random.default_rng(8), 4100)
    with joblib.parallel_config(backend="threading", n_jobs=2):
        threads = fk.fit_growth_many(T, table)
    assert np.allclose(threads.lag_h, fk.fit_growth_many(T, table).lag_h)


@pytest.mark.parametrize(
    ("times", "table", "words"),
    [
        (T, T, "one row a curve"),
        (T[:5], np.ones((2, 6)), "one time for each column"),
        (np.array([0, 2, 1.0]), np.ones((1, 3)), "time 1 h in row 1, column 3, after 2 h"),
        (np.array([0, 1, 1.0]), np.ones((1, 3)), "time 1 h in row 1, column 3, after 1 h"),
        (np.array([[0, 1, 2.0], [0, 5, 4]]), np.ones((2, 3)), "time 4 h in row 2, column 3, after 5 h"),
        (np.array([0, 1, 2.0]), np.array([[1, np.inf, 2]]), "infinite in row 1, column 2"),
        (np.array([0, 1, 2.0]), [["a", "b", "c"]], "cannot be read as numbers"),
        (np.array([0, np.nan, 2.0]), np.ones((1, 3)), "leave the column out"),
    ],
)
def test_bad_tables_are_refused(times, table, words):
    """Each wrong table gets its own sentence."""
    with pytest.raises(InputError, match=words):
        fk.fit_growth_many(times, table)


@pytest.mark.parametrize(
    ("u", "words"),
    [
        (-2.0, r"u of \[-2"),
        ([3.0, 0.0, 3.0], r"u of \[0"),
        ([3.0, 3.0], r"u of shape \(2,\)"),
        ([[1, np.nan, 1]], "nan"),
    ],
)
def test_bad_errors_are_refused(u, words):
    """An uncertainty that is not above zero is named with its value, one of the wrong length with its shape."""
    with pytest.raises(InputError, match=words):
        fk.fit_growth_many([0, 1, 2.0], np.ones((2, 3)), u=u)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    table=st.integers(0, 12).flatmap(
        lambda n: st.lists(
            st.lists(st.floats(allow_nan=True, allow_infinity=True), min_size=n, max_size=n), min_size=1, max_size=4
        )
    ),
    curve=st.sampled_from(sorted(SHAPES)),
    noise=st.sampled_from(["independent", "accumulating"]),
)
def test_hostile_tables_give_an_answer_or_a_named_error(table, curve, noise):
    """No table whatever gives another exception, a warning, or a NaN that is called good."""
    try:
        found = fk.fit_growth_many(np.arange(len(table[0]), dtype=float), table, curve, noise)
    except InputError:
        return
    values = found.iloc[:, :8].to_numpy(dtype=float)
    assert not np.isinf(values).any()
    assert not (np.isnan(values).any(axis=1) & (found.verdict == "good").to_numpy()).any()
