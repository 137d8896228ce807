"""What a run on disk may say. Here alone it is listed: the reader, the printed list, the empty run and the types
are made from these classes.

A section of run.toml and a table are each a frozen dataclass (`sections_batch`, `sections_gas`, `sections_liquid`,
`sections_yeast`, `sections_around`, `sections_harvest`). Each of their fields says its unit, the act that its ± belongs
to, what is possible, what ± is usual in a kitchen, and in one line what it means. Nothing else is read: a key or column
that is not here is reported with the nearest one that is.
"""

from collections.abc import Mapping
from typing import Final

from fermkit.run.fields import Field, Section, fields_of
from fermkit.run.sections_around import AcidityRow, DissolvedSection, RoomSection
from fermkit.run.sections_batch import (
    About,
    Conditions,
    CostSection,
    FeedItem,
    Ingredient,
    Inoculum,
    Instrument,
    MySums,
    VesselSection,
)
from fermkit.run.sections_gas import Gas, GasRow
from fermkit.run.sections_harvest import DryingRow, HarvestSection, HoldRow, KeepingSection, WashingRow, WeightRow
from fermkit.run.sections_liquid import (
    Density,
    Ethanol,
    ResidualSugar,
    SampleRow,
    StandardRow,
    SugarRow,
    TemperatureRow,
    VolumeRow,
)
from fermkit.run.sections_yeast import CountRow, TurbidityRow, TurbidityStandardRow, YeastSection

SECTIONS: Final[Mapping[str, type[Section]]] = {
    "run": About, "vessel": VesselSection, "conditions": Conditions, "feed": FeedItem, "ingredients": Ingredient,
    "inoculum": Inoculum, "instruments": Instrument, "gas": Gas, "ethanol": Ethanol, "density": Density,
    "residual_sugar": ResidualSugar, "harvest": HarvestSection,
    "yeast": YeastSection, "room": RoomSection, "dissolved_co2": DissolvedSection, "cost": CostSection,
    "keeping": KeepingSection, "my_sums": MySums,
}  # fmt: skip
"""Sections of run.toml. A [[gas]] is of the class in GAS_KINDS that its kind names."""

LISTS: Final = ("feed", "gas")
"""Sections that may stand several times: [[feed]], [[gas]]."""

NAMED: Final = ("ingredients", "instruments")
"""Sections that hold one part a name: [ingredients."beet molasses"]."""

ROWS: Final[Mapping[str, type[Section]]] = {
    "gas": GasRow, "standards": StandardRow, "samples": SampleRow, "volumes": VolumeRow, "weights": WeightRow,
    "drying": DryingRow, "hold": HoldRow, "washing": WashingRow, "temperature": TemperatureRow,
    "counts": CountRow, "turbidity": TurbidityRow, "turbidity_standards": TurbidityStandardRow,
    "sugar": SugarRow, "acidity": AcidityRow,
}  # fmt: skip

Column = Field
TABLES: Final = {name: fields_of(row) for name, row in ROWS.items()}
"""Columns of each table, one CSV or sheet each."""

NEEDED: Final = {name: tuple(c.name for c in columns if c.needed) for name, columns in TABLES.items()}
"""Columns without which a table is of no use."""

GONE: Final = {
    "event": "write it under note; vents are found in the readings",
    "time": "write before or after under when",
    "temperature": "the course of the weight alone is read; write it under note",
}
"""What to do instead of a column that a table does not have."""
