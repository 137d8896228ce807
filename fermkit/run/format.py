"""What a run on disk may say: each section, key and column, its unit, and the name it gets here.

These tables are the whole format. A key of run.toml or a column of a table that is not in them is
reported with the nearest one that is; nothing is guessed.
"""

from dataclasses import dataclass
from typing import Final

INFINITE: Final = float("inf")


@dataclass(frozen=True, slots=True)
class Key:
    """One key of run.toml.

    Parameters
    ----------
    written : str
        The key in the file; spaces and underscores are the same.
    name : str
        Its name in `Run`, with the unit.
    unit : str
        What it is converted to.
    kind : str
        "number"; "interval" (low and high are kept); "range" (low and high, or a number);
        "text"; "word" (one of `words`); "flag"; "amount" (kept as text, read where it is a mass or a
        volume); "reading" (in the unit of the gas readings that it belongs to).
    act : str
        What a person does to get the number; it tags the uncertainty.
    words : tuple of str
    low, high : float
        Nothing outside is possible.
    """

    written: str
    name: str
    unit: str = "1"
    kind: str = "number"
    act: str = ""
    words: tuple[str, ...] = ()
    low: float = -INFINITE
    high: float = INFINITE


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: as written, as named in `Run`, its unit, and what is possible.

    `kind` is "number", "text" or "time"; the unit "any" is kept as written; with `always` no row may lack it.
    """

    written: str
    name: str
    unit: str = "1"
    kind: str = "number"
    low: float = -INFINITE
    high: float = INFINITE
    always: bool = False


def _text(*names: str) -> tuple[Key, ...]:
    return tuple(Key(name, name.replace(" ", "_"), kind="text") for name in names)


def _share(*names: str, act: str) -> tuple[Key, ...]:
    return tuple(Key(name, name.replace(" ", "_"), act=f"{name} {act}", low=0.0, high=1.0) for name in names)


GAS_COLUMNS: Final = {
    "collected volume": ("volume_mL", "mL"),
    "flow rate": ("flow_mL_h", "mL/h"),
    "bubble count": ("bubbles", "1"),
    "vessel weight": ("weight_g", "g"),
    "pressure": ("pressure_bar", "bar"),
}
"""For each kind of gas reading, the column that holds it and that column's unit."""

SUGARS: Final = (
    "sucrose", "glucose", "fructose", "invert", "invert sugar", "galactose", "maltose", "maltotriose",
    "raffinose", "lactose",
)  # fmt: skip
OTHER_PARTS: Final = (
    "water", "yeast", "dry matter", "ash", "unfermentable", "unfermentables", "nitrogen", "phosphorus",
    "sulphur", "sulfur", "potassium", "magnesium", "diammonium phosphate", "ammonium sulfate", "ammonium chloride",
    "urea", "monopotassium phosphate", "magnesium sulfate",
)  # fmt: skip
CLOSED: Final = ("airlock", "closed", "vented", "open")
AERATION: Final = ("none", "shaken", "air pump")
CURVES: Final = ("line", "weighted line", "quadratic", "power", "logistic4")
READS: Final = ("feed", "inoculum", "gas", "weights", "drying", "conditions", "hold")

