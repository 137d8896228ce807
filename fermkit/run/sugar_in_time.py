"""Sugar and density in time: what hydrometer, refractometer and sugar tests showed, and how much sugar that leaves."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.cautions import cautions_for
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Number, Page, Written, nominal, plus_minus, uncertainty
from fermkit.calibration.density import hydrometer_density, hydrometer_sugar
from fermkit.calibration.refractometer import brix_at_20, refractometer_sugar
from fermkit.matter import usual
from fermkit.matter.feed import Feed
from fermkit.run.fields import fields_of
from fermkit.run.records import Run
from fermkit.run.sections_liquid import SugarRow

START_H: Final = 2.0
"""A reading counts as the start's within so many hours: little is fermented by then (common practice, no source)."""
END_SHARE: Final = 0.9
"""The last reading counts as the end's from this share of the whole time on (common practice, no source)."""
FRUCTOSE_TOO: Final = (2.0, 0.5)
"""Glucose and fructose over glucose, and its ± [-]: sucrose gives as much of each, and glucose goes first (Berthels et
al., FEMS Yeast Res. 4 (2004) 683, from memory; the ±: judgement)."""
FRUCTOSE_FROM: Final = ("sucrose", "invert sugar", "fructose", "raffinose")
"""Parts of a feed that bring fructose."""
WARM_K: Final = 1.0
"""± of the temperature in the hydrometer's jar [K]: common practice, no source."""
UNTOLD_K: Final = 5.0
"""The same of a plain refractometer whose temperature nobody noted, about 20 °C [K]: common practice, no source."""
MANY_ROWS: Final = 24
"""More readings than this are not listed one by one."""


class By(StrEnum):
    """What was read."""

    HYDROMETER = "hydrometer"
    REFRACTOMETER = "refractometer"
    GLUCOSE = "glucose test"
    REDUCING = "test of glucose and fructose"


TESTS: Final = (By.GLUCOSE, By.REDUCING)
UNITS: Final = {By.HYDROMETER: "kg/m3 at 20 °C", By.REFRACTOMETER: "°Bx", By.GLUCOSE: "g/L", By.REDUCING: "g/L"}
WHAT_IT_MISSES: Final = {
    By.HYDROMETER: (
        "A hydrometer floats higher in alcohol, so that it reads less sugar than there is; only the fall since the "
        "start says something, and solids that were there all along cancel."
    ),
    By.REFRACTOMETER: (
        "A refractometer takes alcohol and the solids of molasses for sugar: at the end it shows some °Bx without any. "
        "Only the fall since the start says something."
    ),
    By.GLUCOSE: (
        "A glucose test sees neither fructose, which yeast takes last, nor sucrose that is not yet split: on the way "
        "it tells too little, and none on the strip is not none in the jar."
    ),
    By.REDUCING: "This test sees glucose and fructose, and no sucrose that is not yet split.",
}


@dataclass(frozen=True)
class SugarReading:
    """One reading: its hour, what it shows, and the sugar left, as hexose, for each litre there was at the start.

    ``left_g_L`` is None where it cannot be told: no reading at the start, sugar fed later, a sugar test before the end
    while sucrose may be there that it does not see.
    """

    time_h: float
    by: By
    shown: Number
    left_g_L: Number | None


