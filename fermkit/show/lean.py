"""A picture as a small SVG, quick enough to follow a slider: only what moves is drawn again.

matplotlib draws a picture by asking a renderer for paths, markers and words. This renderer writes each as one
SVG element and nothing else, in a tenth of the time of a PNG. The frame (ticks, labels, grid, spines) is kept as
text from one picture to the next and written anew only when limits, scale, labels or place have changed: making
ticks is what costs.

What it cannot write (images, formulas in mathtext) it refuses with `CannotWrite`; the panel then shows a PNG.

References
----------
matplotlib, `matplotlib.backend_bases.RendererBase` (what a renderer must answer); W3C, Scalable Vector
Graphics (SVG) 2.
"""

import html
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final
from zlib import crc32

from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backend_bases import RendererBase
from matplotlib.colors import to_hex
from matplotlib.legend import Legend
from matplotlib.path import Path
from matplotlib.spines import Spine
from matplotlib.text import Text
from matplotlib.transforms import Affine2D

from fermkit.show.style import Figure, house_style

LETTERS: Final = {Path.MOVETO: "M", Path.LINETO: "L", Path.CURVE3: "Q", Path.CURVE4: "C", Path.CLOSEPOLY: "Z"}
FONTS: Final = "DejaVu Sans,Verdana,sans-serif"
STROKES: Final = {
    "/": "M-1 {over}L{over} -1", "\\": "M-1 -1L{over} {over}", "x": "M-1 {over}L{over} -1M-1 -1L{over} {over}",
    "|": "M{half} 0V{side}", "-": "M0 {half}H{side}", "+": "M{half} 0V{side}M0 {half}H{side}", ".": "M{half} {half}h1",
}  # fmt: skip
"""One tile of each hatching, as the text of a path."""
MOST_KEPT: Final = 40
"""So many frames or legends of one picture are kept: a control that changes the axes has fewer values at hand."""


class CannotWrite(Exception):
    """The picture holds something that this renderer does not write."""


