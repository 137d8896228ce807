"""Mistakes put into a group's readings or into its working, and the measurements that would settle them.

Sizes are drawn: invented within common practice. Where a mishap sits matters to the hunt: one in the *readings* stays
however well they are worked out, one in the *working* vanishes when the sheet is worked again.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fermkit.matter.composition import molar_mass
from fermkit.teach.kitchen import Kitchen

Tables = dict[str, dict[str, list[Any]]]


@dataclass(frozen=True)
class Mishap:
    """One mistake that a group may have been dealt.

    Attributes
    ----------
    name : str
        As students name it.
    where : str
        "readings" or "working".
    says : str
        What happened, for the teacher; ``{size}`` stands for its size.
    sign : str
        What shows it.
    settled_by : tuple of str
        Measurements that settle it.
    mends : str
        The answer that is another once it is mended; of a slip in the working: the answer that shows it.
    """

    name: str
    where: str
    says: str
    sign: str
    settled_by: tuple[str, ...]
    mends: str


MISHAPS: Final = (
    Mishap(
        "leak",
        "readings",
        "{size:.0%} of the gas got past the collector",
        "CO2 short against sugar and alcohol; the jar lost more weight than the collector caught",
        ("weigh the jar",),
        "gas made",
    ),
    Mishap(
        "wrong dilution",
        "readings",
        "the dilution was written as {size:g} times what was pipetted",
        "alcohol off by a factor of two, both dilutions alike",
        ("fresh dilution", "boil off the alcohol"),
        "alcohol",
    ),
    Mishap(
        "% vol as % mass",
        "working",
        "% by volume was taken for % by mass: alcohol {size:.2f} times too much",
        "the sheet takes 10 g of alcohol from a litre with 1 % vol; it is 7.9 g",
        ("work the sheet again",),
        "alcohol",
    ),
    Mishap(
        "CO2 slip",
        "working",
        "the CO2 to expect was worked with a third of a mole for each mole of sugar",
        "the sheet expects less CO2 than half of what was collected",
        ("work the sheet again",),
        "CO2 expected",
    ),
    Mishap(
        "sucrose as glucose",
        "working",
        "the sucrose was counted as if it were glucose: {size:.3f} of the hexose",
        "the sheet takes 1 g of hexose from 1 g of sucrose, and forgets the water that splits it",
        ("ask what the sugar is", "work the sheet again"),
        "sugar",
    ),
    Mishap(
        "wet product",
        "readings",
        "the paste sample still held {size:.0%} of its water when it was weighed as dry",
        "yeast far above its share, all else in step",
        ("dry the sample again",),
        "yeast",
    ),
    Mishap(
        "shifted clock",
        "readings",
        "the samples' clock was {size:+.1f} h off",
        "alcohol out of step with the gas at the same hour, right at the end",
        ("compare the clocks",),
        "first sample",
    ),
    Mishap(
        "dead sensor range",
        "readings",
        "the sensor no longer moved above {size:.2f} V",
        "two dilutions of one sample disagree; the stronger one reads the same volts each time",
        ("fresh dilution", "boil off the alcohol"),
        "alcohol",
    ),
)
NAMES: Final = tuple(mishap.name for mishap in MISHAPS)
NONE: Final = "none"
MISHAP: Final = {mishap.name: mishap for mishap in MISHAPS}
EVERYDAY: Final = {
    "leak": r"\bleak|gas (got|was|is|went) (lost|out|away|past)|lost gas|not tight",
    "wrong dilution": r"dilut",
    "% vol as % mass": r"% ?vol|by volume|percent mass|% ?mass|vol.* mass|density of (the )?alcohol",
    "CO2 slip": r"co2 slip|third of a mole|stoichiom|moles? of co2",
    "sucrose as glucose": r"sucrose|hydrolys|water of|as glucose",
    "wet product": r"\bwet\b|not dry|moist|damp|still (held|had) water",
    "shifted clock": r"clock|watch\b|time (was|is) (off|wrong|shifted)|wrong times?\b",
    "dead sensor range": r"sensor|saturat|dead range",
    NONE: r"^(none|nothing|no\b.*|all (is )?(right|well|ok)|everything.*(right|fine|ok))",
}
"""Words by which people name each mistake, as patterns of lower-case letters."""


@dataclass(frozen=True)
class Measurement:
    """One more thing that a group may do, at a price in minutes of its lesson."""

    name: str
    minutes: int
    does: str


MEASUREMENTS: Final = (
    Measurement("weigh the jar", 10, "read the jar's weight at the start and at the end off the scale's log"),
    Measurement(
        "fresh dilution", 15, "pipette the last sample anew, 1 in 20, and read it on a sensor that was cleaned"
    ),
    Measurement("boil off the alcohol", 30, "distil 100 mL of the last sample, fill up again, weigh a known volume"),
    Measurement("dry the sample again", 25, "put the paste sample back until two weighings agree"),
    Measurement("ask what the sugar is", 5, "read the label of the sugar"),
    Measurement("compare the clocks", 5, "hold the samples' watch beside the gas logger's clock"),
    Measurement("work the sheet again", 15, "hold the numbers that the sheet was worked with against a book"),
)
MEASUREMENT_NAMES: Final = tuple(item.name for item in MEASUREMENTS)
PRICE: Final = {item.name: item.minutes for item in MEASUREMENTS}

DILUTIONS: Final = ((4, 8), (8, 16))
"""Of the class's samples; the second twice the first."""


