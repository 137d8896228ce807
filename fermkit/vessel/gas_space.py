"""Where the CO2 is in a closed vessel, in plain numbers: liquid, gas space, sealed air, vapour.

The arithmetic under `fermkit.vessel`, which wraps it with uncertainties, ratings and words.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from scipy.optimize import brentq

from fermkit.basis.checks import Floats
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.written import Numbers, nominal, uncertainty
from fermkit.matter.properties import (
    MOST_CO2_BAR,
    bicarbonate_factor,
    co2_compressibility,
    co2_solubility,
    co2_swelling,
    water_density,
    water_vapour_pressure,
)

GRID_BAR: Final = np.linspace(0.0, MOST_CO2_BAR, 65)
"""Where the amount in a vessel is worked out before the root between two of them is sought [bar]."""


@dataclass(frozen=True)
class GasSpace:
    """Plain numbers of a closed vessel at one temperature, and the balance in it."""

    total_L: float
    liquid_L: float
    temperature_C: float
    barometer_bar: float
    dissolves: float
    air_mol: float
    start_mol: float = 0.0

    @classmethod
    def closed(
        cls,
        sealed_gas: str,
        *,
        total_L: float,
        liquid_L: float,
        temperature_C: float,
        closed_at_C: float,
        barometer_bar: float,
        solubility_vs_water: float,
        pH: float | None = None,
    ) -> "GasSpace":
        """Close the vessel at one temperature and bring it to another."""

        def dissolves(t_C: float) -> float:
            return solubility_vs_water * (1.0 if pH is None else bicarbonate_factor(pH, t_C))

        expanded = liquid_L * water_density(closed_at_C) / water_density(temperature_C)
        now = cls(total_L, expanded, temperature_C, barometer_bar, dissolves(temperature_C), 0.0)
        at_closing = cls(total_L, liquid_L, closed_at_C, barometer_bar, dissolves(closed_at_C), 0.0)
        dry = barometer_bar - water_vapour_pressure(closed_at_C)
        if sealed_gas == "air":
            return replace(now, air_mol=dry * (total_L - liquid_L) / at_closing.RT)
        return replace(now, start_mol=float(at_closing.amount(dry)))

    @property
    def swelling(self) -> float:
        """What a mole of dissolved CO2 adds to the liquid [L/mol]."""
        return float(co2_swelling(self.temperature_C))

    @property
    def RT(self) -> float:
        """Gas constant times temperature [L bar/mol]."""
        return L_BAR_GAS_CONSTANT * (self.temperature_C + ZERO_CELSIUS_K)

    def dissolved(self, co2_bar: Numbers) -> Numbers:
        """CO2 in the liquid [mol] under a partial pressure (`co2_solubility` is per swollen litre)."""
        c = self.dissolves * co2_solubility(self.temperature_C, co2_bar)
        return self.liquid_L * c / (1.0 - c * self.swelling)

    def room(self, co2_bar: Numbers) -> Numbers:
        """Gas space that the swollen liquid leaves [L]."""
        return self.total_L - self.liquid_L - self.swelling * self.dissolved(co2_bar)

    def amount(self, co2_bar: Numbers) -> Numbers:
        """All CO2 in the vessel [mol] under a partial pressure of CO2."""
        dissolved = self.dissolved(co2_bar)
        room = self.total_L - self.liquid_L - self.swelling * dissolved
        return dissolved + room * gas_mol_per_L(self.temperature_C, co2_bar)

    def parts(self, co2_bar: Numbers) -> Floats:
        """Gauge, absolute, CO2, air, water [bar], dissolved, in the gas space [mol], gas space [L]."""
        dissolved = self.dissolved(co2_bar)
        room = self.total_L - self.liquid_L - self.swelling * dissolved
        if np.min(room) <= 0:
            raise InputError(
                f"the swollen liquid fills the vessel: {self.liquid_L:.4g} L in {self.total_L:g} L "
                f"at {self.temperature_C:g} °C, before the CO2 in it is counted",
                "a gas space that takes up the swelling; without one the walls alone set the pressure",
                "leave more room above the liquid, and never close it like this",
            )
        air = self.air_mol * self.RT / room
        water = water_vapour_pressure(self.temperature_C) + 0.0 * room
        absolute = co2_bar + air + water
        gas = room * gas_mol_per_L(self.temperature_C, co2_bar)
        return np.array([absolute - self.barometer_bar, absolute, co2_bar, air, water, dissolved, gas, room])

    def most_mol(self) -> float:
        """CO2 made since closing up to which a curve is worked out [mol]: just inside the equations' end."""
        return 0.99 * float(self.amount(MOST_CO2_BAR)) - self.start_mol

    def amount_at_gauge(self, gauge_bar: float) -> float:
        """CO2 made since closing [mol] that brings the vessel to a gauge pressure [bar]."""
        water = float(water_vapour_pressure(self.temperature_C))

        def short_of(co2_bar: float) -> float:
            air = self.air_mol * self.RT / max(float(self.room(co2_bar)), 1e-9 * self.total_L)
            return co2_bar + air + water - self.barometer_bar - gauge_bar

        top = 0.98 * MOST_CO2_BAR  # below `most_mol`, so that a curve that reaches it is worked out so far
        for at, met in ((0.0, "stands above"), (top, "is far from")):
            if (short_of(at) > 0) == (at == 0.0):
                raise InputError(
                    f"with CO2 at {at:g} bar this vessel {met} {gauge_bar:g} bar gauge",
                    f"a pressure that CO2 of 0 to {top:g} bar can make here",
                    "check gauge against absolute, the temperature at closing, and the room above the liquid",
                )
        return float(self.amount(brentq(short_of, 0.0, top, xtol=1e-13))) - self.start_mol

    def co2_bar(self, co2_mol: Numbers) -> Numbers:
        """Partial pressure of CO2 [bar] that an amount in the vessel makes."""
        wanted = np.asarray(co2_mol, dtype=float)
        held = self.amount(GRID_BAR)
        if np.max(wanted) > held[-1] * (1 + 1e-12):
            raise InputError(
                f"{np.max(wanted):.3g} mol CO2 in this vessel presses with more than {MOST_CO2_BAR:g} bar",
                f"at most {held[-1]:.3g} mol, where the equations end",
                "never close it on this: fit an airlock or a relief valve, or take far less sugar",
            )
        cell = np.clip(np.searchsorted(held, wanted), 1, held.size - 1)
        slope = (held[cell] - held[cell - 1]) / (GRID_BAR[cell] - GRID_BAR[cell - 1])
        return _rising_root(self.amount, wanted, np.interp(wanted, held, GRID_BAR), slope, MOST_CO2_BAR)

    def vented(self, made_mol: float, surplus: float, times: int) -> Floats:
        """After some vents: gauge and absolute after refilling [bar], CO2 let go and left [mol].

        `surplus` is the share of the liquid's surplus that stays in it while open.
        """
        left, space = made_mol + self.start_mol, self
        for _ in range(times):
            _, _, co2, air, water, dissolved, _, room = space.parts(space.co2_bar(left))
            dry = self.barometer_bar - water
            flat = float(self.dissolved(dry))
            kept = flat + (dissolved - flat) * surplus if dissolved > flat else dissolved
            washed = math.exp(-(dissolved - kept) * self.RT / (self.barometer_bar * room))
            air_left = dry * air / (co2 + air) * washed
            room = self.total_L - self.liquid_L - self.swelling * kept
            left = kept + float(gas_mol_per_L(self.temperature_C, dry - air_left)) * room
            space = replace(self, air_mol=air_left * room / self.RT)
        gauge, absolute, *_ = space.parts(space.co2_bar(left))
        return np.array([gauge, absolute, made_mol + self.start_mol - left, left])


