"""Pictures of a whole run: grams in and out, everything on one time axis, routes, tests, suspects, pressure.

Each draws into `ax` and returns the picture in words; "" where the run holds nothing to draw.
"""

import textwrap
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from fermkit.balance.closure import Closure
from fermkit.balance.reconciliation import Reconciliation
from fermkit.basis.written import nominal, plus_minus, uncertainty
from fermkit.batch.closing import GaugeRange, IfClosed
from fermkit.batch.readings import ALCOHOL_G_PER_PCT_L
from fermkit.batch.suspects import Suspects
from fermkit.gas.curve import CO2_G_PER_MOL, GasCurve, RouteComparison
from fermkit.gas.vents import find_vents
from fermkit.run.analysis import Analysis
from fermkit.run.comparison import RunComparison
from fermkit.run.first_page import READ_BY, Part, in_and_out_g
from fermkit.run.sections_gas import PressureReadings
from fermkit.run.timeline import NO_MODEL, Timeline
from fermkit.show.style import COLOURS, DASHES, GROUND, MARKS, Rectangle, rows

FILLS: Final = {
    "ethanol": ("sky", ""), "CO2": ("orange", "///"), "yeast": ("green", "..."), "glycerol": ("purple", "xx"),
    "organic acids": ("yellow", "\\\\\\"), "sugar left": ("black", "|||"),
    "alcohol": ("sky", ""), "gas (CO2)": ("orange", "///"), "new yeast, dry": ("green", "..."),
    "glycerol and acids": ("purple", "xx"), "water and the rest": ("blue", "--"),
}  # fmt: skip
"""Fill and hatching of each product, so that a print without colour can be read."""

NORMAL_95: Final = 1.96
LONGEST: Final = 21
"""A longer name beside a bar stands on two lines [letters]."""

FARTHEST: Final = 2.5
"""Hours beyond so many times the last reading are cut off in a picture of a run's hours [-]."""


def in_and_out(analysis: Analysis, *, ax: Any) -> str:
    """What went in and what came out, in grams; what was not found stands at the foot, hatched and empty.

    Returns
    -------
    str
        The picture in words.
    """
    if analysis.estimate is None:
        return ""
    into, out = in_and_out_g(analysis)
    deep = max(sum(part.grams for part in into), sum(part.grams for part in out))
    if not deep > 0:
        return ""
    ax.set(xlim=(0, 2.2), ylim=(1.09 * deep, -0.02 * deep))
    ax.axis("off")
    top = 0.0
    for part in into:
        ax.add_patch(Rectangle((0.42, top), 0.3, part.grams, facecolor="#BBBBBB", edgecolor="black", linewidth=0.7))
        ax.text(0.4, top + part.grams / 2, f"{part.words}\n{_said(part)}", ha="right", va="center")
        top += part.grams
    top, label_at, row = 0.0, -np.inf, 0.085 * deep  # the height of a line of text
    for part in out:
        colour, hatch = FILLS.get(part.words, ("black", "////"))
        face = "white" if part.missing else COLOURS[colour]
        pale = 0.45 if part.mark in ("assumed", "from the recipe") else 1.0
        ax.add_patch(Rectangle((0.72, top), 0.35, part.grams, facecolor=face, alpha=0.25, edgecolor="none"))
        ax.add_patch(
            Rectangle((1.07, top), 0.3, part.grams, facecolor=face, alpha=pale, hatch=hatch, edgecolor="black",
                      linewidth=1.6 if part.missing else 0.7, linestyle="--" if part.missing else "-")
        )  # fmt: skip
        middle = top + part.grams / 2
        label_at = max(middle, label_at + row)
        ax.plot([1.37, 1.4, 1.43], [middle, middle, label_at], color="black", linewidth=0.6, linestyle="-")
        colour = "#B30000" if part.missing else "black"
        ax.text(1.45, label_at, f"{part.words}  {_said(part)}", va="center", color=colour)
        top += part.grams
    told = ", ".join(f"{part.words} {_said(part)}" for part in out)
    return f"In: {', '.join(f'{part.words} {_said(part)}' for part in into)}. Out: {told}."


def _said(part: Part) -> str:
    return f"{part.shown}{'' if part.missing else f', {part.mark}'}"


