"""One batch, one estimate: whatever was measured, every quantity gets its best answer.

A batch has a state (`readings.state_of`), tied by carbon and electrons. What is known before any reading (`known`) is
narrowed by each reading, whichever there are (`least_squares`). Every quantity has a value, a 95 % interval and a
mark that says how it is known. All questions (does it add up, what to measure next, whose ± it is) go to this estimate.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, overload

import numpy as np
from scipy.special import chdtrc
from uncertainties import ufloat

from fermkit.basis.budget import Budget, budget_of
from fermkit.basis.checks import one_of
from fermkit.basis.written import Line, Page, Written, in_percent, in_words, nominal
from fermkit.batch.answers import (
    LEAST_U,
    NORMAL_95,
    QUANTITIES,
    amounts_of,
    answers_of,
    problem_of,
    settled,
    shown_by,
    steps_of,
)
from fermkit.batch.answers import Answer as Answer
from fermkit.batch.answers import Mark as Mark
from fermkit.batch.closing import IfClosed, if_closed
from fermkit.batch.impossible import Oddity, Sort, oddities
from fermkit.batch.known import Latent, Recipe, Surroundings, known, surroundings
from fermkit.batch.least_squares import Floats, Settled, on_its_side, slopes
from fermkit.batch.readings import Reading, candidates, state_of, used_up
from fermkit.matter.usual import FOR_ALARMS, FOR_INTERVALS
from fermkit.vessel.container import Vessel

ALARM: Final = 0.05
"""An honest run alarms less often than this [-]."""


@dataclass(frozen=True, repr=False)
class AddsUp(Written):
    """Whether all readings can belong to one batch: one statistic for the run.

    ``J`` is chi-square with as many degrees of freedom as there are readings; a run without a mistake alarms in
    fewer than one of twenty.
    """

    J: float
    readings: int
    p: float

    @property
    def alarm(self) -> bool:
        """Whether a mistake is likely somewhere."""
        return self.readings > 0 and self.p < ALARM

    @property
    def says(self) -> str:
        """The verdict in words, with how often it alarms for nothing."""
        if not self.readings:
            return "Nothing was read, so there is nothing to hold against the recipe."
        if self.alarm:
            said = f"The readings do not fit together ({in_words(self.p)} that they are so far apart by chance)."
        else:
            said = "The readings fit together. That is no proof: see what could not have been seen."
        return f"{said} A run without a mistake alarms in fewer than {100 * ALARM:.0f} of 100."

    def page(self) -> Page:
        """The verdict as a page."""
        lines = [Line("misfit", self.J, "", f"{self.readings} expected"), Line("by chance", in_words(self.p))]
        return Page("Does it add up?", lines if self.readings else (), (self.says,))


@dataclass(frozen=True)
class Gain:
    """What one further reading, good to ± `u`, would do: `left` says how wide each interval would be, as a share of now
    [-]."""

    words: str
    u: str
    left: Mapping[str, float]

    @property
    def most(self) -> float:
        """The width left on the average of alcohol, CO2, yeast and sugar left."""
        return float(np.exp(np.mean([np.log(max(self.left[key], 1e-6)) for key in HEADLINE])))


NARROWS: Final = 0.995
"""A reading that leaves more than this of the width narrows nothing [-]."""
HEADLINE: Final = ("co2", "ethanol", "yeast", "sugar_left")


@dataclass(frozen=True, repr=False)
class Gains(Written, Sequence[Gain]):
    """What each reading not yet taken would bring, the most useful first."""

    gains: tuple[Gain, ...]

    @overload
    def __getitem__(self, at: int) -> Gain: ...

    @overload
    def __getitem__(self, at: slice) -> tuple[Gain, ...]: ...

    def __getitem__(self, at: int | slice) -> Gain | tuple[Gain, ...]:
        return self.gains[at]

    def __len__(self) -> int:
        return len(self.gains)

    def page(self) -> Page:
        """How wide the intervals of alcohol, CO2, yeast and sugar left would be, after each reading."""
        names = {"ethanol": "alcohol", "co2": "CO2", "yeast": "yeast", "sugar_left": "sugar left"}
        lines = [
            Line(gain.words, in_percent(gain.most), "of their width left",
                 ", ".join(f"{words} {in_percent(gain.left[key])}" for key, words in names.items()) + f" (± {gain.u})")
            for gain in self.gains
            if gain.most < NARROWS
        ]  # fmt: skip
        said = "What is left of the width of the intervals of alcohol, CO2, yeast and sugar left, on the average."
        return Page("What to measure next", lines, (said if lines else "No further reading would narrow this much.",))


@dataclass(frozen=True, repr=False)
class Estimate(Written, Mapping[str, Answer]):
    """The best answer for every quantity of a batch, by key: ``found["co2"].value``.

    Attributes
    ----------
    recipe : Recipe
    readings : tuple of Reading
    state : str
        A word of `known.STATES`.
    latents : tuple of Latent
        What was known before.
    around : Surroundings
        Air and water of the vessel, worked out once from the recipe.
    settled : Settled
        What least squares found.
    answers : mapping of str to Answer
        By the keys of `QUANTITIES`, and "pressure" where the vessel is known.
    if_closed : IfClosed or None
        The pressure if the vessel had stayed closed, now and on a warm day.
    oddities : tuple of Oddity
        What cannot be, or hardly: to be said before anything else.
    left_out : tuple of Reading
        Readings that cannot be, and were not used.
    """

    recipe: Recipe
    readings: tuple[Reading, ...]
    state: str
    latents: tuple[Latent, ...]
    around: Surroundings
    settled: Settled
    answers: Mapping[str, Answer]
    if_closed: IfClosed | None
    oddities: tuple[Oddity, ...]
    left_out: tuple[Reading, ...] = ()

    def __getitem__(self, key: str) -> Answer:
        one_of(key, self.answers, "quantity of the estimate")
        return self.answers[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self.answers)

    def __len__(self) -> int:
        return len(self.answers)

    def __deepcopy__(self, memo: Any) -> "Estimate":
        return self  # nothing in it can be altered, and copies of uncertain numbers would forget what they share

    def amount(self, key: str) -> Any:
        """A quantity with its standard uncertainty [its unit], correlated with every weighing and every other quantity.

        Yields are quotients of two of these; `budget_of` such a number says whose ± it is.
        """
        one_of(key, QUANTITIES, "quantity of the estimate")
        fit, G = self.settled, self._slopes[list(QUANTITIES).index(key)]
        by_reading = G @ fit.gain[0]
        by_known = G - by_reading @ fit.H[0]
        values = [item.value for item in self.latents] + [item.value for item in self.readings]
        parts = zip((*by_known, *by_reading), values)
        return self.answers[key].value + sum((float(c) * (v - nominal(v)) for c, v in parts), 0.0)

    @cached_property
    def _slopes(self) -> Floats:
        found: Floats = slopes(amounts_of(self.around), self.settled.at, steps_of(self.latents))[1][0]
        return found

    def whose(self, key: str) -> Budget:
        """Who owns which share of a quantity's ±."""
        return budget_of(self.amount(key))

    @cached_property
    def adds_up(self) -> AddsUp:
        """Whether all readings can belong to one batch."""
        fit = self.for_alarms()
        n = len(self.readings)
        return AddsUp(float(fit.J[0]), n, float(chdtrc(n, fit.J[0])) if n else 1.0)

    def for_alarms(self) -> Settled:
        """The fit against the narrower ranges, in which mistakes show."""
        return settled(known(self.recipe, self.state, FOR_ALARMS), self.readings, self.around)

    def measure_next(self) -> Gains:
        """What each reading not yet taken would bring, the most useful first."""
        P, G = self.settled.P[0], self._slopes
        now = np.einsum("ql,lk,qk->q", G, P, G)
        kinds = {reading.kind for reading in self.readings}
        found = []
        for reading in candidates(state_of(self.settled.at[0], self.around), kinds):
            H = slopes(shown_by((reading,), self.around), self.settled.at, steps_of(self.latents))[1][0]
            seen = float(H[0] @ P @ H[0]) + reading.value.std_dev**2
            left = np.sqrt(np.clip(1.0 - (G @ P @ H[0]) ** 2 / np.maximum(now * seen, LEAST_U**4), 0.0, 1.0))
            u = f"{reading.value.std_dev:.2g} {reading.unit}"
            found.append(Gain(reading.words, u, dict(zip(QUANTITIES, map(float, left)))))
        return Gains(tuple(sorted(found, key=lambda gain: gain.most)))

    def page(self) -> Page:
        """All quantities, each with its interval and how it is known."""
        lines = [
            Line(a.words, ufloat(a.value, a.u), a.unit, str(a.mark), (a.low, a.high))
            for a in self.answers.values()
            if np.isfinite(a.value)
        ]
        said = [str(item) for item in self.oddities]
        if not self.readings:
            said.append("Nothing was read yet: all of this follows from the recipe and from what is usual.")
        elif not said:
            said.append(self.adds_up.says)
        if self.measure_next():
            best = self.measure_next()[0]
            said.append(f"What would narrow this most: {best.words} (± {best.u}).")
        if any(reading.usual_u for reading in self.readings):
            names = ", ".join(reading.words for reading in self.readings if reading.usual_u)
            said.append(f"No ± was written for {names}: the usual one of a kitchen is taken.")
        parts = [self.if_closed.page()] if self.if_closed else []
        return Page("What became of the sugar", lines, said, parts)


