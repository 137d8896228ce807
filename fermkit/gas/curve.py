"""A gas curve: cumulative moles of CO2 and the three kinds of error that it carries.

The ways from readings to a curve are in `collector` (volume, flow, bubbles), `weighing` (mass loss) and
`headspace` (pressure).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any, Final

import numpy as np

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, between, one_of, positive
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Line, Page, Written, in_words, nominal, percent, plus_minus, uncertainty
from fermkit.matter.properties import (
    SOLUBILITY,
    bicarbonate_factor,
    co2_solubility,
    co2_vs_water,
    water_vapour_pressure,
)

Number = Any
"""A plain float, or a ufloat where the value has an uncertainty of its own."""

CO2_G_PER_MOL: Final = 44.009
"""Standard atomic weights, CIAAW 2021; held to `composition.molar_mass` in the tests."""

ACTS: Final = {
    "volume": Act("gas collector", "reading the gas collector"),
    "flow": Act("flow meter", "reading the flow meter"),
    "bubbles": Act("bubbles", "counting the bubbles"),
    "weight": Act("vessel scale", "reading the scale under the vessel"),
    "pressure": Act("pressure gauge", "reading the pressure gauge"),
    "room": Act("room CO2 meter", "reading the CO2 meter of the room"),
}

HELD: Final = Act("CO2 held", "CO2 held in the liquid")
OXYGEN: Final = Act("sealed oxygen", "oxygen of the sealed air used up")

AT_REST: Final = (1.0, 1.1)
"""CO2 in a liquid that no longer makes gas, over what it holds in balance, lowest and highest: not stirred, it keeps a
little more (common practice, no source)."""

STILL_FERMENTING: Final = (1.0, 2.0)
"""The same while gas is still made: up to 1.67 in fermenting beer, 0.225 % by mass against 0.135 % in balance at 15 °C
(Delente & Gurley, MBAA Tech. Q. 5(3) (1968) 187, abstract read); the upper end leaves room for stiller vessels."""

MOST_DELAY_H: Final = 2.0
"""CO2 stays in the liquid on its way to the gas for up to so long [h]: the excess of the same beer, 0.9 g/L, over the
0.5 g/(L h) that such a beer makes (about 1 g/L of extract an hour, common practice)."""

LATE, LITTLE = 0.1, 0.01
"""A run has stopped when its last tenth in time brought less than a hundredth of the gas (common practice, no
source)."""


@dataclass(frozen=True, repr=False)
class GasCurve(Written):
    """Cumulative CO2 over time, counted from the first reading.

    Parameters
    ----------
    time_h : array of shape (n,)
        Times of the readings [h].
    co2_mol : array of shape (n,)
        CO2 since the first reading [mol].
    counts : "released" or "produced"
        Whether it counts what left the liquid, or what the yeast made.
    kind : "volume", "flow", "bubbles", "weight", "pressure" or "room"
        What was read.
    u_reading_mol : array of shape (n,)
        Standard uncertainty of each value that is independent from reading to reading [mol].
    u_increment_mol : array of shape (n,)
        Standard uncertainty of each increment [mol], 0 for the first value; it is inherited by all later
        values, a random walk.
    common : ufloat (or 1.0 where there is none)
        A factor of nominal value 1 that moves the whole curve together.
    remarks : tuple of str
        What was found, mended, assumed or doubted.
    store_mol : ufloat, float or None
        CO2 held by the liquid at the last reading, where it has been counted [mol].
    solubility_vs_water : ufloat, float or None
        What the store was worked out with; a pressure worked out from this curve takes the same.
    end_error_mol : ufloat or float
        The errors per reading and per increment at the last reading, as one number around zero [mol]; made here
        when not given, and handed on by `produced`, so that both totals share it.
    """

    time_h: Floats
    co2_mol: Floats
    counts: str
    kind: str
    u_reading_mol: Floats
    u_increment_mol: Floats
    common: Number = 1.0
    remarks: tuple[str, ...] = ()
    store_mol: Number | None = None
    end_error_mol: Number = field(default=None)
    solubility_vs_water: Number | None = None

    def __post_init__(self) -> None:
        one_of(self.counts, ("released", "produced"), "counts")
        one_of(self.kind, ACTS, "kind")
        if self.end_error_mol is None:
            object.__setattr__(self, "end_error_mol", self._end_error())

    def _end_error(self) -> Number:
        from uncertainties import ufloat

        # the first reading, from which all are counted, errs as much as the last
        spread = math.hypot(math.sqrt(2) * float(self.u_reading_mol[-1]), self.u_walk_mol)
        return ufloat(0.0, spread, tag=ACTS[self.kind]) if spread > 0 else 0.0

    @property
    def u_early_mol(self) -> float:
        """Standard uncertainty of what only the first hours hide, and which so moves a lag [mol].

        It is the CO2 that the liquid takes up; in a closed vessel, the oxygen that makes room for CO2 unseen.
        """
        early = (OXYGEN,) if self.kind == "pressure" else (HELD, SOLUBILITY)
        parts: dict[Any, float] = getattr(self.common, "error_components", dict)()
        return float(self.co2_mol[-1]) * math.hypot(0.0, *(u for part, u in parts.items() if part.tag in early))

    @property
    def u_walk_mol(self) -> float:
        """What the errors per increment add up to at the last reading [mol]."""
        return float(np.sqrt(np.sum(self.u_increment_mol**2)))

    @property
    def noise(self) -> str:
        """ "accumulating" where the errors per increment outweigh those per reading at the end, else "independent"."""
        typical = float(np.sqrt(np.mean(self.u_reading_mol**2)))
        return "accumulating" if self.u_walk_mol > typical else "independent"

    @property
    def readings(self) -> dict[str, Any]:
        """What a growth curve needs to know of this gas: ``fit_growth(**gas.readings)``.

        Examples
        --------
        >>> from fermkit import gas_from_volume
        >>> gas = gas_from_volume([0, 10, 30], [0, 6000, 11000], temperature_C=22.0)
        >>> list(gas.readings)
        ['time_h', 'amount', 'noise', 'scale_u', 'unit', 'counts']
        """
        return {
            "time_h": self.time_h,
            "amount": self.co2_mol,
            "noise": self.noise,
            "scale_u": uncertainty(self.common),
            "unit": "mol CO2",
            "counts": self.counts,
        }

    @property
    def has_stopped(self) -> bool:
        """Whether the last tenth of the time brought less than a hundredth of the gas."""
        return stopped(self.time_h, self.co2_mol)

    def total(self) -> Number:
        """The CO2 at the last reading [mol], with the errors per reading, per increment and common to all.

        Asked twice, it is the same number with the same errors, not a second independent one.
        """
        return self.co2_mol[-1] * self.common + self.end_error_mol

    def page(self) -> Page:
        """The curve as a lab-book page."""
        total = self.total()
        lines = [
            Line(f"CO2 {self.counts}", total, "mol", _definition(self.counts)),
            Line("the same by mass", total * CO2_G_PER_MOL, "g"),
        ]
        if self.store_mol is not None:
            lines.append(Line("of it held in the liquid", self.store_mol, "mol", "at the last reading"))
        lines += [
            Line("error per reading", float(np.median(self.u_reading_mol)), "mol", "median; independent"),
            Line("error per increment", self.u_walk_mol, "mol", "added up to the last reading; accumulates"),
            Line("error in common", uncertainty(self.common) * 100, "%", "moves the whole curve together"),
            Line("readings", str(self.time_h.size), "", f"{self.time_h[0]:g} to {self.time_h[-1]:g} h"),
        ]
        return Page(f"Gas curve from {self.kind}: CO2 {self.counts}", lines, (*self.remarks, self._held()))

    def _held(self) -> str:
        names = {
            "per reading": float(np.max(self.u_reading_mol)),
            "per increment": self.u_walk_mol,
            "common": uncertainty(self.common),
        }
        held = [name for name, size in names.items() if size > 0]
        if not held:
            return "No error was given for any reading: the total carries no ±, and none may be inferred from it."
        missing = [name for name in names if name not in held]
        tail = f"; none was given {' or '.join(missing)}" if missing else ""
        return f"± is one standard uncertainty and holds the errors {', '.join(held)}{tail}."


def _definition(counts: str) -> str:
    return "left the liquid" if counts == "released" else "made: gas, liquid and what was let out"


def stopped(time_h: Floats, co2_mol: Floats) -> bool:
    """Whether a cumulative curve has come to its end, by `LATE` and `LITTLE`."""
    return late_rate(time_h, co2_mol) * LATE * float(time_h[-1] - time_h[0]) < LITTLE * float(co2_mol[-1])


def late_rate(time_h: Floats, co2_mol: Floats) -> float:
    """CO2 that came in an hour over the last tenth of the time [mol/h], never below zero."""
    span = LATE * (time_h[-1] - time_h[0])
    return max(float(co2_mol[-1] - np.interp(time_h[-1] - span, time_h, co2_mol)) / float(span), 0.0)


def produced(
    curve: GasCurve,
    *,
    liquid_L: Number,
    headspace_L: Number,
    temperature_C: Number,
    pH: Number | None = None,
    pressure_bar: Number = STANDARD_ATMOSPHERE_BAR,
    solubility_vs_water: Number | None = None,
    saturation: tuple[float, float] | None = None,
) -> GasCurve:
    """What the yeast made, from what left the liquid: the store in the liquid is added.

    A litre of broth holds about 1.5 g of CO2 at 25 °C, more when it is supersaturated, and none of it has
    passed the collector or left the scale. Until the headspace is flushed with CO2 the liquid holds less.

    Parameters
    ----------
    curve : GasCurve
        Of CO2 released. A curve that counts what was produced is returned as it is.
    liquid_L, headspace_L : float or ufloat
        Volumes of the liquid and of the gas space above it [L].
    temperature_C : float or ufloat
        Of the liquid [°C].
    pH : float or ufloat, optional
        Of the liquid at the end; above 5 bicarbonate adds to the store.
    pressure_bar : float or ufloat
        Total pressure over the liquid, absolute [bar]: the barometer.
    solubility_vs_water : float or ufloat, optional
        CO2 that the liquid holds in balance, over what water holds; else `co2_vs_water` of an unknown liquid.
    saturation : (low, high), optional
        The CO2 held, over what the liquid holds in balance: an interval, equally likely between its ends. Without it
        1.0 to 1.1 where the gas has stopped; where it still comes up to 2.0, by its rate.

    Returns
    -------
    GasCurve
        With ``counts="produced"`` and ``store_mol``.

    Notes
    -----
    With r released, n the moles of dry gas in the headspace, well mixed, and p the pressure less the vapour's:
    y = 1 − exp(−r/n), store = liquid × solubility(T, y p) × solubility_vs_water × bicarbonate × saturation. The liquid
    is taken to hold no CO2 at the first reading. Early on this is the least that it can hold: a liquid that is not
    stirred keeps more than balance with a headspace still full of air; the total is not touched by this.

    Raises
    ------
    InputError
        If a volume is not above zero, or a value lies outside the range of a property.

    Examples
    --------
    >>> from fermkit import gas_from_volume
    >>> curve = gas_from_volume([0, 10, 30, 40], [0, 6000, 11000, 11000], temperature_C=22.0, loss_to_water=(0, 0))
    >>> produced(curve, liquid_L=1.0, headspace_L=0.5, temperature_C=25.0).total()
    0.4772+/-0.0013

    References
    ----------
    The dilution of the headspace is the balance of a well-mixed vessel; properties as in `co2_solubility`,
    `co2_vs_water` and `bicarbonate_factor`; saturation: `AT_REST`, `STILL_FERMENTING`.
    """
    if curve.counts == "produced":
        return curve
    from uncertainties import wrap

    running = saturation is None and not curve.has_stopped
    low, high = saturation or AT_REST
    between(low, 0.0, high, "saturation, lower end", do="give (low, high) as multiples, for instance (1.0, 1.3)")
    for value, name in ((liquid_L, "liquid [L]"), (headspace_L, "headspace [L]")):
        positive(nominal(value), name)
    dissolves = co2_vs_water() if solubility_vs_water is None else solubility_vs_water
    positive(nominal(dissolves), "solubility of CO2 relative to water")
    given = (liquid_L, headspace_L, temperature_C, 0.0 if pH is None else pH, pressure_bar)
    plain = [nominal(value) for value in given]
    held, slope = _held_in_liquid(curve.co2_mol, *plain)
    if running and held[-1] > 0:
        in_balance = nominal(dissolves) * float(held[-1])
        excess = MOST_DELAY_H * late_rate(curve.time_h, curve.co2_mol) / in_balance
        high = min(max(high, 1 + excess), STILL_FERMENTING[1])
    times_water = nominal(dissolves) * (low + high) / 2
    co2 = curve.co2_mol + times_water * held
    end = float(curve.co2_mol[-1])

    def at_end(*its: float) -> float:
        return float(_held_in_liquid(np.array([end]), *its)[0][0])

    store: Number = wrap(at_end)(*given) * dissolves * rectangle(low, high, HELD)
    gain = 1 + times_water * slope
    return replace(
        curve,
        co2_mol=co2,
        counts="produced",
        u_reading_mol=curve.u_reading_mol * gain,
        u_increment_mol=curve.u_increment_mol * gain,
        common=shifted(end * curve.common, store, float(co2[-1])),
        store_mol=store,
        solubility_vs_water=dissolves,
        end_error_mol=curve.end_error_mol * float(gain[-1]),
        remarks=(*curve.remarks, *_store_remarks(store, co2[-1], (low, high), running, pH)),
    )


def _held_in_liquid(
    released: Floats, liquid_L: float, headspace_L: float, temperature_C: float, pH: float, bar: float
) -> tuple[Floats, Floats]:
    """CO2 in the liquid [mol] for each amount released, and its slope [mol/mol]; pH of 0 stands for none."""
    dry = bar - float(water_vapour_pressure(temperature_C))
    room = headspace_L * dry / (L_BAR_GAS_CONSTANT * (temperature_C + ZERO_CELSIUS_K))
    air = np.exp(-np.clip(released, 0.0, None) / room)
    carbonate = bicarbonate_factor(pH, temperature_C) if pH else 1.0
    full = liquid_L * co2_solubility(temperature_C, dry) * carbonate
    return full * (1 - air), full * air / room


def _store_remarks(
    store: Number, total: float, saturation: tuple[float, float], running: bool, pH: Number
) -> list[str]:
    share = f" ({100 * nominal(store) / total:.1f} % of the CO2 made)" if total > 0 else ""
    said = [
        f"The liquid holds {plus_minus(store, 'mol')} at the end{share}: {saturation[0]:.3g} to {saturation[1]:.3g} "
        "times what it holds in balance with the gas above it. It is taken to have held none at the first reading."
    ]
    if running:
        said.append("Gas still comes: the liquid may hold more than its balance. This ± shrinks once gas has stopped.")
    if pH is None:
        said.append("No pH was given: bicarbonate is not counted (below pH 5 it is less than 5 % of the store).")
    return said


def shifted(amount: Number, shift: Number, total: float) -> Number:
    """The common factor of a curve that ends at `total`: 1, with the errors of an amount and of a shift [mol]."""
    if not total > 0:
        return 1.0
    return 1 + ((amount - nominal(amount)) + (shift - nominal(shift))) / total


@dataclass(frozen=True, repr=False)
class RouteComparison(Written):
    """Two routes to the CO2 of one run, compared at the last time that both cover.

    With more than two routes these are the two that lie furthest apart; ``others`` holds each further pair,
    ``left_out`` says which route could not be compared and why.
    """

    kinds: tuple[str, str]
    time_h: float
    first_mol: Number
    second_mol: Number
    difference_mol: Number
    leak: Number
    p: float
    verdict: str
    others: tuple["RouteComparison", ...] = ()
    left_out: tuple[str, ...] = ()

    def page(self) -> Page:
        """The comparison as a lab-book page."""
        first, second = self.kinds
        lines = [
            Line(f"CO2 by {first}", self.first_mol, "mol", f"at {self.time_h:g} h"),
            Line(f"CO2 by {second}", self.second_mol, "mol"),
            Line("difference", self.difference_mol, "mol", in_words(self.p)),
            Line("share missing", self.leak * 100, "%", f"of the CO2 by {_whole_of(self.kinds)}"),
        ]
        lines += [
            Line(f"{' less '.join(pair.kinds)}", pair.difference_mol, "mol", in_words(pair.p)) for pair in self.others
        ]
        heading = f"Two routes to the same CO2: {first} and {second}"
        return Page(heading, lines, (self.verdict, *self.left_out))


AGREES: Final = 0.05
"""From this p-value on two routes are said to agree (convention)."""


def compare_routes(*curves: GasCurve) -> RouteComparison:
    """Do the routes to the same CO2 agree, and if not, how much gas is missing?

    The vessel on its scale grows lighter whether the gas goes through the collector or out at the lid; the
    collector sees only what reaches it. The share by which the volume falls short of the weight is a leak.

    Parameters
    ----------
    *curves : GasCurve
        Two or more of the same run, all released or all produced. A route that shows no gas, counts something else or
        shares no time with the first is left out and told, as long as two others remain.

    Returns
    -------
    RouteComparison
        ``leak`` is the missing share ± u (negative: the collector saw more than the scale).

    Raises
    ------
    InputError
        If fewer than two routes can be compared.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> from fermkit import gas_from_volume, gas_from_weight
    >>> volume = gas_from_volume([0, 10, 30], [0, 5000, 9000], temperature_C=22.0,
    ...                          volume_factor=ufloat(1, 0.02), loss_to_water=(0, 0))
    >>> weight = gas_from_weight([0, 10, 30], [1500.0, 1490.2, 1482.0], temperature_C=22.0,
    ...                          headspace_L=0.5, u_reading_g=0.1)
    >>> compare_routes(weight, volume).leak
    0.116+/-0.019
    """
    good, refused = [], []
    for curve in curves:
        try:
            _check_route(curve, curves)
            good.append(curve)
        except InputError as problem:
            refused.append((curve, problem))
    if len(good) < 2:
        for curve, _ in refused:
            _check_route(curve, curves)
        raise InputError(f"{len(curves)} route to the gas", "two or more", "weigh the vessel besides reading its gas")
    pairs = [_pair(a, b) for a, b in combinations(good, 2)]
    worst, *others = sorted(pairs, key=lambda pair: pair.p if math.isfinite(pair.p) else 1.0)
    left_out = tuple(f"Not compared, CO2 by {curve.kind}: {problem.met}." for curve, problem in refused)
    return replace(worst, verdict=_apart(worst, others) + worst.verdict, others=tuple(others), left_out=left_out)


def _check_route(curve: GasCurve, curves: Sequence[GasCurve]) -> None:
    """Refuse a route that cannot be held against the first one with gas."""
    if not curve.co2_mol[-1] > 0:
        raise InputError(
            f"CO2 by one route is {curve.co2_mol[-1]:.3g} mol", "an amount above zero", "compare once gas has come"
        )
    first = next(other for other in curves if other.co2_mol[-1] > 0)
    if first.counts != curve.counts:
        raise InputError(
            f"one curve counts CO2 {first.counts}, the other CO2 {curve.counts}",
            "two curves that count the same",
            "turn both into what was produced, or compare both as released",
        )
    start, end = _shared_time(first, curve)
    if not end > start:
        raise InputError(
            f"one curve runs {first.time_h[0]:g} to {first.time_h[-1]:g} h, "
            f"the other {curve.time_h[0]:g} to {curve.time_h[-1]:g} h",
            "two curves of the same run that overlap in time",
            "check the clocks of both",
        )


def _shared_time(a: GasCurve, b: GasCurve) -> tuple[float, float]:
    return float(max(a.time_h[0], b.time_h[0])), float(min(a.time_h[-1], b.time_h[-1]))


MISS_NO_LEAK: Final = ("weight", "room")
"""What was read, where leaked gas counts as any other: it left the scale, and it came into the room."""


def _whole_of(kinds: tuple[str, str]) -> str:
    """The route that misses no leak, or else the first."""
    return next((kind for kind in kinds if kind in MISS_NO_LEAK), kinds[0])


def _pair(a: GasCurve, b: GasCurve) -> RouteComparison:
    """Two routes, the one that misses no leak first."""
    a, b = (b, a) if b.kind in MISS_NO_LEAK and a.kind not in MISS_NO_LEAK else (a, b)
    start, end = _shared_time(a, b)
    whole, part = (_between_times(curve, start, end) for curve in (a, b))
    difference = whole - part
    spread = uncertainty(difference)
    p = math.erfc(abs(nominal(difference)) / spread / math.sqrt(2)) if spread > 0 else math.nan
    leak = difference / whole
    return RouteComparison((a.kind, b.kind), end, whole, part, difference, leak, p, _verdict(leak, p))


def _apart(worst: RouteComparison, others: Sequence[RouteComparison]) -> str:
    """Of more than two routes, the one that stands apart while all others agree."""
    if not others or not worst.p < AGREES:
        return ""
    odd = [kind for kind in worst.kinds if all(p.p >= AGREES for p in others if kind not in p.kinds)]
    if len(odd) == 1:
        return f"CO2 by {odd[0]} stands apart from the others, which agree among themselves. "
    return "The routes differ, and which one is off cannot be told from them alone. "


def _between_times(curve: GasCurve, start: float, end: float) -> Number:
    """CO2 between two times [mol]; the whole curve's total where they are its own ends."""
    if start == curve.time_h[0] and end == curve.time_h[-1]:
        return curve.total()
    low, high = np.interp([start, end], curve.time_h, curve.co2_mol)
    if not curve.co2_mol[-1] > 0:
        return curve.total()
    return curve.total() * float((high - low) / curve.co2_mol[-1])


def _verdict(leak: Number, p: float) -> str:
    share, spread = nominal(leak), uncertainty(leak)
    if not math.isfinite(p):
        return "The routes carry no error, so whether they agree cannot be said: give the readings' errors."
    if p >= AGREES:
        seen = (1.96 + 1.645) * spread
        return (
            f"The two routes agree within their errors ({in_words(p)}). A leak of {100 * seen:.0f} % of the gas or "
            "more would have been seen in 95 of 100 such runs; a smaller one could hide."
        )
    if share > 0:
        return f"Gas is missing: {percent(leak)} did not reach the collector ({in_words(p)}). Look for a leak."
    return (
        f"The collector saw more gas than the vessel lost, by {percent(-leak)} ({in_words(p)}). A leak cannot do "
        "this: check the bubble or collector calibration, the scale, and what was taken out or put in."
    )


def ratio(value: Number) -> Number:
    """A value over its own nominal: a factor of 1 that keeps the caller's uncertainty; 1.0 for a float."""
    return value / nominal(value) if uncertainty(value) > 0 else 1.0
