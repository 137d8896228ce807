"""A run as one .xlsx workbook: read without running anything in it, written without formulas.

The sheet ``run`` holds section, key and value; every other sheet is a table of that name. Macros and
formulas are never run: a formula counts as the value that was last saved with it.
"""

import datetime
import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from itertools import zip_longest
from typing import Any, Final

from fermkit.basis.errors import InputError
from fermkit.run.findings import Remarks, rows_in_words
from fermkit.run.format import LISTS, NAMED
from fermkit.run.sections_batch import OWN_TABLES

LARGEST_BYTES: Final = 30_000_000
LARGEST_UNPACKED: Final = 60_000_000
MOST_PARTS: Final = 500
LARGEST_XML: Final = 4_000_000
MOST_TAGS: Final = 200_000
"""Of all parts together, tags of other things than cells counted eight times (each can take as long to read), and all
twice where there are formulas: about 18,000 rows of two columns, so that no workbook takes more than about a second."""

CELLS: Final = re.compile(rb"</?(?:[^\s<>/:]+:)?(?:row|c|v|f|is|t|si)[\s/>]")

LONGEST_TAG: Final = 200_000
"""Bytes of one tag and the text after it; a cell of a spreadsheet holds 32,767 characters."""

NESTED: Final = re.compile(rb"(?:<[A-Za-z][^<>]*+(?<!/)>[^<]*+){50}")
"""Fifty elements that open one inside another; a spreadsheet has about ten."""

FORMULA: Final = re.compile(rb"<(?:[^\s<>/:]+:)?f[\s/>][^<]*+")
SHARED: Final = re.compile(rb"""t\s*=\s*["']shared""")
LONGEST_SHARED: Final = 500_000
"""Cells that share a formula times the longest formula's bytes: each is written out anew for its cell."""

FIRST_YEAR: Final = 1910
"""No batch is older: an earlier date is a length of time in a cell that shows h:mm."""

MOST_ROWS: Final = 30_000
MOST_COLUMNS: Final = 64
Sheets = dict[str, list[list[str]]]


class Percent(float):
    """A number in a cell that shows percent: 0.004 there is 0.4 %."""


def read_workbook(data: bytes, file: str) -> tuple[dict[str, Any], Sheets, Remarks]:
    """Settings and tables of a run from a workbook.

    Parameters
    ----------
    data : bytes
    file : str
        Its name, for the findings.

    Returns
    -------
    (dict, dict, Remarks)
        Settings as in run.toml; sheet → rows of cells as text; findings.

    Raises
    ------
    InputError
        For what is no workbook, or is too large packed or unpacked.
    """
    sheets, book = read_sheets(data, file)
    about = next((name for name in sheets if name.strip().lower() == "run"), None)
    if about is None:
        raise book.refusal(
            f"there is no sheet 'run', only {', '.join(sheets)[:80]}", "a sheet 'run' with section, key, value",
            f"add it; or, for a workbook of your own: python -m fermkit begin FOLDER --readings \"{file}\"",
        )  # fmt: skip
    settings = _settings(sheets.pop(about), book)
    named: Sheets = {}
    for name, rows in sheets.items():
        if name.strip().lower() in named:
            raise book.refusal(f"two sheets are called {name.strip()!r}", "each table once", "draw the two together")
        named[name.strip().lower()] = rows
    return settings, named, book


def read_sheets(data: bytes, file: str) -> tuple[Sheets, Remarks]:
    """Every sheet of a workbook as rows of cells as text, and what was noticed."""
    book = Remarks(file)
    with_formulas = _safe(data, book)
    values = _cells(data, book, values=True)
    formulas = _cells(data, book, values=False) if with_formulas else values
    sheets: Sheets = {}
    for name, rows in values.items():
        sheets[name] = [
            _row_text(*pair, r, name, book)
            for r, pair in enumerate(zip_longest(rows, formulas[name], fillvalue=list[Any]()), start=1)
        ]
    return sheets, book


def _safe(data: bytes, book: Remarks) -> bool:
    """Refuse what is no workbook, unpacks to too much, or hides further documents; say whether there are formulas."""
    if len(data) > LARGEST_BYTES:
        raise book.refusal(
            f"the workbook has {len(data) / 1e6:.0f} MB",
            f"at most {LARGEST_BYTES / 1e6:.0f} MB",
            "save long logs as CSV in a run folder",
        )
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            parts = packed.infolist()
            size = sum(part.file_size for part in parts)
            if len(parts) > MOST_PARTS or size > LARGEST_UNPACKED:
                raise book.refusal(
                    f"it unpacks to {size / 1e6:.0f} MB in {len(parts)} parts",
                    f"at most {LARGEST_UNPACKED / 1e6:.0f} MB in {MOST_PARTS} parts",
                    "save long logs as CSV in a run folder",
                )
            if any("vbaproject" in part.filename.lower() for part in parts):
                book.note("the workbook holds macros; they were not run")
            xml = [part for part in parts if _may_be_xml(packed, part)]
            if sum(part.file_size for part in xml) > LARGEST_XML:
                raise _too_much(sum(part.file_size for part in xml), "", 0, book)
            texts = [packed.read(part) for part in xml]
            for text in texts:
                _plain_xml(text, book)
            return _short_enough(texts, book)
    except (
        zipfile.BadZipFile,
        NotImplementedError,
        RuntimeError,
        EOFError,
        OSError,
        ValueError,
        zlib.error,
    ) as problem:
        if isinstance(problem, InputError):
            raise
        raise book.refusal(
            "it is no .xlsx workbook, or a damaged one", "a workbook saved as .xlsx", "save it anew as .xlsx"
        ) from None


