"""Marks the answers of a class, with the reason of every point. One bad file stops nothing."""

import csv
import io
import time
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, rounded
from fermkit.teach.answers import FIRST_SAMPLE, MENDED, QUESTION, Answers, Given, measured_of, mistake_named
from fermkit.teach.class_data import HANDED_IN, read_key, teachers_folder
from fermkit.teach.class_key import (
    FOLLOWS,
    INPUTS,
    MENDED_CARBON,
    MENDED_POINTS,
    MISTAKE,
    SETTLED,
    followed,
    slip_of,
)
from fermkit.teach.group_folder import handed_in
from fermkit.teach.mishaps import MISHAP, PRICE
from fermkit.teach.papers import whole_page
from fermkit.teach.real_jars import JARS, jars_key, read_jars

ANOTHERS: Final = 4
"""So many numbers that fit another group and not one's own tell that its folder was worked on."""

PARTLY: Final = 0.5
AGAIN: Final = "mended number"


class Kind(StrEnum):
    """What an answer is."""

    RIGHT = "right"
    FOLLOWS = "follows"
    SLIP = "slip"
    EMPTY = "empty"
    UNREADABLE = "not understood"
    OTHER = "not right"
    NOT_ASKED = "not asked"


@dataclass(frozen=True)
class Mark:
    """One answer, marked.

    Attributes
    ----------
    question, given : str
    points, of : float
        Earned, and to be earned; 0 of 0 where the readings cannot tell it.
    kind : Kind
    says : str
        Why, and where to look.
    """

    question: str
    given: str
    points: float
    of: float
    kind: Kind
    says: str = ""


@dataclass(frozen=True, repr=False)
class GroupMarks(Written):
    """One group's marks, as its feedback page.

    Attributes
    ----------
    group : str
    marks : tuple of Mark
    minutes : int
        Spent on measurements.
    words : str
        What the group wrote in its own words, for the teacher to read.
    problems : tuple of str
        What is to be said of the file as a whole.
    """

    group: str
    marks: tuple[Mark, ...]
    minutes: int
    words: str
    problems: tuple[str, ...]

    @property
    def points(self) -> float:
        """Points earned."""
        return sum(mark.points for mark in self.marks)

    @property
    def of(self) -> float:
        """Points that could be earned."""
        return sum(mark.of for mark in self.marks)

    def page(self) -> Page:
        """Each answer with its points and the reason."""
        lines = [
            Line(one.question, one.given or "–", "", f"{one.points:g} of {one.of:g}; {one.kind}{_why(one)}")
            for one in self.marks
        ]
        said = [f"{self.points:g} of {self.of:g} points; {self.minutes} min spent on measurements.", *self.problems]
        said += [f"In your words: {self.words}"] if self.words else []
        return Page(f"Group {self.group}", lines, said)


def _why(mark: Mark) -> str:
    return f": {mark.says}" if mark.says else ""


@dataclass(frozen=True, repr=False)
class ClassMarks(Written):
    """The marks of a class.

    Attributes
    ----------
    class_id : str
    groups : tuple of GroupMarks
    lost : tuple of str
        Files and folders that belong to no group.
    seconds : float
    """

    class_id: str
    groups: tuple[GroupMarks, ...]
    lost: tuple[str, ...]
    seconds: float

    def page(self) -> Page:
        """One line a group, then how each question went."""
        lines = [
            Line(
                f"group {one.group}", f"{one.points:g}/{one.of:g}", "", "; ".join([f"{one.minutes} min", *one.problems])
            )
            for one in self.groups
        ]
        names = dict.fromkeys(mark.question for one in self.groups for mark in one.marks)
        went = [_how_it_went(n, [m for one in self.groups for m in one.marks if m.question == n]) for n in names]
        return Page(
            f"Marks of class {self.class_id}",
            lines,
            [*self.lost, f"Marked in {self.seconds:.1f} s."],
            [Page("Question by question", went)],
        )

    def table(self) -> Any:
        """One row a group and answer, as a pandas DataFrame."""
        import pandas as pd

        rows = [
            {"group": one.group, "question": m.question, "given": m.given, "points": m.points, "of": m.of,
             "kind": str(m.kind), "why": m.says}
            for one in self.groups for m in one.marks
        ]  # fmt: skip
        return pd.DataFrame(rows)

    def write(self, folder: str | Path) -> Path:
        """Write marks.csv and a feedback page for each group into a folder; an earlier marking is replaced."""
        place = Path(folder)
        (place / "feedback").mkdir(parents=True, exist_ok=True)
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        names = [mark.question for mark in self.groups[0].marks] if self.groups else []
        writer.writerow(["group", "points", "of", "minutes", "problems", "in our words", *names])
        for one in self.groups:
            row = [one.group, f"{one.points:g}", f"{one.of:g}", one.minutes, " | ".join(one.problems), one.words]
            writer.writerow([_as_text(str(cell)) for cell in [*row, *(f"{mark.points:g}" for mark in one.marks)]])
            page = whole_page(f"Group {one.group}", one.page().html(1))
            (place / "feedback" / f"group_{one.group}.html").write_text(page, encoding="utf-8")
        (place / "marks.csv").write_text(out.getvalue(), encoding="utf-8")
        return place


