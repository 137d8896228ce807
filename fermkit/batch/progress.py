"""How a run stands while it goes on, from its gas so far and from what its sugar can give.

Gas alone never says stuck: it may be stuck, or its gas is lost. Which of the two, a reading of sugar or alcohol says.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.checks import numbers, positive, rising, same_length
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written
from fermkit.batch.least_squares import Floats

ENOUGH: Final = 0.9
"""Share of the best expectation from which on a run that makes no more gas counts as done [-]: judgement, no source.
Less may be all, where gas was lost; called done too early it may be bottled and burst."""
STARTED: Final = 0.02
"""Share of the gas from which on a run has started [-]: common practice, no source."""
SLOW: Final = 0.6
"""Rate now over the largest so far, below which it slows [-]: common practice, no source."""
FLAT: Final = 0.03
"""The same, below which it makes none [-]: common practice, no source."""
WINDOW: Final = 0.2
"""Share of the hours so far over which a rate is taken, six hours at least [-]: a shorter one shows the readings' ±."""
LEAST_WINDOW_H: Final = 6.0
TAIL: Final = 3.0
"""Where the rate falls in proportion to the sugar left, 95 % of it is gone after three times as long: ln 20 = 3.0."""
NORMAL_95: Final = 1.96


class Stage(StrEnum):
    """How a run stands."""

    LAGGING = "lagging"
    GROWING = "growing"
    SLOWING = "slowing"
    STUCK = "stuck, or gas lost"
    DONE = "done"


SAYS: Final[Mapping[Stage, str]] = {
    Stage.LAGGING: "No gas beyond the error of its readings yet.",
    Stage.GROWING: "It works at about its largest rate so far.",
    Stage.SLOWING: "It makes gas, less than before.",
    Stage.STUCK: (
        "No more gas comes, and less came than the sugar gives: stuck, or gas lost. A test for sugar or a reading of "
        "alcohol tells which."
    ),
    Stage.DONE: "No more gas comes, and as much came as the sugar gives. A test for sugar makes it sure.",
}


@dataclass(frozen=True, repr=False)
class Progress(Written):
    """How a run stands at its last reading.

    Attributes
    ----------
    stage : Stage
    at_h : float
        Hours at the last reading.
    share : (float, float, float)
        Of the gas that all the sugar gives: low, best, high [-]; the share of the sugar used is about the same.
    rate_per_h, largest_per_h : float
        Gas now, and at its fastest [the unit of the gas per h].
    since_h : float or None
        Where no more gas comes: since when [h].
    done_h : (float, float) or None
        When 95 % of it will be made, from and to [h]; None where that cannot be said.
    """

    stage: Stage
    at_h: float
    share: tuple[float, float, float]
    rate_per_h: float
    largest_per_h: float
    since_h: float | None
    done_h: tuple[float, float] | None

    @property
    def how_far(self) -> str:
        """How much of its gas came and sugar went, since when no more, and when it will be done."""
        if self.stage is Stage.LAGGING:
            return ""
        low, _, high = (100 * min(share, 1.0) for share in self.share)
        said = [f"{low:.0f} to {high:.0f} % of the gas that the sugar gives has come"]
        said[0] += "." if self.stage is Stage.STUCK else ", so about as much of the sugar is used."
        if self.since_h is not None:
            said.append(f"No more has come since about {self.since_h:.0f} h.")
        if self.done_h is not None:
            said.append(f"If it goes on so, it is done between {self.done_h[0]:.0f} and {self.done_h[1]:.0f} h.")
        return " ".join(said)

    def page(self) -> Page:
        """The stage in a line, how far it is, and when it will be done."""
        low, best, high = (100 * min(share, 1.0) for share in self.share)
        lines = [Line("of the gas that the sugar gives", f"{best:.0f} ({low:.0f} to {high:.0f})", "%")]
        if self.since_h is not None:
            lines.append(Line("no more gas since about", f"{self.since_h:.0f}", "h"))
        if self.done_h is not None:
            first, last = self.done_h
            lines.append(Line("done, if it goes on so", f"{first:.0f} to {last:.0f}", "h"))
        return Page(f"At {self.at_h:.0f} h: {self.stage}", lines, [SAYS[self.stage]])


