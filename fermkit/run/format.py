# ruff: noqa: RUF009  (the helpers called in the classes make dataclass fields)
"""What a run on disk may say. Here alone it is declared: the reader, the printed list, the empty run and the types
are made from these classes.

A section of run.toml and a table are each a frozen dataclass. Each of their fields says its unit, the act that its ±
belongs to, what is possible, what ± is usual in a kitchen, and in one line what it means. Nothing else is read: a key
or column that is not here is reported with the nearest one that is.
"""

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Final, TypeAlias

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.intervals import HALF_WIDTH
from fermkit.basis.written import Number

INFINITE: Final = float("inf")
NO_SOURCE: Final = "common practice, no source"

Interval: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Usual:
    """The standard uncertainty of a reading that is written without one.

    Parameters
    ----------
    u : float
        At least this much, in the field's unit.
    share : float
        Or this share of the value, if that is more; of what is nearer, 0 or 1, for a value between them.
    source : str
    """

    u: float = 0.0
    share: float = 0.0
    source: str = NO_SOURCE

    def of(self, value: float, resolution: float = 0.0, *, about: bool = False, high: float = INFINITE) -> float:
        """For one value written to a `resolution`; three times as wide where it is written 'about'.

        Examples
        --------
        >>> round(Usual(0.0, 0.005).of(240.0, 1.0), 2), round(Usual(0.0, 0.005).of(5.0, 1.0), 2)
        (1.2, 0.29)
        """
        size = min(abs(value), abs(high - value)) if high == 1.0 else abs(value)
        return max(self.u, self.share * size, resolution / 2 * HALF_WIDTH) * (3.0 if about else 1.0)


@dataclass(frozen=True, slots=True)
class Field:
    """One key of run.toml, or one column of a table.

    Attributes
    ----------
    explains : str
        What it is, in one line.
    unit : str
        What it is converted to; "any" is kept as written.
    kind : str
        "number"; "u" (a standard uncertainty); "interval" (low and high); "range" (low and high, or a number);
        "text"; "word" (one of `words`); "words" (several); "flag"; "amount" (a mass, a volume or a kitchen
        measure); "resolution"; "grams" (dry, several add up); "strength" (of alcohol); "claim" (a person's own
        sum, without ±); of columns "number", "text" or "time".
    act : str
        What a person does to get the number; it tags the uncertainty.
    low, high : float
        Nothing outside is possible.
    usual : Usual or None
        Taken where no ± is written; None for what is exact: counts and definitions.
    needed : bool
        Of a column: without it the table is of no use.
    always : bool
        Of a column: no row may lack it.
    also : tuple of str
        Other titles that people give a column (common practice, no source).
    name, written : str
        The attribute, with its unit; and the key or title as people write it.
    """

    explains: str
    unit: str = "1"
    kind: str = "number"
    act: str = ""
    words: tuple[str, ...] = ()
    low: float = -INFINITE
    high: float = INFINITE
    usual: Usual | None = None
    example: str = ""
    needed: bool = False
    always: bool = False
    also: tuple[str, ...] = ()
    name: str = ""
    written: str = ""

    @property
    def title(self) -> str:
        """As a column's header: ``volume [mL]``."""
        unit = "V" if self.unit == "any" else self.unit
        return self.written if self.kind == "text" or unit == "1" else f"{self.written} [{unit}]"


SUFFIXES: Final = {
    "L": "_L", "mL": "_mL", "g": "_g", "h": "_h", "bar": "_bar", "°C": "_C", "mL/h": "_mL_h", "% vol": "_pct_vol",
    "kg/m3": "_kg_m3", "g/L": "_g_L", "g/h": "_g_h",
}  # fmt: skip
"""How a unit ends an attribute's name."""


def says(explains: str, unit: str = "1", **more: Any) -> Any:
    """A field of a section or table; left out it is None, or its default."""
    return dataclasses.field(default=more.pop("default", None), metadata={"field": Field(explains, unit, **more)})


def text(explains: str, **more: Any) -> Any:
    """A field of free text."""
    return says(explains, kind="text", **more)


def share(explains: str, u: float = 0.002, of: float = 0.05, **more: Any) -> Any:
    """A share of a mass, 0 to 1."""
    act = more.pop("act", explains)
    return says(explains, act=act, low=0.0, high=1.0, usual=Usual(u, of), **more)


