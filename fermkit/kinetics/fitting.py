"""One structure fitted to all readings at once: priors as rows, several starts going down together.

Everything is counted in prior standard deviations, z, so that the priors are the rows z = 0 ± 1. The readings are
whitened once by the Cholesky factor of their covariance; what is common to a series is one more z. Levenberg–Marquardt
then runs on several starts at the same time, as one batch of courses.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from fermkit.kinetics.course import P, Surroundings, by_name
from fermkit.kinetics.feeding import course_of
from fermkit.kinetics.rates import Structure
from fermkit.kinetics.series import GASES, Series, covariance, differences, expected, reading_hours

Floats = NDArray[np.float64]

MISFIT_FLOOR: Final = 0.0025
"""Least standard deviation of the model's own misfit, over the gas so far [-]. A wrong structure can follow the
readings within their errors and still be wrong in what it says. The residuals cannot show that, so this never goes
to zero."""

MISFIT_H: Final = 4.0
"""Hours over which that misfit keeps together [h]."""

MISFITS: Final = (1.0, 2.0, 4.0, 8.0, 16.0)
"""Sizes of the misfit, over its floor, among which the residuals choose."""

STEP_H: Final = 0.15
"""Widest step of the gas store [h], for batches up to 36 h; longer ones take as many steps."""

MOST_STEPS: Final = 240

LONGEST_STEP: Final = 2.0
"""Longest step of a descent, in prior standard deviations of any one quantity."""

FARTHEST: Final = 6.0
"""How far a quantity may go from its prior, in standard deviations."""


@dataclass(frozen=True)
class Prior:
    """What is known before any reading: mean and standard deviation of ln of each quantity, (22,)."""

    mean: Floats
    sd: Floats


class Problem:
    """The readings of a batch, made ready for one structure after another."""

    def __init__(self, readings: Sequence[Series], prior: Prior, around: Surroundings) -> None:
        self.readings, self.prior, self.around = tuple(readings), prior, around
        self.common = np.array([one.u_common for one in readings])
        last = float(max(one.time_h[-1] for one in readings))
        self.last_h = last
        even = np.linspace(0.0, last, int(np.clip(np.ceil(last / STEP_H), 2, MOST_STEPS)) + 1)
        self.hours = np.union1d(reading_hours(readings), even)
        self.at = [np.searchsorted(self.hours, one.time_h) for one in readings]
        self.gas = any(one.kind in ("gas released", "gas left", "mass lost") for one in readings)
        self.target = [differences(one, one.value) for one in readings]
        self.set_misfit(1.0)

    def set_misfit(self, factor: float) -> None:
        """Take a misfit of so many times its floor."""
        self.misfit = factor
        self.factor, self.log_det = [], 0.0
        for one, target in zip(self.readings, self.target):
            floor = MISFIT_FLOOR * float(np.max(np.abs(target))) if one.kind in GASES else 0.0
            lower = cholesky(covariance(one, factor * floor, MISFIT_H), lower=True)
            self.factor.append(solve_triangular(lower, np.eye(len(lower)), lower=True))
            self.log_det += 2 * float(np.log(np.diag(lower)).sum())

    @property
    def size(self) -> int:
        """How many quantities are sought: those of the batch, and one common factor a series."""
        return P + len(self.readings)

    def theta(self, z: Floats) -> Floats:
        """Logarithms of the batch's quantities (B, 22)."""
        return np.asarray(self.prior.mean + self.prior.sd * z[:, :P])

    def residuals(
        self, structure: Structure, z: Floats, *, slopes: bool = False, wide: float = 1.0
    ) -> tuple[Floats, Floats | None]:
        """Whitened residuals (B, m) and their slopes by z (B, m, size), without the rows of the priors."""
        theta = self.theta(z)
        whole = course_of(structure, theta, self.hours, self.around, slopes=slopes, gas=self.gas)
        p = by_name(theta)
        left, by = [], []
        for i, (one, at, white, target) in enumerate(zip(self.readings, self.at, self.factor, self.target)):
            value, d = expected(one, whole.only(at), p, self.around, slopes)
            scale = np.exp(self.common[i] * z[:, P + i : P + i + 1])
            value = differences(one, value) * scale
            left.append((value - target) @ white.T / wide)
            if d is not None:
                d = d * scale[..., None]
                d = d[:, 1:] - d[:, :1] if one.counted else d
                full = np.zeros((*value.shape, self.size))
                full[..., :P] = d * self.prior.sd
                full[..., P + i] = value * self.common[i]
                by.append(white @ full / wide)
        return np.concatenate(left, axis=1), np.concatenate(by, axis=1) if by else None


