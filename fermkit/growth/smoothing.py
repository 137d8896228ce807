"""A gas curve read without any model: amount, largest rate, lag and finish time from local straight lines.

Everything follows the process, not the log. The *rise* is the time from 10 to 90 % of the amount; the window of the
steepest line is a share of it; and readings that come after the gas has stopped, and in which nothing more is seen
to come, are left out, so that going on reading changes nothing.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, between, not_negative, numbers, one_of, positive, rising, same_length
from fermkit.basis.errors import FitError, InputError
from fermkit.basis.statistics import student
from fermkit.basis.written import Line, Number, Page, Written, nominal
from fermkit.growth.confidence import measured

FEWEST, FEWEST_IN_WINDOW = 10, 3
"""Readings in all, and those that the steepest line is drawn through at least."""

NARROWEST, WIDEST = 1 / 8, 1 / 2
"""Bounds of the window, as shares of the rise: narrow enough for the rate not to be rounded off, wide enough to be
one."""

RATE_TO = 0.03
"""Between those bounds the window is as narrow as still lets the slope of a line of mean steepness be known to this
share of it."""

LEVEL_TO = 0.002
"""A level is averaged over no more readings than make it good to this share of the amount: a fifth of the last per
cent, by which the finish is told. Wider windows round off the corner where sugar runs out, and tell it late."""

SLOW = 0.05
"""Share of the largest rate under which gas counts as stopped: a twentieth."""

SURELY = 3.0
"""Standard uncertainties by which a window must rise faster than that to show that gas still comes: of hundreds of
windows after the end hardly one does so by chance."""

NOTHING_MORE = 0.002
"""Share of the amount that may still come after the stop and be left out: a fifth of the last per cent."""

BLOCKS = 1000
"""Readings in all that are worked on; more are first averaged (counters: thinned) to so many equal times, which are
then far shorter than any window. Cost and memory stay in proportion to the readings."""

KEPT, KEPT_MEAN = 0.6, 0.2146
"""Share of the squares that the scatter is read from, and what the mean of the smallest three fifths of squared
normal numbers is: 1 − 2 z φ(z)/0.6 with z = 0.8416. Corners spoil four squares each, and few readings have two."""

FEW_ODD, DOF_A_READING = 7.5, 0.2
"""By how much the scatter comes out too large where it is read from few numbers (1 + this over their count), and the
degrees of freedom that each brings; both by simulation: neighbours overlap, and two fifths are left out."""

WHOLE = 0.1
"""How far from a whole number of grains a step may be: a bubble's gas varies a little with warmth and weather."""

GAS_TIME = "Times are those of the gas: it leaves the liquid after the yeast made it, up to half an hour or so later."


@dataclass(frozen=True, repr=False)
class SmoothReading(Written):
    """What readings say without a growth curve.

    Attributes
    ----------
    amount_so_far : ufloat
        Level at `until_h` less that at the first reading [unit].
    until_h : float
        The last reading used [h]: the last of all, or the one by which the gas had stopped.
    max_rate : ufloat
        Slope of the steepest straight line through the readings of any `window_h` [unit/h]. Between the readings gas
        may come faster: read each hour, by 1 % of it, and by 7 % (to 13 %) where it ends at a corner; read each quarter
        of an hour, by 0 to 3 %.
    max_rate_at_h : float
        The middle of that window [h].
    lag_h : ufloat
        Where that line meets the level of the first reading [h].
    finish_time_h : float
        When `fraction` of the amount so far had come [h]; NaN while the rate has not fallen to a twentieth.
    limits : dict
        The 95 % interval of each by name.
    window_h : float
        Width of the window [h]; part of the definition of rate and lag.
    fraction : float
        What counts as finished.
    """

    amount_so_far: Number
    until_h: float
    max_rate: Number
    max_rate_at_h: float
    lag_h: Number
    finish_time_h: float
    limits: dict[str, tuple[float, float]]
    window_h: float
    fraction: float
    unit: str
    counts: str = ""
    doubts: tuple[str, ...] = ()

    def page(self) -> Page:
        """The reading as a lab-book page."""
        rate, over = f"{self.unit}/h" if self.unit else "per h", f"line over {self.window_h:.3g} h"
        lines = [
            Line(
                "amount so far", self.amount_so_far, self.unit, f"by {self.until_h:.3g} h", self.limits["amount_so_far"]
            ),
            Line(
                "largest rate",
                self.max_rate,
                rate,
                f"steepest {over}, about {self.max_rate_at_h:.3g} h",
                self.limits["max_rate"],
            ),
            Line("lag", self.lag_h, "h", f"where the steepest {over} meets the first level", self.limits["lag_h"]),
            Line(
                f"{100 * self.fraction:g} % of it had come at",
                self.finish_time_h,
                "h",
                limits=self.limits.get("finish_time_h"),
            ),
        ]
        what = f" ({self.counts})" if self.counts else ""
        return Page(
            f"Gas read without a growth curve{what}", lines, (*self.doubts, GAS_TIME, "± is one standard uncertainty.")
        )


