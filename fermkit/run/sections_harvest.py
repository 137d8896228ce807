# ruff: noqa: RUF009  (the helpers called in the classes make dataclass fields)
"""Section and tables of a run for the harvest: weighings, drying, the warm hold."""

from dataclasses import dataclass
from typing import Any, Final

from fermkit.basis.written import Number
from fermkit.run.fields import Interval, Section, Usual, says, share, text, weighing, when


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
    paste_weighed: str | None = says(
        "whether the paste was weighed before or after it was washed; after, unless it is said", kind="word",
        words=("before washing", "after washing"),
    )  # fmt: skip
    autolysate_mL: Number | None = says(
        "liquid and paste at the end of the hold, all that was put in", "mL", act="measuring the autolysate", low=0.0,
        usual=Usual(2.0, 0.02), example="180 ± 3 mL",
    )  # fmt: skip
    salt_g: Number | None = says(
        "salt added to the paste for the autolysis", "g", act="weighing the salt", low=0.0, usual=Usual(0.1, 0.01),
        example="4.0 ± 0.1 g",
    )  # fmt: skip
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
    soluble_g_L: float | None = says(
        "dry solids dissolved in the clear liquid", "g/L", low=0.0, usual=Usual(0.5, 0.03), also=("soluble solids",)
    )
    brix_Bx: float | None = says(
        "refractometer, clear liquid at 20 °C", "°Bx", low=0.0, high=35.0, usual=Usual(0.1), also=("refractometer",)
    )
    amino_nitrogen_g_L: float | None = says(
        "by formol titration or another test, in the clear liquid", "g/L", low=0.0, usual=Usual(0.02, 0.05),
        also=("amino n", "fan"),
    )  # fmt: skip
    note: str | None = text("anything else")


@dataclass(frozen=True)
class KeepingSection(Section):
    """[keeping]: the product that will be kept, and a portion of it."""

    water: Number | None = share("water in the product, share of the mass", 0.01, 0.02, example="28 ± 1 %")
    salt: Number | None = share("salt in the product, share of the mass", 0.003, 0.05, example="11.0 ± 0.5 %")
    water_activity: Number | None = says(
        "measured with an instrument, at 25 °C", act="measuring the water activity", low=0.0, high=1.0,
        usual=Usual(0.01), example="0.74 ± 0.01",
    )  # fmt: skip
    pH: Number | None = says(
        "of the product", act="reading the product's pH", low=0.0, high=14.0, usual=Usual(0.1), example="5.4 ± 0.1"
    )
    portion_g: Number | None = says(
        "what is eaten at once", "g", act="weighing a portion", low=0.0, usual=Usual(0.5, 0.05), example="5 ± 1 g"
    )
    note: str | None = text("anything else")


POURED: Final = ("supernatant", "wash", "water")


@dataclass(frozen=True)
class WashingRow(Section):
    """washing.csv: what was poured off the yeast, in order: the supernatant, then each wash; and the plain water."""

    what: str | None = text("supernatant, wash or water", needed=True)
    volume_mL: float | None = says(
        "poured off", "mL", low=0.0, usual=Usual(2.0, 0.02), also=("poured off",)
    )
    solids_g_L: float | None = says(
        "dissolved and dry: of a clear glass, dried to the end", "g/L", low=0.0, usual=Usual(0.2, 0.03),
        also=("dissolved solids", "dry solids"),
    )  # fmt: skip
    brix_Bx: float | None = says(
        "refractometer, clear liquid at 20 °C", "°Bx", low=0.0, high=85.0, usual=Usual(0.1),
        also=("refractometer",),
    )  # fmt: skip
    conductivity_mS_cm: float | None = says(
        "at 25 °C, or as the meter compensates", "mS/cm", low=0.0, high=200.0, usual=Usual(0.01, 0.02)
    )
    cells_g_L: float | None = says(
        "yeast that still floats, dry, of a litre", "g/L", low=0.0, usual=Usual(0.05, 0.1),
        also=("suspended yeast", "suspended cells"),
    )  # fmt: skip
    note: str | None = text("anything else")
