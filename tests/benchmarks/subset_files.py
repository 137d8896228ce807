"""Does the 95 % interval hold the truth through raw files, whichever readings there are?

    python tests/benchmarks/subset_files.py [runs] [seed]

Batches of `foreign_batches`, each written as a run folder with a drawn subset of the eight readings, as a person would
write it (volumes in a collector, the weight of the jar, a hydrometer before and after), read and analysed. Prints how
many ended in an exception or a stumble (there should be none), and the coverage by quantity.
"""

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from foreign_batches import LITRES, READ, SOLIDS_G, SPACE_L, SUGAR_G, U_LITRES, U_SOLIDS, U_SUGAR, draw, read
from scipy.stats import binom

import fermkit as fk

HOURS = np.array([0.0, 6, 12, 18, 24, 36, 48, 60, 72, 96, 120])
COURSE = 1 / (1 + np.exp(-(HOURS - 30) / 9)) - 1 / (1 + np.exp(30 / 9))
COURSE /= COURSE[-1]
L_PER_G = 0.0831446 * 295.15 / (1.01325 - 0.02645) / 44.01
"""Litres of moist CO2 at 22 °C for each gram: the gas law, and water's vapour pressure from a table."""
VOLUME_FACTOR = 0.02
KEYS = ("sugar_used", "sugar_left", "ethanol", "co2", "yeast", "glycerol", "paste", "losses", "extract", "debris")


def toml(names, shown):
    """run.toml: the recipe, and those readings that are single numbers."""

    def number(name, least):
        return f"{max(shown[name], least):.3f} ± {READ[name]}"

    lines = [
        '[run]\nname = "drawn"\n',
        f'[vessel]\ntotal = "{LITRES + SPACE_L:g} ± 0.02 L"\nliquid = "{LITRES:g} ± {LITRES * U_LITRES:g} L"\n',
        '[conditions]\ntemperature = "25 ± 0.5 °C"\n',
        '[ingredients.hexose]\nglucose = "100 %"\n\n[ingredients.rest]\nunfermentables = "100 %"\n',
        f'[[feed]]\ningredient = "hexose"\namount = "{SUGAR_G:g} ± {SUGAR_G * U_SUGAR:g} g"\n',
        f'[[feed]]\ningredient = "rest"\namount = "{SOLIDS_G:g} ± {SOLIDS_G * U_SOLIDS:g} g"\n',
    ]
    if "gas" in names:
        lines.append('[[gas]]\nkind = "collected volume"\ntable = "gas"\ncollector_temperature = "22 ± 0.5 °C"\n'
                     f'volume_factor = "1.00 ± {VOLUME_FACTOR}"\nu_reading = "100 mL"\nloss_to_water = "0 to 0.1 %"\n')
    if "jar weight" in names:
        lines.append('[[gas]]\nkind = "vessel weight"\ntable = "scale"\nu_reading = "0.7 g"\ndrift = "0 ± 0.001 g/h"\n')
    if "ethanol content" in names:
        lines.append(f'[ethanol]\ncontent = "{number("ethanol content", 0.01)} % vol"\n')
    if "residual sugar" in names:
        lines.append(f'[residual_sugar]\nvalue = "{number("residual sugar", 0.0)} g/L"\n')
    if "density" in names:
        u = READ["density"] / LITRES / np.sqrt(2)
        start, end = (f"{value:.3f} ± {u:.3f} kg/m3" for value in (1022.0, 1022.0 - shown["density"] / LITRES))
        lines.append(f'[density]\nstart = "{start}"\nend = "{end}"\nreference_temperature = "20 °C"\n'
                     'reading_temperature = "20 ± 0.1 °C"\n')
    dry = [name for name in ("paste", "extract", "debris") if name in names]
    if dry:
        lines.append("\n".join(["[harvest]", *(f'{name} = "{number(name, 0.05)} g"' for name in dry)]) + "\n")
    return "\n".join(lines)


def tables(names, shown, rng):
    """The tables of gas and scale: title → cells."""
    out = {}
    if "gas" in names:
        litres = shown["gas"] * L_PER_G * (1 + VOLUME_FACTOR * rng.standard_normal())
        noise = 0.1 * rng.standard_normal(HOURS.size)
        out["gas"] = ("time [h],volume [mL]", np.maximum(1000 * (litres * COURSE + noise), 0.0).round(0))
    if "jar weight" in names:
        fall = shown["jar weight"] * COURSE + 0.7 * rng.standard_normal(HOURS.size)
        out["scale"] = ("time [h],weight [g]", (4000.0 - fall).round(1))
    return out


def written(folder, names, shown, rng):
    """A run folder as a person would write it."""
    folder.mkdir()
    (folder / "run.toml").write_text(toml(names, shown), encoding="utf-8")
    for name, (title, cells) in tables(names, shown, rng).items():
        rows = [title, *(f"{hour:g},{cell:.1f}" for hour, cell in zip(HOURS, cells))]
        (folder / f"{name}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


def study(runs=200, seed=5):
    """Coverage by quantity, share of alarms, and what went wrong: analysis by analysis."""
    rng = np.random.default_rng(seed)
    truth = draw(runs, rng, state="stopped")  # the gas of these files stands still at the end
    # tables carry their own errors: what they show is drawn true, and the errors come with the writing
    shown = read(truth, rng)
    exact = {name: value for name, value in read(truth, _Silent(rng)).items() if name in ("gas", "jar weight")}
    shown |= exact
    held, wrong, alarms = {key: [] for key in KEYS}, [], 0
    with tempfile.TemporaryDirectory() as place:
        for i in range(runs):
            names = [name for name in READ if rng.random() < 0.5]
            here = {name: float(value[i]) for name, value in shown.items()}
            try:
                found = fk.analyse(fk.read_run(written(Path(place) / str(i), names, here, rng)), curve="gompertz")
                str(found)
            except Exception as problem:
                wrong.append(f"{names}: {problem!r}")
                continue
            wrong += [f"{names}: {gap}" for gap in found.gaps if "stumbled" in gap]
            alarms += found.consistent is False
            for key in KEYS:
                answer = found.estimate[key]
                held[key].append(bool(answer.low <= truth[key][i] <= answer.high))
    return held, wrong, alarms


class _Silent:
    """A generator whose normal errors are zero: the reading without its error."""

    def __init__(self, rng):
        self.rng = rng

    def standard_normal(self, n):
        """No error."""
        return np.zeros(n)

    def uniform(self, *how):
        """As the generator itself."""
        return self.rng.uniform(*how)


def main(runs=200, seed=5):
    """Print the table."""
    began = time.process_time()
    held, wrong, alarms = study(runs, seed)
    spent = time.process_time() - began
    print(f"{runs} run folders, {spent:.0f} s of processor time; {len(wrong)} went wrong; {alarms} alarmed")
    print("\n".join(wrong))
    for key, good in held.items():
        chance = binom.cdf(sum(good), len(good), 0.95)
        print(f"  {key:12s} {np.mean(good):.3f} of {len(good)}   (this few by chance, were it 0.95: {chance:.3f})")
    every = [one for good in held.values() for one in good]
    print(f"  all          {np.mean(every):.4f}")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