def _may_be_xml(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> bool:
    """By its name, or because it begins as XML may: a part can be called anything."""
    if part.filename.lower().endswith((".xml", ".rels")):
        return True
    with packed.open(part) as content:
        return content.read(1) in (b"<", b"\xef", b"\xff", b"\xfe", b" ", b"\t", b"\r", b"\n")


def _short_enough(texts: list[bytes], book: Remarks) -> bool:
    """Refuse what would take long to read; say whether there are formulas."""
    formulas = [formula for text in texts for formula in FORMULA.findall(text)]
    passes = 2 if formulas else 1
    size, tags, cells = (sum(map(f, texts)) for f in (len, lambda t: t.count(b"<"), lambda t: len(CELLS.findall(t))))
    shared = sum(len(SHARED.findall(text)) for text in texts) * max(map(len, formulas), default=0)
    if size * passes > LARGEST_XML or (8 * tags - 7 * cells) * passes > MOST_TAGS or shared > LONGEST_SHARED:
        raise _too_much(size, f" in some {cells // 4} cells and {tags - cells} other marks", len(formulas), book)
    return bool(formulas)


def _too_much(size: int, cells: str, formulas: int, book: Remarks) -> InputError:
    made = f", with {formulas} formulas" if formulas else ""
    return book.refusal(
        f"its sheets hold {size / 1e6:.1f} MB{cells}{made}",
        f"at most {LARGEST_XML / 1e6:.0f} MB, {MOST_TAGS // 4} cells and few other marks, half of it with formulas",
        "save values in place of formulas, or long logs as CSV in a run folder",
    )


def _plain_xml(text: bytes, book: Remarks) -> None:
    head = text[:4]
    if (
        b"<!DOCTYPE" in text
        or b"<![" in text
        or b"<!ENTITY" in text
        or head[:2] in (b"\xff\xfe", b"\xfe\xff")
        or b"\0" in head
    ):
        raise book.refusal(
            "its XML declares entities or an unusual encoding",
            "a workbook as spreadsheets save it",
            "save it anew as .xlsx",
        )
    if NESTED.search(text):
        raise book.refusal(
            "its XML has 50 elements or more one inside another",
            "a workbook as spreadsheets save it",
            "save it anew as .xlsx",
        )
    longest = max(map(len, text.split(b"<")), default=0) if len(text) > LONGEST_TAG else 0
    if text.count(b"<row") > MOST_ROWS or longest > LONGEST_TAG:
        raise book.refusal(
            f"a sheet has more than {MOST_ROWS} rows ({text.count(b'<row')}), or a cell of {longest} bytes",
            f"at most {MOST_ROWS} rows a sheet",
            "save long logs as CSV in a run folder",
        )


def _cells(data: bytes, book: Remarks, *, values: bool) -> dict[str, list[list[Any]]]:
    import warnings

    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            _each_sheet_once(data, book)
            workbook = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=values, keep_links=False)
            out = {sheet.title: list(_rows(sheet, book)) for sheet in workbook.worksheets}
            workbook.close()
    except InputError:
        raise
    except Exception as problem:  # openpyxl lets dozens of kinds through on a damaged part
        raise book.refusal(
            f"the workbook cannot be read ({type(problem).__name__})",
            "a workbook saved as .xlsx",
            "save it anew as .xlsx",
        ) from None
    return out


def _each_sheet_once(data: bytes, book: Remarks) -> None:
    """Refuse sheets that share one part: a small file could hold a thousand times its cells."""
    from openpyxl.reader.excel import ExcelReader

    reader = ExcelReader(io.BytesIO(data), read_only=True, keep_links=False)
    reader.read_manifest()
    reader.read_workbook()
    parts = [relation.target for _, relation in reader.parser.find_sheets()]
    if len(set(parts)) < len(parts):
        raise book.refusal(
            f"{len(parts)} sheets stand in {len(set(parts))} parts",
            "a part for each sheet",
            "save it anew as .xlsx",
        )