@dataclass(frozen=True, repr=False)
class SugarCourse(Written):
    """All readings of sugar and density in time.

    Attributes
    ----------
    readings : tuple of SugarReading
    fed_g_L : value
        Sugar that was fed, as hexose.
    end_h : float
        The last hour of the run.
    """

    readings: tuple[SugarReading, ...]
    fed_g_L: Number
    end_h: float

    def by(self, what: By) -> tuple[SugarReading, ...]:
        """The readings of one kind, in order of time."""
        return tuple(one for one in self.readings if one.by is what)

    def ends(self, what: By) -> tuple[Number, Number] | None:
        """What one instrument showed at the start and at the end; None where it was not read at both."""
        those = self.by(what)
        if len(those) < 2 or those[0].time_h > START_H or those[-1].time_h < END_SHARE * self.end_h:
            return None
        return those[0].shown, those[-1].shown

    @property
    def tested_at_end(self) -> SugarReading | None:
        """The last sugar test, if it was made at the end: of those that see more, if there are two kinds."""
        for what in reversed(TESTS):
            those = self.by(what)
            if those and those[-1].time_h >= END_SHARE * self.end_h and those[-1].left_g_L is not None:
                return those[-1]
        return None

    def page(self) -> Page:
        """Each reading with the sugar left, and what each instrument misses."""
        many = len(self.readings) > MANY_ROWS
        shown = [those[i] for those in map(self.by, By) if those for i in sorted({0, len(those) - 1})]
        lines = [Line("sugar fed, as hexose", self.fed_g_L, "g/L")]
        lines += [
            Line(f"{one.by}, {one.time_h:.4g} h", one.shown, UNITS[one.by], _left_in_words(one))
            for one in (shown if many else self.readings)
        ]
        said = [f"{len(self.readings)} readings; the first and the last of each kind are listed."] if many else []
        said += [WHAT_IT_MISSES[what] for what in By if self.by(what)]
        for what in (By.HYDROMETER, By.REFRACTOMETER):
            if self.by(what) and self.ends(what) is None:
                said.append(
                    f"The {what} was not read both within {START_H:g} h of the start and at the end, so that it says "
                    "nothing of the whole run: read it before the yeast goes in, and last."
                )
        said.append("No reading of sugar is leave to close a bottle: what is left ferments on.")
        return Page("Sugar in time", lines, (*said, *cautions_for("closing").sentences()))


def _left_in_words(one: SugarReading) -> str:
    return "" if one.left_g_L is None else f"sugar left {plus_minus(one.left_g_L, 'g/L')}"


def course_of(run: Run, fed: Feed) -> SugarCourse | None:
    """The readings of sugar and density in time; None where nobody noted any."""
    table = run.tables.get("sugar")
    litres = run.ledger.volume_L(0.0)
    if table is None or not nominal(litres) > 0:
        return None
    rows = table.dropna(subset=["time_h"]).to_dict("records")
    if not rows:
        raise InputError(f"none of {len(table)} readings of sugar has an hour", "when each was read",
                         "fill in the column time of sugar.csv")  # fmt: skip
    fed_g_L = fed.hexose_g / litres
    kind = "sucrose" if nominal(fed.sugar_g) < 0.975 * nominal(fed.hexose_g) else "hexose"
    later = any(item.time_h is not None and nominal(item.time_h) > 0 for item in run.feed)
    end = max(float(frame["time_h"].max()) for name, frame in run.tables.items() if _runs_along(run, name, frame))
    found: list[SugarReading] = []
    for what in By:
        shown = [(float(row["time_h"]), _shown(run, row, what)) for row in rows]
        read = [(hour, value) for hour, value in shown if value is not None]
        if not read:
            continue
        start = read[0][1] if read[0][0] <= START_H and not later else None
        for hour, x in read:
            split = kind == "hexose" or hour >= END_SHARE * end
            seen = _tested(what, x, fed, fed_g_L) if split else None
            left = seen if what in TESTS else _fallen(what, x, start, fed_g_L, kind)
            found.append(SugarReading(hour, what, x, left))
    return SugarCourse(tuple(sorted(found, key=lambda one: one.time_h)), fed_g_L, end) if found else None


def _runs_along(run: Run, name: str, frame: Any) -> bool:
    along = {"sugar", "samples", *(gas.table for gas in run.gas)}
    return name in along and "time_h" in frame and len(frame) > 0


