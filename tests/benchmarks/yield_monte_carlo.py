"""Is the ± of a yield what the raw files say? Every number of a run is drawn anew within its stated error.

    python tests/benchmarks/yield_monte_carlo.py [DRAWS]

The settings of the run file ("a ± u"), the readings of scales, collector and sensor, the volumes of the ledger and the
dilutions are drawn, the whole analysis is run on each draw, and the spread of the yields is set beside the ± that one
analysis states for the same acts. What is assumed and not read (by-products, CO2 held in the liquid …) is left out
on both sides. Yields are always those of the reconciled amounts: a draw has its error twice, once from the kitchen and
once from here, so that it alarms more often than a run, and would then fall back on the amounts as measured.
"""

import csv
import re
import sys
import tomllib
from pathlib import Path

import numpy as np
from joblib import Parallel, delayed

RUN = Path(__file__).resolve().parents[2] / "sample_data" / "jar_3_closes"
ASSUMED = ("not measured", "held in the liquid", "displacement water", "ash of the yeast", "carried out", "adding up",
           "residual sugar", "air in the vessel", "against the standards", "vapour rises")  # fmt: skip
KEPT = ("instruments", "residual_sugar")  # applied to all readings; would be drawn below zero
YIELDS = ("yeast_yield", "ethanol_yield", "co2_yield")
QUANTITY = re.compile(r"^(-?\d+(?:\.\d+)?) ± (\d+(?:\.\d+)?)( .*)?$")


def raw():
    """Settings and tables as they stand in the files."""
    settings = tomllib.loads((RUN / "run.toml").read_text(encoding="utf-8"))
    tables = {}
    for path in RUN.glob("*.csv"):
        rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
        tables[path.stem] = {title: [row[i] for row in rows[1:]] for i, title in enumerate(rows[0])}
    return settings, tables


def redrawn(value, rng):
    """Every "a ± u unit" in nested settings with another a."""
    if isinstance(value, dict):
        return {key: part if key in KEPT else redrawn(part, rng) for key, part in value.items()}
    if isinstance(value, list):
        return [redrawn(part, rng) for part in value]
    found = QUANTITY.match(value) if isinstance(value, str) else None
    if not found:
        return value
    middle, u = float(found[1]), float(found[2])
    drawn = middle + u * rng.standard_normal()
    if middle <= 100 and (found[3] or "").strip() == "%":  # no share is above the whole
        drawn = min(drawn, 100.0)
    return f"{drawn:.8f} ± {found[2]}{found[3] or ''}"


def moved(cells, steps):
    """Readings shifted, empty and unread cells left alone."""
    out = []
    for cell, step in zip(cells, steps):
        try:
            out.append(f"{float(cell) + step:.8f}")
        except ValueError:
            out.append(cell)
    return out


def one_draw(seed, scatter):
    """The yields of one draw."""
    from fermkit.run.analysis import analyse
    from fermkit.run.records import run_from

    rng = np.random.default_rng(seed)
    settings, tables = raw()
    settings = redrawn(settings, rng)

    def noise(cells, sd):
        return sd * rng.standard_normal(len(cells))

    gas = tables["gas"]["volume [mL]"]
    tables["gas"]["volume [mL]"] = moved(gas, noise(gas, 3.0) + np.cumsum(noise(gas, 6.0)) - 0.0)
    jar = tables["jar_weight"]["weight [g]"]
    tables["jar_weight"]["weight [g]"] = moved(jar, noise(jar, 0.5))
    for name in ("standards", "samples"):
        tables[name]["signal [V]"] = moved(tables[name]["signal [V]"], noise(tables[name]["signal [V]"], scatter))
    by_dilution = {}
    for i, (sample, dilution) in enumerate(zip(tables["samples"]["sample"], tables["samples"]["dilution"])):
        factor = by_dilution.setdefault((sample, dilution), 1 + 0.01 * rng.standard_normal())
        tables["samples"]["dilution"][i] = f"{float(dilution) * factor:.8f}"
    for title in ("tare [g]", "wet [g]", "dry [g]"):
        tables["weights"][title] = moved(tables["weights"][title], noise(tables["weights"][title], 0.02))
    if "u [mL]" in tables["volumes"]:
        sd = np.array([float(u or 0) for u in tables["volumes"]["u [mL]"]])
        tables["volumes"]["volume [mL]"] = moved(tables["volumes"]["volume [mL]"], sd * rng.standard_normal(len(sd)))
    amounts = analyse(run_from(settings, tables), curve="gompertz").reconciliation.amounts
    return [(amounts[name] / -amounts["hexose"]).nominal_value for name in ("yeast", "ethanol", "CO2")]


def study(draws, jobs=2):
    """For each yield: the spread of the draws over the ± of the same acts."""
    from fermkit.run.analysis import analyse
    from fermkit.run.records import read_run

    found = analyse(read_run(RUN))
    values = np.array(Parallel(n_jobs=jobs)(delayed(one_draw)(s, found.calibration.residual_sd) for s in range(draws)))
    table = []
    for name, column in zip(YIELDS, values.T):
        acts = found.uncertainty_shares(name).acts
        stated = np.sqrt(sum(u**2 for act, u in acts.items() if not any(word in str(act) for word in ASSUMED)))
        table.append((name, float(column.std(ddof=1)), float(stated)))
    return table


if __name__ == "__main__":
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    print(f"{draws} draws; the ratio has a standard error of {1 / np.sqrt(2 * draws):.3f}")
    for name, drawn, stated in study(draws):
        print(f"{name:15s}   drawn {drawn:.5f}   stated {stated:.5f}   ratio {drawn / stated:.3f}")
