"""The panel of a batch in time: sugar, alcohol, yeast, gas and pressure in one picture, before anything is read."""

from typing import Any, Final

import numpy as np

from fermkit.basis.constants import STANDARD_ATMOSPHERE_BAR
from fermkit.basis.written import Line, Page, in_percent
from fermkit.kinetics.ahead import Ahead, ahead
from fermkit.kinetics.answers import Answer
from fermkit.kinetics.rates import CO2
from fermkit.matter.feed import YEAST_NITROGEN
from fermkit.matter.properties import co2_solubility
from fermkit.show import plots
from fermkit.show.controls import Control, Slider
from fermkit.show.guess import Place
from fermkit.show.panel import Panel
from fermkit.show.planning_panels import BEYOND_BAR, HIGHEST_BAR, NEVER, along
from fermkit.vessel.container import Vessel
from fermkit.vessel.gas_space import gas_mol_per_L

SHOWN_H: Final = 72.0
"""How many hours the picture shows [h]."""

VESSEL_L: Final = 3.0
LIQUID_L: Final = 2.0
"""The vessel of the picture, and the liquid in it [L]."""

CURVES: Final = (("sugar", "sugar", "vermilion"), ("alcohol", "alcohol", "blue"), ("gas", "gas that left", "black"),
                 ("yeast", "yeast, dry", "green"))  # fmt: skip
"""What is drawn: its name in the bands, its words, its colour."""


def batch_in_time() -> Panel:
    """What a batch does in time: sugar, alcohol, yeast and gas, and the pressure if it were closed.

    Returns
    -------
    Panel
        Sliders: ``inoculum_g_L``, ``temperature_C``, ``sugar_g_L``, ``nitrogen_mg_L`` (usable). Pale bands hold
        eight of ten usual batches.
    """
    picture = plots.figure(10.5, 9.5)
    with plots.house_style():
        grams, gauge = picture.subplots(2, 1, height_ratios=(5, 2), sharex=True)
    hours = np.linspace(0.0, SHOWN_H, 97)

    def draw(inoculum_g_L: float, temperature_C: float, sugar_g_L: float, nitrogen_mg_L: float) -> Page:
        found = ahead(
            hours, sugar_g_L=sugar_g_L, inoculum_g_L=inoculum_g_L, temperature_C=temperature_C,
            nitrogen_yeast_g_L=nitrogen_mg_L / 1000 / float(np.mean(YEAST_NITROGEN)), liquid_L=LIQUID_L,
            store_mol=LIQUID_L * float(co2_solubility(temperature_C, 1.0)),
            gas_space_mol=(VESSEL_L - LIQUID_L) * float(gas_mol_per_L(temperature_C, STANDARD_ATMOSPHERE_BAR)),
        )  # fmt: skip
        for (name, words, colour), dash in zip(CURVES, plots.DASHES):
            times = CO2 / LIQUID_L if name == "gas" else 1.0
            mid, low, high = (times * one for one in getattr(found.bands, name))
            if name == "sugar":
                grams.fill_between(hours, low, high, **_pale(colour))
            grams.plot(hours, mid, color=plots.COLOURS[colour], linestyle=dash, label=words)
        grams.set(xlim=(0, SHOWN_H), ylim=(0, 1.04 * max(sugar_g_L, 10.0)), ylabel="in the batch [g/L]")
        plots.legend(grams, "upper right")
        bars = [along(Vessel(VESSEL_L, LIQUID_L, temperature_C), made) for made in found.bands.co2]
        gauge.fill_between(hours, *(np.nan_to_num(one, nan=HIGHEST_BAR) for one in bars[1:]), **_pale("black"))
        gauge.plot(hours, bars[0], color=plots.COLOURS["black"])
        gauge.set(ylim=(0, HIGHEST_BAR), xlabel="time [h]", ylabel="if closed [bar]")
        return _said(found, bars[0], sugar_g_L, temperature_C)

    controls: list[Control] = [
        Slider("inoculum_g_L", "Dry yeast put in, g/L", 0.2, 10, 0.1, 2.5),
        Slider("temperature_C", "Temperature, °C", 8, 40, 0.5, 25),
        Slider("sugar_g_L", "Sugar, g/L", 20, 250, 5, 100),
        Slider("nitrogen_mg_L", "Nitrogen that yeast can use, mg/L", 20, 800, 10, 300),
    ]
    return Panel("A batch in time", controls, draw, picture, guess="sugar gone", place=Place("x"))


def _pale(colour: str) -> dict[str, Any]:
    """A pale band with an edge that can be seen."""
    full = plots.COLOURS[colour]
    return {"facecolor": (full, 0.16), "edgecolor": full, "linewidth": 0.7}


def _said(found: Ahead, bars: np.ndarray, sugar_g_L: float, temperature_C: float) -> Page:
    """The page: hours, amounts, what to doubt."""
    closed = f"above {BEYOND_BAR:g}" if np.isnan(bars[-1]) else f"{bars[-1]:.1f}"
    lines = [
        _line("sugar gone", found.gone),
        _line("alcohol at the end", found.alcohol),
        _line("new dry yeast at the end", found.yeast),
        Line("pressure if closed", closed, "bar gauge", f"at {SHOWN_H:g} h; {LIQUID_L:g} L in {VESSEL_L:g} L"),
    ]
    when = f"goes in {found.gone.low:.0f} to {found.gone.high:.0f} h in 8 of 10 batches, here {found.gone.value:.0f} h"
    if found.stops_short > 0.5:
        when = "does not all go: more than half of usual batches stop before"
    doubts = [
        "Lines: every quantity as is usual. Pale: eight of ten batches. Yours has its own yeast; readings tell.",
        f"Stop with more than 5 % of the sugar left: {in_percent(found.stops_short)} of usual batches.",
    ]
    return Page(f"{sugar_g_L:g} g/L of sugar at {temperature_C:g} °C {when}.", lines, [*doubts, NEVER])


def _line(words: str, one: Answer) -> Line:
    return Line(words, one.shown, one.unit, f"{one.low:.3g} to {one.high:.3g} {one.unit} in 8 of 10")
