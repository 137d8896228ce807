"""The tables of a run in the form: a box that takes a paste, what was understood, and which column is which."""

import html
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import ipywidgets as W

from fermkit.basis.errors import FermkitError, InputError
from fermkit.run.findings import Remarks
from fermkit.run.format import LISTS, NAMED, TABLES
from fermkit.run.own_files import own_files
from fermkit.run.proposals import propose
from fermkit.run.sections_batch import OWN_TABLES
from fermkit.run.sections_gas import GAS_KINDS
from fermkit.run.settings import table_layouts
from fermkit.run.tables import Table, first_rows, read_rows, read_table
from fermkit.run.workbooks import read_sheets

WIDE: Final = {"description_width": "150px"}
FULL: Final = W.Layout(width="98%")

FIRST_ROWS: Final = 8
"""Rows of a table that are shown as they were understood."""

LARGEST_TEXT: Final = 300_000
"""A longer file is kept as a file and not shown in the box [characters]."""

GAS_COLUMNS: Final = {kind.column.replace("_gauge", ""): one for one, kind in GAS_KINDS.items()}
"""Kind of gas reading, by the column that holds it."""


@dataclass(frozen=True)
class Typed:
    """What was typed so far: settings as in run.toml; table → cells as pasted; name → content of files picked."""

    settings: dict[str, Any] = field(default_factory=dict)
    tables: dict[str, str] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)

    def said(self) -> dict[str, Any]:
        """The settings without the blocks that are still empty."""
        said = {name: _said_in(name, part) for name, part in self.settings.items()}
        return {name: part for name, part in said.items() if part}


def _said_in(name: str, part: Any) -> Any:
    """What is said of a section, without the blocks that are still empty."""
    if name in LISTS:
        return [one for one in part if one and (name != "gas" or one.get("kind"))]
    return {key: one for key, one in part.items() if one} if name in (*NAMED, OWN_TABLES) else part


