"""A guess before a move is shown: a number, or a place in the picture."""

import html
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, Literal

import ipywidgets as W
from matplotlib.axes import Axes

from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, nominal, uncertainty
from fermkit.show.controls import read_number

STEPS: Final = 200
"""From one end of the picture to the other, for who moves the guess by the keyboard."""


@dataclass(frozen=True)
class Place:
    """Where the guessed number lies in the picture: along one axis of its first axes.

    `times` is the number on that axis for each unit of the guessed line, such as 1000 for mmol where the line is mol.
    """

    axis: Literal["x", "y"]
    times: float = 1.0


class Guess:
    """The controls of a guess: asked for first or not, a box, a rail along the picture, and what shows what comes.

    Parameters
    ----------
    line : str
        The name of the line that is guessed.
    place : Place or None
        Where it lies in the picture, if it lies in it.
    marked, given : callable
        Called when the mark in the picture was moved, and when the guess is given.
    """

    def __init__(
        self, line: str, place: Place | None, marked: Callable[[], object], given: Callable[[str], object]
    ) -> None:
        self.line, self.place = line, place
        self.at: float | None = None
        self.pending = False
        self._marked = marked
        self._quiet = False
        wide = W.Layout(width="96%")
        self.first = W.Checkbox(description="guess first", indent=False)
        self.box = W.Text(
            description="My guess", continuous_update=False, layout=wide, style={"description_width": "initial"}
        )
        self.rail = W.FloatSlider(readout=False, layout=wide)
        self._clicked = W.Text(layout=W.Layout(display="none"))
        show = W.Button(description="Show what comes", layout=wide)
        self.first.observe(lambda change: self._unticked(change["new"]), names="value")
        self.box.observe(lambda change: None if self._quiet else given(change["new"]), names="value")
        self.rail.observe(lambda change: self._moved(change["new"]), names="value")
        self._clicked.observe(lambda change: self._moved(float(change["new"])), names="value")
        show.on_click(lambda _: given(self.box.value))
        rows = W.VBox([self.box, self.rail, self._clicked, show] if place else [self.box])
        rows.add_class("fk-slider" if place else "fk-guess")
        self._clicked.add_class("fk-clicked")
        self.widget = W.VBox([self.first, rows])

    def fit(self, ax: Axes | None, unit: str) -> None:
        """Unit and ends as they are in the picture."""
        self.box.description = f"My guess, {unit}" if unit else "My guess"
        if self.place is None or ax is None:
            return
        low, high = self._ends(ax)
        self._quiet = True
        with self.rail.hold_trait_notifications():
            self.rail.min, self.rail.max, self.rail.step = low, high, (high - low) / STEPS
            self.rail.value = low
        self._quiet = False

    def _ends(self, ax: Axes) -> tuple[float, float]:
        assert self.place is not None
        ends = ax.get_xlim() if self.place.axis == "x" else ax.get_ylim()
        return min(ends) / self.place.times, max(ends) / self.place.times

    def _unticked(self, ticked: bool) -> None:
        if not ticked:
            self.at, self.pending = None, False
            self._marked()

    def _moved(self, value: float) -> None:
        """The mark was moved along the rail, or put down in the picture."""
        if self._quiet:
            return
        self.at = value
        self._quiet = True
        self.box.value, self.rail.value = f"{value:.3g}", value
        self._quiet = False
        self._marked()

    def on(self, drawing: str, ax: Axes) -> str:
        """The picture with the mark on it, told where a click lies."""
        if self.place is None or not drawing.startswith("<svg"):
            return drawing
        high = float(ax.figure.canvas.get_width_height()[1])
        box, x = ax.bbox, self.place.axis == "x"
        low_end, high_end = self._ends(ax)
        first, last = (box.x0, box.x1) if x else (high - box.y0, high - box.y1)
        if self.at is not None and low_end <= self.at <= high_end:
            pixel = first + (last - first) * (self.at - low_end) / (high_end - low_end)
            upright = f"M{pixel:.1f} {high - box.y0:.1f}V{high - box.y1:.1f}"
            level = f"M{box.x0:.1f} {pixel:.1f}H{box.x1:.1f}"
            at = (pixel + 4, high - box.y1 + 12) if x else (box.x0 + 4, pixel - 4)
            mark = (
                f'<path class="fk-mark" d="{upright if x else level}" fill="none" stroke="#000" stroke-width="1.6" '
                'stroke-dasharray="2 4"/>'
                f'<text x="{at[0]:.1f}" y="{at[1]:.1f}" font-size="13">my guess</text>'
            )
            drawing = drawing.removesuffix("</svg>") + mark + "</svg>"
        aim = f"{self.place.axis} {first:.1f} {last:.1f} {low_end:.6g} {high_end:.6g}"
        return f'<div class="fk-aim" data-aim="{aim}">{drawing}</div>'

    def asked(self) -> str:
        """What is to be done before the move is shown."""
        where = ", or click into the picture or move the rail below the box, and press “Show what comes”"
        return f"Guess first: {self.line}. Write it down and press Enter{where if self.place else ''}."

    def told(self, text: str, line: Line | None) -> str:
        """The guess beside what came."""
        if line is None:
            return f"Your guess was {text}; {self.line} is not told here."
        try:
            guess = read_number(text, line.unit)
        except InputError as error:
            return f"{error.met}: no number was read from your guess."
        self.at = guess
        _, value, unit, _ = line.cells()
        said = f"You guessed {guess:g} {unit}. {self.line.capitalize()}: {value} {unit}."
        try:
            came = float(nominal(line.value))
        except ValueError:  # told in words
            return said
        if not came or came != came:
            return said
        off = guess / came - 1
        if not isinstance(line.value, str) and abs(guess - came) <= 1.96 * uncertainty(line.value):
            return f"{said} Your guess lies within its 95 % interval."
        return f"{said} Your guess lies {abs(100 * off):.0f} % {'above' if off > 0 else 'below'} it."


def question(sentence: str, picture: str) -> str:
    """What is asked, above the picture as it stood before the move."""
    return f"<div class='fk-words'><p class='fk-verdict'>{html.escape(sentence)}</p></div>{picture}"


def line_of(name: str, lines: Any) -> Line | None:
    """The line of that name."""
    return next((line for line in lines if line.name == name), None)
