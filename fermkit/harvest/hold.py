"""The autolysis hold as the thermometer logged it: how long inside the window, and where not.

A warm hold breaks yeast open and, below the hot-holding limit, grows bacteria. What the log did not
see is called unknown, never counted as held.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.cautions import FOOD_CODE, HOT_HOLDING_LIMIT_C, cautions_for
from fermkit.basis.checks import Floats, between, not_negative, numbers, one_of, positive, rising, same_length
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Number, Page, Written

AUTOLYSIS_WINDOW_C: Final = (45.0, 60.0)
"""Usual window of a yeast autolysis [°C]: common practice, no source. Best of 45 to 60 °C over 8 to 72 h was
50 °C for 24 h in Tanguler & Erten, Turk. J. Agric. For. 33 (2009) 149."""

GROWTH_FROM_C: Final = 5.0
"""Lower end of the range in which food bacteria are held to grow [°C]: as `FOOD_CODE`, cold holding."""

FASTEST_C_PER_MIN: Final = 5.0
NEVER_A_JUMP_C: Final = 5.0
LONE_SPIKE_C: Final = 15.0
"""When a log jumps: quicker than the first by more than the second, or a single reading that stands off
both neighbours by the third while they agree [°C/min, °C, °C]: common practice, no source."""

COOLING_RULE: Final = "US Food Code, section 3-501.14(A): from 57 °C to 21 °C within 2 h, to 5 °C within 6 h"
"""How quickly food that was kept warm is to be cooled (read as adopted in 16 Del. Admin. Code 3-501.14)."""

ACID_ENOUGH_PH: Final = 4.6
"""pH at or below which food counts as acid: 21 CFR 114.3 (from memory). Acid slows bacteria; it kills few."""


COOLED_TO: Final = ((21.0, 2.0), (5.0, 6.0))
"""`COOLING_RULE` as temperatures and the hours in which they are to be reached [°C, h]."""


class Cooled(StrEnum):
    """How quickly it was cooled after it left the window for good."""

    AS_THE_RULE = "It was cooled as quickly as the rule asks."
    TOO_SLOW = "It was cooled more slowly than the rule asks: bacteria had time to grow."
    NOT_LOGGED = "The log ends before it was cold: how quickly it was cooled is not known."


@dataclass(frozen=True)
class Stretch:
    """A stretch of the log: from, to [h], and the highest temperature in it [°C] (NaN where unseen)."""

    start_h: float
    end_h: float
    peak_C: float = float("nan")


@dataclass(frozen=True, repr=False)
class HoldLog(Written):
    """Hours of a hold inside its window, outside it, where bacteria grow, and unseen.

    ``bacteria_h`` is all the time from 5 °C to the hot-holding limit, also inside the window; ``warming_h`` and
    ``cooling_h`` are the parts of it before the log first reached the window and after it last left it.
    ``time_h`` and ``temperature_C`` are the readings, for a picture.
    """

    time_h: Floats
    temperature_C: Floats
    window_C: tuple[float, float]
    hot_holding_C: float
    inside_h: Number
    too_cold_h: Number
    too_hot_h: Number
    bacteria_h: Number
    warming_h: Number
    cooling_h: Number
    unseen_h: float
    gaps: tuple[Stretch, ...]
    overshoots: tuple[Stretch, ...]
    pH: tuple[float, ...] = ()

    @property
    def cooled(self) -> Cooled:
        """How quickly it was cooled, from the last reading in the window or above it."""
        warm = np.flatnonzero(self.temperature_C >= self.window_C[0])
        last = int(warm[-1]) if warm.size else 0
        time, after = self.time_h[last:] - self.time_h[last], self.temperature_C[last:]
        for limit, hours in COOLED_TO:
            there = np.flatnonzero(after <= limit)
            if not there.size:
                return Cooled.TOO_SLOW if time[-1] > hours else Cooled.NOT_LOGGED
            i = int(there[0])  # a straight line from the reading before
            reached = float(np.interp(-limit, -after[i - 1 : i + 1], time[i - 1 : i + 1])) if i else 0.0
            if reached > hours * (1 + 1e-9):
                return Cooled.TOO_SLOW
        return Cooled.AS_THE_RULE

    @property
    def logged_h(self) -> float:
        """From the first reading to the last [h], gaps included."""
        return float(self.time_h[-1] - self.time_h[0])

    @property
    def inside_at_most_h(self) -> Any:
        """Hours inside the window if all that was unseen was inside [h]."""
        return self.inside_h + self.unseen_h

    def page(self) -> Page:
        """Lines for the lab book, what went wrong, and the cautions."""
        low, high = self.window_C
        return Page(
            f"Autolysis hold, {low:g} to {high:g} °C, {len(self.time_h)} readings over {self.logged_h:.4g} h",
            (
                Line("inside the window", self.inside_h, "h", "seen; the window as stated"),
                Line("colder than the window", self.too_cold_h, "h"),
                Line("hotter than the window", self.too_hot_h, "h"),
                Line("unseen (gaps)", self.unseen_h, "h", "not counted as held"),
                Line("where bacteria grow", self.bacteria_h, "h", f"{self._band()}, gaps not counted"),
                Line("of it warming up", self.warming_h, "h", "before it first reached the window"),
                Line("of it cooling down", self.cooling_h, "h", "after it last left the window"),
            ),
            (*self._remarks(), *cautions_for("autolysis").sentences()),
        )

    def _band(self) -> str:
        return f"{GROWTH_FROM_C:g} to {self.hot_holding_C:g} °C"

    def _remarks(self) -> list[str]:
        said = [
            f"Unseen from {gap.start_h:.4g} to {gap.end_h:.4g} h: what the temperature did is not known."
            for gap in self.gaps
        ]
        said += [
            f"Above {self.window_C[1]:g} °C from {over.start_h:.4g} to {over.end_h:.4g} h, "
            f"up to {over.peak_C:.3g} °C: the yeast's own enzymes suffer there."
            for over in self.overshoots
        ]
        said.append(
            f"From {self._band()} bacteria can grow, also inside the window ({FOOD_CODE}; it holds cold food at "
            f"{GROWTH_FROM_C:g} °C or below)."
        )
        said.append(f"Cool it quickly afterwards: {COOLING_RULE}. {self.cooled}")
        if not self.pH:
            said.append("No pH was given: acid slows bacteria, so measure it at the start and at the end.")
        elif max(self.pH) > ACID_ENOUGH_PH:
            said.append(f"pH up to {max(self.pH):.3g}: above {ACID_ENOUGH_PH}, no acid holds the bacteria back.")
        else:
            said.append(f"pH up to {max(self.pH):.3g}: acid slows bacteria, it does not kill them.")
        return said


def hold_log(
    time_h: ArrayLike,
    temperature_C: ArrayLike,
    window: tuple[float, float] = AUTOLYSIS_WINDOW_C,
    *,
    pH: ArrayLike = (),
    hot_holding_C: float = HOT_HOLDING_LIMIT_C,
    thermometer_u_C: float = 0.0,
    gap_h: float | None = None,
    jumps: str = "refuse",
) -> HoldLog:
    """How long the paste really was inside the window.

    Parameters
    ----------
    time_h, temperature_C : array-like of shape (n,)
        The log: hours (rising) and °C; NaN where a reading is missing.
    window : (float, float)
        The window that was aimed at [°C]; 45 to 60 is common practice without a source.
    pH : array-like of shape (m,)
        pH readings during the hold, if any.
    hot_holding_C : float
        Hot-holding limit of the place [°C]; 57 in the US Food Code.
    thermometer_u_C : float
        Standard uncertainty of the thermometer's offset [°C], common to the whole log.
    gap_h : float or None
        A step longer than this was unseen [h]; None: three times the usual step.
    jumps : "refuse" or "unseen"
        What to do where the log jumps (a lone spike, or faster than 5 °C a minute): refuse it, or count
        the step as unseen.

    Returns
    -------
    HoldLog

    Notes
    -----
    Straight lines between readings; each is cut where it crosses a limit. The ± of the hours is half their
    change when the whole log is moved up and down by the thermometer's uncertainty.
    Bacteria are held to grow from 5 °C to the hot-holding limit, warming up and cooling down included.

    Raises
    ------
    InputError
        Times that go back, temperatures that no hold has, jumps, an empty window.

    Examples
    --------
    >>> log = hold_log([0, 1, 2, 3, 4], [20.0, 50.0, 52.0, 50.0, 20.0])
    >>> log.inside_h
    2.333

    References
    ----------
    Trapezoid rule's straight lines; window and limits as in `AUTOLYSIS_WINDOW_C`, `FOOD_CODE`.
    """
    time, warm = _log(time_h, temperature_C)
    low, high = _window(window)
    one_of(jumps, ("refuse", "unseen"), "jumps")
    not_negative(thermometer_u_C, "uncertainty of the thermometer [°C]")
    acid = tuple(float(x) for x in numbers(pH, "pH", at_least=0))
    for value in acid:
        between(value, 0.0, 14.0, "pH")
    step = np.diff(time)
    longest = 3.0 * float(np.median(step)) if gap_h is None else gap_h
    positive(longest, "longest step [h]")
    unseen = (step > longest * (1 + 1e-9)) | _jumps(time, warm, jumps)
    seen = ~unseen

    there = np.flatnonzero(warm >= low)
    first, last = (int(there[0]), int(there[-1])) if there.size else (step.size, step.size)

    def hours(offset: float) -> Floats:
        """Inside, too cold, too hot, where bacteria grow, of it warming and cooling [h], the log moved by an offset."""
        shown, length = warm + offset, np.where(seen, step, 0.0)
        cold, cool, cooler = (length * _share_below(shown, limit) for limit in (low, GROWTH_FROM_C, hot_holding_C))
        hot = length @ _share_below(-shown, -high)
        outside = np.minimum(cold, cooler) - np.minimum(cool, cold)
        return np.array([
            length.sum() - cold.sum() - hot, cold.sum(), hot, (cooler - cool).sum(),
            outside[:first].sum(), outside[last:].sum(),
        ])  # fmt: skip

    u = thermometer_u_C
    told: list[Any] = hours(0.0).tolist()
    if u:
        offset = ufloat(0.0, u, tag=Act("hold thermometer", "the offset of the hold's thermometer"))
        slopes = (hours(u) - hours(-u)) / (2 * u)
        told = [value + float(s) * offset for value, s in zip(told, slopes, strict=True)]
    inside, too_cold, too_hot, bacteria, warming, cooling = told
    return HoldLog(
        time, warm, (low, high), hot_holding_C, inside, too_cold, too_hot, bacteria, warming, cooling,
        float(np.sum(step[unseen])),
        tuple(Stretch(float(time[i]), float(time[i + 1])) for i in np.flatnonzero(unseen)),
        _overshoots(time, warm, high, seen),
        acid,
    )  # fmt: skip


def _log(time_h: ArrayLike, temperature_C: ArrayLike) -> tuple[Floats, Floats]:
    time = numbers(time_h, "time [h]", at_least=2)
    warm = numbers(temperature_C, "temperature [°C]", missing="keep", at_least=2)
    same_length(time_h=time, temperature_C=warm)
    rising(time, "time [h]")
    kept = np.isfinite(warm)
    time, warm = time[kept], warm[kept]
    if time.size < 2:
        raise InputError(
            f"a log with {time.size} temperatures", "at least two readings", "check the thermometer's column"
        )
    for row, value in enumerate(warm, start=1):
        between(float(value), -20.0, 120.0, f"temperature [°C] in row {row}", do="check the unit and the sensor")
    return time, warm


def _window(window: Sequence[float]) -> tuple[float, float]:
    low, high = (float(x) for x in window)
    if not low < high:
        raise InputError(f"a window from {low:g} to {high:g} °C", "a window from cold to warm", "give it as (45, 60)")
    return low, high


def _jumps(time: Floats, warm: Floats, jumps: str) -> NDArray[np.bool_]:
    """Steps too quick for a pot, and the steps to and from a reading that its neighbours contradict."""
    change = np.diff(warm)
    leaps = (np.abs(change) > NEVER_A_JUMP_C) & (np.abs(change) > FASTEST_C_PER_MIN * 60.0 * np.diff(time))
    back = np.abs(change[:-1] + change[1:]) < NEVER_A_JUMP_C
    spike = back & (np.minimum(np.abs(change[:-1]), np.abs(change[1:])) > LONE_SPIKE_C)
    leaps |= np.r_[spike, False] | np.r_[False, spike]
    if leaps.any() and jumps == "refuse":
        i = int(np.argmax(leaps))
        raise InputError(
            f"the temperature jumps from {warm[i]:g} °C at {time[i]:g} h to {warm[i + 1]:g} °C at {time[i + 1]:g} h",
            f"a log without lone spikes and without steps faster than {FASTEST_C_PER_MIN:g} °C a minute",
            "correct or leave out the reading, or say jumps='unseen' to leave that step out",
        )
    return leaps


def _share_below(warm: Floats, limit: float) -> Floats:
    """Share of each step that its straight line spends below `limit`; a flat one at the limit is not below."""
    a, b = np.minimum(warm[:-1], warm[1:]), np.maximum(warm[:-1], warm[1:])
    flat = b - a < 1e-12
    share = np.clip((limit - a) / np.where(flat, 1.0, b - a), 0.0, 1.0)
    return np.asarray(np.where(flat, a < limit, share))


def _overshoots(time: Floats, warm: Floats, high: float, seen: NDArray[np.bool_]) -> tuple[Stretch, ...]:
    """Runs of readings above the window, cut where the line crosses its upper end."""
    found = []
    hot = warm > high
    starts = np.flatnonzero(hot & ~np.r_[False, hot[:-1]])
    for first in starts:
        last = int(first)
        while last + 1 < hot.size and hot[last + 1]:
            last += 1
        start, end = float(time[first]), float(time[last])
        if first > 0 and seen[first - 1]:
            start = float(np.interp(high, warm[first - 1 : first + 1], time[first - 1 : first + 1]))
        if last + 1 < hot.size and seen[last]:
            end = float(np.interp(high, warm[last : last + 2][::-1], time[last : last + 2][::-1]))
        found.append(Stretch(start, end, float(np.max(warm[first : last + 1]))))
    return tuple(found)
