"""From the tables of a run to each result: one function an arrow, each usable alone.

A step takes the `Run` and what earlier steps found, and gives a result or raises. What the
run leaves out gives None; `analysis` says in words what can then not be told.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, nominal
from fermkit.batch.aeration import ethanol_carried_out
from fermkit.calibration.calibrate import Calibration, fit_calibration
from fermkit.calibration.density import MixedMeasurement, density_change
from fermkit.calibration.dilutions import DilutionSeries, dilution_series
from fermkit.calibration.drift import Bracket, bracket
from fermkit.calibration.readback import PIPETTING, Reading
from fermkit.calibration.surroundings import TEMPERATURE
from fermkit.gas.collector import gas_from_bubbles, gas_from_flow, gas_from_volume
from fermkit.gas.curve import GasCurve
from fermkit.gas.headspace import gas_from_pressure
from fermkit.gas.weighing import gas_from_weight
from fermkit.matter.feed import Feed, feed
from fermkit.matter.ingredients import ingredient, ingredient_names
from fermkit.matter.properties import ethanol_mass_concentration, water_density
from fermkit.run.records import Run
from fermkit.vessel.container import Vessel

ROOM_C: Final = 25.0
"""Temperature taken where a run gives none [°C]; said on the page."""

THERMOMETER_K: Final = 0.03
"""How well a thermometer that shows tenths tells a sample from the standards [K]: ± 0.05 K, rectangular (common
practice, no source)."""


def feed_of(run: Run) -> Feed | None:
    """Everything that went in, the inoculum among it."""
    amounts: dict[str, Any] = {}
    for item in (*run.feed, *((run.inoculum,) if run.inoculum else ())):
        name, amount = item["ingredient"], item.get("amount_g", item["amount"])
        if name in amounts and (isinstance(amount, str) or isinstance(amounts[name], str)):
            raise InputError(
                f"{name} is fed twice, once as {amount!r}", "grams wherever an ingredient comes twice", "weigh it"
            )
        amounts[name] = amounts[name] + amount if name in amounts else amount
    own = {name: _completed(name, parts) for name, parts in run.ingredients.items()}
    dry = run.inoculum.get("dry_matter")
    if dry is not None:
        own[run.inoculum["ingredient"]] = {"yeast": dry, "water": 1.0 - dry}
    return feed(amounts, own) if amounts else None


def _completed(name: str, parts: Mapping[str, Any]) -> dict[str, Any]:
    """A composition of the run's own; elements that it does not give are those of the built-in ingredient."""
    usual = dict(ingredient(name).contents) if name in ingredient_names() else {}
    return usual | dict(parts)


def gas_of(run: Run, ethanol_pct_vol: Any = 0.0) -> list[GasCurve]:
    """Every route to the gas: CO2 released (for a pressure: produced)."""
    return [_route(run, route, ethanol_pct_vol) for route in run.gas if route["table"] in run.tables]


def _route(run: Run, route: Any, ethanol_pct_vol: Any) -> GasCurve:
    table = run.tables[route["table"]].dropna(subset=[route["column"]])
    time, level = table["time_h"].to_numpy(float), table[route["column"]].to_numpy(float)
    conditions = run.conditions
    vessel_C = conditions.get("temperature_C", ROOM_C)
    pressure = conditions.get("barometer_bar", STANDARD_ATMOSPHERE_BAR)
    collector: dict[str, Any] = {
        "temperature_C": _logged(table, "temperature_C", route.get("collector_temperature_C", ROOM_C)),
        "pressure_bar": pressure,
    }
    kind = route["kind"]
    if kind == "collected volume":
        return gas_from_volume(
            time, level, **collector,
            u_reading_mL=route.get("u_reading", 0.0),
            u_increment_mL=route.get("u_increment", 0.0),
            volume_factor=route.get("volume_factor", 1.0),
            loss_to_water=route.get("loss_to_water", (0.0, 0.0)),
        )  # fmt: skip
    if kind == "flow rate":
        return gas_from_flow(time, level / 60, **collector, u_reading_mL_per_min=route.get("u_reading", 0.0) / 60)
    if kind == "bubble count":
        per_bubble = route.get("volume_per_bubble_mL")
        if per_bubble is None:
            raise InputError(
                f"the gas was counted in bubbles, {level[-1]:g} of them, and no volume_per_bubble is given",
                "the volume of one bubble, from a bubble calibration",
                'count bubbles while a known volume passes, and write volume_per_bubble = "0.31 ± 0.01 mL"',
            )
        return gas_from_bubbles(time, level, **collector, mL_per_bubble=per_bubble)
    if kind == "vessel weight":
        grams_per_L = _broth_density(run)
        taken = [(time, litres * grams_per_L) for time, litres in run.ledger.taken("sample", "spill")]
        return gas_from_weight(
            time, level,
            temperature_C=vessel_C,
            headspace_L=headspace_L(run),
            ethanol_pct_vol=ethanol_pct_vol,
            pressure_bar=pressure,
            u_reading_g=route.get("u_reading", 0.0),
            taken_out_g=taken,
        )  # fmt: skip
    return gas_from_pressure(
        time, level,
        headspace_L=headspace_L(run),
        liquid_L=run.vessel["liquid_L"],
        temperature_C=_logged(table, "temperature_C", vessel_C),
        barometer_bar=pressure,
        pH=conditions.get("pH"),
        u_reading_bar=route.get("u_reading", 0.0),
        vents="plain" if run.vessel.get("closed") == "closed" else "find",
    )  # fmt: skip


