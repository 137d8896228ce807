"""Marks the answers of a class: a table for the teacher, a page for each group. One broken file stops nothing."""

import csv
import io
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, rounded
from fermkit.teach.answers import FILE, LOOSE, QUESTIONS, Answers, fault_named, read_answers, reading_of, slip_of
from fermkit.teach.class_data import group_folders, read_key, with_progress
from fermkit.teach.group_folder import GroupFolder
from fermkit.teach.handout import whole_page
from fermkit.teach.mishaps import MISHAP, NONE

ANOTHERS: Final = 4
"""So many answers that fit another group and not one's own tell that its folder was analysed."""


@dataclass(frozen=True)
class Mark:
    """One answer, marked.

    Attributes
    ----------
    question, given : str
    right : bool or None
        None where nothing was answered, or nothing could be asked.
    kind : str
        "right", "empty", "unreadable", "sign", "unit", "factor", "stoichiometry", "swapped", "other", "not asked".
    says : str
    """

    question: str
    given: str
    right: bool | None
    kind: str
    says: str


@dataclass(frozen=True, repr=False)
class GroupMarks(Written):
    """One group's marks, as its feedback page.

    Attributes
    ----------
    group : str
    marks : tuple of Mark
    minutes : int
        Spent on measurements and wrong names.
    problems : tuple of str
        What is wrong with the file as a whole.
    """

    group: str
    marks: tuple[Mark, ...]
    minutes: int
    problems: tuple[str, ...]

    @property
    def right(self) -> int:
        """How many answers are right."""
        return sum(mark.right is True for mark in self.marks)

    @property
    def asked(self) -> int:
        """How many were asked."""
        return sum(mark.kind != "not asked" for mark in self.marks)

    def page(self) -> Page:
        """Each answer with what is to be said of it; right values where they were missed."""
        lines = [
            Line(mark.question, mark.given or "–", "", f"{mark.kind}: {mark.says}" if mark.says else mark.kind)
            for mark in self.marks
        ]
        said = f"{self.right} of {self.asked} right; {self.minutes} min spent on the hunt."
        return Page(f"Group {self.group}", lines, [said, *self.problems])


@dataclass(frozen=True, repr=False)
class ClassMarks(Written):
    """The marks of a class.

    Attributes
    ----------
    class_id : str
    groups : tuple of GroupMarks
    seconds : float
    """

    class_id: str
    groups: tuple[GroupMarks, ...]
    seconds: float

    def page(self) -> Page:
        """One line a group, then how each question went."""
        lines = [
            Line(
                f"group {one.group}",
                f"{one.right}/{one.asked}",
                "",
                "; ".join([_fault_said(one), f"{one.minutes} min", *one.problems]),
            )
            for one in self.groups
        ]
        names = dict.fromkeys(mark.question for one in self.groups for mark in one.marks)
        went = [
            _how_it_went(name, [mark for one in self.groups for mark in one.marks if mark.question == name])
            for name in names
        ]
        return Page(
            f"Marks of class {self.class_id}",
            lines,
            [f"Marked in {self.seconds:.1f} s."],
            [Page("Question by question", went)],
        )

    def table(self) -> Any:
        """One row a group and answer, as a pandas DataFrame."""
        import pandas as pd

        rows = [
            {"group": one.group, "question": mark.question, "given": mark.given, "right": mark.right, "kind": mark.kind}
            for one in self.groups
            for mark in one.marks
        ]
        return pd.DataFrame(rows, columns=["group", "question", "given", "right", "kind"])

    def write(self, folder: str | Path) -> Path:
        """Write marks.csv and a feedback page for each group into a folder; an earlier marking is replaced."""
        place = Path(folder)
        (place / "feedback").mkdir(parents=True, exist_ok=True)
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(
            ["group", "right", "asked", "minutes", "problems", *(mark.question for mark in self.groups[0].marks)]
        )
        for one in self.groups:
            row = [
                one.group,
                one.right,
                one.asked,
                one.minutes,
                " | ".join(one.problems),
                *(mark.kind for mark in one.marks),
            ]
            writer.writerow([_as_text(str(cell)) for cell in row])
            page = whole_page(f"Group {one.group}", one.page().html(1))
            (place / "feedback" / f"group_{one.group}.html").write_text(page, encoding="utf-8")
        (place / "marks.csv").write_text(out.getvalue(), encoding="utf-8")
        return place