def carried(function: Callable[..., Floats], inputs: Mapping[str, Any]) -> tuple[Any, ...]:
    """The answers of a function of plain numbers, each linear in the caller's uncertain inputs.

    Slopes are central differences over a thousandth of each standard uncertainty (GUM 5.1.3),
    so that correlated inputs stay correlated in the answers and between them.
    """
    plain = {name: nominal(value) for name, value in inputs.items()}
    answers: list[Any] = [float(x) for x in function(**plain)]
    for name, value in inputs.items():
        step = 1e-3 * uncertainty(value)
        if step > 0:
            above = function(**(plain | {name: plain[name] + step}))
            below = function(**(plain | {name: plain[name] - step}))
            shift = value - plain[name]
            answers = [a + float(s) * shift for a, s in zip(answers, (above - below) / (2 * step), strict=True)]
    return tuple(answers)


def gas_mol_per_L(temperature_C: float, co2_bar: Numbers) -> Any:
    """CO2 gas in a litre [mol/L] at a partial pressure: p/(Z R T)."""
    z = co2_compressibility(temperature_C, co2_bar)
    return co2_bar / (z * L_BAR_GAS_CONSTANT * (temperature_C + ZERO_CELSIUS_K))


def _rising_root(function: Callable[[Any], Any], target: Floats, start: Floats, slope: Floats, top: float) -> Any:
    """Where a rising, nearly straight function meets each target: secants from a near start."""
    x, missed = start, function(start) - target
    for _ in range(30):
        new = np.clip(x - missed / slope, 0.0, top)
        moved = new - x
        if float(np.max(np.abs(moved))) < 1e-13 * top:
            break
        now = function(new) - target
        far = np.abs(moved) > 1e-9 * top
        slope = np.where(far, (now - missed) / np.where(far, moved, 1.0), slope)
        x, missed = new, now
    return x if x.ndim else float(x)
