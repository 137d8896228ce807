"""Real jars: one workbook for the class, a sheet a group, with what went in, the readings, and the group's answers.

The cells are read by the readers of any run (`run/begin` for what people say, `run/tables` and `run/clock` for the
readings), so that a jar of the class is analysed as any run is.
"""

import logging
import re
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fermkit.basis.checks import nearest
from fermkit.basis.errors import FermkitError, InputError
from fermkit.run.begin import as_settings
from fermkit.run.records import Run, contents, run_from_rows
from fermkit.run.workbooks import LARGEST_BYTES, read_sheets
from fermkit.run.writing import workbook_bytes, write_files
from fermkit.teach.answers import QUESTIONS, SHARED, Answers, answers_from
from fermkit.teach.class_data import HANDED_IN, ClassKit, sensible_places, teachers_folder
from fermkit.teach.class_key import class_results, right_answers, stated
from fermkit.teach.papers import lesson_file

if TYPE_CHECKING:
    from fermkit.run.analysis import Analysis

JARS: Final = "real_jars.xlsx"
CLASS: Final = "of real jars"
"""What such a class is called in place of the id of an invented one."""

WORDS: Final = "in our words"
Rows = Sequence[Sequence[str]]


@dataclass(frozen=True)
class Said:
    """One header cell: its label, unit, hint, and where it goes: an answer of `begin`, or section and key."""

    label: str
    unit: str
    hint: str
    goes: str | tuple[str, str]


HEADER: Final = (
    Said("sugar put in", "g", "such as 60; or 60 g white sugar; several with a comma between", "sugar"),
    Said("water", "L", "such as 0.6", "water"),
    Said("liquid", "L", "or all of the liquid, if that was measured", "liquid"),
    Said("yeast put in", "g", "such as 3; or 10 g fresh yeast", "yeast"),
    Said("jar", "L", "up to the lid", "vessel"),
    Said("closed with", "", "airlock, vented or open; never closed", "closed"),
    Said("temperature", "°C", "of the liquid", "temperature"),
    Said("sugar left", "g/L", "at the end, by a test strip; 0 if it shows none", ("residual_sugar", "value")),
    Said("alcohol at the end", "% vol", "if you measured it", ("ethanol", "content")),
    Said("density before", "kg/m3", "by a hydrometer, if there is one", ("density", "start")),
    Said("density after", "kg/m3", "the same at the end", ("density", "end")),
    Said("dry yeast", "g", "all that settled, washed and dried, if you did", ("harvest", "paste")),
    Said("scale ±", "g", "how far two weighings of one jar differ", ("vessel weight", "u_reading")),
    Said("gas collected at", "°C", "if gas was caught", ("collected volume", "collector_temperature")),
)
READINGS: Final = ("day", "time", "weight [g]", "volume [mL]", "note")
GAS: Final = {"weight": "vessel weight", "volume": "collected volume"}
"""Columns of the readings, and the kind of gas reading that each is."""

NO_DRIFT: Final = "0 ± 0.001 g/h"
"""A jar that is put anew on a scale set to zero takes no part in the scale's wandering over days; ± as a scale's step
over a school week (common practice, no source)."""

PARTS: Final = ("what went in", "readings", "our answers")
HOW: Final = (
    ("How to fill it in", ""),
    ("A sheet a group.", "Write into the second column; leave blank what you did not measure."),
    ("Scale", "The same one each time: set it to zero, then put the jar on it."),
    ("Readings", "A row each time: day (Monday, or a date), time (10:00 or 9 am), weight of the whole jar."),
    ("Day", "Once is enough for the rows below it, until the next day begins."),
    ("Jar", "With an airlock, and never opened: what leaves its weight is gas. Never close it."),
    ("CO2 still held", "Add it to what the jar lost: 1.7 g in a litre of liquid at 20 °C, 1.4 g at 25 °C."),
    ("Our answers", "A number with unit and ±, such as 0.512 ± 0.008 mol. Leave blank what your jar cannot tell."),
    ("Then", "Save it under the same name; your teacher runs mark and pool."),
)


@dataclass(frozen=True)
class Jar:
    """One group's sheet as read; without a run where it could not be, with the reason among the notes."""

    group: str
    run: Run | None = None
    answers: Answers = field(default_factory=Answers)
    notes: tuple[str, ...] = ()


