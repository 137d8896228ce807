"""Reads a table that a person or a logger wrote: text in, named columns and findings out.

Separator, decimal sign, encoding and the way times are written are found by counting; units are
taken from the header and converted once. What can be read safely is read and reported; the rest
is refused with file, row, column, value and remedy.
"""

import codecs
import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fermkit.basis.checks import nearest
from fermkit.basis.errors import InputError
from fermkit.basis.written import Frame
from fermkit.run.clock import from_1970, from_zero, hours_since
from fermkit.run.columns import (
    Body,
    column_of,
    decimal_sign,
    dilution_of,
    in_our_unit,
    is_title,
    meant,
    name_and_unit,
    numbers_of,
    with_units_row,
)
from fermkit.run.findings import Finding, Remarks, did_you_mean, rows_in_words
from fermkit.run.format import TABLES, Column
from fermkit.run.long_tables import even_lines, parsed
from fermkit.run.oddities import in_order
from fermkit.run.own_files import OwnFile

SEPARATORS: Final = (";", "\t", "|", ",")
LARGEST_BYTES: Final = 200_000_000
LARGEST_UNEVEN_BYTES: Final = 25_000_000
"""Cell by cell a file needs up to thirty times its size in memory, so uneven files have a lower limit."""

MOST_BLANK: Final = 100_000
"""Blank rows of one file: each costs time and tells nothing."""

FAST_FROM_BYTES: Final = 100_000
MOST_COLUMNS: Final = 64
HIGHEST_HEADER: Final = 60
MIDNIGHT: Final = re.compile(r"[ T]00:00(:00)?$")
"""What a workbook puts behind a date."""

TIME_ALONE: Final = tuple(column for column in TABLES["gas"] if column.kind == "time")


@dataclass(frozen=True)
class Table:
    """A table as read: our columns with the file's row numbers, units of sensor columns, findings.

    `zero` is the time as written that counts as 0 h, where times are clock times.
    """

    frame: Frame
    units: dict[str, str]
    findings: tuple[Finding, ...]
    zero: str = ""


@dataclass(frozen=True)
class _Asked:
    """What a table may hold, and how its dates and its start are meant."""

    columns: Sequence[Column]
    dates: str
    start: str
    own: OwnFile | None = None

    def known(self, titles: Sequence[str]) -> int:
        """How many of these cells are titles of columns that are asked for."""
        if self.own is not None and self.own.columns:
            return self.own.known(titles)
        return sum(is_title(title, self.columns) for title in titles)

    def ours(self, titles: list[str], book: Remarks, row: int) -> list[str]:
        """The header in our words."""
        return titles if self.own is None else self.own.titles(titles, self.columns, book, row)


def read_table(
    data: bytes, file: str, columns: Sequence[Column], *, dates: str = "", start: str = "", own: OwnFile | None = None
) -> Table:
    """Read one table from the bytes of a text file.

    Parameters
    ----------
    data : bytes
    file : str
        Its name, for the findings.
    columns : sequence of Column
        What the table may hold.
    dates : "day first", "month first" or ""
        How dates such as 03/04/2026 are meant; needed only where both are possible.
    start : str
        The moment that counts as 0 h where times are clock times; empty: the first row.
    own : OwnFile, optional
        Which of the file's columns is which, where it has titles of its own.

    Returns
    -------
    Table
        Columns named with their unit (``time_h``), in fermkit's units, in order of time, plus ``row``.

    Raises
    ------
    InputError
        With file, row, column, value and remedy.

    Examples
    --------
    >>> from fermkit.run.format import TABLES
    >>> table = read_table(b"time [min];volume [L]\\n0;0\\n30;0,21\\n", "gas.csv", TABLES["gas"])
    >>> print(table.frame.to_string(index=False))
     row  time_h  volume_mL
       2     0.0        0.0
       3     0.5      210.0
    """
    book, asked = Remarks(file), _Asked(columns, dates, start, own)
    blank = data.count(b"\n\n") + data.count(b"\n\r\n")
    if blank > MOST_BLANK:
        raise book.refusal(
            f"the file has {blank} blank rows", f"at most {MOST_BLANK}", "save it without the blank rows"
        )
    encoding = _encoding(data, book)
    separator, header_line = _header(data, encoding, asked, book)
    if len(data) > FAST_FROM_BYTES and encoding == "utf-8-sig":
        quick = _quickly(data, separator, header_line, asked, book)
        if quick is not None:
            return quick
    if len(data) > LARGEST_UNEVEN_BYTES:
        raise book.refusal(
            f"the file has {len(data) / 1e6:.0f} MB and is not plain numbers throughout",
            f"at most {LARGEST_UNEVEN_BYTES / 1e6:.0f} MB for a table with remarks, gaps or clock times",
            "thin out the log, or write hours as plain numbers and leave the remarks out",
        )
    body = [row for row in _split(data, encoding, separator, book) if row[0] >= header_line]
    if not body:
        raise _empty(book)
    return _table(body, asked, book, separator)


