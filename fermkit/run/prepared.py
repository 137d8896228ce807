"""Tables made ready for the analysis: in order, with the column that is needed, each reading beside its instrument."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.errors import InputError
from fermkit.basis.quantities import conversion
from fermkit.basis.written import Frame, nominal
from fermkit.run.fields import fields_of
from fermkit.run.findings import Remarks, rows_in_words
from fermkit.run.instruments import of_place
from fermkit.run.long_tables import thinned
from fermkit.run.oddities import odd_readings, odd_standards, one_row_a_moment
from fermkit.run.sections_batch import Conditions
from fermkit.run.sections_gas import PressureReadings
from fermkit.run.sections_harvest import HarvestSection
from fermkit.run.tables import Table


def gas_tables(frames: dict[str, Any], sections: Mapping[str, Any], book: Remarks) -> None:
    """Each route's table in order, with the column that it needs; absolute pressures become gauge."""
    for place, gas in enumerate(sections["gas"], start=1):
        if gas.table not in frames:
            raise InputError(
                f"gas {place} has its readings in {gas.table!r}, which is not there",
                f"a table {gas.table} [time, {gas.column}]",
                "add the table, or name the right one",
            )
        frame = frames[gas.table]
        if isinstance(gas, PressureReadings) and "pressure_bar" in frame:
            _gauge(frame, gas, sections["conditions"], place)
        if gas.column not in frame:
            have = ", ".join(c for c in frame.columns if c != "row")
            raise InputError(
                f"gas {place} is a {gas.kind}, but {gas.table} has only: {have}", f"a column for {gas.column}",
                "add it, or change the kind of reading",
            )  # fmt: skip
        for beside in ("temperature_C", "barometer_bar"):
            _bridged(frame, beside, gas.table, book)
        if not getattr(gas, "emptied", None):
            frame = thinned(frame, gas.column, book)
        frames[gas.table] = through_time(frame, gas.column, gas.table, book, cumulative=gas.cumulative)


def _gauge(frame: Frame, gas: PressureReadings, conditions: Conditions, place: int) -> None:
    if gas.pressure is None:
        raise InputError(
            f"gas {place} is a pressure, gauge or absolute is not said",
            "one of: gauge, absolute",
            'write pressure = "gauge" under [[gas]]',
        )
    air = frame.get("barometer_bar", conditions.barometer_bar)
    if gas.pressure == "absolute" and air is None:
        raise InputError(
            f"gas {place} is an absolute pressure without a barometer",
            "the barometer",
            'write barometer = "1013 ± 5 hPa" under [conditions]',
        )
    frame[gas.column] = frame.pop("pressure_bar")
    if gas.pressure == "absolute":
        frame[gas.column] -= nominal(air) if "barometer_bar" not in frame else air


def by_instrument(frames: Mapping[str, Any], sections: dict[str, Any]) -> list[str]:
    """Put in the ± of instruments that read the gas and the harvest; list where the usual one is taken."""
    instruments, said = sections["instruments"], []
    routes = []
    for place, gas in enumerate(sections["gas"], start=1):
        level = frames[gas.table][gas.column].dropna()
        if "u_reading" in {about.name for about in fields_of(type(gas))} and gas.u_reading is None:
            own = of_place(instruments, f"u_reading_{gas.unit}", "gas") if gas.unit in ("g", "bar") else None
            gas = replace(gas, u_reading=own)
            if own is None:
                said.append(f"gas {place}.u_reading ± {gas.or_usual('u_reading', level):.2g} {gas.unit}")
        for key, usual in (
            ("collector_temperature_C", "25 ± 3 °C"), ("volume_factor", "1.00 ± 0.02"), ("flow_factor", "1.00 ± 0.05"),
            ("drift_g_h", "0.00 ± 0.02 g/h"),
            ("loss_to_water", "0 to 10 % (salt brine takes up less)"),
        ):  # fmt: skip
            known = {about.name: about.written.replace(" ", "_") for about in fields_of(type(gas))}
            if key in known and getattr(gas, key) is None:
                said.append(f"gas {place}.{known[key]} {usual}")
        routes.append(gas)
    sections["gas"] = tuple(routes)
    harvest: HarvestSection = sections["harvest"]
    weighed = [name for name in ("weights", "drying") if name in frames]
    if weighed and harvest.u_weighing_g is None:
        own = of_place(instruments, "u_reading_g", weighed[0])
        sections["harvest"] = harvest = replace(harvest, u_weighing_g=own)
        said += ["harvest.u_weighing: half of the last digit, 0.02 g at least"] if own is None else []
    diluted = "samples" in frames and (frames["samples"].get("dilution", 1.0) != 1.0)
    if sections["ethanol"].u_pipetting is None and np.any(diluted):
        said.append("ethanol.u_pipetting 2 %")
    if "volumes" in frames and not (frames["volumes"].get("u_mL", np.zeros(1)) > 0).all():
        said.append("volumes without u: 2 %, 0.5 mL at least")
    return said


