"""A group's folder in the lesson: its readings, its sheet, its answers and the measurements that it may still make."""

import base64
import csv
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import EllipsisType
from typing import Any, Final

from fermkit.basis.checks import one_of
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, nominal
from fermkit.run.records import Run, read_run
from fermkit.teach.answers import (
    FILE,
    LOOSE,
    QUESTION,
    WORDS,
    as_asked,
    blank_answers,
    fault_named,
    noted,
    read_answers,
    slip_of,
)
from fermkit.teach.mishaps import MEASUREMENT_NAMES, MEASUREMENTS, WRONG_NAME_MIN, Envelope
from fermkit.teach.secrecy import lock, opens

LOCKS: Final = "locks.json"
SHEET: Final = "sheet.csv"
CHECK_SAMPLE: Final = "check_sample.csv"
ENVELOPES: Final = "envelopes.json"
RUN: Final = "run"
OPEN: Final = "still open. Fill in the blank and run the cell again."


@dataclass(frozen=True, repr=False)
class Checked(Written):
    """What the check says of an answer: right, or what kind of slip it looks like. Never the value."""

    question: str
    right: bool | None
    kind: str
    says: str

    def page(self) -> Page:
        """One sentence."""
        return Page(f"{self.question}: {self.says}")


@dataclass(frozen=True, repr=False)
class Menu(Written):
    """The measurements on offer, and the minutes spent so far."""

    minutes_spent: int

    def page(self) -> Page:
        """One line a measurement."""
        lines = [Line(item.name, str(item.minutes), "min", item.does) for item in MEASUREMENTS]
        return Page("What you may still measure", lines, [f"Spent so far: {self.minutes_spent} min."])


