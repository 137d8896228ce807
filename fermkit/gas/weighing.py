"""The vessel on a scale: what it loses is CO2, some vapour, and at first the air of its headspace."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, between, not_negative, positive
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Numbers, nominal
from fermkit.gas.counters import mended, paired
from fermkit.gas.curve import CO2_G_PER_MOL, GasCurve, Number, shifted
from fermkit.matter.properties import ethanol_molar_concentration, water_vapour_pressure

AIR_G_PER_MOL: Final = 28.97
"""Dry air: U.S. Standard Atmosphere 1976, 28.9644 g/mol, rounded."""

MOST_STEPS, CLOSE_MOL = 8, 1e-12
"""Newton's rule doubles its digits at each step; it ends where a step is below what any scale can show [mol]."""

STEP: Final = "correct the reading; what was put on or taken out belongs in taken_out_g, with its time"

WATER_G_PER_MOL: Final = 18.015
ETHANOL_G_PER_MOL: Final = 46.069
"""Standard atomic weights, CIAAW 2021."""


def ethanol_vapour_pressure(pct_vol: Numbers, temperature_C: Numbers) -> Numbers:
    """Pressure of ethanol vapour over a dilute solution in water: what the gas carries out.

    Parameters
    ----------
    pct_vol : float or array
        Alcohol in % by volume, up to about 15.
    temperature_C : float or array
        [°C].

    Returns
    -------
    float or array
        [bar].

    Notes
    -----
    p = c/H, H = 190 mol/(L bar) exp(6400 K (1/T − 1/298.15 K)). Sources agree within about 10 %.

    Examples
    --------
    >>> print(round(ethanol_vapour_pressure(5.0, 25.0), 5))
    0.00451

    References
    ----------
    Sander, Atmos. Chem. Phys. 15 (2015) 4399, doi:10.5194/acp-15-4399-2015: ethanol, Hcp = 1.9 mol/(m3 Pa)
    and 6400 K (Sander et al. 2011).
    """
    kelvin = np.asarray(temperature_C, dtype=float) + ZERO_CELSIUS_K
    return ethanol_molar_concentration(pct_vol) / (190.0 * np.exp(6400.0 * (1 / kelvin - 1 / 298.15)))


def gas_from_weight(
    time_h: ArrayLike,
    weight_g: ArrayLike,
    *,
    temperature_C: Number,
    headspace_L: Number,
    ethanol_pct_vol: Number = 0.0,
    pressure_bar: Number = STANDARD_ATMOSPHERE_BAR,
    u_reading_g: float = 0.0,
    u_increment_g: float = 0.0,
    scale_factor: Number = 1.0,
    drift_g_per_h: Number = 0.0,
    taken_out_g: Sequence[tuple[float, Number]] = (),
    vapour: tuple[float, float] = (0.9, 1.1),
) -> GasCurve:
    """CO2 released, from the weight that the vessel loses.

    What leaves is not only CO2: the first gas is the air of the headspace, a third lighter than CO2, and all
    of it carries water and ethanol vapour. A gas leak does not show here, since leaked gas is lost all the same.

    Parameters
    ----------
    time_h, weight_g : array-like of shape (n,)
        Times [h] and weights of the whole vessel [g].
    temperature_C : float or ufloat
        Of the gas where it leaves the weighed system [°C].
    headspace_L : float or ufloat
        Gas space above the liquid, filled with air at the first reading [L].
    ethanol_pct_vol : float or ufloat
        Alcohol at the end [% vol]; taken to have risen in step with the gas.
    pressure_bar : float or ufloat
        Barometer, absolute [bar].
    u_reading_g : float
        Standard uncertainty of a weighing, independent from one to the next [g].
    u_increment_g : float
        Standard uncertainty of what comes off or on between two weighings and stays, such as drops at the lid [g].
    scale_factor : float or ufloat
        True weight over indicated weight, from a check weight.
    drift_g_per_h : float or ufloat
        What the indicated weight does by itself [g/h]: drift of the scale, positive upward, and evaporation
        from the airlock, negative.
    taken_out_g : sequence of (time_h, grams)
        Samples and spills; additions are negative. Each is added back from its time on (a reading at that
        very time is taken to be after it).
    vapour : (low, high)
        How far the gas is saturated with water and ethanol vapour where it leaves: an interval, equally likely
        between its ends (common practice, no source).

    Returns
    -------
    GasCurve
        ``counts="released"``: on the same footing as a collected volume, so that the two can be compared.

    Notes
    -----
    Released r mol, of n mol dry gas in the headspace, well mixed:
    loss = M r − (M − M_air) n (1 − exp(−r/n)) + vapour, with the vapour
    r (p_w M_w + p_e M_e)/(p − p_w − p_e); solved for r by Newton's rule.

    Raises
    ------
    InputError
        If times do not rise, the weight rises for good with nothing noted in `taken_out_g`, or a value lies
        outside its range.

    Examples
    --------
    >>> curve = gas_from_weight([0, 24, 48], [2150.0, 2130.0, 2108.0], temperature_C=25.0, headspace_L=0.5,
    ...                         ethanol_pct_vol=5.0, u_reading_g=0.1)
    >>> curve.total()
    0.9463+/-0.0033

    References
    ----------
    Mass balance of a well-mixed headspace; vapours as in `water_vapour_pressure` and
    `ethanol_vapour_pressure`.
    """
    from uncertainties import wrap

    times, weight, _, rows, remarks = paired(time_h, weight_g, "weight [g]")
    _check(temperature_C, headspace_L, ethanol_pct_vol, pressure_bar, scale_factor, u_reading_g)
    not_negative(u_increment_g, "error per increment [g]")
    low, high = vapour
    between(low, 0.0, high, "vapour, lower end", do="give (low, high) as shares of saturation, such as (0.9, 1.1)")
    carried = rectangle(low, high, Act("vapour carried out", "water and ethanol vapour carried out"))
    loss = weight[0] - weight
    for when, grams in taken_out_g:
        loss = loss - np.where(times >= when, nominal(grams), 0.0)
    loss, kept, found = mended(loss, "weight lost [g]", rows, noise=u_reading_g, resets="none", do=STEP)
    times = times[kept]
    elapsed = times - times[0]
    loss = loss - loss[0] + nominal(drift_g_per_h) * elapsed
    lost: Number = float(loss[-1]) + (drift_g_per_h - nominal(drift_g_per_h)) * float(elapsed[-1])
    for when, grams in taken_out_g:
        lost = lost - (grams - nominal(grams)) * float(times[0] < when <= times[-1])
    conditions = (headspace_L, temperature_C, pressure_bar, ethanol_pct_vol, carried)
    plain = [nominal(value) for value in conditions]
    co2, slope = _released_mol(loss * nominal(scale_factor), *plain)

    def at_end(grams: float, *given: float) -> float:
        return float(_released_mol(np.array([grams]), *given)[0][0])

    total = wrap(at_end)(lost * scale_factor, *conditions)
    per_gram = nominal(scale_factor) / slope
    per_step = u_increment_g * per_gram
    per_step[0] = 0.0
    return GasCurve(
        times, co2, "released", "weight", u_reading_g * per_gram, per_step,
        shifted(total, 0.0, float(co2[-1])), (*remarks, *found, *_said(co2, *plain)),
    )  # fmt: skip


