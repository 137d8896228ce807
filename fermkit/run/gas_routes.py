"""The routes to the gas: each from its readings to CO2 made, held against one another, and read for lag and rate."""

from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats
from fermkit.basis.errors import InputError
from fermkit.basis.written import Frame, Number
from fermkit.gas.collector import gas_from_bubbles, gas_from_flow, gas_from_volume
from fermkit.gas.curve import GasCurve, RouteComparison, compare_routes, produced
from fermkit.gas.headspace import gas_from_pressure
from fermkit.gas.room import gas_from_room
from fermkit.gas.weighing import gas_from_weight
from fermkit.growth.comparison import CurveComparison, compare_curves
from fermkit.growth.fit import GrowthFit, fit_growth
from fermkit.growth.smoothing import SmoothReading, smooth_growth
from fermkit.run.closed_vessel import headspace_L
from fermkit.run.fields import usual_number
from fermkit.run.records import Run
from fermkit.run.sections_gas import BubbleCount, CollectedVolume, FlowRate, Gas, RoomReadings, VesselWeight
from fermkit.run.surroundings import ROOM, air_changes, barometer_bar, liquid_C, logged, outdoor_ppm

UNTESTED_VOLUME: Final = usual_number(CollectedVolume, "volume_factor", 1.0)
UNTESTED_FLOW: Final = usual_number(FlowRate, "flow_factor", 1.0)
UNTESTED_SCALE: Final = usual_number(VesselWeight, "drift_g_h", 0.0)
"""A collector, a meter and a scale that nobody has tested: right on the whole, by the usual ±."""

USUAL_VAPOUR: Final = (0.9, 1.1)
"""Gas that leaves a vessel is as damp as can be, to a tenth (common practice, no source)."""


def released_by(route: Gas, run: Run, ethanol_pct_vol: Number | None = None) -> GasCurve | None:
    """One route to the gas: CO2 released (for a pressure: produced); None where its table is not there."""
    if route.table not in run.tables:
        return None
    table = run.tables[route.table].dropna(subset=[route.column])
    time, level = table["time_h"].to_numpy(float), table[route.column].to_numpy(float)
    if isinstance(route, (CollectedVolume, FlowRate, BubbleCount)):
        return _caught(route, time, level, _around(route, run, table))
    u_reading = route.or_usual("u_reading", level)
    if isinstance(route, RoomReadings):
        return _of_the_room(run, time, level, u_reading)
    if isinstance(route, VesselWeight):
        grams_per_L = _broth_density(run)
        taken = [(time, litres * grams_per_L) for time, litres in run.ledger.taken("sample", "spill")]
        return gas_from_weight(
            time, level,
            temperature_C=liquid_C(run),
            headspace_L=headspace_L(run),
            ethanol_pct_vol=0.0 if ethanol_pct_vol is None else ethanol_pct_vol,
            pressure_bar=barometer_bar(run, table),
            u_reading_g=u_reading,
            drift_g_per_h=UNTESTED_SCALE if route.drift_g_h is None else route.drift_g_h,
            taken_out_g=taken,
            vapour=route.vapour or USUAL_VAPOUR,
        )  # fmt: skip
    return gas_from_pressure(  # PressureReadings, the kind that is left; a new kind has its branch above
        time, level,
        headspace_L=headspace_L(run),
        liquid_L=run.vessel.liquid_L,
        temperature_C=logged(table, "temperature_C", liquid_C(run)),
        barometer_bar=barometer_bar(run, table),
        pH=run.conditions.pH,
        u_reading_bar=u_reading,
        vents="plain" if run.vessel.closed == "closed" else "find",
    )  # fmt: skip


def _of_the_room(run: Run, time: Floats, level: Floats, u_reading: float) -> GasCurve:
    """By the CO2 in the air of the room that [room] describes."""
    if run.room.volume_m3 is None:
        raise InputError(
            f"{level.size} readings of the CO2 of a room, and [room] tells no volume", "the air in the room, in m3",
            'write volume = "0.40 ± 0.02 m3" under [room]',
        )  # fmt: skip
    return gas_from_room(
        time, level, room_m3=run.room.volume_m3, air_changes_per_h=air_changes(run), outdoor_ppm=outdoor_ppm(run),
        headspace_L=headspace_L(run), people=run.room.people or 0.0, pressure_bar=barometer_bar(run),
        u_reading_ppm=u_reading,
    )  # fmt: skip


