"""Does a plan hold what then happens? Batches of the mechanistic model against their plans.

Prints, for each amount of nitrogen, how often the yeast ended inside the plan's range, and how often ethanol and
CO2 within two standard uncertainties, for batches that used their sugar up.
"""

import sys

import numpy as np

from fermkit.basis.written import nominal, uncertainty
from fermkit.batch.plan import plan_batch
from fermkit.matter.feed import feed
from fermkit.teach.fermentation import Batch, ferment
from fermkit.teach.kitchen import drawn_strain


def study(batches: int = 300, seed: int = 20260302) -> None:
    """Print the table."""
    rng = np.random.default_rng(seed)
    print(f"{'usable N, g':>12} {'yeast in range':>15} {'used up':>8} {'ethanol in 2 u':>15} {'CO2 in 2 u':>11}")
    for nitrogen_g in (0.3, 0.6, 1.0, 2.0, 3.0):
        inside, ethanol, co2 = [], [], []
        for _ in range(batches):
            sugar_g, yeast_g, strain = rng.uniform(60, 180), rng.uniform(3, 10), drawn_strain(rng)
            batch = Batch(
                sucrose_g=sugar_g,
                hexose_g=0.0,
                nitrogen_g=nitrogen_g,
                yeast_g=yeast_g,
                hours=96.0,
                strain=strain,
            )
            made = ferment(batch, points=31).amounts
            salts = {"usable nitrogen": nitrogen_g / 20, "nitrogen": nitrogen_g / 20, "phosphorus": 0.2, "sulfur": 0.2}
            own = {"sugar": {"sucrose": 1.0}, "salts": salts, "yeast": {"yeast": 1.0}}
            mash = feed({"sugar": sugar_g, "salts": 20.0, "yeast": yeast_g}, own)
            plan = plan_batch(mash, liquid_L=2.0, temperature_C=28.0)
            low, high = (nominal(end) for end in plan.yeast_range_g)
            inside.append(low <= made["yeast grown"] <= high)
            if made["residual sugar"] < 1.0:
                for found, true, out in (
                    (plan.fate.ethanol_g, made["ethanol made"], ethanol),
                    (plan.fate.co2_g, made["CO2 made"], co2),
                ):
                    out.append(abs(nominal(found) - true) <= 2 * uncertainty(found))
        cells = [f"{100 * np.mean(x):.1f} %" if x else "-" for x in (inside, ethanol, co2)]
        print(f"{nitrogen_g:12.1f} {cells[0]:>15} {len(ethanol):8d} {cells[1]:>15} {cells[2]:>11}")


if __name__ == "__main__":
    study(*map(int, sys.argv[1:]))