def mark(folder: str | Path, teacher: str | Path | None = None) -> ClassMarks:
    """Mark every group's answers.

    Parameters
    ----------
    folder : str or Path
        The class: answers.txt in the groups' folders, answer files in its folder ``handed_in``, or, of real jars,
        ``real_jars.xlsx``: each sheet's answers are then held against what its own readings give.
    teacher : str or Path, optional
        Where the key is; ``<folder>-teacher`` if not given. Nothing else is needed from the students' folders.

    Returns
    -------
    ClassMarks

    Raises
    ------
    InputError
        If the key cannot be read. A group's missing or broken file is no reason to stop.

    Notes
    -----
    Marked twice: the numbers as the group read them, and those that it wrote beside them once the mistake was found.
    A later number is right if it follows from the group's own earlier ones. See `SCHEME`.
    """
    begun = time.perf_counter()
    place = Path(folder)
    jars, strangers = read_jars(place) if (place / JARS).exists() else ([], [])
    key, said = jars_key(jars) if jars else (read_key(teachers_folder(folder, teacher)), {})
    keys = {one["group"]: one for one in key["groups"]}
    found, lost = handed_in(place, HANDED_IN, {jar.group: jar.answers for jar in jars})
    lost += strangers
    marked = []
    for name, own in sorted(keys.items()):
        answers, notes = found.get(name, (Answers(), ("nothing was handed in",)))
        marked.append(group_marks(answers, (*said.get(name, ()), *notes), own, keys, key["class"]))
    lost += [f"group {name} is not in the key" for name in sorted(set(found) - set(keys))]
    return ClassMarks(key["class"], tuple(marked), tuple(lost), time.perf_counter() - begun)


def group_marks(
    answers: Answers, notes: tuple[str, ...], own: Mapping[str, Any], keys: Mapping[str, Any], class_id: str
) -> GroupMarks:
    """One group's answers held against its part of the key."""
    stated = own["stated"]
    first = first_numbers(answers, own["read"], stated, own.get("mended", {}))
    marks = [*first.values(), _plus_minus(answers, own["read"], first)]
    if "fault" in own:
        marks += _hunt(answers, own, first)
    measured = measured_of(answers.given.get("measured", ""))
    return GroupMarks(
        own["group"],
        tuple(marks),
        sum(PRICE[name] for name in measured),
        answers.given.get("in our words", ""),
        (*notes, *_problems(answers, own, keys, class_id)),
    )


def _values(answers: Answers, *, mended: bool = False) -> dict[str, float]:
    read = {name: answers.number(name, mended=mended) for name in (MENDED if mended else QUESTION)}
    return {name: one.value for name, one in read.items() if isinstance(one, Given)}


def _fits(value: float, right: Mapping[str, float] | None) -> bool:
    return right is not None and abs(value - right["value"]) <= right["tolerance"]


def first_numbers(
    answers: Answers, rights: Mapping[str, Mapping[str, float]], stated: Mapping[str, float],
    mended: Mapping[str, Mapping[str, float]] = MappingProxyType({}),
) -> dict[str, Mark]:  # fmt: skip
    """The nine numbers as read: each right, following from earlier ones, a known slip, or neither.

    A number that was mended before it was written down is right, too: finding a mistake early costs nothing.
    """
    own = _values(answers)
    out: dict[str, Mark] = {}
    known = {name: one["value"] for name, one in rights.items()} | dict(stated)
    for name in QUESTION:
        earned = [one for one in INPUTS.get(name, ()) if one in out and out[one].points > 0]
        out[name] = _number(name, answers, own, rights.get(name), known, len(earned))
        value = own.get(name)
        early = name in rights and name != "carbon found" and value is not None and _fits(value, mended.get(name))
        if early and out[name].points < 1:
            told = f"right as mended; as read: {out[name].says}"
            out[name] = Mark(name, answers.given[name], 1, 1, Kind.RIGHT, told)
    return out


