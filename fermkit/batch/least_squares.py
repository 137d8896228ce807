"""Weighted least squares for what is known and what was read, for one batch or for many at once.

What is known beforehand enters with its covariance as the readings do, so that no quantity ever lacks a value:
a reading that is missing leaves its part as wide as it was.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Shown = Callable[[Floats], Floats]

MOST_TURNS: Final = 12
SETTLED: Final = 1e-4
"""Largest move of a turn, in standard uncertainties before the readings, that counts as none [-]."""


@dataclass(frozen=True)
class Problem:
    """What is known and what was read, in numbers.

    Attributes
    ----------
    shows : callable
        Basic amounts (..., L) to what each reading would show (..., n).
    m, P : arrays of shape (L,), (L, L)
        What is known beforehand, and its covariance.
    y, R : arrays of shape (n,), (n, n)
        What was read, and its covariance.
    sides : (array, array)
        Floor and ceiling of each basic amount.
    C : array of shape (L, n)
        Covariance between what is known and what was read (a weighing that both rest on).
    """

    shows: Shown
    m: Floats
    P: Floats
    y: Floats
    R: Floats
    sides: tuple[Floats, Floats]
    C: Floats

    @property
    def u(self) -> Floats:
        """Standard uncertainties of the basic amounts beforehand."""
        return np.sqrt(np.diag(self.P))

    @property
    def step(self) -> Floats:
        """How far to step for a slope."""
        return 1e-6 * self.u + 1e-12


@dataclass(frozen=True)
class Settled:
    """What least squares found, for batches along the leading axis.

    Attributes
    ----------
    z : array of shape (B, L)
        Best basic amounts, not kept to their side.
    at : array of shape (B, L)
        Where the slopes were taken: `z` kept to its side.
    P : array of shape (B, L, L)
        Covariance of z.
    gain : array of shape (B, L, n)
        How much each reading moves z.
    H, S : arrays of shape (B, n, L), (B, n, n)
        Slopes of the readings; covariance of what was read less what was expected.
    J : array of shape (B,)
        Squared distance between readings and expectation; chi-square with n degrees of freedom where no mistake is.
    """

    z: Floats
    at: Floats
    P: Floats
    gain: Floats
    H: Floats
    S: Floats
    J: Floats


def slopes(function: Shown, z: Floats, step: Floats) -> tuple[Floats, Floats]:
    """A function of the basic amounts and its slopes, by small steps: shapes (B, n) and (B, n, L)."""
    L = z.shape[-1]
    moved = np.repeat(z[:, None, :], L + 1, axis=1)
    moved[:, 1:, :] += np.diag(step)
    shown = function(moved)
    return shown[:, 0], np.moveaxis((shown[:, 1:] - shown[:, :1]) / step[:, None], 1, 2)


def settle(problem: Problem, m: Floats, y: Floats, R: Any = None, P: Any = None) -> Settled:
    """The best basic amounts, given what is known and what was read, for many batches of one kind at once.

    Parameters
    ----------
    problem : Problem
    m : array of shape (B, L)
        What is known beforehand of each batch (its own recipe), instead of the problem's.
    y : array of shape (B, n)
        What was read of each batch.
    R : array of shape (B, n, n), optional
        Covariance of each batch's readings; None: the problem's.
    P : array of shape (B, L, L), optional
        Covariance of what is known of each batch; None: the problem's.

    Notes
    -----
    Gauss–Newton on |z − m|² + |y − h(z)|², in the form that solves for as many unknowns as there are readings:
    z = m + K (y − h(a) + H (a − m)), K = (P Hᵀ − C) S⁻¹, S = H P Hᵀ − H C − (H C)ᵀ + R, where a is the last z, kept
    to its side. At rest it is the minimum.

    References
    ----------
    Rodgers, Inverse Methods for Atmospheric Sounding, World Scientific 2000, eq. 5.10 (from memory).
    """
    C, R, P = problem.C, problem.R if R is None else R, problem.P if P is None else P
    at = np.clip(m, *problem.sides)
    for _ in range(MOST_TURNS):
        shown, H = slopes(problem.shows, at, problem.step)
        PH, HC = P @ np.swapaxes(H, 1, 2) - C, H @ C
        S = H @ P @ np.swapaxes(H, 1, 2) - HC - np.swapaxes(HC, 1, 2) + R
        gap = y - shown + np.einsum("bnl,bl->bn", H, at - m)
        K = np.swapaxes(np.linalg.solve(S, np.swapaxes(PH, 1, 2)), 1, 2)
        z = m + np.einsum("bln,bn->bl", K, gap)
        last, at = at, np.clip(z, *problem.sides)
        if float(np.max(np.abs(at - last) / (problem.u + 1e-300), initial=0.0)) < SETTLED:
            break
    J = np.einsum("bn,bn->b", gap, np.linalg.solve(S, gap[..., None])[..., 0])
    return Settled(z, at, P - K @ np.swapaxes(PH, 1, 2), K, H, S, J)


def on_its_side(problem: Problem, start: Floats) -> Floats:
    """The best basic amounts of one batch, each kept to its side: shape (L,)."""
    from scipy.optimize import lsq_linear

    whole = np.block([[problem.P, problem.C], [problem.C.T, problem.R]])
    root = np.linalg.cholesky(whole + 1e-15 * np.diag(np.diag(whole)))
    u, sides = problem.u, problem.sides
    z = np.clip(start, *sides)
    for _ in range(3):
        shown, H = slopes(problem.shows, z[None], problem.step)
        A = np.linalg.solve(root, np.vstack([np.eye(u.size), H[0]]))
        b = np.linalg.solve(root, np.concatenate([problem.m, problem.y - shown[0] + H[0] @ z]))
        last, z = z, lsq_linear(A * u, b, (sides[0] / u, sides[1] / u), method="bvls").x * u
        if np.max(np.abs(z - last) / u) < 1e-3:
            break
    return np.asarray(z)
