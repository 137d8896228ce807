"""The vessel of a run: its gas space, and the pressure if it had stayed closed."""

from dataclasses import replace

from fermkit.basis.errors import InputError
from fermkit.basis.written import Number, nominal
from fermkit.gas.curve import GasCurve
from fermkit.run.records import Run
from fermkit.run.surroundings import barometer_bar, liquid_C
from fermkit.vessel.container import MATERIALS, Pressure, Vessel


def headspace_L(run: Run) -> Number:
    """The gas space above the liquid at the start."""
    if run.vessel.total_L is None or run.vessel.liquid_L is None:
        raise InputError(
            f"the vessel is described by {', '.join(run.vessel.given) or 'nothing'}",
            "its total volume and the liquid in it",
            'write total = "3.0 ± 0.1 L" and liquid = "2.0 ± 0.02 L" under [vessel]',
        )
    return run.vessel.total_L - run.vessel.liquid_L


def under_airlock(run: Run) -> bool:
    """Whether it is a glass vessel that was left open through an airlock."""
    return run.vessel.material == "glass" and run.vessel.closed in ("airlock", "open")


def vessel_of(run: Run) -> Vessel | None:
    """The vessel, as if it were closed; None for glass behind an airlock, which must never be."""
    if run.vessel.total_L is None or run.vessel.liquid_L is None or under_airlock(run):
        return None
    rated = run.vessel.rated_bar_gauge
    return Vessel(
        total_L=run.vessel.total_L,
        liquid_L=run.vessel.liquid_L,
        temperature_C=liquid_C(run),
        rated_bar_gauge=None if rated is None else nominal(rated),
        barometer_bar=barometer_bar(run),
        material=run.vessel.material if run.vessel.material in MATERIALS else "not stated",
        pH=run.conditions.pH,
    )


def pressure_of(run: Run, gas: tuple[GasCurve, ...]) -> Pressure | None:
    """If the vessel had been closed and never vented."""
    if under_airlock(run):
        raise InputError(
            f"the vessel is {run.vessel.material} ({run.vessel.closed}), and glass must never be closed",
            "a vessel with a rating",
            "keep the airlock on",
        )
    vessel = vessel_of(run)
    if vessel is None:
        return None
    return replace(vessel, solubility_vs_water=gas[0].solubility_vs_water).pressure(gas[0].total())
