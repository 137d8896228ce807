"""Sugar fed slowly, in time: first no faster than the little yeast can respire, later no faster than the air allows."""

from dataclasses import dataclass
from typing import Any, Final

from fermkit.basis.checks import positive
from fermkit.basis.written import Line, Page, Written, nominal

FED_GROWTH_PER_H: Final = 0.20
"""Growth rate that yeast is fed for [1/h]: below about 0.25 to 0.3 1/h, where baker's yeast begins to ferment even at
little sugar (Postma et al., Appl. Environ. Microbiol. 55 (1989) 468, from memory), with some room."""

YEAST_PER_SUGAR: Final = 0.50
"""Dry yeast from sugar that is respired [g/g hexose]: common practice, no source."""

STEP_H: Final = 2.0
"""For so long one rate is kept [h]: a person feeds by hand."""

MOST_STEPS: Final = 60
"""Five days; a feeding that takes longer is told as such."""


SIGN_PCT_VOL: Final = 0.2
"""More alcohol than this in the liquid says that sugar is fed too fast [% vol]: common practice, no source; yeast that
respires all of its sugar makes none."""


@dataclass(frozen=True, repr=False)
class Feeding(Written):
    """When to feed how much sugar: ``rows`` of hour, rate [g hexose/h], and grams fed by the end of the step.

    Attributes
    ----------
    inoculum_g, ceiling_g_per_h : float
        Dry yeast put in [g]; sugar that the air can respire [g hexose/h].
    left_g : float
        Sugar that could not be fed in the time [g].
    growth_per_h : float
        Growth rate that is fed for [1/h].
    of_feed : float
        Grams of hexose in a gram of what is poured in.
    """

    inoculum_g: float
    ceiling_g_per_h: float
    rows: tuple[tuple[float, float, float], ...]
    left_g: float
    growth_per_h: float = FED_GROWTH_PER_H
    of_feed: float = 1.0

    @property
    def hours(self) -> float:
        """When the last step ends [h]."""
        return self.rows[-1][0] + STEP_H

    @property
    def at_ceiling_h(self) -> float:
        """From when on the air sets the pace [h]; infinite where the sugar ends before."""
        return next((start for start, rate, _ in self.rows if rate >= self.ceiling_g_per_h), float("inf"))

    def page(self) -> Page:
        """The feeding as a table to print and to tick off."""
        lines = [
            Line(f"{start:.0f} to {start + STEP_H:.0f} h", f"{rate * STEP_H / self.of_feed:.2g}", "g",
                 f"{rate / self.of_feed:.2g} g/h; {fed / self.of_feed:.3g} g in by then; alcohol? ____")
            for start, rate, fed in self.rows
        ]  # fmt: skip
        what = "sugar" if self.of_feed == 1.0 else f"feed with {100 * self.of_feed:.3g} % of sugar"
        said = [
            f"Grams of {what}, as hexose. The start is set by the {self.inoculum_g:.2g} g of dry yeast put in: µ X/Y, "
            f"with µ = {self.growth_per_h:.2g} an hour and Y = {YEAST_PER_SUGAR:g} g/g. The end is set by the air "
            f"({self.ceiling_g_per_h:.2g} g/h of sugar).",
            f"Fed faster, the yeast ferments the rest. The sign of too much is alcohol: more than {SIGN_PCT_VOL:g} % "
            "vol in the liquid, or a strong smell of it. Then stop until it is gone, and go on at half the pace. Gas "
            "alone is no sign; gas beside the oxygen used is.",
            "Pour each step's grams evenly over its two hours, or in at least four portions.",
        ]
        if self.left_g > 0:
            said.append(f"After {self.hours:.0f} h {self.left_g:.3g} g are still to be fed: aerate more, or feed less.")
        return Page("Sugar fed in time", lines, said)


def feeding(
    sugar_g: Any, inoculum_g: Any, ceiling_g_per_h: Any, *, growth_per_h: float = FED_GROWTH_PER_H, of_feed: Any = 1.0
) -> Feeding:
    """A feeding in steps of two hours that yeast can respire: exponential, then at the ceiling of the air.

    Parameters
    ----------
    sugar_g : value
        Sugar to be fed, as hexose [g].
    inoculum_g : value
        Dry yeast put in [g].
    ceiling_g_per_h : value
        Sugar that the oxygen brought in can respire [g hexose/h].
    growth_per_h : float
        Growth rate that is fed for [1/h].
    of_feed : value
        Grams of hexose in a gram of what is poured in: 1.0526 for sucrose, about 0.5 for molasses.

    Returns
    -------
    Feeding

    Notes
    -----
    F = min(µ X/Y, ceiling), kept for each step at its value at the step's start; X grows by Y for each gram fed.

    Examples
    --------
    >>> plan = feeding(100.0, 1.0, 3.7)
    >>> [round(rate, 2) for _, rate, _ in plan.rows[:4]], max(rate for _, rate, _ in plan.rows)
    ([0.4, 0.56, 0.78, 1.1], 3.7)

    References
    ----------
    Fed-batch growth: Doran, Bioprocess Engineering Principles, ch. 13 (from memory).
    """
    sugar, yeast, ceiling = (nominal(value) for value in (sugar_g, inoculum_g, ceiling_g_per_h))
    positive(sugar, "sugar to be fed [g]")
    positive(yeast, "dry yeast put in [g]")
    positive(ceiling, "sugar that the air respires [g/h]")
    positive(growth_per_h, "growth rate [1/h]")
    positive(nominal(of_feed), "sugar in a gram of the feed [g/g]")
    rows: list[tuple[float, float, float]] = []
    fed, grown = 0.0, yeast
    while fed < sugar and len(rows) < MOST_STEPS:
        rate = min(growth_per_h * grown / YEAST_PER_SUGAR, ceiling, (sugar - fed) / STEP_H)
        start = STEP_H * len(rows)
        fed += rate * STEP_H
        grown += YEAST_PER_SUGAR * rate * STEP_H
        rows.append((start, rate, fed))
    return Feeding(yeast, ceiling, tuple(rows), max(0.0, sugar - fed), growth_per_h, nominal(of_feed))
