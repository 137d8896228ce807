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

import base64
import hashlib
import html
import io
import re
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib
from cycler import cycler
from matplotlib.figure import Figure as Figure
from matplotlib.patches import Rectangle as Rectangle

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
LATER = "#767676"
"""What was read later than what is looked at: grey, and still three times as dark as the paper."""
BAND: Any = {"facecolor": (COLOURS["sky"], 0.4), "edgecolor": COLOURS["blue"], "linewidth": 0.6}
"""A band of 95 % about a curve."""
GROUND: Any = {"facecolor": "#EEEEEE", "edgecolor": LATER, "linewidth": 0.6, "zorder": 0}
"""Where 95 % of what is right lies, behind all else."""
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


LOOKS = (
    "agg.", "axes.", "errorbar.", "figure.", "font.", "grid.", "hatch.", "image.", "legend.", "lines.", "markers.",
    "mathtext.", "patch.", "path.", "savefig.", "svg.", "text.", "xaxis.", "xtick.", "yaxis.", "ytick.",
)  # fmt: skip
"""Settings that say how a picture looks; the others say how matplotlib runs, and are never touched."""

HOUSE = {name: value for name, value in matplotlib.rcParamsDefault.items() if name.startswith(LOOKS)} | STYLE
HOUSE.pop("savefig.directory")
"""Every setting of the look: matplotlib's own, with the house style over them."""

ONE_AT_A_TIME = threading.RLock()
"""matplotlib keeps its settings for the whole process, so one picture is made at a time."""

INSIDE: list[bool] = []
"""Holds something while the one thread that draws is in the house style already."""


@contextmanager
def house_style() -> Iterator[None]:
    """The style as a context: `with house_style(): …` around making and drawing a picture.

    The person's own settings neither show in our pictures nor are changed by them.
    """
    with ONE_AT_A_TIME:
        if INSIDE:  # setting them costs a millisecond: once is enough
            yield
            return
        theirs = matplotlib.rcParams
        with matplotlib.rc_context({name: ours for name, ours in HOUSE.items() if theirs[name] != ours}):
            INSIDE.append(True)
            try:
                yield
            finally:
                INSIDE.pop()


class Picture(Figure):
    """A figure that a notebook shows as it stands: no pyplot, no switch to set first."""

    words = ""
    """What it shows, for those who cannot see it."""

    def _repr_png_(self) -> bytes:
        return png(self)

    def _repr_html_(self) -> str:
        """The same with its words: a notebook, and a page made of it, keep an alt text in HTML only."""
        data, alt = base64.b64encode(png(self)).decode(), html.escape(self.words, quote=True)
        return f'<img style="max-width: 100%" alt="{alt}" src="data:image/png;base64,{data}">'

    def __repr__(self) -> str:
        wide, high = self.get_size_inches() * 2.54
        return f"<picture, {wide:.1f} × {high:.1f} cm{': ' if self.words else ''}{self.words}>"


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


def show(draw: Callable[..., str], *what: Any, size_cm: tuple[float, float] = (16.0, 9.5), **how: Any) -> Picture:
    """One finished picture: `draw` is one of the functions of `plots`, `what` is what it draws.

    Parameters
    ----------
    draw : callable
        ``draw(*what, ax=ax, **how)`` draws and returns the picture in words.
    size_cm : (float, float)
        Width and height in print [cm].

    Returns
    -------
    Picture
        With its `words`; a notebook shows it as it stands.
    """
    picture = figure(*size_cm)
    with house_style():
        picture.words = draw(*what, ax=picture.subplots(), **how)
    return picture


def freeze(picture: Figure) -> Figure:
    """Lay the picture out once and keep that layout: redrawing is quicker, and nothing jumps."""
    with house_style():
        picture.draw_without_rendering()
        picture.set_layout_engine(None)  # "none" leaves a placeholder, for which every save draws twice
    return picture


def wipe(ax: Any) -> None:
    """Take off what was drawn, and leave the frame: making ticks and labels anew costs more than all else."""
    for thing in (*ax.lines, *ax.patches, *ax.collections, *ax.texts):
        thing.remove()
    ax.containers.clear()  # error bars and the like: their parts are gone already
    ax.legend_ = None  # kept by `legend`
    ax.relim()
    ax.set(xlim=(0, 1), ylim=(0, 1), prop_cycle=None)  # upright again, too
    ax.autoscale(True)


def rows(ax: Any, left: Sequence[float], wide: Sequence[float], bad: Sequence[bool], height: float = 0.5) -> None:
    """Bars, one below the other; those that are bad are red and hatched."""
    for row, (start, width, wrong) in enumerate(zip(left, wide, bad)):
        colour, hatch = ("vermilion", "///") if wrong else ("sky", "")
        box(ax, start, row - height / 2, width, height, COLOURS[colour], hatch)


def box(ax: Any, x: float, y: float, wide: float, high: float, colour: str, hatch: str = "", **how: Any) -> None:
    """A filled rectangle with a thin edge, in data; the limits of the axes are the caller's, which is quick."""
    looks: Any = {"facecolor": colour, "hatch": hatch, "edgecolor": "black", "linewidth": 0.7} | how
    ax.add_artist(Rectangle((x, y), wide, high, **looks))


def legend(ax: Any, loc: str, **how: Any) -> None:
    """The legend of what is drawn, in a fixed place; one that looked the same before is taken again."""
    entries = ax.get_legend_handles_labels()
    looks = loc, tuple(how.items()), tuple(entries[1]), tuple(_handle_looks(handle) for handle in entries[0])
    kept = vars(ax).setdefault("fk_legends", {})  # to make one costs as much as all else that is drawn
    if looks not in kept:
        kept[looks] = ax.legend(*entries, loc=loc, **how)
    ax.legend_ = kept[looks]


HANDLE_LOOKS = ("color", "linestyle", "linewidth", "marker", "markersize", "mfc", "mec", "facecolor", "edgecolor",
                "alpha", "hatch")  # fmt: skip


def _handle_looks(handle: Any) -> tuple[str, ...]:
    """What can be seen of one drawn thing in a legend; of one with parts, that of its parts."""
    if isinstance(handle, tuple):  # error bars, groups of bars
        return tuple(looks for part in handle if part for looks in _handle_looks(part))
    asked = (getattr(handle, f"get_{name}", None) for name in HANDLE_LOOKS)
    return (type(handle).__name__, *(str(get()) for get in asked if get is not None))


def place(ax: Any, *, left: float = 0.1, bottom: float = 0.15, right: float = 0.97, top: float = 0.95) -> None:
    """A place of its own for axes whose labels will change, instead of one that fits the first labels."""
    ax.figure.set_layout_engine(None)
    ax.set_position((left, bottom, right - left, top - bottom))


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