@dataclass
class LeanSvg:
    """A picture written as SVG again and again, its frames kept between two writings.

    Parameters
    ----------
    picture : Figure
        Its layout frozen (`style.freeze`).
    name : str
        Stands before every id, so that two pictures of one page do not share any.
    """

    picture: Figure
    name: str
    _pen: "_Pen" = field(init=False)
    _frames: dict[Any, tuple[str, dict[str, str]]] = field(default_factory=dict)
    _legends: dict[Any, tuple[str, dict[str, str]]] = field(default_factory=dict)
    _inside: dict[int, tuple[Any, str]] = field(default_factory=dict)
    _ghost: dict[int, tuple[Any, str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._pen = _Pen(self.picture, self.name)

    def keep_ghost(self) -> None:
        """Keep what is drawn now: it stands faintly behind later drawings that have the same limits and labels."""
        self._ghost = dict(self._inside)

    def write(self, alt: str) -> str:
        """The picture as an ``<svg>`` element with an accessible name.

        Raises
        ------
        CannotWrite
            Where it holds an image or a formula.
        """
        with house_style():
            self._pen.defs = {}
            body = "".join(self._axes(place, ax) for place, ax in enumerate(self.picture.axes))
        wide, high = self.picture.canvas.get_width_height()
        return (
            f'<svg class="fk-picture" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="{wide}" '
            f'height="{high}" role="img" aria-label="{html.escape(alt, quote=True)}" font-family="{FONTS}">'
            f'<rect width="100%" height="100%" fill="#fff"/><defs>{"".join(self._pen.defs.values())}</defs>{body}</svg>'
        )

    def _axes(self, place: int, ax: Axes) -> str:
        """The frame and the legend, kept where nothing of them has changed, and what was drawn."""
        looks, pen = _looks(ax), self._pen
        axes = [ax.xaxis, ax.yaxis, *ax.spines.values()] if ax.axison else []
        frame = self._kept(self._frames, (place, looks), [ax.title, *axes])
        legend = ax.get_legend()
        told = "" if legend is None else self._kept(self._legends, legend, [legend])
        things = [
            thing
            for thing in ax.get_children()
            if not isinstance(thing, (Axis, Spine)) and thing not in (ax.patch, ax.title)
        ]
        text = pen.drawn(thing for thing in things if not isinstance(thing, (Text, Legend)))
        words = pen.drawn(thing for thing in things if isinstance(thing, Text)) + told
        self._inside[place] = looks, text
        before = self._ghost.get(place)
        faint = before is not None and before[0] == looks and before[1] != text
        ghost = f'<g opacity="0.3">{before[1]}</g>' if before is not None and faint else ""
        return frame + ghost + text + words

    def _kept(self, kept: dict[Any, tuple[str, dict[str, str]]], looks: Any, things: Iterable[Any]) -> str:
        """The text of what seldom changes, as it was drawn for these looks."""
        if looks not in kept:
            others, self._pen.defs = self._pen.defs, {}
            if len(kept) >= MOST_KEPT:
                kept.pop(next(iter(kept)))
            kept[looks] = self._pen.drawn(things), self._pen.defs
            self._pen.defs = others
        text, defs = kept[looks]
        self._pen.defs |= defs
        return text


def _looks(ax: Axes) -> tuple[Any, ...]:
    """All that the frame's looks depend on."""
    sides: list[Any] = [ax.get_position().bounds, ax.get_title(), ax.axison]
    for axis in (ax.xaxis, ax.yaxis):
        ticks = getattr(axis.get_major_locator(), "locs", ())  # those that were set, with words of their own
        words = [axis.get_major_formatter()(tick, place) for place, tick in enumerate(ticks)]
        sides += [tuple(axis.get_view_interval()), axis.get_scale(), axis.get_label_text(), tuple(ticks), tuple(words)]
    return tuple(sides)


class _Pen(RendererBase):
    """Writes what matplotlib asks for; y grows downwards in SVG and upwards in matplotlib."""

    def __init__(self, picture: Figure, name: str) -> None:
        super().__init__()
        self.wide, self.high = picture.canvas.get_width_height()
        self.dpi = picture.dpi
        self.name = name
        self.defs: dict[str, str] = {}
        self.out: list[str] = []
        self.down = Affine2D().scale(1, -1).translate(0, self.high)

    def drawn(self, things: Iterable[Any]) -> str:
        """What the artists draw, in their order from back to front."""
        self.out = []
        for thing in sorted(things, key=lambda thing: thing.get_zorder()):
            if thing.get_visible():
                thing.draw(self)
        return "".join(self.out)

    # what matplotlib asks a renderer

    def get_canvas_width_height(self) -> tuple[float, float]:
        return self.wide, self.high

    def points_to_pixels(self, points: Any) -> Any:
        return points * self.dpi / 72

    def draw_path(self, gc: Any, path: Path, transform: Any, rgbFace: Any = None) -> None:
        simplify = path.should_simplify and gc.get_hatch() is None and rgbFace is None
        line = _as_text(path.cleaned(transform + self.down, simplify=simplify, remove_nans=True, curves=True))
        if line:
            self.out.append(f'<path d="{line}"{self._looks(gc, rgbFace)}/>')

    def draw_markers(
        self, gc: Any, marker_path: Path, marker_trans: Any, path: Path, trans: Any, rgbFace: Any = None
    ) -> None:
        mark = _as_text(marker_path.cleaned(marker_trans + Affine2D().scale(1, -1), curves=True))
        looks = self._looks(gc, rgbFace, clip=False)
        name = self._defined(("mark", mark, looks), lambda name: f'<path id="{name}" d="{mark}"{looks}/>')
        points: Any = path.cleaned(trans + self.down, remove_nans=True).vertices
        uses = "".join(f'<use href="#{name}" x="{x:.1f}" y="{y:.1f}"/>' for x, y in points[:-1])
        self.out.append(f"<g{self._clip(gc)}>{uses}</g>")

    def draw_text(
        self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float, ismath: Any = False, mtext: Any = None
    ) -> None:
        if ismath:
            raise CannotWrite(s)
        anchor = ""
        if mtext is not None and angle == 0:  # hold words where they are aligned: another font is wider or narrower
            x = mtext.get_transform().transform(mtext.get_unitless_position())[0]
            side = {"center": "middle", "right": "end"}.get(mtext.get_horizontalalignment(), "")
            anchor = f' text-anchor="{side}"' if side else ""
        turn = f' transform="rotate({-angle:g} {x:.1f} {y:.1f})"' if angle else ""
        bold = ' font-weight="bold"' if prop.get_weight() in ("bold", 700) else ""
        size = self.points_to_pixels(prop.get_size_in_points())
        self.out.append(
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:.1f}" fill="{to_hex(gc.get_rgb())}" xml:space="preserve"'
            f"{anchor}{bold}{turn}>{html.escape(s)}</text>"
        )

    def draw_image(self, *_: Any, **__: Any) -> None:
        raise CannotWrite("an image")

    # the looks of an element

    def _looks(self, gc: Any, face: Any, *, clip: bool = True) -> str:
        alpha = gc.get_alpha() if gc.get_forced_alpha() else None
        out = f' fill="{self._fill(gc, face)}"'
        through = alpha if alpha is not None else face[3] if face is not None and len(face) > 3 else 1.0
        if face is not None and through < 1:
            out += f' fill-opacity="{through:.3g}"'
        width, colour = self.points_to_pixels(gc.get_linewidth()), gc.get_rgb()
        if width > 0 and (alpha or colour[3]) > 0:
            out += f' stroke="{to_hex(colour)}" stroke-width="{width:.2g}"'
            through = alpha if alpha is not None else colour[3]
            out += f' stroke-opacity="{through:.3g}"' if through < 1 else ""
            _, dashes = gc.get_dashes()
            if dashes is not None:
                steps = " ".join(f"{self.points_to_pixels(step):.1f}" for step in dashes)
                out += f' stroke-dasharray="{steps}"'
        return out + (self._clip(gc) if clip else "")

    def _fill(self, gc: Any, face: Any) -> str:
        plain = "none" if face is None else to_hex(face[:3])
        if gc.get_hatch() is None:
            return plain
        side, lines, ink = *_hatching(gc.get_hatch()), to_hex(gc.get_hatch_color())
        looks = f'<rect width="{side}" height="{side}" fill="{plain}"/><path d="{lines}" stroke="{ink}" fill="none"/>'
        size = f'width="{side}" height="{side}" patternUnits="userSpaceOnUse"'
        name = self._defined(("hatch", looks), lambda name: f'<pattern id="{name}" {size}>{looks}</pattern>')
        return f"url(#{name})"

    def _clip(self, gc: Any) -> str:
        box = gc.get_clip_rectangle()
        if box is None:
            return ""
        x, y, wide, high = box.x0, self.high - box.y1, box.width, box.height
        rect = f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}"/>'
        name = self._defined(("clip", rect), lambda name: f'<clipPath id="{name}">{rect}</clipPath>')
        return f' clip-path="url(#{name})"'

    def _defined(self, key: Any, write: Any) -> str:
        """The id of what is defined once and used often."""
        name = f"{self.name}-{crc32(repr(key).encode()):08x}"
        if name not in self.defs:
            self.defs[name] = write(name)
        return name


def _hatching(hatch: str) -> tuple[int, str]:
    """Side of a tile [px] and what is drawn in it; a letter said twice is twice as dense, as in matplotlib."""
    side = max(6, round(16 / max(map(hatch.count, hatch))))
    sizes = {"side": side, "half": side / 2, "over": side + 1}
    return side, "".join(STROKES[letter].format(**sizes) for letter in dict.fromkeys(hatch))


def _as_text(path: Path) -> str:
    """A path as the text of an SVG path, to a tenth of a pixel."""
    parts: list[str] = []
    for points, code in path.iter_segments(simplify=False, remove_nans=False):
        if code in LETTERS:
            numbers = "" if code == Path.CLOSEPOLY else " ".join([f"{number:.1f}" for number in points])
            parts.append(LETTERS[code] + numbers)
    return "".join(parts)
