"""Reads a table that a person or a logger wrote: text in, named columns and findings out.

Separator, decimal sign, encoding and the way times are written are found by counting,
units are taken from the header and converted once. What can be read safely is read and
reported; the rest is refused with row, column, value and remedy.
"""

import csv
import difflib
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fermkit.errors import InputError
from fermkit.findings import Finding, rows_in_words
from fermkit.quantities import UNIT_TEXT, conversion, number
from fermkit.run_layout import Column

Floats = NDArray[np.float64]
SEPARATORS: Final = (";", "\t", "|", ",")
NO_READING: Final = frozenset({"", "-", "--", "–", "—", "?", "n.d.", "nd", "n/a", "na", "nan", "none", "null", "x"})
"""Words that mean 'no reading' (common practice, no source)."""
LARGEST_BYTES: Final = 200_000_000
MOST_COLUMNS: Final = 64
FAST_FROM_BYTES: Final = 200_000


@dataclass(frozen=True)
class Table:
    """A table as read: a DataFrame with our column names and the file's row numbers, and what was found."""

    frame: Any
    units: dict[str, str]
    findings: tuple[Finding, ...]


@dataclass
class _Reading:
    """What is known about one file while it is read."""

    file: str
    columns: Sequence[Column]
    dates: str = ""
    start: str = ""
    findings: list[Finding] = field(default_factory=list)

    def note(self, sentence: str, *, row: int | None = None, column: str = "", level: str = "note") -> None:
        self.findings.append(Finding(level, self.file, row, column, sentence))

    def refuse(self, met: str, needed: str, do: str, *, row: int | None = None, column: str = "") -> InputError:
        place = ", ".join(part for part in (self.file, f"row {row}" if row else "", column[:60]) if part)
        return InputError(f"{place}: {met}", needed, do)


def read_table(data: bytes, file: str, columns: Sequence[Column], *, dates: str = "", start: str = "") -> Table:
    """Read one CSV table.

    Parameters
    ----------
    data : bytes
        The file's contents.
    file : str
        Its name, for the findings.
    columns : sequence of Column
        What the table may hold.
    dates : "day first", "month first" or ""
        How dates such as 03/04/2026 are meant; needed only where both are possible.
    start : str
        The moment that counts as 0 h where times are clock times (``"18:00"`` or
        ``"2026-03-02 18:00"``); empty: the first row.

    Returns
    -------
    Table
        Columns named with their unit (``time_h``), in fermkit's units, plus ``row``.

    Raises
    ------
    InputError
        With file, row, column, value and remedy.

    Examples
    --------
    >>> from fermkit.run_layout import TABLES
    >>> table = read_table(b"time [min];volume [L]\\n0;0\\n30;0,21\\n", "gas.csv", TABLES["gas"])
    >>> print(table.frame.to_string(index=False))
     row  time_h  volume_mL
       2     0.0        0.0
       3     0.5      210.0
    """
    reading = _Reading(file, columns, dates, start)
    text = _decode(data, reading)
    separator = _separator(text, reading)
    rows = _split(text, separator, reading)
    return _table(rows, reading, None if separator == "," else "either")


def read_rows(rows: Sequence[Sequence[str]], file: str, columns: Sequence[Column], *, dates: str = "", start: str = "") -> Table:
    """Read a table that is already split into cells, such as a sheet of a workbook."""
    reading = _Reading(file, columns, dates, start)
    numbered = [(i + 1, list(row)) for i, row in enumerate(rows) if any(cell.strip() for cell in row)]
    if not numbered:
        raise reading.refuse("the table is empty", "a header and at least one row", "fill it in, or delete it")
    return _table(numbered, reading, "either")


def _decode(data: bytes, reading: _Reading) -> str:
    if len(data) > LARGEST_BYTES:
        raise reading.refuse(f"the file has {len(data) / 1e6:.0f} MB", f"at most {LARGEST_BYTES / 1e6:.0f} MB", "thin out the log, say to one reading a minute")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    else:
        encodings = ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            break
        if encoding != "utf-8-sig":
            reading.note(f"read as {encoding}, since it is not UTF-8")
        return text
    raise reading.refuse("the file is not text", "a table as plain text (CSV)", "save it as CSV with UTF-8")


