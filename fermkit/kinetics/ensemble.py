"""Several structures, one answer: each fitted, weighed, and drawn from, so that what they disagree on becomes doubt."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from fermkit.basis.errors import InputError
from fermkit.kinetics.course import Course, P, by_name
from fermkit.kinetics.feeding import course_of
from fermkit.kinetics.fitting import FARTHEST, MISFIT_FLOOR, MISFITS, Descent, Problem, descend
from fermkit.kinetics.rates import INDEX, Structure, co2_slopes, ethanol_slopes

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

SHAKEN_STEPS: Final = 8
"""Most steps of such a fit, from where it would end if the model were straight."""

AHEAD: Final = ((1.0, True), (1.0, False), (0.6, False), (0.3, False))
"""Shares of that way, the farthest first [-], and whether the late sugar begins anew, as its prior was shaken: where
its pace is near that of the first, nothing is told of its share, and a straight line from elsewhere misses that."""

LATE: Final = [INDEX["late share"], INDEX["late pace"]]

FAR_OFF: Final = 300.0
"""Chi² above that at the best fit from which a start is too far off."""

OFF: Final = 3.0
"""A shaken fit that ends so many standard deviations of chi² above the others has not come down; it is left out."""

COPIES: Final = 5
MOVES: Final = 6
"""Copies of each such fit, and the Metropolis steps that set them apart."""

WALK: Final = 500
"""Steps of a full walk: half a minute for all structures."""

HORIZON_H: Final = 336.0
"""What a batch will convert is what it has converted after two weeks [h]; nobody waits longer."""

EVENT_SHARE: Final = 0.99
"""Gone, done: 99 % of what will be."""

EVENT_SHARE_LEFT: Final = 0.01
"""Less than this share of the sugar left counts as this much, where what is left is stretched [-]."""

UNSEEN_YEAST: Final = 0.02
"""What yeast may be off by, beside what the gas shows, while it wakes [-]: a lag moves by that over the growth rate."""

UNSEEN_GROWTH: Final = 0.20
"""What the yeast grown may be off by where no yeast was read: gas tells it through one yield alone [-]. Its carbon
and electrons then come from, or go to, CO2, alcohol and the sugar that is left."""

UNSEEN_PACE: Final = 0.15
"""What the pace of what is still to come may be off by [-]."""

UNSEEN_AMOUNT: Final = 0.01
"""What CO2 and alcohol may be off by for products that the model does not know [-]."""

STRETCHED: Final = 3.0
"""What is to come takes at most so many times as long, or as short, where more, or less, sugar is left [-]."""

GAS_SHARE: Final = 0.95
"""The gas is done where 95 % of it has left: the last comes for days from a liquid at rest and from stores inside the
yeast, and nothing shows beforehand for how long."""

LATE_GAS: Final = 0.015
"""Share of the gas that may come so late [-]: common practice, no source."""


@dataclass(frozen=True)
class Fitted:
    """One structure at its best: where, chi², evidence, size of its misfit, and where all starts ended."""

    structure: Structure
    z: Floats
    chi2: float
    evidence: float
    misfit: float
    ends: Descent


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
    from scipy.stats import qmc  # a third of a second, so only where it is used

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
        down = descend(problem, structure, down.z)
        best = int(np.argmin(down.chi2))
    evidence = -0.5 * (down.chi2[best] + problem.log_det + np.linalg.slogdet(down.normal[best])[1])
    return Fitted(structure, down.z[best], float(down.chi2[best]), float(evidence), chosen, down)


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


def draw(problem: Problem, fits: Sequence[Fitted], seed: int, *, full: bool = False) -> Draws:
    """Draws from each structure's posterior; `full`: walked through by emcee, from where the draws are otherwise.

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
        # each from one of the places where the starts ended, by its own evidence
        log = -0.5 * (one.ends.chi2 + np.linalg.slogdet(one.ends.normal)[1])
        share = np.exp(log - log.max())
        base = rng.choice(len(share), SHAKEN, p=share / share.sum())
        start = np.empty((SHAKEN, problem.size))
        for k in np.unique(base):
            rows = base == k
            start[rows] = _ahead(problem, one, int(k), noise[rows], centre[rows])
        shaken = descend(problem, one.structure, start, most=SHAKEN_STEPS, close=0.1, shaken=(noise, centre))
        left = np.flatnonzero(shaken.chi2 <= np.median(shaken.chi2) + OFF * np.sqrt(2 * problem.size))
        z = shaken.z[rng.permutation(np.resize(left, SHAKEN * COPIES))]
        z = _moved(problem, one.structure, z, rng)
        zs.append(_walked(problem, one.structure, z, rng) if full else z)
        courses.append(course_of(one.structure, problem.theta(zs[-1]), hours, problem.around))
    n = SHAKEN * COPIES
    of = np.repeat(np.arange(len(fits)), n)
    return Draws(np.concatenate(zs), of, np.repeat(weights(fits), n) / n, hours, tuple(courses))