ALCOHOL_G_ML: Final = 0.7892
"""Density of ethanol at 20 °C [g/mL] (OIML R 22:1975)."""


REACHED: Final = 0.75
"""A dead range begins at this share of the strongest reading at most: a quarter is far beyond the ± of a dilution."""


def size_of(name: str, rng: np.random.Generator) -> float:
    """How large a mishap is, drawn."""
    sizes: dict[str, Callable[[], float]] = {
        "leak": lambda: rng.uniform(0.18, 0.35),
        "wrong dilution": lambda: rng.choice([0.5, 2.0]),
        "wet product": lambda: rng.uniform(0.35, 0.6),
        "shifted clock": lambda: rng.choice([-4.0, -3.5, 3.5, 4.0, 4.5]),
        "dead sensor range": lambda: rng.uniform(0.44, 0.48),
    }
    return float(sizes[name]()) if name in sizes else 1.0


def into_kitchen(name: str, size: float) -> dict[str, Any]:
    """What a mishap changes before anything is read: fields of `Kitchen`.

    What is written down is always one of `DILUTIONS`, so that the cells themselves tell nobody's fault.
    """
    if name == "leak":
        return {"leak_share": size}
    if name in ("wrong dilution", "dead sensor range"):
        return {"dilutions": DILUTIONS[1] if size == 0.5 else DILUTIONS[0]}
    return {}


def within_reach(name: str, size: float, honest: Tables) -> float:
    """The size, so that the mishap shows: a sensor stops well below what the strongest sample would make it say."""
    if name != "dead sensor range":
        return size
    return min(size, REACHED * max(float(cell) for cell in honest["samples"]["signal [V]"]))


def into_readings(name: str, size: float, tables: Tables, kitchen: Kitchen, rng: np.random.Generator) -> Tables:
    """The tables as they were written down with the mishap in them; the given ones stay as they are."""
    out: Tables = {table: {header: list(cells) for header, cells in rows.items()} for table, rows in tables.items()}
    samples = out["samples"]
    if name == "wrong dilution":
        samples["dilution"] = [f"{float(cell) * size:g}" for cell in samples["dilution"]]
    if name == "shifted clock":
        for table in ("samples", "volumes"):
            out[table]["time [h]"] = [f"{max(0.25, float(cell) + size):g}" for cell in out[table]["time [h]"]]
    if name == "wet product":
        _left_wet(out["weights"], size, kitchen, rng)
    if name == "dead sensor range":
        samples["signal [V]"] = [_dead(cell, size, rng) for cell in samples["signal [V]"]]
    return out


def _dead(cell: str, level: float, rng: np.random.Generator) -> str:
    return cell if float(cell) < level else f"{level + rng.normal(0, 0.003):.3f}"


def _left_wet(weights: dict[str, list[Any]], left: float, kitchen: Kitchen, rng: np.random.Generator) -> None:
    row = weights["item"].index("paste sample")
    wet, dry = float(weights["wet [g]"][row]), float(weights["dry [g]"][row])
    weights["dry [g]"][row] = f"{dry + left * (wet - dry) + rng.normal(0, kitchen.u_weighing_g):.2f}"


