"""Cumulative readings as they come: rows without a reading, single wild values, counters that start again."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.basis.checks import Floats, numbers, one_of, rising, same_length
from fermkit.basis.errors import InputError

Rows = NDArray[np.intp]

MANY_FALLS = 200
"""With more falls than this a series is no cumulative one (own choice)."""


def paired(
    time_h: ArrayLike, value: ArrayLike, name: str, *others: tuple[Any, str]
) -> tuple[Floats, Floats, list[Any], Rows, list[str]]:
    """Times and readings of the same length, rows without a reading left out.

    Parameters
    ----------
    time_h, value : array-like of shape (n,)
        Times [h] and readings; NaN stands for no reading.
    name : str
        What the readings are called, with the unit.
    *others : (value, name)
        More quantities: a single value stays as it is, a series is cut in the same rows.

    Returns
    -------
    time, value, others, rows, remarks
        `rows` are the numbers (1-based) of the rows kept.

    Examples
    --------
    >>> paired([0, 1, 2], [0.0, float("nan"), 5.0], "volume [mL]")[1]
    array([0., 5.])
    """
    times = numbers(time_h, "time [h]", at_least=2)
    values = numbers(value, name, missing="keep", at_least=2)
    same_length(time=times, readings=values)
    rising(times, "time [h]")
    kept = np.flatnonzero(np.isfinite(values))
    if kept.size < 2:
        raise InputError(f"{name} holds {kept.size} readings in {values.size} rows", "at least 2", "give more readings")
    cut = []
    for other, its_name in others:
        if np.ndim(getattr(other, "nominal_value", other)):
            series = numbers(other, its_name)
            same_length(**{"time": times, its_name: series})
            other = series[kept]
        elif not np.isfinite(getattr(other, "nominal_value", other)):
            raise InputError(f"{its_name} is {other}", "a finite number, or one for each reading", "give its value")
        cut.append(other)
    remarks = []
    if kept.size < times.size:
        without = np.flatnonzero(~np.isfinite(values)) + 1
        remarks.append(f"Rows without a reading were left out: {in_a_row(without)}.")
    return times[kept], values[kept], cut, kept + 1, remarks


def in_a_row(rows: Sequence[int] | Rows, most: int = 8) -> str:
    """Row numbers as a list that a person can read."""
    shown = ", ".join(str(int(row)) for row in rows[:most])
    return shown if len(rows) <= most else f"{shown} and {len(rows) - most} more"


def mended(
    value: Floats,
    name: str,
    rows: Rows,
    *,
    noise: float = 0.0,
    resets: str | Sequence[int] = "find",
    do: str = "correct the reading, or name the rows at which the counter started again: resets=[…]",
) -> tuple[Floats, Rows, list[str]]:
    """A cumulative series that goes on rising over counter resets, single wild readings taken out.

    Parameters
    ----------
    value : array of shape (n,)
        Cumulative readings.
    name : str
        What they are called.
    rows : array of int
        Their row numbers, for the messages.
    noise : float
        Standard deviation of a reading; falls below eight of them are noise and are kept (by chance there is
        one larger in 1e8). The scatter of the
        readings about their neighbours is taken where it is larger.
    resets : "find", "none" or row numbers
        Whether falls to near zero are a counter that started again, or which rows are.
    do : str
        What a person can do about a fall that is neither.

    Returns
    -------
    value, kept, remarks
        `kept` are the indices of the readings that stay.

    Raises
    ------
    InputError
        If a series falls in a way that is neither noise, a single wild reading, nor a new start from zero.

    Examples
    --------
    >>> mended(np.array([0.0, 40.0, 90.0, 3.0, 50.0]), "volume [mL]", np.arange(1, 6))[0]
    array([  0.,  40.,  90.,  93., 140.])
    """
    if isinstance(resets, str):
        one_of(resets, ("find", "none"), "resets")
    named = set() if isinstance(resets, str) else {_index(row, rows) for row in resets}
    scatter = _scatter(value)
    limit = 8 * max(noise, scatter)
    falls = [int(fall) for fall in np.flatnonzero(np.diff(value) < -limit) if int(fall) + 1 not in named]
    if len(falls) > MANY_FALLS:
        raise InputError(
            f"{name} falls {len(falls)} times, first in row {rows[falls[0] + 1]}", "cumulative readings",
            "check that the column is a running total, and not a rate or the gas of each interval",
        )  # fmt: skip
    wild: list[int] = []
    started = sorted(named)
    for fall in falls:
        what = _what_fell(value, fall, limit, resets == "find")
        if what == "start":
            started.append(fall + 1)
        elif what == "high":
            wild.append(fall)
        elif what == "low":
            wild.append(fall + 1)
        else:
            raise InputError(
                f"{name} falls from {value[fall]:g} in row {rows[fall]} to {value[fall + 1]:g} in row {rows[fall + 1]}"
                + (" and this may be a new start or a wild reading" if what == "either" else ""),
                "cumulative readings that do not fall", do,
            )  # fmt: skip
    going_on = value.copy()
    for start in sorted(started):
        going_on[start:] += value[start - 1]
    stays = np.ones(value.size, dtype=bool)
    stays[wild] = False
    kept = np.flatnonzero(stays)
    told = _told(wild, sorted(started), rows) + _doubts(going_on[kept], name, rows[kept], max(noise, scatter))
    return going_on[kept], kept, told


def _index(row: int, rows: Rows) -> int:
    """Index of a row number that a person has named."""
    place = int(np.searchsorted(rows, row))
    if place == 0 or place >= rows.size or rows[place] != row:
        raise InputError(
            f"a reset is named at row {row}", f"a row with a reading, from {rows[1]} to {rows[-1]}",
            "name the first reading after the counter started again, the first reading being row 1",
        )  # fmt: skip
    return place


def _scatter(value: Floats) -> float:
    """Standard deviation of a reading about the line between its neighbours, robust."""
    if value.size < 8:
        return 0.0
    some = value if value.size <= 20_000 else value[:20_000]
    off = some[1:-1] - (some[:-2] + some[2:]) / 2
    return float(np.median(np.abs(off)) / 0.6745 / np.sqrt(1.5))


def _what_fell(value: Floats, fall: int, limit: float, may_start: bool) -> str:
    """What a fall is: a wild reading before ("high") or after it ("low"), a new start, either, or unknown."""
    before, after = value[fall], value[fall + 1]
    steps = np.diff(value)
    steps = steps[steps > 0]
    usual = float(np.median(steps)) if steps.size else 0.0
    near_zero = -limit <= after <= max(0.05 * before, min(3 * usual, 0.5 * before), limit)
    if fall > 0 and after >= value[fall - 1] - limit and before - value[fall - 1] > limit:
        return "high" if before - value[fall - 1] > 5 * usual else "unknown"
    if fall + 2 < value.size and value[fall + 2] >= before - limit:
        if near_zero and may_start and value[fall + 2] - after <= 5 * usual:
            return "either"
        return "low"
    return "start" if near_zero and may_start else "unknown"


def _told(wild: Sequence[int], started: Sequence[int], rows: Rows) -> list[str]:
    said = []
    if wild:
        said.append(f"Single reading(s) far off both neighbours were left out: row {in_a_row(rows[np.sort(wild)])}.")
    if started:
        said.append(
            f"The counter started again from zero in row {in_a_row(rows[list(started)])}; what came before is "
            "carried on, and gas between the last reading and the new start is not counted."
        )
    return said


def _doubts(value: Floats, name: str, rows: Rows, scatter: float) -> list[str]:
    """Doubts about a series that may be read but should be looked at."""
    if value.size < 20:
        return []
    steps = np.diff(value)
    whole, usual, place = float(value[-1] - value[0]), float(np.median(np.abs(steps))), int(np.argmax(steps))
    if not whole > 3 * scatter:
        return [f"Doubt: {name} rises by {whole:.3g} in all and scatters by {scatter:.3g}: no gas is shown."]
    if steps[place] < max(0.2 * whole, 20 * usual):
        return []
    return [
        f"Doubt: {100 * steps[place] / whole:.0f} % of the whole comes in one step of {name}, between rows "
        f"{rows[place]} and {rows[place + 1]}."
    ]
