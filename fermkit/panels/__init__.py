"""Panels of sliders over the library's functions: one a topic, all on the pattern of `panel`.

Each shows itself in a notebook, can be driven from code (``panel.set(dilution=5)``), and says in
words what its picture shows (``print(panel)``).
"""

from fermkit.panels.planning import drying, plan, start, vessel
from fermkit.panels.reading import balance, calibration, growth, uncertainty_shares
from fermkit.panels.recording import compare, enter_data, watch

__all__ = [
    "balance",
    "calibration",
    "compare",
    "drying",
    "enter_data",
    "growth",
    "plan",
    "start",
    "uncertainty_shares",
    "vessel",
    "watch",
]