def _check(temperature: Number, headspace: Number, ethanol: Number, pressure: Number, factor: Number, u: float) -> None:
    between(nominal(temperature), 1.0, 46.0, "temperature of the gas [°C]")
    positive(nominal(headspace), "headspace [L]", do="give the gas space above the liquid, in litres")
    between(nominal(ethanol), 0.0, 20.0, "alcohol [% vol]", do="give percent by volume, so 5 for 5 %")
    between(nominal(pressure), 0.5, 2.0, "barometer [bar]", do="give bar, absolute: 1013 hPa is 1.013 bar")
    between(nominal(factor), 0.5, 2.0, "factor of the scale")
    not_negative(u, "error of a weighing [g]")


def _vapour_g_per_mol(temperature_C: float, bar: float, pct_vol: float, carried: float) -> tuple[float, float, float]:
    """Dry pressure [bar]; grams of water, and of ethanol at the end, that go with each mol of dry gas."""
    water = carried * float(water_vapour_pressure(temperature_C))
    ethanol = carried * float(ethanol_vapour_pressure(pct_vol, temperature_C))
    dry = bar - water - ethanol / 2
    return dry, water * WATER_G_PER_MOL / dry, ethanol * ETHANOL_G_PER_MOL / dry


def _released_mol(
    loss: Floats, headspace_L: float, temperature_C: float, bar: float, pct_vol: float, carried: float
) -> tuple[Floats, Floats]:
    """Released [mol], and the grams lost for each further mol [g/mol], by Newton's rule."""
    dry, steam, spirit = _vapour_g_per_mol(temperature_C, bar, pct_vol, carried)
    room = headspace_L * dry / (L_BAR_GAS_CONSTANT * (temperature_C + ZERO_CELSIUS_K))
    lighter = CO2_G_PER_MOL - AIR_G_PER_MOL
    whole = CO2_G_PER_MOL + steam
    half = spirit / 2 / max(float(loss[-1]) / whole, 1e-9)  # ethanol rises in step with the gas
    released = loss / whole
    for _ in range(MOST_STEPS):
        air = np.exp(-np.clip(released, 0.0, None) / room)
        excess = (whole + half * released) * released - lighter * room * (1 - air) - loss
        slope = whole + 2 * half * released - lighter * air
        change = excess / slope
        released = released - change
        if np.max(np.abs(change)) < CLOSE_MOL:
            break
    return released, slope


def _said(
    co2: Floats, headspace_L: float, temperature_C: float, bar: float, pct_vol: float, carried: float
) -> list[str]:
    dry, steam, spirit = _vapour_g_per_mol(temperature_C, bar, pct_vol, carried)
    room = headspace_L * dry / (L_BAR_GAS_CONSTANT * (temperature_C + ZERO_CELSIUS_K))
    air = room * (1 - math.exp(-max(float(co2[-1]), 0.0) / room)) * AIR_G_PER_MOL
    out = max(float(co2[-1]), 0.0)
    return [
        f"Of the weight lost, {out * steam:.2g} g is water vapour, {out * spirit / 2:.2g} g ethanol vapour and "
        f"{air:.2g} g air pushed out of the headspace."
    ]
