"""Several structures, one answer: each fitted, weighed, and drawn from, so that what they disagree on becomes doubt."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from fermkit.kinetics.course import Course, P
from fermkit.kinetics.feeding import course_of
from fermkit.kinetics.fitting import MISFIT_FLOOR, MISFITS, Descent, Problem, descend
from fermkit.kinetics.rates import Structure

Floats = NDArray[np.float64]

SCREENED: Final = 64
"""Points of a Sobol sequence, drawn from the priors, that are looked at before the first descent."""

STARTS: Final = 4
"""How many of them go down."""

WIDE: Final = 8.0
"""Errors are taken this many times as large on the first way down."""

LEAST_WEIGHT: Final = 0.1
"""Least weight of a structure [-]: readings that favour one among four wrong structures do not make it right."""

SHAKEN: Final = 24
"""Fits with shaken readings, for each structure."""

SHAKEN_STEPS: Final = 10
"""Most steps of such a fit, from the best one."""

COPIES: Final = 5
MOVES: Final = 5
"""Copies of each such fit, and the Metropolis steps that set them apart."""

HORIZON_H: Final = 336.0
"""What a batch will convert is what it has converted after two weeks [h]; nobody waits longer."""

EVENT_SHARE: Final = 0.99
"""Gone, done: 99 % of what will be."""

UNSEEN_YEAST: Final = 0.02
"""What yeast may be off by, beside what the gas shows, while it wakes [-]: a lag moves by that over the growth rate."""

UNSEEN_GROWTH: Final = 0.12
"""What the yeast grown may be off by where no yeast was read: gas tells it through one yield alone [-]."""

UNSEEN_PACE: Final = 0.06
"""What the pace of what is still to come may be off by [-]."""


@dataclass(frozen=True)
class Fitted:
    """One structure at its best: where, chi², evidence, normal matrix, size of its misfit, what starts disagreed on."""

    structure: Structure
    z: Floats
    chi2: float
    evidence: float
    normal: Floats
    misfit: float
    other_starts: Floats


@dataclass(frozen=True)
class Draws:
    """Batches that the readings allow: z (n, size), structure of each, weight of each, courses at the hours."""

    z: Floats
    of: NDArray[np.intp]
    weight: Floats
    hours: Floats
    courses: tuple[Course, ...]


def fit_structure(problem: Problem, structure: Structure, seed: int) -> Fitted:
    """The best of several descents; then the size of the misfit that its residuals ask for, and once more down."""
    problem.set_misfit(1.0)
    points = qmc.Sobol(P, seed=seed).random(SCREENED)
    z = np.zeros((SCREENED + 1, problem.size))
    z[1:, :P] = ndtri(np.clip(points, 1e-3, 1 - 1e-3))
    left, _ = problem.residuals(structure, z, wide=WIDE)
    first = np.nan_to_num((left**2).sum(axis=1) + (z**2).sum(axis=1), nan=np.inf)
    start = z[np.argsort(first)[:STARTS]]
    rough = descend(problem, structure, start, wide=WIDE, most=12, close=0.5)
    down = descend(problem, structure, rough.z)
    best = int(np.argmin(down.chi2))
    chosen = _misfit(problem, structure, down, best)
    if chosen > 1:
        problem.set_misfit(chosen)
        down = descend(problem, structure, down.z[best : best + 1])
        best = 0
    normal = down.normal[best]
    evidence = -0.5 * (down.chi2[best] + problem.log_det + np.linalg.slogdet(normal)[1])
    return Fitted(structure, down.z[best], float(down.chi2[best]), float(evidence), normal, chosen, down.chi2)


def _misfit(problem: Problem, structure: Structure, down: Descent, best: int) -> float:
    """The size of the misfit that makes the residuals at the best fit most likely; never below its floor."""
    z = down.z[best : best + 1]
    found = []
    for factor in MISFITS:
        problem.set_misfit(factor)
        left, _ = problem.residuals(structure, z)
        found.append(float((left**2).sum()) + problem.log_det)
    problem.set_misfit(1.0)
    return MISFITS[int(np.argmin(found))]


def weights(fits: Sequence[Fitted]) -> Floats:
    """Weight of each structure by its evidence, none below the least."""
    evidence = np.array([one.evidence for one in fits])
    share = np.exp(evidence - evidence.max())
    least = min(LEAST_WEIGHT, 1 / len(fits))
    return np.asarray(least + (1 - least * len(fits)) * share / share.sum())


def all_hours(problem: Problem) -> Floats:
    """The hours of the readings and those to come, ever wider apart, until the horizon."""
    last, far = problem.last_h, max(HORIZON_H, 1.5 * problem.last_h)
    return np.union1d(problem.hours, last + np.geomspace(0.1, far - last, 160))


def draw(problem: Problem, fits: Sequence[Fitted], seed: int) -> Draws:
    """Draws from each structure's posterior.

    A normal law around the best fit is wrong wherever a quantity has an effect that vanishes (no fading, no lag): the
    readings then only say "not more than". So each draw is a fit of its own, with readings and priors shaken by their
    errors (randomised maximum likelihood). Copies of these then take some Metropolis steps along differences between
    draws of the other half (differential evolution), which asks for nothing but chi².

    References
    ----------
    Oliver, He & Reynolds, ECMOR V (1996); Bardsley et al., SIAM J. Sci. Comput. 36 (2014) A1895. ter Braak, Stat.
    Comput. 16 (2006) 239.
    """
    rng = np.random.default_rng(seed)
    hours = all_hours(problem)
    courses, zs = [], []
    for one in fits:
        problem.set_misfit(one.misfit)
        noise = rng.normal(size=(SHAKEN, sum(len(x) for x in problem.factor)))
        centre = rng.normal(size=(SHAKEN, problem.size))
        start = np.repeat(one.z[None], SHAKEN, axis=0)
        shaken = descend(problem, one.structure, start, most=SHAKEN_STEPS, close=0.1, shaken=(noise, centre))
        z = np.tile(shaken.z, (COPIES, 1))[rng.permutation(SHAKEN * COPIES)]
        zs.append(_moved(problem, one.structure, z, rng))
        courses.append(course_of(one.structure, problem.theta(zs[-1]), hours, problem.around))
    n = SHAKEN * COPIES
    of = np.repeat(np.arange(len(fits)), n)
    return Draws(np.concatenate(zs), of, np.repeat(weights(fits), n) / n, hours, tuple(courses))


def _moved(problem: Problem, structure: Structure, z: Floats, rng: np.random.Generator) -> Floats:
    """Metropolis steps of each half of the draws along differences between draws of the other half."""

    def chi2(z: Floats) -> Floats:
        left, _ = problem.residuals(structure, z)
        found = (left**2).sum(axis=1) + (z**2).sum(axis=1)
        return np.where(np.isfinite(found), found, np.inf)

    now = chi2(z)
    halves = np.array_split(np.arange(len(z)), 2)
    for _ in range(MOVES):
        for mine, others in (halves, halves[::-1]):
            a, b = rng.choice(others, (2, len(mine)))
            trial = z[mine] + 1.7 / np.sqrt(2 * problem.size) * (z[a] - z[b])
            after = chi2(trial)
            moved = np.log(rng.uniform(size=len(mine))) < (now[mine] - after) / 2
            z[mine[moved]], now[mine[moved]] = trial[moved], after[moved]
    return z


def joined(draws: Draws, name: str) -> Floats:
    """One quantity of all draws at all hours: (n, hours)."""
    return np.concatenate([getattr(one, name) for one in draws.courses])


def first_hour(hours: Floats, level: Floats, aim: Floats) -> Floats:
    """The hour at which each rising row first reaches its aim (n,); infinite where it never does."""
    reached = level >= aim[:, None]
    k = np.where(reached.any(axis=1), np.argmax(reached, axis=1), len(hours) - 1)
    low = np.maximum(k - 1, 0)
    rows = np.arange(len(level))
    rise = level[rows, k] - level[rows, low]
    part = np.where(rise > 0, (aim - level[rows, low]) / np.where(rise > 0, rise, 1.0), 1.0)
    hour = hours[low] + np.clip(part, 0, 1) * (hours[k] - hours[low])
    return np.where(reached.any(axis=1), hour, np.inf)


def tangent_lag(hours: Floats, level: Floats, base: Floats) -> tuple[Floats, Floats, Floats]:
    """Where the steepest tangent meets the start (n,): the hour, the steepest slope, and its row.

    References
    ----------
    Lodge & Hinshelwood, J. Chem. Soc. (1943) 213: the lag as the tangent's meeting with the starting level.
    """
    slope = np.gradient(level, hours, axis=1)
    top = np.argmax(slope, axis=1)
    rows = np.arange(len(level))
    steepest = slope[rows, top]
    return hours[top] - (level[rows, top] - base) / steepest, steepest, top


def events(problem: Problem, draws: Draws, fits: Sequence[Fitted]) -> dict[str, Any]:
    """What a person asks, for each draw (n,): hours, rates, amounts at the end.

    The misfit of the gas is one that the readings show. The sugar has its own, which nothing shows; it is taken as
    large, so that 99 % stands for 99 % ± that misfit.
    """
    unseen = MISFIT_FLOOR * np.array([one.misfit for one in fits])[draws.of]
    rng = np.random.default_rng(len(unseen))
    share = np.minimum(EVENT_SHARE + unseen * rng.normal(size=(2, len(unseen))), 1 - (1 - EVENT_SHARE) / 5)
    hours = draws.hours
    used, yeast, ethanol = joined(draws, "sugar_used"), joined(draws, "yeast"), joined(draws, "ethanol")
    made, gas = joined(draws, "made"), joined(draws, "released")
    theta = problem.theta(draws.z)
    read = any(one.kind in ("yeast", "cells") for one in problem.readings)
    grown = 1.0 if read else np.exp(UNSEEN_GROWTH * rng.normal(size=len(theta)))
    start, inoculum = np.exp(theta[:, 0]), np.exp(theta[:, 1])
    lag, rate, top = tangent_lag(hours, np.log(yeast), np.log(inoculum))
    lag = lag + UNSEEN_YEAST * unseen / MISFIT_FLOOR * rng.normal(size=len(lag)) / rate
    gas_lag, gas_rate, _ = tangent_lag(hours, gas, np.zeros(len(gas)))
    growth = np.gradient(np.log(yeast), hours, axis=1)
    slowed = (growth < rate[:, None] / 2) & (np.arange(len(hours)) > top[:, None])
    end = [x[:, np.searchsorted(hours, HORIZON_H * 0.999)] for x in (used, made, gas, ethanol)]
    hidden = np.abs(unseen * rng.normal(size=len(lag))) * start
    now = int(np.searchsorted(hours, problem.last_h))
    pace = np.exp(UNSEEN_PACE * rng.normal(size=len(lag)))

    def seen(hour: Floats) -> Floats:
        """What lies beyond the last reading comes at a pace that the readings do not show."""
        to_come = np.maximum(hour - problem.last_h, 0.0)
        return np.asarray(hour + to_come * (pace - 1))

    return {
        "lag_h": lag,
        "growth_per_h": rate,
        "exponential_end_h": hours[np.argmax(slowed, axis=1)],
        "sugar_gone_h": seen(first_hour(hours, used, share[0] * end[0])),
        "yeast_done_h": seen(first_hour(hours, yeast - inoculum[:, None], share[1] * (yeast[:, -1] - inoculum))),
        "gas_lag_h": gas_lag,
        "gas_rate": gas_rate,
        "gas_done_h": seen(first_hour(hours, gas, EVENT_SHARE * end[2])),
        "sugar_left": start - used[:, now] + hidden,
        "ethanol": ethanol[:, now],
        "yeast": inoculum + grown * (yeast[:, now] - inoculum),
        "co2": made[:, now],
        "gas": gas[:, now],
        "sugar_left_end": start - end[0] + hidden,
        "ethanol_end": end[3],
        "yeast_end": inoculum + grown * (yeast[:, -1] - inoculum),
        "co2_end": end[1],
        "gas_end": end[2],
        "stopped": end[0] < 0.95 * start,
    }


def quantile(value: Floats, weight: Floats, at: Floats | Sequence[float]) -> Floats:
    """Weighted quantiles of draws: (len(at),)."""
    order = np.argsort(value)
    level = np.cumsum(weight[order])
    level = (level - weight[order] / 2) / level[-1]
    return np.interp(at, level, value[order])
