"""What a group is asked, how its answers stand in a file, and which kind of slip a wrong number looks like."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fermkit.basis.errors import InputError
from fermkit.basis.quantities import BY_VOLUME, conversion, number
from fermkit.matter.composition import molar_mass
from fermkit.teach.mishaps import NAMES, NONE

FILE: Final = "answers.txt"
LARGEST: Final = 20_000
"""Bytes of an answers file that are read."""


@dataclass(frozen=True)
class Question:
    """One thing that is asked: its name in the file, unit, the notebook that asks it, and what it means."""

    name: str
    unit: str
    notebook: int
    asks: str


QUESTIONS: Final = (
    Question("gas made", "mol", 1, "CO2 made from first to last reading, with what the liquid still holds"),
    Question("largest rate", "mmol/h", 1, "largest rate of CO2 on the fitted curve"),
    Question("lag", "h", 1, "time at which the tangent at the steepest point meets the starting level"),
    Question("sugar", "g", 2, "sugar used, as hexose"),
    Question("alcohol", "g", 2, "ethanol made"),
    Question("CO2", "g", 2, "CO2 made"),
    Question("yeast", "g", 2, "dry yeast made, without the inoculum"),
    Question("carbon found", "%", 2, "carbon of alcohol, CO2 and yeast together, of the carbon of the sugar"),
)
QUESTION: Final = {question.name: question for question in QUESTIONS}
WORDS: Final = ("fault", "settled by")
"""Answers that are words."""

_HEXOSE, _SUCROSE = molar_mass("hexose"), molar_mass("sucrose")


@dataclass(frozen=True)
class Slip:
    """A kind of slip, what it may be in words, and what it multiplies the right answer with."""

    kind: str
    says: str
    factor: float


SLIPS: Final = (
    Slip("sign", "the sign: what is used and what is made stand on opposite sides", -1.0),
    Slip("unit", "a unit: a thousand lies between yours and the one asked for", 1000.0),
    Slip("unit", "a unit: a thousand lies between yours and the one asked for", 0.001),
    Slip("unit", "a unit: hours, minutes or seconds", 60.0),
    Slip("unit", "a unit: hours, minutes or seconds", 1 / 60),
    Slip("unit", "a unit: a share or a percentage", 0.01),
    Slip("unit", "a unit: a share or a percentage", 100.0),
    Slip("unit", "a unit: grams and moles", molar_mass("CO2")),
    Slip("unit", "a unit: grams and moles", 1 / molar_mass("CO2")),
    Slip("unit", "a unit: grams and moles", molar_mass("ethanol")),
    Slip("unit", "a unit: grams and moles", 1 / molar_mass("ethanol")),
    Slip("stoichiometry", "stoichiometry: how many moles of product each mole of sugar gives", 1 / 6),
    Slip("stoichiometry", "stoichiometry: how many moles of product each mole of sugar gives", 6.0),
    Slip("stoichiometry", "stoichiometry: how many carbon atoms a molecule brings", 1 / 3),
    Slip("stoichiometry", "stoichiometry: how many carbon atoms a molecule brings", 3.0),
    Slip("unit", "a unit: percent by volume and percent by mass", 1 / 0.789),
    Slip("unit", "a unit: percent by volume and percent by mass", 0.789),
    Slip("factor", "a factor of two", 2.0),
    Slip("factor", "a factor of two", 0.5),
    Slip("factor", "a factor of ten, such as a dilution", 10.0),
    Slip("factor", "a factor of ten, such as a dilution", 0.1),
    Slip("stoichiometry", "stoichiometry: the water that sucrose takes up when it is split", _SUCROSE / (2 * _HEXOSE)),
)
"""Tried in this order; the first that fits is named."""

LOOSE: Final = 0.1
"""Tolerance over value above which an answer is loosely known."""


def slip_of(value: float, fits: Callable[[float], bool], *, loosely_known: bool = False) -> Slip | None:
    """The kind of slip that a wrong number looks like.

    Parameters
    ----------
    value : float
        The wrong answer.
    fits : callable
        Whether a number is right.
    loosely_known : bool
        Where the right answer is known to no better than `LOOSE`, factors between a quarter and four are not named:
        half of all wrong numbers would look like one of them.

    Returns
    -------
    Slip or None
        One guess: a number that is wrong in its own way can look like a slip by chance.

    Examples
    --------
    >>> slip_of(0.2, lambda x: abs(x - 1.2) < 0.02).kind
    'stoichiometry'
    """
    named = (slip for slip in SLIPS if slip.factor < 0 or not (loosely_known and 0.25 < slip.factor < 4))
    return next((slip for slip in named if fits(value / slip.factor)), None)


def as_asked(text: str, question: Question) -> float | None:
    """An answer as typed, in the unit that is asked for; None where nothing stands.

    Decimal commas and units typed in are fine; a unit of the same kind is converted.

    Raises
    ------
    InputError
        If it is no number, or its unit is of another kind.

    Examples
    --------
    >>> as_asked("1,19 mol", QUESTION["gas made"]), as_asked("0,106 mol/h", QUESTION["largest rate"])
    (1.19, 106.0)
    """
    plain = re.sub(r"\s+", " ", re.sub(r"CO[2₂]", "", text.replace("−", "-"))).strip()
    if plain in ("", "...", "…", "?", "-"):
        return None
    found = re.fullmatch(
        r"(?:≈|~|=|ca\.?)? ?([+-]?[\d.,']+(?:[eE][+-]?\d+)?) ?([^\d±]{0,24}?)(?: ?(?:±|\+/-).*)?", plain
    )
    if len(plain) > 80 or found is None:
        raise InputError(
            f"{question.name} is {plain[:40]!r}", f"one number in {question.unit}", "write the number alone"
        )
    value = _one_number(found[1], question)
    unit = re.sub(r" (?:of )?(ethanol|alcohol|sugar|yeast|hexose)$", "", found[2].strip(" .")).removesuffix(" of")
    if not unit or unit == question.unit:
        return value
    if unit.replace(" ", "").lower() in BY_VOLUME:
        raise InputError(
            f"{question.name} is {plain!r}", f"a number in {question.unit}", "work it out from the % by volume"
        )
    try:
        factor, offset = conversion(unit, question.unit)
    except InputError:
        raise InputError(
            f"{question.name} is {plain!r}, in another kind of unit",
            f"a number in {question.unit}",
            "convert it, or mend the unit",
        ) from None
    return factor * value + offset


def _one_number(text: str, question: Question) -> float:
    """A number with point or comma. A comma before three digits is a decimal comma: no answer is in thousands."""
    if re.fullmatch(r"[+-]?\d{1,3},\d{3}", text):
        text = text.replace(",", ".")
    try:
        return number(text)
    except InputError as problem:
        raise InputError(f"{question.name}: {problem.met}", problem.needed, problem.do) from None


def fault_named(text: str) -> str | None:
    """The fault that a text names, None where nothing stands.

    Examples
    --------
    >>> fault_named("The Leak."), fault_named("no fault")
    ('leak', 'none')
    """
    plain = re.sub(r"[^a-z0-9% ]", " ", text.lower())
    plain = re.sub(r"\b(the|a|an|our|it is|it s)\b", " ", plain)
    plain = re.sub(r"\s+", " ", plain).strip()
    if not plain:
        return None
    if plain in ("none", "no fault", "nothing", "no mistake"):
        return NONE
    known = {re.sub(r"[^a-z0-9% ]", " ", name.lower()): name for name in NAMES}
    named = [name for key, name in known.items() if key in plain]
    if len(named) == 1:
        return named[0]
    met = "names several" if named else f"is {text.strip()[:40]!r}"
    raise InputError(f"the fault {met}", f"one of: {', '.join((*NAMES, NONE))}", "copy the name from the hand-out")


@dataclass(frozen=True)
class Answers:
    """An answers file as read: what stands for each name, and what could not be read.

    Attributes
    ----------
    class_id, group, readings : str
        Of which class and group the file says it is, and the code of the run folder that was analysed.
    given : mapping
        Name → text.
    notes : tuple of str
    """

    class_id: str
    group: str
    readings: str
    given: Mapping[str, str]
    notes: tuple[str, ...]


def blank_answers(class_id: str, group: str) -> str:
    """An empty answers file."""
    lines = [f"class: {class_id}", f"group: {group}", "readings: ", ""]
    lines += [f"{question.name} [{question.unit}]: " for question in QUESTIONS]
    return "\n".join([*lines, "", *(f"{word}: " for word in WORDS), "measured: ", "wrong names: 0", ""])


def read_answers(path: Path) -> Answers:
    """An answers file, however it was typed: lines of ``name [unit]: answer``.

    Raises
    ------
    InputError
        If the file is missing, or no text.
    """
    try:
        if path.exists() and (path.is_symlink() or not path.is_file()):
            raise InputError(f"{path.name} is no file, but a link or a folder", "a short text", "ask the group for it")
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except OSError as problem:
        raise InputError(
            f"{path.name} cannot be read: {problem.strerror or problem}", "an answers file", "ask the group for it"
        ) from None
    if len(data) > LARGEST or b"\x00" in data:
        raise InputError(
            f"{path.name} is no answers file ({len(data)} bytes or more)", "a short text", "ask the group for it"
        )
    for encoding in ("utf-8-sig", "cp1252", "latin-1"):
        try:
            text = data.decode(encoding)
            break
        except UnicodeDecodeError:
            continue
    given: dict[str, str] = {}
    notes = []
    names = {
        name.lower(): name for name in ("class", "group", "readings", *QUESTION, *WORDS, "measured", "wrong names")
    }
    for line in text.splitlines():
        found = re.match(r"\s*([A-Za-z0-9 ]{1,40}?)\s*(?:\[[^\]]*\])?\s*[:=]\s*(.*)", line)
        if found is None or found[1].lower() not in names:
            notes += [f"a line was not understood: {line.strip()[:50]!r}"] if line.strip() else []
            continue
        name, answer = names[found[1].lower()], found[2].strip().strip("\"'“”")
        if name in given and given[name] and answer and given[name] != answer:
            notes.append(f"{name} is answered twice; the last one counts")
        given[name] = answer or given.get(name, "")
    about = [given.pop(name, "") for name in ("class", "group", "readings")]
    return Answers(about[0], about[1], about[2], given, tuple(notes))


def noted(path: Path, name: str, answer: str) -> None:
    """Write one answer into the file, leaving every other line as it stands."""
    text = path.read_text(encoding="utf-8-sig", errors="replace") if path.exists() else ""
    unit = f" [{QUESTION[name].unit}]" if name in QUESTION else ""
    line = f"{name}{unit}: {' '.join(answer.split())}"
    pattern = re.compile(rf"(?mi)^[ \t]*{re.escape(name)}[ \t]*(?:\[[^\]\n]*\])?[ \t]*[:=].*$")
    text = (
        pattern.sub(lambda _: line, text, count=1) if pattern.search(text) else text.rstrip("\n") + "\n" + line + "\n"
    )
    path.write_text(text, encoding="utf-8")


def reading_of(given: Mapping[str, str], name: str) -> Any:
    """One numeric answer: a number, None where nothing stands, or the `InputError` that says why it cannot be read."""
    try:
        return as_asked(given.get(name, ""), QUESTION[name])
    except InputError as problem:
        return problem