@dataclass(frozen=True, repr=False)
class GroupFolder(Written):
    """One group's folder.

    Attributes
    ----------
    path : Path
    group, class_id : str
    """

    path: Path
    group: str
    class_id: str

    @property
    def run(self) -> Run:
        """The group's run, to be analysed."""
        return read_run(self.path / RUN)

    def sheet(self) -> dict[str, float]:
        """The sheet that somebody of the group has worked out by hand: name → grams."""
        with (self.path / SHEET).open(encoding="utf-8", newline="") as lines:
            return {row["what"]: float(row["grams"]) for row in csv.DictReader(lines)}

    def check(self, question: str, answer: Any) -> Checked:
        """Note an answer down, and say whether it is right or what kind of slip it looks like.

        Parameters
        ----------
        question : str
            A name from the hand-out, such as "gas made" or "fault".
        answer : float, ufloat or str
            A number in the unit asked for, or a text as one would write it. ``...`` is a blank left open.

        Returns
        -------
        Checked
            The value is not in the folder: only a slow, salted hash of it (see `fermkit.teach.secrecy`).
        """
        one_of(question, (*QUESTION, *WORDS), "question")
        if isinstance(answer, EllipsisType) or answer is None:
            return Checked(question, None, "open", OPEN)
        if question in WORDS:
            return self._check_word(question, str(answer))
        asked = QUESTION[question]
        text = answer if isinstance(answer, str) else f"{nominal(answer):.6g}"
        try:
            value = as_asked(text, asked)
        except InputError as problem:
            return Checked(question, False, "unit", f"not understood: {problem.met}. Needed: {problem.needed}.")
        if value is None:
            return Checked(question, None, "open", OPEN)
        self._note(question, f"{value:.6g}")
        made = _read_json(self.path / LOCKS)["numbers"].get(question)
        if made is None:
            return Checked(question, None, "not asked", "noted; these readings cannot tell it, so it is not checked.")
        if opens(made, value):
            return Checked(question, True, "right", f"right, within ± {made['width'] / 2:.2g} {asked.unit}.")
        slip = slip_of(value, lambda x: opens(made, x), loosely_known=made["width"] / 2 > LOOSE * abs(value))
        says = "not right." if slip is None else f"not right yet. It looks like {slip.says}."
        return Checked(question, False, "other" if slip is None else slip.kind, says)

    def measure(self, measurement: Any) -> Envelope | Checked:
        """Make one more measurement from the list: its minutes are spent, its result is shown.

        Parameters
        ----------
        measurement : str
            A name from `menu`; ``...`` is a blank left open.

        Returns
        -------
        Envelope
        """
        if isinstance(measurement, EllipsisType):
            return Checked("measure", None, "open", OPEN)
        one_of(measurement, MEASUREMENT_NAMES, "measurement")
        packed = _read_json(self.path / ENVELOPES)[measurement]
        found = json.loads(base64.b64decode(packed))
        minutes = next(item.minutes for item in MEASUREMENTS if item.name == measurement)
        made = self.measured
        if measurement not in made:
            self._note("measured", "; ".join((*made, measurement)))
        lines = tuple(Line(name, value, unit) for name, value, unit in found["lines"])
        return Envelope(measurement, minutes, lines, found["settles"])

    @property
    def given(self) -> Mapping[str, str]:
        """What stands in the answers file so far; nothing where there is none yet."""
        return read_answers(self.path / FILE).given if (self.path / FILE).exists() else {}

    @property
    def measured(self) -> tuple[str, ...]:
        """Measurements made so far."""
        said = self.given.get("measured", "")
        return tuple(name for name in (part.strip() for part in said.split(";")) if name in MEASUREMENT_NAMES)

    @property
    def minutes_spent(self) -> int:
        """Minutes of measurements made and of wrong names given."""
        wrong = _count(self.given.get("wrong names", ""))
        return sum(item.minutes for item in MEASUREMENTS if item.name in self.measured) + WRONG_NAME_MIN * wrong

    def menu(self) -> Menu:
        """Measurements that may still be made, with their prices in minutes."""
        return Menu(self.minutes_spent)

    def page(self) -> Page:
        """Which group, and how far it is."""
        given = self.given
        done = sum(bool(given.get(name)) for name in (*QUESTION, *WORDS))
        lines = [
            Line("answers noted", f"{done} of {len(QUESTION) + len(WORDS)}"),
            Line("spent on measurements", f"{self.minutes_spent}", "min"),
        ]
        return Page(f"Group {self.group}", lines, [f"The answers are kept in {FILE}."])

    def _check_word(self, question: str, answer: str) -> Checked:
        try:
            said = fault_named(answer) if question == "fault" else answer.strip().lower()
        except InputError as problem:
            return Checked(question, False, "unit", f"not understood: {problem.met}. Needed: {problem.needed}.")
        if not said:
            return Checked(question, None, "open", OPEN)
        if question == "settled by":
            one_of(said, MEASUREMENT_NAMES, "measurement")
            made = said in self.measured
            self._note(question, said)
            return Checked(
                question, None, "noted", "noted." if made else "noted, but you have not made this measurement."
            )
        self._note(question, said)
        locks = _read_json(self.path / LOCKS)["fault"]
        if lock(said, bytes.fromhex(locks["salt"])) == locks["hash"]:
            return Checked(question, True, "right", "right. Now say what settled it.")
        wrong = _count(self.given.get("wrong names", "")) + 1
        self._note("wrong names", str(wrong))
        return Checked(
            question, False, "other", f"not this one. A wrong name costs {WRONG_NAME_MIN} min; measure first."
        )

    def _note(self, name: str, answer: str) -> None:
        if not (self.path / FILE).exists():
            (self.path / FILE).write_text(blank_answers(self.class_id, self.group), encoding="utf-8")
        noted(self.path / FILE, name, answer)
        noted(self.path / FILE, "readings", readings_code(self.path / RUN))


def open_group(folder: str | Path) -> GroupFolder:
    """Open a group's folder.

    Parameters
    ----------
    folder : str or Path
        With run/, sheet.csv, answers.txt and the rest, as `make_class` wrote it.

    Returns
    -------
    GroupFolder

    Raises
    ------
    InputError
        If it is no group's folder.
    """
    path = Path(folder)
    if not (path / LOCKS).is_file():
        raise InputError(
            f"{str(folder)!r} is no group's folder: it has no {LOCKS}",
            "a folder that your teacher made, such as group_03",
            "write its name, as text, between the quotes",
        )
    about = _read_json(path / LOCKS)
    return GroupFolder(path, str(about["group"]), str(about["class"]))


def readings_code(run: Path) -> str:
    """Eight letters that tell one run folder's readings from another's."""
    total = hashlib.sha256()
    for place in sorted(run.glob("*")):
        if place.suffix in (".toml", ".csv"):
            total.update(place.name.encode() + b"\x00" + place.read_bytes().replace(b"\r\n", b"\n") + b"\x00")
    return total.hexdigest()[:8]


def _count(text: str) -> int:
    return min(int(text.lstrip("0")[:3] or "0"), 99) if text.isascii() and text.isdigit() else 0


def _read_json(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as problem:
        raise InputError(
            f"{path.name} cannot be read ({type(problem).__name__})", "the file as your teacher made it", "copy it anew"
        ) from None
