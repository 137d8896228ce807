"""How much of what went in is found again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from typing import Any, Final

from fermkit.balance.streams import Stream
from fermkit.basis.checks import one_of
from fermkit.basis.written import Line, Page, Written, nominal, percent, uncertainty

WIDTH: Final = 1.96
"""Standard uncertainties on either side of a 95 % interval (the normal distribution)."""

VISIBLE: Final = 2.8
"""How many standard uncertainties a gap must have to be seen four times in five at the 95 % level: 1.96 + 0.84."""


class Verdict(Enum):
    """What the recovered fraction says of one balance."""

    CLOSES = auto()
    MISSING = auto()
    TOO_MUCH = auto()
    NOT_LISTED = auto()
    NOTHING = auto()


@dataclass(frozen=True, repr=False)
class Closure(Written):
    """How much of what went in is found again.

    Attributes
    ----------
    found : dict of str to ufloat
        For each balance the recovered fraction [mol/mol], by-products at their usual amount included.
    measured_only : dict of str to ufloat
        The same from measured streams alone.
    unmeasured : dict of str to tuple of str
        For each balance, the streams that hold some of it, were not measured and are not in the sums.
    """

    found: Mapping[str, Any]
    measured_only: Mapping[str, Any]
    unmeasured: Mapping[str, tuple[str, ...]]
    notes: tuple[str, ...]

    def __getitem__(self, balance: str) -> Any:
        one_of(balance, self.found, "balance")
        return self.found[balance]

    def verdict(self, balance: str) -> Verdict:
        """Whether a balance closes within its ±."""
        gap, u = nominal(self[balance]) - 1, uncertainty(self[balance])
        if u == 0:
            return Verdict.NOTHING
        if gap < 0 and self.unmeasured[balance]:
            return Verdict.NOT_LISTED
        if abs(gap) <= WIDTH * u:
            return Verdict.CLOSES
        return Verdict.TOO_MUCH if gap > 0 else Verdict.MISSING

    def in_words(self, balance: str) -> str:
        """The verdict as it is printed."""
        gap, u = nominal(self[balance]) - 1, uncertainty(self[balance])
        verdict, size = self.verdict(balance), f"{100 * abs(gap):.2g} %"
        if verdict is Verdict.NOTHING:
            return f"No {balance} can be in the products that are listed with an amount."
        if verdict is Verdict.CLOSES:
            says = "balance within their ±" if balance == "electrons" else "balances within its ±"
            return f"{balance.capitalize()} {says}; a gap under {100 * VISIBLE * u:.2g} % would not show."
        if verdict is Verdict.NOT_LISTED:
            return f"{size} of the {balance} is in what was not measured: {', '.join(self.unmeasured[balance])}."
        told = f", {abs(gap) / u:.1f} standard uncertainties: a mistake somewhere"
        if verdict is Verdict.TOO_MUCH:
            return f"{size} more {balance} came out than went in{told}."
        return f"{size} of the {balance} is missing{told}, or a stream that is not listed."

    def page(self) -> Page:
        lines = []
        for name, fraction in self.found.items():
            without = percent(self.measured_only[name])
            extra = f"measured streams alone: {without}" if without != percent(fraction) else ""
            lines.append(Line(name, fraction * 100, "%", extra))
        return Page("Found of what went in", lines, [*map(self.in_words, self.found), *self.notes])


def close(
    known: Sequence[Stream], unknown: Sequence[Stream], balances: Mapping[str, str], nitrogen: str, notes: Sequence[str]
) -> Closure:
    """Recovered fractions: of each balance, what is made over what is consumed.

    Oxygen that was taken up counts as electrons found (-4 for each mole, with the minus of a consumed stream).

    Parameters
    ----------
    known, unknown : sequences of Stream
    balances : mapping of str to str
        Name of each balance and the element (or "electrons") that it counts.
    nitrogen : str
        Nitrogen reference of the electrons.
    notes : sequence of str
    """
    found: dict[str, Any] = {}
    measured: dict[str, Any] = {}
    for name, row in balances.items():
        parts = [(s, s.weighed * s.content(nitrogen).get(row, 0.0)) for s in known]
        into = -sum(p for _, p in parts if nominal(p) < 0)
        if nominal(into) > 0:
            found[name] = sum(p for _, p in parts if nominal(p) > 0) / into
            measured[name] = sum(p for s, p in parts if nominal(p) > 0 and s.standing == "measured") / into
    holding = {name: tuple(s.name for s in unknown if s.content(nitrogen).get(row)) for name, row in balances.items()}
    suspected = [] if holding.get("carbon") else _units_suspected(found, known, nitrogen)
    return Closure(found, measured, holding, tuple([*suspected, *notes]))


def _units_suspected(found: Mapping[str, Any], known: Sequence[Stream], nitrogen: str) -> list[str]:
    """Streams that would about close the carbon if their grams were moles, or the reverse."""
    if "carbon" not in found or abs(nominal(found["carbon"]) - 1) < max(0.2, 3 * uncertainty(found["carbon"])):
        return []
    carbon = {s.name: nominal(s.weighed) * s.content(nitrogen).get("C", 0.0) for s in known}
    into = -sum(c for c in carbon.values() if c < 0)
    gap = sum(carbon.values())
    suspects = []
    for s in known:
        other, factor = ("mol", s.made_of.molar_mass) if s.unit == "g" else ("g", 1 / s.made_of.molar_mass)
        if s.unit in ("g", "mol") and abs(gap + carbon[s.name] * (factor - 1)) < 0.15 * into:
            suspects.append(f"Is {s.name} in {other}, not in {s.unit}? Then the carbon would about close.")
    return suspects
