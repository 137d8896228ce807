"""The batch in time: rates against published equations, the quick integration against a general solver."""

import math

import numpy as np
import pytest
from scipy.integrate import simpson, solve_ivp

from fermkit.kinetics.course import Surroundings, by_name, course, warm_hours
from fermkit.kinetics.rates import INDEX, NAMES, QUANTITIES, STRUCTURES, most_used, products, uptake, warmth
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
            fed = max(1 - spent, 0.0) / (0.05 + max(1 - spent, 0.0))
        else:
            left = 1 - grown / q["nitrogen"]
            growth *= left if structure.nitrogen == "gradual" else left / (0.05 + left)
        if structure.nitrogen == "activity":
            idle = q["sugar"] - s - grown / q["yield"]
            yeast = q["inoculum"] + q["nitrogen"]
            fed = max(1 - q["starving"] * q["yield"] / q["growth rate"] / yeast * idle, 0.0)
        pace = awake * math.exp(-q["fading"] * worked)
        used = pace * q["growth rate"] / q["yield"] * x * s / (half + s) * slowed * fed
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


def test_rate_is_the_one_published_for_a_chemostat():
    """µ = 0.427 s (1 − (p/101.6)^1.95)/(0.245 + s), Warren, Hill & Macdonald, Biotechnol. Prog. 6 (1990) 319."""
    luong = STRUCTURES[2]
    q = {"growth rate": 0.427, "half saturation": 0.245, "ethanol limit": 101.6, "exponent": 1.95, "nitrogen": 1e9}
    theta = MEDIAN.copy()
    for name, value in q.items():
        theta[INDEX[name]] = math.log(value)
    p = by_name(theta[None])
    used = np.array([[0.0, 20.0, 60.0, 99.0, 99.9]])
    made = products(luong, p, used)
    s, ethanol = 100.0 - used, made.ethanol
    published = 0.427 * s * (1 - (ethanol / 101.6) ** 1.95) / (0.245 + s)
    starved = 1 / 1.05  # what our form loses where nitrogen is in plenty: 1/(0.05 + 1)
    assert uptake(luong, p, used)[0] * p["yield"] / made.yeast == pytest.approx(published * starved, rel=1e-6)


def test_limits_of_the_published_equations():
    """At its half saturation Monod's rate is half; Contois' half saturation grows with the yeast; at the limit of
    ethanol both inhibitions stop it (Monod 1949, Contois 1959, Levenspiel 1980, Luong 1985)."""
    theta = MEDIAN.copy()
    theta[[INDEX["ethanol limit"], INDEX["nitrogen"]]] = math.log(1e9)
    theta[INDEX["half saturation"]] = 0.0
    p = by_name(theta[None])
    monod, contois = STRUCTURES[0], STRUCTURES[1]
    for structure, half in ((monod, 1.0), (contois, None)):
        used = np.array([[50.0, 99.0]])
        x = products(structure, p, used).yeast
        k = half if half is not None else x / 5.0
        share = uptake(structure, p, used)[0] * p["yield"] / p["growth rate"] / x
        assert share == pytest.approx((100 - used) / (k + 100 - used), rel=1e-6)
    theta[INDEX["ethanol limit"]] = math.log(30.0)
    p = by_name(theta[None])
    for structure in STRUCTURES[:2]:
        top = most_used(structure, p)
        assert float(products(structure, p, top).ethanol[0, 0]) == pytest.approx(30.0)
        last, first = (float(uptake(structure, p, top * share)[0][0, 0]) for share in (1 - 1e-9, 0.0))
        assert last < 1e-6 * first


def test_cardinal_temperatures_give_the_published_table():
    """A published table of the model for cardinal temperatures of 5, 20 and 30 °C (drtreimer.com/macrogrow,
    T_lim), and the inflection's own marks: 0 at both ends, 1 at the best, flat there (Rosso et al. 1993)."""
    at = np.array([5, 10, 15, 20, 22, 25, 29, 30.0])
    table = [0, 0.33333333, 0.8, 1.0, 0.9633333, 0.76190476, 0.19692308, 0]
    assert warmth(at, (5.0, 20.0, 30.0)) == pytest.approx(table, abs=1e-7)
    assert np.gradient(warmth([32.29, 32.3, 32.31]))[1] == pytest.approx(0, abs=1e-4)


def test_a_logged_temperature_is_summed_over_the_hours():
    """Hours of work under day and night equal the integral by scipy's Simpson rule."""
    when = np.linspace(0.0, 48.0, 97)
    log = 24 + 5 * np.sin(2 * np.pi * when / 24)
    around = Surroundings(1.0, temperature=(when, log))
    p = by_name(MEDIAN[None])
    ours = warm_hours(p, np.array([[7.0, 31.0]]), around)[0][0]
    middle = float(warmth(np.trapezoid(log, when) / 48))
    for hour, value in zip((7.0, 31.0), ours):
        fine = np.linspace(0, hour, 20001)
        assert value == pytest.approx(simpson(warmth(np.interp(fine, when, log)), x=fine) / middle, rel=2e-4)