def timeline(analysis: Analysis, *, ax: Any) -> str:
    """What was done and read, on one time axis, in grams: gas, alcohol, sugar, yeast; samples and vents below.

    Returns
    -------
    str
        The picture in words.
    """
    if not analysis.gas or analysis.estimate is None:
        return ""
    found, first = analysis.estimate, analysis.gas[0]
    words = []
    for curve, mark, colour in zip(analysis.gas, MARKS, ("orange", "black", "purple")):
        name = f"CO2 made, by {READ_BY[curve.kind]}"
        ax.plot(curve.time_h, curve.co2_mol * CO2_G_PER_MOL, mark, color=COLOURS[colour], markersize=3, label=name)
        words.append(f"{name} {plus_minus(curve.total() * CO2_G_PER_MOL, 'g')}")
    ledger = analysis.run.ledger
    read = [
        (one.time_h, one.value * ALCOHOL_G_PER_PCT_L * ledger.volume_L(one.time_h))
        for one in analysis.samples
        if one.value is not None and np.isfinite(one.time_h)
    ]
    if read:
        grams = [nominal(of) for _, of in read]
        whisker = [NORMAL_95 * uncertainty(of) for _, of in read]
        ax.errorbar([time for time, _ in read], grams, yerr=whisker, fmt="D", color=COLOURS["blue"], capsize=3,
                    label="alcohol in the liquid")  # fmt: skip
        words.append(f"alcohol in {len(read)} samples")
    made = np.clip(first.co2_mol, 0.0, None) / max(float(first.co2_mol[-1]), 1e-12)
    if not any(entry.what == "feed" for entry in ledger.entries):
        left = found["sugar_fed"].value - found["sugar_used"].value * made
        ax.plot(first.time_h, left, color=COLOURS["vermilion"], linestyle=DASHES[1], label="sugar left, in step")
        words.append(f"sugar from {found['sugar_fed'].value:.0f} to {found['sugar_left'].value:.0f} g")
    ax.plot(first.time_h, found["yeast"].value * made, color=COLOURS["green"], linestyle=DASHES[2],
            label="new yeast, in step")  # fmt: skip
    words += _acts(analysis, ax)
    ax.set(xlabel="time [h]", ylabel="in the batch [g]")
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), fontsize=8)
    return f"What was done and read: {', '.join(words)}. Sugar and yeast are taken to go in step with the gas."


def _acts(analysis: Analysis, ax: Any) -> list[str]:
    """Marks at the foot for what was taken out, put in or let go."""
    acts = [(entry.time_h, entry.what) for entry in analysis.run.ledger.entries]
    acts += [(time, "vent") for time in _vents(analysis)]
    words = []
    for number, what in enumerate(dict.fromkeys(what for _, what in acts)):
        times = [time for time, each in acts if each == what]
        ax.plot(times, [0.03 + 0.06 * number] * len(times), marker=MARKS[number % 8], linestyle="none", markersize=6,
                color="black", fillstyle="none", transform=ax.get_xaxis_transform(), label=what)  # fmt: skip
        words.append(f"{len(times)} × {what}")
    return words


def _vents(analysis: Analysis) -> list[float]:
    """When the gauge says that gas was let out [h]."""
    for route in analysis.run.gas:
        if isinstance(route, PressureReadings) and route.table in analysis.run.tables:
            table = analysis.run.tables[route.table].dropna(subset=[route.column])
            return [float(time) for time in find_vents(table["time_h"], table[route.column]).time_h]
    return []


def routes_apart(gas: Sequence[GasCurve], *, ax: Any) -> str:
    """The same CO2 by each route, each with its 95 % band: where they drift apart, one of them is wrong.

    Parameters
    ----------
    gas : sequence of GasCurve
        Two or more routes of one run.

    Returns
    -------
    str
        The picture in words.
    """
    for curve, mark, colour in zip(gas, MARKS, ("blue", "vermilion", "green")):
        grams = curve.co2_mol * CO2_G_PER_MOL
        walk = np.cumsum(curve.u_increment_mol**2)
        u = np.sqrt(curve.u_reading_mol**2 + walk + (curve.co2_mol * uncertainty(curve.common)) ** 2) * CO2_G_PER_MOL
        ax.fill_between(curve.time_h, grams - NORMAL_95 * u, grams + NORMAL_95 * u, color=COLOURS[colour], alpha=0.2,
                        linewidth=0)  # fmt: skip
        ax.plot(curve.time_h, grams, marker=mark, markersize=3.5, color=COLOURS[colour], linestyle=DASHES[0],
                linewidth=0.8, label=f"by {READ_BY[curve.kind]}")  # fmt: skip
    ax.set(xlabel="time [h]", ylabel=f"CO2 {gas[0].counts} [g]")
    ax.legend(loc="upper left")
    ends = [f"{plus_minus(curve.total() * CO2_G_PER_MOL, 'g')} by {READ_BY[curve.kind]}" for curve in gas]
    return f"The same CO2, read {len(gas)} ways: {', '.join(ends)}. The bands hold 95 %."