def worked_out() -> Any:
    """A value that is worked out of what was written, and never written itself."""
    return dataclasses.field(default=None, metadata={})


def fields_of(section: "type[Section]") -> tuple[Field, ...]:
    """The fields that a section or table may be written with.

    Examples
    --------
    >>> [field.written for field in fields_of(VesselSection)][:3]
    ['total', 'liquid', 'kind']
    """
    out = []
    for one in dataclasses.fields(section):  # type: ignore[arg-type]
        if "field" in one.metadata:
            about: Field = one.metadata["field"]
            bare = one.name.rstrip("_").removesuffix("_gauge").removesuffix(SUFFIXES.get(about.unit, "\0"))
            out.append(replace(about, name=one.name, written=bare.replace("_", " ")))
    return tuple(out)


def usual_number(section: "type[Section]", name: str, value: float) -> Number:
    """A value with the usual ± of a field.

    Examples
    --------
    >>> print(usual_number(CollectedVolume, "volume_factor", 1.0))
    1.000+/-0.020
    """
    about = next(one for one in fields_of(section) if one.name == name)
    u = about.usual.of(value) if about.usual is not None else 0.0
    return ufloat(value, u, tag=Act(f"usual {name}", f"{about.act}, not done"))


def step_of(values: Sequence[float]) -> float:
    """The step in which readings were written: the largest of 1, 2 and 5 times a power of ten that divides them all.

    Examples
    --------
    >>> step_of([240.0, 250.0, 275.0]), step_of([0.15, 0.2]), step_of([3.0])
    (5.0, 0.05, 1.0)
    """
    sizes = [abs(value) for value in values if value]
    for power in range(3, -7, -1):
        for times in (5.0, 2.0, 1.0):
            step = times * 10.0**power
            alone = len(sizes) < 2 and (times != 1.0 or power > 0)  # 240 alone is written to 1, not to 20
            if not alone and all(abs(value / step - round(value / step)) < 1e-6 for value in sizes):
                return step
    return 0.0


class Section:
    """What all sections share: which of their fields were written."""

    @property
    def given(self) -> dict[str, Any]:
        """Name → value of what was written or worked out."""
        return {
            one.name: getattr(self, one.name)
            for one in dataclasses.fields(self)  # type: ignore[arg-type]
            if getattr(self, one.name) is not None
        }

    def or_usual(self, name: str, values: Any) -> float:
        """A ± as written, else the usual one for these values, held against the step in which they are written."""
        written = getattr(self, name)
        if written is not None:
            return float(written)
        usual = next(about.usual for about in fields_of(type(self)) if about.name == name)
        sizes = [abs(float(value)) for value in values]
        return usual.of(max(sizes, default=0.0), step_of(sizes)) if usual is not None else 0.0

    def __bool__(self) -> bool:
        return bool(self.given)


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


WEIGHED: Final = Usual(0.0, 0.005)
"""A kitchen scale: half of the last digit shown, or half a percent of the load if that is more."""


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
class Gas(Section):
    """[[gas]], once for each route to the gas."""

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
        "grams an hour that the scale loses by itself; they are added back", "g/h", act="drift of the scale",
        usual=Usual(0.02), example="0.0 ± 0.1 g/h",
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


GAS_KINDS: Final[Mapping[str, type[Gas]]] = {
    one.kind: one for one in (CollectedVolume, FlowRate, BubbleCount, VesselWeight, PressureReadings)
}
"""Each kind of gas reading, with the keys that it uses."""

CURVES: Final = ("line", "weighted line", "quadratic", "power", "saturating", "logistic4", "suggest")


@dataclass(frozen=True)
class Ethanol(Section):
    """[ethanol]: how the alcohol was found."""

    content_pct_vol: Number | None = says(
        "alcohol at the end, measured elsewhere or read off", "% vol", kind="strength", act="measuring the alcohol",
        low=0.0, high=100.0, usual=Usual(0.3), example="3.3 ± 0.3 % vol",
    )  # fmt: skip
    curve: str | None = says("curve through the standards", kind="word", words=CURVES)
    u_pipetting: float | None = says(
        "± of each dilution, as a share", kind="u", act="pipetting the dilution", low=0.0, high=1.0,
        usual=Usual(0.02), example="1 %",
    )  # fmt: skip
    note: str | None = text("anything else")


