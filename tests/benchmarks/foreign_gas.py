"""Gas of three kinds of run that follow none of the curves and none of the rules by which the gas is read.

Invented constants, drawn anew for each run; nothing is imported from the library. The kinds differ in structure:

* waking: cells wake one after another (Weibull), Monod uptake, alcohol slows in proportion;
* memory: the adaptation of Baranyi and Roberts (1994), Contois uptake, alcohol slows by a power;
* delayed: the inoculum comes late, Monod uptake, nitrogen ends the growth before the sugar ends.

CO2 first fills the liquid and leaves it in proportion to what is too much in it, so gas ends later than sugar does.
"""

import numpy as np

KINDS = ("waking", "memory", "delayed")
STEP_H = 0.01
LONGEST_H = 60.0


def runs(kind, count, rng, hours=LONGEST_H, step=STEP_H):
    """Times (n,) and gas released (n, count), its last level one; the sugar's own time of 99 % (count,)."""
    mu, yield_, sugar0 = rng.uniform(0.18, 0.45, count), rng.uniform(0.07, 0.16, count), rng.uniform(40, 140, count)
    yeast = rng.uniform(0.15, 1.5, count)
    half, most = rng.uniform(0.5, 6.0, count), rng.uniform(80, 160, count)
    power, keep = rng.uniform(0.5, 2.0, count), rng.uniform(0.05, 0.35, count)
    wake, late = rng.uniform(1.0, 6.0, count), rng.uniform(1.0, 9.0, count)
    memory, nitrogen = rng.uniform(0.02, 0.8, count), rng.uniform(2.5, 9.0, count)
    leaving, room = rng.uniform(1.5, 6.0, count), rng.uniform(0.6, 1.3, count)
    sugar, dissolved, gas = sugar0.copy(), np.zeros(count), np.zeros(count)
    time = np.arange(0.0, hours + step / 2, step)
    out, used = np.empty((time.size, count)), np.empty((time.size, count))
    for i, t in enumerate(time):
        out[i], used[i] = gas, 1 - sugar / sugar0
        alcohol = 0.47 * (sugar0 - sugar)
        if kind == "waking":
            active, share = 1 - np.exp(-((t / wake) ** 2)), sugar / (half + sugar)
            slowed = np.maximum(1 - alcohol / most, 0.0)
        elif kind == "memory":
            active, share = memory / (1 + memory), sugar / (0.4 * half * yeast + sugar)
            slowed = np.maximum(1 - alcohol / most, 0.0) ** power
            memory = memory * np.exp(mu * step)
        else:
            active, share = 1.0 * (t >= late), sugar / (half + sugar)
            slowed = np.maximum(1 - (alcohol / most) ** 2, 0.0)
        growth = mu * active * share * slowed * yeast
        if kind == "delayed":
            growth = growth * (nitrogen > 0)
            nitrogen = nitrogen - growth * step
        eaten = np.minimum(growth / yield_ + keep * active * share * slowed * yeast * 4, sugar / step)
        yeast, sugar = yeast + growth * step, sugar - eaten * step
        dissolved = dissolved + 0.46 * eaten * step
        left = leaving * np.maximum(dissolved - room, 0.0) * step
        left = np.minimum(left, np.maximum(dissolved - room, 0.0))
        dissolved, gas = dissolved - left, gas + left
    ended = time[np.argmax(used >= 0.99, axis=0)]
    return time, out / out[-1], ended


def read(kind, gas, rng):
    """Readings of gas of one run (n,) in mL (3,000 in all), as an instrument gives them; and the word for its noise.

    kind: "scale" reads the mass lost with an error each time, "bubbles" counts bubbles of uneven size,
    "collector" errs a little with every emptying, so that the errors add up.
    """
    made = 3000.0 * gas
    if kind == "scale":
        return np.round(made + 6.0 * rng.normal(size=made.size), 1), "independent"
    steps = np.maximum(np.diff(made), 0.0)
    if kind == "bubbles":
        size, spread = 4.0, 0.3
        edges = np.cumsum(size * np.exp(spread * rng.normal(size=2000) - spread**2 / 2))
        return size * np.searchsorted(edges, made, side="right").astype(float), "accumulating"
    sd = np.sqrt(1.5**2 + (0.01 * steps) ** 2 * (steps > 0))
    return np.concatenate([[0.0], np.cumsum(steps + sd * rng.normal(size=steps.size))]), "accumulating"
