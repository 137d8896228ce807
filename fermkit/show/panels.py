"""Panels of sliders over the library's functions: one a topic, all on the pattern of `panel`.

Each shows itself in a notebook, can be driven from code (``panel.set(dilution=5)``), and says in
words what its picture shows (``print(panel)``).
"""

from fermkit.show.batch_panels import batch_in_time
from fermkit.show.form import enter_data
from fermkit.show.planning_panels import drying, plan, start, vessel
from fermkit.show.reading_panels import balance, calibration, growth, uncertainty_shares
from fermkit.show.recording_panels import compare, watch
from fermkit.show.yeast_panels import cells, feed_slowly

__all__ = [
    "balance",
    "batch_in_time",
    "calibration",
    "cells",
    "compare",
    "drying",
    "enter_data",
    "feed_slowly",
    "growth",
    "plan",
    "start",
    "uncertainty_shares",
    "vessel",
    "watch",
]
