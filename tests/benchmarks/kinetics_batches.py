"""Batches of ten mechanisms that the batch in time does not know, with every true amount; invented, sources beside.

Nothing here is imported from the method, nor any constant: atomic weights, yeast formula, solubility and rates stand
here anew. Seven of them were looked at while the method took its second and its third form, so they are no witnesses of
it: `SEEN`. The last three were written after the third form was frozen, and nothing was changed on account of them.

What differs from the method, besides the numbers:

* two sugars: sucrose split by invertase (first order in yeast), glucose before fructose, excess-sugar inhibition
  (Haldane), cells waking through four stages, killed by alcohol; lactic acid and higher alcohols.
* quota: growth by the nitrogen inside the cell (Droop), transporters that are made and lost, maintenance, inhibition
  e^(−kE) (Aiba); lag by an enzyme that must first be made.
* logistic: logistic growth to a level of its own, alcohol by growth and by presence (Luedeking & Piret), uptake that
  ends by a sharp S²/(K² + S²), linear inhibition by the osmotic pressure of sugar; a lag that ends at one hour.
* cooling: the temperature falls (Arrhenius), a store of glycogen is filled and given back, growth limited by sterols
  that cells share out, Hill's uptake.
* souring: acetic acid slows all (undissociated, by its pH), a second strain with another rate takes over.
* sinking: yeast that flocculates and settles out of reach of the sugar, stirred up by the gas; maltose beside glucose.
* pool: sugar first fills a pool inside the cell, from which it is fermented (two steps); budding from a share of the
  cells; alcohol that stops growth before it stops fermenting.
* settled sugar: a part lies undissolved and dissolves slowly; uptake 1 − e^(−S/K) (Teissier), inhibition by alcohol
  squared and by CO2 held in the liquid; some of the yeast dies when it is wetted.
* ageing: newborn, mature and old cells; the pH falls and slows the pump that lets sugar in; alcohol does nothing below
  a threshold; growth shares out a vitamin.
* day and night: the temperature swings (square-root law) and nobody is told; uptake along two straight lines
  (Blackman), maintenance, a store of trehalose that is burnt while the yeast wakes.

The gas leaves by bubbles: slowly below a supersaturation, quickly above it, and quicker the more is made.
"""

import numpy as np
from scipy.integrate import solve_ivp

HEXOSE_G, ETHANOL_G, YEAST_E = 180.156, 46.068, 4.15
"""g/mol; electrons for each carbon of CH1.83O0.56N0.17 (Roels 1983): 4 + 1.83 − 1.12 − 0.51 = 4.20; here 4.15."""

LONG_H = 336.0
GRID = np.concatenate([np.linspace(0.0, 140.0, 2801), np.linspace(141.0, LONG_H, 196)])


def carbon_and_electrons(hexose, yeast_g, glycerol, acid_c, other_c, other_e, p):
    """Ethanol and CO2 [mol] that the rest of the sugar's carbon and electrons becomes; all in mol or mol of carbon."""
    yeast_c = yeast_g * p["yeast carbon"]
    ethanol = (24 * hexose - YEAST_E * yeast_c - 14 * glycerol - 4 * acid_c - other_e * other_c) / 12
    return ethanol, 6 * hexose - 2 * ethanol - yeast_c - 3 * glycerol - acid_c - other_c


def common(rng):
    """What all have: by-products, vessel, gas."""
    u = rng.uniform
    return {
        "liquid": u(0.8, 4.0), "sugar": u(50, 190), "inoculum": np.exp(u(np.log(0.4), np.log(6))), "warm": u(17, 32),
        "yeast carbon": u(0.0360, 0.0385), "glycerol": u(4.0, 13.0) / 1000, "acid": u(0.0, 0.025),
        "other": u(0.0, 0.01), "bubble slow": u(0.3, 1.5), "bubble quick": u(2.0, 8.0), "nucleates": u(1.02, 1.5),
        "space": u(0.1, 0.6),
    }  # fmt: skip


