"""A person's own files, with titles of their own: which of their columns is which of ours, as run.toml says it."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from fermkit.basis.checks import nearest
from fermkit.basis.errors import InputError
from fermkit.basis.quantities import conversion
from fermkit.run.columns import TIME_TITLES, name_and_unit
from fermkit.run.fields import fields_of
from fermkit.run.findings import Remarks
from fermkit.run.format import TABLES, Column
from fermkit.run.sections_batch import OWN_TABLES, OwnTable

PLAIN_KEYS: Final = tuple(one.written for one in fields_of(OwnTable))


@dataclass(frozen=True, slots=True)
class OwnFile:
    """[tables.gas] of run.toml: a file, its sheet, and which of its columns is which of ours.

    `columns` and `units` go by our names as written: ``{"volume": "Gas [ml]"}``, ``{"volume": "mL"}``.
    """

    table: str
    file: str = ""
    sheet: str = ""
    date: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)

    def mapped(self) -> int:
        """How many titles are mapped."""
        return len(self.columns) + bool(self.date)

    def known(self, titles: Sequence[str]) -> int:
        """How many of the mapped titles stand in a row of cells."""
        there = {_bare(title) for title in titles}
        return sum(_bare(title) in there for title in (*self.columns.values(), *([self.date] if self.date else [])))

    def least(self) -> int:
        """Mapped titles that a header must show to be taken for one."""
        return min(2, len(self.columns))

    def titles(self, header: Sequence[str], ours: Sequence[Column], book: Remarks, row: int) -> list[str]:
        """The header in our words, such as ``volume [ml]``; an empty text for what is not mapped.

        Raises
        ------
        InputError
            Where a mapped column is not in the file, or says no unit.
        """
        if not self.columns:
            return list(header)
        out = [""] * len(header)
        places = {_bare(title): i for i, title in reversed(list(enumerate(header)))}
        by_name = {column.written: column for column in ours}
        for name, title in (*self.columns.items(), *([("date", self.date)] if self.date else [])):
            place = places.get(_bare(title))
            if place is None:
                near = nearest(title, [one for one in header if one])
                raise book.refusal(
                    f"there is no column {title!r}, only {', '.join(one for one in header if one)[:160]}",
                    f"the column that run.toml takes for {name}",
                    (f"did you mean {near!r}? " if near else "")
                    + f"mend {toml_key(name)} under [tables.{self.table}]",
                    row=row,
                )  # fmt: skip
            out[place] = _ours(name, title, by_name.get(name), self, book, row)
            book.called[out[place]] = title
        return out


def _ours(name: str, title: str, column: Column | None, own: OwnFile, book: Remarks, row: int) -> str:
    if column is None or column.kind == "text" or column.unit == "1":
        return name
    unit = own.units.get(name) or unit_in(title, column)
    if unit or column.kind == "time":
        return f"{name} [{unit}]" if unit else name
    if column.unit == "any":
        return name
    raise book.refusal(
        f"{title!r} has no unit", f"its unit, such as {column.unit}",
        f'write {toml_key(name)}_unit = "{column.unit}" under [tables.{own.table}]', row=row, column=title,
    )  # fmt: skip


def unit_in(title: str, column: Column) -> str:
    """The unit that a title names, in brackets, behind a slash or as its last words, if the column can have it.

    Examples
    --------
    >>> volume = next(one for one in TABLES["gas"] if one.written == "volume")
    >>> unit_in("Gas (ml) after 2 h", volume), unit_in("Gas in mL", volume), unit_in("Gas", volume)
    ('ml', 'mL', '')
    """
    words = title.replace("_", " ").split()
    tried = [*re.findall(r"[\[(]([^\])]{1,30})[\])]", title), name_and_unit(title)[1]]
    tried += [" ".join(words[-count:]) for count in (2, 1) if words[count:]]
    if column.kind == "time" and title.strip().lower() in TIME_TITLES:
        tried.append(title.strip().lower())
    return next((unit for unit in tried if unit and _fits(unit, column)), "")


def _fits(unit: str, column: Column) -> bool:
    if column.unit == "any":
        return True
    try:
        conversion(unit, column.unit)
    except InputError:
        return unit.replace(" ", "").lower() in ("g/l", "%mass", "%w/w") and column.unit == "% vol"
    return True


def own_files(written: Mapping[str, Any], layouts: Mapping[str, str], book: Remarks) -> dict[str, OwnFile]:
    """The tables that run.toml takes from files of the person's own.

    Raises
    ------
    InputError
        For a table that is not known, a key that is no column, or a file outside the folder.
    """
    out = {}
    part = written.get(OWN_TABLES, {})
    if not isinstance(part, Mapping):
        raise book.refusal(f"[tables] is {str(part)[:40]!r}", "a section such as [tables.gas]", "mend it")
    for table, keys in part.items():
        if table not in layouts or not isinstance(keys, Mapping):
            near = nearest(str(table), layouts)
            raise book.refusal(
                f"[tables.{table}] is no table", f"one of: {', '.join(layouts)}",
                f"did you mean {near!r}?" if near else "rename it",
            )  # fmt: skip
        out[str(table)] = _own(str(table), layouts[table], keys, book)
    return out


def _own(table: str, layout: str, keys: Mapping[str, Any], book: Remarks) -> OwnFile:
    ours = [column.written for column in TABLES[layout]]
    plain: dict[str, str] = {}
    columns: dict[str, str] = {}
    units: dict[str, str] = {}
    for key, value in keys.items():
        name = str(key).strip().replace("_", " ")
        if name in PLAIN_KEYS:
            plain[name] = str(value)
        elif name in ours:
            columns[name] = str(value)
        elif name.removesuffix(" unit") in ours:
            units[name.removesuffix(" unit")] = str(value)
        else:
            near = nearest(name, [*PLAIN_KEYS, *ours])
            raise book.refusal(
                f"{key!r} is no column of {table}", f"file, sheet, date, or one of: {', '.join(ours)}",
                f"did you mean {near!r}?" if near else "rename it", column=f"tables.{table}",
            )  # fmt: skip
    return OwnFile(table, columns=columns, units=units, **plain)


def _bare(title: str) -> str:
    return " ".join(title.strip().strip('"').split()).casefold()


def toml_key(name: str) -> str:
    """One of our names as a key of run.toml."""
    return name.replace(" ", "_")
