"""What the columns of a person's own file may mean, by their titles and their first cells."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fermkit.basis.errors import InputError
from fermkit.run.columns import meant
from fermkit.run.format import TABLES, Column
from fermkit.run.own_files import toml_key, unit_in
from fermkit.run.sections_gas import GAS_KINDS
from fermkit.run.tables import first_rows
from fermkit.run.workbooks import read_sheets

WORDS: Final[Mapping[str, str]] = {
    "time": r"time|when|clock|hours?|elapsed|zeit|uhrzeit|uhr|heure|temps|hora|tiempo|(time)?stamp|datetime|epoch",
    "date": r"date|day|datum|tag|jour|fecha|dia",
    "volume": r"volume|gas|collected|syringe|cylinder|volumen|vol",
    "flow": r"flow|rate|durchfluss|debit",
    "bubbles": r"bubbles?|count|blasen|bulles|burbujas",
    "weight": r"weight|mass|scale|jar|gewicht|masse|poids|peso",
    "pressure": r"pressure|gauge|druck|pression|presion",
    "temperature": r"temperature|temp|temperatur|t",
    "barometer": r"barometer|air pressure|atmospheric|luftdruck",
    "ethanol": r"ethanol|alcohol|alkohol|standard|content|abv",
    "signal": r"signal|sensor|voltage|reading|volts?|absorbance",
    "sample": r"sample|name|id|probe|muestra",
    "dilution": r"dilution|diluted|verd.nnung",
    "item": r"item|what|dish|probe", "tare": r"tare|empty|tara|leer", "wet": r"wet|nass|feucht|fresh",
    "dry": r"dry|dried|trocken", "pH": r"ph", "what": r"what|event", "note": r"notes?|remarks?|comments?|bemerkung",
}  # fmt: skip
"""Words in the titles of people's own files, by our column (common practice, no source)."""

OF_GAS: Final = {kind.column.replace("_gauge", ""): name for name, kind in GAS_KINDS.items()}
"""Kind of gas reading, by the column that holds it."""

LOOKS_LIKE_TIME: Final = re.compile(
    r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}.*|\d{1,3}:\d\d(:\d\d)?( ?[ap]m)?|1\d{9}(\.\d+)?|1\d{12}", re.IGNORECASE
)
LOOKS_LIKE_DAY: Final = re.compile(r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}( 00:00(:00)?)?")


@dataclass(frozen=True, slots=True)
class Proposal:
    """What the columns of a file may mean.

    `settings` is for [tables.gas]; `gas` are the kinds of gas reading in it; `asked` are keys that a person must fill
    in, since a title names no unit.
    """

    table: str
    settings: Mapping[str, str]
    gas: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()


def propose(data: bytes, file: str) -> tuple[Proposal, ...]:
    """What the columns of a person's own file may mean, by their titles and their first cells.

    Parameters
    ----------
    data : bytes
        A CSV, or an .xlsx workbook.
    file : str
        Its name.

    Returns
    -------
    tuple of Proposal
        One for each table that the file, or a sheet of the workbook, may be.

    Examples
    --------
    >>> found = propose(b"when;Gas [ml]\\n2026-03-02 18:00;0\\n2026-03-02 19:00;210\\n", "log.csv")
    >>> found[0].table, dict(found[0].settings), found[0].gas
    ('gas', {'file': 'log.csv', 'time': 'when', 'volume': 'Gas [ml]'}, ('collected volume',))
    """
    if file.lower().endswith(".xlsx"):
        sheets, _ = read_sheets(data, file)
        rows = {name: [row for row in cells if any(one.strip() for one in row)] for name, cells in sheets.items()}
    else:
        rows = {"": first_rows(data, file)}
    found: dict[str, Proposal] = {}
    for sheet, cells in rows.items():
        best = max((_proposed(cells[i : i + 6], name) for i in range(min(len(cells), 10)) for name in TABLES),
                   key=lambda one: one[0], default=None)  # fmt: skip
        if best and best[0] > 0 and best[1].table not in found:
            place = {"file": file} | ({"sheet": sheet} if sheet else {})
            found[best[1].table] = Proposal(
                best[1].table, place | dict(best[1].settings), best[1].gas, best[1].asked
            )  # fmt: skip
    if not found:
        titles = next((row for cells in rows.values() for row in cells), [])
        raise InputError(
            f"{file}: no table is seen in its titles: {', '.join(titles)[:120]}",
            "titles such as 'time' and 'gas [mL]'",
            "write under [tables.gas] which column is which: time = \"...\"",
        )  # fmt: skip
    return tuple(found.values())


