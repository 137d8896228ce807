# ruff: noqa: RUF009  (the helpers called in the classes make dataclass fields)
"""Sections of a run on what was put together, in what, and with which instruments; and a person's own sums."""

from dataclasses import dataclass
from typing import Any, Final

from fermkit.basis.intervals import HALF_WIDTH
from fermkit.basis.written import Number
from fermkit.run.fields import WEIGHED, Interval, Section, Usual, says, share, text, worked_out


@dataclass(frozen=True)
class About(Section):
    """[run]: which batch this is."""

    name: str | None = text("what you call this batch", example="jar 3")
    date: str | None = text("the day it began", example="2026-03-02")
    start: str | None = text("the moment that counts as 0 h, where times are clock times", example="18:00")
    dates: str | None = says("how dates such as 03/04/2026 are meant", kind="word", words=("day first", "month first"))
    state: str | None = says(
        "whether it still ferments: stopped is no gas for a day, used up is by a sugar test",
        kind="word", words=("running", "stopped", "used up"),
    )  # fmt: skip
    invented: bool | None = says("data made up for practice", kind="flag")
    note: str | None = text("anything else")


CLOSED: Final = ("airlock", "closed", "vented", "open")
SMALLEST_L: Final = 0.001
"""No batch is smaller than a millilitre [L]."""


@dataclass(frozen=True)
class VesselSection(Section):
    """[vessel]: what it ferments in."""

    total_L: Number | None = says(
        "volume of the empty vessel up to the lid", "L", act="measuring the vessel", low=0.0,
        usual=Usual(0.0, 0.02), example="3.0 ± 0.1 L",
    )  # fmt: skip
    liquid_L: Number | None = says(
        "liquid in it at the start, with everything in", "L", act="measuring the liquid", low=SMALLEST_L,
        usual=Usual(0.0, 0.02), example="2.00 ± 0.02 L",
    )  # fmt: skip
    kind: str | None = text("jar, bottle, keg …", example="jar")
    material: str | None = says("glass, steel, plastic …", kind="text", example="glass")
    closed: str | None = says(
        "vented is by hand, how often belongs in a note; closed is never opened", kind="word", words=CLOSED
    )
    rated_bar_gauge: Number | None = says(
        "the maker's pressure rating, above the air's", "bar", act="the maker's rating", low=0.0, example="4.0 bar"
    )
    note: str | None = text("anything else")


@dataclass(frozen=True)
class Conditions(Section):
    """[conditions]: how warm, how sour, how much air."""

    temperature_C: Number | None = says(
        "of the liquid", "°C", act="reading the thermometer", low=-10.0, high=130.0, usual=Usual(1.0),
        example="28.0 ± 0.5 °C",
    )  # fmt: skip
    barometer_bar: Number | None = says(
        "pressure of the air where the vessel stands", "bar", act="reading the barometer", low=0.5, high=1.2,
        usual=Usual(0.005), example="1008 ± 2 hPa",
    )  # fmt: skip
    pH: Number | None = says(
        "of the liquid", act="reading the pH", low=0.0, high=14.0, usual=Usual(0.1), example="4.8 ± 0.1"
    )
    aeration: str | None = says("how air got in", kind="word", words=("none", "shaken", "air pump"))
    note: str | None = text("anything else")


def price_of(what: str) -> Any:
    """A price, in the money that [cost] names; without ± it is good to its last digit."""
    return says(f"price of {what}", act=f"the price of {what}", low=0.0, usual=Usual(), example="1.20 ± 0.05")


@dataclass(frozen=True)
class FeedItem(Section):
    """[[feed]], once for each: what the yeast was given."""

    ingredient: str | None = text("which ingredient", example="beet molasses")
    amount: str | None = says(
        "how much: grams, millilitres or a kitchen measure", "g", kind="amount", act="weighing the {ingredient}",
        usual=WEIGHED, example="240 ± 1 g",
    )  # fmt: skip
    time_h: Number | None = says(
        "hours after the start, where it was fed later", "h", act="noting the time", low=0.0, usual=Usual(0.1),
        example="12 ± 0.1 h",
    )  # fmt: skip
    price: Number | None = price_of("a kilogram of it")
    note: str | None = text("anything else")
    amount_g: Number | None = worked_out()
    amount_mL: Number | None = worked_out()


def part(name: str) -> Any:
    """A share of an ingredient's mass."""
    return share(f"{name}, share of the mass", act=f"{name} in the {{ingredient}}", example="5.0 ± 0.5 %")


@dataclass(frozen=True)
class Ingredient(Section):
    """[ingredients."its name"]: what it is made of, where the built-in table is not right."""

    sucrose: Number | None = part("sucrose")
    glucose: Number | None = part("glucose")
    fructose: Number | None = part("fructose")
    invert: Number | None = part("invert sugar")
    invert_sugar: Number | None = part("invert sugar")
    galactose: Number | None = part("galactose")
    maltose: Number | None = part("maltose")
    maltotriose: Number | None = part("maltotriose")
    raffinose: Number | None = part("raffinose")
    lactose: Number | None = part("lactose, which baker's yeast leaves")
    water: Number | None = part("water")
    yeast: Number | None = part("dry yeast")
    dry_matter: Number | None = part("dry yeast")
    ash: Number | None = part("ash")
    unfermentable: Number | None = part("solids that yeast leaves")
    unfermentables: Number | None = part("solids that yeast leaves")
    nitrogen: Number | None = part("nitrogen")
    phosphorus: Number | None = part("phosphorus")
    sulphur: Number | None = part("sulfur")
    sulfur: Number | None = part("sulfur")
    potassium: Number | None = part("potassium")
    magnesium: Number | None = part("magnesium")
    diammonium_phosphate: Number | None = part("diammonium phosphate")
    ammonium_sulfate: Number | None = part("ammonium sulfate")
    ammonium_chloride: Number | None = part("ammonium chloride")
    urea: Number | None = part("urea")
    monopotassium_phosphate: Number | None = part("monopotassium phosphate")
    magnesium_sulfate: Number | None = part("magnesium sulfate")
    usable_nitrogen: Interval | Number | None = says(
        "the nitrogen that yeast can use, low to high", kind="range", act="usable nitrogen in the {ingredient}",
        low=0.0, high=1.0, usual=Usual(0.0, 0.3), example="0.1 to 0.3 %",
    )  # fmt: skip
    density: Number | None = says(
        "grams a millilitre", "g/mL", act="density of the {ingredient}", low=0.0, usual=Usual(0.0, 0.02),
        example="1.40 ± 0.03 g/mL",
    )  # fmt: skip
    source: str | None = text("where these numbers stand")
    note: str | None = text("anything else")