def read_rows(
    cells: Sequence[Sequence[str]], file: str, columns: Sequence[Column], *, dates: str = "", start: str = "",
    own: OwnFile | None = None,
) -> Table:  # fmt: skip
    """Read a table that is already split into cells, such as a sheet of a workbook."""
    book = Remarks(file)
    body = [(i + 1, list(row)) for i, row in enumerate(cells) if any(cell.strip() for cell in row)]
    if not body:
        raise _empty(book)
    asked = _Asked(columns, dates, start, own)
    if own is not None and own.columns:  # a person's sheet may say things above its table
        likely = (i for i, (_, row) in enumerate(body[:HIGHEST_HEADER]) if asked.known(row) >= own.least())
        body = body[next(likely, 0) :]
    return _table(body, asked, book, ";")


def _encoding(data: bytes, book: Remarks) -> str:
    if len(data) > LARGEST_BYTES:
        raise book.refusal(
            f"the file has {len(data) / 1e6:.0f} MB", f"at most {LARGEST_BYTES / 1e6:.0f} MB",
            "thin out the log, say to one reading a minute",
        )  # fmt: skip
    wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        try:
            if encoding == "utf-8-sig" and data.isascii():
                found = "\0" in data[:1000].decode("ascii") or b"\0" in data
            else:
                found = "\0" in codecs.decode(data, encoding)
        except UnicodeDecodeError:
            continue
        if found:
            break
        if encoding != "utf-8-sig":
            book.note(f"read as {encoding}, since it is not UTF-8")
        return encoding
    raise book.refusal("the file is not text", "a table as plain text (CSV)", "save it as CSV in UTF-8")


def _lines(data: bytes, encoding: str) -> io.TextIOWrapper:
    return io.TextIOWrapper(io.BytesIO(data), encoding=encoding, newline="")


def _header(data: bytes, encoding: str, asked: _Asked, book: Remarks) -> tuple[str, int]:
    """The sign between columns and the line of the header: the first that names two columns, or the first at all.

    Blank lines, remarks (#) and what a logger writes above its table come before.
    """
    first: tuple[str, int] | None = None
    for line, text in enumerate(_head(data, encoding)[:HIGHEST_HEADER], start=1):
        if not text.strip() or text.startswith("#") or re.fullmatch(r"\s*\"?sep=.\"?\s*", text):
            continue
        bare = re.sub(r'\[[^\]]*\]|"[^"]*"', "", text[:5000])
        separator = max(SEPARATORS, key=bare.count)
        separator = separator if separator in bare else ","
        known = asked.known([title.strip().strip('"') for title in text[:5000].split(separator)])
        if known >= 2 or (known and first is None):
            if first is not None:
                book.note(f"the table starts here; {line - 1} lines above it were skipped", row=line)
            return separator, line
        first = first or (separator, line)
    if first is None:
        raise _empty(book)
    return first


class EmptyTable(InputError):
    """A table without a row: nothing was read yet."""


def _empty(book: Remarks) -> EmptyTable:
    return EmptyTable(f"{book.file}: the table is empty", "a header and at least one row", "fill it in, or delete it")


