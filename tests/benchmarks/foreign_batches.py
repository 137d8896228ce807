"""Batches with a known truth, from a generator of its own: it shares no constant and no formula with the estimate.

Yields and losses are drawn uniformly over ranges at least 1.1 times as wide as what is possible of the usual ones (a
test checks that); two batches of five are stuck with up to 40 % of their sugar; up to 1 % of the carbon ends in
products that the method does not know. Yeast has no fixed formula, acids are acetic, lactic and succinic, and the
density knows them.
"""

import numpy as np

RANGES = {
    "yeast": (0.005, 0.138),  # g/g hexose used
    "glycerol": {"ammonium": (7.7, 13.3), "amino": (3.8, 8.3), "mixture": (3.5, 13.5)},  # mmol/g dry yeast
    "acids": (0.0, 0.033),  # of the used sugar's carbon
    "sugar left": (0.0, 0.40),  # of the sugar, where the batch is stuck
    "sugar left, used up": (0.0, 0.05),
    "unknown": (0.0, 0.01),  # of the used sugar's carbon
    "oxygen": (0.0, 1.1),  # of the oxygen in the vessel's air
    "ash": (0.048, 0.0815),
    "stripped": (0.0, 0.022),
    "leak": (0.0, 0.044),
    "store": {"stopped": (0.86, 1.16), "running": (0.96, 1.85), "not stated": (0.85, 1.85)},
    "gas space": (0.67, 1.0),
    "inoculum": (0.0, 0.0445),  # g/g hexose, where none is told
    "carried": (0.0, 0.222),
    "harvested": (0.825, 0.99),
    "washed out": (0.0, 0.445),
    "extract": (0.325, 0.72),
}
STUCK = 0.4

SUGAR_G, LITRES, SPACE_L, SOLIDS_G = 144.8, 2.5, 0.5, 2.0
U_SUGAR, U_LITRES, U_SPACE, U_SOLIDS = 0.01, 0.012, 0.03, 0.1
READ = {
    "ethanol content": 0.15, "gas": 1.5, "jar weight": 1.0, "density": 1.5, "residual sugar": 1.0,
    "paste": 0.3, "extract": 0.2, "debris": 0.2,
}  # fmt: skip
"""The eight readings of a kitchen and the standard uncertainty of each: % vol, g, g, g, g/L, g, g, g."""


def draw(n, rng, *, nitrogen="mixture", state="not stated", stuck=STUCK, told_inoculum=None):
    """True amounts of n batches, as arrays."""

    def uniform(name, which=None):
        low, high = RANGES[name][which] if which else RANGES[name]
        return rng.uniform(low, high, n)

    t = {"sugar_fed": SUGAR_G * (1 + U_SUGAR * rng.standard_normal(n))}
    t["liquid"] = LITRES * (1 + U_LITRES * rng.standard_normal(n))
    t["space"] = SPACE_L * (1 + U_SPACE * rng.standard_normal(n))
    solids = SOLIDS_G * (1 + U_SOLIDS * rng.standard_normal(n))
    left = np.where(rng.random(n) < stuck, uniform("sugar left"), uniform("sugar left, used up"))
    t["sugar_left"] = left * t["sugar_fed"]
    t["sugar_used"] = used = t["sugar_fed"] - t["sugar_left"]
    t["yeast"] = uniform("yeast") * used
    hydrogen, oxygen, nitrogen_ = rng.uniform(1.75, 1.85, n), rng.uniform(0.47, 0.53, n), rng.uniform(0.17, 0.21, n)
    cell_g = 12.011 + 1.008 * hydrogen + 15.999 * oxygen + 14.007 * nitrogen_
    cells = t["yeast"] * (1 - uniform("ash")) / cell_g
    glycerol = uniform("glycerol", nitrogen) * t["yeast"] / 1000
    hexose = used / 180.156
    acids = 6 * hexose * uniform("acids")
    unknown, gives = 6 * hexose * uniform("unknown"), rng.uniform(3.0, 5.0, n)
    air = 0.2095 * (t["space"] * 0.982 / 24.79 + 0.0013 * t["liquid"] * 0.982)
    t["oxygen_mol"] = uniform("oxygen") * air
    split = rng.dirichlet((1, 1, 1), n) * acids[:, None]  # carbon in acetic, lactic, succinic acid
    acid_electrons = 4 * split[:, 0] + 4 * split[:, 1] + 3.5 * split[:, 2]
    cell_electrons = cells * (4 + hydrogen - 2 * oxygen - 3 * nitrogen_)
    electrons = 24 * hexose - cell_electrons - 14 * glycerol - acid_electrons - gives * unknown - 4 * t["oxygen_mol"]
    ethanol = electrons / 12
    co2 = 6 * hexose - cells - 3 * glycerol - acids - unknown - 2 * ethanol
    t |= {"ethanol": ethanol * 46.068, "co2": co2 * 44.01, "glycerol": glycerol * 92.09, "acids": acids * 30.03}
    t["oxygen"] = t["oxygen_mol"] * 32.0
    t["stripped"] = uniform("stripped") * t["ethanol"]
    t["co2_in_liquid"] = uniform("store", state) * 1.45 * t["liquid"]
    t["co2_in_gas_space"] = uniform("gas space") * 1.74 * t["space"]
    t["co2_out"] = t["co2"] - t["co2_in_liquid"] - t["co2_in_gas_space"]
    t["co2_lost"] = uniform("leak") * (t["co2"] - t["co2_in_liquid"])
    t["inoculum"] = uniform("inoculum") * SUGAR_G if told_inoculum is None else np.full(n, told_inoculum)
    dry = t["inoculum"] + t["yeast"] + uniform("carried") * solids
    t["paste"] = uniform("harvested") * dry
    t["losses"] = dry - t["paste"]
    t["washings"] = uniform("washed out") * t["paste"]
    rest = t["paste"] - t["washings"]
    t["extract"] = uniform("extract") * rest
    t["debris"] = rest - t["extract"]
    return t


def read(t, rng):
    """What the eight readings show of the truth, each with its error: name to array."""
    n = len(t["co2"])
    water = rng.uniform(0.005, 0.018, n) * t["co2_out"]
    air = t["space"] * 1.15 * rng.uniform(0.67, 1.0, n)
    acids = 0.25 * t["acids"]
    seen = 0.3865 * t["sugar_used"] + 0.181 * (t["ethanol"] - t["stripped"]) - 0.2 * t["glycerol"] - acids
    shown = {
        "ethanol content": (t["ethanol"] - t["stripped"]) / t["liquid"] / 7.893,
        "gas": t["co2"] - t["co2_in_liquid"] - t["co2_lost"],
        "jar weight": t["co2_out"] + water + air + t["stripped"],
        "density": seen,
        "residual sugar": t["sugar_left"] / t["liquid"],
        "paste": t["paste"],
        "extract": t["extract"],
        "debris": t["debris"],
    }
    return {name: value + READ[name] * rng.standard_normal(n) for name, value in shown.items()}
