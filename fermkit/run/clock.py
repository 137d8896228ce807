"""Times as people write them, as hours since the start of the run."""

import re
import warnings
from collections.abc import Sequence
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fermkit.basis.checks import Floats
from fermkit.basis.errors import InputError
from fermkit.run.findings import Remarks

CLOCK: Final = re.compile(r"(\d{1,3})(?:[:h](\d{2})(?::(\d{2})(?:[.,]\d{1,9})?)?\s?(am|pm)?|\s?(am|pm))", re.IGNORECASE)
DAY: Final = re.compile(
    r"(?:(mon|tue|wed|thu|fri|sat|sun)(?:day|s|sday|nesday|r|rs|rsday|urday)?[.,]?|day (\d{1,2})[.,:]?)\s+(\S.*)",
    re.IGNORECASE,
)
"""A day of the week, or its number, before a clock time."""

DAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
WEEK_H: Final = 168.0
DATED: Final = re.compile(
    r"(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})[ T]\s?(\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d{1,9})?)?\s?(?:am|pm)?)", re.IGNORECASE
)
NO_DATE_FIRST_SERIAL: Final = 20_000.0
"""Spreadsheets count days from 1899-12-30; 20,000 is in 1954: a larger bare number under 'time' is a date."""


EARLIEST_H: Final = 1.0
"""A reading may stand so long before the start [h]."""

DAYS_TO_1970: Final = datetime(1970, 1, 1).toordinal()


EPOCH: Final = re.compile(r"(?:[5-9]\d{8}|[1-3]\d{9})(?:[.,]\d{1,9})?|[5-9]\d{11}|[1-3]\d{12}")
"""Seconds, or milliseconds, since 1970: a moment from 1985 to 2096."""

ZONE: Final = re.compile(r"(?<=\d\d:\d\d)(:\d\d(?:[.,]\d{1,9})?)?(?:Z|[+-]\d\d:?\d\d)$")

MILLI: Final = 1e11
"""From here on a moment since 1970 is in milliseconds."""


def epoch_hours(moments: Floats) -> Floats:
    """Hours since an arbitrary day, as `dated_hours`, from seconds or milliseconds since 1970."""
    seconds = np.where(moments > MILLI, moments / 1000, moments)
    return np.asarray(seconds / 3600 + DAYS_TO_1970 * 24.0)


EARLIEST_EPOCH_H: Final = 5e8 / 3600
"""Hours under a title with a unit that count from 1970, and not from the start of any batch: 1985 and later."""


def from_1970(hours: Floats, title: str, start: str, dates: str, book: Remarks) -> tuple[Floats, str]:
    """Hours as they are; or, where they can only count from 1970, since the start or the first row."""
    if not hours.size or not np.nanmin(np.append(hours, np.inf)) > EARLIEST_EPOCH_H or not np.isfinite(hours).any():
        return hours, ""
    first = f"{hours[np.isfinite(hours)][0] * 3600:.0f}"
    return from_zero(hours + DAYS_TO_1970 * 24.0, {"date"}, first, title, start, dates, book)


def clock_hours(text: str) -> float | None:
    """Hours from ``"21:30"``, ``"9:30 pm"``, ``"9 pm"`` or ``"25:10:00"``; None where it is no clock time.

    Examples
    --------
    >>> clock_hours("21:30"), clock_hours("9:30 pm"), clock_hours("noon")
    (21.5, 21.5, None)
    """
    found = CLOCK.fullmatch(text.strip())
    if not found or int(found[2] or 0) > 59 or int(found[3] or 0) > 59:
        return None
    hour, half = int(found[1]), found[4] or found[5]
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half.lower() == "pm" else 0)
    return hour + int(found[2] or 0) / 60 + int(found[3] or 0) / 3600


