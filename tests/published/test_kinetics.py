"""The batch in time: rates, temperatures and densities as published, and three measured batches from outside."""


import numpy as np
import pytest

from fermkit.kinetics.answers import fit_batch, series
from fermkit.kinetics.course import by_name
from fermkit.kinetics.rates import NAMES, QUANTITIES, STRUCTURES, most_used, products, uptake, warmth
from fermkit.kinetics.series import BY_ETHANOL, BY_SUGAR
from fermkit.matter.alcohol import ethanol_density
from fermkit.matter.properties import sucrose_density

MONOD, CONTOIS, LUONG, _ = STRUCTURES
MEDIAN = {name: QUANTITIES[name].usual[0] for name in NAMES}


def told(**values):
    """Quantities at what is usual, but for those given; underscores for spaces."""
    q = MEDIAN | {name.replace("_", " "): value for name, value in values.items()}
    return by_name(np.log([[q[name] for name in NAMES]]))


def test_the_rate_is_the_one_of_a_chemostat(published):
    """µ = 0.427 s (1 − (p/101.6)^1.95)/(0.245 + s), from sugar in plenty to its last tenth of a gram."""
    p = told(growth_rate=0.427, half_saturation=0.245, ethanol_limit=101.6, exponent=1.95, nitrogen=1e9, tail=1.0,
             late_pace=1.0)  # fmt: skip
    used = np.array([[0.0, 20.0, 60.0, 99.0, 99.9]])
    made = products(LUONG, p, used)
    ours = uptake(LUONG, p, used)[0] * p["yield"] / made.yeast
    s = 100.0 - used
    printed = 0.427 * s * (1 - (made.ethanol / 101.6) ** 1.95) / (0.245 + s)
    for left, mine, theirs in zip(s[0], ours[0], printed[0]):
        published.check(
            f"specific growth rate with {left:.3g} g/L of sugar left [1/h]", mine, theirs, 1e-6 * theirs,
            source="Warren, Hill & Macdonald, Biotechnol. Prog. 6 (1990) 319", verification="memory",
        )  # fmt: skip


@pytest.mark.parametrize(
    ("structure", "source"),
    [(MONOD, "Monod, Annu. Rev. Microbiol. 3 (1949) 371"), (CONTOIS, "Contois, J. Gen. Microbiol. 21 (1959) 40")],
)
def test_the_rate_is_half_at_the_half_saturation(published, structure, source):
    """Monod's constant is a sugar; Contois' grows with the yeast, and equals Monod's at 5 g/L of it."""
    p = told(ethanol_limit=1e9, nitrogen=1e9, half_saturation=1.0, tail=1.0, late_pace=1.0)
    used = np.array([[50.0, 99.0]])
    x = products(structure, p, used).yeast
    k = 1.0 if structure is MONOD else x / 5.0
    shares = uptake(structure, p, used)[0] * p["yield"] / p["growth rate"] / x
    for share, expected in zip(shares[0], ((100 - used) / (k + 100 - used))[0]):
        published.check("share of the fastest uptake [-]", share, expected, 1e-6, source=source, verification="memory")


@pytest.mark.parametrize(
    ("structure", "source"),
    [(MONOD, "Levenspiel, Biotechnol. Bioeng. 22 (1980) 1671"), (LUONG, "Luong, Biotechnol. Bioeng. 27 (1985) 280")],
)
def test_uptake_ends_at_the_limit_of_ethanol(published, structure, source):
    """Both inhibitions are zero at their limit and nearly one without ethanol."""
    p = told(ethanol_limit=30.0, nitrogen=1e6)
    top = most_used(structure, p)
    published.check(
        "ethanol when uptake ends [g/L]", float(products(structure, p, top).ethanol[0, 0]), 30.0, 1e-6, source=source,
        verification="memory",
    )  # fmt: skip
    last, first = (float(uptake(structure, p, top * share)[0][0, 0]) for share in (1 - 1e-9, 0.0))
    assert last < 1e-3 * first


def test_cardinal_temperatures(published):
    """The model with 5, 20 and 30 °C, as a published table has it; 0 at both ends, 1 and flat at the best."""
    at = np.array([5, 10, 15, 20, 22, 25, 29, 30.0])
    table = [0, 0.33333333, 0.8, 1.0, 0.9633333, 0.76190476, 0.19692308, 0]
    for warm, ours, theirs in zip(at, warmth(at, (5.0, 20.0, 30.0)), table):
        published.check(
            f"growth at {warm:g} °C over that at the best [-]", ours, theirs, 1e-7,
            source="Rosso et al., J. Theor. Biol. 162 (1993) 447, table of drtreimer.com/macrogrow, T_lim",
            verification="read",
        )  # fmt: skip
    assert np.gradient(warmth([32.29, 32.3, 32.31]))[1] == pytest.approx(0, abs=1e-4)