def hydrometer(when: str) -> Any:
    """A hydrometer's reading."""
    return says(
        f"hydrometer at the {when}: kg/m3, or specific gravity such as 1.038", "kg/m3",
        act=f"reading the hydrometer at the {when}", low=900.0, high=1500.0, usual=Usual(1.0),
        example="1035.0 ± 0.5 kg/m3",
    )  # fmt: skip


@dataclass(frozen=True)
class Density(Section):
    """[density]: the hydrometer, before and after."""

    start_kg_m3: Number | None = hydrometer("start")
    end_kg_m3: Number | None = hydrometer("end")
    reference_temperature_C: Number | None = says(
        "printed on the hydrometer", "°C", act="the hydrometer's reference temperature", low=0.0, high=60.0,
        example="20 °C",
    )  # fmt: skip
    reading_temperature_C: Number | None = says(
        "of the liquid in the hydrometer's jar; left out: the reference temperature", "°C",
        act="temperature in the hydrometer's jar", low=0.0, high=60.0, usual=Usual(1.0), example="24.0 ± 0.5 °C",
    )  # fmt: skip
    note: str | None = text("anything else")


@dataclass(frozen=True)
class ResidualSugar(Section):
    """[residual_sugar]: sugar left at the end."""

    value_g_L: Number | None = says(
        "sugar left over", "g/L", act="measuring the residual sugar", low=0.0, usual=Usual(0.5, 0.2),
        example="0.5 ± 0.3 g/L",
    )  # fmt: skip
    method: str | None = text("how it was measured", example="test strip")
    note: str | None = text("anything else")


def dry_grams(name: str) -> Any:
    """Dry grams of a fraction, without a table of weighings."""
    return says(
        f"dry matter of the {name}; several dishes, in brackets, add up", "g", kind="grams",
        act=f"weighing the {name}", low=0.0, usual=Usual(0.1, 0.02), example="21.5 ± 0.5 g dry",
    )  # fmt: skip


@dataclass(frozen=True)
class HarvestSection(Section):
    """[harvest]: what came out."""

    paste_g: Number | None = dry_grams("paste")
    extract_g: Number | None = dry_grams("extract")
    debris_g: Number | None = dry_grams("debris")
    carried_solids: Number | None = share(
        "share of the feed's other solids that is still in the product", 0.02, 0.5,
        act="solids of the feed carried into the product", example="4.0 ± 1.0 %",
    )  # fmt: skip
    window_C: Interval | None = says("where the warm hold should be", "°C", kind="interval", example="45 to 55 °C")
    nitrogen: Number | None = share("nitrogen of the dried product", 0.002, 0.03, example="8.4 ± 0.2 %")
    ash: Number | None = share("ash of the dried product", 0.005, 0.1, example="6.5 ± 0.5 %")
    u_weighing_g: float | None = says(
        "± of each weighing at harvest", "g", kind="u", low=0.0, usual=Usual(0.02), example="0.02 g"
    )
    moisture_left: Number | None = share("moisture left in the dried product", 0.01, 0.0, example="2 ± 1 %")
    share_harvested: Number | None = share("share of the liquid that was harvested", 0.02, 0.0, example="98 ± 1 %")
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


SECTIONS: Final[Mapping[str, type[Section]]] = {
    "run": About, "vessel": VesselSection, "conditions": Conditions, "feed": FeedItem, "ingredients": Ingredient,
    "inoculum": Inoculum, "instruments": Instrument, "gas": Gas, "ethanol": Ethanol, "density": Density,
    "residual_sugar": ResidualSugar, "harvest": HarvestSection, "my_sums": MySums,
}  # fmt: skip
"""Sections of run.toml. A [[gas]] is of the class in GAS_KINDS that its kind names."""

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


LISTS: Final = ("feed", "gas")
"""Sections that may stand several times: [[feed]], [[gas]]."""

NAMED: Final = ("ingredients", "instruments")
"""Sections that hold one part a name: [ingredients."beet molasses"]."""


def when(*, needed: bool = False) -> Any:
    """The time of a row; where it is needed no row may lack it."""
    also = ("t", "elapsed", "elapsed time", "clock", "time of day", "date", "date time", "datetime")
    explains = "hours, minutes or days since the start, or the clock"
    return says(explains, "h", kind="time", needed=needed, always=needed, also=also)


