"""What the balances say of a run: what was found again, and the amounts corrected so that all balances close."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from scipy.special import chdtrc

from fermkit.balance.streams import Stream
from fermkit.basis.checks import one_of
from fermkit.basis.written import Line, Page, Written, in_words, nominal, percent, rounded, uncertainty

VISIBLE: Final = 2.8
"""How many standard uncertainties a gap must have to be seen four times in five at the 95 % level: 1.96 + 0.84."""


@dataclass(frozen=True, repr=False)
class Closure(Written):
    """How much of what went in is found again.

    Attributes
    ----------
    found : dict of str to ufloat
        For each balance the recovered fraction [mol/mol], by-products at their usual amount included.
    measured_only : dict of str to ufloat
        The same from measured streams alone.
    unmeasured : tuple of str
        Streams that were not measured and are not in the sums.
    """

    found: Mapping[str, Any]
    measured_only: Mapping[str, Any]
    unmeasured: tuple[str, ...]
    notes: tuple[str, ...]

    def __getitem__(self, balance: str) -> Any:
        one_of(balance, self.found, "balance")
        return self.found[balance]

    def page(self) -> Page:
        lines = []
        for name, fraction in self.found.items():
            without = percent(self.measured_only[name])
            extra = f"measured streams alone: {without}" if without != percent(fraction) else ""
            lines.append(Line(name, fraction * 100, "%", extra))
        verdicts = [_in_words(name, nominal(f) - 1, uncertainty(f)) for name, f in self.found.items()]
        gaps = [f"Not in the sums, as unmeasured: {', '.join(self.unmeasured)}."] if self.unmeasured else []
        return Page("Recovered of what went in", lines, [*verdicts, *gaps, *self.notes])


def close(
    known: Sequence[Stream], unmeasured: Sequence[str], balances: Mapping[str, str], nitrogen: str, notes: Sequence[str]
) -> Closure:
    """Recovered fractions: of each balance, what is made over what is consumed.

    Oxygen that was taken up counts as electrons found (-4 for each mole, with the minus of a consumed stream).

    Parameters
    ----------
    known : sequence of Stream
    unmeasured : sequence of str
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
    return Closure(found, measured, tuple(unmeasured), tuple([*_units_suspected(found, known, nitrogen), *notes]))


def flows(streams: Sequence[Stream], amounts: Mapping[str, Any], row: str, nitrogen: str) -> tuple[Any, dict[str, Any]]:
    """What went in of an element, and where it is found again [mol]; oxygen taken up counts as electrons found."""
    parts = {
        s.name: amounts[s.name] * s.scale * s.content(nitrogen).get(row, 0.0) for s in streams if s.name in amounts
    }
    into = -sum(p for p in parts.values() if nominal(p) < 0)
    return into, {name: p for name, p in parts.items() if nominal(p) > 0}


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


@dataclass(frozen=True, repr=False)
class Reconciliation(Written):
    """Amounts corrected so that every balance closes, and what the correction says about the measurements.

    Attributes
    ----------
    amounts : dict of str to ufloat
        Corrected amounts, in each stream's unit, linear in the numbers that came in, so that their
        correlations live on. For yeast with ash: dry matter, ash included.
    reported : dict of str to ufloat or None
    shift : dict of str to float
        How far each amount was moved, in standard deviations of such a move.
    chi2, degrees_of_freedom : float, int
    """

    amounts: Mapping[str, Any]
    reported: Mapping[str, Any]
    shift: Mapping[str, float]
    chi2: float
    degrees_of_freedom: int
    standing: Mapping[str, str]
    units: Mapping[str, str]
    redundant: tuple[str, ...]
    balances: tuple[str, ...]
    notes: tuple[str, ...]

    def __getitem__(self, stream: str) -> Any:
        one_of(stream, self.amounts, "stream")
        return self.amounts[stream]

    @property
    def p_value(self) -> float:
        """Chance of a misfit this large or larger when nothing is wrong; NaN where nothing is tested."""
        return float(chdtrc(self.degrees_of_freedom, self.chi2)) if self.degrees_of_freedom else float("nan")

    @property
    def verdict(self) -> str:
        """The test in words, at the 95 % level."""
        if not self.degrees_of_freedom:
            return "nothing is measured twice over, so nothing can be tested"
        if self.p_value < 0.05:
            return "the measurements contradict one another"
        return "the measurements agree with one another"

    def page(self) -> Page:
        lines = []
        for name, amount in self.amounts.items():
            reported = self.reported[name]
            note = "from the balances" if reported is None else "not tested by any balance"
            if name in self.redundant:
                what = "usual amount" if self.standing[name] == "usual" else "reported"
                note = f"{what} {_short(reported)}, moved by {self.shift[name]:.1f} σ"
            lines.append(Line(name, amount, self.units[name], note))
        sigma = "σ here: the standard deviation that such a move has by chance."
        remarks = [self._test(), *([sigma] if self.redundant else []), *self.notes]
        return Page(f"Balance of {and_list(self.balances)}: {self.verdict}", lines, remarks)

    def _test(self) -> str:
        if not self.degrees_of_freedom:
            return f"No test: {self.verdict}."
        of_100 = 100 * self.p_value
        often = f"about {of_100:.0f}" if of_100 >= 1 else "fewer than 1"
        return (
            f"chi² = {self.chi2:.2f} on {self.degrees_of_freedom}, {in_words(self.p_value)}: {self.verdict}; "
            f"of 100 runs with nothing wrong, {often} would disagree this much."
        )


def and_list(words: Sequence[str]) -> str:
    """Words as they are said: "carbon, electrons and nitrogen"."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def _in_words(name: str, excess: float, u: float) -> str:
    """A closure's verdict: what is missing or too much, or what could not have been seen."""
    if u == 0:
        return f"No {name} can be in the products that are listed with an amount."
    size = f"{100 * abs(excess):.2g} %, {abs(excess) / u:.1f} standard uncertainties"
    if abs(excess) <= 1.96 * u:
        blind = f"a gap below about {100 * VISIBLE * u:.2g} % could not have been seen"
        return f"{name.capitalize()} is found within its uncertainty; {blind}."
    if excess > 0:
        return f"More {name} out than in, by {size}: a mistake somewhere."
    return f"Some {name} is missing, {size}: a mistake somewhere, or a stream that is not listed."


def _short(amount: Any) -> str:
    value, u = rounded(nominal(amount), uncertainty(amount))
    return f"{value} ± {u}"