RUN: Final = (
    *_text("name", "date", "note", "start"),
    Key("dates", "dates", kind="word", words=("day first", "month first")),
    Key("invented", "invented", kind="flag"),
)
VESSEL: Final = (
    Key("total", "total_L", "L", act="measuring the vessel", low=0.0),
    Key("liquid", "liquid_L", "L", act="measuring the liquid", low=0.0),
    *_text("kind", "material", "note"),
    Key("closed", "closed", kind="word", words=CLOSED),
    Key("rated", "rated_bar_gauge", "bar", act="the maker's rating", low=0.0),
)
CONDITIONS: Final = (
    Key("temperature", "temperature_C", "°C", act="reading the thermometer", low=-10.0, high=130.0),
    Key("barometer", "barometer_bar", "bar", act="reading the barometer", low=0.5, high=1.2),
    Key("pH", "pH", act="reading the pH", low=0.0, high=14.0),
    Key("aeration", "aeration", kind="word", words=AERATION),
    *_text("note"),
)
FEED: Final = (
    Key("ingredient", "ingredient", kind="text"),
    Key("amount", "amount", kind="amount", act="weighing the {ingredient}"),
    Key("time", "time_h", "h", act="noting the time", low=0.0),
    *_text("note"),
)
INGREDIENT: Final = (
    *_share(*SUGARS, *OTHER_PARTS, act="in the {ingredient}"),
    Key(
        "usable nitrogen", "usable_nitrogen", kind="range", act="usable nitrogen in the {ingredient}", low=0.0, high=1.0
    ),
    Key("density", "density", "g/mL", act="density of the {ingredient}", low=0.0),
    *_text("source", "note"),
)
INOCULUM: Final = (
    Key("ingredient", "ingredient", kind="text"),
    Key("amount", "amount", kind="amount", act="weighing the inoculum"),
    Key("dry matter", "dry_matter", act="dry matter of the inoculum", low=0.0, high=1.0),
    *_text("note"),
)
INSTRUMENT: Final = (
    Key("check weight", "check_weight_g", "g", act="the check weight's own error", low=0.0),
    Key("check reading", "check_reading_g", "g", act="weighing the check weight", low=0.0),
    Key("ice reading", "ice_reading_C", "°C", act="reading the thermometer in ice", low=-20.0, high=20.0),
    Key("zero reading", "zero_reading_bar", "bar", act="reading the gauge at zero"),
    Key("resolution", "resolution", kind="resolution"),
    Key("reads", "reads", kind="words", words=READS),
    *_text("note"),
)
GAS: Final = (
    Key("kind", "kind", kind="word", words=tuple(GAS_COLUMNS)),
    *_text("table", "note"),
    Key("pressure", "pressure", kind="word", words=("gauge", "absolute")),
    Key(
        "collector temperature", "collector_temperature_C", "°C", act="reading the collector's temperature",
        low=-10.0, high=60.0,
    ),
    Key("volume factor", "volume_factor", act="calibrating the collector", low=0.0),
    Key("flow factor", "flow_factor", act="calibrating the flow meter", low=0.0),
    Key("volume per bubble", "volume_per_bubble_mL", "mL", act="calibrating the bubbles", low=0.0),
    Key("spread of bubble", "spread_of_bubble", low=0.0),
    Key("u reading", "u_reading", kind="reading"),
    Key("u increment", "u_increment", kind="reading"),
    Key("loss to water", "loss_to_water", kind="interval", low=0.0, high=1.0),
    Key("vapour", "vapour", kind="interval", low=0.0, high=2.0),
    Key("drift", "drift_g_h", "g/h", act="drift of the scale"),
    Key("dry", "dry", kind="flag"),
)  # fmt: skip
ETHANOL: Final = (
    Key("curve", "curve", kind="word", words=CURVES),
    Key("u pipetting", "u_pipetting", act="pipetting the dilution", low=0.0, high=1.0),
    *_text("note"),
)
DENSITY: Final = (
    Key("start", "start_kg_m3", "kg/m3", act="reading the hydrometer at the start", low=900.0, high=1500.0),
    Key("end", "end_kg_m3", "kg/m3", act="reading the hydrometer at the end", low=900.0, high=1500.0),
    Key("reference temperature", "reference_temperature_C", "°C", act="the hydrometer's reference temperature"),
    Key("reading temperature", "reading_temperature_C", "°C", act="temperature in the hydrometer's jar"),
    *_text("note"),
)
RESIDUAL_SUGAR: Final = (
    Key("value", "value_g_L", "g/L", act="measuring the residual sugar", low=0.0),
    *_text("method", "note"),
)
HARVEST: Final = (
    Key("carried solids", "carried_solids", act="solids of the feed carried into the product", low=0.0, high=1.0),
    Key("window", "window_C", "°C", kind="interval"),
    Key("nitrogen", "nitrogen", act="nitrogen of the dried product", low=0.0, high=1.0),
    Key("ash", "ash", act="ash of the dried product", low=0.0, high=1.0),
    Key("u weighing", "u_weighing_g", "g", low=0.0),
    Key("moisture left", "moisture_left", act="moisture left in the dried product", low=0.0, high=1.0),
    Key("share harvested", "share_harvested", act="share of the liquid that was harvested", low=0.0, high=1.0),
    *_text("note"),
)
SECTIONS: Final = {
    "run": RUN, "vessel": VESSEL, "conditions": CONDITIONS, "feed": FEED, "ingredients": INGREDIENT,
    "inoculum": INOCULUM, "instruments": INSTRUMENT, "gas": GAS, "ethanol": ETHANOL, "density": DENSITY,
    "residual_sugar": RESIDUAL_SUGAR, "harvest": HARVEST,
}  # fmt: skip
"""Sections of run.toml."""

