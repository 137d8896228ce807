"""Gas that was caught or counted on its way out: collected volume, flow rate, bubbles."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, between, not_negative, one_of, positive
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import HALF_WIDTH, rectangle
from fermkit.basis.written import Numbers, nominal, plus_minus, uncertainty
from fermkit.gas.counters import mended, paired
from fermkit.gas.curve import GasCurve, Number, ratio
from fermkit.matter.properties import co2_compressibility, co2_solubility, water_vapour_pressure


def gas_from_volume(
    time_h: ArrayLike,
    volume_mL: ArrayLike,
    *,
    temperature_C: Numbers,
    pressure_bar: Numbers = STANDARD_ATMOSPHERE_BAR,
    u_reading_mL: float = 0.0,
    u_increment_mL: float = 0.0,
    volume_factor: Number = 1.0,
    loss_to_water: tuple[float, float] | None = None,
    wet: bool = True,
    gas: str = "real",
    collector: str = "held",
    resets: str | Sequence[int] = "find",
) -> GasCurve:
    """CO2 released, from a cumulative collected volume.

    The gas that bubbles into a measuring cylinder, a syringe or a meter is wet: at 25 °C 3 % of it is water
    vapour. Early on it is mostly air that CO2 pushed out of the headspace; for a volume that does not matter.

    Parameters
    ----------
    time_h, volume_mL : array-like of shape (n,)
        Times [h] and cumulative volumes [mL]. A row without a reading (NaN) is left out and told.
    temperature_C : float, ufloat or array of shape (n,)
        Of the gas in the collector, not of the vessel [°C].
    pressure_bar : float, ufloat or array of shape (n,)
        Of the gas in the collector, absolute [bar]: the barometer, less the water column if there is one.
    u_reading_mL : float
        Standard uncertainty of a reading, independent from one to the next [mL].
    u_increment_mL : float
        Standard uncertainty of each increment [mL], where the collector is emptied between readings.
    volume_factor : float or ufloat
        True volume over indicated volume.
    loss_to_water : (low, high)
        Share of the CO2 that dissolved in the displacement water: an interval, equally likely between its ends.
        Without it `USUAL_LOSS_TO_WATER` for wet gas, and none for dry. A syringe or a meter has no such water: (0, 0).
    wet : bool
        Whether the gas is saturated with water vapour. False for dried gas or a meter that reads dry volume.
    gas : "real" or "ideal"
        With or without the second virial coefficient (0.5 % at 25 °C).
    collector : "held" or "emptied"
        Whether all the gas is still in the collector, at the temperature of the last reading, or each
        increment was measured at its own. Only a series of temperatures or pressures tells them apart.
    resets : "find", "none" or row numbers
        Rows (1-based) at which the counter started again from zero.

    Returns
    -------
    GasCurve
        ``counts="released"``.

    Notes
    -----
    n = (p − p_w(T)) V/(Z R T), Z of CO2 at p − p_w. Volumes of air and CO2 are taken as additive, so that
    the pushed-out air counts as the CO2 that took its place.

    Raises
    ------
    InputError
        If times do not rise, fewer than two rows hold a reading, the volume falls in a way that cannot be mended
        safely, or the conditions are not those of a collector.

    Examples
    --------
    >>> curve = gas_from_volume([0, 12, 24], [0, 600, 1000], temperature_C=25.0, gas="ideal", loss_to_water=(0, 0))
    >>> curve.co2_mol
    array([0.     , 0.02376, 0.03960])

    References
    ----------
    Dalton's law; properties as in `water_vapour_pressure` and `co2_compressibility`.
    """
    one_of(collector, ("held", "emptied"), "collector")
    times, volume, (temperature, pressure), rows, remarks = paired(
        time_h,
        volume_mL,
        "volume [mL]",
        (temperature_C, "temperature [°C]"),
        (pressure_bar, "pressure [bar]"),
    )
    not_negative(u_reading_mL, "error per reading [mL]")
    not_negative(u_increment_mL, "error per increment [mL]")
    volume, kept, found = mended(volume, "volume [mL]", rows, noise=u_reading_mL, resets=resets)
    times, temperature, pressure = times[kept], _cut(temperature, kept), _cut(pressure, kept)
    per_mL, common, said = _conversion(temperature, pressure, wet, gas, volume_factor)
    loss, its_remark = _lost_to_water(loss_to_water, wet, temperature)
    scale = per_mL * nominal(loss)
    if collector == "emptied" and np.ndim(scale):
        co2 = np.concatenate(([0.0], np.cumsum(np.diff(volume) * scale[1:])))
    else:
        co2 = volume * scale
        co2 = co2 - co2[0]
    return _released(
        "volume", times, co2, u_reading_mL * scale, u_increment_mL * scale, common * ratio(loss),
        [*remarks, *found, *said, *its_remark],
    )  # fmt: skip


def gas_from_flow(
    time_h: ArrayLike,
    flow_mL_per_min: ArrayLike,
    *,
    temperature_C: Numbers,
    pressure_bar: Numbers = STANDARD_ATMOSPHERE_BAR,
    u_reading_mL_per_min: float = 0.0,
    u_increment_mL: float = 0.0,
    flow_factor: Number = 1.0,
    zero_mL_per_min: Number = 0.0,
    wet: bool = True,
    gas: str = "real",
) -> GasCurve:
    """CO2 released, from a flow rate, integrated by the trapezoid rule.

    A mass flow meter that shows standard millilitres has its own reference: give that as temperature and
    pressure (often 0 °C and 1.01325 bar) and ``wet=False``.

    Parameters
    ----------
    time_h, flow_mL_per_min : array-like of shape (n,)
        Times [h] and flow rates [mL/min].
    temperature_C, pressure_bar : float, ufloat or array of shape (n,)
        Of the gas in the meter [°C; bar, absolute].
    u_reading_mL_per_min : float
        Standard uncertainty of a reading, independent from one to the next [mL/min]. Integrated, it accumulates.
    u_increment_mL : float
        Standard uncertainty of what flowed between two readings, besides that of the readings [mL]: the flow need not
        run straight from one to the next.
    flow_factor : float or ufloat
        True flow over indicated flow; its ± moves the whole curve together.
    zero_mL_per_min : float or ufloat
        What the meter shows when nothing flows [mL/min]; it is subtracted.
    wet, gas
        As in `gas_from_volume`.

    Returns
    -------
    GasCurve
        ``counts="released"``.

    Notes
    -----
    Each reading enters with the weight (t[i+1] − t[i−1])/2. Neighbouring increments share a reading; the
    errors per increment are set so that they add up to the true variance at every time.

    Raises
    ------
    InputError
        If times do not rise, or the flow is not positive on the whole.

    Examples
    --------
    >>> curve = gas_from_flow([0, 1, 2], [0.0, 10.0, 0.0], temperature_C=0.0, wet=False, gas="ideal")
    >>> print(round(curve.co2_mol[-1] * 22413.97, 1))  # mL at 0 °C and 1 atm
    600.0
    """
    times, flow, (temperature, pressure), _, remarks = paired(
        time_h,
        flow_mL_per_min,
        "flow [mL/min]",
        (temperature_C, "temperature [°C]"),
        (pressure_bar, "pressure [bar]"),
    )
    not_negative(u_reading_mL_per_min, "error per reading [mL/min]")
    not_negative(u_increment_mL, "error per increment [mL]")
    per_mL, common, said = _conversion(temperature, pressure, wet, gas, flow_factor)
    rate = (flow - nominal(zero_mL_per_min)) * 60.0 * per_mL
    step = np.diff(times)
    co2 = np.concatenate(([0.0], np.cumsum((rate[1:] + rate[:-1]) / 2 * step)))
    if not co2[-1] > 0:
        raise InputError(
            f"the flow adds up to {co2[-1]:.3g} mol over the run", "a flow that is positive on the whole",
            "check the sign and the zero of the meter",
        )  # fmt: skip
    before = np.concatenate(([0.0], step[:-1]))
    spread = np.hypot(u_reading_mL_per_min * 60.0 * np.sqrt(step * (before + step) / 2), u_increment_mL)
    u_step = np.concatenate(([0.0], spread)) * per_mL
    drift = 60.0 * float(np.mean(np.broadcast_to(per_mL, times.shape))) * (times[-1] - times[0])
    if uncertainty(zero_mL_per_min) > 0:
        common = common - (zero_mL_per_min - nominal(zero_mL_per_min)) * drift / co2[-1]
    return _released("flow", times, co2, 0.0, u_step, common, [*remarks, *said, *_flow_remarks(times, rate)])


def gas_from_bubbles(
    time_h: ArrayLike,
    bubbles: ArrayLike,
    *,
    mL_per_bubble: Number,
    temperature_C: Numbers,
    pressure_bar: Numbers = STANDARD_ATMOSPHERE_BAR,
    spread_of_bubble: float | None = None,
    u_reading: float = HALF_WIDTH / 2,
    wet: bool = True,
    gas: str = "real",
    resets: str | Sequence[int] = "find",
) -> GasCurve:
    """CO2 released, from a cumulative count of bubbles.

    The volume of one bubble comes from a bubble calibration and is one common factor for the whole curve:
    its error does not average out, however many bubbles are counted.

    Parameters
    ----------
    time_h, bubbles : array-like of shape (n,)
        Times [h] and cumulative counts.
    mL_per_bubble : float or ufloat
        From a calibration: bubbles counted against a collected volume [mL].
    temperature_C, pressure_bar : float, ufloat or array of shape (n,)
        Of the gas in the airlock [°C; bar, absolute].
    spread_of_bubble : float, optional
        Relative standard deviation of the volume of a single bubble: N bubbles are then uncertain by
        spread √N. Without it the count is taken as a chance count, √N.
    u_reading : float
        Standard uncertainty of a reading of the counter, independent from one to the next [bubbles]; half a bubble of
        rounding, as a rectangle, where nothing is said.
    wet, gas, resets
        As in `gas_from_volume`.

    Returns
    -------
    GasCurve
        ``counts="released"``, with accumulating errors.

    Raises
    ------
    InputError
        As `gas_from_volume`; a bubble without a volume.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> curve = gas_from_bubbles([0, 12, 24], [0, 900, 1600], mL_per_bubble=ufloat(0.62, 0.02), temperature_C=22.0)
    >>> curve.total(), curve.noise
    (0.0401+/-0.0016, 'accumulating')

    References
    ----------
    √N: the standard deviation of a Poisson count.
    """
    times, count, (temperature, pressure), rows, remarks = paired(
        time_h, bubbles, "bubbles", (temperature_C, "temperature [°C]"), (pressure_bar, "pressure [bar]")
    )
    positive(nominal(mL_per_bubble), "volume of a bubble [mL]")
    count, kept, found = mended(count, "bubbles", rows, noise=0.0, resets=resets)
    times, temperature, pressure = times[kept], _cut(temperature, kept), _cut(pressure, kept)
    per_mL, common, said = _conversion(temperature, pressure, wet, gas, 1.0)
    scale = per_mL * nominal(mL_per_bubble)
    spread = 1.0 if spread_of_bubble is None else spread_of_bubble
    not_negative(spread, "spread of a bubble")
    not_negative(u_reading, "error per reading [bubbles]")
    step = np.concatenate(([0.0], np.clip(np.diff(count), 0.0, None)))
    if spread_of_bubble is None:
        said.append("The spread of a single bubble was not given: counts are taken as uncertain by √N.")
    co2 = np.cumsum(step * scale) if np.ndim(scale) else (count - count[0]) * scale
    u_step = spread * np.sqrt(step) * scale
    return _released(
        "bubbles", times, co2, scale * u_reading, u_step, common * ratio(mL_per_bubble),
        [*remarks, *found, *said],
    )  # fmt: skip


def _cut(value: Numbers, kept: NDArray[np.intp]) -> Numbers:
    """A series in the rows that stay; a single value as it is."""
    return value[kept] if isinstance(value, np.ndarray) else value


def _released(
    kind: str, times: Floats, co2: Floats, u_reading: Any, u_step: Any, common: Number, remarks: Sequence[str]
) -> GasCurve:
    """A curve of CO2 released; scalars are spread over the readings, the first increment has no error."""
    per_reading = np.broadcast_to(np.asarray(u_reading, dtype=float), times.shape).copy()
    per_step = np.broadcast_to(np.asarray(u_step, dtype=float), times.shape).copy()
    per_step[0] = 0.0
    return GasCurve(times, co2, "released", kind, per_reading, per_step, common, tuple(remarks))


def _conversion(
    temperature: Numbers, pressure: Numbers, wet: bool, gas: str, factor: Number
) -> tuple[Numbers, Number, list[str]]:
    """Mol of CO2 for each mL shown, at the nominal values; the common factor; what to say about it."""
    one_of(gas, ("real", "ideal"), "gas")
    positive(nominal(factor), "factor of the collector")

    def per_mL(t_C: Numbers, bar: Numbers) -> Any:
        dry = bar - water_vapour_pressure(t_C) if wet else np.asarray(bar)
        z = co2_compressibility(t_C, dry) if gas == "real" else 1.0
        return dry / (z * L_BAR_GAS_CONSTANT * (np.asarray(t_C) + ZERO_CELSIUS_K)) / 1000.0

    plain_t: Numbers = getattr(temperature, "nominal_value", temperature)
    plain_p: Numbers = getattr(pressure, "nominal_value", pressure)
    _check_conditions(plain_t, plain_p)
    value = per_mL(plain_t, plain_p) * nominal(factor)
    common = ratio(factor)
    uncertain = [uncertainty(quantity) > 0 for quantity in (temperature, pressure)]
    if any(uncertain):
        from uncertainties import wrap

        middle = [quantity if np.ndim(plain) == 0 else float(np.mean(plain))
                  for quantity, plain in ((temperature, plain_t), (pressure, plain_p))]  # fmt: skip
        common = common * ratio(wrap(lambda t, p: float(per_mL(t, p)))(*middle))
    vapour = float(np.mean(water_vapour_pressure(plain_t) / plain_p)) if wet else 0.0
    return value, common, [f"Taken to dry gas: {100 * vapour:.1f} % of the volume was water vapour."] if wet else []


def _check_conditions(temperature: Numbers, pressure: Numbers) -> None:
    for value in (np.min(temperature), np.max(temperature)):
        between(float(value), 0.0, 46.0, "temperature of the collected gas [°C]")
    for value in (np.min(pressure), np.max(pressure)):
        between(float(value), 0.5, 2.0, "pressure in the collector [bar, absolute]",
                do="give bar, absolute: 1013 hPa is 1.013 bar")  # fmt: skip


USUAL_LOSS_TO_WATER: Final = (0.0, 0.10)
"""Share of the CO2 that displacement water took where nobody said, lowest and highest: common practice, no source.
Water holds about its own volume of CO2, so that a large basin and slow gas can take more."""


def _lost_to_water(share: tuple[float, float] | None, wet: bool, gas_C: Numbers) -> tuple[Number, list[str]]:
    """The factor 1/(1 − loss) and its sentence."""
    if share is None and not wet:
        return 1.0, []
    low, high = share or USUAL_LOSS_TO_WATER
    between(low, 0.0, 0.9, "loss to water, lower end", do="give shares, so (0.01, 0.05) for 1 to 5 %")
    between(high, low, 0.9, "loss to water, upper end", do="give (low, high) with the smaller share first")
    if high == 0:
        return 1.0, []
    factor = 1 / (1 - rectangle(low, high, Act("loss to water", "CO2 lost into the displacement water")))
    said = [
        f"{100 * low:.1f} % to {100 * high:.1f} % of the CO2 is taken to have dissolved in the displacement water: "
        f"a factor of {plus_minus(factor)}."
    ]
    if share is None:
        plain_C: Numbers = getattr(gas_C, "nominal_value", gas_C)
        water_C = float(np.mean(plain_C))
        litre = float(co2_solubility(water_C, STANDARD_ATMOSPHERE_BAR))
        said.append(
            "How much the displacement water took was not said, so this is a usual range: a litre of it can take up to "
            f"{litre:.2g} mol. Say your own range, none for a syringe or a meter. Saturated brine takes far less."
        )
    return factor, said


def _flow_remarks(times: Floats, rate: Floats) -> list[str]:
    step = np.diff(times)
    said = []
    wide = np.flatnonzero(step > 3 * np.median(step))
    if wide.size:
        missing = np.sum((rate[wide] + rate[wide + 1]) / 2 * step[wide]) / np.sum((rate[1:] + rate[:-1]) / 2 * step)
        said.append(
            f"{wide.size} gap(s) of more than three intervals are bridged by straight lines: "
            f"{100 * missing:.1f} % of the CO2."
        )
    below = int(np.sum(rate < 0))
    if below:
        said.append(f"{below} flow reading(s) lie below zero; they are kept, so that noise about zero cancels.")
    return said
