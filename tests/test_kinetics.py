"""The batch in time: rates against published equations, the quick integration against a general solver."""

import copy
import math
import pickle
import sys
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import simpson, solve_ivp, trapezoid
from scipy.optimize import least_squares

from fermkit.basis.errors import FitError, InputError
from fermkit.kinetics.answers import fit_batch, prior, series
from fermkit.kinetics.course import Surroundings, by_name, course, warm_hours
from fermkit.kinetics.feeding import OXYGEN_PER_GRAM, course_of
from fermkit.kinetics.fitting import Problem, descend
from fermkit.kinetics.rates import INDEX, NAMES, QUANTITIES, STRUCTURES, most_used, products, warmth
from fermkit.kinetics.series import covariance
from fermkit.matter.composition import compound

MEDIAN = np.log([QUANTITIES[name].usual[0] for name in NAMES])
SPREAD = np.array([QUANTITIES[name].usual[1] for name in NAMES])
AROUND = Surroundings(liquid_L=2.0, store_mol=0.068, gas_space_mol=0.04)
HOURS = np.linspace(0.0, 60.0, 601)


def drawn(seed):
    """One set of quantities, drawn from what is usual."""
    return MEDIAN + SPREAD * np.random.default_rng(seed).normal(size=len(NAMES))


def slopes_in_time(structure, q, around):
    """The batch as differential equations in time, written out anew: sugar, yeast, ethanol, CO2, gas, hours of work.

    Waking: Baranyi & Roberts 1994, dQ/dt = νQ, share awake Q/(1 + Q); the lognormal law by its error function.
    """
    y_c, y_e = (1 - 0.065) / compound("yeast").molar_mass, 4.2
    v = math.pi / math.sqrt(3) / (q["lag spread"] * q["lag"])
    q0 = 1 / math.expm1(v * q["lag"])
    k, held = q["degassing"], q["store"] * around.store_mol
    space = q["gas space"] * around.gas_space_mol

    def slope(t, state):
        s, x, e, c, out, worked = state
        s = max(s, 0.0)
        if structure.waking == "Baranyi":
            awake = 1 / (1 + math.exp(-v * t) / q0)
        else:
            m = math.log(q["lag"]) - q["lag spread"] ** 2 / 2
            awake = 0.5 * math.erfc(-(math.log(max(t, 1e-12)) - m) / q["lag spread"] / math.sqrt(2))
        half = q["half saturation"] * (x / 5 if structure.saturation == "Contois" else 1.0)
        full = min(e / q["ethanol limit"], 1.0)
        slowed = (1 - full) ** q["exponent"] if structure.inhibition == "Levenspiel" else 1 - full ** q["exponent"]
        grown = x - q["inoculum"]
        spent = q["yield"] * (q["sugar"] - s) / q["nitrogen"]
        fed, growth = 1.0, q["yield"]
        if structure.nitrogen == "uptake":
            fed = 1.05 * max(1 - spent, 0.0) / (0.05 + max(1 - spent, 0.0))
        else:
            left = 1 - grown / q["nitrogen"]
            growth *= left if structure.nitrogen == "gradual" else 1.05 * left / (0.05 + left)
        if structure.nitrogen == "activity":
            idle = q["sugar"] - s - grown / q["yield"]
            yeast = q["inoculum"] + q["nitrogen"]
            fed = max(1 - q["starving"] * q["yield"] / q["growth rate"] / yeast * idle, 0.0)
        pace = awake * math.exp(-q["fading"] * worked)
        share = s ** q["tail"] / (half ** q["tail"] + s ** q["tail"])
        late = 1 - (1 - q["late pace"]) / (1 + (s / q["late share"] / q["sugar"]) ** 8)
        used = pace * q["growth rate"] / q["yield"] * x * share * slowed * fed * late
        dx = growth * used
        h, glycerol, acid_c = used / compound("hexose").molar_mass, q["glycerol"] / 1000 * dx, q["acids"]
        ethanol = (24 * h - 14 * glycerol - 4 * 6 * h * acid_c - y_e * y_c * dx) / 12
        co2 = 6 * h - 2 * ethanol - 3 * glycerol - 6 * h * acid_c - y_c * dx
        gas = k * (around.liquid_L * c - out - held * (1 - math.exp(-out / space)))
        return [-used, dx, ethanol * compound("ethanol").molar_mass, co2, gas, awake]

    return slope


