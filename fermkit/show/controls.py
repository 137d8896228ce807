"""The controls of a panel, told without a widget: a name, a label with the unit, what is allowed.

Each control accepts what a person gives it, or refuses it in words. `panel` makes the widgets.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fermkit.basis.checks import between, one_of
from fermkit.basis.errors import InputError

NUMBER = re.compile(
    r"""(?P<sign>[+-]?)
    (?P<whole>\d{1,3}(?:[ ]\d{3})+ | \d{1,3}(?:\.\d{3})+(?=,) | \d{1,3}(?:,\d{3})+(?=\.) | \d*)
    (?:[.,](?P<part>\d*))?  (?P<power>[eE][+-]?\d+)?  (?:\s*/\s*(?P<below>[1-9]\d*))?
    \s*(?P<unit>[^\d.,+-]*)""",
    re.VERBOSE,
)


def read_number(text: str, unit: str = "") -> float:
    """A number as people write it: decimal comma or point, a fraction, perhaps its unit.

    Parameters
    ----------
    text : str
        For example ``"1,5"``, ``"1.5 mL"``, ``"1.234,5"``, ``"1/3"``, ``"−2e-3"``.
    unit : str
        The unit that is meant; a text with another unit is refused, never converted.

    Returns
    -------
    float

    Raises
    ------
    InputError
        Where no number, more than one meaning, or another unit is read.

    Examples
    --------
    >>> read_number("1,5"), read_number("1.234,5"), read_number("2/3"), read_number("−4 °C", "°C")
    (1.5, 1234.5, 0.6667, -4.0)
    """
    plain = re.sub(r"[\u202f\u2009\xa0]", " ", text.strip()).replace("−", "-")
    match = NUMBER.fullmatch(plain)
    digits = match and (match["whole"] or "") + (match["part"] or "")
    if not match or not digits:
        raise InputError(
            f"{text.strip()!r} can't be read as one number",
            "one number, with a decimal point or a decimal comma",
            "write for example 1.5 or 1,5",
        )
    if match["unit"].strip() not in ("", unit):
        raise InputError(
            f"{text.strip()!r} is in {match['unit'].strip()!r}",
            f"a number in {unit}" if unit else "a number without a unit",
            "convert it first",
        )
    whole = re.sub(r"[., ]", "", match["whole"])
    number = float(f"{match['sign']}{whole or 0}.{match['part'] or 0}{match['power'] or ''}")
    return number / float(match["below"] or 1)


@dataclass(frozen=True)
class Slider:
    """A number to be slid or typed; the unit stands in the label, after the last comma.

    ``idle(values)`` says why it does nothing at these values of all controls, or nothing where it does something.
    """

    name: str
    label: str
    low: float
    high: float
    step: float
    value: float
    idle: Callable[[Mapping[str, Any]], str] = lambda values: ""

    @property
    def unit(self) -> str:
        """The unit, or nothing."""
        return self.label.rpartition(", ")[2] if ", " in self.label else ""

    def accept(self, value: Any) -> float:
        """The value, if it lies on the scale."""
        number = read_number(value, self.unit) if isinstance(value, str) else float(value)
        between(number, self.low, self.high, self.label, do="choose a value on the slider's scale")
        return number

    def nearest_step(self, value: float) -> float:
        """Where the handle stands for a value between two steps."""
        return min(self.high, float(f"{self.low + round((value - self.low) / self.step) * self.step:.12g}"))


@dataclass(frozen=True)
class Choice:
    """One of a few words."""

    name: str
    label: str
    words: Sequence[str]
    value: str

    def accept(self, value: Any) -> str:
        """The word, if it is on the list."""
        one_of(value, self.words, self.label)
        return str(value)


@dataclass(frozen=True)
class Paste:
    """A text to type or paste; more than one line gives a box of that height."""

    name: str
    label: str
    value: str = ""
    lines: int = 1

    def accept(self, value: Any) -> str:
        """Any text."""
        return str(value)


@dataclass(frozen=True)
class Action:
    """A button: `do(**values)` does its work and may answer with a sentence; then all is drawn anew."""

    name: str
    label: str
    do: Callable[..., str | None]


Control = Slider | Choice | Paste | Action