def _number(
    name: str,
    answers: Answers,
    own: Mapping[str, float],
    right: Mapping[str, float] | None,
    known: Mapping[str, float],
    earned: int,
) -> Mark:
    given, read = answers.given.get(name, ""), answers.number(name)
    if right is None:
        return Mark(name, given, 0, 0, Kind.NOT_ASKED, "these readings cannot tell it")
    told = "the readings give " + " ± ".join(rounded(right["value"], right["tolerance"])) + f" {QUESTION[name].unit}"
    if read is None:
        return Mark(name, given, 0, 1, Kind.EMPTY, told)
    if isinstance(read, InputError):
        return Mark(name, given, 0, 1, Kind.UNREADABLE, f"{read.met}; {told}")
    needed = INPUTS.get(name, ())
    traced = not needed or earned >= max(1, len(needed) - 1)
    if name == "carbon found" and not traced:
        return Mark(
            name, given, 0, 1, Kind.OTHER, f"three of the four numbers that it is worked from must stand; {told}"
        )
    if name != "carbon found" and _fits(read.value, right):
        return Mark(name, given, 1, 1, Kind.RIGHT)
    at = followed(name, own, known["litres"])
    if traced and at is not None and abs(read.value - at) <= FOLLOWS * abs(at):
        good = _fits(read.value, right)
        return Mark(name, given, 1, 1, Kind.RIGHT if good else Kind.FOLLOWS,
                    "" if good else f"it follows from your own earlier numbers; {told}")  # fmt: skip
    if (slip := slip_of(name, read.value, known)) is not None:
        return Mark(name, given, PARTLY, 1, Kind.SLIP, f"it looks like {slip.says}; look at: {slip.look}; {told}")
    return Mark(name, given, 0, 1, Kind.OTHER, told)


def _plus_minus(answers: Answers, rights: Mapping[str, Any], first: Mapping[str, Mark]) -> Mark:
    if not {"sample", "gas made"} & set(rights):
        return Mark("a sensible ±", "", 0, 0, Kind.NOT_ASKED, "these readings cannot tell it")
    for name in ("sample", "gas made"):
        read, right = answers.number(name), rights.get(name)
        if isinstance(read, Given) and read.u is not None and right is not None:
            said = f"of {name}: the readings leave ± {right['u']:.2g} {QUESTION[name].unit}"
            good = first[name].points > 0 and right["u"] / 3 <= read.u <= 4 * right["u"]
            return Mark("a sensible ±", f"± {read.u:g}", float(good), 1, Kind.RIGHT if good else Kind.OTHER, said)
    return Mark("a sensible ±", "", 0, 1, Kind.EMPTY, "no ± stands beside the sample or the gas")


def _hunt(answers: Answers, own: Mapping[str, Any], first: Mapping[str, Mark]) -> list[Mark]:
    fault, said = own["fault"], answers.given.get("mistake", "")
    told = f"{fault}: {own['says']}" if own["says"] else "nothing was wrong"
    try:
        named = mistake_named(said)
        kind = Kind.EMPTY if named is None else Kind.RIGHT if named == fault else Kind.OTHER
    except InputError as problem:
        kind, told = Kind.UNREADABLE, f"{problem.met}; {told}"
    found = kind is Kind.RIGHT
    out = [Mark("mistake", said, MISTAKE * found, MISTAKE, kind, told), _settled(answers, fault, found)]
    changes = fault in MISHAP and MISHAP[fault].where == "readings"
    return [*out, *(_mended(answers, own, first) if changes else _left_alone(answers, own, first, found))]


def _settled(answers: Answers, fault: str, found: bool) -> Mark:
    said = answers.given.get("settled by", "")
    settled, bought = measured_of(said), measured_of(answers.given.get("measured", ""))
    good = tuple(MISHAP[fault].settled_by) if fault in MISHAP else (bought or settled)
    right = found and bool(set(settled) & set(good))
    kind = Kind.EMPTY if not said.strip() else Kind.RIGHT if right else Kind.OTHER
    why = f"{' or '.join(good)} would have" if good and not right else ""
    return Mark("settled by", said, SETTLED * right, SETTLED, kind, why)


