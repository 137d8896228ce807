"""What is asked of the fitter: a block of readings with their weights, gaps closed up."""

from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from fermkit.basis.checks import Floats

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]


@dataclass(frozen=True)
class Problem:
    """A block of curves to fit: times, readings, and the square roots of their weights.

    Attributes
    ----------
    time : numpy.ndarray of shape (1, n) or (m, n)
        Hours since the start.
    amount : numpy.ndarray of shape (m, n)
        Readings times `weight`; 0 where missing.
    weight : numpy.ndarray of shape (1, n) or (m, n), optional
        Root of the weight: 1/u where that is known; 0 where a reading is missing.
    steps : bool
        Whether amounts and weights are those of the increments, one fewer than the times.
    known : bool
        Whether the weights are 1/u, so that the scatter need not be learnt from the readings.
    worth : numpy.ndarray of shape (m,), optional
        How many readings say something about the scatter, where that is not all of them.
    counting : numpy.ndarray of shape (m, 2), optional
        a and c of increments x whose variance is a (x + c), for weights that follow the curve.
    """

    time: Floats
    amount: Floats
    weight: Floats | None = None
    steps: bool = False
    known: bool = False
    worth: Floats | None = None
    counting: Floats | None = None

    def dof(self, parameters: int) -> Floats:
        """Degrees of freedom of each curve's scatter; at least 1."""
        n = np.full(len(self.amount), float(self.amount.shape[1]))
        if self.worth is not None:
            n = self.worth
        elif self.weight is not None:
            n[:] = np.count_nonzero(self.weight, axis=1)
        return np.asarray(np.maximum(n - parameters, 1.0))

    def of(self, rows: Rows | Flags) -> "Problem":
        """The same for some of the curves."""

        def cut(array: Floats | None) -> Floats | None:
            return array if array is None or len(array) != len(self.amount) else array[rows]

        return replace(
            self,
            time=cast(Floats, cut(self.time)),
            amount=self.amount[rows],
            weight=cut(self.weight),
            worth=cut(self.worth),
            counting=cut(self.counting),
        )


def pose(
    time: Floats, table: Floats, there: NDArray[np.bool_], noise: str, errors: Floats | None
) -> tuple[Problem, Floats]:
    """The least-squares problem of a block of readings, and the readings themselves for its start."""
    steps = noise == "accumulating"
    if steps or not np.isfinite(time).all():
        time, table, there, errors = _closed_up(time, table, there, errors, steps)
    whole = bool(there.all())
    level = table if whole else np.where(there, table, 0.0)
    weight = None if whole else there.astype(float)
    if not steps:
        if errors is not None:
            weight = there / errors
        level = level if weight is None else level * weight
        return Problem(time, level, weight, known=errors is not None), level
    level = np.where(there, level - level[:, :1], np.max(level - level[:, :1], axis=1, keepdims=True))
    y = np.where(there[:, 1:], np.diff(level, axis=1), 0.0)
    weight = None if weight is None else weight[:, 1:]
    if errors is not None:
        weight = there[:, 1:] / errors
        y = y * weight
    return Problem(time, y, weight, True, known=errors is not None), level


def _closed_up(
    time: Floats, table: Floats, there: NDArray[np.bool_], errors: Floats | None, steps: bool
) -> tuple[Floats, Floats, NDArray[np.bool_], Floats | None]:
    """Readings moved to the left over the gaps; the errors of increments are summed over a gap."""
    if there.all():
        return time, table, there, errors
    order = np.argsort(~there, axis=1, kind="stable")
    count = there.sum(axis=1, keepdims=True)
    now = np.arange(there.shape[1])[None, :] < count
    times = np.take_along_axis(np.broadcast_to(time, table.shape), order, axis=1)
    times = np.where(now, times, np.take_along_axis(times, count - 1, axis=1))
    if errors is not None:
        if steps:
            sums = np.pad(
                np.cumsum(np.broadcast_to(errors, (len(table), errors.shape[1])) ** 2, axis=1),
                ((0, 0), (1, 0)),
            )
            variance = np.diff(np.take_along_axis(sums, order, axis=1), axis=1)
            errors = np.sqrt(np.where(now[:, 1:], variance, 1.0))
        else:
            errors = np.take_along_axis(np.broadcast_to(errors, table.shape), order, axis=1)
    return times, np.take_along_axis(table, order, axis=1), now, errors
