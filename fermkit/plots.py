"""One house style for every picture, and the way from a picture to a file.

The only module that imports matplotlib. Nothing here touches pyplot: a picture is a
`matplotlib.figure.Figure` that belongs to whoever asked for it and is freed with it.
Colours are those of Okabe and Ito, chosen to be told apart by colour-blind readers;
each comes with its own mark and dash, so that colour never speaks alone.

References
----------
Okabe, M. and Ito, K. (2002) Color universal design: how to make figures and presentations
that are friendly to colorblind people. https://jfly.uni-koeln.de/color/
"""

import hashlib
import io
import re
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any

import matplotlib
import numpy as np
from cycler import cycler
from matplotlib.figure import Figure as Figure
from matplotlib.patches import Rectangle

from fermkit.calibration import Calibration
from fermkit.drying import DryingCurve
from fermkit.gas import GasCurve
from fermkit.growth import GrowthFit
from fermkit.hold import HoldLog
from fermkit.readback import Reading
from fermkit.reconciliation import Reconciliation
from fermkit.written import nominal, percent, plus_minus, uncertainty
from fermkit.yields import UncertaintyShares, Yield

COLOURS = {
    "blue": "#0072B2",
    "vermilion": "#D55E00",
    "green": "#009E73",
    "orange": "#E69F00",
    "purple": "#CC79A7",
    "sky": "#56B4E9",
    "black": "#000000",
    "yellow": "#F0E442",
}
MARKS = ["o", "s", "^", "D", "v", "P", "X", "*"]
DASHES: list[Any] = [
    "-",
    (0, (5, 2)),
    (0, (1, 1.3)),
    (0, (5, 2, 1, 2)),
    (0, (8, 2)),
    (0, (3, 1, 1, 1, 1, 1)),
    (0, (2, 2)),
    (0, (8, 2, 1, 2)),
]
STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 10,  # as printed: a figure 16 cm wide fills an A4 column one to one
    "axes.titlesize": 11,
    "axes.titlelocation": "left",
    "axes.titleweight": "bold",
    "axes.labelsize": 10,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.formatter.useoffset": False,
    "grid.color": "#E4E4E4",
    "grid.linewidth": 0.6,
    "legend.fontsize": 9,
    "legend.frameon": False,
    "lines.linewidth": 1.8,
    "lines.markersize": 4.5,
    "xtick.labelsize": 9,
    "ytick.labelsize": 9,
    "axes.prop_cycle": cycler(color=list(COLOURS.values())) + cycler(linestyle=DASHES),
    "figure.facecolor": "white",
    "figure.dpi": 100,
    "figure.autolayout": False,
    "figure.constrained_layout.use": False,
    "svg.fonttype": "none",  # letters stay letters: small files, text can be searched
    "svg.hashsalt": "fermkit",  # the same picture gives the same bytes
}


def house_style() -> AbstractContextManager[None]:
    """The style as a context: `with house_style(): …` around making and drawing a picture."""
    return matplotlib.rc_context(STYLE)


class Picture(Figure):
    """A figure that a notebook shows as it stands: no pyplot, no switch to set first."""

    def _repr_png_(self) -> bytes:
        return png(self)

    def __repr__(self) -> str:
        wide, high = self.get_size_inches() * 2.54
        return f"<picture, {wide:.1f} × {high:.1f} cm>"


def figure(width_cm: float = 16.0, height_cm: float = 9.5) -> Picture:
    """An empty picture in the house style, laid out so that labels don't collide.

    Parameters
    ----------
    width_cm, height_cm : float
        Size in print [cm]; 16 cm is the width of the text on an A4 page.

    Examples
    --------
    >>> [round(float(inch), 2) for inch in figure(16, 9.5).get_size_inches()]
    [6.30, 3.74]
    """
    with house_style():
        return Picture(figsize=(width_cm / 2.54, height_cm / 2.54), layout="constrained")