LISTS: Final = ("feed", "gas")
"""Sections that may stand several times: [[feed]], [[gas]]."""

NAMED: Final = ("ingredients", "instruments")
"""Sections that hold one part a name: [ingredients."beet molasses"]."""

TIME: Final = Column("time", "time_h", "h", "time", always=True)
SOMETIMES: Final = Column("time", "time_h", "h", "time")
TEMPERATURE: Final = Column("temperature", "temperature_C", "°C", low=-40.0, high=300.0)
NOTE: Final = Column("note", "note", kind="text")
TABLES: Final = {
    "gas": (
        TIME, Column("volume", "volume_mL", "mL", low=0.0), Column("flow", "flow_mL_h", "mL/h"),
        Column("bubbles", "bubbles", low=0.0), Column("weight", "weight_g", "g", low=0.0),
        Column("pressure", "pressure_bar", "bar", low=-1.1, high=60.0), TEMPERATURE,
        Column("barometer", "barometer_bar", "bar", low=0.5, high=1.2), Column("event", "event", kind="text"), NOTE,
    ),
    "standards": (
        Column("ethanol", "ethanol_pct_vol", "% vol", low=0.0, high=100.0), Column("signal", "signal", "any"),
        Column("when", "when", kind="text"), TEMPERATURE, Column("u", "u_pct_vol", "% vol", low=0.0), SOMETIMES, NOTE,
    ),
    "samples": (
        Column("sample", "sample", kind="text"), SOMETIMES, Column("signal", "signal", "any"),
        Column("dilution", "dilution", low=1.0), TEMPERATURE, NOTE,
    ),
    "volumes": (
        TIME, Column("what", "what", kind="text"), Column("volume", "volume_mL", "mL", low=0.0, always=True),
        Column("u", "u_mL", "mL", low=0.0), NOTE,
    ),
    "weights": (
        Column("item", "item", kind="text"), Column("tare", "tare_g", "g", low=0.0),
        Column("wet", "wet_g", "g", low=0.0), Column("dry", "dry_g", "g", low=0.0), NOTE,
    ),
    "drying": (
        TIME, Column("weight", "weight_g", "g", low=0.0), Column("item", "item", kind="text"), TEMPERATURE, NOTE,
    ),
    "hold": (TIME, TEMPERATURE, Column("pH", "pH", low=0.0, high=14.0), NOTE),
}  # fmt: skip
"""Columns of each table, one CSV or sheet each. A [[gas]] may name a further table with the columns of gas."""

NEEDED: Final = {
    "gas": ("time_h",), "standards": ("ethanol_pct_vol", "signal"), "samples": ("signal",),
    "volumes": ("time_h", "what", "volume_mL"), "weights": ("item", "tare_g", "wet_g"),
    "drying": ("time_h", "weight_g"), "hold": ("time_h", "temperature_C"),
}  # fmt: skip
"""Columns without which a table is of no use."""
