"""Cumulative readings as they come: rows without a reading, counters that start again, single wild values."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.checks import numbers, rising, same_length
from fermkit.errors import InputError

Floats = NDArray[np.float64]


def paired(
    time_h: ArrayLike, value: ArrayLike, name: str, *others: tuple[Any, str]
) -> tuple[Floats, Floats, list[Any], NDArray[np.intp], list[str]]:
    """Times and readings of the same length, rows without a reading left out.

    Parameters
    ----------
    time_h, value : array-like of shape (n,)
    name : str
        What the readings are called.
    *others : (value, name)
        More quantities: a number stays as it is, a series is cut in the same rows.

    Returns
    -------
    time, value, others, rows, remarks
        `rows` are the 1-based numbers of the rows kept.
    """
    times = numbers(time_h, "time [h]", at_least=2)
    values = numbers(value, name, missing="keep", at_least=2)
    same_length(time=times, readings=values)
    rising(times, "time [h]")
    kept = np.isfinite(values)
    if kept.sum() < 2:
        raise InputError(f"{name} has {int(kept.sum())} readings", "at least 2", "give more readings")
    rows = np.flatnonzero(kept) + 1
    cut = []
    for other, its_name in others:
        if np.ndim(getattr(other, "nominal_value", other)) == 0:
            cut.append(other)
            continue
        series = numbers(other, its_name)
        same_length(time=times, **{its_name.split(" ")[0]: series})
        cut.append(series[kept])
    remarks = []
    if rows.size < times.size:
        remarks.append(f"Rows without a reading were left out: {_rows(np.flatnonzero(~kept) + 1)}.")
    return times[kept], values[kept], cut, rows, remarks


def _rows(rows: Sequence[int] | NDArray[np.intp], most: int = 8) -> str:
    shown = ", ".join(str(int(row)) for row in rows[:most])
    return shown if len(rows) <= most else f"{shown} and {len(rows) - most} more"


def mended(
    value: Floats, name: str, rows: NDArray[np.intp], *, noise: float = 0.0, resets: str | Sequence[int] = "find"
) -> tuple[Floats, list[str]]:
    """A cumulative series that goes on rising over counter resets and single wild values."""
    fall = np.diff(value) < -5 * noise
    if not fall.any():
        return value, []
    row = int(np.argmax(fall))
    raise InputError(
        f"{name} falls from {value[row]:g} in row {rows[row]} to {value[row + 1]:g} in row {rows[row + 1]}",
        "cumulative readings that do not fall",
        "mend the reading, or name the rows at which the counter started again",
    )