def gas_rates(p, made, held, flushed):
    """mol/(L h) that leave as bubbles; `held` mol/L in the liquid, `flushed` the share of CO2 above it."""
    rest = p["soluble"] * flushed
    over = held / max(p["soluble"], 1e-9)
    k = p["bubble slow"] + p["bubble quick"] / (1 + np.exp(-(over - p["nucleates"]) / 0.08)) + 20 * max(made, 0.0)
    return k * (held - rest)


def run(slopes, start, p):
    """A batch: (hours, sugar used, yeast, ethanol, CO2 made, gas left), per litre."""
    p["soluble"] = 0.0339 * np.exp(2400 * (1 / (p["warm"] + 273.15) - 1 / 298.15))  # Henry's law, Sander 2015
    above = p["space"] * 0.0405  # mol of gas above each litre

    def whole(t, y):
        mechanism, (held, out) = y[:-6], y[-2:]
        d, hexose, yeast, stored = slopes(t, mechanism, y[-6:], p)
        acid, other = 6 * hexose * p["acid"], 6 * hexose * p["other"]
        ethanol, co2 = carbon_and_electrons(
            hexose - stored / 162.14, yeast, p["glycerol"] * max(yeast, 0.0), acid, other, 6.2, p
        )
        left = gas_rates(p, co2, held, 1 - np.exp(-out / above))
        return [*d, hexose * HEXOSE_G, yeast + stored, ethanol * ETHANOL_G, co2, co2 - left, left]

    y0 = [*start, 0.0, p["inoculum"], 0.0, 0.0, 0.0, 0.0]
    found = solve_ivp(whole, (0, LONG_H), y0, "LSODA", GRID, rtol=1e-6, atol=1e-8, max_step=2.0)
    used, yeast, ethanol, made, _, out = found.y[-6:]
    return used, yeast, ethanol, made, out


def two_sugars(rng):
    """Sucrose, glucose, fructose; waking in stages; death."""
    p, u = common(rng), rng.uniform
    sucrose = p["sugar"] * u(0.5, 0.97)
    q, y, split = u(0.7, 2.6), u(0.05, 0.11), u(0.8, 5.0)
    kg, kf, ki, prefers = u(0.2, 1.5), u(0.5, 4.0), u(250, 700), u(0.3, 0.8)
    wake, most, deadly, n = 4 / np.exp(u(np.log(0.7), np.log(7))), u(80, 120), u(0.0, 3e-6), u(0.7, 2.2)

    def slopes(t, m, s, p):
        suc, glu, fru, a1, a2, a3, a4, alive = np.maximum(m, 0.0)
        e = max(s[2], 0.0)
        awake = 1 - min(a1 + a2 + a3 + a4, 1.0)
        slowed = max(1 - (e / most), 0.0) ** n / (1 + (glu + fru) / ki)
        vg = q * alive * awake * glu / (kg + glu) * slowed
        vf = prefers * q * alive * awake * fru / (kf + fru + 0.3 * glu) * slowed
        inverted = split * alive * suc / (suc + 8.0)
        grown = y * (vg + vf)
        d = [-inverted, 0.526 * inverted - vg, 0.526 * inverted - vf, -wake * a1, wake * (a1 - a2), wake * (a2 - a3),
             wake * (a3 - a4), grown - deadly * e**2 * alive]  # fmt: skip
        return d, (vg + vf) / HEXOSE_G, grown, 0.0

    rest = p["sugar"] - sucrose
    return run(slopes, [sucrose / 1.0526, rest / 2, rest / 2, 1.0, 0, 0, 0, p["inoculum"]], p), p