def estimate(
    recipe: Recipe, readings: Iterable[Reading] = (), *, vessel: Vessel | None = None, state: str = "not stated"
) -> Estimate:
    """The best answer for every quantity of a batch, from whatever was measured.

    Parameters
    ----------
    recipe : Recipe
        What was put together.
    readings : iterable of Reading
        Made by the functions of `fermkit.batch.readings`; none at all is allowed.
    vessel : Vessel, optional
        For the pressure if it had stayed closed; plain glass has none.
    state : "not stated", "running", "stopped" or "used up"
        "running": gas still comes, so the liquid may hold more of it; "stopped": no gas for a day, finished or stuck,
        which alone narrows no sugar; "used up": a sugar test says so.

    Returns
    -------
    Estimate

    Notes
    -----
    Weighted least squares on what is known and what was read, with all correlations. The interval is the normal one,
    then cut at what is possible (nothing below zero, no more alcohol or gas than the sugar gives); the value keeps to
    its side. Marks: with V the variance now, V₀ from the recipe alone, Vₒ with the quantity's own readings,
    I = ½ log₂(V₀/V), Iₒ = ½ log₂(V₀/Vₒ), f the share of V that comes from what is usual: *assumed* where I < ½;
    *measured* where Iₒ ≥ ½ I and f ≤ ½; else *worked out*. They are reckoned from the ± alone, at the recipe's
    middle, so that a mark does not flicker with the numbers read.

    Raises
    ------
    InputError
        For a recipe without sugar, a reading that is no number, or a ± of zero.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> from fermkit.matter.feed import feed
    >>> from fermkit.batch.readings import debris, ethanol_content, extract
    >>> recipe = Recipe(feed({"raw cane sugar": 140.0, "water": 2400.0}), liquid_L=2.5)
    >>> found = estimate(recipe, [ethanol_content(ufloat(3.3, 0.15)), extract(ufloat(9.6, 0.3))])
    >>> print(f"{found['co2'].low:.0f} to {found['co2'].high:.0f} g, {found['co2'].mark}")
    59 to 72 g, worked out

    References
    ----------
    Roels, Energetics and Kinetics in Biotechnology, 1983 (carbon and electrons); Rodgers, Inverse Methods for
    Atmospheric Sounding, 2000, ch. 2 and 5 (estimation with prior knowledge); the ranges: `fermkit.matter.usual`.
    """
    everything = tuple(readings) + ((used_up(),) if state == "used up" else ())
    odd = oddities(recipe, everything)
    wrong = {item.kinds[0] for item in odd if item.sort is Sort.IMPOSSIBLE and len(item.kinds) == 1}
    readings = tuple(reading for reading in everything if reading.kind not in wrong)
    left_out = tuple(reading for reading in everything if reading.kind in wrong)
    latents, around = known(recipe, state, FOR_INTERVALS), surroundings(recipe)
    fit = settled(latents, readings, around)
    best = on_its_side(problem_of(latents, readings, around), fit.at[0])
    answers = answers_of(latents, readings, around, fit, best)
    closed = if_closed(vessel, answers["co2"].value, answers["co2"].low, answers["co2"].high)
    if closed is not None:
        mark = answers["co2"].mark
        p = closed.now
        answers["pressure"] = Answer("pressure", "pressure, had it stayed closed", p.value, p.low, p.high, "bar gauge",
                                     mark, (p.high - p.low) / 2 / NORMAL_95)  # fmt: skip
    return Estimate(recipe, readings, state, latents, around, fit, answers, closed, odd, left_out)