@dataclass(frozen=True)
class Readings:
    """The part of the form that holds the tables.

    `boxes` takes its widgets by name; `changed` is called when something was typed; `attempt` does a piece of work
    and shows what goes wrong.
    """

    typed: Typed
    boxes: dict[tuple[str, str], Any]
    changed: Callable[[], None]
    attempt: Callable[[Callable[[], object]], None]

    def rows(self) -> list[Any]:
        """A box that takes a paste, what was understood, and which column is which where the titles are foreign."""
        layouts = table_layouts(self.typed.said())
        first = next(iter(self.typed.tables), "gas")
        table = W.Dropdown(options=list(layouts), value=first, description="which table", style=WIDE, layout=FULL)
        cells = W.Textarea(
            value=self.typed.tables.get(first, ""), description="cells", rows=12, style=WIDE, layout=FULL,
            placeholder="Paste here from your spreadsheet, titles included; or type.",
        )  # fmt: skip
        file = W.FileUpload(accept=".csv,.txt,.tsv,.xlsx", multiple=False, description="or pick a file")
        below, mapped = W.HTML(), W.VBox()
        self.boxes.update({("readings", "table"): table, ("readings", "cells"): cells, ("readings", "file"): file})

        def understood(*, propose_anew: bool) -> None:
            name, layout = table.value, layouts[table.value]
            below.value = self._understood(name, layout, propose_anew=propose_anew)
            mapped.children = self._mapping(name, layout, lambda: understood(propose_anew=False))

        def typed(change: Mapping[str, Any]) -> None:
            self.typed.tables[table.value] = change["new"]
            understood(propose_anew=True)
            self.changed()

        def chosen(_: Any) -> None:
            cells.value = self.typed.tables.get(table.value, "")
            understood(propose_anew=False)

        def picked(change: Mapping[str, Any]) -> None:
            if change["new"]:
                self.attempt(lambda: self._file(change["new"][0]["name"], bytes(change["new"][0]["content"]), cells))
                understood(propose_anew=True)
                self.changed()

        cells.observe(typed, names="value")
        table.observe(chosen, names="value")
        file.observe(picked, names="value")
        understood(propose_anew=False)
        return [table, cells, file, below, mapped]

    def _file(self, name: str, data: bytes, cells: Any) -> None:
        """A picked file: a short text goes into the box; a workbook or a long log is kept beside, and mapped."""
        if not name.lower().endswith(".xlsx") and len(data) < LARGEST_TEXT:
            cells.value = data.decode("utf-8-sig", errors="replace")
            return
        for found in propose(data, name):
            self.typed.files[name] = data
            self.typed.settings.setdefault(OWN_TABLES, {})[found.table] = dict(found.settings)
            self._with_gas(found.gas)

    def _with_gas(self, kinds: Sequence[str]) -> None:
        """A [[gas]] for each kind of reading that a table holds, where none is said yet."""
        routes = [one for one in self.typed.settings.get("gas", []) if one.get("kind")]
        if not routes:
            self.typed.settings["gas"] = [{"kind": kind} for kind in kinds]

    def _read(self, name: str, layout: str) -> Table | None:
        """The table as the reader takes it; None where nothing is pasted."""
        book = Remarks("run.toml")
        own = own_files(self.typed.said(), table_layouts(self.typed.said()), book).get(name)
        about = self.typed.settings.get("run", {})
        how: dict[str, Any] = {"dates": str(about.get("dates", "")), "start": str(about.get("start", "")), "own": own}
        if own is not None and own.file in self.typed.files and own.file.endswith(".xlsx"):
            return read_rows(
                read_sheets(self.typed.files[own.file], own.file)[0][own.sheet], own.file, TABLES[layout], **how
            )
        data = (
            self.typed.files[own.file]
            if own is not None and own.file in self.typed.files
            else self.typed.tables.get(name, "").encode()
        )
        return read_table(data, f"{name}.csv", TABLES[layout], **how) if data.strip() else None

    def _understood(self, name: str, layout: str, *, propose_anew: bool) -> str:
        """What was understood of a table, as HTML; foreign titles are mapped where they can be."""
        wanted = ", ".join(one.title for one in TABLES[layout] if one.needed or one.unit != "1")
        own = self.typed.settings.get(OWN_TABLES, {})
        try:
            found = self._read(name, layout)
            if found is None:
                return f"<p class='fk-help'>It may hold: {html.escape(wanted)}.</p>"
            lacking = [one.title for one in TABLES[layout] if one.needed and one.name not in found.frame]
            gas = layout == "gas" and not {kind.column.replace("_gauge", "") for kind in GAS_KINDS.values()} & {
                *found.frame
            }
            if lacking or gas:
                raise InputError(
                    f"no column {' or '.join(lacking) or 'of gas'} is seen",
                    f"some of: {wanted}",
                    "name the columns below",
                )
        except FermkitError as error:
            if propose_anew and name in self.typed.tables and not self._mapped(name) and self._proposed(name):
                return self._understood(name, layout, propose_anew=False)
            said = html.escape(f"{error.met}. Needed: {error.needed}. To do: {error.do}.")
            return f"<p role='alert' class='fk-bad'>{said}</p>"
        if layout == "gas" and name not in own:
            self._with_gas([kind for column, kind in GAS_COLUMNS.items() if column in found.frame])
        return _shown(found, layout)

    def _head(self, name: str) -> list[str]:
        """The titles of what was pasted: the first of its fullest rows."""
        rows = first_rows(self.typed.tables.get(name, "").encode(), name)
        return max(rows, key=lambda row: sum(bool(cell) for cell in row), default=[])

    def _mapped(self, name: str) -> bool:
        """Whether a person's own choice of columns still fits what is pasted: it is not chosen anew while they type."""
        own = own_files(self.typed.said(), table_layouts(self.typed.said()), Remarks("run.toml")).get(name)
        return own is not None and bool(own.columns) and own.known(self._head(name)) == own.mapped()

    def _proposed(self, name: str) -> bool:
        try:
            found = next(
                (one for one in propose(self.typed.tables[name].encode(), f"{name}.csv") if one.table == name), None
            )
        except FermkitError:
            return False
        if found is None:
            return False
        self.typed.settings.setdefault(OWN_TABLES, {})[name] = {k: v for k, v in found.settings.items() if k != "file"}
        self._with_gas(found.gas)
        return True

    def _mapping(self, name: str, layout: str, again: Callable[[], None]) -> list[Any]:
        """A choice of the person's titles for each of our columns, where the titles are foreign."""
        own: dict[str, Any] | None = self.typed.settings.get(OWN_TABLES, {}).get(name)
        if own is None or own.get("file") in self.typed.files:
            return []
        head = self._head(name)
        said = [title for key, title in own.items() if key not in ("file", "sheet") and not key.endswith("_unit")]
        titles = list(dict.fromkeys([*said, *(one for one in head if one)]))
        rows: list[Any] = [W.HTML("<h4>Which of your columns is which</h4>")]

        def taken(key: str, value: str) -> None:
            own.pop(key, None)
            own.update({key: value} if value else {})
            again()
            self.changed()

        def row(key: str, label: str, box: Any) -> None:
            box.description, box.style, box.layout = label, WIDE, FULL
            box.observe(lambda change: taken(key, change["new"].strip()), names="value")
            self.boxes["readings", label] = box
            rows.append(box)

        if "date" in own:
            options = [("not there", ""), *((one, one) for one in titles)]
            row("date", "day", W.Dropdown(options=options, value=own["date"]))
        for column in TABLES[layout]:
            key = column.written.replace(" ", "_")
            options = [("not there", ""), *((one, one) for one in titles)]
            row(key, column.written, W.Dropdown(options=options, value=own.get(key, "")))
            if own.get(key) and column.kind in ("number", "time") and column.unit not in ("1", "any"):
                unit = W.Text(value=own.get(f"{key}_unit", ""), placeholder="if the title has none")
                unit.continuous_update = False
                row(f"{key}_unit", f"{column.written} unit", unit)
        return rows


def _shown(found: Table, layout: str) -> str:
    """The first rows of a table as they were understood, and what was noticed."""
    columns = [one for one in TABLES[layout] if one.name in found.frame]
    units = [found.units.get(one.name) or one.unit for one in columns]
    plain = ("1", "any", "")
    titles = [
        one.written if one.kind == "text" or unit in plain else f"{one.written} [{unit}]"
        for one, unit in zip(columns, units)
    ]
    rows = [
        "".join(f"<td>{html.escape(f'{cell:.6g}' if isinstance(cell, float) else str(cell))}</td>" for cell in row)
        for row in found.frame[[one.name for one in columns]].head(FIRST_ROWS).itertuples(index=False)
    ]
    head = "".join(f"<th scope='col'>{html.escape(title)}</th>" for title in titles)
    body = "".join(f"<tr>{row}</tr>" for row in rows)
    count = len(found.frame)
    more = f" The first {FIRST_ROWS}:" if count > FIRST_ROWS else ""
    notes = "".join(f"<p>{html.escape(str(one))}</p>" for one in found.findings)
    read = f"<p aria-live='polite' class='fk-read'>Understood: {count} {'row' if count == 1 else 'rows'}.{more}</p>"
    return f"{read}<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{notes}"
