"""The pressure in a closed vessel: CO2 in the gas space, in the liquid, and in what was let out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, between, not_negative, one_of, positive
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, OXYGEN_IN_AIR, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Numbers, nominal, percent, plus_minus, uncertainty
from fermkit.gas.counters import paired
from fermkit.gas.curve import (
    HELD,
    MOST_DELAY_H,
    OXYGEN,
    STILL_FERMENTING,
    GasCurve,
    Number,
    late_rate,
    ratio,
    shifted,
    stopped,
)
from fermkit.gas.vents import PLAIN, THRESHOLD, Vents, find_vents, scatter, vents_at, wild_remarks
from fermkit.matter.properties import (
    MOST_CO2_BAR,
    bicarbonate_factor,
    co2_compressibility,
    co2_solubility,
    co2_swelling,
    co2_vs_water,
    water_vapour_pressure,
)

Rows = NDArray[np.intp]

BEFORE_H, AFTER_H = 2.0, 5.0
"""Time before and after a vent from which its size and the refill are taken [h], at least 6 and 12 readings
(own choice: long enough for a still bottle to refill, short against a fermentation)."""

MOMENTS: Final = np.linspace(-0.45, 0.45, 10)
"""When a vent may have fallen within its interval, from its middle, in intervals."""

SMALL_BAR: Final = 0.01
"""Step from which the slope of amount against pressure is taken [bar]: small against a reading, large against
rounding."""

ROUGH: Final = 0.05
"""Relative error of a vent's size that the readings do not show: one time constant and a smooth production are
not the whole truth. Set by simulation, so that totals of vented vessels lie as far off as they say."""


def gas_from_pressure(
    time_h: ArrayLike,
    pressure_bar_gauge: ArrayLike,
    *,
    headspace_L: Number,
    liquid_L: Number,
    temperature_C: Numbers,
    barometer_bar: Numbers = STANDARD_ATMOSPHERE_BAR,
    pH: Number | None = None,
    u_reading_bar: float | None = None,
    gauge_factor: Number = 1.0,
    oxygen_used: tuple[float, float] = (0.0, 1.0),
    solubility_vs_water: Number | None = None,
    vents: str | Sequence[int] = "find",
) -> GasCurve:
    """CO2 produced, from the gauge pressure of a closed vessel, vented or not.

    The CO2 is in three places: in the gas space, in the liquid (mostly more than in the gas), and in what was
    let out. A vent empties the gas space, the liquid refills it: the rise after a vent is not production.

    Parameters
    ----------
    time_h, pressure_bar_gauge : array-like of shape (n,)
        Times [h] and pressures above the barometer [bar]. At the first reading the vessel holds air.
    headspace_L, liquid_L : float or ufloat
        Volumes of the gas space and of the liquid [L].
    temperature_C : float, ufloat or array of shape (n,)
        Of the vessel [°C]. A day–night swing that is not logged shows as a swing of the CO2.
    barometer_bar : float, ufloat or array of shape (n,)
        Absolute [bar].
    pH : float or ufloat, optional
        Of the liquid at the end; above 5 bicarbonate counts.
    u_reading_bar : float, optional
        Standard uncertainty of a reading, independent from one to the next [bar]; from the scatter of the
        log when not given.
    gauge_factor : float or ufloat
        True pressure over indicated pressure.
    oxygen_used : (low, high)
        Share of the sealed air's oxygen that the yeast used up: an interval, equally likely between its ends.
        Oxygen that is gone makes room that CO2 fills without the gauge showing it.
    solubility_vs_water : float or ufloat, optional
        CO2 that the liquid holds in balance, over what water holds; else `co2_vs_water` of an unknown liquid.
    vents : "find", "plain", "none" or row numbers
        Falls that look like vents, plain ones only (6 standard errors: for a vessel that is said to have stayed
        closed), none, or the rows (1-based) of the first reading after each vent.

    Returns
    -------
    GasCurve
        ``counts="produced"``. The errors of adding the vents back are in ``common``.

    Notes
    -----
    p_CO2 = p − p_w(T) − p_air; gas n = p_CO2 V/(Z R T), V what the liquid leaves that N has swollen (`co2_swelling`);
    liquid N = V_l S(T, p_CO2) × bicarbonate × solubility_vs_water, V_l with its swelling. While gas still comes the
    liquid holds more, up to what it holds under 1 bar of CO2 (`STILL_FERMENTING`); the whole curve is raised by the
    middle of that. A vent that takes Δn from the gas leaves the liquid richer than balance by N/n Δn, and this excess
    fades with one time constant τ for all vents, found by least squares:
    produced = n + N + Σ Δn (1 + N/n exp(−(t − t_vent)/τ)).
    Each Δn is fitted with a local polynomial to the readings around its vent, averaged over the moments within
    the interval at which it may have fallen. In simulation the totals of vented vessels are right within 0.5 %
    (three vents) when the temperature is logged. A slow liquid also lags behind its temperature, which is not
    followed: some 0.5 % more with a 5 K swing. What the air loses at each vent
    is counted; gas dissolved other than CO2, and the mutual non-ideality of air and CO2 (below 0.5 %), are not.

    Raises
    ------
    InputError
        If the pressures look absolute, a vessel volume is missing, or a vent is named outside the log.

    Examples
    --------
    >>> curve = gas_from_pressure([0, 12, 24], [0.0, 0.6, 1.4], headspace_L=0.5, liquid_L=1.5, temperature_C=25.0,
    ...                           oxygen_used=(0, 0), u_reading_bar=0.01)
    >>> curve.total()
    0.0989+/-0.0034

    References
    ----------
    Dalton's and Henry's laws; properties as in `co2_solubility` and `co2_compressibility`. The two
    compartments in balance are set out in `vessel`.
    """
    times, gauge, (temperature, barometer), rows, remarks = paired(
        time_h, pressure_bar_gauge, "gauge pressure [bar]", (temperature_C, "temperature [°C]"),
        (barometer_bar, "barometer [bar]"),
    )  # fmt: skip
    plain_t, plain_bar = (_plain(quantity) for quantity in (temperature, barometer))
    _check(gauge, headspace_L, liquid_L, plain_t, plain_bar, gauge_factor)
    not_negative(u_reading_bar or 0.0, "error of a reading [bar]")
    noise = u_reading_bar or scatter(times, gauge)
    found = _vents(times, gauge, noise, vents, rows)
    if found.wild_rows.size:
        remarks += wild_remarks(rows[found.wild_rows - 1])
    uncertain = _Conditions(
        headspace_L=headspace_L,
        liquid_L=liquid_L,
        warmer_K=_beyond(temperature),
        higher_bar=_beyond(barometer),
        pH=0.0 if pH is None else pH,
        gauge_factor=gauge_factor,
        dissolves=co2_vs_water() if solubility_vs_water is None else solubility_vs_water,
        oxygen_used=_evenly(oxygen_used, "oxygen_used", OXYGEN),
    )
    return _Log(times, gauge, plain_t, plain_bar, found, noise).curve(uncertain, remarks, rows)


@dataclass(frozen=True)
class _Conditions:
    """Everything besides the log that the CO2 depends on: values with their ±, or plain numbers.

    The log's own temperatures and barometer stay as they are; what moves all of them together is a shift.
    """

    headspace_L: Number
    liquid_L: Number
    warmer_K: Number
    higher_bar: Number
    pH: Number
    """0 where none was given."""
    gauge_factor: Number
    dissolves: Number
    """CO2 that the liquid holds, over what water holds."""
    oxygen_used: Number

    def values(self) -> tuple[Number, ...]:
        """In the order of the fields, as `wrap` needs them."""
        return tuple(getattr(self, one.name) for one in fields(self))

    def plain(self) -> "_Conditions":
        """Without their ±."""
        return _Conditions(*(nominal(value) for value in self.values()))


def _plain(quantity: Numbers) -> Floats:
    return np.asarray(getattr(quantity, "nominal_value", quantity), dtype=float)


def _beyond(quantity: Numbers) -> Number:
    """What a single value with ± may be off; a logged series is taken as it stands."""
    return 0.0 if isinstance(quantity, np.ndarray) else quantity - nominal(quantity)


def _check(gauge: Floats, headspace: Number, liquid: Number, t_C: Floats, barometer: Floats, factor: Number) -> None:
    positive(nominal(headspace), "headspace [L]", do="give the gas space above the liquid, in litres")
    positive(nominal(liquid), "liquid [L]")
    positive(nominal(factor), "factor of the gauge")
    for value in (float(np.min(barometer)), float(np.max(barometer))):
        between(value, 0.5, 1.2, "barometer [bar]", do="give bar, absolute: 1013 hPa is 1.013 bar")
    for value in (float(np.min(t_C)), float(np.max(t_C))):
        between(value, 1.1, 46.0, "temperature of the vessel [°C]")
    if float(gauge[0]) > 0.5:
        raise InputError(
            f"the first pressure is {gauge[0]:g} bar above the barometer",
            "a first reading near zero, with the vessel full of air",
            "give gauge pressures, not absolute ones, and begin with the closing of the vessel",
        )
    for value in (float(gauge.min()), float(gauge.max())):
        between(value, -0.4, 11.0, "gauge pressure [bar]", do="check the unit: 100 kPa is 1 bar")


def _evenly(interval: tuple[float, float], name: str, tag: Act) -> Number:
    """The middle of an interval with the standard uncertainty of a rectangle."""
    low, high = interval
    between(low, 0.0, high, f"{name}, lower end", do="give (low, high) with the smaller number first")
    between(high, low, 3.0, f"{name}, upper end", do="give shares, so (0, 1)")
    return rectangle(low, high, tag)


def _vents(times: Floats, gauge: Floats, noise: float, vents: str | Sequence[int], rows: Rows) -> Vents:
    none = Vents(*(np.array([], dtype=np.intp),) * 2, *(np.array([]),) * 3, noise, np.array([], dtype=np.intp))
    if isinstance(vents, str):
        one_of(vents, ("find", "plain", "none"), "vents")
        if vents == "none" or times.size <= 4 or not noise > 0:
            return none
        return find_vents(times, gauge, noise_bar=noise, threshold=PLAIN if vents == "plain" else THRESHOLD)
    return vents_at(times, gauge, [int(np.searchsorted(rows, row)) + 1 for row in vents], noise or 1e-4)


@dataclass(frozen=True)
class _Refill:
    """How fast the liquid refills the gas space after a vent: one time constant, with its range [h]."""

    tau_h: float
    low_h: float
    high_h: float


class _Log:
    """A pressure log and its vents, turned into moles for any values of the things that are uncertain."""

    def __init__(
        self, times: Floats, gauge: Floats, t_C: Floats, barometer: Floats, vents: Vents, noise: float
    ) -> None:
        # wild readings are left out first: `kept` leads from the rows that stay to those of the log
        stays = np.ones(times.size, dtype=bool)
        stays[vents.wild_rows - 1] = False
        self.kept = kept = np.flatnonzero(stays)
        if kept.size < times.size:
            times, gauge = times[kept], gauge[kept]
            t_C, barometer = (series[kept] if series.ndim else series for series in (t_C, barometer))
        self.time, self.gauge, self.t_C, self.barometer = times, gauge, t_C, barometer
        self.vents, self.noise = vents, noise
        self.before = np.searchsorted(kept, vents.last_before - 1)
        self.after = np.searchsorted(kept, vents.rows - 1)
        # around each vent the readings within BEFORE_H and AFTER_H, at least 6 and 12, never across another vent
        early = np.minimum(self.before - 5, np.searchsorted(self.time, self.time[self.before] - BEFORE_H))
        late = np.maximum(self.after + 12, np.searchsorted(self.time, self.time[self.after] + AFTER_H))
        first = np.maximum(early, np.concatenate(([0], self.after[:-1])).astype(np.intp))
        last = np.minimum(late, np.concatenate((self.before[1:] + 1, [kept.size])).astype(np.intp))
        self.windows = [
            (_thinned(np.arange(b, a - 1, -1)), _thinned(np.arange(c, d)))
            for a, b, c, d in zip(first, self.before, self.after, last)
        ]

    def warm(self, row: Any, given: _Conditions) -> Any:
        """Temperature at some rows [°C]."""
        return (self.t_C[row] if self.t_C.ndim else self.t_C) + given.warmer_K

    def absolute(self, row: Any, given: _Conditions) -> Any:
        """Pressure in the vessel at some rows [bar]."""
        outside = (self.barometer[row] if self.barometer.ndim else self.barometer) + given.higher_bar
        return self.gauge[row] * given.gauge_factor + outside

    def co2_bar(self, row: Any, given: _Conditions, progress: Any) -> Any:
        """Partial pressure of CO2 at some rows [bar]: the total less vapour and what air is left."""
        t_C, first = self.warm(row, given), self.warm(0, given)
        air = (self.absolute(0, given) - water_vapour_pressure(first)) / (first + ZERO_CELSIUS_K)
        left = 1 - self.vents.drop_bar * given.gauge_factor / self.absolute(self.before, given)
        remains = np.concatenate(([1.0], np.cumprod(left)))[np.searchsorted(self.after, row, side="right")]
        air_bar = air * (t_C + ZERO_CELSIUS_K) * remains * (1 - OXYGEN_IN_AIR * given.oxygen_used * progress)
        dry = self.absolute(row, given) - water_vapour_pressure(t_C)
        # the swollen liquid presses the air together: once over is enough, since it does so by a hundredth
        swollen = co2_swelling(t_C) * self.moles(row, dry - air_bar, given)[1]
        return dry - air_bar / (1 - swollen / given.headspace_L)

    def moles(self, row: Any, co2_bar: Numbers, given: _Conditions) -> tuple[Any, Any]:
        """CO2 in the gas and in the liquid [mol] for partial pressures at some rows."""
        t_C = self.warm(row, given)
        # early on noise may leave a pressure below zero: its mirror image, so that the noise cancels
        size, sign = np.clip(np.abs(co2_bar), 0.0, MOST_CO2_BAR), np.sign(co2_bar)
        RT = L_BAR_GAS_CONSTANT * (t_C + ZERO_CELSIUS_K)
        carbonate = bicarbonate_factor(given.pH, t_C) if given.pH else 1.0
        held = co2_solubility(t_C, size) * (given.dissolves * carbonate)  # in a litre, swollen by it
        liquid = given.liquid_L * held / (1 - held * co2_swelling(t_C))
        room = given.headspace_L - co2_swelling(t_C) * liquid
        return sign * size * room / (co2_compressibility(t_C, size) * RT), sign * liquid

    def curve(self, uncertain: _Conditions, remarks: list[str], rows: Rows) -> GasCurve:
        """The curve of CO2 produced."""
        given = uncertain.plain()
        every = np.arange(self.time.size)
        progress = self._progress(every, given)
        co2_bar = self.co2_bar(every, given, progress)
        rise = sum(self.moles(every, co2_bar, given))
        # error of each value: what SMALL_BAR more on the gauge would make of it, scaled to the noise
        error = (sum(self.moles(every, co2_bar + SMALL_BAR, given)) - rise) * (self.noise / SMALL_BAR)
        richer = self._held_over_gas(given, progress)
        refill = self._refill(rise, richer, error)
        lost, variance, late, _, _ = self._fit(rise, richer, refill.tau_h, error, 4 * refill.tau_h)
        co2 = rise + self._back(every, lost, richer, refill.tau_h, late)
        co2 -= co2[0]
        adding = self._adding_back(rise, variance, richer, refill, error)
        excess = float(self._back(every[-1:], lost, richer, refill.tau_h, late)[0]) - float(lost.sum())
        total, store = self._at_end(uncertain, progress, refill, error)
        store = store + excess * ratio(uncertain.dissolves) * ratio(uncertain.liquid_L)
        said = [*self._said(lost, adding, refill, rows), *self._doubts(float(co2_bar[-1]), uncertain, float(co2[-1]))]
        held_more = self._supersaturated(co2, given, refill)
        if nominal(held_more) > 0:
            raised = 1 + nominal(held_more) / co2[-1]
            co2, error = co2 * raised, error * raised
            total, store = total + held_more, store + held_more
            said.append(
                f"Gas still comes, so the liquid may hold more than its balance: {plus_minus(held_more, 'mol')} is "
                "added. This ± goes once gas has stopped."
            )
        common = shifted(total, adding, float(co2[-1]))
        return GasCurve(
            self.time, co2, "produced", "pressure", error, np.zeros_like(co2), common, (*remarks, *said), store,
            solubility_vs_water=uncertain.dissolves,
        )  # fmt: skip

    def _supersaturated(self, co2: Floats, given: _Conditions, refill: _Refill) -> Number:
        """What a liquid that still makes gas holds beyond its balance [mol].

        The excess drives the gas out: so it goes with the rate, not with the pressure above. It is what comes in one
        time constant of the exchange, which vents show; without vents, what comes in up to `MOST_DELAY_H`, and no
        more than the liquid would hold under 1 bar of CO2.
        """
        if not co2[-1] > 0 or stopped(self.time, co2):
            return 0.0
        rate = late_rate(self.time, co2)
        if self.windows:
            return rectangle(rate * refill.low_h, rate * refill.high_h, HELD)
        low, high = STILL_FERMENTING
        one_bar = float(co2_solubility(self.warm(-1, given), 1.0)) * given.liquid_L * given.dissolves
        return rectangle(one_bar * (low - 1), min(one_bar * (high - 1), rate * MOST_DELAY_H), HELD)

    def _doubts(self, last_bar: float, uncertain: _Conditions, total: float) -> list[str]:
        """What is assumed about oxygen, temperature and pH."""
        given = uncertain.plain()
        said = []
        if given.oxygen_used:
            said.append(
                f"The yeast is taken to have used {percent(uncertain.oxygen_used)} of the oxygen sealed in with the "
                "air, in step with the CO2; each part of it that is gone hides as much pressure of CO2."
            )
        if not self.t_C.ndim and not uncertainty(uncertain.warmer_K):
            wrong = 100 * self._warmer(last_bar, given) / max(total, 1e-12)
            said.append(
                f"One temperature stands for the whole run: a last reading taken 1 K warmer than that would be "
                f"{wrong:.1f} % too high. Log it, or give it as value ± u."
            )
        if not given.pH:
            said.append("No pH was given: bicarbonate is not counted (below pH 5 it is less than 5 % of the store).")
        return said

    def _warmer(self, co2_bar: float, given: _Conditions) -> float:
        """By how much the CO2 would be higher, had the last reading been taken 1 K warmer [mol]."""
        t_C, last = float(self.t_C) + given.warmer_K, np.array([self.time.size - 1])
        bar = float(self.absolute(-1, given))
        air = bar - water_vapour_pressure(t_C) - co2_bar
        warm = bar - water_vapour_pressure(t_C + 1) - air * (t_C + 1 + ZERO_CELSIUS_K) / (t_C + ZERO_CELSIUS_K)
        now = sum(self.moles(last, co2_bar, given))
        then = sum(self.moles(last, warm, replace(given, warmer_K=given.warmer_K + 1)))
        return float(np.squeeze(now - then))

    def _progress(self, every: Rows, given: _Conditions) -> Floats:
        """Share of the highest rise reached so far: the oxygen is taken to be used in step with it."""
        if not given.oxygen_used:
            return np.broadcast_to(0.0, every.shape)
        rise = sum(self.moles(every, self.co2_bar(every, given, 0.0), given))
        rise = rise - rise[0]
        return np.asarray(np.clip(np.maximum.accumulate(rise) / max(float(rise.max()), 1e-12), 0.0, 1.0))

    def _held_over_gas(self, given: _Conditions, progress: Floats) -> Floats:
        """Moles that leave the liquid for each mole that leaves the gas, in balance, over each vent's fall."""
        row = self.before
        if row.size:
            high = np.maximum(self.co2_bar(row, given, progress[row]), 0.02)
            share = 1 - self.vents.drop_bar / self.absolute(row, given)
            ends = self.moles(row, high, given), self.moles(row, high * np.clip(share, 0.0, 0.99), given)
            return np.asarray((ends[0][1] - ends[1][1]) / (ends[0][0] - ends[1][0]))
        return np.array([])

    def _taken(self, which: int, time: Floats, richer: Floats, tau: float, late: float) -> Floats:
        """What one mole let out at a vent takes from gas and liquid together, as it shows at later times.

        `late` is where in its interval the vent fell: 0 the middle, 0.5 the end.
        """
        row = self.after[which]
        later = time >= self.time[row]
        if tau <= 0:
            return np.asarray(later, dtype=float)
        vent = self.vents.time_h[which] + late * (self.time[row] - self.time[row - 1])
        excess = richer[which] * np.exp(-np.clip(time - vent, 0.0, 50 * tau) / tau)
        return np.asarray(np.where(later, 1 + excess, 0.0))

    def _window(self, which: int, reach_h: float) -> Rows:
        """The readings around a vent: those within reach, and at least 10 before and 30 after."""
        sides = []
        for rows, least in zip(self.windows[which], (10, 30)):
            near = np.abs(self.time[rows] - self.vents.time_h[which]) <= reach_h
            sides.append(rows[near | (np.arange(rows.size) < least)])
        return np.concatenate((sides[0][::-1], sides[1]))

    def _fit(
        self, rise: Floats, richer: Floats, tau: float, error: Floats, reach_h: float = np.inf
    ) -> tuple[Floats, Floats, Floats, float, int]:
        """CO2 let out at each vent, its variance, and when; then misfit and degrees of freedom of all the fits.

        When a vent fell within its interval is not known: what follows is averaged over all moments, each with
        the weight that the readings after it give it.
        """
        # vents go in order: what earlier ones took still fades while a later one happens, so it is put back first
        moments = MOMENTS if tau > 0 else np.zeros(1)
        lost, variance, late = (np.zeros(len(self.windows)) for _ in range(3))
        misfit, spare = 0.0, 0
        for which in range(len(self.windows)):
            window = self._window(which, reach_h)
            time, value = self.time[window], rise[window].copy()
            for earlier in range(max(0, which - 5), which):
                value += lost[earlier] * self._taken(earlier, time, richer, tau, late[earlier])
            noise = max(float(np.mean(error[window] ** 2)), 1e-30)
            taken = np.stack([self._taken(which, time, richer, tau, moment) for moment in moments])
            amount, square, rest, free = _beside_a_trend(time, value, taken)
            spread = max(1.0, float(rest.min()) / noise / free)  # a worse fit than the noise says widens all errors
            weight = np.exp(-(rest - rest.min()) / noise / spread / 2)
            weight /= weight.sum()
            lost[which], late[which] = weight @ amount, weight @ moments
            variance[which] = weight @ (noise * spread * square + (amount - lost[which]) ** 2)
            variance[which] += (ROUGH * lost[which]) ** 2
            # −2 ln of the likelihood averaged over the moments: what `_refill` compares time constants by
            misfit += float(rest.min()) / noise - 2 * spread * float(np.log(np.exp(
                -(rest - rest.min()) / noise / spread / 2).mean()))  # fmt: skip
            spare += free
        return lost, variance, late, misfit, max(spare, 1)

    def _refill(self, rise: Floats, richer: Floats, error: Floats) -> _Refill:
        """The time constant by least squares over a grid, and the range where the misfit is one higher."""
        if not self.windows:
            return _Refill(0.0, 0.0, 0.0)
        step = float(np.median(np.diff(self.time)))
        longest = max(AFTER_H, 12 * step) / 2
        grid = np.concatenate(([0.0], np.geomspace(step / 4, longest, 40)))
        fits = [self._fit(rise, richer, tau, error)[3:] for tau in grid]
        misfit, spare = np.array([fit[0] for fit in fits]), fits[0][1]
        good = grid[misfit <= misfit.min() + max(1.0, float(misfit.min()) / spare)]
        return _Refill(float(grid[np.argmin(misfit)]), float(good.min()), float(good.max()))

    def _back(self, rows: Rows, lost: Floats, richer: Floats, tau: float, late: Floats) -> Floats:
        """What all vents together have taken, as it shows at some rows [mol]."""
        back = np.concatenate(([0.0], np.cumsum(lost)))[np.searchsorted(self.after, rows, side="right")]
        time = self.time[rows]
        for which, start in enumerate(self.after):
            if tau > 0:
                span = slice(*np.searchsorted(rows, [start, np.searchsorted(self.time, self.time[start] + 40 * tau)]))
                back[span] += lost[which] * (self._taken(which, time[span], richer, tau, late[which]) - 1)
        return np.asarray(back)

    def _at_end(
        self, uncertain: _Conditions, progress: Floats, refill: _Refill, error: Floats
    ) -> tuple[Number, Number]:
        """CO2 made, and held by the liquid in balance, at the last reading, with all that is uncertain."""
        from uncertainties import wrap

        last = self.time.size - 1
        sides = [side for pair in self.windows for side in pair]
        needed = np.unique(np.concatenate([*sides, [0, last]]).astype(np.intp))
        rise = np.zeros(self.time.size)

        def total(*values: float) -> float:
            given = _Conditions(*values)
            rise[needed] = sum(self.moles(needed, self.co2_bar(needed, given, progress[needed]), given))
            richer = self._held_over_gas(given, progress)
            lost, _, late, _, _ = self._fit(rise, richer, refill.tau_h, error, 4 * refill.tau_h)
            return float(rise[last] - rise[0] + self._back(np.array([last]), lost, richer, refill.tau_h, late)[0])

        def held(*values: float) -> float:
            given = _Conditions(*values)
            return float(self.moles(last, self.co2_bar(last, given, progress[last]), given)[1])

        values = uncertain.values()
        doubted = any(uncertainty(value) for value in values)
        return (wrap(total)(*values), wrap(held)(*values)) if doubted else (0.0, held(*values))

    def _adding_back(self, rise: Floats, variance: Floats, richer: Floats, refill: _Refill, error: Floats) -> Number:
        """The error of adding the vents back, as a number around zero [mol]."""
        if not self.windows:
            return 0.0
        from uncertainties import ufloat

        last, ends = np.array([self.time.size - 1]), []
        for tau in (refill.low_h, refill.high_h):
            lost, _, late, _, _ = self._fit(rise, richer, tau, error, 4 * tau)
            ends.append(float(self._back(last, lost, richer, tau, late)[0]))
        spread = math.hypot(float(np.sqrt(np.sum(variance))), (ends[1] - ends[0]) / 2)
        return ufloat(0.0, spread, tag=Act("vents", "adding back what the vents let out")) if spread > 0 else 0.0

    def _said(self, lost: Floats, adding: Number, refill: _Refill, rows: Rows) -> list[str]:
        if not self.windows:
            return ["No vent was found or named: all CO2 is taken to be still in the vessel."]
        named = ", ".join(f"{rows[self.kept[row]]}" for row in self.after[:10])
        more = f" and {self.after.size - 10} more" if self.after.size > 10 else ""
        said = [
            f"{self.after.size} vent(s), first reading after each in row {named}{more}: they let out "
            f"{plus_minus(float(lost.sum()) + adding, 'mol')} of CO2, which is added back."
        ]
        if refill.tau_h > 0:
            said.append(
                f"After a vent the liquid refilled the gas space with a time constant of {refill.tau_h:.2g} h "
                f"({refill.low_h:.2g} to {refill.high_h:.2g} h); this rise is degassing and is not counted as "
                "production. The curve lags behind production by about as long."
            )
        else:
            said.append("The liquid refilled the gas space faster than the readings can show.")
        return said


def _beside_a_trend(time: Floats, value: Floats, taken: Floats) -> tuple[Floats, Floats, Floats, int]:
    """Least squares of a local polynomial less an amount times each row of `taken`.

    Returns the amounts, their variances for unit noise, the sums of squares, and the degrees of freedom.
    """
    # QR of the polynomial once: what is left of the readings and of `taken` beside it makes one division an answer
    degree = 2 if time.size >= 12 else int(time.size >= 6)
    q, _ = np.linalg.qr(np.vander((time - time[0]) / (time[-1] - time[0]), degree + 1))
    rest = value - q @ (q.T @ value)
    beside = taken - (taken @ q) @ q.T
    size = np.maximum(np.sum(beside**2, axis=1), 1e-12)
    amount = np.maximum(-(beside @ rest) / size, 0.0)  # a vent lets gas out, never in
    left = np.sum((rest + amount[:, None] * beside) ** 2, axis=1)
    return amount, 1 / size, left, max(time.size - degree - 2, 1)


def _thinned(rows: Rows, most: int = 200) -> Rows:
    """Evenly chosen readings, the nearest kept: enough for a fit, however dense the log."""
    return rows if rows.size <= most else rows[np.linspace(0, rows.size - 1, most).astype(np.intp)]