@pytest.mark.parametrize("structure", STRUCTURES, ids=lambda s: s.name)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_quick_way_gives_what_a_general_solver_gives(structure, seed):
    """Sugar, yeast, ethanol, CO2 and gas agree with LSODA on the equations in time (scipy's solve_ivp)."""
    theta = drawn(seed)
    q = dict(zip(NAMES, np.exp(theta)))
    ours = course(structure, theta[None], HOURS, AROUND)
    theirs = solve_ivp(
        slopes_in_time(structure, q, AROUND), (0, 60), [q["sugar"], q["inoculum"], 0, 0, 0, 0], "LSODA", HOURS,
        rtol=1e-9, atol=1e-10,
    ).y  # fmt: skip
    assert ours.sugar_used[0] == pytest.approx(q["sugar"] - theirs[0], abs=1e-4 * q["sugar"])
    assert ours.yeast[0] == pytest.approx(theirs[1], abs=1e-4 * theirs[1].max())
    assert ours.ethanol[0] == pytest.approx(theirs[2], abs=1e-4 * theirs[2].max())
    assert ours.made[0] == pytest.approx(2.0 * theirs[3], abs=1e-4 * 2 * theirs[3].max())
    assert ours.released[0] == pytest.approx(theirs[4], abs=5e-4 * theirs[4].max())


@pytest.mark.parametrize("structure", STRUCTURES, ids=lambda s: s.name)
def test_slopes_are_those_of_differences(structure):
    """Every slope by every quantity equals a central difference, with a logged temperature."""
    log = (np.array([0.0, 10.0, 20.0, 40.0]), np.array([26.0, 18.0, 28.0, 20.0]))
    around = Surroundings(2.0, 0.068, 0.04, log)
    theta, h = drawn(4), 1e-5
    ours = course(structure, theta[None], HOURS, around, slopes=True)
    for name in ("sugar_used", "yeast", "ethanol", "made", "released"):
        for i in range(len(NAMES)):
            step = np.where(np.arange(len(NAMES)) == i, h, 0.0)
            up, down = (getattr(course(structure, (theta + k * step)[None], HOURS, around), name)[0] for k in (1, -1))
            scale = np.abs(getattr(ours, name)).max()
            assert ours.slopes[name][0, :, i] == pytest.approx((up - down) / (2 * h), abs=3e-4 * scale), NAMES[i]


@pytest.mark.parametrize("structure", STRUCTURES, ids=lambda s: s.name)
def test_carbon_and_electrons_close(structure):
    """What the sugar became holds all its carbon and all its electrons: 6 and 24 for each hexose."""
    p = by_name(drawn(5)[None])
    used = np.linspace(1.0, float(most_used(structure, p)[0, 0]), 7)[None]
    made = products(structure, p, used)
    grown = made.yeast - p["inoculum"]
    hexose, ethanol = used / compound("hexose").molar_mass, made.ethanol / compound("ethanol").molar_mass
    glycerol, acid_c = p["glycerol"] / 1000 * grown, 6 * hexose * p["acids"]
    yeast_c = grown * 0.935 / compound("yeast").molar_mass
    yeast_e = 4.2 * yeast_c  # Roels 1983
    assert 6 * hexose == pytest.approx(2 * ethanol + made.co2 + 3 * glycerol + acid_c + yeast_c)
    assert 24 * hexose == pytest.approx(12 * ethanol + 14 * glycerol + 4 * acid_c + yeast_e)


def test_a_logged_temperature_is_summed_over_the_hours():
    """Hours of work under day and night equal the integral by scipy's Simpson rule."""
    when = np.linspace(0.0, 48.0, 97)
    log = 24 + 5 * np.sin(2 * np.pi * when / 24)
    around = Surroundings(1.0, temperature=(when, log))
    p = by_name(MEDIAN[None])
    ours = warm_hours(p, np.array([[7.0, 31.0]]), around)[0][0]
    middle = float(warmth(trapezoid(log, when) / 48))
    for hour, value in zip((7.0, 31.0), ours):
        fine = np.linspace(0, hour, 20001)
        assert value == pytest.approx(simpson(warmth(np.interp(fine, when, log)), x=fine) / middle, rel=2e-4)

def without_feed(around, **more):
    """The same surroundings with a trickle that makes the general way be taken."""
    return replace(around, oxygen_mol_per_L_h=1e-15, **more)


