"""The feeding held to a mechanistic model of baker's yeast that shares nothing with it."""

import numpy as np
import pytest

from fermkit.batch.feeding import SIGN_PCT_VOL, STEP_H, feeding

SOURCE = (
    "Sonnleitner & Käppeli, Biotechnol. Bioeng. 28 (1986) 927: limited respiratory capacity; qs,max 3.5 g/(g h), "
    "qO2,max 8 mmol/(g h), Ks 0.1 g/L, 0.49 g/g respired and 0.05 g/g fermented (from memory)"
)


def fed(times, *, inoculum_g=2.0, oxygen_mmol_L_h=60.0, liquid_L=2.0, sugar_g=80.0):
    """Highest alcohol [% vol] in a batch that is fed `times` the schedule, by Euler's rule at 3.6 s."""
    respired_mmol_per_g = 1000 * (24 - 0.49 * 180.16 / 24.6 * 4.2) / 4 / 180.16
    ceiling = oxygen_mmol_L_h * liquid_L / respired_mmol_per_g
    rows = feeding(sugar_g, inoculum_g, ceiling).rows
    x, s, e, most, dt = inoculum_g / liquid_L, 0.0, 0.0, 0.0, 0.001
    for t in np.arange(0, rows[-1][0] + STEP_H, dt):
        s += times * rows[min(int(t / STEP_H), len(rows) - 1)][1] / liquid_L * dt
        uptake = 3.5 * s / (0.1 + s) * x
        air = min(8.0 * x, oxygen_mmol_L_h)
        respired = min(uptake, air / respired_mmol_per_g)
        fermented = uptake - respired
        spare = air - respired * respired_mmol_per_g
        eaten = min(spare / (1000 * (12 - 0.6 * 46.07 / 24.6 * 4.2) / 4 / 46.07), 0.3 * x * e / (0.1 + e))
        s = max(s - uptake * dt, 0.0)
        e = max(e + (0.48 * fermented - eaten) * dt, 0.0)
        x += (0.49 * respired + 0.05 * fermented + 0.6 * eaten) * dt
        most = max(most, e / 7.89)
    return most


def test_yeast_fed_by_the_schedule_makes_no_alcohol_worth_telling(published):
    """By the model the alcohol stays below the sign of too much, through the exponential part and at the ceiling."""
    published.check("most alcohol by the schedule [% vol]", fed(1.0), 0.0, SIGN_PCT_VOL, source=SOURCE,
                    verification="computed")  # fmt: skip


@pytest.mark.parametrize("times", [1.7, 2.5])
def test_yeast_fed_faster_shows_the_sign(times):
    """At nearly twice the pace the same model passes the sign."""
    assert fed(times) > SIGN_PCT_VOL