def day_hours(text: str) -> tuple[float, str] | None:
    """Hours from ``"Monday 10:00"`` or ``"day 2 10:00"`` since the first day began, and which of the two it is.

    Examples
    --------
    >>> day_hours("Mon 10:00"), day_hours("day 2, 9 am"), day_hours("Tuesday")
    ((10.0, 'weekday'), (33.0, 'numbered day'), None)
    """
    found = DAY.fullmatch(text.strip())
    hours = clock_hours(found[3]) if found else None
    if found is None or hours is None:
        return None
    if found[1]:
        return 24.0 * DAYS.index(found[1].lower()) + hours, "weekday"
    return 24.0 * (int(found[2]) - 1) + hours, "numbered day"


def dated_hours(text: str, dates: str = "") -> float | None:
    """Hours since an arbitrary day, from a date with a clock time; None where it is none.

    Parameters
    ----------
    text : str
        ``"2026-03-02 18:00"``; ``"02.03.2026 18:00"`` is day first; with slashes `dates` decides.
    dates : "day first", "month first" or ""

    Raises
    ------
    InputError
        For a date that can be read both ways, with `dates` empty.

    Examples
    --------
    >>> dated_hours("2026-03-02 18:00") - dated_hours("01.03.2026 18:00")
    24.0
    """
    if EPOCH.fullmatch(text.strip()):
        return float(epoch_hours(np.array([float(text.strip().replace(",", "."))]))[0])
    found = DATED.fullmatch(ZONE.sub(r"\1", text.strip()))
    if not found:
        return None
    first, sign, second, third = int(found[1]), found[2], int(found[3]), int(found[4])
    if sign == "-" and len(found[1]) < 3 and len(found[4]) < 3:
        raise InputError(
            f"{text!r} has a year of two digits, at the front or at the end", "a date that reads one way only",
            "write the year with four digits, such as 2026-03-02",
        )  # fmt: skip
    if len(found[1]) == 4:
        year, month, day = first, second, third
    else:
        year, (day, month) = third, _day_and_month(text, first, second, sign, dates)
    hours = clock_hours(found[5])
    try:
        day_number = datetime(year + 2000 if year < 100 else year, month, day).toordinal()
    except ValueError:
        return None
    return None if hours is None else day_number * 24 + hours


def _day_and_month(text: str, first: int, second: int, sign: str, dates: str) -> tuple[int, int]:
    if sign == "." or dates == "day first" or (not dates and first > 12):
        return first, second
    if dates == "month first" or second > 12:
        return second, first
    if first == second:
        return first, second
    raise InputError(
        f"{text!r} can be day first or month first",
        "a date that reads one way only, such as 2026-03-02",
        'write dates = "day first" (or "month first") under [run]',
    )


def hours_since(
    cells: Sequence[str], lines: NDArray[np.int64], title: str, start: str, dates: str, book: Remarks,
    *, alone: bool = False,
) -> tuple[Floats, str]:
    """Hours since `start` (or the first row) for a column of clock times or dated times.

    With `alone` each row is a moment of its own, so that the same time again is the next day.

    Returns
    -------
    (numpy.ndarray of shape (n,), str)
        Hours, NaN where nothing is written; and the time as written that counted as zero.
    """
    stamps = iso_hours(cells)
    if stamps is not None:
        out, kinds = stamps, {"date"}
    else:
        out, kinds = _each(cells, lines, title, dates, book)
    if len(kinds) > 1:
        raise book.refusal(
            "the times are written in several ways: with a date, with a day, or with neither",
            "one way of writing in the column",
            "write the date in every row",
            column=title,
        )
    if kinds == {"clock"}:
        _over_midnight(out, lines, title, book, alone)
    if kinds == {"weekday"}:
        _over_sunday(out, lines, title, book)
    first = next((str(cell) for cell in cells if cell), "")
    return from_zero(out, kinds, first, title, start, dates, book)


