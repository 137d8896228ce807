"""CO2 held by the liquid, measured: shaken out into air, or titrated with a base."""

from typing import Any, Final

from fermkit.basis.checks import not_negative, positive
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.written import Number, nominal, plus_minus
from fermkit.gas.curve import CO2_G_PER_MOL
from fermkit.matter.properties import co2_solubility, co2_vs_water, water_vapour_pressure

ML_PER_L: Final = 1000.0


def co2_shaken_out(
    sample_mL: Number,
    air_mL: Number,
    gas_mL: Number,
    *,
    temperature_C: Number,
    pressure_bar: Number = STANDARD_ATMOSPHERE_BAR,
    solubility_vs_water: Number | None = None,
) -> Any:
    """CO2 of a liquid, from how much gas there is once a sample was shaken with air.

    In a syringe: draw the sample without a bubble, then air; close it, shake until nothing changes, read the gas at the
    pressure of the room. It foams and presses: hold the plunger, wear glasses.

    Parameters
    ----------
    sample_mL, air_mL, gas_mL : float or ufloat
        Liquid; air drawn in; gas over the liquid after shaking [mL].
    temperature_C, pressure_bar : float or ufloat
        Of sample and air [°C]; barometer [bar].
    solubility_vs_water : float or ufloat, optional
        CO2 that the liquid holds in balance, over what water holds; else that of an unknown liquid.

    Returns
    -------
    value
        [g/L], what stayed in the sample counted.

    Notes
    -----
    The air stays gas, so that the CO2 in the gas is what it grew by: n = p (V_gas − V_air)/(R T), with p less the
    vapour's; its pressure p (V_gas − V_air)/V_gas holds the rest in the sample by `co2_solubility`.

    Raises
    ------
    InputError
        Where the gas did not grow.

    Examples
    --------
    >>> print(round(co2_shaken_out(30.0, 30.0, 44.0, temperature_C=20.0, solubility_vs_water=1.0), 2))
    1.37

    References
    ----------
    Henry's law and Dalton's law; Weiss 1974 for the solubility.
    """
    for value, name in ((sample_mL, "sample [mL]"), (gas_mL, "gas after shaking [mL]")):
        positive(nominal(value), name)
    not_negative(nominal(air_mL), "air [mL]")
    if nominal(gas_mL) <= nominal(air_mL):
        raise InputError(
            f"{plus_minus(gas_mL, 'mL')} of gas after shaking with {plus_minus(air_mL, 'mL')} of air",
            "more gas than air, since CO2 came out", "check which is which, and that the sample was not flat",
        )  # fmt: skip
    from uncertainties import wrap

    dry = pressure_bar - wrap(lambda t: float(water_vapour_pressure(t)))(temperature_C)
    grown = gas_mL - air_mL
    per_mL = dry / (L_BAR_GAS_CONSTANT * (temperature_C + ZERO_CELSIUS_K)) / ML_PER_L
    stays = wrap(lambda t, p: float(co2_solubility(t, p)))(temperature_C, dry * grown / gas_mL)
    holds = co2_vs_water() if solubility_vs_water is None else solubility_vs_water
    return CO2_G_PER_MOL * (per_mL * grown / (sample_mL / ML_PER_L) + stays * holds)


def co2_titrated(base_mL: Number, base_mol_per_L: Number, sample_mL: Number, *, flat_mL: Number) -> Any:
    """CO2 of a liquid, from the base that it takes up to pH 8.3, less what the same liquid takes when it is flat.

    Base burns skin and eyes: gloves and glasses. The sample is titrated cold and without stirring gas out of it.

    Parameters
    ----------
    base_mL : float or ufloat
        Sodium hydroxide for the fresh sample [mL].
    base_mol_per_L : float or ufloat
        [mol/L].
    sample_mL : float or ufloat
        [mL].
    flat_mL : float or ufloat
        Base for as much liquid from which all CO2 was driven out, by air bubbled through [mL]: the other acids.

    Returns
    -------
    value
        [g/L].

    Notes
    -----
    CO2 + OH⁻ → HCO3⁻: c = (V − V_flat) c_base/V_sample.

    Raises
    ------
    InputError
        Where the fresh sample takes no more base than the flat one.

    Examples
    --------
    >>> print(round(co2_titrated(5.0, 0.1, 10.0, flat_mL=1.6), 2))
    1.5

    References
    ----------
    Standard Methods for the Examination of Water and Wastewater, 4500-CO2 C: mg CO2/L = mL · N · 44 000/mL sample.
    """
    for value, name in ((base_mol_per_L, "strength of the base [mol/L]"), (sample_mL, "sample [mL]")):
        positive(nominal(value), name)
    not_negative(nominal(flat_mL), "base for the flat sample [mL]")
    if nominal(base_mL) <= nominal(flat_mL):
        raise InputError(
            f"{plus_minus(base_mL, 'mL')} of base fresh, {plus_minus(flat_mL, 'mL')} flat", "more for the fresh sample",
            "check which is which: CO2 is lost as soon as a sample is stirred",
        )  # fmt: skip
    return (base_mL - flat_mL) * base_mol_per_L / sample_mL * CO2_G_PER_MOL
