"""The quick way through a long and even table, such as a logger writes: pandas' C parser, piece by piece."""

import io
import re
import sys
from typing import Any, Final

import numpy as np

from fermkit.basis.written import Frame
from fermkit.run.clock import EPOCH, epoch_hours, iso_hours
from fermkit.run.columns import NO_READING
from fermkit.run.findings import Remarks

ROWS_AT_ONCE: Final = 100_000
"""Text of this many rows is held at a time, so that memory follows the numbers and not the text."""


def even_lines(data: bytes, separator: str, head: list[str], header_line: int) -> int | None:
    """Number of lines, if each has as many columns as the header and nothing is quoted; else None.

    Parameters
    ----------
    data : bytes
    separator : str
    head : list of str
        The first lines of the file, up to the header at least.
    header_line : int
        Line of the header, counted from 1.
    """
    lines = data.count(b"\n") + (not data.endswith(b"\n"))
    if b'"' in data or (b"\r" in data and data.count(b"\r") != data.count(b"\n")):
        return None
    before = sum(line.count(separator) for line in head[: header_line - 1])
    columns = head[header_line - 1].count(separator)
    even = data.count(separator.encode()) - before == columns * (lines - header_line + 1)
    return lines if even else None


def parsed(
    data: bytes, separator: str, header_line: int, width: int, kinds: dict[int, str],
    day: tuple[int, int] | None = None,
) -> dict[int, Any] | None:  # fmt: skip
    """The wanted columns of an even table, or None where a cell is not of its column's kind.

    Parameters
    ----------
    data : bytes
        UTF-8 text.
    separator : str
    header_line : int
    width : int
        Number of columns in the file.
    kinds : dict
        Column number → "number", "text" or "stamp" (a date with a time of day, ISO 8601; or seconds since 1970).
    day : (int, int), optional
        Numbers of a column with the day and of the one with the time of day, which are drawn together.

    Returns
    -------
    dict or None
        Column number → float array, or list of texts; for stamps (hours, first stamp as written), or the
        texts as they are where they are clock times.
    """
    pieces: dict[int, list[Any]] = {i: [] for i in kinds}
    try:
        for frame in _pieces(data, separator, header_line, width, kinds | ({day[0]: "text"} if day else {})):
            if day and kinds[day[1]] == "stamp":
                frame[day[1]] = frame[day[0]].str.strip() + " " + frame[day[1]].str.strip()
            for i, kind in kinds.items():
                pieces[i].append(_piece(frame[i], kind))
                if pieces[i][-1] is None:
                    return None
    except (ValueError, OverflowError):
        return None
    return {i: _joined(pieces.pop(i)) for i in kinds}


def _joined(parts: list[Any]) -> Any:
    if all(isinstance(part, tuple) for part in parts):
        first = next((first for _, first in parts if first), "")
        return np.concatenate([hours for hours, _ in parts]), first
    if any(isinstance(part, tuple) for part in parts):
        return None
    return [cell for part in parts for cell in part] if isinstance(parts[0], list) else np.concatenate(parts)


def _pieces(data: bytes, separator: str, header_line: int, width: int, kinds: dict[int, str]) -> Any:
    import pandas as pd

    none = sorted(NO_READING | {word.upper() for word in NO_READING} | {"NaN", "None"})
    return pd.read_csv(
        io.BytesIO(data), sep=separator, header=None, names=range(width), skiprows=header_line, usecols=list(kinds),
        dtype={i: np.float64 if kind == "number" else str for i, kind in kinds.items()}, keep_default_na=False,
        na_values={i: none for i, kind in kinds.items() if kind == "number"}, engine="c", skip_blank_lines=False,
        decimal="," if separator != "," and re.search(rb"\d,\d", data[:5000]) else ".",
        index_col=False, encoding="utf-8", chunksize=ROWS_AT_ONCE,
    )  # fmt: skip


def _piece(column: Any, kind: str) -> Any:
    if kind == "number":
        values = column.to_numpy()
        return None if np.isinf(values).any() else values
    if kind == "stamp":
        first = next((str(cell) for cell in column if cell), "")
        if EPOCH.fullmatch(first):
            return epoch_hours(column.to_numpy(dtype=float)), first
        hours = iso_hours(column) if first else np.full(len(column), np.nan)
        if hours is not None:
            return hours, first
    return [sys.intern(cell.strip()) for cell in column]


MOST_READINGS: Final = 5_000
"""More readings of one curve tell no more than these; a logger's two weeks are then four minutes apart."""


def thinned(frame: Frame, column: str, book: Remarks) -> Any:
    """Of a very long table one row in each of 5,000 equal stretches: the one whose reading is the middle one.

    Each is a reading as it was made, so that its ± stays what it is; neighbours a second apart share most of their
    error, and a mean of them would claim more than they know. A single wild reading is never the middle one.
    """
    every = -(-len(frame) // MOST_READINGS)
    if every < 2:
        return frame
    values = frame[column].to_numpy(dtype=float)
    whole = len(values) // every * every
    stretches = values[:whole].reshape(-1, every)
    middle = np.argsort(np.where(np.isnan(stretches), np.inf, stretches), axis=1, kind="stable")
    there = np.count_nonzero(~np.isnan(stretches), axis=1)
    chosen = middle[np.arange(len(middle)), np.maximum(there - 1, 0) // 2] + every * np.arange(len(middle))
    keep = np.unique(np.concatenate([[0], chosen, [len(values) - 1]]))
    book.note(
        f"{len(values)} rows; of each {every} the one with the middle reading was taken, {len(keep)} in all; "
        "each keeps the ± of one reading"
    )
    return frame.iloc[keep]
