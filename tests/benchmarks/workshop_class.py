"""A class, timed; whether a ruler is right by its key; whether copying pays; whether the mistakes can be found.

    python tests/benchmarks/workshop_class.py [GROUPS] [what ...]      (400; times ruler copied hunt findable)

*Ruler*: on the curve as it is printed (millimetre paper), a line is laid along three to five neighbouring readings of
the steepest part, each end off by what a pencil and an eye miss; rate and lag are read from its ends. *Copied*: one
sheet of plausible numbers for everybody, the class's mean for everybody, each group's answers handed in by the next.
"""

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

from fermkit.run.analysis import analyse
from fermkit.run.records import read_run
from fermkit.teach.answers import Answers, answers_from, blank_answers, noted
from fermkit.teach.class_data import make_class, read_key
from fermkit.teach.class_key import class_results
from fermkit.teach.classes import mark, pool
from fermkit.teach.group_folder import RUN, open_group
from fermkit.teach.marking import first_numbers
from fermkit.teach.mishaps import MISHAP, NAMES, NONE, RULES
from fermkit.teach.papers import _step

PENCIL_MM = 0.5
"""How far each end of a drawn line, and each reading off an axis, misses: one standard deviation."""

FIXED = {"gas made": 1.15, "largest rate": 100.0, "lag": 5.0, "sugar": 120.0, "CO2 expected": 58.6, "sample": 3.2,
         "alcohol": 50.5, "yeast": 12.0, "carbon found": 91.0}  # fmt: skip
"""Numbers that somebody would type without opening any data: the middle of what such jars give, fitting together."""


def classes(groups: int, faults=(*NAMES, NONE)):
    """So many groups, in classes of fifty: their keys and folders, one at a time."""
    for start in range(0, groups, 50):
        with tempfile.TemporaryDirectory() as place:
            kit = make_class(min(50, groups - start), Path(place) / "class", faults=faults)
            yield kit, read_key(kit.teacher)


def times(groups: int = 30) -> None:
    """One command each."""
    with tempfile.TemporaryDirectory() as place:
        kit = make_class(groups, Path(place) / "class")
        for one in read_key(kit.teacher)["groups"]:
            for name, right in one["read"].items():
                noted(kit.folder / f"group_{one['group']}" / "answers.txt", name, f"{right['value']:.4g}")
        marks, found = mark(kit.folder), pool(kit.folder)
        begun = time.perf_counter()
        found.write(kit.teacher)
        written = time.perf_counter() - begun
    print(f"{groups} groups: make {kit.seconds:.1f} s, analyse and pool {found.seconds:.1f} s, page {written:.1f} s, "
          f"mark {marks.seconds:.2f} s")  # fmt: skip


def drawn(time_h, mmol, rng) -> tuple[float, float]:
    """Rate and lag of a line drawn with a ruler along the steepest part of the printed curve."""
    x_mm, y_mm = 10 / _step(max(time_h), 14.5), 10 / _step(max(mmol) * 1.02, 12.3)
    many = int(rng.integers(3, 6))
    slopes = [np.polyfit(time_h[i : i + many], mmol[i : i + many], 1) for i in range(len(time_h) - many + 1)]
    slope, start = max(slopes, key=lambda one: one[0])
    low = max(0.0, (mmol[0] - start) / slope)
    high = min(time_h[-1], (max(mmol) - start) / slope)
    ends = [(t, start + slope * t) for t in (low, high)]
    (x1, y1), (x2, y2) = (
        (t + rng.normal(0, PENCIL_MM) / x_mm, v + rng.normal(0, PENCIL_MM) / y_mm) for t, v in ends
    )
    rate = (y2 - y1) / (x2 - x1)
    return rate, x1 + (mmol[0] - y1) / rate