def make_real_class(groups: int, folder: str | Path, teacher: str | Path | None = None) -> ClassKit:
    """Write an empty workbook for a class with real jars, a sheet a group.

    Parameters
    ----------
    groups : int
        1 to 99.
    folder : str or Path
        Must not exist.
    teacher : str or Path, optional
        Where the teacher's page goes, and later marks and pool; ``<folder>-teacher`` if not given.

    Returns
    -------
    ClassKit
    """
    begun = time.perf_counter()
    place, apart = Path(folder), teachers_folder(folder, teacher)
    sensible_places(groups, place, apart)
    page = lesson_file("teachers_page.md")
    write_files({JARS: blank_jars(groups)}, place)
    (place / HANDED_IN).mkdir()
    write_files({} if page is None else {"teachers_page.md": page.read_bytes()}, apart)
    names = tuple(f"{i:02d}" for i in range(1, groups + 1))
    return ClassKit(place, apart, CLASS, names, time.perf_counter() - begun, invented=False)


def blank_jars(groups: int) -> bytes:
    """The workbook to be filled in: how to, and a sheet a group."""
    sheet = [
        [PARTS[0], "", ""],
        *([_titled(one.label, one.unit), "", one.hint] for one in HEADER),
        ["", "", ""],
        [PARTS[1], "", ""],
        list(READINGS),
        *([""] * len(READINGS) for _ in range(20)),
        [PARTS[2], "", ""],
        *([_titled(one.name, one.unit), "", one.asks] for one in QUESTIONS),
        *([_titled(name, "% vol"), "", "a sample that every group was given, if there is one"] for name in SHARED),
        [WORDS, "", "what did you see, and how do you know?"],
    ]
    sheets: dict[str, Sequence[Sequence[Any]]] = {"how": [list(row) for row in HOW]}
    return workbook_bytes(sheets | {f"group {i:02d}": sheet for i in range(1, groups + 1)}, widths=(24, 18, 16, 16, 40))


def read_jars(folder: Path) -> tuple[list[Jar], list[str]]:
    """Every group's sheet of a class's workbook, and the sheets that are none.

    Raises
    ------
    InputError
        If the file is no workbook. A sheet that cannot be read costs its own group only.
    """
    sheets, _ = read_sheets(contents(folder, JARS, LARGEST_BYTES), JARS)
    jars: list[Jar] = []
    lost: list[str] = []
    for name, rows in sheets.items():
        found = re.fullmatch(r"(?:group|jar)?\s*0*([1-9]\d?)", name.strip().lower())
        if found is None:
            lost += [] if name == "how" else [f"the sheet {name[:30]!r} is no group's, and was left out"]
        elif any(one.group == found[1].zfill(2) for one in jars):
            lost.append(f"the sheet {name[:30]!r} is group {found[1].zfill(2)} once more, and was left out")
        else:
            jars.append(_jar(found[1].zfill(2), rows))
    return jars, lost


def jars_key(jars: Sequence[Jar]) -> tuple[dict[str, Any], dict[str, tuple[str, ...]]]:
    """The right answers of each group by its own readings, in the shape of a class's key; and what is to be said."""
    groups, notes = [], {}
    for jar in jars:
        analysis, problem = analysed(jar)
        said = list(jar.notes) + ([problem] if problem else [])
        key: dict[str, Any] = {"group": jar.group, "read": {}, "stated": {"litres": 0.0}}
        if jar.run is not None and analysis is not None:
            key |= {"read": right_answers(analysis), "stated": stated(jar.run, analysis)}
            said += [] if analysis.gas else analysis.gaps  # without its gas a jar tells hardly anything: say why
        groups.append(key)
        notes[jar.group] = tuple(said)
    return {"class": CLASS, "groups": groups}, notes


def analysed(jar: Jar) -> "tuple[Analysis | None, str]":
    """The jar's run analysed as far as a class asks, or why it cannot be."""
    if jar.run is None:
        return None, ""
    try:
        return class_results(jar.run, "estimate"), ""
    except FermkitError as problem:
        return None, f"its readings cannot be worked out: {_beats(problem)}"
    except Exception as problem:  # a mistake of ours: the other groups stand, the log has the way through the code
        logging.getLogger("fermkit").debug("jar of group %s", jar.group, exc_info=True)
        return None, f"the program stumbled over its sheet ({type(problem).__name__})"


