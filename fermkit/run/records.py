"""A run on disk becomes a `Run`: every value converted once, every oddity said.

A run is a folder with ``run.toml`` and one CSV a table, or one .xlsx workbook with the same as sheets.
Nothing on disk is ever changed, nothing outside the folder is read, nothing in it is executed.
"""

import hashlib
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from fermkit.basis.checks import nearest
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, nominal
from fermkit.run.by_names import named_ingredients
from fermkit.run.clock import clock_hours, dated_hours, day_hours
from fermkit.run.findings import Finding, Remarks
from fermkit.run.format import NEEDED, TABLES
from fermkit.run.instruments import corrected_settings, corrected_table, correction, corrections
from fermkit.run.ledger import Ledger, ledger_of
from fermkit.run.long_tables import thinned
from fermkit.run.own_files import OwnFile, own_files
from fermkit.run.prepared import (
    by_instrument,
    gas_tables,
    logged_conditions,
    one_signal_unit,
    standards_in_line,
    through_time,
    told_twice,
)
from fermkit.run.sections_around import DissolvedSection, RoomSection
from fermkit.run.sections_batch import (
    About,
    Conditions,
    CostSection,
    FeedItem,
    Ingredient,
    Inoculum,
    Instrument,
    MySums,
    VesselSection,
)
from fermkit.run.sections_gas import BubbleCount, CollectedVolume, FlowRate, Gas
from fermkit.run.sections_harvest import HarvestSection, KeepingSection
from fermkit.run.sections_liquid import Density, Ethanol, ResidualSugar
from fermkit.run.sections_yeast import YeastSection
from fermkit.run.settings import read_settings, read_toml, table_layouts, usual_said
from fermkit.run.tables import LARGEST_BYTES, EmptyTable, Table, read_rows, read_table
from fermkit.run.workbooks import LARGEST_BYTES as LARGEST_WORKBOOK
from fermkit.run.workbooks import read_sheets, read_workbook
from fermkit.run.writing import write_run, write_workbook

__all__ = ["Run", "Source", "read_run", "run_from", "write_run", "write_workbook"]

LARGEST_TOML: Final = 1_000_000
SAME_CLOCK: Final = ("samples", "volumes", "temperature", "counts", "turbidity", "acidity")
"""Tables whose times count from the start of the run, as the gas readings do; drying and hold have their own."""