def test_density_moves_as_the_tables_say(published):
    """A gram per litre of sugar, or of ethanol, moves the density as the published equations do, to 4 %."""
    water = float(sucrose_density(0.0, 20.0))
    rho = float(sucrose_density(0.1, 20.0))
    published.check(
        "density by sugar [g/mL per g/L]", BY_SUGAR, (rho - water) / (0.1 * rho) / 1000 / 1.0526, 0.04 * BY_SUGAR,
        source="Laliberté, J. Chem. Eng. Data 54 (2009) 1725", verification="computed",
    )  # fmt: skip
    rho = float(ethanol_density(0.05, 20.0))
    published.check(
        "density by ethanol [g/mL per g/L]", BY_ETHANOL, (rho - water) / (0.05 * rho) / 1000, 0.04 * abs(BY_ETHANOL),
        source="OIML R 22 (1975)", verification="computed",
    )  # fmt: skip


MEASURED = """
0,3.12,4.14,4.22,14.71,14.88,13.24,107.72,107.98,98.04
8,10.96,5.22,11.55,11.43,13.96,10.92,100.25,108.55,97.8
16,34.38,15.95,33.37,3.83,8.63,3.79,55.67,82.75,56.24
24,55.97,42.57,56.18,1.87,2.51,0,11.47,34.84,7.86
32,58.28,55.79,59.59,1.65,0,0,7.9,5.63,6.36
40,58.66,59.23,57.97,0,0,0,5.53,3.32,5.81
48,57,57.25,61,1.5,0,0,5.45,2.76,4.85
56,57.17,57.93,57.46,1.45,0,0,5.36,2.8,4.1
64,59.78,58.58,58.76,1.5,0,0,4.67,2.78,4.27
72,58.86,61.23,61.13,1.45,0,0,4.08,1.7,3.21
"""
"""Three measured batches of agave juice with S. cerevisiae: hours, then ethanol, glucose, fructose [g/L] of each."""

SOURCE = (
    "Valle et al., BEER 2024; data.csv of github.com/DrPaulValle/Modelling-Saccharomyces-cerevisiae-for-the-production-"
    "of-fermented-beverages-BEER-2024-, commit 34b0d82, BSD-2-Clause"
)
U_SUGAR, U_ETHANOL = (0.5, 0.03), (0.5, 0.03)
"""± of a reading: a fixed part [g/L] and a share; common practice for chromatography, the source tells none."""


def measured(batch):
    """Hours, sugar, ethanol made since the first reading [g/L], and their ±."""
    rows = np.array([[float(x) for x in row.split(",")] for row in MEASURED.split()])
    sugar, ethanol = rows[:, 4 + batch] + rows[:, 7 + batch], rows[:, 1 + batch]
    u = [fixed + share * level for (fixed, share), level in ((U_SUGAR, sugar), (U_ETHANOL, ethanol))]
    return rows[:, 0], sugar, ethanol - ethanol[0], *u


def fitted(batch, readings):
    """The batch fitted to its first sugar readings; its inoculum is not told in the source."""
    hours, sugar, _, u, _ = measured(batch)
    known = {"sugar": (float(sugar[0]), 4.0), "inoculum": (1.0, 0.8)}
    return fit_batch([series("sugar", hours[:readings], sugar[:readings], u[:readings])], known, liquid_L=1.0)


def within(published, what, value, u, low, high):
    """A measured value inside a band that carries its own ± besides: at 95 %."""
    middle, half = (low + high) / 2, (high - low) / 2
    published.check(what, middle, value, half + 1.96 * u, source=SOURCE, verification="read")


@pytest.mark.parametrize("batch", [0, 1, 2])
def test_a_day_of_sugar_foretells_two_more(published, batch):
    """From the sugar of the first 24 hours the band of the next 48 holds what was measured then."""
    hours, sugar, _, u, _ = measured(batch)
    band = fitted(batch, 4).at(hours[4:]).sugar
    for i, hour in enumerate(hours[4:]):
        what = f"agave juice {batch + 1}: sugar at {hour:g} h [g/L]"
        within(published, what, sugar[4 + i], u[4 + i], band[1][i], band[2][i])


@pytest.mark.parametrize("batch", [0, 1, 2])
def test_sugar_foretells_the_alcohol(published, batch):
    """From sugar alone the band of the alcohol holds what was measured, in each batch whose alcohol can be: one of the
    three reports more than the 0.511 g that a gram of sugar can give (Gay-Lussac)."""
    hours, sugar, ethanol, _, u = measured(batch)
    if ethanol[-1] > 0.5114 * (sugar[0] - sugar[-1]):
        assert batch == 2
        return
    band = fitted(batch, 10).at(hours[1:]).alcohol
    for i, hour in enumerate(hours[1:]):
        what = f"agave juice {batch + 1}: alcohol at {hour:g} h [g/L]"
        within(published, what, ethanol[1 + i], u[1 + i], band[1][i], band[2][i])
