"""Air through a liquid: the oxygen that it can bring, and the ethanol and water that it carries out."""

from typing import Any, Final

from uncertainties.umath import exp

from fermkit.basis.budget import Act
from fermkit.basis.checks import not_negative, positive
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, OXYGEN_IN_AIR, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import nominal
from fermkit.gas.weighing import ethanol_vapour_pressure
from fermkit.matter.properties import o2_solubility, water_vapour_pressure

USUAL_KLA: Final = (5.0, 50.0)
"""Oxygen transfer coefficient where nobody gave one, lowest and highest [1/h]: common practice; 21 1/h was the
most in a shaken and 51 1/h in a sparged, stirred vessel (Nikakhtari & Hill, abstract read)."""

USUAL_AIR: Final = (0.2, 1.0)
"""Air through the liquid where nobody said, lowest and highest [L per L and min]: common practice, no source."""

SATURATION: Final = (0.7, 1.0)
"""How far the gas that leaves is in balance with the liquid, lowest and highest [-]: common practice, no source."""


def oxygen_transfer(
    kLa_per_h: Any = None, *, temperature_C: Any = 25.0, barometer_bar: Any = STANDARD_ATMOSPHERE_BAR
) -> Any:
    """The most oxygen that aeration brings into a litre: the ceiling for respiration.

    Parameters
    ----------
    kLa_per_h : value, optional
        Transfer coefficient [1/h]; without it anywhere from 5 to 50 1/h.
    temperature_C : value
        [°C], 1 to 100.
    barometer_bar : value
        [bar].

    Returns
    -------
    value
        [mmol/(L h)].

    Notes
    -----
    kLa c*: c* is the oxygen in balance with moist air, and the yeast keeps none in the liquid.

    Examples
    --------
    >>> round(oxygen_transfer(100.0), 1)
    26.1

    References
    ----------
    Doran, Bioprocess Engineering Principles, ch. 9; IAPWS G7-04 for c*.
    """
    kLa = (
        rectangle(*USUAL_KLA, Act("usual kLa", "the oxygen transfer, not measured")) if kLa_per_h is None else kLa_per_h
    )
    not_negative(nominal(kLa), "oxygen transfer coefficient [1/h]")
    positive(nominal(barometer_bar), "barometer [bar]")
    oxygen_bar = OXYGEN_IN_AIR * (barometer_bar - water_vapour_pressure(temperature_C))
    return 1000.0 * kLa * o2_solubility(temperature_C, oxygen_bar)


def ethanol_carried_out(ethanol_g: Any, liquid_L: Any, gas_L: Any, temperature_C: Any) -> Any:
    """Ethanol that gas bubbling through takes along while the ethanol is made at a steady rate.

    Parameters
    ----------
    ethanol_g : value
        All ethanol made [g].
    liquid_L : value
        Liquid [L].
    gas_L : value
        All gas that leaves the liquid [L], at its temperature.
    temperature_C : value
        [°C].

    Returns
    -------
    value
        [g].

    Notes
    -----
    The share 1 − (1 − e^−x)/x, with x = K V_gas/V_liquid, K the ethanol in a litre of gas over that in a litre
    of liquid, times how far the gas is saturated (70 to 100 %).

    Examples
    --------
    >>> print(ethanol_carried_out(46.0, 1.0, 720.0, 25.0))
    2.86+/-0.28

    References
    ----------
    Mass balance of a stirred liquid; Henry's constant of `weighing.ethanol_vapour_pressure` (Sander 2015).
    """
    return ethanol_g * stripped_share(liquid_L, gas_L, temperature_C)


def stripped_share(liquid_L: Any, gas_L: Any, temperature_C: Any) -> Any:
    """Share of all ethanol made that gas takes along while it is made at a steady rate, as `ethanol_carried_out`.

    Examples
    --------
    >>> print(f"{100 * stripped_share(1.0, 1440.0, 28.0):.1f} %")  # a litre of air per litre and minute for a day
    14.4+/-1.3 %
    """
    kelvin = temperature_C + ZERO_CELSIUS_K
    one_percent_mol_L = 7.89239 / 46.069
    K = ethanol_vapour_pressure(1.0, nominal(temperature_C)) / (L_BAR_GAS_CONSTANT * kelvin) / one_percent_mol_L
    x = K * gas_L / liquid_L * rectangle(*SATURATION, Act("saturation", "how far the gas is saturated"))
    return 1.0 - (1.0 - exp(-x)) / x if nominal(x) > 1e-9 else 0.0


def air_through(liquid_L: Any, hours: float) -> Any:
    """Air of an aeration that nobody measured: 0.2 to 1 L in a minute for each litre [L in all], `USUAL_AIR`."""
    return liquid_L * 60.0 * hours * rectangle(*USUAL_AIR, Act("usual air", "the air flow, not measured"))


def water_carried_out(gas_L: Any, temperature_C: Any, *, dry_gas: bool) -> Any:
    """Water that gas takes along [g]: all its vapour if it came dry (CO2), 30 to 70 % of it for room air."""
    positive(nominal(temperature_C) + ZERO_CELSIUS_K, "temperature [K]")
    vapour = water_vapour_pressure(temperature_C) / (L_BAR_GAS_CONSTANT * (temperature_C + ZERO_CELSIUS_K))
    taken = 1.0 if dry_gas else rectangle(0.3, 0.7, Act("dry air", "how dry the air is that comes in"))
    return gas_L * vapour * 18.015 * taken * rectangle(*SATURATION, Act("saturation", "how far the gas is saturated"))