def first_rows(data: bytes, file: str, most: int = 20) -> list[list[str]]:
    """The first rows of a text file, split into cells by the sign that is there most often."""
    text = [line for line in _head(data, _encoding(data, Remarks(file)))[: 3 * most] if line.strip()][:most]
    sign = max(SEPARATORS, key=lambda one: min((line.count(one) for line in text[-6:]), default=0))
    return [[cell.strip() for cell in row] for row in csv.reader(text, delimiter=sign)]


def _head(data: bytes, encoding: str) -> list[str]:
    return re.split(r"\r\n|\n|\r", data[:200_000].decode(encoding, errors="ignore"))


def _quickly(data: bytes, separator: str, header_line: int, asked: _Asked, book: Remarks) -> Table | None:
    """The quick way, for a long and even table of numbers; None where it is not one."""
    head = _head(data, "utf-8-sig")
    header = [title.strip() for title in head[header_line - 1].split(separator)]
    lines = even_lines(data, separator, head, header_line)
    if len(header) > MOST_COLUMNS or lines is None:
        return None
    trial = Remarks(book.file, list(book.findings))
    header = asked.ours(header, trial, header_line)
    day = _day_beside_time(header, asked.columns)
    found = {i: column_of(t, asked.columns, trial, header_line) for i, t in enumerate(header) if not day or i != day[0]}
    wanted = {i: (column, unit) for i, (column, unit) in found.items() if column is not None}
    if not wanted or len({column.name for column, _ in wanted.values()}) < len(wanted):
        return None
    kinds = {i: _kind(column, unit) for i, (column, unit) in wanted.items()}
    read = parsed(data, separator, header_line, len(header), kinds, day)
    rows = np.arange(header_line + 1, lines + 1, dtype=np.int64)
    if read is None or any(_length(values) != len(rows) for values in read.values()):
        return None
    out: dict[str, Any] = {}
    units: dict[str, str] = {}
    zero = ""
    for i, (column, unit) in wanted.items():
        values = read.pop(i)
        if kinds[i] == "text":
            out[column.name] = [_unguarded(cell) for cell in values]
        elif kinds[i] == "stamp" and isinstance(values, list):
            out[column.name], zero = hours_since(values, rows, header[i], asked.start, asked.dates, trial)
        elif kinds[i] == "stamp":
            hours, first = values
            out[column.name], zero = from_zero(hours, {"date"}, first, header[i], asked.start, asked.dates, trial)
        else:
            out[column.name] = in_our_unit(values, header[i], column, unit, trial)
            if column.kind == "time":
                out["time_h"], zero = from_1970(out["time_h"], header[i], asked.start, asked.dates, trial)
            units[column.name] = unit if column.unit == "any" else column.unit
    return _finished({"row": rows, **out}, units, asked, trial, zero)


def _length(values: Any) -> int:
    """Rows of a column as the quick way gives it; none where its pieces are of two kinds."""
    return 0 if values is None else len(values[0] if isinstance(values, tuple) else values)


def _kind(column: Column, unit: str) -> str:
    if column.kind == "time":
        return "number" if unit else "stamp"
    return column.kind


def _split(data: bytes, encoding: str, separator: str, book: Remarks) -> Body:
    body: Body = []
    blank: list[int] = []
    source = csv.reader(_lines(data, encoding), delimiter=separator, strict=True)
    try:
        for cells in source:
            if not any(cell.strip() for cell in cells):
                blank.append(source.line_num)
            elif not cells[0].startswith("#"):
                body.append((source.line_num, cells))
    except csv.Error as problem:
        raise book.refusal(
            f"the row cannot be split ({problem})", "one row a line", "mend the quotation marks", row=source.line_num
        ) from None
    inner = [line for line in blank if body and body[0][0] < line < body[-1][0]]
    if inner:
        book.note(f"{len(inner)} blank {'row' if len(inner) == 1 else 'rows'} skipped: {rows_in_words(inner)}")
    return body


