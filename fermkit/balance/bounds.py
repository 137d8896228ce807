"""How much or how little of a stream there can be at all, given what was measured."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.special import chdtri

from fermkit.balance.redundancy import redundancy
from fermkit.basis.checks import Floats, one_of
from fermkit.basis.errors import BalanceError
from fermkit.basis.written import Line, Page, Written


@dataclass(frozen=True, repr=False)
class Bounds(Written):
    """Least and most of a stream.

    Attributes
    ----------
    stream : str
    low, high : float
        In `unit`; infinite where the balances set no end.
    region : "one" or "joint"
    """

    stream: str
    low: float
    high: float
    unit: str
    region: str
    balances: Sequence[str]

    def page(self) -> Page:
        what = "one amount at a time" if self.region == "one" else "all amounts together"
        lines = [Line("least", _end(self.low), self.unit), Line("most", _end(self.high), self.unit)]
        how = (
            f"Over the 95 % region of the reconciled data ({what}); {', '.join(self.balances)} balanced, "
            "nothing made that is consumed or the reverse."
        )
        return Page(f"Least and most {self.stream}", lines, [how])


def _end(value: float) -> float | str:
    return value if np.isfinite(value) else "no end"


def bounds(
    at: int, x: Floats, V: Floats, A: Floats, B: Floats, *, signs: Sequence[int], region: str = "one"
) -> tuple[float, float]:
    """Least and most of one amount.

    Linear programmes: the amounts obey every balance, keep their signs, and stay inside the ellipsoid in which
    the misfit rises by no more than the 95 % quantile of chi-square above its least value. The ellipsoid is
    closed in on by tangent planes until the end point lies on it.

    Parameters
    ----------
    at : int
        Which amount, counting the known ones (columns of A) and then the unknown ones (columns of B).
    x, V : arrays of shape (n,), (n, n)
        Known amounts and covariance.
    A, B : arrays
        Balances of known and unknown amounts.
    signs : sequence of int
        -1 consumed, +1 made, 0 either, for each amount.
    region : "one" or "joint"
        Quantile for one degree of freedom (the interval of a single amount: 1.96 standard uncertainties where the
        amount is determined), or for as many as there are free amounts.

    Returns
    -------
    (float, float)

    References
    ----------
    Tangent (cutting) planes: Kelley, J. Soc. Ind. Appl. Math. 8 (1960) 703-712.
    """
    one_of(region, ("one", "joint"), "region")
    values, vectors = np.linalg.eigh(V)
    root = vectors * np.sqrt(np.maximum(values, 0))  # x_true = x + root z, z standard normal
    scale = np.maximum(np.abs(x).max(), 1e-300)
    rows = np.hstack([A @ root, B * scale])
    size = np.maximum(np.abs(rows).max(axis=1, keepdims=True), 1e-300)
    equal, right = rows / size, -(A @ x) / size[:, 0]
    n, m = len(x), B.shape[1]
    sign_rows, sign_right = _sign_rows(signs, x, root, scale, n, m)
    R = redundancy(A, B).R
    start = np.linalg.pinv(R @ root) @ (-R @ x)  # of the reconciled amounts
    freedom = 1 if region == "one" else max(1, n - int(np.linalg.matrix_rank(A, tol=1e-12)))
    radius = float(np.sqrt(start @ start + chdtri(freedom, 0.05)))
    goal = np.concatenate([root[at], np.zeros(m)]) if at < n else np.eye(n + m)[n + at - n] * scale
    shift = x[at] if at < n else 0.0
    ends = [shift + s * _least(s * goal, equal, right, sign_rows, sign_right, radius, n) for s in (1.0, -1.0)]
    return float(ends[0]), float(ends[1])


def _sign_rows(signs: Sequence[int], x: Floats, root: Floats, scale: float, n: int, m: int) -> tuple[Floats, Floats]:
    """-sign * amount <= 0, in the variables of the programme."""
    rows, right = [], []
    for i, sign in enumerate(signs):
        if sign:
            full = np.concatenate([root[i], np.zeros(m)]) if i < n else np.eye(n + m)[i] * scale
            rows.append(-sign * full / scale)
            right.append(sign * (x[i] if i < n else 0.0) / scale)
    return np.array(rows).reshape(-1, n + m), np.array(right)


def _least(
    goal: Floats, equal: Floats, right: Floats, signs: Floats, sign_right: Floats, radius: float, n: int
) -> float:
    """Least value of ``goal @ v`` over the ball |z| <= radius, the balances and the signs."""
    cuts, limits = signs, sign_right
    box = [(-radius, radius)] * n + [(None, None)] * (len(goal) - n)
    for _ in range(300):
        found = linprog(goal, A_ub=cuts, b_ub=limits, A_eq=equal, b_eq=right, bounds=box, method="highs")
        if found.status == 3:
            return -np.inf
        if found.status != 0:
            raise BalanceError(
                f"none of {n} amounts within the 95 % region obeys the balances with the right signs",
                "measurements that agree with one another",
                "look at explain() first: something is wrong with the amounts",
            )
        z = found.x[:n]
        length = float(np.linalg.norm(z))
        if length <= radius * (1 + 1e-5):
            break
        cuts = np.vstack([cuts, np.concatenate([z / length, np.zeros(len(goal) - n)])])
        limits = np.append(limits, radius)
    return float(found.fun)
