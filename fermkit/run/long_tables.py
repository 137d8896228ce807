"""The quick way through a long and even table, such as a logger writes: pandas' C parser, piece by piece."""

import io
import re
import sys
from typing import Any, Final

import numpy as np

from fermkit.run.clock import iso_hours
from fermkit.run.columns import NO_READING

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


def parsed(data: bytes, separator: str, header_line: int, width: int, kinds: dict[int, str]) -> dict[int, Any] | None:
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
        Column number → "number", "text" or "stamp" (a date with a time of day, ISO 8601).

    Returns
    -------
    dict or None
        Column number → float array, or list of texts; for stamps (hours, first stamp as written), or the
        texts as they are where they are clock times.
    """
    pieces: dict[int, list[Any]] = {i: [] for i in kinds}
    try:
        for frame in _pieces(data, separator, header_line, width, kinds):
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
        hours = iso_hours(column) if first else np.full(len(column), np.nan)
        if hours is not None:
            return hours, first
    return [sys.intern(cell.strip()) for cell in column]
