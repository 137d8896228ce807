"""How results are put in writing: one list of lines feeds text, HTML and table.

A result makes a `Page` of itself; the `Written` mixin shows that page as lab-book
text (`print`), as HTML in a notebook, and as a DataFrame (`.table()`), so that the
three can never disagree.
"""

import copyreg
import html
import io
import math
import pickle
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Self, TypeAlias

from uncertainties import UFloat

from fermkit.basis.shown import visible

__all__ = [
    "Frame",
    "Line",
    "Number",
    "Numbers",
    "Page",
    "Written",
    "in_percent",
    "in_words",
    "interval",
    "nominal",
    "percent",
    "plus_minus",
    "rounded",
    "uncertainty",
]


REMARK_WIDTH = 98
"""Columns of a remark as printed: a cell of a notebook, or a page of monospaced 9 pt."""


UNKNOWN = "not determined"
"""What is printed for a number that there is not."""

NOISE = 1e-11
"""Below this a number is what rounding leaves of zero, in any unit that is used here."""

PRECISION = 1e-9
"""A ± below this share of its value is rounding, too: no instrument reads ten digits."""


Number: TypeAlias = float | UFloat
"""A plain float, or one that carries its ± with it."""

Numbers: TypeAlias = Any
"""A number, with or without its ±, or an array of plain ones: what a formula takes, and gives back in the same kind."""

Frame: TypeAlias = Any
"""A pandas DataFrame; pandas is not imported before one is made."""


def nominal(value: Any) -> float:
    """The bare value of a number that may carry an uncertainty."""
    return float(getattr(value, "nominal_value", value))


def uncertainty(value: Any) -> float:
    """The standard uncertainty of a number; 0 for a bare one."""
    return float(getattr(value, "std_dev", 0.0))


def rounded(value: float, u: float = 0.0) -> tuple[str, str]:
    """Value and standard uncertainty as text, both cut at the second digit of the uncertainty.

    Parameters
    ----------
    value, u : float
        In the same unit. With ``u`` of zero, or beyond what a computer's number holds, the value is given to four
        digits.

    Returns
    -------
    (str, str)
        The uncertainty's text is empty where there is none.

    Examples
    --------
    >>> rounded(37.43353, 0.2281)
    ('37.43', '0.23')
    >>> rounded(12345.6, 789.0)
    ('12350', '790')
    >>> rounded(0.0, 0.0)
    ('0', '')
    >>> rounded(62.65060240963855, 4.8e-17)
    ('62.65', '')
    """
    if not math.isfinite(value):
        return UNKNOWN, ""
    if not math.isfinite(u):
        return rounded(value)[0], UNKNOWN
    if max(abs(value), u) < NOISE:
        return "0", ""
    if u <= PRECISION * abs(value):
        return _plain(value, 3 - _exponent(value)), ""
    digits = 1 - _exponent(u)
    if _exponent(round(u, digits)) > _exponent(u):  # 0.0996 rounds up to 0.10
        digits -= 1
    return _plain(value, digits), _plain(u, digits)


def _exponent(number: float) -> int:
    return math.floor(math.log10(abs(number))) if number else 0


def _plain(number: float, digits: int) -> str:
    if abs(number) >= 1e7 or (number and digits > 7):
        return f"{number:.{max(1, digits + _exponent(number))}e}"
    text = f"{round(number, digits):.{max(0, digits)}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def plus_minus(value: Any, unit: str = "") -> str:
    """A number, its standard uncertainty and its unit as one text.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> plus_minus(ufloat(37.43353, 0.2281), "mL/h")
    '37.43 ± 0.23 mL/h'
    >>> plus_minus(float("nan"), "h")
    'not determined'
    """
    text, u = rounded(nominal(value), uncertainty(value))
    if text == UNKNOWN:
        return text
    return " ".join(part for part in (f"{text} ± {u}" if u else text, unit) if part)


def percent(fraction: Any) -> str:
    """A share as percent with its uncertainty.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> percent(ufloat(0.931, 0.012))
    '93.1 ± 1.2 %'
    """
    return plus_minus(fraction * 100, "%")


