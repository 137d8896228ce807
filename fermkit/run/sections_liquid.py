# ruff: noqa: RUF009  (the helpers called in the classes make dataclass fields)
"""Sections and tables of a run for the liquid: alcohol, density, sugar, and what was taken out or put in."""

from dataclasses import dataclass
from typing import Any, Final

from fermkit.basis.written import Number
from fermkit.run.fields import Section, Usual, says, text, warm, when

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
    refractometer: str | None = says(
        "whether it corrects for warmth by itself; it does, unless it is said", kind="word",
        words=("corrects itself", "plain"),
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
class TemperatureRow(Section):
    """temperature.csv: how warm the liquid was while it fermented, day and night."""

    time_h: float | None = when(needed=True)
    temperature_C: float | None = says("of the liquid", "°C", low=-40.0, high=300.0, needed=True)
    note: str | None = text("anything else")


@dataclass(frozen=True)
class SugarRow(Section):
    """sugar.csv: hydrometer, refractometer, sugar tests, read again and again."""

    time_h: float | None = when(needed=True)
    density_kg_m3: float | None = says(
        "hydrometer marked in kg/m3", "kg/m3", low=900.0, high=1500.0, usual=Usual(1.0), also=("hydrometer",)
    )
    gravity: float | None = says(
        "hydrometer marked in specific gravity, such as 1.038", low=0.9, high=1.5, usual=Usual(0.001),
        also=("sg", "specific gravity"),
    )  # fmt: skip
    brix_Bx: float | None = says(
        "refractometer as it shows, alcohol and all", "°Bx", low=-1.0, high=35.0, usual=Usual(0.2),
        also=("refractometer",),
    )  # fmt: skip
    glucose_g_L: float | None = says(
        "test that sees glucose alone: meters, glucose strips", "g/L", low=0.0, high=1500.0, usual=Usual(0.3, 0.15)
    )
    reducing_g_L: float | None = says(
        "test that sees glucose and fructose, and no sucrose: copper tablets, titration", "g/L", low=0.0, high=1500.0,
        usual=Usual(0.5, 0.1), also=("reducing sugar",),
    )  # fmt: skip
    temperature_C: float | None = says("of the liquid, in the jar or on the glass", "°C", low=0.0, high=60.0)
    note: str | None = text("anything else")