@dataclass(frozen=True)
class Series:
    """Readings with the size of their errors: of each reading, or (`steps`) of each increment."""

    time: Floats
    level: Floats
    variance: Floats
    dof: float
    steps: bool
    grain: float
    """What the readings rise by at least: a bubble, the last digit of a display; 0 where none is seen."""

    def u(self, weights: Floats) -> Floats:
        """Standard uncertainty of weighted sums of the readings, weights (n,) or (k, n)."""
        squares, unseen = weights**2, self.grain**2 / 12  # variance of what has not yet filled a bubble or a digit
        rounding = squares.sum(axis=-1) * unseen
        if self.steps:  # a reading is the sum of the increments before it
            squares = np.cumsum(weights[..., ::-1], axis=-1)[..., ::-1][..., 1:] ** 2
        return np.asarray(np.sqrt(squares @ self.variance + rounding))

    def window(self, i: int, wide: float, least: int) -> slice:
        """The readings within a window about reading i, moved inwards at the ends; at least `least` of them."""
        time = self.time
        low = int(np.searchsorted(time, min(time[i] - wide / 2, time[-1] - wide) - 1e-9))
        high = int(np.searchsorted(time, max(time[i] + wide / 2, time[0] + wide) + 1e-9))
        short = max(least - (high - low), 0)
        low = max(0, min(low - short // 2, time.size - least))
        return slice(low, max(high, low + least))

    def level_at(self, i: int, wide: float) -> Floats:
        """The level at reading i, from the line through a window about it, as weights on the readings."""
        out, rows = np.zeros(self.time.size), self.window(i, wide, 1)
        away = self.time[rows] - self.time[rows].mean()
        if self.steps or away.size < 3:
            out[i] = 1.0
            return out
        out[rows] = 1 / away.size + (self.time[i] - self.time[rows].mean()) * away / (away @ away)
        return out

    def lines(self, wide: float) -> "Lines":
        """The line through the window about each reading."""
        n = self.time.size
        slopes, through, middles, widths = np.zeros((n, n)), np.zeros((n, n)), np.zeros(n), np.zeros(n)
        for i in range(n):
            rows = self.window(i, wide, FEWEST_IN_WINDOW)
            t = self.time[rows]
            widths[i] = t[-1] - t[0]
            if self.steps:
                ends = [rows.start, rows.stop - 1]
                middles[i] = 0.5 * (t[0] + t[-1])
                slopes[i, ends], through[i, ends] = np.array([-1.0, 1.0]) / widths[i], 0.5
            else:
                middles[i] = t.mean()
                slopes[i, rows], through[i, rows] = (t - t.mean()) / np.sum((t - t.mean()) ** 2), 1 / t.size
        return Lines(slopes, through, middles, float(np.median(widths)))


@dataclass(frozen=True)
class Lines:
    """Local lines as weights on the readings: slopes, levels in the middle; the middles [h], the usual width [h]."""

    slopes: Floats
    through: Floats
    middles: Floats
    width: float


def smooth_growth(
    time_h: ArrayLike,
    amount: ArrayLike,
    noise: str = "independent",
    *,
    window_h: float | None = None,
    scale_u: float = 0.0,
    early_u: float = 0.0,
    fraction: float = 0.99,
    unit: str = "",
    counts: str = "",
) -> SmoothReading:
    """Read amount, largest rate, lag and finish time off local straight lines, with no growth curve assumed.

    No published curve is the truth, and a rate read off one carries that curve's own shape. These numbers
    follow the readings. The rate is a mean over a window of stated width, and so is its true value; the lag is
    where the steepest line meets the first level. Readings after the gas has stopped change nothing. Times are those
    of the gas: it leaves the liquid after the yeast made it, in a simulated jar or keg 0.2 to 0.5 h later.

    Parameters
    ----------
    time_h : array-like of shape (n,)
        Time since the start [h], rising.
    amount : array-like of shape (n,)
        Cumulative readings in any linear unit.
    noise : "independent" or "accumulating"
        As for `fit_growth`.
    window_h : float, optional
        Width of the window [h]; from an eighth to a half of the rise (the time from 10 to 90 % of the amount)
        if not given, as narrow as still gives a rate, and at least three readings.
    scale_u : float
        Relative standard uncertainty common to the whole curve [-].
    early_u : float
        Standard uncertainty of what only the first hours hide, such as the CO2 that the liquid takes up [unit]:
        moves the lag.
    fraction : float
        Of the amount so far, that counts as finished.
    unit, counts : str
        For printing: "mol CO2"; what is counted ("released", "produced").

    Returns
    -------
    SmoothReading

    Examples
    --------
    >>> from fermkit.growth.curves import gompertz
    >>> t = np.linspace(0, 48, 60)
    >>> errors = np.random.default_rng(0).normal(size=60)
    >>> reading = smooth_growth(t, gompertz(t, 600, 40, 6) + 3 * errors)
    >>> print(f"{reading.max_rate:.1f} over {reading.window_h:.1f} h")
    41.2+/-1.3 over 1.6 h

    References
    ----------
    Scatter from how far a reading lies off its neighbours: after Gasser, Sroka & Jennen-Steinmetz, Biometrika 73
    (1986) 625–633, here off the cubic through four of them, and from the smaller three fifths (own choice). The finish
    time's interval holds the times that a t-test at 5 % does not refuse (Fieller's principle).
    """
    from uncertainties import ufloat

    time, level, steps = _readings(time_h, amount, noise)
    not_negative(scale_u, "scale_u")
    not_negative(early_u, "early_u")
    between(fraction, 1e-6, 1 - 1e-6, "fraction", do="give a fraction such as 0.99")
    if window_h is not None:
        positive(window_h, "window_h")
    seen, wide, stopped = _while_it_comes(time, level, steps, window_h)
    lines, n = seen.lines(wide), seen.time.size
    q = student(seen.dof)
    rates = lines.slopes @ seen.level
    top = int(np.argmax(rates))
    first, last = seen.level_at(0, wide / 2), seen.level_at(n - 1, wide / 2)
    common = ufloat(1.0, scale_u, Act("gas factor", "common factor of the gas curve")) if scale_u else 1.0
    u_made = float(seen.u(last - first))
    made = measured(float((last - first) @ seen.level), u_made) * common
    u_rate = float(seen.u(lines.slopes[top]))
    rate = measured(float(rates[top]), u_rate) * common
    rise = lines.through[top] - first
    since = float(rise @ seen.level) / rates[top]
    as_steep = (rates >= rates[top] - 2 * u_rate) & (rates > 0)  # as well one of these
    feet = lines.middles[as_steep] - (lines.through - first)[as_steep] @ seen.level / rates[as_steep]
    u_line = float(seen.u((rise - since * lines.slopes[top]) / rates[top]))
    choice = float(np.std(feet))
    lag = measured(lines.middles[top] - since, math.hypot(u_line, early_u / rates[top], choice))
    limits = {
        "amount_so_far": _limits(made, q * u_made, scale_u * nominal(made)),
        "max_rate": _limits(rate, q * u_rate, scale_u * rates[top]),
        "lag_h": _limits(lag, q * math.hypot(u_line, choice), early_u / rates[top]),
    }
    doubts: tuple[str, ...] = ()
    finish = np.nan
    if limits["amount_so_far"][0] <= 0:
        doubts = ("No rise is shown by these readings beyond their scatter: no finish time.",)
    elif not stopped:
        doubts = ("The run has not slowed to a twentieth of its largest rate: no finish time yet.",)
    else:
        finish, limits["finish_time_h"] = _finish(seen, wide, fraction, q)
    if limits["lag_h"][0] <= 0:
        doubts = (*doubts, "A lag of zero agrees with these readings.")
    return SmoothReading(
        made, float(seen.time[-1]), rate, float(lines.middles[top]), lag, finish, limits, lines.width, fraction, unit,
        counts, doubts,
    )  # fmt: skip


def _while_it_comes(time: Floats, level: Floats, steps: bool, window_h: float | None) -> tuple[Series, float, bool]:
    """The readings up to the stop, half a window after it included; the width of the window [h]; whether it stopped.

    What comes after the stop would, by its errors, move the amount and with it rise and window: so these are taken
    anew from what is left, until nothing more is left out.
    """
    end, stopped = float(time[-1]), False
    while True:
        seen = series_of(time, level, steps, end)
        wide = _width(seen) if window_h is None else window_h
        stop = _stop(seen, wide)
        stopped = stopped or stop is not None
        if stop is None or stop >= seen.time[-1] or int(np.searchsorted(time, stop, side="right")) < FEWEST:
            return seen, wide, stopped
        end = stop


def _width(seen: Series) -> float:
    """As narrow a window as gives the rate to `RATE_TO`, within its bounds [h]."""
    up = _monotone(seen.level)
    shares = (up - up[0]) / max(up[-1] - up[0], 1e-300)
    begin, end = (float(np.interp(share, shares, seen.time)) for share in (0.1, 0.9))
    rise = max(end - begin, float(np.diff(seen.time).min()))
    inside = (seen.time > begin) & (seen.time <= end)
    wanted = (RATE_TO * 0.8 * float(up[-1] - up[0]) / rise) ** 2
    if not wanted > 0:
        return WIDEST * rise
    if seen.steps:  # the ends of a window of increments: variance per hour over its width
        needed = float(seen.variance[inside[1:]].sum()) / rise / wanted
    else:  # the slope of a line through evenly spaced readings: 12 variance x spacing / width^3
        needed = float(np.cbrt(12 * seen.variance.mean() * rise / max(int(inside.sum()), 1) / wanted))
    return float(np.clip(needed, NARROWEST * rise, WIDEST * rise))


def _stop(seen: Series, wide: float) -> float | None:
    """When the gas had stopped, and half a window more to read the level by [h]; None where it has not."""
    lines = seen.lines(wide)
    rates = lines.slopes @ seen.level
    moving = rates - SURELY * np.asarray(seen.u(lines.slopes)) >= SLOW * rates.max()
    moving[np.argmax(rates)] = True
    still = lines.middles[np.flatnonzero(moving)[-1]] + (lines.width + wide) / 2
    last = seen.level_at(seen.time.size - 1, wide / 2)
    more = float(last @ seen.level) - seen.level
    doubt = 2 * np.asarray(seen.u(last - np.eye(seen.time.size)))
    rest = np.maximum(doubt, NOTHING_MORE * np.ptp(seen.level))
    over = np.flatnonzero((seen.time >= still) & (more <= rest))
    return float(seen.time[over[0]]) if over.size else None


def _monotone(level: Floats) -> Floats:
    """Levels that only rise, as the true amount must: midway between the highest so far and the lowest to come."""
    return np.asarray((np.maximum.accumulate(level) + np.minimum.accumulate(level[::-1])[::-1]) / 2)


def series_of(time: Floats, level: Floats, steps: bool, end_h: float) -> Series:
    """Readings up to a time, thinned to `BLOCKS` where there are more, with the size of their errors."""
    k = int(np.searchsorted(time, end_h, side="right"))
    time, level, count = time[:k], level[:k], np.ones(k)
    if k > BLOCKS:
        place = np.minimum(BLOCKS * (time - time[0]) / np.ptp(time), BLOCKS - 1).astype(int)
        first = np.flatnonzero(np.diff(place, prepend=-1))
        count = np.diff(first, append=k).astype(float)
        if steps:  # the last reading of each block holds all its increments
            rows = np.append(0, first[1:] - 1 + count[1:].astype(int))
            time, level, count = time[rows], level[rows], np.ones(rows.size)
        else:
            time, level = np.add.reduceat(time, first) / count, np.add.reduceat(level, first) / count
    variance, dof = _increment_variance(time, level) if steps else _reading_variance(time, level, count)
    return Series(time, level, variance, dof, steps, _grain(level))


def _grain(level: Floats) -> float:
    """The smallest step, where all small steps are one, two, three or four of it; else 0: the readings run smoothly."""
    steps = np.abs(np.diff(level))
    steps = steps[steps > 0]
    if not steps.size:
        return 0.0
    few = steps[steps < 4.5 * steps.min()] / steps.min()
    return float(steps.min()) if few.max() > 1.5 and np.abs(few - np.round(few)).max() < WHOLE else 0.0


def _readings(time_h: ArrayLike, amount: ArrayLike, noise: str) -> tuple[Floats, Floats, bool]:
    one_of(noise, ("independent", "accumulating"), "noise")
    time, level = numbers(time_h, "time [h]"), numbers(amount, "amount")
    same_length(time=list(time), amount=list(level))
    rising(time, "time [h]")
    if time.size < FEWEST:
        raise FitError(f"{time.size} readings", f"at least {FEWEST}", "take more readings")
    if np.ptp(level) <= 1e-12 * np.max(np.abs(level)):
        raise InputError(
            f"amounts from {level.min():g} to {level.max():g}", "an amount that changes", "check the column"
        )
    if (np.diff(level) <= 0).all():
        raise InputError(
            f"an amount that falls from {level[0]:g} to {level[-1]:g}",
            "a cumulative amount, which rises",
            "add up what came in each step, or turn a mass left into a mass lost",
        )
    return time, level, noise == "accumulating"


def _limits(value: Number, from_scatter: float, known: float) -> tuple[float, float]:
    """95 % limits: half a width from the scatter, and a standard uncertainty that does not come from it."""
    half = math.hypot(from_scatter, 1.96 * known)
    return nominal(value) - half, nominal(value) + half


def _reading_variance(time: Floats, level: Floats, count: Floats) -> tuple[Floats, float]:
    """Variance of a reading (a mean of `count`) about its neighbours' curve, and its degrees of freedom."""
    odd, _ = _out_of_line(time, level, 1 / np.sqrt(count))
    size, dof = _middle_square(odd)
    return size / count, dof


def _increment_variance(time: Floats, level: Floats) -> tuple[Floats, float]:
    """Variance of each increment, part constant and part in proportion to it, from neighbouring ones."""
    step, wait = np.diff(level), np.diff(time)
    rate, middle = step / wait, 0.5 * (time[1:] + time[:-1])
    mean = np.maximum(np.convolve(np.pad(step, 2, mode="edge"), np.ones(5) / 5, mode="valid"), 0.0)
    mean /= max(float(mean.mean()), 1e-300)
    best, found = np.inf, (np.ones_like(step), 1.0)
    for share in (1.0, 0.2, 0.03):
        relative = share + (1 - share) * mean
        odd, spread = _out_of_line(middle, rate, np.sqrt(relative) / wait)
        size, dof = _middle_square(odd[spread >= 0.3 * spread.max()])  # where nothing comes nothing scatters
        size = max(size, 1e-300)
        misfit = float(np.minimum(odd**2 / size, 9.0).sum())  # a corner weighs no more than three of its sd
        cost = misfit + odd.size * np.log(size) + 2 * float(np.log(spread).sum())
        if cost < best:
            best, found = cost, (relative * size, dof)
    return found


def _out_of_line(time: Floats, value: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """How far each value is from the cubic through its four neighbours, over what its errors give; and that."""
    n = time.size - 4
    rows = np.arange(n)[:, None] + np.array([0, 1, 3, 4])
    near, at = time[rows], time[2:-2, None]
    weight = np.ones((n, 4))
    for i in range(4):
        for j in range(4):
            if i != j:
                weight[:, i] *= (at[:, 0] - near[:, j]) / (near[:, i] - near[:, j])
    spread = np.sqrt(sd[2:-2] ** 2 + np.sum((weight * sd[rows]) ** 2, axis=1))
    return (value[2:-2] - np.sum(weight * value[rows], axis=1)) / spread, spread


def _middle_square(odd: Floats) -> tuple[float, float]:
    """Mean square of normal numbers from the smaller three fifths of them, and its degrees of freedom.

    Where sugar runs out the gas turns a corner; it is no scatter, and is among the two fifths that are left out.
    """
    kept = np.sort(odd**2)[: max(1, round(KEPT * odd.size))]
    size = float(kept.mean()) / KEPT_MEAN / (1 + FEW_ODD / odd.size)
    return size, max(DOF_A_READING * odd.size, 1.0)


def _finish(seen: Series, wide: float, fraction: float, q: float) -> tuple[float, tuple[float, float]]:
    """When what counts as finished had come, and the nearest times on either side that a t-test at 5 % refuses.

    Errors that accumulate carry a crossing away with them: there, every time that is not refused counts.
    """
    n, total = seen.time.size, float(np.ptp(seen.level))
    enough = float(seen.variance.mean()) / (LEVEL_TO * total) ** 2 * float(np.median(np.diff(seen.time)))
    places = np.array([seen.level_at(i, min(wide / 2, enough)) for i in range(n)])
    first, last = seen.level_at(0, wide / 2), seen.level_at(n - 1, wide / 2)
    gaps = places - first - fraction * (last - first)
    gap, room = gaps @ seen.level, q * np.asarray(seen.u(gaps))
    rising = _monotone(gap)
    after = int(np.argmax(rising >= 0))
    value, corner = _crossing(seen.time, rising, after)
    before, behind = gap + room < 0, gap - room >= 0
    if seen.steps:
        begin, end = int(np.argmax(~before)), n - int(np.argmax(~behind[::-1]))
    else:
        begin = after - int(np.argmax(before[:after][::-1])) if before[:after].any() else 0
        end = after + int(np.argmax(behind[after:])) if behind[after:].any() else n
    low = value - math.hypot(max(value - _crossing(seen.time, gap + room, begin)[0], 0.0), corner)
    if end == n:
        return value, (low, np.inf)
    return value, (low, value + math.hypot(max(_crossing(seen.time, gap - room, end)[0] - value, 0.0), corner))


def _crossing(time: Floats, gap: Floats, after: int) -> tuple[float, float]:
    """When the gap closed between two readings, and half the time within which it may have done so [h], 95 %.

    Latest: along the straight line between them. Earliest: the gas went on as before and turned a sharp corner, or
    came up as it goes on afterwards, whichever is later. Between readings an hour apart that is a quarter of an hour.
    """
    if after == 0:
        return float(time[0]), 0.0
    t, g = float(time[after - 1]), float(gap[after - 1])
    latest = t - g * float(time[after] - t) / float(gap[after] - g)
    early = t
    if after > 1 and g > gap[after - 2]:
        early = max(early, t - g * float(t - time[after - 2]) / float(g - gap[after - 2]))
    if after + 1 < time.size and gap[after + 1] > gap[after]:
        slope = (gap[after + 1] - gap[after]) / (time[after + 1] - time[after])
        early = max(early, float(time[after] - gap[after] / slope))
    half = (latest - min(early, latest)) / 2
    return latest - half, 0.95 * half