def quota(rng):
    """Nitrogen inside the cell; transporters made and lost; an enzyme that must be made first."""
    p, u = common(rng), rng.uniform
    low, high = u(0.03, 0.045), u(0.08, 0.10)
    p["nitrogen"] = u(0.15, 1.2)
    q, y, k, slow, keep = u(0.8, 2.8), u(0.07, 0.12), u(0.3, 4.0), u(0.004, 0.022), u(0.005, 0.03)
    make, lose, enzyme = u(0.15, 0.6), u(0.01, 0.06), u(0.02, 0.4)

    def slopes(t, m, s, p):
        sugar, n_out, n_in, carriers, adapted = np.maximum(m, 0.0)
        x, e = s[1], max(s[2], 0.0)
        content = n_in / x
        v = q * x * carriers * adapted * sugar / (k + sugar) * np.exp(-slow * e)
        limit = max(1 - low / max(content, 1e-6), 0.0) / (1 - low / high)
        grown = y * max(v - keep * x, 0.0) * min(limit, 1.0)
        taken = 0.03 * x * n_out / (n_out + 0.01) * max(1 - content / high, 0.0) * adapted
        d = [-v, -taken, taken, make * limit * (1 - carriers) - lose * (1 - limit) * carriers,
             0.35 * adapted * (1 - adapted) + 0.02 * (1 - adapted)]  # fmt: skip
        return d, v / HEXOSE_G, grown, 0.0

    return run(slopes, [p["sugar"], p["nitrogen"], 0.07 * p["inoculum"], 0.7, enzyme], p), p


def logistic(rng):
    """Logistic growth; alcohol by growth and by presence; a sharp end."""
    p, u = common(rng), rng.uniform
    mu, top = u(0.08, 0.4), u(3, 12) + p["inoculum"]
    growth, presence, k, osmotic, starts = u(4.0, 9.0), u(0.25, 1.2), u(0.5, 4.0), u(350, 900), u(0.3, 9.0)

    def slopes(t, m, s, p):
        sugar = max(m[0], 0.0)
        x = s[1]
        there = sugar**2 / (k**2 + sugar**2) * (1 - sugar / osmotic) / (1 + np.exp(-(t - starts) / 0.35))
        grown = mu * x * (1 - x / top) * there
        v = growth * grown + presence * x * there
        return [-v], v / HEXOSE_G, grown, 0.0

    return run(slopes, [p["sugar"]], p), p


def cooling(rng):
    """A falling temperature, glycogen, sterols shared out, Hill's uptake."""
    p, u = common(rng), rng.uniform
    q, y, k, hill = u(0.9, 2.6), u(0.07, 0.13), u(0.5, 5.0), u(1.2, 2.0)
    sterol, most, falls, when, energy = u(4, 30), u(85, 125), u(0.0, 6.0), u(8, 30), u(5500, 8500)
    fills, gives, wake, share = u(0.01, 0.05), u(0.01, 0.08), u(0.15, 1.5), u(0.02, 0.6)

    def slopes(t, m, s, p):
        sugar, glycogen, cells, awake = np.maximum(m, 0.0)
        e = max(s[2], 0.0)
        kelvin = p["warm"] + 273.15 - falls / (1 + np.exp(-(t - when) / 2.0))
        pace = np.exp(-energy * (1 / kelvin - 1 / (p["warm"] + 273.15)))
        v = pace * q * cells * awake * sugar**hill / (k**hill + sugar**hill) * max(1 - e / most, 0.0)
        shared = p["inoculum"] * sterol / cells
        grown = y * v * shared**2 / (1 + shared**2)
        filled = fills * v - gives * pace * glycogen * (sugar < 5.0)
        hexose = v / HEXOSE_G
        return [-v, filled, grown, wake * awake * (1 - awake) + 0.01 * (1 - awake)], hexose, grown, filled

    return run(slopes, [p["sugar"], 0.0, p["inoculum"], share], p), p


def souring(rng):
    """Acetic acid slows; a second strain takes over."""
    p, u = common(rng), rng.uniform
    qa, qb, y, k = u(0.7, 2.0), u(0.8, 2.8), u(0.06, 0.11), u(0.2, 3.0)
    p["acid"] = u(0.005, 0.03)
    sour, slow, few, lag_a, lag_b = u(1.5, 6.0), u(70, 115), u(0.02, 0.3), u(0.3, 6.0), u(0.5, 9.0)

    def slopes(t, m, s, p):
        sugar, a, b = np.maximum(m, 0.0)
        e, acid = max(s[2], 0.0), 60.05 * s[0] / HEXOSE_G * 3 * p["acid"]
        slowed = max(1 - (e / slow) ** 2, 0.0) / (1 + acid / sour * 0.6)
        there = sugar / (k + sugar) * slowed
        va, vb = qa * a * there * (1 - np.exp(-t / lag_a)), qb * b * there * t**3 / (t**3 + lag_b**3)
        d = [-(va + vb), y * va, 0.9 * y * vb]
        return d, (va + vb) / HEXOSE_G, y * va + 0.9 * y * vb, 0.0

    return run(slopes, [p["sugar"], p["inoculum"] * (1 - few), p["inoculum"] * few], p), p


