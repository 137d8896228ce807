# ruff: noqa: RUF009  (the helpers called in the classes make dataclass fields)
"""Section and tables of a run for its yeast: counted under a grid, or seen as cloudiness."""

from dataclasses import dataclass
from typing import Any

from fermkit.basis.written import Number
from fermkit.run.fields import Section, Usual, says, text, when


@dataclass(frozen=True)
class YeastSection(Section):
    """[yeast]: how the yeast was counted, or read as cloudiness."""

    square_nL: Number | None = says(
        "what is above one square: its sides times the depth", "nL", act="volume above a square of the chamber",
        low=0.0, usual=Usual(0.0, 0.02), example="4.0 ± 0.1 nL",
    )  # fmt: skip
    cell_mass_pg: Number | None = says(
        "dry mass of a cell, from yeast both counted and dried", "pg", act="dry mass of a cell", low=0.0,
        usual=Usual(0.0, 0.15), example="42 ± 5 pg",
    )  # fmt: skip
    u_filling: float | None = says(
        "± of one filling of the chamber, as a share", kind="u", low=0.0, high=1.0, usual=Usual(0.05), example="5 %"
    )
    u_dilution: float | None = says(
        "± of each dilution, as a share", kind="u", low=0.0, high=1.0, usual=Usual(0.03), example="3 %"
    )
    note: str | None = text("anything else")


def diluted() -> Any:
    """How many times a sample was diluted."""
    return says("how many times diluted, the stain counted: 10, or 1+9, or 1 in 10", low=1.0)


def as_shown() -> Any:
    """An optical density as the instrument shows it."""
    return says("as shown", low=-0.5, high=10.0, needed=True, also=("od", "od600", "absorbance"))


@dataclass(frozen=True)
class CountRow(Section):
    """counts.csv: cells under the grid, a row each filling of the chamber."""

    time_h: float | None = when(needed=True)
    cells: float | None = says("all cells counted, the stained ones too", low=0.0, needed=True, also=("cell count",))
    squares: float | None = says("in how many squares", low=1.0, needed=True)
    dead: float | None = says("cells that took the stain", low=0.0, also=("stained", "blue"))
    dilution: float | None = diluted()
    note: str | None = text("anything else")


@dataclass(frozen=True)
class TurbidityRow(Section):
    """turbidity.csv: optical density of the liquid, as read."""

    time_h: float | None = when(needed=True)
    optical_density: float | None = as_shown()
    dilution: float | None = diluted()
    note: str | None = text("anything else")


@dataclass(frozen=True)
class TurbidityStandardRow(Section):
    """turbidity_standards.csv: optical density of yeast that was dried and weighed; its clear liquid alone is 0."""

    dry_g_L: float | None = says("dry yeast in it", "g/L", low=0.0, needed=True)
    optical_density: float | None = as_shown()
    note: str | None = text("anything else")