def _ahead(problem: Problem, one: Fitted, k: int, noise: Floats, centre: Floats) -> Floats:
    """Where shaken fits would end if the model were straight; only a part of the way where that leads far off.

    Starts that stay near the best fit would come down near it: the draws would be too narrow.
    """
    base = one.ends.z[k]
    rows, by = problem.residuals(one.structure, base[None], slopes=True)
    assert by is not None
    straight = np.linalg.solve(one.ends.normal[k], (noise @ by[0] + centre).T).T
    here = ((rows - noise) ** 2).sum(axis=1) + ((base - centre) ** 2).sum(axis=1)
    start, open_ = np.repeat(base[None], len(noise), axis=0), np.arange(len(noise))
    for share, anew in AHEAD:
        z = np.clip(base + share * straight[open_], -FARTHEST, FARTHEST)
        if anew:
            z[:, LATE] = centre[open_][:, LATE]
        rows, _ = problem.residuals(one.structure, z)
        chi2 = ((rows - noise[open_]) ** 2).sum(axis=1) + ((z - centre[open_]) ** 2).sum(axis=1)
        near = chi2 < here[open_] + FAR_OFF
        start[open_[near]] = z[near]
        open_ = open_[~near]
        if not open_.size:
            break
    return start


def _chi2(problem: Problem, structure: Structure, z: Floats) -> Floats:
    """Chi² of readings and priors (B,); infinite too far from the priors, or where the batch cannot be worked out."""
    near = np.clip(z, -FARTHEST, FARTHEST)
    left, _ = problem.residuals(structure, near)
    found = (left**2).sum(axis=1) + (z**2).sum(axis=1)
    return np.where(np.isfinite(found) & np.all(near == z, axis=1), found, np.inf)


def _walked(problem: Problem, structure: Structure, z: Floats, rng: np.random.Generator) -> Floats:
    """As many draws again, after a long walk of an ensemble by emcee.

    References
    ----------
    Foreman-Mackey et al., Publ. Astron. Soc. Pac. 125 (2013) 306.
    """
    try:
        import emcee
    except ImportError:
        raise InputError(
            f"the full posterior of {structure.name!r} was asked for without emcee", "the library emcee, a sampler",
            "install it: pip install emcee; or leave full_posterior out",
        ) from None  # fmt: skip
    moves = [(emcee.moves.DEMove(), 0.8), (emcee.moves.DESnookerMove(), 0.2)]
    sampler = emcee.EnsembleSampler(
        len(z), problem.size, lambda at: -0.5 * _chi2(problem, structure, at), vectorize=True, moves=moves
    )
    sampler.random_state = np.random.RandomState(int(rng.integers(1 << 31))).get_state()
    # copies that never moved stand on one point, which an ensemble may not
    end = sampler.run_mcmc(z + 1e-3 * rng.normal(size=z.shape), WALK, skip_initial_state_check=True)
    return np.asarray(end.coords)