def freeze(picture: Figure) -> Figure:
    """Lay the picture out once and keep that layout: redrawing is quicker, and nothing jumps."""
    with house_style():
        picture.draw_without_rendering()
        picture.set_layout_engine(None)  # "none" leaves a placeholder, for which every save draws twice
    return picture


def wipe(ax: Any) -> None:
    """Take off what was drawn, and leave the frame: making ticks and labels anew costs more than all else."""
    for bars in list(ax.containers):
        bars.remove()
    for thing in (*ax.lines, *ax.patches, *ax.collections, *ax.texts):
        thing.remove()
    if (legend := ax.get_legend()) is not None:
        legend.remove()
    ax.relim()
    ax.set(xlim=(0, 1), ylim=(0, 1), prop_cycle=None)  # upright again, too
    ax.autoscale(True)


def place(ax: Any, *, left: float = 0.1, bottom: float = 0.15) -> None:
    """A place of its own for axes whose labels will change, instead of one that fits the first labels."""
    ax.figure.set_layout_engine(None)
    ax.set_position((left, bottom, 0.97 - left, 0.95 - bottom))


def png(picture: Figure, dpi: float = 100) -> bytes:
    """The picture as PNG: the same bytes each time with one version of matplotlib."""
    into = io.BytesIO()
    with house_style():
        picture.savefig(into, format="png", dpi=dpi, metadata={"Software": None})
    return into.getvalue()


def svg(picture: Figure) -> str:
    """The picture as an `<svg>` element to put into a page: no date in it, text kept as text, the same bytes twice."""
    into = io.StringIO()
    with house_style():
        picture.savefig(into, format="svg", metadata={"Date": None, "Creator": None})
    text = into.getvalue()
    text = text[text.index("<svg") :]
    # matplotlib names clips and hatches by a hash of floats to their last bit: number them instead
    names = list(dict.fromkeys(re.findall(r'id="([a-z][0-9a-f]{10})"', text)))
    for number, name in enumerate(names):
        text = text.replace(name, f"{{}}-{number}")
    return text.replace("{}-", f"p{hashlib.sha256(text.encode()).hexdigest()[:10]}-")


FILLS = {
    "ethanol": ("sky", ""), "CO2": ("orange", "///"), "yeast": ("green", "..."), "glycerol": ("purple", "xx"),
    "organic acids": ("yellow", "\\\\\\"), "sugar left": ("black", "|||"),
}  # fmt: skip
"""Fill and hatching of each product, so that a print without colour can be read."""


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
    row = 0.06 * deep  # the height of a line of text
    ax.set(xlim=(0, 1.72), ylim=(deep, -0.02))
    ax.axis("off")
    ax.add_patch(Rectangle((0, 0), 0.13, 1, facecolor="#BBBBBB", edgecolor="black"))
    ax.text(0.065, 0.5, f"{what} of the\nsugar used", rotation=90, ha="center", va="center")
    top, label_at, words = 0.0, -1.0, []
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
        ax.plot([1.0, 1.03, 1.06], [middle, middle, label_at], color="black", linewidth=0.6, linestyle="-")
        ax.text(1.07, label_at, f"{name}  {percent(share)}", va="center")
        u = uncertainty(share)
        ax.plot([0.985, 0.985], [middle - u, middle + u], color="black", linewidth=1.2, linestyle="-")
        words.append(f"{name} {percent(share)}")
        top += height
    if nominal(gap) < -0.002:
        words.append(f"{percent(-gap)} more than the sugar held")
        ax.plot([0, 1.0], [1, 1], color=COLOURS["vermilion"], linestyle=(0, (5, 2)))
        said = f"{percent(-gap)} more than the sugar held"
        ax.text(1.07, label_at + row, said, color="#B30000", va="center")
    return f"Where the {what} of the sugar went: " + ", ".join(words) + "."


def _band(ax: Any, top: float, height: float, face: str, hatch: str) -> None:
    """A ribbon from the sugar's bar to the product's bar, at the same height on both sides."""
    ax.add_patch(Rectangle((0.13, top), 0.72, height, facecolor=face, alpha=0.35, edgecolor="none"))
    ax.add_patch(Rectangle((0.85, top), 0.15, height, facecolor=face, edgecolor="black", linewidth=0.7, hatch=hatch))


