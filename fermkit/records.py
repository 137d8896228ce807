"""A run on disk becomes a `Run`: every value converted once, every oddity said.

A run is a folder with ``run.toml`` and one CSV a table, or one .xlsx workbook with the
same as sheets. Nothing on disk is ever changed, and nothing outside the folder is read.
"""

import difflib
import hashlib
import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np

from fermkit.errors import InputError
from fermkit.findings import Finding
from fermkit.ledger import Ledger, ledger_of
from fermkit.quantities import as_number, conversion, read_quantity
from fermkit.run_layout import LISTS, NAMED, SECTIONS, TABLES, Key
from fermkit.tables import read_table
from fermkit.written import Line, Page, Written

LARGEST_TOML: Final = 1_000_000
GAS_COLUMNS: Final = {
    "collected volume": ("volume_mL", "mL"),
    "flow rate": ("flow_mL_h", "mL/h"),
    "bubble count": ("bubbles", "1"),
    "vessel weight": ("weight_g", "g"),
    "pressure": ("pressure_bar", "bar"),
}
"""For each kind of gas reading, the column that holds it and its unit."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where readings came from: the file's name, its SHA-256, and its number of rows."""

    file: str
    sha256: str
    rows: int


@dataclass(frozen=True, repr=False)
class Run(Written):
    """A fermentation run as recorded: settings and tables in fermkit's units.

    Attributes
    ----------
    name, date, note : str
    folder : pathlib.Path or None
        None where the run was made in memory.
    invented : bool
        True for demonstration data.
    vessel, conditions, inoculum, ethanol, density, residual_sugar, harvest : mapping
        Names carry their unit (``total_L``); values are floats or ufloats. What was not
        written is not there.
    feed, gas : tuple of mappings
        One each ingredient added; one each route to the gas, with ``column`` and ``unit``.
    ingredients : mapping of mappings
        Composition as mass fractions.
    instruments : mapping of mappings
        Checks and the correction that came of them: ``factor``, ``offset_C``, ``offset_bar``.
    tables : mapping of DataFrames
        Corrected readings with the file's row numbers in ``row``.
    units : mapping
        Units of columns that may have any (a sensor's signal): ``units["standards"]["signal"]``.
    degrees_of_freedom : mapping
        n − 1 for each value written as a list of replicates: ``{"harvest.nitrogen": 2}``.
    ledger : Ledger
        Volume of liquid through time.
    findings : tuple of Finding
    sources : tuple of Source
    """

    name: str
    date: str = ""
    note: str = ""
    folder: Path | None = None
    invented: bool = False
    vessel: Mapping[str, Any] = field(default_factory=dict)
    conditions: Mapping[str, Any] = field(default_factory=dict)
    feed: tuple[Mapping[str, Any], ...] = ()
    ingredients: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    inoculum: Mapping[str, Any] = field(default_factory=dict)
    instruments: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    gas: tuple[Mapping[str, Any], ...] = ()
    ethanol: Mapping[str, Any] = field(default_factory=dict)
    density: Mapping[str, Any] = field(default_factory=dict)
    residual_sugar: Mapping[str, Any] = field(default_factory=dict)
    harvest: Mapping[str, Any] = field(default_factory=dict)
    tables: Mapping[str, Any] = field(default_factory=dict)
    units: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    degrees_of_freedom: Mapping[str, int] = field(default_factory=dict)
    ledger: Ledger = field(default_factory=Ledger)
    findings: tuple[Finding, ...] = ()
    sources: tuple[Source, ...] = ()

    def page(self) -> Page:
        """What was recorded and what was noticed."""
        lines = [Line(key, value) for key, value in (("date", self.date), ("note", self.note)) if value]
        lines += [Line("liquid at the start", self.vessel["liquid_L"], "L")] if "liquid_L" in self.vessel else []
        for feed in self.feed:
            lines.append(Line(f"feed: {feed['ingredient']}", feed.get("amount_g", feed.get("amount", "")), "g" if "amount_g" in feed else ""))
        lines += [Line(f"table {name}", f"{len(frame)} rows") for name, frame in self.tables.items()]
        remarks = ["Invented data, for demonstration."] if self.invented else []
        return Page(f"Run: {self.name}", lines, remarks + [f"{f.level}: {f}" for f in self.findings])