TableReader = Callable[[str, str], Table]
"""Reads one table, given the dates' order and the start."""


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
    state : str
        "running", "stopped", "used up", or "" where it was not said.
    vessel, conditions, inoculum, ethanol, density, residual_sugar, harvest, yeast, room, dissolved_co2, cost,
    keeping, my_sums : sections
        Their fields are named with their unit (``vessel.total_L``); values are floats or ufloats, and None where
        nothing was written.
    feed, gas : tuple of sections
        One each ingredient added; one each route to the gas, of the class of its kind.
    ingredients : mapping of Ingredient
        Composition as mass fractions.
    instruments : mapping of Instrument
        Checks, and the corrections that came of them.
    tables : mapping of DataFrames
        Corrected readings in order of time, with the file's row numbers in ``row``.
    units : mapping
        Units of columns that may have any: ``units["standards"]["signal"]``.
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
    state: str = ""
    vessel: VesselSection = field(default_factory=VesselSection)
    conditions: Conditions = field(default_factory=Conditions)
    feed: tuple[FeedItem, ...] = ()
    ingredients: Mapping[str, Ingredient] = field(default_factory=dict)
    inoculum: Inoculum = field(default_factory=Inoculum)
    instruments: Mapping[str, Instrument] = field(default_factory=dict)
    gas: tuple[Gas, ...] = ()
    ethanol: Ethanol = field(default_factory=Ethanol)
    density: Density = field(default_factory=Density)
    residual_sugar: ResidualSugar = field(default_factory=ResidualSugar)
    harvest: HarvestSection = field(default_factory=HarvestSection)
    yeast: YeastSection = field(default_factory=YeastSection)
    room: RoomSection = field(default_factory=RoomSection)
    dissolved_co2: DissolvedSection = field(default_factory=DissolvedSection)
    cost: CostSection = field(default_factory=CostSection)
    keeping: KeepingSection = field(default_factory=KeepingSection)
    my_sums: MySums = field(default_factory=MySums)
    tables: Mapping[str, Any] = field(default_factory=dict)
    units: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    degrees_of_freedom: Mapping[str, int] = field(default_factory=dict)
    ledger: Ledger = field(default_factory=Ledger)
    findings: tuple[Finding, ...] = ()
    sources: tuple[Source, ...] = ()

    def common_factor(self, table: str) -> Any:
        """What is still uncertain, alike for all weights of a table, after the scale's correction: 1 ± u."""
        factor = correction(self.instruments, "factor", table if table in TABLES and table != "gas" else "gas")
        return factor / nominal(factor)

    @property
    def doubts(self) -> tuple[Finding, ...]:
        """The findings that may change a result."""
        return tuple(finding for finding in self.findings if finding.level == "doubt")

    def page(self) -> Page:
        """What was recorded and what was noticed."""
        lines = [Line(key, value) for key, value in (("date", self.date), ("note", self.note)) if value]
        for name, litres in (("vessel", self.vessel.total_L), ("liquid at the start", self.vessel.liquid_L)):
            lines += [Line(name, litres, "L")] if litres is not None else []
        fed: tuple[FeedItem | Inoculum, ...] = (*self.feed, *([self.inoculum] if self.inoculum else []))
        for part in fed:
            grams = part.amount_g
            amount = (part.amount or "not given") if grams is None else grams
            lines.append(Line(part.ingredient or "ingredient", amount, "" if grams is None else "g"))
        lines += [Line(f"gas: {gas.kind}", f"{len(self.tables.get(gas.table, ()))} readings") for gas in self.gas]
        lines += [Line(f"table {name}", f"{len(frame)} rows") for name, frame in self.tables.items()]
        remarks = ["Invented data, for demonstration."] if self.invented else []
        return Page(f"Run: {self.name}", lines, remarks + [f"{found.level}: {found}" for found in self.findings])


def read_run(path: str | Path) -> Run:
    """Read a run from a folder with ``run.toml`` and CSV tables, or from one .xlsx workbook.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Run
        With everything that was noticed in ``findings``.

    Raises
    ------
    InputError
        For what cannot be read safely: file, row, column, value and remedy are named.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     folder = write_run({"vessel": {"liquid": "2.00 ± 0.02 L"}}, {}, place + "/jar")
    ...     run = read_run(folder)
    >>> print(run.name, run.vessel.liquid_L)
    jar 2.000+/-0.020
    """
    place = Path(path)
    try:
        return _read(place.parent if place.name == "run.toml" else place)
    except OSError as problem:  # no right to read, a disk taken away
        raise InputError(
            f"{place.name!r} cannot be read: {problem.strerror or problem}",
            "files that may be read",
            "check the permissions of the folder and of the files in it",
        ) from None


def _read(place: Path) -> Run:
    if place.is_dir():
        return _from_folder(place)
    if not place.is_file():
        raise InputError(f"there is no run at {str(place)!r}", "a run folder or an .xlsx workbook", "check the path")
    if place.suffix.lower() != ".xlsx":
        raise InputError(
            f"{place.name!r} is no run", "the folder that holds run.toml, or a workbook saved as .xlsx",
            "give the folder's path, or save the workbook as .xlsx",
        )  # fmt: skip
    data = contents(place.resolve().parent, place.resolve().name, LARGEST_WORKBOOK)
    return _from_workbook(data, place)