def closes(closure: Closure, reconciliation: Reconciliation | None, routes: RouteComparison | None, *, ax: Any) -> str:
    """One bar for each test of the balance, in its own ±: red and hatched where it is broken.

    Returns
    -------
    str
        The picture in words.
    """
    gaps = {name: (nominal(share) - 1.0) / uncertainty(share) for name, share in closure.found.items()
            if uncertainty(share) > 0}  # fmt: skip
    if routes is not None:
        for pair in (routes, *routes.others):
            gaps["\nagainst ".join(READ_BY[kind] for kind in pair.kinds)] = _ratio(pair.difference_mol)
    if reconciliation is not None:
        gaps |= {name: shift for name, shift in reconciliation.shift.items() if "density" in name}
    gaps = {name: gap for name, gap in gaps.items() if np.isfinite(gap)}
    if not gaps:
        return ""
    bars(gaps, ax=ax)
    ax.set_xlabel("gap, in its own ± (grey: 95 %)")
    broken = [name.replace("\n", " ") for name, gap in gaps.items() if abs(gap) > NORMAL_95]
    told = ", ".join(f"{name} {round(gap, 1) + 0.0:+.1f}" for name, gap in gaps.items()).replace("\n", " ")
    said = f"broken: {', '.join(broken)}" if broken else "none is broken"
    return f"Each test in its own ±: {told}; {said}."


def bars(gaps: dict[str, float], *, ax: Any) -> None:
    """Horizontal bars about zero; those beyond the 95 % band are red and hatched."""
    ax.axvspan(-NORMAL_95, NORMAL_95, **GROUND)
    ax.axvline(0, color="black", linewidth=0.8, linestyle="-")
    rows(ax, [0.0] * len(gaps), list(gaps.values()), [abs(gap) > NORMAL_95 for gap in gaps.values()])
    ax.set_yticks(range(len(gaps)), [name if "\n" in name else textwrap.fill(name, LONGEST) for name in gaps])
    most = max(3.0, 1.1 * max(map(abs, gaps.values())))
    ax.set(xlim=(-most, most), ylim=(len(gaps) - 0.4, -0.6))


def _ratio(value: Any) -> float:
    return nominal(value) / uncertainty(value) if uncertainty(value) > 0 else np.nan


LEAST_LIKELY: Final = -7.0
"""Log of how likely a suspect is beside the likeliest, below which it is not drawn: one in a thousand."""


def suspects(found: Suspects, *, ax: Any, most: int = 6) -> str:
    """Which mistakes could have made the readings, and how likely each makes them beside the likeliest.

    Returns
    -------
    str
        The picture in words.
    """
    every = [(i, one) for i, group in enumerate(found.groups, 1) for one in group.suspects]
    shown = [(i, one) for i, one in every if one.evidence > every[0][1].evidence + LEAST_LIKELY][:most]
    if not shown:
        return ""
    likely = [100 * float(np.exp(one.evidence - shown[0][1].evidence)) for _, one in shown]
    for row, ((number, one), height) in enumerate(zip(shown, likely)):
        ax.barh(row, height, height=0.6, color=COLOURS["orange"], edgecolor="black", linewidth=0.7)
        ax.text(1.0, row, f"{number}  {one.mistake.words}", va="center", fontsize=8, zorder=4)
    ax.set_yticks([])
    ax.set(xlim=(0, 100), ylim=(len(shown) - 0.4, -0.6), xlabel="as likely as the likeliest [%]")
    told = ", ".join(f"{one.mistake.words} {height:.0f} %" for (_, one), height in zip(shown, likely))
    return f"What could have made it: {told}. Those with one number look alike to this run."


