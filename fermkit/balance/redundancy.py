"""The arithmetic of balances that have more measurements than they need.

A x + B y = 0 for measured amounts x (covariance V) and unmeasured amounts y. What is left when y is
eliminated, R x = 0, tests the measurements and corrects them.

References
----------
van der Heijden, Heijnen, Hellinga, Romein & Luyben, Biotechnol. Bioeng. 43 (1994) 3-10, 11-20, 21-31.
Wang & Stephanopoulos, Biotechnol. Bioeng. 25 (1983) 2177-2208.
"""

from dataclasses import dataclass

import numpy as np
from scipy import linalg

from fermkit.basis.checks import Floats

_SAME = 1e-9


@dataclass(frozen=True)
class Redundancy:
    """What the balances say once the unmeasured streams are eliminated.

    Attributes
    ----------
    R : (n_tests, n_measured) array
        Independent relations among the measured amounts, ``R x = 0``.
    K : (n_tests, n_balances) array
        Which balances each is made of: ``R = K A``.
    Y : (n_unmeasured, n_measured) array
        The unmeasured amounts from the measured ones, ``y = Y x``, where they can be had.
    redundant, observable : tuples of bool
        Whether each measured amount is tested, and each unmeasured one determined.
    free : (n_unmeasured, n_free) array
        Directions in which the unmeasured amounts can move unseen.
    spread : float
        Smallest over largest singular value of the unmeasured columns; near zero: hardly told apart.
    """

    R: Floats
    K: Floats
    Y: Floats
    redundant: tuple[bool, ...]
    observable: tuple[bool, ...]
    free: Floats
    spread: float


def redundancy(A: Floats, B: Floats) -> Redundancy:
    """Eliminate the unmeasured amounts and find what is tested and what is determined.

    Parameters
    ----------
    A : (n_balances, n_measured) array
    B : (n_balances, n_unmeasured) array
    """
    size = np.linalg.norm(np.hstack([A, B]), axis=1, keepdims=True)
    A, B = A / size, B / size
    column = np.linalg.norm(B, axis=0)
    scaled = B / np.where(column > 0, column, 1.0)
    left: Floats = linalg.null_space(scaled.T, rcond=_SAME) if B.shape[1] else np.eye(A.shape[0])
    R, K = left.T @ A, left.T
    if R.size:
        turn, values, _ = np.linalg.svd(R, full_matrices=False)
        keep = values > _SAME * max(1.0, float(np.abs(A).max()))
        R, K = turn[:, keep].T @ R, turn[:, keep].T @ K
    free = linalg.null_space(B, rcond=_SAME) if B.shape[1] else np.zeros((0, 0))
    observable = tuple(bool(np.all(np.abs(row) < 1e-7)) for row in free) if free.size else (True,) * B.shape[1]
    singular = np.linalg.svd(scaled, compute_uv=False) if B.shape[1] else np.ones(1)
    return Redundancy(
        R=R,
        K=K / size.T,
        Y=-np.linalg.pinv(B, rcond=_SAME) @ A if B.shape[1] else np.zeros((0, A.shape[1])),
        redundant=tuple(bool(v) for v in np.abs(R).max(axis=0, initial=0.0) > 1e-9),
        observable=observable,
        free=free,
        spread=float(singular.min() / singular.max()) if singular.max() > 0 else 0.0,
    )


def weights(R: Floats, V: Floats) -> tuple[Floats, Floats]:
    """The matrices of the weighted least-squares correction.

    Returns
    -------
    correction, inverse : arrays
        ``x_reconciled = correction @ x`` and the inverse covariance of the residuals, so that
        ``chi2 = (R x)' inverse (R x)``.
    """
    P = R @ V @ R.T
    inverse: Floats = np.asarray(np.linalg.inv(P) if P.size else P, dtype=float)
    correction: Floats = np.eye(V.shape[0]) - V @ R.T @ inverse @ R
    return correction, inverse


def chi_square(x: Floats, R: Floats, inverse: Floats) -> Floats:
    """Misfit of each set of amounts: ``x`` of shape (…, n_measured) gives shape (…)."""
    residual = x @ R.T
    found: Floats = np.einsum("...i,ij,...j->...", residual, inverse, residual)
    return found