@dataclass(frozen=True)
class Descent:
    """Where descents ended: z (B, size), chi² with the priors' rows (B,), the normal matrix (B, size, size)."""

    z: Floats
    chi2: Floats
    normal: Floats
    steps: int


def descend(
    problem: Problem,
    structure: Structure,
    z: Floats,
    *,
    wide: float = 1.0,
    most: int = 40,
    close: float = 1e-3,
    shaken: tuple[Floats, Floats] | None = None,
) -> Descent:
    """Levenberg–Marquardt from several starts at once.

    Parameters
    ----------
    problem : Problem
    structure : Structure
    z : numpy.ndarray of shape (B, size)
        Starts.
    wide : float
        All errors are taken this many times as large: a first descent that narrow valleys do not catch.
    most : int
        Most steps.
    close : float
        A start is done when a step that was taken lowers chi² by less.
    shaken : (array, array), optional
        What is added to the whitened readings (B, m), and where the priors stand (B, size), instead of 0.
    """
    noise, centre = (np.zeros((len(z), 1)), np.zeros_like(z)) if shaken is None else shaken
    z = z.copy()
    size = problem.size
    damping = np.full(len(z), 1e-2)
    left, by = problem.residuals(structure, z, slopes=True, wide=wide)
    assert by is not None
    left = left - noise
    chi2 = (left**2).sum(axis=1) + ((z - centre) ** 2).sum(axis=1)
    chi2 = np.where(np.isfinite(chi2 + by.sum(axis=(1, 2))), chi2, np.inf)
    by, left = np.nan_to_num(by), np.nan_to_num(left)
    normal = np.swapaxes(by, 1, 2) @ by + np.eye(size)
    right = np.einsum("bmi,bm->bi", by, left) + z - centre
    live = np.arange(len(z))
    steps = 0
    while live.size and steps < most:
        steps += 1
        diagonal = np.einsum("bii->bi", normal[live])[:, :, None] * np.eye(size)
        damped = normal[live] + damping[live, None, None] * diagonal
        step = -np.linalg.solve(damped, right[live][..., None])[..., 0]
        step /= np.maximum(np.abs(step).max(axis=1, keepdims=True) / LONGEST_STEP, 1.0)
        trial = np.clip(z[live] + step, -FARTHEST, FARTHEST)
        left, by = problem.residuals(structure, trial, slopes=True, wide=wide)
        assert by is not None
        left = left - noise[live]
        new = (left**2).sum(axis=1) + ((trial - centre[live]) ** 2).sum(axis=1)
        new = np.where(np.isfinite(new + by.sum(axis=(1, 2))), new, np.inf)
        better = new < chi2[live]
        gain = chi2[live] - new
        took = live[better]
        z[took], chi2[took] = trial[better], new[better]
        normal[took] = np.swapaxes(by[better], 1, 2) @ by[better] + np.eye(size)
        right[took] = np.einsum("bmi,bm->bi", by[better], left[better]) + trial[better] - centre[took]
        damping[live] = np.where(better, np.maximum(damping[live] / 8, 1e-7), damping[live] * 6)
        done = (better & (gain < close)) | (damping[live] > 1e8)
        live = live[~done]
    return Descent(z, chi2, normal, steps)