def gas_curve(gas: GasCurve, fit: GrowthFit | None = None, *, ax: Any) -> str:
    """CO2 made through time: readings, fitted curve, tangent at the steepest point, lag.

    Returns
    -------
    str
        The picture in words.
    """
    ax.plot(gas.time_h, gas.co2_mol * 1000, "o", color=COLOURS["blue"], markersize=3.5, label="readings", zorder=3)
    ax.set(xlabel="time [h]", ylabel=f"CO2 {gas.counts} [mmol]")
    words = f"CO2 {gas.counts} against time: {plus_minus(gas.total() * 1000, 'mmol')} after {gas.time_h[-1]:g} h"
    if fit is None:
        return words + "."
    time = np.linspace(gas.time_h[0], gas.time_h[-1], 300)
    ax.plot(time, fit.predict(time) * 1000, color=COLOURS["vermilion"], label=f"{fit.curve} curve", zorder=2)
    lag, rate, top = nominal(fit.lag_h), nominal(fit.max_rate) * 1000, nominal(fit.final_amount) * 1000
    base = float(fit.predict(time[:1])[0]) * 1000
    ax.plot(
        [lag, lag + top / rate], [base, base + top], color=COLOURS["black"], linewidth=1,
        linestyle=(0, (5, 2)), label="tangent at the steepest point",
    )  # fmt: skip
    ax.errorbar(
        [lag], [base], xerr=[uncertainty(fit.lag_h)], fmt="D", color=COLOURS["black"], markersize=5, label="end of lag"
    )
    ax.set_xlim(left=min(0.0, gas.time_h[0]))
    ax.legend(loc="lower right")
    return f"{words}; lag {plus_minus(fit.lag_h, 'h')}, steepest at {plus_minus(fit.max_rate * 1000, 'mmol/h')}."


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
    ax.fill_between(x, below, above, color=COLOURS["sky"], alpha=0.4, linewidth=0, label="95 % band of the curve")
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
    ax.legend(loc="best")
    return (
        f"Calibration: {cal.signal.size} standards from {low:g} to {high:g} {cal.fitted.content_unit} with a {cal.curve}; "
        f"{len(samples)} samples read on it."
    )


def moved(found: Reconciliation, *, ax: Any) -> str:
    """Each measurement beside its reconciled amount, in its own standard uncertainties.

    Returns
    -------
    str
        The picture in words.
    """
    names = [name for name, value in found.reported.items() if value is not None]
    rows = np.arange(len(names))
    ax.axvspan(-1.96, 1.96, color="#EEEEEE", zorder=0)
    ax.axvline(0, color="black", linewidth=0.8, linestyle="-")
    shifts = [found.shift[name] for name in names]
    ax.barh(rows, shifts, height=0.5, color=COLOURS["sky"], edgecolor="black", linewidth=0.7)
    ax.set_yticks(rows, names)
    ax.invert_yaxis()
    ax.set_xlim(-max(3.0, 1.1 * max(map(abs, shifts))), max(3.0, 1.1 * max(map(abs, shifts))))
    ax.set_xlabel("moved by, to close the balance [standard uncertainties; grey: 95 %]")
    return "What the balance moved: " + ", ".join(f"{n} by {s:+.1f} σ" for n, s in zip(names, shifts)) + "."


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
    ax.fill_between(time, below, above, color=COLOURS["sky"], alpha=0.4, linewidth=0, label="95 % band of the curve")
    ax.plot(time, curve.predict(time), color=COLOURS["blue"], label=f"{curve.model.replace('_', '–')} curve")
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
    ax.set_yticks(rows, [act for act, _ in largest])
    ax.set_xlim(0, 110 * max((s for _, s in largest), default=1))
    ax.invert_yaxis()
    ax.set_xlabel("share of the variance [%]")
    return f"Who owns the uncertainty of {found.name}: " + ", ".join(f"{a} {s:.0%}" for a, s in largest) + "."
