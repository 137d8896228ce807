"""What a group is asked, and its answers as they were typed: numbers, ± and words, in a plain text file."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from fermkit.basis.errors import InputError
from fermkit.basis.files import alone, write_whole
from fermkit.basis.quantities import BY_VOLUME, conversion, number
from fermkit.teach.mishaps import EVERYDAY, MEASUREMENT_NAMES, NAMES, NONE

FILE: Final = "answers.txt"
LARGEST: Final = 20_000
"""Bytes of an answers file that are read."""

LONGEST: Final = 500
"""Characters of one answer that are kept."""


@dataclass(frozen=True)
class Question:
    """One number that is asked: its name in the file, its unit, and what it means."""

    name: str
    unit: str
    asks: str


QUESTIONS: Final = (
    Question("gas made", "mol", "CO2 made from first to last reading, with what the liquid still holds"),
    Question("largest rate", "mmol/h", "slope of the straight line along the steepest part of the gas curve"),
    Question("lag", "h", "time at which that line meets the starting level"),
    Question("sugar", "g", "sugar used, as hexose (C6H12O6)"),
    Question("CO2 expected", "g", "CO2 if all of that sugar became alcohol and CO2, and nothing else"),
    Question("sample", "% vol", "alcohol in the last sample, undiluted, from your standards; with its ±"),
    Question("alcohol", "g", "alcohol made in the whole jar"),
    Question("yeast", "g", "dry yeast made, without what was put in and without solids of the molasses"),
    Question("carbon found", "%", "carbon of alcohol, CO2 and yeast together, of the carbon of the sugar"),
)
QUESTION: Final = {question.name: question for question in QUESTIONS}
FIRST_SAMPLE: Final = Question("first sample", "h", "time at which the first sample was taken, by the gas clock")
MENDED: Final = {
    name: QUESTION.get(name, FIRST_SAMPLE) for name in ("gas made", "alcohol", "yeast", "first sample", "carbon found")
}
"""What is asked a second time, after the mistake was found: only where it changes."""

WORDS: Final = ("mistake", "settled by", "measured", "in our words")
SHARED: Final = ("shared 1", "shared 2")
"""Two results of the sample that every group was given [% vol]."""


@dataclass(frozen=True)
class Given:
    """A number as it was given, in the unit asked for; `u` is None where no ± stands beside it."""

    value: float
    u: float | None = None


_UNSIGNED = r"\d[\d.,'  ]*(?:[eE][+-]?\d+)?"
_ANSWER = re.compile(
    rf"(?:≈|~|=|ca\.?|about)? ?\(?([+-]?{_UNSIGNED})(?: ?\((\d{{1,3}})\))? ?([^\d±()+]{{0,24}}?)"
    rf" ?(?:(?:±|\+/-|\+-) ?({_UNSIGNED})\)? ?([^\d±()]{{0,24}}))?\)?"
)
_ADDED = re.compile(r"(?:^| )(?:of|dry|wet|ethanol|alcohol|sugar|yeast|hexose|CO2|carbon dioxide)\b", re.IGNORECASE)


def as_asked(text: str, question: Question) -> Given | None:
    """An answer as typed, in the unit that is asked for; None where nothing stands.

    Decimal commas, ± in two hands, units, brackets, a full stop and a word for the stuff are fine.

    Raises
    ------
    InputError
        If it is no number, or its unit is of another kind.

    Examples
    --------
    >>> as_asked("(1,157 ± 0,014) mol", QUESTION["gas made"])
    Given(value=1.157, u=0.014)
    >>> as_asked("75(5) mmol h⁻¹.", QUESTION["largest rate"]), as_asked("11.9 g dry", QUESTION["yeast"])
    (Given(value=75.0, u=5.0), Given(value=11.9, u=None))
    """
    plain = re.sub(r"\s+", " ", text.replace("−", "-").replace("⁻¹", "-1").replace("₂", "2")).strip().rstrip(".;,")
    if plain in ("", "…", "?", "-"):
        return None
    plain = re.sub(r" ?(?:/ ?hour|per hour|h\^?-1|hour-1)\b", "/h", plain)
    found = _ANSWER.fullmatch(re.sub(r"\s+", " ", _ADDED.sub("", plain)).strip())
    if len(plain) > 80 or found is None:
        raise InputError(
            f"{question.name} is {plain[:40]!r}", f"one number in {question.unit}", "write the number alone"
        )
    first, last_digits, unit, half, half_unit = found.groups()
    factor, offset = _into(question, (unit.strip(" .") or (half_unit or "").strip(" .")), plain)
    value = _one_number(first, question)
    u = None if half is None else _one_number(half, question)
    if last_digits:
        decimals = re.search(r"[.,](\d+)$", first.strip())
        u = int(last_digits) * 10.0 ** -(len(decimals[1]) if decimals else 0)
    if u is not None and half_unit and half_unit.strip() == "%" and question.unit != "%":
        u = abs(value) * u / 100
    return Given(factor * value + offset, None if u is None else factor * u)


def _into(question: Question, unit: str, plain: str) -> tuple[float, float]:
    if not unit or unit == question.unit or (question.unit == "% vol" and unit == "%"):
        return 1.0, 0.0
    by_volume, asked = (text.replace(" ", "").lower() in BY_VOLUME for text in (unit, question.unit))
    if by_volume and asked:
        return 1.0, 0.0
    try:
        return conversion(unit, question.unit)
    except InputError:
        raise InputError(
            f"{question.name} is {plain!r}, in another kind of unit",
            f"a number in {question.unit}",
            "convert it, or mend the unit",
        ) from None


def _one_number(text: str, question: Question) -> float:
    """A number with point or comma. A comma before three digits is a decimal comma: no answer is in thousands."""
    text = text.strip()
    if re.fullmatch(r"[+-]?\d{1,3},\d{3}", text):
        text = text.replace(",", ".")
    try:
        return number(text)
    except InputError as problem:
        raise InputError(f"{question.name}: {problem.met}", problem.needed, problem.do) from None


def mistake_named(text: str) -> str | None:
    """The mistake that a text names, in its own name or in everyday words; None where nothing stands.

    Examples
    --------
    >>> mistake_named("The Leak."), mistake_named("nothing wrong"), mistake_named("our watch was slow")
    ('leak', 'none', 'shifted clock')
    """
    plain = re.sub(r"\s+", " ", re.sub(r"[^a-z0-9% ]", " ", text.lower().replace("₂", "2"))).strip()
    if not plain:
        return None
    exact = [name for name in (*NAMES, NONE) if name.lower() == plain]
    named = exact or [name for name, words in EVERYDAY.items() if re.search(words, plain)]
    if len(named) > 1 and NONE in named:
        named.remove(NONE)
    if len(named) == 1:
        return named[0]
    met = "names several" if named else f"is {text.strip()[:40]!r}"
    raise InputError(f"the mistake {met}", f"one of: {', '.join((*NAMES, NONE))}", "copy the name from the list")


def measured_of(text: str) -> tuple[str, ...]:
    """The measurements that an answer names, in the order of the list."""
    return tuple(name for name in MEASUREMENT_NAMES if name in text.lower())


@dataclass(frozen=True)
class Answers:
    """An answers file as read.

    Attributes
    ----------
    class_id, group : str
        What the file says of itself.
    given, mended : mapping
        Name → text: as read, and as mended.
    notes : tuple of str
        What could not be understood.
    """

    class_id: str = ""
    group: str = ""
    given: Mapping[str, str] = field(default_factory=dict)
    mended: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def number(self, name: str, *, mended: bool = False) -> Given | InputError | None:
        """One numeric answer; None where nothing stands, or the error that says why it cannot be read."""
        said = self.mended if mended else self.given
        question = MENDED[name] if mended else QUESTION.get(name, QUESTION["sample"])
        try:
            return as_asked(said.get(name, ""), question)
        except InputError as problem:
            return problem

    @property
    def filled(self) -> int:
        """How many answers stand in it."""
        return sum(bool(text) for said in (self.given, self.mended) for text in said.values())


def blank_answers(class_id: str, group: str) -> str:
    """An empty answers file."""
    lines = [f"class: {class_id}", f"group: {group}", ""]
    lines += [f"{question.name} [{question.unit}]: " for question in QUESTIONS]
    lines += ["", *(f"{name} [% vol]: " for name in SHARED), "", *(f"{word}: " for word in WORDS), ""]
    lines += [f"mended {name} [{question.unit}]: " for name, question in MENDED.items()]
    return "\n".join([*lines, ""])


def read_answers(path: Path) -> Answers:
    """An answers file, however it was typed.

    Raises
    ------
    InputError
        If the file is missing, is a link, a pipe or a folder, or holds no text.
    """
    try:
        if path.is_symlink() or (path.exists() and not path.is_file()):
            raise InputError(f"{path.name} is no file, but a link, a pipe or a folder", "a short text", "ask for it")
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
    try:
        return answers_from(data.decode("utf-8-sig"))
    except UnicodeDecodeError:  # an older editor's; latin-1 reads any bytes
        return answers_from(data.decode("latin-1"))


def answers_from(text: str) -> Answers:
    """Answers from lines of ``name [unit]: answer``; where a name stands twice, the last one that is filled counts."""
    known = {name.lower(): name for name in ("class", "group", *QUESTION, *SHARED, *WORDS)}
    known |= {f"mended {name}".lower(): name for name in MENDED}
    given: dict[str, str] = {}
    mended: dict[str, str] = {}
    notes = []
    for line in text.splitlines():
        found = re.match(r"\s*([A-Za-z0-9 ]{1,40}?)\s*(?:\[[^\]]*\])?\s*[:=]\s*(.*)", line)
        key = found[1].lower() if found else ""
        if found is None or key not in known:
            notes += [f"a line was not understood: {line.strip()[:50]!r}"] if line.strip() else []
            continue
        into, name = (mended if key.startswith("mended ") else given), known[key]
        answer = found[2].strip().strip("\"'“”")[:LONGEST]
        if into.get(name) and answer and into[name] != answer:
            notes.append(f"{found[1]} is answered twice; the last one counts")
        into[name] = answer or into.get(name, "")
    return Answers(given.pop("class", ""), given.pop("group", ""), given, mended, tuple(notes))


def noted(path: Path, name: str, answer: str, *, mended: bool = False, blank: str = "") -> None:
    """Write one answer into the file, leaving every other line as it stands; two that write at once lose nothing.

    Parameters
    ----------
    path : Path
    name, answer : str
    mended : bool
        Whether it is the number as mended.
    blank : str
        What the file holds where it is not there yet.
    """
    asked = MENDED.get(name) if mended else QUESTION.get(name)
    label = f"mended {name}" if mended else name
    line = f"{label}{f' [{asked.unit}]' if asked else ''}: {' '.join(answer.split())}"
    pattern = re.compile(rf"(?mi)^[ \t]*{re.escape(label)}[ \t]*(?:\[[^\]\n]*\])?[ \t]*[:=].*$")
    with alone(path):
        text = path.read_text(encoding="utf-8-sig", errors="replace") if path.exists() else blank
        there = [found.span() for found in pattern.finditer(text)][-1:]  # where a name stands twice, the last counts
        whole = f"{text[: there[0][0]]}{line}{text[there[0][1] :]}" if there else f"{text.rstrip()}\n{line}\n"
        write_whole(path, whole.encode())
