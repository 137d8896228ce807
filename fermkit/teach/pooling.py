"""What a class found together: precision of the shared sample, pooled estimates, and one picture of all groups."""

import csv
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from fermkit.basis.checks import Floats
from fermkit.basis.errors import FermkitError, InputError
from fermkit.basis.groups import PooledEstimate, Precision, pooled, precision
from fermkit.basis.quantities import number
from fermkit.basis.written import Line, Page, Written, in_words, nominal, uncertainty
from fermkit.run.analysis import Analysis, analyse
from fermkit.run.records import read_run
from fermkit.show.plots import COLOURS, DASHES, MARKS, figure, house_style, svg
from fermkit.teach.class_data import group_folders, with_progress
from fermkit.teach.group_folder import CHECK_SAMPLE, RUN
from fermkit.teach.handout import whole_page

RESULTS: Final = {
    "largest rate": "mmol/h",
    "lag": "h",
    "CO2 made": "mol",
    "alcohol": "% vol",
    "yeast yield": "g/g",
}
"""What is pooled, and its unit."""


@dataclass(frozen=True, repr=False)
class GroupFound(Written):
    """What one group's readings give.

    Attributes
    ----------
    group : str
    time_h, co2_mol : numpy.ndarray or None
        Its gas curve.
    results : mapping of ufloat
        Names of `RESULTS`; what its readings cannot tell is left out.
    shared : tuple of float
        Its results of the shared sample [% vol].
    notes : tuple of str
        What is missing, and why.
    """

    group: str
    time_h: Floats | None
    co2_mol: Floats | None
    results: Mapping[str, Any]
    shared: tuple[float, ...]
    notes: tuple[str, ...]

    def page(self) -> Page:
        """The group's results."""
        lines = [Line(name, value, RESULTS[name]) for name, value in self.results.items()]
        lines += [Line("shared sample", f"{value:.3f}", "% vol") for value in self.shared]
        return Page(f"Group {self.group}", lines, self.notes)


@dataclass(frozen=True, repr=False)
class ClassPool(Written):
    """What the class found together.

    Attributes
    ----------
    groups : tuple of GroupFound
    shared : Precision or None
        Of the sample that every group measured.
    estimates : mapping of PooledEstimate
        By name, from `RESULTS`; left out where fewer than three groups can tell.
    seconds : float
    """

    groups: tuple[GroupFound, ...]
    shared: Precision | None
    estimates: Mapping[str, PooledEstimate]
    seconds: float

    @property
    def growth(self) -> PooledEstimate | None:
        """The largest rate of gas, pooled, with the variance between groups."""
        return self.estimates.get("largest rate")

    def page(self) -> Page:
        """Shared sample, pooled estimates, what is missing."""
        lines = [line for one in self.estimates.values() for line in one.page().lines[:1]]
        spread = [
            Line(
                f"{name}, between groups",
                f"{one.between_sd:.3g}",
                one.unit,
                f"Q = {one.heterogeneity:.1f}, {in_words(one.p_value)}",
            )
            for name, one in self.estimates.items()
        ]
        missing = [f"Group {one.group}: {note}" for one in self.groups for note in one.notes]
        shared = (
            self.shared.page()
            if self.shared is not None
            else Page(
                "The shared sample", remarks=["Fewer than three groups have results of it, or none in duplicate."]
            )
        )
        remarks = ["Faults are still in these results: that is what robust means and tests are for.", *missing]
        return Page(
            f"What {len(self.groups)} groups found",
            [*lines, *spread],
            [*remarks, f"Pooled in {self.seconds:.1f} s."],
            [shared],
        )

    def picture(self) -> Any:
        """All groups' curves, and their results with 95 % intervals beside the pooled ones."""
        names = [name for name in RESULTS if name in self.estimates][:3]
        with house_style():
            drawn = figure(16, 9 + 0.32 * len(self.groups))
            grid = drawn.add_gridspec(
                2, max(1, len(names) + (self.shared is not None)), height_ratios=[7, 2 + 0.32 * len(self.groups)]
            )
            self._curves(drawn.add_subplot(grid[0, :]))
            for column, name in enumerate(names):
                self._results(drawn.add_subplot(grid[1, column]), name, first=column == 0)
            if self.shared is not None:
                self._shared(drawn.add_subplot(grid[1, len(names)]), self.shared, first=not names)
        return drawn

    def write(self, folder: str | Path) -> Path:
        """Write the page with its picture as pooled.html into a folder; an earlier one is replaced."""
        place = Path(folder)
        place.mkdir(parents=True, exist_ok=True)
        text = whole_page(self.page().heading, svg(self.picture()) + self.page().html(1))
        (place / "pooled.html").write_text(text, encoding="utf-8")
        return place / "pooled.html"

    def _curves(self, ax: Any) -> None:
        colours, ends = list(COLOURS.values()), []
        for i, one in enumerate(self.groups):
            if one.time_h is not None and one.co2_mol is not None:
                look = {"color": colours[i % 7], "linestyle": DASHES[i % 8], "linewidth": 1.1, "alpha": 0.85}
                ax.plot(one.time_h, one.co2_mol * 1000, **look)
                ends.append((float(one.co2_mol[-1]) * 1000, float(one.time_h[-1]), one.group))
        for place, (top, time_h, name) in enumerate(sorted(ends)):
            ax.annotate(
                name,
                (time_h, top),
                xytext=(1.03, (place + 0.5) / len(ends)),
                textcoords="axes fraction",
                fontsize=6.5,
                va="center",
                arrowprops={"arrowstyle": "-", "linewidth": 0.4, "color": "0.6"},
            )
        ax.set(xlabel="time [h]", ylabel="CO2 made [mmol]", title="Gas of every group")

    def _results(self, ax: Any, name: str, first: bool) -> None:
        pool = self.estimates[name]
        ax.axvspan(*pool.interval, color=COLOURS["sky"], alpha=0.35, linewidth=0)
        ax.axvline(nominal(pool.value), color=COLOURS["blue"], linestyle="-", linewidth=1.2)
        for row, one in enumerate(self.groups):
            if name in one.results:
                value = one.results[name]
                ax.errorbar(
                    nominal(value),
                    row,
                    xerr=1.96 * uncertainty(value),
                    fmt=MARKS[0],
                    color="black",
                    markersize=3,
                    linewidth=0.9,
                )
        self._rows(ax, first, f"{name}\n[{RESULTS[name]}]")

    def _shared(self, ax: Any, found: Precision, first: bool) -> None:
        ax.axvspan(
            nominal(found.robust_mean) - found.robust_sd,
            nominal(found.robust_mean) + found.robust_sd,
            color=COLOURS["orange"],
            alpha=0.3,
            linewidth=0,
        )
        for row, one in enumerate(self.groups):
            ax.plot(
                one.shared,
                [row] * len(one.shared),
                MARKS[1],
                color=COLOURS["vermilion"],
                markersize=3.5,
                linestyle="none",
            )
        self._rows(ax, first, "shared sample\n[% vol]")

    def _rows(self, ax: Any, first: bool, label: str) -> None:
        ax.set(xlabel=label, ylim=(len(self.groups) - 0.5, -0.5))
        ax.set_yticks(range(len(self.groups)), [f"{one.group}" for one in self.groups] if first else [], fontsize=7)
        if first:
            ax.set_ylabel("group")