def _broth_density(run: Run) -> Any:
    """Of the liquid, between start and end [g/L]; without a hydrometer 1020 ± 15 (common practice, no source)."""
    if {"start_kg_m3", "end_kg_m3"} <= run.density.keys():
        return (run.density["start_kg_m3"] + run.density["end_kg_m3"]) / 2
    return ufloat(1020.0, 15.0, tag=Act("sample density", "density of the samples taken out"))


def _logged(table: Any, column: str, otherwise: Any) -> Any:
    """A logged column where each row has it, else the one value for the run."""
    if column in table and table[column].notna().all():
        return table[column].to_numpy(float)
    return otherwise


def headspace_L(run: Run) -> Any:
    """The gas space above the liquid at the start."""
    if not {"total_L", "liquid_L"} <= run.vessel.keys():
        raise InputError(
            f"the vessel is described by {', '.join(run.vessel) or 'nothing'}",
            "its total volume and the liquid in it",
            'write total = "3.0 ± 0.1 L" and liquid = "2.0 ± 0.02 L" under [vessel]',
        )
    return run.vessel["total_L"] - run.vessel["liquid_L"]


def calibration_of(run: Run) -> Calibration | None:
    """The alcohol sensor's curve from all its standards, before and after."""
    if "standards" not in run.tables:
        return None
    return _calibrated(run, run.tables["standards"])


def _calibrated(run: Run, table: Any, reference_C: float | None = None) -> Calibration:
    table = table.dropna(subset=["ethanol_pct_vol", "signal"])
    curve = run.ethanol.get("curve", "line")
    weighted = curve == "weighted line"
    return fit_calibration(
        table["ethanol_pct_vol"].to_numpy(float),
        table["signal"].to_numpy(float),
        curve="line" if weighted else curve,
        weights="proportional" if weighted else "equal",
        temperature_C=_logged(table, "temperature_C", None),
        reference_C=reference_C,
        unit=run.units.get("standards", {}).get("signal", ""),
    )


def drift_of(run: Run) -> Bracket | None:
    """Standards before against standards after; None where they were read once.

    Their times are not in the table, so the samples are taken to lie anywhere between.
    """
    table = run.tables.get("standards")
    if table is None or "when" not in table:
        return None
    halves = [table[table["when"].astype(str).str.strip().str.lower() == when] for when in ("before", "after")]
    if any(half["ethanol_pct_vol"].nunique() < 3 for half in halves):
        return None
    reference = table["temperature_C"].mean() if "temperature_C" in table else None
    before, after = (_calibrated(run, half, reference) for half in halves)
    return bracket(before, after)


@dataclass(frozen=True, repr=False)
class Sample(Written):
    """One sample, read back: at one dilution, or at several that were held against one another.

    Attributes
    ----------
    name : str
    time_h : float
    value : ufloat
        [% vol at 20 °C], or None where nothing was read inside the standards.
    dilutions, readings : tuples
        How many times diluted, and what was read.
    series : DilutionSeries or None
    """

    name: str
    time_h: float
    value: Any
    dilutions: tuple[float, ...]
    readings: tuple[Reading, ...]
    series: DilutionSeries | None

    def page(self) -> Page:
        """Each dilution, and what they say together."""
        lines = [
            Line(
                f"diluted {dilution:g}-fold",
                reading.value,
                "% vol",
                "" if reading.in_range else "outside the standards",
                reading.interval(),
            )
            for dilution, reading in zip(self.dilutions, self.readings)
        ]
        if self.series is not None:
            lines.append(Line("together", self.value, "% vol", limits=self.series.interval()))
        doubts = dict.fromkeys(remark for r in self.readings for remark in r.remarks)
        said = [self.series.verdict] if self.series is not None else []
        return Page(f"Alcohol in sample {self.name}, {self.time_h:g} h", lines, [*said, *doubts])


def samples_of(run: Run, calibration: Calibration, drift: Bracket | None = None) -> tuple[Sample, ...]:
    """Each sample: what it held, dilutions held against one another, drift of the sensor corrected where shown."""
    if "samples" not in run.tables:
        return ()
    table = run.tables["samples"].dropna(subset=["signal"]).copy()
    for column, usual in (("sample", "sample"), ("dilution", 1.0), ("time_h", np.nan)):
        if column not in table:
            table[column] = usual
    drifted = drift if drift is not None and drift.drift.passed is False else None
    return tuple(
        _sample(run, str(name), part, calibration, drifted) for name, part in table.groupby("sample", sort=False)
    )


def _sample(run: Run, name: str, table: Any, calibration: Calibration, drifted: Bracket | None) -> Sample:
    u_pipetting = nominal(run.ethanol.get("u_pipetting", 0.0))
    parts = [(float(dilution), part) for dilution, part in table.groupby("dilution", sort=True)]
    dilutions = tuple(dilution for dilution, _ in parts)
    temperatures = [_temperature(part) for _, part in parts]
    if len(parts) > 1 and drifted is None:
        series = dilution_series(
            calibration,
            [_diluted(dilution, u_pipetting) for dilution, _ in parts],
            [part["signal"].to_numpy(float) for _, part in parts],
            temperature_C=temperatures,
        )
        value = series.value if series.used.any() else None
        return Sample(name, float(table["time_h"].iloc[-1]), value, dilutions, series.readings, series)
    readings, values = [], []
    for (dilution, part), warm in zip(parts, temperatures):
        signals, factor = part["signal"].to_numpy(float), _diluted(dilution, u_pipetting)
        reading = calibration.read(signals, dilution=factor, extrapolate=True, temperature_C=warm)
        readings.append(reading)
        if reading.in_range:
            corrected = drifted and drifted.read(signals, dilution=factor, temperature_C=warm)
            values.append(corrected.value if corrected else reading.value)
    value = sum(values) / len(values) if values else None
    return Sample(name, float(table["time_h"].iloc[-1]), value, dilutions, tuple(readings), None)


def _diluted(dilution: float, u_pipetting: float) -> Any:
    return ufloat(dilution, dilution * u_pipetting, tag=PIPETTING) if dilution != 1 and u_pipetting else dilution


def _temperature(table: Any) -> Any:
    """Mean temperature of what was read [°C], as good as its thermometer; None where it was not noted."""
    mean = table["temperature_C"].mean() if "temperature_C" in table else np.nan
    return ufloat(float(mean), THERMOMETER_K, tag=TEMPERATURE) if np.isfinite(mean) else None


def final_ethanol_pct_vol(samples: Sequence[Sample]) -> Any:
    """Content of the last sample that was read inside the standards [% vol], or None."""
    read = [sample for sample in samples if sample.value is not None]
    if not read:
        return None
    return max(read, key=lambda sample: -np.inf if np.isnan(sample.time_h) else sample.time_h).value


def ethanol_made_g(run: Run, pct_vol: Any, gas: GasCurve | None) -> Any:
    """Ethanol in the vessel at the end, in the samples withdrawn before, and in the gas that left [g].

    The alcohol in a sample taken earlier is the final one times the share of the gas made by then.
    """
    swelling = float(water_density(20.0) / water_density(nominal(run.conditions.get("temperature_C", ROOM_C))))
    grams_per_L = pct_vol * ethanol_mass_concentration(1.0) / swelling
    found = run.ledger.amount(lambda time: grams_per_L * made_by(gas, time), float("inf"))
    return found + _with_the_gas_g(run, found, gas)


def _with_the_gas_g(run: Run, ethanol_g: Any, gas: GasCurve | None) -> Any:
    """Ethanol vapour that left through the airlock with the CO2 [g]; of an air pump's gas the volume is not known."""
    if gas is None or run.vessel.get("closed") in ("closed", "vented") or run.conditions.get("aeration") == "air pump":
        return 0.0
    warm = nominal(run.conditions.get("temperature_C", ROOM_C))
    bar = nominal(run.conditions.get("barometer_bar", STANDARD_ATMOSPHERE_BAR))
    litres = float(gas.co2_mol[-1]) * L_BAR_GAS_CONSTANT * (warm + ZERO_CELSIUS_K) / bar
    liquid = nominal(run.ledger.volume_L(float("inf")))
    return ethanol_carried_out(ethanol_g, liquid, litres, warm) if litres > 0 and liquid > 0 else 0.0


def sugar_left_g(run: Run, fed: Feed, left_g_L: Any, gas: GasCurve | None) -> Any:
    """Hexose that was not used: in the vessel at the end, and in the samples withdrawn before [g].

    The sugar in a sample falls from the feed's to what is left in step with the gas made.
    """
    left = 0.0 if left_g_L is None else left_g_L
    litres = nominal(run.ledger.volume_L(0.0))
    start = nominal(fed.hexose_g) / litres if litres > 0 else 0.0

    def concentration(time_h: float) -> Any:
        made = made_by(gas, time_h)
        return left * made + start * (1.0 - made)

    return run.ledger.amount(concentration, float("inf"))


def density_of(run: Run, fed: Feed, pct_vol: Any) -> MixedMeasurement | None:
    """What the fall in density says about sugar lost and alcohol made, per gram of hexose."""
    if not {"start_kg_m3", "end_kg_m3"} <= run.density.keys():
        return None
    found = density_change(
        run.density["start_kg_m3"],
        run.density["end_kg_m3"],
        volume_start_L=run.ledger.volume_L(0.0),
        expected_pct_vol=5.0 if pct_vol is None else nominal(pct_vol),
        sugar="hexose",
        glycerol="glycerol",
    )
    per_hexose = nominal(fed.sugar_g) / nominal(fed.hexose_g)  # the density saw the sugar before it took up water
    coefficients = dict(found.coefficients) | {"hexose": found.coefficients["hexose"] * per_hexose}
    return replace(found, coefficients=coefficients)


def has_stopped(gas: GasCurve) -> bool:
    """Whether the last tenth of the time brought less than a hundredth of the gas.

    A liquid that no longer makes gas has shed its supersaturation (common practice, no source).
    """
    late = gas.time_h[-1] - 0.1 * (gas.time_h[-1] - gas.time_h[0])
    return made_by(gas, float(late)) > 0.99


def made_by(gas: GasCurve | None, time_h: float) -> float:
    """Share of the run's gas that was made by a time: 0 before the first reading, 1 after the last."""
    if gas is None or gas.co2_mol[-1] <= 0:
        return 1.0
    share = np.interp(time_h, gas.time_h, gas.co2_mol, left=0.0, right=gas.co2_mol[-1]) / gas.co2_mol[-1]
    return float(np.clip(share, 0.0, 1.0))


def under_airlock(run: Run) -> bool:
    """Whether it is a glass vessel that was left open through an airlock."""
    return run.vessel.get("material") == "glass" and run.vessel.get("closed") in ("airlock", "open")


def vessel_of(run: Run) -> Vessel | None:
    """The vessel, as if it were closed; None for glass behind an airlock, which must never be."""
    if not {"total_L", "liquid_L"} <= run.vessel.keys() or under_airlock(run):
        return None
    rated = run.vessel.get("rated_bar_gauge")
    return Vessel(
        total_L=run.vessel["total_L"],
        liquid_L=run.vessel["liquid_L"],
        temperature_C=run.conditions.get("temperature_C", ROOM_C),
        rated_bar_gauge=None if rated is None else nominal(rated),
        barometer_bar=run.conditions.get("barometer_bar", STANDARD_ATMOSPHERE_BAR),
        material=run.vessel.get("material", "not stated"),
        pH=run.conditions.get("pH"),
    )
