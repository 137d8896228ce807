"""The pressure in a closed vessel: CO2 in the gas space, in the liquid, and in what was let out."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.checks import between, not_negative, positive
from fermkit.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.counters import paired
from fermkit.gas import GasCurve, Number
from fermkit.properties import bicarbonate_factor, co2_compressibility, co2_solubility, water_vapour_pressure
from fermkit.written import nominal

Floats = NDArray[np.float64]


def gas_from_pressure(
    time_h: ArrayLike,
    pressure_bar_gauge: ArrayLike,
    *,
    headspace_L: Number,
    liquid_L: Number,
    temperature_C: Any,
    barometer_bar: Number = STANDARD_ATMOSPHERE_BAR,
    pH: Number = None,
    u_reading_bar: float = 0.0,
    vents: str | Sequence[int] = "find",
) -> GasCurve:
    """CO2 produced, from the gauge pressure of a closed vessel.

    Examples
    --------
    >>> curve = gas_from_pressure([0, 12, 24], [0.0, 0.6, 1.4], headspace_L=0.5, liquid_L=1.5, temperature_C=25.0)
    >>> curve.co2_mol
    array([0.    , 0.0421, 0.0979])
    """
    times, gauge, (temperature,), rows, remarks = paired(
        time_h, pressure_bar_gauge, "gauge pressure [bar]", (temperature_C, "temperature [°C]")
    )
    t_C = getattr(temperature, "nominal_value", temperature)
    bar = gauge + nominal(barometer_bar)
    dry = bar - water_vapour_pressure(t_C)
    RT = L_BAR_GAS_CONSTANT * (np.asarray(t_C) + ZERO_CELSIUS_K)
    RT = np.broadcast_to(RT, bar.shape)
    air = dry[0] * RT / RT[0]
    co2_bar = np.clip(dry - air, 0.0, None)
    gas = co2_bar * nominal(headspace_L) / (co2_compressibility(t_C, co2_bar) * RT)
    factor = 1.0 if pH is None else bicarbonate_factor(nominal(pH), t_C)
    held = nominal(liquid_L) * co2_solubility(t_C, co2_bar) * factor
    co2 = gas + held
    u = np.full(times.shape, u_reading_bar) * np.gradient(co2, bar) if u_reading_bar else np.zeros_like(co2)
    return GasCurve(times, co2, "produced", "pressure", u, np.zeros_like(co2), 1.0, tuple(remarks), float(held[-1]))