@pytest.mark.parametrize("structure", STRUCTURES[:3], ids=lambda s: s.name)
def test_stepping_in_time_gives_the_same_without_feed_and_air(structure):
    """The Runge–Kutta way and the quick way agree where both apply."""
    theta, hours = MEDIAN[None], np.linspace(0.0, 40.0, 81)
    quick = course(structure, theta, hours, AROUND)
    stepped = course_of(structure, theta, hours, without_feed(AROUND))
    for name in ("sugar_used", "yeast", "ethanol", "made", "released"):
        theirs = getattr(quick, name)
        assert getattr(stepped, name) == pytest.approx(theirs, abs=2e-3 * theirs.max()), name


def test_sugar_that_is_fed_is_used():
    """At the end all sugar, first and fed, has been used, and yeast on its respired share gives what is stated."""
    theta = MEDIAN.copy()
    theta[[INDEX["nitrogen"], INDEX["ethanol limit"]]] = math.log(1e6)
    theta[[INDEX["sugar"], INDEX["acids"], INDEX["fading"]]] = np.log([5.0, 1e-9, 1e-9])
    feed = (np.array([0.0, 5.0, 25.0]), np.array([0.0, 4.0, 0.0]))
    around = replace(AROUND, feed=feed, oxygen_mol_per_L_h=0.05)
    c = course_of(STRUCTURES[0], theta[None], np.linspace(0.0, 60.0, 61), around)
    assert c.sugar_used[0, -1] == pytest.approx(5.0 + 80.0 / 2.0, rel=1e-3)
    grown = c.yeast[0, -1] - math.exp(theta[INDEX["inoculum"]])
    assert 0.080 * 45 < grown < 0.5 * 45
    h, y_c = 45 / compound("hexose").molar_mass, grown * 0.935 / compound("yeast").molar_mass
    left = 6 * h - 2 * c.ethanol[0, -1] / compound("ethanol").molar_mass - c.made[0, -1] / 2.0 - y_c
    assert left >= -1e-6  # the rest is glycerol of the fermented share
    assert left < 3 * 0.0072 * grown


def test_yeast_that_respires_everything_follows_the_stated_stoichiometry():
    """0.5 g of yeast for a gram of sugar takes 0.43 g of oxygen (trade practice; electrons) and gives no ethanol."""
    assert OXYGEN_PER_GRAM * compound("O2").molar_mass == pytest.approx(0.43, abs=0.01)
    theta = MEDIAN.copy()
    theta[[INDEX["nitrogen"], INDEX["ethanol limit"]]] = math.log(1e6)
    theta[[INDEX["sugar"], INDEX["lag"], INDEX["fading"]]] = np.log([0.05, 0.01, 1e-9])
    feed = (np.array([0.0, 20.0]), np.array([0.5, 0.5]))
    around = replace(AROUND, feed=feed, oxygen_mol_per_L_h=1.0)
    c = course_of(STRUCTURES[0], theta[None], np.linspace(0.0, 20.0, 21), around)
    grown = c.yeast[0, -1] - c.yeast[0, 0]
    assert grown / c.sugar_used[0, -1] == pytest.approx(0.5, rel=1e-3)
    assert c.ethanol[0, -1] == pytest.approx(0.0, abs=1e-3)


GAS_H = np.arange(0.0, 31.0, 1.5)


@pytest.fixture(scope="module")
def truth():
    """A batch of the first structure, at its usual quantities but for the yield."""
    theta = MEDIAN.copy()
    theta[INDEX["yield"]] = math.log(0.1)
    return theta


@pytest.fixture(scope="module")
def readings(truth):
    """Gas, three alcohol samples, the yeast at the end, with errors of reading."""
    rng = np.random.default_rng(3)
    c = course(STRUCTURES[0], truth[None], np.union1d(np.linspace(0, 30, 301), GAS_H), AROUND)
    grid = np.union1d(np.linspace(0, 30, 301), GAS_H)
    gas = np.interp(GAS_H, grid, c.released[0])
    at = [8.0, 18.0, 30.0]
    return [
        series("gas released", GAS_H, gas + rng.normal(0, 0.008, GAS_H.size), 0.008, u_common=0.01),
        series("alcohol", at, np.interp(at, grid, c.ethanol[0]) + rng.normal(0, 0.5, 3), 0.5),
        series("yeast", [30.0], [c.yeast[0, -1] * 1.03], 0.05 * c.yeast[0, -1]),
    ]