def from_zero(
    hours: Floats, kinds: set[str], first: str, title: str, start: str, dates: str, book: Remarks
) -> tuple[Floats, str]:
    """Hours counted from `start`, or from the first row, whose time is written `first`."""
    written = np.flatnonzero(~np.isnan(hours))
    if not written.size:
        return hours, start
    zero = start or first
    book.note(f"times were taken as hours since {zero}", column=title)
    return hours - _zero(float(hours[written[0]]), start, dates, kinds, title, book), zero


def iso_hours(cells: Sequence[str]) -> Floats | None:
    """Hours of a whole column of ``2026-03-02 18:00`` stamps at once; None where any is something else."""
    import pandas as pd

    first = next((cell for cell in cells if cell), "")
    found = re.fullmatch(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d([.,]\d{1,9})?)?(Z|[+-]\d\d:?\d\d)?", first)
    if not found:
        return None
    zone = found[3] or ""
    given = pd.Series(cells, copy=False)
    written = given.to_numpy() != ""
    if not given[written].str.match(r"\d{4}-\d\d-\d\d").all():  # pandas takes "now" and "today" for stamps
        return None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", FutureWarning)  # pandas 2 on several time zones; they are refused below
            stamps = pd.to_datetime(given, format="ISO8601", errors="coerce", utc=bool(zone))
    except (ValueError, TypeError, OverflowError):
        return None
    if zone and stamps.dtype.kind == "M":  # the clock of the place, as the first row has it
        if not given[written].str.contains(r"(?:Z|[+-]\d\d:?\d\d)$").all():
            return None
        away = 0 if zone == "Z" else int(zone[0] + "1") * (int(zone[1:3]) * 60 + int(zone[-2:]))
        stamps = stamps.dt.tz_localize(None) + pd.Timedelta(minutes=away)
    if (
        stamps.dtype.kind != "M"
        or getattr(stamps.dtype, "tz", None) is not None
        or (stamps.isna().to_numpy() & written).any()
    ):
        return None
    seconds = (stamps - pd.Timestamp(1970, 1, 1)) / pd.Timedelta(hours=1)
    return np.asarray(seconds.to_numpy(dtype=float) + DAYS_TO_1970 * 24.0)


def _each(
    cells: Sequence[str], lines: NDArray[np.int64], title: str, dates: str, book: Remarks
) -> tuple[Floats, set[str]]:
    out = np.full(len(cells), np.nan)
    kinds: set[str] = set()
    known: dict[str, tuple[float, str]] = {}
    for i, cell in enumerate(cells):
        if cell:
            if cell not in known:
                known[cell] = _one(cell, int(lines[i]), title, dates, book)
            out[i], kind = known[cell]
            kinds.add(kind)
    return out, kinds


def _one(cell: str, line: int, title: str, dates: str, book: Remarks) -> tuple[float, str]:
    try:
        hours = dated_hours(cell, dates)
    except InputError as problem:
        raise book.refusal(problem.met, problem.needed, problem.do, row=line, column=title) from None
    if hours is not None:
        return hours, "date"
    hours = clock_hours(cell)
    if hours is not None:
        return hours, "clock"
    if (of_day := day_hours(cell)) is not None:
        return of_day
    if re.fullmatch(r"\d{5}([.,]\d{1,12})?", cell) and float(cell.replace(",", ".")) > NO_DATE_FIRST_SERIAL:
        return (float(cell.replace(",", ".")) + 693594) * 24, "date"
    raise book.refusal(
        f"{cell[:30]!r} is no time of day, and the header names no unit",
        "clock times such as 21:30 or Monday 21:30, dates such as 2026-03-02 21:30, or a header such as 'time [h]'",
        "mend the entry, or write the unit in the header",
        row=line,
        column=title,
    )


LONG_STEP_H: Final = 3.0
"""Where readings usually stand so far apart, the same time of day again is the next day (judgement, no source)."""


