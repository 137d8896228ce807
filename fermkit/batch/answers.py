"""What an estimate answers: each quantity with its value, its interval and its mark.

Values keep to their side, intervals are normal and cut at what is possible, marks come from the ± alone.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np

from fermkit.basis.budget import covariance_of
from fermkit.basis.written import interval, nominal
from fermkit.batch.known import Latent, Surroundings
from fermkit.batch.least_squares import Floats, Problem, Settled, settle, slopes
from fermkit.batch.readings import ETHANOL_G, HEXOSE_G, Reading, state_of

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
HALF_A_BIT: Final = 0.5
"""Information that a quantity must have gained to count as more than assumed [bit]."""


class Mark(StrEnum):
    """How a number is known."""

    MEASURED = "measured"
    WORKED_OUT = "worked out"
    ASSUMED = "assumed"
    RECIPE = "from the recipe"


@dataclass(frozen=True)
class Answer:
    """One quantity: its value (on its side), its 95 % interval (cut at what is possible), and how it is known.

    ``u`` is the standard uncertainty that the interval stands for: half of it over 1.96, in the same unit.
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


def shown_by(readings: Sequence[Reading], around: Surroundings) -> Any:
    def shown(z: Floats) -> Floats:
        state = state_of(z, around)
        if not readings:
            return np.zeros((*z.shape[:-1], 0))
        return np.stack([np.broadcast_to(reading.shows(state), z.shape[:-1]) for reading in readings], axis=-1)

    return shown


def amounts_of(around: Surroundings, *more: str) -> Any:
    names = [name for _, _, name in QUANTITIES.values()] + list(more)

    def amounts(z: Floats) -> Floats:
        state = state_of(z, around)
        return np.stack([state[name] for name in names], axis=-1)

    return amounts


def steps_of(latents: Sequence[Latent]) -> Floats:
    return np.array([1e-6 * latent.u + 1e-12 for latent in latents])


def problem_of(latents: Sequence[Latent], readings: Sequence[Reading], around: Surroundings) -> Problem:
    """What is known and what was read, in numbers."""
    L = len(latents)
    values = [item.value for item in latents] + [item.value for item in readings]
    whole = covariance_of(values)
    middles = np.array([nominal(value) for value in values])
    sides = (np.array([latent.floor for latent in latents]), np.array([latent.ceiling for latent in latents]))
    return Problem(
        shown_by(readings, around), middles[:L], whole[:L, :L], middles[L:], whole[L:, L:], sides, whole[:L, L:]
    )


def settled(latents: Sequence[Latent], readings: Sequence[Reading], around: Surroundings) -> Settled:
    problem = problem_of(latents, readings, around)
    return settle(problem, problem.m[None], problem.y[None])


def intervals(latents: Sequence[Latent], around: Surroundings, fit: Settled) -> tuple[Floats, Floats, Floats]:
    """Low end, high end and standard uncertainty of every quantity for batches of one recipe: (B, quantities) each."""
    at, G = slopes(amounts_of(around, *SHARES), fit.at, steps_of(latents))
    centre = at + np.einsum("bql,bl->bq", G, fit.z - fit.at)
    cov = G @ fit.P @ np.swapaxes(G, 1, 2)
    variance = np.einsum("bqq->bq", cov).copy()
    for product, (share, of) in PRODUCTS.items():
        centre[:, product] += cov[:, share, of]
        variance[:, product] += variance[:, share] * variance[:, of] + cov[:, share, of] ** 2
    n, most, u = len(QUANTITIES), most_of(latents), np.sqrt(np.maximum(variance, LEAST_U**2))
    top = np.array([most.get(key, np.inf) for key in QUANTITIES])
    low, high = (np.clip((centre + side * NORMAL_95 * u)[:, :n], 0.0, top) for side in (-1.0, 1.0))
    return low, high, u[:, :n]


def answers_of(
    latents: Sequence[Latent], readings: Sequence[Reading], around: Surroundings, fit: Settled, best: Floats
) -> dict[str, Answer]:
    """Every quantity of one batch, its value from the amounts that keep to their side."""
    marks = marks_of(latents, readings, around)
    lows, highs, _ = intervals(latents, around, fit)
    values = np.clip(amounts_of(around)(best), lows[0], highs[0])
    out = {}
    for (key, (words, unit, _)), value, low, high in zip(QUANTITIES.items(), values, lows[0], highs[0]):
        u = max(float(high - low) / 2.0 / NORMAL_95, LEAST_U)
        out[key] = Answer(key, words, float(value), float(low), float(high), unit, marks[key], u)
    return out


def most_of(latents: Sequence[Latent]) -> dict[str, float]:
    """The most of each that the sugar can give [g], Gay-Lussac's equation, and what oxygen burns besides."""
    of = {latent.key: latent.middle + NORMAL_95 * latent.u for latent in latents}
    sugar, oxygen = of["sugar_fed"], max(of["oxygen"], 0.0)
    alcohol = 2.0 * ETHANOL_G * sugar / HEXOSE_G
    gas = (2.0 * sugar / HEXOSE_G + 2.0 / 3.0 * oxygen) * 44.009
    return {"sugar_left": sugar, "sugar_used": sugar, "ethanol": alcohol, "co2": gas, "co2_lost": gas}


def marks_of(latents: Sequence[Latent], readings: Sequence[Reading], around: Surroundings) -> dict[str, Mark]:
    """How each quantity is known, from the ± alone, at the recipe's middle."""
    if not readings:
        return dict.fromkeys(QUANTITIES, Mark.RECIPE)
    problem = problem_of(latents, readings, around)
    m, P, R, C = problem.m, problem.P, problem.R, problem.C
    step = steps_of(latents)
    H, G = slopes(problem.shows, m[None], step)[1][0], slopes(amounts_of(around), m[None], step)[1][0]
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
