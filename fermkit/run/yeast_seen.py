"""Yeast during the run: counted under a grid or read as cloudiness, at each time; its growth beside that of the gas."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.errors import FermkitError
from fermkit.basis.written import Frame, Line, Number, Page, Written, nominal, uncertainty
from fermkit.batch import readings as batch
from fermkit.batch.readings import Reading
from fermkit.calibration.turbidity import DryWeightLine, dry_weight_line
from fermkit.gas.curve import CO2_G_PER_MOL, GasCurve
from fermkit.growth.yeast_counts import MIDDLE_SQUARE_NL, CellCount, Interval, between_readings, count_cells, doublings
from fermkit.matter import usual
from fermkit.run.fields import usual_number
from fermkit.run.gas_routes import made_by
from fermkit.run.records import Run
from fermkit.run.sections_yeast import YeastSection

OD_STEP, OD_SHARE = 0.005, 0.02
"""± of an optical density without a line: fixed, and as a share (common practice, no source)."""

AT_START_H: Final = 1.0
"""Yeast that is read until then has not grown yet [h]: the lag is longer (common practice, no source)."""

GROWN_BY: Final = 0.9
"""From this share of the gas on, yeast has grown as far as it will [-]: growth ends before the gas does (common
practice, no source)."""


HEAVIER: Final = Act("cell mass in time", "cells heavier at one time than another")


class Way(StrEnum):
    """How the yeast was seen."""

    COUNTED = "cell count"
    CLOUDY = "optical density"


@dataclass(frozen=True, repr=False)
class YeastAt(Written):
    """The yeast at one time.

    Attributes
    ----------
    time_h : float
    way : Way
    seen : ufloat
        Cells in a mL, or optical density times its dilution; yeast that had settled is added.
    grams_L : ufloat or None
        Dry yeast, living and dead [g/L]; None for an optical density without a line of its own.
    count : CellCount or None
    doubts : tuple of str
    """

    time_h: float
    way: Way
    seen: Any
    grams_L: Any
    count: CellCount | None = None
    doubts: tuple[str, ...] = ()

    def page(self) -> Page:
        """One time, one line."""
        return Page("Yeast seen", self.lines(), self.doubts)

    def lines(self) -> list[Line]:
        """As counted, with the share alive and the grams."""
        when, shown = f"at {self.time_h:.3g} h", []
        if self.count is not None:
            shown += [Line(f"{one.name}, {when}", one.value, one.unit, one.note, one.limits)
                      for one in self.count.page().lines]  # fmt: skip
        elif self.grams_L is None:
            shown.append(Line(f"optical density, {when}", self.seen, "", "times its dilution"))
        if self.grams_L is not None:
            shown.append(Line(f"dry yeast, {when}", self.grams_L, "g/L"))
        return shown


def turbidity_line_of(run: Run) -> DryWeightLine | None:
    """Optical density against dry weight; None where no standards were read."""
    table = run.tables.get("turbidity_standards")
    if table is None:
        return None
    table = table.dropna(subset=["dry_g_L", "optical_density"])
    return dry_weight_line(table["dry_g_L"].to_numpy(float), table["optical_density"].to_numpy(float))


def yeast_seen(run: Run, line: DryWeightLine | None = None) -> tuple[YeastAt, ...]:
    """Every time at which the yeast was counted or read as cloudiness, in order; rows of one time belong together."""
    return tuple(sorted((*_counted(run), *_cloudy(run, line)), key=lambda one: (one.way, one.time_h)))


def _rows(run: Run, name: str, *needed: str) -> list[tuple[float, Frame]]:
    table = run.tables.get(name)
    if table is None:
        return []
    table = table.dropna(subset=["time_h", *needed])
    return [(float(time_h), part) for time_h, part in table.groupby("time_h", sort=True)]


def _dilution(times: float, u: float) -> Number:
    return ufloat(times, times * u, tag=Act("yeast dilution", "diluting for the count")) if times != 1 else times


def _counted(run: Run) -> list[YeastAt]:
    given, out = run.yeast, []
    square = given.square_nL
    square = usual_number(YeastSection, "square_nL", MIDDLE_SQUARE_NL) if square is None else square
    cell = usual.CELL_PG.value() if given.cell_mass_pg is None else given.cell_mass_pg
    u = given.or_usual("u_dilution", ())
    dilutions: dict[float, Number] = {}  # the same dilution errs alike each time: one pipette
    for time_h, rows in _rows(run, "counts", "cells", "squares"):
        of_row = rows["dilution"].fillna(1.0).to_numpy(float) if "dilution" in rows else np.ones(len(rows))
        times = float(of_row[0])
        dilution = dilutions.setdefault(times, _dilution(times, u))
        count = count_cells(
            rows["cells"].to_numpy(float), rows["squares"].to_numpy(float) * times / of_row,
            dead=rows["dead"].to_numpy(float) if "dead" in rows and rows["dead"].notna().all() else None,
            square_nL=square, dilution=dilution, u_filling=given.or_usual("u_filling", ()),
        )  # fmt: skip
        drawn = count.per_mL / usual.SUSPENDED.value()
        changes = ufloat(1.0, usual.CELL_CHANGES, tag=HEAVIER)
        grams = count.grams_per_L(cell) * changes * (drawn / count.per_mL)
        out.append(YeastAt(time_h, Way.COUNTED, drawn, grams, count, tuple(count.doubts())))
    return out


def _cloudy(run: Run, line: DryWeightLine | None) -> list[YeastAt]:
    u, out = run.yeast.or_usual("u_dilution", ()), []
    for time_h, rows in _rows(run, "turbidity", "optical_density"):
        times = float(rows["dilution"].fillna(1.0).iloc[0]) if "dilution" in rows else 1.0
        shown = rows["optical_density"].to_numpy(float)
        mean = float(shown.mean())
        size = float(np.hypot(OD_STEP, OD_SHARE * mean)) / float(np.sqrt(shown.size))
        dilution, drawn = _dilution(times, u), 1 / usual.SUSPENDED.value()
        seen = ufloat(mean, size, tag=Act("optical density", "reading the optical density")) * dilution * drawn
        if line is None:
            out.append(YeastAt(time_h, Way.CLOUDY, seen, None))
            continue
        try:
            read = line.read(shown, dilution=dilution)
        except FermkitError as problem:
            out.append(YeastAt(time_h, Way.CLOUDY, seen, None, None, (f"At {time_h:.3g} h: {problem}",)))
            continue
        beyond = line.bends_at is not None and mean > nominal(line.bends_at[1])
        doubts = (f"At {time_h:.3g} h the reading lies in the bend of the line: dilute it.",) if beyond else ()
        out.append(YeastAt(time_h, Way.CLOUDY, read.value * drawn, read.value * drawn, None, doubts))
    return out


def yeast_readings(run: Run, seen: Sequence[YeastAt], released: Sequence[GasCurve] = ()) -> list[Reading]:
    """The yeast as readings of the batch: before it grew, and when it had grown."""
    out = []
    for way in Way:
        known = [one for one in seen if one.way is way and one.grams_L is not None and nominal(one.grams_L) > 0]
        if not known:
            continue
        first, last = known[0], known[-1]
        if first.time_h <= AT_START_H:
            out.append(batch.yeast_at_start(first.grams_L))
        grown = made_by(released[0], last.time_h) >= GROWN_BY if released else run.state not in ("", "running")
        if grown and last is not first:
            out.append(batch.yeast_in_liquid(str(way), last.grams_L))
    return out


@dataclass(frozen=True, repr=False)
class YeastCourse(Written):
    """The yeast in time, its growth, and how hard each gram of it worked.

    Attributes
    ----------
    seen : tuple of YeastAt
    intervals : mapping of Way to tuple of Interval
        Between readings one after another.
    halves : str
        When half of the yeast had grown, and half of the gas had come; "" where that cannot be told.
    cell_mass_is_usual : bool
        Whether nobody told the dry mass of a cell.
    """

    seen: tuple[YeastAt, ...]
    intervals: Mapping[Way, tuple[Interval, ...]]
    halves: str = ""
    cell_mass_is_usual: bool = False

    def page(self) -> Page:
        """Readings, growth, what to doubt."""
        parts = [self._by(way) for way in Way if any(one.way is way for one in self.seen)]
        return Page("Yeast during the run", (), [self.halves] if self.halves else [], parts)

    def _by(self, way: Way) -> Page:
        those = [one for one in self.seen if one.way is way]
        lines = [line for one in those for line in one.lines()]
        lines += [line for one in self.intervals.get(way, ()) for line in one.lines()]
        said = [doubt for one in those for doubt in one.doubts]
        said += [doublings([one.seen for one in those])] if len(those) > 1 else []
        if way is Way.COUNTED and self.cell_mass_is_usual:
            cell = usual.CELL_PG
            said.append(
                f"The grams rest on {cell.low:g} to {cell.high:g} pg for a dry cell ({cell.source}); growth does not, "
                "since the mass of a cell falls out. Count and dry the same yeast once, and write cell_mass under "
                "[yeast]."
            )
        if way is Way.CLOUDY and any(one.grams_L is None for one in those):
            said.append("Optical density without standards of dry weight shows growth only, no grams.")
        return Page(f"Yeast by {way}", lines, said)


def yeast_course(seen: tuple[YeastAt, ...], run: Run, gas: Sequence[GasCurve] = ()) -> YeastCourse:
    """The yeast in time beside the gas."""
    litres = run.vessel.liquid_L
    intervals: dict[Way, tuple[Interval, ...]] = {}
    halves = ""
    for way in Way:
        those = [one for one in seen if one.way is way and nominal(one.seen) > 0]
        if len(those) < 2:
            continue
        made: list[float] = []
        grams: list[Number] = []
        if gas and litres is not None and all(one.grams_L is not None for one in those):
            there = gas[0].time_h[0] <= those[0].time_h and those[-1].time_h <= gas[0].time_h[-1]
            if there:
                made = [float(np.interp(one.time_h, gas[0].time_h, gas[0].co2_mol)) * CO2_G_PER_MOL for one in those]
                grams = [one.grams_L * litres for one in those]
        intervals[way] = between_readings([one.time_h for one in those], [one.seen for one in those], made, grams)
        halves = halves or _halves(those, gas)
    return YeastCourse(seen, intervals, halves, run.yeast.cell_mass_pg is None)


def _halves(those: Sequence[YeastAt], gas: Sequence[GasCurve]) -> str:
    """When half of the yeast had grown, and half of the gas had come."""
    level = np.maximum.accumulate([nominal(one.seen) for one in those])
    rise = level[-1] - level[0]
    if not gas or len(those) < 4 or rise < 4 * max(uncertainty(one.seen) for one in those):
        return ""
    half = float(np.interp(level[0] + rise / 2, level, [one.time_h for one in those]))
    gas_half = float(np.interp(gas[0].co2_mol[-1] / 2, gas[0].co2_mol, gas[0].time_h))
    return (
        f"Half of the yeast had grown by about {half:.2g} h, by when {100 * made_by(gas[0], half):.0f} % of the gas "
        f"had come; half of the gas by {gas_half:.3g} h. Yeast grows first, gas follows for as long as sugar lasts."
    )