def in_percent(probability: float) -> str:
    """A probability, or a plain share without a ±, in whole percent; the ends are said, not rounded away.

    Examples
    --------
    >>> in_percent(0.891), in_percent(0.042), in_percent(0.003), in_percent(0.998)
    ('89 %', '4.2 %', 'under 1 %', 'over 99 %')
    """
    if not math.isfinite(probability):
        return UNKNOWN
    if 0 < probability < 0.01:
        return "under 1 %"
    if probability > 0.99:
        return "over 99 %"
    return f"{100 * probability:.{0 if probability >= 0.1 else 1}f} %".replace(".0 %", " %")


def interval(low: float, high: float, unit: str = "", level: float = 0.95) -> str:
    """An interval in words; an end that is not finite is called open.

    Examples
    --------
    >>> interval(2.1034, 3.4061, "mL")
    '2.10 to 3.41 mL (95 %)'
    >>> interval(2.1034, float("inf"), "mL")
    'above 2.103 mL, no upper end from these data (95 %)'
    """
    tail = f" ({level * 100:g} %)"
    unit = f" {unit}" if unit else ""
    if math.isfinite(low) and math.isfinite(high):
        wide = high - low > max(NOISE, PRECISION * abs(low))
        if not wide:
            return f"{rounded(low)[0]} to {rounded(high)[0]}{unit}{tail}"
        digits = 1 - _exponent((high - low) / 4)  # about the standard uncertainty
        return f"{_plain(low, digits)} to {_plain(high, digits)}{unit}{tail}"
    if math.isfinite(low):
        return f"above {rounded(low)[0]}{unit}, no upper end from these data{tail}"
    if math.isfinite(high):
        return f"below {rounded(high)[0]}{unit}, no lower end from these data{tail}"
    return f"no interval from these data{tail}"


def in_words(p: float) -> str:
    """How a p-value is said.

    Examples
    --------
    >>> in_words(0.17), in_words(0.0002)
    ('p = 0.17', 'p < 0.001')
    """
    if not math.isfinite(p):
        return "p not determined"
    if p < 0.001:
        return "p < 0.001"
    return f"p = {p:.2f}" if p >= 0.01 else f"p = {p:.3f}"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a page: what it is, its value (with ±, if any), the unit, a note.

    `value` may be a number, a number with uncertainty, or a text; `limits` is an optional
    (low, high) interval at 95 %.
    """

    name: str
    value: Any
    unit: str = ""
    note: str = ""
    limits: tuple[float, float] | None = None

    def cells(self) -> tuple[str, str, str, str]:
        """Name, value ± u, unit, note: as shown."""
        shown = self.value if isinstance(self.value, str) else plus_minus(self.value)
        unit = "" if shown == UNKNOWN else self.unit
        between = interval(*self.limits, self.unit) if self.limits is not None else ""
        return self.name, shown, unit, "; ".join(part for part in (between, self.note) if part)


@dataclass(frozen=True, slots=True)
class Page:
    """A heading, lines, remarks in words, and sub-pages; `alarm` where the heading is bad news."""

    heading: str
    lines: Sequence[Line] = ()
    remarks: Sequence[str] = ()
    parts: Sequence["Page"] = ()
    alarm: bool = False

    def text(self, indent: str = "") -> str:
        """The page as lab-book lines, nothing in it that a terminal could obey."""
        return visible(self._text(indent))

    def _text(self, indent: str) -> str:
        out = [indent + self.heading]
        rows = [line.cells() for line in self.lines]
        if rows:
            out.append("")
            wide = [max(len(row[i]) for row in rows) for i in range(3)]
            for name, value, unit, note in rows:
                line = f"{name:<{wide[0]}}   {value:<{wide[1]}}   {unit:<{wide[2]}}   {note}"
                out.append(f"{indent}  {line.rstrip()}")
        if self.remarks:
            out.append("")
            out += [line for remark in self.remarks for line in _folded(remark, indent + "  ")]
        for part in self.parts:
            out += ["", part._text(indent + "  ")]
        return "\n".join(out)

    def html(self, level: int = 3) -> str:
        """The same page as HTML, every text escaped."""
        esc = html.escape
        out = [f"<section class='fk-page'><h{level}>{esc(self.heading)}</h{level}>"]
        if self.lines:
            out.append("<table><tbody>")
            for name, value, unit, note in (line.cells() for line in self.lines):
                out.append(
                    f"<tr><th scope='row' style='text-align:left'>{esc(name)}</th>"
                    f"<td style='text-align:right'>{esc(value)}</td>"
                    f"<td style='text-align:left'>{esc(unit)}</td>"
                    f"<td style='text-align:left'>{esc(note)}</td></tr>"
                )
            out.append("</tbody></table>")
        out += [f"<p>{esc(remark)}</p>" for remark in self.remarks]
        out += [part.html(min(level + 1, 6)) for part in self.parts]
        out.append("</section>")
        return visible("".join(out))

    def table(self) -> Any:
        """The lines as a pandas DataFrame: name, value, u, unit, low, high, note."""
        import pandas as pd

        rows = []
        for line in self.lines:
            words = isinstance(line.value, str)
            low, high = line.limits or (None, None)
            rows.append(
                {
                    "name": line.name,
                    "value": line.value if words else nominal(line.value),
                    "u": None if words else uncertainty(line.value),
                    "unit": line.unit,
                    "low": low,
                    "high": high,
                    "note": line.note,
                }
            )
        return pd.DataFrame(rows, columns=["name", "value", "u", "unit", "low", "high", "note"])


TIED = "\xa0"
"""A space at which no line is broken: a number stays with its ± and its percent sign."""


def _folded(remark: str, indent: str) -> list[str]:
    """A remark in lines that fit a notebook and a printed page, broken between words."""
    tied = remark.replace(" %", f"{TIED}%").replace(" ± ", f"{TIED}±{TIED}")
    return [
        folded.replace(TIED, " ")
        for line in tied.splitlines()
        for folded in textwrap.wrap(
            line, REMARK_WIDTH, initial_indent=indent, subsequent_indent=indent + "  ",
            break_long_words=False, break_on_hyphens=False,
        )
    ]  # fmt: skip


def _read_only(contents: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(contents)


copyreg.pickle(MappingProxyType, lambda view: (_read_only, (dict(view),)))  # Python cannot pack a read-only mapping


class _Packer(pickle.Pickler):
    """Packs a result for copying; numbers with uncertainty are handed over as they are."""

    def __init__(self, file: io.BytesIO, kept: list[UFloat]) -> None:
        super().__init__(file)
        self.kept = kept

    def persistent_id(self, thing: Any) -> int | None:
        if not isinstance(thing, UFloat):
            return None
        self.kept.append(thing)
        return len(self.kept) - 1


class _Unpacker(pickle.Unpickler):
    """Takes the numbers with uncertainty back in."""

    def __init__(self, file: io.BytesIO, kept: list[UFloat]) -> None:
        super().__init__(file)
        self.kept = kept

    def persistent_load(self, place: int) -> UFloat:
        return self.kept[place]


class Written:
    """Mixin: a result that can make a `Page` of itself prints, shows and tabulates."""

    __slots__ = ()

    def __deepcopy__(self, memo: dict[int, Any]) -> Self:
        """A copy that keeps its correlations with the original: an uncertain number is known by its identity."""
        kept: list[UFloat] = []
        packed = io.BytesIO()
        _Packer(packed, kept).dump(self)
        packed.seek(0)
        copied: Self = _Unpacker(packed, kept).load()
        return copied

    def page(self) -> Page:
        """The result as a page; each result class says its own."""
        raise NotImplementedError

    def table(self) -> Any:
        """The result's lines as a pandas DataFrame."""
        return self.page().table()

    def __str__(self) -> str:
        return self.page().text()

    def __repr__(self) -> str:
        page = self.page()
        first = " ".join(part for part in page.lines[0].cells()[:3] if part) if page.lines else ""
        return f"<{type(self).__name__}: {page.heading}{'; ' + first if first else ''}>"

    def _repr_html_(self) -> str:
        return self.page().html()
