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
from fermkit.run.format import GONE, Column

Rows = NDArray[np.int64]
CLOCK_TITLE: Final = re.compile(r"h{1,2}:m{1,2}(:s{1,2})?|clock", re.IGNORECASE)
TIME_TITLES: Final = frozenset({"h", "hours", "hour", "hrs", "min", "mins", "minutes", "days", "day", "d"})
"""Titles that are a unit of time alone."""

Body = list[tuple[int, list[str]]]
"""Rows of a table: line in the file, and its cells."""

WITH_UNIT: Final = re.compile(r"([-+−]?[\d.,' ]*\d)\s*([a-zA-Zµ°%][\w°%µ/³ ]{0,12})")
"""A number with a unit behind it, as in ``3.25 kg``; an exponent such as 1e5 is none."""

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


def meant(title: str, columns: Sequence[Column]) -> tuple[Column | None, str]:
    """Which column a title means, and the unit that it names: ``volume [mL]``, ``volume mL``, ``Gas [ml]``, ``hours``.

    Examples
    --------
    >>> from fermkit.run.format import TABLES
    >>> [(c.name, unit) for c, unit in (meant(t, TABLES["gas"]) for t in ("Gas [ml]", "volume mL", "hours"))]
    [('volume_mL', 'ml'), ('volume_mL', 'mL'), ('time_h', 'hours')]
    """
    name, unit = name_and_unit(title)
    by_name = {word: column for column in columns for word in (column.written.lower(), *column.also)}
    for one in columns:
        if title.strip() == one.name and one.unit not in ("1", "any"):
            return one, one.unit
    if name in by_name:
        return by_name[name], "" if CLOCK_TITLE.fullmatch(unit) else unit
    words = name.split(" ")
    for cut in range(len(words) - 1, 0, -1):
        column = by_name.get(" ".join(words[:cut]))
        behind = " ".join(title.split()[cut:]) if not unit else ""
        if column is not None and column.kind != "text" and behind and _convertible(behind, column.unit):
            return column, behind
    time = by_name.get("time")
    if time is not None and not unit and name in TIME_TITLES:
        return time, name
    return None, unit


def is_title(title: str, columns: Sequence[Column]) -> bool:
    """Whether a cell is the title of one of the columns."""
    return meant(title, columns)[0] is not None


def column_of(title: str, columns: Sequence[Column], book: Remarks, header_row: int) -> tuple[Column | None, str]:
    """Which column a title means, and its unit as written."""
    column, unit = meant(title, columns)
    if column is not None:
        if column.kind == "number" and column.unit not in ("1", "any") and not unit:
            raise book.refusal(
                f"{title!r} has no unit", f"a unit in the header, such as '{column.title}'",
                "write the unit in the header", row=header_row,
            )  # fmt: skip
        return column, unit
    name, _ = name_and_unit(title)
    if title:
        near = nearest(name, [column.written for column in columns])
        instead = GONE.get(name) or (f"did you mean {near!r}?" if near else "")
        book.note(
            "this column is not used here" + (f"; {instead}" if instead else ""), row=header_row, column=title,
            level="doubt" if near and name not in GONE else "note",
        )  # fmt: skip
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


def numbers_of(cells: list[str], lines: Rows, title: str, decimal: str, book: Remarks, unit: str = "") -> Floats:
    """A column's cells as numbers in the header's unit; NaN where there is no reading."""
    out = np.full(len(cells), np.nan)
    _grouped(cells, lines, title, decimal, book)
    for i, cell in enumerate(cells):
        if cell.lower() in NO_READING:
            continue
        if cell[0] in "<>≤≥":
            book.repeat(
                f"{cell[:20]!r} is a limit and no reading; left out", int(lines[i]), column=title, level="doubt"
            )
            continue
        out[i] = _cell(cell, int(lines[i]), title, decimal, book, unit)
    return out


def _grouped(cells: list[str], lines: Rows, title: str, decimal: str, book: Remarks) -> None:
    """Refuse a sign that splits thousands here and would be read as the decimal sign: 1,234 below 637."""
    sign = "," if decimal == "comma" else "."
    split = [(i, cell) for i, cell in enumerate(cells) if sign in cell]
    if not split or not all(re.fullmatch(rf"[1-9]\d{{0,2}}(\{sign}\d{{3}})+", cell) for _, cell in split):
        return
    whole = [int(cell) for cell in cells if re.fullmatch(r"\d{2,15}", cell)]
    i, first = split[0]
    if any(cell.count(sign) > 1 for _, cell in split) or max(whole, default=0) > max(
        float(cell.replace(sign, ".", 1)) for _, cell in split if cell.count(sign) == 1
    ):
        raise book.refusal(
            f"{first!r} among whole numbers as large as {max(whole, default=0)}: the sign may split thousands",
            "numbers that read one way only", "write them without a thousands sign", row=int(lines[i]), column=title,
        )  # fmt: skip


FOLD: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:x|×|-?\s?fold|times)", re.IGNORECASE)


def dilution_of(cell: str, line: int, title: str, book: Remarks) -> str:
    """How many times a sample was diluted, as a number: ``1+9`` and ``1 in 10`` are 10; ``1:10`` is refused.

    Examples
    --------
    >>> [dilution_of(cell, 2, "dilution", Remarks("samples.csv")) for cell in ("1+9", "1 in 10", "10x", "undiluted")]
    ['10', '10', '10', '1']
    """
    word = cell.strip().lower()
    if word in ("undiluted", "none", "neat", "no"):
        return "1"
    if found := re.fullmatch(r"(\d+)\s*:\s*(\d+)", word):
        one, other = int(found[1]), int(found[2])
        raise book.refusal(
            f"{cell!r} has two usages", f"'{one}+{other}' for {one} part and {other} of water, or "
            f"'{one} in {other}' for {one} part in {other} of the whole", "write one of the two",
            row=line, column=title,
        )  # fmt: skip
    if found := FOLD.fullmatch(word):
        return found[1]
    if found := re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(\+|in)\s*(\d+(?:[.,]\d+)?)", word):
        part, rest = (number(text) for text in (found[1], found[3]))
        if part > 0:
            return f"{((part + rest) if found[2] == '+' else rest) / part:.12g}"
    return cell


def _cell(cell: str, line: int, title: str, decimal: str, book: Remarks, unit: str = "") -> float:
    if decimal == "point" and cell.isascii() and cell.replace(".", "", 1).isdecimal():
        return float(cell)
    if found := WITH_UNIT.fullmatch(cell):
        factor, offset = _of_cell(found[2], unit, cell, line, title, book)
        return factor * _cell(found[1].strip(), line, title, decimal, book) + offset
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


def _of_cell(own: str, unit: str, cell: str, line: int, title: str, book: Remarks) -> tuple[float, float]:
    """What turns a cell's own unit into the header's; ``%`` under a header in percent is the same."""
    if own.strip() == "%" and "%" in unit:
        return 1.0, 0.0
    if re.fullmatch(r"[eE][-+]?\d{1,3}", own) or not unit:
        raise book.refusal(f"{cell[:40]!r} is not a number", "a number", "mend the entry", row=line, column=title)
    try:
        found = conversion(own, unit)
    except InputError as problem:
        met = f"{cell[:40]!r}: {problem.met}"
        raise book.refusal(met, problem.needed, problem.do, row=line, column=title) from None
    if found != (1.0, 0.0):
        book.repeat(f"a cell in {own.strip()}, converted to {unit}", line, column=title)
    return found