def _separator(text: str, reading: _Reading) -> str:
    lines = [line for line in text[:50_000].splitlines() if line.strip() and not line.startswith("#")][:50]
    if not lines:
        raise reading.refuse("the table is empty", "a header and at least one row", "fill it in, or delete it")
    counts = {sign: _outside_brackets(lines[0]).count(sign) for sign in SEPARATORS}
    best = max(SEPARATORS, key=lambda sign: counts[sign])
    return best if counts[best] else ","


def _outside_brackets(header: str) -> str:
    return re.sub(r"\[[^\]]*\]|\"[^\"]*\"", "", header)


def _split(text: str, separator: str, reading: _Reading) -> list[tuple[int, list[str]]]:
    rows: list[tuple[int, list[str]]] = []
    blank: list[int] = []
    source = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=False)
    try:
        for cells in source:
            line = source.line_num
            if not any(cell.strip() for cell in cells):
                blank.append(line)
            elif not cells[0].startswith("#"):
                rows.append((line, cells))
    except csv.Error as problem:
        raise reading.refuse(f"the row cannot be split ({problem})", "one row a line", "mend the quotation marks", row=source.line_num) from None
    inner = [line for line in blank if rows and line < rows[-1][0]]
    if inner:
        reading.note(f"{len(inner)} blank rows were skipped: {rows_in_words(inner)}")
    return rows


def _table(rows: list[tuple[int, list[str]]], reading: _Reading, decimal: str | None) -> Table:
    import pandas as pd

    (header_row, header), body = rows[0], rows[1:]
    if len(header) > MOST_COLUMNS:
        raise reading.refuse(f"the header has {len(header)} columns", f"at most {MOST_COLUMNS}", "keep only the columns that are needed", row=header_row)
    titles, body = _with_units_row([cell.strip() for cell in header], body, reading)
    body = _even(titles, body, reading, header_row)
    lines = np.array([line for line, _ in body], dtype=np.int64)
    if not body:
        raise reading.refuse("the table has a header but no rows", "at least one row", "fill it in, or delete it")
    frame: dict[str, Any] = {"row": lines}
    units: dict[str, str] = {}
    comma = decimal or ("comma" if _decimal_commas(body) else "point")
    if decimal == "either":
        comma = "comma" if _decimal_commas(body) else "point"
    else:
        comma = "point"
    for place, title in enumerate(titles):
        column, unit = _column(title, reading, header_row)
        if column is None:
            continue
        if column.name in frame:
            raise reading.refuse(f"two columns mean {column.written!r}", "one column of each", "delete or rename one", row=header_row, column=title)
        cells = [row[place].strip() for _, row in body]
        if column.kind == "text":
            frame[column.name] = cells
        elif column.kind == "time" and not unit:
            frame[column.name] = _clock_hours(cells, lines, title, reading)
        else:
            frame[column.name] = _numbers(cells, lines, title, column, unit, comma, reading)
            units[column.name] = unit if column.unit == "any" else column.unit
    return Table(_tidy(pd.DataFrame(frame), reading), units, tuple(reading.findings))


def _decimal_commas(body: list[tuple[int, list[str]]]) -> bool:
    cells = [cell.strip() for _, row in body[:500] for cell in row]
    commas = sum(bool(re.fullmatch(r"[-+]?\d*,\d+", cell)) for cell in cells)
    return commas > 0


def _with_units_row(titles: list[str], body: list[tuple[int, list[str]]], reading: _Reading) -> tuple[list[str], list[tuple[int, list[str]]]]:
    if not body or any("[" in title for title in titles):
        return titles, body
    line, cells = body[0]
    words = [cell.strip().strip("[]()") for cell in cells[: len(titles)]]
    if len(words) < len(titles) or not all(UNIT_TEXT.fullmatch(word) for word in words) or not any(words):
        return titles, body
    known = {column.written: column for column in reading.columns}
    for title, word in zip(titles, words):
        column = known.get(title.lower())
        if column is None or (word and (column.kind == "text" or not _convertible(word, column.unit))):
            return titles, body
    reading.note("the row below the header was taken for the units", row=line)
    return [f"{title} [{word}]" if word else title for title, word in zip(titles, words)], body[1:]


def _convertible(unit: str, to: str) -> bool:
    try:
        conversion(unit, to or "1")
    except InputError:
        return to == "any"
    return True