def warm() -> Any:
    """A temperature beside a reading."""
    return says("at that moment", "°C", low=-40.0, high=300.0, also=("temp", "t °c"))


def weighing(what: str, *also: str, needed: bool = False) -> Any:
    """A weight in a table."""
    return says(what, "g", low=0.0, needed=needed, also=also)


@dataclass(frozen=True)
class GasRow(Section):
    """gas.csv: readings of the gas. A [[gas]] may name a further table with these columns."""

    time_h: float | None = when(needed=True)
    volume_mL: float | None = says("collected up to then", "mL", low=0.0, also=("gas", "gas volume", "collected"))
    flow_mL_h: float | None = says("rate of the gas", "mL/h", also=("flow rate", "gas flow"))
    bubbles: float | None = says("counted up to then", low=0.0, also=("bubble", "count", "bubble count"))
    weight_g: float | None = weighing("the vessel with everything in it", "mass", "vessel weight")
    pressure_bar: float | None = says("in the vessel", "bar", low=-1.1, high=60.0)
    temperature_C: float | None = says("of the gas where it is measured", "°C", low=-40.0, high=300.0)
    barometer_bar: float | None = says("pressure of the air then", "bar", low=0.5, high=1.2)
    note: str | None = text("anything else")


@dataclass(frozen=True)
class StandardRow(Section):
    """standards.csv: solutions of known alcohol, as the sensor read them."""

    ethanol_pct_vol: float | None = says(
        "what the standard holds", "% vol", low=0.0, high=100.0, needed=True, also=("alcohol", "content")
    )
    signal: float | None = says("what the sensor showed", "any", needed=True, also=("reading", "sensor", "voltage"))
    when: str | None = text("before or after the samples")
    temperature_C: float | None = warm()
    u_pct_vol: float | None = says("± of what the standard holds", "% vol", low=0.0)
    note: str | None = text("anything else")


@dataclass(frozen=True)
class SampleRow(Section):
    """samples.csv: what the sensor showed for each sample."""

    sample: str | None = text("its name; once for the rows below it is enough")
    time_h: float | None = when()
    signal: float | None = says("what the sensor showed", "any", needed=True, also=("reading", "sensor", "voltage"))
    dilution: float | None = says("how many times diluted: 10, or 1+9, or 1 in 10", low=1.0)
    temperature_C: float | None = warm()
    note: str | None = text("anything else")


@dataclass(frozen=True)
class VolumeRow(Section):
    """volumes.csv: liquid taken out or put in."""

    time_h: float | None = when(needed=True)
    what: str | None = text("sample, spill, harvest, evaporation, water or feed", needed=True)
    volume_mL: float | None = says("how much", "mL", low=0.0, needed=True, always=True)
    u_mL: float | None = says("its ±", "mL", low=0.0, usual=Usual(0.5, 0.02))
    note: str | None = text("anything else")


@dataclass(frozen=True)
class WeightRow(Section):
    """weights.csv: weighings at harvest, in their dish."""

    item: str | None = text("paste, paste sample, extract or debris", needed=True)
    tare_g: float | None = weighing("the empty dish", needed=True)
    wet_g: float | None = weighing("dish and wet sample", needed=True)
    dry_g: float | None = weighing("dish and dried sample")
    note: str | None = text("anything else")


@dataclass(frozen=True)
class DryingRow(Section):
    """drying.csv: one item, weighed again and again while it dries."""

    time_h: float | None = when(needed=True)
    weight_g: float | None = weighing("dish and sample", "mass", needed=True)
    item: str | None = text("which item of weights.csv")
    note: str | None = text("anything else")


@dataclass(frozen=True)
class HoldRow(Section):
    """hold.csv: the warm hold of the autolysis."""

    time_h: float | None = when(needed=True)
    temperature_C: float | None = says("of the paste", "°C", low=-40.0, high=300.0, needed=True)
    pH: float | None = says("of the paste", low=0.0, high=14.0)
    note: str | None = text("anything else")


ROWS: Final[Mapping[str, type[Section]]] = {
    "gas": GasRow, "standards": StandardRow, "samples": SampleRow, "volumes": VolumeRow, "weights": WeightRow,
    "drying": DryingRow, "hold": HoldRow,
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
