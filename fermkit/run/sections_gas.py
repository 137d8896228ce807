# ruff: noqa: RUF009  (the helpers called in the classes make dataclass fields)
"""Sections and table of a run for the gas: one class for each route."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from fermkit.basis.written import Number
from fermkit.run.fields import Interval, Section, Usual, fields_of, says, text, weighing, when


@dataclass(frozen=True)
class Gas(Section):
    """[[gas]], once for each route to the gas.

    Beside its keys a kind says its `kind`, as people write it; the `column` of `GasRow` that holds its readings, and
    their `unit`; and `cumulative`, where they count from zero and only rise.
    """

    kind: ClassVar[str] = ""
    column: ClassVar[str] = ""
    unit: ClassVar[str] = "1"
    cumulative: ClassVar[bool] = False

    table: str = text("the table that holds its readings", example="gas", default="gas")
    note: str | None = text("anything else")


def collector_C() -> Any:
    """Temperature of gas that was caught or counted."""
    return says(
        "of the gas where it is measured, not of the vessel", "°C", act="reading the collector's temperature",
        low=-10.0, high=60.0, usual=Usual(1.0), example="22.0 ± 0.5 °C",
    )  # fmt: skip


def reading_u(unit: str, usual: Usual, example: str) -> Any:
    """Standard uncertainty of each reading of the gas."""
    return says("± of each reading, by itself", unit, kind="u", low=0.0, usual=usual, example=example)


DRY: Final = "the gas was dried before it was measured, or the meter shows dry volume"


@dataclass(frozen=True)
class CollectedVolume(Gas):
    """Gas caught in a cylinder, a syringe or a bag."""

    kind: ClassVar[str] = "collected volume"
    column: ClassVar[str] = "volume_mL"
    unit: ClassVar[str] = "mL"
    cumulative: ClassVar[bool] = True

    collector_temperature_C: Number | None = collector_C()
    volume_factor: Number | None = says(
        "true volume over shown volume", act="calibrating the collector", low=0.5, high=2.0, usual=Usual(0.02),
        example="1.000 ± 0.010",
    )  # fmt: skip
    u_reading: float | None = reading_u("mL", Usual(5.0, 0.002), "3 mL")
    u_increment: float | None = says(
        "± that each step between two readings adds, as where the collector is emptied", "mL", kind="u", low=0.0,
        example="6 mL",
    )  # fmt: skip
    emptied: bool | None = says("true or 'at each reading', where the collector is emptied then", kind="flag")
    loss_to_water: Interval | None = says(
        "share of the CO2 that dissolved in the water it bubbled through", kind="interval", low=0.0, high=0.9,
        example="0 to 2 %",
    )  # fmt: skip
    dry: bool | None = says(DRY, kind="flag")


@dataclass(frozen=True)
class FlowRate(Gas):
    """Gas through a flow meter."""

    kind: ClassVar[str] = "flow rate"
    column: ClassVar[str] = "flow_mL_h"
    unit: ClassVar[str] = "mL/h"

    collector_temperature_C: Number | None = collector_C()
    flow_factor: Number | None = says(
        "true flow over shown flow", act="calibrating the flow meter", low=0.2, high=5.0, usual=Usual(0.05),
        example="1.00 ± 0.03",
    )  # fmt: skip
    u_reading: float | None = reading_u("mL/h", Usual(0.0, 0.02), "20 mL/h")
    dry: bool | None = says(DRY, kind="flag")


@dataclass(frozen=True)
class BubbleCount(Gas):
    """Bubbles counted at an airlock."""

    kind: ClassVar[str] = "bubble count"
    column: ClassVar[str] = "bubbles"
    cumulative: ClassVar[bool] = True

    collector_temperature_C: Number | None = collector_C()
    volume_per_bubble_mL: Number | None = says(
        "volume of one bubble, from a bubble calibration", "mL", act="calibrating the bubbles", low=0.0,
        usual=Usual(0.0, 0.05), example="0.62 ± 0.02 mL",
    )  # fmt: skip
    spread_of_bubble: float | None = says(
        "how much single bubbles differ, as a share", kind="u", low=0.0, example="10 %"
    )
    dry: bool | None = says(DRY, kind="flag")


@dataclass(frozen=True)
class VesselWeight(Gas):
    """The vessel on a scale."""

    kind: ClassVar[str] = "vessel weight"
    column: ClassVar[str] = "weight_g"
    unit: ClassVar[str] = "g"

    u_reading: float | None = reading_u("g", Usual(0.5), "0.5 g")
    drift_g_h: Number | None = says(
        "by how much the shown weight rises by itself; negative where it falls, as by evaporation", "g/h",
        act="drift of the scale", usual=Usual(0.02), example="0.0 ± 0.1 g/h",
    )  # fmt: skip
    vapour: Interval | None = says(
        "how far the gas is laden with vapour when it leaves: 1 is fully, 0 is dried", kind="interval", low=0.0,
        high=2.0, example="0.9 to 1.1",
    )  # fmt: skip


@dataclass(frozen=True)
class PressureReadings(Gas):
    """Pressure in the closed vessel."""

    kind: ClassVar[str] = "pressure"
    column: ClassVar[str] = "pressure_bar_gauge"
    unit: ClassVar[str] = "bar"

    pressure: str | None = says(
        "gauge counts from the air's pressure, absolute from nothing", kind="word", words=("gauge", "absolute")
    )
    u_reading: float | None = reading_u("bar", Usual(0.02), "0.01 bar")


@dataclass(frozen=True)
class RoomReadings(Gas):
    """CO2 in the air of the room or cupboard that [room] describes."""

    kind: ClassVar[str] = "room air"
    column: ClassVar[str] = "co2_ppm"
    unit: ClassVar[str] = "ppm"

    u_reading: float | None = reading_u("ppm", Usual(30.0, 0.02), "30 ppm")


GAS_KINDS: Final[Mapping[str, type[Gas]]] = {
    one.kind: one for one in (CollectedVolume, FlowRate, BubbleCount, VesselWeight, PressureReadings, RoomReadings)
}
"""Each kind of gas reading, with the keys that it uses."""

INSTEAD: Final = {
    ("bubble count", "volume factor"): "write volume_per_bubble",
    ("flow rate", "volume factor"): "write flow_factor",
    ("collected volume", "flow factor"): "write volume_factor",
    ("bubble count", "u reading"): "a count is exact; write spread_of_bubble for bubbles that differ",
    ("vessel weight", "u increment"): "write u_reading",
    ("flow rate", "u increment"): "write u_reading",
    ("vessel weight", "dry"): "write vapour = \"0\" for gas that leaves through a drier",
}  # fmt: skip
"""What to write in place of a key that a kind of gas reading does not use."""


def unused_by(kind: str, key: str) -> str:
    """What to say of a key that this kind of gas reading does not use; empty where no kind knows it.

    Examples
    --------
    >>> unused_by("bubble count", "volume factor")
    'a bubble count does not use it; write volume_per_bubble'
    """
    users = [name for name, one in GAS_KINDS.items() if key in {about.written for about in fields_of(one)}]
    if not users:
        return ""
    instead = INSTEAD.get((kind, key)) or f"it belongs to: {', '.join(users)}"
    return f"a {kind} does not use it; {instead}"


@dataclass(frozen=True)
class GasRow(Section):
    """gas.csv: readings of the gas. A [[gas]] may name a further table with these columns."""

    time_h: float | None = when(needed=True)
    volume_mL: float | None = says("collected up to then", "mL", low=0.0, also=("gas", "gas volume", "collected"))
    flow_mL_h: float | None = says("rate of the gas", "mL/h", also=("flow rate", "gas flow"))
    bubbles: float | None = says("counted up to then", low=0.0, also=("bubble", "count", "bubble count"))
    weight_g: float | None = weighing("the vessel with everything in it", "mass", "vessel weight")
    pressure_bar: float | None = says("in the vessel", "bar", low=-1.1, high=60.0)
    co2_ppm: float | None = says("CO2 in the air of the room", "ppm", low=0.0, high=1e6, also=("room co2",))
    temperature_C: float | None = says("of the gas where it is measured", "°C", low=-40.0, high=300.0)
    barometer_bar: float | None = says("pressure of the air then", "bar", low=0.5, high=1.2)
    note: str | None = text("anything else")
