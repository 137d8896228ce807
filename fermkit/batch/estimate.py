"""One batch, one estimate: whatever was measured, every quantity gets its best answer.

A batch has a state (`readings.state_of`), tied by carbon and electrons. What is known before any reading (`known`) is
narrowed by each reading, whichever there are (`least_squares`). Every quantity has a value, a 95 % interval and a
mark that says how it is known. All questions (does it add up, what to measure next, whose ± it is) go to this estimate.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any, Final

import numpy as np
from scipy.special import chdtrc
from uncertainties import covariance_matrix, ufloat

from fermkit.basis.budget import Budget, budget_of
from fermkit.basis.checks import one_of
from fermkit.basis.written import Line, Page, Written, in_words, interval, nominal
from fermkit.batch.closing import IfClosed, if_closed
from fermkit.batch.impossible import Oddity, Sort, oddities
from fermkit.batch.known import Latent, Recipe, Surroundings, known, surroundings
from fermkit.batch.least_squares import Floats, Problem, Settled, on_its_side, settle, slopes
from fermkit.batch.readings import ETHANOL_G, HEXOSE_G, Reading, candidates, state_of, used_up
from fermkit.matter.usual import FOR_ALARMS, FOR_INTERVALS
from fermkit.vessel.container import Vessel

QUANTITIES: Final[Mapping[str, tuple[str, str, str]]] = {
    "sugar_fed": ("sugar fed, as hexose", "g", "sugar_fed"),
    "sugar_used": ("sugar used, as hexose", "g", "sugar_used"),
    "sugar_left": ("sugar left, as hexose", "g", "sugar_left"),
    "ethanol": ("alcohol made", "g", "ethanol"),
    "co2": ("CO2 made", "g", "co2"),
    "yeast": ("yeast grown, dry", "g", "yeast"),
    "glycerol": ("glycerol", "g", "glycerol"),
    "acids": ("acids", "g", "acids"),
    "oxygen": ("oxygen taken up", "g", "oxygen_g"),
    "co2_in_gas_space": ("CO2 in the gas space", "g", "co2_in_gas_space"),
    "co2_in_liquid": ("CO2 in the liquid", "g", "co2_in_liquid"),
    "co2_lost": ("CO2 lost by leaks", "g", "co2_lost"),
    "paste": ("paste, dry", "g", "paste"),
    "losses": ("lost at harvest, dry", "g", "losses"),
    "washings": ("lost in washing, dry", "g", "washings"),
    "extract": ("extract, dry", "g", "extract"),
    "debris": ("debris, dry", "g", "debris"),
}
"""What the estimate answers, besides the pressure: its key, its words, its unit, its name in the state."""

SHARES: Final = ("lost_share", "solids", "washed_out")
PRODUCTS: Final = {
    list(QUANTITIES).index(key): tuple((list(QUANTITIES) + list(SHARES)).index(name) for name in factors)
    for key, factors in {"losses": ("lost_share", "solids"), "washings": ("washed_out", "paste")}.items()
}
"""Amounts that are a doubtful share of a doubtful amount: a product has a mean and a variance that slopes miss."""

NORMAL_95: Final = 1.959964
LEAST_U: Final = 1e-9
"""No ± is zero [g]: where rounding leaves less than this, this."""
ALARM: Final = 0.05
"""An honest run alarms less often than this [-]."""
HALF_A_BIT: Final = 0.5


class Mark(StrEnum):
    """How a number is known."""

    MEASURED = "measured"
    WORKED_OUT = "worked out"
    ASSUMED = "assumed"
    RECIPE = "from the recipe"


@dataclass(frozen=True)
class Answer:
    """One quantity: its value (on its side), its 95 % interval (cut at what is possible), and how it is known.

    ``u`` is the standard uncertainty before the cut, in the same unit.
    """

    key: str
    words: str
    value: float
    low: float
    high: float
    unit: str
    mark: Mark
    u: float

    def __str__(self) -> str:
        return f"{interval(self.low, self.high, self.unit)}, best {self.value:.4g} {self.unit}, {self.mark}"


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

    def page(self) -> Page:
        """The verdict as a page."""
        if not self.readings:
            verdict = "Nothing was read, so there is nothing to hold against the recipe."
        elif self.alarm:
            verdict = f"The readings do not fit together ({in_words(self.p)} that they are so far apart by chance)."
        else:
            verdict = "The readings fit together. That is no proof: see what could not have been seen."
        lines = [Line("misfit", self.J, "", f"{self.readings} expected"), Line("by chance", in_words(self.p))]
        note = f"A run without a mistake alarms in fewer than {100 * ALARM:.0f} of 100."
        return Page("Does it add up?", lines if self.readings else (), (verdict, note))


@dataclass(frozen=True)
class Gain:
    """What one further reading would do: how wide each interval would be, as a share of now [-]."""

    words: str
    u: str
    left: Mapping[str, float]

    @property
    def most(self) -> float:
        """The width left on the average of alcohol, CO2, yeast and sugar left."""
        return float(np.exp(np.mean([np.log(max(self.left[key], 1e-6)) for key in HEADLINE])))


HEADLINE: Final = ("co2", "ethanol", "yeast", "sugar_left")


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
        found: Floats = slopes(_amounts(self.around), self.settled.at, _steps(self.latents))[1][0]
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
        return _settled(known(self.recipe, self.state, FOR_ALARMS), self.readings, self.around)

    def measure_next(self) -> tuple[Gain, ...]:
        """What each reading not yet taken would bring, the most useful first."""
        P, G = self.settled.P[0], self._slopes
        now = np.einsum("ql,lk,qk->q", G, P, G)
        kinds = {reading.kind for reading in self.readings}
        found = []
        for reading in candidates(state_of(self.settled.at[0], self.around)):
            if reading.kind in kinds:
                continue
            H = slopes(_shown((reading,), self.around), self.settled.at, _steps(self.latents))[1][0]
            seen = float(H[0] @ P @ H[0]) + reading.value.std_dev**2
            left = np.sqrt(np.clip(1.0 - (G @ P @ H[0]) ** 2 / np.maximum(now * seen, LEAST_U**4), 0.0, 1.0))
            u = f"{reading.value.std_dev:.2g} {reading.unit}"
            found.append(Gain(reading.words, u, dict(zip(QUANTITIES, map(float, left)))))
        return tuple(sorted(found, key=lambda gain: gain.most))

    def page(self) -> Page:
        """All quantities, each with its interval and how it is known."""
        lines = [
            Line(
                a.words,
                ufloat(a.value, max((a.high - a.low) / 2 / NORMAL_95, LEAST_U)),
                a.unit,
                str(a.mark),
                (a.low, a.high),
            )
            for a in self.answers.values()
            if np.isfinite(a.value)
        ]
        said = [str(item) for item in self.oddities]
        if not self.readings:
            said.append("Nothing was read yet: all of this follows from the recipe and from what is usual.")
        elif not said:
            said.append(self.adds_up.page().remarks[0])
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
        "stopped": no gas for a day, finished or stuck, which alone narrows no sugar; "used up": a sugar test says so.

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
    fit = _settled(latents, readings, around)
    best = on_its_side(problem_of(latents, readings, around), fit.at[0])
    answers = _answers(latents, readings, around, fit, best)
    closed = if_closed(vessel, answers["co2"].value, answers["co2"].low, answers["co2"].high)
    if closed is not None:
        mark = answers["co2"].mark
        p = closed.now
        answers["pressure"] = Answer("pressure", "pressure, had it stayed closed", p.value, p.low, p.high, "bar gauge",
                                     mark, (p.high - p.low) / 2 / NORMAL_95)  # fmt: skip
    return Estimate(recipe, readings, state, latents, around, fit, answers, closed, odd, left_out)


def _shown(readings: Sequence[Reading], around: Surroundings) -> Any:
    def shown(z: Floats) -> Floats:
        state = state_of(z, around)
        if not readings:
            return np.zeros((*z.shape[:-1], 0))
        return np.stack([np.broadcast_to(reading.shows(state), z.shape[:-1]) for reading in readings], axis=-1)

    return shown


def _amounts(around: Surroundings, *more: str) -> Any:
    names = [name for _, _, name in QUANTITIES.values()] + list(more)

    def amounts(z: Floats) -> Floats:
        state = state_of(z, around)
        return np.stack([state[name] for name in names], axis=-1)

    return amounts


def _steps(latents: Sequence[Latent]) -> Floats:
    return np.array([1e-6 * latent.u + 1e-12 for latent in latents])


def problem_of(latents: Sequence[Latent], readings: Sequence[Reading], around: Surroundings) -> Problem:
    """What is known and what was read, in numbers."""
    L = len(latents)
    values = [item.value for item in latents] + [item.value for item in readings]
    whole = np.asarray(covariance_matrix(values), dtype=float)
    middles = np.array([nominal(value) for value in values])
    sides = (np.array([latent.floor for latent in latents]), np.array([latent.ceiling for latent in latents]))
    return Problem(
        _shown(readings, around), middles[:L], whole[:L, :L], middles[L:], whole[L:, L:], sides, whole[:L, L:]
    )


def _settled(latents: Sequence[Latent], readings: Sequence[Reading], around: Surroundings) -> Settled:
    problem = problem_of(latents, readings, around)
    return settle(problem, problem.m[None], problem.y[None])


def intervals(latents: Sequence[Latent], around: Surroundings, fit: Settled) -> tuple[Floats, Floats, Floats]:
    """Low end, high end and standard uncertainty of every quantity for batches of one recipe: (B, quantities) each."""
    at, G = slopes(_amounts(around, *SHARES), fit.at, _steps(latents))
    centre = at + np.einsum("bql,bl->bq", G, fit.z - fit.at)
    cov = G @ fit.P @ np.swapaxes(G, 1, 2)
    variance = np.einsum("bqq->bq", cov).copy()
    for product, (share, of) in PRODUCTS.items():
        centre[:, product] += cov[:, share, of]
        variance[:, product] += variance[:, share] * variance[:, of] + cov[:, share, of] ** 2
    n, most, u = len(QUANTITIES), _most(latents), np.sqrt(np.maximum(variance, LEAST_U**2))
    top = np.array([most.get(key, np.inf) for key in QUANTITIES])
    low, high = (np.clip((centre + side * NORMAL_95 * u)[:, :n], 0.0, top) for side in (-1.0, 1.0))
    return low, high, u[:, :n]


def _answers(
    latents: Sequence[Latent], readings: Sequence[Reading], around: Surroundings, fit: Settled, best: Floats
) -> dict[str, Answer]:
    marks = _marks(latents, readings, around)
    rows = zip(_amounts(around)(best), *(each[0] for each in intervals(latents, around, fit)))
    return {
        key: Answer(key, words, float(np.clip(value, low, high)), float(low), float(high), unit, marks[key], float(u))
        for (key, (words, unit, _)), (value, low, high, u) in zip(QUANTITIES.items(), rows)
    }


def _most(latents: Sequence[Latent]) -> dict[str, float]:
    """The most of each that the sugar can give [g], Gay-Lussac's equation, and what oxygen burns besides."""
    of = {latent.key: latent.middle + NORMAL_95 * latent.u for latent in latents}
    sugar, oxygen = of["sugar_fed"], max(of["oxygen"], 0.0)
    alcohol = 2.0 * ETHANOL_G * sugar / HEXOSE_G
    gas = (2.0 * sugar / HEXOSE_G + 2.0 / 3.0 * oxygen) * 44.009
    return {"sugar_left": sugar, "sugar_used": sugar, "ethanol": alcohol, "co2": gas, "co2_lost": gas}