def _around(route: CollectedVolume | FlowRate | BubbleCount, run: Run, table: Frame) -> dict[str, Any]:
    """Warmth, pressure and dampness of gas that was caught or counted."""
    warm = route.collector_temperature_C
    return {
        "temperature_C": logged(table, "temperature_C", ROOM if warm is None else warm),
        "pressure_bar": logged(table, "barometer_bar", barometer_bar(run)),
        "wet": not route.dry,
    }


def _caught(
    route: CollectedVolume | FlowRate | BubbleCount, time: Floats, level: Floats, around: dict[str, Any]
) -> GasCurve:
    if isinstance(route, CollectedVolume):
        return gas_from_volume(
            time, level, **around,
            u_reading_mL=route.or_usual("u_reading", level),
            u_increment_mL=route.u_increment or 0.0,
            volume_factor=UNTESTED_VOLUME if route.volume_factor is None else route.volume_factor,
            loss_to_water=(0.0, 0.0) if route.dry and route.loss_to_water is None else route.loss_to_water,
            collector="emptied" if route.emptied else "held",
        )  # fmt: skip
    if isinstance(route, FlowRate):
        return gas_from_flow(
            time, level / 60, **around,
            u_reading_mL_per_min=route.or_usual("u_reading", level) / 60,
            flow_factor=UNTESTED_FLOW if route.flow_factor is None else route.flow_factor,
        )  # fmt: skip
    if route.volume_per_bubble_mL is None:
        raise InputError(
            f"the gas was counted in bubbles, {level[-1]:g} of them, and no volume_per_bubble is given",
            "the volume of one bubble, from a bubble calibration",
            'count bubbles while a known volume passes, and write volume_per_bubble = "0.31 ± 0.01 mL"',
        )
    return gas_from_bubbles(
        time, level, **around, mL_per_bubble=route.volume_per_bubble_mL, spread_of_bubble=route.spread_of_bubble
    )


def _broth_density(run: Run) -> Number:
    """Of the liquid, between start and end [g/L]; without a hydrometer 1020 ± 15 (common practice, no source)."""
    start, end = run.density.start_kg_m3, run.density.end_kg_m3
    if start is not None and end is not None:
        return (start + end) / 2
    return ufloat(1020.0, 15.0, tag=Act("sample density", "density of the samples taken out"))


def made_by(gas: GasCurve | None, time_h: float) -> float:
    """Share of the run's gas that was made by a time: 0 before the first reading, 1 after the last."""
    if gas is None or gas.co2_mol[-1] <= 0:
        return 1.0
    share = np.interp(time_h, gas.time_h, gas.co2_mol, left=0.0, right=gas.co2_mol[-1]) / gas.co2_mol[-1]
    return float(np.clip(share, 0.0, 1.0))


def made_from(released: GasCurve, run: Run) -> GasCurve:
    """What the yeast made, from what left: with the CO2 that the liquid holds."""
    if released.counts == "produced":
        return released
    return produced(
        released,
        liquid_L=run.ledger.amount(lambda _: 1.0, float("inf")),  # samples took their share of the store along
        headspace_L=headspace_L(run),
        temperature_C=liquid_C(run),
        pH=run.conditions.pH,
        pressure_bar=barometer_bar(run),
    )


def routes_of(released: tuple[GasCurve, ...]) -> RouteComparison | None:
    """The routes held against one another; None where there is one alone."""
    return compare_routes(*released) if len(released) > 1 else None


def lag_and_rate(gas: tuple[GasCurve, ...]) -> SmoothReading:
    """Lag, largest rate and end of the gas, from the readings alone."""
    return smooth_growth(**gas[0].readings, early_u=gas[0].u_early_mol)


def curves_of(gas: tuple[GasCurve, ...], curve: str) -> CurveComparison | None:
    """All growth curves on the same gas; None where one was asked for by name."""
    return compare_curves(**gas[0].readings) if curve == "best" else None


def growth_of(gas: tuple[GasCurve, ...], curve: str, curves: CurveComparison | None) -> GrowthFit:
    """The growth curve that was asked for, or the one that follows the gas best."""
    if curves is not None:
        return curves.best
    return fit_growth(**gas[0].readings, curve="gompertz" if curve == "best" else curve)
