"""CO2 in the air of a room: what it says of the gas that came, and what it may do to people."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, between, not_negative, numbers, positive, rising, same_length
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Line, Number, Page, Written, nominal, plus_minus, uncertainty
from fermkit.gas.curve import GasCurve, shifted
from fermkit.matter.properties import water_vapour_pressure

PER_MILLION: Final = 1e-6
L_PER_M3: Final = 1000.0

DAY_PPM: Final = 5000.0
"""Most CO2 in the air on average over a working day of 8 h [ppm]: `LIMITS`."""
SHORT_PPM: Final = 30_000.0
"""Most over a quarter of an hour [ppm]: `LIMITS`."""
DANGER_PPM: Final = 40_000.0
"""Immediately dangerous to life or health [ppm]: `LIMITS`."""
LIMITS: Final = (
    "OSHA, 29 CFR 1910.1000 table Z-1: 5,000 ppm over 8 h; NIOSH Pocket Guide, carbon dioxide: short-term 30,000 ppm, "
    "IDLH 40,000 ppm (read as quoted)"
)
DAY_H, SHORT_H = 8.0, 0.25
BETWEEN: Final = 400
"""Windows tried besides those at a reading: between two of them the mean hardly moves."""

OUTDOORS: Final = (420.0, 500.0)
"""CO2 of the air outside where nobody measured it, lowest and highest [ppm]: about 425 over the sea, more in a town
(common practice, no source)."""
AIR_CHANGES: Final = (0.1, 1.0)
"""How often an hour the air of a closed room or cupboard is renewed, lowest and highest [1/h]: common practice, no
source; an open window makes several."""
BREATH_L_H: Final = (11.0, 21.0)
"""CO2 that a person in a room breathes out, lowest and highest [L/h]: 0.0031 L/s sitting still to 0.0058 L/s in light
work (Persily & de Jonge, Indoor Air 27 (2017) 868, from memory)."""


class Exposure(StrEnum):
    """What a log of the air is, held against the limits for people at work."""

    DANGER = "At some time the air was immediately dangerous to life."
    SHORT = "Over a quarter of an hour there was more CO2 than is allowed for a short time."
    DAY = "Over eight hours there was more CO2 on average than is allowed at work."
    BELOW = "The meter stayed below the limits for people at work."


@dataclass(frozen=True, repr=False)
class RoomAir(Written):
    """The air of the room against the limits for people.

    Attributes
    ----------
    highest_ppm, day_ppm, short_ppm : float
        Highest reading; highest mean over eight hours and over a quarter of an hour (over all of a shorter log).
    hours : float
        How long was logged.
    exposure : Exposure
    """

    highest_ppm: float
    day_ppm: float
    short_ppm: float
    hours: float
    exposure: Exposure

    def page(self) -> Page:
        """Readings, limits, and what a reading below them does not say."""
        lines = [
            Line("highest reading", f"{self.highest_ppm:.0f}", "ppm", f"as shown; dangerous at once: {DANGER_PPM:.0f}"),
            Line("highest mean over 15 min", f"{self.short_ppm:.0f}", "ppm", f"limit for so short: {SHORT_PPM:.0f}"),
            Line("highest mean over 8 h", f"{self.day_ppm:.0f}", "ppm", f"limit for a working day: {DAY_PPM:.0f}"),
        ]
        out = [str(self.exposure), *NO_PROMISE]
        if self.exposure is not Exposure.BELOW:
            out.insert(1, "Leave the room, open doors and windows from outside, and do not go in alone.")
        return Page("CO2 in the air of the room", lines, out, alarm=self.exposure is not Exposure.BELOW)


NO_PROMISE: Final = (
    f"Limits: {LIMITS}. Limits and rules of your place come first.",
    "A reading below a limit is no promise of safety: CO2 lies low, in corners and vats, and a meter shows the air "
    "where it stands. Children, and people who are ill, may bear less.",
)


def room_air(time_h: ArrayLike, co2_ppm: ArrayLike) -> RoomAir:
    """A log of CO2 in a room, held against the limits for people at work.

    Parameters
    ----------
    time_h, co2_ppm : array-like of shape (n,)
        Hours, rising, and what the meter showed [ppm].

    Returns
    -------
    RoomAir

    Notes
    -----
    Means over a window are those of the straight lines between readings.

    Examples
    --------
    >>> found = room_air([0, 4, 8, 12], [450, 6000, 6000, 450])
    >>> round(found.day_ppm), found.exposure is Exposure.DAY
    (5306, True)

    References
    ----------
    `LIMITS`.
    """
    time, ppm = _log(time_h, co2_ppm)
    day, short = _highest_mean(time, ppm, DAY_H), _highest_mean(time, ppm, SHORT_H)
    highest = float(ppm.max())
    exposure = (
        Exposure.DANGER if highest >= DANGER_PPM else Exposure.SHORT if short > SHORT_PPM
        else Exposure.DAY if day > DAY_PPM else Exposure.BELOW
    )  # fmt: skip
    return RoomAir(highest, day, short, float(time[-1] - time[0]), exposure)


def _log(time_h: ArrayLike, co2_ppm: ArrayLike) -> tuple[Floats, Floats]:
    time, ppm = numbers(time_h, "time [h]"), numbers(co2_ppm, "CO2 of the room [ppm]", at_least=2)
    same_length(time=list(time), ppm=list(ppm))
    rising(time, "time [h]")
    for value in (float(ppm.min()), float(ppm.max())):
        between(value, 0.0, 1e6, "CO2 of the room [ppm]", do="0.1 % is 1000 ppm: convert it, or look at the meter")
    return time, ppm


def _highest_mean(time: Floats, ppm: Floats, window_h: float) -> float:
    """Highest mean over a window: of windows that begin or end at a reading, and of some between."""
    area = np.concatenate(([0.0], np.cumsum(np.diff(time) * (ppm[1:] + ppm[:-1]) / 2)))
    span = min(window_h, float(time[-1] - time[0]))
    last = float(time[-1]) - span
    starts = np.clip(np.concatenate((time, time - span, np.linspace(time[0], last, BETWEEN))), time[0], last)

    def upto(t: Floats) -> Floats:
        k = np.clip(np.searchsorted(time, t, side="right") - 1, 0, time.size - 2)
        at = np.interp(t, time, ppm)
        return np.asarray(area[k] + (t - time[k]) * (ppm[k] + at) / 2)

    return float(np.max((upto(starts + span) - upto(starts)) / span))


def steady_ppm(co2_mol_h: Number, room_m3: Number, air_changes_per_h: Number, outdoor_ppm: Number) -> Any:
    """CO2 that a room comes to under a steady source [ppm].

    Examples
    --------
    >>> round(steady_ppm(0.5, 30.0, 0.5, 420.0))  # half a mole an hour, as five kilograms of sugar at their fastest
    1236

    Notes
    -----
    outdoor + source/(volume · air changes), at 25 °C and 1 atm, well mixed.
    """
    positive(nominal(room_m3), "room [m3]")
    positive(nominal(air_changes_per_h), "air changes [1/h]")
    air_mol_h = room_m3 * _mol_per_m3(25.0, STANDARD_ATMOSPHERE_BAR) * air_changes_per_h
    return outdoor_ppm + co2_mol_h / air_mol_h / PER_MILLION


def _mol_per_m3(temperature_C: Number, bar: Number) -> Any:
    return L_PER_M3 * bar / (L_BAR_GAS_CONSTANT * (temperature_C + ZERO_CELSIUS_K))


def gas_from_room(
    time_h: ArrayLike,
    co2_ppm: ArrayLike,
    *,
    room_m3: Number,
    air_changes_per_h: Number,
    outdoor_ppm: Number,
    headspace_L: Number,
    people: Number = 0.0,
    temperature_C: Number = 22.0,
    pressure_bar: Number = STANDARD_ATMOSPHERE_BAR,
    u_reading_ppm: float = 0.0,
) -> GasCurve:
    """CO2 released, from the CO2 in the air of the room or cupboard that the vessel stands in.

    It misses no leak, but sees people, pets and flames as well; of use where the room is small and its air changes
    slowly.

    Parameters
    ----------
    time_h, co2_ppm : array-like of shape (n,)
        Hours and the meter's readings [ppm].
    room_m3 : float or ufloat
        Air of the room [m3].
    air_changes_per_h : float or ufloat
        How often an hour its air is renewed [1/h]: from how fast the CO2 falls once nothing makes any.
    outdoor_ppm : float or ufloat
        CO2 of the air that comes in [ppm].
    headspace_L : float or ufloat
        Gas space of the vessel [L]: what fills it has left the liquid, and not the vessel.
    people : float or ufloat
        People in the room, on average over the log.
    temperature_C, pressure_bar : float or ufloat
        Of the room [°C, bar].
    u_reading_ppm : float
        Standard uncertainty of a reading [ppm].

    Returns
    -------
    GasCurve
        ``counts="released"``.

    Raises
    ------
    InputError
        Where no CO2 is left once the air that came in and the people are taken off.

    Notes
    -----
    Well mixed: out of the vessel = ρ V [(c − c₀) + k ∫ (c − c_out) dt] − people; of what left the liquid, r, as much is
    still in a gas space of n mol as n (1 − exp(−r/n)).

    Examples
    --------
    >>> curve = gas_from_room([0, 12, 24], [450, 8000, 9000], room_m3=0.4, air_changes_per_h=0.2, outdoor_ppm=450,
    ...                       headspace_L=0.5, u_reading_ppm=50)
    >>> print(curve.total())
    0.6300+/-0.0030

    References
    ----------
    Balance of a well-mixed room: ASTM D6245; ASTM E741 (air changes from a decay), from memory.
    """
    time, ppm = _log(time_h, co2_ppm)
    for value, name in ((room_m3, "room [m3]"), (headspace_L, "headspace [L]")):
        positive(nominal(value), name)
    for value, name in ((air_changes_per_h, "air changes [1/h]"), (people, "people"), (u_reading_ppm, "± [ppm]")):
        not_negative(nominal(value), name)
    elapsed = time - time[0]
    area = np.concatenate(([0.0], np.cumsum(np.diff(time) * (ppm[1:] + ppm[:-1]) / 2)))
    per_ppm = room_m3 * _mol_per_m3(temperature_C, pressure_bar) * PER_MILLION
    breath = _breath_mol_h(temperature_C, pressure_bar)

    def out(rise: Any, integral: Any, hours: Any) -> Any:
        return per_ppm * (rise + air_changes_per_h * (integral - outdoor_ppm * hours)) - people * breath * hours

    total = out(float(ppm[-1] - ppm[0]), float(area[-1]), float(elapsed[-1]))
    if not nominal(total) > 0:
        raise InputError(
            f"{plus_minus(total, 'mol')} of CO2 are left of the room's air",
            "more CO2 than the air outside and the people bring",
            "check outdoor, people and air changes, or leave this route out",
        )
    plain = [nominal(v) for v in (per_ppm, air_changes_per_h, outdoor_ppm, people * breath)]
    left = plain[0] * (ppm - ppm[0] + plain[1] * (area - plain[2] * elapsed)) - plain[3] * elapsed
    dry = nominal(pressure_bar) - float(water_vapour_pressure(nominal(temperature_C)))
    space = nominal(headspace_L) * dry / (L_BAR_GAS_CONSTANT * (nominal(temperature_C) + ZERO_CELSIUS_K))
    released = _with_the_space(left, space)
    kept = float(released[-1] - left[-1])
    wide = uncertainty(headspace_L) / nominal(headspace_L) * kept
    whole = total + kept
    if wide:
        whole = whole + ufloat(0.0, wide, tag=Act("gas space", "the gas space of the vessel"))
    step = plain[0] * plain[1] * u_reading_ppm * np.concatenate(([0.0], np.diff(time)))
    return GasCurve(
        time, released, "released", "room", np.full(time.size, plain[0] * u_reading_ppm), step,
        shifted(whole, 0.0, float(released[-1])), tuple(_said(total, people, breath, float(elapsed[-1]))),
    )  # fmt: skip


def _breath_mol_h(temperature_C: Number, bar: Number) -> Any:
    litres = rectangle(*BREATH_L_H, Act("people's breath", "what people in the room breathe out"))
    return litres * _mol_per_m3(temperature_C, bar) / L_PER_M3


def _with_the_space(left: Floats, space: float) -> Floats:
    """What left the liquid, from what left the vessel: r − n (1 − exp(−r/n)) = left, by Newton's rule."""
    out = np.maximum(left, 0.0)
    r = out + np.where(out > space, space, np.sqrt(2 * space * out))
    for _ in range(12):
        air = np.exp(-r / space)
        r = r - (r - space * (1 - air) - out) / np.maximum(1 - air, 1e-9)
        r = np.maximum(r, 0.0)
    return np.asarray(np.where(left > 0, r, left))


def _said(total: Number, people: Number, breath: Number, hours: float) -> list[str]:
    said = ["The room is taken as well mixed; anything else that makes CO2 in it counts as gas of the vessel."]
    if nominal(people) > 0:
        said.append(f"People breathed out {plus_minus(people * breath * hours, 'mol')}, which was taken off.")
    if uncertainty(total) > 0.3 * nominal(total):
        said.append("By this room the gas is known to a third or less: a cupboard, or slower air, tells more.")
    return said