def _table(body: Body, asked: _Asked, book: Remarks, separator: str) -> Table:
    (header_row, header), rows = body[0], body[1:]
    if len(header) > MOST_COLUMNS:
        raise book.refusal(
            f"the header has {len(header)} columns",
            f"at most {MOST_COLUMNS}",
            "keep only the columns that are needed",
            row=header_row,
        )
    titles = asked.ours([cell.strip() for cell in header], book, header_row)
    titles, rows = with_units_row(titles, rows, asked.columns, book)
    rows = _even(titles, rows, book)
    if day := _day_beside_time(titles, asked.columns):
        titles, rows = _day_and_time(titles, rows, day)
    if not rows:
        raise EmptyTable(
            f"{book.file}: the table has a header but no rows", "at least one row", "fill it in, or delete it"
        )
    lines = np.array([line for line, _ in rows], dtype=np.int64)
    decimal = "point" if separator == "," else decimal_sign(rows)
    rows = _filled_down(titles, rows, asked.columns, book)
    if separator == ",":
        _no_comma_decimals(titles, rows, asked.columns, book)
    out: dict[str, Any] = {"row": lines}
    units: dict[str, str] = {}
    zero = ""
    for place, title in enumerate(titles):
        column, unit = column_of(title, asked.columns, book, header_row)
        if column is None:
            continue
        if column.name in out:
            raise book.refusal(
                f"two columns mean {column.written!r}",
                "one column of each",
                "delete or rename one",
                row=header_row,
                column=title,
            )
        cells = [row[place].strip() for _, row in rows]
        if column.kind == "text":
            out[column.name] = [_unguarded(cell) for cell in cells]
        elif column.kind == "time" and (not unit or _are_clocks(cells)):
            out[column.name], zero = hours_since(
                cells, lines, title, asked.start, asked.dates, book, alone=_one_a_moment(column, asked)
            )
        else:
            if column.name == "dilution":
                cells = [dilution_of(cell, int(line), title, book) for cell, line in zip(cells, lines)]
            read = numbers_of(cells, lines, title, decimal, book, unit)
            out[column.name] = in_our_unit(read, title, column, unit, book)
            if column.kind == "time":
                out["time_h"], zero = from_1970(out["time_h"], title, asked.start, asked.dates, book)
            units[column.name] = unit if column.unit == "any" else column.unit
    if len(out) == 1:
        words = [c.written for c in asked.columns]
        hints = [did_you_mean(title, words) for title in titles if nearest(title, words)]
        known = ", ".join(f"{c.written} [{c.unit}]" if c.unit not in ("1", "any") else c.written for c in asked.columns)
        raise book.refusal(
            f"no column is known: {', '.join(titles)[:80]}",
            f"some of: {known}",
            "mend the header" + (f": {hints[0]}" if hints else ""),
            row=header_row,
        )
    return _finished(out, units, asked, book, zero)


def _are_clocks(cells: Sequence[str]) -> bool:
    """Whether a column headed 'time [h]' holds clock times, dates or lengths such as 1:30 all the same."""
    return any(cells) and all(":" in cell for cell in cells if cell)


def _day_beside_time(titles: Sequence[str], columns: Sequence[Column]) -> tuple[int, int] | None:
    """Places of a column with the day and of one with the clock, where both are there."""
    meanings = [meant(title, columns)[0] for title in titles]
    times = [i for i, one in enumerate(meanings) if one is not None and one.kind == "time"]
    days = [i for i in times if name_and_unit(titles[i])[0] in ("date", "day")]
    return (days[0], next(i for i in times if i != days[0])) if len(times) == 2 and len(days) == 1 else None


def _day_and_time(titles: list[str], rows: Body, places: tuple[int, int]) -> tuple[list[str], Body]:
    """Day and time of two columns drawn together; a day that stands once holds for the rows below it."""
    day, clock = places
    hours = bool(meant(titles[clock], TIME_ALONE)[1])  # the time already counts: the day is only told beside it
    out: Body = []
    last = ""
    for line, row in rows:
        last = MIDNIGHT.sub("", row[day].strip()) or last
        time = row[clock].strip() if hours or not row[clock].strip() else f"{last} {row[clock].strip()}"
        out.append((line, [*(time if i == clock else cell for i, cell in enumerate(row) if i != day)]))
    return [title for i, title in enumerate(titles) if i != day], out


