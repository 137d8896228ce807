"""One pattern for every panel of sliders: declare the controls, draw, say it in words.

A panel is told its controls and a function ``draw(**values) -> Page`` that draws into one kept picture. Everything
else happens here: verdict, picture and numbers stand beside the sliders in one piece, each slider has a named entry
box that takes decimal commas, what changed is set beside what it was at the start, a guess can be asked for first,
an error is shown in words instead of vanishing, and slow work waits until the slider rests.
"""

import asyncio
import base64
import html
import itertools
import threading
import time
import warnings
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import wraps
from typing import Any, Final, ParamSpec, TypeVar

import ipywidgets as W
from IPython.display import display

from fermkit.basis.checks import one_of
from fermkit.basis.errors import DoubtfulResult, FermkitError, InputError
from fermkit.basis.written import Page
from fermkit.show import plots
from fermkit.show.controls import Action, Choice, Control, Slider
from fermkit.show.guess import Guess, Place, line_of, question
from fermkit.show.lean import CannotWrite, LeanSvg
from fermkit.show.panel_page import EARS, LOOK, numbers, refused, still, verdict

REST_S: Final = 0.25
"""A slider that has not moved for so long is taken to rest [s]."""
KEEP_S: Final = 1.0
"""After so long at rest the picture is kept in the notebook, for a page without a kernel [s]."""
ONE_STEP_S: Final = 1.0
"""Moves of one control that follow one another faster than this are one step back [s]."""
LATE_PAGE_S: Final = 3.0
"""A page may need so long to show what code has set [s]."""
SLIDER_PX, CHOICE_PX, PICTURE_PX = 85, 33, 320
"""How high these stand in a panel of the usual width [px]."""
RAIL_PX: Final = 8
"""From the edge of a slider to the middle of its handle at the lowest value [px]."""
NUMBER: Final = itertools.count(1)
"""Each panel gets a number of its own: ids of its picture's parts must not meet those of another."""

DRAWING: Final = threading.RLock()
"""Held by the one panel that draws: a page may send each slider's moves in a thread of its own."""

P = ParamSpec("P")
T = TypeVar("T")


def alone(work: Callable[P, T]) -> Callable[P, T]:
    """While it runs no other move is heard: each waits its turn."""

    @wraps(work)
    def one(*args: P.args, **values: P.kwargs) -> T:
        with DRAWING:
            return work(*args, **values)

    return one


