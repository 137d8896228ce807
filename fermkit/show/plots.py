"""The pictures: each function draws one result into `ax` and returns the picture in words.

`show(gas_curve, gas, fit)` makes a finished picture of any of them.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from fermkit.balance.reconciliation import Reconciliation
from fermkit.basis.written import nominal, percent, plus_minus, uncertainty
from fermkit.batch.plan import BatchPlan
from fermkit.calibration.calibrate import Calibration
from fermkit.calibration.dilutions import DilutionSeries
from fermkit.calibration.readback import Reading
from fermkit.gas.curve import GasCurve
from fermkit.growth.comparison import CurveComparison
from fermkit.growth.fit import GrowthFit
from fermkit.growth.smoothing import SmoothReading
from fermkit.harvest.drying import MODELS, DryingCurve
from fermkit.harvest.hold import HoldLog
from fermkit.run.yields import UncertaintyShares, Yield
from fermkit.show.run_pictures import FILLS, bars
from fermkit.show.run_pictures import against_rating as against_rating
from fermkit.show.run_pictures import closes as closes
from fermkit.show.run_pictures import hours as hours
from fermkit.show.run_pictures import in_and_out as in_and_out
from fermkit.show.run_pictures import routes_apart as routes_apart
from fermkit.show.run_pictures import side_by_side as side_by_side
from fermkit.show.run_pictures import suspects as suspects
from fermkit.show.run_pictures import timeline as timeline
from fermkit.show.style import BAND as BAND
from fermkit.show.style import COLOURS as COLOURS
from fermkit.show.style import DASHES as DASHES
from fermkit.show.style import GROUND as GROUND
from fermkit.show.style import LATER as LATER
from fermkit.show.style import MARKS as MARKS
from fermkit.show.style import STYLE as STYLE
from fermkit.show.style import Figure as Figure
from fermkit.show.style import Picture as Picture
from fermkit.show.style import box as box
from fermkit.show.style import figure as figure
from fermkit.show.style import freeze as freeze
from fermkit.show.style import house_style as house_style
from fermkit.show.style import legend as legend
from fermkit.show.style import place as place
from fermkit.show.style import png as png
from fermkit.show.style import rows as rows
from fermkit.show.style import show as show
from fermkit.show.style import svg as svg
from fermkit.show.style import wipe as wipe
from fermkit.show.yeast_pictures import counting_grid as counting_grid
from fermkit.show.yeast_pictures import feeding as feeding
from fermkit.show.yeast_pictures import yeast_course as yeast_course
from fermkit.vessel.pressures import PressureCurve

LINE_IN: Final = 0.17
LETTER_IN: Final = 0.082
"""A line of words in a picture, and a letter at its widest on average [inch, at 10 points]."""


def where_it_went(into: Any, out: Mapping[str, Any], what: str = "carbon", *, ax: Any) -> str:
    """Where the sugar's carbon (or electrons, nitrogen) went: one bar in, one band for each product.

    The height of a band is its amount; the whisker its standard uncertainty. What was not found is
    hatched in grey; what was found beyond the sugar is drawn past the bar and named in red.

    Parameters
    ----------
    into : float or ufloat
        Amount in the sugar used [any unit].
    out : mapping of str to float or ufloat
        Amount in each product [the same unit].
    what : str
        What flows: "carbon", "electrons", "nitrogen".

    Returns
    -------
    str
        The picture in words, for its alt text.
    """
    total = nominal(into)
    parts = [(name, part / total) for name, part in out.items() if nominal(part) > 0]
    gap = (into - sum(out.values())) / total
    deep = max(1.04, 1.10 - nominal(gap)) if nominal(gap) < -0.002 else 1.04
    box_px, dpi = ax.get_window_extent(), ax.figure.dpi
    row = LINE_IN * dpi / box_px.height * (deep + 0.1)
    words_in = LETTER_IN * max(len(f"{name}  {percent(share)}") for name, share in [*parts, ("not found", gap)])
    wide = 1.07 / max(0.2, 1 - words_in * dpi / box_px.width)
    ax.axis("off")
    box(ax, 0, 0, 0.13, 1, "#BBBBBB")
    ax.text(0.065, 0.5, f"{what} of the sugar", rotation=90, ha="center", va="center", fontsize=9)
    top, label_at, words = 0.0, -1.0, []
    leaders, whiskers = [], []
    if nominal(gap) > 0.002:
        parts.append(("not found", gap))
    for name, share in parts:
        height = nominal(share)
        colour, hatch = FILLS.get(name, ("purple", "--"))
        face = "white" if name == "not found" else COLOURS[colour]
        mark = "////" if name == "not found" else hatch
        _band(ax, top, height, face, mark)
        middle = top + height / 2
        label_at = max(middle, label_at + row)
        leaders += [(1.0, middle), (1.03, middle), (1.06, label_at), (np.nan, np.nan)]
        ax.text(1.07, label_at, f"{name}  {percent(share)}", va="center", in_layout=False)
        u = uncertainty(share)
        whiskers += [(0.985, middle - u), (0.985, middle + u), (np.nan, np.nan)]
        words.append(f"{name} {percent(share)}")
        top += height
    ax.plot(*zip(*leaders), color="black", linewidth=0.6, linestyle="-")  # one line of many pieces is quick
    ax.plot(*zip(*whiskers), color="black", linewidth=1.2, linestyle="-")
    if nominal(gap) < -0.002:
        words.append(f"{percent(-gap)} more than the sugar held")
        ax.plot([0, 1.0], [1, 1], color=COLOURS["vermilion"], linestyle=(0, (5, 2)))
        said = f"{percent(-gap)} more than the sugar held"
        deep = max(deep, label_at + 1.6 * row)
        ax.text(0.0, deep, said, color="#B30000", va="bottom", in_layout=False)
    ax.set(xlim=(0, wide), ylim=(max(deep, label_at + 0.6 * row), -0.02))
    return f"Where the {what} of the sugar went: " + ", ".join(words) + "."


def _band(ax: Any, top: float, height: float, face: str, hatch: str) -> None:
    """A ribbon from the sugar's bar to the product's bar, at the same height on both sides."""
    box(ax, 0.13, top, 0.72, height, face, alpha=0.35, edgecolor="none", gid="ribbon")
    box(ax, 0.85, top, 0.15, height, face, hatch)


def gas_curve(gas: GasCurve, found: GrowthFit | SmoothReading | None = None, *, ax: Any) -> str:
    """CO2 made through time: readings, the steepest line, the lag; the fitted curve, or when the gas ended.

    Returns
    -------
    str
        The picture in words.
    """
    ax.plot(gas.time_h, gas.co2_mol * 1000, "o", color=COLOURS["blue"], markersize=3.5, label="readings", zorder=3)
    ax.set(xlabel="time [h]", ylabel=f"CO2 {gas.counts} [mmol]")
    words = f"CO2 {gas.counts} against time: {plus_minus(gas.total() * 1000, 'mmol')} after {gas.time_h[-1]:g} h"
    if found is None:
        return words + "."
    if isinstance(found, SmoothReading):
        base, steepest, whole = 0.0, "steepest line through the readings", found.amount_so_far
        if "finish_time_h" in found.limits:
            low, high = found.limits["finish_time_h"]
            at, level = found.finish_time_h, found.fraction * nominal(whole) * 1000
            ax.errorbar(
                [at], [level], xerr=[[at - low], [min(high, gas.time_h[-1]) - at]], fmt="s",
                color=COLOURS["vermilion"], markersize=5, label=f"{100 * found.fraction:g} % of it, 95 % interval",
            )  # fmt: skip
    else:
        time = np.linspace(gas.time_h[0], gas.time_h[-1], 300)
        name = f"{found.curve.replace('_', ' ')} curve"
        ax.plot(time, found.predict(time) * 1000, color=COLOURS["vermilion"], label=name, zorder=2)
        base, steepest = found.tangent().level * 1000, "tangent at the steepest point"
        whole = found.final_amount
    lag, rate, top = nominal(found.lag_h), nominal(found.max_rate) * 1000, nominal(whole) * 1000
    ax.plot(
        [lag, lag + top / rate], [base, base + top], color=COLOURS["black"], linewidth=1,
        linestyle=(0, (5, 2)), label=steepest,
    )  # fmt: skip
    ax.errorbar(
        [lag],
        [base],
        xerr=[uncertainty(found.lag_h)],
        fmt="D",
        color=COLOURS["black"],
        markersize=5,
        label="end of lag",
    )
    ax.set_xlim(left=min(0.0, gas.time_h[0]))
    legend(ax, "lower right")
    return f"{words}; lag {plus_minus(found.lag_h, 'h')}, steepest at {plus_minus(found.max_rate * 1000, 'mmol/h')}."


def calibration(cal: Calibration, samples: Sequence[Reading] = (), *, ax: Any) -> str:
    """The standards, the curve with its 95 % band, and where the samples were read.

    Returns
    -------
    str
        The picture in words.
    """
    low, high = cal.range
    x = np.linspace(low, high, 120)
    below, above = cal.band(x)
    ax.fill_between(x, below, above, **BAND, label="95 % band of the curve")
    ax.plot(x, cal.predict(x), color=COLOURS["blue"], label=f"{cal.curve} through the standards")
    ax.plot(cal.ethanol_pct_vol, cal.signal, "o", color=COLOURS["black"], label="standards")
    if samples:
        seen = [reading.seen for reading in samples]
        ax.plot(
            seen,
            [reading.sample.level for reading in samples],
            "D",
            color=COLOURS["vermilion"],
            label="samples, diluted",
        )
    ax.set(xlabel=f"ethanol [{cal.fitted.content_unit}]", ylabel=f"signal [{cal.unit}]" if cal.unit else "signal")
    legend(ax, "upper left")
    return (
        f"Calibration: {cal.signal.size} standards from {low:g} to {high:g} {cal.fitted.content_unit}, a {cal.curve}; "
        f"{len(samples)} samples read on it."
    )


def moved(found: Reconciliation, *, ax: Any) -> str:
    """Each measurement beside its reconciled amount, in its own standard uncertainties.

    Returns
    -------
    str
        The picture in words.
    """
    shifts = {name: found.shift[name] for name, value in found.reported.items() if value is not None}
    bars(shifts, ax=ax)
    ax.set_xlabel("moved [its own ±; grey: 95 %]")
    return "What the balance moved: " + ", ".join(f"{n} by {s:+.1f} times its ±" for n, s in shifts.items()) + "."


def against_limits(yields: Mapping[str, Yield], *, ax: Any) -> str:
    """Each yield as a share of its limit, with its 95 % interval.

    Returns
    -------
    str
        The picture in words.
    """
    rows = np.arange(len(yields))
    shares = [nominal(y.share_of_limit) * 100 for y in yields.values()]
    half = [1.96 * uncertainty(y.share_of_limit) * 100 for y in yields.values()]
    ax.barh(rows, shares, height=0.5, color=COLOURS["green"], edgecolor="black", linewidth=0.7, hatch="//")
    ax.errorbar(shares, rows, xerr=half, fmt="none", ecolor="black", capsize=4)
    ax.axvline(100, color="black", linestyle=(0, (5, 2)))
    ax.set_yticks(rows, [y.product for y in yields.values()])
    ax.invert_yaxis()
    ax.set_xlabel("share of its limit [%; whisker: 95 %]")
    return "Yields against their limits: " + ", ".join(
        f"{y.product} {percent(y.share_of_limit)}" for y in yields.values()
    ) + "."  # fmt: skip


def hold(log: HoldLog, *, ax: Any) -> str:
    """The warm hold: temperature against the window and the hot-holding limit.

    Returns
    -------
    str
        The picture in words.
    """
    low, high = log.window_C
    ax.axhspan(low, high, color=COLOURS["green"], alpha=0.18, zorder=0)
    ax.text(log.time_h[-1], high, "window ", ha="right", va="top", fontsize=9)
    ax.axhline(log.hot_holding_C, color=COLOURS["vermilion"], linestyle=(0, (5, 2)), linewidth=1.2)
    ax.text(log.time_h[-1], log.hot_holding_C, "hot-holding limit ", ha="right", va="bottom", fontsize=9)
    ax.plot(log.time_h, log.temperature_C, "o-", color=COLOURS["blue"], markersize=3)
    ax.set(xlabel="time [h]", ylabel="temperature [°C]")
    return (
        f"Autolysis: {plus_minus(log.inside_h, 'h')} inside {low:g} to {high:g} °C, "
        f"{plus_minus(log.bacteria_h, 'h')} where bacteria grow."
    )


def drying(curve: DryingCurve, *, ax: Any) -> str:
    """Weighings while it dried, the curve with its 95 % band, the weight it comes to rest at.

    Returns
    -------
    str
        The picture in words.
    """
    end = float(curve.time_h[-1])
    time = np.linspace(0.0, 1.15 * end, 200)
    below, above = curve.band(time)
    ax.fill_between(time, below, above, **BAND, label="95 % band of the curve")
    ax.plot(time, curve.predict(time), color=COLOURS["blue"], label=f"{MODELS[curve.model]} curve")
    ax.plot(curve.time_h, curve.weight_g, "o", color=COLOURS["black"], label="weighings, net")
    ax.axhline(nominal(curve.end_g), color=COLOURS["vermilion"], linestyle=(0, (5, 2)), label="comes to rest")
    if curve.dry_g is not None:
        ax.axhline(nominal(curve.dry_g), color=COLOURS["green"], linestyle=(0, (1, 1.3)), label="dry matter")
    ax.set(xlabel="time of drying [h]", ylabel="net weight [g]")
    ax.legend(loc="best")
    return f"Drying: from {plus_minus(curve.start_g, 'g')} to rest at {plus_minus(curve.end_g, 'g')} in {end:g} h."


def shares(found: UncertaintyShares, *, ax: Any, most: int = 8) -> str:
    """Which act owns which share of the variance.

    Returns
    -------
    str
        The picture in words.
    """
    largest = list(found.shares().items())[:most]
    rows = np.arange(len(largest))
    ax.barh(rows, [100 * s for _, s in largest], height=0.6, color=COLOURS["orange"], edgecolor="black", linewidth=0.7)
    for row, (_, share) in zip(rows, largest):
        ax.text(100 * share + 1, row, f"{share:.0%}", va="center", fontsize=9)
    ax.set_yticks(rows, [str(act) for act, _ in largest])
    ax.set_xlim(0, 110 * max((s for _, s in largest), default=1))
    ax.invert_yaxis()
    ax.set_xlabel("share of the variance [%]")
    return f"Who owns the uncertainty of {found.name}: " + ", ".join(f"{a} {s:.0%}" for a, s in largest) + "."


def compared(found: CurveComparison, *, ax: Any) -> str:
    """The readings and every curve that was fitted to them, best first.

    Returns
    -------
    str
        The picture in words.
    """
    first = found.best
    ax.plot(first.time_h, first.amount * 1000, "o", color="black", markersize=3.5, label="readings", zorder=3)
    time = np.linspace(first.time_h[0], first.time_h[-1], 300)
    colours = list(COLOURS.values())
    for fit, weight, colour, dash in zip(found.fits, found.weight, colours, DASHES):
        label = fit.curve.replace("_", " ") + (f", weight {weight:.0%}" if any(found.weight) else "")
        ax.plot(time, fit.predict(time) * 1000, color=colour, linestyle=dash, label=label)
    ax.set(xlabel="time [h]", ylabel=f"CO2 {first.counts} [mmol]")
    legend(ax, "lower right")
    low, high = (1000 * end for end in found.spread("max_rate"))
    return (
        f"{len(found.fits)} growth curves through {first.time_h.size} readings; "
        f"{first.curve.replace('_', ' ')} follows them best; largest rates from {low:.3g} to {high:.3g} mmol/h."
    )


def residuals(cal: Calibration, *, ax: Any) -> str:
    """What the curve leaves of each standard, in standard deviations: a bend would show here.

    Returns
    -------
    str
        The picture in words.
    """
    left = cal.standardised_residuals
    ax.axhspan(-2, 2, **GROUND)
    ax.axhline(0, color="black", linewidth=0.8, linestyle="-")
    ax.plot(cal.ethanol_pct_vol, left, "o", color=COLOURS["blue"])
    most = max(3.0, 1.15 * float(np.abs(left).max()))
    ax.set(ylim=(-most, most), xlabel=f"ethanol [{cal.fitted.content_unit}]", ylabel="residual [σ]")
    outside = int((np.abs(left) > 2).sum())
    return f"Residuals of {left.size} standards about the {cal.curve}: {outside} beyond two standard deviations."


def dilutions(series: DilutionSeries, *, ax: Any) -> str:
    """What each dilution says the sample held, with 95 % whiskers; in truth it is one value.

    Returns
    -------
    str
        The picture in words.
    """
    unit = series.readings[0].fitted.content_unit
    low, high = series.interval()
    ax.axhspan(low, high, color=COLOURS["sky"], alpha=0.4, label="together, 95 %")
    ax.axhline(nominal(series.value), color=COLOURS["blue"])
    rows = np.arange(series.dilutions.size)
    ends = np.array([reading.interval() for reading in series.readings])
    whiskers = np.abs(ends.T - series.contents)
    ax.errorbar(rows, series.contents, yerr=whiskers, fmt="D", color=COLOURS["vermilion"], capsize=4, label="95 %")
    ax.set_xticks(rows, [f"{dilution:g}-fold" for dilution in series.dilutions])
    ax.set(xlim=(-0.6, rows.size - 0.4), xlabel="diluted", ylabel=f"content of the sample [{unit}]")
    ax.legend(loc="best")
    return f"{rows.size} dilutions of one sample: {series.verdict}; together {plus_minus(series.value, unit)}."


def pressure(curve: PressureCurve, *, ax: Any) -> str:
    """Gauge pressure along the gas curve had the vessel been closed all the time, beside the maker's rating.

    Returns
    -------
    str
        The picture in words.
    """
    ax.fill_between(
        curve.time_h, curve.low_bar, curve.high_bar, color=COLOURS["orange"], alpha=0.35, linewidth=0, label="95 % band"
    )
    ax.plot(curve.time_h, curve.gauge_bar, color=COLOURS["vermilion"], label="never vented")
    if curve.rated_bar_gauge is not None:
        ax.axhline(curve.rated_bar_gauge, color="black", linewidth=1, linestyle=(0, (5, 2)), label="maker's rating")
    top = max(float(curve.high_bar.max()), curve.rated_bar_gauge or 0.0)
    ax.set(xlim=(0, curve.time_h[-1]), ylim=(0, 1.1 * top), xlabel="time [h]", ylabel="pressure [bar gauge]")
    legend(ax, "lower right")
    rated = "no maker's rating" if curve.rated_bar_gauge is None else f"maker's rating {curve.rated_bar_gauge:g} bar"
    return f"Pressure of the closed vessel: up to {float(curve.gauge_bar.max()):.2f} bar gauge, never vented; {rated}."


def limits(batch: BatchPlan, *, ax: Any) -> str:
    """The new yeast that each limit allows, which of them binds, and what is to be expected.

    Returns
    -------
    str
        The picture in words.
    """
    ranges = {"energy": batch.energy_g} | dict(batch.limits.ranges())
    ends = {name: (nominal(low), nominal(high)) for name, (low, high) in ranges.items()}
    widest = 1.15 * max(ends["carbon"])
    for row, (name, (least, most)) in enumerate(ends.items()):
        binds = name in batch.binding
        ax.barh(
            row, max(most - least, 0.004 * widest), left=least, height=0.55, edgecolor="black", linewidth=0.7,
            color=COLOURS["vermilion" if binds else "sky"], hatch="///" if binds else "",
        )  # fmt: skip
        if least > widest:
            ax.text(widest, row, f"{least:.0f} to {most:.0f} g → ", ha="right", va="center", fontsize=9)
    least, most = (nominal(end) for end in batch.yeast_range_g)
    ax.axvspan(least, max(most, least + 0.002 * widest), color=COLOURS["green"], alpha=0.35, zorder=0)
    ax.set_yticks(range(len(ends)), [f"{name}, binds" if name in batch.binding else name for name in ends])
    ax.set(
        xlim=(0, widest),
        ylim=(len(ends) - 0.4, -0.6),
        xlabel="new dry yeast that each allows [g]; green: to expect",
    )
    return f"{' or '.join(batch.binding)} binds: {plus_minus(batch.fate.yeast_g, 'g')} of new dry yeast to expect."
