"""Vents in a pressure log: sudden falls found where nobody wrote them down."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.basis.checks import Floats, not_negative, numbers, rising, same_length
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, plus_minus

Rows = NDArray[np.intp]

THRESHOLD: Final = 3.4
"""A fall counts from so many of its own standard errors on: set by simulation, as are the next three. In a log
of more than 1,500 readings from as many as leave half a false vent in the whole of it."""

PLAIN: Final = 6.0
"""The same where somebody says that the vessel stayed closed: what chance never shows in a log of any length."""

SPAN: Final = 12
"""The most readings on either side that a fall is judged by; fewer where the log is bent."""

BENT, ALIKE = 1.5, 1.0
"""A stretch counts as straight, two stretches as equally bent, within so many standard errors."""

LOOKS: Final = np.array([[1.0], [1.15], [1.4]])
"""By how much the error is widened for each of the three ways to look, since the largest answer is taken."""

MAD: Final = 0.6745
"""Median absolute deviation of a normal law, in its standard deviations: 0.75 quantile of the standard normal law."""

FITS: Final = 2.3
"""A stretch is followed by its line while the misfit is at most so many of its own standard deviations, √(2 ν), above
its mean ν: one straight stretch in a hundred is cut short (normal law)."""

DOUBTFUL, WILD = 4.0, 6.0
"""A reading is looked at, and taken for a glitch, from so many standard deviations off its neighbours on (own choice:
by chance one reading in 16,000, and none in 500 million)."""

QUIET = 3.0, 0.1
"""The four neighbours of a glitch lie on one line: within so many standard deviations in all, or a tenth of how far the
glitch is off (own choice: a gauge that jumps by bars need not be quiet to hundredths)."""

CHUNK: Final = 2_000
"""Gaps judged at once, so that the work stays in the cache."""

DENSE: Final = 20_000
"""From so many readings on, two before and two after a gap settle most gaps beforehand."""


@dataclass(frozen=True, repr=False)
class Vents(Written):
    """Where the pressure fell at once. A valve open over several readings shows as so many vents.

    Parameters
    ----------
    rows : array of int
        Row (1-based) of the first reading after each vent.
    last_before : array of int
        Row of the last reading before it: one less, unless a wild reading lies between.
    time_h : array
        Midway between the two [h].
    drop_bar, u_drop_bar : array
        How far the pressure fell, and the standard uncertainty of that [bar].
    noise_bar : float
        Standard deviation of a reading [bar], as given or as found in the log.
    wild_rows : array of int
        Single readings far off the line of their neighbours; a vent that refilled before the next reading
        looks the same.
    """

    rows: Rows
    last_before: Rows
    time_h: Floats
    drop_bar: Floats
    u_drop_bar: Floats
    noise_bar: float
    wild_rows: Rows

    def page(self) -> Page:
        """The vents as a lab-book page."""
        lines = [Line("vents found", str(self.rows.size)), Line("noise of a reading", self.noise_bar, "bar")]
        lines += [
            Line(
                f"vent at {when:.4g} h",
                plus_minus(-drop),
                "bar",
                f"± {u:.2g}; between rows {before} and {row}",
            )
            for when, drop, u, before, row in zip(
                self.time_h, self.drop_bar, self.u_drop_bar, self.last_before, self.rows
            )
        ]
        return Page("Vents in the pressure log", lines, wild_remarks(self.wild_rows))


def find_vents(
    time_h: ArrayLike, pressure_bar: ArrayLike, *, noise_bar: float | None = None, threshold: float = THRESHOLD
) -> Vents:
    """Vents in a pressure log, by what the readings before and after each of them say.

    A vent is a fall from one reading to the next that the trend on either side does not explain. The slow
    swing of day and night and the rise of degassing after a vent are trend.

    Parameters
    ----------
    time_h, pressure_bar : array-like of shape (n,)
        Times [h] and pressures [bar], gauge or absolute.
    noise_bar : float, optional
        Standard deviation of a reading [bar]; taken from the scatter of the log when not given.
    threshold : float
        How many of its own standard errors a fall must have.

    Returns
    -------
    Vents

    Notes
    -----
    On both sides of each interval a line is fitted to up to 12 readings: as many as lie straight on each
    side, or equally many with the same curvature; the fall is the difference of the two in the middle of the
    interval. It is a vent if it is more than `threshold` of its standard errors and the largest nearby, and if the two
    readings fall as well. Vents found cut the log, and the pieces are searched again.

    By simulation (readings 5 to 15 min apart, an unlogged swing of 5 K between day and night, liquids that
    refill the gas space within 10 min to 1 h) it finds 95 to 99 % of the falls that are at least five standard
    deviations, up to four hundred, with 0.3 to 1 false vents in 1,000 readings. Weaker: readings an hour apart
    (79 to 95 %), and falls between 5.0 and 5.5 alone (60 to 90 %, where a search that knew the refill beforehand
    would reach 98 %). In long logs the false ones are held to half a vent in all.

    Raises
    ------
    InputError
        If times do not rise, or there are fewer than 3 readings.

    Examples
    --------
    >>> import numpy as np
    >>> time = np.arange(0, 12, 0.25)
    >>> pressure = 0.1 * time + 0.004 * np.sin(40 * time) - 0.3 * (time > 6)
    >>> find_vents(time, pressure).rows
    array([26])

    References
    ----------
    A two-sided test for a step between local straight lines; the robust scale is the median absolute
    deviation (Hampel, J. Am. Stat. Assoc. 69 (1974) 383, from memory). Threshold set by own simulation.
    """
    time = numbers(time_h, "time [h]", at_least=3)
    pressure = numbers(pressure_bar, "pressure [bar]", at_least=3)
    same_length(time=time, pressure=pressure)
    rising(time, "time [h]")
    if noise_bar is not None:
        not_negative(noise_bar, "noise of a reading [bar]")
    noise = noise_bar if noise_bar else scatter(time, pressure)
    if not noise > 0:
        raise InputError(
            f"the log shows no scatter in {time.size} readings", "a noise by which a fall can be judged",
            "give noise_bar, for instance half the gauge's last digit",
        )  # fmt: skip
    return _vents(time, pressure, noise, None, threshold)


def vents_at(time_h: Floats, pressure_bar: Floats, rows: Sequence[int], noise_bar: float) -> Vents:
    """The vents before the rows (1-based, first reading after each) that a person has named."""
    for row in rows:
        if not 2 <= row <= time_h.size:
            raise InputError(
                f"a vent is named at row {row} of {time_h.size}", "the row of the first reading after a vent",
                f"give rows from 2 to {time_h.size}, the first reading being row 1",
            )  # fmt: skip
    return _vents(time_h, pressure_bar, noise_bar, np.unique(np.asarray(rows, dtype=np.intp)) - 2)


def _vents(time: Floats, pressure: Floats, noise: float, named: Rows | None, threshold: float = THRESHOLD) -> Vents:
    wild = _wild(time, pressure, noise)
    if named is not None:
        wild[named] = wild[named + 1] = False
    search = _Search(time, pressure, noise, wild, threshold)
    if named is None:
        before, after = search.run()
    else:
        before, after = search.measured(np.searchsorted(search.kept, named))
    drop, u = search.drop[before], search.error[before]
    middle = (time[before] + time[after]) / 2
    return Vents(after + 1, before + 1, middle, drop, u, noise, np.flatnonzero(wild) + 1)


def scatter(time: Floats, value: Floats) -> float:
    """Standard deviation of a reading, from how far each lies off the line between its neighbours.

    A gauge that shows coarse steps has at least the error of its last digit.
    """
    if value.size < 3:
        return 0.0
    share = (time[1:-1] - time[:-2]) / (time[2:] - time[:-2])
    off = value[1:-1] - (1 - share) * value[:-2] - share * value[2:]
    scaled = np.abs(off) / np.sqrt(1 + share**2 + (1 - share) ** 2)
    steps = np.abs(np.diff(value))
    steps = steps[steps > 1e-9]
    digit = float(steps.min()) / np.sqrt(12) if steps.size and np.mean(np.abs(np.diff(value)) <= 1e-9) > 0.2 else 0.0
    return max(float(np.median(scaled)) / MAD, float(digit))


def wild_remarks(rows: Rows) -> list[str]:
    """What is said about single readings off the line."""
    if not rows.size:
        return []
    shown = ", ".join(str(row) for row in rows[:8]) + (f" and {rows.size - 8} more" if rows.size > 8 else "")
    return [
        f"Single reading(s) far off their neighbours, taken for a glitch: row {shown}. A vent that refilled "
        "before the next reading looks the same; if it was one, name the vents by row."
    ]


def _wild(time: Floats, y: Floats, noise: float) -> NDArray[np.bool_]:
    """Readings far off a straight line on which their two neighbours to either side do lie."""
    wild = np.zeros(y.size, dtype=bool)
    if y.size < 5:
        return wild
    # cheap first: few readings of a long log are far off the middle of their neighbours, only these get a line
    doubtful = np.flatnonzero(np.abs(y[2:-2] - (y[1:-3] + y[3:-1]) / 2) > DOUBTFUL * noise) + 2
    beside = doubtful[:, None] + np.array([-2, -1, 1, 2])
    x, z = time[beside] - time[doubtful][:, None], y[beside] - y[doubtful][:, None]
    x_bar, z_bar = x.mean(1), z.mean(1)
    dx, dz = x - x_bar[:, None], z - z_bar[:, None]
    slope = (dx * dz).sum(1) / (dx * dx).sum(1)
    misfit = ((dz - slope[:, None] * dx) ** 2).sum(1)
    off = z_bar - slope * x_bar
    straight = misfit < np.maximum((QUIET[0] * noise) ** 2, (QUIET[1] * off) ** 2)
    wild[doubtful] = (np.abs(off) > WILD * noise) & straight
    return wild


class _Search:
    """The search for falls: gap i lies between readings i and i + 1.

    Every gap is asked in three ways how far the level falls across it, since no one way serves all logs: a straight
    line on each side for itself (a vent between two slopes), two lines of one curvature (a bent log), and the line
    before carried on to the single reading after (a liquid that refills the gas space at once). Each fall has a
    standard error by least squares; the way that says the most is taken, and its error is widened for having been
    chosen (`LOOKS`).
    """

    def __init__(self, time: Floats, value: Floats, noise: float, wild: NDArray[np.bool_], threshold: float) -> None:
        kept = np.flatnonzero(~wild)
        self.kept, self.noise = kept, noise
        self.time, self.value = time[kept], value[kept]
        self.gaps = kept.size - 1
        self.cut = np.zeros(kept.size, dtype=np.intp)  # number of vents before each reading
        self.drop = np.zeros(time.size)
        self.error = np.zeros(time.size)
        # in a long log chance alone passes any fixed threshold: half a false vent is allowed in the whole of it
        self.threshold = max(threshold, NormalDist().inv_cdf(1 - 0.5 / kept.size))
        # most gaps hold no vent, so their falls over their errors must scatter by 1; where they scatter more, the
        # errors of that way are too small for this log (unlogged day and night, say) and all of them are widened
        some = np.arange(0, self.gaps, max(1, self.gaps // 4000))
        self.scale = np.ones_like(LOOKS)
        drop, error = self.looks(some)
        self.scale = np.maximum(1.0, np.median(np.abs(drop / error), axis=1, keepdims=True) / MAD)

    def judge(self, gap: Rows) -> tuple[Floats, Floats]:
        """How far the level falls across each gap, and the standard error of that, by the way that says more."""
        if gap.size > CHUNK:
            parts = [self.judge(gap[start : start + CHUNK]) for start in range(0, gap.size, CHUNK)]
            return np.concatenate([part[0] for part in parts]), np.concatenate([part[1] for part in parts])
        drop, error = self.looks(gap)
        pick = (np.argmax(drop / error, axis=0), np.arange(gap.size))
        return drop[pick], error[pick]

    def looks(self, gap: Rows) -> tuple[Floats, Floats]:
        """The falls across each gap by all ways, and their errors; arrays of shape (3, gaps)."""
        middle = (self.time[gap] + self.time[gap + 1]) / 2
        before = _Stretches(self, gap, -1, middle)
        after = _Stretches(self, gap + 1, 1, middle)
        ways = [_either_side(before, after), _same_bend(before, after), _at_once(before, after)]
        drop = np.stack([way[0] for way in ways])
        error = self.noise * np.sqrt(np.stack([way[1] for way in ways])) * self.scale * LOOKS
        return drop, error

    def run(self) -> tuple[Rows, Rows]:
        """Last reading before and first after each vent, as rows of the full log."""
        # a vent that is found cuts the log: no stretch reaches across it, and what it hid beside it is looked at again
        fall = -np.diff(self.value)
        hopeful = fall > self.noise
        if self.gaps > DENSE:
            hopeful[1:-1] &= self.value[:-3] + self.value[1:-2] - self.value[2:-1] - self.value[3:] > 3 * self.noise
        waiting = np.flatnonzero(hopeful)
        found = np.array([], dtype=np.intp)
        while waiting.size:
            drop, error = self.judge(waiting)
            new = self.largest_nearby(waiting, drop / error)
            if not new.size:
                break
            found = np.union1d(found, new)
            self.cut = np.cumsum(np.bincount(found + 1, minlength=self.kept.size))
            near = np.unique(np.clip(new[:, None] + np.arange(-SPAN, SPAN + 1), 0, self.gaps - 1))
            waiting = np.setdiff1d(near[hopeful[near]], found)
        return self.measured(found)

    def largest_nearby(self, gap: Rows, size: Floats) -> Rows:
        """Of the gaps whose fall is large enough, those where it is the largest within half a span."""
        reach = SPAN // 2
        landscape = np.full(self.gaps + 2 * reach, -np.inf)
        landscape[gap + reach] = size
        strong = gap[size > self.threshold]
        around = landscape[strong[:, None] + np.arange(2 * reach + 1)]
        return np.asarray(strong[np.argmax(around, axis=1) == reach])

    def measured(self, gaps: Rows) -> tuple[Rows, Rows]:
        """The vents in these gaps, each judged against all others."""
        if gaps.size:
            self.cut = np.cumsum(np.bincount(gaps + 1, minlength=self.kept.size))
            self.drop[self.kept[gaps]], self.error[self.kept[gaps]] = self.judge(gaps)
        return self.kept[gaps], self.kept[gaps + 1]


class _Stretches:
    """Straight lines through the 1, 2, … SPAN readings next to each gap; arrays of shape (gaps, SPAN).

    The sums of least squares (1, x, x², x³, x⁴, y, xy, …) run along with the number of readings, so that all lengths of
    all gaps come from one pass. ``bend`` is the coefficient of x² when it is added to the line, made orthogonal to it;
    ``v_…`` are variances for readings of unit noise (any textbook of least squares).
    """

    def __init__(self, log: _Search, first: Rows, step: int, at: Floats) -> None:
        rows = first[:, None] + step * np.arange(SPAN)
        inside = np.clip(rows, 0, log.gaps)
        own = (rows == inside) & (log.cut[inside] == log.cut[first][:, None])
        x = np.where(own, log.time[inside] - at[:, None], 0.0)
        y = np.where(own, log.value[inside] - log.value[first][:, None], 0.0) / log.noise
        n, sx, sy, sxx, sxy, syy, s3, s4, sqy = (
            np.cumsum(term, axis=1) for term in (own * 1.0, x, y, x * x, x * y, y * y, x**3, x**4, x * x * y)
        )
        self.own, self.count, self.noise = own, own.sum(1), log.noise
        self.base, self.x = log.value[first], x[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            m2 = sxx - sx * sx / n
            self.slope = (sxy - sx * sy / n) / m2
            tilt = (s3 - sxx * sx / n) / m2
            q2 = s4 - sxx * sxx / n - tilt**2 * m2
            self.bend = (sqy - sxx * sy / n - tilt * (sxy - sx * sy / n)) / q2
            self.level = sy / n - self.slope * sx / n
            self.lift = sxx / n - tilt * sx / n  # error of the level for each unit of bend
            self.v_level, self.v_slope, self.v_bend = sxx / (n * m2), 1 / m2, 1 / q2
            self.shared = -sx / (n * m2)  # covariance of level and slope
            self.misfit = syy - sy * sy / n - self.slope**2 * m2
            self.spare = n - 2


def _longest_straight(side: _Stretches) -> tuple[tuple[Any, Any], Floats]:
    """Index of the longest straight stretch of each gap, and by how much its variances grow where none is."""
    with np.errstate(invalid="ignore", divide="ignore"):
        fits = side.misfit < side.spare + FITS * np.sqrt(2 * np.maximum(side.spare, 0))
        straight = side.own & (side.spare >= 1) & (side.bend**2 < BENT**2 * side.v_bend) & fits
        some = straight.any(1)
        longest = SPAN - 1 - np.argmax(straight[:, ::-1], axis=1)
        pick = (np.arange(longest.size), np.where(some, longest, np.minimum(side.count, 3) - 1))
        poor = side.misfit[pick] / side.spare[pick]
    return pick, np.where(some | ~np.isfinite(poor), 1.0, np.maximum(poor, 1.0))


def _either_side(before: _Stretches, after: _Stretches) -> tuple[Floats, Floats]:
    """The longest straight stretch on each side, each for itself."""
    levels, variances, slopes, v_slopes = [], [], [], []
    for side in (before, after):
        pick, poor = _longest_straight(side)
        line = side.count >= 2
        levels.append(np.where(line, side.level[pick], np.nan))
        variances.append(np.where(line, side.v_level[pick] * poor, np.nan))
        slopes.append(np.where(line, side.slope[pick], 0.0))
        v_slopes.append(np.where(line, side.v_slope[pick] * poor, np.inf))
    for mine, other, side in ((0, 1, before), (1, 0, after)):  # one reading only: its slope is the other side's
        alone = np.isnan(levels[mine])
        levels[mine] = np.where(alone, -slopes[other] * side.x, levels[mine])
        variances[mine] = np.where(alone, 1 + v_slopes[other] * side.x**2, variances[mine])
    drop = before.base - after.base + (levels[0] - levels[1]) * before.noise
    return drop, variances[0] + variances[1]


def _at_once(before: _Stretches, after: _Stretches) -> tuple[Floats, Floats]:
    """The longest straight stretch before, carried on to the single reading after: the liquid may refill soon."""
    pick, poor = _longest_straight(before)
    ahead = after.x
    level = before.level[pick] + before.slope[pick] * ahead
    variance = before.v_level[pick] + (before.v_slope[pick] * ahead + 2 * before.shared[pick]) * ahead
    line = (before.count >= 2) & np.isfinite(variance)
    drop = np.where(line, before.base - after.base + level * before.noise, 0.0)
    return drop, np.where(line, variance * poor + 1, 1.0)


def _same_bend(before: _Stretches, after: _Stretches) -> tuple[Floats, Floats]:
    """The longest pair of stretches of equal length and equal curvature."""
    with np.errstate(invalid="ignore", divide="ignore"):
        v_both = before.v_bend + after.v_bend
        bend = (before.bend * after.v_bend + after.bend * before.v_bend) / v_both
        v_bend = before.v_bend * after.v_bend / v_both
        fits = np.ones_like(before.own)
        for side in (before, after):
            rest, spare = side.misfit - side.bend**2 / side.v_bend, side.spare - 1
            fits &= side.own & (spare >= 1) & (rest < spare + FITS * np.sqrt(2 * np.maximum(spare, 0)))
        alike = fits & ((before.bend - after.bend) ** 2 < ALIKE**2 * v_both)
        longest = (np.arange(alike.shape[0]), SPAN - 1 - np.argmax(alike[:, ::-1], axis=1))
        tilt = before.lift - after.lift
        drop = before.level - after.level - bend * tilt
        variance = before.v_level + after.v_level + tilt**2 * v_bend
    some = alike.any(1)
    fallen = before.base - after.base + drop[longest] * before.noise
    return np.where(some, fallen, 0.0), np.where(some, variance[longest], 1.0)
