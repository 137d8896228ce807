# ruff: noqa: RUF009  (the helpers called in the classes make dataclass fields)
"""Section and tables of a run for the harvest: weighings, drying, the warm hold."""

from dataclasses import dataclass
from typing import Any

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
