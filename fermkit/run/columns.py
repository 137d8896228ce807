"""One column of a table: what its title means, in which unit, and its cells as numbers."""

import re
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fermkit.basis.checks import Floats, nearest
from fermkit.basis.errors import InputError
from fermkit.basis.quantities import BY_VOLUME, conversion, number
from fermkit.matter.properties import ethanol_pct_vol, ethanol_pct_vol_from_concentration
from fermkit.run.findings import Remarks
from fermkit.run.format import Column

Rows = NDArray[np.int64]
Body = list[tuple[int, list[str]]]
"""Rows of a table: line in the file, and its cells."""

NO_READING: Final = frozenset({
    "", "-", "--", "---", "–", "—", "?", "n.d.", "nd", "n/a", "na", "nan", "none", "null", "x", "missing",
})  # fmt: skip
"""Words that mean 'no reading' (common practice, no source)."""


def decimal_sign(rows: Body) -> str:
    """Which sign splits off the decimals in a table whose columns are not split by commas."""
    cells = [cell.strip() for _, row in rows for cell in row]
    comma = sum(bool(re.fullmatch(r"[-+−]?[\d.' ]*,\d+", cell)) for cell in cells)
    point = sum(bool(re.fullmatch(r"[-+−]?[\d,' ]*\.\d+", cell)) for cell in cells)
    return "comma" if comma > point else "point"


def with_units_row(titles: list[str], rows: Body, columns: Sequence[Column], book: Remarks) -> tuple[list[str], Body]:
    """Units that stand in a row of their own below the header are moved into it."""
    if not rows or any("[" in title for title in titles):
        return titles, rows
    line, cells = rows[0]
    words = [cell.strip().strip("[]()") for cell in cells[: len(titles)]]
    if (
        len(words) < len(titles)
        or not any(words)
        or any(re.search(r"\d", word) for word in words if word not in ("1", "cm3"))
    ):
        return titles, rows
    known = {column.written: column for column in columns}
    for title, word in zip(titles, words, strict=True):
        column = known.get(title.lower())
        if column is not None and word and (column.kind == "text" or not _convertible(word, column.unit)):
            return titles, rows
    book.note("the row below the header was taken for the units", row=line)
    return [f"{title} [{word}]" if word else title for title, word in zip(titles, words, strict=True)], rows[1:]


def _convertible(unit: str, to: str) -> bool:
    try:
        return to == "any" or bool(conversion(unit, to))
    except InputError:
        return False


def name_and_unit(title: str) -> tuple[str, str]:
    """A title's name and unit: ``volume [mL]``, ``volume (mL)`` or ``volume / mL``.

    Examples
    --------
    >>> name_and_unit("flow / mL/h"), name_and_unit("Volume [mL]"), name_and_unit("dilution")
    (('flow', 'mL/h'), ('volume', 'mL'), ('dilution', ''))
    """
    bare = title.strip().strip('"')[:100]
    found = re.fullmatch(r"([^\[\](/]{0,60})(?:[\[(]([^\])]{0,30})[\])]|/(.{1,30}))?", bare)
    name, unit = (found[1], found[2] or found[3] or "") if found else (bare[:60], "")
    return name.strip().lower().replace("_", " "), unit.strip()


def is_title(title: str, columns: Sequence[Column]) -> bool:
    """Whether a cell is the title of one of the columns."""
    name, _ = name_and_unit(title)
    return any(title.strip() == column.name or name == column.written.lower() for column in columns)