def _proposed(rows: Sequence[Sequence[str]], table: str) -> tuple[float, Proposal]:
    """How well a table fits a header and its first rows, and what each column then is."""
    titles, below = list(rows[0]), rows[1:]
    taken: dict[str, str] = {}
    units: list[str] = []
    claims = sorted(
        ((_likeness(title, [row[i] for row in below if i < len(row)], column), column.written, i)
         for i, title in enumerate(titles) if title.strip() for column in TABLES[table]),
        key=lambda one: -one[0],
    )  # fmt: skip
    used: set[int] = set()
    score = 0.0
    for how, name, i in claims:
        if how <= 0 or name in taken or i in used:
            continue
        used.add(i)
        taken[name] = titles[i]
        score += how
        column = next(one for one in TABLES[table] if one.written == name)
        if column.kind == "number" and column.unit not in ("1", "any") and not unit_in(titles[i], column):
            units.append(f"{toml_key(name)}_unit")
    day = next((titles[i] for i, title in enumerate(titles) if i not in used and _words(title, "date")
                and _alike([row[i] for row in below if i < len(row)], LOOKS_LIKE_DAY)), "")  # fmt: skip
    names = {column.name: column.written for column in TABLES[table]}
    needed = [column.written for column in TABLES[table] if column.needed]
    kinds = tuple(kind for column, kind in OF_GAS.items() if names.get(column) in taken) if table == "gas" else ()
    if any(name not in taken for name in needed) or (table == "gas" and not kinds) or not below:
        return 0.0, Proposal(table, {})
    keys = ({"date": day} if day else {}) | {
        one.written: taken[one.written] for one in TABLES[table] if one.written in taken
    }
    return score + len(needed) + 1.5 * len(kinds), Proposal(
        table, {toml_key(name): title for name, title in keys.items()}, kinds, tuple(units)
    )


def _likeness(title: str, cells: Sequence[str], column: Column) -> float:
    """How much a title and the cells below it are like one of our columns; 0 for not at all."""
    ours, _ = meant(title, [column])
    unit = bool(column.unit not in ("1", "any") and column.kind == "number" and unit_in(title, column))
    word = _words(title, column.written)
    if column.kind == "time":
        looks = _alike(cells, LOOKS_LIKE_TIME) and not (_words(title, "date") and _alike(cells, LOOKS_LIKE_DAY))
        return 3.0 * (ours is not None and (looks or bool(unit_in(title, column)))) + 2.0 * looks + 1.0 * word
    if column.kind == "number" and not _alike(cells, re.compile(r"[-+−]?[\d.,' ]+( ?[\w%°/]{1,6})?|")):
        return 0.0
    if column.kind == "number" and column.unit not in ("1", "any") and re.search(r"[\[(].+[\])]", title) and not unit:
        return 0.0
    return 3.0 * (ours is not None) + 1.0 * unit + 1.5 * word


def _words(title: str, name: str) -> bool:
    return bool(re.search(rf"\b({WORDS.get(name, name)})\b", title.replace("_", " "), re.IGNORECASE))


def _alike(cells: Sequence[str], pattern: re.Pattern[str]) -> bool:
    there = [cell.strip() for cell in cells if cell.strip()]
    return bool(there) and all(pattern.fullmatch(cell) for cell in there)