def mark(folder: str | Path, teacher: str | Path | None = None) -> ClassMarks:
    """Mark every group's answers file.

    Parameters
    ----------
    folder : str or Path
        The class, as `make_class` wrote it and the groups filled it.
    teacher : str or Path, optional
        Where secret and key are; ``<folder>-teacher`` if not given.

    Returns
    -------
    ClassMarks

    Raises
    ------
    InputError
        If the key cannot be opened, or belongs to another class. A group's missing or broken file is no reason to stop.

    Notes
    -----
    A number is right within twice the standard uncertainty that the group's own readings leave (1 % at least).
    """
    begun = time.perf_counter()
    key = read_key(folder, teacher)
    keys = {one["group"]: one for one in key["groups"]}
    there = {place.name.removeprefix("group_"): place for place in group_folders(Path(folder))}
    marked = [
        _group_marks(name, there.get(name), keys, key["class"])
        for _, name in with_progress(sorted(keys), "marking group")
    ]
    strangers = sorted(set(there) - set(keys))
    marked += [GroupMarks(name, (), 0, ("this folder is not in the key",)) for name in strangers]
    return ClassMarks(key["class"], tuple(marked), time.perf_counter() - begun)


def _group_marks(name: str, place: Path | None, keys: Mapping[str, Any], class_id: str) -> GroupMarks:
    own = keys[name]
    try:
        if place is None:
            raise InputError(f"group_{name} is missing", "its folder", "ask the group for it")
        answers = read_answers(place / FILE)
    except InputError as problem:
        return GroupMarks(name, _marks_of({}, own), 0, (f"{problem.met}; {problem.do}",))
    found = _marks_of(answers.given, own)
    return GroupMarks(
        name,
        found,
        GroupFolder(place, name, class_id).minutes_spent,
        tuple(_problems(answers, found, own, keys, class_id)),
    )


def _marks_of(given: Mapping[str, str], own: Mapping[str, Any]) -> tuple[Mark, ...]:
    read = {q.name: reading_of(given, q.name) for q in QUESTIONS}
    return (*(_numeric(q.name, given.get(q.name, ""), read, own["right"]) for q in QUESTIONS), *_hunt(given, own))


def _fits(value: Any, right: Mapping[str, float] | None) -> bool:
    return isinstance(value, float) and right is not None and abs(value - right["value"]) <= right["tolerance"]


def _numeric(name: str, given: str, read: Mapping[str, Any], rights: Mapping[str, Any]) -> Mark:
    value, right = read[name], rights.get(name)
    if right is None:
        return Mark(name, given, None, "not asked", "these readings cannot tell it")
    text, half = rounded(right["value"], right["tolerance"])
    told = f"the readings give {text} ± {half}"
    if value is None:
        return Mark(name, given, None, "empty", told)
    if isinstance(value, InputError):
        return Mark(name, given, False, "unreadable", f"{value.met}; {told}")
    if _fits(value, right):
        return Mark(name, given, True, "right", "")
    other = next((o for o in read if o != name and _fits(value, rights.get(o)) and _fits(read[o], right)), None)
    if other is not None:
        return Mark(name, given, False, "swapped", f"with {other}; {told}")
    slip = slip_of(value, lambda x: _fits(x, right), loosely_known=right["tolerance"] > LOOSE * abs(value))
    return Mark(
        name,
        given,
        False,
        "other" if slip is None else slip.kind,
        told if slip is None else f"it looks like {slip.says}; {told}",
    )