def _from_folder(folder: Path) -> Run:
    if not (folder / "run.toml").exists():
        raise InputError(
            f"{folder.name!r} holds no run.toml", "a folder with a run.toml", "write one, or check the path"
        )
    data = contents(folder, "run.toml", LARGEST_TOML)
    written = read_toml(data)
    sources = [Source("run.toml", hashlib.sha256(data).hexdigest(), data.count(b"\n"))]
    readers: dict[str, TableReader] = {}
    layouts = table_layouts(written)
    book = Remarks("run.toml")
    own = own_files(written, layouts, book)
    for name, layout in layouts.items():
        there = (folder / f"{name}.csv").exists() or (folder / f"{name}.csv").is_symlink()
        if there and name in own and own[name].file not in ("", f"{name}.csv"):
            raise book.refusal(
                f"the table {name} is in {name}.csv and in {own[name].file}", "one file for each table",
                f"take {name}.csv away, or strike [tables.{name}]",
            )  # fmt: skip
        if there or name in own:
            readers[name] = _file_reader(folder, own.get(name, OwnFile(name)), layout, sources)
    used = {f"{name}.csv" for name in layouts} | {one.file for one in own.values()}
    book.findings.extend(_unused_files(folder, layouts, used))
    return _run(written, readers, folder, sources, book)


def _file_reader(folder: Path, own: OwnFile, layout: str, sources: list[Source]) -> TableReader:
    file, columns = own.file or f"{own.table}.csv", TABLES[layout]

    def read(dates: str, start: str) -> Table:
        if file.lower().endswith(".xlsx"):
            data = contents(folder, file, LARGEST_WORKBOOK)
            sheets, book = read_sheets(data, file)
            rows = _sheet(sheets, own, book)
            table = read_rows(rows, file, columns, dates=dates, start=start, own=own)
            table = replace(table, findings=(*book.all(), *table.findings))
        else:
            data = contents(folder, file, LARGEST_BYTES)
            table = read_table(data, file, columns, dates=dates, start=start, own=own)
        sources.append(Source(file, hashlib.sha256(data).hexdigest(), len(table.frame)))
        return table

    return read


def _sheet(sheets: Mapping[str, Sequence[Sequence[str]]], own: OwnFile, book: Remarks) -> Sequence[Sequence[str]]:
    """The rows of the sheet that is meant, or of the only one."""
    by_name = {name.strip().lower(): rows for name, rows in sheets.items()}
    name = own.sheet.strip().lower() or (next(iter(by_name)) if len(by_name) == 1 else own.table)
    if name not in by_name:
        raise book.refusal(
            f"there is no sheet {own.sheet or own.table!r}, only {', '.join(sheets)[:120]}", "one of its sheets",
            f"write sheet = \"...\" under [tables.{own.table}]",
        )  # fmt: skip
    return by_name[name]


def contents(folder: Path, name: str, largest: int) -> bytes:
    """The bytes of a file that truly lies in the folder."""
    try:
        place = (folder / name).resolve()
    except RuntimeError:  # a link in a circle, before Python 3.13
        place = Path()
    if folder.resolve() != place.parent or not place.is_file():
        raise InputError(
            f"{name} is a link out of the run folder, or no file",
            "a plain file inside the folder",
            "copy the file into the folder",
        )
    size = place.stat().st_size
    if size > largest:
        raise InputError(
            f"{name} has {size / 1e6:.0f} MB",
            f"at most {largest / 1e6:.0f} MB",
            "thin out the log, say to one reading a minute",
        )
    return place.read_bytes()


def _unused_files(folder: Path, layouts: Mapping[str, str], used: Collection[str]) -> list[Finding]:
    out = []
    for place in sorted(folder.iterdir()):
        if place.suffix.lower() in (".csv", ".tsv", ".txt", ".xlsx") and place.name not in used:
            near = nearest(place.stem, layouts)
            hint = f"did you mean '{near}.csv'?" if near else f"tables are: {', '.join(layouts)}"
            out.append(
                Finding("doubt" if near else "note", place.name[:60], None, "", f"this file was not read; {hint}")
            )
    return out