def progress(time_h: ArrayLike, co2: ArrayLike, u: float, expected: tuple[float, float, float]) -> Progress:
    """How a run stands, from its gas so far.

    Parameters
    ----------
    time_h : array-like of shape (n,)
        Hours since the start, rising.
    co2 : array-like of shape (n,)
        CO2 made by then, what liquid and gas space hold among it [g, or any one unit].
    u : float
        Standard uncertainty of a reading [the same unit].
    expected : (float, float, float)
        CO2 that all the sugar gives: low, best, high, as `estimate(…, state="used up")["co2"]` says [the same unit].

    Returns
    -------
    Progress

    Notes
    -----
    Rates are straight lines through the readings of a fifth of the hours so far (six hours at least). Lagging: less
    than 2 % of what is expected, or within the error. None comes: the rate is within its error of 3 % of the largest.
    Then it is done where the gas made reaches 0.9 of what is expected, and its low end; else stuck, or gas lost. It
    slows below 0.6 of its largest rate. Done: the earliest at the present rate, the latest where the rate falls in
    proportion to the sugar left.

    Raises
    ------
    InputError
        For fewer than two readings, times that go back, or an expectation that is not above zero.

    Examples
    --------
    >>> stuck = progress([0, 10, 20, 30, 40, 60, 80], [0, 5, 20, 35, 43, 43.2, 43.1], 0.3, (56, 60, 64))
    >>> stuck.stage.value, f"{stuck.share[1]:.0%}"
    ('stuck, or gas lost', '72%')
    """
    time, gas = numbers(time_h, "time [h]", at_least=2), numbers(co2, "CO2 made", at_least=2)
    same_length(time_h=time, co2=gas)
    rising(time, "time [h]")
    positive(u, "± of a reading of the gas")
    low, best, high = expected
    if not 0 < low <= best <= high:
        raise InputError(
            f"expected CO2 of {low:g}, {best:g}, {high:g}", "three amounts above zero that rise: low, best, high",
            "take them from the estimate of the recipe with its sugar used up",
        )  # fmt: skip
    made = float(gas[-1] - gas[0])
    width = max(LEAST_WINDOW_H, WINDOW * float(time[-1] - time[0]))
    rates = np.array([_rate(time, gas, u, end, width) for end in range(1, time.size)])
    now, u_now = rates[-1]
    largest = float(rates[:, 0].max())
    share = ((made - NORMAL_95 * u) / high, made / best, (made + NORMAL_95 * u) / low)
    stage = _stage(made, u, float(now), float(u_now), largest, share)
    since = _since(time, gas, u) if stage in (Stage.STUCK, Stage.DONE) else None
    done = None
    if stage in (Stage.GROWING, Stage.SLOWING):
        first, last = (max(0.95 * total - made, 0.0) / float(now) for total in (low, high))
        done = (float(time[-1]) + first, float(time[-1]) + TAIL * last)
    return Progress(stage, float(time[-1]), share, float(now), largest, since, done)


def _stage(made: float, u: float, now: float, u_now: float, largest: float, share: tuple[float, float, float]) -> Stage:
    if made < 2.0 * np.sqrt(2.0) * u or share[1] < STARTED:
        return Stage.LAGGING
    if now - u_now < FLAT * largest:
        return Stage.DONE if share[2] >= 1.0 and share[1] >= ENOUGH else Stage.STUCK
    return Stage.SLOWING if now + u_now < SLOW * largest else Stage.GROWING


def _rate(time: Floats, gas: Floats, u: float, end: int, width: float) -> tuple[float, float]:
    """The straight line through the readings of a window that ends at a reading: its slope and the slope's ±."""
    start = min(int(np.searchsorted(time, time[end] - width - 1e-9)), end - 1)
    t, y = time[start : end + 1], gas[start : end + 1]
    spread = t - t.mean()
    return float(spread @ y / (spread @ spread)), float(u / np.sqrt(spread @ spread))


def _since(time: Floats, gas: Floats, u: float) -> float:
    """The first reading from which on the gas stays within its error of the last."""
    away = np.flatnonzero(np.abs(gas - gas[-1]) > 3.0 * u)
    return float(time[away[-1] + 1]) if away.size and away[-1] + 1 < time.size else float(time[0])
