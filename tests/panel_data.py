"""Invented data for the panels under test: a run written to disk, whose parts are known."""

import json
import shutil

import numpy as np

from fermkit.growth.curves import gompertz
from fermkit.run.records import write_run

SETTINGS = {
    "run": {"name": "jar", "invented": True},
    "vessel": {"total": "5 L", "liquid": "2.00 ± 0.02 L", "closed": "airlock", "material": "PET", "rated": "4 bar"},
    "conditions": {"temperature": "28 ± 0.5 °C", "barometer": "1013 ± 2 hPa"},
    "feed": [
        {"ingredient": "white sugar", "amount": "120 ± 1 g"},
        {"ingredient": "diammonium phosphate", "amount": "3.0 ± 0.1 g"},
    ],
    "inoculum": {"ingredient": "active dry yeast", "amount": "5.0 ± 0.1 g"},
    "gas": [
        {
            "kind": "collected volume",
            "collector temperature": "22 ± 0.5 °C",
            "volume factor": "1.00 ± 0.01",
            "u reading": "3 mL",
            "u increment": "4 mL",
        }
    ],
    "ethanol": {"u pipetting": "1 %"},
    "residual sugar": {"value": "0.5 ± 0.5 g/L"},
}
"""A run that closes: 120 g of sugar, about 54 g of ethanol and of CO2."""


def gas_table(hours=48.0, seed=1):
    """Readings every hour up to `hours`; noise that shrinks with the flow, so that they never fall."""
    time = np.arange(0.0, hours + 0.01)
    steps = np.diff(gompertz(time, 28_700, 1900, 4.0))
    steps += 0.15 * np.sqrt(steps) * np.random.default_rng(seed).standard_normal(steps.size)
    volume = np.concatenate([[0.0], np.cumsum(steps)])
    return {"time [h]": [f"{t:g}" for t in time], "volume [mL]": [f"{v:.0f}" for v in volume]}


def tables(yeast_g=8.0, hours=48.0, seed=1):
    """All tables of the run."""
    content = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0] * 2
    noise = np.random.default_rng(seed).normal(0, 0.003, 16)
    signals = [0.05 + 0.8 * x + e for x, e in zip(content, noise)]
    return {
        "gas": gas_table(hours, seed),
        "standards": {"ethanol [% vol]": content, "signal [V]": [f"{s:.3f}" for s in signals]},
        "samples": {
            "sample": ["end"] * 4,
            "time [h]": [48] * 4,
            "signal [V]": [f"{0.618 + e:.3f}" for e in noise[12:]],
            "dilution": [5] * 4,
        },
        "weights": {
            "item": ["paste"],
            "tare [g]": ["40.00"],
            "wet [g]": ["100.00"],
            "dry [g]": [f"{40 + yeast_g + 4.75:.2f}"],
        },
    }


def write(folder, yeast_g=8.0, hours=48.0, name="jar", seed=1):
    """The run on disk, in place of one that an earlier test left there."""
    shutil.rmtree(folder, ignore_errors=True)
    settings = json.loads(json.dumps(SETTINGS)) | {"run": {"name": name, "invented": True}}
    return write_run(settings, tables(yeast_g, hours, seed), folder)