def _over_midnight(out: Floats, lines: NDArray[np.int64], title: str, book: Remarks, alone: bool) -> None:
    """Add 24 h each time the clock goes back by more than an hour; doubt it where the gap is then odd."""
    written = np.flatnonzero(~np.isnan(out))
    steps = np.diff(out[written])
    if alone and len(steps) and _once_a_day(steps):
        out[written] += 24.0 * np.arange(len(written))
        book.note(
            f"{len(written)} times of day without dates, all within {np.ptp(out[written] % 24):.2g} h; taken as one "
            "reading a day", row=int(lines[written[0]]), column=title, level="doubt",
        )  # fmt: skip
        return
    apart = np.abs(steps)
    usual = float(np.median(apart[(apart > 0) & (apart < 20)])) if ((apart > 0) & (apart < 20)).any() else 24.0
    add, before = 0.0, np.nan
    for i in written:
        hour = out[i] + add
        if hour < before - 1.0 or (alone and usual >= LONG_STEP_H and hour <= before):
            add, hour = add + 24.0, hour + 24.0
            gap = hour - before
            odd = gap > max(5 * usual, LONG_STEP_H)
            words = (
                f"the clock goes back here; taken as the next day, {gap:.3g} h later"
                if odd
                else "the clock passed midnight here"
            )
            book.note(words, row=int(lines[i]), column=title, level="doubt" if odd else "note")
        out[i] = before = hour


def _over_sunday(out: Floats, lines: NDArray[np.int64], title: str, book: Remarks) -> None:
    """Add a week each time the days of the week go back."""
    add, before = 0.0, np.nan
    for i in np.flatnonzero(~np.isnan(out)):
        if out[i] + add < before:
            add += WEEK_H
            book.note("a new week begins here", row=int(lines[i]), column=title)
        out[i] = before = out[i] + add


def _once_a_day(steps: Floats) -> bool:
    """Whether clock times are those of one reading a day: never an hour on, and always the same or once back."""
    return bool((np.abs(steps) < 1.0).all() and ((steps == 0).all() or (steps < 0).any()))


def _zero(first: float, start: str, dates: str, kinds: set[str], title: str, book: Remarks) -> float:
    if not start:
        return first
    whole = dated_hours(start, dates)
    if kinds & {"weekday", "numbered day"}:
        return _zero_day(first, start, whole, kinds, title, book)
    if kinds == {"date"}:
        if whole is None:
            raise book.refusal(
                f"the times have dates, but the start is {start!r}", "a start with its date",
                'write start = "2026-03-02 18:00" under [run]', column=title,
            )  # fmt: skip
        if first < whole - EARLIEST_H:
            raise book.refusal(
                f"the first time is {whole - first:.3g} h before the start, {start}", "a start before the readings",
                "check day and hour of start under [run]", column=title,
            )  # fmt: skip
        return whole
    hour = clock_hours(start) if whole is None else whole % 24
    if hour is None:
        raise book.refusal(
            f"the start is {start[:30]!r}", "a time of day, with or without its date",
            'write start = "18:00" under [run]', column=title,
        )  # fmt: skip
    return hour if first >= hour - 1.0 else hour - 24


def _zero_day(first: float, start: str, whole: float | None, kinds: set[str], title: str, book: Remarks) -> float:
    """The start within the week of the first reading, or on its own numbered day."""
    of_day = day_hours(start)
    if of_day is not None and {of_day[1]} == kinds:
        zero = of_day[0]
    elif whole is not None and kinds == {"weekday"}:
        zero = (whole - 24.0) % WEEK_H  # day 1 of the calendar that `dated_hours` counts in was a Monday
    else:
        raise book.refusal(
            f"the times have days, but the start is {start[:30]!r}", "a start with its day",
            'write start = "Monday 18:00" under [run], as the times are written', column=title,
        )  # fmt: skip
    return zero - WEEK_H if kinds == {"weekday"} and first < zero - EARLIEST_H else zero