KNOWN = {"sugar": (100.0, 2.0), "inoculum": (2.0, 0.1)}
AROUND_ARGS = {"liquid_L": 2.0, "store_mol": 0.068, "gas_space_mol": 0.04}


@pytest.fixture(scope="module")
def fit(readings):
    """The fit of those readings."""
    return fit_batch(readings, KNOWN, **AROUND_ARGS)


def test_the_descent_ends_where_a_general_least_squares_ends(readings):
    """From one start, scipy's least_squares on the same rows finds no lower chi² than ours does."""
    problem = Problem(readings, prior(KNOWN), AROUND)
    start = np.zeros((1, problem.size))
    ours = descend(problem, STRUCTURES[0], start, close=1e-6)

    def rows(z):
        return np.concatenate([problem.residuals(STRUCTURES[0], z[None])[0][0], z])

    theirs = least_squares(rows, ours.z[0] + 0.05, x_scale="jac")
    assert ours.chi2[0] <= 2 * theirs.cost + 0.05


def test_slopes_of_readings_of_every_kind_are_those_of_differences():
    """Whitened residuals of gas, weight, density, cells and sugar by every quantity sought."""
    t = [0.0, 6.0, 14.0, 22.0]
    kinds = {"gas released": 1.0, "gas left": 1.0, "gas made": 1.0, "mass lost": 30.0, "sugar": 50.0, "alcohol": 30.0,
             "density": 1.0, "yeast": 5.0, "cells": 100.0}  # fmt: skip
    some = [
        series(kind, t, [0.0, v / 3, v / 2, v], 0.05 * v, u_step=0.02 * v, u_common=0.05) for kind, v in kinds.items()
    ]
    problem = Problem(some, prior(KNOWN), AROUND)
    z = np.random.default_rng(2).normal(size=(1, problem.size)) * 0.5
    _, by = problem.residuals(STRUCTURES[1], z, slopes=True)
    for i in range(problem.size):
        step = np.where(np.arange(problem.size) == i, 1e-5, 0.0)
        up, down = (problem.residuals(STRUCTURES[1], z + k * step)[0][0] for k in (1, -1))
        assert by[0, :, i] == pytest.approx((up - down) / 2e-5, abs=2e-3 * (1 + np.abs(by[0]).max()))


def test_errors_of_increments_are_inherited():
    """Covariance of readings with errors per reading and per increment, against a simulation of both."""
    one = series("gas released", [0.0, 1.0, 2.0, 3.0], [0.0, 1.0, 2.0, 3.0], 0.3, u_step=0.2)
    rng = np.random.default_rng(5)
    each, steps = rng.normal(0, 0.3, (200_000, 4)), rng.normal(0, 0.2, (200_000, 4))
    simulated = np.cumsum(steps, axis=1) + each
    simulated = simulated[:, 1:] - simulated[:, :1]
    assert covariance(one, 0.0, 4.0) == pytest.approx(np.cov(simulated.T), abs=0.003)


def test_the_fit_finds_the_truth(fit, truth):
    """Hours, alcohol, CO2 and yeast of a batch of a known structure lie within their 95 %."""
    hours = np.linspace(0, 336, 6721)
    c = course(STRUCTURES[0], truth[None], hours, AROUND)
    gone = np.interp(0.99 * c.sugar_used[0, -1], c.sugar_used[0], hours)
    last = {"ethanol_end": c.ethanol, "co2_end": c.made, "yeast_end": c.yeast}
    for name, true in {"sugar_gone_h": gone, **{name: value[0, -1] for name, value in last.items()}}.items():
        assert fit.answers[name].low < true < fit.answers[name].high, name
    bands = fit.at([5.0, 15.0])
    true = np.interp([5.0, 15.0], hours, c.sugar_used[0])
    assert np.all((bands.sugar[1] < 100 - true) & (100 - true < bands.sugar[2]))


def test_a_quantity_is_told_only_where_the_readings_say_something(fit):
    """The yield is told with yeast and alcohol read; the effect of a temperature that never changed is not."""
    assert "yield" in fit.told
    assert "warmth" not in fit.told and "starving" not in fit.told


def test_every_structure_keeps_a_least_weight(fit):
    """Four structures, none below a tenth, together one."""
    share = np.array(list(fit.structures.values()))
    assert share.size == 4 and share.min() >= 0.1 and share.sum() == pytest.approx(1.0)


