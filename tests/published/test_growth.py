"""Growth curves against the outside: published formulas, certified data, R's self-starting fits."""

import numpy as np
import pytest

import fermkit as fk
from fermkit.growth import curves
from fermkit.growth.curves import SHAPES


def steepest(fit):
    """Time of the steepest point of a logistic: its published lag, where the tangent meets zero, and half the rise."""
    return fit.lag_h - (fit.asymptote - fit.final_amount) / fit.max_rate + fit.asymptote / (2 * fit.max_rate)


def test_carlson_1913(published):
    """Carlson's yeast in wort, logistic: K, r, N0 and their standard errors as R and lmfit give them."""
    entry = published.entries["CARLSON-1913"]
    t, y, expected = entry["inputs"]["t"], entry["inputs"]["y"], entry["expected"]
    fit = fk.fit_growth(t, y, curve="logistic")
    check = lambda name, found, value, rel: published.check(  # noqa: E731
        f"Carlson {name}", found, value, rel * value, reference="CARLSON-1913"
    )
    check("K", fit.asymptote, expected["K"], 1e-6)
    check("u(K)", fit.asymptote.s, expected["se"]["K"], 1e-4)
    b = 4 * fit.max_rate / fit.asymptote
    middle = steepest(fit)
    check("r", b, expected["r"], 1e-6)
    check("u(r)", b.s, expected["se"]["r"], 1e-4)
    check("xmid", middle, expected["SSlogis"]["xmid"], 1e-6)
    check("scal", 1 / b, expected["SSlogis"]["scal"], 1e-6)
    from uncertainties import umath

    start = fit.asymptote / (1 + umath.exp(b * middle))
    check("N0", start, expected["N0"], 1e-6)
    check("u(N0)", start.s, expected["se"]["N0"], 1e-4)
    check("RSS", fit.found.rss[0], expected["rss"], 1e-8)
    check("sigma", fit.scatter, expected["sigma"], 1e-6)
    check("doubling time", np.log(2) / b, expected["doubling_time_h"], 1e-6)
    assert fit.dof == expected["df"]


def test_ratkowsky_certified(published):
    """NIST Rat42 is the logistic: certified parameters, standard deviations and residual sum."""
    entry = published.entries["NIST-Rat42"]
    fit = fk.fit_growth(entry["inputs"]["x"], entry["inputs"]["y"], curve="logistic")
    b = 4 * fit.max_rate / fit.asymptote
    found = (fit.asymptote, b * steepest(fit), b)
    expected = entry["expected"]
    for name, one, value, sd in zip(("b1", "b2", "b3"), found, expected["params"], expected["params_sd"]):
        published.check(f"Rat42 {name}", one, value, 1e-6 * value, reference="NIST-Rat42")
        published.check(f"Rat42 sd({name})", one.s, sd, 1e-5 * sd, reference="NIST-Rat42")
    published.check("Rat42 RSS", fit.found.rss[0], expected["rss"], 1e-8 * expected["rss"], reference="NIST-Rat42")
    published.check("Rat42 residual sd", fit.scatter, expected["residual_sd"], 1e-7, reference="NIST-Rat42")


@pytest.mark.parametrize(("reference", "x", "y"), [("R-Orange1", "x", "y"), ("R-DNase1-logis", "conc", "density")])
def test_r_self_starting_logistic(published, reference, x, y):
    """R's SSlogis on its own data: our start and optimum give the same numbers and errors."""
    entry = published.entries[reference]
    names = ("Asym", "xmid", "scal")
    time, amount = np.array(entry["inputs"][x]), np.array(entry["inputs"][y])
    if x == "conc":
        time = np.log(time)
    expected = entry["expected"]
    if len(set(time)) < len(time):
        p, level = _with_replicates(time, amount)
        found = (level, p[1], np.exp(-p[0]))
        for name, one in zip(names, found):
            value = expected["params"][name]
            published.check(f"{reference} {name}", one, value, 2e-5 * abs(value), reference=reference)
        return
    fit = fk.fit_growth(time, amount, curve="logistic")
    b = 4 * fit.max_rate / fit.asymptote
    for name, one in zip(names, (fit.asymptote, steepest(fit), 1 / b)):
        value, se = expected["params"][name], expected["se"][name]
        published.check(f"{reference} {name}", one, value, 2e-5 * abs(value), reference=reference)
        published.check(f"{reference} se({name})", one.s, se, 1e-4 * se, reference=reference)
    published.check(f"{reference} RSS", fit.found.rss[0], expected["rss"], 1e-7 * expected["rss"], reference=reference)