def ruler(groups: int) -> None:
    """How many groups' ruler answers are right by the key."""
    rng, right, n, off = np.random.default_rng(11), Counter(), 0, []
    for kit, key in classes(groups):
        for one in key["groups"]:
            gas = class_results(read_run(kit.folder / f"group_{one['group']}" / RUN)).gas[0]
            found = dict(zip(("largest rate", "lag"), drawn(gas.time_h, gas.co2_mol * 1000, rng)))
            n += 1
            for name, value in found.items():
                right[name] += abs(value - one["read"][name]["value"]) <= one["read"][name]["tolerance"]
            off.append([found["largest rate"] / one["read"]["largest rate"]["value"] - 1,
                        found["lag"] - one["read"]["lag"]["value"]])  # fmt: skip
    for i, name in enumerate(("largest rate", "lag")):
        q = np.percentile([one[i] for one in off], [2.5, 50, 97.5])
        print(f"ruler, {name}: right in {right[name] / n:.1%} of {n} groups; off by {q[0]:+.3f} … {q[1]:+.3f} … "
              f"{q[2]:+.3f}" + (" of it" if i == 0 else " h"))  # fmt: skip


def sheet_of(numbers) -> Answers:
    """Numbers as an answers file."""
    lines = [f"{name}: {value:.4g}" for name, value in numbers.items()]
    return answers_from("\n".join([blank_answers("x", ""), *lines]))


def points(numbers, one) -> float:
    """Points of the nine numbers."""
    return sum(mark.points for mark in first_numbers(sheet_of(numbers), one["read"], one["stated"]).values())


def copied(groups: int) -> None:
    """Points of nine that answers earn which were not worked out from the group's own data."""
    told: dict[str, list[float]] = {"its own": [], "a fixed sheet": [], "the class's mean": [], "the next group's": []}
    for _, key in classes(groups):
        all_of = [{name: right["value"] for name, right in one["read"].items()} for one in key["groups"]]
        mean = {name: float(np.mean([one[name] for one in all_of if name in one])) for name in FIXED}
        for i, one in enumerate(key["groups"]):
            told["its own"].append(points(all_of[i], one))
            told["a fixed sheet"].append(points(FIXED, one))
            told["the class's mean"].append(points(mean, one))
            told["the next group's"].append(points(all_of[i - 1], one))
    for name, earned in told.items():
        mean = np.mean(earned)
        print(f"{name}: {mean:.2f} of 9 on average ({mean * 8 / 9:.2f} of 8), most {max(earned):g}")


def named_by_the_letter(folder: Path) -> str:
    """The mistake that somebody names who does what notebook 3 says, before measuring anything more."""
    group = open_group(folder)
    for of, used in group.rules.items():
        if abs(used / RULES[of][1] - 1) > 0.01:
            return next(name for name, one in MISHAP.items() if one.where == "working" and one.mends == of)
    analysis = analyse(group.run)
    low, high = sorted(reading.value.nominal_value for reading in analysis.samples[-1].readings)
    if high > 1.15 * low:
        return "dead sensor range"
    if out_of_step(analysis) > 0.1:
        return "shifted clock"
    if analysis.consistent:
        return NONE
    if analysis.estimate is not None and any("dilution" in str(odd) for odd in analysis.estimate.oddities):
        return "wrong dilution"
    if analysis.suspects is None or analysis.suspects.first is None:
        return "nothing suspected"
    suspected = [one.mistake.key for one in analysis.suspects.first.suspects]
    return next((SUSPECTED[key] for key in suspected if key in SUSPECTED), suspected[0])


SUSPECTED = {"leak": "leak", "gas misread": "leak", "dilution": "wrong dilution", "by volume": "wrong dilution",
             "by mass": "wrong dilution", "weak standards": "wrong dilution", "wet paste": "wet product",
             "wet parts": "wet product"}  # fmt: skip
"""What a group names that reads the balance's first suspects."""