def read_run(path: str | Path) -> Run:
    """Read a run from a folder with ``run.toml`` and CSV tables, or from one .xlsx workbook.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Run

    Raises
    ------
    InputError
        With file, row, column, value and remedy.
    """
    folder = Path(path)
    if not folder.exists():
        raise InputError(f"there is no {str(path)!r}", "a run folder or a workbook", "check the path")
    if folder.is_file():
        raise InputError(f"{folder.name!r} is a file", "a run folder", "give the folder that holds run.toml")
    toml = folder / "run.toml"
    if not toml.is_file():
        raise InputError(f"{folder.name!r} holds no run.toml", "a folder with a run.toml", "write one, or check the path")
    data = _contents(folder, "run.toml", LARGEST_TOML)
    try:
        settings = tomllib.loads(data.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as problem:
        raise InputError(f"run.toml cannot be read: {problem}", "a TOML file in UTF-8", "mend that line; texts stand in quotes") from None
    files = {name: _contents(folder, f"{name}.csv") for name in _table_names(settings) if (folder / f"{name}.csv").exists()}
    sources = [Source("run.toml", hashlib.sha256(data).hexdigest(), data.count(b"\n"))]
    return _run(settings, files, folder, sources)


def _contents(folder: Path, name: str, largest: int = 200_000_000) -> bytes:
    place = folder / name
    if folder.resolve() not in place.resolve().parents or not place.is_file():
        raise InputError(f"{name} points outside the run folder", "files inside the run folder", "copy the file into the folder")
    size = place.stat().st_size
    if size > largest:
        raise InputError(f"{name} has {size / 1e6:.0f} MB", f"at most {largest / 1e6:.0f} MB", "thin out the log")
    return place.read_bytes()


def _table_names(settings: Mapping[str, Any]) -> dict[str, str]:
    """Tables that the run may have: name → which columns it has."""
    names = {name: name for name in TABLES}
    for gas in settings.get("gas", ()):
        if isinstance(gas, Mapping) and "table" in gas:
            names[str(gas["table"])] = "gas"
    for name in names:
        if not re.fullmatch(r"\w[\w \-]{0,60}", name):
            raise InputError(f"run.toml names the table {name[:60]!r}", "a plain file name without '.csv' and without folders", "rename the table")
    return names


def _run(settings: Mapping[str, Any], files: Mapping[str, bytes], folder: Path | None, sources: list[Source]) -> Run:
    found: list[Finding] = []
    dof: dict[str, int] = {}
    values = _sections(settings, found, dof)
    about = values["run"]
    tables, units = {}, {}
    layout = _table_names(settings)
    for name, data in files.items():
        table = read_table(data, f"{name}.csv", TABLES[layout[name]], dates=about.get("dates", ""), start=about.get("start", ""))
        tables[name], units[name] = table.frame, table.units
        found += table.findings
        sources.append(Source(f"{name}.csv", hashlib.sha256(data).hexdigest(), len(table.frame)))
    return Run(
        name=about.get("name", folder.name if folder else "run"),
        date=about.get("date", ""),
        note=about.get("note", ""),
        invented=bool(about.get("invented", False)),
        folder=folder,
        tables=tables,
        units=units,
        degrees_of_freedom=dof,
        ledger=ledger_of(values["vessel"].get("liquid_L"), tables.get("volumes")),
        findings=tuple(found),
        sources=tuple(sources),
        **{name: values[name] for name in SECTIONS if name != "run"},
    )


def _sections(settings: Mapping[str, Any], found: list[Finding], dof: dict[str, int]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for name in settings:
        if name not in SECTIONS:
            found.append(_unknown(name, SECTIONS, "section"))
    for name, keys in SECTIONS.items():
        part = settings.get(name, [] if name in LISTS else {})
        if name in LISTS:
            values[name] = tuple(_section(f"{name} {i + 1}", keys, one, found, dof) for i, one in enumerate(part))
        elif name in NAMED:
            values[name] = {key: _section(f"{name}.{key}", keys, one, found, dof) for key, one in part.items()}
        else:
            values[name] = _section(name, keys, part, found, dof)
    values["gas"] = tuple(_with_column(gas) for gas in values["gas"])
    return values


def _with_column(gas: dict[str, Any]) -> dict[str, Any]:
    """A gas route with the column that holds its readings, and that column's unit."""
    if "kind" not in gas:
        raise InputError("run.toml, gas: no kind is given", f"one of: {', '.join(GAS_COLUMNS)}", "write the kind of reading")
    column, unit = GAS_COLUMNS[gas["kind"]]
    return {"table": "gas", **gas, "column": column, "unit": unit}


def _unknown(name: str, known: Any, what: str, where: str = "") -> Finding:
    near = difflib.get_close_matches(name, list(known), n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"known are: {', '.join(known)}"
    return Finding("doubt", "run.toml", None, where or name[:60], f"the {what} {name[:60]!r} is not known and was left out; {hint}")


def _section(place: str, keys: Sequence[Key], part: Any, found: list[Finding], dof: dict[str, int]) -> dict[str, Any]:
    if not isinstance(part, Mapping):
        raise InputError(f"run.toml, {place}: {str(part)[:40]!r} stands where a section should", f"a section [{place}] with keys", "look at a sample run")
    by_name = {key.written: key for key in keys}
    out: dict[str, Any] = {}
    for written, value in part.items():
        key = by_name.get(written)
        if key is None:
            found.append(_unknown(written, by_name, "key", place))
        else:
            out.update(_value(f"{place}.{written}", key, value, part, dof))
    return out


def _value(place: str, key: Key, value: Any, part: Mapping[str, Any], dof: dict[str, int]) -> dict[str, Any]:
    name = f"run.toml, {place}"
    if key.kind == "flag":
        if not isinstance(value, bool):
            raise InputError(f"{name} is {value!r}", "true or false", "write it without quotes")
        return {key.name: value}
    if key.kind == "text":
        return {key.name: str(value)}
    if key.kind == "word":
        if value not in key.words:
            near = difflib.get_close_matches(str(value), key.words, n=1)
            raise InputError(f"{name} is {value!r}", f"one of: {', '.join(key.words)}", f"did you mean {near[0]!r}?" if near else "choose one")
        return {key.name: value}
    act = key.act.format(ingredient=part.get("ingredient", "ingredient"))
    if key.kind == "amount":
        return _amount(name, key, value, part, act)
    if isinstance(value, list):
        return {key.name: _replicates(name, place, key, value, act, dof)}
    quantity = read_quantity(str(value), key.unit, name)
    if key.kind == "interval":
        return {key.name: quantity.ends or (quantity.value, quantity.value)}
    return {key.name: as_number(quantity, act)}


def _replicates(name: str, place: str, key: Key, value: list[Any], act: str, dof: dict[str, int]) -> Any:
    if len(value) < 2:
        raise InputError(f"{name} is a list of {len(value)}", "two values or more", "write a single value without brackets")
    many = np.array([read_quantity(str(one), key.unit, name).value for one in value])
    dof[place] = len(many) - 1
    from uncertainties import ufloat

    return ufloat(float(many.mean()), float(many.std(ddof=1)) / math.sqrt(len(many)), tag=act)


def _amount(name: str, key: Key, value: Any, part: Mapping[str, Any], act: str) -> dict[str, Any]:
    if key.name in ("u_reading", "u_increment"):
        unit = GAS_COLUMNS.get(part.get("kind", ""), ("", "1"))[1]
        return {key.name: read_quantity(str(value), unit, name).value}
    out: dict[str, Any] = {key.name: str(value)}
    for unit in ("g", "mL"):
        try:
            out[f"{key.name}_{unit}"] = as_number(read_quantity(str(value), unit, name), act)
        except InputError:
            continue
    return out


def write_run(settings: Mapping[str, Any], tables: Mapping[str, Mapping[str, Sequence[Any]]], folder: str | Path) -> Path:
    """Write a run folder: run.toml and one CSV a table. Never overwrites.

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
    """
    place = Path(folder)
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise InputError(f"{place.name!r} is there already", "a new or an empty folder", "choose another name; nothing was written")
    place.mkdir(parents=True, exist_ok=True)
    (place / "run.toml").write_text(_toml(settings), encoding="utf-8")
    for name, table in tables.items():
        (place / f"{name}.csv").write_text(_csv(table), encoding="utf-8")
    return place


def _csv(table: Mapping[str, Sequence[Any]]) -> str:
    import csv
    import io

    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(table)
    writer.writerows(zip(*table.values(), strict=True))
    return out.getvalue()


def _toml(settings: Mapping[str, Any]) -> str:
    parts: list[str] = []
    for name, section in settings.items():
        if name in LISTS:
            parts += [f"[[{name}]]\n" + _toml_keys(one) for one in section]
        elif name in NAMED:
            parts += [f"[{name}.{_toml_text(key)}]\n" + _toml_keys(one) for key, one in section.items()]
        else:
            parts.append(f"[{name}]\n" + _toml_keys(section))
    return "\n".join(parts)


def _toml_keys(section: Mapping[str, Any]) -> str:
    return "".join(f"{key} = {_toml_value(value)}\n" for key, value in section.items())


def _toml_value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml_value(one) for one in value) + "]"
    return _toml_text(str(value))


def _toml_text(text: str) -> str:
    import json

    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