THERMOMETER_C: Final = 0.5
"""± of a thermometer that was logged and not checked [K] (common practice, no source)."""
PH_METER: Final = 0.1
"""± of a logged pH (common practice, no source)."""


def logged_conditions(frames: Mapping[str, Any], sections: dict[str, Any], book: Remarks) -> None:
    """Where run.toml tells no temperature or pH: the mean of the one's log over time, the last of the other's."""
    told: Conditions = sections["conditions"]
    if told.temperature_C is None and "temperature" in frames:
        mean = mean_in_time(frames["temperature"], "temperature_C")
        act = Act("logged temperature", "the thermometer that was logged")
        sections["conditions"] = told = replace(told, temperature_C=ufloat(mean, THERMOMETER_C, tag=act))
        book.note(f"the liquid counts as {mean:.1f} °C, the mean of its log", column="temperature")
    if told.pH is None and "acidity" in frames:
        last = float(frames["acidity"].sort_values("time_h")["pH"].dropna().iloc[-1])
        sections["conditions"] = replace(told, pH=ufloat(last, PH_METER, tag=Act("logged pH", "reading the pH")))
        book.note(f"the liquid counts as pH {last:.2f} at the end, the last of its log", column="acidity")


def mean_in_time(frame: Frame, column: str) -> float:
    """Mean over the time between the first and the last reading."""
    rows = frame.dropna(subset=["time_h", column]).sort_values("time_h")
    time, value = rows["time_h"].to_numpy(float), rows[column].to_numpy(float)
    span = float(time[-1] - time[0])
    if span == 0:
        return float(value.mean())
    return float(np.average((value[1:] + value[:-1]) / 2, weights=np.diff(time)))


def told_twice(weights: Frame, harvest: HarvestSection, book: Remarks) -> None:
    """Say which counts where an item was dried in the table and its dry grams stand in run.toml too."""
    if weights is None or "dry_g" not in weights:
        return
    dried = {str(item).strip().lower() for item in weights["item"][weights["dry_g"].notna()]}
    for item, told_g in (("paste", harvest.paste_g), ("extract", harvest.extract_g), ("debris", harvest.debris_g)):
        if told_g is not None and (item in dried or (item == "paste" and "paste sample" in dried)):
            book.note(
                f"{item} stands here and was dried in the table of weights; the table counts, this line does not",
                column="harvest", level="doubt",
            )  # fmt: skip


def _bridged(frame: Frame, column: str, name: str, book: Remarks) -> None:
    """Empty cells of a logged column filled in from the readings before and after, and said."""
    if column not in frame or not frame[column].notna().any() or frame[column].notna().all():
        return
    gone = frame[column].isna().to_numpy()
    time, value = frame["time_h"].to_numpy(float), frame[column].to_numpy(float)
    frame[column] = np.interp(time, time[~gone], value[~gone])
    rows = rows_in_words(frame["row"].to_numpy()[gone].tolist())
    book.note(f"{name}: {int(gone.sum())} empty cells of {column} were filled in from their neighbours: rows {rows}")


def through_time(frame: Frame, column: str, name: str, book: Remarks, *, cumulative: bool = False) -> Any:
    at = Remarks(f"{name}.csv")
    frame = one_row_a_moment(frame, at)
    odd_readings(frame, column, at, cumulative=cumulative)
    book.findings.extend(at.all())
    return frame


def standards_in_line(frames: Mapping[str, Any], book: Remarks) -> None:
    """A standard that its neighbours gainsay is told."""
    if "standards" in frames:
        at = Remarks("standards.csv")
        odd_standards(frames["standards"], at)
        book.findings.extend(at.all())


def one_signal_unit(frames: Mapping[str, Any], read: Mapping[str, Table], book: Remarks) -> None:
    """Samples in the unit of the standards."""
    if "standards" not in read or "samples" not in read:
        return
    unit, other = (read[name].units.get("signal", "") for name in ("standards", "samples"))
    if unit == other:
        return
    try:
        factor, offset = conversion(other, unit)
    except InputError as problem:
        raise InputError(
            f"samples: the signal is in {other!r}, in the standards in {unit!r}", problem.needed, problem.do
        ) from None
    frames["samples"]["signal"] = frames["samples"]["signal"] * factor + offset
    read["samples"].units["signal"] = unit
    book.note(f"the samples' signal was converted from {other} to {unit}", column="samples")