def _hunt(given: Mapping[str, str], own: Mapping[str, Any]) -> tuple[Mark, Mark]:
    fault, said, settled = own["fault"], given.get("fault", ""), given.get("settled by", "").strip().lower()
    settles = MISHAP[fault].settled_by if fault in MISHAP else ()
    told = f"{fault}: {own['says']}" if own["says"] else "nothing was wrong"
    try:
        named = fault_named(said)
        right = None if named is None else named == fault
        first = Mark("fault", said, right, "empty" if right is None else "right" if right else "other", told)
    except InputError as problem:
        first = Mark("fault", said, False, "unreadable", f"{problem.met}; {told}")
    if fault == NONE:
        return first, Mark("settled by", settled, None, "not asked", "there was nothing to settle")
    measured = [part.strip() for part in given.get("measured", "").split(";")]
    good = settled in settles
    note = (
        ""
        if good and settled in measured
        else "named, but never measured"
        if good
        else f"{' or '.join(settles)} would have"
    )
    kind = "empty" if not settled else "right" if good else "other"
    return first, Mark("settled by", settled, None if not settled else good, kind, note)


def _problems(
    answers: Answers, found: tuple[Mark, ...], own: Mapping[str, Any], keys: Mapping[str, Any], class_id: str
) -> list[str]:
    """What is wrong with a file as a whole: another class, another group's folder, readings that were changed."""
    out = list(answers.notes[:3])
    if answers.class_id not in ("", class_id):
        out.append(f"the file is of class {answers.class_id[:20]!r}, not of {class_id}")
    if answers.group.lstrip("0") not in ("", own["group"].lstrip("0")):
        out.append(f"the file says it is group {answers.group[:10]!r}")
    code = answers.readings
    whose = next((name for name, one in keys.items() if one["readings"] == code), None)
    if code and code != own["readings"]:
        out.append(
            f"the readings analysed are group {whose}'s"
            if whose
            else "the readings analysed are not those that were handed out"
        )
    elif (twin := _another(answers.given, own, keys)) is not None:
        out.append(f"the numbers are those of group {twin}'s readings")
    if all(mark.kind in ("empty", "not asked") for mark in found):
        out.append("nothing is answered")
    return out


def _another(given: Mapping[str, str], own: Mapping[str, Any], keys: Mapping[str, Any]) -> str | None:
    """The other group whose readings these numbers fit, where they don't fit the group's own."""
    read = {q.name: reading_of(given, q.name) for q in QUESTIONS}

    def fitting(one: Mapping[str, Any]) -> int:
        return sum(_close(read[name], one["right"].get(name)) for name in read)

    here = fitting(own)
    best = max((one for one in keys.values() if one is not own), key=fitting, default=None)
    return best["group"] if best is not None and fitting(best) >= max(ANOTHERS, here + 3) else None


def _close(value: Any, right: Mapping[str, float] | None) -> bool:
    """Within half a per cent: the same number, rounded, and not only a like one."""
    return isinstance(value, float) and right is not None and abs(value - right["value"]) <= 0.005 * abs(right["value"])


def _fault_said(one: GroupMarks) -> str:
    said = next((mark for mark in one.marks if mark.question == "fault"), None)
    return (
        "no answer on the fault"
        if said is None or said.right is None
        else "fault found"
        if said.right
        else "fault not found"
    )


def _how_it_went(name: str, marks: list[Mark]) -> Line:
    asked = [mark for mark in marks if mark.kind != "not asked"]
    kinds: dict[str, int] = {}
    for one in asked:
        kinds[one.kind] = kinds.get(one.kind, 0) + 1
    slips = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()) if kind != "right")
    return Line(name, f"{kinds.get('right', 0)}/{len(asked)}", "", slips)


def _as_text(cell: str) -> str:
    """No cell that a student typed may act as a formula in a spreadsheet."""
    return "'" + cell if cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell
