"""What was noticed while reading: level, file, row, column, one sentence."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from fermkit.basis.checks import nearest
from fermkit.basis.errors import InputError


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was noticed in a file.

    Parameters
    ----------
    level : "note" or "doubt"
        A note says how something was read; a doubt may change a result.
    file : str
        Name of the file or sheet.
    row : int or None
        Line in the file, the header being line 1, as a spreadsheet counts.
    column : str
        As written in the header, or the key of run.toml.
    sentence : str

    Examples
    --------
    >>> print(Finding("note", "gas.csv", 14, "volume [mL]", "no reading"))
    gas.csv, row 14, volume [mL]: no reading
    """

    level: str
    file: str
    row: int | None
    column: str
    sentence: str

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, f"row {self.row}" if self.row else "", self.column) if part)
        return f"{place}: {self.sentence}"


@dataclass
class Remarks:
    """Findings of one file while it is read; the same remark on many rows becomes one finding."""

    file: str
    findings: list[Finding] = field(default_factory=list)
    called: dict[str, str] = field(default_factory=dict)
    """Our title of a column → the person's own, where they differ."""
    _repeated: dict[tuple[str, str, str], list[int]] = field(default_factory=dict)

    def note(self, sentence: str, *, row: int | None = None, column: str = "", level: str = "note") -> None:
        """Write down one finding."""
        self.findings.append(Finding(level, self.file, row, self.called.get(column, column)[:60], sentence))

    def repeat(self, sentence: str, row: int, *, column: str = "", level: str = "note") -> None:
        """Write down a remark that may come again on further rows."""
        self._repeated.setdefault((level, self.called.get(column, column)[:60], sentence), []).append(row)

    def all(self) -> tuple[Finding, ...]:
        """Everything found, remarks on several rows drawn together."""
        for (level, column, sentence), rows in self._repeated.items():
            more = f" (rows {rows_in_words(rows)})" if len(rows) > 1 else ""
            self.note(sentence + more, row=rows[0], column=column, level=level)
        self._repeated.clear()
        return tuple(self.findings)

    def refusal(self, met: str, needed: str, do: str, *, row: int | None = None, column: str = "") -> InputError:
        """The error that names file, row and column before what was met."""
        return InputError(str(Finding("", self.file, row, self.called.get(column, column)[:60], met)), needed, do)


def rows_in_words(rows: Sequence[int], most: int = 12) -> str:
    """Row numbers as a list that a person can read.

    Examples
    --------
    >>> rows_in_words([14, 15, 90])
    '14, 15, 90'
    >>> rows_in_words(range(2, 40), most=3)
    '2, 3, 4 and 35 more'
    """
    shown = ", ".join(str(row) for row in list(rows[:most]))
    return shown if len(rows) <= most else f"{shown} and {len(rows) - most} more"


def did_you_mean(name: str, known: Collection[str]) -> str:
    """The nearest of the known words, or all of them.

    Examples
    --------
    >>> did_you_mean("temprature", ["temperature", "pH"])
    "did you mean 'temperature'?"
    >>> did_you_mean("x", ["temperature", "pH"])
    'known are: temperature, pH'
    """
    near = nearest(name, known)
    return f"did you mean {near!r}?" if near else f"known are: {', '.join(known)}"
