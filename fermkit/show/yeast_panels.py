"""Panels for yeast: count cells under a grid, and feed no faster than yeast and air can respire."""

from typing import Any, Final

import numpy as np

from fermkit.basis.written import Line, Page, interval, nominal, uncertainty
from fermkit.batch.aeration import oxygen_transfer
from fermkit.batch.feeding import feeding
from fermkit.batch.readings import HEXOSE_G
from fermkit.batch.respired import OXYGEN_PER_HEXOSE
from fermkit.growth.cell_counts import counting_noise
from fermkit.growth.yeast_counts import MIDDLE_SQUARE_NL, count_cells
from fermkit.show import plots
from fermkit.show.controls import Control, Slider
from fermkit.show.guess import Place
from fermkit.show.panel import Panel

FEWEST: Final = 10
"""Squares from which on their scatter tells of clumps."""

SIDE: Final = 5
"""Squares along a side of the picture: 25 middle squares, as one square millimetre of a chamber has."""


def cells(per_mL_million: float = 2.0, stained_pct: float = 10.0) -> Panel:
    """Cells under a counting grid: how far a count can be off, and what clumps do. The cells are invented.

    Parameters
    ----------
    per_mL_million : float
        Cells in a millilitre of what is in the chamber, where the slider starts [million].
    stained_pct : float
        Dead cells among them [%].

    Returns
    -------
    Panel
        Sliders: ``per_mL_million``, ``stained_pct``, ``squares``, ``clump`` (cells that hang together), ``filling``
        (another filling of the chamber).
    """
    picture = plots.figure(9.5, 9.5)
    with plots.house_style():
        ax = picture.subplots()

    def draw(per_mL_million: float, stained_pct: float, squares: float, clump: float, filling: float) -> Page:
        rng = np.random.default_rng(int(filling))
        a_square = per_mL_million * MIDDLE_SQUARE_NL
        hang = round(clump)
        counts = hang * rng.poisson(a_square / hang, (SIDE, SIDE))
        dead = rng.binomial(counts, stained_pct / 100)
        plots.counting_grid(counts, dead, int(filling), ax=ax)
        n = round(squares)
        seen, dyed = counts.ravel()[:n], dead.ravel()[:n]
        truth = f"{per_mL_million:.3g} million/mL, and {100 - stained_pct:.3g} % alive"
        if not seen.sum():
            return Page("No cell was met: count more squares, or dilute less.", [Line("the truth", truth)])
        found = count_cells(int(seen.sum()), n, dead=int(dyed.sum()))
        million, u = nominal(found.per_mL) / 1e6, uncertainty(found.per_mL) / 1e6
        low, high = (100 * end for end in found.alive_limits)
        lines = [
            Line("cells counted", f"{found.cells}", "", f"in {n} squares"),
            Line("cells in a millilitre", found.per_mL / 1e6, "million"),
            Line("alive", found.alive * 100, "%", "", (low, high)),
            Line("the truth", truth),
        ]
        said = [f"From {FEWEST} squares on their scatter shows whether cells clump."]
        if n >= FEWEST:
            said = list(counting_noise(seen).page().remarks[:1])
        holds = max(million - 1.96 * u, 0.0) <= per_mL_million <= million + 1.96 * u
        verdict = "which holds the truth" if holds else "which misses the truth: one count of twenty may, clumps do"
        between = interval(max(million - 1.96 * u, 0.0), million + 1.96 * u, "million/mL")
        return Page(f"The count says {between}, {verdict}.", lines, said)

    controls: list[Control] = [
        Slider("per_mL_million", "Cells in the chamber, million/mL", 0.1, 6, 0.1, per_mL_million),
        Slider("stained_pct", "Stained, %", 0, 100, 1, stained_pct),
        Slider("squares", "Squares counted", 1, SIDE * SIDE, 1, SIDE),
        Slider("clump", "Cells that hang together", 1, 8, 1, 1),
        Slider("filling", "Another filling, no.", 1, 30, 1, 1),
    ]
    return Panel("Count cells", controls, draw, picture, guess="cells in a millilitre")


def feed_slowly(sugar_g: float = 60.0, yeast_g: float = 0.5, liquid_L: float = 2.0) -> Panel:
    """Feed sugar no faster than the yeast and the air can respire it.

    Parameters
    ----------
    sugar_g, yeast_g, liquid_L : float
        Where the sliders start: sugar to be fed as hexose, dry yeast put in [g]; liquid [L].

    Returns
    -------
    Panel
        Sliders: ``sugar_g``, ``yeast_g``, ``liquid_L``, ``kLa_per_h`` (how well the air gets in), ``growth_per_h``.
    """
    picture = plots.figure(10.5, 7.6)
    with plots.house_style():
        ax = picture.subplots()

    def draw(sugar_g: float, yeast_g: float, liquid_L: float, kLa_per_h: float, growth_per_h: float) -> Page:
        oxygen: Any = oxygen_transfer(kLa_per_h, temperature_C=30.0)
        ceiling = oxygen * liquid_L / 1000.0 / OXYGEN_PER_HEXOSE * HEXOSE_G
        plan = feeding(sugar_g, yeast_g, ceiling, growth_per_h=growth_per_h)
        plots.feeding(plan, ax=ax)
        lines = [
            Line("first two hours", f"{plan.rows[0][1]:.2g}", "g/h", "as much as the yeast can take"),
            Line("the air respires", f"{plan.ceiling_g_per_h:.2g}", "g/h"),
            Line("all is in after", f"{plan.hours:.0f}", "h"),
        ]
        when = (
            f"from {plan.at_ceiling_h:.0f} h on the air sets the pace" if np.isfinite(plan.at_ceiling_h)
            else "the yeast sets the pace to the end"
        )  # fmt: skip
        heading = f"Begin with {plan.rows[0][1]:.2g} g/h; {when}; all is in after {plan.hours:.0f} h."
        return Page(heading, lines, [*plan.page().remarks[1:]])

    controls: list[Control] = [
        Slider("sugar_g", "Sugar to be fed, g", 10, 500, 5, sugar_g),
        Slider("yeast_g", "Dry yeast put in, g", 0.5, 50, 0.5, yeast_g),
        Slider("liquid_L", "Liquid, L", 0.5, 10, 0.5, liquid_L),
        Slider("kLa_per_h", "How well air gets in, kLa, 1/h", 5, 200, 5, 60),
        Slider("growth_per_h", "Growth rate to feed for, 1/h", 0.05, 0.25, 0.01, 0.20),
    ]
    return Panel("Feed slowly", controls, draw, picture, guess="first two hours", place=Place("y"))