def _marks(latents: Sequence[Latent], readings: Sequence[Reading], around: Surroundings) -> dict[str, Mark]:
    """How each quantity is known, from the ± alone, at the recipe's middle."""
    if not readings:
        return dict.fromkeys(QUANTITIES, Mark.RECIPE)
    problem = problem_of(latents, readings, around)
    m, P, R, C = problem.m, problem.P, problem.R, problem.C
    step = _steps(latents)
    H, G = slopes(problem.shows, m[None], step)[1][0], slopes(_amounts(around), m[None], step)[1][0]
    S, seen_by = H @ P @ H.T - H @ C - (H @ C).T + R, P @ H.T - C
    K = np.linalg.solve(S, seen_by.T).T
    assumed = np.array([latent.assumed for latent in latents])
    marks = {}
    for g, key in zip(G, QUANTITIES):
        own = [i for i, reading in enumerate(readings) if key in reading.of]
        before, seen = float(g @ P @ g), g @ seen_by
        now = before - float(seen @ np.linalg.solve(S, seen))
        by_own = before - float(seen[own] @ np.linalg.solve(S[np.ix_(own, own)], seen[own])) if own else before
        gained, own_gain = (0.5 * np.log2(before / max(v, 1e-12 * before)) for v in (now, by_own))
        left = (g - g @ K @ H)[assumed]
        share = float(left @ P[np.ix_(assumed, assumed)] @ left) / max(now, 1e-300)
        if key == "sugar_fed":
            marks[key] = Mark.MEASURED
        elif gained < HALF_A_BIT:
            marks[key] = Mark.ASSUMED
        else:
            marks[key] = Mark.MEASURED if own_gain >= 0.5 * gained and share <= 0.5 else Mark.WORKED_OUT
    return marks