@dataclass(frozen=True)
class Inoculum(Section):
    """[inoculum]: the yeast that was put in."""

    ingredient: str | None = text("which yeast", example="active dry yeast")
    amount: str | None = says(
        "how much: grams, millilitres or a kitchen measure", "g", kind="amount", act="weighing the inoculum",
        usual=WEIGHED, example="5.0 ± 0.1 g",
    )  # fmt: skip
    dry_matter: Number | None = share("share of it that is dry yeast", 0.02, 0.0, act="dry matter of the inoculum",
                                      example="95 ± 1 %")  # fmt: skip
    price: Number | None = price_of("a kilogram of it")
    note: str | None = text("anything else")
    amount_g: Number | None = worked_out()
    amount_mL: Number | None = worked_out()


READS: Final = ("feed", "inoculum", "gas", "weights", "drying", "conditions", "hold")


@dataclass(frozen=True)
class Instrument(Section):
    """[instruments."its name"]: how a scale, thermometer or gauge was checked."""

    check_weight_g: Number | None = says(
        "a weight that is known", "g", act="the check weight's own error", low=0.0,
        usual=Usual(0.0, 0.0005 * HALF_WIDTH, "OIML R 111-1:2004, class M3: 0.05 % at most (from memory)"),
        example="500 g",
    )  # fmt: skip
    check_reading_g: Number | None = says(
        "what the scale showed for it", "g", act="weighing the check weight", low=0.0, usual=WEIGHED, example="502 g"
    )
    ice_reading_C: Number | None = says(
        "what the thermometer showed in melting ice", "°C", act="reading the thermometer in ice", low=-20.0, high=20.0,
        usual=Usual(0.2), example="0.4 °C",
    )  # fmt: skip
    zero_reading_bar: Number | None = says(
        "what the gauge showed when open to the air", "bar", act="reading the gauge at zero", usual=Usual(0.005),
        example="0.02 bar",
    )  # fmt: skip
    resolution: str | None = says(
        "the smallest step that it shows: half of it is the half-width of each reading", kind="resolution",
        example="1 g",
    )  # fmt: skip
    reads: tuple[str, ...] | None = says("which readings it made", kind="words", words=READS, example="weights")
    note: str | None = text("anything else")
    u_reading_g: float | None = worked_out()
    u_reading_C: float | None = worked_out()
    u_reading_bar: float | None = worked_out()
    factor: Number | None = worked_out()
    offset_C: Number | None = worked_out()
    offset_bar: Number | None = worked_out()


@dataclass(frozen=True)
class CostSection(Section):
    """[cost]: money, besides the prices that stand beside each ingredient."""

    currency: str | None = text("what the money is called", example="euro")
    energy_kWh: Number | None = says(
        "energy for warming, holding, aerating and drying", "kWh", act="reading the energy", low=0.0,
        usual=Usual(0.0, 0.05), example="1.8 ± 0.1 kWh",
    )  # fmt: skip
    energy_price: Number | None = price_of("a kilowatt-hour")
    other: Number | None = price_of("all other things together")
    dry_portion_g: Number | None = says(
        "dry yeast in a portion", "g", act="weighing a portion", low=0.0, usual=Usual(0.0, 0.1), example="5.0 ± 0.5 g"
    )
    note: str | None = text("anything else")


@dataclass(frozen=True)
class MySums(Section):
    """[my_sums]: what you worked out yourself. It is held against the result and never used in it."""

    co2_g: float | None = says("CO2 made", "g", kind="claim", low=0.0, example="42 g")
    ethanol_g: float | None = says("alcohol made", "g", kind="claim", low=0.0, example="50 g")
    yeast_g: float | None = says("dry yeast made", "g", kind="claim", low=0.0, example="9 g")
    yeast_at_most_g: float | None = says("most dry yeast that can be", "g", kind="claim", low=0.0, example="60 g")
    pressure_bar: float | None = says("pressure in the vessel, above the air's", "bar", kind="claim", example="2 bar")
    yield_: float | None = says("grams of dry yeast a gram of sugar", kind="claim", low=0.0, example="0.10")


OWN_TABLES: Final = "tables"


@dataclass(frozen=True)
class OwnTable(Section):
    """[tables.gas], or another table: a file of your own, and which of its columns is which.

    Beside these keys each column of the table may be named: ``volume = "Gas [ml]"``; and its unit, where the title has
    none: ``volume_unit = "mL"``.
    """

    file: str | None = text("a CSV or a workbook in this folder, with titles of its own", example="my log.xlsx")
    sheet: str | None = text("its sheet, in a workbook", example="Sheet1")
    date: str | None = text("the column with the day, where day and time stand in two columns", example="Date")
