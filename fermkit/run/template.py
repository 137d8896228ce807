"""An empty run to fill in, and the list of everything that a run may say: both made from the layout itself."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written
from fermkit.run.format import LISTS, NAMED, SECTIONS, TABLES, Column, Key

EXAMPLES: Final = {
    "L": "2.00 ± 0.02 L", "mL": "0.62 ± 0.02 mL", "g": "0.02 g", "°C": "28.0 ± 0.5 °C", "bar": "1008 ± 2 hPa",
    "h": "0 h", "kg/m3": "1035.0 ± 0.5 kg/m3", "g/L": "0.5 ± 0.3 g/L", "g/mL": "1.40 ± 0.03 g/mL",
    "g/h": "0.0 ± 0.1 g/h",
}  # fmt: skip
"""How a value with that unit is written."""

OWN: Final = {
    "start": "18:00", "date": "2026-03-02", "table": "gas", "ice reading": "0.4 °C", "zero reading": "0.02 bar",
    "rated": "4.0 bar", "check weight": "500 g", "check reading": "502 g", "ingredient": "beet molasses",
}  # fmt: skip
"""Keys with an example of their own."""

KINDS: Final = {
    "text": "some words", "flag": "true", "amount": "240 ± 1 g", "reading": "3 mL", "resolution": "1 g",
    "interval": "0 to 2 %", "range": "0.1 to 0.3 %",
}  # fmt: skip


def example(key: Key) -> str:
    """How a key's value may be written.

    Examples
    --------
    >>> from fermkit.run.format import VESSEL
    >>> example(VESSEL[0]), example(VESSEL[-2])
    ('2.00 ± 0.02 L', 'airlock')
    """
    if key.written in OWN and key.unit != "kg/m3":
        return OWN[key.written]
    if key.words:
        return key.words[0]
    if key.kind == "interval" and key.unit == "°C":
        return "45 to 55 °C"
    if key.kind in KINDS:
        return KINDS[key.kind]
    if key.unit == "1":
        return "5.0 ± 0.5 %" if key.high == 1.0 else "4.8 ± 0.2" if key.high == 14.0 else "1.000 ± 0.015"
    return EXAMPLES[key.unit]


@dataclass(frozen=True, repr=False)
class RunFormat(Written):
    """Everything that a run on disk may say: one part for each section of run.toml and for each table."""

    def page(self) -> Page:
        """The list, made from the layout that the reader itself goes by."""
        return _page()


def run_format() -> RunFormat:
    """Everything that a run on disk may say: sections with keys, tables with columns.

    Returns
    -------
    RunFormat

    Examples
    --------
    >>> [line.strip() for line in str(run_format()).splitlines() if "rated" in line]
    ["rated      4.0 bar               the maker's rating"]
    """
    return RunFormat()


def _page() -> Page:
    parts = [Page(_heading(name), [_line(key) for key in keys]) for name, keys in SECTIONS.items()]
    for name, columns in TABLES.items():
        lines = [
            Line(_title(column), column.kind, note="needed in each row" if column.always else "") for column in columns
        ]
        parts.append(Page(f"{name}.csv, or a sheet {name}", lines))
    remarks = [
        "± is one standard uncertainty; tolerance and resolution are half-widths of a rectangular distribution.",
        "A list of values is a set of replicates. Everything may be left out; what is left out is not told.",
    ]
    return Page("What a run may say: run.toml and its tables", remarks=remarks, parts=parts)


def _heading(name: str) -> str:
    if name in LISTS:
        return f"[[{name}]], once for each"
    return f'[{name}."its name"]' if name in NAMED else f"[{name}]"


def _line(key: Key) -> Line:
    note = key.act.format(ingredient="ingredient")
    if key.words:
        note = "one of: " + ", ".join(key.words)
    return Line(key.written.replace(" ", "_"), example(key), note=note)


def _title(column: Column) -> str:
    unit = {"any": " [V]", "1": ""}.get(column.unit, f" [{column.unit}]")
    return column.written if column.kind == "text" else column.written + unit


def write_template(folder: str | Path) -> Path:
    """Write an empty run: run.toml with every key behind a ``#``, and each table's header. Never overwrites.

    Parameters
    ----------
    folder : str or Path
        Must not exist, or be empty.

    Returns
    -------
    Path
        The folder. Take the ``#`` away from what you fill in; delete the tables that you don't have.
    """
    place = Path(folder)
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise InputError(
            f"{place.name!r} is there already", "a new or an empty folder", "choose another name; nothing was written"
        )
    place.mkdir(parents=True, exist_ok=True)
    (place / "run.toml").write_text("\n".join(_section(name) for name in SECTIONS), encoding="utf-8", newline="\n")
    for name, columns in TABLES.items():
        header = ",".join(_title(column) for column in columns)
        (place / f"{name}.csv").write_text(header + "\n", encoding="utf-8", newline="\n")
    return place


def _section(name: str) -> str:
    heading = f"[[{name}]]" if name in LISTS else f'[{name}."{_named(name)}"]' if name in NAMED else f"[{name}]"
    lines = [f"# {heading}" if name in (*LISTS, *NAMED) else heading]
    for key in SECTIONS[name]:
        value = "true" if key.kind == "flag" else f'"{example(key)}"'
        words = f"  # {', '.join(key.words)}" if key.words else ""
        lines.append(f"# {key.written.replace(' ', '_')} = {value}{words}")
    return "\n".join(lines) + "\n"


def _named(name: str) -> str:
    return "beet molasses" if name == "ingredients" else "scale"
