"""What surrounded the run: warmth and barometer, usual values where the run gives none."""

from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.constants import STANDARD_ATMOSPHERE_BAR
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Frame, Number
from fermkit.gas.room import AIR_CHANGES, OUTDOORS
from fermkit.run.records import Run

ROOM_C: Final = 25.0
ROOM: Final = ufloat(ROOM_C, 3.0, tag=Act("room", "the room's warmth, not measured"))
"""Temperature taken where a run gives none [°C] (common practice, no source); said on the page."""

SEA_LEVEL: Final = ufloat(STANDARD_ATMOSPHERE_BAR, 0.015, tag=Act("sea level", "the air's pressure, not measured"))
"""Pressure of the air where a run gives none [bar]: near sea level the weather moves it by 1 to 2 % (common practice,
no source); 300 m higher it is 3.5 % less."""


UNTOLD_OUTDOORS: Final = rectangle(*OUTDOORS, Act("outdoors", "CO2 of the air outside, not measured"))
UNTOLD_CHANGES: Final = rectangle(*AIR_CHANGES, Act("air changes", "air changes of the room, not measured"))
"""What the air outside holds [ppm], and how often an hour a room's is renewed [1/h], where a run tells neither."""


def liquid_C(run: Run) -> Number:
    """Temperature of the liquid [°C]: as told, or the mean of its log."""
    warm = run.conditions.temperature_C
    return ROOM if warm is None else warm


def outdoor_ppm(run: Run) -> Number:
    """CO2 of the air outside [ppm]."""
    return UNTOLD_OUTDOORS if run.room.outdoor_ppm is None else run.room.outdoor_ppm


def air_changes(run: Run) -> Number:
    """How often an hour the air of the room is renewed [1/h]."""
    return UNTOLD_CHANGES if run.room.air_changes is None else run.room.air_changes


def barometer_bar(run: Run, table: Frame = None) -> Number:
    """Pressure of the air outside [bar]; where a table logged it, its mean there."""
    bar = run.conditions.barometer_bar
    if table is not None and "barometer_bar" in table and table["barometer_bar"].notna().any():
        mean = float(table["barometer_bar"].mean())
        return mean if bar is None else bar + (mean - getattr(bar, "nominal_value", bar))
    return SEA_LEVEL if bar is None else bar


def logged(table: Frame, column: str, otherwise: Number | None) -> Any:
    """A logged column, an empty cell taken from its neighbours; the one value for the run where nothing was logged."""
    if column in table and table[column].notna().any():
        return table[column].interpolate(limit_direction="both").to_numpy(float)
    return otherwise
