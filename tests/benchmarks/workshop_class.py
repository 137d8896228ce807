"""A class of thirty, timed; and whether its faults can be found, by a student who follows the notebooks to the letter.

    python tests/benchmarks/workshop_class.py [CLASSES]

Prints: seconds for make, analyse and pool, mark; a table of fault dealt against fault named; how often a wrong number
is called a slip by chance; seconds to break one lock by trying every value; coverage of the pooled interval.
"""

import json
import sys
import tempfile
import time
from collections import Counter
from functools import partial
from pathlib import Path

import numpy as np

from fermkit.basis.groups import pooled, precision
from fermkit.run.analysis import analyse
from fermkit.teach.answers import FILE, LOOSE, noted, slip_of
from fermkit.teach.classes import make_class, mark, pool, read_key
from fermkit.teach.group_folder import LOCKS, open_group
from fermkit.teach.mishaps import MISHAP, NAMES, NONE
from fermkit.teach.secrecy import opens

ROWS = {"sugar as hexose": "sucrose as glucose", "ethanol made": "% vol as % mass", "CO2 to expect": "CO2 slip"}


def named_by_the_letter(folder: Path) -> str:
    """The fault that somebody names who does what notebook 3 says, before measuring anything more."""
    group = open_group(folder)
    analysis = analyse(group.run)
    sheet, sugar = group.sheet(), -analysis.amounts["hexose"].nominal_value
    own = {"sugar as hexose": sugar, "CO2 to expect": 0.4886 * sugar}
    if "ethanol" in analysis.amounts:
        own["ethanol made"] = analysis.amounts["ethanol"].nominal_value
    off = {row: abs(np.log(sheet[row] / own[row])) for row in own if row in sheet}
    worst = max(off, key=off.get)
    if off[worst] > 0.02:
        return ROWS[worst]
    low, high = sorted(reading.value.nominal_value for reading in analysis.samples[-1].readings)
    if high > 1.15 * low:
        return "dead sensor range"
    if out_of_step(analysis) > 0.1:
        return "shifted clock"
    if analysis.consistent:
        return NONE
    first = " ".join(analysis.suspects.page().lines[0].cells())
    for word, fault in (("dilution", "wrong dilution"), ("wet", "wet product"), ("yeast", "wet product"),
                        ("ethanol", "wrong dilution"), ("CO2", "leak")):  # fmt: skip
        if word in first:
            return fault
    return first


def out_of_step(analysis) -> float:
    """The widest gap between the alcohol's share and the gas's at one time."""
    gas, read = analysis.gas[0], [s for s in analysis.samples if s.value is not None]
    last = read[-1].value.nominal_value
    share = np.interp([s.time_h for s in read[:-1]], gas.time_h, gas.co2_mol / gas.co2_mol[-1])
    return float(np.max(np.abs(share - [s.value.nominal_value / last for s in read[:-1]]), initial=0.0))


def times(groups: int = 30) -> None:
    """One command each."""
    with tempfile.TemporaryDirectory() as place:
        kit = make_class(groups, Path(place) / "class")
        for one in read_key(kit.folder)["groups"]:
            for name, right in one["right"].items():
                noted(kit.folder / f"group_{one['group']}" / FILE, name, f"{right['value']:.4g}")
        marks, found = mark(kit.folder), pool(kit.folder)
        begun = time.perf_counter()
        found.write(kit.teacher)
        written = time.perf_counter() - begun
    print(f"{groups} groups: make {kit.seconds:.1f} s, analyse and pool {found.seconds:.1f} s, page {written:.1f} s, "
          f"mark {marks.seconds:.2f} s")  # fmt: skip


def hunt(classes: int) -> None:
    """Fault dealt against fault named, over several classes with secrets of their own."""
    told: Counter = Counter()
    locks = []
    for _ in range(classes):
        with tempfile.TemporaryDirectory() as place:
            kit = make_class(18, Path(place) / "class", faults=(*NAMES, NONE))
            for one in read_key(kit.folder)["groups"]:
                folder = kit.folder / f"group_{one['group']}"
                told[one["fault"], named_by_the_letter(folder)] += 1
                locks.append((json.loads((folder / LOCKS).read_text())["numbers"], one["right"]))
    print("\nfault dealt            named rightly   otherwise")
    for fault in (*MISHAP, NONE):
        said = {name: count for (dealt, name), count in told.items() if dealt == fault}
        others = ", ".join(f"{name} {count}" for name, count in said.items() if name != fault)
        print(f"{fault:20}   {said.get(fault, 0):3} of {sum(said.values()):3}      {others}")
    slips(locks)
    broken(locks[0])


def slips(locks) -> None:
    """How often a number that is wrong at random, between a third and three times the right one, is called a slip."""
    rng, called, wrong = np.random.default_rng(1), 0, 0
    for _, rights in locks:
        for right in rights.values():
            value = right["value"] * np.exp(rng.uniform(-np.log(3), np.log(3)))
            if abs(value - right["value"]) > right["tolerance"]:
                wrong += 1
                loose = right["tolerance"] > LOOSE * abs(value)
                fits = partial(_near, right["value"], right["tolerance"])
                called += slip_of(value, fits, loosely_known=loose) is not None
    print(f"\nwrong at random, called a slip: {called} of {wrong} ({called / wrong:.0%})")


def _near(right: float, tolerance: float, value: float) -> bool:
    return abs(value - right) <= tolerance


def broken(pair) -> None:
    """Seconds and tries until a program opens one lock by trying every cell between nothing and a thousand."""
    made, right = pair[0]["sugar"], pair[1]["sugar"]
    begun, tries = time.perf_counter(), 0
    for value in np.arange(made["begins"] + made["width"] / 2, 1000.0, made["width"]):
        tries += 1
        if opens(made, float(value)):
            break
    took = time.perf_counter() - begun
    print(f"one lock broken in {tries} tries, {took:.1f} s (the answer was {right['value']:.1f})")


def coverage(runs: int = 4000) -> None:
    """How often the pooled 95 % interval holds the truth, and what s_r and s_R come to, for groups of 6, 12 and 30."""
    rng = np.random.default_rng(2)
    print("\ngroups   between/u   interval holds the truth   mean s_r/true   mean s_R/true")
    for groups in (6, 12, 30):
        for spread in (0.0, 1.0, 3.0):
            inside, s_r, s_big = 0, 0.0, 0.0
            for _ in range(runs if groups < 30 else runs // 4):
                u = rng.uniform(0.5, 1.5, groups)
                low, high = pooled(rng.normal(0, spread, groups) + rng.normal(0, u), u).interval
                inside += low <= 0 <= high
            for _ in range(runs // 4):
                level = rng.normal(5, max(spread, 0.5), groups)
                found = precision({str(i): x + rng.normal(0, 1, 2) for i, x in enumerate(level)})
                s_r += found.repeatability_sd**2
                s_big += found.reproducibility_sd**2
            n = runs if groups < 30 else runs // 4
            true = 1 + max(spread, 0.5) ** 2
            print(f"{groups:6}   {spread:9.1f}   {inside / n:24.1%}   {(s_r / (runs // 4)) ** 0.5:13.3f}   "
                  f"{(s_big / (runs // 4) / true) ** 0.5:13.3f}")  # fmt: skip


if __name__ == "__main__":
    times()
    hunt(int(sys.argv[1]) if len(sys.argv) > 1 else 8)
    coverage(1000)
