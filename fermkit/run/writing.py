"""Writes a run: a folder with run.toml and CSV tables, or one workbook. Never overwrites, whole or not at all.

No text that it writes can act as a formula when a spreadsheet opens it.
"""

import csv
import io
import re
import shutil
import tempfile
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from fermkit.basis.errors import InputError
from fermkit.basis.files import umask, write_whole
from fermkit.basis.written import Number
from fermkit.run.format import LISTS, NAMED
from fermkit.run.sections_batch import OWN_TABLES
from fermkit.run.settings import table_layouts, write_toml

GUARDED: Final = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet may take for the start of a formula in a text cell."""

UNWRITABLE: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff]")
"""Characters that no workbook may hold (XML 1.0, 2.2)."""

Tables = Mapping[str, Mapping[str, Sequence[Any]]]
"""For each table: header → cells."""


def write_run(settings: Mapping[str, Any], tables: Tables, folder: str | Path) -> Path:
    """Write a run folder: run.toml and one CSV a table. Never overwrites; whole or not at all.

    Parameters
    ----------
    settings : mapping
        Sections and keys as in run.toml.
    tables : mapping of mappings
        For each table: header → cells.
    folder : str or Path
        Must not exist, or be empty.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    InputError
        If there is something already, or a table is unknown.
    """
    unknown = [name for name in tables if name not in table_layouts(settings)]
    if unknown:
        raise InputError(
            f"there is no table {unknown[0]!r}",
            f"one of: {', '.join(table_layouts(settings))}",
            "rename it; nothing was written",
        )
    texts = {"run.toml": write_toml(settings)} | {f"{name}.csv": _csv_text(table) for name, table in tables.items()}
    return write_files({name: text.encode() for name, text in texts.items()}, folder)


def write_files(files: Mapping[str, bytes], folder: str | Path) -> Path:
    """Write a folder of files. Never overwrites; whole or not at all.

    Parameters
    ----------
    files : mapping
        Name → content.
    folder : str or Path
        Must not exist, or be empty.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If there is something already, or the folder cannot be written.
    """
    place = Path(folder)
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise InputError(
            f"{place.name!r} is there already", "a new or an empty folder", "choose another name; nothing was written"
        )
    place.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=f".{place.name}-", dir=place.parent))
    try:
        for name, content in files.items():
            (part / name).write_bytes(content)
        part.chmod(0o777 & ~umask())
        if place.exists():
            place.rmdir()
        part.rename(place)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return place


def _csv_text(table: Mapping[str, Sequence[Any]]) -> str:
    """A CSV in which no text cell can act as a formula when a spreadsheet opens it."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([_guarded(str(title)) for title in table])
    writer.writerows([_guarded(str(cell)) for cell in row] for row in zip(*table.values(), strict=True))
    return out.getvalue()


def _guarded(cell: str) -> str:
    cell = re.sub("\r\n?", "\n", cell)  # a bare carriage return is not quoted and would begin a row of its own
    plain = re.fullmatch(r"[-+]?[\d.,]*\d(e[-+]?\d+)?", cell, re.IGNORECASE)
    return "'" + cell if cell.startswith(GUARDED) and not plain and cell not in ("-", "--") else cell


def write_workbook(settings: Mapping[str, Any], tables: Tables, path: str | Path) -> Path:
    """Write a run as one .xlsx workbook. Never overwrites; no text can act as a formula.

    Parameters
    ----------
    settings : mapping
        Sections and keys as in run.toml.
    tables : mapping of mappings
        For each table: header → cells.
    path : str or Path
        Ends in .xlsx and must not exist.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the file is there already, or its name does not end in .xlsx.
    """
    place = Path(path)
    if place.suffix.lower() != ".xlsx":
        raise InputError(f"the workbook is to be called {place.name!r}", "a name that ends in .xlsx", "change the name")
    sheets: dict[str, Sequence[Sequence[Any]]] = {"run": [["section", "key", "value"], *_flat(settings)]}
    for name, table in tables.items():
        sheets[name] = [list(table), *zip(*table.values(), strict=True)]
    return write_whole(place, workbook_bytes(sheets), replace=False)


def workbook_bytes(sheets: Mapping[str, Sequence[Sequence[Any]]], widths: Sequence[float] = ()) -> bytes:
    """An .xlsx of plain cells: rows of each sheet, the first its header; no text can act as a formula.

    Parameters
    ----------
    sheets : mapping of rows
        Sheet names of 31 characters at most.
    widths : sequence of float
        Of the first columns, in characters; as a spreadsheet likes them where none are given.

    Returns
    -------
    bytes
        The same for the same cells: no clock in it.
    """
    import openpyxl

    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)
    for name, rows in sheets.items():
        sheet = workbook.create_sheet(name)
        _put(sheet, rows)
        for column, width in enumerate(widths, start=1):
            sheet.column_dimensions[openpyxl.utils.get_column_letter(column)].width = width
    packed = io.BytesIO()
    workbook.save(packed)
    return _without_clock(packed.getvalue())


def _flat(settings: Mapping[str, Any]) -> Iterator[list[Any]]:
    for name, section in settings.items():
        if name in LISTS:
            parts = [(f"{name} {i}", one) for i, one in enumerate(section, start=1)]
        elif name in (*NAMED, OWN_TABLES):
            parts = [(f"{name} {key}", one) for key, one in section.items()]
        else:
            parts = [(name, section)]
        for title, part in parts:
            for key, value in part.items():
                yield [title, key, " | ".join(map(str, value)) if isinstance(value, (list, tuple)) else value]


def _put(sheet: Any, rows: Sequence[Sequence[Any]]) -> None:
    for r, row in enumerate(rows, start=1):
        for c, value in enumerate(row, start=1):
            cell = sheet.cell(row=r, column=c)
            as_number = _number(value) if r > 1 and sheet.title != "run" else None
            if as_number is not None:
                cell.value = as_number
            elif value not in ("", None):
                text = str(value) if not isinstance(value, bool) else ("true" if value else "false")
                cell.value = UNWRITABLE.sub("\ufffd", text)
                cell.data_type = "s"
                if cell.value.startswith(GUARDED):
                    cell.quotePrefix = True


def _number(value: Number) -> float | int | None:
    """The cell as a number, where it is one in plain writing."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return value
    return float(value) if re.fullmatch(r"-?(0|[1-9]\d{0,14})(\.\d{1,14})?", str(value)) else None


def _without_clock(data: bytes) -> bytes:
    """The same workbook without the time of writing, so that the same run gives the same file."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            text = old.read(part)
            if part.filename == "docProps/core.xml":
                text = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", b"2000-01-01T00:00:00Z", text)
            new.writestr(zipfile.ZipInfo(part.filename, (2000, 1, 1, 0, 0, 0)), text, zipfile.ZIP_DEFLATED)
    return out.getvalue()