def _from_workbook(data: bytes, place: Path) -> Run:
    written, sheets, book = read_workbook(data, place.name)
    sources = [Source(place.name, hashlib.sha256(data).hexdigest(), sum(len(rows) for rows in sheets.values()))]
    layouts = table_layouts(written)
    own = own_files(written, layouts, book)
    used = {one.sheet.strip().lower() or one.table for one in own.values()}
    for name in sheets:
        if name not in layouts and name not in used:
            near = nearest(name, layouts)
            hint = f"did you mean {near!r}?" if near else f"tables are: {', '.join(layouts)}"
            book.note(f"this sheet was not read; {hint}", column=name, level="doubt" if near else "note")
    readers = {name: _row_reader(rows, name, layouts[name]) for name, rows in sheets.items() if name in layouts}
    for name, one in own.items():
        readers[name] = _row_reader(_sheet(sheets, one, book), one.sheet or name, layouts[name], one)
    return _run(written, readers, None, sources, book, called=place.stem)


def _row_reader(
    rows: Sequence[Sequence[str]], name: str, layout: str, own: OwnFile | None = None
) -> TableReader:  # fmt: skip
    return lambda dates, start: read_rows(rows, name, TABLES[layout], dates=dates, start=start, own=own)


def run_from(settings: Mapping[str, Any], tables: Mapping[str, Mapping[str, Sequence[Any]]]) -> Run:
    """A run from settings and tables in memory, read exactly as from a folder.

    Parameters
    ----------
    settings : mapping
        Sections and keys as in run.toml.
    tables : mapping of mappings
        For each table: header → cells.

    Returns
    -------
    Run

    Examples
    --------
    >>> run = run_from({"run": {"name": "jar"}}, {"hold": {"time [min]": [0, 30], "temperature [°C]": [20, 50]}})
    >>> run.tables["hold"].time_h.tolist()
    [0.0, 0.5]
    """
    rows = {}
    for name, table in tables.items():
        cells = {str(title): list(table[title]) for title in table}  # a mapping, or a pandas table
        if len({len(column) for column in cells.values()}) > 1:
            raise InputError(
                f"the columns of {name} have {', '.join(f'{title}: {len(column)}' for title, column in cells.items())} "
                "cells", "as many cells in each column", "fill the gaps with an empty text",
            )  # fmt: skip
        rows[name] = [list(cells), *([str(cell) for cell in row] for row in zip(*cells.values()))]
    return run_from_rows(settings, rows)


def run_from_rows(
    settings: Mapping[str, Any], sheets: Mapping[str, Sequence[Sequence[str]]], called: str = "run"
) -> Run:
    """A run from settings and tables as rows of cells, each with its header, read exactly as from a workbook.

    Parameters
    ----------
    settings : mapping
        Sections and keys as in run.toml.
    sheets : mapping of rows
        For each table: its rows of text; blank ones above the header keep the row numbers of what is said.
    called : str
        Its name, where the settings give none.
    """
    layouts = table_layouts(settings)
    own = own_files(settings, layouts, Remarks("run.toml"))
    unknown = [name for name in sheets if name not in layouts]
    if unknown:
        raise InputError(f"there is no table {unknown[0]!r}", f"one of: {', '.join(layouts)}", "rename it")
    readers = {name: _row_reader(rows, name, layouts[name], own.get(name)) for name, rows in sheets.items()}
    return _run(settings, readers, None, [], Remarks("run.toml"), called)


def _run(
    written: Mapping[str, Any], readers: Mapping[str, TableReader], folder: Path | None, sources: list[Source],
    book: Remarks, called: str = "run",
) -> Run:  # fmt: skip
    found = read_settings(written, book)
    sections = found.sections
    sections["instruments"] = corrections(sections["instruments"], book)
    corrected_settings(sections)
    sections["vessel"] = _possible_vessel(sections["vessel"], book)
    _leaves_by_a_way(sections["vessel"], sections["gas"], book)
    named_ingredients(sections, book)
    about = sections.pop("run")
    read = _tables(readers, about, book)
    frames = {name: corrected_table(name, table.frame, sections["instruments"]) for name, table in read.items()}
    empty = readers.keys() - read.keys()
    sections["gas"] = tuple(gas for gas in sections["gas"] if gas.table not in empty)
    gas_tables(frames, sections, book)
    found.usual.extend(by_instrument(frames, sections))
    logged_conditions(frames, sections, book)
    told_twice(frames.get("weights"), sections["harvest"], book)
    for name, column in (("drying", "weight_g"), ("hold", "temperature_C"), ("temperature", "temperature_C")):
        if name in frames and ("item" not in frames[name] or frames[name]["item"].nunique() < 2):
            frames[name] = through_time(thinned(frames[name], column, book), column, name, book)
    standards_in_line(frames, book)
    one_signal_unit(frames, read, book)
    usual_said(found.usual, book)
    return Run(
        name=about.name or (folder.resolve().name if folder else called),
        date=about.date or "", note=about.note or "", invented=bool(about.invented), state=about.state or "",
        folder=folder, tables=frames, units={name: table.units for name, table in read.items()},
        degrees_of_freedom=found.degrees_of_freedom,
        ledger=ledger_of(sections["vessel"].liquid_L or 0.0, frames.get("volumes")),
        findings=(*book.all(), *(found for table in read.values() for found in table.findings)),
        sources=tuple(sources), **sections,
    )  # fmt: skip


