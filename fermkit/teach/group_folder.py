"""A group's folder in the lesson, from a notebook: its readings, the numbers of its first sheet, its answers."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from fermkit.basis.checks import one_of
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, nominal, rounded, uncertainty
from fermkit.run.records import Run, read_run
from fermkit.teach.answers import (
    FILE,
    MENDED,
    QUESTION,
    SHARED,
    WORDS,
    Answers,
    Given,
    as_asked,
    blank_answers,
    mistake_named,
    noted,
    read_answers,
)
from fermkit.teach.mishaps import MEASUREMENTS, RULES

ABOUT: Final = "group.json"
RUN: Final = "run"


@dataclass(frozen=True, repr=False)
class Noted(Written):
    """What was written down, as it was understood. Whether it is right is said by the teacher's marks."""

    question: str
    says: str

    def page(self) -> Page:
        """One sentence."""
        return Page(f"{self.question}: {self.says}")


@dataclass(frozen=True, repr=False)
class GroupFolder(Written):
    """One group's folder.

    Attributes
    ----------
    path : Path
    group, class_id : str
    rules : mapping
        The numbers that the group's first sheet was worked with.
    shared : mapping
        ``dilution`` and ``volts`` of the sample that every group was given.
    """

    path: Path
    group: str
    class_id: str
    rules: Mapping[str, float]
    shared: Mapping[str, Any]

    @property
    def run(self) -> Run:
        """The group's run, to be analysed."""
        return read_run(self.path / RUN)

    @property
    def answers(self) -> Answers:
        """What stands in the answers file so far; nothing where there is none yet."""
        return read_answers(self.path / FILE) if (self.path / FILE).exists() else Answers()

    def sheet(self) -> Page:
        """The numbers that somebody of the group has worked with: one may be wrong."""
        lines = [Line(RULES[of][0], f"{used:.4g}", RULES[of][2], f"for: {of}") for of, used in self.rules.items()]
        return Page(f"First sheet of group {self.group}: the numbers it was worked with", lines)

    def menu(self) -> Page:
        """Measurements that may still be made; the teacher sells their results for minutes."""
        lines = [Line(item.name, str(item.minutes), "min", item.does) for item in MEASUREMENTS]
        return Page("What you may still measure", lines, ["Ask at the teacher's desk for the slip of paper."])

    def note(self, question: str, answer: Any) -> Noted:
        """Write an answer into the answers file; an empty one changes nothing.

        Parameters
        ----------
        question : str
            A name from the hand-out, such as "gas made" or "mistake"; "mended alcohol" for a number that changed once
            the mistake was found. What was read before stays as it stands.
        answer : float, ufloat or str
            A number in the unit asked for, or a text as one would write it: ``"1.16 ± 0.02 mol"``.

        Returns
        -------
        Noted
            As it was understood. Nothing in the folder knows whether it is right.
        """
        mended = question.startswith("mended ")
        name = question.removeprefix("mended ")
        one_of(question, (*QUESTION, *SHARED, *WORDS, *(f"mended {one}" for one in MENDED)), "question")
        text = answer.strip() if isinstance(answer, str) else _written(answer)
        if not text:
            return Noted(question, "still open. Write your answer between the quotes and run the cell again.")
        if name in WORDS:
            if name == "mistake":
                text = mistake_named(text) or text
            self._write(name, text)
            return Noted(question, f"noted: {text}")
        asked = MENDED[name] if mended else QUESTION.get(name, QUESTION["sample"])
        found = as_asked(text, asked)
        self._write(name, text, mended=mended)
        return Noted(question, f"noted: {_said(found)} {asked.unit}")

    def _write(self, name: str, text: str, *, mended: bool = False) -> None:
        noted(self.path / FILE, name, text, mended=mended, blank=blank_answers(self.class_id, self.group))

    def page(self) -> Page:
        """Which group, and how far it is."""
        return Page(
            f"Group {self.group}",
            [Line("answers noted", f"{self.answers.filled}")],
            [f"The answers are kept in {FILE}: hand that file in."],
        )