def _with_replicates(time, amount):
    """The fitter itself, which does not mind repeated times."""
    from fermkit.growth.least_squares import descend, reach
    from fermkit.growth.problem import Problem
    from fermkit.growth.starts import start

    problem = Problem(time[None, :], amount[None, :])
    limit = reach(SHAPES["logistic"], problem.time)
    p = start(SHAPES["logistic"], problem, problem.amount, limit)
    found = descend(SHAPES["logistic"], p, problem, limit)
    return found.p[0], float(found.level[0])


def test_modified_gompertz(published):
    """Zwietering's modified Gompertz: printed values and the identities of rate and lag."""
    entry = published.entries["ZW-GOMP"]
    a, mu, lag = (entry["inputs"][key] for key in ("A", "mu", "lam"))
    for t, value in entry["expected"]["values"].items():
        published.check(f"Gompertz at {t} h", curves.gompertz(float(t), a, mu, lag), value, 1e-9, reference="ZW-GOMP")
    steepest = lag + a / (mu * np.e)
    published.check("Gompertz t_i", steepest, entry["expected"]["t_i"], 1e-9, reference="ZW-GOMP")
    _identities(published, curves.gompertz, a, mu, lag, steepest, a / np.e, "ZW-GOMP")


def test_modified_logistic(published):
    """Zwietering's modified logistic: printed values and the identities of rate and lag."""
    entry = published.entries["ZW-LOGIS"]
    a, mu, lag = (entry["inputs"][key] for key in ("A", "mu", "lam"))
    for t, value in entry["expected"]["values"].items():
        published.check(f"logistic at {t} h", curves.logistic(float(t), a, mu, lag), value, 1e-9, reference="ZW-LOGIS")
    value = entry["expected"]["y_at_0"]
    published.check("logistic at 0 h", curves.logistic(0.0, a, mu, lag), value, 1e-10, reference="ZW-LOGIS")
    _identities(published, curves.logistic, a, mu, lag, lag + a / (2 * mu), a / 2, "ZW-LOGIS")


def _identities(published, curve, a, mu, lag, steepest, height, reference):
    h = 1e-5
    slope = (curve(steepest + h, a, mu, lag) - curve(steepest - h, a, mu, lag)) / (2 * h)
    at = float(curve(steepest, a, mu, lag))
    published.check(f"{reference} largest slope", slope, mu, 1e-8, reference=reference)
    published.check(f"{reference} height there", at, height, 1e-9, reference=reference)
    published.check(f"{reference} tangent foot", steepest - at / mu, lag, 1e-9, reference=reference)
    published.check(f"{reference} asymptote", curve(1e3, a, mu, lag), a, 1e-9, reference=reference)


def test_three_phases(published):
    """Buchanan's three lines, for gas from zero: values and continuity."""
    entry = published.entries["BUCHANAN"]
    y0, end, mu, lag = (entry["inputs"][key] for key in ("y0", "ymax", "mu", "lam"))
    for t, value in entry["expected"]["y"].items():
        found = y0 + curves.three_phase(float(t), end - y0, mu, lag)
        published.check(f"three phases at {t} h", found, value, 1e-12, reference="BUCHANAN")


def test_monomolecular_is_the_limit_of_the_linear_baranyi(published):
    """With a seed of one the linear Baranyi–Roberts curve is A (1 - exp(-k t)): half-time and first rate."""
    k, a = 0.3, 10.0
    half = float(curves.baranyi(np.log(2) / k, a, k, 1.0))
    published.check("monomolecular at ln 2/k", half, a / 2, 1e-12, reference="MONO-WEIB")
    rate = float(curves.baranyi(1e-7, a, k, 1.0)) / 1e-7
    published.check("monomolecular first rate", rate, a * k, 1e-6, reference="MONO-WEIB")
    t = np.linspace(0, 20, 9)
    assert np.allclose(curves.baranyi(t, a, k, 1.0), a * (1 - np.exp(-k * t)))


def test_first_order_uptake_in_r(published):
    """R's BOD fit (monomolecular through the origin) is reached from the linear Baranyi–Roberts family."""
    entry = published.entries["R-BOD"]
    expected = entry["expected"]
    x, y = np.array(entry["inputs"]["x"], dtype=float), np.array(entry["inputs"]["y"])
    a, k = expected["params"]["A"], expected["params"]["k"]
    residual = y - curves.baranyi(x, a, k, 1.0)
    published.check("BOD RSS at R's optimum", residual @ residual, expected["rss"], 1e-6, reference="R-BOD")