def _possible_vessel(vessel: VesselSection, book: Remarks) -> VesselSection:
    """The vessel; one that could not hold its liquid loses its size, which costs the pressure only."""
    if vessel.total_L is not None:
        total, liquid = nominal(vessel.total_L), nominal(vessel.liquid_L or 0.0)
        if liquid >= total:
            book.note(
                f"{liquid:g} L of liquid in a vessel of {total:g} L; needed: less liquid than the vessel holds; to do: "
                "check both numbers and their units. Until then no pressure can be told: do not close it",
                column="vessel", level="doubt",
            )  # fmt: skip
            return replace(vessel, total_L=None)
    return vessel


def _leaves_by_a_way(vessel: VesselSection, routes: Sequence[Gas], book: Remarks) -> None:
    """Doubt where gas was caught from a vessel that lets none out, or lets it out everywhere."""
    caught = [gas.kind for gas in routes if isinstance(gas, CollectedVolume | FlowRate | BubbleCount)]
    if caught and vessel.closed in ("closed", "open"):
        book.note(
            f"the vessel is told as {vessel.closed}, and gas was caught from it ({caught[0]}); needed: an airlock or a "
            "tube, through which all of it goes; to do: check what stands under closed",
            column="vessel", level="doubt",
        )  # fmt: skip


def _tables(readers: Mapping[str, TableReader], about: About, book: Remarks) -> dict[str, Table]:
    """Every table; clock times in the samples and the ledger count from where the gas readings start."""
    out: dict[str, Table] = {}
    start = about.start or ""
    with suppress(InputError):  # a date that can be read in two ways is refused where a table needs it
        known = (clock_hours(start), dated_hours(start, about.dates or ""), day_hours(start))
        if start and all(one is None for one in known):
            book.note(f"the start {start[:30]!r} is no time of day that can be read, and was left out; write "
                      'start = "18:00", with or without its date', column="run", level="doubt")  # fmt: skip
    zero = start
    for name in sorted(readers, key=lambda name: name in SAME_CLOCK):
        try:
            table = readers[name](
                about.dates or "", zero if name in SAME_CLOCK else start if name not in ("drying", "hold") else ""
            )
        except EmptyTable as problem:
            book.note(f"{problem.met}; it counts as not written yet", column=name)
            continue
        if table.zero and name in SAME_CLOCK and not zero:
            raise InputError(
                f"{name} has clock times, and nothing says when the run started", "the start of the run",
                'write start = "18:00" (or with its date) under [run]',
            )  # fmt: skip
        zero = zero or (table.zero if name not in ("drying", "hold", "standards") else "")
        _needed(name, table)
        out[name] = table
    return {name: out[name] for name in readers if name in out}


def _needed(name: str, table: Table) -> None:
    """Refuse a table that lacks a column without which it is of no use."""
    layout = name if name in TABLES else "gas"
    missing = [need for need in NEEDED[layout] if need not in table.frame]
    if missing:
        titles = {column.name: column.title for column in TABLES[layout]}
        raise InputError(
            f"{name} has no column {' and no column '.join(titles[need] for need in missing)}",
            f"the columns {', '.join(titles[need] for need in NEEDED[layout])}",
            "add it, or mend the header",
        )