def _one_a_moment(time: Column, asked: _Asked) -> bool:
    """Whether each row of this table has a moment of its own; a ledger of volumes may hold two acts of one moment."""
    return time.always and not any(column.name == "what" for column in asked.columns)


BLOCK: Final = ("sample", "when", "dilution", "time")
"""What may stand in the first row of a block of readings alone, as in merged cells."""


def _filled_down(titles: list[str], rows: Body, columns: Sequence[Column], book: Remarks) -> Body:
    """Names, dilutions and times that stand once for a block of rows, written into each row of it."""
    places = {column.written: i for i, title in enumerate(titles) if (column := meant(title, columns)[0]) is not None}
    names = {"sample", "when"} & places.keys()
    if not names:
        return rows
    filled: list[int] = []
    undiluted: list[int] = []
    block: dict[str, str] = {}
    out = []
    for line, cells in rows:
        cells = list(cells)
        new = any(cells[places[name]].strip() for name in names)
        for name in BLOCK:
            if name in places:
                cell = cells[places[name]].strip()
                if not cell and not new and block.get(name):
                    cells[places[name]] = block[name]
                    filled.append(line)
                elif not cell and name == "dilution" and any(cell.strip() for cell in cells):
                    cells[places[name]] = "1"
                    undiluted.append(line)
                block[name] = cells[places[name]].strip()
        out.append((line, cells))
    if filled:
        rows_said = rows_in_words(sorted(set(filled)))
        book.note(f"a name stands once for the rows below it: filled in at rows {rows_said}", row=filled[0])
    if undiluted:
        book.note(f"no dilution is written; taken as undiluted: rows {rows_in_words(undiluted)}", row=undiluted[0],
                  column="dilution", level="doubt")  # fmt: skip
    return out


def _no_comma_decimals(titles: list[str], rows: Body, columns: Sequence[Column], book: Remarks) -> None:
    """Refuse a comma-separated table whose note holds bare digits while its numbers are whole: 12,5 fell apart."""
    kinds = [column.kind if (column := meant(title, columns)[0]) is not None else "" for title in titles]
    words = [i for i, kind in enumerate(kinds) if kind == "text"]
    figures = [i for i, kind in enumerate(kinds) if kind in ("number", "time")]
    whole = all(re.fullmatch(r"[-+]?\d*", cells[i].strip()) for _, cells in rows for i in figures)
    for i in words if whole else ():
        said = [(line, cells[i].strip()) for line, cells in rows if cells[i].strip()]
        if i == len(titles) - 1 and len(said) > 1 and all(re.fullmatch(r"\d{1,4}", word) for _, word in said):
            raise book.refusal(
                f"the {titles[i]} holds only digits ({said[0][1]}), and all numbers are whole: "
                "decimals may be written with a comma", "columns split by ';' where decimals have a comma",
                "split the columns with ';', or write decimals with a point", row=said[0][0],
            )  # fmt: skip


def _finished(out: dict[str, Any], units: dict[str, str], asked: _Asked, book: Remarks, zero: str) -> Table:
    import pandas as pd

    frame = in_order(pd.DataFrame(out, copy=False), asked.columns, book)
    if frame.empty:
        raise book.refusal("no row holds a reading", "at least one row with numbers", "fill it in, or delete the table")
    return Table(frame, units, book.all(), zero)


def _unguarded(cell: str) -> str:
    """Text without the apostrophe that keeps spreadsheets from taking it for a formula."""
    return cell[1:] if len(cell) > 1 and cell[0] == "'" and cell[1] in "=+-@\t\r" else cell


def _even(titles: list[str], rows: Body, book: Remarks) -> Body:
    """Every row with as many cells as the header; empty ones at the end may be left out."""
    out = []
    for line, cells in rows:
        if any(cell.strip() for cell in cells[len(titles) :]):
            raise book.refusal(
                f"{len(cells)} cells under a header of {len(titles)}: {' | '.join(cells)[:60]}",
                "as many cells as the header has columns",
                "if decimals are written with a comma, split the columns with ';' instead",
                row=line,
            )
        out.append((line, cells[: len(titles)] + [""] * (len(titles) - len(cells))))
    return out