def _shown(run: Run, row: Mapping[str, Any], what: By) -> Number | None:
    """What an instrument showed, with its usual ±; a hydrometer's as density at 20 °C."""
    warm = float(row.get("temperature_C", np.nan))
    if what is By.REFRACTOMETER and run.density.refractometer == "plain":
        brix = _cell(row, "brix_Bx")
        told = np.isfinite(warm)
        drop = ufloat(warm if told else 20.0, WARM_K if told else UNTOLD_K, tag=Act("refractometer's glass"))
        return None if brix is None else brix_at_20(brix, drop)
    if what is By.HYDROMETER:
        dense, gravity = _cell(row, "density_kg_m3"), _cell(row, "gravity")
        if dense is None and gravity is None:
            return None
        printed = run.density.reference_temperature_C
        printed = 20.0 if printed is None else printed
        told = printed if run.density.reading_temperature_C is None else run.density.reading_temperature_C
        jar = ufloat(warm, WARM_K, tag=Act("hydrometer jar", "temperature in the hydrometer's jar"))
        read, scale = (gravity, "sg") if dense is None else (dense, "kg/m3")
        at = jar if np.isfinite(warm) else told
        density: Number = hydrometer_density(read, temperature_C=at, reference_C=printed, scale=scale)
        return density
    return _cell(row, {By.REFRACTOMETER: "brix_Bx", By.GLUCOSE: "glucose_g_L", By.REDUCING: "reducing_g_L"}[what])


def _cell(row: Mapping[str, Any], column: str) -> Number | None:
    value = float(row.get(column, np.nan))
    if not np.isfinite(value):
        return None
    about = next(one for one in fields_of(SugarRow) if one.name == column)
    assert about.usual is not None
    return ufloat(value, about.usual.of(value), tag=Act(f"sugar {column}", f"reading the {about.written}"))


def _fallen(what: By, shown: Number, start: Number | None, fed_g_L: Number, kind: str) -> Number | None:
    """Sugar left by the fall since the start [g for each litre there was then], or None without a start."""
    if start is None or shown is start:
        return None if start is None else fed_g_L
    used = hydrometer_sugar if what is By.HYDROMETER else refractometer_sugar
    return fed_g_L - used(shown, start, sugar=kind)


def _tested(what: By, shown: Number, fed: Feed, fed_g_L: Number) -> Number:
    """Sugar left by a test, with what it does not see [g for each litre there was at the start]."""
    sources = [thing.parts.get(name, 0.0) for thing in fed.ingredients.values() for name in FRUCTOSE_FROM]
    if what is By.GLUCOSE and any(nominal(share) > 0 for share in sources):
        shown = shown * ufloat(*FRUCTOSE_TOO, tag=Act("fructose", "fructose that a glucose test does not see"))
    unseen = usual.FRUCTOSE_UNSEEN if what is By.GLUCOSE else usual.SUCROSE_UNSEEN
    return shown + unseen.value() * nominal(fed_g_L)


def densities_of(run: Run, course: SugarCourse | None) -> tuple[Number, Number] | None:
    """Densities at 20 °C before and after [kg/m3]: as told under [density], else of the table."""
    start, end = run.density.start_kg_m3, run.density.end_kg_m3
    if start is None or end is None:
        return None if course is None else course.ends(By.HYDROMETER)
    printed = run.density.reference_temperature_C
    printed = 20.0 if printed is None else printed
    jar = printed if run.density.reading_temperature_C is None else run.density.reading_temperature_C
    return (
        hydrometer_density(start, temperature_C=jar, reference_C=printed, scale="kg/m3"),
        hydrometer_density(end, temperature_C=jar, reference_C=printed, scale="kg/m3"),
    )


def left_at_end(run: Run, course: SugarCourse | None) -> Number | None:
    """Sugar in the liquid at the end [g/L as hexose]: as told under [residual_sugar], else by the last test."""
    if run.residual_sugar.value_g_L is not None or course is None:
        return run.residual_sugar.value_g_L
    last = course.tested_at_end
    return None if last is None else last.left_g_L


def apart(those: tuple[SugarReading, ...]) -> tuple[list[float], list[float], list[float]]:
    """Hours, sugar left, and its ± as if each were read apart [h, g/L, g/L].

    What all readings of an instrument share (how much alcohol a gram of sugar makes) would be averaged away if it were
    taken for their own, so that part of the ± is put up with the root of their number.
    """
    told = [(one.time_h, one.left_g_L, one.shown) for one in those if one.left_g_L is not None]
    many = np.sqrt(len(told))
    out = [(hour, nominal(left), float(max(uncertainty(left) * many, 0.3))) for hour, left, _ in told]
    return [x for x, _, _ in out], [x for _, x, _ in out], [x for _, _, x in out]
