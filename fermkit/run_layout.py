"""What a run on disk may say: each section, key and column, its unit, and the name it gets here.

The table is the whole format. A key in run.toml or a column of a CSV that is not in it
is reported with the nearest one that is; nothing is guessed.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Key:
    """One key of run.toml.

    `written` is the name in the file; `name` the one in `Run`, with the unit; `unit` what it is
    converted to; `kind` is "number", "interval" (kept as low and high), "text", "word" (one of
    `words`), "flag" or "amount" (kept as text, and read where it is a plain mass or volume);
    `act` what a person does to get the number, which tags its uncertainty.
    """

    written: str
    name: str
    unit: str = ""
    kind: str = "number"
    act: str = ""
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: as written, as named in `Run`, its unit, "number", "text" or "time"."""

    written: str
    name: str
    unit: str = ""
    kind: str = "number"


def _text(*names: str) -> tuple[Key, ...]:
    return tuple(Key(name, name.replace(" ", "_"), kind="text") for name in names)


GAS_KINDS: Final = ("collected volume", "flow rate", "bubble count", "vessel weight", "pressure")
CLOSED: Final = ("airlock", "closed", "vented", "open")
AERATION: Final = ("none", "shaken", "air pump")
LEDGER_ACTS: Final = ("sample", "water", "feed", "evaporation", "spill")

RUN: Final = (
    *_text("name", "date", "note", "start", "dates"),
    Key("invented", "invented", kind="flag"),
)
VESSEL: Final = (
    Key("total", "total_L", "L", act="measuring the vessel"),
    Key("liquid", "liquid_L", "L", act="measuring the liquid"),
    *_text("kind", "material"),
    Key("closed", "closed", kind="word", words=CLOSED),
    Key("rated", "rated_bar_gauge", "bar", act="rating by the maker"),
)
CONDITIONS: Final = (
    Key("temperature", "temperature_C", "degC", act="reading the thermometer"),
    Key("barometer", "barometer_bar", "bar", act="reading the barometer"),
    Key("pH", "pH", "1", act="reading the pH"),
    Key("aeration", "aeration", kind="word", words=AERATION),
)
FEED: Final = (
    Key("ingredient", "ingredient", kind="text"),
    Key("amount", "amount", kind="amount", act="weighing the {ingredient}"),
    Key("time", "time_h", "h", act="noting the time"),
    Key("note", "note", kind="text"),
)
INGREDIENT: Final = (
    *(
        Key(name, name, "1", act=f"composition of the ingredient: {name}")
        for name in (
            "sucrose", "glucose", "fructose", "invert", "maltose", "lactose", "water", "ash", "unfermentable",
            "nitrogen", "usable_nitrogen", "phosphorus", "sulphur", "potassium", "magnesium",
        )
    ),
    Key("density", "density_kg_m3", "kg/m3", act="density of the ingredient"),
    *_text("source", "note"),
)  # fmt: skip
INOCULUM: Final = (
    Key("ingredient", "ingredient", kind="text"),
    Key("amount", "amount", kind="amount", act="weighing the inoculum"),
    Key("dry_matter", "dry_matter", "1", act="dry matter of the inoculum"),
    Key("note", "note", kind="text"),
)
INSTRUMENT: Final = (
    Key("check_weight", "check_weight_g", "g", act="the check weight"),
    Key("check_reading", "check_reading_g", "g", act="weighing the check weight"),
    Key("ice_reading", "ice_reading_C", "degC", act="reading the thermometer in ice"),
    Key("zero_reading", "zero_reading_bar", "bar", act="reading the gauge at zero"),
    *_text("note"),
)
GAS: Final = (
    Key("kind", "kind", kind="word", words=GAS_KINDS),
    *_text("table", "note"),
    Key("pressure", "pressure", kind="word", words=("gauge", "absolute")),
    Key("collector_temperature", "collector_temperature_C", "degC", act="reading the collector's temperature"),
    Key("volume_factor", "volume_factor", "1", act="calibrating the collector"),
    Key("volume_per_bubble", "volume_per_bubble_mL", "mL", act="calibrating the bubbles"),
    Key("u_reading_volume", "u_reading_mL", "mL"),
    Key("u_reading", "u_reading", kind="amount"),
    Key("u_increment", "u_increment", kind="amount"),
    Key("loss_to_water", "loss_to_water", "1", kind="interval"),
    Key("water_loss", "water_loss_g", "g", act="water carried out of the vessel"),
    Key("reset", "reset", kind="text"),
)
ETHANOL: Final = (
    Key("curve", "curve", kind="word", words=("line", "weighted line", "quadratic", "power", "logistic4")),
    Key("u_pipetting", "u_pipetting", "1", act="pipetting the dilution"),
    *_text("standards", "samples", "note"),
)
DENSITY: Final = (
    Key("start", "start_kg_m3", "kg/m3", act="reading the hydrometer at the start"),
    Key("end", "end_kg_m3", "kg/m3", act="reading the hydrometer at the end"),
    Key("reference_temperature", "reference_temperature_C", "degC"),
    Key("reading_temperature", "reading_temperature_C", "degC", act="temperature of the hydrometer sample"),
    *_text("note"),
)
RESIDUAL_SUGAR: Final = (
    Key("value", "value_g_L", "g/L", act="measuring the residual sugar"),
    *_text("method", "note"),
)
HARVEST: Final = (
    Key("carried_solids", "carried_solids", "1", act="guessing the feed solids carried into the product"),
    Key("window", "window_C", "degC", kind="interval"),
    Key("nitrogen", "nitrogen", "1", act="nitrogen of the dried product"),
    Key("ash", "ash", "1", act="ash of the dried product"),
    Key("u_weighing", "u_weighing_g", "g", act="weighing"),
    Key("moisture_left", "moisture_left", "1", act="moisture left in the dried product"),
    Key("share_harvested", "share_harvested", "1", act="share of the liquid harvested"),
    *_text("note"),
)
SECTIONS: Final = {
    "run": RUN, "vessel": VESSEL, "conditions": CONDITIONS, "feed": FEED, "ingredients": INGREDIENT,
    "inoculum": INOCULUM, "instruments": INSTRUMENT, "gas": GAS, "ethanol": ETHANOL, "density": DENSITY,
    "residual_sugar": RESIDUAL_SUGAR, "harvest": HARVEST,
}  # fmt: skip
"""Sections of run.toml. `feed` and `gas` are lists ([[feed]]); `ingredients` and `instruments` are named."""