def column_of(title: str, columns: Sequence[Column], book: Remarks, header_row: int) -> tuple[Column | None, str]:
    """Which column a title means, and its unit as written."""
    name, unit = name_and_unit(title)
    for column in columns:
        if title == column.name and column.unit not in ("1", "any"):
            return column, column.unit
        if name == column.written.lower():
            if column.kind == "number" and column.unit not in ("1", "any") and not unit:
                raise book.refusal(
                    f"{title!r} has no unit", f"a unit in the header, such as '{column.written} [{column.unit}]'",
                    "write the unit in the header", row=header_row,
                )  # fmt: skip
            return column, unit
    if title:
        near = nearest(name, [column.written for column in columns])
        hint = f"; did you mean {near!r}?" if near else ""
        book.note(
            f"this column is not used here{hint}", row=header_row, column=title, level="doubt" if near else "note"
        )
    return None, unit


def in_our_unit(values: Floats, title: str, column: Column, unit: str, book: Remarks) -> Floats:
    """A column's numbers in fermkit's unit; a unit of another kind is refused."""
    if column.unit == "any":
        return values
    if column.unit == "% vol" and unit.replace(" ", "").lower() not in BY_VOLUME:
        return _percent_by_volume(values, title, unit, book)
    try:
        factor, offset = conversion(unit, column.unit)
    except InputError as problem:
        raise book.refusal(problem.met, problem.needed, problem.do, column=title) from None
    return values if (factor, offset) == (1.0, 0.0) else values * factor + offset


def _percent_by_volume(values: Floats, title: str, unit: str, book: Remarks) -> Floats:
    """Alcohol given by mass or as a concentration; a plain % is refused, since it could be either."""
    word = unit.replace(" ", "").lower()
    if word in ("g/l", "mg/ml", "kg/m3"):
        convert: Any = ethanol_pct_vol_from_concentration
        shown = values
    elif word in ("%mass", "%w/w", "%m/m", "%bymass", "massfraction"):
        convert, shown = ethanol_pct_vol, values if word == "massfraction" else values / 100
    else:
        raise book.refusal(
            f"alcohol in {unit!r}", "'% vol' (by volume at 20 °C), '% mass' or 'g/L'",
            "write which one it is: they differ by a fifth", column=title,
        )  # fmt: skip
    book.note(f"alcohol was converted from {unit} to % vol", column=title)
    out = np.full(len(shown), np.nan)
    known = ~np.isnan(shown)
    try:
        out[known] = convert(shown[known])
    except InputError as problem:
        raise book.refusal(problem.met, problem.needed, problem.do, column=title) from None
    return out


def numbers_of(cells: list[str], lines: Rows, title: str, decimal: str, book: Remarks) -> Floats:
    """A column's cells as numbers; NaN where there is no reading."""
    out = np.full(len(cells), np.nan)
    for i, cell in enumerate(cells):
        if cell.lower() in NO_READING:
            continue
        if cell[0] in "<>≤≥":
            book.repeat(
                f"{cell[:20]!r} is a limit and no reading; left out", int(lines[i]), column=title, level="doubt"
            )
            continue
        out[i] = _cell(cell, int(lines[i]), title, decimal, book)
    return out


def _cell(cell: str, line: int, title: str, decimal: str, book: Remarks) -> float:
    if decimal == "point" and cell.isascii() and cell.replace(".", "", 1).isdecimal():
        return float(cell)
    other, sign = ("point", ".") if decimal == "comma" else ("comma", ",")
    if cell.count(sign) == 1 and re.fullmatch(rf"[-+−]?[1-9]\d{{0,2}}\{sign}\d{{3}}", cell):
        raise book.refusal(
            f"{cell!r} can be read as {cell.replace(sign, '')} or as {cell.replace(sign, '.')}",
            "numbers that read one way only", f"write it without a thousands sign, decimals with a {decimal}",
            row=line, column=title,
        )  # fmt: skip
    if re.fullmatch(rf"[-+−]?\d*\{sign}\d+", cell):
        book.repeat(f"a decimal {other} among decimal {decimal}s; read as a decimal {other}", line, column=title)
        return number(cell, decimal=other)
    try:
        return number(cell, decimal=decimal)
    except InputError as problem:
        raise book.refusal(problem.met, problem.needed, problem.do, row=line, column=title) from None