def _even(titles: list[str], body: list[tuple[int, list[str]]], reading: _Reading, header_row: int) -> list[tuple[int, list[str]]]:
    """Every row with as many cells as the header; empty ones at the end may be left out."""
    out = []
    for line, cells in body:
        extra = cells[len(titles) :]
        if any(cell.strip() for cell in extra):
            raise reading.refuse(
                f"{len(cells)} cells under a header of {len(titles)}: {' | '.join(cells)[:60]}",
                "as many cells as the header has columns",
                "if decimals are written with a comma, split the columns with ';' instead",
                row=line,
            )
        out.append((line, cells[: len(titles)] + [""] * (len(titles) - len(cells))))
    return out


def _column(title: str, reading: _Reading, header_row: int) -> tuple[Column | None, str]:
    """Which column a title means, and its unit as written."""
    found = re.fullmatch(r"(?P<name>[^\[\](]*?)\s*(?:[\[(](?P<unit>[^\])]*)[\])])?", title)
    name = (found["name"] if found else title).strip()
    unit = (found["unit"] or "").strip() if found else ""
    for column in reading.columns:
        if title == column.name and column.unit and column.unit != "any":
            return column, column.unit
        if name.lower() == column.written.lower():
            if column.kind == "number" and column.unit and column.unit != "any" and not unit:
                raise reading.refuse(f"{title!r} has no unit", f"a unit in the header, such as '{column.written} [{column.unit}]'", "write the unit in the header", row=header_row)
            return column, unit
    if title:
        near = difflib.get_close_matches(name.lower(), [column.written for column in reading.columns], n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        reading.note(f"the column was left out, since this table has no use for it{hint}", row=header_row, column=title[:60], level="doubt" if near else "note")
    return None, unit


def _numbers(cells: list[str], lines: NDArray[np.int64], title: str, column: Column, unit: str, decimal: str, reading: _Reading) -> Floats:
    try:
        factor, offset = (1.0, 0.0) if column.unit == "any" else conversion(unit or column.unit or "1", column.unit or "1")
    except InputError as problem:
        raise reading.refuse(problem.met, problem.needed, problem.do, column=title) from None
    out = np.full(len(cells), np.nan)
    for i, cell in enumerate(cells):
        if cell.lower() in NO_READING:
            continue
        if cell[0] in "<>≤≥":
            reading.note(f"{cell[:20]!r} is a limit, not a reading; it was left out", row=int(lines[i]), column=title, level="doubt")
            continue
        out[i] = factor * _cell(cell, int(lines[i]), title, decimal, reading) + offset
    return out


def _cell(cell: str, line: int, title: str, decimal: str, reading: _Reading) -> float:
    try:
        if decimal == "comma" and "." in cell and "," not in cell:
            if re.fullmatch(r"[-+]?\d{1,3}(\.\d{3})+", cell):
                raise InputError(f"{cell!r} can be read in two ways", "one decimal sign in the whole file", "write it without a thousands sign")
            reading.note(f"{cell!r} has a decimal point among decimal commas; read as a decimal point", row=line, column=title)
            return number(cell, decimal="point")
        return number(cell, decimal=decimal)
    except InputError as problem:
        raise reading.refuse(problem.met, problem.needed, problem.do, row=line, column=title) from None


def _clock_hours(cells: list[str], lines: NDArray[np.int64], title: str, reading: _Reading) -> Floats:
    """Hours since the start, from clock times or dates with times."""
    from fermkit.clock import hours_since

    return hours_since(cells, lines, title, reading.start, reading.dates, reading.note, reading.refuse)


def _tidy(frame: Any, reading: _Reading) -> Any:
    """Leave out rows that hold no reading, and sort by time, saying so."""
    values = [name for name in frame.columns if name not in ("row", "time_h") and frame[name].dtype == float]
    if values:
        empty = frame[values].isna().all(axis=1).to_numpy()
        if empty.any() and not empty.all():
            rows = frame["row"].to_numpy()[empty]
            reading.note(f"{len(rows)} rows without a reading were left out: {rows_in_words(rows)}")
            frame = frame[~empty]
    if "time_h" in frame:
        frame = _by_time(frame, reading)
    return frame.reset_index(drop=True)


def _by_time(frame: Any, reading: _Reading) -> Any:
    time = frame["time_h"].to_numpy()
    if np.isnan(time).all():
        return frame
    if np.isnan(time).any() and len(frame.columns) > 2:
        pass
    late = np.flatnonzero(np.diff(time) < 0)
    if late.size:
        rows = frame["row"].to_numpy()[late + 1]
        reading.note(f"the time goes back at rows {rows_in_words(rows)}; the rows were sorted by time", level="doubt")
        frame = frame.iloc[np.argsort(time, kind="stable")]
    return frame


Note = Callable[..., None]
