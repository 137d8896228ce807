"""An empty run to fill in, and the list of everything that a run may say: both made from the layout itself."""

import math
from dataclasses import dataclass
from pathlib import Path

from fermkit.basis.written import Line, Page, Written
from fermkit.run.fields import Field, Section, fields_of
from fermkit.run.format import LISTS, NAMED, SECTIONS, TABLES
from fermkit.run.sections_batch import OWN_TABLES, OwnTable
from fermkit.run.sections_gas import GAS_KINDS
from fermkit.run.writing import write_files


def example(about: Field) -> str:
    """How a key's value may be written: its own example, or the first of its words.

    Examples
    --------
    >>> from fermkit.run.sections_batch import VesselSection
    >>> [example(about) for about in fields_of(VesselSection)[:2]]
    ['3.0 ± 0.1 L', '2.00 ± 0.02 L']
    """
    return about.example or (about.words[0] if about.words else "true" if about.kind == "flag" else "some words")


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
    >>> [line.split()[:3] for line in str(run_format()).splitlines() if line.strip().startswith("rated")]
    [['rated', '4.0', 'bar']]
    """
    return RunFormat()


def _page() -> Page:
    parts = []
    for name, section in SECTIONS.items():
        parts.append(Page(_heading(name), [_line(about) for about in fields_of(section)]))
        if name == "gas":
            own = len(fields_of(section))
            parts += [
                Page(f'[[gas]] with kind = "{kind}"', [_line(about) for about in fields_of(one)[own:]])
                for kind, one in GAS_KINDS.items()
            ]
    for name, columns in TABLES.items():
        lines = [
            Line(column.title, "needed" if column.needed else "", note=f"{column.explains}{_ends(column)}")
            for column in columns
        ]
        parts.append(Page(f"{name}.csv, or a sheet {name}", lines))
    foreign = [_line(about) for about in fields_of(OwnTable)]
    foreign += [
        Line("volume, time …", "Gas [ml]", note="each column of the table by its name: your own title of it"),
        Line("volume_unit …", "mL", note="the unit, where your title has none"),
    ]
    parts.append(Page(f"[{OWN_TABLES}.gas], or another table: a file with titles of your own", foreign))
    remarks = [
        "± is one standard uncertainty; tolerance and resolution are half-widths of a rectangular distribution.",
        "A list of values is a set of replicates. Everything may be left out; what is left out is not told.",
        "Where no ± is written the usual one of a kitchen is taken, and the findings say which.",
    ]
    return Page("What a run may say: run.toml and its tables", remarks=remarks, parts=parts)


def _heading(name: str) -> str:
    if name in LISTS:
        return f"[[{name}]], once for each"
    return f'[{name}."its name"]' if name in NAMED else f"[{name}]"


def _line(about: Field) -> Line:
    words = f"; one of: {', '.join(about.words)}" if about.words else ""
    usual = f"; usual ± {usual_words(about)}" if about.usual is not None else ""
    note = f"{about.explains}{words}{_ends(about)}{usual}"
    return Line(about.written.replace(" ", "_"), example(about), note=note)


def usual_words(about: Field) -> str:
    """The usual ± of a field in words; empty where there is none."""
    if about.usual is None:
        return ""
    own = "" if about.unit == "1" else f" {about.unit}"
    least = f"{about.usual.u:.2g}{own}" if about.usual.u else ""
    relative = f"{100 * about.usual.share:.2g} % of it" if about.usual.share else ""
    return " or ".join(part for part in (least, relative) if part) + f" ({about.usual.source})"


def _ends(about: Field) -> str:
    """What is possible, in words."""
    unit = "" if about.unit in ("1", "any") else f" {about.unit}"
    if math.isfinite(about.low) and math.isfinite(about.high):
        return f"; {about.low:g} to {about.high:g}{unit}"
    return f"; {about.low:g}{unit} or more" if math.isfinite(about.low) else ""


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
    tables = {f"{name}.csv": ",".join(column.title for column in columns) + "\n" for name, columns in TABLES.items()}
    texts = {"run.toml": "\n".join(_section(name) for name in SECTIONS), **tables}
    return write_files({name: text.encode() for name, text in texts.items()}, folder)


def _section(name: str) -> str:
    heading = f"[[{name}]]" if name in LISTS else f'[{name}."{_named(name)}"]' if name in NAMED else f"[{name}]"
    lines = [f"# {heading}" if name in (*LISTS, *NAMED) else heading]
    if name == "gas":
        routes = [[*lines, f'# kind = "{kind}"', *_keys(one), ""] for kind, one in GAS_KINDS.items()]
        return "\n".join("\n".join(route) for route in routes)
    return "\n".join([*lines, *_keys(SECTIONS[name])]) + "\n"


def _keys(section: type[Section]) -> list[str]:
    out = []
    for about in fields_of(section):
        value = "true" if about.kind == "flag" else f'"{example(about)}"'
        words = f": {', '.join(about.words)}" if about.words else ""
        out.append(f"# {about.written.replace(' ', '_')} = {value}  # {about.explains}{words}")
    return out


def _named(name: str) -> str:
    return "beet molasses" if name == "ingredients" else "scale"
