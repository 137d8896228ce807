"""Mistakes put into a group's readings or into its working, and the measurements that would settle them.

Sizes are drawn: invented within common practice. Where a mishap sits matters to the hunt: one in the *readings* stays
however well they are worked out, one in the *working* vanishes when the sheet is worked again.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fermkit.basis.written import Line, Page, Written
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
    """

    name: str
    where: str
    says: str
    sign: str
    settled_by: tuple[str, ...]


MISHAPS: Final = (
    Mishap(
        "leak",
        "readings",
        "{size:.0%} of the gas got past the collector",
        "CO2 short against sugar and alcohol; the jar lost more weight than the collector caught",
        ("weigh the jar",),
    ),
    Mishap(
        "wrong dilution",
        "readings",
        "the dilution was written as {size:g} times what was pipetted",
        "alcohol off by a factor of two, both dilutions alike",
        ("fresh dilution", "boil off the alcohol"),
    ),
    Mishap(
        "% vol as % mass",
        "working",
        "% by volume was taken for % by mass: alcohol {size:.2f} times too much",
        "alcohol in the sheet a quarter above what the samples give",
        ("work the sheet again",),
    ),
    Mishap(
        "CO2 slip",
        "working",
        "the CO2 to expect was worked with a third of a mole for each mole of sugar",
        "less CO2 expected than half of what was collected",
        ("work the sheet again",),
    ),
    Mishap(
        "sucrose as glucose",
        "working",
        "the sucrose was counted as if it were glucose: {size:.3f} of the hexose",
        "sugar in the sheet 5 % below what the feed gives",
        ("ask what the sugar is", "work the sheet again"),
    ),
    Mishap(
        "wet product",
        "readings",
        "the paste sample still held {size:.0%} of its water when it was weighed as dry",
        "yeast far above its share, all else in step",
        ("dry the sample again",),
    ),
    Mishap(
        "shifted clock",
        "readings",
        "the samples' clock was {size:+.1f} h off",
        "alcohol out of step with the gas at the same hour, right at the end",
        ("compare the clocks",),
    ),
    Mishap(
        "dead sensor range",
        "readings",
        "the sensor no longer moved above {size:.2f} V",
        "two dilutions of one sample disagree; the stronger one reads the same volts each time",
        ("fresh dilution", "boil off the alcohol"),
    ),
)
NAMES: Final = tuple(mishap.name for mishap in MISHAPS)
NONE: Final = "none"
MISHAP: Final = {mishap.name: mishap for mishap in MISHAPS}


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
    Measurement("work the sheet again", 15, "have another group's row-by-row working beside yours"),
)
MEASUREMENT_NAMES: Final = tuple(item.name for item in MEASUREMENTS)
WRONG_NAME_MIN: Final = 10
"""What naming a wrong fault costs [min]."""


DILUTIONS: Final = ((4, 8), (8, 16))
"""Of the class's samples; the second twice the first."""


def size_of(name: str, rng: np.random.Generator) -> float:
    """How large a mishap is, drawn."""
    sizes: dict[str, Callable[[], float]] = {
        "leak": lambda: rng.uniform(0.18, 0.35),
        "wrong dilution": lambda: rng.choice([0.5, 2.0]),
        "wet product": lambda: rng.uniform(0.35, 0.6),
        "shifted clock": lambda: rng.choice([-4.0, -3.5, 3.5, 4.0, 4.5]),
        "dead sensor range": lambda: rng.uniform(0.44, 0.48),
        "CO2 slip": lambda: 1 / 6,
        "sucrose as glucose": lambda: molar_mass("sucrose") / (2 * molar_mass("hexose")),
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


def into_working(name: str, sheet: dict[str, float]) -> tuple[dict[str, float], float]:
    """The worked sheet with a slip in it, and the slip's size (wrong over right)."""
    out = dict(sheet)
    row = {"% vol as % mass": "ethanol made", "CO2 slip": "CO2 to expect", "sucrose as glucose": "sugar as hexose"}.get(
        name
    )
    if row is None:
        return out, 1.0
    if name == "% vol as % mass":
        out[row] = sheet["ethanol by mass"]
    else:
        out[row] = sheet[row] * size_of(name, np.random.default_rng(0))
    return out, out[row] / sheet[row]


@dataclass(frozen=True, repr=False)
class Envelope(Written):
    """The result of one further measurement."""

    measurement: str
    minutes: int
    lines: tuple[Line, ...]
    settles: str

    def page(self) -> Page:
        """What was found, and what it settles."""
        return Page(f"{self.measurement} ({self.minutes} min)", self.lines, [self.settles])


def envelopes(facts: Mapping[str, float], rng: np.random.Generator) -> dict[str, Any]:
    """The result of every measurement, drawn about the truth with its own error.

    Parameters
    ----------
    facts : mapping
        ``lost_g``, ``pct_vol``, ``sample_dry_g`` and ``sample_h`` of the true batch.
    rng : numpy.random.Generator

    Returns
    -------
    dict
        Measurement → lines (name, value, unit) and what it settles. The same lines for every group, whatever its fault.
    """
    lost, pct = facts["lost_g"] + rng.normal(0, 0.7), facts["pct_vol"]
    jar, dry = 3500.0 + rng.normal(0, 20), facts["sample_dry_g"] + rng.normal(0, 0.02)
    found: dict[str, tuple[list[tuple[str, str, str]], str]] = {
        "weigh the jar": (
            [
                ("jar and contents, first", f"{jar:.1f}", "g"),
                ("at the end, samples put back", f"{jar - lost:.1f}", "g"),
                ("gone as gas", f"{lost:.1f} ± 0.7", "g"),
            ],
            "All gas leaves the jar's weight, caught or not. Hold it against the grams of CO2 in your collector: "
            "a few grams of air, water and alcohol vapour go along, more than a tenth is a leak.",
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
            "Hold it against the dry weight in weights.csv.",
        ),
        "ask what the sugar is": (
            [("on the label", "sucrose, C12H22O11", ""), ("hexose from each gram of it", "1.0526", "g")],
            "Sucrose takes up a molecule of water when it is split. Hold the sheet's sugar against it.",
        ),
        "compare the clocks": (
            [("the gas logger's clock, when S1 was taken", f"{facts['sample_h']:.1f}", "h")],
            "Hold it against the time of S1 in samples.csv.",
        ),
        "work the sheet again": (
            [
                ("alcohol: 1 % vol", "7.892", "g/L"),
                ("CO2: for each mole of hexose", "2", "mol"),
                ("hexose: for each gram of sucrose", "1.0526", "g"),
            ],
            "With these three numbers each row of the sheet can be worked again.",
        ),
    }
    return {
        name: {"lines": [list(line) for line in lines], "settles": settles} for name, (lines, settles) in found.items()
    }
