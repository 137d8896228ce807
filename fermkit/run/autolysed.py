"""The warm hold and after: what dissolved in time, the extract that it makes, and how that keeps."""

from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.written import Number, nominal
from fermkit.calibration.refractometer import as_sucrose
from fermkit.harvest.autolysis import Autolysis, autolysis
from fermkit.harvest.hold import AUTOLYSIS_WINDOW_C, HoldLog, hold_log
from fermkit.harvest.keeping import Keeping, keeping
from fermkit.run.fields import fields_of
from fermkit.run.records import Run
from fermkit.run.sections_harvest import HoldRow
from fermkit.run.washed import SOLIDS_BY_LIGHT

READ: Final = {
    "soluble_g_L": ("soluble solids", "g/L"),
    "brix_Bx": ("soluble solids by refractometer", "°Bx"),
    "amino_nitrogen_g_L": ("amino nitrogen", "g/L"),
}
"""Columns that tell what dissolved, with their words and units."""

LEAST: Final = 4
"""Readings that a rate and an end take."""


def hold_of(run: Run) -> HoldLog | None:
    """The warm hold of the autolysis."""
    if "hold" not in run.tables:
        return None
    table = run.tables["hold"]
    pH = table["pH"].dropna().to_numpy(float) if "pH" in table else ()
    window = run.harvest.window_C or AUTOLYSIS_WINDOW_C
    return hold_log(table["time_h"].to_numpy(float), table["temperature_C"].to_numpy(float), window=window, pH=pH)


def autolysis_of(run: Run, hold: HoldLog) -> tuple[Autolysis, ...]:
    """What dissolved in time, for each thing that was read often enough; time counts from when the paste was warm."""
    return tuple(found for column in READ if (found := _course(run, hold, column)) is not None)


def keeping_of(run: Run) -> Keeping | None:
    """What may grow in the product, and salt and purines of a portion; None where nothing is told of it."""
    told = run.keeping
    if told.water is None and told.water_activity is None:
        return None
    return keeping(
        water=told.water, salt=told.salt, measured=told.water_activity, pH=told.pH, portion_g=told.portion_g
    )


def _course(run: Run, hold: HoldLog, column: str) -> Autolysis | None:
    table = run.tables["hold"]
    if column not in table:
        return None
    read = table[["time_h", column]].dropna()
    warm = np.flatnonzero(hold.temperature_C >= hold.window_C[0])
    began = float(hold.time_h[warm[0]]) if warm.size else float(hold.time_h[0])
    read = read[read["time_h"] >= began]
    if len(read) < LEAST:
        return None
    during = (hold.time_h >= began) & (hold.time_h <= float(read["time_h"].iloc[-1]))
    what, unit = READ[column]
    return autolysis(
        read["time_h"].to_numpy(float) - began, read[column].to_numpy(float),
        [_u(column, value) for value in read[column]], what=what, unit=unit,
        mean_C=float(np.mean(hold.temperature_C[during])),
    )  # fmt: skip


def _u(column: str, value: Any) -> float:
    about = next(one for one in fields_of(HoldRow) if one.name == column)
    assert about.usual is not None
    return about.usual.of(float(value))


def dissolved_g(run: Run) -> Number | None:
    """Dry extract by the last reading of the hold and its volume, salt taken off [g]; None where one is missing."""
    table, litres = run.tables.get("hold"), run.harvest.autolysate_mL
    if table is None or litres is None:
        return None
    for column in ("soluble_g_L", "brix_Bx"):
        if column in table and table[column].notna().any():
            value = float(table[column].dropna().iloc[-1])
            what = READ[column][0]
            read = ufloat(value, _u(column, value), tag=Act(f"last {column}", f"reading the {what}"))
            grams_L = read if column == "soluble_g_L" else as_sucrose(read) * SOLIDS_BY_LIGHT
            salt = 0.0 if run.harvest.salt_g is None else run.harvest.salt_g
            grams: Number = grams_L * litres / 1000.0 - salt
            return grams if nominal(grams) > 0 else None
    return None