def _moved(problem: Problem, structure: Structure, z: Floats, rng: np.random.Generator) -> Floats:
    """Metropolis steps of each half of the draws along differences between draws of the other half."""
    now = _chi2(problem, structure, z)
    halves = np.array_split(np.arange(len(z)), 2)
    for _ in range(MOVES):
        for mine, others in (halves, halves[::-1]):
            a, b = rng.choice(others, (2, len(mine)))
            far = 1.7 / np.sqrt(2 * problem.size) * rng.uniform(0.2, 1.0, (len(mine), 1))
            trial = z[mine] + far * (z[a] - z[b])
            after = _chi2(problem, structure, trial)
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
    grown = np.ones(len(theta)) if read else np.exp(UNSEEN_GROWTH * rng.normal(size=len(theta)))
    start, inoculum = np.exp(theta[:, 0]), np.exp(theta[:, 1])
    lag, rate, top = tangent_lag(hours, np.log(yeast), np.log(inoculum))
    lag = lag + UNSEEN_YEAST * unseen / MISFIT_FLOOR * rng.normal(size=len(lag)) / rate
    gas_lag, gas_rate, _ = tangent_lag(hours, gas, np.zeros(len(gas)))
    growth = np.gradient(np.log(yeast), hours, axis=1)
    slowed = (growth < rate[:, None] / 2) & (np.arange(len(hours)) > top[:, None])
    end = [x[:, np.searchsorted(hours, HORIZON_H * 0.999)] for x in (used, made, gas, ethanol)]
    hidden = np.abs(unseen * rng.normal(size=len(lag))) * start
    now = int(np.searchsorted(hours, problem.last_h))
    p = by_name(theta)
    c_s, c_y, e_y = (x[:, 0] for x in (*co2_slopes(p), ethanol_slopes(p)[1]))
    more = grown - 1
    now_grown, all_grown = yeast[:, now] - inoculum, yeast[:, -1] - inoculum
    left = start - used[:, now]
    # yeast that is not there leaves the sugar that it would have taken, at the same gas
    freed = 0.0 if any(one.kind == "sugar" for one in problem.readings) else c_y / c_s * more * now_grown
    stretch = np.clip((left + freed) / np.maximum(left, EVENT_SHARE_LEFT * start), 1 / STRETCHED, STRETCHED)
    pace = np.exp(UNSEEN_PACE * rng.normal(size=len(lag))) * stretch
    off = np.exp(UNSEEN_AMOUNT * rng.normal(size=(2, len(lag))))

    def seen(hour: Floats) -> Floats:
        """What lies beyond the last reading comes at a pace that the readings do not show."""
        to_come = np.maximum(hour - problem.last_h, 0.0)
        return np.asarray(hour + to_come * (pace - 1))

    late = 1 + LATE_GAS * np.abs(rng.normal(size=len(lag)))

    return {
        "lag_h": lag,
        "growth_per_h": rate,
        "exponential_end_h": hours[np.argmax(slowed, axis=1)],
        "sugar_gone_h": seen(first_hour(hours, used, share[0] * end[0])),
        "yeast_done_h": seen(first_hour(hours, yeast - inoculum[:, None], share[1] * (yeast[:, -1] - inoculum))),
        "gas_lag_h": gas_lag,
        "gas_rate": gas_rate,
        "gas_done_h": seen(first_hour(hours, gas, np.minimum(GAS_SHARE * late, EVENT_SHARE) * end[2])),
        "sugar_left": np.maximum(left + freed, 0.0) + hidden,
        "ethanol": off[0] * ethanol[:, now],
        "yeast": inoculum + grown * now_grown,
        "co2": off[1] * made[:, now],
        "gas": gas[:, now],
        "sugar_left_end": start - end[0] + hidden,
        "ethanol_end": off[0] * (end[3] - e_y * more * all_grown),
        "yeast_end": inoculum + grown * all_grown,
        "co2_end": off[1] * (end[1] + problem.around.liquid_L * c_y * more * all_grown),
        "gas_end": end[2],
        "stopped": end[0] < 0.95 * start,
    }


def quantile(value: Floats, weight: Floats, at: Floats | Sequence[float]) -> Floats:
    """Weighted quantiles of draws: (len(at),)."""
    order = np.argsort(value)
    level = np.cumsum(weight[order])
    level = (level - weight[order] / 2) / level[-1]
    return np.interp(at, level, value[order])