def _rows(sheet: Any, book: Remarks) -> Iterator[list[Any]]:
    plain = not _shows_percent(sheet.parent)  # whole cells, which know how they are shown, take twice as long
    for count, row in enumerate(sheet.iter_rows(max_col=MOST_COLUMNS + 1, values_only=plain)):
        if count >= MOST_ROWS:
            raise book.refusal(
                f"sheet {sheet.title!r} has more than {MOST_ROWS} rows",
                f"at most {MOST_ROWS}",
                "save long logs as CSV in a run folder",
            )
        cells = list(row) if plain else [_as_shown(cell) for cell in row]
        while cells and cells[-1] is None:
            cells.pop()
        yield cells


def _shows_percent(workbook: Any) -> bool:
    """Whether any cell of the workbook may be shown in percent."""
    from openpyxl.styles.numbers import BUILTIN_FORMATS

    own = (BUILTIN_FORMATS.get(style.numFmtId, "") for style in workbook._cell_styles)
    return any("%" in shown for shown in (*own, *workbook._number_formats))


def _as_shown(cell: Any) -> Any:
    value = cell.value
    return Percent(value) if isinstance(value, float | int) and "%" in cell.number_format else value


def _row_text(cells: list[Any], made_by: list[Any], row: int, sheet: str, book: Remarks) -> list[str]:
    return [_text(cell, formula, row, sheet, book) for cell, formula in zip_longest(cells, made_by)]


def _text(cell: Any, made_by: Any, row: int, sheet: str, book: Remarks) -> str:
    """A cell as a person would have written it in a CSV; `made_by` is its formula, if it has one."""
    if isinstance(made_by, str) and made_by.startswith("=") and made_by != cell:
        if cell is None:
            book.repeat("a formula without a saved value; taken as no reading", row, column=sheet, level="doubt")
        else:
            book.repeat("a formula; the value saved with it was taken", row, column=sheet)
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, (int, float)) and not isinstance(cell, Percent):
        return f"{cell:.15g}"
    if isinstance(cell, datetime.timedelta):
        seconds = round(cell.total_seconds())
        return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    if isinstance(cell, Percent):
        return f"{100 * cell:.12g} %"
    if isinstance(cell, datetime.datetime) and cell.year < FIRST_YEAR:  # 1.5 under h:mm is 36 hours, and no date
        hours = (cell - datetime.datetime(1899, 12, 31)).total_seconds() / 3600
        return f"{int(hours)}:{round(hours * 60) % 60:02d}:00"
    if isinstance(cell, datetime.datetime):
        return cell.replace(microsecond=0).isoformat(" ")
    if isinstance(cell, (datetime.time, datetime.date)):
        return cell.isoformat()[:10] if isinstance(cell, datetime.date) else cell.replace(microsecond=0).isoformat()
    text = str(cell)
    if text.startswith("#") and text.endswith(("!", "?", "/0!", "N/A")):
        book.repeat(f"{text[:12]!r} is an error value; taken as no reading", row, column=sheet, level="doubt")
        return ""
    return text


def _settings(rows: list[list[str]], book: Remarks) -> dict[str, Any]:
    """Settings from rows of section, key, value; 'feed 2' is the second [[feed]]."""
    settings: dict[str, Any] = {}
    section, odd = "", []
    for line, row in enumerate(rows, start=1):
        cells = [cell.strip() for cell in [*row, "", "", ""][:3]]
        if not any(cells) or [cell.lower() for cell in cells] == ["section", "key", "value"]:
            continue
        section = cells[0] or section
        if not section or not cells[1]:
            odd.append(line)
            continue
        part = _part(settings, section)
        if cells[1] in part:
            raise book.refusal(
                f"{section} {cells[1]} is written twice, as {part[cells[1]]!r} and as {cells[2]!r}", "each key once",
                "delete one of the rows", row=line, column="run",
            )  # fmt: skip
        part[cells[1]] = _many(cells[2])
    if odd:
        book.note(f"rows without a section or a key left out: {rows_in_words(odd)}", column="run", level="doubt")
    return {name: [part[i] for i in sorted(part)] if name in LISTS else part for name, part in settings.items()}


def _many(value: str) -> Any:
    """Replicates stand in one cell, divided by ' | '."""
    return [one.strip() for one in value.split(" | ")] if " | " in value else value


def _part(settings: dict[str, Any], section: str) -> dict[str, Any]:
    first, _, rest = section.partition(" ")
    if first in LISTS:
        place = int(rest) if rest.isdecimal() and len(rest) < 4 else 1
        part: dict[str, Any] = settings.setdefault(first, {}).setdefault(place, {})
    elif first in (*NAMED, OWN_TABLES):
        part = settings.setdefault(first, {}).setdefault(rest or first, {})
    else:
        part = settings.setdefault(section, {})
    return part