def _written(answer: Any) -> str:
    value, u = nominal(answer), uncertainty(answer)
    return f"{value:.6g}" if not u > 0 else " ± ".join(rounded(value, u))


def _said(found: Given | None) -> str:
    if found is None:
        return "nothing"
    return f"{found.value:.6g}" if found.u is None else f"{found.value:.6g} ± {found.u:.2g}"


def open_group(folder: str | Path) -> GroupFolder:
    """Open a group's folder.

    Parameters
    ----------
    folder : str or Path
        With run/, group.json and answers.txt, as `make_class` wrote it.

    Returns
    -------
    GroupFolder

    Raises
    ------
    InputError
        If it is no group's folder.
    """
    path = Path(folder)
    if not (path / ABOUT).is_file():
        raise InputError(
            f"{str(folder)!r} is no group's folder: it has no {ABOUT}",
            "a folder that your teacher made, such as group_03",
            "write its name, as text, between the quotes",
        )
    try:
        about = json.loads((path / ABOUT).read_text(encoding="utf-8"))
        return GroupFolder(path, str(about["group"]), str(about["class"]), about["rules"], about["shared"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as problem:
        raise InputError(
            f"{ABOUT} cannot be read ({type(problem).__name__})", "the file as your teacher made it", "copy it anew"
        ) from None


def group_folders(folder: Path) -> tuple[list[Path], list[str]]:
    """The groups' folders of a class in order, and the names of folders that look like one and are none."""
    try:
        there = sorted(place for place in folder.iterdir() if place.name.startswith("group_") and place.is_dir())
    except OSError as problem:
        raise InputError(
            f"{str(folder)!r} cannot be opened: {problem.strerror}", "the folder of a class", "check the name"
        ) from None
    ours = [place for place in there if re.fullmatch(r"group_\d{2}", place.name) and not place.is_symlink()]
    return ours, [place.name for place in there if place not in ours]


def handed_in(
    folder: Path, also: str, sheets: Mapping[str, Answers] = MappingProxyType({})
) -> tuple[dict[str, tuple[Answers, tuple[str, ...]]], list[str]]:
    """Answers of every group with what is to be said of them, from the groups' folders and from files handed in.

    Parameters
    ----------
    folder : Path
        Of the class.
    also : str
        A folder in it; its text files say themselves whose they are.
    sheets : mapping of Answers
        Those that stand elsewhere already: group → answers.

    Returns
    -------
    (dict, list)
        Group → answers and notes; and what could be given to no group.
    """
    found: dict[str, list[Answers]] = {group: [answers] for group, answers in sheets.items()}
    notes: dict[str, list[str]] = {}
    places, strangers = group_folders(folder)
    lost = [f"{name} is no group's folder, and was left out" for name in strangers]
    files = [(place / FILE, place.name.removeprefix("group_")) for place in places]
    extra = folder / also
    files += [(path, "") for path in (sorted(extra.glob("*.txt")) if extra.is_dir() else [])]
    for path, group in files:
        try:
            answers = read_answers(path)
        except InputError as problem:
            (notes.setdefault(group, []) if group else lost).append(f"{path.name}: {problem.met}")
            continue
        whose = group or (answers.group.strip().zfill(2) if answers.group.strip() else "")
        if not re.fullmatch(r"\d{2}", whose):
            lost.append(f"{path.name} does not say whose it is")
            continue
        found.setdefault(whose, []).append(answers)
    out = {}
    for group in sorted({*found, *notes}):
        several = sorted(found.get(group, [Answers()]), key=lambda one: -one.filled)
        said = notes.get(group, []) if not several[0].filled else []
        if len([one for one in several if one.filled]) > 1:
            said = [*said, "two files with answers; the fuller one counts"]
        out[group] = several[0], tuple(said)
    return out, lost