def _mended(answers: Answers, own: Mapping[str, Any], first: Mapping[str, Mark]) -> list[Mark]:
    """The number that the mistake spoilt, and the carbon with it."""
    name = MISHAP[own["fault"]].mends
    right, given, read = own["mended"][name], answers.mended.get(name, ""), answers.number(name, mended=True)
    early = answers.number(name) if name in QUESTION else None
    if read is None and isinstance(early, Given) and _fits(early.value, right):
        given, read = answers.given[name], early  # mended before it was written down
    unit = MENDED[name].unit
    told = f"mended, {name} is " + " ± ".join(rounded(right["value"], right["tolerance"])) + f" {unit}"
    good = isinstance(read, Given) and _fits(read.value, right)
    was = own["read"].get(name)
    kind = Kind.EMPTY if read is None else Kind.RIGHT if good else Kind.OTHER
    if isinstance(read, InputError):
        kind, told = Kind.UNREADABLE, f"{read.met}; {told}"
    elif isinstance(read, Given) and not good and was is not None and _fits(read.value, was):
        told = f"this is what the spoilt readings give; {told}"
    out = [Mark(AGAIN, given, MENDED_POINTS * good, MENDED_POINTS, kind, "" if good else told)]
    return [*out, _carbon_again(answers, own, first, good)]


def _left_alone(answers: Answers, own: Mapping[str, Any], first: Mapping[str, Mark], found: bool) -> list[Mark]:
    """Where the readings were right: none may be altered, and the number that the sheet spoilt must be right."""
    fault = own["fault"]
    before, after = _values(answers), _values(answers, mended=True)
    altered = [name for name, value in after.items() if name in own["read"] and not _fits(value, own["read"][name])
               and abs(value - before.get(name, value * 2)) > FOLLOWS * abs(value)]  # fmt: skip
    shows = first[MISHAP[fault].mends] if fault in MISHAP else None
    good = found and not altered and (shows is None or shows.points == 1)
    why = (
        f"altered without reason: {', '.join(altered)}" if altered
        else "" if good
        else "the readings were right; name the mistake, and work the number yourself"
    )  # fmt: skip
    kind = Kind.RIGHT if good else Kind.OTHER
    out = [Mark(AGAIN, "; ".join(answers.mended.values()).strip("; "), MENDED_POINTS * good, MENDED_POINTS, kind, why)]
    return [*out, _carbon_again(answers, own, first, good)]


def _carbon_again(answers: Answers, own: Mapping[str, Any], first: Mapping[str, Mark], good: bool) -> Mark:
    """The carbon found by the group's own mended numbers; where nothing changed the first answer stands for it."""
    name = "carbon found"
    own_numbers = _values(answers) | {n: v for n, v in _values(answers, mended=True).items() if n != FIRST_SAMPLE.name}
    again = _values(answers, mended=True).get(name, _values(answers).get(name))
    at = followed(name, {n: v for n, v in own_numbers.items() if n != name}, own["stated"]["litres"])
    enough = sum(first[n].points > 0 for n in INPUTS[name] if n in first) >= 2
    right = good and enough and again is not None and at is not None and abs(again - at) <= FOLLOWS * abs(at)
    given = answers.mended.get(name, "") or answers.given.get(name, "")
    kind = Kind.EMPTY if again is None else Kind.RIGHT if right else Kind.OTHER
    told = "" if right or at is None else f"by your own mended numbers it is {at:.1f} %"
    return Mark("carbon found, mended", given, MENDED_CARBON * right, MENDED_CARBON, kind, told)


def _problems(answers: Answers, own: Mapping[str, Any], keys: Mapping[str, Any], class_id: str) -> list[str]:
    """What is to be said of a file as a whole: another class, another group's numbers, nothing answered."""
    out = list(answers.notes[:3])
    if answers.class_id not in ("", class_id):
        out.append(f"the file is of class {answers.class_id[:20]!r}, not of {class_id}")
    if answers.group.lstrip("0") not in ("", own["group"].lstrip("0")):
        out.append(f"the file says it is group {answers.group[:10]!r}")
    if (twin := _another(answers, own, keys)) is not None:
        out.append(f"the numbers are those of group {twin}'s readings")
    return out


def _another(answers: Answers, own: Mapping[str, Any], keys: Mapping[str, Any]) -> str | None:
    """The other group whose readings these numbers fit, where they don't fit the group's own."""
    read = _values(answers)

    def fitting(one: Mapping[str, Any]) -> int:
        return sum(_fits(value, one["read"].get(name)) for name, value in read.items())

    best = max((one for one in keys.values() if one is not own), key=fitting, default=None)
    return best["group"] if best is not None and fitting(best) >= max(ANOTHERS, fitting(own) + 3) else None


def _how_it_went(name: str, marks: list[Mark]) -> Line:
    kinds: dict[str, int] = {}
    for one in marks:
        kinds[str(one.kind)] = kinds.get(str(one.kind), 0) + 1
    points, of = sum(m.points for m in marks), sum(m.of for m in marks)
    return Line(name, f"{points:g}/{of:g}", "", ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items())))


def _as_text(cell: str) -> str:
    """No cell that a student typed may act as a formula in a spreadsheet."""
    return "'" + cell if cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell
