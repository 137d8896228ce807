"""Alcohol: the sensor's curve, the samples read on it, and the ethanol that was made."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.constants import L_BAR_GAS_CONSTANT, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.written import Frame, Line, Number, Page, Written, nominal, plus_minus, uncertainty
from fermkit.batch.aeration import air_through, ethanol_carried_out, stripped_share
from fermkit.batch.impossible import STRONGEST_PCT_VOL
from fermkit.calibration.calibrate import Calibration, fit_calibration
from fermkit.calibration.density import MixedMeasurement, density_change
from fermkit.calibration.dilutions import DilutionSeries, dilution_series
from fermkit.calibration.drift import Bracket, bracket
from fermkit.calibration.readback import PIPETTING, Reading
from fermkit.calibration.refractometer import refractometer_change
from fermkit.calibration.standards import STANDARDS
from fermkit.calibration.surroundings import TEMPERATURE
from fermkit.gas.curve import GasCurve
from fermkit.matter.feed import Feed
from fermkit.matter.properties import ethanol_mass_concentration, water_density
from fermkit.run.gas_routes import made_by
from fermkit.run.records import Run
from fermkit.run.sugar_in_time import By, SugarCourse, densities_of
from fermkit.run.surroundings import barometer_bar, liquid_C, logged

THERMOMETER_K: Final = 0.03
"""How well a thermometer that shows tenths tells a sample from the standards [K]: ± 0.05 K, rectangular (common
practice, no source)."""


def calibration_of(run: Run) -> Calibration | None:
    """The alcohol sensor's curve from all its standards, before and after."""
    table = run.tables.get("standards")
    return None if table is None else _calibrated(run, table, _made_up(table))


def _made_up(table: Frame) -> dict[float, Number]:
    """Each standard solution, with its own ± where it was noted; read twice, it is one solution."""
    known = table["ethanol_pct_vol"].dropna()
    u = table["u_pct_vol"] if "u_pct_vol" in table else known * 0.0
    largest = u.fillna(0.0).groupby(known).max()
    return {float(x): ufloat(x, size, tag=STANDARDS) if size > 0 else float(x) for x, size in largest.items()}


def _calibrated(
    run: Run, table: Frame, made_up: dict[float, Number], reference_C: float | None = None, curve: str = ""
) -> Calibration:
    table = table.dropna(subset=["ethanol_pct_vol", "signal"])
    told = run.ethanol.curve or "line"
    weighted = told == "weighted line"
    return fit_calibration(
        [made_up[float(x)] for x in table["ethanol_pct_vol"]],
        table["signal"].to_numpy(float),
        curve=curve or ("line" if weighted else told),
        weights="proportional" if weighted else "equal",
        temperature_C=logged(table, "temperature_C", None),
        reference_C=reference_C,
        unit=run.units.get("standards", {}).get("signal", ""),
    )


def drift_of(run: Run, calibration: Calibration) -> Bracket | None:
    """Standards before against standards after; None where they were read once.

    Their times are not in the table, so the samples are taken to lie anywhere between.
    """
    table = run.tables.get("standards")
    if table is None or "when" not in table:
        return None
    halves = [table[table["when"].astype(str).str.strip().str.lower() == when] for when in ("before", "after")]
    if any(half["ethanol_pct_vol"].nunique() < 3 for half in halves):
        return None
    reference, made_up = (table["temperature_C"].mean() if "temperature_C" in table else None), _made_up(table)
    before, after = (_calibrated(run, half, made_up, reference, calibration.curve) for half in halves)
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
    value: Number | None
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
        when = f", {self.time_h:g} h" if np.isfinite(self.time_h) else ""
        return Page(f"Alcohol in sample {self.name}{when}", lines, [*said, *doubts])


def samples_of(run: Run, calibration: Calibration, drift: Bracket | None = None) -> tuple[Sample, ...]:
    """Each sample: what it held, dilutions held against one another, drift of the sensor corrected where shown."""
    return tuple(sample_of(rows, run, calibration, drift) for rows in rows_by_sample(run))


def rows_by_sample(run: Run) -> list[tuple[str, Any]]:
    """The table of samples, sample by sample: its name and its rows."""
    if "samples" not in run.tables:
        return []
    table = run.tables["samples"].dropna(subset=["signal"]).copy()
    for column, usual in (("sample", "sample"), ("dilution", 1.0), ("time_h", np.nan)):
        if column not in table:
            table[column] = usual
    return [(str(name), part) for name, part in table.groupby("sample", sort=False)]


def sample_of(rows: tuple[str, Any], run: Run, calibration: Calibration, drift: Bracket | None = None) -> Sample:
    """One sample read back, at one dilution or at several; corrected for drift where the sensor has drifted."""
    name, table = rows
    drifted = drift if drift is not None and drift.drift.passed is False else None
    u_pipetting = run.ethanol.or_usual("u_pipetting", ())
    parts = [(float(dilution), part) for dilution, part in table.groupby("dilution", sort=True)]
    dilutions = tuple(dilution for dilution, _ in parts)
    if not parts:
        raise InputError(
            f"sample {name} says no dilution that can be", "how many times it was diluted, 1 if it was not",
            "fill the dilution in",
        )  # fmt: skip
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


def _diluted(dilution: float, u_pipetting: float) -> Number:
    return ufloat(dilution, dilution * u_pipetting, tag=PIPETTING) if dilution != 1 and u_pipetting else dilution


def _temperature(table: Frame) -> Number | None:
    """Mean temperature of what was read [°C], as good as its thermometer; None where it was not noted."""
    mean = table["temperature_C"].mean() if "temperature_C" in table else np.nan
    return ufloat(float(mean), THERMOMETER_K, tag=TEMPERATURE) if np.isfinite(mean) else None


def final_ethanol_pct_vol(run: Run, samples: Sequence[Sample], calibration: Calibration | None) -> Number | None:
    """Content of the last sample read inside the standards [% vol], else as run.toml gives it, or None; refused where
    no yeast makes it."""
    read = [sample for sample in samples if sample.value is not None]
    if not read or calibration is None:
        return run.ethanol.content_pct_vol
    last = max(read, key=lambda sample: -np.inf if np.isnan(sample.time_h) else sample.time_h)
    doubt = 0.0 if calibration.slip else 2 * uncertainty(last.value)  # a mistyped standard widens the ± without sense
    if nominal(last.value) - doubt > STRONGEST_PCT_VOL:
        suspect = int(np.argmax(calibration.outliers.cook))
        farthest = f"look at the standard of {calibration.ethanol_pct_vol[suspect]:g} % vol, which leads the curve"
        raise InputError(
            f"sample {last.name} reads {plus_minus(last.value, '% vol')}",
            f"at most {STRONGEST_PCT_VOL:g} % vol, which no yeast of the kitchen passes",
            str(calibration.slip or farthest) + "; check the dilutions too",
        )
    return last.value


def ethanol_made_g(run: Run, pct_vol: Number, gas: GasCurve | None) -> Number:
    """Ethanol in the vessel at the end, in the samples withdrawn before, and in the gas that left [g].

    The alcohol in a sample taken earlier is the final one times the share of the gas made by then.
    """
    swelling = float(water_density(20.0) / water_density(nominal(liquid_C(run))))
    grams_per_L = pct_vol * ethanol_mass_concentration(1.0) / swelling
    inside: Number = run.ledger.amount(lambda time: grams_per_L * made_by(gas, time), float("inf"))
    return inside + _with_the_gas_g(run, inside, gas)


def _with_the_gas_g(run: Run, ethanol_g: Number, gas: GasCurve | None) -> Number:
    """Ethanol vapour that left with the CO2, or with the air of a pump [g]; of that air a usual flow is taken."""
    if gas is None or run.vessel.closed in ("closed", "vented"):
        return 0.0
    warm = nominal(liquid_C(run))
    bar = nominal(barometer_bar(run))
    litres = float(gas.co2_mol[-1]) * L_BAR_GAS_CONSTANT * (warm + ZERO_CELSIUS_K) / bar
    liquid = nominal(run.ledger.volume_L(float("inf")))
    if not (litres > 0 and liquid > 0):
        return 0.0
    if run.conditions.aeration == "air pump":
        share = stripped_share(liquid, air_through(liquid, float(gas.time_h[-1] - gas.time_h[0])), warm)
        return ethanol_g * share / (1.0 - share)
    return ethanol_carried_out(ethanol_g, liquid, litres, warm)


def density_of(run: Run, fed: Feed, pct_vol: Number | None, course: SugarCourse | None) -> MixedMeasurement | None:
    """What the fall in density says about sugar lost and alcohol made, per gram of hexose."""
    ends = densities_of(run, course)
    if ends is None or not nominal(fed.hexose_g) > 0:  # without sugar a fall says nothing of it
        return None
    found = density_change(
        *ends,
        volume_start_L=run.ledger.volume_L(0.0),
        expected_pct_vol=_expected(pct_vol),
        sugar="hexose",
        glycerol="glycerol",
    )
    return _per_hexose(found, fed)


def refraction_of(run: Run, fed: Feed, pct_vol: Number | None, course: SugarCourse | None) -> MixedMeasurement | None:
    """What the fall in °Brix says about sugar lost and alcohol made, per gram of hexose."""
    ends = None if course is None else course.ends(By.REFRACTOMETER)
    if ends is None or not nominal(fed.hexose_g) > 0:
        return None
    found = refractometer_change(
        *ends, volume_start_L=run.ledger.volume_L(0.0), expected_pct_vol=_expected(pct_vol), sugar="hexose",
        glycerol="glycerol",
    )
    return _per_hexose(found, fed)


def _expected(pct_vol: Number | None) -> float:
    """Alcohol at which the liquid's slopes are taken [% vol]: as measured, within what a ferment can hold."""
    return 5.0 if pct_vol is None else float(np.clip(nominal(pct_vol), 0.5, 20.0))


def _per_hexose(found: MixedMeasurement, fed: Feed) -> MixedMeasurement:
    """Per gram of hexose: the instrument saw the sugar before it took up water."""
    per_hexose = nominal(fed.sugar_g) / nominal(fed.hexose_g)
    coefficients = dict(found.coefficients) | {"hexose": found.coefficients["hexose"] * per_hexose}
    return replace(found, coefficients=coefficients)