def shown_by(one: dict, folder: Path) -> set[str]:
    """The measurements of the menu whose slip stands apart from what the group read, by three of their ± together."""
    group = open_group(folder)
    analysis = class_results(group.run)
    lines = {name: [line[1] for line in found["lines"]] for name, found in one["slips"].items()}

    def apart(slip: float, u_slip: float, read: dict) -> bool:
        return abs(slip - read["value"]) > 3 * float(np.hypot(u_slip, read["u"]))

    def number(text: str, part: int = 0) -> float:
        return float(text.split(" ± ")[part].split(" ")[0])

    out = set()
    weighed = [number(text) for text in lines["weigh the jar"][2:]]
    if apart((weighed[0] - weighed[1] + weighed[2]) / 44.01, 0.03, one["read"]["gas made"]):
        out.add("weigh the jar")
    own = [{"value": r.value.nominal_value, "u": r.value.std_dev} for r in analysis.samples[-1].readings]
    for name in ("fresh dilution", "boil off the alcohol"):
        if any(apart(number(lines[name][0]), number(lines[name][0], 1), reading) for reading in own):
            out.add(name)
    weights = analysis.run.tables["weights"].set_index("item")
    if abs(number(lines["dry the sample again"][0]) - weights.loc["paste sample", "dry_g"]) > 0.1:
        out.add("dry the sample again")
    if abs(number(lines["compare the clocks"][0]) - analysis.run.tables["samples"]["time_h"].iloc[0]) > 0.3:
        out.add("compare the clocks")
    off = [of for of, used in group.rules.items() if abs(used / RULES[of][1] - 1) > 0.01]
    out |= ({"work the sheet again"} if off else set()) | ({"ask what the sugar is"} if "sugar" in off else set())
    return out


def findable(groups: int) -> None:
    """Whether the measurement that settles a mistake stands apart in the group that was dealt it, and in no other."""
    told: dict[str, list[bool]] = {fault: [] for fault in (*MISHAP, NONE)}
    other: dict[str, list[bool]] = {fault: [] for fault in (*MISHAP, NONE)}
    for kit, key in classes(groups):
        for one in key["groups"]:
            shown = shown_by(one, kit.folder / f"group_{one['group']}")
            settles = set(MISHAP[one["fault"]].settled_by) if one["fault"] in MISHAP else set()
            told[one["fault"]].append(settles <= shown)
            same = {"ask what the sugar is", "work the sheet again"} if "sugar" in str(settles) else settles
            other[one["fault"]].append(bool(shown - same))
    print("\nmistake dealt          what settles it shows it   something else stands apart, too")
    for fault in told:
        print(f"{fault:20}   {sum(told[fault]):3} of {len(told[fault]):3}                 {sum(other[fault]):3}")


def out_of_step(analysis) -> float:
    """The widest gap between the alcohol's share and the gas's at one time."""
    gas, read = analysis.gas[0], [s for s in analysis.samples if s.value is not None]
    last = read[-1].value.nominal_value
    share = np.interp([s.time_h for s in read[:-1]], gas.time_h, gas.co2_mol / gas.co2_mol[-1])
    return float(np.max(np.abs(share - [s.value.nominal_value / last for s in read[:-1]]), initial=0.0))


def hunt(groups: int) -> None:
    """Mistake dealt against mistake named."""
    told: Counter = Counter()
    for kit, key in classes(groups):
        for one in key["groups"]:
            told[one["fault"], named_by_the_letter(kit.folder / f"group_{one['group']}")] += 1
    print("\nmistake dealt          named rightly   otherwise")
    for fault in (*MISHAP, NONE):
        said = {name: count for (dealt, name), count in told.items() if dealt == fault}
        others = ", ".join(f"{name} {count}" for name, count in said.items() if name != fault)
        print(f"{fault:20}   {said.get(fault, 0):3} of {sum(said.values()):3}      {others}")


if __name__ == "__main__":
    numbers = [int(one) for one in sys.argv[1:] if one.isdigit()]
    size = numbers[0] if numbers else 400
    asked = [one for one in sys.argv[1:] if not one.isdigit()] or ["times", "ruler", "copied", "hunt", "findable"]
    for what in asked:
        {"times": lambda: times(), "ruler": lambda: ruler(size), "copied": lambda: copied(size),
         "hunt": lambda: hunt(min(size, 90)), "findable": lambda: findable(size)}[what]()  # fmt: skip