RULES: Final = {
    "sugar": ("hexose from 1 g of sucrose", 2 * molar_mass("hexose") / molar_mass("sucrose"), "g"),
    "CO2 expected": ("CO2 from 1 mol of hexose", 2.0, "mol"),
    "alcohol": ("alcohol in 1 L with 1 % vol", 10 * ALCOHOL_G_ML, "g"),
}
"""What a group's first sheet was worked with: for which answer, what it is, the right number, its unit."""

WRONG_RULE: Final = {"sucrose as glucose": ("sugar", 1.0), "CO2 slip": ("CO2 expected", 1 / 3),
                     "% vol as % mass": ("alcohol", 10.0)}  # fmt: skip


def into_working(name: str) -> tuple[dict[str, float], float]:
    """The numbers that the first sheet was worked with, and the slip's size (wrong over right)."""
    used = {of: right for of, (_, right, _) in RULES.items()}
    if name not in WRONG_RULE:
        return used, 1.0
    of, wrong = WRONG_RULE[name]
    size, used[of] = wrong / used[of], wrong
    return used, size


def envelopes(facts: Mapping[str, float], rng: np.random.Generator) -> dict[str, Any]:
    """The result of every measurement, drawn about the truth with its own error.

    Parameters
    ----------
    facts : mapping
        ``lost_g``, ``other_g``, ``held_g``, ``pct_vol``, ``sample_dry_g`` and ``sample_h`` of the true batch.
    rng : numpy.random.Generator

    Returns
    -------
    dict
        Measurement → lines (name, value, unit) and what it settles. The same lines for every group, whatever its fault.
    """
    lost, pct = facts["lost_g"] + rng.normal(0, 0.3), facts["pct_vol"]
    jar, dry = 3500.0 + rng.normal(0, 20), facts["sample_dry_g"] + rng.normal(0, 0.02)
    found: dict[str, tuple[list[tuple[str, str, str]], str]] = {
        "weigh the jar": (
            [
                ("jar and contents, first", f"{jar:.1f}", "g"),
                ("at the end, samples put back", f"{jar - lost:.1f}", "g"),
                ("gone as gas", f"{lost:.1f} ± 0.3", "g"),
                ("of it air, water and alcohol vapour", f"{facts['other_g']:.1f}", "g"),
                ("CO2 still in liquid and jar", f"{facts['held_g']:.1f}", "g"),
            ],
            "All gas leaves the jar's weight, caught or not. CO2 made is what went, less air and vapours, and what is "
            "still there. 44.01 g are a mole.",
        ),
        "fresh dilution": (
            [("alcohol in the last sample", f"{pct * (1 + rng.normal(0, 0.012)):.2f} ± {pct * 0.012:.2f}", "% vol")],
            "Pipetted anew and read low on a clean sensor: it shares neither dilution nor sensor with your readings.",
        ),
        "boil off the alcohol": (
            [("alcohol in the last sample", f"{pct * (1 + rng.normal(0, 0.01)):.2f} ± {pct * 0.01:.2f}", "% vol")],
            "Weighed, without sensor or dilution.",
        ),
        "dry the sample again": (
            [("paste sample with dish, now constant", f"{dry:.2f} ± 0.02", "g")],
            "Hold it against the dry weight of the paste sample in your weights.",
        ),
        "ask what the sugar is": (
            [("on the label", "sucrose, C12H22O11", ""), ("hexose from each gram of it", "1.0526", "g")],
            "Sucrose takes up a molecule of water when it is split. Hold the sheet's number against it.",
        ),
        "compare the clocks": (
            [("the gas logger's clock, when S1 was taken", f"{facts['sample_h']:.1f}", "h")],
            "Hold it against the time of S1 in your samples.",
        ),
        "work the sheet again": (
            [
                ("alcohol in 1 L with 1 % vol", "7.892", "g"),
                ("CO2 from 1 mol of hexose", "2", "mol"),
                ("hexose from 1 g of sucrose", "1.0526", "g"),
            ],
            "Hold these three numbers against those of the sheet.",
        ),
    }
    return {
        name: {"lines": [list(line) for line in lines], "settles": settles} for name, (lines, settles) in found.items()
    }