def pool(folder: str | Path) -> ClassPool:
    """Analyse every group's run, and take together what the class found. No key is needed.

    Parameters
    ----------
    folder : str or Path
        The class, as `make_class` wrote it; or any folder with ``group_*`` folders that hold a ``run`` and, where
        there is one, check_sample.csv [reading, signal, dilution].

    Returns
    -------
    ClassPool
        Missing tables and broken runs are told, and leave out that group's result only.

    Raises
    ------
    InputError
        If there is no group's folder.
    """
    begun = time.perf_counter()
    places = group_folders(Path(folder))
    if not places:
        raise InputError(f"{str(folder)!r} holds no folder called group_…", "a folder of a class", "check the name")
    groups = tuple(_group_found(place) for _, place in with_progress(places, "analysing group"))
    results = {one.group: list(one.shared) for one in groups if one.shared}
    enough = len(results) >= 3 and any(len(values) > 1 for values in results.values())
    shared = precision(results, "% vol") if enough else None
    estimates = {}
    for name, unit in RESULTS.items():
        told = [one.results[name] for one in groups if name in one.results]
        if len(told) >= 3:
            estimates[name] = pooled([nominal(x) for x in told], [uncertainty(x) for x in told], name, unit)
    return ClassPool(groups, shared, estimates, time.perf_counter() - begun)


def _group_found(place: Path) -> GroupFound:
    name = place.name.removeprefix("group_")
    try:
        analysis = analyse(read_run(place / RUN))
    except FermkitError as problem:
        return GroupFound(name, None, None, {}, (), (f"its run cannot be read: {problem.met}",))
    shared, note = _shared_of(place, analysis)
    gas = analysis.gas[0] if analysis.gas else None
    results = _results_of(analysis)
    missing = [what for what in RESULTS if what not in results]
    notes = (
        [f"no {', no '.join(missing)}: {analysis.gaps[0] if analysis.gaps else 'not given'}"] if missing else []
    ) + ([note] if note else [])
    return GroupFound(
        name, None if gas is None else gas.time_h, None if gas is None else gas.co2_mol, results, shared, tuple(notes)
    )


def _results_of(analysis: Analysis) -> dict[str, Any]:
    found: dict[str, Any] = {}
    gas = analysis.read or analysis.growth  # groups differ in what curve follows best, not in how a line is drawn
    if gas is not None:
        found |= {"largest rate": gas.max_rate * 1000, "lag": gas.lag_h}
    if analysis.gas:
        found["CO2 made"] = analysis.gas[0].total()
    if analysis.ethanol_pct_vol is not None:
        found["alcohol"] = analysis.ethanol_pct_vol
    if "yeast_yield" in analysis.yields:
        found["yeast yield"] = analysis.yields["yeast_yield"].per_g
    return {name: x for name, x in found.items() if np.isfinite(nominal(x)) and 0 < uncertainty(x) < np.inf}


def _shared_of(place: Path, analysis: Analysis) -> tuple[tuple[float, ...], str]:
    """The shared sample on the group's own standards [% vol]; empty with a reason where it cannot be told."""
    if analysis.calibration is None:
        return (), "no shared sample: no standards to read it on"
    try:
        with (place / CHECK_SAMPLE).open(encoding="utf-8-sig", newline="") as lines:
            text = lines.read(10_000)
        split = ";" if text.splitlines()[0].count(";") >= 2 else ","
        rows = list(csv.DictReader(text.splitlines(), delimiter=split))
        read = [
            analysis.calibration.read([number(row["signal [V]"])], dilution=number(row["dilution"]), extrapolate=True)
            for row in rows
            if row.get("signal [V]")
        ]
    except (OSError, KeyError, IndexError, UnicodeError, csv.Error) as problem:
        return (), f"no shared sample: {CHECK_SAMPLE} cannot be read ({type(problem).__name__})"
    except FermkitError as problem:
        return (), f"no shared sample: {problem.met}"
    return tuple(nominal(one.value) for one in read if np.isfinite(nominal(one.value))), ""