def against_rating(closed: IfClosed, *, ax: Any) -> str:
    """The pressure if the vessel had stayed closed, now and on a warm day, beside the maker's rating.

    Returns
    -------
    str
        The picture in words.
    """
    both = (closed.now, closed.warm_day)
    ends = [end for one in both for end in (one.value, one.low, one.high) if np.isfinite(end)]
    top = 1.25 * max([*ends, closed.rated_bar_gauge or 0.0, 1.0])
    for row, one in enumerate(both):
        high = min(one.high, top)
        ax.barh(row, min(one.value, top), height=0.5, color=COLOURS["orange"], edgecolor="black", linewidth=0.7)
        ax.plot([max(one.low, 0.0), high], [row, row], color="black", linewidth=1.4, linestyle="-")
        if high >= top:
            ax.plot([0.985 * top], [row], ">", color="black")
    if closed.rated_bar_gauge is not None:
        ax.axvline(closed.rated_bar_gauge, color=COLOURS["vermilion"], linestyle=DASHES[1], linewidth=2)
        ax.text(closed.rated_bar_gauge, 1.62, "rating ", ha="right", va="center", fontsize=8)
    ax.set_yticks((0, 1), [f"{one.temperature_C:g} °C" for one in both])
    ax.set(xlim=(0, top), ylim=(1.8, -0.6), xlabel="had it stayed closed [bar gauge]")
    rated = "no rating is known" if closed.rated_bar_gauge is None else f"rating {closed.rated_bar_gauge:g} bar"
    return f"Had it stayed closed: {', '.join(map(_pressure_words, both))}; {rated}."


def _pressure_words(one: GaugeRange) -> str:
    at = f"at {one.temperature_C:g} °C"
    return f"{one.value:.1f} bar {at}" if np.isfinite(one.value) else f"more than 12 bar {at}"


def side_by_side(found: RunComparison, *, ax: Any) -> str:
    """The yields of several runs side by side, each with its 95 % interval.

    Returns
    -------
    str
        The picture in words.
    """
    names = list(found.same)
    step = 0.8 / len(found.analyses)
    for number, (analysis, own, colour, mark) in enumerate(zip(found.analyses, found.yields, COLOURS.values(), MARKS)):
        values = [own[name] for name in names]
        at = np.arange(len(names)) + (number - (len(found.analyses) - 1) / 2) * step
        middle = np.array([nominal(one.per_g) for one in values])
        ends = np.array([one.interval() for one in values]).T
        ax.errorbar(middle, at, xerr=np.abs(ends - middle), fmt=mark, color=colour, capsize=4, markersize=6,
                    label=analysis.run.name)  # fmt: skip
    ax.set_yticks(range(len(names)), [found.yields[0][name].product for name in names])
    ax.invert_yaxis()
    ax.set_xlim(left=0.0)
    ax.set_xlabel("g for each gram of sugar used (whisker: 95 %)")
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0))
    return f"Yields of {len(found.analyses)} runs side by side: {', '.join(a.run.name for a in found.analyses)}."


def hours(found: Timeline, *, ax: Any) -> str:
    """The hours of a run by both ways, each with its 95 % interval; a line at the last reading.

    Returns
    -------
    str
        The picture in words.
    """
    finite = [end for one in found.hours for end in (one.value, one.high) if np.isfinite(end)]
    right = 1.05 * min(max([found.last_h, *finite]), FARTHEST * found.last_h)
    ax.axvline(found.last_h, color="black", linewidth=0.8, linestyle=":")
    for row, one in enumerate(found.hours):
        colour, mark = ("black", "o") if one.by == NO_MODEL else (COLOURS["blue"], "D")
        ax.plot([one.low, min(one.high, right)], [row, row], color=colour, linewidth=2, linestyle="-")
        ax.plot(one.value, row, mark, color=colour, markersize=5)
    names = [f"{one.words}{'' if one.by == NO_MODEL else ' *'}" for one in found.hours]
    ax.set_yticks(range(len(names)), names)
    ax.set(xlim=(0, right), ylim=(len(names) - 0.5, -0.5), xlabel="hours; dots: last reading; *: batch in time")
    told = "; ".join(f"{one.words} {one.shown} h" for one in found.hours)
    return f"Hours of the run, with their 95 % intervals: {told}. Last reading at {found.last_h:.3g} h."
