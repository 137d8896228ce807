"""Times as people write them, as hours since the start of the run."""

import re
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fermkit.errors import InputError

CLOCK: Final = re.compile(r"(\d{1,3})[:h.](\d{2})(?::(\d{2})(?:[.,]\d+)?)?\s*(am|pm|AM|PM)?")
DATED: Final = re.compile(r"(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})[ T]+(\d{1,3}:\d{2}(?::\d{2})?(?:[.,]\d+)?\s*(?:am|pm|AM|PM)?)Z?")


def clock_hours(text: str) -> float | None:
    """Hours from ``"21:30"``, ``"9:30 pm"`` or ``"25:10:00"``; None where it is no clock time.

    Examples
    --------
    >>> clock_hours("21:30"), clock_hours("9:30 pm"), clock_hours("noon")
    (21.5, 21.5, None)
    """
    found = CLOCK.fullmatch(text.strip())
    if not found or int(found[2]) > 59 or int(found[3] or 0) > 59:
        return None
    hour = int(found[1])
    if found[4]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found[4].lower() == "pm" else 0)
    return hour + int(found[2]) / 60 + int(found[3] or 0) / 3600


def dated_hours(text: str, dates: str) -> float | None:
    """Hours since an arbitrary day from a date with a clock time; None where it is none."""
    found = DATED.fullmatch(text.strip())
    if not found:
        return None
    first, sign, second, third = int(found[1]), found[2], int(found[3]), int(found[4])
    if first > 31:
        year, month, day = first, second, third
    else:
        year = third
        day, month = (first, second) if sign == "." or dates == "day first" else (second, first)
        if sign != "." and not dates:
            if first == second or first > 12 or second > 12:
                day, month = max(first, second), min(first, second)
            else:
                raise InputError(
                    f"{text!r} can be day first or month first",
                    "a date that reads one way only, such as 2026-03-02",
                    'write dates = "day first" (or "month first") under [run]',
                )
    hours = clock_hours(found[5])
    try:
        days = datetime(year + 2000 if year < 100 else year, month, day).toordinal()
    except ValueError:
        return None
    return None if hours is None else days * 24 + hours


def hours_since(
    cells: Sequence[str],
    lines: NDArray[np.int64],
    title: str,
    start: str,
    dates: str,
    note: Callable[..., None],
    refuse: Callable[..., InputError],
) -> NDArray[np.float64]:
    """Hours since `start` (or the first row) for a column of clock times or dated times."""
    out = np.full(len(cells), np.nan)
    dated = [False] * len(cells)
    for i, cell in enumerate(cells):
        if not cell:
            continue
        out[i], dated[i] = _one(cell, int(lines[i]), title, dates, refuse)
    if any(dated) and not all(flag or not cell for flag, cell in zip(dated, cells)):
        raise refuse("some times have a date and some do not", "one way of writing in the column", "write the date in every row", column=title)
    if not any(dated):
        _over_midnight(out, lines, title, note)
    zero = _zero(out, start, dates, any(dated), refuse)
    note(f"times were taken as hours since {start or 'the first row'}", column=title)
    return out - zero


def _one(cell: str, line: int, title: str, dates: str, refuse: Callable[..., InputError]) -> tuple[float, bool]:
    try:
        hours: Any = dated_hours(cell, dates)
    except InputError as problem:
        raise refuse(problem.met, problem.needed, problem.do, row=line, column=title) from None
    if hours is not None:
        return hours, True
    hours = clock_hours(cell)
    if hours is None:
        raise refuse(
            f"{cell[:30]!r} is no time, and the header names no unit",
            "clock times such as 21:30, or a header such as 'time [h]'",
            "mend the entry, or write the unit in the header",
            row=line,
            column=title,
        )
    return hours, False


def _over_midnight(out: NDArray[np.float64], lines: NDArray[np.int64], title: str, note: Callable[..., None]) -> None:
    """Add 24 h each time the clock goes back by more than half a day."""
    add, before = 0.0, np.nan
    for i, hour in enumerate(out):
        if np.isnan(hour):
            continue
        if hour + add < before - 12:
            add += 24.0
            note("the clock passed midnight here", row=int(lines[i]), column=title)
        out[i] = before = hour + add


def _zero(out: NDArray[np.float64], start: str, dates: str, dated: bool, refuse: Callable[..., InputError]) -> float:
    first = float(out[np.flatnonzero(~np.isnan(out))[0]]) if (~np.isnan(out)).any() else 0.0
    if not start:
        return first
    whole = dated_hours(start, dates)
    if dated:
        if whole is None:
            raise refuse(f"the table has dates, and the start is {start!r}", "a start with a date", 'write start = "2026-03-02 18:00" under [run]')
        return whole
    hour = clock_hours(start) if whole is None else whole % 24
    if hour is None:
        raise refuse(f"the start is {start!r}", "a clock time, with or without date", 'write start = "18:00" under [run]')
    return hour if first >= hour - 1e-9 else hour - 24