def _jar(group: str, rows: Rows) -> Jar:
    told, lines, table, notes = _parts(rows)
    answers = answers_from("\n".join(lines))
    if not told and not any(cell.strip() for row in table[-1:] for cell in row):
        return Jar(group, None, answers, ("its sheet is still empty",))
    try:
        run = run_from_rows(*_as_run(told, table), called=f"Group {group}")
    except FermkitError as problem:
        return Jar(group, None, answers, (*notes, f"its sheet cannot be read: {_beats(problem)}"))
    except Exception as problem:  # a mistake of ours: the other groups stand, the log has the way through the code
        logging.getLogger("fermkit").debug("sheet of group %s", group, exc_info=True)
        return Jar(group, None, answers, (*notes, f"the program stumbled over its sheet ({type(problem).__name__})"))
    return Jar(group, run, answers, (*notes, *(str(doubt) for doubt in run.doubts)))


def _parts(rows: Rows) -> tuple[dict[str, str], list[str], list[list[str]], list[str]]:
    """Header cells, lines of answers, the table of readings with blank rows above it, and rows nobody understands."""
    of_answers = {one.name.lower(): one.name for one in QUESTIONS} | {name: name for name in (*SHARED, WORDS)}
    labels = {one.label: one for one in HEADER}
    told: dict[str, str] = {}
    lines: list[str] = []
    table: list[list[str]] = []
    notes: list[str] = []
    reading = False
    for row in rows:
        first, second = ([cell.strip() for cell in row] + ["", ""])[:2]
        label, unit = _bare(first)
        if label in labels or label in of_answers or label in PARTS:
            reading = False
            if label in labels and second:
                told[label] = f"{second} {unit or labels[label].unit}".strip() if _a_number(second) else second
            elif label in of_answers and second:
                lines.append(f"{of_answers[label]}: {second}")
        elif label in ("day", "date", "time") and len([cell for cell in row if cell.strip()]) > 1:
            reading = True
        elif not reading and first and second:
            near = nearest(label, [*labels, *of_answers])
            hint = f"; did you mean {near!r}?" if near else ""
            notes.append(f"row {len(table) + 1}, {first[:30]!r}, was not understood{hint}")
        table.append(list(row) if reading else [""])
    return told, lines, _without_empty_columns(table), notes


def _as_run(told: Mapping[str, str], table: list[list[str]]) -> tuple[dict[str, Any], dict[str, Rows]]:
    """Settings and tables of the run that a sheet tells of."""
    if "sugar put in" not in told:
        raise InputError(
            f"no sugar is written, only {', '.join(told) or 'readings'}", "what sugar, and how much",
            'write it, such as "60 g white sugar"',
        )  # fmt: skip
    if (way := told.get("closed with", "").lower()) == "closed":
        raise InputError(
            f"the jar is {way}, and a closed jar that ferments can burst", "an airlock",
            "open it slowly, face away, and fit an airlock",
        )  # fmt: skip
    goes = {one.label: one.goes for one in HEADER}
    answered = {place: text for label, text in told.items() if isinstance(place := goes[label], str)}
    settings, _, _ = as_settings(answered)
    there = [_bare(title)[0].split(" ")[0] for title in next((row for row in table if any(row)), ())]
    gas: dict[str, dict[str, str]] = {kind: {"kind": kind} for column, kind in GAS.items() if column in there}
    if "vessel weight" in gas:
        gas["vessel weight"]["drift"] = NO_DRIFT
    for label, text in told.items():
        if isinstance(place := goes[label], str):
            continue
        if place[0] not in GAS.values():
            settings.setdefault(place[0], {})[place[1]] = text
        elif place[0] in gas:
            gas[place[0]][place[1]] = text
    return settings | ({"gas": list(gas.values())} if gas else {}), ({"gas": table} if gas else {})


def _without_empty_columns(table: list[list[str]]) -> list[list[str]]:
    """A table without the columns in which nothing was written."""
    wide = max(map(len, table), default=0)
    whole = [[*row, *([""] * (wide - len(row)))] for row in table]
    filled = [any(row[i].strip() for row in [one for one in whole if any(one)][1:]) for i in range(wide)]
    return [[cell if keep else "" for cell, keep in zip(row, filled)] for row in whole]


def _titled(label: str, unit: str) -> str:
    return f"{label} [{unit}]" if unit else label


def _bare(title: str) -> tuple[str, str]:
    """A label in small letters, and the unit in its brackets."""
    found = re.fullmatch(r"([^\[]*?)\s*(?:\[([^\]]*)\])?\s*:?\s*", title[:80])
    return (" ".join(found[1].lower().split()), found[2] or "") if found else (title[:80].lower(), "")


def _a_number(text: str) -> bool:
    return re.fullmatch(r"[\d.,]+( ?(±|\+/?-) ?[\d.,]+)?", text) is not None


def _beats(problem: FermkitError) -> str:
    return f"{problem.met}; {problem.do}"