LISTS: Final = ("feed", "gas")
NAMED: Final = ("ingredients", "instruments")

TIME: Final = Column("time", "time_h", "h", "time")
TEMPERATURE: Final = Column("temperature", "temperature_C", "degC")
NOTE: Final = Column("note", "note", kind="text")
TABLES: Final = {
    "gas": (
        TIME, Column("volume", "volume_mL", "mL"), Column("flow", "flow_mL_h", "mL/h"), Column("bubbles", "bubbles"),
        Column("weight", "weight_g", "g"), Column("pressure", "pressure_bar", "bar"), TEMPERATURE,
        Column("event", "event", kind="text"), NOTE,
    ),
    "standards": (
        Column("ethanol", "ethanol_pct_vol", "% vol"), Column("signal", "signal", "any"),
        Column("when", "when", kind="text"), TEMPERATURE, TIME, NOTE,
    ),
    "samples": (
        Column("sample", "sample", kind="text"), TIME, Column("signal", "signal", "any"),
        Column("dilution", "dilution"), TEMPERATURE, NOTE,
    ),
    "volumes": (TIME, Column("what", "what", kind="text"), Column("volume", "volume_mL", "mL"), NOTE),
    "weights": (
        Column("item", "item", kind="text"), Column("tare", "tare_g", "g"), Column("wet", "wet_g", "g"),
        Column("dry", "dry_g", "g"), NOTE,
    ),
    "drying": (TIME, Column("weight", "weight_g", "g"), Column("item", "item", kind="text"), TEMPERATURE, NOTE),
    "hold": (TIME, TEMPERATURE, Column("pH", "pH"), NOTE),
}  # fmt: skip
"""Tables of a run, one CSV or sheet each. A [[gas]] or [ethanol] may name further ones of the same columns."""