def test_the_same_seed_gives_the_same_answers(readings, fit):
    """A fit can be repeated."""
    again = fit_batch(readings, KNOWN, **AROUND_ARGS)
    assert again.answers == fit.answers


def test_a_fit_goes_through_pickle_and_copy(fit):
    """Results travel."""
    assert pickle.loads(pickle.dumps(fit)).answers == fit.answers
    assert copy.deepcopy(fit).told == fit.told


def test_the_hour_of_a_rating_lies_where_the_bands_say(fit):
    """The CO2 made at that hour is the CO2 asked for; more than the sugar gives is never reached."""
    hour, never = fit.hour_of_co2(1.0)
    assert never == 0 and hour.low < hour.value < hour.high
    assert float(fit.at([hour.value]).co2[0][0]) == pytest.approx(1.0, abs=0.02)
    beyond, never = fit.hour_of_co2(5.0)
    assert never == 1 and beyond.value == float("inf")


def test_a_run_in_progress_is_forecast(readings):
    """With the first half of the gas the end is open but held, and the page says that it is a forecast."""
    early = [series("gas released", GAS_H[:9], readings[0].value[:9], 0.008, u_common=0.01)]
    part = fit_batch(early, KNOWN, **AROUND_ARGS)
    whole = fit_batch(readings, KNOWN, **AROUND_ARGS)
    width = [f.answers["sugar_gone_h"].high - f.answers["sugar_gone_h"].low for f in (part, whole)]
    assert width[0] > width[1]
    assert part.answers["sugar_gone_h"].low < whole.answers["sugar_gone_h"].value < part.answers["sugar_gone_h"].high
    assert part.answers["gas_done_h"].value > part.last_h


def test_the_full_posterior_says_what_the_quick_draws_say(readings, fit, monkeypatch):
    """A walk by the library emcee, here a short one: medians within a quarter of the interval, widths within half."""
    pytest.importorskip("emcee")
    monkeypatch.setattr("fermkit.kinetics.ensemble.WALK", 60)
    full = fit_batch(readings, KNOWN, **AROUND_ARGS, structures=STRUCTURES[:1], full_posterior=True)
    quick = fit_batch(readings, KNOWN, **AROUND_ARGS, structures=STRUCTURES[:1])
    for name in ("lag_h", "sugar_gone_h", "ethanol", "co2"):
        a, b = full.answers[name], quick.answers[name]
        assert abs(a.value - b.value) < (b.high - b.low) / 4, name
        assert 0.5 < (a.high - a.low) / (b.high - b.low) < 1.5, name


def test_the_full_posterior_without_its_library_is_refused(readings, monkeypatch):
    """What to install is said."""
    monkeypatch.setitem(sys.modules, "emcee", None)
    with pytest.raises(InputError, match="pip install emcee"):
        fit_batch(readings, KNOWN, **AROUND_ARGS, structures=STRUCTURES[:1], full_posterior=True)


def test_the_next_reading_ranks_what_is_left(fit):
    """Lines run from the most telling reading to the least, each leaving at most all of the doubt."""
    left = [float(line.value) for line in fit.next_reading("yeast_end").lines]
    assert left == sorted(left) and left[-1] <= 100


ALCOHOL = series("alcohol", [1, 2, 3], [1, 2, 3], 0.1)


@pytest.mark.parametrize(
    ("make", "error"),
    [
        (lambda: series("gas", [0, 1], [0, 1], 0.1), InputError),
        (lambda: series("alcohol", [1, 2], [1, 2], 0.0), InputError),
        (lambda: series("alcohol", [-1, 2], [1, 2], 0.1), InputError),
        (lambda: series("gas made", [1], [1], 0.1), InputError),
        (lambda: fit_batch([ALCOHOL], {"sugar": (100, 1)}, liquid_L=1), InputError),
        (lambda: fit_batch([series("alcohol", [1], [1], 0.1)], KNOWN, liquid_L=1), FitError),
        (lambda: fit_batch([ALCOHOL], KNOWN, liquid_L=0), InputError),
        (lambda: prior({"sugar": (100.0, 0.0)}), InputError),
        (lambda: prior({"suger": (100.0, 1.0)}), InputError),
    ],
)
def test_what_cannot_be_used_is_refused(make, error):
    """A wrong kind, a ± of zero, a time before pitching, too little to fit."""
    with pytest.raises(error):
        make()