class Panel:
    """Controls, one picture, and what it says, kept in step with one another.

    Parameters
    ----------
    title : str
    controls : list of Slider, Choice, Paste, Action
    draw : callable
        ``draw(**values) -> Page``, with one keyword for each control. It draws into the axes
        of `picture`, which are wiped before (`plots.wipe`), within about 40 ms. The page's heading is the
        verdict in one sentence, its lines the numbers, its remarks what to doubt.
    picture : matplotlib Figure, optional
        Made by `plots.figure`, axes included; laid out once, then frozen.
    slow : callable, optional
        Like `draw`, for work that takes longer: run when the controls have rested, it may draw on.
    guess : str, optional
        The name of the line that a person may guess before a move is shown.
    place : Place, optional
        Where the guessed number lies in the picture: then it may be put there by a click or a rail.

    Examples
    --------
    >>> from fermkit.basis.written import Line
    >>> def draw(sugar_g: float) -> Page:
    ...     return Page("Sugar gives gas.", [Line("carbon dioxide, at most", 0.4886 * sugar_g, "g")])
    >>> panel = Panel("Gas from sugar", [Slider("sugar_g", "Sugar, g", 0, 500, 10, 100)], draw)
    >>> panel
    <fermkit panel 'Gas from sugar': 1 slider, no picture>
    >>> panel.set(sugar_g="37,5").values
    {'sugar_g': 37.5}
    >>> print(panel)
    Sugar gives gas.
    <BLANKLINE>
      carbon dioxide, at most   18.32   g
    """

    def __init__(
        self,
        title: str,
        controls: Sequence[Control],
        draw: Callable[..., Page],
        picture: plots.Figure | None = None,
        slow: Callable[..., Page] | None = None,
        guess: str = "",
        place: Place | None = None,
    ) -> None:
        self.title, self.picture = title, picture
        self.guess = Guess(guess, place, self._show_mark, self._guessed) if guess else None
        self._inputs = {c.name: c for c in controls if not isinstance(c, Action)}
        self._sliders = {c.name: c for c in controls if isinstance(c, Slider)}
        self._buttons = {c.name: c for c in controls if isinstance(c, Action)}
        self.values: dict[str, Any] = {name: c.value for name, c in self._inputs.items()}
        self._at_start = dict(self.values)
        self._steps: list[dict[str, Any]] = []
        self._last_move = ("", 0.0)
        self.page = self._start_page = Page("")
        self._draw, self._slow = draw, slow
        self._lean = None if picture is None else LeanSvg(picture, f"fk{next(NUMBER)}")
        self._drawing = self._rested = ""
        self._told: tuple[float, dict[str, Any]] = (float("-inf"), {})
        self._knobs: dict[str, Any] = {}
        self._boxes: dict[str, Any] = {}
        self._echoes: dict[str, Any] = {}
        self._timers: list[asyncio.TimerHandle] = []
        self._kept: Any = None
        self._quiet = False
        self._seen, self._status, self._numbers, self._later, self._spoken = (W.HTML() for _ in range(5))
        self.widget = self._laid_out(controls)
        if not self._attempt(self._refresh):
            self._refresh()  # a panel that can't be drawn as declared says so aloud
        self._start_page = self.page
        if self.guess is not None:
            told = line_of(guess, self.page.lines)
            self.guess.fit(picture.axes[0] if picture is not None else None, told.unit if told else "")
        if self._lean is not None:
            self._lean.keep_ghost()

    # what a person in Python uses

    @alone
    def set(self, **values: Any) -> "Panel":
        """Move controls from code, by name; slow work is done before this returns.

        Raises
        ------
        InputError
            Where there is no such control, or the value lies off its scale.
        """
        for name in values:
            one_of(name, list(self.values), f"a control of the panel {self.title!r}")
        accepted = {name: self._inputs[name].accept(value) for name, value in values.items()}
        self._steps.append(dict(self.values))
        self._told = time.monotonic(), dict(self.values)
        self.values |= accepted
        self._show_values()
        self._refresh()
        return self

    def reset(self) -> "Panel":
        """Every control as it was at the start."""
        return self.set(**self._at_start)

    @alone
    def undo(self) -> "Panel":
        """One step back."""
        if self._steps:
            self.values = self._steps.pop()
            self._show_values()
            self._refresh()
        return self

    @alone
    def press(self, name: str) -> "Panel":
        """Press a button from code, by name."""
        one_of(name, list(self._buttons), f"a button of the panel {self.title!r}")
        self._act(name)
        return self

    def every(self, seconds: float, action: str) -> Callable[[], None]:
        """Press a button every so many seconds while the kernel lives; returns what stops it."""
        loop = asyncio.get_running_loop()
        handle: list[asyncio.TimerHandle] = []

        def again() -> None:
            self._attempt(lambda: self._act(action))
            handle[:] = [loop.call_later(seconds, again)]

        handle[:] = [loop.call_later(seconds, again)]
        return lambda: handle[0].cancel()

    def __repr__(self) -> str:
        sliders = len(self._sliders)
        pictures = "1 picture" if self.picture is not None else "no picture"
        return f"<fermkit panel {self.title!r}: {sliders} slider{'s' * (sliders != 1)}, {pictures}>"

    def __str__(self) -> str:
        return ("ALARM: " if self.page.alarm else "") + self.page.text()

    def _ipython_display_(self) -> None:
        """The panel; before it what a page without a kernel shows in its place."""
        show: Any = display
        self._kept = show(self._still(), raw=True, display_id=True)
        show(dict(self.widget._repr_mimebundle_()) | {"text/plain": repr(self)}, raw=True)

    def _still(self) -> dict[str, str]:
        drawing = self._drawing if self._drawing.startswith("<svg") else ""
        bundle = {"text/plain": str(self), "text/html": still(self.page, self._alt(), drawing)}
        if self.picture is not None:
            bundle["image/png"] = base64.b64encode(plots.png(self.picture)).decode()
        return bundle

    def _keep(self) -> None:
        if self._kept is not None:
            self._kept.update(self._still(), raw=True)

    def _alt(self) -> str:
        told = (" ".join(part for part in line.cells()[:3] if part) for line in self.page.lines)
        return "; ".join([f"{self.title}: {self.page.heading}", *told])

    # from values to what is seen

    def _refresh(self) -> None:
        self._redraw()
        self._rest()
        self._keep()

    def _redraw(self) -> None:
        with plots.house_style():
            for ax in self.picture.axes if self.picture is not None else []:
                plots.wipe(ax)
            self.page = self._drawn(self._draw)
            self._status.value = ""
            self._show()

    def _rest(self) -> None:
        """What waits until the controls rest: the slow half, and the voice."""
        if self._slow is not None:
            self._finish(self._slow)
        first = " ".join(part for part in self.page.lines[0].cells()[:3] if part) if self.page.lines else ""
        self._spoken.value = html.escape(f"{'Alarm. ' if self.page.alarm else ''}{self.page.heading} {first}".strip())

    def _finish(self, slow: Callable[..., Page]) -> None:
        page = self._drawn(slow)
        self._rested = page.html(4)
        self._later.value = f"<div class='fk-later'><p>Worked out for these values:</p>{self._rested}</div>"
        self._show()  # it may have drawn on
        self.page = Page(self.page.heading, self.page.lines, self.page.remarks, [page], self.page.alarm)

    def _drawn(self, draw: Callable[..., Page]) -> Page:
        with warnings.catch_warnings(record=True) as doubts, plots.house_style():
            warnings.simplefilter("always", DoubtfulResult)
            page = draw(**self.values)
        said = dict.fromkeys(str(doubt.message) for doubt in doubts)
        return Page(page.heading, page.lines, [*page.remarks, *said], page.parts, page.alarm)

    def _show(self, said: str = "") -> None:
        """Verdict and picture in one message to the page, then the numbers: none is older than the others."""
        if self._lean is not None:
            if self.picture.get_layout_engine() is not None:  # type: ignore[union-attr]
                plots.freeze(self.picture)  # type: ignore[arg-type]
            try:
                self._drawing = self._lean.write(self._alt())
            except CannotWrite:
                data = base64.b64encode(plots.png(self._lean.picture)).decode()
                alt = html.escape(self._alt(), quote=True)
                self._drawing = f'<img class="fk-picture" alt="{alt}" src="data:image/png;base64,{data}">'
        self._seen.value = verdict(self.page, self._with_mark(), said)
        # what the slow half found stands in a place of its own
        page = replace(self.page, parts=()) if self._slow is not None else self.page
        self._numbers.value = numbers(page, self._start_page.lines)

    def _with_mark(self) -> str:
        """The picture, with a guess that was put into it."""
        if self.guess is None or self.picture is None:
            return self._drawing
        return self.guess.on(self._drawing, self.picture.axes[0])

    @alone
    def _show_mark(self) -> None:
        """The guess was moved in the picture: nothing else is drawn."""
        if self.guess is not None and self.guess.pending:
            self._seen.value = question(self.guess.asked(), self._with_mark())
        else:
            self._seen.value = verdict(self.page, self._with_mark())

    # from what a person does to values

    @alone
    def _attempt(self, work: Callable[[], object]) -> bool:
        """Do it; an error is shown in words, since a notebook shows none from a callback."""
        try:
            work()
        except FermkitError as error:
            self._complain(f"{error.met}. Needed: {error.needed}. To do: {error.do}.")
        except Exception as error:
            at = ", ".join(f"{k} = {v!r:.40}" for k, v in self.values.items())
            self._complain(f"fermkit itself failed here ({type(error).__name__}: {error}) at {at}. Please report this.")
        else:
            return True
        return False

    def _complain(self, sentence: str) -> None:
        self.page = Page(sentence)
        self._later.value = self._numbers.value = ""
        self._seen.value = refused(sentence, self._drawing)

    @alone
    def _moved(self, name: str, value: Any) -> None:
        """A control was moved in the page: draw at once, do the slow part when it rests."""
        if self._quiet:
            return
        now = time.monotonic()
        if name != self._last_move[0] or now - self._last_move[1] > ONE_STEP_S:
            self._steps.append(dict(self.values))
        self._last_move = name, now
        self.values[name] = value
        if self.guess is not None and self.guess.first.value:
            self.guess.pending = True
            self._show_mark()
            self._numbers.value = ""
            self._show_values(but=name)
            return
        drawn = self._attempt(self._redraw)  # verdict and picture are first on their way to the page
        self._show_values(but=name)
        if not drawn:
            return
        if self._slow is not None:
            old = f"<div class='fk-stale'>{self._rested}</div>"
            self._later.value = f"<div class='fk-later'><p>calculating …</p>{old}</div>"
        for timer in self._timers:
            timer.cancel()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:  # no page, no loop: nothing to wait for
            self._attempt(self._rest)
        else:
            waits = ((REST_S, self._rest), (KEEP_S, self._keep))
            self._timers = [loop.call_later(wait, self._attempt, work) for wait, work in waits]

    @alone
    def _slid(self, name: str, value: float) -> None:
        """A handle was moved in the page, unless the page only sends back what it had been told."""
        control = self._sliders[name]
        told_at, before = self._told

        def same(told: float) -> bool:
            return abs(value - control.nearest_step(told)) <= 1e-6 * control.step

        if same(self.values[name]):  # the nearest step after an exact value was typed
            return
        if name in before and same(before[name]) and time.monotonic() - told_at < LATE_PAGE_S:
            self._show_values()  # a page that came up late shows what stood there before code moved the control
            return
        self._moved(name, float(f"{value:.12g}"))

    @alone
    def _typed(self, name: str, text: str) -> None:
        """Something was typed into a slider's entry box: say what was understood, or why not."""
        if self._quiet:
            return
        try:
            value = self._inputs[name].accept(text)
        except InputError as error:
            self._echo(name, f"<span role='alert'>{html.escape(error.met)}; still {self.values[name]:g}</span>")
            return
        self._moved(name, value)
        self._echo(name, f"read as {value:g}")

    @alone
    def _guessed(self, text: str) -> None:
        """A guess was typed: show what came of the move, and how far off the guess was."""
        if self._quiet or not text.strip() or self.guess is None:
            return
        self.guess.pending = False
        if self._attempt(self._refresh):
            self._show(self.guess.told(text, line_of(self.guess.line, self.page.lines)))

    def _act(self, name: str) -> None:
        said = self._buttons[name].do(**self.values)
        self._refresh()
        if said:
            self._status.value = f"<p role='status' class='fk-status'>{html.escape(said)}</p>"

    def _show_values(self, but: str = "") -> None:
        """Bring knobs and boxes in step with the values, without hearing an echo."""
        self._quiet = True
        try:
            for name, value in self.values.items():
                if name in self._boxes:
                    self._knobs[name].value = self._sliders[name].nearest_step(value)
                    self._boxes[name].value = f"{value:.6g}"
                    why = self._sliders[name].idle(self.values)
                    self._knobs[name].disabled = self._boxes[name].disabled = bool(why)
                    start = self._at_start[name]
                    self._echo(name, html.escape(why) or (f"at the start {start:.6g}" if value != start else ""))
                elif name != but:
                    self._knobs[name].value = value
        finally:
            self._quiet = False

    def _echo(self, name: str, said: str) -> None:
        """Below a slider: its ends, and what there is to say of it."""
        control = self._sliders[name]
        ends = f"{control.low:.4g} to {control.high:.4g} {control.unit}".strip()
        share = (self._at_start[name] - control.low) / (control.high - control.low)
        tick = f"<i class='fk-tick' style='left: calc({RAIL_PX}px + {share:.3f} * (96% - {2 * RAIL_PX}px))'></i>"
        between = f"{tick}<span class='fk-ends'>{html.escape(ends)}</span>"
        self._echoes[name].value = f"<div class='fk-below'>{between} {said}</div>"

    # the controls as widgets

    def _laid_out(self, controls: Sequence[Control]) -> Any:
        """Controls on the left, what is seen on the right, one above the other where the page is narrow."""
        rows = [self._row(control) for control in controls]
        undo, start, big = (
            W.Button(description="Undo", layout=W.Layout(width="31%")),
            W.Button(description="Restart", layout=W.Layout(width="31%")),
            W.ToggleButton(description="Large", layout=W.Layout(width="31%")),
        )
        undo.on_click(lambda _: self._attempt(self.undo))
        start.on_click(lambda _: self._attempt(self.reset))
        big.observe(lambda change: self._enlarge(change["new"]), names="value")
        rows.append(W.HBox([undo, start, big]))
        if self.guess is not None:
            rows.append(self.guess.widget)
        high = sum(SLIDER_PX if isinstance(control, Slider) else CHOICE_PX for control in controls)
        tall = high > PICTURE_PX  # beside a long column of controls there is room for the numbers
        told = [self._numbers, self._later]
        left, right = W.VBox(rows), W.VBox([self._seen, self._status, *(told if tall else [])])
        left.add_class("fk-controls")
        right.add_class("fk-seen")
        body = W.HBox([left, right])
        body.add_class("fk-body")
        head = W.HTML(f"{LOOK}<h4>{html.escape(self.title)}</h4>{EARS}")
        panel = W.VBox([head, body, *([] if tall else told), self._spoken])
        panel.add_class("fk-panel")
        self._spoken.add_class("fk-spoken")
        return panel

    def _enlarge(self, big: bool) -> None:
        (self.widget.add_class if big else self.widget.remove_class)("fk-big")

    def _row(self, control: Control) -> Any:
        full = W.Layout(width="96%")
        words = {"description_width": "initial"}
        if isinstance(control, Action):
            button = W.Button(description=control.label, layout=W.Layout(width="auto"))
            button.on_click(lambda _: self._attempt(lambda: self._act(control.name)))
            return button
        name = control.name
        if isinstance(control, Slider):
            return self._slider_row(control)
        knob: Any
        if isinstance(control, Choice):
            options = [(word.replace("_", " "), word) for word in control.words]
            knob = W.Dropdown(options=options, value=control.value, description=control.label, style=words)
        else:
            kind = W.Textarea if control.lines > 1 else W.Text
            knob = kind(value=control.value, description=control.label, continuous_update=False, style=words)
            if control.lines > 1:
                knob.rows = control.lines
        knob.layout = full
        self._knobs[name] = knob
        knob.observe(lambda change: self._moved(name, change["new"]), names="value")
        return knob

    def _slider_row(self, control: Slider) -> Any:
        """Label and entry box on one line, the rail below it, its ends below that."""
        name = control.name
        box = W.Text(
            value=f"{control.value:.6g}", description=control.label, continuous_update=False,
            style={"description_width": "initial"}, layout=W.Layout(width="96%"),
        )  # fmt: skip
        knob = W.FloatSlider(
            value=control.value, min=control.low, max=control.high, step=control.step, readout=False,
            layout=W.Layout(width="96%"),
        )  # fmt: skip
        knob.observe(lambda change: self._slid(name, change["new"]), names="value")
        box.observe(lambda change: self._typed(name, change["new"]), names="value")
        self._knobs[name], self._boxes[name], self._echoes[name] = knob, box, W.HTML()
        self._echo(name, "")
        row = W.VBox([box, knob, self._echoes[name]])
        row.add_class("fk-slider")
        return row
