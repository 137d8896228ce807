# ruff: noqa: RUF009  (the helpers called in the classes make dataclass fields)
"""Sections and tables of a run for what is around the vessel: the room's air, dissolved CO2, acidity in time."""

from dataclasses import dataclass

from fermkit.basis.written import Number
from fermkit.run.fields import Section, Usual, says, text, when


@dataclass(frozen=True)
class RoomSection(Section):
    """[room]: the room, cupboard or cold store that the vessel stands in."""

    volume_m3: Number | None = says(
        "air in it", "m3", act="measuring the room", low=0.0, usual=Usual(0.0, 0.05), example="0.40 ± 0.02 m3"
    )
    air_changes: Number | None = says(
        "how often an hour its air is renewed: from how fast CO2 falls when nothing makes any",
        act="air changes of the room", low=0.0, high=100.0, usual=Usual(0.0, 0.3), example="0.20 ± 0.03",
    )  # fmt: skip
    outdoor_ppm: Number | None = says(
        "CO2 of the air outside", "ppm", act="CO2 of the air outside", low=200.0, high=2000.0, usual=Usual(20.0),
        example="440 ± 20 ppm",
    )  # fmt: skip
    people: Number | None = says(
        "people in it, on average over the log", act="people in the room", low=0.0, high=1000.0, usual=Usual(0.0, 0.3),
        example="0.10 ± 0.03",
    )  # fmt: skip
    note: str | None = text("anything else")


@dataclass(frozen=True)
class DissolvedSection(Section):
    """[dissolved_co2]: CO2 in the liquid at the end, shaken out into air or titrated with a base to pH 8.3."""

    sample_mL: Number | None = says(
        "liquid taken", "mL", act="measuring the sample", low=0.0, usual=Usual(0.2, 0.005), example="30.0 ± 0.2 mL"
    )
    air_mL: Number | None = says(
        "air drawn in to shake it with", "mL", act="reading the air", low=0.0, usual=Usual(0.5), example="30.0 ± 0.5 mL"
    )
    gas_mL: Number | None = says(
        "gas over it after shaking", "mL", act="reading the gas", low=0.0, usual=Usual(0.5), example="44.0 ± 0.5 mL"
    )
    temperature_C: Number | None = says(
        "of sample and air", "°C", act="temperature of the shaken sample", low=0.0, high=46.0, usual=Usual(1.0),
        example="20.0 ± 0.5 °C",
    )  # fmt: skip
    base_mL: Number | None = says(
        "base to pH 8.3 for the fresh sample", "mL", act="titrating the sample", low=0.0, usual=Usual(0.1),
        example="5.0 ± 0.1 mL",
    )  # fmt: skip
    flat_mL: Number | None = says(
        "base for as much liquid that was made flat with air", "mL", act="titrating the flat sample", low=0.0,
        usual=Usual(0.1), example="1.6 ± 0.1 mL",
    )  # fmt: skip
    strength_mol_L: Number | None = says(
        "strength of the base", "mol/L", act="strength of the base", low=0.0, usual=Usual(0.0, 0.02),
        example="0.100 ± 0.001 mol/L",
    )  # fmt: skip
    note: str | None = text("anything else")


@dataclass(frozen=True)
class AcidityRow(Section):
    """acidity.csv: pH of the liquid while it fermented."""

    time_h: float | None = when(needed=True)
    pH: float | None = says("of the liquid", low=0.0, high=14.0, needed=True)
    note: str | None = text("anything else")