def sinking(rng):
    """Yeast that settles and is stirred up again; glucose, then maltose after a pause."""
    p, u = common(rng), rng.uniform
    q, y, kg, km, second = u(0.8, 2.4), u(0.05, 0.11), u(0.1, 1.0), u(1.0, 6.0), u(0.4, 0.9)
    first, settle, stir, deep = u(0.4, 0.9), u(0.005, 0.05), u(0.1, 0.8), u(0.25, 0.6)
    slow, power, wake, induce = u(85, 120), u(0.8, 1.6), u(0.3, 2.0), u(0.5, 3.0)

    def slopes(t, m, s, p):
        glucose, maltose, up, down, ready, able = np.maximum(m, 0.0)
        room = max(1 - s[2] / slow, 0.0) ** power
        reach = (up + deep * down) * ready * room
        vg = q * reach * glucose / (kg + glucose)
        vm = second * q * reach * able * maltose / (km + maltose)
        grown = y * (vg + 0.9 * vm)
        gas = 0.0108 * (vg + vm)
        d = [-vg, -vm, grown - settle * up + stir * gas * 20 * down, settle * up - stir * gas * 20 * down,
             (1 - ready) / wake * (t > 0.3), (1 - able) / induce * (glucose < 8.0)]  # fmt: skip
        return d, (vg + vm) / HEXOSE_G, grown, 0.0

    start = [first * p["sugar"], (1 - first) * p["sugar"], p["inoculum"], 0.0, 0.0, 0.15]
    return run(slopes, start, p), p


def pool(rng):
    """A pool of sugar inside; a share of cells that bud; growth stops at less alcohol than fermenting."""
    p, u = common(rng), rng.uniform
    p["nitrogen"] = u(0.3, 1.2)
    take, burn, k, inner = u(1.0, 2.8), u(0.9, 2.4), u(0.1, 2.5), u(0.03, 0.12)
    y, stops, ends, rest, bud = u(0.07, 0.12), u(45, 80), u(90, 130), u(0.02, 0.3), u(0.2, 1.2)

    def slopes(t, m, s, p):
        outside, inside, budding, nitrogen = np.maximum(m, 0.0)
        x, e = s[1], max(s[2], 0.0)
        content = inside / x
        v_in = take * x * budding * outside / (k + outside) * max(1 - content / 0.25, 0.0)
        v = burn * x * budding * content / (inner + content) / (1 + np.exp((e - ends) / 6.0))
        fed = nitrogen / (nitrogen + 0.02)
        grown = y * v * fed / (1 + np.exp((e - stops) / 5.0))
        d = [-v_in, v_in - v, bud * budding * (1 - budding) - 0.01 * (1 - fed) * budding, -0.075 * grown]
        return d, v / HEXOSE_G, grown, 0.0

    return run(slopes, [p["sugar"], 0.0, rest, p["nitrogen"]], p), p


