"""What surrounded the run: warmth and barometer, usual values where the run gives none."""

from typing import Any, Final

from fermkit.basis.constants import STANDARD_ATMOSPHERE_BAR
from fermkit.basis.written import Number
from fermkit.run.records import Run

ROOM_C: Final = 25.0
"""Temperature taken where a run gives none [°C]; said on the page."""


def liquid_C(run: Run) -> Number:
    """Temperature of the liquid [°C]."""
    warm: Number = run.conditions.get("temperature_C", ROOM_C)
    return warm


def barometer_bar(run: Run) -> Number:
    """Pressure of the air outside [bar]."""
    bar: Number = run.conditions.get("barometer_bar", STANDARD_ATMOSPHERE_BAR)
    return bar


def logged(table: Any, column: str, otherwise: Number | None) -> Any:
    """A logged column where each row has it, else the one value for the run."""
    if column in table and table[column].notna().all():
        return table[column].to_numpy(float)
    return otherwise
