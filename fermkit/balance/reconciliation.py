"""The amounts of a run corrected so that all balances close, and what the correction says of the measurements."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from scipy.special import chdtrc

from fermkit.basis.checks import one_of
from fermkit.basis.written import Line, Page, Written, in_words, plus_minus


class Verdict(StrEnum):
    """The test in words, at the 95 % level."""

    AGREE = "the measurements agree with one another"
    DISAGREE = "the measurements contradict one another"
    UNTESTED = "nothing is measured twice over, so nothing can be tested"


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
    held : tuple of str
        Streams that would have come out with the wrong sign, and are held at zero.
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
    held: tuple[str, ...]
    notes: tuple[str, ...]

    def __getitem__(self, stream: str) -> Any:
        one_of(stream, self.amounts, "stream")
        return self.amounts[stream]

    @property
    def p_value(self) -> float:
        """Chance of a misfit this large or larger when nothing is wrong; NaN where nothing is tested."""
        return float(chdtrc(self.degrees_of_freedom, self.chi2)) if self.degrees_of_freedom else float("nan")

    @property
    def verdict(self) -> Verdict:
        """Whether the measurements agree with one another; it prints as a sentence."""
        if not self.degrees_of_freedom:
            return Verdict.UNTESTED
        return Verdict.DISAGREE if self.p_value < 0.05 else Verdict.AGREE

    def page(self) -> Page:
        lines = [Line(name, amount, self.units[name], self._note(name)) for name, amount in self.amounts.items()]
        sigma = "σ here: the standard deviation that such a move has by chance."
        held = [f"{name} would come out below zero and is held there." for name in self.held]
        remarks = [self._test(), *held, *([sigma] if self.redundant else []), *self.notes]
        return Page(f"Balance of {and_list(self.balances)}: {self.verdict}", lines, remarks)

    def _note(self, name: str) -> str:
        if self.reported[name] is None:
            return "from the balances"
        if name not in self.redundant:
            return "not tested by any balance"
        what = "usual amount" if self.standing[name] == "usual" else "reported"
        return f"{what} {plus_minus(self.reported[name])}, moved by {self.shift[name]:.1f} σ"

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