def settled_sugar(rng):
    """Sugar that dissolves slowly; Teissier's uptake; CO2 in the liquid slows; some cells die at once."""
    p, u = common(rng), rng.uniform
    lies, dissolves, k = u(0.0, 0.6), u(0.1, 0.8), u(1.0, 8.0)
    q, y, alive, wakes = u(0.8, 2.6), u(0.05, 0.11), u(0.6, 0.98), np.exp(u(np.log(0.4), np.log(4)))
    stops, heavy, dies = u(70, 115), u(0.0, 0.4), u(0.0, 0.01)

    def slopes(t, m, s, p):
        solid, sugar, able, awake = np.maximum(m, 0.0)
        held, e = max(s[4], 0.0) / max(p["soluble"], 1e-9), max(s[2], 0.0)
        enters = dissolves * solid ** (2 / 3)
        slowed = np.exp(-((e / stops) ** 2) * 1.8) / (1 + heavy * max(held - 1.0, 0.0))
        v = q * able * awake * (1 - np.exp(-sugar / k)) * slowed
        grown = y * v
        return [-enters, enters - v, grown - dies * able * e / 50, (1 - awake) / wakes], v / HEXOSE_G, grown, 0.0

    start = [lies * p["sugar"], (1 - lies) * p["sugar"], alive * p["inoculum"], 0.02]
    return run(slopes, start, p), p


def ageing(rng):
    """Three ages of cells; pH and its pump; a threshold of alcohol; a vitamin shared out."""
    p, u = common(rng), rng.uniform
    q, y, k, slow_young, slow_old = u(0.9, 2.8), u(0.06, 0.12), u(0.2, 2.5), u(0.2, 0.7), u(0.1, 0.6)
    ripens, ages, buffer, sour = u(0.3, 1.2), u(0.01, 0.05), u(8, 40), u(0.2, 1.2)
    free, most, vitamin, wakes = u(15, 45), u(95, 140), u(3, 25), u(0.25, 1.6)

    def slopes(t, m, s, p):
        sugar, young, mature, old, awake = np.maximum(m, 0.0)
        e, used = max(s[2], 0.0), max(s[0], 0.0)
        pump = 1 / (1 + sour * (used / (used + buffer)) ** 2)
        slowed = min(1.0, max(1 - (e - free) / (most - free), 0.0))
        v = q * (slow_young * young + mature + slow_old * old) * awake * pump * slowed * sugar / (k + sugar)
        share = vitamin * p["inoculum"] / (young + mature + old)
        grown = y * v * share / (0.5 + share)
        d = [-v, grown - ripens * young, ripens * young - ages * mature, ages * mature,
             wakes * awake * (1 - awake) + 0.01 * (1 - awake)]  # fmt: skip
        return d, v / HEXOSE_G, grown, 0.0

    start = [p["sugar"], 0.0, 0.8 * p["inoculum"], 0.2 * p["inoculum"], u(0.05, 0.5)]
    return run(slopes, start, p), p


def day_and_night(rng):
    """A temperature that swings untold; two straight lines of uptake; maintenance; trehalose burnt while it wakes."""
    p, u = common(rng), rng.uniform
    q, y, k, keep = u(0.9, 2.4), u(0.07, 0.13), u(2.0, 12.0), u(0.005, 0.04)
    swing, phase, cold = u(0.5, 4.0), u(0, 2 * np.pi), u(2, 8)
    store, burns, ends, power = u(0.03, 0.12), u(0.2, 1.0), u(85, 125), u(0.8, 2.5)

    def slopes(t, m, s, p):
        sugar, reserve = np.maximum(m, 0.0)
        x, e = s[1], max(s[2], 0.0)
        warm = p["warm"] + swing * np.sin(2 * np.pi * t / 24 + phase)
        pace = ((warm - cold) / (p["warm"] - cold)) ** 2
        ready = 1 - reserve / (store * p["inoculum"])
        v = pace * q * x * (0.01 + ready) * min(1.0, sugar / k) * max(1 - (e / ends) ** power, 0.0)
        grown = y * max(v - keep * x * min(1.0, sugar), 0.0)
        return [-v, -burns * pace * reserve * (0.15 + ready)], v / HEXOSE_G, grown, 0.0

    return run(slopes, [p["sugar"], store * p["inoculum"]], p), p


SEEN = {"two sugars": two_sugars, "quota": quota, "logistic": logistic, "cooling": cooling, "souring": souring,
        "sinking": sinking, "pool": pool}  # fmt: skip
WITNESSES = {"settled sugar": settled_sugar, "ageing": ageing, "day and night": day_and_night}
MECHANISMS = SEEN | WITNESSES
